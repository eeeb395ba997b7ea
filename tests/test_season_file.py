"""A season file as a whole: what it says when all is well, and every fault at its line when it is not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from fertadjust.errors import Fault, UserError
from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis
from fertadjust.rules.cross_table import CrossCheckRow
from fertadjust.rules.policy import OVERRIDABLE, ROW_VALUES, Policy
from fertadjust.season_file import SeasonFile, parse_season, read_season
from fertadjust.shipped import shipped_policy, shipped_tables
from fertadjust.units import UnitSystem
from tests.support import GEORGIA_LEAF, SOUTHEAST

SEASON = """\
schema = 1

[farm]
name = "Fernhill"
units = "us"

[crop]
name = "strawberry"
system = "annual plasticulture"
region = "US Southeast"
planted = 2025-10-12

[bands]
tables = ["strawberry-petiole-dry-us-southeast"]

[stages]
first_bloom = 2026-03-02

[plan]
start = 2026-03-02
weeks = 12
basis = "bed"
rate = 5.25
injections_per_week = 2

[bounds]
floor = 3.0
ceiling = 7.0
season_cap = 130

[[credits]]
name = "preplant"
n = 60

[[products]]
name = "calcium nitrate"
grade = "15.5-0-0"
ca = 19
nitrate_n = 14.5
share = 0.5

[[products]]
name = "potassium nitrate"
grade = "13-0-44"
nitrate_n = 13
share = 0.5

[blocks.north]
name = "North field"
row_length = 300
rows = 10
bed_top_width = 2.5
bed_spacing = 5
area_basis = "bed"
soil = "sandy loam"

[blocks.south]
row_length = 200
rows = 8
bed_top_width = 2.5
bed_spacing = 5
area_basis = "bed"
"""

BAND_TABLE = """\
schema = 1
id = "own-petiole"
title = "Our own petiole bands"
crop = "strawberry"
system = "annual plasticulture"
region = "US Southeast"
tissue = "petiole"
part = "petiole of the most recently mature leaf"
basis = "dry"
axis = "weeks"
anchor = "first_bloom"

[[rows]]
id = "a"
analyte = "NO3-N"
unit = "ppm"
weeks = [1, 4]
low = 1000
high = 3000
source = "farm records"
evidence = "own"

[[rows]]
id = "b"
analyte = "NO3-N"
unit = "ppm"
weeks = [5, 12]
low = 2000
high = 5000
source = "farm records"
evidence = "own"
"""

OWN_BANDS = 'tables = ["own-petiole"]\nfolder = "bands"\n'

Told = Callable[..., list[Fault]]


def edited(*edits: tuple[str, str], text: str = SEASON) -> str:
    """A text with each (old, new) replaced once; old must be there."""
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def line_of(text: str, start: str, nth: int = 1) -> int:
    """1-based number of the nth line that begins with a text."""
    found = [number for number, line in enumerate(text.splitlines(), start=1) if line.startswith(start)]
    return found[nth - 1]


def put(folder: Path, text: str, bands: dict[str, str] | None = None) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "season.toml").write_text(text, encoding="utf-8", newline="")
    if bands is not None:
        (folder / "bands").mkdir(exist_ok=True)
    for name, table in (bands or {}).items():
        (folder / "bands" / f"{name}.toml").write_text(table, encoding="utf-8")
    return folder


@pytest.fixture
def season(tmp_path: Path) -> Callable[..., SeasonFile]:
    def read(text: str = SEASON, bands: dict[str, str] | None = None) -> SeasonFile:
        return read_season(put(tmp_path / "season", text, bands))

    return read


@pytest.fixture
def told(tmp_path: Path) -> Told:
    """The faults of a season file; the folder is left as it was."""

    def faults(text: str, bands: dict[str, str] | None = None) -> list[Fault]:
        folder = put(tmp_path / "season", text, bands)
        before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
        with pytest.raises(UserError) as caught:
            read_season(folder)
        assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
        return list(caught.value.faults)

    return faults


def one(faults: list[Fault]) -> Fault:
    assert len(faults) == 1, [str(fault) for fault in faults]
    return faults[0]


# --- a season file in order ---------------------------------------------------------------------------------


def test_a_season_in_order_is_read_as_written(season: Callable[..., SeasonFile]) -> None:
    file = season()
    assert (file.farm, file.units, file.crop, file.region) == (
        "Fernhill",
        UnitSystem.US,
        "strawberry",
        "US Southeast",
    )
    assert file.planted == date(2025, 10, 12)
    assert list(file.blocks) == ["north", "south"]
    north = file.blocks["north"]
    assert (north.block.key, north.block.name, north.block.soil) == ("north", "North field", "sandy loam")
    assert north.block.area_ac() == pytest.approx(300 * 10 * 2.5 / 43560)
    assert file.blocks["south"].block.name == "south"
    assert north.plan.rates_lb_ac == (5.25,) * 12
    assert (north.plan.floor_lb_ac, north.plan.ceiling_lb_ac, north.plan.cap_lb_ac) == (3, 7, 130)
    assert [(item.name, item.n_lb_ac) for item in north.plan.credits] == [("preplant", 60)]
    assert [item.name for item in north.products] == ["calcium nitrate", "potassium nitrate"]
    assert north.stages.dates == {"first_bloom": date(2026, 3, 2)}
    assert north.stages.season_end == date(2026, 5, 24)
    assert [table.id for table in file.tables] == [SOUTHEAST]
    assert file.policy == shipped_policy("strawberry-annual-plasticulture")
    assert file.text == SEASON
    assert file.notes == ()


def test_a_metric_season_is_the_same_season(season: Callable[..., SeasonFile]) -> None:
    text = edited(
        ('units = "us"', 'units = "metric"'),
        ("rate = 5.25", "rate = 5.884468"),
        (
            "floor = 3.0\nceiling = 7.0\nseason_cap = 130",
            "floor = 3.362553\nceiling = 7.845957\nseason_cap = 145.7106",
        ),
        ("n = 60", "n = 67.25106"),
        ("row_length = 300", "row_length = 91.44"),
        ("bed_top_width = 2.5\nbed_spacing = 5", "bed_top_width = 0.762\nbed_spacing = 1.524"),
        ("ca = 19\n", "ca = 19\ndensity = 1.198264\n"),
    )
    metric, us = season(text).blocks["north"], season().blocks["north"]
    assert metric.plan.rates_lb_ac == pytest.approx(us.plan.rates_lb_ac)
    for name in ("floor_lb_ac", "ceiling_lb_ac", "cap_lb_ac", "credits_lb_ac"):
        assert getattr(metric.plan, name) == pytest.approx(getattr(us.plan, name))
    assert metric.block.area_ac() == pytest.approx(us.block.area_ac())
    assert metric.plan.rate_step_lb_ac == pytest.approx(0.05 / 1.120851)
    assert metric.products[0].density_lb_gal == pytest.approx(10)


def test_bounds_left_out_come_from_the_rules(season: Callable[..., SeasonFile]) -> None:
    file = season(edited(("floor = 3.0\nceiling = 7.0\n", "")))
    plan = file.blocks["north"].plan
    assert (plan.floor_lb_ac, plan.ceiling_lb_ac) == (file.policy.floor.value, file.policy.ceiling.value)


def test_windows_line_ends_and_a_leading_mark_change_nothing(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_bytes(b"\xef\xbb\xbf" + SEASON.replace("\n", "\r\n").encode())
    file = read_season(tmp_path)
    assert file.blocks["north"].plan.rates_lb_ac == (5.25,) * 12
    assert parse_season(file.text, tmp_path).blocks["north"] == file.blocks["north"]


def test_a_block_may_date_its_own_stages(season: Callable[..., SeasonFile]) -> None:
    text = edited(("[plan]", 'approximate = ["first_bloom"]\n\n[plan]')) + (
        "stages = { first_bloom = 2026-03-09 }\n"
    )
    file = season(text)
    assert file.blocks["north"].stages.approximate == {"first_bloom"}
    assert file.blocks["north"].stages.dates["first_bloom"] == date(2026, 3, 2)
    assert file.blocks["south"].stages.dates["first_bloom"] == date(2026, 3, 9)
    assert file.blocks["south"].stages.approximate == frozenset()


def test_a_block_may_guess_a_stage_the_others_know(season: Callable[..., SeasonFile]) -> None:
    file = season(SEASON + 'stages = { approximate = ["first_bloom"] }\n')
    assert file.blocks["north"].stages.approximate == frozenset()
    assert file.blocks["south"].stages.approximate == {"first_bloom"}


def test_own_bands_are_read_from_their_folder(season: Callable[..., SeasonFile]) -> None:
    text = edited((f'tables = ["{SOUTHEAST}"]\n', OWN_BANDS))
    file = season(text, {"own-petiole": BAND_TABLE})
    assert [table.id for table in file.tables] == ["own-petiole"]


def test_own_rule_values_keep_the_shipped_one_beside_them(season: Callable[..., SeasonFile]) -> None:
    text = SEASON + (
        '\n[policy]\nconfidence = 0.9\nafter_recovery = "plan"\nrecalled_may_cut = true\n'
        '[policy.stale_days]\nvalue = 10\nreason = "our laboratory is quick"\n'
    )
    policy = season(text).policy
    assert (policy.confidence.value, policy.confidence.shipped) == (0.9, 0.8)
    assert policy.confidence.evidence is Evidence.OWN
    assert policy.after_recovery.value == "plan"
    assert policy.recalled_may_cut.value is True
    assert (policy.stale_days.value, policy.stale_days.source) == (10, "season file")
    assert [(item.name, item.shipped, item.own, item.reason) for item in policy.overrides()] == [
        ("confidence", "0.8 probability", "0.9 probability", "season file"),
        ("stale_days", "14 days", "10 days", "our laboratory is quick"),
        ("recalled_may_cut", "no", "yes", "season file"),
        ("after_recovery", "ease", "plan", "season file"),
    ]
    assert all(item.meaning for item in policy.overrides())


def test_things_to_know_are_noted_and_refuse_nothing(season: Callable[..., SeasonFile]) -> None:
    text = edited(
        (f'"{SOUTHEAST}"', f'"{SOUTHEAST}", "strawberry-leaf-us-southeast-recalled"'),
        ('region = "US Southeast"', 'region = "Georgia"'),
        ("season_cap = 130", "season_cap = 100"),
        ('grade = "13-0-44"', 'grade = "13-2-44"'),
    )
    notes = season(text).notes
    assert any(f"{SOUTHEAST} is for US Southeast, the season is in Georgia" in note for note in notes)
    assert any("holds rows written from memory" in note for note in notes)
    assert any("plan and credits come to 123.0 lb N/ac, above the season cap of 100.0" in note for note in notes)
    assert any("separate concentrated tanks" in note for note in notes)
    assert len(notes) == 5


@pytest.mark.parametrize(("step", "coarse"), [(0.05, False), (0.5, False), (0.6, True), (2.0, True)])
def test_a_metering_step_coarser_than_the_smallest_change_is_remarked_on(
    season: Callable[..., SeasonFile], step: float, coarse: bool
) -> None:
    # a tenth of the one planned rate of 5.25 is 0.525
    notes = season(edited(("season_cap = 130", f"season_cap = 130\nrate_step = {step}"))).notes
    assert any(f"rate_step {step:g} is coarser than the smallest change" in note for note in notes) is coarse
    assert not coarse or "0.53 lb N/ac/week: small changes are rounded away" in " ".join(notes)


def test_blocks_of_every_basis_are_read(season: Callable[..., SeasonFile]) -> None:
    for basis in AreaBasis:
        text = SEASON.replace('basis = "bed"', f'basis = "{basis.value}"')
        text = text.replace("bed_spacing = 5\n", "bed_spacing = 5\nstandard_spacing = 6\n")
        width = {AreaBasis.BED: 2.5, AreaBasis.GROSS: 5, AreaBasis.LINEAR_BED: 6}[basis]
        assert season(text).blocks["north"].block.area_ac() == pytest.approx(300 * 10 * width / 43560)


# --- a fault and its place ----------------------------------------------------------------------------------


def test_a_folder_without_a_season_file_says_how_to_begin(tmp_path: Path) -> None:
    with pytest.raises(UserError) as caught:
        read_season(tmp_path / "fields")
    fault = one(list(caught.value.faults))
    assert fault.file == str(tmp_path / "fields")
    assert fault.message == f"there is no season.toml here; write one with: fertadjust new {tmp_path / 'fields'}"
    assert not (tmp_path / "fields").exists()


def test_a_torn_file_is_told_with_its_line(told: Told) -> None:
    text = edited(('name = "preplant"', 'name = "preplant'))
    fault = one(told(text))
    assert (fault.file, fault.line) == ("season.toml", line_of(text, 'name = "preplant'))
    assert "torn or mistyped" in fault.message


@pytest.mark.parametrize(
    ("old", "new", "key", "message"),
    [
        ("units = ", "unit = ", "farm.unit", "is not a known key; known here: name, units"),
        (
            "rate = 5.25",
            "rate = 5.25\nrates = 5",
            "plan.rates",
            "is not a known key; known here: start, weeks, basis",
        ),
        (
            "ca = 19",
            "cu = 19",
            "products[1].cu",
            "is not a known key; known here: name, material, grade, share, rate, ca, mg, s, b",
        ),
        (
            "soil = ",
            "sol = ",
            "blocks.north.sol",
            "is not a known key; known here: name, row_length, rows, row_lengths",
        ),
        (
            "n = 60",
            "n = 60\nsort = 1",
            "credits[1].sort",
            "is not a known key; known here: name, kind, n, ppm",
        ),
        (
            "n = 60",
            "n = 60\nkind = 1",
            "credits[1].kind",
            "should be 'stated', 'water nitrate', 'cover crop', 'compost' or 'soil nitrate'; found 1",
        ),
        ("rate = 5.25", "rate = -5.25", "plan.rate", "should be greater than or equal to 0; found -5.25"),
        ("rate = 5.25", "rate = nan", "plan.rate", "should be a finite number; found nan"),
        ("rate = 5.25", "rate = inf", "plan.rate", "should be a finite number; found inf"),
        ("rate = 5.25", 'rate = "five"', "plan.rate", "should be a valid number"),
        (
            "row_length = 300",
            "row_length = -inf",
            "blocks.north.row_length",
            "should be a finite number; found -inf",
        ),
        ("weeks = 12", "weeks = 61", "plan.weeks", "should be less than or equal to 60; found 61"),
        ("season_cap = 130", "season_cap = nan", "bounds.season_cap", "should be a finite number; found nan"),
        ('grade = "13-0-44"', 'grade = "43-0-60"', "products[2].grade", "43-0-60 adds up to 103 %, above 100 %"),
        ("first_bloom = 2026-03-02", 'first_bloom = "soon"', "stages.first_bloom", "should be a valid date"),
        (
            'basis = "bed"',
            'basis = "beds"',
            "plan.basis",
            "should be 'bed', 'gross' or 'linear_bed'; found 'beds'",
        ),
        ("schema = 1", "schema = 2", "schema", "should be less than or equal to 1; found 2"),
    ],
)
def test_a_value_that_is_wrong_by_itself(told: Told, old: str, new: str, key: str, message: str) -> None:
    text = edited((old, new))
    fault = one(told(text))
    assert (fault.file, fault.key) == ("season.toml", key)
    assert fault.line == line_of(text, new.split("\n")[-1])
    assert fault.message.startswith(message)


@pytest.mark.parametrize(
    ("old", "new", "key", "header", "message"),
    [
        (
            "nitrate_n = 14.5",
            "nitrate_n = 16",
            "products[1]",
            "[[products]]",
            "nitrate_n 16 % is above the total N",
        ),
        (
            'grade = "15.5-0-0"\nca = 19\nnitrate_n = 14.5',
            'grade = "0-0-50"',
            "products[1]",
            "[[products]]",
            "0-0-50 holds",
        ),
        ("ca = 19", "ca = 90", "products[1]", "[[products]]", "the label adds up to 105.5 %, above 100 %"),
        ("floor = 3.0", "floor = 8", "bounds", "[bounds]", "floor 8 is above ceiling 7"),
        (
            "bed_top_width = 2.5",
            "bed_top_width = 6",
            "blocks.north",
            "[blocks.north]",
            "bed_top_width 6 is wider than",
        ),
        ("rate = 5.25\n", "", "plan", "[plan]", "give rate for one rate all season, or ramp for steps"),
        ("row_length = 300\n", "", "blocks.north", "[blocks.north]", "give row_length and rows, or row_lengths"),
        ("bed_spacing = 5\n", "", "blocks.north.bed_spacing", "[blocks.north]", "is missing"),
        (
            'grade = "15.5-0-0"\n',
            "",
            "products[1]",
            "[[products]]",
            "give name and grade from the label, or name a",
        ),
        ("n = 60\n", "", "credits[1]", "[[credits]]", "n is missing"),
        ('region = "US Southeast"\n', "", "crop.region", "[crop]", "is missing"),
    ],
)
def test_values_that_are_wrong_together(
    told: Told, old: str, new: str, key: str, header: str, message: str
) -> None:
    text = edited((old, new))
    fault = one(told(text))
    assert (fault.file, fault.key, fault.line) == ("season.toml", key, line_of(text, header))
    assert fault.message.startswith(message)


def test_a_block_without_any_bed_is_no_season(told: Told) -> None:
    text = SEASON[: SEASON.index("[blocks.north]")] + "[blocks]\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == ("blocks", line_of(text, "[blocks]"))


def test_a_block_key_that_is_not_plain_is_told_at_its_header(told: Told) -> None:
    text = edited(("[blocks.north]", '[blocks."North field"]'))
    fault = one(told(text))
    assert fault.line == line_of(text, '[blocks."North field"]')
    assert '"North field" should be lower-case letters, digits, - or _' in fault.message
    assert fault.key == "blocks.North field"


def test_several_faults_are_all_told_at_their_lines(told: Told) -> None:
    text = edited(
        ('name = "Fernhill"', 'name = ""  # no name yet'),
        ("[[credits]]", '# credits\nnote = """\n[[products]]\nshare = 3\n"""\n[[credits]]'),
        ("nitrate_n = 14.5", "nitrate = 14.5"),
        ('name = "potassium nitrate"', "name = '''potassium\nnitrate'''"),
        ('grade = "13-0-44"', "grade = [\n  13,\n  0, # ]\n  44,\n]\nshares = 1"),
        ("rows = 10", '"rows" = 0'),
        ("[blocks.south]", "  [blocks.south]  # the lower one"),
        ("rows = 8\nbed_top_width = 2.5", "rows = 8\ntop_width = 2.5"),
    )
    found = {(fault.line, fault.key) for fault in told(text)}
    assert found == {
        (line_of(text, 'name = ""'), "farm.name"),
        (line_of(text, "note = "), "bounds.note"),
        (line_of(text, "nitrate = "), "products[1].nitrate"),
        (line_of(text, "grade = [\n".strip()), "products[2].grade"),
        (line_of(text, "shares = 1"), "products[2].shares"),
        (line_of(text, '"rows" = 0'), "blocks.north.rows"),
        (line_of(text, "  [blocks.south]"), "blocks.south.bed_top_width"),
        (line_of(text, "top_width = 2.5"), "blocks.south.top_width"),
    }


@pytest.mark.parametrize("head", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_lines_are_right_whatever_the_file_begins_with_and_however_its_lines_end(
    tmp_path: Path, head: bytes, ends: str
) -> None:
    text = edited(("rate = 5.25", "rate = -5"), ("soil = ", "sol = "))
    (tmp_path / "season.toml").write_bytes(head + text.replace("\n", ends).encode())
    with pytest.raises(UserError) as caught:
        read_season(tmp_path)
    assert [(fault.line, fault.key) for fault in caught.value.faults] == [
        (line_of(text, "rate = -5"), "plan.rate"),
        (line_of(text, "sol = "), "blocks.north.sol"),
    ]


def test_an_entry_of_a_ramp_is_told_at_the_ramp(told: Told) -> None:
    text = edited(("rate = 5.25", "ramp = [\n  { week = 1, rate = 3.5 },\n  { week = 3, rate = -5 },\n]"))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("plan.ramp[2].rate", line_of(text, "ramp = ["))


# --- a fault of the season as a whole -----------------------------------------------------------------------


def test_an_unknown_crop_is_told_with_those_there_are(told: Told) -> None:
    text = edited(('name = "strawberry"', 'name = "tomato"'))
    faults = told(text)
    crop = [fault for fault in faults if fault.key == "crop.name"]
    assert [fault.line for fault in crop] == [line_of(text, 'name = "tomato"')]
    assert 'no rules are bound to "tomato" in "annual plasticulture"' in crop[0].message
    assert 'rules = "general" takes the program\'s general figures' in crop[0].message
    assert any(f"{SOUTHEAST} is for strawberry, the crop is tomato" in fault.message for fault in faults)


def test_an_unknown_table_is_told_with_those_there_are(told: Told) -> None:
    text = edited((f'"{SOUTHEAST}"', '"strawberry-petiole"'))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("bands.tables[1]", line_of(text, "tables = "))
    for name, table in shipped_tables().items():
        assert (name in fault.message) == (table.crop == "strawberry")


def test_two_tables_for_the_same_kind_are_refused(told: Told) -> None:
    other = "strawberry-petiole-dry-delaware"
    text = edited(
        (f'"{SOUTHEAST}"', f'\n  "{SOUTHEAST}",\n  "{other}",\n'),
        ("[plan]", "pre_bloom = 2026-01-02\nfruit = 2026-04-01\n[plan]"),
    )
    faults = [fault for fault in told(text) if "choose one" in fault.message]
    assert [(fault.key, fault.line) for fault in faults] == [("bands.tables[2]", line_of(text, "tables = "))]
    assert faults[0].message == f"{other} and {SOUTHEAST} are both for petiole NO3-N, dry: choose one"


def test_one_table_is_not_taken_twice(told: Told) -> None:
    fault = one(told(edited((f'"{SOUTHEAST}"', f'"{SOUTHEAST}", "{SOUTHEAST}"'))))
    assert "choose one" in fault.message


def test_a_petiole_and_a_leaf_table_go_together(season: Callable[..., SeasonFile]) -> None:
    assert len(season(edited((f'"{SOUTHEAST}"', f'"{SOUTHEAST}", "{GEORGIA_LEAF}"'))).tables) == 2


def test_a_table_has_no_band_before_the_stage_its_weeks_count_from(season: Callable[..., SeasonFile]) -> None:
    file = season(edited(("first_bloom = 2026-03-02", "green_up = 2026-02-20")))
    assert any(note.startswith(f"{SOUTHEAST} has no band before first_bloom has a date") for note in file.notes)


CALIFORNIA = edited(
    (f'"{SOUTHEAST}"', '"strawberry-petiole-dry-california"'),
    ("first_bloom = 2026-03-02", "pre_harvest = 2026-03-02\nmain_harvest = 2026-04-20"),
)


def test_a_stage_that_was_passed_over_may_go_without_a_date(season: Callable[..., SeasonFile]) -> None:
    file = season(edited(("pre_harvest = 2026-03-02\n", ""), text=CALIFORNIA))
    assert list(file.blocks["north"].stages.dates) == ["main_harvest"]


def test_a_table_by_stages_none_of_which_has_begun_has_no_band_yet(season: Callable[..., SeasonFile]) -> None:
    text = edited(("pre_harvest = 2026-03-02\n", ""), ("main_harvest = 2026-04-20\n", ""), text=CALIFORNIA)
    (note,) = [note for note in season(text).notes if "has no band before" in note]
    assert note == (
        "strawberry-petiole-dry-california has no band before one of its stages has a date: pre_harvest, "
        "main_harvest. Results are kept until then and not used."
    )


def test_a_later_stage_may_go_without_a_date_until_it_begins(season: Callable[..., SeasonFile]) -> None:
    file = season(edited(("main_harvest = 2026-04-20\n", ""), text=CALIFORNIA))
    assert file.tables[0].stages == ("pre_harvest", "main_harvest")
    assert list(file.blocks["north"].stages.dates) == ["pre_harvest"]


@pytest.mark.parametrize("day", ["2026-03-01", "2026-03-02"])
def test_stages_of_a_table_rise(told: Told, day: str) -> None:
    text = edited(("main_harvest = 2026-04-20", f"main_harvest = {day}"), text=CALIFORNIA)
    fault = one(told(text))
    assert (fault.key, fault.line) == ("stages", line_of(text, "[stages]"))
    assert fault.message == "strawberry-petiole-dry-california needs rising dates for pre_harvest, main_harvest"


def test_stages_that_do_not_rise_in_one_block_are_told_there(told: Told) -> None:
    text = CALIFORNIA + "\n[blocks.south.stages]\nmain_harvest = 2026-02-01\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == ("blocks.south.stages", line_of(text, "[blocks.south.stages]"))


def test_a_stage_without_a_date_cannot_be_approximate(told: Told) -> None:
    text = edited(("[plan]", 'approximate = ["first_bloom", "frist_bloom"]\n[plan]'))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("stages.approximate", line_of(text, "approximate = "))
    assert fault.message == "approximate names frist_bloom, which has no date"


def test_a_block_cannot_guess_a_stage_without_a_date(told: Told) -> None:
    text = SEASON + "stages = { approximate = [\n  'fruit',\n] }\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == ("blocks.south.stages.approximate", line_of(text, "stages = "))


def test_a_stage_is_not_before_planting(told: Told) -> None:
    text = edited(("first_bloom = 2026-03-02", "first_bloom = 2025-03-02"))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("stages.first_bloom", line_of(text, "first_bloom"))
    assert fault.message == "first bloom on 2025-03-02 is before planting on 2025-10-12"


def test_a_stage_of_a_block_is_not_before_planting(told: Told) -> None:
    text = SEASON + "\n[blocks.south.stages]\nfirst_bloom = 2025-03-02\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == (
        "blocks.south.stages.first_bloom",
        line_of(text, "first_bloom = 2025-03-02"),
    )


def test_a_shared_stage_before_planting_is_told_where_it_stands(told: Told) -> None:
    text = edited(("[plan]", "fruit = 2025-03-02\n[plan]")) + "stages = { first_bloom = 2026-03-09 }\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == ("stages.fruit", line_of(text, "fruit = 2025-03-02"))


@pytest.mark.parametrize(
    ("new", "key", "start"),
    [
        ("rate = 7.5", "plan.rate", "rate = 7.5"),
        ("ramp = [{ week = 1, rate = 5 },\n  { week = 2, rate = 7.5 }]", "plan.ramp", "ramp = "),
    ],
)
def test_a_planned_rate_is_not_above_the_ceiling(told: Told, new: str, key: str, start: str) -> None:
    text = edited(("rate = 5.25", new))
    fault = one(told(text))
    assert (fault.key, fault.line) == (key, line_of(text, start))
    assert fault.message == "a planned rate of 7.5 is above the ceiling of 7 lb N/ac/week"


def test_own_floor_above_the_usual_ceiling_is_refused(told: Told) -> None:
    text = edited(("floor = 3.0\nceiling = 7.0\n", "floor = 30\n"))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("bounds", line_of(text, "[bounds]"))
    assert fault.message.startswith("floor 30 is above ceiling ")


@pytest.mark.parametrize(("shares", "sum_"), [(("0.5", "0.4"), "0.9"), (("0.6", "0.5"), "1.1"), (("0", "0"), "0")])
def test_shares_of_nitrogen_add_up_to_one(told: Told, shares: tuple[str, str], sum_: str) -> None:
    text = edited(("share = 0.5", f"share = {shares[0]}"), ("share = 0.5", f"share = {shares[1]}"))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("products", line_of(text, "[[products]]"))
    assert fault.message == f"the shares of nitrogen add up to {sum_}; they should add up to 1"


def test_thirds_add_up_to_one(season: Callable[..., SeasonFile]) -> None:
    third = '[[products]]\nname = "ammonium nitrate"\ngrade = "34-0-0"\nshare = 0.3333333\n\n[blocks.north]'
    text = edited(
        ("share = 0.5", "share = 0.3333333"), ("share = 0.5", "share = 0.3333333"), ("[blocks.north]", third)
    )
    assert len(season(text).blocks["north"].products) == 3


def test_a_product_stands_once(told: Told) -> None:
    fault = one(told(edited(('name = "potassium nitrate"', 'name = "calcium nitrate"\nca = 0'))))
    assert fault.message == 'the product "calcium nitrate" stands twice'


def test_block_and_plan_agree_on_what_an_acre_is(told: Told) -> None:
    text = edited(('bed_spacing = 5\narea_basis = "bed"', 'bed_spacing = 5\narea_basis = "gross"'))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("blocks.north.area_basis", line_of(text, 'area_basis = "gross"'))
    assert "the plan's rate is per acre of bed top, block north counts per gross acre" in fault.message
    assert "0.3444 ac against 0.1722 ac, a factor of 0.500" in fault.message
    assert 'Set area_basis = "bed"' in fault.message


def test_in_a_metric_season_the_two_areas_are_metric(told: Told) -> None:
    text = edited(('units = "us"', 'units = "metric"'), ('area_basis = "bed"', 'area_basis = "gross"'))
    fault = one(told(text))
    assert "1.5000 ha against 0.7500 ha, a factor of 0.500" in fault.message


# --- own rule values ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("policy", "name", "message"),
    [
        ("confidense = 0.9", "confidense", "is no policy value; there are: confidence, "),
        ("id = 'mine'", "id", "is no policy value; there are: "),
        ("confidence = 1.5", "confidence", "1.5 is outside 0.5 to 0.999 probability"),
        ("confidence = 'high'", "confidence", "should be a valid number"),
        ("confidence = nan", "confidence", "should be a finite number"),
        ("stale_days = -1", "stale_days", "-1 is outside 0 to 366 days"),
        ("after_recovery = 'wait'", "after_recovery", "should be 'keep', 'ease' or 'plan'; found 'wait'"),
        ("recalled_may_cut = 'perhaps'", "recalled_may_cut", "should be a valid boolean"),
        ("confidence = { reason = 'mine' }", "confidence", "write a value, or { value = ..., reason = "),
        ("confidence = { value = 0.9, why = 'x' }", "confidence", "write a value, or { value = ..., reason = "),
        ("confidence = [0.9]", "confidence", "should be a valid number"),
        ("stale_days = 10.5", "stale_days", "10.5 should be a whole number of days"),
        ("apart_days = 4.5", "apart_days", "4.5 should be a whole number of days"),
        (
            "results_for_second_change = 2.5",
            "results_for_second_change",
            "2.5 should be a whole number of results",
        ),
        ("apart_days = 367", "apart_days", "367 is outside 0 to 366 days"),
        ("half_step = 1.1", "half_step", "1.1 is outside 0.05 to 0.95 "),
        ("ease_from = -0.1", "ease_from", "-0.1 is outside 0 to 1 "),
        ("near_plan = 2", "near_plan", "2 is outside 0 to 1 "),
        ("slow_mix_below = 1.5", "slow_mix_below", "1.5 is outside 0 to 1 "),
        ("one_edge_factor = 1", "one_edge_factor", "1 is outside 1.01 to 100 "),
    ],
)
def test_an_own_rule_value_that_will_not_do(told: Told, policy: str, name: str, message: str) -> None:
    text = SEASON + f"\n[policy]\n# mine\n{policy}\n"
    fault = one(told(text))
    assert (fault.file, fault.key, fault.line) == ("season.toml", f"policy.{name}", line_of(text, policy))
    assert fault.message.startswith(message)


@pytest.mark.parametrize("name", ["floor", "ceiling"])
@pytest.mark.parametrize("written", ["[policy]\n{} = 5", "[policy.{}]\nvalue = 5\nreason = 'our own'"])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_floor_and_ceiling_are_no_rule_values_of_a_season_file(
    told: Told, name: str, written: str, units: str
) -> None:
    given = written.format(name)
    text = edited(('units = "us"', f'units = "{units}"')) + f"\n# mine\n{given}\n"
    fault = one(told(text))
    place = line_of(text, f"[policy.{name}]" if f"[policy.{name}]" in given else f"{name} = 5")
    assert (fault.file, fault.key, fault.line) == ("season.toml", f"policy.{name}", place)
    assert fault.message == "is set under [bounds]"
    assert name not in OVERRIDABLE


def test_both_bounds_among_the_rule_values_are_told_beside_every_other_fault(told: Told) -> None:
    text = SEASON + "\n[policy]\nfloor = 2\nconfidence = 2\nceiling = 9\nspeed = 1\n"
    assert [(fault.key, fault.message.split(";")[0]) for fault in told(text)] == [
        ("policy.floor", "is set under [bounds]"),
        ("policy.confidence", "2 is outside 0.5 to 0.999 probability"),
        ("policy.ceiling", "is set under [bounds]"),
        ("policy.speed", "is no policy value"),
    ]


@pytest.mark.parametrize(
    ("small", "large"),
    [
        ("raise_persistent", "raise_largest"),
        ("leaf_low_raise", "raise_largest"),
        ("cut_persistent", "cut_largest"),
    ],
)
def test_an_own_step_above_the_largest_is_refused_and_an_own_largest_below_a_step_is_not(
    told: Told, season: Callable[..., SeasonFile], small: str, large: str
) -> None:
    shipped = shipped_policy("strawberry-annual-plasticulture")
    most = getattr(shipped, large).value
    text = SEASON + f"\n[policy]\n{small} = {most + 0.01:g}\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == (f"policy.{small}", line_of(text, f"{small} ="))
    assert fault.message == f"{small} {most + 0.01:g} is above {large} {most:g}"
    fault = one(told(SEASON + f"\n[policy]\n{large} = 0.35\n{small} = 0.36\n"))
    assert (fault.key, fault.message) == (f"policy.{small}", f"{small} 0.36 is above {large} 0.35")
    first = "raise_first" if large == "raise_largest" else "cut_first"
    less = (getattr(shipped, first).value + getattr(shipped, small).value) / 2
    assert less < getattr(shipped, small).value
    own = season(SEASON + f"\n[policy]\n{large} = {less!r}\n").policy
    assert (getattr(own, large).value, getattr(own, small).value) == (less, getattr(shipped, small).value)


def test_every_rule_value_that_may_be_set_is_told(told: Told) -> None:
    fault = one(told(SEASON + "\n[policy]\nspeed = 1\n"))
    absent = {
        "corrective_least",
        "corrective_most",
        "corrective_days",
        "stop_after_week",
    }  # figures that this crop's rules do not have
    known = [name for name in (*OVERRIDABLE, *ROW_VALUES) if name not in absent]
    assert fault.message == f"is no policy value; there are: {', '.join(known)}"


@pytest.mark.parametrize(
    "policy",
    ["[policy]\nsmallest_step = 0.9", "[policy.smallest_step]\nvalue = 0.9\nreason = 'we meter coarsely'"],
)
def test_rule_values_that_do_not_go_together_are_told_under_policy(told: Told, policy: str) -> None:
    text = SEASON + "\n" + policy + "\n"
    faults = told(text)
    assert sorted(fault.message for fault in faults) == sorted(
        [
            "smallest_step 0.9 is above raise_first 0.333333",
            "smallest_step 0.9 is above raise_persistent 0.5",
            "smallest_step 0.9 is above leaf_low_raise 0.5",
            "smallest_step 0.9 is above cut_first 0.1",
            "smallest_step 0.9 is above cut_persistent 0.25",
        ]
    )
    place = line_of(text, "smallest_step" if "smallest_step =" in policy else "[policy.smallest_step]")
    assert {(fault.key, fault.line) for fault in faults} == {("policy.smallest_step", place)}


def test_a_step_of_the_cross_check_is_set_by_the_id_of_its_row(season: Callable[..., SeasonFile]) -> None:
    text = SEASON + (
        '\n[policy.cross_check]\nlow-rain = "half"\n'
        'high-over = { value = "hold", reason = "our log is reliable" }\n'
    )
    policy = season(text).policy
    rain, over = rows_of(policy)["low-rain"], rows_of(policy)["high-over"]
    assert (rain.step, rain.shipped, rain.source, rain.evidence) == ("half", "full", "season file", Evidence.OWN)
    assert (over.step, over.shipped, over.source, over.evidence) == (
        "hold",
        "half",
        "season file",
        Evidence.OWN,
    )
    assert [item[:1] + item[2:] for item in policy.overrides()] == [
        ("cross_check.low-rain", "full", "half", "season file"),
        ("cross_check.high-over", "half", "hold", "our log is reliable"),
    ]
    shipped = shipped_policy("strawberry-annual-plasticulture")
    set_here = {"step", "shipped", "source", "evidence"}
    assert rain.model_dump(exclude=set_here) == rows_of(shipped)["low-rain"].model_dump(exclude=set_here)
    others = {name: row for name, row in rows_of(policy).items() if name not in {"low-rain", "high-over"}}
    assert others == {name: row for name, row in rows_of(shipped).items() if name in others}
    assert list(rows_of(policy)) == list(rows_of(shipped))


def test_a_limit_of_another_nutrient_is_set_by_the_id_of_its_row(season: Callable[..., SeasonFile]) -> None:
    text = SEASON + (
        "\n[policy.companions]\npotassium = 1.2\n"
        '[policy.companions.boron]\nvalue = 35.0\nreason = "our own leaf tests"\n'
    )
    policy = season(text).policy
    rules = {rule.id: rule for rule in policy.companions}
    potassium, boron = rules["potassium"], rules["boron"]
    assert (potassium.limit, potassium.shipped, potassium.source) == (1.2, 1.4, "season file")
    assert (boron.limit, boron.shipped, boron.source) == (35.0, 40.0, "season file")
    assert {potassium.evidence, boron.evidence} == {Evidence.OWN}
    assert [tuple(item) for item in policy.overrides()] == [
        ("companions.potassium", "limit for potassium", "1.4 %", "1.2 %", "season file"),
        ("companions.boron", "limit for boron", "40 ppm", "35 ppm", "our own leaf tests"),
    ]


def test_setting_a_row_to_what_it_is_shipped_with_still_shows(season: Callable[..., SeasonFile]) -> None:
    (item,) = season(SEASON + '\n[policy.cross_check]\nlow-rain = "full"\n').policy.overrides()
    assert (item.name, item.shipped, item.own) == ("cross_check.low-rain", "full", "full")


@pytest.mark.parametrize(
    ("table", "row", "message"),
    [
        ("cross_check", 'low-snow = "half"', "is no row of it; there are: low-roots, low-short, "),
        ("cross_check", 'low-rain = "most"', "should be 'full', 'half' or 'hold'; found 'most'"),
        ("cross_check", "low-rain = 0.5", "should be 'full', 'half' or 'hold'; found 0.5"),
        ("cross_check", 'sufficient = "half"', "a sufficient petiole calls for no step, so it can only be hold"),
        ("cross_check", 'low-rain = { reason = "mine" }', 'write a value, or { value = ..., reason = "..." }'),
        ("cross_check", 'low-rain = { step = "half" }', 'write a value, or { value = ..., reason = "..." }'),
        ("companions", "iron = 50", "is no row of it; there are: potassium, magnesium, "),
        ("companions", "potassium = 0", "should be greater than 0; found 0"),
        ("companions", "potassium = -1.0", "should be greater than 0; found -1.0"),
        ("companions", "potassium = nan", "should be a finite number"),
        ("companions", 'potassium = "low"', "should be a valid number"),
        ("companions", "potassium = { value = 0.0 }", "should be greater than 0; found 0.0"),
        ("companions", "potassium = { limit = 1.2 }", 'write a value, or { value = ..., reason = "..." }'),
    ],
)
def test_a_row_that_will_not_do_is_told_at_its_own_line(told: Told, table: str, row: str, message: str) -> None:
    text = SEASON + f"\n[policy.{table}]\n# mine\n{row}\n"
    fault = one(told(text))
    name = row.split(" ")[0]
    assert (fault.key, fault.line) == (f"policy.{table}.{name}", line_of(text, row))
    assert fault.message.startswith(message)


@pytest.mark.parametrize("table", list(ROW_VALUES))
@pytest.mark.parametrize("given", ["[]", '"half"', "1", "[{ id = 'low-rain' }]"])
def test_rows_are_set_in_a_table_of_their_own(told: Told, table: str, given: str) -> None:
    text = SEASON + f"\n[policy]\n{table} = {given}\n"
    fault = one(told(text))
    assert (fault.key, fault.line) == (f"policy.{table}", line_of(text, f"{table} ="))
    assert fault.message == f"write it as a table [policy.{table}] with row = value"


def test_every_fault_of_every_row_is_told_beside_the_others(told: Told) -> None:
    text = SEASON + (
        "\n[policy]\nconfidence = 2\n"
        '[policy.cross_check]\nlow-rain = "most"\nlow-snow = "half"\nhigh-over = "hold"\n'
        "[policy.companions]\nboron = -1\n"
    )
    faults = told(text)
    assert [(fault.key, fault.line) for fault in faults] == [
        ("policy.confidence", line_of(text, "confidence")),
        ("policy.cross_check.low-rain", line_of(text, "low-rain")),
        ("policy.cross_check.low-snow", line_of(text, "low-snow")),
        ("policy.companions.boron", line_of(text, "boron")),
    ]


def rows_of(policy: Policy) -> dict[str, CrossCheckRow]:
    return {row.id: row for row in policy.cross_check}


def test_a_rule_value_out_of_range_does_not_hide_the_other_faults(told: Told) -> None:
    text = edited(("rate = 5.25", "rate = 7.5"), ('area_basis = "bed"', 'area_basis = "gross"')) + (
        "\n[policy]\nconfidence = 2\nspeed = 1\n"
    )
    assert [fault.key for fault in told(text)] == [
        "plan.rate",
        "blocks.north.area_basis",
        "policy.confidence",
        "policy.speed",
    ]


def test_faults_of_the_whole_are_told_together_in_order_of_line(told: Told) -> None:
    text = edited(
        (f'"{SOUTHEAST}"', '"nowhere"'),
        ("first_bloom = 2026-03-02", "first_bloom = 2025-03-02\napproximate = ['fruit']"),
        ("rate = 5.25", "rate = 9"),
        ("share = 0.5", "share = 0.6"),
        ('area_basis = "bed"', 'area_basis = "gross"'),
    )
    text += "\n[policy]\nspeed = 1\n"
    faults = told(text)
    assert [fault.key for fault in faults] == [
        "bands.tables[1]",
        "stages.first_bloom",
        "stages.approximate",
        "plan.rate",
        "products",
        "blocks.north.area_basis",
        "policy.speed",
    ]
    lines = [fault.line or 0 for fault in faults]
    assert lines == sorted(lines)
    assert 0 not in lines


# --- own band tables ----------------------------------------------------------------------------------------


def with_own_bands() -> str:
    return edited((f'tables = ["{SOUTHEAST}"]\n', OWN_BANDS))


def from_bands(faults: list[Fault]) -> Fault:
    """The one fault that is told of the band file."""
    return one([fault for fault in faults if fault.file == "own-petiole.toml"])


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("low = 2000", "low = 6000", "[[rows]]", "low 6000 is not below high 5000"),
        ("low = 2000\nhigh = 5000\n", "", "[[rows]]", "a row needs low, high or both"),
        ("low = 2000", "low = -1", "low = -1", "should be greater than 0; found -1"),
        ("low = 2000", "low = 2000\ndeficient_below = 2500", "[[rows]]", "deficient_below 2500 is above low 2000"),
        ("high = 5000", "hgih = 5000", "hgih", "is not a known key; known here: id, analyte, unit, weeks"),
    ],
)
def test_a_band_row_that_will_not_do_is_told_in_its_own_file(
    told: Told, old: str, new: str, line: str, message: str
) -> None:
    table = edited((old, new), text=BAND_TABLE)
    fault = from_bands(told(with_own_bands(), {"own-petiole": table}))
    assert fault.line == line_of(table, line, 2 if line == "[[rows]]" else 1)
    assert fault.message.startswith(message)
    assert fault.key.startswith("rows[2]")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("weeks = [5, 12]", "weeks = [4, 12]", "rows a and b overlap for NO3-N at week 4"),
        ('id = "b"', 'id = "a"', "row a stands twice"),
        ("weeks = [5, 12]\n", "", "row b: axis weeks needs weeks"),
        ('unit = "ppm"\nweeks = [5', 'unit = "mg/L"\nweeks = [5', 'row b: "mg/L" is not a unit of dry tissue'),
    ],
)
def test_band_rows_that_do_not_go_together_are_told_with_file_row_and_line(
    told: Told, old: str, new: str, message: str
) -> None:
    table = edited((old, new), text=BAND_TABLE)
    fault = from_bands(told(with_own_bands(), {"own-petiole": table}))
    assert fault.message.startswith(message)
    assert fault.line is not None


def test_every_fault_of_every_own_table_is_told(told: Told) -> None:
    first = edited(("low = 2000", "low = inf"), ("high = 5000", "high = -1"), text=BAND_TABLE)
    second = edited(("own-petiole", "other"), ('axis = "weeks"', 'axis = "moons"'), text=BAND_TABLE)
    chosen = edited(('"own-petiole"', '"own-petiole", "other", "torn"'), text=with_own_bands())
    faults = told(chosen, {"own-petiole": first, "other": second, "torn": "id = \n"})
    assert {(fault.file, fault.line) for fault in faults if fault.file != "season.toml"} == {
        ("own-petiole.toml", line_of(first, "low = inf")),
        ("own-petiole.toml", line_of(first, "high = -1")),
        ("other.toml", line_of(second, "axis = ")),
        ("torn.toml", 1),
    }


def test_a_faulty_own_table_that_is_not_chosen_is_noted_and_stops_nothing(
    season: Callable[..., SeasonFile],
) -> None:
    file = season(with_own_bands(), {"own-petiole": BAND_TABLE, "torn": "id = \n"})
    assert any("torn has faults and is not in use" in note for note in file.notes)


def test_a_table_whose_every_row_is_faulty_is_told_of_its_rows_alone(told: Told) -> None:
    table = edited(("low = 1000", "low = -1"), ("low = 2000", "low = -2"), text=BAND_TABLE)
    faults = [fault for fault in told(with_own_bands(), {"own-petiole": table}) if fault.file != "season.toml"]
    assert [(fault.line, fault.key) for fault in faults] == [
        (line_of(table, "low = -1"), "rows[1].low"),
        (line_of(table, "low = -2"), "rows[2].low"),
    ]


def test_an_own_table_is_named_like_its_file(told: Told) -> None:
    fault = from_bands(told(with_own_bands(), {"own-petiole": edited(("own-petiole", "mine"), text=BAND_TABLE)}))
    assert (fault.key, fault.line) == ("id", 2)
    assert fault.message == 'the id should be the file\'s name, "own-petiole"'


def test_an_own_table_does_not_take_the_name_of_a_shipped_one(told: Told) -> None:
    text = edited(("tables = [", 'folder = "bands"\ntables = ['))
    table = edited(("own-petiole", SOUTHEAST), text=BAND_TABLE)
    fault = one(told(text, {SOUTHEAST: table}))
    assert (fault.file, fault.key, fault.line) == ("season.toml", "bands.folder", line_of(text, "folder = "))
    assert fault.message == f'the own table "{SOUTHEAST}" has the id of a shipped one'


def test_a_missing_folder_of_bands_is_told(told: Told, tmp_path: Path) -> None:
    faults = told(with_own_bands())
    assert str(tmp_path / "season" / "bands") in {fault.file for fault in faults}
    assert "there is no such folder of band tables" in {fault.message for fault in faults}
