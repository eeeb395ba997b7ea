"""A block's season in review: what was advised, decided and applied, and how the results lay against their bands.

Counting only. What it says in words, and what may be tried next year, is in `fertadjust.review_words`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby, pairwise
from typing import Final, NamedTuple

from fertadjust.compare import Side, compare
from fertadjust.errors import OutOfSeason
from fertadjust.history import Moment
from fertadjust.ledger import LedgerWeek
from fertadjust.readings import deciding, history, side_of
from fertadjust.record import Kind, Record, counting_on
from fertadjust.review_changes import AfterChange, Return, changes_in
from fertadjust.rules.facts import NotUsed, Reading
from fertadjust.season import BlockSeason
from fertadjust.stored import first_versions, result_of
from fertadjust.tissue import MAIN_ANALYTE, Basis, Censor, Method, Tissue

OFF_TARGET: Final = 0.10
"""A week counts as off its target from this share of it on: the project's own threshold."""

_SAME_LB_AC: Final = 1e-6
_KINDS: Final = ((Tissue.PETIOLE, Basis.DRY), (Tissue.PETIOLE, Basis.SAP), (Tissue.LEAF, Basis.DRY))
"""Kinds of nitrogen reading; of those with equally many readings the first one is reviewed."""


class Sides(NamedTuple):
    """How many results or days lay on each side of the band, and for how many it is not known."""

    below: int = 0
    within: int = 0
    above: int = 0
    unknown: int = 0

    @classmethod
    def of(cls, sides: Iterable[Side | None]) -> Sides:
        every = list(sides)
        return cls(*(every.count(side) for side in (Side.BELOW, Side.WITHIN, Side.ABOVE, None)))

    @classmethod
    def together(cls, parts: Iterable[Sides]) -> Sides:
        return cls(*map(sum, zip(cls(), *parts, strict=True)))

    @property
    def known(self) -> int:
        return self.below + self.within + self.above

    @property
    def share_within(self) -> float | None:
        """Share within of those that are known, or None when none is."""
        return self.within / self.known if self.known else None


@dataclass(frozen=True, slots=True)
class Nitrogen:
    """The block's nitrogen on a day [lb/ac].

    Attributes:
        area_ac: area of the block on the plan's basis [ac].
        weeks: the weeks that have ended.
        plan_lb_ac: the whole plan.
        logged_lb_ac: all that was logged, in those weeks and besides.
        besides_lb_ac: logged outside those weeks.
        assumed_lb_ac: targets of ended weeks without a log; they count against the cap as applied.
        credits_lb_ac, cap_lb_ac: credits and season cap; None without a cap.
    """

    area_ac: float
    weeks: tuple[LedgerWeek, ...]
    plan_lb_ac: float
    logged_lb_ac: float
    besides_lb_ac: float
    assumed_lb_ac: float
    credits_lb_ac: float
    cap_lb_ac: float | None

    @property
    def planned_lb_ac(self) -> float:
        """Planned for the ended weeks, before any decision."""
        return sum(row.week.rate_lb_ac for row in self.weeks)

    @property
    def aimed_lb_ac(self) -> float:
        """Aimed at in the ended weeks, as decided."""
        return sum(row.target_lb_ac for row in self.weeks)

    @property
    def total_lb_ac(self) -> float:
        """What counts against the cap."""
        return self.credits_lb_ac + self.logged_lb_ac + self.assumed_lb_ac

    @property
    def unlogged(self) -> tuple[int, ...]:
        """Numbers of the ended weeks without a log in which something was to go out."""
        return tuple(row.week.number for row in self.weeks if not row.logged and row.target_lb_ac > _SAME_LB_AC)

    @property
    def off_target(self) -> tuple[int, ...]:
        """Numbers of the logged weeks that missed their target by more than `OFF_TARGET` of it."""
        return tuple(
            row.week.number
            for row in self.weeks
            if row.logged and abs(row.difference_lb_ac) > OFF_TARGET * row.target_lb_ac + _SAME_LB_AC
        )


@dataclass(frozen=True, slots=True)
class Sampling:
    """When nitrogen was sampled, and how long the laboratory took.

    Attributes:
        days: sampling days of all nitrogen readings, in order.
        waits: days from sampling to receipt of each report of a laboratory that has both noted, sorted.
    """

    days: tuple[date, ...]
    waits: tuple[int, ...]

    @property
    def gaps(self) -> tuple[int, ...]:
        """Days from each sampling day to the next."""
        return tuple((after - before).days for before, after in pairwise(self.days))


@dataclass(frozen=True)
class Review:
    """One block's season looked back on from a day.

    Attributes:
        season: the block as its records stood on that day.
        on: the day.
        start, end: first day counted (the plan's or an earlier sample's) and the last one, within the plan.
        readings: readings of the kind with most of them, oldest first, one a day.
        results, days: how those lay against their bands, and each day from the first to the last; `day_by_day`.
        others: number of nitrogen readings of other kinds.
        not_used: results that play no part, and why.
        corrected, voided: number of nitrogen results that were corrected, and that were voided.
        moments: each day that a nitrogen result came in or a decision was made.
        changes: what came after each change that a result out of its band led to.
    """

    season: BlockSeason
    on: date
    start: date
    end: date
    readings: tuple[Reading, ...]
    results: Sides
    days: Sides
    others: int
    not_used: tuple[NotUsed, ...]
    corrected: int
    voided: int
    moments: tuple[Moment, ...]
    changes: tuple[AfterChange, ...]
    nitrogen: Nitrogen
    sampling: Sampling

    @property
    def over(self) -> bool:
        """Whether the plan has ended."""
        return self.on > self.season.plan.end

    def came_back(self) -> tuple[int, int]:
        """After how many changes the block was back in band, and of how many it can be told."""
        told = [item.outcome for item in self.changes if item.outcome not in (Return.NONE, Return.UNTOLD)]
        return told.count(Return.BACK), len(told)


def review_of(now: BlockSeason, moments: Sequence[Moment], records: Sequence[Record], on: date) -> Review:
    """The review of a block on a day.

    Args:
        now: its season as the records stood at the end of the day.
        moments: its history up to that day; see `fertadjust.history.moments`. Every decision has its day there.
        records: all records of the season in order.
        on: the day.
    """
    every = now.later_readings(None, on)
    readings = _reviewed(every, on)
    start = min([now.plan.start, *(item.sampled for item in every)])
    corrected, voided = _undone(now.block.key, counting_on(records, on), on)
    return Review(
        season=now,
        on=on,
        start=start,
        end=min(on, now.plan.end),
        readings=tuple(readings),
        results=Sides.of(map(side_of, readings)),
        days=Sides.of(day_by_day(now, readings)),
        others=sum(item.band.table != readings[0].band.table for item in every),
        not_used=now.facts(on).not_used,
        corrected=corrected,
        voided=voided,
        moments=tuple(moments),
        changes=tuple(changes_in(now, moments, first_versions(records), on)),
        nitrogen=_nitrogen(now, on),
        sampling=_sampling(now, every, on),
    )


def _reviewed(every: Sequence[Reading], on: date) -> list[Reading]:
    """The readings of the kind with the most sampling days, one a day, a laboratory's before a meter's."""
    found: list[Reading] = []
    for kind in _KINDS:
        mine = [item for item in every if (item.tissue, item.basis) == kind]
        one_a_day = history(mine, deciding(mine, on, 0))
        if len(one_a_day) > len(found):
            found = one_a_day
    return found


def day_by_day(season: BlockSeason, readings: Sequence[Reading]) -> list[Side | None]:
    """The side of its own band for each day from the first to the last reading; None where it is not known.

    Between two readings the value runs on a straight line in its logarithm, v0 * (v1 / v0) ** (days / all days),
    and is held against the band of that day. Next to a bound, and on a day without a band, nothing is known.

    Args:
        season: the block.
        readings: of one kind, oldest first, one a day.
    """
    sides: list[Side | None] = []
    for before, after in pairwise(readings):
        sides.append(side_of(before))
        span = (after.sampled - before.sampled).days
        for offset in range(1, span):
            if before.censor is not Censor.NONE or after.censor is not Censor.NONE:
                sides.append(None)
                continue
            value = before.value * (after.value / before.value) ** (offset / span)
            sides.append(_side_on(season, before, before.sampled + timedelta(days=offset), value))
    return [*sides, *map(side_of, readings[-1:])]


def _side_on(season: BlockSeason, like: Reading, on: date, value: float) -> Side | None:
    table = season.table_for(like.tissue, like.basis, like.analyte)
    with suppress(OutOfSeason):
        if table is not None:
            return compare(value, Censor.NONE, 1.0, table.band_on(like.analyte, on, season.stages), 1.0).side
    return None


def _undone(block: str, records: Sequence[Record], on: date) -> tuple[int, int]:
    """Number of a block's nitrogen results, known by a day, that were corrected, and that were voided."""
    first_of, by = first_versions(records), {item.number: item for item in records}
    undone: dict[bool, set[int]] = {False: set(), True: set()}
    for item in records:
        if item.kind is Kind.RESULT and item.replaces is not None and item.block == block:
            result = result_of(by[item.replaces] if item.content is None else item)
            if result.known_on <= on and result.analyte == MAIN_ANALYTE[result.tissue]:
                undone[item.content is None].add(first_of[item.number])
    return len(undone[False] - undone[True]), len(undone[True])


def _nitrogen(now: BlockSeason, on: date) -> Nitrogen:
    ledger, plan = now.ledger(on), now.plan
    logged, assumed = ledger.spent_lb_ac(on)
    weeks = tuple(ledger.week(week, on) for week in plan.weeks if week.end < on)
    ended = weeks[-1].week.end if weeks else plan.start - timedelta(days=1)
    return Nitrogen(
        area_ac=now.block.area_ac(),
        weeks=weeks,
        plan_lb_ac=sum(plan.rates_lb_ac),
        logged_lb_ac=logged,
        besides_lb_ac=sum(item.n_lb_ac for item in ledger.applications if not plan.start <= item.on <= ended),
        assumed_lb_ac=assumed,
        credits_lb_ac=plan.credits_lb_ac,
        cap_lb_ac=plan.cap_lb_ac,
    )


def _sampling(now: BlockSeason, every: Sequence[Reading], on: date) -> Sampling:
    """Several results of one report count once."""
    noted = {
        (item.sampled, item.received)
        for item in now.results
        if item.known_on <= on
        and item.received is not None
        and item.method is Method.LABORATORY
        and item.analyte == MAIN_ANALYTE[item.tissue]
    }
    waits = sorted((received - sampled).days for sampled, received in noted)
    return Sampling(tuple(day for day, _ in groupby(item.sampled for item in every)), tuple(waits))


@dataclass(frozen=True, slots=True)
class FarmReview:
    """The reviews of a farm's blocks, with their results, days and changes together."""

    reviews: tuple[Review, ...]
    results: Sides
    days: Sides
    came_back: tuple[int, int]


def farm_review(reviews: Sequence[Review]) -> FarmReview:
    """The reviews of a farm's blocks together."""
    back = [item.came_back() for item in reviews]
    return FarmReview(
        reviews=tuple(reviews),
        results=Sides.together(item.results for item in reviews),
        days=Sides.together(item.days for item in reviews),
        came_back=(sum(one for one, _ in back), sum(of for _, of in back)),
    )
