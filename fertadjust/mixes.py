"""Which products feed a block in which week: shares of the nitrogen that change with weeks and stages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fertadjust.products import Product, nitrate_share

Mix = tuple[Product, ...]
"""Products with their shares of a week's nitrogen, or their weights per area."""


@dataclass(frozen=True, slots=True)
class MixStep:
    """Mixes from one week on.

    Attributes:
        first_week: number of the first week.
        in_turn: the mixes of the first week, the second and so on, over and over; one for the same every week.
    """

    first_week: int
    in_turn: tuple[Mix, ...]


@dataclass(frozen=True, slots=True)
class Mixes:
    """The mixes of a block's season.

    Attributes:
        products: every product of the season file, whether a mix uses it or not.
        steps: in order; the first begins with week 1.
    """

    products: tuple[Product, ...]
    steps: tuple[MixStep, ...]

    @classmethod
    def same(cls, products: Sequence[Product]) -> Mixes:
        """One mix all season, by the products' own shares."""
        mix = tuple(products)
        return cls(mix, (MixStep(1, (mix,)),))

    def step_in(self, week: int) -> MixStep:
        """The step in force in a week; the first one before it begins."""
        begun = [step for step in self.steps if step.first_week <= week]
        return begun[-1] if begun else self.steps[0]

    def in_week(self, week: int) -> Mix:
        """The mix of a week: the products that take part in it."""
        step = self.step_in(week)
        turn = step.in_turn[(week - step.first_week) % len(step.in_turn)]
        return tuple(product for product in turn if product.used)

    def every(self) -> list[Mix]:
        """Every mix of the season, in order: the products that take part in it."""
        return [tuple(item for item in mix if item.used) for step in self.steps for mix in step.in_turn]

    @property
    def used(self) -> tuple[Product, ...]:
        """The products that take part in a mix at some time of the season."""
        names = {item.name for mix in self.every() for item in mix}
        return tuple(product for product in self.products if product.name in names)

    def nitrate_share(self, week: int) -> float | None:
        """Nitrate share of the nitrogen fed around a week, of the mix with least of it where mixes take turns.

        None when a label is silent.
        """
        shares = [nitrate_share(mix) for mix in self.step_in(week).in_turn]
        known = [share for share in shares if share is not None]
        return min(known) if len(known) == len(shares) else None


def mix_of(products: Sequence[Product], shares: dict[str, float], beside: dict[str, float]) -> Mix:
    """Products with the shares and weights of one mix.

    Args:
        products: every product.
        shares: product name -> share of the nitrogen.
        beside: product name -> weight in a week [lb/ac], of products without nitrogen.
    """
    return tuple(
        replace(product, share=shares.get(product.name, 0.0), lb_ac=beside.get(product.name, 0.0))
        for product in products
    )
