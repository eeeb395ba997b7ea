"""What may be tried next year, by the project's own rules of thumb on one season. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise
from statistics import fmean, median
from typing import Final, NamedTuple

from fertadjust import review_words
from fertadjust.band_rows import Band
from fertadjust.compare import Side
from fertadjust.dates import short_day
from fertadjust.errors import OutOfSeason
from fertadjust.ledger import LedgerWeek, Supply
from fertadjust.plan import PlanWeek
from fertadjust.readings import side_of
from fertadjust.review import OFF_TARGET, FarmReview, Review
from fertadjust.review_changes import Return
from fertadjust.review_words import Suggestion, total
from fertadjust.rules.evidence_rules import lag_days
from fertadjust.tissue import MAIN_ANALYTE, TissueResult
from fertadjust.units import DAYS_PER_WEEK, UnitSystem
from fertadjust.words import counted, numbered, rate

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
    """Only from weeks that are logged: what is not written down is not known."""
    del units
    policy, ledger = review.season.policy, review.season.ledger(review.on)
    low = [item.sampled for item in review.readings if side_of(item) is Side.BELOW]
    supplies = [(day, ledger.supply_before(day, int(policy.supply_days.value))) for day in low]
    told = [(day, item.share) for day, item in supplies if item is not None and _logged(review, item)]
    short = [(day, share) for day, share in told if share is not None and share < policy.supply_share.value]
    if short:
        shares = ", ".join(f"{100 * share:.0f} % before {short_day(day)}" for day, share in short)
        yield (
            "Look at the injections before the rate: low results came after less had gone out than was aimed at.",
            f"before {len(short)} of {counted(len(told), 'low result')} with a log of the weeks before, too "
            f"little was logged of what was aimed at in up to {policy.supply_days.value:g} days: {shares}; the "
            f"policy's limit is {100 * policy.supply_share.value:.0f} %",
        )


def _logged(review: Review, supply: Supply) -> bool:
    """Whether every week of a supply's days in which something was to go out has a log."""
    ledger, weeks = review.season.ledger(review.on), review.season.plan.weeks
    rows = [
        ledger.week(week, review.on) for week in weeks if week.start <= supply.end and week.end >= supply.start
    ]
    return all(row.logged or row.target_lb_ac <= _TINY for row in rows)


def _lag(review: Review, on: date) -> int:
    """Days after which a sample shows what is fed from a day on, by the policy's figure for the day's mix."""
    return int(lag_days(review.season.facts(on), review.season.policy).value)


def _long_gap(review: Review, units: UnitSystem) -> _Found:
    """A gap is not long where the rules themselves wait for a change to show, and a week for it to begin."""
    del units
    usual = int(review.season.policy.sample_days.value)
    limits = {pair: max(usual, _lag(review, pair[0]) + DAYS_PER_WEEK) for pair in pairwise(review.sampling.days)}
    gaps = [pair for pair, limit in limits.items() if (pair[1] - pair[0]).days > limit]
    moving = [pair for pair in gaps if len(set(_edges(review, *pair))) > 1]
    if moving:
        first, last = max(moving, key=lambda pair: pair[1] - pair[0])
        yield (
            f"Sample at least every {limits[first, last]} days while the band moves.",
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
    policy, waits = review.season.policy, review.sampling.waits
    limit = policy.laboratory_days.value + (0.0 if policy.late_days is None else policy.late_days.value)
    late = [days for days in waits if days > limit]
    if waits and median(waits) > limit:
        yield (
            "Get samples to the laboratory sooner, or set laboratory_days in [policy] to what it takes: reviews "
            "are set by it.",
            f"{len(late)} of {counted(len(waits), 'report')} took longer than the {limit:g} days a review waits; "
            f"median {median(waits):g}, longest {max(waits)}",
        )


class _OtherPlan(NamedTuple):
    """Rates that come nearer to what was decided than the plan did.

    Attributes:
        mean: mean factor of the decided rates on the planned ones; weeks left out count as planned.
        logged: number of weeks that it is the mean of.
        left_out: numbers of weeks whose result, or the next that shows them, lay on the opposite side of its band.
        weeks: numbers of the weeks to plan otherwise.
        factor: factor on their planned rates, before the bounds.
        planned, nearer: their rates as planned, and otherwise within the bounds [lb/ac].
    """

    mean: float
    logged: int
    left_out: tuple[int, ...]
    weeks: tuple[int, ...]
    factor: float
    planned: tuple[float, ...]
    nearer: tuple[float, ...]

    @property
    def more(self) -> bool:
        return self.mean > 1


def _another(review: Review) -> _OtherPlan | None:
    """Only where what was aimed at was applied too, the last result lay in its band, and the cap leaves room."""
    found, plan = review.nitrogen, review.season.plan
    fed = [row for row in found.weeks if row.logged and row.week.rate_lb_ac > 0]
    aimed, applied = sum(row.target_lb_ac for row in fed), sum(row.applied_lb_ac for row in fed)
    if not fed or not review.readings or side_of(review.readings[-1]) is not Side.WITHIN:
        return None
    more = fmean(map(_factor, fed)) > 1
    opposite = Side.ABOVE if more else Side.BELOW
    off = [row for row in fed if abs(_factor(row) - 1) > FACTOR_OFF and (_factor(row) > 1) == more]
    left_out = [row for row in off if opposite in _sides_shown(review, row.week)]
    weeks = [row for row in off if row not in left_out]
    mean = fmean(1.0 if row in left_out else _factor(row) for row in fed)
    if not weeks or abs(mean - 1) <= FACTOR_OFF + _TINY or (mean > 1) != more:
        return None
    if abs(applied - aimed) > OFF_TARGET * aimed:
        return None
    planned = [row.week.rate_lb_ac for row in weeks]
    factor = sum(row.target_lb_ac for row in weeks) / sum(planned)
    bounded = [min(max(rate * factor, plan.floor_lb_ac), plan.ceiling_lb_ac) for rate in planned]
    nearer = [(max if more else min)(pair) for pair in zip(planned, bounded, strict=True)]
    gained = sum(nearer) - sum(planned)
    if abs(gained) <= _TINY or (more and _no_room(review, gained)):
        return None
    return _OtherPlan(mean, len(fed), _numbers(left_out), _numbers(weeks), factor, tuple(planned), tuple(nearer))


def _numbers(rows: Sequence[LedgerWeek]) -> tuple[int, ...]:
    return tuple(row.week.number for row in rows)


def _no_room(review: Review, gained_lb_ac: float) -> bool:
    """Whether the cap was reached, or a plan with so much more nitrogen would reach it by itself."""
    found = review.nitrogen
    most = max(found.total_lb_ac, found.credits_lb_ac + found.plan_lb_ac + gained_lb_ac)
    return found.cap_lb_ac is not None and most >= found.cap_lb_ac - _TINY


def _sides_shown(review: Review, week: PlanWeek) -> list[Side | None]:
    """Sides of the results sampled in a week and of the first one that can show what it was fed."""
    shows = week.start + timedelta(days=_lag(review, week.start))
    in_it = [item for item in review.readings if week.start <= item.sampled <= week.end]
    after = [item for item in review.readings if item.sampled >= shows][:1]
    return [side_of(item) for item in (*in_it, *after)]


def _other_plan(review: Review, units: UnitSystem) -> _Found:
    found = _another(review)
    if found is None:
        return
    more, side = ("more", "above") if found.more else ("less", "below")
    left_out = held = ""
    if found.left_out:
        left_out = f" ({numbered(found.left_out)} taken as planned: a result then or after lay {side} its band)"
    if any(abs(new - old * found.factor) > _TINY for old, new in zip(found.planned, found.nearer, strict=True)):
        held = ", held to the bounds"
    yield (
        f"Consider a plan with {more} nitrogen in the weeks in which the decided rates left it, within the bounds "
        "and the season cap.",
        f"the rates decided were {found.mean:.2f} times the plan, the mean of "
        f"{counted(found.logged, 'logged week')}{left_out}, and the last result lay in band "
        f"({review_words.sides(review.results)}); in {numbered(found.weeks)}, {found.factor:.2f} times the "
        f"planned {_range(found.planned, units)} {units.rate_unit} come nearer{held}: "
        f"{_range(found.nearer, units)}",
    )


def _range(rates: Sequence[float], units: UnitSystem) -> str:
    low, high = rate(min(rates), units), rate(max(rates), units)
    return low if low == high else f"{low} to {high}"


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
    """Not of results that have a band: such a one is a bound beside other results of its day."""
    del units
    banded = {item.record for item in review.season.results if _has_band(review, item)}
    without = [item for item in review.not_used if item.record not in banded]
    if without and review.readings:
        reasons = dict.fromkeys(item.why for item in without)
        ground = f"{counted(len(without), 'result')} played no part: {'; '.join(reasons)}"
        yield "Sample what the band tables in use are for, on days that they have a band for.", ground


def _has_band(review: Review, result: TissueResult) -> bool:
    try:
        review.season.band_for(result)
    except OutOfSeason:
        return False
    return True


def _before_feeding(review: Review, units: UnitSystem) -> _Found:
    """A sample taken before the first feeding can show counts as one before it."""
    del units
    days, start = review.sampling.days, review.season.plan.start
    lag = _lag(review, start)
    banded = any(_band(review, item.id, MAIN_ANALYTE[item.tissue], start) for item in review.season.tables)
    if days and (days[0] - start).days > lag and banded:
        yield (
            "Take a first sample by the day that feeding begins, so that the first weeks' rate rests on a result.",
            f"feeding was planned from {short_day(start)}, the first sample is of {short_day(days[0])}, "
            f"{(days[0] - start).days} days later; what is fed with that mix shows after {lag}",
        )


def _first_out(review: Review, units: UnitSystem) -> _Found:
    """Only of a sample that could not yet show what was fed."""
    del units
    start = review.season.plan.start
    first = review.readings[0] if review.readings else None
    side = None if first is None else side_of(first)
    if first is None or side not in (Side.BELOW, Side.ABOVE):
        return
    if first.sampled >= start + timedelta(days=_lag(review, start)):
        return
    text = (
        "Look at what the crop has before feeding begins (preplant nitrogen, credits) and at the plan's first "
        f"weeks: the first result was already {'low' if side is Side.BELOW else 'high'}."
    )
    other = _another(review)
    if other is not None and other.more == (side is Side.BELOW):
        more = "more" if other.more else "less"
        text += f" A plan with {more} nitrogen may answer the same cause: try one of the two, not both."
    yield text, review_words.result(first)


def _not_looked_at(review: Review, units: UnitSystem) -> _Found:
    """Not of a change that no sample could show while a week of the plan could still be changed by it."""
    del units
    wait, last = int(review.season.policy.laboratory_days.value), review.season.plan.weeks[-1].start
    changes = [item for item in review.changes if item.shows + timedelta(days=wait) <= last]
    waiting = [item for item in changes if item.outcome is Return.NONE]
    if waiting and review.over:
        yield (
            "Sample once a change can show, so that it can be judged; the rules' lag counts from the first week "
            "at the new rate.",
            f"after {len(waiting)} of {counted(len(changes), 'change')} that could show in time, no such sample "
            "was taken",
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
