"""The season's records: SQLite, append-only.

A record is never changed. A correction is a new record that names the one it replaces; a void is a correction
to nothing. The database itself refuses updates and deletions, and the records are chained by hash
(`fertadjust.chain`), so that a change made behind its back shows.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

from fertadjust.chain import FIRST_LINK, Row, link_of
from fertadjust.errors import Fault, UserError
from fertadjust.record import Draft, Kind, Record, content_text, earlier, record_of, standing
from fertadjust.records_schema import (
    APPLICATION_ID,
    FIELDS,
    FIRST_LINKED,
    SCHEMA,
    create,
    explained,
    migrate,
    missing_guards,
)

RECORDS_FILE = "records.db"
_BUSY_S = 10.0
_SMALLEST = 512
"""Fewer bytes are no database (SQLite's smallest page)."""
_LOG = logging.getLogger(__name__)


class Records:
    """The records of one season.

    Args:
        path: the database file. It is created by the first write, not by looking.
        program: program name and version, written with each record.
    """

    def __init__(self, path: Path, program: str) -> None:
        self._path = path
        self._program = program

    def append(
        self,
        drafts: Sequence[Draft],
        author: str,
        written: datetime,
        first: Draft | None = None,
        after: int | None = None,
    ) -> list[int]:
        """Write records, all or none; their numbers.

        Args:
            drafts: what to write, in order.
            author: who writes.
            written: when, with a time zone.
            first: written before them, unless the last record of its kind holds the same.
            after: number of the last record that they were made from, or None when that does not matter.

        Raises:
            UserError: the file is no records file, is from a newer program, or cannot be written; a replaced
                record does not exist, is of another kind, or has been replaced before; or records were written
                after the one that was named.
        """
        if not drafts:
            return []
        with self._connect(write=True) as db:
            ahead = [] if first is None or _stands_last(db, first) else [first]
            _look_at_clock(db, written)
            before, start = _last_link(db), _last_given(db) + 1
            if after is not None and after != _last_number(db):
                raise UserError(Fault("records were written in the meantime; try again", str(self._path)))
            for number, draft in enumerate([*ahead, *drafts], start):
                if draft.replaces is not None:
                    self._check_replaced(db, draft)
                row = self._row(number, draft, author, written)
                before = link_of(before, row)
                _insert(db, row, before)
        return list(range(start + len(ahead), start + len(ahead) + len(drafts)))

    def holds_last(self, draft: Draft) -> bool:
        """Whether the last record of a draft's kind holds the same.

        Raises:
            UserError: the file cannot be read as records of this program.
        """
        if not self._there():
            return False
        with self._connect(write=False) as db:
            return _stands_last(db, draft)

    def adopt(self, rows: Sequence[tuple[Row, str]]) -> None:
        """Write records as another file of records holds them, numbers and links included, after those that stand.

        The caller has checked that the links hold and begin where these records end.

        Raises:
            UserError: as for `append`; or records were written in the meantime.
        """
        with self._connect(write=True) as db:
            before = _last_link(db)
            for row, link in rows:
                if link != link_of(before, row):
                    raise UserError(Fault("records were written in the meantime; try again", str(self._path)))
                _insert(db, row, link)
                before = link

    def _row(self, number: int, draft: Draft, author: str, written: datetime) -> Row:
        content = None if draft.content is None else content_text(draft.content)
        return (
            number,
            draft.kind.value,
            draft.block,
            draft.day,
            written.isoformat(timespec="seconds"),
            author,
            self._program,
            draft.replaces,
            draft.reason,
            content,
        )

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
        records = [self._record(row, link) for row, link in self.rows()]
        return [record for record in records if kind is None or record.kind is kind]

    def rows(self) -> list[tuple[Row, str]]:
        """Every record as it is stored, in order, each with its link ("" in a file of the form before links).

        Raises:
            UserError: the file cannot be read as records of this program.
        """
        if not self._there():
            return []
        with self._connect(write=False) as db:
            link = "link" if self._version(db) >= FIRST_LINKED else "''"
            found = db.execute(f"SELECT {FIELDS}, {link} FROM records ORDER BY number").fetchall()
        return [(row[:-1], row[-1]) for row in found]

    def linked(self) -> bool:
        """Whether the file is of a form whose records carry links; true where there are no records yet.

        Raises:
            UserError: the file cannot be read as records of this program.
        """
        if not self._there():
            return True
        with self._connect(write=False) as db:
            return self._version(db) >= FIRST_LINKED

    def faults(self) -> list[str]:
        """What is wrong with the database itself, empty when nothing is: pages, references, guards, last number.

        Raises:
            UserError: the file cannot be read as records of this program.
        """
        if not self._there():
            return []
        with self._connect(write=False) as db:
            found = [f"database: {text}" for (text,) in db.execute("PRAGMA integrity_check") if text != "ok"]
            lost = db.execute("PRAGMA foreign_key_check").fetchall()
            found += [f"record {row[1]} replaces a record that is not there" for row in lost]
            found += [f"the guard {name} was taken out of the database" for name in missing_guards(db)]
            last, given = _last_number(db), _last_given(db)
        if given > last:
            found.append(f"record {given} was written, and the last one there is {last}")
        return found

    def copy_to(self, path: Path) -> None:
        """Write a copy of the file as it stands, while others may write to it.

        Raises:
            UserError: the file cannot be read, or the copy cannot be written.
        """
        with self._connect(write=False) as db, closing(sqlite3.connect(path)) as copy:
            db.backup(copy)

    def current(self, kind: Kind | None = None) -> list[Record]:
        """Records that stand; see `standing`."""
        return standing(self.all(kind))

    @contextmanager
    def _connect(self, *, write: bool) -> Iterator[sqlite3.Connection]:
        self._look_at_file()
        mode = "rwc" if write else "rw" if self._interrupted() else "ro"
        try:
            db = sqlite3.connect(
                f"{self._path.absolute().as_uri()}?mode={mode}",
                uri=True,
                isolation_level=None,
                timeout=_BUSY_S,
            )
        except sqlite3.Error as error:
            raise self._refused(error, write) from None
        try:
            db.text_factory = _text
            if write:
                self._leave_no_log(db)
                db.execute("PRAGMA synchronous = EXTRA")
                db.execute("BEGIN IMMEDIATE")
            self._check_schema(db, write=write)
            yield db
            if write:
                db.execute("COMMIT")
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise self._refused(error, write) from None
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
            db.close()

    def _refused(self, error: Exception, write: bool) -> UserError:
        what = "the records were not changed" if write else "the records cannot be read"
        return UserError(Fault(f"{what}: {explained(error)}", str(self._path)))

    def _record(self, row: Row, link: str) -> Record:
        try:
            return record_of(row, link)
        except (ValueError, TypeError, RecursionError):
            message = f"record {row[0]} is not as it was written; look with: fertadjust audit"
            raise UserError(Fault(message, str(self._path))) from None

    def _there(self) -> bool:
        self._take_back()
        try:
            return self._path.exists() and self._path.stat().st_size > 0
        except OSError as error:
            raise UserError(Fault(f"the records cannot be read: {error.strerror}", str(self._path))) from None

    def _take_back(self) -> None:
        """Let the database take back a writing that broke off: the very first one leaves an empty file behind."""
        try:
            if self._interrupted():
                with closing(sqlite3.connect(f"{self._path.absolute().as_uri()}?mode=rw", uri=True)) as db:
                    self._version(db)
        except (OSError, sqlite3.Error):
            return  # what is wrong is told by whatever opens the file next

    def _look_at_file(self) -> None:
        """Refuse what is no database before the database takes it for an empty one."""
        if not self._there():
            return
        if self._path.is_dir():
            raise UserError(Fault("the records cannot be opened: this is a folder, not a file", str(self._path)))
        if self._path.stat().st_size < _SMALLEST:
            raise UserError(
                Fault("this is not a records file of this program; it was left as it is", str(self._path))
            )

    def _interrupted(self) -> bool:
        """Whether a writing broke off half-way: SQLite takes it back, which it cannot do read-only."""
        return self._path.with_name(f"{self._path.name}-journal").exists()

    def _leave_no_log(self, db: sqlite3.Connection) -> None:
        """Keep our own file in one piece: a write-ahead log beside it would not travel with it."""
        if self._owner(db) == APPLICATION_ID and db.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
            db.execute("PRAGMA journal_mode = DELETE")

    @staticmethod
    def _owner(db: sqlite3.Connection) -> int:
        owner: int = db.execute("PRAGMA application_id").fetchone()[0]
        return owner

    @staticmethod
    def _version(db: sqlite3.Connection) -> int:
        version: int = db.execute("PRAGMA user_version").fetchone()[0]
        return version

    def _check_schema(self, db: sqlite3.Connection, *, write: bool) -> None:
        version, owner = self._version(db), self._owner(db)
        empty = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
        if write and empty and version == owner == 0:
            create(db)
            return
        if owner != APPLICATION_ID:
            raise UserError(
                Fault("this is not a records file of this program; it was left as it is", str(self._path))
            )
        if version > SCHEMA:
            raise UserError(
                Fault("the records were written by a newer version of the program; use that one", str(self._path))
            )
        if write and version < SCHEMA:
            migrate(db, version)


def _a(word: str) -> str:
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


def _last_link(db: sqlite3.Connection) -> str:
    row = db.execute("SELECT link FROM records ORDER BY number DESC LIMIT 1").fetchone()
    return FIRST_LINK if row is None else str(row[0])


def _stands_last(db: sqlite3.Connection, draft: Draft) -> bool:
    """Whether the last record of a draft's kind holds the same."""
    row = db.execute(
        "SELECT content FROM records WHERE kind = ? ORDER BY number DESC LIMIT 1", (draft.kind.value,)
    ).fetchone()
    return row is not None and draft.content is not None and row[0] == content_text(draft.content)


def _last_number(db: sqlite3.Connection) -> int:
    (last,) = db.execute("SELECT coalesce(max(number), 0) FROM records").fetchone()
    return int(last)


def _last_given(db: sqlite3.Connection) -> int:
    """The last number given, which the database keeps even where its record was taken away."""
    (last,) = db.execute(
        "SELECT max(coalesce((SELECT max(number) FROM records), 0),"
        " coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'records'), 0))"
    ).fetchone()
    return int(last)


def _look_at_clock(db: sqlite3.Connection, now: datetime) -> None:
    row = db.execute("SELECT number, written FROM records ORDER BY number DESC LIMIT 1").fetchone()
    if row is None or not earlier(now.isoformat(timespec="seconds"), row[1]):
        return
    _LOG.warning(
        "This computer's clock says %s, but record %s was written on %s: set the clock right.",
        now.isoformat(" ", "minutes"),
        row[0],
        datetime.fromisoformat(row[1]).isoformat(" ", "minutes"),
    )


def _text(raw: bytes) -> str:
    """Text as stored; damaged text stays readable, so that it can be told."""
    return raw.decode("utf-8", "surrogateescape")


def _insert(db: sqlite3.Connection, row: Row, link: str) -> None:
    marks = ", ".join("?" * (len(row) + 1))
    db.execute(f"INSERT INTO records ({FIELDS}, link) VALUES ({marks})", (*row, link))
