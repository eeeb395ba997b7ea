"""A text file as a table of cells: its encoding, what sets cells apart, and the line each row starts on.

What the cells mean is none of this module's concern.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Final

from fertadjust.errors import Fault, UserError

_DELIMITERS: Final = ("\t", ";", "|", ",")
"""The comma last: where it fits as well as another, it is a decimal mark or stands in the words."""

_ROWS_LOOKED_AT: Final = 2_000
"""Rows that decide the delimiter; a table shows its columns long before."""

_OTHER_FILES: Final = (
    (b"%PDF", "a PDF; ask the laboratory for a CSV, spreadsheet or JSON file"),
    (
        b"PK\x03\x04",
        "a packed file (zip, or a document of an office program); unpack it, or save the table as .xlsx or CSV",
    ),
    (b"\xd0\xcf\x11\xe0", "a document or spreadsheet of an old kind (such as .xls); save it as .xlsx or CSV"),
    (b"\x1f\x8b", "a packed file (gzip); unpack it"),
    (b"\x89PNG", "a picture; ask the laboratory for a CSV, spreadsheet or JSON file"),
    (b"\xff\xd8\xff", "a picture; ask the laboratory for a CSV, spreadsheet or JSON file"),
    (b"{\\rtf", "a text document; save the table as .xlsx or CSV"),
    (b"<!doctype", "a web page; open it in a spreadsheet program and save it as .xlsx or CSV"),
    (b"<html", "a web page; open it in a spreadsheet program and save it as .xlsx or CSV"),
    (b"<table", "a web page; open it in a spreadsheet program and save it as .xlsx or CSV"),
    (b"<?xml", "an XML file; ask the laboratory for a CSV, spreadsheet or JSON file"),
)
"""How files begin that are no tables of text, and what they are."""

_UTF16: Final = {codecs.BOM_UTF16_LE: "utf-16-le", codecs.BOM_UTF16_BE: "utf-16-be"}
_WINDOWS: Final = {
    byte: bytes([byte]).decode("cp1252")
    for byte in range(0x80, 0xA0)
    if byte not in (0x81, 0x8D, 0x8F, 0x90, 0x9D)  # no character of Windows-1252
}
"""Where Windows-1252 differs from Latin-1."""

_STRAY: Final = dict.fromkeys(map(ord, "\ufeff\u200b\u200c\u200d\u2060")) | {ord("\xa0"): " "}
"""What pasted text brings along: characters without width are dropped, a hard blank is a blank."""

_TOLD: Final = re.compile(r'"?sep=([^"\r\n])"?\1*[ ]*(?:\r\n|\r|\n|$)', re.IGNORECASE)
"""A first line by which spreadsheet programs are told the delimiter."""

_MOST_SHOWN: Final = 40
_MOST_SHORT: Final = 60


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the table.

    Attributes:
        number: 1-based line of the file where the row starts.
        cells: texts without blanks, hard blanks and characters without width around them.
    """

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of text.

    Attributes:
        lines: the rows; those without text in any cell are left out.
        delimiter: "," ";" "|" or a tab; "" for a spreadsheet.
        encoding: how the bytes were read, for messages; "" for a spreadsheet.
    """

    lines: tuple[Line, ...]
    delimiter: str
    encoding: str


@dataclass(frozen=True, slots=True)
class _Fit:
    """How a delimiter divides the first rows: the lines that agree on the number of columns, and how well."""

    delimiter: str
    lines: frozenset[int]
    weight: float
    broken: bool


def short(text: str, most: int = _MOST_SHORT) -> str:
    """A text for a message: on one line, and cut off when it is long."""
    plain = " ".join(text.split())
    return plain if len(plain) <= most else f"{plain[:most]}…"


def shown(text: str) -> str:
    """A cell in quotes for a message; see `short`."""
    return f'"{short(text, _MOST_SHOWN)}"'


def decode(data: bytes, name: str) -> tuple[str, str]:
    """The text of a file and the name of its encoding.

    A byte order mark decides; without one it is UTF-8, or Windows-1252 where it is not valid UTF-8.

    Args:
        data: the file's bytes.
        name: the file's name, for messages.

    Raises:
        UserError: it is no text; says what it is and what to do.
    """
    start = data[:64].removeprefix(codecs.BOM_UTF8).lstrip().lower()
    for signature, what in _OTHER_FILES:
        if start.startswith(signature.lower()):
            raise UserError(Fault(f"this is {what}", name))
    text, encoding = _decoded(data, name)
    if "\0" in text:
        raise UserError(
            Fault("this is no text (it holds NUL bytes); save the table as CSV in UTF-8, or as .xlsx", name)
        )
    return text.rstrip("\x1a"), encoding


def _decoded(data: bytes, name: str) -> tuple[str, str]:
    marked = _UTF16.get(data[:2]) or ("utf-8" if data.startswith(codecs.BOM_UTF8) else None)
    try:
        text = data.decode(marked or "utf-8")
    except UnicodeDecodeError:
        if marked is None:
            return data.decode("latin-1").translate(_WINDOWS), "windows-1252"
        message = f"the file begins as {marked.upper()} text but is damaged further on; save it again as UTF-8"
        raise UserError(Fault(message, name)) from None
    return text.removeprefix("\ufeff"), marked or "utf-8"


def read_grid(data: bytes, name: str) -> Grid:
    """The table in a text file.

    Args:
        data: the file's bytes.
        name: the file's name, for messages.

    Raises:
        UserError: the file is empty or no text, or a row cannot be read; with its line.
    """
    text, encoding = decode(data, name)
    told = _TOLD.match(text)
    if told and told[1] not in _DELIMITERS:
        message = (
            f"the first line says that cells are set apart by {shown(told[1])}; use a comma, semicolon, tab or |"
        )
        raise UserError(Fault(message, name, 1))
    skipped = 1 if told else 0
    if told:
        text = text[told.end() :]
    delimiter = told[1] if told else _delimiter(text)
    lines = []
    at = skipped + 1
    rows = _Rows(text, delimiter)
    try:
        for number, row in rows:
            at = number + skipped
            cells = tuple([cleaned(cell) for cell in row])
            if any(cells):
                lines.append(Line(at, cells))
    except csv.Error as error:
        raise UserError(Fault(_what(error), name, rows.start + skipped)) from None
    if not lines:
        raise UserError(Fault("the file is empty", name))
    return Grid(tuple(lines), delimiter, encoding)


class _Rows:
    """Rows of a text with the line that each starts on, which is also known when a row cannot be read."""

    def __init__(self, text: str, delimiter: str) -> None:
        self._reader = csv.reader(
            io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True, strict=True
        )
        self.start = 1

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        for row in self._reader:
            yield self.start, row
            self.start = self._reader.line_num + 1


def cleaned(cell: str) -> str:
    """A cell without the blanks around it and what pasted text brings along."""
    return cell.strip() if cell.isascii() else cell.translate(_STRAY).strip()


def _what(error: csv.Error) -> str:
    said = str(error)
    if "end of data" in said:
        return "a quotation mark opens a cell and is never closed; close it, or write it twice inside quotes"
    if "expected after" in said:
        return "there is text after the closing quotation mark of a cell; write a mark inside quotes twice"
    if "field limit" in said:
        return "a cell is too long; a quotation mark may be open, or this is no table"
    return f"the row cannot be read: {said}"


def _delimiter(text: str) -> str:
    """The delimiter under which the rows agree best on a number of columns above one; "," when none does.

    One that divides only rows which another divides too, and fewer of them, stands inside that other's cells:
    the header tells a decimal comma, or a mark in the samples' names, from what sets the columns apart.
    """
    fits = [fit for fit in (_fit(text, mark) for mark in _DELIMITERS) if fit is not None]
    free = [fit for fit in fits if not any(fit.lines < other.lines and not other.broken for other in fits)]
    best: _Fit | None = max(free, key=lambda fit: fit.weight, default=None)
    return best.delimiter if best else ","


def _fit(text: str, delimiter: str) -> _Fit | None:
    if delimiter not in text:
        return None
    counts: dict[int, int] = {}
    broken = False
    try:
        for number, row in islice(_Rows(text, delimiter), _ROWS_LOOKED_AT):
            if len(row) > 1:
                counts[number] = len(row)
    except csv.Error:
        broken = True
    if not counts:
        return None
    often = Counter(counts.values())
    columns = max(often, key=lambda count: (often[count], count))
    weight = often[columns] * (columns - 1) * often[columns] / len(counts)
    lines = frozenset(number for number, count in counts.items() if count == columns)
    return _Fit(delimiter, lines, weight / 2 if broken else weight, broken)
