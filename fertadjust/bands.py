"""Sufficiency tables as data, and the band of one of them on a date.

A table belongs to one crop, system, region, tissue and basis. Reading files is not done here.
"""

from __future__ import annotations

import calendar
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property
from itertools import pairwise, takewhile
from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from fertadjust.dates import day
from fertadjust.errors import OutOfSeason, PlacedError, UserError
from fertadjust.evidence import Evidence
from fertadjust.stages import StageDates, stage_words
from fertadjust.strict import Strict
from fertadjust.tissue import Basis, Tissue, canonical_analyte, stored_unit, to_stored

MONTHS = tuple(calendar.month_name[1:])

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True)]
Placed = tuple[tuple[str | int, ...], str]
"""A place in the table, and what is wrong there."""


class Axis(StrEnum):
    """What a table's rows run along."""

    WEEKS = "weeks"
    STAGES = "stages"
    MONTHS = "months"
    SEASON = "season"


class BandRow(Strict):
    """One printed row: the band of one analyte at one place on the axis, in the unit as published."""

    id: str = Field(min_length=1)
    analyte: str
    unit: str
    weeks: tuple[int, int] | None = None
    stage: str | None = None
    months: tuple[str, ...] | None = None
    low: Positive | None = None
    high: Positive | None = None
    deficient_below: Positive | None = None
    excess_above: Positive | None = None
    source: str = Field(min_length=1)
    evidence: Evidence
    confidence: Literal["high", "medium", "low"] | None = None
    note: str = ""

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.low is None and self.high is None:
            raise ValueError("a row needs low, high or both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(f"low {self.low:g} is not below high {self.high:g}")
        if self.deficient_below is not None and self.low is not None and self.deficient_below > self.low:
            raise ValueError(f"deficient_below {self.deficient_below:g} is above low {self.low:g}")
        if self.excess_above is not None and self.high is not None and self.excess_above < self.high:
            raise ValueError(f"excess_above {self.excess_above:g} is below high {self.high:g}")
        if self.weeks is not None and self.weeks[0] > self.weeks[1]:
            raise ValueError(f"weeks {list(self.weeks)}: the first is after the last")
        if self.months is not None and not self.months:
            raise ValueError("months should name at least one month")
        if self.months is not None:
            unknown = [month for month in self.months if month not in MONTHS]
            if unknown:
                raise ValueError(f"months {unknown}: write English month names, such as November")
        if self.evidence is Evidence.RECALLED and self.confidence is None:
            raise ValueError('evidence "recalled" needs confidence: high, medium or low')
        return self


@dataclass(frozen=True, slots=True)
class Band:
    """The band of one table on one date, in the stored unit. Both edges belong to it.

    Attributes:
        low, high: edges; one of them may be None (the source gives one edge only).
        deficient_below, excess_above: separate limits, only where the source gives them.
        label: the place on the axis in words, for example "week 5".
        unit: stored unit of the edges.
        table, row: ids of the table and the row.
        source, evidence, note: of the row.
    """

    low: float | None
    high: float | None
    deficient_below: float | None
    excess_above: float | None
    label: str
    unit: str
    table: str
    row: str
    source: str
    evidence: Evidence
    note: str = ""


class Doubt(NamedTuple):
    """How many days a stage may be wrong by: when its date was recorded, and when it is a guess."""

    recorded: int
    guess: int

    def days(self, guessed: bool) -> int:
        return self.guess if guessed else self.recorded


class Beside(NamedTuple):
    """The bands that a date may belong to besides its own, and whether a date that places it is a guess."""

    bands: tuple[Band, ...]
    guessed: bool


class BandTable(Strict):
    """A sufficiency table: one file in ``sufficiency_ranges/`` or in the grower's own folder."""

    schema_: Literal[1] = Field(alias="schema")
    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    title: str = Field(min_length=1)
    crop: str = Field(min_length=1)
    system: str = Field(min_length=1)
    region: str = Field(min_length=1)
    tissue: Tissue
    part: str = Field(min_length=1)
    basis: Basis
    axis: Axis
    anchor: str | None = None
    stages: tuple[str, ...] = ()
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
        if self.axis is Axis.STAGES and not self.stages:
            yield ("axis",), "axis stages needs stages, their names in order of time"
        if len(set(self.stages)) != len(self.stages):
            yield ("stages",), "stages names one stage twice"
        if not self.rows:
            yield ("rows",), "there should be at least one row"

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
        }
        if self.axis is not Axis.SEASON and not given[self.axis]:
            yield f"axis {self.axis.value} needs {_PLACE_KEY[self.axis]}"
        for axis, present in given.items():
            if present and axis is not self.axis:
                yield f"{_PLACE_KEY[axis]} does not go with axis {self.axis.value}"
        if self.axis is Axis.STAGES and row.stage is not None and row.stage not in self.stages:
            yield f"stage {row.stage} is not among stages"

    def _overlaps(self) -> list[Placed]:
        faults: list[Placed] = []
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
        return {
            (canonical_analyte(row.analyte), place): self._to_band(row, place)
            for row in self.rows
            for place in self._places(row)
        }

    def _places(self, row: BandRow) -> range | list[int]:
        """Whole-number places on the axis that a row covers."""
        if row.weeks is not None:
            return range(row.weeks[0], row.weeks[1] + 1)
        if row.stage is not None:
            return [self.stages.index(row.stage)]
        if row.months is not None:
            return [MONTHS.index(month) + 1 for month in row.months]
        return [0]

    def _place_label(self, place: int) -> str:
        if self.axis is Axis.WEEKS:
            return f"week {place}"
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
        if self.axis is Axis.WEEKS:
            assert self.anchor is not None
            return stages.week_of(self.anchor, on)
        starts = self._starts(stages)
        if on < starts[0]:
            raise OutOfSeason(f"{day(on)} is before {stage_words(self.stages[0])} ({day(starts[0])})")
        if on > stages.season_end:
            raise OutOfSeason(f"{day(on)} is after the end of the season ({day(stages.season_end)})")
        return max(index for index, start in enumerate(starts) if start <= on)

    def _starts(self, stages: StageDates) -> list[date]:
        """First days of the stages, as far as they have dates; the first has to."""
        later = takewhile(stages.dates.__contains__, self.stages[1:])
        return [stages.start_of(self.stages[0]), *(stages.dates[stage] for stage in later)]

    def _to_band(self, row: BandRow, place: int) -> Band:
        def stored(value: float | None) -> float | None:
            return None if value is None else to_stored(value, row.unit, row.analyte, self.basis)[1]

        return Band(
            low=stored(row.low),
            high=stored(row.high),
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
        if self.axis is Axis.WEEKS:
            guessed = self.anchor in stages.approximate
            days = doubt.days(guessed)
            earlier, later = (self._place_on(on + timedelta(days=move), stages) for move in (-days, days))
            places = list(range(earlier, later + 1))
        elif self.axis is Axis.MONTHS:
            days = doubt.days(guessed)
            places = list(dict.fromkeys((on + timedelta(days=move)).month for move in range(-days, days + 1)))
        elif self.axis is Axis.STAGES:
            places, guessed = self._stages_near(place, on, stages, doubt)
        own = self._bands.get((analyte, place))
        found = [band for step in places if (band := self._bands.get((analyte, step))) is not None]
        bands = {band.row: band for band in found if own is None or band.row != own.row}
        return Beside(tuple(bands.values()), guessed)

    def _stages_near(self, place: int, on: date, stages: StageDates, doubt: Doubt) -> tuple[list[int], bool]:
        """The stage of a date and those on either side of it whose dates are near enough to be in doubt.

        Also whether any of the dates that are in doubt is a guess.
        """
        starts, guesses = self._starts(stages), [stage in stages.approximate for stage in self.stages]
        near, guessed = [place], False
        for index in range(place, 0, -1):
            if on - timedelta(days=doubt.days(guesses[index])) >= starts[index]:
                break
            near.insert(0, index - 1)
            guessed |= guesses[index]
        for index in range(place + 1, len(self.stages)):
            known = index < len(starts)
            if known and on + timedelta(days=doubt.days(guesses[index])) < starts[index]:
                break
            near.append(index)
            guessed |= guesses[index]
            if not known:
                break
        return near, guessed

    def fits(self, tissue: Tissue, basis: Basis, analyte: str) -> bool:
        """Whether a result of this kind may be compared with the table."""
        return tissue is self.tissue and basis is self.basis and analyte in self.analytes

    @property
    def recalled(self) -> bool:
        """Whether any row was written from memory."""
        return any(row.evidence is Evidence.RECALLED for row in self.rows)

    def as_data(self) -> dict[str, Any]:
        """Plain data that the table can be read from again."""
        return self.model_dump(mode="json", by_alias=True, exclude_none=True)


_PLACE_KEY = {Axis.WEEKS: "weeks", Axis.STAGES: "stage", Axis.MONTHS: "months", Axis.SEASON: "nothing"}
