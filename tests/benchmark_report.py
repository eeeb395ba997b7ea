"""Time of a one-block report beside what matplotlib alone needs for bare figures of the same size.

Run it with ``python -m tests.benchmark_report``. Both are timed in this process, in turn, after one run of each
that does not count. The bare figures have as many empty panels as the report's two charts (page and phone) and are
written as SVG like them; nothing is drawn into them. Prints medians in seconds and the ratio.
"""

from __future__ import annotations

import io
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

from matplotlib.figure import Figure

from fertadjust import demo, outputs
from fertadjust.api import Season
from fertadjust.chart_style import PAGE, PHONE, Paper

ROUNDS = 7
BLOCK, ON = "hill", date(2026, 4, 30)


def bare(paper: Paper) -> str:
    """A figure with four empty panels as SVG."""
    figure = Figure(figsize=(paper.width_in, paper.height_in), dpi=100)
    for row in range(4):
        figure.add_axes((0.1, 0.05 + 0.24 * row, 0.7, 0.2))
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg")
    return buffer.getvalue()


def bare_figures() -> None:
    bare(PAGE)
    bare(PHONE)


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        season = demo.build(Path(folder))
        for _ in demo.replay(season):
            pass
        tasks = parts(season)
        took: dict[str, list[float]] = {name: [] for name in tasks}
        for number in range(ROUNDS + 1):
            for name, work in tasks.items():
                spent = seconds(work)
                if number:
                    took[name].append(spent)
    medians = {name: statistics.median(times) for name, times in took.items()}
    for name, value in medians.items():
        print(f"{name:<22} {value:7.3f} s  {value / medians['bare figures']:5.2f} x the bare figures")


def parts(season: Season) -> dict[str, Callable[[], object]]:
    """What is timed: the bare figures first, then the report, and its charts and advice by themselves."""
    return {
        "bare figures": bare_figures,
        "report": lambda: season.report(BLOCK, ON),
        "its two charts": lambda: [outputs.chart(season, BLOCK, ON, paper) for paper in (PAGE, PHONE)],
        "its advice": lambda: season.advice(BLOCK, ON),
    }


if __name__ == "__main__":
    main()
