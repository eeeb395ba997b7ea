"""The rule that sets when the next sample is taken and how long a rate runs."""

from __future__ import annotations

from datetime import timedelta

from fertadjust.dates import short_day
from fertadjust.rules.bound_rules import bounded_rates, fruit_quality, late_season
from fertadjust.rules.evidence_rules import lag_days, review_days
from fertadjust.rules.facts import Draft, Facts, Outcome, fires
from fertadjust.rules.policy import Policy

_TINY = 1e-9


def review_date(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A change has an end: it runs until the next sample's result can be there.

    A sample that would be too soon to show a change, this one or the last, is not asked for.
    """
    interval = policy.resample_days if draft.resample else policy.sample_days
    on, lag = facts.on, int(lag_days(facts, policy).value)
    start = facts.coming[0].start if facts.coming else on
    sampled = facts.primary.sampled if facts.primary is not None else on - timedelta(days=int(interval.value))
    next_sample = max(sampled + timedelta(days=int(interval.value)), on)
    shift = facts.last_shift
    if _survives(facts, policy, draft, lag):
        next_sample = max(next_sample, start + timedelta(days=lag))
    elif shift is not None and not shift.ran_out and draft.fresh and not draft.settled:
        next_sample = max(next_sample, shift.on + timedelta(days=lag))
    review = next_sample + timedelta(days=review_days(facts, policy))
    review = max(review, start + timedelta(days=1))
    weeks = tuple([week for week in facts.coming if week.start < review])
    draft = draft._replace(next_sample=next_sample, review=review, weeks=weeks)
    saw = f"every {interval.value:g} days, {policy.laboratory_days.value:g} days for the laboratory"
    late = review_days(facts, policy) - policy.laboratory_days.value
    if late > 0:
        saw += f", {late:g} more for a late result"
    why = (
        f"Sample on {short_day(next_sample)}; the rate runs until {short_day(review)}, and the plan's own rate "
        "after that unless a new result says otherwise."
    )
    if facts.overdue is not None:
        why += f" The last change ended on {short_day(facts.overdue)}."
        due = facts.due or facts.overdue - timedelta(days=int(policy.laboratory_days.value))
        if facts.primary is None or facts.primary.sampled < due:
            draft = draft._replace(to_do=("A sample is overdue: take one now.", *draft.to_do))
    return fires(interval, saw, why, draft, f"review {short_day(review)}")


def _survives(facts: Facts, policy: Policy, draft: Draft, lag: int) -> bool:
    """Whether what is sought still moves a rate before it could show, once the other bounds had their say."""
    if abs(draft.factor - facts.factor) <= _TINY or not facts.coming:
        return False
    left = fruit_quality(facts, policy, late_season(facts, policy, draft).draft).draft.factor
    weeks = [week for week in facts.coming if week.start <= facts.coming[0].start + timedelta(days=lag)]
    before, after = (bounded_rates(facts, weeks, factor) for factor in (facts.factor, left))
    return any(abs(old - new) > _TINY for old, new in zip(before, after, strict=True))
