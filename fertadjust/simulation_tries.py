"""Policy values that are tried beside a season's own: read as they are written, and checked."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Final

from pydantic import ValidationError

from fertadjust.errors import Fault, UserError
from fertadjust.rules.policy import BOUNDS, OVERRIDABLE, Policy
from fertadjust.shipped import shipped_policy_files
from fertadjust.simulate.guards import with_values
from fertadjust.simulation_files import worded
from fertadjust.units import UnitSystem

_TABLE: Final = "cross_check"
"""The table of the rules whose rows can be tried; other tables are of notes alone."""
_NEAR: Final = 3
"""How many names that look alike are told."""


def check_tried(policy: Policy, values: Mapping[str, Any]) -> None:
    """Check policy values that are to be tried beside a policy's own, in the units of the rules.

    Args:
        policy: the season's.
        values: name -> value; for "cross_check", row id -> step.

    Raises:
        UserError: every name that the policy does not have and every value that it does not allow, by its name; a
            row's name is "cross_check.<row>".
    """
    faults, fitting = [], dict[str, Any]()
    if values.get(_TABLE) == {}:
        faults.append(Fault("names no row; name one and its step", key=_TABLE))
    for name, value in _flat(values):
        message = _unknown(policy, name)
        if not message and isinstance(value, Mapping):
            message = "should be the value itself, not a table"
        if message:
            faults.append(Fault(message, key=name))
        else:
            fitting[name] = value
    faults += _not_allowed(policy, fitting)
    if faults:
        raise UserError(faults)


def read_tried(policy: Policy, given: Sequence[str], units: UnitSystem, option: str) -> dict[str, Any]:
    """Values as a grower writes them, "confidence=0.9", in the units of the rules and checked.

    Args:
        policy: the season's.
        given: name=value, each; rows of a table as cross_check.row=value.
        units: unit system that amounts of nitrogen per area are given in.
        option: name of the option, for messages.

    Raises:
        UserError: everything that is not written so, is given twice, is as it stands already, or that
            `check_tried` refuses.
    """
    faults, flat = [], dict[str, Any]()
    for text in given:
        name, equals, value = (part.strip() for part in text.partition("="))
        message = ""
        if not (equals and name and value):
            message = "write it as name=value, for example confidence=0.9"
        elif name in flat:
            message = "is given twice; give it once"
        if message:
            faults.append(Fault(message, key=f"{option} {text}"))
        else:
            flat[name] = _in_lb(policy, name, _read(value), units)
    values = _nested(flat)
    try:
        check_tried(policy, values)
    except UserError as error:
        faults += [Fault(item.message, key=f"{option} {item.key}") for item in error.faults]
    wrong = {fault.key for fault in faults}
    faults += [
        Fault("that is its value already, so there is nothing to try; name another", key=f"{option} {name}")
        for name, value in flat.items()
        if f"{option} {name}" not in wrong and _same(policy, name, value)
    ]
    if faults:
        raise UserError(faults)
    return values


# --- names --------------------------------------------------------------------------------------------------


def _flat(values: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Every value by its name, rows of a table as "cross_check.<row>"."""
    for name, value in values.items():
        if name == _TABLE and isinstance(value, Mapping):
            yield from ((f"{name}.{row}", step) for row, step in value.items())
        else:
            yield name, value


def _nested(flat: Mapping[str, Any]) -> dict[str, Any]:
    """The same with the rows of each table below its name."""
    values: dict[str, Any] = {}
    for name, value in flat.items():
        table, _, row = name.partition(".")
        if row and table == _TABLE:
            values.setdefault(table, {})[row] = value
        else:
            values[name] = value
    return values


def _names(policy: Policy) -> list[str]:
    """Every value that can be tried."""
    rows = [f"{_TABLE}.{row.id}" for row in policy.cross_check]
    return [name for name in OVERRIDABLE if getattr(policy, name) is not None] + rows


def _unknown(policy: Policy, name: str) -> str:
    """Why there is no value of a name to try, or ""."""
    if name in BOUNDS:
        return "floor and ceiling are set under [bounds] in season.toml and cannot be tried here"
    known = _names(policy)
    if name in known:
        return ""
    if name == _TABLE:
        return f"name one of its rows as {name}.row; see: fertadjust rules show {policy.id}"
    near = get_close_matches(name, known, _NEAR)
    meant = f"; did you mean {' or '.join(near)}?" if near else "."
    return f'"{name}" is no policy value{meant} All of them: fertadjust rules show {policy.id}'


# --- values -------------------------------------------------------------------------------------------------


def _read(text: str) -> float | bool | str:
    """A value as it stands under [policy]: a number, true or false, or a word."""
    if text in ("true", "false"):
        return text == "true"
    try:
        return float(text)
    except ValueError:
        return text


def _in_lb(policy: Policy, name: str, value: float | bool | str, units: UnitSystem) -> float | bool | str:
    """A value in the unit of the rules: an amount of nitrogen per area is given in the season's own unit."""
    per_area = str(getattr(getattr(policy, name, None), "unit", "")).startswith(UnitSystem.US.total_unit)
    return units.rate_in(value) if per_area and isinstance(value, float) else value


def _present(policy: Policy, name: str) -> Any:
    """The policy's own value."""
    row = name.partition(".")[2]
    if row:
        return next(item.step for item in policy.cross_check if item.id == row)
    return getattr(policy, name).value


def _same(policy: Policy, name: str, value: Any) -> bool:
    present = _present(policy, name)
    if isinstance(present, float) and isinstance(value, float):
        return abs(value - present) <= 1e-9 * abs(present)
    return bool(value == present)


def _not_allowed(policy: Policy, flat: Mapping[str, Any]) -> list[Fault]:
    """Values that the policy does not allow; those that are checked against each other come after the others."""
    found = _refused(policy, flat)
    wrong = {fault.key for fault in found}
    rest = {name: value for name, value in flat.items() if name not in wrong}
    if found and rest:
        beside = _refused(policy, rest)
        found += [fault for fault in beside if not wrong & set(re.findall(r"\w+", fault.message))]
    return found


def _refused(policy: Policy, flat: Mapping[str, Any]) -> list[Fault]:
    try:
        with_values(policy, _nested(flat))
    except ValidationError as error:
        found = worded(error, shipped_policy_files()[policy.id].faults(error, Policy))
        return [Fault(item.message, key=_name(policy, item, flat)) for item in found]
    return []


def _name(policy: Policy, fault: Fault, flat: Mapping[str, Any]) -> str:
    """Name of the tried value that a fault is about: an entry of the table by its row, a pair by what is tried."""
    entry = re.match(rf"{_TABLE}\[(\d+)\]", fault.key)
    if entry is not None:
        return f"{_TABLE}.{policy.cross_check[int(entry[1]) - 1].id}"
    name = fault.key.partition(".")[0]
    named = (other for other in flat if other in fault.message)
    return name if name in flat else next(named, name)
