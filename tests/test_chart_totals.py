"""The running total: what is counted, what the running week still takes, what the cap leaves, and how it ends.

Of the invented block 40.0 are credits, 13.5 logged and 5.25 not logged by 28 March, a Saturday; the running week,
whose log says 0, still takes 7.0 of its decided rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.text import Annotation

from fertadjust.chart_style import PAGE, PHONE, Paper
from fertadjust.charts import season_figure
from fertadjust.ledger import Application
from fertadjust.season import BlockSeason
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.test_charts import (
    ADVICE,
    APPLIED,
    EARLY,
    FED,
    LOW,
    RAISE,
    VERY_LOW,
    data,
    lines,
    panel,
    season,
    told,
    words,
)

SO_FAR = 40.0 + 3.5 + 3.0 + 7.0 + 5.25
MONDAY = date(2026, 3, 9)
"""First day of the third week."""


def raised(cap: float | None) -> BlockSeason:
    return season([LOW], cap=cap, applications=APPLIED, changes=[RAISE])


def totals(one: BlockSeason, on: date = ADVICE, units: UnitSystem = UnitSystem.US, paper: Paper = PAGE) -> Axes:
    return panel(season_figure(one, on, units, paper=paper), "Nitrogen")


def heading(axes: Axes) -> str:
    return axes.get_title(loc="left").replace("\n", " ")


# --- the cap -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cap", "left"),
    [
        (120.0, "54.2 left"),
        (SO_FAR + 7.0 + 0.1, "0.1 left"),
        (SO_FAR + 7.0 + 0.04, "nothing left"),
        (SO_FAR + 7.0, "nothing left"),
        (SO_FAR + 7.0 - 0.04, "nothing left"),
        (SO_FAR + 1.0, "passed by 6.0"),
        (50.0, "passed by 15.8"),
    ],
)
def test_what_the_cap_leaves_after_the_running_week(cap: float, left: str) -> None:
    """120 - 58.75 - 7.0 = 54.25, shown as 54.2."""
    counted = "so far 58.8 (5.2 not logged, assumed), 7.0 more this week"
    axes = totals(raised(cap))
    assert {counted, f"season cap {cap:.1f} lb N/ac: {left}"} <= set(words(axes))
    narrow = heading(totals(raised(cap), paper=PHONE))
    assert f": {counted}, {left}" in narrow
    assert narrow.endswith(" under the season cap") or not left[0].isdigit()


def test_so_far_and_more_and_left_add_up_to_the_cap_in_metric_units() -> None:
    axes = totals(raised(120.0), units=UnitSystem.METRIC)
    shown = [value * KG_HA_PER_LB_AC for value in (SO_FAR, 5.25, 7.0, 120.0, 120.0 - SO_FAR - 7.0)]
    so_far, assumed, more, cap, left = (f"{value:.1f}" for value in shown)
    assert f"so far {so_far} ({assumed} not logged, assumed), {more} more this week" in words(axes)
    assert f"season cap {cap} kg N/ha: {left} left" in words(axes)


def test_a_week_that_is_out_has_no_more_to_come() -> None:
    assert "so far 57.5" in words(totals(season([VERY_LOW], applications=FED), EARLY))


def test_without_a_cap_nothing_is_left_or_passed() -> None:
    texts = [*words(totals(raised(None))), heading(totals(raised(None), paper=PHONE))]
    assert not any("left" in text or "passed" in text or "cap" in text for text in texts)


# --- how it ends ---------------------------------------------------------------------------------------------


def end_of(axes: Axes) -> float:
    return float(data(lines(axes, "to come")[0])[1][-1])


@pytest.mark.parametrize(
    ("cap", "end"),
    [(None, 114.75), (120.0, 114.75), (114.75, 114.75), (90.0, 90.0), (70.0, 70.0), (60.0, SO_FAR + 7.0)],
)
def test_the_coming_weeks_fill_up_to_the_cap_and_no_further(cap: float | None, end: float) -> None:
    """Without the cap: one week at 7.0, two at 5.25, three at 7.0 and three at 3.5 after the running one."""
    assert SO_FAR + 7.0 + 7.0 + 2 * 5.25 + 3 * 7.0 + 3 * 3.5 == 114.75
    axes = totals(raised(cap))
    assert end_of(axes) == pytest.approx(end)
    _, heights = data(lines(axes, "to come")[0])
    assert (np.diff(heights) >= -1e-9).all()
    assert f"as decided {end:.1f}" in [" ".join(text.split()) for text in words(axes)]
    assert f"as decided the season ends at {end:.1f}" in told(raised(cap))


def test_the_week_in_which_the_cap_is_reached_takes_what_is_left() -> None:
    """70 - 65.75 = 4.25 for the first coming week, nothing for any other."""
    x, y = data(lines(totals(raised(70.0)), "to come")[0])
    assert list(y) == pytest.approx([SO_FAR, 65.75, *[70.0] * (len(y) - 2)])
    assert date.fromordinal(int(x[2])) == date(2026, 4, 5)


def test_a_plan_under_its_own_cap_ends_as_planned() -> None:
    one = season([LOW], applications=APPLIED)
    assert any(text.startswith("as planned ") for text in words(totals(one)))
    assert "; as planned the season ends at 111.2, under a cap of 120.0." in told(one)


def test_a_decision_that_no_coming_week_runs_by_ends_as_planned() -> None:
    past = replace(RAISE, rates_lb_ac={4: 7.0, 5: 7.0}, review=date(2026, 3, 29))
    one = season([LOW], applications=APPLIED, changes=[past])
    assert "as planned" in told(one)
    assert "as decided" in told(replace(one, changes=(RAISE,)))


def test_after_the_plan_there_is_nothing_to_come() -> None:
    one = season([LOW], applications=APPLIED)
    axes = totals(one, date(2026, 6, 10))
    assert not any(text.startswith(("as planned", "as decided")) for text in words(axes))
    assert "the season ends" not in told(one, date(2026, 6, 10))


# --- where the lines meet ------------------------------------------------------------------------------------


def fed_on_monday(out: float) -> BlockSeason:
    """An injection logged on the first day of the third week, the day looked from."""
    return season([], applications=[*FED[:2], Application(50, "north", MONDAY, out)])


@pytest.mark.parametrize(
    "one", [fed_on_monday(2.0), fed_on_monday(5.25), fed_on_monday(8.0), season([], applications=FED[:2])]
)
@pytest.mark.parametrize("days", [-1, 0, 1, 6, 7])
def test_what_is_to_come_begins_where_what_is_out_ends(one: BlockSeason, days: int) -> None:
    on = MONDAY + timedelta(days)
    axes = totals(one, on)
    x, out = data(lines(axes, "applied")[0])
    start, total = data(lines(axes, "to come")[0])
    assert (start[0], total[0]) == (x[-1], pytest.approx(out[-1]))
    assert x[-1] == on.toordinal()
    assert (np.diff(total) >= -1e-9).all()
    assert f"so far {out[-1]:.1f}" in " ".join(words(axes))


@pytest.mark.parametrize(("out", "sunday"), [(2.0, 52.25), (5.25, 52.25), (8.0, 55.0)])
def test_a_week_that_begins_with_an_injection_counts_it_once(out: float, sunday: float) -> None:
    """47.0 by Sunday; the week takes its planned 5.25, of which a part is out, or what is out already."""
    axes = totals(fed_on_monday(out), MONDAY)
    assert f"so far {47.0 + out:.1f}" in words(axes)
    x, y = data(lines(axes, "to come")[0])
    assert (x[0], y[0]) == (MONDAY.toordinal(), pytest.approx(47.0 + out))
    assert dict(zip(x, y, strict=True))[date(2026, 3, 15).toordinal()] == pytest.approx(sunday)


# --- names of line ends --------------------------------------------------------------------------------------


def pointed(axes: Axes, begins: str) -> tuple[float, float]:
    (note,) = [
        text
        for text in axes.texts
        if isinstance(text, Annotation) and " ".join(text.get_text().split()).startswith(begins)
    ]
    return float(note.xy[0]), float(note.xy[1])


@pytest.mark.parametrize(
    ("one", "on", "name"),
    [
        (season([LOW], applications=APPLIED, changes=[RAISE]), ADVICE, "decided"),
        (season([VERY_LOW], cap=None, applications=FED), EARLY, "advised"),
    ],
)
def test_on_a_phone_each_rate_is_named_at_the_end_of_its_own_line(one: BlockSeason, on: date, name: str) -> None:
    axes = panel(season_figure(one, on, UnitSystem.US, paper=PHONE), "Weekly rate")
    x, y = data(lines(axes, name)[0])
    last = np.flatnonzero(np.isfinite(y))[-1]
    assert pointed(axes, name) == pytest.approx((float(x[last]), float(y[last])))
    assert pointed(axes, "planned") == (one.plan.end.toordinal() + 0.5, 3.5)


def heights(axes: Axes, names: Sequence[str]) -> list[float]:
    return [pointed(axes, name)[1] for name in names]


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_each_total_is_named_at_its_own_height(paper: Paper) -> None:
    axes = totals(raised(120.0), paper=paper)
    assert heights(axes, ("credits", "plan alone", "as decided")) == pytest.approx([40.0, 110.0, 114.75])
