"""The first look at a spreadsheet (.xlsx): its sheets as tables of text. Needs the extra `spreadsheets`."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from typing import Final, Protocol

from fertadjust.errors import Fault, UserError
from fertadjust.lab.cells import DateCell, Number, plain
from fertadjust.lab.found import Findings
from fertadjust.lab.layout import HEADER_HELP, header_at
from fertadjust.lab.profile import Profile
from fertadjust.lab.text import Grid, Line, cleaned, short

_MOST_BYTES: Final = 200_000_000
_MOST_ROWS: Final = 1_048_576
"""Rows of a sheet by the format's own limit (ECMA-376 leaves it to programs; this one is common practice)."""
_WORKBOOK: Final = "xl/workbook.xml"
_SAVE_AGAIN: Final = "open the file in a spreadsheet program and save it"
_LITERAL: Final = re.compile(r'"[^"]*"|\\.|_.|\*.', re.DOTALL)
"""Parts of a number format that are shown, or leave room, as they stand (ECMA-376 part 1, 18.8.31)."""
_FORMULA: Final = re.compile(rb"<(\w+:)?f[\s>/]")


class _Cell(Protocol):
    @property
    def value(self) -> object: ...

    @property
    def number_format(self) -> object: ...


def is_spreadsheet(data: bytes) -> bool:
    """Whether the bytes are an .xlsx workbook, damaged or not."""
    return data[:4] == b"PK\x03\x04" and _WORKBOOK.encode() in data


def read_sheet(data: bytes, name: str, profile: Profile, found: Findings) -> Grid | None:
    """The sheet that holds the results; None when it was asked which one.

    Raises:
        UserError: openpyxl is missing, the file is damaged or too large, or no sheet has a header.
    """
    grids = _grids(data, name)
    title = _title(grids, name, profile, found)
    if title is None:
        return None
    _note_formulas(data, title, found)
    return grids[title]


def _title(grids: dict[str, Grid], name: str, profile: Profile, found: Findings) -> str | None:
    """The title of the sheet that holds the results; None when it was asked which one."""
    if profile.sheet:
        if profile.sheet not in grids:
            raise UserError(Fault(f'there is no sheet "{profile.sheet}"; there are: {", ".join(grids)}', name))
        return profile.sheet
    fitting = [title for title, grid in grids.items() if header_at(grid, profile) is not None]
    if not fitting:
        raise UserError(Fault(HEADER_HELP, name))
    if len(fitting) > 1:
        found.ask("sheet", "Several sheets look like results: which one holds them?", tuple(fitting))
        return None
    return fitting[0]


def _note_formulas(data: bytes, title: str, found: Findings) -> None:
    """A fault for each formula of a sheet whose result was never stored: its cell only looks empty."""
    try:
        for number, column, formula in _without_result(data, title):
            message = f"the formula {short(formula)} has no stored result; {_SAVE_AGAIN}"
            found.fault(message, number, f"column {column}")
    except Exception as error:  # as in `_grids`
        raise _damaged(error, found.name) from None


def _without_result(data: bytes, title: str) -> Iterator[tuple[int, str, str]]:
    """(row, letter of the column, formula) of each formula without a stored result."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        parts = [item for item in packed.namelist() if item.endswith(".xml")]
        if not any(_FORMULA.search(packed.read(item)) for item in parts):
            return
    import openpyxl
    from openpyxl.utils import get_column_letter

    results, formulas = (
        openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=stored)[title]
        for stored in (True, False)
    )
    for sheet in (results, formulas):
        sheet.reset_dimensions()
    for number, (row, written) in enumerate(zip(results.iter_rows(), formulas.iter_rows(), strict=True), 1):
        for at, (cell, formula) in enumerate(zip(row, written, strict=True), 1):
            # an empty text that is a result is stored as "str"
            if formula.data_type == "f" and cell.value is None and cell.data_type != "str":
                yield number, get_column_letter(at), str(getattr(formula.value, "text", formula.value))


def _grids(data: bytes, name: str) -> dict[str, Grid]:
    try:
        import openpyxl
    except ImportError:
        message = 'spreadsheets need one more package: pip install "fertadjust[spreadsheets]"; or save it as CSV'
        raise UserError(Fault(message, name)) from None
    _check_size(data, name)
    try:
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        grids = {}
        for sheet in book.worksheets:
            sheet.reset_dimensions()  # what the file says of its own size may be wrong
            grids[sheet.title] = Grid(tuple(_lines(sheet.iter_rows())), "", "")
    except Exception as error:  # the library raises whatever it trips over in a damaged file
        raise _damaged(error, name) from None
    return grids


def _damaged(error: Exception, name: str) -> UserError:
    what = " ".join(str(error).split())[:200] or type(error).__name__
    return UserError(
        Fault(f"the spreadsheet is damaged and cannot be read ({what}); save it again, or as CSV", name)
    )


def _lines(rows: Iterable[Iterable[_Cell]]) -> Iterator[Line]:
    for number, row in enumerate(rows, 1):
        if number > _MOST_ROWS:
            raise ValueError(f"more than {_MOST_ROWS:,} rows")
        cells = tuple(_text(cell) for cell in row)
        if any(cells):
            yield Line(number, cells)


def _text(cell: _Cell) -> str:
    """A cell as people see it: a number shown in percent is 100 times the number that is stored."""
    value = cell.value
    if isinstance(value, int | float) and not isinstance(value, bool) and _in_percent(str(cell.number_format)):
        return Number(f"{plain(round(100.0 * value, 9))} %")
    return cell_text(value)


def _in_percent(number_format: str) -> bool:
    """Whether a format multiplies by 100: a percent sign that is not a mere text of it."""
    return "%" in _LITERAL.sub("", number_format)


def _check_size(data: bytes, name: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(item.file_size for item in packed.infolist())
    except (zipfile.BadZipFile, zlib.error, OSError, ValueError, NotImplementedError):
        raise UserError(
            Fault("the spreadsheet is damaged and cannot be read; save it again, or as CSV", name)
        ) from None
    if size > _MOST_BYTES:
        message = (
            f"the spreadsheet unpacks to {size:,} bytes; at most {_MOST_BYTES:,} are read: save the sheet as CSV"
        )
        raise UserError(Fault(message, name))


def cell_text(value: object) -> str:
    """A cell as text: ISO dates, the shortest text of a number, everything else as it stands."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int):
        return Number(value)
    if isinstance(value, float):
        return Number(plain(value)) if value - value == 0 else str(value)
    if isinstance(value, datetime.datetime):
        return DateCell(value.date().isoformat())
    if isinstance(value, datetime.date):
        return DateCell(value.isoformat())
    return cleaned(str(value))
