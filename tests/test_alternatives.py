"""The advice if one thing had been otherwise, held against seasons that are built that way by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fertadjust.alternatives import Alternative
from fertadjust.compare import Side
from fertadjust.ledger import Application
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Recommendation
from fertadjust.season import BlockSeason
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis
from tests.rules import (
    ENOUGH,
    HIGH,
    LEAF_ENOUGH,
    LEAF_HIGH,
    LEAF_LOW,
    LOW,
    RATE,
    SATURDAY,
    fed,
    in_force,
    leaf,
    line,
    petiole_season,
    raise_size,
)
from tests.support import BLOOM, GEORGIA_LEAF, SOUTHEAST, day_in, result

EARLIER, LATER = "the sample had been taken a week earlier", "the sample had been taken a week later"
LEAF, INJECTION = "leaf nitrogen were in its band", "one more injection had been logged before the sample"

MIDDLE_OF_THE_LEAF_BAND = (2.80 * 3.80) ** 0.5
"""Leaf nitrogen [%] in the middle of 2.80 to 3.80 % (UGA-AESL)."""


def asked(season: BlockSeason, on: date = SATURDAY) -> dict[str, Alternative]:
    return {item.condition: item for item in season.advice(on).alternatives}


def advised(season: BlockSeason, on: date = SATURDAY) -> Recommendation:
    return evaluate(season.facts(on), season.policy)


def known(item: Alternative) -> Recommendation:
    assert item.recommendation is not None and item.why_not == ""
    return item.recommendation


def decisions(found: Recommendation) -> tuple[object, ...]:
    """What is advised, without the trace, whose words name what was looked at."""
    return (found.action, found.factor, found.rates_lb_ac, found.review, found.comparison, found.to_do)


def test_four_questions_are_asked_in_order_and_none_without_a_result() -> None:
    assert list(asked(petiole_season(result(LOW, 6)))) == [EARLIER, LATER, LEAF, INJECTION]
    assert petiole_season().advice(SATURDAY).alternatives == ()


# --- a week earlier or later --------------------------------------------------------------------------------


def moved(week: int, value: float, days: int, **rest: object) -> BlockSeason:
    """A season with one result of a week, sampled some days off and known as it was."""
    sample = result(value, week)
    return petiole_season(replace(sample, sampled=sample.sampled + timedelta(days=days)), **rest)


@pytest.mark.parametrize("value", [500.0, 1200.0, 2000.0, 3800.0, 5000.0, 6900.0, 9000.0])
@pytest.mark.parametrize("week", [2, 4, 5, 8, 9, 11])
def test_a_sample_a_week_earlier_is_advised_on_like_a_season_with_that_sample(week: int, value: float) -> None:
    on = result(value, week).known_on
    found = known(asked(moved(week, value, 0), on)[EARLIER])
    assert found == advised(moved(week, value, -7), on)


def test_a_week_earlier_in_another_band_the_advice_can_be_the_opposite() -> None:
    """2,000 ppm: above 600 to 1,500 in week 1, below 4,000 to 6,000 in week 2 (UGA-2021)."""
    on = result(2000, 2).known_on
    found = known(asked(moved(2, 2000.0, 0), on)[EARLIER])
    assert found.comparison is not None and found.comparison.sure is Side.ABOVE
    week_2 = advised(moved(2, 2000.0, 0), on).comparison
    assert week_2 is not None and week_2.sure is Side.BELOW


def test_a_week_later_beside_another_band_the_advice_can_be_another() -> None:
    """2,500 ppm is low in week 7 and in week 8, but not in week 9, from where on 2,000 is enough (UGA-2021)."""
    season = moved(7, 2500.0, 0)
    on = result(2500.0, 7).known_on
    assert advised(season, on).action is Action.RAISE
    found = known(asked(season, on)[LATER])
    assert found.action is Action.HOLD and line(found, "stage in doubt").fired
    by_hand = replace(season.results[0], sampled=day_in(8, 2), received=day_in(8, 2))
    assert found.comparison == advised(petiole_season(by_hand), day_in(8, 2)).comparison


def test_a_week_earlier_a_change_would_not_have_had_time_to_show() -> None:
    """A raise from the Monday of week 5, sampled nine days on; nitrate shows in seven (ROBERTS-1989)."""
    samples = (result(1500, 4, record=7), result(1500, 6))
    given = {"changes": (in_force(1.2, since=5),), "applications": fed()}
    season = petiole_season(*samples, **given)
    assert advised(season).action is Action.RAISE
    found = known(asked(season)[EARLIER])
    assert line(found, "too soon").fired and found.action is Action.HOLD
    earlier = replace(samples[1], sampled=samples[1].sampled - timedelta(days=7))
    assert decisions(found) == decisions(advised(petiole_season(samples[0], earlier, **given)))


def test_a_week_later_a_change_would_have_had_time_to_show() -> None:
    samples = (result(1500, 4, record=7), result(1500, 6))
    season = petiole_season(*samples, changes=(in_force(1.2, since=6),))
    assert line(advised(season), "too soon").fired and advised(season).action is Action.HOLD
    found = known(asked(season)[LATER])
    assert not line(found, "too soon").fired and found.action is Action.RAISE
    assert found.factor == pytest.approx(1.2 * 1.5)


@pytest.mark.parametrize(("week", "question"), [(1, EARLIER), (12, LATER)])
def test_outside_the_table_the_question_does_not_arise(week: int, question: str) -> None:
    on = result(1200, week).known_on
    item = asked(moved(week, 1200.0, 0), on)[question]
    assert item.recommendation is None
    assert f"has no band for NO3-N at week {0 if week == 1 else 13} " in item.why_not


@pytest.mark.parametrize(("age", "arises"), [(7, True), (8, False), (14, False), (15, True)])
def test_a_sample_that_would_be_too_old_to_decide_on_is_not_asked_about(age: int, arises: bool) -> None:
    """Results decide for 14 days; one that is too old already is asked about all the same."""
    sample = result(LOW, 6)
    item = asked(petiole_season(sample), sample.sampled + timedelta(days=age))[EARLIER]
    assert (item.recommendation is not None) is arises
    assert ("too old to decide on" in item.why_not) is not arises


@pytest.mark.parametrize(("offset", "arises"), [(1, True), (2, False), (4, False)])
def test_a_sample_is_not_moved_to_or_before_the_one_before_it(offset: int, arises: bool) -> None:
    """The deciding sample is of the third day of week 6, the one before it of a day of week 5."""
    season = petiole_season(result(2000, 5, offset=offset, record=7), result(LOW, 6))
    item = asked(season)[EARLIER]
    assert (item.recommendation is not None) is arises
    assert (item.why_not == "an earlier sample would then be the later one") is not arises


def test_a_week_earlier_the_supply_is_that_before_the_earlier_day() -> None:
    """Nothing went out in week 5: half of two weeks' plan before week 6, all of it before week 5."""
    skipped = (*fed(weeks=(1, 2, 3, 4)), Application(1, "north", day_in(5), 0.0))
    season = petiole_season(result(LOW, 6, offset=0), applications=skipped)
    assert "supply short" in line(advised(season), "weighed together").saw
    found = known(asked(season)[EARLIER])
    assert "supply full" in line(found, "weighed together").saw and found.action is Action.RAISE
    earlier = replace(season.results[0], sampled=day_in(5))
    assert decisions(found) == decisions(advised(petiole_season(earlier, applications=skipped)))


def test_two_results_of_one_day_are_moved_together() -> None:
    pair = (result(2300, 5, record=1), result(2500, 5, record=2))
    season = petiole_season(*pair)
    on = pair[0].known_on
    earlier = tuple(replace(item, sampled=item.sampled - timedelta(days=7)) for item in pair)
    assert known(asked(season, on)[EARLIER]) == advised(petiole_season(*earlier), on)


@pytest.mark.parametrize(("question", "days"), [(EARLIER, -7), (LATER, 7)])
@pytest.mark.parametrize("leaf_value", [LEAF_LOW, LEAF_ENOUGH, LEAF_HIGH])
def test_a_leaf_of_the_samples_day_moves_with_it(question: str, days: int, leaf_value: float) -> None:
    pair = (result(2000, 6), leaf(leaf_value))
    found = known(asked(petiole_season(*pair))[question])
    moved_pair = [replace(item, sampled=item.sampled + timedelta(days=days)) for item in pair]
    assert line(found, "leaf nitrogen").saw.startswith(
        f"leaf N {leaf_value:.2f} % of {'1' if days < 0 else '15'} Apr"
    )
    if days < 0:
        assert found == advised(petiole_season(*moved_pair))
    assert found.leaf is not None and found.leaf == advised(petiole_season(*pair)).leaf  # one band all season


@pytest.mark.parametrize(
    ("question", "apart", "stays"),
    [(LATER, -21, True), (LATER, -22, False), (LATER, -1, True), (EARLIER, -28, True), (LATER, -28, False)],
)
def test_a_leaf_of_another_day_stays_where_it_is_and_is_dropped_once_it_is_too_far_off(
    question: str, apart: int, stays: bool
) -> None:
    """A leaf within four weeks of the sample is held beside it."""
    sample = result(LOW, 6)
    near = replace(leaf(LEAF_HIGH), sampled=sample.sampled + timedelta(days=apart), received=None)
    season = petiole_season(sample, near)
    assert line(advised(season), "leaf nitrogen").fired
    found = known(asked(season)[question])
    assert line(found, "leaf nitrogen").fired is stays
    assert (found.leaf is not None) is stays
    if not stays:
        assert line(found, "leaf nitrogen").saw == "no leaf result near the sample"


def test_a_leaf_after_the_sample_is_dropped_where_an_earlier_sample_lies_too_far_before_it() -> None:
    """Asked when both are too old to decide, so that the petiole is still the one that is looked at."""
    sample = result(LOW, 6)
    for apart, stays in ((21, True), (22, False)):
        later = replace(leaf(LEAF_HIGH), sampled=sample.sampled + timedelta(days=apart), received=None)
        season, on = petiole_season(sample, later), later.sampled + timedelta(days=15)
        here = advised(season, on)
        assert here.leaf is not None and here.comparison is not None and here.comparison.sure is Side.BELOW
        found = known(asked(season, on)[EARLIER])
        assert found.comparison is not None and (found.leaf is not None) is stays


# --- leaf nitrogen in its band ------------------------------------------------------------------------------


@pytest.mark.parametrize("beside", [None, LEAF_LOW, LEAF_HIGH])
@pytest.mark.parametrize("value", [1000.0, LOW, ENOUGH, HIGH])
def test_leaf_nitrogen_in_its_band_is_advised_on_like_a_season_with_that_leaf(
    value: float, beside: float | None
) -> None:
    season = petiole_season(result(value, 6), *(() if beside is None else (leaf(beside),)))
    by_hand = petiole_season(result(value, 6), leaf(MIDDLE_OF_THE_LEAF_BAND, petioles=None, delay=0))
    assert known(asked(season)[LEAF]) == advised(by_hand)


def test_with_the_leaf_in_its_band_a_low_petiole_takes_half_a_step() -> None:
    found = known(asked(petiole_season(result(LOW, 6)))[LEAF])
    assert found.factor == pytest.approx(1 + raise_size(LOW) / 2)


def test_the_leaf_question_does_not_arise_where_it_is_answered_already() -> None:
    for season, why in (
        (petiole_season(leaf(LEAF_LOW)), "the leaf result is the one that decides"),
        (petiole_season(result(LOW, 6), leaf(LEAF_ENOUGH)), "it is in its band"),
        (petiole_season(result(LOW, 6), tables=(SOUTHEAST,)), "no leaf table is in use"),
    ):
        item = asked(season)[LEAF]
        assert (item.recommendation, item.why_not) == (None, why)


def test_the_leaf_question_does_not_arise_where_the_last_change_came_after_the_sample() -> None:
    change = replace(in_force(1.2, since=7), decided=day_in(6))
    item = asked(petiole_season(result(LOW, 6), changes=(change,)))[LEAF]
    assert item.recommendation is None and "older than the last change" in item.why_not


def test_the_leaf_question_does_not_arise_where_the_leaf_table_has_no_band_on_the_day() -> None:
    tables = (SOUTHEAST, "strawberry-leaf-florida")
    item = asked(petiole_season(result(LOW, 6), tables=tables))[LEAF]
    assert item.recommendation is None and "none of the stages initial flowering" in item.why_not


# --- one more injection -------------------------------------------------------------------------------------


@pytest.mark.parametrize("weeks", [(1, 2, 3), (1, 2, 3, 4), (1, 2, 3, 5)])
@pytest.mark.parametrize("value", [LOW, ENOUGH, HIGH])
def test_one_more_injection_is_advised_on_like_a_season_with_it_logged(
    value: float, weeks: tuple[int, ...]
) -> None:
    """The sample is of the third day of week 6, so that the injection is of the second, at half of the week's."""
    season = petiole_season(result(value, 6), applications=fed(weeks=weeks))
    more = Application(1, "north", day_in(6, 1), RATE / 2)
    by_hand = replace(season, applications=(*season.applications, more))
    found = known(asked(season)[INJECTION])
    assert found == advised(by_hand)
    assert line(found, "missed applications").saw != line(advised(season), "missed applications").saw


def test_one_more_injection_may_be_what_lets_a_raise_through() -> None:
    """Three of four injections are 75 % of plan, below the 80 that explain a low result; all four are 100."""
    season = petiole_season(result(LOW, 6), applications=fed(weeks=(1, 2, 3, 4, 5)))
    here = advised(season)
    assert "supply short" in line(here, "weighed together").saw and here.action is Action.HOLD
    found = known(asked(season)[INJECTION])
    assert "supply full" in line(found, "weighed together").saw and found.action is Action.RAISE


def test_the_injection_is_of_the_rate_that_was_in_force() -> None:
    season = petiole_season(
        result(LOW, 6), changes=(in_force(1.2, since=3),), applications=fed(1.2 * RATE, weeks=range(1, 5))
    )
    more = Application(1, "north", day_in(6, 1), 1.2 * RATE / 2)
    by_hand = replace(season, applications=(*season.applications, more))
    assert known(asked(season)[INJECTION]) == advised(by_hand)


@pytest.mark.parametrize(
    ("logged", "why"),
    [
        (fed(), "what was planned before the sample is logged"),
        (fed(1.5 * RATE), "what was planned before the sample is logged"),
        ((), "nothing is logged yet"),
    ],
)
def test_the_injection_question_does_not_arise_where_none_is_missing(
    logged: tuple[Application, ...], why: str
) -> None:
    item = asked(petiole_season(result(LOW, 6), applications=logged))[INJECTION]
    assert item.recommendation is None and item.why_not.startswith(why)


def test_the_injection_question_does_not_arise_in_the_first_week_of_the_plan() -> None:
    sample = result(1000, 1, delay=0)
    item = asked(petiole_season(sample), sample.sampled)[INJECTION]
    assert (item.recommendation, item.why_not) == (None, "no full week of the plan lies before the sample")


# --- all of them --------------------------------------------------------------------------------------------


def test_asking_what_if_changes_neither_the_season_nor_its_advice() -> None:
    season = petiole_season(result(2000, 5, record=7), result(LOW, 6), leaf(LEAF_HIGH))
    before = advised(season)
    first = season.advice(SATURDAY)
    assert first.recommendation == before == advised(season)
    assert season.advice(SATURDAY).alternatives == first.alternatives


def test_sap_beside_the_deciding_result_takes_no_part_in_its_alternatives() -> None:
    sap = result(450, 6, record=9, basis=Basis.SAP)
    alone, beside = (asked(petiole_season(*results)) for results in ((result(LOW, 6),), (result(LOW, 6), sap)))
    for condition in (EARLIER, LATER, LEAF):
        assert known(beside[condition]).rates_lb_ac == known(alone[condition]).rates_lb_ac


def test_the_leaf_that_stands_in_for_one_in_its_band_is_clearly_inside() -> None:
    found = known(asked(petiole_season(result(LOW, 6), tables=(SOUTHEAST, GEORGIA_LEAF)))[LEAF])
    assert found.leaf is not None and found.leaf.sure is Side.WITHIN
    assert found.leaf.position == pytest.approx(0.5)


def test_a_moved_sample_is_held_beside_the_leaf_that_is_nearest_to_it_then() -> None:
    # a low leaf on the Wednesday of week 5, a high one on the Friday of week 6; the petiole between them
    leaves = (leaf(LEAF_LOW, 5, record=50), leaf(LEAF_HIGH, 6, record=51, offset=4, delay=0))
    season = petiole_season(result(LOW, 6), *leaves)
    assert advised(season).action is Action.HOLD  # low beside high
    found = known(asked(season)[EARLIER])
    assert found.action is Action.RAISE and found.factor == pytest.approx(1.5)  # leaf low as well (UGA-AESL)
    by_hand = petiole_season(replace(result(LOW, 6), sampled=day_in(5, 2)), *leaves)
    assert decisions(found) == decisions(advised(by_hand))


def test_a_leaf_too_far_before_the_sample_counts_where_an_earlier_sample_lies_near_enough() -> None:
    # 30 days before the sample, and 23 before one a week earlier; 28 days count (UGA-AESL)
    old = replace(leaf(LEAF_HIGH), sampled=day_in(6, 2) - timedelta(days=30))
    season = petiole_season(result(LOW, 6), old)
    assert advised(season).action is Action.RAISE
    assert known(asked(season)[EARLIER]).action is Action.HOLD


def test_a_leaf_without_a_band_on_the_moved_day_is_left_out() -> None:
    # the leaf table begins with the Monday of week 6
    stages = StageDates({"first_bloom": BLOOM, "initial_flowering": day_in(6)}, day_in(16))
    tables = (SOUTHEAST, "strawberry-leaf-florida")
    season = petiole_season(result(LOW, 6), leaf(LEAF_LOW), stages=stages, tables=tables)
    found = known(asked(season)[EARLIER])
    assert found.action is Action.RAISE and found.leaf is None
