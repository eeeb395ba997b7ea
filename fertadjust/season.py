"""One block's season: the advice of a day, with the weeks that follow from it.

Pure: no files, no clock. The same calls serve the command line, a notebook and a simulation.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fertadjust.alternatives import Alternative, alternatives
from fertadjust.block_facts import BlockFacts
from fertadjust.errors import OutOfSeason
from fertadjust.field import Block
from fertadjust.plan import PlanWeek
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Facts, Flip, Recommendation
from fertadjust.rules.policy import Override
from fertadjust.rules.what_if import flips
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.weekly import WeekAmounts, weekly_amounts


@dataclass(frozen=True, slots=True)
class Advice:
    """Everything that is said to a grower about one block on one day.

    Attributes:
        block, on: what and when.
        facts: what it was made from.
        recommendation: what the rules recommend, with the trace.
        flips: results that would change the action.
        alternatives: the advice if one other thing were otherwise.
        weeks: the rest of the season, before and after the change.
        tables: ids of the band tables in use.
        policy: id of the policy.
        own_values: policy values that the season file sets.
        decided: whether a decision was made on this advice; the weeks then show the decided rates.
    """

    block: Block
    on: date
    facts: Facts
    recommendation: Recommendation
    flips: tuple[Flip, ...]
    alternatives: tuple[Alternative, ...]
    weeks: tuple[WeekAmounts, ...]
    tables: tuple[str, ...]
    policy: str
    own_values: tuple[Override, ...]
    decided: bool


class BlockSeason(BlockFacts):
    """A block with its plan, its rules and what is recorded about it; see `BlockFacts` for the attributes."""

    def advice(self, on: date) -> Advice:
        """The advice for a date, from what was known by then."""
        facts = self.facts(on)
        recommendation = evaluate(facts, self.policy)
        edges: tuple[Flip, ...] = ()
        if facts.primary is not None:
            edges = flips(self.facts_at(facts), self.policy, facts.primary.value, recommendation.action)
        return Advice(
            block=self.block,
            on=on,
            facts=facts,
            recommendation=recommendation,
            flips=edges,
            alternatives=alternatives(self, facts, recommendation),
            weeks=tuple(self.weeks_from(on, recommendation)),
            tables=tuple(table.id for table in self.tables),
            policy=self.policy.id,
            own_values=tuple(self.policy.overrides()),
            decided=self.decided_on(on),
        )

    def decided_on(self, on: date) -> bool:
        """Whether a decision was made on a date."""
        return on in self.left or any(change.decided == on for change in self.changes)

    def weeks_from(self, on: date, recommendation: Recommendation | None = None) -> list[WeekAmounts]:
        """The coming weeks before the day's advice, and after it: as decided, else as recommended.

        "Before" is the rate in force going on over the weeks that the advice covers, and what was decided so far
        after them. Without a recommendation the rates decided so far stand.
        """
        earlier, now = self.path_before(on), self.path(on)
        weeks = self.plan.coming_weeks(on)
        before = {week.number: earlier.rate_lb_ac(week) for week in weeks}
        after = {week.number: now.rate_lb_ac(week) for week in weeks}
        if recommendation is not None:
            covered = [week.number for week in recommendation.weeks]
            before |= dict(zip(covered, recommendation.standing_rates_lb_ac, strict=True))
            if not self.decided_on(on):
                after = {week.number: week.rate_lb_ac for week in weeks}
                after |= dict(zip(covered, recommendation.rates_lb_ac, strict=True))
        ledger = self.ledger(on)
        spent = self.plan.credits_lb_ac + sum(ledger.spent_lb_ac(on)) - ledger.ahead_lb_ac(on)
        spent += ledger.rest_of_week_lb_ac(on)
        stage_of = {week.number: self.place_words(week) for week in weeks}
        return weekly_amounts(self.block, self.plan, self.mixes, weeks, before, after, spent, stage_of)

    def place_words(self, week: PlanWeek) -> str:
        """Where a week lies on the axis of the first table in use, for example "week 5"; "" outside it."""
        for table in self.tables:
            try:
                return table.band_on(MAIN_ANALYTE[table.tissue], week.start, self.stages).label
            except OutOfSeason:
                continue
        return ""
