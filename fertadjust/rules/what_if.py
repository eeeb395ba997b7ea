"""What result would change the advice: the edges are searched for on the real engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, Flip
from fertadjust.rules.policy import Policy

_SPAN = 100.0
_STEPS = 24
_HALVINGS = 36


def flips(facts_at: Callable[[float], Facts], policy: Policy, value: float, here: Action) -> tuple[Flip, ...]:
    """Results at which the action becomes another, below and above the range that leads to the present one.

    Args:
        facts_at: the facts as they would be if the deciding reading had another value and were no bound.
        policy: the policy.
        value: the present reading, above zero.
        here: the present action.

    The search runs from 1/100 to 100 times the value in steps of a fifth, and halves its way to every change of
    action between two steps, to about one part in 10^11. A bound may lead to another action than a measured value
    of the same size, so the present value is not taken to be inside the range.
    """

    def action(at: float) -> Action:
        return evaluate(facts_at(at), policy).action

    steps = [value * _SPAN ** (k / _STEPS) for k in range(-_STEPS, _STEPS + 1)]
    actions = [action(step) for step in steps]
    found = []
    for (low, before), (high, after) in pairwise(zip(steps, actions, strict=True)):
        while before is not after:
            edge, there = _edge(action, (low, before), (high, after))
            if before is here:
                found.append(Flip(edge, there, True))
            elif there is here:
                found.append(Flip(edge, before, False))
            low, before = edge, there
    return tuple(found)


def _edge(
    action: Callable[[float], Action], first: tuple[float, Action], last: tuple[float, Action]
) -> tuple[float, Action]:
    """The first value between two at which the action is no longer that of the first, and the action there."""
    (low, before), (high, after) = first, last
    for _ in range(_HALVINGS):
        middle = math.sqrt(low * high)
        there = action(middle)
        if there is before:
            low = middle
        else:
            high, after = middle, there
    return high, after
