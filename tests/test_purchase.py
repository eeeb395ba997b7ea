"""What has to be bought: whole packages, stock on hand, what is left over, the cost."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fertadjust.errors import UserError
from fertadjust.products import Product, Shelf
from fertadjust.purchase import PACKAGE_TOLERANCE, packages_for, purchase_line, purchase_list, total_cost

BAGGED = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, shelf=Shelf(0.4, 50.0, 20.0))
LOOSE = Product("UAN 32", {"n": 32.0}, density_lb_gal=11.06, shelf=Shelf(0.25))
weights = st.floats(0.0, 1e5, allow_nan=False)


def test_stock_is_used_first_and_the_rest_is_bought_in_whole_bags() -> None:
    [line] = purchase_list([(BAGGED, 100.0)])
    assert (line.need_lb, line.on_hand_lb, line.to_buy_lb) == (100.0, 20.0, 80.0)
    assert (line.packages, line.bought_lb, line.left_over_lb, line.cost) == (2, 100.0, 20.0, 40.0)


def test_enough_on_hand_buys_nothing_and_leaves_the_rest() -> None:
    line = purchase_line(BAGGED, 15.0)
    assert (line.to_buy_lb, line.packages, line.bought_lb, line.left_over_lb, line.cost) == (0.0, 0, 0.0, 5.0, 0.0)


def test_a_liquid_bought_loose_is_bought_to_the_pound_and_told_in_gallons() -> None:
    line = purchase_line(LOOSE, 110.6)
    assert (line.packages, line.bought_lb, line.left_over_lb) == (None, 110.6, 0.0)
    assert (line.need_gal, line.bought_gal) == (pytest.approx(10.0), pytest.approx(10.0))
    assert purchase_line(BAGGED, 1.0).need_gal is None


def test_needs_of_one_product_are_added_before_bags_are_rounded_up() -> None:
    lines = purchase_list([(BAGGED, 35.0), (LOOSE, 1.0), (BAGGED, 35.0)])
    assert [(line.product.name, line.packages) for line in lines] == [("calcium nitrate", 1), ("UAN 32", None)]


def test_without_a_price_there_is_no_cost_and_no_total() -> None:
    priceless = Product("a", shelf=Shelf(None, 50.0))
    lines = purchase_list([(priceless, 10.0), (BAGGED, 70.0)])
    assert [line.cost for line in lines] == [None, 20.0]
    assert total_cost(lines) is None
    assert total_cost(purchase_list([(priceless, 0.0), (BAGGED, 70.0)])) == 20.0


@pytest.mark.parametrize(
    ("need_lb", "on_hand_lb", "packages"),
    [
        (500.0, 0.0, 10),
        (500.0000001, 0.0, 10),
        (500.0 + 50 * PACKAGE_TOLERANCE * 0.9, 0.0, 10),
        (500.0 + 50 * PACKAGE_TOLERANCE * 1.1, 0.0, 11),
        (0.0004, 0.0, 1),
        (0.0, 0.0, 0),
        (20.0, 20.0, 0),
        (0.1 + 0.2, 0.3, 0),
    ],
)
def test_a_hair_of_a_bag_buys_no_further_one_but_a_trace_that_is_needed_does(
    need_lb: float, on_hand_lb: float, packages: int
) -> None:
    assert packages_for(need_lb, on_hand_lb, 50.0) == packages


@pytest.mark.parametrize("need_lb", [-1.0, math.nan, math.inf])
def test_a_need_that_cannot_be_is_refused(need_lb: float) -> None:
    with pytest.raises(UserError, match=r"calcium nitrate: a need of .* it has to be 0 lb or more"):
        purchase_list([(BAGGED, need_lb)])
    with pytest.raises(UserError, match="0 lb or more"):
        purchase_line(BAGGED, need_lb)


def test_two_different_products_of_one_name_are_refused() -> None:
    with pytest.raises(UserError, match="UAN 32: two products of this name differ"):
        purchase_list([(LOOSE, 1.0), (Product("UAN 32", {"n": 32.0}), 1.0)])


@given(weights, weights, st.floats(0.5, 2000.0))
def test_whole_bags_cover_the_need_and_one_fewer_would_not(need_lb: float, on_hand_lb: float, bag: float) -> None:
    line = purchase_line(Product("a", shelf=Shelf(1.0, bag, on_hand_lb)), need_lb)
    assert line.packages is not None
    spare_lb = PACKAGE_TOLERANCE * min(bag, need_lb) + 1e-9 * (need_lb + on_hand_lb)
    assert on_hand_lb + line.bought_lb >= need_lb - spare_lb
    assert line.packages == 0 or on_hand_lb + (line.packages - 1) * bag < need_lb
    assert line.left_over_lb == pytest.approx(on_hand_lb + line.bought_lb - need_lb, abs=spare_lb)
    assert line.cost == line.bought_lb == line.packages * bag


@given(st.integers(1, 10_000), st.floats(0.5, 2000.0))
def test_exactly_full_bags_are_never_rounded_up_to_one_more(packages: int, bag: float) -> None:
    assert packages_for(sum([bag] * packages), 0.0, bag) == packages


@given(weights, weights, weights)
def test_a_greater_need_never_buys_less(small_lb: float, more_lb: float, on_hand_lb: float) -> None:
    product = Product("a", shelf=Shelf(1.0, 50.0, on_hand_lb))
    assert purchase_line(product, small_lb).bought_lb <= purchase_line(product, small_lb + more_lb).bought_lb
