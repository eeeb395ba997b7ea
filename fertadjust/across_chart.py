"""One result beside the bands of every table of its kind: a bar a band on a scale of ratios, the result across."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from fertadjust import chart_style as look
from fertadjust.across import Across, Judged, Verdict
from fertadjust.across_words import side_words, summary
from fertadjust.chart_axes import Box, across, lines_in, place, write_lines
from fertadjust.chart_results import draw_side
from fertadjust.chart_style import PAGE, PHONE, Paper, folded, plain_name
from fertadjust.charts import figure_svg
from fertadjust.dates import day
from fertadjust.evidence import Evidence
from fertadjust.pages import Drawn
from fertadjust.projection import Z_95
from fertadjust.tissue import Censor, format_value
from fertadjust.uncertainty import log_sd

_HEADING: Final = 13.0
_EDGE_IN: Final = 0.3
_FOOT_IN: Final = 0.6
_BAR_IN: Final = 0.2
_GAP_IN: Final = 0.1
_NAME: Final = 10.0
_BARS: Final = (
    "Each shaded bar is the band of one table, its low edge drawn solid and its high edge dashed; a bar that runs "
    "to the rim has no edge there. "
)
_STRIP: Final = ", the grey strip its 95 % interval"
_MARKS: Final = (
    "; a mark says where it lies: ▼\N{NO-BREAK SPACE}below, ●\N{NO-BREAK SPACE}within, ▲\N{NO-BREAK SPACE}above."
)
_BOUND_KEY: Final = f"{_BARS}The upright line is the laboratory's bound, with an arrow to where the value lies."


class _Line(NamedTuple):
    """A text of the chart or a bar, and the height that it takes [in]."""

    text: str
    bold: bool
    judged: Judged | None
    height: float


def across_figure(found: Across, paper: Paper = PAGE) -> Figure:
    """Draw one result beside the bands of every table of its kind.

    Args:
        found: the result and what each table says, at least one table with a band.
        paper: the size to draw for; it grows with the tables.
    """
    with look.chart_style():
        result = found.result
        title = f"{result.kind[:1].upper()}{result.kind[1:]}: {result.text()} on {day(result.sampled)}"
        key = _key(found)
        lines = list(_lines(found, paper))
        head = 0.3 + lines_in(len(across(title, paper.width_in, _HEADING, "bold")), _HEADING)
        head += lines_in(len(across(key, paper.width_in, look.SMALL)), look.SMALL)
        plot = sum(line.height for line in lines)
        height = head + plot + _FOOT_IN
        figure = Figure(figsize=(paper.width_in, height), dpi=100)
        figure.set_label(_alt_text(found))
        below = write_lines(figure, height - 0.12, title, _HEADING, "bold")
        write_lines(figure, below - 0.05, key, look.SMALL)
        axes = figure.add_axes((0, 0, 1, 1), label="across")
        place(axes, Box(_EDGE_IN, _FOOT_IN, paper.width_in - 2 * _EDGE_IN, plot))
        axes.set_ylim(plot, 0)
        axes.yaxis.set_visible(False)
        axes.spines["left"].set_visible(False)
        _value_axis(axes, found)
        unit = f"{result.analyte} [{result.unit}], a scale of ratios"
        figure.text(0.5, 0.12 / height, unit, ha="center", va="bottom", fontsize=look.SMALL)
        _draw_result(axes, found)
        _draw_lines(axes, lines, found)
    return figure


def _key(found: Across) -> str:
    """What the chart's marks mean; nothing of what is not drawn."""
    if found.result.censor is not Censor.NONE:
        return _BOUND_KEY
    return f"{_BARS}The upright line is the result{'' if interval(found) is None else _STRIP}{_MARKS}"


def across_svgs(found: Across) -> list[Drawn]:
    """The chart as SVG (for a page, for a phone); [] where no table has a band."""
    if not any(item.places for item in found.verdicts):
        return []
    page, phone = (figure_svg(across_figure(found, paper)) for paper in (PAGE, PHONE))
    return [(page, phone)]


def interval(found: Across) -> tuple[float, float] | None:
    """95 % interval of the result [stored unit], lognormal; None for a bound or without a budget."""
    if found.relative is None or found.result.censor is not Censor.NONE:
        return None
    reach = math.exp(Z_95 * log_sd(found.relative))
    return found.result.value / reach, found.result.value * reach


def _lines(found: Across, paper: Paper) -> Iterator[_Line]:
    wide = paper.width_in - 2 * _EDGE_IN
    for number, item in enumerate(found.verdicts, start=1):
        yield _text(f"{number}. {_name(item)}", wide, bold=True)
        if not item.places:
            yield _text(f"no band: {plain_name(item.candidate.why, 200)}", wide)
        for judged in item.places:
            where = plain_name(judged.band.label)
            yield _text(f"{where}: {judged.band.text()}; {side_words(judged, found)}", wide)
            yield _Line("", False, judged, _BAR_IN)
        yield _Line("", False, None, _GAP_IN)


def _name(item: Verdict) -> str:
    recalled = any(judged.band.evidence is Evidence.RECALLED for judged in item.places)
    where = plain_name(item.table.region)
    return f"{item.table.id} ({where}{', recalled' if recalled else ''})"


def _text(text: str, wide: float, bold: bool = False) -> _Line:
    size = _NAME if bold else look.SMALL
    shown = folded(text, wide, size * (1.15 if bold else 1.0))
    return _Line(shown, bold, None, lines_in(shown.count("\n") + 1.15, size))


def _value_axis(axes: Axes, found: Across) -> None:
    unit = found.result.unit
    bands = [judged.band for item in found.verdicts for judged in item.places]
    edges = [edge for band in bands for edge in (band.low, band.high) if edge]
    values = [*edges, found.result.value, *(interval(found) or ())]
    low, high = min(values), max(values)
    pad = max((high / low) ** 0.08, 1.2)
    axes.set_xscale("log")
    axes.set_xlim(low / pad, high * pad)
    subs = (1.0, 2.0, 5.0) if high / low > 4 else (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0)
    axes.xaxis.set_major_locator(LogLocator(subs=subs, numticks=12))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda x, _: f"{x:.2g}" if unit == "%" else format_value(x, unit))
    )
    axes.grid(axis="x", color=look.GRID, linewidth=0.6)
    axes.set_axisbelow(True)


def _draw_result(axes: Axes, found: Across) -> None:
    value, censor, ends = found.result.value, found.result.censor, interval(found)
    if ends is not None:
        axes.axvspan(*ends, color=look.PALE_GREY, linewidth=0, zorder=0.4, label="interval")
        for end in ends:
            axes.axvline(end, color=look.GREY, linewidth=0.8, linestyle=look.DASH_DOT, label="interval end")
    axes.axvline(value, color=look.BLACK, linewidth=1.6, zorder=2, label="result")
    if censor is not Censor.NONE:
        arrow = {"arrowstyle": "<|-", "color": look.BLACK, "shrinkA": 0, "shrinkB": 0}
        move = -24 if censor is Censor.BELOW else 24
        axes.annotate(
            "", (value, 0.02), (move, 0), xycoords=axes.get_xaxis_transform(), textcoords="offset points",
            arrowprops=arrow, zorder=5,
        )  # fmt: skip


def _draw_lines(axes: Axes, lines: list[_Line], found: Across) -> None:
    left, right = axes.get_xlim()
    top = 0.0
    for line in lines:
        if line.text:
            axes.text(
                0, top + 0.02, line.text, transform=axes.get_yaxis_transform(), va="top",
                fontsize=_NAME if line.bold else look.SMALL, fontweight="bold" if line.bold else "normal",
                bbox=look.PAPER, zorder=4,
            )  # fmt: skip
        if line.judged is not None:
            _draw_bar(axes, line.judged, top + line.height / 2, (left, right), found)
        top += line.height


def _draw_bar(axes: Axes, judged: Judged, y: float, ends: tuple[float, float], found: Across) -> None:
    band, half = judged.band, 0.36 * _BAR_IN
    low = ends[0] if band.low is None else band.low
    high = ends[1] if band.high is None else band.high
    axes.fill_between([low, high], y - half, y + half, color=look.PALE_GREEN, linewidth=0, zorder=1, label="band")
    for side in (-half, half):
        axes.plot([low, high], [y + side] * 2, color=look.GREY, linewidth=0.7, zorder=1.5, label="rim")
    for edge, style, name in ((band.low, "-", "low edge"), (band.high, look.DASHED, "high edge")):
        if edge is not None:
            axes.plot(
                [edge] * 2, [y - 1.3 * half, y + 1.3 * half], color=look.BLACK, linewidth=1.5, linestyle=style,
                zorder=3, label=name,
            )  # fmt: skip
    side_of = judged.found.side
    if found.result.censor is Censor.NONE and side_of is not None:
        draw_side(axes, found.result.value, y, side_of)


def _alt_text(found: Across) -> str:
    result = found.result
    rows = [
        f"{item.table.id}, {judged.band.label}: {judged.band.text()}"
        for item in found.verdicts
        for judged in item.places
    ]
    return f"{result.kind}, {result.text()}, beside the bands of tables. {'; '.join(rows)}. {summary(found)}"
