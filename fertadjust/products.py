"""Fertilizers, their shares of a block's nitrogen, and the amounts that follow.

A guaranteed analysis is a minimum (SD-38-19): computed nitrogen is a lower limit of what is applied.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from fertadjust.errors import UserError
from fertadjust.materials import Solubility

NUTRIENTS = ("n", "p2o5", "k2o", "ca", "mg", "s", "b")
"""Nutrients of a grade and of its secondary guarantee; N, P2O5 and K2O by label, others as elements."""

NUTRIENT_WORDS: Final = {"n": "N", "p2o5": "P2O5", "k2o": "K2O", "ca": "Ca", "mg": "Mg", "s": "S", "b": "B"}
"""Nutrient -> how it is written."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """What a product costs and how much of it lies in the shed.

    Attributes:
        price: price of one pound, in the grower's currency; None when it was not given.
        package_lb: weight of one bag or jug [lb], None when it is bought loose.
        on_hand_lb: weight on hand [lb].
    """

    price: float | None = None
    package_lb: float | None = None
    on_hand_lb: float = 0.0


@dataclass(frozen=True, slots=True)
class Product:
    """A fertilizer as its label states it.

    Attributes:
        name: generic name.
        percent: nutrient -> percent by weight; nutrients left out are not guaranteed.
        share: share of the block's nitrogen that this product supplies, 0 to 1.
        density_lb_gal: density of a liquid [lb per US gal], None for a dry product.
        nitrate_n, ammonium_n, urea_n: forms of nitrogen [percent by weight], None when the label is silent.
        lb_ac: weight in a week [lb/ac] of a product without nitrogen, which no share of nitrogen can set.
        solubility: how much of it water dissolves, None when that is not known or it is a liquid.
        tank: the stock tank that the grower puts it in, "A" or "B", or "".
        shelf: price, package and stock on hand.
    """

    name: str
    percent: dict[str, float] = field(default_factory=dict)
    share: float = 0.0
    density_lb_gal: float | None = None
    nitrate_n: float | None = None
    ammonium_n: float | None = None
    urea_n: float | None = None
    lb_ac: float = 0.0
    solubility: Solubility | None = None
    tank: str = ""
    shelf: Shelf = Shelf()

    @property
    def grade(self) -> str:
        """N-P2O5-K2O as printed on a label, for example "13-0-45"."""
        return "-".join(f"{self.percent.get(key, 0.0):g}" for key in ("n", "p2o5", "k2o"))

    def weight_for(self, n_lb: float) -> float:
        """Weight [lb] that carries an amount of nitrogen [lb]: N / N fraction (common practice).

        Raises:
            UserError: the product holds no nitrogen.

        >>> round(Product("a", {"n": 13.0, "k2o": 45.0}).weight_for(7.0), 3)
        53.846
        """
        percent = self.percent.get("n", 0.0)
        if percent <= 0:
            raise UserError(f"{self.name} ({self.grade}) holds no nitrogen and cannot supply it")
        return n_lb / (percent / 100.0)

    @property
    def used(self) -> bool:
        """Whether it takes part in a mix."""
        return self.share > 0 or self.lb_ac > 0

    def volume_of(self, weight_lb: float) -> float | None:
        """Volume [US gal] of a weight [lb] of a liquid; None for a dry product."""
        return None if self.density_lb_gal is None else weight_lb / self.density_lb_gal


@dataclass(frozen=True, slots=True)
class ProductAmount:
    """An amount of one product.

    Attributes:
        product: the product.
        weight_lb: weight [lb].
        volume_gal: volume [US gal] for a liquid, else None.
        nutrients_lb: nutrient -> weight that comes with it [lb].
    """

    product: Product
    weight_lb: float
    volume_gal: float | None
    nutrients_lb: dict[str, float]


def amount_of(product: Product, weight_lb: float) -> ProductAmount:
    """A weight [lb] of a product with its volume and its nutrients."""
    nutrients = {key: weight_lb * percent / 100.0 for key, percent in product.percent.items()}
    return ProductAmount(product, weight_lb, product.volume_of(weight_lb), nutrients)


def amounts(n_lb: float, mix: Sequence[Product], area_ac: float = 0.0) -> list[ProductAmount]:
    """Split an amount of nitrogen [lb] over the products of a mix, and add those that go beside it.

    Products that take no part in the mix are left out. The nitrogen of the parts adds up to ``n_lb`` when the
    shares add to 1.

    Args:
        n_lb: nitrogen [lb].
        mix: products with their shares of the nitrogen, or their weights per area.
        area_ac: area [ac] that products given per area are for, times the weeks.

    >>> parts = amounts(7.0, [Product("15-0-0", {"n": 15.0}, share=1.0)])
    >>> round(parts[0].weight_lb, 3)
    46.667
    """
    return [
        amount_of(
            product, product.weight_for(n_lb * product.share) if product.share > 0 else product.lb_ac * area_ac
        )
        for product in mix
        if product.used
    ]


def nitrogen_in(product: Product, weight_lb: float) -> float:
    """Nitrogen [lb] in a weight [lb] of a product."""
    return weight_lb * product.percent.get("n", 0.0) / 100.0


def nutrients_per_nitrogen(mix: Sequence[Product]) -> dict[str, float]:
    """Nutrient -> weight that comes with one pound of the mix's nitrogen [lb].

    >>> round(nutrients_per_nitrogen([Product("a", {"n": 13.0, "k2o": 44.0}, share=0.5)])["k2o"], 3)
    1.692
    """
    return total_nutrients(amounts(1.0, [product for product in mix if product.share > 0]))


def total_nutrients(parts: Sequence[ProductAmount]) -> dict[str, float]:
    """Nutrient -> weight in all parts together [lb]."""
    total: dict[str, float] = {}
    for part in parts:
        for nutrient, weight in part.nutrients_lb.items():
            total[nutrient] = total.get(nutrient, 0.0) + weight
    return total


def nitrate_share(mix: Sequence[Product]) -> float | None:
    """Share of the mix's nitrogen that is nitrate; None when a label in the mix is silent."""
    total = 0.0
    for product in mix:
        if product.share == 0:
            continue
        percent = product.percent.get("n", 0.0)
        if product.nitrate_n is None or percent <= 0:
            return None
        total += product.share * product.nitrate_n / percent
    return total
