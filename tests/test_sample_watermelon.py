"""The second sample season, lived day by day: sap tests in metric units, an amount added, cuts, three harvests.

All its results are invented; the bands, amounts and rates they meet are those of the cited tables and rules.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from fertadjust.api import Season, open_season
from fertadjust.demo import build, replay
from fertadjust.rules.facts import Action
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem

POND, RIDGE = "pond", "ridge"
Lines = dict[str, dict[str, Any]]


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Season]:
    folder = tmp_path_factory.mktemp("melons")
    built = build(folder, "watermelon")
    list(replay(built, "watermelon"))
    yield open_season(folder)


def advised(season: Season, block: str, on: date) -> tuple[Action, tuple[float, ...], Lines]:
    """Action, weekly rates [kg/ha] and trace of a day's advice."""
    found = season.advice(block, on).recommendation
    lines = {line.rule: line._asdict() for line in found.trace}
    return found.action, tuple(rate * KG_HA_PER_LB_AC for rate in found.rates_lb_ac), lines


def test_the_season_is_metric_and_by_the_published_table_and_rules_of_florida(season: Season) -> None:
    file = season.file
    assert file.units is UnitSystem.METRIC
    assert (file.crop, file.variety, file.region) == ("watermelon", "seedless", "Florida")
    assert file.policy.id == "florida-watermelon"
    assert not file.tables[0].recalled  # UF-WM21 and SCG-WM are published
    assert any("holds rows written from memory" in note for note in file.notes)  # the leaf table
    assert not any("usual order" in note for note in file.notes)


def test_a_low_sap_after_rain_is_raised_by_the_published_amount_as_far_as_the_ceiling_lets_it(
    season: Season,
) -> None:
    action, rates, lines = advised(season, POND, date(2026, 5, 6))
    assert action is Action.RAISE and rates == pytest.approx((19.5, 19.5))
    # 610 mg/L lies far below 900 to 1,100: 14 lb N/ac in all (UF-HS906, recalled), 15.7 kg/ha
    assert "15.7 kg N/ha more than planned in all, spread over 2 weeks" in lines["raise"]["saw"]
    assert lines["raise"]["evidence"] == "recalled"
    assert lines["floor and ceiling"]["fired"]
    said = [line.why for line in season.advice(POND, date(2026, 5, 6)).recommendation.trace if line.fired]
    assert any("is not settled" in text for text in said)
    assert any("After a leaching rain" in text for text in said)


def test_a_high_sap_is_held_while_the_stage_is_in_doubt_and_cut_once_it_is_not(season: Season) -> None:
    held, _, lines = advised(season, RIDGE, date(2026, 4, 29))
    assert held is Action.HOLD and lines["stage in doubt"]["fired"]
    cut, rates, lines = advised(season, RIDGE, date(2026, 5, 6))
    assert cut is Action.CUT and rates == pytest.approx((10.5, 10.5))
    assert "no publication gives a number for a cut" in lines["cut"]["why"]
    assert not lines["recalled band"]["fired"]


def test_a_second_cut_waits_until_the_first_can_show(season: Season) -> None:
    assert advised(season, RIDGE, date(2026, 5, 13))[0] is Action.HOLD
    assert advised(season, RIDGE, date(2026, 5, 20))[0] is Action.CUT


def test_from_the_second_harvest_on_there_is_no_band_and_results_are_kept_but_not_used(season: Season) -> None:
    advice = season.advice(POND, date(2026, 6, 17))
    unused = {item.sampled: item.why for item in advice.facts.not_used}
    assert set(unused) >= {date(2026, 6, 8), date(2026, 6, 15)}
    assert "has no band from second harvest on" in unused[date(2026, 6, 8)]
    stages = season.file.blocks[POND].stages.dates
    assert [name for name in stages if name.endswith("_harvest")] == [
        "first_harvest",
        "second_harvest",
        "third_harvest",
    ]


def test_the_ridge_runs_ahead_with_dates_of_its_own(season: Season) -> None:
    pond, ridge = (season.file.blocks[block].stages.dates for block in (POND, RIDGE))
    assert ridge["fruit_2_inch"] < pond["fruit_2_inch"]
    assert ridge["first_harvest"] == pond["first_harvest"]


def test_no_week_leaves_the_bounds_and_the_season_stays_under_its_cap(season: Season) -> None:
    for block in season.blocks:
        one = season.block(block)
        plan = one.plan
        assert plan.cap_lb_ac is not None
        fed = sum(item.n_lb_ac for item in one.applications)
        assert fed + plan.credits_lb_ac <= plan.cap_lb_ac
        for change in one.changes:
            for rate in change.rates_lb_ac.values():
                assert rate == 0 or plan.floor_lb_ac - 1e-9 <= rate <= plan.ceiling_lb_ac + 1e-9


def test_every_decision_derives_again(season: Season) -> None:
    found, derived = season.audit()
    assert found.faults == ()
    assert len(derived) == len(season.decisions(POND)) + len(season.decisions(RIDGE)) == 3
    assert all(item.same and not item.otherwise for item in derived)
