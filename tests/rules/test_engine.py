"""The engine as a whole: rules that meet on one result, and a trace that leaves nothing out."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import pytest

from fertadjust.evidence import Evidence
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Credit
from fertadjust.rules.bound_rules import bounded_rate
from fertadjust.rules.engine import RULES, evaluate
from fertadjust.rules.facts import Action, Draft, Facts, Recommendation
from fertadjust.rules.policy import Policy, Recovery
from fertadjust.season import BlockSeason
from fertadjust.tissue import Basis, Censor, TissueResult
from tests import benchmark_engine
from tests.rules import (
    ENOUGH,
    HIGH,
    LEAF_HIGH,
    LEAF_LOW,
    LOW,
    RATE,
    SATURDAY,
    advised,
    cut_size,
    fed,
    fired,
    in_force,
    leaf,
    line,
    names_a_source,
    open_plan,
    petiole_season,
    raise_size,
    seen,
    taken_over,
)
from tests.support import day_in, plan, policy, result, with_policy

ORDER = [
    ("evidence", "wrong kind"),
    ("evidence", "stale"),
    ("evidence", "recalled band"),
    ("evidence", "too soon"),
    ("evidence", "few petioles"),
    ("evidence", "duplicates disagree"),
    ("position", "status"),
    ("position", "stage in doubt"),
    ("position", "heading out"),
    ("cross-check", "leaf nitrogen"),
    ("cross-check", "missed applications"),
    ("cross-check", "roots in trouble"),
    ("cross-check", "leaching rain"),
    ("cross-check", "soil nitrate"),
    ("cross-check", "twice in a row"),
    ("step", "raise"),
    ("step", "cut"),
    ("step", "after recovery"),
    ("bounds", "review date"),
    ("bounds", "late season"),
    ("bounds", "fruit quality"),
    ("bounds", "floor and ceiling"),
    ("bounds", "season cap"),
    ("bounds", "meterable rate"),
    ("companions", "potassium"),
    ("companions", "magnesium"),
    ("companions", "sulfur"),
    ("companions", "boron"),
    ("companions", "phosphorus"),
    ("companions", "nitrogen to sulfur"),
]


# --- rules that meet ----------------------------------------------------------------------------------------


def test_low_petiole_after_missed_applications_restores_the_plan_first() -> None:
    found = advised(result(LOW, 6), applications=fed(weeks=(1, 2, 3)))
    assert {"status", "missed applications"} <= fired(found)
    assert found.action is Action.HOLD
    assert found.rates_lb_ac == pytest.approx((RATE, RATE))
    assert "Apply what is planned, every injection, and log it." in found.to_do


def test_low_petiole_with_roots_in_trouble_and_a_rich_soil_names_both_that_hold_it_back() -> None:
    sights = (seen(Sight.WATERLOGGED, day_in(6)), seen(Sight.SOIL_NITRATE, day_in(6), 32.0))
    found = advised(result(LOW, 6), observations=sights)
    assert found.action is Action.HOLD and found.factor == 1.0
    trace = line(found, "raise")
    assert not trace.fired
    assert "roots in trouble" in trace.saw and "soil nitrate" in trace.saw


def test_low_petiole_with_the_stage_in_doubt_and_missed_applications_holds() -> None:
    found = advised(result(2000, 2), on=day_in(2, 5), applications=fed(weeks=(1,), rate=1.0))
    assert {"stage in doubt", "missed applications"} <= fired(found)
    assert found.action is Action.HOLD
    assert any("Confirm the stage" in text for text in found.to_do)
    assert any("Apply what is planned" in text for text in found.to_do)


def test_leaching_rain_does_not_override_missed_applications() -> None:
    rain = (seen(Sight.LEACHING_RAIN, day_in(6)),)
    found = advised(result(LOW, 6), observations=rain, applications=fed(weeks=(1, 2, 3)))
    assert {"leaching rain", "missed applications"} <= fired(found)
    assert found.action is Action.HOLD


def test_low_twice_is_raised_twice_and_stops_at_the_ceiling() -> None:
    the_plan = plan(step=0.0, ceiling=8.0)
    first_result, second_result = result(1500, 4, record=1), result(LOW, 6, record=2)
    first = advised(first_result, on=first_result.known_on, the_plan=the_plan)
    assert first.rates_lb_ac[0] == pytest.approx(RATE * (1 + raise_size(1500, 3500, 6000)))
    change = taken_over(first, first_result.known_on)
    logged = (*fed(weeks=(1, 2, 3, 4)), *fed(change.rates_lb_ac[5], weeks=(5, 6)))
    second = advised(first_result, second_result, the_plan=the_plan, changes=(change,), applications=logged)
    assert second.action is Action.RAISE and second.binding == "ceiling"
    assert second.rates_lb_ac == pytest.approx((8.0, 8.0))
    third_result = result(2000, 8, record=3)
    change_2 = taken_over(second, SATURDAY, record=801)
    third = advised(
        first_result,
        second_result,
        third_result,
        on=third_result.known_on,
        the_plan=the_plan,
        changes=(change, change_2),
        applications=(*logged, *fed(8.0, weeks=(7, 8))),
    )
    assert third.action is Action.HOLD and third.factor == pytest.approx(8.0 / RATE)


@pytest.mark.parametrize("choice", list(Recovery))
@pytest.mark.parametrize(("value", "upper"), [(3500.0, False), (4400.0, True)])
@pytest.mark.parametrize("raised", [True, False])
def test_a_change_that_was_taken_and_worked_is_kept_eased_or_taken_back(
    choice: Recovery, value: float, upper: bool, raised: bool
) -> None:
    the_policy = with_policy(policy(), after_recovery=choice)
    first_result = result(1500 if raised else 15_000, 5, record=1)
    first = advised(first_result, on=first_result.known_on, the_policy=the_policy)
    assert first.action is (Action.RAISE if raised else Action.CUT)
    change = replace(taken_over(first, first_result.known_on), review=day_in(8))
    on = day_in(7, 5)
    found = advised(
        first_result,
        result(value, 7, record=2),
        on=on,
        the_policy=the_policy,
        changes=(change,),
        applications=(*fed(weeks=range(1, 6)), *fed(RATE * first.factor, weeks=(6, 7))),
    )
    eased = upper is raised
    expected = first.factor
    if choice is Recovery.PLAN:
        expected = 1.0
    elif choice is Recovery.EASE and eased:
        expected = 1 + (first.factor - 1) / 2
    assert found.factor == pytest.approx(expected)
    assert line(found, "after recovery").fired is (expected != first.factor)


def test_too_soon_and_twice_in_a_row_both_hold_a_repeated_raise() -> None:
    found = advised(result(LOW, 6), changes=(in_force(1.2, since=6),))
    assert {"too soon", "twice in a row"} <= fired(found)
    assert "too soon, twice in a row" in line(found, "raise").saw
    assert found.factor == pytest.approx(1.2)


def heading(values: tuple[float, ...], *others: TissueResult) -> Recommendation:
    days = [day_in(5) + timedelta(days=5 * index) for index in range(4)]
    results = [
        replace(result(value, 5, record=index), sampled=on, received=on)
        for index, (on, value) in enumerate(zip(days, values, strict=True))
    ]
    return advised(*results, *others, on=days[-1])


@pytest.mark.parametrize(
    ("values", "leaf_value", "factor"),
    [
        ((4600.0, 4200.0, 3900.0, 3600.0), LEAF_HIGH, 1.0),
        ((4600.0, 4200.0, 3900.0, 3600.0), LEAF_LOW, 1.1),
        ((3300.0, 3600.0, 3900.0, 4300.0), LEAF_LOW, 1.0),
        ((3300.0, 3600.0, 3900.0, 4300.0), LEAF_HIGH, 0.9),
    ],
)
def test_heading_out_against_the_leaf_is_held(values: tuple[float, ...], leaf_value: float, factor: float) -> None:
    found = heading(values, leaf(leaf_value, 6, delay=0))
    assert line(found, "heading out").fired
    assert "(trend)" in line(found, "leaf nitrogen").saw
    assert line(found, "leaf nitrogen").fired is (factor == 1.0)
    assert found.factor == pytest.approx(factor)


def test_heading_out_low_after_missed_applications_takes_no_early_step() -> None:
    days = [day_in(5) + timedelta(days=5 * index) for index in range(4)]
    results = [
        replace(result(value, 5, record=index), sampled=on, received=on)
        for index, (on, value) in enumerate(zip(days, (4600.0, 4200.0, 3900.0, 3600.0), strict=True))
    ]
    found = advised(*results, on=days[-1], applications=fed(weeks=(1, 2, 3, 4)))
    assert {"heading out", "missed applications"} <= fired(found)
    assert found.action is Action.HOLD


def test_few_petioles_and_duplicates_apart_widen_the_uncertainty_together() -> None:
    both = advised(result(2000, 6, petioles=8), result(3000, 6, record=2, petioles=8))
    assert {"few petioles", "duplicates disagree"} <= fired(both)
    device = both.parts[0].relative
    assert device >= 0.2 - 1e-9  # half the range of the two, 1,000 of 2,500 ppm
    assert both.relative == pytest.approx((device**2 + 0.3**2 / 8 + 0.1**2) ** 0.5)


def test_a_stale_result_and_roots_in_trouble_are_both_named() -> None:
    found = advised(result(LOW, 3), observations=(seen(Sight.DRY_BED, day_in(6)),))
    assert "stale, roots in trouble" in line(found, "raise").saw


def test_an_overdue_sample_leads_the_things_to_do() -> None:
    change = in_force(1.3, until=day_in(5, 4))
    found = advised(result(LOW, 2), changes=(change,))
    assert found.to_do[0].startswith("A sample is overdue")
    assert any(text.startswith("Sample again now") for text in found.to_do[1:])


def test_a_cut_while_fruit_is_soft_and_the_season_is_late_goes_ahead() -> None:
    sample = result(9000, 12, delay=0)
    found = advised(
        sample,
        on=sample.sampled,
        the_plan=open_plan((RATE,) * 16),
        observations=(seen(Sight.SOFT_FRUIT, day_in(12)),),
        applications=fed(weeks=range(1, 17)),
    )
    assert found.action is Action.CUT and found.binding == ""


def test_a_season_of_leaves_alone_is_raised_on_low_leaves_and_never_cut() -> None:
    actions = {
        value: advised(*(leaf(value, week, record=week) for week in (4, 5, 6))).action
        for value in (1.8, 2.2, 2.8, 3.3, 3.8, 4.6, 6.0)
    }
    assert actions == {
        1.8: Action.RAISE,
        2.2: Action.RAISE,
        2.8: Action.HOLD,
        3.3: Action.HOLD,
        3.8: Action.HOLD,
        4.6: Action.HOLD,
        6.0: Action.HOLD,
    }


# --- the action ---------------------------------------------------------------------------------------------


def test_the_action_is_told_by_the_first_week_that_changes() -> None:
    ramp = (*(RATE,) * 6, 0.0, RATE, RATE, RATE, RATE, RATE)
    found = advised(result(LOW, 6), the_plan=open_plan(ramp))
    assert found.rates_lb_ac[0] == found.standing_rates_lb_ac[0] == 0.0
    assert found.action is Action.RAISE


def test_the_action_is_held_against_the_rate_in_force_not_the_plan() -> None:
    easing = advised(result(4400, 6), changes=(in_force(1.2),), applications=fed(1.2 * RATE))
    assert easing.factor > 1.0 and easing.action is Action.CUT
    assert easing.standing_rates_lb_ac == pytest.approx((1.2 * RATE,) * 2)


# --- the trace ----------------------------------------------------------------------------------------------


def test_the_rules_run_from_the_evidence_to_the_bounds() -> None:
    assert [(group, name) for group, name, _ in RULES] == [item for item in ORDER if item[0] != "companions"]


def seasons(count: int = 400) -> Iterator[tuple[BlockSeason, date]]:
    """Invented seasons of every sort, the same ones each time."""
    roll = random.Random(20260302)
    for _ in range(count):
        now = roll.randint(2, 12)
        results = [
            result(
                roll.choice((300.0, 900.0, 2000.0, 2900.0, 3500.0, 3900.0, 4700.0, 6000.0, 9000.0))
                * roll.uniform(0.9, 1.1),
                roll.randint(max(0, now - 2), now),
                record=number,
                offset=roll.randint(0, 6),
                delay=roll.choice((0, 3, 5)),
                petioles=roll.choice((None, 8, 19, 20, 25)),
                censor=roll.choice((Censor.NONE,) * 8 + (Censor.BELOW, Censor.ABOVE)),
                basis=roll.choice((Basis.DRY,) * 9 + (Basis.SAP,)),
            )
            for number in range(roll.randint(0, 5))
        ]
        results += [
            leaf(
                roll.uniform(low, high),
                now,
                record=50 + number,
                analyte=analyte,
                offset=roll.randint(0, 3),
                censor=roll.choice((Censor.NONE,) * 8 + (Censor.BELOW,)),
            )
            for number, (analyte, low, high) in enumerate(
                (
                    ("N", 2.0, 4.8),
                    ("K", 1.0, 2.0),
                    ("Mg", 0.2, 0.4),
                    ("S", 0.1, 0.3),
                    ("B", 30.0, 50.0),
                    ("P", 0.1, 0.3),
                )
            )
            if roll.random() < 0.5
        ]
        sights = roll.sample(list(Sight), roll.choice((0, 0, 0, 1, 3)))
        observations = [
            Observation(
                600, "north", day_in(now) - timedelta(days=roll.randint(0, 18)), sight, roll.uniform(5, 40)
            )
            for sight in sights
        ]
        rates = roll.choice(((RATE,) * 12, (1.75, 3.5, *(RATE,) * 8, 3.5, 0.0), (RATE, 0.0) * 6, (2.0,) * 12))
        changes = [
            in_force(
                roll.choice((0.6, 0.9, 1.1, 1.3)),
                since=week,
                until=day_in(week) + timedelta(days=roll.choice((4, 17, 70))),
                rates=rates,
            )
            for week in sorted(roll.sample(range(1, 12), roll.choice((0, 2, 4))))
            if week <= now
        ]
        cap = roll.choice((None, None, None, 40.0, 70.0, 90.0))
        credits_ = roll.choice(((), (Credit("preplant", 10.0, "none", Evidence.OWN),)))
        step = roll.choice((0.0, 0.05, 0.4))
        the_season = petiole_season(
            *results,
            the_plan=plan(rates, cap=cap, credits_=credits_, step=step),
            the_policy=with_policy(policy(), after_recovery=roll.choice(list(Recovery))),
            observations=tuple(observations),
            changes=tuple(changes),
            applications=fed(6.5, weeks=roll.choice((range(1, 13),) * 4 + (range(1, 3), ()))),
        )
        yield the_season, day_in(now, roll.randint(0, 6))


@pytest.fixture(scope="module")
def cases() -> list[tuple[Facts, Policy, Recommendation]]:
    out = []
    for the_season, on in seasons():
        facts = the_season.facts(on)
        out.append((facts, the_season.policy, evaluate(facts, the_season.policy)))
    return out


Cases = list[tuple[Facts, Policy, Recommendation]]


def test_the_trace_lists_every_rule_in_order_fired_or_not(cases: Cases) -> None:
    for _, _, found in cases:
        assert [(item.group, item.rule) for item in found.trace] == ORDER
    for name in {rule for _, rule in ORDER} - {"recalled band"}:
        assert {line(found, name).fired for _, _, found in cases} >= {True}, name
    for name in {rule for _, rule in ORDER} - {"review date"}:
        assert False in {line(found, name).fired for _, _, found in cases}, name


def test_every_line_of_the_trace_says_what_it_saw_why_and_where_it_comes_from(cases: Cases) -> None:
    for _, _, found in cases:
        for item in found.trace:
            assert item.saw and item.why and item.why.endswith("."), item
            assert names_a_source(item.source, item.evidence.value), item
            if item.change:
                assert item.fired, item


def test_no_line_of_the_trace_holds_a_number_gone_wrong(cases: Cases) -> None:
    for _, _, found in cases:
        for item in found.trace:
            text = f"{item.saw} {item.change} {item.why}".replace(",", " ").replace(";", " ")
            assert not {"nan", "inf", "-inf", "None", "-0.00"} & set(text.split()), item


MOVES = ("wanted", "early", "share", "no_raise", "no_cut", "factor", "binding", "moved_by")


def test_nothing_moves_the_rate_that_is_not_in_the_trace(cases: Cases) -> None:
    for facts, the_policy, found in cases:
        draft = Draft(factor=facts.factor)
        for (_, name, rule), item in zip(RULES, found.trace, strict=False):
            outcome = rule(facts, the_policy, draft)
            assert (outcome.fired, outcome.change) == (item.fired, item.change)
            for field in MOVES:
                if getattr(outcome.draft, field) != getattr(draft, field):
                    assert item.fired, (name, field)
                    assert field == "wanted" or item.change, (name, field)
            if draft.rates and outcome.draft.rates != draft.rates:
                assert item.fired and item.change, name
            if outcome.draft.resample and not draft.resample:
                assert item.fired, name
            if len(outcome.draft.to_do) > len(draft.to_do):
                assert item.fired, name
            draft = outcome.draft
        assert draft.factor == found.factor and draft.rates == found.rates_lb_ac


def test_rates_are_the_plan_times_the_factor_within_floor_and_ceiling(cases: Cases) -> None:
    for facts, _, found in cases:
        lines = {item.rule: item for item in found.trace}
        if lines["season cap"].change or lines["meterable rate"].change:
            continue
        expected = [
            bounded_rate(week.rate_lb_ac, found.factor, facts.floor_lb_ac, facts.ceiling_lb_ac)
            for week in found.weeks
        ]
        assert found.rates_lb_ac == pytest.approx(expected), facts


def test_a_floor_that_a_late_raise_falls_back_on_is_in_the_trace() -> None:
    # planned 3.5, in force 58 % of it: the floor of 3 holds; a raise by half would pass it, and it is too late
    ramp = (*(RATE,) * 10, 3.5, 3.5, 3.5, 3.5)
    change = in_force(0.58, since=9, until=day_in(14))
    sample = result(500, 11, delay=0)
    found = advised(
        sample,
        on=sample.sampled,
        the_plan=plan(ramp, step=0.0),
        changes=(change,),
        applications=fed(weeks=range(1, 12)),
    )
    assert line(found, "raise").fired and line(found, "late season").fired
    assert found.rates_lb_ac[0] == found.standing_rates_lb_ac[0] == 3.0
    assert any("floor" in f"{item.change} {item.why}" for item in found.trace if item.fired)


def test_a_rate_that_differs_from_the_one_in_force_was_moved_by_a_rule_that_fired(cases: Cases) -> None:
    moved = 0
    for _, _, found in cases:
        if found.action is Action.HOLD:
            continue
        moved += 1
        assert found.moved_by and line(found, found.moved_by).fired
        assert line(found, found.moved_by).change
    assert moved > 60


def test_a_cut_shows_the_projects_own_rule_or_the_rule_that_took_a_raise_back(cases: Cases) -> None:
    cuts = [found for _, _, found in cases if found.action is Action.CUT]
    assert len(cuts) > 20
    for found in cuts:
        assert found.moved_by in {"cut", "after recovery", "season cap"}
        if found.moved_by == "cut":
            trace = line(found, "cut")
            assert (trace.source, trace.evidence) == ("none", Evidence.PROJECT_RULE)
            assert "own rule" in trace.why


def test_the_binding_rule_is_one_of_the_bounds_and_fired(cases: Cases) -> None:
    names = {"floor": "floor and ceiling", "ceiling": "floor and ceiling"}
    seen_names = set()
    for _, _, found in cases:
        if found.binding:
            seen_names.add(found.binding)
            assert line(found, names.get(found.binding, found.binding)).fired
    assert seen_names == {"floor", "ceiling", "late season", "fruit quality", "season cap"}


def test_the_same_facts_give_the_same_recommendation(cases: Cases) -> None:
    for facts, the_policy, found in cases[:50]:
        assert evaluate(facts, the_policy) == found


def test_things_to_do_are_said_once(cases: Cases) -> None:
    for _, _, found in cases:
        assert len(found.to_do) == len(set(found.to_do))


def test_the_weeks_run_from_the_first_that_can_change_to_the_review(cases: Cases) -> None:
    for facts, _, found in cases:
        assert facts.on <= found.next_sample <= found.review
        assert len(found.weeks) == len(found.rates_lb_ac) == len(found.standing_rates_lb_ac)
        assert all(facts.on <= week.start < found.review for week in found.weeks)
        left_out = [week for week in facts.coming if week not in found.weeks]
        assert all(week.start >= found.review for week in left_out)


def test_a_higher_result_never_calls_for_a_higher_rate() -> None:
    for leaf_value in (None, LEAF_LOW, 3.3, LEAF_HIGH):
        leaves = () if leaf_value is None else (leaf(leaf_value),)
        factors = [advised(result(400.0 * 1.05**step, 6), *leaves).factor for step in range(75)]
        assert factors == sorted(factors, reverse=True)


def test_fired_tells_by_name() -> None:
    found = advised(result(HIGH, 6))
    assert found.fired("cut") and not found.fired("raise") and not found.fired("no such rule")
    assert found.factor == pytest.approx(1 - cut_size(HIGH))


def test_the_policy_of_a_recommendation_is_the_one_it_was_given() -> None:
    facts = petiole_season(result(2900, 6)).facts(SATURDAY)
    assert evaluate(facts, policy()).action is Action.HOLD
    assert evaluate(facts, with_policy(policy(), confidence=0.5)).action is Action.RAISE


def test_a_change_decided_on_the_day_itself_is_not_yet_in_force_for_the_rules() -> None:
    change: Change = replace(in_force(1.5, since=7), decided=SATURDAY)
    with_change = petiole_season(result(ENOUGH, 6), changes=(change,)).facts(SATURDAY)
    assert with_change.factor == 1.0
    assert with_change == petiole_season(result(ENOUGH, 6)).facts(SATURDAY)


# --- the benchmark ------------------------------------------------------------------------------------------


def test_the_benchmark_prints_its_rates_and_their_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark_engine.main(3)
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 3
    assert "evaluations" in lines[0] and "validations" in lines[1] and "validations of its facts" in lines[2]
