"""``review``: the season in review, of one block or of all, on the screen or as a page."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import (
    WIDTH,
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
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.review import FarmReview, Review
    from fertadjust.review_words import Suggestion
    from fertadjust.units import UnitSystem


@click.command(
    epilog="""\b
Examples:
  fertadjust review
  fertadjust review --block north
  fertadjust review --all --to review.html
"""
)
@season_option
@click.option("--block", help="One block, by key or name.  [default: all of them]")
@click.option("--all", "whole_farm", is_flag=True, help="All blocks of the farm.")
@on_option
@click.option("--to", type=click.Path(path_type=Path), help="Write a page (.html) instead; it prints.")
@json_option
def review(
    folder: Path, block: str | None, whole_farm: bool, on: date | None, to: Path | None, as_json: bool
) -> None:
    """Look back on the season: what was advised, decided and applied, and what to try next year.

    Time in band, results after each change, nitrogen against plan and cap, sampling, and suggestions by the
    project's own rules of thumb. While the season runs, everything is so far.
    """
    from fertadjust import review_next_year, review_of_season

    if block and whole_farm:
        raise UserError(Fault("name a block or take --all, one of the two", key="--block"))
    if to is not None and as_json:
        raise UserError(Fault("goes without --json: the page has no JSON in it", key="--to"))
    if to is not None and to.suffix.lower() not in (".html", ".htm"):
        raise UserError(Fault(f'"{to.name}": a review is written as .html', key="--to"))
    season, day = open_folder(folder), on or today()
    key = pick_block(season, block) if block or (len(season.blocks) == 1 and not whole_farm) else None
    if to is not None:
        from fertadjust.files import write_text

        page = (
            review_of_season.farm_review_page(season, day)
            if key is None
            else review_of_season.review_page(season, key, day)
        )
        write_text(to, page)
        click.echo(f"Wrote {to}")
        return
    own = season.file.policy.overrides()
    if key is None:
        farm = review_of_season.review_of_farm(season, day)
        if as_json:
            data = review_of_season.farm_review_data(farm, season.units)
            echo_json({"own_rule_values": [item._asdict() for item in own], **data})
            return
        _print_farm(farm, review_next_year.farm_next_year(farm, season.units), season.units)
    else:
        one = review_of_season.review(season, key, day)
        if as_json:
            data = review_of_season.review_data(one, season.units)
            echo_json({"own_rule_values": [item._asdict() for item in own], **data})
            return
        _print_block(one, review_next_year.next_year(one, season.units), season.units)
    say_own_values(own)


def _title(text: str) -> None:
    for line in textwrap.wrap(text, WIDTH):
        click.secho(line, bold=True)


def _head(text: str) -> None:
    click.echo("")
    click.secho(text, bold=True)


def _print_block(found: Review, suggestions: Sequence[Suggestion], units: UnitSystem) -> None:
    from fertadjust import review_words as words

    _title(f"Season review, {found.season.block.name}")
    say(words.span(found))
    for text in words.in_short(found, units):
        say(text, indent="  ")
    _head(f"Advised, decided and applied, {units.total_unit}")
    if found.moments:
        rows = [words.moment_row(item, units) for item in found.moments]
        echo_table(["day", "result", "advised", "decided", "logged of aimed"], rows, left=(0, 1, 2, 3))
        if any(words.advised_then(item, units) for item in found.moments):
            say(words.ADVISED_THEN, indent="  ")
    else:
        say("No nitrogen result has come in and nothing was decided.", indent="  ")
    _head("Time in band")
    mark = words.recalled_line([found])
    for text in (*words.results_lines(found), words.days_line(found), words.READ_BETWEEN, *filter(None, [mark])):
        say(text, indent="  ")
    _head("After each change")
    _print_changes(found, units)
    _head("Nitrogen against plan and cap")
    lines = words.nitrogen_lines(found.nitrogen)
    area = found.nitrogen.area_ac
    table = [
        [text, f"{units.rate_out(value):.2f}", f"{units.weight_out(value * area):,.2f}"] for text, value in lines
    ]
    echo_table(["", units.total_unit, f"block, {units.weight_unit}"], table)
    for text in words.weeks_lines(found.nitrogen):
        say(text, indent="  ")
    _head("Sampling")
    for text in words.sampling_lines(found):
        say(text, indent="  ")
    _print_suggestions(suggestions, named=False)


def _print_changes(found: Review, units: UnitSystem) -> None:
    from fertadjust import review_words as words

    back, told = found.came_back()
    say(words.came_back(back, told, len(found.changes) - told), indent="  ")
    for change in (words.change_words(item, units) for item in found.changes):
        days = f" ({change.days} days)" if change.days else ""
        say(
            f"{change.on}, {change.change}: before {change.before}; after {change.after}{days}: {change.outcome}.",
            indent="  - ",
            hang=4,
        )
        if change.notes:
            say(f"{change.notes[:1].upper()}{change.notes[1:]}.", indent="    ")
    if found.changes:
        say(words.NO_PROOF, indent="  ")


def _print_farm(farm: FarmReview, suggestions: Sequence[Suggestion], units: UnitSystem) -> None:
    from fertadjust import review_words as words

    _title("Season review, all blocks")
    say(words.span(min(farm.reviews, key=lambda item: item.start)))
    for text in words.farm_in_short(farm, units):
        say(text, indent="  ")
    click.echo("")
    rows = [list(words.farm_row(item, units)) for item in farm.reviews]
    echo_table(
        [
            "block",
            "results in",
            "days in",
            "back in",
            "no log",
            f"logged {units.weight_unit}",
            "total",
            "cap",
        ],
        rows,
    )
    say(
        "Results and known days in band, changes after which the block came back, weeks without a log, nitrogen "
        f"logged on the block; total with credits, and season cap, in {units.total_unit}."
    )
    mark = words.recalled_line(farm.reviews)
    for text in (words.READ_BETWEEN, words.NO_PROOF, *filter(None, [mark])):
        say(text)
    _print_suggestions(suggestions, named=True)
    click.echo("")
    say("One block in full: fertadjust review --block BLOCK. As a page: --to review.html")


def _print_suggestions(suggestions: Sequence[Suggestion], *, named: bool) -> None:
    from fertadjust import review_words as words

    _head("What to try next year")
    if not suggestions:
        say(words.NONE_APPLIES, indent="  ")
    for item in suggestions:
        say(item.text, indent="  - ", hang=4)
        for block, ground in item.grounds:
            say(f"{block}: {ground}." if named else f"{ground[:1].upper()}{ground[1:]}.", indent="      ")
    say(words.RULES_OF_THUMB, indent="  ")
