"""The stages of each crop in order, and the tables that name them."""

from __future__ import annotations

from datetime import date

import pytest
from pydantic import ValidationError

from fertadjust.crop_stages import CropStages, StageFile, order_words
from fertadjust.shipped import crop_stages, shipped_policies, shipped_tables

FIRST, SECOND, THIRD = (date(2026, month, 1) for month in (4, 5, 6))
INVENTED = CropStages(crop="quince", also=("pear",), order=(("planting",), ("bud", "leaf"), ("fruit",)))


@pytest.mark.parametrize("name", shipped_tables())
def test_every_stage_of_a_table_is_one_of_its_crops_and_in_its_order(name: str) -> None:
    table = shipped_tables()[name]
    for crop in table.crops:
        order = crop_stages().of(crop)
        assert order is not None, crop
        named = [*table.needs, *([table.ends_with] if table.ends_with else [])]
        ranks = [order.rank(stage) for stage in named]
        assert None not in ranks, named
        assert ranks == sorted(ranks, key=lambda rank: rank or 0), named


def test_the_anchor_of_every_policy_is_a_stage_of_its_crops() -> None:
    for policy in shipped_policies().values():
        for crop in policy.crops:
            order = crop_stages().of(crop)
            if order is not None:
                assert order.rank(policy.late_anchor) is not None, policy.id


def test_every_stage_says_what_it_looks_like_and_none_is_of_no_crop() -> None:
    file = crop_stages()
    assert set(file.meaning) == {name for crop in file.crops for name in crop.names}


def test_dates_that_stand_the_other_way_round_are_told_in_pairs() -> None:
    assert list(INVENTED.out_of_order({"fruit": FIRST, "bud": SECOND, "planting": THIRD})) == [
        ("planting", "bud"),
        ("planting", "fruit"),
        ("bud", "fruit"),
    ]


def test_within_a_group_and_on_one_day_no_order_is_asked_for() -> None:
    assert not list(INVENTED.out_of_order({"leaf": FIRST, "bud": SECOND, "fruit": SECOND}))


def test_a_stage_of_the_growers_own_has_no_place_in_the_order() -> None:
    assert INVENTED.rank("hail") is None
    assert not list(INVENTED.out_of_order({"hail": THIRD, "fruit": FIRST}))


def test_the_order_in_words() -> None:
    assert order_words(INVENTED) == "planting, then bud or leaf, then fruit"


def test_a_crop_goes_by_all_its_names() -> None:
    file = StageFile(crops=(INVENTED,), meaning=dict.fromkeys(INVENTED.names, "seen"))
    assert file.of("pear") is INVENTED is file.of("quince")
    assert file.of("plum") is None


def test_a_stage_stands_once_and_has_a_meaning() -> None:
    with pytest.raises(ValidationError, match="quince: a stage stands twice"):
        CropStages(crop="quince", order=(("bud",), ("bud",)))
    with pytest.raises(ValidationError, match="quince: no meaning for fruit"):
        StageFile(crops=(INVENTED,), meaning=dict.fromkeys(INVENTED.names[:-1], "seen"))
