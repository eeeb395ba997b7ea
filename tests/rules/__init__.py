"""Seasons that the rule tests share.

The sample lies in week 6, where the band and those of the weeks beside it are 3,000 to 5,000 ppm (UGA-2021), and
the advice is asked for on the Saturday, when the result has come. Every other value is invented.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Plan
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Recommendation, TraceLine
from fertadjust.season import BlockSeason
from fertadjust.shipped import citations
from fertadjust.tissue import Tissue, TissueResult
from tests.support import day_in, plan, products, result, season

LOW_EDGE, HIGH_EDGE = 3000.0, 5000.0
WIDTH = math.log(HIGH_EDGE / LOW_EDGE)

LOW, ENOUGH, HIGH = 2500.0, 3900.0, 8000.0
"""Clearly below, within and above the band of week 6 at a confidence of 80 %."""
LEAF_LOW, LEAF_ENOUGH, LEAF_HIGH, LEAF_UNCLEAR = 2.2, 3.3, 4.6, 2.8
"""Leaf nitrogen [%] against 2.80 to 3.80 % (UGA-AESL)."""

SATURDAY = day_in(6, 5)
"""Day on which a result sampled on the Wednesday of week 6 has come."""
RATE = 5.25
"""Planned rate [lb/ac/week]: 0.75 lb N/ac/day (UGA-2021)."""

Z_80 = 0.8416212335729143
"""Standard normal quantile of 0.80."""


def open_plan(rates: tuple[float, ...] = (RATE,) * 12, **changes: object) -> Plan:
    """A plan whose bounds and metering step limit nothing."""
    return replace(plan(rates, floor=0.0, ceiling=60.0, step=0.0), **changes)  # type: ignore[arg-type]


def fed(rate: float = RATE, weeks: Iterable[int] = range(1, 13)) -> tuple[Application, ...]:
    """A log of two injections a week, on Monday and Thursday, that add up to a rate."""
    days = [day_in(week, offset) for week in weeks for offset in (0, 3)]
    return tuple(Application(900 + index, "north", on, rate / 2) for index, on in enumerate(days))


def in_force(
    factor: float, *, since: int = 3, until: date | None = None, rates: Iterable[float] = (RATE,) * 12
) -> Change:
    """A factor decided two days before a week began and in force until a day, by default far off."""
    start = day_in(since)
    decided = {week: rate * factor for week, rate in enumerate(rates, start=1) if week >= since}
    return Change(start - timedelta(days=2), start, until or day_in(12), factor, decided, 700 + since)


def taken_over(found: Recommendation, on: date, record: int = 800) -> Change:
    """The change of rate that comes of taking an advice as it is."""
    numbers = [week.number for week in found.weeks]
    rates = dict(zip(numbers, found.rates_lb_ac, strict=True))
    return Change(on, found.weeks[0].start, found.review, found.factor, rates, record)


def seen(sight: Sight, on: date, value: float | None = None) -> Observation:
    return Observation(600, "north", on, sight, value)


def leaf(value: float, week: int = 6, *, record: int = 50, **more: object) -> TissueResult:
    return result(value, week, record=record, tissue=Tissue.LEAF, **more)  # type: ignore[arg-type]


def petiole_season(*results: TissueResult, **rest: object) -> BlockSeason:
    """A season on the open plan, fed as planned unless told otherwise."""
    given: dict[str, object] = {"the_plan": open_plan(), "applications": fed()} | rest
    mix = given.pop("products", products())
    return replace(season(*results, **given), products=mix)  # type: ignore[arg-type]


def advised(*results: TissueResult, on: date = SATURDAY, **rest: object) -> Recommendation:
    """What the rules recommend in such a season."""
    the_season = petiole_season(*results, **rest)
    return evaluate(the_season.facts(on), the_season.policy)


def line(found: Recommendation, rule: str) -> TraceLine:
    """The trace line of a rule."""
    return next(item for item in found.trace if item.rule == rule)


def fired(found: Recommendation) -> set[str]:
    """Names of the rules that had anything to say."""
    return {item.rule for item in found.trace if item.fired}


LEAF_WORDS = {
    "none": "no leaf beside it",
    "low": "leaf low",
    "sufficient": "leaf sufficient",
    "high": "leaf high",
    "unclear": "leaf unclear",
}
SOIL_WORDS = {
    "none": "no soil test",
    "above": "soil nitrate above its threshold",
    "below": "soil nitrate below its threshold",
}
SEEN_WORDS = {"roots": "root trouble seen", "rain": "rain seen", "nothing": "nothing seen"}


def weighed(
    petiole: str,
    *rows: str,
    leaf_state: str = "none",
    soil: str = "none",
    supply: str = "full",
    sight: str = "nothing",
) -> str:
    """What the rule "weighed together" saw: everything known, and the rows of the table that say what comes of it.

    Args:
        petiole: state of the deciding result; " (trend)" is added where a trend stands for it.
        rows: ids of the rows.
        leaf_state, soil, supply, sight: states of the rest.
    """
    known = f"{LEAF_WORDS[leaf_state]}, {SOIL_WORDS[soil]}, supply {supply}, {SEEN_WORDS[sight]}"
    return f"petiole {petiole}, {known}, row {', '.join(rows)}"


def horwitz(ppm: float) -> float:
    """Relative deviation between laboratories, 2^(1 - 0.5 log10 C) percent (HORWITZ-1988)."""
    return 2 ** (1 - 0.5 * math.log10(ppm * 1e-6)) / 100


def uncertainty(ppm: float, petioles: int = 25) -> float:
    """Relative standard uncertainty of one petiole result, by hand.

    30 % between single petioles and 10 % for hour and day are the project's own figures.
    """
    return math.sqrt(horwitz(ppm) ** 2 + 0.30**2 / petioles + 0.10**2)


def averaged(single: float, count: int, inside: float = 0.667) -> float:
    """Relative deviation of the mean of several results of one laboratory, by hand.

    s_R^2 = s_L^2 + s_r^2 / n (ISO-5725), where s_r is two thirds of s_R (HORWITZ-1988): only s_r averages out.
    """
    repeatability = inside * single
    laboratory = single**2 - repeatability**2
    return math.sqrt(laboratory + repeatability**2 / count)


def value_at(edge: float, z: float, petioles: int = 25) -> float:
    """The result that lies z standard uncertainties below an edge (above it for z < 0)."""
    value = edge
    for _ in range(60):
        value = edge * math.exp(-z * math.sqrt(math.log1p(uncertainty(value, petioles) ** 2)))
    return value


def raise_size(ppm: float, low: float = LOW_EDGE, high: float = HIGH_EDGE) -> float:
    """A full raise by hand: a third (UGA-2021) at the edge, half (UGA-AESL) from one band width below it on."""
    return min(1 / 2, 1 / 3 + (1 / 2 - 1 / 3) * math.log(low / ppm) / math.log(high / low))


def cut_size(ppm: float, low: float = LOW_EDGE, high: float = HIGH_EDGE) -> float:
    """A full cut by hand, the project's own: a tenth at the edge, a quarter from one band width above it on."""
    return min(0.25, 0.10 + 0.15 * math.log(ppm / high) / math.log(high / low))


def names_a_source(source: str, evidence: str) -> bool:
    """Whether a source field holds known keys, or its evidence says that there is no publication."""
    keys = [key.strip() for key in source.split(";")]
    if all(key in citations() for key in keys):
        return True
    without = {"project rule", "common practice", "own"}
    return evidence in without and all(key in citations() or key in {"none", "season file"} for key in keys)
