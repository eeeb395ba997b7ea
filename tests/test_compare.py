"""A result beside a band: edges, one-edged bands, bounds, and how sure a side is."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from fertadjust.band_rows import Band
from fertadjust.compare import Side, Status, chances, compare, conformity, normal_cdf, percent, position
from fertadjust.evidence import Evidence
from fertadjust.tissue import Censor

BOTH = Band(3000, 5000, None, None, "week 6", "ppm", "own", "r1", "own plots", Evidence.OWN)
AT_LEAST = replace(BOTH, high=None)
AT_MOST = replace(BOTH, low=None)
LIMITS = replace(BOTH, deficient_below=2000, excess_above=8000)
BELOW, WITHIN, ABOVE = Side.BELOW, Side.WITHIN, Side.ABOVE


def side(value: float, band: Band = BOTH, censor: Censor = Censor.NONE) -> Side | None:
    return compare(value, censor, 0.13, band, 0.8).side


def status(value: float, band: Band = BOTH, censor: Censor = Censor.NONE) -> Status | None:
    return compare(value, censor, 0.13, band, 0.8).status


# --- sides and edges -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "where"),
    [
        (2999.999, BELOW),
        (3000.0, WITHIN),
        (4000.0, WITHIN),
        (5000.0, WITHIN),
        (5000.001, ABOVE),
        (1e-6, BELOW),
        (1e9, ABOVE),
    ],
)
def test_both_edges_belong_to_the_band(value: float, where: Side) -> None:
    assert side(value) is where


@pytest.mark.parametrize(
    ("value", "place"), [(3000.0, 0.0), (5000.0, 1.0), (math.sqrt(3000 * 5000), 0.5), (1800.0, -1.0)]
)
def test_position_is_zero_at_the_low_edge_and_one_at_the_high_edge(value: float, place: float) -> None:
    assert position(value, 3000, 5000) == pytest.approx(place, abs=1e-12)
    assert compare(value, Censor.NONE, 0.13, BOTH, 0.8).position == pytest.approx(place, abs=1e-12)


def test_equal_factors_are_equal_steps_of_position() -> None:
    steps = [position(3000 * 1.1**k, 3000, 5000) for k in range(-3, 4)]
    differences = [later - earlier for earlier, later in pairwise(steps)]
    assert differences == pytest.approx([math.log(1.1) / math.log(5 / 3)] * 6)


@pytest.mark.parametrize(("value", "place"), [(250.0, 0.5), (500.0, 1.0), (1.0, 0.002), (750.0, 1.5)])
def test_position_is_linear_where_the_low_edge_is_zero(value: float, place: float) -> None:
    assert position(value, 0.0, 500.0) == pytest.approx(place)


# --- status --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "said"), [(1.0, Status.LOW), (2999.0, Status.LOW), (4000.0, Status.SUFFICIENT), (1e6, Status.HIGH)]
)
def test_without_separate_limits_nothing_is_deficient_or_excessive(value: float, said: Status) -> None:
    assert status(value) is said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (1999.9, Status.DEFICIENT),
        (2000.0, Status.LOW),
        (2999.9, Status.LOW),
        (3000.0, Status.SUFFICIENT),
        (5000.0, Status.SUFFICIENT),
        (5000.1, Status.HIGH),
        (8000.0, Status.HIGH),
        (8000.1, Status.EXCESS),
    ],
)
def test_separate_limits_make_it_deficient_or_excessive(value: float, said: Status) -> None:
    assert status(value, LIMITS) is said


def test_where_the_limits_touch_the_edges_everything_outside_is_deficient_or_excessive() -> None:
    touching = replace(BOTH, deficient_below=3000, excess_above=5000)
    assert [status(value, touching) for value in (2999, 4000, 5001)] == [
        Status.DEFICIENT,
        Status.SUFFICIENT,
        Status.EXCESS,
    ]


@pytest.mark.parametrize("value", [1.0, 3000.0, 5000.0, 1e7])
def test_a_band_with_a_low_edge_only_never_says_high(value: float) -> None:
    found = compare(value, Censor.NONE, 0.13, AT_LEAST, 0.8)
    assert found.status is (Status.LOW if value < 3000 else Status.SUFFICIENT)
    assert found.above == 0.0
    assert found.sure is not ABOVE
    assert found.position is None


@pytest.mark.parametrize("value", [1.0, 3000.0, 5000.0, 1e7])
def test_a_band_with_a_high_edge_only_never_says_low(value: float) -> None:
    found = compare(value, Censor.NONE, 0.13, AT_MOST, 0.8)
    assert found.status is (Status.HIGH if value > 5000 else Status.SUFFICIENT)
    assert found.below == 0.0
    assert found.sure is not BELOW
    assert found.position is None


# --- bounds --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "where"), [(10.0, BELOW), (2999.0, BELOW), (3000.0, BELOW), (3001.0, None), (9000.0, None)]
)
def test_less_than_tells_only_below_the_low_edge(value: float, where: Side | None) -> None:
    assert side(value, censor=Censor.BELOW) is where


@pytest.mark.parametrize(
    ("value", "where"), [(9000.0, ABOVE), (5001.0, ABOVE), (5000.0, ABOVE), (4999.0, None), (10.0, None)]
)
def test_more_than_tells_only_above_the_high_edge(value: float, where: Side | None) -> None:
    assert side(value, censor=Censor.ABOVE) is where


@pytest.mark.parametrize("value", [1.0, 2500.0, 4000.0, 1e5])
def test_a_bound_is_never_surely_within_and_has_no_position(value: float) -> None:
    for censor in (Censor.BELOW, Censor.ABOVE):
        found = compare(value, censor, 0.13, BOTH, 0.8)
        assert found.within == 0.0
        assert found.sure is not WITHIN
        assert found.position is None


def test_a_bound_far_from_the_band_is_as_sure_as_the_value_itself() -> None:
    value, bound = (compare(1000, censor, 0.13, BOTH, 0.8) for censor in (Censor.NONE, Censor.BELOW))
    assert bound.below == value.below > 0.99
    assert bound.sure is value.sure is BELOW


@pytest.mark.parametrize(
    ("value", "censor"), [(4000.0, Censor.BELOW), (4000.0, Censor.ABOVE), (2000.0, Censor.ABOVE)]
)
def test_a_bound_on_the_wrong_side_tells_nothing(value: float, censor: Censor) -> None:
    found = compare(value, censor, 0.13, BOTH, 0.8)
    assert (found.side, found.status, found.sure, found.probability) == (None, None, None, 0.0)


def test_more_than_tells_nothing_where_there_is_no_high_edge_and_less_than_where_there_is_no_low_one() -> None:
    assert side(1e6, AT_LEAST, Censor.ABOVE) is None
    assert side(1.0, AT_MOST, Censor.BELOW) is None
    assert side(1.0, AT_LEAST, Censor.BELOW) is BELOW
    assert side(1e6, AT_MOST, Censor.ABOVE) is ABOVE


def test_a_bound_below_the_deficient_limit_is_deficient() -> None:
    assert status(1000, LIMITS, Censor.BELOW) is Status.DEFICIENT
    assert status(2500, LIMITS, Censor.BELOW) is Status.LOW
    assert status(9000, LIMITS, Censor.ABOVE) is Status.EXCESS
    assert status(6000, LIMITS, Censor.ABOVE) is Status.HIGH


# --- how sure ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [500.0, 2900.0, 3000.0, 3900.0, 5100.0, 20_000.0])
@pytest.mark.parametrize("relative", [0.01, 0.13, 0.5])
def test_the_three_probabilities_add_up_to_one(value: float, relative: float) -> None:
    found = compare(value, Censor.NONE, relative, BOTH, 0.8)
    assert found.below + found.within + found.above == pytest.approx(1.0, abs=1e-12)
    assert min(found.below, found.within, found.above) >= 0.0


def test_on_an_edge_both_sides_are_even() -> None:
    found = compare(3000, Censor.NONE, 0.05, BOTH, 0.8)
    assert found.below == pytest.approx(0.5)
    assert found.sure is None


def test_the_stated_confidence_decides_whether_a_side_is_sure() -> None:
    found = compare(2600, Censor.NONE, 0.13, BOTH, 0.5)
    assert found.sure is BELOW
    assert compare(2600, Censor.NONE, 0.13, BOTH, found.below).sure is BELOW
    assert compare(2600, Censor.NONE, 0.13, BOTH, found.below + 1e-9).sure is None


def test_a_smaller_uncertainty_makes_a_side_surer() -> None:
    chances = [compare(2800, Censor.NONE, relative, BOTH, 0.8).below for relative in (0.3, 0.13, 0.05, 0.01)]
    assert chances == sorted(chances)
    assert chances[0] < 0.7 and chances[-1] > 0.999


def test_the_probability_is_that_of_the_side_the_value_lies_on() -> None:
    for value, name in ((1000.0, "below"), (4000.0, "within"), (9000.0, "above")):
        found = compare(value, Censor.NONE, 0.13, BOTH, 0.8)
        assert found.probability == getattr(found, name)


def test_a_higher_value_is_never_surer_to_be_below_nor_less_sure_to_be_above() -> None:
    found = [compare(100 * 1.1**k, Censor.NONE, 0.13, BOTH, 0.8) for k in range(70)]
    below, above = [item.below for item in found], [item.above for item in found]
    assert below == sorted(below, reverse=True)
    assert above == sorted(above)


def test_a_limit_that_is_missing_has_nothing_beyond_it() -> None:
    assert conformity(5.0, 1.0, None, None) == (0.0, 1.0, 0.0)
    assert conformity(5.0, 1.0, 5.0, None) == pytest.approx((0.5, 0.5, 0.0))


def test_far_tails_stay_between_zero_and_one() -> None:
    assert normal_cdf(40.0) == 1.0
    assert 0.0 <= normal_cdf(-40.0) < 1e-300
    assert conformity(1.0, 1e-6, 2.0, 3.0) == (1.0, 0.0, 0.0)


def test_chances_leave_out_a_side_on_which_the_band_has_no_edge() -> None:
    for band, sides in (
        (BOTH, ["below", "within", "above"]),
        (AT_LEAST, ["below", "within"]),
        (AT_MOST, ["within", "above"]),
    ):
        found = compare(4000, Censor.NONE, 0.13, band, 0.8)
        assert list(chances(found, band)) == sides
        assert sum(chances(found, band).values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0, "under 1 %"),
        (1e-9, "under 1 %"),
        (0.005, "under 1 %"),
        (0.0049, "under 1 %"),
        (0.006, "1 %"),
        (0.412, "41 %"),
        (0.9949, "99 %"),
        (0.995, "over 99 %"),
        (0.9999999, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_a_chance_is_never_said_to_be_certain(share: float, text: str) -> None:
    assert percent(share) == text


def test_no_chance_at_all_is_written_as_0_or_100() -> None:
    written = {k / 1000: percent(k / 1000) for k in range(1001)}
    assert {share: text for share, text in written.items() if text in ("0 %", "100 %")} == {}
