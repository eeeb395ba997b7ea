"""The pages that are looked at in a browser. Another page is one more entry of `PAGES`."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from fertadjust.across import verdicts
from fertadjust.across_page import drawn_across
from fertadjust.api import Season, open_season
from fertadjust.demo import build, replay
from fertadjust.outputs import mix_sheet_page
from fertadjust.season_file import SEASON_FILE
from fertadjust.shipped import folder, shipped_tables
from fertadjust.summary import FolderFault, summary_of
from fertadjust.summary_page import drawn_summary

OVER = date(2026, 5, 25)
"""The day after the sample season's plan has ended."""

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}",
    "]]>",
    "&amp;",
    "חלקה צפונית مزرعة الوادي",
    "x" * 300,
)
"""What somebody could write in a name or a note; all invented."""
HOSTILE_TEXT = " ".join(HOSTILE)


@dataclass(frozen=True)
class Case:
    """A page to look at.

    Attributes:
        make: the page's HTML; gets the sample season as it was lived and an empty folder.
        printed: fewest and most printed pages, for Letter and A4 alike. The most is less than twice the fewest,
            so that a page that doubles is noticed.
        signed: whether it has a section to sign in.
    """

    make: Callable[[Season, Path], str]
    printed: tuple[int, int]
    signed: bool = True


def report(block: str, on: date) -> Callable[[Season, Path], str]:
    """The advisor's report of a block of the sample season."""
    return lambda season, _: season.report(block, on)


def mix_sheet(block: str, week: int, on: date) -> Callable[[Season, Path], str]:
    """A mix sheet of a block of the sample season."""
    return lambda season, _: mix_sheet_page(season, season.mix_sheet(block, week, on), on)


def edited(where: Path, *replaced: tuple[str, str]) -> Season:
    """The sample season's plan with some text replaced, without records."""
    shutil.copy(folder("sample_data") / "strawberry" / SEASON_FILE, where)
    path = where / SEASON_FILE
    text = path.read_text(encoding="utf-8")
    for old, new in replaced:
        assert old in text, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return open_season(where)


def metric(_: Season, where: Path) -> str:
    """A report of a farm that weighs in kilograms; the plan's figures are then kg/ha, and low ones."""
    season = edited(
        where,
        ('units = "us"', 'units = "metric"'),
        ("water_temperature = 55", "water_temperature = 12"),
        ("tank = 50", "tank = 1000"),
        ("pump_rate = 20", "pump_rate = 400"),
    )
    day = date(2026, 3, 21)
    season.add_result(block="creek", sampled=date(2026, 3, 18), value=2300, by="grower", confirm=True, today=day)
    return season.report("creek", day)


def hostile_season(where: Path) -> Season:
    """A season where everything that can be worded freely holds `HOSTILE_TEXT`."""
    name = json.dumps(HOSTILE_TEXT, ensure_ascii=False)
    replaced = [(f'name = "{old}"', f"name = {name}") for old in ("Larkrise Farm (invented)", "Creek side")]
    product = [('name = "Epsom salt"', f"name = {name}"), ('"Epsom salt" =', f"{name} =")]
    season = edited(where, *replaced, *product, ('soil = "loamy sand"', f"soil = {name}"))
    day = date(2026, 3, 21)
    sample = {"sampled": date(2026, 3, 18), "value": 2300, "laboratory": HOSTILE_TEXT, "note": HOSTILE_TEXT}
    season.add_result(block="creek", by=HOSTILE_TEXT, confirm=True, today=day, **sample)
    season.observe("creek", date(2026, 3, 17), "other", note=HOSTILE_TEXT, by=HOSTILE_TEXT, today=day)
    season.decide("creek", "leave", day, reason=HOSTILE_TEXT, by=HOSTILE_TEXT, today=day)
    return season


def summary(seasons: Sequence[tuple[str, Season]], on: date) -> str:
    """The page of what every block of some seasons needs."""
    found = summary_of(seasons, on, [FolderFault("nowhere", HOSTILE_TEXT)])
    return drawn_summary(found, program="fertadjust")


def many(season: Season, _: Path) -> str:
    """The summary of twelve farms; a part of the chart for every twelve blocks."""
    return summary([(f"grower {number}", season) for number in range(12)], date(2026, 4, 18))


def across(season: Season, _: Path) -> str:
    """The latest petiole of a block of the sample season beside every table of its kind."""
    one = season.block("creek", date(2026, 3, 21))
    result = [item for item in one.results if item.analyte == "NO3-N"][-1]
    tables = [table for table in shipped_tables().values() if "strawberry" in table.crops]
    return drawn_across(
        verdicts(tables, result, one.stages, one.policy),
        one.stages,
        crop=season.file.crop,
        farm=season.file.farm,
        block=one.block.name,
        program="fertadjust",
    )


def melons(where: Path) -> Season:
    """The second sample season as it was lived."""
    season = build(where / "melons", "watermelon")
    list(replay(season, "watermelon"))
    return open_season(where / "melons")


def hostile_report(_: Season, where: Path) -> str:
    return hostile_season(where).report("creek", date(2026, 3, 21))


def hostile_mix_sheet(_: Season, where: Path) -> str:
    season, day = hostile_season(where), date(2026, 3, 21)
    return mix_sheet_page(season, season.mix_sheet("creek", 5, day), day)


PAGES = {
    "report creek": Case(report("creek", date(2026, 3, 21)), (8, 13)),
    "report hill": Case(report("hill", date(2026, 3, 14)), (8, 13)),
    "report lane": Case(report("lane", date(2026, 4, 3)), (8, 13)),
    "report hill late": Case(report("hill", date(2026, 5, 20)), (8, 13)),
    "report metric": Case(metric, (8, 13)),
    "report melons": Case(lambda _, where: melons(where).report("pond", date(2026, 5, 6)), (8, 13)),
    "across": Case(across, (4, 6), signed=False),
    "mix sheet": Case(mix_sheet("hill", 5, date(2026, 4, 1)), (1, 1)),
    "review of a block": Case(lambda season, _: season.review_page("hill", OVER), (5, 8), signed=False),
    "review of the farm": Case(lambda season, _: season.review_page(None, OVER), (8, 14), signed=False),
    "summary": Case(lambda season, _: summary([("lived", season)], date(2026, 3, 21)), (2, 3), signed=False),
    "summary of many": Case(many, (6, 11), signed=False),
}
"""Name -> page of the invented sample season; what the pages measure on paper is the project's own."""

HOSTILE_PAGES = {
    "report": hostile_report,
    "mix sheet": hostile_mix_sheet,
    "across": lambda _, where: across(hostile_season(where), where),
    "review of a block": lambda _, where: hostile_season(where).review_page("creek", date(2026, 3, 21)),
    "review of the farm": lambda _, where: hostile_season(where).review_page(None, date(2026, 3, 21)),
    "summary": lambda _, where: summary([(HOSTILE_TEXT, hostile_season(where))], date(2026, 3, 21)),
}
