"""``bands derive``: a table of the results of the farm's own good blocks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import echo_table, open_folder, say
from fertadjust.cli.table_options import (
    analyte_option,
    anchor_option,
    axis_option,
    basis_option,
    free_id,
    kind_of,
    overwrite_option,
    part_option,
    print_use,
    stage_option,
    tissue_option,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.season_file import SeasonFile
    from fertadjust.table_derive import Derived, GoodBlock, Wanted
    from fertadjust.tissue import Basis, Tissue


@click.command(
    epilog="""\b
Examples:
  fertadjust bands derive --good home-2025 north --good home-2026 north \\
    --axis weeks --anchor first_bloom --every 2 --to bands/our-strawberry.toml
  fertadjust bands derive --good home-2025 river --basis sap \\
    --stage first_flower --stage fruit_bulking
"""
)
@click.option(
    "--good",
    "good",
    nargs=2,
    multiple=True,
    required=True,
    metavar="FOLDER BLOCK",
    help="A season's folder and a block that did well; may be repeated.",
)
@tissue_option
@basis_option
@analyte_option
@part_option
@axis_option
@anchor_option
@stage_option
@click.option("--ends-with", metavar="STAGE", help="Stage from which on there is no band.")
@click.option(
    "--every", type=click.IntRange(1, 60), default=1, show_default=True, help="Weeks that one band covers."
)
@click.option(
    "--low", type=float, default=0.10, show_default=True, help="Share of the results below the low edge."
)
@click.option("--high", type=float, default=0.90, show_default=True, help="Share below the high edge.")
@click.option("--least", type=int, default=10, show_default=True, help="Samples that a band needs.")
@click.option("--to", type=click.Path(path_type=Path), help="File to write, .toml or .csv; without it only shown.")
@overwrite_option
def derive(
    good: tuple[tuple[str, str], ...],
    tissue: str,
    basis: str,
    analyte: str | None,
    part: str | None,
    axis: str,
    anchor: str | None,
    stages: tuple[str, ...],
    ends_with: str | None,
    every: int,
    low: float,
    high: float,
    least: int,
    to: Path | None,
    overwrite: bool,
) -> None:
    """Make a table of the results of your own good blocks.

    It says what blocks that you name as good had, not what they needed: above all the high edge is no tested
    limit. Results count as they stand, corrections included. Without --stage the stages are those that
    every block has a date for.
    """
    from fertadjust.band_rows import Axis
    from fertadjust.season_file import read_season
    from fertadjust.table_derive import Wanted
    from fertadjust.table_derive import derive as made_of
    from fertadjust.table_places import stage_name
    from fertadjust.table_write import check_target, write_table
    from fertadjust.tissue import Basis, Tissue

    if to is not None:
        check_target(to, overwrite)
        free_id(to)
    kind = kind_of(tissue, basis, analyte)
    files = [read_season(Path(folder)) for folder in dict.fromkeys(folder for folder, _ in good)]
    blocks = _good_blocks(good)
    wanted = Wanted(
        head=_head(files, to, Tissue(tissue), Basis(basis), kind, part),
        tissue=Tissue(tissue),
        basis=Basis(basis),
        analyte=kind,
        axis=Axis(axis),
        anchor=None if anchor is None else stage_name(anchor),
        stages=(tuple(map(stage_name, stages)) or _shared_stages(blocks)) if axis == "stages" else (),
        ends_with=None if ends_with is None else stage_name(ends_with),
        every=every,
        low=low,
        high=high,
        least=least,
    )
    found = made_of(blocks, wanted)
    if to is not None:
        write_table(found.table, to, overwrite)
    _print_derived(found, wanted, blocks)
    if to is not None:
        click.echo(f"Wrote {to}")
        print_use(found.table.model_copy(update={"id": to.stem}), to)


def _good_blocks(good: tuple[tuple[str, str], ...]) -> list[GoodBlock]:
    from fertadjust.entry import block_of
    from fertadjust.table_derive import GoodBlock

    blocks = []
    for folder, name in good:
        season = open_folder(Path(folder))
        one = season.block(block_of(season.file, name).block.key)
        label = f"{season.file.farm} {one.plan.start.year}"
        blocks.append(GoodBlock(label, one.block.key, one.stages, one.results))
    return blocks


def _head(
    files: list[SeasonFile], to: Path | None, tissue: Tissue, basis: Basis, analyte: str, part: str | None
) -> dict[str, Any]:
    """What the table is for, by the seasons that it is made of; they have to agree."""
    from fertadjust.band_rows import Axis
    from fertadjust.table_blank import PARTS, Blank, text_faults

    if part is not None and (faults := text_faults("--part", part)):
        raise UserError(faults)
    for what, names in (
        ("crop", {file.crop for file in files}),
        ("system", {file.system for file in files}),
        ("region", {file.region for file in files}),
    ):
        if len(names) > 1:
            message = (
                f"the seasons differ in {what} ({', '.join(sorted(names))}); a band belongs to one: derive apart"
            )
            raise UserError(Fault(message, key="--good"))
    first = files[0]
    used = [table.part for table in first.tables if (table.tissue, table.basis) == (tissue, basis)]
    sampled = part or (used[0] if used else PARTS[tissue])
    named = Blank("", first.crop, first.system, first.region, tissue, sampled, basis, analyte, Axis.SEASON)
    varieties = {file.variety for file in files}
    return {
        "id": "own" if to is None else to.stem,
        "title": f"{named.title}: what good blocks had",
        "crop": first.crop,
        "variety": (varieties.pop() or None) if len(varieties) == 1 else None,
        "system": first.system,
        "region": first.region,
        "part": sampled,
    }


def _shared_stages(blocks: list[GoodBlock]) -> tuple[str, ...]:
    """Stages that every block has a date for, in the order of the first block's dates."""
    first = blocks[0].stages.dates
    return tuple(name for name in first if all(name in block.stages.dates for block in blocks))


def _print_derived(found: Derived, wanted: Wanted, blocks: list[GoodBlock]) -> None:
    from fertadjust.tissue import stored_unit

    say(found.table.title)
    unit = stored_unit(wanted.basis, wanted.analyte)
    say(f"Edges in {unit}: the {wanted.low:g} and {wanted.high:g} quantiles of the samples of each place.")
    click.echo("")
    rows = [
        [
            place.label,
            str(place.n),
            str(len(place.blocks)),
            *("-" if edge is None else f"{edge:g}" for edge in (place.low, place.high)),
        ]
        for place in found.places
    ]
    echo_table(["place", "n", "block-seasons", "low", "high"], rows)
    click.echo("")
    for line in found.told:
        say(line, indent="! ")
    if wanted.axis.value == "stages":
        dated = {name for block in blocks for name in block.stages.dates}
        left_out = sorted(dated - {*wanted.stages, wanted.ends_with})
        if left_out:
            say(f"Stages left out: {', '.join(left_out)}; their days belong to the stage before.", indent="! ")
    for note in found.table.notes:
        say(f"Note: {note}")
