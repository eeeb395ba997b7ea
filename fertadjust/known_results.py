"""Results on record beside those of a report: which stand already, are revised, or were undone."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fertadjust.dates import day
from fertadjust.lab.report import Row
from fertadjust.record import Kind, Record, standing
from fertadjust.stored import result_of
from fertadjust.tissue import MAIN_ANALYTE, TissueResult


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
Found = tuple[Fate, int | None]
_SAME: Final = 1e-9


class KnownResults:
    """The season's results, by sample.

    Attributes:
        revisions: in words, what may be a revised value and was not allowed.
    """

    def __init__(self, records: Sequence[Record]) -> None:
        of_kind = [record for record in records if record.kind is Kind.RESULT]
        valid = {record.number for record in standing(of_kind)}
        self._open: dict[Sample, list[TissueResult]] = defaultdict(list)
        self._of_day: dict[Sample, list[TissueResult]] = defaultdict(list)
        self._of_number: dict[str, list[TissueResult]] = defaultdict(list)
        self._undone: dict[Sample, list[TissueResult]] = defaultdict(list)
        self._spoken_for: set[int] = set()
        self.revisions: list[str] = []
        for record in of_kind:
            if record.content is None:
                continue
            result = result_of(record)
            if record.number not in valid:
                self._undone[_sample(result)].append(result)
                continue
            self._open[_sample(result)].append(result)
            self._of_day[_sample(result)[:-1]].append(result)
            self._of_number[_number(result)].append(result)

    def fates(self, checked: Sequence[Checked], allowed: Allowed) -> tuple[list[Taken], list[tuple[Row, str]]]:
        """What becomes of each result, in order, and what is unclear about the others."""
        stands = [self._standing(result) for _, result in checked]
        taken: list[Taken] = []
        unclear: list[tuple[Row, str]] = []
        told = {_sample(result): row for (row, result), number in zip(checked, stands, strict=True) if number}
        for (row, result), number in zip(checked, stands, strict=True):
            if number:
                taken.append(Taken(row, result, Fate.STANDS, number))
                continue
            fate = self._fate(result, told, allowed)
            if isinstance(fate, str):
                unclear.append((row, fate))
            else:
                taken.append(Taken(row, result, *fate))
            told.setdefault(_sample(result), row)
        return taken, unclear

    def _standing(self, result: TissueResult) -> int | None:
        """The record that says the same, which then is spoken for."""
        for other in self._free(self._open.get(_sample(result), ())):
            if _same(other, result):
                self._spoken_for.add(other.record)
                return other.record
        return None

    def _free(self, results: Iterable[TissueResult]) -> list[TissueResult]:
        return [other for other in results if other.record not in self._spoken_for]

    def _fate(
        self, result: TissueResult, told: dict[Sample, Row], allowed: Allowed
    ) -> tuple[Fate, int | None] | str:
        sample = _sample(result)
        for other in self._undone.get(sample, ()):
            if _same(other, result):
                return Fate.UNDONE, other.record
        rivals = self._free(self._open.get(sample, ()))
        if rivals and result.sample_id:
            return self._rival(result, rivals[0], allowed, "")
        rivals = rivals or self._loose_rivals(result)
        if rivals and (allowed.revised or not allowed.unusual):
            return self._rival(result, rivals[0], allowed, "; if it is another sample, confirm it with --confirm")
        if sample in told and not allowed.unusual:
            line = told[sample].line
            place = "" if line is None else f" (line {line})"
            return (
                f"{result.text()} is a second value of one sample{place}. Leave one out, or confirm it as an "
                "analysis of its own."
            )
        return Fate.NEW, None

    def _loose_rivals(self, result: TissueResult) -> list[TissueResult]:
        """Standing results that may be of the same sample though not all that tells samples apart agrees."""
        of_day = self._free(self._of_day.get(_sample(result)[:-1], ()))
        found = [other for other in of_day if not (other.sample_id and result.sample_id)]
        if result.sample_id:
            found += [
                other
                for other in self._free(self._of_number.get(_number(result), ()))
                if _may_be_moved(other, result)
            ]
        return found

    def _rival(self, result: TissueResult, other: TissueResult, allowed: Allowed, or_else: str) -> Found | str:
        if allowed.revised:
            self._spoken_for.add(other.record)
            return Fate.REVISED, other.record
        text = f"record {other.record} says {_said(other, result)}, this report {_said(result, other)}"
        self.revisions.append(f"Block {result.block}, {day(result.sampled)}: {text}.")
        return f"{text}. If the report was revised, take it as a correction with --revise{or_else}."


def _said(one: TissueResult, other: TissueResult) -> str:
    """A result in words, with whatever of its sample is not the other's."""
    more = []
    if one.block != other.block:
        more.append(f"block {one.block}")
    if one.sampled != other.sampled:
        more.append(day(one.sampled))
    if (one.tissue, one.basis) != (other.tissue, other.basis):
        more.append(one.kind)
    if _number(one) != _number(other):
        more.append(f"sample {one.sample_id}" if one.sample_id else "no sample number")
    return one.text() + (f" ({', '.join(more)})" if more else "")


def _may_be_moved(one: TissueResult, other: TissueResult) -> bool:
    """Whether two results of one sample number may be one whose block, day or tissue was put right.

    Sample numbers may come again at each visit, and small figures of minor nutrients are often the same.
    """
    if one.analyte != other.analyte:
        return False
    if one.sampled == other.sampled:
        return one.block != other.block or _same(one, other)
    return one.analyte == MAIN_ANALYTE[one.tissue] and _same(one, other)


def _number(result: TissueResult) -> str:
    return result.sample_id.strip().lower()


def _sample(result: TissueResult) -> Sample:
    """What tells one value of a report from another, the sample's number last."""
    return (result.block, result.sampled, result.tissue, result.basis, result.analyte, _number(result))


def _same(one: TissueResult, other: TissueResult) -> bool:
    return one.censor is other.censor and math.isclose(one.value, other.value, rel_tol=_SAME)
