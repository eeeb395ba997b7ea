"""Places of a band table as people write them: "1 to 3", "November; December", "first flower"."""

from __future__ import annotations

import re
from typing import Any, Final

from fertadjust.band_rows import MONTHS, Axis, BandRow

_SPAN: Final = re.compile(r"(?:weeks?|days?)?\s*(-?\d{1,3})(?:\s*(?:to|-|–|—)\s*(-?\d{1,3}))?", re.IGNORECASE)
_MONTH: Final = "|".join(f"{month[:3]}(?:{month[3:]})?" for month in MONTHS)
_A_DATE: Final = re.compile(
    rf"\d{{1,2}}[-. /]+(?:{_MONTH})\.?(?:[-. /]+\d{{2,4}})?|"
    rf"(?:{_MONTH})[-. /]+\d{{1,4}}|"
    r"\d{1,2}\.\s*[^\W\d]{3,}\.?(?:\s+\d{2,4})?|"
    r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}.*",
    re.IGNORECASE,
)
"""What spreadsheet programs make of 1-3, 3.4 or 4/5: "3-Jan", "3. Apr", "Mar-26", "01/05/2026"."""
_MONTH_BY_START: Final = {month[:3].lower(): month for month in MONTHS}
_SEASON: Final = ("season", "whole season", "the whole season")


def stage_name(text: str) -> str:
    """A stage as season files name it: "First flower" -> "first_flower"."""
    return re.sub(r"[\s-]+", "_", text.strip().lower())


def read_place(text: str, axis: Axis) -> dict[str, Any]:
    """Fields of `BandRow` that place a row.

    Args:
        text: a stage, or two with "to" between; weeks or days ("4", "1 to 3", "1-3"); months; "season".
        axis: what the table runs along.

    Raises:
        ValueError: it is none of the axis's places; says what was found and what would be accepted.

    >>> read_place("weeks 1 to 3", Axis.WEEKS)
    {'weeks': (1, 3)}
    """
    if not text:
        raise ValueError(f"is empty; write {_example(axis)}")
    if _A_DATE.fullmatch(text):
        made = ", as a spreadsheet program makes of 1-3" if axis in (Axis.WEEKS, Axis.DAYS) else ""
        raise ValueError(f'"{text}" is a date{made}; write {_example(axis)}')
    if axis is Axis.STAGES:
        first, *rest = (stage_name(part) for part in re.split(r"\s+to\s+", text, maxsplit=1, flags=re.IGNORECASE))
        return {"stage": first, "until": rest[0]} if rest else {"stage": first}
    if axis is Axis.SEASON:
        if text.lower() not in _SEASON:
            raise ValueError(f'"{text}" is none; write season')
        return {}
    if axis is Axis.MONTHS:
        return {"months": _months(text)}
    found = _SPAN.fullmatch(text)
    if found is None:
        raise ValueError(f'"{text}" is no {axis.value.removesuffix("s")}; write {_example(axis)}')
    return {axis.value: (int(found[1]), int(found[2] or found[1]))}


def place_text(row: BandRow) -> str:
    """A row's place, such that `read_place` reads it again and no spreadsheet program takes it for a date."""
    span = row.weeks or row.days
    if span is not None:
        return str(span[0]) if span[0] == span[1] else f"{span[0]} to {span[1]}"
    if row.stage is not None:
        return row.stage if row.until is None else f"{row.stage} to {row.until}"
    return "season" if row.months is None else "; ".join(row.months)


def _months(text: str) -> tuple[str, ...]:
    names = [part for part in re.split(r"\s*(?:[;,/]|\band\b)\s*", text.strip()) if part]
    months = []
    for name in names:
        month = _MONTH_BY_START.get(name[:3].lower(), "")
        if not month.lower().startswith(name.lower()) or len(name) < 3:
            raise ValueError(f'"{name}" is no month; write {_example(Axis.MONTHS)}')
        months.append(month)
    return tuple(months)


def _example(axis: Axis) -> str:
    return {
        Axis.WEEKS: "a week such as 4, or weeks such as 1 to 3",
        Axis.DAYS: "days such as 40 to 60",
        Axis.MONTHS: "English months such as November; December",
        Axis.STAGES: "a stage such as first flower",
        Axis.SEASON: "season",
    }[axis]
