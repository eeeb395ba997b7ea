"""Stage dates written into the text of ``season.toml``; its comments and layout stay as they are."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from fertadjust.errors import Fault, UserError
from fertadjust.toml_file import TomlFile, parse_toml

_STAGES = "stages"
_GUESSES = "approximate"
_BESIDE = "area_basis"
"""Key of a block, always on one line, below which a new line goes."""

_DAY = r"\d{4}-\d{2}-\d{2}"
_DATED = re.compile(rf"(?P<head>[^=#]*=\s*){_DAY}(?P<tail>\s*(?:#.*)?)")
"""A date on its line, as the grower wrote it."""
_NOTED_DAY = re.compile(rf"(?:{_DAY})?\s*(?:#\s*(?P<comment>.*))?|{_DAY}\s+(?P<words>.*)")
"""What may stand behind ``# name =`` where that line is to be switched on: a date or none, and a note."""
_PIECE = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[\],]')

Table = tuple[str, ...]


def with_date(text: str, name: str, on: date, block: str | None = None, *, guess: bool = False) -> str:
    """The text with a stage's date set, for one block or for all of them.

    A line that is noted out, ``# first_flower =``, is switched on. A new line goes below the date before it.

    Args:
        text: a season file that passes the checks.
        name: the stage.
        on: its first day.
        block: key of a block that gets a date of its own, or None.
        guess: whether the date is a guess.

    Raises:
        UserError: the table is written in a way that cannot be changed without touching anything else.
    """
    table = _place(block)
    if block is not None and _STAGES not in _at(parse_toml(text, "").data, table[:-1]):
        own: dict[str, Any] = {name: on} | ({_GUESSES: [name]} if guess else {})
        return _with_value(text, table[:-1], _STAGES, own)
    return _with_guess(_with_value(text, table, name, on), table, name, guess)


def without_date(text: str, name: str, block: str | None = None) -> str:
    """The text without a stage's date, for one block or for what all of them share.

    A line with a comment is noted out, so that the comment stays with its stage.

    Args:
        text: a season file that passes the checks.
        name: a stage with a date there.
        block: key of a block with a date of its own, or None.

    Raises:
        UserError: as for `with_date`.
    """
    table = _place(block)
    return _without(_with_guess(text, table, name, False), table, name)


def _place(block: str | None) -> Table:
    return (_STAGES,) if block is None else ("blocks", block, _STAGES)


def _at(data: Any, place: Table) -> Any:
    for key in place:
        data = data[key]
    return data


def _first_same(candidates: Iterator[str], wanted: Mapping[str, Any], key: str) -> str:
    """The first text that says what is wanted."""
    for candidate in candidates:
        try:
            if _plain(tomllib.loads(candidate)) == _plain(wanted):
                return candidate
        except tomllib.TOMLDecodeError:
            continue
    raise UserError(
        Fault("is written in a way that cannot be changed without touching the rest; change it by hand", key=key)
    )


def _plain(data: Mapping[str, Any]) -> dict[str, Any]:
    """The data without blocks' own stages that hold nothing, which say the same as none."""
    plain = copy.deepcopy(dict(data))
    for block in plain.get("blocks", {}).values():
        if isinstance(block, dict) and block.get(_STAGES) == {}:
            del block[_STAGES]
    return plain


# --- a date or a list set -----------------------------------------------------------------------------------


def _with_value(text: str, table: Table, key: str, value: Any) -> str:
    """The text with a value of a table: in its place, on the line noted out for it, or on a new line."""
    wanted = copy.deepcopy(parse_toml(text, "").data)
    _at(wanted, table)[key] = value
    return _first_same(_valued(text, table, key, value), wanted, key)


def _valued(text: str, table: Table, key: str, value: Any) -> Iterator[str]:
    file = parse_toml(text, "")
    if key not in _at(file.data, table):
        yield from _with_line(file, table, key, value)
    elif isinstance(value, date) and (*table, key) in file.lines:
        rows, number = file.text.split("\n"), file.lines[(*table, key)] - 1
        found = _DATED.fullmatch(rows[number])
        if found:
            yield _joined(rows, number, [f"{found['head']}{value}{found['tail']}"])
    document = tomlkit.parse(text)
    _at(document, table)[key] = tomlkit.item(_inline(value))
    yield tomlkit.dumps(document)


def _with_line(file: TomlFile, table: Table, key: str, value: Any) -> Iterator[str]:
    """The text with a line more: in place of the one noted out, else below the date before it."""
    rows = file.text.split("\n")
    header = file.lines.get(table)
    line = f"{_prefix(file, table)}{key} = {_written(value)}"
    values = _at(file.data, table)
    if header is not None:
        end = next((at for at in range(header, len(rows)) if rows[at].lstrip().startswith("[")), len(rows))
        for number in range(header, end):
            noted = _noted_out(rows[number], key, value)
            if noted is not None:
                yield _joined(rows, number, [line + noted])
                break
    dated = [name for name, day in values.items() if isinstance(day, date)]
    before = [name for name in dated if not isinstance(value, date) or values[name] <= value]
    beside = before or ([_BESIDE] if header is not None else list(values))
    anchors = [file.lines[(*table, name)] for name in beside if (*table, name) in file.lines]
    if anchors or header is not None:
        below = _list_end(rows, max(anchors) - 1) + 1 if anchors else header
        yield "\n".join([*rows[:below], line, *rows[below:]])


def _prefix(file: TomlFile, table: Table) -> str:
    """What stands before a key where the table has no header: ``stages.`` of ``stages.first_bloom = ...``."""
    if table in file.lines:
        return ""
    rows = file.text.split("\n")
    for place, number in file.lines.items():
        if place[:-1] == table:
            head, dot, _ = rows[number - 1].partition("=")[0].rpartition(".")
            return head + dot
    return ""


def _noted_out(row: str, key: str, value: Any) -> str | None:
    """The comment to keep behind a line that is noted out and can be switched on; None where it cannot."""
    found = re.fullmatch(rf"\s*#\s*(?P<line>{re.escape(key)}\s*=\s*(?P<value>.*))", row)
    if found is None:
        return None
    if isinstance(value, date):
        day = _NOTED_DAY.fullmatch(found["value"])
        if day is None:
            return None
        words = (day["comment"] or day["words"] or "").strip()
        return f"   # {words}" if words else ""
    try:
        item = tomlkit.parse(found["line"])[key]
    except tomlkit.exceptions.TOMLKitError:
        return None
    if type(item.unwrap()) is not type(value):
        return None
    return f"{item.trivia.comment_ws}{item.trivia.comment}"


def _joined(rows: list[str], number: int, instead: list[str]) -> str:
    """The lines with others instead of one."""
    return "\n".join([*rows[:number], *instead, *rows[number + 1 :]])


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


# --- guesses ------------------------------------------------------------------------------------------------


def _with_guess(text: str, table: Table, name: str, guess: bool) -> str:
    """The text with a stage among those whose date is a guess, or not among them."""
    data = parse_toml(text, "").data
    listed = _at(data, table).get(_GUESSES)
    if guess == (listed is not None and name in listed):
        return text
    if listed is None:
        return _with_value(text, table, _GUESSES, [name])
    wanted = copy.deepcopy(data)
    left = [item for item in listed if item != name] + ([name] if guess else [])
    if not left:
        return _without(text, table, _GUESSES)
    _at(wanted, table)[_GUESSES] = left
    return _first_same(_listed(text, table, name, guess), wanted, _GUESSES)


def _listed(text: str, table: Table, name: str, guess: bool) -> Iterator[str]:
    if not guess:
        file = parse_toml(text, "")
        number = file.lines.get((*table, _GUESSES))
        if number is not None:
            yield _without_item(file.text.split("\n"), number - 1, name)
    document = tomlkit.parse(text)
    listed = _at(document, table)[_GUESSES]
    if guess:
        listed.append(name)
    else:
        listed.remove(name)
    yield tomlkit.dumps(document)


def _without_item(rows: list[str], number: int, name: str) -> str:
    """The text without an item of the list that begins on a line; comments beside it stay."""
    end = _list_end(rows, number)
    inside = "\n".join(rows[number : end + 1])
    pieces = list(_PIECE.finditer(inside))
    for index, piece in enumerate(pieces):
        if piece.group()[0] in "\"'" and tomllib.loads(f"a = {piece.group()}")["a"] == name:
            comma = next((item for item in pieces[index + 1 :] if not item.group().startswith("#")), None)
            spans = [piece.span()] + ([comma.span()] if comma is not None and comma.group() == "," else [])
            for first, last in reversed(spans):
                inside = inside[:first] + re.sub(r"^[ \t]+", "", inside[last:])
            break
    pairs = zip(inside.split("\n"), rows[number : end + 1], strict=True)
    kept = [row for row, old in pairs if row.strip() or row == old]
    return "\n".join([*rows[:number], *kept, *rows[end + 1 :]])


def _list_end(rows: list[str], number: int) -> int:
    """Line that a list or a value ends on."""
    depth = 0
    for at in range(number, len(rows)):
        marks = [piece.group() for piece in _PIECE.finditer(rows[at])]
        depth += marks.count("[") - marks.count("]")
        if depth <= 0:
            return at
    return number


# --- taken out ----------------------------------------------------------------------------------------------


def _without(text: str, table: Table, key: str) -> str:
    """The text without a key of a table; comments on its lines stay."""
    wanted = copy.deepcopy(parse_toml(text, "").data)
    del _at(wanted, table)[key]
    return _first_same(_shortened(text, table, key), wanted, key)


def _shortened(text: str, table: Table, key: str) -> Iterator[str]:
    file = parse_toml(text, "")
    number = file.lines.get((*table, key))
    if number is not None:
        rows = file.text.split("\n")
        first, end = number - 1, _list_end(rows, number - 1)
        comments = [found for row in rows[first : end + 1] for found in _comments(row)]
        if comments and key != _GUESSES:
            comments = [f"# {key} =   {' '.join(comments)}"]
        for empty in ([], [f"{'.'.join(table)} = {{}}"]):
            yield "\n".join([*rows[:first], *empty, *comments, *rows[end + 1 :]])
    document = tomlkit.parse(text)
    holder = _at(document, table)
    del holder[key]
    around = _at(document, table[:-1])
    if not holder and isinstance(holder, InlineTable) and table != (_STAGES,):
        comment = holder.trivia.comment
        place = (*table[:-1], _STAGES)
        if comment and place in file.lines:
            rows = file.text.split("\n")
            yield _joined(rows, file.lines[place] - 1, [comment])
        del around[_STAGES]
    yield tomlkit.dumps(document)


def _comments(row: str) -> list[str]:
    """The comment of a line, if it has one."""
    return [piece.group().rstrip() for piece in _PIECE.finditer(row) if piece.group().startswith("#")]
