"""``new`` and ``check``."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import Season, open_season
from fertadjust.season_file import read_season
from fertadjust.shipped import shipped_tables
from fertadjust.starter import stages_needed
from fertadjust.units import UnitSystem
from tests.cli.conftest import Refused, Run, contents, too_wide
from tests.support import GEORGIA_LEAF, SOUTHEAST

ANSWERS = {
    "--farm": "Fernhill",
    "--units": "us",
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
TABLES = [name for name, table in shipped_tables().items() if table.crop == "strawberry"]


def options(**changes: str | None) -> list[str]:
    """All answers as options, some of them changed or left out."""
    given: dict[str, str | None] = dict(ANSWERS)
    given |= {f"--{name.replace('_', '-')}": value for name, value in changes.items()}
    return [part for name, value in given.items() if value is not None for part in (name, value)]


# --- new ----------------------------------------------------------------------------------------------------


def test_a_season_is_set_up_by_options_without_a_question(run: Run, tmp_path: Path) -> None:
    result = run("new", "farm", *options())
    assert result.output.startswith("Wrote farm/season.toml\n")
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
        "Fernhill",
        "metric",
        str(TABLES.index(SOUTHEAST) + 1),
        "2026-03-02",
        "North field",
        "2026-03-02",
        "",
        "",
        "5.9",
        "90",
        "10",
        "0.8",
        "1.5",
    ]
    result = run("new", "farm", input="\n".join(answers) + "\n")
    for question in (
        "Farm name",
        "Units (us, metric) [us]",
        "First day of first bloom (year-month-day)",
        "Short name of the first block [north]",
        "Nitrogen [kg N/ha/week]",
        "Row length [m]",
    ):
        assert question in result.output
    file = read_season(tmp_path / "farm")
    block = file.blocks["north-field"]
    assert (block.block.name, block.block.rows) == ("North field", 10)
    assert len(block.plan.rates_lb_ac) == 12
    assert block.plan.basis.value == "bed"


def test_tables_are_shown_with_their_regions_and_picked_by_number(run: Run, tmp_path: Path) -> None:
    numbers = f"{TABLES.index(SOUTHEAST) + 1}, {TABLES.index(GEORGIA_LEAF) + 1}"
    result = run("new", "farm", *options(table=None), input=numbers + "\n")
    assert "Bands of different regions disagree several-fold" in result.output
    for name in TABLES:
        assert f"({shipped_tables()[name].region})" in " ".join(result.output.split())
    assert too_wide(result.output.replace(f": {numbers}\n", ":\n")) == []
    assert [table.id for table in read_season(tmp_path / "farm").tables] == [SOUTHEAST, GEORGIA_LEAF]


def test_only_what_is_missing_is_asked_for(run: Run) -> None:
    result = run("new", "farm", *options(rate=None), input="5.25\n")
    assert result.output.startswith("Nitrogen [lb N/ac/week]: 5.25\nWrote ")


def test_a_wrong_answer_is_asked_for_again(run: Run, tmp_path: Path) -> None:
    result = run("new", "farm", *options(rate=None, start=None), input="soon\n2026-03-02\nmuch\n5.25\n")
    assert '"soon" is not a date' in result.output
    assert read_season(tmp_path / "farm").blocks["north"].plan.rates_lb_ac[0] == 5.25


@pytest.mark.parametrize("name", TABLES)
def test_a_season_can_be_set_up_with_every_table_that_is_offered(run: Run, tmp_path: Path, name: str) -> None:
    stages = [
        part
        for index, stage in enumerate(stages_needed([name]))
        for part in ("--stage", f"{stage}=2026-{index + 1:02d}-05")
    ]
    run("new", "farm", *options(table=name, stage=None), *stages)
    assert [table.id for table in read_season(tmp_path / "farm").tables] == [name]


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
        ({"bed_top_width": "6"}, "bed_top_width 6 is wider than bed_spacing 5"),
        ({"stage": "first_bloom=soon"}, '"first_bloom=soon" should be NAME=DATE, first_bloom=2026-03-02'),
        ({"stage": "2026-03-02"}, '"2026-03-02" should be NAME=DATE'),
        ({"table": "strawberry"}, "no strawberry table strawberry; there are: "),
        ({"crop": "tomato"}, 'no table is for "tomato"; there are tables for: strawberry'),
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
    assert message in refused("new", "farm", *options(**changes))
    assert not (tmp_path / "farm").exists()


def test_two_tables_for_the_same_kind_write_nothing(refused: Refused) -> None:
    other = "strawberry-petiole-dry-delaware"
    stages = [part for stage in stages_needed([other]) for part in ("--stage", f"{stage}=2026-03-05")]
    assert "choose one" in refused("new", "farm", *options(), "--table", other, *stages)


def test_a_stage_name_that_is_no_word_is_told_as_such(refused: Refused) -> None:
    told = refused("new", "farm", *options(), "--stage", "full bloom=2026-03-20")
    assert "--stage" in told
    assert "torn" not in told


@pytest.mark.parametrize("numbers", ["0", "99", "1;2", "one", "", "1,", "²"])
def test_table_numbers_that_will_not_do_write_nothing(refused: Refused, numbers: str) -> None:
    told = refused("new", "farm", *options(table=None), input=numbers + "\n")
    assert "--table" in told


def test_a_place_that_cannot_be_written_is_told(refused: Refused, tmp_path: Path) -> None:
    (tmp_path / "farm").write_text("not a folder")
    assert "cannot be written" in refused("new", "farm", *options())


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
        ('name = "strawberry"', 'name = "tomato"', 'there are no rules for "tomato"'),
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
    path.write_text(path.read_text().replace("[bands]\n", '[bands]\nfolder = "bands"\n'))
    (fresh / "bands").mkdir()
    (fresh / "bands" / "mine.toml").write_text("schema = 1\nid = \n")
    assert "Error: mine.toml, line 2: the file is torn or mistyped here" in refused("check", "--season", fresh)
