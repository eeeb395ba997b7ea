"""Results as they stood before a correction or a void: which ones, what stands for them, and as of which day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fertadjust.api import Season
from fertadjust.chart_sheet import Shown
from fertadjust.chart_style import Mark
from fertadjust.demo import build
from fertadjust.outputs import shown
from fertadjust.record import Kind, Record
from fertadjust.stored import Replaced, replaced_results, result_content
from fertadjust.tissue import Basis, Censor, Tissue
from tests.chart_support import sheet_of
from tests.support import day_in, result
from tests.support import season as season_of

WRITTEN = "2026-04-01T12:00:00+00:00"
LATE = date(2026, 12, 31)
"""A day on which every result is known."""


class Book:
    """Records written one after another. All values are invented."""

    def __init__(self) -> None:
        self.records: list[Record] = []

    def write(
        self, content: dict[str, Any] | None, replaces: int | None = None, reason: str = "", block: str = "north"
    ) -> int:
        number = len(self.records) + 1
        day = "2026-04-01" if content is None else content["sampled"]
        self.records.append(
            Record(number, Kind.RESULT, block, day, WRITTEN, "ann", "program", replaces, reason, content)
        )
        return number

    def found(self, block: str = "north", on: date = LATE) -> tuple[Replaced, ...]:
        return replaced_results(self.records, block, on)


def content(value: float = 2310.0, **changes: Any) -> dict[str, Any]:
    return result_content(result(value)) | changes


@pytest.fixture
def book() -> Book:
    return Book()


def pairs(found: tuple[Replaced, ...]) -> list[tuple[float, float | None, str]]:
    return [(item.result.value, None if item.now is None else item.now.value, item.reason) for item in found]


def test_nothing_was_corrected(book: Book) -> None:
    assert book.found() == ()
    book.write(content())
    assert book.found() == ()


def test_a_correction(book: Book) -> None:
    first = book.write(content(23_100.0))
    second = book.write(content(2310.0), first, "one zero too many")
    (found,) = book.found()
    assert pairs((found,)) == [(23_100.0, 2310.0, "one zero too many")]
    assert found.now is not None
    assert (found.result.record, found.now.record) == (first, second)


def test_a_correction_of_a_correction_points_at_what_stands_now(book: Book) -> None:
    first = book.write(content(23_100.0))
    second = book.write(content(231.0), first, "one zero too many")
    book.write(content(2310.0), second, "one too few")
    assert pairs(book.found()) == [(23_100.0, 2310.0, "one zero too many"), (231.0, 2310.0, "one too few")]


def test_a_value_that_was_put_back_stands_as_it_did(book: Book) -> None:
    first = book.write(content(2310.0))
    second = book.write(content(2130.0), first, "misread")
    book.write(content(2310.0), second, "it was right")
    assert pairs(book.found()) == [(2130.0, 2310.0, "it was right")]


def test_a_void(book: Book) -> None:
    first = book.write(content())
    book.write(None, first, "the other field")
    assert pairs(book.found()) == [(2310.0, None, "the other field")]


def test_a_void_after_a_correction_leaves_nothing_of_either(book: Book) -> None:
    first = book.write(content(23_100.0))
    second = book.write(content(2310.0), first, "one zero too many")
    book.write(None, second, "the other field")
    assert pairs(book.found()) == [(23_100.0, None, "one zero too many"), (2310.0, None, "the other field")]


def test_others_are_not_touched(book: Book) -> None:
    book.write(content(5000.0))
    first = book.write(content(23_100.0))
    book.write(content(6000.0), block="south")
    book.write(content(2310.0), first, "one zero too many")
    assert pairs(book.found()) == [(23_100.0, 2310.0, "one zero too many")]
    assert book.found("south") == ()


def test_a_correction_of_another_block(book: Book) -> None:
    first = book.write(content(23_100.0), block="south")
    book.write(content(2310.0), first, "one zero too many", block="south")
    assert book.found("north") == ()
    assert pairs(book.found("south")) == [(23_100.0, 2310.0, "one zero too many")]


@pytest.mark.parametrize("block", ["north", "south"])
def test_a_result_moved_to_another_block_is_found_for_both(book: Book, block: str) -> None:
    first = book.write(content())
    book.write(content(), first, "wrong block", block="south")
    (found,) = book.found(block)
    assert found.now is not None
    assert (found.result.block, found.now.block) == ("north", "south")
    assert book.found("west") == ()


def test_a_result_moved_on_is_found_where_it_was_and_where_it_is(book: Book) -> None:
    first = book.write(content())
    second = book.write(content(), first, "wrong block", block="south")
    book.write(content(), second, "wrong again", block="west")
    moves = {
        block: [(item.result.block, item.now and item.now.block) for item in book.found(block)]
        for block in ("north", "south", "west")
    }
    assert moves == {
        "north": [("north", "west")],
        "south": [("south", "west")],
        "west": [("north", "west"), ("south", "west")],
    }


def test_a_result_moved_there_and_back_was_in_the_other_block_for_a_while(book: Book) -> None:
    first = book.write(content())
    second = book.write(content(), first, "wrong block", block="south")
    book.write(content(), second, "it was right", block="north")
    for block in ("north", "south"):
        (found,) = book.found(block)
        assert found.now is not None
        assert (found.result.block, found.now.block) == ("south", "north")


def test_of_a_result_moved_to_a_block_its_chart_draws_nothing(book: Book) -> None:
    first = book.write(content())
    book.write(content(), first, "wrong block", block="south")
    one = season_of()
    other = replace(one, block=replace(one.block, key="south"))
    assert len(sheet_of(one, day_in(8), Shown(replaced=book.found("north"))).replaced) == 1
    assert sheet_of(other, day_in(8), Shown(replaced=book.found("south"))).replaced == ()


# --- known on a day ------------------------------------------------------------------------------------------

KNOWN = result(2310.0).known_on


def test_what_was_not_known_is_left_out(book: Book) -> None:
    first = book.write(content(23_100.0))
    book.write(content(2310.0), first, "one zero too many")
    assert book.found(on=KNOWN - timedelta(days=1)) == ()
    assert pairs(book.found(on=KNOWN)) == [(23_100.0, 2310.0, "one zero too many")]


def later(days: int, **changes: Any) -> dict[str, Any]:
    return content(received=(KNOWN + timedelta(days=days)).isoformat(), **changes)


@pytest.mark.parametrize("value", [2310.0, 3210.0])
def test_until_the_new_result_is_known_the_old_one_is_withdrawn_and_nothing_stands_for_it(
    book: Book, value: float
) -> None:
    first = book.write(content())
    book.write(later(9, value=value), first, "sent again")
    for on in (KNOWN, KNOWN + timedelta(days=8)):
        (found,) = book.found(on=on)
        assert (found.result.value, found.now, found.reason, found.pending) == (2310.0, None, "sent again", True)
    after = book.found(on=KNOWN + timedelta(days=9))
    assert pairs(after) == ([] if value == 2310.0 else [(2310.0, value, "sent again")])
    assert not any(item.pending for item in after)


def test_a_void_is_not_withdrawn_for_a_while(book: Book) -> None:
    book.write(None, book.write(content()), "the other field")
    assert [item.pending for item in book.found(on=KNOWN)] == [False]


def test_a_result_that_is_moved_and_not_known_yet_is_withdrawn_from_its_block(book: Book) -> None:
    first = book.write(content())
    book.write(later(9), first, "wrong block", block="south")
    assert [item.pending for item in book.found("north", KNOWN)] == [True]
    assert [item.pending for item in book.found("north", KNOWN + timedelta(days=9))] == [False]


@pytest.mark.parametrize(
    "changes",
    [
        {"note": "taken after rain"},
        {"sample_id": "N-7"},
        {"laboratory": "Invented Laboratory"},
        {"petioles": 20},
        {"received": "2026-04-20"},
        {"reported": "0.231 %"},
    ],
)
def test_a_correction_that_left_the_value_as_it_was_is_left_out(book: Book, changes: dict[str, Any]) -> None:
    first = book.write(content())
    book.write(content(**changes), first, "added")
    assert book.found() == ()


@pytest.mark.parametrize(
    "changes",
    [
        {"sampled": "2026-04-02"},
        {"censor": Censor.BELOW.value},
        {"basis": Basis.SAP.value, "unit": "mg/L"},
        {"value": 2311.0},
    ],
)
def test_a_correction_of_day_value_sign_or_kind_is_kept(book: Book, changes: dict[str, Any]) -> None:
    first = book.write(content())
    book.write(content(**changes), first, "misread")
    (found,) = book.found()
    assert found.now is not None
    assert found.result.sampled == result(2310.0).sampled
    assert result_content(found.now) == content(**changes)


def test_other_analytes_are_found_and_not_drawn(book: Book) -> None:
    boron = result_content(result(36.0, tissue=Tissue.LEAF, analyte="B"))
    leaf = result_content(result(3.1, tissue=Tissue.LEAF))
    for given in (boron, leaf, content()):
        first = book.write(given)
        book.write(given | {"value": 2 * given["value"]}, first, "misread")
    found = book.found()
    assert [item.result.analyte for item in found] == ["B", "N", "NO3-N"]
    sheet = sheet_of(season_of(), day_in(8), Shown(replaced=found))
    assert [item.result.analyte for item in sheet.replaced] == ["N", "NO3-N"]


def test_records_of_other_kinds_are_passed_over(book: Book) -> None:
    fed = {"n_lb_ac": 2.6, "products": {}, "note": ""}
    book.records = [
        Record(1, Kind.APPLICATION, "north", "2026-03-09", WRITTEN, "ann", "program", None, "", fed),
        Record(2, Kind.APPLICATION, "north", "2026-03-09", WRITTEN, "ann", "program", 1, "misread", fed),
    ]
    assert book.found() == ()


# --- as of a day ---------------------------------------------------------------------------------------------


class _Clock(datetime):
    today_is = date(2026, 3, 1)

    @classmethod
    def now(cls, tz: Any = None) -> _Clock:
        return cls(cls.today_is.year, cls.today_is.month, cls.today_is.day, 18, 30, tzinfo=tz)


Enter = Callable[[date], date]


@pytest.fixture
def enter(monkeypatch: pytest.MonkeyPatch) -> Enter:
    """Sets the day on which records are written."""
    monkeypatch.setattr("fertadjust.season_book.datetime", _Clock)

    def on(day: date) -> date:
        monkeypatch.setattr(_Clock, "today_is", day)
        return day

    return on


@pytest.fixture
def season(tmp_path: Path) -> Season:
    """The sample season's plan without records."""
    return build(tmp_path / "farm")


def add(season: Season, day: date, value: object, **more: Any) -> int:
    given: dict[str, Any] = {"block": "creek", "sampled": date(2026, 4, 1), "received": day, "petioles": 25} | more
    return season.add_result(value=value, by="ann", confirm=True, today=day, **given)


def correct(season: Season, day: date, number: int, **changes: str) -> int:
    return season.correct_result(number, changes, "misread", by="ann", confirm=True, today=day)


def values(season: Season, on: date, block: str = "creek") -> list[tuple[float, float | None, str]]:
    return pairs(tuple(shown(season, block, on).replaced))


def test_a_correction_shows_from_the_day_on_which_it_was_made(season: Season, enter: Enter) -> None:
    first = add(season, enter(date(2026, 4, 4)), 23_500)
    second = correct(season, enter(date(2026, 4, 10)), first, value="2530")
    correct(season, enter(date(2026, 4, 20)), second, value="2350")
    assert values(season, date(2026, 4, 9)) == []
    for day in (date(2026, 4, 10), date(2026, 4, 19)):
        assert values(season, day) == [(23_500, 2530, "misread")]
    assert values(season, date(2026, 4, 20)) == [(23_500, 2350, "misread"), (2530, 2350, "misread")]


def test_a_void_shows_from_the_day_on_which_it_was_made(season: Season, enter: Enter) -> None:
    first = add(season, enter(date(2026, 4, 4)), 2350)
    enter(date(2026, 4, 10))
    season.void(first, "the other field", by="ann")
    assert values(season, date(2026, 4, 9)) == []
    assert values(season, date(2026, 4, 10)) == [(2350, None, "the other field")]
    assert values(season, date(2026, 4, 10), "hill") == []


def test_what_was_not_yet_received_is_not_shown_before(season: Season, enter: Enter) -> None:
    """Entered late, of days before: what was corrected then is known from the day the result came in."""
    first = add(season, enter(date(2026, 5, 1)), 23_500, received=date(2026, 4, 4))
    correct(season, enter(date(2026, 5, 1)), first, value="2350")
    assert values(season, date(2026, 4, 3)) == []
    assert values(season, date(2026, 4, 4)) == [(23_500, 2350, "misread")]


def test_the_chart_of_a_day_before_the_correction_has_the_value_of_then(season: Season, enter: Enter) -> None:
    first = add(season, enter(date(2026, 4, 4)), 2350)
    correct(season, enter(date(2026, 4, 10)), first, value="3250")
    figure = season.chart("creek", date(2026, 4, 9))
    texts = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert "2,350" in texts and not any("corrected" in text for text in texts)
    figure = season.chart("creek", date(2026, 4, 10))
    texts = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert {"3,250", "was 2,350,\ncorrected"} <= set(texts)


def test_block_and_name_say_the_same(season: Season, enter: Enter) -> None:
    first = add(season, enter(date(2026, 4, 4)), 23_500)
    day = enter(date(2026, 4, 10))
    correct(season, day, first, value="2350")
    assert shown(season, "Creek side", day) == shown(season, "creek", day)


def test_decisions_are_marked_one_to_leave_as_well(season: Season, enter: Enter) -> None:
    day = enter(date(2026, 4, 4))
    add(season, day, 2350)
    season.decide("creek", "leave", day, reason="waiting", by="ann", today=day)
    assert shown(season, "creek", day).decisions == [Mark(day, "left", "left")]
    season.decide("creek", "accept", day, by="ann", today=day)
    (mark,) = shown(season, "creek", day).decisions
    assert (mark.on, mark.kind) == (day, "raise")
    assert shown(season, "creek", date(2026, 4, 3)).decisions == []
