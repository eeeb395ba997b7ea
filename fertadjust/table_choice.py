"""Choosing among band tables: which there are, their bands on one day, and how far these lie apart.

Nothing is preferred: tables are filtered by what is asked for, put in one order, and a person picks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import combinations, groupby
from typing import Any, Final, NamedTuple

from fertadjust.band_rows import MONTHS, Axis, Band, BandRow
from fertadjust.bands import BandTable
from fertadjust.dates import day
from fertadjust.errors import OutOfSeason
from fertadjust.stage_places import Doubt
from fertadjust.stages import StageDates, stage_words
from fertadjust.tissue import MAIN_ANALYTE, Basis, Tissue, canonical_analyte, kind_words
from fertadjust.units import DAYS_PER_WEEK

_ANY_DAY: Final = date(2000, 1, 1)
"""A first day to place rows by; no band depends on the year."""

_NO_DOUBT: Final = Doubt(0, 0)


class Wanted(NamedTuple):
    """What tables are looked for; None where anything will do.

    Attributes:
        crop: any name of the crop.
        variety: a table for any variety fits too.
        system, region: words that stand in the table's own: "California" finds "coastal California".
        tissue, basis, analyte: the kind.
    """

    crop: str | None = None
    variety: str | None = None
    system: str | None = None
    region: str | None = None
    tissue: Tissue | None = None
    basis: Basis | None = None
    analyte: str | None = None

    def fits(self, table: BandTable) -> bool:
        """Whether a table is one of those looked for."""
        return (
            (self.crop is None or _plain(self.crop) in map(_plain, table.crops))
            and (self.variety is None or table.variety is None or _plain(self.variety) == _plain(table.variety))
            and (self.system is None or _plain(self.system) in _plain(table.system))
            and (self.region is None or _plain(self.region) in _plain(table.region))
            and self.tissue in (None, table.tissue)
            and self.basis in (None, table.basis)
            and (self.analyte is None or canonical_analyte(self.analyte) in table.analytes)
        )

    def stops_at(self, tables: Iterable[BandTable]) -> tuple[str, list[str]]:
        """Where no table fits: the first field that none of those left fits, and what these have instead."""
        left = list(tables)
        for name, value in zip(self._fields, self, strict=True):
            alone: dict[str, Any] = {name: value}
            kept = [table for table in left if Wanted(**alone).fits(table)]
            if not kept:
                return name, sorted({text for table in left for text in _has(table, name)})
            left = kept
        raise ValueError("there are tables that fit")


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()


def _has(table: BandTable, name: str) -> tuple[str, ...]:
    """What a table has for a field of `Wanted`, in words."""
    if name == "crop":
        return table.crops
    if name == "analyte":
        return table.analytes
    value = getattr(table, name)
    return () if value is None else (str(value),)


class Kind(NamedTuple):
    """A kind of result; only tables of the same kind are compared."""

    tissue: Tissue
    basis: Basis
    analyte: str

    @property
    def words(self) -> str:
        """For example "petiole NO3-N, dry weight"."""
        return kind_words(self.tissue, self.basis, self.analyte)


@dataclass(frozen=True, slots=True)
class Candidate:
    """One table on one day.

    Attributes:
        table, analyte: the table, and the analyte that its bands are for.
        band: the band of the day, or None.
        unnoticed: bands of the stage that comes next and has no date, which may have begun.
        places: bands of every place that the day may belong to, where stages lack dates.
        needs: stages of which one needs a date for that.
        why: why there is no band, or "".
    """

    table: BandTable
    analyte: str
    band: Band | None = None
    unnoticed: tuple[Band, ...] = ()
    places: tuple[Band, ...] = ()
    needs: tuple[str, ...] = ()
    why: str = ""

    @property
    def kind(self) -> Kind:
        return Kind(self.table.tissue, self.table.basis, self.analyte)

    @property
    def bands(self) -> tuple[Band, ...]:
        """The band of the day, or those of every place that it may belong to."""
        return self.places if self.band is None else (self.band,)


def in_order(tables: Iterable[BandTable]) -> list[BandTable]:
    """Tables by crop, tissue, basis, region and id, whatever their order was."""
    return sorted(tables, key=lambda t: (t.crop, t.tissue.value, t.basis.value, t.region, t.id))


def candidates(tables: Iterable[BandTable], wanted: Wanted, on: date, stages: StageDates) -> tuple[Candidate, ...]:
    """The tables that fit, with their bands on a day, in one fixed order.

    Without an analyte it is nitrogen of the tissue, or the first analyte of a table that has none.
    """
    found = []
    for table in in_order(table for table in tables if wanted.fits(table)):
        if wanted.analyte is not None:
            analyte = canonical_analyte(wanted.analyte)
        else:
            main = MAIN_ANALYTE[table.tissue]
            analyte = main if main in table.analytes else table.analytes[0]
        found.append(candidate(table, analyte, on, stages))
    return tuple(found)


def candidate(table: BandTable, analyte: str, on: date, stages: StageDates) -> Candidate:
    """One table on a day: its band, or the bands of the places that undated stages leave open, or why none."""
    try:
        band = table.band_on(analyte, on, stages)
    except OutOfSeason as reason:
        places = _open_places(table, analyte, on, stages)
        if not places:
            return Candidate(table, analyte, why=_before_first(table, on, stages) or str(reason))
        needs = tuple(name for name in table.needs if name not in stages.dates)
        which = ", ".join(map(stage_words, needs))
        why = f"needs the date of {which}" if len(needs) == 1 else f"needs the date of one of: {which}"
        return Candidate(table, analyte, places=places, needs=needs, why=why)
    return Candidate(table, analyte, band, table.beside(analyte, on, stages, _NO_DOUBT).bands)


def _before_first(table: BandTable, on: date, stages: StageDates) -> str:
    """Why a table of weeks or days has no band before the first of them, or "" on another day."""
    start = None if table.anchor is None else stages.dates.get(table.anchor)
    if start is None or on >= start or table.axis not in (Axis.WEEKS, Axis.DAYS):
        return ""
    begins = "week 1 begins" if table.axis is Axis.WEEKS else "day 0 is"
    return f"{day(on)} is before {stage_words(str(table.anchor))} ({day(start)}), on which {begins}"


def _open_places(table: BandTable, analyte: str, on: date, stages: StageDates) -> tuple[Band, ...]:
    """Bands of the places that a day may belong to as far as stages without a date leave it open."""
    over = None if table.ends_with is None else stages.dates.get(table.ends_with)
    if on > stages.season_end or (over is not None and on >= over):
        return ()
    if table.axis in (Axis.WEEKS, Axis.DAYS):
        return () if table.anchor in stages.dates else places_of(table, analyte)
    if table.axis is not Axis.STAGES:
        return ()
    dated = [index for index, name in enumerate(table.stages) if name in stages.dates]
    if not dated:
        return places_of(table, analyte)
    if on >= stages.dates[table.stages[dated[0]]]:
        return ()
    earlier = table.stages[: dated[0]]
    return tuple(_placed(table, analyte, row) for row in _rows(table, analyte) if row.stage in earlier)


def places_of(table: BandTable, analyte: str) -> tuple[Band, ...]:
    """The bands of a table's rows for an analyte, in order of time, each named by all that the row covers."""
    return tuple(_placed(table, analyte, row) for row in _rows(table, analyte))


def _rows(table: BandTable, analyte: str) -> list[BandRow]:
    def start(row: BandRow) -> int:
        span = row.weeks or row.days
        if span is not None:
            return span[0]
        return 0 if row.stage is None else table.stages.index(row.stage)

    return sorted((row for row in table.rows if canonical_analyte(row.analyte) == analyte), key=start)


def _placed(table: BandTable, analyte: str, row: BandRow) -> Band:
    """The band of a row on the first day that it covers."""
    on, dates = _ANY_DAY, {}
    label = ""
    if row.stage is not None:
        dates = {row.stage: on}
        last = row.until or row.stage
        label = "" if last == row.stage else f"{stage_words(row.stage)} to {stage_words(last)}"
    elif row.months is not None:
        on, label = date(_ANY_DAY.year, MONTHS.index(row.months[0]) + 1, 1), ", ".join(row.months)
    elif row.weeks is not None:
        on += timedelta(days=DAYS_PER_WEEK * (row.weeks[0] - 1))
        label = "" if row.weeks[0] == row.weeks[1] else f"weeks {span_words(row.weeks)}"
    elif row.days is not None:
        on += timedelta(days=row.days[0])
        if row.days[0] != row.days[1]:
            label = f"days {span_words(row.days)} from {stage_words(str(table.anchor))}"
    if table.axis in (Axis.WEEKS, Axis.DAYS):
        dates = {str(table.anchor): _ANY_DAY}
    band = table.band_on(analyte, on, StageDates(dates, date.max))
    return replace(band, label=label or band.label)


def span_words(span: tuple[int, int]) -> str:
    """Weeks or days in words: "2-3", "-1 to 0"."""
    return f"{span[0]} to {span[1]}" if span[0] < 0 else f"{span[0]}-{span[1]}"


# --- how far tables disagree ------------------------------------------------------------------------------


class Disagreement(NamedTuple):
    """How far the bands of one kind lie apart on one day.

    Attributes:
        kind: the kind.
        bands: those compared, one a table; tables without a band of the day are left out.
        lowest, highest: bands with the lowest and highest low edge, or None where fewer than two have one.
        apart: pairs of tables whose bands share no value.
        shared: lowest and highest value that lies in every band, None for an open end; None without such a value.
        unplaced: how many tables of the kind have no band of the day.
    """

    kind: Kind
    bands: tuple[Band, ...]
    lowest: Band | None
    highest: Band | None
    apart: tuple[tuple[str, str], ...]
    shared: tuple[float | None, float | None] | None
    unplaced: int = 0

    @property
    def factor(self) -> float | None:
        """Highest low edge / lowest low edge."""
        if self.lowest is None or self.highest is None or not self.lowest.low or self.highest.low is None:
            return None
        return self.highest.low / self.lowest.low


def disagreements(found: Sequence[Candidate]) -> tuple[Disagreement, ...]:
    """How far the tables of each kind of a crop disagree; kinds with fewer than two bands are left out."""

    def key(item: Candidate) -> tuple[str, Kind]:
        return (item.table.crop, item.kind)

    groups = [(kind, list(group)) for (_, kind), group in groupby(sorted(found, key=key), key)]
    bands = [(kind, group, [item.band for item in group if item.band is not None]) for kind, group in groups]
    return tuple(_disagreement(kind, own, len(group) - len(own)) for kind, group, own in bands if len(own) > 1)


def _disagreement(kind: Kind, bands: Sequence[Band], unplaced: int) -> Disagreement:
    edged = sorted((band for band in bands if band.low is not None), key=lambda band: (band.low or 0, band.table))
    lows = [band.low for band in edged if band.low is not None]
    highs = [band.high for band in bands if band.high is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    apart = tuple((one.table, other.table) for one, other in combinations(bands, 2) if _apart(one, other))
    return Disagreement(
        kind,
        tuple(bands),
        edged[0] if len(edged) > 1 else None,
        edged[-1] if len(edged) > 1 else None,
        apart,
        None if low is not None and high is not None and low > high else (low, high),
        unplaced,
    )


def _apart(one: Band, other: Band) -> bool:
    return any(
        first.high is not None and second.low is not None and first.high < second.low
        for first, second in ((one, other), (other, one))
    )
