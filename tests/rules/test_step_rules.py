"""The size of a raise and of a cut, and what follows a recovery, seen through the whole engine."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fertadjust.bands import BandTable
from fertadjust.compare import Status
from fertadjust.evidence import Evidence
from fertadjust.plan import Change
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Recommendation
from fertadjust.rules.policy import Policy, Recovery, with_overrides
from fertadjust.shipped import shipped_policy_files, shipped_tables
from fertadjust.stages import StageDates
from fertadjust.tissue import TissueResult
from tests.rules import (
    ENOUGH,
    HIGH,
    HIGH_EDGE,
    LEAF_LOW,
    LOW,
    LOW_EDGE,
    RATE,
    SATURDAY,
    WIDTH,
    advised,
    cut_size,
    fed,
    fired,
    in_force,
    leaf,
    line,
    open_plan,
    petiole_season,
    raise_size,
)
from tests.support import BLOOM, SOUTHEAST, day_in, policy, result, with_policy

OWN_RULE_WORDS = "this program's own rule"


# --- raise --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [0.30, 0.50, 0.75, 0.99, 1.0, 1.01, 2.0])
def test_a_raise_grows_from_a_third_to_a_half_over_one_band_width(width: float) -> None:
    # 0.75 to 1.0 lb N/ac/day (UGA-2021); 50 % (UGA-AESL; TOMATO-SAP-1988)
    value = LOW_EDGE * math.exp(-width * WIDTH)
    found = advised(result(value, 6))
    expected = 1 / 3 + (1 / 2 - 1 / 3) * min(width, 1.0)
    assert found.factor == pytest.approx(1 + expected)
    assert found.moved_by == "raise" and found.action is Action.RAISE
    trace = line(found, "raise")
    assert f"{width:.2f} band widths below the band" in trace.saw
    assert trace.change == f"factor 1.00 -> {1 + expected:.2f}"


def test_a_raise_between_the_published_steps_says_that_its_growth_is_the_programs_own() -> None:
    between, largest = line(advised(result(LOW, 6)), "raise"), line(advised(result(1000, 6)), "raise")
    assert between.evidence is Evidence.PROJECT_RULE and OWN_RULE_WORDS in between.why
    assert "UGA-2021" in between.source and "UGA-AESL" in between.source
    assert largest.evidence is Evidence.DERIVED and OWN_RULE_WORDS not in largest.why


def test_petiole_and_leaf_both_low_take_the_published_leaf_raise() -> None:
    found = advised(result(LOW, 6), leaf(LEAF_LOW))
    trace = line(found, "raise")
    assert found.factor == pytest.approx(1.5)
    assert (trace.source, trace.evidence) == ("UGA-AESL", Evidence.PUBLISHED)
    assert "leaf nitrogen low as well" in trace.saw


def test_low_leaf_nitrogen_alone_raises_by_half() -> None:
    trace = line(advised(leaf(LEAF_LOW)), "raise")
    assert trace.change == "factor 1.00 -> 1.50" and trace.source == "UGA-AESL"


def test_where_the_petiole_alone_would_take_as_much_the_low_leaf_is_still_named() -> None:
    trace = line(advised(result(1000, 6), leaf(LEAF_LOW)), "raise")
    assert trace.change == "factor 1.00 -> 1.50"
    assert (trace.source, trace.evidence) == ("UGA-AESL", Evidence.PUBLISHED)


def test_the_policy_says_how_far_out_the_largest_step_is_reached() -> None:
    the_policy = with_policy(policy(), raise_largest_at=2.0, cut_largest_at=0.5)
    low, high = LOW_EDGE * math.exp(-0.8 * WIDTH), HIGH_EDGE * math.exp(0.4 * WIDTH)
    assert advised(result(low, 6), the_policy=the_policy).factor == pytest.approx(1 + 1 / 3 + 0.4 / 6)
    assert advised(result(high, 6), the_policy=the_policy).factor == pytest.approx(1 - 0.10 - 0.8 * 0.15)


def own(**figures: float) -> Policy:
    """The shipped policy with figures of the season file's."""
    data = shipped_policy_files()["strawberry-annual-plasticulture"].data
    return Policy.model_validate(with_overrides(data, figures))


def with_limits(*results: Any, the_policy: Policy | None = None, **limits: float) -> Recommendation:
    """The Southeast table with limits that it does not print (invented)."""
    data = shipped_tables()[SOUTHEAST].as_data()
    for row in data["rows"]:
        if row["weeks"][0] == 5:
            row |= limits
    the_season = petiole_season(*results, the_policy=the_policy)
    the_season = replace(the_season, tables=(BandTable.model_validate(data),))
    return evaluate(the_season.facts(SATURDAY), the_season.policy)


def test_a_deficient_result_takes_the_largest_raise_at_once() -> None:
    found = with_limits(result(LOW, 6), deficient_below=2600.0)
    assert found.comparison is not None and found.comparison.status is Status.DEFICIENT
    assert found.factor == pytest.approx(1.5) and "deficient" in line(found, "raise").saw
    low = with_limits(result(LOW, 6), deficient_below=2400.0)
    assert low.factor == pytest.approx(1 + raise_size(LOW))


def test_a_result_in_excess_takes_the_largest_cut_at_once() -> None:
    found = with_limits(result(7000, 6), excess_above=6500.0)
    assert found.comparison is not None and found.comparison.status is Status.EXCESS
    assert found.factor == pytest.approx(0.75) and "excess" in line(found, "cut").saw
    high = with_limits(result(7000, 6), excess_above=7500.0)
    assert high.factor == pytest.approx(1 - cut_size(7000.0))


def test_a_raise_counts_from_the_rate_in_force() -> None:
    found = advised(
        result(1500, 5, record=1), result(LOW, 6, record=2), changes=(in_force(1.2),), applications=fed(1.2 * RATE)
    )
    assert found.standing_factor == pytest.approx(1.2)
    assert found.factor == pytest.approx(1.2 * 1.5)  # the second low result in a row (TOMATO-SAP-1988)
    assert found.rates_lb_ac == pytest.approx([RATE * found.factor] * len(found.weeks))


def test_a_half_step_is_never_smaller_than_the_smallest_step() -> None:
    found = advised(result(LOW, 6), leaf(3.3), the_policy=with_policy(policy(), smallest_step=0.25))
    assert found.factor == pytest.approx(1.25)
    assert "; 0.5 of 39 %, no less than 25 %" in line(found, "raise").saw


@pytest.mark.parametrize("share", [0.4, 0.6, 0.8])
def test_the_policy_says_what_half_a_step_is(share: float) -> None:
    the_policy = with_policy(policy(), half_step=share)
    low = advised(result(LOW, 6), leaf(3.3), the_policy=the_policy)
    high = advised(result(HIGH, 6), leaf(3.3), the_policy=the_policy)
    assert low.factor == pytest.approx(1 + share * raise_size(LOW))
    assert high.factor == pytest.approx(1 - max(0.10, share * cut_size(HIGH)))
    assert f"; {share:g} of 39 %, no less than 10 %" in line(low, "raise").saw


def test_half_a_step_says_whose_rule_it_is_and_names_all_that_it_is_made_of() -> None:
    trace = line(advised(result(LOW, 6), leaf(3.3)), "raise")
    assert trace.why.endswith(" That is half a step, which is this program's own rule.")
    assert (trace.source, trace.evidence) == ("UGA-2021; UGA-AESL; TOMATO-SAP-1988", Evidence.PROJECT_RULE)
    assert "half a step" not in line(advised(result(LOW, 6)), "raise").why
    own_half = line(advised(result(LOW, 6), leaf(3.3), the_policy=own(half_step=0.6)), "raise")
    assert own_half.source == "UGA-2021; UGA-AESL; TOMATO-SAP-1988; season file"
    assert own_half.evidence is Evidence.OWN


@pytest.mark.parametrize("name", ["raise_first", "raise_largest_at", "raise_largest"])
def test_a_growing_raise_is_the_growers_own_where_one_of_its_figures_is(name: str) -> None:
    value = {"raise_first": 0.3, "raise_largest_at": 1.5, "raise_largest": 0.45}[name]
    trace = line(advised(result(LOW, 6), the_policy=own(**{name: value})), "raise")
    assert trace.evidence is Evidence.OWN and "season file" in trace.source


@pytest.mark.parametrize("name", ["cut_first", "cut_largest_at", "cut_largest"])
def test_a_growing_cut_is_the_growers_own_where_one_of_its_figures_is(name: str) -> None:
    value = {"cut_first": 0.12, "cut_largest_at": 1.5, "cut_largest": 0.24}[name]
    trace = line(advised(result(6500, 6), the_policy=own(**{name: value})), "cut")
    assert (trace.source, trace.evidence) == ("season file", Evidence.OWN)


def beyond_one_edge(value: float, **rest: object) -> Recommendation:
    """Main harvest in California, where only a low edge of 400 ppm is given (UC-DRIS-2012)."""
    stages = StageDates({"pre_harvest": BLOOM, "main_harvest": day_in(3)}, day_in(12, 6))
    return advised(result(value, 6), tables=("strawberry-petiole-dry-california",), stages=stages, **rest)


@pytest.mark.parametrize("factor", [None, 1.5, 3.0, 4.0])
@pytest.mark.parametrize("times", [1.4, 1.9])
def test_the_policy_says_what_counts_as_a_band_width_beyond_a_single_edge(
    times: float, factor: float | None
) -> None:
    """Twice beyond the edge, unless it says otherwise."""
    given: dict[str, object] = (
        {} if factor is None else {"the_policy": with_policy(policy(), one_edge_factor=factor)}
    )
    width = math.log(times) / math.log(factor or 2.0)
    found = beyond_one_edge(400.0 / times, **given)
    assert f"{width:.2f} band widths below the band" in line(found, "raise").saw
    assert found.factor == pytest.approx(1 + min(1 / 2, 1 / 3 + width / 6))


def test_no_raise_is_taken_where_none_is_called_for() -> None:
    trace = line(advised(result(HIGH, 6)), "raise")
    assert not trace.fired and trace.saw == "no raise called for"


# --- cut ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [0.30, 0.50, 0.75, 0.99, 1.0, 1.01, 2.0])
def test_a_cut_grows_from_a_tenth_to_a_quarter_over_one_band_width(width: float) -> None:
    value = HIGH_EDGE * math.exp(width * WIDTH)
    found = advised(result(value, 6))
    expected = 0.10 + 0.15 * min(width, 1.0)
    assert found.factor == pytest.approx(1 - expected)
    assert found.moved_by == "cut" and found.action is Action.CUT
    trace = line(found, "cut")
    assert f"{width:.2f} band widths above the band" in trace.saw
    assert trace.change == f"factor 1.00 -> {1 - expected:.2f}"


@pytest.mark.parametrize("value", [6500.0, HIGH, 9000.0, 20_000.0])
def test_every_cut_is_labelled_as_the_programs_own_rule(value: float) -> None:
    trace = line(advised(result(value, 6)), "cut")
    assert trace.fired
    assert (trace.source, trace.evidence) == ("none", Evidence.PROJECT_RULE)
    assert OWN_RULE_WORDS in trace.why and "no publication gives a number for a cut" in trace.why


def test_a_cut_of_the_growers_own_size_is_called_the_growers_own() -> None:
    found = advised(result(20_000, 6), the_policy=own(cut_largest=0.20))
    trace = line(found, "cut")
    assert found.factor == pytest.approx(0.80)
    assert trace.evidence is Evidence.OWN


def test_a_half_cut_is_never_smaller_than_the_smallest_step() -> None:
    found = advised(result(6500, 6), leaf(3.3))
    assert line(found, "weighed together").change == "full step -> half step"
    assert cut_size(6500.0) / 2 < 0.10
    assert found.factor == pytest.approx(0.90)


def test_nothing_that_is_fed_is_nothing_to_cut() -> None:
    stopped = in_force(0.0)
    found = advised(result(HIGH, 6), changes=(stopped,), applications=fed(0.0))
    assert found.action is Action.HOLD and found.factor == 0.0
    assert line(found, "cut").saw == "nothing is fed"


def test_a_low_result_while_nothing_is_fed_goes_back_to_the_plans_rate() -> None:
    found = advised(result(LOW, 6), changes=(in_force(0.0),), applications=fed(0.0))
    assert found.factor == 1.0 and found.action is Action.RAISE
    assert "back to plan" in line(found, "raise").why


# --- results in a row ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "value", "expected"),
    [
        (None, LOW, raise_size(LOW)),
        (ENOUGH, LOW, raise_size(LOW)),
        (HIGH, LOW, raise_size(LOW)),
        (2000.0, LOW, 0.50),
        (2950.0, LOW, 0.50),  # below its band, though not clearly
        (2000.0, 800.0, 0.50),
        (None, HIGH, -cut_size(HIGH)),
        (ENOUGH, HIGH, -cut_size(HIGH)),
        (LOW, HIGH, -cut_size(HIGH)),
        (6500.0, HIGH, -0.25),
        (5050.0, HIGH, -0.25),
    ],
)
def test_a_second_result_in_a_row_on_one_side_takes_a_larger_step(
    before: float | None, value: float, expected: float
) -> None:
    """A second low result: half as much again (TOMATO-SAP-1988). How far to cut is the project's own."""
    earlier = () if before is None else (result(before, 5, record=7),)
    assert advised(*earlier, result(value, 6)).factor == pytest.approx(1 + expected)


def test_a_second_result_in_a_row_names_its_own_figure() -> None:
    low = line(advised(result(2000, 5, record=7), result(LOW, 6)), "raise")
    assert (low.source, low.evidence) == ("TOMATO-SAP-1988", Evidence.DERIVED)
    assert low.saw.endswith(" below the band, 2 low results in a row")
    high = line(advised(result(7000, 5, record=7), result(6500, 6)), "cut")
    assert (high.source, high.evidence) == ("none", Evidence.PROJECT_RULE)
    assert high.saw.endswith(" above the band, 2 high results in a row") and OWN_RULE_WORDS in high.why


def low_on(*days_before: int, **rest: object) -> Recommendation:
    """Far below some days before the sample of week 6 and low in it."""
    last = result(LOW, 6)
    earlier = [
        replace(
            last, record=20 + days, sampled=(on := last.sampled - timedelta(days=days)), received=on, value=2000.0
        )
        for days in days_before
    ]
    return advised(*earlier, last, **rest)


@pytest.mark.parametrize(("days", "in_a_row"), [(1, False), (4, False), (5, True), (6, True)])
def test_two_samples_of_one_week_are_no_run(days: int, in_a_row: bool) -> None:
    found = low_on(days)
    assert found.factor == pytest.approx(1 + (0.5 if in_a_row else raise_size(LOW)))
    assert ("2 low results in a row" in line(found, "raise").saw) is in_a_row
    high = replace(
        result(6500, 6), record=9, sampled=result(HIGH, 6).sampled - timedelta(days=days), received=None
    )
    cut = advised(high, result(6500, 6))
    assert cut.factor == pytest.approx(1 - (0.25 if in_a_row else cut_size(6500.0)))
    assert ("2 high results in a row" in line(cut, "cut").saw) is in_a_row


@pytest.mark.parametrize(("days", "apart"), [(4, 4), (5, 6), (6, 6), (6, 7), (1, 0), (1, 2)])
def test_the_policy_says_how_far_apart_the_samples_of_a_run_are(days: int, apart: int) -> None:
    found = low_on(days, the_policy=with_policy(policy(), apart_days=apart))
    assert found.factor == pytest.approx(1 + (0.5 if days >= apart else raise_size(LOW)))


@pytest.mark.parametrize(
    ("days_before", "count"),
    [((3, 6), 2), ((4, 8), 2), ((5, 10), 3), ((3, 5, 9), 2), ((3, 5, 10), 3), ((4,), 1), ((2, 3, 4), 1)],
)
def test_of_samples_close_to_one_another_only_those_far_enough_apart_are_counted(
    days_before: tuple[int, ...], count: int
) -> None:
    """Each has to lie five days before the one that was counted last."""
    saw = line(low_on(*days_before), "raise").saw
    assert saw.endswith(f", {count} low results in a row") if count > 1 else "in a row" not in saw


def test_a_sample_too_close_to_count_still_breaks_the_run_where_it_lies_elsewhere() -> None:
    last = result(LOW, 6)
    between = replace(last, record=8, value=ENOUGH, sampled=last.sampled - timedelta(days=3), received=None)
    far = replace(last, record=7, value=2000.0, sampled=last.sampled - timedelta(days=7), received=None)
    assert advised(far, last).factor == pytest.approx(1.5)
    assert advised(far, between, last).factor == pytest.approx(1 + raise_size(LOW))


@pytest.mark.parametrize("needed", [1, 2])
def test_one_result_alone_is_never_a_persistent_one(needed: int) -> None:
    the_policy = with_policy(policy(), results_for_second_change=needed)
    low, high = advised(result(LOW, 6), the_policy=the_policy), advised(result(6500, 6), the_policy=the_policy)
    assert low.factor == pytest.approx(1 + raise_size(LOW)) and "in a row" not in line(low, "raise").saw
    assert high.factor == pytest.approx(1 - cut_size(6500.0)) and "in a row" not in line(high, "cut").saw
    assert low_on(7, the_policy=the_policy).factor == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("factor", "far", "value", "largest"), [(1.2, 2000.0, LOW, 1.2 * 1.5), (0.8, 7000.0, HIGH, 0.8 * 0.75)]
)
@pytest.mark.parametrize(("days", "again"), [(4, False), (5, True), (6, True)])
def test_a_second_change_needs_samples_far_enough_apart(
    factor: float, far: float, value: float, largest: float, days: int, again: bool
) -> None:
    last = result(value, 6)
    before = replace(last, record=9, value=far, sampled=last.sampled - timedelta(days=days), received=None)
    found = advised(before, last, changes=(in_force(factor),), applications=fed(factor * RATE))
    assert line(found, "twice in a row").fired is not again
    assert f"{2 if again else 1}; 2 asked for" in line(found, "twice in a row").saw
    assert found.factor == pytest.approx(largest if again else factor)


def test_a_run_is_broken_by_any_result_that_is_not_on_its_side() -> None:
    broken = (result(2000, 4, record=5), result(ENOUGH, 5, record=6))
    assert advised(*broken, result(LOW, 6)).factor == pytest.approx(1 + raise_size(LOW))


def test_the_policy_says_how_many_results_make_a_run() -> None:
    three = with_policy(policy(), results_for_second_change=3)
    results = [result(2000, week, record=week) for week in (4, 5)]
    assert advised(results[1], result(LOW, 6), the_policy=three).factor == pytest.approx(1 + raise_size(LOW))
    assert advised(*results, result(LOW, 6), the_policy=three).factor == pytest.approx(1.5)


def test_half_of_a_persistent_step_is_half_of_its_own_figure() -> None:
    low = advised(result(2000, 5, record=7), result(LOW, 6), leaf(3.3))
    high = advised(result(7000, 5, record=7), result(HIGH, 6), leaf(3.3))
    assert (low.factor, high.factor) == (pytest.approx(1.25), pytest.approx(0.875))


# --- the largest step ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "samples",
    [
        (result(1000, 6),),
        (result(2000, 5, record=7), result(LOW, 6)),
        (result(LOW, 6), leaf(LEAF_LOW)),
        (leaf(LEAF_LOW),),
    ],
    ids=["far below", "second in a row", "leaf low as well", "leaf alone"],
)
def test_no_raise_is_larger_than_the_season_file_allows(samples: tuple[TissueResult, ...]) -> None:
    found = advised(*samples, the_policy=own(raise_largest=0.36))
    assert found.factor == pytest.approx(1.36)
    assert (line(found, "raise").source, line(found, "raise").evidence) == ("season file", Evidence.OWN)
    assert advised(*samples).factor == pytest.approx(1.5)


@pytest.mark.parametrize(
    "samples",
    [(result(20_000, 6),), (result(6500, 5, record=7), result(6500, 6))],
    ids=["far above", "second in a row"],
)
def test_no_cut_is_larger_than_the_season_file_allows(samples: tuple[TissueResult, ...]) -> None:
    found = advised(*samples, the_policy=own(cut_largest=0.12))
    assert found.factor == pytest.approx(0.88)
    assert line(found, "cut").evidence is Evidence.OWN
    assert advised(*samples).factor == pytest.approx(0.75)


def test_no_deficiency_or_excess_steps_further_than_the_season_file_allows() -> None:
    bounded = own(raise_largest=0.36, cut_largest=0.12)
    low = with_limits(result(LOW, 6), the_policy=bounded, deficient_below=2600.0)
    high = with_limits(result(7000, 6), the_policy=bounded, excess_above=6500.0)
    assert low.comparison is not None and low.comparison.status is Status.DEFICIENT
    assert high.comparison is not None and high.comparison.status is Status.EXCESS
    assert (low.factor, high.factor) == (pytest.approx(1.36), pytest.approx(0.88))


# --- after recovery -----------------------------------------------------------------------------------------


def recovered(factor: float, value: float, choice: str = "ease", **rest: object) -> Recommendation:
    the_policy = with_policy(policy(), after_recovery=Recovery(choice))
    given: dict[str, object] = {"applications": fed(factor * RATE)} | rest
    return advised(result(value, 6), changes=(in_force(factor),), the_policy=the_policy, **given)


MIDDLE = math.sqrt(LOW_EDGE * HIGH_EDGE)
LOWER, UPPER = 0.999 * MIDDLE, 1.001 * MIDDLE


@pytest.mark.parametrize(
    ("choice", "factor", "value", "expected"),
    [
        ("keep", 1.2, LOWER, 1.2),
        ("keep", 1.2, UPPER, 1.2),
        ("keep", 0.8, LOWER, 0.8),
        ("keep", 0.8, UPPER, 0.8),
        ("ease", 1.2, LOWER, 1.2),
        ("ease", 1.2, UPPER, 1.1),
        ("ease", 0.8, LOWER, 0.9),
        ("ease", 0.8, UPPER, 0.8),
        ("plan", 1.2, LOWER, 1.0),
        ("plan", 1.2, UPPER, 1.0),
        ("plan", 0.8, LOWER, 1.0),
        ("plan", 0.8, UPPER, 1.0),
        ("plan", 1.2, LOW_EDGE, 1.0),
        ("plan", 0.8, HIGH_EDGE, 1.0),
        ("plan", 1.2, 3010.0, 1.0),
        ("plan", 0.8, 4990.0, 1.0),
        ("plan", 1.2, 2950.0, 1.2),
        ("plan", 0.8, 5050.0, 0.8),
        ("ease", 1.2, 4990.0, 1.1),
        ("ease", 1.2, 5050.0, 1.0),  # past the band: all of it
        ("ease", 0.8, 3010.0, 0.9),
        ("ease", 0.8, 2950.0, 1.0),
    ],
)
def test_back_in_the_band_the_policy_says_what_becomes_of_the_change(
    choice: str, factor: float, value: float, expected: float
) -> None:
    found = recovered(factor, value, choice)
    trace = line(found, "after recovery")
    assert found.factor == pytest.approx(expected)
    moved = abs(expected - factor) > 1e-9
    assert trace.fired is moved
    assert (trace.source, trace.evidence) == ("UGA-2021; TOMATO-SAP-1988", Evidence.PROJECT_RULE)
    if moved:
        assert trace.change == f"factor {factor:.2f} -> {expected:.2f}"
        assert found.moved_by == "after recovery" and f'"{choice}"' in trace.why
        assert found.action is (Action.CUT if expected < factor else Action.RAISE)
    else:
        assert found.action is Action.HOLD


@pytest.mark.parametrize(("factor", "expected"), [(1.09, 1.0), (1.11, 1.055), (0.91, 1.0), (0.89, 0.945)])
def test_an_easing_that_comes_within_a_twentieth_of_the_plan_returns_to_it(factor: float, expected: float) -> None:
    value = 4400.0 if factor > 1 else 3500.0
    assert recovered(factor, value).factor == pytest.approx(expected)


@pytest.mark.parametrize(
    ("near", "factor", "expected"),
    [
        (0.0, 1.04, 1.02),
        (0.0, 0.96, 0.98),
        (0.06, 1.11, 1.0),
        (0.06, 0.89, 1.0),
        (0.02, 1.05, 1.025),
        (0.03, 1.05, 1.0),
    ],
)
def test_the_policy_says_how_near_the_plan_an_easing_goes_all_the_way(
    near: float, factor: float, expected: float
) -> None:
    found = advised(
        result(4400.0 if factor > 1 else 3500.0, 6),
        changes=(in_force(factor),),
        applications=fed(factor * RATE),
        the_policy=with_policy(policy(), near_plan=near),
    )
    assert found.factor == pytest.approx(expected)


@pytest.mark.parametrize("start", [0.3, 0.5, 0.7, 1.0])
@pytest.mark.parametrize(("factor", "eased"), [(1.2, 1.1), (0.8, 0.9)])
def test_the_policy_says_how_far_into_the_band_an_easing_begins(start: float, factor: float, eased: float) -> None:
    """Counted from the low edge at a raised rate, from the high edge at one that was cut."""
    for reach, expected in ((start - 0.01, factor), (start, eased)):
        place = reach if factor > 1 else 1 - reach
        value = HIGH_EDGE if place == 1 else LOW_EDGE if place == 0 else LOW_EDGE * math.exp(place * WIDTH)
        value *= 1 + (1e-12 if 0 < place < 1 else 0) * (1 if factor > 1 else -1)
        found = advised(
            result(value, 6),
            changes=(in_force(factor),),
            applications=fed(factor * RATE),
            the_policy=with_policy(policy(), ease_from=start),
        )
        assert found.factor == pytest.approx(expected), place


def test_the_policy_says_how_much_an_easing_takes_back() -> None:
    half, most = (
        advised(
            result(4400, 6),
            changes=(in_force(1.4),),
            applications=fed(1.4 * RATE),
            the_policy=with_policy(policy(), ease_share=share),
        )
        for share in (0.5, 0.75)
    )
    assert (half.factor, most.factor) == (pytest.approx(1.2), pytest.approx(1.1))


def test_at_the_plans_own_rate_there_is_nothing_to_take_back() -> None:
    found = advised(result(4400, 6))
    assert line(found, "after recovery").saw == "the plan's own rate is in force"


def test_a_high_result_at_a_raised_rate_goes_at_least_as_far_down_as_the_plan() -> None:
    found = recovered(1.5, 6000.0)
    assert 1.5 * (1 - cut_size(6000.0)) > 1.0
    assert found.factor == 1.0 and found.moved_by == "cut"
    assert "33 %" in line(found, "cut").why and "return towards plan" in line(found, "cut").why


def test_a_high_result_at_a_raised_rate_goes_further_where_the_cut_is_larger() -> None:
    found = recovered(1.2, HIGH)
    assert found.factor == pytest.approx(1.2 * (1 - cut_size(HIGH))) and found.factor < 1.0
    assert "return towards plan" not in line(found, "cut").why


def test_a_low_result_at_a_cut_rate_goes_at_least_as_far_up_as_the_plan() -> None:
    found = recovered(0.6, LOW)
    assert 0.6 * (1 + raise_size(LOW)) < 1.0
    assert found.factor == 1.0 and found.moved_by == "raise"
    further = recovered(0.9, LOW)
    assert further.factor == pytest.approx(0.9 * (1 + raise_size(LOW))) and further.factor > 1.0


def test_after_a_step_there_is_no_easing_on_top() -> None:
    found = recovered(1.2, HIGH)
    trace = line(found, "after recovery")
    assert not trace.fired and trace.saw == "a step was taken"


def test_with_one_edge_no_recovery_is_judged() -> None:
    stages = StageDates({"pre_harvest": BLOOM, "main_harvest": day_in(4)}, day_in(12, 6))
    found = recovered(1.2, 5000.0, tables=("strawberry-petiole-dry-california",), stages=stages)
    assert found.factor == pytest.approx(1.2) and found.action is Action.HOLD
    assert "no position" in line(found, "after recovery").why


def test_an_unclear_result_in_the_upper_half_still_lets_a_raise_ease() -> None:
    found = recovered(1.2, 4900.0)
    assert "status" in fired(found) and found.factor == pytest.approx(1.1)


@pytest.mark.parametrize(
    ("factor", "value", "leaf_value", "expected"),
    [
        (1.2, 4400.0, LEAF_LOW, 1.2),  # in its band again, but the leaf is still low
        (1.2, 4400.0, 3.3, 1.1),
        (1.2, 4400.0, 4.6, 1.1),
        (0.8, 3500.0, 4.6, 0.8),  # in its band again, but the leaf is still high
        (0.8, 3500.0, 3.3, 0.9),
        (0.8, 3500.0, LEAF_LOW, 0.9),
    ],
)
def test_a_change_is_not_taken_back_against_the_leaf(
    factor: float, value: float, leaf_value: float, expected: float
) -> None:
    found = advised(
        result(value, 6), leaf(leaf_value), changes=(in_force(factor),), applications=fed(factor * RATE)
    )
    assert found.factor == pytest.approx(expected)


@pytest.mark.parametrize(("value", "expected"), [(4200.0, 1.2), (4700.0, 1.1)])
def test_an_easing_has_to_hold_one_stage_step_earlier_and_later_too(value: float, expected: float) -> None:
    # upper half from 3,873 ppm in weeks 5 and 6, but from 4,583 in week 4 (UGA-2021)
    sample = result(value, 5)
    found = advised(sample, on=sample.known_on, changes=(in_force(1.2, since=2),), applications=fed(1.2 * RATE))
    assert found.factor == pytest.approx(expected)


def test_a_change_is_not_taken_back_while_the_stage_is_in_doubt() -> None:
    # 1,800 ppm is high in week 1 and far too low in week 2 (UGA-2021); fed since four weeks before bloom
    sample = result(1800, 1, delay=0)
    the_plan = open_plan((RATE,) * 16, start=BLOOM - timedelta(days=28))
    change = Change(BLOOM - timedelta(days=23), BLOOM - timedelta(days=21), day_in(4), 1.2, {}, 7)
    found = advised(sample, on=sample.sampled, the_plan=the_plan, changes=(change,), applications=())
    assert line(found, "stage in doubt").change == "hold, confirm the stage"
    assert found.action is Action.HOLD and found.factor == pytest.approx(1.2)


def test_a_cut_size_of_the_growers_own_is_not_called_the_programs() -> None:
    base = policy()
    figure = base.cut_largest.model_copy(update={"value": 0.20, "evidence": Evidence.OWN, "shipped": 0.25})
    found = advised(result(20_000, 6), the_policy=base.model_copy(update={"cut_largest": figure}))
    assert "The size is set in the season file: no publication gives a number" in line(found, "cut").why


@pytest.mark.parametrize(
    ("factor", "value", "expected"),
    [
        (1.2, HIGH_EDGE, 1.1),  # both edges belong to the band: half of the change is taken back
        (1.2, HIGH_EDGE + 1, 1.0),
        (0.8, LOW_EDGE, 0.9),
        (0.8, LOW_EDGE - 1, 1.0),
    ],
)
def test_on_the_edge_a_change_is_eased_and_past_it_taken_back_in_full(
    factor: float, value: float, expected: float
) -> None:
    found = advised(result(value, 6), changes=(in_force(factor),), applications=fed(factor * RATE))
    assert line(found, "status").change == "hold, sample sooner"  # too close to the edge for a step
    assert found.factor == pytest.approx(expected)
    assert found.moved_by == "after recovery"
