"""A season file to start from: it reads as it was answered."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.season_rules import GENERAL
from fertadjust.shipped import crop_stages, shipped_policies, shipped_tables
from fertadjust.start_schedule import Ramp
from fertadjust.starter import Start, in_order, stages_needed, starter_text
from fertadjust.units import UnitSystem
from tests.support import GEORGIA_LEAF, SOUTHEAST

START = Start(
    farm="Fernhill",
    units=UnitSystem.US,
    crop="strawberry",
    system="annual plasticulture",
    region="US Southeast",
    policy="strawberry-annual-plasticulture",
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
    credit = ('source = "our soil test\'s recommendation"', 'evidence = "own"')
    for line in ("[[credits]]", 'name = "preplant"', "n = 60", *credit):
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


def needed(tables: list[str], crop: str = "strawberry") -> dict[str, date]:
    return {name: date(2026, 1 + index, 5) for index, name in enumerate(stages_needed(crop, tables))}


def started(name: str, crop: str) -> Start:
    """A season of a crop with one table, by the general rules."""
    table = shipped_tables()[name]
    return replace(
        START,
        crop=crop,
        tables=[name],
        stages=needed([name], crop),
        region=table.region,
        system=table.system,
        variety=table.variety or "",
        policy=GENERAL,
        name_rules=True,
        floor=2.0,
        ceiling=9.0,
    )


EVERY = [(name, crop) for name, table in sorted(shipped_tables().items()) for crop in table.crops]


@pytest.mark.parametrize(("name", "crop"), EVERY)
def test_a_starter_for_every_table_reads(name: str, crop: str) -> None:
    file = read(started(name, crop))
    assert [item.id for item in file.tables] == [name]
    assert (file.crop, file.variety, file.policy.id) == (crop, shipped_tables()[name].variety or "", GENERAL)
    (block,) = file.blocks.values()
    assert dict(block.stages.dates) == needed([name], crop)
    assert (block.plan.floor_lb_ac, block.plan.ceiling_lb_ac) == (2.0, 9.0)


@pytest.mark.parametrize(("name", "crop"), EVERY)
def test_a_starter_speaks_of_its_own_crop_only(name: str, crop: str) -> None:
    text = starter_text(started(name, crop)).lower()
    stages = crop_stages()
    assert crop == "strawberry" or "strawberry" not in text
    order = stages.of(crop)
    assert order is not None
    named = {stage for item in stages.crops for stage in item.names if "_" in stage}
    words = set(text.replace('"', " ").replace(",", " ").split())
    assert words & named <= {*order.names, "first_harvest"}  # the general rules' own anchor


@pytest.mark.parametrize("policy", sorted(shipped_policies()))
def test_a_starter_for_every_set_of_rules_reads(policy: str) -> None:
    """What the rules say of bounds and totals stands in the file; bounds are asked where they have none."""
    rules = shipped_policies()[policy]
    crop = "strawberry" if rules.crop == "any crop" else rules.crop
    table = next(item for item in shipped_tables().values() if crop in item.crops)
    bounds = (2.0, 9.0) if rules.floor is None else (None, None)
    start = replace(started(table.id, crop), policy=policy, floor=bounds[0], ceiling=bounds[1])
    file = read(replace(start, rate=None, ramp=Ramp(((1, 3.5),), ("a note",))))
    assert file.policy.id == policy
    (block,) = file.blocks.values()
    assert block.plan.floor_lb_ac == (2.0 if rules.floor is None else rules.floor.value)
    text = starter_text(start)
    totals = [] if rules.published is None else [item for item in rules.published.totals if item.when == "season"]
    assert text.count("# Published for a whole season: ") == len(totals)
    assert ("No weekly rate is published" in text) == (rules.floor is None)


def test_stages_that_have_not_begun_are_noted_out_in_the_crops_order() -> None:
    name = "tomato-petiole-sap-florida"
    stages = {"fruit_1_inch": date(2026, 4, 20)}
    text = starter_text(replace(started(name, "tomato"), stages=stages))
    lines = [
        line
        for line in text.splitlines()
        if " = " in line and line.removeprefix("# ").split()[0] in stages_needed("tomato", [name])
    ]
    assert lines == [
        "# first_buds = ",
        "# first_flower = ",
        "fruit_1_inch = 2026-04-20",
        "# fruit_2_inch = ",
        "# first_harvest = ",
        "# second_harvest = ",
        "# third_harvest = ",
    ]


@pytest.mark.parametrize(("name", "crop"), EVERY)
def test_a_season_may_begin_before_a_stage_has(name: str, crop: str) -> None:
    """A table counted from one stage's date has no band until then, and the notes say so."""
    file = read(replace(started(name, crop), stages={}))
    (block,) = file.blocks.values()
    assert block.stages.dates == {}
    needs = bool(shipped_tables()[name].needs)
    assert any("has no band before" in note for note in file.notes) == needs


def test_variety_rules_and_planting_are_noted_out_or_not() -> None:
    plain = starter_text(START)
    assert '\n# variety = ""\n' in plain
    assert '\n# rules = "strawberry-annual-plasticulture"\n' in plain
    assert "\n# planted = 2026-01-26\n" in plain
    told = replace(START, variety="Larkrise", name_rules=True, planted=date(2025, 10, 14))
    file = read(told)
    assert (file.variety, file.planted) == ("Larkrise", date(2025, 10, 14))
    assert '\nrules = "strawberry-annual-plasticulture"\n' in starter_text(told)


def test_a_ramp_stands_with_its_notes_and_no_line_is_too_long() -> None:
    ramp = Ramp(((1, 3.5), (4, 5.25)), ("From a schedule that is invented for this test. " * 5,))
    text = starter_text(replace(START, rate=None, ramp=ramp))
    assert "# From a schedule that is invented" in text
    assert max(map(len, text.splitlines())) <= 115
    (block,) = parse_season(text, Path()).blocks.values()
    assert block.plan.rates_lb_ac == (3.5,) * 3 + (5.25,) * 9


def test_linear_bed_has_its_spacing() -> None:
    (block,) = read(replace(START, basis="linear_bed", standard_spacing=6.0)).blocks.values()
    assert block.block.area_ac() == pytest.approx(300 * 10 * 6 / 43_560)


def test_stages_of_several_tables_are_asked_once_each_in_order() -> None:
    assert stages_needed("strawberry", [SOUTHEAST]) == ["first_bloom"]
    tables = ["strawberry-petiole-dry-california", SOUTHEAST, GEORGIA_LEAF]
    stages = stages_needed("strawberry", tables)
    assert stages == ["first_bloom", "pre_harvest", "main_harvest"]
    assert in_order("strawberry", ["my_own", "digging", "planting"]) == ["planting", "digging", "my_own"]


def test_a_petiole_and_a_leaf_table_go_together() -> None:
    tables = [SOUTHEAST, GEORGIA_LEAF]
    file = read(replace(START, tables=tables, stages=needed(tables)))
    assert [table.id for table in file.tables] == tables


def test_a_published_total_says_to_look_at_its_acre() -> None:
    """The totals of these rules are given for beds 6 ft apart (their notes); the plan counts by bed top."""
    start = replace(started("tomato-petiole-sap-florida", "tomato"), policy="florida-tomato")
    plain = " ".join(starter_text(start).replace("\n# ", " ").split())
    assert "beds 6 ft (1.8 m) apart)." in plain
    caution = "Check what its acre means before you rely on it: this plan counts per acre of bed top."
    assert caution in plain
    assert "# season_cap = 200\n" in starter_text(start)
    scaled = starter_text(replace(start, factor=2.4))
    assert "# season_cap = 480\n" in scaled
    below = "Where it means the acre of the schedule above, that times 2.4, as the ramp above is, stands below."
    assert below in " ".join(scaled.replace("\n# ", " ").split())
    assert "Check what its acre means" not in starter_text(START)


def test_the_day_of_planting_taken_for_a_stage_says_so() -> None:
    start = replace(
        started("tomato-petiole-sap-florida", "tomato"),
        planted=date(2026, 3, 2),
        stages={"transplanting": date(2026, 3, 2)},
        planting_as="transplanting",
    )
    line = "# The day of planting, taken for transplanting: week 1 of the schedule below begins with it."
    assert f"{line}\ntransplanting = 2026-03-02\n" in starter_text(start)
    assert "taken for" not in starter_text(replace(start, planting_as=""))
