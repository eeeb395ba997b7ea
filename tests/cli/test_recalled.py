"""A band written from memory says so wherever it is used. The farms and their figures are invented."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from PIL import Image

from tests.cli.conftest import Run, too_wide

FIELD = """\
row_length = 300
rows = 10
bed_top_width = 2.5
bed_spacing = 6
"""
PRODUCT = """\
[[products]]
name = "calcium nitrate"
material = "calcium_nitrate"
share = 1.0
"""
TOMATO = f"""\
schema = 1

[farm]
name = "Invented Farm"
units = "us"

[crop]
name = "tomato"
system = "field, drip plasticulture"
region = "Florida"
planted = 2025-02-20

[bands]
tables = ["tomato-petiole-sap-florida"]

[stages]
first_buds = 2025-03-09
first_flower = 2025-03-23
fruit_1_inch = 2025-04-06
fruit_2_inch = 2025-04-20
third_harvest = 2025-05-25

[plan]
start = 2025-03-03
weeks = 14
basis = "linear_bed"
rate = 10
injections_per_week = 2

[bounds]
floor = 5
ceiling = 20
season_cap = 200
rate_step = 0.05

{PRODUCT}
[blocks.north]
name = "North"
area_basis = "linear_bed"
standard_spacing = 6
{FIELD}
[blocks.south]
name = "South"
area_basis = "linear_bed"
standard_spacing = 6
{FIELD}"""
COTTON = f"""\
schema = 1

[farm]
name = "Invented Farm"
units = "us"

[crop]
name = "cotton"
system = "irrigated field"
region = "Georgia, Coastal Plain"
planted = 2025-04-20

[bands]
tables = ["cotton-petiole-dry-georgia"]

[stages]
first_bloom = 2025-06-23

[plan]
start = 2025-05-26
weeks = 14
basis = "gross"
rate = 7
injections_per_week = 2

[bounds]
floor = 0
ceiling = 14
season_cap = 120
rate_step = 0.05

{PRODUCT}
[blocks.north]
name = "North"
area_basis = "gross"
{FIELD}"""
NORTH = ["--block", "north"]
AFTER_LAST = "2025-06-01"
CHECK_IT = "The band behind this advice was written from memory: check it."


def words(text: str) -> str:
    return " ".join(text.split())


def page_text(path: Path) -> str:
    return words(re.sub(r"<[^>]*>", " ", path.read_text(encoding="utf-8")))


def taken(run: Run, where: Path, block: str, day: str, value: str) -> None:
    run("results", "add", "--season", where, "--block", block, "--sampled", day, "--received", day,
        "--value", value, "--petioles", "25", "--confirm")  # fmt: skip


@pytest.fixture
def tomato(run: Run, tmp_path: Path) -> Path:
    """A field on a table that is recalled as a whole: a low result that was decided on, and later ones."""
    where = tmp_path / "tomato"
    where.mkdir()
    (where / "season.toml").write_text(TOMATO, encoding="utf-8")
    taken(run, where, "north", "2025-03-24", "420")
    run("decide", "--season", where, *NORTH, "--on", "2025-03-24", "--accept")
    taken(run, where, "north", "2025-04-07", "500")
    taken(run, where, "north", "2025-05-26", "300")
    taken(run, where, "south", "2025-04-07", "<200")
    return where


@pytest.fixture
def cotton(run: Run, tmp_path: Path) -> Path:
    """A field that is fed no more after its third week of bloom, with a low result by then."""
    where = tmp_path / "cotton"
    where.mkdir()
    (where / "season.toml").write_text(COTTON, encoding="utf-8")
    taken(run, where, "north", "2025-07-08", "2000")
    return where


# --- amounts ------------------------------------------------------------------------------------------------


def test_amounts_say_that_the_band_behind_them_is_recalled(run: Run, tomato: Path) -> None:
    given = ["amounts", "--season", tomato, *NORTH, "--on", "2025-04-08"]
    output = run(*given).output
    assert output.splitlines()[1] == CHECK_IT
    assert too_wide(output) == []
    rows = list(csv.DictReader(io.StringIO(run(*given, "--csv").output)))
    assert list(rows[0])[-1] == "band_evidence"
    assert {row["band_evidence"] for row in rows} == {"recalled"}
    assert json.loads(run(*given, "--json").output)["band_evidence"] == "recalled"


@pytest.mark.parametrize("day", ["2025-03-01", "2025-03-23"])
def test_amounts_without_a_result_rest_on_no_band(run: Run, tomato: Path, day: str) -> None:
    given = ["amounts", "--season", tomato, *NORTH, "--on", day]
    assert "memory" not in run(*given).output
    rows = list(csv.DictReader(io.StringIO(run(*given, "--csv").output)))
    assert {row["band_evidence"] for row in rows} == {""}
    assert json.loads(run(*given, "--json").output)["band_evidence"] == ""


def test_after_the_last_week_the_mark_stays(run: Run, tomato: Path) -> None:
    given = ["amounts", "--season", tomato, *NORTH, "--on", "2025-06-10"]
    assert run(*given).output.splitlines()[1:] == [CHECK_IT, "No week of the plan is left."]
    assert run(*given, "--csv").output.splitlines()[0].endswith(",band_evidence")


# --- history ------------------------------------------------------------------------------------------------


def test_a_history_marks_every_recalled_band(run: Run, tomato: Path) -> None:
    given = ["history", "--season", tomato, *NORTH, "--on", AFTER_LAST]
    output = run(*given).output
    text = words(output)
    assert too_wide(output) == []
    assert "below the band of 600 to 800 mg/L for first flower (band recalled)." in text
    assert "next result 500 mg/L of 7 Apr, sufficient, band recalled (position in the band 0.55)" in text
    rows = list(csv.reader(io.StringIO(run(*given, "--csv").output)))
    assert rows[0][-2:] == ["stage dates then", "band evidence"]
    assert [row[-1] for row in rows[1:]] == ["recalled"] * 3
    found = json.loads(run(*given, "--json").output)["history"]
    assert [item["result"]["band"]["evidence"] for item in found] == ["recalled"] * 3


def test_a_later_result_without_a_band_is_not_passed_over(run: Run, tomato: Path) -> None:
    """The table has no band from the third harvest on, 25 May."""
    before, after = (
        words(run("history", "--season", tomato, *NORTH, "--on", day).output) for day in ("2025-05-25", AFTER_LAST)
    )
    assert "followed: no later result;" in before and "with a band" not in before
    assert after.count("followed: no later result with a band;") == 2
    assert "no later result;" not in after


# --- review and summary -------------------------------------------------------------------------------------


def test_a_review_names_the_recalled_tables_and_marks_the_results(run: Run, tomato: Path, tmp_path: Path) -> None:
    line = "Bands of tomato-petiole-sap-florida were written from memory: check them before relying on this."
    for block in (NORTH, ["--all"]):
        given = ["review", "--season", tomato, *block, "--on", AFTER_LAST]
        output = run(*given).output
        assert line in words(output)
        assert too_wide(output) == []
        run(*given, "--to", tmp_path / "review.html")
        text = page_text(tmp_path / "review.html")
        assert line in text
        assert "420 mg/L of 24 Mar, below 600 to 800 mg/L (band recalled)" in text
    text = words(run("review", "--season", tomato, *NORTH, "--on", AFTER_LAST).output)
    assert "before 420 mg/L of 24 Mar, below 600 to 800 mg/L (band recalled)" in text
    (change,) = json.loads(run("review", "--season", tomato, *NORTH, "--on", AFTER_LAST, "--json").output)[
        "changes"
    ]
    assert change["before"]["band"]["evidence"] == change["after"]["band"]["evidence"] == "recalled"


def test_a_summary_marks_the_row_of_a_recalled_band(run: Run, tomato: Path, tmp_path: Path) -> None:
    given = ["summary", tomato, "--on", "2025-04-08"]
    output = run(*given).output
    assert too_wide(output) == []
    table = output[output.index("Block ") : output.index("Today")]
    assert words(table).count("band recalled") == 2
    run(*given, "--to", tmp_path / "summary.html")
    page = page_text(tmp_path / "summary.html")
    assert page.count("mg/L, fruit 1 inch recalled: check before relying on it") == 2
    assert "band of 400 to 600 mg/L for fruit 1 inch (band recalled)." in page
    found = json.loads(run(*given, "--json").output)["blocks"]
    assert [item["result"]["band"]["evidence"] for item in found] == ["recalled"] * 2


def test_a_summary_without_a_result_marks_nothing_in_its_row(run: Run, tomato: Path) -> None:
    assert "recalled" not in run("summary", tomato, "--on", "2025-03-23").output


# --- charts -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("which", [NORTH, ["--all"], ["--overview"]])
@pytest.mark.parametrize("paper", [[], ["--phone"]])
def test_every_chart_and_its_alternative_text_say_it(
    run: Run, tomato: Path, tmp_path: Path, which: list[str], paper: list[str]
) -> None:
    given = ["chart", "--season", tomato, *which, *paper, "--on", "2025-04-08", "--to"]
    run(*given, tmp_path / "chart.svg")
    run(*given, tmp_path / "chart.png")
    run(*given, tmp_path / "chart.pdf")
    svg = (tmp_path / "chart.svg").read_text(encoding="utf-8")
    title, drawn = re.split(r"</title>", svg, maxsplit=1)
    assert "and recalled" in title.lower() and "and recalled" in drawn.lower().replace("\n", " ")
    assert "and recalled" in str(Image.open(tmp_path / "chart.png").info["Description"]).lower()


def test_nothing_is_marked_where_every_band_is_published(run: Run, lived: Path, tmp_path: Path) -> None:
    for command in (["amounts", "--block", "creek"], ["history", "--block", "creek"], ["review"], ["summary"]):
        assert "recalled" not in run(*command, "--season", lived, "--on", "2026-04-18").output
    for which in (["--block", "creek"], ["--all"], ["--overview"]):
        run("chart", "--season", lived, *which, "--on", "2026-04-18", "--to", tmp_path / "chart.svg")
        assert "recalled" not in (tmp_path / "chart.svg").read_text(encoding="utf-8")


# --- weeks in which nothing is fed, and weeks in their order ------------------------------------------------


def test_advice_says_that_nothing_is_fed_and_lists_no_products(run: Run, cotton: Path) -> None:
    """No soil nitrogen after the third week of bloom: the plan's week 8 and later rest (UGA-COT)."""
    output = run("advise", "--season", cotton, "--on", "2025-07-10").output
    assert "Nothing is fed in week 8.\n" in output
    assert "for the whole block" not in output
    fed = run("advise", "--season", cotton, "--on", "2025-06-26").output
    assert "Nothing is fed" not in fed
    assert "for the whole block" in fed


def test_advice_of_several_weeks_that_rest_says_these_weeks(run: Run, cotton: Path) -> None:
    taken(run, cotton, "north", "2025-07-21", "1500")
    output = run("advise", "--season", cotton, "--on", "2025-07-21").output
    assert "for the 3 weeks" in words(output)
    assert "Nothing is fed in these weeks.\n" in output


def test_a_decision_tells_its_weeks_by_number(run: Run, tomato: Path) -> None:
    taken(run, tomato, "south", "2025-04-22", "100")
    output = words(run("decide", "--season", tomato, "--block", "south", "--on", "2025-04-22", "--accept").output)
    assert re.search(r"in lb N/ac/week: week 9: [\d.]+, week 10: [\d.]+\.", output)
