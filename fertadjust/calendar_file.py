"""All-day entries as an iCalendar file (RFC 5545). What goes into a calendar is decided elsewhere."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final

PRODUCER: Final = "-//fertadjust//EN"

_LINE_END: Final = re.compile("\r\n|[\r\v\f\x85\u2028\u2029]")
_NOT_TEXT: Final = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One all-day entry.

    Attributes:
        uid: names the entry for good: a file written again replaces the entry instead of adding another.
        on: its day.
        summary: its title.
        description: its text; line breaks are kept.
    """

    uid: str
    on: date
    summary: str
    description: str


def calendar_bytes(name: str, entries: Sequence[CalendarEntry], stamped: datetime) -> bytes:
    """The file of a calendar: the same input gives the same bytes, entries by day and then by uid.

    Args:
        name: what the calendar is called.
        entries: its entries in any order.
        stamped: when the file was made, with its time zone; written in UTC.

    Raises:
        ValueError: two entries with one uid, or a time without a zone.
    """
    from icalendar import Calendar, Event, vText

    class Text(vText):
        """Text with the escapes of RFC 5545, 3.3.11: the library's own makes a line end of a backslash and N."""

        def to_ical(self) -> bytes:
            return _escaped(self).encode()

    if stamped.tzinfo is None:
        raise ValueError("the time of a calendar file needs its time zone")
    _refuse_twice(entries)
    calendar = Calendar()
    calendar.add("prodid", Text(PRODUCER))
    calendar.add("version", Text("2.0"))
    calendar.add("method", Text("PUBLISH"))
    calendar.add("x-wr-calname", Text(name))
    for entry in sorted(entries, key=lambda entry: (entry.on, entry.uid)):
        event = Event()
        event.add("uid", Text(entry.uid))
        event.add("dtstamp", stamped.astimezone(UTC))
        event.add("dtstart", entry.on)
        event.add("dtend", entry.on + timedelta(days=1))
        event.add("summary", Text(entry.summary))
        event.add("description", Text(entry.description))
        event.add("transp", Text("TRANSPARENT"))
        calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written


def _refuse_twice(entries: Sequence[CalendarEntry]) -> None:
    seen: set[str] = set()
    for entry in entries:
        uid = _plain(entry.uid)
        if uid in seen:
            raise ValueError(f'two calendar entries have the uid "{uid}"')
        seen.add(uid)


def _plain(text: str) -> str:
    """Every kind of line end as a line feed; what is no text, control characters above all, as "�"."""
    return _NOT_TEXT.sub("\ufffd", _LINE_END.sub("\n", text))


def _escaped(text: str) -> str:
    text = _plain(text)
    for plain, escape in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(plain, escape)
    return text
