"""A season file to start from: it reads as it was answered."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.shipped import shipped_policy, shipped_tables
from fertadjust.starter import Start, stages_needed, starter_text
from fertadjust.units import UnitSystem
from tests.support import GEORGIA_LEAF, SOUTHEAST

START = Start(
    farm="Fernhill",
    units=UnitSystem.US,
    crop="strawberry",
    system="annual plasticulture",
    region="US Southeast",
    tables=[SOUTHEAST],
    stages={"first_bloom": date(2026, 3, 2)},
    start=date(2026, 3, 2),
    weeks=12,
    basis="bed",
    rate=5.25,
    injections=2,
    season_cap=None,
    block="north",
    block_name="North",
    row_length=300,
    rows=10,
    bed_top_width=2.5,
    bed_spacing=5,
    soil="",
)
METRIC = replace(
    START,
    units=UnitSystem.METRIC,
    rate=5.9,
    season_cap=145.5,
    row_length=91.44,
    bed_top_width=0.762,
    bed_spacing=1.524,
)
ODD = [
    'Fernhill "the old" farm',
    "O'Brien & Sons",
    "Früchte Öztürk, Straße 7",
    "北の農場 🍓",
    r"back\slash \n \u0041",
    "$farm ${rate} $$ %s {0}",
    "# not a note",
    "[blocks.fake]",
    "two\nlines\tand a tab",
    "''' \"\"\"",
    "a bell \a",
]


def read(start: Start) -> SeasonFile:
    return parse_season(starter_text(start), Path())


@pytest.mark.parametrize("start", [START, METRIC])
def test_a_starter_reads_as_it_was_answered(start: Start) -> None:
    file = read(start)
    units = start.units
    (block,) = file.blocks.values()
    assert (file.farm, file.units, file.crop, file.system, file.region) == (
        start.farm,
        start.units,
        start.crop,
        start.system,
        start.region,
    )
    assert (block.block.key, block.block.name, block.block.rows) == ("north", "North", 10)
    assert units.length_out(block.block.row_length_ft) == pytest.approx(start.row_length)
    assert units.length_out(block.block.bed_top_width_ft) == pytest.approx(start.bed_top_width)
    assert units.length_out(block.block.bed_spacing_ft) == pytest.approx(start.bed_spacing)
    assert [units.rate_out(rate) for rate in block.plan.rates_lb_ac] == pytest.approx([start.rate] * 12)
    assert (block.plan.start, block.plan.injections_per_week) == (date(2026, 3, 2), 2)
    assert block.plan.cap_lb_ac == (None if start.season_cap is None else units.rate_in(start.season_cap))
    assert dict(block.stages.dates) == dict(start.stages)
    assert [table.id for table in file.tables] == list(start.tables)
    assert sum(product.share for product in block.products) == 1
    assert block.plan.credits == ()
    assert file.policy.overrides() == []


def test_a_starter_says_its_units_and_bounds_in_words() -> None:
    assert "lb N/ac/week" in starter_text(START)
    metric = starter_text(METRIC)
    assert "kg N/ha/week" in metric
    assert "kg/L" in metric
    assert "# floor = 3.36" in metric
    assert "# ceiling = 7.85" in metric
    assert "season_cap = 145.5" in metric
    assert "# season_cap = 130" in starter_text(START)


@pytest.mark.parametrize("start", [START, METRIC])
def test_what_is_noted_out_can_be_switched_on(start: Start) -> None:
    """Every example in the starter is right when its mark is taken away."""
    text = starter_text(start)
    on = text.replace("# ramp = ", "ramp = ").replace("\nrate = ", "\n# rate = ")
    for name in ("planted", "approximate", "floor", "ceiling", "season_cap"):
        on = on.replace(f"# {name} = ", f"{name} = ")
    for line in ("[[credits]]", 'name = "preplant"', "n = 60", 'source = "UGA-AESL"', 'evidence = "published"'):
        assert f"# {line}" in on
        on = on.replace(f"# {line}", line)
    for line in ("[policy.confidence]", "value = 0.9", 'reason = "our laboratory repeats every sample"'):
        assert f"# {line}" in on
        on = on.replace(f"# {line}", line)
    file = parse_season(on, Path())
    assert file.policy.confidence.value == 0.9
    (block,) = file.blocks.values()
    assert block.stages.approximate == {"first_bloom"}
    assert len(block.plan.credits) == 1
    (block,) = parse_season(text.replace("# stages = ", "stages = "), Path()).blocks.values()
    assert block.stages.dates == {"first_bloom": date(2026, 3, 5)}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("field", ["farm", "block_name", "soil"])
def test_any_name_comes_through(field: str, name: str) -> None:
    changes: dict[str, Any] = {field: name}
    file = read(replace(START, **changes))
    (block,) = file.blocks.values()
    got = {"farm": file.farm, "block_name": block.block.name, "soil": block.block.soil}[field]
    assert got == name.strip()


def test_a_name_with_a_character_that_is_not_printed_comes_through() -> None:
    assert read(replace(START, farm="Fern\x7fhill")).farm == "Fern\x7fhill"


@pytest.mark.parametrize("region", ['Baden "West"', "北海道"])
def test_any_region_comes_through(region: str) -> None:
    assert read(replace(START, region=region)).region == region


@pytest.mark.parametrize("number", [3, 0.05, 5.25, 1e-7, 0.333333333, 145.7106, 1250.125])
def test_numbers_come_through_as_they_are(number: float) -> None:
    data = tomllib.loads(starter_text(replace(START, row_length=number, rate=number, season_cap=number)))
    assert data["blocks"]["north"]["row_length"] == number
    assert data["plan"]["rate"] == number
    assert data["bounds"]["season_cap"] == number


def needed(tables: list[str]) -> dict[str, date]:
    return {name: date(2026, 1 + index, 5) for index, name in enumerate(stages_needed(tables))}


@pytest.mark.parametrize("name", sorted(shipped_tables()))
def test_a_starter_for_every_table_reads(name: str) -> None:
    system = shipped_policy("strawberry-annual-plasticulture").system
    table = shipped_tables()[name]
    start = replace(START, tables=[name], stages=needed([name]), region=table.region, system=system)
    file = read(start)
    assert [item.id for item in file.tables] == [name]
    (block,) = file.blocks.values()
    assert dict(block.stages.dates) == needed([name])


def test_stages_of_several_tables_are_asked_once_each_in_order() -> None:
    assert stages_needed([SOUTHEAST]) == ["first_bloom"]
    tables = ["strawberry-petiole-dry-california", SOUTHEAST, GEORGIA_LEAF]
    stages = stages_needed(tables)
    assert stages[:3] == ["pre_harvest", "main_harvest", "first_bloom"]
    assert len(set(stages)) == len(stages)


def test_a_petiole_and_a_leaf_table_go_together() -> None:
    tables = [SOUTHEAST, GEORGIA_LEAF]
    file = read(replace(START, tables=tables, stages=needed(tables)))
    assert [table.id for table in file.tables] == tables
