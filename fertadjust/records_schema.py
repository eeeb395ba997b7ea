"""The form of the records file, made anew or brought up from an earlier form, and what its errors mean."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from typing import Final

from fertadjust.chain import FIRST_LINK, link_of

SCHEMA: Final = 2
"""Version of the form. 1: records. 2: each with its link in the chain."""
FIRST_LINKED: Final = 2
"""The first form with links."""
APPLICATION_ID: Final = 0x46414A31

FIELDS: Final = "number, kind, block, day, written, author, program, replaces, reason, content"

_NO_UPDATE = """
CREATE TRIGGER no_update BEFORE UPDATE ON records
BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;
"""

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
    content TEXT,
    link TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX one_replacement ON records (replaces) WHERE replaces IS NOT NULL;
{_NO_UPDATE}
CREATE TRIGGER no_delete BEFORE DELETE ON records
BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER no_overwrite BEFORE INSERT ON records WHEN NEW.number IN (SELECT number FROM records)
BEGIN SELECT RAISE(ABORT, 'records are never overwritten'); END;
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA};
"""

GUARDS: Final = ("no_update", "no_delete", "no_overwrite", "one_replacement")
"""What makes the database itself refuse a change."""

_BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_NO_ROOM = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
_CLOSED = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_AUTH)
_DAMAGED = (sqlite3.SQLITE_CORRUPT,)
_DAMAGE: Final = "the file is damaged; keep it, and restore the last backup: fertadjust restore"


def create(db: sqlite3.Connection) -> None:
    """Make the tables in an empty database, inside the open transaction."""
    for statement in _statements(_CREATE):
        db.execute(statement)


def migrate(db: sqlite3.Connection, version: int) -> None:
    """Bring an earlier form up to this one, inside the open transaction.

    From 1: the records get their links. They vouch for what stood on this day, not for the days before.
    """
    if version < 2:
        db.execute("DROP TRIGGER no_update")
        db.execute("ALTER TABLE records ADD COLUMN link TEXT NOT NULL DEFAULT ''")
        before = FIRST_LINK
        for row in db.execute(f"SELECT {FIELDS} FROM records ORDER BY number").fetchall():
            before = link_of(before, row)
            db.execute("UPDATE records SET link = ? WHERE number = ?", (before, row[0]))
        for statement in _statements(_NO_UPDATE):
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {SCHEMA}")


def missing_guards(db: sqlite3.Connection) -> list[str]:
    """Names of the guards that are not in a database, or not as they were made."""
    with closing(sqlite3.connect(":memory:")) as fresh:
        create(fresh)
        whole = _guards_of(fresh)
    there = _guards_of(db)
    return [name for name in GUARDS if there.get(name) != whole[name]]


def _guards_of(db: sqlite3.Connection) -> dict[str, str]:
    rows = db.execute("SELECT name, sql FROM sqlite_master WHERE type IN ('trigger', 'index')").fetchall()
    return {name: " ".join(str(sql).split()) for name, sql in rows}


def explained(error: Exception) -> str:
    """What an error of the database means to the person at the keyboard."""
    if isinstance(error, UnicodeDecodeError):
        return _DAMAGE
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in _BUSY:
        return "another program is writing to them; try again in a moment"
    if code in _NO_ROOM:
        return "the disk is full, or cannot be read or written"
    if code in _CLOSED:
        return "the file or its folder cannot be opened or written to; is it read-only?"
    if code in _DAMAGED:
        return _DAMAGE
    if code == sqlite3.SQLITE_NOTADB:
        return "this is not a records file of this program; it was left as it is"
    return str(error)


def _statements(script: str) -> Iterator[str]:
    """Single statements of a script, so that they run inside the open transaction."""
    part = ""
    for line in script.splitlines():
        part += line + "\n"
        if sqlite3.complete_statement(part):
            yield part
            part = ""
