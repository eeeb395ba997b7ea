"""The plan's weeks, and the rate in force as decisions are made and run out."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest

from fertadjust.evidence import Evidence
from fertadjust.plan import Change, Credit, RatePath, Shift
from tests import support

PLAN = support.plan((3.5, 3.5, 5.25, 5.25, 5.25, 3.5))


def day_in(week: int, offset: int = 0) -> date:
    return support.day_in(week, offset)


def change(
    decided: date,
    factor: float,
    *,
    weeks: range = range(0),
    review: date | None = None,
    effective: date | None = None,
    record: int = 1,
    rates: dict[int, float] | None = None,
) -> Change:
    """A decision that takes effect with the first week after it and is reviewed two weeks on."""
    start = effective or decided + timedelta(days=-decided.weekday() % 7)
    return Change(
        decided,
        start,
        review or start + timedelta(days=10),
        factor,
        rates if rates is not None else {week: PLAN.rates_lb_ac[week - 1] * factor for week in weeks},
        record,
    )


# --- weeks ---------------------------------------------------------------------------------------------------


def test_weeks_are_numbered_from_one_and_run_seven_days_each() -> None:
    weeks = PLAN.weeks
    assert [week.number for week in weeks] == [1, 2, 3, 4, 5, 6]
    assert [week.rate_lb_ac for week in weeks] == list(PLAN.rates_lb_ac)
    assert weeks[0].start == support.BLOOM
    assert all(week.end - week.start == timedelta(days=6) for week in weeks)
    assert all(later.start - week.end == timedelta(days=1) for week, later in pairwise(weeks))


def test_the_plan_ends_with_the_last_day_of_its_last_week() -> None:
    assert PLAN.end == PLAN.weeks[-1].end == day_in(6, 6)


@pytest.mark.parametrize(
    ("on", "first"),
    [
        (day_in(-4), 1),
        (day_in(1), 1),
        (day_in(1, 1), 2),
        (day_in(2), 2),
        (day_in(3, 6), 4),
        (day_in(6), 6),
        (day_in(6, 1), None),
        (day_in(9), None),
    ],
)
def test_coming_weeks_begin_today_or_later(on: date, first: int | None) -> None:
    numbers = [week.number for week in PLAN.coming_weeks(on)]
    assert numbers == ([] if first is None else list(range(first, 7)))


@pytest.mark.parametrize(
    ("on", "number"),
    [
        (day_in(1), 1),
        (day_in(1, 6), 1),
        (day_in(2), 2),
        (day_in(6, 6), 6),
        (day_in(0, 6), None),
        (day_in(7), None),
        (day_in(-5), None),
    ],
)
def test_the_week_that_a_day_lies_in(on: date, number: int | None) -> None:
    week = PLAN.week_on(on)
    assert (None if week is None else week.number) == number


def test_credits_add_up() -> None:
    preplant = Credit("preplant", 60.0, "UGA-AESL", Evidence.PUBLISHED)
    rye = Credit("cover crop", 12.5, "own", Evidence.OWN)
    assert support.plan(credits_=(preplant, rye)).credits_lb_ac == 72.5
    assert PLAN.credits_lb_ac == 0


# --- the rate in force ---------------------------------------------------------------------------------------


def rates(path: RatePath) -> list[float]:
    return [path.rate_lb_ac(week) for week in PLAN.weeks]


def test_without_a_decision_the_plans_own_rate_applies() -> None:
    path = RatePath([])
    assert rates(path) == list(PLAN.rates_lb_ac)
    assert path.change_for(PLAN.weeks[2]) is None
    assert path.standing_factor(day_in(3)) == 1.0
    assert (path.overdue(day_in(3)), path.last_shift(day_in(3))) == (None, None)


def test_a_decision_covers_the_weeks_that_begin_before_its_review() -> None:
    raised = change(day_in(2, 5), 1.2, weeks=range(3, 5))
    path = RatePath([raised])
    assert rates(path) == pytest.approx([3.5, 3.5, 6.3, 6.3, 5.25, 3.5])
    covered = [path.change_for(week) for week in PLAN.weeks]
    assert covered == [None, None, raised, raised, None, None]


def test_a_week_that_begins_on_the_review_day_runs_at_the_plans_own_rate() -> None:
    path = RatePath([change(day_in(2, 5), 1.2, weeks=range(3, 6), review=day_in(5))])
    assert path.change_for(PLAN.weeks[3]) is not None
    assert path.change_for(PLAN.weeks[4]) is None
    assert path.rate_lb_ac(PLAN.weeks[4]) == 5.25


def test_a_covered_week_without_a_decided_rate_keeps_its_planned_one() -> None:
    path = RatePath([change(day_in(2, 5), 1.2, rates={3: 6.3})])
    assert rates(path) == pytest.approx([3.5, 3.5, 6.3, 5.25, 5.25, 3.5])


def test_a_later_decision_takes_over_from_its_own_first_week() -> None:
    first = change(day_in(1, 3), 1.4, weeks=range(2, 6), review=day_in(5, 3), record=1)
    second = change(day_in(3, 3), 1.1, weeks=range(4, 6), review=day_in(5, 3), record=2)
    assert rates(RatePath([first, second])) == pytest.approx([3.5, 4.9, 7.35, 5.775, 5.775, 3.5])


def test_where_a_later_decision_has_run_out_the_earlier_one_does_not_come_back() -> None:
    first = change(day_in(1, 3), 1.4, weeks=range(2, 7), review=day_in(6, 6), record=1)
    second = change(day_in(2, 3), 1.1, weeks=range(3, 4), review=day_in(3, 6), record=2)
    assert rates(RatePath([first, second])) == pytest.approx([3.5, 4.9, 5.775, 5.25, 5.25, 3.5])


def test_the_order_in_which_decisions_are_given_does_not_matter() -> None:
    first = change(day_in(1, 3), 1.4, weeks=range(2, 6), review=day_in(5, 3), record=1)
    second = change(day_in(3, 3), 1.1, weeks=range(4, 6), review=day_in(5, 3), record=2)
    one, other = RatePath([first, second]), RatePath([second, first])
    assert one.changes == other.changes
    assert rates(one) == rates(other)


def test_of_two_decisions_of_one_day_the_later_record_counts() -> None:
    first = change(day_in(2, 3), 1.4, weeks=range(3, 5), record=1)
    again = change(day_in(2, 3), 0.9, weeks=range(3, 5), record=2)
    path = RatePath([again, first])
    assert path.standing_factor(day_in(3)) == 0.9
    assert path.rate_lb_ac(PLAN.weeks[2]) == pytest.approx(5.25 * 0.9)


# --- the standing factor, and a change that ran out ----------------------------------------------------------

RAISED = change(day_in(2, 5), 1.2, weeks=range(3, 5))  # in force from week 3, reviewed on the Thursday of week 4


@pytest.mark.parametrize(
    ("on", "factor", "overdue"),
    [
        (day_in(2, 4), 1.0, None),
        (day_in(2, 5), 1.2, None),
        (day_in(3), 1.2, None),
        (day_in(4, 3), 1.2, None),
        (day_in(4, 4), 1.0, day_in(4, 3)),
        (day_in(6), 1.0, day_in(4, 3)),
    ],
)
def test_a_factor_stands_from_its_decision_to_its_review_and_is_overdue_after(
    on: date, factor: float, overdue: date | None
) -> None:
    path = RatePath([RAISED])
    assert path.standing_factor(on) == factor
    assert path.overdue(on) == overdue


def test_a_decision_to_stay_at_plan_is_never_overdue() -> None:
    path = RatePath([change(day_in(2, 5), 1.0)])
    assert path.overdue(day_in(6)) is None


def test_a_new_decision_ends_the_overdue_one() -> None:
    path = RatePath([RAISED, change(day_in(4, 5), 1.3, weeks=range(5, 6), record=2)])
    assert path.overdue(day_in(5)) is None
    assert path.standing_factor(day_in(5)) == 1.3
    assert path.standing_factor(day_in(4, 4)) == 1.0


# --- when the factor last moved ------------------------------------------------------------------------------


def test_a_raise_moves_the_factor_on_its_first_day_and_back_with_the_first_week_it_does_not_cover() -> None:
    path = RatePath([RAISED])
    assert path.last_shift(day_in(2, 4)) is None
    assert path.last_shift(day_in(2, 5)) == Shift(day_in(3), 1, 1.0)
    assert path.last_shift(day_in(4, 3)) == Shift(day_in(3), 1, 1.0)
    assert path.last_shift(day_in(4, 4)) == Shift(day_in(5), -1, 1.2, ran_out=True)


@pytest.mark.parametrize(
    ("review", "back"),
    [(day_in(3, 1), 4), (day_in(3, 6), 4), (day_in(4), 4), (day_in(4, 1), 5), (day_in(5), 5), (day_in(5, 3), 6)],
)
def test_the_move_back_is_the_day_on_which_the_rate_goes_back(review: date, back: int) -> None:
    path = RatePath([change(day_in(2, 5), 1.2, weeks=range(3, 7), review=review)])
    assert path.last_shift(day_in(9)) == Shift(day_in(back), -1, 1.2, ran_out=True)
    moved = [week.number for week in PLAN.weeks if path.rate_lb_ac(week) != week.rate_lb_ac]
    assert moved == list(range(3, back))


def test_a_cut_that_runs_out_is_a_move_upwards() -> None:
    path = RatePath([change(day_in(2, 5), 0.8, weeks=range(3, 5))])
    assert path.last_shift(day_in(3)) == Shift(day_in(3), -1, 1.0)
    assert path.last_shift(day_in(4, 4)) == Shift(day_in(5), 1, 0.8, ran_out=True)


def test_keeping_a_factor_is_no_move() -> None:
    kept = change(day_in(4, 2), 1.2, weeks=range(5, 6), record=2)
    assert RatePath([RAISED, kept]).last_shift(day_in(5)) == Shift(day_in(3), 1, 1.0)


def test_staying_at_plan_is_no_move() -> None:
    assert RatePath([change(day_in(2, 5), 1.0)]).last_shift(day_in(6)) is None


@pytest.mark.parametrize(("factor", "direction"), [(1.5, 1), (1.1, -1), (1.0, -1), (0.8, -1)])
def test_a_second_decision_moves_from_the_first_ones_factor(factor: float, direction: int) -> None:
    second = change(day_in(4, 2), factor, weeks=range(5, 6), record=2)
    assert RatePath([RAISED, second]).last_shift(day_in(5)) == Shift(day_in(5), direction, 1.2)


def test_after_one_has_run_out_a_new_decision_moves_from_the_plan() -> None:
    again = change(day_in(4, 5), 1.2, weeks=range(5, 6), record=2)
    assert RatePath([RAISED, again]).last_shift(day_in(5)) == Shift(day_in(5), 1, 1.0)
    stayed = change(day_in(4, 5), 1.0, record=2)
    assert RatePath([RAISED, stayed]).last_shift(day_in(5)) == Shift(day_in(5), -1, 1.2, ran_out=True)


def test_a_decision_of_a_later_day_is_not_known_yet() -> None:
    later = change(day_in(4, 2), 0.8, weeks=range(5, 6), record=2)
    path = RatePath([RAISED, later])
    assert path.last_shift(day_in(4, 1)) == Shift(day_in(3), 1, 1.0)
    assert path.standing_factor(day_in(4, 1)) == 1.2
