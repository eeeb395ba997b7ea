"""What a block needs its grower to do on a day, and by when. Pure.

Nothing is decided here: rates, dates and to-do items are those of the rules, put in a grower's words.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from enum import StrEnum
from typing import NamedTuple

from fertadjust.block_day import DayOfBlock, Phase
from fertadjust.dates import day, short_day
from fertadjust.plan import Change
from fertadjust.rules.facts import Action, NotUsed
from fertadjust.words import numbered, rate, rates

SOON_DAYS = 3
"""A review or a sample is told this many days ahead."""

RECENT_DAYS = 14
"""A result that plays no part is told this long, and in any case until the next decision."""

_TINY = 1e-6
_LOG = "Log what was applied:"
_SAMPLE_OVERDUE = "A sample is overdue:"
_SAMPLE_NOW = (_SAMPLE_OVERDUE, "Take a petiole sample:", "Sample again now:")
_APPLY = "Apply what is planned"
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
    UNDONE = "decision on a corrected result"
    SAMPLE = "sample to take now"
    REVIEW_SOON = "review soon"
    SAMPLE_SOON = "sample soon"
    WRITE_DOWN = "hold to write down"
    CAP_AHEAD = "season cap ahead"
    TO_DO = "to do"
    NOT_LOGGED = "weeks not logged"
    NO_BAND = "no band for a sample"
    NOT_USED = "result not used"


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


def need_order(need: Need) -> tuple[int, int]:
    """Sorts needs by urgency, then by what they are about."""
    return list(Urgency).index(need.urgency), list(Matter).index(need.matter)


class DayNeeds(DayOfBlock):
    """What a block needs on a day; see `DayOfBlock` for the arguments."""

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
            asked = bool(sampling) or not self.pays(self.on)
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
        past = None if self.decided else self.ran_out()
        if self.moves():
            answered = self.answered()
            if self.found.action is Action.HOLD or self._lapses():
                yield from self._decide_or_lapse(past)
            else:
                urgency = Urgency.TODAY if answered is None else Urgency.WHEN_YOU_CAN
                yield Need(urgency, f"{self._to_decide()}{self._answered_words(answered)}.", Matter.DECIDE)
        if past is not None and not self.moves():
            text = (
                f"{_ran_out_words(past)} with no new decision: the plan's own rate applies again until you decide."
            )
            yield Need(Urgency.TODAY, text, Matter.RAN_OUT)
        if self.undone is not None and not self.decided:
            text = f"The decision of {short_day(self.undone)} rests on a result that was corrected or voided since"
            yield Need(Urgency.TODAY, f"{text}: look at the advice and decide again.", Matter.UNDONE)

    def _to_decide(self) -> str:
        found, unit = self.found, self.units.rate_unit
        now, new = rates(self.in_force(), self.units), rates(found.rates_lb_ac, self.units)
        text = f"Decide: {found.action.value} nitrogen from {now} to {new} {unit}"
        return f"{text}, as far as the season cap lasts" if found.runs_out else text

    def _lapses(self) -> bool:
        """Whether the advice differs from what runs without a decision only where a change runs out."""
        found, path = self.found, self.season.path_before(self.on)
        if self.facts.factor == 1.0:
            return False
        ends = [path.change_for(week) is None for week in found.weeks]
        moved = [abs(runs - new) > _TINY for runs, new in zip(self.in_force(), found.rates_lb_ac, strict=True)]
        return any(ends) and not any(moves and not over for moves, over in zip(moved, ends, strict=True))

    def _decide_or_lapse(self, past: Change | None) -> Iterator[Need]:
        """That a rate goes on only by a decision: due with the review, told when no week begins before it."""
        review, unit = self.review(), self.units.rate_unit
        due = past is not None or review is None or review <= self.on
        if not due and review is not None and self.facts.coming[0].start < review:
            return
        now, new = rates(self.in_force(), self.units), rates(self.found.rates_lb_ac, self.units)
        action = self.found.action
        what = f"{action.value} nitrogen {'at' if action is Action.HOLD else 'to'} {new} {unit}"
        text = f"the advice is to {what}; without a decision {now} runs."
        text = f"Decide: {text}" if past is None else f"{_ran_out_words(past)}: {text}"
        yield Need(Urgency.TODAY if due else Urgency.THIS_WEEK, text, Matter.DECIDE)

    def _answered_words(self, answered: date | None) -> str:
        if answered is None:
            return ""
        left = answered in self.season.left
        return f" ({'the advice was left' if left else 'you decided otherwise'} on {short_day(answered)})"

    def _sampling(self) -> Iterator[Need]:
        sample, why = self.next_sample(), self._why_now()
        if not self.pays(self.on):
            return
        if self.phase is Phase.TO_COME and self.facts.primary is None:
            if not self.no_band(self.on):
                text = f"Take a first sample before feeding begins on {day(self.plan.start)}."
                yield Need(Urgency.THIS_WEEK, text, Matter.SAMPLE_SOON)
        elif why and (reason := self.no_band(self.on)):
            yield Need(Urgency.WHEN_YOU_CAN, f"A sample taken today would have no band: {reason}.", Matter.NO_BAND)
        elif why:
            yield Need(Urgency.TODAY, why, Matter.SAMPLE)
        elif sample is not None and sample <= self.on + timedelta(days=SOON_DAYS) and not self.no_band(sample):
            yield Need(Urgency.THIS_WEEK, f"Take the next sample on {day(sample)}.", Matter.SAMPLE_SOON)

    def _why_now(self) -> str:
        """That a sample is to be taken today and why, or ""."""
        reading = self.facts.primary
        if reading is None:
            return "Sample now: there is no usable result to decide on."
        age = (self.on - reading.sampled).days
        sample = self.next_sample()
        if self.stale:
            waits = sample is not None and sample > self.on
            return "" if waits else f"Sample now: the latest result is {age} days old, too old to decide on."
        if any(text.startswith(_SAMPLE_OVERDUE) for text in self.found.to_do):
            return f"Sample now: a sample is overdue, the last one is {age} days old."
        if sample is not None and sample <= self.on:
            return f"Sample today: the next sample is due, the last one is {age} days old."
        return ""

    def _review(self) -> Iterator[Need]:
        review, latest = self.review(), self.season.path(self.on).latest(self.on)
        if review is None or latest is None or not self.found.weeks:
            return
        if self.on <= review <= self.on + timedelta(days=SOON_DAYS):
            ends = latest.factor != 1.0
            runs_out = f": the change of {short_day(latest.decided)} runs out then" if ends else ""
            urgency = Urgency.TODAY if ends and review == self.on and not self.decided else Urgency.THIS_WEEK
            yield Need(urgency, f"Review the rate on {day(review)}{runs_out}.", Matter.REVIEW_SOON)

    def _write_down(self) -> Iterator[Need]:
        found, decided = self.found, self.last_decision()
        if self.decided or self.stale or found.action is not Action.HOLD or not found.weeks or self.moves():
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
        said += (_APPLY,) if self._nothing_to_apply() else ()
        said += ((_SAMPLE_SOONER,) if asked else ()) + ((_CAP_BINDS,) if capped else ())
        for text in self.found.to_do:
            if self.found.weeks and not text.startswith(said):
                yield Need(Urgency.THIS_WEEK, text, Matter.TO_DO)

    def _nothing_to_apply(self) -> bool:
        """Whether the cap is passed or used up, or nothing is to go out in the coming weeks."""
        return self.over > _TINY or self.found.runs_out or all(rate <= _TINY for rate in self.in_force())

    def _log(self) -> Iterator[Need]:
        weeks = self.not_logged()
        if not weeks:
            return
        count = f"{len(weeks)} past week{'s' if len(weeks) > 1 else ''}"
        which = f"{count} ({numbered(weeks)})"
        asked = next((text for text in self.found.to_do if self.runs and text.startswith(_LOG)), "")
        if asked:
            yield Need(Urgency.THIS_WEEK, f"{asked} Nothing is logged for {which}.", Matter.NOT_LOGGED)
        else:
            yield Need(Urgency.WHEN_YOU_CAN, f"Nothing is logged for {which}.", Matter.NOT_LOGGED)

    def _not_used(self) -> Iterator[Need]:
        decided = self.last_decision()
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


def _ran_out_words(past: Change) -> str:
    return f"The change of {short_day(past.decided)} ran out on {short_day(past.review)}"
