"""From a value cell with its limit and qualifier to a value's text: a number, "<10", nothing, or a question."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fertadjust.lab.cells import Values, mg_n, plain
from fertadjust.lab.found import Findings
from fertadjust.lab.kinds import Kind
from fertadjust.lab.profile import QUALIFIER_MEANINGS, Profile
from fertadjust.lab.values import Absent, Value
from fertadjust.lab.words import loose, unit_of

_PLAIN_QUALIFIERS: Final = ("", "<", ">")
_PPM: Final = {"dry": "mg/kg", "sap": "mg/L"}
"""What ppm is on each basis."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A reporting limit beside a value.

    Attributes:
        cell: as printed, or "".
        units: units of its column, in the header and below it, as printed; "" where there are none.
    """

    cell: str = ""
    units: tuple[str, ...] = ()


@dataclass(slots=True)
class Amounts:
    """Makes the texts of values for one report.

    Attributes:
        values: reads cells.
        profile: what was told.
        found: takes questions and faults.
    """

    values: Values
    profile: Profile
    found: Findings

    def text(
        self, read: Value | Absent, kind: Kind, limit: Limit, qualifier: str, line: int | None, key: str
    ) -> str | None:
        """The value's text, or None where it was asked about or is a fault.

        Args:
            read: the value cell as read; not `Absent.NOTHING`.
            kind: its kind.
            limit: its reporting limit.
            qualifier: the cell of its qualifier, or "".
            line, key: its place.
        """
        text = self._below_limit(kind, limit, line, key) if read is Absent.NOT_DETECTED else ""
        if isinstance(read, Value):
            text = read.text
            if qualifier:
                text = self._qualified(text, qualifier, line, key)
        return mg_n(text) if text and kind.per_mmol else text

    def _below_limit(self, kind: Kind, limit: Limit, line: int | None, key: str) -> str | None:
        printed = self.values.read(limit.cell) if limit.cell else Absent.NOTHING
        if isinstance(printed, str):
            self.found.fault(f"the reporting limit: {printed}", line, key)
            return None
        if isinstance(printed, Value):
            other = _other_unit((printed.unit, *limit.units), kind)
            if other and kind.ready:
                self.found.fault(
                    f"the reporting limit is in {other}, the value in {kind.unit}; both should be in one unit",
                    line,
                    key,
                )
                return None
            return f"<{printed.text.lstrip('<>')}"
        known = self.profile.limits.get(kind.analyte)
        if known is None and not kind.analyte:
            return None
        if known is None:
            what = f"{kind.analyte} was not detected, and no reporting limit is printed: what is it, as a number?"
            self.found.ask(f"limits.{kind.analyte}", what, (), line, key)
            return None
        return f"<{plain(known)}"

    def _qualified(self, text: str, qualifier: str, line: int | None, key: str) -> str | None:
        meaning: str | None = qualifier
        if qualifier not in _PLAIN_QUALIFIERS:
            meaning = self.profile.qualifiers.get(loose(qualifier) or qualifier)
        if meaning is None:
            what = f'What does "{qualifier}" beside the value mean: less than, more than, or nothing for its size?'
            self.found.ask(
                f"qualifiers.{loose(qualifier) or qualifier}", what, QUALIFIER_MEANINGS, line, qualifier
            )
            return None
        if meaning == "ignore" or text.startswith(meaning):
            return text
        if text[:1] in ("<", ">"):
            self.found.fault(f'"{text}" and its qualifier "{qualifier}" say different things', line, key)
            return None
        return meaning + text


def _other_unit(units: tuple[str, ...], kind: Kind) -> str:
    """The first unit that is not the value's, or "". ppm is mg/kg of dry tissue and mg/L of sap."""
    ppm = _PPM.get(kind.fields.get("basis", ""), "ppm")
    own = ppm if kind.unit == "ppm" else kind.unit
    for printed in filter(None, units):
        unit = unit_of(printed) or printed
        if own and (ppm if unit == "ppm" else unit) != own:
            return unit
    return ""
