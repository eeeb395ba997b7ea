"""What is asked of a blend: targets by nutrient and limits of products, checked, as bounds of a program."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from fertadjust.blend_program import Bound
from fertadjust.errors import Fault, UserError
from fertadjust.products import NUTRIENT_WORDS, NUTRIENTS, Product


@dataclass(frozen=True, slots=True)
class Target:
    """How much of a nutrient is wanted.

    Attributes:
        nutrient: one of `fertadjust.products.NUTRIENTS`.
        least, most: bounds [lb, or lb/ac where the blend is per acre], None where there is none; equal for an
            exact amount.
    """

    nutrient: str
    least: float | None = None
    most: float | None = None


def target_bounds(target: Target, products: Sequence[Product]) -> list[Bound]:
    """The bounds of a target; a least amount of 0 binds nothing."""
    per_lb = tuple(product.percent.get(target.nutrient, 0.0) / 100.0 for product in products)
    word = NUTRIENT_WORDS[target.nutrient]
    bounds = []
    if target.least:
        bounds.append(Bound(word, per_lb, True, target.least))
    if target.most is not None:
        bounds.append(Bound(word, per_lb, False, target.most))
    return bounds


def limit_bound(name: str, most_lb: float, products: Sequence[Product]) -> Bound:
    """The bound on the weight of one product."""
    return Bound(f"of {name}", tuple(float(product.name == name) for product in products), False, most_lb)


def check(products: Sequence[Product], targets: Sequence[Target], limits: Mapping[str, float]) -> None:
    """What has to be right before a mix is looked for.

    Raises:
        UserError: everything that is wrong with products, targets and limits.
    """
    faults = [*_product_faults(products), *_target_faults(targets), *_limit_faults(products, limits)]
    if faults:
        raise UserError(faults)


def _product_faults(products: Sequence[Product]) -> Iterator[Fault]:
    if not products:
        yield Fault("there is nothing to mix; name one product or more", key="products")
    for name, number in Counter(product.name for product in products).items():
        if number > 1:
            yield Fault(f"named {number} times; name each product once", key=name)
    for product in products:
        price = product.shelf.price
        if price is not None and not _amount(price):
            yield Fault(f"a price of {price:g} cannot be; it has to be 0 or more", key=product.name)
    without = [product.name for product in products if product.shelf.price is None]
    if 0 < len(without) < len(products):
        message = f"no price for {', '.join(without)}; give a price for every product, or for none"
        yield Fault(f"{message} (the lightest mix is found then)", key="price")


def _target_faults(targets: Sequence[Target]) -> Iterator[Fault]:
    for nutrient, number in Counter(target.nutrient for target in targets).items():
        if nutrient not in NUTRIENTS:
            yield Fault(f"is no nutrient of a blend; these are: {', '.join(NUTRIENTS)}", key=nutrient)
        elif number > 1:
            yield Fault(f"{number} targets; give one, with its least and its most", key=nutrient)
    for target in targets:
        given = [amount for amount in (target.least, target.most) if amount is not None]
        if not given:
            yield Fault("neither a least nor a most amount; give one or both", key=target.nutrient)
        elif not all(map(_amount, given)):
            told = " and ".join(f"{amount:g}" for amount in given if not _amount(amount))
            yield Fault(f"an amount of {told} cannot be; it has to be 0 or more", key=target.nutrient)
        elif given[0] > given[-1]:
            yield Fault("the least is more than the most; the least has to be the smaller", key=target.nutrient)
    if not any(target.least for target in targets):
        yield Fault("nothing is asked for; give a least amount above 0 of one nutrient or more", key="targets")


def _limit_faults(products: Sequence[Product], limits: Mapping[str, float]) -> Iterator[Fault]:
    names = [product.name for product in products]
    for name, most_lb in limits.items():
        if name not in names:
            yield Fault(f"a limit for a product that is not mixed; these are: {', '.join(names)}", key=name)
        elif not _amount(most_lb):
            yield Fault(f"a limit of {most_lb:g} cannot be; it has to be 0 or more", key=name)


def _amount(value: float) -> bool:
    return math.isfinite(value) and value >= 0
