"""Crop models and scenarios as files: those that ship, and a user's own scenario."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from fertadjust.errors import Fault, UserError
from fertadjust.files import read_text
from fertadjust.season import BlockSeason
from fertadjust.season_file import SeasonFile, read_season
from fertadjust.shipped import data_folder
from fertadjust.simulate.parameters import CropModel
from fertadjust.simulate.scenario import SHIPPED, Origin, Scenario
from fertadjust.simulate.study import StudyPlan
from fertadjust.toml_file import TomlFile, read_toml

USUAL = "usual"
"""The scenario that is taken when none is named."""

FINDINGS: Final = ("findings.md", "findings.json", "findings.svg")
"""Files of the findings: the page, its figures as data, its picture."""

_NUMBER, _WHOLE = "should be a number; found {given}", "should be a whole number; found {given}"
_WORDS: Final = {
    "model_type": "should be a table of its own, such as [{key}] with its keys below",
    "string_pattern_mismatch": "should be of small letters, digits and hyphens, such as our-spring; found {given}",
    "string_too_short": "should not be empty",
    "string_type": "should be text in quotes; found {given}",
    "bool_type": "should be true or false; found {given}",
    "finite_number": _NUMBER,
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_from_float": _WHOLE,
}
"""Kinds of faults that the checking library has terms of its own for."""


@cache
def crop_models() -> dict[str, CropModel]:
    """The crop models that ship, by crop."""
    found = {}
    for path in sorted(data_folder("crop_models").glob("*.toml")):
        model = CropModel.model_validate(read_toml(path).data)
        found[model.crop] = model
    return found


def crop_model(crop: str) -> CropModel:
    """The model of a crop.

    Raises:
        UserError: there is none; the message names those there are.
    """
    models = crop_models()
    if crop not in models:
        message = f"there is no crop model for {crop}, since no uptake figures are at hand; there are models for "
        raise UserError(Fault(message + ", ".join(models), key="crop.name"))
    return models[crop]


def model_for(file: SeasonFile) -> CropModel:
    """The model of a season's crop, as it is grown.

    Raises:
        UserError: there is none; the message names those there are.
    """
    model = crop_model(file.crop)
    if not model.holds_for(file.system):
        known = "; ".join(f"{item.crop} ({item.title})" for item in crop_models().values())
        message = f'there is no crop model for {file.crop} in "{file.system}"; there are models for {known}'
        raise UserError(Fault(message, key="crop.system"))
    return model


@cache
def scenarios() -> dict[str, Scenario]:
    """The scenarios that ship, by id."""
    found = [_read(path)[0] for path in sorted(data_folder("scenarios").glob("*.toml"))]
    return {scenario.id: scenario for scenario in found}


def scenario_of(name: str) -> tuple[Scenario, Origin]:
    """A shipped scenario by its id, or one read from a file, and where it comes from.

    Raises:
        UserError: there is neither, or every fault of the file with its line and key.
    """
    path = Path(name)
    if path.suffix.lower() == ".toml":
        return read_scenario(path)
    known = scenarios()
    if name not in known:
        message = f'"{name}" is no scenario; there are {", ".join(known)}, or name a file that ends in .toml'
        raise UserError(Fault(message, key="scenario"))
    return known[name], SHIPPED


def read_scenario(path: Path) -> tuple[Scenario, Origin]:
    """Read a scenario and say where it comes from.

    With ``extends`` it has all that a shipped one has, its own before the other's, but for name and title.

    Raises:
        UserError: every fault of the file, with line and key; one is an id that a shipped scenario has.
    """
    scenario, file = _read(path)
    if path.resolve().parent == data_folder("scenarios").resolve():
        return scenario, SHIPPED
    if scenario.id in scenarios():
        message = f'"{scenario.id}" is the name of a scenario that ships; give yours another, such as our-own'
        raise UserError(file.fault(message, "id"))
    return scenario, Origin(path.name, file.data.get("extends", ""))


def _read(path: Path) -> tuple[Scenario, TomlFile]:
    file = read_toml(path)
    try:
        return Scenario.model_validate(_extended(file)), file
    except ValidationError as error:
        raise UserError(worded(error, file.faults(error, Scenario))) from None


def _extended(file: TomlFile) -> dict[str, Any]:
    """What a scenario's file says, with what those that it extends say besides."""
    own = {key: value for key, value in file.data.items() if key != "extends"}
    if "extends" not in file.data:
        return own
    name = file.data["extends"]
    shipped = {item.stem: item for item in sorted(data_folder("scenarios").glob("*.toml"))}
    if not isinstance(name, str) or name not in shipped:
        message = f'there is no scenario "{name}"; there are {", ".join(shipped)}'
        raise UserError(file.fault(message, "extends"))
    base = _extended(read_toml(shipped[name]))
    return _merged({key: value for key, value in base.items() if key not in ("id", "title")}, own)


def worded(error: ValidationError, faults: Sequence[Fault]) -> list[Fault]:
    """Faults of a validation, in plain words where the checking library uses terms of its own.

    Args:
        error: the validation.
        faults: its faults, in order; more of them than the validation has where one check found several.
    """
    details = error.errors(include_url=False)
    if len(details) != len(faults):
        return list(faults)
    return [
        replace(fault, message=_WORDS[detail["type"]].format(key=fault.key, given=_written(detail["input"])))
        if detail["type"] in _WORDS
        else fault
        for detail, fault in zip(details, faults, strict=True)
    ]


def _written(value: object) -> str:
    """A value as it is written in a file."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}"
    return f'"{value}"' if isinstance(value, str) else str(value)


def study_plan() -> StudyPlan:
    """What the shipped study runs."""
    return StudyPlan.model_validate(read_toml(data_folder("study") / "study.toml").data)


def study_season() -> BlockSeason:
    """The block of the study's season, under the shipped rules."""
    (block,) = read_season(data_folder("study")).blocks.values()
    return block


def findings() -> str:
    """The findings of the study that ship, as text."""
    return read_text(findings_folder() / FINDINGS[0])


def findings_folder() -> Path:
    """Folder of the findings that ship: `FINDINGS`."""
    return data_folder("findings")


def _merged(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    merged = base | own
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(base.get(key), dict):
            merged[key] = base[key] | value
    return merged
