"""The amount that a publication adds to the plan on a low result: how large it is, and no more in all."""

from __future__ import annotations

from fertadjust.compare import Status
from fertadjust.rules.bound_rules import limit_words, limited, longest_weeks
from fertadjust.rules.cross_rules import results_in_a_row
from fertadjust.rules.cross_table import LeafState
from fertadjust.rules.facts import OWN_RULE, Draft, Facts, Outcome, backed_by, fires, quiet
from fertadjust.rules.policy import Policy
from fertadjust.rules.sizes import Sized, distance, grown, persistent_from
from fertadjust.tissue import Tissue
from fertadjust.units import DAYS_PER_WEEK

NAME = "published amount"
_TINY = 1e-9


def amount_given(policy: Policy) -> bool:
    """Whether what a low result gets is an amount that a publication gives, for a time."""
    return policy.corrective_most is not None and policy.corrective_most.value > 0


def amount_applies(facts: Facts, policy: Policy, draft: Draft) -> bool:
    """Whether a low result is of a tissue that the publication gives its amount for."""
    if not amount_given(policy) or facts.primary is None or facts.factor <= 0:
        return False
    leaf_low = Tissue.LEAF in policy.corrective_on and draft.leaf_state is LeafState.LOW
    return leaf_low or facts.primary.tissue in policy.corrective_on


def amount_step(facts: Facts, policy: Policy, draft: Draft) -> Sized | None:
    """The step from the rate in force to the plan with the amount on top; None where the weeks ahead feed nothing.

    It comes on top of the plan, whatever is in force, so that it is not added to itself when the crop is low
    again. It is spread over every week that a decision on this sample could cover, and grows from least to most
    with the distance below the band.
    """
    least, most, reading = policy.corrective_least, policy.corrective_most, facts.primary
    assert least is not None and most is not None and reading is not None and draft.comparison is not None
    weeks = longest_weeks(facts, policy)
    planned = sum(week.rate_lb_ac for week in weeks)
    if planned <= 0:
        return None
    width = distance(reading, policy)
    amount = grown(least.value, most.value, policy.raise_largest_at.value, width)
    again = results_in_a_row(facts, policy, draft) >= persistent_from(policy)
    if draft.comparison.status is Status.DEFICIENT or again:
        amount = most.value
    units = facts.units
    spread = "in the coming week" if len(weeks) == 1 else f"spread over {len(weeks)} weeks"
    added = f"{units.rate_out(amount):.1f} {units.total_unit} more than planned in all"
    saw = f"{width:.2f} band widths below the band: {added}, {spread}"
    step = (1.0 + amount / planned) / facts.factor - 1.0
    return step, backed_by(least, most, evidence=most.evidence), saw


def published_amount(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """No more than the published amount comes on top of the plan in as many days as it is for.

    What the weeks before had more than planned counts, whatever raised them.
    """
    most, days = policy.corrective_most, policy.corrective_days
    if most is None or days is None or most.value <= 0:
        return quiet(OWN_RULE, "no published amount", "No publication gives an amount for a low result.", draft)
    units = facts.units
    saw = f"{units.rate_out(most.value):.1f} {units.total_unit} on top of the plan in {days.value:g} days"
    if draft.factor <= 1.0 + _TINY:
        return quiet(most, saw, "Nothing comes on top of the plan.", draft)
    span = max(1, round(days.value / DAYS_PER_WEEK))
    allowed = _allowed(facts, draft, most.value, span)
    gone = sum(facts.raised_lb_ac[-(span - 1) :]) if span > 1 else 0.0
    if gone > 0:
        saw = f"{saw}; {units.rate_out(gone):.1f} went on top in the weeks before"
    if allowed >= draft.factor - _TINY:
        return quiet(most, saw, "What comes on top of the plan is within the amount.", draft)
    after = limited(draft, NAME, max(1.0, allowed))
    why = (
        "The published amount is given in part or whole, so no more than the rest of it comes on top of the plan."
    )
    if after.factor <= 1.0 + _TINY:
        why = "The published amount has been given, so the plan's own rate applies again."
    backing = backed_by(most, days, evidence=most.evidence)
    return fires(backing, saw, why, after, limit_words(draft, after, max(1.0, allowed)))


def _allowed(facts: Facts, draft: Draft, most: float, span: int) -> float:
    """Largest factor at which no run of as many weeks has more on top of the plan than the amount [lb/ac]."""
    before = list(facts.raised_lb_ac[-(span - 1) :]) if span > 1 else []
    before = [0.0] * (span - 1 - len(before)) + before
    planned = [week.rate_lb_ac for week in draft.weeks]
    allowed = draft.factor
    for last in range(len(planned)):
        inside = planned[max(0, last - span + 1) : last + 1]
        gone = sum(before[last:]) if last < len(before) else 0.0
        if sum(inside) > 0:
            allowed = min(allowed, 1.0 + max(0.0, most - gone) / sum(inside))
    return allowed
