"""Parts that the charts are drawn with: colours, the date axis, and labels that keep out of each other's way.

Meaning is carried by shape, line style, hatch or words; colour only adds to it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Final, Literal, NamedTuple

import matplotlib
import matplotlib.style
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import date2num, num2date
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, MaxNLocator, NullFormatter
from matplotlib.transforms import Bbox

from fertadjust.plan import Plan
from fertadjust.tissue import format_value
from fertadjust.words import short_day

BLACK: Final = "#000000"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
GREEN: Final = "#009E73"
PURPLE: Final = "#CC79A7"
PALE_GREEN: Final = "#E3F1EC"
PALE_BLUE: Final = "#D6E6F2"
PALE_GREY: Final = "#EEEEEE"

WIDTH_IN: Final = 8.0
HEIGHT_IN: Final = 9.5
LEFT_IN: Final = 0.75
RIGHT_IN: Final = 1.4
SMALL: Final = 9.0
"""Font size of labels [pt]."""

_STYLE: Final = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "Helvetica"],
    "font.size": SMALL,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "hatch.linewidth": 0.8,
    "text.parse_math": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "fertadjust",
}


@contextmanager
def chart_style() -> Iterator[None]:
    """The charts' own settings, whatever the user's are; nothing stays set afterwards."""
    with matplotlib.style.context(["default", _STYLE]):
        yield


class Mark(NamedTuple):
    """A decision to be marked on the chart.

    Attributes:
        on: day of the decision.
        text: a few words, for example "raise 33 %".
        kind: which way it went.
    """

    on: date
    text: str
    kind: Literal["raise", "hold", "cut"]


SIGNS: Final = {"raise": "▲", "hold": "■", "cut": "▼"}


class Span(NamedTuple):
    """First and last day of the date axis."""

    start: date
    end: date

    @property
    def days(self) -> list[date]:
        return [self.start + timedelta(days=step) for step in range((self.end - self.start).days + 1)]

    def holds(self, day: date) -> bool:
        return self.start <= day <= self.end


def at(day: date) -> float:
    """A day as a number on the date axis."""
    return float(date2num(day))


def date_axis(axes: Axes, span: Span, plan: Plan, labelled: bool) -> None:
    """Ticks at the plan's week starts, with a light grid; dates are written only where ``labelled``."""
    starts = [at(week.start) for week in plan.weeks] or [at(plan.start)]
    axes.set_xlim(at(span.start), at(span.end))
    axes.xaxis.set_major_locator(FixedLocator(starts[:: math.ceil(len(starts) / 9)]))
    axes.xaxis.set_minor_locator(FixedLocator(starts))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: short_day(num2date(x).date())))
    axes.tick_params(axis="x", labelbottom=labelled)
    axes.grid(axis="x", color="#DDDDDD", linewidth=0.6)
    axes.set_axisbelow(True)


def value_axis(axes: Axes, values: Sequence[float], unit: str, log: bool) -> None:
    """Scale and limits of a tissue axis [unit] that show all values, with plain numbers at the ticks."""
    low, high = (min(values), max(values)) if values else (1.0, 10.0)
    if log:
        pad = max((high / low) ** 0.08, 1.1)
        axes.set_yscale("log")
        axes.set_ylim(low / pad, high * pad)
        axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0), numticks=12))
        axes.yaxis.set_minor_formatter(NullFormatter())
    else:
        pad = 0.12 * (high - low) or 0.2 * high
        axes.set_ylim(max(0.0, low - pad), high + pad)
        axes.yaxis.set_major_locator(MaxNLocator(5))
    plain = (lambda y, _: f"{y:g}") if unit == "%" else (lambda y, _: format_value(y, unit))
    axes.yaxis.set_major_formatter(FuncFormatter(plain))


class Spot(NamedTuple):
    """Where a label goes beside its point: offsets [pt] and alignment."""

    dx: float
    dy: float
    ha: Literal["left", "center", "right"]
    va: Literal["bottom", "center", "top"]


AROUND: Final = (
    Spot(8, 0, "left", "center"),
    Spot(-8, 0, "right", "center"),
    Spot(8, 11, "left", "center"),
    Spot(8, -11, "left", "center"),
    Spot(-8, 11, "right", "center"),
    Spot(-8, -11, "right", "center"),
    Spot(0, 10, "center", "bottom"),
    Spot(0, -10, "center", "top"),
    Spot(14, 22, "left", "center"),
    Spot(14, -22, "left", "center"),
)
OVER: Final = tuple(Spot(dx, dy, "center", "bottom") for dy in (8, 20, 32, 44) for dx in (0, 18, -18, 36, -36))
_PAPER: Final = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
_LEADER: Final = {"arrowstyle": "-", "linewidth": 0.7, "color": "#555555", "shrinkA": 0, "shrinkB": 0}


class Labels:
    """Puts short texts beside what they name, each at the first spot that is free.

    Args:
        figure: the figure that they stand on.
    """

    def __init__(self, figure: Figure) -> None:
        self._renderer = FigureCanvasAgg(figure).get_renderer()
        self._taken: list[Bbox] = []

    def extent(self, text: Text) -> Bbox:
        """Extent of a text [pixels]."""
        return text.get_window_extent(self._renderer)

    def keep_clear(self, axes: Axes, x: Sequence[float], y: Sequence[float], reach: float = 1.5) -> None:
        """Keep labels off points of a panel and a reach around them [pixels]."""
        for px, py in axes.transData.transform([*zip(x, y, strict=True)]):
            if math.isfinite(py):
                self._taken.append(Bbox.from_extents(px - reach, py - reach, px + reach, py + reach))

    def keep_clear_upright(self, axes: Axes, x: float, low: float, high: float) -> None:
        """Keep labels off an upright line of a panel between two heights in data units."""
        (px, bottom), (_, top) = axes.transData.transform([(x, low), (x, high)])
        self._taken.append(Bbox.from_extents(px - 2, bottom, px + 2, top))

    def beside(
        self, axes: Axes, x: float, y: float, text: str, spots: Sequence[Spot] = AROUND, leader: bool = False
    ) -> Annotation:
        """Label a point; with ``leader`` a thin line joins the two."""
        note = axes.annotate(
            text, (x, y), (0, 0), textcoords="offset points", fontsize=SMALL, bbox=_PAPER, zorder=6,
            arrowprops=_LEADER if leader else None, annotation_clip=False,
        )  # fmt: skip
        costs = [self._cost(axes, note, spot) for spot in spots]
        self._move(note, spots[costs.index(min(costs))])
        self._taken.append(Text.get_window_extent(note, self._renderer))
        return note

    def _cost(self, axes: Axes, note: Annotation, spot: Spot) -> float:
        """Area covered twice plus area outside the panel's height [square pixels]."""
        self._move(note, spot)
        note.update_positions(self._renderer)
        box = Text.get_window_extent(note, self._renderer)
        shared = (Bbox.intersection(box, other) for other in self._taken)
        covered = sum(part.width * part.height for part in shared if part is not None)
        frame = axes.get_window_extent(self._renderer)
        outside = max(0.0, box.y1 - frame.y1) + max(0.0, frame.y0 - box.y0)
        return covered + 10 * outside * box.width

    @staticmethod
    def _move(note: Annotation, spot: Spot) -> None:
        note.set_position((spot.dx, spot.dy))
        note.set_horizontalalignment(spot.ha)
        note.set_verticalalignment(spot.va)

    def line_ends(self, axes: Axes, x: float, ends: Sequence[tuple[float, str]]) -> None:
        """Label line ends in the right margin: heights in data units with texts, pushed apart upwards."""
        gap = 1.35 * SMALL * axes.figure.dpi / 72
        floor = -math.inf
        for y, text in sorted(ends):
            pixel = axes.transData.transform((x, y))[1]
            place = max(pixel, floor)
            floor = place + gap
            shift = (place - pixel) * 72 / axes.figure.dpi
            right = axes.transData.transform((x, y))[0]
            edge = axes.get_window_extent(self._renderer).x1
            reach = (edge - right) * 72 / axes.figure.dpi + 4
            axes.annotate(
                text, (x, y), (reach, shift), textcoords="offset points", va="center", fontsize=SMALL,
                arrowprops=_LEADER, annotation_clip=False,
            )  # fmt: skip


def rows_apart(extents: Sequence[Bbox], gap: float = 6.0) -> list[int]:
    """Row of each text so that none touch, the first row filled first; a gap between them [pixels]."""
    ends: list[float] = []
    rows = [0] * len(extents)
    for index in sorted(range(len(extents)), key=lambda item: extents[item].x0):
        box = extents[index]
        row = next((number for number, end in enumerate(ends) if end + gap <= box.x0), len(ends))
        ends[row : row + 1] = [box.x1]
        rows[index] = row
    return rows
