"""The crop-nitrogen model held against balances, analytic solutions, another integrator and what is published."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fertadjust.evidence import Evidence
from fertadjust.shipped import shipped_policy
from fertadjust.simulate.crop_model import (
    STEPS_PER_DAY,
    State,
    fed,
    one_day,
    rained_on,
    rates,
    reference_store,
    start,
    supply_ratio,
)
from fertadjust.simulate.parameters import Array, Crops
from fertadjust.simulation_files import crop_model
from fertadjust.units import KG_HA_PER_LB_AC
from tests.simulate.support import FRUITING, level, often, random_crops, state, strawberry, through, typical

ROUNDING = 1e-11
"""lb N/ac over a season: some thousand additions in double precision."""


# --- mass balance (analytic: the total changes by what is fed and by nothing else) ----------------------------

amounts = st.lists(st.floats(0.0, 20.0), min_size=1, max_size=40)


@often(30)
@given(
    seed=st.integers(0, 10_000),
    need=st.floats(0.1, 3.0),
    bloom=st.floats(-30.0, 60.0),
    nitrate=amounts,
    ammonium=amounts,
    water=st.floats(0.0, 2.0),
    lost=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=40),
)
def test_every_pound_fed_or_mineralised_is_found_again_at_every_day(
    seed: int,
    need: float,
    bloom: float,
    nitrate: list[float],
    ammonium: list[float],
    water: float,
    lost: list[float],
) -> None:
    figures = random_crops(3, seed, need)
    now = start(figures, bloom)
    total = now.total.copy()
    none = np.zeros(3)
    for day in range(40):
        as_nitrate, as_ammonium = nitrate[day % len(nitrate)], ammonium[day % len(ammonium)]
        now = fed(now, none + as_nitrate + water, none + as_ammonium)
        total += as_nitrate + water + as_ammonium
        now = rained_on(now, none + lost[day % len(lost)])
        assert now.total == pytest.approx(total, abs=ROUNDING)
        now = one_day(figures, now, bloom + day)
        assert now.total == pytest.approx(total, abs=ROUNDING)
        assert now.mineralised == pytest.approx(figures.mineralised * (day + 1), abs=ROUNDING)
        assert all((pool >= 0.0).all() for pool in now)


@pytest.mark.parametrize("steps", [1, 2, 4, 7])
def test_the_balance_closes_within_a_day_for_any_number_of_steps(steps: int) -> None:
    figures = random_crops(50)
    now = start(figures, 10.0)
    assert one_day(figures, now, 10.0, steps).total == pytest.approx(now.total, abs=ROUNDING)


def test_a_rain_moves_nitrate_out_and_touches_nothing_else() -> None:
    before = state(ammonium=2.0, nitrate=10.0, store=4.0, growth=3.0, leached=1.0)
    after = rained_on(before, np.array([0.3]))
    assert after == before._replace(nitrate=np.array([7.0]), leached=np.array([4.0]))


# --- limits ---------------------------------------------------------------------------------------------------


def test_a_crop_that_hardly_needs_anything_takes_hardly_anything() -> None:
    figures = level(peak=1e-9)
    last = through(figures, state(nitrate=20.0, store=4e-9), 60)[-1]
    assert last.nitrate == pytest.approx(20.0, abs=1e-6)
    assert last.growth == pytest.approx(0.0, abs=1e-6)


def test_a_full_store_takes_up_nothing() -> None:
    figures = level()
    full = state(nitrate=50.0, store=12.0)
    assert rates(figures, full, 0.0).store == pytest.approx(-rates(figures, full, 0.0).growth)
    over = full._replace(store=np.array([15.0]))
    assert rates(figures, over, 0.0).nitrate == pytest.approx(0.0)


def test_without_any_supply_no_more_grows_than_there_is() -> None:
    figures = random_crops(40)._replace(mineralised=np.zeros(40), soil_start=np.zeros(40))
    begun = start(figures, FRUITING)
    states = through(figures, begun, 200)
    stored = begun.store
    for now in states:
        assert (now.growth <= stored + ROUNDING).all()
        assert (now.store >= 0.0).all()
    # Growth is asked for until the store is all but empty: what is left is under 0.1 % of it after 200 days.
    assert (states[-1].store < 0.001 * stored).all()
    assert all((late.growth >= early.growth).all() for early, late in pairwise(states))


def test_without_drainage_or_rain_nothing_is_leached() -> None:
    figures = random_crops(20)._replace(drain=np.zeros(20))
    assert through(figures, start(figures, FRUITING), 100, amount=2.0)[-1].leached.max() == 0.0


def test_irrigation_up_to_the_water_use_drains_nothing() -> None:
    model = strawberry()
    assert typical().drain[0] == pytest.approx((1.13 - 1.0) * 3.5 / 75.0)
    assert model.irrigation.low == 1.0


@pytest.mark.parametrize("soil", [0.0, 0.5, 200.0])
@pytest.mark.parametrize("stored", [0.0, 0.2, 3.9])
def test_no_pool_falls_below_nothing_in_the_stiffest_corner(soil: float, stored: float) -> None:
    figures = typical(store_days=3.0, half_growth=0.05, store_most=2.5, half_uptake=7.0, mineralised=0.0)
    begun = state(nitrate=soil, store=stored * reference_store(figures, FRUITING)[0])
    for now in through(figures, begun, 60):
        assert all(pool[0] >= 0.0 for pool in now)


# --- a just supplied crop, and steady states ------------------------------------------------------------------


def test_a_just_supplied_crop_takes_up_and_grows_by_its_demand() -> None:
    figures = random_crops(30)
    now = start(figures._replace(soil_start=figures.soil_reference), FRUITING)
    change = rates(figures, now, FRUITING)
    assert change.growth == pytest.approx(figures.demand(FRUITING), rel=1e-12)
    assert change.store == pytest.approx(0.0, abs=1e-12)
    assert supply_ratio(figures, now, FRUITING) == pytest.approx(1.0)


def test_while_the_demand_rises_a_just_supplied_store_rises_with_it() -> None:
    figures = typical()
    day = 10.0
    now = start(figures._replace(soil_start=figures.soil_reference), day)
    expected = figures.store_days * figures.demand_slope(day)
    assert rates(figures, now, day).store == pytest.approx(expected, rel=1e-12)
    assert expected[0] > 0


@pytest.mark.parametrize("supplied", [0.3, 0.6, 0.9, 1.0])
def test_under_steady_supply_the_store_settles_where_growth_equals_it(supplied: float) -> None:
    """Algebraic balance: growth at the settled store is the supply, uptake at the settled nitrate is growth."""
    figures = level(mineralised=supplied)
    last = through(figures, start(figures, 0.0), 1200)[-1]

    def growth(ratio: float) -> float:
        return 1.1 * ratio / (ratio + 0.1)

    ratio = brentq(lambda tried: growth(tried) - supplied, 1e-9, 3.0)

    def uptake(nitrate: float) -> float:
        return 2.0 * nitrate / (nitrate + 16.0) * (3.0 - ratio) / 2.0

    nitrate = brentq(lambda tried: uptake(tried) - supplied, 1e-9, 1e6)
    assert last.store[0] / 4.0 == pytest.approx(ratio, rel=1e-8)
    assert last.nitrate[0] == pytest.approx(nitrate, rel=1e-8)


def test_with_drainage_the_steady_state_balances_supply_with_growth_and_leaching() -> None:
    figures = level(mineralised=1.2, drain=0.02)
    last = through(figures, start(figures, 0.0), 1200)[-1]

    def off(ratio: float) -> float:
        growth = 1.1 * ratio / (ratio + 0.1)
        nitrate = (1.2 - growth) / 0.02
        return 2.0 * nitrate / (nitrate + 16.0) * (3.0 - ratio) / 2.0 - growth

    ratio = brentq(off, 0.3, 2.5)
    assert last.store[0] / 4.0 == pytest.approx(ratio, rel=1e-8)
    assert last.nitrate[0] == pytest.approx((1.2 - 1.1 * ratio / (ratio + 0.1)) / 0.02, rel=1e-8)


def test_nitrate_that_only_drains_falls_exponentially() -> None:
    """Analytic solution N0 exp(-k t); 60 days within a relative 1e-9 at a fiftieth a day."""
    figures = level(peak=1e-12, drain=0.02)
    states = through(figures, state(nitrate=30.0, store=4e-12), 60)
    for day, now in enumerate(states):
        assert now.nitrate[0] == pytest.approx(30.0 * math.exp(-0.02 * day), rel=1e-9)
        assert now.leached[0] == pytest.approx(30.0 * (1 - math.exp(-0.02 * day)), rel=1e-8)


def test_ammonium_turns_into_nitrate_by_the_first_order() -> None:
    """Analytic solution A0 exp(-k t), and the rest is nitrate."""
    figures = level(peak=1e-12, nitrify=1 / 7)
    for day, now in enumerate(through(figures, state(ammonium=10.0, store=4e-12), 40)):
        assert now.ammonium[0] == pytest.approx(10.0 * math.exp(-day / 7), rel=1e-7)
        assert now.nitrate[0] == pytest.approx(10.0 * (1 - math.exp(-day / 7)), rel=1e-7, abs=1e-9)


# --- against scipy.integrate.solve_ivp ------------------------------------------------------------------------


def by_radau(figures: Crops, begun: State, day: float, days: int) -> State:
    """The state some days on by an implicit method with tight tolerances."""

    def slope(at: float, pools: Array) -> Array:
        return np.array([change[0] for change in rates(figures, State(*(pool[None] for pool in pools)), at)])

    found = solve_ivp(
        slope, (day, day + days), [pool[0] for pool in begun], method="Radau", rtol=1e-10, atol=1e-12, max_step=1.0
    )
    assert found.success
    return State(*(np.array([pool]) for pool in found.y[:, -1]))


def one_of(figures: Crops, index: int) -> Crops:
    points = tuple((day[index, None], share[index, None]) for day, share in figures.points)
    single = {name: getattr(figures, name)[index, None] for name in Crops._fields if name != "points"}
    return Crops(**single, points=points)


@pytest.mark.parametrize("index", range(4))
@pytest.mark.parametrize(("first", "within"), [(0.0, 2.5e-3), (FRUITING, 1e-6)])
def test_a_season_by_quarter_days_agrees_with_an_implicit_method(index: int, first: float, within: float) -> None:
    """Every pool over twelve weeks with a feeding every week (scipy.integrate.solve_ivp).

    Within 1e-6 lb/ac where the demand is level; the two kinks of the demand curve cost up to 2.5e-3.
    """
    figures = one_of(random_crops(4, seed=7), index)
    ours = theirs = start(figures, first)
    nothing = np.zeros(1)
    for week in range(12):
        ours, theirs = (fed(now, np.array([4.0]), nothing + 1.0) for now in (ours, theirs))
        for day in range(7):
            ours = one_day(figures, ours, first + 7.0 * week + day)
        theirs = by_radau(figures, theirs, first + 7.0 * week, 7)
        for mine, other in zip(ours, theirs, strict=True):
            assert mine == pytest.approx(other, abs=within)


STIFF = {"half_growth": 0.05, "store_days": 3.0, "store_most": 2.5}


@pytest.mark.parametrize("stored", [0.0, 0.02, 0.3, 2.4])
@pytest.mark.parametrize("soil", [0.0, 0.3, 60.0])
def test_the_stiffest_corner_agrees_with_an_implicit_method(stored: float, soil: float) -> None:
    """Within 3e-3 of a just supplied store after one day and after ten (scipy.integrate.solve_ivp)."""
    figures = typical(**STIFF, half_uptake=7.0)
    begun = state(nitrate=soil, store=stored * reference_store(figures, FRUITING)[0])
    states = through(figures, begun, 10)
    within = 3e-3 * reference_store(figures, FRUITING)[0]
    for days in (1, 10):
        for mine, other in zip(states[days], by_radau(figures, begun, FRUITING, days), strict=True):
            assert mine == pytest.approx(other, abs=within)


def test_halving_the_step_makes_the_error_a_sixteenth() -> None:
    """A method of the fourth order, on a stretch without a kink of the demand."""
    figures = random_crops(20, seed=3)
    begun = start(figures, FRUITING)._replace(nitrate=np.full(20, 30.0), ammonium=np.full(20, 5.0))

    def after(steps: int) -> Array:
        now = begun
        for day in range(5):
            now = one_day(figures, now, FRUITING + day, steps)
        return np.array([now.nitrate, now.store, now.growth])

    exact = after(64)
    errors = [float(np.abs(after(steps) - exact).max()) for steps in (1, 2, 4)]
    orders = [math.log2(early / late) for early, late in pairwise(errors)]
    assert orders == pytest.approx([4.0, 4.0], abs=0.4)
    assert STEPS_PER_DAY == 4


# --- against what is published --------------------------------------------------------------------------------


def test_the_published_uptake_of_a_season_comes_out_at_the_published_rates() -> None:
    """25 kg/ha before April and 167 days at 1.1 to 1.2 make 225 by 15 September (BOTTOMS-2013, ASHS-2011)."""
    peak = strawberry().peak_demand
    assert (peak.low, peak.high) == (1.1, 1.2)
    assert 25 + 167 * peak.low <= 225 <= 25 + 167 * peak.high + 1.0
    figures = random_crops(100)
    now = start(figures._replace(soil_start=figures.soil_reference), FRUITING)
    none = np.zeros(100)
    for day in range(167):
        now = fed(now, np.maximum(figures.soil_reference - now.nitrate, 0.0), none)
        now = one_day(figures, now, FRUITING + day)
    grown = now.growth * KG_HA_PER_LB_AC
    # Kept at the nitrate of a just supplied crop, growth is the published rate within 1 %.
    assert grown.min() >= 167 * 1.1 * 0.99
    assert grown.max() <= 167 * 1.2 * 1.01


def test_nitrate_of_a_fed_bed_falls_as_published_between_feedings() -> None:
    """0.052 to 0.073 a day over 9 and 10 days in Italy (HORT-2023), the nearest figure there is.

    The 14 to 19 days of need in the bed of a just supplied crop are assumed after it; the middle of the ranges.
    """
    for days in (9, 10):
        figures = typical()
        begun = start(figures._replace(soil_start=figures.soil_reference), FRUITING)
        last = through(figures, begun, days)[-1]
        fall = math.log(begun.nitrate[0] / last.nitrate[0]) / days
        assert 0.052 <= fall <= 0.073


def test_leaching_of_a_well_fed_summer_lies_in_the_published_range() -> None:
    """1 to 67 kg/ha over fields, irrigated from deficit to 175 % of water use (BOTTOMS-2014).

    The published mean, 33 kg/ha, is of fields that are irrigated more than the model's range, whose middle is
    113 % (ASHS-2011).
    """
    figures = typical()
    now = start(figures._replace(soil_start=figures.soil_reference), FRUITING)
    none = np.zeros(1)
    for day in range(150):
        now = fed(now, figures.soil_reference - now.nitrate, none)
        now = one_day(figures, now, FRUITING + day)
    assert 1.0 <= now.leached[0] * KG_HA_PER_LB_AC <= 67.0


# --- how soon a feeding shows ---------------------------------------------------------------------------------


def label_in_store(figures: Crops, as_ammonium: bool, steps: int = 8, days: int = 40) -> Array:
    """Labelled share of the petiole's nitrate after one labelled feeding, by time, at Georgia's fruiting rate.

    The labelled nitrogen goes wherever the nitrogen of its pool goes (mass action).
    """
    day, now = 40.0, start(figures, 40.0)
    none, daily = np.zeros(1), np.array([0.75])
    for index in range(20):
        now = one_day(figures, fed(now, daily, none), day + index)
    pulse = np.array([2.0])
    now = fed(now, none, pulse) if as_ammonium else fed(now, pulse, none)
    ammonium, nitrate, store = (pulse, none, none) if as_ammonium else (none, pulse, none)
    found, h = [], 1.0 / steps
    for index in range(days * steps):
        if index % steps == 0 and index:
            now = fed(now, daily, none)
        change = rates(figures, now, day + 20 + index * h)
        nitrified, uptake = figures.nitrify * ammonium, change.store + change.growth
        of_nitrate, of_store = nitrate / now.nitrate, store / now.store
        ammonium = ammonium - h * nitrified
        nitrate = nitrate + h * (nitrified - (uptake + change.leached) * of_nitrate)
        store = store + h * (uptake * of_nitrate - change.growth * of_store)
        now = State(*(pool + h * by for pool, by in zip(now, change, strict=True)))
        found.append((store / now.store)[0])
    return np.array(found)


def test_labelled_nitrate_is_concentrated_in_the_petiole_within_a_week() -> None:
    """15N in potato: concentrated in petioles within one week of application (ROBERTS-1989).

    In the middle of the ranges nine tenths of the most that is ever found are there after a week.
    """
    share = label_in_store(typical(), as_ammonium=False)
    assert share[7 * 8 - 1] > 0.9 * share.max()


@pytest.mark.parametrize("nitrification_days", [7.0, 8.5, 10.0])
def test_labelled_nitrate_peaks_a_week_to_ten_days_before_labelled_ammonium(nitrification_days: float) -> None:
    """One week to ten days (ROBERTS-1989)."""
    figures = typical(nitrify=1 / nitrification_days)
    ahead = (label_in_store(figures, True).argmax() - label_in_store(figures, False).argmax()) / 8
    assert 7.0 <= ahead <= 10.0


def shown(figures: Crops, factor: float, days: int) -> float:
    """Relative change of the petiole's nitrate some days after the rate changed by a factor."""
    begun = start(figures, 40.0)
    steady = through(figures, begun, 20, 40.0, 0.75)[-1]
    kept, changed = (through(figures, steady, days, 60.0, 0.75 * by)[-1] for by in (1.0, factor))
    return float(changed.store[0] / kept.store[0] - 1.0)


def test_a_change_of_the_rate_shows_more_from_week_to_week() -> None:
    found = [shown(typical(), 4 / 3, 7 * week) for week in range(1, 7)]
    assert found[0] > 0
    assert all(late > early for early, late in pairwise(found))


def test_how_slowly_a_raise_by_a_third_shows_is_what_the_crop_says_of_itself() -> None:
    """The figures that stand under what the model cannot tell; labelled nitrogen is checked above."""
    said = " ".join(crop_model("strawberry").tells_not)
    after = {days: 100 * shown(typical(), 4 / 3, days) for days in (10, 35)}
    assert f"by {after[10]:.0f} % after ten days and by {after[35]:.0f} % after five weeks" in said


def test_a_raise_shows_slower_than_the_rules_wait_as_the_crop_says_of_itself() -> None:
    """A third more is not yet a tenth more in the petiole after the days that the rules wait for it."""
    waits = int(shipped_policy("strawberry-annual-plasticulture").lag_nitrate_days.value)
    assert waits <= 10
    assert shown(typical(), 4 / 3, waits) < 0.1
    assert "slower than the week or so that the rules wait" in " ".join(strawberry().tells_not)


def test_what_is_assumed_of_the_bed_and_its_water_is_not_called_published() -> None:
    """14 to 19 days of need after the nearest figure there is; irrigation from the water use to a quarter more."""
    model = strawberry()
    assert model.soil_days.evidence is model.irrigation.evidence is Evidence.PROJECT_RULE
    assert f"{model.soil_days.low:.0f} to {model.soil_days.high:.0f} days of the crop's need" in " ".join(
        model.tells_not
    )
    assert model.soil_days.low == pytest.approx(1 / 0.073, abs=0.5)  # HORT-2023
    assert model.soil_days.high == pytest.approx(1 / 0.052, abs=0.5)
    # ASHS-2011: a median of 113 % of the water use
    assert (model.irrigation.low + model.irrigation.high) / 2 == pytest.approx(1.13)


# --- the direction of every answer ----------------------------------------------------------------------------

pools = {"soil": st.floats(0.0, 60.0), "stored": st.floats(0.0, 2.4), "amount": st.floats(0.0, 3.0)}
more = st.floats(0.0, 2.0)


def season_of(figures: Crops, soil: float, stored: float, amount: float) -> list[State]:
    store = stored * reference_store(figures, 20.0)
    none = np.zeros(figures.seasons)
    begun = State(none, none + soil, store, none, none, none)
    return through(figures, begun, 60, 20.0, amount)


def never_lower(less: list[State], richer: list[State]) -> None:
    for low, high in zip(less, richer, strict=True):
        for pool in ("nitrate", "store", "growth", "leached"):
            assert (getattr(high, pool) >= getattr(low, pool) - 1e-9).all(), pool


@often(20)
@given(seed=st.integers(0, 10_000), by=more, **pools)
def test_more_fed_never_lowers_petiole_growth_or_leaching(
    seed: int, by: float, soil: float, stored: float, amount: float
) -> None:
    figures = random_crops(3, seed)
    never_lower(*(season_of(figures, soil, stored, of) for of in (amount, amount + by)))


@often(20)
@given(seed=st.integers(0, 10_000), by=st.floats(0.0, 60.0), **pools)
def test_more_nitrogen_in_the_bed_never_lowers_petiole_growth_or_leaching(
    seed: int, by: float, soil: float, stored: float, amount: float
) -> None:
    figures = random_crops(3, seed)
    never_lower(*(season_of(figures, of, stored, amount) for of in (soil, soil + by)))


@often(20)
@given(seed=st.integers(0, 10_000), by=st.floats(0.3, 1.0), **pools)
def test_a_crop_that_needs_less_never_shows_less_in_the_petiole(
    seed: int, by: float, soil: float, stored: float, amount: float
) -> None:
    """Both are begun with the same store in parts of their own just supplied one."""
    hungry, modest = random_crops(3, seed), random_crops(3, seed, need=by)
    more_needed, less_needed = (season_of(of, soil, stored, amount) for of in (hungry, modest))
    for day, (low, high) in enumerate(zip(more_needed, less_needed, strict=True)):
        shows = supply_ratio(modest, high, 20.0 + day) - supply_ratio(hungry, low, 20.0 + day)
        assert (shows >= -1e-9).all()
        assert (high.leached >= low.leached - 1e-9).all()
