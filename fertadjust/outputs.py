"""Charts and reports of a season folder: what the season holds, handed to those that draw and write."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Literal

from fertadjust.charts import Mark, figure_svg, season_figure
from fertadjust.report import report_html
from fertadjust.stored import Decided

_NO_STEP = 0.005
"""A change of the factor below this counts as a hold."""

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fertadjust.api import Season


def _marks(decisions: list[Decided]) -> list[Mark]:
    return [_mark(item) for item in decisions if item.choice != "leave"]


def _mark(item: Decided) -> Mark:
    """What was decided, by its size: "raise 33 %"; the grower's own rate counts by its direction."""
    step = item.factor / item.standing_factor - 1.0 if item.standing_factor > 0 else item.factor
    if abs(step) < _NO_STEP:
        return Mark(item.on, "hold", "hold")
    kind: Literal["raise", "cut"] = "raise" if step > 0 else "cut"
    return Mark(item.on, f"{kind} {100 * abs(step):.0f} %", kind)


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
        notes=season.file.notes,
    )
