"""Simulated seasons as a chart: the spread of petiole nitrate against the moving band, and of the weekly rates."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fertadjust import chart_style as look
from fertadjust.chart_axes import Box, across, date_axis, lines_in, place, value_axis, write_lines
from fertadjust.chart_labels import spread as apart
from fertadjust.chart_sheet import Kind
from fertadjust.chart_style import LineStyle, Paper, Span, at, folded, plain_name
from fertadjust.simulate.outlook import PLAN, RULES, TRIED, Outlook, spread
from fertadjust.simulate.parameters import Array
from fertadjust.simulation_ground import (
    assumed_share,
    own_values,
    recalled,
    scenario_words,
    what_is_tried,
    what_runs,
)
from fertadjust.simulation_words import MODEL, headline
from fertadjust.tissue import format_value
from fertadjust.units import DAYS_PER_WEEK, UnitSystem
from fertadjust.words import listed

PAPER: Final = Paper(8.0, 8.6, 0.75, 1.45, 9)
"""For a page or a screen: 800 pixels wide at 100 to the inch. Longer texts make a chart higher."""

_PANELS_IN: Final = 5.0
"""Least height of both panels together [in]."""

_HEADING: Final = 13.0
_TEXT: Final = 10.0
_GAP_IN: Final = 0.42
_DATES_IN: Final = 0.42
_LEAD_PT: Final = 20.0
"""Room between the end of a line and its name, for the line that joins them [pt]."""

_LINE: Final = 1.3
"""Height of a line of a name as a share of its font size."""

_LEADER: Final = {
    "arrowstyle": "-", "linewidth": 0.7, "color": look.GREY, "relpos": (0.0, 0.5), "shrinkA": 1, "shrinkB": 0,
}  # fmt: skip

_SHARES: Final = (3.4, 1.8)
"""Heights of the two panels beside each other."""

_REACH: Final = 10.0
"""Factor beyond band and medians up to which a spread is shown."""
_PAD: Final = 1.2
"""Room above and below what is shown, as a factor."""


class _Look(NamedTuple):
    """How one way of deciding is drawn: colour, line of its median, thin lines of its spread."""

    colour: str
    median: LineStyle
    thin: LineStyle


_LOOKS: Final = {
    PLAN: _Look(look.VERMILLION, look.DASHED, look.DASHED),
    RULES: _Look(look.BLUE, "-", "-"),
    TRIED: _Look(look.PURPLE, look.DASH_DOT_DOT, ":"),
}
_ORDER: Final = (RULES, PLAN, TRIED)
"""The rules' fan lies below the lines of the others."""


class _Sheet(NamedTuple):
    found: Outlook
    units: UnitSystem
    paper: Paper

    @property
    def span(self) -> Span:
        plan = self.found.setup.season.plan
        return Span(plan.start, plan.end + timedelta(days=1))

    @property
    def ways(self) -> list[str]:
        there = {run.name for run in self.found.runs}
        return [name for name in _ORDER if name in there]

    @property
    def days(self) -> Array:
        """Days from the first to the last with a band, as numbers on the date axis."""
        known = self.found.banded()
        return at(self.span.start) + np.arange(known.start, known.stop, dtype=np.float64)

    def petiole(self) -> dict[str, Array]:
        """Spread of petiole nitrate on those days, for each way [stored unit]."""
        known = self.found.banded()
        return {name: spread(self.found.run(name).value[known]) for name in self.ways}


def outlook_figure(found: Outlook, units: UnitSystem, paper: Paper = PAPER) -> Figure:
    """Draw simulated seasons of one block: petiole nitrate against its band, and weekly rates.

    Args:
        found: the seasons.
        units: unit system of the rates; petiole values keep their stored unit.
        paper: the size to draw for.
    """
    with look.chart_style():
        sheet = _Sheet(found, units, paper)
        sheet = sheet._replace(paper=paper._replace(height_in=_height_in(sheet)))
        figure = Figure(figsize=(paper.width_in, sheet.paper.height_in), dpi=100)
        figure.set_label(_alt_text(found))
        upper, lower = _panels(figure, sheet)
        _draw_petiole(upper, sheet)
        _draw_rates(lower, sheet)
    return figure


# --- layout -------------------------------------------------------------------------------------------------


def _title(found: Outlook) -> str:
    return f"{plain_name(found.setup.season.block.name)}: {found.seasons:,} simulated seasons"


def _height_in(sheet: _Sheet) -> float:
    """Height that texts and panels need [in], the paper's own at least."""
    width, found = sheet.paper.width_in, sheet.found
    title = lines_in(len(across(_title(found), width, _HEADING, "bold")), _HEADING)
    small = sum(len(across(text, width, look.SMALL)) for text in (_key(found), *_foot(sheet)))
    texts = 0.15 + title + 0.06 + 0.1 + lines_in(small, look.SMALL)
    return max(sheet.paper.height_in, texts + _DATES_IN + 2 * _GAP_IN + _PANELS_IN)


def _foot(sheet: _Sheet) -> list[str]:
    """What the seasons were made of, what was tried, and what the panel does not hold."""
    found, units = sheet.found, sheet.units
    setup = found.setup
    own = own_values(setup.season.policy, units)
    texts = [
        MODEL,
        setup.model.first,
        f"{plain_name(what_runs(found, units), 400)} {plain_name(scenario_words(found), 200)}",
        f"Tried: {what_is_tried(found, units)}." if found.tried else "",
        f"Rule values that the season file sets: {own}." if own else "",
        _leaving(sheet),
        f"{assumed_share(setup.model).capitalize()}.",
    ]
    return [text for text in texts if text]


def _leaving(sheet: _Sheet) -> str:
    """Which lines leave the upper panel, and how far they go; "" where all of them stay in it."""
    spreads, unit = sheet.petiole(), sheet.found.reference.unit
    bottom, top = _extent(*sheet.found.bands(), spreads)
    told = []
    for name, (low, *_, high) in spreads.items():
        if low.min() < bottom:
            told.append(f"{name} 5 % falls to {format_value(float(low.min()), unit)} {unit}")
        if high.max() > top:
            told.append(f"{name} 95 % rises to {format_value(float(high.max()), unit)} {unit}")
    return f"Beyond the panel: {'; '.join(told)}." if told else ""


def _panels(figure: Figure, sheet: _Sheet) -> tuple[Axes, Axes]:
    """Write heading and foot; return the two panels."""
    paper, found = sheet.paper, sheet.found
    setup = found.setup
    top = write_lines(figure, paper.height_in - 0.15, _title(found), _HEADING, "bold")
    top = write_lines(figure, top - 0.06, _key(found), look.SMALL)
    foot = _foot(sheet)
    bottom = 0.1 + lines_in(sum(len(across(text, paper.width_in, look.SMALL)) for text in foot), look.SMALL)
    below = bottom
    for text in foot:
        below = write_lines(figure, below, text, look.SMALL)
    kind, mark = Kind(setup.table.tissue, setup.table.basis), recalled(found)
    headings = (
        f"Simulated: {kind.heading}{f', {mark}' if mark else ''}",
        f"Simulated: weekly rate ({sheet.units.rate_unit})",
    )
    titles = [folded(text, paper.plot_in + paper.right_in, 1.1 * _TEXT) for text in headings]
    unit_in = (top - bottom - _DATES_IN - 2 * _GAP_IN) / sum(_SHARES)
    panels = []
    for index, (text, share) in enumerate(zip(titles, _SHARES, strict=True)):
        top -= _GAP_IN + share * unit_in
        axes = figure.add_axes((0, 0, 1, 1), label=text.replace("\n", " "))
        place(axes, Box(paper.left_in, top, paper.plot_in, share * unit_in))
        starts = [week.start for week in setup.season.plan.weeks]
        date_axis(axes, sheet.span, starts, paper.dates, labelled=index == len(titles) - 1)
        axes.set_title(text)
        panels.append(axes)
    return panels[0], panels[1]


def _key(found: Outlook) -> str:
    """What lines and shades stand for."""
    others = "the plan and of what was tried" if found.tried else "the plan"
    tried = ", thick dashes and dots of what was tried" if found.tried else ""
    known = found.banded()
    out = [
        words
        for words, left in (
            ("before the first", known.start > 0),
            ("after the last", known.stop < found.setup.days),
        )
        if left
    ]
    left_out = f" Days {' and '.join(out)} band are left out: the model knows no level there." if out else ""
    return (
        "Day by day: the thick line is the middle value of the rules' seasons, thick dashes that of the plan as "
        f"it stands{tried}. The dark shade holds the middle half of the rules' seasons, the light one nine in "
        f"ten. Thin lines hold nine in ten of {others}, 5 % of the seasons lying below and 5 % above. Green: the "
        f"band by the dates of the season file, its low edge solid and its high edge dashed.{left_out}"
    )


# --- panels -------------------------------------------------------------------------------------------------


def _draw_petiole(axes: Axes, sheet: _Sheet) -> None:
    """Spread of petiole nitrate on each day against the band [stored unit]."""
    found = sheet.found
    low, high = found.bands()
    every = at(sheet.span.start) + np.arange(found.setup.days, dtype=np.float64)
    days, spreads = sheet.days, sheet.petiole()
    value_axis(axes, [], found.reference.unit, log=True)
    axes.set_ylim(*_extent(low, high, spreads))
    x = np.column_stack([every, every + 1.0]).ravel()
    lower, upper = np.repeat(low, 2), np.repeat(high, 2)
    axes.fill_between(x, lower, upper, color=look.PALE_GREEN, linewidth=0, label="band", zorder=0.5)
    _draw_spreads(axes, days, spreads)
    ends = [end for name in sheet.ways for end in _ends(name, days, spreads[name])]
    styles: tuple[LineStyle, LineStyle] = ("-", look.DASHED)
    for name, edge, style in zip(("low edge", "high edge"), (lower, upper), styles, strict=True):
        axes.plot(x, edge, color=look.BLACK, linewidth=1.2, linestyle=style, label=name, zorder=2.5)
        last = int(np.flatnonzero(np.isfinite(edge))[-1])
        ends.append((float(x[last]), float(edge[last]), name))
    _name_ends(axes, ends)


def _draw_rates(axes: Axes, sheet: _Sheet) -> None:
    """Spread of the weekly rates, with the plan, floor and ceiling [the unit system's rate]."""
    plan, out = sheet.found.setup.season.plan, sheet.units.rate_out
    starts = np.array([at(week.start) for week in plan.weeks])
    x = np.column_stack([starts, starts + DAYS_PER_WEEK]).ravel()
    ways = [name for name in sheet.ways if name != PLAN]
    spreads = {name: np.repeat(out(1.0) * spread(sheet.found.run(name).rate), 2, axis=1) for name in ways}
    planned = np.repeat([out(rate) for rate in plan.rates_lb_ac], 2)
    floor, ceiling = out(plan.floor_lb_ac), out(plan.ceiling_lb_ac)
    most = max(ceiling, planned.max(), *(float(item.max()) for item in spreads.values()))
    axes.set_ylim(0, 1.12 * most)
    _draw_spreads(axes, x, spreads)
    style = _LOOKS[PLAN]
    axes.plot(x, planned, color=style.colour, linewidth=2.0, linestyle=style.median, label="plan", zorder=4)
    ends = [(float(x[-1]), float(planned[-1]), f"plan {planned[-1]:.2f}")]
    for name, value in (("floor", floor), ("ceiling", ceiling)):
        axes.axhline(value, color=look.BLACK, linewidth=1.0, linestyle=look.DASH_DOT, label=name)
        ends.append((float(x[-1]), value, f"{name} {value:.2f}"))
    ends += [end for name in ways for end in _ends(name, x, spreads[name])]
    _name_ends(axes, ends)


def _draw_spreads(axes: Axes, x: Array, spreads: dict[str, Array]) -> None:
    """Median and thin limits of each way; the rules' limits are the edges of shades."""
    for name, (low, lower, middle, upper, high) in spreads.items():
        style = _LOOKS[name]
        if name == RULES:
            for ends, alpha, label in (((low, high), 0.14, "nine in ten"), ((lower, upper), 0.26, "middle half")):
                axes.fill_between(x, *ends, color=style.colour, alpha=alpha, linewidth=0, label=label, zorder=1)
        for edge, label in ((low, "5 %"), (high, "95 %")):
            axes.plot(
                x, edge, color=style.colour, linewidth=0.9, linestyle=style.thin, label=f"{name} {label}", zorder=3
            )  # fmt: skip
        axes.plot(x, middle, color=style.colour, linewidth=2.4, linestyle=style.median, label=name, zorder=4)


def _extent(low: Array, high: Array, spreads: dict[str, Array]) -> tuple[float, float]:
    """Ends of the value axis: it holds edges and medians, and limits of spreads as far as they lie near."""
    edges = np.concatenate([low, high, *(item[2] for item in spreads.values())])
    firm = edges[np.isfinite(edges) & (edges > 0)]
    least, most = float(firm.min()), float(firm.max())
    limits = np.concatenate([item.ravel() for item in spreads.values()])
    held = np.clip(limits, least / _REACH, most * _REACH)
    return min(least, float(held.min())) / _PAD, max(most, float(held.max())) * _PAD


def _ends(name: str, x: Array, values: Array) -> list[tuple[float, float, str]]:
    """Where the lines of a way end, and what they are called."""
    low, _, middle, _, high = (float(row[-1]) for row in values)
    return [(float(x[-1]), y, text) for y, text in ((middle, name), (low, f"{name} 5 %"), (high, f"{name} 95 %"))]


def _name_ends(axes: Axes, ends: Sequence[tuple[float, float, str]]) -> None:
    """Name the ends of lines in the right margin, each with a line to its end; ends at one place share a name."""
    bottom, top = axes.get_ylim()
    together: dict[tuple[float, float], list[str]] = {}
    for x, y, text in ends:
        beyond = ", below" if y < bottom else ", above" if y > top else ""
        together.setdefault((x, round(min(max(y, bottom), top), 6)), []).append(text + beyond)
    pixels_per_point = axes.figure.dpi / 72
    line, frame = _LINE * look.SMALL * pixels_per_point, axes.get_window_extent()
    ordered = sorted(together.items(), key=lambda item: item[0][1])
    points = [axes.transData.transform(spot) for spot, _ in ordered]
    halves = [line * len(texts) / 2 for _, texts in ordered]
    middles = apart([float(point[1]) for point in points], halves, frame.y1 + line)
    for (spot, texts), (right, height), middle in zip(ordered, points, middles, strict=True):
        offset = ((frame.x1 - right) / pixels_per_point + _LEAD_PT, (middle - height) / pixels_per_point)
        axes.annotate(
            "\n".join(texts), spot, offset, textcoords="offset points", va="center", fontsize=look.SMALL,
            arrowprops=_LEADER, annotation_clip=False,
        )  # fmt: skip


def _alt_text(found: Outlook) -> str:
    name, ways = plain_name(found.setup.season.block.name), listed([run.name for run in found.runs], "and")
    first = found.setup.model.first
    return (
        f"Simulated seasons of {name}: the spread of petiole nitrate against its band and of the weekly rates "
        f"under {ways}. {headline(found)} {MODEL}{f' {first}' if first else ''}"
    )
