"""Reading TOML files that people write: every fault with its file, line and key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from fertadjust.errors import Fault, PlacedError, UserError
from fertadjust.files import read_text

Place = tuple[str | int, ...]

_NO_KEYS = ("function-after", "[key]")
"""Steps of a validation that are no key of the file."""

_HEADER = re.compile(r"^\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(#.*)?$")
_NAME = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_KEY = re.compile(rf"^\s*({_NAME}(?:\s*\.\s*{_NAME})*)\s*=")
_PART = re.compile(_NAME)
_TEXT = re.compile(r'"""|\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[\]{}]')


@dataclass(frozen=True)
class TomlFile:
    """A parsed file.

    Attributes:
        name: file name for messages.
        text: the text as it stands.
        data: parsed content.
        lines: place of each key and table header -> 1-based line.
    """

    name: str
    text: str
    data: dict[str, Any]
    lines: dict[Place, int]

    def line_of(self, place: Sequence[str | int]) -> int | None:
        """Line of a place, of the first thing inside it, or of the nearest table or key around it."""
        for length in range(len(place), 0, -1):
            around = tuple(place[:length])
            if around in self.lines:
                return self.lines[around]
            inside = [line for key, line in self.lines.items() if key[:length] == around]
            if inside:
                return min(inside)
        return None

    def fault(self, message: str, *place: str | int) -> Fault:
        """A fault at a place in this file."""
        return Fault(message, self.name, self.line_of(place), dotted(place))

    def faults(self, error: ValidationError, model: type[BaseModel]) -> list[Fault]:
        """The faults of a validation, each with its line and key in plain words."""
        found = []
        for detail in error.errors(include_url=False):
            place = [part for part in detail["loc"] if part not in _NO_KEYS]
            cause = detail.get("ctx", {}).get("error")
            if isinstance(cause, PlacedError):
                found += [self.fault(message, *place, *inner) for inner, message in cause.placed]
            else:
                found.append(self.fault(_plain(detail, model), *place))
        return found


def read_toml(path: Path) -> TomlFile:
    """Read and parse a TOML file.

    Raises:
        UserError: there is no such file, it is not UTF-8 text, or it is not TOML; with the line.
    """
    return parse_toml(read_text(path), path.name)


def parse_toml(text: str, name: str) -> TomlFile:
    """Parse TOML text.

    Raises:
        UserError: the text is not TOML; with the line.
    """
    text = text.replace("\r\n", "\n")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        line = int(found.group(1)) if found else text.count("\n") + 1
        message = re.sub(r"\s*\(at [^)]*\)", "", str(error))
        raise UserError(Fault(f"the file is torn or mistyped here: {message}", name, line)) from None
    return TomlFile(name, text, data, _places(text))


def dotted(place: Sequence[str | int]) -> str:
    """A place as people write it: ``plan.ramp[2].rate``; array entries count from 1."""
    out = ""
    for part in place:
        out += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return out.lstrip(".")


def _places(text: str) -> dict[Place, int]:
    """Line of every table header and of every key at the top level of a table."""
    lines: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    table: Place = ()
    depth, quote = 0, ""
    for number, line in enumerate(text.split("\n"), start=1):
        if depth == 0 and not quote:
            header = _HEADER.match(line)
            if header and not _KEY.match(line):
                table = _with_counts(_parts(header.group(2)), counts, header.group(1) == "[[")
                lines.setdefault(table, number)
                if isinstance(table[-1], int):
                    lines.setdefault(table[:-1], number)
                continue
            key = _KEY.match(line)
            if key:
                place = (*table, *_parts(key.group(1)))
                lines.setdefault(place, number)
                line = line[key.end() :]
        depth, quote = _depth_after(line, depth, quote)
    return lines


def _parts(text: str) -> Place:
    return tuple(part.strip("\"'") for part in _PART.findall(text))


def _with_counts(parts: Place, counts: dict[Place, int], new_entry: bool) -> Place:
    """A header's path with the number of the array entry behind each array of tables."""
    place: Place = ()
    for index, part in enumerate(parts):
        place = (*place, part)
        if new_entry and index == len(parts) - 1:
            counts[place] = counts.get(place, -1) + 1
        if place in counts:
            place = (*place, counts[place])
    return place


def _depth_after(line: str, depth: int, quote: str) -> tuple[int, str]:
    """Depth of brackets and open multi-line quote after a line."""
    position = 0
    while position < len(line):
        if quote:
            end = line.find(quote, position)
            if end < 0:
                return depth, quote
            position, quote = end + 3, ""
            continue
        token = _TEXT.search(line, position)
        if token is None:
            break
        mark = token.group()
        if mark in ('"""', "'''"):
            quote = mark
        elif mark in "[{":
            depth += 1
        elif mark in "]}":
            depth -= 1
        elif mark.startswith("#"):
            break
        position = token.end()
    return depth, quote


def _plain(detail: Any, model: type[BaseModel]) -> str:
    """A validation message in plain words."""
    kind, given = detail["type"], detail.get("input")
    if kind == "missing":
        return "is missing"
    if kind == "extra_forbidden":
        known = _fields_at(model, detail["loc"][:-1])
        return "is not a known key" + (f"; known here: {', '.join(known)}" if known else "")
    message = str(detail["msg"]).removeprefix("Value error, ").replace("Input should be", "should be")
    if kind == "value_error" or isinstance(given, dict | list):
        return message
    return f"{message}; found {given!r}"


def _fields_at(model: type[BaseModel], place: Sequence[str | int]) -> list[str]:
    """Keys that are known at a place of a model; empty when the place holds no table."""
    here: Any = model
    for part in place:
        here = _inside(_bare(here), part)
    here = _bare(here)
    if not (isinstance(here, type) and issubclass(here, BaseModel)):
        return []
    return [info.alias or name for name, info in here.model_fields.items()]


def _inside(annotation: Any, part: str | int) -> Any:
    """The type one step further in: of a field, of a mapping's values, of a list's entries."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        info = annotation.model_fields.get(str(part))
        return None if info is None else info.annotation
    parts = get_args(annotation)
    return parts[-1] if get_origin(annotation) is dict else parts[0] if parts else None


def _bare(annotation: Any) -> Any:
    """A type without its annotations and without "or None"."""
    while get_origin(annotation) in (Annotated, Union, UnionType):
        annotation = next(part for part in get_args(annotation) if part is not type(None))
    return annotation
