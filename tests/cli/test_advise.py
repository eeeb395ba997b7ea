"""``advise`` and ``amounts``."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.shipped import shipped_tables
from fertadjust.starter import stages_needed
from tests.cli.conftest import Refused, Run, contents, too_wide
from tests.test_season_file import edited

DAY = date(2026, 3, 21)
CREEK = ["--block", "creek", "--on", "2026-03-21"]
DAYS = ["2026-03-01", "2026-03-21", "2026-04-04", "2026-04-17", "2026-05-02", "2026-05-16", "2026-06-01"]


def words(text: str) -> str:
    return " ".join(text.split())


# --- advise -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("full", [[], ["--full"]])
@pytest.mark.parametrize("day", DAYS)
def test_advice_fits_the_screen(run: Run, lived: Path, day: str, full: list[str]) -> None:
    before = contents(lived)
    output = run("advise", "--season", lived, "--on", day, *full).output
    assert too_wide(output) == []
    assert contents(lived) == before


def test_advice_is_given_for_every_block(run: Run, lived: Path) -> None:
    output = run("advise", "--season", lived, "--on", "2026-04-17").output
    for name in ("Creek side", "Hill top", "Lane end"):
        assert f"{name}, Fri 17 Apr 2026\n" in output


def test_advice_says_what_to_do_why_how_sure_and_what_would_change_it(run: Run, lived: Path) -> None:
    text = words(run("advise", "--season", lived, *CREEK).output)
    assert text.startswith("Creek side, Sat 21 Mar 2026 ")
    for part in (
        "Petiole NO3-N of 18 Mar was 2,300 ppm",
        "the band of 4,000 to 6,000 ppm for week 3",
        "How sure: ",
        "What would change it: ",
        "Next sample: ",
        "for the whole block (0.172 ac, bed):",
        "calcium nitrate 15.5-0-0: ",
        "potassium nitrate 13-0-44: ",
        "Rules that had something to say",
        "Looked at, nothing to say: ",
        "! Cautions: backflow prevention",
        "licensed advisor",
    ):
        assert part in text, part
    assert re.search(r"\((UGA|NCDA)-[^()]*, published\)", text)


def test_full_advice_shows_every_rule_with_its_figures(run: Run, lived: Path) -> None:
    text = words(run("advise", "--season", lived, *CREEK, "--full").output)
    rules = {line["rule"] for line in open_season(lived).advice_data("creek", DAY)["trace"]}
    for rule in rules:
        assert f"- {rule}: " in text
    assert "saw: " in text
    assert "Uncertainty of the result" in text
    assert "Cautions ! " in text


def test_advice_without_a_date_is_that_of_today(run: Run, lived: Path) -> None:
    assert "Creek side, Wed 20 May 2026\n" in run("advise", "--season", lived).output


def test_advice_is_of_what_was_known_on_the_day(run: Run, lived: Path) -> None:
    text = run("advise", "--season", lived, "--block", "creek", "--on", "2026-03-20").output
    assert "2,300" not in text


def test_a_season_without_results_says_so(run: Run, fresh: Path) -> None:
    text = words(run("advise", "--season", fresh, "--on", "2026-03-21").output)
    assert "There is no usable result." in text
    assert "Not sure of anything" in text


def test_own_rule_values_show_in_the_advice(run: Run, fresh: Path) -> None:
    with (fresh / "season.toml").open("a") as file:
        file.write("\n[policy]\nconfidence = 0.9\n")
    text = words(run("advise", "--season", fresh, "--block", "creek").output)
    told = "Your own rule value: confidence = 0.9 probability instead of 0.8 probability (season file)."
    assert told in text


def test_advice_for_machines(run: Run, lived: Path) -> None:
    data = json.loads(run("advise", "--season", lived, "--on", "2026-04-17", "--json").output)
    assert set(data) == {"on", "advice"}
    assert data["on"] == "2026-04-17"
    assert [item["block"] for item in data["advice"]] == ["creek", "hill", "lane"]
    for item in data["advice"]:
        assert {
            "block", "on", "action", "headline", "reasons", "how_sure", "would_change", "units", "area", "factor",
            "next_sample", "review", "to_do", "result", "leaf", "uncertainty", "not_used", "flips", "alternatives",
            "sought", "limits", "trend", "trace", "weeks", "tables", "policy", "own_rule_values", "cautions",
        } <= set(item)  # fmt: skip
        assert item["action"] in {"raise", "hold", "cut"}
    one = json.loads(run("advise", "--season", lived, *CREEK, "--json").output)
    assert one["advice"][0] == open_season(lived).advice_data("creek", DAY)


def test_an_unknown_block_is_told(refused: Refused, lived: Path) -> None:
    assert "Error: block: there is no block" in refused("advise", "--season", lived, "--block", "brook")


# --- amounts ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("day", DAYS)
@pytest.mark.parametrize("block", ["creek", "hill", "lane"])
def test_amounts_fit_the_screen(run: Run, lived: Path, block: str, day: str) -> None:
    output = run("amounts", "--season", lived, "--block", block, "--on", day).output
    assert too_wide(output) == []


def test_amounts_show_rates_products_and_the_running_total(run: Run, fresh: Path) -> None:
    run("results", "add", "--block", "creek", "--sampled", "2026-03-18", "--received", "2026-03-21",
        "--value", "2300", "--petioles", "25", "--season", fresh)  # fmt: skip
    lines = run("amounts", "--season", fresh, *CREEK).output.splitlines()
    assert lines[0] == "Creek side, 0.1722 ac (bed), Sat 21 Mar 2026"
    rates = [line.split() for line in lines]
    assert ["4", "23", "Mar", "week", "4", "5.25", "7.00", "1.205", "0.603"] in [row[:9] for row in rates]
    # On 0.172176 ac at 7 lb N/ac, half each: 0.602617 lb N / 0.155 and / 0.13; 5 lb/ac of Epsom salt beside them;
    # 44 % of 4.6355 lb is K2O, 19 % of 3.8879 lb is Ca.
    assert "week  calcium nitrate  potassium nitrate  Epsom salt   K2O    Ca" in lines
    assert ["4", "3.89", "4.64", "0.86", "2.04", "0.74"] in rates
    text = words("\n".join(lines))
    assert "Rates in lb N/ac/week; nitrogen in lb for the whole block." in text
    assert "season cap 130.00 lb N/ac." in text


def test_amounts_pass_the_cap_in_plain_sight(run: Run, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace("season_cap = 130", "season_cap = 100"))
    output = run("amounts", "--season", fresh, "--block", "creek", "--on", "2026-03-01").output
    stopped = [line for line in output.splitlines() if line.endswith("  CAP")]
    assert stopped and stopped[-1].split()[6:8] == ["0.00", "0.000"]
    assert "CAP: the season cap stops some or all of that week's nitrogen." in output


def test_amounts_for_a_spreadsheet(run: Run, lived: Path) -> None:
    output = run("amounts", "--season", lived, *CREEK, "--csv").output
    rows = list(csv.DictReader(io.StringIO(output)))
    frame = open_season(lived).amounts("creek", DAY)
    assert list(rows[0]) == [*frame.columns, "band_evidence"]
    assert {row["band_evidence"] for row in rows} == {"published"}
    assert [float(row["rate"]) for row in rows] == frame["rate"].to_list()
    assert [float(row["calcium nitrate [lb]"]) for row in rows] == pytest.approx(
        frame["calcium nitrate [lb]"].to_list(), rel=1e-12
    )
    assert [row["start"] for row in rows] == frame["start"].to_list()


def test_amounts_for_machines(run: Run, lived: Path) -> None:
    data = json.loads(run("amounts", "--season", lived, *CREEK, "--json").output)
    assert set(data) == {"block", "on", "weeks", "band_evidence"}
    assert (data["block"], data["on"], data["band_evidence"]) == ("creek", "2026-03-21", "published")
    assert [week["week"] for week in data["weeks"]] == list(range(4, 13))
    assert {
        "week", "start", "stage", "planned", "before", "rate", "block_n", "injection_n", "k2o", "ca", "total",
        "over_cap", "products", "products_before",
    } == set(data["weeks"][0])  # fmt: skip
    assert {"product", "grade", "weight", "volume"} == set(data["weeks"][0]["products"][0])


def test_after_the_last_week_there_are_no_amounts(run: Run, lived: Path) -> None:
    after = ["--season", lived, "--block", "creek", "--on", "2026-06-01"]
    assert "No week of the plan is left." in run("amounts", *after).output
    assert json.loads(run("amounts", *after, "--json").output)["weeks"] == []
    header = next(csv.reader(io.StringIO(run("amounts", *after, "--csv").output)), [])
    assert header[:3] == ["week", "start", "stage"]


def test_the_block_is_asked_for(run: Run, refused: Refused, lived: Path) -> None:
    assert "--block: is missing, and there is nobody to ask" in refused("amounts", "--season", lived)
    output = run("amounts", "--season", lived, input="Hill top\n").output
    assert "Block (creek, hill, lane): " in output
    assert "Hill top, " in output


LIQUIDS = """
[[products]]
name = "calcium ammonium nitrate solution"
grade = "17-0-0"
ca = 8.8
nitrate_n = 11.6
share = 0.4
density = 12.8

[[products]]
name = "urea ammonium nitrate solution"
grade = "32-0-0"
nitrate_n = 7.75
share = 0.3
density = 11.06

[[products]]
name = "potassium nitrate"
grade = "13-0-44"
nitrate_n = 13
share = 0.3

"""


@pytest.mark.parametrize("units", ["us", "metric"])
def test_amounts_of_several_liquids_fit_the_screen(run: Run, fresh: Path, units: str) -> None:
    path = fresh / "season.toml"
    text = path.read_text()
    text = text[: text.index("[[products]]")] + LIQUIDS.lstrip() + text[text.index("[blocks.creek]") :]
    path.write_text(text.replace('units = "us"', f'units = "{units}"'))
    output = run("amounts", "--season", fresh, "--block", "hill", "--on", "2026-03-01").output
    assert "calcium ammonium nitra" in output
    assert too_wide(output) == []
    advice = run("advise", "--season", fresh, "--block", "hill", "--on", "2026-03-01").output
    assert (" gal" if units == "us" else " L") in advice
    assert too_wide(advice) == []


@pytest.mark.parametrize("table", [name for name, item in shipped_tables().items() if item.stages])
def test_amounts_by_stages_fit_the_screen(run: Run, fresh: Path, table: str) -> None:
    path = fresh / "season.toml"
    crop = shipped_tables()[table].crop
    needed = enumerate(stages_needed(crop, [table]))
    stages = "\n".join(f"{name} = 2026-0{3 + index}-02" for index, name in needed)
    text = path.read_text().replace(
        '"strawberry-petiole-dry-us-southeast", "strawberry-leaf-georgia"', f'"{table}"'
    )
    named = ('name = "strawberry"', f'name = "{crop}"\nrules = "general"')
    text = edited(named, ('stage = "fruit_set"', "week = 4"), text=text)
    start, end = text.index("[stages]"), text.index("[plan]")
    text = text[:start] + f"[stages]\n{stages}\n\n" + text[end:]
    path.write_text("\n".join(line for line in text.splitlines() if not line.startswith("stages = ")))
    output = run("amounts", "--season", fresh, "--block", "hill", "--on", "2026-03-02").output
    assert all(name in output for name in ("calcium nitrate", "potassium nitrate", "Epsom salt"))
    assert too_wide(output) == []
