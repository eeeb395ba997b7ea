"""Several blocks on one sheet: small charts on shared axes, and band position by week and block."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Annotation

from fertadjust.api import Season
from fertadjust.bands import BandTable
from fertadjust.chart_style import PAGE, PHONE, SIGNS, Mark, Paper, rendered
from fertadjust.charts import Shown
from fertadjust.evidence import Evidence
from fertadjust.farm_charts import blocks_figure, overview_figure
from fertadjust.season import BlockSeason
from fertadjust.stages import StageDates
from fertadjust.stored import Replaced
from fertadjust.tissue import Basis, Censor, Tissue, TissueResult
from fertadjust.units import UnitSystem
from tests.chart_support import collisions, hidden, overlap, sample, shapes
from tests.test_charts import (
    CALIFORNIA,
    LEAF,
    LEAF_N,
    LOW,
    PETIOLE,
    SAP,
    START,
    WITHIN,
    data,
    height_on,
    lines,
    points,
    result,
    season,
    table,
    words,
)

__all__ = ["sample"]

ON = date(2026, 4, 12)
STEADY = date(2026, 4, 10)
"""A day in weeks 5 to 8, whose band is 3,000 to 5,000 ppm (UGA-2021)."""


def block(key: str, results: Sequence[TissueResult] = (), name: str = "", **rest: Any) -> BlockSeason:
    """An invented block by its key, with results of its own."""
    one = season([replace(item, block=key) for item in results], **rest)
    return replace(one, block=replace(one.block, key=key, name=name or f"Block {key}"))


def sap_block(key: str = "sap", value: float = 380.0) -> BlockSeason:
    return block(key, [result(1, date(2026, 3, 9), value, basis=Basis.SAP)], tables=[SAP])


def at_place(place: float, record: int = 1, day: date = STEADY, censor: Censor = Censor.NONE) -> TissueResult:
    """A result at a position of the steady band."""
    return result(record, day, 3000.0 * (5000.0 / 3000.0) ** place, censor)


def panels(figure: Figure) -> dict[str, Axes]:
    return {str(axes.get_label()): axes for axes in figure.axes}


def title(axes: Axes) -> str:
    return axes.get_title(loc="left").replace("\n", " ")


def drawn(
    blocks: Sequence[BlockSeason], on: date = ON, paper: Paper = PAGE, shown: dict[str, Shown] | None = None
) -> Figure:
    return blocks_figure(blocks, on, UnitSystem.US, shown, paper)


# --- small charts ------------------------------------------------------------------------------------------------

MIXED = [
    block("a", [LOW]),
    sap_block(),
    block("b", [result(1, date(2026, 3, 9), 12_000.0)]),
    block("c", [], tables=[PETIOLE, LEAF]),
]


def test_every_block_has_a_panel_with_its_own_results() -> None:
    found = panels(drawn(MIXED))
    assert set(found) == {"a", "sap", "b", "c"}
    assert points(found["a"], "below") == [(LOW.sampled.toordinal(), 2310.0)]
    assert points(found["b"], "above") == [(date(2026, 3, 9).toordinal(), 12_000.0)]
    assert len(points(found["sap"], "below") + points(found["sap"], "within") + points(found["sap"], "above")) == 1
    assert not any(points(found["c"], side) for side in ("below", "within", "above"))


def test_panels_of_one_kind_share_their_axes() -> None:
    found = panels(drawn(MIXED))
    one = found["a"]
    for key in ("b", "c"):
        assert found[key].get_xlim() == one.get_xlim()
        assert found[key].get_ylim() == one.get_ylim()
        assert found[key].get_yscale() == one.get_yscale() == "log"
    assert one.get_ylim()[1] > 12_000.0
    assert one.get_ylim()[0] < 600.0


def test_another_kind_of_result_stands_apart_with_axes_of_its_own() -> None:
    figure = drawn(MIXED)
    found = panels(figure)
    headings = {text.get_text(): text.get_position()[1] for text in figure.texts}
    dry, sap = (
        headings[f"Petiole NO3-N, {kind}"] for kind in ("dry weight (ppm)", "fresh sap (mg/L), band recalled")
    )
    assert found["sap"].get_ylim() != found["a"].get_ylim()
    assert found["sap"].get_yscale() == "linear"
    assert found["sap"].get_position().y1 < sap < min(found[key].get_position().y0 for key in ("a", "b", "c"))
    assert max(found[key].get_position().y1 for key in ("a", "b", "c")) < dry


def test_kinds_come_in_the_order_in_which_blocks_first_have_them() -> None:
    found = panels(drawn([sap_block(), block("a", [LOW])]))
    assert found["sap"].get_position().y0 > found["a"].get_position().y1


def test_one_block_far_off_widens_the_axis_of_all() -> None:
    near = panels(drawn([block("a", [LOW]), block("b", [WITHIN])]))["a"].get_ylim()
    far = panels(drawn([block("a", [LOW]), block("b", [result(1, date(2026, 3, 24), 20_000.0)])]))["a"].get_ylim()
    assert far[1] > 20_000.0 > near[1]


def test_blocks_that_bloom_on_other_days_have_bands_of_their_own_on_one_date_axis() -> None:
    late = replace(block("b"), stages=StageDates({"first_bloom": date(2026, 3, 16)}, date(2026, 6, 15)))
    found = panels(drawn([block("a"), late]))
    day = date(2026, 3, 18)
    assert height_on(lines(found["a"], "low edge")[0], day) == 4000
    assert height_on(lines(found["b"], "low edge")[0], day) == 600
    assert found["a"].get_xlim() == found["b"].get_xlim()


def test_the_dates_hold_every_block() -> None:
    early = block("b", [result(1, date(2026, 1, 5), 900.0)])
    low, high = panels(drawn([block("a"), early]))["a"].get_xlim()
    assert low < date(2026, 1, 5).toordinal() and high > block("a").plan.end.toordinal()


def test_decisions_stand_with_their_sign_on_their_day() -> None:
    marks = [
        Mark(date(2026, 3, 13), "raise 33 %", "raise"),
        Mark(date(2026, 3, 27), "hold", "hold"),
        Mark(date(2026, 4, 10), "cut 12 %", "cut"),
        Mark(date(2025, 1, 1), "hold", "hold"),
    ]
    found = panels(drawn([block("a"), block("b")], shown={"a": Shown(marks)}))
    signs = [
        (text.get_text(), text.get_position()[0]) for text in found["a"].texts if text.get_text() in SIGNS.values()
    ]
    assert signs == [(SIGNS[str(mark.kind)], mark.on.toordinal()) for mark in marks[:3]]
    assert not [text for text in found["b"].texts if text.get_text() in SIGNS.values()]


def test_what_was_corrected_is_drawn_on_its_block() -> None:
    now = replace(LOW, block="a")
    before = Replaced(replace(now, value=23_100.0), now, "one zero too many")
    found = panels(drawn([block("a", [LOW]), block("b")], shown={"a": Shown(replaced=[before])}))
    assert points(found["a"], "before correction") == [(LOW.sampled.toordinal(), 23_100.0)]
    assert not points(found["b"], "before correction")
    assert found["b"].get_ylim()[1] > 23_100.0


def test_the_day_and_the_newest_value_are_drawn() -> None:
    found = panels(drawn([block("a", [LOW, WITHIN])]))
    assert data(lines(found["a"], "advice")[0])[0][0] == ON.toordinal()
    assert "3,650" in words(found["a"]) and "2,310" not in words(found["a"])
    assert not {"low edge", "high edge"} & set(words(found["a"]))


@pytest.mark.parametrize(
    ("results", "on", "text"),
    [
        ([LOW, WITHIN], date(2026, 3, 24), "3,650 ppm within, today"),
        ([LOW, WITHIN], date(2026, 3, 25), "3,650 ppm within, 1 day ago"),
        ([LOW], date(2026, 3, 12), "2,310 ppm below, 3 days ago"),
        ([result(1, date(2026, 3, 9), 900.0, Censor.BELOW)], date(2026, 3, 12), "<900 ppm below, 3 days ago"),
        (
            [result(1, date(2026, 3, 9), 900.0, Censor.ABOVE)],
            date(2026, 3, 12),
            ">900 ppm side not told, 3 days ago",
        ),
        ([], date(2026, 3, 12), "no result"),
        ([result(1, date(2026, 2, 24), 900.0)], date(2026, 3, 12), "no result"),
    ],
)
def test_a_title_tells_the_newest_reading_with_its_side_and_age(
    results: list[TissueResult], on: date, text: str
) -> None:
    figure = drawn([block("a", results)], on)
    assert title(panels(figure)["a"]) == f"Block a: {text}"
    assert f"Block a: {text}" in str(figure.get_label())


def test_a_title_tells_only_what_is_known() -> None:
    late = replace(WITHIN, received=ON + timedelta(days=1))
    assert title(panels(drawn([block("a", [LOW, late])]))["a"]).startswith("Block a: 2,310 ppm below")


def columns(figure: Figure) -> int:
    return len({round(axes.get_position().x0, 4) for axes in figure.axes})


def test_two_columns_on_a_page_and_one_on_a_phone() -> None:
    blocks = [block(key, [LOW]) for key in "abc"]
    assert columns(drawn(blocks)) == 2
    assert columns(drawn(blocks, paper=PHONE)) == 1
    assert drawn(blocks, paper=PHONE).get_size_inches()[0] == PHONE.width_in


def test_one_block_has_the_whole_width() -> None:
    one, two = drawn([block("a", [LOW])]), drawn([block("a", [LOW]), block("b", [LOW])])
    assert panels(one)["a"].get_position().width > 1.9 * panels(two)["a"].get_position().width
    assert "one block" in str(one.get_label())


def test_rows_stand_in_the_order_of_the_blocks() -> None:
    found = panels(drawn([block(key) for key in "abcd"]))
    places = {key: (round(-axes.get_position().y0, 4), axes.get_position().x0) for key, axes in found.items()}
    assert sorted(places, key=lambda key: places[key]) == ["a", "b", "c", "d"]


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_sheet_grows_with_its_blocks_and_panels_keep_their_size(paper: Paper) -> None:
    few, many = (drawn([block(f"b{index}") for index in range(count)], paper=paper) for count in (4, 8))
    (_, low), (_, high) = few.get_size_inches(), many.get_size_inches()
    rows = 4 if paper.small else 2
    panel_in = few.axes[0].get_position().height * low
    assert many.axes[0].get_position().height * high == pytest.approx(panel_in)
    assert high - low > rows * panel_in


def test_forty_blocks_stand_clear_of_each_other() -> None:
    blocks = [block(f"b{index}", [LOW] if index % 2 else []) for index in range(40)]
    figure = drawn(blocks)
    assert len(figure.axes) == 40
    boxes = [axes.get_window_extent() for axes in figure.axes]
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))
    assert all(box.y0 > 0 and box.y1 < figure.bbox.y1 and box.x1 < figure.bbox.x1 for box in boxes)
    texts = shapes(figure)
    headings = [shape.box for shape in texts if shape.words.startswith("Block b")]
    assert len(headings) == 40
    assert not any(overlap(heading, box) for heading in headings for box in boxes)
    assert not any(one.overlaps(other) for one, other in combinations(headings, 2))


def test_only_the_lowest_panels_have_dates_and_only_the_first_have_values() -> None:
    figure = drawn([block(key) for key in "abcd"])
    dated = {
        axes.get_label(): any(label.get_visible() for label in axes.get_xticklabels()) for axes in figure.axes
    }
    assert dated == {"a": False, "b": False, "c": True, "d": True}
    valued = {
        axes.get_label(): any(label.get_visible() for label in axes.get_yticklabels()) for axes in figure.axes
    }
    assert valued == {"a": True, "b": False, "c": True, "d": False}


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_long_name_is_cut_and_stays_over_its_panel(paper: Paper) -> None:
    name = "The long field behind the old packing shed on the north side of the river " * 3
    figure = drawn([block("a", [LOW], name=name), block("b", [LOW])], paper=paper)
    assert title(panels(figure)["a"]).endswith("…: 2,310 ppm below, 34 days ago")
    box = next(shape.box for shape in shapes(figure) if shape.words.startswith("The long"))
    assert box.x1 <= figure.bbox.x1
    assert overlap(box, panels(figure)["b"].get_window_extent()) == 0


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_sheet_of_the_sample_season_has_no_texts_on_each_other_or_on_a_mark(
    sample: Season, paper: Paper
) -> None:
    for on in (date(2026, 3, 21), date(2026, 4, 18), date(2026, 5, 16)):
        for figure in (sample.blocks_chart(on, phone=paper.small), sample.overview_chart(on, phone=paper.small)):
            texts = shapes(figure)
            assert [item for item in collisions(texts) if item[0] > 0.12] == []
            assert [item for item in hidden(figure, texts) if item[0] > 0.20] == []
            for shape in texts:
                assert shape.box.x0 >= 0 and shape.box.y0 >= 0, shape.words
                assert shape.box.x1 <= figure.bbox.x1 and shape.box.y1 <= figure.bbox.y1, shape.words
                assert float(shape.text.get_fontsize()) >= 9.0


def test_a_key_tells_what_the_marks_mean() -> None:
    text = " ".join(text.get_text() for text in drawn([block("a")]).texts).replace("\N{NO-BREAK SPACE}", " ")
    for part in ("the high one dashed", "95 % interval", "before a correction, or void", "dash-dotted the review"):
        assert part in text
    assert "Hollow crosses: not used." in text
    for kind, sign in SIGNS.items():
        assert f"{sign} {kind}" in text


def headings(blocks: Sequence[BlockSeason], paper: Paper = PAGE) -> list[str]:
    return [
        shape.words for shape in shapes(drawn(blocks, paper=paper)) if shape.words.startswith("Petiole NO3-N,")
    ]


def recalled(one: BandTable) -> BandTable:
    """A table as if it had been written from memory."""
    rows = [row.model_copy(update={"evidence": Evidence.RECALLED}) for row in one.rows]
    return BandTable.model_validate(
        one.as_data()
        | {"rows": [row.model_dump(mode="json", exclude_none=True) | {"confidence": "high"} for row in rows]}
    )


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_group_says_for_which_blocks_the_band_is_recalled(paper: Paper) -> None:
    """Florida's sap table is recalled, that of the US Southeast is published."""
    assert headings([sap_block()], paper) == ["Petiole NO3-N, fresh sap (mg/L), band recalled"]
    assert headings([block("a", [LOW])], paper) == ["Petiole NO3-N, dry weight (ppm)"]
    mixed = replace(block("b"), tables=(recalled(table(PETIOLE)),))
    assert headings([block("a"), mixed], paper) == [
        "Petiole NO3-N, dry weight (ppm), band recalled for some blocks"
    ]
    text = str(drawn([block("a", [LOW]), mixed], paper=paper).get_label())
    assert "Block a: 2,310 ppm below, 34 days ago; Block b: no result, band recalled." in text


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_heading_with_its_mark_touches_nothing(paper: Paper) -> None:
    mixed = replace(block("b", [LOW]), tables=(recalled(table(PETIOLE)),))
    figure = drawn([block("a", [LOW]), mixed], paper=paper)
    texts = shapes(figure)
    assert [item for item in collisions(texts) if item[0] > 0] == []
    (box,) = [shape.box for shape in texts if shape.words.startswith("Petiole NO3-N,")]
    assert box.x1 <= figure.bbox.x1
    assert not any(overlap(box, axes.get_window_extent()) for axes in figure.axes)


# --- overview ----------------------------------------------------------------------------------------------------


def overview(blocks: Sequence[BlockSeason], on: date = ON, paper: Paper = PAGE) -> Axes:
    (axes,) = overview_figure(blocks, on, paper).axes
    return axes


def marks(axes: Axes) -> list[tuple[str, str, float, float]]:
    """Side, shape, day and height of each mark."""
    found = []
    for line in axes.lines:
        if line.get_label() in ("below", "within", "above", "bound"):
            x, y = data(line)
            found.append((str(line.get_label()), str(line.get_marker()), float(x[0]), float(y[0])))
    return found


def edges(axes: Axes) -> list[tuple[float, float]]:
    """Heights of the low and the high edge of each row."""
    low, high = ([float(data(line)[1][0]) for line in lines(axes, name)] for name in ("low edge", "high edge"))
    return list(zip(low, high, strict=True))


def names(axes: Axes) -> list[str]:
    """Names of the rows from the top."""
    notes = [text for text in axes.texts if isinstance(text, Annotation) and text.get_fontweight() == "bold"]
    return [note.get_text() for note in sorted(notes, key=lambda note: note.xy[1])]


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_rows_stand_in_the_given_order(paper: Paper) -> None:
    axes = overview([block(key) for key in "cabd"], paper=paper)
    assert names(axes) == ["Block c", "Block a", "Block b", "Block d"]
    assert axes.get_ylim() == (4, 0)
    for index, (low, high) in enumerate(edges(axes)):
        assert index < high < low < index + 1


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_heights_follow_the_position_in_the_band(paper: Paper) -> None:
    places = (-0.9, -0.4, 0.0, 0.3, 0.5, 1.0, 1.4, 1.9)
    axes = overview([block(f"b{index}", [at_place(place)]) for index, place in enumerate(places)], paper=paper)
    heights = [y - index for index, (_, _, _, y) in enumerate(marks(axes))]
    assert all(low > high for low, high in pairwise(heights))
    (low, high) = edges(axes)[0]
    assert heights[places.index(0.0)] == pytest.approx(low)
    assert heights[places.index(1.0)] == pytest.approx(high)
    assert heights[places.index(0.5)] == pytest.approx((low + high) / 2)
    assert np.diff(heights)[0] / np.diff(places)[0] == pytest.approx(high - low)


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_what_lies_far_off_stands_at_the_rim(paper: Paper) -> None:
    places = (-1.0, -1.2, -3.0, 2.0, 2.5, 4.0)
    axes = overview([block(f"b{index}", [at_place(place)]) for index, place in enumerate(places)], paper=paper)
    heights = [y - index for index, (_, _, _, y) in enumerate(marks(axes))]
    assert heights[:3] == pytest.approx([heights[0]] * 3)
    assert heights[3:] == pytest.approx([heights[3]] * 3)
    assert 0 < heights[3] < heights[0] < 1


def test_shape_tells_the_side_and_the_place_the_day() -> None:
    days = [date(2026, 4, 2), date(2026, 4, 6), STEADY]
    results = [
        at_place(place, number, day)
        for number, (place, day) in enumerate(zip((-0.5, 0.5, 1.5), days, strict=True))
    ]
    found = marks(overview([block("a", results)]))
    assert [(side, shape, x) for side, shape, x, _ in found] == [
        ("below", "v", days[0].toordinal()),
        ("within", "o", days[1].toordinal()),
        ("above", "^", days[2].toordinal()),
    ]


def test_a_value_on_an_edge_is_within() -> None:
    found = marks(overview([block("a", [at_place(0.0)]), block("b", [at_place(1.0)])]))
    assert [side for side, *_ in found] == ["within", "within"]


@pytest.mark.parametrize(
    ("place", "censor", "lies"),
    [(-0.5, Censor.BELOW, "below"), (1.5, Censor.ABOVE, "above"), (0.4, Censor.BELOW, "not told")],
)
def test_a_bound_is_a_bar_with_an_arrow_on_its_side(place: float, censor: Censor, lies: str) -> None:
    axes = overview([block("a", [at_place(place, censor=censor)])])
    ((kind, _, _, y),) = marks(axes)
    ((low, high),) = edges(axes)
    assert kind == "bound"
    assert {"below": y > low, "above": y < high, "not told": high < y < low}[lies]
    (arrow,) = [text for text in axes.texts if isinstance(text, Annotation) and text.arrow_patch is not None]
    assert (arrow.xyann[1] < 0) is (censor is Censor.BELOW)


def test_a_band_with_one_edge_gives_a_side_without_a_place() -> None:
    stages = StageDates({"pre_harvest": START, "main_harvest": date(2026, 5, 1)}, date(2026, 6, 1))
    day = date(2026, 3, 9)
    blocks = [
        replace(block(key, [result(1, day, value)], tables=[CALIFORNIA]), stages=stages)
        for key, value in (("a", 450.0), ("b", 100.0), ("c", 1500.0), ("d", 9000.0))
    ]
    axes = overview(blocks)
    found = [(side, y - index) for index, (side, _, _, y) in enumerate(marks(axes))]
    ((low, high), *_) = edges(axes)
    assert [side for side, _ in found] == ["below", "below", "within", "within"]
    assert found[0][1] == pytest.approx(found[1][1]) and found[0][1] > low
    assert found[2][1] == pytest.approx(found[3][1]) and high < found[2][1] < low


def test_only_the_leading_kind_of_a_block_is_drawn() -> None:
    both = block("a", [LOW, LEAF_N], tables=[PETIOLE, LEAF])
    assert [x for _, _, x, _ in marks(overview([both]))] == [LOW.sampled.toordinal()]
    (mark,) = marks(overview([sap_block()]))
    assert mark[2] == date(2026, 3, 9).toordinal()


def test_a_row_says_its_newest_reading() -> None:
    axes = overview([block("a", [LOW, WITHIN]), block("b")], date(2026, 3, 25))
    assert {"3,650 ppm within\n1 day ago", "no result yet"} <= set(words(axes))
    small = overview([block("a", [LOW, WITHIN]), block("b")], date(2026, 3, 25), PHONE)
    assert {"3,650 ppm within, 1 day ago", "no result yet"} <= set(words(small))


def test_what_is_known_later_is_left_out() -> None:
    axes = overview([block("a", [LOW, replace(WITHIN, received=ON + timedelta(days=1))])])
    assert [x for _, _, x, _ in marks(axes)] == [LOW.sampled.toordinal()]


def test_blocks_without_any_reading_have_their_rows() -> None:
    axes = overview([block("a"), block("b")])
    assert marks(axes) == []
    assert names(axes) == ["Block a", "Block b"]


def test_the_day_is_drawn_where_it_lies_on_the_axis() -> None:
    assert data(lines(overview([block("a")]), "day")[0])[0][0] == ON.toordinal()
    for far in (date(2025, 12, 1), date(2026, 12, 1)):
        assert not lines(overview([block("a", [LOW])], far), "day")


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_long_name_is_cut_and_reaches_nothing(paper: Paper) -> None:
    name = "The long field behind the old packing shed on the north side of the river " * 3
    figure = overview_figure([block("a", [LOW], name=name), block("b", [LOW])], ON, paper)
    texts = shapes(figure)
    (named,) = [shape for shape in texts if shape.words.startswith("The long")]
    assert named.words.endswith("…")
    assert named.box.x0 >= 0
    assert [item for item in collisions(texts) if item[0] > 0.12] == []
    assert f"{name[:59].rstrip()}…: 2,310 ppm below, 34 days ago" in str(figure.get_label())


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_the_overview_grows_by_its_rows(paper: Paper) -> None:
    heights = [overview_figure([block("a")] * count, ON, paper).get_size_inches()[1] for count in (1, 2, 40)]
    row = heights[1] - heights[0]
    assert row > 0.4
    assert heights[2] - heights[0] == pytest.approx(39 * row)


def test_alt_texts_name_every_block_and_its_newest_reading() -> None:
    blocks = [block("a", [LOW]), block("b", [WITHIN]), block("c")]
    small = str(drawn(blocks).get_label())
    assert small.startswith("Results beside their band for 3 blocks as known on 12")
    rows = str(overview_figure(blocks, ON).get_label())
    assert rows.startswith("Where 3 blocks lay in their band week by week, as known on 12")
    for text in (small, rows):
        assert "Block a: 2,310 ppm below, 34 days ago" in text
        assert "Block b: 3,650 ppm within, 19 days ago" in text
        assert "Block c: no result" in text


def strips(axes: Axes) -> list[tuple[float, float]]:
    """First and last day of each piece of a strip."""
    found = []
    for low, high in zip(lines(axes, "low edge"), lines(axes, "high edge"), strict=True):
        start, end = data(low)[0]
        assert list(data(low)[0]) == list(data(high)[0])
        found.append((start + 0.5, end - 0.5))
    return found


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_strip_stands_on_the_days_that_have_a_band(paper: Paper) -> None:
    """Thompson Seedless has a band for the 14 days from full bloom (its table's last_days)."""
    bloom = date(2026, 3, 16)
    stages = StageDates({"full_bloom": bloom}, date(2026, 6, 15))
    grape = replace(block("a", tables=["grape-thompson-seedless-petiole-dry-california"]), stages=stages)
    axes = overview([grape], paper=paper)
    assert strips(axes) == [(bloom.toordinal(), bloom.toordinal() + 13)]
    (shaded,) = axes.collections
    box = shaded.get_paths()[0].get_extents()
    assert (box.x0 + 0.5, box.x1 - 0.5) == strips(axes)[0]


def test_a_strip_has_a_gap_where_the_table_has_none() -> None:
    """The weeks of the row that holds week 4 are taken out of the table."""
    whole = table(PETIOLE)
    rows = [row for row in whole.rows if row.weeks is None or 4 not in range(row.weeks[0], row.weeks[1] + 1)]
    holed = whole.model_copy(update={"rows": tuple(rows)})
    assert len(strips(overview([replace(block("a"), tables=(holed,))]))) == 2
    assert len(strips(overview([block("a")]))) == 1


def test_a_block_without_a_table_has_no_strip() -> None:
    assert strips(overview([block("a", tables=[])])) == []


def test_a_row_says_that_its_band_is_recalled() -> None:
    blocks = [sap_block(), block("a", [LOW])]
    page = words(overview(blocks))
    assert "380 mg/L within\n34 days ago\nband recalled" in page
    assert "2,310 ppm below\n34 days ago" in page
    assert names(overview(blocks, paper=PHONE)) == ["Block sap, band recalled", "Block a"]
    text = str(overview_figure(blocks, ON).get_label())
    assert "Block sap: 380 mg/L within, 34 days ago, band recalled; Block a: 2,310 ppm below, 34 days ago." in text


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_the_mark_of_a_long_name_touches_nothing(paper: Paper) -> None:
    name = "The long field behind the old packing shed on the north side of the river " * 3
    bound = result(1, date(2026, 3, 9), 10_000.0, Censor.ABOVE, basis=Basis.SAP)
    blocks = [block(key, [bound], name=name, tables=[SAP]) for key in "ab"]
    figure = overview_figure(blocks, date(2026, 6, 12), paper)
    texts = shapes(figure)
    assert [item for item in collisions(texts) if item[0] > 0.12] == []
    for shape in texts:
        assert shape.box.x0 >= 0 and shape.box.x1 <= figure.bbox.x1, shape.words


# --- files -------------------------------------------------------------------------------------------------------


def both_sheets() -> list[Figure]:
    now = replace(LOW, block="a")
    before = Replaced(replace(now, value=23_100.0), now, "one zero too many")
    marked = Shown([Mark(date(2026, 3, 13), "raise 33 %", "raise")], [before])
    blocks = [block("a", [LOW, WITHIN], name="A & B <1> $x$"), sap_block()]
    return [drawn(blocks, shown={"a": marked}), overview_figure(blocks, ON)]


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_the_same_blocks_give_the_same_bytes_whatever_the_clock_says(
    suffix: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = [rendered(figure, suffix) for figure in both_sheets()]
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    monkeypatch.setattr("time.time", lambda: 2_000_000_000.0)
    figures = both_sheets()
    assert [rendered(figure, suffix) for figure in figures] == first
    assert [rendered(figure, suffix) for figure in figures] == first


@pytest.mark.parametrize("make", [lambda blocks: drawn(blocks), lambda blocks: overview_figure(blocks, ON)])
def test_a_name_is_taken_as_it_is_written(make: Callable[[list[BlockSeason]], Figure]) -> None:
    figure = make([block("a", [LOW], name="A_1 & B <i> $x$")])
    svg = rendered(figure, ".svg").decode()
    assert "A_1 &amp; B &lt;i&gt; $x$" in svg


@pytest.mark.parametrize("on", [date(2025, 12, 1), START, ON, date(2026, 12, 1)])
@pytest.mark.parametrize("tables", [(), (PETIOLE,), (CALIFORNIA,)])
def test_blocks_without_results_draw_on_any_day(tables: tuple[str, ...], on: date) -> None:
    blocks = [block("a", tables=tables, cap=None), block("b", tables=tables)]
    assert rendered(drawn(blocks, on, PHONE), ".png")
    assert rendered(overview_figure(blocks, on), ".svg")


# --- what leads, what is named, and the dates -------------------------------------------------------------------

LEAF_LOW = result(5, date(2026, 4, 8), 2.0, tissue=Tissue.LEAF)


def test_a_block_on_which_only_the_leaf_decides_is_led_by_it() -> None:
    leaf = block("l", [LEAF_LOW], tables=[PETIOLE, LEAF])
    figure = drawn([block("a", [LOW]), leaf])
    found = panels(figure)
    assert points(found["l"], "below") == [(LEAF_LOW.sampled.toordinal(), 2.0)]
    assert title(found["l"]) == "Block l: 2.00\N{NO-BREAK SPACE}% below, 4 days ago"
    assert found["l"].get_position().y1 < found["a"].get_position().y0
    assert [x for _, _, x, _ in marks(overview([leaf]))] == [LEAF_LOW.sampled.toordinal()]
    assert "2.00 % below\n4 days ago" in words(overview([leaf]))


@pytest.mark.parametrize("paper", [PAGE, PHONE])
@pytest.mark.parametrize("letters", [9, 25, 40, 61, 200])
def test_a_small_chart_cuts_the_name_and_never_the_value_and_its_age(letters: int, paper: Paper) -> None:
    name = ("The long field behind the old packing shed " * 5)[:letters].strip()
    bound = result(1, date(2026, 3, 9), 12_000.0, Censor.ABOVE)
    figure = drawn([block("a", [bound], name=name), block("b", [LOW])], paper=paper)
    shown = title(panels(figure)["a"])
    assert shown.endswith(": >12,000 ppm above, 34 days ago")
    kept = shown.rpartition(": >")[0]
    assert kept == name or (kept.endswith("…") and name.startswith(kept[:-1]))
    assert len(kept) >= min(8, len(name))
    (box,) = [shape.box for shape in shapes(figure) if shape.words == shown]
    assert box.x1 <= figure.bbox.x1
    assert not any(overlap(box, axes.get_window_extent()) for axes in figure.axes)


@pytest.mark.parametrize("make", [lambda blocks: drawn(blocks), lambda blocks: overview_figure(blocks, ON)])
def test_a_name_in_two_lines_stands_in_one_without_what_turns_it(
    make: Callable[[list[BlockSeason]], Figure],
) -> None:
    figure = make([block("a", [LOW], name="North\n\u202eblock\x07")])
    assert "North block: 2,310 ppm below" in str(figure.get_label())
    assert not set("\u202e\x07") & set(rendered(figure, ".svg").decode())
    assert any(shape.words.startswith("North block") for shape in shapes(figure))


def ticks(axes: Axes) -> list[int]:
    return sorted(int(tick) for tick in (*axes.get_xticks(), *axes.get_xticks(minor=True)))


def test_ticks_go_over_the_whole_axis_in_step_with_the_plan() -> None:
    early = block("b", [result(1, date(2026, 1, 7), 900.0)])
    for axes in (panels(drawn([block("a"), early]))["b"], overview([block("a", [LOW]), block("b")])):
        low, high = axes.get_xlim()
        step = [day for day in range(int(low), int(high) + 1) if (day - START.toordinal()) % 7 == 0]
        assert ticks(axes) == step


def test_a_small_chart_holds_the_day_after_the_plan_and_decisions_to_leave() -> None:
    on = block("a").plan.end + timedelta(days=30)
    marked = Shown([Mark(on - timedelta(days=2), "left", "left")])
    axes = panels(drawn([block("a", [LOW])], on, shown={"a": marked}))["a"]
    assert axes.get_xlim()[1] > on.toordinal()
    assert data(lines(axes, "advice")[0])[0][0] == on.toordinal()
    assert SIGNS["left"] in words(axes)


def test_what_was_moved_to_a_block_is_drawn_on_neither_as_its_own() -> None:
    there = replace(LOW, block="b")
    moved = Replaced(replace(LOW, block="a"), there, "wrong block")
    shown = {"a": Shown(replaced=[moved]), "b": Shown(replaced=[moved])}
    found = panels(drawn([block("a"), block("b", [LOW])], shown=shown))
    assert points(found["a"], "before correction") == [(LOW.sampled.toordinal(), 2310.0)]
    assert not points(found["b"], "before correction")
    assert points(found["b"], "below") == [(LOW.sampled.toordinal(), 2310.0)]
