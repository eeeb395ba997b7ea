"""Sufficiency tables as data, and the band of one of them on a date.

A table belongs to one crop, system, region, tissue and basis. Reading files is not done here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from fertadjust.band_rows import MONTHS, Axis, Band, BandRow
from fertadjust.dates import day
from fertadjust.errors import OutOfSeason, PlacedError, UserError
from fertadjust.evidence import Evidence, split_sources
from fertadjust.stage_places import Doubt, stage_place, stages_near
from fertadjust.stages import StageDates, stage_words
from fertadjust.strict import Strict
from fertadjust.tissue import Basis, Tissue, canonical_analyte, stored_unit, to_stored

Placed = tuple[tuple[str | int, ...], str]
"""A place in the table, and what is wrong there."""


class Beside(NamedTuple):
    """The bands that a date may belong to besides its own, and whether a date that places it is a guess."""

    bands: tuple[Band, ...]
    guessed: bool


class BandTable(Strict):
    """A sufficiency table: one file in ``sufficiency_ranges/`` or in the grower's own folder.

    Attributes:
        crop, also: the crop, and others that the source gives the same rows for, or other names of it.
        variety: the variety or type that the rows are for, or None for any.
        system, region, tissue, part, basis: what the rows were made for; a midrib counts as petiole.
        axis, anchor, stages: what the rows run along.
        ends_with: stage, not of the table, from whose date on there is no band.
        last_days: days that the last stage's rows hold for; without it they hold to the end of the season.
        between: "straight" where the edges run straight from one row's days to the next row's.
    """

    schema_: Literal[1] = Field(alias="schema")
    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    title: str = Field(min_length=1)
    crop: str = Field(min_length=1)
    also: tuple[str, ...] | None = Field(default=None, min_length=1)
    variety: str | None = Field(default=None, min_length=1)
    system: str = Field(min_length=1)
    region: str = Field(min_length=1)
    tissue: Tissue
    part: str = Field(min_length=1)
    basis: Basis
    axis: Axis
    anchor: str | None = None
    stages: tuple[str, ...] = ()
    ends_with: str | None = None
    last_days: int | None = Field(default=None, ge=1, strict=True)
    between: Literal["straight"] | None = None
    notes: tuple[str, ...] = ()
    rows: tuple[BandRow, ...]

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults = [*self._head_faults(), *self._row_faults()]
        if not faults:
            faults = self._overlaps()
        if faults:
            raise PlacedError(faults)
        return self

    def _head_faults(self) -> Iterator[Placed]:
        if self.tissue is Tissue.LEAF and self.basis is Basis.SAP:
            yield ("basis",), "basis sap goes with tissue petiole"
        if self.axis is Axis.WEEKS and not self.anchor:
            yield ("axis",), "axis weeks needs anchor, the stage whose date begins week 1"
        if self.axis is Axis.DAYS and not self.anchor:
            yield ("axis",), "axis days needs anchor, the stage whose date is day 0"
        if self.axis is Axis.STAGES and not self.stages:
            yield ("axis",), "axis stages needs stages, their names in order of time"
        if len(set(self.stages)) != len(self.stages):
            yield ("stages",), "stages names one stage twice"
        if not self.rows:
            yield ("rows",), "there should be at least one row"
        for key in ("ends_with", "last_days"):
            if getattr(self, key) is not None and self.axis is not Axis.STAGES:
                yield (key,), f"{key} goes with axis stages"
        if self.ends_with in self.stages:
            yield ("ends_with",), f"ends_with {self.ends_with} is a stage of the table; it should come after them"
        if self.between is not None and self.axis is not Axis.DAYS:
            yield ("between",), "between goes with axis days"

    def _row_faults(self) -> Iterator[Placed]:
        seen: set[str] = set()
        for index, row in enumerate(self.rows):
            if row.id in seen:
                yield ("rows", index, "id"), f"row {row.id} stands twice"
            seen.add(row.id)
            for message in self._place_faults(row):
                yield ("rows", index), f"row {row.id}: {message}"
            try:
                to_stored(1.0, row.unit, row.analyte, self.basis)
            except UserError as error:
                for fault in error.faults:
                    yield ("rows", index, fault.key), f"row {row.id}: {fault.message}"

    def _place_faults(self, row: BandRow) -> Iterator[str]:
        given = {
            Axis.WEEKS: row.weeks is not None,
            Axis.STAGES: row.stage is not None,
            Axis.MONTHS: row.months is not None,
            Axis.DAYS: row.days is not None,
        }
        if self.axis is not Axis.SEASON and not given[self.axis]:
            yield f"axis {self.axis.value} needs {_PLACE_KEY[self.axis]}"
        for axis, present in given.items():
            if present and axis is not self.axis:
                yield f"{_PLACE_KEY[axis]} does not go with axis {self.axis.value}"
        if self.axis is not Axis.STAGES:
            return
        for name in (row.stage, row.until):
            if name is not None and name not in self.stages:
                yield f"stage {name} is not among stages"
        known = row.stage in self.stages and row.until in self.stages
        if known and self.stages.index(str(row.until)) < self.stages.index(str(row.stage)):
            yield f"until {row.until} comes before stage {row.stage}"

    def _overlaps(self) -> list[Placed]:
        faults: list[Placed] = []
        if self.between is not None:
            faults += [
                (("rows", self.rows.index(row)), f"rows {before.id} and {row.id} give different edges, so no line")
                for before, row in self._neighbours()
                if _edges_given(before) != _edges_given(row)
            ]
        for analyte in self.analytes:
            places = sorted(
                (place, index)
                for index, row in enumerate(self.rows)
                if canonical_analyte(row.analyte) == analyte
                for place in self._places(row)
            )
            for (place, first), (other, second) in pairwise(places):
                if place == other:
                    names = f"rows {self.rows[first].id} and {self.rows[second].id}"
                    message = f"{names} overlap for {analyte} at {self._place_label(place)}"
                    faults.append((("rows", second), message))
        return faults

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy, with some fields replaced; what was worked out from the rows is worked out again."""
        copied = super().model_copy(update=update, deep=deep)
        for name in ("analytes", "_bands"):
            copied.__dict__.pop(name, None)
        return copied

    @cached_property
    def analytes(self) -> tuple[str, ...]:
        """Stored names of the analytes that the table has rows for, in order of first appearance."""
        return tuple(dict.fromkeys(canonical_analyte(row.analyte) for row in self.rows))

    @cached_property
    def _bands(self) -> dict[tuple[str, int], Band]:
        """Every band in the stored unit, by analyte and place on the axis."""
        bands = {
            (canonical_analyte(row.analyte), place): self._to_band(row, place)
            for row in self.rows
            for place in self._places(row)
        }
        if self.between is not None:
            for before, after in self._neighbours():
                analyte = canonical_analyte(before.analyte)
                assert before.days is not None and after.days is not None
                first, last = before.days[1], after.days[0]
                ends = bands[analyte, first], bands[analyte, last]
                for place in range(first + 1, last):
                    share = (place - first) / (last - first)
                    bands[analyte, place] = _between(*ends, share, self._place_label(place))
        return bands

    def _neighbours(self) -> list[tuple[BandRow, BandRow]]:
        """Rows of one analyte that follow each other along the days."""
        found: list[tuple[BandRow, BandRow]] = []
        for analyte in self.analytes:
            rows = [row for row in self.rows if canonical_analyte(row.analyte) == analyte and row.days is not None]
            found += pairwise(sorted(rows, key=lambda row: row.days or (0, 0)))
        return found

    def _places(self, row: BandRow) -> range | list[int]:
        """Whole-number places on the axis that a row covers."""
        if row.weeks is not None:
            return range(row.weeks[0], row.weeks[1] + 1)
        if row.days is not None:
            return range(row.days[0], row.days[1] + 1)
        if row.stage is not None:
            return range(self.stages.index(row.stage), self.stages.index(row.until or row.stage) + 1)
        if row.months is not None:
            return [MONTHS.index(month) + 1 for month in row.months]
        return [0]

    def _place_label(self, place: int) -> str:
        if self.axis is Axis.WEEKS:
            return f"week {place}"
        if self.axis is Axis.DAYS:
            return f"day {place} from {stage_words(str(self.anchor))}"
        if self.axis is Axis.STAGES:
            return stage_words(self.stages[place])
        if self.axis is Axis.MONTHS:
            return MONTHS[place - 1]
        return "whole season"

    def _place_on(self, on: date, stages: StageDates) -> int:
        if self.axis is Axis.SEASON:
            return 0
        if self.axis is Axis.MONTHS:
            return on.month
        if self.axis is Axis.STAGES:
            return self._stage_on(on, stages)
        assert self.anchor is not None
        if self.axis is Axis.WEEKS:
            return stages.week_of(self.anchor, on)
        return (on - stages.start_of(self.anchor)).days

    def _stage_on(self, on: date, stages: StageDates) -> int:
        place = stage_place(self.stages, on, stages)
        over = None if self.ends_with is None else stages.dates.get(self.ends_with)
        if over is not None and on >= over:
            raise OutOfSeason(f"{self.id} has no band from {stage_words(str(self.ends_with))} on ({day(over)})")
        if self.last_days is not None and place == len(self.stages) - 1:
            until = stages.dates[self.stages[place]] + timedelta(days=self.last_days - 1)
            if on > until:
                last = stage_words(self.stages[place])
                raise OutOfSeason(f"{self.id} has a band for {self.last_days} days from {last}, to {day(until)}")
        return place

    def _to_band(self, row: BandRow, place: int) -> Band:
        def stored(value: float | None) -> float | None:
            return None if value is None else to_stored(value, row.unit, row.analyte, self.basis)[1]

        return Band(
            low=stored(row.low_edge),
            high=stored(row.high_edge),
            deficient_below=stored(row.deficient_below),
            excess_above=stored(row.excess_above),
            label=self._place_label(place),
            unit=stored_unit(self.basis, canonical_analyte(row.analyte)),
            table=self.id,
            row=row.id,
            source=row.source,
            evidence=row.evidence,
            note=row.note,
        )

    def band_on(self, analyte: str, on: date, stages: StageDates) -> Band:
        """The band of an analyte on a date. A later stage without a date has not begun.

        Raises:
            OutOfSeason: the table has no row for the analyte or the date, or its first stage has no date.
        """
        if analyte not in self.analytes:
            raise OutOfSeason(f"{self.id} has no rows for {analyte}")
        place = self._place_on(on, stages)
        band = self._bands.get((analyte, place))
        if band is None:
            raise OutOfSeason(f"{self.id} has no band for {analyte} at {self._place_label(place)} ({day(on)})")
        return band

    def beside(self, analyte: str, on: date, stages: StageDates, doubt: Doubt) -> Beside:
        """The other bands that a date may belong to, were the stage wrong by some days either way.

        A named stage that comes next and has no date may have begun unnoticed, so its band is among them. Months
        are those of the calendar: a crop may run ahead of it or behind.

        Raises:
            OutOfSeason: as `band_on`.
        """
        place = self._place_on(on, stages)
        guessed, places = False, [place]
        if self.axis in (Axis.WEEKS, Axis.DAYS):
            guessed = self.anchor in stages.approximate
            days = doubt.days(guessed)
            earlier, later = (self._place_on(on + timedelta(days=move), stages) for move in (-days, days))
            places = list(range(earlier, later + 1))
        elif self.axis is Axis.MONTHS:
            days = doubt.days(guessed)
            places = list(dict.fromkeys((on + timedelta(days=move)).month for move in range(-days, days + 1)))
        elif self.axis is Axis.STAGES:
            places, guessed = stages_near(self.stages, place, on, stages, doubt)
        own = self._bands.get((analyte, place))
        found = [band for step in places if (band := self._bands.get((analyte, step))) is not None]
        bands = {(band.row, band.low, band.high): band for band in found}
        if own is not None:
            bands.pop((own.row, own.low, own.high))
        return Beside(tuple(bands.values()), guessed)

    def fits(self, tissue: Tissue, basis: Basis, analyte: str) -> bool:
        """Whether a result of this kind may be compared with the table."""
        return tissue is self.tissue and basis is self.basis and analyte in self.analytes

    @property
    def crops(self) -> tuple[str, ...]:
        """Every name of a crop that the table is for."""
        return (self.crop, *(self.also or ()))

    @property
    def needs(self) -> tuple[str, ...]:
        """Stages that the table is placed by, in order of time."""
        anchor = () if self.anchor is None or self.axis not in (Axis.WEEKS, Axis.DAYS) else (self.anchor,)
        return (*anchor, *self.stages)

    @property
    def recalled(self) -> bool:
        """Whether any row was written from memory."""
        return any(row.evidence is Evidence.RECALLED for row in self.rows)

    def as_data(self) -> dict[str, Any]:
        """Plain data that the table can be read from again."""
        return self.model_dump(mode="json", by_alias=True, exclude_none=True)


def _edges_given(row: BandRow) -> tuple[bool, ...]:
    limits = (row.low, row.high, row.deficient_below, row.excess_above)
    return tuple(limit is not None for limit in limits)


def _between(first: Band, last: Band, share: float, label: str) -> Band:
    """The band a share of the way from one to the other; as well known as the worse known of the two."""

    def edge(start: float | None, end: float | None) -> float | None:
        return None if start is None or end is None else start + share * (end - start)

    known = (first.evidence, last.evidence)
    weak = next((word for word in (Evidence.RECALLED, Evidence.OWN) if word in known), Evidence.DERIVED)
    keys = dict.fromkeys((*split_sources(first.source), *split_sources(last.source)))
    return Band(
        low=edge(first.low, last.low),
        high=edge(first.high, last.high),
        deficient_below=edge(first.deficient_below, last.deficient_below),
        excess_above=edge(first.excess_above, last.excess_above),
        label=label,
        unit=first.unit,
        table=first.table,
        row=f"{first.row} to {last.row}",
        source="; ".join(keys) or first.source,
        evidence=weak,
        note=f"on the line between {first.label} and {last.label}",
    )


_PLACE_KEY = {
    Axis.WEEKS: "weeks",
    Axis.STAGES: "stage",
    Axis.MONTHS: "months",
    Axis.DAYS: "days",
    Axis.SEASON: "nothing",
}
