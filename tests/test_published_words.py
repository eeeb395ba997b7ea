"""A season's plan beside published totals and schedules. All figures are invented unless a source is named."""

from __future__ import annotations

from datetime import date

import pytest

from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis
from fertadjust.plan import Credit, Plan
from fertadjust.published_words import acre_words, plan_beside, range_words
from fertadjust.rules.policy import Policy
from fertadjust.rules.published import Published, Schedule, ScheduleStep, Total
from fertadjust.shipped import shipped_policy
from fertadjust.stages import StageDates
from fertadjust.units import UnitSystem
from tests import support

US, METRIC = UnitSystem.US, UnitSystem.METRIC
SET_OUT = support.BLOOM
"""A Monday, the first day of week 1 of the plan."""

AS_PUBLISHED = (10.5,) * 2 + (14.0,) * 2 + (17.5,) * 7 + (14.0, 10.5)
"""7 x 1.5, 2.0, 2.5, 2.0 and 1.5 lb/ac/day: the schedule for tomato of UF-VPH, recalled."""


def step(first: int, last: int, rate: float) -> ScheduleStep:
    return ScheduleStep(
        id=f"row-{first}", weeks=(first, last), rate=rate, source="SOURCE", evidence=Evidence.PUBLISHED
    )


def schedule(
    *steps: ScheduleStep, basis: AreaBasis | None = AreaBasis.BED, spacing: float | None = None
) -> Schedule:
    return Schedule(
        title="Schedule",
        anchor="transplanting",
        basis=basis,
        spacing_ft=spacing,
        steps=steps or (step(1, 4, 1.0),),
    )


def total(low: float, high: float, *, preplant: bool = False, note: str = "") -> Total:
    return Total(
        id="total",
        when="preplant" if preplant else "season",
        low=low,
        high=high,
        source="SOURCE",
        evidence=Evidence.PUBLISHED,
        note=note,
    )


def with_published(*, schedules: tuple[Schedule, ...] = (), totals: tuple[Total, ...] = ()) -> Policy:
    published = Published(schedules=schedules, totals=totals)
    return shipped_policy("general").model_copy(update={"published": published})


def plan(rates: tuple[float, ...], *, credit: float = 0.0, start: date = SET_OUT) -> Plan:
    credits_ = (Credit("preplant", credit, "season file", Evidence.OWN),) if credit else ()
    return support.plan(rates, start=start, floor=0.0, ceiling=50.0, credits_=credits_)


def beside(policy: Policy, the_plan: Plan, *, units: UnitSystem = US, set_out: date | None = SET_OUT) -> list[str]:
    dates = {} if set_out is None else {"transplanting": set_out}
    return plan_beside(policy, the_plan, StageDates(dates, the_plan.end), units)


# --- nothing to say ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["general", "mid-atlantic", "florida-drip", "strawberry-annual-plasticulture"])
def test_nothing_is_said_where_neither_total_nor_schedule_is_published(name: str) -> None:
    assert beside(shipped_policy(name), plan((7.0,) * 4)) == []


# --- totals --------------------------------------------------------------------------------------------------


def test_plan_and_credits_are_held_against_the_published_total() -> None:
    policy = with_published(totals=(total(100, 100),))
    said = (
        "Plan and credits come to {} lb N/ac, {} the published season total of 100.00 lb N/ac (SOURCE, published)."
    )
    assert beside(policy, plan((10.0,) * 5, credit=30)) == [said.format("80.00", "20.00 less than")]
    assert beside(policy, plan((10.0,) * 9, credit=30)) == [said.format("120.00", "20.00 more than")]
    assert beside(policy, plan((10.0,) * 7, credit=30)) == [said.format("100.00", "the same as")]


def test_a_published_range_holds_a_total_at_both_its_ends() -> None:
    """UF-HS1429: 200 to 250 lb N/ac for potato, by yield goal."""
    policy = shipped_policy("florida-potato")
    for whole, how in ((200, "within"), (250, "within"), (199, "1.00 less than"), (251, "1.00 more than")):
        assert beside(policy, plan((whole / 10,) * 10)) == [
            f"Plan and credits come to {whole}.00 lb N/ac, {how} the published season total of 200.00 to 250.00 "
            "lb N/ac (UF-HS1429, published). Note: by yield goal."
        ]


def test_what_is_published_for_before_planting_stands_beside_the_credits() -> None:
    policy = with_published(totals=(total(0, 50, preplant=True, note="a note"),))
    assert beside(policy, plan((10.0,) * 5, credit=30)) == [
        "Before planting 0.00 to 50.00 lb N/ac (SOURCE, published) is published; the season counts 30.00 lb N/ac "
        "of credits in all. Note: a note."
    ]


def test_totals_are_told_in_metric() -> None:
    """UF-CV236: 200 lb/ac is 224.17 kg/ha."""
    said = beside(shipped_policy("florida-tomato"), plan((10.0,) * 10, credit=50), units=METRIC)
    assert said[0].startswith(
        "Plan and credits come to 168.13 kg N/ha, 56.04 less than the published season total of 224.17 kg N/ha"
    )


APART = "a word; beds 6 ft (1.8 m) apart; more"


def test_a_total_for_beds_at_a_distance_is_not_for_the_land_of_a_plan_by_bed_top() -> None:
    policy = with_published(totals=(total(100, 100, note=APART),))
    assert beside(policy, plan((10.0,) * 7, credit=30))[1:] == [
        "That total is for beds 6 ft (1.8 m) apart, the plan counts per acre of bed top: the two are not for "
        "the same land."
    ]


@pytest.mark.parametrize(
    ("basis", "said"),
    [
        (AreaBasis.LINEAR_BED, "the plan's standard spacing should be the same."),
        (AreaBasis.GROSS, "it is for the same land only where your beds are as far apart."),
    ],
)
def test_a_total_for_beds_at_a_distance_is_set_beside_other_plans(basis: AreaBasis, said: str) -> None:
    policy = with_published(totals=(total(100, 100, note=APART),))
    other = Plan(SET_OUT, (7.0,) * 4, basis, 2, 0.0, 50.0, None, 0.05)
    [_, told] = beside(policy, other)
    assert told == f"That total is for beds 6 ft (1.8 m) apart: {said}"


@pytest.mark.parametrize("name", ["florida-tomato", "florida-pepper", "florida-eggplant", "florida-watermelon"])
def test_the_shipped_totals_for_beds_at_a_distance_are_recognised(name: str) -> None:
    """UF-CV236 and UF-VPH: 6 ft; WM-SEEP: 8 ft."""
    assert any("are not for the same land" in text for text in beside(shipped_policy(name), plan((10.0,) * 10)))


# --- schedules -----------------------------------------------------------------------------------------------


def test_a_plan_as_the_schedule_has_no_week_that_differs() -> None:
    """UF-VPH, recalled: the schedule for tomato."""
    said = beside(shipped_policy("florida-tomato"), plan(AS_PUBLISHED))
    assert (
        "UF/IFAS injection schedule (UF-VPH, recalled, high confidence), week 1 from transplanting on Mon 2 Mar "
        "2026: no week of the plan that lies in it differs by more than 10 %." in said
    )


def test_weeks_that_differ_are_named_with_both_rates_those_alike_together() -> None:
    policy = with_published(schedules=(schedule(step(1, 2, 1.0), step(3, 5, 2.0)),))
    [said] = beside(policy, plan((7.0, 8.0, 10.0, 10.0, 14.0)))
    assert said == (
        "Schedule (SOURCE, published), week 1 from transplanting on Mon 2 Mar 2026: week 2 plans 8.00 against "
        "7.00 and weeks 3 to 4 plan 10.00 against 14.00 lb N/ac/week."
    )


@pytest.mark.parametrize(("planned", "named"), [(7.7, False), (7.71, True), (6.3, False), (6.29, True)])
def test_a_tenth_of_the_schedule_is_not_named_and_more_is(planned: float, named: bool) -> None:
    policy = with_published(schedules=(schedule(),))
    [said] = beside(policy, plan((7.0, planned, 7.0, 7.0)))
    assert ("week 2 plans" in said) is named


def test_weeks_before_and_after_the_schedule_are_named_and_not_compared() -> None:
    policy = with_published(schedules=(schedule(),))
    [said] = beside(policy, plan((3.0,) + (7.0,) * 4 + (3.0,) * 2), set_out=support.day_in(2))
    assert said.endswith(
        "no week of the plan that lies in it differs by more than 10 %; weeks 1 and 6 to 7 of the plan do not lie "
        "in it as a whole."
    )
    [said] = beside(policy, plan((7.0,) * 5))
    assert said.endswith("; week 5 of the plan does not lie in it as a whole.")


def test_a_plan_outside_the_schedule_says_so() -> None:
    policy = with_published(schedules=(schedule(),))
    [said] = beside(policy, plan((7.0,) * 4), set_out=support.day_in(20))
    assert said.endswith("on Mon 13 Jul 2026: no week of the plan lies in it as a whole.")


def test_a_week_that_lies_across_two_of_the_schedule_is_held_against_its_days() -> None:
    """Set out on a Friday: of the week from the Monday after, four days are at 1.0 and three at 2.0 lb/ac."""
    policy = with_published(schedules=(schedule(step(1, 1, 1.0), step(2, 3, 2.0)),))
    [said] = beside(policy, plan((5.0, 5.0)), set_out=date(2026, 2, 27))
    assert "week 1 plans 5.00 against 10.00 and week 2 plans 5.00 against 14.00 lb N/ac/week" in said


def test_a_schedule_whose_first_stage_has_no_date_asks_for_it() -> None:
    policy = with_published(schedules=(schedule(),))
    assert beside(policy, plan((7.0,) * 4), set_out=None) == [
        "Schedule (SOURCE, published): date transplanting under [stages] to see the plan beside it, since its "
        "weeks are counted from there."
    ]


def test_a_schedule_is_told_in_metric() -> None:
    """1 lb/ac is 1.1209 kg/ha."""
    policy = with_published(schedules=(schedule(),))
    [said] = beside(policy, plan((14.0,) * 4), units=METRIC)
    assert said.endswith("weeks 1 to 4 plan 15.69 against 7.85 kg N/ha/week.")


def test_a_week_in_which_nothing_is_planned_is_named() -> None:
    policy = with_published(schedules=(schedule(),))
    [said] = beside(policy, plan((7.0, 0.0, 7.0, 7.0)))
    assert "week 2 plans 0.00 against 7.00" in said


def test_a_week_in_which_the_schedule_has_nothing_is_named_when_something_is_planned() -> None:
    policy = with_published(schedules=(schedule(step(1, 1, 0.0), step(2, 2, 0.0)),))
    [said] = beside(policy, plan((0.0, 1.0)))
    assert said.endswith("2026: week 2 plans 1.00 against 0.00 lb N/ac/week.")


# --- what an acre means --------------------------------------------------------------------------------------


def test_another_acre_than_the_plans_is_said() -> None:
    policy = with_published(schedules=(schedule(basis=AreaBasis.LINEAR_BED, spacing=6.0),))
    assert beside(policy, plan((7.0,) * 4))[1:] == [
        "Schedule counts per acre of linear bed at 6 ft between bed centres, the plan per acre of bed top: the "
        "rates above stand beside each other as they are written and are not for the same land."
    ]
    [metric] = beside(policy, plan((7.0,) * 4), units=METRIC)[1:]
    assert "per hectare of linear bed at 1.83 m between bed centres, the plan per hectare of bed top" in metric


def test_the_same_acre_needs_no_word_but_for_the_spacing_of_linear_beds() -> None:
    assert len(beside(with_published(schedules=(schedule(),)), plan((7.0,) * 4))) == 1
    policy = with_published(schedules=(schedule(basis=AreaBasis.LINEAR_BED, spacing=6.0),))
    linear = Plan(SET_OUT, (7.0,) * 4, AreaBasis.LINEAR_BED, 2, 0.0, 50.0, None, 0.05)
    assert beside(policy, linear)[1:] == [
        "Schedule counts per acre of linear bed at 6 ft between bed centres: the plan's standard spacing should "
        "be the same."
    ]


def test_an_acre_that_the_source_does_not_state_is_said() -> None:
    policy = with_published(schedules=(schedule(basis=None),))
    assert beside(policy, plan((7.0,) * 4))[1:] == [
        "What Schedule counts its rates by is not stated; the plan's rate is per acre of bed top."
    ]
    assert acre_words(schedule(basis=None), US) == ""
    assert acre_words(schedule(basis=AreaBasis.GROSS), METRIC) == "gross hectare"


def test_a_range_of_one_figure_is_that_figure() -> None:
    assert range_words(30, 30, US) == "30.00 lb N/ac"
    assert range_words(30, 40, METRIC) == "33.63 to 44.83 kg N/ha"


@pytest.mark.parametrize("units", UnitSystem)
@pytest.mark.parametrize("name", ["florida-tomato", "florida-eggplant", "florida-squash", "florida-strawberry"])
def test_every_sentence_of_a_shipped_policy_ends_with_one_full_stop(name: str, units: UnitSystem) -> None:
    said = beside(shipped_policy(name), plan(AS_PUBLISHED, credit=30), units=units)
    assert said
    assert all(text.endswith(".") and ".." not in text for text in said)
