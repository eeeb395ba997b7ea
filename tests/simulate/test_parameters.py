"""The figures of a crop's model: ranges, units, the demand curve, and that each names its source."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from fertadjust.errors import UserError
from fertadjust.simulate.parameters import CropModel, Range, crops, middle
from fertadjust.simulation_files import crop_model
from fertadjust.stages import StageDates
from fertadjust.units import KG_HA_PER_LB_AC
from tests.rules import names_a_source
from tests.simulate.support import often, random_crops, strawberry, typical

END = date(2026, 5, 24)


def a_range(low: float, high: float, unit: str = "lb/ac") -> Range:
    return Range(low=low, high=high, unit=unit, meaning="invented", source="none", evidence="project rule")


def changed(**values: Any) -> CropModel:
    return CropModel.model_validate(strawberry().model_dump(by_alias=True) | values)


def test_a_share_leads_from_the_low_to_the_high_end() -> None:
    assert a_range(2.0, 6.0).at(np.array([0.0, 0.25, 1.0])) == pytest.approx([2.0, 3.0, 6.0])


@pytest.mark.parametrize("unit", ["kg/ha", "kg/ha/day"])
def test_figures_per_hectare_come_out_per_acre(unit: str) -> None:
    """1.1 kg/ha/day is 0.98 lb/ac/day (BOTTOMS-2013)."""
    assert a_range(1.1, 1.1, unit).at(np.zeros(1))[0] == pytest.approx(0.98, abs=0.005)


@pytest.mark.parametrize(("low", "high"), [(2.0, 1.0), (float("nan"), 1.0), (0.0, float("inf"))])
def test_a_range_that_is_none_is_refused(low: float, high: float) -> None:
    with pytest.raises(ValidationError):
        a_range(low, high)


def test_every_figure_names_its_source_or_says_that_it_is_assumed() -> None:
    for name, figure in strawberry().figures.items():
        assert names_a_source(figure.source, figure.evidence.value), name
        assert figure.unit and figure.meaning, name


def test_every_range_is_drawn_and_the_order_is_fixed() -> None:
    names = list(strawberry().figures)
    assert names[0] == "peak_demand"
    assert len(names) == 12 + 4
    assert names[-4:] == ["demand_day_0", "demand_share_0", "demand_day_1", "demand_share_1"]


def test_the_middle_is_the_middle_of_every_range() -> None:
    """By hand from strawberry.toml."""
    found = middle(strawberry(), 2)
    peak = 1.15 / KG_HA_PER_LB_AC
    expected = {
        "peak": peak,
        "soil_start": 21.4,
        "mineralised": 0.19 / KG_HA_PER_LB_AC,
        "soil_reference": 16.5 * peak,
        "half_uptake": 1.25 * 16.5 * peak,
        "nitrify": 1 / 8.5,
        "drain": 0.13 * 3.5 / 75.0,
        "store_days": 4.5,
        "store_most": 3.25,
        "half_growth": 0.125,
    }
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx([value, value]), name
    assert found.seasons == 2


def test_need_scales_the_demand_and_not_the_soil() -> None:
    """The bed at which a crop is just supplied is one of diffusion, not of appetite: it stays."""
    model = strawberry()
    shares = dict.fromkeys(model.figures, np.full(1, 0.5))
    hungry = crops(model, shares, np.array([1.5]), np.array([0.5]))
    plain = typical()
    assert hungry.peak == pytest.approx(1.5 * plain.peak)
    assert hungry.soil_start == pytest.approx(0.5 * plain.soil_start)
    assert hungry.soil_reference == pytest.approx(plain.soil_reference)


def test_deficit_irrigation_drains_nothing() -> None:
    model = changed(irrigation=a_range(0.5, 0.9).model_dump())
    assert middle(model).drain[0] == 0.0


@often(60)
@given(day=st.floats(-50, 150), seed=st.integers(0, 1000))
def test_the_demand_runs_straight_between_its_points(day: float, seed: int) -> None:
    """Held against numpy.interp."""
    figures = random_crops(1, seed)
    points = [float(at[0]) for at, _ in figures.points]
    shares = [float(share[0]) for _, share in figures.points]
    assert figures.demand(day)[0] == pytest.approx(figures.peak[0] * np.interp(day, points, shares))


@often(60)
@given(day=st.floats(-50, 150), seed=st.integers(0, 1000))
def test_the_slope_is_that_of_the_demand(day: float, seed: int) -> None:
    """The area under the slope is the rise of the demand: by differences, away from the kinks."""
    figures = random_crops(1, seed)
    h = 1e-4
    kinks = [float(at[0]) for at, _ in figures.points]
    if min(abs(day - kink) for kink in kinks) < 2 * h:
        return
    by_difference = (figures.demand(day + h) - figures.demand(day - h)) / (2 * h)
    assert figures.demand_slope(day)[0] == pytest.approx(by_difference[0], abs=1e-9)


def test_day_by_season_gives_the_demand_of_each_season() -> None:
    figures = random_crops(3)
    days = np.array([0.0, 20.0, 80.0])
    for index, day in enumerate(days):
        assert figures.demand(days)[index] == figures.demand(float(day))[index]


def test_before_april_less_than_25_kg_are_taken_up() -> None:
    """Less than 25 kg/ha by the end of March (BOTTOMS-2013), held against 30 days from a bloom on 1 March.

    The middle lies at 21.6; where full fruit comes early and the demand at bloom is high a few draws reach 27.
    """
    figures = random_crops(200)
    grown = np.sum([figures.demand(float(day)) for day in range(30)], axis=0) * KG_HA_PER_LB_AC
    assert np.median(grown) < 25
    assert (grown < 25).mean() > 0.9
    assert grown.max() < 27


def test_the_first_stage_with_a_date_places_the_demand() -> None:
    """Fruit ripens four to six weeks after bloom (common practice); full bloom counts as day 10."""
    model = strawberry()
    bloom = date(2026, 3, 2)
    assert model.origin_day(StageDates({"first_bloom": bloom, "full_bloom": date(2026, 4, 1)}, END)) == bloom
    assert model.origin_day(StageDates({"full_bloom": date(2026, 3, 12)}, END)) == bloom
    assert model.origin_day(StageDates({"main_fruiting": date(2026, 4, 6)}, END)) == bloom


@pytest.mark.parametrize(
    ("system", "holds"),
    [("greenhouse", False), ("greenhouse, soilless", False), ("field", True), ("greenhouses", True)],
)
def test_a_model_is_not_for_the_systems_that_it_names_and_their_kinds(system: str, holds: bool) -> None:
    assert crop_model("tomato").holds_for(system) is holds
    assert strawberry().holds_for(system)


@pytest.mark.parametrize("crop", ["strawberry", "potato"])
def test_what_a_hectare_is_taken_for_is_said(crop: str) -> None:
    assert any("a hectare of whatever the plan's rate is per" in text for text in crop_model(crop).tells_not)


def test_without_a_date_the_stages_that_would_do_are_named() -> None:
    with pytest.raises(UserError) as caught:
        strawberry().origin_day(StageDates({}, END))
    assert "first bloom, early bloom, full bloom, fruit set, main fruiting" in str(caught.value)


@pytest.mark.parametrize(
    "values",
    [
        {"store_most": a_range(1.0, 2.0).model_dump()},
        {"demand": []},
        {"origins": []},
        {"tells_not": []},
        {"schema": 2},
        {"colour": "green"},
    ],
)
def test_a_model_that_cannot_work_is_refused(values: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        changed(**values)


@pytest.mark.parametrize(("first", "second"), [((0, 30), (28, 42)), ((0, 28), (28, 42)), ((50, 50), (28, 42))])
def test_points_of_the_demand_that_may_overlap_are_refused(
    first: tuple[float, float], second: tuple[float, float]
) -> None:
    share = a_range(0.5, 0.5).model_dump()
    points = [{"day": a_range(*ends).model_dump(), "share": share} for ends in (first, second)]
    with pytest.raises(ValidationError, match="lie apart"):
        changed(demand=points)
