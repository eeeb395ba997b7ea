"""The linear programs behind a blend: bounds on what a mix holds as rows, and the solver.

Weights inside a program are multiples of one scale and each row is divided by its own bound, so that the solver's
tolerances mean the same for a garden and for a thousand acres.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from fertadjust.errors import FertadjustError

SOLVER_TOLERANCE: Final = 1e-9
"""How far a row may be missed, as a part of its bound (project rule)."""

SMALLEST_BOUND: Final = 1e-6
"""A bound below this part of the scale is held as exactly as one of this size (project rule)."""

INFEASIBLE: Final = 2
"""The solver's status of a program that nothing satisfies."""


class Row(NamedTuple):
    """The sum of coefficients times columns is at most a number."""

    coefficients: tuple[float, ...]
    most: float

    def padded(self, before: int, width: int) -> Row:
        """The same row among more columns: how many come before it and how many there are."""
        after = width - before - len(self.coefficients)
        return Row((0.0,) * before + self.coefficients + (0.0,) * after, self.most)


@dataclass(frozen=True, slots=True)
class Bound:
    """One thing that a mix has to keep.

    Attributes:
        what: what is bounded: "K2O", or "of potassium nitrate" for the weight of a product.
        per_lb: for each product, how much of it comes with one pound [lb].
        least: whether the amount is the least, otherwise it is the most.
        amount_lb: the amount [lb], per area or in all as the targets are.
    """

    what: str
    per_lb: tuple[float, ...]
    least: bool
    amount_lb: float

    @property
    def sign(self) -> float:
        return -1.0 if self.least else 1.0

    def row(self, scale_lb: float) -> Row:
        """The bound on weights in multiples of a scale [lb], divided by itself, or by the scale where it is 0."""
        amount = self.amount_lb / scale_lb
        size = max(amount, SMALLEST_BOUND) if amount > 0 else 1.0
        return Row(tuple(self.sign * part / size for part in self.per_lb), self.sign * amount / size)


def scale_of(bounds: Sequence[Bound]) -> float:
    """The scale of a program [lb]: the largest least amount, which some mix has to reach."""
    return max((bound.amount_lb for bound in bounds if bound.least), default=0.0) or 1.0


def minimise(cost: Sequence[float], rows: Sequence[Row]) -> list[float] | None:
    """The columns, none below 0, that keep all rows at the least cost; None when nothing keeps them.

    Raises:
        FertadjustError: the solver came to no end.
    """
    from scipy.optimize import linprog

    found = linprog(
        list(cost),
        A_ub=[list(row.coefficients) for row in rows] or None,
        b_ub=[row.most for row in rows] or None,
        method="highs",
        options={
            "primal_feasibility_tolerance": SOLVER_TOLERANCE,
            "dual_feasibility_tolerance": SOLVER_TOLERANCE,
        },
    )
    return _columns(found.status, found.x, found.message)


def minimise_in_packages(cost: Sequence[float], rows: Sequence[Row], whole: Sequence[bool]) -> list[float] | None:
    """As `minimise`, with columns that take whole numbers only, where ``whole`` says so.

    Rows and whole numbers are kept within a millionth, the solver's tolerance, which cannot be set.
    """
    import numpy as np
    from scipy.optimize import LinearConstraint, milp

    kept = LinearConstraint([list(row.coefficients) for row in rows], ub=[row.most for row in rows])
    found = milp(
        list(cost), integrality=np.array(whole, dtype=int), constraints=kept, options={"mip_rel_gap": 0.0}
    )
    return _columns(found.status, found.x, found.message)


def _columns(status: int, values: Iterable[float] | None, message: str) -> list[float] | None:
    if status == INFEASIBLE:
        return None
    if values is None or status != 0:
        raise FertadjustError(f"the blend could not be computed: {message}")
    return [max(0.0, float(value)) for value in values]


def feasible(bounds: Sequence[Bound], products: int) -> bool:
    """Whether some mix of a number of products keeps all bounds."""
    scale_lb = scale_of(bounds)
    return minimise([0.0] * products, [bound.row(scale_lb) for bound in bounds]) is not None


def nearest_amount_lb(bound: Bound, kept: Sequence[Bound]) -> float | None:
    """What can be reached of a bound when others are kept [lb]: the most of a least, the least of a most.

    None when the others cannot be kept themselves.
    """
    scale_lb = scale_of([*kept, bound])
    weights = minimise([bound.sign * part for part in bound.per_lb], [other.row(scale_lb) for other in kept])
    if weights is None:
        return None
    return scale_lb * sum(part * weight for part, weight in zip(bound.per_lb, weights, strict=True))
