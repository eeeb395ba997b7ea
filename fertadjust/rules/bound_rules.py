"""Rules that keep a change within bounds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from fertadjust.dates import short_day
from fertadjust.evidence import OWN_SOURCE, Evidence
from fertadjust.observations import FRUIT_TROUBLE
from fertadjust.plan import PlanWeek
from fertadjust.rules.evidence_rules import lag_days, review_days
from fertadjust.rules.facts import OWN_RULE, Backed, Backing, Draft, Facts, Limit, Outcome, fires, quiet
from fertadjust.rules.policy import Figure, Policy

_TINY = 1e-9
_HALVINGS = 50
_SAME_FACTOR = 1e-6
NOTHING_FED = "plan"
"""What binds where the plan feeds nothing in the weeks until the review."""

_OWN_BOUNDS = Backing(OWN_SOURCE, Evidence.OWN)
_FRUIT = Backing("SEFP-WATSON; UMASS; HOCHMUTH-1996", Evidence.PROJECT_RULE)


def bounded_rate(planned: float, factor: float, floor: float, ceiling: float) -> float:
    """A planned weekly rate times a factor, kept within floor and ceiling [all lb/ac].

    A week planned below the floor, or at nothing, is not lifted to the floor: the bounds limit changes, and a
    plan above the ceiling is refused when the season file is read.

    >>> bounded_rate(5.25, 1.5, 2.0, 7.0), bounded_rate(0.0, 1.5, 2.0, 7.0), bounded_rate(5.25, 0.1, 2.0, 7.0)
    (7.0, 0.0, 2.0)
    """
    return min(max(planned * factor, min(floor, planned)), ceiling)


def bounded_rates(facts: Facts, weeks: Sequence[PlanWeek], factor: float) -> tuple[float, ...]:
    """Rates [lb/ac] of some weeks at a factor, within floor and ceiling."""
    floor, ceiling = facts.floor_lb_ac, facts.ceiling_lb_ac
    return tuple([bounded_rate(week.rate_lb_ac, factor, floor, ceiling) for week in weeks])


def metered_rates(facts: Facts, weeks: Sequence[PlanWeek], rates: Sequence[float]) -> tuple[float, ...]:
    """Rates rounded to the metering step, never past a bound and never across the plan's own rate."""
    return tuple(_metered(rate, week.rate_lb_ac, facts) for rate, week in zip(rates, weeks, strict=True))


def _metered(rate: float, planned: float, facts: Facts) -> float:
    step = facts.rate_step_lb_ac
    if step <= 0 or abs(rate - planned) <= _TINY:
        return rate
    value = math.floor(rate / step + 0.5 + _TINY) * step
    if value > facts.ceiling_lb_ac + _TINY:
        value = math.floor(facts.ceiling_lb_ac / step + _TINY) * step
    lowest = min(facts.floor_lb_ac, planned)
    if value < lowest - _TINY <= rate:
        value = min(math.ceil(lowest / step - _TINY) * step, facts.ceiling_lb_ac)
    return max(value, planned) if rate > planned else min(value, planned)


def rates_at(facts: Facts, weeks: Sequence[PlanWeek], factor: float) -> tuple[float, ...]:
    """Rates [lb/ac] of some weeks at a factor, within floor and ceiling and as they can be metered."""
    return metered_rates(facts, weeks, bounded_rates(facts, weeks, factor))


def room_lb_ac(facts: Facts) -> float | None:
    """Nitrogen left under the season cap for the coming weeks [lb/ac]; None without a cap."""
    if facts.cap_lb_ac is None:
        return None
    spent = facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac + facts.rest_of_week_lb_ac
    return max(0.0, facts.cap_lb_ac - spent)


def filled(rates: Sequence[float], room: float) -> tuple[float, ...]:
    """Rates week by week until an amount is used up; what is left goes to the week it runs out in.

    >>> filled((5.0, 5.0, 5.0), 8.0)
    (5.0, 3.0, 0.0)
    """
    out: list[float] = []
    for rate in rates:
        out.append(min(rate, max(0.0, room - sum(out))))
    return tuple(out)


def limited(draft: Draft, name: str, allowed: float) -> Draft:
    """The draft with what a bound allows noted, and its factor brought down to that if it is the tightest yet."""
    draft = draft._replace(limits=(*draft.limits, Limit(name, allowed)))
    if allowed < draft.factor - _TINY:
        draft = draft._replace(factor=allowed, moved_by=name, binding=name)
    return draft


def limit_words(before: Draft, after: Draft, allowed: float) -> str:
    """What a bound did, or would allow, in words."""
    if after.factor < before.factor:
        return f"factor {before.factor:.2f} -> {after.factor:.2f}"
    return f"allows factor {allowed:.2f}; the {before.binding} allows no more than {before.factor:.2f}"


def late_season(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """No raise past the week set in the policy."""
    limit = policy.no_raise_after_week
    if limit is None:
        return quiet(OWN_RULE, "no last week for a raise", "No week is set after which a raise is barred.", draft)
    if facts.week is None:
        why = f"The stage {policy.late_anchor} has no date, so the week is not known."
        return quiet(limit, "week not known", why, draft)
    saw = f"week {facts.week} from {policy.late_anchor.replace('_', ' ')}; limit {limit.value:g}"
    if facts.week <= limit.value:
        return quiet(limit, saw, "It is not late in the season.", draft)
    if draft.sought <= facts.factor + _TINY:
        return quiet(limit, saw, "It is late in the season, and no raise was called for.", draft)
    after = limited(draft, "late season", facts.factor)
    why = "It is too late in the season for a raise to pay."
    return fires(limit, saw, why, after, limit_words(draft, after, facts.factor))


def fruit_quality(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Soft fruit or grey mould: no raise above the planned rate. Extension advice; trials disagree."""
    del policy
    seen = [item for item in facts.observations if item.sight in FRUIT_TROUBLE]
    if not seen:
        return quiet(_FRUIT, "no soft fruit or grey mould noted", "Nothing was noted on the fruit.", draft)
    saw = "; ".join(f"{item.sight.value} on {short_day(item.on)}" for item in seen)
    allowed = max(1.0, facts.factor)
    if draft.sought <= allowed + _TINY:
        why = "Fruit trouble was noted, and no raise above the plan was called for."
        return quiet(_FRUIT, saw, why, draft)
    after = limited(draft, "fruit quality", allowed)
    why = (
        "Extension advice links soft fruit and mould to plenty of nitrogen (trials disagree), so the rate is "
        "not raised above the plan."
    )
    return fires(_FRUIT, saw, why, after, limit_words(draft, after, allowed))


def _reach(facts: Facts, weeks: Sequence[PlanWeek]) -> tuple[float, float]:
    """Lowest and highest factor that still change the rate of some week."""
    rates = [week.rate_lb_ac for week in weeks if week.rate_lb_ac > 0]
    lowest = min(min(facts.floor_lb_ac, rate) / rate for rate in rates)
    return lowest, max(facts.ceiling_lb_ac / rate for rate in rates)


def in_force(facts: Facts, policy: Policy) -> Facts:
    """The facts with the factor in force, and the one before it, as far as floor and ceiling let them act.

    A plan may ramp: a factor that raised the weeks before to the ceiling may have nothing left to raise in the
    weeks to come, and a step has to count from the rate that is really in force.
    """
    weeks = [week for week in longest_weeks(facts, policy) if week.rate_lb_ac > 0]
    if not weeks or (facts.factor == 1.0 and facts.last_shift is None):
        return facts
    lowest, highest = _reach(facts, weeks)
    factor = min(max(facts.factor, lowest), highest)
    shift = facts.last_shift
    if shift is not None:
        shift = shift._replace(before=min(max(shift.before, lowest), highest))
    if (factor, shift) == (facts.factor, facts.last_shift):
        return facts
    return replace(facts, factor=factor, last_shift=shift)


def floor_and_ceiling(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Weekly rates stay within floor and ceiling, and the factor does not wind up beyond them."""
    weeks, units = draft.weeks, facts.units
    floor, ceiling = (f"{units.rate_out(edge):.2f}" for edge in (facts.floor_lb_ac, facts.ceiling_lb_ac))
    saw = f"floor {floor}, ceiling {ceiling} {units.rate_unit}"
    draft = draft._replace(rates=bounded_rates(facts, weeks, draft.factor))
    fed = [week for week in weeks if week.rate_lb_ac > 0]
    if not fed:
        why = "The plan feeds nothing in the weeks until the review, so there is nothing to change."
        if draft.factor == facts.factor:
            return quiet(_OWN_BOUNDS, saw, why, draft)
        change = f"factor {draft.factor:.2f} -> {facts.factor:.2f}"
        draft = draft._replace(factor=facts.factor, moved_by="floor and ceiling", binding=NOTHING_FED)
        return fires(_OWN_BOUNDS, saw, why, draft, change)
    bound = _reached(facts, fed, draft.factor) or _reached(facts, fed, draft.highest)
    if not bound:
        backings = (_backing(facts.floor_lb_ac, policy.floor), _backing(facts.ceiling_lb_ac, policy.ceiling))
        backing = _OWN_BOUNDS if _OWN_BOUNDS in backings else backings[0]
        return quiet(backing, saw, "No weekly rate reaches a bound.", draft)
    lowest, highest = _reach(facts, fed)
    allowed, default, given = lowest, policy.floor, facts.floor_lb_ac
    if bound == "ceiling":
        allowed, default, given = highest, policy.ceiling, facts.ceiling_lb_ac
    backing = _backing(given, default)
    raising = draft.sought > facts.factor + _TINY
    asks = not raising and allowed > draft.sought + _TINY
    if bound == "ceiling":
        asks = allowed < draft.highest - _TINY
    after = draft
    if asks:
        after = draft._replace(limits=(*draft.limits, Limit(bound, allowed)))
    why = f"The {bound} limits the weekly rate."
    if not _reached(facts, fed, draft.factor):
        why = f"The {bound} would limit it as well."
        return fires(backing, saw, why, after, limit_words(draft, after, allowed))
    factor = min(max(draft.factor, lowest), highest)
    idle = facts.factor != draft.factor and draft.rates == bounded_rates(facts, weeks, facts.factor)
    if idle:
        factor = facts.factor
        why = f"The {bound} leaves nothing to change in the weeks until the review."
    binds = idle or factor != draft.factor or not (draft.binding or (bound == "floor" and raising))
    after = after._replace(factor=factor, binding=bound if binds else draft.binding)
    single = factor == draft.factor
    change = "single weeks bounded" if single else f"factor {draft.factor:.2f} -> {factor:.2f}"
    return fires(backing, saw, why, after, change)


def _backing(given: float, default: Figure | None) -> Backed:
    """What stands behind a bound [lb/ac]: the policy's own figure, or the season file."""
    return default if default is not None and abs(given - default.value) <= _TINY else _OWN_BOUNDS


def _reached(facts: Facts, weeks: Sequence[PlanWeek], factor: float) -> str:
    """Which bound changes the rate of some week at a factor: "ceiling", "floor" or neither."""
    if any(week.rate_lb_ac * factor > facts.ceiling_lb_ac + _TINY for week in weeks):
        return "ceiling"
    low = (week.rate_lb_ac * factor < min(facts.floor_lb_ac, week.rate_lb_ac) - _TINY for week in weeks)
    return "floor" if any(low) else ""


def season_cap(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Applied, credited and committed nitrogen fit under the season cap.

    A raise is made as far as it fits until the latest day on which a review could fall. Rates that do not fit
    even so run until the cap is used up.
    """
    room = room_lb_ac(facts)
    if room is None:
        return quiet(_OWN_BOUNDS, "no season cap", "The season file states no cap.", draft)
    weeks, longest = draft.weeks, longest_weeks(facts, policy)
    planned = sum(week.rate_lb_ac for week in longest)
    alone = max(facts.factor, room / planned) if draft.highest * planned > room else draft.highest
    allowed = _fitting_factor(facts, longest, draft.factor, room)
    binds = allowed < draft.factor - _TINY
    bounded = binds or alone < draft.highest - _TINY
    reach = allowed if binds else max(alone, draft.factor)
    after = limited(draft, "season cap", reach) if bounded else draft
    rates = bounded_rates(facts, weeks, after.factor)
    saw = _cap_words(facts, room)
    runs_out = sum(metered_rates(facts, weeks, rates)) > room + _TINY
    rates = filled(rates, room)
    if after.factor < draft.factor or runs_out:
        why = "The raise does not fit under the season cap, so only the part that fits is made."
        if after.factor <= facts.factor:
            why = "No part of the raise fits under the season cap."
        if runs_out:
            why = "The season cap is reached before the review, so feeding stops when it is used up."
            after = _run_out(facts, after, rates, room)
        note = "The season cap binds: talk to your advisor before planning more nitrogen."
        shown = ", ".join(f"{facts.units.rate_out(rate):.2f}" for rate in rates)
        change = f"rates {shown}"
        if after.factor != draft.factor:
            change = f"factor {draft.factor:.2f} -> {after.factor:.2f}, {change}"
        after = after._replace(
            rates=rates, moved_by="season cap", binding="season cap", to_do=(*draft.to_do, note)
        )
        return fires(_OWN_BOUNDS, saw, why, after, change)
    if bounded:
        why = "Not all of the raise would fit under the season cap either."
        return fires(_OWN_BOUNDS, saw, why, after, limit_words(draft, after, reach))
    ends = _last_fed_week(facts, draft.factor, room)
    if ends is not None:
        why = "The rate fits until the review; kept up after that, it would reach the cap before the plan ends."
        note = f"The season cap lasts through week {ends} of the plan if this rate is kept up."
        return fires(_OWN_BOUNDS, saw, why, draft._replace(to_do=(*draft.to_do, note)))
    return quiet(_OWN_BOUNDS, saw, "The rate fits under the season cap to the end of the plan.", draft)


def _run_out(facts: Facts, draft: Draft, rates: Sequence[float], room: float) -> Draft:
    """The draft where the cap is used up before the review: what factor would last, and no change in vain."""
    planned = sum(week.rate_lb_ac for week in draft.weeks)
    lasts = min(draft.factor, room / planned) if planned > 0 else draft.factor
    limits = (*(item for item in draft.limits if item.name != "season cap"), Limit("season cap", lasts))
    same = _same(rates, filled(bounded_rates(facts, draft.weeks, facts.factor), room))
    return draft._replace(limits=limits, runs_out=True, factor=facts.factor if same else draft.factor)


def longest_weeks(facts: Facts, policy: Policy) -> tuple[PlanWeek, ...]:
    """The coming weeks that any result of the deciding sample could commit; the same for all of them."""
    if not facts.coming:
        return ()
    start = facts.coming[0].start
    sampled = facts.on if facts.primary is None else facts.primary.sampled
    days = int(max(policy.sample_days.value, policy.resample_days.value))
    lag = int(lag_days(facts, policy).value)
    latest = max(sampled + timedelta(days=days), facts.on, start + timedelta(days=lag))
    review = max(latest + timedelta(days=review_days(facts, policy)), start + timedelta(days=1))
    return tuple(week for week in facts.coming if week.start < review)


def _fitting_factor(facts: Facts, weeks: Sequence[PlanWeek], factor: float, room: float) -> float:
    """The factor, or as much of it above the one in force as fits into the room over some weeks."""

    def committed(candidate: float) -> float:
        rates = bounded_rates(facts, weeks, candidate)
        return max(sum(rates), sum(metered_rates(facts, weeks, rates)))

    low, high = facts.factor, factor
    if factor <= low or committed(factor) <= room + _TINY:
        return factor
    if committed(low) > room + _TINY:
        return low
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if committed(middle) <= room + _TINY:
            low = middle
        else:
            high = middle
    return low if low - facts.factor > _SAME_FACTOR else facts.factor


def _cap_words(facts: Facts, room: float) -> str:
    parts = {
        "cap": facts.cap_lb_ac or 0.0,
        "credits": facts.credits_lb_ac,
        "applied": facts.logged_lb_ac,
        "assumed": facts.assumed_lb_ac,
        "rest of this week": facts.rest_of_week_lb_ac,
        "left": room,
    }
    text = ", ".join(f"{name} {facts.units.rate_out(value):.1f}" for name, value in parts.items())
    return f"{text} {facts.units.total_unit}; weeks to come: {len(facts.coming)}"


def _last_fed_week(facts: Facts, factor: float, room: float) -> int | None:
    """Number of the last week that the room feeds in full at a factor; None when it feeds them all."""
    left = room
    for week, rate in zip(facts.coming, bounded_rates(facts, facts.coming, factor), strict=True):
        left -= rate
        if left < -_TINY:
            return week.number - 1
    return None


def standing_rates(facts: Facts, weeks: Sequence[PlanWeek]) -> tuple[float, ...]:
    """Rates of some weeks at the factor in force [lb/ac], within every bound, as far as the season cap lasts."""
    rates, room = rates_at(facts, weeks, facts.factor), room_lb_ac(facts)
    return rates if room is None else filled(rates, room)


def _same(rates: Sequence[float], others: Sequence[float]) -> bool:
    return bool(rates) and all(abs(a - b) <= _TINY for a, b in zip(rates, others, strict=True))


def meterable_rate(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Rates are rounded to a step that can be metered, never past a bound or across the plan's own rate.

    A change too small to be metered is none, and leaves the factor as it was.
    """
    del policy
    step = facts.rate_step_lb_ac
    saw = f"step {facts.units.rate_out(step):.3g} {facts.units.rate_unit}"
    weeks, room = draft.weeks, room_lb_ac(facts)
    rounded = rates_at(facts, weeks, draft.factor)
    idle = draft.factor != facts.factor and _same(rounded, rates_at(facts, weeks, facts.factor))
    after = draft._replace(rates=rounded if room is None else filled(rounded, room))
    if idle:
        why = "The change is smaller than what can be metered, so the rate stays as it is."
        limits = (*draft.limits, Limit("meterable rate", facts.factor))
        after = after._replace(
            factor=facts.factor, limits=limits, moved_by="meterable rate", binding="meterable rate"
        )
        return fires(_OWN_BOUNDS, saw, why, after, f"factor {draft.factor:.2f} -> {facts.factor:.2f}")
    rounded = after.rates
    pairs = [(a, b) for a, b in zip(draft.rates, rounded, strict=True) if abs(a - b) > _TINY]
    if not pairs:
        return quiet(_OWN_BOUNDS, saw, "The rates can be metered as they are.", draft)
    out = facts.units.rate_out
    change = ", ".join(f"{out(a):.2f} -> {out(b):.2f}" for a, b in pairs)
    return fires(_OWN_BOUNDS, saw, "The weekly rates are rounded to what can be metered.", after, change)
