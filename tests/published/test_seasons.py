"""Short seasons replayed result by result, one for each published precedent, with every advice taken.

Samples are taken on the Wednesday of a week and known on the Saturday, so a rate changes with the next Monday.
Rates are in lb N per acre and week. The results are invented; the rates and counts they lead to are published.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest

from fertadjust.evidence import Evidence
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Plan
from fertadjust.products import Product
from fertadjust.rules.facts import Action
from fertadjust.rules.policy import Policy, Recovery
from fertadjust.season import Advice
from fertadjust.tissue import Tissue, TissueResult
from tests import support
from tests.published.replay import Replay, one_rate
from tests.rules import leaf, line, raise_size

HOLD, RAISE, CUT = Action.HOLD, Action.RAISE, Action.CUT
A_DAY = 7.0
"""Days in a week: a rate for a day times this is the rate for a week."""


def long_plan(rate: float, *, ceiling: float = 7.0) -> Plan:
    return support.plan((rate,) * 18, ceiling=ceiling, floor=0.0, step=0.0)


def to_plan(**values: object) -> Policy:
    """The policy that returns to plan as soon as a block is sufficient again."""
    return support.with_policy(support.policy(), after_recovery=Recovery.PLAN, **values)


def petiole_advice(replay: Replay, value: float, week: int) -> Advice:
    return replay.arrives(support.result(value, week, record=week))


# --- Georgia's weekly rule -----------------------------------------------------------------------------------


def test_a_georgia_season_runs_at_three_quarters_of_a_pound_and_at_one_pound_a_day_while_low() -> None:
    """UGA-2021: sufficient for the week, stay at 0.75 lb N/ac/day; low, raise to 1.0 (rows for weeks 1 to 12)."""
    replay = Replay(support.season(the_plan=long_plan(0.75 * A_DAY), the_policy=to_plan()))
    for week, value, action, pounds_a_day in [
        (1, 950.0, HOLD, 0.75),  # 600-1,500 ppm
        (3, 2000.0, RAISE, 1.0),  # 4,000-6,000
        (5, 3900.0, CUT, 0.75),  # 3,000-5,000, sufficient at 1.0: back to 0.75
        (7, 3900.0, HOLD, 0.75),  # 3,000-5,000
        (9, 1100.0, RAISE, 1.0),  # 2,000-4,500
        (11, 2100.0, CUT, 0.75),  # 1,500-3,000
        (12, 1400.0, HOLD, 0.75),  # 1,000-2,000
    ]:
        found = petiole_advice(replay, value, week)
        assert found.recommendation.action is action, week
        assert one_rate(found) / A_DAY == pytest.approx(pounds_a_day), week


def test_the_shipped_policy_eases_back_step_by_step_where_georgias_rule_reads_as_one() -> None:
    """UGA-2021 gives two rates only. Easing half-way is the policy's own rule, and its trace line says so."""
    replay = Replay(support.season(the_plan=long_plan(0.75 * A_DAY)))
    assert one_rate(petiole_advice(replay, 2000.0, 4)) == pytest.approx(7.0)
    eased = [petiole_advice(replay, 4300.0, week) for week in (6, 8, 10)]
    assert [one_rate(advice) for advice in eased] == pytest.approx([6.125, 5.6875, 5.25])
    for advice in eased:
        found = line(advice.recommendation, "after recovery")
        assert (found.fired, found.evidence) == (True, Evidence.PROJECT_RULE)


# --- Georgia's leaf rule -------------------------------------------------------------------------------------


def leaf_replay(rate: float, policy: Policy) -> Replay:
    plan = long_plan(rate)
    return Replay(support.season(the_plan=plan, the_policy=policy, tables=(support.GEORGIA_LEAF,)))


@pytest.mark.parametrize(("soil", "rate", "raised"), [("sandy", 4.0, 6.0), ("heavier", 3.5, 5.25)])
def test_a_low_leaf_raises_by_half_for_two_weeks_and_the_retest_decides(
    soil: str, rate: float, raised: float
) -> None:
    """UGA-AESL: leaf N below 2.80 %, 50 % more for two weeks, then retest; 4 to 6 lb/week on sandy soil, 3.5 to
    5.25 on heavier soil."""
    replay = leaf_replay(rate, to_plan())
    first = replay.arrives(leaf(2.4, 3, record=1))
    assert (first.recommendation.action, one_rate(first)) == (RAISE, pytest.approx(raised)), soil
    assert [week.number for week in first.recommendation.weeks] == [4, 5]
    assert first.recommendation.next_sample == support.day_in(5, 2)
    retest = replay.arrives(leaf(3.2, 5, record=2))
    assert (retest.recommendation.standing_factor, one_rate(retest)) == (pytest.approx(1.5), rate)


def test_without_the_retest_the_plans_own_rate_runs_again_and_the_sample_is_overdue() -> None:
    """UGA-AESL: the raise is for two weeks."""
    replay = leaf_replay(4.0, support.policy())
    replay.arrives(leaf(2.4, 3, record=1))
    later = replay.asked(support.day_in(6, 5)).recommendation
    assert (later.action, later.standing_factor, later.factor) == (HOLD, 1.0, 1.0)
    assert later.rates_lb_ac == pytest.approx([4.0] * len(later.weeks))
    assert later.to_do[0].startswith("A sample is overdue")


def test_a_retest_still_low_raises_by_half_again_as_far_as_the_ceiling() -> None:
    """UGA-AESL gives one raise and a retest. Half again on 6 would be 9; the named rates end at 7 (UGA-2021)."""
    replay = leaf_replay(4.0, support.policy())
    replay.arrives(leaf(2.4, 3, record=1))
    found = replay.arrives(leaf(2.4, 5, record=2))
    assert (found.recommendation.sought, one_rate(found)) == (pytest.approx(2.25), pytest.approx(7.0))
    assert found.recommendation.binding == "ceiling"


@pytest.mark.parametrize("percent", [2.80, 3.80])
def test_a_leaf_on_an_edge_of_its_range_changes_nothing(percent: float) -> None:
    """UGA-AESL: below 2.80 % is low, so 2.80 % is not; 3.80 % is the upper end."""
    found = leaf_replay(4.0, support.policy()).arrives(leaf(percent, 3, record=1))
    assert (found.recommendation.action, one_rate(found)) == (HOLD, 4.0)


# --- greenhouse tomato held at a petiole target --------------------------------------------------------------

FAR_BELOW = 500.0
"""More than one band width below the band of every week from 3 to 10, where a raise is the largest [ppm]."""


def tomato(*, ceiling: float = 60.0, rate: float = 4.0) -> Replay:
    """Sampled every week; what was raised is kept, and no stop week, since the precedent has none."""
    policy = support.with_policy(support.policy(), after_recovery=Recovery.KEEP, no_raise_after_week=12.0)
    return Replay(support.season(the_plan=long_plan(rate, ceiling=ceiling), the_policy=policy))


def test_the_first_fall_raises_by_half_at_once_and_then_every_second_low_week_does() -> None:
    """TOMATO-SAP-1988: weekly sap test; 50 % more when sap first falls below target, afterwards only after two
    consecutive weeks below. Derived: five raises multiply the rate by 1.5^5 = 7.594."""
    replay = tomato()
    factors = []
    for week in range(3, 13):
        found = petiole_advice(replay, FAR_BELOW, week).recommendation
        low_weeks_since_the_raise = (week - 3) % 2
        assert found.action is (HOLD if low_weeks_since_the_raise else RAISE), week
        factors.append(found.factor)
    assert factors[::2] == pytest.approx([1.5, 1.5**2, 1.5**3, 1.5**4, 1.5**5])
    assert factors[1::2] == factors[::2]
    assert factors[-1] == pytest.approx(7.594, abs=5e-4)


def test_the_second_low_week_raises_by_half_though_it_is_not_far_below() -> None:
    """TOMATO-SAP-1988: 50 %. The first raise, 0.52 band widths below, is the policy's own 42 % between the 33 % of
    UGA-2021 and that; the precedent would take 50 % at once."""
    replay = tomato()
    steps = [petiole_advice(replay, 2300.0, week).recommendation for week in (5, 6, 7)]
    assert [found.action for found in steps] == [RAISE, HOLD, RAISE]
    assert steps[0].factor == pytest.approx(raise_size(2300.0) + 1, rel=1e-9)
    assert steps[0].factor == pytest.approx(1.42, abs=0.005)
    assert steps[2].factor / steps[2].standing_factor == pytest.approx(1.5)
    assert line(steps[2], "raise").source == "TOMATO-SAP-1988"


def test_five_raises_of_half_need_a_bound_on_the_rate() -> None:
    """TOMATO-SAP-1988, derived: 4 x 7.594 = 30.4 lb/week without a ceiling; with one it stays at 7 (UGA-2021),
    the factor does not wind up, and the first result in the band is eased from there."""
    replay = tomato(ceiling=7.0)
    rates = []
    for week in range(3, 11):
        found = petiole_advice(replay, FAR_BELOW, week)
        rates.append(one_rate(found))
        assert found.recommendation.factor <= 7.0 / 4.0 + 1e-9
    assert rates == pytest.approx([6.0, 6.0] + [7.0] * 6)
    replay.season = replace(replay.season, policy=support.policy())
    back = petiole_advice(replay, 3200.0, 12)
    assert back.recommendation.standing_factor == pytest.approx(1.75)
    assert one_rate(back) == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("values", "actions", "waits"),
    [
        # One low week, one in the band, then low: the count starts again, so only the second low week raises.
        ((500.0, 500.0, 3900.0, 500.0, 500.0), (RAISE, HOLD, HOLD, HOLD, RAISE), [3]),
        # Two weeks in the band do the same.
        ((500.0, 3900.0, 3900.0, 500.0, 500.0), (RAISE, HOLD, HOLD, HOLD, RAISE), [3]),
        # Low and in the band by turns: never two in a row, so never a second raise.
        ((500.0, 3900.0, 500.0, 3900.0, 500.0), (RAISE, HOLD, HOLD, HOLD, HOLD), [2, 4]),
    ],
)
def test_one_week_back_in_the_band_starts_the_count_again(
    values: tuple[float, ...], actions: tuple[Action, ...], waits: list[int]
) -> None:
    """TOMATO-SAP-1988: two consecutive weeks below target before a further raise."""
    replay = tomato()
    found = [petiole_advice(replay, value, week).recommendation for week, value in enumerate(values, start=4)]
    assert tuple(item.action for item in found) == actions
    assert [index for index, item in enumerate(found) if item.fired("twice in a row")] == waits
    assert found[-1].factor == pytest.approx(1.5 ** actions.count(RAISE))


def test_a_crop_that_is_always_low_is_raised_every_second_week_and_no_sooner() -> None:
    """TOMATO-SAP-1988: two consecutive weeks, so two weeks are the least there can be between raises; the
    precedent's crop was adjusted 4.5 weeks apart on average."""
    replay = tomato()
    raised = [
        week for week in range(3, 13) if petiole_advice(replay, FAR_BELOW, week).recommendation.action is RAISE
    ]
    gaps = [later - earlier for earlier, later in pairwise(raised)]
    assert gaps == [2, 2, 2, 2]


# --- a low petiole over soil that holds enough ---------------------------------------------------------------


def soil_test(ppm: float, on: date, record: int) -> Observation:
    return Observation(record, "north", on, Sight.SOIL_NITRATE, ppm)


def test_a_low_petiole_calls_for_nothing_until_the_soil_no_longer_holds_enough() -> None:
    """AGVISE-POTATO: a low petiole does not call for nitrogen while the soil test is above its threshold.
    HARTZ-2006 and HARTZ-2000: 20 to 25 mg/kg NO3-N for vegetables; the policy takes 20."""
    replay = Replay(
        support.season(the_plan=long_plan(5.25), observations=(soil_test(26.0, support.day_in(5), 601),))
    )
    for week in (5, 7):
        found = petiole_advice(replay, 1500.0, week)
        assert (found.recommendation.action, one_rate(found)) == (HOLD, 5.25), week
        weighed = line(found.recommendation, "weighed together")
        assert weighed.source == "HARTZ-2006; HARTZ-2000; AGVISE-POTATO"
        assert "low-soil-above" in weighed.saw
    test = soil_test(20.0, support.day_in(8), 602)
    replay.season = replace(replay.season, observations=(*replay.season.observations, test))
    found = petiole_advice(replay, 1500.0, 9)
    assert (found.recommendation.action, one_rate(found)) == (RAISE, pytest.approx(7.0))


def test_a_soil_test_too_old_to_count_holds_nothing_back() -> None:
    """AGVISE-POTATO and HARTZ-2006 name a present test; how long one counts is the policy's own."""
    old = soil_test(26.0, support.day_in(5), 601)
    days = int(support.policy().soil_nitrate_days.value)
    for beyond, action in ((0, HOLD), (1, RAISE)):
        sample = support.result(1500.0, record=1)
        known = old.on + timedelta(days=days + beyond)
        late = replace(sample, sampled=known - timedelta(days=3), received=known)
        replay = Replay(support.season(the_plan=long_plan(5.25), observations=(old,)))
        assert replay.arrives(late).recommendation.action is action


# --- how soon a change shows ---------------------------------------------------------------------------------


def after_change(days: int, nitrate_n: float) -> Advice:
    """Low in week 3 and raised; low again in a sample taken some days after the raised rate began to run."""
    replay = Replay(support.season(the_plan=long_plan(4.0, ceiling=60.0)))
    replay.season = replace(replay.season, products=(Product("mix", {"n": 20.0}, share=1.0, nitrate_n=nitrate_n),))
    first = petiole_advice(replay, 1500.0, 3).recommendation
    assert first.factor == pytest.approx(1.5)
    begun = first.weeks[0].start
    sampled = begun + timedelta(days=days)
    late = replace(support.result(1500.0, record=2), sampled=sampled, received=sampled + timedelta(days=1))
    return replay.arrives(late)


@pytest.mark.parametrize("days", [0, 2, 6])
def test_no_sample_within_a_week_of_a_change_is_read_as_its_response(days: int) -> None:
    """ROBERTS-1989: labelled nitrate is concentrated in petioles within one week of the application."""
    found = after_change(days, nitrate_n=20.0).recommendation
    assert found.fired("too soon")
    assert (found.action, found.factor) == (HOLD, pytest.approx(1.5))
    assert line(found, "too soon").source == "ROBERTS-1989"


@pytest.mark.parametrize(
    ("days", "nitrate_n", "action"),
    [(7, 20.0, RAISE), (7, 2.0, HOLD), (13, 2.0, HOLD), (14, 2.0, RAISE)],
)
def test_a_sample_a_week_after_nitrate_and_two_after_ammonium_is_read(
    days: int, nitrate_n: float, action: Action
) -> None:
    """ROBERTS-1989: nitrate within a week; it peaks 1 week to 10 days before as much ammonium."""
    found = after_change(days, nitrate_n).recommendation
    assert found.action is action
    assert found.factor == pytest.approx(2.25 if action is RAISE else 1.5)


def test_the_next_sample_after_a_change_is_not_due_before_it_can_show() -> None:
    """ROBERTS-1989: 7 days for nitrate, 14 for ammonium."""
    for nitrate_n, lag in ((20.0, 7), (2.0, 14)):
        replay = Replay(support.season(the_plan=long_plan(4.0)))
        mix = Product("mix", {"n": 20.0}, share=1.0, nitrate_n=nitrate_n)
        replay.season = replace(replay.season, products=(mix,))
        found = petiole_advice(replay, 1500.0, 3).recommendation
        assert (found.next_sample - found.weeks[0].start).days >= lag


# --- petiole and leaf ----------------------------------------------------------------------------------------


def both(petiole: float, percent: float, week: int) -> tuple[TissueResult, TissueResult]:
    return support.result(petiole, week, record=week), leaf(percent, week, record=50 + week)


@pytest.mark.parametrize(
    ("petiole", "percent", "action"),
    [
        (1500.0, 3.3, RAISE),
        (1500.0, 2.4, RAISE),
        (3900.0, 3.3, HOLD),
        (3900.0, 4.6, HOLD),
        (9000.0, 3.3, CUT),
        (9000.0, 4.6, CUT),
        # The two contradict each other, or the leaf is short of what the petiole shows on its way: no change.
        (1500.0, 4.6, HOLD),
        (9000.0, 2.2, HOLD),
        (3900.0, 2.4, HOLD),
    ],
)
def test_the_petiole_says_which_way_and_the_leaf_at_most_how_far(
    petiole: float, percent: float, action: Action
) -> None:
    """NCDA-2015 and NCDA-2023: petiole nitrate is the basis of the weekly rate; leaf analysis shows imbalances."""
    replay = Replay(support.season(the_plan=long_plan(4.0)))
    found = replay.arrives(*both(petiole, percent, 6))
    assert found.facts.primary is not None and found.facts.primary.tissue is Tissue.PETIOLE
    assert found.recommendation.action is action


def test_a_season_by_petiole_and_leaf_goes_by_the_petiole_while_there_is_a_fresh_one() -> None:
    """NCDA-2023: the petiole is the basis. A leaf that came later decides only once the petiole is stale."""
    replay = Replay(support.season(the_plan=long_plan(4.0)))
    steps = [
        (petiole_advice(replay, 3900.0, 5), Tissue.PETIOLE, HOLD),
        (replay.arrives(leaf(2.4, 6, record=61)), Tissue.PETIOLE, HOLD),
        (replay.arrives(leaf(2.4, 8, record=62)), Tissue.LEAF, RAISE),
        (petiole_advice(replay, 2600.0, 10), Tissue.PETIOLE, HOLD),
    ]
    for advice, tissue, action in steps:
        assert advice.facts.primary is not None and advice.facts.primary.tissue is tissue
        assert advice.recommendation.action is action


def test_samples_are_asked_for_every_two_weeks_and_after_one_week_when_unclear() -> None:
    """NCDA-2007 and NCDA-2015: every 2 weeks; NCDA-2023: every 1 to 2 weeks."""
    replay = Replay(support.season(the_plan=long_plan(5.25)))
    for week, value, days in ((3, 4900.0, 14), (5, 3050.0, 7), (6, 3900.0, 14)):
        found = petiole_advice(replay, value, week).recommendation
        assert (found.next_sample - support.day_in(week, 2)).days == days, week


def test_a_result_less_sure_than_the_confidence_asked_for_moves_nothing() -> None:
    """HORWITZ-1988 gives the laboratory's part, 4.8 % at 2,900 ppm; 80 % is the policy's own. 2,900 ppm is below
    the low limit of 3,000, but not surely; 2,500 is."""
    for value, action in ((2900.0, HOLD), (2500.0, RAISE)):
        replay = Replay(support.season(the_plan=long_plan(5.25)))
        assert petiole_advice(replay, value, 6).recommendation.action is action
