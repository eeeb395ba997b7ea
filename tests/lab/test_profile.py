"""Answers to a report's questions: kept, checked, and never changed in place."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from fertadjust.errors import UserError
from fertadjust.lab.days import Order
from fertadjust.lab.profile import Profile, told
from fertadjust.lab.values import Decimal


def refusal(key: str, answer: str) -> str:
    with pytest.raises(UserError) as caught:
        told(Profile(), key, answer)
    (fault,) = caught.value.faults
    return str(fault)


@pytest.mark.parametrize(
    ("key", "answer", "expected"),
    [
        ("tissue", "Split", {"tissue": "split"}),
        ("basis", "sap", {"basis": "sap"}),
        ("dates", "day first", {"dates": Order.DAY_FIRST}),
        ("decimal", "COMMA", {"decimal": Decimal.COMMA}),
        ("columns.nitrate", "no3-n", {"columns": {"nitrate": "NO3-N"}}),
        ("columns.Extra_info", "ignore", {"columns": {"extra info": "ignore"}}),
        ("units.n", "percent", {"units": {"n": "%"}}),
        ("units.NO3-N", "mg/kg", {"units": {"NO3-N": "mg/kg"}}),
        ("limits.K", "0.05", {"limits": {"K": 0.05}}),
        ("qualifiers.U", "<", {"qualifiers": {"u": "<"}}),
        ("laboratory", "Example Laboratory", {"laboratory": "Example Laboratory"}),
        ("sheet", "Results", {"sheet": "Results"}),
    ],
)
def test_an_answer_is_kept(key: str, answer: str, expected: dict[str, object]) -> None:
    assert told(Profile(), key, answer) == Profile.model_validate(expected)


def test_answers_add_up_and_the_profile_before_stays_as_it_was() -> None:
    first = told(Profile(), "columns.nitrate", "NO3")
    second = told(first, "columns.extra", "note")
    assert first.columns == {"nitrate": "NO3"}
    assert second.columns == {"nitrate": "NO3", "extra": "note"}


@pytest.mark.parametrize(
    ("key", "answer", "accepted"),
    [
        ("tissue", "root", "petiole, leaf, split"),
        ("basis", "", "dry, sap"),
        ("dates", "year", "day first, month first"),
        ("decimal", ".", "point, comma"),
        ("columns.extra", "TKN", "ignore"),
        ("units.n", "lb/ac", "mg/kg"),
        ("limits.K", "-1", "above zero"),
        ("limits.K", "nan", "above zero"),
        ("limits.K", "ten", "above zero"),
        ("qualifiers.u", "=", "<, >, ignore"),
        ("sheet", " ", "a name"),
        ("colour", "red", "no question"),
        ("units", "ppm", "no question"),
        ("units.", "ppm", "no question"),
    ],
)
def test_other_answers_are_told_what_would_be_right(key: str, answer: str, accepted: str) -> None:
    assert accepted in refusal(key, answer)


def test_a_profile_takes_nothing_it_does_not_know() -> None:
    with pytest.raises(ValidationError):
        Profile.model_validate({"colour": "red"})


def test_a_profile_survives_being_stored() -> None:
    profile = told(told(Profile(header=("sample", "n %")), "dates", "month first"), "limits.K", "0.1")
    assert Profile.model_validate_json(profile.model_dump_json()) == profile
