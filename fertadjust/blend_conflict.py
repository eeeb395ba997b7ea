"""Why no mix meets all targets: which of them cannot hold together, and what would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fertadjust.blend_program import Bound, feasible, nearest_amount_lb
from fertadjust.errors import Fault
from fertadjust.units import UnitSystem

SHOWN_DIGITS: Final = 4
"""Significant digits of an amount that would do."""


@dataclass(frozen=True, slots=True)
class Wording:
    """How amounts are told.

    Attributes:
        units: the grower's units.
        per_area: whether amounts are per area, otherwise they are in all.
    """

    units: UnitSystem = UnitSystem.US
    per_area: bool = False

    @property
    def unit(self) -> str:
        return f"{self.units.weight_unit}/{self.units.area_unit}" if self.per_area else self.units.weight_unit

    def out(self, lb: float) -> float:
        """An amount [lb, or lb/ac] in the grower's unit."""
        return self.units.rate_out(lb) if self.per_area else self.units.weight_out(lb)

    def amount(self, lb: float, what: str) -> str:
        """An amount of something, for example "20 lb/ac K2O"."""
        return f"{self.out(lb):.6g} {self.unit} {what}"

    def bound(self, bound: Bound) -> str:
        """A bound as it was asked for, for example "at least 20 lb K2O"."""
        return f"at {'least' if bound.least else 'most'} {self.amount(bound.amount_lb, bound.what)}"

    def would_do(self, bound: Bound, reached_lb: float) -> str:
        """What could be asked for in place of a bound, rounded to the side that holds."""
        value = _rounded(self.out(reached_lb), up=not bound.least)
        if value <= 0:
            return f"no {bound.what} asked for" if bound.least else f"no {bound.what}"
        return f"{value:.6g} {self.unit} {bound.what} or {'less' if bound.least else 'more'}"


def conflict(bounds: Sequence[Bound], products: int) -> list[Bound]:
    """Bounds that no mix keeps together, none of which could be left out (a deletion filter).

    Args:
        bounds: bounds that no mix of the products keeps together.
        products: number of products.
    """
    kept = list(bounds)
    for bound in bounds:
        others = [other for other in kept if other is not bound]
        if not feasible(others, products):
            kept = others
    return kept


def conflicts(bounds: Sequence[Bound], products: int) -> list[list[Bound]]:
    """Conflicts that share no bound, as many as there are, each as small as `conflict` makes it."""
    found = []
    left = list(bounds)
    while not feasible(left, products):
        found.append(conflict(left, products))
        left = [bound for bound in left if not any(bound is named for named in found[-1])]
    return found


def explanation(bounds: Sequence[Bound], products: int, wording: Wording) -> list[Fault]:
    """Each conflict, and for each bound in it what would do in its place.

    A proposal keeps all other bounds where that is possible, otherwise the others of its conflict.

    Args:
        bounds: bounds that no mix of the products keeps together.
        products: number of products.
        wording: how amounts are told.
    """
    return [Fault(_told(named, bounds, wording)) for named in conflicts(bounds, products)]


def _told(named: Sequence[Bound], bounds: Sequence[Bound], wording: Wording) -> str:
    with_rest, alone = [], []
    for bound in named:
        reached_lb = nearest_amount_lb(bound, [other for other in bounds if other is not bound])
        if reached_lb is not None:
            with_rest.append(wording.would_do(bound, reached_lb))
            continue
        reached_lb = nearest_amount_lb(bound, [other for other in named if other is not bound])
        if reached_lb is not None:
            alone.append(wording.would_do(bound, reached_lb))
    told = f"no mix does it: these cannot hold together: {', '.join(map(wording.bound, named))}"
    if with_rest:
        told += f". With the rest kept, {_one_of(with_rest)}"
    if alone:
        told += f". To settle this conflict, though there are others, {_one_of(alone)}"
    return told


def _one_of(proposals: Sequence[str]) -> str:
    return f"{proposals[0]} would do" if len(proposals) == 1 else f"one of these would do: {'; '.join(proposals)}"


def _rounded(value: float, *, up: bool) -> float:
    """A number of 0 or more to `SHOWN_DIGITS`, up or down.

    >>> (_rounded(5.9091, up=True), _rounded(5.9091, up=False))
    (5.91, 5.909)
    """
    if value < 1e-9:
        return 0.0
    decimals = SHOWN_DIGITS - 1 - math.floor(math.log10(value))
    steps = value * 10.0**decimals
    return (math.ceil(steps - 1e-6) if up else math.floor(steps + 1e-6)) / 10.0**decimals
