"""A season in one file: taken while others write, made into a folder again, and refused when damaged."""

from __future__ import annotations

import io
import os
import random
import signal
import sqlite3
import time
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from fertadjust.audit import audit_records
from fertadjust.backup import restore, write_backup
from fertadjust.chain import broken_links
from fertadjust.errors import UserError
from fertadjust.record import Kind
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.season_file import SEASON_FILE, SeasonFile, read_season
from tests.support import let_others_in
from tests.test_records import PROGRAM, as_another_person, draft, refusal, write
from tests.test_season_file import BAND_TABLE, OWN_BANDS, SEASON, edited

OWN = edited(('tables = ["strawberry-petiole-dry-us-southeast"]\n', OWN_BANDS))
LABORATORIES = '# Which block a sample is.\n\n[samples]\n"N 1" = "north"\n'


def contents(where: Path) -> dict[str, bytes]:
    """Bytes of every file of a folder and below."""
    return {path.relative_to(where).as_posix(): path.read_bytes() for path in where.rglob("*") if path.is_file()}


@pytest.fixture
def file(tmp_path: Path) -> SeasonFile:
    """A season with its own band table, laboratories and three records."""
    folder = tmp_path / "farm"
    (folder / "bands").mkdir(parents=True)
    (folder / "bands" / "own-petiole.toml").write_text(BAND_TABLE)
    (folder / "bands" / "draft.csv").write_text("title,Draft\n")
    (folder / SEASON_FILE).write_text(OWN + "# Früh\n", encoding="utf-8")
    (folder / "laboratories.toml").write_text(LABORATORIES)
    (folder / "photo.jpg").write_bytes(b"not the season's")
    write(records_of(folder), draft(1), draft(2), draft(3, replaces=1, reason="misread"))
    return read_season(folder)


def records_of(folder: Path) -> Records:
    return Records(folder / RECORDS_FILE, PROGRAM)


@pytest.fixture
def backup(file: SeasonFile, tmp_path: Path) -> Path:
    path = tmp_path / "backup.zip"
    assert write_backup(file, records_of(file.folder), path) == 3
    return path


def zipped(path: Path, parts: dict[str, bytes], **rest: int) -> Path:
    with zipfile.ZipFile(path, "w", **rest) as archive:  # type: ignore[call-overload]
        for name, data in parts.items():
            archive.writestr(name, data)
    return path


def parts_of(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


# --- written ------------------------------------------------------------------------------------------------


def test_a_backup_holds_what_belongs_to_the_season_and_nothing_else(file: SeasonFile, backup: Path) -> None:
    parts = parts_of(backup)
    assert sorted(parts) == [
        "bands/draft.csv",
        "bands/own-petiole.toml",
        "laboratories.toml",
        "records.db",
        "season.toml",
    ]
    for name in ("bands/own-petiole.toml", "laboratories.toml", "season.toml"):
        assert parts[name] == (file.folder / name).read_bytes()


def test_a_backup_changes_nothing_in_the_season(file: SeasonFile, tmp_path: Path) -> None:
    before = contents(file.folder)
    write_backup(file, records_of(file.folder), tmp_path / "b.zip")
    assert contents(file.folder) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b.zip", "farm"]


def test_two_backups_of_the_same_season_are_the_same_bytes(file: SeasonFile, backup: Path, tmp_path: Path) -> None:
    time.sleep(1.1)
    for item in file.folder.iterdir():
        os.utime(item)
    write_backup(file, records_of(file.folder), tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == backup.read_bytes()


def test_a_backup_of_a_restored_season_is_the_same_bytes(backup: Path, tmp_path: Path) -> None:
    restore(backup, tmp_path / "again")
    write_backup(read_season(tmp_path / "again"), records_of(tmp_path / "again"), tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == backup.read_bytes()


def test_a_season_without_records_is_backed_up(tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    farm.mkdir()
    (farm / SEASON_FILE).write_text(SEASON)
    assert write_backup(read_season(farm), records_of(farm), tmp_path / "b.zip") == 0
    assert restore(tmp_path / "b.zip", tmp_path / "again") == 0
    assert contents(tmp_path / "again") == {SEASON_FILE: SEASON.encode()}


def test_a_backup_takes_the_place_of_an_older_one(file: SeasonFile, backup: Path) -> None:
    before = backup.read_bytes()
    write(records_of(file.folder), draft(4))
    assert write_backup(file, records_of(file.folder), backup) == 4
    assert backup.read_bytes() != before


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE records SET author = 'mallory' WHERE number = 2",
        "UPDATE records SET content = '{' WHERE number = 2",
    ],
)
def test_records_that_are_not_in_order_are_not_backed_up_over_good_ones(
    file: SeasonFile, backup: Path, statement: str
) -> None:
    before = backup.read_bytes()
    with closing(sqlite3.connect(file.folder / RECORDS_FILE)) as db:
        db.execute("DROP TRIGGER no_update")
        db.execute(statement)
        db.commit()
    told = refusal(lambda: write_backup(file, records_of(file.folder), backup))
    assert "records.db: the records are not in order: record 2: it is not as it was written" in told
    assert backup.read_bytes() == before


def test_torn_records_are_not_backed_up(file: SeasonFile, backup: Path) -> None:
    before = backup.read_bytes()
    path = file.folder / RECORDS_FILE
    path.write_bytes(path.read_bytes()[:5000])
    refusal(lambda: write_backup(file, records_of(file.folder), backup))
    assert backup.read_bytes() == before


def test_a_folder_that_cannot_be_written_to_is_told(file: SeasonFile, tmp_path: Path) -> None:
    (tmp_path / "there").write_text("a file")
    told = refusal(lambda: write_backup(file, records_of(file.folder), tmp_path / "there" / "b.zip"))
    assert "cannot be written" in told


def test_a_part_of_the_season_that_cannot_be_read_is_told(file: SeasonFile, tmp_path: Path) -> None:
    path = file.folder / "laboratories.toml"
    path.unlink()
    path.mkdir()
    told = refusal(lambda: write_backup(file, records_of(file.folder), tmp_path / "b.zip"))
    assert "laboratories.toml" in told
    assert not (tmp_path / "b.zip").exists()


def test_a_part_of_the_season_that_is_closed_is_told(
    file: SeasonFile, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    let_others_in(tmp_path_factory)
    tmp_path.chmod(0o755)
    (file.folder / "laboratories.toml").chmod(0o600)
    (tmp_path / "out").mkdir()
    (tmp_path / "out").chmod(0o777)
    with as_another_person():
        told = refusal(lambda: write_backup(file, records_of(file.folder), tmp_path / "out" / "b.zip"))
    assert "laboratories.toml" in told


def test_records_of_an_earlier_form_are_backed_up_as_they_are(file: SeasonFile, tmp_path: Path) -> None:
    from tests.test_records_schema import ROWS, old_file

    (file.folder / RECORDS_FILE).unlink()
    old_file(file.folder / RECORDS_FILE)
    assert write_backup(file, records_of(file.folder), tmp_path / "old.zip") == 5
    assert restore(tmp_path / "old.zip", tmp_path / "again") == 5
    assert records_of(tmp_path / "again").rows() == [(row, "") for row in ROWS]


# --- while others write -------------------------------------------------------------------------------------


def test_a_backup_taken_while_another_writes_holds_whole_writings(file: SeasonFile, tmp_path: Path) -> None:
    records = records_of(file.folder)
    child = os.fork()
    if child == 0:
        try:
            while True:
                write(records, *(draft(index, kind=Kind.OBSERVATION, note="x" * 900) for index in range(5)))
        finally:
            os._exit(1)
    counts = []
    try:
        for round_ in range(12):
            path = tmp_path / f"{round_}.zip"
            counts.append(write_backup(file, records, path))
            time.sleep(0.03)
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    for round_, count in enumerate(counts):
        again = tmp_path / f"again{round_}"
        assert restore(tmp_path / f"{round_}.zip", again) == count
        rows = records_of(again).rows()
        assert len(rows) == count
        assert (count - 3) % 5 == 0, "a writing is there in part"
        assert broken_links(rows) == []
    assert counts == sorted(counts)
    assert counts[-1] > counts[0], "nothing was written meanwhile"
    assert records.rows()[: counts[-1]] == records_of(tmp_path / "again11").rows()


# --- made into a folder again -------------------------------------------------------------------------------


def test_a_restored_season_is_the_same(file: SeasonFile, backup: Path, tmp_path: Path) -> None:
    again = tmp_path / "new" / "again"
    assert restore(backup, again) == 3
    before = contents(file.folder)
    del before["photo.jpg"]
    assert {name: data for name, data in contents(again).items() if name != RECORDS_FILE} == {
        name: data for name, data in before.items() if name != RECORDS_FILE
    }
    assert records_of(again).rows() == records_of(file.folder).rows()
    assert records_of(again).all() == records_of(file.folder).all()
    assert audit_records(again, records_of(again)) == audit_records(file.folder, records_of(file.folder))
    assert read_season(again).tables == file.tables


def test_a_restored_season_is_written_to_and_keeps_its_guards(backup: Path, tmp_path: Path) -> None:
    restore(backup, tmp_path / "again")
    records = records_of(tmp_path / "again")
    assert write(records, draft(4)) == [4]
    assert audit_records(tmp_path / "again", records).faults == ()
    with closing(sqlite3.connect(tmp_path / "again" / RECORDS_FILE)) as db, pytest.raises(sqlite3.Error):
        db.execute("DELETE FROM records")


def test_a_season_is_restored_into_an_empty_folder(backup: Path, tmp_path: Path) -> None:
    (tmp_path / "again").mkdir()
    assert restore(backup, tmp_path / "again") == 3


@pytest.mark.parametrize("name", ["season.toml", ".hidden", "sub/file"])
def test_a_folder_that_holds_something_is_refused_and_untouched(backup: Path, tmp_path: Path, name: str) -> None:
    again = tmp_path / "again"
    (again / name).parent.mkdir(parents=True)
    (again / name).write_text("mine")
    told = refusal(lambda: restore(backup, again))
    assert "is not empty; name a new folder, so that nothing is overwritten" in told
    assert contents(again) == {name: b"mine"}


def test_a_file_in_place_of_the_folder_is_refused_and_untouched(backup: Path, tmp_path: Path) -> None:
    (tmp_path / "again").write_text("mine")
    assert "name a new folder" in refusal(lambda: restore(backup, tmp_path / "again"))
    assert (tmp_path / "again").read_text() == "mine"


def test_the_season_itself_is_no_place_to_restore_to(file: SeasonFile, backup: Path) -> None:
    before = contents(file.folder)
    refusal(lambda: restore(backup, file.folder))
    assert contents(file.folder) == before


# --- damaged ------------------------------------------------------------------------------------------------


def restored_or_refused(path: Path, right: dict[str, bytes], where: Path) -> bool:
    """Whether a backup was refused; else it gave what was in it, or part of it was named otherwise."""
    again = where / "again"
    try:
        restore(path, again)
    except UserError:
        assert not again.exists() or not any(again.iterdir()), "something was written"
        return True
    found = contents(again)
    assert {name: found[name] for name in right if name in found} == {
        name: data for name, data in right.items() if name in found
    }
    assert SEASON_FILE in found
    for item in sorted(again.rglob("*"), reverse=True):
        item.rmdir() if item.is_dir() else item.unlink()
    again.rmdir()
    return False


def test_a_backup_cut_off_anywhere_is_refused_and_nothing_written(backup: Path, tmp_path: Path) -> None:
    data, right = backup.read_bytes(), parts_of(backup)
    for length in {0, 1, 3, 21, *range(0, len(data), 97), *range(len(data) - 30, len(data))}:
        backup.write_bytes(data[:length])
        assert restored_or_refused(backup, right, tmp_path), f"cut off at {length}"


def test_a_backup_with_a_byte_changed_anywhere_is_refused_or_right(backup: Path, tmp_path: Path) -> None:
    data, right = backup.read_bytes(), parts_of(backup)
    directory = data.index(b"PK\x01\x02")
    chance = random.Random(3)
    places = [*range(60), *chance.sample(range(60, directory), 300), *range(directory, len(data))]
    refused = 0
    for place in places:
        for value in (data[place] ^ (1 << chance.randrange(8)), chance.choice([0, 1, 8, 9, 12, 14, 0xFF])):
            if value == data[place]:
                continue
            backup.write_bytes(data[:place] + bytes([value]) + data[place + 1 :])
            refused += restored_or_refused(backup, right, tmp_path)
    assert refused > len(places)


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_backup_packed_again_by_hand_is_restored_and_damage_to_it_told(
    backup: Path, tmp_path: Path, method: int
) -> None:
    right = parts_of(backup)
    zipped(backup, right, compression=method)
    data = backup.read_bytes()
    assert not restored_or_refused(backup, right, tmp_path)
    chance = random.Random(method)
    for place in chance.sample(range(len(data)), 150):
        backup.write_bytes(data[:place] + bytes([data[place] ^ 0xFF]) + data[place + 1 :])
        restored_or_refused(backup, right, tmp_path)


def test_a_backup_packed_again_with_its_folders_is_restored(backup: Path, tmp_path: Path) -> None:
    right = parts_of(backup)
    zipped(backup, {"bands/": b""} | right)
    assert not restored_or_refused(backup, right, tmp_path)


@pytest.mark.parametrize(
    "make",
    [
        lambda path: path.write_bytes(b""),
        lambda path: path.write_text("no zip"),
        lambda path: zipped(path, {}),
        lambda path: zipped(path, {"notes.txt": b"x"}),
        lambda path: zipped(path, {RECORDS_FILE: b"x"}),
        lambda path: path.mkdir(),
    ],
    ids=["empty", "text", "empty zip", "another zip", "no plan", "folder"],
)
def test_a_file_that_is_no_backup_is_refused(tmp_path: Path, make: Callable[[Path], object]) -> None:
    path = tmp_path / "b.zip"
    make(path)
    told = refusal(lambda: restore(path, tmp_path / "again"))
    assert told == f"{path}: is no backup of a season, or is damaged"
    assert not (tmp_path / "again").exists()


def test_a_backup_that_is_not_there_is_told(tmp_path: Path) -> None:
    assert "there is no such file" in refusal(lambda: restore(tmp_path / "b.zip", tmp_path / "again"))


@pytest.mark.parametrize(
    "name",
    [
        "../evil.txt",
        "bands/../../evil.txt",
        "/tmp/evil.txt",
        "..",
        "bands/..",
        "..\\evil.txt",
        "C:evil.txt",
        "C:\\evil.txt",
        "\\\\server\\evil.txt",
        ".",
        "./.",
    ],
)
def test_a_backup_with_a_name_that_leads_out_of_the_folder_is_refused(
    backup: Path, tmp_path: Path, name: str
) -> None:
    zipped(backup, parts_of(backup) | {name: b"evil"})
    before = contents(tmp_path)
    assert "is no backup of a season, or is damaged" in refusal(lambda: restore(backup, tmp_path / "again"))
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    "more",
    [{"season.toml/x": b""}, {"bands": b""}, {"x" * 300: b""}, {"records.db/x": b""}],
    ids=lambda more: next(iter(more))[:20],
)
def test_a_backup_whose_names_do_not_go_together_is_refused_and_nothing_written(
    backup: Path, tmp_path: Path, more: dict[str, bytes]
) -> None:
    zipped(backup, parts_of(backup) | more)
    refusal(lambda: restore(backup, tmp_path / "again"))
    assert not (tmp_path / "again").exists() or contents(tmp_path / "again") == {}


def test_a_backup_that_would_fill_the_disk_is_refused(backup: Path, tmp_path: Path) -> None:
    data = bytearray(backup.read_bytes())
    place = data.index(b"PK\x01\x02") + 24
    data[place : place + 4] = (0xF0000000).to_bytes(4, "little")
    backup.write_bytes(data)
    refusal(lambda: restore(backup, tmp_path / "again"))
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE records SET author = 'mallory' WHERE number = 2",
        "DELETE FROM records WHERE number = 3",
        "UPDATE records SET content = '{' WHERE number = 2",
    ],
)
def test_a_backup_whose_records_were_changed_is_refused(backup: Path, tmp_path: Path, statement: str) -> None:
    parts = parts_of(backup)
    path = tmp_path / "changed.db"
    path.write_bytes(parts[RECORDS_FILE])
    with closing(sqlite3.connect(path)) as db:
        db.executescript("DROP TRIGGER no_update; DROP TRIGGER no_delete")
        db.execute(statement)
        db.commit()
    zipped(backup, parts | {RECORDS_FILE: path.read_bytes()})
    assert "backup.zip: the backup is not in order: " in refusal(lambda: restore(backup, tmp_path / "again"))
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("data", [b"text", b"SQLite format 3\x00", bytes(5000)])
def test_a_backup_with_other_records_is_refused(backup: Path, tmp_path: Path, data: bytes) -> None:
    zipped(backup, parts_of(backup) | {RECORDS_FILE: data})
    refusal(lambda: restore(backup, tmp_path / "again"))
    assert not (tmp_path / "again").exists()


def test_a_backup_is_a_plain_zip_file_that_every_computer_opens(backup: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(backup.read_bytes())) as archive:
        assert archive.testzip() is None
        assert {info.compress_type for info in archive.infolist()} == {zipfile.ZIP_DEFLATED}
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
