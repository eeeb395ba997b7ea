"""Rules that hold a result against leaf, supply, roots, rain, soil and history, seen through the whole engine."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fertadjust.ledger import Application
from fertadjust.observations import LIMITS_UPTAKE, Sight
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
    # (petiole, leaf): (change of the rate, whether the rule fires, what it says it changed)
    ("low", "low"): (0.50, False, ""),  # 50 % on low leaf nitrogen (UGA-AESL)
    ("low", "sufficient"): (HALF_RAISE, True, "full step -> half step"),
    ("low", "high"): (0.0, True, "full step -> hold"),
    ("low", "unclear"): (FULL_RAISE, False, ""),
    ("low", "none"): (FULL_RAISE, False, ""),
    ("sufficient", "low"): (0.0, True, "hold, sample sooner"),
    ("sufficient", "sufficient"): (0.0, False, ""),
    ("sufficient", "high"): (0.0, False, ""),
    ("sufficient", "unclear"): (0.0, False, ""),
    ("sufficient", "none"): (0.0, False, ""),
    ("high", "low"): (0.0, True, "full step -> hold"),
    ("high", "sufficient"): (-HALF_CUT, True, "full step -> half step"),
    ("high", "high"): (-FULL_CUT, False, ""),
    ("high", "unclear"): (-FULL_CUT, False, ""),
    ("high", "none"): (-FULL_CUT, False, ""),
}


def beside(petiole: str, leaf_state: str, **rest: object) -> Recommendation:
    value = LEAVES[leaf_state]
    leaves = () if value is None else (leaf(value),)
    return advised(result(PETIOLES[petiole], 6), *leaves, **rest)


@pytest.mark.parametrize(("petiole", "leaf_state"), CROSS_CHECK)
def test_petiole_beside_leaf_nitrogen(petiole: str, leaf_state: str) -> None:
    step, fires, change = CROSS_CHECK[petiole, leaf_state]
    found = beside(petiole, leaf_state)
    trace = line(found, "leaf nitrogen")
    assert found.factor == pytest.approx(1 + step)
    assert found.rates_lb_ac == pytest.approx([RATE * (1 + step)] * len(found.rates_lb_ac))
    assert (trace.fired, trace.change) == (fires, change)
    assert trace.saw.startswith(f"petiole {petiole}, ")
    words = "no leaf result" if leaf_state == "none" else f": {leaf_state}"
    assert words in trace.saw
    actions = {1: Action.RAISE, 0: Action.HOLD, -1: Action.CUT}
    assert found.action is actions[(step > 0) - (step < 0)]


def test_the_cross_check_covers_every_cell_of_the_policy() -> None:
    assert {(cell.petiole, cell.leaf.value) for cell in policy().cross_check} == set(CROSS_CHECK)


def test_a_cross_check_cell_of_the_policy_is_what_decides() -> None:
    for cell in policy().cross_check:
        if cell.petiole == "sufficient":
            continue
        for step, part in (("full", 1.0), ("half", 0.5), ("hold", 0.0)):
            cells = tuple(
                item.model_copy(update={"step": step}) if item == cell else item for item in policy().cross_check
            )
            found = beside(
                cell.petiole, cell.leaf.value, the_policy=policy().model_copy(update={"cross_check": cells})
            )
            full = -FULL_CUT if cell.petiole == "high" else 0.5 if cell.leaf.value == "low" else FULL_RAISE
            assert found.factor == pytest.approx(1 + part * full), (cell.petiole, cell.leaf, step)


def test_the_cross_check_cites_the_cell_it_used() -> None:
    for (petiole, leaf_state), _ in CROSS_CHECK.items():
        cell = next(
            item for item in policy().cross_check if (item.petiole, item.leaf.value) == (petiole, leaf_state)
        )
        trace = line(beside(petiole, leaf_state), "leaf nitrogen")
        assert (trace.source, trace.evidence) == (cell.source, cell.evidence)
        assert trace.why.lower() == f"{cell.reason}.".lower()


@pytest.mark.parametrize("pair", [("low", "high"), ("high", "low"), ("sufficient", "low")])
def test_petiole_and_leaf_that_disagree_are_sampled_again_in_a_week(pair: tuple[str, str]) -> None:
    found = beside(*pair)
    assert any(text.startswith("Resample petiole and leaf") for text in found.to_do)
    assert found.next_sample == SAMPLED + timedelta(days=7)


def test_a_disagreement_that_holds_the_cut_does_not_ease_the_rate_either() -> None:
    found = beside("high", "low", changes=(in_force(1.2),), applications=fed(1.2 * RATE))
    assert line(found, "leaf nitrogen").change == "full step -> hold"
    assert found.action is Action.HOLD and found.factor == pytest.approx(1.2)


def test_a_disagreement_that_holds_the_raise_does_not_ease_the_rate_up_either() -> None:
    found = beside("low", "high", changes=(in_force(0.8),), applications=fed(0.8 * RATE))
    assert line(found, "leaf nitrogen").change == "full step -> hold"
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
    assert held.action is Action.HOLD and line(held, "leaf nitrogen").change == "full step -> hold"
    assert free.action is Action.RAISE and "older than the last change" in line(free, "leaf nitrogen").saw


def test_a_leaf_bound_that_does_not_tell_leaves_the_petiole_to_decide() -> None:
    found = advised(result(LOW, 6), leaf(3.5, censor=Censor.BELOW))
    assert line(found, "leaf nitrogen").saw.endswith("unclear")
    assert found.factor == pytest.approx(1 + FULL_RAISE)


def test_a_season_of_leaves_alone_has_no_petiole_to_check() -> None:
    found = advised(leaf(LEAF_LOW))
    trace = line(found, "leaf nitrogen")
    assert not trace.fired and trace.saw == "no petiole beside it"
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
    assert f"{100 * share:.0f} %; limit 80 %" in trace.saw
    assert trace.fired is missed
    assert (found.action is Action.RAISE) is not missed
    if missed:
        assert trace.change == "no raise allowed"
        assert found.rates_lb_ac == found.standing_rates_lb_ac
        assert "Apply what is planned, every injection, and log it." in found.to_do
        assert "missed applications" in line(found, "raise").saw


def test_exactly_four_fifths_in_four_injections_is_not_less() -> None:
    found = advised(result(LOW, 6), the_plan=open_plan((7.0,) * 12), applications=log(2.8, 2.8, 2.8, 2.8))
    trace = line(found, "missed applications")
    assert "11.20 of 14.00" in trace.saw
    assert not trace.fired and found.action is Action.RAISE


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


# --- roots in trouble ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("sight", sorted(LIMITS_UPTAKE))
def test_roots_in_trouble_hold_the_raise_back(sight: Sight) -> None:
    found = advised(result(LOW, 6), observations=(seen(sight, day_in(6)),))
    trace = line(found, "roots in trouble")
    assert trace.fired and trace.change == "no raise allowed" and sight.value in trace.saw
    assert found.action is Action.HOLD
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
    trace = line(with_rain, "leaching rain")
    assert trace.fired and trace.change == "supports the raise"
    assert not line(without, "leaching rain").fired
    assert with_rain.rates_lb_ac == without.rates_lb_ac


@pytest.mark.parametrize("value", [ENOUGH, HIGH])
def test_leaching_rain_on_a_result_that_is_not_low_is_a_note(value: float) -> None:
    rain = (seen(Sight.LEACHING_RAIN, day_in(6)),)
    found = advised(result(value, 6), observations=rain)
    trace = line(found, "leaching rain")
    assert trace.fired and trace.change == "" and "watch the next result" in trace.why
    assert found.rates_lb_ac == advised(result(value, 6)).rates_lb_ac


# --- soil nitrate -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ppm", "above"), [(12.0, False), (20.0, False), (20.1, True), (40.0, True)])
def test_soil_nitrate_above_twenty_ppm_holds_the_raise_back(ppm: float, above: bool) -> None:
    found = advised(result(LOW, 6), observations=(seen(Sight.SOIL_NITRATE, day_in(6), ppm),))
    trace = line(found, "soil nitrate")
    assert trace.fired is above and trace.source == "HARTZ-2006; HARTZ-2000"
    assert trace.change == ("no raise allowed" if above else "")
    assert (found.action is Action.RAISE) is not above
    assert ("soil nitrate" in line(found, "raise").saw) is above


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


def test_without_a_soil_test_there_is_nothing_to_check_against() -> None:
    assert line(advised(result(LOW, 6)), "soil nitrate").saw == "no recent soil nitrate test"


# --- twice in a row -----------------------------------------------------------------------------------------


def after_a_step(factor: float, *values: float, **rest: object) -> Recommendation:
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
    assert found.factor == pytest.approx(1.2 * (1 + FULL_RAISE) if again else 1.2)
    if not again:
        assert trace.change == "no further raise allowed"
        assert "2 asked for" in trace.saw and "below" in trace.saw
        assert found.next_sample == SAMPLED + timedelta(days=7)


@pytest.mark.parametrize(("values", "again"), [((HIGH,), False), ((ENOUGH, HIGH), False), ((9000.0, HIGH), True)])
def test_a_second_cut_needs_a_second_high_result_in_a_row(values: tuple[float, ...], again: bool) -> None:
    found = after_a_step(0.8, *values)
    assert line(found, "twice in a row").fired is not again and "above" in line(found, "twice in a row").saw
    assert (found.action is Action.CUT) is again
    assert found.factor == pytest.approx(0.8 * (1 - FULL_CUT) if again else 0.8)


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
