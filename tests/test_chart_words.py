"""What a season chart says in words: for those who do not see it, in its headline, and beside its results."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest
from matplotlib.figure import Figure

from fertadjust.chart_style import PAGE, PHONE, Mark, Paper
from fertadjust.charts import Shown, figure_svg, season_figure
from fertadjust.ledger import Application
from fertadjust.plan import Change
from fertadjust.rules.facts import Action
from fertadjust.season import BlockSeason
from fertadjust.stored import Replaced
from fertadjust.tissue import Censor, Tissue, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.chart_support import sheet_of
from tests.test_charts import (
    ADVICE,
    AFTER_FALL,
    APPLIED,
    EARLY,
    FALLING,
    FED,
    LEAF,
    LEAF_N,
    LOW,
    PETIOLE,
    RAISE,
    VERY_LOW,
    WITHIN,
    data,
    lines,
    panel,
    points,
    result,
    season,
    told,
    words,
)

# --- for those who do not see it -----------------------------------------------------------------------------


def test_the_whole_text() -> None:
    marks = [Mark(date(2026, 3, 13), "raise 33 %", "raise"), Mark(date(2026, 3, 27), "left", "left")]
    one = season([LOW, WITHIN], applications=APPLIED, changes=[RAISE])
    assert told(one, shown=Shown(marks)) == (
        "Season of North block as known on 28 Mar 2026: tissue results beside their band, weekly nitrogen rates, "
        "and the running total. "
        "Petiole NO3-N 3,650 ppm on 24 Mar: within the band 3,500 to 6,000 ppm (week 4). "
        "Results with a band: 2; results not used: 0. "
        "With credits, 58.8 lb N/ac is counted so far; as decided the season ends at 114.8, under a cap of 120.0. "
        "Decided: raise 33 % on 13 Mar; left on 27 Mar. "
        "Review on 5 Apr."
    )


@pytest.mark.parametrize(("units", "factor"), [(UnitSystem.US, 1.0), (UnitSystem.METRIC, KG_HA_PER_LB_AC)])
def test_advice_that_nobody_decided_on_is_told_with_its_rates_and_its_review(
    units: UnitSystem, factor: float
) -> None:
    one = season([VERY_LOW], cap=None, applications=FED)
    found = one.advice(EARLY).recommendation
    text = told(one, EARLY, units=units)
    (rate,) = set(found.rates_lb_ac)
    assert f" Advised and not decided: {rate * factor:.2f} {units.rate_unit}." in text
    assert text.endswith(f" Advised review on {found.review.day} Apr.")
    assert "Decided:" not in text and "cap" not in text


def test_decided_advice_is_no_longer_told_as_undecided() -> None:
    one = season([VERY_LOW], cap=None, applications=FED)
    for decided in (replace(one, changes=(replace(RAISE, decided=EARLY),)), replace(one, left=(EARLY,))):
        assert "not decided" not in told(decided, EARLY)


def test_the_trend_carried_on_is_told() -> None:
    ahead = sheet_of(season(FALLING), AFTER_FALL).projection
    assert ahead is not None
    assert f". Projected: {ahead.words}. With credits" in told(season(FALLING), AFTER_FALL)
    assert "Projected" not in told(season([LOW, WITHIN]))


def test_only_what_is_drawn_is_counted_as_corrected() -> None:
    """Of other analytes and of other blocks nothing is drawn."""
    boron = TissueResult(
        50, "north", LOW.sampled, None, Tissue.LEAF, LEAF_N.basis, "B", 36.0, Censor.NONE, None
    )  # fmt: skip
    elsewhere = replace(WITHIN, block="south")
    versions = [
        Replaced(replace(LOW, value=23_100.0), LOW, "a zero"),
        Replaced(boron, replace(boron, value=40.0), "misread"),
        Replaced(elsewhere, WITHIN, "wrong block"),
    ]
    assert "corrected or void: 1." in told(season([LOW, WITHIN]), shown=Shown(replaced=versions))
    assert "corrected" not in told(season([LOW, WITHIN]), shown=Shown(replaced=versions[1:]))


@pytest.mark.parametrize(("cap", "words"), [(60.0, "over a cap of 60.0"), (65.75, "under a cap of 65.8")])
def test_over_or_under_the_cap_is_told_by_comparison(cap: float, words: str) -> None:
    """65.75 is out by the end of the running week: 40 credits, 13.5 logged, 5.25 not logged, 7.0 still to go."""
    text = told(season([LOW, WITHIN], cap=cap, applications=APPLIED, changes=[RAISE]))
    assert f"the season ends at 65.8, {words}." in text


# --- the headline --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", [PAGE, PHONE])
@pytest.mark.parametrize(("days", "old"), [(14, False), (15, True)])
def test_the_headline_says_when_a_result_is_too_old_to_decide_on(days: int, old: bool, paper: Paper) -> None:
    """A sample decides for 14 days by the shipped policy."""
    figure = season_figure(season([LOW]), LOW.sampled + timedelta(days=days), UnitSystem.US, paper=paper)
    text = " ".join(" ".join(text.get_text().split()) for text in figure.texts)
    assert ("(week 2); too old to decide on" in text) is old
    assert ("(week 2); too old to decide on. Results" in str(figure.get_label())) is old


# --- names ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_name_in_two_lines_stands_in_one_without_what_turns_it(paper: Paper) -> None:
    one = season([LOW], name="North\n\u202eblock\x07")
    figure = season_figure(one, ADVICE, UnitSystem.US, paper=paper)
    shown = " ".join(" ".join(text.get_text().split()) for text in figure.texts)
    assert "North block: season as known" in shown
    assert str(figure.get_label()).startswith("Season of North block as known")
    assert not set("\u202e\x07") & set(figure_svg(figure))


def test_a_name_that_looks_like_a_style_is_left_alone() -> None:
    text = figure_svg(season_figure(season([LOW], name="*{stroke x}"), ADVICE, UnitSystem.US))
    root = ET.fromstring(text)
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None and title.text is not None
    assert title.text.startswith("Season of *{stroke x} as known on 28 Mar 2026")
    assert "*{stroke x}: season as known on 28 Mar 2026" in "".join(root.itertext())
    (style,) = [item.text for item in root.iter() if str(item.tag).endswith("}style")]
    assert style is not None and style.strip().startswith(f"#{root.get('id')} *{{stroke")


# --- values beside results -----------------------------------------------------------------------------------


def weekly(count: int) -> list[TissueResult]:
    """As many readings, every other day, of which the third is the highest and the fifth the lowest."""
    values = [4400.0 + 10 * index for index in range(count)]
    values[2], values[4] = 9100.0, 2100.0
    return [result(100 + index, date(2026, 3, 9) + timedelta(2 * index), v) for index, v in enumerate(values)]


def values_named(figure: Figure, items: Sequence[TissueResult]) -> list[float]:
    there = words(panel(figure, "Petiole"))
    return [item.value for item in items if f"{item.value:,.0f}" in there]


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_up_to_ten_results_are_all_named_and_of_more_the_newest_and_the_extremes(paper: Paper) -> None:
    for count, where in ((10, range(10)), (11, (2, 4, 8, 9, 10)), (16, (2, 4, 13, 14, 15))):
        items = weekly(count)
        figure = season_figure(season(items), items[-1].sampled, UnitSystem.US, paper=paper)
        axes = panel(figure, "Petiole")
        assert sum(len(points(axes, side)) for side in ("below", "within", "above")) == count
        assert values_named(figure, items) == [items[index].value for index in where]


def test_a_bound_is_no_extreme() -> None:
    items = weekly(14)
    items[5] = replace(items[5], value=50.0, censor=Censor.BELOW)
    figure = season_figure(season(items), items[-1].sampled, UnitSystem.US)
    assert values_named(figure, items) == [items[index].value for index in (2, 4, 11, 12, 13)]
    assert "<50" not in words(panel(figure, "Petiole"))


def test_of_unused_results_the_last_ten_are_named_and_all_are_drawn() -> None:
    early = [result(60 + index, date(2026, 2, 10) + timedelta(index), 900.0 + index) for index in range(14)]
    axes = panel(season_figure(season([*early, LOW]), ADVICE, UnitSystem.US), "Petiole")
    assert len(points(axes, "not used")) == 14
    named = {text.partition("\n")[0] for text in words(axes) if text.endswith("not used")}
    assert named == {f"{item.value:,.0f}" for item in early[-10:]}


@pytest.mark.parametrize("value", [1000.0, 2000.0])
def test_the_name_of_an_edge_gives_way_to_a_mark_beside_its_end(value: float) -> None:
    """The band ends on 24 May at 1,000 to 2,000 ppm (UGA-2021); a result without a band stands just behind it."""
    day = date(2026, 5, 27)
    axes = panel(season_figure(season([result(1, day, value)]), day, UnitSystem.US), "Petiole")
    (mark,) = points(axes, "not used")
    for name in ("low edge", "high edge"):
        (note,) = [text for text in axes.texts if text.get_text() == name]
        assert not note.get_window_extent().contains(*axes.transData.transform(mark))


# --- moved and withdrawn -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "label"), [(PAGE, "was 2,310,\nmoved away"), (PHONE, "was 2,310")])
def test_a_result_that_was_moved_away_says_so(paper: Paper, label: str) -> None:
    moved = Replaced(LOW, replace(LOW, block="south"), "wrong block")
    figure = season_figure(season([WITHIN]), ADVICE, UnitSystem.US, Shown(replaced=[moved]), paper)
    assert label in words(panel(figure, "Petiole"))
    assert points(panel(figure, "Petiole"), "before correction") == [(LOW.sampled.toordinal(), 2310.0)]


def test_a_result_that_was_moved_here_is_drawn_once() -> None:
    moved = Replaced(replace(LOW, block="south"), LOW, "wrong block")
    axes = panel(season_figure(season([LOW]), ADVICE, UnitSystem.US, Shown(replaced=[moved])), "Petiole")
    assert not lines(axes, "before correction") + lines(axes, "void")
    assert points(axes, "below") == [(LOW.sampled.toordinal(), 2310.0)]


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_result_whose_correction_is_not_known_yet_is_withdrawn(paper: Paper) -> None:
    pending = Replaced(LOW, None, "sent again", pending=True)
    figure = season_figure(season([WITHIN]), ADVICE, UnitSystem.US, Shown(replaced=[pending]), paper)
    named = words(panel(figure, "Petiole"))
    assert "2,310\nwithdrawn" in named
    assert not any("void" in text or "corrected" in text for text in named)


# --- the leading kind ----------------------------------------------------------------------------------------

LEAF_LOW = result(5, date(2026, 3, 25), 2.0, tissue=Tissue.LEAF)


def titles(one: BlockSeason, on: date = ADVICE) -> list[str]:
    figure = season_figure(one, on, UnitSystem.US)
    return [str(axes.get_label()).split(",")[0].split(" (")[0] for axes in figure.axes[1:-2]]


def test_a_leaf_leads_where_it_decides() -> None:
    one = season([LEAF_LOW], (PETIOLE, LEAF))
    assert one.facts(ADVICE).primary is not None
    assert titles(one) == ["Leaf N"]


def test_a_petiole_leads_where_both_are_there_and_where_nothing_is() -> None:
    assert titles(season([WITHIN, LEAF_LOW], (PETIOLE, LEAF))) == ["Petiole NO3-N", "Leaf N"]
    assert titles(season([], (PETIOLE, LEAF))) == ["Petiole NO3-N"]


def test_a_leaf_leads_where_the_petiole_has_a_result_without_a_band() -> None:
    """Before bloom the petiole's table has no row; its result stands with those not drawn."""
    early = result(1, date(2026, 2, 24), 900.0)
    one = season([early, LEAF_LOW], (PETIOLE, LEAF))
    assert titles(one) == ["Leaf N"]
    figure = season_figure(one, ADVICE, UnitSystem.US)
    assert "petiole NO3-N, dry weight 900 ppm of 24 Feb" in " ".join(text.get_text() for text in figure.texts)


# --- the axis and its flags ----------------------------------------------------------------------------------


def limits(figure: Figure) -> tuple[float, float]:
    low, high = figure.axes[-1].get_xlim()
    return float(low), float(high)


END = season().plan.end


@pytest.mark.parametrize(("days", "held"), [(0, True), (60, True), (61, False)])
def test_the_axis_goes_along_with_the_day_up_to_sixty_days_from_the_plan(days: int, held: bool) -> None:
    for on in (END + timedelta(days), season().plan.start - timedelta(days)):
        figure = season_figure(season(), on, UnitSystem.US)
        low, high = limits(figure)
        assert (low < on.toordinal() < high) is held
        assert any(text.startswith("advice") for text in words(panel(figure, "days"))) is held


@pytest.mark.parametrize(("days", "held"), [(60, True), (61, False)])
def test_the_axis_holds_decisions_up_to_sixty_days_from_the_plan(days: int, held: bool) -> None:
    mark = Mark(END + timedelta(days), "hold", "hold")
    figure = season_figure(season(), ADVICE, UnitSystem.US, Shown([mark]))
    assert ("■ hold" in words(panel(figure, "days"))) is held
    assert (limits(figure)[1] > mark.on.toordinal()) is held


@pytest.mark.parametrize("on", [date(2026, 1, 10), ADVICE, date(2026, 7, 20)])
def test_ticks_go_over_the_whole_axis_in_step_with_the_plan(on: date) -> None:
    axes = season_figure(season(), on, UnitSystem.US).axes[-1]
    low, high = axes.get_xlim()
    ticks = sorted(int(tick) for tick in (*axes.get_xticks(), *axes.get_xticks(minor=True)))
    weeks = [day for day in range(int(low), int(high) + 1) if (day - season().plan.start.toordinal()) % 7 == 0]
    assert ticks == weeks
    named = [int(tick) for tick in axes.get_xticks()]
    assert set(named) <= set(weeks) and len(named) <= PAGE.dates
    assert high - named[-1] <= named[1] - named[0]


def test_without_a_decision_in_force_the_advised_review_has_a_flag_and_a_line_of_its_own() -> None:
    one = season([VERY_LOW], cap=None, applications=FED)
    review = one.advice(EARLY).recommendation.review
    figure = season_figure(one, EARLY, UnitSystem.US)
    assert f"advised review {review.day} Apr" in words(panel(figure, "days"))
    for axes in figure.axes[1:]:
        (line,) = lines(axes, "advised review")
        assert data(line)[0][0] == review.toordinal()
    in_force = season_figure(season([LOW], changes=[RAISE]), ADVICE, UnitSystem.US)
    (decided,) = lines(in_force.axes[-1], "review")
    (advised,) = lines(figure.axes[-1], "advised review")
    patterns = [str(line._unscaled_dash_pattern) for line in (decided, advised)]  # type: ignore[attr-defined]
    assert patterns[0] != patterns[1]


def test_with_a_decision_in_force_or_the_advice_left_no_review_is_advised() -> None:
    left = replace(season([VERY_LOW], cap=None, applications=FED), left=(EARLY,))
    for one, on in ((season([LOW], changes=[RAISE]), ADVICE), (left, EARLY)):
        assert not any(
            "advised review" in text for text in words(panel(season_figure(one, on, UnitSystem.US), "days"))
        )


@pytest.mark.parametrize(("paper", "flag"), [(PAGE, "□ left"), (PHONE, "□")])
def test_a_decision_to_leave_has_a_flag(paper: Paper, flag: str) -> None:
    mark = Mark(date(2026, 3, 20), "left", "left")
    figure = season_figure(season([LOW]), ADVICE, UnitSystem.US, Shown([mark]), paper)
    assert flag in words(panel(figure, "days"))
    assert data(lines(panel(figure, "Petiole"), "decision")[0])[0][0] == mark.on.toordinal()
    if paper is PHONE:
        assert "decided: □ left" in panel(figure, "Petiole").get_title(loc="left").replace("\n", " ")


# --- advice that nobody decided on ---------------------------------------------------------------------------


def held(last: int) -> BlockSeason:
    """A raise in force to a week, and a result within the band: the advice holds 7 lb/ac in weeks 6 and 7."""
    rates, review = dict.fromkeys(range(4, last + 1), 7.0), date(2026, 4, 5 if last < 7 else 10)
    change = Change(date(2026, 3, 13), date(2026, 3, 16), review, 7.0 / 5.25, rates, 21)
    fed = [Application(49 + week, "north", date(2026, 3, 17 + 7 * week), 7.0) for week in (0, 1)]
    return season(
        [result(1, date(2026, 3, 25), 4700.0)], cap=None, applications=[*FED[:3], *fed], changes=[change]
    )


@pytest.mark.parametrize(("last", "proposed"), [(5, True), (6, True), (7, False)])
def test_a_hold_is_a_proposal_where_another_rate_would_run_without_a_decision(last: int, proposed: bool) -> None:
    one = held(last)
    found = one.advice(ADVICE).recommendation
    assert found.action is Action.HOLD
    assert [week.number for week in found.weeks] == [6, 7]
    assert found.rates_lb_ac == pytest.approx((7.0, 7.0))
    assert sheet_of(one, ADVICE).day.moves() is proposed
    axes = panel(season_figure(one, ADVICE, UnitSystem.US), "Weekly rate")
    assert bool(lines(axes, "advised")) is proposed
    assert ("Advised and not decided: 7.00 lb N/ac/week" in told(one)) is proposed
    assert not sheet_of(replace(one, left=(ADVICE,)), ADVICE).day.moves()


# --- values far off the band ---------------------------------------------------------------------------------


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_a_leaf_that_jumps_every_day_is_drawn(paper: Paper) -> None:
    """1.5, 6, 1.5 and 6 % on four days: carried on, the trend would reach 10 to the power of 12."""
    jumping = [
        result(70 + index, date(2026, 3, 9 + index), value, tissue=Tissue.LEAF)
        for index, value in enumerate((1.5, 6.0, 1.5, 6.0))
    ]
    one = season(jumping, (PETIOLE, LEAF))
    ahead = sheet_of(one, date(2026, 3, 13)).projection
    assert ahead is None or max(point.high for point in ahead.points) < 100
    axes = panel(season_figure(one, date(2026, 3, 13), UnitSystem.US, paper=paper), "Leaf N")
    assert axes.get_ylim()[1] < 100
    drawn = [point for side in ("below", "within", "above") for point in points(axes, side)]
    assert sorted(drawn) == [(item.sampled.toordinal(), item.value) for item in jumping]
