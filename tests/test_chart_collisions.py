"""Texts of the sample season's charts from before the plan to after it: apart, on the paper, large enough."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import product
from typing import NamedTuple

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from fertadjust.api import Season
from tests.chart_support import Shape, collisions, hidden, overlap, sample, shapes

__all__ = ["sample"]

FIRST, LAST = date(2026, 2, 26), date(2026, 5, 28)
STEP = timedelta(days=6)

PAGE_SHARE = 0.12
"""Most of a text's rectangle that another's may cover on a page: the air above and below the letters."""

PHONE_SHARE = 0.20
"""The same on a phone. On every third day of the sample season 0.18 is the most: two values may touch, and the
name of a line's end stands beside the last line of a title that is longer above."""


class Drawn(NamedTuple):
    """One chart and where its texts lie."""

    name: str
    phone: bool
    figure: Figure
    texts: list[Shape]


def charts(season: Season) -> Iterator[Drawn]:
    """Every block on every sixth day from before the plan to after it, each on its own days; papers in turn."""
    count = (LAST - FIRST) // STEP + 1
    for index, (number, block) in product(range(count), enumerate(season.blocks)):
        day = FIRST + STEP * index + timedelta(days=number)
        phone = (index + number) % 2 == 0
        figure = season.chart(block, day, phone=phone)
        yield Drawn(f"{block} {day} {'phone' if phone else 'page'}", phone, figure, shapes(figure))


@pytest.fixture(scope="module")
def drawn(sample: Season) -> list[Drawn]:
    return list(charts(sample))


def test_both_papers_are_looked_at_for_every_block(drawn: list[Drawn]) -> None:
    assert {(item.name.split()[0], item.phone) for item in drawn} == set(
        product(("creek", "hill", "lane"), (True, False))
    )
    assert min(len(item.texts) for item in drawn) > 15


def covered(drawn: list[Drawn], phone: bool, share: float) -> list[str]:
    """What lies on what, by chart."""
    return [
        f'{item.name}: "{one}" on "{other}" {part:.2f}'
        for item in drawn
        if item.phone is phone
        for part, one, other in collisions(item.texts)
        if part > share
    ]


def test_no_text_covers_another_on_a_page(drawn: list[Drawn]) -> None:
    assert covered(drawn, False, PAGE_SHARE) == []


def test_no_text_covers_another_on_a_phone(drawn: list[Drawn]) -> None:
    assert covered(drawn, True, PHONE_SHARE) == []


def test_the_trend_in_words_covers_no_other_label(sample: Season) -> None:
    """The last decision of the low block: the words stand beside the names of the band's edges."""
    figure = sample.chart("creek", date(2026, 5, 16))
    assert [item for item in collisions(shapes(figure)) if item[0] > PAGE_SHARE] == []


HIDDEN_SHARE = 0.20
"""Most of a mark's rectangle that the white ground of a label may hide."""


def marks_hidden(drawn: list[Drawn], phone: bool) -> list[str]:
    return [
        f'{item.name}: "{kind}" under "{words}" {share:.2f}'
        for item in drawn
        if item.phone is phone
        for share, kind, words in hidden(item.figure, item.texts)
        if share > HIDDEN_SHARE
    ]


def test_no_label_hides_a_mark_on_a_page(drawn: list[Drawn]) -> None:
    assert marks_hidden(drawn, False) == []


def test_no_label_hides_a_mark_on_a_phone(drawn: list[Drawn]) -> None:
    assert marks_hidden(drawn, True) == []


@pytest.mark.parametrize(
    ("block", "day"),
    [("creek", date(2026, 5, 16)), ("hill", date(2026, 5, 6)), ("lane", date(2026, 5, 14))],
)
def test_the_trend_in_words_does_not_hide_the_result_that_it_starts_from(
    sample: Season, block: str, day: date
) -> None:
    figure = sample.chart(block, day, phone=True)
    assert [item for item in hidden(figure, shapes(figure)) if item[0] > HIDDEN_SHARE] == []


def on_paper(item: Drawn, shape: Shape) -> bool:
    box, paper = shape.box, item.figure.bbox
    return bool(box.x0 >= 0 and box.y0 >= 0 and box.x1 <= paper.x1 and box.y1 <= paper.y1)


def test_every_text_lies_on_the_paper(drawn: list[Drawn]) -> None:
    outside = [
        f"{item.name}: {shape.words}" for item in drawn for shape in item.texts if not on_paper(item, shape)
    ]
    assert outside == []


def test_the_name_of_the_review_date_lies_on_a_phones_paper(sample: Season) -> None:
    """Late in the season the review date lies near the right edge."""
    figure = sample.chart("creek", date(2026, 5, 15), phone=True)
    (flag,) = [shape for shape in shapes(figure) if shape.words.startswith("review")]
    assert flag.box.x1 <= figure.bbox.x1


def test_every_text_is_large_enough_to_read(drawn: list[Drawn]) -> None:
    assert min(float(shape.text.get_fontsize()) for item in drawn for shape in item.texts) >= 9.0


def titles(figure: Figure) -> Iterator[Text]:
    for axes in figure.axes:
        yield from (text for text in (axes.title, axes._left_title) if text.get_text())  # type: ignore[attr-defined]


def test_no_title_runs_into_a_panel(drawn: list[Drawn]) -> None:
    into = []
    for item in drawn:
        headings = list(titles(item.figure))
        panels = [axes for axes in item.figure.axes if axes.get_label() != "days"]
        assert len(headings) == len(panels) >= 3
        boxes = [shape.box for shape in item.texts if any(shape.text is heading for heading in headings)]
        into += [item.name for box, axes in product(boxes, panels) if overlap(box, axes.get_window_extent()) > 0]
    assert into == []


def test_no_flag_lies_on_a_title_or_in_a_panel(drawn: list[Drawn]) -> None:
    for item in drawn:
        strip, first = item.figure.axes[:2]
        assert strip.get_label() == "days"
        (heading,) = [shape.box for shape in item.texts if shape.text is first._left_title]  # type: ignore[attr-defined]
        flags = [shape.box for shape in item.texts if shape.text.axes is strip]
        for flag in flags:
            assert first.get_window_extent().y1 <= flag.y0 and flag.y1 <= heading.y0, item.name
