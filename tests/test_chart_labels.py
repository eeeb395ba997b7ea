"""Labels kept out of each other's way: flags above a chart, names of line ends, texts folded to a width."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

from fertadjust.chart_labels import AROUND, Flag, Labels, Spot, day_flags, flag_rows, spread
from fertadjust.chart_style import PAGE, PHONE, SMALL, Paper, Span, chart_style, folded, plain_name
from tests.chart_support import renderer_of

# --- flags ---------------------------------------------------------------------------------------------------

Flags = list[tuple[float, float]]
"""Left edge and width of each flag [pixels]."""

flags_drawn = st.lists(st.tuples(st.integers(0, 500).map(float), st.floats(1, 200)), max_size=12)


def extents(flags: Flags) -> list[Bbox]:
    return [Bbox.from_extents(x, 0.0, x + width, 12.0) for x, width in flags]


@given(flags_drawn)
def test_no_flag_lies_on_another_of_its_row(flags: Flags) -> None:
    boxes = extents(flags)
    rows = flag_rows(boxes)
    for one, other in combinations(range(len(boxes)), 2):
        if rows[one] == rows[other]:
            left, right = sorted((boxes[one], boxes[other]), key=lambda box: box.x0)
            assert left.x1 < right.x0


@given(flags_drawn)
def test_no_pole_goes_through_a_flag(flags: Flags) -> None:
    """A pole stands at the left edge of its flag and passes every row from the foot up to the flag's own."""
    boxes = extents(flags)
    rows = flag_rows(boxes)
    for flag, row in zip(boxes, rows, strict=True):
        for other, height in zip(boxes, rows, strict=True):
            assert not (flag.x0 < other.x0 <= flag.x1 and row <= height)


@given(flags_drawn)
def test_rows_begin_at_the_foot_and_leave_none_out(flags: Flags) -> None:
    rows = flag_rows(extents(flags))
    assert len(rows) == len(flags)
    assert set(rows) == set(range(len(set(rows))))


@given(flags_drawn)
def test_the_order_in_which_flags_of_different_days_are_given_does_not_matter(flags: Flags) -> None:
    alone = [*{x: (x, width) for x, width in flags}.values()]
    mixed = alone[::-1]
    rows = dict(zip(alone, flag_rows(extents(alone)), strict=True))
    assert rows == dict(zip(mixed, flag_rows(extents(mixed)), strict=True))


def test_flags_far_apart_need_one_row() -> None:
    assert flag_rows(extents([(0, 50), (100, 50), (200, 50)])) == [0, 0, 0]
    assert flag_rows([]) == []


def test_an_earlier_flag_flies_over_the_pole_that_it_would_reach() -> None:
    assert flag_rows(extents([(0, 150), (100, 50), (200, 50)])) == [1, 0, 0]
    assert flag_rows(extents([(0, 250), (100, 150), (200, 50)])) == [2, 1, 0]


SPAN = Span(date(2026, 2, 23), date(2026, 5, 31))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 97), st.sampled_from(["hold", "raise 33 %", "advice 28 Mar"])), max_size=8),
    st.integers(8, 9),
)
def test_drawn_flags_lie_clear_of_each_other_and_of_every_pole(days: list[tuple[int, str]], most: int) -> None:
    with chart_style():
        figure = Figure(figsize=(8.0, 2.0), dpi=100)
        renderer = renderer_of(figure)
        axes = figure.add_axes((0.1, 0.1, 0.7, 0.8))
        named = [Flag(SPAN.start + timedelta(days=day), text, "-") for day, text in days]
        count = day_flags(axes, SPAN, named, most)
        assert axes.get_ylim() == (0, max(count, 1))
        place_in = 0.19 * max(count, 1) / 2.0
        axes.set_position((0.1, 0.1, 0.7, place_in))
        notes = [text for text in axes.texts if isinstance(text, Annotation)]
        boxes = [note.get_window_extent(renderer) for note in notes]
    assert [note.xy[0] for note in notes] == [flag.on.toordinal() for flag in named]
    for one, other in combinations(boxes, 2):
        assert not one.overlaps(other)
    for pole in axes.lines:
        (x, foot), (_, top) = axes.transData.transform(pole.get_xydata())
        assert not any(box.x0 < x < box.x1 and foot < box.y1 and box.y0 < top for box in boxes)


FLAGS = (
    ("hold", "■"),
    ("raise 33 %", "▲"),
    ("hold", "■"),
    ("advice 28 Mar", ""),
    ("hold", "■"),
    ("cut 12 %", "▼"),
    ("review 5 Apr", ""),
)
"""Words and signs, two days apart: none has room beside the next."""


def flown(flags: Sequence[tuple[str, str]], most: int) -> tuple[int, list[str], list[float]]:
    """Number of rows, words and rows of flags that are two days apart."""
    with chart_style():
        figure = Figure(figsize=(8.0, 2.0), dpi=100)
        axes = figure.add_axes((0.1, 0.1, 0.7, 0.8))
        days = [
            Flag(SPAN.start + timedelta(days=2 * index), text, "-", sign)
            for index, (text, sign) in enumerate(flags)
        ]
        count = day_flags(axes, SPAN, days, most)
        notes = [text for text in axes.texts if isinstance(text, Annotation)]
    return count, [note.get_text() for note in notes], [float(note.xy[1]) for note in notes]


def test_flags_keep_their_words_as_long_as_the_rows_suffice() -> None:
    count, texts, _ = flown(FLAGS, 9)
    assert texts == [text for text, _ in FLAGS]
    assert count > 4
    assert flown(FLAGS, count)[1] == texts


def test_where_rows_are_short_words_without_a_number_go_first() -> None:
    most = flown(FLAGS, 9)[0] - 1
    count, texts, _ = flown(FLAGS, most)
    assert texts == ["■", "raise 33 %", "■", "advice 28 Mar", "■", "cut 12 %", "review 5 Apr"]
    assert count <= most


def test_where_rows_are_shorter_still_every_sign_stands_for_its_words_and_days_keep_theirs() -> None:
    count, texts, _ = flown(FLAGS, 2)
    assert texts == ["■", "▲", "■", "advice 28 Mar", "■", "▼", "review 5 Apr"]
    assert count <= 2


@pytest.mark.parametrize("most", [1, 2, 3, 6])
def test_flags_never_take_more_rows_than_they_may(most: int) -> None:
    count, texts, heights = flown(FLAGS * 4, most)
    assert len(texts) == 4 * len(FLAGS)
    assert count <= most and max(heights) < most


# --- line ends -----------------------------------------------------------------------------------------------

ends = st.lists(st.tuples(st.floats(-500, 500), st.floats(0.5, 40)), max_size=8).map(
    lambda pairs: ([x for x, _ in sorted(pairs)], [half for _, half in sorted(pairs)])
)


@given(ends, st.floats(-500, 1000))
def test_labels_keep_their_order_and_do_not_touch(given_ends: tuple[list[float], list[float]], top: float) -> None:
    wanted, halves = given_ends
    middles = spread(wanted, halves, top)
    assert len(middles) == len(wanted)
    for (low, below), (high, above) in pairwise(zip(middles, halves, strict=True)):
        assert high - low >= below + above - 1e-9


@given(ends, st.floats(-500, 1000))
def test_no_label_reaches_above_the_top(given_ends: tuple[list[float], list[float]], top: float) -> None:
    wanted, halves = given_ends
    for middle, half in zip(spread(wanted, halves, top), halves, strict=True):
        assert middle + half <= top + 1e-9


@given(ends)
def test_labels_that_are_apart_stay_where_they_are(given_ends: tuple[list[float], list[float]]) -> None:
    wanted, halves = given_ends
    apart, floor = [], -math.inf
    for middle, half in zip(wanted, halves, strict=True):
        apart.append(max(middle, floor + 1.01 * half))
        floor = apart[-1] + half
    assert spread(apart, halves, 1e6) == apart


@given(ends)
def test_with_room_above_no_label_goes_below_what_is_wanted(given_ends: tuple[list[float], list[float]]) -> None:
    wanted, halves = given_ends
    assert all(middle >= want - 1e-9 for middle, want in zip(spread(wanted, halves, 1e6), wanted, strict=True))


def test_line_ends_are_written_in_the_margin_one_below_the_other() -> None:
    with chart_style():
        figure = Figure(figsize=(8.0, 3.0), dpi=100)
        labels = Labels(figure)
        axes = figure.add_axes((0.1, 0.1, 0.6, 0.8))
        axes.set_ylim(0, 100)
        labels.line_ends(
            axes,
            [(1.0, 50.0, "plan 50"), (0.4, 51.0, "as decided\n51"), (1.0, 49.0, "cap 49"), (0.7, 10.0, "ten")],
        )
        renderer = renderer_of(figure)
        notes = {text.get_text(): text for text in axes.texts if isinstance(text, Annotation)}
        for note in notes.values():
            note.update_positions(renderer)
        boxes = {text: super(Annotation, note).get_window_extent(renderer) for text, note in notes.items()}
    right = axes.get_window_extent().x1
    assert all(box.x0 >= right for box in boxes.values())
    pointed = {text: note.xy for text, note in notes.items()}
    assert pointed == {
        "plan 50": (1.0, 50.0), "as decided\n51": (0.4, 51.0), "cap 49": (1.0, 49.0), "ten": (0.7, 10.0)
    }  # fmt: skip
    assert all(note.arrow_patch is not None for note in notes.values())
    heights = [boxes[text] for text in ("ten", "cap 49", "plan 50", "as decided\n51")]
    assert all(low.y1 <= high.y0 + 1 for low, high in pairwise(heights))


# --- beside a point ------------------------------------------------------------------------------------------


def on_axes() -> tuple[Figure, Labels, Axes]:
    figure = Figure(figsize=(6.0, 4.0), dpi=100)
    labels = Labels(figure)
    axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
    axes.set_xlim(0, 100)
    axes.set_ylim(0, 100)
    return figure, labels, axes


def test_a_label_goes_to_the_right_where_that_is_free() -> None:
    _, labels, axes = on_axes()
    note = labels.beside(axes, 50, 50, "2,310")
    assert (*note.xyann, note.get_horizontalalignment(), note.get_verticalalignment()) == AROUND[0]


def test_a_second_label_of_the_same_point_goes_elsewhere() -> None:
    figure, labels, axes = on_axes()
    notes = [labels.beside(axes, 50, 50, "2,310") for _ in range(3)]
    renderer = renderer_of(figure)
    boxes = [note.get_window_extent(renderer) for note in notes]
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))


def test_a_label_keeps_off_lines_and_stays_inside() -> None:
    figure, labels, axes = on_axes()
    labels.keep_clear_line(axes, [50, 100], [50, 50])
    note = labels.beside(axes, 50, 50, "2,310")
    corner = labels.beside(axes, 2, 99, "a longer label")
    renderer = renderer_of(figure)
    line = axes.transData.transform((50, 50))[1]
    box, frame = note.get_window_extent(renderer), axes.get_window_extent()
    assert box.x1 < axes.transData.transform((50, 50))[0] or box.y0 > line or box.y1 < line
    edge = corner.get_window_extent(renderer)
    assert edge.x0 >= frame.x0 and edge.y1 <= frame.y1 + 1


@pytest.mark.parametrize("far", [1e6, -1e6])
def test_a_line_that_leaves_the_panel_is_followed_no_further(far: float) -> None:
    """Some 800 steps of five pixels go once around a panel of 480 by 320; the line itself is 3 million pixels."""
    _, labels, axes = on_axes()
    labels.keep_clear_line(axes, [0, 50, 100, 200], [50, far, 50, far])
    assert 20 < len(labels._taken) < 800


def test_a_line_that_leaves_the_panel_is_kept_clear_inside_it() -> None:
    figure, labels, axes = on_axes()
    labels.keep_clear_line(axes, [60, 60], [-1e6, 1e6])
    box = labels.beside(axes, 50, 50, "a label as long as this").get_window_extent(renderer_of(figure))
    assert box.x1 < axes.transData.transform((60, 50))[0]


def test_a_label_far_off_is_led_to() -> None:
    _, labels, axes = on_axes()
    far = Spot(14, 34, "left", "center")
    labels.beside(axes, 50, 50, "far", [far])
    labels.beside(axes, 50, 20, "near")
    notes = [text for text in axes.texts if isinstance(text, Annotation)]
    (line,) = [note for note in notes if note.arrow_patch is not None]
    assert (line.xy, line.get_text()) == ((50, 50), "")


# --- folded --------------------------------------------------------------------------------------------------

sentences = st.text(st.characters(codec="ascii", categories=["L", "N", "P", "Zs"]), max_size=200)


@given(sentences, st.floats(0.5, 8))
def test_folding_keeps_every_word_and_the_width(text: str, width: float) -> None:
    lines = folded(text, width).split("\n")
    most = max(4, int(width * 72 / (0.58 * SMALL)))
    assert all(len(line) <= most for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_narrow_width_still_takes_four_letters_a_line() -> None:
    assert folded("abcdefgh", 0.01) == "abcd\nefgh"


def test_a_no_break_space_holds() -> None:
    text = "decided: ▲\N{NO-BREAK SPACE}raise"
    assert folded(text, 1.0).split("\n") == ["decided:", "▲\N{NO-BREAK SPACE}raise"]


@pytest.mark.parametrize("paper", [PAGE, PHONE])
@pytest.mark.parametrize(
    "text",
    [
        "Petiole NO3-N 2,310 ppm (mean of 2) on 18 March: a bound that does not tell its side of the band",
        "Rule values that the season file sets: results_for_second_change, cross_check.low-leaf-high-rain",
        "Weekly rate (kg N/ha/week): outline planned, hatched applied, dotted not logged, thick dashes advised",
    ],
)
def test_folded_words_fit_the_width_that_they_were_folded_to(paper: Paper, text: str) -> None:
    width = paper.width_in - 0.4
    with chart_style():
        figure = Figure(dpi=100)
        renderer = renderer_of(figure)
        for size in (SMALL, 10.5):
            note = figure.text(0, 0, folded(text, width, size), fontsize=size)
            assert note.get_window_extent(renderer).width <= width * 100


@pytest.mark.parametrize("letter", ["W", "M", "@", "%", "—", "畑"])
def test_wide_letters_take_more_of_the_width(letter: str) -> None:
    """A line of them is shorter than one of usual letters by about as much as they are wider."""
    usual, wide = (len(folded(text * 60, 3.0).split("\n")[0]) for text in ("n", letter))
    assert 1.5 < usual / wide < 2.0


# --- names ---------------------------------------------------------------------------------------------------

UNSEEN = {
    "direction": "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069",
    "control": "".join(map(chr, range(0x20))),
    "control, upper": "".join(map(chr, range(0x7F, 0xA0))),
}
"""What sets the direction of writing (Unicode Standard Annex 9, 2.1 to 2.6), and general category Cc."""


@pytest.mark.parametrize("letters", UNSEEN)
def test_no_letter_of_a_name_controls_how_it_is_written(letters: str) -> None:
    kept = [letter for letter in UNSEEN[letters] if not plain_name(f"North{letter} field{letter}").isprintable()]
    assert [f"U+{ord(letter):04X}" for letter in kept] == []
    for letter in UNSEEN[letters]:
        assert plain_name(f"North{letter} field{letter}").replace(letter, "") == "North field"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("North\nfield", "North field"),
        ("  North \t\r\n field ", "North field"),
        ("North", "North"),
        ("A" * 60, "A" * 60),
        ("A" * 61, "A" * 59 + "…"),
        ("A" * 58 + "  BCD", "A" * 58 + "…"),
    ],
)
def test_a_name_stands_in_one_line_of_at_most_sixty_letters(name: str, shown: str) -> None:
    assert plain_name(name) == shown


def test_a_name_is_cut_to_what_there_is_room_for() -> None:
    assert plain_name("North field", 8) == "North f…"
