"""The records of a season: added to and never changed."""

from __future__ import annotations

import multiprocessing
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from fertadjust.errors import UserError
from fertadjust.record import Draft, Kind, Record, standing, standing_on
from fertadjust.records import RECORDS_FILE, SCHEMA, Records
from tests.support import let_others_in

NOON = datetime(2026, 3, 9, 12, 0, 5, 999, tzinfo=UTC)
PROGRAM = "fertadjust 0.1.0"


def draft(
    value: float = 2310, kind: Kind = Kind.RESULT, replaces: int | None = None, reason: str = "", **more: Any
) -> Draft:
    return Draft(kind, "north", "2026-03-09", {"value": value} | more, replaces, reason)


def void(replaces: int, kind: Kind = Kind.RESULT) -> Draft:
    return Draft(kind, "north", "2026-03-09", None, replaces, "wrong field")


@pytest.fixture
def records(tmp_path: Path) -> Records:
    return Records(tmp_path / RECORDS_FILE, PROGRAM)


def write(records: Records, *drafts: Draft) -> list[int]:
    return records.append(drafts, "grower", NOON)


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(UserError) as caught:
        call()
    return str(caught.value)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@contextmanager
def as_another_person() -> Iterator[None]:
    """Without the rights of an administrator, before whom no folder is closed."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


# --- written and read ---------------------------------------------------------------------------------------


def test_looking_at_a_season_without_records_creates_nothing(records: Records, tmp_path: Path) -> None:
    assert records.all() == []
    assert records.current(Kind.DECISION) == []
    assert list(tmp_path.iterdir()) == []


def test_writing_nothing_creates_nothing(records: Records, tmp_path: Path) -> None:
    assert write(records) == []
    assert list(tmp_path.iterdir()) == []


def test_a_record_comes_back_as_written(records: Records) -> None:
    assert write(records, draft(2310, note="Café «5 %» 北", list=[1, None, {"a": 0.1}])) == [1]
    (record,) = records.all()
    assert record == Record(
        number=1,
        kind=Kind.RESULT,
        block="north",
        day="2026-03-09",
        written="2026-03-09T12:00:05+00:00",
        author="grower",
        program=PROGRAM,
        replaces=None,
        reason="",
        content={"value": 2310, "note": "Café «5 %» 北", "list": [1, None, {"a": 0.1}]},
        link=record.link,
    )


def test_numbers_are_given_in_order_and_never_again(records: Records) -> None:
    assert write(records, draft(1), draft(2)) == [1, 2]
    refusal(lambda: write(records, draft(3), void(9)))
    assert write(records, draft(4)) == [3]


def test_records_are_told_apart_by_kind(records: Records) -> None:
    write(records, draft(kind=Kind.RESULT), draft(kind=Kind.APPLICATION), draft(kind=Kind.RESULT))
    assert [record.number for record in records.all(Kind.RESULT)] == [1, 3]
    assert [record.number for record in records.current(Kind.APPLICATION)] == [2]


def test_a_folder_may_have_any_name(tmp_path: Path) -> None:
    for name in ("two words", "50 % #1?", "Früh & 'spät'", "北", "a;b"):
        folder = tmp_path / name
        folder.mkdir()
        records = Records(folder / RECORDS_FILE, PROGRAM)
        write(records, draft())
        assert len(records.all()) == 1
        assert [path.name for path in folder.iterdir()] == [RECORDS_FILE]


def test_no_other_file_is_left_beside_the_records(records: Records, tmp_path: Path) -> None:
    write(records, draft())
    records.all()
    refusal(lambda: write(records, draft(), void(7)))
    assert [path.name for path in tmp_path.iterdir()] == [RECORDS_FILE]


def test_reading_changes_no_byte(records: Records, tmp_path: Path) -> None:
    write(records, draft(), draft())
    before = contents(tmp_path)
    records.all()
    records.current(Kind.RESULT)
    assert contents(tmp_path) == before


# --- never changed ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE records SET content = '{}' WHERE number = 1",
        "UPDATE records SET reason = 'other'",
        "DELETE FROM records WHERE number = 1",
        "DELETE FROM records",
        "REPLACE INTO records (number, kind, block, day, written, author, program, reason, content)"
        " VALUES (1, 'result', 'north', '2026-03-09', '', '', '', '', '{}')",
    ],
)
def test_the_database_itself_refuses_to_change_a_record(records: Records, tmp_path: Path, statement: str) -> None:
    write(records, draft(), draft())
    before = records.all()
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        with pytest.raises(sqlite3.Error):
            db.execute(statement)
        db.rollback()
    assert records.all() == before


def test_the_database_itself_refuses_a_second_replacement(records: Records, tmp_path: Path) -> None:
    write(records, draft(), draft(2, replaces=1, reason="misread"))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(
            "INSERT INTO records (kind, block, day, written, author, program, replaces, reason, content)"
            " VALUES ('result', 'north', '2026-03-09', '', '', '', 1, '', '{}')"
        )


def test_a_correction_stands_in_place_of_what_it_replaces(records: Records) -> None:
    write(records, draft(23100), draft(1800))
    assert write(records, draft(2310, replaces=1, reason="one zero too many")) == [3]
    assert [record.number for record in records.current()] == [2, 3]
    assert [record.number for record in records.all()] == [1, 2, 3]
    assert records.all()[2].reason == "one zero too many"


def test_a_correction_may_be_corrected(records: Records) -> None:
    write(records, draft(1), draft(2, replaces=1), draft(3, replaces=2))
    assert [record.content for record in records.current()] == [{"value": 3}]


def test_a_void_takes_a_record_away_and_leaves_it_on_file(records: Records) -> None:
    write(records, draft(1), draft(2))
    write(records, void(1))
    assert [record.number for record in records.current()] == [2]
    assert [record.content for record in records.all()] == [{"value": 1}, {"value": 2}, None]


def test_a_record_is_replaced_once(records: Records) -> None:
    write(records, draft(1), draft(2, replaces=1))
    assert refusal(lambda: write(records, draft(3, replaces=1))) == "record 1 was replaced already, by record 2"
    assert refusal(lambda: write(records, void(1))) == "record 1 was replaced already, by record 2"
    assert len(records.all()) == 2


def test_a_record_is_replaced_once_within_one_writing(records: Records) -> None:
    write(records, draft(1))
    assert "was replaced already" in refusal(lambda: write(records, draft(2, replaces=1), draft(3, replaces=1)))
    assert len(records.all()) == 1


def test_only_a_record_that_is_there_is_replaced(records: Records) -> None:
    write(records, draft(1))
    assert refusal(lambda: write(records, draft(2, replaces=2))) == "there is no record 2"


def test_a_record_is_replaced_by_its_own_kind(records: Records) -> None:
    write(records, draft(1, kind=Kind.APPLICATION))
    told = refusal(lambda: write(records, draft(2, kind=Kind.RESULT, replaces=1)))
    assert told == "record 1 is an application, not a result"
    assert len(records.all()) == 1


def test_records_are_written_all_or_none(records: Records, tmp_path: Path) -> None:
    write(records, draft(1))
    before = contents(tmp_path)
    refusal(lambda: write(records, draft(2), draft(3), draft(4, replaces=9)))
    assert contents(tmp_path) == before


def test_content_that_cannot_be_written_writes_nothing(records: Records) -> None:
    write(records, draft(1))
    with pytest.raises(TypeError):
        write(records, draft(2), draft(3, when=NOON))
    assert [record.content for record in records.all()] == [{"value": 1}]
    assert write(records, draft(4)) == [2]


def test_a_first_writing_that_fails_leaves_a_season_without_records(records: Records, tmp_path: Path) -> None:
    refusal(lambda: write(records, draft(1), void(9)))
    assert records.all() == []
    assert write(records, draft(2)) == [1]


# --- what stood when ----------------------------------------------------------------------------------------


def test_what_stood_at_an_earlier_number_comes_back(records: Records) -> None:
    write(records, draft(1), draft(2), draft(3, replaces=1), void(2), draft(5))
    every = records.all()
    stood = [[record.number for record in standing(every[:count])] for count in range(6)]
    assert stood == [[], [1], [1, 2], [2, 3], [3], [3, 5]]
    assert standing(every) == records.current()


# --- what stood at the end of a day -------------------------------------------------------------------------


def stood_on(records: Records, *days: int) -> list[list[int]]:
    """Numbers of what stood at the end of each of some days of March."""
    every = records.all()
    return [[record.number for record in standing_on(every, date(2026, 3, day))] for day in days]


def write_on(records: Records, day: int, *drafts: Draft, hour: int = 12) -> None:
    records.append(drafts, "grower", datetime(2026, 3, day, hour, tzinfo=UTC))


def test_a_correction_counts_from_the_day_it_was_written(records: Records) -> None:
    write_on(records, 9, draft(1), draft(2))
    write_on(records, 12, draft(3, replaces=1))
    assert stood_on(records, 9, 11, 12, 13) == [[1, 2], [1, 2], [2, 3], [2, 3]]


def test_a_void_counts_from_the_day_it_was_written(records: Records) -> None:
    write_on(records, 9, draft(1), draft(2))
    write_on(records, 12, void(2))
    assert stood_on(records, 9, 11, 12, 13) == [[1, 2], [1, 2], [1], [1]]


def test_a_chain_of_corrections_stands_link_by_link(records: Records) -> None:
    write_on(records, 9, draft(1))
    write_on(records, 12, draft(2, replaces=1))
    write_on(records, 14, draft(3, replaces=2))
    write_on(records, 16, void(3))
    assert stood_on(records, 9, 11, 12, 13, 14, 15, 16, 30) == [[1], [1], [2], [2], [3], [3], [], []]


def test_links_of_a_chain_written_on_one_day_stand_as_its_last(records: Records) -> None:
    write_on(records, 9, draft(1))
    write_on(records, 12, draft(2, replaces=1), hour=8)
    write_on(records, 12, draft(3, replaces=2), hour=20)
    assert stood_on(records, 11, 12) == [[1], [3]]


def test_what_was_corrected_on_the_day_it_was_entered_never_stood(records: Records) -> None:
    write_on(records, 9, draft(1), draft(2), draft(3, replaces=1), void(2))
    assert stood_on(records, 8, 9, 10) == [[3], [3], [3]]


def test_what_was_entered_later_altogether_is_taken_as_it_stands_now(records: Records) -> None:
    write_on(records, 9, draft(1), draft(2))
    write_on(records, 12, draft(3, replaces=1))
    write_on(records, 14, void(2))
    assert stood_on(records, 2, 8) == [[3], [3]]


def test_a_record_entered_later_stands_beside_an_older_one_not_yet_corrected(records: Records) -> None:
    write_on(records, 9, draft(1))
    write_on(records, 12, draft(2))
    write_on(records, 13, draft(3, replaces=2), draft(4, replaces=1))
    assert stood_on(records, 9, 12, 13) == [[1, 3], [1, 2], [3, 4]]


def test_the_day_of_writing_is_that_of_the_writers_own_clock(records: Records) -> None:
    west = timezone(timedelta(hours=-7))
    records.append([draft(1)], "grower", datetime(2026, 3, 9, 12, tzinfo=west))
    records.append([draft(2, replaces=1)], "grower", datetime(2026, 3, 12, 23, tzinfo=west))
    assert stood_on(records, 11, 12) == [[1], [2]]


def test_of_no_records_none_stood(records: Records) -> None:
    assert standing_on([], date(2026, 3, 9)) == []
    assert not records.all()


# --- files that are no records of ours ----------------------------------------------------------------------


def test_records_of_a_newer_program_are_refused_and_left_as_they_are(records: Records, tmp_path: Path) -> None:
    write(records, draft())
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute(f"PRAGMA user_version = {SCHEMA + 1}")
        db.execute("CREATE TABLE harvest (kg REAL)")
    before = contents(tmp_path)
    for call in (records.all, lambda: write(records, draft())):
        told = refusal(call)
        assert told.startswith(str(tmp_path / RECORDS_FILE))
        assert "the records were written by a newer version of the program; use that one" in told
    assert contents(tmp_path) == before


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
def test_a_database_of_something_else_is_refused_and_left_as_it_is(
    records: Records, tmp_path: Path, mode: str
) -> None:
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute(f"PRAGMA journal_mode = {mode}")
        db.execute("CREATE TABLE records (number INTEGER, egg_weight REAL)")
        db.execute("INSERT INTO records VALUES (1, 61.5)")
        db.commit()
    before = contents(tmp_path)
    for call in (records.all, lambda: write(records, draft())):
        assert "this is not a records file of this program; it was left as it is" in refusal(call)
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    "data", [b"north 2026-03-09 2310\n" * 100, b"2310", b"SQLite format 3\x00 torn", bytes(range(256)) * 40]
)
def test_a_file_that_is_no_database_is_refused_and_left_as_it_is(
    records: Records, tmp_path: Path, data: bytes
) -> None:
    (tmp_path / RECORDS_FILE).write_bytes(data)
    for call in (records.all, lambda: write(records, draft())):
        told = refusal(call)
        assert str(tmp_path / RECORDS_FILE) in told
        assert "not a database" in told or "not a records file" in told
    assert contents(tmp_path) == {RECORDS_FILE: data}


def test_torn_records_are_refused_in_plain_words(records: Records, tmp_path: Path) -> None:
    write(records, *(draft(index, note="x" * 300) for index in range(200)))
    path = tmp_path / RECORDS_FILE
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    torn = contents(tmp_path)
    assert str(path) in refusal(records.all)
    assert contents(tmp_path) == torn


def test_a_folder_in_place_of_the_records_is_refused(records: Records, tmp_path: Path) -> None:
    (tmp_path / RECORDS_FILE).mkdir()
    assert "cannot be opened" in refusal(records.all)
    assert "cannot be opened" in refusal(lambda: write(records, draft()))


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    records = Records(tmp_path / "gone" / RECORDS_FILE, PROGRAM)
    assert records.all() == []
    told = refusal(lambda: write(records, draft()))
    assert str(tmp_path / "gone" / RECORDS_FILE) in told
    assert not (tmp_path / "gone").exists()


@pytest.fixture
def closed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A season folder that may be read by all and written to by nobody."""
    folder = tmp_path_factory.mktemp("closed")
    let_others_in(tmp_path_factory)
    write(Records(folder / RECORDS_FILE, PROGRAM), draft())
    (folder / RECORDS_FILE).chmod(0o444)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)


def test_records_that_may_not_be_written_are_read_and_not_written(closed: Path) -> None:
    records = Records(closed / RECORDS_FILE, PROGRAM)
    before = contents(closed)
    with as_another_person():
        assert len(records.all()) == 1
        told = refusal(lambda: write(records, draft()))
    assert str(closed / RECORDS_FILE) in told
    assert "readonly" in told or "read-only" in told
    assert contents(closed) == before


def test_a_folder_that_may_not_be_written_to_is_told(closed: Path) -> None:
    closed.chmod(0o755)
    (closed / RECORDS_FILE).unlink()
    closed.chmod(0o555)
    records = Records(closed / RECORDS_FILE, PROGRAM)
    with as_another_person():
        assert records.all() == []
        told = refusal(lambda: write(records, draft()))
    assert str(closed / RECORDS_FILE) in told
    assert "unable to open" in told or "read" in told
    assert list(closed.iterdir()) == []


# --- two at a time ------------------------------------------------------------------------------------------


def _append_fifty(path: Path, author: str) -> None:
    records = Records(path, PROGRAM)
    for index in range(50):
        records.append([draft(index)], author, NOON)


def test_two_people_writing_at_once_lose_nothing(records: Records, tmp_path: Path) -> None:
    start = multiprocessing.get_context("spawn").Process
    people = [start(target=_append_fifty, args=(tmp_path / RECORDS_FILE, name)) for name in ("ann", "ben")]
    for person in people:
        person.start()
    for person in people:
        person.join(60)
    assert [person.exitcode for person in people] == [0, 0]
    every = records.all()
    assert [record.number for record in every] == list(range(1, 101))
    for name in ("ann", "ben"):
        values = [record.content["value"] for record in every if record.author == name and record.content]
        assert values == list(range(50))
    assert [path.name for path in tmp_path.iterdir()] == [RECORDS_FILE]


def _break_off(path: Path) -> None:
    """Write so much that some of it is on disk already, and fall over before it is all there."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA cache_size = 2")
    db.execute("BEGIN IMMEDIATE")
    for _ in range(300):
        db.execute(
            "INSERT INTO records (kind, block, day, written, author, program, reason, content)"
            " VALUES ('result', 'north', '2026-03-09', '', '', '', '', ?)",
            (f'{{"note": "{"x" * 900}"}}',),
        )
    os._exit(0)


def test_after_a_power_failure_what_was_written_before_is_read(records: Records, tmp_path: Path) -> None:
    write(records, *(draft(index) for index in range(50)))
    before = records.all()
    person = multiprocessing.get_context("spawn").Process(target=_break_off, args=(tmp_path / RECORDS_FILE,))
    person.start()
    person.join(60)
    assert len(list(tmp_path.iterdir())) == 2, "the writing did not break off half-way"
    assert records.all() == before
    assert write(records, draft()) == [51]
    assert [path.name for path in tmp_path.iterdir()] == [RECORDS_FILE]


def test_a_reader_sees_nothing_half_written(records: Records, tmp_path: Path) -> None:
    write(records, draft(1))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE, isolation_level=None)) as db:
        db.execute("BEGIN IMMEDIATE")
        db.execute(
            "INSERT INTO records (kind, block, day, written, author, program, reason, content)"
            " VALUES ('result', 'north', '2026-03-09', '', '', '', '', '{}')"
        )
        assert len(records.all()) == 1
        db.execute("ROLLBACK")
    assert write(records, draft(2)) == [2]
