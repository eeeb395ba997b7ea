"""What a run comes to, worked out by hand on invented courses of a few weeks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

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
    aimed: Sequence[float] | None = None,
    room: Sequence[float] | None = None,
    band: Sequence[bool] | None = None,
) -> Course:
    """One season by its value in the middle of each week; other days are far below the band, and do not count.

    What was aimed at is what was fed, and there is room for everything, unless they are named.
    """
    count = len(weeks)
    value = np.full((7 * count, 1), 1.0)
    value[3::7, 0] = weeks
    low, high = np.full_like(value, LOW), np.full_like(value, HIGH)
    if band is not None:
        gone = np.repeat(np.array(band), 7) == 0
        low[gone] = high[gone] = NO_BAND
    rate = np.array(rates or [5.25] * count, dtype=float)[:, None]
    wanted = rate if aimed is None else np.array(aimed, dtype=float)[:, None]
    left = np.full_like(rate, math.inf) if room is None else np.array(room, dtype=float)[:, None]
    applied = np.zeros_like(value)
    applied[::7] = rate
    zero = np.zeros(1)
    pools = State(zero + 1.5, zero + 2.5, zero, zero, zero + 4.0, zero)
    return Course(value, low, high, rate, wanted, left, applied, zero + 0.7, zero, pools, zero, zero)


def moved(planned: Sequence[float], aimed: Sequence[float], **bounds: float) -> tuple[float, float]:
    """Changes and reversals of a season by its plan and what was aimed at [lb/ac in each week]."""
    found = course(*[IN] * len(planned), rates=aimed)
    measures = measured(found, plan(tuple(planned), **bounds))  # type: ignore[arg-type]
    return float(measures["changes"][0]), float(measures["reversals"][0])


def of_plan(found: Course, planned: Sequence[float], name: str, **bounds: float) -> float:
    return float(measured(found, plan(tuple(planned), **bounds))[name][0])  # type: ignore[arg-type]


def of(found: Course, name: str, **bounds: float) -> float:
    return of_plan(found, (5.25,) * len(found.rate), name, **bounds)


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


LEVEL = (5.0,) * 6
RAMP = (3.0, 4.0, 5.0, 6.0, 6.0, 4.0)


# --- changes and reversals ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("aimed", "changes", "reversals"),
    [
        ((5, 5, 5, 5, 5, 5), 0, 0),
        ((5, 5, 6, 6, 6, 6), 1, 0),
        ((6, 6, 6, 6, 6, 6), 1, 0),
        ((5, 6, 6.9, 6.9, 5.5, 5.5), 3, 1),
        ((6, 5, 6, 5, 6, 5), 6, 5),
        ((4.5, 4, 4, 4, 4, 4), 2, 0),
        ((5, 5, 5, 5, 5, 6), 1, 0),
    ],
)
def test_a_reversal_takes_back_the_direction_of_the_change_before(
    aimed: Sequence[float], changes: int, reversals: int
) -> None:
    assert moved(LEVEL, aimed) == (changes, reversals)


def test_a_change_that_runs_out_is_a_change_of_the_rate_and_takes_the_one_before_back() -> None:
    """Raised for weeks 2 and 3, and the plan again after that (invented)."""
    assert moved(LEVEL, (5, 6, 6, 5, 5, 5)) == (2, 1)


def test_a_late_result_after_a_raise_ran_out_makes_a_second_reversal() -> None:
    """Raised, run out, and raised again by the result that came a week late (invented)."""
    assert moved(LEVEL, (5, 6, 6, 5, 6, 6)) == (3, 2)


def test_the_ramp_of_the_plan_is_no_change() -> None:
    assert moved(RAMP, RAMP) == (0, 0)


def test_a_raise_that_follows_the_ramp_is_one_change() -> None:
    assert moved(RAMP, [1.1 * rate for rate in RAMP]) == (1, 0)


def test_a_raise_held_by_the_ceiling_where_the_plan_rises_is_one_change() -> None:
    """A third on 3, 4, 5, 6 and 6 lb/ac under a ceiling of 7 (invented)."""
    assert moved(RAMP[:5], (4.0, 16 / 3, 20 / 3, 7.0, 7.0)) == (1, 0)


def test_a_cut_held_by_the_floor_where_the_plan_falls_is_one_change() -> None:
    """A third off 6, 5, 4 and 3 lb/ac above a floor of 3; the last week runs at its plan (invented)."""
    assert moved((6, 5, 4, 3), (4.0, 10 / 3, 3.0, 3.0), floor=3.0) == (1, 0)


def test_a_raise_held_by_the_ceiling_is_no_second_change_where_the_plan_falls() -> None:
    """A third on 6, 6 and 4 lb/ac under a ceiling of 7: 7, 7 and 5.33 are one raise (invented)."""
    assert moved(RAMP[3:], (7.0, 7.0, 16 / 3)) == (1, 0)


def test_a_cut_held_by_the_floor_is_one_change_where_the_plan_rises() -> None:
    """A quarter off 3, 4, 5 and 6 lb/ac above a floor of 3: the first week cannot be cut (invented)."""
    assert moved(RAMP[:4], (3.0, 3.0, 3.75, 4.5), floor=3.0) == (1, 0)


@pytest.mark.parametrize(("off", "changes"), [(0.05, 0), (0.2, 1)])
def test_what_metering_rounds_off_is_no_change(off: float, changes: int) -> None:
    assert moved(LEVEL, (5, 5, 5 + off, 5 + off, 5 + off, 5 + off)) == (changes, 0)


def test_a_week_that_the_plan_feeds_nothing_in_is_no_change() -> None:
    assert moved((5, 5, 0, 5, 5), (5, 5, 0, 5, 5)) == (0, 0)
    assert moved((0, 0, 5, 5, 0), (0, 0, 6, 6, 0)) == (1, 0)
    assert moved((5, 5, 0, 5, 5), (5, 6, 0, 5, 5)) == (2, 1)
    assert moved((0, 0), (0, 0)) == (0, 0)


def test_what_the_season_cap_takes_off_the_plan_is_no_change() -> None:
    """12 lb/ac of 20: two weeks whole, one in part and one not at all (invented)."""
    found = course(IN, IN, IN, IN, rates=(5, 5, 2, 0), aimed=(5, 5, 5, 5), room=(12, 7, 2, 0))
    assert [of_plan(found, (5,) * 4, name, cap=12.0) for name in ("changes", "reversals")] == [0, 0]


def test_what_the_season_cap_takes_off_a_raise_is_no_change() -> None:
    """A decision holds its rates as the cap leaves them: raised to 6, 13 lb/ac last for two weeks and a bit."""
    found = course(IN, IN, IN, IN, rates=(6, 6, 1, 0), room=(13, 7, 1, 0))
    assert [of_plan(found, (5,) * 4, name, cap=13.0) for name in ("changes", "reversals")] == [1, 0]


def test_changes_and_reversals_of_each_season_are_its_own() -> None:
    """Three seasons beside each other count as each of them alone."""
    courses = [course(*[IN] * 6, rates=rates) for rates in ((5,) * 6, (6, 5, 6, 5, 6, 5), (5, 5, 4, 4, 4, 4))]
    names = ("value", "low", "high", "rate", "aimed", "room", "applied")
    joined: dict[str, Any] = {name: np.hstack([getattr(one, name) for one in courses]) for name in names}
    together = replace(courses[0], **joined)
    found = measured(together, plan(LEVEL))
    assert found["changes"].tolist() == [0, 6, 1]
    assert found["reversals"].tolist() == [0, 5, 0]


# --- bounds and cap -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("cap", "over"), [(11.0, 0.0), (10.995, 0.0), (10.9, 1.0)])
def test_a_cap_is_passed_by_more_than_what_rounding_does(cap: float, over: float) -> None:
    assert of(course(IN, IN, rates=(5.0, 6.0)), "over_cap", cap=cap) == over


def test_without_a_cap_nothing_is_known_of_passing_it() -> None:
    assert math.isnan(of(course(IN, IN), "over_cap"))


def test_less_than_the_floor_is_no_fault_where_the_cap_leaves_no_more() -> None:
    """A floor of 3: nothing where nothing is left is no fault, 1 lb/ac where 4 are left is one (invented)."""
    found = course(IN, IN, IN, rates=(5, 4, 0), room=(9, 4, 0))
    assert of(found, "out_of_bounds", floor=3.0, cap=9.0) == 0.0
    found = course(IN, IN, IN, rates=(5, 1, 3), room=(9, 4, 3))
    assert of(found, "out_of_bounds", floor=3.0, cap=9.0) == pytest.approx(1 / 3)


@pytest.mark.parametrize(
    ("rates", "share"), [((3.0, 7.0), 0.0), ((2.9, 7.0), 0.5), ((2.9, 7.1), 1.0), ((5.0, 5.0), 0.0)]
)
def test_weeks_outside_floor_and_ceiling_are_counted(rates: Sequence[float], share: float) -> None:
    assert of(course(IN, IN, rates=rates), "out_of_bounds", floor=3.0, ceiling=7.0) == share


def test_a_week_planned_below_the_floor_may_be_fed_its_plan() -> None:
    found = course(IN, IN, rates=(2.0, 5.25))
    the_plan = plan((2.0, 5.25), floor=3.0)
    assert measured(found, the_plan)["out_of_bounds"][0] == 0.0


# --- intervals ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seasons", [2, 3, 10, 400])
def test_an_interval_is_that_of_students_distribution(seasons: int) -> None:
    """Held against scipy.stats.t.interval of the standard error."""
    values = np.random.default_rng(5).normal(3.0, 2.0, seasons)
    found = estimate(values)
    low, high = stats.t.interval(0.95, seasons - 1, loc=values.mean(), scale=stats.sem(values))
    assert (found.mean, found.low, found.high) == pytest.approx((values.mean(), low, high), rel=1e-9)
    assert found.seasons == seasons


def test_an_interval_of_three_seasons_by_hand() -> None:
    """1, 2 and 3: 4.303 (t of 2 degrees, 95 %) times 1 / sqrt 3 is 2.484 either way."""
    found = estimate(np.array([1.0, math.nan, 2.0, 3.0]))
    assert (found.low, found.high) == pytest.approx((2.0 - 2.484, 2.0 + 2.484), abs=5e-4)
    assert found.seasons == 3


@pytest.mark.parametrize("seasons", [5, 30])
def test_an_interval_of_few_seasons_holds_the_truth_in_19_of_20_runs(seasons: int) -> None:
    """4,000 runs of normal values (analytic: 95 %), within four standard errors."""
    random = np.random.default_rng(7)
    runs = [estimate(random.normal(1.0, 3.0, seasons)) for _ in range(4000)]
    held = [found.low <= 1.0 <= found.high for found in runs]
    assert np.mean(held) == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 4000))


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
