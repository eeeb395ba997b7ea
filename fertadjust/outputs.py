"""Charts and reports of a season folder: what the season holds, handed to those that draw and write."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Literal

from fertadjust.charts import Mark, figure_svg, season_figure
from fertadjust.report import report_html
from fertadjust.stored import Decided

_SAME_LB_AC = 1e-6

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fertadjust.api import Season


def _marks(decisions: list[Decided]) -> list[Mark]:
    return [_mark(item) for item in decisions if item.choice != "leave"]


def _mark(item: Decided) -> Mark:
    """What was decided, by the first week that it moves: "raise 33 %"."""
    for week, rate in item.rates_lb_ac.items():
        before = item.standing_lb_ac.get(week, rate)
        if abs(rate - before) > _SAME_LB_AC:
            kind: Literal["raise", "cut"] = "raise" if rate > before else "cut"
            size = f" {100 * abs(rate / before - 1):.0f} %" if before > 0 else ""
            return Mark(item.on, kind + size, kind)
    return Mark(item.on, "hold", "hold")


def chart(season: Season, block: str, on: date) -> Figure:
    """The season trend chart of a block."""
    return season_figure(season.block(block, on), on, season.units, _marks(season.decisions(block, on)))


def report(season: Season, block: str, on: date) -> str:
    """The advisor's report of a block."""
    from fertadjust.api import PROGRAM

    one = season.block(block, on)
    return report_html(
        one,
        one.advice(on),
        farm=season.file.farm,
        units=season.units,
        decisions=season.decisions(block, on),
        chart_svg=figure_svg(chart(season, block, on)),
        program=PROGRAM,
        notes=season.file.notes,
    )
