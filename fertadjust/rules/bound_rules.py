"""Rules that keep a change within bounds, and set how long it runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta

from fertadjust.dates import short_day
from fertadjust.evidence import Evidence
from fertadjust.observations import FRUIT_TROUBLE
from fertadjust.plan import PlanWeek
from fertadjust.rules.evidence_rules import lag_days
from fertadjust.rules.facts import Backed, Backing, Draft, Facts, Limit, Outcome, fires, quiet
from fertadjust.rules.policy import Policy

_TINY = 1e-9
_HALVINGS = 50
_SAME_FACTOR = 1e-6
_OWN_BOUNDS = Backing("season file", Evidence.OWN)
_FRUIT = Backing("SEFP-WATSON; UMASS; HOCHMUTH-1996", Evidence.PUBLISHED)


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


def review_date(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A change has an end: it runs until the next sample's result can be there."""
    interval = policy.resample_days if draft.resample else policy.sample_days
    on, lag = facts.on, int(lag_days(facts, policy).value)
    start = facts.coming[0].start if facts.coming else on
    sampled = facts.primary.sampled if facts.primary is not None else on - timedelta(days=int(interval.value))
    next_sample = max(sampled + timedelta(days=int(interval.value)), on)
    if abs(draft.factor - facts.factor) > _TINY:
        next_sample = max(next_sample, start + timedelta(days=lag))
    review = next_sample + timedelta(days=int(policy.laboratory_days.value))
    review = max(review, start + timedelta(days=1))
    weeks = tuple([week for week in facts.coming if week.start < review])
    draft = draft._replace(next_sample=next_sample, review=review, weeks=weeks)
    saw = f"every {interval.value:g} days, {policy.laboratory_days.value:g} days for the laboratory"
    why = (
        f"Sample on {short_day(next_sample)}; the rate runs until {short_day(review)}, and the plan's own rate "
        "after that unless a new result says otherwise."
    )
    if facts.overdue is not None:
        overdue = f"A sample is overdue: the last change ended on {short_day(facts.overdue)}."
        draft = draft._replace(to_do=(overdue, *draft.to_do))
    return fires(interval, saw, why, draft, f"review {short_day(review)}")


def _limited(draft: Draft, name: str, allowed: float) -> Draft:
    """The draft with what a bound allows noted, and its factor brought down to that if it is the tightest yet."""
    draft = draft._replace(limits=(*draft.limits, Limit(name, allowed)))
    if allowed < draft.factor - _TINY:
        draft = draft._replace(factor=allowed, moved_by=name, binding=name)
    return draft


def _limit_words(before: Draft, after: Draft, allowed: float) -> str:
    if after.factor < before.factor:
        return f"factor {before.factor:.2f} -> {after.factor:.2f}"
    return f"allows factor {allowed:.2f}; the {before.binding} allows no more than {before.factor:.2f}"


def late_season(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """No raise past the week set in the policy."""
    limit = policy.no_raise_after_week
    if facts.week is None:
        why = f"The stage {policy.late_anchor} has no date, so the week is not known."
        return quiet(limit, "week not known", why, draft)
    saw = f"week {facts.week} from {policy.late_anchor.replace('_', ' ')}; limit {limit.value:g}"
    if facts.week <= limit.value:
        return quiet(limit, saw, "It is not late in the season.", draft)
    if draft.sought <= facts.factor + _TINY:
        return quiet(limit, saw, "It is late in the season, and no raise was called for.", draft)
    after = _limited(draft, "late season", facts.factor)
    why = "It is too late in the season for a raise to pay."
    return fires(limit, saw, why, after, _limit_words(draft, after, facts.factor))


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
    after = _limited(draft, "fruit quality", allowed)
    why = (
        "Extension advice links soft fruit and mould to plenty of nitrogen (trials disagree), so the rate is "
        "not raised above the plan."
    )
    return fires(_FRUIT, saw, why, after, _limit_words(draft, after, allowed))


def floor_and_ceiling(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Weekly rates stay within floor and ceiling, and the factor does not wind up beyond them."""
    weeks = draft.weeks
    units = facts.units
    floor, ceiling = (f"{units.rate_out(edge):.2f}" for edge in (facts.floor_lb_ac, facts.ceiling_lb_ac))
    saw = f"floor {floor}, ceiling {ceiling} {units.rate_unit}"
    draft = draft._replace(rates=bounded_rates(facts, weeks, draft.factor))
    fed = [week for week in weeks if week.rate_lb_ac > 0]
    if not fed:
        why = "No week with feeding is left to change."
        if draft.factor == facts.factor:
            return quiet(_OWN_BOUNDS, saw, why, draft)
        change = f"factor {draft.factor:.2f} -> {facts.factor:.2f}"
        return fires(_OWN_BOUNDS, saw, why, draft._replace(factor=facts.factor), change)
    if not _bounded(facts, fed, draft.highest):
        return quiet(_OWN_BOUNDS, saw, "No weekly rate reaches a bound.", draft)
    high = draft.highest > 1.0
    bound, default, given = "floor", policy.floor, facts.floor_lb_ac
    if high:
        bound, default, given = "ceiling", policy.ceiling, facts.ceiling_lb_ac
    backing: Backed = default if abs(given - default.value) <= _TINY else _OWN_BOUNDS
    rates = [week.rate_lb_ac for week in fed]
    highest = max(facts.ceiling_lb_ac / rate for rate in rates)
    lowest = min(min(facts.floor_lb_ac, rate) / rate for rate in rates)
    allowed = highest if high else lowest
    after = draft._replace(limits=(*draft.limits, Limit(bound, allowed)))
    why = f"The {bound} limits the weekly rate."
    if not _bounded(facts, fed, draft.factor):
        return fires(backing, saw, why, after, _limit_words(draft, after, allowed))
    after = after._replace(factor=min(max(draft.factor, lowest), highest), binding=bound)
    single = after.factor == draft.factor
    change = "single weeks bounded" if single else f"factor {draft.factor:.2f} -> {after.factor:.2f}"
    return fires(backing, saw, why, after, change)


def _bounded(facts: Facts, weeks: Sequence[PlanWeek], factor: float) -> bool:
    """Whether floor or ceiling changes the rate of any week at a factor."""
    pairs = zip(bounded_rates(facts, weeks, factor), weeks, strict=True)
    return any(abs(rate - week.rate_lb_ac * factor) > _TINY for rate, week in pairs)


def season_cap(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Applied, credited and committed nitrogen fit under the season cap.

    A raise is made as far as it fits until the latest day on which a review could fall. Rates that do not fit
    even so run until the cap is used up.
    """
    room = room_lb_ac(facts)
    if room is None:
        return quiet(_OWN_BOUNDS, "no season cap", "The season file states no cap.", draft)
    weeks = draft.weeks
    allowed = _fitting_factor(facts, _longest(facts, policy), draft.highest, room)
    after = _limited(draft, "season cap", allowed) if allowed < draft.highest - _TINY else draft
    rates = bounded_rates(facts, weeks, after.factor)
    saw = _cap_words(facts, room)
    out_of_room = sum(metered_rates(facts, weeks, rates)) > room + _TINY
    rates = filled(rates, room)
    if after.factor < draft.factor or out_of_room:
        why = "The raise does not fit under the season cap, so only the part that fits is made."
        if out_of_room:
            why = "The season cap is reached before the review, so feeding stops when it is used up."
        note = "The season cap binds: talk to your advisor before planning more nitrogen."
        shown = ", ".join(f"{facts.units.rate_out(rate):.2f}" for rate in rates)
        change = f"factor {draft.factor:.2f} -> {after.factor:.2f}, rates {shown}"
        after = after._replace(
            rates=rates, moved_by="season cap", binding="season cap", to_do=(*draft.to_do, note)
        )
        return fires(_OWN_BOUNDS, saw, why, after, change)
    if allowed < draft.highest - _TINY:
        why = "Not all of the raise would fit under the season cap either."
        return fires(_OWN_BOUNDS, saw, why, after, _limit_words(draft, after, allowed))
    ends = _last_fed_week(facts, draft.factor, room)
    if ends is not None:
        why = "The rate fits until the review; kept up after that, it would reach the cap before the plan ends."
        note = f"The season cap lasts through week {ends} of the plan if this rate is kept up."
        return fires(_OWN_BOUNDS, saw, why, draft._replace(to_do=(*draft.to_do, note)))
    return quiet(_OWN_BOUNDS, saw, "The rate fits under the season cap to the end of the plan.", draft)


def _longest(facts: Facts, policy: Policy) -> tuple[PlanWeek, ...]:
    """The coming weeks that any result of the deciding sample could commit; the same for all of them."""
    if not facts.coming:
        return ()
    start = facts.coming[0].start
    sampled = facts.on if facts.primary is None else facts.primary.sampled
    days = int(max(policy.sample_days.value, policy.resample_days.value))
    lag = int(lag_days(facts, policy).value)
    latest = max(sampled + timedelta(days=days), facts.on, start + timedelta(days=lag))
    review = max(latest + timedelta(days=int(policy.laboratory_days.value)), start + timedelta(days=1))
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


def meterable_rate(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Rates are rounded to a step that can be metered, never past a bound or across the plan's own rate.

    A change too small to be metered is none, and leaves the factor as it was.
    """
    del policy
    step = facts.rate_step_lb_ac
    saw = f"step {facts.units.rate_out(step):.3g} {facts.units.rate_unit}"
    weeks, room = draft.weeks, room_lb_ac(facts)
    rounded = metered_rates(facts, weeks, bounded_rates(facts, weeks, draft.factor))
    if room is not None:
        rounded = filled(rounded, room)
    after = draft._replace(rates=rounded)
    if draft.factor != facts.factor and weeks:
        standing = metered_rates(facts, weeks, bounded_rates(facts, weeks, facts.factor))
        if all(abs(a - b) <= _TINY for a, b in zip(rounded, standing, strict=True)):
            why = "The change is smaller than what can be metered, so the rate stays as it is."
            after = after._replace(factor=facts.factor, binding=draft.binding or "meterable rate")
            return fires(_OWN_BOUNDS, saw, why, after, f"factor {draft.factor:.2f} -> {facts.factor:.2f}")
    pairs = [(a, b) for a, b in zip(draft.rates, rounded, strict=True) if abs(a - b) > _TINY]
    if not pairs:
        return quiet(_OWN_BOUNDS, saw, "The rates can be metered as they are.", draft)
    out = facts.units.rate_out
    change = ", ".join(f"{out(a):.2f} -> {out(b):.2f}" for a, b in pairs)
    return fires(_OWN_BOUNDS, saw, "The weekly rates are rounded to what can be metered.", after, change)
