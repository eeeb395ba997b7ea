"""What a run comes to, worked out by hand on invented courses of a few weeks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fertadjust.evidence import Evidence
from fertadjust.plan import Credit
from fertadjust.simulate.crop_model import State
from fertadjust.simulate.loop import Course
from fertadjust.simulate.measures import BY_NAME, MEASURES, estimate, measured, sides
from tests.support import plan

LOW, HIGH = 3000.0, 5000.0
NO_BAND = math.nan


def course(
    *weeks: float,
    rates: Sequence[float] | None = None,
    moves: Sequence[tuple[int, int]] = (),
    band: Sequence[bool] | None = None,
) -> Course:
    """One season by its value in the middle of each week; other days are far below the band, and do not count."""
    count = len(weeks)
    value = np.full((7 * count, 1), 1.0)
    value[3::7, 0] = weeks
    low, high = np.full_like(value, LOW), np.full_like(value, HIGH)
    if band is not None:
        gone = np.repeat(np.array(band), 7) == 0
        low[gone] = high[gone] = NO_BAND
    rate = np.array(rates or [5.25] * count)[:, None]
    applied = np.zeros_like(value)
    applied[::7] = rate
    zero = np.zeros(1)
    pools = State(zero + 1.5, zero + 2.5, zero, zero, zero + 4.0, zero)
    return Course(value, low, high, rate, applied, zero + 0.7, zero, pools, zero, [list(moves)], zero)


def of(found: Course, name: str, **bounds: float) -> float:
    the_plan = plan((5.25,) * len(found.rate), **bounds)  # type: ignore[arg-type]
    return float(measured(found, the_plan)[name][0])


IN, OUT_LOW, OUT_HIGH = 4000.0, 1500.0, 6000.0


def test_every_measure_is_taken_once_a_season() -> None:
    found = measured(course(IN, IN), plan((5.25,) * 2))
    assert list(found) == [item.name for item in MEASURES] == list(BY_NAME)
    assert all(values.shape == (1,) for values in found.values())


def test_shares_of_weeks_are_those_in_below_and_above_the_band() -> None:
    found = course(IN, OUT_LOW, OUT_LOW, OUT_HIGH, IN)
    assert [of(found, name) for name in ("in_band", "below", "above")] == pytest.approx([0.4, 0.4, 0.2])
    assert sides(found)[:, 0].tolist() == [0, -1, -1, 1, 0]


@pytest.mark.parametrize("edge", [LOW, HIGH])
def test_the_edges_belong_to_the_band(edge: float) -> None:
    assert of(course(edge), "in_band") == 1.0


def test_weeks_without_a_band_do_not_count() -> None:
    found = course(OUT_LOW, IN, IN, band=(False, True, True))
    assert of(found, "in_band") == 1.0
    assert of(found, "longest") == 0.0
    assert of(found, "deepest") == 0.0


def test_without_any_band_the_shares_are_unknown() -> None:
    assert math.isnan(of(course(IN, IN, band=(False, False)), "in_band"))


def test_the_deepest_shortage_is_a_share_of_the_edge() -> None:
    assert of(course(IN, 2400.0, 1500.0, OUT_HIGH), "deepest") == pytest.approx(0.5)
    assert of(course(IN, OUT_HIGH), "deepest") == 0.0


def test_the_longest_shortage_is_of_weeks_in_a_row() -> None:
    assert of(course(OUT_LOW, IN, OUT_LOW, OUT_LOW, OUT_LOW, OUT_HIGH, OUT_LOW), "longest") == 3


def test_time_to_return_is_the_mean_run_outside_the_band() -> None:
    assert of(course(IN, OUT_LOW, OUT_LOW, IN, OUT_HIGH, IN), "return") == pytest.approx(1.5)
    assert of(course(IN, OUT_LOW, OUT_LOW), "return") == 2
    assert math.isnan(of(course(IN, IN), "return"))


def test_from_below_straight_to_above_is_one_run_outside() -> None:
    assert of(course(IN, OUT_LOW, OUT_HIGH, IN), "return") == 2


def test_nitrogen_fed_leached_left_and_growth_lost_are_passed_on() -> None:
    found = course(IN, IN, rates=(5.0, 6.0))
    assert [of(found, name) for name in ("applied", "leached", "left", "unmet")] == pytest.approx([11, 4, 4, 0.7])


@pytest.mark.parametrize(
    ("directions", "changes", "reversals"),
    [((), 0, 0), ((1,), 1, 0), ((1, 1, -1), 3, 1), ((1, -1, 1, -1), 4, 3), ((-1, -1), 2, 0)],
)
def test_a_reversal_takes_back_the_direction_of_the_change_before(
    directions: Sequence[int], changes: int, reversals: int
) -> None:
    found = course(IN, moves=[(index, direction) for index, direction in enumerate(directions)])
    assert (of(found, "changes"), of(found, "reversals")) == (changes, reversals)


@pytest.mark.parametrize(("cap", "over"), [(11.0, 0.0), (10.995, 0.0), (10.9, 1.0)])
def test_a_cap_is_passed_by_more_than_what_rounding_does(cap: float, over: float) -> None:
    assert of(course(IN, IN, rates=(5.0, 6.0)), "over_cap", cap=cap) == over


def test_without_a_cap_none_is_passed() -> None:
    assert of(course(IN, IN), "over_cap") == 0.0


@pytest.mark.parametrize(
    ("rates", "share"), [((3.0, 7.0), 0.0), ((2.9, 7.0), 0.5), ((2.9, 7.1), 1.0), ((5.0, 5.0), 0.0)]
)
def test_weeks_outside_floor_and_ceiling_are_counted(rates: Sequence[float], share: float) -> None:
    assert of(course(IN, IN, rates=rates), "out_of_bounds", floor=3.0, ceiling=7.0) == share


def test_a_week_planned_below_the_floor_may_be_fed_its_plan() -> None:
    found = course(IN, IN, rates=(2.0, 5.25))
    the_plan = plan((2.0, 5.25), floor=3.0)
    assert measured(found, the_plan)["out_of_bounds"][0] == 0.0


def test_an_interval_is_that_of_the_normal_distribution() -> None:
    """Held against scipy.stats.norm.interval of the standard error."""
    values = np.random.default_rng(5).normal(3.0, 2.0, 400)
    found = estimate(values)
    low, high = stats.norm.interval(0.95, loc=values.mean(), scale=stats.sem(values))
    assert (found.mean, found.low, found.high) == pytest.approx((values.mean(), low, high), rel=1e-6)
    assert found.seasons == 400


def test_an_interval_holds_the_truth_in_19_of_20_runs() -> None:
    """2,000 runs of 100 skewed values: 95 %, two and a half hundredths left for the skew (analytic)."""
    random = np.random.default_rng(6)
    runs = [estimate(random.exponential(1.0, 100)) for _ in range(2000)]
    held = [found.low <= 1.0 <= found.high for found in runs]
    assert np.mean(held) == pytest.approx(0.95, abs=0.025)


def test_seasons_without_a_value_are_left_out() -> None:
    found = estimate(np.array([1.0, math.nan, 3.0]))
    assert (found.mean, found.seasons) == (2.0, 2)


def test_one_season_has_no_interval_and_none_has_no_mean() -> None:
    one, none = estimate(np.array([2.0])), estimate(np.array([math.nan]))
    assert one.mean == 2.0 and math.isnan(one.low) and math.isnan(one.high)
    assert math.isnan(none.mean) and none.seasons == 0


def test_credits_count_against_the_cap() -> None:
    credit = Credit("preplant", 20.0, "none", Evidence.OWN)
    found = course(IN, IN, rates=(5.0, 6.0))
    the_plan = replace(plan((5.25,) * 2, cap=30.0), credits=(credit,))
    assert measured(found, the_plan)["over_cap"][0] == 1.0
    assert measured(found, replace(the_plan, cap_lb_ac=31.0))["over_cap"][0] == 0.0
