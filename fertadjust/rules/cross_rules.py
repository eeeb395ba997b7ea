"""Rules that hold the result against everything else that is known: leaf, supply, roots, rain, soil, history."""

from __future__ import annotations

from fertadjust.compare import Side, compare
from fertadjust.dates import short_day
from fertadjust.evidence import Evidence
from fertadjust.observations import LIMITS_UPTAKE, Sight
from fertadjust.rules.evidence_rules import budget
from fertadjust.rules.facts import OWN_RULE, Backing, Draft, Facts, Outcome, fires, quiet
from fertadjust.rules.policy import LeafState, Policy
from fertadjust.uncertainty import combined

_COMMON = Backing("none", Evidence.COMMON_PRACTICE)
_SHARES = {"full": 1.0, "half": 0.5, "hold": 0.0}
_TINY = 1e-9
_PETIOLE_STATE = {1: "low", 0: "sufficient", -1: "high"}


def leaf_nitrogen(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Petiole and leaf nitrogen together: full step, half step or hold, by the policy's table."""
    if facts.primary is None or facts.primary.tissue.value == "leaf":
        return quiet(OWN_RULE, "no petiole beside it", "There is no petiole result to check.", draft)
    state = LeafState.NONE
    saw_leaf = "no leaf result near the sample"
    shift = facts.last_shift
    if facts.leaf is not None and shift is not None and facts.leaf.sampled < shift.on:
        saw_leaf = f"leaf result of {short_day(facts.leaf.sampled)} is older than the last change"
    elif facts.leaf is not None:
        relative = combined(part.relative for part in budget(facts.leaf, policy))
        found = compare(facts.leaf.value, facts.leaf.censor, relative, facts.leaf.band, policy.confidence.value)
        draft = draft._replace(leaf=found)
        state = LeafState.UNCLEAR
        if found.sure is not None:
            state = {
                Side.BELOW: LeafState.LOW,
                Side.WITHIN: LeafState.SUFFICIENT,
                Side.ABOVE: LeafState.HIGH,
            }[found.sure]
        saw_leaf = f"leaf N {facts.leaf.value:.2f} % of {short_day(facts.leaf.sampled)}: {state.value}"
    if draft.direction == 0 and (draft.comparison is None or draft.comparison.sure is not Side.WITHIN):
        why = "No change is called for on the petiole, so there is nothing to check."
        return quiet(OWN_RULE, saw_leaf, why, draft)
    petiole = _PETIOLE_STATE[draft.direction]
    cell = policy.cell(petiole, state)
    saw = f"petiole {petiole}{' (trend)' if draft.early else ''}, {saw_leaf}"
    why = cell.reason[:1].upper() + cell.reason[1:] + "."
    if draft.direction == 0:
        if state is LeafState.LOW:
            draft = draft._replace(
                resample=True, to_do=(*draft.to_do, "Resample petiole and leaf: leaf nitrogen is low.")
            )
            return fires(cell, saw, why, draft, "hold, sample sooner")
        return quiet(cell, saw, why, draft)
    draft = draft._replace(share=_SHARES[cell.step])
    if cell.step == "full":
        return quiet(cell, saw, why, draft)
    if cell.step == "hold":
        draft = draft._replace(
            resample=True,
            to_do=(*draft.to_do, "Resample petiole and leaf: the two disagree."),
        )
    return fires(cell, saw, why, draft, "full step -> " + ("half step" if cell.step == "half" else "hold"))


def missed_applications(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A low result after missed or short applications is not a wrong rate: restore the plan first."""
    limit = policy.supply_share
    supply = facts.supply
    if supply is None:
        return quiet(limit, "no full week of plan before the sample", "There is no supply to judge.", draft)
    if supply.planned_lb_ac <= 0:
        return quiet(limit, "nothing was planned before the sample", "There is no supply to judge.", draft)
    if supply.share is None:
        saw = "nothing logged before the sample"
        why = "No application has been logged, so a missed one cannot be ruled out."
        to_do = (*draft.to_do, "Log what was applied: a missed injection would explain a low result.")
        return fires(limit, saw, why, draft._replace(to_do=to_do))
    units = facts.units
    applied, planned = units.rate_out(supply.applied_lb_ac), units.rate_out(supply.planned_lb_ac)
    saw = (
        f"{applied:.2f} of {planned:.2f} {units.total_unit} from {short_day(supply.start)} to "
        f"{short_day(supply.end)}: {100 * supply.share:.0f} %; limit {100 * limit.value:.0f} %"
    )
    if supply.share >= limit.value - _TINY:
        return quiet(limit, saw, "What was planned before the sample went out.", draft)
    draft = draft._replace(
        no_raise=(*draft.no_raise, "missed applications"),
        to_do=(*draft.to_do, "Apply what is planned, every injection, and log it."),
    )
    why = "Less than planned went out before the sample, so the plan is restored before any raise."
    return fires(limit, saw, why, draft, "no raise allowed")


def roots_in_trouble(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Waterlogged, cold, diseased, dry or salty roots cannot take nitrogen up: more is not the cure."""
    del policy
    seen = [item for item in facts.observations if item.sight in LIMITS_UPTAKE]
    if not seen:
        return quiet(_COMMON, "nothing seen that limits roots", "No root trouble was noted.", draft)
    saw = "; ".join(f"{item.sight.value} on {short_day(item.on)}" for item in seen)
    draft = draft._replace(
        no_raise=(*draft.no_raise, "roots in trouble"),
        to_do=(*draft.to_do, f"See to the roots first: {seen[-1].sight.value}."),
    )
    why = "Roots that are in trouble cannot take nitrogen up, so more of it is not the cure."
    return fires(_COMMON, saw, why, draft, "no raise allowed")


def leaching_rain(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Leaching rain explains a low result and supports the raise."""
    del policy
    seen = [item for item in facts.observations if item.sight is Sight.LEACHING_RAIN]
    if not seen:
        return quiet(_COMMON, "no leaching rain noted", "No leaching rain was noted.", draft)
    saw = "; ".join(f"leaching rain on {short_day(item.on)}" for item in seen)
    if draft.direction > 0:
        why = "Rain washed nitrate out of the bed; that explains the low result and supports the raise."
        return fires(_COMMON, saw, why, draft, "supports the raise")
    return fires(_COMMON, saw, "Rain may have washed nitrate out of the bed; watch the next result.", draft)


def soil_nitrate(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A soil nitrate test above its threshold: no raise."""
    limit = policy.soil_nitrate_ppm
    if facts.soil_nitrate is None:
        return quiet(limit, "no recent soil nitrate test", "There is no soil test to check against.", draft)
    on, ppm = facts.soil_nitrate
    saw = f"{ppm:g} ppm NO3-N on {short_day(on)}; threshold {limit.value:g}"
    if ppm <= limit.value:
        return quiet(limit, saw, "Soil nitrate is not above its threshold.", draft)
    draft = draft._replace(no_raise=(*draft.no_raise, "soil nitrate"))
    why = "The soil holds more nitrate than the threshold, so more nitrogen is not what is missing."
    return fires(limit, saw, why, draft, "no raise allowed")


def twice_in_a_row(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A second change the same way needs results in a row on that side."""
    needed = policy.results_for_second_change
    shift = facts.last_shift
    if draft.direction == 0 or shift is None or shift.direction != draft.direction:
        return quiet(needed, "no second change the same way", "This would be no repeated change.", draft)
    side = Side(-draft.direction)
    run = 1 if draft.comparison is not None and draft.comparison.side is side else 0
    if run:
        for _, earlier in reversed(facts.earlier):
            if earlier is not side:
                break
            run += 1
    saw = f"results in a row {'below' if side is Side.BELOW else 'above'}: {run}; {needed.value:g} asked for"
    if run >= needed.value:
        return quiet(needed, saw, "Enough results in a row lie on that side.", draft)
    word = "raise" if draft.direction > 0 else "cut"
    names = (*(draft.no_raise if draft.direction > 0 else draft.no_cut), "twice in a row")
    draft = draft._replace(no_raise=names) if draft.direction > 0 else draft._replace(no_cut=names)
    draft = draft._replace(resample=True)
    why = f"One {word} was made already; a second needs {needed.value:g} results in a row on that side."
    return fires(needed, saw, why, draft, f"no further {word} allowed")
