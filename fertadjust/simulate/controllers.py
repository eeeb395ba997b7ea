"""Ways to decide on a result: the program's own rules, the plan as it stands, and a rule without guards."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple, Protocol

from fertadjust.compare import Side
from fertadjust.errors import OutOfSeason
from fertadjust.plan import Change, Plan
from fertadjust.readings import side_of
from fertadjust.rules.bound_rules import bounded_rates, filled, room_lb_ac
from fertadjust.rules.engine import evaluate
from fertadjust.season import BlockSeason


class Decision(NamedTuple):
    """What a result led to.

    Attributes:
        change: the change decided, or None to leave everything as it is.
        next_sample: day on which the next sample is asked for, or None when nobody asks.
    """

    change: Change | None
    next_sample: date | None


class Controller(Protocol):
    """A way to decide."""

    @property
    def heeds_cap(self) -> bool:
        """Whether feeding stops where the season cap is used up, as the weekly table tells a grower."""
        ...

    def decide(self, season: BlockSeason, on: date) -> Decision:
        """The decision on a day, from what was known by then."""
        ...


@dataclass(frozen=True, slots=True)
class FixedPlan:
    """The plan's own rates whatever the results say."""

    heeds_cap: bool = True

    def decide(self, season: BlockSeason, on: date) -> Decision:
        del season, on
        return Decision(None, None)


@dataclass(frozen=True, slots=True)
class ByTheRules:
    """What a grower does who accepts every advice: the same engine as for a real season.

    Attributes:
        without: names of rules that are left out, to see what they are good for.
    """

    without: Collection[str] = frozenset()
    heeds_cap: bool = True

    def decide(self, season: BlockSeason, on: date) -> Decision:
        found = evaluate(season.facts(on), season.policy, self.without)
        if not found.weeks:
            return Decision(None, found.next_sample)
        rates = dict(zip((week.number for week in found.weeks), found.rates_lb_ac, strict=True))
        change = Change(on, found.weeks[0].start, found.review, found.factor, rates, sample=found.next_sample)
        return Decision(change, found.next_sample)


@dataclass(frozen=True, slots=True)
class WithoutGuards:
    """A step at every result outside its band, by its value alone, kept until the next one.

    The steps are those that the policy begins with; there is no lag, confidence, stage in doubt or end.

    Attributes:
        bounded: whether floor, ceiling and season cap hold; the factor stays within what they let act.
    """

    bounded: bool = False

    @property
    def heeds_cap(self) -> bool:
        return self.bounded

    def decide(self, season: BlockSeason, on: date) -> Decision:
        policy, coming = season.policy, season.plan.coming_weeks(on)
        latest = max(
            (item for item in season.results if item.known_on <= on), key=lambda item: item.sampled, default=None
        )
        if latest is None or not coming:
            return Decision(None, None)
        try:
            side = side_of(season.reading(latest))
        except OutOfSeason:
            return Decision(None, None)
        step = 0.0
        if side is Side.BELOW:
            step = policy.raise_first.value
        elif side is Side.ABOVE:
            step = -policy.cut_first.value
        factor = season.path_before(on).standing_factor(on) * (1.0 + step)
        rates = {week.number: week.rate_lb_ac * factor for week in coming}
        if self.bounded:
            facts = season.facts(on)
            within, room = bounded_rates(facts, coming, factor), room_lb_ac(facts)
            within = within if room is None else filled(within, room)
            rates = dict(zip((week.number for week in coming), within, strict=True))
            lowest, highest = _reach(season.plan)
            factor = min(max(factor, lowest), highest)
        end = season.plan.end + timedelta(days=1)
        return Decision(Change(on, coming[0].start, end, factor, rates), None)


def _reach(plan: Plan) -> tuple[float, float]:
    """Lowest and highest factor that floor and ceiling let act on the plan's usual rate."""
    usual = max(plan.rates_lb_ac)
    return plan.floor_lb_ac / usual, plan.ceiling_lb_ac / usual
