"""A block's season looked back on: what was advised on each day, what was decided, and what followed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from fertadjust import words
from fertadjust.advice_data import reading_data
from fertadjust.compare import Comparison
from fertadjust.record import Kind, Record, standing_on
from fertadjust.rules.evidence_rules import compared
from fertadjust.rules.facts import Reading
from fertadjust.season import Advice, BlockSeason
from fertadjust.stored import Decided, arrivals, decided_of, first_versions, with_records
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
    """

    reading: Reading | None
    comparison: Comparison | None
    end: date
    aimed_lb_ac: float
    applied_lb_ac: float


@dataclass(frozen=True, slots=True)
class Moment:
    """One day of the history.

    Attributes:
        advice: what was advised, made from what was known by then and nothing later.
        decided: the decision of that day, or None.
        followed: what came after it.
    """

    advice: Advice
    decided: Decided | None
    followed: Followed

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
    decisions = [decided_of(item) for item in standing_on(records, on) if _decided(item, key)]
    return moments(
        lambda then: with_records(plan, standing_on(records, then)),
        arrivals(mine),
        on,
        [item for item in decisions if item.on <= on],
        first_versions(records),
    )


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
    made = {item.on: item for item in decisions}
    seen |= {day: as_of(day) for day in made if day <= on and day not in seen}
    days = sorted(day for day, season in seen.items() if day in made or _came_in(season, day))
    advices = [seen[day].advice(day) for day in days]
    ends = [following - timedelta(days=1) for _, following in pairwise(days)]
    ends += [max(days[-1], min(on, now.plan.end))] if days else []
    return [
        Moment(advice, made.get(advice.on), _followed(now, advice, on, end, first_of))
        for advice, end in zip(advices, ends, strict=True)
    ]


def _came_in(season: BlockSeason, day: date) -> bool:
    """Whether a nitrogen result came in on a day, by what stood then."""
    return any(item.known_on == day and item.analyte == MAIN_ANALYTE[item.tissue] for item in season.results)


def _followed(now: BlockSeason, advice: Advice, on: date, end: date, first_of: Mapping[int, int]) -> Followed:
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
        "decided": None
        if decided is None
        else {
            "choice": decided.choice,
            "by": decided.by,
            "reason": decided.reason,
            "rates": {week: units.rate_out(rate) for week, rate in decided.rates_lb_ac.items()},
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
