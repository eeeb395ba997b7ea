"""Records and decisions looked over: is everything as it was written, and does each decision still come out?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from fertadjust.chain import Row, broken_links
from fertadjust.errors import Fault, UserError
from fertadjust.record import earlier, readable
from fertadjust.records import RECORDS_FILE, Records

_SEAL_DIGITS = 16
_MOST_DIGITS = 19
_DATABASES_OWN = ("-journal", "-wal", "-shm")
"""Endings of files that belong to the records while they are written."""


@dataclass(frozen=True, slots=True)
class RecordsAudit:
    """What a look at the records found.

    Attributes:
        count: number of records.
        first, last: when the first and the last were written, ISO 8601, or "".
        seal: number and link of the last record, to be noted elsewhere ("83:9f2c0d1e..."); "" with faults.
        faults: what is not as it was written.
        notes: what is worth knowing and no fault.
        readable: whether every record can be read.
    """

    count: int
    first: str
    last: str
    seal: str
    faults: tuple[str, ...]
    notes: tuple[str, ...]
    readable: bool


def audit_records(folder: Path, records: Records, seal: str = "") -> RecordsAudit:
    """Check the database, the chain and a seal that was noted earlier.

    Args:
        folder: the season's folder.
        records: its records.
        seal: an earlier seal, or "".

    Raises:
        UserError: the file cannot be read as records at all, or the seal is none.
    """
    faults = records.faults()
    rows, linked = records.rows(), records.linked()
    if linked:
        faults += [f"record {item.number}: {item.message}" for item in broken_links(rows)]
    unreadable = [row[0] for row, _ in rows if not readable(row)]
    faults += [f"record {number}: it cannot be read" for number in unreadable]
    if seal:
        faults += _seal_faults(rows, seal)
    return RecordsAudit(
        count=len(rows),
        first=str(rows[0][0][4]) if rows else "",
        last=str(rows[-1][0][4]) if rows else "",
        seal=f"{rows[-1][0][0]}:{rows[-1][1][:_SEAL_DIGITS]}" if rows and linked and not faults else "",
        faults=tuple(faults),
        notes=(*_form_notes(linked), *_clock_notes(rows), *_copies(folder)),
        readable=not unreadable,
    )


def _seal_faults(rows: Sequence[tuple[Row, str]], seal: str) -> list[str]:
    number, _, digits = seal.strip().partition(":")
    if not (number.isascii() and number.isdigit() and len(number) < _MOST_DIGITS and len(digits) >= _SEAL_DIGITS):
        raise UserError(Fault(f'"{seal}" is no seal; one looks like 83:9f2c0d1e5a6b7c8d', key="--seal"))
    links = {row[0]: link for row, link in rows}
    if int(number) not in links:
        return [f"seal: record {number} is no longer there"]
    if not links[int(number)].startswith(digits.lower()):
        return [f"seal: record {number}, or one before it, is not what it was when the seal was noted"]
    return []


def _form_notes(linked: bool) -> list[str]:
    if linked:
        return []
    return ["The records are of an earlier form without a chain; they get theirs with the next thing written."]


def _clock_notes(rows: Sequence[tuple[Row, str]]) -> list[str]:
    return [
        f"Record {after[0]} was written on {_time(after[4])} by its computer's clock, before record {before[0]} "
        f"on {_time(before[4])}: a clock was set wrong."
        for (before, _), (after, _) in pairwise(rows)
        if earlier(after[4], before[4])
    ]


def _time(written: str) -> str:
    return datetime.fromisoformat(written).isoformat(" ", "minutes")


def _copies(folder: Path) -> list[str]:
    """Other files that look like records: a cloud drive makes one when two computers write at once."""
    stem = Path(RECORDS_FILE).stem
    names = sorted(
        path.name for path in folder.glob(f"{stem}*.db*") if path.is_file() and path.name != RECORDS_FILE
    )
    names = [name for name in names if name not in {f"{RECORDS_FILE}{end}" for end in _DATABASES_OWN}]
    return [
        f"{name} lies beside the records and is not read. If a cloud drive made it, two computers wrote at once: "
        "export it, and enter what is missing."
        for name in names
    ]
