"""Where a date falls among named stages, some of which may have no date."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from fertadjust.dates import day
from fertadjust.errors import OutOfSeason
from fertadjust.stages import StageDates, stage_words


class Doubt(NamedTuple):
    """How many days a stage may be wrong by: when its date was recorded, and when it is a guess."""

    recorded: int
    guess: int

    def days(self, guessed: bool) -> int:
        return self.guess if guessed else self.recorded


def stage_place(names: Sequence[str], on: date, stages: StageDates) -> int:
    """Index of the stage of a date: the last one with a date that has begun.

    Raises:
        OutOfSeason: none of the stages has a date, none has begun, or the season is over.
    """
    starts = _starts(names, stages)
    if not starts:
        raise OutOfSeason(f"none of the stages {', '.join(map(stage_words, names))} has a date in the season file")
    first, begins = next(iter(starts.items()))
    if on < begins:
        unknown = f"; {stage_words(names[0])} has no date" if first > 0 else ""
        raise OutOfSeason(f"{day(on)} is before {stage_words(names[first])} ({day(begins)}){unknown}")
    if on > stages.season_end:
        raise OutOfSeason(f"{day(on)} is after the end of the season ({day(stages.season_end)})")
    return max(index for index, start in starts.items() if start <= on)


def stages_near(
    names: Sequence[str], place: int, on: date, stages: StageDates, doubt: Doubt
) -> tuple[list[int], bool]:
    """The stage of a date and those on either side of it that may be in force, were the dates wrong by some days.

    A stage without a date that comes next may have begun unnoticed, so it is among them.

    Returns:
        Indices, and whether any of the dates in doubt is a guess.
    """
    starts, guesses = _starts(names, stages), [stage in stages.approximate for stage in names]
    near, guessed = [place], False
    for index in range(place, 0, -1):
        if index in starts and on - timedelta(days=doubt.days(guesses[index])) >= starts[index]:
            break
        near.insert(0, index - 1)
        guessed |= guesses[index]
    unnoticed = False
    for index in range(place + 1, len(names)):
        if index not in starts:
            if not unnoticed:
                near.append(index)
            unnoticed = True
            continue
        if on + timedelta(days=doubt.days(guesses[index])) < starts[index]:
            break
        near.append(index)
        guessed |= guesses[index]
    return near, guessed


def _starts(names: Sequence[str], stages: StageDates) -> dict[int, date]:
    """Index -> first day, of the stages with a date, in order."""
    return {index: stages.dates[name] for index, name in enumerate(names) if name in stages.dates}
