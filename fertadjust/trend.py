"""Robust trend of band position: Theil-Sen slope, exact Mann-Kendall tail, projection."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

MIN_RESULTS = 4
"""Three results can never reach a one-sided 0.05 by the Mann-Kendall test (exact tail, MANN-KENDALL-PAST)."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Trend of band position against days.

    Attributes:
        n: number of results.
        slope_per_day: Theil-Sen slope [band widths per day].
        low_slope, high_slope: confidence limits of the slope (90 %).
        intercept: median of position - slope x day [band widths].
        first_day: ordinal of day 0.
        tail: exact one-sided Mann-Kendall probability of a run at least as one-sided, in the slope's direction.
    """

    n: int
    slope_per_day: float
    low_slope: float
    high_slope: float
    intercept: float
    first_day: int
    tail: float

    def position_on(self, ordinal: int) -> float:
        """Projected position on a day (``date.toordinal``)."""
        return self.intercept + self.slope_per_day * (ordinal - self.first_day)


def trend(days: Sequence[int], positions: Sequence[float], confidence: float = 0.90) -> Trend | None:
    """Theil-Sen trend of positions against real days; None below `MIN_RESULTS` results.

    Slope and limits by scipy.stats.theilslopes, intercept as the median residual (TREND-PNNL), the tail by the
    exact distribution of Kendall's S for data without ties, by scipy.stats.kendalltau.

    Args:
        days: ordinals of the sampling days, rising.
        positions: band positions, same length.
        confidence: two-sided confidence of the slope's limits.
    """
    if len(days) < MIN_RESULTS or len(set(days)) < MIN_RESULTS:
        return None
    from scipy import stats

    x = [float(day - days[0]) for day in days]
    fit = stats.theilslopes(list(positions), x, alpha=confidence)
    slope = float(fit.slope)
    rising: Literal["greater", "less"] = "greater" if slope >= 0 else "less"
    ties = len(set(positions)) < len(positions) or len(set(days)) < len(days)
    exact: Literal["exact", "auto"] = "auto" if ties else "exact"
    tail = float(stats.kendalltau(x, list(positions), method=exact, alternative=rising).pvalue)
    if math.isnan(tail):  # every position is the same: no run at all
        tail = 1.0
    return Trend(
        n=len(x),
        slope_per_day=slope,
        low_slope=float(fit.low_slope),
        high_slope=float(fit.high_slope),
        intercept=median(value - slope * day for day, value in zip(x, positions, strict=True)),
        first_day=days[0],
        tail=tail,
    )
