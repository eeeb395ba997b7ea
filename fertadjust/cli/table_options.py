"""Options and lines that the commands for tables of the grower's own share."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import say
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.bands import BandTable

_AXES = ("stages", "weeks", "days", "months", "season")

overwrite_option = click.option("--overwrite", is_flag=True, help="Write over a file that stands already.")
tissue_option = click.option(
    "--tissue",
    type=click.Choice(["petiole", "leaf"]),
    default="petiole",
    show_default=True,
    help="What is sampled.",
)
basis_option = click.option(
    "--basis", type=click.Choice(["dry", "sap"]), default="dry", show_default=True, help="Dry weight or fresh sap."
)
analyte_option = click.option("--analyte", help="Nutrient.  [default: NO3-N for petioles, N for leaves]")
axis_option = click.option(
    "--axis", type=click.Choice(_AXES), default="stages", show_default=True, help="What the bands run along."
)
anchor_option = click.option("--anchor", metavar="STAGE", help="Stage whose first day begins week 1 and is day 0.")
stage_option = click.option(
    "--stage",
    "stages",
    multiple=True,
    metavar="STAGE",
    help="Stage with a band, in order of time; may be repeated.",
)
part_option = click.option("--part", help="What is sampled, in words.")


def free_id(path: Path) -> None:
    """Refuse a file whose name is the id of a shipped table, since a season could not use it."""
    from fertadjust.shipped import shipped_tables

    if path.stem in shipped_tables():
        raise UserError(Fault("has the id of a shipped table; give the file another name", str(path)))


def kind_of(tissue: str, basis: str, analyte: str | None) -> str:
    """The stored name of the analyte; a leaf has no sap here."""
    from fertadjust.tissue import MAIN_ANALYTE, Tissue, canonical_analyte

    if tissue == "leaf" and basis == "sap":
        raise UserError(Fault("sap goes with petioles", key="--basis"))
    return canonical_analyte(analyte or MAIN_ANALYTE[Tissue(tissue)])


def print_use(table: BandTable, file: Path) -> None:
    """Say how a season comes to use the table in a file: in a folder of its own, below that of the season."""
    where = file.resolve().parent
    home = next((parent for parent in where.parents if (parent / "season.toml").is_file()), None)
    if home is None or (where / "season.toml").is_file():
        say("To use it, put it into a folder of its own beside season.toml, such as bands, and write")
        folder = "bands"
    else:
        say("To use it, write")
        folder = where.relative_to(home).as_posix()
    click.echo(f"  folder = {json.dumps(folder, ensure_ascii=False)}")
    click.echo(f'  tables = ["{table.id}"]')
    say("under [bands] in season.toml; other tables in use are named in the same list.")
