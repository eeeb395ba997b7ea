"""Rules that hold the result against everything else that is known: leaf, supply, roots, rain, soil, history.

Each of the first five says what it sees; the cross-check table of the policy says what they come to together.
"""

from __future__ import annotations

from itertools import takewhile

from fertadjust.compare import Side
from fertadjust.dates import short_day
from fertadjust.evidence import Evidence
from fertadjust.observations import LIMITS_UPTAKE, Sight
from fertadjust.rules.cross_table import (
    Cell,
    CrossCheckRow,
    LeafState,
    PetioleState,
    SeenState,
    SoilState,
    SupplyState,
)
from fertadjust.rules.evidence_rules import compared
from fertadjust.rules.facts import OWN_RULE, Backing, Draft, Facts, Outcome, backed_by, fires, quiet
from fertadjust.rules.policy import Policy
from fertadjust.tissue import Tissue

_COMMON = Backing("none", Evidence.COMMON_PRACTICE)
_TINY = 1e-9
_WEAKNESS = (
    Evidence.PUBLISHED,
    Evidence.DERIVED,
    Evidence.RECALLED,
    Evidence.COMMON_PRACTICE,
    Evidence.PROJECT_RULE,
    Evidence.OWN,
)
"""Where several rows speak in one line, the word for the weakest of them stands for all."""
_BESIDE = {1: "as for a low result, ", 0: "", -1: "as for a high result, "}
_PETIOLE_STATE = {1: PetioleState.LOW, 0: PetioleState.SUFFICIENT, -1: PetioleState.HIGH}
_LEAF_STATE = {Side.BELOW: LeafState.LOW, Side.WITHIN: LeafState.SUFFICIENT, Side.ABOVE: LeafState.HIGH}


def leaf_nitrogen(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """What the leaf nitrogen near the sample says, at the stated confidence."""
    if facts.primary is None or facts.primary.tissue is Tissue.LEAF:
        return quiet(OWN_RULE, "no petiole beside it", "There is no petiole result to check.", draft)
    if facts.leaf is None:
        return quiet(policy.leaf_days, "no leaf result near the sample", "The leaf says nothing.", draft)
    on, shift = short_day(facts.leaf.sampled), facts.last_shift
    if shift is not None and facts.leaf.sampled < shift.on:
        why = "The leaf was sampled before the last change, so it says nothing about the present rate."
        return quiet(OWN_RULE, f"leaf result of {on} is older than the last change", why, draft)
    found = compared(facts.leaf, policy)
    state = LeafState.UNCLEAR if found.sure is None else _LEAF_STATE[found.sure]
    draft = draft._replace(leaf=found, leaf_state=state)
    saw = f"leaf N {facts.leaf.value:.2f} % of {on}: {state}"
    if state is LeafState.UNCLEAR:
        return quiet(facts.leaf.band, saw, "The leaf lies too close to an edge to say anything.", draft)
    if state is LeafState.SUFFICIENT:
        return quiet(facts.leaf.band, saw, "Leaf nitrogen is within its band.", draft)
    return fires(facts.leaf.band, saw, f"Leaf nitrogen is clearly {state}.", draft)


def missed_applications(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """What went out before the sample against what was meant to: short, in full, or more than planned."""
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
    over = policy.supply_over.value
    saw = (
        f"{applied:.2f} of {planned:.2f} {units.total_unit} from {short_day(supply.start)} to "
        f"{short_day(supply.end)}: {100 * supply.share:.0f} %; limits {100 * limit.value:.0f} % and "
        f"{100 * over:.0f} %"
    )
    if supply.share > over + _TINY:
        draft = draft._replace(supply_state=SupplyState.OVER)
        return fires(policy.supply_over, saw, "More than planned went out before the sample.", draft)
    if supply.share >= limit.value - _TINY:
        draft = draft._replace(supply_state=SupplyState.FULL)
        return quiet(limit, saw, "What was planned before the sample went out.", draft)
    draft = draft._replace(supply_state=SupplyState.SHORT)
    if draft.direction >= 0:
        draft = draft._replace(to_do=(*draft.to_do, "Apply what is planned, every injection, and log it."))
    return fires(limit, saw, "Less than planned went out before the sample.", draft)


def roots_in_trouble(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Waterlogged, cold, diseased, dry or salty roots cannot take nitrogen up."""
    del policy
    seen = [item for item in facts.observations if item.sight in LIMITS_UPTAKE]
    if not seen:
        return quiet(_COMMON, "nothing seen that limits roots", "No root trouble was noted.", draft)
    saw = "; ".join(f"{item.sight.value} on {short_day(item.on)}" for item in seen)
    draft = draft._replace(
        seen_state=SeenState.ROOTS,
        to_do=(*draft.to_do, f"See to the roots first: {seen[-1].sight.value}."),
    )
    return fires(_COMMON, saw, "Something was seen that keeps roots from taking nitrogen up.", draft)


def leaching_rain(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Leaching rain may have washed nitrate out of the bed; trouble with the roots counts before it.

    Where less may be called for it counts only when it fell after the sample: what fell before is in the result
    already.
    """
    del policy
    seen = [item.on for item in facts.observations if item.sight is Sight.LEACHING_RAIN]
    if not seen:
        return quiet(_COMMON, "no leaching rain noted", "No leaching rain was noted.", draft)
    saw = "; ".join(f"leaching rain on {short_day(on)}" for on in seen)
    downwards = draft.direction < 0 or (draft.direction == 0 and facts.factor > 1.0)
    if downwards and facts.primary is not None and seen[-1] <= facts.primary.sampled:
        return quiet(_COMMON, saw, "It fell before the sample, so the result shows what it did.", draft)
    if draft.seen_state is SeenState.NOTHING:
        draft = draft._replace(seen_state=SeenState.RAIN)
    return fires(_COMMON, saw, "Rain may have washed nitrate out of the bed; watch the next result.", draft)


def soil_nitrate(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A recent soil nitrate test against its threshold; one from before a leaching rain says nothing any more."""
    limit = policy.soil_nitrate_ppm
    if facts.soil_nitrate is None:
        return quiet(limit, "no recent soil nitrate test", "There is no soil test to check against.", draft)
    on, ppm = facts.soil_nitrate
    saw = f"{ppm:g} ppm NO3-N on {short_day(on)}; threshold {limit.value:g}"
    if facts.soil_rain is not None:
        saw = f"{saw}; leaching rain on {short_day(facts.soil_rain)}"
        return quiet(limit, saw, "Leaching rain fell after the soil test, so it says nothing any more.", draft)
    if ppm <= limit.value:
        draft = draft._replace(soil_state=SoilState.BELOW)
        return quiet(limit, saw, "Soil nitrate is not above its threshold.", draft)
    draft = draft._replace(soil_state=SoilState.ABOVE)
    return fires(limit, saw, "The soil holds more nitrate than the threshold.", draft)


def weighed_together(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """The deciding result beside leaf, soil, supply and field: full step, half or none, by the policy's table."""
    found = draft.comparison
    if draft.direction == 0 and (found is None or found.sure is not Side.WITHIN):
        why = "No change is called for, so there is nothing to weigh."
        return quiet(OWN_RULE, "no step called for", why, draft)
    cell = draft.cell(_PETIOLE_STATE[draft.direction])
    row = policy.row_for(cell)
    rows = holding_rows(policy, cell) if row.step == "hold" and draft.direction else [row]
    tissue = "petiole" if facts.primary is None else facts.primary.tissue.value
    parts = (
        f"{tissue} {cell.petiole}{' (trend)' if draft.early else ''}",
        "no leaf beside it" if cell.leaf is LeafState.NONE else f"leaf {cell.leaf}",
        "no soil test" if cell.soil is SoilState.NONE else f"soil nitrate {cell.soil} its threshold",
        f"supply {cell.supply}",
        f"{'root trouble' if cell.seen is SeenState.ROOTS else cell.seen} seen",
        f"row {', '.join(item.id for item in rows)}",
    )
    saw = ", ".join(parts)
    reasons = "; also, ".join(item.reason for item in rows)
    why = f"{_BESIDE[draft.early]}{reasons}: {_step_words(row, draft)}."
    why = f"{why[:1].upper()}{why[1:]}"
    shipped = [item for item in rows if item.shipped is None]
    sooner = any(item.resample for item in shipped)
    draft = draft._replace(
        share={"full": 1.0, "half": policy.half_step.value, "hold": 0.0}[row.step],
        resample=draft.resample or sooner,
        to_do=(*draft.to_do, *(item.to_do for item in shipped if item.to_do)),
    )
    backing = backed_by(*rows, evidence=max((item.evidence for item in rows), key=_WEAKNESS.index))
    tail = ", sample sooner" if sooner else ""
    if draft.direction == 0:
        return fires(backing, saw, why, draft, f"hold{tail}") if sooner else quiet(backing, saw, why, draft)
    if row.step == "full" or (draft.early and row.step == "half"):
        return quiet(backing, saw, why, draft)
    return fires(backing, saw, why, draft, f"full step -> {'half step' if row.step == 'half' else f'hold{tail}'}")


def holding_rows(policy: Policy, cell: Cell) -> list[CrossCheckRow]:
    """The rows that let no step through in a cell, each of which would do so without the ones before it."""
    return list(takewhile(lambda row: row.step == "hold", filter(lambda row: row.fits(cell), policy.cross_check)))


def _step_words(row: CrossCheckRow, draft: Draft) -> str:
    if row.step == "hold":
        return "no step"
    if draft.early:
        return "the early step is small already and is taken whole"
    return "half a step" if row.step == "half" else "a full step"


def results_in_a_row(facts: Facts, policy: Policy, draft: Draft) -> int:
    """Results of the deciding kind on the side that calls for the step, counted back from the deciding one.

    Each by its value, and each from a sample far enough from the next: two samples of one week are no run.
    """
    side = Side(-draft.direction)
    if facts.primary is None or draft.comparison is None or draft.comparison.side is not side:
        return 0
    run, last = 1, facts.primary.sampled
    for on, _ in takewhile(lambda item: item[1] is side, reversed(facts.earlier)):
        if (last - on).days >= policy.apart_days.value:
            run, last = run + 1, on
    return run


def twice_in_a_row(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A second change the same way needs results in a row on that side."""
    needed = policy.results_for_second_change
    shift = facts.last_shift
    if draft.direction == 0 or shift is None or shift.direction != draft.direction:
        return quiet(needed, "no second change the same way", "This would be no repeated change.", draft)
    side = Side(-draft.direction)
    run = results_in_a_row(facts, policy, draft)
    saw = f"results in a row {'below' if side is Side.BELOW else 'above'}: {run}; {needed.value:g} asked for"
    if run >= needed.value:
        return quiet(needed, saw, "Enough results in a row lie on that side.", draft)
    word = "raise" if draft.direction > 0 else "cut"
    names = (*(draft.no_raise if draft.direction > 0 else draft.no_cut), "twice in a row")
    draft = draft._replace(no_raise=names) if draft.direction > 0 else draft._replace(no_cut=names)
    draft = draft._replace(resample=True)
    why = f"One {word} was made already; a second needs {needed.value:g} results in a row on that side."
    return fires(needed, saw, why, draft, f"no further {word} allowed")
