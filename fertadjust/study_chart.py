"""The figure of a study: weeks in band by scenario, and what leaving each guard out changes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fertadjust import chart_style as look
from fertadjust.chart_style import folded
from fertadjust.simulate.measures import Estimate
from fertadjust.simulate.study import BOUNDED, PLAN, RULES, TUNED, UNGUARDED, Beside, Study

_WIDTH_IN: Final = 8.0
_ROW_IN: Final = 0.42
_HEAD_IN: Final = 1.5
_GAP_IN: Final = 1.45
_FOOT_IN: Final = 0.55
_LEFT_IN: Final = 1.75
_RIGHT_IN: Final = 0.3
_MODEL: Final = (
    "Simulated with a crop model, not measured: {seasons:,} seasons of each scenario, means and 95 % intervals."
)
_MARKS: Final = {PLAN: ("s", "white", look.BLACK), UNGUARDED: ("^", "white", look.VERMILLION)} | {
    BOUNDED: ("v", look.VERMILLION, look.VERMILLION),
    RULES: ("o", look.BLUE, look.BLUE),
    TUNED: ("D", look.GREEN, look.GREEN),
}
"""Way -> shape, fill and edge of its mark."""


def findings_figure(found: Study) -> Figure:
    """Draw a study: two panels, a row a scenario above and a row a guard below."""
    with look.chart_style():
        upper = _ROW_IN * len(found.compared)
        lower = _ROW_IN * len(found.guards[0].gains) if found.guards else 0.0
        height = _HEAD_IN + upper + _GAP_IN + lower + _FOOT_IN
        figure = Figure(figsize=(_WIDTH_IN, height), dpi=100)
        figure.set_label(
            "Simulated: weeks in the band by scenario and way of deciding, and what leaving a guard out changes."
        )
        model = folded(_MODEL.format(seasons=found.plan.report.seasons), _WIDTH_IN - 0.4)
        figure.text(0.02, 1 - 0.12 / height, model, va="top", fontsize=look.SMALL)
        width = _WIDTH_IN - _LEFT_IN - _RIGHT_IN

        def panel(bottom: float, tall: float, name: str) -> Axes:
            box = (_LEFT_IN / _WIDTH_IN, bottom / height, width / _WIDTH_IN, tall / height)
            return figure.add_axes(box, label=name)

        _scenarios(panel(_FOOT_IN + lower + _GAP_IN, upper, "scenarios"), found)
        if found.guards:
            _guards(panel(_FOOT_IN, lower, "guards"), found.guards[0], found.weeks)
        return figure


def _scenarios(axes: Axes, found: Study) -> None:
    ways = list(found.compared[0].means)
    for index, way in enumerate(ways):
        shape, fill, edge = _MARKS[way]
        offset = 0.16 * (index - (len(ways) - 1) / 2)
        rows = [item.means[way]["in_band"] for item in found.compared]
        _marks(axes, rows, found.weeks, offset, shape, fill, edge, way)
    axes.set_title(f"Weeks in the band, of {found.weeks}", y=1.0, pad=44, loc="left", x=-0.27)
    axes.legend(loc="lower left", bbox_to_anchor=(-0.29, 1.0), ncols=3, frameon=False, fontsize=look.SMALL)
    axes.set_xlim(0, found.weeks)
    axes.set_xlabel("weeks, with 95 % intervals")
    _rows(axes, [item.scenario for item in found.compared])


def _guards(axes: Axes, guards: Beside, weeks: int) -> None:
    rows = [gains["in_band"] for gains in guards.gains.values()]
    _marks(axes, rows, weeks, 0.0, "o", look.BLUE, look.BLUE, "rules without the guard")
    axes.axvline(0.0, color=look.BLACK, linewidth=0.8)
    title = (
        f'Weeks in the band of {weeks} that leaving a guard out changes, in "{guards.scenario}": right of 0 the '
        "guard costs weeks in band, left of 0 it gains them. What it is for may be something else (reversals, "
        "bounds)."
    )
    axes.set_title(folded(title, _WIDTH_IN - 0.6, 10.0), loc="left", x=-0.27)
    _rows(axes, [way.removeprefix("without ") for way in guards.gains])
    axes.set_xlabel("weeks in the band more or less than with every guard, with 95 % intervals")


def _marks(
    axes: Axes,
    rows: Sequence[Estimate],
    scale: float,
    offset: float,
    shape: str,
    fill: str,
    edge: str,
    name: str,
) -> None:
    x = [scale * row.mean for row in rows]
    reach = [[scale * (row.mean - row.low) for row in rows], [scale * (row.high - row.mean) for row in rows]]
    known = [[0.0 if math.isnan(value) else value for value in side] for side in reach]
    y = [index + offset for index in range(len(rows))]
    axes.errorbar(
        x, y, xerr=known, fmt=shape, markersize=5, markerfacecolor=fill, color=edge, linewidth=1.0, label=name
    )


def _rows(axes: Axes, names: Sequence[str]) -> None:
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.5, -0.5)
    for index in range(1, len(names), 2):
        axes.axhspan(index - 0.5, index + 0.5, color=look.PALE_GREY, linewidth=0, zorder=0)
    axes.grid(axis="x", color=look.GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(axis="y", length=0)
