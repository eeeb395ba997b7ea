"""What a laboratory's reports have to be told once: meanings, units, tissue, dates. Answers are checked here."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, Literal

from pydantic import Field

from fertadjust.errors import Fault, UserError
from fertadjust.lab.days import Order
from fertadjust.lab.values import Decimal
from fertadjust.lab.vocabulary import ANALYTE_NAMES, Role
from fertadjust.lab.words import loose, unit_of
from fertadjust.strict import Strict

QUALIFIER_MEANINGS: Final = ("<", ">", "ignore")
COLUMN_ANSWERS: Final = ("ignore", *(role.value for role in Role if role is not Role.IGNORE), *ANALYTE_NAMES)
"""What a column can be told to be."""
UNIT_ANSWERS: Final = ("ppm", "mg/kg", "g/kg", "%", "mg/L", "g/L", "mmol/L")


class Profile(Strict):
    """Answers that a laboratory's reports need; all optional.

    Attributes:
        header: header cells in loose form by which the next report is recognised; () until saved.
        columns: loose header, or loose analyte, -> a role's value, "ignore" or an analyte.
        units: loose header, or analyte, -> unit of values that have none printed.
        tissue: of values that name none; "split" when nitrate is of petioles and everything else of leaves.
        basis: of petiole values that name none.
        dates: which comes first in dates such as 3/9/2026.
        decimal: the decimal mark where the numbers themselves leave it open.
        limits: analyte -> reporting limit in the report's unit, for values given as "not detected".
        qualifiers: loose qualifier -> what it makes of the value beside it.
        laboratory: the laboratory's name, where the report does not print it.
        sheet: the sheet of a spreadsheet that holds the results.
    """

    header: tuple[str, ...] = ()
    columns: dict[str, str] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    tissue: Literal["petiole", "leaf", "split", ""] = ""
    basis: Literal["dry", "sap", ""] = ""
    dates: Order | Literal[""] = ""
    decimal: Decimal | Literal[""] = ""
    limits: dict[str, float] = Field(default_factory=dict)
    qualifiers: dict[str, Literal["<", ">", "ignore"]] = Field(default_factory=dict)
    laboratory: str = ""
    sheet: str = ""


def told(profile: Profile, question_key: str, answer: str) -> Profile:
    """A copy of a profile with one more answer.

    Args:
        profile: what was told so far.
        question_key: the key of a `Question`, for example "tissue" or "units.no3-n".
        answer: one of the question's choices, or free text where it has none; case does not matter.

    Raises:
        UserError: there is no such question, or the answer is not acceptable; says what would be.
    """
    field, dot, item = question_key.partition(".")
    answer = answer.strip()
    if dot and field in _OF_ITEMS and item.strip():
        kept = _item_key(field, item)
        value = _OF_ITEMS[field](answer, question_key)
        return profile.model_copy(update={field: {**getattr(profile, field), kept: value}})
    if not dot and field in _CHOICES:
        return profile.model_copy(update={field: _CHOICES[field](_choice(answer, _WORDS[field], question_key))})
    if not dot and field in ("laboratory", "sheet"):
        if not answer:
            raise UserError(Fault("the answer is empty; write a name", key=question_key))
        return profile.model_copy(update={field: answer})
    known = ", ".join((*_CHOICES, "laboratory", "sheet", *(f"{name}.…" for name in _OF_ITEMS)))
    raise UserError(Fault(f'"{question_key}" is no question about a report; they are: {known}', key=question_key))


def _item_key(field: str, item: str) -> str:
    """Analytes keep their spelling; headers and qualifiers are kept in loose form."""
    plain = item.strip()
    names = {name.lower(): name for name in ANALYTE_NAMES}
    if field == "limits" or (field == "units" and plain in ANALYTE_NAMES):
        return names.get(plain.lower(), plain)
    return loose(plain) or plain


def _choice(answer: str, choices: tuple[str, ...], key: str) -> str:
    for choice in choices:
        if loose(choice) == loose(answer) and answer:
            return choice
    raise UserError(Fault(f'"{answer}" should be one of {", ".join(choices)}', key=key))


def _column(answer: str, key: str) -> str:
    if answer in COLUMN_ANSWERS:
        return answer
    return _choice(answer, COLUMN_ANSWERS, key)


def _unit(answer: str, key: str) -> str:
    unit = unit_of(answer)
    if unit is None:
        raise UserError(Fault(f'"{answer}" should be a unit: {", ".join(UNIT_ANSWERS)}', key=key))
    return unit


def _limit(answer: str, key: str) -> float:
    try:
        limit = float(answer) if answer.isascii() and "_" not in answer else math.nan
    except ValueError:
        limit = math.nan
    if not (math.isfinite(limit) and limit > 0):
        raise UserError(Fault(f'"{answer}" should be a number above zero, such as 10', key=key))
    return limit


def _qualifier(answer: str, key: str) -> str:
    return _choice(answer, QUALIFIER_MEANINGS, key)


_OF_ITEMS: Final[dict[str, Callable[[str, str], str | float]]] = {
    "columns": _column,
    "units": _unit,
    "limits": _limit,
    "qualifiers": _qualifier,
}
_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "tissue": ("petiole", "leaf", "split"),
    "basis": ("dry", "sap"),
    "dates": tuple(order.value for order in Order),
    "decimal": tuple(mark.value for mark in Decimal),
}
_CHOICES: Final[dict[str, Callable[[str], str]]] = {
    "tissue": str,
    "basis": str,
    "dates": Order,
    "decimal": Decimal,
}
