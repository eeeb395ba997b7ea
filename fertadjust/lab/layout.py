"""Where things stand in a table: its title lines, its header, a line of units, and what each column holds."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import Fault, UserError
from fertadjust.lab.found import Findings
from fertadjust.lab.profile import COLUMN_ANSWERS, Profile
from fertadjust.lab.text import Grid, Line, short
from fertadjust.lab.vocabulary import Role
from fertadjust.lab.words import (
    Column,
    column_of,
    loose,
    told_column,
    unit_of,
    unused_analyte,
    vague_date,
)

_SEARCHED: Final = 60
"""Lines in which a header is looked for."""

_OWN: Final = frozenset((*(loose(name) for name in RESULT_FIELDS), "line", "why"))
_OWN_UNUSED: Final = ("line", "why")

_TITLE_ROLES: Final = (
    *(Role.SAMPLED, Role.RECEIVED, Role.TISSUE, Role.BASIS, Role.LABORATORY),
    *(Role.BLOCK, Role.NAME, Role.SAMPLE),
)
_COMPANIONS: Final = (Role.UNIT, Role.LIMIT, Role.QUALIFIER)
"""Roles of columns that say more of the values in another one."""
_DATE_ANSWERS: Final = (Role.SAMPLED.value, Role.RECEIVED.value, Role.IGNORE.value)
_SAP: Final = re.compile(r"(?<![a-z])sap(?![a-z])", re.IGNORECASE)
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
        titles: (role, text) of everything that they say.
        number: the laboratory's own number of the sample in a title line, or "".
        units: cells of the line of units, or ().
        body: the lines below.
    """

    header: tuple[str, ...]
    cells: tuple[str, ...]
    line: int
    own: bool
    columns: tuple[Placed, ...]
    defaults: dict[Role, str]
    titles: frozenset[tuple[Role, str]]
    number: str
    units: tuple[str, ...]
    body: tuple[Line, ...]

    def of(self, role: Role, analyte: str = "") -> list[Placed]:
        """The columns of a role that belong to an analyte, or to none."""
        return [place for place in self.columns if place.column.role is role and place.column.analyte == analyte]

    def values(self) -> list[Placed]:
        return [place for place in self.columns if place.column.role is Role.VALUE]

    def companion(self, role: Role, of: Placed) -> Placed | None:
        """The column of units, limits or qualifiers that belongs to a column of values."""
        named = self.of(role, of.column.analyte)
        if of.column.analyte and named:
            return named[0]
        for place in self.of(role):
            if _owner(place, self.columns, self.header) in (None, of):
                return place
        return None


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
    columns = _with_owners(columns, header, profile, line.number, body, found)
    columns = _settled(columns, header, profile, line.number, found)
    columns = _sure_days(columns, profile, line.number, body, found)
    titles = [] if own else _titles(grid.lines[:at], found)
    defaults: dict[Role, str] = {}
    for role, text, numbered in titles:
        if not numbered:
            defaults.setdefault(role, text)
    number = next((text for _, text, numbered in titles if numbered), "")
    said = frozenset((role, text) for role, text, _ in titles)
    layout = Layout(header, cells, line.number, own, tuple(columns), defaults, said, number, units, body)
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
    sample = _first_text(at, body)
    if sample:
        what = f'What is in the column "{name}", for example "{short(sample)}"? It can be ignored.'
        found.ask(f"columns.{loose(name) or name}", what, COLUMN_ANSWERS, line, name)


def _first_text(at: int, body: Iterable[Line]) -> str:
    return next((row.cells[at] for row in body if at < len(row.cells) and row.cells[at]), "")


def _owner(place: Placed, columns: Iterable[Placed], header: Sequence[str]) -> Placed | str | None:
    """The column of values that a companion without an analyte belongs to: the nearest one to its left.

    None where it belongs to every value, because there is one column of values only; a text where what stands
    to its left is nothing, or values that are not used.
    """
    values = {other.at: other for other in columns if other.column.role is Role.VALUE}
    if len(values) < 2:
        return None
    for at in range(place.at - 1, -1, -1):
        if at in values:
            return values[at]
        if unused_analyte(header[at]) or _holds_values(header[at]):
            return header[at]
    return ""


def _holds_values(header: str) -> bool:
    column = column_of(header)
    return column is not None and column.role is Role.VALUE


def _with_owners(
    columns: list[Placed],
    header: Sequence[str],
    profile: Profile,
    line: int,
    body: Iterable[Line],
    found: Findings,
) -> list[Placed]:
    """The columns without companions that belong to no column of values; these are asked about."""
    kept = []
    for place in columns:
        stray = (
            place.column.role in _COMPANIONS
            and not place.column.analyte
            and isinstance(_owner(place, columns, header), str)
        )
        if not stray:
            kept.append(place)
        elif loose(place.header) in profile.columns:
            found.fault(
                f"it is open which column of values this {place.column.role.value} column belongs to; put it to "
                'the right of its values, or name the analyte in its header, such as "NO3-N unit"',
                line,
                place.header,
            )
            found.hopeless = True
        elif text := _first_text(place.at, body):
            what = f'Which values does the column "{place.header}", for example "{short(text)}", belong to? '
            what += "No column of values stands to its left. It can be ignored."
            found.ask(f"columns.{loose(place.header)}", what, COLUMN_ANSWERS, line, place.header)
    return kept


def _sure_days(
    columns: list[Placed], profile: Profile, line: int, body: Iterable[Line], found: Findings
) -> list[Placed]:
    """The columns without one that is only headed "Date"; it is asked which day that is."""
    kept = []
    for place in columns:
        vague = place.column.role is Role.SAMPLED and vague_date(place.header)
        text = _first_text(place.at, body) if vague and loose(place.header) not in profile.columns else ""
        if text:
            what = f'Which day is in the column "{place.header}", for example "{short(text)}"? It can be ignored.'
            found.ask(f"columns.{loose(place.header)}", what, _DATE_ANSWERS, line, place.header)
        else:
            kept.append(place)
    return kept


def _repeats(header: Sequence[str], line: int, found: Findings) -> None:
    names = [loose(cell) for cell in header]
    for at, name in enumerate(names):
        if name and name in names[:at]:
            found.fault("the column stands twice in the header; give each its own name", line, header[at])
            found.hopeless = True


def _settled(
    columns: list[Placed], header: Sequence[str], profile: Profile, line: int, found: Findings
) -> list[Placed]:
    """The columns without those that another one overrules; two of the same meaning are asked about."""
    groups: dict[tuple[str, ...], list[Placed]] = {}
    for place in columns:
        column = place.column
        owner = None
        if column.role in _COMPANIONS and not column.analyte:
            owner = _owner(place, columns, header)
        if column.role not in _MANY:
            of = owner.header if isinstance(owner, Placed) else ""
            groups.setdefault((column.role, column.analyte, column.tissue, column.basis, of), []).append(place)
    dropped = []
    for group in groups.values():
        if len(group) > 1:
            dropped += _overruled(group, profile, line, found)
    for place in dropped:
        found.leave(place.header)
    return [place for place in columns if place not in dropped]


def _overruled(group: list[Placed], profile: Profile, line: int, found: Findings) -> list[Placed]:
    told = [place for place in group if loose(place.header) in profile.columns]
    sure = told or [place for place in group if not vague_date(place.header)] or group
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


def _titles(lines: Iterable[Line], found: Findings) -> list[tuple[Role, str, bool]]:
    """What title lines say for the whole file; True where it is the laboratory's own number of the sample."""
    out: list[tuple[Role, str, bool]] = []
    first: dict[Role, str] = {}
    for line in lines:
        for label, role, text in labelled(line.cells):
            out.append((role, text, role is Role.SAMPLE and laboratorys_own(label)))
            if first.setdefault(role, text) != text and role not in _MANY:
                found.fault(
                    f'"{short(text)}" differs from "{short(first[role])}" above', line.number, short(label)
                )
    return out


def labelled(cells: Iterable[str]) -> Iterator[tuple[str, Role, str]]:
    """(label, role, text) of "Date received: 3/12/2026", in one cell or in two neighbouring ones."""
    filled = [cell for cell in cells if cell]
    at = 0
    while at < len(filled):
        label, colon, text = filled[at].partition(":")
        text = text.strip()
        column = column_of(label)
        wanted = column is not None and column.role in _TITLE_ROLES and not vague_date(label)
        if not text and wanted and at + 1 < len(filled) and ":" not in _label(filled[at + 1]):
            at += 1
            text, colon = filled[at], ":"
        at += 1
        if column is not None and wanted and text and colon:
            yield label, column.role, text


def laboratorys_own(header: str) -> bool:
    """Whether a sample's header or label is of the number that the laboratory gave it."""
    return loose(header).startswith("lab")


def says_sap(grid: Grid, layout: Layout) -> bool:
    """Whether title lines, the header or a cell of a method say "sap"."""
    methods = [place.at for place in layout.of(Role.METHOD)]
    titles = (cell for line in grid.lines if line.number < layout.line for cell in line.cells)
    cells = {line.cells[at] for line in layout.body for at in methods if at < len(line.cells)}
    return any(map(_SAP.search, (*titles, *layout.header, *cells)))


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
