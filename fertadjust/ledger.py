"""What really went out, beside what was meant to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from fertadjust.plan import Plan, PlanWeek, RatePath
from fertadjust.units import DAYS_PER_WEEK


@dataclass(frozen=True, slots=True)
class Application:
    """Nitrogen that was applied to a block on a day.

    Attributes:
        record: number of its record.
        block: block key.
        on: day.
        n_lb_ac: nitrogen [lb/ac on the plan's basis]; 0 says that an injection was skipped.
        products: product name -> weight for the whole block [lb], when it was logged by product.
        note: free text.
    """

    record: int
    block: str
    on: date
    n_lb_ac: float
    products: Mapping[str, float] = field(default_factory=dict)
    note: str = ""


@dataclass(frozen=True, slots=True)
class Supply:
    """Applied against planned nitrogen over whole weeks before a sample.

    Attributes:
        start, end: first and last day counted.
        planned_lb_ac, applied_lb_ac: totals [lb/ac].
        logged: whether any application of the season was logged by then; if not, nothing is known.
    """

    start: date
    end: date
    planned_lb_ac: float
    applied_lb_ac: float
    logged: bool

    @property
    def share(self) -> float | None:
        """Applied share of planned, or None when nothing is known or nothing was planned."""
        if not self.logged or self.planned_lb_ac <= 0:
            return None
        return self.applied_lb_ac / self.planned_lb_ac


@dataclass(frozen=True, slots=True)
class LedgerWeek:
    """One week of the ledger [lb/ac]; ``logged`` tells whether anything was written down for it."""

    week: PlanWeek
    target_lb_ac: float
    applied_lb_ac: float
    logged: bool

    @property
    def difference_lb_ac(self) -> float:
        return self.applied_lb_ac - self.target_lb_ac


class Ledger:
    """Applications of one block.

    Args:
        plan: the block's plan.
        path: the rates aimed at.
        applications: in any order.
    """

    def __init__(self, plan: Plan, path: RatePath, applications: Sequence[Application]) -> None:
        self._plan = plan
        self._path = path
        self.applications = tuple(sorted(applications, key=lambda item: (item.on, item.record)))

    def applied_lb_ac(self, start: date, end: date) -> float:
        """Logged nitrogen from start to end, both days included [lb/ac]."""
        return sum(item.n_lb_ac for item in self.applications if start <= item.on <= end)

    def aimed_lb_ac(self, start: date, end: date) -> float:
        """Nitrogen aimed at from start to end, both days included, each a seventh of its week [lb/ac]."""
        return sum(
            self._path.rate_lb_ac(week) / DAYS_PER_WEEK
            for offset in range((end - start).days + 1)
            if (week := self._plan.week_on(start + timedelta(days=offset))) is not None
        )

    def week(self, week: PlanWeek, on: date) -> LedgerWeek:
        """One week as known on a date."""
        items = [item for item in self.applications if week.start <= item.on <= min(week.end, on)]
        target = self._path.rate_lb_ac(week)
        return LedgerWeek(week, target, sum(item.n_lb_ac for item in items), bool(items))

    def supply_before(self, sampled: date, days: int) -> Supply | None:
        """Supply in the whole weeks' worth of days before a sample; None less than a week into the plan.

        The window ends the day before sampling. It never reaches back before the plan began, and is cut to
        a whole number of weeks, so that the day of the week on which injections fall does not matter.
        """
        end = sampled - timedelta(days=1)
        span = min(days, (min(end, self._plan.end) - self._plan.start).days + 1)
        whole = span // DAYS_PER_WEEK * DAYS_PER_WEEK
        if whole < DAYS_PER_WEEK or end > self._plan.end:
            return None
        start = end - timedelta(days=whole - 1)
        planned = self.aimed_lb_ac(start, end)
        logged = any(item.on <= end for item in self.applications)
        return Supply(start, end, planned, self.applied_lb_ac(start, end), logged)

    def spent_lb_ac(self, on: date) -> tuple[float, float]:
        """Nitrogen fertigated up to a date: (logged, assumed) [lb/ac].

        A past week with nothing logged counts as applied at its rate, since a cap that ignores it could be
        overrun; the second number says how much that is. A skipped week is logged as 0.
        """
        logged = sum(item.n_lb_ac for item in self.applications if item.on <= on)
        assumed = 0.0
        for week in self._plan.weeks:
            if week.end < on and not self.week(week, on).logged:
                assumed += self._path.rate_lb_ac(week)
        return logged, assumed

    def ahead_lb_ac(self, on: date) -> float:
        """Nitrogen logged on a day that begins a week, up to its rate: the week counts as coming as a whole."""
        current = self._plan.week_on(on)
        if current is None or current.start != on:
            return 0.0
        return min(self.applied_lb_ac(on, on), self._path.rate_lb_ac(current))

    def rest_of_week_lb_ac(self, on: date) -> float:
        """What is still to go out in the week that has begun but not ended on a date [lb/ac]."""
        current = self._plan.week_on(on)
        if current is None or current.start >= on:
            return 0.0
        row = self.week(current, on)
        return max(0.0, row.target_lb_ac - row.applied_lb_ac)
