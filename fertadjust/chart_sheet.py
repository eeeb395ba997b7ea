"""What a season chart is drawn from: kinds of result, readings, and the days to be named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby
from typing import Final, NamedTuple

from matplotlib.figure import Figure

from fertadjust import chart_parts as parts
from fertadjust.chart_parts import Labels, LineStyle, Mark, Span
from fertadjust.compare import Side
from fertadjust.rules.facts import Facts, Reading
from fertadjust.season import BlockSeason
from fertadjust.tissue import MAIN_ANALYTE, Basis, Tissue, TissueResult, stored_unit
from fertadjust.units import DAYS_PER_WEEK, UnitSystem

SIDES: Final = {Side.BELOW: "below", Side.WITHIN: "within", Side.ABOVE: "above"}
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


@dataclass(frozen=True)
class Sheet:
    """What one chart is drawn from, and on."""

    season: BlockSeason
    on: date
    units: UnitSystem
    facts: Facts
    readings: tuple[Reading, ...]
    unused: tuple[TissueResult, ...]
    marks: tuple[Mark, ...]
    span: Span
    figure: Figure
    labels: Labels

    @property
    def review(self) -> date | None:
        """Review date of the decision in force, or None."""
        changes = self.season.path(self.on).changes
        return changes[-1].review if changes and self.on <= changes[-1].review else None

    def out(self, lb_ac: float) -> float:
        return self.units.rate_out(lb_ac)


def make_sheet(season: BlockSeason, on: date, units: UnitSystem, decisions: Sequence[Mark]) -> Sheet:
    """Gather what a chart shows, on an empty figure."""
    figure = Figure(figsize=(parts.WIDTH_IN, parts.HEIGHT_IN), dpi=100)
    facts = season.facts(on)
    readings, unused = readings_known(season, on), _unused(season, facts)
    days = [season.plan.start, season.plan.end]
    days += [item.sampled for item in readings] + [item.sampled for item in unused]
    span = Span(min(days) - _WEEK, max(days) + _WEEK)
    marks = tuple(mark for mark in decisions if span.holds(mark.on))
    return Sheet(season, on, units, facts, readings, unused, marks, span, figure, Labels(figure))


def readings_known(season: BlockSeason, on: date) -> tuple[Reading, ...]:
    """Nitrogen readings with a band known by a day, made as the advice makes them, oldest first."""

    def key(result: TissueResult) -> tuple[date, str, str, str]:
        return result.sampled, result.tissue.value, result.basis.value, result.method.value

    mains = (item for item in season.results if item.analyte == MAIN_ANALYTE[item.tissue])
    groups = (tuple(group) for _, group in groupby(sorted(mains, key=key), key))
    found = (replace(season, results=group).facts(on).primary for group in groups)
    return tuple(reading for reading in found if reading is not None)


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
    """The running total from the facts' day on, at the rates decided so far; straight between the points."""
    on, path = facts.on, season.path(facts.on)
    points = [Point(on, facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac)]
    running = season.plan.week_on(on)
    if running is not None and running.start < on:
        points.append(Point(running.end, points[-1].total_lb_ac + facts.rest_of_week_lb_ac))
    for week in season.plan.coming_weeks(on):
        total = points[-1].total_lb_ac
        if week.start > points[-1].on + timedelta(days=1):
            points.append(Point(week.start, total))
        points.append(Point(week.end, total + path.rate_lb_ac(week)))
    return points


def kinds_shown(sheet: Sheet) -> list[Kind]:
    """Kinds that get a panel: petiole first, then every other kind that has a reading with a band."""
    primary = sheet.facts.primary
    newest = [*([primary] if primary is not None else []), *reversed(sheet.readings)]
    read = [Kind(item.tissue, item.basis) for item in newest]
    tables = [
        Kind(table.tissue, table.basis)
        for table in sheet.season.tables
        if MAIN_ANALYTE[table.tissue] in table.analytes
    ]
    default = Kind(Tissue.PETIOLE, Basis.DRY)
    first = next((kind for kind in (*read, *tables) if kind.tissue is Tissue.PETIOLE), default)
    return list(dict.fromkeys([first, *read]))


def named_days(sheet: Sheet) -> list[tuple[str, date, LineStyle]]:
    """Day of the advice and, while a decision is in force, its review date, with their line styles."""
    days: list[tuple[str, date, LineStyle]] = [("advice", sheet.on, "-")]
    if sheet.review is not None and sheet.review != sheet.on:
        days.append(("review", sheet.review, parts.DASH_DOT))
    return [item for item in days if sheet.span.holds(item[1])]
