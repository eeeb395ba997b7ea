"""A published amount on a low result, bounds without a published figure, and statements told on their occasion."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.evidence import Evidence
from fertadjust.observations import Sight
from fertadjust.plan import Change, RatePath
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Recommendation
from fertadjust.rules.policy import Figure, Policy
from fertadjust.rules.published import Published, Schedule, ScheduleStep, Statement
from fertadjust.shipped import shipped_tables
from fertadjust.tissue import Tissue, TissueResult
from tests.rules import (
    ENOUGH,
    HIGH,
    LEAF_ENOUGH,
    LEAF_LOW,
    LOW,
    LOW_EDGE,
    RATE,
    SATURDAY,
    WIDTH,
    advised,
    fed,
    fired,
    in_force,
    leaf,
    line,
    open_plan,
    petiole_season,
    seen,
    taken_over,
)
from tests.support import SOUTHEAST, day_in, policy, result

# The advice of the Saturday of week 6 starts with week 7. The next sample falls on the Wednesday of week 8, its
# result three days later, so weeks 7 and 8 are the ones that a decision on this sample could cover.
COVERED = 2


def figure(value: float) -> Figure:
    return Figure(
        value=value, unit="lb N/ac in all", meaning="invented", source="UDEL-T", evidence=Evidence.PUBLISHED
    )


def with_amount(
    least: float = 10.5, most: float = 14.0, on: tuple[Tissue, ...] = tuple(Tissue), days: float = 7
) -> Policy:
    """The policy with an amount that a publication has added; the figures here are invented."""
    added = {
        "corrective_least": figure(least),
        "corrective_most": figure(most),
        "corrective_days": figure(days),
        "corrective_on": on,
    }
    return policy().model_copy(update=added)


def added(found: Recommendation) -> float:
    """Nitrogen [lb/ac] that the advice adds to the rates in force over the weeks that it covers."""
    return sum(found.rates_lb_ac) - sum(found.standing_rates_lb_ac)


@pytest.mark.parametrize(("width", "amount"), [(0.30, 11.55), (0.50, 12.25), (1.0, 14.0), (2.0, 14.0)])
def test_the_amount_is_given_in_all_and_grows_from_least_to_most_over_one_band_width(
    width: float, amount: float
) -> None:
    found = advised(result(LOW_EDGE * math.exp(-width * WIDTH), 6), the_policy=with_amount())
    assert found.action is Action.RAISE and len(found.weeks) == COVERED
    assert added(found) == pytest.approx(amount)
    trace = line(found, "raise")
    assert f"{amount:.1f} lb N/ac more than planned in all, spread over 2 weeks" in trace.saw
    assert (trace.source, trace.evidence) == ("UDEL-T", Evidence.PUBLISHED)


def test_a_plan_that_ramps_gets_no_more_than_the_amount() -> None:
    rates = tuple(3.0 + week for week in range(12))
    found = advised(
        result(LOW_EDGE / 3, 6), the_policy=with_amount(14, 14), the_plan=open_plan(rates), applications=()
    )
    assert added(found) == pytest.approx(14.0)


def test_an_amount_in_force_is_not_added_to_itself() -> None:
    """Low again at the raised rate: the same amount over the weeks to come, and another cause to look for."""
    first = advised(result(LOW, 6), the_policy=with_amount(14, 14))
    again = advised(
        result(LOW, 5, record=2),
        result(LOW, 6),
        the_policy=with_amount(14, 14),
        changes=(in_force(first.factor),),
        applications=fed(first.factor * RATE),
    )
    assert again.action is Action.HOLD and again.factor == pytest.approx(first.factor)
    assert again.rates_lb_ac == pytest.approx([RATE + 14.0 / COVERED] * len(again.weeks))
    trace = line(again, "raise")
    assert not trace.fired and "in force already" in trace.why
    assert any("look for another cause" in item for item in again.to_do)


def test_after_a_cut_the_amount_comes_on_top_of_the_plan() -> None:
    found = advised(
        result(LOW, 6),
        the_policy=with_amount(14, 14),
        changes=(in_force(0.8),),
        applications=fed(0.8 * RATE),
    )
    assert sum(found.rates_lb_ac) - COVERED * RATE == pytest.approx(14.0)


@pytest.mark.parametrize("value", [3100, 3900, 4900, HIGH])
def test_an_amount_ends_once_the_crop_is_not_low_also_on_a_band_from_memory(value: float) -> None:
    """Not to give it again is no cut; a rate below the plan would still need consent."""
    shipped = shipped_tables()[SOUTHEAST]
    from_memory = {"evidence": Evidence.RECALLED, "confidence": "high"}
    rows = tuple(row.model_copy(update=from_memory) for row in shipped.rows)
    the_season = petiole_season(
        result(value, 6), the_policy=with_amount(), changes=(in_force(2.0),), applications=fed(2.0 * RATE)
    )
    the_season = replace(the_season, tables=(shipped.model_copy(update={"rows": rows}),))
    found = evaluate(the_season.facts(SATURDAY), the_season.policy)
    assert found.factor == 1.0 and found.moved_by == "after recovery"
    assert line(found, "recalled band").fired


def lived(policy_: Policy, rates: tuple[float, ...], values: list[float]) -> list[float]:
    """What each week of a plan gets on top of it, sampled every week from the third on, all advice accepted."""
    changes: list[Change] = []
    results: list[TissueResult] = []
    plan = open_plan(rates, ceiling_lb_ac=100.0)
    for week, value in enumerate(values, start=3):
        results.append(result(value, week, record=week))
        on = day_in(week, 5)
        now = petiole_season(*results, the_plan=plan, the_policy=policy_, changes=tuple(changes), applications=())
        found = evaluate(now.facts(on), policy_)
        if found.weeks:
            changes.append(taken_over(found, on, record=800 + week))
    path = RatePath(changes)
    return [max(0.0, path.rate_lb_ac(week) - week.rate_lb_ac) for week in plan.weeks]


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from([7, 28]),
    st.lists(st.sampled_from([0.0, 0.4, 3.5, 5.25, 30.0]), min_size=12, max_size=12),
    st.lists(st.sampled_from([300.0, LOW, 2900.0, ENOUGH, HIGH]), min_size=8, max_size=8),
)
def test_no_run_of_weeks_gets_more_on_top_of_the_plan_than_the_amount(
    days: int, rates: list[float], values: list[float]
) -> None:
    extra = lived(with_amount(days=days), tuple(rates), values)
    span = days // 7
    assert max(sum(extra[first : first + span]) for first in range(len(extra))) <= 14.0 + 1e-6


def test_one_application_is_given_once_however_often_the_crop_is_low() -> None:
    """Low every week: what is left of the amount is spread anew each week, and four weeks have no more than it."""
    extra = lived(with_amount(14, 14, days=28), (RATE,) * 12, [LOW] * 5)
    assert sum(extra[3:7]) == pytest.approx(14.0)
    assert extra[3] == pytest.approx(7.0) and extra[3] > extra[4] > extra[5]


def test_an_amount_for_a_week_goes_on_while_the_crop_stays_low() -> None:
    extra = lived(with_amount(14, 14, days=7), (RATE,) * 12, [LOW] * 5)
    assert sum(extra) > 14.0 and max(extra) <= 14.0 + 1e-9


def test_small_weeks_before_large_ones_do_not_blow_the_amount_up() -> None:
    """0.4 lb in the weeks that the first decision covers, 30 lb after."""
    for days in (7, 28):
        extra = lived(with_amount(14, 14, days=days), (0.4,) * 5 + (30.0,) * 7, [LOW] * 6)
        assert max(extra) <= 14.0 + 1e-6


def test_where_the_coming_weeks_feed_nothing_it_is_said() -> None:
    rates = (RATE,) * 6 + (0.0,) * 6
    found = advised(result(LOW, 6), the_policy=with_amount(), the_plan=open_plan(rates))
    assert found.action is Action.HOLD
    assert "The plan feeds nothing in the coming weeks" in line(found, "raise").why


def test_a_second_low_result_in_a_row_gets_the_most() -> None:
    found = advised(result(LOW, 5, record=2), result(LOW, 6), the_policy=with_amount())
    assert added(found) == pytest.approx(14.0)


def test_what_is_weighed_together_may_halve_the_amount() -> None:
    found = advised(result(LOW, 6), leaf(LEAF_ENOUGH), the_policy=with_amount(12, 12))
    assert added(found) == pytest.approx(6.0)


def test_the_amount_stays_within_ceiling_and_cap() -> None:
    kept = advised(result(LOW, 6), the_policy=with_amount(), the_plan=open_plan(ceiling_lb_ac=7.0))
    assert kept.rates_lb_ac == (7.0, 7.0) and kept.binding == "ceiling"
    spent = 6 * RATE
    cap = spent + COVERED * RATE + 4.0
    capped = advised(result(LOW, 6), the_policy=with_amount(), the_plan=open_plan(cap_lb_ac=cap))
    assert added(capped) == pytest.approx(4.0) and capped.binding == "season cap"


def test_an_amount_for_leaves_is_given_on_a_low_leaf_alone_or_beside_a_low_petiole() -> None:
    on_leaf = with_amount(40, 40, (Tissue.LEAF,))
    alone = advised(leaf(LEAF_LOW), the_policy=on_leaf)
    beside = advised(result(LOW, 6), leaf(LEAF_LOW), the_policy=on_leaf)
    assert added(alone) == pytest.approx(40.0) == added(beside)
    petiole = advised(result(LOW, 6), the_policy=on_leaf)
    assert petiole.rates_lb_ac == advised(result(LOW, 6)).rates_lb_ac


def test_an_amount_of_nothing_leaves_the_share_of_the_rate() -> None:
    assert advised(result(LOW, 6), the_policy=with_amount(0, 0)).rates_lb_ac == advised(result(LOW, 6)).rates_lb_ac


@pytest.mark.parametrize("value", [ENOUGH, HIGH])
def test_a_result_that_is_not_low_gets_no_amount(value: float) -> None:
    assert advised(result(value, 6), the_policy=with_amount()).factor == advised(result(value, 6)).factor


@settings(max_examples=150, deadline=None)
@given(
    st.floats(200, 9000),
    st.floats(1.001, 1.5),
    st.lists(st.sampled_from([0.0, 0.4, 3.5, 5.25, 17.0]), min_size=12, max_size=12),
    st.sampled_from([0.8, 1.0, 1.3, 2.0]),
    st.sampled_from([20.0, 60.0]),
    st.booleans(),
)
def test_a_higher_result_never_gets_more_and_no_week_more_than_all_of_the_amount(
    value: float, times: float, rates: list[float], factor: float, ceiling: float, again: bool
) -> None:
    more: dict[str, Any] = {
        "the_policy": with_amount(),
        "the_plan": open_plan(tuple(rates), ceiling_lb_ac=ceiling),
        "changes": () if factor == 1.0 else (in_force(factor, rates=rates),),
        "applications": (),
    }
    before = (result(LOW, 5, record=2),) if again else ()
    lower, higher = (advised(*before, result(item, 6), **more) for item in (value, value * times))
    assert higher.factor <= lower.factor + 1e-9
    if lower.factor > max(1.0, factor) + 1e-9:
        extra = [rate - week.rate_lb_ac for rate, week in zip(lower.rates_lb_ac, lower.weeks, strict=True)]
        assert sum(extra) <= 14.0 + 1e-6


def test_a_policy_without_a_last_week_for_a_raise_bars_none() -> None:
    free = policy().model_copy(update={"no_raise_after_week": None})
    late = {"on": day_in(12, 5), "the_plan": open_plan((RATE,) * 16)}
    barred, raised = (
        advised(result(500, 12), the_policy=one, **late)  # type: ignore[arg-type]
        for one in (policy(), free)
    )
    assert (barred.action, raised.action) == (Action.HOLD, Action.RAISE)
    assert line(raised, "late season").saw == "no last week for a raise"


def test_bounds_that_no_publication_gives_are_the_season_files_own() -> None:
    none = policy().model_copy(update={"floor": None, "ceiling": None})
    trace = line(advised(result(LOW, 6), the_policy=none), "floor and ceiling")
    assert (trace.source, trace.evidence) == ("season file", Evidence.OWN)


# --- statements ---------------------------------------------------------------------------------------------


def saying(when: str, **changes: Any) -> Policy:
    said = Statement(
        id="S-1",
        text="Say this",
        when=when,  # type: ignore[arg-type]
        source="UDEL-T",
        evidence=Evidence.PUBLISHED,
    )
    return policy().model_copy(update={"published": Published(statements=(said,))} | changes)


@pytest.mark.parametrize(
    ("when", "value", "told"),
    [
        ("always", ENOUGH, False),
        ("low", LOW, True),
        ("low", ENOUGH, False),
        ("high", HIGH, True),
        ("high", LOW, False),
        ("leaching rain", LOW, False),
        ("past the last week of feeding", LOW, False),
    ],
)
def test_a_statement_is_told_on_its_occasion_and_changes_nothing(when: str, value: float, told: bool) -> None:
    found = advised(result(value, 6), the_policy=saying(when))
    trace = line(found, "said in UDEL-T")
    assert (trace.group, trace.fired, "said in UDEL-T" in fired(found)) == ("published advice", told, told)
    assert found.rates_lb_ac == advised(result(value, 6)).rates_lb_ac
    if told:
        assert (trace.why, trace.source, trace.change) == ("Say this.", "UDEL-T", "note only")


def test_a_statement_for_the_whole_season_stands_in_the_trace() -> None:
    trace = line(advised(result(ENOUGH, 6), the_policy=saying("always")), "said in UDEL-T")
    assert (trace.fired, trace.why, trace.source) == (False, "Say this.", "UDEL-T")


def test_a_statement_on_leaching_rain_is_told_when_rain_was_noted() -> None:
    rain = (seen(Sight.LEACHING_RAIN, day_in(6, 1)),)
    assert line(
        advised(result(ENOUGH, 6), the_policy=saying("leaching rain"), observations=rain), "said in UDEL-T"
    ).fired


def test_a_statement_past_the_last_week_of_feeding_follows_that_week() -> None:
    stops = {week: figure(week).model_copy(update={"unit": "weeks"}) for week in (5, 6)}
    for week, told in ((5, True), (6, False)):
        the_policy = saying("past the last week of feeding", stop_after_week=stops[week])
        assert line(advised(result(ENOUGH, 6), on=SATURDAY, the_policy=the_policy), "said in UDEL-T").fired is told


# --- schedules ----------------------------------------------------------------------------------------------


def step(first: int, last: int, rate: float) -> ScheduleStep:
    return ScheduleStep(
        id=f"{first}", weeks=(first, last), rate=rate, source="UDEL-T", evidence=Evidence.PUBLISHED
    )


def test_a_schedule_of_daily_rates_gives_the_rate_of_each_week() -> None:
    schedule = Schedule(title="invented", anchor="transplanting", steps=(step(1, 2, 1.5), step(3, 3, 2.0)))
    assert schedule.weekly_lb_ac() == (10.5, 10.5, 14.0)


@pytest.mark.parametrize("steps", [(step(2, 3, 1.0),), (step(1, 2, 1.0), step(4, 5, 1.0)), (step(1, 0, 1.0),)])
def test_a_schedule_leaves_no_week_out(steps: tuple[ScheduleStep, ...]) -> None:
    with pytest.raises(ValueError, match="should follow on"):
        Schedule(title="invented", anchor="transplanting", steps=steps)


def test_what_is_recalled_says_how_sure_it_is() -> None:
    with pytest.raises(ValueError, match="needs confidence"):
        Statement(id="a", text="b", when="low", source="UDEL-T", evidence=Evidence.RECALLED)


@pytest.mark.parametrize(("floor", "ceiling", "own"), [(3.0, 7.0, False), (2.0, 7.0, True), (3.0, 9.0, True)])
def test_bounds_that_are_the_policys_own_name_its_sources(floor: float, ceiling: float, own: bool) -> None:
    """3 and 7 lb N/ac/week, the range named in extension advice (UGA-2021; DE-7778)."""
    plan = open_plan(floor_lb_ac=floor, ceiling_lb_ac=ceiling)
    trace = line(advised(result(ENOUGH, 6), the_plan=plan), "floor and ceiling")
    assert not trace.fired
    assert (trace.source, trace.evidence) == (
        ("season file", Evidence.OWN) if own else ("UGA-2021; DE-7778", Evidence.DERIVED)
    )
