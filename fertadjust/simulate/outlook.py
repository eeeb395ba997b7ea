"""What a season's plan and rules are likely to do: some thousand seasons like it, simulated."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from fertadjust.errors import Fault, UserError
from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import ByTheRules, FixedPlan
from fertadjust.simulate.guards import with_policy, with_values
from fertadjust.simulate.loop import Setup, table_of
from fertadjust.simulate.parameters import Array, CropModel
from fertadjust.simulate.reference import Reference
from fertadjust.simulate.runs import Run, Way, run
from fertadjust.simulate.scenario import MOST_SEED, SHIPPED, Origin, Scenario

PLAN: Final = "plan"
RULES: Final = "rules"
TRIED: Final = "tried"

LEAST_SEASONS: Final = 10
MOST_SEASONS: Final = 100_000

SHARES: Final = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares of the seasons that lie below the lines of a spread."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Simulated seasons of one block.

    Attributes:
        setup: what they have in common; the season is that of the block.
        tried: policy values that were tried beside the season's own, by name.
        runs: the fixed plan, the rules, and the rules with the values that were tried, if any.
        reference: the band on each day, by the dates of the season file.
        origin: where the scenario comes from.
    """

    setup: Setup
    tried: Mapping[str, Any]
    runs: tuple[Run, ...]
    reference: Reference
    origin: Origin = SHIPPED

    def run(self, name: str) -> Run:
        """A run by its name: `PLAN`, `RULES` or `TRIED`.

        Raises:
            KeyError: there is none.
        """
        return {item.name: item for item in self.runs}[name]

    @property
    def seasons(self) -> int:
        """Seasons in each run."""
        return self.runs[0].seasons

    def bands(self) -> tuple[Array, Array]:
        """Low and high edge on each day of the plan [stored unit]; not a number without a band."""
        days = np.arange(self.setup.days)
        _, low, high = self.reference.on(days)
        return low, high

    def banded(self) -> slice:
        """Days of the plan from the first to the last with a band; of the others the model knows no level."""
        known = np.flatnonzero(~np.isnan(self.bands()[0]))
        return slice(int(known[0]), int(known[-1]) + 1)


def check_numbers(seasons: int, seed: int | None, processes: int) -> None:
    """Check how much is asked for.

    Raises:
        UserError: every number that is out of range.
    """
    asked = (
        ("seasons", seasons, LEAST_SEASONS, MOST_SEASONS),
        ("seed", 0 if seed is None else seed, 0, MOST_SEED),
        ("processes", processes, 1, math.inf),
    )
    faults = []
    for name, value, least, most in asked:
        whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
        if not whole or not least <= value <= most:
            limits = f"{least:,} or more" if most == math.inf else f"from {least:,} to {most:,}"
            faults.append(Fault(f"should be a whole number, {limits}; found {value!r}", key=name))
    if faults:
        raise UserError(faults)


def spread(values: Array) -> Array:
    """Values that `SHARES` of the seasons lie below: shares by days or weeks, from days or weeks by seasons."""
    return np.asarray(np.quantile(values, SHARES, axis=-1))


def ways_of(setup: Setup, tried: Mapping[str, Any]) -> list[Way]:
    """The ways that are held beside each other.

    Raises:
        UserError: a tried name that the policy does not have.
        pydantic.ValidationError: a tried value that it does not allow.
    """
    ways = [Way(PLAN, setup, FixedPlan()), Way(RULES, setup, ByTheRules())]
    if tried:
        policy = with_values(setup.season.policy, tried)
        ways.append(Way(TRIED, with_policy(setup, policy), ByTheRules()))
    return ways


def outlook(
    season: BlockSeason,
    model: CropModel,
    scenario: Scenario,
    seasons: int,
    seed: int | None = None,
    tried: Mapping[str, Any] | None = None,
    processes: int = 1,
    progress: Callable[[int], None] = lambda done: None,
    origin: Origin = SHIPPED,
) -> Outlook:
    """Simulate seasons like a block's, from the first day of its plan; its records play no part.

    Args:
        season: the block with its plan and rules.
        model, scenario: the crop, and what goes wrong.
        seasons: how many.
        seed: of the draws; the scenario's own when none is given.
        tried: policy values to try beside the season's own, in the units of the rules: nitrogen in lb/ac.
        processes: processors to use; they change nothing but the time.
        progress: called with the number of seasons done since the last call, over all ways.
        origin: where the scenario comes from, to be told with what is found.

    Raises:
        UserError: no stage places the crop's demand, no petiole table with both edges, no band in the weeks, or a
            tried name that the policy does not have.
        pydantic.ValidationError: a tried value that it does not allow.
    """
    bare = replace(season, results=(), applications=(), observations=(), changes=(), left=())
    setup = Setup(bare, model, scenario, table_of(bare), scenario.seed if seed is None else seed)
    model.origin_day(bare.stages)
    reference = Reference.of(setup.table, bare.stages, bare.plan.start, setup.days)
    values = dict(tried or {})
    runs: Sequence[Run] = run(ways_of(setup, values), seasons, processes, progress)
    return Outlook(setup, values, tuple(runs), reference, origin)
