"""Colours of the charts: dark enough on white, and never the only thing that tells two marks apart.

Contrast by WCAG 2.1: 3:1 for what a chart is read by (1.4.11, non-text contrast), 4.5:1 for text (1.4.3). That no
meaning hangs on colour alone is 1.4.1. https://www.w3.org/TR/WCAG21/
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import combinations, cycle
from typing import Any, NamedTuple

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import Collection, PolyCollection
from matplotlib.colors import to_hex, to_rgba
from matplotlib.container import BarContainer
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.text import Annotation

from fertadjust import chart_style as look
from fertadjust.api import Season
from fertadjust.charts import Mark, Shown, season_figure
from fertadjust.stored import Replaced
from fertadjust.tissue import Censor
from fertadjust.units import UnitSystem
from tests.chart_support import sample, shown_texts
from tests.test_charts import (
    ABOVE,
    ADVICE,
    APPLIED,
    LEAF,
    LEAF_N,
    LOW,
    PETIOLE,
    RAISE,
    WITHIN,
    lines,
    panel,
    result,
)
from tests.test_charts import season as season_of

__all__ = ["sample"]

Colour = Any

CARRY_NOTHING = {to_hex(name) for name in (look.PALE_GREEN, look.PALE_BLUE, look.PALE_GREY, look.GRID)}
"""Fills and guides that the charts' style names as carrying nothing by themselves."""


def luminance(colour: Colour) -> float:
    """Relative luminance as WCAG 2.1 defines it: 0 for black, 1 for white."""
    parts = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgba(colour)[:3]]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def on_white(colour: Colour) -> float:
    """Contrast ratio with white as WCAG 2.1 defines it, a translucent colour as it looks on white."""
    *parts, alpha = to_rgba(colour)
    return 1.05 / (luminance([part * alpha + 1 - alpha for part in parts]) + 0.05)


@pytest.mark.parametrize(
    ("colour", "ratio"),
    [
        (look.BLACK, 21.00),
        (look.BLUE, 5.19),
        (look.VERMILLION, 3.87),
        (look.GREEN, 3.42),
        (look.PURPLE, 3.06),
    ],
)
def test_the_formula_gives_the_ratios_published_for_the_hues_of_okabe_and_ito(colour: str, ratio: float) -> None:
    """OKABE-ITO, with the contrast of each hue with white as tabulated beside it."""
    assert on_white(colour) == pytest.approx(ratio, abs=0.01)


# --- every colour that is drawn --------------------------------------------------------------------------------


class Stroke(NamedTuple):
    """A colour that something is drawn with, and what that is."""

    colour: str
    what: str


def seen(colour: Colour) -> bool:
    return not (isinstance(colour, str) and colour.lower() == "none") and to_rgba(colour)[3] > 0


def strokes(figure: Figure) -> Iterator[Stroke]:
    """Colours of lines, edges, faces and arrows; white faces only where the edge shows their shape."""
    for axes in figure.axes:
        for line in axes.lines:
            yield from (Stroke(colour, f"line {line.get_label()}") for colour in _of_line(line))
        for patch in axes.patches:
            yield from (Stroke(colour, f"patch in {axes.get_label()}") for colour in _of_patch(patch))
        for item in axes.collections:
            yield from (Stroke(colour, f"collection {item.get_label()}") for colour in _of_collection(item))
        for text in axes.texts:
            if isinstance(text, Annotation) and text.arrow_patch is not None:
                yield from (Stroke(colour, "arrow") for colour in _of_patch(text.arrow_patch))
        if axes.axison:
            frame = [spine for spine in axes.spines.values() if spine.get_visible()]
            yield from (Stroke(to_hex(spine.get_edgecolor()), "frame") for spine in frame)


def _of_line(line: Line2D) -> list[str]:
    if not line.get_visible() or not len(np.atleast_1d(line.get_xdata())):
        return []
    found: list[Colour] = []
    if str(line.get_linestyle()).lower() not in ("none", " ", "") and line.get_linewidth() > 0:
        found.append(line.get_color())
    if str(line.get_marker()).lower() not in ("none", " ", ""):
        found.append(line.get_markeredgecolor())
        if to_hex(line.get_markerfacecolor()) != to_hex("white"):
            found.append(line.get_markerfacecolor())
    return [to_hex(colour) for colour in found if seen(colour)]


def _of_patch(patch: Patch) -> list[str]:
    drawn = [patch.get_facecolor()]
    if patch.get_linewidth() > 0 or patch.get_hatch():
        drawn.append(patch.get_edgecolor())
    return [to_hex(colour) for colour in drawn if seen(colour)] if patch.get_visible() else []


def _of_collection(item: Collection) -> list[str]:
    drawn: list[Colour] = list(np.asarray(item.get_facecolor()))
    if item.get_hatch() or max(np.atleast_1d(item.get_linewidth())) > 0:
        drawn += list(np.asarray(item.get_edgecolor()))
    return [to_hex(colour) for colour in drawn if seen(colour)] if item.get_visible() else []


DAYS = (
    date(2026, 2, 20),
    date(2026, 4, 18),
    date(2026, 3, 20),
    date(2026, 5, 16),
    date(2026, 5, 7),
    date(2026, 5, 15),
)


@pytest.fixture(scope="module")
def figures(sample: Season) -> list[Figure]:
    """Charts of the sample season, of single blocks on several days, of all blocks and of the overview."""
    chosen = zip(DAYS, cycle(sample.blocks), cycle((True, False)))
    found = [sample.chart(block, day, phone=phone) for day, block, phone in chosen]
    for phone in (False, True):
        found += [full(look.PHONE if phone else look.PAGE)]
        found += [sample.blocks_chart(DAYS[-1], phone=phone), sample.overview_chart(DAYS[-1], phone=phone)]
    return found


def full(paper: look.Paper = look.PAGE) -> Figure:
    """An invented block with every kind of mark at once."""
    falling = [result(20 + week, date(2026, 3, 9 + 3 * week), 6000.0 - 900.0 * week) for week in range(5)]
    bound = result(30, date(2026, 3, 10), 900.0, Censor.BELOW)
    one = season_of(
        [LOW, WITHIN, ABOVE, LEAF_N, bound, result(31, date(2026, 2, 24), 900.0), *falling],
        (PETIOLE, LEAF),
        applications=APPLIED,
        changes=[RAISE],
    )
    before = [Replaced(replace(LOW, value=23_100.0), LOW, "one zero too many"), Replaced(WITHIN, None, "void")]
    return season_figure(
        one, ADVICE, UnitSystem.US, Shown([Mark(date(2026, 3, 13), "raise 33 %", "raise")], before), paper
    )


def test_every_line_edge_and_mark_stands_out_from_white(figures: list[Figure]) -> None:
    drawn = {stroke for figure in figures for stroke in strokes(figure)}
    assert len({stroke.what for stroke in drawn}) > 20
    pale = {stroke for stroke in drawn if on_white(stroke.colour) < 3.0}
    assert {stroke for stroke in pale if stroke.colour not in CARRY_NOTHING} == set()


def test_only_fills_and_guides_are_pale(figures: list[Figure]) -> None:
    """A line may be pale where it is a guide; no arrow, frame or other line is."""
    pale = {stroke for figure in figures for stroke in strokes(figure) if stroke.colour in CARRY_NOTHING}
    assert {stroke.colour for stroke in pale} >= CARRY_NOTHING - {to_hex(look.GRID)}
    assert {stroke for stroke in pale if not stroke.what.startswith(("patch", "collection"))} <= {
        stroke for stroke in pale if stroke.colour == to_hex(look.GRID)
    }


def test_every_text_is_readable_on_white(figures: list[Figure]) -> None:
    colours = {to_hex(text.get_color()) for figure in figures for text in shown_texts(figure)}
    assert colours
    assert [colour for colour in colours if on_white(colour) < 4.5] == []


def test_texts_lie_on_white_or_on_nothing(figures: list[Figure]) -> None:
    """A label's ground is white, so that its contrast is the one with white."""
    grounds = [text.get_bbox_patch() for figure in figures for text in shown_texts(figure)]
    assert {to_hex(ground.get_facecolor()) for ground in grounds if ground is not None} == {to_hex("white")}


def dark_lines(axes: Axes) -> list[Line2D]:
    return [line for line in axes.lines if any(on_white(colour) >= 3.0 for colour in _of_line(line))]


def dark_heights(axes: Axes) -> set[float]:
    """Heights at which a dark line runs, and the frame's."""
    heights = {round(float(y), 6) for line in dark_lines(axes) for y in np.asarray(line.get_ydata(), float)}
    return heights | {round(float(limit), 6) for limit in axes.get_ylim()}


def fills(axes: Axes) -> Iterator[np.ndarray]:
    """Corners of each area that is filled with a pale colour and has no edge or hatch of its own."""
    for item in axes.collections:
        if isinstance(item, PolyCollection) and any(colour in CARRY_NOTHING for colour in _of_collection(item)):
            yield from (np.asarray(path.vertices) for path in item.get_paths())
    for patch in axes.patches:
        if not patch.get_hatch() and any(colour in CARRY_NOTHING for colour in _of_patch(patch)):
            yield np.asarray(patch.get_path().transformed(patch.get_patch_transform()).vertices)


def test_every_pale_fill_has_a_dark_line_or_the_frame_along_it(figures: list[Figure]) -> None:
    count = 0
    for figure in figures:
        for axes in figure.axes:
            heights = dark_heights(axes)
            for corners in fills(axes):
                count += 1
                assert {round(float(y), 6) for y in corners[:, 1]} <= heights | {0.0}, axes.get_label()
    assert count > 20


def test_pale_bars_have_a_dark_edge_and_a_hatch(figures: list[Figure]) -> None:
    bars = [
        patch
        for figure in figures
        for axes in figure.axes
        for patch in axes.patches
        if patch.get_hatch() and seen(patch.get_facecolor())
    ]
    assert bars
    for bar in bars:
        assert on_white(bar.get_edgecolor()) >= 3.0 and bar.get_linewidth() > 0


# --- never by colour alone -------------------------------------------------------------------------------------


class Sign(NamedTuple):
    """How a kind of mark looks when its colour is taken away."""

    marker: str
    hollow: bool
    line: str
    hatch: str
    run: str


class Kind(NamedTuple):
    """A kind of mark with its colours as greys, lightest first."""

    name: str
    sign: Sign
    greys: tuple[float, ...]


def greys(colours: list[str]) -> tuple[float, ...]:
    return tuple(sorted({round(luminance(colour), 3) for colour in colours}))


def line_style(line: Line2D) -> str:
    """Dashes of a line, as shares of its width."""
    return str(line._unscaled_dash_pattern) if line.get_linewidth() > 0 else ""  # type: ignore[attr-defined]


def run_of(line: Line2D) -> str:
    """Whether a line runs upright, level, by steps, or as it likes."""
    x, y = np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)
    if line.get_drawstyle() != "default":
        return "steps"
    if len(x) == 2 and x[0] == x[1]:
        return "upright"
    return "level" if len(x) == 2 and y[0] == y[1] else "free"


def kinds(axes: Axes) -> dict[str, Kind]:
    """Kinds of mark of a panel by name, without their colour."""
    found = {}
    for line in axes.lines:
        name, colours = str(line.get_label()), _of_line(line)
        if name.startswith("_") or not colours:
            continue
        marked = str(line.get_marker()).lower() not in ("none", " ", "")
        hollow = marked and to_hex(line.get_markerfacecolor()) == to_hex("white")
        drawn = "" if str(line.get_linestyle()).lower() == "none" else line_style(line)
        marker = str(line.get_marker()) if marked else ""
        found[name] = Kind(name, Sign(marker, hollow, drawn, "", "" if marked else run_of(line)), greys(colours))
    for item in axes.containers:
        if isinstance(item, BarContainer) and item.patches:
            bar, name = item.patches[0], str(item.get_label())
            sign = Sign("", False, str(bar.get_linestyle()), str(bar.get_hatch() or ""), "bar")
            found[name] = Kind(name, sign, greys(_of_patch(bar)))
    for area in axes.collections:
        name = str(area.get_label())
        if not name.startswith("_") and _of_collection(area):
            sign = Sign("", False, "", str(area.get_hatch() or ""), "area")
            found[name] = Kind(name, sign, greys(_of_collection(area)))
    return found


@pytest.fixture(scope="module")
def everything() -> Figure:
    return full()


def test_the_full_chart_has_every_kind_of_mark(everything: Figure) -> None:
    named = set(kinds(panel(everything, "Petiole")))
    assert named >= {"below", "within", "above", "bound", "not used", "before correction", "void", "low edge"}
    assert named >= {"high edge", "advice", "review", "decision", "projected", "projected limit", "band"}
    assert set(kinds(everything.axes[-2])) >= {"planned", "applied", "assumed", "decided", "advised"}
    assert set(kinds(everything.axes[-1])) >= {"credits", "plan alone", "applied", "to come", "season cap"}


def test_no_two_kinds_of_mark_are_told_apart_by_colour_alone(figures: list[Figure], everything: Figure) -> None:
    """Of two kinds in different colours, shape, line, hatch or course differ as well."""
    same = set()
    for figure in (everything, *figures):
        for axes in figure.axes:
            for one, other in combinations(kinds(axes).values(), 2):
                if one.sign == other.sign and one.greys != other.greys:
                    same.add(frozenset((one.name, other.name)))
    assert same == set()


def test_sides_differ_in_shape(everything: Figure) -> None:
    found = kinds(panel(everything, "Petiole"))
    assert (
        len({found[name].sign.marker for name in ("below", "within", "above", "not used", "bound", "void")}) == 6
    )


def test_edges_differ_in_line_style_and_so_do_advice_and_review(everything: Figure) -> None:
    found = kinds(panel(everything, "Petiole"))
    for one, other in (("low edge", "high edge"), ("advice", "review"), ("projected", "projected limit")):
        assert found[one].sign.line != found[other].sign.line


def test_decided_and_advised_differ_in_line_style(everything: Figure) -> None:
    (decided,), (advised,) = (lines(everything.axes[-2], name) for name in ("decided", "advised"))
    assert line_style(decided) != line_style(advised)


def test_applied_assumed_and_planned_differ_in_hatch_or_line_style(everything: Figure) -> None:
    found = kinds(everything.axes[-2])
    signs = [found[name].sign[2:4] for name in ("applied", "assumed", "planned")]
    assert len(set(signs)) == 3


def test_totals_differ_in_line_style_or_course(everything: Figure) -> None:
    found = kinds(everything.axes[-1])
    names = ("plan alone", "applied", "to come", "season cap")
    assert len({found[name].sign for name in names}) == len(names)


def test_kinds_of_decision_differ_in_sign() -> None:
    assert set(look.SIGNS) == {"raise", "hold", "cut", "left"}
    assert len(set(look.SIGNS.values())) == 4
