"""How fast the rule engine is, beside a bare validation of the same facts in the same run.

Run it with ``python -m tests.benchmark_engine``. It prints rates and their ratio and asserts no time.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import NamedTuple

from pydantic import TypeAdapter

from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Facts
from fertadjust.season import BlockSeason
from fertadjust.tissue import Tissue
from tests.support import day_in, plan, result, season

ON = day_in(6, 5)


class Measured(NamedTuple):
    """Evaluations and validations per second, and how many validations one evaluation takes."""

    evaluations: float
    validations: float

    @property
    def ratio(self) -> float:
        return self.validations / self.evaluations


def sample_season() -> BlockSeason:
    """Four falling petiole results and a leaf report, under bounds and a cap."""
    petioles = [
        result(value, week, record=week)
        for week, value in zip((3, 4, 5, 6), (4600, 4100, 3300, 2400), strict=True)
    ]
    leaves = [
        result(value, 6, record=20 + index, tissue=Tissue.LEAF, analyte=analyte)
        for index, (analyte, value) in enumerate((("N", 2.5), ("K", 1.3), ("Mg", 0.3), ("S", 0.14)))
    ]
    return season(*petioles, *leaves, the_plan=plan(cap=60.0))


def per_second(call: Callable[[], object], count: int) -> float:
    """Calls per second over a count of calls, the best of three rounds."""
    best = float("inf")
    for _ in range(3):
        begun = time.perf_counter()
        for _ in range(count):
            call()
        best = min(best, time.perf_counter() - begun)
    return count / best


def measure(count: int) -> Measured:
    """Time evaluations with their trace, and bare validations of the same facts as plain data."""
    block_season = sample_season()
    facts, policy = block_season.facts(ON), block_season.policy
    adapter = TypeAdapter(Facts)
    plain = adapter.dump_python(facts, mode="json")
    assert adapter.validate_python(plain) == facts
    return Measured(
        evaluations=per_second(lambda: evaluate(facts, policy), count),
        validations=per_second(lambda: adapter.validate_python(plain), count),
    )


def main(count: int = 5000) -> None:
    """Print both rates and their ratio."""
    found = measure(count)
    print(f"evaluations with trace  {found.evaluations:>10,.0f} a second")
    print(f"bare validations        {found.validations:>10,.0f} a second")
    print(f"one evaluation takes as long as {found.ratio:.1f} validations of its facts")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:2]))
