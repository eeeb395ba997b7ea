"""The robust trend of band position: when there is one, how steep, how sure."""

from __future__ import annotations

import pytest

from fertadjust.tissue import Basis, Method
from fertadjust.trend import MIN_RESULTS, trend
from tests import support

DAY = support.BLOOM.toordinal()


def test_three_results_are_no_trend_and_four_are() -> None:
    assert MIN_RESULTS == 4
    assert trend([0, 7, 14], [0.1, 0.2, 0.3]) is None
    assert trend([], []) is None
    assert trend([0, 7, 14, 21], [0.1, 0.2, 0.3, 0.4]) is not None


def test_four_results_of_three_days_are_no_trend() -> None:
    assert trend([0, 7, 7, 14], [0.1, 0.2, 0.3, 0.4]) is None


def test_a_straight_fall_has_its_own_slope_and_the_smallest_tail() -> None:
    found = trend([DAY, DAY + 7, DAY + 14, DAY + 21], [0.9, 0.7, 0.5, 0.3])
    assert found is not None
    assert (found.n, found.first_day) == (4, DAY)
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


def test_position_is_projected_from_the_first_day() -> None:
    found = trend([DAY, DAY + 7, DAY + 14, DAY + 21], [0.9, 0.7, 0.5, 0.3])
    assert found is not None
    assert found.position_on(DAY) == pytest.approx(0.9)
    assert found.position_on(DAY + 28) == pytest.approx(0.1)


def test_the_calendar_does_not_matter() -> None:
    early, late = (trend([d + k for k in (0, 9, 14, 30)], [0.4, 0.1, 0.3, 0.2]) for d in (0, DAY))
    assert early is not None and late is not None
    assert (early.slope_per_day, early.intercept, early.tail) == (late.slope_per_day, late.intercept, late.tail)


def test_rising_and_falling_are_mirror_images() -> None:
    positions = [0.2, 0.5, 0.4, 0.9, 1.1]
    up, down = trend([0, 7, 14, 21, 28], positions), trend([0, 7, 14, 21, 28], [-value for value in positions])
    assert up is not None and down is not None
    assert down.slope_per_day == pytest.approx(-up.slope_per_day)
    assert (down.low_slope, down.high_slope) == pytest.approx((-up.high_slope, -up.low_slope))
    assert down.tail == pytest.approx(up.tail)


def test_limits_hold_the_slope_and_widen_with_the_confidence() -> None:
    days, positions = [0, 7, 14, 21, 28, 35], [0.9, 0.95, 0.6, 0.7, 0.2, 0.25]
    wide, narrow = trend(days, positions, 0.95), trend(days, positions, 0.50)
    assert wide is not None and narrow is not None
    assert wide.low_slope <= narrow.low_slope <= narrow.slope_per_day <= narrow.high_slope <= wide.high_slope
    assert wide.low_slope < narrow.low_slope


def test_equal_positions_are_no_run_in_either_direction() -> None:
    found = trend([0, 7, 14, 21], [0.5, 0.5, 0.5, 0.5])
    assert found is not None
    assert found.slope_per_day == 0.0
    assert 0.05 < found.tail <= 1.0


def test_ties_between_some_results_leave_a_trend() -> None:
    found = trend([0, 7, 14, 21, 28], [0.5, 0.5, 0.3, 0.2, 0.1])
    assert found is not None
    assert found.slope_per_day < 0
    assert 0.0 < found.tail < 0.10


def test_two_results_of_one_day_among_others_leave_a_trend() -> None:
    """Sap read by the laboratory and by a meter on the same day gives two results of that day."""
    found = trend([0, 0, 7, 14, 21], [0.52, 0.55, 0.6, 0.7, 0.8])
    assert found is not None
    assert found.slope_per_day > 0
    assert 0.0 < found.tail < 0.10


def test_a_block_whose_sap_was_read_twice_on_one_day_still_gets_advice() -> None:
    results = [
        support.result(value, week, record=record, basis=Basis.SAP, method=method)
        for record, (value, week, method) in enumerate(
            [
                (300.0, 1, Method.LABORATORY),
                (310.0, 1, Method.METER),
                (330.0, 3, Method.LABORATORY),
                (340.0, 4, Method.LABORATORY),
                (350.0, 5, Method.LABORATORY),
            ],
            start=1,
        )
    ]
    season = support.season(*results, tables=("strawberry-petiole-sap-florida",))
    assert season.advice(support.day_in(6)).facts.trend is not None
