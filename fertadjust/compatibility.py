"""What must not meet in one concentrated stock tank, and which tank each product of a mix goes into."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from fertadjust.errors import UserError
from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.products import Product

TANKS: Final = ("A", "B")
"""Names of the two stock tanks: calcium goes into A, what it must not meet into B (layout of DPIRD-2016)."""


class Clash(NamedTuple):
    """Products that form solids when their concentrates meet.

    Attributes:
        one, other: names of the products on either side.
        text: what happens, in a grower's words.
        refused: whether the two are never put into one tank; otherwise a jar test decides.
        source, evidence: where that is written.
    """

    one: tuple[str, ...]
    other: tuple[str, ...]
    text: str
    refused: bool
    source: str
    evidence: Evidence


@dataclass(frozen=True, slots=True)
class _Rule:
    one: Callable[[Product], bool]
    other: Callable[[Product], bool]
    holds: tuple[str, str]
    advice: str
    refused: bool
    source: str
    evidence: Evidence


def _has(product: Product, *nutrients: str) -> bool:
    return any(product.percent.get(nutrient, 0.0) > 0 for nutrient in nutrients)


def has_calcium(product: Product) -> bool:
    """Whether a product carries calcium."""
    return _has(product, "ca")


def against_calcium(product: Product) -> bool:
    """Whether a product carries sulfate or phosphate."""
    return _has(product, "s", "p2o5")


_SEPARATE: Final = (
    "keep them in separate concentrated tanks, or inject on different days; they form solids together."
)
_JAR: Final = "make a jar test at the strength of the tank, and keep them apart when it turns cloudy."

_RULES: Final = (
    _Rule(
        has_calcium,
        against_calcium,
        ("calcium", "sulfate or phosphate"),
        _SEPARATE,
        True,
        "UC-MICRO; COMPAT-F20",
        Evidence.PUBLISHED,
    ),
    _Rule(
        lambda product: _has(product, "mg") and not _has(product, "p2o5"),
        lambda product: _has(product, "p2o5") and not _has(product, "mg"),
        ("magnesium", "phosphate"),
        f"one source warns of magnesium phosphate, another puts both into one tank: {_JAR}",
        False,
        "COMPAT-F20; DPIRD-2016",
        Evidence.PUBLISHED,
    ),
    _Rule(
        lambda product: _has(product, "s") and (product.ammonium_n or 0.0) > 0 and not _has(product, "k2o"),
        lambda product: _has(product, "k2o") and not _has(product, "s", "p2o5"),
        ("ammonium sulfate", "potassium"),
        f"potassium sulfate can drop out, which dissolves little (from memory): {_JAR}",
        False,
        NO_SOURCE,
        Evidence.RECALLED,
    ),
    _Rule(
        lambda product: product.density_lb_gal is not None and (product.urea_n or 0.0) > 0,
        lambda product: product.density_lb_gal is not None and has_calcium(product),
        ("urea", "calcium"),
        f"a milky gel is reported of these two liquids (from memory): {_JAR}",
        False,
        NO_SOURCE,
        Evidence.RECALLED,
    ),
)


def _meet(rule: _Rule, first: Product, second: Product) -> bool:
    """Whether two products form what a rule warns of; two that are each sold with both sides in them do not."""
    alike = rule.one(second) and rule.other(first)
    return first is not second and rule.one(first) and rule.other(second) and not alike


def clashes(products: Sequence[Product]) -> list[Clash]:
    """What would clash if all these products stood in one concentrated tank, those never mixed first."""
    found = []
    for rule in _RULES:
        pairs = [(first, second) for first in products for second in products if _meet(rule, first, second)]
        one = tuple(dict.fromkeys(first.name for first, _ in pairs))
        other = tuple(dict.fromkeys(second.name for _, second in pairs))
        if pairs:
            text = (
                f"{', '.join(one)} carries {rule.holds[0]} and {', '.join(other)} carries {rule.holds[1]}: "
                f"{rule.advice}"
            )
            found.append(Clash(one, other, text, rule.refused, rule.source, rule.evidence))
    return found


def refused(products: Sequence[Product]) -> Clash | None:
    """The clash that forbids one concentrated tank for these products, or None."""
    return next((clash for clash in clashes(products) if clash.refused), None)


def _only_calcium(product: Product) -> bool:
    return has_calcium(product) and not against_calcium(product)


def tanks_of(mix: Sequence[Product]) -> dict[str, tuple[Product, ...]]:
    """Tank -> the products of a mix that go into it; tanks that stay empty are left out.

    A product goes where the grower put it. Otherwise calcium goes into A, and sulfates and phosphates into B where
    there is calcium, or the other way round where the grower put one of them so; everything else, and a mix
    without calcium, goes into A. What is sold with both in it goes with the calcium where it is the only one to
    carry any, else with the sulfates and phosphates.

    Raises:
        UserError: the grower put products into one tank that must not meet; says which.
    """
    used = [product for product in mix if product.used]
    apart = refused(used) is not None
    pure = any(_only_calcium(item) for item in used)
    with_calcium = [item for item in used if _only_calcium(item) or (has_calcium(item) and not pure)]
    others = [item for item in used if against_calcium(item) and item not in with_calcium]
    swapped = any(item.tank == "B" for item in with_calcium) or any(item.tank == "A" for item in others)
    calcium, against = ("B", "A") if apart and swapped else ("A", "B")
    chosen: dict[str, list[Product]] = {tank: [] for tank in TANKS}
    for product in used:
        place = calcium if product in with_calcium else against if apart and product in others else "A"
        chosen[product.tank or place].append(product)
    for tank, inside in chosen.items():
        clash = refused(inside)
        if clash is not None:
            raise UserError(f"tank {tank}: {clash.text}")
    return {tank: tuple(inside) for tank, inside in chosen.items() if inside}
