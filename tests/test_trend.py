"""The robust trend of band position: when there is one, how steep, how sure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations, permutations, product

import pytest
from scipy import stats

from fertadjust.tissue import Basis, Method, TissueResult
from fertadjust.trend import MIN_RESULTS, SLOPE_CONFIDENCE, Trend, kendall_tail, trend
from tests import support

DAY = support.BLOOM.toordinal()


def test_three_results_are_no_trend_and_four_are() -> None:
    assert MIN_RESULTS == 4
    assert trend([0, 7, 14], [0.1, 0.2, 0.3]) is None
    assert trend([], []) is None
    assert trend([0, 7, 14, 21], [0.1, 0.2, 0.3, 0.4]) is not None


def test_a_straight_fall_has_its_own_slope_and_the_smallest_tail() -> None:
    found = trend([DAY, DAY + 7, DAY + 14, DAY + 21], [0.9, 0.7, 0.5, 0.3])
    assert found is not None
    assert found.n == 4
    assert found.slope_per_day == pytest.approx(-0.2 / 7)
    assert found.low_slope == pytest.approx(-0.2 / 7) == found.high_slope
    assert found.tail == pytest.approx(1 / 24)


def test_real_days_count_and_not_the_order_of_samples() -> None:
    even = trend([0, 7, 14, 21], [0.0, 0.1, 0.2, 0.3])
    uneven = trend([0, 14, 28, 42], [0.0, 0.1, 0.2, 0.3])
    assert even is not None and uneven is not None
    assert even.slope_per_day == pytest.approx(2 * uneven.slope_per_day)


def test_one_wild_result_does_not_move_the_slope() -> None:
    calm = trend([0, 7, 14, 21, 28, 35, 42], [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7])
    wild = trend([0, 7, 14, 21, 28, 35, 42], [0.1, 0.2, 0.3, 0.4, 0.5, 9.0, 0.7])
    assert calm is not None and wild is not None
    assert wild.slope_per_day == pytest.approx(calm.slope_per_day)
    assert wild.tail > calm.tail


def test_the_calendar_does_not_matter() -> None:
    early, late = (trend([d + k for k in (0, 9, 14, 30)], [0.4, 0.1, 0.3, 0.2]) for d in (0, DAY))
    assert early is not None and late is not None
    assert early == late


def test_rising_and_falling_are_mirror_images() -> None:
    positions = [0.2, 0.5, 0.4, 0.9, 1.1]
    up, down = trend([0, 7, 14, 21, 28], positions), trend([0, 7, 14, 21, 28], [-value for value in positions])
    assert up is not None and down is not None
    assert down.slope_per_day == pytest.approx(-up.slope_per_day)
    assert (down.low_slope, down.high_slope) == pytest.approx((-up.high_slope, -up.low_slope))
    assert down.tail == pytest.approx(up.tail)


def test_limits_hold_the_slope_and_are_those_of_the_stated_confidence() -> None:
    days, positions = [0, 7, 14, 21, 28, 35], [0.9, 0.95, 0.6, 0.7, 0.2, 0.25]
    found = trend(days, positions)
    assert found is not None
    fit = stats.theilslopes(positions, days, alpha=0.90)
    assert SLOPE_CONFIDENCE == 0.90
    assert (found.low_slope, found.high_slope) == pytest.approx((fit.low_slope, fit.high_slope))
    assert found.low_slope < found.slope_per_day < found.high_slope


def test_equal_positions_are_no_run_in_either_direction() -> None:
    found = trend([0, 7, 14, 21], [0.5, 0.5, 0.5, 0.5])
    assert found is not None
    assert found.slope_per_day == 0.0
    assert found.tail == 1.0


def test_ties_between_some_of_five_results_leave_a_trend() -> None:
    found = trend([0, 7, 14, 21, 28], [0.5, 0.5, 0.3, 0.2, 0.1])
    assert found is not None
    assert found.slope_per_day < 0
    assert found.tail == pytest.approx(2 / 120)  # the two equal ones may change places


# --- the exact tail ------------------------------------------------------------------------------------------


def s_of(values: Sequence[float]) -> int:
    """Mann-Kendall S: later values above earlier ones less those below."""
    return sum((late > early) - (late < early) for early, late in combinations(values, 2))


def enumerated_tail(values: Sequence[float]) -> float:
    """Share of all orders of the values that run at least as much upwards."""
    sums = [s_of(order) for order in permutations(values)]
    return sum(one >= s_of(values) for one in sums) / len(sums)


@pytest.mark.parametrize("count", range(1, 7))
def test_without_ties_the_tail_is_the_share_of_all_orders(count: int) -> None:
    sums = [s_of(order) for order in permutations(range(count))]
    for order in permutations(range(count)):
        expected = sum(one >= s_of(order) for one in sums) / len(sums)
        assert kendall_tail(order) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("count", range(1, 6))
def test_with_any_ties_the_tail_is_the_share_of_all_orders(count: int) -> None:
    for values in product(range(min(count, 4)), repeat=count):
        assert kendall_tail(values) == pytest.approx(enumerated_tail(values), rel=1e-12), values


@pytest.mark.parametrize("values", [(1, 1, 2, 2, 3, 3, 4), (2, 1, 1, 1, 3, 4, 4), (5, 5, 5, 1, 2, 2, 9)])
def test_seven_values_with_ties_have_the_tail_of_all_their_orders(values: tuple[int, ...]) -> None:
    assert kendall_tail(values) == pytest.approx(enumerated_tail(values), rel=1e-12)


@pytest.mark.parametrize("count", [4, 5, 8, 13, 20])
def test_without_ties_the_tail_is_that_of_a_general_purpose_library(count: int) -> None:
    """One-sided exact p of scipy.stats.kendalltau, for orders from a straight rise to a straight fall."""
    times = list(range(count))
    for turn in range(count):
        values = [*times[turn:], *reversed(times[:turn])]
        expected = stats.kendalltau(times, values, method="exact", alternative="greater").pvalue
        assert kendall_tail(values) == pytest.approx(expected, rel=1e-9), values


def test_four_results_with_a_tie_claim_no_trend() -> None:
    """Of the twelve orders of four results with one tie, one rises throughout: 1/12, above 0.05."""
    for positions in ([0.1, 0.2, 0.3, 0.3], [0.1, 0.2, 0.2, 0.3], [0.1, 0.1, 0.2, 0.3]):
        for signed in (positions, [-value for value in positions]):
            found = trend([0, 7, 14, 21], signed)
            assert found is not None
            assert found.tail == pytest.approx(1 / 12)
            assert found.tail > support.policy().trend_tail.value


def test_four_results_with_a_tie_take_no_early_step() -> None:
    """Falling towards the low edge of weeks 5 to 7, 3,000 ppm (UGA-2021)."""
    steps = []
    for values in ((4600.0, 3900.0, 3900.0, 3600.0), (4600.0, 4200.0, 3900.0, 3600.0)):
        results = [support.result(value, 5, record=1 + k, offset=5 * k, delay=0) for k, value in enumerate(values)]
        season = support.season(*results, the_plan=support.plan(ceiling=20.0))
        steps.append(season.advice(results[-1].sampled).recommendation.factor)
    assert steps == [1.0, pytest.approx(1.1)]


# --- looking ahead -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("slope", [-0.03, 0.0, 0.02])
@pytest.mark.parametrize("place", [-0.4, 0.2, 0.8, 1.3])
@pytest.mark.parametrize(("sd", "days"), [(0.1, 0.0), (0.2, 7.0), (0.4, 14.0)])
def test_chances_ahead_are_those_of_a_normal_error_around_the_projection(
    slope: float, place: float, sd: float, days: float
) -> None:
    """Limits at 90 % two-sided lie 1.645 standard deviations from the slope on average."""
    low, high = slope - 0.011, slope + 0.017
    slope_sd = (high - low) / (2 * stats.norm.ppf(0.95))
    there = stats.norm(place + slope * days, math.sqrt(sd**2 + (days * slope_sd) ** 2))
    found = Trend(5, slope, low, high, 0.04).ahead(place, sd, days)
    assert found == pytest.approx((there.cdf(0.0), there.cdf(1.0) - there.cdf(0.0), there.sf(1.0)), abs=1e-12)
    assert sum(found) == pytest.approx(1.0)


def test_nothing_is_projected_over_no_days() -> None:
    steep, flat = (Trend(4, slope, slope - 1, slope + 1, 0.04) for slope in (-0.5, 0.0))
    assert steep.ahead(0.3, 0.2, 0.0) == flat.ahead(0.3, 0.2, 0.0)


# --- one reading a day ---------------------------------------------------------------------------------------


SAP_TABLE = ("strawberry-petiole-sap-florida",)


def sap(value: float, week: int, record: int, method: Method = Method.LABORATORY) -> TissueResult:
    return support.result(value, week, record=record, basis=Basis.SAP, method=method)


def test_a_day_read_by_laboratory_and_meter_counts_once_with_the_laboratorys_value() -> None:
    days = [(1, 300.0), (3, 330.0), (4, 340.0), (5, 350.0)]
    laboratory = [sap(value, week, record=week) for week, value in days]
    for meter in (Method.METER, Method.METER_DILUTED):
        both = support.season(*laboratory, sap(480.0, 1, 20, meter), sap(210.0, 5, 21, meter), tables=SAP_TABLE)
        alone = support.season(*laboratory, tables=SAP_TABLE)
        found = both.facts(support.day_in(6)).trend
        assert found is not None and found.n == 4
        assert found == alone.facts(support.day_in(6)).trend


def test_a_day_read_by_a_meter_alone_counts_with_the_meters_value() -> None:
    mixed = [sap(300.0, 1, 1, Method.METER), sap(330.0, 3, 2), sap(340.0, 4, 3, Method.METER), sap(350.0, 5, 4)]
    found = support.season(*mixed, tables=SAP_TABLE).facts(support.day_in(6)).trend
    assert found is not None and found.n == 4 and found.tail == pytest.approx(1 / 24)
