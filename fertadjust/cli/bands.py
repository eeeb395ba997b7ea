"""``bands``: the sufficiency tables, listed and shown."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import echo_json, echo_table, json_option, say
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.band_rows import BandRow
    from fertadjust.bands import BandTable

_folder_option = click.option(
    "--folder", type=click.Path(path_type=Path), help="A folder of your own tables, shown as well."
)


@click.group()
def bands() -> None:
    """List and show the sufficiency tables."""


def _tables(folder: Path | None) -> dict[str, BandTable]:
    from fertadjust.shipped import read_band_folder, shipped_tables

    own = {} if folder is None else read_band_folder(folder)
    for clash in sorted(shipped_tables().keys() & own.keys()):
        raise UserError(Fault("has the id of a shipped one; give it another", str(folder), key=clash))
    return shipped_tables() | own


@bands.command("list", epilog="Example: fertadjust bands list --crop strawberry")
@click.option("--crop", help="Only tables of this crop.")
@_folder_option
@json_option
def list_(crop: str | None, folder: Path | None, as_json: bool) -> None:
    """List the tables: crop, tissue, basis, region, and whether any row is from memory."""
    tables = [table for table in _tables(folder).values() if crop is None or table.crop == crop]
    if not tables:
        raise UserError(Fault(f'no table is for "{crop}"', key="--crop"))
    if as_json:
        echo_json([{key: value for key, value in table.as_data().items() if key != "rows"} for table in tables])
        return
    for table in tables:
        click.echo(table.id)
        mark = "; some rows recalled, check them" if table.recalled else ""
        say(
            f"{table.crop}, {table.system}, {table.region}; {table.tissue.value}, {table.basis.value}, by "
            f"{table.axis.value}; {', '.join(table.analytes)}{mark}",
            indent="    ",
        )


@bands.command(epilog="Example: fertadjust bands show strawberry-petiole-dry-us-southeast")
@click.argument("table")
@_folder_option
@json_option
def show(table: str, folder: Path | None, as_json: bool) -> None:
    """Show one TABLE with the source and evidence of every row."""
    from fertadjust.evidence import EVIDENCE_MEANS
    from fertadjust.shipped import citations_for

    tables = _tables(folder)
    if table not in tables:
        raise UserError(Fault(f'there is no table "{table}"; see: fertadjust bands list', key="TABLE"))
    found = tables[table]
    if as_json:
        echo_json(found.as_data())
        return
    say(found.title)
    say(f"{found.part}; {found.basis.value}; {found.system}; {found.region}")
    if found.anchor:
        say(f"Week 1 begins on the first day of {found.anchor.replace('_', ' ')}.")
    click.echo("")
    rows = [_row(row) for row in found.rows]
    echo_table(["row", "place", "analyte", "low", "high", "unit", "evidence"], rows, left=(0, 1, 2, 5, 6))
    click.echo("")
    for row in found.rows:
        limits = [
            f"{word} {value:g}"
            for word, value in (("deficient below", row.deficient_below), ("excess above", row.excess_above))
            if value is not None
        ]
        text = "; ".join([*limits, *([row.note] if row.note else [])])
        if text:
            say(f"{row.id}: {text}")
    for note in found.notes:
        say(f"Note: {note}")
    click.echo("\nSources")
    for key, citation in citations_for([row.source for row in found.rows]).items():
        say(f"{key}: {citation}", indent="  ")
    for evidence in dict.fromkeys(row.evidence for row in found.rows):
        say(f"{evidence.value}: {EVIDENCE_MEANS[evidence]}", indent="  ")


def _row(row: BandRow) -> list[str]:
    place = "season"
    if row.weeks is not None:
        first, last = row.weeks
        place = f"week {first}" if first == last else f"weeks {first}-{last}"
    elif row.stage is not None:
        place = row.stage.replace("_", " ")
    elif row.months is not None:
        place = ", ".join(row.months)
    evidence = row.evidence.value + (f" ({row.confidence})" if row.confidence else "")
    edges = ["-" if edge is None else f"{edge:g}" for edge in (row.low, row.high)]
    return [row.id, place, row.analyte, *edges, row.unit, evidence]
