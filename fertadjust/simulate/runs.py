"""Runs of many seasons in batches, on one or more processors; the same seasons whatever their number."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple

import numpy as np

from fertadjust.plan import Plan
from fertadjust.simulate.controllers import Controller
from fertadjust.simulate.draws import draws
from fertadjust.simulate.loop import Batch, Course, Setup
from fertadjust.simulate.measures import Estimate, estimate, measured
from fertadjust.simulate.parameters import Array

BATCH = 125
"""Seasons in a batch. Each batch has draws of its own, so that it is the same on any processor."""


class Way(NamedTuple):
    """One way to run the seasons.

    Attributes:
        name: what it is called.
        setup: the seasons; setups of one comparison share scenario and seed, and differ in plan or rules.
        controller: who decides.
        held_to: plan whose bounds and cap its seasons are held to; the setup's own when None.
    """

    name: str
    setup: Setup
    controller: Controller
    held_to: Plan | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """What a way of deciding came to.

    Attributes:
        name: of the way.
        measures: name -> one value a season.
        value, rate: petiole nitrate on each day and rate in each week, for each season.
    """

    name: str
    measures: dict[str, Array]
    value: Array
    rate: Array

    @property
    def seasons(self) -> int:
        return int(self.value.shape[1])

    def estimate(self, measure: str) -> Estimate:
        """Mean of a measure and its confidence interval."""
        return estimate(self.measures[measure])

    def beside(self, other: Run, measure: str) -> Estimate:
        """How much more a measure is than in another run of the same seasons, season by season."""
        return estimate(self.measures[measure] - other.measures[measure])


class _Part(NamedTuple):
    """A batch of a way, as it comes from a processor."""

    measures: dict[str, Array]
    value: Array
    rate: Array


def one_batch(way: Way, batch: int, count: int) -> tuple[Course, dict[str, Array]]:
    """One batch of a way, and its measures."""
    setup = way.setup
    drawn = draws(setup.model, setup.scenario, setup.seed, batch, count, setup.days)
    course = Batch(setup, drawn, way.controller).run()
    return course, measured(course, way.held_to or setup.season.plan)


def _part(way: Way, batch: int, count: int) -> _Part:
    course, measures = one_batch(way, batch, count)
    return _Part(measures, course.value, course.rate)


def run(
    ways: Sequence[Way], seasons: int, processes: int = 1, progress: Callable[[int], None] = lambda done: None
) -> list[Run]:
    """Run the same seasons under several ways of deciding.

    Args:
        ways: the ways.
        seasons: number of seasons of each.
        processes: processors to use.
        progress: called with the number of seasons done since the last call.

    Returns:
        One run for each way, in order; equal for any number of processes.
    """
    sizes = [min(BATCH, seasons - first) for first in range(0, seasons, BATCH)]
    jobs = [(index, batch) for index in range(len(ways)) for batch in range(len(sizes))]
    done: dict[tuple[int, int], _Part] = {}
    for job, part in _parts(ways, sizes, jobs, processes):
        done[job] = part
        progress(sizes[job[1]])
    return [
        _joined(way.name, [done[index, batch] for batch in range(len(sizes))]) for index, way in enumerate(ways)
    ]


def _parts(
    ways: Sequence[Way], sizes: Sequence[int], jobs: Sequence[tuple[int, int]], processes: int
) -> Iterator[tuple[tuple[int, int], _Part]]:
    if processes == 1:
        for index, batch in jobs:
            yield (index, batch), _part(ways[index], batch, sizes[batch])
        return
    waiting = iter(jobs)
    with ProcessPoolExecutor(processes) as pool:
        running: dict[Future[_Part], tuple[int, int]] = {}
        while True:
            for index, batch in islice(waiting, 2 * processes - len(running)):
                running[pool.submit(_part, ways[index], batch, sizes[batch])] = (index, batch)
            if not running:
                return
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                yield running.pop(future), future.result()


def _joined(name: str, parts: Sequence[_Part]) -> Run:
    return Run(
        name=name,
        measures={key: np.concatenate([part.measures[key] for part in parts]) for key in parts[0].measures},
        value=np.concatenate([part.value for part in parts], axis=1),
        rate=np.concatenate([part.rate for part in parts], axis=1),
    )
