"""What a just supplied crop shows: the middle of the band, smoothed over a week."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest

from fertadjust.errors import UserError
from fertadjust.shipped import shipped_tables
from fertadjust.simulate.reference import Reference
from fertadjust.stages import StageDates
from tests.support import BLOOM, SOUTHEAST

WEEKS = [(600, 1500), (4000, 6000), (4000, 6000), (3500, 6000), *[(3000, 5000)] * 4, *[(2000, 4500)] * 2]
WEEKS += [(1500, 3000), (1000, 2000)]
"""Edges of the twelve weeks from first bloom [ppm] (UGA-2021)."""

STAGES = StageDates({"first_bloom": BLOOM}, BLOOM + timedelta(days=83))


def reference(first: int = 0, days: int = 84) -> Reference:
    return Reference.of(shipped_tables()[SOUTHEAST], STAGES, BLOOM + timedelta(days=first), days)


def test_the_edges_are_those_of_the_published_table_on_every_day() -> None:
    middle, low, high = reference().on(np.arange(84))
    for day in range(84):
        assert (low[day], high[day]) == WEEKS[day // 7]
        assert middle[day] > 0
    assert reference().unit == "ppm"


def test_the_middle_is_the_mean_over_a_week_of_the_logarithms_of_the_middles() -> None:
    """By hand: the geometric middle of each day, three days to either side, else the nearest."""
    middle, _, _ = reference().on(np.arange(84))
    logs = [math.log(low * high) / 2 for low, high in WEEKS]
    for day in range(84):
        near = [logs[min(max(at, 0), 83) // 7] for at in range(day - 3, day + 4)]
        assert middle[day] == pytest.approx(math.exp(sum(near) / 7))


def test_in_the_middle_of_a_row_it_is_the_geometric_middle_of_its_edges() -> None:
    middle, _, _ = reference().on(np.array([42]))
    assert middle[0] == pytest.approx(math.sqrt(3000 * 5000))


def test_outside_the_table_the_nearest_middle_holds_and_there_are_no_edges() -> None:
    middle, low, high = reference().on(np.array([-30, -1, 84, 120, 10_000, -10_000]))
    assert np.isnan(low).all() and np.isnan(high).all()
    first, last = math.sqrt(600 * 1500), math.sqrt(1000 * 2000)
    assert middle[[0, 5]] == pytest.approx(first)
    assert middle[[3, 4]] == pytest.approx(last)


@pytest.mark.parametrize("first", [-21, 35])
def test_a_plan_that_begins_on_another_day_sees_the_same_days(first: int) -> None:
    days = np.arange(84)
    moved, plain = reference(first).on(days - first), reference().on(days)
    for mine, other in zip(moved, plain, strict=True):
        assert np.array_equal(mine, other, equal_nan=True)


def test_a_table_with_one_edge_is_refused_with_its_row() -> None:
    table = shipped_tables()["strawberry-petiole-dry-california"]
    stages = StageDates({"pre_harvest": BLOOM, "main_harvest": BLOOM + timedelta(days=28)}, STAGES.season_end)
    with pytest.raises(UserError, match="both edges"):
        Reference.of(table, stages, BLOOM, 84)


def test_a_plan_outside_the_table_is_refused() -> None:
    with pytest.raises(UserError, match="no band in the weeks of the plan"):
        reference(first=84, days=28)
