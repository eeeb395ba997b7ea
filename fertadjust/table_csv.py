"""Band tables as CSV, filled in with a spreadsheet: head lines, then a line for each band.

Head lines are ``key, value`` (`HEAD`); the header begins with ``place`` (`COLUMNS`); the file's name is the id.
Lines that begin with # and blank lines are passed over. Writing is done in `fertadjust.table_write`.
What tells a band table, CSV or TOML, from other files stands here as well.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path, PurePath
from typing import Any, Final, NamedTuple

from pydantic import ValidationError

from fertadjust.band_rows import Axis, BandRow
from fertadjust.bands import BandTable
from fertadjust.errors import Fault, UserError
from fertadjust.evidence import Evidence
from fertadjust.files import read_bytes
from fertadjust.lab.text import cleaned, decode, shown
from fertadjust.lab.values import Absent, Decimal, decimal_evidence, read_value
from fertadjust.table_places import read_place, stage_name
from fertadjust.tissue import Basis, Tissue
from fertadjust.toml_file import Place, TomlFile, read_toml

HEAD: Final = {
    "title": "what the table is called",
    "crop": "a crop, such as watermelon",
    "also": "other crops that it is for, with semicolons between",
    "variety": "the variety, if it is for one only",
    "system": "the growing system, as in season.toml",
    "region": "the region, as in season.toml",
    "tissue": " or ".join(Tissue),
    "part": "what is sampled, such as petiole of the youngest full-size leaf",
    "basis": " or ".join(Basis),
    "axis": ", ".join(Axis),
    "anchor": "the stage whose first day is day 0 and begins week 1",
    "stages": "the stages in order of time, where the lines below do not come in it",
    "ends with": "the stage from which on there is no band",
    "last days": "days that the last stage's band holds for",
    "between": "straight, where the edges run straight from one line's days to the next",
    "note": "anything to know about the table; may be repeated",
}
"""Head line -> what stands in it."""

REQUIRED: Final = ("title", "crop", "system", "region", "tissue", "part", "basis", "axis")
_REPEATED: Final = ("also", "note")
_CHOICES: Final = {"tissue": tuple(Tissue), "basis": tuple(Basis), "axis": tuple(Axis), "between": ("straight",)}

NUMBERS: Final = ("low", "high", "deficient below", "excess above")
_TEXTS: Final = ("source", "evidence", "confidence", "note", "printed")
COLUMNS: Final = ("place", "analyte", "unit", *NUMBERS, *_TEXTS, "row")
_NEEDED_COLUMNS: Final = ("place", "analyte", "unit")
_OWN: Final = "own"

_HEADER: Final = re.compile(r'^[^\S\n]*"?place"?[^\S\n]*([,;\t|])', re.IGNORECASE | re.MULTILINE)
_ID: Final = re.compile(r"[a-z0-9][a-z0-9-]*")

SEASON_FILES: Final = ("season.toml", "laboratories.toml")
"""Files of a season folder that are no band tables."""
_OF_A_TABLE: Final = {"tissue", "basis", "axis", "rows"}
"""Keys that mark a TOML file as a band table; a faulty one may lack some."""


class _Line(NamedTuple):
    number: int
    cells: tuple[str, ...]


def read_csv_table(path: Path) -> BandTable:
    """Read and check a band table from a CSV file.

    Raises:
        UserError: every fault of the file, with line and column.
    """
    return parse_csv_table(read_bytes(path), path.name)


def parse_csv_table(data: bytes, name: str) -> BandTable:
    """A checked band table from the bytes of a CSV file.

    Args:
        data: the file's bytes.
        name: the file's name; without its ending it is the table's id.

    Raises:
        UserError: every fault, with line and column.
    """
    return _Reader(name).table(data)


def id_fault(name: str) -> Fault | None:
    """What is wrong with a file's name as the id of a table; None when nothing is."""
    stem = PurePath(name).stem
    if name.lower() in SEASON_FILES:
        return Fault("is a file of the season itself; give the table another name", name)
    if _ID.fullmatch(stem):
        return None
    better = re.sub(r"[^a-z0-9]+", "-", stem.lower()).strip("-") or "our-table"
    message = "the file's name is the table's id: use lower-case letters, digits and -, such as "
    return Fault(message + better + PurePath(name).suffix, name)


def looks_like_table(path: Path) -> bool:
    """Whether a TOML or CSV file is a band table, filled in or blank, faults in it aside.

    Raises:
        UserError: it cannot be read as TOML or as text.
    """
    if path.suffix.lower() == ".csv":
        return _HEADER.search(decode(read_bytes(path), path.name)[0]) is not None
    return len(_OF_A_TABLE & read_toml(path).data.keys()) > 1


def printed(text: str) -> str:
    """A text without what is not printed, above all marks that turn the direction of writing."""
    return "".join(letter for letter in text if letter.isprintable() or letter.isspace())


class _Reader:
    """Reads one file and gathers its faults."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.faults: list[Fault] = []
        self.head: dict[str, Any] = {}
        self.head_lines: dict[Place, int] = {}
        self.places: dict[int, str] = {}

    def table(self, data: bytes) -> BandTable:
        wrong = id_fault(self.name)
        if wrong is not None:
            self.faults.append(wrong)
        delimiter, lines = self._lines(data)
        at = next(index for index, line in enumerate(lines) if line.cells[0].lower() == "place")
        self._read_head(lines[:at], delimiter)
        columns = self._columns(lines[at])
        rows = self._rows(lines[at].number, columns, lines[at + 1 :], delimiter)
        table = self._checked(rows)
        if self.faults or table is None:
            raise UserError(sorted(dict.fromkeys(self.faults), key=lambda fault: fault.line or 0))
        return table

    def _fault(self, message: str, line: int | None = None, key: str = "") -> None:
        self.faults.append(Fault(message, self.name, line, key))

    def _lines(self, data: bytes) -> tuple[str, list[_Line]]:
        """What sets the cells apart, as the header shows it, and the lines with something in them."""
        text, _ = decode(data, self.name)
        header = _HEADER.search(text)
        if header is None:
            message = "no line begins with place: the header should be " + ", ".join(COLUMNS[:5]) + " and so on"
            raise UserError([*self.faults, Fault(message, self.name)])
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=header[1], skipinitialspace=True, strict=True)
        lines, start = [], 1
        try:
            for row in reader:
                cells = tuple(printed(cleaned(cell)) for cell in row)
                passed = not any(cells) or cells[0].startswith("#") or (start == 1 and cells[0].startswith("sep="))
                if not passed:
                    lines.append(_Line(start, cells))
                start = reader.line_num + 1
        except csv.Error:
            message = "the quotation marks do not fit: close each, and write one inside quotes twice"
            raise UserError(Fault(message, self.name, start)) from None
        if not any(line.cells[0].lower() == "place" for line in lines):
            message = "the header that begins with place stands inside quotation marks that are never closed"
            raise UserError(Fault(message, self.name))
        return header[1], lines

    def _read_head(self, lines: Sequence[_Line], delimiter: str) -> None:
        given: dict[str, list[tuple[int, str]]] = {}
        between = " " if delimiter == "\t" else f"{delimiter} "
        for number, cells in lines:
            key = " ".join(cells[0].lower().replace("_", " ").split())
            if key not in HEAD:
                said = f"is no head line; known are: {', '.join(HEAD)}" if key else "the first cell is empty"
                self._fault(said, number, cells[0])
                continue
            filled = max(index for index, cell in enumerate(cells) if cell or index == 0)
            value = between.join(cells[1 : filled + 1])
            if given.get(key) and key not in _REPEATED:
                self._fault("stands twice", number, key)
            elif value:
                given.setdefault(key, []).append((number, value))
            elif key in REQUIRED:
                self._fault(f"is empty; write {HEAD[key]}", number, key)
                given[key] = []
        for key in REQUIRED:
            if key not in given:
                self._fault(f"is missing; write a line {key}, with {HEAD[key]}", key=key)
        for key, values in given.items():
            for number, value in values:
                self._take(key, value, number)

    def _take(self, key: str, value: str, line: int) -> None:
        field = key.replace(" ", "_")
        self.head_lines.setdefault((f"{field}s" if key == "note" else field,), line)
        if key in _CHOICES:
            if value.lower() in _CHOICES[key]:
                self.head[field] = value.lower()
            else:
                self._fault(f"{shown(value)} is none; write {HEAD[key]}", line, key)
        elif key == "last days":
            if value.isascii() and value.isdigit():
                self.head[field] = int(value)
            else:
                self._fault(f"{shown(value)} is no number of days; write one such as 14", line, key)
        elif key in ("anchor", "ends with"):
            self.head[field] = stage_name(value)
        elif key in ("also", "stages"):
            names = [name.strip() for name in value.split(";") if name.strip()]
            names = names if key == "also" else list(map(stage_name, names))
            self.head.setdefault(field, []).extend(names)
        elif key == "note":
            self.head.setdefault("notes", []).append(value)
        else:
            self.head[field] = value

    def _columns(self, header: _Line) -> list[str]:
        columns = [" ".join(cell.lower().replace("_", " ").split()) for cell in header.cells]
        for name in dict.fromkeys(columns):
            if name and name not in COLUMNS:
                self._fault(f"is no column; known are: {', '.join(COLUMNS)}", header.number, name)
            elif name and columns.count(name) > 1:
                self._fault("is a column twice", header.number, name)
        for name in _NEEDED_COLUMNS:
            if name not in columns:
                self._fault("this column is missing", header.number, name)
        if not set(NUMBERS) & set(columns):
            self._fault("a column low or high is missing", header.number)
        return columns

    def _rows(
        self, header: int, columns: Sequence[str], lines: Sequence[_Line], delimiter: str
    ) -> list[tuple[int, dict[str, Any]]]:
        """Line and content of each band line that can be read."""
        if not lines:
            self._fault("no band stands below the header", header)
        cells_of = [(line.number, cells) for line in lines if (cells := self._cells(line, columns, delimiter))]
        mark = _Mark([cells.get(name, "") for _, cells in cells_of for name in NUMBERS], delimiter)
        rows = []
        for index, (number, cells) in enumerate(cells_of, 1):
            before = len(self.faults)
            self.places[number] = cells.get("place", "")
            row: dict[str, Any] = {key: cells[key] for key in _TEXTS if cells.get(key)}
            row |= {"id": cells.get("row") or str(index)}
            row["source"] = row.get("source", _OWN)
            row["evidence"] = row.get("evidence", _OWN).lower()
            if row["evidence"] not in tuple(Evidence):
                said = f"{shown(row['evidence'])} is none; write {', '.join(Evidence)}, or nothing for own"
                self._fault(said, number, "evidence")
            for key in ("analyte", "unit"):
                row[key] = cells.get(key, "")
                if not row[key] and key in columns:
                    example = "NO3-N or K" if key == "analyte" else "ppm, % or mg/L"
                    self._fault(f"is empty; write one such as {example}", number, key)
            for key in NUMBERS:
                row |= {key.replace(" ", "_"): self._number(cells.get(key, ""), mark, number, key)}
            axis = self.head.get("axis")
            if axis is not None and "place" in columns:
                try:
                    row |= read_place(cells.get("place", ""), Axis(axis))
                except ValueError as reason:
                    self._fault(str(reason), number, "place")
            if len(self.faults) == before:
                rows.append((number, row))
        return rows

    def _cells(self, line: _Line, columns: Sequence[str], delimiter: str) -> dict[str, str]:
        if any(line.cells[len(columns) :]):
            what = {",": "comma", ";": "semicolon", "|": "|", "\t": "tab"}[delimiter]
            self._fault(
                f"there are more cells than headings ({len(columns)}): is there a {what} inside a number or a "
                "text? Put that cell in quotation marks",
                line.number,
            )
            return {}
        for name, cell in zip(columns, line.cells, strict=False):
            if cell and not name:
                self._fault(f"{shown(cell)} stands in a column without a heading", line.number)
        return dict(zip(columns, line.cells, strict=False))

    def _number(self, cell: str, mark: _Mark, line: int, key: str) -> float | None:
        try:
            return mark.number(cell)
        except ValueError as reason:
            self._fault(str(reason), line, key)
            return None

    def _checked(self, rows: Sequence[tuple[int, dict[str, Any]]]) -> BandTable | None:
        """The table of the rows that are good by themselves; faults of each row and of the whole are noted."""
        good: list[tuple[int, dict[str, Any]]] = []
        for number, row in rows:
            try:
                BandRow.model_validate(row)
            except ValidationError as error:
                found = TomlFile(self.name, "", {}, {}).faults(error, BandRow)
                keys = [fault.key.replace("_", " ") or self.places[number] for fault in found]
                self.faults += [
                    replace(fault, line=number, key=key) for fault, key in zip(found, keys, strict=True)
                ]
            else:
                good.append((number, row))
        if not good or not {"tissue", "basis", "axis"} <= self.head.keys():
            return None
        stand_in = dict.fromkeys(REQUIRED, "?") | {"schema": 1, "id": PurePath(self.name).stem}
        if id_fault(self.name) is not None:
            stand_in["id"] = "unnamed"
        if self.head["axis"] == Axis.STAGES:
            stand_in["stages"] = list(dict.fromkeys(_stages(row for _, row in rows)))
        content = stand_in | self.head | {"rows": [row for _, row in good]}
        places: dict[Place, int] = {("rows", index): number for index, (number, _) in enumerate(good)}
        file = TomlFile(self.name, "", {}, self.head_lines | places)
        try:
            return BandTable.model_validate(content)
        except ValidationError as error:
            for fault in file.faults(error, BandTable):
                key = re.sub(r"^rows(\[\d+\])?\.?", "", fault.key).replace("_", " ")
                self.faults.append(replace(fault, key=key))
            return None


def _stages(rows: Iterator[dict[str, Any]]) -> Iterator[str]:
    for row in rows:
        yield row["stage"]
        if row.get("until"):
            yield row["until"]


class _Mark:
    """The decimal mark of a table's numbers, by what its cells prove."""

    def __init__(self, cells: Sequence[str], delimiter: str) -> None:
        proof = decimal_evidence(cells)
        self.proof = proof
        self.decimal = Decimal.COMMA if proof.comma is not None and proof.point is None else Decimal.POINT
        self.open = proof.comma is None and proof.point is None and delimiter != ","

    def number(self, cell: str) -> float | None:
        """The number in a cell, None in an empty one.

        Raises:
            ValueError: it is none, or can be read in two ways.
        """
        try:
            value = read_value(cell, self.decimal)
        except UserError:
            if self.proof.point is not None and decimal_evidence([cell]).comma is not None:
                other = f"another number of the table, {shown(self.proof.point)}, a decimal point"
                raise ValueError(f"{shown(cell)} has a decimal comma, {other}: write all the same way") from None
            raise ValueError(f"{shown(cell)} is no number; write one such as 2310 or 3.1") from None
        if value is Absent.NOTHING:
            return None
        if isinstance(value, Absent) or value.text[0] in "<>":
            raise ValueError(f"{shown(cell)} is no edge; write a plain number such as 2310 or 3.1")
        if value.unit:
            raise ValueError(f"{shown(cell)} holds a unit; it goes into the column unit")
        if self.open and decimal_evidence([cell]).ambiguous is not None:
            whole = re.sub(r"\D", "", cell)
            raise ValueError(
                f"{shown(cell)} can be read in two ways; write {whole} without a mark, or another decimal (such "
                f"as {cell}0)"
            )
        return float(value.text)
