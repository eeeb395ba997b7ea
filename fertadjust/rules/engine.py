"""The rule engine: facts and policy in, recommendation with its whole trace out. There is only this one."""

from __future__ import annotations

from collections.abc import Callable, Collection

from fertadjust.rules.amount_rules import published_amount
from fertadjust.rules.bound_rules import (
    floor_and_ceiling,
    fruit_quality,
    in_force,
    late_season,
    meterable_rate,
    season_cap,
    standing_rates,
)
from fertadjust.rules.companion_rules import companion
from fertadjust.rules.cross_rules import (
    leaching_rain,
    leaf_nitrogen,
    missed_applications,
    roots_in_trouble,
    soil_nitrate,
    twice_in_a_row,
    weighed_together,
)
from fertadjust.rules.date_rules import review_date
from fertadjust.rules.evidence_rules import (
    duplicates_disagree,
    few_petioles,
    recalled_band,
    stale,
    too_soon,
    wrong_kind,
)
from fertadjust.rules.facts import Action, Draft, Facts, Outcome, Recommendation, TraceLine
from fertadjust.rules.policy import Policy
from fertadjust.rules.position_rules import heading_out, stage_in_doubt, status
from fertadjust.rules.statement_rules import statement
from fertadjust.rules.step_rules import after_recovery, cut_rate, raise_rate

Rule = Callable[[Facts, Policy, Draft], Outcome]

RULES: tuple[tuple[str, str, Rule], ...] = (
    ("evidence", "wrong kind", wrong_kind),
    ("evidence", "stale", stale),
    ("evidence", "recalled band", recalled_band),
    ("evidence", "too soon", too_soon),
    ("evidence", "few petioles", few_petioles),
    ("evidence", "duplicates disagree", duplicates_disagree),
    ("position", "status", status),
    ("position", "stage in doubt", stage_in_doubt),
    ("position", "heading out", heading_out),
    ("cross-check", "leaf nitrogen", leaf_nitrogen),
    ("cross-check", "missed applications", missed_applications),
    ("cross-check", "roots in trouble", roots_in_trouble),
    ("cross-check", "leaching rain", leaching_rain),
    ("cross-check", "soil nitrate", soil_nitrate),
    ("cross-check", "weighed together", weighed_together),
    ("cross-check", "twice in a row", twice_in_a_row),
    ("step", "raise", raise_rate),
    ("step", "cut", cut_rate),
    ("step", "after recovery", after_recovery),
    ("bounds", "review date", review_date),
    ("bounds", "late season", late_season),
    ("bounds", "fruit quality", fruit_quality),
    ("bounds", "floor and ceiling", floor_and_ceiling),
    ("bounds", "season cap", season_cap),
    ("bounds", "meterable rate", meterable_rate),
)
"""Group, name and function of every rule, in the order in which they run."""

AMOUNT: tuple[str, str, Rule] = ("bounds", "published amount", published_amount)
"""The rule that runs behind the review date where the policy gives an amount for a low result."""

MAY_BE_LEFT_OUT = frozenset(
    {
        "stale",
        "recalled band",
        "too soon",
        "duplicates disagree",
        "stage in doubt",
        "heading out",
        "leaf nitrogen",
        "missed applications",
        "roots in trouble",
        "leaching rain",
        "soil nitrate",
        "weighed together",
        "twice in a row",
        "after recovery",
    }
)
"""Names of rules that only hold back or add to what the others do, so that the rest can run without them."""

_SAME_RATE_LB_AC = 1e-6


def evaluate(facts: Facts, policy: Policy, without: Collection[str] = ()) -> Recommendation:
    """Run every rule in order.

    The same function serves a block, a thousand blocks and a simulation. It reads no file and no clock, and
    the same facts and policy always give the same recommendation.

    Args:
        facts, policy: what is known, and the figures.
        without: names of rules in `MAY_BE_LEFT_OUT` that are not run, for a simulation that asks what they do.

    Raises:
        ValueError: a rule named in ``without`` cannot be left out.
    """
    if not MAY_BE_LEFT_OUT.issuperset(without):
        raise ValueError(f"cannot be left out: {', '.join(sorted(set(without) - MAY_BE_LEFT_OUT))}")
    facts = in_force(facts, policy)
    draft = Draft(factor=facts.factor, sought=facts.factor)
    trace = []
    for group, name, rule in _rules_of(policy):
        if name in without:
            continue
        fired, saw, why, source, evidence, draft, change = rule(facts, policy, draft)
        trace.append(TraceLine(group, name, fired, saw, change, why, source, evidence))
    for note in policy.companions:
        fired, saw, why, source, evidence, draft, change = companion(facts, note, draft)
        name = note.id.replace("-", " ")
        trace.append(TraceLine("companions", name, fired, saw, change, why, source, evidence))
    for item in () if policy.published is None else policy.published.statements:
        fired, saw, why, source, evidence, draft, change = statement(facts, policy, item, draft)
        name = f"said in {item.source}"
        trace.append(TraceLine("published advice", name, fired, saw, change, why, source, evidence))
    assert draft.review is not None and draft.next_sample is not None
    standing = standing_rates(facts, draft.weeks)
    return Recommendation(
        action=_action(draft.rates, standing),
        factor=draft.factor,
        standing_factor=facts.factor,
        weeks=draft.weeks,
        rates_lb_ac=draft.rates,
        standing_rates_lb_ac=standing,
        next_sample=draft.next_sample,
        review=draft.review,
        comparison=draft.comparison,
        leaf=draft.leaf,
        parts=draft.parts,
        relative=draft.relative,
        moved_by=draft.moved_by,
        binding=draft.binding,
        sought=draft.sought,
        limits=draft.limits,
        runs_out=draft.runs_out,
        to_do=tuple(dict.fromkeys(draft.to_do)),
        trace=tuple(trace),
    )


def _rules_of(policy: Policy) -> tuple[tuple[str, str, Rule], ...]:
    """The rules that a policy runs."""
    if policy.corrective_most is None:
        return RULES
    after = [name for _, name, _ in RULES].index("review date") + 1
    return (*RULES[:after], AMOUNT, *RULES[after:])


def _action(rates: tuple[float, ...], standing: tuple[float, ...]) -> Action:
    """Raise or cut by the first week whose rate differs from the one in force."""
    for rate, before in zip(rates, standing, strict=True):
        if rate > before + _SAME_RATE_LB_AC:
            return Action.RAISE
        if rate < before - _SAME_RATE_LB_AC:
            return Action.CUT
    return Action.HOLD
