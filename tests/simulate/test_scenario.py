"""Scenarios: what goes wrong, and which figures are refused."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from fertadjust.simulate.scenario import Scenario
from fertadjust.simulation_files import scenarios

LEAST = {"schema": 1, "id": "own", "title": "Our own."}


def of(**parts: Any) -> Scenario:
    return Scenario.model_validate(LEAST | parts)


def test_a_name_is_all_that_a_scenario_needs() -> None:
    found = of()
    assert (found.seed, found.sampling.every, found.sampling.first_day) == (1, "as advised", 9)
    assert (found.rain.a_week, found.feeding.missed, found.feeding.logged) == (0.0, 0.0, 1.0)
    assert (found.field.need.low, found.field.need.high) == (1.0, 1.0)


@pytest.mark.parametrize(
    ("parts", "message"),
    [
        ({"schema": 2}, "1"),
        ({"id": "Our own"}, "pattern"),
        ({"title": ""}, "at least 1"),
        ({"seed": -1}, "greater than or equal to 0"),
        ({"seed": 1.5}, "integer"),
        ({"seed": "1"}, "integer"),
        ({"seed": True}, "integer"),
        ({"sampling": {"every": 0}}, "whole number of days from 3 to 60; found 0"),
        ({"sampling": {"every": 2}}, "whole number of days from 3 to 60; found 2"),
        ({"sampling": {"every": "weekly"}}, "as advised"),
        ({"sampling": {"lost": 1.1}}, "less than or equal to 1"),
        ({"sampling": {"petioles": 0}}, "greater than or equal to 1"),
        ({"laboratory": {"days": {"low": 5, "high": 2}}}, "low 5 is above high 2"),
        ({"laboratory": {"days": {"low": 1.5, "high": 2}}}, "integer"),
        ({"laboratory": {"bias": {"low": 0, "high": 1}}}, "should be above 0"),
        ({"laboratory": {"bias": {"low": 1.2, "high": 1}}}, "low 1.2 is above high 1"),
        ({"laboratory": {"reports_from": 0}}, "greater than 0"),
        ({"laboratory": {"petiole_cv": float("nan")}}, "finite"),
        ({"feeding": {"missed": -0.1}}, "greater than or equal to 0"),
        ({"rain": {"a_week": 8}}, "less than or equal to 7"),
        ({"rain": {"lost": {"low": -0.1, "high": 0.5}}}, "should be a share"),
        ({"rain": {"lost": {"low": 0.1, "high": 1.5}}}, "should be a share"),
        ({"stage": {"days_off": {"low": -61, "high": 0}}}, "greater than or equal to -60"),
        ({"field": {"need": {"low": 0, "high": 1}}}, "should be above 0"),
        ({"field": {"water_nitrate": {"low": -1, "high": 1}}}, "should not be below 0"),
        ({"weather": {"a_week": 1}}, "Extra"),
        ({"rain": {"often": 1}}, "Extra"),
    ],
)
def test_what_cannot_be_is_refused(parts: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        of(**parts)


def test_a_laboratory_cannot_answer_before_it_has_the_sample() -> None:
    with pytest.raises(ValidationError):
        of(laboratory={"days": {"low": -3, "high": 2}})


def test_every_shipped_scenario_is_named_as_its_file_and_says_what_it_is() -> None:
    assert {"usual", "rough", "weekly", "wrong-stage"} <= set(scenarios())
    for name, found in scenarios().items():
        assert found.id == name
        assert found.title.endswith(".")


@pytest.mark.parametrize("name", ["weekly", "hungry-crop", "late-laboratory"])
def test_a_shipped_scenario_differs_from_the_usual_one_in_what_it_names_only(name: str) -> None:
    usual, found = (scenarios()[of].model_dump() for of in ("usual", name))
    named = {"weekly": "sampling", "hungry-crop": "field", "late-laboratory": "laboratory"}[name]
    assert {key for key in usual if usual[key] != found[key]} == {"id", "title", named}
