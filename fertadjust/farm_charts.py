"""Several blocks on one sheet: small charts on shared axes, and where every block lay in its band week by week."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import groupby
from typing import Final, NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fertadjust import chart_style as look
from fertadjust.band_rows import Band
from fertadjust.chart_axes import Box, across, date_axis, lines_in, place, weeks_over, write_lines
from fertadjust.chart_labels import Labels
from fertadjust.chart_results import Scale, draw_bound, draw_results, draw_side
from fertadjust.chart_sheet import (
    Kind,
    Sheet,
    Shown,
    band_mark,
    bands_over,
    main_kind,
    make_sheet,
    readings_known,
)
from fertadjust.chart_style import PAGE, PHONE, Paper, Span, at, folded, plain_name
from fertadjust.charts import figure_svg
from fertadjust.compare import Side, compare
from fertadjust.dates import short_day
from fertadjust.readings import side_of
from fertadjust.rules.facts import Reading
from fertadjust.season import BlockSeason
from fertadjust.tissue import Censor
from fertadjust.units import UnitSystem
from fertadjust.words import recalled_mark

_PANEL_IN: Final = 1.75
_TITLE: Final = 9.5
_GAP_IN: Final = 0.3
_HEAD_IN: Final = 0.45
_HEADING: Final = 13.0
_GROUP: Final = 10.5
_EDGE_IN: Final = 0.3
_NOTHING: Final = Shown()
_KEY: Final = (
    "Shaded: the band between its edges, the high one dashed. Upright bars: 95 % interval. Squares: before a "
    "correction, or void. Hollow crosses: not used. Upright lines: this day, and dash-dotted the review of the "
    "rate. "
    "Decided: ▲\N{NO-BREAK SPACE}raise, ■\N{NO-BREAK SPACE}hold, ▼\N{NO-BREAK SPACE}cut, □\N{NO-BREAK SPACE}left."
)

# --- small charts on shared axes ------------------------------------------------------------------------


def blocks_figure(
    blocks: Sequence[BlockSeason],
    on: date,
    units: UnitSystem,
    shown: Mapping[str, Shown] | None = None,
    paper: Paper = PAGE,
) -> Figure:
    """Draw every block's results beside their band, all on the same axes.

    Blocks that are led by another kind of result (sap, leaf) stand in a group of their own.

    Args:
        blocks: the blocks, at least one.
        on: day of the advice; what became known later is left out.
        units: unit system, which tissue values do not depend on.
        shown: block key -> decisions and earlier versions of results to be drawn.
        paper: the size to draw for; it grows with the blocks.
    """
    with look.chart_style():
        scratch = Figure(figsize=(paper.width_in, paper.height_in), dpi=100)
        marks = shown or {}
        sheets = [
            make_sheet(block, on, units, marks.get(block.block.key, _NOTHING), paper, scratch, Labels(scratch))
            for block in blocks
        ]
        groups = _groups(sheets)
        columns = 1 if paper.small or len(blocks) == 1 else 2
        title = f"All blocks as known on {_full(on)}"
        head = _head_in(title, _KEY, paper)
        heights = [_group_in(kind, group, columns, paper) for kind, group in groups]
        figure = Figure(figsize=(paper.width_in, head + sum(heights) + 0.15), dpi=100)
        figure.set_label(_alt_text(sheets, on))
        top = head + sum(heights) + 0.15
        _write_head(figure, top, title, _KEY)
        top -= head
        labels = Labels(figure)
        for (kind, group), height in zip(groups, heights, strict=True):
            _draw_group(figure, labels, kind, group, columns, top, paper)
            top -= height
    return figure


def _full(on: date) -> str:
    return f"{short_day(on)} {on.year}".replace(" ", "\N{NO-BREAK SPACE}")


def _head_in(title: str, key: str, paper: Paper) -> float:
    """Height that a title and the key below it take [in]."""
    title_lines = len(across(title, paper.width_in, _HEADING, "bold"))
    key_lines = len(across(key, paper.width_in, look.SMALL))
    return 0.3 + lines_in(title_lines, _HEADING) + lines_in(key_lines, look.SMALL)


def _write_head(figure: Figure, top: float, title: str, key: str) -> None:
    below = write_lines(figure, top - 0.12, title, _HEADING, "bold")
    write_lines(figure, below - 0.05, key, look.SMALL)


def _kind(sheet: Sheet) -> Kind:
    return main_kind(sheet.season, sheet.facts, sheet.readings)


def _groups(sheets: Sequence[Sheet]) -> list[tuple[Kind, list[Sheet]]]:
    """Sheets by their leading kind, in the order in which the kinds first appear."""
    order = list(dict.fromkeys(_kind(sheet) for sheet in sheets))
    ordered = sorted(sheets, key=lambda sheet: order.index(_kind(sheet)))
    return [(kind, list(group)) for kind, group in groupby(ordered, _kind)]


def _gap_in(paper: Paper) -> float:
    """Room above a panel for its title, which takes two lines on a small paper [in]."""
    return _GAP_IN + (lines_in(1.2, _TITLE) if paper.small else 0.0)


def _group_in(kind: Kind, group: Sequence[Sheet], columns: int, paper: Paper) -> float:
    rows = -(-len(group) // columns)
    return _group_head_in(_group_heading(kind, group, paper)) + rows * (_PANEL_IN + _gap_in(paper)) + 0.25


def _group_head_in(heading: str) -> float:
    return _HEAD_IN + lines_in(heading.count("\n"), _GROUP)


def _group_heading(kind: Kind, group: Sequence[Sheet], paper: Paper) -> str:
    """The kind, and whether the bands drawn for all or some of its blocks are recalled."""
    span = _group_span(group)
    marks = [recalled_mark(*bands_over(sheet.season, kind, span)) for sheet in group]
    mark = next(filter(None, marks), "")
    if mark and not all(marks):
        mark += " for some blocks"
    text = f"{kind.heading}, {mark}" if mark else kind.heading
    return folded(text, paper.width_in - _EDGE_IN, 1.1 * _GROUP)


def _group_span(group: Sequence[Sheet]) -> Span:
    return Span(min(sheet.span.start for sheet in group), max(sheet.span.end for sheet in group))


def _draw_group(
    figure: Figure, labels: Labels, kind: Kind, group: Sequence[Sheet], columns: int, top: float, paper: Paper
) -> None:
    """Draw blocks of one kind below a height [in], with one value axis and one date axis for all."""
    wide = (paper.width_in - paper.left_in - _EDGE_IN - (columns - 1) * _EDGE_IN) / columns
    heading = _group_heading(kind, group, paper)
    figure.text(
        0.2 / paper.width_in,
        (top - 0.1) / figure.get_size_inches()[1],
        heading,
        fontsize=_GROUP,
        fontweight="bold",
        va="top",
    )
    span = _group_span(group)
    scale = Scale.shared(Scale.of(sheet, kind) for sheet in group)
    for index, sheet in enumerate(group):
        row, column = divmod(index, columns)
        axes = figure.add_axes((0, 0, 1, 1), label=sheet.season.block.key)
        left = paper.left_in + column * (wide + _EDGE_IN)
        bottom = top - _group_head_in(heading) - (row + 1) * (_PANEL_IN + _gap_in(paper))
        place(axes, Box(left, bottom + 0.05, wide, _PANEL_IN - 0.05))
        last = index + columns >= len(group)
        date_axis(axes, span, weeks_over(span, group[0].season.plan.start), max(3, paper.dates // columns), last)
        draw_results(axes, _on_figure(sheet, figure, labels, span), kind, scale, brief=True)
        axes.tick_params(axis="y", labelleft=column == 0)
        title = _title(sheet, kind, int(wide * 72 / (0.62 * _TITLE)) * (2 if paper.small else 1))
        axes.set_title(folded(title, wide, 1.05 * _TITLE), fontsize=_TITLE, y=1.0, pad=4)
        for mark in sheet.marks:
            axes.text(
                at(mark.on), 0.99, look.SIGNS[mark.kind], transform=axes.get_xaxis_transform(), ha="center",
                va="top", fontsize=look.SMALL, label=mark.text,
            )  # fmt: skip


def _on_figure(sheet: Sheet, figure: Figure, labels: Labels, span: Span) -> Sheet:
    return replace(sheet, figure=figure, labels=labels, span=span)


def _title(sheet: Sheet, kind: Kind, most: int = 200) -> str:
    """A block's name, cut where it is long, and its newest reading, which is not."""
    newest = [reading for reading in sheet.readings if kind.holds(reading)][-1:]
    where = _newest_words(newest[0], sheet.on) if newest else "no result"
    return f"{plain_name(sheet.season.block.name, max(8, most - len(where) - 2))}: {where}"


def _short(text: str, width_in: float, lines: int = 1) -> str:
    """A text in at most some lines of a width [in], cut with an ellipsis where there is more."""
    found = folded(text, width_in, 1.05 * look.SMALL).split("\n")
    return "\n".join(found[:lines]) + ("…" if len(found) > lines else "")


def _newest_words(reading: Reading, on: date, between: str = ", ") -> str:
    """The newest reading with its side and age: "2,300 ppm below, 3 days ago"."""
    side = side_of(reading)
    where = "side not told" if side is None else side.word
    age = (on - reading.sampled).days
    ago = "today" if age == 0 else "1 day ago" if age == 1 else f"{age} days ago"
    value = reading.text()
    return f"{value} {where}{between}{ago}"


def _alt_text(sheets: Sequence[Sheet], on: date) -> str:
    pairs = [(_title(sheet, _kind(sheet)), band_mark(sheet, _kind(sheet))) for sheet in sheets]
    rows = "; ".join(f"{title}, {mark}" if mark else title for title, mark in pairs)
    return f"Results beside their band for {_blocks(len(sheets))} as known on {_full(on)}. {rows}."


def _blocks(count: int) -> str:
    return "one block" if count == 1 else f"{count} blocks"


# --- band position by week and block --------------------------------------------------------------------

_ROW_IN: Final = 0.5
_NAMED_ROW_IN: Final = 0.95
_NAME_IN: Final = 1.6
_WORDS_IN: Final = 1.5
_MARK_IN: Final = 1.2
_ROWS_ON_A_PAGE: Final = 12
_LOWEST, _HIGHEST = -1.0, 2.0
"""Positions in the band between which a row is drawn; what lies beyond stands at its rim."""

_OVERVIEW_KEY: Final = (
    "Each row is one block. The shaded strip is its band, moved to one height, on the days that have one; a mark "
    "stands where the result lay: ▼\N{NO-BREAK SPACE}below, ●\N{NO-BREAK SPACE}within, "
    "▲\N{NO-BREAK SPACE}above; a bar with an arrow is a < or > result. Marks at the rim lie further out."
)


def overview_figure(blocks: Sequence[BlockSeason], on: date, paper: Paper = PAGE) -> Figure:
    """Draw where each block's results lay in their band, a row a block and a column a week.

    Args:
        blocks: the blocks in the order of the rows, at least one.
        on: day on which to look; what became known later is left out.
        paper: the size to draw for; it grows with the blocks.
    """
    with look.chart_style():
        found = [_leading(block, on) for block in blocks]
        span = _overview_span(blocks, [item.sampled for _, readings in found for item in readings])
        rows = [
            _Row(plain_name(block.block.name), readings, bands_over(block, kind, span), span)
            for block, (kind, readings) in zip(blocks, found, strict=True)
        ]
        row_in = _NAMED_ROW_IN if paper.small else _ROW_IN
        title = f"Where each block lay in its band, {_full(on)}"
        head = _head_in(title, _OVERVIEW_KEY, paper) + 0.1
        height = head + row_in * len(rows) + 0.35
        figure = Figure(figsize=(paper.width_in, height), dpi=100)
        figure.set_label(_overview_text(rows, on))
        _write_head(figure, height, title, _OVERVIEW_KEY)
        axes = figure.add_axes((0, 0, 1, 1), label="overview")
        left, right = (0.2, 0.2) if paper.small else (_NAME_IN + 0.2, _WORDS_IN + 0.2)
        place(axes, Box(left, 0.35, paper.width_in - left - right, row_in * len(rows)))
        _draw_weeks(axes, blocks, span, on, paper)
        for index, row in enumerate(rows):
            _draw_row(axes, row, index, paper)
            _name_row(axes, row, index, paper, on)
    return figure


def overview_svgs(blocks: Sequence[BlockSeason], on: date) -> list[tuple[str, str]]:
    """The overview as SVG (for a page, for a phone) in as many parts as printed pages hold; [] without blocks."""
    parts = [blocks[start : start + _ROWS_ON_A_PAGE] for start in range(0, len(blocks), _ROWS_ON_A_PAGE)]
    return [
        (figure_svg(overview_figure(part, on, PAGE)), figure_svg(overview_figure(part, on, PHONE)))
        for part in parts
    ]  # fmt: skip


class _Row(NamedTuple):
    """One block of the overview: readings of its leading kind, and its band on each day of the axis."""

    name: str
    readings: Sequence[Reading]
    bands: Sequence[Band | None]
    span: Span

    def newest(self, on: date, between: str = ", ") -> str:
        """The newest reading in words, for example "2,300 ppm below, 3 days ago"."""
        return _newest_words(self.readings[-1], on, between) if self.readings else "no result yet"

    def marked(self, text: str, between: str = ", ") -> str:
        """A text followed by the mark of a recalled band, where one is drawn."""
        mark = recalled_mark(*self.bands)
        return f"{text}{between}{mark}" if mark else text

    def with_band(self) -> list[tuple[float, float]]:
        """Begin and end of each run of days that have a band, at midnight."""
        runs = []
        for there, run in groupby(zip(self.span.days, self.bands, strict=True), lambda pair: pair[1] is not None):
            days = [day for day, _ in run]
            if there:
                runs.append((at(days[0]) - 0.5, at(days[-1]) + 0.5))
        return runs


def _leading(block: BlockSeason, on: date) -> tuple[Kind, list[Reading]]:
    """A block's leading kind and its readings."""
    readings = readings_known(block, on)
    kind = main_kind(block, block.facts(on), readings)
    return kind, [item for item in readings if kind.holds(item)]


def _overview_span(blocks: Sequence[BlockSeason], sampled: Sequence[date]) -> Span:
    first = min([*sampled, *(block.plan.start for block in blocks)])
    last = max([*sampled, *(max(block.plan.end, block.plan.start) for block in blocks)])
    margin = timedelta(days=3)
    return Span(first - margin, last + margin)


def _draw_weeks(axes: Axes, blocks: Sequence[BlockSeason], span: Span, on: date, paper: Paper) -> None:
    date_axis(axes, span, weeks_over(span, min(block.plan.start for block in blocks)), max(3, paper.dates - 3))
    axes.set_ylim(len(blocks), 0)
    axes.yaxis.set_visible(False)
    axes.spines["left"].set_visible(False)
    if span.holds(on):
        axes.axvline(at(on), color=look.BLACK, linewidth=1.0, label="day")


def _height(index: int, place_in_band: float, paper: Paper) -> float:
    """Height of a band position in a row of the overview [rows], downwards."""
    share = (min(max(place_in_band, _LOWEST), _HIGHEST) - _LOWEST) / (_HIGHEST - _LOWEST)
    top, bottom = (0.5, 0.94) if paper.small else (0.1, 0.9)
    return index + bottom - share * (bottom - top)


def _draw_row(axes: Axes, row: _Row, index: int, paper: Paper) -> None:
    low, high = _height(index, 0.0, paper), _height(index, 1.0, paper)
    for run in row.with_band():
        axes.fill_between(run, low, high, color=look.PALE_GREEN, linewidth=0, zorder=0.5)
        axes.plot(run, [low, low], color=look.BLACK, linewidth=0.7, label="low edge", zorder=1)
        axes.plot(
            run, [high, high], color=look.BLACK, linewidth=0.7, linestyle=look.DASHED, label="high edge", zorder=1
        )
    axes.axhline(index, color=look.GRID, linewidth=0.6)
    places = [(at(item.sampled), _height(index, _place(item), paper), item) for item in row.readings]
    axes.plot([x for x, _, _ in places], [y for _, y, _ in places], color=look.GREY, linewidth=0.8, label="course")
    for x, y, item in places:
        side = side_of(item)
        if item.censor is not Censor.NONE or side is None:
            draw_bound(axes, x, y, item.censor, length=9)
        else:
            draw_side(axes, x, y, side)


def _place(reading: Reading) -> float:
    """Position in the band; for a bound or a band with one edge a place on its side."""
    found = compare(reading.value, reading.censor, 1.0, reading.band, 1.0)
    if found.position is not None:
        return found.position
    return 0.5 if found.side is None else {Side.BELOW: -0.5, Side.WITHIN: 0.5, Side.ABOVE: 1.5}[found.side]


def _name_row(axes: Axes, row: _Row, index: int, paper: Paper, on: date) -> None:
    """Write a block's name and newest result, beside its row or on a small paper above it."""
    across = axes.get_yaxis_transform()
    if paper.small:
        middles, inset = (index + 0.13, index + 0.32), 0
        room = paper.plot_in + 0.8
        name = row.marked(_short(row.name, room - (_MARK_IN if row.marked("") else 0.0)))
        texts, sides = (name, row.newest(on)), ("left", "left")
        xs = (0, 0)
    else:
        middles, inset = (index + 0.5, index + 0.5), 8
        newest = row.marked(row.newest(on, "\n"), "\n")
        texts, sides = (_short(row.name, _NAME_IN, 2), newest), ("right", "left")
        xs = (0, 1)
    for x, middle, text, side, weight in zip(xs, middles, texts, sides, ("bold", "normal"), strict=True):
        axes.annotate(
            text, (x, middle), (inset * (2 * x - 1), 0), xycoords=across, textcoords="offset points", va="center",
            ha=side, fontweight=weight, annotation_clip=False, bbox=look.PAPER,
        )  # fmt: skip


def _overview_text(rows: Sequence[_Row], on: date) -> str:
    listed = "; ".join(f"{row.name}: {row.marked(row.newest(on))}" for row in rows)
    return f"Where {_blocks(len(rows))} lay in their band week by week, as known on {_full(on)}. Newest: {listed}."
