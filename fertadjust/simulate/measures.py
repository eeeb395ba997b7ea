"""What a run of simulated seasons comes to, with confidence intervals over seasons."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from fertadjust.plan import Plan
from fertadjust.simulate.loop import Course
from fertadjust.simulate.parameters import Array
from fertadjust.units import DAYS_PER_WEEK

MIDWEEK: Final = 3
"""Day of a week on which the crop is held against its band, 0 being its first."""
MIDWEEKS: Final = slice(MIDWEEK, None, DAYS_PER_WEEK)
"""Those days of a season."""

ROUNDING: Final = 1e-12
"""Less than this is rounding."""
_MOVED: Final = 0.1
"""Nitrogen by which a week's rate has to differ from that of the week before, plan for plan, to count [lb/ac]."""
_SPENT: Final = 0.01
"""Nitrogen by which a cap has to be passed to count [lb/ac]: weekly rates are metered in steps."""


class Measure(NamedTuple):
    """One measure of a run.

    Attributes:
        name: its key.
        words: what it is, in a grower's words.
        unit: "share", "weeks", "lb/ac" or "" for a count.
        better: 1 when more is better, -1 when less is, 0 when neither is.
    """

    name: str
    words: str
    unit: str
    better: int


MEASURES: Final = (
    Measure("in_band", "weeks with the crop in its band", "share", 1),
    Measure("below", "weeks below the band", "share", -1),
    Measure("above", "weeks above the band", "share", -1),
    Measure("deepest", "deepest shortage below the band's edge", "share", -1),
    Measure("longest", "longest shortage", "weeks", -1),
    Measure("return", "mean length of a time out of the band, cut off by the season's end", "weeks", -1),
    Measure("unmet", "growth lost for want of nitrogen", "lb/ac", -1),
    Measure("applied", "nitrogen fed", "lb/ac", 0),
    Measure("leached", "nitrogen leached", "lb/ac", -1),
    Measure("left", "nitrogen left in the bed", "lb/ac", -1),
    Measure("changes", "changes of the rate, those that ran out among them", "", 0),
    Measure("reversals", "changes that take back the direction of the one before", "", -1),
    Measure("wrong_way", "weeks fed the wrong way: more than planned above the band, less below it", "share", -1),
    Measure("over_cap", "seasons that pass the season cap", "share", -1),
    Measure("out_of_bounds", "weeks outside floor and ceiling", "share", -1),
)
"""Every measure, in the order in which it is shown."""

BY_NAME: Final = {item.name: item for item in MEASURES}


class Estimate(NamedTuple):
    """Mean over seasons and its 95 % confidence interval; not a number where no season counts.

    Attributes:
        mean, low, high: in the measure's unit.
        seasons: seasons behind it.
    """

    mean: float
    low: float
    high: float
    seasons: int

    @property
    def clear(self) -> int:
        """Direction in which it clearly lies from nothing: -1, 1, or 0 where it holds 0 or is not known."""
        return (self.low > ROUNDING) - (self.high < -ROUNDING)


def estimate(values: Array) -> Estimate:
    """Mean and its 95 % interval of one value a season, by Student's t distribution; missing ones left out."""
    known = values[~np.isnan(values)]
    if not known.size:
        return Estimate(math.nan, math.nan, math.nan, 0)
    mean = float(known.mean())
    half = math.nan
    if known.size > 1:
        half = float(stdtrit(known.size - 1, 0.975) * known.std(ddof=1) / math.sqrt(known.size))
    return Estimate(mean, mean - half, mean + half, int(known.size))


def sides(course: Course) -> NDArray[np.float64]:
    """-1, 0 or 1 for each week and season, by what is really there in the middle of the week.

    Not a number where the table has no band.
    """
    value, low, high = course.value[MIDWEEKS], course.low[MIDWEEKS], course.high[MIDWEEKS]
    side = (value > high).astype(float) - (value < low).astype(float)
    return np.where(np.isnan(low), np.nan, side)


def measured(course: Course, plan: Plan) -> dict[str, Array]:
    """Every measure of `MEASURES`, one value a season; not a number where a season has nothing to count."""
    side = sides(course)
    known = ~np.isnan(side)
    weeks = np.where(known.any(axis=0), known.sum(axis=0), np.nan)
    below, above = side == -1.0, side == 1.0
    gap = np.where(below, 1.0 - course.value[MIDWEEKS] / course.low[MIDWEEKS], 0.0)
    moves = _moves(course, plan)
    applied = course.applied.sum(axis=0)
    passed = np.full(len(applied), np.nan)
    if plan.cap_lb_ac is not None:
        passed = (applied + plan.credits_lb_ac > plan.cap_lb_ac + _SPENT).astype(float)
    return {
        "in_band": (side == 0.0).sum(axis=0) / weeks,
        "below": below.sum(axis=0) / weeks,
        "above": above.sum(axis=0) / weeks,
        "deepest": gap.max(axis=0),
        "longest": _longest(below),
        "return": _to_return(side),
        "unmet": course.unmet,
        "applied": applied,
        "leached": course.state.leached,
        "left": course.state.nitrate + course.state.ammonium,
        "changes": np.abs(moves).sum(axis=0),
        "reversals": _reversals(moves),
        "wrong_way": _wrong_way(course, plan, side).sum(axis=0) / weeks,
        "over_cap": passed,
        "out_of_bounds": _outside(course, plan).mean(axis=0),
    }


def _outside(course: Course, plan: Plan) -> NDArray[np.bool_]:
    """Weeks and seasons outside floor and ceiling; where the cap leaves less than the floor, less is no fault."""
    planned = np.array(plan.rates_lb_ac)[:, None]
    lowest = np.minimum(np.minimum(plan.floor_lb_ac, planned), course.room)
    outside = (course.rate > plan.ceiling_lb_ac + _SPENT) | (course.rate < lowest - _SPENT)
    return np.asarray(outside)


def _longest(flags: NDArray[np.bool_]) -> Array:
    """Longest run of true in each column."""
    run = longest = np.zeros(flags.shape[1])
    for row in flags:
        run = np.where(row, run + 1.0, 0.0)
        longest = np.maximum(longest, run)
    return longest


def _to_return(side: Array) -> Array:
    """Mean length of the runs outside the band in each column, one that the season ends in counted as it is.

    Not a number for a season that never left its band.
    """
    outside = np.abs(np.nan_to_num(side)) > 0
    begun = outside & ~np.vstack([np.zeros((1, side.shape[1]), dtype=bool), outside[:-1]])
    runs = begun.sum(axis=0)
    return np.where(runs > 0, outside.sum(axis=0) / np.maximum(runs, 1), np.nan)


def _capped(course: Course) -> NDArray[np.bool_]:
    """Weeks and seasons that the season cap cuts short or leaves nothing for."""
    return np.asarray((course.aimed >= course.room - _SPENT) & (course.rate <= course.room + _SPENT))


def _moves(course: Course, plan: Plan) -> Array:
    """-1, 0 or 1 for each week and season: whether what was aimed at moved since the last move.

    Moved beside the plan, whose own ramp is no move. A change that runs out moves it as well. What the season cap
    takes off does not, nor does what floor and ceiling let a change act more or less on a plan that ramps.
    """
    enough = max(_MOVED, 0.75 * plan.rate_step_lb_ac)
    least, most, factor = (np.ones(course.aimed.shape[1]) for _ in range(3))
    moves, capped = np.zeros_like(course.aimed), _capped(course)
    for week, planned in enumerate(plan.rates_lb_ac):
        if planned <= 0:
            continue
        aimed = course.aimed[week]
        floor, ceiling = min(plan.floor_lb_ac, planned), plan.ceiling_lb_ac
        up = aimed > np.maximum(planned * factor, np.clip(planned * most, floor, ceiling)) + enough
        down = aimed < np.minimum(planned * factor, np.clip(planned * least, floor, ceiling)) - enough
        moved = (up | down) & ~capped[week]
        moves[week] = np.where(moved, up.astype(float) - down, 0.0)
        now = aimed / planned
        held_up = (aimed > planned + enough) & (np.abs(aimed - ceiling) <= enough)
        held_down = (aimed < planned - enough) & (np.abs(aimed - floor) <= enough)
        factor = np.where(moved, now, factor)
        most = np.where(moved, np.where(held_up, np.inf, now), most)
        least = np.where(moved, np.where(held_down, 0.0, now), least)
    return moves


def _wrong_way(course: Course, plan: Plan, side: Array) -> NDArray[np.bool_]:
    """Weeks and seasons above the band at more than the plan, or below it at less; not where the cap decides."""
    more = course.aimed - np.array(plan.rates_lb_ac)[:, None]
    wrong = ((side == 1.0) & (more > _MOVED)) | ((side == -1.0) & (more < -_MOVED))
    return np.asarray(wrong & ~_capped(course))


def _reversals(moves: Array) -> Array:
    """Moves of each season that go against the one before."""
    last = count = np.zeros(moves.shape[1])
    for row in moves:
        count = count + (row * last < 0)
        last = np.where(row != 0, row, last)
    return count
