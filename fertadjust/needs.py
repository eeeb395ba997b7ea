"""What a block needs its grower to do on a day, and by when. Pure.

Nothing is decided here: rates, dates and to-do items are those of the rules, put in a grower's words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

from fertadjust.dates import day, short_day
from fertadjust.errors import OutOfSeason
from fertadjust.plan import Change
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, NotUsed, Recommendation
from fertadjust.season import BlockSeason
from fertadjust.tissue import MAIN_ANALYTE
from fertadjust.words import rate, rates

SOON_DAYS = 3
"""A review or a sample is told this many days ahead."""

RECENT_DAYS = 14
"""A result that plays no part is told this long, and in any case until the next decision."""

_TINY = 1e-6
_LOG = "Log what was applied:"
_SAMPLE_OVERDUE = "A sample is overdue:"
_SAMPLE_NOW = (_SAMPLE_OVERDUE, "Take a petiole sample:", "Sample again now:")
_SAMPLE_SOONER = "Sample again sooner:"
_CAP_BINDS = "The season cap binds:"
_CAP_LASTS = "The season cap lasts through"
"""A remark on the cap that stays for weeks; the cap ahead is told by `Matter.CAP_AHEAD`."""


class Urgency(StrEnum):
    """By when something is to be done, most urgent first."""

    TODAY = "today"
    THIS_WEEK = "this week"
    WHEN_YOU_CAN = "when you can"


class Matter(StrEnum):
    """What a need is about; within one urgency they come in this order."""

    CAP_PASSED = "season cap passed"
    DECIDE = "decision to make"
    RAN_OUT = "change run out"
    SAMPLE = "sample to take now"
    REVIEW_SOON = "review soon"
    SAMPLE_SOON = "sample soon"
    WRITE_DOWN = "hold to write down"
    CAP_AHEAD = "season cap ahead"
    TO_DO = "to do"
    NOT_LOGGED = "weeks not logged"
    NO_BAND = "no band for a sample"
    NOT_USED = "result not used"


class Phase(StrEnum):
    """Where a day lies against the plan."""

    TO_COME = "to come"
    RUNNING = "running"
    OVER = "over"


class Need(NamedTuple):
    """One thing to do.

    Attributes:
        urgency: by when.
        text: a sentence.
        matter: what it is about.
    """

    urgency: Urgency
    text: str
    matter: Matter


def _phase(season: BlockSeason, on: date) -> Phase:
    if on < season.plan.start:
        return Phase.TO_COME
    return Phase.OVER if on > season.plan.end else Phase.RUNNING


def need_order(need: Need) -> tuple[int, int]:
    """Sorts needs by urgency, then by what they are about."""
    return list(Urgency).index(need.urgency), list(Matter).index(need.matter)


class DayOfBlock:
    """One block looked at on one day, from what was known by then.

    Args:
        season: the block.
        on: the day.

    Attributes:
        facts, found: what the rules are given on that day, and what they recommend.
        phase: whether the plan is to come, runs or is over.
        stale: whether the deciding reading is too old to decide anything.
        so_far: nitrogen with credits, weeks without a log and the rest of the running week [lb/ac].
        over: by how much what is out already passes the season cap [lb/ac]; 0 when it does not.
    """

    def __init__(self, season: BlockSeason, on: date) -> None:
        self.season, self.on = season, on
        self.plan, self.policy, self.units = season.plan, season.policy, season.units
        self.facts: Facts = season.facts(on)
        self.found: Recommendation = evaluate(self.facts, self.policy)
        self.ledger = season.ledger(on)
        self.phase = _phase(season, on)
        self.runs = self.phase is Phase.RUNNING
        self.decided = season.decided_on(on)
        self.stale = self.found.fired("stale")
        facts, cap = self.facts, season.plan.cap_lb_ac
        logged, assumed = self.ledger.spent_lb_ac(on)
        self.so_far = facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac + facts.rest_of_week_lb_ac
        self.over = 0.0 if cap is None else max(0.0, facts.credits_lb_ac + logged + assumed - cap)

    def decided_rates(self) -> tuple[float, ...] | None:
        """Rates of the recommendation's weeks [lb/ac] as they run after this day's decision; None without one."""
        if not self.decided:
            return None
        path = self.season.path(self.on)
        return tuple(path.rate_lb_ac(week) for week in self.found.weeks)

    def _last_decision(self) -> date | None:
        """Day of the last decision made up to the day looked at, one to leave the rate among them."""
        days = [*(change.decided for change in self.season.changes), *self.season.left]
        return max((item for item in days if item <= self.on), default=None)

    def ran_out(self) -> Change | None:
        """The last change, when its review date has passed and nothing was decided on that date or later.

        Also where a result of its time came in: its weeks are at the plan's own rate all the same until somebody
        decides.
        """
        path, decided = self.season.path_before(self.on), self._last_decision()
        review = path.overdue(self.on)
        if review is None or decided is None or decided >= review or not self.found.weeks:
            return None
        return path.latest(self.on)

    def next_sample(self) -> date | None:
        """Day of the next sample, or None when no sample can change anything any more."""
        return self.found.next_sample if self._pays(self.found.next_sample) else None

    def _pays(self, sampled: date) -> bool:
        """Whether the result of a sample taken on a day can still change a week of the plan."""
        result = sampled + timedelta(days=int(self.policy.laboratory_days.value))
        return any(week.start >= result for week in self.facts.coming)

    def not_logged(self) -> tuple[int, ...]:
        """Numbers of the past weeks in which something was to go out and nothing is logged."""
        path = self.season.path(self.on)
        past = (week for week in self.plan.weeks if week.end < self.on and path.rate_lb_ac(week) > _TINY)
        return tuple(week.number for week in past if not self.ledger.week(week, self.on).logged)

    def _no_band(self, sampled: date) -> str:
        """Why a nitrogen sample of a day would have no band, or ""."""
        reasons = []
        for table in self.season.tables:
            try:
                table.band_on(MAIN_ANALYTE[table.tissue], sampled, self.season.stages)
            except OutOfSeason as reason:
                reasons.append(str(reason))
            else:
                return ""
        return reasons[0] if reasons else "no band table is in use"

    def needs(self) -> tuple[Need, ...]:
        """What is to be done, most urgent first."""
        return tuple(sorted(self._needs(), key=need_order))

    def _needs(self) -> Iterator[Need]:
        yield from self._cap_passed()
        if self.runs:
            yield from self._decision()
            sampling = list(self._sampling())
            yield from sampling
            yield from self._review()
            yield from self._write_down()
            ahead = list(self._cap_ahead())
            yield from ahead
            asked = bool(sampling) or not self._pays(self.on)
            yield from self._to_do(asked, capped=bool(ahead) or self.over > _TINY)
        yield from self._log()
        yield from self._not_used()

    def _cap_passed(self) -> Iterator[Need]:
        if self.over <= _TINY or self.plan.cap_lb_ac is None:
            return
        cap, over, unit = rate(self.plan.cap_lb_ac, self.units), rate(self.over, self.units), self.units.total_unit
        text = (
            f"The season cap of {cap} {unit} is passed by {over} {unit}: nutrient law or the plan's own cap is "
            "exceeded."
        )
        if self.facts.assumed_lb_ac > 0:
            text += " Weeks without a log count at their rate."
        if self.runs:
            yield Need(Urgency.TODAY, f"{text} Stop feeding nitrogen and ask your advisor.", Matter.CAP_PASSED)
        else:
            yield Need(Urgency.WHEN_YOU_CAN, f"{text} Tell your advisor.", Matter.CAP_PASSED)

    def _decision(self) -> Iterator[Need]:
        found = self.found
        if self.decided:
            return
        if found.action is not Action.HOLD:
            now, new = rates(found.standing_rates_lb_ac, self.units), rates(found.rates_lb_ac, self.units)
            text = f"Decide: {found.action.value} nitrogen from {now} to {new} {self.units.rate_unit}"
            if found.runs_out:
                text += ", as far as the season cap lasts"
            yield Need(Urgency.TODAY, f"{text}{self._left_words()}.", Matter.DECIDE)
        past = self.ran_out()
        if past is not None:
            text = (
                f"The change of {short_day(past.decided)} ran out on {short_day(past.review)} with no new "
                "decision: the plan's own rate applies again until you decide."
            )
            yield Need(Urgency.TODAY, text, Matter.RAN_OUT)

    def _left_words(self) -> str:
        """That the same result was looked at and left, as far as that is so."""
        reading, decided = self.facts.primary, self._last_decision()
        if reading is None or decided is None or decided not in self.season.left or decided < reading.known:
            return ""
        return f" (the advice was left on {short_day(decided)})"

    def _sampling(self) -> Iterator[Need]:
        sample, why = self.next_sample(), self._why_now()
        if not self._pays(self.on):
            return
        if why and (reason := self._no_band(self.on)):
            yield Need(Urgency.WHEN_YOU_CAN, f"A sample taken today would have no band: {reason}.", Matter.NO_BAND)
        elif why:
            yield Need(Urgency.TODAY, why, Matter.SAMPLE)
        elif sample is not None and sample <= self.on + timedelta(days=SOON_DAYS) and not self._no_band(sample):
            yield Need(Urgency.THIS_WEEK, f"Take the next sample on {day(sample)}.", Matter.SAMPLE_SOON)

    def _why_now(self) -> str:
        """That a sample is to be taken today and why, or ""."""
        reading = self.facts.primary
        if reading is None:
            return "Sample now: there is no usable result to decide on."
        age = (self.on - reading.sampled).days
        if self.stale:
            return f"Sample now: the latest result is {age} days old, too old to decide on."
        if any(text.startswith(_SAMPLE_OVERDUE) for text in self.found.to_do):
            return f"Sample now: a sample is overdue, the last one is {age} days old."
        if self.found.next_sample <= self.on:
            return f"Sample today: the next sample is due, the last one is {age} days old."
        return ""

    def _review(self) -> Iterator[Need]:
        latest = self.season.path(self.on).latest(self.on)
        if latest is None or not self.found.weeks:
            return
        if self.on <= latest.review <= self.on + timedelta(days=SOON_DAYS):
            runs_out = "" if latest.factor == 1.0 else f": the change of {short_day(latest.decided)} runs out then"
            yield Need(
                Urgency.THIS_WEEK, f"Review the rate on {day(latest.review)}{runs_out}.", Matter.REVIEW_SOON
            )

    def _write_down(self) -> Iterator[Need]:
        found, decided = self.found, self._last_decision()
        if self.decided or self.stale or found.action is not Action.HOLD or not found.weeks:
            return
        known = [item.known for item in (self.facts.primary, self.facts.leaf) if item is not None]
        new = [item for item in known if decided is None or item > decided]
        if new and self.ran_out() is None:
            held = f"{rates(found.rates_lb_ac, self.units)} {self.units.rate_unit}"
            text = f"The advice on the result that came in on {short_day(max(new))} is to hold nitrogen at {held}"
            yield Need(Urgency.THIS_WEEK, f"{text}: write the decision down.", Matter.WRITE_DOWN)

    def _cap_ahead(self) -> Iterator[Need]:
        if self.plan.cap_lb_ac is None or self.over > _TINY:
            return
        left, path = self.plan.cap_lb_ac - self.so_far, self.season.path(self.on)
        when = "in the running week" if left < -_TINY else ""
        for week in self.facts.coming:
            left -= path.rate_lb_ac(week)
            if left < -_TINY and not when:
                when = f"in week {week.number} of the plan, from {short_day(week.start)}"
        if when:
            text = f"The season cap will be used up {when}, at the rates decided so far: talk to your advisor."
            yield Need(Urgency.THIS_WEEK, text, Matter.CAP_AHEAD)

    def _to_do(self, asked: bool, *, capped: bool) -> Iterator[Need]:
        """What the rules ask for besides, without what the other needs say already."""
        said: tuple[str, ...] = (_LOG,) if self.not_logged() else ()
        said += (*_SAMPLE_NOW, _CAP_LASTS)
        said += ((_SAMPLE_SOONER,) if asked else ()) + ((_CAP_BINDS,) if capped else ())
        for text in self.found.to_do:
            if self.found.weeks and not text.startswith(said):
                yield Need(Urgency.THIS_WEEK, text, Matter.TO_DO)

    def _log(self) -> Iterator[Need]:
        weeks = self.not_logged()
        if not weeks:
            return
        count = f"{len(weeks)} past week{'s' if len(weeks) > 1 else ''}"
        which = f"{count} ({'weeks' if len(weeks) > 1 else 'week'} {_runs(weeks)})"
        asked = next((text for text in self.found.to_do if self.runs and text.startswith(_LOG)), "")
        if asked:
            yield Need(Urgency.THIS_WEEK, f"{asked} Nothing is logged for {which}.", Matter.NOT_LOGGED)
        else:
            yield Need(Urgency.WHEN_YOU_CAN, f"Nothing is logged for {which}.", Matter.NOT_LOGGED)

    def _not_used(self) -> Iterator[Need]:
        decided = self._last_decision()
        known_on = {item.record: item.known_on for item in self.season.results}
        horizon = self.on - timedelta(days=RECENT_DAYS)

        def new(item: NotUsed) -> bool:
            known = known_on[item.record]
            return decided is None or known > decided or known >= horizon

        found = sorted(filter(new, self.facts.not_used), key=lambda item: (item.sampled, item.record))
        if found:
            last = found[-1]
            what = "A result plays" if len(found) == 1 else f"{len(found)} results play"
            which = "it is" if len(found) == 1 else "the latest is"
            text = f"{what} no part: {which} {last.text} of {short_day(last.sampled)} ({last.why})."
            yield Need(Urgency.WHEN_YOU_CAN, text, Matter.NOT_USED)


def _runs(numbers: Sequence[int]) -> str:
    """Numbers in order as people write them: "1 to 3, 5"."""
    pairs = enumerate(numbers)
    runs = [[number for _, number in run] for _, run in groupby(pairs, key=lambda pair: pair[1] - pair[0])]
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)
