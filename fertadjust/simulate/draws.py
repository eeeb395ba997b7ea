"""Everything that chance decides in a batch of seasons, drawn before it runs.

The draws do not depend on what is decided in a season, so every way of deciding meets the same seasons.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fertadjust.simulate.parameters import Array, CropModel
from fertadjust.simulate.scenario import Days, Scenario, Span
from fertadjust.units import DAYS_PER_WEEK

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Draws:
    """Chance in some seasons; arrays over seasons, or over days and seasons.

    Attributes:
        shares: name of a figure of the crop -> share of the way through its range.
        need, soil_at_start, water_ppm, bias: of the field and the laboratory; see `Scenario`.
        days_off: days by which the crop is later than the dates say.
        logs: whether the grower keeps a log.
        rain_lost: share of the nitrate that the day's rain takes; 0 without one.
        rain_noted: whether the grower notes the day's rain.
        missed: whether an injection of the day is left out.
        noise: standard normal error of a sample taken on the day.
        lost: whether a sample of the day never comes to a result.
        result_days: days from a sample of the day to its result.
    """

    shares: dict[str, Array]
    need: Array
    soil_at_start: Array
    water_ppm: Array
    bias: Array
    days_off: Whole
    logs: Flags
    rain_lost: Array
    rain_noted: Flags
    missed: Flags
    noise: Array
    lost: Flags
    result_days: Whole


def draws(model: CropModel, scenario: Scenario, seed: int, batch: int, count: int, days: int) -> Draws:
    """Chance of one batch; the same for the same arguments.

    Args:
        model, scenario: what is drawn from.
        seed, batch: seed of the run and number of the batch.
        count: seasons in the batch.
        days: days of a season.
    """
    random = np.random.default_rng([seed, batch])

    def evenly(span: Span) -> Array:
        return span.low + (span.high - span.low) * random.random(count)

    def whole(span: Days, *shape: int) -> Whole:
        return random.integers(span.low, span.high, size=shape, endpoint=True)

    field, laboratory, rain = scenario.field, scenario.laboratory, scenario.rain
    wide = (days, count)
    return Draws(
        shares={name: random.random(count) for name in model.figures},
        need=evenly(field.need),
        soil_at_start=evenly(field.soil_at_start),
        water_ppm=evenly(field.water_nitrate),
        bias=evenly(laboratory.bias),
        days_off=whole(scenario.stage.days_off, count),
        logs=random.random(count) < scenario.feeding.logged,
        rain_lost=np.where(
            random.random(wide) < rain.a_week / DAYS_PER_WEEK,
            rain.lost.low + (rain.lost.high - rain.lost.low) * random.random(wide),
            0.0,
        ),
        rain_noted=random.random(wide) < rain.noted,
        missed=random.random(wide) < scenario.feeding.missed,
        noise=random.standard_normal(wide),
        lost=random.random(wide) < scenario.sampling.lost,
        result_days=whole(laboratory.days, *wide),
    )
