"""``bands across``: one result beside every table of its kind, on the screen or as a page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.choose import Ground, edges, folder_option, ground_of, season_option, stage_option
from fertadjust.cli.common import (
    DAY,
    ask,
    block_option,
    echo_json,
    echo_table,
    json_option,
    open_folder,
    say,
    today,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.across import Across, Judged
    from fertadjust.stages import StageDates
    from fertadjust.tissue import TissueResult


@click.command(
    epilog="""\b
Examples:
  fertadjust bands across --crop tomato --tissue petiole --basis sap \\
    --value 640 --on 2026-05-04 --stage first_flower=2026-04-20
  fertadjust bands across --season . --record 12
  fertadjust bands across --season . --record 12 --to across.html
"""
)
@click.option("--crop", help="Crop, by any name that tables have for it.")
@click.option("--tissue", type=click.Choice(["petiole", "leaf"]), help="Tissue.")
@click.option("--basis", type=click.Choice(["dry", "sap"]), help="Dry weight or fresh sap.")
@click.option("--analyte", help="NO3-N, NO3, N, K ...  [default: NO3-N, or N for a leaf]")
@click.option("--value", help='The value, such as 640, "<10" or ">5000".')
@click.option("--unit", help="ppm, mg/kg, %, mg/L.  [default: ppm dry, mg/L sap, % for leaf N]")
@click.option("--petioles", type=click.IntRange(1, 1000), help="Number of petioles or leaves.")
@click.option("--method", type=click.Choice(["laboratory", "meter", "meter-diluted"]), help="How it was measured.")
@click.option("--on", type=DAY, help="Day the tissue was taken.  [default: today]")
@stage_option
@season_option
@block_option
@click.option("--record", type=click.IntRange(min=1), help="A result on record in the season, by its number.")
@folder_option
@click.option("--to", type=click.Path(path_type=Path), help="Write a page (.html) instead; it prints.")
@json_option
def across(
    crop: str | None,
    stage: tuple[str, ...],
    season: Path | None,
    block: str | None,
    record: int | None,
    folder: Path | None,
    to: Path | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Hold one result against every table of its kind: low in one, high in another.

    Dry weight and fresh sap are never compared. Where a table is placed by stages that have no date, each of its
    stages is told.
    """
    from fertadjust.across import verdicts

    if to is not None and as_json:
        raise UserError(Fault("goes without --json: the page has no JSON in it", key="--to"))
    if to is not None and to.suffix.lower() not in (".html", ".htm"):
        raise UserError(Fault(f'"{to.name}": this page is written as .html', key="--to"))
    if record is not None:
        for name in ("crop", "block"):
            given[name] = crop if name == "crop" else block
        result, ground = _recorded(season or Path(), folder, record, given)
        name = ground.crop(None)
    else:
        ground = ground_of(folder, season, block)
        name = ground.crop(crop)
        result = _typed(given)
    stages = ground.stages(name, stage, result.sampled)
    tables = [table for table in ground.tables.values() if name in table.crops]
    found = verdicts(tables, result, stages, ground.policy)
    if to is not None:
        _write_page(found, stages, name, ground, to)
    elif as_json:
        from fertadjust.across_words import across_data

        echo_json(across_data(found) | {"crop": name, "tables_in_use": sorted(ground.in_use)})
    else:
        _print_across(found, stages, ground.in_use)


def _recorded(
    season: Path, folder: Path | None, number: int, given: Mapping[str, Any]
) -> tuple[TissueResult, Ground]:
    """A result on record, with its season.

    Raises:
        UserError: there is no such standing result, or options say otherwise what the record says.
    """
    from fertadjust.record import Kind
    from fertadjust.stored import result_of

    for name, value in given.items():
        if value is not None:
            raise UserError(Fault("goes without --record, which says it already", key=f"--{name}"))
    opened = open_folder(season)
    standing = {item.number: item for item in opened.records.current(Kind.RESULT)}
    if number not in standing:
        raise UserError(
            Fault(f"no result {number} stands: it never was one, or it was corrected or voided", key="--record")
        )
    result = result_of(standing[number])
    return result, ground_of(folder, season, result.block)


def _typed(given: Mapping[str, Any]) -> TissueResult:
    """The result that the options give; what they leave out is asked for."""
    from fertadjust.across import typed
    from fertadjust.tissue import Basis, Method, Tissue

    kinds, scales = click.Choice(["petiole", "leaf"]), click.Choice(["dry", "sap"])
    tissue = Tissue(ask(given["tissue"], "--tissue", "Tissue", type=kinds))
    basis = given["basis"] or ("dry" if tissue is Tissue.LEAF else None)
    basis = Basis(ask(basis, "--basis", "Dry weight or sap", type=scales))
    value = str(ask(given["value"], "--value", "Value (<10 and >5000 are understood)"))
    return typed(
        value,
        on=given["on"] or today(),
        tissue=tissue,
        basis=basis,
        analyte=given["analyte"] or "",
        unit=given["unit"] or "",
        petioles=given["petioles"],
        method=Method(given["method"] or "laboratory"),
    )


def _write_page(found: Across, stages: StageDates, crop: str, ground: Ground, to: Path) -> None:
    from fertadjust.across_page import drawn_across
    from fertadjust.files import write_text
    from fertadjust.season_book import PROGRAM

    farm, block = "", ""
    if ground.season is not None:
        farm, block = ground.season.file.farm, ground.season.file.blocks[ground.block].block.name
    write_text(to, drawn_across(found, stages, crop=crop, farm=farm, block=block, program=PROGRAM))
    click.echo(f"Wrote {to}")


def _print_across(found: Across, stages: StageDates, in_use: frozenset[str]) -> None:
    from fertadjust import across_words as words

    result = found.result
    begin = f"Record {result.record}: " if result.record else ""
    click.secho(f"{begin}{result.kind}, {result.text()}", bold=True)
    say(words.placed_by(result.sampled, stages))
    for text in (words.converted(result), words.summary(found), words.sure_sentence(found)):
        if text:
            say(text)
    if found.disagreement is not None:
        say(words.disagreement_words(found.disagreement))
    rows = [
        _across_row(str(number) if index == 0 else "", judged, found)
        for number, item in enumerate(found.verdicts, start=1)
        for index, judged in enumerate(item.places)
    ]
    if rows:
        click.echo("")
        headers = ["no.", "place", "low", "high", "position", "status"]
        left: tuple[int, ...] = (0, 1, 5)
        if found.parts:
            headers, left = [*headers, "chance"], (*left, 6)
        echo_table(headers, rows, left=left)
    for number, item in enumerate(found.verdicts, start=1):
        use = "  (in use in this season)" if item.table.id in in_use else ""
        click.echo(f"{number:>2} {item.table.id}{use}")
        recalled = words.recalled_words(item.table)
        say(f"{words.grown(item.table)}{f'; {recalled}' if recalled else ''}", indent="   ")
        if item.candidate.why:
            say(f"{item.candidate.why[:1].upper()}{item.candidate.why[1:]}.", indent="   ")
        for judged in item.unnoticed:
            say(
                f"{words.side_words(judged, found).capitalize()} if {judged.band.label} has begun: "
                f"{judged.band.text()}.",
                indent="   ",
            )
    if found.others:
        click.echo("")
        say("Not compared")
    for other in found.others:
        say(f"{other.table.id}: {other.why}", indent="  - ", hang=4)


def _across_row(number: str, judged: Judged, found: Across) -> list[str]:
    from fertadjust import across_words as words

    where = judged.found.position
    status = judged.found.status
    row = [
        number,
        judged.band.label,
        *edges(judged.band),
        "-" if where is None else f"{where:.2f}",
        words.SIDES[None] if status is None else status.value,
    ]
    return [*row, words.sure_words(judged, found)] if found.parts else row
