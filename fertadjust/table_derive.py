"""A band table from results of the farm's own good blocks: what they had, not what they needed.

The edges of a place on the axis are quantiles of its samples (Hyndman and Fan 1996, The American Statistician 50,
361-365, definition 8, median-unbiased whatever the distribution).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fertadjust.band_rows import MONTHS, Axis, BandRow
from fertadjust.bands import BandTable
from fertadjust.errors import Fault, OutOfSeason, UserError
from fertadjust.evidence import Evidence
from fertadjust.stage_places import stage_place
from fertadjust.stages import StageDates, stage_words
from fertadjust.tissue import Basis, Censor, Tissue, TissueResult, stored_unit
from fertadjust.units import DAYS_PER_WEEK

OWN_SEASONS = "own seasons"
"""What stands as the source of a derived row."""


@dataclass(frozen=True, slots=True)
class GoodBlock:
    """One season of a block that the grower marked as good.

    Attributes:
        season: what the season is called, such as "Home 2024".
        block: the block.
        stages: its stage dates.
        results: its results as they stand.
    """

    season: str
    block: str
    stages: StageDates
    results: tuple[TissueResult, ...]

    @property
    def label(self) -> str:
        return f"{self.season} {self.block}"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What table to make.

    Attributes:
        head: fields of `fertadjust.bands.BandTable` that no result tells: id, title, crop, variety, system,
            region, part.
        tissue, basis, analyte: the kind of result.
        axis, anchor, stages, ends_with: as of a band table.
        every: weeks that one row covers, on an axis of weeks or days.
        low, high: quantiles that make the edges.
        least: samples that a place needs to get a row.
    """

    head: dict[str, Any]
    tissue: Tissue
    basis: Basis
    analyte: str
    axis: Axis
    anchor: str | None = None
    stages: tuple[str, ...] = ()
    ends_with: str | None = None
    every: int = 1
    low: float = 0.10
    high: float = 0.90
    least: int = 10


@dataclass(frozen=True, slots=True)
class Place:
    """The samples of one place on the axis, and the edges they make.

    Attributes:
        label: the place in words.
        n, bounds: samples, and how many of them are bounds such as "<10".
        blocks: block-seasons they are from.
        low, high: edges in the stored unit, None where none can be given.
        why: why an edge or the row is not given, "" when both edges are.
    """

    label: str
    n: int
    bounds: int
    blocks: tuple[str, ...]
    low: float | None
    high: float | None
    why: str


@dataclass(frozen=True, slots=True)
class Derived:
    """A table made of own results, every place that had any, and what was passed over."""

    table: BandTable
    places: tuple[Place, ...]
    told: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Sample:
    """All results of one kind, block and day as one value or bound."""

    block: str
    value: float
    censor: Censor


def quantile(values: Sequence[float], share: float) -> float:
    """Quantile of some values, type 8 of Hyndman and Fan.

    With h = (n + 1/3) p + 1/3 it is the h-th smallest value, on the straight line between neighbours, and not
    beyond the smallest and largest.

    >>> quantile([1.0, 2.0, 3.0, 4.0, 5.0], 0.5)
    3.0
    """
    import numpy as np

    return float(np.quantile(np.asarray(values, dtype=float), share, method="median_unbiased"))


def fewest(low: float, high: float) -> int:
    """Samples from which on both quantiles lie between the smallest and the largest: (n + 1/3) p + 1/3 >= 1."""
    return math.ceil((2 / 3) / min(low, 1 - high) - 1 / 3 - 1e-9)


def derive(good: Sequence[GoodBlock], wanted: Wanted) -> Derived:
    """Make a table of the results of good blocks.

    Several results of one block, day and kind are one sample, their mean; bounds beside values of the day play no
    part. A bound counts as lying somewhere beyond its figure: an edge that this leaves open is not given.

    Args:
        good: the seasons of the good blocks.
        wanted: the kind, the axis, and how edges are made.

    Raises:
        UserError: the wish does not fit together, a block has no date for a stage that is needed, or no place has
            enough samples; says what there was.
    """
    _check(good, wanted)
    samples: dict[int, list[_Sample]] = {}
    outside = dropped = 0
    for block in good:
        for day, results in _days(block, wanted).items():
            censored = sum(result.censor is not Censor.NONE for result in results)
            dropped += censored if censored < len(results) else 0
            place = _place(day, block.stages, wanted)
            if place is None:
                outside += 1
            else:
                samples.setdefault(place, []).append(_sample(block.label, results))
    places = {key: _edges(_label(key, wanted), samples[key], wanted) for key in _in_order(samples, good, wanted)}
    rows = [
        _row(number, key, place, wanted)
        for number, (key, place) in enumerate(
            ((key, place) for key, place in places.items() if place.low is not None or place.high is not None), 1
        )
    ]
    told = [f"{place.label}: {place.why}." for place in places.values() if place.why]
    if dropped:
        told.append(f"{_count(dropped, 'bound')} left out, since the day has a measured value beside it.")
    if outside:
        told.append(f"{_count(outside, 'sample')} of days that the axis has no place for.")
    if not rows:
        kind = f"{wanted.tissue.value} {wanted.analyte}, {wanted.basis.value}"
        message = (
            f"no place has enough results of {kind} for a band" if samples else f"there is no result of {kind}"
        )
        raise UserError([Fault(message, key="good"), *(Fault(line) for line in told)])
    return Derived(_table(rows, good, wanted), tuple(places.values()), tuple(told))


def _check(good: Sequence[GoodBlock], wanted: Wanted) -> None:
    faults = []
    if not 0 < wanted.low < wanted.high < 1:
        message = f"{wanted.low:g} and {wanted.high:g}: give two shares between 0 and 1, the lower first"
        raise UserError(Fault(message, key="quantiles"))
    fewest_ = fewest(wanted.low, wanted.high)
    if wanted.least < fewest_:
        faults.append(
            Fault(
                f"{wanted.least} is too few for the {_percent(wanted.low)} and {_percent(wanted.high)} quantiles: "
                f"give {fewest_} or more, or quantiles nearer to 50 %",
                key="least",
            )
        )
    if wanted.every < 1:
        faults.append(Fault(f"{wanted.every} weeks; give 1 or more", key="every"))
    for label in sorted({block.label for block in good if sum(one.label == block.label for one in good) > 1}):
        faults.append(Fault(f"{label} is named twice; its results would count twice", key="good"))
    if wanted.axis in (Axis.WEEKS, Axis.DAYS) and not wanted.anchor:
        faults.append(Fault("name the stage that begins week 1 or day 0", key="anchor"))
    if wanted.axis is Axis.STAGES and not wanted.stages:
        faults.append(
            Fault("name the stages in order of time, or date the same stages in every block", key="stage")
        )
    for block in good:
        for name in _needed(wanted):
            if name not in block.stages.dates:
                message = f"{block.label} has no date for {name}; date it in season.toml, or leave the stage out"
                faults.append(Fault(message, key="good"))
        days = [block.stages.dates[name] for name in _needed(wanted) if name in block.stages.dates]
        if days != sorted(set(days)):
            names = ", ".join(_needed(wanted))
            faults.append(Fault(f"{block.label}: the dates do not rise in the order {names}", key="stage"))
    if faults:
        raise UserError(faults)


def _needed(wanted: Wanted) -> tuple[str, ...]:
    if wanted.axis is Axis.STAGES:
        return (*wanted.stages, *([wanted.ends_with] if wanted.ends_with else []))
    return (wanted.anchor,) if wanted.anchor and wanted.axis in (Axis.WEEKS, Axis.DAYS) else ()


def _days(block: GoodBlock, wanted: Wanted) -> dict[date, list[TissueResult]]:
    """The block's results of the kind, by day."""
    days: dict[date, list[TissueResult]] = {}
    for result in sorted(block.results, key=lambda item: (item.sampled, item.record)):
        if (result.tissue, result.basis, result.analyte) == (wanted.tissue, wanted.basis, wanted.analyte):
            days.setdefault(result.sampled, []).append(result)
    return days


def _sample(block: str, results: Sequence[TissueResult]) -> _Sample:
    values = [result.value for result in results if result.censor is Censor.NONE]
    if values:
        return _Sample(block, sum(values) / len(values), Censor.NONE)
    above = [result.value for result in results if result.censor is Censor.ABOVE]
    if above:
        return _Sample(block, min(above), Censor.ABOVE)
    return _Sample(block, max(result.value for result in results), Censor.BELOW)


def _place(day: date, stages: StageDates, wanted: Wanted) -> int | None:
    """Whole-number place of a day: index of the stage, first week or day of the run, month; None outside."""
    if wanted.axis is Axis.SEASON:
        return 0
    if wanted.axis is Axis.MONTHS:
        return day.month
    if wanted.axis is Axis.STAGES:
        over = None if wanted.ends_with is None else stages.dates[wanted.ends_with]
        if over is not None and day >= over:
            return None
        try:
            return stage_place(wanted.stages, day, stages)
        except OutOfSeason:
            return None
    assert wanted.anchor is not None
    after = (day - stages.start_of(wanted.anchor)).days
    run = wanted.every * DAYS_PER_WEEK
    first = after // run * run
    return first if wanted.axis is Axis.DAYS else first // DAYS_PER_WEEK + 1


def _in_order(samples: Iterable[int], good: Sequence[GoodBlock], wanted: Wanted) -> list[int]:
    """Places in order of time; months from the one in which the earliest season's sampling begins."""
    if wanted.axis is not Axis.MONTHS or not samples:
        return sorted(samples)
    first = min(day for block in good for day in _days(block, wanted)).month
    return sorted(samples, key=lambda month: (month - first) % len(MONTHS))


def _label(place: int, wanted: Wanted) -> str:
    if wanted.axis is Axis.STAGES:
        return stage_words(wanted.stages[place])
    if wanted.axis is Axis.MONTHS:
        return MONTHS[place - 1]
    if wanted.axis is Axis.SEASON:
        return "whole season"
    first, last = _span(place, wanted)
    one = wanted.axis.value.removesuffix("s")
    return f"{one} {first}" if first == last else f"{wanted.axis.value} {first} to {last}"


def _span(place: int, wanted: Wanted) -> tuple[int, int]:
    length = wanted.every if wanted.axis is Axis.WEEKS else wanted.every * DAYS_PER_WEEK
    return place, place + length - 1


def _edges(label: str, samples: Sequence[_Sample], wanted: Wanted) -> Place:
    n = len(samples)
    bounds = sum(sample.censor is not Censor.NONE for sample in samples)
    blocks = tuple(dict.fromkeys(sample.block for sample in samples))
    if n < wanted.least:
        why = f"{_count(n, 'sample')}, {wanted.least} are needed, so no band"
        return Place(label, n, bounds, blocks, None, None, why)
    low, high = (_edge(samples, share) for share in (wanted.low, wanted.high))
    among = f"among bounds ({bounds} of {n} samples)"
    if low is None and high is None:
        why = f"both edges fall {among}, so no band"
    elif low is not None and high is not None and low >= high:
        low = high = None
        why = f"{_count(n, 'sample')} all but alike, so no band"
    elif low is None or high is None:
        why = f"the {'low' if low is None else 'high'} edge falls {among}, so it is not given"
    else:
        why = ""
    return Place(label, n, bounds, blocks, low, high, why)


def _edge(samples: Sequence[_Sample], share: float) -> float | None:
    """A quantile to four digits; None when it depends on where beyond their figures the bounds lie.

    A quantile never falls when a sample rises, so it is settled when the least and the most that the bounds can be
    give the same one.
    """
    largest, smallest = max(item.value for item in samples), min(item.value for item in samples)
    least = [smallest / 10 if item.censor is Censor.BELOW else item.value for item in samples]
    most = [10 * largest if item.censor is Censor.ABOVE else item.value for item in samples]
    found = quantile(least, share)
    return float(f"{found:.4g}") if found == quantile(most, share) else None


def _row(number: int, key: int, place: Place, wanted: Wanted) -> BandRow:
    where: dict[str, Any] = {}
    if wanted.axis is Axis.STAGES:
        where = {"stage": wanted.stages[key]}
    elif wanted.axis is Axis.MONTHS:
        where = {"months": (MONTHS[key - 1],)}
    elif wanted.axis in (Axis.WEEKS, Axis.DAYS):
        where = {wanted.axis.value: _span(key, wanted)}
    count = len(place.blocks)
    said = f"n = {place.n} from {count} block-season{'s' if count > 1 else ''} ({', '.join(place.blocks)})"
    bounds = f"; {_count(place.bounds, 'bound')} among them" if place.bounds else ""
    quantiles = f"{_percent(wanted.low)} and {_percent(wanted.high)} quantiles"
    return BandRow(
        id=str(number),
        analyte=wanted.analyte,
        unit=stored_unit(wanted.basis, wanted.analyte),
        low=place.low,
        high=place.high,
        source=OWN_SEASONS,
        evidence=Evidence.OWN,
        note=f"{said}{bounds}; {quantiles}" + (f"; {place.why}" if place.why else ""),
        **where,
    )


def _table(rows: Sequence[BandRow], good: Sequence[GoodBlock], wanted: Wanted) -> BandTable:
    below, above = _percent(wanted.low), _percent(1 - wanted.high)
    notes = (
        "Made of results of blocks that the grower marked as good: it says what good blocks had, not what they "
        "needed. A block may do well with more than it needs, so above all the high edge is no tested limit.",
        "One farm's own, for the crop, system and sampling that it was made with: "
        f"{', '.join(block.label for block in good)}.",
        f"The edges are quantiles: about {below} of these good results lie below the low edge and {above} above "
        "the high one (Hyndman and Fan 1996, definition 8). Results of one block-season are not independent of "
        "each other.",
        "Where these blocks were fed by another table, their results follow that table.",
    )
    return BandTable.model_validate(
        {
            **wanted.head,
            "schema": 1,
            "tissue": wanted.tissue,
            "basis": wanted.basis,
            "axis": wanted.axis,
            "anchor": wanted.anchor if wanted.axis in (Axis.WEEKS, Axis.DAYS) else None,
            "stages": wanted.stages if wanted.axis is Axis.STAGES else (),
            "ends_with": wanted.ends_with if wanted.axis is Axis.STAGES else None,
            "notes": notes,
            "rows": tuple(rows),
        }
    )


def _percent(share: float) -> str:
    return f"{round(100 * share, 6):g} %"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
