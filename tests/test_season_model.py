"""The shape of a season file: what each value may be."""

from __future__ import annotations

import copy
import tomllib
from datetime import date
from typing import Any

import pytest
from pydantic import ValidationError

from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis
from fertadjust.season_model import PlanIn, ProductIn, SeasonIn, StagesIn
from fertadjust.units import UnitSystem

GIVEN = tomllib.loads(
    """
schema = 1
[farm]
name = "Fernhill"
[crop]
name = "strawberry"
system = "annual plasticulture"
region = "US Southeast"
[bands]
tables = ["strawberry-petiole-dry-us-southeast"]
[stages]
first_bloom = 2026-03-02
[plan]
start = 2026-03-02
weeks = 12
basis = "bed"
rate = 5.25
[bounds]
floor = 3
ceiling = 7
[[credits]]
name = "preplant"
n = 60
[[products]]
name = "calcium nitrate"
grade = "15.5-0-0"
share = 1
[blocks.north]
row_length = 300
rows = 10
bed_top_width = 2.5
bed_spacing = 5
area_basis = "bed"
"""
)


def changed(*place: str | int, to: Any) -> dict[str, Any]:
    """What was given, with the value at a place replaced; None takes it away."""
    given = copy.deepcopy(GIVEN)
    part: Any = given
    for step in place[:-1]:
        part = part[step]
    if to is None:
        del part[place[-1]]
    else:
        part[place[-1]] = to
    return given


def faults(given: dict[str, Any]) -> list[tuple[tuple[str | int, ...], str]]:
    with pytest.raises(ValidationError) as caught:
        SeasonIn.model_validate(given)
    return [(item["loc"], item["msg"]) for item in caught.value.errors()]


def test_a_short_season_file_is_enough() -> None:
    season = SeasonIn.model_validate(GIVEN)
    assert season.farm.units is UnitSystem.US
    assert season.crop.planted is None
    assert season.bands.folder is None
    assert season.plan.injections_per_week == 1
    assert season.bounds.season_cap is None
    assert season.bounds.rate_step == 0.05
    assert season.credits[0].source == "none"
    assert season.credits[0].evidence is Evidence.OWN
    assert season.blocks["north"].area_basis is AreaBasis.BED
    assert season.policy == {}


def test_bounds_may_be_left_out() -> None:
    season = SeasonIn.model_validate(changed("bounds", to=None))
    assert (season.bounds.floor, season.bounds.ceiling) == (None, None)


def test_space_around_a_text_is_dropped() -> None:
    season = SeasonIn.model_validate(changed("farm", "name", to="  Fernhill \t"))
    assert season.farm.name == "Fernhill"


@pytest.mark.parametrize(
    "place",
    [
        ("schema",),
        ("farm",),
        ("farm", "name"),
        ("crop", "region"),
        ("bands", "tables"),
        ("stages",),
        ("plan", "start"),
        ("plan", "basis"),
        ("products",),
        ("blocks",),
        ("blocks", "north", "bed_spacing"),
        ("blocks", "north", "area_basis"),
        ("credits", 0, "name"),
    ],
)
def test_what_cannot_be_guessed_must_be_there(place: tuple[str | int, ...]) -> None:
    assert faults(changed(*place, to=None)) == [(place, "Field required")]


LABEL = "give name and grade from the label, or name a material: fertadjust materials list"
ROWS = "give row_length and rows, or row_lengths with one length for each row"


@pytest.mark.parametrize(
    ("place", "told"),
    [
        (("products", 0, "grade"), LABEL),
        (("products", 0, "name"), LABEL),
        (("blocks", "north", "row_length"), ROWS),
        (("blocks", "north", "rows"), ROWS),
        (("credits", 0, "n"), 'n is missing; a credit of kind "stated" needs n'),
    ],
)
def test_what_may_be_given_in_two_ways_must_be_there_in_one(place: tuple[str | int, ...], told: str) -> None:
    assert faults(changed(*place, to=None)) == [(place[:-1], f"Value error, {told}")]


@pytest.mark.parametrize("name", ["", "   "])
def test_a_product_without_a_material_needs_a_name_that_says_something(name: str) -> None:
    assert faults(changed("products", 0, "name", to=name)) == [(("products", 0), f"Value error, {LABEL}")]


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("schema",), 2),
        (("schema",), 0),
        (("schema",), "one"),
        (("farm", "name"), ""),
        (("farm", "name"), "   "),
        (("farm", "name"), 7),
        (("farm", "units"), "imperial"),
        (("crop", "planted"), "in autumn"),
        (("bands", "tables"), []),
        (("bands", "tables"), "strawberry-petiole-dry-us-southeast"),
        (("stages", "first_bloom"), "early March"),
        (("stages", "first_bloom"), [2026, 3, 2]),
        (("stages", "approximate"), "first_bloom"),
        (("plan", "start"), 20260302),
        (("plan", "weeks"), 0),
        (("plan", "weeks"), 61),
        (("plan", "weeks"), 2.5),
        (("plan", "weeks"), float("inf")),
        (("plan", "basis"), "acre"),
        (("plan", "rate"), -0.1),
        (("plan", "rate"), float("nan")),
        (("plan", "rate"), float("inf")),
        (("plan", "rate"), "five"),
        (("plan", "injections_per_week"), 0),
        (("plan", "injections_per_week"), 15),
        (("bounds", "floor"), -1),
        (("bounds", "floor"), float("nan")),
        (("bounds", "ceiling"), 0),
        (("bounds", "ceiling"), float("inf")),
        (("bounds", "season_cap"), 0),
        (("bounds", "season_cap"), float("nan")),
        (("bounds", "rate_step"), 0),
        (("bounds", "rate_step"), float("inf")),
        (("credits", 0, "n"), -1),
        (("credits", 0, "n"), float("inf")),
        (("credits", 0, "evidence"), "rumour"),
        (("products",), []),
        (("products", 0, "name"), 7),
        (("products", 0, "share"), 1.01),
        (("products", 0, "share"), -0.01),
        (("products", 0, "share"), float("nan")),
        (("products", 0, "ca"), 101),
        (("products", 0, "mg"), float("nan")),
        (("products", 0, "s"), -1),
        (("products", 0, "density"), 0),
        (("products", 0, "density"), float("inf")),
        (("products", 0, "nitrate_n"), -1),
        (("blocks", "north", "row_length"), 0),
        (("blocks", "north", "row_length"), float("inf")),
        (("blocks", "north", "row_length"), float("nan")),
        (("blocks", "north", "rows"), 0),
        (("blocks", "north", "rows"), 2.5),
        (("blocks", "north", "bed_spacing"), -5),
        (("blocks", "north", "area_basis"), "half"),
        (("blocks",), {}),
    ],
)
def test_a_value_out_of_its_range_is_refused_at_its_place(place: tuple[str | int, ...], value: object) -> None:
    found = faults(changed(*place, to=value))
    assert {loc[: len(place)] for loc, _ in found} == {place}


@pytest.mark.parametrize(
    "place",
    [("plan", "rate"), ("products", 0, "share"), ("blocks", "north", "rows")],
)
def test_yes_is_no_number(place: tuple[str | int, ...]) -> None:
    assert {loc for loc, _ in faults(changed(*place, to=True))} == {place}


@pytest.mark.parametrize(
    "place", [("colour",), ("farm", "colour"), ("blocks", "north", "colour"), ("plan", "colour")]
)
def test_a_key_that_is_not_known_is_refused(place: tuple[str | int, ...]) -> None:
    assert faults(changed(*place, to="red")) == [(place, "Extra inputs are not permitted")]


@pytest.mark.parametrize("key", ["North", "north field", "", "nörd", "-north", "a.b"])
def test_a_block_key_is_short_and_plain(key: str) -> None:
    found = faults(changed("blocks", to={key: GIVEN["blocks"]["north"]}))
    assert [loc[:2] for loc, _ in found] == [("blocks", key)]
    assert f'"{key}" should be lower-case letters, digits, - or _' in found[0][1]


@pytest.mark.parametrize("key", ["north", "n1", "7", "north-2", "a_b"])
def test_plain_block_keys_are_taken(key: str) -> None:
    season = SeasonIn.model_validate(changed("blocks", to={key: GIVEN["blocks"]["north"]}))
    assert list(season.blocks) == [key]


def plan(**given: Any) -> PlanIn:
    return PlanIn.model_validate({"start": date(2026, 3, 2), "weeks": 5, "basis": "bed"} | given)


def plan_fault(**given: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        plan(**given)
    (fault,) = caught.value.errors()
    return str(fault["msg"])


def test_one_rate_holds_for_every_week() -> None:
    assert plan(rate=5.25).rates() == [5.25] * 5
    assert plan(rate=0).rates() == [0] * 5


def test_each_step_of_a_ramp_holds_until_the_next() -> None:
    ramp = [{"week": 1, "rate": 3.5}, {"week": 3, "rate": 5.25}, {"week": 5, "rate": 0}]
    assert plan(ramp=ramp).rates() == [3.5, 3.5, 5.25, 5.25, 0]


def test_a_plan_needs_a_rate_or_a_ramp_and_not_both() -> None:
    both = "give rate for one rate all season, or ramp for steps; one of the two"
    assert both in plan_fault()
    assert both in plan_fault(rate=5, ramp=[{"week": 1, "rate": 5}])
    assert both in plan_fault(ramp=[])


@pytest.mark.parametrize(
    ("weeks", "told"),
    [
        ([2, 3], "ramp should begin with week = 1"),
        ([1, 3, 2], "ramp weeks should rise, each once"),
        ([1, 2, 2], "ramp weeks should rise, each once"),
        ([1, 6], "ramp goes to week 6, the plan has 5"),
    ],
)
def test_a_ramp_runs_from_week_one_upward_within_the_plan(weeks: list[int], told: str) -> None:
    assert told in plan_fault(ramp=[{"week": week, "rate": 5} for week in weeks])


def test_floor_above_ceiling_is_refused() -> None:
    found = faults(changed("bounds", "floor", to=7.5))
    assert found == [(("bounds",), "Value error, floor 7.5 is above ceiling 7")]


def test_floor_may_equal_ceiling() -> None:
    assert SeasonIn.model_validate(changed("bounds", "floor", to=7)).bounds.floor == 7


def test_a_bed_top_is_no_wider_than_the_spacing() -> None:
    found = faults(changed("blocks", "north", "bed_top_width", to=5.1))
    assert found == [(("blocks", "north"), "Value error, bed_top_width 5.1 is wider than bed_spacing 5")]
    assert SeasonIn.model_validate(changed("blocks", "north", "bed_top_width", to=5))


def test_linear_bed_feet_need_a_standard_spacing() -> None:
    found = faults(changed("blocks", "north", "area_basis", to="linear_bed"))
    assert found == [(("blocks", "north"), 'Value error, area_basis "linear_bed" needs standard_spacing')]


def product(**given: Any) -> ProductIn:
    return ProductIn.model_validate({"name": "a", "grade": "13-0-44"} | given)


def product_fault(**given: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        product(**given)
    (fault,) = caught.value.errors()
    return str(fault["msg"]).removeprefix("Value error, ")


@pytest.mark.parametrize(
    "grade", ["13-0", "13-0-44-2", "", "a-b-c", "13--44", "-13-0-44", "nan-0-0", "0-inf-0", "101-0-0", "13 0 44"]
)
def test_a_grade_is_three_percentages(grade: str) -> None:
    assert product_fault(grade=grade) == f'"{grade}" should be N-P2O5-K2O in percent, such as 13-0-45'


def test_a_grade_adds_up_to_no_more_than_all_of_it() -> None:
    assert product_fault(grade="60-30-20") == "60-30-20 adds up to 110 %, above 100 %"
    assert product(grade="50-30-20").percent == {"n": 50, "p2o5": 30, "k2o": 20}


def test_a_label_with_its_other_nutrients_adds_up_to_no_more_than_all_of_it() -> None:
    assert product_fault(grade="50-0-30", ca=15, mg=5, s=1) == "the label adds up to 101 %, above 100 %"


def test_nitrate_nitrogen_is_part_of_the_nitrogen() -> None:
    assert product_fault(nitrate_n=13.5) == "nitrate_n 13.5 % is above the total N of 13 %"
    assert product(nitrate_n=13).nitrate_n == 13


def test_a_product_without_nitrogen_has_no_share_of_it() -> None:
    assert product_fault(grade="0-0-50", share=0.2) == "0-0-50 holds no nitrogen and cannot have a share of it"
    assert product(grade="0-0-50").percent == {"n": 0, "k2o": 50}


def test_stages_come_in_order_of_time_whatever_their_names() -> None:
    stages = StagesIn.model_validate(
        {
            "main_harvest": date(2026, 4, 20),
            "first_bloom": date(2026, 3, 2),
            "fruit": date(2026, 4, 1),
            "approximate": ["fruit"],
        }
    )
    assert list(stages.dates) == ["first_bloom", "fruit", "main_harvest"]
    assert stages.approximate == ["fruit"]
