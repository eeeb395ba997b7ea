"""A laboratory report held against a season: what is new, stands already, is revised, or will not do."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Final

from fertadjust.dates import day
from fertadjust.entry import RESULT_FIELDS, read_result
from fertadjust.errors import Fault, UserError
from fertadjust.lab.report import Report, Row
from fertadjust.laboratories import block_called
from fertadjust.record import Draft, Kind, Record, standing
from fertadjust.season_file import SeasonFile
from fertadjust.stored import result_content, result_of
from fertadjust.tissue import TissueResult
from fertadjust.transfer import csv_text


class Fate(StrEnum):
    """What becomes of a result of a report."""

    NEW = "new"
    STANDS = "stands already"
    UNDONE = "was corrected or voided since"
    REVISED = "revised"


@dataclass(frozen=True, slots=True)
class Taken:
    """A result of a report that will do.

    Attributes:
        row: as read.
        result: the checked result.
        fate: what becomes of it.
        record: the record that says the same, or that it corrects, or None.
    """

    row: Row
    result: TissueResult
    fate: Fate
    record: int | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What a report says and cannot be taken.

    Attributes:
        fault: why, with its place.
        row: as read, or None when it could not be.
    """

    fault: Fault
    row: Row | None = None


@dataclass(frozen=True, slots=True)
class Intake:
    """A report held against a season.

    Attributes:
        taken: results that will do, in the report's order, whatever becomes of them.
        left_out: what will not do.
        unmatched: names of each sample that is of no block, in order -> its rows.
        revisions: in words, what of that which was left out may be a revised value.
    """

    taken: tuple[Taken, ...]
    left_out: tuple[LeftOut, ...]
    unmatched: Mapping[tuple[str, ...], tuple[Row, ...]]
    revisions: tuple[str, ...]

    def of(self, fate: Fate) -> list[Taken]:
        """The results with a fate."""
        return [item for item in self.taken if item.fate is fate]


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the person importing has allowed.

    Attributes:
        unusual: values that a careful person would ask about, second values of one sample among them.
        revised: values that differ from those on record, as corrections of them.
    """

    unusual: bool = False
    revised: bool = False


Checked = tuple[Row, TissueResult]
Sample = tuple[object, ...]
_SAME: Final = 1e-9
_OF_THE_VALUE: Final = ("", "value", "analyte", "unit", "basis")


def intake(
    report: Report,
    name: str,
    file: SeasonFile,
    records: Sequence[Record],
    samples: Mapping[str, str],
    today: date,
    allowed: Allowed,
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
    """
    reading = _Checking(report, name, file, samples, today, allowed)
    known = _Known(records)
    taken, unclear = known.fates(reading.checked, allowed)
    left_out = reading.left_out + [LeftOut(_placed(Fault(text), row, name), row) for row, text in unclear]
    return Intake(
        tuple(taken),
        tuple(sorted(left_out, key=lambda item: item.fault.line or 0)),
        reading.unmatched,
        tuple(known.revisions),
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
    ) -> None:
        self._name, self._file, self._today, self._allowed = name, file, today, allowed
        self.left_out = [LeftOut(fault) for fault in report.faults]
        self.checked: list[Checked] = []
        names = {key: block.block.name for key, block in file.blocks.items()}
        unmatched: dict[tuple[str, ...], list[Row]] = defaultdict(list)
        for row in report.rows:
            try:
                block = block_called(row.names, names, samples)
            except UserError as error:
                self._leave_out(row, error.faults)
                continue
            if block is None:
                unmatched[row.names].append(row)
            self._check(row, block)
        for said, rows in unmatched.items():
            fault = _of_no_block(said, rows, name, file)
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
            self._leave_out(row, [Fault(f"{text} Confirm it to take it.") for text in entered.questions])
            return
        self.checked.append((row, replace(entered.result, reported=row.printed or entered.result.reported)))

    def _leave_out(self, row: Row, faults: Sequence[Fault]) -> None:
        self.left_out += [LeftOut(_placed(fault, row, self._name), row) for fault in faults]


def _placed(fault: Fault, row: Row, name: str) -> Fault:
    """A fault at its place: the value's column, or the field that another column gave."""
    key = row.column if fault.key in _OF_THE_VALUE and row.column else fault.key
    return Fault(fault.message, name, row.line, key)


def _of_no_block(names: tuple[str, ...], rows: Sequence[Row], name: str, file: SeasonFile) -> Fault:
    """One fault for all values of a sample, at the first."""
    line = rows[0].line
    if not names:
        return Fault("the sample has neither number nor name, so its block is not known", name, line)
    said = " / ".join(f'"{text}"' for text in names)
    count = f"{len(rows)} values" if len(rows) > 1 else "1 value"
    message = f"{said} ({count}) is of no block of this season ({', '.join(file.blocks)}); say which one: "
    return Fault(f'{message}--sample "{names[0]}=BLOCK"', name, line)


class _Known:
    """What is on record, by sample."""

    def __init__(self, records: Sequence[Record]) -> None:
        of_kind = [record for record in records if record.kind is Kind.RESULT]
        valid = {record.number for record in standing(of_kind)}
        self._undone_by = {record.replaces: record.number for record in of_kind if record.replaces is not None}
        self._open: dict[Sample, list[TissueResult]] = defaultdict(list)
        self._undone: dict[Sample, list[TissueResult]] = defaultdict(list)
        self._of_day: dict[Sample, list[TissueResult]] = defaultdict(list)
        self.revisions: list[str] = []
        for record in of_kind:
            if record.content is None:
                continue
            result = result_of(record)
            if record.number in valid:
                self._open[_sample(result)].append(result)
                self._of_day[_sample(result)[:-1]].append(result)
            else:
                self._undone[_sample(result)].append(result)

    def fates(self, checked: Sequence[Checked], allowed: Allowed) -> tuple[list[Taken], list[tuple[Row, str]]]:
        """What becomes of each result, in order, and what is unclear about the others."""
        stands = {index: self._standing(result) for index, (_, result) in enumerate(checked)}
        taken: list[Taken] = []
        unclear: list[tuple[Row, str]] = []
        told = {_sample(checked[index][1]) for index, number in stands.items() if number is not None}
        for index, (row, result) in enumerate(checked):
            number = stands[index]
            if number is not None:
                taken.append(Taken(row, result, Fate.STANDS, number))
                continue
            fate = self._fate(result, told, allowed)
            if isinstance(fate, str):
                unclear.append((row, fate))
            else:
                taken.append(Taken(row, result, *fate))
            told.add(_sample(result))
        return taken, unclear

    def _standing(self, result: TissueResult) -> int | None:
        """The record that says the same, which then is spoken for."""
        for other in self._open.get(_sample(result), ()):
            if _same(other, result):
                self._open[_sample(result)].remove(other)
                return other.record
        return None

    def _fate(self, result: TissueResult, told: set[Sample], allowed: Allowed) -> tuple[Fate, int | None] | str:
        sample = _sample(result)
        for other in self._undone.get(sample, ()):
            if _same(other, result):
                return Fate.UNDONE, other.record
        rivals = self._open.get(sample, [])
        if rivals and (allowed.revised or result.sample_id or not allowed.unusual):
            return self._revised(result, rivals, allowed)
        if allowed.unusual:
            return Fate.NEW, None
        if sample in told:
            return f"{result.text()} is a second value of one sample. Confirm it as an analysis of its own."
        for other in self._of_day.get(sample[:-1], ()):
            if _same(other, result) and not (other.sample_id and result.sample_id):
                return (
                    f"record {other.record} of the same block and day says {other.text()} too. "
                    "Confirm it as another sample."
                )
        return Fate.NEW, None

    def _revised(
        self, result: TissueResult, rivals: list[TissueResult], allowed: Allowed
    ) -> tuple[Fate, int | None] | str:
        other = rivals[0]
        if allowed.revised:
            del rivals[0]
            return Fate.REVISED, other.record
        text = f"record {other.record} says {other.text()}, this report {result.text()}"
        self.revisions.append(f"Block {result.block}, {day(result.sampled)}: {text}.")
        text += ". If the report was revised, take it as a correction with --revise"
        return text + ("." if result.sample_id else "; if it is another sample, confirm it with --confirm.")


def _sample(result: TissueResult) -> Sample:
    """What tells one value of a report from another, the sample's number last."""
    kind = (result.block, result.sampled, result.tissue, result.basis, result.analyte)
    return (*kind, result.sample_id.strip().lower())


def _same(one: TissueResult, other: TissueResult) -> bool:
    return one.censor is other.censor and math.isclose(one.value, other.value, rel_tol=_SAME)


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
        fields = {} if item.row is None else item.row.fields
        rows.append((line, "; ".join(reasons[key]), *(fields.get(name, "") for name in RESULT_FIELDS)))
    return csv_text(("line", "why", *RESULT_FIELDS), rows)
