"""``bands blank``, ``check``, ``derive`` and ``convert``: tables of the grower's own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import ask, echo_json, echo_table, json_option, say
from fertadjust.cli.derive import derive
from fertadjust.cli.table_options import (
    analyte_option,
    anchor_option,
    axis_option,
    basis_option,
    free_id,
    kind_of,
    overwrite_option,
    part_option,
    print_use,
    stage_option,
    tissue_option,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.bands import BandTable


def add_to(group: click.Group) -> None:
    """Add the commands of this module to a group."""
    for command in (blank, check, derive, convert):
        group.add_command(command)


@click.command(
    epilog="""\b
Examples:
  fertadjust bands blank --to bands/our-watermelon.csv --crop watermelon \\
    --system field --region Indiana --basis sap
  fertadjust bands blank --to bands/our-leaves.toml --crop strawberry \\
    --system "annual plasticulture" --region "US Southeast" \\
    --tissue leaf --axis weeks --anchor first_bloom --weeks 10
"""
)
@click.option("--to", type=click.Path(path_type=Path), required=True, help="File to write, .toml or .csv.")
@click.option("--crop", help="Crop, as in season.toml.")
@click.option("--system", help="Growing system, as in season.toml.")
@click.option("--region", help="Region, as in season.toml.")
@tissue_option
@basis_option
@analyte_option
@part_option
@axis_option
@anchor_option
@stage_option
@click.option("--weeks", type=click.IntRange(1, 60), default=12, show_default=True, help="Weeks on such an axis.")
@overwrite_option
def blank(
    to: Path,
    crop: str | None,
    system: str | None,
    region: str | None,
    tissue: str,
    basis: str,
    analyte: str | None,
    part: str | None,
    axis: str,
    anchor: str | None,
    stages: tuple[str, ...],
    weeks: int,
    overwrite: bool,
) -> None:
    """Write a blank table to fill in, with a line for each stage, week or month.

    A CSV is filled in with a spreadsheet, a TOML file with an editor. Without --stage it has the crop's own
    stages.
    """
    from fertadjust.band_rows import Axis
    from fertadjust.files import write_text
    from fertadjust.shipped import crop_stages
    from fertadjust.table_blank import PARTS, Blank, blank_text, first_of_each
    from fertadjust.table_places import stage_name
    from fertadjust.table_write import check_target
    from fertadjust.tissue import Basis, Tissue

    check_target(to, overwrite)
    free_id(to)
    kind = kind_of(tissue, basis, analyte)
    grown = str(ask(crop, "--crop", "Crop"))
    known = crop_stages().of(grown)
    named = tuple(map(stage_name, stages)) or (first_of_each(known) if known else ())
    first = ask(anchor, "--anchor", "Stage that begins week 1 (day 0)") if axis in ("weeks", "days") else None
    asked = Blank(
        id=to.stem,
        crop=grown,
        system=str(ask(system, "--system", "Growing system")),
        region=str(ask(region, "--region", "Region")),
        tissue=Tissue(tissue),
        part=part or PARTS[Tissue(tissue)],
        basis=Basis(basis),
        analyte=kind,
        axis=Axis(axis),
        anchor=None if first is None else stage_name(str(first)),
        stages=named if axis == "stages" else (),
        weeks=weeks,
    )
    write_text(to, blank_text(asked, to.suffix, crop_stages().meaning))
    click.echo(f"Wrote {to}")
    say(f"Next: fill it in, then: fertadjust bands check {to}")


@click.command(epilog="Example: fertadjust bands check bands/our-watermelon.csv")
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def check(file: Path, as_json: bool) -> None:
    """Check a table of your own in FILE, and say what a careful person would ask.

    Every fault is told with its line, not only the first. A table without faults is shown, with questions such as
    whether a unit is mixed up.
    """
    from fertadjust.shipped import crop_stages, shipped_tables
    from fertadjust.table_check import questions

    table = _read(file)
    asked = questions(table, shipped_tables(), crop_stages())
    if as_json:
        echo_json({"table": table.as_data(), "questions": asked})
        return
    _print_table(table)
    click.echo("")
    if not asked:
        say("The table is in order, and there is nothing to ask.")
    for question in asked:
        say(question, indent="? ")
    print_use(table, file)


@click.command(
    epilog="""\b
Example:
  fertadjust bands convert our-watermelon.csv --to our-watermelon.toml
"""
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--to", type=click.Path(path_type=Path), required=True, help="File to write, .toml or .csv.")
@overwrite_option
def convert(file: Path, to: Path, overwrite: bool) -> None:
    """Write the table in FILE as TOML or CSV, by the ending of the new file; comments stay behind."""
    from fertadjust.shipped import read_band_table
    from fertadjust.table_write import write_table

    _known_ending(file)
    write_table(read_band_table(file), to, overwrite)
    click.echo(f"Wrote {to}")


def _known_ending(file: Path) -> None:
    from fertadjust.table_write import ENDINGS

    if file.suffix.lower() not in ENDINGS:
        raise UserError(Fault("a table is a .toml or a .csv file; save it as one of these", str(file)))


def _read(file: Path) -> BandTable:
    from fertadjust.shipped import read_band_table

    _known_ending(file)
    table = read_band_table(file)
    free_id(file)
    return table


def _print_table(table: BandTable) -> None:
    from fertadjust.table_places import place_text
    from fertadjust.table_write import edges_text

    say(table.title)
    say(f"{table.crop}; {table.part}; {table.basis.value}; {table.system}; {table.region}")
    if table.anchor and table.axis.value in ("weeks", "days"):
        where = "week 1 begins" if table.axis.value == "weeks" else "day 0 is"
        say(f"Places are {table.axis.value}; {where} on the first day of {table.anchor.replace('_', ' ')}.")
    click.echo("")
    rows = [
        [row.id, place_text(row), row.analyte, *edges_text(row), row.unit, row.evidence.value]
        for row in table.rows
    ]
    echo_table(["row", "place", "analyte", "low", "high", "unit", "evidence"], rows, left=(0, 1, 2, 5, 6))
