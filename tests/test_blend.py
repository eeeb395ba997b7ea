"""The blend by target: least cost and weight, whole packages, conflicts in words, the nearest mix."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fertadjust.blend import LEAST_COST, LEAST_WEIGHT, Blend, blend, nearest
from fertadjust.blend_conflict import conflict, conflicts
from fertadjust.blend_program import Bound, feasible
from fertadjust.blend_targets import Target, limit_bound, target_bounds
from fertadjust.errors import UserError
from fertadjust.products import NUTRIENTS, Product, Shelf
from fertadjust.purchase import purchase_list, total_cost
from fertadjust.units import UnitSystem

CALCIUM = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, shelf=Shelf(0.40, 50.0))
POTASSIUM = Product("potassium nitrate", {"n": 13.0, "k2o": 44.0}, shelf=Shelf(0.90, 50.0))
MURIATE = Product("potassium chloride", {"k2o": 60.0}, shelf=Shelf(0.45, 50.0))
EPSOM = Product("Epsom salt", {"mg": 10.0, "s": 13.0}, shelf=Shelf(0.30, 50.0))
UREA = Product("urea", {"n": 46.0}, shelf=Shelf(0.35, 50.0))
SHED = [CALCIUM, POTASSIUM, MURIATE, EPSOM, UREA]
K2O_OF_LITTLE_N = [Target("k2o", 20.0), Target("n", None, 5.0)]


def priced(product: Product, price: float | None) -> Product:
    return replace(product, shelf=replace(product.shelf, price=price))


def stocked(product: Product, on_hand_lb: float) -> Product:
    return replace(product, shelf=replace(product.shelf, on_hand_lb=on_hand_lb))


def weights_of(mix: Blend) -> dict[str, float]:
    return {part.product.name: part.weight_lb for part in mix.parts}


def bounds_of(products: Sequence[Product], targets: Sequence[Target], limits: dict[str, float]) -> list[Bound]:
    bounds = [bound for target in targets for bound in target_bounds(target, products)]
    return bounds + [limit_bound(name, lb, products) for name, lb in limits.items()]


# --- a mix that can be worked out by hand ---------------------------------------------------------------------


def test_nitrogen_and_potash_of_two_products_are_two_divisions() -> None:
    mix = blend([CALCIUM, POTASSIUM], [Target("n", 20.0, 20.0), Target("k2o", 22.0, 22.0)])
    assert weights_of(mix) == pytest.approx({"potassium nitrate": 50.0, "calcium nitrate": (20 - 6.5) / 0.155})
    assert mix.cost == pytest.approx(50.0 * 0.9 + 13.5 / 0.155 * 0.4)
    assert mix.shares == pytest.approx({"calcium nitrate": 13.5 / 20, "potassium nitrate": 6.5 / 20})
    assert (mix.objective, mix.misses, mix.packages) == (LEAST_COST, (), {})


def test_the_cheaper_source_is_taken() -> None:
    mix = blend([CALCIUM, UREA], [Target("n", 46.0)])
    assert weights_of(mix) == pytest.approx({"urea": 100.0})
    assert weights_of(blend([CALCIUM, priced(UREA, 2.0)], [Target("n", 15.5)])) == {
        "calcium nitrate": pytest.approx(100.0)
    }


def test_without_any_price_the_lightest_mix_is_taken() -> None:
    mix = blend([priced(product, None) for product in SHED], [Target("n", 20.0), Target("k2o", 30.0)])
    assert (mix.objective, mix.cost) == (LEAST_WEIGHT, None)
    potassium_lb = 30 / 0.44
    urea_lb = (20 - 0.13 * potassium_lb) / 0.46
    assert potassium_lb + urea_lb < 30 / 0.60 + 20 / 0.46, "lighter than with the chloride, which is cheaper"
    assert weights_of(mix) == pytest.approx({"potassium nitrate": potassium_lb, "urea": urea_lb})


def test_of_equal_costs_the_lighter_mix_is_taken_and_then_the_product_named_first() -> None:
    twin = replace(UREA, name="twin")
    weak = Product("weak", {"n": 23.0}, shelf=Shelf(0.175))
    for products, first in [([UREA, twin, weak], "urea"), ([weak, twin, UREA], "twin")]:
        assert weights_of(blend(products, [Target("n", 46.0)])) == pytest.approx({first: 100.0})


@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize("count", [2, 5, 12])
def test_of_many_alike_the_one_named_first_is_taken(count: int, whole: bool) -> None:
    twins = [replace(UREA, name=f"urea {number}") for number in range(count)]
    for order in (twins, twins[::-1]):
        mix = blend([POTASSIUM, *order], [Target("n", 46.0, 50.0), Target("k2o", 4.4)], whole_packages=whole)
        assert list(weights_of(mix)) == ["potassium nitrate", order[0].name]


def test_stock_on_hand_is_used_first_and_costs_nothing() -> None:
    mix = blend([stocked(CALCIUM, 40.0), UREA], [Target("n", 15.5)])
    assert weights_of(mix) == pytest.approx({"calcium nitrate": 40.0, "urea": (15.5 - 6.2) / 0.46})
    assert mix.bought_lb == pytest.approx({"urea": 9.3 / 0.46})
    assert mix.cost == pytest.approx(9.3 / 0.46 * 0.35)


def test_amounts_per_acre_leave_the_stock_out_and_take_no_packages() -> None:
    per_acre = blend([stocked(CALCIUM, 40.0), UREA], [Target("n", 15.5)], per_area=True)
    assert weights_of(per_acre) == pytest.approx({"urea": 15.5 / 0.46})
    with pytest.raises(UserError, match="whole packages are for a block"):
        blend([UREA], [Target("n", 1.0)], per_area=True, whole_packages=True)


def test_products_without_nitrogen_are_told_by_weight_and_have_no_share() -> None:
    mix = blend(SHED, [Target("n", 46.0), Target("mg", 1.0)])
    assert mix.shares == {"urea": 1.0}
    assert mix.beside_lb == {"Epsom salt": pytest.approx(10.0)}
    assert blend([EPSOM], [Target("mg", 1.0)]).shares == {}


def test_shares_carried_by_the_products_do_not_matter() -> None:
    targets = [Target("n", 10.0), Target("ca", 3.0)]
    shared = [replace(CALCIUM, share=0.9), replace(UREA, share=0.1)]
    assert weights_of(blend(shared, targets)) == weights_of(blend([CALCIUM, UREA], targets))


# --- whole packages -------------------------------------------------------------------------------------------


def test_a_dearer_bag_that_is_used_up_beats_a_cheaper_one_half_used() -> None:
    small = Product("small", {"n": 40.0}, shelf=Shelf(0.50, 10.0))
    large = Product("large", {"n": 40.0}, shelf=Shelf(0.40, 100.0))
    loose = blend([small, large], [Target("n", 8.0)])
    assert (weights_of(loose), loose.cost) == (pytest.approx({"large": 20.0}), pytest.approx(8.0))
    bags = blend([small, large], [Target("n", 8.0)], whole_packages=True)
    assert (bags.packages, bags.cost, weights_of(bags)) == ({"small": 2}, 10.0, pytest.approx({"small": 20.0}))


def test_whole_packages_without_prices_are_counted_for_the_lightest_mix() -> None:
    mix = blend([priced(UREA, None)], [Target("n", 46.0 * 0.6)], whole_packages=True)
    assert (mix.packages, mix.bought_lb, mix.cost) == ({"urea": 2}, {"urea": 100.0}, None)


def test_a_product_without_a_package_is_bought_loose_beside_whole_bags() -> None:
    uan = Product("UAN 32", {"n": 32.0}, density_lb_gal=11.06, shelf=Shelf(0.20))
    mix = blend([uan, POTASSIUM], [Target("n", 20.0, 20.0), Target("k2o", 11.0, 11.0)], whole_packages=True)
    assert mix.packages == {"potassium nitrate": 1}
    assert mix.bought_lb == pytest.approx({"UAN 32": (20 - 3.25) / 0.32, "potassium nitrate": 50.0})


# --- against enumeration --------------------------------------------------------------------------------------


def vertices(rows: np.ndarray, most: np.ndarray) -> list[np.ndarray]:
    """Every corner of {x : rows x <= most}, by solving every choice of as many rows as there are columns."""
    found = []
    for chosen in itertools.combinations(range(len(rows)), rows.shape[1]):
        square = rows[list(chosen)]
        if abs(np.linalg.det(square)) > 1e-9:
            corner = np.linalg.solve(square, most[list(chosen)])
            if np.all(rows @ corner <= most + 1e-7):
                found.append(corner)
    return found


def region(products: Sequence[Product], targets: Sequence[Target]) -> tuple[np.ndarray, np.ndarray]:
    """Rows and right sides of what the targets and weights of 0 or more ask for, built apart from the program."""
    rows, most = [-row for row in np.eye(len(products))], [0.0] * len(products)
    for target in targets:
        holds = np.array([product.percent.get(target.nutrient, 0.0) / 100 for product in products])
        if target.least is not None:
            rows.append(-holds)
            most.append(-target.least)
        if target.most is not None:
            rows.append(holds)
            most.append(target.most)
    return np.array(rows), np.array(most)


PERCENTS = st.sampled_from([0.0, 5.0, 10.0, 15.5, 20.0, 46.0])
PRICES = st.integers(5, 200).map(lambda cents: cents / 100)


@st.composite
def shelves(draw: st.DrawFn, most: int = 3, packages: bool = False) -> list[Product]:
    products = []
    for number in range(draw(st.integers(1, most))):
        percent = {nutrient: draw(PERCENTS) for nutrient in NUTRIENTS[:3]}
        package = draw(st.sampled_from([25.0, 40.0, 50.0])) if packages else None
        on_hand = draw(st.sampled_from([0.0, 10.0, 60.0])) if packages else 0.0
        products.append(Product(f"product {number}", percent, shelf=Shelf(draw(PRICES), package, on_hand)))
    return products


@st.composite
def wishes(draw: st.DrawFn) -> list[Target]:
    targets = []
    for nutrient in NUTRIENTS[: draw(st.integers(1, 3))]:
        least = float(draw(st.integers(0, 30)))
        width = draw(st.sampled_from([0.0, 3.0, 20.0, None]))
        targets.append(Target(nutrient, least, None if width is None else least + width))
    assume(any(target.least for target in targets))
    return targets


@given(shelves(), wishes())
@settings(deadline=None, max_examples=150)
def test_the_least_cost_is_that_of_the_best_corner(products: list[Product], targets: list[Target]) -> None:
    corners = vertices(*region(products, targets))
    prices = np.array([product.shelf.price for product in products])
    if corners:
        mix = blend(products, targets)
        assert mix.cost == pytest.approx(min(float(prices @ corner) for corner in corners), rel=1e-6)
    else:
        with pytest.raises(UserError):
            blend(products, targets)


@given(shelves(2, packages=True), wishes())
@settings(deadline=None, max_examples=80)
def test_whole_bags_cost_what_trying_every_number_of_bags_finds(
    products: list[Product], targets: list[Target]
) -> None:
    rows, most = region(products, targets)
    assume(vertices(rows, most))
    mix = blend(products, targets, whole_packages=True)
    assert mix.cost is not None
    held = np.array([[product.shelf.on_hand_lb, product.shelf.package_lb] for product in products])
    bag_costs = [(product.shelf.price or 0.0) * (product.shelf.package_lb or 0.0) for product in products]
    choices = itertools.product(*(range(int(mix.cost / cost + 1e-6) + 1) for cost in bag_costs))
    costs = {bags: sum(cost * number for cost, number in zip(bag_costs, bags, strict=True)) for bags in choices}
    for bags in sorted(costs, key=lambda bags: costs[bags]):
        capacity = held[:, 0] + held[:, 1] * np.array(bags)
        if vertices(np.vstack([rows, np.eye(len(products))]), np.concatenate([most, capacity])):
            assert mix.cost == pytest.approx(costs[bags])
            break
    else:
        pytest.fail("no number of bags up to the cost found does it")


# --- what holds for every mix ---------------------------------------------------------------------------------


@given(shelves(4, packages=True), wishes(), st.booleans())
@settings(deadline=None, max_examples=100)
def test_what_the_labels_of_the_parts_say_is_what_the_mix_holds_and_the_targets_are_kept(
    products: list[Product], targets: list[Target], whole: bool
) -> None:
    mix = nearest(products, targets, whole_packages=whole)
    for nutrient in NUTRIENTS:
        by_label = sum(part.weight_lb * part.product.percent.get(nutrient, 0.0) / 100 for part in mix.parts)
        assert mix.nutrients_lb.get(nutrient, 0.0) == pytest.approx(by_label)
    missed = {miss.nutrient for miss in mix.misses}
    for target in targets:
        got = mix.nutrients_lb.get(target.nutrient, 0.0)
        kept = (target.least or 0.0) - 1e-5 <= got <= (math.inf if target.most is None else target.most) + 1e-5
        assert kept == (target.nutrient not in missed)


@given(shelves(4, packages=True), wishes())
@settings(deadline=None, max_examples=60)
def test_the_purchase_list_of_a_mix_in_bags_is_what_the_mix_says(
    products: list[Product], targets: list[Target]
) -> None:
    mix = nearest(products, targets, whole_packages=True)
    lines = purchase_list([(part.product, part.weight_lb) for part in mix.parts])
    assert {line.product.name: line.packages for line in lines if line.packages} == mix.packages
    assert total_cost(lines) == pytest.approx(mix.cost)


@given(shelves(), wishes(), st.integers(1, 100))
@settings(deadline=None, max_examples=80)
def test_a_dearer_product_is_never_used_more(products: list[Product], targets: list[Target], cents: int) -> None:
    assume(vertices(*region(products, targets)))
    dearer = [priced(products[0], (products[0].shelf.price or 0.0) + cents / 100), *products[1:]]
    name = products[0].name
    before = weights_of(blend(products, targets)).get(name, 0.0)
    assert weights_of(blend(dearer, targets)).get(name, 0.0) <= before + 1e-6


@given(shelves(), wishes(), st.booleans(), st.sampled_from([1e-3, 7.0, 1e4]))
@settings(deadline=None, max_examples=60)
def test_a_mix_grows_with_its_targets_and_asking_twice_gives_the_same(
    products: list[Product], targets: list[Target], exact: bool, times: float
) -> None:
    ask = nearest
    if exact:
        assume(vertices(*region(products, targets)))
        ask = blend
    mix = ask(products, targets)
    assert ask(products, targets) == mix
    grown = [
        Target(
            target.nutrient,
            (target.least or 0.0) * times,
            target.most if target.most is None else target.most * times,
        )
        for target in targets
    ]
    assert ask(products, grown).cost == pytest.approx((mix.cost or 0.0) * times, rel=1e-5, abs=1e-9)


# --- what cannot be -------------------------------------------------------------------------------------------


def test_a_conflict_names_what_cannot_hold_together_and_what_would_do() -> None:
    with pytest.raises(UserError) as raised:
        blend([CALCIUM, POTASSIUM], [*K2O_OF_LITTLE_N, Target("ca", 1.0)])
    assert str(raised.value) == (
        "no mix does it: these cannot hold together: at least 20 lb K2O, at most 5 lb N. "
        "With the rest kept, one of these would do: 14.16 lb K2O or less; 6.725 lb N or more"
    )
    blend([CALCIUM, POTASSIUM], [Target("k2o", 14.16), Target("n", None, 5.0), Target("ca", 1.0)])
    blend([CALCIUM, POTASSIUM], [Target("k2o", 20.0), Target("n", None, 6.725), Target("ca", 1.0)])


def test_a_limit_of_a_product_is_named_when_it_conflicts() -> None:
    with pytest.raises(UserError) as raised:
        blend([CALCIUM, POTASSIUM], [Target("k2o", 22.0), Target("n", 5.0)], limits={"potassium nitrate": 10.0})
    assert "at least 22 lb K2O, at most 10 lb of potassium nitrate. With" in str(raised.value)
    assert "4.4 lb K2O or less; 50 lb of potassium nitrate or more" in str(raised.value)


def test_a_conflict_is_told_in_the_units_of_the_grower() -> None:
    with pytest.raises(UserError, match=r"at least 22\.417 kg/ha K2O, at most 5\.60426 kg/ha N"):
        blend([CALCIUM, POTASSIUM], K2O_OF_LITTLE_N, units=UnitSystem.METRIC, per_area=True)
    with pytest.raises(UserError, match=r"at least 9\.07185 kg K2O, at most 2\.26796 kg N"):
        blend([CALCIUM, POTASSIUM], K2O_OF_LITTLE_N, units=UnitSystem.METRIC)


def test_two_conflicts_are_both_told() -> None:
    with pytest.raises(UserError) as raised:
        blend([POTASSIUM, EPSOM], [*K2O_OF_LITTLE_N, Target("mg", 5.0), Target("s", None, 1.3)])
    first, second = (str(fault) for fault in raised.value.faults)
    assert "at least 5 lb Mg, at most 1.3 lb S. To settle this conflict, though there are others, one" in first
    assert "1 lb Mg or less; 6.5 lb S or more" in first
    assert "at least 20 lb K2O, at most 5 lb N" in second


def test_an_amount_that_cannot_be_had_at_all_is_proposed_to_be_left_out() -> None:
    with pytest.raises(UserError, match="no Mg asked for; 10 lb of Epsom salt or more"):
        blend([UREA, EPSOM], [Target("mg", 1.0)], limits={"Epsom salt": 0.0})


def test_a_nutrient_that_no_product_holds_is_named_with_products_that_do() -> None:
    targets = [Target("mg", 1.0), Target("b", 1.0), Target("n", 1.0)]
    with pytest.raises(UserError) as raised:
        blend([UREA, CALCIUM], targets, known=[EPSOM, POTASSIUM])
    assert [str(fault) for fault in raised.value.faults] == [
        "mg: no product here holds Mg; products that do: Epsom salt",
        "b: no product here holds B; add one that does, or leave it out",
    ]


@given(shelves(), wishes(), st.dictionaries(st.just("product 0"), st.floats(0.0, 50.0)))
@settings(deadline=None, max_examples=150)
def test_the_conflicting_bounds_cannot_hold_together_and_none_of_them_is_needless(
    products: list[Product], targets: list[Target], limits: dict[str, float]
) -> None:
    bounds = bounds_of(products, targets, limits)
    assume(not feasible(bounds, len(products)))
    named = conflict(bounds, len(products))
    assert not feasible(named, len(products))
    for bound in named:
        assert feasible([other for other in named if other is not bound], len(products))
    told = conflicts(bounds, len(products))
    left = [bound for bound in bounds if not any(bound is one for group in told for one in group)]
    assert feasible(left, len(products))


@pytest.mark.parametrize(
    ("targets", "says"),
    [
        ([Target("zn", 1.0)], "zn: is no nutrient of a blend; these are: n, p2o5"),
        ([Target("n", 1.0), Target("n", None, 2.0)], "n: 2 targets; give one"),
        ([Target("n", 1.0), Target("ca")], "ca: neither a least nor a most"),
        ([Target("n", 3.0, 2.0)], "n: the least is more than the most"),
        ([Target("n", -1.0)], "n: an amount of -1 cannot be; it has to be 0 or more"),
        ([Target("n", math.nan)], "n: an amount of nan"),
        ([Target("n", 1.0, math.inf)], "n: an amount of inf"),
        ([Target("n", 0.0), Target("ca", None, 2.0)], "targets: nothing is asked for; give a least"),
        ([], "targets: nothing is asked for"),
    ],
)
def test_targets_that_cannot_be_used_are_refused(targets: list[Target], says: str) -> None:
    for ask in (blend, nearest):
        with pytest.raises(UserError) as raised:
            ask([UREA, CALCIUM], targets)
        assert says in str(raised.value)


@pytest.mark.parametrize(
    ("products", "limits", "says"),
    [
        ([], {}, "products: there is nothing to mix"),
        ([UREA, UREA], {}, "urea: named 2 times"),
        ([UREA, priced(CALCIUM, None)], {}, "price: no price for calcium nitrate; give a price for every product"),
        ([priced(UREA, -1.0)], {}, "urea: a price of -1 cannot be"),
        ([UREA], {"lime": 1.0}, "lime: a limit for a product that is not mixed; these are: urea"),
        ([UREA], {"urea": -1.0}, "urea: a limit of -1 cannot be"),
    ],
)
def test_products_and_limits_that_cannot_be_used_are_refused(
    products: list[Product], limits: dict[str, float], says: str
) -> None:
    with pytest.raises(UserError) as raised:
        blend(products, [Target("n", 1.0)], limits=limits)
    assert says in str(raised.value)


# --- the nearest mix ------------------------------------------------------------------------------------------


def test_the_nearest_mix_misses_the_one_that_costs_least_to_miss() -> None:
    """A pound of potassium nitrate is 0.44/20 of the potash and 0.13/5 of the nitrogen, so nitrogen is kept."""
    mix = nearest([POTASSIUM], K2O_OF_LITTLE_N)
    assert weights_of(mix) == pytest.approx({"potassium nitrate": 5 / 0.13})
    [miss] = mix.misses
    assert (miss.nutrient, miss.wanted_lb, miss.got_lb) == ("k2o", 20.0, pytest.approx(5 / 0.13 * 0.44))


def test_a_bound_of_nothing_is_missed_as_a_part_of_the_largest_amount_asked_for() -> None:
    """A pound of Epsom salt is 0.10/10 of the magnesium and 0.13/10 or 0.13/40 of the largest amount."""
    targets = [Target("mg", 10.0), Target("s", None, 0.0)]
    assert weights_of(nearest([EPSOM, UREA], targets)) == {}
    assert weights_of(nearest([EPSOM, UREA], [*targets, Target("n", 40.0)])) == pytest.approx(
        {"Epsom salt": 100.0, "urea": 40 / 0.46}
    )


@pytest.mark.parametrize("products", [[CALCIUM, UREA], [UREA, CALCIUM]])
def test_of_mixes_that_miss_by_the_same_the_cheapest_is_taken(products: list[Product]) -> None:
    mix = nearest(products, [Target("n", 23.0), Target("b", 1.0)])
    assert weights_of(mix) == pytest.approx({"urea": 50.0})
    dear_urea = [priced(product, 2.0) if product is UREA else product for product in products]
    mix = nearest(dear_urea, [Target("n", 15.5), Target("b", 1.0)])
    assert weights_of(mix) == pytest.approx({"calcium nitrate": 100.0})


def test_limits_are_kept_by_the_nearest_mix_and_a_nutrient_nobody_holds_is_a_miss() -> None:
    mix = nearest([POTASSIUM], [Target("k2o", 44.0), Target("b", 1.0)], limits={"potassium nitrate": 50.0})
    assert weights_of(mix) == pytest.approx({"potassium nitrate": 50.0})
    assert [(miss.nutrient, miss.got_lb) for miss in mix.misses] == [("k2o", pytest.approx(22.0)), ("b", 0.0)]


@given(shelves(), wishes(), st.booleans())
@settings(deadline=None, max_examples=80)
def test_the_nearest_mix_is_the_blend_where_there_is_one(
    products: list[Product], targets: list[Target], whole: bool
) -> None:
    try:
        mix = blend(products, targets, whole_packages=whole)
    except UserError:
        assert nearest(products, targets, whole_packages=whole).misses
    else:
        assert nearest(products, targets, whole_packages=whole) == mix


@given(shelves(2), wishes())
@settings(deadline=None, max_examples=80)
def test_no_corner_of_any_choice_of_targets_misses_less_than_the_nearest_mix(
    products: list[Product], targets: list[Target]
) -> None:
    largest = max(target.least or 0.0 for target in targets)

    def missed(weights: Sequence[float]) -> float:
        total = 0.0
        for target in targets:
            got = sum(w * p.percent[target.nutrient] / 100 for w, p in zip(weights, products, strict=True))
            for wanted, by in ((target.least, -1.0), (target.most, 1.0)):
                if wanted is not None:
                    total += max(0.0, by * (got - wanted)) / (wanted or largest)
        return total

    rows, most = region(products, targets)
    corners = [
        np.linalg.solve(rows[list(chosen)], most[list(chosen)])
        for chosen in itertools.combinations(range(len(rows)), len(products))
        if abs(np.linalg.det(rows[list(chosen)])) > 1e-9
    ]
    mix = weights_of(nearest(products, targets))
    best = min(missed(corner) for corner in corners if np.all(corner >= -1e-9))
    assert missed([mix.get(product.name, 0.0) for product in products]) == pytest.approx(best, abs=1e-6)
