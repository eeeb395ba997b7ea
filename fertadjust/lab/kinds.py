"""What a value is: its analyte, unit, tissue and basis from everything that a report says, or a question."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from fertadjust.lab.found import Findings
from fertadjust.lab.profile import UNIT_ANSWERS, Profile
from fertadjust.lab.text import short
from fertadjust.lab.vocabulary import ANALYTE_NAMES, NITRATE, Role
from fertadjust.lab.words import Column, basis_of, column_of, loose, tissue_of, told_column, unit_of
from fertadjust.tissue import MAIN_ANALYTE, Tissue

NITRATES: Final = ("NO3-N", "NO3")
_MMOL: Final = "mmol/L"
_PLAIN_TISSUES: Final = ("", "plant", "plants", "tissue", "plant tissue", "sap", "plant sap")
"""Tissue cells that say no more than that it was a plant: sap is pressed from petioles, and from whole leaves."""


class Said(NamedTuple):
    """What a report says of a value besides its number, as printed; "" where it says nothing.

    Attributes:
        analyte: text of an analyte column, or "" when there is none.
        tissues: (header, text) of tissue columns.
        basis: (header, text) of a basis column.
        units: (header, text) of every unit beside the value; first the one in the value's own cell.
    """

    analyte: str = ""
    tissues: tuple[tuple[str, str], ...] = ()
    basis: tuple[str, str] = ("", "")
    units: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Kind:
    """The settled kind of a value.

    Attributes:
        fields: tissue, basis, analyte and unit for `Row.fields`.
        faults: (key, message) of what is wrong.
        ready: False where the value is not used, or a question about it is open.
        ignored: the program has no use for the analyte.
        per_mmol: the value is in mmol/L and becomes mg/L of NO3-N.
        analyte: whose reporting limit "not detected" needs; "" while that is open.
        unit: the value's unit before any conversion, or "".
        printed: unit and analyte as printed, for `Row.printed`.
    """

    fields: dict[str, str] = field(default_factory=dict)
    faults: tuple[tuple[str, str], ...] = ()
    ready: bool = True
    ignored: bool = False
    per_mmol: bool = False
    analyte: str = ""
    unit: str = ""
    printed: str = ""


@dataclass(slots=True)
class Kinds:
    """Settles kinds for one report.

    Attributes:
        found: takes the questions.
        profile: what was told.
        own: the report has the program's own columns, whose defaults the entry check knows.
        sap_or_dry: basis of petiole values that name none, or "".
        tissue, basis: what the title lines say, or "".
        long: there is a column of analytes.
    """

    found: Findings
    profile: Profile
    own: bool = False
    sap_or_dry: str = ""
    tissue: str = ""
    basis: str = ""
    long: bool = False

    def settle(self, header: str, column: Column, said: Said, line: int | None) -> Kind:
        """The kind of a value under a header; asks what is open."""
        return _Settling(self, header, column, said, line).kind()


class _Settling:
    """One value on its way to a kind."""

    def __init__(self, kinds: Kinds, header: str, column: Column, said: Said, line: int | None) -> None:
        self.kinds, self.header, self.column, self.said, self.line = kinds, header, column, said, line
        self.faults: list[tuple[str, str]] = []
        self.open = False

    def kind(self) -> Kind:
        worded = self._worded()
        if worded is not None and worded.role is Role.IGNORE:
            return Kind(ready=False, ignored=True)
        analyte = worded.analyte if worded is not None else ""
        tissue = self._tissue(worded, analyte)
        basis = self._basis(worded, tissue)
        unit = self._unit(worded, analyte)
        if self.kinds.own:
            analyte = analyte or self.said.analyte
        main = analyte or MAIN_ANALYTE[Tissue.LEAF if tissue == "leaf" else Tissue.PETIOLE]
        per_mmol = unit == _MMOL and self._per_mmol(main, basis)
        fields = {"tissue": tissue, "basis": basis, "analyte": analyte, "unit": unit}
        if per_mmol:
            fields |= {"analyte": "NO3-N", "unit": "mg/L"}
        return Kind(
            fields={key: text for key, text in fields.items() if text},
            faults=tuple(self.faults),
            ready=not self.open and not self.faults,
            per_mmol=per_mmol,
            analyte="" if worded is None or analyte == NITRATE else main,
            unit=unit,
            printed=self._printed(analyte),
        )

    def _ask(self, key: str, text: str, choices: tuple[str, ...], saw: str = "") -> None:
        self.kinds.found.ask(key, text, choices, self.line, saw or self.header)
        self.open = True

    def _worded(self) -> Column | None:
        """The header's column, or the one that the analyte's cell names."""
        column, text = self.column, self.said.analyte
        if column.analyte == NITRATE:
            self._ask_nitrate(self.header)
        if column.analyte or not (text or self.kinds.long):
            return column
        if self.kinds.own:
            return column_of(text) if text and _is_analyte(column_of(text)) else column
        if not text:
            self.faults.append(("", "the analyte is missing beside this value"))
            return None
        answer = self.kinds.profile.columns.get(loose(text))
        named = told_column(text, answer) if answer else column_of(text)
        if named is not None and named.role is Role.IGNORE:
            return named
        if not _is_analyte(named):
            what = f'"{short(text)}" is not known: which analyte is it, or is it to be ignored?'
            self._ask(f"columns.{loose(text)}", what, ("ignore", *ANALYTE_NAMES), text)
            return None
        if named is not None and named.analyte == NITRATE:
            self._ask_nitrate(text)
        return named

    def _ask_nitrate(self, text: str) -> None:
        what = f'"{short(text)}" can mean NO3 or NO3-N, a factor of 4.43: which is it?'
        self._ask(f"columns.{loose(text)}", what, NITRATES, text)

    def _tissue(self, worded: Column | None, analyte: str) -> str:
        if self.kinds.own:
            return next((text for _, text in self.said.tissues if text), "")
        texts = [(where, text) for where, text in self.said.tissues if loose(text) not in _PLAIN_TISSUES]
        for where, text in texts:
            if tissue_of(text) is None:
                self.faults.append((where, f'"{short(text)}" should be petiole or leaf'))
        heard: set[str] = {tissue for _, text in texts if (tissue := tissue_of(text))}
        heard |= {item.tissue for item in (self.column, worded) if item is not None and item.tissue}
        if len(heard) > 1:
            told = '" and "'.join(dict.fromkeys([*(text for _, text in texts), self.said.analyte or self.header]))
            self.faults.append((texts[0][0] if texts else "", f'"{short(told)}" name different tissues'))
        if len(heard) == 1:
            return heard.pop()
        if heard or self.faults:
            return ""
        if self.kinds.tissue:
            return self.kinds.tissue
        if self.kinds.profile.tissue == "split":
            return "petiole" if analyte in ("", NITRATE, *NITRATES) else "leaf"
        if not self.kinds.profile.tissue:
            what = "Which tissue are the values of? Split means nitrate of petioles and everything else of leaves."
            self._ask("tissue", what, ("petiole", "leaf", "split"))
        return self.kinds.profile.tissue

    def _basis(self, worded: Column | None, tissue: str) -> str:
        where, text = self.said.basis
        if self.kinds.own:
            return text
        heard = {item.basis for item in (self.column, worded) if item is not None and item.basis}
        if text and basis_of(text) is None:
            self.faults.append((where, f'"{short(text)}" should be dry or sap'))
        heard |= {basis for basis in map(basis_of, (text, *(tissue for _, tissue in self.said.tissues))) if basis}
        if len(heard) > 1:
            self.faults.append((where, f'"{text or self.header}" says dry weight and sap at the same time'))
        if tissue == "leaf":
            if heard == {"sap"}:
                self.faults.append((where, "sap goes with petioles; leaf values are dry weight"))
            return "dry"
        if len(heard) == 1:
            return heard.pop()
        known = self.kinds.basis or self.kinds.profile.basis or self.kinds.sap_or_dry
        if not known and tissue == "petiole" and not self.faults:
            what = "Are the petiole values dry weight or fresh sap? The two scales cannot be converted."
            self._ask("basis", what, ("dry", "sap"))
        return known

    def _unit(self, worded: Column | None, analyte: str) -> str:
        heard = [(self.header, item.unit) for item in (self.column, worded) if item is not None and item.unit]
        for where, text in self.said.units:
            unit = unit_of(text) if text else ""
            if unit is None and self.kinds.own:
                return text
            if unit is None:
                self.faults.append((where, f'"{short(text)}" is not a unit; use one of {", ".join(UNIT_ANSWERS)}'))
            elif unit:
                heard.append((where, unit))
        unit = agreed(unit for _, unit in heard)
        if unit is None:
            told = ", ".join(f"{unit} ({where})" for where, unit in dict.fromkeys(heard))
            self.faults.append(("", f"units that do not agree: {told}"))
            return ""
        if unit or self.kinds.own or worded is None:
            return unit
        by_cell = not self.column.analyte and self.said.analyte
        key = loose(self.said.analyte) if by_cell else loose(self.header)
        units = self.kinds.profile.units
        unit = units.get(loose(self.header)) or units.get(key) or units.get(analyte)
        if not unit and not self.faults:
            named = self.said.analyte if by_cell else self.header
            key = analyte if by_cell and analyte not in ("", NITRATE) else key
            self._ask(f"units.{key}", f'In which unit is "{named}" reported?', UNIT_ANSWERS, named)
        return unit or ""

    def _per_mmol(self, analyte: str, basis: str) -> bool:
        if basis == "dry":
            self.faults.append(("", "mmol/L is a unit of sap, not of dry tissue"))
        elif analyte not in (NITRATE, *NITRATES):
            self.faults.append(("", f"mmol/L is understood for nitrate only, not for {analyte}"))
        return not self.faults

    def _printed(self, analyte: str) -> str:
        texts = [text for _, text in self.said.units]
        unit = "" if texts and texts[0] else next((text for text in texts if text), "")
        name = self.said.analyte or (self.header if self.column.analyte else "") or analyte
        return f"{unit} {name}".strip()


def agreed(units: Iterable[str]) -> str | None:
    """The unit that all agree on, "" for none, None where they differ; ppm agrees with mg/kg and with mg/L."""
    heard = set(units)
    if len(heard) == 2 and "ppm" in heard and heard & {"mg/kg", "mg/L"}:
        heard.discard("ppm")
    if len(heard) > 1:
        return None
    return heard.pop() if heard else ""


def _is_analyte(column: Column | None) -> bool:
    return column is not None and column.role is Role.VALUE and bool(column.analyte)


def title_kinds(defaults: Mapping[Role, str]) -> tuple[str, str]:
    """Tissue and basis that title lines say, "" where they say none."""
    tissue, basis = defaults.get(Role.TISSUE, ""), defaults.get(Role.BASIS, "")
    return tissue_of(tissue) or "", basis_of(basis) or basis_of(tissue) or ""
