"""``advise`` and ``amounts``: what to do, and what to weigh out."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import (
    WIDTH,
    block_option,
    echo_json,
    echo_table,
    json_option,
    on_option,
    open_folder,
    pick_block,
    say,
    say_own_values,
    season_option,
    today,
)

if TYPE_CHECKING:
    from fertadjust.api import Season
    from fertadjust.season import Advice
    from fertadjust.units import UnitSystem


_OTHER_COLUMNS = 24
"""Room that week, K2O and Ca take in the table of products."""


@click.command(
    epilog="""\b
Examples:
  fertadjust advise
  fertadjust advise --block north --on 2026-03-12 --full
  fertadjust advise --json
"""
)
@season_option
@click.option("--block", help="Block, by key or name.  [default: every block]")
@on_option
@click.option("--full", is_flag=True, help="Every rule, its figures and sources, and the cautions in full.")
@json_option
def advise(folder: Path, block: str | None, on: date | None, full: bool, as_json: bool) -> None:
    """Say whether to raise, hold or cut the coming weeks' nitrogen, and why.

    The advice is made from what was known on the day: results received, applications and observations up to it.
    """
    season = open_folder(folder)
    keys = season.blocks if block is None else [pick_block(season, block)]
    day = on or today()
    if as_json:
        echo_json({"on": day, "advice": [season.advice_data(key, day) for key in keys]})
        return
    for index, key in enumerate(keys):
        if index:
            click.echo("")
        print_advice(season, key, day, full)


def print_advice(season: Season, key: str, on: date, full: bool) -> None:
    """Print the advice for a block in words, numbers beside them."""
    from fertadjust import dates, words
    from fertadjust.cautions import cautions_for

    one = season.block(key, on)
    advice = one.advice(on)
    units = season.units
    click.secho(f"{advice.block.name}, {dates.day(on)}", bold=True)
    say(words.headline(advice, units))
    for text in words.reasons(advice):
        say(text, indent="  ")
    say("How sure: " + words.how_sure(advice))
    say("What would change it: " + words.would_change(advice, units))
    found = advice.recommendation
    say(f"Next sample: {dates.day(found.next_sample)}")
    for text in found.to_do:
        say(text, indent="  * ")
    _print_products(advice, units)
    for item in advice.facts.not_used:
        say(f"Not used: record {item.record}, {item.text} of {dates.short_day(item.sampled)}: {item.why}.")
    _print_trace(advice, full)
    if full:
        _print_otherwise(advice, units)
    say_own_values(advice.own_values)
    cautions = cautions_for(*one.mixes.every())
    if full:
        click.echo("Cautions")
        for caution in cautions:
            say(caution.text, indent="  ! ")
    else:
        say(
            "Cautions: backflow prevention and local chemigation rules; labels and safety data sheets; nutrient "
            "law; confirm with your extension service or a licensed advisor (--full shows them all).",
            indent="! ",
        )


def _print_products(advice: Advice, units: UnitSystem) -> None:
    """Products of the next week, before and after, for the whole block."""
    if not advice.weeks:
        return
    week = advice.weeks[0]
    pairs = zip(week.products, week.products_before, strict=True)
    fed = [(part, before) for part, before in pairs if part.weight_lb or before.weight_lb]
    if not fed:
        until = advice.weeks[: max(1, len(advice.recommendation.weeks))]
        rests = not any(item.rate_lb_ac or item.before_lb_ac for item in until)
        say(f"Nothing is fed in {'these weeks' if rests and len(until) > 1 else f'week {week.week.number}'}.")
        return
    area = f"{units.area_out(advice.block.area_ac()):.3f} {units.area_unit}"
    say(f"Week {week.week.number}, for the whole block ({area}, {advice.block.area_basis.value}):")
    for part, before in fed:
        volume = (
            "" if part.volume_gal is None else f" = {units.volume_out(part.volume_gal):.2f} {units.volume_unit}"
        )
        now, was = units.weight_out(part.weight_lb), units.weight_out(before.weight_lb)
        change = "" if abs(now - was) < 0.005 else f" (before: {was:.2f})"
        say(
            f"{part.product.name} {part.product.grade}: {now:.2f} {units.weight_unit}{volume}{change}", indent="  "
        )


def _print_trace(advice: Advice, full: bool) -> None:
    from fertadjust.evidence import cite

    trace = advice.recommendation.trace
    click.echo("Rules that had something to say")
    for line in trace:
        if line.fired:
            change = f" [{line.change}]" if line.change else ""
            say(f"{line.rule}: {line.why}{change} ({cite(line.source, line.evidence)})", indent="  - ")
            if full:
                say(f"saw: {line.saw}", indent="      ")
    quiet = [line for line in trace if not line.fired]
    if not full:
        say("Looked at, nothing to say: " + ", ".join(dict.fromkeys(line.rule for line in quiet)) + ".")
        return
    click.echo("Looked at, nothing to say")
    for line in quiet:
        say(f"{line.rule}: {line.why} (saw: {line.saw}; {cite(line.source, line.evidence)})", indent="  - ")
    click.echo("Uncertainty of the result")
    for part in advice.recommendation.parts:
        say(f"{part.name}: {100 * part.relative:.1f} % ({cite(part.source, part.evidence)})", indent="  ")


def _print_otherwise(advice: Advice, units: UnitSystem) -> None:
    """The advice if one thing were otherwise, as a table of two columns."""
    from fertadjust import words

    if not advice.alternatives:
        return
    click.echo(f"The advice if one thing were otherwise ({units.rate_unit})")
    rows = [(f"the result were {words.flip_words(flip, advice)}", flip.action.value) for flip in advice.flips]
    rows += [(item.condition, words.otherwise(item, units)) for item in advice.alternatives]
    for condition, action in rows:
        say(f"{condition}: {action}", indent="  ")
    text = words.bounds_sentence(advice.recommendation)
    if text:
        say(text, indent="  ")


@click.command(
    epilog="""\b
Examples:
  fertadjust amounts --block north
  fertadjust amounts --block north --csv > north.csv
"""
)
@season_option
@block_option
@on_option
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV with full precision.")
@json_option
def amounts(folder: Path, block: str | None, on: date | None, as_csv: bool, as_json: bool) -> None:
    """Show the weekly table for the rest of the season: rates and products, before and after the advice.

    CSV and JSON say how the band behind the advice is backed, in "band_evidence"; it is empty without a result.
    """
    from fertadjust import dates, words

    season = open_folder(folder)
    key = pick_block(season, block)
    day = on or today()
    one, units = season.block(key, day), season.units
    advice = one.advice(day)
    deciding = advice.facts.primary
    recalled = deciding is not None and bool(words.recalled_mark(deciding.band))
    backing = {"band_evidence": "" if deciding is None else deciding.band.evidence.value}
    if as_csv:
        click.echo(season.amounts(key, day).assign(**backing).to_csv(index=False), nl=False)
        return
    if as_json:
        echo_json({"block": key, "on": day, "weeks": season.advice_data(key, day)["weeks"], **backing})
        return
    area = units.area_out(advice.block.area_ac())
    say(f"{advice.block.name}, {area:.4f} {units.area_unit} ({advice.block.area_basis.value}), {dates.day(day)}")
    if recalled:
        say(words.FROM_MEMORY)
    if not advice.weeks:
        say("No week of the plan is left.")
        return
    data = season.advice_data(key, day)["weeks"]
    say(f"Rates in {units.rate_unit}; nitrogen in {units.weight_unit} for the whole block.")
    echo_table(
        ["week", "from", "place", "before", "rate", "N block", "N inject", "total N", "cap"],
        [_rate_row(row) for row in data],
        left=(1, 2, 8),
    )
    click.echo("")
    say(f"Products for the whole block and week ({units.weight_unit}; liquids in {units.volume_unit} as well)")
    _echo_products(data, units)
    cap = one.plan.cap_lb_ac
    limit = "no season cap is set" if cap is None else f"season cap {words.rate(cap, units)} {units.total_unit}"
    say(f"Total N counts credits and what went out so far; {limit}.")
    say_own_values(advice.own_values)
    if any(row["over_cap"] for row in data):
        say("CAP: the season cap stops some or all of that week's nitrogen.")


def _rate_row(row: dict[str, Any]) -> list[str]:
    from fertadjust import dates

    return [
        str(row["week"]),
        dates.short_day(date.fromisoformat(row["start"])),
        row["stage"],
        f"{row['before']:.2f}",
        f"{row['rate']:.2f}",
        f"{row['block_n']:.3f}",
        f"{row['injection_n']:.3f}",
        f"{row['total']:.1f}",
        "CAP" if row["over_cap"] else "",
    ]


def _echo_products(data: list[dict[str, Any]], units: UnitSystem) -> None:
    """Products week by week; long names are numbered so that the table fits the screen."""
    rows = [_product_row(row) for row in data]
    parts = data[0]["products"]
    names = [
        part["product"] if part["volume"] is None else f"{part['product']} ({units.volume_unit})" for part in parts
    ]
    width = sum(max(len(row[index]) for row in [["", *names], *rows]) + 2 for index in range(1, len(names) + 1))
    if width > WIDTH - _OTHER_COLUMNS:
        for number, name in enumerate(names, start=1):
            say(f"{name}", indent=f"  {number}: ")
        names = [str(number) for number in range(1, len(names) + 1)]
    echo_table(["week", *names, "K2O", "Ca"], rows, left=())


def _product_row(row: dict[str, Any]) -> list[str]:
    cells = [
        f"{part['weight']:.2f}" + ("" if part["volume"] is None else f" ({part['volume']:.2f})")
        for part in row["products"]
    ]
    return [str(row["week"]), *cells, f"{row['k2o']:.2f}", f"{row['ca']:.2f}"]
