"""The trend of band position carried on to the next sample, as tissue values beside the band. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final, NamedTuple

from fertadjust.band_rows import Band
from fertadjust.block_facts import BlockFacts
from fertadjust.compare import compare, percent
from fertadjust.dates import short_day
from fertadjust.errors import OutOfSeason
from fertadjust.rules.evidence_rules import budget
from fertadjust.rules.facts import Facts, Recommendation
from fertadjust.uncertainty import combined, log_sd

Z_95: Final = 1.96
"""Standard deviations to either side of the middle that hold 95 % of a normal distribution."""


FARTHEST: Final = 2.0
"""Band widths beyond an edge up to which a trend is followed, and a third one for its limits: what is further out
says nothing of a crop any more (the project's own)."""


class Projected(NamedTuple):
    """Where the tissue value would lie on a day: middle and 95 % interval [stored unit], within `FARTHEST`."""

    on: date
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Projection:
    """A trend carried on.

    Attributes:
        points: one a day, from the deciding sample to as many days later as samples are apart (`sample_days`).
        words: what it says, for example "as the trend runs, 1 Apr: below 97 %".
    """

    points: tuple[Projected, ...]
    words: str


def projection(season: BlockFacts, facts: Facts, found: Recommendation) -> Projection | None:
    """The trend carried on from the deciding reading, with the spread by which the rule "heading out" judges it.

    Position in the band follows the robust slope (`fertadjust.trend.Trend`); a day's value is that position on the
    day's own band, so that it moves with the band.

    Args:
        season: the block.
        facts: the facts of a day.
        found: what is recommended on that day.

    Returns:
        None without a trend, for a bound, a band with one edge, a sample too old to decide on, where the band ends
        before the facts' day, and where the trend leads more than `FARTHEST` band widths out of the band at once.
    """
    reading, trend, policy = facts.primary, facts.trend, season.policy
    if reading is None or trend is None or (facts.on - reading.sampled).days > policy.stale_days.value:
        return None
    place = compare(reading.value, reading.censor, 1.0, reading.band, 1.0).position
    width = _width(reading.band)
    table = season.table_for(reading.tissue, reading.basis, reading.analyte)
    if place is None or width is None or table is None:
        return None
    sd = log_sd(combined(part.relative for part in budget(reading, policy))) / width
    ahead = int(policy.sample_days.value)
    points = []
    for days in range(ahead + 1):
        day = reading.sampled + timedelta(days=days)
        try:
            band = table.band_on(reading.analyte, day, season.stages)
        except OutOfSeason:
            break
        point = _point(day, band, trend.projected(place, sd, days))
        if point is None:
            break
        points.append(point)
    if len(points) < 2 or points[-1].on <= facts.on:
        return None
    last = points[-1].on
    chances = trend.ahead(place, sd, (last - reading.sampled).days)
    clear = trend.tail <= policy.trend_tail.value
    return Projection(tuple(points), f"{_how(found, clear)}, {short_day(last)}: {_likeliest(chances)}")


def _width(band: Band) -> float | None:
    """Width of a band on the log scale, or None where position has no such scale."""
    if band.low is None or band.high is None or band.low <= 0:
        return None
    return math.log(band.high / band.low)


def _point(day: date, band: Band, projected: tuple[float, float]) -> Projected | None:
    width = _width(band)
    if width is None or band.low is None:
        return None
    place, sd = projected
    if not -FARTHEST <= place <= 1 + FARTHEST:
        return None
    ends = (max(place - Z_95 * sd, -1 - FARTHEST), place, min(place + Z_95 * sd, 2 + FARTHEST))
    low, middle, high = (band.low * math.exp(width * end) for end in ends)
    return Projected(day, low, middle, high)


def _how(found: Recommendation, clear: bool) -> str:
    """How far the trend may be followed, as the rules see it."""
    if not clear:
        return "no clear trend"
    return "trend before the last change" if found.fired("too soon") else "as the trend runs"


def _likeliest(chances: tuple[float, float, float]) -> str:
    side, chance = max(zip(("below", "within", "above"), chances, strict=True), key=lambda item: item[1])
    return f"{side} {percent(chance)}"
