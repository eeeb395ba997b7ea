"""The lines below a table's header: which are samples, and their values. Made for files of many thousand lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from fertadjust.lab.amounts import Amounts, Limit
from fertadjust.lab.cells import Days, Number, Values, dates_of_two_sorts, day_order, decimal_mark, first_lines
from fertadjust.lab.found import Findings, Row
from fertadjust.lab.kinds import Kind, Kinds, Said
from fertadjust.lab.layout import Layout, Placed, labelled, laboratorys_own
from fertadjust.lab.profile import Profile
from fertadjust.lab.text import Line, short
from fertadjust.lab.values import Absent, Value
from fertadjust.lab.vocabulary import SUMMARY, Role
from fertadjust.lab.words import loose
from fertadjust.tissue import Method

_METHODS: Final = frozenset(loose(method.value.replace("-", " ")) for method in Method)
_EMPTY_FORMS: Final = frozenset({"", "-", "--", "—"})


class _ValueColumn:
    """A column of values with the columns that belong to it, and the kinds already settled."""

    def __init__(self, place: Placed, layout: Layout) -> None:
        self.at, self.header, self.column, self.below = place.at, place.header, place.column, place.below
        unit, limit, qualifier = (
            layout.companion(role, place) for role in (Role.UNIT, Role.LIMIT, Role.QUALIFIER)
        )
        self.unit = None if unit is None else unit.at
        self.limit = None if limit is None else limit.at
        self.limit_units = () if limit is None else (limit.column.unit, limit.below)
        self.qualifier = None if qualifier is None else qualifier.at
        self.analyte = None if place.column.analyte else _first(layout.of(Role.ANALYTE))
        self.tissues = tuple(other.at for other in layout.of(Role.TISSUE))
        self.basis = _first(layout.of(Role.BASIS))
        self.deciding = tuple(at for at in (self.analyte, self.basis, self.unit, *self.tissues) if at is not None)
        self.kinds: dict[tuple[str, ...], Kind] = {}

    def said(self, cells: tuple[str, ...], unit: str, layout: Layout) -> Said:
        """What a line says of this column's value; `unit` is the one in the value's cell."""
        units = [(self.header, unit), (self.header, self.below)]
        if self.unit is not None:
            units.append((layout.header[self.unit], cells[self.unit]))
        return Said(
            analyte="" if self.analyte is None else cells[self.analyte],
            tissues=tuple((layout.header[at], cells[at]) for at in self.tissues),
            basis=("", "") if self.basis is None else (layout.header[self.basis], cells[self.basis]),
            units=tuple(units),
        )


def _first(places: list[Placed]) -> int | None:
    return places[0].at if places else None


class Body:
    """Reads the lines of one table into rows."""

    def __init__(self, layout: Layout, kinds: Kinds, profile: Profile, found: Findings, delimiter: str) -> None:
        self.layout, self.kinds, self.profile, self.found = layout, kinds, profile, found
        self.sheet = not delimiter
        self.width = len(layout.header)
        self.columns = [_ValueColumn(place, layout) for place in layout.values()]
        self.sampled = _first(layout.of(Role.SAMPLED))
        self.received = _first(layout.of(Role.RECEIVED))
        self.block = _first(layout.of(Role.BLOCK))
        self.samples = [place.at for place in layout.of(Role.SAMPLE)]
        self.notes = [place.at for place in layout.of(Role.NOTE)]
        self.numbers = [place.at for place in layout.of(Role.SAMPLE) if laboratorys_own(place.header)]
        self.named = self._name_columns()
        self.unsummed = {place.at for role in (Role.ANALYTE, Role.QUALIFIER) for place in layout.of(role)}
        self.copied = self._copied()
        if self.sheet:
            self._check_dates()
        self.days = Days(day_order(first_lines(self._days()), profile, found))
        self.values = Values(decimal_mark(first_lines(self._numbers()), delimiter == ",", profile, found))
        self.amounts = Amounts(self.values, profile, found)
        self.defaults = self._defaults()

    def _name_columns(self) -> list[int]:
        """Columns that name a sample, the grower's words first; without the laboratory's own numbers."""
        own = [at for at in self.samples if at not in self.numbers]
        names = [place.at for place in self.layout.of(Role.NAME)]
        return [at for at in (self.block, *names, *own) if at is not None]

    def _copied(self) -> list[tuple[int, str]]:
        """Columns whose text goes into a field as it stands; methods of a laboratory's own stay out."""
        out = [
            (place.at, role.value)
            for role in (Role.BLOCK, Role.PETIOLES, Role.LABORATORY)
            for place in self.layout.of(role)
        ]
        for place in self.layout.of(Role.METHOD):
            cells = {line.cells[place.at] for line in self.layout.body if place.at < len(line.cells)}
            if self.layout.own or {loose(cell.replace("-", " ")) for cell in cells if cell} <= _METHODS:
                out.append((place.at, Role.METHOD.value))
            else:
                self.found.leave(place.header)
        return out

    def _days(self) -> Iterator[tuple[str, int | None]]:
        for role in (Role.SAMPLED, Role.RECEIVED):
            if role in self.layout.defaults:
                yield self.layout.defaults[role], None
        for at in (self.sampled, self.received):
            if at is not None:
                yield from self._column(at)

    def _column(self, at: int) -> Iterator[tuple[str, int | None]]:
        return ((line.cells[at], line.number) for line in self.layout.body if at < len(line.cells))

    def _check_dates(self) -> None:
        for at in (self.sampled, self.received):
            if at is not None and not self.found.hopeless:
                dates_of_two_sorts(self._column(at), self.layout.header[at], self.found)

    def _numbers(self) -> Iterator[tuple[str, int | None]]:
        places = {at for column in self.columns for at in (column.at, column.limit) if at is not None}
        for at in sorted(places):
            for line in self.layout.body:
                if at < len(line.cells) and type(line.cells[at]) is not Number:
                    yield line.cells[at], line.number

    def _defaults(self) -> dict[str, str]:
        """Fields that title lines and the profile give to every row."""
        out = {}
        for role in (Role.SAMPLED, Role.RECEIVED):
            text = self.layout.defaults.get(role, "")
            day, wrong = self.days.read(text)
            if wrong.strip():
                self.found.fault(wrong, None, role.value)
                self.found.hopeless = True
            if day:
                out[role.value] = day
        laboratory = self.layout.defaults.get(Role.LABORATORY, "") or self.profile.laboratory
        block = self.layout.defaults.get(Role.BLOCK, "")
        sample = self.layout.defaults.get(Role.SAMPLE, "") or self.layout.number
        named = {Role.LABORATORY: laboratory, Role.BLOCK: block, Role.SAMPLE: sample}
        return out | {role.value: text for role, text in named.items() if text}

    def read(self) -> None:
        """Read every line, unless a fault leaves the meaning of all of them in doubt."""
        if self.found.hopeless or not self.columns:
            return
        header, units, width = self.layout.cells, self.layout.units, self.width
        for line in self.layout.body:
            cells = line.cells
            if len(cells) != width:
                cells = self._fitted(line)
            if cells == header:
                self.found.pass_over(line.number, "the header again")
            elif units and line.cells == units:
                self.found.pass_over(line.number, "units again")
            elif part := self._part(cells):
                if self._is_new(part, line.number):
                    return
            elif not self._passed(cells, line):
                self._read_line(cells, line.number)

    def _fitted(self, line: Line) -> tuple[str, ...]:
        """A line's cells as many as the header's; text beyond it is a fault."""
        cells, width = line.cells, self.width
        beyond = [cell for cell in cells[width:] if cell]
        if beyond:
            self.found.fault(
                f'"{short(beyond[0])}" stands in column {width + 1} or later, the header has {width} columns; '
                "a text with the mark that sets columns apart needs quotes",
                line.number,
            )
        return (*cells[:width], *("",) * (width - len(cells)))

    def _part(self, cells: tuple[str, ...]) -> list[tuple[str, Role, str]]:
        """What a line below the header says like a title line: "Plant part: Leaf"; [] for any other line."""
        filled = [cell for cell in cells if cell]
        valued = any(
            self.values.read(cells[column.at]) is Absent.NOT_DETECTED
            or isinstance(self.values.read(cells[column.at]), Value)
            for column in self.columns
        )
        first = filled[0] if filled else ""
        if not first.endswith(":"):  # a sample may be called "Field: 4"
            if valued and (len(filled) > 2 or ":" in first):
                return []
            if len(filled) > 2 and ":" not in first and self._dated(cells):
                return []
        if len(filled) > 1 and self.notes:
            filled = [cell for at, cell in enumerate(cells) if cell and at not in self.notes]
        return list(labelled(filled))

    def _is_new(self, part: list[tuple[str, Role, str]], number: int) -> bool:
        """Whether such a line says other than the first title lines: another part begins, which is a fault."""
        for label, role, text in part:
            if (role, text) not in self.layout.titles:
                self.found.fault(
                    f'"{short(label.strip())}: {short(text)}" begins another part of the report: the file has '
                    "several parts; make a file of each, or give what differs a column and leave this line out",
                    number,
                )
                self.found.hopeless = True
                return True
        self.found.pass_over(number, "a title line again")
        return False

    def _passed(self, cells: tuple[str, ...], line: Line) -> bool:
        """Whether a line is no sample: a summary, a text, or without any value."""
        first = cells[0]
        if not first:
            first = next((cell for cell in cells if cell), "")
        word = first
        if self.unsummed:  # the analyte N is no number of samples
            word = next((cell for at, cell in enumerate(cells) if cell and at not in self.unsummed), "")
        if word.lower().replace(".", "").rstrip(" :") in SUMMARY and not self._dated(cells):
            self.found.pass_over(line.number, f'a summary: "{word}"')
            return True
        for column in self.columns:
            if cells[column.at] not in _EMPTY_FORMS:
                return False
        texts = sum(1 for cell in cells if cell)
        if texts > 1 and any(self.values.read(cells[c.at]) is not Absent.NOTHING for c in self.columns):
            return False
        if texts == 1:
            self.found.pass_over(line.number, f'a line of text: "{short(first)}"')
        elif not any(cells[c.qualifier] for c in self.columns if c.qualifier is not None):
            self.found.empty += len(self.columns)
            self.found.pass_over(line.number, "no value" + (f': "{short(first)}"' if first else ""))
        else:
            return False
        return True

    def _dated(self, cells: tuple[str, ...]) -> bool:
        if self.sampled is None or not cells[self.sampled]:
            return False
        day, wrong = self.days.read(cells[self.sampled])
        return bool(day) or wrong == " "

    def _read_line(self, cells: tuple[str, ...], number: int) -> None:
        base = self._base(cells, number)
        names = self._names(cells)
        if self.sheet:  # number cells become plain texts, except as values
            names = tuple(map(str, names))
            base = None if base is None else {key: str(text) for key, text in base.items()}
        rows, found, read = self.found.rows, self.found, self.values.read
        used = 0
        for column in self.columns:
            cell = cells[column.at]
            qualifier = "" if column.qualifier is None else cells[column.qualifier]
            value = read(cell)
            if value is Absent.NOTHING and qualifier and self.values.read(qualifier) is Absent.NOT_DETECTED:
                value, qualifier = Absent.NOT_DETECTED, ""
            if value is Absent.NOTHING:
                found.empty += 1
                continue
            used += 1
            unit = "" if isinstance(value, str | Absent) else value.unit
            kind = self._kind(column, cells, unit, number)
            if kind.ignored:
                continue
            for key, message in kind.faults:
                found.fault(message, number, key or column.header)
            if isinstance(value, str):
                found.fault(value, number, column.header)
                continue
            text: str | None = None if isinstance(value, Absent) else value.text
            if text is None or qualifier or kind.per_mmol:
                limit = Limit("" if column.limit is None else cells[column.limit], column.limit_units)
                text = self.amounts.text(value, kind, limit, qualifier, number, column.header)
            if text is None or base is None or not kind.ready:
                continue
            fields = {**base, **kind.fields, "value": text}
            rows.append(Row(number, column.header, fields, names, f"{cell} {kind.printed}".rstrip()))
        if not used:
            found.pass_over(number, "no value" + (f': "{short(names[0])}"' if names else ""))

    def _base(self, cells: tuple[str, ...], number: int) -> dict[str, str] | None:
        """Fields that all values of a line share; None when the day of sampling is missing or wrong."""
        base = self.defaults.copy()
        right = True
        for at, field in ((self.sampled, "sampled"), (self.received, "received")):
            if at is not None and (cell := cells[at]):
                day, wrong = self.days.read(cell)
                if wrong:
                    right = False
                    if wrong != " ":
                        self.found.fault(wrong, number, self.layout.header[at])
                elif day:
                    base[field] = day
        if right and "sampled" not in base:
            right = False
            self._no_day(number)
        for at, field in self.copied:
            if cells[at]:
                base[field] = cells[at]
        for at in self.samples:
            if cells[at]:
                base["sample_id"] = cells[at]
                break
        if self.notes:
            note = "; ".join(cells[at] for at in self.notes if cells[at])
            if note:
                base["note"] = note
        return base if right else None

    def _no_day(self, number: int) -> None:
        if not self.found.columns_open() and not self.found.hopeless and "dates" not in self.found.questions:
            key = "sampled" if self.sampled is None else self.layout.header[self.sampled]
            self.found.fault("the day of sampling is missing; write it as 2026-03-09", number, key)

    def _names(self, cells: tuple[str, ...]) -> tuple[str, ...]:
        names = dict.fromkeys(cells[at] for at in self.named)
        for role in (Role.BLOCK, Role.NAME, Role.SAMPLE):
            if role in self.layout.defaults:
                names[self.layout.defaults[role]] = None
        names.pop("", None)
        if not names:
            names = dict.fromkeys((*(cells[at] for at in self.numbers), self.layout.number))
            names.pop("", None)
        return tuple(names)

    def _kind(self, column: _ValueColumn, cells: tuple[str, ...], unit: str, number: int) -> Kind:
        key = (unit, *[cells[at] for at in column.deciding])
        kind = column.kinds.get(key)
        if kind is None:
            said = column.said(cells, unit, self.layout)
            kind = self.kinds.settle(column.header, column.column, said, number)
            column.kinds[key] = kind
            if kind.ignored:
                self.found.leave(said.analyte)
        return kind
