"""Records files of earlier and newer forms: read, brought up, or refused and left as they are."""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fertadjust.audit import audit_records
from fertadjust.chain import FIRST_LINK, broken_links, link_of
from fertadjust.errors import UserError
from fertadjust.record import Draft, Kind
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.records_schema import APPLICATION_ID, FIELDS, GUARDS, SCHEMA
from tests.test_records import PROGRAM, contents, draft, refusal

FIRST_FORM = """
CREATE TABLE records (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL,
    block TEXT NOT NULL,
    day TEXT NOT NULL,
    written TEXT NOT NULL,
    author TEXT NOT NULL,
    program TEXT NOT NULL,
    replaces INTEGER REFERENCES records (number),
    reason TEXT NOT NULL,
    content TEXT
) STRICT;
CREATE UNIQUE INDEX one_replacement ON records (replaces) WHERE replaces IS NOT NULL;
CREATE TRIGGER no_update BEFORE UPDATE ON records
BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;
CREATE TRIGGER no_delete BEFORE DELETE ON records
BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER no_overwrite BEFORE INSERT ON records WHEN NEW.number IN (SELECT number FROM records)
BEGIN SELECT RAISE(ABORT, 'records are never overwritten'); END;
PRAGMA application_id = 1178683953;
PRAGMA user_version = 1;
"""
"""The records file as the program made it before records had links."""

LATER = datetime(2026, 3, 14, 12, tzinfo=UTC)
OLD = "fertadjust 0.2.0"
ROWS = [
    (1, "result", "north", "2026-03-09", "2026-03-09T12:00:05+00:00", "ann", OLD, None, "", '{"value": 23100}'),
    (2, "application", "Süd", "2026-03-10", "2026-03-10T08:00:00-07:00", "ben", OLD, None, "", '{"n_lb_ac": 2.6}'),
    (3, "result", "north", "2026-03-09", "2026-03-11T12:00:00+00:00", "ann", OLD, 1, "zero", '{"value": 2310}'),
    (4, "application", "Süd", "2026-03-10", "2026-03-12T12:00:00+00:00", "ben", OLD, 2, "=1+1", None),
    (
        5,
        "observation",
        "north",
        "2026-03-12",
        "2026-03-12T13:00:00+00:00",
        "北",
        OLD,
        None,
        "",
        '{"note": "a\\nb"}',
    ),
]


def write(records: Records, *drafts: Draft) -> list[int]:
    return records.append(drafts, "grower", LATER)


def old_file(path: Path, extra: int = 0) -> None:
    """A file of the first form with the rows above, and more of them."""
    more = [
        (number, "result", "north", "2026-03-13", "2026-03-13T12:00:00+00:00", "ann", OLD, None, "", '{"x": "y"}')
        for number in range(6, 6 + extra)
    ]
    with closing(sqlite3.connect(path)) as db:
        db.executescript(FIRST_FORM)
        db.executemany(f"INSERT INTO records VALUES ({', '.join('?' * 10)})", [*ROWS, *more])
        db.commit()


@pytest.fixture
def records(tmp_path: Path) -> Records:
    old_file(tmp_path / RECORDS_FILE)
    return Records(tmp_path / RECORDS_FILE, PROGRAM)


def version_of(path: Path) -> int:
    with closing(sqlite3.connect(path)) as db:
        return int(db.execute("PRAGMA user_version").fetchone()[0])


# --- the form before links ----------------------------------------------------------------------------------


def test_an_old_file_is_read_and_not_changed(records: Records, tmp_path: Path) -> None:
    before = contents(tmp_path)
    assert records.rows() == [(row, "") for row in ROWS]
    assert [(item.number, item.link) for item in records.all()] == [(number, "") for number in range(1, 6)]
    assert [item.number for item in records.current()] == [3, 5]
    assert records.faults() == []
    assert not records.holds_last(Draft(Kind.PLAN, "", "2026-03-09", {}))
    records.copy_to(tmp_path / "copy.db")
    (tmp_path / "copy.db").unlink()
    assert contents(tmp_path) == before


def test_an_audit_says_that_an_old_file_has_no_chain_yet(records: Records, tmp_path: Path) -> None:
    before = contents(tmp_path)
    found = audit_records(tmp_path, records)
    assert (found.count, found.faults, found.seal, found.readable) == (5, (), "", True)
    assert found.notes == (
        "The records are of an earlier form without a chain; they get theirs with the next thing written.",
    )
    assert contents(tmp_path) == before


def test_the_first_thing_written_keeps_every_field_and_number_of_an_old_file(
    records: Records, tmp_path: Path
) -> None:
    assert write(records, draft(7)) == [6]
    rows = records.rows()
    assert [row for row, _ in rows[:5]] == ROWS
    before = FIRST_LINK
    for row, link in rows:
        assert link == link_of(before, row)
        before = link
    assert version_of(tmp_path / RECORDS_FILE) == SCHEMA
    assert [path.name for path in tmp_path.iterdir()] == [RECORDS_FILE]


def test_an_old_file_that_was_brought_up_is_in_order(records: Records, tmp_path: Path) -> None:
    write(records, draft(7))
    found = audit_records(tmp_path, records)
    assert (found.count, found.faults, found.notes) == (6, (), ())
    assert found.seal.startswith("6:")


def test_an_old_file_that_was_brought_up_refuses_changes(records: Records, tmp_path: Path) -> None:
    write(records, draft(7))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        names = {name for (name,) in db.execute("SELECT name FROM sqlite_master")}
        assert set(GUARDS) <= names
        for statement in (
            "UPDATE records SET reason = 'other' WHERE number = 1",
            "UPDATE records SET link = ''",
            "DELETE FROM records WHERE number = 6",
            f"REPLACE INTO records ({FIELDS}) VALUES (1, 'result', 'north', '', '', '', '', NULL, '', '{{}}')",
        ):
            with pytest.raises(sqlite3.Error, match="never"):
                db.execute(statement)


def test_an_old_file_has_the_same_links_as_if_its_records_were_written_today(
    records: Records, tmp_path: Path
) -> None:
    write(records, draft(7))
    new = Records(tmp_path / "new.db", PROGRAM)
    new.adopt(records.rows())
    assert new.rows() == records.rows()
    assert broken_links(new.rows()) == []


def test_a_correction_in_an_old_file_is_checked_as_ever(records: Records, tmp_path: Path) -> None:
    before = contents(tmp_path)
    assert refusal(lambda: write(records, draft(1, replaces=1))) == "record 1 was replaced already, by record 3"
    assert contents(tmp_path) == before, "a refused writing brings nothing up"
    assert write(records, draft(1, replaces=3, reason="misread")) == [6]


def test_an_old_file_without_records_is_brought_up(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.executescript(FIRST_FORM)
    records = Records(tmp_path / RECORDS_FILE, PROGRAM)
    assert records.all() == []
    assert write(records, draft()) == [1]
    assert audit_records(tmp_path, records).faults == ()


def test_an_old_file_whose_last_record_was_taken_away_does_not_give_its_number_again(
    records: Records, tmp_path: Path
) -> None:
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute("DROP TRIGGER no_delete")
        db.execute("DELETE FROM records WHERE number = 5")
        db.commit()
    assert write(records, draft()) == [6]
    assert "record 6: record 5 before it is missing" in audit_records(tmp_path, records).faults


def test_a_file_without_links_that_says_it_has_them_is_not_in_order(records: Records, tmp_path: Path) -> None:
    write(records, draft(7))
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.executescript("DROP TRIGGER no_update; UPDATE records SET link = ''")
        db.executescript("CREATE TRIGGER no_update BEFORE UPDATE ON records BEGIN SELECT RAISE(ABORT, 'x'); END")
    assert audit_records(tmp_path, records).faults


# --- a newer form -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", [SCHEMA + 1, 99, 2**31 - 1])
def test_a_newer_form_is_refused_by_every_call_and_not_one_byte_changed(tmp_path: Path, version: int) -> None:
    records = Records(tmp_path / RECORDS_FILE, PROGRAM)
    write(records, draft())
    rows = records.rows()
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        db.execute(f"PRAGMA user_version = {version}")
        db.execute("ALTER TABLE records ADD COLUMN weather TEXT")
    before = contents(tmp_path)
    for call in (
        records.all,
        records.rows,
        records.faults,
        records.current,
        lambda: records.holds_last(draft()),
        lambda: records.copy_to(tmp_path / "copy.db"),
        lambda: write(records, draft()),
        lambda: records.adopt(rows),
        lambda: audit_records(tmp_path, records),
    ):
        told = refusal(call)
        assert "the records were written by a newer version of the program; use that one" in told
        (tmp_path / "copy.db").unlink(missing_ok=True)
    assert contents(tmp_path) == before


# --- a bringing up that breaks off --------------------------------------------------------------------------


@pytest.mark.parametrize("error", [sqlite3.OperationalError("disk I/O error"), KeyboardInterrupt(), MemoryError()])
@pytest.mark.parametrize("number", range(1, 6))
def test_a_bringing_up_that_fails_at_a_record_leaves_the_old_file(
    records: Records, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, error: BaseException
) -> None:
    before = contents(tmp_path)

    def failing(link: str, row: tuple[object, ...]) -> str:
        if row[0] == number:
            raise error
        return link_of(link, row)

    with monkeypatch.context() as patched:
        patched.setattr("fertadjust.records_schema.link_of", failing)
        with pytest.raises((UserError, KeyboardInterrupt, MemoryError)):
            write(records, draft())
    assert contents(tmp_path) == before
    assert write(records, draft(8)) == [6]
    assert [row for row, _ in records.rows()[:5]] == ROWS
    assert audit_records(tmp_path, records).faults == ()


def _killed_after(path: Path, steps: int) -> bool:
    """Bring a file up in a process that is killed after so many steps of the database; whether it was."""
    child = os.fork()
    if child == 0:
        left = [steps]
        true = sqlite3.connect

        def connect(*args: object, **rest: object) -> sqlite3.Connection:
            db: sqlite3.Connection = true(*args, **rest)  # type: ignore[call-overload]

            def step() -> int:
                left[0] -= 1
                if left[0] <= 0:
                    os.kill(os.getpid(), signal.SIGKILL)
                return 0

            db.execute("PRAGMA cache_size = 2")
            db.set_progress_handler(step, 50)
            return db

        try:
            sqlite3.connect = connect  # type: ignore[assignment]
            write(Records(path, PROGRAM), draft(8))
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def test_a_bringing_up_that_is_killed_leaves_the_old_file(tmp_path: Path) -> None:
    killed = journals = 0
    for round_ in range(40):
        path = tmp_path / f"{round_}.db"
        old_file(path, extra=400)
        with closing(sqlite3.connect(path)) as db:
            rows = db.execute("SELECT * FROM records ORDER BY number").fetchall()
        if not _killed_after(path, 1 + 10 * round_):
            break
        killed += 1
        journals += path.with_name(f"{path.name}-journal").exists()
        records = Records(path, PROGRAM)
        assert records.rows() == [(row, "") for row in rows]
        assert version_of(path) == 1
        assert write(records, draft(9)) == [406]
        assert [row for row, _ in records.rows()[:405]] == rows
        assert broken_links(records.rows()) == []
        assert not path.with_name(f"{path.name}-journal").exists()
    assert killed > 10
    assert journals > 0, "no bringing up broke off after something was on disk"


def test_a_bringing_up_without_room_leaves_the_old_file(tmp_path: Path) -> None:
    refused = 0
    for limit in (0, 512, 4096, 20_000, 40_000, 60_000, 90_000, 120_000, 200_000):
        path = tmp_path / f"{limit}.db"
        old_file(path, extra=400)
        before = path.read_bytes()
        child = os.fork()
        if child == 0:
            code = 1
            try:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
                told = refusal(lambda path=path: write(Records(path, PROGRAM), draft(8)))  # type: ignore[misc]
                code = 3 if "the disk is full" in told else 4
            except BaseException:
                code = 5
            finally:
                os._exit(code)
        _, status = os.waitpid(child, 0)
        records = Records(path, PROGRAM)
        if os.waitstatus_to_exitcode(status) == 3:
            refused += 1
            assert len(records.rows()) == 405
            assert version_of(path) == 1
            assert path.read_bytes() == before
            assert write(records, draft(8)) == [406]
        else:
            assert len(records.rows()) == 406, limit
        assert broken_links(records.rows()) == []
    assert refused >= 4


def test_a_new_file_says_whose_it_is_and_of_which_form(tmp_path: Path) -> None:
    write(Records(tmp_path / RECORDS_FILE, PROGRAM), draft())
    with closing(sqlite3.connect(tmp_path / RECORDS_FILE)) as db:
        assert db.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
    assert version_of(tmp_path / RECORDS_FILE) == SCHEMA
