"""Numbers as laboratories print them: marks of thousands and decimals, bounds, units, and words for none.

What a value is worth (its sign, its size) is checked where results are entered.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal as Exact
from enum import Enum, StrEnum
from typing import Final

from fertadjust.errors import Fault, UserError
from fertadjust.lab.text import shown


class Decimal(StrEnum):
    """The decimal mark of a report's numbers; the other of the two may set thousands apart."""

    POINT = "point"
    COMMA = "comma"


@dataclass(frozen=True, slots=True)
class Value:
    """A number that a cell holds.

    Attributes:
        text: canonical: "<" or ">" or neither, then a plain number with a point, such as "<10" or "2310.5".
        unit: the unit in the same cell as printed ("3.1 %" -> "%"), "" when there is none.
    """

    text: str
    unit: str


class Absent(Enum):
    """Why a cell holds no number."""

    NOTHING = "nothing"
    """Nothing was measured or printed."""
    NOT_DETECTED = "not detected"
    """Measured, and below a limit that the cell does not tell."""


@dataclass(frozen=True, slots=True)
class DecimalEvidence:
    """The first cell, if any, that proves each decimal mark, and the first that can be read with both."""

    point: str | None
    comma: str | None
    ambiguous: str | None


_NOTHING: Final = frozenset(
    {"", "-", "--", "---", "–", "—", ".", "n/a", "na", "n.a.", "n.a", "#n/a", "none", "null", "missing"}
    | {"not analysed", "not analyzed", "not tested"}
)
_NOT_DETECTED: Final = frozenset(
    {"nd", "n.d.", "n.d", "n/d", "bdl", "<lod", "<dl", "<mdl", "<rl", "<loq", "not detected", "none detected"}
    | {"below detection", "below detection limit"}
)

_MINUS: Final = frozenset("-−")

_LONGEST_CELL: Final = 100
_LONGEST_VALUE: Final = 40

_SPACES: Final = " \u00a0\u2007\u2009\u202f"
_CELL: Final = re.compile(
    rf"([<>]?)[{_SPACES}]*([+\-−]?)"  # bound and sign
    rf"([0-9.,][0-9.,'’{_SPACES}]*)"  # digits and marks
    r"(?:(?<=[0-9.,])[eE]([+\-]?[0-9]{1,3})(?![0-9]))?"  # power of ten
    rf"[{_SPACES}]*((?![A-Za-z][0-9]|.*[0-9]{{4}})[A-Za-zµμ%‰\[(][\w%‰/.\[\]()·^\-− ⁻¹²³]{{0,23}})?"  # unit
)


def _number(mark: str, other: str) -> re.Pattern[str]:
    thousands = rf"[1-9][0-9]{{0,2}}(?:(['’{other}{_SPACES}])[0-9]{{3}})(?:\1[0-9]{{3}})*"
    return re.compile(rf"(?:[0-9]+|{thousands})(?:{mark}[0-9]*)?|{mark}[0-9]+")


_NUMBERS: Final = {Decimal.POINT: _number(r"\.", ","), Decimal.COMMA: _number(",", r"\.")}
_MANTISSAS: Final = {
    Decimal.POINT: re.compile(r"[0-9]+(?:\.[0-9]*)?|\.[0-9]+"),
    Decimal.COMMA: re.compile(r"[0-9]+(?:,[0-9]*)?|,[0-9]+"),
}
_DROPPED: Final = {
    Decimal.POINT: str.maketrans(dict.fromkeys(f",'’{_SPACES}")),
    Decimal.COMMA: str.maketrans(dict.fromkeys(f".'’{_SPACES}") | {",": "."}),
}
_OTHER: Final = {Decimal.POINT: Decimal.COMMA, Decimal.COMMA: Decimal.POINT}

_ACCEPTED: Final = "write a number such as 2310 or 3.1, a bound such as <10 or >5000, or ND for not detected"


def is_nothing(cell: str) -> bool:
    """Whether a cell is empty, or says in words that there is nothing ("-", "n/a", "not tested")."""
    return not cell or " ".join(_unmarked(cell).lower().split()) in _NOTHING


def decimal_evidence(cells: Iterable[str]) -> DecimalEvidence:
    """What cells prove of the decimal mark: "12.5" a point, "12,5" a comma, "2,310" and "2310" neither."""
    point = comma = ambiguous = None
    for cell in cells:
        if "." not in cell and "," not in cell:
            continue
        found = None if len(cell) > _LONGEST_CELL else _CELL.fullmatch(_unmarked(cell))
        if found is None:
            continue
        with_point, with_comma = _canonical(found, Decimal.POINT), _canonical(found, Decimal.COMMA)
        if with_point == with_comma:
            continue
        if with_comma is None:
            point = point if point is not None else cell
        elif with_point is None:
            comma = comma if comma is not None else cell
        elif ambiguous is None:
            ambiguous = cell
    return DecimalEvidence(point, comma, ambiguous)


def read_value(cell: str, decimal: Decimal) -> Value | Absent:
    """The number in a cell, or why there is none.

    Thousands may be set apart by blanks, apostrophes, or the mark that is not the decimal one.

    Args:
        cell: the text of the cell.
        decimal: the decimal mark of the report.

    Raises:
        UserError: neither a number nor a word for none; says what was found and what would be accepted.
    """
    found = _CELL.fullmatch(_unmarked(cell)) if len(cell) <= _LONGEST_CELL else None
    text = None if found is None else _canonical(found, decimal)
    if found is not None and text is not None:
        if len(text) > _LONGEST_VALUE:
            raise UserError(Fault(f"{shown(cell)} has too many digits for a measured value; {_ACCEPTED}"))
        return Value(text, (found[5] or "").strip())
    word = " ".join(_unmarked(cell).lower().split())
    if word in _NOTHING:
        return Absent.NOTHING
    if word.replace("< ", "<") in _NOT_DETECTED:
        return Absent.NOT_DETECTED
    if found is not None and _canonical(found, _OTHER[decimal]) is not None:
        message = (
            f"{shown(cell)} is a number only with a decimal {_OTHER[decimal].value}, "
            f"but this report's decimal mark is a {decimal.value}"
        )
        raise UserError(Fault(message))
    raise UserError(Fault(f"{shown(cell)} is not a value; {_ACCEPTED}"))


def _unmarked(cell: str) -> str:
    """Without blanks around it and without the apostrophe by which spreadsheet programs mark text."""
    text = cell.strip()
    return text[1:].lstrip() if text[:1] == "'" else text


def _canonical(found: re.Match[str], mark: Decimal) -> str | None:
    """A matched cell's bound and number in canonical form; None when it is no number with this mark."""
    bound, sign, number, power, _ = found.groups()
    number = number.rstrip(_SPACES)
    if (_NUMBERS if power is None else _MANTISSAS)[mark].fullmatch(number) is None:
        return None
    if not number.isdigit():
        number = number.translate(_DROPPED[mark])
    if power is not None:
        number = f"{Exact(f'{number}e{power}'):f}"
    if number[0] in "0." or number[-1] == ".":
        whole, _, part = number.partition(".")
        number = (whole.lstrip("0") or "0") + (f".{part}" if part else "")
    return f"{bound}{'-' if sign in _MINUS else ''}{number}"
