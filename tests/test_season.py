"""One block's season: what is known on a day, what the rules are given, and the weekly table that follows."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fertadjust.compare import Side
from fertadjust.errors import OutOfSeason
from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change
from fertadjust.rules.facts import Action
from fertadjust.season import BlockSeason
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult
from tests.support import (
    BLOOM,
    GEORGIA_LEAF,
    SOUTHEAST,
    block,
    day_in,
    plan,
    products,
    result,
    season,
)

SATURDAY = day_in(6, 5)
RATE = 5.25


def fed(rate: float = RATE, weeks: range = range(1, 13)) -> tuple[Application, ...]:
    return tuple(
        Application(900 + 2 * week + half, "north", day_in(week, 3 * half), rate / 2)
        for week in weeks
        for half in (0, 1)
    )


def changed(factor: float, decided: date, *, record: int = 700, days: int = 17, weeks: int = 3) -> Change:
    """A change that begins with the Monday after it was decided."""
    effective = decided + timedelta(days=-decided.weekday() % 7)
    first = (effective - BLOOM).days // 7 + 1
    rates = dict.fromkeys(range(first, first + weeks), RATE * factor)
    return Change(decided, effective, decided + timedelta(days=days), factor, rates, record)


def seen(sight: Sight, on: date, value: float | None = None) -> Observation:
    return Observation(600, "north", on, sight, value)


# --- what is known ------------------------------------------------------------------------------------------


def test_a_result_is_not_known_before_the_day_it_is_received() -> None:
    low = result(2500, 6)  # sampled on Wednesday, received on Saturday
    the_season = season(low, applications=fed())
    assert low.received == SATURDAY
    assert the_season.facts(SATURDAY - timedelta(days=1)).primary is None
    found = the_season.facts(SATURDAY).primary
    assert found is not None and found.value == 2500


def test_a_result_without_a_day_of_receipt_is_known_when_sampled() -> None:
    low = replace(result(2500, 6), received=None)
    assert season(low).facts(low.sampled - timedelta(days=1)).primary is None
    assert season(low).facts(low.sampled).primary is not None


def test_of_two_results_of_one_day_the_late_one_joins_when_it_is_received() -> None:
    first, late = result(2400, 6, record=1), result(2800, 6, record=2, delay=5)
    the_season = season(first, late)
    before, after = the_season.facts(SATURDAY).primary, the_season.facts(SATURDAY + timedelta(days=2)).primary
    assert before is not None and (before.value, before.count) == (2400, 1)
    assert after is not None and (after.value, after.count) == (2600, 2)


def test_the_latest_sample_decides_not_the_latest_to_arrive() -> None:
    older, newer = result(2400, 5, record=1, delay=10), result(3900, 6, record=2, delay=1)
    facts = season(older, newer).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.records == (2,)
    assert facts.earlier == ((older.sampled, Side.BELOW),)


def full_season() -> BlockSeason:
    """An invented season with something on nearly every day of weeks 2 to 10."""
    values = (2000, 3100, 3600, 2500, 4900, 6000, 3900, 1500, 2600)
    petioles = [
        result(value, week, record=week, offset=week % 5, delay=week % 4 + 1, petioles=(None, 12, 25)[week % 3])
        for week, value in enumerate(values, start=2)
    ]
    leaves = [
        result(value, week, record=30 + week, tissue=Tissue.LEAF, analyte=analyte)
        for week in (3, 6, 9)
        for analyte, value in (("N", 2.2 + week / 5), ("K", 1.3), ("S", 0.14))
    ]
    extra = [
        result(450, 4, record=70, basis=Basis.SAP),
        result(3000, 5, record=71, censor=Censor.ABOVE),
        result(3300, 7, record=72, offset=2),
        result(4000, 8, record=73, method=Method.METER),
    ]
    changes = (
        changed(1.3, day_in(3, 5), record=701),
        changed(1.1, day_in(5, 4), record=702),
        changed(0.8, day_in(7, 6), record=703, days=9),
    )
    observations = tuple(
        replace(seen(sight, day_in(week, 2), 25.0), record=600 + week)
        for week, sight in ((3, Sight.WATERLOGGED), (5, Sight.LEACHING_RAIN), (6, Sight.SOIL_NITRATE))
    )
    return season(
        *petioles,
        *leaves,
        *extra,
        the_plan=plan(cap=70.0),
        changes=changes,
        observations=observations,
        applications=fed(weeks=range(1, 9)),
        left=(day_in(9, 2),),
    )


def up_to(the_season: BlockSeason, on: date) -> BlockSeason:
    """The season with nothing in it that came after a day."""
    return replace(
        the_season,
        results=tuple(item for item in the_season.results if item.known_on <= on),
        applications=tuple(item for item in the_season.applications if item.on <= on),
        observations=tuple(item for item in the_season.observations if item.on <= on),
        changes=tuple(item for item in the_season.changes if item.decided <= on),
        left=tuple(day for day in the_season.left if day <= on),
    )


def test_whatever_comes_later_the_facts_of_a_day_stay_the_same() -> None:
    the_season = full_season()
    for offset in range(-7, 12 * 7 + 7):
        on = BLOOM + timedelta(days=offset)
        assert the_season.facts(on) == up_to(the_season, on).facts(on), on


@pytest.mark.parametrize("on", [day_in(2), day_in(4, 5), day_in(6, 1), day_in(7, 6), day_in(9, 2), day_in(11)])
def test_whatever_comes_later_the_advice_of_a_day_stays_the_same(on: date) -> None:
    the_season = full_season()
    assert the_season.advice(on) == up_to(the_season, on).advice(on)


def test_a_later_result_of_another_level_does_not_reach_back() -> None:
    the_season = season(result(2500, 6), applications=fed())
    with_later = replace(the_season, results=(*the_season.results, result(12_000, 7, record=9)))
    assert with_later.advice(SATURDAY) == the_season.advice(SATURDAY)
    assert with_later.advice(day_in(7, 5)) != the_season.advice(day_in(7, 5))


# --- which reading decides ----------------------------------------------------------------------------------


def test_a_petiole_decides_before_a_leaf() -> None:
    leaf = result(2.2, 6, record=2, tissue=Tissue.LEAF, offset=4, delay=0)
    facts = season(result(3900, 6), leaf).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.tissue is Tissue.PETIOLE
    assert facts.leaf is not None and facts.leaf.records == (2,)


def test_a_season_of_leaves_alone_is_decided_by_leaf_nitrogen() -> None:
    leaf = result(2.2, 6, tissue=Tissue.LEAF)
    facts = season(leaf, tables=(GEORGIA_LEAF,)).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.tissue is Tissue.LEAF
    assert facts.leaf is None


def test_a_dry_result_goes_before_sap_of_the_same_day() -> None:
    stages = StageDates({"early_bloom": BLOOM, "first_bloom": BLOOM}, day_in(12, 6))
    both = (result(900, 6, record=1, basis=Basis.SAP), result(3900, 6, record=2))
    the_season = season(*both, tables=("strawberry-petiole-sap-delaware", SOUTHEAST), stages=stages)
    found = the_season.facts(SATURDAY).primary
    assert found is not None and found.basis is Basis.DRY


def test_earlier_readings_are_those_of_the_same_kind_in_order() -> None:
    results = (
        result(2000, 6, record=1),
        result(6000, 4, record=2),
        result(3500, 5, record=3),
        result(2.2, 5, record=4, tissue=Tissue.LEAF),
        result(450, 5, record=5, basis=Basis.SAP),
        result(4000, 5, record=6, offset=4, censor=Censor.BELOW),
    )
    facts = season(*results).facts(SATURDAY)
    assert facts.earlier == (
        (day_in(4, 2), Side.WITHIN),
        (day_in(5, 2), Side.WITHIN),
        (day_in(5, 4), None),
    )
    assert [item.record for item in facts.not_used] == [5]


def test_the_band_is_that_of_the_sampling_day() -> None:
    sample = result(3200, 4, delay=10)  # received in week 5, where the band is lower
    found = season(sample).facts(day_in(6)).primary
    assert found is not None
    assert (found.band.label, found.band.low, found.band.high) == ("week 4", 3500, 6000)
    assert [band.label for band in found.beside] == ["week 3", "week 5"]


def test_a_result_beyond_the_last_band_is_kept_and_not_used() -> None:
    late = result(1500, 13)
    the_season = season(late, the_plan=plan((RATE,) * 16))
    facts = the_season.facts(late.known_on)
    assert facts.primary is None
    (kept,) = facts.not_used
    assert (kept.record, kept.sampled) == (1, late.sampled) and "week 13" in kept.why
    with pytest.raises(OutOfSeason, match="week 13"):
        the_season.band_for(late)


def test_no_table_in_use_for_a_kind_is_said_in_words() -> None:
    sap = result(450, 6, basis=Basis.SAP)
    with pytest.raises(OutOfSeason, match="no band table in use is for petiole NO3-N, fresh sap"):
        season(sap).band_for(sap)


def test_a_trend_uses_positions_so_a_moving_band_makes_none() -> None:
    # always in the middle of the band of the week, while the band falls from 4,899 to 3,873 ppm (UGA-2021)
    middle = {2: 4899.0, 3: 4899.5, 4: 4583.0, 5: 3873.0, 6: 3874.0}
    found = season(*(result(value, week, record=week) for week, value in middle.items())).facts(SATURDAY)
    assert found.trend is not None and abs(found.trend.slope_per_day) < 1e-3


def test_a_trend_ends_with_the_reading_that_decides() -> None:
    results = [result(value, week, record=week) for week, value in ((3, 5500), (4, 5000), (5, 4200), (6, 3500))]
    the_season = season(*results)
    found, before = the_season.facts(SATURDAY).trend, the_season.facts(SATURDAY - timedelta(days=1)).trend
    assert found is not None and found.n == 4 and before is None


# --- decisions ----------------------------------------------------------------------------------------------


def test_a_decision_on_the_day_does_not_change_that_days_advice() -> None:
    before = season(result(2500, 6), applications=fed())
    advice = before.advice(SATURDAY)
    numbers = [week.number for week in advice.recommendation.weeks]
    rates = dict(zip(numbers, advice.recommendation.rates_lb_ac, strict=True))
    taken = Change(SATURDAY, day_in(7), advice.recommendation.review, advice.recommendation.factor, rates, 5)
    after = replace(before, changes=(taken,))
    again = after.advice(SATURDAY)
    assert again.facts == advice.facts
    assert again.recommendation == advice.recommendation and again.flips == advice.flips
    assert again.weeks == advice.weeks
    assert (advice.decided, again.decided) == (False, True)
    tomorrow = after.facts(SATURDAY + timedelta(days=1))
    assert tomorrow.factor == pytest.approx(advice.recommendation.factor)
    assert tomorrow.last_shift is not None and tomorrow.last_shift.on == day_in(7)


def test_a_decision_for_another_rate_shows_the_decided_weeks_under_the_same_advice() -> None:
    before = season(result(2500, 6), applications=fed())
    own = Change(SATURDAY, day_in(7), day_in(8, 4), 6.0 / RATE, {7: 6.0, 8: 6.0}, 5)
    after = replace(before, changes=(own,))
    advice, again = before.advice(SATURDAY), after.advice(SATURDAY)
    assert again.recommendation == advice.recommendation
    assert [week.rate_lb_ac for week in again.weeks[:3]] == [6.0, 6.0, RATE]
    assert [week.before_lb_ac for week in again.weeks[:3]] == [RATE] * 3


def test_advice_that_was_left_shows_the_rates_that_stand() -> None:
    before = season(result(2500, 6), applications=fed())
    left = replace(before, left=(SATURDAY,))
    advice = left.advice(SATURDAY)
    assert advice.decided and advice.recommendation.action is Action.RAISE
    assert [week.rate_lb_ac for week in advice.weeks] == [RATE] * 6
    assert not any(week.changed for week in advice.weeks)


def test_a_change_ends_on_its_review_and_the_sample_is_then_overdue() -> None:
    change = changed(1.3, day_in(4, 5), days=12)
    the_season = season(result(2500, 4), changes=(change,), applications=fed())
    last, after = the_season.facts(change.review), the_season.facts(change.review + timedelta(days=1))
    assert (last.factor, last.overdue) == (1.3, None)
    assert (after.factor, after.overdue) == (1.0, change.review)
    assert after.last_shift is not None and after.last_shift.direction == -1
    found = the_season.advice(change.review + timedelta(days=1)).recommendation
    assert found.to_do[0].startswith("A sample is overdue")


def test_a_week_that_begins_on_the_review_day_runs_at_the_plans_own_rate() -> None:
    on_monday, on_tuesday = (
        season(changes=(replace(changed(1.3, day_in(3, 5)), review=day_in(6, offset)),)) for offset in (0, 1)
    )
    week = on_monday.plan.weeks[5]
    assert week.start == day_in(6)
    assert on_monday.path(day_in(6)).rate_lb_ac(week) == RATE
    assert on_tuesday.path(day_in(6)).rate_lb_ac(week) == pytest.approx(1.3 * RATE)


def test_a_new_decision_clears_what_was_overdue() -> None:
    changes = (changed(1.3, day_in(2, 5), days=10), changed(1.1, day_in(5, 5), record=701))
    the_season = season(result(2500, 5), changes=changes)
    assert the_season.facts(day_in(5)).overdue == day_in(4, 1)
    assert the_season.facts(day_in(6)).overdue is None
    assert the_season.facts(day_in(6)).factor == 1.1


def test_a_fall_back_to_plan_is_not_called_settled_before_the_rate_has_fallen() -> None:
    # the change is in force to Tuesday, so the plan's own rate comes with the next Monday
    change = replace(changed(1.3, day_in(3, 5)), review=day_in(5, 1))
    the_season = season(changes=(change,))
    assert the_season.path(day_in(6)).rate_lb_ac(the_season.plan.weeks[4]) == pytest.approx(1.3 * RATE)
    assert the_season.path(day_in(6)).rate_lb_ac(the_season.plan.weeks[5]) == RATE
    shift = the_season.facts(day_in(6, 1)).last_shift
    assert shift is not None and shift.direction == -1
    assert shift.on == day_in(6)


# --- observations and the ledger ----------------------------------------------------------------------------


def test_the_soil_test_of_the_facts_is_the_latest_with_a_value() -> None:
    observations = (
        seen(Sight.SOIL_NITRATE, day_in(4), 30.0),
        seen(Sight.SOIL_NITRATE, day_in(5), 12.0),
        seen(Sight.SOIL_NITRATE, day_in(6), None),
        seen(Sight.SOIL_NITRATE, day_in(8), 50.0),
    )
    assert season(observations=observations).facts(SATURDAY).soil_nitrate == (day_in(5), 12.0)


def test_the_running_week_counts_what_is_still_to_go_out() -> None:
    facts = season(applications=fed(weeks=range(1, 6))).facts(day_in(6, 2))
    assert facts.rest_of_week_lb_ac == pytest.approx(RATE)
    half = (*fed(weeks=range(1, 6)), Application(1, "north", day_in(6), 3.0))
    assert season(applications=half).facts(day_in(6, 2)).rest_of_week_lb_ac == pytest.approx(RATE - 3.0)
    over = (*fed(weeks=range(1, 6)), Application(1, "north", day_in(6), 9.0))
    assert season(applications=over).facts(day_in(6, 2)).rest_of_week_lb_ac == 0.0


def test_a_week_that_begins_on_the_day_is_a_coming_one() -> None:
    the_season = season(applications=fed(weeks=range(1, 6)))
    facts = the_season.facts(day_in(6))
    assert facts.coming[0].number == 6 and facts.rest_of_week_lb_ac == 0.0
    assert the_season.facts(day_in(6, 1)).coming[0].number == 7


def test_an_application_of_a_later_day_is_not_counted() -> None:
    facts = season(applications=fed()).facts(day_in(3))
    assert facts.logged_lb_ac == pytest.approx(2 * RATE)
    thursday = season(applications=fed()).facts(day_in(3, 3))
    assert thursday.logged_lb_ac == pytest.approx(3 * RATE)


@pytest.mark.parametrize("on", [day_in(6), SATURDAY])
def test_the_running_total_of_the_weekly_table_ends_where_the_plan_ends(on: date) -> None:
    the_season = season(result(3900, 5), the_plan=plan(cap=100.0), applications=fed(weeks=range(1, 7)))
    weeks = the_season.advice(on).weeks
    assert weeks[-1].total_lb_ac == pytest.approx(12 * RATE)
    assert not any(week.over_cap for week in weeks)


def test_weeks_over_the_cap_are_marked() -> None:
    the_season = season(the_plan=plan(cap=9.5 * RATE), applications=fed(weeks=range(1, 7)))
    weeks = the_season.weeks_from(SATURDAY)
    assert [week.week.number for week in weeks if week.over_cap] == [10, 11, 12]


def test_the_weekly_table_adds_up_to_the_nitrogen_of_the_block() -> None:
    advice = season(result(2500, 6), applications=fed()).advice(SATURDAY)
    area = block().area_ac()
    for week in advice.weeks:
        assert week.n_lb == pytest.approx(week.rate_lb_ac * area)
        assert week.n_lb_injection == pytest.approx(week.n_lb / 2)
        supplied = sum(part.weight_lb * part.product.percent["n"] / 100 for part in week.products)
        assert supplied == pytest.approx(week.n_lb)
        assert week.nutrient_lb("n") == pytest.approx(week.n_lb)
    changed_weeks = [week.week.number for week in advice.weeks if week.changed]
    assert changed_weeks == [week.number for week in advice.recommendation.weeks]


def test_the_weeks_are_named_by_the_first_table_that_places_them() -> None:
    the_season = season(the_plan=plan((RATE,) * 14))
    names = [the_season.place_words(week) for week in the_season.plan.weeks]
    assert names[:2] == ["week 1", "week 2"]
    assert names[12:] == ["whole season", "whole season"]
    petioles_only = season(the_plan=plan((RATE,) * 14), tables=(SOUTHEAST,))
    assert petioles_only.place_words(petioles_only.plan.weeks[13]) == ""


# --- the ends of the season ---------------------------------------------------------------------------------


def test_before_the_plan_starts_every_week_can_change_and_none_is_fed_yet() -> None:
    on = BLOOM - timedelta(days=10)
    advice = season().advice(on)
    assert len(advice.facts.coming) == 12
    assert (advice.facts.logged_lb_ac, advice.facts.assumed_lb_ac, advice.facts.rest_of_week_lb_ac) == (0, 0, 0)
    assert advice.recommendation.action is Action.HOLD and advice.flips == ()
    assert [week.rate_lb_ac for week in advice.weeks] == [RATE] * 12


def test_in_the_last_week_no_week_is_left() -> None:
    the_season = season(result(400, 12), applications=fed())
    advice = the_season.advice(day_in(12, 5))
    assert advice.facts.coming == () and advice.weeks == ()
    assert advice.recommendation.weeks == () and advice.recommendation.action is Action.HOLD


def test_after_the_plan_has_ended_advice_is_still_given() -> None:
    the_season = season(result(1200, 12), applications=fed())
    advice = the_season.advice(day_in(14))
    assert advice.recommendation.action is Action.HOLD and advice.weeks == ()


def test_without_a_bloom_date_a_weekly_table_has_no_band_and_the_week_is_unknown() -> None:
    stages = StageDates({"harvest": BLOOM}, day_in(12, 6))
    facts = season(result(2500, 6), stages=stages).facts(SATURDAY)
    assert facts.week is None and facts.primary is None
    assert "first_bloom has no date" in facts.not_used[0].why


def test_the_leaf_of_the_samples_own_day_moves_with_it() -> None:
    leaf = result(2.2, 6, record=2, tissue=Tissue.LEAF)
    tables = (SOUTHEAST, "strawberry-leaf-florida")
    stages = StageDates({"initial_flowering": BLOOM, "first_bloom": BLOOM}, day_in(12, 6))
    for used in ((SOUTHEAST, GEORGIA_LEAF), tables):
        the_season = season(result(2500, 6), leaf, tables=used, stages=stages, applications=fed())
        for days in (-7, 7, -1):
            moved = the_season.facts_sampled(the_season.facts(SATURDAY), day_in(6, 2 + days))
            day = day_in(6, 2 + days)
            results = tuple(replace(item, sampled=day) for item in the_season.results)
            by_hand = replace(the_season, results=results).facts(SATURDAY)
            assert moved.primary == by_hand.primary
            assert moved.leaf == by_hand.leaf and moved.leaf is not None and moved.leaf.sampled == day


def test_two_leaves_of_the_samples_own_day_move_together() -> None:
    leaves = (result(2.2, 6, record=2, tissue=Tissue.LEAF), result(2.6, 6, record=3, tissue=Tissue.LEAF))
    the_season = season(result(2500, 6), *leaves, applications=fed())
    moved = the_season.facts_sampled(the_season.facts(SATURDAY), day_in(5, 2)).leaf
    assert moved is not None
    assert (moved.sampled, moved.records) == (day_in(5, 2), (2, 3))
    assert moved.value == pytest.approx(2.4)


@pytest.mark.parametrize(
    ("before", "days", "kept"),
    # a leaf counts beside a petiole for 28 days either way, which is the project's own figure
    [(21, 7, True), (22, 7, False), (28, -7, True), (28, 1, False), (1, -7, True), (0, 28, True)],
)
def test_a_leaf_of_another_day_stays_where_it_is_and_is_dropped_when_too_far(
    before: int, days: int, kept: bool
) -> None:
    sampled = day_in(6, 2)
    leaf = replace(result(2.2, 6, record=2, tissue=Tissue.LEAF), sampled=sampled - timedelta(days=before))
    the_season = season(result(2500, 6), replace(leaf, received=None), applications=fed())
    facts = the_season.facts(SATURDAY)
    assert facts.leaf is not None and facts.leaf.records == (2,)
    moved = the_season.facts_sampled(facts, sampled + timedelta(days=days)).leaf
    if before == 0:
        assert moved is not None and moved.sampled == sampled + timedelta(days=days)
    else:
        assert moved == (facts.leaf if kept else None)


def test_a_guessed_date_is_marked_in_the_facts() -> None:
    guessed = StageDates({"first_bloom": BLOOM}, day_in(12, 6), frozenset({"first_bloom"}))
    for stages, is_guess in ((guessed, True), (None, False)):
        reading = season(result(2500, 6), stages=stages).facts(SATURDAY).primary
        assert reading is not None and reading.stage_guessed is is_guess


def test_advice_names_the_tables_and_the_policy_it_used() -> None:
    advice = season(result(2500, 6)).advice(SATURDAY)
    assert advice.tables == (SOUTHEAST, GEORGIA_LEAF)
    assert advice.policy == "strawberry-annual-plasticulture"
    assert advice.block == block() and advice.on == SATURDAY


def test_facts_carry_the_bounds_of_the_plan_and_the_mix() -> None:
    facts = season(the_plan=plan(floor=2.5, ceiling=6.5, cap=90.0, step=0.1)).facts(SATURDAY)
    assert (facts.floor_lb_ac, facts.ceiling_lb_ac, facts.cap_lb_ac, facts.rate_step_lb_ac) == (
        2.5,
        6.5,
        90.0,
        0.1,
    )
    assert facts.nitrate_share == pytest.approx((14.5 / 15.5 + 1) / 2)
    assert [product.name for product in products()] == ["calcium nitrate", "potassium nitrate"]


def test_results_that_are_scaled_lose_their_bound() -> None:
    bound: TissueResult = result(4000, 6, censor=Censor.BELOW)
    the_season = season(bound)
    reading = the_season.facts(SATURDAY).primary
    assert reading is not None and reading.censor is Censor.BELOW
    moved = the_season.facts_at(the_season.facts(SATURDAY))(2000.0).primary
    assert moved is not None and (moved.value, moved.censor) == (pytest.approx(2000.0), Censor.NONE)
