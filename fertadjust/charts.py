"""One block's season as a chart: results beside the moving band, weekly rates, and the running total.

Pure but for `save_figure`: the same season gives the same chart, byte for byte.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fertadjust import chart_style as look
from fertadjust import words
from fertadjust.chart_axes import Box, across, date_axis, lines_in, place, weeks_over, write_lines
from fertadjust.chart_labels import Labels, day_flags
from fertadjust.chart_rates import draw_rates, draw_totals, how_far, rates_key, so_far_words
from fertadjust.chart_results import draw_results, mark_decisions
from fertadjust.chart_sheet import (
    Kind,
    Sheet,
    Shown,
    band_mark,
    flags,
    headline,
    kind_of,
    kinds_shown,
    make_sheet,
    named_days,
    points_to_come,
)
from fertadjust.chart_style import PAGE, Mark, Paper, folded
from fertadjust.dates import short_day
from fertadjust.errors import UserError
from fertadjust.files import write_bytes
from fertadjust.season import BlockSeason
from fertadjust.units import UnitSystem

_TITLE = 10.0
_FLAG_IN = 0.19
_MOST_FLAGS = 6
"""Rows of flags that there is room for."""

_GAP_IN = 0.36
"""Height between a panel and the next, with one line of title [in]."""

__all__ = ["Mark", "Shown", "figure_svg", "save_figure", "season_figure"]

_NOTHING = Shown()


def season_figure(
    season: BlockSeason, on: date, units: UnitSystem, shown: Shown = _NOTHING, paper: Paper = PAGE
) -> Figure:
    """Draw one block's season as known on a day.

    Args:
        season: the block's season.
        on: day of the advice; what became known later is left out.
        units: unit system of rates and totals; tissue values keep their stored units.
        shown: decisions to be marked, and results as they were before a correction.
        paper: the size to draw for.
    """
    with look.chart_style():
        figure = Figure(figsize=(paper.width_in, paper.height_in), dpi=100)
        sheet = make_sheet(season, on, units, shown, paper, figure, Labels(figure))
        figure.set_label(alt_text(sheet))
        kinds = kinds_shown(sheet)
        panels = _panels(sheet, kinds)
        mark_decisions(panels[0], sheet)
        for axes, kind in zip(panels, kinds, strict=False):
            draw_results(axes, sheet, kind)
        draw_rates(panels[-2], sheet)
        draw_totals(panels[-1], sheet)
    return figure


# --- layout -----------------------------------------------------------------------------------------------


def _panels(sheet: Sheet, kinds: Sequence[Kind]) -> list[Axes]:
    """Write headings, days and footnote; return the panels: one for each kind, then rates, then totals."""
    paper = sheet.paper
    strip = sheet.figure.add_axes((0, 0, 1, 1), label="days")
    place(strip, Box(paper.left_in, 0.0, paper.plot_in, 1.0))
    strip_in = _FLAG_IN * day_flags(strip, sheet.span, flags(sheet), _MOST_FLAGS)
    top, bottom = _heading(sheet), _footnote(sheet, kinds)
    titles = [folded(text, paper.width_in - paper.left_in, 1.1 * _TITLE) for text in _titles(sheet, kinds)]
    gaps = [_GAP_IN + lines_in(title.count("\n"), _TITLE) for title in titles]
    shares = [3.0, *(1.1 for _ in kinds[1:]), 1.8, 2.0]
    unit_in = (top - bottom - strip_in - sum(gaps)) / sum(shares)
    panels: list[Axes] = []
    for title, gap, share in zip(titles, gaps, shares, strict=True):
        top -= gap + share * unit_in + (0.0 if panels else strip_in)
        axes = sheet.figure.add_axes((0, 0, 1, 1), label=title.replace("\n", " "))
        place(axes, Box(paper.left_in, top, paper.plot_in, share * unit_in))
        if not panels:
            place(strip, Box(paper.left_in, top + share * unit_in, paper.plot_in, max(strip_in, 0.01)))
        _dates(axes, sheet, labelled=len(panels) == len(titles) - 1)
        axes.set_title(title, y=1.0, pad=6 + (0 if panels else 72 * strip_in))
        panels.append(axes)
    return panels


def _titles(sheet: Sheet, kinds: Sequence[Kind]) -> list[str]:
    """The panels' titles; on a small paper they also say what the panels have no room for."""
    small, marks = sheet.paper.small, [*dict.fromkeys(mark.kind for mark in sheet.marks)]
    titles = [", ".join(text for text in (kind.heading, band_mark(sheet, kind)) if text) for kind in kinds]
    titles[0] += "; upright bars: 95 % interval" if sheet.readings else ""
    if small and sheet.projection is not None:
        titles[0] += f"; dotted: {sheet.projection.words}"
    if small and marks:
        titles[0] += "; decided: " + ", ".join(f"{look.SIGNS[kind]} {kind}" for kind in marks)
    titles.append(f"Weekly rate ({sheet.units.rate_unit})" + (f": {rates_key(sheet)}" if small else ""))
    titles.append(
        f"Nitrogen, credits included ({sheet.units.total_unit})" + (f": {so_far_words(sheet)}" if small else "")
    )
    return titles


def _dates(axes: Axes, sheet: Sheet, labelled: bool) -> None:
    plan = sheet.season.plan
    starts = weeks_over(sheet.span, plan.start)
    date_axis(axes, sheet.span, starts, sheet.paper.dates, labelled)


def _heading(sheet: Sheet) -> float:
    """Write the title and one sentence; return the height below them [in]."""
    top = sheet.paper.height_in - 0.15
    title = f"{sheet.name}: season as known on {short_day(sheet.on)} {sheet.on.year}"
    top = write_lines(sheet.figure, top, title, 13.0, "bold")
    return write_lines(sheet.figure, top - 0.06, headline(sheet.facts, sheet.day.stale), 10.5)


def _footnote(sheet: Sheet, kinds: Sequence[Kind]) -> float:
    """Write what has no panel to stand in; return the height of the panels' foot [in]."""
    texts = []
    hidden = [item for item in sheet.unused if kind_of(item) not in kinds]
    if hidden:
        first = "; ".join(f"{item.kind} {item.text()} of {short_day(item.sampled)}" for item in hidden[:3])
        texts.append(f"Not drawn, no band of its kind: {first}{_more(hidden)}.")
    undone = [item.result for item in sheet.replaced if kind_of(item.result) not in kinds]
    if undone:
        listed = "; ".join(f"{item.kind} {item.text()} of {short_day(item.sampled)}" for item in undone[:3])
        texts.append(f"Not drawn, corrected or void: {listed}{_more(undone)}.")
    own = sheet.season.policy.overrides()
    if own:
        names = ", ".join(item.name for item in own[:4]) + (f" and {len(own) - 4} more" if len(own) > 4 else "")
        texts.append(f"Rule values that the season file sets: {names}.")
    if not texts:
        return 0.35
    lines = sum(len(across(text, sheet.paper.width_in, look.SMALL)) for text in texts)
    foot = 0.1 + lines_in(lines, look.SMALL)
    top = foot
    for text in texts:
        top = write_lines(sheet.figure, top, text, look.SMALL)
    return foot + 0.42


def _more(items: Sequence[object]) -> str:
    return f"; and {len(items) - 3} more" if len(items) > 3 else ""


# --- words ------------------------------------------------------------------------------------------------


def alt_text(sheet: Sheet) -> str:
    """What the chart shows, in a few sentences, for those who do not see it."""
    facts, on = sheet.facts, sheet.on
    before = f"; corrected or void: {len(sheet.replaced)}" if sheet.replaced else ""
    sentences = [
        f"Season of {sheet.name} as known on {short_day(on)} {on.year}: tissue results beside their band, "
        "weekly nitrogen rates, and the running total",
        headline(facts, sheet.day.stale),
        f"Results with a band: {len(sheet.readings)}; results not used: {len(facts.not_used)}{before}",
    ]
    marked = [kind.words for kind in kinds_shown(sheet) if band_mark(sheet, kind)]
    if marked:
        sentences.append(f"Band recalled, to be checked: {words.listed(marked, 'and')}")
    if sheet.projection is not None:
        sentences.append(f"Projected: {sheet.projection.words}")
    sentences.append(_totals_in_words(sheet))
    if sheet.marks:
        sentences.append("Decided: " + "; ".join(f"{mark.text} on {short_day(mark.on)}" for mark in sheet.marks))
    if sheet.day.moves():
        rates = words.rates(sheet.found.rates_lb_ac, sheet.units)
        sentences.append(f"Advised and not decided: {rates} {sheet.units.rate_unit}")
    sentences += [f"{word.capitalize()} on {short_day(day)}" for word, day, _ in named_days(sheet)[1:]]
    return ". ".join(sentences) + "."


def _totals_in_words(sheet: Sheet) -> str:
    season, out = sheet.season, sheet.out
    points = points_to_come(season, sheet.facts)
    total, last, cap = points[0].total_lb_ac, points[-1].total_lb_ac, season.plan.cap_lb_ac
    end = f"; {how_far(season, sheet.on)} the season ends at {out(last):.1f}" if len(points) > 1 else ""
    under = "" if cap is None else f", {'over' if last > cap + 1e-9 else 'under'} a cap of {out(cap):.1f}"
    return f"With credits, {out(total):.1f} {sheet.units.total_unit} is counted so far{end}{under}"


# --- files ------------------------------------------------------------------------------------------------


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure as .png, .svg or .pdf, all of it or nothing; the same season gives the same bytes.

    Raises:
        UserError: another suffix, or a place that cannot be written.
    """
    suffix = path.suffix.lower()
    if suffix not in look.SUFFIXES:
        raise UserError(f'"{path.name}": a chart is written as {", ".join(look.SUFFIXES)}; use one of these')
    write_bytes(path, look.rendered(figure, suffix))


def figure_svg(figure: Figure) -> str:
    """A figure as an ``<svg>`` element to stand inside a page; its ids begin with a mark of its own."""
    text = look.rendered(figure, ".svg").decode()
    mark = f"chart-{hashlib.sha256(text.encode()).hexdigest()[:8]}"
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r"<[^<>]*>", lambda tag: re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{mark}-", tag[0]), text)
    text = text.replace(">*{stroke", f">#{mark} *{{stroke", 1)
    text = text.replace("<title>", f'<title id="{mark}-title">', 1)
    return text.replace("<svg ", f'<svg id="{mark}" role="img" aria-labelledby="{mark}-title" ', 1).rstrip()
