"""Builders that the tests of the crop-nitrogen model share. Values are invented unless a source is named."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import HealthCheck, settings

from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import ByTheRules, Controller
from fertadjust.simulate.crop_model import State, fed, one_day
from fertadjust.simulate.draws import Draws, draws
from fertadjust.simulate.loop import Batch, Setup, table_of
from fertadjust.simulate.parameters import Array, CropModel, Crops, crops, middle
from fertadjust.simulate.scenario import Scenario
from fertadjust.simulation_files import crop_model, scenarios
from tests.support import plan, season

GEORGIA_RATES = (3.5, 3.5) + (5.25,) * 10
"""Half a pound a day for two weeks, then three quarters [lb/ac/week] (UGA-2021)."""

FRUITING = 60.0
"""A day after first bloom on which the demand of every draw is at its level peak."""

CALM = Scenario(schema=1, id="calm", title="Nothing goes wrong.")


def often(examples: int) -> settings:
    """The same examples at every run, so that a failure comes from a change and not from chance."""
    return settings(
        derandomize=True, deadline=None, max_examples=examples, suppress_health_check=[HealthCheck.too_slow]
    )


def strawberry() -> CropModel:
    return crop_model("strawberry")


def scenario(name: str = "usual", **parts: Any) -> Scenario:
    """A shipped scenario, or ``CALM``, with some of its parts replaced."""
    base = CALM if name == "calm" else scenarios()[name]
    return Scenario.model_validate(base.model_dump(by_alias=True) | parts)


def georgia(rates: tuple[float, ...] = GEORGIA_RATES, **rest: Any) -> BlockSeason:
    """A season at Georgia's rates; bounds, cap and injections as named."""
    return season(the_plan=plan(rates, **rest))


def setup(name: str | Scenario = "calm", seed: int = 1, base: BlockSeason | None = None) -> Setup:
    found = georgia() if base is None else base
    of = scenario(name) if isinstance(name, str) else name
    return Setup(found, strawberry(), of, table_of(found), seed)


def drawn(of: Setup, count: int = 40, batch: int = 0) -> Draws:
    return draws(of.model, of.scenario, of.seed, batch, count, of.days)


def batch_of(of: Setup, by: Controller | None = None, count: int = 40, given: Draws | None = None) -> Batch:
    """A batch that has not run yet."""
    return Batch(of, drawn(of, count) if given is None else given, by or ByTheRules())


def typical(**changes: float) -> Crops:
    """The middle of every range, with some figures replaced."""
    arrays: dict[str, Any] = {name: np.array([value]) for name, value in changes.items()}
    return middle(strawberry())._replace(**arrays)


def random_crops(count: int, seed: int = 1, need: float = 1.0) -> Crops:
    """Every figure drawn from its range."""
    random, model = np.random.default_rng(seed), strawberry()
    shares = {name: random.random(count) for name in model.figures}
    return crops(model, shares, np.full(count, need), np.ones(count))


def level(**changes: float) -> Crops:
    """One crop whose demand is the same on every day [lb/ac/day], by default 1."""
    values = {
        "peak": 1.0,
        "soil_start": 16.0,
        "mineralised": 0.0,
        "soil_reference": 16.0,
        "half_uptake": 16.0,
        "nitrify": 0.1,
        "drain": 0.0,
        "store_days": 4.0,
        "store_most": 3.0,
        "half_growth": 0.1,
    } | changes
    point = (np.zeros(1), np.ones(1))
    return Crops(**{name: np.array([value]) for name, value in values.items()}, points=(point,))


def state(**pools: float | Array) -> State:
    """A state with some pools filled, for one season."""
    return State(**{name: np.atleast_1d(np.asarray(pools.get(name, 0.0), dtype=float)) for name in State._fields})


def through(figures: Crops, begun: State, days: int, day: float = FRUITING, amount: float = 0.0) -> list[State]:
    """States at the start of each day and at the end, the same amount being fed as nitrate every morning."""
    found = [begun]
    none = np.zeros(figures.seasons)
    for index in range(days):
        morning = fed(found[-1], none + amount, none)
        found.append(one_day(figures, morning, day + index))
    return found


def with_rates(base: BlockSeason, factor: float) -> BlockSeason:
    """The season with every planned rate times a factor."""
    rates = tuple(factor * rate for rate in base.plan.rates_lb_ac)
    return replace(base, plan=replace(base.plan, rates_lb_ac=rates))
