"""Simulated seasons as data: the numbers of the words, whole and readable again. Seasons are invented."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fertadjust import __version__
from fertadjust import simulation_words as words
from fertadjust.evidence import split_sources
from fertadjust.shipped import citations_for
from fertadjust.simulate.measures import MEASURES
from fertadjust.simulate.outlook import PLAN, RULES, TRIED, Outlook, outlook
from fertadjust.simulate.scenario import Origin, Scenario
from fertadjust.simulation_data import SCHEMA, outlook_data
from fertadjust.simulation_files import crop_model
from fertadjust.units import UnitSystem
from tests.simulate.support import georgia, scenario, strawberry

US, METRIC = UnitSystem.US, UnitSystem.METRIC
WEEKS = 14
PLANNED = (5.25,) * WEEKS


def simulated(seed: int | None = None) -> Outlook:
    """Two weeks more than the table has bands for."""
    base = georgia(PLANNED, cap=130.0)
    return outlook(base, strawberry(), scenario("usual"), 20, seed, tried={"confidence": 0.6})


def of(found: Outlook, units: UnitSystem = US) -> dict[str, Any]:
    cited = citations_for([figure.source for figure in found.setup.model.figures.values()])
    data: dict[str, Any] = json.loads(json.dumps(outlook_data(found, units, cited), allow_nan=False))
    return data


@pytest.fixture(scope="module")
def found() -> Outlook:
    return simulated()


@pytest.fixture(scope="module")
def data(found: Outlook) -> dict[str, Any]:
    return of(found)


def test_the_data_say_what_they_are(data: dict[str, Any]) -> None:
    assert data["schema"] == SCHEMA == 1
    assert data["what"].startswith("A model, not a forecast")
    assert (data["block"], data["seasons"], data["seed"]) == ("north", 20, 1)
    assert data["program"] == f"fertadjust {__version__}"
    assert data["mind"] is None
    assert words.ROUGH in data["limits"]
    assert "With what was tried it was " in data["headline"]
    assert "lie below" in data["shares"]
    assert data["units"] == {"rate": "lb N/ac/week", "total": "lb N/ac", "petiole": "ppm"}
    assert set(strawberry().tells_not) <= set(data["limits"])


def test_figures_of_the_scenario_say_what_they_are_in(data: dict[str, Any]) -> None:
    parts = {
        f"{part}.{name}" for part, value in data["scenario"].items() if isinstance(value, dict) for name in value
    }
    assert set(data["scenario_units"]) == parts
    assert data["scenario"]["sampling"]["first_day"] == 9
    assert "0 being the plan's first day" in data["scenario_units"]["sampling.first_day"]
    assert data["first_sample"] == {"day_of_plan": 10, "date": "2026-03-11"}
    assert (data["scenario_file"], data["scenario_extends"], data["sampled_instead"]) == (None, None, None)


def test_where_the_scenario_comes_from_is_told(found: Outlook) -> None:
    own = of(replace(found, origin=Origin("own.toml", "usual", "weekly")))
    assert (own["scenario_file"], own["scenario_extends"]) == ("own.toml", "usual")
    assert own["sampled_instead"] == "weekly"


def test_what_a_model_has_to_say_first_is_told(found: Outlook) -> None:
    tomato = of(replace(found, setup=replace(found.setup, model=crop_model("tomato"))))
    assert tomato["mind"] == crop_model("tomato").first
    assert tomato["model"]["figures"]["half_uptake"]["name"] == "soil at half the uptake"


def test_scenario_and_model_can_be_read_again(data: dict[str, Any]) -> None:
    assert Scenario.model_validate(data["scenario"]) == scenario("usual")
    figures = data["model"]["figures"]
    assert set(figures) == set(strawberry().figures)
    for name, figure in strawberry().figures.items():
        assert figures[name]["source"] == figure.source
        assert figures[name]["evidence"] == figure.evidence.value
        assert (figures[name]["low"], figures[name]["high"]) == (figure.low, figure.high)
        assert set(split_sources(figure.source)) <= set(data["citations"])


@pytest.mark.parametrize("units", [US, METRIC])
def test_the_numbers_are_those_of_the_words(found: Outlook, units: UnitSystem) -> None:
    rows = words.table(found, units)[1]
    for item, measure, row in zip(of(found, units)["measures"], MEASURES, rows, strict=True):
        assert item["name"] == measure.name
        assert item["unit"] == words.unit_words(measure, units)
        unit = "points" if item["unit"] == "%" else item["unit"]
        assert [other["unit"] for other in item["differences"]] == [unit, unit]
        digits = len(row[1].partition(".")[2])
        assert row[1:4] == [f"{item['ways'][way]['mean']:.{digits}f}" for way in (PLAN, RULES, TRIED)]
        rules, tried = item["differences"]
        assert (rules["way"], rules["than"]) == (RULES, PLAN)
        assert (tried["way"], tried["than"]) == (TRIED, RULES)
        assert rules["clear"] is row[4].startswith(("+", "-"))
        assert rules["clear"] is (rules["low"] > 0 or rules["high"] < 0)


def test_differences_are_taken_season_by_season(found: Outlook, data: dict[str, Any]) -> None:
    paired = found.run(RULES).measures["return"] - found.run(PLAN).measures["return"]
    [item] = [item for item in data["measures"] if item["name"] == "return"]
    assert item["differences"][0]["n"] == np.isfinite(paired).sum()
    assert item["differences"][0]["mean"] == pytest.approx(np.nanmean(paired))
    assert item["ways"][PLAN]["n"] == np.isfinite(found.run(PLAN).measures["return"]).sum()


def test_what_is_not_known_is_null(found: Outlook) -> None:
    never = np.full(20, math.nan)
    runs = tuple(replace(run, measures=run.measures | {"return": never}) for run in found.runs)
    [item] = [item for item in of(replace(found, runs=runs))["measures"] if item["name"] == "return"]
    assert item["ways"][RULES] == {"mean": None, "low": None, "high": None, "n": 0}
    assert item["differences"][0] == {
        "way": RULES, "than": PLAN, "mean": None, "low": None, "high": None, "n": 0, "unit": "weeks",
        "clear": False,
    }  # fmt: skip


def test_the_band_is_null_where_the_table_has_none(data: dict[str, Any]) -> None:
    """UGA-2021: 600 to 1,500 ppm in the first week from bloom; the calendar ends after its 12th."""
    petiole = data["petiole"]
    assert len(petiole["days"]) == len(petiole["band"]["low"]) == 7 * WEEKS
    assert (petiole["days"][0], petiole["band"]["low"][0], petiole["band"]["high"][0]) == ("2026-03-02", 600, 1500)
    assert petiole["band"]["low"][83] is not None
    assert petiole["band"]["low"][84:] == [None] * 14
    for way in petiole["ways"].values():
        assert all(row[84:] == [None] * 14 and None not in row[:84] for row in way.values())
    assert data["weeks_with_band"] == 12


def test_spreads_are_quantiles_of_the_seasons(found: Outlook, data: dict[str, Any]) -> None:
    for run in found.runs:
        days = data["petiole"]["ways"][run.name]
        assert list(days) == ["0.05", "0.25", "0.5", "0.75", "0.95"]
        assert days["0.5"][40] == pytest.approx(np.median(run.value[40]))
        assert days["0.95"][40] == pytest.approx(np.quantile(run.value[40], 0.95))
        assert all(low <= high for low, high in zip(days["0.05"][:84], days["0.25"][:84], strict=True))
        weeks = data["rates"]["ways"][run.name]
        assert weeks["0.5"][5] == pytest.approx(np.median(run.rate[5]))
    assert data["rates"]["ways"][PLAN]["0.05"] == pytest.approx(PLANNED)
    assert data["rates"]["weeks"][1] == "2026-03-09"


def test_amounts_are_in_the_units_of_the_season(found: Outlook, data: dict[str, Any]) -> None:
    """1 lb/ac is 1.120851 kg/ha, from the exact definitions of pound and acre."""
    metric = of(found, METRIC)
    assert metric["units"] == {"rate": "kg N/ha/week", "total": "kg N/ha", "petiole": "ppm"}
    assert metric["rates"]["unit"] == "kg N/ha/week"
    for key in ("floor", "ceiling", "season_cap"):
        assert metric["plan"][key] == pytest.approx(1.120851 * data["plan"][key], rel=1e-6)
    assert metric["rates"]["ways"][RULES]["0.95"][6] == pytest.approx(
        1.120851 * data["rates"]["ways"][RULES]["0.95"][6], rel=1e-6
    )
    assert metric["petiole"] == data["petiole"]


def test_a_plan_without_a_cap_has_none() -> None:
    bare = outlook(georgia(), strawberry(), scenario("calm"), 10)
    found = of(bare)
    assert found["plan"]["season_cap"] is None
    [passed] = [item for item in found["measures"] if item["name"] == "over_cap"]
    assert passed["ways"][RULES]["mean"] is None and passed["differences"][0]["mean"] is None
    assert passed["differences"][0]["clear"] is False
    assert found["plan"]["per"] == "acre of bed top"
    assert found["policy"]["tried"] == []
    assert list(found["measures"][0]["ways"]) == [PLAN, RULES]


def test_what_is_tried_is_named_with_what_it_replaces(data: dict[str, Any]) -> None:
    assert data["policy"] == {
        "id": "strawberry-annual-plasticulture",
        "own_values": [],
        "tried": [{"name": "confidence", "value": 0.6, "instead_of": 0.8, "unit": "probability"}],
    }


def test_the_same_seed_gives_the_same_and_another_does_not(data: dict[str, Any]) -> None:
    assert of(simulated()) == data
    assert of(simulated(seed=2))["measures"] != data["measures"]
