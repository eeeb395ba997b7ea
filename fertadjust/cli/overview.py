"""``summary``: every block of one or many season folders, what needs attention first."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import (
    echo_json,
    echo_table,
    json_option,
    on_option,
    open_folder,
    say,
    season_option,
    today,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.summary import Row, Summary


@click.command(
    epilog="""\b
Examples:
  fertadjust summary
  fertadjust summary growers/* --to summary.html
  fertadjust summary fernhill larkrise --on 2026-03-12 --json
"""
)
@click.argument("folders", nargs=-1, metavar="[FOLDER...]", type=click.Path(path_type=Path))
@season_option
@on_option
@click.option("--to", type=click.Path(path_type=Path), help="Write one HTML page to this file instead.")
@json_option
@click.pass_context
def summary(
    ctx: click.Context, folders: tuple[Path, ...], folder: Path, on: date | None, to: Path | None, as_json: bool
) -> None:
    """Look at every block at once, what needs attention today first.

    Name one or more season folders; without any it is the folder you are in. A folder that cannot be read is
    told at the end, with exit status 2, and the others are shown all the same. Nothing is written but the page.
    """
    from fertadjust.summary import open_folders, summary_data, summary_of

    if folders and ctx.get_parameter_source("folder") is click.core.ParameterSource.COMMANDLINE:
        raise UserError(Fault("name the folders with it or without it, not both ways", key="--season"))
    if to is not None and as_json:
        raise UserError(Fault("goes without --json: the page has no JSON in it", key="--to"))
    if to is not None and to.suffix.lower() not in (".html", ".htm"):
        raise UserError(Fault(f'"{to.name}": a summary is written as .html', key="--to"))
    seasons, faults = open_folders(folders) if folders else ([(str(folder), open_folder(folder))], [])
    found = summary_of(seasons, on or today(), faults)
    if to is not None and found.rows:
        _write_page(found, to)
    if as_json:
        echo_json(summary_data(found))
    elif to is not None:
        click.echo(
            f"Wrote {to}" if found.rows else "Nothing written: no folder could be read.", err=not found.rows
        )
    elif found.folders:
        _print(found)
    for fault in found.faults:
        click.echo(f"Error: {fault.folder}: {fault.message}", err=True)
    if found.faults:
        ctx.exit(2)


def _write_page(found: Summary, to: Path) -> None:
    from fertadjust.files import write_text
    from fertadjust.season_book import PROGRAM
    from fertadjust.summary_page import drawn_summary

    write_text(to, drawn_summary(found, program=PROGRAM))


def _print(found: Summary) -> None:
    from fertadjust import dates
    from fertadjust.needs import Urgency
    from fertadjust.summary import counts_sentence

    click.secho(dates.day(found.on), bold=True)
    say(counts_sentence(found))
    units = found.units
    if units is not None:
        say(f"Rates in {units.rate_unit}, left under the season cap in {units.total_unit}.")
    click.echo("")
    headers = ("Block", "When", "Latest result", "Age", "Rate", "Left")
    echo_table(headers, [_cells(found, row) for row in found.rows], left=(0, 1, 2))
    for urgency in Urgency:
        rows = found.with_needs(urgency)
        if rows:
            click.echo("")
            click.secho(urgency.value.capitalize(), bold=True)
        for row in rows:
            say(f"{found.name(row)}:", indent="  ", hang=4)
            for need in row.standing.needs:
                if need.urgency is urgency:
                    say(f"- {need.text}", indent="    ", hang=6)
    click.echo("")
    say("You decide; nothing is applied or written down by looking. For one block: fertadjust advise --block NAME")


def _cells(found: Summary, row: Row) -> tuple[str, ...]:
    from fertadjust.summary import band_mark, first_change, left_words, side_words, value_words

    one = row.standing
    before, after = first_change(one)
    unit = "" if found.units is not None else f" ({one.units.total_unit})"
    return (
        f"{found.name(row)}{unit}",
        "nothing" if one.urgency is None else one.urgency.value,
        ", ".join(text for text in (f"{value_words(one)} {side_words(one)}".strip(), band_mark(one)) if text),
        "" if one.age_days is None else f"{one.age_days} d",
        before if before == after else f"{before} -> {after}",
        left_words(one),
    )
