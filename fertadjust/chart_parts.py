"""Parts that the charts are drawn with: colours, the date axis, and labels that keep out of each other's way.

Meaning is carried by shape, line style, hatch or words; colour only adds to it.
"""

from __future__ import annotations

import io
import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, Final, Literal, NamedTuple

import matplotlib
import matplotlib.style
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, MaxNLocator, NullFormatter
from matplotlib.transforms import Bbox

from fertadjust.dates import short_day
from fertadjust.plan import Plan
from fertadjust.rules.facts import Action
from fertadjust.tissue import format_value

BLACK: Final = "#000000"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
GREEN: Final = "#009E73"
PURPLE: Final = "#CC79A7"
PALE_GREEN: Final = "#E3F1EC"
PALE_BLUE: Final = "#D6E6F2"
PALE_GREY: Final = "#EEEEEE"

LineStyle = str | tuple[float, tuple[float, ...]]
DASHED: Final[LineStyle] = (0, (5, 2))
DASH_DOT: Final[LineStyle] = (0, (6, 2, 1, 2))

WIDTH_IN: Final = 8.0
HEIGHT_IN: Final = 9.5
LEFT_IN: Final = 0.75
RIGHT_IN: Final = 1.4
SUFFIXES: Final = (".png", ".svg", ".pdf")
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
    kind: Action | Literal["raise", "hold", "cut"]


SIGNS: Final[Mapping[str, str]] = {"raise": "▲", "hold": "■", "cut": "▼"}


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
    return float(day.toordinal())


def date_axis(axes: Axes, span: Span, plan: Plan, labelled: bool) -> None:
    """Ticks at the plan's week starts, with a light grid; dates are written only where ``labelled``."""
    starts = [at(week.start) for week in plan.weeks] or [at(plan.start)]
    axes.set_xlim(at(span.start), at(span.end))
    axes.xaxis.set_major_locator(FixedLocator(starts[:: math.ceil(len(starts) / 9)]))
    axes.xaxis.set_minor_locator(FixedLocator(starts))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda x, _: short_day(date.fromordinal(round(x)))))
    axes.tick_params(axis="x", labelbottom=labelled)
    axes.grid(axis="x", color="#DDDDDD", linewidth=0.6)
    axes.set_axisbelow(True)


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
    Spot(8, 22, "left", "center"),
    Spot(-8, 22, "right", "center"),
    Spot(8, -22, "left", "center"),
    Spot(-8, -22, "right", "center"),
)
ABOVE: Final = (Spot(2, 3, "left", "bottom"), Spot(2, -3, "left", "top"))
AFTER: Final = tuple(Spot(4, dy, "left", "center") for dy in (0, 9, -9, 18, -18))
UNDER: Final = (
    Spot(6, -5, "left", "top"),
    Spot(6, -16, "left", "top"),
    Spot(-6, 5, "right", "bottom"),
    Spot(-6, -5, "right", "top"),
)
_STRIDE_PX: Final = 5.0
_PER_POINT: Final = 4.0
_PAPER: Final = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
_LEADER: Final = {"arrowstyle": "-", "linewidth": 0.7, "color": "#555555", "shrinkA": 0, "shrinkB": 0}


def over(axes: Axes, height: float) -> tuple[Spot, ...]:
    """Spots that lie above a height [data units] over a point, the lowest first."""
    bottom, top = axes.transData.transform([(0.0, 0.0), (0.0, height)])[:, 1]
    lift = (top - bottom) * 72 / axes.figure.dpi
    return tuple(Spot(0, lift + dy, "center", "bottom") for dy in (5, 18, 31))


class _Box(NamedTuple):
    """A rectangle [pixels]."""

    x0: float
    y0: float
    x1: float
    y1: float

    def shared(self, other: _Box) -> float:
        """Area that two boxes share [square pixels]."""
        width = min(self.x1, other.x1) - max(self.x0, other.x0)
        height = min(self.y1, other.y1) - max(self.y0, other.y0)
        return width * height if width > 0 and height > 0 else 0.0


class Labels:
    """Puts short texts beside what they name, each at the first spot that is free.

    Args:
        figure: the figure that they stand on.
    """

    def __init__(self, figure: Figure) -> None:
        FigureCanvasAgg(figure)
        self._taken: list[_Box] = []

    def keep_clear(self, axes: Axes, x: Sequence[float], y: Sequence[float], reach: float = 2.5) -> None:
        """Keep labels off points of a panel and a reach around them [pixels]."""
        for px, py in axes.transData.transform([*zip(x, y, strict=True)]):
            if math.isfinite(py):
                self._taken.append(_Box(px - reach, py - reach, px + reach, py + reach))

    def keep_clear_line(self, axes: Axes, x: Sequence[float], y: Sequence[float]) -> None:
        """Keep labels off a line of a panel, which may have gaps."""
        points = axes.transData.transform([*zip(x, y, strict=True)]) if x else ()
        for start, end in pairwise(points):
            if math.isfinite(start[1]) and math.isfinite(end[1]):
                steps = int(max(abs(end - start)) / _STRIDE_PX) + 1
                for px, py in (start + (end - start) * step / steps for step in range(steps + 1)):
                    self._taken.append(_Box(px - 2, py - 2, px + 2, py + 2))

    def keep_clear_upright(self, axes: Axes, x: float, bottom: float = 0.0, top: float = 1.0) -> None:
        """Keep labels off an upright line of a panel between two shares of its height."""
        frame, px = axes.get_window_extent(), float(axes.transData.transform((x, 1.0))[0])
        low, high = frame.y0 + bottom * frame.height, frame.y0 + top * frame.height
        self._taken.append(_Box(px - 0.5, low, px + 0.5, high))

    def beside(
        self, axes: Axes, x: float, y: float, text: str, spots: Sequence[Spot] = AROUND, leader: bool = False
    ) -> Annotation:
        """Label a point; with ``leader`` a thin line joins the two."""
        note = axes.annotate(
            text, (x, y), (0, 0), textcoords="offset points", fontsize=SMALL, bbox=_PAPER, zorder=6,
            annotation_clip=False,
        )  # fmt: skip
        costs = [self._cost(axes, note, spot) for spot in spots]
        best = spots[costs.index(min(costs))]
        self._move(note, best)
        self._taken.append(_Box(*note.get_window_extent().extents))
        if leader:
            axes.annotate("", (x, y), (best.dx, best.dy), textcoords="offset points", arrowprops=_LEADER, zorder=5)
        return note

    def _cost(self, axes: Axes, note: Annotation, spot: Spot) -> float:
        """Area covered twice or outside the panel [square pixels] with a toll on distance; the right is free."""
        self._move(note, spot)
        box, frame = _Box(*note.get_window_extent().extents), axes.get_window_extent()
        covered = sum(box.shared(other) for other in self._taken)
        outside = max(0.0, box.y1 - frame.y1) + max(0.0, frame.y0 - box.y0) + max(0.0, frame.x0 - box.x0)
        outside += max(0.0, box.x1 - axes.figure.bbox.x1)
        return float(covered + 10 * outside * (box.x1 - box.x0) + _PER_POINT * math.hypot(spot.dx, spot.dy))

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
            edge = axes.get_window_extent().x1
            reach = (edge - right) * 72 / axes.figure.dpi + 4
            note = axes.annotate(
                text, (x, y), (reach, shift), textcoords="offset points", va="center", fontsize=SMALL,
                arrowprops=_LEADER, annotation_clip=False,
            )  # fmt: skip
            self._taken.append(_Box(*note.get_window_extent().extents))


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


def place(axes: Axes, bottom: float, height: float) -> None:
    """Put a panel at a height above the figure's lower edge [in], between the common margins."""
    width = 1 - (LEFT_IN + RIGHT_IN) / WIDTH_IN
    axes.set_position((LEFT_IN / WIDTH_IN, bottom / HEIGHT_IN, width, height / HEIGHT_IN))


def write_lines(figure: Figure, top: float, text: str, size: float, weight: str = "normal") -> float:
    """Write a text across the figure from a height [in] down; return the height below it [in]."""
    line_in = 1.3 * size / 72
    lines = textwrap.wrap(text, int((WIDTH_IN - 0.4) * 72 / (0.58 * size)))
    for line in lines:
        figure.text(0.2 / WIDTH_IN, top / HEIGHT_IN, line, fontsize=size, fontweight=weight, va="top")
        top -= line_in
    return top


def day_strip(figure: Figure, span: Span, days: Sequence[tuple[date, str, LineStyle]]) -> tuple[Axes, int]:
    """A strip that names days in as many rows as they need, each with a line down to the strip's foot.

    Args:
        figure, span: the figure and its date axis.
        days: (day, words, line style).

    Returns:
        The strip, still to be placed, and its number of rows.
    """
    axes = figure.add_axes((0, 0, 1, 1), label="days")
    place(axes, 0.0, 1.0)
    axes.set_xlim(at(span.start), at(span.end))
    axes.axis("off")
    texts = [axes.text(at(day), 0.0, text, ha="center", va="center", bbox=_PAPER) for day, text, _ in days]
    rows = rows_apart([text.get_window_extent() for text in texts])
    count = max(rows, default=-1) + 1
    axes.set_ylim(0, max(count, 1))
    for text, row, (day, _, style) in zip(texts, rows, days, strict=True):
        text.set_y(row + 0.55)
        axes.plot([at(day)] * 2, [0, row + 0.2], color=BLACK, linewidth=1.0, linestyle=style)
    return axes, count


def rendered(figure: Figure, suffix: str) -> bytes:
    """A figure as the bytes of a ".png", ".svg" or ".pdf" file, without the day or the program in it."""
    words = figure.get_label()
    metadata: dict[str, dict[str, Any]] = {
        ".png": {"Software": None, "Description": words},
        ".svg": {"Date": None, "Creator": None, "Format": None, "Type": None, "Title": words},
        ".pdf": {"CreationDate": None, "Creator": None, "Producer": None, "Title": words},
    }
    buffer = io.BytesIO()
    with chart_style():
        figure.savefig(buffer, format=suffix[1:], dpi=150, metadata=metadata[suffix])
    return buffer.getvalue()
