"""The ledger: what went out, over which weeks it is held against the plan, and what counts as spent."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fertadjust.ledger import Application, Ledger, Supply
from fertadjust.plan import Change, RatePath
from tests import support

PLAN = support.plan((4.2,) * 6)
EVEN = RatePath([])


def day_in(week: int, offset: int = 0) -> date:
    return support.day_in(week, offset)


def applied(on: date, n_lb_ac: float, record: int = 1) -> Application:
    return Application(record, "north", on, n_lb_ac)


def ledger(*items: Application, path: RatePath = EVEN) -> Ledger:
    return Ledger(PLAN, path, items)


def twice_a_week(weeks: range, n_lb_ac: float = 2.1) -> list[Application]:
    """The week's nitrogen in two injections, on its first and fourth day."""
    return [applied(day_in(week, offset), n_lb_ac) for week in weeks for offset in (0, 3)]


def supply(found: Supply | None) -> Supply:
    assert found is not None
    return found


# --- applied -------------------------------------------------------------------------------------------------


def test_applied_counts_the_first_and_the_last_day() -> None:
    book = ledger(applied(day_in(1), 1.0), applied(day_in(1, 3), 2.0), applied(day_in(2), 4.0))
    assert book.applied_lb_ac(day_in(1), day_in(1, 3)) == 3.0
    assert book.applied_lb_ac(day_in(1, 1), day_in(1, 2)) == 0
    assert book.applied_lb_ac(day_in(1, 3), day_in(2)) == 6.0


def test_applications_are_kept_in_order_of_day_and_record() -> None:
    items = [applied(day_in(2), 1.0, 3), applied(day_in(1), 1.0, 2), applied(day_in(2), 1.0, 1)]
    assert [(item.on, item.record) for item in ledger(*items).applications] == [
        (day_in(1), 2),
        (day_in(2), 1),
        (day_in(2), 3),
    ]


# --- aimed at ------------------------------------------------------------------------------------------------


def test_aimed_at_counts_each_day_as_a_seventh_of_its_week_with_the_first_and_the_last_day() -> None:
    raised = Change(day_in(1, 4), day_in(2), day_in(3, 6), 1.5, {2: 6.3, 3: 6.3})
    book = ledger(path=RatePath([raised]))
    assert book.aimed_lb_ac(day_in(1), day_in(1)) == pytest.approx(4.2 / 7)
    assert book.aimed_lb_ac(day_in(1, 5), day_in(2, 2)) == pytest.approx(2 * 0.6 + 3 * 0.9)
    assert book.aimed_lb_ac(day_in(1), day_in(4, 6)) == pytest.approx(4.2 + 6.3 + 6.3 + 4.2)


def test_nothing_is_aimed_at_outside_the_plan_or_in_no_days() -> None:
    book = ledger()
    assert book.aimed_lb_ac(day_in(-2), day_in(0, 6)) == 0
    assert book.aimed_lb_ac(day_in(7), day_in(9)) == 0
    assert book.aimed_lb_ac(day_in(0), day_in(7)) == pytest.approx(6 * 4.2)
    assert book.aimed_lb_ac(day_in(3, 1), day_in(3)) == 0


# --- one week ------------------------------------------------------------------------------------------------


def test_a_week_sets_applied_beside_its_target() -> None:
    row = ledger(*twice_a_week(range(1, 2), 2.0)).week(PLAN.weeks[0], day_in(2))
    assert (row.target_lb_ac, row.applied_lb_ac, row.logged) == (4.2, 4.0, True)
    assert row.difference_lb_ac == pytest.approx(-0.2)


def test_a_week_knows_only_what_was_applied_up_to_the_day() -> None:
    book = ledger(*twice_a_week(range(1, 2)))
    assert book.week(PLAN.weeks[0], day_in(1, 2)).applied_lb_ac == pytest.approx(2.1)
    assert book.week(PLAN.weeks[0], day_in(1, 3)).applied_lb_ac == pytest.approx(4.2)


def test_a_skipped_injection_is_logged_as_nothing_and_an_empty_week_is_not_logged() -> None:
    book = ledger(applied(day_in(1), 0.0))
    assert book.week(PLAN.weeks[0], day_in(2)).logged
    assert not book.week(PLAN.weeks[1], day_in(3)).logged


def test_the_target_is_the_decided_rate() -> None:
    raised = Change(day_in(1, 4), day_in(2), day_in(3, 6), 1.5, {2: 6.3, 3: 6.3})
    book = ledger(path=RatePath([raised]))
    assert [book.week(week, day_in(6)).target_lb_ac for week in PLAN.weeks[:4]] == [4.2, 6.3, 6.3, 4.2]


# --- supply before a sample ----------------------------------------------------------------------------------


def test_supply_covers_the_two_weeks_before_the_sample_and_ends_the_day_before() -> None:
    found = supply(ledger(*twice_a_week(range(1, 6))).supply_before(day_in(4, 2), 14))
    assert (found.start, found.end) == (day_in(2, 2), day_in(4, 1))
    assert found.planned_lb_ac == pytest.approx(8.4)
    assert found.share == pytest.approx(1.0)


@pytest.mark.parametrize("offset", range(7))
def test_the_weekday_of_the_sample_does_not_matter(offset: int) -> None:
    found = supply(ledger(*twice_a_week(range(1, 7))).supply_before(day_in(4, offset), 14))
    assert found.share == pytest.approx(1.0)


def test_supply_never_reaches_back_before_the_plan_and_is_cut_to_whole_weeks() -> None:
    book = ledger(*twice_a_week(range(1, 6)))
    assert book.supply_before(day_in(1, 6), 14) is None
    first = supply(book.supply_before(day_in(2), 14))
    assert (first.start, first.end, first.planned_lb_ac) == (day_in(1), day_in(1, 6), pytest.approx(4.2))
    later = supply(book.supply_before(day_in(2, 5), 14))
    assert (later.start, later.end) == (day_in(1, 5), day_in(2, 4))
    assert supply(book.supply_before(day_in(3), 14)).start == day_in(1)


def test_a_sample_before_the_plan_or_after_it_has_no_supply_to_judge() -> None:
    book = ledger(*twice_a_week(range(1, 7)))
    assert book.supply_before(day_in(-2), 14) is None
    assert book.supply_before(day_in(7), 14) is not None
    assert book.supply_before(day_in(7, 1), 14) is None


def test_fewer_days_than_a_week_are_no_window() -> None:
    book = ledger(*twice_a_week(range(1, 7)))
    assert book.supply_before(day_in(4), 6) is None
    assert supply(book.supply_before(day_in(4), 13)).start == day_in(3)


def test_planned_follows_the_decided_rates_through_the_window() -> None:
    raised = Change(day_in(2, 4), day_in(3), day_in(4, 6), 1.5, {3: 6.3, 4: 6.3})
    found = supply(ledger(path=RatePath([raised])).supply_before(day_in(4), 14))
    assert found.planned_lb_ac == pytest.approx(4.2 + 6.3)
    across = supply(ledger(path=RatePath([raised])).supply_before(day_in(3, 3), 7))
    assert across.planned_lb_ac == pytest.approx(4 * 4.2 / 7 + 3 * 6.3 / 7)


def test_missed_injections_show_as_a_share_of_the_plan() -> None:
    book = ledger(*twice_a_week(range(1, 3)), applied(day_in(3), 0.0), applied(day_in(3, 3), 2.1))
    assert supply(book.supply_before(day_in(4), 14)).share == pytest.approx(0.75)


def test_nothing_is_concluded_when_nothing_was_ever_logged() -> None:
    found = supply(ledger().supply_before(day_in(4), 14))
    assert (found.logged, found.share) == (False, None)


def test_a_log_kept_before_shows_an_empty_window_as_nothing_applied() -> None:
    found = supply(ledger(applied(day_in(1), 2.1)).supply_before(day_in(4), 14))
    assert (found.logged, found.share) == (True, 0.0)


def test_an_application_of_the_sampling_day_or_later_is_no_log_before_the_sample() -> None:
    found = supply(ledger(applied(day_in(4), 2.1)).supply_before(day_in(4), 14))
    assert (found.logged, found.applied_lb_ac) == (False, 0)


def test_where_nothing_was_planned_there_is_no_share() -> None:
    empty = Ledger(support.plan((0.0,) * 6), EVEN, [applied(day_in(1), 2.1)])
    assert supply(empty.supply_before(day_in(4), 14)).share is None


# --- spent ---------------------------------------------------------------------------------------------------


def test_a_past_week_with_nothing_logged_counts_as_applied_at_its_rate() -> None:
    assert ledger().spent_lb_ac(day_in(3)) == (0, pytest.approx(8.4))
    assert ledger().spent_lb_ac(day_in(3, 6)) == (0, pytest.approx(8.4))
    assert ledger().spent_lb_ac(day_in(4)) == (0, pytest.approx(12.6))


def test_a_logged_week_counts_as_logged_even_when_it_fell_short() -> None:
    book = ledger(applied(day_in(1, 1), 1.0))
    assert book.spent_lb_ac(day_in(2)) == (1.0, 0)
    assert book.spent_lb_ac(day_in(3)) == (1.0, pytest.approx(4.2))


def test_a_skipped_week_is_neither_applied_nor_assumed() -> None:
    assert ledger(applied(day_in(1), 0.0)).spent_lb_ac(day_in(2)) == (0, 0)


def test_assumed_weeks_count_at_the_decided_rate() -> None:
    raised = Change(day_in(1, 4), day_in(2), day_in(3, 6), 1.5, {2: 6.3, 3: 6.3})
    assert ledger(path=RatePath([raised])).spent_lb_ac(day_in(4))[1] == pytest.approx(4.2 + 6.3 + 6.3)


def test_what_is_applied_later_is_not_spent_yet() -> None:
    book = ledger(applied(day_in(1), 2.1), applied(day_in(5), 2.1))
    assert book.spent_lb_ac(day_in(1, 3)) == (2.1, 0)


def test_before_the_plan_nothing_is_spent() -> None:
    assert ledger().spent_lb_ac(day_in(0)) == (0, 0)


def test_nitrogen_applied_before_the_plan_counts_as_spent() -> None:
    assert ledger(applied(day_in(0), 3.0)).spent_lb_ac(day_in(1)) == (3.0, 0)


# --- the running week ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "rest"),
    [
        (day_in(2), 0.0),  # the week begins today: it is a coming week as a whole
        (day_in(2, 1), 2.1),
        (day_in(2, 2), 2.1),
        (day_in(2, 3), 0.0),
        (day_in(2, 6), 0.0),
        (day_in(3), 0.0),
        (day_in(3, 1), 4.2),
        (day_in(0, 3), 0.0),
        (day_in(7, 3), 0.0),
    ],
)
def test_rest_of_the_week_is_what_is_still_to_go_out(on: date, rest: float) -> None:
    book = ledger(*twice_a_week(range(2, 3)))
    assert book.rest_of_week_lb_ac(on) == pytest.approx(rest)


def test_more_than_the_weeks_rate_leaves_no_rest() -> None:
    assert ledger(applied(day_in(2), 9.0)).rest_of_week_lb_ac(day_in(2, 2)) == 0.0


def test_an_injection_of_the_weeks_first_day_is_ahead_of_the_week_and_on_no_other_day() -> None:
    book = ledger(*twice_a_week(range(2, 3)))
    assert book.ahead_lb_ac(day_in(2)) == pytest.approx(2.1)
    assert book.ahead_lb_ac(day_in(2, 3)) == 0.0
    assert book.ahead_lb_ac(day_in(1)) == 0.0
    assert book.ahead_lb_ac(day_in(9)) == 0.0


def test_every_day_of_a_season_fed_to_plan_comes_to_the_same_total() -> None:
    """Spent, the rest of the running week and the weeks to come: the whole plan, whatever the day."""
    book = ledger(*twice_a_week(range(1, 7)))
    for days in range(42):
        on = support.BLOOM + timedelta(days=days)
        known = Ledger(PLAN, EVEN, [item for item in book.applications if item.on <= on])
        logged, assumed = known.spent_lb_ac(on)
        total = logged - known.ahead_lb_ac(on) + assumed + known.rest_of_week_lb_ac(on)
        total += sum(week.rate_lb_ac for week in PLAN.coming_weeks(on))
        assert total == pytest.approx(6 * 4.2), on
