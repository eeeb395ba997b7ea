"""Stock solutions: the least water, and how often a tank is filled."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.materials import Solubility
from fertadjust.products import Product, amount_of
from fertadjust.stock import Tank, injections_in_a_fill, need_of
from fertadjust.units import LB_GAL_PER_KG_L, UnitSystem

US, METRIC = UnitSystem.US, UnitSystem.METRIC
TABLE = Solubility(((0.0, 0.1), (20.0, 0.3)), "none", Evidence.OWN)
SALT = Product("salt", {"n": 13.0}, share=1.0, solubility=TABLE)
LIQUID = Product("liquid", {"n": 10.0}, share=1.0, density_lb_gal=10.0)
SILENT = Product("silent", {"n": 10.0}, share=1.0)


def test_a_dry_product_takes_its_weight_by_the_share_of_what_dissolves() -> None:
    need = need_of([amount_of(SALT, 10.0)], Tank(10.0, 0.5))
    assert need.least_gal == pytest.approx(10.0 / (0.5 * 0.2 * LB_GAL_PER_KG_L))
    assert need.unknown == ()


def test_colder_water_and_a_smaller_share_take_more_water() -> None:
    least = [
        need_of([amount_of(SALT, 10.0)], tank).least_gal for tank in (Tank(20, 1.0), Tank(10, 1.0), Tank(10, 0.8))
    ]
    assert least == sorted(least)
    assert least[0] < least[1] < least[2]


def test_a_liquid_takes_its_own_volume_whatever_the_water() -> None:
    for tank in (Tank(-50.0), Tank(10.0), Tank(10.0, 0.1)):
        assert need_of([amount_of(LIQUID, 25.0)], tank).least_gal == pytest.approx(2.5)


def test_products_are_given_volumes_of_their_own() -> None:
    tank = Tank(15.0)
    parts = [amount_of(SALT, 4.0), amount_of(LIQUID, 25.0)]
    both = need_of(parts, tank).least_gal
    assert both == pytest.approx(sum(need_of([part], tank).least_gal for part in parts))


def test_a_product_of_unknown_solubility_is_named_and_takes_no_water() -> None:
    need = need_of([amount_of(SILENT, 50.0), amount_of(LIQUID, 25.0)], Tank(15.0))
    assert (need.least_gal, need.unknown) == (pytest.approx(2.5), ("silent",))


@pytest.mark.parametrize("celsius", [-0.1, 20.1])
def test_a_temperature_outside_the_table_is_refused_with_the_product_and_the_range(celsius: float) -> None:
    with pytest.raises(UserError) as caught:
        need_of([amount_of(SALT, 1.0)], Tank(celsius))
    told = str(caught.value)
    assert told.startswith("salt: ")
    assert "0 °C (32 °F)" in told and "20 °C (68 °F)" in told


@pytest.mark.parametrize("celsius", [0.0, 20.0])
def test_the_ends_of_the_table_belong_to_it(celsius: float) -> None:
    assert need_of([amount_of(SALT, 1.0)], Tank(celsius)).least_gal > 0


def test_a_tank_of_unknown_size_has_no_number_of_injections() -> None:
    assert injections_in_a_fill(1e6, Tank(10.0), US) is None


@pytest.mark.parametrize(("volume", "expected"), [(50.0, 1), (25.0, 2), (25.1, 1), (16.6, 3), (0.0, 1)])
def test_a_fill_holds_whole_injections(volume: float, expected: int) -> None:
    assert injections_in_a_fill(volume, Tank(10.0, volume_gal=50.0), US) == expected


def test_sums_in_floating_point_do_not_cost_an_injection() -> None:
    assert injections_in_a_fill(0.1 + 0.2, Tank(10.0, volume_gal=0.3), US) == 1
    assert injections_in_a_fill(0.1, Tank(10.0, volume_gal=0.3), US) == 3


def test_a_tank_too_small_is_refused_with_what_would_do() -> None:
    with pytest.raises(UserError) as caught:
        injections_in_a_fill(110.0, Tank(10.0, 0.8, 50.0), US)
    told = str(caught.value)
    assert "110.0 gal" in told and "50 °F" in told and "80 %" in told and "holds 50.0 gal" in told
    assert "Feasible: 3 times as many injections a week, a tank of 110.0 gal" in told


def test_a_tank_too_small_is_told_in_the_growers_units() -> None:
    with pytest.raises(UserError, match=r"200\.0 L of stock solution at 10 °C .* holds 100\.0 L\. Feasible: 2 "):
        injections_in_a_fill(METRIC.volume_in(200), Tank(10.0, volume_gal=METRIC.volume_in(100)), METRIC)


@given(st.floats(0.5, 500.0), st.floats(0.5, 100.0))
def test_the_times_as_many_injections_that_are_proposed_fit_the_tank(volume: float, holds: float) -> None:
    tank = Tank(10.0, volume_gal=holds)
    try:
        injections_in_a_fill(volume, tank, US)
    except UserError as error:
        found = re.search(r"Feasible: (\d+) times as many", str(error))
        assert found is not None
        times = int(found[1])
        assert injections_in_a_fill(volume / times, tank, US) is not None
        with pytest.raises(UserError):
            injections_in_a_fill(volume / (times - 1), tank, US)
    else:
        assert volume <= holds * (1 + 1e-9)


@given(st.floats(0.5, 500.0), st.floats(0.5, 100.0))
def test_the_tank_that_is_proposed_is_large_enough(volume: float, holds: float) -> None:
    try:
        injections_in_a_fill(volume, Tank(10.0, volume_gal=holds), US)
    except UserError as error:
        found = re.search(r"a tank of ([\d.]+) gal", str(error))
        assert found is not None
        assert injections_in_a_fill(volume, Tank(10.0, volume_gal=float(found[1])), US) == 1
