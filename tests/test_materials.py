"""Soluble fertilizers as data: what a stock holds, what a file may say, and what a material answers to."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from fertadjust.errors import PlacedError, UserError
from fertadjust.evidence import Evidence, split_sources
from fertadjust.materials import Figures, Material, MaterialFile, Solubility, find_material, plain_name
from fertadjust.products import NUTRIENTS, Product
from fertadjust.shipped import citations, shipped_materials
from fertadjust.units import LB_GAL_PER_KG_L, UnitSystem

TABLE = Solubility(((0.0, 0.10), (10.0, 0.20), (40.0, 0.50)), "none", Evidence.OWN)

OWN = {"source": "none", "evidence": "own"}


def material(**changed: Any) -> Material:
    """A dry material of 15 % nitrogen, with some fields otherwise."""
    data: dict[str, Any] = {"id": "own_salt", "name": "own salt", "analysis": {"n": 15, **OWN}}
    return Material.model_validate(data | changed)


def refusal(**changed: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        material(**changed)
    return str(caught.value)


def solubility(**changed: Any) -> dict[str, Any]:
    return {"unit": "mass percent", "rows": [[0, 20.0], [20, 40.0]], **OWN} | changed


# --- what a stock holds --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("celsius", "share"), [(0, 0.10), (5, 0.15), (10, 0.20), (25, 0.35), (40, 0.50)], ids=lambda value: f"{value}"
)
def test_the_limit_is_linear_between_the_rows_and_the_end_rows_belong_to_them(
    celsius: float, share: float
) -> None:
    assert TABLE.limit_lb_gal(celsius) == pytest.approx(share * LB_GAL_PER_KG_L, rel=1e-12)


@given(st.floats(0, 40), st.floats(0, 40))
def test_a_warmer_stock_never_holds_less(one: float, other: float) -> None:
    colder, warmer = sorted((one, other))
    assert TABLE.limit_lb_gal(colder) <= TABLE.limit_lb_gal(warmer) * (1 + 1e-12)


@pytest.mark.parametrize("celsius", [-0.001, 40.001, math.nan, math.inf])
def test_outside_the_rows_the_range_is_told_in_both_units(celsius: float) -> None:
    with pytest.raises(UserError, match=r"from 0 °C \(32 °F\) to 40 °C \(104 °F\), not at"):
        TABLE.limit_lb_gal(celsius)


def test_the_temperature_asked_for_is_told_in_both_units() -> None:
    with pytest.raises(UserError, match=r"not at 45 °C \(113 °F\); give a temperature in that range"):
        TABLE.limit_lb_gal(45.0)


@pytest.mark.parametrize("name", [name for name, item in shipped_materials().items() if item.solubility])
def test_the_ends_of_a_shipped_range_are_inside_when_given_in_fahrenheit(name: str) -> None:
    found = shipped_materials()[name].used_solubility()
    assert found is not None
    for celsius, share in (found.rows[0], found.rows[-1]):
        fahrenheit = round(UnitSystem.US.temperature_out(celsius), 6)
        limit = found.limit_lb_gal(UnitSystem.US.temperature_in(fahrenheit))
        assert limit == pytest.approx(share * LB_GAL_PER_KG_L)


def test_mass_percent_is_taken_per_weight_of_solution() -> None:
    found = material(solubility=solubility()).used_solubility()
    assert found is not None
    assert found.rows == ((0.0, 0.2), (20.0, 0.4))
    assert (found.source, found.evidence) == ("none", Evidence.OWN)


def test_grams_per_kg_of_water_are_taken_per_weight_of_solution() -> None:
    found = material(solubility=solubility(unit="g/kg water", rows=[[0, 250], [20, 1000]])).used_solubility()
    assert found is not None
    assert found.rows == ((0.0, pytest.approx(0.2)), (20.0, pytest.approx(0.5)))


def test_crystal_water_is_weighed_with_the_product() -> None:
    found = material(solubility=solubility(crystal_water=50.0, note="half water")).used_solubility()
    assert found is not None
    assert found.rows == ((0.0, pytest.approx(0.4)), (20.0, pytest.approx(0.8)))
    assert found.note == "half water"


def test_without_a_figure_there_is_no_solubility() -> None:
    assert material().used_solubility() is None


# --- a material ----------------------------------------------------------------------------------------------


def test_nitrogen_is_always_stated_and_other_nutrients_where_there_are_any() -> None:
    found = material(analysis={"n": 0, "p2o5": 0, "k2o": 50, **OWN}, secondary={"s": 18, **OWN})
    assert found.percent == {"n": 0, "k2o": 50, "s": 18}
    assert found.grade == "0-0-50"


def test_the_grade_is_written_as_on_a_label() -> None:
    assert material(analysis={"n": 15.5, **OWN}).grade == "15.5-0-0"
    assert material(analysis=None, secondary={"b": 17.5, **OWN}).grade == "0-0-0"


def test_a_grade_is_that_of_a_product_with_the_same_percents() -> None:
    for found in shipped_materials().values():
        assert Product(found.name, found.percent).grade == found.grade
        assert set(found.percent) <= set(NUTRIENTS)


@pytest.mark.parametrize(("nitrate", "ok"), [(14.9, True), (15.1, True), (14.89, False), (15.11, False)])
def test_forms_of_nitrogen_add_up_to_the_total_within_a_tenth_of_a_point(nitrate: float, ok: bool) -> None:
    forms = {"nitrate": nitrate, **OWN}
    if ok:
        assert material(forms=forms).forms is not None
    else:
        assert f"the forms of nitrogen add up to {nitrate} %, the total N is 15 %" in refusal(forms=forms)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"analysis": {"n": 60, "k2o": 30, **OWN}, "secondary": {"s": 11, **OWN}}, "add up to 101 %"),
        ({"analysis": {"n": 101, **OWN}}, "less than or equal to 100"),
        ({"analysis": {"n": -1, **OWN}}, "greater than or equal to 0"),
        ({"analysis": {"n": math.nan, **OWN}}, "finite"),
        ({"analysis": {"n": "15", **OWN}}, "valid number"),
        ({"analysis": None}, "at least one nutrient"),
        ({"liquid": True}, "needs a density, or a note"),
        ({"density": {"lb_gal": 10.0, **OWN}}, "a dry product has no density"),
        (
            {"liquid": True, "density": {"lb_gal": 10.0, **OWN}, "solubility": solubility()},
            "a liquid has no solubility",
        ),
        ({"solubility": solubility(rows=[[0, 20.0]])}, "at least 2 items"),
        ({"solubility": solubility(rows=[[0, 20.0], [0, 30.0]])}, "temperatures should rise"),
        ({"solubility": solubility(rows=[[0, 20.0], [10, 100.0]])}, "100 mass percent at 10 °C is more product"),
        ({"solubility": solubility(crystal_water=60.0)}, "40 mass percent at 20 °C is more product"),
        ({"solubility": solubility(crystal_water=100.0)}, "less than 100"),
        ({"solubility": solubility(unit="g/kg water", crystal_water=10.0)}, "goes with unit"),
        (
            {"solubility": solubility(crystal_water=10.0, source="CRC-98", evidence="published")},
            "evidence is derived",
        ),
        ({"solubility": solubility(unit="g/L")}, "'mass percent' or 'g/kg water'"),
        ({"salt_index": {"value": 0, **OWN}}, "greater than 0"),
        (
            {"analysis": {"n": 15, "source": "none", "evidence": "published"}},
            'evidence "published" needs a source',
        ),
        ({"analysis": {"n": 15, "source": "none", "evidence": "derived"}}, 'evidence "derived" needs a source'),
        ({"analysis": {"n": 15, "source": "none", "evidence": "recalled"}}, "needs a note with"),
        ({"analysis": {"n": 15}}, "Field required"),
        ({"brand": "some"}, "Extra inputs are not permitted"),
        ({"id": "Own Salt"}, "should match pattern"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_a_material_can_not_be_is_told(changed: dict[str, Any], told: str) -> None:
    assert told in refusal(**changed)


def test_a_liquid_without_a_known_density_says_where_to_take_it_from() -> None:
    assert material(liquid=True, note="take it from the label").density is None


def test_a_material_as_plain_data_can_be_read_again() -> None:
    for found in shipped_materials().values():
        assert Material.model_validate(found.as_data()) == found


# --- a file of materials -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("other", "clash"),
    [
        ({"id": "own_salt", "name": "another salt"}, "ownsalt"),
        ({"id": "other", "name": "Own-Salt"}, "ownsalt"),
        ({"id": "other", "name": "other salt (own salt)"}, "ownsalt"),
    ],
    ids=["same id", "same name", "same name in brackets"],
)
def test_two_materials_of_one_name_are_told_with_their_place(other: dict[str, Any], clash: str) -> None:
    data = {"schema": 1, "materials": [material().as_data(), material(**other).as_data()]}
    with pytest.raises(ValidationError) as caught:
        MaterialFile.model_validate(data)
    cause = caught.value.errors()[0]["ctx"]["error"]
    assert isinstance(cause, PlacedError)
    [(place, message)] = cause.placed
    assert place == ("materials", 1)
    assert message.startswith(f'"{clash}" means own_salt already')


def test_a_file_without_materials_is_refused() -> None:
    with pytest.raises(ValidationError, match="at least 1 item"):
        MaterialFile.model_validate({"schema": 1, "materials": []})


# --- finding one ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("calcium_nitrate", "calcium_nitrate"),
        ("Calcium nitrate", "calcium_nitrate"),
        ("  POTASSIUM  NITRATE ", "potassium_nitrate"),
        ("MAP", "map"),
        ("monoammonium phosphate", "map"),
        ("monoammonium phosphate (MAP)", "map"),
        ("UAN 32", "uan_32"),
        ("uan-28", "uan_28"),
        ("UAN32", "uan_32"),
        ("Epsom salt", "epsom"),
    ],
)
def test_a_material_is_found_by_id_and_by_name(wanted: str, found: str) -> None:
    assert find_material(wanted, shipped_materials()).id == found


def test_every_shipped_material_is_found_by_its_id_and_its_name() -> None:
    for name, item in shipped_materials().items():
        assert find_material(name, shipped_materials()) is item
        assert find_material(item.name, shipped_materials()) is item


@pytest.mark.parametrize(
    ("wanted", "near"),
    [("calcum nitrate", "calcium_nitrate"), ("potasium sulphate", "potassium_sulfate"), ("octaborate", "dot")],
)
def test_an_unknown_name_is_told_with_those_near_it(wanted: str, near: str) -> None:
    with pytest.raises(UserError, match=f'there is no material "{wanted}"; near it: ') as caught:
        find_material(wanted, shipped_materials())
    named = str(caught.value).split("near it: ")[1].split(", ")
    assert near in named
    assert len(named) == len(set(named)) <= 6


@pytest.mark.parametrize("wanted", ["", "-", "zzzz"])
def test_a_name_like_no_other_is_told_with_all_that_are_known(wanted: str) -> None:
    with pytest.raises(UserError) as caught:
        find_material(wanted, shipped_materials())
    assert str(caught.value).endswith("known: " + ", ".join(shipped_materials()))


def test_names_are_compared_without_capitals_blanks_and_marks() -> None:
    assert plain_name("Urea-ammonium nitrate, 32 %") == plain_name("urea AMMONIUM nitrate 32")


# --- what ships ----------------------------------------------------------------------------------------------


def groups() -> list[tuple[str, str, Figures]]:
    return [
        (name, kind, group) for name, item in shipped_materials().items() for kind, group in item.groups().items()
    ]


def test_every_source_of_every_shipped_figure_is_cited() -> None:
    assert len(groups()) > 80
    for name, kind, group in groups():
        assert set(split_sources(group.source)) <= set(citations()), (name, kind)


def test_no_shipped_figure_claims_to_be_anybodys_own() -> None:
    allowed = {Evidence.PUBLISHED, Evidence.DERIVED, Evidence.RECALLED}
    assert {group.evidence for _, _, group in groups()} == allowed


def test_every_recalled_figure_asks_to_be_checked() -> None:
    recalled = [(name, kind, group) for name, kind, group in groups() if group.evidence is Evidence.RECALLED]
    assert recalled
    for name, kind, group in recalled:
        assert "check it" in group.note, (name, kind)
    assert {name for name, _, _ in recalled} == {
        name for name, item in shipped_materials().items() if item.recalled
    }


def test_liquids_have_a_density_but_for_the_drip_blends() -> None:
    without = {name for name, item in shipped_materials().items() if item.liquid and item.density is None}
    assert without == {"drip_7_0_7", "drip_4_0_8"}
    assert all("take it from the label" in shipped_materials()[name].note for name in without)


def test_dry_products_have_a_solubility_but_for_the_one_that_holds_lime() -> None:
    without = {name for name, item in shipped_materials().items() if not item.liquid and item.solubility is None}
    assert without == {"can_27_solid"}
    assert {name for name, item in shipped_materials().items() if not item.drip} == {"can_27_solid"}


def test_only_a_table_for_a_hydrate_carries_crystal_water() -> None:
    tables = {name: item.solubility for name, item in shipped_materials().items() if item.solubility}
    assert {name for name, table in tables.items() if table.crystal_water} == {"epsom", "magnesium_nitrate_6"}
