"""Records chained by hash: what a link covers, and how each break shows."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fertadjust.chain import FIRST_LINK, Broken, Row, broken_links, link_of

FIRST: Row = (
    1,
    "result",
    "north",
    "2026-03-09",
    "2026-03-09T12:00:05+00:00",
    "ann",
    "fertadjust 1",
    None,
    "",
    "{}",
)
CHANGED = "it is not as it was written"


def row(number: int, **changes: Any) -> Row:
    names = ("number", "kind", "block", "day", "written", "author", "program", "replaces", "reason", "content")
    return tuple((dict(zip(names, FIRST, strict=True)) | {"number": number} | changes).values())


def chained(*rows: Row) -> list[tuple[Row, str]]:
    before, found = FIRST_LINK, []
    for one in rows:
        before = link_of(before, one)
        found.append((one, before))
    return found


def five() -> list[tuple[Row, str]]:
    return chained(*(row(number, content=json.dumps({"value": number})) for number in range(1, 6)))


def test_a_link_is_the_sha256_of_the_link_before_and_the_fields_as_json() -> None:
    # FIPS 180-4 (SHA-256) over RFC 8259 JSON without blanks, written out here by hand.
    text = '["ab",1,"result","north","2026-03-09","2026-03-09T12:00:05+00:00","ann","fertadjust 1",null,"","{}"]'
    assert link_of("ab", FIRST) == hashlib.sha256(text.encode("utf-8")).hexdigest()


def test_a_link_is_taken_over_utf_8_text() -> None:
    text = '["",1,"result","北","2026-03-09","2026-03-09T12:00:05+00:00","ann","fertadjust 1",2,"Café","{}"]'
    assert link_of("", row(1, block="北", replaces=2, reason="Café")) == hashlib.sha256(text.encode()).hexdigest()


def test_no_records_have_no_breaks() -> None:
    assert broken_links([]) == []


def test_a_whole_chain_has_no_breaks() -> None:
    assert broken_links(five()) == []


@pytest.mark.parametrize("column", range(1, 10))
@pytest.mark.parametrize("number", range(1, 6))
def test_a_changed_field_shows_once_at_its_record(number: int, column: int) -> None:
    records = five()
    fields = list(records[number - 1][0])
    fields[column] = 99 if column == 7 else "other"
    records[number - 1] = (tuple(fields), records[number - 1][1])  # type: ignore[assignment]
    assert broken_links(records) == [Broken(number, CHANGED)]


@pytest.mark.parametrize("number", range(1, 6))
def test_a_changed_link_shows_once_at_its_record(number: int) -> None:
    records = five()
    records[number - 1] = (records[number - 1][0], "0" * 64)
    assert broken_links(records) == [Broken(number, CHANGED)]


@pytest.mark.parametrize("number", range(1, 5))
def test_a_record_taken_out_shows_once_at_the_next(number: int) -> None:
    records = five()
    del records[number - 1]
    assert broken_links(records) == [Broken(number + 1, f"record {number} before it is missing")]


def test_several_records_taken_out_together_show_once() -> None:
    records = five()
    del records[1:4]
    (found,) = broken_links(records)
    assert found == Broken(5, "records 2 to 4 before it are missing")


def test_a_record_changed_after_one_that_was_taken_out_shows_too() -> None:
    records = five()
    records[3] = (row(4, content='{"value": 40}'), records[3][1])
    del records[1]
    assert broken_links(records) == [Broken(3, "record 2 before it is missing"), Broken(4, CHANGED)]


def test_two_changes_show_as_two() -> None:
    records = five()
    for number in (2, 4):
        records[number - 1] = (row(number, author="ben"), records[number - 1][1])
    assert broken_links(records) == [Broken(2, CHANGED), Broken(4, CHANGED)]


def test_two_records_in_each_others_place_show() -> None:
    records = five()
    (second, one), (third, other) = records[1:3]
    records[1:3] = [(row(2, content=third[9]), one), (row(3, content=second[9]), other)]
    assert [found.number for found in broken_links(records)] == [2, 3]


def test_a_record_put_in_before_the_last_shows() -> None:
    records = five()
    records[4:] = [
        (row(5, author="mallory"), link_of(records[3][1], row(5, author="mallory"))),
        (row(6), records[4][1]),
    ]
    assert broken_links(records) == [Broken(6, CHANGED)]


def test_a_chain_made_anew_holds_and_ends_with_another_link() -> None:
    changed = chained(
        *(row(number, content=json.dumps({"value": number + (number == 2)})) for number in range(1, 6))
    )
    assert broken_links(changed) == []
    assert changed[0][1] == five()[0][1]
    assert all(link != other for (_, link), (_, other) in list(zip(changed, five(), strict=True))[1:])


TEXT = st.text(st.characters(codec="utf-8"), max_size=8)


@given(st.tuples(TEXT, TEXT, TEXT, TEXT), st.tuples(TEXT, TEXT, TEXT, TEXT))
def test_text_moved_from_one_field_to_the_next_makes_another_link(
    one: tuple[str, str, str, str], other: tuple[str, str, str, str]
) -> None:
    names = ("block", "author", "program", "reason")
    links = [link_of("", row(1, **dict(zip(names, texts, strict=True)))) for texts in (one, other)]
    assert (links[0] == links[1]) == (one == other)


@pytest.mark.parametrize(
    "change",
    [
        lambda: link_of("", row(1, replaces=None)) != link_of("", row(1, replaces=0)),
        lambda: link_of("", row(1, content=None)) != link_of("", row(1, content="")),
        lambda: link_of("", row(1, content="null")) != link_of("", row(1, content=None)),
        lambda: link_of("", row(1)) != link_of("a", row(1)),
        lambda: link_of("", row(1)) != link_of("", row(11)),
    ],
)
def test_nothing_and_empty_text_are_told_apart(change: Callable[[], bool]) -> None:
    assert change()
