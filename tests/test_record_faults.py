"""Records when things go wrong: killed writers, a full disk, closed folders, torn and foreign files."""

from __future__ import annotations

import logging
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fertadjust.audit import audit_records
from fertadjust.chain import broken_links, link_of
from fertadjust.errors import UserError
from fertadjust.record import Draft, Kind
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.records_schema import FIELDS, GUARDS
from tests.support import let_others_in
from tests.test_records import NOON, PROGRAM, as_another_person, contents, draft, refusal, write

BATCH = 3
"""Records written at a time by a writer that is going to be killed."""


@pytest.fixture
def records(tmp_path: Path) -> Records:
    return Records(tmp_path / RECORDS_FILE, PROGRAM)


def in_a_child(call: Callable[[], None]) -> int:
    """Exit status of a forked process that makes a call; 99 when the call raised."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            call()
            code = 0
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def whole(records: Records) -> list[int]:
    """Numbers of the records, after a look that nothing is wrong with them."""
    assert records.faults() == []
    rows = records.rows()
    assert broken_links(rows) == []
    numbers = [row[0] for row, _ in rows]
    assert numbers == list(range(1, len(rows) + 1))
    return numbers


# --- killed writers -----------------------------------------------------------------------------------------


def _write_until_killed(path: Path, to: int, round_: int) -> None:
    records = Records(path, PROGRAM)
    for batch in range(10_000):
        size = 10 ** (batch % 5)
        drafts = [draft(index, batch=f"{round_}.{batch}", note="x" * size) for index in range(BATCH)]
        numbers = records.append(drafts, "grower", NOON)
        os.write(to, f"{round_}.{batch} {numbers[0]} {numbers[-1]}\n".encode())


def _killed_writer(path: Path, round_: int, after_s: float) -> list[str]:
    """What a writer acknowledged before it was killed, one line a batch."""
    out, to = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(out)
            _write_until_killed(path, to, round_)
        finally:
            os._exit(1)
    os.close(to)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the writer ended by itself"
    with os.fdopen(out, encoding="ascii") as lines:
        return [line.strip() for line in lines if line.endswith("\n")]


@pytest.mark.parametrize("seed", range(8))
def test_a_writer_killed_at_any_moment_loses_nothing_and_leaves_nothing_half_written(
    tmp_path: Path, seed: int
) -> None:
    chance = random.Random(seed)
    path = tmp_path / RECORDS_FILE
    records = Records(path, PROGRAM)
    acknowledged: list[str] = []
    last = 0
    for round_ in range(30):
        acknowledged += _killed_writer(path, round_, chance.uniform(0.0, 0.02))
        batches: dict[str, list[int]] = {}
        for record in records.all():
            assert record.content is not None
            if "batch" in record.content:
                batches.setdefault(record.content["batch"], []).append(record.number)
        assert all(len(numbers) == BATCH for numbers in batches.values()), "a writing is there in part"
        there = {f"{name} {numbers[0]} {numbers[-1]}" for name, numbers in batches.items()}
        assert set(acknowledged) <= there
        last = len(whole(records)) + 1
        assert write(records, draft(round_)) == [last]
        assert [item.name for item in tmp_path.iterdir()] == [RECORDS_FILE]
    assert len(whole(records)) == last


def test_a_writer_killed_with_part_of_its_writing_on_disk_is_taken_back_by_the_next_look(tmp_path: Path) -> None:
    """Killed at every so many steps of the database, with a cache so small that pages go to disk early."""
    path = tmp_path / RECORDS_FILE
    records = Records(path, PROGRAM)
    write(records, *(draft(index, note="x" * 300) for index in range(100)))
    before, data = records.rows(), path.read_bytes()
    killed = torn = 0
    for steps in range(1, 400, 9):
        status = in_a_child(lambda steps=steps: _write_and_be_killed(path, steps))  # type: ignore[misc]
        if status == 0:
            break
        assert status == -signal.SIGKILL
        killed += 1
        journal = path.with_name(f"{path.name}-journal")
        torn += path.read_bytes() != data and journal.exists()
        assert records.rows() == before
        assert not journal.exists()
    assert killed > 10
    assert torn > 0, "no writer was killed with part of its writing on disk"
    whole(records)


def _write_and_be_killed(path: Path, steps: int) -> None:
    left = [steps]
    true = sqlite3.connect

    def step() -> int:
        left[0] -= 1
        if left[0] <= 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return 0

    def connect(*args: object, **rest: object) -> sqlite3.Connection:
        db: sqlite3.Connection = true(*args, **rest)  # type: ignore[call-overload]
        db.execute("PRAGMA cache_size = 2")
        db.set_progress_handler(step, 40)
        return db

    sqlite3.connect = connect  # type: ignore[assignment]
    write(Records(path, PROGRAM), *(draft(index, note="y" * 2000) for index in range(60)))


# --- many at once -------------------------------------------------------------------------------------------

PEOPLE, EACH = 8, 100


def _write_each(path: Path, author: str) -> None:
    records = Records(path, PROGRAM)
    for index in range(EACH):
        records.append([draft(index)], author, NOON)


def test_eight_people_writing_at_once_lose_nothing(records: Records, tmp_path: Path) -> None:
    start = multiprocessing.get_context("fork").Process
    people = [start(target=_write_each, args=(tmp_path / RECORDS_FILE, f"p{index}")) for index in range(PEOPLE)]
    for person in people:
        person.start()
    while any(person.is_alive() for person in people):
        assert broken_links(records.rows()) == []
        time.sleep(0.05)
    for person in people:
        person.join(60)
    assert [person.exitcode for person in people] == [0] * PEOPLE
    assert whole(records) == list(range(1, PEOPLE * EACH + 1))
    every = records.all()
    for index in range(PEOPLE):
        mine = [record.content["value"] for record in every if record.author == f"p{index}" and record.content]
        assert mine == list(range(EACH))
    assert [path.name for path in tmp_path.iterdir()] == [RECORDS_FILE]


@pytest.fixture
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fertadjust.records._BUSY_S", 0.1)


@pytest.mark.usefixtures("_impatient")
def test_records_that_another_program_holds_are_refused_after_a_while(records: Records, tmp_path: Path) -> None:
    write(records, draft(1))
    before = contents(tmp_path)
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")
        began = time.monotonic()
        told = refusal(lambda: write(records, draft(2)))
        assert 0.05 < time.monotonic() - began < 5
        assert told == (
            f"{tmp_path / RECORDS_FILE}: the records were not changed: another program is writing to them; "
            "try again in a moment"
        )
        assert len(records.all()) == 1, "they can be read meanwhile"
        db.execute("ROLLBACK")
    assert contents(tmp_path) == before
    assert write(records, draft(2)) == [2]


@pytest.mark.usefixtures("_impatient")
def test_records_that_another_program_holds_altogether_are_not_read_either(
    records: Records, tmp_path: Path
) -> None:
    write(records, draft(1))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE, isolation_level=None)) as db:
        db.execute("BEGIN EXCLUSIVE")
        for call in (records.all, records.rows, records.faults, lambda: records.copy_to(tmp_path / "copy.db")):
            assert "another program is writing to them; try again in a moment" in refusal(call)
        db.execute("ROLLBACK")
    assert len(records.all()) == 1


# --- a full disk --------------------------------------------------------------------------------------------


def _write_with_room(path: Path, limit: int, size: int) -> None:
    """Exits with 1 when refused in the right words, with 0 when written, with 99 when anything else came of it."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
    drafts = [draft(index, note="x" * size) for index in range(BATCH)]
    try:
        Records(path, PROGRAM).append(drafts, "grower", NOON)
    except UserError as error:
        right = str(error) == (
            f"{path}: the records were not changed: the disk is full, or cannot be read or written"
        )
        os._exit(1 if right else 98)


@pytest.mark.parametrize("there", [0, 1, 40])
@pytest.mark.parametrize("size", [10, 30_000])
def test_without_room_a_writing_is_there_whole_or_not_at_all(tmp_path: Path, there: int, size: int) -> None:
    original = tmp_path / "original.db"
    if there:
        write(Records(original, PROGRAM), *(draft(index, note="x" * 300) for index in range(there)))
    largest = (original.stat().st_size if there else 0) + BATCH * size + 40_000
    outcomes = {0: 0, 1: 0}
    for limit in sorted({*range(0, largest, 1531), *range(0, largest, 4096), *range(1, 1100, 97)}):
        path = tmp_path / RECORDS_FILE
        if there:
            shutil.copy(original, path)
        outcome = in_a_child(lambda limit=limit, path=path: _write_with_room(path, limit, size))  # type: ignore[misc]
        assert outcome in outcomes, f"with room for {limit} bytes"
        outcomes[outcome] += 1
        records = Records(path, PROGRAM)
        numbers = whole(records)
        assert len(numbers) == (there + BATCH if outcome == 0 else there), f"with room for {limit} bytes"
        assert write(records, draft()) == [len(numbers) + 1]
        whole(records)
        for item in tmp_path.iterdir():
            if item.name.startswith(RECORDS_FILE):
                item.unlink()
    assert all(outcomes.values()), "the disk was never full, or always"


# --- closed folders and files -------------------------------------------------------------------------------


@pytest.fixture
def lent(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A season folder with two records that another person can get at."""
    folder = tmp_path_factory.mktemp("lent")
    let_others_in(tmp_path_factory)
    write(Records(folder / RECORDS_FILE, PROGRAM), draft(1), draft(2))
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)


@pytest.mark.parametrize("mode", [0o444, 0o644, 0o666])
def test_a_folder_that_is_closed_is_read_and_not_written_to(lent: Path, mode: int) -> None:
    path = lent / RECORDS_FILE
    path.chmod(mode)
    lent.chmod(0o555)
    records, before = Records(path, PROGRAM), contents(lent)
    with as_another_person():
        assert [record.number for record in records.all()] == [1, 2]
        assert records.faults() == []
        assert audit_records(lent, records).seal.startswith("2:")
        told = refusal(lambda: write(records, draft(3)))
    assert told.startswith(f"{path}: the records were not changed: ")
    assert "the file or its folder cannot be opened or written to; is it read-only?" in told
    assert contents(lent) == before


def test_a_file_of_somebody_else_in_an_open_folder_is_read_and_not_written_to(lent: Path) -> None:
    path = lent / RECORDS_FILE
    path.chmod(0o644)
    lent.chmod(0o777)
    records, before = Records(path, PROGRAM), contents(lent)
    with as_another_person():
        assert [record.number for record in records.all()] == [1, 2]
        told = refusal(lambda: write(records, draft(3)))
    assert "the file or its folder cannot be opened or written to; is it read-only?" in told
    assert contents(lent) == before


def test_a_file_that_is_closed_is_neither_read_nor_written_to(lent: Path) -> None:
    path = lent / RECORDS_FILE
    path.chmod(0o600)
    records, before = Records(path, PROGRAM), contents(lent)
    with as_another_person():
        for call in (records.all, records.faults, lambda: write(records, draft(3))):
            told = refusal(call)
            assert told.startswith(f"{path}: the records ")
            assert "the file or its folder cannot be opened or written to; is it read-only?" in told
    assert contents(lent) == before


def test_a_folder_that_may_not_be_looked_into_is_told(lent: Path) -> None:
    lent.chmod(0o700)
    records = Records(lent / RECORDS_FILE, PROGRAM)
    with as_another_person():
        for call in (records.all, records.rows, records.faults, lambda: write(records, draft(3))):
            assert str(lent / RECORDS_FILE) in refusal(call)


def test_a_writing_that_broke_off_in_a_folder_that_is_closed_is_told_and_left(lent: Path) -> None:
    path = lent / RECORDS_FILE
    assert in_a_child(lambda: _write_and_be_killed(path, 60)) == -signal.SIGKILL
    assert path.with_name(f"{RECORDS_FILE}-journal").exists()
    lent.chmod(0o555)
    records, before = Records(path, PROGRAM), contents(lent)
    with as_another_person():
        told = refusal(records.all)
    assert told.startswith(f"{path}: the records cannot be read: ")
    assert contents(lent) == before
    lent.chmod(0o755)
    assert [record.number for record in records.all()] == [1, 2]


# --- torn and damaged files ---------------------------------------------------------------------------------


@pytest.fixture
def damaged(tmp_path: Path) -> tuple[Records, list[tuple[object, ...]], bytes]:
    """Records to be damaged, their fields, and the bytes of their file."""
    records = Records(tmp_path / RECORDS_FILE, PROGRAM)
    write(records, *(draft(index, note=f"{index} " * 40) for index in range(40)))
    write(records, draft(7, replaces=3, reason="misread"), draft(8))
    return records, [tuple(row) for row, _ in records.rows()], (tmp_path / RECORDS_FILE).read_bytes()


def looked_at(records: Records, folder: Path, right: list[tuple[object, ...]]) -> None:
    """Records are read as they were, or their damage is told."""
    try:
        read = [(item.number, item.kind, item.block, item.day, item.content) for item in records.all()]
    except UserError:
        read = None
    try:
        found = audit_records(folder, records, "")
        in_order = not found.faults
    except UserError:
        in_order = False
    if in_order:
        assert [tuple(row) for row, _ in records.rows()] == right
        assert read is not None and len(read) == len(right)


def test_a_file_torn_at_any_length_is_told_or_read_right_and_never_changed(
    damaged: tuple[Records, list[tuple[object, ...]], bytes], tmp_path: Path
) -> None:
    records, right, data = damaged
    path = tmp_path / RECORDS_FILE
    lengths = {*range(1, len(data), 211), *range(1, 130, 7), *range(len(data) - 400, len(data), 5)}
    lengths |= {page + more for page in range(4096, len(data), 4096) for more in (-1, 0, 1)}
    for length in sorted(lengths):
        path.write_bytes(data[:length])
        looked_at(records, tmp_path, right)
        assert contents(tmp_path) == {RECORDS_FILE: data[:length]}, f"torn at {length}"


def test_a_file_torn_at_any_length_is_not_written_to_as_if_it_were_whole(
    damaged: tuple[Records, list[tuple[object, ...]], bytes], tmp_path: Path
) -> None:
    records, _, data = damaged
    path = tmp_path / RECORDS_FILE
    for length in sorted({*range(2, len(data) - 4096, 997), *range(4096, len(data), 4096)}):
        path.write_bytes(data[:length])
        assert str(path) in refusal(lambda: write(records, draft()))
        assert contents(tmp_path) == {RECORDS_FILE: data[:length]}, f"torn at {length}"


def test_a_file_torn_within_its_last_page_is_refused_in_plain_words_or_stays_out_of_order(
    damaged: tuple[Records, list[tuple[object, ...]], bytes], tmp_path: Path
) -> None:
    records, _, data = damaged
    path = tmp_path / RECORDS_FILE
    for length in range(len(data) - 4095, len(data) - 1, 37):
        path.write_bytes(data[:length])
        try:
            write(records, draft())
        except UserError:
            assert contents(tmp_path) == {RECORDS_FILE: data[:length]}, f"torn at {length}"
        else:
            looked_at(records, tmp_path, [tuple(row) for row, _ in records.rows()])
            assert audit_records(tmp_path, records).faults, f"torn at {length}"


def test_bytes_changed_on_the_disk_are_told_or_do_not_matter(
    damaged: tuple[Records, list[tuple[object, ...]], bytes], tmp_path: Path
) -> None:
    records, right, data = damaged
    path = tmp_path / RECORDS_FILE
    chance = random.Random(5)
    for place in [*range(100), *chance.sample(range(100, len(data)), 500)]:
        value = chance.choice([0, 0xFF, data[place] ^ 1, data[place] ^ 0x80])
        path.write_bytes(data[:place] + bytes([value]) + data[place + 1 :])
        before = contents(tmp_path)
        looked_at(records, tmp_path, right)
        assert contents(tmp_path) == before, f"byte {place}"


def test_an_emptied_file_reads_as_no_records_and_a_seal_tells(records: Records, tmp_path: Path) -> None:
    write(records, draft(1), draft(2))
    seal = audit_records(tmp_path, records).seal
    (tmp_path / RECORDS_FILE).write_bytes(b"")
    assert records.all() == []
    assert records.faults() == []
    assert audit_records(tmp_path, records, seal).faults == ("seal: record 2 is no longer there",)
    assert contents(tmp_path) == {RECORDS_FILE: b""}
    assert write(records, draft(3)) == [1]


# --- files of something else --------------------------------------------------------------------------------


def foreign(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE eggs (weight REAL)")
        db.execute("INSERT INTO eggs VALUES (61.5)")
        db.commit()


def foreign_without_tables(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA application_id = 77")
        db.execute("VACUUM")


def foreign_with_our_table(path: Path) -> None:
    write(Records(path, PROGRAM), draft())
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA application_id = 77")


@pytest.mark.parametrize(
    "make",
    [
        foreign,
        foreign_without_tables,
        foreign_with_our_table,
        lambda path: path.write_text("north 2026-03-09 2310\n"),
        lambda path: path.write_text("x"),
        lambda path: path.write_bytes(b"\n"),
        lambda path: path.write_bytes(bytes(4096)),
        lambda path: path.write_bytes(b"SQLite format 3\x00"),
        lambda path: path.write_bytes(b"SQLite format 3\x00" + bytes(5000)),
        lambda path: path.write_bytes(b"PK\x03\x04" + bytes(range(256)) * 20),
    ],
    ids=[
        "database",
        "no tables",
        "our table",
        "text",
        "letter",
        "newline",
        "zeros",
        "head",
        "head of zeros",
        "zip",
    ],
)
def test_a_file_of_something_else_is_refused_by_every_call_and_left_as_it_is(
    records: Records, tmp_path: Path, make: Callable[[Path], object]
) -> None:
    make(tmp_path / RECORDS_FILE)
    before = contents(tmp_path)
    for call in (
        records.all,
        records.rows,
        records.faults,
        lambda: records.holds_last(draft()),
        lambda: audit_records(tmp_path, records),
        lambda: write(records, draft()),
        lambda: records.adopt([]),
    ):
        assert "this is not a records file of this program; it was left as it is" in refusal(call)
    assert contents(tmp_path) == before


# --- a write-ahead log --------------------------------------------------------------------------------------


def by_hand(db: sqlite3.Connection, records: Records) -> None:
    """Write record 3 without the program, but rightly."""
    row = (
        3,
        "result",
        "north",
        "2026-03-09",
        NOON.isoformat("T", "seconds"),
        "ann",
        PROGRAM,
        None,
        "",
        '{"value": 3}',
    )
    marks = ", ".join("?" * 11)
    link = link_of(records.rows()[-1][1], row)
    db.execute(f"INSERT INTO records ({FIELDS}, link) VALUES ({marks})", (*row, link))
    db.commit()


def test_a_file_put_into_the_mode_of_a_write_ahead_log_is_one_file_again_with_the_next_thing_written(
    records: Records, tmp_path: Path
) -> None:
    write(records, draft(1), draft(2))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        assert db.execute("PRAGMA journal_mode = WAL").fetchone() == ("wal",)
    before = (tmp_path / RECORDS_FILE).read_bytes()
    assert len(records.all()) == 2
    assert (tmp_path / RECORDS_FILE).read_bytes() == before
    assert write(records, draft(3)) == [3]
    assert [path.name for path in tmp_path.iterdir()] == [RECORDS_FILE]
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    whole(records)


def test_what_stands_in_a_write_ahead_log_alone_is_read_and_kept(records: Records, tmp_path: Path) -> None:
    write(records, draft(1), draft(2))
    path = tmp_path / RECORDS_FILE
    copy = tmp_path / "copy"
    copy.mkdir()
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        by_hand(db, records)
        for ending in ("", "-wal"):
            shutil.copy(f"{path}{ending}", copy)
    moved = Records(copy / RECORDS_FILE, PROGRAM)
    assert [record.content for record in moved.all()] == [{"value": value} for value in (1, 2, 3)]
    assert write(moved, draft(4)) == [4]
    assert [item.name for item in copy.iterdir()] == [RECORDS_FILE]
    assert whole(moved) == [1, 2, 3, 4]


# --- a clock set wrong --------------------------------------------------------------------------------------


def test_a_clock_set_back_is_told_in_plain_words_and_the_record_is_taken(
    records: Records, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING):
        write(records, draft(1))
        records.append([draft(2)], "grower", NOON)
        records.append([draft(3)], "grower", NOON + timedelta(days=1))
    assert caplog.messages == []
    assert records.append([draft(4)], "grower", datetime(2024, 1, 1, 6, 30, tzinfo=UTC)) == [4]
    (told,) = caplog.messages
    assert told.startswith("This computer's clock says 2024-01-01 06:30")
    assert "but record 3 was written on 2026-03-10" in told
    assert told.endswith(": set the clock right.")
    assert len(whole(records)) == 4
    (note,) = audit_records(tmp_path, records).notes
    assert note.startswith("Record 4 was written on 2024-01-01")


@pytest.mark.parametrize("written", ["", "yesterday", "2026-03-09", "2026-03-09T12:00:00", "\u0662"])
def test_a_last_record_whose_time_was_changed_keeps_nobody_from_writing(
    records: Records, tmp_path: Path, written: str
) -> None:
    write(records, draft(1))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute("DROP TRIGGER no_update")
        db.execute("UPDATE records SET written = ?", (written,))
        db.commit()
    assert write(records, draft(2)) == [2]


# --- what the database itself says --------------------------------------------------------------------------


@pytest.mark.parametrize("guard", GUARDS)
def test_a_guard_taken_out_is_told(records: Records, tmp_path: Path, guard: str) -> None:
    write(records, draft(1))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute(f"DROP {'INDEX' if guard == 'one_replacement' else 'TRIGGER'} {guard}")
    assert records.faults() == [f"the guard {guard} was taken out of the database"]


@pytest.mark.parametrize("name", GUARDS[:3])
def test_a_guard_put_in_place_of_another_is_told(records: Records, tmp_path: Path, name: str) -> None:
    write(records, draft(1))
    verb = {"no_update": "UPDATE", "no_delete": "DELETE", "no_overwrite": "INSERT"}[name]
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute(f"DROP TRIGGER {name}")
        db.execute(f"CREATE TRIGGER {name} BEFORE {verb} ON records WHEN false BEGIN SELECT 1; END")
    assert len(records.faults()) == 1


def test_a_record_that_replaces_one_that_is_not_there_is_told(records: Records, tmp_path: Path) -> None:
    write(records, draft(1), draft(2, kind=Kind.APPLICATION))
    records.append([Draft(Kind.RESULT, "north", "2026-03-09", None, 1, "wrong field")], "grower", NOON)
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute("DROP TRIGGER no_update")
        db.execute("UPDATE records SET replaces = 9 WHERE number = 3")
        db.commit()
    assert "record 3 replaces a record that is not there" in records.faults()
