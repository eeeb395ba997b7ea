"""Worked examples of areas, grades, liquids and amounts.

Common practice unless a line names a source. A printed answer is held to the rounding it was printed with, an
exact one to far less.
"""

from __future__ import annotations

import pytest

from fertadjust.compatibility import refused
from fertadjust.evidence import split_sources
from fertadjust.field import AreaBasis, Block
from fertadjust.mixes import Mixes
from fertadjust.products import Product, amounts, nitrate_share, nitrogen_in
from fertadjust.units import FT2_PER_ACRE, K2O_TO_K, P2O5_TO_P, UnitSystem
from fertadjust.weekly import weekly_amounts
from tests import support

METRIC = UnitSystem.METRIC


def dry(name: str, n: float, p2o5: float = 0.0, k2o: float = 0.0, **more: float) -> Product:
    return Product(name, {"n": n, "p2o5": p2o5, "k2o": k2o, **more}, share=1.0)


def liquid(name: str, lb_gal: float, n: float, p2o5: float = 0.0, k2o: float = 0.0) -> Product:
    return Product(name, {"n": n, "p2o5": p2o5, "k2o": k2o}, share=1.0, density_lb_gal=lb_gal)


def acres(count: float) -> Block:
    """A block of some gross acres."""
    return Block("field", "Field", FT2_PER_ACRE * count / 5.0, 1, 2.5, 5.0, AreaBasis.GROSS)


def one_row(feet: float, spacing_ft: float) -> Block:
    """One bed counted by linear bed feet at a standard spacing."""
    return Block("row", "Row", feet, 1, 2.5, 5.0, AreaBasis.LINEAR_BED, standard_spacing_ft=spacing_ft)


# --- area and product: 300 ft rows, 2.5 ft bed tops, 10 rows, 7 lb N per acre of bed top ---------------------


def test_an_acre_holds_43560_square_feet() -> None:
    """Common practice; also printed in LBF-VGN-2021."""
    assert FT2_PER_ACRE == 43_560


def test_ten_rows_of_300_ft_with_bed_tops_of_2_5_ft_are_7500_square_feet_of_bed() -> None:
    assert support.block().area_ac() * FT2_PER_ACRE == pytest.approx(7_500, rel=1e-12)


def test_that_block_is_0_172176309_acres_and_is_not_rounded() -> None:
    assert support.block().area_ac() == pytest.approx(0.172176309, abs=1e-9)


def test_seven_pounds_of_nitrogen_take_46_667_lb_of_15_0_0() -> None:
    assert dry("15-0-0", 15).weight_for(7.0) == pytest.approx(46.667, abs=0.001)


def test_seven_pounds_of_nitrogen_take_53_846_lb_of_13_0_45() -> None:
    assert dry("13-0-45", 13, k2o=45).weight_for(7.0) == pytest.approx(53.846, abs=0.001)


def test_24_231_lb_of_potash_come_with_it() -> None:
    [part] = amounts(7.0, [dry("13-0-45", 13, k2o=45)])
    assert part.nutrients_lb["k2o"] == pytest.approx(24.231, abs=0.001)


@pytest.mark.parametrize(
    ("product", "weight_lb", "with_rounded_area"),
    [(dry("15-0-0", 15), 8.034894, 7.933), (dry("13-0-45", 13, k2o=45), 9.271031, 9.154)],
    ids=["15-0-0", "13-0-45"],
)
def test_the_block_takes_its_product_from_the_unrounded_area(
    product: Product, weight_lb: float, with_rounded_area: float
) -> None:
    plan = support.plan((7.0,))
    mixes = Mixes.same([product])
    [row] = weekly_amounts(
        support.block(), plan, mixes, plan.weeks, {1: 7.0}, {1: 7.0}, spent_lb_ac=0.0, stage_of={}
    )
    assert row.n_lb == pytest.approx(1.205234, rel=1e-6)
    assert row.products[0].weight_lb == pytest.approx(weight_lb, rel=1e-6)
    # With the area rounded to 0.17 ac the answer would be 1.26 % short.
    assert with_rounded_area / row.products[0].weight_lb - 1 == pytest.approx(-0.0126, abs=1e-4)


# --- amounts for one pound of nitrogen -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("product", "expected", "tolerance"),
    [
        (dry("20-20-20", 20, 20, 20), 5.00, 0.005),
        (dry("calcium nitrate 15.5-0-0", 15.5), 6.45, 0.005),  # also printed in a California extension table
        (dry("potassium nitrate 13-0-44", 13, k2o=44), 7.69, 0.005),
        (dry("urea 46-0-0", 46), 2.17, 0.005),  # also in that table
        (dry("ammonium nitrate 33.5-0-0", 33.5), 2.985, 0.0005),  # printed 2.98 there
    ],
    ids=lambda value: value.name if isinstance(value, Product) else None,
)
def test_pounds_of_a_dry_product_for_one_pound_of_nitrogen(
    product: Product, expected: float, tolerance: float
) -> None:
    assert product.weight_for(1.0) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("product", "gallons", "lb_n_gal"),
    [
        (liquid("UAN 32", 11.06, 32), 0.283, 3.5392),  # density: published sheet of physical characteristics
        (liquid("calcium ammonium nitrate solution 17-0-0", 12.6, 17), 0.467, 2.142),
        (liquid("UAN 28", 10.67, 28), 0.335, 2.9876),
        (liquid("UAN 28", 10.6, 28), 0.337, 2.968),  # PURDUE-UAN
        (liquid("ammonium polyphosphate 10-34-0", 11.65, 10, 34), 0.858, 1.165),
        (liquid("ammonium thiosulfate 12-0-0", 11.04, 12), 0.755, 1.3248),
        (liquid("urea solution 23-0-0", 9.5, 23), 0.458, 2.185),
    ],
    ids=lambda value: f"{value.name} {value.density_lb_gal}" if isinstance(value, Product) else None,
)
def test_gallons_of_a_liquid_for_one_pound_of_nitrogen(product: Product, gallons: float, lb_n_gal: float) -> None:
    [part] = amounts(1.0, [product])
    assert part.volume_gal == pytest.approx(gallons, abs=0.0005)
    assert product.density_lb_gal is not None
    assert nitrogen_in(product, product.density_lb_gal) == pytest.approx(lb_n_gal, abs=0.0005)


# --- liquids by density --------------------------------------------------------------------------------------

TEN = liquid("10-10-10", 10.69, 10, 10, 10)


def test_15_lb_of_nitrogen_an_acre_are_14_03_gal_of_10_10_10_and_280_6_gal_on_20_acres() -> None:
    """VINEYARD-LIQUID; exact 14.0318 and 280.636."""
    assert nitrogen_in(TEN, 10.69) == pytest.approx(1.069, abs=0.005)
    [acre] = amounts(15.0, [TEN])
    [field] = amounts(15.0 * acres(20).area_ac(), [TEN])
    assert acre.volume_gal == pytest.approx(14.03, abs=0.005)
    assert field.volume_gal == pytest.approx(280.6, abs=0.05)
    assert field.volume_gal == pytest.approx(280.636, abs=0.001)


def test_300_gal_of_10_10_10_on_20_acres_are_16_035_lb_of_nitrogen_an_acre() -> None:
    """The reverse, by the method of VINEYARD-LIQUID; the answer is derived."""
    per_acre = 300 / acres(20).area_ac()
    assert per_acre == pytest.approx(15.0, abs=0.001)
    assert nitrogen_in(TEN, per_acre * 10.69) == pytest.approx(16.035, abs=0.001)


@pytest.mark.parametrize(
    ("gallons", "printed", "tolerance", "exact"),
    [(1, 2.97, 0.005, 2.968), (20, 59.4, 0.05, 59.36), (30, 90.0, 1.0, 89.04)],
)
def test_nitrogen_in_gallons_of_uan_28(gallons: float, printed: float, tolerance: float, exact: float) -> None:
    """PURDUE-UAN at 10.6 lb/gal."""
    found = nitrogen_in(liquid("UAN 28", 10.6, 28), gallons * 10.6)
    assert found == pytest.approx(printed, abs=tolerance)
    assert found == pytest.approx(exact, abs=1e-9)


def test_ten_gallons_of_11_34_0_carry_12_87_lb_of_nitrogen_and_not_the_11_7_printed() -> None:
    """A worked example in print (larswrites.com, 2023, low authority): 117 lb, 39.78 lb P2O5, 17.37 lb P and
    19.45 kg P/ha are right, "11.7 lb N" is a slip for 0.11 x 117 = 12.87."""
    product = liquid("11-34-0", 11.7, 11, 34)
    [part] = amounts(12.87, [product])
    assert part.weight_lb == pytest.approx(117.0, abs=0.01)
    assert part.volume_gal == pytest.approx(10.0, abs=0.001)
    assert nitrogen_in(product, 117.0) == pytest.approx(12.87, abs=0.01)
    assert nitrogen_in(product, 117.0) != pytest.approx(11.7, abs=0.5)
    assert part.nutrients_lb["p2o5"] == pytest.approx(39.78, abs=0.01)
    phosphorus = part.nutrients_lb["p2o5"] * P2O5_TO_P
    assert phosphorus == pytest.approx(17.37, abs=0.02)
    assert METRIC.rate_out(phosphorus) == pytest.approx(19.45, abs=0.02)


def test_six_gallons_of_10_20_10_weigh_68_4_lb() -> None:
    """Recalled, high; 11.4 lb/gal."""
    [part] = amounts(6.84, [liquid("10-20-10", 11.4, 10, 20, 10)])
    assert (part.volume_gal, part.weight_lb) == (pytest.approx(6.0), pytest.approx(68.4, abs=0.5))


# --- linear bed feet -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spacing_ft", "feet", "tolerance"),
    [
        (6, 7_260, 1e-9),  # LBF-VGN-2021
        (7, 6_222, 1.0),  # LBF-VGN-2021, printed truncated; exact 6,222.857
        (3, 14_520, 1e-9),  # derived
        (4, 10_890, 1e-9),  # derived; 4 ft as Florida's strawberry standard is recalled
        (5, 8_712, 1e-9),  # derived
        (8, 5_445, 1e-9),  # derived
    ],
)
def test_linear_bed_feet_that_count_as_an_acre(spacing_ft: float, feet: float, tolerance: float) -> None:
    counted = 1.0 / (one_row(1.0, spacing_ft).area_ac())
    assert counted == pytest.approx(feet, abs=tolerance)


LB_AC = (20, 40, 60, 80, 100, 150, 200)
LB_100_FEET = {
    3: (0.14, 0.28, 0.41, 0.55, 0.69, 1.03, 1.38),
    4: (0.18, 0.37, 0.55, 0.73, 0.92, 1.38, 1.84),
    5: (0.23, 0.46, 0.69, 0.92, 1.15, 1.72, 2.30),
    6: (0.28, 0.55, 0.83, 1.10, 1.38, 2.07, 2.75),
    8: (0.37, 0.73, 1.10, 1.47, 1.84, 2.75, 3.67),
}


@pytest.mark.parametrize(
    ("spacing_ft", "lb_ac", "expected"),
    [
        (spacing, rate, weight)
        for spacing, weights in LB_100_FEET.items()
        for rate, weight in zip(LB_AC, weights, strict=True)
    ],
)
def test_pounds_for_100_linear_bed_feet(spacing_ft: float, lb_ac: float, expected: float) -> None:
    """Derived, lb/ac x spacing / 435.6; agrees with the recalled table of UF/IFAS SL303."""
    assert lb_ac * one_row(100.0, spacing_ft).area_ac() == pytest.approx(expected, abs=0.005)


# --- strawberry by the hectare of bed, DPIRD-2016 ------------------------------------------------------------

CALCIUM_NITRATE = dry("calcium nitrate", 15.5, ca=19)
POTASSIUM_NITRATE = dry("potassium nitrate", 13, k2o=38 / K2O_TO_K)
MAP = dry("monoammonium phosphate", 11, 22.8 / P2O5_TO_P)
EPSOM = Product("magnesium sulfate", {"n": 0.0, "mg": 9.9, "s": 13.0})


def test_38_percent_elemental_potassium_is_45_8_percent_potash() -> None:
    """DPIRD-2016 states elements; US labels state K2O."""
    assert POTASSIUM_NITRATE.percent["k2o"] == pytest.approx(45.8, abs=0.05)


def test_nine_beds_of_125_m_by_1_2_m_are_1350_square_metres_and_take_270_g_at_2_kg_a_hectare() -> None:
    block = Block(
        "station", "Station", METRIC.length_in(125), 9, METRIC.length_in(1.2), METRIC.length_in(1.8), AreaBasis.BED
    )
    assert METRIC.area_out(block.area_ac()) * 10_000 == pytest.approx(1350, rel=1e-9)
    n_lb = METRIC.rate_in(2.0) * block.area_ac()
    assert METRIC.weight_out(n_lb) * 1000 == pytest.approx(270, rel=1e-9)


def test_the_stock_recipe_holds_23_4_kg_of_nitrogen_with_two_weights_exchanged() -> None:
    """Printed: 23.4 kg N from 75 kg calcium nitrate, 75 kg potassium nitrate, 36 kg MAP and 18 kg magnesium
    sulfate. As printed they hold 25.3 kg; with the last two exchanged, 23.355."""
    shared = nitrogen_in(CALCIUM_NITRATE, 75) + nitrogen_in(POTASSIUM_NITRATE, 75)
    assert shared + nitrogen_in(MAP, 18) + nitrogen_in(EPSOM, 36) == pytest.approx(23.4, abs=0.05)
    assert shared + nitrogen_in(MAP, 36) + nitrogen_in(EPSOM, 18) == pytest.approx(25.335, abs=0.001)


def test_the_daily_list_adds_up_to_the_printed_nutrients_of_a_hectare_of_bed() -> None:
    """6.5, 6.4, 3 and 1.9 kg/ha/day; printed N 2, P 0.4, K 2.4, Ca 1.2, Mg 0.3."""
    list_ = [(CALCIUM_NITRATE, 6.5), (POTASSIUM_NITRATE, 6.4), (EPSOM, 3.0), (MAP, 1.9)]
    total = {
        key: sum(weight * product.percent.get(key, 0.0) / 100 for product, weight in list_)
        for key in ("p2o5", "k2o", "ca", "mg")
    }
    assert sum(nitrogen_in(product, weight) for product, weight in list_) == pytest.approx(2.0, abs=0.05)
    assert total["p2o5"] * P2O5_TO_P == pytest.approx(0.4, abs=0.05)
    assert total["k2o"] * K2O_TO_K == pytest.approx(2.4, abs=0.05)
    assert total["ca"] == pytest.approx(1.2, abs=0.05)
    assert total["mg"] == pytest.approx(0.3, abs=0.01)


def test_6_5_kg_of_calcium_nitrate_carry_one_kilogram_of_nitrogen_and_1_2_of_calcium() -> None:
    [part] = amounts(1.0075, [CALCIUM_NITRATE])
    assert part.weight_lb == pytest.approx(6.5, abs=1e-9)
    assert part.nutrients_lb["ca"] == pytest.approx(1.235, abs=1e-9)


# --- forms of nitrogen and what must not meet ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("n", "nitrate_n", "share"),
    [
        (34, 17, 0.50),  # ammonium nitrate, half and half
        (32, 7.9, 0.25),  # UAN 32, derived from 45 % ammonium nitrate; UAN is about a quarter nitrate
        (28, 7.0, 0.25),  # UAN 28
        (15.5, 14.5, 0.935),  # calcium nitrate, recalled, high
        (13, 13, 1.0),  # potassium nitrate holds no other nitrogen
        (46, 0, 0.0),  # urea holds no nitrate
    ],
)
def test_nitrate_share_of_a_material(n: float, nitrate_n: float, share: float) -> None:
    material = Product("material", {"n": n}, share=1.0, nitrate_n=nitrate_n)
    assert nitrate_share([material]) == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize(
    "other",
    [
        Product("ammonium sulfate", {"n": 21.0, "s": 24.0}),
        Product("potassium sulfate", {"n": 0.0, "k2o": 50.0, "s": 18.0}),
        EPSOM,
        MAP,
        Product("diammonium phosphate", {"n": 18.0, "p2o5": 46.0}),
        Product("monopotassium phosphate", {"n": 0.0, "p2o5": 52.0, "k2o": 34.0}),
        Product("20-20-20", {"n": 20.0, "p2o5": 20.0, "k2o": 20.0}),
    ],
    ids=lambda product: product.name,
)
def test_calcium_nitrate_must_not_meet_sulfate_or_phosphate_in_one_tank(other: Product) -> None:
    """UC-MICRO for sulfates, COMPAT-F20 for phosphates."""
    clash = refused([CALCIUM_NITRATE, other])
    assert clash is not None
    assert "calcium nitrate" in clash.text and other.name in clash.text
    assert {"UC-MICRO", "COMPAT-F20"} <= set(split_sources(clash.source))


@pytest.mark.parametrize(
    "other",
    [dry("potassium nitrate", 13, k2o=44), dry("urea", 46), dry("ammonium nitrate", 34)],
    ids=lambda p: p.name,
)
def test_plain_nitrates_and_urea_fit_the_calcium_tank(other: Product) -> None:
    """DPIRD-2016 puts half of the potassium nitrate there; recalled, high, for nitrates and urea in general."""
    assert refused([CALCIUM_NITRATE, other]) is None
