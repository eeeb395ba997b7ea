"""What result would change the advice: the edges are searched for on the real engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, Flip
from fertadjust.rules.policy import Policy

_SPAN = 100.0
_HALF_POINTS = 40
_HALVINGS = 40


def flips(facts_at: Callable[[float], Facts], policy: Policy, value: float, here: Action) -> tuple[Flip, ...]:
    """Results at which the action becomes another, below and above the range that leads to the present one.

    Args:
        facts_at: the facts as they would be if the deciding reading had another value and were no bound.
        policy: the policy.
        value: the present reading, above zero.
        here: the present action.

    The search runs from 1/100 to 100 times the value. An edge is given to about one part in 10^9.
    """
    steps = [value * _SPAN ** (k / _HALF_POINTS) for k in range(-_HALF_POINTS, _HALF_POINTS + 1)]
    actions = [evaluate(facts_at(step), policy).action for step in steps]
    found = []
    for (low, before), (high, after) in pairwise(zip(steps, actions, strict=True)):
        if before is after or here not in (before, after):
            continue
        edge = _edge(facts_at, policy, low, high)
        found.append(Flip(edge, after, True) if before is here else Flip(edge, before, False))
    return tuple(found)


def _edge(facts_at: Callable[[float], Facts], policy: Policy, low: float, high: float) -> float:
    """The value between two at which the action changes, by halving the ratio."""
    before = evaluate(facts_at(low), policy).action
    for _ in range(_HALVINGS):
        middle = math.sqrt(low * high)
        if evaluate(facts_at(middle), policy).action is before:
            low = middle
        else:
            high = middle
    return high
