"""Fertilizers, their shares of a block's nitrogen, and the amounts that follow.

A guaranteed analysis is a minimum (SD-38-19): computed nitrogen is a lower limit of what is applied.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from fertadjust.errors import UserError

NUTRIENTS = ("n", "p2o5", "k2o", "ca", "mg", "s")
"""Nutrients of a grade and of its secondary guarantee; N, P2O5 and K2O by label, others as elements."""


@dataclass(frozen=True, slots=True)
class Product:
    """A fertilizer as its label states it.

    Attributes:
        name: generic name.
        percent: nutrient -> percent by weight; nutrients left out are not guaranteed.
        share: share of the block's nitrogen that this product supplies, 0 to 1.
        density_lb_gal: density of a liquid [lb per US gal], None for a dry product.
        nitrate_n: nitrate nitrogen [percent by weight], None when the label is silent.
    """

    name: str
    percent: dict[str, float] = field(default_factory=dict)
    share: float = 0.0
    density_lb_gal: float | None = None
    nitrate_n: float | None = None

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


def amounts(n_lb: float, products: Sequence[Product]) -> list[ProductAmount]:
    """Split an amount of nitrogen [lb] over products by their shares.

    Products with no share are left out. The nitrogen of the parts adds up to ``n_lb`` when the shares add to 1.

    >>> parts = amounts(7.0, [Product("15-0-0", {"n": 15.0}, share=1.0)])
    >>> round(parts[0].weight_lb, 3)
    46.667
    """
    parts = []
    for product in products:
        if product.share == 0:
            continue
        weight = product.weight_for(n_lb * product.share)
        nutrients = {key: weight * percent / 100.0 for key, percent in product.percent.items()}
        parts.append(ProductAmount(product, weight, product.volume_of(weight), nutrients))
    return parts


def nitrogen_in(product: Product, weight_lb: float) -> float:
    """Nitrogen [lb] in a weight [lb] of a product."""
    return weight_lb * product.percent.get("n", 0.0) / 100.0


def nutrients_per_nitrogen(products: Sequence[Product]) -> dict[str, float]:
    """Nutrient -> weight that comes with one pound of the mix's nitrogen [lb].

    >>> round(nutrients_per_nitrogen([Product("a", {"n": 13.0, "k2o": 44.0}, share=0.5)])["k2o"], 3)
    1.692
    """
    total: dict[str, float] = {}
    for part in amounts(1.0, products):
        for nutrient, weight in part.nutrients_lb.items():
            total[nutrient] = total.get(nutrient, 0.0) + weight
    return total


def nitrate_share(products: Sequence[Product]) -> float | None:
    """Share of the mix's nitrogen that is nitrate; None when a label in the mix is silent."""
    total = 0.0
    for product in products:
        if product.share == 0:
            continue
        percent = product.percent.get("n", 0.0)
        if product.nitrate_n is None or percent <= 0:
            return None
        total += product.share * product.nitrate_n / percent
    return total


def meets_in_concentrate(products: Sequence[Product]) -> str | None:
    """Warning when calcium would meet sulfate or phosphate in one concentrated tank (UC-MICRO, COMPAT-F20)."""
    with_ca = [product.name for product in products if product.percent.get("ca", 0.0) > 0]
    against = [
        product.name
        for product in products
        if product.percent.get("ca", 0.0) == 0
        and (product.percent.get("s", 0.0) > 0 or product.percent.get("p2o5", 0.0) > 0)
    ]
    if not with_ca or not against:
        return None
    return (
        f"{', '.join(with_ca)} carries calcium and {', '.join(against)} carries sulfate or phosphate: keep them "
        "in separate concentrated tanks, or inject on different days; they form solids together."
    )
