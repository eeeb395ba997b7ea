"""Dates as people write them."""

from __future__ import annotations

from datetime import date
from functools import lru_cache


def day(value: date) -> str:
    """With its weekday and year: "Mon 9 Mar 2026".

    >>> day(date(2026, 3, 9))
    'Mon 9 Mar 2026'
    """
    return f"{value:%a} {value.day} {value:%b %Y}"


@lru_cache(maxsize=4096)
def short_day(value: date) -> str:
    """Without its year: "9 Mar".

    >>> short_day(date(2026, 3, 9))
    '9 Mar'
    """
    return f"{value.day} {value:%b}"
