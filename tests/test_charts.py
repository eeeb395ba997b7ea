"""What the season chart draws: artists and their data, not pixels."""

from __future__ import annotations

import tomllib
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.container import BarContainer, ErrorbarContainer
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Annotation, Text

from fertadjust.bands import BandTable
from fertadjust.chart_style import PAGE, PHONE, Paper
from fertadjust.charts import Mark, Shown, figure_svg, save_figure, season_figure
from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis, Block
from fertadjust.ledger import Application
from fertadjust.plan import Change, Credit, Plan
from fertadjust.products import Product
from fertadjust.projection import projection
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action
from fertadjust.rules.policy import Policy, with_overrides
from fertadjust.season import BlockSeason
from fertadjust.shipped import shipped_policy, shipped_policy_files
from fertadjust.stages import StageDates
from fertadjust.stored import Replaced
from fertadjust.tissue import Basis, Censor, Tissue, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem

ROOT = Path(__file__).parent.parent
PETIOLE = "strawberry-petiole-dry-us-southeast"
LEAF = "strawberry-leaf-delaware"
SAP = "strawberry-petiole-sap-florida"
CALIFORNIA = "strawberry-petiole-dry-california"
START = date(2026, 2, 23)
ADVICE = date(2026, 3, 28)


def table(name: str) -> BandTable:
    return BandTable.model_validate(
        tomllib.loads((ROOT / "sufficiency_ranges" / f"{name}.toml").read_text("utf-8"))
    )


def policy() -> Policy:
    return shipped_policy("strawberry-annual-plasticulture")


def result(
    record: int,
    sampled: date,
    value: float,
    censor: Censor = Censor.NONE,
    tissue: Tissue = Tissue.PETIOLE,
    basis: Basis = Basis.DRY,
) -> TissueResult:
    analyte = "N" if tissue is Tissue.LEAF else "NO3-N"
    return TissueResult(record, "north", sampled, None, tissue, basis, analyte, value, censor, 25)


def season(
    results: Sequence[TissueResult] = (),
    tables: Sequence[str] = (PETIOLE,),
    cap: float | None = 120.0,
    applications: Sequence[Application] = (),
    changes: Sequence[Change] = (),
    name: str = "North block",
) -> BlockSeason:
    return BlockSeason(
        block=Block("north", name, 300.0, 10, 2.5, 5.0, AreaBasis.BED),
        plan=Plan(
            START, (3.5, 3.5, *[5.25] * 6, *[7.0] * 3, *[3.5] * 3), AreaBasis.BED, 2, 2.0, 9.0, cap, 0.25,
            (Credit("preplant", 40.0, "own", Evidence.OWN),),
        ),
        stages=StageDates({"first_bloom": date(2026, 3, 2)}, date(2026, 6, 15)),
        products=(Product("7-0-0", {"n": 7.0}, 1.0, 10.0, 5.0),),
        policy=policy(),
        tables=tuple(table(name) for name in tables),
        results=tuple(results),
        applications=tuple(applications),
        changes=tuple(changes),
    )  # fmt: skip


LOW = result(1, date(2026, 3, 9), 2310.0)
WITHIN = result(2, date(2026, 3, 24), 3650.0)
ABOVE = result(3, date(2026, 3, 26), 7000.0)
LEAF_N = result(4, date(2026, 3, 10), 3.2, tissue=Tissue.LEAF)
APPLIED = (
    Application(11, "north", date(2026, 2, 24), 3.5),
    Application(12, "north", date(2026, 3, 3), 3.0),
    Application(13, "north", date(2026, 3, 17), 7.0),
    Application(14, "north", date(2026, 3, 24), 0.0),
)
RAISE = Change(date(2026, 3, 13), date(2026, 3, 16), date(2026, 4, 5), 1.33, {4: 7.0, 5: 7.0, 6: 7.0}, 21)


def panel(figure: Figure, words: str) -> Axes:
    return next(axes for axes in figure.axes if str(axes.get_label()).startswith(words))


def lines(axes: Axes, label: str) -> list[Line2D]:
    return [line for line in axes.lines if line.get_label() == label]


def data(line: Line2D) -> tuple[np.ndarray, np.ndarray]:
    return np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)


def height_on(line: Line2D, day: date) -> float:
    """Height of a step line on a day."""
    x, y = data(line)
    return float(y[np.searchsorted(x, day.toordinal(), side="right") - 1])


def points(axes: Axes, label: str) -> list[tuple[float, float]]:
    return [(float(x[0]), float(y[0])) for x, y in map(data, lines(axes, label))]


def words(axes: Axes) -> list[str]:
    return [text.get_text() for text in axes.texts if text.get_text()]


NOTHING = Shown()


def told(one: BlockSeason, on: date = ADVICE, shown: Shown = NOTHING, units: UnitSystem = UnitSystem.US) -> str:
    """What the chart says to those who do not see it."""
    return str(season_figure(one, on, units, shown).get_label())


def all_words(figure: Figure) -> str:
    return "\n".join(
        [text.get_text() for text in figure.texts] + [word for axes in figure.axes for word in words(axes)]
    )


# --- the band and the results -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "low", "high"),
    [
        (date(2026, 3, 2), 600, 1500),
        (date(2026, 3, 8), 600, 1500),
        (date(2026, 3, 9), 4000, 6000),
        (date(2026, 3, 23), 3500, 6000),
        (date(2026, 4, 26), 3000, 5000),
        (date(2026, 5, 24), 1000, 2000),
    ],
)
def test_edges_move_with_the_band(day: date, low: float, high: float) -> None:
    axes = panel(season_figure(season(), ADVICE, UnitSystem.US), "Petiole")
    assert height_on(lines(axes, "low edge")[0], day) == low
    assert height_on(lines(axes, "high edge")[0], day) == high


@pytest.mark.parametrize("day", [date(2026, 3, 1), date(2026, 5, 25)])
def test_no_edge_outside_the_table(day: date) -> None:
    axes = panel(season_figure(season(), ADVICE, UnitSystem.US), "Petiole")
    assert np.isnan(height_on(lines(axes, "low edge")[0], day))


def test_edges_differ_in_line_style() -> None:
    axes = panel(season_figure(season(), ADVICE, UnitSystem.US), "Petiole")
    assert lines(axes, "low edge")[0].get_linestyle() != lines(axes, "high edge")[0].get_linestyle()


def test_each_result_stands_at_its_value_with_the_shape_of_its_side() -> None:
    axes = panel(season_figure(season([LOW, WITHIN, ABOVE]), ADVICE, UnitSystem.US), "Petiole")
    for label, item, marker in (("below", LOW, "v"), ("within", WITHIN, "o"), ("above", ABOVE, "^")):
        assert points(axes, label) == [(item.sampled.toordinal(), item.value)]
        assert lines(axes, label)[0].get_marker() == marker
    assert {"2,310", "3,650", "7,000", "low edge", "high edge"} <= set(words(axes))


def test_interval_is_lognormal_and_taken_from_the_budget() -> None:
    axes = panel(season_figure(season([LOW]), ADVICE, UnitSystem.US), "Petiole")
    (bar,) = axes.containers
    assert isinstance(bar, ErrorbarContainer)
    low, high = bar.lines[2][0].get_segments()[0][:, 1]
    # 0.0499 (laboratory, by Horwitz at 2310 ppm), 0.30 / sqrt(25) and 0.10 in quadrature
    relative = np.sqrt((2 ** (1 - 0.5 * np.log10(2310e-6)) / 100) ** 2 + 0.06**2 + 0.10**2)
    reach = np.exp(1.96 * np.sqrt(np.log1p(relative**2)))
    assert low == pytest.approx(2310 / reach)
    assert high == pytest.approx(2310 * reach)


def test_results_of_one_day_stand_as_their_mean() -> None:
    twins = [result(1, date(2026, 3, 9), 2200.0), result(2, date(2026, 3, 9), 2400.0)]
    axes = panel(season_figure(season(twins), ADVICE, UnitSystem.US), "Petiole")
    assert [y for _, y in points(axes, "below")] == [2300.0]
    assert "2,300 (mean of 2)" in words(axes)


def test_a_result_is_not_drawn_before_it_is_known() -> None:
    late = replace(LOW, received=ADVICE + timedelta(days=1))
    axes = panel(season_figure(season([late]), ADVICE, UnitSystem.US), "Petiole")
    assert not points(axes, "below")
    assert points(
        panel(season_figure(season([late]), ADVICE + timedelta(days=1), UnitSystem.US), "Petiole"), "below"
    )


def test_a_bound_stands_at_its_value_with_its_sign_and_no_interval() -> None:
    axes = panel(season_figure(season([replace(ABOVE, censor=Censor.ABOVE)]), ADVICE, UnitSystem.US), "Petiole")
    assert points(axes, "bound") == [(ABOVE.sampled.toordinal(), 7000.0)]
    assert ">7,000" in words(axes)
    assert not axes.containers
    arrow = next(text for text in axes.texts if isinstance(text, Annotation) and text.arrow_patch is not None)
    assert arrow.xyann[1] > 0


def test_a_bound_far_off_does_not_squeeze_the_band() -> None:
    far = replace(LOW, value=10.0, censor=Censor.BELOW)
    axes = panel(season_figure(season([far]), ADVICE, UnitSystem.US), "Petiole")
    ((_, height),) = points(axes, "bound")
    assert height == pytest.approx(600 / 3)
    assert axes.get_ylim()[0] > 100
    assert "<10" in words(axes)


def test_a_result_not_used_is_a_hollow_cross() -> None:
    early = result(1, date(2026, 2, 24), 900.0)
    axes = panel(season_figure(season([early, LOW]), ADVICE, UnitSystem.US), "Petiole")
    assert points(axes, "not used") == [(early.sampled.toordinal(), 900.0)]
    assert lines(axes, "not used")[0].get_markerfacecolor() == "white"
    assert "900\nnot used" in words(axes)
    assert [y for _, y in points(axes, "below")] == [2310.0]


def test_a_result_without_a_panel_of_its_kind_is_named_below() -> None:
    sap = result(1, date(2026, 3, 9), 380.0, basis=Basis.SAP)
    figure = season_figure(season([sap]), ADVICE, UnitSystem.US)
    assert "petiole NO3-N, fresh sap 380 mg/L of 9 Mar" in all_words(figure)
    assert not points(panel(figure, "Petiole"), "not used")


def with_own(*names: str) -> Policy:
    """The policy with some rows and figures set by the season file, each to what it is shipped with."""
    data = dict(shipped_policy_files()["strawberry-annual-plasticulture"].data)
    own: dict[str, Any] = {"cross_check": {}, "companions": {}}
    for name in names:
        table, _, row = name.rpartition(".")
        if table == "cross_check":
            own[table][row] = "half"
        elif table:
            own[table][row] = 1.2
        else:
            own[name] = data[name]["value"]
    return Policy.model_validate(with_overrides(data, own))


def test_own_rule_values_are_named_below_the_chart() -> None:
    own = ("confidence", "cross_check.low-rain", "companions.potassium")
    block = replace(season([LOW]), policy=with_own(*own))
    text = all_words(season_figure(block, ADVICE, UnitSystem.US))
    assert f"Rule values that the season file sets: {', '.join(own)}." in text.replace("\n", " ")
    assert "season file sets" not in all_words(season_figure(season([LOW]), ADVICE, UnitSystem.US))


def test_many_own_rule_values_are_counted() -> None:
    own = ("confidence", "stale_days", "leaf_days", "raise_first", "cut_largest", "companions.potassium")
    text = all_words(season_figure(replace(season(), policy=with_own(*own)), ADVICE, UnitSystem.US))
    assert f"Rule values that the season file sets: {', '.join(own[:4])} and 2 more." in text.replace("\n", " ")


def test_both_notes_below_the_chart_stand_apart_and_clear_of_the_panels() -> None:
    sap = result(1, date(2026, 3, 9), 380.0, basis=Basis.SAP)
    own = (
        "cross_check.low-leaf-high-rain",
        "cross_check.low-leaf-sufficient",
        "companions.nitrogen-to-sulfur",
        "results_for_second_change",
        "confidence",
    )
    for results in ([sap], []):
        figure = season_figure(replace(season([*results, LOW]), policy=with_own(*own)), ADVICE, UnitSystem.US)
        figure.canvas.draw()
        renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
        notes = [text for text in figure.texts if text.get_text().startswith(("Not drawn", "Rule values"))]
        assert len(notes) == len(results) + 1
        boxes = [text.get_window_extent(renderer) for text in notes]
        assert all(box.x0 >= 0 and box.y0 >= 0 and box.x1 <= figure.bbox.x1 for box in boxes)
        panels = [axes.get_tightbbox(renderer) for axes in figure.axes]
        assert not any(box.overlaps(other) for box in boxes for other in panels if other is not None)
        assert not any(one.overlaps(other) for one, other in pairwise(boxes))


@pytest.mark.parametrize(("name", "scale"), [(PETIOLE, "log"), (SAP, "linear")])
def test_scale_follows_the_span_of_the_edges(name: str, scale: str) -> None:
    axes = panel(season_figure(season(tables=[name]), ADVICE, UnitSystem.US), "Petiole")
    assert axes.get_yscale() == scale


def test_ticks_are_plain_numbers() -> None:
    figure = season_figure(season(), ADVICE, UnitSystem.US)
    assert "1,000" in [label.get_text() for label in panel(figure, "Petiole").get_yticklabels()]
    dates = [label.get_text() for label in figure.axes[-1].get_xticklabels()]
    assert dates[:2] == ["16 Feb", "2 Mar"]


def test_leaf_nitrogen_gets_a_panel_of_its_own_only_when_there_is_some() -> None:
    both = (PETIOLE, LEAF)
    figure = season_figure(season([LOW, LEAF_N], both), ADVICE, UnitSystem.US)
    axes = panel(figure, "Leaf N")
    assert points(axes, "within") == [(LEAF_N.sampled.toordinal(), 3.2)]
    assert height_on(lines(axes, "low edge")[0], ADVICE) == 3.0
    assert axes.get_yscale() == "linear"
    without = season_figure(season([LOW], both), ADVICE, UnitSystem.US)
    assert not any(str(axes.get_label()).startswith("Leaf") for axes in without.axes)


def test_a_band_with_one_edge_is_drawn_with_that_edge() -> None:
    one = season([result(1, date(2026, 3, 9), 450.0)], [CALIFORNIA])
    one = replace(
        one, stages=StageDates({"pre_harvest": START, "main_harvest": date(2026, 4, 1)}, date(2026, 6, 1))
    )
    axes = panel(season_figure(one, ADVICE, UnitSystem.US), "Petiole")
    assert height_on(lines(axes, "low edge")[0], ADVICE) == 1000.0
    assert np.isnan(data(lines(axes, "high edge")[0])[1]).all()
    assert len(points(axes, "below")) == 1


# --- days and decisions -----------------------------------------------------------------------------------


def test_marks_and_days_are_named_and_drawn() -> None:
    marks = [Mark(date(2026, 3, 13), "raise 33 %", "raise"), Mark(date(2025, 1, 1), "hold", "hold")]
    figure = season_figure(season([LOW], changes=[RAISE]), ADVICE, UnitSystem.US, Shown(marks))
    named = words(panel(figure, "days"))
    assert any("raise 33 %" in text for text in named)
    assert not any("hold" in text for text in named)
    assert {"advice 28 Mar", "review 5 Apr"} <= set(named)
    axes = panel(figure, "Petiole")
    assert [data(line)[0][0] for line in lines(axes, "decision")] == [date(2026, 3, 13).toordinal()]
    for each in (axes, *figure.axes[-2:]):
        assert data(lines(each, "advice")[0])[0][0] == ADVICE.toordinal()
        assert data(lines(each, "review")[0])[0][0] == RAISE.review.toordinal()


def test_kinds_of_decision_differ_in_sign() -> None:
    days = [date(2026, 3, 10), date(2026, 4, 10), date(2026, 5, 10)]
    marks = [Mark(days[0], "step", "raise"), Mark(days[1], "step", "hold"), Mark(days[2], "step", "cut")]
    named = words(panel(season_figure(season(), ADVICE, UnitSystem.US, Shown(marks)), "days"))
    assert len({text for text in named if text.endswith("step")}) == 3


def test_day_names_do_not_touch() -> None:
    marks = [Mark(date(2026, 3, day), "raise 33 %", "raise") for day in (10, 12, 14, 16)]
    figure = season_figure(season(), ADVICE, UnitSystem.US, Shown(marks))
    boxes = [text.get_window_extent() for text in panel(figure, "days").texts]
    for index, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[index + 1 :])


def test_no_review_once_the_decision_has_run_out() -> None:
    figure = season_figure(season(changes=[RAISE]), date(2026, 4, 6), UnitSystem.US)
    assert not any(text.startswith("review") for text in words(panel(figure, "days")))
    assert not any(lines(axes, "review") for axes in figure.axes)


# --- rates and totals -------------------------------------------------------------------------------------


def bars(axes: Axes, label: str) -> list[float]:
    box = next(item for item in axes.containers if item.get_label() == label)
    assert isinstance(box, BarContainer)
    return [patch.get_height() for patch in box.patches]


@pytest.mark.parametrize(("units", "factor"), [(UnitSystem.US, 1.0), (UnitSystem.METRIC, KG_HA_PER_LB_AC)])
def test_rates_in_the_unit_system(units: UnitSystem, factor: float) -> None:
    figure = season_figure(season([LOW], applications=APPLIED, changes=[RAISE]), ADVICE, units)
    axes = panel(figure, f"Weekly rate ({units.rate_unit})")
    assert bars(axes, "planned") == pytest.approx([rate * factor for rate in season().plan.rates_lb_ac])
    assert bars(axes, "applied") == pytest.approx([rate * factor for rate in (3.5, 3.0, 7.0, 0.0)])
    assert bars(axes, "assumed") == pytest.approx([5.25 * factor])
    (decided,) = lines(axes, "decided")
    assert height_on(decided, date(2026, 3, 18)) == pytest.approx(7.0 * factor)
    assert np.isnan(height_on(decided, date(2026, 4, 8)))
    assert len([patch for patch in axes.patches if patch.get_hatch()]) == 4


@pytest.mark.parametrize(("units", "factor"), [(UnitSystem.US, 1.0), (UnitSystem.METRIC, KG_HA_PER_LB_AC)])
def test_totals_in_the_unit_system(units: UnitSystem, factor: float) -> None:
    figure = season_figure(season([LOW], applications=APPLIED, changes=[RAISE]), ADVICE, units)
    axes = panel(figure, "Nitrogen")
    x, y = data(lines(axes, "applied")[0])
    so_far = 40.0 + 3.5 + 3.0 + 7.0 + 5.25
    assert x[-1] == ADVICE.toordinal()
    assert y[-1] == pytest.approx(so_far * factor)
    assert data(lines(axes, "season cap")[0])[1][0] == pytest.approx(120.0 * factor)
    # the running week keeps its 7.0 to come, one week at the decided 7.0, the rest as planned
    expected = so_far + 7.0 + 7.0 + 2 * 5.25 + 3 * 7.0 + 3 * 3.5
    x, y = data(lines(axes, "to come")[0])
    assert (x[0], y[0]) == (ADVICE.toordinal(), pytest.approx(so_far * factor))
    assert y[-1] == pytest.approx(expected * factor)
    assert data(lines(axes, "plan alone")[0])[1][-1] == pytest.approx(110.0 * factor)
    left = (120.0 - so_far - 7.0) * factor
    assert f"season cap {120 * factor:.1f} {units.total_unit}: {left:.1f} left" in words(axes)
    assert (
        f"so far {so_far * factor:.1f} ({5.25 * factor:.1f} not logged, assumed), {7 * factor:.1f} more this week"
        in words(axes)
    )


def test_no_cap_no_cap_line() -> None:
    assert not lines(panel(season_figure(season(cap=None), ADVICE, UnitSystem.US), "Nitrogen"), "season cap")


# --- headings and words -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("item", "sentence"),
    [
        (LOW, "Petiole NO3-N 2,310 ppm on 9 Mar: below the band 4,000 to 6,000 ppm (week 2)"),
        (WITHIN, "Petiole NO3-N 3,650 ppm on 24 Mar: within the band 3,500 to 6,000 ppm (week 4)"),
        (replace(LOW, value=10.0, censor=Censor.BELOW), "Petiole NO3-N <10 ppm on 9 Mar: below the band"),
        (replace(LOW, censor=Censor.ABOVE), "Petiole NO3-N >2,310 ppm on 9 Mar: a bound that does not tell"),
    ],
)
def test_one_sentence_says_what_the_result_was(item: TissueResult, sentence: str) -> None:
    figure = season_figure(season([item]), ADVICE, UnitSystem.US)
    assert sentence in " ".join(text.get_text() for text in figure.texts)
    assert sentence in str(figure.get_label())


def test_alt_text_counts_and_sums() -> None:
    known = season([LOW, result(9, date(2026, 2, 24), 900.0)], applications=APPLIED)
    text = told(known)
    assert text.startswith("Season of North block as known on 28 Mar 2026")
    assert "Results with a band: 1; results not used: 1." in text
    assert "With credits, 58.8 lb N/ac is counted so far" in text
    assert 2 <= text.count(". ") + 1 <= 5


def test_every_text_is_large_enough_to_read() -> None:
    figure = season_figure(season([LOW, LEAF_N], (PETIOLE, LEAF), changes=[RAISE]), ADVICE, UnitSystem.US)
    sizes = [text.get_fontsize() for axes in figure.axes for text in axes.texts + axes.get_yticklabels()]
    assert min(sizes) >= 9.0


@pytest.mark.parametrize("on", [date(2026, 1, 1), START, ADVICE, date(2026, 5, 31), date(2026, 8, 1)])
@pytest.mark.parametrize("tables", [(), (PETIOLE,), (LEAF,)])
def test_an_empty_season_draws_on_any_day(tables: tuple[str, ...], on: date, tmp_path: Path) -> None:
    figure = season_figure(season(tables=tables, cap=None), on, UnitSystem.METRIC)
    save_figure(figure, tmp_path / "a.svg")
    assert "No usable result" in all_words(figure)


# --- files ------------------------------------------------------------------------------------------------


def full() -> Figure:
    one = season(
        [LOW, WITHIN, LEAF_N], (PETIOLE, LEAF), applications=APPLIED, changes=[RAISE], name="A & B <1> $x$"
    )
    return season_figure(one, ADVICE, UnitSystem.US, Shown([Mark(date(2026, 3, 13), "raise 33 %", "raise")]))


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_the_same_season_gives_the_same_bytes(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second, again = (tmp_path / f"{name}{suffix}" for name in "abc")
    figure = full()
    save_figure(figure, first)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    save_figure(full(), second)
    save_figure(figure, again)
    assert first.read_bytes() == second.read_bytes() == again.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == [f"a{suffix}", f"b{suffix}", f"c{suffix}"]


def test_another_suffix_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"\.png, \.svg, \.pdf"):
        save_figure(full(), tmp_path / "chart.bmp")
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(UserError, match="cannot be written"):
        save_figure(full(), tmp_path / "file" / "chart.png")
    assert (tmp_path / "file").read_text() == "in the way"


def test_inline_svg_is_one_named_element() -> None:
    text = figure_svg(full())
    assert text.startswith("<svg ")
    assert text.endswith("</svg>")
    assert text == figure_svg(full())
    root = ET.fromstring(text)
    assert root.get("role") == "img"
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert title.get("id") == root.get("aria-labelledby")
    assert title.text is not None
    assert title.text.startswith("Season of A & B <1> $x$ as known on 28 Mar 2026")
    assert "A & B <1> $x$: season as known on 28 Mar 2026" in "".join(root.itertext())


def test_ids_of_two_charts_on_one_page_do_not_meet() -> None:
    other = figure_svg(season_figure(season([LOW]), ADVICE, UnitSystem.US))
    trees = [ET.fromstring(figure_svg(full())), ET.fromstring(other)]
    ids = [[item.get("id") for item in tree.iter() if item.get("id")] for tree in trees]
    assert len(set(ids[0]) | set(ids[1])) == len(ids[0]) + len(ids[1])
    assert not set(ids[0]) & set(ids[1])
    for text, own in zip((figure_svg(full()), other), ids, strict=True):
        used = {part.split(")")[0] for part in text.split("url(#")[1:]}
        used |= {part.split('"')[0] for part in text.split('href="#')[1:]}
        assert used <= set(own)


# --- results before a correction ---------------------------------------------------------------------------


WRONG = replace(LOW, value=23_100.0)


def corrected(*versions: Replaced, results: Sequence[TissueResult] = (LOW,), paper: Paper = PAGE) -> Figure:
    return season_figure(season(results), ADVICE, UnitSystem.US, Shown(replaced=versions), paper)


def arrows(axes: Axes) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """From where to where each arrow between two results runs."""
    found = [text for text in axes.texts if isinstance(text, Annotation) and text.arrow_patch is not None]
    return [(note.xyann, note.xy) for note in found if note.anncoords == "data"]


def test_a_corrected_result_is_a_hollow_square_with_an_arrow_to_what_stands() -> None:
    axes = panel(corrected(Replaced(WRONG, LOW, "one zero too many")), "Petiole")
    day = LOW.sampled.toordinal()
    (mark,) = lines(axes, "before correction")
    assert points(axes, "before correction") == [(day, 23_100.0)]
    assert (mark.get_marker(), mark.get_markerfacecolor()) == ("s", "white")
    assert arrows(axes) == [((day, 23_100.0), (day, 2310.0))]
    assert "was 23,100,\ncorrected" in words(axes)
    assert points(axes, "below") == [(day, 2310.0)]
    assert axes.get_ylim()[1] > 23_100.0


def test_a_void_result_is_a_hollow_square_without_an_arrow() -> None:
    axes = panel(corrected(Replaced(WITHIN, None, "the other field")), "Petiole")
    (mark,) = lines(axes, "void")
    assert points(axes, "void") == [(WITHIN.sampled.toordinal(), 3650.0)]
    assert (mark.get_marker(), mark.get_markerfacecolor()) == ("s", "white")
    assert arrows(axes) == []
    assert "3,650\nvoid" in words(axes)


def test_a_correction_of_the_sampling_day_leads_from_one_day_to_the_other() -> None:
    early = replace(LOW, sampled=date(2026, 2, 2))
    figure = corrected(Replaced(early, LOW, "wrong day"))
    axes = panel(figure, "Petiole")
    assert arrows(axes) == [((early.sampled.toordinal(), 2310.0), (LOW.sampled.toordinal(), 2310.0))]
    for each in figure.axes:
        assert each.get_xlim()[0] < early.sampled.toordinal()


def test_a_correction_of_a_correction_leads_to_what_stands_both_times() -> None:
    twice = replace(LOW, value=231.0)
    axes = panel(corrected(Replaced(WRONG, LOW, "a zero"), Replaced(twice, LOW, "a zero")), "Petiole")
    assert {start[1] for start, _ in arrows(axes)} == {23_100.0, 231.0}
    assert {end[1] for _, end in arrows(axes)} == {2310.0}


def test_a_result_that_became_another_kind_has_no_arrow() -> None:
    sap = replace(LOW, value=380.0, basis=Basis.SAP)
    axes = panel(corrected(Replaced(LOW, sap, "it was sap"), results=()), "Petiole")
    assert points(axes, "before correction") == [(LOW.sampled.toordinal(), 2310.0)]
    assert arrows(axes) == []


def test_a_result_that_was_moved_to_another_block_leads_nowhere_on_this_chart() -> None:
    elsewhere = replace(LOW, block="south", value=3000.0)
    axes = panel(corrected(Replaced(LOW, elsewhere, "wrong block"), results=()), "Petiole")
    assert len(lines(axes, "before correction") + lines(axes, "void")) == 1
    assert arrows(axes) == []


def test_a_corrected_bound_far_off_does_not_squeeze_the_band() -> None:
    far = replace(LOW, value=1.0, censor=Censor.BELOW)
    axes = panel(corrected(Replaced(far, LOW, "misread")), "Petiole")
    assert axes.get_ylim()[0] > 100
    assert "was <1,\ncorrected" in words(axes)


def test_corrected_results_stand_in_the_panel_of_their_kind() -> None:
    before = Replaced(replace(LEAF_N, value=32.0), LEAF_N, "a dot too few")
    one = season([LOW, LEAF_N], (PETIOLE, LEAF))
    figure = season_figure(one, ADVICE, UnitSystem.US, Shown(replaced=[before]))
    assert points(panel(figure, "Leaf N"), "before correction") == [(LEAF_N.sampled.toordinal(), 32.0)]
    assert not points(panel(figure, "Petiole"), "before correction")


def test_without_a_correction_nothing_is_drawn_of_one() -> None:
    axes = panel(corrected(), "Petiole")
    assert not lines(axes, "before correction") + lines(axes, "void")
    assert not any("corrected" in text or "void" in text for text in words(axes))


# --- the trend carried on ----------------------------------------------------------------------------------


FALLING = [
    result(20 + week, date(2026, 3, 30) + timedelta(days=3 * week), 5500.0 - 500.0 * week) for week in range(5)
]
AFTER_FALL = date(2026, 4, 14)


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_the_trend_is_drawn_to_the_next_sample_with_its_spread_and_its_words(paper: Paper) -> None:
    one = season(FALLING)
    facts = one.facts(AFTER_FALL)
    ahead = projection(one, facts, evaluate(facts, one.policy))
    assert ahead is not None
    axes = panel(season_figure(one, AFTER_FALL, UnitSystem.US, paper=paper), "Petiole")
    (middle,) = lines(axes, "projected")
    assert list(zip(*data(middle), strict=True)) == [
        (point.on.toordinal(), point.middle) for point in ahead.points
    ]
    limits = [data(line)[1].tolist() for line in lines(axes, "projected limit")]
    assert limits == [[point.low for point in ahead.points], [point.high for point in ahead.points]]
    (spread,) = [item for item in axes.collections if item.get_label() == "projected spread"]
    assert spread.get_hatch()
    title = " ".join(axes.get_title(loc="left").split())
    assert (ahead.words in [" ".join(text.split()) for text in words(axes)]) is (paper is PAGE)
    assert (f"dotted: {ahead.words}" in title) is (paper is PHONE)
    assert ahead.points[0].middle == FALLING[-1].value


@pytest.mark.parametrize(
    ("results", "on"),
    [
        ([], ADVICE),
        ([LOW], ADVICE),
        (FALLING[:3], date(2026, 4, 8)),
        (FALLING, FALLING[-1].sampled + timedelta(15)),
    ],
)
def test_without_a_trend_or_a_fresh_sample_nothing_is_carried_on(results: list[TissueResult], on: date) -> None:
    axes = panel(season_figure(season(results), on, UnitSystem.US), "Petiole")
    assert not lines(axes, "projected") + lines(axes, "projected limit")
    assert not any(item.get_label() == "projected spread" for item in axes.collections)
    assert not any("trend" in text for text in words(axes))


def test_only_the_panel_of_the_deciding_kind_carries_the_trend_on() -> None:
    leaf = replace(LEAF_N, sampled=FALLING[-1].sampled)
    figure = season_figure(season([*FALLING, leaf], (PETIOLE, LEAF)), AFTER_FALL, UnitSystem.US)
    assert lines(panel(figure, "Petiole"), "projected")
    assert not lines(panel(figure, "Leaf N"), "projected")


def test_the_middle_of_the_trend_lies_within_the_axis() -> None:
    steep = [replace(item, value=3000.0 * 1.32**index) for index, item in enumerate(FALLING)]
    axes = panel(season_figure(season(steep), AFTER_FALL, UnitSystem.US), "Petiole")
    highest = max(data(lines(axes, "projected")[0])[1])
    # the other marks reach up to the interval of the last result, at about 1.3 times its value
    assert 1.3 * steep[-1].value < highest < axes.get_ylim()[1]


# --- advised and not yet decided ---------------------------------------------------------------------------


EARLY = date(2026, 3, 21)
VERY_LOW = result(1, date(2026, 3, 18), 2000.0)
FED = tuple(
    Application(40 + week, "north", START + timedelta(days=7 * week + 1), rate)
    for week, rate in enumerate((3.5, 3.5, 5.25, 5.25))
)
"""Applied as planned, so that nothing but the result speaks."""


def advised(one: BlockSeason, on: date = EARLY, paper: Paper = PAGE) -> Axes:
    return panel(season_figure(one, on, UnitSystem.US, paper=paper), "Weekly rate")


@pytest.mark.parametrize(
    ("item", "action"), [(VERY_LOW, Action.RAISE), (replace(VERY_LOW, value=9900.0), Action.CUT)]
)
def test_a_proposal_that_nobody_decided_on_is_drawn_dashed_and_named(item: TissueResult, action: Action) -> None:
    one = season([item], cap=None, applications=FED)
    found = one.advice(EARLY).recommendation
    assert found.action is action
    axes = advised(one)
    (line,) = lines(axes, "advised")
    for week, rate in zip(found.weeks, found.rates_lb_ac, strict=True):
        assert height_on(line, week.start) == pytest.approx(rate)
    assert line.is_dashed()
    assert not lines(axes, "decided")
    assert f"advised {found.rates_lb_ac[-1]:.2f}" in words(axes)


def test_weeks_that_the_proposal_leaves_alone_are_not_drawn() -> None:
    one = season([VERY_LOW], cap=None, applications=FED)
    (line,) = lines(advised(one), "advised")
    covered = {week.number for week in one.advice(EARLY).recommendation.weeks}
    for week in one.plan.weeks:
        assert np.isfinite(height_on(line, week.start)) == (week.number in covered)


def test_after_a_decision_there_is_no_proposal() -> None:
    change = Change(EARLY, date(2026, 3, 23), date(2026, 4, 12), 1.33, {5: 7.0, 6: 7.0, 7: 7.0}, 21)
    axes = advised(season([VERY_LOW], cap=None, applications=FED, changes=[change]))
    assert not lines(axes, "advised")
    assert len(lines(axes, "decided")) == 1
    assert not lines(axes, "decided")[0].is_dashed()
    left = replace(season([VERY_LOW], cap=None, applications=FED), left=(EARLY,))
    assert not lines(advised(left), "advised")


def test_a_hold_is_no_proposal() -> None:
    one = season([WITHIN], cap=None)
    on = date(2026, 3, 27)
    assert one.advice(on).recommendation.action is Action.HOLD
    assert not lines(advised(one, on), "advised")


def test_a_new_proposal_stands_beside_what_was_decided_before() -> None:
    change = Change(date(2026, 2, 27), date(2026, 3, 2), date(2026, 3, 12), 1.2, {2: 4.2, 3: 6.3}, 21)
    axes = advised(season([VERY_LOW], cap=None, applications=FED, changes=[change]))
    assert len(lines(axes, "decided")) == len(lines(axes, "advised")) == 1


# --- flags -------------------------------------------------------------------------------------------------


def test_the_review_date_has_a_flag_while_the_decision_is_in_force() -> None:
    one = season(changes=[RAISE])
    for on, there in ((RAISE.decided, True), (RAISE.review - timedelta(days=1), True), (RAISE.review, False)):
        named = words(panel(season_figure(one, on, UnitSystem.US), "days"))
        assert ("review 5 Apr" in named) is there
    before = words(panel(season_figure(one, RAISE.decided - timedelta(days=1), UnitSystem.US), "days"))
    assert not any(text.startswith("review") for text in before)


def test_a_day_beyond_the_axis_has_no_flag() -> None:
    assert not words(panel(season_figure(season(), date(2026, 12, 1), UnitSystem.US), "days"))


# --- a phone's paper ---------------------------------------------------------------------------------------


def on_a_phone(**rest: Any) -> Figure:
    one = season([LOW, WITHIN], applications=APPLIED, changes=[RAISE], **rest)
    marks = [Mark(date(2026, 3, 13), "raise 33 %", "raise"), Mark(date(2026, 3, 27), "hold", "hold")]
    return season_figure(one, ADVICE, UnitSystem.US, Shown(marks), PHONE)


def heading(axes: Axes) -> str:
    return axes.get_title(loc="left").replace("\n", " ")


def test_a_phones_panels_of_rates_and_totals_hold_no_words() -> None:
    for axes in on_a_phone().axes[-2:]:
        right = axes.get_window_extent().x1
        inside = [
            text.get_text() for text in axes.texts if text.get_text() and text.get_window_extent().x0 < right
        ]
        assert [text for text in inside if text != "0" and not text.startswith(NAMED_ENDS)] == []


NAMED_ENDS = ("planned", "decided", "plan alone", "as decided", "credits", "season cap")
"""Names in the margin, whose thin lines begin inside."""


def test_a_phones_titles_say_what_its_panels_have_no_room_for() -> None:
    figure = on_a_phone()
    assert heading(panel(figure, "Petiole")).endswith("decided: ▲ raise, ■ hold")
    rates = heading(panel(figure, "Weekly rate"))
    assert rates.endswith("outline planned, hatched applied, dotted not logged, thick line decided")
    totals = heading(panel(figure, "Nitrogen"))
    assert totals.endswith(
        "so far 58.8 (5.2 not logged, assumed), 7.0 more this week, 54.2 left under the season cap"
    )


def test_a_phones_key_names_only_what_is_drawn() -> None:
    bare = season_figure(season(), START, UnitSystem.US, paper=PHONE)
    assert heading(panel(bare, "Weekly rate")).endswith(": outline planned")
    raised = season_figure(season([VERY_LOW], cap=None, applications=FED), EARLY, UnitSystem.US, paper=PHONE)
    assert heading(panel(raised, "Weekly rate")).endswith("thick dashes advised")
    assert "under the season cap" not in heading(panel(raised, "Nitrogen"))
    assert "decided:" not in heading(panel(raised, "Petiole"))


def test_a_pages_titles_leave_the_words_to_the_panels() -> None:
    one = season([LOW, WITHIN], applications=APPLIED, changes=[RAISE])
    figure = season_figure(one, ADVICE, UnitSystem.US)
    assert heading(panel(figure, "Weekly rate")) == "Weekly rate (lb N/ac/week)"
    assert heading(panel(figure, "Nitrogen")) == "Nitrogen, credits included (lb N/ac)"
    assert {"applied", "not logged", "decided 7.00"} <= set(words(panel(figure, "Weekly rate")))


def test_a_phones_flags_are_short() -> None:
    named = words(panel(on_a_phone(), "days"))
    assert {"▲ 33 %", "■", "advice 28 Mar"} <= set(named)
    assert not any("raise" in text or "hold" in text for text in named)


def test_a_phones_chart_draws_the_same_data() -> None:
    one = season([LOW, WITHIN], applications=APPLIED, changes=[RAISE])
    page, phone = (season_figure(one, ADVICE, UnitSystem.US, paper=paper) for paper in (PAGE, PHONE))
    assert tuple(phone.get_size_inches()) == (PHONE.width_in, PHONE.height_in)
    for name in ("Petiole", "Weekly rate", "Nitrogen"):
        wide, narrow = panel(page, name), panel(phone, name)
        drawn = [(line.get_label(), *map(np.ndarray.tolist, data(line))) for line in wide.lines]
        np.testing.assert_equal(
            drawn, [(line.get_label(), *map(np.ndarray.tolist, data(line))) for line in narrow.lines]
        )
        assert wide.get_xlim() == narrow.get_xlim()


# --- names that people write -------------------------------------------------------------------------------


NAMES = (
    "A & B <b>1</b> <script>x</script>",
    "$x_1^2$ _north_ \\frac{1}{2} %",
    "costs $5 and $",
    "畑の北 一号",
    "Field 🍓 north",
    "حقل شمال",
    "Ünïcödé Über-Feld",
)


def drawn_silently(name: str, path: Path) -> Figure:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = season_figure(season([LOW], name=name), ADVICE, UnitSystem.US)
        save_figure(figure, path)
    return figure


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_drawn_as_it_is_written_without_a_warning(
    name: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    figure = drawn_silently(name, tmp_path / "a.svg")
    assert capfd.readouterr() == ("", "")
    assert f"{name}: season as known on 28 Mar 2026" in " ".join(text.get_text() for text in figure.texts)
    root = ET.fromstring((tmp_path / "a.svg").read_text("utf-8"))
    assert f"{name}: season as known" in " ".join("".join(root.itertext()).split())
    assert not [item for item in root.iter() if str(item.tag).endswith(("script", "}b"))]


@pytest.mark.parametrize("suffix", [".png", ".pdf"])
def test_letters_that_the_font_lacks_give_no_warning_in_any_file(
    suffix: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    drawn_silently(" ".join(NAMES), tmp_path / f"a{suffix}")
    assert capfd.readouterr() == ("", "")


WORDY = "The long field behind the old packing shed on the north side of the river and the road to the mill "
LONG = {
    "words": 2 * WORDY,
    "one word": "fieldbehindthe" * 15,
    "capitals": 2 * WORDY.upper(),
    "wide": "W" * 200,
    "Japanese": "畑の北" * 66,
}


@pytest.mark.parametrize("paper", [PAGE, PHONE])
@pytest.mark.parametrize("kind", LONG)
@pytest.mark.filterwarnings("ignore:Glyph:UserWarning")
def test_a_name_of_200_letters_is_cut_and_folded_onto_the_paper(kind: str, paper: Paper) -> None:
    name = LONG[kind][:200].strip()
    figure = season_figure(season([LOW], name=name), ADVICE, UnitSystem.US, paper=paper)
    drawn = "".join("".join(text.get_text().split()) for text in figure.texts)
    assert f"{''.join(name[:59].split())}…:seasonasknown" in drawn
    assert f"Season of {name[:59].rstrip()}… as known" in str(figure.get_label())
    boxes = [text.get_window_extent() for text in figure.texts]
    assert all(box.x0 >= 0 and box.y0 >= 0 and box.x1 <= figure.bbox.x1 for box in boxes)
    panels = [axes.get_window_extent() for axes in figure.axes]
    assert not any(box.overlaps(other) for box in boxes for other in panels)
    assert min(box.height for box in panels[1:]) > 50


# --- words for those who do not see it ---------------------------------------------------------------------


def test_alt_text_names_decisions_and_corrections() -> None:
    marks = [Mark(date(2026, 3, 13), "raise 33 %", "raise"), Mark(date(2026, 3, 27), "hold", "hold")]
    versions = [Replaced(WRONG, LOW, "a zero"), Replaced(WITHIN, None, "the other field")]
    one = season([LOW], applications=APPLIED)
    text = told(one, shown=Shown(marks, versions))
    assert " Decided: raise 33 % on 13 Mar; hold on 27 Mar." in text
    assert "Results with a band: 1; results not used: 0; corrected or void: 2." in text
    bare = told(one)
    assert "Decided" not in bare and "corrected" not in bare


# --- recalled bands, and weeks that rest -------------------------------------------------------------------


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_the_title_of_a_panel_says_that_its_band_is_recalled(paper: Paper) -> None:
    """Florida's sap table is recalled, that of the US Southeast is published."""
    sap = result(5, date(2026, 3, 10), 380.0, basis=Basis.SAP)
    figure = season_figure(season([LOW, sap], [PETIOLE, SAP]), ADVICE, UnitSystem.US, paper=paper)
    assert heading(panel(figure, "Petiole NO3-N, fresh sap (mg/L)")).startswith(
        "Petiole NO3-N, fresh sap (mg/L), band recalled"
    )
    assert "recalled" not in heading(panel(figure, "Petiole NO3-N, dry weight (ppm)"))
    assert "Band recalled, to be checked: Petiole sap NO3-N." in str(figure.get_label())
    assert "ecalled" not in told(season([LOW]))


def test_a_band_that_is_not_drawn_marks_nothing() -> None:
    figure = season_figure(season([LOW], [PETIOLE, SAP]), ADVICE, UnitSystem.US)
    assert "ecalled" not in str(figure.get_label())
    assert not any("recalled" in heading(axes) for axes in figure.axes)


@pytest.mark.parametrize("paper", [PAGE, PHONE])
def test_the_planned_rate_is_named_where_feeding_ends(paper: Paper) -> None:
    one = season([LOW])
    rests = replace(one, plan=replace(one.plan, rates_lb_ac=(*[5.25] * 8, *[0.0] * 6)))
    last = rests.plan.weeks[7].end.toordinal() + 0.5
    axes = panel(season_figure(rests, ADVICE, UnitSystem.US, paper=paper), "Weekly rate")
    (note,) = [text for text in axes.texts if text.get_text() == "planned 5.25"]
    assert isinstance(note, Annotation)
    assert note.xy == (last, 5.25)
    assert note.arrow_patch is None
    assert note.get_window_extent().x0 < axes.transData.transform((last, 0.0))[0] + 20
    ends = [
        text
        for text in axes.texts
        if isinstance(text, Annotation) and text.xy == (last, 5.25) and text is not note
    ]
    assert ends == []


def test_the_planned_rate_of_a_plan_that_feeds_to_its_end_is_named_in_the_margin() -> None:
    axes = panel(season_figure(season([LOW]), ADVICE, UnitSystem.US), "Weekly rate")
    (note,) = [text for text in axes.texts if text.get_text() == "planned 3.50"]
    assert isinstance(note, Annotation)
    assert note.arrow_patch is not None
    assert Text.get_window_extent(note).x0 >= axes.get_window_extent().x1
