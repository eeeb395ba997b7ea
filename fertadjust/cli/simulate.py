"""``simulate``: what a season's plan and rules are likely to do, tried on simulated seasons."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from fertadjust.cli.common import (
    WIDTH,
    block_option,
    echo_json,
    echo_table,
    json_option,
    open_folder,
    pick_block,
    processes_option,
    processors,
    say,
    say_own_values,
    season_option,
)
from fertadjust.errors import Fault, UserError
from fertadjust.units import DAYS_PER_WEEK

if TYPE_CHECKING:
    from fertadjust.simulate.outlook import Outlook
    from fertadjust.simulate.scenario import Origin, Scenario
    from fertadjust.units import UnitSystem

_EVERY = {"weekly": DAYS_PER_WEEK, "fortnightly": 2 * DAYS_PER_WEEK, "advised": "as advised"}
_TRY = "--try"
_LIST_SCHEMA = 1
"""Number of the form of --list --json."""


@click.command(
    epilog="""\b
Examples:
  fertadjust simulate --block north
  fertadjust simulate --block north --scenario rough --chart north.svg
  fertadjust simulate --block north --try confidence=0.9 --try cut_first=0.05
  fertadjust simulate --block north --seasons 200 --every weekly --json
  fertadjust simulate --list
"""
)
@season_option
@block_option
@click.option(
    "--seasons", type=click.IntRange(10, 100_000), default=1000, show_default=True, help="Seasons to simulate."
)
@click.option(
    "--scenario",
    "scenario_name",
    default="usual",
    show_default=True,
    metavar="NAME|FILE.toml",
    help="What goes wrong in the seasons; see --list.",
)
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), help="Seed of the draws.  [default: the scenario's]")
@click.option(
    _TRY,
    "tried",
    multiple=True,
    metavar="NAME=VALUE",
    help="A policy value to try beside the season's own, as under [policy]; may be repeated.",
)
@click.option("--every", type=click.Choice(list(_EVERY)), help="How often to sample.  [default: the scenario's]")
@processes_option
@click.option("--chart", type=click.Path(path_type=Path), help="Chart to write besides, .png, .svg or .pdf.")
@json_option
@click.option(
    "--full", is_flag=True, help="Show as well what the seasons differ in and every figure of the model."
)
@click.option("--list", "listing", is_flag=True, help="List the scenarios and the crops that have a model.")
@click.pass_context
def simulate(
    context: click.Context,
    folder: Path,
    block: str | None,
    seasons: int,
    scenario_name: str,
    seed: int | None,
    tried: tuple[str, ...],
    every: str | None,
    processes: int | None,
    chart: Path | None,
    as_json: bool,
    full: bool,
    listing: bool,
) -> None:
    """Simulate seasons like this one: what the plan and the rules are likely to do.

    From the first day of the plan, with nothing measured yet; records play no part. The rules are held beside
    the plan as it stands, and beside values of your own with --try, on the same seasons. It is a model of the
    crop, not a forecast for your field, and the output says what it rests on.
    """
    if listing:
        _refuse_others(context, "listing", "as_json")
        _list(as_json)
        return
    from fertadjust.simulate.outlook import outlook
    from fertadjust.simulation_files import model_for, scenario_of
    from fertadjust.simulation_tries import read_tried

    _check_chart(chart)
    season = open_folder(folder)
    model = model_for(season.file)
    scenario, origin = _sampled(*scenario_of(scenario_name), every)
    one = season.file.blocks[pick_block(season, block)]
    values = read_tried(one.policy, tried, season.units, _TRY)
    ways = 3 if values else 2
    use = _processes(processes, ways, seasons)
    with _told(ways * seasons) as progress:
        found = outlook(one, model, scenario, seasons, seed, values, use, progress, origin)
    if as_json:
        from fertadjust.simulation_data import outlook_data

        echo_json(outlook_data(found, season.units, _citations(found)))
    else:
        _print(found, season.units, full)
    if chart is not None:
        _write_chart(found, season.units, chart)
        if not as_json:
            click.echo(f"\nWrote {chart}")


def _refuse_others(context: click.Context, *kept: str) -> None:
    """Refuse options that are given and have no effect beside those that are kept."""
    given = [
        param.opts[-1] if len(param.opts[-1]) > 2 else param.opts[0]
        for param in context.command.params
        if param.name not in kept and context.get_parameter_source(str(param.name)) is ParameterSource.COMMANDLINE
    ]
    if given:
        raise UserError(Fault("has no effect beside --list; leave it out", key=name) for name in given)


def _list(as_json: bool) -> None:
    from fertadjust.simulation_files import crop_models, scenarios

    known, models = scenarios(), crop_models()
    if as_json:
        echo_json(
            {
                "schema": _LIST_SCHEMA,
                "scenarios": [{"id": item.id, "title": item.title} for item in known.values()],
                "crops": [{"crop": item.crop, "title": item.title} for item in models.values()],
            }
        )
        return
    _head("Scenarios, all assumed", gap=False)
    for item in known.values():
        say(f"{item.id}: {item.title}", indent="  ", hang=4)
    _head("Crops with a model")
    for model in models.values():
        say(f"{model.crop}: {model.title}", indent="  ", hang=4)


# --- what is asked for --------------------------------------------------------------------------------------


def _check_chart(path: Path | None) -> None:
    """Refuse another kind of picture, and a place that cannot be written, before anything is simulated."""
    from fertadjust.chart_style import SUFFIXES
    from fertadjust.files import check_writable

    if path is None:
        return
    if path.suffix.lower() not in SUFFIXES:
        message = f'"{path.name}": a chart is written as {", ".join(SUFFIXES)}; use one of these'
        raise UserError(Fault(message, key="--chart"))
    check_writable(path)


def _sampled(scenario: Scenario, origin: Origin, every: str | None) -> tuple[Scenario, Origin]:
    """The scenario, sampled as often as asked for."""
    if every is None or scenario.sampling.every == _EVERY[every]:
        return scenario, origin
    days = _EVERY[every]
    sampling = scenario.sampling.model_copy(update={"every": days})
    told = days if isinstance(days, str) else every
    return scenario.model_copy(update={"sampling": sampling}), origin._replace(every=told)


def _processes(asked: int | None, ways: int, seasons: int) -> int:
    """Processors to use: no more than there are batches."""
    from fertadjust.simulate.runs import BATCH

    batches = ways * -(-seasons // BATCH)
    return min(processors(asked), batches)


@contextmanager
def _told(total: int) -> Iterator[Callable[[int], None]]:
    """A bar that shows how far the seasons are, on a terminal only."""
    if not sys.stderr.isatty():
        yield lambda done: None
        return
    with click.progressbar(length=total, label="Simulating", file=sys.stderr) as bar:
        yield bar.update


# --- what is shown ------------------------------------------------------------------------------------------


def _write_chart(found: Outlook, units: UnitSystem, path: Path) -> None:
    from fertadjust.charts import save_figure
    from fertadjust.simulation_chart import outlook_figure

    save_figure(outlook_figure(found, units), path)


def _citations(found: Outlook) -> dict[str, str]:
    from fertadjust.shipped import citations_for

    return citations_for([item.source for item in found.setup.model.figures.values()])


def _head(text: str, gap: bool = True) -> None:
    if gap:
        click.echo("")
    for line in textwrap.wrap(text, WIDTH):
        click.secho(line, bold=True)


def _print(found: Outlook, units: UnitSystem, full: bool) -> None:
    from fertadjust import simulation_ground as ground
    from fertadjust import simulation_words as words

    setup = found.setup
    _head(f"{setup.season.block.name}: {found.seasons:,} simulated seasons", gap=False)
    say(words.MODEL)
    click.echo("")
    say(words.headline(found))
    if setup.model.first:
        say(setup.model.first)
    if found.tried:
        say(f"Tried: {ground.what_is_tried(found, units)}.")
    say_own_values(setup.season.policy.overrides())
    for text in words.how_rough(found):
        say(text)
    click.echo("")
    echo_table(*words.table(found, units))
    for text in words.fewer_seasons(found):
        say(text)
    if found.tried:
        click.echo("")
        echo_table(*words.tried_table(found, units))
    for pair in words.pairs(found):
        _head(pair.begins)
        for text in words.verdicts(found, pair):
            say(text, indent="  ", hang=4)
    click.echo("")
    say(words.INTERVALS)
    _head("How the seasons were made")
    say(ground.what_runs(found, units))
    say(ground.scenario_words(found))
    say(ground.NO_RECORDS)
    _head("What the model cannot tell")
    for text in setup.model.tells_not:
        say(text, indent="  ", hang=4)
    say(f"{ground.assumed_share(setup.model)}.")
    if full:
        _print_ground(found, units)
        return
    click.echo("")
    say("With --full: what the seasons differ in, and every figure of the model with its source.")


def _print_ground(found: Outlook, units: UnitSystem) -> None:
    """What the seasons differ in, and what the model rests on."""
    from fertadjust import simulation_ground as ground

    model = found.setup.model
    _head("What the seasons differ in")
    for text in ground.differs(found.setup.scenario):
        say(text, indent="  ", hang=4)
    say(ground.ASSUMED)
    _head("What the model rests on")
    say(f"{model.title}. {ground.assumed_share(model)}; each season draws its own value from every range.")
    for text in ground.rests_on(model, units):
        say(text, indent="  ", hang=4)
    _head("Sources")
    for key, citation in _citations(found).items():
        say(f"{key}: {citation}", indent="  ", hang=4)
