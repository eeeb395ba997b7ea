"""``bands``: the sufficiency tables."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fertadjust.bands import BandTable
from fertadjust.shipped import shipped_tables
from tests.cli.conftest import Refused, Run, too_wide
from tests.support import SOUTHEAST
from tests.test_season_file import BAND_TABLE


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def own(tmp_path: Path) -> Path:
    folder = tmp_path / "bands"
    folder.mkdir()
    (folder / "own-petiole.toml").write_text(BAND_TABLE)
    return folder


def test_every_table_is_listed(run: Run) -> None:
    output = run("bands", "list").output
    for name, table in shipped_tables().items():
        assert f"{name}\n" in output
        assert table.region in words(output)
    assert "some rows recalled, check them" in words(output)
    assert too_wide(output) == []


def test_tables_of_one_crop_are_listed(run: Run, refused: Refused) -> None:
    assert run("bands", "list", "--crop", "strawberry").output.count("strawberry-") >= 10
    assert 'no table is for "quince"' in refused("bands", "list", "--crop", "quince")


def test_tables_are_listed_for_machines(run: Run) -> None:
    data = json.loads(run("bands", "list", "--json").output)
    assert [item["id"] for item in data] == list(shipped_tables())
    assert {"id", "title", "crop", "system", "region", "tissue", "part", "basis", "axis"} <= set(data[0])
    assert "rows" not in data[0]


@pytest.mark.parametrize("name", sorted(shipped_tables()))
def test_a_table_is_shown_with_source_and_evidence_of_every_row(run: Run, name: str) -> None:
    output = run("bands", "show", name).output
    assert too_wide(output) == []
    text = words(output)
    table = shipped_tables()[name]
    assert table.title in text
    for row in table.rows:
        assert row.id in text
        assert row.evidence.value in text
        if row.note:
            assert words(row.note) in text
    for note in table.notes:
        assert words(note)[:40] in text
    assert "Sources" in text


@pytest.mark.parametrize("name", sorted(shipped_tables()))
def test_a_table_for_machines_can_be_read_again(run: Run, name: str) -> None:
    data = json.loads(run("bands", "show", name, "--json").output)
    assert BandTable.model_validate(data) == shipped_tables()[name]


def test_a_weekly_table_says_when_its_weeks_begin(run: Run) -> None:
    text = words(run("bands", "show", SOUTHEAST).output)
    assert "Week 1 begins on the first day of first bloom." in text
    assert "weeks 2-3" in text
    assert "week 1 " in text


def test_own_tables_are_listed_and_shown(run: Run, own: Path) -> None:
    assert "own-petiole\n" in run("bands", "list", "--folder", own).output
    text = words(run("bands", "show", "own-petiole", "--folder", own).output)
    assert "Our own petiole bands" in text
    assert "weeks 1-4" in text
    assert "set by the grower" in text


def test_faults_of_own_tables_are_told(refused: Refused, own: Path) -> None:
    (own / "own-petiole.toml").write_text(BAND_TABLE.replace("low = 2000", "low = 6000"))
    told = refused("bands", "list", "--folder", own)
    second = [number for number, line in enumerate(BAND_TABLE.splitlines(), start=1) if line == "[[rows]]"][1]
    assert f"Error: own-petiole.toml, line {second}, rows[2]: low 6000 is not below high 5000" in told


def test_an_own_table_with_the_name_of_a_shipped_one_is_refused(refused: Refused, own: Path) -> None:
    (own / f"{SOUTHEAST}.toml").write_text(BAND_TABLE.replace("own-petiole", SOUTHEAST))
    assert "has the id of a shipped one" in refused("bands", "show", SOUTHEAST, "--folder", own)


def test_a_table_is_found_in_capitals(run: Run) -> None:
    assert run("bands", "show", SOUTHEAST.upper()).output == run("bands", "show", SOUTHEAST).output


def test_weeks_before_the_first_are_shown_with_a_word_between(run: Run, own: Path) -> None:
    text = BAND_TABLE.replace("weeks = [1, 4]", "weeks = [-2, 4]")
    assert text != BAND_TABLE
    (own / "own-petiole.toml").write_text(text)
    assert "weeks -2 to 4" in words(run("bands", "show", "own-petiole", "--folder", own).output)


def test_a_missing_folder_is_told(refused: Refused) -> None:
    assert "Error: nowhere: there is no such folder of band tables" in refused(
        "bands", "list", "--folder", "nowhere"
    )


def test_an_unknown_table_is_told(refused: Refused) -> None:
    assert 'TABLE: there is no table "strawberry"; see: fertadjust bands list' in refused(
        "bands", "show", "strawberry"
    )
