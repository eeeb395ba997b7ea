"""The first look at a spreadsheet (.xlsx): its sheets as tables of text. Needs the extra `spreadsheets`."""

from __future__ import annotations

import datetime
import io
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from typing import Final, Protocol

from fertadjust.errors import Fault, UserError
from fertadjust.lab.cells import Number, plain
from fertadjust.lab.found import Findings
from fertadjust.lab.layout import HEADER_HELP, header_at
from fertadjust.lab.profile import Profile
from fertadjust.lab.text import Grid, Line, cleaned

_MOST_BYTES: Final = 200_000_000
_MOST_ROWS: Final = 1_048_576
"""Rows of a sheet by the format's own limit (ECMA-376 leaves it to programs; this one is common practice)."""
_WORKBOOK: Final = "xl/workbook.xml"


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
    if profile.sheet:
        if profile.sheet not in grids:
            raise UserError(Fault(f'there is no sheet "{profile.sheet}"; there are: {", ".join(grids)}', name))
        return grids[profile.sheet]
    fitting = [title for title, grid in grids.items() if header_at(grid, profile) is not None]
    if not fitting:
        raise UserError(Fault(HEADER_HELP, name))
    if len(fitting) > 1:
        found.ask("sheet", "Several sheets look like results: which one holds them?", tuple(fitting))
        return None
    return grids[fitting[0]]


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
        what = " ".join(str(error).split())[:200] or type(error).__name__
        message = f"the spreadsheet is damaged and cannot be read ({what}); save it again, or as CSV"
        raise UserError(Fault(message, name)) from None
    return grids


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
    if isinstance(value, int | float) and not isinstance(value, bool) and "%" in str(cell.number_format):
        return Number(f"{plain(round(100.0 * value, 9))} %")
    return cell_text(value)


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
        return value.date().isoformat()
    if isinstance(value, datetime.date):
        return value.isoformat()
    return cleaned(str(value))
