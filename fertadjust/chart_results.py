"""The panel of a chart that sets results beside their moving band."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from fertadjust import chart_labels as spots
from fertadjust import chart_style as look
from fertadjust.chart_axes import value_axis
from fertadjust.chart_sheet import Kind, Sheet, bands_over, named_days
from fertadjust.chart_style import LineStyle, at, folded
from fertadjust.compare import Side
from fertadjust.projection import Z_95, Projection
from fertadjust.readings import side_of
from fertadjust.rules.evidence_rules import budget
from fertadjust.rules.facts import Reading
from fertadjust.stored import Replaced
from fertadjust.tissue import Censor, TissueResult, format_value
from fertadjust.uncertainty import combined, log_sd

_LOG_FROM: Final = 5.0
"""Ratio of the highest to the lowest edge of a band from which the axis is logarithmic."""

_SPREAD_SHOWN: Final = 2.0
"""Factor beyond all edges and values up to which the limits of a projection are shown."""

_FAR_OFF: Final = 3.0
"""Factor beyond all edges and values from which a bound is not drawn to scale on a logarithmic axis."""

MARKERS: Final = {
    Side.BELOW: ("v", look.VERMILLION), Side.WITHIN: ("o", look.GREEN), Side.ABOVE: ("^", look.PURPLE),
}  # fmt: skip
"""Shape and colour of a result by its side of the band."""


_NAMED: Final = 10
"""Results up to which every value is written."""

ARROW_PT: Final = 17.0
"""Length of the arrow of a "<" or ">" result [pt]."""


@dataclass(frozen=True)
class Scale:
    """What a value axis has to hold [stored unit].

    Attributes:
        firm: edges, results with their intervals, and the middle of the projection.
        bounds: values of "<" and ">" results.
        log: whether the axis is logarithmic.
    """

    firm: tuple[float, ...]
    bounds: tuple[float, ...]
    log: bool

    @classmethod
    def of(cls, sheet: Sheet, kind: Kind) -> Scale:
        """The scale that one block's results of a kind need."""
        low, high = edges(sheet, kind)
        on_edge = [float(edge) for edge in (*low, *high) if np.isfinite(edge)]
        readings = _readings(sheet, kind)
        results = _unused(sheet, kind) + [item.result for item in _replaced(sheet, kind)]
        firm = on_edge + [item.value for item in results if item.censor is Censor.NONE]
        firm += [end for item in readings if item.censor is Censor.NONE for end in interval(sheet, item)]
        if sheet.projection is not None and _leads(sheet, kind):
            points = sheet.projection.points
            firm += [point.middle for point in points]
            lowest, highest = min(firm) / _SPREAD_SHOWN, max(firm) * _SPREAD_SHOWN
            firm += [min(max(end, lowest), highest) for point in points for end in (point.low, point.high)]
        every: list[Reading | TissueResult] = [*readings, *results]
        bounds = [item.value for item in every if item.censor is not Censor.NONE]
        log = bool(on_edge) and max(on_edge) / min(on_edge) > _LOG_FROM
        return cls(tuple(firm), tuple(bounds), log)

    @classmethod
    def shared(cls, scales: Iterable[Scale]) -> Scale:
        """One scale for several panels."""
        every = list(scales)
        return cls(
            tuple(chain.from_iterable(item.firm for item in every)),
            tuple(chain.from_iterable(item.bounds for item in every)),
            any(item.log for item in every),
        )

    def held(self, value: float, censor: Censor) -> float:
        """Height at which a value is drawn: a bound far off stands nearer, with its own label."""
        if censor is Censor.NONE or not (self.firm and self.log):
            return value
        return min(max(value, min(self.firm) / _FAR_OFF), max(self.firm) * _FAR_OFF)

    def apply(self, axes: Axes, unit: str) -> None:
        """Set scale and limits of a panel's value axis [unit]."""
        held = [self.held(value, Censor.BELOW) for value in self.bounds]
        value_axis(axes, [*self.firm, *held], unit, self.log)


def edges(sheet: Sheet, kind: Kind) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Low and high edge of a kind's band on each day of the axis [stored unit]; NaN where there is none."""
    bands = bands_over(sheet.season, kind, sheet.span)
    low = [np.nan if band is None or band.low is None else band.low for band in bands]
    high = [np.nan if band is None or band.high is None else band.high for band in bands]
    return np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)


def interval(sheet: Sheet, reading: Reading) -> tuple[float, float]:
    """95 % interval of an uncensored reading [stored unit], lognormal."""
    relative = combined(part.relative for part in budget(reading, sheet.season.policy))
    reach = float(np.exp(Z_95 * log_sd(relative)))
    return reading.value / reach, reading.value * reach


def _readings(sheet: Sheet, kind: Kind) -> list[Reading]:
    return [item for item in sheet.readings if kind.holds(item)]


def _unused(sheet: Sheet, kind: Kind) -> list[TissueResult]:
    return [item for item in sheet.unused if kind.holds(item)]


def _replaced(sheet: Sheet, kind: Kind) -> list[Replaced]:
    return [item for item in sheet.replaced if kind.holds(item.result)]


def _leads(sheet: Sheet, kind: Kind) -> bool:
    primary = sheet.facts.primary
    return primary is not None and kind.holds(primary)


def draw_results(axes: Axes, sheet: Sheet, kind: Kind, scale: Scale | None = None, brief: bool = False) -> None:
    """Draw the results of one kind beside its band [stored unit].

    Args:
        axes, sheet, kind: panel, block and kind.
        scale: value axis shared with other panels; the kind's own when None.
        brief: for a small panel: the edges are not named, only the newest result says its value.
    """
    scale = scale or Scale.of(sheet, kind)
    scale.apply(axes, kind.unit)
    name_days(axes, sheet)
    readings, unused, replaced = _readings(sheet, kind), _unused(sheet, kind), _replaced(sheet, kind)
    ends = _draw_band(axes, sheet, kind)
    ahead = sheet.projection if sheet.projection is not None and _leads(sheet, kind) else None
    if ahead is not None:
        _draw_projection(axes, sheet, ahead)
    for version in replaced:
        _draw_replaced(axes, sheet, version, scale)
    for result in unused:
        _draw_unused(axes, sheet, result, scale)
    for reading in readings:
        _draw_reading(axes, sheet, reading, scale)
    if brief:
        _name_values(axes, sheet, readings[-1:], scale)
        return
    for x, height, name in ends:
        sheet.labels.beside(axes, x, height, name, spots.AFTER)
    _name_values(axes, sheet, [*_to_name(readings), *unused[-_NAMED:]], scale)
    for version in replaced[-_NAMED:]:
        height = scale.held(version.result.value, version.result.censor)
        sheet.labels.beside(axes, at(version.result.sampled), height, _version_words(version, sheet.paper.small))
    if ahead is not None and not sheet.paper.small:
        last = ahead.points[-1]
        words = folded(ahead.words, 1.3)
        sheet.labels.beside(axes, at(last.on), _seen(axes, last.middle), words, spots.FAR, leader=True)


def _to_name(readings: Sequence[Reading]) -> list[Reading]:
    """The readings whose values are written: all, or of many the newest and those that lie furthest out."""
    if len(readings) <= _NAMED:
        return list(readings)
    told = [item for item in readings if item.censor is Censor.NONE] or list(readings)
    extremes = (min(told, key=lambda item: item.value), max(told, key=lambda item: item.value))
    return [item for item in readings if item in extremes or item in readings[-3:]]


def _name_values(axes: Axes, sheet: Sheet, items: Sequence[Reading | TissueResult], scale: Scale) -> None:
    for item in items:
        sheet.labels.beside(axes, at(item.sampled), scale.held(item.value, item.censor), _value_words(item))


def name_days(axes: Axes, sheet: Sheet) -> None:
    """Draw the day of the advice and the review date through a panel."""
    for word, day, style in named_days(sheet):
        axes.axvline(at(day), color=look.BLACK, linewidth=1.0, linestyle=style, label=word)
        sheet.labels.keep_clear_upright(axes, at(day))


def mark_decisions(axes: Axes, sheet: Sheet) -> None:
    """Draw the decisions' poles into the top of a panel."""
    for mark in sheet.marks:
        axes.axvline(at(mark.on), 0.94, 1.0, color=look.BLACK, linewidth=1.0, label="decision")
        sheet.labels.keep_clear_upright(axes, at(mark.on), 0.94)


def _value_words(item: Reading | TissueResult) -> str:
    text = f"{item.censor.value}{format_value(item.value, item.unit)}"
    if isinstance(item, TissueResult):
        return f"{text}\nnot used"
    return f"{text} (mean of {item.count})" if item.count > 1 else text


def _version_words(version: Replaced, small: bool) -> str:
    was = version.result
    value = f"{was.censor.value}{format_value(was.value, was.unit)}"
    if version.pending:
        return f"{value}\nwithdrawn"
    if version.now is None:
        return f"{value}\nvoid"
    if small:
        return f"was {value}"
    return f"was {value},\n{'moved away' if version.now.block != was.block else 'corrected'}"


def _steps(sheet: Sheet, values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Daily values as steps at midnight, so that a day's result stands on its own day's value."""
    days = np.array([at(day) for day in sheet.span.days])
    return np.column_stack([days - 0.5, days + 0.5]).ravel(), np.repeat(values, 2)


def _draw_band(axes: Axes, sheet: Sheet, kind: Kind) -> list[tuple[float, float, str]]:
    """The band; where its edges end and what they are called."""
    ends = []
    low, high = edges(sheet, kind)
    (x, lower), (_, upper) = _steps(sheet, low), _steps(sheet, high)
    bottom, top = axes.get_ylim()
    known = np.isfinite(lower) | np.isfinite(upper)
    floor, roof = np.where(np.isnan(lower), bottom, lower), np.where(np.isnan(upper), top, upper)
    axes.fill_between(x, floor, roof, where=known.tolist(), color=look.PALE_GREEN, linewidth=0, label="band")
    styles: tuple[LineStyle, LineStyle] = ("-", look.DASHED)
    for name, edge, style in zip(("low edge", "high edge"), (lower, upper), styles, strict=True):
        axes.plot(x, edge, color=look.BLACK, linewidth=1.4, linestyle=style, label=name)
        there = np.flatnonzero(np.isfinite(edge))
        if there.size:
            sheet.labels.keep_clear_line(axes, x.tolist(), edge.tolist())
            ends.append((float(x[there[-1]]), float(edge[there[-1]]), name))
    if not known.any():
        text = folded("no band of this kind on these days", axes.get_position().width * sheet.paper.width_in)
        axes.text(0.5, 0.92, text, transform=axes.transAxes, ha="center", va="top")
    return ends


def _draw_projection(axes: Axes, sheet: Sheet, ahead: Projection) -> None:
    """The trend carried on: middle dashed, the 95 % interval hatched between two thin lines."""
    x = [at(point.on) for point in ahead.points]
    low = [point.low for point in ahead.points]
    middle = [point.middle for point in ahead.points]
    high = [point.high for point in ahead.points]
    axes.fill_between(
        x, low, high, facecolor="none", edgecolor=look.BLUE, hatch="....", linewidth=0.0, label="projected spread",
        zorder=2,
    )  # fmt: skip
    for edge in (low, high):
        axes.plot(x, edge, color=look.BLUE, linewidth=0.9, linestyle=":", label="projected limit", zorder=2)
    axes.plot(x, middle, color=look.BLUE, linewidth=2.0, linestyle=look.DASH_DOT_DOT, label="projected", zorder=3)
    for line in (low, middle, high):
        sheet.labels.keep_clear_line(axes, x, line)


def _seen(axes: Axes, value: float) -> float:
    bottom, top = axes.get_ylim()
    return min(max(value, bottom), top)


def _draw_replaced(axes: Axes, sheet: Sheet, version: Replaced, scale: Scale) -> None:
    """A result as it stood before: hollow, struck through by a line to what stands in its place."""
    was, now = version.result, version.now
    x, y = at(was.sampled), scale.held(was.value, was.censor)
    label = "void" if now is None else "before correction"
    sheet.labels.keep_clear(axes, [x], [y], 6.0)
    axes.plot(
        x, y, linestyle="none", marker="s", markersize=6.5, markerfacecolor="white", markeredgecolor=look.GREY,
        label=label, zorder=4,
    )  # fmt: skip
    if now is not None and (now.kind, now.block) == (was.kind, was.block):
        end = (at(now.sampled), scale.held(now.value, now.censor))
        arrow = {"arrowstyle": "->", "color": look.GREY, "linestyle": "-", "shrinkA": 3, "shrinkB": 5}
        axes.annotate("", end, (x, y), arrowprops=arrow, zorder=4)


def _draw_unused(axes: Axes, sheet: Sheet, result: TissueResult, scale: Scale) -> None:
    x, y = at(result.sampled), scale.held(result.value, result.censor)
    sheet.labels.keep_clear(axes, [x], [y], 6.0)
    axes.plot(
        x, y, linestyle="none", marker="X", markersize=8.5, markerfacecolor="white", markeredgecolor=look.BLACK,
        label="not used", zorder=4,
    )  # fmt: skip


def _draw_reading(axes: Axes, sheet: Sheet, reading: Reading, scale: Scale) -> None:
    x, y = at(reading.sampled), scale.held(reading.value, reading.censor)
    sheet.labels.keep_clear(axes, [x], [y], 6.0)
    side = side_of(reading)
    if reading.censor is not Censor.NONE or side is None:
        draw_bound(axes, x, y, reading.censor, to_scale=y == reading.value)
        sheet.labels.keep_clear_arrow(axes, x, y, -ARROW_PT if reading.censor is Censor.BELOW else ARROW_PT)
        return
    low, high = interval(sheet, reading)
    axes.errorbar(
        x, y, [[y - low], [high - y]], fmt="none", ecolor=look.BLACK, elinewidth=1.1, capsize=3, zorder=5
    )  # fmt: skip
    sheet.labels.keep_clear(axes, [x] * 9, np.geomspace(low, high, 9).tolist(), 3.0)
    draw_side(axes, x, y, side)


def draw_side(axes: Axes, x: float, y: float, side: Side) -> None:
    """A result by the shape and colour of its side."""
    marker, colour = MARKERS[side]
    axes.plot(
        x, y, linestyle="none", marker=marker, markersize=8.5, color=colour, markeredgecolor=look.BLACK,
        label=side.word, zorder=5,
    )  # fmt: skip


def draw_bound(
    axes: Axes, x: float, y: float, censor: Censor, to_scale: bool = True, length: float = ARROW_PT
) -> None:
    """A "<" or ">" result: a bar at its value with an arrow to the side where the value lies."""
    sign = -1 if censor is Censor.BELOW else 1
    marker = "_" if to_scale else "none"
    axes.plot(x, y, linestyle="none", marker=marker, markersize=13, color=look.BLACK, label="bound", zorder=5)
    arrow = {"arrowstyle": "<|-", "color": look.BLACK, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (x, y), (0, length * sign), textcoords="offset points", arrowprops=arrow, zorder=5)
