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

from fertadjust import chart_parts as parts
from fertadjust.chart_panels import draw_rates, draw_results, draw_totals
from fertadjust.chart_parts import Mark
from fertadjust.chart_sheet import (
    SIDES,
    Kind,
    Sheet,
    kinds_shown,
    make_sheet,
    named_days,
    points_to_come,
    readings_known,
)
from fertadjust.compare import compare
from fertadjust.dates import short_day
from fertadjust.errors import UserError
from fertadjust.files import write_bytes
from fertadjust.rules.facts import Facts
from fertadjust.season import BlockSeason
from fertadjust.tissue import format_value
from fertadjust.units import UnitSystem
from fertadjust.words import band_words

_FOOT_LINE_IN = 0.2

__all__ = ["Mark", "alt_text", "figure_svg", "save_figure", "season_figure"]


def season_figure(season: BlockSeason, on: date, units: UnitSystem, decisions: Sequence[Mark] = ()) -> Figure:
    """Draw one block's season as known on a day.

    Args:
        season: the block's season.
        on: day of the advice; what became known later is left out.
        units: unit system of rates and totals; tissue values keep their stored units.
        decisions: decisions to be marked.
    """
    with parts.chart_style():
        sheet = make_sheet(season, on, units, decisions)
        sheet.figure.set_label(alt_text(season, on, units))
        kinds = kinds_shown(sheet)
        panels = _panels(sheet, kinds)
        for axes, kind in zip(panels, kinds, strict=False):
            draw_results(axes, sheet, kind)
        draw_rates(panels[-2], sheet)
        draw_totals(panels[-1], sheet)
    return sheet.figure


# --- layout -----------------------------------------------------------------------------------------------


def _panels(sheet: Sheet, kinds: Sequence[Kind]) -> list[Axes]:
    """Write headings, days and footnote; return the panels: one for each kind, then rates, then totals."""
    top, bottom = _heading(sheet), _footnote(sheet, kinds)
    days: list[tuple[date, str, parts.LineStyle]]
    days = [(mark.on, f"{parts.SIGNS[mark.kind]} {mark.text}", "-") for mark in sheet.marks]
    days += [(day, f"{word} {short_day(day)}", style) for word, day, style in named_days(sheet)]
    strip, rows = parts.day_strip(sheet.figure, sheet.span, days)
    titles = [kind.heading for kind in kinds]
    titles[0] += "; upright bars: 95 % interval" if sheet.readings else ""
    titles += [f"Weekly rate ({sheet.units.rate_unit})", f"Nitrogen, credits included ({sheet.units.total_unit})"]
    shares = [3.0, *(1.1 for _ in kinds[1:]), 1.8, 2.0]
    strip_in, gap_in = rows * 0.19, 0.36
    unit_in = (top - bottom - strip_in - gap_in * len(shares)) / sum(shares)
    panels: list[Axes] = []
    for title, share in zip(titles, shares, strict=True):
        top -= gap_in + share * unit_in + (0.0 if panels else strip_in)
        axes = sheet.figure.add_axes((0, 0, 1, 1), label=title)
        parts.place(axes, top, share * unit_in)
        parts.date_axis(axes, sheet.span, sheet.season.plan, labelled=len(panels) == len(titles) - 1)
        axes.set_title(title, pad=6 + (0 if panels else 72 * strip_in))
        panels.append(axes)
    parts.place(strip, panels[0].get_position().y1 * parts.HEIGHT_IN, max(strip_in, 0.01))
    return panels


def _heading(sheet: Sheet) -> float:
    """Write the title and one sentence; return the height below them [in]."""
    top = parts.HEIGHT_IN - 0.15
    title = f"{sheet.season.block.name}: season as known on {short_day(sheet.on)} {sheet.on.year}"
    top = parts.write_lines(sheet.figure, top, title, 13.0, "bold")
    return parts.write_lines(sheet.figure, top - 0.06, _headline(sheet.facts), 10.5)


def _footnote(sheet: Sheet, kinds: Sequence[Kind]) -> float:
    """Write what has no panel to stand in; return the height of the panels' foot [in]."""
    texts = []
    hidden = [item for item in sheet.unused if Kind(item.tissue, item.basis) not in kinds]
    if hidden:
        first = "; ".join(f"{item.kind} {item.text()} of {short_day(item.sampled)}" for item in hidden[:3])
        more = f"; and {len(hidden) - 3} more" if len(hidden) > 3 else ""
        texts.append(f"Not drawn, no band of its kind: {first}{more}.")
    own = sheet.season.policy.overrides()
    if own:
        names = ", ".join(item.name for item in own[:4]) + (f" and {len(own) - 4} more" if len(own) > 4 else "")
        texts.append(f"Rule values that the season file sets: {names}.")
    if not texts:
        return 0.35
    foot = 0.42 + _FOOT_LINE_IN * (len(texts) - 1)
    top = foot
    for text in texts:
        top = parts.write_lines(sheet.figure, top, text, parts.SMALL)
    return foot + 0.38


# --- words ------------------------------------------------------------------------------------------------


def _headline(facts: Facts) -> str:
    """The deciding result in one plain sentence, without its full stop."""
    reading = facts.primary
    if reading is None:
        return f"No usable result by {short_day(facts.on)}"
    value = f"{reading.censor.value}{format_value(reading.value, reading.unit)} {reading.unit}"
    several = f" (mean of {reading.count})" if reading.count > 1 else ""
    side = compare(reading.value, reading.censor, 1.0, reading.band, 1.0).side
    where = "a bound that does not tell its side of" if side is None else SIDES[side]
    return (
        f"{Kind(reading.tissue, reading.basis).words} {value}{several} on {short_day(reading.sampled)}: "
        f"{where} the band {band_words(reading)} ({reading.band.label})"
    )


def alt_text(season: BlockSeason, on: date, units: UnitSystem) -> str:
    """What the chart shows, in four sentences, for those who do not see it."""
    facts = season.facts(on)
    used, unused = len(readings_known(season, on)), len(facts.not_used)
    out, unit = units.rate_out, units.total_unit
    points = points_to_come(season, facts)
    total, last = points[0].total_lb_ac, points[-1].total_lb_ac
    end = f"; as decided the season ends at {out(last):.1f}" if len(points) > 1 else ""
    cap = "" if facts.cap_lb_ac is None else f", under a cap of {out(facts.cap_lb_ac):.1f}"
    return (
        f"Season of {season.block.name} as known on {short_day(on)} {on.year}: tissue results beside their band, "
        f"weekly nitrogen rates, and the running total. {_headline(facts)}. "
        f"Results with a band: {used}; results not used: {unused}. "
        f"With credits, {out(total):.1f} {unit} is counted so far{end}{cap}."
    )


# --- files ------------------------------------------------------------------------------------------------


def save_figure(figure: Figure, path: Path) -> None:
    """Write a figure as .png, .svg or .pdf, all of it or nothing; the same season gives the same bytes.

    Raises:
        UserError: another suffix, or a place that cannot be written.
    """
    suffix = path.suffix.lower()
    if suffix not in parts.SUFFIXES:
        raise UserError(f'"{path.name}": a chart is written as {", ".join(parts.SUFFIXES)}; use one of these')
    write_bytes(path, parts.rendered(figure, suffix))


def figure_svg(figure: Figure) -> str:
    """A figure as an ``<svg>`` element to stand inside a page; its ids begin with a mark of its own."""
    text = parts.rendered(figure, ".svg").decode()
    mark = f"chart-{hashlib.sha256(text.encode()).hexdigest()[:8]}"
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r"<[^<>]*>", lambda tag: re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{mark}-", tag[0]), text)
    text = text.replace("*{stroke", f"#{mark} *{{stroke", 1)
    text = text.replace("<title>", f'<title id="{mark}-title">', 1)
    return text.replace("<svg ", f'<svg id="{mark}" role="img" aria-labelledby="{mark}-title" ', 1).rstrip()
