"""Robust trend of band position: Theil-Sen slope, exact Mann-Kendall tail, projection."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from statistics import NormalDist
from typing import Final

from fertadjust.compare import conformity

MIN_RESULTS: Final = 4
"""Three results can never reach a one-sided 0.05 by the Mann-Kendall test (exact tail, MANN-KENDALL-PAST)."""

SLOPE_CONFIDENCE: Final = 0.90
"""Two-sided confidence of the slope's limits (project rule)."""

_Z: Final = NormalDist().inv_cdf((1 + SLOPE_CONFIDENCE) / 2)


@dataclass(frozen=True, slots=True)
class Trend:
    """Trend of band position against days.

    Attributes:
        n: number of results.
        slope_per_day: Theil-Sen slope [band widths per day].
        low_slope, high_slope: its limits at `SLOPE_CONFIDENCE`.
        tail: exact one-sided Mann-Kendall probability of a run at least as one-sided, in the slope's direction.
    """

    n: int
    slope_per_day: float
    low_slope: float
    high_slope: float
    tail: float

    def ahead(self, position: float, sd: float, days: float) -> tuple[float, float, float]:
        """Chances to lie below, within and above the band after some days.

        The projection starts at the present position and follows the slope. Its standard deviation joins that of
        the present result with that of the slope, whose limits are read as those of a normal error.

        Args:
            position, sd: present position and its standard deviation [band widths], sd > 0.
            days: days ahead.

        >>> trend = Trend(4, -0.02, -0.03, -0.01, 0.04)
        >>> [round(chance, 2) for chance in trend.ahead(0.2, 0.2, 14)]
        [0.64, 0.36, 0.0]
        """
        return conformity(*self.projected(position, sd, days), 0.0, 1.0)

    def projected(self, position: float, sd: float, days: float) -> tuple[float, float]:
        """Position after some days and its standard deviation [band widths]; see `ahead`."""
        slope_sd = (self.high_slope - self.low_slope) / (2 * _Z)
        return position + self.slope_per_day * days, math.hypot(sd, slope_sd * days)


def trend(days: Sequence[int], positions: Sequence[float]) -> Trend | None:
    """Theil-Sen trend of positions against real days; None below `MIN_RESULTS` results.

    Slope and limits by scipy.stats.theilslopes (TREND-PNNL).

    Args:
        days: ordinals of the sampling days, rising, each once.
        positions: band positions, same length.
    """
    if len(days) < MIN_RESULTS:
        return None
    from scipy import stats

    x = [float(day - days[0]) for day in days]
    fit = stats.theilslopes(list(positions), x, alpha=SLOPE_CONFIDENCE)
    slope = float(fit.slope)
    return Trend(
        n=len(x),
        slope_per_day=slope,
        low_slope=float(fit.low_slope),
        high_slope=float(fit.high_slope),
        tail=kendall_tail(positions if slope >= 0 else [-value for value in positions]),
    )


def kendall_tail(values: Sequence[float]) -> float:
    """P(S >= s): how probable a run at least as rising as this one is, were the order of the values chance.

    S counts later values above earlier ones less those below (MANN-KENDALL-PAST). The distribution is exact, with
    equal values too, for which general-purpose libraries fall back on a normal approximation: the orders of the
    values are counted by their number of inversions.

    >>> round(kendall_tail([5, 6, 11, 8, 10]), 4), round(kendall_tail([1, 2, 3, 3]), 4)
    (0.1167, 0.0833)
    """
    pairs = [(early, late) for index, early in enumerate(values) for late in values[index + 1 :]]
    falling = sum(early > late for early, late in pairs)
    orders = [1]
    seen = 0
    for count in Counter(values).values():
        orders = _product(orders, _interleavings(seen, count))
        seen += count
    return sum(orders[: falling + 1]) / sum(orders)


def _interleavings(first: int, second: int) -> list[int]:
    """How many ways to interleave two runs have 0, 1, 2, ... inversions between them."""
    rows = [[1]] * (second + 1)
    for _ in range(first):
        for index in range(1, second + 1):
            pairs = zip_longest(rows[index - 1], [0] * index + rows[index], fillvalue=0)
            rows[index] = [a + b for a, b in pairs]
    return rows[second]


def _product(first: Sequence[int], second: Sequence[int]) -> list[int]:
    out = [0] * (len(first) + len(second) - 1)
    for i, a in enumerate(first):
        for j, b in enumerate(second):
            out[i + j] += a * b
    return out
