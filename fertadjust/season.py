"""One block's season: its plan and records turned into facts, and the facts into advice.

Pure: no files, no clock. The same calls serve the command line, a notebook and a simulation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from itertools import groupby

from fertadjust.bands import Band, BandTable
from fertadjust.compare import Side, compare
from fertadjust.errors import OutOfSeason
from fertadjust.field import Block
from fertadjust.ledger import Application, Ledger, Supply
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Plan, PlanWeek, RatePath
from fertadjust.products import Product, nitrate_share
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Companion, Facts, Flip, NotUsed, Reading, Recommendation
from fertadjust.rules.policy import Policy
from fertadjust.rules.what_if import flips
from fertadjust.stages import StageDates
from fertadjust.tissue import MAIN_ANALYTE, Basis, Censor, Tissue, TissueResult
from fertadjust.trend import Trend, trend
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
        return next((table for table in self.tables if table.fits(tissue, basis, analyte)), None)

    def band_for(self, result: TissueResult) -> Band:
        """The band of a result on its sampling day.

        Raises:
            OutOfSeason: no table in use fits, or it has no band on that day; the message says which.
        """
        table = self.table_for(result.tissue, result.basis, result.analyte)
        if table is None:
            raise OutOfSeason(f"no band table in use is for {result.kind}")
        return table.band_on(result.analyte, result.sampled, self.stages)

    @cached_property
    def _readings(self) -> _Readings:
        return _Readings.of(self)

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
        primary = _primary(readings.nitrogen, on, int(policy.stale_days.value))
        history = _history(readings.nitrogen, primary)
        logged, assumed = ledger.spent_lb_ac(on)
        horizon = on - timedelta(days=int(policy.observation_days.value))
        return Facts(
            on=on,
            units=self.units,
            primary=primary,
            leaf=_leaf_beside(readings.nitrogen, primary, int(policy.leaf_days.value)),
            earlier=tuple((item.sampled, _side(item)) for item in history[:-1]),
            not_used=readings.not_used,
            trend=_trend(history),
            stage_approximate=bool(self.stages.approximate),
            week=self._week(on),
            supply=self._supply(ledger, primary),
            observations=self._seen(horizon, on),
            soil_nitrate=self._soil_nitrate(on),
            factor=path.standing_factor(on),
            overdue=path.overdue(on),
            last_shift=path.last_shift(on),
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

        Without a recommendation the rates decided so far stand.
        """
        earlier = self._path_before(on)
        weeks = self.plan.coming_weeks(on)
        before = {week.number: earlier.rate_lb_ac(week) for week in weeks}
        if recommendation is None or self.decided_on(on):
            now = self.path(on)
            after = {week.number: now.rate_lb_ac(week) for week in weeks}
        else:
            after = {week.number: week.rate_lb_ac for week in weeks}
            covered = zip(recommendation.weeks, recommendation.rates_lb_ac, strict=True)
            after |= {week.number: rate for week, rate in covered}
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


@dataclass(frozen=True, slots=True)
class _Readings:
    """Nitrogen results grouped by kind and day, and those without a band."""

    groups: tuple[tuple[TissueResult, ...], ...]
    unbanded: tuple[tuple[TissueResult, str], ...]
    season: BlockSeason

    @classmethod
    def of(cls, season: BlockSeason) -> _Readings:
        banded: list[TissueResult] = []
        unbanded: list[tuple[TissueResult, str]] = []
        for result in sorted(season.results, key=_group_key):
            if result.analyte != MAIN_ANALYTE[result.tissue]:
                continue
            try:
                season.band_for(result)
            except OutOfSeason as reason:
                unbanded.append((result, str(reason)))
            else:
                banded.append(result)
        return cls(tuple(tuple(group) for _, group in groupby(banded, key=_day_key)), tuple(unbanded), season)

    def known_on(self, on: date) -> _Known:
        not_used = [_not_used(result, why) for result, why in self.unbanded if result.known_on <= on]
        nitrogen = []
        for group in self.groups:
            known = [result for result in group if result.known_on <= on]
            if known:
                reading, left_out = self._reading(known)
                nitrogen.append(reading)
                not_used += left_out
        return _Known(tuple(nitrogen), tuple(not_used))

    def _reading(self, results: Sequence[TissueResult]) -> tuple[Reading, list[NotUsed]]:
        values = [result for result in results if result.censor is Censor.NONE]
        used = values or [_loosest(results)]
        why = "a bound beside other results of the same day"
        left_out = [_not_used(result, why) for result in results if result not in used]
        first = used[0]
        mean = sum(result.value for result in used) / len(used)
        spread = (max(r.value for r in used) - min(r.value for r in used)) / mean
        table = self.season.table_for(first.tissue, first.basis, first.analyte)
        assert table is not None
        counts = [result.petioles for result in used if result.petioles is not None]
        reading = Reading(
            sampled=first.sampled,
            tissue=first.tissue,
            basis=first.basis,
            analyte=first.analyte,
            unit=first.unit,
            value=mean,
            censor=first.censor,
            count=len(used),
            spread=spread,
            petioles=min(counts) if counts else None,
            method=first.method,
            band=table.band_on(first.analyte, first.sampled, self.season.stages),
            beside=table.bands_beside(first.analyte, first.sampled, self.season.stages),
            records=tuple(result.record for result in used),
        )
        return reading, left_out


@dataclass(frozen=True, slots=True)
class _Known:
    nitrogen: tuple[Reading, ...]
    not_used: tuple[NotUsed, ...]


def _day_key(result: TissueResult) -> tuple[str, str, date, str]:
    return (result.tissue.value, result.basis.value, result.sampled, result.method.value)


def _group_key(result: TissueResult) -> tuple[str, str, date, str, int]:
    return (*_day_key(result), result.record)


def _not_used(result: TissueResult, why: str) -> NotUsed:
    return NotUsed(result.record, result.sampled, f"{result.kind} {result.text()}", why)


def _loosest(results: Sequence[TissueResult]) -> TissueResult:
    """Of several bounds, the one that claims least."""
    above = [result for result in results if result.censor is Censor.ABOVE]
    if above:
        return min(above, key=lambda result: result.value)
    return max(results, key=lambda result: result.value)


def _primary(readings: Sequence[Reading], on: date, stale_days: int) -> Reading | None:
    """The latest petiole reading, unless it is stale and a fresh leaf nitrogen reading exists."""
    petioles = [item for item in readings if item.tissue is Tissue.PETIOLE]
    leaves = [item for item in readings if item.tissue is Tissue.LEAF]
    petiole = max(petioles, key=lambda item: (item.sampled, item.basis is Basis.DRY), default=None)
    leaf = max(leaves, key=lambda item: item.sampled, default=None)
    if petiole is None or leaf is None:
        return petiole or leaf
    fresh = on - timedelta(days=stale_days)
    return leaf if petiole.sampled < fresh <= leaf.sampled else petiole


def _history(readings: Sequence[Reading], primary: Reading | None) -> list[Reading]:
    """Readings of the primary's kind up to and with it, oldest first."""
    if primary is None:
        return []
    same = [
        item
        for item in readings
        if (item.tissue, item.basis) == (primary.tissue, primary.basis) and item.sampled < primary.sampled
    ]
    return [*sorted(same, key=lambda item: item.sampled), primary]


def _trend(history: Sequence[Reading]) -> Trend | None:
    placed = [
        (item.sampled.toordinal(), place)
        for item in history
        if (place := compare(item.value, item.censor, 1.0, item.band, 1.0).position) is not None
    ]
    return trend([day for day, _ in placed], [place for _, place in placed])


def _side(reading: Reading) -> Side | None:
    return compare(reading.value, reading.censor, 1.0, reading.band, 1.0).side


def _leaf_beside(readings: Sequence[Reading], primary: Reading | None, days: int) -> Reading | None:
    """The leaf nitrogen reading nearest in time to a petiole reading, within some days."""
    if primary is None or primary.tissue is Tissue.LEAF:
        return None
    near = [
        item
        for item in readings
        if item.tissue is Tissue.LEAF and abs((item.sampled - primary.sampled).days) <= days
    ]
    return min(near, key=lambda item: abs((item.sampled - primary.sampled).days), default=None)
