"""``summary``: one season folder, and the many of an advisor."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from fertadjust.season_file import SEASON_FILE
from tests.cli.conftest import Refused, Run, contents, too_wide
from tests.test_report import Page
from tests.test_season_file import edited
from tests.test_summary import METRIC, SAMPLE

ON = ["--on", "2026-03-18"]


@pytest.fixture
def growers(lived: Path, tmp_path: Path) -> list[Path]:
    """Three folders: the sample season, a metric farm without records, and one whose season file is no good."""
    metric, broken = tmp_path / "metric", tmp_path / "broken"
    for where, text in (
        (metric, edited(*METRIC, text=SAMPLE)),
        (broken, edited(("schema = 1", "schema = 7"), text=SAMPLE)),
    ):
        where.mkdir()
        (where / SEASON_FILE).write_text(text, encoding="utf-8")
    return [lived, broken, metric]


def test_one_folder_is_shown_with_its_needs_by_urgency(run: Run, lived: Path) -> None:
    before = contents(lived)
    out = run("summary", lived, *ON).output
    lines = out.splitlines()
    assert lines[0] == "Wed 18 Mar 2026"
    assert lines[1] == "3 blocks: 2 need a sample today, 1 needs nothing."
    assert lines[4].split() == ["Block", "When", "Latest", "result", "Age", "Rate", "Left"]
    assert lines[6].split() == ["Creek", "side", "today", "1,050", "ppm", "within", "14", "d", "5.25", "57.75"]
    assert lines[8].split() == ["Hill", "top", "nothing", "8,600", "ppm", "above", "7", "d", "4.05", "58.95"]
    assert "Today" in lines and "This week" not in lines
    assert "    - Sample now: there is no usable result to decide on." in lines
    assert not too_wide(out)
    later = run("summary", lived, "--on", "2026-03-20").output.splitlines()
    assert later.index("Today") < later.index("This week")
    assert "    - Review the rate on Mon 23 Mar 2026." in later
    assert contents(lived) == before


def test_without_a_folder_it_is_the_one_of_the_season(
    run: Run, lived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = run("summary", lived, *ON).output
    assert run("summary", "--season", lived, *ON).output == told
    monkeypatch.setenv("FERTADJUST_SEASON", str(lived))
    assert run("summary", *ON).output == told
    assert run("summary", lived, *ON).output == told
    monkeypatch.delenv("FERTADJUST_SEASON")
    monkeypatch.chdir(lived)
    assert run("summary", *ON).output == told


def test_folders_and_a_season_at_once_are_refused(refused: Refused, lived: Path) -> None:
    assert "--season: name the folders with it or without it" in refused("summary", lived, "--season", lived)


def test_today_is_the_day_when_none_is_named(run: Run, lived: Path) -> None:
    assert run("summary", lived).output.startswith("Wed 20 May 2026\n")


def test_a_folder_that_cannot_be_read_does_not_sink_the_others(run: Run, growers: list[Path]) -> None:
    done = run("summary", *growers, *ON, code=2)
    assert "6 blocks: 5 need a sample today, 1 needs nothing." in done.stdout
    for name in ("Hill top, Larkrise Farm (invented)", "Hill top, Sandbrook Farm (invented)"):
        assert name in " ".join(done.stdout.split())
    assert done.stderr.startswith(f"Error: {growers[1]}: season.toml, line 4, schema: ")
    assert "Error" not in done.stdout
    assert not too_wide(done.stdout)


def test_rows_in_two_units_name_theirs(run: Run, growers: list[Path]) -> None:
    out = " ".join(run("summary", *growers, *ON, code=2).stdout.split())
    assert "(kg N/ha)" in out
    assert "(lb N/ac)" in out
    assert "Rates in" not in out


def test_when_nothing_can_be_read_only_faults_are_told(run: Run, tmp_path: Path) -> None:
    done = run("summary", "nowhere", "nor-here", code=2)
    assert done.stdout == ""
    assert [line.split(": ")[1] for line in done.stderr.splitlines()] == ["nowhere", "nor-here"]


def test_json_stays_whole_beside_a_broken_folder(run: Run, growers: list[Path]) -> None:
    done = run("summary", *growers, *ON, "--json", code=2)
    data = json.loads(done.stdout)
    assert data["on"] == "2026-03-18"
    assert len(data["blocks"]) == 6
    assert data["blocks"][0]["urgency"] == "today"
    assert {block["units"]["rate"] for block in data["blocks"]} == {"lb N/ac/week", "kg N/ha/week"}
    assert data["faults"][0]["folder"] == str(growers[1])
    assert data["faults"][0]["message"].startswith("season.toml, line 4, schema: ")
    assert json.loads(run("summary", growers[0], *ON, "--json").output)["faults"] == []


def test_a_page_is_written_with_its_chart_and_its_faults(run: Run, growers: list[Path], tmp_path: Path) -> None:
    done = run("summary", *growers, *ON, "--to", "pages/all.html", code=2)
    assert done.stdout == "Wrote pages/all.html\n"
    page = Page((tmp_path / "pages" / "all.html").read_text(encoding="utf-8"))
    assert len([item for item in page.all("tr") if "tbody" in item.path]) == 6
    assert len(page.all("svg")) == 2
    assert "Folders that could not be read" in [item.text for item in page.all("h2")]
    run("summary", *growers, *ON, "--to", "pages/again.html", code=2)
    first, second = ((tmp_path / "pages" / name).read_bytes() for name in ("all.html", "again.html"))
    assert first == second


def test_no_page_takes_the_place_of_another_when_nothing_can_be_read(run: Run, tmp_path: Path) -> None:
    (tmp_path / "today.html").write_text("of yesterday")
    done = run("summary", "nowhere", "--to", "today.html", code=2)
    assert "Nothing written: no folder could be read." in done.stderr
    assert "nowhere: there is no such folder" in done.stderr
    assert (tmp_path / "today.html").read_text() == "of yesterday"


def test_a_page_is_html_and_goes_without_json(refused: Refused, lived: Path) -> None:
    before = contents(lived)
    for name in ("season.toml", "today.pdf"):
        assert f'"{name}": a summary is written as .html' in refused("summary", lived, *ON, "--to", name)
    assert "goes without --json" in refused("summary", lived, *ON, "--to", "a.html", "--json")
    assert contents(lived) == before


def test_a_place_that_cannot_be_written_is_told(refused: Refused, lived: Path, tmp_path: Path) -> None:
    (tmp_path / "pages").write_text("not a folder")
    assert "cannot be written" in refused("summary", lived, *ON, "--to", "pages/all.html")


def test_forty_blocks_with_long_names_fit_the_screen(run: Run, tmp_path: Path) -> None:
    row = SAMPLE[SAMPLE.index("[blocks.lane]") :].replace(
        'name = "Lane end"', 'name = "The long block at the very end of the lane behind the old packing house"', 1
    )
    where, other = tmp_path / "forty", tmp_path / "other"
    for folder, farm in ((where, "Larkrise Farm"), (other, "A farm whose name is a good deal longer than others")):
        folder.mkdir()
        text = SAMPLE + "".join("\n" + row.replace("blocks.lane", f"blocks.b{number}") for number in range(37))
        (folder / SEASON_FILE).write_text(text.replace("Larkrise Farm", farm, 1), encoding="utf-8")
    out = run("summary", where, *ON).output
    assert "40 blocks: 40 need a sample today." in out
    assert out.count("Sample now: there is no usable result to decide on.") == 40
    assert not too_wide(out)
    both = run("summary", where, other, *ON).output
    assert "80 blocks: 80 need a sample today." in both
    assert not too_wide(both)


def test_the_same_farm_in_two_folders_is_told_apart(run: Run, lived: Path, tmp_path: Path) -> None:
    again = Path(shutil.copytree(lived, tmp_path / "again"))
    out = " ".join(run("summary", lived.name, again.name, *ON).output.split())
    assert "Creek side, Larkrise Farm (invented) (lived):" in out
    assert "Creek side, Larkrise Farm (invented) (again):" in out


def test_help_has_examples(run: Run) -> None:
    out = run("summary", "--help").output
    assert "fertadjust summary growers/* --to summary.html" in out
    assert not too_wide(out)
