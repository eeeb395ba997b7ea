"""Crop models and scenarios as files: faults are told with their line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from fertadjust import simulation_files
from fertadjust.errors import Fault, UserError
from fertadjust.shipped import data_folder
from fertadjust.simulate.scenario import Origin, Scenario
from fertadjust.simulation_files import (
    FINDINGS,
    USUAL,
    crop_model,
    crop_models,
    findings_folder,
    scenarios,
)
from fertadjust.study_words import FIGURE

HEAD = 'schema = 1\nid = "own"\ntitle = "Our own."\n'


def read_scenario(path: Path) -> Scenario:
    return simulation_files.read_scenario(path)[0]


def scenario_of(name: str) -> Scenario:
    return simulation_files.scenario_of(name)[0]


def written(folder: Path, text: str, name: str = "own.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def faults(path: Path) -> list[Fault]:
    with pytest.raises(UserError) as caught:
        read_scenario(path)
    return list(caught.value.faults)


def test_a_crop_without_a_model_is_told_which_crops_have_one() -> None:
    with pytest.raises(UserError) as caught:
        crop_model("kohlrabi")
    (fault,) = caught.value.faults
    assert fault.key == "crop.name"
    assert "kohlrabi" in fault.message and "strawberry" in fault.message


def test_models_are_kept_by_crop() -> None:
    assert all(model.crop == name for name, model in crop_models().items())
    assert crop_model("strawberry") is crop_models()["strawberry"]


def test_a_scenario_is_found_by_its_name() -> None:
    assert scenario_of("weekly") is scenarios()["weekly"]
    assert scenario_of(USUAL).id == "usual"


def test_a_name_that_is_none_is_told_which_there_are() -> None:
    with pytest.raises(UserError) as caught:
        scenario_of("sunny")
    (fault,) = caught.value.faults
    assert fault.key == "scenario"
    assert '"sunny"' in fault.message and "usual" in fault.message and ".toml" in fault.message


@pytest.mark.parametrize("ending", [".toml", ".TOML"])
def test_a_name_that_ends_in_toml_is_a_file(tmp_path: Path, ending: str) -> None:
    path = written(tmp_path, HEAD + "seed = 7\n", "own" + ending)
    found = scenario_of(str(path))
    assert (found.id, found.seed) == ("own", 7)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="nowhere"):
        scenario_of(str(tmp_path / "nowhere.toml"))


def test_a_torn_file_is_told_with_its_line(tmp_path: Path) -> None:
    (fault,) = faults(written(tmp_path, HEAD + "[rain\n"))
    assert (fault.file, fault.line) == ("own.toml", 4)


def test_own_values_come_before_those_of_the_scenario_it_extends(tmp_path: Path) -> None:
    path = written(tmp_path, HEAD + 'extends = "usual"\n[rain]\na_week = 1\n[feeding]\nmissed = 0\n')
    found, usual = read_scenario(path), scenarios()["usual"]
    assert (found.rain.a_week, found.feeding.missed) == (1.0, 0.0)
    assert (found.rain.noted, found.feeding.logged) == (usual.rain.noted, usual.feeding.logged)
    assert (found.field, found.stage, found.laboratory) == (usual.field, usual.stage, usual.laboratory)
    assert (found.id, found.seed) == ("own", usual.seed)


def test_without_extends_nothing_is_taken_over(tmp_path: Path) -> None:
    assert read_scenario(written(tmp_path, HEAD)).feeding.missed == 0.0


def test_a_scenario_that_extends_another_can_itself_be_extended(tmp_path: Path) -> None:
    found = read_scenario(written(tmp_path, HEAD + 'extends = "rough"\n[rain]\nnoted = 0.2\n'))
    rough = scenarios()["rough"]
    assert found.rain.noted == 0.2
    assert (found.field, found.laboratory) == (rough.field, rough.laboratory)


@pytest.mark.parametrize("value", ['"sunny"', "7", '""', '["usual"]'])
def test_extending_what_is_not_there_is_told_with_the_line_and_what_there_is(tmp_path: Path, value: str) -> None:
    (fault,) = faults(written(tmp_path, HEAD + f"extends = {value}\n"))
    assert (fault.file, fault.line, fault.key) == ("own.toml", 4, "extends")
    assert "usual" in fault.message and "rough" in fault.message


@pytest.mark.parametrize(
    ("text", "line", "key", "part"),
    [
        ("seed = -1\n", 4, "seed", "-1"),
        ("seed = 2.5\n", 4, "seed", "should be a whole number; found 2.5"),
        ('seed = "seven"\n', 4, "seed", 'should be a whole number; found "seven"'),
        ("seed = true\n", 4, "seed", "should be a whole number; found true"),
        ("weather = 1\n", 4, "weather", "is not a known key; known here: schema, id, title, seed"),
        ("[rain]\noften = 2\n", 5, "rain.often", "known here: a_week, lost, noted"),
        ("[rain]\na_week = 9\n", 5, "rain.a_week", "9"),
        ("[rain]\n\nlost = { low = 0.5, high = 0.2 }\n", 6, "rain.lost", "low 0.5 is above high 0.2"),
        ("[laboratory]\ndays = { low = 3 }\n", 5, "laboratory.days.high", "is missing"),
        ("[laboratory]\nbias = { low = 0.0, high = 1.0 }\n", 5, "laboratory.bias", "should be above 0"),
        ("[stage]\n# how far\ndays_off = { low = -90, high = 0 }\n", 6, "stage.days_off.low", "-90"),
        ("[field]\nneed = 1.2\n", 5, "field.need", "should be a table of its own, such as [field.need] with its "),
        ("sampling = 7\n", 4, "sampling", "should be a table of its own, such as [sampling] with its keys below"),
        ('[feeding]\nmissed = "few"\n', 5, "feeding.missed", 'should be a number; found "few"'),
        ("[feeding]\nmissed = nan\n", 5, "feeding.missed", "should be a number; found nan"),
        ("[field.need]\nlow = 1.0\nhigh = 1.2\nmiddle = 1.1\n", 7, "field.need.middle", "known here: low, high"),
    ],
)
def test_every_fault_has_its_line_and_key(tmp_path: Path, text: str, line: int, key: str, part: str) -> None:
    (fault,) = faults(written(tmp_path, HEAD + text))
    assert (fault.file, fault.line, fault.key) == ("own.toml", line, key)
    assert part in fault.message


def test_a_fault_is_placed_in_the_own_file_where_another_is_extended(tmp_path: Path) -> None:
    (fault,) = faults(written(tmp_path, HEAD + 'extends = "usual"\n\n[rain]\na_week = 9\n'))
    assert (fault.file, fault.line, fault.key) == ("own.toml", 7, "rain.a_week")


WRONG_TIMES = [
    ("0", "3 to 60; found 0"),
    ('"weekly"', "as advised"),
    ("7.5", "whole number"),
    ("true", "found True"),
]


@pytest.mark.parametrize(("value", "part"), WRONG_TIMES)
def test_a_wrong_time_between_samples_is_told_in_its_line(tmp_path: Path, value: str, part: str) -> None:
    found = faults(written(tmp_path, HEAD + f"[sampling]\nevery = {value}\n"))
    assert any(part in fault.message for fault in found)
    assert {fault.line for fault in found} == {5}


@pytest.mark.parametrize(("value", "part"), WRONG_TIMES)
def test_a_wrong_time_between_samples_is_one_fault_at_its_key(tmp_path: Path, value: str, part: str) -> None:
    found = faults(written(tmp_path, HEAD + f"[sampling]\nevery = {value}\n"))
    assert [fault.key for fault in found] == ["sampling.every"]


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    text = HEAD + "seed = -1\n[rain]\na_week = 9\nnoted = 2\n[weather]\nsun = 1\n"
    found = {fault.key for fault in faults(written(tmp_path, text))}
    assert found == {"seed", "rain.a_week", "rain.noted", "weather"}


@pytest.mark.parametrize("missing", ["schema", "id", "title"])
def test_what_has_to_be_there_is_missed(tmp_path: Path, missing: str) -> None:
    text = "".join(line + "\n" for line in HEAD.splitlines() if not line.startswith(missing))
    (fault,) = faults(written(tmp_path, text))
    assert (fault.key, fault.message) == (missing, "is missing")


def test_a_name_or_title_out_of_form_is_told_in_plain_words(tmp_path: Path) -> None:
    path = written(tmp_path, 'schema = 1\nid = "Our own"\ntitle = ""\n')
    name, title = faults(path)
    assert (name.line, name.key, title.line, title.key) == (2, "id", 3, "title")
    assert name.message == 'should be of small letters, digits and hyphens, such as our-spring; found "Our own"'
    assert title.message == "should not be empty"
    (number,) = faults(written(tmp_path, 'schema = 1\nid = "own"\ntitle = 7\n'))
    assert number.message == "should be text in quotes; found 7"


def test_a_file_that_builds_on_another_has_a_name_and_title_of_its_own(tmp_path: Path) -> None:
    found = faults(written(tmp_path, 'schema = 1\nextends = "usual"\n[rain]\na_week = 9\n'))
    assert {(fault.key, fault.message) for fault in found if fault.key != "rain.a_week"} == {
        ("id", "is missing"),
        ("title", "is missing"),
    }
    assert len(found) == 3


@pytest.mark.parametrize("name", ["usual", "rough"])
def test_a_file_may_not_pass_as_a_scenario_that_ships(tmp_path: Path, name: str) -> None:
    (fault,) = faults(written(tmp_path, f'schema = 1\nextends = "usual"\nid = "{name}"\ntitle = "Ours."\n'))
    assert (fault.file, fault.line, fault.key) == ("own.toml", 3, "id")
    assert f'"{name}" is the name of a scenario that ships' in fault.message


def test_where_a_scenario_comes_from_is_known(tmp_path: Path) -> None:
    plain = written(tmp_path, HEAD)
    built = written(tmp_path, HEAD + 'extends = "rough"\n', "built.toml")
    assert simulation_files.scenario_of(str(plain))[1] == Origin("own.toml")
    assert simulation_files.scenario_of(str(built))[1] == Origin("built.toml", "rough")
    assert simulation_files.scenario_of("rough")[1] == Origin()
    shipped = data_folder("scenarios") / "rough.toml"
    assert simulation_files.scenario_of(str(shipped)) == (scenarios()["rough"], Origin())


def test_the_findings_are_all_there() -> None:
    assert all((findings_folder() / name).is_file() for name in FINDINGS)
    assert FINDINGS[2] == FIGURE
