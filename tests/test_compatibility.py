"""What must not meet in a concentrated tank, and which tank each product goes into."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fertadjust.compatibility import TANKS, against_calcium, clashes, has_calcium, refused, tanks_of
from fertadjust.errors import UserError
from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.products import Product

CALCIUM = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=0.5)
POTASH = Product("potassium nitrate", {"n": 13.0, "k2o": 44.0}, share=0.5)
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0}, lb_ac=5.0)
MAP = Product("monoammonium phosphate", {"n": 11.0, "p2o5": 48.0}, share=0.5, ammonium_n=11.0)
AMMONIUM_SULFATE = Product("ammonium sulfate", {"n": 21.0, "s": 24.0}, share=0.5, ammonium_n=21.0)
UAN = Product("UAN", {"n": 32.0}, share=0.5, density_lb_gal=11.06, urea_n=16.0)
CALCIUM_LIQUID = Product("calcium solution", {"n": 9.0, "ca": 11.0}, share=0.5, density_lb_gal=12.0)
GYPSUM = Product("gypsum", {"n": 0.0, "ca": 23.0, "s": 18.0}, lb_ac=5.0)


def names(tanks: dict[str, tuple[Product, ...]]) -> dict[str, list[str]]:
    return {tank: [product.name for product in inside] for tank, inside in tanks.items()}


@pytest.mark.parametrize("other", [EPSOM, MAP, AMMONIUM_SULFATE], ids=lambda item: item.name)
def test_calcium_with_sulfate_or_phosphate_is_refused_whichever_stands_first(other: Product) -> None:
    for pair in ([CALCIUM, other], [other, CALCIUM]):
        clash = refused(pair)
        assert clash is not None
        assert (clash.one, clash.other, clash.refused) == (("calcium nitrate",), (other.name,), True)
        assert clash.evidence is Evidence.PUBLISHED


def test_a_product_by_itself_clashes_with_nothing() -> None:
    for product in (CALCIUM, POTASH, EPSOM, MAP, AMMONIUM_SULFATE, UAN, CALCIUM_LIQUID, GYPSUM):
        assert clashes([product]) == []


def test_a_product_that_is_sold_with_calcium_and_sulfate_meets_neither_side_and_not_itself() -> None:
    assert has_calcium(GYPSUM) and against_calcium(GYPSUM)
    assert refused([GYPSUM]) is None
    assert refused([GYPSUM, CALCIUM]) is not None
    assert refused([GYPSUM, EPSOM]) is not None


def test_a_trace_of_calcium_does_not_let_a_sulfate_in_beside_calcium_nitrate() -> None:
    traced = replace(EPSOM, percent=EPSOM.percent | {"ca": 0.1})
    assert names(tanks_of([CALCIUM, traced])) == {"A": ["calcium nitrate"], "B": ["Epsom salt"]}


@pytest.mark.parametrize(
    ("pair", "word", "evidence"),
    [
        ([EPSOM, MAP], "magnesium", Evidence.PUBLISHED),
        ([AMMONIUM_SULFATE, POTASH], "ammonium sulfate", Evidence.RECALLED),
        ([UAN, CALCIUM_LIQUID], "gel", Evidence.RECALLED),
    ],
    ids=["magnesium and phosphate", "ammonium sulfate and potassium", "urea and calcium solutions"],
)
def test_a_doubtful_pair_is_told_with_a_jar_test_and_not_refused(
    pair: list[Product], word: str, evidence: Evidence
) -> None:
    [clash] = clashes(pair)
    assert word in clash.text and "jar test" in clash.text
    assert (clash.refused, clash.evidence) == (False, evidence)
    assert (clash.source == NO_SOURCE) == (evidence is Evidence.RECALLED)
    assert refused(pair) is None


def test_dry_calcium_nitrate_and_uan_are_not_told_as_a_gel() -> None:
    assert clashes([UAN, CALCIUM]) == []


def test_what_is_never_mixed_is_told_first() -> None:
    found = clashes([EPSOM, MAP, CALCIUM])
    assert [clash.refused for clash in found] == [True, False]


def test_calcium_goes_into_a_and_what_it_must_not_meet_into_b() -> None:
    tanks = tanks_of([EPSOM, CALCIUM, POTASH, MAP])
    assert names(tanks) == {
        "A": ["calcium nitrate", "potassium nitrate"],
        "B": ["Epsom salt", "monoammonium phosphate"],
    }


def test_without_calcium_one_tank_serves() -> None:
    assert names(tanks_of([EPSOM, POTASH])) == {"A": ["Epsom salt", "potassium nitrate"]}


def test_calcium_that_rests_asks_for_no_second_tank() -> None:
    assert names(tanks_of([replace(CALCIUM, share=0.0), EPSOM, POTASH])) == {
        "A": ["Epsom salt", "potassium nitrate"]
    }


def test_a_mix_of_nothing_needs_no_tank() -> None:
    assert tanks_of([]) == {}
    assert tanks_of([replace(CALCIUM, share=0.0)]) == {}


def test_a_product_goes_where_the_grower_put_it() -> None:
    tanks = tanks_of([CALCIUM, replace(POTASH, tank="B"), EPSOM])
    assert names(tanks) == {"A": ["calcium nitrate"], "B": ["potassium nitrate", "Epsom salt"]}


def test_calcium_and_sulfate_that_the_grower_put_into_one_tank_are_refused_by_name() -> None:
    with pytest.raises(UserError, match=r"tank A: calcium nitrate .* Epsom salt .*separate"):
        tanks_of([replace(CALCIUM, tank="A"), replace(EPSOM, tank="A")])


def test_the_grower_may_exchange_the_two_tanks() -> None:
    tanks = tanks_of([replace(CALCIUM, tank="B"), replace(EPSOM, tank="A")])
    assert names(tanks) == {"A": ["Epsom salt"], "B": ["calcium nitrate"]}


def test_sulfate_keeps_away_from_calcium_that_the_grower_put_into_b() -> None:
    assert names(tanks_of([replace(CALCIUM, tank="B"), EPSOM])) == {"A": ["Epsom salt"], "B": ["calcium nitrate"]}


some_percent = st.sampled_from([0.0, 0.0, 5.0, 12.0])
labels = st.fixed_dictionaries(dict.fromkeys(("n", "p2o5", "k2o", "ca", "mg", "s", "b"), some_percent))


@st.composite
def mixes(draw: st.DrawFn, tanks: tuple[str, ...] = ("",)) -> list[Product]:
    return [
        Product(f"product {index}", draw(labels), lb_ac=draw(st.sampled_from([0.0, 1.0])), tank=draw(choice))
        for choice in [st.sampled_from(tanks)]
        for index in range(draw(st.integers(0, 6)))
    ]


def meets(inside: tuple[Product, ...]) -> bool:
    """Whether calcium of one product meets sulfur or phosphate of another; two sold with both in them do not."""
    kinds = kinds_of(inside)
    return ("calcium" in kinds and len(kinds & {"both", "against"}) > 0) or kinds >= {"both", "against"}


def kinds_of(products: Iterable[Product]) -> set[str]:
    """Which kinds are among products: calcium only, sulfur or phosphate only, both in one."""
    found = set()
    for item in products:
        calcium, against = item.percent["ca"] > 0, item.percent["s"] + item.percent["p2o5"] > 0
        if calcium or against:
            found.add("both" if calcium and against else "calcium" if calcium else "against")
    return found


@given(mixes())
def test_left_to_the_program_any_mix_finds_its_tanks_and_nothing_meets(mix: list[Product]) -> None:
    if len(kinds_of(item for item in mix if item.lb_ac > 0)) == 3:
        with pytest.raises(UserError, match="separate"):
            tanks_of(mix)  # it would take a third tank
        return
    tanks = tanks_of(mix)
    assert set(tanks) <= set(TANKS)
    assert sorted(item.name for inside in tanks.values() for item in inside) == sorted(
        item.name for item in mix if item.lb_ac > 0
    )
    assert not any(meets(inside) for inside in tanks.values())


@given(mixes(("", "A", "B")))
def test_whatever_the_grower_chose_nothing_meets_in_a_tank(mix: list[Product]) -> None:
    try:
        tanks = tanks_of(mix)
    except UserError:
        assert refused([item for item in mix if item.used]) is not None
        return
    assert not any(meets(inside) for inside in tanks.values())
    assert all(item.tank in ("", tank) for tank, inside in tanks.items() for item in inside)
