"""What a season chart is drawn from: kinds of result, readings, and the days to be named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, NamedTuple

from matplotlib.figure import Figure

from fertadjust.band_rows import Band
from fertadjust.block_day import DayOfBlock
from fertadjust.chart_labels import Flag, Labels
from fertadjust.chart_style import DASH_DOT, DASH_DOT_DOT, SIGNS, LineStyle, Mark, Paper, Span, plain_name
from fertadjust.dates import short_day
from fertadjust.errors import OutOfSeason
from fertadjust.projection import Projection, projection
from fertadjust.readings import side_of
from fertadjust.rules.facts import Facts, Reading, Recommendation
from fertadjust.season import BlockSeason
from fertadjust.stored import Replaced
from fertadjust.tissue import MAIN_ANALYTE, Basis, Tissue, TissueResult, stored_unit
from fertadjust.units import DAYS_PER_WEEK, UnitSystem
from fertadjust.words import band_words, recalled_mark

_AROUND_PLAN: Final = timedelta(days=60)
"""How far from the plan the axis goes along with the day looked from, decisions and reviews."""

_WEEK: Final = timedelta(days=DAYS_PER_WEEK)


class Kind(NamedTuple):
    """A kind of tissue result that has a panel."""

    tissue: Tissue
    basis: Basis

    @property
    def analyte(self) -> str:
        return MAIN_ANALYTE[self.tissue]

    @property
    def unit(self) -> str:
        return stored_unit(self.basis, self.analyte)

    @property
    def words(self) -> str:
        """Short name, for example "Petiole NO3-N" or "Petiole sap NO3-N"."""
        sap = " sap" if self.basis is Basis.SAP else ""
        return f"{self.tissue.value.capitalize()}{sap} {self.analyte}"

    @property
    def heading(self) -> str:
        basis = "fresh sap" if self.basis is Basis.SAP else "dry weight"
        return f"{self.tissue.value.capitalize()} {self.analyte}, {basis} ({self.unit})"

    def holds(self, item: Reading | TissueResult) -> bool:
        """Whether a reading or result is of this kind."""
        return (item.tissue, item.basis, item.analyte) == (self.tissue, self.basis, self.analyte)


def kind_of(item: Reading | TissueResult) -> Kind:
    """The kind of a reading or result."""
    return Kind(item.tissue, item.basis)


class Shown(NamedTuple):
    """What is drawn besides the season itself.

    Attributes:
        decisions: decisions to be marked.
        replaced: results as they stood before they were corrected or voided.
    """

    decisions: Sequence[Mark] = ()
    replaced: Sequence[Replaced] = ()


@dataclass(frozen=True)
class Sheet:
    """What one chart is drawn from, and on."""

    season: BlockSeason
    day: DayOfBlock
    units: UnitSystem
    readings: tuple[Reading, ...]
    unused: tuple[TissueResult, ...]
    replaced: tuple[Replaced, ...]
    projection: Projection | None
    marks: tuple[Mark, ...]
    span: Span
    paper: Paper
    figure: Figure
    labels: Labels

    @property
    def on(self) -> date:
        return self.day.on

    @property
    def facts(self) -> Facts:
        return self.day.facts

    @property
    def found(self) -> Recommendation:
        return self.day.found

    @property
    def review(self) -> date | None:
        """Review date of the decision in force, or None."""
        changes = self.season.path(self.on).changes
        return changes[-1].review if changes and self.on <= changes[-1].review else None

    @property
    def name(self) -> str:
        return plain_name(self.season.block.name)

    def out(self, lb_ac: float) -> float:
        return self.units.rate_out(lb_ac)


def make_sheet(
    season: BlockSeason,
    on: date,
    units: UnitSystem,
    shown: Shown,
    paper: Paper,
    figure: Figure,
    labels: Labels,
) -> Sheet:
    """Gather what a chart shows of a block, as known on a day."""
    day = DayOfBlock(season, on)
    readings, unused = readings_known(season, on), _unused(season, day.facts)
    replaced = tuple(item for item in shown.replaced if _drawn(item, season))
    ahead = projection(season, day.facts, day.found)
    start, end = season.plan.start, season.plan.end
    days = [start, end, *(item.sampled for item in readings), *(item.sampled for item in unused)]
    days += [item.result.sampled for item in replaced]
    days += [day for day in (on, *(mark.on for mark in shown.decisions)) if _near(day, start, end)]
    span = Span(min(days) - _WEEK, max(days) + _WEEK)
    marks = tuple(mark for mark in shown.decisions if span.holds(mark.on))
    return Sheet(season, day, units, readings, unused, replaced, ahead, marks, span, paper, figure, labels)


def _near(day: date, start: date, end: date) -> bool:
    return start - _AROUND_PLAN <= day <= end + _AROUND_PLAN


def _drawn(item: Replaced, season: BlockSeason) -> bool:
    """Whether an earlier version is drawn: the nitrogen results of this block are."""
    return item.result.analyte == MAIN_ANALYTE[item.result.tissue] and item.result.block == season.block.key


def readings_known(season: BlockSeason, on: date) -> tuple[Reading, ...]:
    """Nitrogen readings with a band known by a day, made as the advice makes them, oldest first."""
    return tuple(season.later_readings(None, on))


def bands_over(season: BlockSeason, kind: Kind, span: Span) -> list[Band | None]:
    """The band of a kind on each day of an axis; None where there is none."""
    table = season.table_for(kind.tissue, kind.basis, kind.analyte)
    bands: list[Band | None] = []
    for day in span.days:
        try:
            bands.append(None if table is None else table.band_on(kind.analyte, day, season.stages))
        except OutOfSeason:
            bands.append(None)
    return bands


def band_mark(sheet: Sheet, kind: Kind) -> str:
    """ "band recalled" where a band that is drawn of a kind was written from memory, else ""."""
    return recalled_mark(*bands_over(sheet.season, kind, sheet.span))


def _unused(season: BlockSeason, facts: Facts) -> tuple[TissueResult, ...]:
    """The results behind the facts' list of those that play no part."""
    left_out = {(item.record, item.sampled, item.text) for item in facts.not_used}
    return tuple(
        item
        for item in season.results
        if item.known_on <= facts.on and (item.record, item.sampled, f"{item.kind} {item.text()}") in left_out
    )


class Point(NamedTuple):
    """The running total on a day, credits included [lb/ac]."""

    on: date
    total_lb_ac: float


def points_to_come(season: BlockSeason, facts: Facts) -> list[Point]:
    """The running total from the facts' day on, at the rates decided so far and as far as the season cap lasts.

    Straight between the points. A week that begins on the day counts as a whole, with what of it is out already.
    """
    on, path, cap = facts.on, season.path(facts.on), season.plan.cap_lb_ac
    points = [Point(on, counted_lb_ac(season, on))]
    total = facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac
    running = season.plan.week_on(on)
    if running is not None and running.start < on:
        total += facts.rest_of_week_lb_ac
        points.append(Point(running.end, total))
    for week in season.plan.coming_weeks(on):
        if week.start > points[-1].on + timedelta(days=1):
            points.append(Point(week.start, total))
        total += path.rate_lb_ac(week) if cap is None else min(path.rate_lb_ac(week), max(0.0, cap - total))
        points.append(Point(week.end, max(total, points[-1].total_lb_ac)))
    return points


def counted_lb_ac(season: BlockSeason, on: date) -> float:
    """Nitrogen up to a day: credits, what was logged, and past weeks without a log at their rate [lb/ac]."""
    return season.plan.credits_lb_ac + sum(season.ledger(on).spent_lb_ac(on))


def main_kind(season: BlockSeason, facts: Facts, readings: Sequence[Reading]) -> Kind:
    """The kind that leads a chart: that which decides, else the petiole that is read or whose table is in use."""
    primary = facts.primary
    if primary is not None:
        return kind_of(primary)
    read = [kind_of(item) for item in reversed(readings)]
    tables = [
        Kind(table.tissue, table.basis) for table in season.tables if MAIN_ANALYTE[table.tissue] in table.analytes
    ]
    default = Kind(Tissue.PETIOLE, Basis.DRY)
    return next((kind for kind in (*read, *tables) if kind.tissue is Tissue.PETIOLE), default)


def kinds_shown(sheet: Sheet) -> list[Kind]:
    """Kinds that get a panel: the leading one, then every other kind that has a reading with a band."""
    primary = sheet.facts.primary
    newest = [*([primary] if primary is not None else []), *reversed(sheet.readings)]
    first = main_kind(sheet.season, sheet.facts, sheet.readings)
    return list(dict.fromkeys([first, *(kind_of(item) for item in newest)]))


def named_days(sheet: Sheet) -> list[tuple[str, date, LineStyle]]:
    """Day of the advice and the review date in force, else the advised one, with their line styles."""
    days: list[tuple[str, date, LineStyle]] = [("advice", sheet.on, "-")]
    if sheet.review is not None and sheet.review != sheet.on:
        days.append(("review", sheet.review, DASH_DOT))
    elif sheet.review is None and sheet.found.weeks and not sheet.day.decided:
        word = "review" if sheet.paper.small else "advised review"
        days.append((word, sheet.found.review, DASH_DOT_DOT))
    return [item for item in days if sheet.span.holds(item[1])]


def flags(sheet: Sheet) -> list[Flag]:
    """The decisions and the named days in words, as they stand above the chart."""
    days = [Flag(mark.on, _flag(mark, sheet.paper), "-", SIGNS[mark.kind]) for mark in sheet.marks]
    return days + [Flag(day, f"{word} {short_day(day)}", style) for word, day, style in named_days(sheet)]


def _flag(mark: Mark, paper: Paper) -> str:
    """A sign with its words; on a small paper the sign stands for the first of them."""
    words = mark.text.partition(" ")[2] if paper.small else mark.text
    return f"{SIGNS[mark.kind]} {words}".rstrip()


def side_words(reading: Reading) -> str:
    """Where a reading lies, to be followed by the band."""
    side = side_of(reading)
    return "a bound that does not tell its side of" if side is None else side.word


def headline(facts: Facts, stale: bool) -> str:
    """The deciding result in one plain sentence, without its full stop."""
    reading = facts.primary
    if reading is None:
        return f"No usable result by {short_day(facts.on)}"
    value = reading.text()
    several = f" (mean of {reading.count})" if reading.count > 1 else ""
    return (
        f"{kind_of(reading).words} {value}{several} on {short_day(reading.sampled)}: {side_words(reading)} the "
        f"band {band_words(reading)} ({reading.band.label}){'; too old to decide on' if stale else ''}"
    )
