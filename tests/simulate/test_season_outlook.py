"""Simulated seasons from Python: what is checked before anything runs. Seasons are invented."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from fertadjust.api import Season, open_season
from fertadjust.errors import UserError
from fertadjust.shipped import folder


@pytest.fixture
def season(tmp_path: Path) -> Season:
    shutil.copy(folder("sample_data") / "strawberry" / "season.toml", tmp_path)
    return open_season(tmp_path)


@pytest.mark.parametrize(
    ("asked", "key"),
    [
        ({"seasons": 9}, "seasons"),
        ({"seasons": 100_001}, "seasons"),
        ({"seasons": 10.5}, "seasons"),
        ({"seasons": True}, "seasons"),
        ({"processes": 0}, "processes"),
        ({"seed": -1}, "seed"),
        ({"seed": 2**32}, "seed"),
        ({"tried": {"cross_check": {"nothing": "full"}}}, "cross_check.nothing"),
        ({"tried": {"confidence": 7.5}}, "confidence"),
        ({"scenario": "drought"}, "scenario"),
    ],
)
def test_what_cannot_be_run_is_told_before_anything_runs(
    season: Season, monkeypatch: pytest.MonkeyPatch, asked: dict[str, Any], key: str
) -> None:
    monkeypatch.setattr("fertadjust.simulate.runs.one_batch", pytest.fail)
    with pytest.raises(UserError) as caught:
        season.outlook("creek", **({"seasons": 10} | asked))
    (fault,) = caught.value.faults
    assert fault.key == key


def test_every_number_out_of_range_is_told_at_once(season: Season) -> None:
    with pytest.raises(UserError) as caught:
        season.outlook("creek", seasons=1, seed=-1, processes=0)
    assert [str(fault) for fault in caught.value.faults] == [
        "seasons: should be a whole number, from 10 to 100,000; found 1",
        "seed: should be a whole number, from 0 to 4,294,967,295; found -1",
        "processes: should be a whole number, 1 or more; found 0",
    ]


def test_it_can_be_read_as_the_description_says(season: Season) -> None:
    ahead = season.outlook("creek", seasons=10, seed=2**32 - 1, tried={"confidence": 0.9})
    rules, plan = ahead.run("rules"), ahead.run("plan")
    assert 0 <= rules.estimate("in_band").mean <= 1
    assert rules.beside(plan, "applied").seasons == 10
    assert ahead.run("tried").seasons == 10


def test_the_file_of_a_scenario_is_kept_with_what_is_found(season: Season, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('schema = 1\nextends = "usual"\nid = "own"\ntitle = "Ours."\n')
    origin = season.outlook("creek", seasons=10, scenario=str(own)).origin
    assert (origin.file, origin.extends) == ("own.toml", "usual")


GREENHOUSE = """
schema = 1
[farm]
name = "Glass Hill (invented)"
units = "us"
[crop]
name = "tomato"
system = "{system}"
region = "Florida"
rules = "florida-tomato"
[bands]
tables = ["{table}"]
[stages]
transplanting = 2026-03-02
first_flower = 2026-03-30
[plan]
start = 2026-03-02
weeks = 14
basis = "bed"
rate = 10.0
injections_per_week = 2
[bounds]
floor = 5.0
ceiling = 25.0
[blocks.glass]
name = "Glass"
row_length = 300
rows = 10
bed_top_width = 2.5
bed_spacing = 6
area_basis = "bed"
[[products]]
name = "calcium nitrate"
material = "calcium_nitrate"
grade = "15.5-0-0"
ca = 19
nitrate_n = 14.5
share = 1.0
"""


def tomato(where: Path, system: str, table: str) -> Season:
    (where / "season.toml").write_text(GREENHOUSE.format(system=system, table=table))
    return open_season(where)


def test_a_greenhouse_season_has_no_model_of_field_tomato(tmp_path: Path) -> None:
    glass = tomato(tmp_path, "greenhouse", "tomato-petiole-sap-florida-greenhouse")
    with pytest.raises(UserError) as caught:
        glass.outlook("glass", seasons=10)
    (fault,) = caught.value.faults
    assert fault.key == "crop.system"
    assert 'no crop model for tomato in "greenhouse"' in fault.message
    assert "tomato (Field tomato, drip-irrigated)" in fault.message and "strawberry (" in fault.message
    assert tomato(tmp_path, "field", "tomato-petiole-sap-florida").outlook("glass", seasons=10).seasons == 10
