"""The chart of one result across tables: what it draws. All figures are invented."""

from __future__ import annotations

import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fertadjust.across import Across
from fertadjust.across_chart import across_figure, across_svgs, interval
from fertadjust.chart_style import PAGE, PHONE, Paper, rendered
from fertadjust.tissue import Basis, Tissue
from tests.chart_support import collisions, shapes
from tests.test_table_choice import FLOWER, beside, stages

PLAIN = beside("watermelon", "1100", FLOWER)
FOUND = {
    "disagreeing": PLAIN,
    "by stage": beside("tomato", "640", stages()),
    "bound below": beside("watermelon", "<1100", FLOWER),
    "bound above": beside("watermelon", ">900", FLOWER),
    "one edge": beside("strawberry", "900", stages(), basis=Basis.DRY),
    "another nutrient": beside("watermelon", "4500", FLOWER, analyte="K"),
    "leaf": beside("tomato", "3.1", stages(), tissue=Tissue.LEAF, basis=Basis.DRY),
}


def panel(figure: Figure) -> Axes:
    return figure.axes[0]


def lines(figure: Figure, name: str) -> list[list[float]]:
    return [list(map(float, line.get_xdata())) for line in panel(figure).lines if line.get_label() == name]  # type: ignore[arg-type]


def edges(found: Across, which: str) -> list[float]:
    bands = [judged.band for item in found.verdicts for judged in item.places]
    return [edge for band in bands if (edge := getattr(band, which)) is not None]


@pytest.mark.parametrize("name", list(FOUND))
def test_each_band_stands_between_its_edges_and_the_result_across(name: str) -> None:
    found = FOUND[name]
    figure = across_figure(found)
    assert [xs[0] for xs in lines(figure, "low edge")] == edges(found, "low")
    assert [xs[0] for xs in lines(figure, "high edge")] == edges(found, "high")
    assert lines(figure, "result") == [[found.result.value] * 2]
    assert panel(figure).get_xscale() == "log"
    low, high = panel(figure).get_xlim()
    assert low < min(*edges(found, "low"), found.result.value)
    assert high > max(*edges(found, "low"), found.result.value)


def test_a_bar_without_an_edge_runs_to_the_rim() -> None:
    found = FOUND["one edge"]
    figure = across_figure(found)
    right = panel(figure).get_xlim()[1]
    open_ = [xs for xs in lines(figure, "rim") if xs[1] == right]
    bands = [judged.band for item in found.verdicts for judged in item.places]
    assert len(open_) == 2 * sum(band.high is None for band in bands) > 0


def test_the_interval_is_drawn_only_where_there_is_one() -> None:
    ends = interval(PLAIN)
    assert ends is not None
    assert ends[0] * ends[1] == pytest.approx(1100.0**2)
    assert [xs[0] for xs in lines(across_figure(PLAIN), "interval end")] == pytest.approx(list(ends))
    for name in ("bound below", "another nutrient"):
        assert interval(FOUND[name]) is None
        assert lines(across_figure(FOUND[name]), "interval end") == []


def test_the_key_explains_only_what_is_drawn() -> None:
    shown = {
        name: " ".join(item.words for item in shapes(across_figure(FOUND[name])))
        for name in ("disagreeing", "another nutrient", "bound below")
    }
    assert {name: "grey strip" in text for name, text in shown.items()} == {
        "disagreeing": True,
        "another nutrient": False,
        "bound below": False,
    }
    assert "a mark says where it lies" in shown["another nutrient"]
    assert "low (not sure)" in shown["disagreeing"]


def test_a_mark_says_where_the_result_lies() -> None:
    figure = across_figure(PLAIN)
    assert len(lines(figure, "below")) == 2
    assert len(lines(figure, "above")) == 1
    assert lines(across_figure(FOUND["bound below"]), "below") == []


@pytest.mark.parametrize("paper", [PAGE, PHONE], ids=["page", "phone"])
@pytest.mark.parametrize("name", list(FOUND))
def test_texts_fit_and_lie_apart(name: str, paper: Paper) -> None:
    figure = across_figure(FOUND[name], paper)
    texts = shapes(figure)
    wide, high = (float(side) * figure.dpi for side in figure.get_size_inches())
    for item in texts:
        assert item.box.x0 >= 0 and item.box.x1 <= wide, item.words
        assert item.box.y0 >= 0 and item.box.y1 <= high, item.words
    assert [item for item in collisions(texts) if item[0] > 0.05] == []
    shown = " ".join(item.words for item in texts)
    for verdict in FOUND[name].verdicts:
        assert verdict.table.id in shown.replace("- ", "-")


def test_the_figure_says_in_words_what_it_shows_and_comes_out_the_same() -> None:
    figure = across_figure(PLAIN)
    assert "high (not sure) in watermelon-petiole-sap-michigan" in str(figure.get_label())
    assert rendered(across_figure(PLAIN), ".svg") == rendered(across_figure(PLAIN), ".svg")


def test_nothing_is_drawn_without_a_band() -> None:
    assert across_svgs(beside("spinach", "500", stages())) == []
    assert len(across_svgs(PLAIN)) == 1
