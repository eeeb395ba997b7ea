"""What a season chart is drawn from: kinds of result, readings, and the days to be named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, NamedTuple

from matplotlib.figure import Figure

from fertadjust.chart_labels import Labels
from fertadjust.chart_style import DASH_DOT, SIGNS, LineStyle, Mark, Paper, Span
from fertadjust.compare import Side
from fertadjust.dates import short_day
from fertadjust.projection import Projection, projection
from fertadjust.readings import side_of
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, Reading, Recommendation
from fertadjust.season import BlockSeason
from fertadjust.stored import Replaced
from fertadjust.tissue import MAIN_ANALYTE, Basis, Tissue, TissueResult, format_value, stored_unit
from fertadjust.units import DAYS_PER_WEEK, UnitSystem
from fertadjust.words import band_words

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
    on: date
    units: UnitSystem
    facts: Facts
    found: Recommendation
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
    def review(self) -> date | None:
        """Review date of the decision in force, or None."""
        changes = self.season.path(self.on).changes
        return changes[-1].review if changes and self.on <= changes[-1].review else None

    @property
    def proposed(self) -> bool:
        """Whether the day's advice would move the rate and nothing was decided on it yet."""
        return self.found.action is not Action.HOLD and not self.season.decided_on(self.on)

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
    facts = season.facts(on)
    found = evaluate(facts, season.policy)
    readings, unused = readings_known(season, on), _unused(season, facts)
    replaced = tuple(item for item in shown.replaced if item.result.analyte == MAIN_ANALYTE[item.result.tissue])
    ahead = projection(season, facts, found)
    days = [season.plan.start, season.plan.end]
    days += [item.sampled for item in readings] + [item.sampled for item in unused]
    days += [item.result.sampled for item in replaced]
    span = Span(min(days) - _WEEK, max(days) + _WEEK)
    marks = tuple(mark for mark in shown.decisions if span.holds(mark.on))
    return Sheet(
        season, on, units, facts, found, readings, unused, replaced, ahead, marks, span, paper, figure, labels
    )  # fmt: skip


def readings_known(season: BlockSeason, on: date) -> tuple[Reading, ...]:
    """Nitrogen readings with a band known by a day, made as the advice makes them, oldest first."""
    return tuple(season.later_readings(None, on))


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


def main_kind(season: BlockSeason, facts: Facts, readings: Sequence[Reading]) -> Kind:
    """The kind that leads a chart: the petiole that has readings, or whose table is in use."""
    primary = facts.primary
    newest = [*([primary] if primary is not None else []), *reversed(readings)]
    read = [kind_of(item) for item in newest]
    tables = [
        Kind(table.tissue, table.basis) for table in season.tables if MAIN_ANALYTE[table.tissue] in table.analytes
    ]
    default = Kind(Tissue.PETIOLE, Basis.DRY)
    return next((kind for kind in (*read, *tables) if kind.tissue is Tissue.PETIOLE), default)


def kinds_shown(sheet: Sheet) -> list[Kind]:
    """Kinds that get a panel: petiole first, then every other kind that has a reading with a band."""
    primary = sheet.facts.primary
    newest = [*([primary] if primary is not None else []), *reversed(sheet.readings)]
    first = main_kind(sheet.season, sheet.facts, sheet.readings)
    return list(dict.fromkeys([first, *(kind_of(item) for item in newest)]))


def named_days(sheet: Sheet) -> list[tuple[str, date, LineStyle]]:
    """Day of the advice and, while a decision is in force, its review date, with their line styles."""
    days: list[tuple[str, date, LineStyle]] = [("advice", sheet.on, "-")]
    if sheet.review is not None and sheet.review != sheet.on:
        days.append(("review", sheet.review, DASH_DOT))
    return [item for item in days if sheet.span.holds(item[1])]


def flags(sheet: Sheet) -> list[tuple[date, str, LineStyle]]:
    """The decisions and the named days in words, as they stand above the chart."""
    days: list[tuple[date, str, LineStyle]]
    days = [(mark.on, _flag(mark, sheet.paper), "-") for mark in sheet.marks]
    return days + [(day, f"{word} {short_day(day)}", style) for word, day, style in named_days(sheet)]


def _flag(mark: Mark, paper: Paper) -> str:
    """A sign with its words; on a small paper the sign stands for the first of them."""
    words = mark.text.partition(" ")[2] if paper.small else mark.text
    return f"{SIGNS[mark.kind]} {words}".rstrip()


def side_words(reading: Reading) -> str:
    """Where a reading lies, to be followed by the band."""
    side = side_of(reading)
    return "a bound that does not tell its side of" if side is None else SIDES[side]


def headline(facts: Facts) -> str:
    """The deciding result in one plain sentence, without its full stop."""
    reading = facts.primary
    if reading is None:
        return f"No usable result by {short_day(facts.on)}"
    value = f"{reading.censor.value}{format_value(reading.value, reading.unit)} {reading.unit}"
    several = f" (mean of {reading.count})" if reading.count > 1 else ""
    return (
        f"{kind_of(reading).words} {value}{several} on {short_day(reading.sampled)}: {side_words(reading)} the "
        f"band {band_words(reading)} ({reading.band.label})"
    )
