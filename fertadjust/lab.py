"""Readers of laboratory reports. So far: a simple CSV file with a header, one value a row."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import Fault, UserError
from fertadjust.files import read_text

if TYPE_CHECKING:
    import _csv

_NEEDED = ("block", "sampled", "value")


def read_csv(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows of a results CSV as (line, field name -> text).

    The header names the fields of `RESULT_FIELDS` in any order; block, sampled and value are needed.

    Raises:
        UserError: no such file, not text, or wrong columns; with the line.
    """
    text = read_text(path)
    reader = csv.reader(io.StringIO(text, newline=""))
    try:
        header = [name.strip().lower().replace(" ", "_") for name in next(_rows(reader, path.name))]
    except StopIteration:
        raise UserError(
            Fault(f"the file is empty; it needs a header: {', '.join(RESULT_FIELDS)}", path.name)
        ) from None
    _check_header(header, path.name)
    faults = []
    rows = []
    for cells in _rows(reader, path.name):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            message = f"{len(cells)} columns, the header has {len(header)}"
            faults.append(Fault(message, path.name, reader.line_num))
        else:
            rows.append((reader.line_num, dict(zip(header, cells, strict=True))))
    if faults:
        raise UserError(faults)
    yield from rows


def _rows(reader: _csv.Reader, name: str) -> Iterator[list[str]]:
    """Rows of a CSV reader; what it cannot read is a fault of the file."""
    try:
        yield from reader
    except csv.Error as error:
        raise UserError(Fault(f"the row cannot be read: {error}", name, reader.line_num)) from None


def _check_header(header: list[str], name: str) -> None:
    accepted = f"the columns are: {', '.join(RESULT_FIELDS)}"
    faults = [
        Fault(f"is not a column of results; {accepted}", name, 1, column or "(no name)")
        for column in header
        if column not in RESULT_FIELDS
    ]
    faults += [
        Fault(f"the column is missing; {accepted}", name, 1, column) for column in _NEEDED if column not in header
    ]
    faults += [
        Fault("the column stands twice", name, 1, column)
        for column in sorted(set(header))
        if header.count(column) > 1
    ]
    if faults:
        raise UserError(faults)
