"""What simulated seasons were made of and what the model rests on, in a grower's words."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from fertadjust.band_rows import Band
from fertadjust.dates import day
from fertadjust.errors import OutOfSeason
from fertadjust.evidence import Evidence, cite
from fertadjust.field import basis_words
from fertadjust.rules.policy import Figure, Policy
from fertadjust.simulate.guards import with_values
from fertadjust.simulate.outlook import Outlook
from fertadjust.simulate.parameters import CropModel, Range
from fertadjust.simulate.scenario import AS_ADVISED, Days, Scenario, Span
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.units import UnitSystem
from fertadjust.words import counted, recalled_mark

NO_RECORDS: Final = (
    "Each season begins on the first day of the plan with nothing measured: what is recorded plays no part. The "
    "rules' seasons are those of a grower who accepts every advice on the day of the result."
)
ASSUMED: Final = "What the seasons differ in is assumed, too; another scenario gives other numbers."

_DIGITS: Final = 3
"""Digits of a converted figure."""


# --- what was run -------------------------------------------------------------------------------------------


def what_runs(found: Outlook, units: UnitSystem) -> str:
    """Weeks, area, rules, table, scenario and seed."""
    setup = found.setup
    plan, mark = setup.season.plan, recalled(found)
    weeks, area = counted(len(plan.rates_lb_ac), "week"), basis_words(plan.basis, units)
    return (
        f"{weeks} from {day(plan.start)}, rates per {area}, "
        f"rules {setup.season.policy.id}, band table {setup.table.id}{f' ({mark}: check it)' if mark else ''}, "
        f"scenario {scenario_name(found)}, seed {setup.seed}."
    )


def scenario_name(found: Outlook) -> str:
    """A scenario's id, with the file that it was read from and the scenario that the file builds on."""
    origin = found.origin
    if not origin.file:
        return found.setup.scenario.id
    return f"{found.setup.scenario.id} (file {origin.file}{f', on {origin.extends}' if origin.extends else ''})"


def scenario_words(found: Outlook) -> str:
    """What a scenario is, and how often is sampled where that is set apart from it."""
    every = found.origin.every
    return found.setup.scenario.title + (f" Sampled {every} instead." if every else "")


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


def own_values(policy: Policy, units: UnitSystem) -> str:
    """The rule values that the season file sets, in a unit system; those of notes alone play no part."""
    names = [item.name for item in policy.overrides()]
    rows = tuple(f"cross_check.{row.id}" for row in policy.cross_check)
    return "; ".join(
        f"{name} = {_value(policy, name, units)}" for name in names if name in rows or "." not in name
    )


# --- what the seasons differ in -----------------------------------------------------------------------------


def differs(scenario: Scenario) -> list[str]:
    """What the seasons of a scenario differ in, a sentence or two for each part."""
    field, laboratory, sampling = scenario.field, scenario.laboratory, scenario.sampling
    rain, feeding = scenario.rain, scenario.feeding
    every = sampling.every
    when = "on the days that the rules ask for" if every == AS_ADVISED else f"every {every} days"
    rains = "none that leaches"
    if rain.a_week > 0:
        rains = (
            f"{rain.a_week:g} leaching rains a week, each of which takes {range_words(rain.lost, 100)} % of the "
            f"nitrate in the root zone; {100 * rain.noted:g} % of them are noted"
        )
    return [
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


def range_words(item: Span | Days | Range, scale: float = 1.0) -> str:
    """A range: "0.8 to 1.2", or one number."""
    low, high = f"{scale * item.low:g}", f"{scale * item.high:g}"
    return low if low == high else f"{low} to {high}"


# --- what the model rests on --------------------------------------------------------------------------------


def rests_on(model: CropModel, units: UnitSystem) -> list[str]:
    """The model's figures in a unit system, a line for each, in the model's order."""
    return [figure_words(item, units) for item in model.figures.values()]


def figure_words(item: Range, units: UnitSystem) -> str:
    """A figure of the model: name, range, unit, meaning, which keeps its published units, and source."""
    fitted = f"; fitted: {item.fitted}" if item.fitted else ""
    name = f"{item.name[:1].upper()}{item.name[1:]}"
    return f"{name}, {_measured(item, units)}: {item.meaning}{fitted} ({cite(item.source, item.evidence)})"


def _measured(item: Range, units: UnitSystem) -> str:
    """A range with its unit: nitrogen per area and depths of water in a unit system, what is else as it stands."""
    metric, unit = UnitSystem.METRIC, item.unit
    low, high, digits = item.low, item.high, 6
    if unit.startswith("kg/ha") and units is UnitSystem.US:
        low, high, digits = metric.rate_in(low), metric.rate_in(high), _DIGITS
        unit = f"lb/ac{unit.removeprefix('kg/ha')}"
    elif unit.startswith("lb/ac") and units is metric:
        low, high, digits = units.rate_out(low), units.rate_out(high), _DIGITS
        unit = f"kg/ha{unit.removeprefix('lb/ac')}"
    elif unit.split("/")[0] == metric.depth_unit and units is UnitSystem.US:
        low, high, digits = metric.depth_in(low), metric.depth_in(high), _DIGITS
        unit = f"{units.depth_unit}{unit.removeprefix(metric.depth_unit)}"
    ends = dict.fromkeys((f"{low:.{digits}g}", f"{high:.{digits}g}"))
    return f"{' to '.join(ends)} {unit}"


def assumed_share(model: CropModel) -> str:
    """How many of the model's figures are assumed."""
    every = list(model.figures.values())
    assumed = sum(item.evidence is Evidence.PROJECT_RULE for item in every)
    return f"{assumed} of the model's {len(every)} figures are assumed (project rule)"
