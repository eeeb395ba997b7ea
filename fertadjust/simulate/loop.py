"""Seasons run day by day: the crop, the sampler, the laboratory and the one who decides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from fertadjust.bands import BandTable
from fertadjust.errors import Fault, UserError
from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, RatePath
from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import Controller
from fertadjust.simulate.crop_model import State, fed, one_day, rained_on, start, supply_ratio
from fertadjust.simulate.draws import Draws
from fertadjust.simulate.parameters import Array, CropModel, Crops, crops
from fertadjust.simulate.reference import Reference
from fertadjust.simulate.scenario import AS_ADVISED, Scenario
from fertadjust.tissue import MAIN_ANALYTE, Basis, Censor, Tissue, TissueResult
from fertadjust.uncertainty import combined, horwitz_relative, log_sd, mass_fraction
from fertadjust.units import DAYS_PER_WEEK, KG_HA_PER_LB_AC

_KG_HA_PER_MM_PPM = 0.01
"""One millimetre of water on a hectare is 10,000 litres; at 1 mg/L it brings 0.01 kg."""

_NOT_YET = -1
"""In place of a day, while the next sample waits for a result."""


@dataclass(frozen=True, slots=True)
class Setup:
    """What every season of a run has in common.

    Attributes:
        season: the block with its plan and rules; what is recorded about it plays no part.
        model: the crop.
        scenario: what goes wrong.
        table: the band table that the crop is sampled against.
        seed: seed of the draws.
    """

    season: BlockSeason
    model: CropModel
    scenario: Scenario
    table: BandTable
    seed: int

    @property
    def days(self) -> int:
        """Days of a season: those of the plan."""
        return DAYS_PER_WEEK * len(self.season.plan.rates_lb_ac)

    @property
    def feeding_days(self) -> tuple[int, ...]:
        """Days of a week on which a share of its nitrogen is injected; 0 is the first."""
        often = self.season.plan.injections_per_week
        return tuple(index * DAYS_PER_WEEK // often for index in range(often))


@dataclass(slots=True)
class Course:
    """How a batch of seasons went; arrays over days and seasons, or over seasons.

    Attributes:
        value: petiole nitrate that is there, without any error of measuring [stored unit].
        low, high: its band by the true stage [stored unit]; not a number where the table has none.
        rate: nitrogen that the week was meant to get [lb/ac in the week], for each week and season.
        aimed: the same before the season cap had its say.
        room: what the cap left for the week, as the grower knew it [lb/ac].
        applied: nitrogen that was fed [lb/ac], on each day.
        unmet: growth that did not take place for want of nitrogen [lb/ac], over the season.
        brought: nitrogen that came with the water [lb/ac], over the season.
        state: the pools at the end.
        begun: nitrogen in all pools at the start [lb/ac].
        decisions: number of results that were decided on, for each season.
    """

    value: Array
    low: Array
    high: Array
    rate: Array
    aimed: Array
    room: Array
    applied: Array
    unmet: Array
    brought: Array
    state: State
    begun: Array
    decisions: Array


@dataclass(slots=True)
class _Grower:
    """What one simulated grower knows, in the form of records."""

    results: list[TissueResult] = field(default_factory=list)
    applications: list[Application] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    decided: int = 0
    sample_on: int = 0
    coming: list[int] = field(default_factory=list)

    def season(self, base: BlockSeason) -> BlockSeason:
        return replace(
            base,
            results=tuple(self.results),
            applications=tuple(self.applications),
            observations=tuple(self.observations),
            changes=tuple(self.changes),
            left=(),
        )


class Batch:
    """One batch of seasons under one way of deciding.

    Args:
        setup: what they have in common.
        drawn: what chance decides in them.
        controller: who decides.
    """

    def __init__(self, setup: Setup, drawn: Draws, controller: Controller) -> None:
        self.setup, self.drawn, self.controller = setup, drawn, controller
        self.figures: Crops = crops(setup.model, drawn.shares, drawn.need, drawn.soil_at_start)
        self.count = self.figures.seasons
        self.plan = setup.season.plan
        origin = setup.model.origin_day(setup.season.stages)
        self.shift: Array = np.asarray((self.plan.start - origin).days - drawn.days_off, dtype=np.float64)
        self.reference = Reference.of(setup.table, setup.season.stages, self.plan.start, setup.days)
        self.growers = [_Grower(sample_on=setup.scenario.sampling.first_day) for _ in range(self.count)]
        irrigated_mm = setup.model.irrigation.at(drawn.shares["irrigation"])
        irrigated_mm = irrigated_mm * setup.model.water_use.at(drawn.shares["water_use"])
        self.water: Array = drawn.water_ppm * irrigated_mm * (_KG_HA_PER_MM_PPM / KG_HA_PER_LB_AC)
        every = setup.scenario.sampling.every
        self.every = None if every == AS_ADVISED else int(every)

    def run(self) -> Course:
        """The seasons from the first day of the plan to its last."""
        days, count, drawn = self.setup.days, self.count, self.drawn
        state = start(self.figures, self.shift)
        begun = state.total
        value, low, high = (np.empty((days, count)) for _ in range(3))
        rate, aimed, room = (np.zeros((days // DAYS_PER_WEEK, count)) for _ in range(3))
        applied = np.zeros((days, count))
        unmet = np.zeros(count)
        for day in range(days):
            week, of_week = divmod(day, DAYS_PER_WEEK)
            value[day], low[day], high[day] = self._petiole(state, day)
            self._sample(day, value[day])
            self._decide(day)
            if of_week == 0:
                known = np.where(drawn.logs, applied.sum(axis=0), rate[:week].sum(axis=0))
                aimed[week], room[week] = self._aimed(week), self._room(known)
                rate[week] = np.minimum(aimed[week], room[week]) if self.controller.heeds_cap else aimed[week]
            injections = self.setup.feeding_days.count(of_week)
            if injections:
                applied[day] = self._feed(day, injections * rate[week])
            state = fed(state, *self._forms(applied[day], week))
            state = fed(state, self.water, np.zeros(count))
            state = rained_on(state, drawn.rain_lost[day])
            self._look(day)
            before = state.growth
            state = one_day(self.figures, state, self.shift + day)
            unmet += np.maximum(self.figures.demand(self.shift + day + 0.5) - (state.growth - before), 0.0)
        return Course(
            value=value,
            low=low,
            high=high,
            rate=rate,
            aimed=aimed,
            room=room,
            applied=applied,
            unmet=unmet,
            brought=self.water * days,
            state=state,
            begun=begun,
            decisions=np.array([float(grower.decided) for grower in self.growers]),
        )

    def _date(self, day: int) -> date:
        return self.plan.start + timedelta(days=day)

    def _petiole(self, state: State, day: int) -> tuple[Array, Array, Array]:
        true_day = day - self.drawn.days_off
        middle, low, high = self.reference.on(true_day)
        return middle * supply_ratio(self.figures, state, self.shift + day), low, high

    def _forms(self, amount: Array, week: int) -> tuple[Array, Array]:
        """Nitrate, and ammonium with urea, in what is fed; a mix whose labels are silent counts as nitrate."""
        share = self.setup.season.mixes.nitrate_share(week + 1)
        share = 1.0 if share is None else share
        return share * amount, (1.0 - share) * amount

    def _aimed(self, week: int) -> Array:
        """Rates of a week by what was decided so far [lb/ac]."""
        of_plan = self.plan.weeks[week]
        return np.array([RatePath(grower.changes).rate_lb_ac(of_plan) for grower in self.growers])

    def _room(self, fed: Array) -> Array:
        """What the season cap leaves [lb/ac] by the weekly table, where a week not logged counts at its rate."""
        cap = math.inf if self.plan.cap_lb_ac is None else self.plan.cap_lb_ac
        return np.asarray(np.maximum(cap - self.plan.credits_lb_ac - fed, 0.0))

    def _feed(self, day: int, rate: Array) -> Array:
        """What is injected on a day, entered in the log."""
        amount = np.where(self.drawn.missed[day], 0.0, rate / self.plan.injections_per_week)
        on, key = self._date(day), self.setup.season.block.key
        for index, grower in enumerate(self.growers):
            if self.drawn.logs[index]:
                grower.applications.append(Application(day + 1, key, on, float(amount[index])))
        return amount

    def _look(self, day: int) -> None:
        """Rain of a day is noted, where the grower sees it."""
        on, key = self._date(day), self.setup.season.block.key
        seen = (self.drawn.rain_lost[day] > 0) & self.drawn.rain_noted[day]
        for index in np.flatnonzero(seen):
            grower = self.growers[index]
            grower.observations.append(Observation(day + 1, key, on, Sight.LEACHING_RAIN))

    def _sample(self, day: int, value: Array) -> None:
        """Samples are taken where one is due; each result is on its way from then on.

        Where the table has no band on the day, by the dates of the season file, the sample waits for one.
        """
        drawn, every = self.drawn, self.every
        banded = not np.isnan(self.reference.on(np.array([day]))[1][0])
        for index, grower in enumerate(self.growers):
            if grower.sample_on != day:
                continue
            if not banded:
                grower.sample_on = day + (every or 1)
                continue
            grower.sample_on = _NOT_YET if every is None else day + every
            if drawn.lost[day, index]:
                grower.sample_on = day + (every or DAYS_PER_WEEK)
                continue
            received = day + int(drawn.result_days[day, index])
            found = self._reported(float(value[index] * drawn.bias[index]), float(drawn.noise[day, index]))
            grower.results.append(self._result(day, received, *found))
            grower.coming.append(received)

    def _reported(self, value: float, noise: float) -> tuple[float, Censor]:
        """What the laboratory reports for a value, the error being lognormal with the budget's spread."""
        laboratory, sampling = self.setup.scenario.laboratory, self.setup.scenario.sampling
        least = laboratory.reports_from
        parts = (
            horwitz_relative(mass_fraction(max(value, least), self.reference.unit)),
            laboratory.petiole_cv / sampling.petioles**0.5,
            laboratory.hour_and_day,
        )
        reported = value * float(np.exp(noise * log_sd(combined(parts))))
        return (reported, Censor.NONE) if reported >= least else (least, Censor.BELOW)

    def _result(self, day: int, received: int, value: float, censor: Censor) -> TissueResult:
        table, sampled = self.setup.table, self._date(day)
        return TissueResult(
            record=day + 1,
            block=self.setup.season.block.key,
            sampled=sampled,
            received=self._date(received),
            tissue=table.tissue,
            basis=table.basis,
            analyte=MAIN_ANALYTE[table.tissue],
            value=value,
            censor=censor,
            petioles=self.setup.scenario.sampling.petioles,
        )

    def _decide(self, day: int) -> None:
        on = self._date(day)
        for grower in self.growers:
            if day not in grower.coming:
                continue
            season = grower.season(self.setup.season)
            found = self.controller.decide(season, on)
            grower.decided += 1
            if found.change is not None:
                grower.changes.append(replace(found.change, record=day + 1))
            if self.every is None:
                due = self.setup.season.policy.sample_days.value
                asked = found.next_sample or grower.results[-1].sampled + timedelta(days=int(due))
                grower.sample_on = max((asked - self.plan.start).days, day + 1)


def table_of(season: BlockSeason) -> BandTable:
    """The band table that a simulated crop is sampled against: the season's first petiole table, dry before sap.

    Raises:
        UserError: the season has none.
    """
    found: Sequence[BandTable] = sorted(
        (table for table in season.tables if table.tissue is Tissue.PETIOLE),
        key=lambda table: table.basis is not Basis.DRY,
    )
    if not found:
        raise UserError(Fault("the model needs a petiole nitrate table under [bands]", key="bands.tables"))
    return found[0]
