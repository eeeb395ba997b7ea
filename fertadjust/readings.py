"""Nitrogen results grouped into readings: what one kind of tissue showed on one day, against its band.

Also which reading decides on a day, the ones before it, their trend, and the leaf reading held beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from fertadjust.band_rows import Band
from fertadjust.bands import BandTable
from fertadjust.compare import Side, compare
from fertadjust.errors import OutOfSeason
from fertadjust.rules.facts import NotUsed, Reading
from fertadjust.stage_places import Doubt
from fertadjust.stages import StageDates
from fertadjust.tissue import MAIN_ANALYTE, Basis, Censor, Method, Tissue, TissueResult
from fertadjust.trend import Trend, trend


def table_for(tables: Sequence[BandTable], tissue: Tissue, basis: Basis, analyte: str) -> BandTable | None:
    """The table that a kind of result may be compared with, or None."""
    return next((table for table in tables if table.fits(tissue, basis, analyte)), None)


def table_of(result: TissueResult, tables: Sequence[BandTable]) -> BandTable:
    """The table that a result may be compared with.

    Raises:
        OutOfSeason: no table fits; the message says which kind it is.
    """
    table = table_for(tables, result.tissue, result.basis, result.analyte)
    if table is None:
        raise OutOfSeason(f"no band table in use is for {result.kind}")
    return table


def band_for(result: TissueResult, tables: Sequence[BandTable], stages: StageDates) -> Band:
    """The band of a result on its sampling day.

    Raises:
        OutOfSeason: no table fits, or it has no band on that day; the message says which.
    """
    return table_of(result, tables).band_on(result.analyte, result.sampled, stages)


@dataclass(frozen=True, slots=True)
class Readings:
    """Nitrogen results grouped by kind and day, and those without a band; see `of`."""

    groups: tuple[tuple[TissueResult, ...], ...]
    unbanded: tuple[tuple[TissueResult, str], ...]
    tables: tuple[BandTable, ...]
    stages: StageDates
    doubt: Doubt

    @classmethod
    def of(
        cls, results: Sequence[TissueResult], tables: tuple[BandTable, ...], stages: StageDates, doubt: Doubt
    ) -> Readings:
        """Group results; results of other nutrients are left out."""
        banded: list[TissueResult] = []
        unbanded: list[tuple[TissueResult, str]] = []
        for result in sorted(results, key=_group_key):
            if result.analyte != MAIN_ANALYTE[result.tissue]:
                continue
            try:
                band_for(result, tables, stages)
            except OutOfSeason as reason:
                unbanded.append((result, str(reason)))
            else:
                banded.append(result)
        groups = tuple(tuple(group) for _, group in groupby(banded, key=_day_key))
        return cls(groups, tuple(unbanded), tables, stages, doubt)

    def known_on(self, on: date) -> Known:
        """The readings of what was known on a day, and the results that play no part."""
        not_used = [_not_used(result, why) for result, why in self.unbanded if result.known_on <= on]
        nitrogen = []
        for group in self.groups:
            known = [result for result in group if result.known_on <= on]
            if known:
                reading, left_out = self._reading(known)
                nitrogen.append(reading)
                not_used += left_out
        return Known(tuple(nitrogen), tuple(not_used))

    def _reading(self, results: Sequence[TissueResult]) -> tuple[Reading, list[NotUsed]]:
        values = [result for result in results if result.censor is Censor.NONE]
        used = values or [_loosest(results)]
        why = "a bound beside other results of the same day"
        left_out = [_not_used(result, why) for result in results if result not in used]
        return reading_of(used, self.tables, self.stages, self.doubt), left_out


def reading_of(
    results: Sequence[TissueResult], tables: Sequence[BandTable], stages: StageDates, doubt: Doubt
) -> Reading:
    """One or more results of one kind, day and method as one reading against its table.

    Raises:
        OutOfSeason: as `band_for`.
    """
    first = results[0]
    table = table_of(first, tables)
    mean = sum(result.value for result in results) / len(results)
    counts = [result.petioles for result in results if result.petioles is not None]
    beside = table.beside(first.analyte, first.sampled, stages, doubt)
    return Reading(
        sampled=first.sampled,
        known=max(result.known_on for result in results),
        tissue=first.tissue,
        basis=first.basis,
        analyte=first.analyte,
        unit=first.unit,
        value=mean,
        censor=first.censor,
        count=len(results),
        spread=(max(r.value for r in results) - min(r.value for r in results)) / mean,
        petioles=min(counts) if counts else None,
        method=first.method,
        band=table.band_on(first.analyte, first.sampled, stages),
        beside=beside.bands,
        stage_guessed=beside.guessed,
        records=tuple(result.record for result in results),
    )


@dataclass(frozen=True, slots=True)
class Known:
    """Readings known on a day, and results that play no part."""

    nitrogen: tuple[Reading, ...]
    not_used: tuple[NotUsed, ...]


def _day_key(result: TissueResult) -> tuple[str, str, date, str]:
    return (result.tissue.value, result.basis.value, result.sampled, result.method.value)


def _group_key(result: TissueResult) -> tuple[str, str, date, str, int]:
    return (*_day_key(result), result.record)


def _not_used(result: TissueResult, why: str) -> NotUsed:
    return NotUsed(result.record, result.sampled, f"{result.kind} {result.text()}", why)


def _loosest(results: Sequence[TissueResult]) -> TissueResult:
    """Of several bounds, the one that claims least."""
    above = [result for result in results if result.censor is Censor.ABOVE]
    if above:
        return min(above, key=lambda result: result.value)
    return max(results, key=lambda result: result.value)


def deciding(readings: Sequence[Reading], on: date, stale_days: int) -> Reading | None:
    """The latest petiole reading, unless it is stale and a fresh leaf nitrogen reading exists."""
    petioles = [item for item in readings if item.tissue is Tissue.PETIOLE]
    leaves = [item for item in readings if item.tissue is Tissue.LEAF]
    petiole = max(petioles, key=lambda item: (item.sampled, item.basis is Basis.DRY), default=None)
    leaf = max(leaves, key=lambda item: item.sampled, default=None)
    if petiole is None or leaf is None:
        return petiole or leaf
    fresh = on - timedelta(days=stale_days)
    return leaf if petiole.sampled < fresh <= leaf.sampled else petiole


def history(readings: Sequence[Reading], primary: Reading | None) -> list[Reading]:
    """Readings of the primary's kind up to and with it, oldest first, one a day, a laboratory's first."""
    if primary is None:
        return []
    kind = (primary.tissue, primary.basis)
    by_day: dict[date, Reading] = {}
    for item in readings:
        if (item.tissue, item.basis) == kind and item.sampled < primary.sampled:
            other = by_day.get(item.sampled)
            if other is None or item.method is Method.LABORATORY:
                by_day[item.sampled] = item
    return [*(by_day[day] for day in sorted(by_day)), primary]


def trend_of(history: Sequence[Reading]) -> Trend | None:
    """Trend of band position over some readings, oldest first."""
    placed = [
        (item.sampled.toordinal(), place)
        for item in history
        if (place := compare(item.value, item.censor, 1.0, item.band, 1.0).position) is not None
    ]
    return trend([day for day, _ in placed], [place for _, place in placed])


def side_of(reading: Reading) -> Side | None:
    """Side of its band that a reading's value lies on."""
    return compare(reading.value, reading.censor, 1.0, reading.band, 1.0).side


def leaf_beside(readings: Sequence[Reading], primary: Reading | None, days: int) -> Reading | None:
    """The leaf nitrogen reading nearest in time to a petiole reading, within some days."""
    if primary is None or primary.tissue is Tissue.LEAF:
        return None
    near = [
        item
        for item in readings
        if item.tissue is Tissue.LEAF and abs((item.sampled - primary.sampled).days) <= days
    ]
    return min(near, key=lambda item: abs((item.sampled - primary.sampled).days), default=None)
