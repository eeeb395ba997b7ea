"""Advice as plain data."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fertadjust.advice_data import advice_data, week_data
from fertadjust.products import Product
from fertadjust.rules.policy import Policy, with_overrides
from fertadjust.season import BlockSeason
from fertadjust.shipped import shipped_policy_files
from fertadjust.tissue import Censor, Tissue
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.rules import SATURDAY, fed, raise_size
from tests.support import SOUTHEAST, day_in, products, result, season

ON = day_in(4)

KEYS = {
    "block", "block_name", "on", "action", "headline", "reasons", "how_sure", "would_change", "units", "area",
    "area_basis", "factor", "standing_factor", "moved_by", "binding", "sought", "limits", "next_sample", "review",
    "to_do", "result", "leaf", "uncertainty", "not_used", "flips", "alternatives", "trend", "trace", "weeks",
    "tables", "policy", "own_rule_values", "cautions",
}  # fmt: skip

WEEK_KEYS = {
    "week", "start", "stage", "planned", "before", "rate", "block_n", "injection_n", "k2o", "ca", "total",
    "over_cap", "products", "products_before",
}  # fmt: skip


def data(block: BlockSeason, on: date = ON, units: UnitSystem = UnitSystem.US) -> dict[str, Any]:
    return advice_data(block.advice(on), block.mixes.every(), units)


def low() -> BlockSeason:
    return season(result(2300.0, week=3), result(2.6, week=3, record=2, tissue=Tissue.LEAF))


@pytest.mark.parametrize(
    "block",
    [
        season(),
        season(result(2300.0, week=3)),
        season(result(2300.0, week=3, censor=Censor.BELOW)),
        season(result(9000.0, week=3, censor=Censor.ABOVE)),
        season(result(2300.0, week=3), result(4300.0, week=3, record=2)),
        season(result(0.5, week=3, analyte="K")),
        low(),
    ],
)
@pytest.mark.parametrize("on", [day_in(-8), ON, day_in(12), day_in(30)])
def test_every_advice_is_data_that_machines_read(block: BlockSeason, on: date) -> None:
    found = data(block, on)
    assert set(found) == KEYS
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_the_advice_is_told_with_its_result_and_band() -> None:
    found = data(low())
    assert (found["block"], found["block_name"], found["on"]) == ("north", "North", "2026-03-23")
    assert found["action"] == "raise"
    assert found["headline"].startswith("Raise nitrogen from 5.25 to ")
    assert found["policy"] == "strawberry-annual-plasticulture"
    assert found["tables"][0] == SOUTHEAST
    of = found["result"]
    assert (of["records"], of["value"], of["unit"], of["censor"]) == ([1], 2300.0, "ppm", "")
    assert (of["tissue"], of["basis"], of["analyte"]) == ("petiole", "dry", "NO3-N")
    assert (of["band"]["low"], of["band"]["high"], of["band"]["place"]) == (4000, 6000, "week 3")
    assert (of["band"]["table"], of["band"]["source"]) == (SOUTHEAST, "UGA-2021")
    assert of["status"] == "low"
    assert of["below"] + of["within"] + of["above"] == pytest.approx(1)
    assert found["leaf"]["analyte"] == "N"
    assert found["leaf"]["unit"] == "%"


def test_without_a_result_there_is_none_in_the_data() -> None:
    found = data(season())
    assert (found["result"], found["leaf"], found["flips"], found["not_used"]) == (None, None, [], [])
    assert found["action"] == "hold"
    assert found["uncertainty"]["parts"] == []


def test_every_rule_and_figure_names_its_evidence() -> None:
    found = data(low())
    assert len(found["trace"]) >= 24
    for line in [*found["trace"], *found["uncertainty"]["parts"], *found["cautions"]]:
        assert line["evidence"] in {
            "published", "derived", "recalled", "common practice", "project rule", "own",
        }  # fmt: skip
        assert line["source"]


def test_a_result_that_is_not_used_is_told_with_its_reason() -> None:
    other = replace(result(300.0, week=3, record=4), sampled=day_in(3, 2), censor=Censor.ABOVE)
    found = data(season(result(2300.0, week=3), other))
    (item,) = found["not_used"]
    assert (item["record"], item["sampled"]) == (4, day_in(3, 2).isoformat())
    assert item["why"]


def test_weeks_are_in_the_seasons_units() -> None:
    block = low()
    us, metric = data(block)["weeks"], data(block, units=UnitSystem.METRIC)["weeks"]
    assert len(us) == len(metric) == 9
    for here, there in zip(us, metric, strict=True):
        assert set(here) == WEEK_KEYS
        assert there["rate"] == pytest.approx(here["rate"] * KG_HA_PER_LB_AC)
        assert there["block_n"] == pytest.approx(here["block_n"] * 0.45359237)
        for part, other in zip(here["products"], there["products"], strict=True):
            assert other["weight"] == pytest.approx(part["weight"] * 0.45359237)
            assert (part["volume"], other["volume"]) == (None, None)
    assert data(block)["units"] == {
        "rate": "lb N/ac/week", "total": "lb N/ac", "weight": "lb", "volume": "gal", "area": "ac",
    }  # fmt: skip


def test_a_liquid_has_a_volume() -> None:
    liquid = Product("liquid feed", {"n": 10.0}, share=1.0, density_lb_gal=10.0)
    block = replace(low(), products=(liquid,))
    (week, *_) = block.advice(ON).weeks
    us, metric = week_data(week, UnitSystem.US), week_data(week, UnitSystem.METRIC)
    (part,), (other,) = us["products"], metric["products"]
    assert part["weight"] == pytest.approx(us["block_n"] * 10)
    assert part["volume"] == pytest.approx(part["weight"] / 10)
    assert other["volume"] == pytest.approx(part["volume"] * 3.785411784)
    assert part["grade"] == "10-0-0"
    (before,) = us["products_before"]
    assert before["weight"] == pytest.approx(us["before"] * block.block.area_ac() * 10)


def test_products_without_a_share_are_left_out() -> None:
    spare = Product("lime", {"n": 0.0, "ca": 30.0})
    block = replace(low(), products=(*products(), spare))
    (week, *_) = block.advice(ON).weeks
    names = [part["product"] for part in week_data(week, UnitSystem.US)["products"]]
    assert names == ["calcium nitrate", "potassium nitrate"]


def test_alternatives_are_told_with_action_rates_and_whether_they_differ() -> None:
    block = season(result(2500.0, week=6), applications=fed())
    advice = block.advice(SATURDAY)
    for units, factor in ((UnitSystem.US, 1.0), (UnitSystem.METRIC, KG_HA_PER_LB_AC)):
        found = data(block, SATURDAY, units)["alternatives"]
        assert [item["if"] for item in found] == [item.condition for item in advice.alternatives]
        for told, item in zip(found, advice.alternatives, strict=True):
            assert set(told) == {"if", "action", "rates", "differs", "why_not"}
            if item.recommendation is None:
                assert (told["action"], told["rates"], told["differs"]) == (None, None, False)
                assert told["why_not"] == item.why_not != ""
            else:
                assert told["action"] == item.recommendation.action.value
                assert told["rates"] == pytest.approx([rate * factor for rate in item.recommendation.rates_lb_ac])
                assert told["why_not"] == ""
        # leaf nitrogen in its band halves the raise (the cross-check row low-leaf-sufficient)
        assert [item["differs"] for item in found] == [False, False, True, False]


def test_what_was_sought_and_what_each_bound_allows_are_told() -> None:
    # 2,500 ppm calls for 39 % more (UGA-2021; UGA-AESL), the ceiling of 7.0 allows a third
    found = data(season(result(2500.0, week=6), applications=fed()), SATURDAY)
    assert found["sought"] == pytest.approx(raise_size(2500.0) + 1.0)
    assert found["limits"] == [{"name": "ceiling", "factor": pytest.approx(7.0 / 5.25)}]
    assert (found["binding"], found["factor"]) == ("ceiling", pytest.approx(7.0 / 5.25))
    free = data(season(result(3900.0, week=6), applications=fed()), SATURDAY)
    assert (free["limits"], free["binding"], free["sought"]) == ([], "", 1.0)


def test_own_rule_values_are_told_in_the_data() -> None:
    assert data(low())["own_rule_values"] == []
    file = shipped_policy_files()["strawberry-annual-plasticulture"].data
    own = {"confidence": 0.9, "cross_check": {"low-rain": {"value": "half", "reason": "slow drains"}}}
    policy = Policy.model_validate(with_overrides(file, own))
    told = data(season(result(2300.0, week=3), the_policy=policy))["own_rule_values"]
    assert [(item["name"], item["shipped"], item["own"], item["reason"]) for item in told] == [
        ("confidence", "0.8 probability", "0.9 probability", "season file"),
        ("cross_check.low-rain", "full", "half", "slow drains"),
    ]
    assert all(item["meaning"] for item in told)
