"""``log``: what was applied and what was seen in the field."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fertadjust.cli.common import (
    DAY,
    ask,
    block_option,
    by_option,
    echo_json,
    echo_table,
    json_option,
    on_option,
    open_folder,
    pick_block,
    say,
    season_option,
    today,
)
from fertadjust.errors import Fault, UserError


@click.group()
def log() -> None:
    """Log applications and field observations; show the ledger."""


_day_option = click.option("--on", type=DAY, help="Day.  [default: today]")


@log.command(
    epilog="""\b
Examples:
  fertadjust log application --block north --n 2.6
  fertadjust log application --block north --on 2026-03-16 \\
    --product "calcium nitrate=1.45" --product "potassium nitrate=1.73"
  fertadjust log application --block north --n 0 --note "pump broken"
"""
)
@season_option
@block_option
@_day_option
@click.option("--n", type=float, help="Nitrogen per acre or hectare; 0 for a skipped injection.")
@click.option("--product", "products", multiple=True, metavar="NAME=WEIGHT", help="Weight for the whole block.")
@click.option("--note", default="", help="Anything worth keeping.")
@click.option("--confirm", "confirmed", is_flag=True, help="Take an unusual amount or day.")
@by_option
def application(
    folder: Path,
    block: str | None,
    on: date | None,
    n: float | None,
    products: tuple[str, ...],
    note: str,
    confirmed: bool,
    by: str,
) -> None:
    """Log what went out, by nitrogen or by product, and show the difference to plan."""
    from fertadjust import dates, words

    season = open_folder(folder)
    key = pick_block(season, block)
    units = season.units
    if n is None and not products:
        n = ask(None, "--n", f"Nitrogen applied [{units.total_unit}]", type=float)
    weights: dict[str, float] = {}
    for name, weight in map(_weight, products):
        weights[name] = weights.get(name, 0.0) + weight
    day = on or today()
    number = season.log_application(
        key, day, n=n, products=weights or None, note=note, by=by, confirm=confirmed, today=today()
    )
    one = season.block(key)
    ledger = one.ledger(max(day, today()))
    item = next(entry for entry in ledger.applications if entry.record == number)
    say(f"Record {number}: {words.rate(item.n_lb_ac, units)} {units.total_unit} on block {key}, {dates.day(day)}.")
    week = one.plan.week_on(day)
    if week is None:
        say("That day lies outside the plan's weeks.")
        return
    row = ledger.week(week, max(day, today()))
    say(
        f"Week {week.number}: {words.rate(row.applied_lb_ac, units)} applied of "
        f"{words.rate(row.target_lb_ac, units)} {units.total_unit} meant for it."
    )


def _weight(item: str) -> tuple[str, float]:
    name, _, text = item.rpartition("=")
    try:
        return name.strip(), float(text)
    except ValueError:
        message = f'"{item}" should be NAME=WEIGHT, "calcium nitrate=1.45"'
        raise UserError(Fault(message, key="--product")) from None


@log.command(
    epilog="""\b
Kinds: leaching rain, waterlogged, cold soil, frost, root disease, dry bed,
  salty bed, soft fruit, grey mould, soil nitrate (with --value), other
Example: fertadjust log observation --block north --kind "leaching rain"
"""
)
@season_option
@block_option
@_day_option
@click.option("--kind", help="What was seen.")
@click.option("--value", type=float, help="Soil NO3-N in ppm, for a soil nitrate test.")
@click.option("--note", default="", help="Anything worth keeping.")
@by_option
def observation(
    folder: Path, block: str | None, on: date | None, kind: str | None, value: float | None, note: str, by: str
) -> None:
    """Log what was seen in the field."""
    from fertadjust import dates
    from fertadjust.observations import Sight

    season = open_folder(folder)
    key = pick_block(season, block)
    sight = str(ask(kind, "--kind", "Seen", type=click.Choice([item.value for item in Sight])))
    if sight == Sight.SOIL_NITRATE.value:
        value = ask(value, "--value", "Soil NO3-N [ppm]", type=float)
    day = on or today()
    number = season.observe(key, day, sight, value=value, note=note, by=by, today=today())
    say(f"Record {number}: {sight} on block {key}, {dates.day(day)}.")


@log.command(epilog="Example: fertadjust log show --block north")
@season_option
@block_option
@on_option
@json_option
def show(folder: Path, block: str | None, on: date | None, as_json: bool) -> None:
    """Show the ledger: applied against meant, week by week, and observations."""
    from fertadjust import dates, words

    season = open_folder(folder)
    key = pick_block(season, block)
    one, units, day = season.block(key), season.units, on or today()
    ledger = one.ledger(day)
    weeks = [ledger.week(week, day) for week in one.plan.weeks if week.start <= day]
    seen = [item for item in one.observations if item.on <= day]
    logged, assumed = ledger.spent_lb_ac(day)
    if as_json:
        echo_json(
            {
                "block": key,
                "on": day,
                "unit": units.total_unit,
                "weeks": [
                    {
                        "week": row.week.number,
                        "start": row.week.start,
                        "meant": units.rate_out(row.target_lb_ac),
                        "applied": units.rate_out(row.applied_lb_ac),
                        "difference": units.rate_out(row.difference_lb_ac),
                        "logged": row.logged,
                    }
                    for row in weeks
                ],
                "applications": [
                    {"record": item.record, "on": item.on, "n": units.rate_out(item.n_lb_ac), "note": item.note}
                    for item in ledger.applications
                ],
                "logged": units.rate_out(logged),
                "assumed": units.rate_out(assumed),
                "credits": units.rate_out(one.plan.credits_lb_ac),
                "observations": [
                    {
                        "record": item.record,
                        "on": item.on,
                        "kind": item.sight.value,
                        "value": item.value,
                        "note": item.note,
                    }
                    for item in seen
                ],
            }
        )
        return
    say(f"Block {key}, {units.total_unit}, as of {dates.day(day)}")
    rows = [
        [
            str(row.week.number),
            dates.short_day(row.week.start),
            words.rate(row.target_lb_ac, units),
            words.rate(row.applied_lb_ac, units),
            f"{units.rate_out(row.difference_lb_ac):+.2f}",
            "" if row.logged else "nothing logged",
        ]
        for row in weeks
    ]
    if rows:
        echo_table(["week", "from", "meant", "applied", "difference", ""], rows, left=(1, 5))
    else:
        say("The plan has not begun.")
    say(
        f"Applied {words.rate(logged, units)}, assumed for weeks with nothing logged "
        f"{words.rate(assumed, units)}, credits {words.rate(one.plan.credits_lb_ac, units)} {units.total_unit}."
    )
    for item in seen:
        value = "" if item.value is None else f" {item.value:g} ppm"
        note = f" ({item.note})" if item.note else ""
        say(f"{dates.short_day(item.on)}: {item.sight.value}{value}{note}")
