"""Every block of one or many season folders on one day, sorted by what needs attention first."""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

from fertadjust.advice_data import reading_data
from fertadjust.api import Season, open_season
from fertadjust.attention import Standing, attention_key, standing_of
from fertadjust.errors import UserError
from fertadjust.needs import Matter, Urgency
from fertadjust.record import Record, counting_on, standing
from fertadjust.season import BlockSeason
from fertadjust.stored import NOT_AS_WRITTEN, UNREADABLE, undone_since, with_records
from fertadjust.units import UnitSystem
from fertadjust.words import rate, rates, recalled_mark


class FolderFault(NamedTuple):
    """One thing wrong with a season folder that could not be read."""

    folder: str
    message: str


class Row(NamedTuple):
    """One block of the summary.

    Attributes:
        farm: the farm's name, with its folder where two folders are of one farm.
        season_farm: the farm's name alone.
        folder: the season folder in the words it was given in.
        season: the block with what was known on the day.
        standing: how it stands.
    """

    farm: str
    season_farm: str
    folder: str
    season: BlockSeason
    standing: Standing


@dataclass(frozen=True, slots=True)
class Summary:
    """All blocks on one day.

    Attributes:
        on: the day.
        rows: blocks, with what needs attention first.
        folders: how many season folders could be read.
        faults: what was wrong with the others.
    """

    on: date
    rows: tuple[Row, ...]
    folders: int
    faults: tuple[FolderFault, ...] = ()

    @property
    def several(self) -> bool:
        """Whether a block has to be named with its farm."""
        return self.folders > 1

    @property
    def units(self) -> UnitSystem | None:
        """The one unit system of all blocks, or None when they differ or there is none."""
        found = {row.standing.units for row in self.rows}
        return found.pop() if len(found) == 1 else None

    def name(self, row: Row) -> str:
        """A block's name, with its farm's where there are several: "North, Fernhill Farm"."""
        name = row.standing.block.name
        return f"{name}, {row.farm}" if self.several else name

    def named_blocks(self) -> list[BlockSeason]:
        """The blocks in the order of the rows, each called by `name`."""
        return [
            replace(row.season, block=replace(row.season.block, name=self.name(row)))
            if self.several
            else row.season
            for row in self.rows
        ]

    def with_needs(self, urgency: Urgency) -> list[Row]:
        """Blocks that have a need of an urgency, in order."""
        return [row for row in self.rows if any(need.urgency is urgency for need in row.standing.needs)]


def open_folders(folders: Iterable[Path]) -> tuple[list[tuple[str, Season]], list[FolderFault]]:
    """Open season folders, each once: those that can be read, and what is wrong with the others."""
    seasons: list[tuple[str, Season]] = []
    faults: list[FolderFault] = []
    seen: set[Path] = set()
    for folder in folders:
        if folder.resolve() in seen:
            continue
        seen.add(folder.resolve())
        if not folder.is_dir():
            faults.append(FolderFault(str(folder), "there is no such folder"))
            continue
        try:
            seasons.append((str(folder), open_season(folder)))
        except UserError as error:
            faults += _faults(str(folder), error)
    return seasons, faults


def summary_of(seasons: Sequence[tuple[str, Season]], on: date, faults: Sequence[FolderFault] = ()) -> Summary:
    """How every block of some seasons stands on a day, from what was known by then.

    Args:
        seasons: each with its folder's name for people; records are read once a season.
        on: the day.
        faults: what was wrong with folders that could not be opened. A season whose records cannot be read adds
            its own and is left out; the others are not touched by it.
    """
    found: list[tuple[str, Season, dict[str, tuple[BlockSeason, date | None]]]] = []
    wrong = list(faults)
    for folder, season in seasons:
        try:
            found.append((folder, season, blocks_known(season, on)))
        except UserError as error:
            wrong += _faults(folder, error)
    farms = Counter(season.file.farm for _, season, _ in found)
    rows = []
    for folder, season, blocks in found:
        alone = farms[season.file.farm] == 1
        farm = season.file.farm if alone else f"{season.file.farm} ({folder})"
        rows += [
            Row(farm, season.file.farm, folder, block, standing_of(block, on, undone))
            for block, undone in blocks.values()
        ]
    rows.sort(key=lambda row: attention_key(row.standing))
    return Summary(on, tuple(rows), len(found), tuple(wrong))


def blocks_known(season: Season, on: date) -> dict[str, tuple[BlockSeason, date | None]]:
    """Every block of a season with what was known on a day; for the day with it see `stored.undone_since`.

    The records are read once for all.

    Raises:
        UserError: the records cannot be read.
    """
    by_block: dict[str, list[Record]] = defaultdict(list)
    try:
        counting = counting_on(season.records.all(), on)
        for record in standing(counting):
            by_block[record.block].append(record)
        return {
            key: (with_records(plan, by_block[key]), undone_since(counting, by_block[key], on))
            for key, plan in season.file.blocks.items()
        }
    except NOT_AS_WRITTEN:
        raise UserError(UNREADABLE) from None


def _faults(folder: str, error: UserError) -> list[FolderFault]:
    """Faults without the folder's name, which is told with each anyway."""
    places = {folder, str(Path(folder).absolute()), str(Path(folder).resolve())}
    own = tuple(place + mark for place in sorted(places, key=len, reverse=True) for mark in (": ", os.sep))
    found = []
    for fault in error.faults:
        text = str(fault)
        named = next((place for place in own if text.startswith(place)), "")
        found.append(FolderFault(folder, text.removeprefix(named)))
    return found


def counts_sentence(summary: Summary) -> str:
    """How many blocks there are and how many need what, in one sentence."""
    matters = [{need.matter for need in row.standing.needs} for row in summary.rows]

    def having(*wanted: Matter) -> int:
        return sum(not found.isdisjoint(wanted) for found in matters)

    def first(urgency: Urgency | None) -> int:
        return sum(row.standing.urgency is urgency for row in summary.rows)

    over = sum(_passed_today(row.standing) for row in summary.rows)
    parts = [
        (over, "is over the season cap", "are over the season cap"),
        (having(Matter.DECIDE, Matter.RAN_OUT), "needs a decision today", "need a decision today"),
        (having(Matter.SAMPLE), "needs a sample today", "need a sample today"),
        (first(Urgency.THIS_WEEK), "has something to do this week", "have something to do this week"),
        (first(Urgency.WHEN_YOU_CAN), "can wait", "can wait"),
        (first(None), "needs nothing", "need nothing"),
    ]
    told = [f"{count} {one if count == 1 else many}" for count, one, many in parts if count]
    total = f"{len(summary.rows)} block{'' if len(summary.rows) == 1 else 's'}"
    return f"{total}: {', '.join(told)}." if told else f"{total}."


def _passed_today(standing: Standing) -> bool:
    """Whether the plan runs and its season cap is passed."""
    return any((need.urgency, need.matter) == (Urgency.TODAY, Matter.CAP_PASSED) for need in standing.needs)


def value_words(standing: Standing) -> str:
    """The deciding result: "2,310 ppm", "<900 ppm", or "none"."""
    reading = standing.reading
    if reading is None:
        return "none"
    return reading.text()


def side_words(standing: Standing) -> str:
    """Side of its band that the deciding result lies on; "not clear" for a bound that does not tell."""
    found = standing.comparison
    return "" if found is None else "not clear" if found.side is None else found.side.word


def band_mark(standing: Standing) -> str:
    """ "band recalled" where the band of the deciding result was written from memory, else ""."""
    return recalled_mark(None if standing.reading is None else standing.reading.band)


def rates_shown(standing: Standing) -> tuple[str, str]:
    """Rates in force, and those to follow as decided on this day or else as advised, "" where they stay."""
    found = standing.recommendation
    new = found.rates_lb_ac if standing.decided_lb_ac is None else standing.decided_lb_ac
    before, after = rates(standing.in_force_lb_ac, standing.units), rates(new, standing.units)
    return before, "" if after == before else after


def first_change(standing: Standing) -> tuple[str, str]:
    """Rates before and after in the first week that changes, or twice that of the first week: ("5.25", "7.00").

    Both are "none" where no week of the plan is left to change.
    """
    found = standing.recommendation
    new = found.rates_lb_ac if standing.decided_lb_ac is None else standing.decided_lb_ac
    pairs = [
        (rate(old, standing.units), rate(then, standing.units))
        for old, then in zip(standing.in_force_lb_ac, new, strict=True)
    ]
    changed = [pair for pair in pairs if pair[0] != pair[1]]
    return next(iter([*changed, *pairs]), ("none", "none"))


def left_words(standing: Standing) -> str:
    """What the season cap leaves: "63.00", "over by 4.20" or "no cap"."""
    if standing.left_lb_ac is None:
        return "no cap"
    if standing.over_lb_ac > 0:
        return f"over by {rate(standing.over_lb_ac, standing.units)}"
    return rate(standing.left_lb_ac, standing.units)


def summary_data(summary: Summary) -> dict[str, Any]:
    """The summary as JSON-ready data, sorted as it is shown.

    Rates and totals are in the units of each block's season, which "units" names; dates are ISO 8601.
    """
    return {
        "on": summary.on.isoformat(),
        "counts": counts_sentence(summary),
        "blocks": [_row_data(row) for row in summary.rows],
        "faults": [fault._asdict() for fault in summary.faults],
    }


def _row_data(row: Row) -> dict[str, Any]:
    one = row.standing
    found, units = one.recommendation, one.units

    def day(value: date | None) -> str | None:
        return None if value is None else value.isoformat()

    def out(values: Iterable[float] | None) -> list[float] | None:
        return None if values is None else [units.rate_out(value) for value in values]

    def amount(value: float | None) -> float | None:
        return None if value is None else units.rate_out(value)

    return {
        "farm": row.farm,
        "folder": row.folder,
        "block": one.block.key,
        "block_name": one.block.name,
        "urgency": None if one.urgency is None else one.urgency.value,
        "headline": one.headline,
        "needs": [
            {"urgency": need.urgency.value, "matter": need.matter.value, "text": need.text} for need in one.needs
        ],
        "plan": {"phase": one.phase.value, "start": one.start.isoformat(), "end": one.end.isoformat()},
        "units": {"rate": units.rate_unit, "total": units.total_unit},
        "result": _result_data(one),
        "action": found.action.value,
        "weeks": [week.number for week in found.weeks],
        "rates_in_force": out(one.in_force_lb_ac),
        "rates_advised": out(found.rates_lb_ac),
        "rates_decided": out(one.decided_lb_ac),
        "review": day(one.review),
        "ran_out": day(one.ran_out),
        "next_sample": day(one.next_sample),
        "nitrogen": {
            "so_far": units.rate_out(one.so_far_lb_ac),
            "cap": amount(one.cap_lb_ac),
            "left": amount(one.left_lb_ac),
            "over": units.rate_out(one.over_lb_ac),
        },
        "weeks_not_logged": list(one.not_logged),
    }


def _result_data(one: Standing) -> dict[str, Any] | None:
    if one.reading is None:
        return None
    found = one.comparison
    sides = {
        "side": None if found is None or found.side is None else found.side.word,
        "sure": None if found is None or found.sure is None else found.sure.word,
    }
    return reading_data(one.reading, found) | sides | {"age_days": one.age_days, "stale": one.stale}
