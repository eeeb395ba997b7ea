"""Fertilizers: grades, weights and volumes, nitrate share, and what must not meet."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fertadjust.compatibility import refused
from fertadjust.errors import UserError
from fertadjust.products import (
    NUTRIENTS,
    Product,
    amounts,
    nitrate_share,
    nitrogen_in,
    nutrients_per_nitrogen,
)

CALCIUM_NITRATE = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=0.5, nitrate_n=14.5)
POTASSIUM_NITRATE = Product("potassium nitrate", {"n": 13.0, "k2o": 44.0}, share=0.5, nitrate_n=13.0)
UAN = Product("UAN 32", {"n": 32.0}, share=1.0, density_lb_gal=11.06, nitrate_n=7.9)
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0})


@pytest.mark.parametrize(
    ("percent", "grade"),
    [
        ({"n": 13.0, "k2o": 45.0}, "13-0-45"),
        ({"n": 15.5, "ca": 19.0}, "15.5-0-0"),
        ({"n": 20.0, "p2o5": 20.0, "k2o": 20.0}, "20-20-20"),
        ({"n": 0.0, "s": 13.0}, "0-0-0"),
        ({}, "0-0-0"),
    ],
)
def test_a_grade_is_written_as_on_the_label(percent: dict[str, float], grade: str) -> None:
    assert Product("any", percent).grade == grade


def test_weight_is_nitrogen_over_its_fraction() -> None:
    assert CALCIUM_NITRATE.weight_for(15.5) == pytest.approx(100.0)
    assert CALCIUM_NITRATE.weight_for(0.0) == 0.0


@pytest.mark.parametrize("percent", [{}, {"n": 0.0, "s": 13.0}, {"k2o": 60.0}])
def test_a_product_without_nitrogen_cannot_supply_it(percent: dict[str, float]) -> None:
    with pytest.raises(UserError, match=r"muriate \(.*\) holds no nitrogen"):
        Product("muriate", percent).weight_for(1.0)
    with pytest.raises(UserError, match="holds no nitrogen"):
        amounts(1.0, [Product("muriate", percent, share=1.0)])


def test_a_liquid_has_a_volume_and_a_dry_product_none() -> None:
    assert UAN.volume_of(11.06) == pytest.approx(1.0)
    assert CALCIUM_NITRATE.volume_of(11.06) is None
    [part] = amounts(3.5392, [UAN])
    assert (part.weight_lb, part.volume_gal) == (pytest.approx(11.06), pytest.approx(1.0))


def test_a_mix_splits_the_nitrogen_by_its_shares() -> None:
    calcium, potassium = amounts(10.0, [CALCIUM_NITRATE, POTASSIUM_NITRATE])
    assert calcium.weight_lb == pytest.approx(5.0 / 0.155)
    assert potassium.weight_lb == pytest.approx(5.0 / 0.13)
    assert nitrogen_in(CALCIUM_NITRATE, calcium.weight_lb) == pytest.approx(5.0)


def test_other_nutrients_come_along() -> None:
    calcium, potassium = amounts(10.0, [CALCIUM_NITRATE, POTASSIUM_NITRATE])
    assert calcium.nutrients_lb == pytest.approx({"n": 5.0, "ca": 5.0 / 0.155 * 0.19})
    assert potassium.nutrients_lb == pytest.approx({"n": 5.0, "k2o": 5.0 / 0.13 * 0.44})


def test_a_product_without_a_share_is_left_out_even_when_it_holds_no_nitrogen() -> None:
    parts = amounts(10.0, [replace(CALCIUM_NITRATE, share=1.0), EPSOM])
    assert [part.product.name for part in parts] == ["calcium nitrate"]


def test_nitrogen_of_the_parts_adds_up() -> None:
    products = [
        replace(CALCIUM_NITRATE, share=0.2),
        replace(POTASSIUM_NITRATE, share=0.3),
        replace(UAN, share=0.5),
    ]
    parts = amounts(7.7, products)
    assert sum(nitrogen_in(part.product, part.weight_lb) for part in parts) == pytest.approx(7.7, rel=1e-12)


def test_nitrogen_in_a_product_without_nitrogen_is_none() -> None:
    assert nitrogen_in(EPSOM, 100.0) == 0.0
    assert nitrogen_in(Product("lime"), 100.0) == 0.0


def test_label_nutrients_are_known_by_their_names() -> None:
    assert NUTRIENTS == ("n", "p2o5", "k2o", "ca", "mg", "s", "b")


# --- nitrate share -------------------------------------------------------------------------------------------


def test_nitrate_share_of_a_mix_is_weighted_by_its_shares() -> None:
    assert nitrate_share([CALCIUM_NITRATE, POTASSIUM_NITRATE]) == pytest.approx(0.5 * 14.5 / 15.5 + 0.5)
    assert nitrate_share([UAN]) == pytest.approx(7.9 / 32)


def test_a_silent_label_leaves_the_nitrate_share_unknown() -> None:
    assert nitrate_share([CALCIUM_NITRATE, replace(POTASSIUM_NITRATE, nitrate_n=None)]) is None


def test_a_silent_label_of_a_product_without_a_share_does_not_matter() -> None:
    mix = [replace(CALCIUM_NITRATE, share=1.0), replace(POTASSIUM_NITRATE, share=0.0, nitrate_n=None)]
    assert nitrate_share(mix) == pytest.approx(14.5 / 15.5)


def test_urea_holds_no_nitrate() -> None:
    assert nitrate_share([Product("urea", {"n": 46.0}, share=1.0, nitrate_n=0.0)]) == 0.0


# --- concentrated tanks --------------------------------------------------------------------------------------


def test_calcium_beside_sulfate_or_phosphate_is_warned_of_with_both_names() -> None:
    phosphate = Product("MAP", {"n": 11.0, "p2o5": 48.0})
    clash = refused([CALCIUM_NITRATE, EPSOM, phosphate])
    assert clash is not None
    assert clash.text.startswith(
        "calcium nitrate carries calcium and Epsom salt, MAP carries sulfate or phosphate"
    )


@pytest.mark.parametrize(
    "products",
    [
        [],
        [CALCIUM_NITRATE],
        [CALCIUM_NITRATE, POTASSIUM_NITRATE],
        [EPSOM, POTASSIUM_NITRATE],
        [Product("4-8-8 with calcium", {"n": 4.0, "p2o5": 8.0, "ca": 2.0})],
        [Product("zero on the label", {"n": 9.0, "ca": 0.0}), EPSOM],
    ],
)
def test_nothing_to_warn_of(products: list[Product]) -> None:
    assert refused(products) is None


def test_what_comes_with_a_pound_of_the_mixs_nitrogen_is_by_share_and_label() -> None:
    mix = nutrients_per_nitrogen([CALCIUM_NITRATE, POTASSIUM_NITRATE, EPSOM])
    # half a pound of nitrogen from each: 0.5 / 15.5 x 19 calcium, 0.5 / 13 x 44 potash
    assert mix["ca"] == pytest.approx(0.5 / 15.5 * 19)
    assert mix["k2o"] == pytest.approx(0.5 / 13 * 44)
    assert mix.get("mg", 0.0) == mix.get("s", 0.0) == 0.0
    weights = {part.product.name: part.nutrients_lb for part in amounts(7.0, [CALCIUM_NITRATE, POTASSIUM_NITRATE])}
    assert weights["potassium nitrate"]["k2o"] == pytest.approx(7.0 * mix["k2o"])


def test_a_nutrient_of_two_products_adds_up() -> None:
    two = [replace(POTASSIUM_NITRATE, name="one"), replace(POTASSIUM_NITRATE, name="two")]
    assert nutrients_per_nitrogen(two)["k2o"] == pytest.approx(44 / 13)
    assert nutrients_per_nitrogen([]) == {}
