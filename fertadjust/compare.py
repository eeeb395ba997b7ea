"""A result beside a band: position, status, and how probable each side is."""

from __future__ import annotations

import math
from enum import IntEnum, StrEnum
from typing import NamedTuple

from fertadjust.band_rows import Band
from fertadjust.tissue import Censor
from fertadjust.uncertainty import log_sd


class Side(IntEnum):
    """Where a value lies against a band."""

    BELOW = -1
    WITHIN = 0
    ABOVE = 1

    @property
    def word(self) -> str:
        """In lower case, as it stands in a sentence."""
        return self.name.lower()


class Status(StrEnum):
    DEFICIENT = "deficient"
    LOW = "low"
    SUFFICIENT = "sufficient"
    HIGH = "high"
    EXCESS = "excess"


class Comparison(NamedTuple):
    """One result against one band.

    Attributes:
        position: 0 at the low edge, 1 at the high edge; None for a bound or a band with one edge only.
        side: side of the reported value; a value on an edge is within; None for a bound that does not tell.
        status: the side in the trade's words, with deficient and excess where the table gives limits.
        below, within, above: probabilities; lower bounds when the result is censored.
        sure: the side that is at least as probable as the stated confidence, or None.
    """

    position: float | None
    side: Side | None
    status: Status | None
    below: float
    within: float
    above: float
    sure: Side | None

    @property
    def probability(self) -> float:
        """Probability of the side that the value lies on; 0 for a bound that does not tell."""
        return 0.0 if self.side is None else (self.within, self.above, self.below)[self.side]


def normal_cdf(z: float) -> float:
    """Standard normal distribution function.

    >>> round(normal_cdf(1.4), 4)
    0.9192
    """
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def percent(share: float) -> str:
    """A chance in percent; never a flat 0 or 100, since a measurement never shows either.

    >>> percent(1.0), percent(0.412), percent(0.0)
    ('over 99 %', '41 %', 'under 1 %')
    """
    if share <= 0.005:
        return "under 1 %"
    return "over 99 %" if share >= 0.995 else f"{100 * share:.0f} %"


def chances(found: Comparison, band: Band) -> dict[str, float]:
    """Side in words -> chance of it; a side on which the band has no edge is left out."""
    sides = {"below": found.below, "within": found.within, "above": found.above}
    missing = {"below": band.low is None, "above": band.high is None}
    return {side: chance for side, chance in sides.items() if not missing.get(side, False)}


def conformity(
    value: float, uncertainty: float, lower: float | None, upper: float | None
) -> tuple[float, float, float]:
    """Probabilities that the measured quantity lies below, within and above two limits.

    p_below = Phi((lower - y) / u), p_above = 1 - Phi((upper - y) / u), p_within the rest (JCGM-106). Normal
    error of standard uncertainty u > 0; a missing limit has probability 0 beyond it.

    >>> [round(p, 4) for p in conformity(550, 77, 600, 1200)]
    [0.7419, 0.2581, 0.0]
    """
    below = 0.0 if lower is None else normal_cdf((lower - value) / uncertainty)
    above = 0.0 if upper is None else normal_cdf((value - upper) / uncertainty)
    return below, max(0.0, 1.0 - below - above), above


def position(value: float, low: float, high: float) -> float:
    """(ln v - ln low) / (ln high - ln low); the linear form when low is 0. 0 <= low < high, value > 0.

    >>> round(position(3872.983, 3000, 5000), 3)
    0.5
    """
    if low == 0:
        return value / high
    return math.log(value / low) / math.log(high / low)


def compare(value: float, censor: Censor, relative: float, band: Band, confidence: float) -> Comparison:
    """Compare a result with a band.

    Args:
        value: result in the band's unit, above zero.
        censor: whether the value is a bound.
        relative: relative standard uncertainty of the result, above zero.
        band: the band.
        confidence: probability from which on a side counts as sure (0.5 to 1).

    A censored result gives a bound: "<10" can be sure to be below a band, never within or above it, and
    ">5000" the other way round. Probabilities are then the least they can be.
    """
    log_low = None if band.low is None else math.log(band.low)
    log_high = None if band.high is None else math.log(band.high)
    below, within, above = conformity(math.log(value), log_sd(relative), log_low, log_high)
    if censor is Censor.BELOW:
        within = above = 0.0
    elif censor is Censor.ABOVE:
        below = within = 0.0
    side = _side(value, censor, band)
    sure = None
    for candidate, chance in ((Side.BELOW, below), (Side.WITHIN, within), (Side.ABOVE, above)):
        if chance >= confidence:
            sure = candidate
    where = None
    if band.low is not None and band.high is not None and censor is Censor.NONE:
        where = position(value, band.low, band.high)
    return Comparison(where, side, _status(value, side, band), below, within, above, sure)


def _side(value: float, censor: Censor, band: Band) -> Side | None:
    if censor is Censor.BELOW:
        return Side.BELOW if band.low is not None and value <= band.low else None
    if censor is Censor.ABOVE:
        return Side.ABOVE if band.high is not None and value >= band.high else None
    if band.low is not None and value < band.low:
        return Side.BELOW
    if band.high is not None and value > band.high:
        return Side.ABOVE
    return Side.WITHIN


def _status(value: float, side: Side | None, band: Band) -> Status | None:
    if side is Side.BELOW:
        deficient = band.deficient_below is not None and value < band.deficient_below
        return Status.DEFICIENT if deficient else Status.LOW
    if side is Side.ABOVE:
        excess = band.excess_above is not None and value > band.excess_above
        return Status.EXCESS if excess else Status.HIGH
    return None if side is None else Status.SUFFICIENT
