"""``history``: the season looked back on, day by day."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import (
    block_option,
    echo_json,
    json_option,
    on_option,
    open_folder,
    pick_block,
    say,
    say_own_values,
    season_option,
)

if TYPE_CHECKING:
    from fertadjust.history import Moment, PlacedThen
    from fertadjust.units import UnitSystem

_COLUMNS = (
    "on",
    "sampled",
    "value",
    "unit",
    "band",
    "status",
    "position",
    "action",
    "rate before",
    "rate advised",
    "moved by",
    "decided",
    "rate decided",
    "reason",
    "next sampled",
    "next value",
    "next status",
    "aimed",
    "applied",
    "band then",
    "status then",
    "stage dates then",
    "band evidence",
)


@click.command(
    epilog="""\b
Examples:
  fertadjust history --block north
  fertadjust history --block north --csv > north-history.csv
"""
)
@season_option
@block_option
@on_option
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV with full precision.")
@json_option
def history(folder: Path, block: str | None, on: date | None, as_csv: bool, as_json: bool) -> None:
    """Replay the season: what was advised each day, what was decided, and what followed.

    One entry for each day that a nitrogen result came in or a decision was made. Each advice is made again from
    what was known by then, and nothing later: a result counts from the day it came, a correction from the day it
    was entered. Where a decision was made with another stage date, the band by that date is told beside today's.
    A band that was written from memory is marked.
    """
    season = open_folder(folder)
    key = pick_block(season, block)
    found = season.history(key, on)
    if as_json:
        from fertadjust.history import history_data

        own = [item._asdict() for item in season.file.policy.overrides()]
        echo_json({"block": key, "own_rule_values": own, "history": history_data(found, season.units)})
        return
    if as_csv:
        click.echo(_csv(found, season.units), nl=False)
        return
    if not found:
        say("Nothing has come in yet. Enter a result with: fertadjust results add")
    for index, item in enumerate(found):
        if index:
            click.echo("")
        _print(item, season.units)
    say_own_values(season.file.policy.overrides())


def _print(item: Moment, units: UnitSystem) -> None:
    from fertadjust import dates, words

    advice = item.advice
    click.secho(dates.day(advice.on), bold=True)
    if advice.facts.primary is None:
        say("There was no usable result.", indent="  ")
    else:
        say(words.result_sentence(advice.facts.primary, advice.recommendation, marked=True), indent="  ")
    if item.placed_then is not None:
        say(f"then:     {_then(item.placed_then)}", indent="  ", hang=12)
    say(f"advised:  {words.headline(advice, units)}", indent="  ", hang=12)
    decided = item.decided
    if decided is None:
        say("decided:  nothing on that day", indent="  ")
    else:
        rates = words.rates((rate for _, rate in sorted(decided.rates_lb_ac.items())), units)
        what = "left as it was" if decided.choice == "leave" else f"{decided.choice}, {rates} {units.rate_unit}"
        why = f"; {decided.reason}" if decided.reason else ""
        say(f"decided:  {what}, by {decided.by}{why}", indent="  ", hang=12)
        if item.comes_out_otherwise(units):
            say(f"The advice on that day was another: {decided.advised}", indent=" " * 12)
    say(f"followed: {_followed(item, units)}", indent="  ", hang=12)


def _then(placed: PlacedThen) -> str:
    """The band by the stage dates of the decision, and which dates are others today."""
    from fertadjust import dates, words

    def dated(on: date | None, guess: bool) -> str:
        return "no date" if on is None else f"{dates.day(on)}{' (a guess)' if guess else ''}"

    reading, comparison = placed.reading, placed.comparison
    if reading is None or comparison is None:
        where = "there was no usable result"
    else:
        status = "cannot be told" if comparison.status is None else comparison.status.value
        where = (
            f"{reading.text()} of {dates.short_day(reading.sampled)} was {status}, "
            f"band {words.band_words(reading)} for {reading.band.label}{words.reading_mark(reading)}"
        )
    moved = [
        f"{item.stage} {dated(item.then, item.then_guess)}, today {dated(item.now, item.now_guess)}"
        for item in placed.dates
    ]
    return f"the decision was made with other stage dates ({'; '.join(moved)}): {where}"


def _followed(item: Moment, units: UnitSystem) -> str:
    from fertadjust import dates, words

    followed = item.followed
    aimed, applied = units.rate_out(followed.aimed_lb_ac), units.rate_out(followed.applied_lb_ac)
    text = f"{applied:.2f} of {aimed:.2f} {units.total_unit} logged to {dates.short_day(followed.end)}"
    reading, comparison = followed.reading, followed.comparison
    if reading is None or comparison is None:
        return f"no later result{' with a band' if followed.unbanded else ''}; {text}"
    value = reading.text()
    status = "cannot be told" if comparison.status is None else comparison.status.value
    place = "" if comparison.position is None else f" (position in the band {comparison.position:.2f})"
    where = ", ".join(part for part in (status, words.recalled_mark(reading.band)) if part)
    return f"next result {value} of {dates.short_day(reading.sampled)}, {where}{place}; {text}"


def _csv(found: list[Moment], units: UnitSystem) -> str:
    from fertadjust import words
    from fertadjust.history import history_data

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for item, data in zip(found, history_data(found, units), strict=True):
        result, decided = data["result"] or {}, data["decided"] or {}
        following = data["followed"]["result"] or {}
        placed, then = item.placed_then, (data["placed_then"] or {})
        reading = item.advice.facts.primary
        writer.writerow(
            (
                data["on"],
                result.get("sampled", ""),
                f"{result['censor']}{result['value']!r}" if result else "",
                result.get("unit", ""),
                "" if reading is None else words.band_words(reading),
                result.get("status") or "",
                _blank(result.get("position")),
                data["advised"]["action"],
                "; ".join(map(repr, data["advised"]["before"])),
                "; ".join(map(repr, data["advised"]["rates"])),
                data["advised"]["moved_by"],
                decided.get("choice", ""),
                "; ".join(map(repr, decided.get("rates", {}).values())),
                decided.get("reason", ""),
                following.get("sampled", ""),
                f"{following['censor']}{following['value']!r}" if following else "",
                following.get("status") or "",
                repr(data["followed"]["aimed"]),
                repr(data["followed"]["applied"]),
                "" if placed is None or placed.reading is None else words.band_words(placed.reading),
                (then.get("result") or {}).get("status") or "",
                "; ".join(
                    f"{part['stage']} {part['then'] or 'no date'}{' (a guess)' if part['then_guess'] else ''}"
                    for part in then.get("stage_dates", ())
                ),
                "" if reading is None else reading.band.evidence.value,
            )
        )
    return out.getvalue()


def _blank(value: float | None) -> str:
    return "" if value is None else repr(value)
