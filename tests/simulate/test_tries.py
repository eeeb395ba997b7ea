"""Policy values to try: how they are written, and everything that is wrong with them at once."""

from __future__ import annotations

from typing import Any

import pytest

from fertadjust.errors import Fault, UserError
from fertadjust.rules.policy import Policy
from fertadjust.shipped import shipped_policy
from fertadjust.simulation_tries import check_tried, read_tried
from fertadjust.units import UnitSystem

OPTION = "--try"


def policy(name: str = "strawberry-annual-plasticulture") -> Policy:
    return shipped_policy(name)


def read(*given: str, of: Policy | None = None, units: UnitSystem = UnitSystem.US) -> dict[str, Any]:
    return read_tried(of or policy(), given, units, OPTION)


def told(*given: str) -> dict[str, str]:
    """What is said of each value, by the option as it is named in the fault."""
    with pytest.raises(UserError) as caught:
        read(*given)
    assert len({fault.key for fault in caught.value.faults}) == len(caught.value.faults)
    return {fault.key.removeprefix(f"{OPTION} "): fault.message for fault in caught.value.faults}


def faults(values: Any) -> list[Fault]:
    with pytest.raises(UserError) as caught:
        check_tried(policy(), values)
    return list(caught.value.faults)


def test_values_are_read_as_they_stand_under_policy() -> None:
    assert read("confidence = 0.6", "after_recovery=keep", "recalled_may_cut=true") == {
        "confidence": 0.6,
        "after_recovery": "keep",
        "recalled_may_cut": True,
    }
    assert read("cross_check.low-leaf-sufficient=full") == {"cross_check": {"low-leaf-sufficient": "full"}}
    assert read() == {}


def test_an_amount_reaches_the_rules_in_pounds() -> None:
    """20 kg/ha is 17.844 lb/ac, from the exact definitions of pound and acre."""
    florida = policy("florida-strawberry")
    given = ("corrective_most=20", "confidence=0.9")
    metric = read(*given, of=florida, units=UnitSystem.METRIC)
    assert metric == {"corrective_most": pytest.approx(17.8436, abs=1e-3), "confidence": 0.9}
    assert read(*given, of=florida) == {"corrective_most": 20.0, "confidence": 0.9}
    with pytest.raises(UserError, match="is above corrective_most"):
        read("corrective_least=20", of=florida, units=UnitSystem.METRIC)


@pytest.mark.parametrize(
    "given", ["confidence=0.8", "confidence=.80", "after_recovery=ease", "recalled_may_cut=false"]
)
def test_the_value_that_stands_already_is_nothing_to_try(given: str) -> None:
    name = given.partition("=")[0]
    assert told(given) == {name: "that is its value already, so there is nothing to try; name another"}


def test_a_step_that_stands_already_is_nothing_to_try() -> None:
    row = next(item for item in policy().cross_check if item.id == "low-leaf-sufficient")
    (message,) = told(f"cross_check.{row.id}={row.step}").values()
    assert "is its value already" in message


def test_an_amount_that_stands_already_is_known_in_any_unit() -> None:
    """UF-HS906, recalled: 7 x 2.0 = 14 lb/ac, which is 15.69 kg/ha."""
    florida = policy("florida-strawberry")
    with pytest.raises(UserError, match="is its value already"):
        read("corrective_most=14", of=florida)
    exact = UnitSystem.METRIC.rate_out(14.0)
    with pytest.raises(UserError, match="is its value already"):
        read(f"corrective_most={exact!r}", of=florida, units=UnitSystem.METRIC)


def test_a_name_that_is_nearly_one_is_told_the_near_ones() -> None:
    said = told("confidenc=0.9", "foo=1")
    where = "All of them: fertadjust rules show strawberry-annual-plasticulture"
    assert said["confidenc"] == f'"confidenc" is no policy value; did you mean confidence? {where}'
    assert said["foo"] == f'"foo" is no policy value. {where}'
    assert "cross_check.low-leaf-sufficient" in told("cross_check.low-leaf-suficient=full").popitem()[1]


def test_all_kinds_of_faults_are_told_at_once() -> None:
    said = told(
        "cv_leaf", "foo=1", "confidence=0.8", "recalled_may_cut=3", "raise_first=abc", "cut_first=0.9",
        "cross_check.low-leaf-sufficient=most", "sample_days=5", "sample_days=6", "floor=2",
    )  # fmt: skip
    assert said["cv_leaf"] == "write it as name=value, for example confidence=0.9"
    assert said["foo"].startswith('"foo" is no policy value')
    assert "is its value already" in said["confidence"]
    assert said["recalled_may_cut"] == "should be true or false; found 3"
    assert said["raise_first"] == 'should be a number; found "abc"'
    assert said["cut_first"] == "cut_first 0.9 is above cut_largest 0.25"
    assert said["cross_check.low-leaf-sufficient"].startswith("should be 'full', 'half' or 'hold'")
    assert said["sample_days=6"] == "is given twice; give it once"
    assert said["floor"].startswith("floor and ceiling are set under [bounds]")
    assert len(said) == 9


def test_a_pair_is_not_held_against_a_value_that_will_not_do() -> None:
    """raise_first 0.6 fits a raise_largest of 0.9, which is what was meant by the one that cannot be read."""
    assert list(told("raise_first=0.6", "raise_largest=o.9")) == ["raise_largest"]


@pytest.mark.parametrize("text", ["confidence=nan", "confidence=inf"])
def test_no_number_is_told(text: str) -> None:
    assert told(text)["confidence"].startswith("should be a number; found ")


@pytest.mark.parametrize("name", ["confidence", "cut_first"])
def test_a_value_that_the_policy_does_not_allow_is_told_by_its_name(name: str) -> None:
    (fault,) = faults({name: 7.5})
    assert fault.key == name
    assert "7.5" in fault.message


@pytest.mark.parametrize(
    ("values", "key", "part"),
    [
        ({"cross_check": {"nothing": "full"}}, "cross_check.nothing", "is no policy value"),
        ({"cross_check": "full"}, "cross_check", "name one of its rows as cross_check.row"),
        ({"companions": {"x": 1.0}}, "companions", "is no policy value"),
        ({"confidence": {"value": 0.9}}, "confidence", "should be the value itself, not a table"),
        ({"ceiling": 9.0}, "ceiling", "cannot be tried here"),
        ({"corrective_most": 20.0}, "corrective_most", "is no policy value"),
    ],
)
def test_what_there_is_no_value_of_is_told(values: Any, key: str, part: str) -> None:
    (fault,) = faults(values)
    assert fault.key == key
    assert part in fault.message


def test_what_the_policy_allows_is_taken() -> None:
    check_tried(policy(), {"confidence": 0.9, "cross_check": {"low-leaf-sufficient": "full"}})
    check_tried(policy(), {"confidence": policy().confidence.value})
