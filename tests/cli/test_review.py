"""``review``: on the screen, as JSON and as a page."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from fertadjust import review_next_year, review_of_season
from fertadjust import review_words as in_words
from fertadjust.api import open_season
from fertadjust.units import KG_HA_PER_LB_AC
from tests.cli.conftest import TODAY, Refused, Run, contents, too_wide

BLOCKS = ["creek", "hill", "lane"]
OVER = date(2026, 5, 25)


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("given", [(), ("--all",), *(("--block", name) for name in BLOCKS)])
def test_a_review_fits_the_screen_and_writes_nothing(run: Run, lived: Path, given: tuple[str, ...]) -> None:
    before = contents(lived)
    assert too_wide(run("review", *given, "--season", lived).output) == []
    run("review", *given, "--season", lived, "--json")
    assert contents(lived) == before


@pytest.mark.parametrize("block", BLOCKS)
def test_a_review_of_a_block_says_all_of_its_parts(run: Run, lived: Path, block: str) -> None:
    season = open_season(lived)
    found = review_of_season.review(season, block, TODAY)
    text = words(run("review", "--block", block, "--season", lived).output)
    for sentence in (
        in_words.span(found),
        *in_words.in_short(found, season.units),
        *in_words.results_lines(found),
        in_words.days_line(found),
        *in_words.weeks_lines(found.nitrogen),
        *in_words.sampling_lines(found),
        in_words.READ_BETWEEN,
        in_words.RULES_OF_THUMB,
        *(item.text for item in review_next_year.next_year(found, season.units)),
    ):
        assert words(sentence) in text, sentence
    for change in found.changes:
        assert in_words.change_words(change, season.units).before in text
    assert (in_words.NO_PROOF in text) == bool(found.changes)


def test_the_days_looked_back_on_are_those_of_the_history(lived: Path) -> None:
    season = open_season(lived)
    for block, item in zip(BLOCKS, review_of_season.review_of_farm(season, TODAY).reviews, strict=True):
        assert list(item.moments) == season.history(block, TODAY)
        assert item == review_of_season.review(season, block, TODAY)


def test_a_review_of_an_earlier_day_knows_nothing_later(run: Run, lived: Path) -> None:
    early = run("review", "--block", "creek", "--season", lived, "--on", "2026-03-25", "--json").output
    data = json.loads(early)
    assert (data["to"], data["over"], len(data["history"])) == ("2026-03-25", False, 2)
    assert data["came_back"] == {"back": 0, "of": 0} and data["changes"][0]["after"] is None
    assert data["sampling"]["days"] == ["2026-03-04", "2026-03-18"]


def test_the_sample_season_in_review(run: Run, lived: Path) -> None:
    """The hill was cut twice; the second time its next result lay in band. The figures are the sample season's."""
    text = words(run("review", "--block", "hill", "--season", lived, "--on", OVER).output)
    assert "Mon 2 Mar 2026 to Sun 24 May 2026. The season is over." in text
    assert "7 results of petiole NO3-N, dry weight" in text and "1 below, 3 within, 3 above" in text
    assert "14 Mar, cut to 4.05: before 8,600 ppm of 11 Mar" in text and "still out on the same side." in text
    assert "after 4,700 ppm of 8 Apr, within 3,000 to 5,000 ppm (11 days): back in band." in text
    assert "Came back into band after 1 of 2 changes" in text
    assert "Corrected: 0; voided: 1; not used: 0." in text


def test_all_blocks_stand_in_one_table_with_what_holds_for_more_of_them_first(run: Run, lived: Path) -> None:
    output = run("review", "--season", lived, "--on", OVER).output
    assert output == run("review", "--all", "--season", lived, "--on", OVER).output
    season = open_season(lived)
    farm = review_of_season.review_of_farm(season, OVER)
    for item in farm.reviews:
        row = in_words.farm_row(item, season.units)
        assert words(" ".join(row)) in words(output)
    tries = words(output).split("What to try next year")[1]
    assert tries.startswith(" - Take a first sample by the day that feeding begins")
    assert "Hill top: feeding was planned" in tries and "Lane end: feeding was planned" in tries


def test_a_season_with_one_block_is_reviewed_as_that_block(run: Run, lived: Path) -> None:
    season = open_season(lived)
    text = (lived / "season.toml").read_text()
    alone = lived.parent / "alone"
    alone.mkdir()
    start, later = text.index("[blocks.hill]"), text.index("[zones.creek]")
    (alone / "season.toml").write_text(text[:later] + text[text.index("[blocks.creek]") : start])
    assert season.blocks == BLOCKS
    assert run("review", "--season", alone).output.startswith("Season review, Creek side")
    assert run("review", "--all", "--season", alone).output.startswith("Season review, all blocks")


def test_a_season_without_records_says_so(run: Run, fresh: Path) -> None:
    output = run("review", "--season", fresh, "--block", "creek").output
    assert "No nitrogen result has come in and nothing was decided." in words(output)
    assert "Sample each block for nitrogen" in words(output)
    assert too_wide(output) == [] and too_wide(run("review", "--season", fresh).output) == []
    early = words(run("review", "--season", fresh, "--block", "creek", "--on", "2026-02-20").output)
    assert "The season has not begun" in early and in_words.NONE_APPLIES in early


def test_a_review_for_machines(run: Run, lived: Path) -> None:
    season = open_season(lived)
    one = json.loads(run("review", "--block", "Lane end", "--season", lived, "--json").output)
    expected = review_of_season.review_data(review_of_season.review(season, "lane", TODAY), season.units)
    assert one == json.loads(json.dumps({"own_rule_values": [], **expected}))
    farm = json.loads(run("review", "--season", lived, "--json").output)
    assert [item["block"] for item in farm["blocks"]] == BLOCKS
    assert farm["blocks"][2] == {key: value for key, value in one.items() if key != "own_rule_values"}


def test_a_review_in_metric_units(run: Run, lived: Path) -> None:
    given = ("review", "--block", "creek", "--season", lived, "--json")
    us = json.loads(run(*given).output)["nitrogen"]
    path = lived / "season.toml"
    path.write_text(path.read_text().replace('units = "us"', 'units = "metric"'))
    metric = json.loads(run(*given).output)["nitrogen"]
    assert metric["logged"] == pytest.approx(us["logged"] * KG_HA_PER_LB_AC)
    output = run("review", "--block", "creek", "--season", lived).output
    assert "kg N/ha" in output and "lb" not in output
    assert too_wide(output) == [] and too_wide(run("review", "--season", lived).output) == []


def test_own_rule_values_stand_beside_a_review(run: Run, fresh: Path) -> None:
    with (fresh / "season.toml").open("a") as file:
        file.write("\n[policy.sample_days]\nvalue = 10\nreason = 'we sample more often'\n")
    for given in ((), ("--block", "creek")):
        assert "Your own rule value: sample_days" in run("review", *given, "--season", fresh).output
        data = json.loads(run("review", *given, "--season", fresh, "--json").output)
        assert [item["name"] for item in data["own_rule_values"]] == ["sample_days"]


@pytest.mark.parametrize("given", [("--block", "creek"), ()])
def test_a_page_is_written_with_its_chart(run: Run, lived: Path, tmp_path: Path, given: tuple[str, ...]) -> None:
    path = tmp_path / "review.html"
    output = run("review", *given, "--season", lived, "--on", OVER, "--to", path).output
    assert output == f"Wrote {path}\n"
    page = path.read_text()
    season = open_season(lived)
    make: Callable[[], str] = lambda: (  # noqa: E731
        review_of_season.review_page(season, "creek", OVER)
        if given
        else review_of_season.farm_review_page(season, OVER)
    )
    assert page == make()
    assert "<svg" in page and "What to try next year" in page


def test_a_decision_made_on_another_advice_says_both_with_a_note(run: Run, lived: Path) -> None:
    given = ("review", "--block", "hill", "--season", lived)
    assert in_words.ADVISED_THEN not in words(run(*given).output)
    path = lived / "season.toml"
    path.write_text(path.read_text().replace("floor = 3.0", "floor = 3.4"))
    output = run(*given).output
    assert "3.00 then, now" in output and in_words.ADVISED_THEN in words(output)
    assert too_wide(output) == []


@pytest.mark.parametrize("name", ["A block by the lane " * 5, "a" * 100, "Creek\\nside"])
def test_a_long_or_odd_name_fits_the_screen(run: Run, fresh: Path, name: str) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace('name = "Creek side"', f'name = "{name}"'))
    one = run("review", "--block", "creek", "--season", fresh).output
    assert too_wide(one) == [] and one.startswith(f"Season review, {name[:5].strip()}".rstrip("a"))
    farm = run("review", "--season", fresh).output
    assert too_wide(farm) == []
    if "\\n" in name:
        assert one.startswith("Season review, Creek side\n")
        assert any(line.startswith("Creek side ") for line in farm.splitlines())


@pytest.mark.parametrize("given", [(), ("--block", "creek"), ("--json",), ("--to", "review.html")])
@pytest.mark.parametrize("kind", ["result", "decision"])
def test_a_record_that_cannot_be_read_is_named(
    refused: Refused, lived: Path, kind: str, given: tuple[str, ...]
) -> None:
    with closing(sqlite3.connect(lived / "records.db")) as db, db:
        db.execute(
            "INSERT INTO records (kind, block, day, written, author, program, replaces, reason, content) "
            "VALUES (?, 'creek', '2026-03-01', '2026-03-01T00:00:00+00:00', 'ann', 'p', NULL, '', '{\"x\": 1}')",
            (kind,),
        )
    text = words(refused("review", *given, "--season", lived))
    assert "records.db: a record is not as this program writes it; fertadjust audit says which" in text


def test_what_does_not_go_together_is_refused(refused: Refused, lived: Path) -> None:
    given = ("review", "--season", lived)
    assert "--block: name a block or take --all, one of the two" in refused(*given, "--all", "--block", "hill")
    assert 'there is no block "brook"' in refused(*given, "--block", "brook")
    assert "a review is written as .html" in refused(*given, "--to", "review.pdf")
    assert "--to: goes without --json" in refused(*given, "--to", "review.html", "--json")
