"""Records and decisions looked over: is everything as it was written, and does each decision still come out?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from pathlib import Path

from fertadjust.chain import Row, broken_links
from fertadjust.errors import Fault, UserError
from fertadjust.records import RECORDS_FILE, Kind, Records

_SEAL_DIGITS = 16


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
    rows = records.rows()
    linked = all(link for _, link in rows)
    if linked:
        faults += [f"record {item.number}: {item.message}" for item in broken_links(rows)]
    unreadable = [row[0] for row, _ in rows if not _readable(row)]
    faults += [f"record {number}: it cannot be read" for number in unreadable]
    if seal:
        faults += _seal_faults(rows, seal)
    return RecordsAudit(
        count=len(rows),
        first=rows[0][0][4] if rows else "",
        last=rows[-1][0][4] if rows else "",
        seal=f"{rows[-1][0][0]}:{rows[-1][1][:_SEAL_DIGITS]}" if rows and linked and not faults else "",
        faults=tuple(faults),
        notes=(*_form_notes(linked), *_clock_notes(rows), *_copies(folder)),
        readable=not unreadable,
    )


def _readable(row: Row) -> bool:
    try:
        Kind(row[1])
        date.fromisoformat(row[3])
        datetime.fromisoformat(row[4])
        return row[9] is None or isinstance(json.loads(row[9]), dict)
    except ValueError:
        return False


def _seal_faults(rows: Sequence[tuple[Row, str]], seal: str) -> list[str]:
    number, _, digits = seal.strip().partition(":")
    if not (number.isascii() and number.isdigit() and len(digits) >= _SEAL_DIGITS):
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
    readable = [row for row, _ in rows if _readable(row)]
    return [
        f"Record {after[0]} was written on {after[4]} by its computer's clock, before record {before[0]} on "
        f"{before[4]}: a clock was set wrong."
        for before, after in pairwise(readable)
        if _before(after[4], before[4])
    ]


def _before(one: str, other: str) -> bool:
    first, second = datetime.fromisoformat(one), datetime.fromisoformat(other)
    return first.tzinfo is not None and second.tzinfo is not None and first < second


def _copies(folder: Path) -> list[str]:
    """Other files that look like records: a cloud drive makes one when two computers write at once."""
    stem = Path(RECORDS_FILE).stem
    names = sorted(
        path.name for path in folder.glob(f"{stem}*.db*") if path.is_file() and path.name != RECORDS_FILE
    )
    names = [name for name in names if name != f"{RECORDS_FILE}-journal"]
    return [
        f"{name} lies beside the records and is not read. If a cloud drive made it, two computers wrote at once: "
        "export it, and enter what is missing."
        for name in names
    ]
