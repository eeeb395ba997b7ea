"""Does the feedback work? The shipped rules in many simulated seasons, and what other figures would do.

Figures are looked for on one set of seeds and reported on another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final, Literal, NamedTuple

import numpy as np
from pydantic import Field

from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import ByTheRules, FixedPlan, WithoutGuards
from fertadjust.simulate.guards import GUARDS, guards_of, with_policy, with_values, without
from fertadjust.simulate.loop import Setup, table_of
from fertadjust.simulate.measures import Estimate, estimate
from fertadjust.simulate.parameters import Array, CropModel
from fertadjust.simulate.runs import BATCH, Run, Way, run
from fertadjust.simulate.scenario import Scenario
from fertadjust.strict import Strict

Count = Annotated[int, Field(ge=1, le=100_000, strict=True)]

PLAN: Final = "the plan as it stands"
UNGUARDED: Final = "a step at every result"
BOUNDED: Final = "a step within the bounds"
RULES: Final = "the rules"
TUNED: Final = "the rules with the figures found"


class Part(Strict):
    """One part of the seasons.

    Attributes:
        seed, seasons: of each scenario.
        scenarios: their ids.
        guards_in: scenarios in which each guard is left out.
    """

    seed: int = Field(ge=0, strict=True)
    seasons: Count
    scenarios: tuple[str, ...] = Field(min_length=1)
    guards_in: tuple[str, ...] = ()


class Trial(Strict):
    """Values of one policy figure that are tried beside the shipped one.

    Attributes:
        name, values: the figure and what is tried.
        stays: why the shipped value stays whatever is found, or "".
    """

    name: str
    values: tuple[float | str, ...]
    stays: str = ""


class Variant(Strict):
    """The crop with other figures, to see what hangs on them.

    Attributes:
        name: what it is.
        figures: name of a figure of the crop -> ends of another range.
    """

    name: str
    figures: dict[str, tuple[float, float]]

    def of(self, model: CropModel) -> CropModel:
        """The crop with these figures."""
        data = model.model_dump(by_alias=True)
        ends = {name: {"low": low, "high": high} for name, (low, high) in self.figures.items()}
        return CropModel.model_validate(data | {name: data[name] | end for name, end in ends.items()})


class StudyPlan(Strict):
    """What a study runs.

    Attributes:
        above_counts: weight of a week above the band beside one below it.
        worth: share of the weeks that a value has to save to be taken over.
        worth_calm: or reversals in a season, where it costs no weeks.
        tuning, report: the two parts.
        trials: what is tried.
        variants: other crops, each run in the report's first scenario.
    """

    schema_: Literal[1] = Field(alias="schema")
    above_counts: float = Field(ge=0, le=1)
    worth: float = Field(ge=0, le=1)
    worth_calm: float = Field(ge=0)
    tuning: Part
    report: Part
    trials: tuple[Trial, ...] = Field(alias="try")
    variants: tuple[Variant, ...] = ()

    def shorter(self, seasons: int) -> StudyPlan:
        """The same with fewer seasons in each part."""
        parts = {
            name: part.model_copy(update={"seasons": min(part.seasons, seasons)})
            for name, part in (("tuning", self.tuning), ("report", self.report))
        }
        return self.model_copy(update=parts)


class Tried(NamedTuple):
    """One value that was tried.

    Attributes:
        name, value: the figure.
        saved: weeks out of band that it saves beside the shipped value, as a share of all weeks.
        calmer: reversals of the rate that it saves in a season.
        righter: weeks fed the wrong way that it saves, as a share of all weeks.
    """

    name: str
    value: float | str
    saved: Estimate
    calmer: Estimate
    righter: Estimate

    def worth(self, worth: float, worth_calm: float) -> bool:
        """Whether it is worth taking over.

        It clearly saves weeks, at least a share of all; or it clearly saves reversals, at least some in a season,
        and does not clearly cost weeks.
        """
        calms = self.calmer.mean >= worth_calm and self.calmer.low > 0
        return self.saves(worth) or (calms and self.saved.high >= 0)

    def saves(self, worth: float) -> bool:
        """Whether it clearly saves weeks, at least a share of all."""
        return self.saved.mean >= worth and self.saved.low > 0


@dataclass(frozen=True, slots=True)
class Beside:
    """Ways of deciding held beside each other in one scenario.

    Attributes:
        scenario: its id.
        means: way -> measure -> estimate.
        gains: way -> measure -> how much more it is than with the rules, season by season.
    """

    scenario: str
    means: Mapping[str, Mapping[str, Estimate]]
    gains: Mapping[str, Mapping[str, Estimate]]


@dataclass(frozen=True, slots=True)
class Study:
    """What a study found.

    Attributes:
        plan: what was run.
        weeks: weeks of a season.
        tried: every value that was tried, on the tuning seeds.
        found: figures that were worth taking over, by name; joined on the report seeds as `TUNED`.
        compared: plan, unguarded steps, rules and `TUNED` in each scenario of the report.
        guards: the rules without each guard.
        variants: plan, unguarded steps and rules in the first scenario with each other crop, by its name.
        first: measure -> mean over the rules' first batch in the report's first scenario, to check a copy by.
    """

    plan: StudyPlan
    weeks: int
    tried: tuple[Tried, ...]
    found: Mapping[str, float | str]
    compared: tuple[Beside, ...]
    guards: tuple[Beside, ...]
    variants: tuple[Beside, ...]
    first: Mapping[str, float]


def study(
    season: BlockSeason,
    model: CropModel,
    scenarios: Mapping[str, Scenario],
    plan: StudyPlan,
    processes: int = 1,
    progress: Callable[[int], None] = lambda done: None,
) -> Study:
    """Run a study; the same for the same arguments, whatever the number of processes.

    Args:
        season: the block; its policy is the one that is looked into.
        model: the crop.
        scenarios: by id.
        plan: what to run.
        processes: processors to use.
        progress: called with the number of seasons done since the last call.
    """
    runner = _Runner(season, model, scenarios, plan, processes, progress)
    tried = runner.trials()
    stays = {trial.name for trial in plan.trials if trial.stays}
    found = _worth_taking([item for item in tried if item.name not in stays], plan)
    compared = tuple(runner.compared(name, found) for name in plan.report.scenarios)
    guards = tuple(runner.without_guards(name) for name in plan.report.guards_in)
    variants = tuple(runner.varied(variant) for variant in plan.variants)
    weeks = len(season.plan.rates_lb_ac)
    return Study(plan, weeks, tried, found, compared, guards, variants, runner.first_batch())


def first_batch(
    season: BlockSeason, model: CropModel, scenarios: Mapping[str, Scenario], plan: StudyPlan
) -> dict[str, float]:
    """What `Study.first` holds, run again."""
    return _Runner(season, model, scenarios, plan, 1, lambda done: None).first_batch()


def seasons_of(plan: StudyPlan) -> int:
    """Seasons that a study simulates at most, for a progress bar."""
    trials = 1 + sum(len(trial.values) for trial in plan.trials)
    tuning = trials * plan.tuning.seasons * len(plan.tuning.scenarios)
    first = min(BATCH, plan.report.seasons)
    report = (
        5 * len(plan.report.scenarios) + (1 + len(GUARDS)) * len(plan.report.guards_in) + 4 * len(plan.variants)
    )
    return tuning + report * plan.report.seasons + first


def bad_weeks(one: Run, above_counts: float) -> Array:
    """Share of the weeks out of band in each season, those above it counted in part."""
    return np.asarray(one.measures["below"] + above_counts * one.measures["above"])


class _Runner:
    """Runs what a study asks for."""

    def __init__(
        self,
        season: BlockSeason,
        model: CropModel,
        scenarios: Mapping[str, Scenario],
        plan: StudyPlan,
        processes: int,
        progress: Callable[[int], None],
    ) -> None:
        self.season, self.model, self.scenarios, self.plan = season, model, scenarios, plan
        self.processes, self.progress = processes, progress

    def setup(self, scenario: str, seed: int) -> Setup:
        return Setup(self.season, self.model, self.scenarios[scenario], table_of(self.season), seed)

    def run(self, ways: Sequence[Way], seasons: int) -> list[Run]:
        return run(ways, seasons, self.processes, self.progress)

    def trials(self) -> tuple[Tried, ...]:
        """Every value beside the shipped one: each season's mean over the scenarios of the tuning part.

        The scenarios meet the same draws, so a season counts once however many scenarios it is run in.
        """
        part = self.plan.tuning
        values = [(trial.name, value) for trial in self.plan.trials for value in trial.values]
        saved, calmer, righter = ([list[Array]() for _ in values] for _ in range(3))
        for scenario in part.scenarios:
            setup = self.setup(scenario, part.seed)
            ways = [Way(RULES, setup, ByTheRules())]
            ways += [Way(name, self.tuned(setup, {name: value}), ByTheRules()) for name, value in values]
            shipped, *others = self.run(ways, part.seasons)
            for index, other in enumerate(others):
                weight = self.plan.above_counts
                saved[index].append(bad_weeks(shipped, weight) - bad_weeks(other, weight))
                calmer[index].append(shipped.measures["reversals"] - other.measures["reversals"])
                righter[index].append(shipped.measures["wrong_way"] - other.measures["wrong_way"])
        return tuple(
            Tried(
                name,
                value,
                saved=_season_by_season(saved[index]),
                calmer=_season_by_season(calmer[index]),
                righter=_season_by_season(righter[index]),
            )
            for index, (name, value) in enumerate(values)
        )

    def tuned(self, setup: Setup, values: Mapping[str, Any]) -> Setup:
        return with_policy(setup, with_values(setup.season.policy, values))

    def compared(self, scenario: str, found: Mapping[str, float | str]) -> Beside:
        part = self.plan.report
        setup = self.setup(scenario, part.seed)
        ways = _ways(setup)
        if found:
            ways.append(Way(TUNED, self.tuned(setup, found), ByTheRules()))
        return _beside(scenario, self.run(ways, part.seasons), self.plan.above_counts)

    def varied(self, variant: Variant) -> Beside:
        part = self.plan.report
        setup = replace(self.setup(part.scenarios[0], part.seed), model=variant.of(self.model))
        return _beside(variant.name, self.run(_ways(setup), part.seasons), self.plan.above_counts)

    def first_batch(self) -> dict[str, float]:
        part = self.plan.report
        way = Way(RULES, self.setup(part.scenarios[0], part.seed), ByTheRules())
        (first,) = run([way], min(BATCH, part.seasons), progress=self.progress)
        return {name: first.estimate(name).mean for name in first.measures}

    def without_guards(self, scenario: str) -> Beside:
        part = self.plan.report
        setup = self.setup(scenario, part.seed)
        ways = [
            Way(RULES, setup, ByTheRules()),
            *(without(setup, guard) for guard in guards_of(self.season.policy)),
        ]
        return _beside(scenario, self.run(ways, part.seasons), self.plan.above_counts)


def _ways(setup: Setup) -> list[Way]:
    return [
        Way(PLAN, setup, FixedPlan()),
        Way(UNGUARDED, setup, WithoutGuards()),
        Way(BOUNDED, setup, WithoutGuards(bounded=True)),
        Way(RULES, setup, ByTheRules()),
    ]


def _beside(scenario: str, runs: Sequence[Run], above_counts: float) -> Beside:
    scored = [replace(one, measures={**one.measures, "bad_weeks": bad_weeks(one, above_counts)}) for one in runs]
    rules = next(one for one in scored if one.name == RULES)
    return Beside(
        scenario,
        {one.name: {name: one.estimate(name) for name in one.measures} for one in scored},
        {one.name: {name: one.beside(rules, name) for name in one.measures} for one in scored if one is not rules},
    )


def _season_by_season(parts: Sequence[Array]) -> Estimate:
    """Estimate of each season's mean over the scenarios."""
    return estimate(np.asarray(np.mean(parts, axis=0)))


def _worth_taking(tried: Sequence[Tried], plan: StudyPlan) -> dict[str, float | str]:
    """Of each figure the value that is worth taking over.

    Where there are several, the one that saves most weeks; where none saves weeks, the first in the plan's order,
    which lists what is nearest to the shipped value first.
    """
    best: dict[str, Tried] = {}
    for item in tried:
        if not item.worth(plan.worth, plan.worth_calm):
            continue
        before = best.get(item.name)
        gained = before.saved.mean if before is not None and before.saves(plan.worth) else plan.worth
        if before is None or (item.saves(plan.worth) and item.saved.mean > gained):
            best[item.name] = item
    return {name: item.value for name, item in best.items()}
