"""The panels of a chart that show weekly rates and the running total of nitrogen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes

from fertadjust import chart_labels as spots
from fertadjust import chart_style as look
from fertadjust.chart_results import name_days
from fertadjust.chart_sheet import Sheet, counted_lb_ac, points_to_come
from fertadjust.chart_style import at, folded
from fertadjust.plan import PlanWeek
from fertadjust.season import BlockSeason
from fertadjust.units import DAYS_PER_WEEK

_SHOWN = 0.05
"""Less than this shows as nothing [lb/ac]."""

_LEFT_FREE_IN = 0.15
"""Room between the label of a line's end and the edge of the paper [in]."""


class _Columns(NamedTuple):
    """Rates by week [the unit system's rate], each where there is one."""

    planned: Mapping[PlanWeek, float]
    applied: Mapping[PlanWeek, float]
    assumed: Mapping[PlanWeek, float]
    decided: Mapping[PlanWeek, float]
    advised: Mapping[PlanWeek, float]

    @classmethod
    def of(cls, sheet: Sheet) -> _Columns:
        weeks, out = sheet.season.plan.weeks, sheet.out
        path, ledger = sheet.season.path(sheet.on), sheet.season.ledger(sheet.on)
        rows = [ledger.week(week, sheet.on) for week in weeks]
        missing = [row for row in rows if not row.logged and row.week.end < sheet.on]
        return cls(
            planned={week: out(week.rate_lb_ac) for week in weeks},
            applied={row.week: out(row.applied_lb_ac) for row in rows if row.logged},
            assumed={row.week: out(row.target_lb_ac) for row in missing},
            decided={week: out(path.rate_lb_ac(week)) for week in weeks if path.change_for(week) is not None},
            advised=_advised(sheet),
        )


def draw_rates(axes: Axes, sheet: Sheet) -> None:
    """Draw planned, applied, decided and newly advised nitrogen of each week [the unit system's rate]."""
    weeks, columns = sheet.season.plan.weeks, _Columns.of(sheet)
    planned, applied, assumed, decided, advised = columns
    tops = {week: max(column.get(week, 0.0) for column in columns) for week in weeks}
    axes.set_ylim(0, 1.45 * max(tops.values(), default=0.0) or 1.0)
    name_days(axes, sheet)
    axes.bar(
        [_middle(week) for week in applied], list(applied.values()), 4.6, facecolor=look.PALE_BLUE,
        edgecolor=look.BLUE, hatch="////", linewidth=1.0, label="applied",
    )  # fmt: skip
    axes.bar(
        [_middle(week) for week in assumed], list(assumed.values()), 4.6, facecolor="none",
        edgecolor=look.BLUE, linestyle=":", linewidth=1.3, label="assumed",
    )  # fmt: skip
    axes.bar(
        [_middle(week) for week in planned], list(planned.values()), 7.0, facecolor="none",
        edgecolor=look.BLACK, linewidth=0.9, label="planned",
    )  # fmt: skip
    _draw_path(axes, weeks, decided, "decided", "-")
    _draw_path(axes, weeks, advised, "advised", (0, (2, 1)))
    _label_rates(axes, sheet, columns, tops)


def _advised(sheet: Sheet) -> dict[PlanWeek, float]:
    """Rates of a proposal that nobody has decided on yet."""
    if not sheet.day.moves():
        return {}
    pairs = zip(sheet.found.weeks, sheet.found.rates_lb_ac, strict=True)
    return {week: sheet.out(rate) for week, rate in pairs}


def _middle(week: PlanWeek) -> float:
    return at(week.start) + (DAYS_PER_WEEK - 1) / 2


def _draw_path(
    axes: Axes, weeks: Sequence[PlanWeek], rates: Mapping[PlanWeek, float], label: str, style: look.LineStyle
) -> None:
    if not rates:
        return
    x = [edge for week in weeks for edge in (at(week.start) - 0.5, at(week.end) + 0.5)]
    y = [rates.get(week, np.nan) for week in weeks for _ in range(2)]
    axes.plot(
        x, y, color=look.VERMILLION, linewidth=3.2, linestyle=style, solid_capstyle="butt", dash_capstyle="butt",
        label=label, zorder=4,
    )  # fmt: skip


def _label_rates(axes: Axes, sheet: Sheet, columns: _Columns, tops: Mapping[PlanWeek, float]) -> None:
    planned, applied, assumed, decided, advised = columns
    labels = [(week, 0.0, "0") for week, rate in applied.items() if rate == 0]
    last = [(week, rate, f"decided {rate:.2f}") for week, rate in list(decided.items())[-1:]]
    last += [(week, rate, f"advised {rate:.2f}") for week, rate in list(advised.items())[-1:]]
    if not sheet.paper.small:
        labels += [(week, rate, "applied") for week, rate in list(applied.items())[:1]]
        labels += [(week, rate, "not logged") for week, rate in list(assumed.items())[:1]]
        labels += last
    for week, rate, text in labels:
        near = [top for other, top in tops.items() if abs(other.number - week.number) <= 1]
        above = spots.over(axes, 0.0 if text == "0" else max(near) - rate)
        sheet.labels.beside(axes, _middle(week), rate, text, above, leader=text != "0")
    ends = last if sheet.paper.small else []
    for week, rate in [item for item in planned.items() if item[1] > 0][-1:]:
        text = f"planned {rate:.2f}"
        if week == sheet.season.plan.weeks[-1]:
            ends = [(week, rate, text), *ends]
        else:
            sheet.labels.beside(axes, at(week.end) + 0.5, rate, text, spots.AFTER)
    name_ends(axes, sheet, [(at(week.end) + 0.5, rate, text) for week, rate, text in ends])


def rates_key(sheet: Sheet) -> str:
    """What the bars and lines of the rates stand for, as far as they are drawn."""
    planned, applied, assumed, decided, advised = _Columns.of(sheet)
    words = (
        (planned, "outline planned"),
        (applied, "hatched applied"),
        (assumed, "dotted not logged"),
        (decided, "thick line decided"),
        (advised, "thick dashes advised"),
    )
    return ", ".join(text for column, text in words if column)


def name_ends(axes: Axes, sheet: Sheet, ends: Sequence[tuple[float, float, str]]) -> None:
    """Name the ends of lines in the right margin, in as many lines as the paper asks for."""
    room = sheet.paper.right_in - _LEFT_FREE_IN
    sheet.labels.line_ends(axes, [(x, y, folded(text, room)) for x, y, text in ends])


def draw_totals(axes: Axes, sheet: Sheet) -> None:
    """Draw the running total of nitrogen with credits [the unit system's total]."""
    plan, out = sheet.season.plan, sheet.out
    start, credited = at(sheet.span.start), out(plan.credits_lb_ac)
    alone = [credited, *(credited + out(total) for total in np.cumsum(plan.rates_lb_ac))]
    days, so_far = _so_far(sheet)
    coming, expected = _to_come(sheet)
    cap = None if plan.cap_lb_ac is None else out(plan.cap_lb_ac)
    axes.set_ylim(0, 1.18 * max(*alone, *so_far, *expected, cap or 0.0, 1.0))
    name_days(axes, sheet)
    if credited > 0:
        axes.fill_between([start, at(sheet.span.end)], credited, color=look.PALE_GREY, linewidth=0)
        axes.axhline(credited, color=look.BLACK, linewidth=0.7, label="credits")
    edges = [at(plan.start), *(at(week.end) for week in plan.weeks)]
    axes.plot(edges, alone, color=look.BLACK, linestyle=":", linewidth=1.3, label="plan alone")
    axes.plot(days, so_far, color=look.BLUE, linewidth=2.4, drawstyle="steps-post", label="applied")
    axes.plot(coming, expected, color=look.VERMILLION, linewidth=2.0, linestyle=(0, (4, 2)), label="to come")
    for x, y in ((edges, alone), (days, so_far), (coming, expected)):
        sheet.labels.keep_clear_line(axes, x, y)
    ends = [(alone[-1], f"plan alone {alone[-1]:.1f}")]
    ends += [(expected[-1], f"{how_far(sheet.season, sheet.on)} {expected[-1]:.1f}")] if len(expected) > 1 else []
    ends += [(credited, f"credits {credited:.1f}")] if credited > 0 else []
    if cap is not None:
        axes.axhline(cap, color=look.BLACK, linewidth=1.6, label="season cap")
        sheet.labels.keep_clear_line(axes, [start, at(sheet.span.end)], [cap, cap])
        ends += [(cap, f"season cap {cap:.1f}")] if sheet.paper.small else []
    name_ends(axes, sheet, [(at(plan.end), y, text) for y, text in ends])
    if not sheet.paper.small:
        _label_totals(axes, sheet, days, so_far)


def _so_far(sheet: Sheet) -> tuple[list[float], list[float]]:
    """Days of the axis up to the day of advice, and credits with all that went out by then."""
    ledger, credits_lb_ac = sheet.season.ledger(sheet.on), sheet.season.plan.credits_lb_ac
    days = [day for day in sheet.span.days if day <= sheet.on]
    totals = [sheet.out(credits_lb_ac + sum(ledger.spent_lb_ac(day))) for day in days]
    return [at(day) for day in days], totals


def _to_come(sheet: Sheet) -> tuple[list[float], list[float]]:
    """Days from the day of advice on, and the running total at the rates decided so far."""
    points = points_to_come(sheet.season, sheet.facts)
    return [at(point.on) for point in points], [sheet.out(point.total_lb_ac) for point in points]


def _label_totals(axes: Axes, sheet: Sheet, days: Sequence[float], so_far: Sequence[float]) -> None:
    if days:
        sheet.labels.beside(axes, days[-1], so_far[-1], _counted(sheet), spots.UNDER)
    cap = sheet.season.plan.cap_lb_ac
    if cap is not None:
        text = f"season cap {sheet.out(cap):.1f} {sheet.units.total_unit}: {_left(sheet)}"
        sheet.labels.beside(axes, at(sheet.span.start), sheet.out(cap), text, spots.ABOVE)


def so_far_words(sheet: Sheet) -> str:
    """What is spent and what is left: "so far 72.2, 5.3 more this week, 52.5 left under the season cap"."""
    if sheet.season.plan.cap_lb_ac is None:
        return _counted(sheet)
    under = " under the season cap" if _left_lb_ac(sheet) > 0 else ""
    return f"{_counted(sheet)}, {_left(sheet)}{under}"


def _counted(sheet: Sheet) -> str:
    facts, out = sheet.facts, sheet.out
    assumed = f" ({out(facts.assumed_lb_ac):.1f} not logged, assumed)" if facts.assumed_lb_ac > 0 else ""
    more = f", {out(facts.rest_of_week_lb_ac):.1f} more this week" if facts.rest_of_week_lb_ac > _SHOWN else ""
    return f"so far {out(counted_lb_ac(sheet.season, sheet.on)):.1f}{assumed}{more}"


def _left_lb_ac(sheet: Sheet) -> float:
    """What the cap leaves after all that is counted and what the running week still takes [lb/ac]."""
    cap = sheet.season.plan.cap_lb_ac or 0.0
    return cap - counted_lb_ac(sheet.season, sheet.on) - sheet.facts.rest_of_week_lb_ac


def _left(sheet: Sheet) -> str:
    left = _left_lb_ac(sheet)
    if abs(left) < _SHOWN:
        return "nothing left"
    return f"{sheet.out(left):.1f} left" if left > 0 else f"passed by {sheet.out(-left):.1f}"


def how_far(season: BlockSeason, on: date) -> str:
    """Whether the coming weeks run as decided or as planned."""
    path = season.path(on)
    decided = any(path.change_for(week) is not None for week in season.plan.coming_weeks(on))
    return "as decided" if decided else "as planned"
