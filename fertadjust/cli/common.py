"""Options, prompts and tables that the commands share."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.api import Season
    from fertadjust.rules.policy import Override

WIDTH = 80
_NARROWEST = 12
Command = TypeVar("Command", bound=Callable[..., Any])


class Day(click.ParamType[date]):
    """A date written year-month-day."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        try:
            found = date.fromisoformat(str(value).strip())
        except ValueError:
            self.fail(f'"{value}" is not a date; write it as 2026-03-09', param, ctx)
        if not 1900 <= found.year <= 2199:
            self.fail(f'"{value}": the year should be between 1900 and 2199', param, ctx)
        return found


DAY = Day()

season_option = click.option(
    "--season",
    "folder",
    type=click.Path(path_type=Path),
    default=Path(),
    show_default="this folder",
    envvar="FERTADJUST_SEASON",
    help="Folder of the season.",
)
block_option = click.option("--block", help="Block, by key or name.  [default: the only one, or asks]")
on_option = click.option("--on", type=DAY, help="As of this day.  [default: today]")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for machines.")
processes_option = click.option(
    "--processes",
    type=click.IntRange(1, 256),
    help="Processors to use; they change nothing but the time.  [default: all]",
)
by_option = click.option(
    "--by", default="", envvar="FERTADJUST_BY", help="Who enters it.  [default: your account's name]"
)


def open_folder(folder: Path) -> Season:
    """Open a season folder."""
    from fertadjust.api import open_season

    return open_season(folder)


def processors(asked: int | None) -> int:
    """Processors to use: as asked for, else all of the machine's."""
    return asked or os.cpu_count() or 1


def today() -> date:
    """Today by the grower's own calendar."""
    return date.today()  # noqa: DTZ011


def ask(value: Any, option: str, question: str, **prompt: Any) -> Any:
    """The value of an option, or the answer to a question when it was left out.

    Raises:
        UserError: it was left out and nobody is there to answer.
    """
    if value is not None and value != "":
        return value
    try:
        return click.prompt(question, **prompt)
    except click.Abort:
        if sys.stdin.isatty():
            raise
        click.echo("")
        raise UserError(Fault("is missing, and there is nobody to ask", key=option)) from None


def confirm(question: str) -> bool:
    """Yes or no; no when nobody is there to answer."""
    try:
        return click.confirm(question)
    except click.Abort:
        if sys.stdin.isatty():
            raise
        click.echo("")
        return False


def pick_block(season: Season, block: str | None) -> str:
    """The block's key: as named, the only one, or as answered.

    Raises:
        UserError: there is no such block.
    """
    from fertadjust.entry import block_of

    if not block and len(season.blocks) == 1:
        return season.blocks[0]
    name = str(ask(block, "--block", f"Block ({', '.join(season.blocks)})"))
    return block_of(season.file, name).block.key


def say_own_values(overrides: Sequence[Override]) -> None:
    """Say which rule values the season file sets otherwise than shipped."""
    for item in overrides:
        say(f"Your own rule value: {item.name} = {item.own} instead of {item.shipped} ({item.reason}).")


def echo_json(data: Any) -> None:
    """Print data as JSON."""
    click.echo(json.dumps(data, indent=2, ensure_ascii=False, default=str))


def say(text: str, indent: str = "", hang: int | None = None) -> None:
    """Print a paragraph that fits the screen; lines after the first hang below the indent or by some columns."""
    below = " " * (len(indent) if hang is None else hang)
    wrapped = textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=below, break_on_hyphens=False)
    for line in wrapped or [""]:
        click.echo(line)


def echo_table(headers: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[int] = (0,)) -> None:
    """Print a table; columns are right-aligned but for those named.

    Where it would not fit the screen, the widest of the left-aligned columns goes on in lines below.
    """
    rows = [[" ".join(cell.splitlines()) for cell in row] for row in rows]
    widths = [max(len(row[index]) for row in [headers, *rows]) for index in range(len(headers))]
    over = sum(widths) + 2 * (len(widths) - 1) - WIDTH
    if over > 0 and left:
        widest = max(left, key=lambda index: widths[index])
        widths[widest] = max(_NARROWEST, widths[widest] - over)
    for row in [headers, ["-" * width for width in widths], *rows]:
        folded = [
            textwrap.wrap(cell, width) if len(cell) > width else [cell]
            for cell, width in zip(row, widths, strict=True)
        ]
        for line in range(max(len(parts) for parts in folded)):
            cells = [
                part.ljust(width) if index in left else part.rjust(width)
                for index, (parts, width) in enumerate(zip(folded, widths, strict=True))
                for part in [parts[line] if line < len(parts) else ""]
            ]
            click.echo("  ".join(cells).rstrip())
