"""A mix sheet as plain data in either unit system."""

from __future__ import annotations

import json

import pytest

from fertadjust.injection import Injecting, Pump, RatioInjector
from fertadjust.mix_sheet import MixSheet
from fertadjust.mix_sheet_data import Data, injector_words, mix_sheet_data
from fertadjust.stock import Tank
from fertadjust.units import HA_PER_ACRE, KG_HA_PER_LB_AC, KG_PER_LB, L_PER_GAL, UnitSystem
from tests.test_mix_sheet import APART, PLAIN, TIMING, TWELVE, sheet

US, METRIC = UnitSystem.US, UnitSystem.METRIC
HOW = Injecting(Tank(12.0, 0.5, 120.0), Pump(20.0), TIMING)


def data(found: MixSheet | None = None, how: Injecting = HOW, units: UnitSystem = US) -> Data:
    return mix_sheet_data(sheet(APART, injecting=how) if found is None else found, how, units)


def numbers(value: object) -> list[float]:
    """Every number in plain data, in order."""
    if isinstance(value, dict):
        return [number for item in value.values() for number in numbers(item)]
    if isinstance(value, list):
        return [number for item in value for number in numbers(item)]
    return [float(value)] if isinstance(value, int | float) else []


def test_everything_is_plain_data() -> None:
    for units in UnitSystem:
        found = data(units=units)
        assert json.loads(json.dumps(found)) == found


def test_the_week_and_the_block_say_what_is_fed() -> None:
    found = data()
    assert (found["week"], found["start"], found["end"]) == (4, "2026-03-23", "2026-03-29")
    assert found["blocks"] == [
        {"block": "creek", "name": "Creek side", "area": 2.0, "rate": 6.0, "week_n": 12.0},
    ]
    assert (found["week_n"], found["injections"]) == (12.0, 2)
    assert (found["tank"], found["solubility_share"]) == (120.0, 0.5)
    assert found["water_temperature"] == pytest.approx(53.6)


def test_tanks_hold_weights_volumes_and_the_label() -> None:
    [feed] = data()["feeds"]
    calcium, sulfate = feed["tanks"]
    assert [(item["product"], item["grade"]) for item in calcium["products"]] == [
        ("calcium nitrate", "15-0-0"),
        ("potassium nitrate", "12.5-0-44"),
    ]
    assert [item["weight"] for item in calcium["products"]] == pytest.approx([20.0, 24.0])
    assert (sulfate["tank"], sulfate["least"], sulfate["volume"]) == ("B", pytest.approx(5.0), pytest.approx(58.0))
    assert (feed["count"], feed["in_a_fill"], feed["fills"]) == (2, 2, 1)


def test_nutrients_of_an_injection_are_named_as_they_are_written_and_only_those_there_are() -> None:
    [feed] = data()["feeds"]
    assert feed["nutrients"] == pytest.approx(
        {"N": 6.0, "K2O": 24 * 0.44, "Ca": 20 * 0.19, "Mg": 5 * 0.099, "S": 5 * 0.13}
    )


def test_a_run_says_its_times() -> None:
    [run] = data()["feeds"][0]["runs"]
    assert (run["zone"], run["name"]) == ("creek", "Creek side")
    assert (run["minutes"], run["least_set_minutes"]) == (pytest.approx(174.0), pytest.approx(214.0))
    assert (run["pressure_minutes"], run["travel_minutes"], run["flush_minutes"]) == (20.0, 20.0, 20.0)
    assert (run["set_minutes"], run["n_per_minute"]) == (None, pytest.approx(6 / 174))


def test_metric_data_are_the_same_amounts_in_metric_units() -> None:
    us, metric = data(), data(units=METRIC)
    assert metric["units"] == {
        "rate": "kg N/ha/week",
        "weight": "kg",
        "volume": "L",
        "area": "ha",
        "flow": "L/h",
        "temperature": "°C",
        "strength": "kg/L",
    }
    [block] = metric["blocks"]
    assert (block["area"], block["rate"]) == (pytest.approx(2 * HA_PER_ACRE), pytest.approx(6 * KG_HA_PER_LB_AC))
    assert block["week_n"] == pytest.approx(block["area"] * block["rate"])
    assert metric["water_temperature"] == 12.0
    assert metric["tank"] == pytest.approx(120 * L_PER_GAL)
    pairs = list(zip(us["feeds"][0]["tanks"], metric["feeds"][0]["tanks"], strict=True))
    for ours, theirs in pairs:
        assert theirs["volume"] == pytest.approx(ours["volume"] * L_PER_GAL)
        for one, other in zip(ours["products"], theirs["products"], strict=True):
            assert other["weight"] == pytest.approx(one["weight"] * KG_PER_LB)
    for key, weight in us["feeds"][0]["nutrients"].items():
        assert metric["feeds"][0]["nutrients"][key] == pytest.approx(weight * KG_PER_LB)
    ours, theirs = us["feeds"][0]["runs"][0], metric["feeds"][0]["runs"][0]
    assert theirs["water"] == pytest.approx(ours["water"] * L_PER_GAL)
    assert (theirs["ppm"], theirs["minutes"]) == (ours["ppm"], ours["minutes"])


def test_what_is_not_known_is_none() -> None:
    how = Injecting(None, None, TIMING)
    found = data(sheet(PLAIN, injecting=how), how)
    assert (found["injector"], found["water_temperature"], found["solubility_share"], found["tank"]) == (None,) * 4
    [feed] = found["feeds"]
    assert (feed["in_a_fill"], feed["fills"]) == (None, None)
    assert (feed["tanks"][0]["least"], feed["tanks"][0]["volume"]) == (None, None)
    run = feed["runs"][0]
    assert {run[key] for key in ("stock", "minutes", "n_per_minute", "water", "ppm", "least_set_minutes")} == {
        None
    }


def test_every_number_is_finite() -> None:
    found = numbers(data())
    assert len(found) > 30
    assert all(abs(number) < 1e9 for number in found)


def test_notes_and_cautions_come_along_with_their_sources() -> None:
    how = Injecting(Tank(12.0, 0.5, 120.0), Pump(20.0), TIMING, tanks=1)
    found = data(sheet(APART, injecting=how), how)
    assert any("rinse" in note for note in found["notes"])
    assert found["cautions"]
    assert all(set(item) == {"text", "source", "evidence"} and item["text"] for item in found["cautions"])
    assert any("UC-MICRO" in item["source"] and "calcium" in item["text"] for item in found["cautions"])


@pytest.mark.parametrize(
    ("injector", "units", "words"),
    [
        (None, US, None),
        (Pump(20.0), US, "pump at 20 gal/h from each tank"),
        (Pump(METRIC.volume_in(120.0)), METRIC, "pump at 120 L/h from each tank"),
        (RatioInjector(100.0), US, "proportional injector at 1:100"),
        (RatioInjector(128.0), METRIC, "proportional injector at 1:128"),
    ],
)
def test_the_injector_in_words(
    injector: Pump | RatioInjector | None, units: UnitSystem, words: str | None
) -> None:
    assert injector_words(Injecting(TWELVE, injector), units) == words
