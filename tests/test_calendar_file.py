"""Calendar files: read back by the library, and held to the line rules of RFC 5545 by a reader of its own here."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from fertadjust.calendar_file import CalendarEntry, calendar_bytes

STAMPED = datetime(2026, 3, 9, 17, 30, 5, tzinfo=UTC)
SAMPLE = CalendarEntry(
    "creek-2026-03-16-sample@fertadjust", date(2026, 3, 16), "Creek: sample", "Take 50 petioles."
)
LATER = CalendarEntry("alder-2026-03-30-review@fertadjust", date(2026, 3, 30), "Alder: review", "")
SAME_DAY = CalendarEntry("brook-2026-03-16-sample@fertadjust", date(2026, 3, 16), "Brook: sample", "")


def lines_of(data: bytes) -> list[str]:
    """Content lines, unfolded: every line ends in CRLF and holds at most 75 octets and no control character."""
    assert data.endswith(b"\r\n")
    folded = data[:-2].split(b"\r\n")
    unfolded: list[bytes] = []
    for line in folded:
        assert b"\r" not in line and b"\n" not in line
        assert 0 < len(line) <= 75
        line.decode()  # a character is never cut in two
        assert not any((octet < 0x20 and octet != 0x09) or octet == 0x7F for octet in line)
        if line[:1] in (b" ", b"\t"):
            unfolded[-1] += line[1:]
        else:
            unfolded.append(line)
    return [line.decode() for line in unfolded]


def text_of(value: str) -> str:
    """A TEXT value without its escapes, read from left to right (RFC 5545, 3.3.11)."""
    plain, at = "", 0
    while at < len(value):
        if value[at] == "\\":
            at += 1
            assert at < len(value) and value[at] in "\\;,nN", value
            plain += "\n" if value[at] in "nN" else value[at]
        else:
            assert value[at] not in ";,", value
            plain += value[at]
        at += 1
    return plain


def properties(data: bytes) -> tuple[dict[str, str], list[dict[str, str]]]:
    """Properties of the calendar and of each of its events: name with parameters -> value as written."""
    lines = lines_of(data)
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    calendar: dict[str, str] = {}
    events: list[dict[str, str]] = []
    held = calendar
    for line in lines[1:-1]:
        name, value = line.split(":", 1)
        if line == "BEGIN:VEVENT":
            assert held is calendar, "an event inside an event"
            held = {}
            events.append(held)
        elif line == "END:VEVENT":
            assert held is not calendar
            held = calendar
        else:
            assert name not in held, f"{name} twice"
            held[name] = value
    assert held is calendar
    return calendar, events


def test_an_entry_is_an_all_day_event_that_blocks_no_time() -> None:
    calendar, events = properties(calendar_bytes("Creek farm 2026", [SAMPLE], STAMPED))
    assert calendar == {
        "PRODID": "-//fertadjust//EN",
        "VERSION": "2.0",
        "METHOD": "PUBLISH",
        "X-WR-CALNAME": "Creek farm 2026",
    }
    assert events == [
        {
            "UID": "creek-2026-03-16-sample@fertadjust",
            "DTSTAMP": "20260309T173005Z",
            "DTSTART;VALUE=DATE": "20260316",
            "DTEND;VALUE=DATE": "20260317",
            "SUMMARY": "Creek: sample",
            "DESCRIPTION": "Take 50 petioles.",
            "TRANSP": "TRANSPARENT",
        }
    ]


def test_the_library_reads_back_what_was_written() -> None:
    calendar = Calendar.from_ical(calendar_bytes("Creek farm", [LATER, SAMPLE], STAMPED))
    first, second = calendar.walk("VEVENT")
    assert (first["uid"], first["summary"], first["description"]) == (
        SAMPLE.uid,
        SAMPLE.summary,
        SAMPLE.description,
    )
    assert first.decoded("dtstart") == SAMPLE.on and first.decoded("dtend") == SAMPLE.on + timedelta(days=1)
    assert first.decoded("dtstamp") == STAMPED
    assert second.decoded("dtstart") == LATER.on
    assert not first.errors and not calendar.errors


@pytest.mark.parametrize("on", [date(2026, 2, 28), date(2028, 2, 28), date(2026, 12, 31)])
def test_an_entry_ends_on_the_next_day(on: date) -> None:
    _, events = properties(calendar_bytes("x", [CalendarEntry("u", on, "s", "d")], STAMPED))
    assert events[0]["DTEND;VALUE=DATE"] == f"{on + timedelta(days=1):%Y%m%d}"


def test_entries_stand_by_day_and_then_by_uid_and_give_the_same_bytes_in_any_order() -> None:
    files = {calendar_bytes("x", order, STAMPED) for order in permutations([SAMPLE, LATER, SAME_DAY])}
    assert len(files) == 1
    _, events = properties(files.pop())
    assert [event["UID"] for event in events] == [SAME_DAY.uid, SAMPLE.uid, LATER.uid]


def test_two_entries_with_one_uid_are_refused() -> None:
    with pytest.raises(ValueError, match="two calendar entries have the uid"):
        calendar_bytes("x", [SAMPLE, CalendarEntry(SAMPLE.uid, LATER.on, "s", "d")], STAMPED)


def test_two_uids_that_are_written_alike_are_refused() -> None:
    with pytest.raises(ValueError, match="two calendar entries have the uid"):
        calendar_bytes("x", [CalendarEntry(uid, LATER.on, "s", "d") for uid in ("a\x00", "a\x01")], STAMPED)


def test_the_stamp_is_written_in_utc_and_needs_a_time_zone() -> None:
    there = STAMPED.astimezone(timezone(timedelta(hours=-7)))
    assert calendar_bytes("x", [SAMPLE], there) == calendar_bytes("x", [SAMPLE], STAMPED)
    with pytest.raises(ValueError, match="time zone"):
        calendar_bytes("x", [SAMPLE], STAMPED.replace(tzinfo=None))


def test_a_calendar_may_be_empty() -> None:
    calendar, events = properties(calendar_bytes("x", [], STAMPED))
    assert calendar["X-WR-CALNAME"] == "x" and events == []


# --- text ----------------------------------------------------------------------------------------------------

TEXTS = [
    ("commas, semicolons; colons: as they are", None),
    ("a line\nand another", None),
    ("a line\r\nand another\rand a third", "a line\nand another\nand a third"),
    ("C:\\Notes\\north, a \\n that is no line end", None),
    ("\\", None),
    ("\"quoted\" ^n ^^ 'x'", None),
    ("Erdbeeren für Jürgen, 30 °C, 7 × 3, 莓 🍓", None),
    ("x" * 500, None),
    ("é" * 300, None),
    ("🍓" * 100, None),
    ("\\" * 200, None),
    (",;" * 100, None),
    ("  leading and trailing  ", None),
    ("tab\there", None),
    ("END:VEVENT\nBEGIN:VEVENT\nUID:other\nSUMMARY:injected", None),
    ("x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:other", "x\nEND:VEVENT\nBEGIN:VEVENT\nUID:other"),
    ("x\u2028BEGIN:VEVENT\u2029y\x85z\x0bv\x0cw", "x\nBEGIN:VEVENT\ny\nz\nv\nw"),
    ("bell \x07, nul \x00, escape \x1b[2J, delete \x7f", "bell �, nul �, escape �[2J, delete �"),
    ("half a pair \ud83c", "half a pair �"),
    ("", None),
]


@pytest.mark.parametrize(("text", "expected"), TEXTS, ids=[repr(row[0])[:40] for row in TEXTS])
def test_text_is_shown_as_it_was_typed(text: str, expected: str | None) -> None:
    data = calendar_bytes(text, [CalendarEntry("u@x", SAMPLE.on, text, text)], STAMPED)
    calendar, events = properties(data)
    shown = text if expected is None else expected
    assert len(events) == 1
    assert text_of(events[0]["SUMMARY"]) == text_of(events[0]["DESCRIPTION"]) == shown
    assert text_of(calendar["X-WR-CALNAME"]) == shown
    read = Calendar.from_ical(data).walk("VEVENT")
    assert [(event["uid"], event["summary"], event["description"]) for event in read] == [("u@x", shown, shown)]


@given(st.text(alphabet=st.one_of(st.characters(), st.sampled_from('\\,;:\r\n\t Nn\u2028"^')), max_size=300))
def test_any_text_keeps_the_line_rules_and_comes_back(text: str) -> None:
    data = calendar_bytes(text, [CalendarEntry(text, SAMPLE.on, text, text)], STAMPED)
    calendar, (event,) = properties(data)
    shown = text_of(event["SUMMARY"])
    assert text_of(event["DESCRIPTION"]) == text_of(event["UID"]) == text_of(calendar["X-WR-CALNAME"]) == shown
    if text.isprintable():
        assert shown == text
    assert len(data.decode().splitlines()) == data.count(b"\r\n")


def test_a_long_line_is_folded() -> None:
    data = calendar_bytes("x", [CalendarEntry("u", SAMPLE.on, "s", "word " * 100)], STAMPED)
    assert data.count(b"\r\n ") >= 6
    assert max(len(line) for line in data.split(b"\r\n")) in (74, 75)


@pytest.mark.parametrize(
    "broken",
    [
        b"BEGIN:VCALENDAR\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nX:" + b"x" * 74 + b"\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nX:\x07\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n",
    ],
)
def test_the_reader_of_these_tests_notices_a_broken_file(broken: bytes) -> None:
    with pytest.raises(AssertionError):
        properties(broken)


def test_the_calendar_library_is_loaded_only_when_a_file_is_written() -> None:
    ask = "import sys, fertadjust.calendar_file; print('icalendar' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.strip() == "False"
