"""Mixes through the season: which products feed in which week."""

from __future__ import annotations

import pytest

from fertadjust.mixes import Mixes, MixStep, mix_of
from fertadjust.products import Product

CALCIUM = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, nitrate_n=14.5)
POTASH = Product("potassium nitrate", {"n": 13.0, "k2o": 44.0}, nitrate_n=13.0)
UREA = Product("urea", {"n": 46.0}, nitrate_n=0.0)
SILENT = Product("silent", {"n": 20.0})
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0})
ALL = (CALCIUM, POTASH, UREA, SILENT, EPSOM)

ALONE = mix_of(ALL, {"potassium nitrate": 1.0}, {})
HALVES = mix_of(ALL, {"calcium nitrate": 0.5, "potassium nitrate": 0.5}, {"Epsom salt": 5.0})
UREA_ALONE = mix_of(ALL, {"urea": 1.0}, {})


def named(mix: tuple[Product, ...]) -> list[str]:
    return [product.name for product in mix]


def test_a_mix_holds_the_shares_and_the_weights_that_it_was_given() -> None:
    assert [(item.name, item.share, item.lb_ac) for item in HALVES] == [
        ("calcium nitrate", 0.5, 0.0),
        ("potassium nitrate", 0.5, 0.0),
        ("urea", 0.0, 0.0),
        ("silent", 0.0, 0.0),
        ("Epsom salt", 0.0, 5.0),
    ]


def test_one_mix_feeds_all_season() -> None:
    mixes = Mixes.same(HALVES)
    for week in (1, 7, 52):
        assert named(mixes.in_week(week)) == ["calcium nitrate", "potassium nitrate", "Epsom salt"]


@pytest.mark.parametrize(("week", "first"), [(1, 1), (3, 1), (4, 4), (5, 4), (8, 4), (9, 9), (40, 9)])
def test_a_step_feeds_from_its_first_week_to_the_week_before_the_next(week: int, first: int) -> None:
    mixes = Mixes(ALL, (MixStep(1, (ALONE,)), MixStep(4, (HALVES,)), MixStep(9, (UREA_ALONE,))))
    expected = {1: ["potassium nitrate"], 4: ["calcium nitrate", "potassium nitrate", "Epsom salt"], 9: ["urea"]}
    assert mixes.step_in(week).first_week == first
    assert named(mixes.in_week(week)) == expected[first]


def test_before_the_first_step_begins_it_feeds_already() -> None:
    assert named(Mixes(ALL, (MixStep(3, (ALONE,)), MixStep(5, (HALVES,)))).in_week(1)) == ["potassium nitrate"]


def test_of_two_steps_that_begin_in_one_week_the_later_one_feeds() -> None:
    mixes = Mixes(ALL, (MixStep(1, (ALONE,)), MixStep(3, (HALVES,)), MixStep(3, (UREA_ALONE,))))
    assert named(mixes.in_week(3)) == ["urea"]


def test_mixes_in_turn_begin_with_the_first_in_the_weeks_of_their_step() -> None:
    mixes = Mixes(ALL, (MixStep(1, (ALONE,)), MixStep(4, (HALVES, UREA_ALONE, ALONE))))
    turns = [named(mixes.in_week(week))[0] for week in range(3, 11)]
    assert turns == [
        "potassium nitrate",
        "calcium nitrate",
        "urea",
        "potassium nitrate",
        "calcium nitrate",
        "urea",
        "potassium nitrate",
        "calcium nitrate",
    ]


def test_every_mix_of_the_season_is_listed_once_a_turn_and_what_is_used_keeps_its_order() -> None:
    mixes = Mixes(ALL, (MixStep(1, (UREA_ALONE,)), MixStep(4, (ALONE, HALVES))))
    assert [named(mix) for mix in mixes.every()] == [
        ["urea"],
        ["potassium nitrate"],
        ["calcium nitrate", "potassium nitrate", "Epsom salt"],
    ]
    assert named(mixes.used) == ["calcium nitrate", "potassium nitrate", "urea", "Epsom salt"]


def test_the_nitrate_share_is_that_of_the_weeks_mix() -> None:
    mixes = Mixes(ALL, (MixStep(1, (ALONE,)), MixStep(4, (HALVES,))))
    assert mixes.nitrate_share(3) == pytest.approx(1.0)
    assert mixes.nitrate_share(4) == pytest.approx(0.5 * 14.5 / 15.5 + 0.5)


def test_of_mixes_in_turn_the_one_with_least_nitrate_counts_in_all_their_weeks() -> None:
    mixes = Mixes(ALL, (MixStep(1, (ALONE, UREA_ALONE)),))
    assert [mixes.nitrate_share(week) for week in (1, 2, 3)] == [0.0, 0.0, 0.0]


def test_a_silent_label_in_one_turn_leaves_the_nitrate_share_unknown() -> None:
    silent = mix_of(ALL, {"silent": 0.5, "potassium nitrate": 0.5}, {})
    mixes = Mixes(ALL, (MixStep(1, (ALONE, silent)), MixStep(5, (ALONE,))))
    assert [mixes.nitrate_share(week) for week in (1, 2)] == [None, None]
    assert mixes.nitrate_share(5) == pytest.approx(1.0)


def test_a_silent_label_that_rests_does_not_matter() -> None:
    assert Mixes.same(ALONE).nitrate_share(1) == pytest.approx(1.0)
