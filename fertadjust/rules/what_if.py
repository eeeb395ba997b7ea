"""What result would change the advice: the edges are searched for on the real engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, Flip
from fertadjust.rules.policy import Policy

_SPAN = 100.0
_POINTS = 41
_HALVINGS = 40


def flips(facts_at: Callable[[float], Facts], policy: Policy, value: float) -> tuple[Flip, ...]:
    """Results nearest to the present one, downwards and upwards, at which the action becomes another.

    Args:
        facts_at: the facts as they would be if the deciding reading had another value.
        policy: the policy.
        value: the present reading, above zero.

    The search runs from 1/100 to 100 times the value. An edge is given to about one part in 10^9.
    """
    found = []
    for direction in (-1, 1):
        steps = [value * _SPAN ** (direction * k / (_POINTS - 1)) for k in range(_POINTS)]
        here = _action(facts_at, policy, value)
        for near, far in pairwise(steps):
            other = _action(facts_at, policy, far)
            if other is not here:
                found.append(Flip(_edge(facts_at, policy, near, far, here), other, direction > 0))
                break
    return tuple(found)


def _action(facts_at: Callable[[float], Facts], policy: Policy, value: float) -> Action:
    return evaluate(facts_at(value), policy).action


def _edge(facts_at: Callable[[float], Facts], policy: Policy, near: float, far: float, here: Action) -> float:
    for _ in range(_HALVINGS):
        middle = math.sqrt(near * far)
        if _action(facts_at, policy, middle) is here:
            near = middle
        else:
            far = middle
    return far
