"""Crop stages and the dates they began on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from fertadjust.errors import OutOfSeason
from fertadjust.units import DAYS_PER_WEEK


@dataclass(frozen=True, slots=True)
class StageDates:
    """When each stage began in one block.

    Attributes:
        dates: stage name -> first day, in order of time.
        season_end: last day of the season; the last stage runs to it.
        approximate: names of the stages whose date is a guess.
    """

    dates: Mapping[str, date]
    season_end: date
    approximate: frozenset[str] = frozenset()

    def week_of(self, anchor: str, on: date) -> int:
        """Week number on a date; week 1 begins on the anchor stage's first day, the week before is 0.

        Raises:
            OutOfSeason: the anchor stage has no date.
        """
        return (on - self.start_of(anchor)).days // DAYS_PER_WEEK + 1

    def start_of(self, stage: str) -> date:
        """First day of a stage.

        Raises:
            OutOfSeason: the stage has no date.
        """
        try:
            return self.dates[stage]
        except KeyError:
            raise OutOfSeason(f"stage {stage} has no date in the season file") from None


def stage_words(stage: str) -> str:
    """A stage name for people: ``first_bloom`` -> ``first bloom``."""
    return stage.replace("_", " ")
