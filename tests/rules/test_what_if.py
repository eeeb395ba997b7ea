"""What result would change the advice: every edge checked on the real engine, from both sides."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fertadjust.observations import Sight
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Flip
from fertadjust.season import BlockSeason
from fertadjust.tissue import Censor, TissueResult
from tests.rules import (
    ENOUGH,
    HIGH,
    HIGH_EDGE,
    LEAF_ENOUGH,
    LEAF_HIGH,
    LEAF_LOW,
    LOW,
    LOW_EDGE,
    RATE,
    SATURDAY,
    Z_80,
    fed,
    in_force,
    leaf,
    open_plan,
    petiole_season,
    seen,
    value_at,
)
from tests.support import day_in, plan, result


def action_at(season: BlockSeason, on: date, value: float) -> Action:
    return evaluate(season.facts_at(season.facts(on))(value), season.policy).action


CASES: dict[str, tuple[BlockSeason, date]] = {
    "low": (petiole_season(result(LOW, 6)), SATURDAY),
    "within": (petiole_season(result(ENOUGH, 6)), SATURDAY),
    "high": (petiole_season(result(HIGH, 6)), SATURDAY),
    "close to the edge": (petiole_season(result(LOW_EDGE, 6)), SATURDAY),
    "few petioles": (petiole_season(result(LOW, 6, petioles=5)), SATURDAY),
    "duplicates apart": (petiole_season(result(2000, 6), result(2900, 6, record=2)), SATURDAY),
    "low beside high leaf": (petiole_season(result(LOW, 6), leaf(LEAF_HIGH)), SATURDAY),
    "high beside sufficient leaf": (petiole_season(result(HIGH, 6), leaf(LEAF_ENOUGH)), SATURDAY),
    "stage in doubt": (petiole_season(result(2000, 2)), day_in(2, 5)),
    "raised and recovered": (
        petiole_season(result(4500, 6), changes=(in_force(1.2),), applications=fed(1.2 * RATE)),
        SATURDAY,
    ),
    "cut and recovered": (
        petiole_season(result(3500, 6), changes=(in_force(0.8),), applications=fed(0.8 * RATE)),
        SATURDAY,
    ),
    "low twice": (petiole_season(result(2000, 5, record=7), result(LOW, 6)), SATURDAY),
    "falling": (
        petiole_season(
            *(result(value, 3 + k, record=k) for k, value in enumerate((4600.0, 4300.0, 3900.0, 3400.0)))
        ),
        SATURDAY,
    ),
    "too coarse to meter": (petiole_season(result(LOW, 6), the_plan=open_plan(rate_step_lb_ac=2.5)), SATURDAY),
    "over-supplied": (petiole_season(result(HIGH, 6), applications=fed(1.4 * RATE)), SATURDAY),
    "leaf alone": (petiole_season(leaf(LEAF_LOW)), SATURDAY),
    "on the sample farm's bounds": (petiole_season(result(LOW, 6), the_plan=plan(cap=43.0)), SATURDAY),
    "soft fruit": (
        petiole_season(result(LOW, 6), observations=(seen(Sight.SOFT_FRUIT, day_in(6)),)),
        SATURDAY,
    ),
    "late": (petiole_season(result(500, 11), applications=fed()), day_in(11, 5)),
}


@pytest.mark.parametrize("name", CASES)
def test_every_edge_is_where_the_action_turns(name: str) -> None:
    season, on = CASES[name]
    advice = season.advice(on)
    reading = advice.facts.primary
    assert reading is not None
    assert len(advice.flips) <= 2
    for flip in advice.flips:
        outward, inward = (1 + 1e-6, 1 - 1e-6) if flip.above else (1 - 1e-6, 1 + 1e-6)
        assert action_at(season, on, flip.value * outward) is flip.action
        assert action_at(season, on, flip.value * inward) is advice.recommendation.action
        assert flip.action is not advice.recommendation.action
        assert (flip.value > reading.value) is flip.above


@pytest.mark.parametrize("name", CASES)
def test_between_the_reading_and_the_edge_the_action_is_the_same(name: str) -> None:
    season, on = CASES[name]
    advice = season.advice(on)
    reading = advice.facts.primary
    assert reading is not None
    for above in (False, True):
        flip = next((item for item in advice.flips if item.above is above), None)
        end = flip.value if flip is not None else reading.value * (100.0 if above else 0.01)
        steps = [reading.value * (end / reading.value) ** (k / 25) for k in range(25)]
        assert {action_at(season, on, value) for value in steps} == {advice.recommendation.action}


def by_side(flips: tuple[Flip, ...]) -> dict[str, tuple[float, Action]]:
    return {"above" if flip.above else "below": (flip.value, flip.action) for flip in flips}


def test_the_edges_lie_where_the_confidence_is_reached() -> None:
    season, on = CASES["within"]
    edges = by_side(season.advice(on).flips)
    assert edges["below"] == (pytest.approx(value_at(LOW_EDGE, Z_80), rel=1e-6), Action.RAISE)
    assert edges["above"] == (pytest.approx(value_at(HIGH_EDGE, -Z_80), rel=1e-6), Action.CUT)


def test_a_low_result_names_the_result_from_which_on_the_rate_is_held() -> None:
    season, on = CASES["low"]
    flips = season.advice(on).flips
    assert by_side(flips) == {"above": (pytest.approx(value_at(LOW_EDGE, Z_80), rel=1e-6), Action.HOLD)}


def test_a_block_whose_raise_and_cut_are_both_barred_has_no_edge() -> None:
    stale = petiole_season(result(LOW, 3))
    assert stale.advice(SATURDAY).flips == ()
    roots = (seen(Sight.WATERLOGGED, day_in(6)),)
    at_floor = petiole_season(result(LOW, 6), the_plan=open_plan(floor_lb_ac=RATE), observations=roots)
    assert at_floor.advice(SATURDAY).flips == ()


def test_without_a_usable_result_there_is_no_edge() -> None:
    assert petiole_season().advice(SATURDAY).flips == ()


def test_other_results_of_the_season_stay_as_they_are() -> None:
    season = petiole_season(result(1500, 5), result(LOW, 6, record=2))
    here = season.facts(SATURDAY)
    facts = season.facts_at(here)(4000.0)
    assert facts.primary is not None and facts.primary.value == pytest.approx(4000.0)
    assert here.primary is not None and here.primary.value == LOW
    assert replace(facts, primary=here.primary, trend=here.trend) == here


@pytest.mark.parametrize("value", [900.0, 3100.0, 4700.0, 12_000.0])
def test_the_facts_at_another_value_are_those_of_a_season_with_that_result(value: float) -> None:
    """Four results, so that the trend is another as well; a leaf and a change beside them."""

    def of(last: float) -> BlockSeason:
        falling = [result(one, 3 + k, record=k) for k, one in enumerate((4600.0, 4300.0, 3700.0))]
        rest = {"changes": (in_force(1.1, since=5),), "applications": fed(1.1 * RATE)}
        return petiole_season(*falling, result(last, 6, record=9), leaf(LEAF_ENOUGH), **rest)

    season = of(3300.0)
    found = season.facts_at(season.facts(SATURDAY))(value)
    assert found == of(value).facts(SATURDAY)
    assert found.trend != season.facts(SATURDAY).trend


@pytest.mark.parametrize("name", CASES)
def test_the_actions_come_in_the_order_raise_hold_cut(name: str) -> None:
    season, on = CASES[name]
    reading = season.facts(on).primary
    assert reading is not None
    order = [Action.RAISE, Action.HOLD, Action.CUT]
    ranks = [order.index(action_at(season, on, reading.value * 100 ** (k / 60))) for k in range(-60, 61)]
    assert ranks == sorted(ranks)


def test_duplicates_are_moved_together_and_disagree_as_before() -> None:
    season, on = CASES["duplicates apart"]
    here = season.facts(on)
    reading, moved = here.primary, season.facts_at(here)(4900.0).primary
    assert reading is not None and moved is not None
    assert moved.value == pytest.approx(4900.0) and moved.spread == pytest.approx(reading.spread)


def bound(value: float, censor: Censor) -> TissueResult:
    return result(value, 6, censor=censor)


@pytest.mark.parametrize(
    ("value", "censor"),
    [(2000.0, Censor.ABOVE), (9000.0, Censor.BELOW), (4000.0, Censor.BELOW), (1000.0, Censor.BELOW)],
)
def test_beside_a_laboratorys_bound_every_edge_leads_to_another_advice(value: float, censor: Censor) -> None:
    season = petiole_season(bound(value, censor))
    advice = season.advice(SATURDAY)
    for flip in advice.flips:
        assert flip.action is not advice.recommendation.action
        nearer = flip.value * (1 - 1e-6 if flip.above else 1 + 1e-6)
        farther = flip.value * (1 + 1e-6 if flip.above else 1 - 1e-6)
        assert action_at(season, SATURDAY, farther) is flip.action
        assert action_at(season, SATURDAY, nearer) is not flip.action
