"""Published rules on the weekly nitrogen, run through a block's season with the shipped policy.

Rates are in lb N per acre and week: 0.5, 0.75 and 1.0 lb/ac/day are 3.5, 5.25 and 7.0.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest

from fertadjust.band_rows import Band
from fertadjust.evidence import Evidence, split_sources
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Credit
from fertadjust.products import Product
from fertadjust.rules.facts import Action
from fertadjust.rules.policy import Figure, Recovery
from fertadjust.season import Advice, BlockSeason
from fertadjust.tissue import Basis, Tissue, TissueResult
from tests import support

STAY, RAISED = 5.25, 7.0
LONG = support.plan((STAY,) * 16)
WEEKS = range(1, 13)


def band_of(week: int) -> Band:
    season = support.season(the_plan=LONG)
    return season.tables[0].band_on("NO3-N", support.day_in(week), season.stages)


def edges(week: int) -> tuple[float, float]:
    band = band_of(week)
    assert band.low is not None and band.high is not None
    return band.low, band.high


def only(rates: tuple[float, ...]) -> float:
    """The rate of every week, which must be one and the same."""
    first = rates[0]
    assert rates == pytest.approx([first] * len(rates))
    return first


def advised(season: BlockSeason) -> Advice:
    """The advice on the day the latest result arrived."""
    return season.advice(max(result.known_on for result in season.results))


def raise_of(factor: float, week: int, *, last_week: int | None = None, record: int = 90) -> Change:
    """A raise in force from the first day of one week to the end of another."""
    decided = support.day_in(week) - timedelta(days=2)
    review = support.day_in(last_week if last_week is not None else week + 3, 6)
    return Change(decided, support.day_in(week), review, factor, record=record)


# --- Georgia's weekly rule, UGA-2021 -------------------------------------------------------------------------


@pytest.mark.parametrize("week", WEEKS)
def test_sufficient_petiole_stays_at_three_quarters_of_a_pound_a_day(week: int) -> None:
    """UGA-2021: sufficient for the week, stay at 0.75 lb N/ac/day."""
    low, high = edges(week)
    found = advised(support.season(support.result(math.sqrt(low * high), week), the_plan=LONG)).recommendation
    assert found.action is Action.HOLD
    assert only(found.rates_lb_ac) == STAY


def low_beyond_doubt(week: int) -> float:
    """Half the lowest limit of a week and the weeks beside it, so that a week's error changes nothing."""
    return min(edges(near)[0] for near in (week - 1, week, week + 1) if near in WEEKS) / 2


@pytest.mark.parametrize("week", range(1, 11))
def test_low_petiole_raises_from_three_quarters_to_one_pound_a_day(week: int) -> None:
    """UGA-2021: low for the week, raise to 1.0 lb N/ac/day."""
    season = support.season(support.result(low_beyond_doubt(week), week), the_plan=LONG)
    found = advised(season).recommendation
    assert found.action is Action.RAISE
    assert only(found.standing_rates_lb_ac) == STAY
    assert only(found.rates_lb_ac) == pytest.approx(RAISED)


def test_low_in_week_two_but_not_in_week_one_waits_for_the_bloom_date_to_be_confirmed() -> None:
    """Derived from UGA-2021: the low limits of weeks 1 and 2 are 600 and 4,000 ppm, so a week's error in dating
    first bloom reverses the verdict. To hold there is this program's own rule."""
    found = advised(support.season(support.result(2000, 2), the_plan=LONG)).recommendation
    assert found.fired("stage in doubt")
    assert found.action is Action.HOLD


@pytest.mark.parametrize("week", [11, 12])
def test_low_petiole_raises_in_the_last_weeks_too_once_the_policys_own_stop_week_is_lifted(week: int) -> None:
    """UGA-2021 names no stop week for its rule, which covers the weeks of its table; the stop is the policy's."""
    season = support.season(support.result(low_beyond_doubt(week), week), the_plan=LONG)
    assert advised(season).recommendation.action is Action.HOLD
    policy = support.with_policy(support.policy(), no_raise_after_week=12.0)
    found = advised(replace(season, policy=policy)).recommendation
    assert found.action is Action.RAISE
    assert only(found.rates_lb_ac) == pytest.approx(RAISED)


def test_georgias_raise_is_a_third() -> None:
    """UGA-2021: 0.75 to 1.0 lb N/ac/day, the largest step between named rates, 7 / 5.25 - 1 = 33 %."""
    figure = support.policy().raise_first
    assert figure.value == pytest.approx(RAISED / STAY - 1, rel=1e-12)
    assert (split_sources(figure.source), figure.evidence) == (["UGA-2021"], Evidence.DERIVED)


def test_sufficient_again_goes_back_to_three_quarters_where_the_policy_says_return_to_plan() -> None:
    """UGA-2021 read literally: a block that was raised and is sufficient again stays at 0.75 lb N/ac/day."""
    policy = support.with_policy(support.policy(), after_recovery=Recovery.PLAN)
    season = support.season(
        support.result(1500, 3, record=1),
        support.result(3900, 6, record=2),
        the_plan=LONG,
        the_policy=policy,
        changes=(raise_of(RAISED / STAY, 4),),
    )
    found = advised(season).recommendation
    assert only(found.standing_rates_lb_ac) == pytest.approx(RAISED)
    assert only(found.rates_lb_ac) == pytest.approx(STAY)


def test_high_petiole_has_no_published_action_and_every_figure_of_a_cut_says_so() -> None:
    """UGA-2021 prints no action for "high"; no publication gives a number for a cut."""
    policy = support.policy()
    for figure in (policy.cut_largest, policy.cut_largest_at, policy.smallest_step):
        assert figure.evidence is Evidence.PROJECT_RULE
        assert split_sources(figure.source) == []
    found = advised(support.season(support.result(9000, 6), the_plan=LONG)).recommendation
    line = next(line for line in found.trace if line.rule == "cut")
    assert found.action is Action.CUT
    assert (line.source, line.evidence) == ("none", Evidence.PROJECT_RULE)
    assert "no publication" in line.why


@pytest.mark.parametrize(
    "name", ["floor", "ceiling", "no_raise_after_week", "stale_days", "lag_nitrate_days", "lag_ammonium_days"]
)
def test_what_no_publication_gives_is_not_presented_as_published(name: str) -> None:
    """No publication gives a least or greatest weekly rate, a stop date, or a lag in strawberry."""
    figure = getattr(support.policy(), name)
    assert isinstance(figure, Figure)
    assert figure.evidence in (Evidence.DERIVED, Evidence.PROJECT_RULE)


def test_floor_and_ceiling_span_the_weekly_rates_named_in_extension_advice() -> None:
    """UGA-2021 raises to 7; DE-7778 names 3-5 lb N/ac/week. An evidence range, not a published limit."""
    policy = support.policy()
    assert (policy.floor.value, policy.ceiling.value) == (3.0, 7.0)
    for figure in (policy.floor, policy.ceiling):
        assert split_sources(figure.source) == ["UGA-2021", "DE-7778"]


# --- Georgia's leaf rule, UGA-AESL ---------------------------------------------------------------------------


def leaf_season(rate: float, percent: float, *, week: int = 3, offset: int = 2) -> BlockSeason:
    """A season that goes by leaf samples only."""
    leaf = support.result(percent, week, tissue=Tissue.LEAF, offset=offset)
    return support.season(leaf, the_plan=support.plan((rate,) * 12), tables=(support.GEORGIA_LEAF,))


@pytest.mark.parametrize(("soil", "rate", "raised"), [("sandy", 4.0, 6.0), ("heavier", 3.5, 5.25)])
def test_low_leaf_nitrogen_raises_the_drip_rate_by_half(soil: str, rate: float, raised: float) -> None:
    """UGA-AESL: leaf N below 2.80 %, 50 % more: 4 becomes 6 on sand, 3.5 becomes 5.25 on heavier soil."""
    found = advised(leaf_season(rate, 2.4)).recommendation
    assert found.action is Action.RAISE, soil
    assert found.factor == pytest.approx(1.5)
    assert only(found.standing_rates_lb_ac) == rate
    assert only(found.rates_lb_ac) == pytest.approx(raised)


@pytest.mark.parametrize("offset", range(7), ids=["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"])
def test_the_leaf_raise_covers_two_weeks_and_the_next_sample_follows(offset: int) -> None:
    """UGA-AESL: 50 % more "for two weeks, then retest", whatever the weekday of the first sample."""
    season = leaf_season(4.0, 2.4, offset=offset)
    found = advised(season).recommendation
    assert len(found.weeks) == 2
    assert found.weeks[0].start <= found.next_sample <= found.weeks[-1].end + timedelta(days=1)
    assert found.review > found.next_sample


def test_after_the_two_weeks_the_plans_own_rate_runs_again() -> None:
    """UGA-AESL: the raise ends with the retest."""
    advice = advised(leaf_season(4.0, 2.4))
    rates = [row.rate_lb_ac for row in advice.weeks]
    assert rates == [pytest.approx(6.0)] * 2 + [4.0] * (len(rates) - 2)


@pytest.mark.parametrize("percent", [2.81, 3.3, 3.79])
def test_leaf_nitrogen_in_its_range_changes_nothing(percent: float) -> None:
    """UGA-AESL: 2.80-3.80 % is sufficient."""
    assert advised(leaf_season(4.0, percent)).recommendation.action is Action.HOLD


def test_high_leaf_nitrogen_alone_is_no_ground_for_a_cut() -> None:
    """UDEL-T gives actions for low and deficient leaf nitrogen only."""
    found = advised(leaf_season(4.0, 5.5)).recommendation
    assert found.action is Action.HOLD
    line = next(line for line in found.trace if line.rule == "status")
    assert (line.fired, line.source) == (True, "UDEL-T")


def test_petiole_and_leaf_both_low_raise_by_half() -> None:
    """UGA-AESL: 50 % more on low leaf nitrogen, where the petiole is low too and no ceiling is near."""
    season = support.season(
        support.result(2300, 6),
        support.result(2.4, 6, record=2, tissue=Tissue.LEAF),
        the_plan=support.plan((4.0,) * 12),
    )
    assert only(advised(season).recommendation.rates_lb_ac) == pytest.approx(6.0)


# --- the precedent of greenhouse tomato held at a petiole target, TOMATO-SAP-1988 ----------------------------

ROOM = support.plan((4.0,) * 12, ceiling=20.0)


def test_a_petiole_far_below_its_band_raises_by_half_at_once() -> None:
    """TOMATO-SAP-1988: when sap first falls below target, 50 % more at once; the largest raise of the policy."""
    figure = support.policy().raise_largest
    assert (figure.value, figure.evidence) == (0.5, Evidence.DERIVED)
    assert "TOMATO-SAP-1988" in split_sources(figure.source)
    found = advised(support.season(support.result(1000, 6), the_plan=ROOM)).recommendation
    assert only(found.rates_lb_ac) == pytest.approx(6.0)


def raised_once(*later: TissueResult) -> BlockSeason:
    """Low in week 3, raised by half from week 4, sufficient in week 5, then what follows."""
    return support.season(
        support.result(1500, 3, record=1),
        support.result(3500, 5, record=2),
        *later,
        the_plan=ROOM,
        the_policy=support.with_policy(support.policy(), after_recovery=Recovery.KEEP),
        changes=(raise_of(1.5, 4, last_week=10),),
    )


def test_a_second_raise_waits_for_a_second_result_below() -> None:
    """TOMATO-SAP-1988: afterwards only after 2 consecutive results below target."""
    assert support.policy().results_for_second_change.value == 2
    first = raised_once(support.result(1000, 7, record=3))
    assert advised(first).recommendation.action is Action.HOLD
    assert advised(first).recommendation.fired("twice in a row")


def test_two_results_in_a_row_below_allow_the_second_raise() -> None:
    """TOMATO-SAP-1988."""
    second = raised_once(support.result(1000, 7, record=3), support.result(1000, 8, record=4))
    found = advised(second).recommendation
    assert only(found.standing_rates_lb_ac) == pytest.approx(6.0)
    assert only(found.rates_lb_ac) == pytest.approx(9.0)


def test_five_raises_of_half_would_multiply_the_rate_so_the_ceiling_bounds_it() -> None:
    """TOMATO-SAP-1988, derived: 1.5^5 = 7.594, so a bound on the rate is needed besides a bound on the step."""
    assert pytest.approx(1.5**5, abs=5e-4) == 7.594
    season = support.season(
        support.result(500, 6, record=2),
        support.result(500, 5, record=1),
        the_plan=support.plan((5.25,) * 12, ceiling=7.0),
        changes=(raise_of(4 / 3, 3, last_week=11),),
    )
    assert max(advised(season).recommendation.rates_lb_ac) == pytest.approx(7.0)


# --- soil nitrate, lag, sampling -----------------------------------------------------------------------------


@pytest.mark.parametrize(("ppm", "action"), [(20.0, Action.RAISE), (20.5, Action.HOLD), (26.0, Action.HOLD)])
def test_low_petiole_over_enough_soil_nitrate_does_not_call_for_nitrogen(ppm: float, action: Action) -> None:
    """HARTZ-2006 and HARTZ-2000: 20-25 mg/kg NO3-N is enough for vegetables; AGVISE-POTATO holds likewise."""
    test = Observation(9, "north", support.day_in(6), Sight.SOIL_NITRATE, ppm)
    season = support.season(support.result(1500, 6), the_plan=LONG, observations=(test,))
    assert advised(season).recommendation.action is action


def mix(nitrate_n: float) -> tuple[Product, ...]:
    return (Product("mix", {"n": 20.0}, share=1.0, nitrate_n=nitrate_n),)


@pytest.mark.parametrize(
    ("nitrate_n", "days", "settled"),
    [(20.0, 6, False), (20.0, 7, True), (2.0, 7, False), (2.0, 13, False), (2.0, 14, True)],
)
def test_a_sample_shows_nitrate_after_a_week_and_ammonium_after_two(
    nitrate_n: float, days: int, settled: bool
) -> None:
    """ROBERTS-1989: labelled nitrate is in potato petioles within a week, ammonium 1 week to 10 days later."""
    sampled = support.day_in(4) + timedelta(days=days)
    late = replace(support.result(1500, record=2), sampled=sampled, received=sampled + timedelta(days=2))
    season = support.season(
        support.result(1500, 3, record=1), late, the_plan=LONG, changes=(raise_of(1.2, 4, last_week=8),)
    )
    found = advised(replace(season, products=mix(nitrate_n))).recommendation
    assert found.fired("too soon") is not settled
    assert found.action is (Action.RAISE if settled else Action.HOLD)


def test_the_next_sample_follows_after_two_weeks_and_sooner_when_a_result_was_not_clear() -> None:
    """NCDA-2007 and NCDA-2015: every 2 weeks; NCDA-2023: every 1-2 weeks."""
    clear = advised(support.season(support.result(3900, 6), the_plan=LONG))
    unclear = advised(support.season(support.result(3050, 6), the_plan=LONG))
    sampled = support.day_in(6, 2)
    assert clear.recommendation.next_sample - sampled == timedelta(days=14)
    assert unclear.recommendation.next_sample - sampled == timedelta(days=7)


@pytest.mark.parametrize(("petioles", "few"), [(19, True), (20, False), (25, False)])
def test_a_sample_of_fewer_than_twenty_petioles_is_told(petioles: int, few: bool) -> None:
    """NCDA-2007 and DE-2018: 20-25 plants per uniform area."""
    found = advised(support.season(support.result(3900, 6, petioles=petioles), the_plan=LONG)).recommendation
    assert found.fired("few petioles") is few


def test_a_dry_result_is_never_held_against_a_sap_table_nor_sap_against_a_dry_one() -> None:
    """UF-CV004: the two scales cannot be converted into each other."""
    dry = support.result(700, 3)
    sap = support.result(700, 3, basis=Basis.SAP)
    for result, table in ((dry, "strawberry-petiole-sap-florida"), (sap, support.SOUTHEAST)):
        advice = advised(support.season(result, tables=(table,)))
        assert advice.facts.primary is None
        assert [item.record for item in advice.facts.not_used] == [1]


# --- season totals -------------------------------------------------------------------------------------------


def test_preplant_and_twelve_weeks_at_three_quarters_of_a_pound_come_to_123_lb() -> None:
    """UGA-AESL (60 lb preplant) and UGA-2021, derived: 60 + 12 x 5.25."""
    preplant = Credit("preplant", 60.0, "UGA-AESL", Evidence.PUBLISHED)
    season = support.season(the_plan=support.plan(credits_=(preplant,)))
    assert season.advice(support.BLOOM).weeks[-1].total_lb_ac == pytest.approx(123.0)


@pytest.mark.parametrize(("rate", "weeks_under"), [(5.25, 11), (7.0, 8)])
def test_weeks_that_a_programme_of_60_lb_lasts(rate: float, weeks_under: int) -> None:
    """Common practice: a spring programme of about 60 lb N/ac; 60 / 5.25 = 11.4 and 60 / 7 = 8.6 weeks."""
    season = support.season(the_plan=support.plan((rate,) * 12, cap=60.0))
    over = [row.over_cap for row in season.weeks_from(support.BLOOM)]
    assert over == [False] * weeks_under + [True] * (12 - weeks_under)


def test_georgias_calendar_ramp_runs_from_half_a_pound_to_one_pound_a_day() -> None:
    """UGA-2021: 0.5 at first growth, 0.75 into bloom, up to 1.0 with the crop load; no result changes it."""
    ramp = (3.5, 3.5, 5.25, 5.25, 5.25, 5.25, 7.0, 7.0)
    season = support.season(the_plan=support.plan(ramp))
    assert [row.rate_lb_ac for row in season.weeks_from(support.BLOOM)] == list(ramp)
