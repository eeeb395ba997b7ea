"""``new`` and ``check``: a season folder set up and looked over."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from fertadjust.cli.common import DAY, ask, open_folder, say, say_own_values, season_option
from fertadjust.cli.setup_questions import (
    ASK,
    MAYBE_DAY,
    crop_asked,
    rules_asked,
    rules_named,
    schedule_asked,
    stage_dates_asked,
    tables_asked,
    usual,
    variety_asked,
)
from fertadjust.errors import Fault, UserError
from fertadjust.files import write_text

if TYPE_CHECKING:
    from fertadjust.bands import BandTable
    from fertadjust.rules.policy import Policy
    from fertadjust.rules.published import Schedule
    from fertadjust.start_schedule import Ramp
    from fertadjust.starter import Start
    from fertadjust.units import UnitSystem


_number = click.FloatRange(0, min_open=True)


@click.command(
    epilog="""\b
Examples:
  fertadjust new my-season
  fertadjust new my-season --farm "Fernhill" --units us --crop strawberry \\
    --table strawberry-petiole-dry-us-southeast \\
    --stage first_bloom=2026-03-02 --start 2026-03-02 --weeks 12 \\
    --basis bed --rate 5.25 --block north --row-length 300 --rows 10 \\
    --bed-top-width 2.5 --bed-spacing 5
"""
)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--farm", help="Name of the farm.")
@click.option("--units", type=click.Choice(["us", "metric"]), help="Units of all numbers in the season.")
@click.option("--crop", help="Crop.")
@click.option("--table", "tables", multiple=True, help="Band table to compare with; may be repeated.")
@click.option("--variety", help="Variety or type, where a table is for one.")
@click.option("--rules", help="Rules to go by, by name.  [default: the only ones that fit, or asks]")
@click.option("--system", help="Growing system.  [default: that of the rules or the table]")
@click.option("--region", help="Where you grow.  [default: the first table's]")
@click.option("--planted", type=DAY, help="Day of planting or transplanting.")
@click.option(
    "--stage",
    "stages",
    multiple=True,
    metavar="NAME=DATE",
    help='Stage date; may be repeated. "none" where none has begun.',
)
@click.option("--start", type=DAY, help="First day of feeding.")
@click.option("--weeks", type=click.IntRange(1, 60), help="Weeks of feeding.")
@click.option("--basis", type=click.Choice(["bed", "gross", "linear_bed"]), help="What an acre or hectare means.")
@click.option("--standard-spacing", type=_number, help="Spacing that linear bed is counted at.")
@click.option("--rate", type=click.FloatRange(0), help="Nitrogen per week.")
@click.option(
    "--schedule",
    is_flag=False,
    flag_value=ASK,
    metavar="[NUMBER]",
    help="Start from a published schedule of the rules instead of one rate.",
)
@click.option("--injections", type=click.IntRange(1, 14), default=2, show_default=True, help="Injections a week.")
@click.option("--floor", type=click.FloatRange(0), help="Lowest weekly rate that may be advised.")
@click.option("--ceiling", type=_number, help="Highest weekly rate that may be advised.")
@click.option("--season-cap", type=_number, help="Most nitrogen of the season.")
@click.option("--block", help="Short name of the first block.")
@click.option("--row-length", type=_number, help="Length of a row.")
@click.option("--rows", type=click.IntRange(1), help="Number of rows.")
@click.option("--bed-top-width", type=_number, help="Width of the bed top.")
@click.option("--bed-spacing", type=_number, help="Distance between bed centres.")
@click.option("--soil", default="", help="Soil texture.")
def new(folder: Path, **given: Any) -> None:
    """Write a commented season file to start from.

    Asks for whatever is not given as an option. Nothing is written until all answers are there and fit.
    """
    from fertadjust.season_file import SEASON_FILE, parse_season
    from fertadjust.starter import starter_text

    path = folder / SEASON_FILE
    if path.exists():
        raise UserError(Fault("stands already and is left as it is; choose another folder", str(path)))
    text = starter_text(_answers(given))
    parse_season(text, folder)
    write_text(path, text)
    click.echo(f"Wrote {path}")
    say("Next: read it through, set your fertilizers and bounds, then: fertadjust check --season " + str(folder))


def _answers(given: dict[str, Any]) -> Start:
    """Everything that a season file needs, as given or as answered."""
    from fertadjust.starter import Start, stages_needed
    from fertadjust.units import UnitSystem

    talking = any(given[name] in (None, ()) for name in _NEEDED) or (
        given["rate"] is None and given["schedule"] is None
    )
    farm = str(ask(given["farm"], "--farm", "Farm name"))
    units = UnitSystem(ask(given["units"], "--units", "Units", type=click.Choice(["us", "metric"]), default="us"))
    crop = crop_asked(given["crop"])
    tables = tables_asked(crop, given["tables"])
    variety = variety_asked(given["variety"], crop, tables, talking)
    policy = rules_asked(given["rules"], crop, tables[0])
    system = str(usual(given["system"], "Growing system", _system(policy, tables[0]), talking))
    region = str(usual(given["region"], "Region", tables[0].region, talking))
    planted = (
        usual(
            given["planted"],
            "Day of planting or transplanting (Enter = leave out)",
            "",
            talking,
            type=MAYBE_DAY,
            show_default=False,
        )
        or None
    )
    names = [table.id for table in tables]
    dates = stage_dates_asked(crop, stages_needed(crop, names), given["stages"])
    schedule = (
        None
        if given["rate"] is not None and given["schedule"] is None
        else schedule_asked(given["schedule"], policy, talking)
    )
    if schedule is not None and given["rate"] is not None:
        raise UserError(Fault("state --rate or --schedule, one of the two", key="--rate"))
    block = str(ask(given["block"], "--block", "Short name of the first block", default="north"))
    field = _field(given, units)
    begun = dates if planted is None else dict.fromkeys(("planting", "transplanting"), planted) | dates
    plan = _plan(given, units, schedule, begun, field)
    floor, ceiling, note = _bounds(given, units, policy, plan.factor)
    return Start(
        farm=farm,
        units=units,
        crop=crop,
        variety=variety,
        system=system,
        region=region,
        policy=policy.id,
        name_rules=rules_named(policy, crop, system, region),
        planted=planted,
        tables=names,
        stages=dates,
        start=plan.start,
        weeks=plan.weeks,
        basis=plan.basis,
        standard_spacing=plan.standard_spacing,
        rate=plan.rate,
        ramp=plan.ramp,
        injections=given["injections"],
        floor=floor,
        ceiling=ceiling,
        bounds_note=note,
        factor=plan.factor,
        season_cap=given["season_cap"],
        block=re.sub(r"[^a-z0-9_-]+", "-", block.lower()).strip("-_") or "block",
        block_name=block,
        row_length=field["row_length"],
        rows=field["rows"],
        bed_top_width=field["bed_top_width"],
        bed_spacing=field["bed_spacing"],
        soil=given["soil"],
    )


_NEEDED = (
    *("farm", "units", "crop", "tables", "start", "weeks", "basis"),
    *("block", "row_length", "rows", "bed_top_width", "bed_spacing"),
)
"""Options that are asked for where they are left out."""


def _system(policy: Policy, table: BandTable) -> str:
    """The growing system of the rules where it is a kind of the table's, else the table's."""
    from fertadjust.season_tables import within_system

    return policy.system if within_system(policy.system, table.system) else table.system


def _field(given: dict[str, Any], units: UnitSystem) -> dict[str, Any]:
    """Rows and widths of the first block."""
    length = units.length_unit
    return {
        "row_length": ask(given["row_length"], "--row-length", f"Row length [{length}]", type=_number),
        "rows": ask(given["rows"], "--rows", "Number of rows", type=click.IntRange(1)),
        "bed_top_width": ask(given["bed_top_width"], "--bed-top-width", f"Bed-top width [{length}]", type=_number),
        "bed_spacing": ask(given["bed_spacing"], "--bed-spacing", f"Bed spacing [{length}]", type=_number),
    }


class _PlanAnswers(NamedTuple):
    """The plan as answered; ``factor`` is what rates of the source's acre were multiplied by."""

    start: date
    weeks: int
    basis: str
    standard_spacing: float | None
    rate: float | None
    ramp: Ramp | None
    factor: float


def _plan(
    given: dict[str, Any],
    units: UnitSystem,
    schedule: Schedule | None,
    dates: dict[str, date],
    field: dict[str, Any],
) -> _PlanAnswers:
    """Start, weeks, basis and rates: one rate, or the schedule as a ramp."""
    from fertadjust.field import AreaBasis
    from fertadjust.start_schedule import Widths, area_factor, ramp_of, weeks_before

    begins = None if schedule is None else dates.get(schedule.anchor)
    first: dict[str, Any] = {} if begins is None else {"default": begins.isoformat()}
    start = ask(given["start"], "--start", "First day of feeding (year-month-day)", type=DAY, **first)
    over = weeks_before(begins, start)
    left = 12 if schedule is None else max(1, len(schedule.weekly_lb_ac()) - over)
    weeks = ask(given["weeks"], "--weeks", "Weeks of feeding", type=click.IntRange(1, 60), default=left)
    choices = click.Choice(["bed", "gross", "linear_bed"])
    own = "bed" if schedule is None or schedule.basis is None else schedule.basis.value
    basis = ask(given["basis"], "--basis", "An acre or hectare means", type=choices, default=own)
    standard = None
    if basis == "linear_bed":
        spacing = None if schedule is None else schedule.spacing_ft
        shown: dict[str, Any] = {} if spacing is None else {"default": round(units.length_out(spacing), 4)}
        question = f"Spacing that linear bed is counted at [{units.length_unit}]"
        standard = ask(given["standard_spacing"], "--standard-spacing", question, type=_number, **shown)
    elif given["standard_spacing"] is not None:
        raise UserError(Fault("goes with --basis linear_bed", key="--standard-spacing"))
    if schedule is None:
        rate = ask(given["rate"], "--rate", f"Nitrogen [{units.rate_unit}]", type=click.FloatRange(0))
        return _PlanAnswers(start, weeks, basis, standard, rate, None, 1.0)
    widths = Widths(
        units.length_in(field["bed_top_width"]),
        units.length_in(field["bed_spacing"]),
        None if standard is None else units.length_in(standard),
    )
    ramp = ramp_of(schedule, units, weeks, over, AreaBasis(basis), widths)
    factor = area_factor(schedule, AreaBasis(basis), widths)
    return _PlanAnswers(start, weeks, basis, standard, None, ramp, factor)


def _bounds(
    given: dict[str, Any], units: UnitSystem, policy: Policy, factor: float
) -> tuple[float | None, float | None, str]:
    """Floor and ceiling to write, and why; None where the rules' own are taken."""
    floor, ceiling = given["floor"], given["ceiling"]
    if policy.floor is None or policy.ceiling is None:
        if None in (floor, ceiling):
            say(f"The rules {policy.id} hold no lowest and highest rate, since none is published.")
        what = f"weekly rate that may be advised [{units.rate_unit}]"
        floor = ask(floor, "--floor", f"Lowest {what}", type=click.FloatRange(0))
        ceiling = ask(ceiling, "--ceiling", f"Highest {what}", type=_number)
        return floor, ceiling, ""
    if factor == 1.0:
        return floor, ceiling, ""
    own = [
        round(units.rate_out(figure.value * factor), 9) if value is None else value
        for value, figure in ((floor, policy.floor), (ceiling, policy.ceiling))
    ]
    return own[0], own[1], f"Those of the rules {policy.id} multiplied by {factor:.4g}, as the ramp above is."


@click.command(epilog="Example: fertadjust check --season my-season")
@season_option
def check(folder: Path) -> None:
    """Check a season file and say what it holds.

    Every fault is told with its line and key, not only the first.
    """
    from fertadjust import dates, words
    from fertadjust.field import basis_words
    from fertadjust.published_words import plan_beside

    season = open_folder(folder)
    file, units = season.file, season.units
    say(f"{file.farm}: {file.crop}, {file.system}, {file.region}. The season file is in order.")
    for key in season.blocks:
        one = season.block(key)
        area = units.area_out(one.block.area_ac())
        per = basis_words(one.block.area_basis, units)
        say(f"Block {key} ({one.block.name}): {area:.4f} {units.area_unit}, counted per {per}.")
    plan = file.blocks[season.blocks[0]].plan
    total = words.rate(sum(plan.rates_lb_ac), units)
    say(
        f"Plan: {len(plan.rates_lb_ac)} weeks from {dates.day(plan.start)}, {total} {units.total_unit} in all, "
        f"bounds {words.rate(plan.floor_lb_ac, units)} to {words.rate(plan.ceiling_lb_ac, units)} "
        f"{units.rate_unit}."
    )
    first = season.block(season.blocks[0])
    for sentence in plan_beside(file.policy, first.plan, first.stages, units):
        say(sentence)
    say_own_values(file.policy.overrides())
    for note in file.notes:
        say(f"Note: {note}")
