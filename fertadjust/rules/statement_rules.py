"""What publications say on an occasion, told where the occasion is there. None of it changes the nitrogen."""

from __future__ import annotations

from fertadjust.compare import Side
from fertadjust.observations import Sight
from fertadjust.rules.facts import Draft, Facts, Outcome, fires, quiet
from fertadjust.rules.policy import Policy
from fertadjust.rules.published import Statement


def statement(facts: Facts, policy: Policy, item: Statement, draft: Draft) -> Outcome:
    """Tell a published statement on its occasion; one for the whole season stands in the trace only."""
    if item.when == "always":
        return quiet(item, "said for the whole season", f"{item.text}.", draft)
    saw = f"said for: {item.when}"
    if not _there(facts, policy, item, draft):
        return quiet(item, saw, "Its occasion is not there.", draft)
    return fires(item, saw, f"{item.text}.", draft, "note only")


def _there(facts: Facts, policy: Policy, item: Statement, draft: Draft) -> bool:
    side = None if draft.comparison is None else draft.comparison.side
    stop = policy.stop_after_week
    return {
        "low": side is Side.BELOW,
        "high": side is Side.ABOVE,
        "leaching rain": any(seen.sight is Sight.LEACHING_RAIN for seen in facts.observations),
        "past the last week of feeding": stop is not None and facts.week is not None and facts.week > stop.value,
    }[item.when]
