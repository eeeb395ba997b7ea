"""Rules that set the size of a change: raise, cut, and what follows a recovery."""

from __future__ import annotations

from collections.abc import Sequence

from fertadjust.compare import Side, Status, position
from fertadjust.evidence import Evidence
from fertadjust.rules.amount_rules import amount_applies, amount_given, amount_step
from fertadjust.rules.cross_rules import holding_rows, results_in_a_row
from fertadjust.rules.cross_table import LeafState, PetioleState
from fertadjust.rules.facts import (
    OWN_RULE,
    Backed,
    Draft,
    Facts,
    Outcome,
    backed_by,
    fires,
    quiet,
)
from fertadjust.rules.policy import Figure, Policy, Recovery
from fertadjust.rules.sizes import Sized, distance, grown, persistent_from
from fertadjust.tissue import Tissue

_TINY = 1e-9


def recovered_factor(facts: Facts, policy: Policy, draft: Draft) -> float:
    """Factor that the recovery rule sets: the present one, or one nearer to 1 where nothing bars the return."""
    due = _return_due(facts, policy, draft)
    return facts.factor if due == facts.factor or _return_barred(policy, draft, facts.factor) else due


def _return_due(facts: Facts, policy: Policy, draft: Draft) -> float:
    """Factor that the position in the band calls for on the way back to plan.

    Far enough into the band on the side of the earlier change, "ease" takes part of it back, and past the band's
    edge all of it; "plan" returns to 1 anywhere in the band, and so does an amount that a publication gives for a
    time. It has to hold at the stages beside it as well. Fresh and settled samples only.
    """
    factor, choice = facts.factor, policy.after_recovery.value
    if factor > 1.0 and amount_given(policy):
        choice = Recovery.PLAN
    found = draft.comparison
    if factor == 1.0 or found is None or found.position is None or not (draft.fresh and draft.settled):
        return factor
    if choice is Recovery.KEEP:
        return factor
    reach = min(place if factor > 1.0 else 1.0 - place for place in _positions(facts))
    if choice is Recovery.PLAN:
        return 1.0 if reach >= 0 else factor
    if reach < policy.ease_from.value:
        return factor
    if reach > 1.0:
        return 1.0
    eased = 1.0 + (factor - 1.0) * (1.0 - policy.ease_share.value)
    return 1.0 if abs(eased - 1.0) < policy.near_plan.value else eased


def _positions(facts: Facts) -> list[float]:
    """Positions of the deciding reading in its band and in those of the stages beside it."""
    reading = facts.primary
    assert reading is not None
    bands = (reading.band, *reading.beside)
    edges = [(band.low, band.high) for band in bands]
    return [position(reading.value, low, high) for low, high in edges if low is not None and high is not None]


def _return_barred(policy: Policy, draft: Draft, factor: float) -> str:
    """What bars a return towards plan, or "".

    The cross-check table, where it lets no raise (no cut) through; upwards what else bars a raise, but for the
    wait for a second result, which is about raises; downwards a band from memory, unless what ends is an amount
    that a publication gives for a time: not to give it again is no cut.
    """
    up = factor < 1.0
    names = [name for name in draft.no_raise if name != "twice in a row"] if up else []
    if not up and not amount_given(policy):
        names += [name for name in draft.no_cut if name == "recalled band"]
    rows = holding_rows(policy, draft.cell(PetioleState.LOW if up else PetioleState.HIGH))
    return ", ".join([*names, *(row.id for row in rows)])


def raise_rate(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """The size of a raise, growing with the distance below the band."""
    if draft.direction <= 0:
        return quiet(policy.raise_first, "no raise called for", "The results call for no raise.", draft)
    if draft.no_raise or draft.share == 0:
        by = ", ".join(draft.no_raise) or "weighed together"
        return quiet(policy.raise_first, f"held back by: {by}", "Other rules hold the raise back.", draft)
    smallest = policy.smallest_step
    if draft.early:
        return _step(facts, policy, draft, smallest.value, "early step on the trend", smallest)
    if amount_applies(facts, policy, draft):
        return _amount_step(facts, policy, draft)
    step, backing, saw = _shared(_raise_step(facts, policy, draft), policy, draft)
    return _step(facts, policy, draft, step, saw, backing)


def _amount_step(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A raise by the amount that a publication adds to the plan on a low result."""
    full = amount_step(facts, policy, draft)
    if full is None:
        why = "The plan feeds nothing in the coming weeks, so no published amount can be spread over them."
        assert policy.corrective_most is not None
        return quiet(policy.corrective_most, "nothing is fed in the coming weeks", why, draft)
    if full[0] <= _TINY:
        note = (
            "The crop is low with the published amount in force: look for another cause (water, roots, leaching)."
        )
        why = "The published amount is in force already, so the rate is not raised beyond it."
        return quiet(full[1], full[2], why, draft._replace(to_do=(*draft.to_do, note)))
    step, backing, saw = _shared(full, policy, draft)
    return _step(facts, policy, draft, step, saw, backing)


def _raise_step(facts: Facts, policy: Policy, draft: Draft) -> Sized:
    """Size of a full raise, what stands behind it, and what it was made from."""
    assert draft.comparison is not None and facts.primary is not None
    first, largest, leaf = policy.raise_first, policy.raise_largest, policy.leaf_low_raise
    if facts.primary.tissue is Tissue.LEAF:
        return _largest([(leaf.value, leaf, "leaf nitrogen below its band")], largest)
    width = distance(facts.primary, policy)
    step = grown(first.value, largest.value, policy.raise_largest_at.value, width)
    saw = f"{width:.2f} band widths below the band"
    candidates: list[Sized] = []
    if draft.leaf_state is LeafState.LOW:
        candidates.append((leaf.value, leaf, f"{saw}, leaf nitrogen low as well"))
    if draft.comparison.status is Status.DEFICIENT:
        candidates.append((largest.value, largest, f"{saw}, deficient"))
    figure, run = policy.raise_persistent, results_in_a_row(facts, policy, draft)
    if run >= persistent_from(policy):
        candidates.append((figure.value, figure, f"{saw}, {run} low results in a row"))
    candidates.append(
        (step, largest if step >= largest.value else backed_by(first, largest, policy.raise_largest_at), saw)
    )
    return _largest(candidates, largest)


def cut_rate(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """The size of a cut, growing with the distance above the band. No publication gives a number."""
    figure = policy.cut_largest
    if draft.direction >= 0:
        return quiet(figure, "no cut called for", "The results call for no cut.", draft)
    if facts.factor <= 0:
        return quiet(figure, "nothing is fed", "Nothing is being fed, so there is nothing to cut.", draft)
    if draft.no_cut or draft.share == 0:
        by = ", ".join(draft.no_cut) or "weighed together"
        return quiet(figure, f"held back by: {by}", "Other rules hold the cut back.", draft)
    smallest = policy.smallest_step
    if draft.early:
        return _step(facts, policy, draft, -smallest.value, "early step on the trend", smallest)
    step, backing, saw = _shared(_cut_step(facts, policy, draft), policy, draft)
    return _step(facts, policy, draft, -step, saw, backing)


def _cut_step(facts: Facts, policy: Policy, draft: Draft) -> Sized:
    """Size of a full cut on a high petiole, what stands behind it, and what it was made from."""
    assert draft.comparison is not None and facts.primary is not None
    largest = policy.cut_largest
    width = distance(facts.primary, policy)
    step = grown(policy.cut_first.value, largest.value, policy.cut_largest_at.value, width)
    saw = f"{width:.2f} band widths above the band"
    candidates: list[Sized] = []
    if draft.comparison.status is Status.EXCESS:
        candidates.append((largest.value, largest, f"{saw}, excess"))
    figure, run = policy.cut_persistent, results_in_a_row(facts, policy, draft)
    if run >= persistent_from(policy):
        candidates.append((figure.value, figure, f"{saw}, {run} high results in a row"))
    backing = largest if step >= largest.value else backed_by(policy.cut_first, largest, policy.cut_largest_at)
    candidates.append((step, backing, saw))
    return _largest(candidates, largest)


def _shared(full: Sized, policy: Policy, draft: Draft) -> Sized:
    """The share of a full step that the cross-check table allows, no less than the smallest step."""
    step, backing, saw = full
    if draft.share == 1.0:
        return full
    least = policy.smallest_step
    saw = f"{saw}; {draft.share:g} of {100 * step:.0f} %, no less than {100 * least.value:.0f} %"
    word = Evidence.RECALLED if backing.evidence is Evidence.RECALLED else Evidence.PROJECT_RULE
    return max(step * draft.share, least.value), backed_by(backing, policy.half_step, least, evidence=word), saw


def _largest(candidates: Sequence[Sized], bound: Figure) -> Sized:
    """The largest of several steps, no larger than the largest at one time."""
    step, backing, saw = max(candidates, key=lambda item: item[0])
    return (step, backing, saw) if step <= bound.value else (bound.value, bound, saw)


def _step(facts: Facts, policy: Policy, draft: Draft, step: float, saw: str, figure: Backed) -> Outcome:
    """Take a step [share of the rate, below zero for a cut], or take back a change that does not show yet."""
    raising = step > 0
    back = _taken_back(facts, policy, draft)
    ran_out = facts.last_shift is not None and facts.last_shift.ran_out and amount_given(policy)
    if back is not None and not (raising and ran_out):
        size = _size(facts, back, raising)
        why = f"The sample shows the rate before the last change, so that one is taken back: {size}."
        return _to(facts, draft, back, saw, OWN_RULE, why)
    stopped = facts.factor <= 0
    stepped = 1.0 if stopped and raising else facts.factor * (1.0 + step)
    recovered = recovered_factor(facts, policy, draft)
    factor = max(stepped, recovered) if raising else min(stepped, recovered)
    why = f"The results call for {_size(facts, factor, raising)}."
    returns = factor != stepped
    plain = not (draft.early or stopped or returns)
    if plain and draft.share < 1.0:
        why += " That is half a step, which is this program's own rule."
    elif plain and raising and figure.evidence is Evidence.PROJECT_RULE:
        why += " It lies between the published steps; how it grows with the distance is this program's own rule."
    elif plain and raising and figure.evidence is Evidence.RECALLED:
        why += " The size is written from memory: check it before you rely on it."
    if not raising:
        whose = "set in the season file" if figure.evidence is Evidence.OWN else "this program's own rule"
        why += f" The size is {whose}: no publication gives a number for a cut."
    if returns:
        why += " It goes as far as the return towards plan, which is the larger of the two."
    return _to(facts, draft, factor, saw, figure, why)


def _size(facts: Facts, factor: float, raising: bool) -> str:
    name = "raise" if raising else "cut"
    if facts.factor <= 0:
        return f"a {name} from nothing back to plan"
    return f"a {name} of {100 * abs(factor / facts.factor - 1):.0f} % on the rate in force"


def _to(facts: Facts, draft: Draft, factor: float, saw: str, backing: Backed, why: str) -> Outcome:
    name = "raise" if draft.direction > 0 else "cut"
    change = f"factor {facts.factor:.2f} -> {factor:.2f}"
    return fires(backing, saw, why, draft._replace(factor=factor, sought=factor, moved_by=name), change)


def _taken_back(facts: Facts, policy: Policy, draft: Draft) -> float | None:
    """The factor before the last change, where the sample came too soon to show it and calls for the opposite.

    No further than the largest step at one time. None where there is nothing to take back: a change that floor or
    ceiling kept from acting is no change, and the sample shows the present rate.
    """
    shift = facts.last_shift
    if draft.settled or shift is None or shift.direction == draft.direction:
        return None
    if (shift.before - facts.factor) * draft.direction <= _TINY:
        return None
    if draft.direction > 0:
        return min(shift.before, facts.factor * (1.0 + policy.raise_largest.value))
    return max(shift.before, facts.factor * (1.0 - policy.cut_largest.value))


def after_recovery(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Back in the band at a changed rate: keep it, ease back, or return to plan, as the policy says."""
    choice = policy.after_recovery
    if facts.factor == 1.0:
        return quiet(choice, "the plan's own rate is in force", "There is no change to take back.", draft)
    if draft.moved_by:
        return quiet(choice, "a step was taken", "The step above already counts from the changed rate.", draft)
    saw = f"factor {facts.factor:.2f} in force"
    if draft.comparison is None or draft.comparison.position is None:
        return quiet(choice, saw, "There is no position in the band to judge a recovery by.", draft)
    saw += f", position {draft.comparison.position:.2f}"
    if not draft.fresh:
        return quiet(choice, saw, "The sample is too old to judge a recovery by.", draft)
    if not draft.settled:
        return quiet(choice, saw, "The sample cannot show the changed rate yet.", draft)
    factor = recovered_factor(facts, policy, draft)
    if factor == facts.factor and _return_due(facts, policy, draft) != factor:
        why = "What holds a step back holds the return towards plan back as well."
        return quiet(choice, f"{saw}; held back by: {_return_barred(policy, draft, factor)}", why, draft)
    if factor == facts.factor:
        return quiet(choice, saw, f'The changed rate is kept ("{choice.value.value}").', draft)
    how = f'"{choice.value.value}"'
    if facts.factor > 1.0 and amount_given(policy):
        how = "a published amount is not given again once the crop is not low"
    back = "back to plan" if factor == 1.0 else "part of the way back to plan"
    shows = "has come back far enough" if facts.factor > 1.0 else "no longer shows more than it needs"
    if draft.comparison.side is Side.BELOW:
        shows = "is below its band at a rate that was cut"
    elif draft.comparison.side is Side.ABOVE:
        shows = "is above its band at a rate that was raised"
    why = f"The crop {shows}, so the rate goes {back} ({how})."
    draft = draft._replace(factor=factor, sought=factor, moved_by="after recovery")
    return fires(choice, saw, why, draft, f"factor {facts.factor:.2f} -> {factor:.2f}")
