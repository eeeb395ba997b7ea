"""What the tests of the charts share: the sample season lived once, and what a figure shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox

from fertadjust.api import Season
from fertadjust.chart_labels import Labels
from fertadjust.chart_sheet import Sheet, Shown, make_sheet
from fertadjust.chart_style import PAGE, Paper
from fertadjust.demo import build, replay
from fertadjust.season import BlockSeason
from fertadjust.units import UnitSystem

NOTHING = Shown()


@cache
def _lived(folder: Path) -> Season:
    season = build(folder)
    list(replay(season))
    return season


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Season:
    """The sample season with all its records, built once for all modules. Not to be written to."""
    return _lived(tmp_path_factory.getbasetemp() / "sample-season")


def sheet_of(season: BlockSeason, on: date, shown: Shown = NOTHING, paper: Paper = PAGE) -> Sheet:
    """What a chart of a block is drawn from."""
    figure = Figure(figsize=(paper.width_in, paper.height_in), dpi=100)
    return make_sheet(season, on, UnitSystem.US, shown, paper, figure, Labels(figure))


def renderer_of(figure: Figure) -> RendererAgg:
    """What measures the texts of a figure."""
    renderer: RendererAgg = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    return renderer


class Shape(NamedTuple):
    """A text of a figure and the rectangle that its letters take [pixels]."""

    text: Text
    box: Bbox

    @property
    def words(self) -> str:
        return " ".join(self.text.get_text().split())


def shown_texts(figure: Figure) -> list[Text]:
    """Every text that is drawn: of the figure, its panels, their titles and their ticks."""
    found = list(figure.texts)
    for axes in figure.axes:
        found += [*axes.texts, axes.title, axes._left_title, axes._right_title]  # type: ignore[attr-defined]
        if axes.axison:
            found += [axes.xaxis.label, axes.yaxis.label, *_ticks(axes.xaxis), *_ticks(axes.yaxis)]
    return [text for text in found if text.get_visible() and text.get_text().strip()]


def _ticks(axis: Axis) -> Iterator[Text]:
    """Labels of the ticks that lie within the limits of an axis."""
    if not axis.get_visible():
        return
    axis.get_ticklabels()  # which brings the ticks up to date
    low, high = sorted(axis.get_view_interval())
    yield from (tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high)


def shapes(figure: Figure) -> list[Shape]:
    """The texts of a figure with their rectangles, without the lines that lead to them."""
    renderer = renderer_of(figure)
    texts = shown_texts(figure)
    for text in texts:
        if isinstance(text, Annotation):
            text.update_positions(renderer)
    return [Shape(text, Text.get_window_extent(text, renderer)) for text in texts]


def marks(axes: Axes) -> list[tuple[str, Bbox]]:
    """Kind and rectangle of each mark of a panel [pixels], without the caps of intervals."""
    found = []
    for line in axes.lines:
        marked = str(line.get_marker()).lower() not in ("none", " ", "") and line.get_visible()
        if marked and not str(line.get_label()).startswith("_"):
            half = line.get_markersize() / 2 * axes.figure.dpi / 72
            for x, y in axes.transData.transform(np.asarray(line.get_xydata(), float)):
                found.append((str(line.get_label()), Bbox.from_extents(x - half, y - half, x + half, y + half)))
    return found


def hidden(figure: Figure, texts: Sequence[Shape]) -> list[tuple[float, str, str]]:
    """Marks that lie under the white ground of a text, with the share that is hidden, the worst first."""
    found = []
    for axes in figure.axes:
        grounds = [item for item in texts if item.text.axes is axes and item.text.get_bbox_patch() is not None]
        for kind, mark in marks(axes):
            found += [(Bbox.intersection(mark, item.box), kind, item.words, mark) for item in grounds]
    shares = [
        (float(both.width * both.height / (mark.width * mark.height)), kind, words)
        for both, kind, words, mark in found
        if both is not None
    ]
    return sorted(shares, reverse=True)


def overlap(one: Bbox, other: Bbox) -> float:
    """Area that two rectangles share, as a share of the smaller one's."""
    both = Bbox.intersection(one, other)
    smaller = min(one.width * one.height, other.width * other.height)
    return 0.0 if both is None else float(both.width * both.height / smaller)


def collisions(texts: Sequence[Shape]) -> list[tuple[float, str, str]]:
    """Pairs of texts that lie on each other, with the share that is covered, the worst first."""
    found = [(overlap(one.box, other.box), one.words, other.words) for one, other in combinations(texts, 2)]
    return sorted((item for item in found if item[0] > 0), reverse=True)
