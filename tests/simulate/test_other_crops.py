"""The crop models of tomato and potato against what is published about them, and where they do not hold."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from fertadjust.errors import UserError
from fertadjust.evidence import split_sources
from fertadjust.season import BlockSeason
from fertadjust.shipped import citations, crop_stages, shipped_policy, shipped_tables
from fertadjust.simulate.calibration import NOTHING_WRONG, fed_at, fitted, positions
from fertadjust.simulate.loop import table_of
from fertadjust.simulate.outlook import PLAN, RULES, outlook
from fertadjust.simulate.parameters import Array, CropModel, crops, middle
from fertadjust.simulate.reference import Reference
from fertadjust.simulation_files import crop_model
from fertadjust.stages import StageDates
from fertadjust.tissue import Tissue
from fertadjust.units import DAYS_PER_WEEK, KG_HA_PER_LB_AC
from tests import support

FIRST_DAY = date(2026, 4, 6)
"""Invented: the first day of feeding, day 0 of both demand curves."""

TOMATO_SAP = "tomato-petiole-sap-florida"
TOMATO_ONE_EDGE = "tomato-processing-petiole-dry-california"
POTATO_SAP = "potato-petiole-sap-florida"
POTATO_DRY = "potato-russet-burbank-petiole-dry-minnesota"
WEEKS = {"tomato": 15, "potato": 14}
CROPS = tuple(WEEKS)

TOMATO_ENOUGH = 200.0 / KG_HA_PER_LB_AC
"""TOMATO-N-2009: about 200 kg/ha of seasonal nitrogen is enough."""

POTATO_TOTAL = 250.0
"""UF-HS1429: 200 to 250 lb N/ac in the season by yield goal; the higher one."""


def season(crop: str, table: str, total: float) -> BlockSeason:
    """A season whose nitrogen [lb/ac] is spread over its weeks in proportion to the model's own demand."""
    model = crop_model(crop)
    need = daily_demand(model).reshape(-1, DAYS_PER_WEEK).sum(axis=1)
    the_plan = support.plan(tuple(float(rate) for rate in total * need / need.sum()), start=FIRST_DAY)
    days = {origin.stage: origin.day for origin in model.origins}
    names = sorted((*shipped_tables()[table].needs, *_FROM[crop]), key=days.__getitem__)
    dates = {name: FIRST_DAY + timedelta(days=days[name]) for name in names}
    return support.season(
        the_plan=the_plan,
        the_policy=shipped_policy("general"),
        tables=(table,),
        stages=StageDates(dates, the_plan.end),
    )


_FROM = {"tomato": ("transplanting",), "potato": ("emergence",)}


def daily_demand(model: CropModel, peak: float = 0.5) -> Array:
    """Demand of each day of the season [lb/ac], all else in the middle.

    Args:
        model: the crop.
        peak: share of the way through the range of the peak demand.
    """
    shares = {name: np.array([peak if name == "peak_demand" else 0.5]) for name in model.figures}
    figures = crops(model, shares, np.ones(1), np.ones(1))
    days = np.arange(DAYS_PER_WEEK * WEEKS[model.crop]) + 0.5
    return np.array([figures.demand(float(day))[0] for day in days])


def curve(crop: str, table: str, total: float, factor: float) -> Array:
    """Median band position of each week that has a band."""
    found = positions(fed_at(season(crop, table, total), crop_model(crop), factor))
    return found[~np.isnan(found)]


# --- the demand ----------------------------------------------------------------------------------------------


def test_tomato_takes_up_what_the_best_fields_did_within_its_published_peak() -> None:
    # TOMATO-N-2009: peak of 4 to 5 kg/ha/day; best fields 296 kg/ha
    least, most = (KG_HA_PER_LB_AC * daily_demand(crop_model("tomato"), peak).sum() for peak in (0.0, 1.0))
    assert least < 296.0 < most
    assert KG_HA_PER_LB_AC * daily_demand(crop_model("tomato")).sum() == pytest.approx(296.0, rel=0.02)


@pytest.mark.parametrize(("share", "peak"), [(0.0, 4.0), (0.5, 4.5), (1.0, 5.0)])
def test_tomato_peak_lasts_about_six_weeks(share: float, peak: float) -> None:
    # TOMATO-N-2009: 4 to 5 kg/ha/day for about 6 weeks, early fruit set to early red fruit
    demand = KG_HA_PER_LB_AC * daily_demand(crop_model("tomato"), share)
    assert demand.max() == pytest.approx(peak)
    assert np.count_nonzero(demand > 0.999 * peak) == 6 * DAYS_PER_WEEK


def test_tomato_peak_runs_from_early_fruit_set_to_early_red_fruit() -> None:
    model = crop_model("tomato")
    day = {origin.stage: origin.day for origin in model.origins}
    demand = daily_demand(model)
    assert demand[day["early_fruit_set"]] == demand[day["first_colour"] - 1] == demand.max()
    assert demand[day["early_fruit_set"] - 1] < demand.max() > demand[day["first_colour"]]


def test_potato_takes_up_3_7_kg_a_day_while_tubers_bulk() -> None:
    # WK85: 3.7 kg/ha/day in linear bulking
    model = crop_model("potato")
    day = {origin.stage: origin.day for origin in model.origins}
    bulking = KG_HA_PER_LB_AC * daily_demand(model)[day["tuber_bulking"] : day["maturation"]]
    assert bulking == pytest.approx(3.7)
    assert KG_HA_PER_LB_AC * daily_demand(model).max() == pytest.approx(3.7)


def test_potato_is_just_supplied_at_the_published_soil_nitrate() -> None:
    # WK85: met where soil NO3-N is above 7.5 mg/kg in 0-46 cm. PURDUE-SOIL-N: lb/ac = (depth in inches / 3) x ppm
    inches = 46.0 / 2.54
    assert middle(crop_model("potato")).soil_reference[0] == pytest.approx(7.5 * inches / 3, rel=0.01)


# --- along the band ------------------------------------------------------------------------------------------


def test_potato_runs_within_the_band_at_the_higher_of_floridas_totals() -> None:
    # UF-HS1429 for the total, UF-CV004 (recalled) for the band
    found = curve("potato", POTATO_SAP, POTATO_TOTAL, 1.0)
    assert len(found) == 11
    assert np.all((found > 0.0) & (found < 1.0))


def test_potato_runs_within_a_band_that_it_was_not_fitted_to() -> None:
    # UMN (recalled): dry petioles in Minnesota
    found = curve("potato", POTATO_DRY, POTATO_TOTAL, 1.0)
    assert np.all((found > 0.0) & (found < 1.0))


def test_potato_fed_half_falls_below_the_band_and_stays_there() -> None:
    found = curve("potato", POTATO_SAP, POTATO_TOTAL, 0.5)
    assert np.all(found < 0.0)


def test_potato_fed_double_runs_above_the_band() -> None:
    assert np.all(curve("potato", POTATO_SAP, POTATO_TOTAL, 2.0) > 1.0)


def test_potato_fed_the_lower_of_floridas_totals_runs_below_the_band() -> None:
    # UF-HS1429: 200 lb N/ac. What the model says it does not tell
    found = curve("potato", POTATO_SAP, 200.0, 1.0)
    assert np.all(found[1:] < 0.0)


def test_nitrogen_at_the_start_of_potato_is_what_it_was_fitted_to() -> None:
    model = crop_model("potato")
    figure = model.soil_at_start
    fit = fitted(season("potato", POTATO_SAP, POTATO_TOTAL), model)
    assert (figure.low + figure.high) / 2 == pytest.approx(fit.soil_at_start, abs=0.3)
    assert fit.off < 0.2


def test_nitrogen_at_the_start_of_tomato_is_what_the_publication_leaves_to_the_soil() -> None:
    # TOMATO-N-2009: best fields 296 kg/ha, about 200 kg/ha enough; the soil frees the rest day by day for 15 weeks
    model = crop_model("tomato")
    figure, freed = model.soil_at_start, (model.mineralised.low + model.mineralised.high) / 2 * 105
    assert (figure.low + figure.high) / 2 == pytest.approx((296.0 - 200.0 - freed) / KG_HA_PER_LB_AC, abs=0.2)
    assert figure.fitted == ""


def test_tomato_fed_what_is_published_as_enough_runs_below_the_band_from_the_sixth_week_as_it_says() -> None:
    # UF-CV004 (recalled) for the band, which begins with first buds in week 4
    found = curve("tomato", TOMATO_SAP, TOMATO_ENOUGH, 1.0)
    assert len(found) == 12
    assert np.all((found[1:2] > 0.0) & (found[1:2] < 1.0))
    assert np.all(found[2:] < 0.0)
    assert any("from the sixth week on" in line for line in crop_model("tomato").tells_not)


def test_tomato_fed_half_as_much_again_and_more_runs_within_the_band_as_it_says() -> None:
    """Within a tenth of the band's width; fed a quarter more than enough it is still below."""
    found = curve("tomato", TOMATO_SAP, TOMATO_ENOUGH, 325 / 200)
    assert np.all((found[1:] > -0.1) & (found[1:] < 1.1))
    assert np.any(curve("tomato", TOMATO_SAP, TOMATO_ENOUGH, 1.25) < -0.1)
    assert any("about 325 kg/ha" in line for line in crop_model("tomato").tells_not)


def test_tomato_answers_to_half_and_double() -> None:
    half, whole, double = (curve("tomato", TOMATO_SAP, TOMATO_ENOUGH, factor) for factor in (0.5, 1.0, 2.0))
    assert np.all(half < whole)
    assert np.all(whole < double)
    assert np.all(half[2:] < 0.0)
    assert np.all(double[-5:] > 1.0)


@pytest.mark.parametrize(("crop", "table"), [("tomato", TOMATO_SAP), ("potato", POTATO_SAP)])
@pytest.mark.parametrize("factor", [0.0, 1.0, 3.0])
def test_pools_stay_above_nothing_and_no_nitrogen_is_lost(crop: str, table: str, factor: float) -> None:
    course = fed_at(season(crop, table, TOMATO_ENOUGH), crop_model(crop), factor, seasons=100)
    assert np.all(course.value > 0.0)
    assert all(np.all(pool >= 0.0) for pool in course.state)
    assert course.state.total == pytest.approx(course.begun + course.applied.sum(axis=0) + course.brought)


@pytest.mark.parametrize(
    ("crop", "table", "policy"),
    [("tomato", TOMATO_SAP, "florida-tomato"), ("potato", POTATO_SAP, "potato-irrigated")],
)
def test_the_rules_raise_a_crop_that_is_planned_too_little(crop: str, table: str, policy: str) -> None:
    # invented: half of what is published, bounds wide enough not to matter
    base = season(crop, table, TOMATO_ENOUGH / 2)
    plan = replace(base.plan, floor_lb_ac=0.0, ceiling_lb_ac=40.0)
    found = outlook(replace(base, plan=plan, policy=shipped_policy(policy)), crop_model(crop), NOTHING_WRONG, 20)
    more = found.run(RULES).beside(found.run(PLAN), "applied")
    assert more.low > 0.0


# --- what places and backs them ------------------------------------------------------------------------------


@pytest.mark.parametrize("crop", CROPS)
def test_each_stage_of_a_shipped_table_can_place_the_demand(crop: str) -> None:
    model = crop_model(crop)
    tables = [table for table in shipped_tables().values() if crop in table.crops]
    used = {stage for table in tables for stage in (*table.needs, *([table.ends_with] if table.ends_with else []))}
    assert used
    for stage in used:
        day = next(origin.day for origin in model.origins if origin.stage == stage)
        dates = StageDates({stage: FIRST_DAY + timedelta(days=day)}, FIRST_DAY + timedelta(days=200))
        assert model.origin_day(dates) == FIRST_DAY


@pytest.mark.parametrize("crop", CROPS)
def test_days_of_the_stages_follow_the_crops_order(crop: str) -> None:
    order = next(item.order for item in crop_stages().crops if item.crop == crop)
    day = {origin.stage: origin.day for origin in crop_model(crop).origins}
    place = {stage: index for index, group in enumerate(order) for stage in group}
    assert set(day) <= set(place)
    for early in day:
        for late in day:
            if place[early] < place[late]:
                assert day[early] < day[late], f"{early} and {late}"


@pytest.mark.parametrize("crop", CROPS)
def test_a_season_without_a_stage_of_the_crop_is_told_which_ones_it_could_have(crop: str) -> None:
    with pytest.raises(UserError, match=f"model of {crop} needs the date of one of these stages"):
        crop_model(crop).origin_day(StageDates({}, FIRST_DAY))


@pytest.mark.parametrize("crop", CROPS)
def test_each_figure_has_a_known_source_or_says_that_it_is_assumed(crop: str) -> None:
    known = citations()
    for name, figure in crop_model(crop).figures.items():
        keys = split_sources(figure.source)
        assert set(keys) <= set(known), name
        assert figure.unit, name
        assert figure.meaning, name
        if not keys:
            assert figure.evidence.value in ("project rule", "common practice"), name


@pytest.mark.parametrize("crop", CROPS)
def test_a_wide_range_is_never_called_published(crop: str) -> None:
    ranges = {
        name
        for name, figure in crop_model(crop).figures.items()
        if figure.evidence == "published" and figure.low < figure.high
    }
    assert ranges == ({"peak_demand"} if crop == "tomato" else set())


# --- what they refuse ----------------------------------------------------------------------------------------


def test_tomato_is_not_run_against_a_table_with_one_edge() -> None:
    one_edge = season("tomato", TOMATO_ONE_EDGE, TOMATO_ENOUGH)
    with pytest.raises(
        UserError, match=f"bands with both edges; row X21-01 of {TOMATO_ONE_EDGE} has one edge only"
    ):
        fed_at(one_edge, crop_model("tomato"), 1.0, seasons=1)


@pytest.mark.parametrize("crop", CROPS)
def test_each_petiole_table_of_the_crop_runs_or_says_that_it_has_one_edge(crop: str) -> None:
    tables = [t for t in shipped_tables().values() if crop in t.crops and t.tissue is Tissue.PETIOLE]
    refused = set()
    for table in tables:
        one = season(crop, table.id, TOMATO_ENOUGH)
        try:
            Reference.of(table_of(one), one.stages, one.plan.start, DAYS_PER_WEEK * WEEKS[crop])
        except UserError as error:
            assert "one edge only" in str(error)
            refused.add(table.id)
    assert (
        refused
        == {
            "tomato": {TOMATO_ONE_EDGE},
            "potato": {
                "potato-petiole-dry-california",
                "potato-russet-burbank-petiole-dry-idaho-critical",
                "potato-shepody-petiole-dry-maine",
            },
        }[crop]
    )


def test_a_crop_without_a_model_is_told_which_crops_have_one() -> None:
    with pytest.raises(UserError) as caught:
        crop_model("pepper")
    assert "there is no crop model for pepper" in str(caught.value)
    assert "potato, strawberry, tomato" in str(caught.value)
