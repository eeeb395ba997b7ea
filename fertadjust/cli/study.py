"""``study``: what was found about the rules with the model, and the run that found it."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from fertadjust.cli.common import processes_option, say
from fertadjust.errors import Fault, UserError

_FOLDER = Path("findings")
"""Where a run writes to when nothing else is said."""


@click.command(
    epilog="""\b
Examples:
  fertadjust study
  fertadjust study --to findings
  fertadjust study --run --to findings
  fertadjust study --run --seasons 100 --to findings
"""
)
@click.option("--run", "again", is_flag=True, help="Run the study again; it takes some minutes.")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    help=f"Folder to write text, figures and picture to.  [default with --run: {_FOLDER}]",
)
@click.option(
    "--seasons",
    type=click.IntRange(10, 100_000),
    help="At most so many seasons in each run, for a quicker look; with --run.",
)
@processes_option
def study(again: bool, to: Path | None, seasons: int | None, processes: int | None) -> None:
    """What was found about the rules in simulated seasons: do they hunt, wind up or starve a crop?

    Prints the findings that come with the program; with --to their page, figures and picture are copied to a
    folder. With --run the study is run again and written there. It is a model, not a field trial.
    """
    if again:
        _run(to or _FOLDER, seasons, processes)
        return
    options = {"--seasons": seasons, "--processes": processes}
    faults = [
        Fault("is for a new run; add --run, or leave it out", key=name)
        for name, value in options.items()
        if value is not None
    ]
    if faults:
        raise UserError(faults)
    if to is None:
        _print()
    else:
        _copy(to)


def _print() -> None:
    from fertadjust.simulation_files import FINDINGS, findings, findings_folder

    for section in _sections(findings()):
        heading, *paragraphs = section
        click.secho(heading, bold=True)
        for text in paragraphs:
            say(text, hang=2 if text.startswith("- ") else 0)
        click.echo("")
    say("The whole page, with its tables and its picture:")
    click.echo(str(findings_folder() / FINDINGS[0]))
    say("Page, figures and picture in a folder of yours: fertadjust study --to FOLDER")


def _sections(page: str) -> Iterator[list[str]]:
    """Heading and paragraphs of each section, without tables and pictures; one with nothing else is left out."""
    for part in re.split(r"^#+ ", page, flags=re.MULTILINE)[1:]:
        heading, _, body = part.partition("\n")
        paragraphs = []
        for block in re.split(r"\n\s*\n|\n(?=- )", body):
            text = " ".join(block.split()).replace("`", "")
            if text and not text.startswith(("|", "![")):
                paragraphs.append(text)
        if paragraphs:
            yield [heading.strip(), *paragraphs]


def _copy(to: Path) -> None:
    from fertadjust.files import read_bytes, write_bytes
    from fertadjust.simulation_files import FINDINGS, findings_folder

    _check(to)
    files = {name: read_bytes(findings_folder() / name) for name in FINDINGS}
    for name, data in files.items():
        write_bytes(to / name, data)
    _say_written(to)


def _check(to: Path) -> None:
    """Refuse a folder that cannot be written to."""
    from fertadjust.files import check_writable
    from fertadjust.simulation_files import FINDINGS

    for name in FINDINGS:
        check_writable(to / name)


def _say_written(to: Path) -> None:
    from fertadjust.simulation_files import FINDINGS

    first, second, third = FINDINGS
    click.echo(f"Wrote {to / first}, {second} and {third}")


def _run(to: Path, seasons: int | None, processes: int | None) -> None:
    import json

    from fertadjust.chart_style import rendered
    from fertadjust.cli.common import processors
    from fertadjust.files import write_bytes
    from fertadjust.shipped import citations_for
    from fertadjust.simulate.study import seasons_of, study
    from fertadjust.simulation_files import FINDINGS, crop_model, scenarios, study_plan, study_season
    from fertadjust.study_chart import findings_figure
    from fertadjust.study_data import findings_data
    from fertadjust.study_words import findings_text

    _check(to)
    plan, season, known = study_plan(), study_season(), scenarios()
    if seasons is not None:
        plan = plan.shorter(seasons)
    model = crop_model("strawberry")
    with click.progressbar(
        length=seasons_of(plan), label="Seasons", file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:
        found = study(season, model, known, plan, processors(processes), bar.update)
    citations = citations_for([figure.source for figure in model.figures.values()] + ["UGA-2021"])
    text = findings_text(found, season, model, known, citations)
    data = json.dumps(findings_data(found), indent=1) + "\n"
    picture = rendered(findings_figure(found), ".svg")
    for name, content in zip(FINDINGS, (text.encode(), data.encode(), picture), strict=True):
        write_bytes(to / name, content)
    _say_written(to)
