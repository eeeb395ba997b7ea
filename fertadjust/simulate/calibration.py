"""The one figure of a crop's model that is fitted, and how its curve then runs against the band.

Fitted: mineral nitrogen at the start (the middle of its range). Fitted to: the middle of the weekly band, for a
crop fed at the rate that its publication calls sufficient. Nothing else is fitted. A second figure, the mineral
nitrogen of a just supplied crop, could not be: with both free the best fit is a bed so full that no rate matters.
Where no start keeps a crop in its band at that rate, as for tomato, nothing is fitted and the crop's file says so.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from fertadjust.errors import FertadjustError
from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import FixedPlan
from fertadjust.simulate.draws import draws
from fertadjust.simulate.loop import Batch, Course, Setup, table_of
from fertadjust.simulate.measures import MIDWEEKS
from fertadjust.simulate.parameters import Array, CropModel
from fertadjust.simulate.scenario import Scenario

SEED: Final = 20
SEASONS: Final = 400
_SEARCHED: Final = (1.0, 100.0)
"""Range of the mineral nitrogen at the start that is searched [lb/ac]."""
_NEAR: Final = 0.1
NOTHING_WRONG: Final = Scenario(schema=1, id="nothing-wrong", title="Nothing goes wrong.")


class Fit(NamedTuple):
    """A fit.

    Attributes:
        soil_at_start: middle of the fitted range [lb/ac].
        off: root mean square of the median curve's distance from the middle of the band [band widths].
    """

    soil_at_start: float
    off: float


def fed_at(season: BlockSeason, model: CropModel, factor: float, seasons: int = SEASONS) -> Course:
    """Seasons of the plan's own rates times a factor, in which nothing goes wrong.

    Args:
        season: the plan and the band tables.
        model: the crop.
        factor: on every planned rate; the bounds play no part.
        seasons: how many.
    """
    plan = replace(season.plan, rates_lb_ac=tuple(factor * rate for rate in season.plan.rates_lb_ac))
    fed = replace(season, plan=plan)
    setup = Setup(fed, model, NOTHING_WRONG, table_of(fed), SEED)
    drawn = draws(model, NOTHING_WRONG, SEED, 0, seasons, setup.days)
    return Batch(setup, drawn, FixedPlan()).run()


def positions(course: Course) -> Array:
    """Median band position in the middle of each week: 0 at the low edge, 1 at the high edge."""
    value, low, high = course.value[MIDWEEKS], course.low[MIDWEEKS], course.high[MIDWEEKS]
    return np.asarray(np.median(np.log(value / low) / np.log(high / low), axis=1))


def fitted(season: BlockSeason, model: CropModel) -> Fit:
    """Fit the mineral nitrogen at the start; the width of its range stays in proportion.

    Args:
        season: a season at the published sufficient rate.
        model: the crop.

    Raises:
        FertadjustError: the search ends at the end of its range, so that there is no fit.
    """
    from scipy.optimize import minimize_scalar

    figure = model.soil_at_start
    middle = (figure.low + figure.high) / 2

    def off(tried: float) -> float:
        ends = {"low": figure.low * tried / middle, "high": figure.high * tried / middle}
        other = model.model_copy(update={"soil_at_start": figure.model_copy(update=ends)})
        return float(np.sqrt(np.nanmean((positions(fed_at(season, other, 1.0)) - 0.5) ** 2)))

    found = minimize_scalar(off, bounds=_SEARCHED, method="bounded", options={"xatol": 0.01})
    if not _SEARCHED[0] + _NEAR < found.x < _SEARCHED[1] - _NEAR:
        raise FertadjustError(f"no start between {_SEARCHED[0]:g} and {_SEARCHED[1]:g} lb/ac fits the band")
    return Fit(float(found.x), float(found.fun))
