"""The weekly table: rates before and after, amounts for the block, running totals and the season cap."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fertadjust.evidence import Evidence
from fertadjust.ledger import Application
from fertadjust.mixes import Mixes
from fertadjust.plan import Change, Credit, Plan
from fertadjust.weekly import WeekAmounts, weekly_amounts
from tests import support

PLAN = support.plan((3.5, 5.25, 5.25, 0.0))
ACRES = support.block().area_ac()


def table(
    plan: Plan = PLAN,
    after: dict[int, float] | None = None,
    *,
    spent: float = 0.0,
    stage_of: dict[int, str] | None = None,
) -> list[WeekAmounts]:
    before = {week.number: week.rate_lb_ac for week in plan.weeks}
    return weekly_amounts(
        support.block(),
        plan,
        Mixes.same(support.products()),
        plan.weeks,
        before,
        before if after is None else before | after,
        spent,
        {} if stage_of is None else stage_of,
    )


def test_one_row_a_week_in_order() -> None:
    rows = table(stage_of={1: "week 1", 2: "week 2"})
    assert [row.week.number for row in rows] == [1, 2, 3, 4]
    assert [row.stage for row in rows] == ["week 1", "week 2", "", ""]


def test_nitrogen_for_the_block_is_the_rate_on_its_area_and_is_shared_by_the_injections() -> None:
    row = table()[1]
    assert row.n_lb == pytest.approx(5.25 * ACRES)
    assert row.n_lb_injection == pytest.approx(5.25 * ACRES / 2)
    thrice = table(replace(PLAN, injections_per_week=3))[1]
    assert thrice.n_lb_injection == pytest.approx(5.25 * ACRES / 3)


def test_products_carry_the_weeks_nitrogen_before_and_after() -> None:
    row = table(after={2: 7.0})[1]
    assert [part.weight_lb for part in row.products] == pytest.approx([3.5 * ACRES / 0.155, 3.5 * ACRES / 0.13])
    assert [part.weight_lb for part in row.products_before] == pytest.approx(
        [2.625 * ACRES / 0.155, 2.625 * ACRES / 0.13]
    )


def test_a_week_says_whether_the_decision_moves_it() -> None:
    rows = table(after={2: 7.0, 3: 5.25 + 1e-12})
    assert [row.changed for row in rows] == [False, True, False, False]
    assert (rows[1].before_lb_ac, rows[1].rate_lb_ac) == (5.25, 7.0)


def test_nutrients_that_come_along_are_added_over_the_products() -> None:
    row = table()[1]
    assert row.nutrient_lb("k2o") == pytest.approx(2.625 * ACRES / 0.13 * 0.44)
    assert row.nutrient_lb("ca") == pytest.approx(2.625 * ACRES / 0.155 * 0.19)
    assert row.nutrient_lb("n") == pytest.approx(row.n_lb)
    assert row.nutrient_lb("mg") == 0.0


def test_a_week_without_feeding_takes_no_product() -> None:
    row = table()[3]
    assert (row.n_lb, row.n_lb_injection) == (0.0, 0.0)
    assert [part.weight_lb for part in row.products] == [0.0, 0.0]


def test_totals_run_on_from_what_was_spent() -> None:
    assert [row.total_lb_ac for row in table(spent=60.0)] == pytest.approx([63.5, 68.75, 74.0, 74.0])


def test_totals_follow_the_new_rates() -> None:
    assert [row.total_lb_ac for row in table(after={2: 7.0})] == pytest.approx([3.5, 10.5, 15.75, 15.75])


@pytest.mark.parametrize(
    ("cap", "over"),
    [
        (None, [False, False, False, False]),
        (14.0, [False, False, False, False]),
        (14.0 - 1e-6, [False, False, True, False]),
        (8.0, [False, True, True, False]),
        (3.0, [True, True, True, False]),
    ],
)
def test_a_week_that_the_season_cap_stops_is_marked_and_fed_no_more_than_is_left(
    cap: float | None, over: list[bool]
) -> None:
    rows = table(replace(PLAN, cap_lb_ac=cap))
    assert [row.over_cap for row in rows] == over
    assert rows[-1].total_lb_ac == pytest.approx(14.0 if cap is None else min(cap, 14.0))


def test_sums_in_floating_point_do_not_pass_the_cap_by_themselves() -> None:
    plan = support.plan((0.1,) * 30, cap=3.0)
    assert not any(row.over_cap for row in table(plan))


# --- in a season ---------------------------------------------------------------------------------------------

FED = support.plan((5.25,) * 6, cap=100.0, credits_=(Credit("preplant", 60.0, "UGA-AESL", Evidence.PUBLISHED),))


def injected(week: int, offset: int, n_lb_ac: float = 2.625) -> Application:
    return Application(week * 10 + offset, "north", support.day_in(week, offset), n_lb_ac)


def last_total(*items: Application, week: int, offset: int = 0) -> float:
    season = support.season(the_plan=FED, applications=items)
    return season.weeks_from(support.day_in(week, offset))[-1].total_lb_ac


@pytest.mark.parametrize("offset", range(7))
def test_the_seasons_total_is_the_same_whatever_the_weekday(offset: int) -> None:
    fed = [injected(week, day) for week in (1, 2, 3) for day in (0, 3)]
    known = [item for item in fed if item.on <= support.day_in(2, offset)]
    assert last_total(*known, week=2, offset=offset) == pytest.approx(60 + 6 * 5.25)


def test_an_injection_of_the_weeks_first_day_is_not_counted_twice() -> None:
    assert last_total(injected(1, 0), week=1) == pytest.approx(60 + 6 * 5.25)


def test_more_than_planned_on_the_weeks_first_day_still_counts_in_full() -> None:
    """8 lb went out on the first day of a week planned at 5.25: the season comes to 2.75 lb more."""
    assert last_total(injected(1, 0, 8.0), week=1) == pytest.approx(60 + 8.0 + 5 * 5.25)


def test_the_table_begins_with_the_first_week_that_can_still_change() -> None:
    season = support.season(the_plan=FED)
    assert [row.week.number for row in season.weeks_from(support.day_in(3, 1))] == [4, 5, 6]
    assert season.weeks_from(support.day_in(6, 1)) == []


def test_before_and_after_follow_the_decisions_and_their_end() -> None:
    raised = Change(support.day_in(1, 4), support.day_in(2), support.day_in(3, 2), 4 / 3, {2: 7.0, 3: 7.0})
    season = support.season(the_plan=FED, changes=(raised,))
    rows = season.weeks_from(support.day_in(1, 5))
    assert [row.rate_lb_ac for row in rows] == [7.0, 7.0, 5.25, 5.25, 5.25]
    assert not any(row.changed for row in rows)
    of_the_day = season.weeks_from(support.day_in(1, 4), season.advice(support.day_in(1, 4)).recommendation)
    assert [(row.before_lb_ac, row.rate_lb_ac) for row in of_the_day][:3] == [
        (5.25, 7.0),
        (5.25, 7.0),
        (5.25, 5.25),
    ]


def test_stages_stand_beside_the_weeks_they_cover() -> None:
    season = support.season(the_plan=support.plan((5.25,) * 14))
    stages = [row.stage for row in season.weeks_from(support.BLOOM)]
    assert stages[:12] == [f"week {week}" for week in range(1, 13)]
    assert stages[12:] == ["whole season", "whole season"]
