"""What a block needs and by when: each need where it arises and where it does not. All figures are invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.attention import Standing, attention_key, standing_of
from fertadjust.block_day import Phase
from fertadjust.evidence import Evidence
from fertadjust.ledger import Application
from fertadjust.needs import Matter, Need, Urgency, need_order
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Credit, Plan
from fertadjust.rules.facts import Action
from fertadjust.season import BlockSeason
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.support import BLOOM, SOUTHEAST, block, day_in, plan, policy, result, season, with_policy

LOW, INSIDE, HIGH = 900.0, 4000.0, 9000.0
"""Petiole NO3-N [ppm] below, within and above the band of week 6, 3000 to 5000."""

CAME = day_in(6, 5)
"""The Saturday on which the result sampled on Wednesday of week 6 came."""

CREDIT = (Credit("preplant", 20.0, "none", Evidence.OWN),)


def logged(weeks: Sequence[int] = range(1, 13), n: float = 5.25) -> tuple[Application, ...]:
    """One application on the Tuesday of each of some weeks."""
    return tuple(Application(100 + week, "north", day_in(week, 1), n) for week in weeks)


def kept(*results: TissueResult, the_plan: Plan | None = None, **rest: object) -> BlockSeason:
    """A season with every week logged, so that nothing is to be said about the ledger."""
    return season(*results, the_plan=the_plan, **{"applications": logged(), **rest})  # type: ignore[arg-type]


def change(
    decided: date, review: date, factor: float = 4 / 3, rate: float = 7.0, *, weeks: Sequence[int] = (7, 8)
) -> Change:
    first = min(weeks)
    return Change(decided, day_in(first), review, factor, dict.fromkeys(weeks, rate))


def about(standing: Standing, matter: Matter) -> list[Need]:
    return [need for need in standing.needs if need.matter is matter]


def only(standing: Standing, matter: Matter) -> Need:
    (need,) = about(standing, matter)
    return need


# --- the season cap ------------------------------------------------------------------------------------------


def capped(cap: float | None, on: date) -> Standing:
    """Six weeks of 5.25 logged and 20 credited, which is 51.5 lb/ac by the end of week 6."""
    return standing_of(kept(result(INSIDE), the_plan=plan(cap=cap, credits_=CREDIT)), on)


def test_a_passed_cap_comes_first_and_says_by_how_much() -> None:
    found = capped(50.0, day_in(7))
    assert found.needs[0] == (
        Urgency.TODAY,
        "The season cap of 50.00 lb N/ac is passed by 1.50 lb N/ac: nutrient law or the plan's own cap is "
        "exceeded. Stop feeding nitrogen and ask your advisor.",
        Matter.CAP_PASSED,
    )
    assert found.over_lb_ac == pytest.approx(1.5)
    assert found.left_lb_ac == 0.0


def test_a_cap_that_is_just_reached_is_not_passed() -> None:
    assert not about(capped(51.5, day_in(7)), Matter.CAP_PASSED)
    assert about(capped(51.49, day_in(7)), Matter.CAP_PASSED)


def test_without_a_cap_nothing_is_said_about_one() -> None:
    found = capped(None, day_in(7))
    assert not about(found, Matter.CAP_PASSED) + about(found, Matter.CAP_AHEAD)
    assert (found.cap_lb_ac, found.left_lb_ac, found.over_lb_ac) == (None, None, 0.0)


def test_a_cap_passed_by_weeks_that_nothing_is_logged_for_says_so() -> None:
    bare = season(result(INSIDE), the_plan=plan(cap=50.0, credits_=CREDIT))
    assert "Weeks without a log count at their rate." in only(standing_of(bare, day_in(7)), Matter.CAP_PASSED).text


def test_when_the_season_is_over_a_passed_cap_is_told_and_nobody_is_to_stop() -> None:
    told = only(capped(50.0, day_in(13)), Matter.CAP_PASSED)
    assert told.urgency is Urgency.WHEN_YOU_CAN
    assert "passed by 33.00 lb N/ac" in told.text
    assert told.text.endswith("is exceeded. Tell your advisor.")


def test_a_cap_that_the_rates_will_use_up_is_told_with_its_week() -> None:
    """On the Monday of week 7 51.5 are out; weeks 7 to 12 bring 31.5 more."""
    need = only(capped(82.0, day_in(7)), Matter.CAP_AHEAD)
    assert need.urgency is Urgency.THIS_WEEK
    assert "used up in week 12 of the plan, from 18 May, at the rates decided so far" in need.text
    assert not about(capped(83.0, day_in(7)), Matter.CAP_AHEAD)


def test_a_cap_that_the_running_week_uses_up_is_told_so() -> None:
    found = capped(54.0, day_in(7, 0) + timedelta(days=1))
    assert found.over_lb_ac > 0  # the week's injection is logged on that Tuesday
    short = kept(result(INSIDE), the_plan=plan(cap=54.0, credits_=CREDIT), applications=logged(range(1, 7)))
    need = only(standing_of(short, day_in(7, 1)), Matter.CAP_AHEAD)
    assert "used up in the running week" in need.text


def test_a_raise_uses_the_cap_up_earlier() -> None:
    raised = kept(
        result(INSIDE),
        the_plan=plan(cap=84.0, credits_=CREDIT),
        changes=(change(day_in(6, 5), day_in(9)),),
        applications=logged(range(1, 7)),
    )
    assert "in week 12" in only(standing_of(raised, day_in(7)), Matter.CAP_AHEAD).text


def test_the_rules_note_on_the_cap_is_not_said_beside_it() -> None:
    """The rules' own words on the cap are there, and only one of the two is shown."""
    found = standing_of(kept(result(LOW), the_plan=plan(cap=75.0, credits_=CREDIT)), CAME)
    assert any(text.startswith("The season cap") for text in found.recommendation.to_do)
    assert about(found, Matter.CAP_AHEAD)
    assert not any("season cap" in need.text for need in about(found, Matter.TO_DO))


def test_the_rules_remark_on_how_long_the_cap_lasts_is_no_need() -> None:
    found = standing_of(kept(result(LOW), the_plan=plan(cap=85.0, credits_=CREDIT)), CAME)
    assert not about(found, Matter.CAP_AHEAD)
    assert [text for text in found.recommendation.to_do if text.startswith("The season cap lasts")]
    assert not about(found, Matter.TO_DO)


# --- decisions -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (LOW, "Decide: raise nitrogen from 5.25 to 7.00 lb N/ac/week."),
        (HIGH, "Decide: cut nitrogen from 5.25 to 3.95 lb N/ac/week."),
    ],
)
def test_an_advice_to_change_asks_for_a_decision_today(value: float, text: str) -> None:
    found = standing_of(kept(result(value)), CAME)
    assert only(found, Matter.DECIDE) == (Urgency.TODAY, text, Matter.DECIDE)
    assert found.headline == text
    assert not about(found, Matter.WRITE_DOWN)


def test_metric_rates_are_in_kilograms() -> None:
    found = standing_of(kept(result(LOW), units=UnitSystem.METRIC), CAME)
    now, new = 5.25 * KG_HA_PER_LB_AC, 7.0 * KG_HA_PER_LB_AC
    assert only(found, Matter.DECIDE).text == f"Decide: raise nitrogen from {now:.2f} to {new:.2f} kg N/ha/week."


def test_an_advice_to_hold_asks_to_write_the_decision_down_this_week() -> None:
    found = standing_of(kept(result(INSIDE)), CAME)
    assert only(found, Matter.WRITE_DOWN) == (
        Urgency.THIS_WEEK,
        "The advice on the result that came in on 11 Apr is to hold nitrogen at 5.25 lb N/ac/week: write the "
        "decision down.",
        Matter.WRITE_DOWN,
    )
    assert not about(found, Matter.DECIDE)


def test_a_hold_that_was_decided_since_is_not_asked_for_again() -> None:
    held = change(CAME, day_in(8, 5), 1.0, 5.25)
    assert not about(
        standing_of(kept(result(INSIDE), changes=(held,)), CAME + timedelta(days=1)), Matter.WRITE_DOWN
    )
    early = change(CAME - timedelta(days=1), day_in(8, 5), 1.0, 5.25)
    assert about(standing_of(kept(result(INSIDE), changes=(early,)), CAME), Matter.WRITE_DOWN)


@pytest.mark.parametrize("value", [LOW, INSIDE, HIGH])
def test_a_decision_of_the_day_silences_what_asks_for_one(value: float) -> None:
    decided = standing_of(kept(result(value), changes=(change(CAME, day_in(8, 5)),)), CAME)
    left = standing_of(kept(result(value), left=(CAME,)), CAME)
    for found in (decided, left):
        matters = {need.matter for need in found.needs}
        assert not matters & {Matter.DECIDE, Matter.RAN_OUT, Matter.WRITE_DOWN}
    assert decided.decided_lb_ac is not None
    assert decided.decided_lb_ac[0] == 7.0
    assert decided.headline == "Decided today: 7.00 lb N/ac/week."
    assert left.decided_lb_ac is not None
    assert set(left.decided_lb_ac) == {5.25}


def test_an_advice_that_was_left_is_asked_for_again_with_the_day() -> None:
    found = standing_of(kept(result(LOW), left=(CAME,)), CAME + timedelta(days=1))
    assert only(found, Matter.DECIDE).text.endswith("lb N/ac/week (the advice was left on 11 Apr).")
    before = standing_of(kept(result(LOW), left=(CAME - timedelta(days=1),)), CAME)
    assert "left" not in only(before, Matter.DECIDE).text


def test_what_was_answered_already_can_wait_until_something_comes_in() -> None:
    """Another rate was decided on the same result: the advice is told with the day, and no longer as due today."""
    own = change(CAME, day_in(8, 5), 1.0, 5.25)
    one = kept(result(LOW), changes=(own,))
    found = standing_of(one, CAME + timedelta(days=1))
    need = only(found, Matter.DECIDE)
    assert need.urgency is Urgency.WHEN_YOU_CAN
    assert need.text.endswith("lb N/ac/week (you decided otherwise on 11 Apr).")
    seen = Observation(70, "north", CAME + timedelta(days=1), Sight.OTHER, None, "pale leaves")
    again = standing_of(replace(one, observations=(seen,)), CAME + timedelta(days=1))
    assert only(again, Matter.DECIDE).urgency is Urgency.TODAY
    newer = replace(one, results=(*one.results, result(LOW, 7, record=2, delay=1)))
    assert only(standing_of(newer, day_in(7, 3)), Matter.DECIDE).urgency is Urgency.TODAY


def test_a_decision_on_a_result_that_was_undone_is_to_be_made_again() -> None:
    cut = kept(result(INSIDE), changes=(change(CAME, day_in(8, 5), 0.75, 3.95),))
    on = CAME + timedelta(days=1)
    assert not about(standing_of(cut, on), Matter.UNDONE)
    assert only(standing_of(cut, on, CAME), Matter.UNDONE) == (
        Urgency.TODAY,
        "The decision of 11 Apr rests on a result that was corrected or voided since: look at the advice and "
        "decide again.",
        Matter.UNDONE,
    )
    assert not about(standing_of(cut, CAME, CAME), Matter.UNDONE), "decided again on that very day"


def test_left_on_the_review_date_a_change_runs_out_all_the_same() -> None:
    review = day_in(8, 5)
    raised = (change(CAME, review),)
    on = review + timedelta(days=2)
    left = kept(result(LOW), result(INSIDE, 8, record=2, offset=1, delay=2), changes=raised, left=(review,))
    found = standing_of(left, on)
    assert set(found.in_force_lb_ac) == {5.25}
    assert only(found, Matter.DECIDE).text.startswith("The change of 11 Apr ran out on 25 Apr: the advice is to ")
    assert "without a decision 5.25 runs" in found.headline


def test_a_hold_that_goes_on_only_by_a_decision_is_told_before_the_week_begins() -> None:
    """Raised to week 8; the review is on the Monday of week 9, so that week 9 runs at the plan's own rate."""
    review = day_in(9)
    one = kept(result(LOW), result(INSIDE, 8, record=2, offset=1, delay=2), changes=(change(CAME, review),))
    for on, urgency in ((day_in(8, 4), Urgency.THIS_WEEK), (review, Urgency.TODAY)):
        found = standing_of(one, on)
        if found.recommendation.action is Action.HOLD and found.in_force_lb_ac:
            need = only(found, Matter.DECIDE)
            assert need.urgency is urgency
            assert "without a decision 5.25 runs" in need.text


def test_the_day_of_a_sample_that_was_agreed_with_a_change_stays() -> None:
    """Review less three days for the laboratory and two for a late result, whatever is advised between."""
    review = day_in(8, 5)
    agreed = review - timedelta(days=3 + 2)
    raised = kept(result(LOW), changes=(change(CAME, review),))
    for days in range(1, 10):
        assert standing_of(raised, CAME + timedelta(days=days)).next_sample == agreed
    answered = replace(raised, results=(*raised.results, result(INSIDE, 8, record=2, delay=1)))
    assert standing_of(answered, day_in(8, 4)).next_sample != agreed


def test_advice_that_nobody_decided_on_puts_no_sample_off() -> None:
    low = kept(result(LOW))
    due = low.results[0].sampled + timedelta(days=int(policy().sample_days.value))
    for days in range(8):
        on = CAME + timedelta(days=days)
        assert standing_of(low, on).recommendation.next_sample >= due
        assert standing_of(low, on).next_sample == due


def test_with_the_cap_used_up_nobody_is_told_to_apply_what_is_planned() -> None:
    short = kept(result(LOW), the_plan=plan(cap=51.5, credits_=CREDIT), applications=logged(range(1, 7), 2.0))
    found = standing_of(short, CAME)
    applied = [text for text in found.recommendation.to_do if text.startswith("Apply what is planned")]
    told = [need.text for need in found.needs if need.text.startswith("Apply what is planned")]
    used_up = kept(result(LOW), the_plan=plan(cap=32.0, credits_=CREDIT), applications=logged(range(1, 7), 2.0))
    assert applied
    assert told == applied
    assert not [need for need in standing_of(used_up, CAME).needs if need.text.startswith("Apply what is planned")]


def test_a_review_after_the_last_week_has_begun_is_not_told() -> None:
    last = kept(result(INSIDE, 11), changes=(change(day_in(11, 5), day_in(12, 3), weeks=(12,)),))
    found = standing_of(last, day_in(12, 1))
    assert found.review is None
    assert not about(found, Matter.REVIEW_SOON)


def test_a_change_that_ran_out_asks_for_a_decision_from_the_day_after() -> None:
    review = day_in(8, 5)
    raised = kept(result(LOW), changes=(change(CAME, review),))
    assert not about(standing_of(raised, review), Matter.RAN_OUT)
    found = standing_of(raised, review + timedelta(days=1))
    assert only(found, Matter.RAN_OUT) == (
        Urgency.TODAY,
        "The change of 11 Apr ran out on 25 Apr with no new decision: the plan's own rate applies again until you "
        "decide.",
        Matter.RAN_OUT,
    )
    assert (found.ran_out, found.review) == (review, None)


def test_a_change_that_ran_out_although_its_result_came_in_time_is_told_as_well() -> None:
    """The rules count on from the raised rate, but its weeks are over: only a decision keeps it."""
    review = day_in(8, 5)
    answered = kept(result(LOW), result(INSIDE, 8, record=2, offset=1, delay=2), changes=(change(CAME, review),))
    found = standing_of(answered, review + timedelta(days=1))
    assert answered.facts(review + timedelta(days=1)).overdue is None
    assert only(found, Matter.DECIDE)[:2] == (
        Urgency.TODAY,
        "The change of 11 Apr ran out on 25 Apr: the advice is to cut nitrogen to 6.15 lb N/ac/week; without a "
        "decision 5.25 runs.",
    )
    assert set(found.in_force_lb_ac) == {5.25}
    assert not about(found, Matter.RAN_OUT) + about(found, Matter.WRITE_DOWN)


def test_a_hold_that_ran_out_and_a_change_that_was_left_since_are_not_told() -> None:
    review = day_in(8, 5)
    held = kept(result(INSIDE), changes=(change(CAME, review, 1.0, 5.25),))
    left = kept(result(LOW), changes=(change(CAME, review),), left=(review + timedelta(days=1),))
    for one in (held, left):
        assert not about(standing_of(one, review + timedelta(days=2)), Matter.RAN_OUT)


def test_a_review_is_told_three_days_ahead() -> None:
    review = day_in(8, 5)
    raised = kept(result(LOW), changes=(change(CAME, review),))
    assert not about(standing_of(raised, review - timedelta(days=4)), Matter.REVIEW_SOON)
    for days, urgency in ((3, Urgency.THIS_WEEK), (0, Urgency.TODAY)):
        found = standing_of(raised, review - timedelta(days=days))
        assert only(found, Matter.REVIEW_SOON) == (
            urgency,
            "Review the rate on Sat 25 Apr 2026: the change of 11 Apr runs out then.",
            Matter.REVIEW_SOON,
        )
        assert found.review == review
    assert not about(standing_of(raised, review + timedelta(days=1)), Matter.REVIEW_SOON)


def test_the_review_of_a_hold_has_nothing_that_runs_out() -> None:
    review = day_in(8, 5)
    held = kept(result(INSIDE), changes=(change(CAME, review, 1.0, 5.25),))
    assert only(standing_of(held, review), Matter.REVIEW_SOON).text == "Review the rate on Sat 25 Apr 2026."


# --- sampling ------------------------------------------------------------------------------------------------


def test_without_a_result_a_sample_is_asked_for_from_the_first_day_of_the_plan() -> None:
    found = standing_of(kept(), BLOOM)
    assert only(found, Matter.SAMPLE) == (
        Urgency.TODAY,
        "Sample now: there is no usable result to decide on.",
        Matter.SAMPLE,
    )
    assert not about(found, Matter.TO_DO)
    assert found.reading is None
    assert found.age_days is None


def test_a_sample_is_told_ahead_then_due_then_the_result_is_too_old() -> None:
    """The policy samples every 14 days, and a result older than 14 days decides nothing."""
    held = kept(result(INSIDE), changes=(change(CAME, day_in(9), 1.0, 5.25),))
    due = day_in(8, 2)
    assert not standing_of(held, due - timedelta(days=4)).needs
    soon = only(standing_of(held, due - timedelta(days=3)), Matter.SAMPLE_SOON)
    assert soon[:2] == (Urgency.THIS_WEEK, "Take the next sample on Wed 22 Apr 2026.")
    today = standing_of(held, due)
    assert only(today, Matter.SAMPLE)[:2] == (
        Urgency.TODAY,
        "Sample today: the next sample is due, the last one is 14 days old.",
    )
    assert not today.stale
    late = standing_of(held, due + timedelta(days=1))
    assert only(late, Matter.SAMPLE)[:2] == (
        Urgency.TODAY,
        "Sample now: the latest result is 15 days old, too old to decide on.",
    )
    assert late.stale
    for found in (today, late):
        assert not about(found, Matter.SAMPLE_SOON) + about(found, Matter.TO_DO)


def test_an_overdue_sample_is_asked_for_once() -> None:
    """Under a policy with patience the result is not too old, and the rules call the sample overdue."""
    patient = with_policy(policy(), stale_days=40, sample_days=30)
    raised = kept(result(LOW), the_policy=patient, changes=(change(CAME, day_in(8, 5)),))
    found = standing_of(raised, day_in(8, 6))
    assert any("overdue" in text for text in found.recommendation.to_do)
    assert only(found, Matter.SAMPLE).text == "Sample now: a sample is overdue, the last one is 18 days old."
    assert not about(found, Matter.TO_DO)


def test_a_result_near_an_edge_asks_for_a_sooner_sample_once() -> None:
    near = kept(result(3000), changes=(change(CAME, day_in(9), 1.0, 5.25),))
    early, soon = standing_of(near, CAME), standing_of(near, CAME + timedelta(days=1))
    assert [need.text[:19] for need in about(early, Matter.TO_DO)] == ["Sample again sooner"]
    assert not about(early, Matter.SAMPLE_SOON)
    assert about(soon, Matter.SAMPLE_SOON)
    assert not about(soon, Matter.TO_DO)


def test_no_sample_is_asked_for_whose_result_could_change_no_week() -> None:
    """Week 12 begins on 18 May; a result takes three days."""
    bare = kept()
    last = day_in(12) - timedelta(days=3)
    assert about(standing_of(bare, last), Matter.SAMPLE)
    late = standing_of(bare, last + timedelta(days=1))
    assert not about(late, Matter.SAMPLE)
    assert late.next_sample is None
    assert not late.needs


def test_no_sample_is_asked_for_where_it_would_have_no_band() -> None:
    """Bloom is a month after feeding began: the calendar of the table has not begun."""
    later = StageDates({"first_bloom": BLOOM + timedelta(days=28)}, plan().end)
    found = standing_of(kept(stages=later, tables=(SOUTHEAST,)), BLOOM + timedelta(days=7))
    assert not about(found, Matter.SAMPLE)
    need = only(found, Matter.NO_BAND)
    assert need.urgency is Urgency.WHEN_YOU_CAN
    assert need.text.startswith("A sample taken today would have no band: ")


# --- what else is to be done ---------------------------------------------------------------------------------


def test_weeks_without_a_log_are_counted_and_named() -> None:
    held = (change(CAME, day_in(9), 1.0, 5.25),)
    found = standing_of(kept(result(INSIDE), changes=held, applications=logged([1, 4, 6, 7])), day_in(7, 3))
    assert found.not_logged == (2, 3, 5)
    assert only(found, Matter.NOT_LOGGED) == (
        Urgency.WHEN_YOU_CAN,
        "Nothing is logged for 3 past weeks (weeks 2 to 3 and 5).",
        Matter.NOT_LOGGED,
    )


def test_a_week_is_past_on_the_day_after_its_last() -> None:
    one = kept(result(INSIDE), applications=logged([1, 2, 3, 4, 5]))
    assert standing_of(one, day_in(6, 6)).not_logged == ()
    assert standing_of(one, day_in(7)).not_logged == (6,)
    assert "1 past week (week 6)" in only(standing_of(one, day_in(7)), Matter.NOT_LOGGED).text


def test_a_week_that_feeds_nothing_needs_no_log_and_a_skipped_one_is_logged_as_nothing() -> None:
    pause = kept(result(INSIDE), the_plan=plan((5.25, 0.0, 5.25) * 4), applications=logged([1, 3, 4, 6]))
    assert standing_of(pause, day_in(7)).not_logged == ()
    skipped = kept(result(INSIDE), applications=(*logged([1, 2, 3, 4, 5]), *logged([6], 0.0)))
    assert standing_of(skipped, day_in(7)).not_logged == ()


def test_a_log_that_the_rules_ask_for_is_more_urgent_and_said_once() -> None:
    found = standing_of(season(result(LOW)), CAME)
    need = only(found, Matter.NOT_LOGGED)
    assert need.urgency is Urgency.THIS_WEEK
    assert need.text == (
        "Log what was applied: a missed injection would explain a low result. Nothing is logged for 5 past weeks "
        "(weeks 1 to 5)."
    )
    assert not about(found, Matter.TO_DO)


def test_what_the_rules_ask_for_besides_is_to_do_this_week() -> None:
    seen = Observation(9, "north", CAME, Sight.WATERLOGGED, None, "")
    found = standing_of(kept(result(INSIDE, petioles=None), observations=(seen,)), CAME)
    assert [need[:2] for need in about(found, Matter.TO_DO)] == [
        (Urgency.THIS_WEEK, "Note the number of petioles with the next sample."),
        (Urgency.THIS_WEEK, "See to the roots first: waterlogged."),
    ]


def test_a_result_that_plays_no_part_is_told_for_two_weeks_or_until_a_decision() -> None:
    sap = result(450, 6, record=2, basis=Basis.SAP, delay=0)
    known = sap.known_on
    decided = (change(known, day_in(9), 1.0, 5.25),)
    undecided = standing_of(kept(sap), known + timedelta(days=30))
    assert only(undecided, Matter.NOT_USED).urgency is Urgency.WHEN_YOU_CAN
    assert "A result plays no part: it is petiole NO3-N, fresh sap 450 mg/L of 8 Apr" in undecided.needs[-1].text
    for days, told in ((14, True), (15, False)):
        found = standing_of(kept(sap, changes=decided), known + timedelta(days=days))
        assert bool(about(found, Matter.NOT_USED)) is told
    assert not about(standing_of(kept(sap), known - timedelta(days=1)), Matter.NOT_USED)


def test_several_results_that_play_no_part_are_one_need() -> None:
    saps = [result(450 + week, week, record=week, basis=Basis.SAP) for week in (4, 5, 6)]
    text = only(standing_of(kept(*saps), CAME), Matter.NOT_USED).text
    assert text.startswith("3 results play no part: the latest is petiole NO3-N, fresh sap 456 mg/L of 8 Apr")


# --- before and after the plan -------------------------------------------------------------------------------


def test_before_the_plan_nothing_is_asked_for_but_a_first_sample_in_its_last_week() -> None:
    text = "Take a first sample before feeding begins on Mon 2 Mar 2026."
    soon = standing_of(season(), BLOOM - timedelta(days=1))
    assert soon.phase is Phase.TO_COME
    if not soon.needs:  # no table in use has a band on that day
        assert soon.headline == "The plan begins on Mon 2 Mar 2026."
    else:
        assert only(soon, Matter.SAMPLE_SOON)[:2] == (Urgency.THIS_WEEK, text)
        assert soon.headline == text
    found = standing_of(season(), BLOOM - timedelta(days=8))
    assert (found.phase, found.needs, found.headline) == (
        Phase.TO_COME,
        (),
        "The plan begins on Mon 2 Mar 2026.",
    )


@pytest.mark.parametrize("value", [LOW, INSIDE, HIGH])
def test_after_the_plan_nothing_is_asked_for_today(value: float) -> None:
    over = kept(result(value, 11), changes=(change(day_in(11, 5), day_in(13, 5), weeks=(12,)),))
    end = over.plan.end
    assert standing_of(over, end).phase is Phase.RUNNING
    found = standing_of(over, end + timedelta(days=1))
    assert (found.phase, found.needs, found.headline) == (Phase.OVER, (), "The plan ended on Sun 24 May 2026.")
    assert (found.review, found.next_sample, found.distance) == (None, None, 0.0)


def test_after_the_plan_the_ledger_can_still_be_filled_in() -> None:
    found = standing_of(season(result(INSIDE)), day_in(14))
    assert [need.matter for need in found.needs] == [Matter.NOT_LOGGED]
    assert found.urgency is Urgency.WHEN_YOU_CAN


def test_in_the_last_week_no_decision_is_asked_for() -> None:
    found = standing_of(kept(result(LOW, 11)), day_in(12, 1))
    assert found.needs == ()
    assert found.headline == "Nothing to do: no week of the plan is left to change."


# --- how it stands -------------------------------------------------------------------------------------------


def test_how_far_out_of_the_band_is_told_in_band_widths() -> None:
    """ln(3000/900) / ln(5000/3000) and ln(9000/5000) / ln(5000/3000), by hand."""
    assert standing_of(kept(result(LOW)), CAME).distance == pytest.approx(2.3569, abs=1e-4)
    assert standing_of(kept(result(HIGH)), CAME).distance == pytest.approx(1.1507, abs=1e-4)
    assert standing_of(kept(result(INSIDE)), CAME).distance == 0.0
    assert standing_of(kept(), CAME).distance == 0.0


def test_a_bound_that_does_not_tell_its_side_lies_nowhere() -> None:
    untold = standing_of(kept(result(4000, censor=Censor.BELOW)), CAME)
    assert untold.comparison is not None
    assert untold.comparison.side is None
    assert untold.distance == 0.0
    assert standing_of(kept(result(LOW, censor=Censor.BELOW)), CAME).distance > 2


def test_a_band_with_one_edge_has_a_distance_too() -> None:
    """California states a minimum alone."""
    one = kept(result(150), tables=("strawberry-petiole-dry-california",))
    one = replace(one, stages=StageDates({"pre_harvest": BLOOM, "main_harvest": day_in(5)}, one.plan.end))
    found = standing_of(one, CAME)
    assert found.comparison is not None
    assert found.comparison.position is None
    assert found.distance > 0


def test_standing_and_advice_say_the_same() -> None:
    for value in (LOW, 3000.0, INSIDE, HIGH):
        one = kept(result(value))
        assert standing_of(one, CAME).recommendation == one.advice(CAME).recommendation


def test_nitrogen_so_far_counts_credits_and_the_rest_of_the_week() -> None:
    one = kept(the_plan=plan(cap=100.0, credits_=CREDIT), applications=logged(range(1, 7), 5.0))
    found = standing_of(one, day_in(7, 3))
    assert found.so_far_lb_ac == pytest.approx(20 + 6 * 5 + 5.25)
    assert found.left_lb_ac == pytest.approx(100 - 55.25)


# --- order ---------------------------------------------------------------------------------------------------


BASE = standing_of(kept(result(INSIDE)), CAME)


def named(name: str, *needs: Need, out: float = 0.0) -> Standing:
    return replace(BASE, block=block(key=name, name=name), needs=needs, distance=out)


def need(urgency: Urgency, matter: Matter) -> Need:
    return Need(urgency, "text", matter)


def test_the_most_urgent_comes_first_then_the_matter_then_the_distance_then_the_order_given() -> None:
    today, week = Urgency.TODAY, Urgency.THIS_WEEK
    given_order = [
        named("fine, out", out=3.0),
        named("fine"),
        named("week", need(week, Matter.REVIEW_SOON), out=9.0),
        named("sample", need(today, Matter.SAMPLE), out=5.0),
        named("decide, near", need(today, Matter.DECIDE), out=0.5),
        named("decide, far", need(today, Matter.DECIDE), out=1.5),
        named("decide, near too", need(today, Matter.DECIDE), out=0.5),
        named("cap", need(today, Matter.CAP_PASSED)),
    ]
    assert [item.block.key for item in sorted(given_order, key=attention_key)] == [
        *("cap", "decide, far", "decide, near", "decide, near too", "sample", "week", "fine, out", "fine")
    ]


def test_the_needs_of_a_block_are_in_order() -> None:
    found = standing_of(
        season(result(LOW), result(450, 6, record=2, basis=Basis.SAP), the_plan=plan(cap=40.0, credits_=CREDIT)),
        CAME,
    )
    assert list(found.needs) == sorted(found.needs, key=need_order)
    assert {item.urgency for item in found.needs} == set(Urgency)


NEEDS = st.lists(st.builds(need, st.sampled_from(Urgency), st.sampled_from(Matter)), max_size=4)


@given(st.lists(st.tuples(NEEDS, st.floats(0, 5)), max_size=12))
def test_sorting_keeps_every_block_and_puts_the_urgent_first(drawn: list[tuple[list[Need], float]]) -> None:
    given_order = [
        named(str(index), *sorted(needs, key=need_order), out=out) for index, (needs, out) in enumerate(drawn)
    ]
    found = sorted(given_order, key=attention_key)
    assert sorted(item.block.key for item in found) == sorted(item.block.key for item in given_order)
    ranks = [len(Urgency) if one.urgency is None else list(Urgency).index(one.urgency) for one in found]
    assert ranks == sorted(ranks)
    assert sorted(found, key=attention_key) == found
    keys = [attention_key(item) for item in given_order]
    for one, other in pairwise(found):
        if attention_key(one) == attention_key(other):
            assert given_order.index(one) < given_order.index(other)
    assert sorted(keys) == [attention_key(item) for item in found]


def test_a_cut_before_a_raise_runs_out_is_to_be_decided_at_once() -> None:
    """The raise runs one more week and would then end by itself; the cut is advised from that week on."""
    raised = (change(day_in(3, 2), day_in(5, 2), weeks=(4, 5)),)
    one = season(result(6659.0, 2), changes=raised, applications=logged([1, 2]))
    found = standing_of(one, day_in(4, 1))
    assert found.recommendation.action is Action.CUT
    (need,) = about(found, Matter.DECIDE)
    assert need.text.startswith("Decide: cut nitrogen")


def test_a_raise_on_an_own_rate_off_the_metering_step_is_to_be_decided_at_once() -> None:
    """The rate in force is 4.72, which the rules would meter as 4.70: that is no change running out."""
    own = Change(day_in(5, 3), day_in(6), day_in(8, 2), 4.72 / 5.25, dict.fromkeys((6, 7, 8), 4.72), 5)
    one = season(result(900.0, 6, offset=5, delay=2), changes=(own,), applications=logged([1, 2, 3, 4, 5, 6]))
    found = standing_of(one, day_in(7))
    assert found.recommendation.action is Action.RAISE
    (need,) = about(found, Matter.DECIDE)
    assert (need.urgency, need.text[:13]) == (Urgency.TODAY, "Decide: raise")


def test_the_sample_that_was_agreed_stays_where_the_policy_waits_otherwise_since() -> None:
    review, agreed = day_in(8, 5), day_in(8, 2)
    stored = replace(change(CAME, review), sample=agreed)
    assert standing_of(kept(result(LOW), changes=(stored,)), CAME + timedelta(days=3)).next_sample == agreed


@settings(deadline=None)
@given(
    value=st.floats(200, 20000),
    week=st.integers(1, 12),
    later=st.integers(0, 120),
    cap=st.sampled_from([None, 30.0, 60.0, 100.0]),
    decided=st.booleans(),
)
def test_whatever_the_day_no_need_is_said_twice_and_they_are_in_order(
    value: float, week: int, later: int, cap: float | None, decided: bool
) -> None:
    on = BLOOM + timedelta(days=later - 10)
    changes = (change(day_in(3, 2), day_in(5, 2), weeks=(4, 5)),) if decided else ()
    one = season(result(value, week), the_plan=plan(cap=cap), changes=changes, applications=logged([1, 2]))
    found = standing_of(one, on)
    texts = [item.text for item in found.needs]
    assert len(texts) == len(set(texts))
    assert all(text[0].isupper() and text.endswith((".", ")")) for text in texts)
    assert list(found.needs) == sorted(found.needs, key=need_order)
    pairs = zip(found.in_force_lb_ac, found.recommendation.rates_lb_ac, strict=True)
    moves = any(abs(now - new) > 1e-6 for now, new in pairs) and not one.decided_on(on)
    if found.phase is Phase.OVER or on < one.plan.start - timedelta(days=7):
        assert found.urgency in (None, Urgency.WHEN_YOU_CAN)
    elif found.recommendation.action is not Action.HOLD:
        assert bool(about(found, Matter.DECIDE)) is moves
    elif about(found, Matter.DECIDE):
        assert moves
    assert found == standing_of(one, on)
