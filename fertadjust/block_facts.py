"""One block's plan and records turned into the facts of a day. Pure: no files, no clock."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

from fertadjust.band_rows import Band
from fertadjust.bands import BandTable
from fertadjust.errors import OutOfSeason
from fertadjust.field import Block
from fertadjust.ledger import Application, Ledger, Supply
from fertadjust.mixes import Mixes, MixStep
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Plan, RatePath
from fertadjust.products import Product, nutrients_per_nitrogen
from fertadjust.readings import (
    Readings,
    band_for,
    deciding,
    history,
    leaf_beside,
    reading_of,
    side_of,
    table_for,
    trend_of,
)
from fertadjust.rules.facts import Companion, Facts, Reading
from fertadjust.rules.policy import Policy
from fertadjust.stage_places import Doubt
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Tissue, TissueResult
from fertadjust.units import UnitSystem


@dataclass(frozen=True)
class BlockFacts:
    """A block with its plan, its rules and what is recorded about it.

    Attributes:
        block, plan, stages, products: what was planned; products have their shares when one mix serves all season.
        policy: the policy with the grower's overrides.
        tables: band tables in use; at most one fits a kind of result.
        results, applications, observations, changes: records of this block, corrections applied.
        left: days on which the advice was left, so that no change came of it.
        units: units that the rules' words are in.
        mix_steps: mixes that change through the season; empty when one serves it all, by the products' shares.
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
    mix_steps: tuple[MixStep, ...] = ()

    @property
    def mixes(self) -> Mixes:
        """The mixes of the season, week by week."""
        return Mixes(self.products, self.mix_steps) if self.mix_steps else Mixes.same(self.products)

    def table_for(self, tissue: Tissue, basis: Basis, analyte: str) -> BandTable | None:
        """The table in use that a kind of result may be compared with, or None."""
        return table_for(self.tables, tissue, basis, analyte)

    def band_for(self, result: TissueResult) -> Band:
        """The band of a result on its sampling day.

        Raises:
            OutOfSeason: no table in use fits, or it has no band on that day; the message says which.
        """
        return band_for(result, self.tables, self.stages)

    def reading(self, result: TissueResult) -> Reading:
        """One result by itself against its band.

        Raises:
            OutOfSeason: as `band_for`.
        """
        return reading_of([result], self.tables, self.stages, self.doubt)

    @cached_property
    def _readings(self) -> Readings:
        return Readings.of(self.results, self.tables, self.stages, self.doubt)

    @property
    def doubt(self) -> Doubt:
        """How far a stage may be wrong."""
        return Doubt(int(self.policy.stage_doubt_days.value), int(self.policy.stage_guess_days.value))

    def path(self, on: date) -> RatePath:
        """Rates aimed at, by the decisions made up to a date and on it."""
        return RatePath([change for change in self.changes if change.decided <= on])

    def path_before(self, on: date) -> RatePath:
        """Rates aimed at before the day's own decision, so that a decision does not change its own advice."""
        return RatePath([change for change in self.changes if change.decided < on])

    def ledger(self, on: date) -> Ledger:
        """The ledger as known on a date."""
        return Ledger(self.plan, self.path(on), [item for item in self.applications if item.on <= on])

    def facts(self, on: date) -> Facts:
        """Everything that was known on a date, in the form the rules take."""
        policy, path, ledger = self.policy, self.path_before(on), self.ledger(on)
        readings = self._readings.known_on(on)
        primary = deciding(readings.nitrogen, on, int(policy.stale_days.value))
        latest = path.latest(on)
        standing_on = _answered_by(latest, primary, on, int(policy.stale_days.value))
        past = history(readings.nitrogen, primary)
        logged, assumed = ledger.spent_lb_ac(on)
        horizon = on - timedelta(days=int(policy.observation_days.value))
        soil = self._soil_nitrate(on)
        coming = self.plan.coming_weeks(on)
        return Facts(
            on=on,
            units=self.units,
            primary=primary,
            leaf=leaf_beside(readings.nitrogen, primary, int(policy.leaf_days.value)),
            earlier=tuple((item.sampled, side_of(item)) for item in past[:-1]),
            not_used=readings.not_used,
            trend=trend_of(past),
            week=self._week(on),
            supply=self._supply(ledger, primary),
            observations=self._seen(horizon, on),
            soil_nitrate=soil,
            soil_rain=None if soil is None else self._rain_after(soil[0], on),
            factor=path.standing_factor(standing_on),
            overdue=path.overdue(standing_on),
            due=None if latest is None else latest.sample,
            last_shift=path.last_shift(standing_on),
            coming=coming,
            floor_lb_ac=self.plan.floor_lb_ac,
            ceiling_lb_ac=self.plan.ceiling_lb_ac,
            rate_step_lb_ac=self.plan.rate_step_lb_ac,
            cap_lb_ac=self.plan.cap_lb_ac,
            credits_lb_ac=self.plan.credits_lb_ac,
            logged_lb_ac=logged - ledger.ahead_lb_ac(on),
            assumed_lb_ac=assumed,
            rest_of_week_lb_ac=ledger.rest_of_week_lb_ac(on),
            nitrate_share=self.mixes.nitrate_share(self._week_number(on)),
            mix=nutrients_per_nitrogen(self.mixes.in_week(coming[0].number if coming else self._week_number(on))),
            companions=self._companions(on),
            raised_lb_ac=tuple(
                max(0.0, path.rate_lb_ac(week) - week.rate_lb_ac) for week in self.plan.weeks if week.start < on
            ),
        )

    def later_readings(self, before: Reading | None, on: date) -> list[Reading]:
        """Of what is known on a day, the nitrogen readings of a kind sampled after one, oldest first; all if None.

        Of one day a petiole comes before a leaf, which is also the order in which they decide.
        """
        found = self._readings.known_on(on).nitrogen
        later = [item for item in found if before is None or _follows(before, item)]
        return sorted(later, key=lambda item: (item.sampled, item.tissue is Tissue.LEAF))

    def facts_at(self, facts: Facts) -> Callable[[float], Facts]:
        """The facts as they would be if the deciding reading had another value [stored unit] and were no bound.

        Several results behind the reading are scaled together, so that they disagree as much as they do.

        Args:
            facts: the facts of a day; they need a deciding reading.
        """
        primary = facts.primary
        assert primary is not None
        past = history(self._readings.known_on(facts.on).nitrogen, primary)[:-1]

        def at(value: float) -> Facts:
            changed = replace(primary, value=value, censor=Censor.NONE)
            return replace(facts, primary=changed, trend=trend_of([*past, changed]))

        return at

    def _moved(self, reading: Reading, sampled: date) -> Reading:
        """A reading as if its tissue had been taken on another day."""
        moved = [replace(item, sampled=sampled) for item in self.results if item.record in reading.records]
        return reading_of(moved, self.tables, self.stages, self.doubt)

    def _with_moved(self, others: Iterable[Reading], primary: Reading, sampled: date) -> Iterator[Reading]:
        """Readings with the leaves of the deciding sample's day moved along, as far as they have a band there."""
        for item in others:
            if item.tissue is Tissue.LEAF and item.sampled == primary.sampled:
                with suppress(OutOfSeason):
                    yield self._moved(item, sampled)
            else:
                yield item

    def facts_sampled(self, facts: Facts, sampled: date) -> Facts:
        """The facts as they would be if the deciding sample had been taken on another day, its leaves with it.

        Raises:
            OutOfSeason: there is no band on that day.
        """
        primary = facts.primary
        assert primary is not None
        changed = self._moved(primary, sampled)
        others = [item for item in self._readings.known_on(facts.on).nitrogen if item.records != primary.records]
        past, leaf_days = history(others, changed), int(self.policy.leaf_days.value)
        supply = facts.supply
        if sampled < primary.sampled:
            supply = self._supply(self.ledger(facts.on), changed)
        return replace(
            facts,
            primary=changed,
            leaf=leaf_beside([*self._with_moved(others, primary, sampled)], changed, leaf_days),
            earlier=tuple((item.sampled, side_of(item)) for item in past[:-1]),
            trend=trend_of(past),
            supply=supply,
        )

    def _week_number(self, on: date) -> int:
        """Number of the plan's week on a day; the first before the plan, the last after it."""
        week = self.plan.week_on(min(max(on, self.plan.start), self.plan.end))
        return 1 if week is None else week.number

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

    def _rain_after(self, day: date, on: date) -> date | None:
        rains = [
            item.on for item in self.observations if item.sight is Sight.LEACHING_RAIN and day < item.on <= on
        ]
        return min(rains, default=None)

    def _companions(self, on: date) -> tuple[Companion, ...]:
        horizon = on - timedelta(days=int(self.policy.leaf_days.value))
        leaves = [
            item
            for item in self.results
            if item.tissue is Tissue.LEAF and item.known_on <= on and item.sampled >= horizon
        ]
        latest_first = sorted(leaves, key=lambda item: (-item.sampled.toordinal(), item.record))
        return tuple(
            Companion(item.analyte, item.value, item.censor, item.unit, item.sampled) for item in latest_first
        )


def _follows(before: Reading, after: Reading) -> bool:
    return (before.tissue, before.basis) == (after.tissue, after.basis) and after.sampled > before.sampled


def _answered_by(change: Change | None, reading: Reading | None, on: date, stale_days: int) -> date:
    """The day as of which a change is judged: its review date when a result of its time had arrived by then.

    Such a result answers the change, though it is looked at a few days late; a stale one answers nothing.
    """
    if change is None or reading is None or on <= change.review:
        return on
    in_time = change.effective <= reading.sampled and reading.known <= change.review
    fresh = (on - reading.sampled).days <= stale_days
    return change.review if in_time and fresh else on
