"""Charts and reports of a season folder: what the season holds, handed to those that draw and write."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING, Literal

from fertadjust.chart_style import PAGE, PHONE, Paper
from fertadjust.charts import Mark, Shown, figure_svg, season_figure
from fertadjust.entry import block_of
from fertadjust.farm_charts import blocks_figure, overview_figure
from fertadjust.pages import Drawn
from fertadjust.products import ProductAmount
from fertadjust.record import counting_on
from fertadjust.report import report_html
from fertadjust.review_changes import moved
from fertadjust.season_book import PROGRAM
from fertadjust.stored import Decided, replaced_results
from fertadjust.units import UnitSystem

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fertadjust.api import Season
    from fertadjust.calendar_file import CalendarEntry
    from fertadjust.mix_sheet import MixSheet


def _marks(decisions: list[Decided]) -> list[Mark]:
    return [_mark(item) for item in decisions]


def _mark(item: Decided) -> Mark:
    """What was decided, by the first week that it moves: "raise 33 %"; "left" where the advice was left."""
    if item.choice == "leave":
        return Mark(item.on, "left", "left")
    move = moved(item)
    if move is None:
        return Mark(item.on, "hold", "hold")
    before, rate = item.standing_lb_ac[move.week], item.rates_lb_ac[move.week]
    kind: Literal["raise", "cut"] = "raise" if move.raised else "cut"
    size = f" {100 * abs(rate / before - 1):.0f} %" if before > 0 else ""
    return Mark(item.on, kind + size, kind)


def shown(season: Season, block: str, on: date) -> Shown:
    """What a chart of a block shows besides its season: decisions, and results before they were corrected."""
    key = block_of(season.file, block).block.key
    records = counting_on(season.records.all(), on)
    return Shown(_marks(season.decisions(block, on)), replaced_results(records, key, on))


def paper(phone: bool) -> Paper:
    """The paper of a chart: a page's or a phone's."""
    return PHONE if phone else PAGE


def chart(season: Season, block: str, on: date, paper: Paper = PAGE) -> Figure:
    """The season trend chart of a block."""
    return season_figure(season.block(block, on), on, season.units, shown(season, block, on), paper)


def blocks_chart(season: Season, on: date, paper: Paper = PAGE) -> Figure:
    """Every block's results beside their band, on the same axes."""
    blocks = season.farm(on).blocks
    return blocks_figure(
        list(blocks.values()), on, season.units, {key: shown(season, key, on) for key in blocks}, paper
    )


def overview_chart(season: Season, on: date, paper: Paper = PAGE) -> Figure:
    """Where every block lay in its band, week by week."""
    return overview_figure(list(season.farm(on).blocks.values()), on, paper)


def drawn_twice(season: Season, block: str, on: date) -> Drawn:
    """The season trend chart of a block as SVG, for a page and for a phone."""
    one, more = season.block(block, on), shown(season, block, on)
    page, phone = (figure_svg(season_figure(one, on, season.units, more, size)) for size in (PAGE, PHONE))
    return page, phone


def report(season: Season, block: str, on: date) -> str:
    """The advisor's report of a block."""
    one = season.block(block, on)
    return report_html(
        one,
        one.advice(on),
        farm=season.file.farm,
        units=season.units,
        decisions=season.decisions(block, on),
        replaced=shown(season, block, on).replaced,
        charts=[drawn_twice(season, block, on)],
        program=PROGRAM,
        notes=season.file.notes,
    )


def mix_sheet_page(season: Season, sheet: MixSheet, on: date) -> str:
    """A mix sheet as one printable HTML page."""
    from fertadjust.mix_sheet_page import mix_sheet_html

    return mix_sheet_html(
        sheet, season.file.injecting, season.units, farm=season.file.farm, on=on, program=PROGRAM
    )


def calendar(season: Season, on: date) -> bytes:
    """The coming injections of all blocks, their next samples and reviews as an iCalendar file."""
    from fertadjust.calendar_file import calendar_bytes

    stamped = datetime.combine(on, time(), UTC)
    return calendar_bytes(f"Feeding, {season.file.farm}", calendar_entries(season, on), stamped)


def calendar_entries(season: Season, on: date) -> list[CalendarEntry]:
    """What the calendar holds up to the end of the plan, in the order of its days."""
    from fertadjust.calendar_file import CalendarEntry

    farm, units = season.farm(on), season.units
    plan = farm.blocks[season.blocks[0]].plan
    mark = hashlib.sha256(f"{season.file.farm} {plan.start}".encode()).hexdigest()[:12]
    entries: list[CalendarEntry] = []

    def add(kind: str, block: str, day: date, summary: str, text: str) -> None:
        uid = f"{mark}-{kind}@fertadjust"
        entries.append(CalendarEntry(uid, day, f"{summary}: {farm.blocks[block].block.name}", text))

    for block, one in farm.blocks.items():
        for item in farm.injections(block, on):
            lines = [
                f"Week {item.week}, injection {item.number} of {item.of}: "
                f"{units.weight_out(item.n_lb):.2f} {units.weight_unit} N.",
                *(_product_line(part, units) for part in item.parts),
                "Rates as decided so far. Print the mix sheet before mixing.",
            ]
            add(f"inject-{block}-{item.week}-{item.number}", block, item.on, "Inject", "\n".join(lines))
        found = one.advice(on).recommendation
        if on <= found.next_sample <= plan.end:
            add(
                f"sample-{block}",
                block,
                found.next_sample,
                "Sample petioles",
                "Take the next sample, at the same hour.",
            )
        latest = one.path(on).latest(on)
        if latest is not None and on <= latest.review <= plan.end:
            add(
                f"review-{block}",
                block,
                latest.review,
                "Review the rate",
                "The decided change runs out on this day.",
            )
    return sorted(entries, key=lambda entry: (entry.on, entry.uid))


def _product_line(part: ProductAmount, units: UnitSystem) -> str:
    volume = "" if part.volume_gal is None else f" = {units.volume_out(part.volume_gal):.2f} {units.volume_unit}"
    return f"{part.product.name}: {units.weight_out(part.weight_lb):.2f} {units.weight_unit}{volume}"
