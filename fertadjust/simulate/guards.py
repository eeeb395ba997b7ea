"""The guards of the rules, and how each is left out to see what it is good for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from fertadjust.errors import Fault, UserError
from fertadjust.rules.policy import OVERRIDABLE, ROW_VALUES, Policy, with_overrides
from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import ByTheRules
from fertadjust.simulate.loop import Setup
from fertadjust.simulate.runs import Way


@dataclass(frozen=True, slots=True)
class Guard:
    """One guard.

    Attributes:
        name: its key.
        words: what it is, in a grower's words.
        rules: rules of the engine that are left out with it.
        policy: policy values that take it out.
        open_bounds, open_cap: whether floor and ceiling go, and the season cap.
    """

    name: str
    words: str
    rules: frozenset[str] = frozenset()
    policy: Mapping[str, Any] = field(default_factory=dict)
    open_bounds: bool = False
    open_cap: bool = False


GUARDS: Final = (
    Guard("confidence", "acting only on a result that is clear", policy={"confidence": 0.5}),
    Guard("stage in doubt", "holding where the stage may be wrong", frozenset({"stage in doubt"})),
    Guard("too soon", "waiting until the last change shows", frozenset({"too soon"})),
    Guard("twice in a row", "a second change only on a second result", frozenset({"twice in a row"})),
    Guard("missed applications", "restoring the plan first", frozenset({"missed applications"})),
    Guard("leaching rain", "weighing rain that was noted", frozenset({"leaching rain"})),
    Guard("heading out", "the early step on a trend", frozenset({"heading out"})),
    Guard("after recovery", "going back towards plan", frozenset({"after recovery"})),
    Guard("late season", "no raise late in the season", policy={"no_raise_after_week": 100}),
    Guard("floor and ceiling", "floor and ceiling", open_bounds=True),
    Guard("season cap", "the season cap", open_cap=True),
)
"""The guards whose part in a season is looked into; what else holds a step back runs every time."""

_WIDE_LB_AC = 1000.0


def guards_of(policy: Policy) -> list[Guard]:
    """The guards that a policy has: one that works by a figure it lacks is none of them."""
    return [
        guard
        for guard in GUARDS
        if not guard.policy or any(getattr(policy, name) is not None for name in guard.policy)
    ]


def with_values(policy: Policy, values: Mapping[str, Any]) -> Policy:
    """A policy with some values replaced, checked as a season file's own values are.

    Raises:
        UserError: a name that the policy does not have.
        pydantic.ValidationError: a value that it does not allow.
    """
    present = policy.model_dump(by_alias=True)
    there = [name for name in (*OVERRIDABLE, *ROW_VALUES) if present.get(name) is not None]
    unknown = [name for name in values if name not in there]
    if unknown:
        raise UserError(Fault(f"is no policy value; there are: {', '.join(there)}", key=unknown[0]))
    return Policy.model_validate(with_overrides(present, values))


def with_policy(setup: Setup, policy: Policy) -> Setup:
    """The same seasons under another policy."""
    return replace(setup, season=replace(setup.season, policy=policy))


def without(setup: Setup, guard: Guard) -> Way:
    """The rules without one guard, on the same seasons and held to the same bounds and cap."""
    season: BlockSeason = setup.season
    plan = season.plan
    if guard.policy:
        season = replace(season, policy=with_values(season.policy, guard.policy))
    if guard.open_bounds:
        season = replace(season, plan=replace(plan, floor_lb_ac=0.0, ceiling_lb_ac=_WIDE_LB_AC))
    if guard.open_cap:
        season = replace(season, plan=replace(plan, cap_lb_ac=None))
    return Way(f"without {guard.name}", replace(setup, season=season), ByTheRules(guard.rules), held_to=plan)
