"""A season's plan beside what publications say of the crop's nitrogen, in sentences. It changes nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from fertadjust.dates import day
from fertadjust.errors import OutOfSeason
from fertadjust.field import AreaBasis, basis_words
from fertadjust.plan import Plan, PlanWeek
from fertadjust.rules.policy import Policy
from fertadjust.rules.published import Schedule, Total
from fertadjust.stages import StageDates, stage_words
from fertadjust.units import DAYS_PER_WEEK, UnitSystem
from fertadjust.words import listed, numbered, rate

FAR: Final = 0.10
"""Share of a schedule's rate by which a planned rate has to differ to be named."""

_TINY: Final = 1e-9

_BEDS_APART: Final = re.compile(r"\bbeds [\d.]+ ft \([\d.]+ m\) apart")
"""How a total's note states what land it is for; the total itself has no field for it."""


def plan_beside(policy: Policy, plan: Plan, stages: StageDates, units: UnitSystem) -> list[str]:
    """Sentences that set a plan beside the published totals and schedules of its crop.

    Args:
        policy: where the published figures stand.
        plan: the season's plan, with its credits.
        stages: dates that the schedules are counted from.
        units: units to say it in.

    Returns:
        Sentences; none where neither a total nor a schedule is published.
    """
    if policy.published is None:
        return []
    sentences = [
        text
        for total in policy.published.totals
        for text in (_beside_total(total, plan, units), *_beds(total, plan, units))
    ]
    for schedule in policy.published.schedules:
        sentences += _beside_schedule(schedule, plan, stages, units)
    return sentences


def range_words(low: float, high: float, units: UnitSystem) -> str:
    """An amount per area with its unit, for example "200.00 to 250.00 lb N/ac".

    Args:
        low, high: least and most [lb/ac].
        units: units to say it in.
    """
    return f"{' to '.join(dict.fromkeys(rate(value, units) for value in (low, high)))} {units.total_unit}"


def acre_words(schedule: Schedule, units: UnitSystem) -> str:
    """What a schedule counts by: "acre of linear bed at 6 ft between bed centres"; "" where it is not stated."""
    if schedule.basis is None:
        return ""
    if schedule.basis is AreaBasis.LINEAR_BED and schedule.spacing_ft is not None:
        area = "acre" if units is UnitSystem.US else "hectare"
        spacing = f"{units.length_out(schedule.spacing_ft):.3g} {units.length_unit}"
        return f"{area} of linear bed at {spacing} between bed centres"
    return basis_words(schedule.basis, units)


def schedule_cited(schedule: Schedule) -> str:
    """Source and evidence of a schedule in words, each once."""
    return "; ".join(dict.fromkeys(step.cited for step in schedule.steps))


def _beside_total(total: Total, plan: Plan, units: UnitSystem) -> str:
    published = f"{range_words(total.low, total.high, units)} ({total.cited})"
    note = f" Note: {total.note}." if total.note else ""
    credited = plan.credits_lb_ac
    if total.when == "preplant":
        return (
            f"Before planting {published} is published; the season counts {rate(credited, units)} "
            f"{units.total_unit} of credits in all.{note}"
        )
    whole = sum(plan.rates_lb_ac) + credited
    if whole < total.low - _TINY:
        how = f", {rate(total.low - whole, units)} less than"
    elif whole > total.high + _TINY:
        how = f", {rate(whole - total.high, units)} more than"
    else:
        how = ", within" if total.low < total.high else ", the same as"
    return (
        f"Plan and credits come to {rate(whole, units)} {units.total_unit}{how} the published season total of "
        f"{published}.{note}"
    )


def _beds(total: Total, plan: Plan, units: UnitSystem) -> Iterator[str]:
    """What to know about the land, where a total is for beds at a stated distance."""
    stated = _BEDS_APART.search(total.note)
    if stated is None:
        return
    theirs = f"That total is for {stated[0]}"
    if plan.basis is AreaBasis.BED:
        yield f"{theirs}, the plan counts per {basis_words(plan.basis, units)}: the two are not for the same land."
    elif plan.basis is AreaBasis.LINEAR_BED:
        yield f"{theirs}: the plan's standard spacing should be the same."
    else:
        yield f"{theirs}: it is for the same land only where your beds are as far apart."


def _beside_schedule(schedule: Schedule, plan: Plan, stages: StageDates, units: UnitSystem) -> Iterator[str]:
    name = f"{schedule.title} ({schedule_cited(schedule)})"
    try:
        start = stages.start_of(schedule.anchor)
    except OutOfSeason:
        yield (
            f"{name}: date {stage_words(schedule.anchor)} under [stages] to see the plan beside it, since its "
            "weeks are counted from there."
        )
        return
    compared: list[tuple[PlanWeek, float]] = []
    outside: list[int] = []
    for week in plan.weeks:
        published = _in_week(schedule, (week.start - start).days)
        if published is None:
            outside.append(week.number)
        else:
            compared.append((week, published))
    yield (
        f"{name}, week 1 from {stage_words(schedule.anchor)} on {day(start)}: {_differences(compared, units)}"
        f"{_outside(outside, bool(compared))}."
    )
    yield from _acre(schedule, plan, units)


def _in_week(schedule: Schedule, first: int) -> float | None:
    """What a schedule gives in the seven days from a day of it on [lb/ac], the first day of week 1 being 0.

    None where they do not all lie in it.
    """
    weekly = schedule.weekly_lb_ac()
    last = first + DAYS_PER_WEEK - 1
    if first < 0 or last >= DAYS_PER_WEEK * len(weekly):
        return None
    return sum(weekly[offset // DAYS_PER_WEEK] for offset in range(first, last + 1)) / DAYS_PER_WEEK


def _differences(compared: Sequence[tuple[PlanWeek, float]], units: UnitSystem) -> str:
    """The weeks that differ by more than `FAR`, those of one pair of rates together."""
    if not compared:
        return "no week of the plan lies in it as a whole"
    far = [(week, there) for week, there in compared if abs(week.rate_lb_ac - there) > FAR * there + _TINY]
    if not far:
        return f"no week of the plan that lies in it differs by more than {100 * FAR:.0f} %"
    parts = []
    for (planned, there), run in groupby(
        far, lambda pair: (rate(pair[0].rate_lb_ac, units), rate(pair[1], units))
    ):
        weeks = [week.number for week, _ in run]
        verb = "plans" if len(weeks) == 1 else "plan"
        parts.append(f"{numbered(weeks)} {verb} {planned} against {there}")
    return f"{listed(parts, 'and')} {units.rate_unit}"


def _outside(weeks: Sequence[int], others: bool) -> str:
    if not weeks or not others:
        return ""
    return f"; {numbered(weeks)} of the plan {'does' if len(weeks) == 1 else 'do'} not lie in it as a whole"


def _acre(schedule: Schedule, plan: Plan, units: UnitSystem) -> Iterator[str]:
    """What to know about the land that the two count by."""
    theirs, own = acre_words(schedule, units), basis_words(plan.basis, units)
    if not theirs:
        yield f"What {schedule.title} counts its rates by is not stated; the plan's rate is per {own}."
    elif schedule.basis is not plan.basis:
        yield (
            f"{schedule.title} counts per {theirs}, the plan per {own}: the rates above stand beside each other "
            "as they are written and are not for the same land."
        )
    elif schedule.basis is AreaBasis.LINEAR_BED:
        yield f"{schedule.title} counts per {theirs}: the plan's standard spacing should be the same."
