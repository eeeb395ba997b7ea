"""``simulate``: what a season's plan and rules are likely to do, tried on simulated seasons."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

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
    from fertadjust.rules.policy import Policy
    from fertadjust.simulate.outlook import Outlook
    from fertadjust.simulate.scenario import Scenario
    from fertadjust.units import UnitSystem

_EVERY = {"weekly": DAYS_PER_WEEK, "fortnightly": 2 * DAYS_PER_WEEK, "advised": "as advised"}
_TRY = "--try"


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
def simulate(
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
        _list(as_json)
        return
    from fertadjust.simulate.outlook import outlook
    from fertadjust.simulation_files import crop_model, scenario_of

    _check_chart(chart)
    season = open_folder(folder)
    model, scenario = crop_model(season.file.crop), _sampled(scenario_of(scenario_name), every)
    one = season.file.blocks[pick_block(season, block)]
    values = _tried(one.policy, tried, season.units)
    ways = 3 if values else 2
    with _told(ways * seasons) as progress:
        found = outlook(
            one, model, scenario, seasons, seed, values, _processes(processes, ways, seasons), progress
        )
    if chart is not None:
        _write_chart(found, season.units, chart)
    if as_json:
        from fertadjust.simulation_data import outlook_data

        echo_json(outlook_data(found, season.units, _citations(found)))
        return
    _print(found, season.units)
    if full:
        _print_ground(found)
    else:
        click.echo("")
        say("With --full: what the seasons differ in, and every figure of the model with its source.")
    if chart is not None:
        click.echo(f"\nWrote {chart}")


def _list(as_json: bool) -> None:
    from fertadjust.simulation_files import crop_models, scenarios

    known, models = scenarios(), crop_models()
    if as_json:
        echo_json(
            {
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
    """Refuse another kind of picture before anything is simulated."""
    from fertadjust.chart_style import SUFFIXES

    if path is not None and path.suffix.lower() not in SUFFIXES:
        message = f'"{path.name}": a chart is written as {", ".join(SUFFIXES)}; use one of these'
        raise UserError(Fault(message, key="--chart"))


def _sampled(scenario: Scenario, every: str | None) -> Scenario:
    """The scenario, sampled as often as asked for."""
    if every is None:
        return scenario
    sampling = scenario.sampling.model_copy(update={"every": _EVERY[every]})
    title = f"{scenario.title} Sampling is set apart from that: {every}."
    return scenario.model_copy(update={"sampling": sampling, "title": title})


def _processes(asked: int | None, ways: int, seasons: int) -> int:
    """Processors to use: no more than there are batches."""
    from fertadjust.simulate.runs import BATCH

    batches = ways * -(-seasons // BATCH)
    return min(processors(asked), batches)


def _tried(policy: Policy, given: Sequence[str], units: UnitSystem) -> dict[str, Any]:
    """Policy values to try, in the units of the rules; rows of the cross-check table stand below its name.

    Raises:
        UserError: every value that there is none of, that cannot be read, or that the policy does not allow.
    """
    from fertadjust.simulation_files import check_tried

    values: dict[str, Any] = {}
    faults = []
    seen: set[str] = set()
    for text in given:
        name, equals, value = (part.strip() for part in text.partition("="))
        message = _fault(policy, name, bool(equals and value), name in seen)
        seen.add(name)
        if message:
            faults.append(Fault(message, key=f"{_TRY} {text}"))
            continue
        table, _, row = name.partition(".")
        if row:
            values.setdefault(table, {})[row] = value
        else:
            values[name] = _in_lb(policy, name, _read(value), units)
    if faults:
        raise UserError(faults)
    try:
        check_tried(policy, values)
    except UserError as error:
        raise UserError(Fault(item.message, key=f"{_TRY} {item.key}") for item in error.faults) from None
    return values


def _fault(policy: Policy, name: str, complete: bool, again: bool) -> str:
    """What is wrong with a value to try besides the value itself, or ""."""
    from fertadjust.rules.policy import BOUNDS, OVERRIDABLE

    if not complete:
        return "write it as name=value, for example confidence=0.9"
    if again:
        return "is given twice; give it once"
    if name in BOUNDS:
        return "floor and ceiling are set under [bounds] in season.toml and cannot be tried here"
    known = [item for item in OVERRIDABLE if getattr(policy, item) is not None]
    known += [f"cross_check.{row.id}" for row in policy.cross_check]
    return "" if name in known else f'"{name}" is no policy value; there are: {", ".join(known)}'


def _read(text: str) -> float | bool | str:
    """A value as it stands under [policy]: a number, true or false, or a word."""
    if text in ("true", "false"):
        return text == "true"
    try:
        return float(text)
    except ValueError:
        return text


def _in_lb(policy: Policy, name: str, value: float | bool | str, units: UnitSystem) -> float | bool | str:
    """A value in the unit of the rules: an amount of nitrogen per area is given in the season's own unit."""
    from fertadjust.units import UnitSystem

    per_area = str(getattr(getattr(policy, name), "unit", "")).startswith(UnitSystem.US.total_unit)
    return units.rate_in(value) if per_area and isinstance(value, float) else value


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


def _print(found: Outlook, units: UnitSystem) -> None:
    from fertadjust import simulation_words as words

    _head(f"{found.setup.season.block.name}: {found.seasons:,} simulated seasons", gap=False)
    say(words.MODEL)
    click.echo("")
    say(words.headline(found))
    if found.tried:
        say(f"Tried: {words.what_is_tried(found, units)}.")
    say_own_values(found.setup.season.policy.overrides())
    click.echo("")
    echo_table(*words.table(found, units))
    for text in words.fewer_seasons(found):
        say(f"{text}.")
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
    say(words.what_runs(found))
    say(words.differs(found.setup.scenario)[0])
    say(words.NO_RECORDS)
    _head("What the model cannot tell")
    for text in found.setup.model.tells_not:
        say(text, indent="  ", hang=4)
    say(f"{words.assumed_share(found.setup.model)}.")


def _print_ground(found: Outlook) -> None:
    """What the seasons differ in, and what the model rests on."""
    from fertadjust import simulation_words as words

    model = found.setup.model
    _head("What the seasons differ in")
    for text in words.differs(found.setup.scenario)[1:]:
        say(text, indent="  ", hang=4)
    say(words.ASSUMED)
    _head("What the model rests on")
    say(f"{model.title}. {words.assumed_share(model)}; each season draws its own value from every range.")
    for text in words.rests_on(model):
        say(text, indent="  ", hang=4)
    _head("Sources")
    for key, citation in _citations(found).items():
        say(f"{key}: {citation}", indent="  ", hang=4)
