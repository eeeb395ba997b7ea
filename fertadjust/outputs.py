"""Charts and reports of a season folder: what the season holds, handed to those that draw and write."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fertadjust.charts import Mark, figure_svg, season_figure
from fertadjust.report import report_html
from fertadjust.stored import Decided

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fertadjust.api import Season


def _marks(decisions: list[Decided]) -> list[Mark]:
    return [Mark(item.on, _words(item), item.action) for item in decisions if item.choice != "leave"]


def _words(item: Decided) -> str:
    return item.action if item.choice == "accept" else "own rate"


def chart(season: Season, block: str, on: date) -> Figure:
    """The season trend chart of a block."""
    decisions = [item for item in season.decisions(block) if item.on <= on]
    return season_figure(season.block(block), on, season.units, _marks(decisions))


def report(season: Season, block: str, on: date) -> str:
    """The advisor's report of a block."""
    from fertadjust.api import PROGRAM

    one = season.block(block)
    return report_html(
        one,
        one.advice(on),
        farm=season.file.farm,
        units=season.units,
        decisions=[item for item in season.decisions(block) if item.on <= on],
        chart_svg=figure_svg(chart(season, block, on)),
        program=PROGRAM,
    )
