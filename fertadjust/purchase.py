"""What has to be bought: needs against stock on hand, in whole packages, with what is left over and the cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fertadjust.errors import Fault, UserError
from fertadjust.products import Product

PACKAGE_TOLERANCE: Final = 1e-5
"""No package more is bought for less than this part of it, or of the need where that is smaller (project rule).

Half a gram of a 50-lb bag: far below what a scale shows, far above what adding up numbers leaves behind.
"""


@dataclass(frozen=True, slots=True)
class PurchaseLine:
    """One product to buy.

    Attributes:
        product: the product.
        need_lb: weight needed in all [lb].
        on_hand_lb: weight on hand [lb].
        to_buy_lb: what is needed beyond the stock on hand [lb].
        packages: whole packages to buy, None for a product that is bought loose.
        bought_lb: weight bought [lb].
        left_over_lb: what is left when the need is used up [lb].
        cost: price of what is bought, in the grower's currency; None without a price.
    """

    product: Product
    need_lb: float
    on_hand_lb: float
    to_buy_lb: float
    packages: int | None
    bought_lb: float
    left_over_lb: float
    cost: float | None

    @property
    def need_gal(self) -> float | None:
        """Volume needed of a liquid [US gal], None for a dry product."""
        return self.product.volume_of(self.need_lb)

    @property
    def bought_gal(self) -> float | None:
        """Volume bought of a liquid [US gal], None for a dry product."""
        return self.product.volume_of(self.bought_lb)


def packages_for(need_lb: float, on_hand_lb: float, package_lb: float) -> int:
    """Whole packages that cover a need [lb] beyond the stock on hand [lb]; see `PACKAGE_TOLERANCE`.

    >>> packages_for(120.0, 30.0, 50.0)
    2
    """
    spare_lb = PACKAGE_TOLERANCE * min(package_lb, need_lb)
    return max(0, math.ceil((need_lb - on_hand_lb - spare_lb) / package_lb))


def purchase_line(product: Product, need_lb: float) -> PurchaseLine:
    """What to buy of one product for a need [lb].

    Raises:
        UserError: the need is negative or no number.
    """
    if faults := _need_faults(product, need_lb):
        raise UserError(faults)
    shelf = product.shelf
    to_buy_lb = max(0.0, need_lb - shelf.on_hand_lb)
    packages = None
    bought_lb = to_buy_lb
    if shelf.package_lb is not None:
        packages = packages_for(need_lb, shelf.on_hand_lb, shelf.package_lb)
        bought_lb = packages * shelf.package_lb
    left_over_lb = max(0.0, shelf.on_hand_lb + bought_lb - need_lb)
    cost = None if shelf.price is None else shelf.price * bought_lb
    return PurchaseLine(product, need_lb, shelf.on_hand_lb, to_buy_lb, packages, bought_lb, left_over_lb, cost)


def purchase_list(needs: Sequence[tuple[Product, float]]) -> tuple[PurchaseLine, ...]:
    """What to buy for needs (product, weight [lb]): one line for each product name, in the order first named.

    Needs of one product are added before its stock is taken off and packages are rounded up.

    Raises:
        UserError: a need is negative, or two products of one name differ in their label or on the shelf.

    >>> from fertadjust.products import Shelf
    >>> [line] = purchase_list([(Product("a", shelf=Shelf(0.5, 50.0, 10.0)), 75.0)])
    >>> (line.packages, line.left_over_lb, line.cost)
    (2, 35.0, 50.0)
    """
    products: dict[str, Product] = {}
    weights_lb: dict[str, list[float]] = {}
    faults: list[Fault] = []
    for product, need_lb in needs:
        first = products.setdefault(product.name, product)
        weights_lb.setdefault(product.name, []).append(need_lb)
        if _sold_as(product) != _sold_as(first):
            message = (
                "two products of this name differ in grade, density, price, package or stock; name them apart"
            )
            faults.append(Fault(message, key=product.name))
        faults += _need_faults(product, need_lb)
    if faults:
        raise UserError(faults)
    return tuple(purchase_line(product, math.fsum(weights_lb[name])) for name, product in products.items())


def total_cost(lines: Sequence[PurchaseLine]) -> float | None:
    """Cost of a list, in the grower's currency; None when something to be bought has no price."""
    bought = [line for line in lines if line.bought_lb > 0]
    costs = [line.cost for line in bought if line.cost is not None]
    return math.fsum(costs) if len(costs) == len(bought) else None


def _sold_as(product: Product) -> tuple[object, ...]:
    return product.percent, product.density_lb_gal, product.shelf


def _need_faults(product: Product, need_lb: float) -> list[Fault]:
    if math.isfinite(need_lb) and need_lb >= 0:
        return []
    return [Fault(f"a need of {need_lb:g} lb cannot be bought; it has to be 0 lb or more", key=product.name)]
