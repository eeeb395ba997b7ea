"""What a just supplied crop shows in its petioles on each day: the middle of the band, smoothed over a week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from fertadjust.bands import BandTable
from fertadjust.errors import Fault, OutOfSeason, UserError
from fertadjust.simulate.parameters import Array
from fertadjust.stages import StageDates
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.units import DAYS_PER_WEEK

_MARGIN = 70
"""Days before and after the plan that are looked at, for crops that are earlier or later than their dates."""


@dataclass(frozen=True, slots=True)
class Reference:
    """Band and middle on each day around a plan.

    Attributes:
        middle, low, high: one entry a day, from `_MARGIN` days before the plan on [stored unit]. Before the first
            and after the last day with a band the nearest one holds for the middle; the edges are not a number.
        unit: stored unit.
    """

    middle: Array
    low: Array
    high: Array
    unit: str

    @classmethod
    def of(cls, table: BandTable, stages: StageDates, first: date, days: int) -> Reference:
        """The reference of a table by the season's stage dates.

        Args:
            table, stages: the bands and what places them.
            first: first day of the plan.
            days: its length.

        Raises:
            UserError: the table has no day with a band, or one with a single edge.
        """
        analyte = MAIN_ANALYTE[table.tissue]
        low, high = (np.full(days + 2 * _MARGIN, np.nan) for _ in range(2))
        unit = ""
        for index in range(len(low)):
            try:
                band = table.band_on(analyte, first + timedelta(days=index - _MARGIN), stages)
            except OutOfSeason:
                continue
            if band.low is None or band.high is None:
                if not _MARGIN <= index < _MARGIN + days:
                    continue
                message = f"the model needs bands with both edges; row {band.row} of {table.id} has one edge only"
                raise UserError(Fault(message, key="bands.tables"))
            low[index], high[index], unit = band.low, band.high, band.unit
        known = np.flatnonzero(~np.isnan(low[_MARGIN : _MARGIN + days]))
        if not known.size:
            raise UserError(Fault(f"{table.id} has no band in the weeks of the plan", key="bands.tables"))
        return cls(np.exp(_smoothed(np.log(low * high) / 2)), low, high, unit)

    def on(self, day: NDArray[np.int64]) -> tuple[Array, Array, Array]:
        """Middle, low and high on days of the plan, 0 being its first."""
        at = np.clip(day + _MARGIN, 0, len(self.middle) - 1)
        return self.middle[at], self.low[at], self.high[at]


def _smoothed(values: Array) -> Array:
    """Running mean over a week, the nearest known value standing for what is missing."""
    known = np.flatnonzero(~np.isnan(values))
    filled = np.interp(np.arange(len(values)), known, values[known])
    half = DAYS_PER_WEEK // 2
    padded = np.pad(filled, half, mode="edge")
    return np.convolve(padded, np.full(DAYS_PER_WEEK, 1.0 / DAYS_PER_WEEK), mode="valid")
