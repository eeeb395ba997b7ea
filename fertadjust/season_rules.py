"""The policy that a season file chooses, with the values that it sets otherwise."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from fertadjust.rules.policy import ANY, BOUNDS, OVERRIDABLE, ROW_VALUES, Policy, with_overrides
from fertadjust.season_model import SeasonIn
from fertadjust.shipped import shipped_policy_files
from fertadjust.toml_file import Place, TomlFile
from fertadjust.units import UnitSystem

GENERAL = "general"
"""Id of the policy that is of no crop in particular."""

_ROW_KEY = re.compile(r"(\w+)\[(\d+)\]")


class RulesReader:
    """Reads the policy of one season file and gathers faults and notes."""

    def __init__(self, given: SeasonIn) -> None:
        self.given = given
        self.faults: list[tuple[Place, str]] = []
        self.notes: list[str] = []

    def policy(self) -> Policy | None:
        """The policy with the season's own values; None where none is found."""
        file = self._file()
        if file is None:
            return None
        good: dict[str, Any] = {}
        for name, value in self.given.policy.items():
            if name in ROW_VALUES:
                good[name] = self._row_overrides(name, value, [row["id"] for row in file.data.get(name, [])])
            elif name in BOUNDS:
                self._fault("is set under [bounds]", "policy", name)
            elif name not in OVERRIDABLE or name not in file.data:
                known = [item for item in (*OVERRIDABLE, *ROW_VALUES) if item in file.data]
                self._fault(f"is no policy value; there are: {', '.join(known)}", "policy", name)
            elif self._value_ok(value, name):
                good[name] = self._in_lb(name, value, file.data[name])
        try:
            policy = Policy.model_validate(with_overrides(file.data, good))
        except ValidationError as error:
            for fault in file.faults(error, Policy):
                self._fault(fault.message, "policy", *_policy_place(fault.key, file.data))
            policy = Policy.model_validate(file.data)
        self._note(policy)
        return policy

    def _file(self) -> TomlFile | None:
        crop, files = self.given.crop, shipped_policy_files()
        if crop.rules is not None:
            file = files.get(crop.rules)
            if file is None:
                names = ", ".join(name for name, data in _fitting(crop.name)) or GENERAL
                self._fault(
                    f'there are no rules "{crop.rules}"; for {crop.name} there are: {names}', "crop", "rules"
                )
            elif file.data["crop"] != ANY and crop.name not in _crops(file.data):
                which = ", ".join(_crops(file.data))
                self._fault(f"{crop.rules} is for {which}, the crop is {crop.name}", "crop", "rules")
                return None
            return file
        bound = rules_bound_to(crop.name, crop.system, crop.region)
        if len(bound) == 1:
            return files[bound[0]]
        known = [f'"{name}" ({data["system"]}{_where(data)})' for name, data in _fitting(crop.name)]
        ways = f'write rules = "..." below it, one of: {"; ".join(known)}' if known else ""
        general = f'rules = "{GENERAL}" takes the program\'s general figures, none of which is published for it'
        self._fault(
            f'no rules are bound to "{crop.name}" in "{crop.system}", {crop.region}; '
            + "; or ".join(filter(None, (ways, general))),
            "crop",
            "name",
        )
        return None

    def _note(self, policy: Policy) -> None:
        crop = self.given.crop
        if policy.id == GENERAL:
            self.notes.append(
                f"The rules are {policy.id}: no figure of them is published for {crop.name}; steps and timing are "
                "the program's own or carried over from other crops."
            )
        elif policy.system != crop.system:
            self.notes.append(f"The rules {policy.id} are for {policy.system}, the season is in {crop.system}.")
        if policy.regions is not None and crop.region not in policy.regions:
            self.notes.append(
                f"The rules {policy.id} are for {', '.join(policy.regions)}, the season is in {crop.region}: "
                "rates and corrections of one region do not carry over by themselves."
            )

    def _in_lb(self, name: str, value: Any, shipped: Mapping[str, Any]) -> Any:
        """A value in the unit of the rules: an amount of nitrogen per area is written in the season's own unit."""
        units = self.given.farm.units
        given = value["value"] if isinstance(value, dict) else value
        per_area = str(shipped.get("unit", "")).startswith(UnitSystem.US.total_unit)
        if units is UnitSystem.US or not per_area or isinstance(given, bool) or not isinstance(given, int | float):
            return value
        amount = units.rate_in(float(given))
        self.notes.append(f"[policy] {name} is read as {given:g} {units.total_unit}, {amount:.4g} lb N/ac.")
        return value | {"value": amount} if isinstance(value, dict) else amount

    def _row_overrides(self, table: str, given: Any, known: list[str]) -> dict[str, Any]:
        """The overrides of a table's rows by id, those that are well formed."""
        if not isinstance(given, dict):
            self._fault(f"write it as a table [policy.{table}] with row = value", "policy", table)
            return {}
        good = {}
        for name, value in given.items():
            if name not in known:
                self._fault(f"is no row of it; there are: {', '.join(known) or 'none'}", "policy", table, name)
            elif self._value_ok(value, table, name):
                good[name] = value
        return good

    def _value_ok(self, value: Any, *place: str) -> bool:
        if isinstance(value, dict) and not (
            "value" in value and set(value) <= {"value", "reason"} and isinstance(value.get("reason", ""), str)
        ):
            self._fault('write a value, or { value = ..., reason = "..." }', "policy", *place)
            return False
        return True

    def _fault(self, message: str, *place: str | int) -> None:
        self.faults.append((place, message))


def rules_bound_to(crop: str, system: str, region: str) -> list[str]:
    """Ids of the policies that a crop in a system and region leads to; a season gets them unnamed if it is one."""
    return [
        name
        for name, data in _fitting(crop)
        if data["system"] == system and region in data.get("regions", (region,))
    ]


def _crops(data: Mapping[str, Any]) -> list[str]:
    return [data["crop"], *data.get("also", ())]


def _fitting(crop: str) -> list[tuple[str, Mapping[str, Any]]]:
    """Ids and data of the policies that are for a crop."""
    return [(name, file.data) for name, file in shipped_policy_files().items() if crop in _crops(file.data)]


def _where(data: Mapping[str, Any]) -> str:
    return f", {', '.join(data['regions'])}" if "regions" in data else ""


def _policy_place(key: str, shipped: Mapping[str, Any]) -> tuple[str, ...]:
    """Where a policy's fault stands in the season file: its name, and the row's id within a table."""
    row = _ROW_KEY.match(key)
    if row is None:
        return (key.split(".")[0],)
    return row[1], shipped[row[1]][int(row[2]) - 1]["id"]
