"""``materials``: typical figures of soluble fertilizers."""

from __future__ import annotations

import json

import pytest

from fertadjust.evidence import EVIDENCE_MEANS, cite
from fertadjust.materials import Material
from fertadjust.shipped import citations, shipped_materials
from tests.cli.conftest import Refused, Run, too_wide


def words(text: str) -> str:
    return " ".join(text.split())


def test_every_material_is_listed(run: Run) -> None:
    output = run("materials", "list").output
    table = output.split("\n\n")[0]
    lines = {line.split()[0]: line for line in table.splitlines()}
    for name, found in shipped_materials().items():
        assert found.grade in lines[name].split()
        assert ("liquid" in lines[name]) == found.liquid
        assert lines[name].endswith("some") == found.recalled
    assert "19 Ca" in lines["calcium_nitrate"]
    assert "not for drip" in lines["can_27_solid"]
    assert too_wide(output) == []


def test_the_list_says_that_the_label_goes_first(run: Run) -> None:
    text = words(run("materials", "list").output)
    assert "take those of the label before them" in text
    assert "A guaranteed analysis is a minimum (SD-38-19)" in text
    assert "check it" in text


def test_materials_are_listed_for_machines(run: Run) -> None:
    data = json.loads(run("materials", "list", "--json").output)
    assert [item["id"] for item in data] == list(shipped_materials())
    for item in data:
        found = shipped_materials()[item["id"]]
        assert (item.pop("grade"), item.pop("percent")) == (found.grade, found.percent)
        assert Material.model_validate(item) == found


@pytest.mark.parametrize("name", sorted(shipped_materials()))
def test_a_material_is_shown_with_source_and_evidence_of_every_figure(run: Run, name: str) -> None:
    output = run("materials", "show", name).output
    assert too_wide(output) == []
    text, found = words(output), shipped_materials()[name]
    assert f"{found.name} ({name}): {found.grade}" in text
    assert words(found.note) in text
    for group in found.groups().values():
        assert cite(group.source, group.evidence) in text
        assert words(group.note) in text
        assert words(EVIDENCE_MEANS[group.evidence]) in text
    assert "A guaranteed analysis is a minimum" in text
    assert ("What is marked recalled is from memory" in text) == found.recalled
    assert "SD-38-19: South Dakota" in text


def test_a_material_is_shown_by_its_name(run: Run) -> None:
    assert (
        "potassium nitrate (potassium_nitrate): 13-0-44, dry"
        in run("materials", "show", "Potassium Nitrate").output
    )
    assert "(map): 11-48-0" in run("materials", "show", "MAP").output


def test_figures_are_shown_with_their_units(run: Run) -> None:
    text = words(run("materials", "show", "UAN 32").output)
    assert "Grade: 32 N % by weight" in text
    assert "7.875 nitrate-N, 7.875 ammonium-N, 16.33 urea-N % by weight" in text
    assert "Density: 11.06 lb/gal" in text
    text = words(run("materials", "show", "UAN 32", "--units", "metric").output)
    assert "Density: 1.325 kg/L" in text
    text = words(run("materials", "show", "urea").output)
    assert "Salt index: 74.4, where sodium nitrate is 100" in text


def test_what_a_stock_holds_is_shown_by_temperature(run: Run) -> None:
    """Potassium nitrate, 24.2 mass percent at 20 deg C: 0.242 kg/L, 2.02 lb/gal."""
    lines = run("materials", "show", "potassium_nitrate").output.splitlines()
    assert [line.split() for line in lines if line.split()[:1] in (["68"], ["32"])] == [
        ["32", "1.00"],
        ["68", "2.02"],
    ]
    lines = run("materials", "show", "potassium_nitrate", "--units", "metric").output.splitlines()
    assert ["20", "0.24"] in [line.split() for line in lines]


def test_the_most_that_a_stock_holds_at_a_temperature_is_told(run: Run) -> None:
    """Potassium nitrate: 17.6 mass percent at 10 deg C (50 deg F), 24.2 at 20, so 20.9 between them."""
    text = words(run("materials", "show", "potassium_nitrate", "--temperature", "59").output)
    assert "At 59 °F one gallon of stock holds at most 1.74 lb of it" in text
    metric = run("materials", "show", "potassium_nitrate", "--temperature", "15", "--units", "metric").output
    assert "At 15 °C one litre of stock holds at most 0.21 kg of it" in words(metric)
    assert "FERT-SOLUBILITY: " in metric


@pytest.mark.parametrize(("degrees", "units"), [("32", "us"), ("104", "us"), ("0", "metric"), ("40", "metric")])
def test_the_ends_of_the_range_are_inside(run: Run, degrees: str, units: str) -> None:
    output = run("materials", "show", "map", "--temperature", degrees, "--units", units).output
    assert "of stock holds at most" in words(output)


def test_a_material_for_machines_has_its_limit_in_celsius_and_lb_per_gal(run: Run) -> None:
    data = json.loads(run("materials", "show", "potassium_nitrate", "--temperature", "59", "--json").output)
    assert data["stock_limit"]["celsius"] == pytest.approx(15)
    assert data["stock_limit"]["lb_gal"] == pytest.approx(0.209 * 8.345404, abs=1e-5)
    assert data["citations"]["CRC-98"] == citations()["CRC-98"]
    assert "stock_limit" not in json.loads(run("materials", "show", "urea", "--json").output)


def test_an_unknown_material_is_told_with_those_near_it(refused: Refused) -> None:
    told = refused("materials", "show", "calcum nitrate")
    assert 'there is no material "calcum nitrate"; near it: calcium_nitrate' in told


@pytest.mark.parametrize(
    ("name", "degrees", "told"),
    [
        ("potassium_nitrate", "110", "from 0 °C (32 °F) to 40 °C (104 °F), not at"),
        ("urea", "40", "from 5 °C (41 °F) to 25 °C (77 °F), not at 4.44444 °C (40 °F)"),
        ("dot", "50", "from 20 °C (68 °F) to 40 °C (104 °F), not at 10 °C (50 °F)"),
        ("urea", "nan", "not at nan"),
        ("uan_32", "50", "is a liquid, a solution already; leave the temperature out"),
        ("can_27_solid", "50", "has no known solubility; leave the temperature out"),
    ],
)
def test_a_temperature_without_a_figure_is_told(refused: Refused, name: str, degrees: str, told: str) -> None:
    message = refused("materials", "show", name, "--temperature", degrees)
    assert "--temperature: " in message
    assert told in message
