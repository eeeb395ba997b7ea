"""Worked examples of injection: stock tanks, minutes, strength of the line, proportional injectors, limits.

A printed answer is held to the rounding it was printed with, an exact one to far less. Where print is wrong, both
the right answer and its difference from the printed one are held.
"""

from __future__ import annotations

import pint
import pytest

from fertadjust.evidence import Evidence
from fertadjust.feeding import Farm
from fertadjust.field import AreaBasis, Block
from fertadjust.injection import Injecting, Pump, RatioInjector, Timing, Zone, concentration_ppm
from fertadjust.materials import Solubility
from fertadjust.products import Product, amount_of, amounts, nitrogen_in, total_nutrients
from fertadjust.season import BlockSeason
from fertadjust.stock import Tank, need_of
from fertadjust.units import (
    FT2_PER_ACRE,
    K2O_TO_K,
    L_PER_GAL,
    LB_GAL_PER_KG_L,
    M_PER_FT,
    M_PER_IN,
    MINUTES_PER_HOUR,
    P2O5_TO_P,
    UnitSystem,
)
from tests import support

US, METRIC = UnitSystem.US, UnitSystem.METRIC
UREG = pint.UnitRegistry()
OZ_PER_LB = 16.0

# --- strawberry station of 1350 m2, DPIRD-2016 --------------------------------------------------------------

TANKS_L, DRAW_L_H, STOCK_N_KG = 2000.0, 120.0, 23.4
DRAW = Pump(METRIC.volume_in(DRAW_L_H))
"""Both pumps together: 2000 L last the printed 16.6 h only if 120 L/h is what the two draw combined."""


def minutes_to_empty() -> float:
    minutes = DRAW.minutes(METRIC.volume_in(TANKS_L), None)
    assert minutes is not None
    return minutes


def station() -> Farm:
    """Nine beds of 125 m by 1.2 m, by the hectare of bed."""
    beds = Block(
        "north", "Station", METRIC.length_in(125), 9, METRIC.length_in(1.2), METRIC.length_in(1.8), AreaBasis.BED
    )
    plan = support.plan((METRIC.rate_in(14.0),), floor=1.0, ceiling=20.0, injections=7)
    one = support.season(the_plan=plan)
    season = BlockSeason(beds, plan, one.stages, one.products, one.policy, one.tables)
    return Farm({"north": season}, Injecting(injector=DRAW), METRIC)


def test_two_tanks_of_1000_litres_last_16_6_hours() -> None:
    """DPIRD-2016, printed 16.6 h; exact 16.667."""
    hours = minutes_to_empty() / MINUTES_PER_HOUR
    assert hours == pytest.approx(16.6, abs=0.1)
    assert hours == pytest.approx(16.667, abs=0.0005)


def test_two_pumps_of_120_litres_each_would_empty_the_tanks_in_half_the_time() -> None:
    """Derived: 8.3 h, so that each pump's 120 L/h as printed cannot be meant."""
    minutes = DRAW.minutes(METRIC.volume_in(TANKS_L / 2), None)
    assert minutes is not None
    assert minutes / MINUTES_PER_HOUR == pytest.approx(8.333, abs=0.0005)


def test_an_hour_injects_1_40_kg_and_a_minute_23_5_g_of_nitrogen() -> None:
    """DPIRD-2016, printed from a rounded 16.6 h; exact 1.404 kg and 23.40 g."""
    grams = STOCK_N_KG * 1000 / minutes_to_empty()
    assert grams * MINUTES_PER_HOUR / 1000 == pytest.approx(1.40, abs=0.01)
    assert grams == pytest.approx(23.5, abs=0.1 + 1e-9)
    assert grams == pytest.approx(23.40, abs=0.005)


def test_270_g_on_1350_square_metres_take_11_5_minutes() -> None:
    """DPIRD-2016: 2 kg N/ha of bed and day; printed 11.5 min, exact 11.54."""
    [dose] = station().doses(
        "north", METRIC.weight_in(STOCK_N_KG), METRIC.volume_in(TANKS_L), METRIC.rate_in(2.0), support.BLOOM
    )
    assert METRIC.weight_out(dose.n_lb) * 1000 == pytest.approx(270, rel=1e-9)
    assert dose.minutes == pytest.approx(11.5, abs=0.05)
    assert dose.minutes == pytest.approx(11.54, abs=0.005)


def test_the_same_minutes_follow_from_the_weeks_14_kg_in_seven_injections() -> None:
    """Derived from DPIRD-2016: a rate decided for the week, one of its seven injections."""
    [dose] = station().doses("north", METRIC.weight_in(STOCK_N_KG), METRIC.volume_in(TANKS_L), None, support.BLOOM)
    assert dose.minutes == pytest.approx(11.54, abs=0.005)


# --- times of a set -----------------------------------------------------------------------------------------


def test_an_injection_lasts_twice_the_measured_advance_and_the_flush_once() -> None:
    """DASILVA-2022: advance 12.5 min; 200 % of it gave the best uniformity, flushing 100 % of it was enough."""
    zone = Zone("tape", "Tape", {"north": 1.0}, travel_minutes=12.5)
    assert (Timing().inject_in(zone), Timing().flush_in(zone)) == (25.0, 12.5)


def test_where_travel_was_not_measured_the_upper_end_of_20_to_30_minutes_is_taken() -> None:
    """CITRUS-2014: usually 20 to 30 min; the injection is then at least its least, 30 to 45 min."""
    zone = Zone("citrus", "Citrus", {"north": 1.0})
    assert Timing().travel_in(zone) == 30.0
    assert Timing().inject_in(zone) >= 45.0


# --- parts per million --------------------------------------------------------------------------------------


def ounces(ppm: float, percent: float, share: float = 1.0, gallons: float = 100.0) -> float:
    """Ounces of a product that give some mg/L of nitrogen in some gallons of line water."""
    n_lb = ppm / concentration_ppm(1.0, gallons)
    [part] = amounts(n_lb, [Product("product", {"n": percent}, share=share)])
    return part.weight_lb * OZ_PER_LB


def line_gallons(ratio: float, stock_gal: float, flow_gal_h: float = 600.0) -> float:
    """Water that comes out of a proportional injector with some gallons of stock."""
    minutes = RatioInjector(ratio).minutes(stock_gal, flow_gal_h)
    assert minutes is not None
    return flow_gal_h * minutes / MINUTES_PER_HOUR


def test_a_pound_of_nitrogen_in_an_acre_inch_is_4_41_ppm() -> None:
    """Derived: 453,592 mg in 102,790 L are 4.4128."""
    litres = FT2_PER_ACRE * M_PER_FT**2 * M_PER_IN * 1000
    assert litres == pytest.approx(102_790, abs=1)
    assert concentration_ppm(1.0, METRIC.volume_in(litres)) == pytest.approx(4.4128, abs=0.00005)


def test_an_ounce_in_100_gallons_is_74_89_ppm_and_not_quite_the_printed_75() -> None:
    """Derived; Texas A&M University, greenhouse nutrient arithmetic, prints 75."""
    found = concentration_ppm(1 / OZ_PER_LB, 100.0)
    assert found == pytest.approx(74.89, abs=0.005)
    assert found == pytest.approx(75, rel=0.002)


def test_an_ounce_of_15_percent_calcium_nitrate_in_100_gallons_is_11_25_ppm() -> None:
    """Texas A&M University, greenhouse nutrient arithmetic; 11.234 by the exact ounce."""
    found = concentration_ppm(nitrogen_in(Product("calcium nitrate", {"n": 15.0}), 1 / OZ_PER_LB), 100.0)
    assert found == pytest.approx(11.25, abs=0.02)
    assert found == pytest.approx(11.234, abs=0.0005)


def test_250_ppm_take_22_ounces_of_calcium_nitrate_in_100_gallons() -> None:
    """Texas A&M University, greenhouse nutrient arithmetic; 22.22 by a factor of 75."""
    assert ounces(250, 15) == pytest.approx(22, abs=0.3)
    assert ounces(250, 15) == pytest.approx(22.22, rel=0.002)


def test_300_ppm_by_halves_take_6_ounces_of_ammonium_nitrate_and_not_the_5_printed() -> None:
    """Texas A&M University, greenhouse nutrient arithmetic: 0.33 x 75 is printed as 29.75, it is 24.75. The 13 oz
    of calcium nitrate are right."""
    assert ounces(300, 15, 0.5) == pytest.approx(13, abs=0.5)
    assert ounces(300, 15, 0.5) == pytest.approx(13.33, rel=0.002)
    ammonium_nitrate = ounces(300, 33, 0.5)
    assert ammonium_nitrate == pytest.approx(6.06, rel=0.002)
    assert ammonium_nitrate != pytest.approx(5, abs=0.5)


def test_200_ppm_at_1_to_100_take_808_ounces_in_100_gallons_of_stock_and_not_the_700_printed() -> None:
    """Texas A&M University, greenhouse nutrient arithmetic: the same slip carried on, 200 / 29.75."""
    water = line_gallons(100, 100.0)
    assert water == pytest.approx(10_000)
    found = ounces(200, 33, gallons=water)
    assert found == pytest.approx(808, rel=0.002)
    assert found != pytest.approx(700, abs=50)


def test_200_ppm_take_8_09_ounces_of_ammonium_nitrate_in_100_gallons() -> None:
    """Greenhouse advisor blog, 10 October 2008; 8.093 by the exact ounce."""
    assert ounces(200, 33) == pytest.approx(8.09, abs=0.02)
    assert ounces(200, 33) == pytest.approx(8.093, abs=0.0005)


def test_200_ppm_at_1_to_100_take_18_ounces_of_15_5_15_in_a_gallon_of_stock() -> None:
    """Recalled, high, a trade newsletter: 18 oz/gal, 5 gal take 90 oz = 5 lb 10 oz, 225 ppm take 20.25 oz/gal."""
    gallon = ounces(200, 15, gallons=line_gallons(100, 1.0))
    assert gallon == pytest.approx(18, abs=0.5)
    assert ounces(225, 15, gallons=line_gallons(100, 1.0)) / gallon * 18 == pytest.approx(20.25, abs=0.01)
    five = ounces(200, 15, gallons=line_gallons(100, 5.0)) / gallon * 18 / OZ_PER_LB
    assert five == pytest.approx(5 + 10 / 16, abs=0.01)


def test_a_12_gallon_stock_tank_of_20_10_20_for_200_ppm_at_1_to_100_takes_10_pounds() -> None:
    """GrowerTalks, June 2018: 13.5 oz/gal x 12 = 162 oz, told as 10 lb."""
    found = ounces(200, 20, gallons=line_gallons(100, 12.0))
    assert found / OZ_PER_LB == pytest.approx(10, abs=0.2)
    assert found / 12 == pytest.approx(13.5, abs=0.2)
    whole = ounces(200, 20, gallons=line_gallons(100, 12.0)) / ounces(200, 20, gallons=line_gallons(100, 1.0))
    assert whole * 13.5 == pytest.approx(162, abs=0.01)


def test_50_pounds_of_15_10_20_in_30_gallons_at_1_to_80_feed_at_374_5_ppm() -> None:
    """Recalled, high, a dealer's note: 7.5 N, 5 P2O5, 10 K2O, 2.2 P, 8.3 K lb; the ppm are derived."""
    held = total_nutrients([amount_of(Product("15-10-20", {"n": 15.0, "p2o5": 10.0, "k2o": 20.0}), 50.0)])
    assert (held["n"], held["p2o5"], held["k2o"]) == pytest.approx((7.5, 5.0, 10.0), abs=1e-9)
    assert held["p2o5"] * P2O5_TO_P == pytest.approx(2.182, abs=0.0005)
    assert held["k2o"] * K2O_TO_K == pytest.approx(8.302, abs=0.0005)
    water = line_gallons(80, 30.0)
    assert 50.0 / water == pytest.approx(0.020833, abs=5e-7)
    assert concentration_ppm(held["n"], water) == pytest.approx(374.5, abs=0.05)


def test_1000_litres_of_stock_in_two_hours_on_12_hectares_are_496_litres_an_hour_at_1_to_360() -> None:
    """Recalled, high, a supplier's guide for growers: 15,000 L/h/ha for 2 h on 12 ha, 250 to 300 kg in the tank at
    25 kg/ha a dose. Exact 500 L/h, 504 by the rounded 2.8 L/m3."""
    flow = METRIC.volume_in(15_000 * 12)
    assert METRIC.volume_out(flow) / 1000 == pytest.approx(180)
    stock = RatioInjector(360).stock_gal(120.0, flow)
    assert stock is not None
    assert METRIC.volume_out(stock) == pytest.approx(1000, rel=1e-9)
    assert METRIC.volume_out(line_gallons(360, stock, flow)) == pytest.approx(360_000, rel=1e-9)
    assert METRIC.volume_out(stock) / 360 == pytest.approx(2.8, abs=0.05)
    pump = Pump(METRIC.volume_in(496))
    minutes = pump.minutes(stock, flow)
    assert minutes == pytest.approx(120, rel=10 / 496)
    assert METRIC.volume_out(stock) / 2 == pytest.approx(496, abs=10)
    covers = [METRIC.weight_in(kg) / METRIC.rate_in(25) for kg in (250, 300)]
    assert [METRIC.area_out(area) for area in covers] == pytest.approx([10, 12])


# --- what a tank can hold -----------------------------------------------------------------------------------


def test_300_g_of_potassium_nitrate_in_a_litre_that_holds_209_give_80_g_of_potassium_and_not_114() -> None:
    """FERT-SOLUBILITY: limit 209 g/L, 38 % K; printed about 80, about 34 stay undissolved. Exact 79.4 and 34.6."""
    table = Solubility(((5.0, 0.209), (20.0, 0.209)), "FERT-SOLUBILITY", Evidence.PUBLISHED)
    salt = Product("potassium nitrate", {"n": 13.0, "k2o": 38 / K2O_TO_K}, solubility=table)
    asked = amount_of(salt, METRIC.weight_in(0.300))
    need = need_of([asked], Tank(20.0, 1.0))
    litre = METRIC.volume_in(1.0)
    assert METRIC.volume_out(need.least_gal) == pytest.approx(300 / 209, rel=1e-9)
    held = amount_of(salt, table.limit_lb_gal(20.0) * litre)
    potassium = [METRIC.weight_out(part.nutrients_lb["k2o"]) * K2O_TO_K * 1000 for part in (asked, held)]
    assert potassium[0] == pytest.approx(114.0, abs=1e-9)
    assert potassium[1] == pytest.approx(80, abs=1)
    assert potassium[1] == pytest.approx(79.42, abs=0.005)
    assert potassium[0] - potassium[1] == pytest.approx(34, abs=1)


# --- units, against pint, a general-purpose unit library -----------------------------------------------------

TON_AC = UREG.short_ton / (43_560 * UREG.foot**2)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (METRIC.density_out(1.0), UREG.Quantity(1, "pound/US_liquid_gallon").to("kg/litre").magnitude),
        (LB_GAL_PER_KG_L, UREG.Quantity(1, "kg/litre").to("pound/US_liquid_gallon").magnitude),
        (METRIC.volume_in(1.0), UREG.Quantity(1, "litre").to("US_liquid_gallon").magnitude),
        (METRIC.weight_in(1.0), UREG.Quantity(1, "kg").to("pound").magnitude),
        (METRIC.length_in(1.0), UREG.Quantity(1, "metre").to("foot").magnitude),
        (METRIC.rate_in(1.0), UREG.Quantity(1, "kg/hectare").to("pound/foot**2").magnitude * 43_560),
        (US.temperature_in(55.0), UREG.Quantity(55, "degF").to("degC").magnitude),
        (US.temperature_in(14.0), UREG.Quantity(14, "degF").to("degC").magnitude),
        (US.temperature_out(12.5), UREG.Quantity(12.5, "degC").to("degF").magnitude),
        (METRIC.depth_in(1.0), UREG.Quantity(1, "mm").to("inch").magnitude),
        (METRIC.depth_out(1.0), UREG.Quantity(1, "inch").to("mm").magnitude),
        (METRIC.bulk_out(1.0), (1 * TON_AC).to("tonne/hectare").magnitude),
        (METRIC.bulk_in(1.0), UREG.Quantity(1, "tonne/hectare").to("short_ton/foot**2").magnitude * 43_560),
        (concentration_ppm(1.0, 1.0), UREG.Quantity(1, "pound/US_liquid_gallon").to("mg/litre").magnitude),
        (concentration_ppm(1.0, 1 / L_PER_GAL), UREG.Quantity(1, "pound/litre").to("mg/litre").magnitude),
    ],
    ids=[
        "lb/gal",
        "kg/L",
        "L",
        "kg",
        "m",
        "kg/ha",
        "55 °F",
        "14 °F",
        "12.5 °C",
        "mm",
        "inch",
        "ton/ac",
        "t/ha",
        "lb in a gallon",
        "lb in a litre",
    ],
)
def test_a_conversion_equals_the_one_of_an_independent_unit_library(ours: float, theirs: float) -> None:
    # pint derives a degree Fahrenheit from 233.15 + 200/9 kelvin, in floating point.
    assert ours == pytest.approx(theirs, rel=1e-11)


@pytest.mark.parametrize("value", [-4.0, 0.0, 5.25, 123.0])
def test_units_of_one_system_pass_unchanged_and_the_others_come_back(value: float) -> None:
    assert METRIC.temperature_in(value) == METRIC.temperature_out(value) == value
    assert US.temperature_out(US.temperature_in(value)) == pytest.approx(value, abs=1e-12)
    for quantity in ("depth", "bulk", "density"):
        into, out = f"{quantity}_in", f"{quantity}_out"
        assert getattr(US, into)(value) == getattr(US, out)(value) == value
        assert getattr(METRIC, out)(getattr(METRIC, into)(value)) == pytest.approx(value, rel=1e-14)


def test_freezing_and_boiling_water_are_32_and_212_fahrenheit() -> None:
    assert (US.temperature_out(0.0), US.temperature_out(100.0)) == (32.0, 212.0)
