"""A sample season, built in a new folder and replayed day by day as a grower would have lived it."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from fertadjust.api import Season, open_season
from fertadjust.errors import Fault, UserError
from fertadjust.files import write_bytes
from fertadjust.record import Kind
from fertadjust.records import RECORDS_FILE
from fertadjust.season_file import SEASON_FILE
from fertadjust.shipped import folder as shipped_folder

Row = dict[str, str]


@dataclass(frozen=True)
class Step:
    """A decision of the replay, as it was made."""

    on: date
    block: str
    record: int


SAMPLES = ("strawberry", "watermelon")
"""The sample seasons that ship, by folder."""


def build(folder: Path, sample: str = SAMPLES[0]) -> Season:
    """Copy a sample season's plan into a new folder.

    Raises:
        UserError: a season stands there already, or the folder cannot be written to.
    """
    for name in (SEASON_FILE, RECORDS_FILE):
        if (folder / name).exists():
            message = "stands already; choose another folder for the sample season"
            raise UserError(Fault(message, str(folder / name)))
    path = folder / SEASON_FILE
    write_bytes(path, (shipped_folder("sample_data") / sample / SEASON_FILE).read_bytes())
    return open_season(folder)


def replay(season: Season, sample: str = SAMPLES[0]) -> Iterator[Step]:
    """Live a sample season: results as they arrive, corrections, observations, applications, decisions.

    Each day's advice is made from what was known that day. Yields each decision as it is made.
    """
    files = {
        name: _rows(sample, name)
        for name in ("results", "corrections", "observations", "applications", "decisions")
    }
    days = {row["received"] for row in files["results"]}
    days |= {row["on"] for name, rows in files.items() if name != "results" for row in rows}
    first, last = (date.fromisoformat(day) for day in (min(days), max(days)))
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)

        def of(name: str, key: str = "on", day: date = day) -> list[Row]:
            return [row for row in files[name] if row[key] == day.isoformat()]

        season.add_results(of("results", "received"), by="grower", confirm=True, today=day)
        for row in of("corrections"):
            _correct(season, row, day)
        for row in of("observations"):
            value = _number(row["value"])
            season.observe(row["block"], day, row["kind"], value=value, note=row["note"], by="grower", today=day)
        for row in of("applications"):
            n = float(row["n"])
            season.log_application(row["block"], day, n=n, note=row["note"], by="grower", today=day)
        for row in of("decisions"):
            choice: Any = row["choice"]
            rate = _number(row["rate"])
            reason, by = row["reason"], row["by"]
            number = season.decide(row["block"], choice, day, rate=rate, reason=reason, by=by, today=day)
            yield Step(day, row["block"], number)


def write_pages(season: Season, folder: Path, on: dict[str, date], told: Callable[[Path], None]) -> None:
    """Write the chart (PNG and SVG) and the report of each block on a day, and the pages of the whole farm.

    The summary is of the first of those days, all blocks' chart and the season review of the day after the plan.

    Args:
        season: the season.
        folder: folder to write to.
        on: block key -> day.
        told: called with each file as it is written.
    """
    from fertadjust.charts import save_figure
    from fertadjust.files import write_text

    for block, day in on.items():
        figure = season.chart(block, day)
        for ending in ("png", "svg"):
            path = folder / f"{block}-chart.{ending}"
            save_figure(figure, path)
            told(path)
        path = folder / f"{block}-report.html"
        write_text(path, season.report(block, day))
        told(path)
    for path in _write_farm_pages(season, folder, min(on.values())):
        told(path)


def _write_farm_pages(season: Season, folder: Path, on: date) -> Iterator[Path]:
    from fertadjust.charts import save_figure
    from fertadjust.files import write_text
    from fertadjust.season_book import PROGRAM
    from fertadjust.summary import summary_of
    from fertadjust.summary_page import drawn_summary

    over = max(block.plan.end for block in season.file.blocks.values()) + timedelta(days=1)
    path = folder / "all-blocks.png"
    save_figure(season.blocks_chart(over), path)
    yield path
    path = folder / "summary.html"
    write_text(path, drawn_summary(summary_of([(str(season.file.folder), season)], on), program=PROGRAM))
    yield path
    path = folder / "review.html"
    write_text(path, season.review_page(None, over))
    yield path


def _rows(sample: str, name: str) -> list[Row]:
    with (shipped_folder("sample_data") / sample / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _number(text: str) -> float | None:
    return float(text) if text else None


def _correct(season: Season, row: Row, day: date) -> None:
    record = next(
        item.number
        for item in season.records.current(Kind.RESULT)
        if item.content is not None and (item.block, item.content["sample_id"]) == (row["block"], row["sample_id"])
    )
    if row["action"] == "void":
        season.void(record, row["reason"], by="grower")
    else:
        season.correct_result(record, {"value": row["value"]}, row["reason"], by="grower", confirm=True, today=day)
