"""Crop models and scenarios as files: those that ship, and a user's own scenario."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fertadjust.errors import Fault, UserError
from fertadjust.files import read_text
from fertadjust.rules.policy import Policy
from fertadjust.season import BlockSeason
from fertadjust.season_file import read_season
from fertadjust.shipped import data_folder, shipped_policy_files
from fertadjust.simulate.guards import with_values
from fertadjust.simulate.parameters import CropModel
from fertadjust.simulate.scenario import Scenario
from fertadjust.simulate.study import StudyPlan
from fertadjust.toml_file import TomlFile, read_toml

USUAL = "usual"
"""The scenario that is taken when none is named."""


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


def check_tried(policy: Policy, values: Mapping[str, Any]) -> None:
    """Check policy values that are to be tried beside a policy's own.

    Raises:
        UserError: a name that the policy does not have, or every value that it does not allow, by its name.
    """
    try:
        with_values(policy, values)
    except ValidationError as error:
        found = shipped_policy_files()[policy.id].faults(error, Policy)
        names = [re.split(r"[.\[]", item.key)[0] for item in found]
        raise UserError([Fault(item.message, key=name) for item, name in zip(found, names, strict=True)]) from None


@cache
def scenarios() -> dict[str, Scenario]:
    """The scenarios that ship, by id."""
    found = {}
    for path in sorted(data_folder("scenarios").glob("*.toml")):
        scenario = read_scenario(path)
        found[scenario.id] = scenario
    return found


def scenario_of(name: str) -> Scenario:
    """A shipped scenario by its id, or one read from a file.

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
    return known[name]


def read_scenario(path: Path) -> Scenario:
    """Read a scenario; with ``extends`` it has all that another one has, its own before the other's.

    Raises:
        UserError: every fault of the file, with line and key.
    """
    file = read_toml(path)
    try:
        return Scenario.model_validate(_extended(file))
    except ValidationError as error:
        raise UserError(file.faults(error, Scenario)) from None


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
    return _merged(_extended(read_toml(shipped[name])), own)


def study_plan() -> StudyPlan:
    """What the shipped study runs."""
    return StudyPlan.model_validate(read_toml(data_folder("study") / "study.toml").data)


def study_season() -> BlockSeason:
    """The block of the study's season, under the shipped rules."""
    (block,) = read_season(data_folder("study")).blocks.values()
    return block


def findings() -> str:
    """The findings of the study that ship, as text."""
    return read_text(data_folder("findings") / "findings.md")


def _merged(base: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    merged = base | own
    for key, value in own.items():
        if isinstance(value, dict) and isinstance(base.get(key), dict):
            merged[key] = base[key] | value
    return merged
