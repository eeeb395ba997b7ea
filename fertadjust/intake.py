"""A laboratory report held against a season: checked, matched to blocks, and made into records."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from fertadjust.entry import RESULT_FIELDS, read_result, to_confirm
from fertadjust.errors import Fault, UserError
from fertadjust.known_results import Allowed, Checked, Fate, KnownResults, Taken
from fertadjust.lab.report import Report, Row
from fertadjust.laboratories import block_called
from fertadjust.record import Draft, Kind, Record
from fertadjust.season_file import SeasonFile
from fertadjust.stored import result_content
from fertadjust.transfer import csv_text


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What a report says and cannot be taken.

    Attributes:
        fault: why, with its place.
        row: as read, or None when it could not be.
        block: the block that it belongs to, or "".
    """

    fault: Fault
    row: Row | None = None
    block: str = ""


@dataclass(frozen=True, slots=True)
class Intake:
    """A report held against a season.

    Attributes:
        taken: results that will do, in the report's order, whatever becomes of them.
        left_out: what will not do.
        unmatched: names of each sample that is of no block, in order -> its rows.
        revisions: in words, what of that which was left out may be a revised value.
        last: number of the last record that it was held against.
    """

    taken: tuple[Taken, ...]
    left_out: tuple[LeftOut, ...]
    unmatched: Mapping[tuple[str, ...], tuple[Row, ...]]
    revisions: tuple[str, ...]
    last: int

    def of(self, fate: Fate) -> list[Taken]:
        """The results with a fate."""
        return [item for item in self.taken if item.fate is fate]


_OF_THE_VALUE: Final = ("", "value", "analyte", "unit", "basis")


def intake(
    report: Report,
    name: str,
    file: SeasonFile,
    records: Sequence[Record],
    samples: Mapping[str, str],
    today: date,
    allowed: Allowed,
    assigned: Mapping[tuple[str, ...], str],
) -> Intake:
    """Hold a report against a season. Nothing is written.

    Args:
        report: the report, without open questions.
        name: its file's name.
        file: the season file, its blocks without records.
        records: the season's records, in order.
        samples: name of a sample -> block key.
        today: the day of entry.
        allowed: what is taken without asking.
        assigned: all names of a sample -> block key, for this report only.
    """
    reading = _Checking(report, name, file, samples, today, allowed, assigned)
    known = KnownResults(records)
    taken, unclear = known.fates(reading.checked, allowed)
    left_out = reading.left_out + [
        LeftOut(_placed(Fault(text), row, name), row, reading.blocks.get(row.names, "")) for row, text in unclear
    ]
    return Intake(
        tuple(taken),
        tuple(sorted(left_out, key=lambda item: item.fault.line or 0)),
        reading.unmatched,
        tuple(known.revisions),
        records[-1].number if records else 0,
    )


class _Checking:
    """A report's rows, each with its block and checked as an entry, or left out."""

    def __init__(
        self,
        report: Report,
        name: str,
        file: SeasonFile,
        samples: Mapping[str, str],
        today: date,
        allowed: Allowed,
        assigned: Mapping[tuple[str, ...], str],
    ) -> None:
        self._name, self._file, self._today, self._allowed = name, file, today, allowed
        self.left_out = [LeftOut(fault) for fault in report.faults]
        self.checked: list[Checked] = []
        self.blocks: dict[tuple[str, ...], str] = dict(assigned)
        names = {key: block.block.name for key, block in file.blocks.items()}
        unmatched: dict[tuple[str, ...], list[Row]] = defaultdict(list)
        for row in report.rows:
            block = self.blocks.get(row.names)
            try:
                block = block or block_called(row.names, names, samples)
            except UserError as error:
                self._leave_out(row, error.faults)
                continue
            if block is None:
                unmatched[row.names].append(row)
            else:
                self.blocks[row.names] = block
            self._check(row, block)
        every = Counter(text for said in {row.names for row in report.rows} for text in said)
        for said, rows in unmatched.items():
            own = next((text for text in said if every[text] == 1), said[-1] if said else "")
            fault = _of_no_block(said, own, rows, name, file)
            self.left_out += [LeftOut(fault, row) for row in rows]
        self.unmatched = {said: tuple(rows) for said, rows in unmatched.items()}

    def _check(self, row: Row, block: str | None) -> None:
        """Check a row as an entry; one of no block as if it were of the first, for its other faults."""
        try:
            entered = read_result(
                row.fields | {"block": block or next(iter(self._file.blocks))}, self._file, self._today
            )
        except UserError as error:
            self._leave_out(row, error.faults)
            return
        if block is None:
            return
        if entered.questions and not self._allowed.unusual:
            self._leave_out(row, [to_confirm(text) for text in entered.questions])
            return
        self.checked.append((row, replace(entered.result, reported=row.printed or entered.result.reported)))

    def _leave_out(self, row: Row, faults: Sequence[Fault]) -> None:
        block = self.blocks.get(row.names, "")
        self.left_out += [LeftOut(_placed(fault, row, self._name), row, block) for fault in faults]


def _placed(fault: Fault, row: Row, name: str) -> Fault:
    """A fault at its place: the value's column, or the field that another column gave."""
    key = row.column if fault.key in _OF_THE_VALUE and row.column else fault.key
    return Fault(fault.message, name, row.line, key)


def _of_no_block(names: tuple[str, ...], own: str, rows: Sequence[Row], name: str, file: SeasonFile) -> Fault:
    """One fault for all values of a sample, at the first."""
    line = rows[0].line
    if not names:
        return Fault("the sample has neither number nor name, so its block is not known", name, line)
    said = " / ".join(f'"{text}"' for text in names)
    count = f"{len(rows)} values" if len(rows) > 1 else "1 value"
    message = f"{said} ({count}) is of no block of this season ({', '.join(file.blocks)}); say which one: "
    return Fault(f'{message}--sample "{own}=BLOCK"', name, line)


def drafts(found: Intake, name: str) -> list[Draft]:
    """The records to write for what is new and what is revised.

    Args:
        found: the report held against the season.
        name: the report's file name, kept with each value.
    """
    return [
        Draft(
            Kind.RESULT,
            item.result.block,
            item.result.sampled.isoformat(),
            result_content(item.result) | {"source": str(Fault("", name, item.row.line, item.row.column))[:-2]},
            item.record,
            f"revised report {name}" if item.fate is Fate.REVISED else "",
        )
        for item in found.taken
        if item.fate in (Fate.NEW, Fate.REVISED)
    ]


def _block_of(item: LeftOut) -> dict[str, str]:
    """The block as matched, else what the report calls the sample."""
    names = item.row.names if item.row is not None else ()
    block = item.block or (names[0] if names else "")
    return {"block": block} if block else {}


def left_out_text(found: Intake) -> str:
    """What was left out as a CSV file, to be mended and imported: the place, why, and the fields as read."""
    reasons: dict[int, list[str]] = defaultdict(list)
    items: dict[int, LeftOut] = {}
    for item in found.left_out:
        key = id(item) if item.row is None else id(item.row)
        items.setdefault(key, item)
        reasons[key].append(f"{item.fault.key}: {item.fault.message}" if item.fault.key else item.fault.message)
    rows = []
    for key, item in items.items():
        line = item.fault.line if item.row is None else item.row.line
        fields = {} if item.row is None else item.row.fields | _block_of(item)
        rows.append((line, "; ".join(reasons[key]), *(fields.get(name, "") for name in RESULT_FIELDS)))
    return csv_text(("line", "why", *RESULT_FIELDS), rows)
