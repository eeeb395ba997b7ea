"""One block's season: its plan and records turned into facts, and the facts into advice.

Pure: no files, no clock. The same calls serve the command line, a notebook and a simulation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

from fertadjust.bands import Band, BandTable
from fertadjust.errors import OutOfSeason
from fertadjust.field import Block
from fertadjust.ledger import Application, Ledger, Supply
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Plan, PlanWeek, RatePath
from fertadjust.products import Product, nitrate_share
from fertadjust.readings import (
    Readings,
    band_for,
    deciding,
    history,
    leaf_beside,
    side_of,
    table_for,
    trend_of,
)
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Companion, Facts, Flip, Reading, Recommendation
from fertadjust.rules.policy import Policy
from fertadjust.rules.what_if import flips
from fertadjust.stages import StageDates
from fertadjust.tissue import MAIN_ANALYTE, Basis, Censor, Tissue, TissueResult
from fertadjust.units import UnitSystem
from fertadjust.weekly import WeekAmounts, weekly_amounts


@dataclass(frozen=True, slots=True)
class Advice:
    """Everything that is said to a grower about one block on one day.

    Attributes:
        block, on: what and when.
        facts: what it was made from.
        recommendation: what the rules recommend, with the trace.
        flips: results that would change the action.
        weeks: the rest of the season, before and after the change.
        tables: ids of the band tables in use.
        policy: id of the policy.
        decided: whether a decision was made on this advice; the weeks then show the decided rates.
    """

    block: Block
    on: date
    facts: Facts
    recommendation: Recommendation
    flips: tuple[Flip, ...]
    weeks: tuple[WeekAmounts, ...]
    tables: tuple[str, ...]
    policy: str
    decided: bool


@dataclass(frozen=True)
class BlockSeason:
    """A block with its plan, its rules and what is recorded about it.

    Attributes:
        block, plan, stages, products: what was planned.
        policy: the policy with the grower's overrides.
        tables: band tables in use; at most one fits a kind of result.
        results, applications, observations, changes: records of this block, corrections applied.
        left: days on which the advice was left, so that no change came of it.
        units: units that the rules' words are in.
    """

    block: Block
    plan: Plan
    stages: StageDates
    products: tuple[Product, ...]
    policy: Policy
    tables: tuple[BandTable, ...]
    results: tuple[TissueResult, ...] = ()
    applications: tuple[Application, ...] = ()
    observations: tuple[Observation, ...] = ()
    changes: tuple[Change, ...] = ()
    left: tuple[date, ...] = ()
    units: UnitSystem = UnitSystem.US

    def table_for(self, tissue: Tissue, basis: Basis, analyte: str) -> BandTable | None:
        """The table in use that a kind of result may be compared with, or None."""
        return table_for(self.tables, tissue, basis, analyte)

    def band_for(self, result: TissueResult) -> Band:
        """The band of a result on its sampling day.

        Raises:
            OutOfSeason: no table in use fits, or it has no band on that day; the message says which.
        """
        return band_for(result, self.tables, self.stages)

    @cached_property
    def _readings(self) -> Readings:
        return Readings.of(self.results, self.tables, self.stages)

    def path(self, on: date) -> RatePath:
        """Rates aimed at, by the decisions made up to a date and on it."""
        return RatePath([change for change in self.changes if change.decided <= on])

    def _path_before(self, on: date) -> RatePath:
        """Rates aimed at before the day's own decision, so that a decision does not change its own advice."""
        return RatePath([change for change in self.changes if change.decided < on])

    def ledger(self, on: date) -> Ledger:
        """The ledger as known on a date."""
        return Ledger(self.plan, self.path(on), [item for item in self.applications if item.on <= on])

    def facts(self, on: date) -> Facts:
        """Everything that was known on a date, in the form the rules take."""
        policy, path, ledger = self.policy, self._path_before(on), self.ledger(on)
        readings = self._readings.known_on(on)
        primary = deciding(readings.nitrogen, on, int(policy.stale_days.value))
        standing_on = _answered_by(path.latest(on), primary, on, int(policy.stale_days.value))
        past = history(readings.nitrogen, primary)
        logged, assumed = ledger.spent_lb_ac(on)
        horizon = on - timedelta(days=int(policy.observation_days.value))
        return Facts(
            on=on,
            units=self.units,
            primary=primary,
            leaf=leaf_beside(readings.nitrogen, primary, int(policy.leaf_days.value)),
            earlier=tuple((item.sampled, side_of(item)) for item in past[:-1]),
            not_used=readings.not_used,
            trend=trend_of(past),
            stage_approximate=bool(self.stages.approximate),
            week=self._week(on),
            supply=self._supply(ledger, primary),
            observations=self._seen(horizon, on),
            soil_nitrate=self._soil_nitrate(on),
            factor=path.standing_factor(standing_on),
            overdue=path.overdue(standing_on),
            last_shift=path.last_shift(standing_on),
            coming=self.plan.coming_weeks(on),
            floor_lb_ac=self.plan.floor_lb_ac,
            ceiling_lb_ac=self.plan.ceiling_lb_ac,
            rate_step_lb_ac=self.plan.rate_step_lb_ac,
            cap_lb_ac=self.plan.cap_lb_ac,
            credits_lb_ac=self.plan.credits_lb_ac,
            logged_lb_ac=logged - ledger.ahead_lb_ac(on),
            assumed_lb_ac=assumed,
            rest_of_week_lb_ac=ledger.rest_of_week_lb_ac(on),
            nitrate_share=nitrate_share(self.products),
            companions=self._companions(on),
        )

    def facts_with(self, on: date, reading: Reading, value: float) -> Facts:
        """The facts as they would be if a reading had another value [its stored unit].

        Several results behind the reading are scaled together, so that they disagree as much as they do.
        """
        scale = value / reading.value
        results = tuple(
            replace(result, value=result.value * scale, censor=Censor.NONE)
            if result.record in reading.records
            else result
            for result in self.results
        )
        return replace(self, results=results).facts(on)

    def advice(self, on: date) -> Advice:
        """The advice for a date, from what was known by then."""
        facts = self.facts(on)
        recommendation = evaluate(facts, self.policy)
        edges: tuple[Flip, ...] = ()
        reading = facts.primary
        if reading is not None:
            edges = flips(
                lambda value: self.facts_with(on, reading, value),
                self.policy,
                reading.value,
                recommendation.action,
            )
        return Advice(
            block=self.block,
            on=on,
            facts=facts,
            recommendation=recommendation,
            flips=edges,
            weeks=tuple(self.weeks_from(on, recommendation)),
            tables=tuple(table.id for table in self.tables),
            policy=self.policy.id,
            decided=self.decided_on(on),
        )

    def decided_on(self, on: date) -> bool:
        """Whether a decision was made on a date."""
        return on in self.left or any(change.decided == on for change in self.changes)

    def weeks_from(self, on: date, recommendation: Recommendation | None = None) -> list[WeekAmounts]:
        """The coming weeks before the day's advice, and after it: as decided, else as recommended.

        "Before" is the rate in force going on over the weeks that the advice covers, and what was decided so far
        after them. Without a recommendation the rates decided so far stand.
        """
        earlier, now = self._path_before(on), self.path(on)
        weeks = self.plan.coming_weeks(on)
        before = {week.number: earlier.rate_lb_ac(week) for week in weeks}
        after = {week.number: now.rate_lb_ac(week) for week in weeks}
        if recommendation is not None:
            covered = [week.number for week in recommendation.weeks]
            before |= dict(zip(covered, recommendation.standing_rates_lb_ac, strict=True))
            if not self.decided_on(on):
                after = {week.number: week.rate_lb_ac for week in weeks}
                after |= dict(zip(covered, recommendation.rates_lb_ac, strict=True))
        ledger = self.ledger(on)
        spent = self.plan.credits_lb_ac + sum(ledger.spent_lb_ac(on)) - ledger.ahead_lb_ac(on)
        spent += ledger.rest_of_week_lb_ac(on)
        stage_of = {week.number: self.place_words(week) for week in weeks}
        return weekly_amounts(self.block, self.plan, self.products, weeks, before, after, spent, stage_of)

    def place_words(self, week: PlanWeek) -> str:
        """Where a week lies on the axis of the first table in use, for example "week 5"; "" outside it."""
        for table in self.tables:
            try:
                return table.band_on(MAIN_ANALYTE[table.tissue], week.start, self.stages).label
            except OutOfSeason:
                continue
        return ""

    def _week(self, on: date) -> int | None:
        try:
            return self.stages.week_of(self.policy.late_anchor, on)
        except OutOfSeason:
            return None

    def _supply(self, ledger: Ledger, primary: Reading | None) -> Supply | None:
        if primary is None:
            return None
        return ledger.supply_before(primary.sampled, int(self.policy.supply_days.value))

    def _seen(self, start: date, end: date) -> tuple[Observation, ...]:
        found = [item for item in self.observations if start <= item.on <= end]
        return tuple(sorted(found, key=lambda item: (item.on, item.record)))

    def _soil_nitrate(self, on: date) -> tuple[date, float] | None:
        horizon = on - timedelta(days=int(self.policy.soil_nitrate_days.value))
        tests = [
            (item.on, item.value)
            for item in self.observations
            if item.sight is Sight.SOIL_NITRATE and item.value is not None and horizon <= item.on <= on
        ]
        return max(tests) if tests else None

    def _companions(self, on: date) -> tuple[Companion, ...]:
        horizon = on - timedelta(days=int(self.policy.leaf_days.value))
        leaves = [
            item
            for item in self.results
            if item.tissue is Tissue.LEAF and item.known_on <= on and item.sampled >= horizon
        ]
        if not leaves:
            return ()
        latest = max(item.sampled for item in leaves)
        return tuple(
            Companion(item.analyte, item.value, item.censor, item.unit, item.sampled)
            for item in sorted(leaves, key=lambda item: item.record)
            if item.sampled == latest
        )


def _answered_by(change: Change | None, reading: Reading | None, on: date, stale_days: int) -> date:
    """The day as of which a change is judged: its review date when a result of its time had arrived by then.

    Such a result answers the change, though it is looked at a few days late; a stale one answers nothing.
    """
    if change is None or reading is None or on <= change.review:
        return on
    in_time = change.effective <= reading.sampled and reading.known <= change.review
    fresh = (on - reading.sampled).days <= stale_days
    return change.review if in_time and fresh else on
