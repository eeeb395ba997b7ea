"""The planned season: weekly rates, bounds, credits, and the changes decided on top of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis
from fertadjust.units import DAYS_PER_WEEK


class PlanWeek(NamedTuple):
    """One week of the plan.

    Attributes:
        number: 1 for the first week of feeding.
        start: its first day.
        rate_lb_ac: planned nitrogen [lb/ac in the week], before any change.
    """

    number: int
    start: date
    rate_lb_ac: float

    @property
    def end(self) -> date:
        """Last day of the week."""
        return self.start + timedelta(days=DAYS_PER_WEEK - 1)


@dataclass(frozen=True, slots=True)
class Credit:
    """Nitrogen that counts against the season cap besides what is fertigated, for example preplant.

    Attributes:
        name: what it is.
        n_lb_ac: nitrogen credited [lb/ac].
        source, evidence: where the figure comes from.
    """

    name: str
    n_lb_ac: float
    source: str
    evidence: Evidence


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan of one block.

    Attributes:
        start: first day of week 1.
        rates_lb_ac: planned nitrogen of each week [lb/ac].
        basis: what "per acre" means.
        injections_per_week: injections that share a week's nitrogen.
        floor_lb_ac, ceiling_lb_ac: bounds of a weekly rate [lb/ac].
        cap_lb_ac: most nitrogen of the season, credits included [lb/ac], or None.
        rate_step_lb_ac: smallest step that can be metered [lb/ac in a week].
        credits: see `Credit`.
    """

    start: date
    rates_lb_ac: tuple[float, ...]
    basis: AreaBasis
    injections_per_week: int
    floor_lb_ac: float
    ceiling_lb_ac: float
    cap_lb_ac: float | None
    rate_step_lb_ac: float
    credits: tuple[Credit, ...] = ()

    @property
    def weeks(self) -> tuple[PlanWeek, ...]:
        return tuple(self._week(index) for index in range(len(self.rates_lb_ac)))

    def _week(self, index: int) -> PlanWeek:
        return PlanWeek(index + 1, self.start + timedelta(days=DAYS_PER_WEEK * index), self.rates_lb_ac[index])

    @property
    def end(self) -> date:
        """Last day of the last week."""
        return self.start + timedelta(days=DAYS_PER_WEEK * len(self.rates_lb_ac) - 1)

    @property
    def credits_lb_ac(self) -> float:
        return sum(credit.n_lb_ac for credit in self.credits)

    def coming_weeks(self, on: date) -> tuple[PlanWeek, ...]:
        """Weeks that begin on a date or later: those that a decision made that day can still change."""
        return tuple(week for week in self.weeks if week.start >= on)

    def week_on(self, on: date) -> PlanWeek | None:
        """The week that a date lies in, or None outside the plan."""
        index = (on - self.start).days // DAYS_PER_WEEK
        return self._week(index) if 0 <= index < len(self.rates_lb_ac) else None


@dataclass(frozen=True, slots=True)
class Change:
    """A decided factor on the planned rates, in force from one day to its review date.

    Attributes:
        decided: day of the decision.
        effective: first day of the first week it applies to.
        review: day on which a new result is looked for; weeks that begin on it or later run at the plan's own
            rate.
        factor: factor on the planned weekly rates.
        rates_lb_ac: week number -> decided rate [lb/ac], after bounds and rounding.
        record: number of the decision's record.
        sample: day of the next sample that was asked for with it, or None where that was not stored.
    """

    decided: date
    effective: date
    review: date
    factor: float
    rates_lb_ac: Mapping[int, float] = field(default_factory=dict)
    record: int = 0
    sample: date | None = None


class Shift(NamedTuple):
    """A move of the factor.

    Attributes:
        on: day from which it was in force.
        direction: -1 or 1.
        before: the factor before it.
        ran_out: whether it came by a change running out.
    """

    on: date
    direction: int
    before: float
    ran_out: bool = False


class RatePath:
    """The factor on planned rates through time, from the decisions known so far.

    Args:
        changes: decided changes in any order.
    """

    def __init__(self, changes: Sequence[Change]) -> None:
        self.changes = tuple(sorted(changes, key=lambda change: (change.decided, change.record)))

    def change_for(self, week: PlanWeek) -> Change | None:
        """The change in force in a week, or None where the plan's own rate applies."""
        for change in reversed(self.changes):
            if change.effective <= week.start:
                return change if week.start < change.review else None
        return None

    def rate_lb_ac(self, week: PlanWeek) -> float:
        """Rate aimed at in a week [lb/ac]: the decided one, else the planned one.

        A week in which the plan feeds nothing gets nothing, whatever was decided while the plan was another.
        """
        if week.rate_lb_ac <= 0:
            return 0.0
        change = self.change_for(week)
        return week.rate_lb_ac if change is None else change.rates_lb_ac.get(week.number, week.rate_lb_ac)

    def standing_factor(self, on: date) -> float:
        """Factor that the latest decision set and that has not run out on a date; otherwise 1."""
        latest = self.latest(on)
        return latest.factor if latest is not None and on <= latest.review else 1.0

    def overdue(self, on: date) -> date | None:
        """Review date of a change that has run out without a new decision, or None."""
        latest = self.latest(on)
        if latest is None or on <= latest.review or latest.factor == 1.0:
            return None
        return latest.review

    def latest(self, on: date) -> Change | None:
        """The last change decided up to a date, run out or not."""
        known = [change for change in self.changes if change.decided <= on]
        return known[-1] if known else None

    def last_shift(self, on: date) -> Shift | None:
        """The last time that the factor moved, by a decision known on a date or by one running out."""
        shifts: list[Shift] = []
        previous: Change | None = None
        for change in (change for change in self.changes if change.decided <= on):
            before = previous.factor if previous is not None else 1.0
            if previous is not None and change.decided > previous.review:
                shifts += _lapse(previous)
                before = 1.0
            if change.factor != before:
                shifts.append(Shift(change.effective, 1 if change.factor > before else -1, before))
            previous = change
        if previous is not None and on > previous.review:
            shifts += _lapse(previous)
        return shifts[-1] if shifts else None


def _lapse(change: Change) -> list[Shift]:
    """The move back to the plan's own rate, with the first week that begins on the review date or later."""
    if change.factor == 1.0:
        return []
    weeks = math.ceil((change.review - change.effective).days / DAYS_PER_WEEK)
    back = change.effective + timedelta(days=DAYS_PER_WEEK * weeks)
    return [Shift(back, 1 if change.factor < 1.0 else -1, change.factor, ran_out=True)]
