"""``study``: what was found about the rules with the model, and the run that found it."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from fertadjust.cli.common import processes_option


@click.command(
    epilog="""\b
Examples:
  fertadjust study
  fertadjust study --run --to findings
  fertadjust study --run --seasons 100 --to findings
"""
)
@click.option("--run", "again", is_flag=True, help="Run the study again; it takes some minutes.")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    default=Path("findings"),
    show_default=True,
    help="Folder to write to.",
)
@click.option(
    "--seasons", type=click.IntRange(10, 100_000), help="At most so many seasons in each run, for a quicker look."
)
@processes_option
def study(again: bool, to: Path, seasons: int | None, processes: int | None) -> None:
    """What was found about the rules in simulated seasons: do they hunt, wind up or starve a crop?

    Prints the findings that come with the program. With --run the study is run again, and text, figures and
    picture are written to a folder. It is a model, not a field trial.
    """
    from fertadjust.simulation_files import findings

    if not again:
        click.echo(findings())
        return
    _run(to, seasons, processes)


def _run(to: Path, seasons: int | None, processes: int | None) -> None:
    import json

    from fertadjust.chart_style import rendered
    from fertadjust.cli.common import processors
    from fertadjust.files import write_bytes, write_text
    from fertadjust.simulate.study import seasons_of, study
    from fertadjust.simulation_files import crop_model, scenarios, study_plan, study_season
    from fertadjust.study_chart import findings_figure
    from fertadjust.study_words import FIGURE, findings_data, findings_text

    plan, season, known = study_plan(), study_season(), scenarios()
    if seasons is not None:
        plan = plan.shorter(seasons)
    model = crop_model("strawberry")
    with click.progressbar(
        length=seasons_of(plan), label="Seasons", file=sys.stderr, hidden=not sys.stderr.isatty()
    ) as bar:
        found = study(season, model, known, plan, processors(processes), bar.update)
    picture = rendered(findings_figure(found), ".svg")
    text = findings_text(found, season.plan, model, known)
    data = json.dumps(findings_data(found), indent=1) + "\n"
    write_bytes(to / FIGURE, picture)
    write_text(to / "findings.json", data)
    write_text(to / "findings.md", text)
    click.echo(f"Wrote {to / 'findings.md'}, findings.json and {FIGURE}")
