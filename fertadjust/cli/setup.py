"""``new`` and ``check``: a season folder set up and looked over."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import DAY, ask, open_folder, say, say_own_values, season_option
from fertadjust.cli.setup_plan import POSITIVE, RATE, bounds_asked, field_asked, plan_asked, planting_stage
from fertadjust.cli.setup_questions import (
    ASK,
    MAYBE_DAY,
    Dating,
    blank,
    crop_asked,
    fitting,
    named,
    rules_asked,
    rules_named,
    schedule_asked,
    stage_dates_asked,
    tables_asked,
    usual,
    usual_name,
    variety_asked,
)
from fertadjust.errors import Fault, UserError
from fertadjust.files import write_text

if TYPE_CHECKING:
    from fertadjust.bands import BandTable
    from fertadjust.rules.policy import Policy
    from fertadjust.season_file import SeasonFile
    from fertadjust.starter import Start


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
    help='Stage date; may be repeated. "none" where none has begun: there is no band until one has.',
)
@click.option("--start", type=DAY, help="First day of feeding.")
@click.option("--weeks", type=click.IntRange(1, 60), help="Weeks of feeding.")
@click.option("--basis", type=click.Choice(["bed", "gross", "linear_bed"]), help="What an acre or hectare means.")
@click.option("--standard-spacing", type=POSITIVE, help="Spacing that linear bed is counted at.")
@click.option("--rate", type=RATE, help="Nitrogen per week.")
@click.option(
    "--schedule",
    is_flag=False,
    flag_value=ASK,
    metavar="[NUMBER]",
    help="Start from a published schedule of the rules instead of one rate.",
)
@click.option("--injections", type=click.IntRange(1, 14), default=2, show_default=True, help="Injections a week.")
@click.option("--floor", type=RATE, help="Lowest weekly rate that may be advised.")
@click.option("--ceiling", type=POSITIVE, help="Highest weekly rate that may be advised.")
@click.option("--season-cap", type=POSITIVE, help="Most nitrogen of the season.")
@click.option("--block", help="Short name of the first block.")
@click.option("--row-length", type=POSITIVE, help="Length of a row.")
@click.option("--rows", type=click.IntRange(1), help="Number of rows.")
@click.option("--bed-top-width", type=POSITIVE, help="Width of the bed top.")
@click.option("--bed-spacing", type=POSITIVE, help="Distance between bed centres.")
@click.option("--soil", default="", help="Soil texture.")
def new(folder: Path, **given: Any) -> None:
    """Write a commented season file to start from.

    Asks for whatever is not given as an option. Nothing is written until all answers are there and fit.
    """
    from fertadjust.season_file import SEASON_FILE
    from fertadjust.starter import starter_text

    path = folder / SEASON_FILE
    if path.exists():
        raise UserError(Fault("stands already and is left as it is; choose another folder", str(path)))
    answers = _answers(given)
    text = starter_text(answers)
    file = _checked(text, folder)
    write_text(path, text)
    click.echo(f"Wrote {path}")
    for table in file.tables:
        if table.needs and not set(table.needs) & set(answers.stages):
            which = table.needs[0] if len(table.needs) == 1 else f"one of its stages ({', '.join(table.needs)})"
            say(f"{table.id} has no band before {which} has a date: fertadjust stages set NAME DATE", hang=2)
    say("Next: read it through, set your fertilizers and bounds, then: fertadjust check --season " + str(folder))


def _checked(text: str, folder: Path) -> SeasonFile:
    """The season file to be; its faults are told by option, since nobody has seen its lines yet."""
    from fertadjust.season_file import parse_season

    try:
        return parse_season(text, folder)
    except UserError as error:
        faults = [Fault(fault.message, key=_option(fault.key)) for fault in error.faults]
        raise UserError(dict.fromkeys(faults)) from None


def _option(key: str) -> str:
    """The option that a key of the season file comes from."""
    parts = re.split(r"[.\[]", key)
    last = _OPTIONS.get(parts[0]) or _OPTIONS.get(key) or _OPTIONS.get(parts[-1]) or parts[-1]
    return f"--{last.replace('_', '-')}"


_OPTIONS = {
    "bands": "table",
    "stages": "stage",
    "farm.name": "farm",
    "crop.name": "crop",
    "ramp": "schedule",
    "injections_per_week": "injections",
    "area_basis": "basis",
}
"""Options that are not named like the key; by the first part of it, by the whole and by the last."""


def _answers(given: dict[str, Any]) -> Start:
    """Everything that a season file needs, as given or as answered."""
    from fertadjust.starter import Start, stages_needed
    from fertadjust.units import UnitSystem

    talking = any(given[name] in (None, ()) for name in _NEEDED) or (
        given["rate"] is None and given["schedule"] is None
    )
    farm = named(given["farm"], "--farm", "Farm name")
    units = UnitSystem(ask(given["units"], "--units", "Units", type=click.Choice(["us", "metric"]), default="us"))
    crop = crop_asked(given["crop"])
    tables = tables_asked(crop, given["tables"])
    variety = variety_asked(given["variety"], crop, tables, talking)
    policy = rules_asked(given["rules"], crop, tables[0])
    system = usual_name(given["system"], "--system", "Growing system", _system(policy, tables[0]), talking)
    region = usual_name(given["region"], "--region", "Region", tables[0].region, talking)
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
    dating = Dating(crop, tables, stages_needed(crop, names), policy.late_anchor, planted)
    dates = stage_dates_asked(given["stages"], dating)
    schedule = (
        None
        if given["rate"] is not None and given["schedule"] is None
        else schedule_asked(given["schedule"], policy, talking)
    )
    if schedule is not None and given["rate"] is not None:
        raise UserError(Fault("state --rate or --schedule, one of the two", key="--rate"))
    block = str(fitting(given["block"], "--block", "Short name of the first block", blank, default="north"))
    field = field_asked(given, units)
    planting_as = planting_stage(schedule, planted, dates)
    if planting_as and planted is not None:
        dates = {planting_as: planted} | dates
    plan = plan_asked(given, units, policy, schedule, dates, field)
    floor, ceiling, note = bounds_asked(given, units, policy, plan)
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
        planting_as=planting_as,
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
