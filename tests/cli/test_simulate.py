"""``simulate``: the sample season's plan and rules on simulated seasons. All seasons are invented."""

from __future__ import annotations

import io
import json
import re
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from fertadjust.cli import simulate as command
from fertadjust.errors import UserError
from fertadjust.shipped import folder
from fertadjust.simulation_files import crop_models, scenarios
from tests.cli.conftest import Refused, Run, contents, too_wide

Args = tuple[object, ...]
FEW: Args = ("simulate", "--block", "creek", "--seasons", "20", "--processes", "1")


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def asked(run: Run, fresh: Path) -> Any:
    """Run the command on the sample season's plan, few seasons of it."""

    def call(*args: object) -> Result:
        return run(*FEW, "--season", fresh, *args)

    return call


@pytest.fixture
def not_asked(refused: Refused, fresh: Path) -> Any:
    """The same where it has to be refused."""

    def call(*args: object) -> str:
        return words(refused(*FEW, "--season", fresh, *args))

    return call


# --- what is printed ----------------------------------------------------------------------------------------


def test_the_outlook_is_told_in_words(asked: Any, fresh: Path) -> None:
    before = contents(fresh)
    result = asked("--full")
    text = words(result.stdout)
    assert too_wide(result.stdout) == []
    assert result.stderr == ""
    assert result.stdout.startswith("Creek side: 20 simulated seasons\nA model, not a forecast: ")
    assert "the rules kept the crop in its band in" in text
    assert "mean of a season plan rules rules less plan" in text
    assert "nitrogen fed, lb N/ac" in text
    assert "what is recorded plays no part" in text
    assert scenarios()["usual"].title in text
    model = crop_models()["strawberry"]
    assert all(words(sentence) in text for sentence in model.tells_not)
    assert all(words(figure.meaning) in text for figure in model.figures.values())
    assert "Demand at the peak, 0.981 to 1.07 lb/ac/day: " in text
    assert "rates per acre of bed top" in text
    assert "intervals of so few are rough" in text
    assert "BOTTOMS-2013: Bottoms T.G." in text
    short = asked().stdout
    assert "With --full: what the seasons differ in" in words(short)
    assert result.stdout.startswith(short.rpartition("\n\n")[0])
    assert contents(fresh) == before


def test_the_same_seed_gives_the_same_and_another_does_not(asked: Any) -> None:
    assert asked().stdout == asked("--seed", 1).stdout
    assert asked("--seed", 2).stdout != asked().stdout


def test_processors_change_nothing(run: Run, fresh: Path) -> None:
    """More seasons than one batch holds."""
    args = ("simulate", "--block", "creek", "--seasons", 130, "--season", fresh, "--json", "--processes")
    assert run(*args, 1).stdout == run(*args, 2).stdout


def test_records_play_no_part(run: Run, fresh: Path, lived: Path) -> None:
    assert run(*FEW, "--season", lived).stdout == run(*FEW, "--season", fresh).stdout


def test_the_numbers_for_machines_are_those_of_the_words(asked: Any) -> None:
    result = asked("--json")
    assert result.stderr == ""
    data = json.loads(result.stdout, parse_constant=pytest.fail)
    text = words(asked().stdout)
    assert data["seasons"] == 20
    assert words(data["headline"]) in text
    fed = next(item for item in data["measures"] if item["name"] == "applied")
    plan, rules = (f"{fed['ways'][way]['mean']:.1f}" for way in ("plan", "rules"))
    assert f"nitrogen fed, lb N/ac {plan} {rules} " in text
    assert "BOTTOMS-2013" in data["citations"]


def test_a_scenario_is_named_or_read_from_a_file(asked: Any, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('schema = 1\nid = "own"\ntitle = "Our spring."\nseed = 7\n[feeding]\nmissed = 0.3\n')
    text = words(asked("--full", "--scenario", own).stdout)
    assert "scenario own (file own.toml), seed 7." in text and "Our spring." in text
    assert "30 % of the injections are left out" in text
    assert "seed 9." in words(asked("--scenario", own, "--seed", 9).stdout)
    assert scenarios()["rough"].title in words(asked("--scenario", "rough").stdout)


@pytest.mark.parametrize(
    ("every", "named", "said", "stored"),
    [
        ("weekly", "usual", "Samples: every 7 days", 7),
        ("fortnightly", "weekly", "Samples: every 14 days", 14),
        ("advised", "weekly", "Samples: on the days that the rules ask for", "as advised"),
    ],
)
def test_sampling_may_be_set_apart_from_the_scenario(
    asked: Any, every: str, named: str, said: str, stored: Any
) -> None:
    given = ("--scenario", named, "--every", every)
    text = words(asked("--full", *given).stdout)
    told = "as advised" if every == "advised" else every
    assert said in text and f"Sampled {told} instead." in text
    data = json.loads(asked(*given, "--json").stdout)
    assert data["scenario"]["sampling"]["every"] == stored
    assert data["scenario"]["title"] == scenarios()[named].title
    assert data["sampled_instead"] == told


def test_sampling_as_often_as_the_scenario_does_anyway_is_none_apart_from_it(asked: Any) -> None:
    assert asked("--scenario", "weekly", "--every", "weekly").stdout == asked("--scenario", "weekly").stdout


def test_weekly_sampling_is_that_of_the_scenario_by_that_name(asked: Any) -> None:
    measures = [
        json.loads(asked(*args, "--json").stdout)["measures"]
        for args in (("--scenario", "weekly"), ("--every", "weekly"), ())
    ]
    assert measures[0] == measures[1] != measures[2]


def test_the_list_names_scenarios_and_crops(run: Run) -> None:
    output = run("simulate", "--list").output
    text = words(output)
    assert too_wide(output) == []
    assert all(f"{name}: {words(item.title)}" in text for name, item in scenarios().items())
    assert all(f"{crop}: {words(item.title)}" in text for crop, item in crop_models().items())
    data = json.loads(run("simulate", "--list", "--json").output)
    assert data["schema"] == 1
    assert [item["id"] for item in data["scenarios"]] == list(scenarios())
    assert [item["crop"] for item in data["crops"]] == list(crop_models())


def test_the_list_takes_no_other_options(run: Run, refused: Refused, monkeypatch: pytest.MonkeyPatch) -> None:
    told = refused("simulate", "--list", "--seasons", 40, "--chart", "a.png", "--full")
    for name in ("--seasons", "--chart", "--full"):
        assert f"Error: {name}: has no effect beside --list; leave it out" in told
    assert "--json" not in told and "--seed" not in told
    monkeypatch.setenv("FERTADJUST_SEASON", "somewhere")
    run("simulate", "--list", "--json")


def test_a_file_that_builds_on_a_scenario_is_told_as_such(asked: Any, not_asked: Any, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    text = 'schema = 1\nextends = "usual"\n[feeding]\nmissed = 0.3\n'
    own.write_text(text)
    told = not_asked("--scenario", own)
    assert "own.toml, id: is missing" in told and "own.toml, title: is missing" in told
    own.write_text(f'id = "usual"\ntitle = "Ours."\n{text}')
    assert 'own.toml, line 1, id: "usual" is the name of a scenario that ships' in not_asked("--scenario", own)
    own.write_text(f'id = "ours"\ntitle = "Ours."\n{text}')
    assert "scenario ours (file own.toml, on usual), seed 1. Ours." in words(asked("--scenario", own).stdout)
    data = json.loads(asked("--scenario", own, "--json").stdout)
    assert (data["scenario_file"], data["scenario_extends"]) == ("own.toml", "usual")


def test_a_plan_without_a_cap_says_so(asked: Any, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(re.sub(r"(?m)^season_cap = .*\n", "", path.read_text()))
    text = words(asked().stdout)
    assert "no cap is set" in text and "Not counted, no cap is set: seasons that pass the season cap." in text
    data = json.loads(asked("--json").stdout)
    [passed] = [item for item in data["measures"] if item["name"] == "over_cap"]
    assert passed["ways"]["rules"]["mean"] is None


# --- what is tried ------------------------------------------------------------------------------------------


def test_values_are_tried_beside_the_seasons_own(asked: Any) -> None:
    result = asked("--try", "confidence = 0.6", "--try", "after_recovery=keep", "--try", "recalled_may_cut=true")
    text = words(result.stdout)
    assert too_wide(result.stdout) == []
    assert "confidence = 0.6 probability instead of 0.8 probability; after_recovery = keep instead of ease" in text
    assert "recalled_may_cut = yes instead of no" in text
    assert "plan rules tried rules less plan" in text
    assert "mean of a season tried less rules" in text
    assert "What was tried beside the season's own rules" in text


def test_what_is_tried_does_not_touch_the_plan_and_the_rules(asked: Any) -> None:
    alone, tried = (json.loads(asked(*args, "--json").stdout) for args in ((), ("--try", "confidence=0.6")))
    for one, other in zip(alone["measures"], tried["measures"], strict=True):
        assert one["ways"] == {way: other["ways"][way] for way in ("plan", "rules")}
    assert any(item["ways"]["tried"] != item["ways"]["rules"] for item in tried["measures"])


def test_the_seasons_own_values_are_the_rules_and_are_told(run: Run, fresh: Path) -> None:
    args = (*FEW, "--season", fresh)
    shipped = json.loads(run(*args, "--try", "confidence=0.6", "--json").stdout)
    path = fresh / "season.toml"
    path.write_text(path.read_text() + '\n[policy]\nconfidence = { value = 0.6, reason = "bolder" }\n')
    own = json.loads(run(*args, "--json").stdout)
    for one, other in zip(shipped["measures"], own["measures"], strict=True):
        assert one["ways"]["tried"] == other["ways"]["rules"]
    text = words(run(*args, "--try", "confidence=0.9").stdout)
    assert "Your own rule value: confidence = 0.6 probability instead of 0.8 probability (bolder)." in text
    assert "Tried: confidence = 0.9 probability instead of 0.6 probability." in text


def test_a_row_of_the_cross_check_table_can_be_tried(asked: Any) -> None:
    data = json.loads(asked("--try", "cross_check.low-leaf-sufficient=full", "--json").stdout)
    [tried] = data["policy"]["tried"]
    assert (tried["name"], tried["value"]) == ("cross_check.low-leaf-sufficient", "full")


@pytest.mark.parametrize(
    ("tried", "said"),
    [
        ("confidenc=0.9", '--try confidenc: "confidenc" is no policy value; did you mean confidence? '),
        ("foo=1", "All of them: fertadjust rules show strawberry-annual-plasticulture"),
        ("confidence=0.8", "--try confidence: that is its value already, so there is nothing to try"),
        ("confidence", "write it as name=value, for example confidence=0.9"),
        ("confidence=", "write it as name=value"),
        ("confidence=1.5", "--try confidence: 1.5 is outside 0.5 to 0.999 probability"),
        ("confidence=0,9", '--try confidence: should be a number; found "0,9"'),
        ("confidence=nan", "--try confidence: should be a number; found nan"),
        ("cut_first=0.9", "--try cut_first: cut_first 0.9 is above cut_largest 0.25"),
        ("sample_days=7.5", "7.5 should be a whole number of days"),
        ("after_recovery=wait", "--try after_recovery: should be 'keep', 'ease' or 'plan'; found 'wait'"),
        ("floor=2", "floor and ceiling are set under [bounds]"),
        ("corrective_most=20", '"corrective_most" is no policy value'),
        ("cross_check.nothing=full", '"cross_check.nothing" is no policy value'),
        (
            "cross_check.low-leaf-sufficient=most",
            "--try cross_check.low-leaf-sufficient: should be 'full', 'half' or 'hold'",
        ),
    ],
)
def test_a_value_that_cannot_be_tried_is_told(not_asked: Any, tried: str, said: str) -> None:
    assert said in not_asked("--try", tried)


def test_every_value_that_cannot_be_tried_is_told(not_asked: Any) -> None:
    told = not_asked("--try", "a=1", "--try", "b=2", "--try", "confidence=0.7", "--try", "confidence=0.8")
    assert '"a" is no policy value' in told and '"b" is no policy value' in told
    assert "--try confidence=0.8: is given twice; give it once" in told


# --- metric -------------------------------------------------------------------------------------------------


@pytest.fixture
def metric(fresh: Path) -> Path:
    """The sample plan, its numbers read as metric, under rules that have an amount of nitrogen per area."""
    path = fresh / "season.toml"
    text = path.read_text().replace('units = "us"', 'units = "metric"')
    region = 'region = "US Southeast"\n'
    path.write_text(text.replace(region, f'{region}rules = "florida-strawberry"\n'))
    return fresh


def test_a_metric_season_is_told_in_its_units(run: Run, metric: Path) -> None:
    output = run(*FEW, "--season", metric).stdout
    assert too_wide(output) == []
    assert "nitrogen fed, kg N/ha" in output and "lb N/ac" not in output
    full = words(run(*FEW, "--season", metric, "--full").stdout)
    assert "Demand at the peak, 1.1 to 1.2 kg/ha/day: " in full
    assert "Nitrogen in the bed at the start, 12 to 36 kg/ha: " in full
    assert "rates per hectare of bed top" in full
    assert json.loads(run(*FEW, "--season", metric, "--json").stdout)["plan"]["ceiling"] == pytest.approx(7.0)


def test_an_amount_is_tried_in_the_units_of_the_season(run: Run, metric: Path) -> None:
    """UF-HS906, recalled: 7 x 2.0 = 14 lb/ac, which is 15.69 kg/ha."""
    text = words(run(*FEW, "--season", metric, "--try", "corrective_most=20").stdout)
    assert "corrective_most = 20 kg N/ha in all instead of 15.69 kg N/ha in all" in text


# --- the chart ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "begins"), [("a.png", b"\x89PNG\r\n"), ("pages/a.svg", b"<?xml"), ("a.pdf", b"%PDF-")]
)
def test_a_chart_is_written_as_its_name_says(asked: Any, tmp_path: Path, name: str, begins: bytes) -> None:
    assert asked("--chart", name).stdout.endswith(f"\nWrote {name}\n")
    assert (tmp_path / name).read_bytes().startswith(begins)


def test_a_chart_beside_data_leaves_the_data_whole(asked: Any, tmp_path: Path) -> None:
    json.loads(asked("--chart", "a.png", "--json").stdout)
    assert (tmp_path / "a.png").exists()


@pytest.mark.parametrize("name", ["a.gif", "a", "png"])
def test_a_chart_of_another_kind_is_refused_before_anything_is_simulated(
    not_asked: Any, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr("fertadjust.simulate.outlook.outlook", pytest.fail)
    assert f'"{name}": a chart is written as .png, .svg, .pdf; use one of these' in not_asked("--chart", name)


@pytest.mark.parametrize("name", ["pages/a.png", "folder.png", "/proc/a.png"])
def test_a_place_that_cannot_be_written_is_told_before_anything_is_simulated(
    not_asked: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str
) -> None:
    """A file in place of a folder, a folder in place of a file, a folder that takes no file."""
    (tmp_path / "pages").write_text("not a folder")
    (tmp_path / "folder.png").mkdir()
    monkeypatch.setattr("fertadjust.simulate.outlook.outlook", pytest.fail)
    assert f"{name}: cannot be written: " in not_asked("--chart", name)


@pytest.mark.parametrize(("args", "begins"), [((), "Creek side: 20"), (("--json",), "{")])
def test_what_was_found_is_shown_even_where_the_chart_fails_at_last(
    run: Run, fresh: Path, monkeypatch: pytest.MonkeyPatch, args: tuple[str, ...], begins: str
) -> None:
    def full(*_: object) -> None:
        raise UserError("cannot be written: No space left on device")

    monkeypatch.setattr("fertadjust.charts.save_figure", full)
    result = run(*FEW, "--season", fresh, "--chart", "a.png", *args, code=2)
    assert result.stdout.startswith(begins)
    assert "nitrogen fed" in result.stdout and "Wrote" not in result.stdout
    assert "No space left on device" in result.stderr


def test_a_run_that_is_broken_off_leaves_no_file(
    run: Run, fresh: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    before = contents(tmp_path)
    monkeypatch.setattr("fertadjust.simulate.runs.one_batch", broken)
    result = run(*FEW, "--season", fresh, "--chart", "a.png", code=1)
    assert result.stdout == "" and "Aborted" in result.stderr
    assert contents(tmp_path) == before


# --- what is refused ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", ["9", "100001", "0", "ten"])
def test_seasons_out_of_range_are_refused(run: Run, fresh: Path, count: str) -> None:
    told = run("simulate", "--season", fresh, "--block", "creek", "--seasons", count, code=2).stderr
    assert "Error: Invalid value for '--seasons'" in told


@pytest.mark.parametrize(
    "args", [("--every", "daily"), ("--seed", "-1"), ("--processes", "0"), ("--block",)], ids=" ".join
)
def test_options_that_cannot_be_understood_are_refused(run: Run, fresh: Path, args: tuple[str, ...]) -> None:
    assert "Error: " in run("simulate", "--season", fresh, *args, code=2).stderr


def test_an_unknown_scenario_is_told_with_those_there_are(not_asked: Any) -> None:
    told = not_asked("--scenario", "drought")
    assert '"drought" is no scenario; there are ' in told
    assert all(name in told for name in scenarios())
    assert "nowhere.toml: there is no such file" in not_asked("--scenario", "nowhere.toml")


def test_a_fault_of_a_scenario_file_is_told_with_its_line(not_asked: Any, tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text('schema = 1\nid = "own"\ntitle = "x"\n[feeding]\nmissed = 2\n')
    told = not_asked("--scenario", "own.toml")
    assert "own.toml, line 5, feeding.missed: should be less than or equal to 1" in told
    (tmp_path / "own.toml").write_text('schema = 1\nid = "Our own"\ntitle = "x"\nsampling = 7\n')
    told = not_asked("--scenario", "own.toml")
    assert "line 2, id: should be of small letters, digits and hyphens" in told
    assert "line 4, sampling: should be a table of its own, such as [sampling]" in told
    assert "valid" not in told and "pattern" not in told


def test_a_crop_without_a_model_is_told_with_those_there_are(refused: Refused, tmp_path: Path) -> None:
    where = tmp_path / "melons"
    where.mkdir()
    shutil.copy(folder("sample_data") / "watermelon" / "season.toml", where)
    told = words(refused("simulate", "--season", where))
    assert "there is no crop model for watermelon" in told and "strawberry" in told


def test_a_fault_of_the_season_file_is_told(not_asked: Any, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace("rows = 10", "rows = 0"))
    assert "blocks.creek.rows: should be greater than or equal to 1" in not_asked()


def test_a_season_without_a_date_that_places_the_crop_is_told(not_asked: Any, fresh: Path) -> None:
    path = fresh / "season.toml"
    text = path.read_text().replace("first_bloom = 2026-03-02\n", "").replace("fruit_set = 2026-03-23\n", "")
    path.write_text(text)
    assert "needs the date of one of these stages in season.toml: first bloom, " in not_asked()


def test_the_block_is_asked_for(run: Run, refused: Refused, fresh: Path) -> None:
    args = ("simulate", "--season", fresh, "--seasons", "10")
    assert "--block: is missing, and there is nobody to ask" in refused(*args)
    assert "Hill top: 10 simulated seasons" in run(*args, input="hill\n").stdout
    assert 'there is no block "brook"' in refused(*args, "--block", "brook")


# --- while it runs ------------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_sees_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with command._told(40) as progress:
        progress(20)
        progress(20)
    assert "Simulating" in terminal.getvalue() and "100%" in terminal.getvalue()


def test_nobody_else_does(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = io.StringIO()
    monkeypatch.setattr(sys, "stderr", plain)
    with command._told(40) as progress:
        progress(40)
    assert plain.getvalue() == ""


def test_no_more_processors_are_used_than_there_are_batches() -> None:
    """A batch holds 125 seasons."""
    assert command._processes(64, ways=2, seasons=10) == 2
    assert command._processes(64, ways=2, seasons=1000) == 16
    assert command._processes(1, ways=3, seasons=1000) == 1
    assert 1 <= command._processes(None, ways=2, seasons=10) <= 2
