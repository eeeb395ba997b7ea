"""Simulated seasons in a grower's words. Nothing is worked out here but how a number is written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from fertadjust.simulate.measures import MEASURES, MIDWEEKS, ROUNDING, Estimate, Measure
from fertadjust.simulate.outlook import PLAN, RULES, TRIED, Outlook
from fertadjust.simulation_ground import ASSUMED, NO_RECORDS
from fertadjust.units import UnitSystem
from fertadjust.words import counted

MODEL: Final = (
    "A model, not a forecast: it tells what the rules tend to do in seasons that are drawn from ranges, many of "
    "them assumed, and not what your field will do."
)
INTERVALS: Final = (
    "Differences are taken season by season, since every way meets the same seasons; intervals are 95 %. They "
    "tell how far the draw of the seasons moves a mean, not how far the model is from a field, so a clear "
    "difference need not be a large one. Of so many measures, one or another may look clear by chance."
)
ROUGH: Final = (
    "Fewer than 100 seasons were simulated: intervals of so few are rough themselves, so run more before you rely "
    "on one."
)
NO_CAP: Final = "no cap is set"

_FEW: Final = 100
"""Seasons below which intervals are called rough."""
_DECIMALS: Final = {"share": 1, "weeks": 1, "lb/ac": 1, "": 2}
_MOST_DECIMALS: Final = 4

Table = tuple[list[str], list[list[str]]]
"""Headers and rows."""


class Pair(NamedTuple):
    """Two ways of deciding that are held beside each other.

    Attributes:
        way, than: names of the runs.
        heading: what the difference is called.
        begins: how sentences on it begin.
    """

    way: str
    than: str
    heading: str
    begins: str


RULES_LESS_PLAN: Final = Pair(RULES, PLAN, "rules less plan", "The rules beside the plan")
TRIED_LESS_RULES: Final = Pair(TRIED, RULES, "tried less rules", "What was tried beside the season's own rules")


def pairs(found: Outlook) -> tuple[Pair, ...]:
    """The comparisons that there are: the rules with the plan, and what was tried with the rules."""
    return (RULES_LESS_PLAN, TRIED_LESS_RULES) if found.tried else (RULES_LESS_PLAN,)


def difference(found: Outlook, pair: Pair, name: str) -> Estimate:
    """How much more a measure is the one way than the other, season by season [the measure's unit]."""
    return found.run(pair.way).beside(found.run(pair.than), name)


# --- small words --------------------------------------------------------------------------------------------


def unit_words(measure: Measure, units: UnitSystem) -> str:
    """Unit of a measure in a unit system: "%", "weeks", "lb N/ac", or "" for a count."""
    return {"share": "%", "lb/ac": units.total_unit}.get(measure.unit, measure.unit)


def difference_unit(measure: Measure, units: UnitSystem) -> str:
    """Unit of a difference: "points" where the measure is a share in %, else that of the measure."""
    return "points" if measure.unit == "share" else unit_words(measure, units)


def is_set(found: Outlook, measure: Measure) -> bool:
    """Whether there is anything that a measure could be held against: no cap can be passed where none is set."""
    return measure.name != "over_cap" or found.setup.season.plan.cap_lb_ac is not None


def shown(value: float, measure: Measure, units: UnitSystem) -> float:
    """A measure's value in the unit of `unit_words`."""
    if measure.unit == "share":
        return 100.0 * value
    return units.rate_out(value) if measure.unit == "lb/ac" else value


def is_nothing(item: Estimate) -> bool:
    """Whether no season showed any difference."""
    return max(abs(item.low), abs(item.high)) <= ROUNDING


def mean_words(item: Estimate, measure: Measure, units: UnitSystem) -> str:
    """A mean without its unit; "-" where no season counts."""
    if math.isnan(item.mean):
        return "-"
    return f"{shown(item.mean, measure, units):.{_DECIMALS[measure.unit]}f}"


def difference_words(item: Estimate, measure: Measure, units: UnitSystem) -> str:
    """A difference with its interval: "+1.8 (+0.4 to +3.2)", "not clear (-0.1 to +0.6)" or "none seen".

    Differences of shares are told in points, that is in percentage points.
    """
    if math.isnan(item.low):
        return "not known"
    if is_nothing(item):
        return "none seen"
    low, mean, high = (shown(value, measure, units) for value in (item.low, item.mean, item.high))
    digits = _digits((low, high), _DECIMALS[measure.unit])
    span = f"({low:+.{digits}f} to {high:+.{digits}f})" + (" points" if measure.unit == "share" else "")
    return f"{mean:+.{digits}f} {span}" if item.clear else f"not clear {span}"


def _beside(found: Outlook, pair: Pair, measure: Measure, units: UnitSystem) -> str:
    """What stands in a table for a difference."""
    if not is_set(found, measure):
        return NO_CAP
    return difference_words(difference(found, pair, measure.name), measure, units)


def _digits(ends: Sequence[float], least: int) -> int:
    """Decimals by which no end of an interval looks like 0 that is not."""
    digits = least
    while digits < _MOST_DECIMALS and any(abs(end) > ROUNDING and round(end, digits) == 0 for end in ends):
        digits += 1
    return digits


# --- what it comes to ---------------------------------------------------------------------------------------


def weeks_with_band(found: Outlook) -> int:
    """Weeks of the plan that have a band by the dates in the season file."""
    low, _ = found.bands()
    return int(np.isfinite(low[MIDWEEKS]).sum())


def headline(found: Outlook) -> str:
    """Weeks in band under the rules, under the plan and with what was tried, and whether they differ."""
    weeks, of_plan = weeks_with_band(found), len(found.setup.season.plan.rates_lb_ac)
    known = found.run(RULES).estimate("in_band").seasons
    if not weeks or not known:
        return "No week of the plan has a band in its middle, so weeks in the band are not counted."
    of = counted(weeks, "week") if weeks == of_plan else f"the {counted(weeks, 'week')} with a band"
    rules, plan = (_in_weeks(found.run(name).estimate("in_band"), weeks) for name in (RULES, PLAN))
    more = _in_weeks(difference(found, RULES_LESS_PLAN, "in_band"), weeks)
    told = (
        f"In {_which_seasons(found.seasons, known)} the rules kept the crop in its band in {rules.mean:.1f} of "
        f"{of}{_span(rules)}, the plan as it stands in {plan.mean:.1f}{_span(plan)}. "
        f"{_how_clear(more, 'difference', 'under the rules')}"
    )
    if found.tried:
        tried = _in_weeks(found.run(TRIED).estimate("in_band"), weeks)
        beside = _in_weeks(difference(found, TRIED_LESS_RULES, "in_band"), weeks)
        told += (
            f" With what was tried it was {tried.mean:.1f}{_span(tried)}. "
            f"{_how_clear(beside, 'difference from the rules', 'than under the rules')}"
        )
    return told


def _which_seasons(seasons: int, counted: int) -> str:
    if counted == seasons:
        return f"{seasons:,} simulated seasons like this one"
    return f"the {counted:,} of {seasons:,} simulated seasons like this one that have a band in those weeks"


def _span(item: Estimate) -> str:
    """An interval in brackets, with a space before it; nothing of one season alone."""
    return "" if math.isnan(item.low) else f" ({item.low:.1f} to {item.high:.1f})"


def _in_weeks(share: Estimate, weeks: int) -> Estimate:
    return Estimate(share.mean * weeks, share.low * weeks, share.high * weeks, share.seasons)


def _how_clear(more: Estimate, difference: str, where: str) -> str:
    if math.isnan(more.low):
        return f"The {difference} is not known from one season."
    if is_nothing(more):
        return f"There is no {difference} in any of them."
    digits = _digits((more.low, more.high), _DECIMALS["weeks"])
    if not more.clear:
        span = f"{more.low:+.{digits}f} to {more.high:+.{digits}f} weeks"
        return f"The {difference} is not clear: its interval, {span}, holds 0."
    ends = sorted((abs(more.low), abs(more.high)))
    which = "more" if more.mean > 0 else "fewer"
    return (
        f"Season by season that is {abs(more.mean):.{digits}f} weeks {which} {where} "
        f"({ends[0]:.{digits}f} to {ends[1]:.{digits}f})."
    )


def verdicts(found: Outlook, pair: Pair) -> list[str]:
    """Which measures are clearly better, worse or otherwise, which are not clear, and which do not differ."""
    groups: dict[str, list[str]] = {
        name: [] for name in ("better", "worse", "more", "less", "unclear", "same", "unknown", "unset")
    }
    for measure in MEASURES:
        item = difference(found, pair, measure.name)
        groups[_group(item, measure) if is_set(found, measure) else "unset"].append(measure.words)
    words = {
        "better": "Clearly better",
        "worse": "Clearly worse",
        "more": "Clearly more, good or bad",
        "less": "Clearly less, good or bad",
        "unclear": "Not clear, the interval holds 0",
        "same": "No difference in any season",
        "unknown": "Not known",
        "unset": "Not counted, no cap is set",
    }
    return [f"{words[name]}: {'; '.join(items)}." for name, items in groups.items() if items]


def _group(item: Estimate, measure: Measure) -> str:
    if math.isnan(item.low):
        return "unknown"
    if not item.clear:
        return "same" if is_nothing(item) else "unclear"
    if measure.better == 0:
        return "more" if item.mean > 0 else "less"
    return "better" if item.mean * measure.better > 0 else "worse"


def table(found: Outlook, units: UnitSystem) -> Table:
    """Every measure as the mean of each way, with the difference of the rules from the plan."""
    headers = ["mean of a season", *(run.name for run in found.runs), RULES_LESS_PLAN.heading]
    rows = [
        [
            label(measure, units),
            *(mean_words(run.estimate(measure.name), measure, units) for run in found.runs),
            _beside(found, RULES_LESS_PLAN, measure, units),
        ]
        for measure in MEASURES
    ]
    return headers, rows


def tried_table(found: Outlook, units: UnitSystem) -> Table:
    """Every measure's difference between what was tried and the season's own rules."""
    rows = [[label(item, units), _beside(found, TRIED_LESS_RULES, item, units)] for item in MEASURES]
    return ["mean of a season", TRIED_LESS_RULES.heading], rows


def label(measure: Measure, units: UnitSystem) -> str:
    """A measure with its unit: "nitrogen fed, lb N/ac"; words that begin with the unit do not repeat it."""
    unit = unit_words(measure, units)
    return f"{measure.words}, {unit}" if unit else measure.words


def fewer_seasons(found: Outlook) -> list[str]:
    """Sentences on the measures that not every season counts in, those with the same seasons together."""
    groups: dict[tuple[int, ...], list[str]] = {}
    for measure in MEASURES:
        counts = tuple(run.estimate(measure.name).seasons for run in found.runs)
        if min(counts) < found.seasons and is_set(found, measure):
            groups.setdefault(counts, []).append(measure.words)
    told = []
    for counts, names in groups.items():
        each = f"{counts[0]:,}"
        if len(set(counts)) > 1:
            each = ", ".join(f"{count:,} ({run.name})" for count, run in zip(counts, found.runs, strict=True))
        told.append(f"Of {found.seasons:,} seasons {each} count here, the others have none: {'; '.join(names)}.")
    return told


def how_rough(found: Outlook) -> tuple[str, ...]:
    """What has to be said of the intervals of few seasons; nothing of many."""
    return (ROUGH,) if found.seasons < _FEW else ()


def limits(found: Outlook) -> tuple[str, ...]:
    """What is to be kept in mind, in sentences."""
    model = found.setup.model
    first = (model.first,) if model.first else ()
    return (MODEL, *first, NO_RECORDS, INTERVALS, *how_rough(found), ASSUMED, *model.tells_not)
