"""What another stage date comes to: results in other bands, decisions that come out otherwise, today's advice.

Nothing of the past is rewritten: a decision keeps what it was made from, and the plan as it stood stays on record.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import Final, NamedTuple

from fertadjust import dates, words
from fertadjust.bands import BandTable
from fertadjust.compare import Status, compare
from fertadjust.errors import Fault, OutOfSeason, UserError
from fertadjust.files import read_bytes, read_text, write_bytes, write_text
from fertadjust.readings import band_for
from fertadjust.record import Kind, Record, standing, standing_on
from fertadjust.rules.engine import evaluate
from fertadjust.season import BlockSeason
from fertadjust.season_book import SeasonBook
from fertadjust.season_file import SEASON_FILE, SeasonFile, read_season
from fertadjust.shipped import crop_stages
from fertadjust.stages import StageDates
from fertadjust.stored import decided_of, with_records
from fertadjust.tissue import TissueResult

AS_IT_STOOD = "as it stood before a stage date was changed"
"""Reason of a plan that was not on record yet when a stage date was changed."""

FAR_DAYS: Final = 200
"""Days before or after the plan from which a stage date is taken for a slip; the project's own figure."""


class DateMoved(NamedTuple):
    """A stage of one block whose date, or whether it is a guess, changes; None where there is no date."""

    block: str
    stage: str
    was: date | None
    now: date | None
    was_guess: bool
    now_guess: bool


class Lies(NamedTuple):
    """Where a result lies.

    Attributes:
        place: where on the table's axis, for example "week 5"; "" without a band.
        band: the band in words.
        row: table and row of the band.
        status: None without a band, and for a bound that does not tell.
        why_not: why there is no band, or "".
    """

    place: str
    band: str
    row: str
    status: Status | None
    why_not: str

    @property
    def same_as(self) -> tuple[str, str, Status | None, bool]:
        """What is equal where the result lies in the same band with the same status."""
        return self.row, self.band, self.status, bool(self.why_not)


class ResultMoved(NamedTuple):
    """A result whose band or status changes."""

    record: int
    block: str
    sampled: date
    text: str
    was: Lies
    now: Lies


class DecisionMoved(NamedTuple):
    """A decision that would come out otherwise; headlines as made, by the dates until now, and by the new ones."""

    record: int
    block: str
    on: date
    by: str
    made: str
    was: str
    now: str


class AdviceMoved(NamedTuple):
    """A block's advice of the day, before and after."""

    block: str
    was: str
    now: str


class PlanMoved(NamedTuple):
    """Numbers of the weeks of a block whose planned rate or mix of products changes."""

    block: str
    rates: tuple[int, ...]
    mixes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Move:
    """What becomes other when one checked season file takes the place of another; see `move`.

    Attributes:
        before, after: the season files.
        dates, results, decisions: what changes, block by block, in order of time.
        plans: blocks whose planned rates or mixes change.
        advice: every block whose stage dates change, whether its advice does or not.
        notes: notes on the new season file that the old one did not raise.
    """

    before: SeasonFile
    after: SeasonFile
    dates: tuple[DateMoved, ...]
    results: tuple[ResultMoved, ...]
    decisions: tuple[DecisionMoved, ...]
    plans: tuple[PlanMoved, ...]
    advice: tuple[AdviceMoved, ...]
    notes: tuple[str, ...]


def move(before: SeasonFile, after: SeasonFile, records: Sequence[Record], on: date) -> Move:
    """What changes from one season file to another that differs in stage dates only.

    Args:
        before, after: the two, with the same blocks.
        records: every record of the season, in order.
        on: the day whose advice is compared.
    """
    keys = [key for key in after.blocks if before.blocks[key].stages != after.blocks[key].stages]
    pairs = [(before.blocks[key], after.blocks[key]) for key in keys]
    now = standing(records)
    return Move(
        before=before,
        after=after,
        dates=tuple(item for old, new in pairs for item in _dates(new.block.key, old.stages, new.stages)),
        results=tuple(item for old, new in pairs for item in _results(old, new, now)),
        decisions=tuple(item for old, new in pairs for item in _decisions(old, new, records)),
        plans=tuple(item for old, new in pairs if (item := _plan(old, new)).rates or item.mixes),
        advice=tuple(_advice(old, new, records, on) for old, new in pairs),
        notes=tuple(note for note in after.notes if note not in before.notes),
    )


def _dates(block: str, old: StageDates, new: StageDates) -> Iterator[DateMoved]:
    for stage in dict.fromkeys((*old.dates, *new.dates)):
        was, now = old.dates.get(stage), new.dates.get(stage)
        guesses = stage in old.approximate, stage in new.approximate
        if was != now or guesses[0] != guesses[1]:
            yield DateMoved(block, stage, was, now, *guesses)


def _results(old: BlockSeason, new: BlockSeason, records: Sequence[Record]) -> Iterator[ResultMoved]:
    for result in sorted(with_records(new, records).results, key=lambda item: (item.sampled, item.record)):
        was, now = lies(result, old.tables, old.stages), lies(result, new.tables, new.stages)
        if was.same_as != now.same_as:
            text = f"{result.kind} {result.text()}"
            yield ResultMoved(result.record, result.block, result.sampled, text, was, now)


def lies(result: TissueResult, tables: Sequence[BandTable], stages: StageDates) -> Lies:
    """Where a result lies by some stage dates."""
    try:
        band = band_for(result, tables, stages)
    except OutOfSeason as reason:
        return Lies("", "", "", None, str(reason))
    status = compare(result.value, result.censor, 1.0, band, 1.0).status
    return Lies(band.label, band.text(), f"{band.table} {band.row}", status, "")


def _decisions(old: BlockSeason, new: BlockSeason, records: Sequence[Record]) -> Iterator[DecisionMoved]:
    decisions = [
        decided_of(item) for item in standing(records) if (item.kind, item.block) == (Kind.DECISION, new.block.key)
    ]
    for item in sorted(decisions, key=lambda decision: (decision.on, decision.record)):
        known = standing_on(records, item.on)
        was, now = with_records(old, known), with_records(new, known)
        if _outcome(was, item.on) != _outcome(now, item.on):
            before, after = (words.headline(season.advice(item.on), season.units) for season in (was, now))
            yield DecisionMoved(item.record, new.block.key, item.on, item.by, item.advised, before, after)


def _outcome(season: BlockSeason, on: date) -> tuple[object, ...]:
    """What an advice comes to, apart from its wording."""
    return evaluate(season.facts(on), season.policy).outcome


def _plan(old: BlockSeason, new: BlockSeason) -> PlanMoved:
    pairs = list(zip(old.plan.weeks, new.plan.weeks, strict=True))
    return PlanMoved(
        new.block.key,
        tuple(now.number for was, now in pairs if was.rate_lb_ac != now.rate_lb_ac),
        tuple(now.number for _, now in pairs if old.mixes.in_week(now.number) != new.mixes.in_week(now.number)),
    )


def _advice(old: BlockSeason, new: BlockSeason, records: Sequence[Record], on: date) -> AdviceMoved:
    known = standing_on(records, on)
    was, now = (words.headline(with_records(season, known).advice(on), season.units) for season in (old, new))
    return AdviceMoved(new.block.key, was, now)


def write_season(book: SeasonBook, text: str, reason: str, *, by: str = "") -> int | None:
    """Write a changed season file and put the plan on record; the record's number, or None when it stood already.

    Where records stand and the plan until now is not among them, it goes on record first. When the records cannot
    be written, the season file is put back as it was.

    Args:
        book: the season as it was read.
        text: the season file to be, with line ends as `SeasonFile.text` has them.
        reason: why it was changed.
        by: who changed it; the account's name when empty.

    Raises:
        UserError: the season file was changed since it was read, or it or the records cannot be written. The
            season file is as it was then, unless the message says otherwise.
    """
    path = book.file.folder / SEASON_FILE
    stands = read_bytes(path)
    if read_text(path).replace("\r\n", "\n") != book.file.text:
        raise UserError(Fault("was changed meanwhile; nothing is written, give the command again", str(path)))
    first = bool(book.records.all()) and not book.plan_on_record()
    write_text(path, text.replace("\n", "\r\n") if b"\r\n" in stands else text)
    try:
        if first:
            book.record_plan(AS_IT_STOOD, by=by)
        return SeasonBook(read_season(book.file.folder)).record_plan(reason, by=by)
    except UserError as error:
        raise UserError([*error.faults, _put_back(path, stands)]) from None


def _put_back(path: Path, stood: bytes) -> Fault:
    """The season file as it stood, and what to say of it; or that it stays changed."""
    try:
        write_bytes(path, stood)
    except UserError:
        return Fault("the change is written but not on record, and cannot be taken back", str(path))
    return Fault("is as it was before, since the change could not be put on record", str(path))


# --- the stages of a season ---------------------------------------------------------------------------------


def known_stages(file: SeasonFile) -> tuple[str, ...]:
    """The stages that a season can date: the crop's in order, then what tables, rules and blocks name besides."""
    order = crop_stages().of(file.crop)
    used = [name for table in file.tables for name in (*table.needs, table.ends_with) if name]
    dated = [name for block in file.blocks.values() for name in block.stages.dates]
    return tuple(dict.fromkeys((*(order.names if order else ()), *used, file.policy.late_anchor, *dated)))


def plain_stage(name: str) -> str:
    """A stage's name as the season file writes it; "First flower" is first_flower."""
    return re.sub(r"[\s-]+", "_", name.strip().lower())


def no_stage(name: str, known: Sequence[str], crop: str) -> str:
    """That a name is none of a crop's stages, and which ones it may mean."""
    near = get_close_matches(plain_stage(name), known, n=3)
    meant = f"did you mean {' or '.join(near)}?" if near else f"there are: {', '.join(known)}."
    return f'"{name}" is no stage of {crop}; {meant}'


def far_from_plan(file: SeasonFile, on: date) -> str:
    """How far a day lies outside the plan, in words; "" where it is no more than `FAR_DAYS`."""
    plan = next(iter(file.blocks.values())).plan
    before, after = (plan.start - on).days, (on - plan.end).days
    if max(before, after) <= FAR_DAYS:
        return ""
    off = f"{before} days before" if before > 0 else f"{after} days after"
    return f"{dates.day(on)} is {off} the plan, which goes from {dates.day(plan.start)} to {dates.day(plan.end)}"


def needed_by(tables: Sequence[BandTable], stage: str) -> list[str]:
    """Ids of the tables that are placed by a stage, or end with it."""
    return [table.id for table in tables if stage in (*table.needs, table.ends_with)]


def next_stage(file: SeasonFile, block: str, on: date) -> str | None:
    """The stage to look out for in a block: of those after the last that has begun, the first that a table needs.

    Where no table needs one, the first of the crop's order; None when none comes any more, or no order is known.
    """
    order, dates = crop_stages().of(file.crop), file.blocks[block].stages.dates
    if order is None:
        return None
    begun = [rank for name, day in dates.items() if day <= on and (rank := order.rank(name)) is not None]
    coming = [name for name in order.names if (order.rank(name) or 0) > max(begun, default=-1)]
    needed = [name for name in coming if needed_by(file.tables, name)]
    return next(iter([*needed, *coming]), None)
