"""Rows a second and peak memory of importing a long laboratory report, beside a bare ``pandas.read_csv`` of it.

Run it with ``python -m tests.benchmark_import``. Each part runs in a process of its own, so that its peak memory
is its own. The report is made up: a row a value, 100,000 rows.
"""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROWS = 100_000
SEASON = Path(__file__).parent.parent / "sample_data" / "strawberry" / "season.toml"


def made_up(path: Path) -> None:
    """A report of petiole nitrate, each sample with a number of its own."""
    blocks = ("creek", "hill", "lane")
    with path.open("w", encoding="utf-8") as file:
        file.write("Sample ID,Field,Date sampled,Date received,Plant part,Analyte,Result,Unit\n")
        for row in range(ROWS):
            day = f"2026-{3 + row % 3:02d}-{1 + row % 28:02d}"
            value = 900 + row % 4000
            file.write(f"S{row},{blocks[row % 3]},{day},2026-06-01,petiole,NO3-N,{value},ppm\n")


def part(name: str, path: Path) -> None:
    """Run one part and print its seconds and peak memory [MB]."""
    data = path.read_bytes()
    start = time.perf_counter()
    if name == "pandas":
        import pandas as pd

        start = time.perf_counter()
        assert len(pd.read_csv(path)) == ROWS
    else:
        from datetime import date

        from fertadjust.api import open_season
        from fertadjust.known_results import Allowed
        from fertadjust.lab.report import read_report

        season = open_season(path.parent)
        start = time.perf_counter()
        report = read_report(data, path.name, sap_or_dry="dry")
        assert len(report.rows) == ROWS, (report.questions, report.faults[:3])
        if name != "read":
            found = season.hold(report, path.name, {}, Allowed(unusual=True), date(2026, 6, 2))
            assert not found.left_out, found.left_out[:3]
            if name == "take":
                assert len(season.take(found, path.name, by="benchmark")) == ROWS
    seconds = time.perf_counter() - start
    print(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "report.csv"
        made_up(path)
        shutil.copy(SEASON, place)
        print(f"{ROWS:,} rows, {path.stat().st_size / 1e6:.1f} MB")
        base = None
        for name, words in {
            "pandas": "pandas.read_csv",
            "read": "read_report",
            "hold": "read and held against the season",
            "take": "read, held and written",
        }.items():
            command = [sys.executable, "-m", "tests.benchmark_import", name, str(path)]
            seconds, memory = map(float, subprocess.check_output(command, text=True).split())
            base = base or (seconds, memory)
            print(
                f"{words:34} {ROWS / seconds:10,.0f} rows/s ({seconds / base[0]:6.1f} x the time), "
                f"{memory:6.0f} MB ({memory / base[1]:.1f} x)"
            )


if __name__ == "__main__":
    if len(sys.argv) == 3:
        part(sys.argv[1], Path(sys.argv[2]))
    else:
        main()
