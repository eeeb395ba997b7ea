"""Rules that hold a result against leaf, supply, roots, rain, soil and history, seen through the whole engine."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fertadjust.dates import short_day
from fertadjust.evidence import Evidence
from fertadjust.ledger import Application
from fertadjust.observations import LIMITS_UPTAKE, Sight
from fertadjust.rules.cross_table import CrossCheckRow
from fertadjust.rules.facts import Action, Recommendation
from fertadjust.tissue import Censor
from tests.rules import (
    ENOUGH,
    HIGH,
    LEAF_ENOUGH,
    LEAF_HIGH,
    LEAF_LOW,
    LEAF_UNCLEAR,
    LOW,
    RATE,
    SATURDAY,
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
    seen,
    taken_over,
    weighed,
)
from tests.support import day_in, policy, result, with_policy

SAMPLED = day_in(6, 2)

# --- leaf nitrogen ------------------------------------------------------------------------------------------

LEAVES = {
    "low": LEAF_LOW,
    "sufficient": LEAF_ENOUGH,
    "high": LEAF_HIGH,
    "unclear": LEAF_UNCLEAR,
    "none": None,
}
PETIOLES = {"low": LOW, "sufficient": ENOUGH, "high": HIGH}

FULL_RAISE, HALF_RAISE = raise_size(LOW), raise_size(LOW) / 2
FULL_CUT, HALF_CUT = cut_size(HIGH), cut_size(HIGH) / 2
CROSS_CHECK = {
    # (petiole, leaf): (change of the rate, what the table's line says it changed; it fires when it says so)
    ("low", "low"): (0.50, ""),  # 50 % on low leaf nitrogen (UGA-AESL)
    ("low", "sufficient"): (HALF_RAISE, "full step -> half step"),
    ("low", "high"): (0.0, "full step -> hold, sample sooner"),
    ("low", "unclear"): (FULL_RAISE, ""),
    ("low", "none"): (FULL_RAISE, ""),
    ("sufficient", "low"): (0.0, "hold, sample sooner"),
    ("sufficient", "sufficient"): (0.0, ""),
    ("sufficient", "high"): (0.0, ""),
    ("sufficient", "unclear"): (0.0, ""),
    ("sufficient", "none"): (0.0, ""),
    ("high", "low"): (0.0, "full step -> hold, sample sooner"),
    ("high", "sufficient"): (-HALF_CUT, "full step -> half step"),
    ("high", "high"): (-FULL_CUT, ""),
    ("high", "unclear"): (-FULL_CUT, ""),
    ("high", "none"): (-FULL_CUT, ""),
}
"""With the supply in full, no soil test and nothing seen; `test_cross_table` holds every other combination."""


def beside(petiole: str, leaf_state: str, **rest: Any) -> Recommendation:
    value = LEAVES[leaf_state]
    leaves = () if value is None else (leaf(value),)
    return advised(result(PETIOLES[petiole], 6), *leaves, **rest)


@pytest.mark.parametrize(("petiole", "leaf_state"), CROSS_CHECK)
def test_petiole_beside_leaf_nitrogen(petiole: str, leaf_state: str) -> None:
    step, change = CROSS_CHECK[petiole, leaf_state]
    found = beside(petiole, leaf_state)
    assert found.factor == pytest.approx(1 + step)
    assert found.rates_lb_ac == pytest.approx([RATE * (1 + step)] * len(found.rates_lb_ac))
    actions = {1: Action.RAISE, 0: Action.HOLD, -1: Action.CUT}
    assert found.action is actions[(step > 0) - (step < 0)]
    trace = line(found, "weighed together")
    assert (trace.fired, trace.change) == (bool(change), change)
    sole = petiole == "sufficient" and leaf_state in {"unclear", "none"}
    row = petiole if sole else f"{petiole}-leaf-{leaf_state}"
    assert trace.saw == weighed(petiole, row, leaf_state=leaf_state)


@pytest.mark.parametrize("petiole", PETIOLES)
@pytest.mark.parametrize("leaf_state", LEAVES)
def test_the_leaf_says_what_it_shows_and_changes_nothing_by_itself(petiole: str, leaf_state: str) -> None:
    trace = line(beside(petiole, leaf_state), "leaf nitrogen")
    assert trace.fired is (leaf_state in {"low", "high"}) and trace.change == ""
    if leaf_state == "none":
        assert trace.saw == "no leaf result near the sample" and trace.why == "The leaf says nothing."
        return
    value = LEAVES[leaf_state]
    assert trace.saw == f"leaf N {value:.2f} % of {short_day(leaf(1.0).sampled)}: {leaf_state}"
    assert (trace.source, trace.evidence) == ("UGA-AESL", Evidence.PUBLISHED)  # the leaf's own band
    words = {
        "low": "Leaf nitrogen is clearly low.",
        "high": "Leaf nitrogen is clearly high.",
        "sufficient": "Leaf nitrogen is within its band.",
        "unclear": "The leaf lies too close to an edge to say anything.",
    }
    assert trace.why == words[leaf_state]


@pytest.mark.parametrize("pair", [("low", "high"), ("high", "low"), ("sufficient", "low")])
def test_petiole_and_leaf_that_disagree_are_sampled_again_in_a_week(pair: tuple[str, str]) -> None:
    found = beside(*pair)
    assert any(text.startswith("Resample petiole and leaf") for text in found.to_do)
    assert found.next_sample == SAMPLED + timedelta(days=7)


def test_a_disagreement_that_holds_the_cut_does_not_ease_the_rate_either() -> None:
    found = beside("high", "low", changes=(in_force(1.2),), applications=fed(1.2 * RATE))
    assert line(found, "weighed together").change == "full step -> hold, sample sooner"
    assert found.action is Action.HOLD and found.factor == pytest.approx(1.2)


def test_a_disagreement_that_holds_the_raise_does_not_ease_the_rate_up_either() -> None:
    found = beside("low", "high", changes=(in_force(0.8),), applications=fed(0.8 * RATE))
    assert line(found, "weighed together").change == "full step -> hold, sample sooner"
    assert found.action is Action.HOLD and found.factor == pytest.approx(0.8)


@pytest.mark.parametrize("days", [-28, 28])
def test_a_leaf_result_within_four_weeks_of_the_petiole_is_held_beside_it(days: int) -> None:
    near = replace(leaf(LEAF_HIGH), sampled=SAMPLED + timedelta(days=days), received=SAMPLED)
    far = replace(near, sampled=SAMPLED + timedelta(days=days + (1 if days > 0 else -1)))
    assert advised(result(LOW, 6), near).action is Action.HOLD
    assert advised(result(LOW, 6), far).action is Action.RAISE
    assert "no leaf result" in line(advised(result(LOW, 6), far), "leaf nitrogen").saw


def test_the_leaf_result_nearest_in_time_counts() -> None:
    far, near = leaf(LEAF_HIGH, 4), leaf(LEAF_LOW, 5, record=51)
    found = advised(result(LOW, 6), far, near)
    assert "leaf N 2.20 %" in line(found, "leaf nitrogen").saw
    assert found.factor == pytest.approx(1.5)


def test_a_leaf_result_from_before_the_last_change_is_not_held_beside_the_petiole() -> None:
    change = in_force(0.9, since=5)
    before, after = leaf(LEAF_HIGH, 4, offset=6), leaf(LEAF_HIGH, 5, offset=0)
    given: dict[str, Any] = {"changes": (change,), "applications": fed(0.9 * RATE)}
    held, free = advised(result(LOW, 6), after, **given), advised(result(LOW, 6), before, **given)
    assert held.action is Action.HOLD and "row low-leaf-high" in line(held, "weighed together").saw
    assert free.action is Action.RAISE and "older than the last change" in line(free, "leaf nitrogen").saw
    assert not line(free, "leaf nitrogen").fired
    assert line(free, "weighed together").saw == weighed("low", "low-leaf-none")


def test_a_leaf_bound_that_does_not_tell_leaves_the_petiole_to_decide() -> None:
    found = advised(result(LOW, 6), leaf(3.5, censor=Censor.BELOW))
    assert line(found, "leaf nitrogen").saw.endswith("unclear")
    assert found.factor == pytest.approx(1 + FULL_RAISE)


def test_a_season_of_leaves_alone_has_no_petiole_to_check() -> None:
    found = advised(leaf(LEAF_LOW))
    trace = line(found, "leaf nitrogen")
    assert not trace.fired and trace.saw == "no petiole beside it"
    assert line(found, "weighed together").saw.startswith("leaf low, no leaf beside it, ")
    assert found.factor == pytest.approx(1.5)  # 50 % on low leaf nitrogen (UGA-AESL)


# --- missed applications ------------------------------------------------------------------------------------


def log(*amounts: float, last: int = 3) -> tuple[Application, ...]:
    """Amounts every third day, the last one some days before the sample."""
    days = [SAMPLED - timedelta(days=last + 3 * index) for index in range(len(amounts))]
    return tuple(
        Application(900 + index, "north", on, amount)
        for index, (on, amount) in enumerate(zip(days, amounts, strict=True))
    )


@pytest.mark.parametrize(
    ("rate", "share", "missed"),
    [(5.25, 0.79, True), (5.25, 0.80, False), (7.0, 0.79, True), (7.0, 0.80, False), (3.5, 0.80, False)],
)
def test_less_than_four_fifths_of_the_plan_before_the_sample_restores_the_plan_first(
    rate: float, share: float, missed: bool
) -> None:
    applied = log(rate * 2 * share)
    found = advised(result(LOW, 6), the_plan=open_plan((rate,) * 12), applications=applied)
    trace = line(found, "missed applications")
    assert f"{100 * share:.0f} %; limits 80 % and 120 %" in trace.saw
    assert trace.fired is missed and trace.change == ""
    assert (found.action is Action.RAISE) is not missed
    weighing = line(found, "weighed together")
    assert f"supply {'short' if missed else 'full'}, " in weighing.saw
    assert weighing.change == ("full step -> hold" if missed else "")
    assert ("Apply what is planned, every injection, and log it." in found.to_do) is missed
    if missed:
        assert "row low-short" in weighing.saw and "plan is restored first: no step" in weighing.why
        assert found.rates_lb_ac == found.standing_rates_lb_ac
        assert line(found, "raise").saw == "held back by: weighed together"


def test_exactly_four_fifths_in_four_injections_is_not_less() -> None:
    found = advised(result(LOW, 6), the_plan=open_plan((7.0,) * 12), applications=log(2.8, 2.8, 2.8, 2.8))
    trace = line(found, "missed applications")
    assert "11.20 of 14.00" in trace.saw
    assert not trace.fired and found.action is Action.RAISE


@pytest.mark.parametrize(("rate", "share", "over"), [(5.25, 1.20, False), (5.25, 1.21, True), (7.0, 1.20, False)])
@pytest.mark.parametrize(("value", "half"), [(LOW, HALF_RAISE), (HIGH, -HALF_CUT)])
def test_more_than_six_fifths_of_the_plan_before_the_sample_makes_a_half_step_of_either(
    rate: float, share: float, over: bool, value: float, half: float
) -> None:
    found = advised(result(value, 6), the_plan=open_plan((rate,) * 12), applications=log(rate * 2 * share))
    trace, weighing = line(found, "missed applications"), line(found, "weighed together")
    assert trace.fired is over and trace.change == ""
    assert f"{100 * share:.0f} %; limits 80 % and 120 %" in trace.saw
    limit = policy().supply_over if over else policy().supply_share
    assert (trace.source, trace.evidence) == (limit.source, limit.evidence)
    assert f"supply {'over' if over else 'full'}, " in weighing.saw
    assert found.factor == pytest.approx(1 + half * (1 if over else 2))
    asked = [text for text in found.to_do if "more than planned" in text or "more went out" in text]
    assert len(asked) == over


def test_more_than_planned_in_four_injections_is_judged_to_the_last_digit() -> None:
    # 4 x 2.1 = 8.4 of 7 lb/ac is 1.2 of the plan, whatever the floating point makes of it
    found = advised(result(LOW, 6), the_plan=open_plan((3.5,) * 12), applications=log(2.1, 2.1, 2.1, 2.1))
    assert "8.40 of 7.00" in line(found, "missed applications").saw
    assert not line(found, "missed applications").fired


@pytest.mark.parametrize(("value", "asked"), [(LOW, True), (ENOUGH, True), (HIGH, False)])
def test_a_short_supply_is_to_be_made_good_unless_the_result_is_high(value: float, asked: bool) -> None:
    found = advised(result(value, 6), applications=log(1.0))
    assert line(found, "missed applications").fired
    assert ("Apply what is planned, every injection, and log it." in found.to_do) is asked


@pytest.mark.parametrize(("days_before", "counts"), [(0, False), (1, True), (14, True), (15, False)])
def test_what_went_out_in_the_fourteen_days_before_the_sample_counts(days_before: int, counts: bool) -> None:
    all_of_it = (Application(1, "north", SAMPLED - timedelta(days=days_before), 2 * RATE),)
    found = advised(result(LOW, 6), applications=(*all_of_it, Application(2, "north", day_in(1), 1.0)))
    assert line(found, "missed applications").fired is not counts
    assert (found.action is Action.RAISE) is counts


def test_missed_applications_hold_no_cut_back() -> None:
    found = advised(result(HIGH, 6), applications=log(1.0))
    assert line(found, "missed applications").fired
    assert found.action is Action.CUT and found.factor == pytest.approx(1 - FULL_CUT)


def test_supply_is_held_against_the_rate_in_force_not_the_plan() -> None:
    changes = (in_force(1.5, since=4),)
    results = (result(1500, 5, record=1), result(LOW, 6, record=2))
    short = advised(*results, changes=changes, applications=fed(RATE))
    full = advised(*results, changes=changes, applications=fed(1.5 * RATE))
    assert line(short, "missed applications").fired and short.action is Action.HOLD
    assert not line(full, "missed applications").fired and full.action is Action.RAISE


def test_an_injection_logged_as_skipped_counts_as_missed() -> None:
    skipped = tuple(replace(item, n_lb_ac=0.0) for item in fed(weeks=(4, 5, 6)))
    found = advised(result(LOW, 6), applications=(*fed(weeks=(1, 2, 3)), *skipped))
    assert line(found, "missed applications").fired and found.action is Action.HOLD


def test_without_any_log_a_missed_injection_cannot_be_ruled_out_but_the_raise_stands() -> None:
    found = advised(result(LOW, 6), applications=())
    trace = line(found, "missed applications")
    assert trace.fired and trace.change == "" and "cannot be ruled out" in trace.why
    assert found.factor == pytest.approx(1 + FULL_RAISE)
    assert any(text.startswith("Log what was applied") for text in found.to_do)


def test_in_the_first_week_of_the_plan_there_is_no_supply_to_judge() -> None:
    first = result(200, 1, delay=0)
    found = advised(first, on=first.sampled, applications=())
    trace = line(found, "missed applications")
    assert not trace.fired and "no full week of plan" in trace.saw


def test_ten_days_into_the_plan_one_whole_week_is_judged() -> None:
    sample = result(400, 2, delay=0)  # Wednesday of week 2, the tenth day
    facts = petiole_season(sample, applications=fed(weeks=(1, 2))).facts(sample.sampled)
    assert facts.supply is not None
    assert (facts.supply.start, facts.supply.end) == (day_in(1, 2), day_in(2, 1))
    assert facts.supply.planned_lb_ac == pytest.approx(RATE)


def test_a_plan_that_feeds_nothing_before_the_sample_is_not_called_unlogged() -> None:
    the_plan = open_plan((0.0,) * 5 + (RATE,) * 7)
    skipped = tuple(replace(item, n_lb_ac=0.0) for item in fed(weeks=range(1, 6)))
    sample = result(LOW, 6, offset=0, delay=0)
    facts = petiole_season(sample, the_plan=the_plan, applications=skipped).facts(sample.sampled)
    assert facts.supply is not None and facts.supply.planned_lb_ac == 0.0 and facts.supply.logged
    found = advised(sample, on=sample.sampled, the_plan=the_plan, applications=skipped)
    assert "No application has been logged" not in line(found, "missed applications").why
    assert line(found, "missed applications").saw == "nothing was planned before the sample"
    assert "supply unknown" in line(found, "weighed together").saw


# --- roots in trouble ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("sight", sorted(LIMITS_UPTAKE))
def test_roots_in_trouble_hold_the_raise_back(sight: Sight) -> None:
    found = advised(result(LOW, 6), observations=(seen(sight, day_in(6)),))
    trace = line(found, "roots in trouble")
    assert trace.fired and trace.change == "" and sight.value in trace.saw
    weighing = line(found, "weighed together")
    assert weighing.change == "full step -> hold" and weighing.saw == weighed("low", "low-roots", sight="roots")
    assert found.action is Action.HOLD and found.factor == 1.0
    assert f"See to the roots first: {sight.value}." in found.to_do


def test_waterlogged_cold_sick_dry_and_salty_roots_are_the_ones_in_trouble() -> None:
    assert {sight.value for sight in LIMITS_UPTAKE} == {
        "waterlogged",
        "cold soil",
        "frost",
        "root disease",
        "dry bed",
        "salty bed",
    }


@pytest.mark.parametrize("sight", sorted(set(Sight) - LIMITS_UPTAKE))
def test_other_observations_leave_the_roots_alone(sight: Sight) -> None:
    found = advised(result(LOW, 6), observations=(seen(sight, day_in(6), 5.0),))
    assert not line(found, "roots in trouble").fired


@pytest.mark.parametrize(("age", "counts"), [(0, True), (14, True), (15, False)])
def test_an_observation_counts_for_fourteen_days(age: int, counts: bool) -> None:
    sights = (Sight.WATERLOGGED, Sight.LEACHING_RAIN, Sight.SOFT_FRUIT)
    observations = tuple(seen(sight, SATURDAY - timedelta(days=age)) for sight in sights)
    found = advised(result(LOW, 6), observations=observations)
    assert line(found, "roots in trouble").fired is counts
    assert line(found, "leaching rain").fired is counts
    assert line(found, "fruit quality").saw.startswith("soft fruit") is counts


def test_an_observation_of_tomorrow_is_not_known_today() -> None:
    found = advised(result(LOW, 6), observations=(seen(Sight.WATERLOGGED, SATURDAY + timedelta(days=1)),))
    assert not line(found, "roots in trouble").fired


def test_roots_in_trouble_hold_no_cut_back() -> None:
    found = advised(result(HIGH, 6), observations=(seen(Sight.WATERLOGGED, SATURDAY),))
    assert found.action is Action.CUT


def test_roots_in_trouble_bring_no_cut_back_up_to_plan() -> None:
    changes = (in_force(0.8),)
    for sights, factor in (((), 0.9), ((seen(Sight.ROOT_DISEASE, SATURDAY),), 0.8)):
        found = advised(result(3500, 6), changes=changes, applications=fed(0.8 * RATE), observations=sights)
        assert found.factor == pytest.approx(factor)


# --- leaching rain ------------------------------------------------------------------------------------------


def test_leaching_rain_explains_a_low_result_and_supports_the_raise() -> None:
    rain = (seen(Sight.LEACHING_RAIN, day_in(6)),)
    with_rain, without = advised(result(LOW, 6), observations=rain), advised(result(LOW, 6))
    trace, weighing = line(with_rain, "leaching rain"), line(with_rain, "weighed together")
    assert trace.fired and trace.change == "" and trace.saw == "leaching rain on 6 Apr"
    assert weighing.saw == weighed("low", "low-rain", sight="rain")
    assert weighing.why == (
        "Rain washed nitrate out of the bed, which explains the low result and supports the raise: a full step."
    )
    assert not line(without, "leaching rain").fired
    assert with_rain.factor == pytest.approx(1 + FULL_RAISE)
    assert with_rain.rates_lb_ac == without.rates_lb_ac


@pytest.mark.parametrize(("leaf_state", "dry"), [("sufficient", HALF_RAISE), ("high", 0.0)])
def test_leaching_rain_lets_more_of_the_raise_through_beside_a_leaf_that_shows_earlier_plenty(
    leaf_state: str, dry: float
) -> None:
    rain = (seen(Sight.LEACHING_RAIN, day_in(6)),)
    wet = FULL_RAISE if leaf_state == "sufficient" else HALF_RAISE
    assert beside("low", leaf_state).factor == pytest.approx(1 + dry)
    assert beside("low", leaf_state, observations=rain).factor == pytest.approx(1 + wet)


def test_trouble_with_the_roots_counts_before_leaching_rain_and_both_are_said() -> None:
    both = (seen(Sight.LEACHING_RAIN, day_in(6)), seen(Sight.WATERLOGGED, day_in(6)))
    found = advised(result(LOW, 6), observations=both)
    assert line(found, "roots in trouble").fired and line(found, "leaching rain").fired
    assert line(found, "weighed together").saw == weighed("low", "low-roots", sight="roots")
    assert found.action is Action.HOLD


def test_leaching_rain_on_a_sufficient_result_is_a_note() -> None:
    rain = (seen(Sight.LEACHING_RAIN, day_in(6)),)
    found = advised(result(ENOUGH, 6), observations=rain)
    trace = line(found, "leaching rain")
    assert trace.fired and trace.change == "" and "watch the next result" in trace.why
    assert found.rates_lb_ac == advised(result(ENOUGH, 6)).rates_lb_ac


@pytest.mark.parametrize(("offset", "counts"), [(0, False), (2, False), (3, True)])
def test_leaching_rain_halves_a_cut_only_when_it_fell_after_the_sample(offset: int, counts: bool) -> None:
    # the sample is of Wednesday; what fell before it is in the result already
    found = advised(result(HIGH, 6), observations=(seen(Sight.LEACHING_RAIN, day_in(6, offset)),))
    trace, weighing = line(found, "leaching rain"), line(found, "weighed together")
    assert trace.fired is counts and ("fell before the sample" in trace.why) is not counts
    rained = weighed("high", "high-rain", sight="rain")
    assert weighing.saw == (rained if counts else weighed("high", "high-leaf-none"))
    assert found.factor == pytest.approx(1 - (HALF_CUT if counts else FULL_CUT))


@pytest.mark.parametrize("offset", [0, 3])
def test_leaching_rain_before_or_after_the_sample_makes_a_full_raise_of_a_low_result(offset: int) -> None:
    found = beside("low", "sufficient", observations=(seen(Sight.LEACHING_RAIN, day_in(6, offset)),))
    assert line(found, "leaching rain").fired and "row low-rain" in line(found, "weighed together").saw
    assert found.factor == pytest.approx(1 + FULL_RAISE)


@pytest.mark.parametrize(("tested", "rained", "counts"), [(0, 1, False), (1, 1, True), (2, 1, True)])
@pytest.mark.parametrize("ppm", [12.0, 30.0])
def test_a_soil_test_from_before_a_leaching_rain_says_nothing(
    tested: int, rained: int, counts: bool, ppm: float
) -> None:
    sights = (
        seen(Sight.SOIL_NITRATE, day_in(6, tested), ppm),
        seen(Sight.LEACHING_RAIN, day_in(6, rained)),
    )
    found = advised(result(LOW, 6), observations=sights)
    trace = line(found, "soil nitrate")
    state = ("above" if ppm > 20 else "below") if counts else "none"
    row = "low-soil-above" if state == "above" else "low-rain"
    assert line(found, "weighed together").saw == weighed("low", row, soil=state, sight="rain")
    assert trace.fired is (state == "above") and ("fell after the soil test" in trace.why) is not counts
    assert (found.action is Action.RAISE) is (state != "above")


@pytest.mark.parametrize(("tested", "rained", "counts"), [(18, 16, False), (16, 16, True), (16, 18, True)])
@pytest.mark.parametrize("ppm", [12.0, 30.0])
def test_a_rain_too_long_ago_to_be_seen_still_outlives_a_soil_test(
    tested: int, rained: int, counts: bool, ppm: float
) -> None:
    """What is seen counts for 14 days, a soil test for 21."""
    rain = seen(Sight.LEACHING_RAIN, SATURDAY - timedelta(days=rained))
    test = seen(Sight.SOIL_NITRATE, SATURDAY - timedelta(days=tested), ppm)
    found = advised(result(LOW, 6), observations=(test, rain))
    assert line(found, "leaching rain").saw == "no leaching rain noted"
    state = ("above" if ppm > 20 else "below") if counts else "none"
    row = "low-soil-above" if state == "above" else "low-leaf-none"
    assert line(found, "weighed together").saw == weighed("low", row, soil=state)
    trace = line(found, "soil nitrate")
    assert trace.saw.endswith("; leaching rain on 26 Mar") is not counts
    assert ("fell after the soil test" in trace.why) is not counts
    assert (found.action is Action.RAISE) is (state != "above")


def test_the_first_rain_after_a_soil_test_is_named_and_one_of_tomorrow_is_not_known() -> None:
    test = seen(Sight.SOIL_NITRATE, SATURDAY - timedelta(days=18), 30.0)
    rains = [seen(Sight.LEACHING_RAIN, SATURDAY - timedelta(days=days)) for days in (1, 16, -1)]
    for given in (rains, rains[::-1]):
        assert line(advised(result(LOW, 6), observations=(test, *given)), "soil nitrate").saw.endswith("26 Mar")
    assert line(advised(result(LOW, 6), observations=(test, rains[2])), "soil nitrate").fired


# --- soil nitrate -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ppm", "above"), [(12.0, False), (20.0, False), (20.1, True), (40.0, True)])
def test_soil_nitrate_above_twenty_ppm_holds_the_raise_back(ppm: float, above: bool) -> None:
    found = advised(result(LOW, 6), observations=(seen(Sight.SOIL_NITRATE, day_in(6), ppm),))
    trace = line(found, "soil nitrate")
    assert trace.fired is above and trace.source == "HARTZ-2006; HARTZ-2000"
    assert trace.change == ""
    assert (found.action is Action.RAISE) is not above
    weighing = line(found, "weighed together")
    row, state = ("low-soil-above", "above") if above else ("low-leaf-none", "below")
    assert weighing.saw == weighed("low", row, soil=state)
    assert weighing.change == ("full step -> hold" if above else "")


@pytest.mark.parametrize(("age", "counts"), [(21, True), (22, False)])
def test_a_soil_test_counts_for_three_weeks(age: int, counts: bool) -> None:
    found = advised(result(LOW, 6), observations=(seen(Sight.SOIL_NITRATE, SATURDAY - timedelta(days=age), 30.0),))
    assert line(found, "soil nitrate").fired is counts


def test_the_latest_soil_test_counts() -> None:
    older, newer = seen(Sight.SOIL_NITRATE, day_in(5), 35.0), seen(Sight.SOIL_NITRATE, day_in(6), 10.0)
    assert not line(advised(result(LOW, 6), observations=(newer, older)), "soil nitrate").fired
    assert advised(result(LOW, 6), observations=(older,)).action is Action.HOLD


def test_soil_nitrate_holds_no_cut_back() -> None:
    found = advised(result(HIGH, 6), observations=(seen(Sight.SOIL_NITRATE, day_in(6), 30.0),))
    assert found.action is Action.CUT
    # and makes a full one of the half that a leaf within its band would leave
    rich = beside("high", "sufficient", observations=(seen(Sight.SOIL_NITRATE, day_in(6), 30.0),))
    assert rich.factor == pytest.approx(1 - FULL_CUT)
    assert beside("high", "sufficient").factor == pytest.approx(1 - HALF_CUT)


def test_without_a_soil_test_there_is_nothing_to_check_against() -> None:
    assert line(advised(result(LOW, 6)), "soil nitrate").saw == "no recent soil nitrate test"


# --- weighed together ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [2950.0, 5050.0])
def test_a_result_that_is_not_clear_is_weighed_against_nothing(value: float) -> None:
    found = advised(result(value, 6), leaf(LEAF_LOW), observations=(seen(Sight.WATERLOGGED, day_in(6)),))
    trace = line(found, "weighed together")
    assert not trace.fired and trace.change == "" and trace.saw == "no step called for"
    assert found.factor == 1.0 and not any("Resample petiole and leaf" in text for text in found.to_do)


def test_with_no_result_at_all_there_is_nothing_to_weigh() -> None:
    found = advised(observations=(seen(Sight.WATERLOGGED, day_in(6)),))
    assert not line(found, "weighed together").fired
    assert line(found, "weighed together").saw == "no step called for"


def test_a_status_that_the_stage_puts_in_doubt_is_not_weighed() -> None:
    found = advised(result(2000, 2), on=day_in(2, 5))
    assert line(found, "stage in doubt").fired and not line(found, "weighed together").fired


def test_everything_that_forbids_the_raise_is_named_with_the_row_that_decides_first() -> None:
    sights = (seen(Sight.ROOT_DISEASE, day_in(6)), seen(Sight.SOIL_NITRATE, day_in(6), 30.0))
    found = advised(result(LOW, 6), observations=sights, applications=log(1.0))
    trace = line(found, "weighed together")
    assert trace.change == "full step -> hold"
    names = ("low-roots", "low-short", "low-soil-above")
    assert trace.saw == weighed("low", *names, soil="above", supply="short", sight="roots")
    reasons = "; also, ".join(policy_row(name).reason for name in names)
    assert trace.why == f"{reasons[0].upper()}{reasons[1:]}: no step."
    # the roots and the supply rest on no publication, the soil on these
    assert trace.source == "HARTZ-2006; HARTZ-2000; AGVISE-POTATO"


def test_rows_that_hold_one_after_another_join_what_is_to_be_done_and_the_sooner_sample() -> None:
    alone = advised(result(LOW, 6), applications=log(1.0))
    both = advised(result(LOW, 6), leaf(LEAF_HIGH), applications=log(1.0))
    assert line(alone, "weighed together").change == "full step -> hold"
    assert alone.next_sample == SAMPLED + timedelta(days=14)
    trace = line(both, "weighed together")
    assert trace.saw == weighed("low", "low-short", "low-leaf-high", leaf_state="high", supply="short")
    assert trace.change == "full step -> hold, sample sooner"
    assert both.next_sample == SAMPLED + timedelta(days=7)
    assert {
        "Apply what is planned, every injection, and log it.",
        "Resample petiole and leaf: the two disagree.",
    } <= {*both.to_do}


def test_a_row_that_would_let_half_a_step_through_ends_the_rows_that_are_named() -> None:
    # after the rain a high leaf leaves half a raise, so the disagreement beyond it holds nothing back
    sights = (seen(Sight.SOIL_NITRATE, day_in(6), 30.0), seen(Sight.LEACHING_RAIN, day_in(6)))
    found = advised(result(LOW, 6), leaf(LEAF_HIGH), observations=sights)
    saw = weighed("low", "low-soil-above", leaf_state="high", soil="above", sight="rain")
    assert line(found, "weighed together").saw == saw
    assert found.next_sample == SAMPLED + timedelta(days=14)
    assert not any("Resample" in text for text in found.to_do)


@pytest.mark.parametrize("own", [False, True])
def test_of_joined_rows_the_one_that_the_grower_set_brings_no_resampling(own: bool) -> None:
    update = {"step": "hold", "shipped": "full" if own else None}
    rows = tuple(
        row.model_copy(update=update) if own and row.id == "low-leaf-high" else row for row in policy().cross_check
    )
    the_policy = policy().model_copy(update={"cross_check": rows})
    found = advised(result(LOW, 6), leaf(LEAF_HIGH), applications=log(1.0), the_policy=the_policy)
    assert "row low-short, low-leaf-high" in line(found, "weighed together").saw
    assert found.next_sample == SAMPLED + timedelta(days=14 if own else 7)
    assert any("Resample" in text for text in found.to_do) is not own


def policy_row(name: str) -> CrossCheckRow:
    return next(row for row in policy().cross_check if row.id == name)


def test_a_row_that_the_grower_sets_otherwise_brings_its_step_and_not_its_resampling() -> None:
    own = policy_row("low-leaf-high").model_copy(
        update={"step": "half", "shipped": "hold", "source": "season file", "evidence": Evidence.OWN}
    )
    rows = tuple(own if row.id == own.id else row for row in policy().cross_check)
    found = beside("low", "high", the_policy=policy().model_copy(update={"cross_check": rows}))
    trace = line(found, "weighed together")
    assert found.factor == pytest.approx(1 + HALF_RAISE)
    assert (trace.change, trace.source, trace.evidence) == ("full step -> half step", "season file", Evidence.OWN)
    assert not any("Resample petiole and leaf" in text for text in found.to_do)
    assert beside("low", "high").next_sample == SAMPLED + timedelta(days=7)
    assert found.next_sample == SAMPLED + timedelta(days=14)


@pytest.mark.parametrize(("leaf_value", "factor"), [(LEAF_ENOUGH, 1.10), (LEAF_LOW, 1.10), (LEAF_HIGH, 1.0)])
def test_an_early_step_is_held_by_the_table_but_never_halved(leaf_value: float, factor: float) -> None:
    days = [day_in(5) + timedelta(days=5 * index) for index in range(4)]
    results = [
        replace(result(value, 5, record=index), sampled=on, received=on)
        for index, (on, value) in enumerate(zip(days, (4600.0, 4200.0, 3900.0, 3600.0), strict=True))
    ]
    found = advised(*results, leaf(leaf_value, delay=0), on=days[-1])
    trace = line(found, "weighed together")
    assert trace.saw.startswith("petiole low (trend), ") and trace.why.startswith("As for a low result, ")
    assert found.factor == pytest.approx(factor)
    assert trace.change == ("full step -> hold, sample sooner" if factor == 1.0 else "")
    assert trace.fired is (factor == 1.0)
    words = "no step" if factor == 1.0 else "the early step is small already and is taken whole"
    assert trace.why.endswith(f": {words}.")


# --- twice in a row -----------------------------------------------------------------------------------------


def after_a_step(factor: float, *values: float, **rest: Any) -> Recommendation:
    """A factor in force since week 3, and results of the weeks before and after it."""
    results = [result(value, 7 - len(values) + index, record=index) for index, value in enumerate(values)]
    return advised(*results, changes=(in_force(factor),), applications=fed(factor * RATE), **rest)


@pytest.mark.parametrize(
    ("values", "again"),
    [((LOW,), False), ((ENOUGH, LOW), False), ((1500.0, LOW), True), ((1500.0, ENOUGH, LOW), False)],
)
def test_a_second_raise_needs_a_second_low_result_in_a_row(values: tuple[float, ...], again: bool) -> None:
    found = after_a_step(1.2, *values)
    trace = line(found, "twice in a row")
    assert trace.fired is not again and trace.source == "TOMATO-SAP-1988"
    assert (found.action is Action.RAISE) is again
    # a persistent shortage: up to half again (TOMATO-SAP-1988)
    assert found.factor == pytest.approx(1.2 * 1.5 if again else 1.2)
    if not again:
        assert trace.change == "no further raise allowed"
        assert "2 asked for" in trace.saw and "below" in trace.saw
        assert found.next_sample == SAMPLED + timedelta(days=7)


@pytest.mark.parametrize(("values", "again"), [((HIGH,), False), ((ENOUGH, HIGH), False), ((9000.0, HIGH), True)])
def test_a_second_cut_needs_a_second_high_result_in_a_row(values: tuple[float, ...], again: bool) -> None:
    found = after_a_step(0.8, *values)
    assert line(found, "twice in a row").fired is not again and "above" in line(found, "twice in a row").saw
    assert (found.action is Action.CUT) is again
    assert found.factor == pytest.approx(0.8 * (1 - 0.25) if again else 0.8)  # a quarter: the project's own


@pytest.mark.parametrize(("needed", "again"), [(1, True), (2, True), (3, False)])
def test_the_policy_says_how_many_results_a_second_change_needs(needed: int, again: bool) -> None:
    found = after_a_step(1.2, 1500.0, LOW, the_policy=with_policy(policy(), results_for_second_change=needed))
    assert (found.action is Action.RAISE) is again


def test_a_change_the_other_way_needs_no_second_result() -> None:
    down, up = after_a_step(1.2, HIGH), after_a_step(0.8, LOW)
    assert down.action is Action.CUT and up.action is Action.RAISE
    assert "twice in a row" not in fired(down) | fired(up)


def test_a_result_just_below_the_edge_counts_as_a_low_one_before() -> None:
    assert after_a_step(1.2, 2990.0, LOW).action is Action.RAISE
    assert after_a_step(1.2, 3000.0, LOW).action is Action.HOLD


def test_a_bound_that_does_not_tell_breaks_the_row() -> None:
    unclear = result(4000, 5, record=1, censor=Censor.BELOW)
    changes, applications = (in_force(1.2),), fed(1.2 * RATE)
    found = advised(unclear, result(LOW, 6, record=2), changes=changes, applications=applications)
    assert line(found, "twice in a row").fired


def test_a_second_early_step_on_the_same_trend_is_not_taken() -> None:
    days = [day_in(5) + timedelta(days=4 * index) for index in range(5)]
    results = [
        replace(result(value, 5, record=index), sampled=on, received=on)
        for index, (on, value) in enumerate(zip(days, (4700.0, 4400.0, 4100.0, 3800.0, 3600.0), strict=True))
    ]
    first = advised(*results[:4], on=days[3])
    assert first.action is Action.RAISE and first.factor == pytest.approx(1.10)
    change = replace(in_force(1.10, since=5), decided=day_in(4, 5))
    again = advised(*results, on=days[4], changes=(change,), applications=fed(1.10 * RATE))
    assert {"heading out", "twice in a row"} <= fired(again)
    assert again.action is not Action.RAISE


def test_a_raise_that_is_taken_over_is_repeated_only_on_a_second_low_result() -> None:
    clear = result(1500, 4, record=1)
    first = advised(clear, on=clear.known_on)
    assert first.action is Action.RAISE
    change = taken_over(first, clear.known_on)
    again = advised(
        clear,
        result(LOW, 6, record=2),
        changes=(change,),
        applications=(*fed(weeks=(1, 2, 3, 4)), *fed(9.0, (5, 6))),
    )
    assert again.standing_factor == pytest.approx(first.factor)
    assert again.action is Action.RAISE
