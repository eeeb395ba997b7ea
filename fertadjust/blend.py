"""The blend by target: weights of products that bring the nutrients asked for, at the least cost or weight."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from fertadjust.blend_conflict import Wording, explanation
from fertadjust.blend_program import Row, feasible, minimise, minimise_in_packages, scale_of
from fertadjust.blend_targets import Target, check, limit_bound, target_bounds
from fertadjust.errors import Fault, UserError
from fertadjust.products import Product, ProductAmount, amount_of, nitrogen_in, total_nutrients
from fertadjust.purchase import PACKAGE_TOLERANCE, packages_for
from fertadjust.units import UnitSystem

LEAST_COST: Final = "least cost"
LEAST_WEIGHT: Final = "least weight"

COST_SCALE: Final = 1e4
"""What the dearest pound counts for, so that a tie is still seen above the solver's tolerance (project rule)."""

TIE: Final = 1e-4
"""What a pound counts for beside its cost: of equal costs the lighter mix is taken (project rule)."""

TRACE: Final = 1e-9
"""A weight below this part of the largest amount asked for is none (project rule)."""

NO_MISS: Final = 1e-7
"""A target missed by less than this part is met (project rule)."""


class Miss(NamedTuple):
    """A target that the nearest mix misses.

    Attributes:
        nutrient: the nutrient.
        wanted_lb: the bound that is missed [lb].
        got_lb: what the mix holds [lb].
    """

    nutrient: str
    wanted_lb: float
    got_lb: float


@dataclass(frozen=True, slots=True)
class Blend:
    """Weights of products that meet targets, or come nearest.

    Attributes:
        parts: the products with their weights, in the order given; those of no weight are left out.
        nutrients_lb: nutrient -> what the parts hold together [lb]. A label guarantees a minimum, so this is one.
        objective: "least cost", or "least weight" where no product has a price.
        cost: price of what has to be bought beyond the stock on hand, None for the least weight.
        bought_lb: product -> weight to buy [lb], only those of which there is any.
        packages: product -> whole packages to buy, only where whole packages were asked for.
        misses: targets that are missed, only of the nearest mix.
    """

    parts: tuple[ProductAmount, ...]
    nutrients_lb: dict[str, float]
    objective: str
    cost: float | None
    bought_lb: dict[str, float]
    packages: dict[str, int]
    misses: tuple[Miss, ...] = ()

    @property
    def shares(self) -> dict[str, float]:
        """Product -> share of the blend's nitrogen; products without nitrogen are in `beside_lb`."""
        n_lb = {part.product.name: nitrogen_in(part.product, part.weight_lb) for part in self.parts}
        total_lb = sum(n_lb.values())
        return {name: lb / total_lb for name, lb in n_lb.items() if lb > 0}

    @property
    def beside_lb(self) -> dict[str, float]:
        """Product without nitrogen -> its weight [lb]."""
        return {
            part.product.name: part.weight_lb for part in self.parts if part.product.percent.get("n", 0.0) <= 0
        }


def blend(
    products: Sequence[Product],
    targets: Sequence[Target],
    *,
    whole_packages: bool = False,
    limits: Mapping[str, float] | None = None,
    units: UnitSystem = UnitSystem.US,
    per_area: bool = False,
    known: Sequence[Product] = (),
) -> Blend:
    """The mix that meets all targets at the least cost, or weight where no product has a price.

    Stock on hand costs nothing and is used first. Of mixes that cost the same the lightest is taken, then the one
    with more of the products named first. Shares that the products carry do not matter.

    Args:
        products: products to mix, each named once.
        targets: what is wanted of each nutrient.
        whole_packages: buy whole packages of the products that come in packages, and count their full price.
        limits: product -> most weight of it in the mix [lb, on the basis of the targets].
        units: units of amounts in messages.
        per_area: targets and weights are per acre. Stock on hand is then left out of account, since it is for no
            certain area.
        known: other products, named in the message when none of ``products`` holds a nutrient.

    Raises:
        UserError: products, targets or limits cannot be used, or no mix meets the targets: which of them conflict
            and what would do.
    """
    mixer = _Mixer(products, targets, limits or {}, Wording(units, per_area), whole_packages)
    mixer.check_supply(known)
    weights_lb = mixer.least(soft=False)
    if weights_lb is None:
        raise UserError(explanation(mixer.bounds, len(products), mixer.wording))
    return mixer.blend(weights_lb)


def nearest(
    products: Sequence[Product],
    targets: Sequence[Target],
    *,
    whole_packages: bool = False,
    limits: Mapping[str, float] | None = None,
    units: UnitSystem = UnitSystem.US,
    per_area: bool = False,
) -> Blend:
    """The mix that misses the targets least; the same as `blend` where they can be met.

    The sum of the misses is made smallest, each as a part of the bound that is missed, and as a part of the
    largest least amount where that bound is 0. So it is the same in any unit and for any area. Among mixes that
    miss by the same it is the one of least cost or weight. Limits of products are kept.

    Args and errors are those of `blend`, except that targets which conflict raise nothing.
    """
    mixer = _Mixer(products, targets, limits or {}, Wording(units, per_area), whole_packages)
    met = feasible(mixer.bounds, len(products))
    weights_lb = mixer.least(soft=not met)
    assert weights_lb is not None, "a mix of nothing keeps every limit"
    return mixer.blend(weights_lb)


class _Mixer:
    """One question for a mix. Columns of its programs: weights, what is bought, the misses of soft targets."""

    def __init__(
        self,
        products: Sequence[Product],
        targets: Sequence[Target],
        limits: Mapping[str, float],
        wording: Wording,
        whole_packages: bool,
    ) -> None:
        check(products, targets, limits)
        if whole_packages and wording.per_area:
            message = "whole packages are for a block or a farm, not for an area of one; give amounts in all"
            raise UserError(Fault(message, key="whole packages"))
        self.products = tuple(products)
        self.count = len(products)
        self.wording = wording
        self.whole_packages = whole_packages
        self.targets = [
            (target.nutrient, bound) for target in targets for bound in target_bounds(target, products)
        ]
        self.bounds = [bound for _, bound in self.targets]
        self.bounds += [limit_bound(name, most_lb, products) for name, most_lb in limits.items()]
        self.scale_lb = scale_of(self.bounds)
        self.prices = [product.shelf.price for product in products if product.shelf.price is not None]

    @property
    def objective(self) -> str:
        return LEAST_COST if self.prices else LEAST_WEIGHT

    def check_supply(self, known: Sequence[Product]) -> None:
        """Every nutrient asked for is in some product."""
        faults = []
        for nutrient, bound in self.targets:
            if bound.least and not any(bound.per_lb):
                holders = [product.name for product in known if product.percent.get(nutrient, 0.0) > 0]
                do = f"products that do: {', '.join(holders)}" if holders else "add one that does, or leave it out"
                faults.append(Fault(f"no product here holds {bound.what}; {do}", key=nutrient))
        if faults:
            raise UserError(faults)

    def least(self, *, soft: bool) -> list[float] | None:
        """The weights [lb] of least cost or weight; of the smallest misses when the targets are soft."""
        if not soft:
            return self._cheapest([], 0)
        misses = len(self.targets)
        width = 2 * self.count + misses
        total = (0.0,) * (2 * self.count) + (1.0,) * misses
        smallest = minimise(total, self._bound_rows(width, misses))
        if smallest is None:
            return None
        return self._cheapest([Row(total, sum(smallest[2 * self.count :]))], misses)

    def _cheapest(self, extra: list[Row], misses: int) -> list[float] | None:
        """Weights [lb] of least cost under the bounds and extra rows, bought in whole packages where asked for."""
        width = 2 * self.count + misses
        rows = [*self._bound_rows(width, misses), *extra]
        cost = [*self._cost(), *([0.0] * misses)]
        in_packages = [self._package(product) is not None for product in self.products]
        if not (self.prices and any(in_packages)):
            return self._weights(minimise(cost, [*rows, *self._supply_rows(width)]))
        whole = [False] * self.count + in_packages + [False] * misses
        found = minimise_in_packages(cost, [*rows, *self._supply_rows(width)], whole)
        if found is None:
            return None
        counts = [round(found[self.count + index]) for index in range(self.count)]
        # The solver is off by its tolerance: weights are found again for the counts as whole numbers.
        for spare in (0.0, PACKAGE_TOLERANCE / 2):
            again = minimise(cost, [*rows, *self._stock_rows(width, counts, spare)])
            if again is not None:
                return self._weights(again)
        return self._weights(found)

    def _weights(self, columns: list[float] | None) -> list[float] | None:
        return None if columns is None else [value * self.scale_lb for value in columns[: self.count]]

    def _package(self, product: Product) -> float | None:
        return product.shelf.package_lb if self.whole_packages else None

    def _stock_lb(self, product: Product) -> float:
        return 0.0 if self.wording.per_area else product.shelf.on_hand_lb

    def _cost(self) -> list[float]:
        """Cost of each weight and of each thing bought, with what settles ties."""
        ties = [TIE * (1.0 + index / self.count) for index in range(self.count)]
        if not self.prices:
            return [COST_SCALE + tie for tie in ties] + [0.0] * self.count
        dearest = max(self.prices) or 1.0
        bought = []
        for product in self.products:
            unit_lb = self._package(product) or self.scale_lb
            bought.append(COST_SCALE * (product.shelf.price or 0.0) / dearest * unit_lb / self.scale_lb)
        return ties + bought

    def _bound_rows(self, width: int, misses: int) -> list[Row]:
        """Rows of the bounds; a target that may be missed has a column for its miss."""
        rows = []
        for index, bound in enumerate(self.bounds):
            coefficients = list(bound.row(self.scale_lb).padded(0, width).coefficients)
            if index < misses:
                coefficients[2 * self.count + index] = -1.0
            rows.append(Row(tuple(coefficients), bound.row(self.scale_lb).most))
        return rows

    def _supply_rows(self, width: int) -> list[Row]:
        """What is used of a product is on hand or bought."""
        rows = []
        for index, product in enumerate(self.products):
            unit_lb = self._package(product) or self.scale_lb
            coefficients = [0.0] * width
            coefficients[index] = self.scale_lb / unit_lb
            coefficients[self.count + index] = -1.0
            rows.append(Row(tuple(coefficients), self._stock_lb(product) / unit_lb))
        return rows

    def _stock_rows(self, width: int, counts: Sequence[int], spare: float) -> list[Row]:
        """What is used of a product is on hand, bought loose, or in so many packages and a spare part of one."""
        rows = []
        for index, row in enumerate(self._supply_rows(width)):
            if self._package(self.products[index]) is None:
                rows.append(row)
            else:
                used = (row.coefficients[index],)
                rows.append(Row(used, row.most + counts[index] + spare).padded(index, width))
        return rows

    def blend(self, weights_lb: Sequence[float]) -> Blend:
        """The answer for weights [lb]."""
        parts = tuple(
            amount_of(product, weight_lb)
            for product, weight_lb in zip(self.products, weights_lb, strict=True)
            if weight_lb > TRACE * self.scale_lb
        )
        nutrients_lb = total_nutrients(parts)
        bought_lb = {part.product.name: self._bought_lb(part) for part in parts}
        costs = [(part.product.shelf.price or 0.0) * bought_lb[part.product.name] for part in parts]
        packages = {
            part.product.name: round(bought_lb[part.product.name] / package_lb)
            for part in parts
            if (package_lb := self._package(part.product)) is not None
        }
        return Blend(
            parts=parts,
            nutrients_lb=nutrients_lb,
            objective=self.objective,
            cost=math.fsum(costs) if self.prices else None,
            bought_lb={name: lb for name, lb in bought_lb.items() if lb > 0},
            packages={name: number for name, number in packages.items() if number > 0},
            misses=self._misses(nutrients_lb),
        )

    def _bought_lb(self, part: ProductAmount) -> float:
        stock_lb = self._stock_lb(part.product)
        package_lb = self._package(part.product)
        if package_lb is None:
            return max(0.0, part.weight_lb - stock_lb)
        return package_lb * packages_for(part.weight_lb, stock_lb, package_lb)

    def _misses(self, nutrients_lb: Mapping[str, float]) -> tuple[Miss, ...]:
        misses = []
        for nutrient, bound in self.targets:
            got_lb = nutrients_lb.get(nutrient, 0.0)
            by_lb = bound.sign * (got_lb - bound.amount_lb)
            if by_lb > NO_MISS * (bound.amount_lb or self.scale_lb):
                misses.append(Miss(nutrient, bound.amount_lb, got_lb))
        return tuple(misses)
