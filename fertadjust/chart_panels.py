"""The panels of a season chart: results beside their band, weekly rates, and the running total."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from fertadjust import chart_parts as parts
from fertadjust.chart_parts import LineStyle, at
from fertadjust.chart_sheet import SIDES, Kind, Sheet, kinds_shown, named_days, points_to_come
from fertadjust.compare import Side, compare
from fertadjust.errors import OutOfSeason
from fertadjust.plan import PlanWeek
from fertadjust.rules.bound_rules import room_lb_ac
from fertadjust.rules.evidence_rules import budget
from fertadjust.rules.facts import Reading
from fertadjust.tissue import Censor, TissueResult, format_value
from fertadjust.uncertainty import combined, log_sd
from fertadjust.units import DAYS_PER_WEEK

_LOG_FROM: Final = 5.0
"""Ratio of the highest to the lowest edge of a band from which the axis is logarithmic."""

_FAR_OFF: Final = 3.0
"""Factor beyond all edges and values from which a bound is not drawn to scale on a logarithmic axis."""

_Z_95: Final = 1.96
_MARKERS: Final = {
    Side.BELOW: ("v", parts.VERMILLION), Side.WITHIN: ("o", parts.GREEN), Side.ABOVE: ("^", parts.PURPLE),
}  # fmt: skip


def _name_days(axes: Axes, sheet: Sheet) -> None:
    for word, day, style in named_days(sheet):
        axes.axvline(at(day), color=parts.BLACK, linewidth=1.0, linestyle=style, label=word)
        sheet.labels.keep_clear_upright(axes, at(day))


def _mark_decisions(axes: Axes, sheet: Sheet) -> None:
    for mark in sheet.marks:
        axes.axvline(at(mark.on), 0.94, 1.0, color=parts.BLACK, linewidth=1.0, label="decision")
        sheet.labels.keep_clear_upright(axes, at(mark.on), 0.94)


# --- results beside the band ------------------------------------------------------------------------------


def _edges(sheet: Sheet, kind: Kind) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Low and high edge of a kind's band on each day of the axis [stored unit]; NaN where there is none."""
    table = sheet.season.table_for(kind.tissue, kind.basis, kind.analyte)
    low, high = [], []
    for day in sheet.span.days:
        try:
            band = None if table is None else table.band_on(kind.analyte, day, sheet.season.stages)
        except OutOfSeason:
            band = None
        low.append(np.nan if band is None or band.low is None else band.low)
        high.append(np.nan if band is None or band.high is None else band.high)
    return np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)


def _interval(sheet: Sheet, reading: Reading) -> tuple[float, float]:
    """95 % interval of an uncensored reading [stored unit], lognormal."""
    relative = combined(part.relative for part in budget(reading, sheet.season.policy))
    reach = float(np.exp(_Z_95 * log_sd(relative)))
    return reading.value / reach, reading.value * reach


class _Held(NamedTuple):
    """Heights between which bounds are drawn [stored unit]; a bound far off stands there with its own label."""

    low: float
    high: float

    @classmethod
    def of(cls, firm: Sequence[float], log: bool) -> _Held:
        if not (firm and log):
            return cls(0.0, np.inf)
        return cls(min(firm) / _FAR_OFF, max(firm) * _FAR_OFF)

    def __call__(self, value: float, censor: Censor) -> float:
        return value if censor is Censor.NONE else min(max(value, self.low), self.high)


def draw_results(axes: Axes, sheet: Sheet, kind: Kind) -> None:
    """Draw the results of one kind beside its band [stored unit]."""
    low, high = _edges(sheet, kind)
    readings = [item for item in sheet.readings if (item.tissue, item.basis) == kind]
    unused = [item for item in sheet.unused if (item.tissue, item.basis) == kind]
    edges = [float(edge) for edge in (*low, *high) if np.isfinite(edge)]
    log = bool(edges) and max(edges) / min(edges) > _LOG_FROM
    firm = edges + [item.value for item in unused if item.censor is Censor.NONE]
    firm += [end for item in readings if item.censor is Censor.NONE for end in _interval(sheet, item)]
    held = _Held.of(firm, log)
    drawn: list[Reading | TissueResult] = [*readings, *unused]
    bounds = [held(item.value, item.censor) for item in drawn if item.censor is not Censor.NONE]
    parts.value_axis(axes, [*firm, *bounds], kind.unit, log)
    _name_days(axes, sheet)
    if kind == kinds_shown(sheet)[0]:
        _mark_decisions(axes, sheet)
    _draw_band(axes, sheet, low, high)
    for result in unused:
        _draw_unused(axes, sheet, result, held)
    for reading in readings:
        _draw_reading(axes, sheet, reading, held)
    for item in drawn:
        sheet.labels.beside(axes, at(item.sampled), held(item.value, item.censor), _value_words(item))


def _value_words(item: Reading | TissueResult) -> str:
    text = f"{item.censor.value}{format_value(item.value, item.unit)}"
    if isinstance(item, TissueResult):
        return f"{text}\nnot used"
    return f"{text} (mean of {item.count})" if item.count > 1 else text


def _draw_band(axes: Axes, sheet: Sheet, low: NDArray[np.float64], high: NDArray[np.float64]) -> None:
    """The band as steps at midnight, so that a day's result stands on its own day's band."""
    days = np.array([at(day) for day in sheet.span.days])
    x = np.column_stack([days - 0.5, days + 0.5]).ravel()
    lower, upper = np.repeat(low, 2), np.repeat(high, 2)
    bottom, top = axes.get_ylim()
    known = np.isfinite(lower) | np.isfinite(upper)
    floor, roof = np.where(np.isnan(lower), bottom, lower), np.where(np.isnan(upper), top, upper)
    axes.fill_between(x, floor, roof, where=known.tolist(), color=parts.PALE_GREEN, linewidth=0, label="band")
    styles: tuple[LineStyle, LineStyle] = ("-", parts.DASHED)
    for name, edge, style in zip(("low edge", "high edge"), (lower, upper), styles, strict=True):
        axes.plot(x, edge, color=parts.BLACK, linewidth=1.4, linestyle=style, label=name)
        there = np.flatnonzero(np.isfinite(edge))
        if there.size:
            sheet.labels.keep_clear_line(axes, x.tolist(), edge.tolist())
            sheet.labels.beside(axes, float(x[there[-1]]), float(edge[there[-1]]), name, parts.AFTER)
    if not known.any():
        axes.text(0.5, 0.92, "no band of this kind on these days", transform=axes.transAxes, ha="center")


def _draw_unused(axes: Axes, sheet: Sheet, result: TissueResult, held: _Held) -> None:
    x, y = at(result.sampled), held(result.value, result.censor)
    sheet.labels.keep_clear(axes, [x], [y], 6.0)
    axes.plot(
        x, y, linestyle="none", marker="X", markersize=8.5, markerfacecolor="white", markeredgecolor=parts.BLACK,
        label="not used", zorder=4,
    )  # fmt: skip


def _draw_reading(axes: Axes, sheet: Sheet, reading: Reading, held: _Held) -> None:
    x, y = at(reading.sampled), held(reading.value, reading.censor)
    sheet.labels.keep_clear(axes, [x], [y], 6.0)
    side = compare(reading.value, reading.censor, 1.0, reading.band, 1.0).side
    if reading.censor is not Censor.NONE or side is None:
        sign = -1 if reading.censor is Censor.BELOW else 1
        marker = "_" if y == reading.value else "none"
        axes.plot(x, y, linestyle="none", marker=marker, markersize=13, color=parts.BLACK, label="bound", zorder=5)
        arrow = {"arrowstyle": "<|-", "color": parts.BLACK, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (x, y), (0, 17 * sign), textcoords="offset points", arrowprops=arrow, zorder=5)
        return
    low, high = _interval(sheet, reading)
    axes.errorbar(
        x, y, [[y - low], [high - y]], fmt="none", ecolor=parts.BLACK, elinewidth=1.1, capsize=3, zorder=5
    )  # fmt: skip
    sheet.labels.keep_clear(axes, [x] * 9, np.geomspace(low, high, 9).tolist(), 3.0)
    marker, colour = _MARKERS[side]
    axes.plot(
        x, y, linestyle="none", marker=marker, markersize=8.5, color=colour, markeredgecolor=parts.BLACK,
        label=SIDES[side], zorder=5,
    )  # fmt: skip


# --- rates and totals -------------------------------------------------------------------------------------


def draw_rates(axes: Axes, sheet: Sheet) -> None:
    """Draw planned, applied and decided nitrogen of each week [the unit system's rate]."""
    weeks = sheet.season.plan.weeks
    path, ledger = sheet.season.path(sheet.on), sheet.season.ledger(sheet.on)
    rows = [ledger.week(week, sheet.on) for week in weeks]
    planned = {week: sheet.out(week.rate_lb_ac) for week in weeks}
    applied = {row.week: sheet.out(row.applied_lb_ac) for row in rows if row.logged}
    assumed = {row.week: sheet.out(row.target_lb_ac) for row in rows if not row.logged and row.week.end < sheet.on}
    decided = {week: sheet.out(path.rate_lb_ac(week)) for week in weeks if path.change_for(week) is not None}
    columns = (planned, applied, assumed, decided)
    tops = {week: max(column.get(week, 0.0) for column in columns) for week in weeks}
    axes.set_ylim(0, 1.45 * max(tops.values(), default=0.0) or 1.0)
    _name_days(axes, sheet)
    axes.bar(
        [_middle(week) for week in applied], list(applied.values()), 4.6, facecolor=parts.PALE_BLUE,
        edgecolor=parts.BLUE, hatch="////", linewidth=1.0, label="applied",
    )  # fmt: skip
    axes.bar(
        [_middle(week) for week in assumed], list(assumed.values()), 4.6, facecolor="none",
        edgecolor=parts.BLUE, linestyle=":", linewidth=1.3, label="assumed",
    )  # fmt: skip
    axes.bar(
        [_middle(week) for week in planned], list(planned.values()), 7.0, facecolor="none",
        edgecolor=parts.BLACK, linewidth=0.9, label="planned",
    )  # fmt: skip
    _draw_decided(axes, weeks, decided)
    _label_rates(axes, sheet, columns, tops)


def _middle(week: PlanWeek) -> float:
    return at(week.start) + (DAYS_PER_WEEK - 1) / 2


def _draw_decided(axes: Axes, weeks: Sequence[PlanWeek], decided: Mapping[PlanWeek, float]) -> None:
    x = [edge for week in weeks for edge in (at(week.start) - 0.5, at(week.end) + 0.5)]
    y = [decided.get(week, np.nan) for week in weeks for _ in range(2)]
    if decided:
        axes.plot(x, y, color=parts.VERMILLION, linewidth=3.2, solid_capstyle="butt", label="decided", zorder=4)


def _label_rates(
    axes: Axes, sheet: Sheet, columns: Sequence[Mapping[PlanWeek, float]], tops: Mapping[PlanWeek, float]
) -> None:
    planned, applied, assumed, decided = columns
    labels = [(week, 0.0, "0") for week, rate in applied.items() if rate == 0]
    labels += [(week, rate, "applied") for week, rate in list(applied.items())[:1]]
    labels += [(week, rate, "not logged") for week, rate in list(assumed.items())[:1]]
    labels += [(week, rate, f"decided {rate:.2f}") for week, rate in list(decided.items())[-1:]]
    for week, rate, text in labels:
        near = [top for other, top in tops.items() if abs(other.number - week.number) <= 1]
        spots = parts.over(axes, 0.0 if text == "0" else max(near) - rate)
        sheet.labels.beside(axes, _middle(week), rate, text, spots, leader=text != "0")
    fed = [(week, rate) for week, rate in planned.items() if rate > 0]
    if fed:
        week, rate = fed[-1]
        sheet.labels.line_ends(axes, at(week.end) + 0.5, [(rate, f"planned {rate:.2f}")])


def draw_totals(axes: Axes, sheet: Sheet) -> None:
    """Draw the running total of nitrogen with credits [the unit system's total]."""
    plan, out = sheet.season.plan, sheet.out
    start, credited = at(sheet.span.start), out(plan.credits_lb_ac)
    alone = [credited, *(credited + out(total) for total in np.cumsum(plan.rates_lb_ac))]
    days, so_far = _so_far(sheet)
    coming, expected = _to_come(sheet)
    cap = None if plan.cap_lb_ac is None else out(plan.cap_lb_ac)
    axes.set_ylim(0, 1.18 * max(*alone, *so_far, *expected, cap or 0.0, 1.0))
    _name_days(axes, sheet)
    if credited > 0:
        axes.fill_between([start, at(sheet.span.end)], credited, color=parts.PALE_GREY, linewidth=0)
        axes.axhline(credited, color=parts.BLACK, linewidth=0.7, label="credits")
    edges = [at(plan.start), *(at(week.end) for week in plan.weeks)]
    axes.plot(edges, alone, color=parts.BLACK, linestyle=":", linewidth=1.3, label="plan alone")
    axes.plot(days, so_far, color=parts.BLUE, linewidth=2.4, drawstyle="steps-post", label="applied")
    axes.plot(coming, expected, color=parts.VERMILLION, linewidth=2.0, linestyle=(0, (4, 2)), label="to come")
    for x, y in ((edges, alone), (days, so_far), (coming, expected)):
        sheet.labels.keep_clear_line(axes, x, y)
    ends = [(alone[-1], f"plan alone {alone[-1]:.1f}")]
    ends += [(expected[-1], f"as decided {expected[-1]:.1f}")] if len(expected) > 1 else []
    ends += [(credited, f"credits {credited:.1f}")] if credited > 0 else []
    sheet.labels.line_ends(axes, at(plan.end), ends)
    _label_totals(axes, sheet, days, so_far)


def _so_far(sheet: Sheet) -> tuple[list[float], list[float]]:
    """Days up to the day of advice, and credits with all that went out by then."""
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
        assumed = sheet.out(sheet.facts.assumed_lb_ac)
        text = f"so far {so_far[-1]:.1f}" + (f" ({assumed:.1f} not logged, assumed)" if assumed > 0 else "")
        sheet.labels.beside(axes, days[-1], so_far[-1], text, parts.UNDER)
    room, cap = room_lb_ac(sheet.facts), sheet.season.plan.cap_lb_ac
    if room is not None and cap is not None:
        axes.axhline(sheet.out(cap), color=parts.BLACK, linewidth=1.6, label="season cap")
        left = f"{sheet.out(room):.1f} left" if room > 0 else "nothing left"
        text = f"season cap {sheet.out(cap):.1f} {sheet.units.total_unit}: {left} for the coming weeks"
        sheet.labels.beside(axes, at(sheet.span.start), sheet.out(cap), text, parts.ABOVE)
