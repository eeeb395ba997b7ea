"""A block's season replayed result by result, with each advice taken and fed as decided."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from fertadjust.ledger import Application
from fertadjust.season import Advice, BlockSeason
from fertadjust.tissue import TissueResult
from tests.rules import taken_over


@dataclass
class Replay:
    """A season as it goes on; the results that come in are added to it.

    Attributes:
        season: everything recorded so far.
    """

    season: BlockSeason

    def arrives(self, *results: TissueResult, take: bool = True) -> Advice:
        """The advice on the day that the last of some results came; it is taken unless told otherwise."""
        on = max(result.known_on for result in results)
        self.season = replace(self.season, results=(*self.season.results, *results))
        return self.asked(on, take=take)

    def asked(self, on: date, *, take: bool = True) -> Advice:
        """The advice on a day on which everything decided so far was fed."""
        season = replace(self.season, applications=fed_as_decided(self.season, on))
        advice = season.advice(on)
        if take:
            change = taken_over(advice.recommendation, on, record=800 + len(season.changes))
            season = replace(season, changes=(*season.changes, change))
        self.season = season
        return advice


def fed_as_decided(season: BlockSeason, on: date) -> tuple[Application, ...]:
    """Two injections a week, on Monday and Thursday, that add up to the rates decided by a day."""
    path = season.path(on)
    return tuple(
        Application(900 + 2 * week.number + half, "north", day, path.rate_lb_ac(week) / 2)
        for week in season.plan.weeks
        for half, day in enumerate((week.start, week.start + timedelta(days=3)))
        if day <= on
    )


def one_rate(advice: Advice) -> float:
    """The advised rate of every week that the advice covers, which must be one and the same [lb/ac]."""
    rates = set(advice.recommendation.rates_lb_ac)
    assert len(rates) == 1
    return rates.pop()
