"""Where things stand in a table: its title lines, its header, a line of units, and what each column holds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import Fault, UserError
from fertadjust.lab.found import Findings, shown
from fertadjust.lab.profile import COLUMN_ANSWERS, Profile
from fertadjust.lab.text import Grid, Line
from fertadjust.lab.vocabulary import VAGUE_DATES, Role
from fertadjust.lab.words import Column, column_of, loose, squeeze, told_column, unit_of

_SEARCHED: Final = 60
"""Lines in which a header is looked for."""

_OWN: Final = frozenset((*(loose(name) for name in RESULT_FIELDS), "line", "why"))
_OWN_UNUSED: Final = ("line", "why")

_TITLE_ROLES: Final = (
    *(Role.SAMPLED, Role.RECEIVED, Role.TISSUE, Role.BASIS, Role.LABORATORY),
    *(Role.BLOCK, Role.NAME, Role.SAMPLE),
)
_MANY: Final = (Role.NAME, Role.SAMPLE, Role.NOTE, Role.TISSUE, Role.IGNORE)
"""Roles that several columns may have."""

HEADER_HELP: Final = (
    "no header was found; a report has a line that names its columns, such as Sample ID, Date sampled, "
    f"Plant part, NO3-N (ppm), N (%); or the program's own: {', '.join(RESULT_FIELDS)}"
)


@dataclass(frozen=True, slots=True)
class Placed:
    """A column of a table.

    Attributes:
        at: 0-based position.
        header: as printed, or "column 5" where it has no name.
        column: what it holds.
        below: unit in the line of units under the header, as printed.
    """

    at: int
    header: str
    column: Column
    below: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """A table's parts.

    Attributes:
        header: header cells as printed, each on one line, without empty ones at the end.
        cells: the same cells as they stand in the file.
        line: the header's line.
        own: all columns are the program's own.
        columns: the columns that are used.
        defaults: what title lines say for the whole file.
        units: cells of the line of units, or ().
        body: the lines below.
    """

    header: tuple[str, ...]
    cells: tuple[str, ...]
    line: int
    own: bool
    columns: tuple[Placed, ...]
    defaults: dict[Role, str]
    units: tuple[str, ...]
    body: tuple[Line, ...]

    def of(self, role: Role, analyte: str = "") -> list[Placed]:
        """The columns of a role that belong to an analyte, or to none."""
        return [place for place in self.columns if place.column.role is role and place.column.analyte == analyte]

    def values(self) -> list[Placed]:
        return [place for place in self.columns if place.column.role is Role.VALUE]


def header_at(grid: Grid, profile: Profile) -> int | None:
    """Position of the header among a grid's lines, or None: the line with most recognised cells, two at least."""
    best, most = None, 1
    for at, line in enumerate(grid.lines[:_SEARCHED]):
        cells = tuple(loose(cell) for cell in line.cells)
        if profile.header and _trimmed(cells) == profile.header:
            return at
        known = {cell for cell in cells if cell and (cell in profile.columns or column_of(cell) is not None)}
        if len(known) > most:
            best, most = at, len(known)
    return best


def read_layout(grid: Grid, profile: Profile, found: Findings) -> Layout:
    """The parts of a table; faults and questions about its columns go to `found`.

    Raises:
        UserError: there is no header.
    """
    at = header_at(grid, profile)
    if at is None:
        raise UserError(Fault(HEADER_HELP, found.name))
    line = grid.lines[at]
    cells = _trimmed(line.cells)
    header = tuple(" ".join(cell.split()) for cell in cells)
    names = {loose(cell) for cell in header if cell}
    own = names <= _OWN and "value" in names
    below = grid.lines[at + 1].cells if at + 1 < len(grid.lines) else ()
    units = below if any(below) and all(unit_of(cell) for cell in below if cell) else ()
    body = grid.lines[at + 2 if units else at + 1 :]
    width = len(header)
    columns = []
    for position in range(width):
        name = header[position] or f"column {position + 1}"
        unit = units[position] if position < len(units) else ""
        answer = profile.columns.get(loose(name))
        column = told_column(name, answer) if answer else column_of(header[position])
        if own and loose(name) in _OWN_UNUSED:
            continue
        if column is None:
            _ask_column(found, name, position, line.number, body)
        elif column.role is Role.IGNORE:
            found.leave(name)
        else:
            columns.append(Placed(position, name, column, unit))
    _repeats(header, line.number, found)
    columns = _settled(columns, profile, line.number, found)
    defaults = {} if own else _titles(grid.lines[:at], found)
    layout = Layout(header, cells, line.number, own, tuple(columns), defaults, units, body)
    _needed(layout, found)
    return layout


def _trimmed(cells: Sequence[str]) -> tuple[str, ...]:
    """Cells without the empty ones at the end."""
    width = len(cells)
    while width and not cells[width - 1]:
        width -= 1
    return tuple(cells[:width])


def _ask_column(found: Findings, name: str, at: int, line: int, body: Iterable[Line]) -> None:
    """Ask what an unknown column holds, if there is anything in it."""
    sample = next((row.cells[at] for row in body if at < len(row.cells) and row.cells[at]), "")
    if sample:
        what = f'What is in the column "{name}", for example "{shown(sample)}"? It can be ignored.'
        found.ask(f"columns.{loose(name) or name}", what, COLUMN_ANSWERS, line, name)


def _repeats(header: Sequence[str], line: int, found: Findings) -> None:
    names = [loose(cell) for cell in header]
    for at, name in enumerate(names):
        if name and name in names[:at]:
            found.fault("the column stands twice in the header; give each its own name", line, header[at])
            found.hopeless = True


def _settled(columns: list[Placed], profile: Profile, line: int, found: Findings) -> list[Placed]:
    """The columns without those that another one overrules; two of the same meaning are asked about."""
    groups: dict[tuple[str, ...], list[Placed]] = {}
    for place in columns:
        column = place.column
        if column.role not in _MANY:
            groups.setdefault((column.role, column.analyte, column.tissue, column.basis), []).append(place)
    dropped = []
    for group in groups.values():
        if len(group) > 1:
            dropped += _overruled(group, profile, line, found)
    for place in dropped:
        found.leave(place.header)
    return [place for place in columns if place not in dropped]


def _overruled(group: list[Placed], profile: Profile, line: int, found: Findings) -> list[Placed]:
    told = [place for place in group if loose(place.header) in profile.columns]
    sure = told or [place for place in group if squeeze(place.header) not in VAGUE_DATES] or group
    if len(sure) > 1:
        first, second = sure[0], sure[1]
        if loose(first.header) == loose(second.header):
            return []
        what = f'The columns "{first.header}" and "{second.header}" say the same: what is in "{second.header}"?'
        if told:
            found.fault(
                f'the columns "{first.header}" and "{second.header}" were told to be the same', line, second.header
            )
            found.hopeless = True
        else:
            found.ask(f"columns.{loose(second.header)}", what, COLUMN_ANSWERS, line, second.header)
    return [place for place in group if place is not sure[0]]


def _titles(lines: Iterable[Line], found: Findings) -> dict[Role, str]:
    """What title lines say for the whole file: "Date received: 3/12/2026", in one cell or two."""
    defaults: dict[Role, str] = {}
    for line in lines:
        cells = [cell for cell in line.cells if cell]
        at = 0
        while at < len(cells):
            label, colon, text = cells[at].partition(":")
            text = text.strip()
            column = column_of(label)
            wanted = column is not None and column.role in _TITLE_ROLES and squeeze(label) not in VAGUE_DATES
            if not text and wanted and at + 1 < len(cells) and ":" not in _label(cells[at + 1]):
                at += 1
                text, colon = cells[at], ":"
            at += 1
            if column is None or not wanted or not text or not colon:
                continue
            if defaults.setdefault(column.role, text) != text and column.role not in _MANY:
                found.fault(
                    f'"{shown(text)}" differs from "{shown(defaults[column.role])}" above',
                    line.number,
                    shown(label),
                )
    return defaults


def _label(cell: str) -> str:
    """The cell if it is itself a label with a known word before its colon, else ""."""
    label, colon, _ = cell.partition(":")
    return cell if colon and column_of(label) is not None else ""


def _needed(layout: Layout, found: Findings) -> None:
    """Values and a day of sampling must stand somewhere, unless it is open what a column holds."""
    if found.columns_open():
        return
    if not layout.values():
        found.fault(f"there is no column of values, such as NO3-N (ppm); {_seen(layout)}", layout.line)
        found.hopeless = True
    if not layout.of(Role.SAMPLED) and Role.SAMPLED not in layout.defaults:
        found.fault(
            f"there is no day of sampling: no column such as Date sampled, no line above the header such as "
            f"Date sampled: 2026-03-09; {_seen(layout)}",
            layout.line,
        )
        found.hopeless = True


def _seen(layout: Layout) -> str:
    return f"the columns are: {', '.join(name for name in layout.header if name)}"
