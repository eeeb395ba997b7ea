"""``stages``: listed, set and cleared."""

from __future__ import annotations

import csv
import json
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.season_file import read_season
from fertadjust.shipped import crop_stages
from tests.cli.conftest import TODAY, Refused, Run, contents, too_wide
from tests.test_season_file import SEASON
from tests.test_stage_move import TOMATO


@pytest.fixture(autouse=True)
def _day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fertadjust.cli.stages.today", lambda: TODAY)


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    """A tomato season by named stages, two blocks, set out on 2 March; nothing else has a date."""
    where = tmp_path / "farm"
    where.mkdir()
    (where / "season.toml").write_text(TOMATO, encoding="utf-8")
    return where


def words(text: str) -> str:
    return " ".join(text.split())


CROPS = [name for item in crop_stages().crops for name in (item.crop, *item.also)]


@pytest.mark.parametrize("crop", CROPS)
def test_the_stages_of_every_crop_are_listed_in_order(run: Run, crop: str) -> None:
    output = run("stages", "list", "--crop", crop).output
    stages = crop_stages()
    found = stages.of(crop)
    assert found is not None
    assert [line.strip() for line in output.splitlines() if line.startswith("  ") and line[2] != " "] == list(
        found.names
    )
    assert all(stages.meaning[name] in words(output) for name in found.names)
    assert too_wide(output) == []
    data = json.loads(run("stages", "list", "--crop", crop, "--json").output)
    assert [item["stage"] for item in data["stages"]] == list(found.names)


def test_a_season_lists_dates_needs_and_what_is_next(run: Run, farm: Path) -> None:
    run("stages", "set", "first_buds", "2026-04-01", "--block", "south", "--guess", "--yes", "--season", farm)
    before = contents(farm)
    output = run("stages", "list", "--season", farm, "--on", "2026-04-05").output
    text = words(output)
    assert "transplanting Mon 2 Mar 2026 plants set out" in text
    assert (
        "first_buds north -, south Wed 1 Apr 2026 (a guess) the first flower buds show needed by tomato-" in text
    )
    assert "Block north, next: first_buds: the first flower buds show." in text
    assert "Block south, next: first_flower: the first flowers are open." in text
    assert too_wide(output) == []
    one = words(run("stages", "list", "--season", farm, "--block", "South", "--on", "2026-03-20").output)
    assert "Block south, next: first_buds, dated Wed 1 Apr 2026" in one and "Block north" not in one
    data = json.loads(run("stages", "list", "--season", farm, "--on", "2026-04-05", "--json").output)
    (buds,) = [item for item in data["stages"] if item["stage"] == "first_buds"]
    assert (buds["dates"], buds["guess"]) == ({"north": None, "south": "2026-04-01"}, ["south"])
    assert data["next"] == {"north": "first_buds", "south": "first_flower"}
    assert contents(farm) == before


def test_a_date_is_shown_asked_about_written_and_put_on_record(run: Run, lived: Path) -> None:
    before = contents(lived)
    given = ("stages", "set", "first_bloom", "2026-03-09", "--season", lived, "--reason", "misread")
    shown = run(*given).output
    assert "Nothing was written." in shown and contents(lived) == before
    assert "Write it? [y/N]: n" in run(*given, input="n\n").output and contents(lived) == before
    assert too_wide(shown) == []
    text = words(shown)
    for told in (
        "Block lane has a date of its own, which stays: Mon 9 Mar 2026 (a guess).",
        "Block creek, first_bloom: Mon 2 Mar 2026 -> Mon 9 Mar 2026",
        "block hill, Wed 11 Mar 2026: petiole NO3-N, dry weight 8,600 ppm was: high, band 4,000 to 6,000 ppm at "
        "week 2 now: high, band 600 to 1,500 ppm at week 1",
        "Decisions that would come out otherwise. They stay on record as they were made:",
        "Advice today, block creek, stays: Hold: no week of the plan is left to change.",
    ):
        assert told in text
    done = words(run(*given, input="y\n").output)
    reason = "stage first_bloom: 2 Mar 2026 -> 9 Mar 2026 (block creek, hill); misread"
    assert done.endswith(f"the plan as it stands. {reason}.")
    season = open_season(lived)
    assert season.revisions()[-1].reason == reason
    assert season.file.blocks["creek"].stages.dates["first_bloom"] == date(2026, 3, 9)
    assert season.plan_on_record()


def test_the_history_says_it_afterwards_and_the_audit_names_the_plan(run: Run, lived: Path) -> None:
    run("stages", "set", "first_bloom", "2026-03-09", "--season", lived, "--yes")
    output = run("history", "--block", "creek", "--season", lived).output
    assert too_wide(output) == []
    note = (
        "then: the decision was made with other stage dates (first_bloom Mon 2 Mar 2026, today Mon 9 Mar 2026): "
        "2,300 ppm of 18 Mar was low, band 4,000 to 6,000 ppm for week 3"
    )
    assert note in words(output)
    rows = list(csv.DictReader(run("history", "--block", "creek", "--season", lived, "--csv").output.splitlines()))
    then = [rows[1][name] for name in ("band then", "status then", "stage dates then")]
    assert then == ["4,000 to 6,000 ppm", "low", "first_bloom 2026-03-02"]
    assert "because the plan in season.toml changed" in words(run("audit", "--season", lived, code=3).output)


def test_a_stage_may_be_dated_block_by_block_and_taken_back(run: Run, farm: Path) -> None:
    run("stages", "set", "First buds", "2026-04-01", "--season", farm, "--yes")
    run("stages", "set", "first-buds", "2026-04-05", "--block", "south", "--season", farm, "--yes")
    blocks = read_season(farm).blocks
    assert [blocks[key].stages.dates["first_buds"].day for key in ("north", "south")] == [1, 5]
    back = run("stages", "clear", "first_buds", "--block", "south", "--season", farm, "--yes").output
    assert "Block south, first_buds: Sun 5 Apr 2026 -> Wed 1 Apr 2026" in back
    run("stages", "clear", "first_buds", "--season", farm, "--yes")
    assert "first_buds" not in read_season(farm).blocks["north"].stages.dates
    assert (farm / "season.toml").read_text(encoding="utf-8") == TOMATO


def test_a_date_that_stands_already_is_not_written_again(run: Run, farm: Path) -> None:
    before = contents(farm)
    output = run("stages", "set", "transplanting", "2026-03-02", "--season", farm, "--yes").output
    assert output == "The season file says so already; nothing is written.\n"
    assert contents(farm) == before


def test_a_date_that_no_block_goes_by_is_said_so(run: Run, farm: Path) -> None:
    for block in ("north", "south"):
        run("stages", "set", "first_buds", "2026-04-01", "--block", block, "--season", farm, "--yes")
    text = words(run("stages", "set", "first_buds", "2026-04-02", "--season", farm, "--yes").output)
    assert "No block goes by it: each has a date of its own." in text
    assert "stage first_buds: no block goes by the date of all blocks." in text


def test_an_own_stage_is_taken_when_it_is_said_to_be_one(run: Run, refused: Refused, farm: Path) -> None:
    told = refused("stages", "set", "netting_on", "2026-03-20", "--season", farm)
    assert '"netting_on" is no stage of tomato; there are: transplanting, five_leaf' in told
    run("stages", "set", "netting_on", "2026-03-20", "--own", "--season", farm, "--yes")
    assert read_season(farm).blocks["north"].stages.dates["netting_on"] == date(2026, 3, 20)
    assert "a stage of your own" in run("stages", "list", "--season", farm).output


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (("set", "first_flwer", "2026-04-01"), '"first_flwer" is no stage of tomato; did you mean first_flower'),
        (("set", "first_bloom", "2026-04-01"), '"first_bloom" is no stage of tomato; did you mean first_flower'),
        (("set", "approximate", "2026-04-01", "--own"), '"approximate" is no name for a stage'),
        (("set", "a.b", "2026-04-01", "--own"), '"a.b" is no name for a stage'),
        (("set", "first_buds", "1 April"), '"1 April" is not a date; write it as 2026-03-09'),
        (("set", "first_buds", "2025-09-20"), "is before planting on 2025-10-12"),
        (("set", "first_buds", "2026-04-01", "--block", "brook"), 'there is no block "brook"'),
        (("clear", "first_buds"), '"first_buds" has no date for all blocks'),
        (("clear", "transplanting", "--block", "north"), '"transplanting" has no date of block north\'s own'),
    ],
)
def test_what_will_not_do_writes_nothing(
    refused: Refused, farm: Path, given: tuple[str, ...], message: str
) -> None:
    assert message in words(refused("stages", *given, "--season", farm, "--yes"))


def test_a_date_of_one_block_is_not_taken_for_that_of_all(run: Run, refused: Refused, farm: Path) -> None:
    run("stages", "set", "first_buds", "2026-04-05", "--block", "south", "--season", farm, "--yes")
    assert "block south has its own: --block" in refused(
        "stages", "clear", "first_buds", "--season", farm, "--yes"
    )


def test_a_date_that_a_table_is_counted_from_may_be_taken_out_and_what_that_means_is_told(
    run: Run, farm: Path
) -> None:
    (farm / "season.toml").write_text(SEASON, encoding="utf-8")
    told = words(run("stages", "clear", "first_bloom", "--season", farm, "--yes").output)
    assert "Note: strawberry-petiole-dry-us-southeast has no band before first_bloom has a date." in told
    assert read_season(farm).blocks["north"].stages.dates == {}


def test_a_date_far_outside_the_plan_is_asked_about(run: Run, refused: Refused, farm: Path) -> None:
    """The plan goes from 2 March to 24 May 2026; the limit of 200 days is the project's own."""
    given = ("stages", "set", "third_harvest", "2028-04-02", "--season", farm)
    off = "Sun 2 Apr 2028 is 679 days after the plan, which goes from Mon 2 Mar 2026 to Sun 24 May 2026"
    assert f"DATE: {off}; if the date is right, say so with --far" in words(refused(*given, "--yes"))
    before = contents(farm)
    asked = words(run(*given, input="n\n").output)
    assert f"Look at the date again: {off}. Write it? [y/N]: n" in asked and contents(farm) == before
    assert "Look at the date" not in words(run(*given, "--far", "--yes").output)
    assert read_season(farm).blocks["north"].stages.dates["third_harvest"] == date(2028, 4, 2)


@pytest.mark.parametrize(
    ("day", "told"), [("2026-12-10", ""), ("2026-12-11", "201 days after"), ("2025-08-13", "201 days before")]
)
def test_200_days_from_the_plan_are_not_far(run: Run, farm: Path, day: str, told: str) -> None:
    path = farm / "season.toml"
    path.write_text(path.read_text().replace("planted = 2025-10-12", "planted = 2025-01-12"))
    shown = words(run("stages", "set", "last_harvest", day, "--season", farm, input="n\n").output)
    assert ("Look at the date again" in shown) == bool(told) and told in shown


@pytest.mark.parametrize("crop", ["Tomato", " TOMATO ", "brussels sprouts"])
def test_a_crop_is_known_however_it_is_written(run: Run, crop: str) -> None:
    data = json.loads(run("stages", "list", "--crop", crop, "--json").output)
    assert data["crop"] == ("Brussels sprouts" if crop.startswith("b") else "tomato")
    assert any(item["needed_by"] for item in data["stages"])


def test_dates_written_with_dots_are_taken_out(run: Run, farm: Path) -> None:
    path = farm / "season.toml"
    path.write_text(dotted(TOMATO))
    run("stages", "set", "first_buds", "2026-04-01", "--season", farm, "--yes")
    run("stages", "clear", "first_buds", "--season", farm, "--yes")
    assert path.read_text() == dotted(TOMATO)
    run("stages", "clear", "transplanting", "--season", farm, "--yes")
    assert read_season(farm).blocks["north"].stages.dates == {}


def dotted(text: str) -> str:
    """The same season file with its stage dates as dotted keys at the top."""
    head, rest = text.split("[stages]\n")
    day, rest = rest.split("\n", 1)
    schema, head = head.split("\n", 1)
    return f"stages.{day}\n{schema}\n{head}{rest}"


def test_an_unknown_crop_is_told(refused: Refused) -> None:
    assert 'no stages are known of "quince"; there are: Brussels sprouts' in refused(
        "stages", "list", "--crop", "quince"
    )


def test_a_metric_season_is_told_in_its_units(run: Run, lived: Path) -> None:
    path = lived / "season.toml"
    path.write_text(path.read_text().replace('units = "us"', 'units = "metric"'))
    text = run("stages", "set", "first_bloom", "2026-03-09", "--season", lived).output
    assert "kg N/ha/week" in text and too_wide(text) == []
