"""Stock solutions: how much water dissolves the products of a tank, and how often a tank is filled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fertadjust.errors import UserError
from fertadjust.products import ProductAmount
from fertadjust.units import UnitSystem


@dataclass(frozen=True, slots=True)
class Tank:
    """Stock tanks of one size.

    Attributes:
        celsius: temperature of the water [deg C].
        share: part of what the water can hold that a stock solution is made to, 0 to 1.
        volume_gal: what one tank holds [US gal], None when that was not said.
    """

    celsius: float
    share: float = 0.8
    volume_gal: float | None = None


@dataclass(frozen=True, slots=True)
class Need:
    """What a tank's products need.

    Attributes:
        least_gal: least volume of solution that keeps them dissolved [US gal].
        unknown: products whose solubility is not known, for which no water is counted.
    """

    least_gal: float
    unknown: tuple[str, ...]


def need_of(parts: Sequence[ProductAmount], tank: Tank) -> Need:
    """Least volume of one tank for some products.

    Each dry product is given a volume of its own at the stated share of its solubility, and each liquid its own
    volume: salts that share an ion make each other less soluble, and how much is usually set by trial
    (FERT-SOLUBILITY).

    Raises:
        UserError: a solubility is asked for outside its table.
    """
    total, unknown = 0.0, []
    for part in parts:
        if part.volume_gal is not None:
            total += part.volume_gal
        elif part.product.solubility is None:
            unknown.append(part.product.name)
        else:
            try:
                limit = part.product.solubility.limit_lb_gal(tank.celsius)
            except UserError as error:
                raise UserError(f"{part.product.name}: {error}, or its solubility from the label") from None
            total += part.weight_lb / (tank.share * limit)
    return Need(total, tuple(unknown))


def times_as_many(ratio: float, count: int, injections: int) -> int:
    """How many times as many injections a week make one of them small enough.

    Args:
        ratio: how many times too large it is.
        count: how many of the week's injections are of this feed; fewer than all when two feeds take turns.
        injections: injections in the week.
    """
    feeds = 1 if count == injections else 2
    times = max(1, math.ceil(ratio * count * feeds / injections - 1e-9))
    return times if times * injections // feeds >= ratio * count - 1e-9 else times + 1


def injections_in_a_fill(
    volume_gal: float, tank: Tank, units: UnitSystem, count: int = 1, injections: int = 1
) -> int | None:
    """How many injections of a volume one fill holds; None when the tank's size is not known.

    Args:
        volume_gal: volume of one injection [US gal].
        tank: the tank.
        units: units for messages.
        count, injections: as for `times_as_many`.

    Raises:
        UserError: the tank does not hold one; says what would be feasible.
    """
    if tank.volume_gal is None:
        return None
    if volume_gal > tank.volume_gal * (1 + 1e-9):
        times = times_as_many(volume_gal / tank.volume_gal, count, injections)
        raise UserError(
            f"one injection needs {_at_least(volume_gal, units)} of stock solution at "
            f"{units.temperature_out(tank.celsius):.0f} {units.temperature_unit} and {100 * tank.share:.0f} % of "
            f"what dissolves; the tank holds {_volume(tank.volume_gal, units)}. Feasible: {times} times as many "
            f"injections a week, a tank of {_at_least(volume_gal, units)}, or warmer water"
        )
    return max(1, int(tank.volume_gal / volume_gal + 1e-9)) if volume_gal > 0 else 1


def _volume(gal: float, units: UnitSystem) -> str:
    return f"{units.volume_out(gal):.1f} {units.volume_unit}"


def _at_least(gal: float, units: UnitSystem) -> str:
    """A volume rounded up, so that what is proposed is enough."""
    return f"{math.ceil(10 * units.volume_out(gal) - 1e-6) / 10:.1f} {units.volume_unit}"
