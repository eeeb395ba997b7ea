"""What may be tried next year, by the project's own rules of thumb on one season. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from itertools import pairwise
from statistics import fmean, median
from typing import Final

from fertadjust import review_words
from fertadjust.bands import Band
from fertadjust.compare import Side
from fertadjust.dates import short_day
from fertadjust.errors import OutOfSeason
from fertadjust.ledger import LedgerWeek
from fertadjust.readings import side_of
from fertadjust.review import OFF_TARGET, FarmReview, Return, Review
from fertadjust.review_words import Suggestion, counted, numbered, total
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.units import UnitSystem
from fertadjust.words import rate

FACTOR_OFF: Final = 0.10
"""Share by which decided rates differ from planned ones before another plan is suggested (project rule)."""

_TINY: Final = 1e-6


def next_year(review: Review, units: UnitSystem) -> tuple[Suggestion, ...]:
    """What to try next year, by the project's own rules of thumb on this season; often nothing."""
    if review.end < review.start:
        return ()
    name = review.season.block.name
    return tuple(Suggestion(text, ((name, ground),)) for rule in _RULES for text, ground in rule(review, units))


def farm_next_year(farm: FarmReview, units: UnitSystem) -> tuple[Suggestion, ...]:
    """What to try next year on a farm; what holds for more blocks first."""
    grounds: dict[str, tuple[tuple[str, str], ...]] = {}
    for item in farm.reviews:
        for text, more in next_year(item, units):
            grounds[text] = (*grounds.get(text, ()), *more)
    return tuple(Suggestion(*item) for item in sorted(grounds.items(), key=lambda item: -len(item[1])))


_Found = Iterator[tuple[str, str]]
"""What to try and its ground; nothing where the rule of thumb does not apply."""


def _without_result(review: Review, units: UnitSystem) -> _Found:
    del units
    if not review.readings:
        ground = f"no nitrogen result had a band; {len(review.not_used)} without one"
        yield "Sample each block for nitrogen, and use a band table for what you sample.", ground


def _without_log(review: Review, units: UnitSystem) -> _Found:
    found = review.nitrogen
    if found.unlogged:
        yield (
            "Write every injection down, and a skipped one as 0: a week without a log counts against the cap as "
            "applied, and explains no low result.",
            f"no log for {numbered(found.unlogged)} of {len(found.weeks)}; "
            f"{total(found.assumed_lb_ac, units)} were counted as applied",
        )


def _short_supply(review: Review, units: UnitSystem) -> _Found:
    del units
    policy, ledger = review.season.policy, review.season.ledger(review.on)
    low = [item.sampled for item in review.readings if side_of(item) is Side.BELOW]
    supplies = [(day, ledger.supply_before(day, int(policy.supply_days.value))) for day in low]
    short = [
        f"{100 * supply.share:.0f} % before {short_day(day)}"
        for day, supply in supplies
        if supply is not None and supply.share is not None and supply.share < policy.supply_share.value
    ]
    if short:
        yield (
            "Look at the injections before the rate: low results came after less had gone out than was aimed at.",
            f"before {len(short)} of {counted(len(low), 'low result')} too little was logged of what was aimed at "
            f"in up to {policy.supply_days.value:g} days: {', '.join(short)}; the policy's limit is "
            f"{100 * policy.supply_share.value:.0f} %",
        )


def _long_gap(review: Review, units: UnitSystem) -> _Found:
    del units
    limit = int(review.season.policy.sample_days.value)
    gaps = [pair for pair in pairwise(review.sampling.days) if (pair[1] - pair[0]).days > limit]
    moving = [pair for pair in gaps if len(set(_edges(review, *pair))) > 1]
    if moving:
        first, last = max(moving, key=lambda pair: pair[1] - pair[0])
        yield (
            f"Sample at least every {limit} days while the band moves.",
            f"{(last - first).days} days between the samples of {short_day(first)} and {short_day(last)}, while "
            "the band moved",
        )


def _edges(review: Review, first: date, last: date) -> Iterator[tuple[float | None, float | None] | None]:
    """Edges of the reviewed kind's band on each day of a span, None on a day without one."""
    like = review.readings[0]
    for offset in range((last - first).days + 1):
        band = _band(review, like.band.table, like.analyte, first + timedelta(days=offset))
        yield None if band is None else (band.low, band.high)


def _band(review: Review, table: str, analyte: str, on: date) -> Band | None:
    try:
        named = next(item for item in review.season.tables if item.id == table)
        return named.band_on(analyte, on, review.season.stages)
    except OutOfSeason:
        return None


def _slow_laboratory(review: Review, units: UnitSystem) -> _Found:
    del units
    limit, waits = review.season.policy.laboratory_days.value, review.sampling.waits
    late = [days for days in waits if days > limit]
    if late:
        yield (
            "Get samples to the laboratory sooner, or set laboratory_days in [policy] to what it takes: reviews "
            "are set by it.",
            f"{len(late)} of {counted(len(waits), 'report')} took longer than the {limit:g} days of the policy; "
            f"median {median(waits):g}, longest {max(waits)}",
        )


def _other_plan(review: Review, units: UnitSystem) -> _Found:
    """Only where what was aimed at was applied too, and the last result lay in its band."""
    found, plan = review.nitrogen, review.season.plan
    fed = [row for row in found.weeks if row.logged and row.week.rate_lb_ac > 0]
    aimed, applied = sum(row.target_lb_ac for row in fed), sum(row.applied_lb_ac for row in fed)
    if not fed or not review.readings or side_of(review.readings[-1]) is not Side.WITHIN:
        return
    mean = fmean(_factor(row) for row in fed)
    if abs(mean - 1) <= FACTOR_OFF + _TINY or abs(applied - aimed) > OFF_TARGET * aimed:
        return
    weeks = [row for row in fed if abs(_factor(row) - 1) > FACTOR_OFF and (_factor(row) > 1) == (mean > 1)]
    planned = fmean(row.week.rate_lb_ac for row in weeks)
    wanted = min(max(fmean(row.target_lb_ac for row in weeks), plan.floor_lb_ac), plan.ceiling_lb_ac)
    limit = ""
    if found.cap_lb_ac is not None and wanted > planned:
        room = found.cap_lb_ac - found.credits_lb_ac - found.plan_lb_ac + planned * len(weeks)
        if room / len(weeks) < wanted:
            wanted, limit = room / len(weeks), ", as far as the season cap goes"
    if (wanted - planned) * (mean - 1) <= _TINY:
        return
    yield (
        f"Consider a plan with {'more' if mean > 1 else 'less'} nitrogen in the weeks in which the decided rates "
        "left it, within the bounds and the season cap.",
        f"the rates decided were {mean:.2f} times the plan, the mean of {counted(len(fed), 'logged week')}, and "
        f"the last result lay in band ({review_words.sides(review.results)}); in "
        f"{numbered([row.week.number for row in weeks])}, {rate(planned, units)} {units.rate_unit} were planned "
        f"on average, {rate(wanted, units)} come nearer{limit}",
    )


def _factor(row: LedgerWeek) -> float:
    return row.target_lb_ac / row.week.rate_lb_ac


def _cap_reached(review: Review, units: UnitSystem) -> _Found:
    found = review.nitrogen
    if found.cap_lb_ac is not None and found.total_lb_ac >= found.cap_lb_ac - _TINY:
        yield (
            "Begin with a plan that, credits counted, ends below the season cap, so that a raise has room; the "
            "cap itself stands.",
            f"{total(found.total_lb_ac, units)} count against a cap of {rate(found.cap_lb_ac, units)}",
        )


def _played_no_part(review: Review, units: UnitSystem) -> _Found:
    del units
    if review.not_used and review.readings:
        reasons = dict.fromkeys(item.why for item in review.not_used)
        ground = f"{counted(len(review.not_used), 'result')} played no part: {'; '.join(reasons)}"
        yield "Sample what the band tables in use are for, on days that they have a band for.", ground


def _before_feeding(review: Review, units: UnitSystem) -> _Found:
    """A sample taken before the first feeding can show counts as one before it."""
    del units
    days, start, lag = review.sampling.days, review.season.plan.start, review.season.policy.lag_nitrate_days
    banded = any(_band(review, item.id, MAIN_ANALYTE[item.tissue], start) for item in review.season.tables)
    if days and (days[0] - start).days > lag.value and banded:
        yield (
            "Take a first sample by the day that feeding begins, so that the first weeks' rate rests on a result.",
            f"feeding was planned from {short_day(start)}, the first sample is of {short_day(days[0])}, "
            f"{(days[0] - start).days} days later; fed nitrate shows after {lag.value:g}",
        )


def _first_out(review: Review, units: UnitSystem) -> _Found:
    del units
    side = side_of(review.readings[0]) if review.readings else None
    if side in (Side.BELOW, Side.ABOVE):
        yield (
            "Look at what the crop has before feeding begins (preplant nitrogen, credits) and at the plan's first "
            f"weeks: the first result was already {'low' if side is Side.BELOW else 'high'}.",
            review_words.result(review.readings[0]),
        )


def _not_looked_at(review: Review, units: UnitSystem) -> _Found:
    del units
    waiting = [item for item in review.changes if item.outcome is Return.NONE]
    if waiting and review.over:
        yield (
            "Sample once a change can show, so that it can be judged; the rules' lag counts from the first week "
            "at the new rate.",
            f"after {len(waiting)} of {counted(len(review.changes), 'change')} no such sample was taken",
        )


_RULES: Final[tuple[Callable[[Review, UnitSystem], _Found], ...]] = (
    _without_result,
    _without_log,
    _short_supply,
    _long_gap,
    _slow_laboratory,
    _other_plan,
    _cap_reached,
    _played_no_part,
    _before_feeding,
    _first_out,
    _not_looked_at,
)
