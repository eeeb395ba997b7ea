"""The sample season, lived day by day: every rule gets its turn, and three blocks meet three fates."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fertadjust import demo
from fertadjust.api import Season
from fertadjust.errors import UserError
from fertadjust.rules.engine import RULES
from fertadjust.rules.facts import Action
from fertadjust.season_file import SEASON_FILE
from fertadjust.shipped import folder
from tests.support import policy

Lived = tuple[Season, list[demo.Step]]


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Lived:
    season = demo.build(tmp_path_factory.mktemp("farm") / "season")
    return season, list(demo.replay(season))


def advised(lived: Lived, block: str | None = None) -> list[tuple[date, dict[str, Any]]]:
    season, steps = lived
    return [(step.on, season.advised(step.record)) for step in steps if block in (None, step.block)]


def test_the_sample_season_is_the_shipped_plan(tmp_path: Path) -> None:
    season = demo.build(tmp_path / "farm")
    shipped = (folder("sample_data") / "strawberry" / SEASON_FILE).read_text(encoding="utf-8")
    assert season.file.text == shipped
    assert season.blocks == ["creek", "hill", "lane"]
    assert "invented" in season.file.farm


def test_the_sample_season_is_not_built_over_another(tmp_path: Path) -> None:
    demo.build(tmp_path)
    with pytest.raises(UserError, match="stands already"):
        demo.build(tmp_path)


def test_every_rule_but_the_recalled_band_fires_in_some_decision(lived: Lived) -> None:
    fired = {line["rule"] for _, data in advised(lived) for line in data["trace"] if line["fired"]}
    wanted = {name for _, name, _ in RULES} - {"recalled band"}
    wanted |= {rule.id.replace("-", " ") for rule in policy().companions}
    assert wanted - fired == set()


def test_every_rule_but_the_review_date_stays_quiet_in_some_decision(lived: Lived) -> None:
    quiet = {line["rule"] for _, data in advised(lived) for line in data["trace"] if not line["fired"]}
    wanted = {name for _, name, _ in RULES} - {"review date"}
    assert wanted - quiet == set()


def test_raises_holds_and_cuts_all_occur(lived: Lived) -> None:
    assert {data["action"] for _, data in advised(lived)} == {action.value for action in Action}


def test_creek_runs_low_is_raised_and_comes_back_into_its_band(lived: Lived) -> None:
    decisions = advised(lived, "creek")
    raised = [on for on, data in decisions if data["action"] == "raise"]
    assert raised
    low = next(data for on, data in decisions if on == raised[0])
    assert low["result"]["status"] == "low"
    back = [on for on, data in decisions if on > raised[0] and data["result"]["status"] == "sufficient"]
    assert back and back[0] > raised[0]
    season, _ = lived
    factors = {item.on: item.factor for item in season.decisions("creek")}
    assert factors[raised[0]] > 1.0
    assert 1.0 <= factors[decisions[-1][0]] < factors[raised[0]]


def test_hill_runs_high_and_is_cut_at_least_twice(lived: Lived) -> None:
    cuts = [data for _, data in advised(lived, "hill") if data["action"] == "cut"]
    assert len(cuts) >= 2
    assert all(data["result"]["status"] == "high" for data in cuts)
    factors = [data["factor"] for data in cuts]
    assert factors == sorted(factors, reverse=True) and factors[0] < 1.0
    for data in cuts:
        (line,) = [line for line in data["trace"] if line["rule"] == "cut"]
        assert line["evidence"] == "project rule" and "own rule" in line["why"]


def test_lane_is_confusing_and_is_never_changed(lived: Lived) -> None:
    season, _ = lived
    assert {data["action"] for _, data in advised(lived, "lane")} == {"hold"}
    plan = season.block("lane").plan
    for item in season.decisions("lane"):
        assert item.factor == 1.0
        assert all(rate == plan.rates_lb_ac[week - 1] for week, rate in item.rates_lb_ac.items())
    reasons = {line["rule"] for _, data in advised(lived, "lane") for line in data["trace"] if line["fired"]}
    assert {"stage in doubt", "missed applications", "roots in trouble", "soil nitrate", "stale"} <= reasons


def test_every_stored_decision_derives_again_to_the_same_advice(lived: Lived) -> None:
    season, steps = lived
    for step in steps:
        assert season.derive_again(step.record) == season.advised(step.record), step


def test_looking_back_from_the_end_every_day_still_gets_the_advice_it_got(lived: Lived) -> None:
    season, steps = lived
    for step in steps:
        then, now = season.advised(step.record), season.advice_data(step.block, step.on)
        weeks = {"weeks"}  # these show the decided rates once a decision was made
        assert {key: then[key] for key in set(then) - weeks} == {key: now[key] for key in set(now) - weeks}, step


def test_the_rates_that_were_decided_stay_within_the_bounds_of_the_farm(lived: Lived) -> None:
    season, _ = lived
    for block in season.blocks:
        plan = season.block(block).plan
        for item in season.decisions(block):
            for rate in item.rates_lb_ac.values():
                assert plan.floor_lb_ac - 1e-9 <= rate <= plan.ceiling_lb_ac + 1e-9


def test_every_kind_of_choice_is_made(lived: Lived) -> None:
    season, steps = lived
    assert len(season.decisions()) == len(steps)
    assert {item.choice for item in season.decisions()} == {"accept", "change", "leave"}
    assert all(item.reason for item in season.decisions() if item.choice != "accept")


def test_corrections_leave_the_first_entry_on_record(lived: Lived) -> None:
    season, _ = lived
    results = [item.value for item in season.block("creek").results if item.analyte == "NO3-N"]
    assert 1050 in results and 10_500 not in results
    everything = [
        item.content["value"] for item in season.records.all() if item.content and "value" in item.content
    ]
    assert 10_500 in everything


def test_the_replay_is_the_same_each_time(lived: Lived, tmp_path: Path) -> None:
    season, steps = lived
    again = demo.build(tmp_path / "again")
    repeated = list(demo.replay(again))
    assert repeated == steps
    last = steps[-1].record
    assert again.advised(last) == season.advised(last)
