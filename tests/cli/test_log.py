"""``log``: what went out and what was seen."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from fertadjust.api import open_season
from fertadjust.cli import cli
from fertadjust.observations import Sight
from tests.cli.conftest import Refused, Run, contents, too_wide

AREA = 300 * 10 * 2.5 / 43560


def words(text: str) -> str:
    return " ".join(text.split())


def application(where: Path, *more: object) -> list[object]:
    return ["log", "application", "--block", "creek", "--season", where, *more]


def observation(where: Path, *more: object) -> list[object]:
    return ["log", "observation", "--block", "creek", "--season", where, *more]


def test_nitrogen_is_logged_and_held_against_the_plan(run: Run, fresh: Path) -> None:
    output = run(*application(fresh, "--n", "2.62", "--on", "2026-03-16", "--note", "late", "--by", "ann")).output
    assert output.splitlines() == [
        "Record 2: 2.62 lb N/ac on block creek, Mon 16 Mar 2026.",
        "Week 3: 2.62 applied of 5.25 lb N/ac meant for it.",
    ]
    (item,) = open_season(fresh).block("creek").applications
    assert (item.n_lb_ac, item.on, item.note) == (2.62, date(2026, 3, 16), "late")
    output = run(*application(fresh, "--n", "2.63", "--on", "2026-03-19")).output
    assert "Week 3: 5.25 applied of 5.25 lb N/ac meant for it." in output


def test_products_are_logged_by_their_weights(run: Run, fresh: Path) -> None:
    output = run(
        *application(fresh, "--on", "2026-03-16", "--product", "calcium nitrate=1.5"),
        *("--product", "potassium nitrate = 2"),
    ).output
    n = (1.5 * 0.155 + 2 * 0.13) / AREA
    assert output.startswith(f"Record 2: {n:.2f} lb N/ac on block creek")
    (item,) = open_season(fresh).block("creek").applications
    assert item.products == {"calcium nitrate": 1.5, "potassium nitrate": 2}


def test_a_product_given_twice_is_not_half_forgotten(run: Run, fresh: Path) -> None:
    given = ("--product", "calcium nitrate=1.5", "--product", "calcium nitrate=2")
    result = CliRunner().invoke(cli, [str(part) for part in application(fresh, "--on", "2026-03-16", *given)])
    if result.exit_code == 2:
        return
    (item,) = open_season(fresh).block("creek").applications
    assert item.products == {"calcium nitrate": 3.5}
    assert item.n_lb_ac == pytest.approx(3.5 * 0.155 / AREA)


def test_a_skipped_injection_is_logged_as_nothing(run: Run, fresh: Path) -> None:
    run(*application(fresh, "--n", "0", "--on", "2026-03-16", "--note", "pump broken"))
    assert open_season(fresh).block("creek").applications[0].n_lb_ac == 0


def test_without_a_day_it_is_today(run: Run, fresh: Path) -> None:
    output = run(*application(fresh, "--n", "2")).output
    assert "on block creek, Wed 20 May 2026." in output
    assert open_season(fresh).block("creek").applications[0].on == date(2026, 5, 20)


def test_a_day_outside_the_plan_is_said(run: Run, fresh: Path) -> None:
    assert (
        "That day lies outside the plan's weeks."
        in run(*application(fresh, "--n", "2", "--on", "2026-02-20", "--confirm")).output
    )


@pytest.mark.parametrize(
    ("given", "asked"),
    [
        (["--n", "2", "--on", "2026-02-20"], "lies outside the plan"),
        (["--n", "500"], "is it per area, and not for the block?"),
    ],
)
def test_an_unusual_application_is_not_logged_unless_confirmed(
    run: Run, refused: Refused, fresh: Path, given: list[str], asked: str
) -> None:
    assert asked in refused(*application(fresh, *given))
    run(*application(fresh, *given, "--confirm"))
    assert len(open_season(fresh).block("creek").applications) == 1


def test_a_metric_season_logs_metric_numbers(run: Run, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace('units = "us"', 'units = "metric"'))
    output = run(*application(fresh, "--n", "2.5", "--on", "2026-03-16")).output
    assert "Record 2: 2.50 kg N/ha on block creek" in output
    assert open_season(fresh).block("creek").applications[0].n_lb_ac == pytest.approx(2.5 / 1.120851)


def test_nitrogen_and_block_are_asked_for(run: Run, refused: Refused, fresh: Path) -> None:
    assert "--n: is missing, and there is nobody to ask" in refused(*application(fresh))
    assert "--block: is missing" in refused("log", "application", "--n", "2", "--season", fresh)
    output = run("log", "application", "--season", fresh, input="creek\n2.5\n").output
    assert "Nitrogen applied [lb N/ac]: " in output
    assert open_season(fresh).block("creek").applications[0].n_lb_ac == 2.5


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--n", "-1"], "n: -1.0 should be from 0 up to 1000 lb N/ac"),
        (["--n", "nan"], "n: nan should be from 0 up to 1000 lb N/ac"),
        (["--n", "inf"], "n: inf should be from 0 up to 1000 lb N/ac"),
        (["--n", "2", "--on", "2026-05-21"], "on: 2026-05-21 is after today, 2026-05-20"),
        (["--n", "2", "--on", "2025-10-01"], "on: 2025-10-01 is before planting"),
        (["--n", "2", "--product", "calcium nitrate=2"], "n: give the nitrogen, or products"),
        (["--product", "urea=2"], 'product: "urea" is not in the season file; there are: calcium nitrate'),
        (["--product", "calcium nitrate"], '--product: "calcium nitrate" should be NAME=WEIGHT'),
        (["--product", "calcium nitrate=much"], "should be NAME=WEIGHT"),
        (["--product", "calcium nitrate=-2"], "product: -2.0 lb of calcium nitrate is not a weight"),
        (["--product", "calcium nitrate=nan"], "product: nan lb of calcium nitrate is not a weight"),
        (["--block", "brook", "--n", "2"], 'there is no block "brook"'),
    ],
)
def test_an_application_that_will_not_do_is_not_logged(
    refused: Refused, fresh: Path, given: list[str], told: str
) -> None:
    assert told in refused(*application(fresh, *given))


@pytest.mark.parametrize("kind", [item.value for item in Sight])
def test_everything_that_can_be_seen_is_logged(run: Run, fresh: Path, kind: str) -> None:
    value = ["--value", "26"] if kind == "soil nitrate" else []
    output = run(*observation(fresh, "--kind", kind, "--on", "2026-04-10", "--note", "lower rows", *value)).output
    assert output == f"Record 2: {kind} on block creek, Fri 10 Apr 2026.\n"
    (item,) = open_season(fresh).block("creek").observations
    assert (item.sight.value, item.note) == (kind, "lower rows")


def test_kinds_in_the_help_are_those_there_are(run: Run) -> None:
    text = words(run("log", "observation", "--help").output)
    for item in Sight:
        assert item.value in text


def test_what_was_seen_is_asked_for(run: Run, refused: Refused, fresh: Path) -> None:
    assert "--kind: is missing, and there is nobody to ask" in refused(*observation(fresh))
    assert "--value: is missing" in refused(*observation(fresh, "--kind", "soil nitrate"))
    run(*observation(fresh), input="hail\nsoil nitrate\n26\n")
    (item,) = open_season(fresh).block("creek").observations
    assert (item.sight, item.value) == (Sight.SOIL_NITRATE, 26)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--kind", "hail"], 'kind: "hail" should be one of leaching rain, waterlogged'),
        (["--kind", "frost", "--value", "3"], 'value: a value goes with "soil nitrate" only'),
        (
            ["--kind", "soil nitrate", "--value", "-1"],
            "value: a soil nitrate test needs its NO3-N in ppm, 0 to 1000",
        ),
        (["--kind", "frost", "--on", "2026-05-21"], "on: 2026-05-21 is after today, 2026-05-20"),
        (["--kind", "frost", "--block", "brook"], 'there is no block "brook"'),
    ],
)
def test_an_observation_that_will_not_do_is_not_logged(
    refused: Refused, fresh: Path, given: list[str], told: str
) -> None:
    assert told in refused(*observation(fresh, *given))


@pytest.mark.parametrize("day", ["2026-03-01", "2026-03-21", "2026-04-17", "2026-05-20"])
@pytest.mark.parametrize("block", ["creek", "hill", "lane"])
def test_the_ledger_fits_the_screen(run: Run, lived: Path, block: str, day: str) -> None:
    before = contents(lived)
    assert too_wide(run("log", "show", "--block", block, "--on", day, "--season", lived).output) == []
    assert contents(lived) == before


def test_the_ledger_shows_what_went_out_against_what_was_meant(run: Run, lived: Path) -> None:
    output = run("log", "show", "--block", "lane", "--on", "2026-04-17", "--season", lived).output
    rows = [line.split() for line in output.splitlines()]
    assert output.startswith("Block lane, lb N/ac, as of Fri 17 Apr 2026\n")
    assert any(
        row[:3] == ["4", "23", "Mar"] and row[4] == "0.00" and row[5].startswith("-") for row in rows if row
    )
    text = words(output)
    assert "credits 60.00 lb N/ac." in text
    assert "28 Mar: leaching rain (3.4 in. in two days)" in text
    assert "13 Apr: soil nitrate 26 ppm (quick test)" in text


def test_before_the_plan_begins_the_ledger_says_so(run: Run, lived: Path) -> None:
    output = run("log", "show", "--block", "lane", "--on", "2026-03-01", "--season", lived).output
    assert "The plan has not begun." in output


def test_a_week_with_nothing_logged_is_assumed(run: Run, fresh: Path) -> None:
    output = run("log", "show", "--block", "creek", "--on", "2026-03-16", "--season", fresh).output
    assert "nothing logged" in output
    assert "assumed for weeks with nothing logged 7.00" in words(output)


def test_the_ledger_for_machines(run: Run, lived: Path) -> None:
    data = json.loads(
        run("log", "show", "--block", "lane", "--on", "2026-04-17", "--season", lived, "--json").output
    )
    assert set(data) == {
        "block", "on", "unit", "weeks", "applications", "logged", "assumed", "credits", "observations",
    }  # fmt: skip
    assert (data["block"], data["on"], data["unit"], data["credits"]) == ("lane", "2026-04-17", "lb N/ac", 60)
    assert len(data["weeks"]) == 7
    for week in data["weeks"]:
        assert set(week) == {"week", "start", "meant", "applied", "difference", "logged"}
        assert week["difference"] == pytest.approx(week["applied"] - week["meant"])
    assert data["logged"] == pytest.approx(sum(item["n"] for item in data["applications"]))
    assert [item["kind"] for item in data["observations"]] == ["leaching rain", "waterlogged", "soil nitrate"]
