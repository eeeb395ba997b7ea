"""The sample season: the same spring whenever it is lived again."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import Season, open_season
from fertadjust.demo import Step, build, replay, write_pages
from fertadjust.errors import UserError
from fertadjust.record import Kind
from fertadjust.records import RECORDS_FILE
from fertadjust.shipped import folder


def rows(name: str) -> list[dict[str, str]]:
    with (folder("sample_data") / "strawberry" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> tuple[Season, list[Step]]:
    season = build(tmp_path_factory.mktemp("sample") / "farm")
    return season, list(replay(season))


def test_building_copies_the_plan_and_nothing_else(tmp_path: Path) -> None:
    season = build(tmp_path / "a" / "farm")
    assert [path.name for path in season.file.folder.iterdir()] == ["season.toml"]
    shipped = (folder("sample_data") / "strawberry" / "season.toml").read_bytes()
    assert (season.file.folder / "season.toml").read_bytes() == shipped
    assert season.blocks == ["creek", "hill", "lane"]


def test_a_season_that_stands_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text("mine")
    with pytest.raises(UserError) as caught:
        build(tmp_path)
    assert str(caught.value).startswith(f"{tmp_path / 'season.toml'}: stands already")
    assert "choose another folder" in str(caught.value)
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("season.toml", "mine")]


def test_records_that_stand_without_a_plan_are_left_as_they_are(tmp_path: Path) -> None:
    (tmp_path / RECORDS_FILE).write_bytes(b"mine")
    with pytest.raises(UserError, match="stands already"):
        build(tmp_path)
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [(RECORDS_FILE, b"mine")]


def test_the_sample_says_that_it_is_invented(lived: tuple[Season, list[Step]]) -> None:
    season, _ = lived
    assert "invented" in season.file.farm
    assert "invented" in season.file.text.splitlines()[0]


def test_every_row_of_the_sample_is_lived(lived: tuple[Season, list[Step]]) -> None:
    season, steps = lived
    every = season.records.all()
    count = {kind: len([item for item in every if item.kind is kind]) for kind in Kind}
    assert count[Kind.RESULT] == len(rows("results")) + len(rows("corrections"))
    assert count[Kind.APPLICATION] == len(rows("applications"))
    assert count[Kind.OBSERVATION] == len(rows("observations"))
    assert count[Kind.DECISION] == len(rows("decisions")) == len(steps)
    assert {(step.on.isoformat(), step.block) for step in steps} == {
        (row["on"], row["block"]) for row in rows("decisions")
    }
    assert {item.author for item in every} == {"grower"}


def test_steps_come_in_order_of_time(lived: tuple[Season, list[Step]]) -> None:
    _, steps = lived
    assert [step.on for step in steps] == sorted(step.on for step in steps)
    numbers = [step.record for step in steps]
    assert numbers == sorted(numbers)


def test_corrections_of_the_sample_are_made(lived: tuple[Season, list[Step]]) -> None:
    season, _ = lived
    creek = [item for item in season.block("creek").results if item.sample_id == "C1"]
    assert [item.value for item in creek] == [1050]
    assert [item.sample_id for item in season.block("hill").results].count("C4") == 0


def test_no_advice_knew_what_came_later(lived: tuple[Season, list[Step]]) -> None:
    season, steps = lived
    for step in steps:
        advised = season.advised(step.record)
        if advised["result"] is not None:
            assert date.fromisoformat(advised["result"]["sampled"]) <= step.on
        numbers = [] if advised["result"] is None else advised["result"]["records"]
        assert all(number < step.record for number in numbers)


def test_every_decision_of_the_sample_is_derived_again(lived: tuple[Season, list[Step]]) -> None:
    season, steps = lived
    again = open_season(season.file.folder)
    for step in steps:
        assert again.derive_again(step.record) == again.advised(step.record)


def test_the_sample_shows_a_raise_a_cut_a_hold_and_a_grower_who_disagrees(
    lived: tuple[Season, list[Step]],
) -> None:
    season, _ = lived
    decisions = season.decisions()
    assert {item.action.value for item in decisions} == {"raise", "cut", "hold"}
    assert {item.choice for item in decisions} == {"accept", "change", "leave"}
    assert "raise" in {item.action.value for item in season.decisions("creek")}
    assert "cut" in {item.action.value for item in season.decisions("hill")}


def test_the_same_spring_again_is_the_same(lived: tuple[Season, list[Step]], tmp_path: Path) -> None:
    season, steps = lived
    again = build(tmp_path / "again")
    assert [(step.on, step.block, step.record) for step in replay(again)] == [
        (step.on, step.block, step.record) for step in steps
    ]
    for mine, theirs in zip(again.records.all(), season.records.all(), strict=True):
        assert (mine.kind, mine.block, mine.day, mine.content) == (
            theirs.kind,
            theirs.block,
            theirs.day,
            theirs.content,
        )


@pytest.fixture
def pages(lived: tuple[Season, list[Step]], tmp_path: Path) -> Iterator[tuple[Path, list[Path]]]:
    season, _ = lived
    told: list[Path] = []
    before = (season.file.folder / RECORDS_FILE).read_bytes()
    write_pages(season, tmp_path / "pages", {"creek": date(2026, 3, 21)}, told.append)
    assert (season.file.folder / RECORDS_FILE).read_bytes() == before
    yield tmp_path / "pages", told


def test_pages_go_to_a_new_folder_and_each_is_told(pages: tuple[Path, list[Path]]) -> None:
    where, told = pages
    names = ["creek-chart.png", "creek-chart.svg", "creek-report.html"]
    of_farm = ["all-blocks.png", "summary.html", "review.html"]
    assert [path.name for path in told] == names + of_farm
    assert sorted(path.name for path in where.iterdir()) == sorted(names + of_farm)
    assert (where / "creek-chart.png").read_bytes().startswith(b"\x89PNG")
    assert "<svg" in (where / "creek-chart.svg").read_text(encoding="utf-8")
    assert "Creek side" in (where / "creek-report.html").read_text(encoding="utf-8")
