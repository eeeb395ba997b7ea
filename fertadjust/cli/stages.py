"""``stages``: the crop's stages and their dates, seen and changed."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fertadjust.cli.common import (
    DAY,
    by_option,
    confirm,
    echo_json,
    json_option,
    on_option,
    open_folder,
    say,
    season_option,
    today,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.api import Season
    from fertadjust.season_file import SeasonFile
    from fertadjust.stage_move import Lies, Move

_yes = click.option("--yes", is_flag=True, help="Write without asking.")
_reason = click.option("--reason", default="", help="Why, in a few words; goes on record.")
_block = click.option("--block", help="Only this block, by key or name.  [default: all blocks]")


@click.group()
def stages() -> None:
    """The crop's stages and their dates.

    A band is placed by the date of its stage, so write down what you saw in the field, when you saw it.
    """


@stages.command(
    "list",
    epilog="""\b
Examples:
  fertadjust stages list
  fertadjust stages list --crop tomato
""",
)
@season_option
@click.option("--crop", help="Stages of this crop, without a season.")
@_block
@on_option
@json_option
def list_(folder: Path, crop: str | None, block: str | None, on: date | None, as_json: bool) -> None:
    """List the stages in order: what each looks like, its date, what needs it, and what is next."""
    if crop is not None:
        _list_crop(crop, as_json)
        return
    from fertadjust.shipped import crop_stages
    from fertadjust.stage_move import known_stages, needed_by, next_stage

    season = open_folder(folder)
    file, meaning = season.file, crop_stages().meaning
    keys = list(file.blocks) if block is None else [_key(season, block)]
    coming = {key: next_stage(file, key, on or today()) for key in keys}
    if as_json:
        rows = [
            {
                "stage": name,
                "meaning": meaning.get(name, ""),
                "dates": {key: file.blocks[key].stages.dates.get(name) for key in keys},
                "guess": [key for key in keys if name in file.blocks[key].stages.approximate],
                "needed_by": needed_by(file.tables, name),
            }
            for name in known_stages(file)
        ]
        echo_json({"crop": file.crop, "stages": rows, "next": coming})
        return
    say(f"Stages of {file.crop}, in order:")
    for name in known_stages(file):
        _echo_stage(name, _dated(file, keys, name), meaning.get(name, "a stage of your own"))
        users = needed_by(file.tables, name)
        if users:
            say(f"needed by {', '.join(users)}", indent="      ")
    for key, following in coming.items():
        if following is None:
            say(f"Block {key}: no stage is to come.")
            continue
        day = file.blocks[key].stages.dates.get(following)
        when = "" if day is None else f", dated {_day(day)}"
        say(f"Block {key}, next: {following}{when}: {meaning[following]}.", hang=2)
    say("Write down a date with: fertadjust stages set NAME DATE")


def _list_crop(crop: str, as_json: bool) -> None:
    from fertadjust.shipped import crop_stages, shipped_tables
    from fertadjust.stage_move import needed_by

    file = crop_stages()
    known = sorted({name for item in file.crops for name in (item.crop, *item.also)})
    named = next((name for name in known if name.casefold() == crop.strip().casefold()), "")
    found = file.of(named)
    if found is None:
        raise UserError(Fault(f'no stages are known of "{crop}"; there are: {", ".join(known)}', key="--crop"))
    crop = named
    tables = [table for table in shipped_tables().values() if crop in table.crops]
    if as_json:
        rows = [
            {"stage": name, "meaning": file.meaning[name], "needed_by": needed_by(tables, name)}
            for name in found.names
        ]
        echo_json({"crop": crop, "stages": rows})
        return
    say(f"Stages of {crop}, in order:")
    for name in found.names:
        _echo_stage(name, "", file.meaning[name])
        users = needed_by(tables, name)
        if users:
            say(f"needed by {', '.join(users)}", indent="      ")


def _echo_stage(name: str, dated: str, meaning: str) -> None:
    say(f"{name:<26}{dated}".rstrip(), indent="  ", hang=28)
    say(meaning, indent="      ")


def _dated(file: SeasonFile, keys: list[str], name: str) -> str:
    """A stage's dates in words: one for all blocks where they are the same."""
    texts = {key: _day_in(file, key, name) for key in keys}
    if len(set(texts.values())) == 1:
        return texts[keys[0]]
    return ", ".join(f"{key} {text}" for key, text in texts.items())


def _day_in(file: SeasonFile, key: str, name: str) -> str:
    stage_dates = file.blocks[key].stages
    return _day(stage_dates.dates.get(name), name in stage_dates.approximate)


def _day(value: date | None, guess: bool = False, none: str = "-") -> str:
    from fertadjust import dates

    if value is None:
        return none
    return f"{dates.day(value)}{' (a guess)' if guess else ''}"


@stages.command(
    "set",
    epilog="""\b
Examples:
  fertadjust stages set first_bloom 2026-03-02
  fertadjust stages set fruit_set 2026-03-30 --block north --guess
""",
)
@click.argument("name")
@click.argument("day", type=DAY, metavar="DATE")
@_block
@click.option("--guess", is_flag=True, help="The date is a guess: the bands beside it count further.")
@click.option("--own", is_flag=True, help="A stage of your own, which the crop's list does not have.")
@click.option("--far", is_flag=True, help="The date is right, though it lies far outside the plan.")
@season_option
@_reason
@_yes
@by_option
def set_(
    name: str,
    day: date,
    block: str | None,
    guess: bool,
    own: bool,
    far: bool,
    folder: Path,
    reason: str,
    yes: bool,
    by: str,
) -> None:
    """Write the first day of stage NAME into season.toml.

    Says first what changes: results in another band, decisions that would come out otherwise, today's advice. What
    was decided stays on record as it was made.
    """
    from fertadjust.stage_edit import with_date
    from fertadjust.stage_move import far_from_plan

    season = open_folder(folder)
    stage = _stage(season.file, name, own)
    key = None if block is None else _key(season, block)
    text = with_date(season.file.text, stage, day, key, guess=guess)
    if key is None:
        for other in _with_own(season, stage):
            say(f"Block {other} has a date of its own, which stays: {_day_in(season.file, other, stage)}.")
    _change(season, text, stage, reason, yes, by, off="" if far else far_from_plan(season.file, day))


@stages.command(epilog="Example: fertadjust stages clear fruit_set --block north")
@click.argument("name")
@_block
@season_option
@_reason
@_yes
@by_option
def clear(name: str, block: str | None, folder: Path, reason: str, yes: bool, by: str) -> None:
    """Take the date of stage NAME out of season.toml: it has not begun after all.

    With --block only the block's own date goes, and the one of all blocks counts for it again.
    """
    from fertadjust.stage_edit import without_date
    from fertadjust.stage_move import plain_stage

    season = open_folder(folder)
    stage = plain_stage(name)
    key = None if block is None else _key(season, block)
    shared, own = _given(season)
    if stage not in (shared if key is None else own[key]):
        where = "for all blocks" if key is None else f"of block {key}'s own"
        with_own = [item for item in own if stage in own[item]]
        hint = f"; block {', '.join(with_own)} has its own: --block" if key is None and with_own else ""
        raise UserError(Fault(f'"{name}" has no date {where}{hint}', key="NAME"))
    _change(season, without_date(season.file.text, stage, key), stage, reason, yes, by)


def _given(season: Season) -> tuple[set[str], dict[str, set[str]]]:
    """Stages that the season file dates for all blocks, and those that it dates for each block alone."""
    from fertadjust.season_file import SEASON_FILE
    from fertadjust.toml_file import parse_toml

    data = parse_toml(season.file.text, SEASON_FILE).data
    own = {key: set(block.get("stages", ())) for key, block in data["blocks"].items()}
    return set(data["stages"]) - {"approximate"}, {key: names - {"approximate"} for key, names in own.items()}


def _with_own(season: Season, stage: str) -> list[str]:
    return [key for key, names in _given(season)[1].items() if stage in names]


def _key(season: Season, block: str) -> str:
    from fertadjust.entry import block_of

    return block_of(season.file, block).block.key


def _stage(file: SeasonFile, name: str, own: bool) -> str:
    """The stage named.

    Raises:
        UserError: it is none of the crop's and not said to be the grower's own; the nearest names are told.
    """
    from fertadjust.stage_move import known_stages, no_stage, plain_stage

    stage, known = plain_stage(name), known_stages(file)
    if stage in known:
        return stage
    if not re.fullmatch(r"[a-z][a-z0-9_]*", stage) or stage == "approximate":
        raise UserError(Fault(f'"{name}" is no name for a stage; write letters, digits and _', key="NAME"))
    if own:
        return stage
    raise UserError(Fault(f"{no_stage(name, known, file.crop)} A stage of your own: --own", key="NAME"))


def _change(season: Season, text: str, stage: str, reason: str, yes: bool, by: str, off: str = "") -> None:
    """Check the new text, say what changes, ask, write, and put the plan on record.

    ``off`` says that the date lies far outside the plan, which takes a person's yes.
    """
    from fertadjust.season_file import parse_season
    from fertadjust.stage_move import move, write_season

    if text == season.file.text:
        say("The season file says so already; nothing is written.")
        return
    after = parse_season(text, season.file.folder)
    if off and yes:
        raise UserError(Fault(f"{off}; if the date is right, say so with --far", key="DATE"))
    found = move(season.file, after, season.records.all(), today())
    _echo_move(found)
    if off:
        say(f"Look at the date again: {off}.")
    if not yes and not confirm("Write it?"):
        say("Nothing was written.")
        return
    changed = _why(found) or f"stage {stage}: no block goes by the date of all blocks"
    why = "; ".join(filter(None, (changed, reason.strip())))
    number = write_season(season, text, why, by=by)
    say(f"Wrote season.toml; record {number}: the plan as it stands. {why}.")


def _why(found: Move) -> str:
    """The change in words; the blocks are named where not all of them change alike."""
    texts: dict[str, list[str]] = {}
    for item in found.dates:
        was, now = _short(item.was, item.was_guess), _short(item.now, item.now_guess)
        texts.setdefault(f"stage {item.stage}: {was} -> {now}", []).append(item.block)
    every = len(found.after.blocks)
    return "; ".join(
        text if len(blocks) == every else f"{text} (block {', '.join(blocks)})" for text, blocks in texts.items()
    )


def _short(value: date | None, guess: bool) -> str:
    if value is None:
        return "no date"
    return f"{value.day} {value:%b %Y}{' (a guess)' if guess else ''}"


def _echo_move(found: Move) -> None:
    if not found.dates:
        say("No block goes by it: each has a date of its own.")
    for item in found.dates:
        was, now = _day(item.was, item.was_guess, "no date"), _day(item.now, item.now_guess, "no date")
        say(f"Block {item.block}, {item.stage}: {was} -> {now}", hang=2)
    _echo_results(found)
    _echo_decisions(found)
    for plan in found.plans:
        parts = [
            f"{what} of {_weeks(numbers)}"
            for what, numbers in (("the planned rate", plan.rates), ("the mix of products", plan.mixes))
            if numbers
        ]
        say(f"Block {plan.block}: {' and '.join(parts)} change{'s' if len(parts) == 1 else ''}.", hang=2)
    for advice in found.advice:
        if advice.was == advice.now:
            say(f"Advice today, block {advice.block}, stays: {advice.was}", hang=2)
            continue
        say(f"Advice today, block {advice.block}:")
        say(f"until now: {advice.was}", indent="  ", hang=13)
        say(f"then:      {advice.now}", indent="  ", hang=13)
    for note in found.notes:
        say(f"Note: {note}", hang=2)


def _weeks(numbers: tuple[int, ...]) -> str:
    from fertadjust.words import numbered

    return numbered(numbers)


def _echo_results(found: Move) -> None:
    if not found.results:
        say("No result changes its band or status.")
        return
    say("Results in another band, or of another status:")
    for item in found.results:
        say(f"record {item.record}, block {item.block}, {_day(item.sampled)}: {item.text}", indent="  ", hang=4)
        say(f"was: {_lies(item.was)}", indent="    ", hang=9)
        say(f"now: {_lies(item.now)}", indent="    ", hang=9)


def _lies(item: Lies) -> str:
    if item.why_not:
        return f"no band: {item.why_not}"
    status = "cannot be told" if item.status is None else item.status.value
    return f"{status}, band {item.band} at {item.place}"


def _echo_decisions(found: Move) -> None:
    if not found.decisions:
        say("No decision would come out otherwise.")
        return
    say("Decisions that would come out otherwise. They stay on record as they were made:")
    for item in found.decisions:
        say(f"record {item.record}, block {item.block}, {_day(item.on)}, by {item.by}", indent="  ", hang=4)
        say(f"as made:   {item.made}", indent="    ", hang=15)
        if item.was != item.made:
            say(f"until now: {item.was}", indent="    ", hang=15)
        say(f"then:      {item.now}", indent="    ", hang=15)
