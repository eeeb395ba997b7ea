"""What chance decides: the same for the same seed, whoever decides."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from fertadjust.simulate.controllers import ByTheRules, FixedPlan, WithoutGuards
from fertadjust.simulate.draws import Draws, draws
from tests.simulate.support import batch_of, drawn, scenario, setup, strawberry


def same(one: Draws, other: Draws) -> bool:
    for item in fields(Draws):
        mine, theirs = getattr(one, item.name), getattr(other, item.name)
        if item.name == "shares":
            if any(not np.array_equal(mine[key], theirs[key]) for key in mine):
                return False
        elif not np.array_equal(mine, theirs):
            return False
    return True


def of(name: Any = "rough", seed: int = 1, batch: int = 0, count: int = 50) -> Draws:
    return draws(strawberry(), scenario(name), seed, batch, count, 84)


def test_the_same_seed_and_batch_draw_the_same() -> None:
    assert same(of(), of())


@pytest.mark.parametrize(("seed", "batch"), [(2, 0), (1, 1)])
def test_another_seed_or_batch_draws_otherwise(seed: int, batch: int) -> None:
    assert not same(of(), of(seed=seed, batch=batch))


def test_seed_and_batch_are_not_added_up() -> None:
    assert not same(of(seed=1, batch=2), of(seed=2, batch=1))


def test_draws_have_the_shape_of_days_and_seasons() -> None:
    found = of(count=7)
    assert found.need.shape == found.logs.shape == found.days_off.shape == (7,)
    assert found.missed.shape == found.noise.shape == found.result_days.shape == (84, 7)
    assert set(found.shares) == set(strawberry().figures)


def test_every_way_of_deciding_meets_the_same_seasons() -> None:
    """The first sample is taken before anything was decided, so its result is the same; so is what is missed."""
    setup_ = setup("rough", 5)
    given = drawn(setup_, 30)
    kept = replace(
        given,
        shares=dict(given.shares),
        **{item.name: getattr(given, item.name).copy() for item in fields(Draws) if item.name != "shares"},
    )
    batches = [batch_of(setup_, by, given=given) for by in (FixedPlan(), ByTheRules(), WithoutGuards())]
    courses = [batch.run() for batch in batches]
    assert same(given, kept)
    firsts = [[grower.results[0] for grower in batch.growers if grower.results] for batch in batches]
    assert firsts[0] == firsts[1] == firsts[2]
    zero = [course.applied == 0.0 for course in courses]
    feeding = [day for day in range(84) if day % 7 in (0, 3)]
    for found in zero:
        assert np.array_equal(found[feeding], given.missed[feeding])


def test_chances_and_ranges_are_those_of_the_scenario() -> None:
    """4,000 seasons: shares within four standard errors, ranges reached to a hundredth and never left."""
    count = 4000
    found = draws(strawberry(), scenario("rough"), 3, 0, count, 14)

    def near(share: float, expected: float, trials: int) -> bool:
        return bool(abs(share - expected) <= 4 * np.sqrt(expected * (1 - expected) / trials))

    assert near(found.missed.mean(), 0.15, 14 * count)
    assert near(found.logs.mean(), 0.6, count)
    assert near(found.lost.mean(), 0.03, 14 * count)
    assert near((found.rain_lost > 0).mean(), 0.3 / 7, 14 * count)
    assert near(found.rain_noted.mean(), 0.5, 14 * count)
    rain = found.rain_lost[found.rain_lost > 0]
    for values, low, high in (
        (found.need, 0.6, 1.4),
        (found.soil_at_start, 0.3, 2.0),
        (found.bias, 0.8, 1.2),
        (found.water_ppm, 0.0, 2.0),
        (rain, 0.2, 0.6),
    ):
        assert low <= values.min() <= low + 0.01 * (high - low)
        assert high - 0.01 * (high - low) <= values.max() <= high
        assert values.mean() == pytest.approx((low + high) / 2, abs=4 * (high - low) / np.sqrt(12 * len(values)))
    assert set(found.result_days.ravel()) == set(range(5, 11))
    assert set(found.days_off) == set(range(-10, 11))
    assert abs(found.noise.mean()) < 4 / np.sqrt(14 * count)
    assert found.noise.std() == pytest.approx(1.0, rel=0.02)


def test_figures_of_the_crop_are_drawn_independently_and_evenly() -> None:
    found = draws(strawberry(), scenario("usual"), 3, 0, 4000, 7)
    values = np.array(list(found.shares.values()))
    assert values.min() >= 0.0 and values.max() < 1.0
    off = np.corrcoef(values) - np.eye(len(values))
    assert np.abs(off).max() < 5 / np.sqrt(4000)
