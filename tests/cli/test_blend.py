"""``blend``: the mix by target, as asked for and as refused."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from fertadjust.season_file import parse_season
from fertadjust.units import KG_HA_PER_LB_AC, KG_PER_LB
from tests.cli.conftest import Refused, Run, contents, too_wide
from tests.cli.test_feeding import edit, metric, words

CREEK_AC = 300 * 10 * 2.5 / 43_560
GIVEN = ["--block", "creek", "--on", "2026-03-01"]


def asked(run: Run, where: Path, *args: object) -> dict[str, Any]:
    """The answer for machines."""
    answer: dict[str, Any] = json.loads(run("blend", "--season", where, *GIVEN, *args, "--json").output)
    return answer


def weights(data: dict[str, Any]) -> dict[str, float]:
    return {item["product"]: item["weight"] for item in data["products"]}


def out_of_stock(where: Path) -> Path:
    return edit(where, ("on_hand = 60\n", ""), ("on_hand = 25\n", ""))


# --- answers ------------------------------------------------------------------------------------------------


def test_without_a_target_the_nitrogen_of_the_next_week_is_met(run: Run, fresh: Path) -> None:
    before = contents(fresh)
    data = asked(run, fresh)
    assert data["nutrients"]["n"] == pytest.approx(3.5 * CREEK_AC)
    assert (data["block"], data["on"], data["misses"]) == ("creek", "2026-03-01", [])
    assert data["area"] == pytest.approx(CREEK_AC)
    assert contents(fresh) == before


def test_all_weeks_take_the_nitrogen_of_the_rest_of_the_season(run: Run, fresh: Path) -> None:
    assert asked(run, fresh, "--all-weeks")["nutrients"]["n"] == pytest.approx(56.0 * CREEK_AC)
    later = json.loads(
        run("blend", "--season", fresh, "--block", "creek", "--on", "2026-05-20", "--all-weeks", "--json").output
    )
    assert later["nutrients"]["n"] == pytest.approx(3.5 * CREEK_AC)


def test_the_nitrogen_is_that_decided(run: Run, lived: Path) -> None:
    given = ["blend", "--season", lived, "--block", "creek", "--json", "--exactly", "k2o=1", "--on"]
    rates = [json.loads(run(*given, day).output)["nutrients"]["n"] / CREEK_AC for day in ("2026-03-24",)]
    assert rates == [pytest.approx(7.0)]


def test_an_exact_amount_fixes_the_mix(run: Run, fresh: Path) -> None:
    data = asked(run, fresh, "--exactly", "n=5", "--exactly", "k2o=6")
    potash = 6 * CREEK_AC / 0.44
    calcium = (5 * CREEK_AC - potash * 0.13) / 0.155
    assert weights(data) == pytest.approx({"potassium nitrate": potash, "calcium nitrate": calcium})
    assert data["shares"] == pytest.approx(
        {"potassium nitrate": potash * 0.13 / (5 * CREEK_AC), "calcium nitrate": calcium * 0.155 / (5 * CREEK_AC)}
    )


def test_nutrients_may_be_named_in_capitals_and_with_blanks(run: Run, fresh: Path) -> None:
    plain = asked(run, fresh, "--exactly", "n=5", "--at-least", "k2o=6")
    assert asked(run, fresh, "--exactly", " N =5", "--at-least", "K2O= 6") == plain


def test_least_and_most_amounts_hold_at_the_least_cost(run: Run, fresh: Path) -> None:
    out_of_stock(fresh)
    data = asked(run, fresh, "--at-least", "k2o=6", "--at-least", "mg=0.5", "--at-most", "s=2")
    per_acre = {key: weight / CREEK_AC for key, weight in data["nutrients"].items()}
    assert per_acre["n"] == pytest.approx(3.5)
    assert per_acre["k2o"] == pytest.approx(6)
    assert per_acre["mg"] == pytest.approx(0.5)
    assert per_acre["s"] <= 2
    price = {"calcium nitrate": 24.5 / 50, "potassium nitrate": 48 / 50, "Epsom salt": 19 / 50}
    fed = weights(data)
    assert set(fed) == set(price)
    assert data["cost"] == pytest.approx(sum(price[name] * weight for name, weight in fed.items()))
    assert data["objective"] == "least cost"
    assert "Epsom salt" not in data["shares"]


def test_a_least_and_a_most_amount_of_one_nutrient_go_together(run: Run, fresh: Path) -> None:
    data = asked(run, fresh, "--at-least", "k2o=3", "--at-most", "k2o=4")
    assert 3 - 1e-9 <= data["nutrients"]["k2o"] / CREEK_AC <= 4 + 1e-9


def test_what_is_on_hand_costs_nothing(run: Run, fresh: Path) -> None:
    data = asked(run, fresh, "--at-least", "k2o=6")
    assert data["cost"] == 0
    assert [item["buy"] for item in data["products"]] == [0, 0]


def test_whole_bags_are_counted_at_their_full_price(run: Run, fresh: Path) -> None:
    out_of_stock(fresh)
    data = asked(run, fresh, "--at-least", "k2o=6", "--whole-bags")
    bags = {item["product"]: item["packages"] for item in data["products"]}
    assert bags == {"calcium nitrate": 1, "potassium nitrate": 1} or bags == {"potassium nitrate": 1}
    price = {"calcium nitrate": 24.5, "potassium nitrate": 48}
    assert data["cost"] == pytest.approx(sum(price[name] for name in bags))
    assert [item["buy"] for item in data["products"]] == [50.0] * len(bags)
    loose = asked(run, fresh, "--at-least", "k2o=6")
    assert loose["cost"] < data["cost"]
    assert {item["packages"] for item in loose["products"]} == {None}


def test_only_what_is_on_hand_is_used_when_asked_for(run: Run, refused: Refused, fresh: Path) -> None:
    edit(fresh, ("on_hand = 60", "on_hand = 2"), ("on_hand = 25", "on_hand = 3"))
    free, held = asked(run, fresh), asked(run, fresh, "--on-hand-only")
    assert weights(free)["calcium nitrate"] <= 2 + 1e-6 or free["cost"] > 0
    assert weights(held)["calcium nitrate"] <= 2 + 1e-9
    assert weights(held)["potassium nitrate"] <= 3 + 1e-9
    assert held["nutrients"]["n"] == pytest.approx(3.5 * CREEK_AC)
    told = refused("blend", "--season", fresh, *GIVEN, "--exactly", "n=6", "--on-hand-only")
    assert "at most 2 lb of calcium nitrate" in told
    assert "at most 3 lb of potassium nitrate" in told
    assert "With the rest kept, one of these would do: " in told


def test_what_can_not_be_met_is_explained(refused: Refused, fresh: Path) -> None:
    told = refused("blend", "--season", fresh, *GIVEN, "--exactly", "n=5", "--at-most", "k2o=2", "--at-most=ca=1")
    assert told.startswith("Error: no mix does it: these cannot hold together: ")
    for bound in (f"at least {5 * CREEK_AC:.6g} lb N", f"at most {2 * CREEK_AC:.6g} lb K2O"):
        assert bound in told


def test_the_nearest_mix_says_what_it_misses(run: Run, fresh: Path) -> None:
    given = ["--exactly", "n=5", "--at-most", "k2o=2", "--at-most", "ca=1", "--nearest"]
    data = asked(run, fresh, *given)
    [miss] = data["misses"]
    assert miss["nutrient"] == "n"
    assert miss["wanted"] == pytest.approx(5 * CREEK_AC)
    assert miss["got"] == pytest.approx((2 / 0.44 * 0.13 + 1 / 0.19 * 0.155) * CREEK_AC)
    text = words(run("blend", "--season", fresh, *GIVEN, *given).output)
    assert f"! Missed: N is {miss['got']:.2f} instead of {miss['wanted']:.2f} lb." in text


def test_the_nearest_mix_is_the_mix_where_all_can_be_met(run: Run, fresh: Path) -> None:
    assert asked(run, fresh, "--at-least", "k2o=6", "--nearest") == asked(run, fresh, "--at-least", "k2o=6")


def test_without_prices_the_lightest_mix_is_found(run: Run, fresh: Path) -> None:
    path = fresh / "season.toml"
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("price = ")]
    path.write_text("\n".join(lines), encoding="utf-8")
    data = asked(run, fresh)
    assert (data["objective"], data["cost"]) == ("least weight", None)
    assert weights(data) == pytest.approx({"calcium nitrate": 3.5 * CREEK_AC / 0.155})
    assert "To buy" not in run("blend", "--season", fresh, *GIVEN).output


def test_liquids_are_told_by_volume_too(run: Run, fresh: Path) -> None:
    edit(fresh, ('material = "calcium_nitrate"', 'material = "uan_32"'))
    [part] = [item for item in asked(run, fresh, "--at-most", "k2o=1")["products"] if item["volume"] is not None]
    assert part["product"] == "calcium nitrate"
    assert part["volume"] == pytest.approx(part["weight"] / 11.06)


# --- what is printed ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    [
        [],
        ["--at-least", "k2o=3", "--at-least", "mg=1"],
        ["--all-weeks", "--whole-bags"],
        ["--exactly", "n=5", "--at-most", "k2o=2", "--at-most", "ca=1", "--nearest"],
    ],
)
def test_the_mix_fits_the_screen(run: Run, fresh: Path, given: list[str]) -> None:
    output = run("blend", "--season", fresh, *GIVEN, *given).output
    assert too_wide(output) == []
    text = words(output)
    assert f"The mix of least cost for the whole block, {CREEK_AC:.4f} ac" in text
    assert "lb at least: a label's analysis is a minimum." in text
    assert "To buy beyond the stock on hand, if no other block draws on it: " in text


def test_the_shares_printed_can_be_put_into_the_season_file(run: Run, fresh: Path) -> None:
    path = fresh / "season.toml"
    text = path.read_text(encoding="utf-8")
    third = '[[products]]\nname = "urea"\nmaterial = "urea"\npackage = 50\nprice = 30\n\n[[mixes]]'
    path.write_text(text.replace("[[mixes]]", third, 1), encoding="utf-8")
    given = ["--exactly", "n=7", "--exactly", "k2o=6.1", "--exactly", "ca=2.3"]
    output = run("blend", "--season", fresh, *GIVEN, *given).output
    head, _, shares = output.partition("For season.toml, in one of its [[mixes]]:\n")
    assert head
    mix = tomllib.loads(shares)["shares"]
    assert set(mix) == {"calcium nitrate", "potassium nitrate", "urea"}
    assert mix == pytest.approx(asked(run, fresh, *given)["shares"], abs=1e-6)
    changed = path.read_text(encoding="utf-8").replace('shares = { "potassium nitrate" = 1.0 }\n', shares, 1)
    first = parse_season(changed, fresh).blocks["creek"].mixes.in_week(1)
    assert {item.name: item.share for item in first} == pytest.approx(mix)


def test_a_metric_season_is_asked_and_answered_in_its_units(run: Run, fresh: Path) -> None:
    us = asked(run, fresh, "--exactly", "n=5", "--exactly", "k2o=6")
    metric(fresh)
    edit(fresh, ("row_length = 300", "row_length = 91.44"))
    edit(fresh, ("bed_top_width = 2.5\nbed_spacing = 5", "bed_top_width = 0.762\nbed_spacing = 1.524"))
    n, k2o = (f"{value * KG_HA_PER_LB_AC!r}" for value in (5, 6))
    data = asked(run, fresh, "--exactly", f"n={n}", "--exactly", f"k2o={k2o}")
    assert data["unit"] == "kg"
    assert weights(data) == pytest.approx({name: weight * KG_PER_LB for name, weight in weights(us).items()})
    assert data["shares"] == pytest.approx(us["shares"])
    output = run("blend", "--season", fresh, *GIVEN).output
    assert " ha" in output and " kg" in output and " lb" not in output


# --- refused ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--at-least", "k2o"], 'Error: blend: "k2o" should be NUTRIENT=AMOUNT, such as k2o=6'),
        (["--at-least", "k2o="], 'Error: blend: "k2o=" should be NUTRIENT=AMOUNT, such as k2o=6'),
        (["--at-most", "k2o=much"], 'Error: blend: "k2o=much" should be NUTRIENT=AMOUNT, such as k2o=6'),
        (["--exactly", "6"], 'Error: blend: "6" should be NUTRIENT=AMOUNT, such as k2o=6'),
        (["--exactly", "n=5", "--exactly", "n=6"], "Error: blend: n is bounded twice the same way"),
        (["--exactly", "n=5", "--at-most", "n=6"], "Error: blend: n is bounded twice the same way"),
        (["--at-least", "k2o=5", "--at-least", "K2O=6"], "Error: blend: k2o is bounded twice the same way"),
        (
            ["--at-least", "zn=5"],
            "Error: zn: is no nutrient of a blend; these are: n, p2o5, k2o, ca, mg, s, b",
        ),
        (["--at-least", "b=5"], "Error: b: no product here holds B; add one that does, or leave it out"),
        (["--at-least", "k2o=-2"], "Error: k2o: an amount of "),
        (["--at-least", "k2o=nan"], "Error: k2o: an amount of nan cannot be; it has to be 0 or more"),
        (["--at-least", "k2o=inf"], "Error: k2o: an amount of inf cannot be; it has to be 0 or more"),
        (["--at-least", "k2o=2", "--at-most", "k2o=1"], "Error: k2o: the least is more than the most; "),
        (["--exactly", "n=0"], "Error: targets: nothing is asked for; "),
        (["--on", "2026-06-01"], "Error: the plan ended on 2026-05-24; no week is left to feed"),
        (["--block", "brook"], 'Error: block: there is no block "brook"'),
    ],
)
def test_what_can_not_be_asked_is_told(refused: Refused, fresh: Path, given: list[str], told: str) -> None:
    assert refused("blend", "--season", fresh, *GIVEN, *given).startswith(told)


def test_a_price_for_some_products_only_is_told(refused: Refused, fresh: Path) -> None:
    edit(fresh, ("price = 24.5\n", ""))
    told = refused("blend", "--season", fresh, *GIVEN)
    assert told.startswith(
        "Error: price: no price for calcium nitrate; give a price for every product, or for none"
    )


def test_help_names_every_nutrient_and_shows_examples(run: Run) -> None:
    output = run("blend", "--help").output
    assert "n, p2o5, k2o, ca, mg, s or b" in words(output)
    assert output.count("  fertadjust blend --block north") >= 4
    assert too_wide(output) == []
