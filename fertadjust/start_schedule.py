"""A published schedule of daily rates as the weekly ramp of a season to start with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from fertadjust.field import AreaBasis, basis_words
from fertadjust.rules.published import Schedule, ScheduleStep
from fertadjust.stages import stage_words
from fertadjust.units import DAYS_PER_WEEK, UnitSystem

_DIGITS = 9
"""Decimals of a weekly rate in the season file: less than can be metered by far, and no endless fraction."""


@dataclass(frozen=True, slots=True)
class Widths:
    """Width of the bed top, spacing of beds, and the standard spacing that linear bed is counted at [ft]."""

    bed_top_ft: float
    bed_spacing_ft: float
    standard_ft: float | None = None

    def of(self, basis: AreaBasis) -> float:
        """Width that the area of a foot of bed is counted with [ft]."""
        if basis is AreaBasis.BED:
            return self.bed_top_ft
        if basis is AreaBasis.GROSS:
            return self.bed_spacing_ft
        assert self.standard_ft is not None, "linear bed is counted at a standard spacing"
        return self.standard_ft


@dataclass(frozen=True, slots=True)
class Ramp:
    """A plan's rates, for the season file.

    Attributes:
        steps: week and rate from it on, in the season's unit.
        notes: where it comes from and what was done to it, a sentence each.
    """

    steps: tuple[tuple[int, float], ...]
    notes: tuple[str, ...]


def area_factor(schedule: Schedule, basis: AreaBasis, widths: Widths) -> float:
    """What a rate of the schedule is multiplied by, so that a foot of bed gets the same per acre of another basis.

    A rate r per acre counted with a width w [ft] gives r w / 43,560 per foot of bed; so r' = r w / w'. Without a
    basis in the source there is nothing to go by, and the factor is 1.

    >>> step = ScheduleStep(id="a", source="x", evidence="own", weeks=(1, 2), rate=1.5)
    >>> six = Schedule(title="t", anchor="transplanting", basis="linear_bed", spacing_ft=6.0, steps=(step,))
    >>> area_factor(six, AreaBasis.BED, Widths(2.5, 5.0))
    2.4
    """
    if schedule.basis is None:
        return 1.0
    if schedule.basis is AreaBasis.LINEAR_BED:
        own = schedule.spacing_ft
        return 1.0 if own is None else own / widths.of(basis)
    return widths.of(schedule.basis) / widths.of(basis)


def weeks_before(schedule_begins: date | None, start: date) -> int:
    """Whole weeks of a schedule that are over when a plan starts; below 0 where it begins before the schedule."""
    return 0 if schedule_begins is None else (start - schedule_begins).days // DAYS_PER_WEEK


def ramp_of(
    schedule: Schedule, units: UnitSystem, weeks: int, over: int, basis: AreaBasis, widths: Widths
) -> Ramp:
    """The schedule as the ramp of a plan.

    Args:
        schedule: the published rates.
        units: those of the season.
        weeks: weeks of the plan.
        over: see `weeks_before`.
        basis, widths: what the plan's acre means.
    """
    factor, daily = area_factor(schedule, basis, widths), schedule.weekly_lb_ac()
    rates = [
        round(units.rate_out(daily[week] * factor), _DIGITS) if 0 <= week < len(daily) else 0.0
        for week in range(over, over + weeks)
    ]
    steps: list[tuple[int, float]] = []
    for number, rate in enumerate(rates, start=1):
        if not steps or steps[-1][1] != rate:
            steps.append((number, rate))
    return Ramp(tuple(steps), tuple(_notes(schedule, units, weeks, over, basis, factor)))


def _notes(
    schedule: Schedule, units: UnitSystem, weeks: int, over: int, basis: AreaBasis, factor: float
) -> Sequence[str]:
    days = "; ".join(f"{_weeks(step)}: {step.rate:g}" for step in schedule.steps)
    cited = "; ".join(text for text, _ in groupby(step.cited for step in schedule.steps))
    anchor = stage_words(schedule.anchor)
    found = [f"From the {schedule.title}, in lb N/ac/day: {days} ({cited}). Its week 1 begins with {anchor}."]
    if schedule.basis is None:
        found.append("The source does not say what its acre means: ask before you rely on it.")
    else:
        spacing = "" if schedule.spacing_ft is None else f" of {schedule.spacing_ft:g} ft"
        found.append(f"Its acre is an {basis_words(schedule.basis, UnitSystem.US)}{spacing}.")
    if factor != 1.0:
        found.append(
            f"The rates are multiplied by {factor:.4g}, so that a foot of bed gets the same per "
            f"{basis_words(basis, units)} as the source gives it."
        )
    length = len(schedule.weekly_lb_ac())
    if over < 0 or over + weeks > length:
        found.append(f"It is for {length} weeks; the other weeks of this plan get nothing until you set a rate.")
    return found


def _weeks(step: ScheduleStep) -> str:
    first, last = step.weeks
    return f"week {first}" if first == last else f"weeks {first} to {last}"
