"""Guards of the rules, each left out to see what it is good for."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from fertadjust.errors import UserError
from fertadjust.rules.engine import MAY_BE_LEFT_OUT, RULES, evaluate
from fertadjust.rules.policy import Policy
from fertadjust.simulate.controllers import ByTheRules
from fertadjust.simulate.guards import GUARDS, Guard, guards_of, with_policy, with_values, without
from fertadjust.simulate.runs import Run, Way, one_batch, run
from tests.simulate.support import georgia, setup
from tests.support import day_in, policy, result, season

BY_NAME = {guard.name: guard for guard in GUARDS}
SEED = 901
"""A seed that nothing was chosen on."""
SEASONS = {"hungry-crop": 250, "weekly": 250, "modest-crop": 500}
"""Seasons enough for an interval of 95 %; fewer where a guard does more."""
FEWER = 150


# --- what a guard names ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("guard", GUARDS, ids=lambda guard: guard.name)
def test_a_guard_names_rules_that_can_be_left_out_or_values_that_the_policy_knows(guard: Guard) -> None:
    assert guard.words and guard.name
    assert guard.rules <= MAY_BE_LEFT_OUT
    assert guard.rules or guard.policy or guard.open_bounds or guard.open_cap
    values = with_values(policy(), guard.policy)
    for name, value in guard.policy.items():
        assert name in Policy.model_fields
        assert getattr(values, name).value == value
        assert getattr(policy(), name).value != value


def test_guards_have_names_of_their_own() -> None:
    assert len(BY_NAME) == len(GUARDS)


def test_what_can_be_left_out_is_a_rule_and_decides_neither_the_step_nor_a_bound_of_the_grower() -> None:
    names = {name for _, name, _ in RULES}
    assert names > MAY_BE_LEFT_OUT
    assert MAY_BE_LEFT_OUT.isdisjoint({"status", "raise", "cut", "review date", "floor and ceiling"})


@pytest.mark.parametrize("names", [("sunshine",), ("raise",), ("stale", "floor and ceiling")])
def test_a_rule_that_cannot_be_left_out_is_refused_by_its_name(names: tuple[str, ...]) -> None:
    facts = season(result(2000.0)).facts(day_in(6, 5))
    with pytest.raises(ValueError, match="cannot be left out") as caught:
        evaluate(facts, policy(), without=names)
    refused = [name for name in names if name not in MAY_BE_LEFT_OUT]
    assert str(caught.value).endswith(", ".join(sorted(refused)))


@pytest.mark.parametrize("value", [600.0, 2000.0, 2900.0, 4000.0, 5600.0])
def test_with_nothing_left_out_nothing_changes(value: float) -> None:
    facts = season(result(4500.0, 4), result(value, record=2)).facts(day_in(6, 5))
    assert evaluate(facts, policy(), without=()) == evaluate(facts, policy())


@pytest.mark.parametrize("name", sorted(MAY_BE_LEFT_OUT))
def test_a_rule_that_is_left_out_is_not_in_the_trace_and_the_others_are(name: str) -> None:
    facts = season(result(2000.0)).facts(day_in(6, 5))
    whole, part = (evaluate(facts, policy(), without=names).trace for names in ((), (name,)))
    assert [line.rule for line in part] == [line.rule for line in whole if line.rule != name]


def test_other_values_are_checked_as_a_season_files_own() -> None:
    with pytest.raises(ValidationError):
        with_values(policy(), {"confidence": 0.3})


def test_a_value_that_the_policy_does_not_have_is_refused_by_its_name() -> None:
    with pytest.raises(UserError) as caught:
        with_values(policy(), {"sunshine": 0.5})
    (fault,) = caught.value.faults
    assert fault.key == "sunshine"
    assert "confidence" in fault.message


def test_other_values_leave_the_rest_of_the_policy_alone() -> None:
    found = with_values(policy(), {"confidence": 0.6})
    for name in Policy.model_fields:
        if name != "confidence":
            assert getattr(found, name) == getattr(policy(), name), name
    changed = with_policy(setup(), found)
    assert changed.season.policy.confidence.value == 0.6
    assert changed.season.plan == setup().season.plan


def test_leaving_out_changes_nothing_but_the_guard() -> None:
    of = setup("usual")
    for guard in GUARDS:
        way = without(of, guard)
        assert way.name == f"without {guard.name}"
        assert isinstance(way.controller, ByTheRules)
        assert way.controller.without == guard.rules
        assert (way.setup.model, way.setup.scenario, way.setup.seed) == (of.model, of.scenario, of.seed)
        assert way.setup.season.plan.rates_lb_ac == of.season.plan.rates_lb_ac


def test_without_the_season_cap_the_plan_has_none_and_is_held_to_the_real_one() -> None:
    of = setup("usual", base=georgia(cap=56.0))
    way = without(of, BY_NAME["season cap"])
    assert way.setup.season.plan == replace(of.season.plan, cap_lb_ac=None)
    assert way.held_to == of.season.plan
    course, measures = one_batch(way, 0, 10)
    assert np.isinf(course.room).all()
    assert set(measures["over_cap"]) <= {0.0, 1.0}
    assert (measures["over_cap"] == (course.applied.sum(axis=0) > 56.01)).all()


def test_without_floor_and_ceiling_the_plan_is_open_and_held_to_the_real_one() -> None:
    of = setup("usual", base=georgia(cap=56.0))
    way = without(of, BY_NAME["floor and ceiling"])
    opened = way.setup.season.plan
    assert opened.floor_lb_ac == 0.0 and opened.ceiling_lb_ac > 100.0
    assert opened.cap_lb_ac == 56.0
    assert way.held_to == of.season.plan


def test_a_policy_without_a_last_week_for_raises_has_no_guard_of_it() -> None:
    names = [guard.name for guard in GUARDS]
    assert [guard.name for guard in guards_of(policy())] == names
    never = policy().model_copy(update={"no_raise_after_week": None})
    assert [guard.name for guard in guards_of(never)] == [name for name in names if name != "late season"]


# --- what a guard does, on seasons that nothing was chosen on -------------------------------------------------


@cache
def beside(scenario: str, name: str, cap: float | None = None) -> tuple[Run, Run]:
    """The rules without a guard, and with all of them, on the same seasons."""
    of = setup(scenario, SEED, georgia(cap=cap))
    (free,) = run([without(of, BY_NAME[name])], SEASONS.get(scenario, FEWER))
    return free, with_all(scenario, cap)


@cache
def with_all(scenario: str, cap: float | None) -> Run:
    of = setup(scenario, SEED, georgia(cap=cap))
    return run([Way("rules", of, ByTheRules())], SEASONS.get(scenario, FEWER))[0]


EFFECTS: list[Any] = [
    ("confidence", "weekly", "changes", 1),
    ("stage in doubt", "wrong-stage", "changes", 1),
    ("stage in doubt", "wrong-stage", "reversals", 1),
    ("stage in doubt", "wrong-stage", "applied", 1),
    ("stage in doubt", "modest-crop", "above", 1),
    ("too soon", "weekly", "changes", 1),
    ("twice in a row", "modest-crop", "changes", 1),
    ("missed applications", "missed-feeding", "applied", 1),
    ("missed applications", "missed-feeding", "changes", 1),
    ("heading out", "weekly", "changes", -1),
    ("after recovery", "weekly", "changes", -1),
    ("late season", "hungry-crop", "applied", 1),
    ("late season", "hungry-crop", "left", 1),
    ("floor and ceiling", "hungry-crop", "applied", 1),
    ("floor and ceiling", "hungry-crop", "unmet", -1),
]
"""Guard, scenario in which it matters, measure, and the direction in which it goes without the guard."""


@pytest.mark.parametrize(("guard", "scenario", "measure", "direction"), EFFECTS)
def test_without_a_guard_a_measure_goes_where_the_guard_holds_it_back(
    guard: str, scenario: str, measure: str, direction: int
) -> None:
    """The 95 % interval of the difference, season by season, leaves out nothing."""
    free, guarded = beside(scenario, guard)
    found = free.beside(guarded, measure)
    assert direction * found.mean > 0
    assert found.low > 0 or found.high < 0


def test_without_floor_and_ceiling_more_weeks_lie_outside_them() -> None:
    free, guarded = beside("hungry-crop", "floor and ceiling")
    assert free.rate.max() > 7.0
    assert free.beside(guarded, "out_of_bounds").low > 0


def test_without_the_season_cap_more_seasons_pass_it() -> None:
    free, guarded = beside("hungry-crop", "season cap", 56.0)
    assert guarded.measures["over_cap"].max() == 0.0
    assert free.beside(guarded, "over_cap").low > 0


def test_without_the_season_cap_as_much_is_fed_as_where_there_is_none() -> None:
    """Some 62 lb/ac; with the guard 55, without it 55 as well."""
    free, _ = beside("hungry-crop", "season cap", 56.0)
    uncapped = with_all("hungry-crop", None).estimate("applied").mean
    assert free.estimate("applied").mean == pytest.approx(uncapped, abs=1.0)
