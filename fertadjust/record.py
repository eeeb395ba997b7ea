"""A record as data: what it is about, whether it stands, and between it and the fields that are stored."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from fertadjust.chain import Row


class Kind(StrEnum):
    RESULT = "result"
    APPLICATION = "application"
    OBSERVATION = "observation"
    DECISION = "decision"
    PLAN = "plan"
    """The season file as it stood from here on."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A record before it is written.

    Attributes:
        kind: what it is.
        block: block key.
        day: the day it is about, ISO 8601.
        content: plain data, or None to void the replaced record.
        replaces: number of the record it replaces, or None.
        reason: why, for a correction or a void.
    """

    kind: Kind
    block: str
    day: str
    content: dict[str, Any] | None
    replaces: int | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """A record as written; fields as in `Draft`, with its number, time of writing, author, program and link."""

    number: int
    kind: Kind
    block: str
    day: str
    written: str
    author: str
    program: str
    replaces: int | None
    reason: str
    content: dict[str, Any] | None
    link: str = ""


def standing(records: Sequence[Record]) -> list[Record]:
    """Of some records in order of number, those that are neither replaced nor void."""
    replaced = {record.replaces for record in records}
    return [record for record in records if record.number not in replaced and record.content is not None]


def standing_on(records: Sequence[Record], on: date) -> list[Record]:
    """Of some records in order, those that stood at the end of a day; see `counting_on`."""
    return standing(counting_on(records, on))


def counting_on(records: Sequence[Record], on: date) -> list[Record]:
    """Of some records in order, those that count at the end of a day, the replaced ones among them.

    A correction or a void written later did not yet count. What was written later altogether, of a day before, is
    taken as it stands now.
    """
    early: set[int] = set()
    put_off: set[int] = set()
    for record in records:
        if date.fromisoformat(record.written[:10]) <= on:
            early.add(record.number)
        elif record.replaces in early or record.replaces in put_off:
            put_off.add(record.number)
    return [record for record in records if record.number not in put_off]


def record_of(row: Row, link: str = "") -> Record:
    """A record from its stored fields.

    Raises:
        ValueError, TypeError, RecursionError: they are not as this program writes them.
    """
    number, kind, block, day, written, author, program, replaces, reason, content = row
    data = None if content is None else json.loads(content)
    if content is not None and not isinstance(data, dict):
        raise TypeError("content is no object")
    return Record(number, Kind(kind), block, day, written, author, program, replaces, reason, data, link)


def readable(row: Row) -> bool:
    """Whether stored fields make a record; whether its content is of its kind's form is not looked at."""
    try:
        record = record_of(row)
        date.fromisoformat(record.day)
        datetime.fromisoformat(record.written)
    except (ValueError, TypeError, RecursionError):
        return False
    return True


def content_text(content: dict[str, Any]) -> str:
    """A record's content as the JSON text that is stored."""
    return json.dumps(content, sort_keys=True, ensure_ascii=False)


def earlier(one: object, other: object) -> bool:
    """Whether a time of writing lies before another; not where either is none with a time zone."""
    try:
        first, second = datetime.fromisoformat(str(one)), datetime.fromisoformat(str(other))
        return first < second
    except (ValueError, TypeError):
        return False
