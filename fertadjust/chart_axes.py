"""Axes of the charts: dates, tissue values, and where a panel stands on its paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from fertadjust.chart_style import GRID, Span, at, folded
from fertadjust.dates import short_day
from fertadjust.tissue import format_value
from fertadjust.units import DAYS_PER_WEEK

_BOLD = 1.15
"""How much wider bold letters are."""

_LINE = 1.3
"""Height of a line of text as a share of its font size."""


class Box(NamedTuple):
    """Where a panel stands on its paper [in], from the lower left corner."""

    left: float
    bottom: float
    width: float
    height: float


def place(axes: Axes, box: Box) -> None:
    """Put a panel at its place."""
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    wide, high = figure.get_size_inches()
    axes.set_position((box.left / wide, box.bottom / high, box.width / wide, box.height / high))


def date_axis(axes: Axes, span: Span, starts: Sequence[date], dates: int, labelled: bool = True) -> None:
    """Ticks at the starts of weeks, with a light grid.

    Args:
        axes, span: the panel and its first and last day.
        starts: first days of the weeks, at least one.
        dates: how many of them may be named.
        labelled: whether dates are written at all.
    """
    at_starts = [at(day) for day in starts]
    axes.set_xlim(at(span.start), at(span.end))
    axes.xaxis.set_major_locator(FixedLocator(at_starts[:: math.ceil(len(at_starts) / dates)]))
    axes.xaxis.set_minor_locator(FixedLocator(at_starts))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: short_day(date.fromordinal(round(x)))))
    axes.tick_params(axis="x", labelbottom=labelled)
    axes.grid(axis="x", color=GRID, linewidth=0.6)
    axes.set_axisbelow(True)


def weeks_over(span: Span, first: date) -> list[date]:
    """Starts of weeks on an axis, in step with a plan that begins on a day."""
    back = (first - span.start).days // DAYS_PER_WEEK
    start = first - timedelta(days=DAYS_PER_WEEK * back)
    return [start + timedelta(days=step) for step in range(0, (span.end - start).days + 1, DAYS_PER_WEEK)]


def value_axis(axes: Axes, values: Sequence[float], unit: str, log: bool) -> None:
    """Scale and limits of a tissue axis [unit] that show all values, with plain numbers at the ticks."""
    low, high = (min(values), max(values)) if values else (1.0, 10.0)
    if log:
        pad = max((high / low) ** 0.1, 1.15)
        axes.set_yscale("log")
        axes.set_ylim(low / pad, high * pad)
        axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0), numticks=12))
        axes.yaxis.set_minor_formatter(NullFormatter())
    else:
        pad = 0.15 * (high - low) or 0.2 * high
        axes.set_ylim(max(0.0, low - pad), high + pad)
        axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda y, _: f"{y:.1f}" if unit == "%" else format_value(y, unit))
    )


def write_lines(figure: Figure, top: float, text: str, size: float, weight: str = "normal") -> float:
    """Write a text across the figure from a height [in] down; return the height below it [in]."""
    wide, high = figure.get_size_inches()
    for line in across(text, wide, size, weight):
        figure.text(0.2 / wide, top / high, line, fontsize=size, fontweight=weight, va="top")
        top -= lines_in(1, size)
    return top


def across(text: str, width_in: float, size: float, weight: str = "normal") -> list[str]:
    """The lines that a text takes across a paper of a width [in]."""
    return folded(text, width_in - 0.4, size * (_BOLD if weight == "bold" else 1.0)).splitlines()


def lines_in(count: float, size: float) -> float:
    """Height of some lines of text at a font size [pt], in inches."""
    return count * _LINE * size / 72
