"""``bands``: the sufficiency tables, listed and shown."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.across import across
from fertadjust.cli.choose import (
    candidates,
    filter_options,
    fitting,
    folder_option,
    known_tables,
    wanted_of,
)
from fertadjust.cli.common import echo_json, echo_table, json_option, say
from fertadjust.cli.own_tables import add_to
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.band_rows import BandRow


@click.group()
def bands() -> None:
    """List, show, compare and choose the sufficiency tables."""


bands.add_command(candidates)
bands.add_command(across)
add_to(bands)


@bands.command(
    "list",
    epilog="""\b
Examples:
  fertadjust bands list --crop strawberry
  fertadjust bands list --crop tomato --basis sap --region Florida
""",
)
@filter_options
@folder_option
@json_option
def list_(folder: Path | None, as_json: bool, **given: str | None) -> None:
    """List the tables: crop, tissue, basis, region, and whether any row is from memory."""
    from fertadjust.across_words import grown, recalled_words

    tables = fitting(known_tables(folder), wanted_of(given))
    if as_json:
        echo_json([{key: value for key, value in table.as_data().items() if key != "rows"} for table in tables])
        return
    for table in tables:
        click.echo(table.id)
        mark = recalled_words(table)
        say(
            f"{grown(table)}; {table.tissue.value}, {table.basis.value}, by {table.axis.value}; "
            f"{', '.join(table.analytes)}{f'; {mark}' if mark else ''}",
            indent="    ",
        )


@bands.command(epilog="Example: fertadjust bands show strawberry-petiole-dry-us-southeast")
@click.argument("table")
@folder_option
@json_option
def show(table: str, folder: Path | None, as_json: bool) -> None:
    """Show one TABLE with the source and evidence of every row."""
    from fertadjust.band_rows import Axis
    from fertadjust.evidence import EVIDENCE_MEANS
    from fertadjust.shipped import citations_for
    from fertadjust.stages import stage_words

    tables = known_tables(folder)
    found = tables.get(table.strip().lower())
    if found is None:
        raise UserError(Fault(f'there is no table "{table}"; see: fertadjust bands list', key="TABLE"))
    if as_json:
        echo_json(found.as_data())
        return
    say(found.title)
    crops = ", ".join(found.crops) + (f" ({found.variety})" if found.variety else "")
    say(f"{crops}; {found.part}; {found.basis.value}; {found.system}; {found.region}")
    if found.anchor:
        first = "Day 0 is" if found.axis is Axis.DAYS else "Week 1 begins on"
        say(f"{first} the first day of {stage_words(found.anchor)}.")
    if found.ends_with:
        say(f"No band from {stage_words(found.ends_with)} on.")
    if found.last_days:
        say(f"The last stage's rows hold for {found.last_days} days.")
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
        printed = [f'printed "{row.printed}"'] if row.printed else []
        text = "; ".join([*printed, *limits, *([row.note] if row.note else [])])
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
    evidence = row.evidence.value + (f" ({row.confidence})" if row.confidence else "")
    edges = ["-" if edge is None else f"{edge:g}" for edge in (row.low, row.high)]
    return [row.id, _place(row), row.analyte, *edges, row.unit, evidence]


def _place(row: BandRow) -> str:
    from fertadjust.stages import stage_words
    from fertadjust.table_choice import span_words

    for name, span in (("week", row.weeks), ("day", row.days)):
        if span is not None:
            return f"{name} {span[0]}" if span[0] == span[1] else f"{name}s {span_words(span)}"
    if row.stage is not None:
        return stage_words(row.stage) + (f" to {stage_words(row.until)}" if row.until else "")
    return "season" if row.months is None else ", ".join(row.months)
