"""Records chained by hash, so that a later change to any of them shows.

Each record carries the SHA-256 of its own fields and of the link before it. Whoever changes one record has to make
every later link anew, and then the last one no longer agrees with the seal that was printed or backed up before.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

FIRST_LINK: Final = ""
"""What the first record is linked to."""

Row = tuple[int, str, str, str, str, str, str, int | None, str, str | None]
"""Number, kind, block, day, written, author, program, replaces, reason, content, as they are stored."""


class Broken(NamedTuple):
    """A place where the chain does not hold.

    Attributes:
        number: number of the record.
        message: what is wrong.
    """

    number: int
    message: str


def link_of(before: str, row: Sequence[object]) -> str:
    """The link of a record: SHA-256 in hex over the link before it and its fields as JSON.

    >>> link_of("", (1, "result", "north", "2026-03-09", "", "", "", None, "", "{}"))[:8]
    '93bfc548'
    """
    text = json.dumps([before, *row], ensure_ascii=False, separators=(",", ":"), default=repr)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def broken_links(records: Iterable[tuple[Row, str]]) -> list[Broken]:
    """Places where records in order of number, each with its link, are not what was written.

    A record after a changed one may follow the link that stands there or the one that should, so that each change
    shows once.
    """
    found: list[Broken] = []
    before, expected = {FIRST_LINK}, 1
    for row, link in records:
        number = row[0]
        made = {link_of(other, row) for other in before}
        if number > expected:
            one = number == expected + 1
            missing = f"record {expected}" if one else f"records {expected} to {number - 1}"
            found.append(Broken(number, f"{missing} before it {'is' if one else 'are'} missing"))
        elif number < expected:
            found.append(Broken(number, "its number is none that the program gives"))
        elif link not in made:
            found.append(Broken(number, "it is not as it was written"))
        before, expected = {link, *made}, number + 1
    return found
