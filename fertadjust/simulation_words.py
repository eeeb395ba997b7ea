"""Simulated seasons in a grower's words. Nothing is worked out here but how a number is written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from typing import Final, NamedTuple

import numpy as np

from fertadjust.band_rows import Band
from fertadjust.dates import day
from fertadjust.errors import OutOfSeason
from fertadjust.evidence import Evidence, cite
from fertadjust.rules.policy import Figure, Policy
from fertadjust.simulate.guards import with_values
from fertadjust.simulate.measures import MEASURES, MIDWEEK, Estimate, Measure
from fertadjust.simulate.outlook import PLAN, RULES, TRIED, Outlook
from fertadjust.simulate.parameters import CropModel, Range
from fertadjust.simulate.scenario import AS_ADVISED, Days, Scenario, Span
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.units import DAYS_PER_WEEK, UnitSystem
from fertadjust.words import recalled_mark

MODEL: Final = (
    "A model, not a forecast: it tells what the rules tend to do in seasons that are drawn from ranges, many of "
    "them assumed, and not what your field will do."
)
NO_RECORDS: Final = (
    "Each season begins on the first day of the plan with nothing measured: what is recorded plays no part. The "
    "rules' seasons are those of a grower who accepts every advice on the day of the result."
)
INTERVALS: Final = (
    "Differences are taken season by season, since every way meets the same seasons; intervals are 95 %. They "
    "tell how far the draw of the seasons moves a mean, not how far the model is from a field, so a clear "
    "difference need not be a large one. Of so many measures, one or another may look clear by chance."
)
ASSUMED: Final = "What the seasons differ in is assumed, too; another scenario gives other numbers."

_DECIMALS: Final = {"share": 1, "weeks": 1, "lb/ac": 1, "": 2}
_MOST_DECIMALS: Final = 4
_BEYOND: Final = 1e-12
"""Less than this is rounding."""

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


def shown(value: float, measure: Measure, units: UnitSystem) -> float:
    """A measure's value in the unit of `unit_words`."""
    if measure.unit == "share":
        return 100.0 * value
    return units.rate_out(value) if measure.unit == "lb/ac" else value


def is_clear(item: Estimate) -> bool:
    """Whether an interval does not hold 0; one that is not known is not clear."""
    return item.low > _BEYOND or item.high < -_BEYOND


def is_nothing(item: Estimate) -> bool:
    """Whether no season showed any difference."""
    return max(abs(item.low), abs(item.high)) <= _BEYOND


def mean_words(item: Estimate, measure: Measure, units: UnitSystem) -> str:
    """A mean without its unit; "-" where no season counts."""
    if math.isnan(item.mean):
        return "-"
    return f"{shown(item.mean, measure, units):.{_DECIMALS[measure.unit]}f}"


def difference_words(item: Estimate, measure: Measure, units: UnitSystem) -> str:
    """A difference with its interval: "+1.8 (+0.4 to +3.2)", "not clear (-0.1 to +0.6)" or "none seen"."""
    if math.isnan(item.low):
        return "not known"
    if is_nothing(item):
        return "none seen"
    low, mean, high = (shown(value, measure, units) for value in (item.low, item.mean, item.high))
    digits = _digits((low, high), _DECIMALS[measure.unit])
    span = f"({low:+.{digits}f} to {high:+.{digits}f})"
    return f"{mean:+.{digits}f} {span}" if is_clear(item) else f"not clear {span}"


def _digits(ends: Sequence[float], least: int) -> int:
    """Decimals by which no end of an interval looks like 0 that is not."""
    digits = least
    while digits < _MOST_DECIMALS and any(abs(end) > _BEYOND and round(end, digits) == 0 for end in ends):
        digits += 1
    return digits


def range_words(item: Span | Days | Range, scale: float = 1.0) -> str:
    """A range: "0.8 to 1.2", or one number."""
    low, high = f"{scale * item.low:g}", f"{scale * item.high:g}"
    return low if low == high else f"{low} to {high}"


def recalled(found: Outlook) -> str:
    """ "band recalled" where a band in the plan's weeks was written from memory, else ""."""
    setup, bands = found.setup, list[Band]()
    for index in range(setup.days):
        on = setup.season.plan.start + timedelta(days=index)
        try:
            bands.append(setup.table.band_on(MAIN_ANALYTE[setup.table.tissue], on, setup.season.stages))
        except OutOfSeason:
            continue
    return recalled_mark(*bands)


def policy_value(policy: Policy, name: str, units: UnitSystem) -> tuple[float | bool | str, str]:
    """A policy value and its unit; nitrogen per area in a unit system. Rows are named "cross_check.<row>"."""
    table, _, row = name.partition(".")
    if row:
        return next(item.step for item in policy.cross_check if item.id == row), ""
    item = getattr(policy, table)
    if not isinstance(item, Figure):
        return (item.value if isinstance(item.value, bool) else str(item.value)), ""
    nitrogen = UnitSystem.US.total_unit
    if not item.unit.startswith(nitrogen):
        return item.value, item.unit
    return units.rate_out(item.value), f"{units.total_unit}{item.unit.removeprefix(nitrogen)}"


def tried_names(found: Outlook) -> list[str]:
    """Names of the values that were tried, rows of the cross-check table as "cross_check.<row>"."""
    return [
        key
        for name, value in found.tried.items()
        for key in ([f"{name}.{row}" for row in value] if isinstance(value, dict) else [name])
    ]


# --- what it comes to ---------------------------------------------------------------------------------------


def weeks_with_band(found: Outlook) -> int:
    """Weeks of the plan that have a band by the dates in the season file."""
    low, _ = found.bands()
    return int(np.isfinite(low[MIDWEEK::DAYS_PER_WEEK]).sum())


def headline(found: Outlook) -> str:
    """Weeks in band under the rules and under the plan, and whether they differ."""
    weeks, of_plan = weeks_with_band(found), len(found.setup.season.plan.rates_lb_ac)
    if not weeks:
        return "No week of the plan has a band in its middle, so weeks in the band are not counted."
    of = f"{weeks} weeks" if weeks == of_plan else f"the {weeks} weeks with a band"
    rules, plan = (_in_weeks(found.run(name).estimate("in_band"), weeks) for name in (RULES, PLAN))
    more = _in_weeks(difference(found, RULES_LESS_PLAN, "in_band"), weeks)
    return (
        f"In {found.seasons:,} simulated seasons like this one the rules kept the crop in its band in "
        f"{rules.mean:.1f} of {of} ({rules.low:.1f} to {rules.high:.1f}), the plan as it stands in "
        f"{plan.mean:.1f} ({plan.low:.1f} to {plan.high:.1f}). {_how_clear(more)}"
    )


def _in_weeks(share: Estimate, weeks: int) -> Estimate:
    return Estimate(share.mean * weeks, share.low * weeks, share.high * weeks, share.seasons)


def _how_clear(more: Estimate) -> str:
    if is_nothing(more):
        return "There is no difference in any of them."
    digits = _digits((more.low, more.high), _DECIMALS["weeks"])
    if not is_clear(more):
        span = f"{more.low:+.{digits}f} to {more.high:+.{digits}f} weeks"
        return f"The difference is not clear: its interval, {span}, holds 0."
    ends = sorted((abs(more.low), abs(more.high)))
    which = "more" if more.mean > 0 else "fewer"
    return (
        f"Season by season that is {abs(more.mean):.{digits}f} weeks {which} under the rules "
        f"({ends[0]:.{digits}f} to {ends[1]:.{digits}f})."
    )


def verdicts(found: Outlook, pair: Pair) -> list[str]:
    """Which measures are clearly better, worse or otherwise, which are not clear, and which do not differ."""
    groups: dict[str, list[str]] = {
        name: [] for name in ("better", "worse", "more", "less", "unclear", "same", "unknown")
    }
    for measure in MEASURES:
        item = difference(found, pair, measure.name)
        groups[_group(item, measure)].append(measure.words)
    words = {
        "better": "Clearly better",
        "worse": "Clearly worse",
        "more": "Clearly more, good or bad",
        "less": "Clearly less, good or bad",
        "unclear": "Not clear, the interval holds 0",
        "same": "No difference in any season",
        "unknown": "Not known",
    }
    return [f"{words[name]}: {'; '.join(items)}." for name, items in groups.items() if items]


def _group(item: Estimate, measure: Measure) -> str:
    if math.isnan(item.low):
        return "unknown"
    if not is_clear(item):
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
            difference_words(difference(found, RULES_LESS_PLAN, measure.name), measure, units),
        ]
        for measure in MEASURES
    ]
    return headers, rows


def tried_table(found: Outlook, units: UnitSystem) -> Table:
    """Every measure's difference between what was tried and the season's own rules."""
    rows = [
        [label(item, units), difference_words(difference(found, TRIED_LESS_RULES, item.name), item, units)]
        for item in MEASURES
    ]
    return ["mean of a season", TRIED_LESS_RULES.heading], rows


def label(measure: Measure, units: UnitSystem) -> str:
    """A measure with its unit: "nitrogen fed, lb N/ac"; words that begin with the unit do not repeat it."""
    unit = unit_words(measure, units)
    return f"{measure.words}, {unit}" if unit else measure.words


def fewer_seasons(found: Outlook) -> list[str]:
    """Measures that not every season counts in."""
    told = []
    for measure in MEASURES:
        counts = {run.name: run.estimate(measure.name).seasons for run in found.runs}
        if min(counts.values()) < found.seasons:
            listed = ", ".join(f"{name} {count:,}" for name, count in counts.items())
            told.append(f"{measure.words}: of those seasons that have any ({listed} of {found.seasons:,})")
    return told


# --- what it rests on ---------------------------------------------------------------------------------------


def what_is_tried(found: Outlook, units: UnitSystem) -> str:
    """The values that were tried beside the season's own: "confidence = 0.6 instead of 0.8 probability"."""
    own = found.setup.season.policy
    policy = with_values(own, found.tried)
    values = {name: (_value(policy, name, units), _value(own, name, units)) for name in tried_names(found)}
    return "; ".join(f"{name} = {tried} instead of {present}" for name, (tried, present) in values.items())


def _value(policy: Policy, name: str, units: UnitSystem) -> str:
    value, unit = policy_value(policy, name, units)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g} {unit}".rstrip() if isinstance(value, float) else value


def what_runs(found: Outlook) -> str:
    """Block, plan, rules, table, scenario and seed."""
    setup = found.setup
    plan, mark = setup.season.plan, recalled(found)
    return (
        f"{setup.season.block.name}: {len(plan.rates_lb_ac)} weeks from {day(plan.start)}, rules "
        f"{setup.season.policy.id}, band table {setup.table.id}{f' ({mark}: check it)' if mark else ''}, scenario "
        f"{setup.scenario.id}, seed {setup.seed}."
    )


def differs(scenario: Scenario) -> list[str]:
    """What the seasons of a scenario differ in, a sentence or two for each part."""
    field, laboratory, sampling = scenario.field, scenario.laboratory, scenario.sampling
    rain, feeding = scenario.rain, scenario.feeding
    every = sampling.every
    when = "on the days that the rules ask for" if every == AS_ADVISED else f"every {_days(int(every))}"
    rains = "none that leaches"
    if rain.a_week > 0:
        rains = (
            f"{rain.a_week:g} leaching rains a week, each of which takes {range_words(rain.lost, 100)} % of the "
            f"nitrate in the root zone; {100 * rain.noted:g} % of them are noted"
        )
    return [
        scenario.title,
        f"Field: the crop needs {range_words(field.need)} times what the model states; mineral nitrogen at the "
        f"start is {range_words(field.soil_at_start)} times what it states; the irrigation water holds "
        f"{range_words(field.water_nitrate)} ppm nitrate-nitrogen.",
        f"Stage: {_off(scenario.stage.days_off)}.",
        f"Samples: {when}, the first on day {sampling.first_day + 1} of the plan, {sampling.petioles} petioles; "
        f"{100 * sampling.lost:g} % never come to a result.",
        f"Laboratory: a result takes {range_words(laboratory.days)} days; all season it reads "
        f"{range_words(laboratory.bias)} times what is there; single petioles scatter by "
        f"{100 * laboratory.petiole_cv:g} %, hour and day by {100 * laboratory.hour_and_day:g} %.",
        f"Feeding: {100 * feeding.missed:g} % of the injections are left out; {100 * feeding.logged:g} % of the "
        "growers keep a log.",
        f"Rain: {rains}.",
    ]


def _days(count: int) -> str:
    return "day" if count == 1 else f"{count} days"


def _off(days: Days) -> str:
    if days.low == days.high == 0:
        return "the crop is where the dates in season.toml say"
    ends = [
        "on its date" if end == 0 else f"{_count(abs(end))} {'late' if end > 0 else 'early'}"
        for end in dict.fromkeys((days.low, days.high))
    ]
    return f"the crop is {' to '.join(ends)} by the dates in season.toml"


def _count(days: int) -> str:
    return f"{days} day{'' if days == 1 else 's'}"


def rests_on(model: CropModel) -> list[str]:
    """The model's figures, a line for each, in the model's order, since one is stated in parts of another."""
    return [figure_words(item) for item in model.figures.values()]


def figure_words(item: Range) -> str:
    """A figure of the model with its range, unit, meaning and source."""
    fitted = f"; fitted: {item.fitted}" if item.fitted else ""
    return f"{range_words(item)} {item.unit}: {item.meaning}{fitted} ({cite(item.source, item.evidence)})"


def assumed_share(model: CropModel) -> str:
    """How many of the model's figures are assumed."""
    every = list(model.figures.values())
    assumed = sum(item.evidence is Evidence.PROJECT_RULE for item in every)
    return f"{assumed} of the model's {len(every)} figures are assumed (project rule)"


def limits(found: Outlook) -> tuple[str, ...]:
    """What is to be kept in mind, in sentences."""
    return (MODEL, NO_RECORDS, INTERVALS, ASSUMED, *found.setup.model.tells_not)
