"""Worked examples of stock tanks, injectors and drip lines.

Printed answers are held to the tolerance of their rounding, exact ones to far less. Keys name the publication.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pint
import pytest

from fertadjust.feeding import Farm
from fertadjust.field import AreaBasis, Block
from fertadjust.injection import Injecting, Pump, RatioInjector, Zone, concentration_ppm
from fertadjust.products import Product, nitrogen_in
from fertadjust.shipped import shipped_materials
from fertadjust.units import FT2_PER_ACRE, K2O_TO_K, L_PER_GAL, P2O5_TO_P, UnitSystem
from tests import support

METRIC, US = UnitSystem.METRIC, UnitSystem.US
ON = date(2026, 3, 3)
OZ_LB = 1.0 / 16.0


def nine_beds() -> Block:
    """DPIRD-2016: nine beds of 125 m by 1.2 m, 1,350 m2 of bed."""
    return Block(
        "station", "Station", METRIC.length_in(125), 9, METRIC.length_in(1.2), METRIC.length_in(1.8), AreaBasis.BED
    )


def test_the_strawberry_station_is_injected_for_11_5_minutes() -> None:
    """DPIRD-2016: 23.4 kg N in 2,000 L, 120 L/h together, 2 kg N/ha a day on 1,350 m2: 16.6 h, 11.5 min.

    120 L/h is right only as the draw from both tanks together, as the printed 16.6 h shows.
    """
    pump = Pump(METRIC.volume_in(120.0))
    hours = pump.minutes(METRIC.volume_in(2000.0), None)
    assert hours is not None
    assert hours / 60 == pytest.approx(16.6, abs=0.1)
    assert hours / 60 == pytest.approx(2000 / 120, rel=1e-12)
    assert 23_400 / hours == pytest.approx(23.5, abs=0.11)
    assert 23.4 / (hours / 60) == pytest.approx(1.40, abs=0.01)
    season = replace(support.season(), block=nine_beds())
    farm = Farm({"station": season}, Injecting(injector=pump), METRIC)
    [dose] = farm.doses("station", METRIC.weight_in(23.4), METRIC.volume_in(2000.0), METRIC.rate_in(2.0), ON)
    assert METRIC.weight_out(dose.n_lb) * 1000 == pytest.approx(270.0, rel=1e-9)
    assert dose.minutes == pytest.approx(11.5, abs=0.05)
    assert dose.minutes == pytest.approx(270 / 23.4, rel=1e-9)


def test_two_pumps_of_120_litres_an_hour_each_would_halve_the_time() -> None:
    """DPIRD-2016, the reading that the printed figures exclude; derived."""
    each = Pump(METRIC.volume_in(120.0)).minutes(METRIC.volume_in(1000.0), None)
    assert each is not None
    assert each / 60 == pytest.approx(8.33, abs=0.01)


def ounces_in_100_gal(ppm: float, n_percent: float) -> float:
    """Ounces of a product in 100 US gal of water for a strength [mg/L N]."""
    one = nitrogen_in(Product("product", {"n": n_percent}), OZ_LB)
    return ppm / concentration_ppm(one, 100.0)


@pytest.mark.parametrize(
    ("ppm", "n_percent", "printed", "tolerance"),
    [
        (250.0, 15.0, 22.0, 0.3),  # Texas A&M greenhouse arithmetic, which rounds 74.89 to 75
        (150.0, 15.0, 13.0, 0.4),  # the calcium nitrate half of its next example
        (200.0, 33.0, 8.09, 0.02),  # a greenhouse advisor's sheet of 2008
    ],
)
def test_ounces_in_100_gallons(ppm: float, n_percent: float, printed: float, tolerance: float) -> None:
    assert ounces_in_100_gal(ppm, n_percent) == pytest.approx(printed, abs=tolerance)


def test_an_ounce_of_15_percent_nitrogen_in_100_gallons_is_11_25_ppm() -> None:
    """Texas A&M greenhouse arithmetic prints 11.25 with the rounded factor 75; exact 11.234."""
    found = concentration_ppm(nitrogen_in(Product("product", {"n": 15.0}), OZ_LB), 100.0)
    assert found == pytest.approx(11.25, abs=0.02)
    assert found == pytest.approx(0.15 * 74.8915, abs=1e-4)


def test_a_printed_slip_is_not_repeated() -> None:
    """The same source multiplies 0.33 x 75 to 29.75 and so prints 5 oz and 7 oz; 6.06 and 8.08 are right."""
    assert ounces_in_100_gal(150.0, 33.0) == pytest.approx(6.06, abs=0.02)
    assert ounces_in_100_gal(200.0, 33.0) == pytest.approx(8.08, abs=0.02)


@pytest.mark.parametrize(
    ("n_percent", "ppm", "ounces", "ratio"),
    [
        (15.0, 200.0, 18.0, 100.0),  # recalled, high: a trade newsletter prints 18 oz/gal of stock at 1:100
        (15.0, 225.0, 20.25, 100.0),  # recalled, high: the same
        (20.0, 200.0, 13.5, 100.0),  # GrowerTalks, June 2018: 13.5 oz/gal at 1:100
    ],
)
def test_ounces_in_a_gallon_of_stock_for_a_proportional_injector(
    n_percent: float, ppm: float, ounces: float, ratio: float
) -> None:
    """The printed ounces are rounded up and hold 1.1 % more than is asked for: 18 oz where 17.8 are exact."""
    n_lb = nitrogen_in(Product("product", {"n": n_percent}), ounces * OZ_LB)
    assert concentration_ppm(n_lb, ratio) == pytest.approx(ppm, rel=0.013)


def test_162_oz_of_20_10_20_fill_a_12_gallon_stock_tank() -> None:
    """GrowerTalks, June 2018: 13.5 oz/gal x 12 = 162 oz, "10 lb"."""
    n_lb = nitrogen_in(Product("20-10-20", {"n": 20.0}), 162 * OZ_LB)
    assert concentration_ppm(n_lb, 12 * 100.0) == pytest.approx(200, rel=0.013)
    assert pytest.approx(10.0, abs=0.2) == 162 * OZ_LB


def test_50_lb_of_15_10_20_in_30_gallons_at_1_to_80() -> None:
    """Recalled, high, a dealer's note: N 7.5, P2O5 5, K2O 10, P 2.2, K 8.3 lb; 374.5 ppm N is derived."""
    product = Product("15-10-20", {"n": 15.0, "p2o5": 10.0, "k2o": 20.0})
    weights = {key: 50.0 * percent / 100.0 for key, percent in product.percent.items()}
    assert weights == pytest.approx({"n": 7.5, "p2o5": 5.0, "k2o": 10.0})
    assert weights["p2o5"] * P2O5_TO_P == pytest.approx(2.182, abs=0.05)
    assert weights["k2o"] * K2O_TO_K == pytest.approx(8.302, abs=0.05)
    assert concentration_ppm(7.5, 30.0 * 80.0) == pytest.approx(374.5, abs=0.1)


def test_a_proportional_injector_empties_1000_litres_at_1_to_360_in_two_hours() -> None:
    """Recalled, high, a grower guide: 180 m3/h, 1:360, 2 h, 496 L/h; exact 500 L/h."""
    minutes = RatioInjector(360.0).minutes(METRIC.volume_in(1000.0), METRIC.volume_in(180_000.0))
    assert minutes == pytest.approx(120.0, rel=1e-9)
    stock = RatioInjector(360.0).stock_gal(60.0, METRIC.volume_in(180_000.0))
    assert stock is not None
    assert METRIC.volume_out(stock) == pytest.approx(496, abs=10)


def test_a_pound_of_nitrogen_in_an_acre_inch_is_4_41_ppm() -> None:
    """Derived: 453,592 mg in 102,790 L."""
    gallons = FT2_PER_ACRE / 12 * 1728 / 231
    assert concentration_ppm(1.0, gallons) == pytest.approx(4.4128, abs=0.005)


def test_potassium_nitrate_cannot_be_forced_into_cold_water() -> None:
    """FERT-SOLUBILITY: of 300 g/L asked for, 209 g/L dissolve: about 80 g/L K instead of 114."""
    assert pytest.approx(34, abs=1) == 300 * 0.38 - 209 * 0.38
    found = shipped_materials()["potassium_nitrate"].used_solubility()
    assert found is not None
    # The program allows less than the 319 g per kg of water that CRC-98 gives at 20 deg C.
    assert METRIC.density_out(found.limit_lb_gal(20.0)) * 1000 == pytest.approx(242, abs=0.5)


UREG = pint.UnitRegistry()


@pytest.mark.parametrize("value", [0.1, 1.0, 37.5])
def test_conversions_agree_with_a_units_library(value: float) -> None:
    """pint, for densities, temperatures, depths and bulk goods."""
    lb_gal = METRIC.density_in(value)
    assert UREG.Quantity(value, "kg/L").to("lb/gallon").magnitude == pytest.approx(lb_gal, rel=1e-9)
    celsius = UREG.Quantity(value, UREG.degF).to(UREG.degC).magnitude
    assert US.temperature_in(value) == pytest.approx(celsius, abs=1e-9)
    assert UREG.Quantity(value, "mm").to("inch").magnitude == pytest.approx(METRIC.depth_in(value), rel=1e-9)
    tons = UREG.Quantity(value, "tonne/hectare").to("short_ton/acre").magnitude
    assert METRIC.bulk_in(value) == pytest.approx(tons, rel=1e-5)  # its acre is the US survey acre
    for units in (US, METRIC):
        assert units.density_out(units.density_in(value)) == pytest.approx(value)
        assert units.temperature_out(units.temperature_in(value)) == pytest.approx(value)
        assert units.depth_out(units.depth_in(value)) == pytest.approx(value)
        assert units.bulk_out(units.bulk_in(value)) == pytest.approx(value)


def test_15_lb_an_acre_from_a_10_percent_liquid_on_20_acres_is_280_6_gallons_to_buy() -> None:
    """VINEYARD-LIQUID: 14.03 gal/ac, 280.6 gal for the field, 10.69 lb/gal."""
    product = Product("10-10-10", {"n": 10.0}, share=1.0, density_lb_gal=10.69)
    block = Block("field", "Field", FT2_PER_ACRE * 20 / 5.0, 1, 2.5, 5.0, AreaBasis.GROSS)
    plan = support.plan((15.0,), floor=0.0, ceiling=20.0)
    season = replace(support.season(the_plan=plan), block=block, products=(product,))
    [line] = Farm({"field": season}, Injecting(), US).purchases(support.BLOOM)
    assert line.bought_gal == pytest.approx(280.6, abs=0.05)
    assert (line.bought_gal or 0.0) / 20 == pytest.approx(14.03, abs=0.005)
    assert pytest.approx(3.785411784) == L_PER_GAL


def test_a_zone_without_flow_has_no_minutes_at_a_proportional_injector() -> None:
    assert RatioInjector(100.0).minutes(1.0, Zone("a", "A", {"a": 1.0}).flow_gal_h) is None
