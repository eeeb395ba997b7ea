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


@click.command(
    epilog="""\b
Examples:
  fertadjust chart --block north --to north.svg
  fertadjust chart --all --to farm.png
  fertadjust chart --overview --phone
"""
)
@season_option
@block_option
@on_option
@_to_option
@click.option("--all", "every", is_flag=True, help="Every block's results, in small charts on the same axes.")
@click.option(
    "--overview", is_flag=True, help="Where every block lay in its band: a row a block, a column a week."
)
@click.option("--phone", is_flag=True, help="Drawn narrow, to be read on a phone.")
def chart(
    folder: Path, block: str | None, on: date | None, to: Path | None, every: bool, overview: bool, phone: bool
) -> None:
    """Draw the season trend chart (PNG, SVG or PDF by the file's ending).

    One block against its band with its rates and totals, or all blocks of the season on one sheet.
    """
    from fertadjust.charts import save_figure
    from fertadjust.errors import UserError

    if (every and overview) or (block and (every or overview)):
        raise UserError("give one of --block, --all and --overview")
    season, day = open_folder(folder), on or today()
    if every:
        name, figure = "all-blocks", season.blocks_chart(day, phone=phone)
    elif overview:
        name, figure = "overview", season.overview_chart(day, phone=phone)
    else:
        name = pick_block(season, block)
        figure = season.chart(name, day, phone=phone)
    path = to or Path(f"{name}-{day}.png")
    save_figure(figure, path)
    click.echo(f"Wrote {path}")


@click.command(
    epilog="""\b
Examples:
  fertadjust report --block north --on 2026-03-12
  fertadjust report --block north --to north.pdf --paper a4
"""
)
@season_option
@block_option
@on_option
@_to_option
@click.option(
    "--paper", type=click.Choice(["letter", "a4"]), help="Size of a PDF.  [default: letter, or a4 in metric units]"
)
def report(folder: Path, block: str | None, on: date | None, to: Path | None, paper: str | None) -> None:
    """Write the page that justifies the advice to an advisor.

    One HTML file that needs no network and prints on Letter and A4. With a name that ends in .pdf it is printed by
    a browser that is installed on this machine.
    """
    from fertadjust.browser import Paper, pdf_of
    from fertadjust.errors import UserError
    from fertadjust.files import write_bytes, write_text
    from fertadjust.units import UnitSystem

    season = open_folder(folder)
    key = pick_block(season, block)
    path = to or Path(f"{key}-{on or today()}.html")
    as_pdf = path.suffix.lower() == ".pdf"
    if not as_pdf and path.suffix.lower() not in (".html", ".htm"):
        raise UserError(f'"{path.name}": a report is written as .html or .pdf; use one of these')
    if paper and not as_pdf:
        raise UserError("--paper is for a PDF: let the name after --to end in .pdf")
    page = season.report(key, on or today())
    if as_pdf:
        usual = Paper.A4 if season.units is UnitSystem.METRIC else Paper.LETTER
        write_bytes(path, pdf_of(page, Paper(paper) if paper else usual))
    else:
        write_text(path, page)
    click.echo(f"Wrote {path}")
