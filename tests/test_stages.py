"""Stage dates: weeks from a stage, stages without a date, and guesses."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fertadjust.errors import OutOfSeason
from fertadjust.stages import StageDates, stage_words
from tests import support

STAGES = StageDates(
    {"green_up": date(2026, 2, 9), "first_bloom": support.BLOOM}, date(2026, 5, 31), frozenset({"first_bloom"})
)


@pytest.mark.parametrize(
    ("days", "week"), [(0, 1), (6, 1), (7, 2), (83, 12), (84, 13), (-1, 0), (-7, 0), (-8, -1), (-14, -1)]
)
def test_week_one_begins_on_the_first_day_of_the_stage(days: int, week: int) -> None:
    assert STAGES.week_of("first_bloom", support.BLOOM + timedelta(days=days)) == week


def test_a_stage_begins_on_its_date() -> None:
    assert STAGES.start_of("green_up") == date(2026, 2, 9)


def test_a_stage_without_a_date_is_named() -> None:
    with pytest.raises(OutOfSeason, match="stage main_fruiting has no date"):
        STAGES.start_of("main_fruiting")
    with pytest.raises(OutOfSeason, match="main_fruiting"):
        STAGES.week_of("main_fruiting", support.BLOOM)


def test_a_stage_is_known_to_be_a_guess_by_its_name() -> None:
    assert STAGES.approximate == {"first_bloom"}
    assert StageDates({"first_bloom": support.BLOOM}, date(2026, 5, 31)).approximate == frozenset()


def test_a_date_recorded_a_week_later_makes_the_same_day_an_earlier_week() -> None:
    on = support.day_in(5)
    later = StageDates({"first_bloom": support.BLOOM + timedelta(days=7)}, STAGES.season_end)
    assert later.week_of("first_bloom", on) == STAGES.week_of("first_bloom", on) - 1 == 4


def test_stage_names_are_written_for_people() -> None:
    assert stage_words("first_bloom") == "first bloom"
    assert stage_words("midseason") == "midseason"
