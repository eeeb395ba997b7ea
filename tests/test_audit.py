"""Records looked over: what shows when somebody changed them behind the program's back."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

from fertadjust.audit import RecordsAudit, audit_records
from fertadjust.chain import link_of
from fertadjust.record import Draft, Kind
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.records_schema import FIELDS, GUARDS
from tests.test_records import NOON, PROGRAM, contents, draft, refusal, write

COUNT = 6
CHANGED = "it is not as it was written"


@pytest.fixture
def records(tmp_path: Path) -> Records:
    """Six records: a result, an application, an observation, a plan, a correction and a void."""
    records = Records(tmp_path / RECORDS_FILE, PROGRAM)
    write(records, draft(1), draft(2, Kind.APPLICATION), draft(3, Kind.OBSERVATION), draft(4, Kind.PLAN))
    write(records, draft(5, replaces=1, reason="misread"))
    write(records, Draft(Kind.APPLICATION, "north", "2026-03-09", None, 2, "wrong field"))
    return records


def look(folder: Path, seal: str = "") -> RecordsAudit:
    return audit_records(folder, Records(folder / RECORDS_FILE, PROGRAM), seal)


def tamper(folder: Path, statement: str, *values: object) -> None:
    """Change the file as somebody would who takes the guards out and puts them back."""
    with closing(sqlite3.connect(folder / RECORDS_FILE)) as db:
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        db.execute(statement, values)
        for _, sql in triggers:
            db.execute(sql)
        db.commit()


def chain_anew(folder: Path) -> None:
    """Make every link anew, so that the chain holds again."""
    with closing(sqlite3.connect(folder / RECORDS_FILE)) as db:
        db.execute("DROP TRIGGER no_update")
        before = ""
        for row in db.execute(f"SELECT {FIELDS} FROM records ORDER BY number").fetchall():
            before = link_of(before, row)
            db.execute("UPDATE records SET link = ? WHERE number = ?", (before, row[0]))
        db.execute(
            "CREATE TRIGGER no_update BEFORE UPDATE ON records "
            "BEGIN SELECT RAISE(ABORT, 'records are never changed'); END"
        )
        db.commit()


# --- in order -----------------------------------------------------------------------------------------------


def test_a_season_without_records_is_in_order_and_looking_creates_nothing(tmp_path: Path) -> None:
    assert look(tmp_path) == RecordsAudit(0, "", "", "", (), (), True)
    assert list(tmp_path.iterdir()) == []


def test_records_as_they_were_written_are_in_order(records: Records, tmp_path: Path) -> None:
    before = contents(tmp_path)
    link = records.all()[-1].link
    assert look(tmp_path) == RecordsAudit(
        count=COUNT,
        first="2026-03-09T12:00:05+00:00",
        last="2026-03-09T12:00:05+00:00",
        seal=f"6:{link[:16]}",
        faults=(),
        notes=(),
        readable=True,
    )
    assert contents(tmp_path) == before


def test_a_seal_still_holds_after_more_was_written(records: Records, tmp_path: Path) -> None:
    seals = [look(tmp_path).seal]
    for value in range(3):
        write(records, draft(value))
        seals.append(look(tmp_path).seal)
    assert len(set(seals)) == 4
    for seal in seals:
        assert look(tmp_path, seal).faults == ()
        assert look(tmp_path, f"  {seal.upper()}\n").faults == ()


def test_a_whole_link_is_a_seal_too(records: Records, tmp_path: Path) -> None:
    assert look(tmp_path, f"3:{records.all()[2].link}").faults == ()


# --- changed ------------------------------------------------------------------------------------------------

OTHER: dict[str, Any] = {
    "kind": "decision",
    "block": "south",
    "day": "2026-03-08",
    "written": "2026-03-09T12:00:06+00:00",
    "author": "mallory",
    "program": "fertadjust 9",
    "replaces": 3,
    "reason": "because",
    "content": '{"value": 9}',
    "link": "0" * 64,
}


@pytest.mark.parametrize("number", range(1, COUNT + 1))
@pytest.mark.parametrize("column", OTHER)
def test_a_change_of_any_column_of_any_record_shows_exactly_once(
    records: Records, tmp_path: Path, column: str, number: int
) -> None:
    del records
    tamper(tmp_path, f"UPDATE records SET {column} = ? WHERE number = ?", OTHER[column], number)
    found = look(tmp_path)
    assert found.faults == (f"record {number}: {CHANGED}",)
    assert (found.seal, found.readable, found.count) == ("", True, COUNT)


@pytest.mark.parametrize("number", range(1, COUNT + 1))
@pytest.mark.parametrize("text", ["", "0", " "])
def test_a_link_that_was_wiped_out_shows(records: Records, tmp_path: Path, number: int, text: str) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET link = ? WHERE number = ?", text, number)
    found = look(tmp_path)
    assert f"record {number}: {CHANGED}" in found.faults
    assert found.seal == ""


@pytest.mark.parametrize("wiped", ["number = 1", "number = 6", "true"])
def test_a_record_changed_where_links_were_wiped_out_shows(records: Records, tmp_path: Path, wiped: str) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET content = '{\"value\": 9}' WHERE number = 3")
    tamper(tmp_path, f"UPDATE records SET link = '' WHERE {wiped}")
    assert look(tmp_path).faults


@pytest.mark.parametrize(
    "content",
    [
        '{"value":5}',  # the same written otherwise
        '{"value": 5.0}',
        '{"value": 5} ',
        '{"value": 5, "value": 5}',
    ],
)
def test_content_written_otherwise_shows(records: Records, tmp_path: Path, content: str) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET content = ? WHERE number = 5", content)
    assert look(tmp_path).faults == (f"record 5: {CHANGED}",)


def test_a_void_made_of_a_record_shows(records: Records, tmp_path: Path) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET content = NULL WHERE number = 3")
    assert look(tmp_path).faults == (f"record 3: {CHANGED}",)


def test_several_changes_show_each_once(records: Records, tmp_path: Path) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET author = 'mallory' WHERE number IN (1, 3, 4)")
    assert look(tmp_path).faults == tuple(f"record {number}: {CHANGED}" for number in (1, 3, 4))


def test_two_records_in_each_others_place_show(records: Records, tmp_path: Path) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET number = CASE number WHEN 3 THEN -4 WHEN 4 THEN -3 ELSE number END")
    tamper(tmp_path, "UPDATE records SET number = abs(number)")
    assert {text.split(":")[0] for text in look(tmp_path).faults} >= {"record 3", "record 4"}


def test_a_record_put_in_at_the_end_without_a_link_shows(records: Records, tmp_path: Path) -> None:
    del records
    tamper(
        tmp_path,
        "INSERT INTO records (kind, block, day, written, author, program, reason, content)"
        " VALUES ('result', 'north', '2026-03-09', '2026-03-10T12:00:00+00:00', '', '', '', '{}')",
    )
    assert look(tmp_path).faults == (f"record 7: {CHANGED}",)


# --- taken away ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [3, 4])
def test_a_record_taken_away_from_the_middle_shows_exactly_once(
    records: Records, tmp_path: Path, number: int
) -> None:
    del records
    tamper(tmp_path, "DELETE FROM records WHERE number = ?", number)
    assert look(tmp_path).faults == (f"record {number + 1}: record {number} before it is missing",)


def test_the_first_record_taken_away_shows_and_so_does_what_replaced_it(records: Records, tmp_path: Path) -> None:
    del records
    tamper(tmp_path, "DELETE FROM records WHERE number = 1")
    assert sorted(look(tmp_path).faults) == [
        "record 2: record 1 before it is missing",
        "record 5 replaces a record that is not there",
    ]


@pytest.mark.parametrize("last", [6, 5, 3])
def test_the_last_records_taken_away_show_exactly_once(records: Records, tmp_path: Path, last: int) -> None:
    del records
    tamper(tmp_path, "DELETE FROM records WHERE number >= ?", last)
    assert look(tmp_path).faults == (f"record 6 was written, and the last one there is {last - 1}",)


def test_every_record_taken_away_shows(records: Records, tmp_path: Path) -> None:
    del records
    tamper(tmp_path, "DELETE FROM records")
    found = look(tmp_path)
    assert found.faults == ("record 6 was written, and the last one there is 0",)
    assert (found.count, found.seal) == (0, "")


def test_a_last_record_taken_away_shows_exactly_once_after_more_was_written(
    records: Records, tmp_path: Path
) -> None:
    tamper(tmp_path, "DELETE FROM records WHERE number = 6")
    assert write(records, draft(7), draft(8)) == [7, 8]
    assert look(tmp_path).faults == ("record 7: record 6 before it is missing",)


def test_the_last_record_taken_away_with_the_memory_of_its_number_shows_by_the_seal(
    records: Records, tmp_path: Path
) -> None:
    del records
    seal = look(tmp_path).seal
    tamper(tmp_path, "DELETE FROM records WHERE number = 6")
    tamper(tmp_path, "UPDATE sqlite_sequence SET seq = 5")
    assert look(tmp_path).faults == ()
    assert look(tmp_path, seal).faults == ("seal: record 6 is no longer there",)


# --- guards -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("guard", GUARDS)
def test_a_guard_taken_out_shows_exactly_once(records: Records, tmp_path: Path, guard: str) -> None:
    del records
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute(f"DROP {'INDEX' if guard == 'one_replacement' else 'TRIGGER'} {guard}")
    assert look(tmp_path).faults == (f"the guard {guard} was taken out of the database",)


# --- a chain made anew --------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(1, COUNT + 1))
def test_a_chain_made_anew_is_caught_by_the_seal(records: Records, tmp_path: Path, number: int) -> None:
    earlier = f"{number}:{records.all()[number - 1].link[:16]}"
    seal = look(tmp_path).seal
    tamper(tmp_path, "UPDATE records SET author = 'mallory' WHERE number = ?", number)
    chain_anew(tmp_path)
    assert look(tmp_path).faults == ()
    for noted in (seal, earlier):
        (told,) = look(tmp_path, noted).faults
        kept = noted.partition(":")[0]
        assert told == f"seal: record {kept}, or one before it, is not what it was when the seal was noted"
    assert look(tmp_path, seal).seal == "", "no new seal is offered beside a fault"


def test_a_seal_of_a_record_before_the_change_still_holds(records: Records, tmp_path: Path) -> None:
    seal = f"2:{records.all()[1].link[:16]}"
    tamper(tmp_path, "UPDATE records SET author = 'mallory' WHERE number = 4")
    chain_anew(tmp_path)
    assert look(tmp_path, seal).faults == ()


def test_another_file_of_records_does_not_hold_the_seal(records: Records, tmp_path: Path) -> None:
    del records
    seal = look(tmp_path).seal
    other = tmp_path / "other"
    other.mkdir()
    write(Records(other / RECORDS_FILE, PROGRAM), *(draft(value) for value in range(8)))
    assert len(look(other, seal).faults) == 1


@pytest.mark.parametrize(
    "seal",
    ["83", ":", "6:", "6:abc", "six:0123456789abcdef", "-6:0123456789abcdef", "٦:0123456789abcdef", "x" * 5000],
)
def test_what_is_no_seal_is_refused(records: Records, tmp_path: Path, seal: str) -> None:
    del records
    assert "is no seal; one looks like 83:9f2c0d1e5a6b7c8d" in refusal(lambda: look(tmp_path, seal))


def test_a_seal_of_an_enormous_number_is_refused_or_told(records: Records, tmp_path: Path) -> None:
    del records
    seal = f"{'9' * 5000}:0123456789abcdef"
    assert "seal" in refusal(lambda: look(tmp_path, seal))


# --- what cannot be read ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("kind", "harvest"),
        ("day", "soon"),
        ("written", "yesterday"),
        ("content", "{"),
        ("content", "[1]"),
        ("content", '"text"'),
        ("content", "null"),
        ("content", ""),
        ("content", "[" * 100_000),
        ("content", '{"value": ' + "9" * 5000 + "}"),
    ],
    ids=lambda value: str(value)[:12],
)
def test_a_record_that_cannot_be_read_is_told_and_the_audit_goes_on(
    records: Records, tmp_path: Path, column: str, value: str
) -> None:
    del records
    tamper(tmp_path, f"UPDATE records SET {column} = ? WHERE number = 3", value)
    tamper(tmp_path, "UPDATE records SET author = 'mallory' WHERE number = 5")
    found = look(tmp_path)
    assert found.faults == (f"record 3: {CHANGED}", f"record 5: {CHANGED}", "record 3: it cannot be read")
    assert (found.readable, found.count, found.seal) == (False, COUNT, "")


def test_text_that_is_no_text_is_told_and_the_audit_goes_on(records: Records, tmp_path: Path) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET reason = CAST(X'80FF' AS TEXT) WHERE number = 3")
    found = look(tmp_path)
    assert any(text.startswith("record 3: ") for text in found.faults)
    assert found.count == COUNT


def test_every_look_at_a_record_that_cannot_be_read_says_what_to_do(records: Records, tmp_path: Path) -> None:
    tamper(tmp_path, "UPDATE records SET content = '{' WHERE number = 3")
    for call in (records.all, records.current):
        assert refusal(call).endswith("record 3 is not as it was written; look with: fertadjust audit")


# --- notes --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["records (1).db", "records-conflict-2026.db", "records.db.bak", "records.db (Ann's copy)"]
)
def test_another_file_that_looks_like_records_is_noted(records: Records, tmp_path: Path, name: str) -> None:
    del records
    (tmp_path / name).write_bytes(b"")
    found = look(tmp_path)
    assert found.faults == ()
    (note,) = found.notes
    assert note.startswith(f"{name} lies beside the records and is not read. ")


def test_files_that_are_no_records_are_not_noted(records: Records, tmp_path: Path) -> None:
    del records
    for name in ("season.toml", "notes.db", "records.csv", "records.txt"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "records-old.db").mkdir()
    assert look(tmp_path).notes == ()


def test_a_write_ahead_log_is_not_taken_for_a_copy(records: Records, tmp_path: Path) -> None:
    del records
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute("PRAGMA journal_mode = WAL")
    assert look(tmp_path).notes == ()
    assert look(tmp_path).notes == (), "nor at a second look"


def test_a_clock_that_went_back_is_noted_where_it_did(tmp_path: Path) -> None:
    records = Records(tmp_path / RECORDS_FILE, PROGRAM)
    for days in (0, 2, 1, 1, 3, 0):
        records.append([draft(days)], "grower", NOON + timedelta(days=days))
    found = look(tmp_path)
    assert found.faults == ()
    assert found.notes == (
        "Record 3 was written on 2026-03-10 12:00+00:00 by its computer's clock, before record 2 on "
        "2026-03-11 12:00+00:00: a clock was set wrong.",
        "Record 6 was written on 2026-03-09 12:00+00:00 by its computer's clock, before record 5 on "
        "2026-03-12 12:00+00:00: a clock was set wrong.",
    )


def test_clocks_of_two_time_zones_are_compared_as_moments(tmp_path: Path) -> None:
    records = Records(tmp_path / RECORDS_FILE, PROGRAM)
    records.append([draft(1)], "ann", datetime(2026, 3, 9, 12, tzinfo=UTC))
    records.append([draft(2)], "ben", datetime(2026, 3, 9, 6, tzinfo=timezone(timedelta(hours=-7))))
    assert look(tmp_path).notes == ()
    records.append([draft(3)], "ann", datetime(2026, 3, 9, 12, 30, tzinfo=UTC))
    assert len(look(tmp_path).notes) == 1


@pytest.mark.parametrize("written", ["2026-03-09", "2026-03-09T10:00:00"])
def test_a_time_without_a_zone_says_nothing_of_a_clock(records: Records, tmp_path: Path, written: str) -> None:
    del records
    tamper(tmp_path, "UPDATE records SET written = ? WHERE number = 3", written)
    assert look(tmp_path).notes == ()


# --- files that are none ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "make",
    [lambda path: path.write_text("text " * 200), lambda path: path.mkdir()],
    ids=["text", "folder"],
)
def test_a_file_that_is_no_records_at_all_is_refused(tmp_path: Path, make: Callable[[Path], object]) -> None:
    make(tmp_path / RECORDS_FILE)
    assert str(tmp_path / RECORDS_FILE) in refusal(lambda: look(tmp_path))
