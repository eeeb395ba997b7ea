"""``bands candidates``: the tables to choose from side by side, and what other commands choose tables by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import (
    DAY,
    Command,
    ask,
    block_option,
    echo_json,
    echo_table,
    json_option,
    open_folder,
    pick_block,
    say,
    today,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.api import Season
    from fertadjust.band_rows import Band
    from fertadjust.bands import BandTable
    from fertadjust.rules.policy import Policy
    from fertadjust.stages import StageDates
    from fertadjust.table_choice import Candidate, Wanted

_FILTERS = (
    click.option("--crop", help="Only tables of this crop, by any of its names."),
    click.option("--variety", help="Of this variety or type, or of any."),
    click.option("--region", help="Of a region that these words stand in."),
    click.option("--system", help="Of a growing system that these words stand in."),
    click.option("--tissue", type=click.Choice(["petiole", "leaf"]), help="Tissue."),
    click.option("--basis", type=click.Choice(["dry", "sap"]), help="Dry weight or fresh sap."),
    click.option("--analyte", help="With rows for this analyte, such as NO3-N or K."),
)
folder_option = click.option(
    "--folder", type=click.Path(path_type=Path), help="A folder of your own tables, shown as well."
)
season_option = click.option(
    "--season", type=click.Path(path_type=Path), help="Season folder: its crop, stage dates, rules and own tables."
)
stage_option = click.option(
    "--stage",
    "stage",
    multiple=True,
    metavar="NAME=DATE",
    help="First day of a stage; give it as often as needed.",
)


def filter_options(command: Command) -> Command:
    """The options that say which tables are looked for."""
    for option in reversed(_FILTERS):
        command = option(command)
    return command


def wanted_of(given: Mapping[str, Any]) -> Wanted:
    """What the filter options ask for."""
    from fertadjust.table_choice import Wanted
    from fertadjust.tissue import Basis, Tissue

    words = {name: given[name] or None for name in ("crop", "variety", "system", "region", "analyte")}
    tissue = Tissue(given["tissue"]) if given["tissue"] else None
    return Wanted(**words, tissue=tissue, basis=Basis(given["basis"]) if given["basis"] else None)


def fitting(tables: Mapping[str, BandTable], wanted: Wanted) -> list[BandTable]:
    """The tables that are looked for, in the order given.

    Raises:
        UserError: there are none; the message says what there is instead.
    """
    found = [table for table in tables.values() if wanted.fits(table)]
    if not found:
        name, there = wanted.stops_at(tables.values())
        asked = getattr(wanted, name)
        text = (
            f'no table is for "{asked}"' if name == "crop" else f'no table of those left is for {name} "{asked}"'
        )
        raise UserError(Fault(f"{text}; there are: {', '.join(there)}", key=f"--{name}"))
    return found


def known_tables(folder: Path | None) -> dict[str, BandTable]:
    """The shipped tables and those of a folder of the grower's own, by id.

    Raises:
        UserError: a fault of the folder, or an own table with the id of a shipped one.
    """
    from fertadjust.shipped import read_band_folder, shipped_tables

    own = {} if folder is None else read_band_folder(folder)
    for clash in sorted(shipped_tables().keys() & own.keys()):
        raise UserError(Fault("has the id of a shipped one; give it another", str(folder), key=clash))
    return shipped_tables() | own


def _tables_of(season: Season) -> dict[str, BandTable]:
    """The shipped tables and those that can be used of the season's own folder; what is left out is told."""
    from fertadjust.shipped import read_band_files, shipped_tables

    if season.file.tables_folder is None:
        return dict(shipped_tables())
    own, wrong = read_band_files(season.file.folder / season.file.tables_folder)
    for name in sorted(wrong.keys() | (own.keys() & shipped_tables().keys())):
        click.echo(f"! The own table {name} is left out: it has faults, or the id of a shipped one.", err=True)
    return own | shipped_tables()


@dataclass(frozen=True)
class Ground:
    """What tables are placed by: a season's block, or what was given beside it.

    Attributes:
        tables: the tables that take part, by id.
        season, block: the season, and the key of its block; None and "" without.
    """

    tables: dict[str, BandTable]
    season: Season | None
    block: str

    @property
    def in_use(self) -> frozenset[str]:
        """Ids of the tables that the season has chosen."""
        return frozenset() if self.season is None else frozenset(table.id for table in self.season.file.tables)

    @property
    def policy(self) -> Policy:
        from fertadjust.shipped import shipped_policies

        return shipped_policies()["general"] if self.season is None else self.season.file.policy

    def crop(self, given: str | None) -> str:
        """The crop's name as tables write it: as given, the season's, or as answered."""
        if not given and self.season is not None:
            given = self.season.file.crop
        crop = str(ask(given, "--crop", "Crop")).strip()
        names = sorted({name for table in self.tables.values() for name in table.crops})
        found = next((name for name in names if name.casefold() == crop.casefold()), None)
        if found is None:
            raise UserError(Fault(f'no table is for "{crop}"; there are: {", ".join(names)}', key="--crop"))
        return found

    def stages(self, crop: str, given: Sequence[str], on: date) -> StageDates:
        """The stage dates: of the season's block, and those given, which come first."""
        from fertadjust.stages import StageDates

        own = None if self.season is None else self.season.file.blocks[self.block].stages
        dates = {} if own is None else dict(own.dates)
        typed = self._typed(crop, given)
        dates |= typed
        end = max(on, *dates.values()) if own is None and dates else on if own is None else own.season_end
        guesses = frozenset() if own is None else own.approximate - typed.keys()
        self._check_order(crop, dates, typed)
        return StageDates(dict(sorted(dates.items(), key=lambda item: item[1])), end, guesses)

    def _typed(self, crop: str, given: Sequence[str]) -> dict[str, date]:
        from fertadjust.shipped import crop_stages
        from fertadjust.table_places import stage_name

        order = crop_stages().of(crop)
        tables = [table for table in self.tables.values() if crop in table.crops]
        known = {name for table in tables for name in (*table.needs, table.ends_with) if name}
        names = [*dict.fromkeys([*(order.names if order is not None else ()), *sorted(known)])]
        dates: dict[str, date] = {}
        for text in given:
            name, sign, day = text.partition("=")
            stage = stage_name(name)
            if not sign:
                raise UserError(Fault(f'"{text}": write it as first_flower=2026-04-20', key="--stage"))
            if stage not in names:
                raise UserError(
                    Fault(f'"{name}" is no stage of {crop}; there are: {", ".join(names)}', key="--stage")
                )
            if stage in dates:
                raise UserError(Fault(f"{stage} is given twice", key="--stage"))
            dates[stage] = _day(day)
        return dates

    @staticmethod
    def _check_order(crop: str, dates: Mapping[str, date], typed: Mapping[str, date]) -> None:
        """Refuse a stage typed in out of order; what is unusual in a season's own dates, its file was told of."""
        from fertadjust.dates import day
        from fertadjust.shipped import crop_stages
        from fertadjust.stages import stage_words

        order = crop_stages().of(crop)
        pairs = () if order is None else order.out_of_order(dates)
        for before, after in (pair for pair in pairs if typed.keys() & {*pair}):
            raise UserError(
                Fault(
                    f"{stage_words(after)} on {day(dates[after])} is before {stage_words(before)} on "
                    f"{day(dates[before])}",
                    key="--stage",
                )
            )


def _day(text: str) -> date:
    try:
        return DAY.convert(text, None, None)
    except click.BadParameter as error:
        raise UserError(Fault(error.message, key="--stage")) from None


def ground_of(folder: Path | None, season: Path | None, block: str | None) -> Ground:
    """What the options for tables, season and block come to.

    Raises:
        UserError: a fault of the folder or the season, or no such block.
    """
    if season is None:
        if block:
            raise UserError(Fault("goes with --season", key="--block"))
        return Ground(known_tables(folder), None, "")
    opened = open_folder(season)
    tables = _tables_of(opened) if folder is None else known_tables(folder)
    return Ground(tables, opened, pick_block(opened, block))


# --- candidates -------------------------------------------------------------------------------------------


@click.command(
    epilog="""\b
Examples:
  fertadjust bands candidates --crop tomato --on 2026-05-04 \\
    --stage first_flower=2026-04-20
  fertadjust bands candidates --season . --block north
"""
)
@filter_options
@click.option("--on", type=DAY, help="Day to look at.  [default: today]")
@stage_option
@season_option
@block_option
@folder_option
@json_option
def candidates(
    on: date | None,
    stage: tuple[str, ...],
    season: Path | None,
    block: str | None,
    folder: Path | None,
    as_json: bool,
    **given: str | None,
) -> None:
    """Show the tables to choose from side by side, with their bands on one day.

    None is taken by itself: bands of different regions disagree. Where a table is placed by stages that have no
    date, the bands of all its stages are shown.
    """
    from fertadjust import across_words as words
    from fertadjust.table_choice import candidates as find
    from fertadjust.table_choice import disagreements

    ground, day = ground_of(folder, season, block), on or today()
    given["crop"] = crop = ground.crop(given["crop"])
    if ground.season is not None:
        given["variety"] = given["variety"] or ground.season.file.variety
    wanted, stages = wanted_of(given), ground.stages(crop, stage, day)
    found = find(fitting(ground.tables, wanted), wanted, day, stages)
    apart = disagreements(found)
    lines = words.season_lines(found)
    if as_json:
        data = [words.candidate_data(item) | {"in_use": item.table.id in ground.in_use} for item in found]
        echo_json(
            {
                "on": day,
                "stages": dict(stages.dates),
                "candidates": data,
                "disagreements": [words.disagreement_data(item) for item in apart],
                "season_toml": lines,
            }
        )
        return
    say(words.placed_by(day, stages))
    for kind in dict.fromkeys(item.kind for item in found):
        _print_candidates([item for item in found if item.kind == kind], ground.in_use)
        for item in apart:
            if item.kind == kind:
                say(words.disagreement_words(item))
    click.echo("")
    say(words.NO_DEFAULT)
    say("Write your choice into season.toml, one table of each kind:")
    for line in lines:
        click.echo(f"  {line}")


def _print_candidates(found: Sequence[Candidate], in_use: frozenset[str]) -> None:
    from fertadjust import across_words as words
    from fertadjust.tissue import stored_unit

    kind = found[0].kind
    click.echo("")
    click.secho(f"{kind.words}, in {stored_unit(kind.basis, kind.analyte)}", bold=True)
    rows = []
    for number, item in enumerate(found, start=1):
        where = f"{item.table.region}; {item.table.system}"
        if not item.bands:
            rows.append([str(number), where, "none", "-", "-", "-"])
        for index, band in enumerate(item.bands):
            shown = [str(number), where] if index == 0 else ["", ""]
            rows.append([*shown, band.label, *edges(band), band.evidence.value])
    echo_table(["no.", "region; system", "place", "low", "high", "evidence"], rows, left=(0, 1, 2, 5))
    for number, item in enumerate(found, start=1):
        use = "  (in use in this season)" if item.table.id in in_use else ""
        click.echo(f"{number:>2} {item.table.id}{use}")
        say(f"{words.grown(item.table)}; {item.table.part}", indent="   ")
        if item.why:
            say(
                f"{item.why[:1].upper()}{item.why[1:]}{', so all it may be is shown' if item.places else ''}.",
                "   ",
            )
        if item.unnoticed:
            say(f"Would be {words.unnoticed_words(item.unnoticed)}.", indent="   ")
        if words.recalled_words(item.table):
            say(f"{words.recalled_words(item.table).capitalize()}.", indent="   ")


def edges(band: Band) -> list[str]:
    """Low and high edge for a table; "-" for one that there is not."""
    from fertadjust.tissue import format_value

    return ["-" if edge is None else format_value(edge, band.unit) for edge in (band.low, band.high)]
