"""``bands blank``, ``check``, ``derive`` and ``convert``. All figures are invented."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.evidence import Evidence
from fertadjust.shipped import read_band_table
from tests.cli.conftest import Refused, Run, contents, too_wide
from tests.support import SOUTHEAST


def words(text: str) -> str:
    return " ".join(text.split())


BLANK = ("bands", "blank", "--crop", "watermelon", "--system", "field", "--region", "Indiana", "--basis", "sap")


@pytest.fixture
def filled(run: Run, tmp_path: Path) -> Path:
    """A blank CSV of two stages, filled in."""
    path = tmp_path / "bands" / "our-watermelon.csv"
    run(*BLANK, "--stage", "first flower", "--stage", "first_harvest", "--to", path)
    path.write_text(path.read_text().replace("mg/L,,,,,,,", "mg/L,600,1100,,,,,our trial"))
    return path


def derive(lived: Path, *more: object) -> tuple[object, ...]:
    return ("bands", "derive", "--good", lived, "creek", "--good", lived, "hill", "--axis", "season", *more)


def test_a_blank_table_is_written_and_told_place_by_place(run: Run, refused: Refused, tmp_path: Path) -> None:
    path = tmp_path / "our-watermelon.csv"
    run(*BLANK, "--to", path)
    told = refused("bands", "check", path)
    assert told.count("a row needs low, high or both") == path.read_text().count("NO3-N,mg/L")
    assert "Error: our-watermelon.csv, line" in told


def test_a_blank_table_is_never_written_over_unless_asked(run: Run, refused: Refused, filled: Path) -> None:
    assert "stands already and is left as it is" in refused(*BLANK, "--to", filled)
    run(*BLANK, "--to", filled, "--overwrite")
    assert "our trial" not in filled.read_text()


def test_what_is_left_out_is_asked_for(run: Run, refused: Refused) -> None:
    told = refused("bands", "blank", "--to", "our.csv", "--crop", "watermelon")
    assert "--system: is missing, and there is nobody to ask" in told
    answers = "watermelon\nfirst_flower\nfield\nIndiana\n"
    run("bands", "blank", "--to", "our.csv", "--axis", "weeks", input=answers)
    assert "anchor,first_flower" in Path("our.csv").read_text()


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (f"{SOUTHEAST}.csv", "has the id of a shipped table"),
        ("our.xlsx", "is written as .toml or .csv"),
        ("Our Table.csv", "such as our-table.csv"),
    ],
)
def test_names_that_will_not_do_are_refused(refused: Refused, lived: Path, name: str, said: str) -> None:
    assert said in refused(*BLANK, "--to", name)
    assert said in refused(*derive(lived, "--to", name))


def test_a_table_without_faults_is_shown_with_questions(run: Run, filled: Path) -> None:
    output = run("bands", "check", filled).output
    assert too_wide(output) == []
    assert "there is nothing to ask" in words(output)
    filled.write_text(filled.read_text().replace("600,1100", "5000,9000"))
    output = run("bands", "check", filled).output
    assert too_wide(output) == []
    assert "are the figures NO3 and not NO3-N?" in words(output)
    assert 'tables = ["our-watermelon"]' in output
    data = json.loads(run("bands", "check", filled, "--json").output)
    assert data["table"]["id"] == "our-watermelon"
    assert any("NO3" in question for question in data["questions"])


def test_a_file_of_another_kind_is_refused(refused: Refused, tmp_path: Path) -> None:
    assert "a table is a .toml or a .csv file" in refused("bands", "check", tmp_path / "our.xlsx")
    assert "there is no such file" in refused("bands", "check", tmp_path / "our.csv")


def test_a_table_is_converted_there_and_back(run: Run, refused: Refused, filled: Path) -> None:
    other, back = filled.with_name("other.toml"), filled.with_name("our-watermelon-2.csv")
    run("bands", "convert", filled, "--to", other)
    run("bands", "convert", other, "--to", back)
    assert read_band_table(other).rows == read_band_table(filled).rows == read_band_table(back).rows
    assert "stands already" in refused("bands", "convert", filled, "--to", other)


def test_the_help_shows_a_command_that_can_be_typed(run: Run) -> None:
    output = run("bands", "convert", "--help").output
    assert "  fertadjust bands convert our-watermelon.csv --to our-watermelon.toml\n" in output


@pytest.mark.parametrize("name", ["season.toml", "laboratories.toml", "bills.csv"])
def test_other_files_are_never_written_over(refused: Refused, fresh: Path, name: str) -> None:
    (fresh / "bills.csv").write_text("day,amount\n")
    for more in ((*BLANK,), (*derive(fresh),)):
        refused(*more, "--to", fresh / name, "--overwrite")


def test_how_to_use_a_table_counts_from_the_seasons_folder(run: Run, filled: Path, fresh: Path) -> None:
    def said(where: Path) -> str:
        where.parent.mkdir(parents=True, exist_ok=True)
        where.write_text(filled.read_text())
        return run("bands", "check", where).output.split("To use it", 1)[1]

    assert said(fresh / "bands" / "our-watermelon.csv").startswith(
        ', write\n  folder = "bands"\n  tables = ["our-watermelon"]\nunder [bands] in season.toml'
    )
    assert '\n  folder = "tables/own"\n' in said(fresh / "tables" / "own" / "our-watermelon.csv")
    beside = said(fresh / "our-watermelon.csv")
    assert "put it into a folder of its own beside season.toml, such as bands" in words(beside)
    assert '\n  folder = "bands"\n' in beside


# --- derived ---------------------------------------------------------------------------------------------------


def test_a_derived_table_is_shown_without_writing_anything(run: Run, lived: Path, tmp_path: Path) -> None:
    before = contents(tmp_path)
    output = run(*derive(lived)).output
    assert contents(tmp_path) == before
    assert too_wide(output) == []
    assert "what good blocks had, not what they needed" in words(output)
    assert "whole season  13              2" in output


@pytest.mark.parametrize("ending", [".toml", ".csv"])
def test_a_derived_table_serves_a_season_at_once(run: Run, lived: Path, ending: str) -> None:
    """The advice rests on the own row: its evidence and its n stand in the report's data."""
    run(*derive(lived, "--to", lived / "bands" / f"our-petiole{ending}"))
    path = lived / "season.toml"
    text = path.read_text().replace(f'tables = ["{SOUTHEAST}", ', 'folder = "bands"\ntables = ["our-petiole", ')
    assert "our-petiole" in text
    path.write_text(text)
    run("check", "--season", lived)
    day = date(2026, 4, 17)
    reading = open_season(lived).block("creek", day).advice(day).facts.primary
    assert reading is not None
    assert (reading.band.table, reading.band.evidence) == ("our-petiole", Evidence.OWN)
    assert "n = 13 from 2 block-seasons" in reading.band.note
    page = open_season(lived).report("creek", day)
    assert "n = 13 from 2 block-seasons" in page
    assert "own" in run("advise", "--season", lived, "--block", "creek", "--on", day, "--full").output


def test_results_count_as_they_stand(run: Run, lived: Path) -> None:
    before = run(*derive(lived)).output
    found = [item for item in open_season(lived).block("creek").results if item.analyte == "NO3-N"]
    run("results", "void", found[0].record, "--reason", "wrong field", "--season", lived)
    after = run(*derive(lived)).output
    assert "whole season  12 " in after
    assert before != after


def test_too_few_results_are_told_place_by_place(refused: Refused, lived: Path) -> None:
    told = refused("bands", "derive", "--good", lived, "creek", "--axis", "months")
    assert "no place has enough results of petiole NO3-N, dry for a band" in told
    assert "Error: April: " in told


def test_a_block_that_is_not_there_and_one_named_twice_are_told(refused: Refused, lived: Path) -> None:
    assert "meadow" in refused("bands", "derive", "--good", lived, "meadow")
    assert "would count twice" in refused(*derive(lived, "--good", lived, "hill"))


def test_no_result_of_the_kind_is_told_on_every_axis(refused: Refused, fresh: Path) -> None:
    for axis in ("season", "months", "weeks"):
        told = refused("bands", "derive", "--good", fresh, "creek", "--axis", axis, "--anchor", "first_bloom")
        assert "there is no result of petiole NO3-N, dry" in told


@pytest.mark.parametrize("least", [-1, 0, 1, 6])
def test_too_few_samples_for_a_band_are_told_in_one_line(refused: Refused, lived: Path, least: int) -> None:
    told = refused(*derive(lived, "--least", least))
    assert told == (
        f"Error: least: {least} is too few for the 10 % and 90 % quantiles: give 7 or more, or quantiles nearer "
        "to 50 %\n"
    )


def test_seasons_of_different_systems_are_not_put_together(refused: Refused, lived: Path, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace('region = "US Southeast"', 'region = "Georgia"', 1))
    assert "the seasons differ in region (Georgia, US Southeast)" in refused(
        *derive(lived, "--good", fresh, "hill")
    )
