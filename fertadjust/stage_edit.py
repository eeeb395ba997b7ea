"""Stage dates written into the text of ``season.toml``; its comments and layout stay as they are."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from datetime import date
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from fertadjust.toml_file import parse_toml

_STAGES = "stages"
_GUESSES = "approximate"
_BESIDE = "area_basis"
"""Key of a block, always on one line, below which a new line goes."""


def with_date(text: str, name: str, on: date, block: str | None = None, *, guess: bool = False) -> str:
    """The text with a stage's date set, for one block or for all of them.

    A line that is noted out, ``# first_flower =``, is switched on. A new line goes below the date before it.

    Args:
        text: a season file that passes the checks.
        name: the stage.
        on: its first day.
        block: key of a block that gets a date of its own, or None.
        guess: whether the date is a guess.
    """
    table = _place(block)
    if block is not None and _STAGES not in _at(parse_toml(text, "").data, table[:-1]):
        own: dict[str, Any] = {name: on} | ({_GUESSES: [name]} if guess else {})
        return _with_value(text, table[:-1], _STAGES, own)
    return _with_guess(_with_value(text, table, name, on), table, name, guess)


def without_date(text: str, name: str, block: str | None = None) -> str:
    """The text without a stage's date, for one block or for what all of them share.

    Args:
        text: a season file that passes the checks.
        name: a stage with a date there.
        block: key of a block with a date of its own, or None.
    """
    table = _place(block)
    text = _with_guess(text, table, name, False)
    document = tomlkit.parse(text)
    stages = _at(document, table)
    stages.remove(name)
    if block is not None and not stages and isinstance(stages, InlineTable):
        _at(document, table[:-1]).remove(_STAGES)
    return tomlkit.dumps(document)


def _place(block: str | None) -> tuple[str, ...]:
    return (_STAGES,) if block is None else ("blocks", block, _STAGES)


def _at(data: Any, place: tuple[str, ...]) -> Any:
    for key in place:
        data = data[key]
    return data


def _with_guess(text: str, table: tuple[str, ...], name: str, guess: bool) -> str:
    """The text with a stage among those whose date is a guess, or not among them."""
    document = tomlkit.parse(text)
    stages = _at(document, table)
    listed = stages.get(_GUESSES)
    if guess == (listed is not None and name in listed):
        return text
    if listed is None:
        return _with_value(text, table, _GUESSES, [name])
    if guess:
        listed.append(name)
    else:
        listed.remove(name)
        if not listed:
            stages.remove(_GUESSES)
    return tomlkit.dumps(document)


def _with_value(text: str, table: tuple[str, ...], key: str, value: Any) -> str:
    """The text with a value of a table: in its place, on the line noted out for it, or on a new line."""
    wanted = copy.deepcopy(parse_toml(text, "").data)
    _at(wanted, table)[key] = value
    document = tomlkit.parse(text)
    holder = _at(document, table)
    if key not in holder and not isinstance(holder, InlineTable):
        line = f"{key} = {_written(value)}"
        for candidate in _with_line(text, table, key, value, line):
            if _same(candidate, wanted):
                return candidate
    holder[key] = tomlkit.item(_inline(value))
    return tomlkit.dumps(document)


def _same(text: str, wanted: Mapping[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _with_line(text: str, table: tuple[str, ...], key: str, value: Any, line: str) -> list[str]:
    """The text with a line more: in place of the one noted out, else below the date before it."""
    file = parse_toml(text, "")
    rows = text.split("\n")
    header = file.lines.get(table)
    if header is None:
        return []
    end = next((number for number in range(header, len(rows)) if rows[number].lstrip().startswith("[")), len(rows))
    found = []
    noted = re.compile(rf"#\s*{re.escape(key)}\s*=")
    for number in range(header, end):
        if noted.match(rows[number]):
            found.append("\n".join([*rows[:number], line, *rows[number + 1 :]]))
            break
    values = _at(file.data, table)
    dated = [name for name, day in values.items() if isinstance(day, date)]
    before = [name for name in dated if not isinstance(value, date) or values[name] <= value]
    anchors = [file.lines[(*table, name)] for name in before or [_BESIDE] if (*table, name) in file.lines]
    below = max(anchors, default=header)
    found.append("\n".join([*rows[:below], line, *rows[below:]]))
    return found


def _written(value: Any) -> str:
    """A value on one line."""
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key} = {_written(part)}' for key, part in value.items())} }}"
    return str(tomlkit.item(value).as_string())


def _inline(value: Any) -> Any:
    """A table as one line; other values as they are."""
    if not isinstance(value, dict):
        return value
    table = tomlkit.inline_table()
    table.update(value)
    return table
