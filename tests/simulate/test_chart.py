"""The chart of simulated seasons: what it draws and says. Seasons are invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from fertadjust.chart_style import rendered
from fertadjust.simulate.guards import with_values
from fertadjust.simulate.outlook import PLAN, RULES, TRIED, Outlook, outlook
from fertadjust.simulate.scenario import Origin
from fertadjust.simulation_chart import outlook_figure
from fertadjust.simulation_files import crop_model
from fertadjust.units import UnitSystem
from tests.chart_support import collisions, shapes
from tests.simulate.support import georgia, scenario, strawberry

US, METRIC = UnitSystem.US, UnitSystem.METRIC


@pytest.fixture(scope="module")
def found() -> Outlook:
    base = georgia(cap=130.0)
    return outlook(base, strawberry(), scenario("rough"), 25, tried={"confidence": 0.6})


@pytest.fixture(scope="module")
def plain() -> Outlook:
    """Two weeks more than the table has bands for."""
    return outlook(georgia((5.25,) * 14), strawberry(), scenario("usual"), 20)


@pytest.fixture(scope="module")
def figure(found: Outlook) -> Figure:
    return outlook_figure(found, US)


def line(axes: Axes, name: str) -> NDArray[np.float64]:
    [found] = [item for item in axes.lines if item.get_label() == name]
    return np.asarray(found.get_ydata(), dtype=np.float64)


def names(axes: Axes) -> list[str]:
    return [str(item.get_label()) for item in axes.lines]


def said(figure: Figure) -> str:
    return " ".join(item.words for item in shapes(figure))


def test_the_band_is_that_of_the_season_file(plain: Outlook) -> None:
    """UGA-2021: 600 to 1,500 ppm in the first week, none after the 12th."""
    axes = outlook_figure(plain, US).axes[0]
    low, high = line(axes, "low edge"), line(axes, "high edge")
    assert (low[0], high[0]) == (600, 1500)
    assert low[::2] == pytest.approx(plain.bands()[0], nan_ok=True)
    assert np.isnan(low[-28:]).all() and np.isfinite(low[:-28]).all()
    assert "band" in [item.get_label() for item in axes.collections]


def test_medians_and_limits_are_those_of_the_seasons(found: Outlook, figure: Figure) -> None:
    upper, lower = figure.axes
    for name in (PLAN, RULES, TRIED):
        run = found.run(name)
        assert line(upper, name) == pytest.approx(np.median(run.value, axis=1))
        assert line(upper, f"{name} 5 %") == pytest.approx(np.quantile(run.value, 0.05, axis=1))
        assert line(upper, f"{name} 95 %") == pytest.approx(np.quantile(run.value, 0.95, axis=1))
        assert line(lower, name)[::2] == pytest.approx(np.median(run.rate, axis=1))
    assert line(lower, "rules 95 %")[::2] == pytest.approx(np.quantile(found.run(RULES).rate, 0.95, axis=1))
    assert upper.get_yscale() == "log"


def test_the_rules_have_shades_for_half_and_for_nine_in_ten(found: Outlook, figure: Figure) -> None:
    values = found.run(RULES).value
    shades = {item.get_label(): item.get_paths()[0].vertices[:, 1] for item in figure.axes[0].collections}
    for name, low, high in (("nine in ten", 0.05, 0.95), ("middle half", 0.25, 0.75)):
        assert min(shades[name]) == pytest.approx(np.quantile(values, low, axis=1).min())
        assert max(shades[name]) == pytest.approx(np.quantile(values, high, axis=1).max())


def test_ways_differ_by_line_and_not_by_colour_alone(figure: Figure) -> None:
    medians = [item for item in figure.axes[0].lines if item.get_label() in (PLAN, RULES, TRIED)]
    assert len({item._dash_pattern[1] and tuple(item._dash_pattern[1]) for item in medians}) == 3  # type: ignore[attr-defined]
    assert len({item.get_color() for item in medians}) == 3


def test_rates_stand_between_floor_and_ceiling_in_the_units_of_the_season(found: Outlook) -> None:
    """1 lb/ac is 1.120851 kg/ha, from the exact definitions of pound and acre."""
    for units, factor in ((US, 1.0), (METRIC, 1.120851)):
        figure = outlook_figure(found, units)
        lower = figure.axes[1]
        assert line(lower, "floor")[0] == pytest.approx(3.0 * factor)
        assert line(lower, "ceiling")[0] == pytest.approx(7.0 * factor)
        assert line(lower, PLAN)[0] == pytest.approx(3.5 * factor)
        assert units.rate_unit in said(figure)
        assert f"ceiling {7.0 * factor:.2f}" in said(figure)
        assert lower.get_ylim()[1] > line(lower, "ceiling")[0]


def test_nothing_stands_for_what_was_not_tried(plain: Outlook) -> None:
    figure = outlook_figure(plain, US)
    assert not any("tried" in name for axes in figure.axes for name in names(axes))
    assert "tried" not in said(figure)
    assert "tried" not in figure.get_label()


def test_the_chart_says_that_it_is_simulated_and_a_model(found: Outlook, figure: Figure) -> None:
    text = said(figure)
    assert "North: 25 simulated seasons" in text
    assert "Simulated: Petiole NO3-N, dry weight (ppm)" in text
    assert "Simulated: weekly rate (lb N/ac/week)" in text
    assert "A model, not a forecast: " in text
    assert found.setup.scenario.title.split()[0] in text and "figures are assumed" in text
    for name in ("low edge", "high edge", "floor 3.00", "plan", "rules", "tried", "rules 95 %"):
        assert name in text


def test_the_figure_tells_in_words_what_it_shows(found: Outlook, figure: Figure) -> None:
    label = str(figure.get_label())
    assert label.startswith("Simulated seasons of North: ")
    assert "under plan, rules and tried" in label
    assert "A model, not a forecast" in label


@pytest.mark.parametrize("name", ["North", "W" * 60, "النهر \N{RIGHT-TO-LEFT OVERRIDE}\nbelow"])
@pytest.mark.parametrize("which", ["found", "plain"])
def test_texts_fit_and_lie_apart(request: pytest.FixtureRequest, which: str, name: str) -> None:
    base: Outlook = request.getfixturevalue(which)
    season = replace(base.setup.season, block=replace(base.setup.season.block, name=name))
    figure = outlook_figure(replace(base, setup=replace(base.setup, season=season)), METRIC)
    texts = shapes(figure)
    wide, high = (float(side) * figure.dpi for side in figure.get_size_inches())
    assert wide == 800
    for item in texts:
        assert item.box.x0 >= 0 and item.box.x1 <= wide, item.words
        assert item.box.y0 >= 0 and item.box.y1 <= high, item.words
    assert [item for item in collisions(texts) if item[0] > 0.05] == []


def test_a_spread_far_off_does_not_flatten_the_band(found: Outlook) -> None:
    """Of seasons that fall to next to nothing, the axis holds no more than ten times beyond band and medians.

    What leaves it is told in words, with how far it goes.
    """
    runs = tuple(replace(run, value=np.where(np.arange(25) < 3, 0.01, run.value)) for run in found.runs)
    figure = outlook_figure(replace(found, runs=runs), US)
    low, _ = figure.axes[0].get_ylim()
    medians = [np.median(run.value, axis=1).min() for run in runs]
    assert low > min(*medians, float(np.nanmin(found.bands()[0]))) / 13
    text = " ".join(said(figure).split())
    assert (
        "Beyond the panel: rules 5 % falls to 0.01 ppm; plan 5 % falls to 0.01 ppm; tried 5 % falls to 0.01 ppm."
        in text
    )
    assert "plan 5 %, below" in text and "plan 95 %, above" not in text
    assert [item for item in collisions(shapes(figure)) if item[0] > 0.05] == []


def test_a_spread_that_lies_near_stays_on_the_axis(found: Outlook, figure: Figure) -> None:
    """In the scenario in which everything goes wrong the lowest twentieth falls far below the band."""
    low, high = figure.axes[0].get_ylim()
    for run in found.runs:
        assert low < np.quantile(run.value, 0.05, axis=1).min()
        assert high > np.quantile(run.value, 0.95, axis=1).max()
    assert "Beyond the panel" not in said(figure)
    assert np.quantile(found.run(PLAN).value, 0.05, axis=1).min() < float(np.nanmin(found.bands()[0])) / 3


def test_days_before_the_first_and_after_the_last_band_are_left_out(plain: Outlook, figure: Figure) -> None:
    """UGA-2021 has no band before first bloom; here the plan begins with a week of none."""
    low = plain.reference.low.copy()
    low[:77] = np.nan
    early = replace(plain, reference=replace(plain.reference, low=low))
    drawn = outlook_figure(early, US)
    axes = drawn.axes[0]
    [median] = [item for item in axes.lines if item.get_label() == RULES]
    start = plain.setup.season.plan.start.toordinal()
    assert np.asarray(median.get_xdata()).tolist() == [start + day for day in range(7, 84)]
    assert line(axes, RULES) == pytest.approx(np.median(plain.run(RULES).value[7:84], axis=1))
    assert "Days before the first and after the last band are left out" in " ".join(said(drawn).split())
    assert "Days after the last band are left out" in " ".join(said(outlook_figure(plain, US)).split())
    assert "left out" not in said(figure)
    assert line(drawn.axes[1], RULES).size == 2 * 14


def test_the_foot_says_what_the_seasons_were_made_of(found: Outlook) -> None:
    policy = with_values(found.setup.season.policy, {"confidence": 0.7})
    season = replace(found.setup.season, policy=policy)
    setup = replace(found.setup, season=season, model=crop_model("tomato"))
    own = replace(found, setup=setup, origin=Origin("our.toml", "rough", "weekly"))
    text = " ".join(said(outlook_figure(own, METRIC)).split())
    for part in (
        "Tried: confidence = 0.6 probability instead of 0.7 probability.",
        "Rule values that the season file sets: confidence = 0.7 probability.",
        "scenario rough (file our.toml, on rough), seed 1.",
        "Sampled weekly instead.",
        "rules strawberry-annual-plasticulture",
        "band table strawberry-petiole-dry-us-southeast",
        "rates per hectare of bed top",
        "Mind that in this model a tomato crop",
    ):
        assert part in text, part
    assert "a tomato crop fed as published" in str(outlook_figure(own, METRIC).get_label())


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_the_same_seasons_give_the_same_bytes(found: Outlook, suffix: str) -> None:
    assert rendered(outlook_figure(found, US), suffix) == rendered(outlook_figure(found, US), suffix)
