"""Dates as laboratories print them, and what a report's dates prove of the order of day and month."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import lru_cache
from typing import Final

from fertadjust.dates import day
from fertadjust.errors import Fault, UserError
from fertadjust.lab.text import shown
from fertadjust.lab.values import is_nothing


class Order(StrEnum):
    """Which comes first in dates that are all numbers."""

    DAY_FIRST = "day first"
    MONTH_FIRST = "month first"


@dataclass(frozen=True, slots=True)
class OrderEvidence:
    """The first cell, if any, that proves each order, and the first that needs to know it."""

    day_first: str | None
    month_first: str | None
    ambiguous: str | None


class AmbiguousDay(UserError):
    """A date that is another day with the day first than with the month first, where the order is not known."""


@dataclass(frozen=True, slots=True)
class _Reading:
    """The day that a cell means in either order; None where it means none. Not both are None."""

    day_first: date | None
    month_first: date | None


_FIRST_YEAR: Final = 1990
_LAST_YEAR: Final = 2100
_LONGEST_CELL: Final = 60

_ACCEPTED: Final = "write 2026-03-09, or 9 Mar 2026"
_WEEKDAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTH_NAMES: Final = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_MONTHS: Final = (
    {name: number for number, name in enumerate(_MONTH_NAMES, 1)}
    | {name[:3]: number for number, name in enumerate(_MONTH_NAMES, 1)}
    | {"sept": 9}
)

_WEEKDAY: Final = re.compile(
    r"(mon(?:day)?|tue(?:s(?:day)?)?|wed(?:nesday)?|thu(?:rs?(?:day)?)?|fri(?:day)?|sat(?:urday)?|sun(?:day)?)"
    r"(?:[.,]+ ?| )(?=[0-9a-z])",
    re.ASCII | re.IGNORECASE,
)
_TIME: Final = re.compile(
    r"(?:,? |T)(?:"
    r"(?:[01]?[0-9]|2[0-4]):[0-5][0-9](?::[0-6][0-9](?:[.,][0-9]+)?)?(?: ?[ap]\.?m\.?)?"
    r"|(?<=[0-9]T)(?:[01][0-9]|2[0-4])[0-5][0-9](?:[0-6][0-9])?)"
    r"(?: ?(?:Z|[+-][0-9]{2}:?(?:[0-9]{2})?|(?:UTC|GMT)(?:[+-][0-9]{1,2})?|[a-z]{3,4}))?$",
    re.ASCII | re.IGNORECASE,
)

_ISO: Final = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_YEAR_FIRST: Final = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})")
_COMPACT: Final = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_NUMBERS: Final = re.compile(r"([0-9]{1,2}) ?([-/.]) ?([0-9]{1,2}) ?\2 ?([0-9]{4}|[0-9]{2})")
_SERIAL: Final = re.compile(r"[0-9]{5}(?:[.,][0-9]+)?")

_NTH: Final = r"([0-9]{1,2})(?:st|nd|rd|th)?"
_WORD: Final = r"([a-z]{3,9})\.?"
_YEAR: Final = r"('?[0-9]{2}|[0-9]{4})"
_NAMED: Final = (
    (re.compile(rf"{_NTH}\.?[ /-]?(?:of )?{_WORD},?[ /-]?{_YEAR}", re.ASCII | re.IGNORECASE), (3, 2, 1)),
    (re.compile(rf"{_WORD}[ /-]?{_NTH}(?:, ?|[ /-]){_YEAR}", re.ASCII | re.IGNORECASE), (3, 1, 2)),
    (re.compile(rf"([0-9]{{4}})[ /-]?{_WORD}[ /-]?{_NTH}", re.ASCII | re.IGNORECASE), (1, 2, 3)),
)
"""Dates with the month in words, and where their year, month and day stand."""


def order_evidence(cells: Iterable[str]) -> OrderEvidence:
    """What cells prove of the order of day and month: "25/3/2026" the day first, "3/9/2026" nothing."""
    day_first = month_first = ambiguous = None
    for cell in cells:
        reading = _reading(cell)
        if not isinstance(reading, _Reading) or reading.day_first == reading.month_first:
            continue
        if reading.month_first is None:
            day_first = day_first if day_first is not None else cell
        elif reading.day_first is None:
            month_first = month_first if month_first is not None else cell
        elif ambiguous is None:
            ambiguous = cell
    return OrderEvidence(day_first, month_first, ambiguous)


def read_day(cell: str, order: Order | None) -> date | None:
    """The day in a cell; None when the cell is empty or says that there is nothing.

    Years of two digits are 20yy. A time of day and its zone are left out.

    Args:
        cell: the text of the cell.
        order: which comes first in dates that are all numbers, or None when that is not known.

    Raises:
        AmbiguousDay: the order is not known and matters.
        UserError: no date, none in this order, or outside 1990 to 2100; says what would be accepted.
    """
    reading = _reading(cell)
    if reading is None:
        return None
    if isinstance(reading, str):
        raise UserError(Fault(reading))
    first, second = reading.day_first, reading.month_first
    if order is None:
        if first is not None and second is not None and first != second:
            message = (
                f"{shown(cell)} can be {day(second)} or {day(first)}: which comes first, the day or the month?"
            )
            raise AmbiguousDay(Fault(message))
        return first if first is not None else second
    asked, other = (first, second) if order is Order.DAY_FIRST else (second, first)
    if asked is None and other is not None:
        first_is, other_is = ("day", "month") if order is Order.DAY_FIRST else ("month", "day")
        message = (
            f"{shown(cell)} is no date with the {first_is} first, which is how this report's dates are read; "
            f"with the {other_is} first it is {day(other)}"
        )
        raise UserError(Fault(message))
    return asked


@lru_cache(maxsize=8192)
def _reading(cell: str) -> _Reading | str | None:
    """What a cell means: a day in either order, what is wrong with it, or None for nothing."""
    if len(cell) > _LONGEST_CELL:
        return f"{shown(cell)} is not a date; {_ACCEPTED}"
    text = " ".join(cell.split())
    if text[:1] == "'":
        text = text[1:].lstrip()
    if iso := _ISO.fullmatch(text):
        return _fixed(cell, iso[1], int(iso[2]), iso[3], None)
    if is_nothing(text):
        return None
    weekday = None
    if called := _WEEKDAY.match(text):
        weekday = [name[:3].lower() for name in _WEEKDAYS].index(called[1][:3].lower())
        text = text[called.end() :]
    text = _TIME.sub("", text)
    if found := _YEAR_FIRST.fullmatch(text):
        return _fixed(cell, found[1], int(found[3]), found[4], weekday)
    if found := _COMPACT.fullmatch(text):
        return _fixed(cell, found[1], int(found[2]), found[3], weekday)
    if found := _NUMBERS.fullmatch(text):
        return _either(cell, found[1], found[3], found[4], weekday)
    for form, (year, month, nth) in _NAMED:
        if found := form.fullmatch(text):
            number = _MONTHS.get(found[month].lower())
            if number is None:
                return f"{shown(cell)} is not a date: {shown(found[month])} is no month; {_ACCEPTED}"
            return _fixed(cell, found[year], number, found[nth], weekday)
    if _SERIAL.fullmatch(text):
        return (
            f"{shown(cell)} looks like a spreadsheet's serial number of a day; give the column the format "
            "of a date there and save it again"
        )
    return f"{shown(cell)} is not a date; {_ACCEPTED}"


def _fixed(cell: str, year: str, month: int, nth: str, weekday: int | None) -> _Reading | str:
    """A date whose order is plain."""
    full = _full_year(year)
    if not _FIRST_YEAR <= full <= _LAST_YEAR:
        return _far(cell, full)
    found = _calendar(full, month, int(nth))
    if found is None:
        return f"{shown(cell)} is no day of the calendar; {_ACCEPTED}"
    if weekday is not None and found.weekday() != weekday:
        return (
            f"{shown(cell)} is a {_WEEKDAYS[found.weekday()]}, not a {_WEEKDAYS[weekday]}; correct one of the two"
        )
    return _Reading(found, found)


def _either(cell: str, one: str, two: str, year: str, weekday: int | None) -> _Reading | str:
    """A date in numbers, with the day or the month first; a weekday before it may settle which."""
    full = _full_year(year)
    if not _FIRST_YEAR <= full <= _LAST_YEAR:
        return _far(cell, full)
    days = (_calendar(full, int(two), int(one)), _calendar(full, int(one), int(two)))
    if days == (None, None):
        return f"{shown(cell)} is no day of the calendar; {_ACCEPTED}"
    if weekday is not None:
        days = (_on(days[0], weekday), _on(days[1], weekday))
        if days == (None, None):
            return f"{shown(cell)} is not a {_WEEKDAYS[weekday]}; correct one of the two"
    return _Reading(*days)


def _on(found: date | None, weekday: int) -> date | None:
    return found if found is not None and found.weekday() == weekday else None


def _full_year(year: str) -> int:
    plain = year.lstrip("'")
    return int(plain) + (2000 if len(plain) == 2 else 0)


def _far(cell: str, year: int) -> str:
    return f"{shown(cell)} is in the year {year}; dates of samples lie between {_FIRST_YEAR} and {_LAST_YEAR}"


def _calendar(year: int, month: int, nth: int) -> date | None:
    try:
        return date(year, month, nth)
    except ValueError:
        return None
