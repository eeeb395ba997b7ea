"""One block looked at on one day: what runs, what is advised, and what the grower has answered already. Pure.

Nothing is decided here: rates and dates are those of the rules and of the decisions made.
"""

from __future__ import annotations

from datetime import date, timedelta
from enum import StrEnum

from fertadjust.errors import OutOfSeason
from fertadjust.plan import Change
from fertadjust.rules.engine import evaluate
from fertadjust.rules.evidence_rules import review_days
from fertadjust.rules.facts import Facts, Recommendation
from fertadjust.season import BlockSeason
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.units import DAYS_PER_WEEK

_TINY = 1e-6


class Phase(StrEnum):
    """Where a day lies against the plan."""

    TO_COME = "to come"
    RUNNING = "running"
    OVER = "over"


def _phase(season: BlockSeason, on: date) -> Phase:
    if on < season.plan.start:
        return Phase.TO_COME
    return Phase.OVER if on > season.plan.end else Phase.RUNNING


class DayOfBlock:
    """One block looked at on one day, from what was known by then.

    Args:
        season: the block.
        on: the day.
        undone: day of the last decision, when a result that it was made on was corrected or voided since.

    Attributes:
        facts, found: what the rules are given on that day, and what they recommend.
        phase: whether the plan is to come, runs or is over.
        runs: whether it runs or begins within a week, so that there is something to decide.
        stale: whether the deciding reading is too old to decide anything.
        so_far: nitrogen with credits, weeks without a log and the rest of the running week [lb/ac].
        over: by how much what is out already passes the season cap [lb/ac]; 0 when it does not.
    """

    def __init__(self, season: BlockSeason, on: date, undone: date | None = None) -> None:
        self.season, self.on, self.undone = season, on, undone
        self.plan, self.policy, self.units = season.plan, season.policy, season.units
        self.facts: Facts = season.facts(on)
        self.found: Recommendation = evaluate(self.facts, self.policy)
        self.ledger = season.ledger(on)
        self.phase = _phase(season, on)
        soon = season.plan.start - timedelta(days=DAYS_PER_WEEK) <= on
        self.runs = self.phase is Phase.RUNNING or (self.phase is Phase.TO_COME and soon)
        self.decided = season.decided_on(on)
        self.stale = self.found.fired("stale")
        facts, cap = self.facts, season.plan.cap_lb_ac
        logged, assumed = self.ledger.spent_lb_ac(on)
        self.so_far = facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac + facts.rest_of_week_lb_ac
        self.over = 0.0 if cap is None else max(0.0, facts.credits_lb_ac + logged + assumed - cap)

    def decided_rates(self) -> tuple[float, ...] | None:
        """Rates of the recommendation's weeks [lb/ac] as they run after this day's decision; None without one."""
        if not self.decided:
            return None
        path = self.season.path(self.on)
        return tuple(path.rate_lb_ac(week) for week in self.found.weeks)

    def last_decision(self) -> date | None:
        """Day of the last decision made up to the day looked at, one to leave the rate among them."""
        days = [*(change.decided for change in self.season.changes), *self.season.left]
        return max((item for item in days if item <= self.on), default=None)

    def in_force(self) -> tuple[float, ...]:
        """Rates of the recommendation's weeks [lb/ac] as they run without another decision."""
        path = self.season.path_before(self.on)
        return tuple(path.rate_lb_ac(week) for week in self.found.weeks)

    def moves(self) -> bool:
        """Whether other rates are advised than would run without a decision, and none was made on this day."""
        pairs = zip(self.in_force(), self.found.rates_lb_ac, strict=True)
        return not self.decided and any(abs(now - new) > _TINY for now, new in pairs)

    def ran_out(self) -> Change | None:
        """The last change, when its review date has passed and nobody looked at it after that date.

        Also where a result of its time came in: its weeks are at the plan's own rate all the same until somebody
        decides. Advice that was left on the review date or before does not keep it running.
        """
        path = self.season.path_before(self.on)
        review = path.overdue(self.on)
        looked_at = any(review is not None and review < day <= self.on for day in self.season.left)
        return None if review is None or looked_at or not self.found.weeks else path.latest(self.on)

    def answered(self) -> date | None:
        """Day of the last decision, when nothing has come in or run out since; None otherwise."""
        decided, reading = self.last_decision(), self.facts.primary
        if decided is None or self.undone is not None or self.ran_out() is not None:
            return None
        new = reading is not None and reading.known > decided
        seen = any(decided < item.on <= self.on for item in self.season.observations)
        return None if new or seen else decided

    def review(self) -> date | None:
        """Day on which the change in force runs out or is looked at again; None when no week begins after it."""
        latest = self.season.path(self.on).latest(self.on)
        if latest is None or self.on > latest.review:
            return None
        return latest.review if any(week.start >= latest.review for week in self.plan.weeks) else None

    def next_sample(self) -> date | None:
        """Day of the next sample, or None when no sample can change anything any more.

        While a raise or a cut runs and no result has come in since, the day that was agreed with it. Advice that
        nobody decided on does not put the sample off.
        """
        latest, reading = self.season.path(self.on).latest(self.on), self.facts.primary
        sample = self.found.next_sample
        runs = latest is not None and latest.factor != 1.0 and self.on <= latest.review
        if latest is not None and runs and (reading is None or reading.known <= latest.decided):
            sample = latest.sample or latest.review - timedelta(days=review_days(self.facts, self.policy))
        elif reading is not None and self.moves():
            sample = min(sample, reading.sampled + timedelta(days=int(self.policy.sample_days.value)))
        sample = max(sample, self.on)
        return sample if self.pays(sample) else None

    def pays(self, sampled: date) -> bool:
        """Whether the result of a sample taken on a day can still change a week of the plan."""
        result = sampled + timedelta(days=int(self.policy.laboratory_days.value))
        return any(week.start >= result for week in self.facts.coming)

    def not_logged(self) -> tuple[int, ...]:
        """Numbers of the past weeks in which something was to go out and nothing is logged."""
        path = self.season.path(self.on)
        past = (week for week in self.plan.weeks if week.end < self.on and path.rate_lb_ac(week) > _TINY)
        return tuple(week.number for week in past if not self.ledger.week(week, self.on).logged)

    def no_band(self, sampled: date) -> str:
        """Why a nitrogen sample of a day would have no band, or ""."""
        reasons = []
        for table in self.season.tables:
            try:
                table.band_on(MAIN_ANALYTE[table.tissue], sampled, self.season.stages)
            except OutOfSeason as reason:
                reasons.append(str(reason))
            else:
                return ""
        return reasons[0] if reasons else "no band table is in use"
