"""Short texts beside what they name, kept out of each other's way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from typing import Final, Literal, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from fertadjust.chart_style import BLACK, GREY, PAPER, SMALL, LineStyle, Span, at


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
    *(Spot(dx, dy, "left" if dx > 0 else "right", "center") for dy in (34, -34, 46, -46) for dx in (14, -14)),
)
ABOVE: Final = tuple(
    Spot(dx, dy, "left", "bottom" if dy > 0 else "top") for dx in (2, 60, 120, 180, 240) for dy in (3, -3)
)
AFTER: Final = tuple(Spot(4, dy, "left", "center") for dy in (0, 9, -9, 18, -18))
UNDER: Final = (
    Spot(6, -5, "left", "top"),
    Spot(6, -16, "left", "top"),
    Spot(-6, 5, "right", "bottom"),
    Spot(-6, -5, "right", "top"),
)
FAR: Final = tuple(
    Spot(side * dx, dy, "left" if side > 0 else "right", "center")
    for dx, dy in ((10, 0), (12, 18), (12, -18), (12, 36), (12, -36), (24, 54), (24, -54), (36, 80), (36, -80))
    for side in (1, -1)
)
_SHARE: Final = {"left": 0.0, "bottom": 0.0, "center": 0.5, "right": 1.0, "top": 1.0}
_FAR_PT: Final = 20
_MARK: Final = 8.0
_WORDS: Final = 6.0
"""How much more it weighs to cover a mark or other words than a line."""

_STRIDE_PX: Final = 5.0
_GAP: Final = 6.0
_BARE_GAP: Final = 1.5
"""Room between a flag and the pole or flag to its right, and between bare signs [pixels]."""

_BEYOND_PX: Final = 20.0
"""How far beyond a panel a line is followed; labels do not stand there."""

_PER_POINT: Final = 4.0
_LEADER: Final = {"arrowstyle": "-", "linewidth": 0.7, "color": GREY, "shrinkA": 0, "shrinkB": 0}


def over(axes: Axes, height: float) -> tuple[Spot, ...]:
    """Spots that lie above a height [data units] over a point, the lowest first."""
    bottom, top = axes.transData.transform([(0.0, 0.0), (0.0, height)])[:, 1]
    lift = (top - bottom) * 72 / axes.figure.dpi
    sides: tuple[Literal["center", "left", "right"], ...] = ("center", "left", "right")
    return tuple(Spot(0, lift + dy, side, "bottom") for dy in (5, 18, 31) for side in sides)


class Flag(NamedTuple):
    """A day that is named above a chart.

    Attributes:
        on: the day.
        text: its words.
        style: line style of its pole.
        sign: the sign that can stand for its words, or "".
    """

    on: date
    text: str
    style: LineStyle
    sign: str = ""

    def can_be_bare(self) -> bool:
        """Whether the sign can stand for the words."""
        return bool(self.sign)

    def may_be_bare(self) -> bool:
        """Whether the words say no more than the sign."""
        return self.can_be_bare() and not any(letter.isdigit() for letter in self.text)


class _Box(NamedTuple):
    """A rectangle [pixels] and how much it weighs that a label covers it."""

    x0: float
    y0: float
    x1: float
    y1: float
    weight: float = 1.0


class Labels:
    """Puts short texts beside what they name, each at the first spot that is free.

    Args:
        figure: the figure that they stand on.
    """

    def __init__(self, figure: Figure) -> None:
        FigureCanvasAgg(figure)
        self._taken: list[_Box] = []

    def keep_clear(self, axes: Axes, x: Sequence[float], y: Sequence[float], reach: float) -> None:
        """Keep labels off marks of a panel and a reach around them [pixels]."""
        for px, py in axes.transData.transform([*zip(x, y, strict=True)]):
            if math.isfinite(py):
                self._taken.append(_Box(px - reach, py - reach, px + reach, py + reach, _MARK))

    def keep_clear_arrow(self, axes: Axes, x: float, y: float, length: float) -> None:
        """Keep labels off an upright arrow that begins at a point and has a length [pt], downwards below zero."""
        px, py = axes.transData.transform((x, y))
        end = py + length * axes.figure.dpi / 72
        self._taken.append(_Box(px - 5, min(py, end), px + 5, max(py, end), _MARK))

    def keep_clear_line(self, axes: Axes, x: Sequence[float], y: Sequence[float]) -> None:
        """Keep labels off a line of a panel, which may have gaps."""
        frame = axes.get_window_extent()
        points = axes.transData.transform([*zip(x, y, strict=True)]) if x else np.empty((0, 2))
        points = np.clip(points, (frame.x0, frame.y0 - _BEYOND_PX), (frame.x1, frame.y1 + _BEYOND_PX))
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
        """Label a point; with ``leader``, or where the label stands far off, a thin line joins the two."""
        note = axes.annotate(
            text, (x, y), (0, 0), textcoords="offset points", fontsize=SMALL, bbox=PAPER, zorder=6,
            annotation_clip=False,
        )  # fmt: skip
        best = spots[int(np.argmin(self._costs(axes, note, spots)))]
        note.set_position((best.dx, best.dy))
        note.set_horizontalalignment(best.ha)
        note.set_verticalalignment(best.va)
        self._take(note)
        if leader or abs(best.dy) >= _FAR_PT:
            axes.annotate("", (x, y), (best.dx, best.dy), textcoords="offset points", arrowprops=_LEADER, zorder=5)
        return note

    def _costs(self, axes: Axes, note: Annotation, spots: Sequence[Spot]) -> NDArray[np.float64]:
        """For each spot, the area covered twice or outside the panel [square pixels] with a toll on distance.

        The right margin is free.
        """
        note.set_horizontalalignment("left")
        note.set_verticalalignment("bottom")
        box, frame = note.get_window_extent(), axes.get_window_extent()
        pixels_per_point = axes.figure.dpi / 72
        x0 = np.array([box.x0 + spot.dx * pixels_per_point - _SHARE[spot.ha] * box.width for spot in spots])
        y0 = np.array([box.y0 + spot.dy * pixels_per_point - _SHARE[spot.va] * box.height for spot in spots])
        x1, y1 = x0 + box.width, y0 + box.height
        taken = np.array(self._taken or [_Box(0.0, 0.0, 0.0, 0.0)])
        across = np.minimum.outer(x1, taken[:, 2]) - np.maximum.outer(x0, taken[:, 0])
        upwards = np.minimum.outer(y1, taken[:, 3]) - np.maximum.outer(y0, taken[:, 1])
        covered = (np.clip(across, 0, None) * np.clip(upwards, 0, None) * taken[:, 4]).sum(axis=1)
        outside = np.clip(y1 - frame.y1, 0, None) + np.clip(frame.y0 - y0, 0, None)
        outside += np.clip(frame.x0 - x0, 0, None) + np.clip(x1 - axes.figure.bbox.x1, 0, None)
        toll = np.array([_PER_POINT * math.hypot(spot.dx, spot.dy) for spot in spots])
        return np.asarray(covered + 10 * outside * box.width + toll, dtype=np.float64)

    def line_ends(self, axes: Axes, ends: Sequence[tuple[float, float, str]]) -> None:
        """Label line ends in the right margin: places in data units with texts, pushed apart where they meet."""
        pixels_per_point = axes.figure.dpi / 72
        line = 1.35 * SMALL * pixels_per_point
        frame, ordered = axes.get_window_extent(), sorted(ends, key=lambda end: (end[1], end[2]))
        points = [axes.transData.transform((x, y)) for x, y, _ in ordered]
        halves = [line * (text.count("\n") + 1) / 2 for _, _, text in ordered]
        middles = spread([float(point[1]) for point in points], halves, frame.y1 + 0.3 * line)
        for (x, y, text), (right, pixel), middle in zip(ordered, points, middles, strict=True):
            offset = ((frame.x1 - right) / pixels_per_point + 4, (middle - pixel) / pixels_per_point)
            note = axes.annotate(
                text, (x, y), offset, textcoords="offset points", va="center", fontsize=SMALL,
                arrowprops=_LEADER, annotation_clip=False,
            )  # fmt: skip
            self._take(note)

    def _take(self, note: Annotation) -> None:
        x0, y0, x1, y1 = note.get_window_extent().extents
        self._taken.append(_Box(x0, y0, x1, y1, _WORDS))


def spread(wanted: Sequence[float], halves: Sequence[float], top: float) -> list[float]:
    """Middles of labels, rising, as near above what is wanted as they can be without touching, none past a top.

    Args:
        wanted: middles that are wanted, rising.
        halves: half the height of each label.
        top: what no label may reach beyond, as long as there is room below.

    >>> spread([0.0, 1.0, 9.0], [1.0, 1.0, 1.0], 10.0)
    [0.0, 2.0, 9.0]
    >>> spread([8.0, 8.5, 9.0], [1.0, 1.0, 1.0], 10.0)
    [5.0, 7.0, 9.0]
    """
    middles, floor = list(wanted), -math.inf
    for index, half in enumerate(halves):
        middles[index] = max(middles[index], floor + half)
        floor = middles[index] + half
    for index in reversed(range(len(middles))):
        middles[index] = min(middles[index], top - halves[index])
        top = middles[index] - halves[index]
    return middles


def flag_rows(extents: Sequence[Bbox], gap: float = 6.0) -> list[int]:
    """Row of each flag, whose pole stands at its left edge, so that no flag touches another flag or pole.

    The last flag flies lowest; one that would reach the pole of a later one flies above it.

    Args:
        extents: the flags' texts, all at one height.
        gap: room to keep to the right of a flag [pixels].
    """
    rows = [0] * len(extents)
    done: list[int] = []
    for index in sorted(range(len(extents)), key=lambda item: (-extents[item].x0, item)):
        reach = extents[index].x1 + gap
        rows[index] = max((rows[other] + 1 for other in done if extents[other].x0 < reach), default=0)
        done.append(index)
    return rows


def day_flags(axes: Axes, span: Span, days: Sequence[Flag], most: int) -> int:
    """Name days by flags in a strip; the number of rows that they take.

    Where they would take too many rows, flags say less: first those that may be bare, then all that can be. Where
    even bare signs are too many, they begin again at the lowest row, across the poles of others.

    Args:
        axes: the strip, as wide as the panels below it; its foot is theirs.
        span: its date axis.
        days: the flags.
        most: how many rows they should not pass.
    """
    axes.set_xlim(at(span.start), at(span.end))
    axes.axis("off")
    notes = [
        axes.annotate(
            flag.text, (at(flag.on), 0.0), (3, 0), textcoords="offset points", va="center", annotation_clip=False
        )
        for flag in days
    ]
    rows = _rows_of(notes, _GAP)
    for bare in (Flag.may_be_bare, Flag.can_be_bare):
        if max(rows, default=-1) >= most:
            for note, flag in zip(notes, days, strict=True):
                if bare(flag):
                    note.set_text(flag.sign)
                    note.set_position((0, 0))
                    note.set_horizontalalignment("center")
            rows = _rows_of(notes, _BARE_GAP)
    rows = [row % most for row in rows]
    count = max(rows, default=-1) + 1
    axes.set_ylim(0, max(count, 1))
    for note, row, flag in zip(notes, rows, days, strict=True):
        note.xy = (at(flag.on), row + 0.5)
        axes.plot([at(flag.on)] * 2, [0, row + 0.9], color=BLACK, linewidth=1.0, linestyle=flag.style)
    return count


def _rows_of(notes: Sequence[Annotation], gap: float) -> list[int]:
    return flag_rows([note.get_window_extent() for note in notes], gap)
