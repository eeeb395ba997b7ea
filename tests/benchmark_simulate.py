"""How fast seasons are simulated with the real engine, beside the fixed plan on the same seasons in the same run.

Run it with ``python -m tests.benchmark_simulate``. It prints rates, their ratio and shares of time, and asserts no
time.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from time import perf_counter
from typing import NamedTuple

from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import ByTheRules, Controller, Decision, FixedPlan
from fertadjust.simulate.crop_model import one_day, start
from fertadjust.simulate.loop import Batch, Setup
from fertadjust.simulate.parameters import crops
from fertadjust.simulate.runs import BATCH, Way, run
from tests.simulate.support import drawn, setup

ROUNDS = 3


@dataclass
class Timed:
    """A way of deciding that adds up the time it takes [s] and counts what it is asked."""

    by: Controller
    heeds_cap: bool = True
    seconds: float = 0.0
    asked: int = 0

    def decide(self, season: BlockSeason, on: date) -> Decision:
        begun = perf_counter()
        found = self.by.decide(season, on)
        self.seconds += perf_counter() - begun
        self.asked += 1
        return found


class Shares(NamedTuple):
    """Where the time of one batch under the rules goes [s].

    Attributes:
        whole, engine, model: all of it, deciding, and the steps of the crop model.
        asked: results that were decided on.
    """

    whole: float
    engine: float
    model: float
    asked: int


def seconds_of(call: Callable[[], object]) -> float:
    """Seconds of a call, the best of some rounds."""
    best = float("inf")
    for _ in range(ROUNDS):
        begun = perf_counter()
        call()
        best = min(best, perf_counter() - begun)
    return best


def per_second(of: Setup, by: Controller, seasons: int, processes: int) -> float:
    """Seasons per second of a way of deciding."""
    return seasons / seconds_of(lambda: run([Way("measured", of, by)], seasons, processes))


def model_alone(of: Setup, count: int) -> None:
    """The days of the crop model without a sampler, a laboratory or anyone who decides."""
    given = drawn(of, count)
    figures = crops(of.model, given.shares, given.need, given.soil_at_start)
    now = start(figures, 0.0)
    for day in range(of.days):
        now = one_day(figures, now, float(day))


def shares(of: Setup, count: int = BATCH) -> Shares:
    """Time of one batch, in deciding and in the model."""
    timed = Timed(ByTheRules())
    given = drawn(of, count)
    begun = perf_counter()
    Batch(of, given, timed).run()
    whole = perf_counter() - begun
    return Shares(whole, timed.seconds, seconds_of(lambda: model_alone(of, count)), timed.asked)


def main(seasons: int = 4 * BATCH) -> None:
    """Print all rates and shares."""
    of = setup("usual")
    print(f"seasons a second, {seasons} seasons of {of.days} days")
    for processes in (1, 2):
        rules, plan = (per_second(of, by, seasons, processes) for by in (ByTheRules(), FixedPlan()))
        words = f"{processes} process{'es' if processes > 1 else ''}"
        print(f"{words:<12} by the rules {rules:>6,.0f}   fixed plan {plan:>6,.0f}   ratio {plan / rules:.1f}")
    found = shares(of)
    rest = found.whole - found.engine - found.model
    print(f"one batch of {BATCH} by the rules: {found.whole:.2f} s, {found.asked / BATCH:.1f} decisions a season")
    for name, part in (("engine", found.engine), ("crop model", found.model), ("the rest", rest)):
        print(f"  {name:<11}{part / found.whole:>5.0%}")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:2]))
