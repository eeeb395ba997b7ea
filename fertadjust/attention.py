"""How each block stands on a day, sorted by what needs attention first. Pure.

Results that would change an advice are not searched for, so that forty blocks take well under a second.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fertadjust.block_day import Phase
from fertadjust.compare import Comparison, Side
from fertadjust.dates import day
from fertadjust.field import Block
from fertadjust.needs import DayNeeds, Need, Urgency, need_order
from fertadjust.rules.bound_rules import room_lb_ac
from fertadjust.rules.facts import Facts, Reading, Recommendation
from fertadjust.rules.policy import Policy
from fertadjust.rules.sizes import distance
from fertadjust.season import BlockSeason
from fertadjust.units import UnitSystem
from fertadjust.words import rates


@dataclass(frozen=True, slots=True)
class Standing:
    """How one block stands on a day.

    Attributes:
        block, on: what and when.
        units: units of the words.
        phase: whether the plan is to come, runs or is over.
        start, end: first and last day of the plan.
        reading: the reading that decides, or None.
        recommendation: what the rules recommend, without the results that would change it.
        stale: whether the deciding reading is too old to decide anything.
        distance: how far outside its band the deciding reading lies [band widths on a scale of ratios]; 0 inside,
            without one, and where the plan does not run.
        in_force_lb_ac: rates of the recommendation's weeks as they run without another decision [lb/ac].
        decided_lb_ac: rates of the recommendation's weeks as decided on this day [lb/ac]; None without a decision.
        review: day on which the change in force runs out, or None.
        ran_out: review date of the last change when it has passed without a decision, or None.
        next_sample: day of the next sample, or None when no sample can change anything any more.
        so_far_lb_ac: nitrogen with credits, weeks without a log and the rest of the running week [lb/ac].
        cap_lb_ac, left_lb_ac: the season cap, and what it leaves for the coming weeks [lb/ac]; None without a cap.
        over_lb_ac: by how much what is out already passes the cap [lb/ac]; 0 when it does not.
        not_logged: numbers of the past weeks that nothing is logged for, though something was to go out.
        needs: what is to be done, most urgent first.
    """

    block: Block
    on: date
    units: UnitSystem
    phase: Phase
    start: date
    end: date
    reading: Reading | None
    recommendation: Recommendation
    stale: bool
    distance: float
    in_force_lb_ac: tuple[float, ...]
    decided_lb_ac: tuple[float, ...] | None
    review: date | None
    ran_out: date | None
    next_sample: date | None
    so_far_lb_ac: float
    cap_lb_ac: float | None
    left_lb_ac: float | None
    over_lb_ac: float
    not_logged: tuple[int, ...]
    needs: tuple[Need, ...]

    @property
    def comparison(self) -> Comparison | None:
        """The deciding reading against its band."""
        return self.recommendation.comparison

    @property
    def age_days(self) -> int | None:
        """Days since the deciding sample was taken."""
        return None if self.reading is None else (self.on - self.reading.sampled).days

    @property
    def urgency(self) -> Urgency | None:
        """Urgency of the most urgent need, or None when there is nothing to do."""
        return self.needs[0].urgency if self.needs else None

    @property
    def headline(self) -> str:
        """What to do, or that there is nothing, in one sentence."""
        if self.phase is Phase.TO_COME and self.urgency not in (Urgency.TODAY, Urgency.THIS_WEEK):
            return f"The plan begins on {day(self.start)}."
        if self.phase is Phase.OVER:
            return f"The plan ended on {day(self.end)}."
        if self.needs:
            return self.needs[0].text
        found, unit = self.recommendation, self.units.rate_unit
        if self.decided_lb_ac is not None:
            return f"Decided today: {rates(self.decided_lb_ac, self.units)} {unit}."
        if not found.weeks:
            return "Nothing to do: no week of the plan is left to change."
        return f"Nothing to do: nitrogen stays at {rates(self.in_force_lb_ac, self.units)} {unit}."


def attention_key(standing: Standing) -> tuple[int, int, float]:
    """Sorts standings by what needs attention first: urgency, matter, then how far out of the band; stable."""
    if not standing.needs:
        return (len(Urgency), 0, -standing.distance)
    first = standing.needs[0]
    return (*need_order(first), -standing.distance)


def standing_of(season: BlockSeason, on: date, undone: date | None = None) -> Standing:
    """How a block stands on a day, from what was known by then.

    Args:
        season: the block.
        on: the day.
        undone: day of the last decision, when a result that it was made on was corrected or voided since.
    """
    found = DayNeeds(season, on, undone)
    past = found.ran_out()
    return Standing(
        block=season.block,
        on=on,
        units=season.units,
        phase=found.phase,
        start=season.plan.start,
        end=season.plan.end,
        reading=found.facts.primary,
        recommendation=found.found,
        stale=found.stale,
        distance=_distance(found.facts, found.found, season.policy) if found.runs else 0.0,
        in_force_lb_ac=found.in_force(),
        decided_lb_ac=found.decided_rates(),
        review=None if found.phase is Phase.OVER else found.review(),
        ran_out=None if past is None else past.review,
        next_sample=found.next_sample(),
        so_far_lb_ac=found.so_far,
        cap_lb_ac=season.plan.cap_lb_ac,
        left_lb_ac=room_lb_ac(found.facts),
        over_lb_ac=found.over,
        not_logged=found.not_logged(),
        needs=found.needs(),
    )


def _distance(facts: Facts, found: Recommendation, policy: Policy) -> float:
    """How far outside its band the deciding reading is known to lie [band widths]."""
    if facts.primary is None or found.comparison is None or found.comparison.side in (None, Side.WITHIN):
        return 0.0
    return distance(facts.primary, policy)
