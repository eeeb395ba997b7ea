"""The changes of rate that a result out of its band led to, and what came after each of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final, NamedTuple

from fertadjust.compare import Side
from fertadjust.history import Moment
from fertadjust.plan import PlanWeek
from fertadjust.readings import side_of
from fertadjust.rules.evidence_rules import lag_days
from fertadjust.rules.facts import Reading
from fertadjust.season import BlockSeason
from fertadjust.stored import Decided
from fertadjust.units import DAYS_PER_WEEK

_SAME_LB_AC: Final = 1e-6


class Return(StrEnum):
    """Where the first settled result after a change lay."""

    BACK = "back in band"
    SAME = "still out on the same side"
    OTHER = "out on the other side"
    UNTOLD = "cannot be told"
    NONE = "no later result"


@dataclass(frozen=True, slots=True)
class AfterChange:
    """A decided raise or cut whose deciding result lay out of its band, and what came after it.

    Attributes:
        decided: the decision.
        week: number of the first week whose rate it moved.
        raised: whether it raised the rate; it cut it otherwise.
        shows: first day on which a sample can show it, by the policy's lag.
        before: the deciding reading as it was known on that day.
        side: the side of its band that it lay on.
        corrected_since: whether a result behind it has been corrected or voided since.
        after: the first reading of the same kind from that day on, or None.
        outcome: where that one lay.
        days: days from the decision to that sample, or None.
        changed_again: whether another decision moved the rate of a week that began before that sample.
        ran_out: whether the plan's own rate, another one, came back before that sample without a decision.
    """

    decided: Decided
    week: int
    raised: bool
    shows: date
    before: Reading
    side: Side
    corrected_since: bool
    after: Reading | None
    outcome: Return
    days: int | None
    changed_again: bool
    ran_out: bool


class Move(NamedTuple):
    """A decision that moved the rate: the first week that it moved, and whether it raised it."""

    decided: Decided
    week: int
    raised: bool


def moved(decided: Decided) -> Move | None:
    """What a decision moved against the rates that stood before it; None where it moved none."""
    for week, rate in sorted(decided.rates_lb_ac.items()):
        before = decided.standing_lb_ac.get(week, rate)
        if abs(rate - before) > _SAME_LB_AC:
            return Move(decided, week, rate > before)
    return None


def moves_made(decisions: Sequence[Decided]) -> list[Move]:
    """Of some decisions in order, what they moved; only rates that came to run count.

    Where a later decision set the first week that one moved to another rate, that one never ran: it is no move,
    and the next is held against what ran before it.
    """
    made = [item for item in decisions if item.rates_lb_ac]
    found: list[Move] = []
    ran: dict[int, float] | None = None
    for index, item in enumerate(made):
        before = item.standing_lb_ac if ran is None else ran
        move, ran = moved(item._replace(standing_lb_ac=before)), None
        if move is None:
            continue
        in_force = [later for later in made[index:] if min(later.rates_lb_ac) <= move.week][-1]
        rate = in_force.rates_lb_ac.get(move.week)
        if rate is None or abs(rate - item.rates_lb_ac[move.week]) > _SAME_LB_AC:
            ran = before
        else:
            found.append(move._replace(decided=item))
    return found


def changes_in(
    now: BlockSeason, moments: Sequence[Moment], first_of: Mapping[int, int], on: date
) -> Iterator[AfterChange]:
    """What came after each decision that moved the rate and that a result out of its band led to.

    Args:
        now: the block as its records stood on the day.
        moments: its history; see `fertadjust.history.moments`.
        first_of: number of a corrected record -> number of the one that it goes back to.
        on: the day.
    """
    moves = moves_made([item.decided for item in moments if item.decided is not None])
    facts_of = {item.advice.on: item.advice.facts for item in moments}
    for move in moves:
        facts = facts_of[move.decided.on]
        before, side = facts.primary, None if facts.primary is None else side_of(facts.primary)
        if before is None or side is None or side is Side.WITHIN:
            continue
        begins = _begins(now, move.week)
        shows = begins + timedelta(days=int(lag_days(facts, now.policy).value))
        same = {first_of.get(number, number) for number in before.records}
        later = [item for item in now.later_readings(before, on) if item.sampled >= shows]
        after = next((r for r in later if same.isdisjoint(first_of.get(n, n) for n in r.records)), None)
        until = on if after is None else after.sampled
        next_moves = [item for item in moves if item.decided.on > move.decided.on]
        yield AfterChange(
            decided=move.decided,
            week=move.week,
            raised=move.raised,
            shows=shows,
            before=before,
            side=side,
            corrected_since=not {item.record for item in now.results}.issuperset(before.records),
            after=after,
            outcome=_outcome(side, after),
            days=None if after is None else (after.sampled - move.decided.on).days,
            changed_again=any(_begins(now, item.week) < until for item in next_moves),
            ran_out=any(_lapsed(now, week, on) for week in now.plan.weeks if begins <= week.start < until),
        )


def _lapsed(now: BlockSeason, week: PlanWeek, on: date) -> bool:
    """Whether a week runs at the plan's own rate after a change to another one has run out."""
    path = now.path(on)
    begun = [item for item in path.changes if item.effective <= week.start and item.rates_lb_ac]
    if path.change_for(week) is not None or not begun:
        return False
    last, rate = max(begun[-1].rates_lb_ac.items())
    planned = {item.number: item.rate_lb_ac for item in now.plan.weeks}
    return abs(planned.get(last, rate) - rate) > _SAME_LB_AC


def _begins(now: BlockSeason, week: int) -> date:
    return now.plan.start + timedelta(days=DAYS_PER_WEEK * (week - 1))


def _outcome(side: Side, after: Reading | None) -> Return:
    if after is None:
        return Return.NONE
    outcomes = {None: Return.UNTOLD, Side.WITHIN: Return.BACK, side: Return.SAME}
    return outcomes.get(side_of(after), Return.OTHER)
