"""The trend carried on: the figures computed a second time here, and when there is nothing to carry on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from statistics import NormalDist
from typing import Any

import pytest
from scipy import stats

from fertadjust.bands import BandTable
from fertadjust.compare import percent
from fertadjust.dates import short_day
from fertadjust.plan import Change
from fertadjust.projection import Projection, projection
from fertadjust.rules.engine import evaluate
from fertadjust.season import BlockSeason
from fertadjust.tissue import Censor, TissueResult
from tests.support import BLOOM, SOUTHEAST, day_in, policy, result, season, with_policy

SAMPLE_DAYS = 14
"""Days between samples by the shipped policy."""

UGA_2021 = [(1, 600, 1500), (3, 4000, 6000), (4, 3500, 6000), (8, 3000, 5000), (9, 2000, 4500), (10, 2000, 4500)]
"""Last week of a row of the table of the US Southeast, and its edges [ppm] (UGA-2021)."""
UGA_2021 += [(11, 1500, 3000), (12, 1000, 2000)]


def edges_on(day: date) -> tuple[float, float]:
    """Edges on a day, by the printed table [ppm]."""
    week = (day - BLOOM).days // 7 + 1
    return next((low, high) for last, low, high in UGA_2021 if week <= last)


def place_of(value: float, day: date) -> float:
    low, high = edges_on(day)
    return math.log(value / low) / math.log(high / low)


def at_places(places: Sequence[float], days: Sequence[date]) -> list[TissueResult]:
    """Results that lie at some positions of their bands on some days, each known on its own day."""
    found = []
    for number, (place, day) in enumerate(zip(places, days, strict=True), 1):
        low, high = edges_on(day)
        one = result(low * (high / low) ** place, record=number)
        found.append(replace(one, sampled=day, received=day))
    return found


def days_up_to(last: date, count: int, apart: int = 6) -> list[date]:
    return [last - timedelta(days=apart * index) for index in reversed(range(count))]


def ahead_of(one: BlockSeason, on: date) -> Projection | None:
    facts = one.facts(on)
    return projection(one, facts, evaluate(facts, one.policy))


FALLING = (0.95, 0.8, 0.6, 0.62, 0.2)
UNCLEAR = (0.5, 0.6, 0.45, 0.62, 0.5)
STEADY = day_in(6, 1)
"""Weeks 5 to 8 have one band, so nothing moves in the two weeks after this day."""
MOVING = day_in(8, 3)
"""The band moves at the ends of weeks 8, 10 and 11."""


def falling(last: date, places: Sequence[float] = FALLING, **rest: Any) -> BlockSeason:
    return season(*at_places(places, days_up_to(last, len(places))), **rest)


# --- figures -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("places", [FALLING, UNCLEAR, tuple(reversed(FALLING))])
@pytest.mark.parametrize("last", [STEADY, MOVING])
def test_middle_and_limits_follow_the_slope_and_its_spread_on_the_band_of_each_day(
    last: date, places: tuple[float, ...]
) -> None:
    days = days_up_to(last, len(places))
    found = ahead_of(falling(last, places), last)
    assert found is not None
    # Slope and its 90 % limits; these read as those of a normal error, 1.645 sd to either side.
    fit = stats.theilslopes(places, [(day - days[0]).days for day in days], alpha=0.90)
    slope_sd = (fit.high_slope - fit.low_slope) / (2 * NormalDist().inv_cdf(0.95))
    # Laboratory by Horwitz (HORWITZ-1988), 0.30 over 25 petioles, 0.10 for hour and day, in quadrature; lognormal.
    low, high = edges_on(last)
    value = low * (high / low) ** places[-1]
    relative = math.sqrt((2 ** (1 - 0.5 * math.log10(value * 1e-6)) / 100) ** 2 + (0.30 / 5) ** 2 + 0.10**2)
    now_sd = math.sqrt(math.log(1 + relative**2)) / math.log(high / low)
    assert len(found.points) == SAMPLE_DAYS + 1
    for ahead, point in enumerate(found.points):
        low, high = edges_on(point.on)
        place = places[-1] + fit.slope * ahead
        sd = math.sqrt(now_sd**2 + (slope_sd * ahead) ** 2)
        assert point.on == last + timedelta(days=ahead)
        assert point.middle == pytest.approx(low * (high / low) ** place)
        assert point.low == pytest.approx(low * (high / low) ** (place - 1.96 * sd))
        assert point.high == pytest.approx(low * (high / low) ** (place + 1.96 * sd))


def test_it_begins_at_the_result_with_its_own_interval() -> None:
    found = ahead_of(falling(STEADY), STEADY)
    assert found is not None
    first, last = found.points[0], found.points[-1]
    low, high = edges_on(STEADY)
    assert first.middle == pytest.approx(low * (high / low) ** FALLING[-1])
    assert last.high / last.low > first.high / first.low
    assert last.middle < first.middle


def test_it_moves_with_the_band() -> None:
    """On the days on which the printed band drops, the middle drops though the slope is as steep as before."""
    found = ahead_of(falling(MOVING, UNCLEAR), MOVING)
    assert found is not None
    middles = {point.on: point.middle for point in found.points}
    before, after = day_in(8, 6), day_in(9, 0)
    assert edges_on(before) != edges_on(after)
    assert middles[after] < 0.9 * middles[before]
    assert middles[before] == pytest.approx(middles[before - timedelta(days=1)], rel=0.02)


def test_a_sample_known_later_is_carried_on_from_its_sampling_day() -> None:
    one = falling(STEADY)
    assert ahead_of(one, STEADY + timedelta(days=3)) == ahead_of(one, STEADY)


# --- words ---------------------------------------------------------------------------------------------------


def likeliest(one: BlockSeason, last: date) -> str:
    """The largest of the chances on a day, from the trend of the facts."""
    facts = one.facts(last)
    found = ahead_of(one, last)
    assert facts.trend is not None and facts.primary is not None and found is not None
    reading, end = facts.primary, found.points[-1]
    low, high = edges_on(reading.sampled)
    first = found.points[0]
    sd = math.log(first.high / first.middle) / 1.96 / math.log(high / low)
    place = place_of(reading.value, reading.sampled)
    chances = facts.trend.ahead(place, sd, (end.on - reading.sampled).days)
    largest = max(chances)
    return f"{('below', 'within', 'above')[chances.index(largest)]} {percent(largest)}"


@pytest.mark.parametrize(
    ("places", "side"),
    [
        (FALLING, "below"),
        (tuple(1 - place for place in FALLING), "above"),
        ((0.52, 0.51, 0.5, 0.49, 0.48), "within"),
    ],
)
def test_the_chance_in_the_words_is_the_largest_on_the_last_day(places: tuple[float, ...], side: str) -> None:
    one = falling(STEADY, places)
    found = ahead_of(one, STEADY)
    assert found is not None
    how, _, chance = found.words.partition(", ")
    assert how == "as the trend runs"
    assert chance == f"{short_day(STEADY + timedelta(days=SAMPLE_DAYS))}: {likeliest(one, STEADY)}"
    assert side in chance


def test_the_chance_in_the_words_is_that_of_the_drawn_spread() -> None:
    """Phi of where the edge lies in the spread of the last day, read off the points themselves."""
    found = ahead_of(falling(STEADY), STEADY)
    assert found is not None
    end = found.points[-1]
    sd = math.log(end.high / end.middle) / 1.96
    below = NormalDist().cdf(math.log(edges_on(end.on)[0] / end.middle) / sd)
    assert found.words.endswith(f"below {100 * below:.0f} %")


def test_a_trend_that_chance_could_have_made_is_called_no_clear_one() -> None:
    one = falling(STEADY, UNCLEAR)
    facts = one.facts(STEADY)
    assert facts.trend is not None and facts.trend.tail > policy().trend_tail.value
    found = ahead_of(one, STEADY)
    assert found is not None
    assert found.words.startswith("no clear trend, ")


def test_a_sample_too_soon_after_a_change_tells_of_the_time_before_it() -> None:
    week = (STEADY - BLOOM).days // 7
    change = Change(day_in(week, 0), day_in(week, 4), STEADY + timedelta(days=14), 1.2, {week + 1: 6.3})
    found = ahead_of(falling(STEADY, changes=(change,)), STEADY)
    without = ahead_of(falling(STEADY), STEADY)
    assert found is not None and without is not None
    assert found.words.startswith("trend before the last change, ")
    assert found.points == without.points


def test_no_clear_trend_is_said_before_the_time_that_it_tells_of() -> None:
    week = (STEADY - BLOOM).days // 7
    change = Change(day_in(week, 0), day_in(week, 4), STEADY + timedelta(days=14), 1.2, {week + 1: 6.3})
    one = falling(STEADY, UNCLEAR, changes=(change,))
    assert evaluate(one.facts(STEADY), one.policy).fired("too soon")
    found = ahead_of(one, STEADY)
    assert found is not None
    assert found.words.startswith("no clear trend, ")


# --- where it ends -------------------------------------------------------------------------------------------


def test_it_stops_with_the_tables_season() -> None:
    end = day_in(12, 6)
    last = end - timedelta(days=5)
    found = ahead_of(falling(last), last)
    assert found is not None
    assert [point.on for point in found.points] == [last + timedelta(days=ahead) for ahead in range(6)]
    assert f", {short_day(end)}: " in found.words


def test_on_the_last_day_of_the_season_there_is_nothing_to_carry_on_to() -> None:
    assert ahead_of(falling(day_in(12, 6)), day_in(12, 6)) is None


def table_of(*rows: tuple[int, int, float | None, float | None]) -> BandTable:
    """A table with invented edges: first and last week, low, high."""
    data: dict[str, Any] = {
        "schema": 1, "id": "own", "title": "Own", "crop": "strawberry", "system": "annual plasticulture",
        "region": "here", "tissue": "petiole", "part": "petiole", "basis": "dry", "axis": "weeks",
        "anchor": "first_bloom",
        "rows": [
            {"id": str(first), "analyte": "NO3-N", "unit": "ppm", "weeks": (first, last), "source": "own",
             "evidence": "own"}
            | ({} if low is None else {"low": low}) | ({} if high is None else {"high": high})
            for first, last, low, high in rows
        ],
    }  # fmt: skip
    return BandTable.model_validate(data)


def test_it_stops_where_the_band_loses_an_edge() -> None:
    own = table_of((1, 6, 3000.0, 5000.0), (7, 12, 2000.0, None))
    values = enumerate((4600, 4400, 4200, 4000, 3800), 2)
    results = [result(value, week, record=week, delay=0) for week, value in values]
    found = ahead_of(replace(season(*results), tables=(own,)), results[-1].sampled)
    assert found is not None
    assert found.points[-1].on == day_in(6, 6)


def test_a_deciding_band_with_one_edge_is_not_carried_on() -> None:
    own = table_of((1, 6, 3000.0, 5000.0), (7, 12, 2000.0, None))
    results = [result(value, week, record=week, delay=0) for week, value in enumerate((4600, 4400, 4200, 4000), 3)]
    results.append(result(2500.0, 7, record=7, delay=0))
    one = replace(season(*results), tables=(own,))
    on = results[-1].sampled
    assert one.facts(on).trend is not None
    assert ahead_of(one, on) is None


# --- nothing to carry on -------------------------------------------------------------------------------------


def test_without_a_result_there_is_none() -> None:
    assert ahead_of(season(), STEADY) is None


def test_three_results_are_no_trend() -> None:
    assert ahead_of(falling(STEADY, FALLING[:3]), STEADY) is None
    assert ahead_of(falling(STEADY, FALLING[:4]), STEADY) is not None


@pytest.mark.parametrize("censor", [Censor.BELOW, Censor.ABOVE])
def test_a_bound_is_not_carried_on(censor: Censor) -> None:
    *before, last = at_places((*FALLING, 0.3), days_up_to(STEADY, 6))
    one = season(*before, replace(last, censor=censor))
    assert one.facts(STEADY).trend is not None
    assert ahead_of(one, STEADY) is None


def test_a_stale_sample_is_not_carried_on() -> None:
    one = falling(STEADY, UNCLEAR, the_policy=with_policy(policy(), sample_days=21))
    limit = int(policy().stale_days.value)
    assert ahead_of(one, STEADY + timedelta(days=limit)) is not None
    assert one.facts(STEADY + timedelta(days=limit + 1)).trend is not None
    assert ahead_of(one, STEADY + timedelta(days=limit + 1)) is None


def test_nothing_is_carried_on_that_ends_on_the_day_or_before_it() -> None:
    one = falling(STEADY, UNCLEAR)
    assert ahead_of(one, STEADY + timedelta(days=SAMPLE_DAYS - 1)) is not None
    assert ahead_of(one, STEADY + timedelta(days=SAMPLE_DAYS)) is None


def test_nothing_is_carried_on_whose_band_ends_before_the_day() -> None:
    end = day_in(12, 6)
    one = falling(end - timedelta(days=5), UNCLEAR)
    assert ahead_of(one, end - timedelta(days=1)) is not None
    assert ahead_of(one, end) is None
    assert ahead_of(one, end + timedelta(days=3)) is None


# --- how far out ---------------------------------------------------------------------------------------------


def steep(slope: float, place: float = 0.5) -> BlockSeason:
    """Results on a straight line of positions that ends at one of them [band widths a day]."""
    days = days_up_to(STEADY, 5)
    return season(*at_places([place + slope * (day - STEADY).days for day in days], days))


@pytest.mark.parametrize(("slope", "days"), [(0.21, 11), (-0.21, 11), (0.31, 8), (-0.31, 8), (0.17, 14)])
def test_a_trend_is_followed_to_two_band_widths_beyond_an_edge(slope: float, days: int) -> None:
    """From the middle there are 2.5 widths to go: 11 days at 0.21 make 2.31, 12 would make 2.52."""
    found = ahead_of(steep(slope), STEADY)
    assert found is not None
    assert found.points[-1].on == STEADY + timedelta(days=days)
    assert short_day(found.points[-1].on) in found.words


@pytest.mark.parametrize("slope", [3.0, -3.0])
def test_a_trend_that_leaves_at_once_is_not_carried_on(slope: float) -> None:
    one = steep(slope)
    assert one.facts(STEADY).trend is not None
    assert ahead_of(one, STEADY) is None


@pytest.mark.parametrize("slope", [0.21, -0.21])
@pytest.mark.parametrize("places", [(), (0.9, -0.4, 1.5, -0.6, 0.5)])
def test_limits_are_held_within_one_more_width(slope: float, places: tuple[float, ...]) -> None:
    one = falling(STEADY, places) if places else steep(slope)
    found = ahead_of(one, STEADY)
    assert found is not None
    held = False
    for point in found.points:
        low, middle, high = (place_of(value, point.on) for value in (point.low, point.middle, point.high))
        assert -3 - 1e-9 <= low < middle < high <= 4 + 1e-9
        assert -2 - 1e-9 <= middle <= 3 + 1e-9
        held = held or low == pytest.approx(-3) or high == pytest.approx(4)
    assert held is bool(places)


def test_the_table_used_here_is_the_shipped_one() -> None:
    one = season(tables=(SOUTHEAST,))
    for week in range(1, 13):
        band = one.tables[0].band_on("NO3-N", day_in(week, 3), one.stages)
        assert (band.low, band.high) == edges_on(day_in(week, 3))
