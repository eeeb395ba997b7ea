"""Rules on position, seen through the whole engine: status, the stage beside it, and the trend."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from statistics import NormalDist

import pytest

from fertadjust.compare import Side, Status, percent
from fertadjust.evidence import Evidence
from fertadjust.rules.facts import Action, Recommendation
from fertadjust.rules.policy import Policy, with_overrides
from fertadjust.shipped import shipped_policy_files
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Tissue, TissueResult
from tests.rules import (
    ENOUGH,
    HIGH,
    HIGH_EDGE,
    LEAF_ENOUGH,
    LEAF_HIGH,
    LEAF_LOW,
    LOW,
    LOW_EDGE,
    RATE,
    SATURDAY,
    WIDTH,
    Z_80,
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
    uncertainty,
    value_at,
)
from tests.support import BLOOM, day_in, policy, result, with_policy

CALIFORNIA = "strawberry-petiole-dry-california"


# --- status -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "side", "status", "action"),
    [
        (1000.0, Side.BELOW, Status.LOW, Action.RAISE),
        (LOW, Side.BELOW, Status.LOW, Action.RAISE),
        (ENOUGH, Side.WITHIN, Status.SUFFICIENT, Action.HOLD),
        (HIGH, Side.ABOVE, Status.HIGH, Action.CUT),
        (20_000.0, Side.ABOVE, Status.HIGH, Action.CUT),
    ],
)
def test_a_clear_result_points_one_way(value: float, side: Side, status: Status, action: Action) -> None:
    found = advised(result(value, 6))
    assert found.comparison is not None
    assert (found.comparison.side, found.comparison.sure, found.comparison.status) == (side, side, status)
    assert found.action is action
    assert line(found, "status").fired is (side is not Side.WITHIN)
    words = {Action.RAISE: "calls for a raise", Action.CUT: "calls for a cut", Action.HOLD: ""}
    assert line(found, "status").change == words[action]


@pytest.mark.parametrize(
    ("edge", "z", "action"),
    [
        (LOW_EDGE, Z_80 + 0.005, Action.RAISE),
        (LOW_EDGE, Z_80 - 0.005, Action.HOLD),
        (HIGH_EDGE, -Z_80 + 0.005, Action.HOLD),
        (HIGH_EDGE, -Z_80 - 0.005, Action.CUT),
    ],
)
def test_a_status_counts_from_eighty_percent_on(edge: float, z: float, action: Action) -> None:
    found = advised(result(value_at(edge, z), 6))
    assert found.action is action
    assert found.comparison is not None
    chance = found.comparison.below if edge == LOW_EDGE else found.comparison.above
    assert chance == pytest.approx(0.80, abs=0.002)
    assert (chance >= 0.80) is (action is not Action.HOLD)


@pytest.mark.parametrize(("z", "sure"), [(-Z_80 - 0.02, Side.WITHIN), (-Z_80 + 0.02, None)])
def test_within_the_band_is_a_status_like_the_others(z: float, sure: Side | None) -> None:
    found = advised(result(value_at(LOW_EDGE, z), 6))
    assert found.comparison is not None and found.comparison.sure is sure
    assert line(found, "status").fired is (sure is None)


@pytest.mark.parametrize("value", [2990.0, LOW_EDGE, 3050.0, 4900.0, HIGH_EDGE, 5100.0])
def test_too_close_to_an_edge_moves_nothing_and_asks_for_a_sample_sooner(value: float) -> None:
    found = advised(result(value, 6))
    trace = line(found, "status")
    assert trace.fired and trace.change == "hold, sample sooner"
    assert found.action is Action.HOLD and found.factor == 1.0
    assert found.next_sample == result(value, 6).sampled + timedelta(days=7)
    assert "Sample again sooner: the result lies too close to an edge to act on." in found.to_do


def test_both_edges_belong_to_the_band() -> None:
    for value in (LOW_EDGE, HIGH_EDGE):
        found = advised(result(value, 6)).comparison
        assert found is not None and found.side is Side.WITHIN and found.status is Status.SUFFICIENT


def test_leaf_nitrogen_alone_is_no_ground_for_a_cut() -> None:
    found = advised(leaf(LEAF_HIGH))
    trace = line(found, "status")
    assert trace.fired and trace.source == "UDEL-T"
    assert found.comparison is not None and found.comparison.sure is Side.ABOVE
    assert found.action is Action.HOLD and found.factor == 1.0
    assert not line(found, "cut").fired


def test_low_leaf_nitrogen_alone_calls_for_a_raise() -> None:
    found = advised(leaf(LEAF_LOW))
    assert line(found, "status").change == "calls for a raise" and found.action is Action.RAISE


@pytest.mark.parametrize(
    ("censor", "value", "action", "side"),
    [
        (Censor.BELOW, 1000.0, Action.RAISE, Side.BELOW),
        (Censor.BELOW, 4000.0, Action.HOLD, None),
        (Censor.ABOVE, 9000.0, Action.CUT, Side.ABOVE),
        (Censor.ABOVE, 4000.0, Action.HOLD, None),
        (Censor.ABOVE, 2000.0, Action.HOLD, None),
        (Censor.BELOW, 9000.0, Action.HOLD, None),
    ],
)
def test_a_laboratorys_bound_counts_only_where_it_tells(
    censor: Censor, value: float, action: Action, side: Side | None
) -> None:
    found = advised(result(value, 6, censor=censor))
    assert found.action is action
    assert found.comparison is not None
    assert (found.comparison.side, found.comparison.position) == (side, None)
    if action is Action.HOLD:
        assert line(found, "status").why == (
            "The laboratory's bound does not tell clearly on which side of the band the crop lies."
        )


def test_a_bound_close_to_the_edge_is_not_sure_either() -> None:
    found = advised(result(2900, 6, censor=Censor.BELOW))
    assert found.comparison is not None and found.comparison.side is Side.BELOW
    assert found.comparison.sure is None and found.action is Action.HOLD
    assert "does not tell clearly" in line(found, "status").why


def california(*results: TissueResult, on: date = SATURDAY) -> Recommendation:
    """Coastal California gives one edge: 1,000 ppm before harvest, 400 at main harvest (UC-DRIS-2012)."""
    dates = {"pre_harvest": BLOOM - timedelta(days=60), "main_harvest": day_in(10)}
    stages = StageDates(dates, day_in(12, 6))
    return advised(*results, on=on, tables=(CALIFORNIA,), stages=stages)


@pytest.mark.parametrize("value", [1000.0, 1500.0, 10_000.0, 29_000.0])
def test_a_table_with_one_edge_never_cuts(value: float) -> None:
    found = california(result(value, 6))
    assert found.action is Action.HOLD
    assert found.comparison is not None
    assert found.comparison.side is Side.WITHIN and found.comparison.above == 0.0
    assert found.comparison.position is None


def test_a_table_with_one_edge_does_raise() -> None:
    found = california(result(200, 6))
    # a halving counts as one band width: 200 lies more than one of them below 1,000 and below 400
    assert found.action is Action.RAISE and found.factor == pytest.approx(1.5)


def test_with_one_edge_a_halving_counts_as_one_band_width() -> None:
    low = result(280, 11)
    found = california(low, on=low.known_on)
    width = 0.5146  # ln(400 / 280) / ln 2
    assert f"{width:.2f} band widths below" in line(found, "raise").saw
    assert found.factor == pytest.approx(1 + 1 / 3 + width / 6, abs=1e-4)


def test_many_results_on_one_edge_make_no_trend() -> None:
    results = [
        result(value, 3 + index, record=index) for index, value in enumerate((9000.0, 7000.0, 5000.0, 3000.0))
    ]
    found = california(*results)
    assert not line(found, "heading out").fired and found.action is Action.HOLD


# --- stage in doubt -----------------------------------------------------------------------------------------


def in_week(value: float, week: int, **rest: object) -> Recommendation:
    sample = result(value, week)
    return advised(sample, on=sample.known_on, **rest)


def test_low_in_week_two_is_high_in_week_one_so_the_stage_is_confirmed_first() -> None:
    # UGA-2021: 600 to 1,500 ppm in week 1, 4,000 to 6,000 in week 2
    found = in_week(2000.0, 2)
    trace = line(found, "stage in doubt")
    assert trace.fired and trace.change == "hold, confirm the stage"
    assert trace.saw == "7 days either way: week 1: above"  # week 3 is of the same row
    assert (trace.source, trace.evidence) == ("UGA-2021", Evidence.DERIVED)
    assert found.action is Action.HOLD and found.factor == 1.0
    assert found.comparison is not None and found.comparison.sure is Side.BELOW
    assert "Confirm where the crop stands: the band changes close to the date of this sample." in found.to_do
    assert found.next_sample == day_in(2, 2) + timedelta(days=7)


def test_a_result_low_at_every_stage_beside_it_is_acted_on() -> None:
    found = in_week(400.0, 2)
    assert not line(found, "stage in doubt").fired and found.action is Action.RAISE


@pytest.mark.parametrize(
    ("value", "week", "doubtful", "action"),
    [
        (2500.0, 5, False, Action.RAISE),  # week 4 is 3,500 to 6,000
        (6200.0, 5, True, Action.HOLD),  # not clearly above the band of week 4
        (7500.0, 5, False, Action.CUT),
        (2500.0, 8, True, Action.HOLD),  # week 9 is 2,000 to 4,500: within
        (1600.0, 8, False, Action.RAISE),
        (2500.0, 7, False, Action.RAISE),
        (1100.0, 11, True, Action.HOLD),  # week 12 is 1,000 to 2,000
        (600.0, 12, False, Action.RAISE),  # week 12 has one band beside it
        (5000.0, 12, False, Action.CUT),
        (3000.0, 12, True, Action.HOLD),  # on the edge of week 11
    ],
)
def test_a_status_has_to_survive_one_step_of_the_stage_either_way(
    value: float, week: int, doubtful: bool, action: Action
) -> None:
    late_allowed = with_policy(policy(), no_raise_after_week=20)
    long = petiole_season().plan
    long = replace(long, rates_lb_ac=(5.25,) * 16)
    found = in_week(value, week, the_policy=late_allowed, the_plan=long, applications=fed(weeks=range(1, 17)))
    assert line(found, "stage in doubt").fired is doubtful
    assert found.action is action


@pytest.mark.parametrize(("value", "week", "words"), [(2000.0, 2, "opposite"), (2500.0, 8, "not call for this")])
def test_the_doubt_says_what_the_stage_beside_would_call_for(value: float, week: int, words: str) -> None:
    assert words in line(in_week(value, week), "stage in doubt").why


def test_a_guessed_stage_date_is_called_a_guess() -> None:
    dates = {"first_bloom": BLOOM}
    guessed = StageDates(dates, day_in(12, 6), frozenset({"first_bloom"}))
    noted = StageDates(dates, day_in(12, 6))
    assert line(in_week(2000.0, 2, stages=guessed), "stage in doubt").why.startswith("The stage date is a guess")
    assert line(in_week(2000.0, 2, stages=noted), "stage in doubt").why.startswith("The stage may be wrong")


def test_the_stage_does_not_matter_where_nothing_would_be_changed() -> None:
    found = in_week(5000.0, 2)
    assert found.comparison is not None and found.comparison.sure is Side.WITHIN
    trace = line(found, "stage in doubt")
    assert not trace.fired and "does not matter" in trace.why
    assert "week 1: above" in trace.saw


@pytest.mark.parametrize(("value", "recorded"), [(2500.0, True), (1600.0, False)])
def test_a_guessed_bloom_is_in_doubt_by_two_weeks(value: float, recorded: bool) -> None:
    """Week 7: weeks 5 to 8 are of one row; two weeks on, in week 9, the band is 2,000 to 4,500 ppm (UGA-2021)."""
    guessed = StageDates({"first_bloom": BLOOM}, day_in(12, 6), frozenset({"first_bloom"}))
    noted, guess = in_week(value, 7), in_week(value, 7, stages=guessed)
    assert not line(noted, "stage in doubt").fired and noted.action is Action.RAISE
    trace = line(guess, "stage in doubt")
    assert trace.fired is recorded and trace.saw.startswith("14 days either way: ")
    assert (trace.source, trace.evidence) == ("none", Evidence.PROJECT_RULE)
    assert guess.action is (Action.HOLD if recorded else Action.RAISE)


def by_month(value: float, sampled: date, **more: object) -> Recommendation:
    """Sap by Florida's months (UF-CV004), with the grower's consent to cuts on figures from memory."""
    sample = replace(result(value, 1, basis=Basis.SAP, **more), sampled=sampled, received=sampled)  # type: ignore[arg-type]
    start = sampled - timedelta(days=sampled.weekday() + 21)
    the_plan = open_plan((RATE,) * 12, start=start)
    consent = with_policy(policy(), recalled_may_cut=True)
    return advised(
        sample,
        on=sampled,
        tables=("strawberry-petiole-sap-florida",),
        the_plan=the_plan,
        the_policy=consent,
        applications=(),
    )


@pytest.mark.parametrize(
    ("sampled", "value", "doubtful", "action"),
    [
        (date(2025, 11, 15), 650.0, False, Action.RAISE),  # 800 to 900 in November
        (date(2025, 11, 23), 650.0, False, Action.RAISE),
        (date(2025, 11, 24), 650.0, True, Action.HOLD),  # 600 to 800 in December
        (date(2025, 12, 7), 1000.0, True, Action.HOLD),
        (date(2025, 12, 8), 1000.0, False, Action.CUT),
        (date(2025, 11, 30), 450.0, False, Action.RAISE),  # low in both months
        (date(2026, 1, 15), 450.0, False, Action.RAISE),
        (date(2026, 1, 25), 450.0, True, Action.HOLD),  # 300 to 500 in February
    ],
)
def test_by_months_a_result_is_in_doubt_only_near_the_months_change(
    sampled: date, value: float, doubtful: bool, action: Action
) -> None:
    found = by_month(value, sampled)
    assert line(found, "stage in doubt").fired is doubtful
    assert found.action is action


NAMED = {
    "green_up": BLOOM - timedelta(days=14),
    "full_bloom": day_in(2),
    "main_fruiting": day_in(6),
    "later_fruiting": day_in(11),
}
"""Delaware (DE-2018): 600-1,500, 4,000-6,000, 3,000-5,000, then 1,000-3,000 ppm."""


def by_stage(value: float, on: date, dates: dict[str, date], *guesses: str) -> Recommendation:
    sample = replace(result(value, 1), sampled=on, received=on)
    return advised(
        sample,
        on=on,
        tables=("strawberry-petiole-dry-delaware",),
        stages=StageDates({**dates, "first_bloom": BLOOM}, day_in(12, 6), frozenset(guesses)),
        applications=(),
    )


@pytest.mark.parametrize(
    ("on", "value", "doubtful", "action"),
    [
        (day_in(8), 2000.0, False, Action.RAISE),  # the middle of main fruiting, three weeks before the next
        (day_in(8), 7000.0, False, Action.CUT),
        (day_in(10), 2000.0, True, Action.HOLD),  # a week before later fruiting, where it is within
        (day_in(9, 6), 2000.0, False, Action.RAISE),  # eight days before
        (day_in(2), 2000.0, True, Action.HOLD),  # the first day of full bloom; high at green-up
        (day_in(2, 6), 2000.0, True, Action.HOLD),
        (day_in(3), 2000.0, False, Action.RAISE),
        (day_in(1, 6), 1900.0, True, Action.HOLD),  # the day before full bloom
        (day_in(12), 500.0, False, Action.HOLD),  # low in both; too late for a raise
    ],
)
def test_by_named_stages_a_result_is_in_doubt_only_near_a_change(
    on: date, value: float, doubtful: bool, action: Action
) -> None:
    found = by_stage(value, on, NAMED)
    assert line(found, "stage in doubt").fired is doubtful
    assert found.action is action


def test_a_next_stage_without_a_date_leaves_the_middle_of_this_one_in_doubt() -> None:
    undated = {name: on for name, on in NAMED.items() if name != "later_fruiting"}
    on = day_in(8)
    within_the_next, low_in_both = by_stage(2000.0, on, undated), by_stage(600.0, on, undated)
    assert line(within_the_next, "stage in doubt").fired and within_the_next.action is Action.HOLD
    assert "later fruiting: within" in line(within_the_next, "stage in doubt").saw
    assert not line(low_in_both, "stage in doubt").fired and low_in_both.action is Action.RAISE


def test_a_guessed_next_stage_is_in_doubt_two_weeks_before() -> None:
    for on, doubtful in ((day_in(8, 6), False), (day_in(9), True)):  # 15 and 14 days before later fruiting
        found = by_stage(2000.0, on, NAMED, "later_fruiting")
        trace = line(found, "stage in doubt")
        assert trace.fired is doubtful and (f"{14 if doubtful else 7} days either way" in trace.saw)
        assert found.action is (Action.HOLD if doubtful else Action.RAISE)
    assert line(by_stage(2000.0, day_in(9), NAMED, "later_fruiting"), "stage in doubt").why.startswith(
        "The stage date is a guess"
    )


def test_a_band_for_the_whole_season_leaves_no_doubt_about_the_stage() -> None:
    found = advised(leaf(LEAF_LOW))
    trace = line(found, "stage in doubt")
    assert not trace.fired and trace.saw == "whole season, 7 days either way"
    assert trace.why == "The band is the same however the stage is dated."


def test_a_low_result_with_the_stage_in_doubt_is_not_said_to_be_in_its_band() -> None:
    found = in_week(2000.0, 2)
    assert line(found, "stage in doubt").fired
    assert "petiole sufficient" not in line(found, "leaf nitrogen").saw
    assert "in its band" not in line(found, "leaf nitrogen").why


# --- heading out --------------------------------------------------------------------------------------------

FALLING = (4600.0, 4200.0, 3900.0, 3600.0)
RISING = (3300.0, 3600.0, 3900.0, 4300.0)


def every_five_days(values: tuple[float, ...], **more: object) -> list[TissueResult]:
    """Results from the Monday of week 5 on, every fifth day; known on the day."""
    out = []
    for index, value in enumerate(values):
        sampled = day_in(5) + timedelta(days=5 * index)
        item = result(value, 5, record=index + 1, **more)  # type: ignore[arg-type]
        out.append(replace(item, sampled=sampled, received=sampled))
    return out


def on_trend(values: tuple[float, ...], **rest: object) -> Recommendation:
    results = every_five_days(values)
    return advised(*results, on=results[-1].sampled, **rest)


def test_four_falling_results_take_an_early_step_up() -> None:
    found = on_trend(FALLING)
    trace = line(found, "heading out")
    assert trace.fired and trace.change == "early raise"
    assert trace.source == "MANN-KENDALL-PAST"
    assert "4 results" in trace.saw and "0.042" in trace.saw  # 1/24: one order of four
    assert found.comparison is not None and found.comparison.sure is Side.WITHIN
    assert found.action is Action.RAISE and found.factor == pytest.approx(1.10)
    assert line(found, "raise").saw == "early step on the trend"
    assert "28 Apr" in trace.why  # two weeks after the last sample, of 14 April


def test_four_rising_results_take_an_early_step_down() -> None:
    found = on_trend(RISING)
    assert line(found, "heading out").change == "early cut"
    assert found.action is Action.CUT and found.factor == pytest.approx(0.90)


def test_three_results_make_no_trend() -> None:
    found = on_trend(FALLING[1:])
    trace = line(found, "heading out")
    assert not trace.fired and "needs 4 results" in trace.why
    assert found.action is Action.HOLD


@pytest.mark.parametrize("values", [(4600.0, 3900.0, 4200.0, 3600.0), (4200.0, 4600.0, 3900.0, 3600.0)])
def test_four_results_that_do_not_all_fall_are_no_trend(values: tuple[float, ...]) -> None:
    found = on_trend(values)
    trace = line(found, "heading out")
    assert not trace.fired and "do not run one way clearly enough" in trace.why
    assert found.action is Action.HOLD


@pytest.mark.parametrize(("tail", "fires"), [(0.0416, False), (0.0417, True)])
def test_a_trend_counts_up_to_the_stated_chance(tail: float, fires: bool) -> None:
    found = on_trend(FALLING, the_policy=with_policy(policy(), trend_tail=tail))
    assert line(found, "heading out").fired is fires


def test_a_chance_of_exactly_the_stated_one_still_counts() -> None:
    results = every_five_days(FALLING)
    trend = petiole_season(*results).facts(results[-1].sampled).trend
    assert trend is not None
    assert line(on_trend(FALLING, the_policy=with_policy(policy(), trend_tail=trend.tail)), "heading out").fired


@pytest.mark.parametrize("values", [(5300.0, 5250.0, 5200.0, 5150.0), (2850.0, 2870.0, 2890.0, 2910.0)])
def test_results_that_are_on_their_way_back_into_the_band_take_no_early_step(values: tuple[float, ...]) -> None:
    found = on_trend(values)
    assert found.comparison is not None and found.comparison.sure is None
    assert not line(found, "heading out").fired and found.action is Action.HOLD


def test_eight_results_with_a_chance_of_five_and_a_half_percent_are_no_trend() -> None:
    # S = 14 of 8 results: 0.054 by the exact distribution (MANN-KENDALL-PAST)
    values = tuple(3200.0 + 180.0 * rank for rank in (4, 8, 7, 5, 6, 1, 3, 2))
    results = [
        replace(item, sampled=day_in(5) + timedelta(days=2 * index), received=None)
        for index, item in enumerate(every_five_days(values))
    ]
    facts = petiole_season(*results).facts(results[-1].sampled)
    assert facts.trend is not None and facts.trend.tail == pytest.approx(0.0543, abs=2e-4)
    found = advised(*results, on=results[-1].sampled)
    bolder = advised(*results, on=results[-1].sampled, the_policy=with_policy(policy(), trend_tail=0.055))
    assert line(bolder, "heading out").fired
    assert not line(found, "heading out").fired and found.action is Action.HOLD


def test_a_trend_that_stays_in_the_band_until_the_next_sample_takes_no_step() -> None:
    found = on_trend((4100.0, 4050.0, 4000.0, 3950.0))
    trace = line(found, "heading out")
    assert not trace.fired
    assert trace.why == "The chance has to be more than 50 % at every stage in doubt."
    assert found.action is Action.HOLD and "chance to lie below the band on 28 Apr: week 7 " in trace.saw


@pytest.mark.parametrize("last", [3400.0, 3600.0])
def test_an_early_step_needs_more_than_the_stated_chance_to_leave_the_band(last: float) -> None:
    """The chance by hand: position, slope and their errors at the sample's day, two weeks on."""
    values = (4700.0, 4300.0, 3900.0, last)
    results = every_five_days(values)
    facts = petiole_season(*results).facts(results[-1].sampled)
    assert facts.trend is not None
    slope_sd = (facts.trend.high_slope - facts.trend.low_slope) / (2 * 1.6448536269514722)
    place = math.log(last / LOW_EDGE) / WIDTH + 14 * facts.trend.slope_per_day
    own_sd = math.sqrt(math.log1p(uncertainty(last) ** 2)) / WIDTH
    chance = NormalDist(place, math.hypot(own_sd, 14 * slope_sd)).cdf(0.0)
    assert 0.5 < chance < 0.99
    for asked, fires in ((chance - 1e-6, True), (chance + 1e-6, False)):
        found = on_trend(values, the_policy=with_policy(policy(), leaving_chance=asked))
        trace = line(found, "heading out")
        assert trace.fired is fires and trace.saw.endswith(f"on 28 Apr: week 7 {100 * chance:.0f} %")
        assert found.factor == pytest.approx(1.1 if fires else 1.0)


def chance_below(low: float, high: float, last: float, slope: tuple[float, float, float]) -> float:
    """Chance to lie below a band two weeks after a result, by hand, from the slope and its 90 % limits."""
    width = math.log(high / low)
    there = math.log(last / low) / width + 14 * slope[0]
    own_sd = math.sqrt(math.log1p(uncertainty(last) ** 2)) / width
    return NormalDist(there, math.hypot(own_sd, 14 * (slope[2] - slope[1]) / (2 * 1.6448536269514722))).cdf(0.0)


@pytest.mark.parametrize(("values", "fires"), [(FALLING, False), ((4500.0, 3800.0, 3100.0, 2500.0), True)])
def test_the_chance_to_leave_the_band_is_shown_for_every_stage_in_doubt(
    values: tuple[float, ...], fires: bool
) -> None:
    """Tuesday of week 8: 3,000 to 5,000 ppm there, 2,000 to 4,500 in week 9 (UGA-2021)."""
    results = [
        replace(item, sampled=item.sampled + timedelta(days=7), received=None) for item in every_five_days(values)
    ]
    on = results[-1].sampled
    facts = petiole_season(*results).facts(on)
    assert facts.trend is not None
    slope = (facts.trend.slope_per_day, facts.trend.low_slope, facts.trend.high_slope)
    here, beside = (chance_below(low, high, values[-1], slope) for low, high in ((3000, 5000), (2000, 4500)))
    trace = line(advised(*results, on=on), "heading out")
    assert trace.saw.endswith(f"on 5 May: week 8 {percent(here)}, week 9 {percent(beside)}")
    assert here > 0.5 and (beside > 0.5) is trace.fired is fires
    if not fires:
        assert trace.why == "The chance has to be more than 50 % at every stage in doubt."
    asked = beside - 1e-6 if fires else beside + 1e-6
    if asked > 0.5:
        assert line(
            advised(*results, on=on, the_policy=with_policy(policy(), leaving_chance=asked)), "heading out"
        ).fired


@pytest.mark.parametrize("values", [FALLING, (4100.0, 4050.0, 4000.0, 3950.0)])
@pytest.mark.parametrize(
    ("figures", "source", "evidence"),
    [
        ({}, "MANN-KENDALL-PAST", Evidence.PROJECT_RULE),
        ({"trend_tail": 0.06}, "season file", Evidence.OWN),
        ({"leaving_chance": 0.6}, "MANN-KENDALL-PAST; season file", Evidence.OWN),
        ({"stale_days": 10}, "MANN-KENDALL-PAST", Evidence.PROJECT_RULE),
    ],
)
def test_a_trend_that_is_followed_or_not_names_both_of_its_figures(
    values: tuple[float, ...], figures: dict[str, float], source: str, evidence: Evidence
) -> None:
    data = shipped_policy_files()["strawberry-annual-plasticulture"].data
    the_policy = Policy.model_validate(with_overrides(data, figures))
    trace = line(on_trend(values, the_policy=the_policy), "heading out")
    assert trace.fired is (values is FALLING)
    assert (trace.source, trace.evidence) == (source, evidence)


@pytest.mark.parametrize(("last", "leaves"), [(3505.0, True), (3525.0, False)])
def test_the_projection_runs_to_the_next_sample_from_where_the_crop_is_now(last: float, leaves: bool) -> None:
    # the position falls by 0.310 in 14 days, -ln(0.945) / WIDTH x 14 / 5: out of the band from below 3,515 ppm
    ratio = 0.945
    values = tuple(last / ratio**step for step in (3, 2, 1, 0))
    found = on_trend(values)
    assert line(found, "heading out").fired is leaves


def test_the_trend_has_to_leave_the_bands_beside_too() -> None:
    # week 8 beside week 9, where the band reaches down to 2,000 ppm (UGA-2021)
    results = [replace(item, sampled=item.sampled + timedelta(days=7)) for item in every_five_days(FALLING)]
    results = [replace(item, received=item.sampled) for item in results]
    assert results[-1].sampled == day_in(8, 1)
    found = advised(*results, on=results[-1].sampled)
    assert not line(found, "heading out").fired and found.action is Action.HOLD


def test_a_result_out_of_the_band_takes_its_own_step_not_an_early_one() -> None:
    found = on_trend((4600.0, 4200.0, 3600.0, 2400.0))
    trace = line(found, "heading out")
    assert not trace.fired and "out of its band already" in trace.why
    assert found.factor == pytest.approx(1 + raise_size(2400.0))


def test_a_trend_is_not_followed_across_a_change_that_cannot_show_yet() -> None:
    change = in_force(0.9, since=7)
    soon = on_trend(FALLING, changes=(change,))
    assert line(soon, "too soon").fired
    assert not line(soon, "heading out").fired and soon.action is Action.HOLD
    settled = on_trend(FALLING, changes=(in_force(0.9, since=5),), applications=fed(0.9 * RATE))
    assert line(settled, "heading out").fired


def test_a_low_result_with_the_stage_in_doubt_takes_no_more_than_the_early_step() -> None:
    # week 8 beside week 9, where 2,500 ppm is in the band (UGA-2021); falling out of that one too
    results = [
        replace(item, sampled=item.sampled + timedelta(days=7), received=None)
        for item in every_five_days((4500.0, 3800.0, 3100.0, 2500.0))
    ]
    found = advised(*results, on=results[-1].sampled)
    assert {"stage in doubt", "heading out"} <= fired(found)
    assert found.factor == pytest.approx(1.10)
    assert "Confirm where the crop stands: the band changes close to the date of this sample." in found.to_do


def test_a_laboratorys_bound_is_not_projected() -> None:
    results = every_five_days(FALLING)
    last = replace(results[-1], record=9, value=3550.0)
    last = replace(last, sampled=last.sampled + timedelta(days=1), received=None)
    assert line(advised(*results, last, on=last.sampled), "heading out").fired
    bound = replace(last, censor=Censor.BELOW)
    assert not line(advised(*results, bound, on=bound.sampled), "heading out").fired


def test_rising_leaf_nitrogen_alone_is_no_ground_for_an_early_cut() -> None:
    results = [
        leaf(value, week, record=week) for week, value in zip((3, 4, 5, 6), (3.0, 3.2, 3.4, 3.6), strict=True)
    ]
    found = advised(*results)
    assert found.comparison is not None and found.comparison.side is Side.WITHIN
    assert found.action is not Action.CUT


def test_leaf_nitrogen_that_has_risen_above_its_band_cuts_nothing() -> None:
    results = [
        leaf(value, week, record=week) for week, value in zip((3, 4, 5, 6), (3.0, 3.4, 3.8, 4.4), strict=True)
    ]
    found = advised(*results)
    assert line(found, "status").source == "UDEL-T"
    assert found.action is not Action.CUT


def test_falling_leaf_nitrogen_alone_takes_an_early_step_up() -> None:
    values = (3.75, 3.5, 3.25, LEAF_ENOUGH - 0.3)
    results = [leaf(value, week, record=week) for week, value in zip((3, 4, 5, 6), values, strict=True)]
    found = advised(*results)
    assert found.comparison is not None
    assert line(found, "heading out").change == "early raise"
    assert found.factor == pytest.approx(1.10)


def test_trends_are_drawn_over_results_of_one_kind() -> None:
    petioles = every_five_days(FALLING[:3])
    facts = petiole_season(*petioles, leaf(LEAF_ENOUGH, 5), leaf(LEAF_ENOUGH, 6, record=51)).facts(day_in(7, 1))
    assert facts.primary is not None and facts.primary.tissue is Tissue.PETIOLE
    assert facts.trend is None
    assert [day for day, _ in facts.earlier] == [item.sampled for item in petioles[:2]]


def test_an_early_step_runs_on_results_in_doubt_only_where_every_stage_agrees() -> None:
    found = on_trend(RISING)
    assert "heading out" in fired(found) and "stage in doubt" not in fired(found)


def test_the_size_of_a_full_cut_stands_beside_an_early_one() -> None:
    assert cut_size(HIGH) > 0.10 == pytest.approx(1 - on_trend(RISING).factor)
