"""``new`` and ``check``."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import Season, open_season
from fertadjust.cli.setup_questions import offered_rules
from fertadjust.errors import Fault, UserError
from fertadjust.season_file import read_season
from fertadjust.shipped import shipped_policies, shipped_tables
from fertadjust.starter import stages_needed
from fertadjust.units import UnitSystem
from tests.cli.conftest import Refused, Run, contents, too_wide
from tests.support import GEORGIA_LEAF, SOUTHEAST

ANSWERS = {
    "--farm": "Fernhill",
    "--units": "us",
    "--crop": "strawberry",
    "--table": SOUTHEAST,
    "--stage": "first_bloom=2026-03-02",
    "--start": "2026-03-02",
    "--weeks": "12",
    "--basis": "bed",
    "--rate": "5.25",
    "--block": "north",
    "--row-length": "300",
    "--rows": "10",
    "--bed-top-width": "2.5",
    "--bed-spacing": "5",
}
TABLES = [
    table.id
    for table in sorted(
        shipped_tables().values(), key=lambda item: (item.region, item.tissue, item.basis, item.id)
    )
    if table.crop == "strawberry"
]
"""The strawberry tables in the order of the list that is shown."""
FLORIDA_TOMATO = "tomato-petiole-sap-florida"


def options(**changes: str | None) -> list[str]:
    """All answers as options, some of them changed or left out."""
    given: dict[str, str | None] = dict(ANSWERS)
    given |= {f"--{name.replace('_', '-')}": value for name, value in changes.items()}
    return [part for name, value in given.items() if value is not None for part in (name, value)]


# --- new ----------------------------------------------------------------------------------------------------


def test_a_season_is_set_up_by_options_without_a_question(run: Run, tmp_path: Path) -> None:
    result = run("new", "farm", *options())
    assert result.output.startswith("Rules: strawberry-annual-plasticulture, ")
    assert "\nWrote farm/season.toml\n" in result.output
    assert ": \n" not in result.output
    assert "fertadjust check --season farm" in " ".join(result.output.split())
    assert too_wide(result.output) == []
    assert [path.name for path in (tmp_path / "farm").iterdir()] == ["season.toml"]
    file = read_season(tmp_path / "farm")
    assert (file.farm, file.units, file.region) == ("Fernhill", UnitSystem.US, "US Southeast")
    assert list(file.blocks) == ["north"]
    assert file.blocks["north"].plan.rates_lb_ac == (5.25,) * 12
    assert file.blocks["north"].plan.injections_per_week == 2
    assert file.blocks["north"].plan.cap_lb_ac is None
    assert run("check", "--season", "farm").exit_code == 0


def test_a_metric_season_is_set_up(run: Run, tmp_path: Path) -> None:
    run("new", "farm", *options(units="metric", rate="5.9", season_cap="145", injections="3", soil="sandy loam"))
    block = read_season(tmp_path / "farm").blocks["north"]
    assert UnitSystem.METRIC.rate_out(block.plan.rates_lb_ac[0]) == pytest.approx(5.9)
    assert UnitSystem.METRIC.rate_out(block.plan.cap_lb_ac or 0) == pytest.approx(145)
    assert block.block.area_ac() * 0.40468564 == pytest.approx(300 * 10 * 2.5 / 10_000)
    assert (block.plan.injections_per_week, block.block.soil) == (3, "sandy loam")


def test_what_is_left_out_is_asked_for(run: Run, tmp_path: Path) -> None:
    answers = [
        *("Fernhill", "metric", "Strawberry", str(TABLES.index(SOUTHEAST) + 1)),
        *("", "", "2025-10-14", "2026-03-02"),
        *("North field", "90", "10", "0.8", "1.5"),
        *("2026-03-02", "", "", "5.9"),
    ]
    result = run("new", "farm", input="\n".join(answers) + "\n")
    for question in (
        "Farm name",
        "Units (us, metric) [us]",
        "Growing system [annual plasticulture]",
        "Region [US Southeast]",
        "Day of planting or transplanting (Enter = leave out)",
        "first_bloom: the first open flowers of spring",
        "Short name of the first block [north]",
        "Nitrogen [kg N/ha/week]",
        "Row length [m]",
    ):
        assert question in result.output
    file = read_season(tmp_path / "farm")
    assert (file.planted, file.crop) == (date(2025, 10, 14), "strawberry")
    block = file.blocks["north-field"]
    assert (block.block.name, block.block.rows) == ("North field", 10)
    assert len(block.plan.rates_lb_ac) == 12
    assert block.plan.basis.value == "bed"


def test_tables_are_shown_with_their_regions_and_picked_by_number(run: Run, tmp_path: Path) -> None:
    numbers = f"{TABLES.index(SOUTHEAST) + 1}, {TABLES.index(GEORGIA_LEAF) + 1}"
    result = run("new", "farm", *options(table=None), input=numbers + "\n\n\n\n")
    assert "Bands of different regions disagree several-fold" in result.output
    shown = " ".join(result.output.split())
    for number, name in enumerate(TABLES, start=1):
        assert f" {number} {shipped_tables()[name].region.split()[0]}" in shown
    assert "US Southeast petiole dry NO3-N annual 600 to 6,000 ppm" in shown
    assert "California petiole dry NO3-N annual 500 ppm" in shown
    assert too_wide(result.output.replace(f": {numbers}\n", ":\n")) == []
    assert [table.id for table in read_season(tmp_path / "farm").tables] == [SOUTHEAST, GEORGIA_LEAF]


def test_only_what_is_missing_is_asked_for(run: Run) -> None:
    given = options(rate=None, system="annual plasticulture", region="US Southeast", planted="2025-10-14")
    result = run("new", "farm", *given, input="5.25\n")
    assert "\nNitrogen [lb N/ac/week]: 5.25\nWrote " in result.output
    assert result.output.count("]: ") == 1


def test_a_wrong_answer_is_asked_for_again(run: Run, tmp_path: Path) -> None:
    answers = "\n\n\nsoon\n2026-03-02\nmuch\n5.25\n"
    result = run("new", "farm", *options(rate=None, start=None), input=answers)
    assert '"soon" is not a date' in result.output
    assert read_season(tmp_path / "farm").blocks["north"].plan.rates_lb_ac[0] == 5.25


EVERY = [(table.id, crop) for table in shipped_tables().values() for crop in table.crops]


@pytest.mark.parametrize(("name", "crop"), EVERY)
def test_a_season_can_be_set_up_with_every_table_that_is_offered(
    run: Run, tmp_path: Path, name: str, crop: str
) -> None:
    stages = [
        part
        for index, stage in enumerate(stages_needed(crop, [name]))
        for part in ("--stage", f"{stage}=2026-{index + 1:02d}-05")
    ]
    variety = shipped_tables()[name].variety
    rules = {"rules": "general", "floor": "2", "ceiling": "9"}
    given = options(crop=crop, table=name, stage=None, start="2026-01-05", variety=variety, **rules)
    run("new", "farm", *given, *(stages or ["--stage", "none"]))
    file = read_season(tmp_path / "farm")
    assert [table.id for table in file.tables] == [name]
    assert (file.crop, file.system, file.policy.id) == (crop, shipped_tables()[name].system, "general")
    assert file.variety == (variety or "")


@pytest.mark.parametrize(("name", "crop"), EVERY)
def test_the_tables_and_rules_of_every_crop_fit_the_screen(run: Run, name: str, crop: str) -> None:
    """Where more than one set of rules fits, or none, they are listed; the general ones are among them, last."""
    listed = run("new", "farm", *options(crop=crop, table=None), input="x\n", code=2).output
    assert too_wide(listed.replace("one for leaves): x", "")) == []
    result = run("new", "farm", *options(crop=crop, table=name, rate="999"), input="x\n", code=2)
    assert too_wide(result.stdout) == []
    if "Number or name of the rules" in result.output:
        assert f"general: none of its figures is published for {crop};" in " ".join(result.output.split())


def tomato(**changes: str | None) -> list[str]:
    return options(crop="tomato", table=FLORIDA_TOMATO, stage="none", **changes)


def test_a_crop_is_asked_for_and_near_misses_are_told(run: Run, refused: Refused) -> None:
    assert (
        "Crops with a band table: broccoli, Brussels sprouts"
        in run("new", "farm", *options(crop=None), input="Strawberry\n\n\n\n").output
    )
    assert 'no table is for "tomatoe"; did you mean tomato' in refused("new", "other", *options(crop="tomatoe"))


def test_rules_that_alone_fit_are_taken_and_not_named_in_the_file(run: Run, tmp_path: Path) -> None:
    run("new", "farm", *tomato(rate="14"))
    file = read_season(tmp_path / "farm")
    assert (file.policy.id, file.system, file.region) == ("florida-tomato", "field, drip plasticulture", "Florida")
    assert '\n# rules = "florida-tomato"\n' in file.text
    (block,) = file.blocks.values()
    assert block.stages.dates == {}


def test_rules_are_named_in_the_file_where_system_and_region_do_not_lead_to_them(run: Run, tmp_path: Path) -> None:
    run("new", "farm", *tomato(rate="14", system="field", region="Delaware", rules="florida-tomato"))
    file = read_season(tmp_path / "farm")
    assert (file.policy.id, file.system, file.region) == ("florida-tomato", "field", "Delaware")
    assert '\nrules = "florida-tomato"\n' in file.text


@pytest.mark.parametrize("answer", ["general", "last"])
def test_where_no_rules_fit_they_are_listed_and_bounds_are_asked(run: Run, tmp_path: Path, answer: str) -> None:
    given = options(crop="grape", table="grape-thompson-seedless-petiole-dry-california", stage="none")
    number = "1" if answer == "last" else answer
    result = run("new", "farm", *given, "--variety=Thompson Seedless", input=f"{number}\n2\n9\n")
    text = " ".join(result.output.split())
    assert "No rules are made for grape in vineyard, California." in text
    assert "none of its figures is published for grape" in text
    assert "Lowest weekly rate that may be advised [lb N/ac/week]" in text
    file = read_season(tmp_path / "farm")
    (block,) = file.blocks.values()
    assert (file.policy.id, block.plan.floor_lb_ac, block.plan.ceiling_lb_ac) == ("general", 2, 9)


def test_bounds_that_nobody_states_are_told(refused: Refused) -> None:
    given = options(crop="grape", table="grape-thompson-seedless-petiole-dry-california", stage="none")
    assert "--floor: is missing" in refused("new", "farm", *given, "--rules=general")
    assert "--ceiling: is missing" in refused("new", "farm", *given, "--rules=general", "--floor=2")


def test_a_variety_is_asked_where_a_table_is_for_one(run: Run, tmp_path: Path) -> None:
    table = "potato-russet-burbank-petiole-dry-idaho"
    given = options(crop="potato", table=table, stage="none", rules="general", floor="2", ceiling="9", farm=None)
    result = run("new", "farm", *given, input="Fernhill\nCaribou Blue\n\n\n\n")
    assert "Variety or type of potato (the table is for Russet Burbank) [Russet Burbank]" in result.output
    assert read_season(tmp_path / "farm").variety == "Caribou Blue"
    run("new", "other", *given, "--farm=Fernhill")
    assert read_season(tmp_path / "other").variety == ""


def test_a_published_schedule_becomes_the_ramp(run: Run, tmp_path: Path) -> None:
    """UF/IFAS injection schedule for tomato, recalled: 1.5, 2, 2.5, 2, 1.5 lb N/ac/day; 196 in 13 weeks."""
    given = tomato(rate=None, basis="linear_bed", weeks="13", planted="2026-03-02", standard_spacing="6")
    run("new", "farm", *given, "--schedule=1")
    file = read_season(tmp_path / "farm")
    (block,) = file.blocks.values()
    assert block.plan.rates_lb_ac == (10.5,) * 2 + (14,) * 2 + (17.5,) * 7 + (14, 10.5)
    assert sum(block.plan.rates_lb_ac) == pytest.approx(196)
    assert block.block.area_ac() == pytest.approx(300 * 10 * 6 / 43_560)
    assert "# From the UF/IFAS injection schedule, in lb N/ac/day: weeks 1 to 2: 1.5" in file.text


def test_a_schedule_on_another_acre_feeds_a_foot_of_bed_the_same(run: Run, tmp_path: Path) -> None:
    """6 ft of standard spacing against 2.5 ft of bed top: a factor of 2.4, for the bounds of the rules as well."""
    run("new", "farm", *tomato(rate=None, weeks="13"), "--schedule=1")
    file = read_season(tmp_path / "farm")
    (block,) = file.blocks.values()
    assert block.plan.rates_lb_ac[0] == pytest.approx(10.5 * 2.4)
    assert block.plan.floor_lb_ac == pytest.approx(file.policy.floor.value * 2.4)  # type: ignore[union-attr]
    assert "multiplied by 2.4" in file.text


def test_a_schedule_is_offered_and_may_be_left(run: Run, tmp_path: Path) -> None:
    result = run("new", "farm", *tomato(rate=None), input="\n\n\n\n14\n")
    assert "1  UF/IFAS injection schedule: 13 weeks from transplanting, 196 lb N/ac" in result.output
    assert read_season(tmp_path / "farm").blocks["north"].plan.rates_lb_ac == (14,) * 12
    run("new", "other", *tomato(rate=None), "--schedule", input="\n\n\n2\n")
    assert "UF/IFAS, older schedule" in read_season(tmp_path / "other").text


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (["--schedule=3"], '--schedule: "3" should be a number from 1 to 2'),
        (["--schedule=1", "--rate=14"], "--rate: state --rate or --schedule, one of the two"),
        (["--rate=14", "--standard-spacing=6"], "--standard-spacing: goes with --basis linear_bed"),
        (
            ["--rate=14", "--rules=florida"],
            '--rules: there are no rules "florida"; for tomato there are: florida-tomato',
        ),
        (["--rate=14", "--rules=georgia-cotton"], "--rules: georgia-cotton is for cotton, the crop is tomato"),
        (["--rate=14", "--rules=general", "--floor=20", "--ceiling=15"], "--floor: floor 20 is above ceiling 15"),
        (["--rate=14", "--ceiling=5"], "--rate: a planned rate of 14 is above the ceiling of 5 lb N/ac/week"),
        (["--rate=14", "--floor=40"], "--floor: floor 40 is above ceiling 31.5"),
        (
            ["--schedule=1", "--basis=linear_bed", "--standard-spacing=6", "--ceiling=15"],
            "--ceiling: ceiling 15 is below the highest planned rate, 17.5 lb N/ac/week",
        ),
    ],
)
def test_answers_on_rules_that_will_not_do_write_nothing(refused: Refused, given: list[str], message: str) -> None:
    assert message in " ".join(refused("new", "farm", *tomato(rate=None), *given).split())


def test_rules_without_a_schedule_say_so(refused: Refused) -> None:
    told = refused("new", "farm", *options(rate=None), "--schedule")
    assert "the rules strawberry-annual-plasticulture hold no published schedule; state --rate" in told


@pytest.mark.parametrize("name", ['O\'Brien "& Sons"', "Früchte Öztürk", "北の農場", "$farm #1", "back\\slash"])
def test_any_name_of_farm_and_block_will_do(run: Run, tmp_path: Path, name: str) -> None:
    run("new", "farm", *options(farm=name, block=name, soil=name))
    file = read_season(tmp_path / "farm")
    (block,) = file.blocks.values()
    assert (file.farm, block.block.name, block.block.soil) == (name, name, name)


@pytest.mark.parametrize("name", ["_north", "-north-", "North  Field!", "7"])
def test_a_block_gets_a_plain_short_name(run: Run, tmp_path: Path, name: str) -> None:
    run("new", "farm", *options(block=None), "--block=" + name)
    (block,) = read_season(tmp_path / "farm").blocks.values()
    assert block.block.name == name


def test_a_season_that_stands_is_left_as_it_is(refused: Refused, fresh: Path) -> None:
    told = refused("new", fresh, *options())
    assert f"Error: {fresh / 'season.toml'}: stands already and is left as it is; choose another folder" in told


@pytest.mark.parametrize("left_out", [name.removeprefix("--") for name in ANSWERS])
def test_with_nobody_to_ask_what_is_missing_is_told(refused: Refused, left_out: str) -> None:
    told = refused("new", "farm", *options(**{left_out.replace("-", "_"): None}))
    assert f"--{left_out}" in told
    assert "is missing, and there is nobody to ask" in told


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"rate": "9"}, "a planned rate of 9 is above the ceiling"),
        ({"rate": "nan"}, "should be a finite number; found nan"),
        ({"row_length": "inf"}, "should be a finite number; found inf"),
        ({"season_cap": "nan"}, "should be a finite number; found nan"),
        ({"bed_top_width": "6"}, "--bed-top-width: a bed top of 6 ft is wider than the bed spacing of 5 ft"),
        ({"farm": "  "}, "--farm: is empty; write a name"),
        ({"block": "  "}, "--block: is empty; write a name"),
        ({"system": ""}, "--system: is empty; write a name, or leave the option out"),
        ({"region": " "}, "--region: is empty; write a name, or leave the option out"),
        ({"planted": "2026-03-10"}, "--stage: first bloom on 2026-03-02 is before planting on 2026-03-10"),
        ({"stage": "first_blom=2026-03-02"}, "no stage of strawberry; did you mean first_bloom"),
        ({"stage": "first flower=2026-03-02"}, '--stage: "first flower" is no stage of strawberry; did you mean'),
        ({"stage": "first_bloom=soon"}, '"first_bloom=soon" should be NAME=DATE, first_bloom=2026-03-02'),
        ({"stage": "2026-03-02"}, '"2026-03-02" should be NAME=DATE'),
        ({"table": "strawberry"}, "no strawberry table strawberry; there are: "),
        ({"crop": "quince"}, 'no table is for "quince"; there are tables for: broccoli'),
        ({"start": "2.3.2026"}, '"2.3.2026" is not a date; write it as 2026-03-09'),
        ({"weeks": "0"}, "--weeks"),
        ({"weeks": "61"}, "--weeks"),
        ({"rows": "2.5"}, "--rows"),
        ({"rate": "-1"}, "--rate"),
        ({"bed_spacing": "0"}, "--bed-spacing"),
        ({"units": "imperial"}, "--units"),
        ({"basis": "acre"}, "--basis"),
        ({"injections": "15"}, "--injections"),
    ],
)
def test_an_answer_that_will_not_do_writes_nothing(
    refused: Refused, tmp_path: Path, changes: dict[str, str], message: str
) -> None:
    told = refused("new", "farm", *options(**changes))
    assert message in told
    assert "season.toml" not in told
    assert not (tmp_path / "farm").exists()


def test_two_tables_for_the_same_kind_write_nothing(refused: Refused) -> None:
    other = "strawberry-petiole-dry-delaware"
    stages = [
        part for stage in stages_needed("strawberry", [other]) for part in ("--stage", f"{stage}=2026-03-05")
    ]
    told = refused("new", "farm", *options(), "--table", other, *stages)
    assert f"--table: {SOUTHEAST} and {other} are both for petiole NO3-N, dry: choose one" in told


@pytest.mark.parametrize("name", ["first_bloom", "First bloom", "first-bloom", " FIRST  BLOOM "])
def test_a_stage_may_be_named_as_people_write_it(run: Run, tmp_path: Path, name: str) -> None:
    run("new", "farm", *options(stage=f"{name}=2026-03-02"))
    assert read_season(tmp_path / "farm").blocks["north"].stages.dates == {"first_bloom": date(2026, 3, 2)}


@pytest.mark.parametrize("numbers", ["0", "99", "1;2", "one", "", "1,", "²"])
def test_table_numbers_that_will_not_do_write_nothing(refused: Refused, numbers: str) -> None:
    told = refused("new", "farm", *options(table=None), input=numbers + "\n\n\n\n")
    assert "--table" in told


def test_a_place_that_cannot_be_written_is_told(refused: Refused, tmp_path: Path) -> None:
    (tmp_path / "farm").write_text("not a folder")
    assert "cannot be written" in refused("new", "farm", *options())


# --- asked again --------------------------------------------------------------------------------------------


def test_an_answer_that_does_not_fit_is_asked_for_again(run: Run, tmp_path: Path) -> None:
    other = TABLES.index("strawberry-petiole-dry-delaware") + 1
    answers = [
        *("  ", "Fernhill", "us", "strawbery", "strawberry"),
        *("99", f"{TABLES.index(SOUTHEAST) + 1},{other}", str(TABLES.index(SOUTHEAST) + 1)),
        *(" ", "", "  ", "", "2025-10-14", "2025-03-02", "2026-03-02"),
        *(" ", "North", "300", "10", "6", "5", "7"),
        *("2026-03-02", "12", "", "9", "5.25"),
    ]
    result = run("new", "farm", input="\n".join(answers) + "\n")
    text = " ".join(result.output.split())
    for told in (
        "Error: is empty; write a name",
        'Error: no table is for "strawbery"; did you mean strawberry?',
        f'Error: "99" should be numbers from 1 to {len(TABLES)}',
        "are both for petiole NO3-N, dry: choose one",
        "Error: first bloom on 2025-03-02 is before planting on 2025-10-14",
        "Error: a bed top of 6 ft is wider than the bed spacing of 5 ft",
        "Error: a planned rate of 9 is above the ceiling of 7 lb N/ac/week of the rules",
    ):
        assert told in text
    file = read_season(tmp_path / "farm")
    assert (file.farm, file.region, file.system) == ("Fernhill", "US Southeast", "annual plasticulture")
    assert [table.id for table in file.tables] == [SOUTHEAST]
    (block,) = file.blocks.values()
    assert (block.block.bed_spacing_ft, block.plan.rates_lb_ac[0]) == (7, 5.25)


def test_bounds_that_cross_are_asked_for_again(run: Run, tmp_path: Path) -> None:
    given = options(crop="grape", table="grape-thompson-seedless-petiole-dry-california", stage="none")
    given += ["--variety=Thompson Seedless", "--rules=general"]
    result = run("new", "farm", *given, input="6\n5\n5.5\n8\n")
    assert "Error: ceiling 5 is below the highest planned rate, 5.25 lb N/ac/week" in result.output
    assert "Error: floor 6 is above ceiling 5.5" in result.output
    (block,) = read_season(tmp_path / "farm").blocks.values()
    assert (block.plan.floor_lb_ac, block.plan.ceiling_lb_ac) == (6, 8)


def test_a_number_or_name_that_is_not_listed_is_asked_for_again(run: Run, tmp_path: Path) -> None:
    given = options(crop="grape", table="grape-thompson-seedless-petiole-dry-california", stage="none")
    given += ["--variety=Thompson Seedless", "--floor=2", "--ceiling=9"]
    text = " ".join(run("new", "farm", *given, input="general rules\ngeneral\n").output.split())
    assert 'Error: "general rules" should be a name above, or a number from 1 to ' in text
    told = run("new", "other", *tomato(rate=None), input="\n\n\n3\n\n14\n").output
    assert 'Error: "3" should be a number from 1 to 2' in told
    assert read_season(tmp_path / "other").blocks["north"].plan.rates_lb_ac[0] == 14


def test_what_still_does_not_fit_is_told_by_its_option(refused: Refused, monkeypatch: pytest.MonkeyPatch) -> None:
    """The season file is read as a whole in the end; nobody has seen its lines, so none is named."""
    faults = [
        Fault("too long", "season.toml", 9, key) for key in ("plan.ramp", "blocks.north.row_length", "stages")
    ]

    def read(text: str, folder: Path) -> None:
        raise UserError(faults)

    monkeypatch.setattr("fertadjust.season_file.parse_season", read)
    told = refused("new", "farm", *options())
    assert told == "Error: --schedule: too long\nError: --row-length: too long\nError: --stage: too long\n"


# --- tables, rules and dates --------------------------------------------------------------------------------


OFFERED = [
    (name, crop, policy.id) for name, crop in EVERY for policy in offered_rules(crop, shipped_tables()[name])
]


@pytest.mark.parametrize(("name", "crop", "rules"), OFFERED)
def test_every_set_of_rules_that_is_offered_can_be_taken_with_every_table(
    run: Run, tmp_path: Path, name: str, crop: str, rules: str
) -> None:
    """And the season file leads to them by itself, or names them: with the usual system and region, and others."""
    shipped = shipped_policies()[rules]
    bounds = {"floor": "2", "ceiling": "9"} if shipped.floor is None else {}
    given = options(crop=crop, table=name, stage="none", rules=rules, variety="", **bounds)
    for folder, more in (("farm", []), ("moved", ["--region=Delaware", f"--system={shipped.system}"])):
        run("new", folder, *given, *more)
        assert read_season(tmp_path / folder).policy.id == rules


def test_rules_of_another_region_are_named_in_the_file(run: Run, tmp_path: Path) -> None:
    """One set of rules alone is for watermelon in this system, but for Florida, and the season is in Michigan."""
    table = "watermelon-petiole-sap-michigan"
    run("new", "farm", *options(crop="watermelon", table=table, stage="none", rules="florida-watermelon"))
    file = read_season(tmp_path / "farm")
    assert (file.policy.id, file.region) == ("florida-watermelon", "Michigan")
    assert '\nrules = "florida-watermelon"\n' in file.text


def test_bands_published_in_nitrate_are_listed_in_nitrate_nitrogen(run: Run) -> None:
    """Japan, tomato sap: 4,000 to 7,000 mg/L NO3; times 14.0067 / 62.0049 (atomic masses) that is 904 to 1,581."""
    listed = run("new", "farm", *options(crop="tomato", table=None), input="x\n", code=2).output
    (row,) = [line for line in listed.splitlines() if " Japan " in line]
    assert row.endswith("904 to 1,581 mg/L") and "petiole sap NO3-N" in row
    assert "4,000 to 7,000" not in listed


def test_a_table_without_a_date_to_count_from_is_told(run: Run, tmp_path: Path) -> None:
    given = options(crop="cotton", table="cotton-petiole-dry-georgia", stage="none", rules="general", variety="")
    text = " ".join(run("new", "farm", *given, "--floor=2", "--ceiling=9").output.split())
    assert "cotton-petiole-dry-georgia has no band before first_bloom has a date: fertadjust stages set" in text
    assert read_season(tmp_path / "farm").blocks["north"].stages.dates == {}
    assert "there is no band until one has" in " ".join(run("new", "--help").output.split())
    assert "has no band before" not in run("new", "other", *options()).output


def test_the_day_of_planting_that_a_schedule_was_started_from_is_dated(run: Run, tmp_path: Path) -> None:
    given = tomato(rate=None, basis="linear_bed", weeks="11", planted="2026-03-02", standard_spacing="6")
    run("new", "farm", *given, "--schedule=1", "--start=2026-03-16")
    file = read_season(tmp_path / "farm")
    (block,) = file.blocks.values()
    assert block.stages.dates == {"transplanting": date(2026, 3, 2)}
    assert block.plan.rates_lb_ac[0] == 14  # week 3 of the schedule (UF/IFAS, recalled: 2 lb N/ac/day)
    assert (
        "\n# The day of planting, taken for transplanting: week 1 of the schedule below begins with it.\n"
        in file.text
    )
    assert "date transplanting" not in " ".join(run("check", "--season", "farm").output.split())
    seen = tomato(rate=None, planted="2026-03-02")
    run("new", "other", *seen, "--schedule=1", "--stage", "transplanting=2026-03-04")
    other = read_season(tmp_path / "other")
    assert other.blocks["north"].stages.dates == {"transplanting": date(2026, 3, 4)}
    assert "taken for" not in other.text
    run("new", "plain", *tomato(rate="14", planted="2026-03-02"))
    assert read_season(tmp_path / "plain").blocks["north"].stages.dates == {}


# --- check --------------------------------------------------------------------------------------------------


def test_a_season_in_order_is_told_as_such(run: Run, lived: Path) -> None:
    before = contents(lived)
    output = run("check", "--season", lived).output
    assert too_wide(output) == []
    text = " ".join(output.split())
    assert "The season file is in order." in text
    assert "Block creek (Creek side): 0.1722 ac, counted per acre of bed top." in text
    assert "Plan: 12 weeks from Mon 2 Mar 2026, 56.00 lb N/ac in all, bounds 3.00 to 7.00 lb N/ac/week." in text
    assert "Note: strawberry-leaf-georgia is for Georgia, the season is in US Southeast" in text
    assert contents(lived) == before


def test_own_rule_values_are_told(run: Run, fresh: Path) -> None:
    with (fresh / "season.toml").open("a") as file:
        file.write("\n[policy.confidence]\nvalue = 0.9\nreason = 'our laboratory repeats every sample'\n")
    text = " ".join(run("check", "--season", fresh).output.split())
    assert (
        "Your own rule value: confidence = 0.9 probability instead of 0.8 probability (our laboratory repeats "
        "every sample)."
    ) in text


OWN_ROWS = """
[policy.cross_check]
low-leaf-sufficient = { value = "full", reason = "our leaves lag behind" }
[policy.companions]
potassium = 1.2
"""
OWN_TOLD = (
    "Your own rule value: cross_check.low-leaf-sufficient = full instead of half (our leaves lag behind).",
    "Your own rule value: companions.potassium = 1.2 % instead of 1.4 % (season file).",
)


@pytest.mark.parametrize(
    "command",
    [
        ("check",),
        ("advise", "--block", "creek", "--on", "2026-03-21"),
        ("advise", "--block", "creek", "--on", "2026-03-21", "--full"),
        ("amounts", "--block", "creek", "--on", "2026-03-21"),
        ("history", "--block", "creek", "--on", "2026-03-21"),
        ("decide", "--block", "creek", "--on", "2026-03-21", "--accept"),
        ("decide", "--block", "creek", "--on", "2026-03-21", "--leave", "--reason", "rain"),
    ],
)
def test_own_rows_of_the_rules_are_told_everywhere(run: Run, lived: Path, command: tuple[str, ...]) -> None:
    before = run(*command, "--season", lived).output
    assert "own rule value" not in before
    with (lived / "season.toml").open("a") as file:
        file.write(OWN_ROWS)
    output = run(*command, "--season", lived).output
    text = " ".join(output.split())
    for told in OWN_TOLD:
        assert text.count(told) == 1
    assert too_wide(output) == []


def test_own_rows_of_the_rules_are_in_the_data_the_report_and_the_chart(run: Run, lived: Path) -> None:
    with (lived / "season.toml").open("a") as file:
        file.write(OWN_ROWS)
    day = ("--block", "creek", "--on", "2026-03-21", "--season", lived)
    (advice,) = json.loads(run("advise", "--json", *day).output)["advice"]
    told = [(item["name"], item["shipped"], item["own"], item["reason"]) for item in advice["own_rule_values"]]
    assert told == [
        ("cross_check.low-leaf-sufficient", "half", "full", "our leaves lag behind"),
        ("companions.potassium", "1.4 %", "1.2 %", "season file"),
    ]
    looked_back = json.loads(run("history", "--json", *day).output)
    assert looked_back["own_rule_values"] == advice["own_rule_values"]
    run("report", *day, "--to", lived / "page.html")
    page = (lived / "page.html").read_text(encoding="utf-8")
    table = page.split("Policy values that the season file sets</span></caption>")[1].split("</table>")[0]
    for cells in told:
        assert all(cell in table for cell in cells)
    run("chart", *day, "--to", lived / "chart.svg")
    svg = (lived / "chart.svg").read_text(encoding="utf-8")
    for text in (svg, page):
        assert "Rule values that the season file sets" in text
    (note,) = [item for item in notes_of(open_season(lived)) if item.startswith("Rule values")]
    assert note.split(": ")[1] == "cross_check.low-leaf-sufficient, companions.potassium."


def notes_of(season: Season) -> list[str]:
    """What stands above and below the panels of creek's chart."""
    return [" ".join(text.get_text().split()) for text in season.chart("creek", date(2026, 3, 21)).texts]


def test_an_own_row_is_what_the_advice_goes_by(run: Run, lived: Path) -> None:
    """Creek was low with a low leaf on 21 March; to hold on that row takes the raise back."""
    command = ("advise", "--block", "creek", "--on", "2026-03-21", "--json", "--season", lived)
    (before,) = json.loads(run(*command).output)["advice"]
    with (lived / "season.toml").open("a") as file:
        file.write('\n[policy.cross_check]\nlow-leaf-low = "hold"\n[policy.companions]\npotassium = 1.3\n')
    (after,) = json.loads(run(*command).output)["advice"]
    assert (before["action"], after["action"]) == ("raise", "hold")
    weighed, potassium = (
        next(line for line in after["trace"] if line["rule"] == name) for name in ("weighed together", "potassium")
    )
    assert (weighed["fired"], weighed["source"], weighed["evidence"]) == (True, "season file", "own")
    assert "row low-leaf-low" in weighed["saw"]
    # creek's leaf holds 1.34 % potassium, below the shipped limit of 1.40 % (UGA-AESL) and above 1.3
    assert [line["fired"] for line in before["trace"] if line["rule"] == "potassium"] == [True]
    assert (potassium["fired"], potassium["source"]) == (False, "season file")


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ('[policy.cross_check]\nlow-snow = "half"\n', "policy.cross_check.low-snow: is no row of it"),
        ('[policy.cross_check]\nlow-rain = "most"\n', "policy.cross_check.low-rain: should be 'full', 'half' or"),
        ("[policy.companions]\nboron = -1\n", "policy.companions.boron: should be greater than 0"),
        ("[policy]\ncompanions = 1\n", "policy.companions: write it as a table [policy.companions]"),
    ],
)
def test_an_own_row_that_will_not_do_is_told_with_line_and_key(
    run: Run, fresh: Path, given: str, told: str
) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text() + "\n" + given)
    line = len(path.read_text().splitlines())
    assert f"season.toml, line {line}, {told}" in " ".join(run("check", "--season", fresh, code=2).stderr.split())


@pytest.mark.parametrize("name", ["floor", "ceiling"])
def test_a_bound_among_the_rule_values_is_told_with_its_line_and_its_place(
    run: Run, fresh: Path, name: str
) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text() + f"\n[policy]\n{name} = 6.5\n")
    line = len(path.read_text().splitlines())
    for command in (("check",), ("advise",)):
        told = " ".join(run(*command, "--season", fresh, code=2).stderr.split())
        assert f"season.toml, line {line}, policy.{name}: is set under [bounds]" in told


def test_a_metric_season_is_told_in_metric_words(run: Run, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace('units = "us"', 'units = "metric"'))
    text = " ".join(run("check", "--season", fresh).output.split())
    assert "Block creek (Creek side): 0.7500 ha" in text
    assert "bounds 3.00 to 7.00 kg N/ha/week" in text
    assert "acre" not in text


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[plan]", "[plan", "torn or mistyped"),
        ('name = "strawberry"', 'name = "tomato"', 'no rules are bound to "tomato" in "annual plasticulture"'),
        (
            'shares = { "calcium nitrate" = 0.5',
            'shares = { "calcium nitrate" = 0.6',
            "mixes[2].shares: the shares of nitrogen add up to 1.1; they should add up to 1",
        ),
        (
            'area_basis = "bed"',
            'area_basis = "gross"',
            "blocks.creek.area_basis: the plan's rate is per acre of bed top, block creek counts per gross acre: "
            "0.3444 ac against 0.1722 ac, a factor of 0.500",
        ),
        ("planted = 2025-10-14", "planted = 2026-10-14", "first bloom on 2026-03-02 is before planting"),
        (
            "ceiling = 7.0",
            "ceiling = 5.0",
            "plan.ramp: a planned rate of 5.25 is above the ceiling of 5 lb N/ac/week",
        ),
        ("floor = 3.0", "floor = 7.5", "bounds: floor 7.5 is above ceiling 7"),
        ('approximate = ["first_bloom"]', 'approximate = ["bloom"]', "approximate names bloom, which has no date"),
    ],
)
def test_a_fault_is_told_with_file_line_and_key(
    refused: Refused, fresh: Path, old: str, new: str, message: str
) -> None:
    path = fresh / "season.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    told = refused("check", "--season", fresh)
    assert message in told
    for line in told.splitlines():
        assert line.startswith("Error: season.toml, line ")


def test_an_own_band_table_with_faults_is_told_by_its_file(refused: Refused, fresh: Path) -> None:
    path = fresh / "season.toml"
    text = path.read_text().replace("[bands]\n", '[bands]\nfolder = "bands"\n')
    path.write_text(text.replace('tables = ["strawberry-petiole', 'tables = ["mine", "strawberry-petiole'))
    (fresh / "bands").mkdir()
    (fresh / "bands" / "mine.toml").write_text("schema = 1\nid = \n")
    assert "Error: mine.toml, line 2: the file is torn or mistyped here" in refused("check", "--season", fresh)
