"""The season's records: SQLite, append-only.

A record is never changed. A correction is a new record that names the one it replaces; a void is a correction
to nothing. The database itself refuses updates and deletions.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from fertadjust.errors import Fault, UserError

RECORDS_FILE = "records.db"
SCHEMA = 1
_APPLICATION_ID = 0x46414A31
_BUSY_S = 10.0

_CREATE = f"""
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
PRAGMA application_id = {_APPLICATION_ID};
PRAGMA user_version = {SCHEMA};
"""


class Kind(StrEnum):
    RESULT = "result"
    APPLICATION = "application"
    OBSERVATION = "observation"
    DECISION = "decision"


@dataclass(frozen=True, slots=True)
class Draft:
    """A record before it is written.

    Attributes:
        kind: what it is.
        block: block key.
        day: the day it is about, ISO 8601.
        content: plain data, or None to void the replaced record.
        replaces: number of the record it replaces, or None.
        reason: why, for a correction or a void.
    """

    kind: Kind
    block: str
    day: str
    content: dict[str, Any] | None
    replaces: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """A record as written; fields as in `Draft`, with its number, time of writing, author and program."""

    number: int
    kind: Kind
    block: str
    day: str
    written: str
    author: str
    program: str
    replaces: int | None
    reason: str
    content: dict[str, Any] | None


class Records:
    """The records of one season.

    Args:
        path: the database file. It is created by the first write, not by looking.
        program: program name and version, written with each record.
    """

    def __init__(self, path: Path, program: str) -> None:
        self._path = path
        self._program = program

    def append(self, drafts: Sequence[Draft], author: str, written: datetime) -> list[int]:
        """Write records, all or none; their numbers.

        Args:
            drafts: what to write, in order.
            author: who writes.
            written: when, with a time zone.

        Raises:
            UserError: the file is no records file, is from a newer program, or cannot be written; or a replaced
                record does not exist, is of another kind, or has been replaced before.
        """
        if not drafts:
            return []
        with self._connect(write=True) as db:
            numbers = []
            for draft in drafts:
                if draft.replaces is not None:
                    self._check_replaced(db, draft)
                numbers.append(self._insert(db, draft, author, written))
        return numbers

    def _insert(self, db: sqlite3.Connection, draft: Draft, author: str, written: datetime) -> int:
        content = None if draft.content is None else json.dumps(draft.content, sort_keys=True, ensure_ascii=False)
        cursor = db.execute(
            "INSERT INTO records (kind, block, day, written, author, program, replaces, reason, content)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                draft.kind.value,
                draft.block,
                draft.day,
                written.isoformat(timespec="seconds"),
                author,
                self._program,
                draft.replaces,
                draft.reason,
                content,
            ),
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def _check_replaced(self, db: sqlite3.Connection, draft: Draft) -> None:
        row = db.execute("SELECT kind FROM records WHERE number = ?", (draft.replaces,)).fetchone()
        if row is None:
            raise UserError(f"there is no record {draft.replaces}")
        if row[0] != draft.kind.value:
            raise UserError(f"record {draft.replaces} is {_a(row[0])}, not {_a(draft.kind.value)}")
        later = db.execute("SELECT number FROM records WHERE replaces = ?", (draft.replaces,)).fetchone()
        if later is not None:
            raise UserError(f"record {draft.replaces} was replaced already, by record {later[0]}")

    def all(self, kind: Kind | None = None) -> list[Record]:
        """Every record in order of writing, replaced ones included.

        Raises:
            UserError: the file cannot be read as records of this program.
        """
        if not self._path.exists() or self._path.stat().st_size == 0:
            return []
        with self._connect(write=False) as db:
            rows = db.execute(
                "SELECT number, kind, block, day, written, author, program, replaces, reason, content"
                " FROM records ORDER BY number"
            ).fetchall()
        records = [_record(row) for row in rows]
        return [record for record in records if kind is None or record.kind is kind]

    def current(self, kind: Kind | None = None) -> list[Record]:
        """Records that stand; see `standing`."""
        return standing(self.all(kind))

    @contextmanager
    def _connect(self, *, write: bool) -> Iterator[sqlite3.Connection]:
        mode = "rwc" if write else "rw" if self._interrupted() else "ro"
        try:
            db = sqlite3.connect(
                f"{self._path.absolute().as_uri()}?mode={mode}",
                uri=True,
                isolation_level=None,
                timeout=_BUSY_S,
            )
        except sqlite3.Error as error:
            raise UserError(Fault(f"the records cannot be opened: {error}", str(self._path))) from None
        try:
            if write:
                db.execute("PRAGMA synchronous = FULL")
                db.execute("BEGIN IMMEDIATE")
            self._check_schema(db, create=write)
            yield db
            if write:
                db.execute("COMMIT")
        except sqlite3.Error as error:
            raise UserError(Fault(f"the records were not changed: {error}", str(self._path))) from None
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
            db.close()

    def _interrupted(self) -> bool:
        """Whether a writing broke off half-way: SQLite takes it back, which it cannot do read-only."""
        return self._path.with_name(f"{self._path.name}-journal").exists()

    def _check_schema(self, db: sqlite3.Connection, *, create: bool) -> None:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        owner = db.execute("PRAGMA application_id").fetchone()[0]
        empty = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
        if create and empty and version == 0:
            for statement in _statements(_CREATE):
                db.execute(statement)
            return
        if owner != _APPLICATION_ID:
            raise UserError(
                Fault("this is not a records file of this program; it was left as it is", str(self._path))
            )
        if version > SCHEMA:
            raise UserError(
                Fault("the records were written by a newer version of the program; use that one", str(self._path))
            )


def standing(records: Sequence[Record]) -> list[Record]:
    """Of some records in order of number, those that are neither replaced nor void."""
    replaced = {record.replaces for record in records}
    return [record for record in records if record.number not in replaced and record.content is not None]


def standing_on(records: Sequence[Record], on: date) -> list[Record]:
    """Of some records in order, those that stood at the end of a day.

    A correction or a void written later did not yet count. What was written later altogether, of a day before, is
    taken as it stands now.
    """
    early: set[int] = set()
    put_off: set[int] = set()
    for record in records:
        if date.fromisoformat(record.written[:10]) <= on:
            early.add(record.number)
        elif record.replaces in early or record.replaces in put_off:
            put_off.add(record.number)
    return standing([record for record in records if record.number not in put_off])


def _a(word: str) -> str:
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


def _record(row: Any) -> Record:
    number, kind, block, day, written, author, program, replaces, reason, content = row
    data = None if content is None else json.loads(content)
    return Record(number, Kind(kind), block, day, written, author, program, replaces, reason, data)


def _statements(script: str) -> Iterator[str]:
    """Single statements of a script, so that they run inside the open transaction."""
    part = ""
    for line in script.splitlines():
        part += line + "\n"
        if sqlite3.complete_statement(part):
            yield part
            part = ""
