"""``demo``: a sample season from beginning to end."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fertadjust.cli.common import say

_LOOK = {
    "strawberry": (
        "results list --all",
        "advise --block creek --on 2026-03-21 --full",
        "amounts --block creek --on 2026-03-21",
        "log show --block lane --on 2026-04-17",
        "history --block hill",
        "summary --on 2026-03-21",
        "review --block hill --on 2026-05-25",
        "decisions --check",
        "audit",
    ),
    "watermelon": (
        "results list --all",
        "stages list",
        "advise --block pond --on 2026-05-06 --full",
        "amounts --block pond --on 2026-05-06",
        "bands candidates --season . --block ridge --on 2026-05-06",
        "history --block ridge",
        "review --block pond --on 2026-06-22",
        "decisions --check",
        "audit",
    ),
}


@click.command(
    epilog="""\b
Examples:
  fertadjust demo
  fertadjust demo melons --sample watermelon
"""
)
@click.argument("folder", type=click.Path(path_type=Path), default=Path("fertadjust-demo"))
@click.option(
    "--sample",
    type=click.Choice(["strawberry", "watermelon"]),
    default="strawberry",
    show_default=True,
    help="Which season: dry petioles in US units, or sap tests and three harvests in metric ones.",
)
@click.option("--no-pages", is_flag=True, help="Leave out the charts and reports.")
def demo(folder: Path, sample: str, no_pages: bool) -> None:
    """Run a sample season of an invented farm in a new FOLDER.

    Replays a spring day by day: results come in, advice is made from what was known, decisions are written down,
    applications logged. Then prints the advice for each block and writes charts and reports.
    """
    from fertadjust.cli.advise import print_advice
    from fertadjust.dates import short_day
    from fertadjust.demo import build, replay, write_pages

    season = build(folder, sample)
    said = f"a spring of {season.file.crop} in {len(season.blocks)} blocks, day by day"
    say(f"{season.file.farm}: {said}. All of it is invented.")
    click.echo("")
    shown: dict[str, date] = {}
    most: dict[str, int] = {}
    for step in replay(season, sample):
        item = next(entry for entry in season.decisions(step.block) if entry.record == step.record)
        name = season.file.blocks[step.block].block.name
        say(f"{name}: {item.advised}", indent=f"{short_day(step.on):>6}  ")
        if item.choice != "accept":
            say(f"the grower chose to {item.choice}: {item.reason}", indent="        ")
        said = sum(line["fired"] for line in season.advised(step.record)["trace"])
        if said > most.get(step.block, 0):
            most[step.block], shown[step.block] = said, step.on
    for block, day in shown.items():
        click.echo("")
        print_advice(season, block, day, full=False)
    if not no_pages:
        click.echo("")
        pages = folder / "pages"
        write_pages(season, pages, shown, lambda path: click.echo(f"Wrote {path}"))
    click.echo("")
    click.echo("Look around, for example:")
    click.echo(f"  cd {folder}")
    for line in _LOOK[sample]:
        click.echo(f"  fertadjust {line}")
