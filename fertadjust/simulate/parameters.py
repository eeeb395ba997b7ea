"""What the crop-nitrogen model is made of: every figure with unit, source and evidence. Data, not code.

Where no figure is published a range is stated, and each simulated season draws its own value from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any, Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from fertadjust.errors import Fault, UserError
from fertadjust.evidence import Evidence
from fertadjust.stages import StageDates, stage_words
from fertadjust.strict import Strict
from fertadjust.units import KG_HA_PER_LB_AC

Array = NDArray[np.float64]


class Range(Strict):
    """One figure of the model: a value, or a range that each season draws from evenly.

    Attributes:
        name: what it is called, in a few words.
        low, high: ends of the range [unit]; equal for a single value.
        unit, meaning: what it is.
        source, evidence: where it comes from. A range that is assumed says "project rule".
        fitted: what the figure was fitted to, or "".
    """

    name: str = ""
    low: float = Field(allow_inf_nan=False)
    high: float = Field(allow_inf_nan=False)
    unit: str
    meaning: str
    source: str
    evidence: Evidence
    fitted: str = ""

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.low > self.high:
            raise ValueError(f"low {self.low:g} is above high {self.high:g}")
        return self

    def at(self, share: Array) -> Array:
        """Values at shares (0 to 1) of the way from low to high, in lb/ac where the unit is per hectare."""
        value = self.low + (self.high - self.low) * share
        return value / KG_HA_PER_LB_AC if self.unit.startswith("kg/ha") else value


class DemandPoint(Strict):
    """A point of the demand curve, which runs straight from each to the next and level before and after.

    Attributes:
        day: days after the curve's origin.
        share: share of the peak.
    """

    day: Range
    share: Range


class Origin(Strict):
    """A stage that places the demand curve, and the day of the curve that it falls on."""

    stage: str
    day: int


class CropModel(Strict):
    """The crop-nitrogen model of one crop.

    Attributes:
        crop, title: the crop.
        first: what has to be said of this model before anything else, in a sentence, or "".
        not_for: growing systems that it is no model of, and their kinds: "greenhouse, soilless" is "greenhouse".
        tells_not: what the model cannot tell, in sentences.
        origins: stages that can place the demand curve; the first one with a date does.
        demand: points of the demand curve in order of time.
        peak_demand: nitrogen that a fully supplied crop turns into growth at the peak [kg/ha/day].
        soil_at_start: mineral nitrogen in the bed's root zone when feeding begins [lb/ac].
        soil_days: mineral nitrogen at which the crop is just supplied, in days of peak demand.
        half_uptake: mineral nitrogen at which uptake is half of the most it can be, in parts of that.
        mineralised: nitrogen from soil organic matter [kg/ha/day].
        nitrification_days: mean time that ammonium takes to become nitrate.
        store_days: nitrate stored in a just supplied plant, in days of its demand.
        store_most: the most that can be stored, in parts of that; uptake falls to nothing there.
        half_growth: store at which growth is half of the most it can be, in parts of that of a supplied plant.
        root_zone_water: water in the root zone [mm].
        water_use: water use of the crop [mm/day].
        irrigation: irrigation in parts of water use; what is more drains.
    """

    schema_: Literal[1] = Field(alias="schema")
    crop: str
    title: str
    first: str = ""
    not_for: tuple[str, ...] = ()
    tells_not: tuple[str, ...] = Field(min_length=1)
    origins: tuple[Origin, ...] = Field(min_length=1)
    demand: tuple[DemandPoint, ...] = Field(min_length=1)
    peak_demand: Range
    soil_at_start: Range
    soil_days: Range
    half_uptake: Range
    mineralised: Range
    nitrification_days: Range
    store_days: Range
    store_most: Range
    half_growth: Range
    root_zone_water: Range
    water_use: Range
    irrigation: Range

    @model_validator(mode="after")
    def _check(self) -> Self:
        for early, late in zip(self.demand, self.demand[1:], strict=False):
            if early.day.high >= late.day.low:
                raise ValueError("the points of the demand curve should lie apart, in order of time")
        if self.store_most.low <= 1.0:
            raise ValueError("store_most should be above 1")
        return self

    @property
    def figures(self) -> dict[str, Range]:
        """Every figure that is drawn, by name, in a fixed order."""
        plain = {name: getattr(self, name) for name in _PLAIN}
        points = enumerate(self.demand)
        return plain | {
            f"demand_{part}_{index}": getattr(point, part) for index, point in points for part in ("day", "share")
        }

    def holds_for(self, system: str) -> bool:
        """Whether it is a model of the crop in a growing system."""
        return not any(system == other or system.startswith(f"{other},") for other in self.not_for)

    def origin_day(self, stages: StageDates) -> date:
        """Day 0 of the demand curve.

        Raises:
            UserError: none of the stages that could place it has a date.
        """
        for origin in self.origins:
            if origin.stage in stages.dates:
                return stages.dates[origin.stage] - timedelta(days=origin.day)
        names = ", ".join(stage_words(origin.stage) for origin in self.origins)
        raise UserError(
            Fault(f"the model of {self.crop} needs the date of one of these stages in season.toml: {names}")
        )


_PLAIN = tuple(name for name, info in CropModel.model_fields.items() if info.annotation is Range)


class Crops(NamedTuple):
    """Drawn figures of some seasons, one array entry a season; pounds, acres and days.

    Attributes:
        peak, soil_start, mineralised: [lb/ac/day], [lb/ac], [lb/ac/day].
        soil_reference, half_uptake: mineral nitrogen of a just supplied crop, and at half uptake [lb/ac].
        nitrify, drain: shares that are nitrified and drained in a day [1/day].
        store_days, store_most, half_growth: as in `CropModel`.
        points: (day, share of peak) of the demand curve.
    """

    peak: Array
    soil_start: Array
    mineralised: Array
    soil_reference: Array
    half_uptake: Array
    nitrify: Array
    drain: Array
    store_days: Array
    store_most: Array
    half_growth: Array
    points: tuple[tuple[Array, Array], ...]

    @property
    def seasons(self) -> int:
        """Number of seasons."""
        return len(self.peak)

    def demand(self, day: float | Array) -> Array:
        """Nitrogen that a fully supplied crop turns into growth, on a day of the demand curve [lb/ac/day]."""
        share = self.points[0][1].copy()
        for (day_0, share_0), (day_1, share_1) in zip(self.points, self.points[1:], strict=False):
            share += (share_1 - share_0) * np.clip((day - day_0) / (day_1 - day_0), 0.0, 1.0)
        return self.peak * share

    def demand_slope(self, day: float | Array) -> Array:
        """How fast the demand rises on a day of the demand curve [lb/ac/day per day]."""
        slope = np.zeros_like(self.peak)
        for (day_0, share_0), (day_1, share_1) in zip(self.points, self.points[1:], strict=False):
            inside = (day >= day_0) & (day < day_1)
            slope += np.where(inside, (share_1 - share_0) / (day_1 - day_0), 0.0)
        return self.peak * slope


def crops(model: CropModel, shares: Mapping[str, Array], demand_factor: Array, start_factor: Array) -> Crops:
    """Figures of some seasons.

    Args:
        model: the crop.
        shares: name of a figure -> share (0 to 1) of the way through its range, one for each season.
        demand_factor: what the crop needs beside the published demand.
        start_factor: mineral nitrogen at the start beside what the model states.
    """
    value: dict[str, Any] = {name: figure.at(shares[name]) for name, figure in model.figures.items()}
    peak = value["peak_demand"]
    reference = value["soil_days"] * peak
    return Crops(
        peak=peak * demand_factor,
        soil_start=value["soil_at_start"] * start_factor,
        mineralised=value["mineralised"],
        soil_reference=reference,
        half_uptake=value["half_uptake"] * reference,
        nitrify=1.0 / value["nitrification_days"],
        drain=np.maximum(value["irrigation"] - 1.0, 0.0) * value["water_use"] / value["root_zone_water"],
        store_days=value["store_days"],
        store_most=value["store_most"],
        half_growth=value["half_growth"],
        points=tuple(
            (value[f"demand_day_{index}"], value[f"demand_share_{index}"]) for index in range(len(model.demand))
        ),
    )


def middle(model: CropModel, count: int = 1) -> Crops:
    """The figures in the middle of their ranges, the same for every season."""
    half = np.full(count, 0.5)
    return crops(model, dict.fromkeys(model.figures, half), np.ones(count), np.ones(count))
