"""``decide`` and ``decisions``: what the grower did with the advice."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import (
    ask,
    block_option,
    by_option,
    echo_json,
    json_option,
    on_option,
    open_folder,
    pick_block,
    say,
    say_own_values,
    season_option,
    today,
)
from fertadjust.errors import OtherForm, UserError

if TYPE_CHECKING:
    from fertadjust.api import Season


@click.command(
    epilog="""\b
Examples:
  fertadjust decide --block north --accept
  fertadjust decide --block north --rate 6 --reason "crop load is light"
  fertadjust decide --block north --leave --reason "rain forecast all week"
"""
)
@season_option
@block_option
@on_option
@click.option("--accept", is_flag=True, help="Do as advised.")
@click.option(
    "--rate",
    type=float,
    help="Another rate for the first week, later weeks in proportion to the plan; needs a reason.",
)
@click.option("--leave", is_flag=True, help="Leave the rate as it is; needs a reason.")
@click.option("--reason", default="", help="Why.")
@by_option
def decide(
    folder: Path,
    block: str | None,
    on: date | None,
    accept: bool,
    rate: float | None,
    leave: bool,
    reason: str,
    by: str,
) -> None:
    """Write down what was decided on the day's advice, by whom and why."""
    from fertadjust import words

    season = open_folder(folder)
    key = pick_block(season, block)
    day = on or today()
    if accept + leave + (rate is not None) > 1:
        raise UserError("choose one of --accept, --rate and --leave")
    advice = season.advice(key, day)
    say(words.headline(advice, season.units))
    say_own_values(advice.own_values)
    choice = "accept" if accept else "leave" if leave else "change" if rate is not None else ""
    choice = ask(
        choice, "--accept, --rate or --leave", "Decision", type=click.Choice(["accept", "change", "leave"])
    )
    if choice == "change":
        rate = ask(rate, "--rate", f"Weekly rate [{season.units.rate_unit}]", type=float)
    if choice != "accept":
        reason = str(ask(reason, "--reason", "Why"))
    number = season.decide(key, choice, day, rate=rate, reason=reason, by=by, today=today())
    _echo_decided(season, number, choice)


def _echo_decided(season: Season, number: int, choice: str) -> None:
    """Say what was written down, week by week."""
    from fertadjust import words

    item = next(entry for entry in season.decisions() if entry.record == number)
    if choice == "leave":
        say(f"Record {number}: the rate is left as it was. Reason: {item.reason}")
        return
    by_week = sorted(item.rates_lb_ac.items())
    rates = ", ".join(f"week {week}: {words.rate(rate, season.units)}" for week, rate in by_week)
    say(f"Record {number}, decided by {item.by}, in {season.units.rate_unit}: {rates}.")


_AGAIN = {
    True: "derived again: same",
    False: "DIFFERS",
    None: "made with rules of another form: not derived again",
}


def _same(season: Season, number: int) -> bool | None:
    """Whether a decision's advice comes out as it was stored; None where this version cannot derive it."""
    try:
        return season.derive_again(number) == season.advised(number)
    except OtherForm:
        return None


@click.command(epilog="Example: fertadjust decisions --block north --check")
@season_option
@click.option("--block", help="Block, by key or name.  [default: every block]")
@click.option("--check", "derive", is_flag=True, help="Derive every decision's advice again and compare.")
@json_option
def decisions(folder: Path, block: str | None, derive: bool, as_json: bool) -> None:
    """List the decisions; with --check, derive each advice again from what was stored."""
    from fertadjust import dates, words

    season = open_folder(folder)
    found = season.decisions(block)
    same = {item.record: _same(season, item.record) for item in found if derive}
    if as_json:
        echo_json([item._asdict() | ({"same": same[item.record]} if derive else {}) for item in found])
    else:
        if not found:
            say("There are no decisions yet. Make one with: fertadjust decide")
        for item in found:
            rates = words.rates((rate for _, rate in sorted(item.rates_lb_ac.items())), season.units)
            outcome = "left as it was" if item.choice == "leave" else f"{item.choice}: {rates}"
            again = f" [{_AGAIN[same[item.record]]}]" if derive else ""
            say(f"{dates.day(item.on)}, record {item.record}, {item.by}: {outcome}{again}")
            say(f"advised: {item.advised}", indent="    ")
            if item.reason:
                say(f"reason: {item.reason}", indent="    ")
    if False in same.values():
        raise UserError("a decision's advice could not be derived again as it was stored")
