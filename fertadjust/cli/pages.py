"""``chart`` and ``report``: the picture and the page."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fertadjust.cli.common import (
    block_option,
    on_option,
    open_folder,
    pick_block,
    season_option,
    today,
)

_to_option = click.option("--to", type=click.Path(path_type=Path), help="File to write.")


@click.command(epilog="Example: fertadjust chart --block north --to north.svg")
@season_option
@block_option
@on_option
@_to_option
def chart(folder: Path, block: str | None, on: date | None, to: Path | None) -> None:
    """Draw the season trend chart (PNG, SVG or PDF by the file's ending)."""
    from fertadjust.charts import save_figure

    season = open_folder(folder)
    key = pick_block(season, block)
    path = to or Path(f"{key}-{on or today()}.png")
    save_figure(season.chart(key, on or today()), path)
    click.echo(f"Wrote {path}")


@click.command(epilog="Example: fertadjust report --block north --on 2026-03-12")
@season_option
@block_option
@on_option
@_to_option
def report(folder: Path, block: str | None, on: date | None, to: Path | None) -> None:
    """Write the page that justifies the advice to an advisor (one HTML file, prints on Letter and A4)."""
    from fertadjust.files import write_text

    season = open_folder(folder)
    key = pick_block(season, block)
    path = to or Path(f"{key}-{on or today()}.html")
    write_text(path, season.report(key, on or today()))
    click.echo(f"Wrote {path}")
