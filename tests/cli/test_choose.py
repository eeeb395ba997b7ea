"""``bands list`` with filters, ``bands candidates`` and ``bands across``. Figures are invented unless sourced."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.shipped import shipped_tables
from tests.cli.conftest import Refused, Run, too_wide
from tests.test_season_file import BAND_TABLE

ON = ("--on", "2026-05-04")
FLOWER = ("--stage", "first_flower=2026-04-20")
VINES = ("--stage", "vines_6_inch=2026-04-10")
SAP = ("--tissue", "petiole", "--basis", "sap")
CROPS = sorted({name for table in shipped_tables().values() for name in table.crops})


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def own(tmp_path: Path) -> Path:
    folder = tmp_path / "bands"
    folder.mkdir()
    (folder / "own-petiole.toml").write_text(BAND_TABLE)
    return folder


@pytest.fixture
def number(sample: Path) -> int:
    """A petiole result of the sample season that stands."""
    season = open_season(sample)
    return next(
        item.record for key in season.blocks for item in season.block(key).results if item.analyte == "NO3-N"
    )


# --- list -----------------------------------------------------------------------------------------------------


def test_tables_are_listed_by_every_property(run: Run, refused: Refused) -> None:
    given = ("--crop", "tomato", "--region", "florida", "--system", "greenhouse", *SAP, "--analyte", "K")
    output = run("bands", "list", *given).output
    assert output.startswith("tomato-petiole-sap-florida-greenhouse\n")
    assert "all rows recalled, check them" in words(output)
    assert output.count("tomato-") == 1
    assert run("bands", "list", "--crop", "watermelon", "--variety", "seeded").output.count("seedless") == 0
    told = words(refused("bands", "list", "--crop", "tomato", "--region", "Ohio"))
    assert '--region: no table of those left is for region "Ohio"; there are: California, Florida, Japan' in told


# --- candidates -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("crop", CROPS)
def test_candidates_of_every_crop_fit_the_screen(run: Run, crop: str) -> None:
    output = run("bands", "candidates", "--crop", crop, *ON).output
    assert too_wide(output) == []
    for table in shipped_tables().values():
        assert (f"{table.id}\n" in output) == (crop in table.crops)
    assert 'tables = ["TABLE"]' in output


def test_candidates_stand_side_by_side(run: Run) -> None:
    output = run("bands", "candidates", "--crop", "watermelon", *SAP, *VINES, *FLOWER, *ON).output
    text = words(output)
    assert "1,200 1,500" in text
    assert "881 1,062" in text
    assert "No value lies in both bands of" in text
    assert "None of them is taken by itself" in text
    assert "Would be 1,000 to 1,200 mg/L if fruit 2 inch has begun." in text


def test_candidates_without_a_stage_show_all_it_may_be(run: Run) -> None:
    text = words(run("bands", "candidates", "--crop", "tomato", *SAP, *ON).output)
    assert "Needs the date of one of: first buds," in text
    assert "second harvest 200 400 recalled" in text


def test_candidates_for_machines(run: Run) -> None:
    data = json.loads(
        run("bands", "candidates", "--crop", "watermelon", *SAP, *VINES, *FLOWER, *ON, "--json").output
    )
    assert data["stages"] == {"vines_6_inch": "2026-04-10", "first_flower": "2026-04-20"}
    assert [item["in_use"] for item in data["candidates"]] == [False] * 3
    assert len(data["disagreements"]) == 1


def test_candidates_of_a_season_say_what_is_in_use(run: Run, sample: Path) -> None:
    output = run("bands", "candidates", "--season", sample, "--block", "creek", "--on", "2026-03-21").output
    used = [line for line in output.splitlines() if "(in use in this season)" in line]
    assert len(used) == len(open_season(sample).file.tables)
    assert too_wide(output) == []


def test_own_tables_take_part(run: Run, own: Path) -> None:
    output = run("bands", "candidates", "--crop", "strawberry", "--folder", own, *ON).output
    assert "own-petiole\n" in output
    dry = ("--tissue", "petiole", "--basis", "dry", "--value", "900")
    found = run("bands", "across", "--crop", "strawberry", *dry, *ON, "--folder", own).output
    assert "own-petiole\n" in found


def test_a_faulty_own_table_that_no_season_uses_is_left_out_and_told(run: Run, lived: Path) -> None:
    bands = lived / "bands"
    bands.mkdir()
    for name in ("own-petiole", "torn"):
        (bands / f"{name}.toml").write_text(BAND_TABLE.replace("own-petiole", name))
    (bands / "torn.toml").write_text(BAND_TABLE.replace("own-petiole", "torn").replace("low = 2000", "low = 6000"))
    path = lived / "season.toml"
    path.write_text(path.read_text().replace('tables = ["', 'folder = "bands"\ntables = ["', 1))
    found = run("bands", "candidates", "--season", lived, "--block", "creek", *ON, "--json")
    assert "! The own table torn is left out" in found.stderr
    names = [item["table"] for item in json.loads(found.stdout)["candidates"]]
    assert "own-petiole" in names and "torn" not in names


def test_the_crop_is_asked_for(run: Run, refused: Refused) -> None:
    assert "Crop: tomato" in run("bands", "candidates", *ON, input="tomato\n").output
    assert "--crop: is missing" in refused("bands", "candidates", *ON)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--crop", "quince"), 'no table is for "quince"; there are:'),
        (("--crop", "tomato", "--stage", "first_flower"), "write it as first_flower=2026-04-20"),
        (("--crop", "tomato", "--stage", "full_moon=2026-04-20"), '"full_moon" is no stage of tomato; there are:'),
        (("--crop", "tomato", "--stage", "first_flower=soon"), '"soon" is not a date'),
        (("--crop", "tomato", *FLOWER, *FLOWER), "first_flower is given twice"),
        (("--crop", "tomato", *FLOWER, "--stage", "first_buds=2026-05-01"), "is before first buds"),
        (("--crop", "tomato", "--block", "north"), "--block: goes with --season"),
        (
            ("--crop", "tomato", "--variety", "seedless", "--region", "Ohio"),
            "no table of those left is for region",
        ),
    ],
)
def test_faults_of_candidates_are_told(refused: Refused, given: tuple[str, ...], told: str) -> None:
    assert told in words(refused("bands", "candidates", *ON, *given))


# --- across ---------------------------------------------------------------------------------------------------


def test_a_result_is_low_in_one_and_high_in_another(run: Run) -> None:
    """Watermelon at first flower: 1,200 to 1,500 mg/L in Florida (SCG-WM), 881 to 1,062 in Michigan (MSU)."""
    output = run("bands", "across", "--crop", "watermelon", *SAP, "--value", "1100", *VINES, *FLOWER, *ON).output
    text = words(output)
    assert "high (not sure) in watermelon-petiole-sap-michigan." in text
    assert "Low (not sure) in watermelon-seeded-petiole-sap-florida" in text
    assert "watermelon-petiole-dry-california: dry weight is another scale than fresh sap" in text
    assert too_wide(output) == []


def test_what_is_left_out_is_asked_for(run: Run, refused: Refused) -> None:
    output = run("bands", "across", *ON, input="tomato\npetiole\nsap\n640\n").output
    assert "petiole NO3-N, fresh sap, 640 mg/L" in output
    assert "--value: is missing" in refused("bands", "across", "--crop", "tomato", *SAP, *ON)


def test_a_leaf_is_dry_without_asking(run: Run) -> None:
    output = run("bands", "across", "--crop", "tomato", "--tissue", "leaf", "--value", "3.1", *FLOWER, *ON).output
    assert "leaf N, dry weight, 3.10 %" in output


def test_nitrate_is_converted_openly(run: Run) -> None:
    output = run("bands", "across", "--crop", "tomato", *SAP, "--analyte", "NO3", "--value", "2830", *ON).output
    assert "2830 mg/L NO3 is 639 mg/L NO3-N" in words(output)


def test_a_result_on_record_is_compared(run: Run, sample: Path, number: int) -> None:
    output = run("bands", "across", "--season", sample, "--record", number).output
    assert output.startswith(f"Record {number}: petiole NO3-N")
    assert "(in use in this season)" in output
    assert too_wide(output) == []
    data = json.loads(run("bands", "across", "--season", sample, "--record", number, "--json").output)
    assert data["result"]["record"] == number
    assert data["crop"] == "strawberry"
    assert data["tables_in_use"]


def test_a_value_is_compared_with_a_seasons_stages(run: Run, sample: Path) -> None:
    dry = ("--tissue", "petiole", "--basis", "dry", "--value", "1500", "--petioles", "12")
    output = run("bands", "across", "--season", sample, "--block", "creek", *dry, "--on", "2026-03-21").output
    assert "first bloom" in output
    assert "(in use in this season)" in output


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--record", "99999"), "no result 99999 stands"),
        (("--record", "{number}", "--value", "3"), "--value: goes without --record"),
        (("--record", "{number}", "--crop", "tomato"), "--crop: goes without --record"),
        (("--record", "{number}", "--to", "page.pdf"), "is written as .html"),
        (("--record", "{number}", "--to", "page.html", "--json"), "goes without --json"),
    ],
)
def test_faults_of_a_record_are_told(
    refused: Refused, sample: Path, number: int, given: tuple[str, ...], told: str
) -> None:
    args = [text.format(number=number) for text in given]
    assert told in words(refused("bands", "across", "--season", sample, *args))


def test_a_voided_result_is_told(run: Run, refused: Refused, lived: Path, number: int) -> None:
    run("results", "void", number, "--season", lived, "--reason", "wrong field")
    told = words(refused("bands", "across", "--season", lived, "--record", number))
    assert f"no result {number} stands: it never was one, or it was corrected or voided" in told


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--value", "0"), "0 is no measured value"),
        (("--value", "640", "--unit", "%"), "is not a unit of sap"),
        (("--value", "640", "--analyte", "nitrate"), "write NO3 or NO3-N"),
    ],
)
def test_faults_of_a_value_are_told(refused: Refused, given: tuple[str, ...], told: str) -> None:
    assert told in words(refused("bands", "across", "--crop", "tomato", *SAP, *ON, *given))


def test_a_page_is_written(run: Run, sample: Path, number: int, tmp_path: Path) -> None:
    path = tmp_path / "across.html"
    assert "Wrote" in run("bands", "across", "--season", sample, "--record", number, "--to", path).output
    page = path.read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "<svg" in page
