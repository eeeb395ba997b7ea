"""Numbers and dates of a report: the decimal mark and the order of day and month that its cells prove."""

from __future__ import annotations

import decimal
from collections.abc import Iterable, Mapping
from typing import Final

from fertadjust.errors import UserError
from fertadjust.lab.days import AmbiguousDay, Order, order_evidence, read_day
from fertadjust.lab.found import Findings
from fertadjust.lab.profile import Profile
from fertadjust.lab.values import Absent, Decimal, Value, decimal_evidence, read_value
from fertadjust.units import N_ATOMIC_MASS

Places = Mapping[str, int | None]
"""Distinct cells with the first line of each."""

_MG_N_PER_MMOL: Final = decimal.Decimal(repr(N_ATOMIC_MASS))


class Number(str):
    """A number cell of a spreadsheet or of JSON: its mark is a point, whatever the file's texts use."""

    __slots__ = ()


class DateCell(str):
    """A cell of a spreadsheet that holds a date and not a text: as an ISO date."""

    __slots__ = ()


def plain(number: float) -> str:
    """The shortest text of a number without an exponent: 2310.0 -> "2310"."""
    text = format(decimal.Decimal(repr(number)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def mg_n(text: str) -> str:
    """A canonical value in mmol/L of nitrate -> mg/L of NO3-N; a bound stays one."""
    bound = text[:1] if text[:1] in ("<", ">") else ""
    with decimal.localcontext(prec=50):
        amount = (decimal.Decimal(text[len(bound) :]) * _MG_N_PER_MMOL).normalize()
    return f"{bound}{amount:f}"


def decimal_mark(cells: Places, commas_apart: bool, profile: Profile, found: Findings) -> Decimal:
    """The decimal mark of a report's numbers.

    What the cells prove decides; cells that prove both, or other than what was told, are a fault of the whole
    file. Where all are open, a file whose cells are set apart by commas uses points; otherwise it is asked.
    """
    proof = decimal_evidence(cells)
    if proof.point is not None and proof.comma is not None:
        found.hopeless = True
        found.fault(
            f'"{proof.comma}" has a decimal comma, but "{proof.point}"{_at(cells, proof.point)} a decimal point; '
            "write all numbers the same way",
            cells[proof.comma],
        )
    shown = proof.point if proof.point is not None else proof.comma
    if shown is not None:
        mark = Decimal.POINT if proof.point is not None else Decimal.COMMA
        if profile.decimal and profile.decimal is not mark and not found.hopeless:
            found.hopeless = True
            found.fault(
                f'"{shown}" has a decimal {mark.value}, but decimal {profile.decimal.value} was told', cells[shown]
            )
        return mark
    if profile.decimal:
        return profile.decimal
    if proof.ambiguous is not None and not commas_apart:
        what = f'Is the mark in "{proof.ambiguous}" a decimal mark or one of thousands? Tell the decimal mark.'
        marks = (Decimal.POINT.value, Decimal.COMMA.value)
        found.ask("decimal", what, marks, cells[proof.ambiguous], proof.ambiguous)
    return Decimal.POINT


def day_order(cells: Places, profile: Profile, found: Findings) -> Order | None:
    """Which comes first in a report's numeric dates; None where nothing needs it, or it was asked."""
    proof = order_evidence(cells)
    if proof.day_first is not None and proof.month_first is not None:
        found.hopeless = True
        found.fault(
            f'"{proof.day_first}" has the day first, but "{proof.month_first}"{_at(cells, proof.month_first)} '
            "has the month first; write all dates the same way, such as 2026-03-09",
            cells[proof.day_first],
        )
    shown = proof.day_first if proof.day_first is not None else proof.month_first
    if shown is not None:
        order = Order.DAY_FIRST if proof.day_first is not None else Order.MONTH_FIRST
        if profile.dates and profile.dates is not order and not found.hopeless:
            found.hopeless = True
            found.fault(f'"{shown}" has the {order.value}, but {profile.dates.value} was told', cells[shown])
        return order
    if profile.dates:
        return profile.dates
    if proof.ambiguous is not None:
        what = f'Which comes first in dates such as "{proof.ambiguous}", the day or the month?'
        orders = (Order.DAY_FIRST.value, Order.MONTH_FIRST.value)
        found.ask("dates", what, orders, cells[proof.ambiguous], proof.ambiguous)
    return None


def dates_of_two_sorts(cells: Iterable[tuple[str, int | None]], header: str, found: Findings) -> None:
    """A fault of the whole file where a spreadsheet's column holds real dates beside texts such as 25/03/2026.

    A program of a country with the other order makes a date of 3/9/2026, day and month swapped, and leaves
    25/03/2026, which it cannot read, as text.
    """
    places = list(cells)
    real = next(((cell, line) for cell, line in places if type(cell) is DateCell), None)
    if real is None:
        return
    for cell, line in places:
        if type(cell) is DateCell:
            continue
        proof = order_evidence([cell])
        if proof.day_first or proof.month_first or proof.ambiguous:
            found.hopeless = True
            found.fault(
                f'"{cell}" is text, but the cell in line {real[1]} is a real date ({real[0]}): a spreadsheet '
                "program of another country may have swapped day and month in the real dates; ask the laboratory "
                "for the file as it was first made, or write every date anew, as 2026-03-09",
                line,
                header,
            )
            return


def _at(cells: Places, cell: str) -> str:
    line = cells[cell]
    return "" if line is None else f" in line {line}"


class Values:
    """Reads value cells, each distinct text once."""

    def __init__(self, mark: Decimal) -> None:
        self.mark = mark
        self._texts: dict[str, Value | Absent | str] = {}
        self._numbers: dict[str, Value | Absent | str] = {}

    def read(self, cell: str) -> Value | Absent | str:
        """The value, or what is wrong with it as text."""
        known = self._numbers if type(cell) is Number else self._texts
        value = known.get(cell)
        if value is None:
            mark = Decimal.POINT if type(cell) is Number else self.mark
            try:
                value = read_value(cell, mark)
            except UserError as error:
                value = error.faults[0].message
            known[cell] = value
        return value


class Days:
    """Reads date cells, each distinct text once."""

    def __init__(self, order: Order | None) -> None:
        self.order = order
        self._known: dict[str, tuple[str, str]] = {"": ("", "")}

    def read(self, cell: str) -> tuple[str, str]:
        """(ISO date, what is wrong), one of them ""; both for an empty cell; wrong is " " for an open order."""
        known = self._known.get(cell)
        if known is None:
            try:
                day = read_day(cell, self.order)
                known = ("" if day is None else day.isoformat(), "")
            except AmbiguousDay:
                known = ("", " ")
            except UserError as error:
                known = ("", error.faults[0].message)
            self._known[cell] = known
        return known


def first_lines(cells: Iterable[tuple[str, int | None]]) -> dict[str, int | None]:
    """Distinct cells in order with the first line of each."""
    out: dict[str, int | None] = {}
    for cell, line in cells:
        if cell not in out:
            out[cell] = line
    return out
