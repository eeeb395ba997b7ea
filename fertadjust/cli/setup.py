"""``new`` and ``check``: a season folder set up and looked over."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import DAY, ask, open_folder, say, say_own_values, season_option
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.bands import BandTable


@click.command(
    epilog="""\b
Examples:
  fertadjust new my-season
  fertadjust new my-season --farm "Fernhill" --units us \\
    --table strawberry-petiole-dry-us-southeast \\
    --stage first_bloom=2026-03-02 --start 2026-03-02 --weeks 12 \\
    --basis bed --rate 5.25 --block north --row-length 300 --rows 10 \\
    --bed-top-width 2.5 --bed-spacing 5
"""
)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--farm", help="Name of the farm.")
@click.option("--units", type=click.Choice(["us", "metric"]), help="Units of all numbers in the season.")
@click.option("--crop", default="strawberry", show_default=True, help="Crop.")
@click.option("--table", "tables", multiple=True, help="Band table to compare with; may be repeated.")
@click.option("--stage", "stages", multiple=True, metavar="NAME=DATE", help="Stage date; may be repeated.")
@click.option("--start", type=DAY, help="First day of feeding.")
@click.option("--weeks", type=click.IntRange(1, 60), help="Weeks of feeding.")
@click.option("--basis", type=click.Choice(["bed", "gross"]), help="What an acre or hectare means.")
@click.option("--rate", type=click.FloatRange(0), help="Nitrogen per week.")
@click.option("--injections", type=click.IntRange(1, 14), default=2, show_default=True, help="Injections a week.")
@click.option("--season-cap", type=click.FloatRange(0, min_open=True), help="Most nitrogen of the season.")
@click.option("--block", help="Short name of the first block.")
@click.option("--row-length", type=click.FloatRange(0, min_open=True), help="Length of a row.")
@click.option("--rows", type=click.IntRange(1), help="Number of rows.")
@click.option("--bed-top-width", type=click.FloatRange(0, min_open=True), help="Width of the bed top.")
@click.option("--bed-spacing", type=click.FloatRange(0, min_open=True), help="Distance between bed centres.")
@click.option("--soil", default="", help="Soil texture.")
def new(
    folder: Path,
    farm: str | None,
    units: str | None,
    crop: str,
    tables: tuple[str, ...],
    stages: tuple[str, ...],
    start: date | None,
    weeks: int | None,
    basis: str | None,
    rate: float | None,
    injections: int,
    season_cap: float | None,
    block: str | None,
    row_length: float | None,
    rows: int | None,
    bed_top_width: float | None,
    bed_spacing: float | None,
    soil: str,
) -> None:
    """Write a commented season file to start from.

    Asks for whatever is not given as an option. Nothing is written until all answers are there and fit.
    """
    from fertadjust.files import write_text
    from fertadjust.season_file import SEASON_FILE, parse_season
    from fertadjust.starter import Start, starter_text
    from fertadjust.units import UnitSystem

    path = folder / SEASON_FILE
    if path.exists():
        raise UserError(Fault("stands already and is left as it is; choose another folder", str(path)))
    farm = ask(farm, "--farm", "Farm name")
    system = UnitSystem(ask(units, "--units", "Units", type=click.Choice(["us", "metric"]), default="us"))
    chosen = _tables(crop, tables)
    dates = _stage_dates(chosen, stages)
    name = str(ask(block, "--block", "Short name of the first block", default="north"))
    length = system.length_unit
    number = click.FloatRange(0, min_open=True)
    answers = Start(
        farm=str(farm),
        units=system,
        crop=crop,
        system=_system(crop, chosen[0]),
        region=_shipped(chosen[0]).region,
        tables=chosen,
        stages=dates,
        start=ask(start, "--start", "First day of feeding (year-month-day)", type=DAY),
        weeks=ask(weeks, "--weeks", "Weeks of feeding", type=click.IntRange(1, 60), default=12),
        basis=ask(
            basis, "--basis", "An acre or hectare means", type=click.Choice(["bed", "gross"]), default="bed"
        ),
        rate=ask(rate, "--rate", f"Nitrogen [{system.rate_unit}]", type=click.FloatRange(0)),
        injections=injections,
        season_cap=season_cap,
        block=re.sub(r"[^a-z0-9_-]+", "-", name.lower()).strip("-_") or "block",
        block_name=name,
        row_length=ask(row_length, "--row-length", f"Row length [{length}]", type=number),
        rows=ask(rows, "--rows", "Number of rows", type=click.IntRange(1)),
        bed_top_width=ask(bed_top_width, "--bed-top-width", f"Bed-top width [{length}]", type=number),
        bed_spacing=ask(bed_spacing, "--bed-spacing", f"Bed spacing [{length}]", type=number),
        soil=soil,
    )
    text = starter_text(answers)
    parse_season(text, folder)
    write_text(path, text)
    click.echo(f"Wrote {path}")
    say("Next: read it through, set your fertilizers and bounds, then: fertadjust check --season " + str(folder))


def _shipped(name: str) -> BandTable:
    from fertadjust.shipped import shipped_tables

    return shipped_tables()[name]


def _system(crop: str, table: str) -> str:
    """The table's growing system where there are rules for it, else the one that there are rules for."""
    from fertadjust.shipped import shipped_policies

    system = _shipped(table).system
    known = [policy.system for policy in shipped_policies().values() if crop in policy.crops]
    return system if system in known or not known else known[0]


def _tables(crop: str, given: tuple[str, ...]) -> list[str]:
    """The tables named, or those picked from the list of the crop's."""
    from fertadjust.shipped import shipped_tables

    fitting = {name: table for name, table in shipped_tables().items() if table.crop == crop}
    if not fitting:
        crops = sorted({table.crop for table in shipped_tables().values()})
        raise UserError(Fault(f'no table is for "{crop}"; there are tables for: {", ".join(crops)}', key="--crop"))
    unknown = [name for name in given if name not in fitting]
    if unknown:
        raise UserError(
            Fault(f"no {crop} table {', '.join(unknown)}; there are: {', '.join(fitting)}", key="--table")
        )
    if given:
        return list(given)
    names = list(fitting)
    say("Bands of different regions disagree several-fold, so the table is your choice:")
    for index, name in enumerate(names, start=1):
        say(f"{fitting[name].title} ({fitting[name].region})", indent=f"{index:3d}  ")
    answer = str(
        ask(None, "--table", "Numbers of the tables to use, with commas (one for petioles, one for leaves)")
    )
    parts = [part.strip() for part in answer.split(",")]
    if not all(part.isascii() and part.isdigit() and 1 <= int(part) <= len(names) for part in parts):
        raise UserError(Fault(f'"{answer}" should be numbers from 1 to {len(names)}', key="--table"))
    return [names[int(part) - 1] for part in parts]


def _stage_name(text: str) -> str:
    name = text.strip()
    if not re.fullmatch(r"[a-z0-9_]+", name):
        raise ValueError(name)
    return name


def _stage_dates(tables: list[str], given: tuple[str, ...]) -> dict[str, date]:
    """Dates of the stages that the tables need: as given, else as answered."""
    from fertadjust.stages import stage_words
    from fertadjust.starter import stages_needed

    dates: dict[str, date] = {}
    for item in given:
        name, _, text = item.partition("=")
        try:
            dates[_stage_name(name)] = date.fromisoformat(text.strip())
        except ValueError:
            raise UserError(
                Fault(f'"{item}" should be NAME=DATE, first_bloom=2026-03-02', key="--stage")
            ) from None
    for name in stages_needed(tables):
        if name not in dates:
            dates[name] = ask(
                None, f"--stage {name}=", f"First day of {stage_words(name)} (year-month-day)", type=DAY
            )
    return dates


@click.command(epilog="Example: fertadjust check --season my-season")
@season_option
def check(folder: Path) -> None:
    """Check a season file and say what it holds.

    Every fault is told with its line and key, not only the first.
    """
    from fertadjust import dates, words
    from fertadjust.field import basis_words

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
    say_own_values(file.policy.overrides())
    for note in file.notes:
        say(f"Note: {note}")
