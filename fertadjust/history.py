"""A block's season looked back on: what was advised on each day, what was decided, and what followed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from fertadjust import words
from fertadjust.advice_data import reading_data
from fertadjust.compare import Comparison
from fertadjust.deciding import season_of_basis
from fertadjust.errors import UserError
from fertadjust.record import Kind, Record, standing_on
from fertadjust.rules.engine import evaluate
from fertadjust.rules.evidence_rules import compared
from fertadjust.rules.facts import Reading
from fertadjust.season import Advice, BlockSeason
from fertadjust.stages import StageDates
from fertadjust.stored import NOT_AS_WRITTEN, Decided, arrivals, decided_of, first_versions, with_records
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.units import UnitSystem


@dataclass(frozen=True, slots=True)
class Followed:
    """What came after a day of the history.

    Attributes:
        reading, comparison: the next reading of the kind that decided, as known in hindsight, and where it lies;
            None while there is none.
        end: last day counted for the applications, the one before the history's next day.
        aimed_lb_ac, applied_lb_ac: nitrogen aimed at and logged from the day to that one [lb/ac].
        unbanded: whether later nitrogen results are known that play no part, such as those without a band.
    """

    reading: Reading | None
    comparison: Comparison | None
    end: date
    aimed_lb_ac: float
    applied_lb_ac: float
    unbanded: bool = False


class OtherDate(NamedTuple):
    """A stage that had another date when a decision was made, or was a guess; None where it has or had no date."""

    stage: str
    then: date | None
    now: date | None
    then_guess: bool = False
    now_guess: bool = False


@dataclass(frozen=True, slots=True)
class PlacedThen:
    """What the stage dates on record when a decision was made came to, where today's come to something else.

    Attributes:
        reading, comparison: the deciding reading by those dates, and where it lies; None where there was none.
        dates: the stages whose dates are others today.
    """

    reading: Reading | None
    comparison: Comparison | None
    dates: tuple[OtherDate, ...]


@dataclass(frozen=True, slots=True)
class Moment:
    """One day of the history.

    Attributes:
        advice: what was advised, made from what was known by then and nothing later.
        decided: the decision of that day, or None.
        followed: what came after it.
        placed_then: the result by the stage dates of the decision; None where today's come to the same.
    """

    advice: Advice
    decided: Decided | None
    followed: Followed
    placed_then: PlacedThen | None = None

    def comes_out_otherwise(self, units: UnitSystem) -> bool:
        """Whether the decision was made on another advice: the plan, the rules or late records have changed it."""
        return self.decided is not None and self.decided.advised != words.headline(self.advice, units)


def history_of(plan: BlockSeason, records: Sequence[Record], on: date) -> list[Moment]:
    """The history of a block up to a day; see `moments`.

    Args:
        plan: the block as the season file has it.
        records: all records of the season in order.
        on: the day on which to look back.
    """
    key = plan.block.key
    mine = [item for item in records if item.block == key]
    made = [item for item in standing_on(records, on) if _decided(item, key)]
    decisions = [decided_of(item) for item in made]
    found = moments(
        lambda then: with_records(plan, standing_on(records, then)),
        arrivals(mine),
        on,
        [item for item in decisions if item.on <= on],
        first_versions(records),
    )
    dates_then = _DatesThen(key)
    by_number = {item.number: item for item in made}
    return [
        item
        if item.decided is None
        else replace(
            item, placed_then=_placed_then(plan, records, item, dates_then.of(by_number[item.decided.record]))
        )
        for item in found
    ]


class _DatesThen:
    """A block's stage dates as decisions stored them; each season file is read once."""

    def __init__(self, block: str) -> None:
        self._block = block
        self._read: dict[str, StageDates | None] = {}

    def of(self, record: Record) -> StageDates | None:
        """The stage dates that a decision was made with; None where this version does not read what it stored."""
        try:
            basis = (record.content or {})["basis"]
            if basis["season"] not in self._read:
                then = season_of_basis(basis, Path())
                self._read[basis["season"]] = then.blocks[self._block].stages
            return self._read[basis["season"]]
        except (UserError, *NOT_AS_WRITTEN):
            return None


def _placed_then(
    plan: BlockSeason, records: Sequence[Record], moment: Moment, then: StageDates | None
) -> PlacedThen | None:
    """The day's deciding reading by other stage dates, where its band or the advice is another."""
    if then is None or (then.dates, then.approximate) == (plan.stages.dates, plan.stages.approximate):
        return None
    on, now = moment.advice.on, moment.advice.facts.primary
    season = with_records(
        replace(plan, stages=replace(then, season_end=plan.stages.season_end)), standing_on(records, on)
    )
    facts = season.facts(on)
    reading, found, other = facts.primary, moment.advice.recommendation, evaluate(facts, season.policy)
    if _place(reading) == _place(now) and other.outcome == found.outcome:
        return None
    names = dict.fromkeys((*then.dates, *plan.stages.dates))
    pairs = [
        OtherDate(
            name,
            then.dates.get(name),
            plan.stages.dates.get(name),
            name in then.approximate,
            name in plan.stages.approximate,
        )
        for name in names
    ]
    return PlacedThen(
        reading=reading,
        comparison=None if reading is None else compared(reading, plan.policy),
        dates=tuple(item for item in pairs if (item.then, item.then_guess) != (item.now, item.now_guess)),
    )


def _place(reading: Reading | None) -> tuple[object, ...] | None:
    """Which results a reading is of, and its band."""
    if reading is None:
        return None
    return reading.records, reading.band.table, reading.band.row, reading.band.low, reading.band.high


def _decided(record: Record, block: str) -> bool:
    return (record.kind, record.block) == (Kind.DECISION, block)


def moments(
    as_of: Callable[[date], BlockSeason],
    arrived: Iterable[date],
    on: date,
    decisions: Sequence[Decided],
    first_of: Mapping[int, int],
) -> list[Moment]:
    """The history of a block, one entry for each day that a nitrogen result came in or a decision was made.

    Args:
        as_of: the block's season as its records stood at the end of a day.
        arrived: days on which a result may have come in, by any record, corrected or voided since or not.
        on: the day on which to look back.
        decisions: the decisions on the block.
        first_of: number of a corrected record -> number of the one that it goes back to.
    """
    now, seen = as_of(on), {day: as_of(day) for day in arrived if day <= on}
    unused = [item.sampled for item in now.facts(on).not_used]
    made = {item.on: item for item in decisions}
    seen |= {day: as_of(day) for day in made if day <= on and day not in seen}
    days = sorted(day for day, season in seen.items() if day in made or _came_in(season, day))
    advices = [seen[day].advice(day) for day in days]
    ends = [following - timedelta(days=1) for _, following in pairwise(days)]
    ends += [max(days[-1], min(on, now.plan.end))] if days else []
    return [
        Moment(advice, made.get(advice.on), _followed(now, advice, on, end, first_of, unused))
        for advice, end in zip(advices, ends, strict=True)
    ]


def _came_in(season: BlockSeason, day: date) -> bool:
    """Whether a nitrogen result came in on a day, by what stood then."""
    return any(item.known_on == day and item.analyte == MAIN_ANALYTE[item.tissue] for item in season.results)


def _followed(
    now: BlockSeason,
    advice: Advice,
    on: date,
    end: date,
    first_of: Mapping[int, int],
    unused: Sequence[date],
) -> Followed:
    ledger, before = now.ledger(end), advice.facts.primary
    same = set() if before is None else {first_of.get(number, number) for number in before.records}
    reading = next(
        (
            item
            for item in now.later_readings(before, on)
            if same.isdisjoint(first_of.get(number, number) for number in item.records)
        ),
        None,
    )
    return Followed(
        reading=reading,
        comparison=None if reading is None else compared(reading, now.policy),
        end=end,
        aimed_lb_ac=ledger.aimed_lb_ac(advice.on, end),
        applied_lb_ac=ledger.applied_lb_ac(advice.on, end),
        unbanded=any(sampled > (advice.on if before is None else before.sampled) for sampled in unused),
    )


def history_data(history: Sequence[Moment], units: UnitSystem) -> list[dict[str, Any]]:
    """A history as JSON-ready data, rates and totals in ``units``."""
    return [_moment_data(item, units) for item in history]


def _moment_data(item: Moment, units: UnitSystem) -> dict[str, Any]:
    found, facts, decided, followed = item.advice.recommendation, item.advice.facts, item.decided, item.followed
    return {
        "on": item.advice.on.isoformat(),
        "result": None if facts.primary is None else reading_data(facts.primary, found.comparison),
        "advised": {
            "action": found.action.value,
            "headline": words.headline(item.advice, units),
            "before": [units.rate_out(rate) for rate in found.standing_rates_lb_ac],
            "rates": [units.rate_out(rate) for rate in found.rates_lb_ac],
            "moved_by": found.moved_by,
            "binding": found.binding,
            "rules": [line.rule for line in found.trace if line.fired],
        },
        "placed_then": None if item.placed_then is None else _placed_data(item.placed_then),
        "decided": None
        if decided is None
        else {
            "choice": decided.choice,
            "by": decided.by,
            "reason": decided.reason,
            "rates": {week: units.rate_out(rate) for week, rate in sorted(decided.rates_lb_ac.items())},
            "advised_then": decided.advised,
            "comes_out_otherwise": item.comes_out_otherwise(units),
        },
        "followed": {
            "result": None if followed.reading is None else reading_data(followed.reading, followed.comparison),
            "until": followed.end.isoformat(),
            "aimed": units.rate_out(followed.aimed_lb_ac),
            "applied": units.rate_out(followed.applied_lb_ac),
        },
    }


def _placed_data(placed: PlacedThen) -> dict[str, Any]:
    return {
        "result": None if placed.reading is None else reading_data(placed.reading, placed.comparison),
        "stage_dates": [
            {
                "stage": item.stage,
                "then": None if item.then is None else item.then.isoformat(),
                "then_guess": item.then_guess,
                "now": None if item.now is None else item.now.isoformat(),
                "now_guess": item.now_guess,
            }
            for item in placed.dates
        ],
    }
