"""Runs of many seasons: the same whatever the number of processors, batches or ways."""

from __future__ import annotations

import numpy as np
import pytest

from fertadjust.simulate.controllers import ByTheRules, FixedPlan, WithoutGuards
from fertadjust.simulate.measures import MEASURES
from fertadjust.simulate.outlook import PLAN, RULES, SHARES, TRIED, outlook, spread, ways_of
from fertadjust.simulate.runs import BATCH, Run, Way, one_batch, run
from tests.simulate.support import georgia, scenario, setup, strawberry


def ways(seed: int = 1) -> list[Way]:
    of = setup("rough", seed)
    return [Way("plan", of, FixedPlan()), Way("no guards", of, WithoutGuards())]


def same(one: Run, other: Run) -> bool:
    pairs = [(one.value, other.value), (one.rate, other.rate)]
    pairs += [(one.measures[name], other.measures[name]) for name in one.measures]
    return one.name == other.name and all(np.array_equal(a, b, equal_nan=True) for a, b in pairs)


def test_one_and_two_processes_give_the_same_seasons() -> None:
    """Two batches, the last of them short, so that they come back in any order."""
    of = setup("rough", 3)
    tried = [Way("plan", of, FixedPlan()), Way("rules", of, ByTheRules()), Way("no guards", of, WithoutGuards())]
    alone, together = run(tried, BATCH + 9), run(tried, BATCH + 9, processes=2)
    assert [item.name for item in together] == ["plan", "rules", "no guards"]
    for one, other in zip(alone, together, strict=True):
        assert same(one, other)
        assert one.seasons == BATCH + 9


def test_the_order_of_the_ways_does_not_matter() -> None:
    forth, back = run(ways(), 40), run(ways()[::-1], 40)
    for one, other in zip(forth, back[::-1], strict=True):
        assert same(one, other)


def test_a_batch_is_the_same_whichever_was_run_before() -> None:
    (way, *_) = ways()
    later = one_batch(way, 2, 20)[0]
    one_batch(way, 0, 20)
    again = one_batch(way, 2, 20)[0]
    assert np.array_equal(later.value, again.value)


def test_a_longer_run_begins_with_the_seasons_of_a_shorter_one() -> None:
    short, long = run(ways(), BATCH), run(ways(), BATCH + 30)
    for one, other in zip(short, long, strict=True):
        assert np.array_equal(one.value, other.value[:, :BATCH])
        for name, values in one.measures.items():
            assert np.array_equal(values, other.measures[name][:BATCH], equal_nan=True)


def test_batches_differ_from_each_other() -> None:
    (found, *_) = run(ways(), 2 * BATCH)
    assert not np.array_equal(found.value[:, :BATCH], found.value[:, BATCH:])


def test_another_seed_gives_other_seasons() -> None:
    assert not np.array_equal(run(ways(1), 10)[0].value, run(ways(2), 10)[0].value)


@pytest.mark.parametrize("processes", [1, 2])
def test_progress_adds_up_to_all_seasons_of_all_ways(processes: int) -> None:
    told: list[int] = []
    run(ways(), BATCH + 5, processes, told.append)
    assert sorted(told) == [5, 5, BATCH, BATCH]


def test_measures_beside_another_run_are_taken_season_by_season() -> None:
    plan, free = run(ways(), 60)
    for item in MEASURES:
        off = free.measures[item.name] - plan.measures[item.name]
        known = off[~np.isnan(off)]
        found = free.beside(plan, item.name)
        assert found.seasons == len(known)
        # No cap is set, so nothing is known of passing it.
        assert (not len(known)) == (item.name == "over_cap") == bool(np.isnan(found.mean))
        if len(known):
            assert found.mean == pytest.approx(known.mean())
    own = plan.beside(plan, "applied")
    assert (own.mean, own.low, own.high) == (0.0, 0.0, 0.0)


def test_an_outlook_runs_the_plan_and_the_rules_on_the_same_seasons() -> None:
    found = outlook(georgia(), strawberry(), scenario("usual"), 20)
    assert [item.name for item in found.runs] == [PLAN, RULES]
    assert (found.seasons, found.setup.seed, found.tried) == (20, 1, {})
    low, high = found.bands()
    assert (low[0], high[0]) == (600, 1500)  # UGA-2021
    first = found.run(PLAN).value[:14]
    assert np.array_equal(first, found.run(RULES).value[:14])


def test_values_that_are_tried_change_the_rules_only() -> None:
    found = outlook(georgia(), strawberry(), scenario("usual"), 20, seed=9, tried={"confidence": 0.5})
    plain = outlook(georgia(), strawberry(), scenario("usual"), 20, seed=9)
    assert [item.name for item in found.runs] == [PLAN, RULES, TRIED]
    assert same(found.run(RULES), plain.run(RULES))
    assert found.run(TRIED).measures["changes"].sum() > found.run(RULES).measures["changes"].sum()


def test_without_a_value_to_try_there_is_no_third_way() -> None:
    assert len(ways_of(setup(), {})) == 2


def test_a_spread_tells_what_shares_of_the_seasons_lie_below() -> None:
    """Held against numpy.percentile of each day."""
    values = np.random.default_rng(1).random((3, 200))
    found = spread(values)
    assert found.shape == (5, 3)
    for row, share in zip(found, SHARES, strict=True):
        assert row == pytest.approx(np.percentile(values, 100 * share, axis=1))
