"""The stage dates of a season file: in the crop's order, after planting, and what the tables need of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from fertadjust.bands import BandTable
from fertadjust.crop_stages import CropStages, order_words
from fertadjust.dates import day
from fertadjust.plan import Plan
from fertadjust.rules.policy import Policy
from fertadjust.season_model import SeasonIn, StagesIn
from fertadjust.shipped import crop_stages
from fertadjust.stages import StageDates, stage_words
from fertadjust.toml_file import Place
from fertadjust.units import DAYS_PER_WEEK


class StageReader:
    """Reads the stage dates of the blocks of one season file and gathers faults and notes."""

    def __init__(self, given: SeasonIn, policy: Policy, tables: Sequence[BandTable]) -> None:
        self.given = given
        self.policy = policy
        self.tables = tables
        self.order: CropStages | None = crop_stages().of(given.crop.name)
        self.faults: list[tuple[Place, str]] = []
        self.notes: list[str] = []

    def stages(self, key: str, end: date) -> StageDates:
        """The stage dates of a block whose plan ends on a day."""
        shared, own = self.given.stages, self.given.blocks[key].stages
        dates = shared.dates | (own.dates if own is not None else {})
        approximate = set(shared.approximate) - set(own.dates if own is not None else {})
        approximate |= set(own.approximate if own is not None else [])
        place = ("blocks", key, "stages") if own is not None else ("stages",)
        for part, where in self._parts(own, key):
            for name in part.approximate:
                if name not in dates:
                    self._fault(f"approximate names {name}, which has no date", *where, "approximate")
            self._check_names(part, where)
        for table in self.tables:
            self._check_table(table, dates, place)
        self._check_order(dates, key)
        ordered = dict(sorted(dates.items(), key=lambda item: item[1]))
        return StageDates(ordered, end, frozenset(approximate))

    def _check_names(self, part: StagesIn, where: tuple[str, ...]) -> None:
        planted = self.given.crop.planted
        for name, begins in part.dates.items():
            if planted is not None and begins < planted:
                self._fault(f"{stage_words(name)} on {begins} is before planting on {planted}", *where, name)
            if self.order is not None and name not in {*self.order.names, *self._used()}:
                self._note(
                    f"{stage_words(name)} is no stage of {self.given.crop.name} that a table or a rule knows; the "
                    f"stages are: {', '.join(self.order.names)}."
                )

    def _used(self) -> set[str]:
        """Stages that a table, a mix or the rules are placed by."""
        names = {name for table in self.tables for name in (*table.needs, table.ends_with or "")}
        return names | {mix.stage for mix in self.given.mixes if mix.stage} | {self.policy.late_anchor}

    def _check_table(self, table: BandTable, dates: dict[str, date], place: tuple[str, ...]) -> None:
        needed = table.needs
        known = [name for name in needed if name in dates]
        if needed and not known:
            which = (
                f"one of its stages has a date: {', '.join(needed)}" if needed[1:] else f"{needed[0]} has a date"
            )
            self._note(f"{table.id} has no band before {which}. Results are kept until then and not used.")
        ends = [table.ends_with] if table.ends_with in dates else []
        if table.ends_with is not None and table.ends_with not in dates:
            self._note(
                f"{table.id} has no band from {stage_words(table.ends_with)} on: date that stage when it comes."
            )
        days = [dates[name] for name in (*known, *filter(None, ends))]
        if days != sorted(set(days)):
            self._fault(f"{table.id} needs rising dates for {', '.join([*known, *filter(None, ends)])}", *place)

    def _check_order(self, dates: dict[str, date], key: str) -> None:
        if self.order is None:
            return
        for before, after in self.order.out_of_order(dates):
            self._note(
                f"Block {key}: {stage_words(after)} on {day(dates[after])} is before {stage_words(before)} on "
                f"{day(dates[before])}. The usual order in {self.order.crop} is {order_words(self.order)}. "
                "Check the dates."
            )

    def plan(self, plan: Plan, stages: StageDates, key: str) -> Plan:
        """A block's plan: nothing is fed in weeks that reach beyond the last week of feeding of the rules."""
        stop, anchor = self.policy.stop_after_week, stages.dates.get(self.policy.late_anchor)
        if stop is None or anchor is None:
            return plan
        over = anchor + timedelta(days=DAYS_PER_WEEK * int(stop.value))
        rates = tuple(0.0 if week.end >= over else week.rate_lb_ac for week in plan.weeks)
        if rates == plan.rates_lb_ac:
            return plan
        stopped = [week for week in plan.weeks if week.end >= over and week.rate_lb_ac > 0]
        self._note(
            f"Block {key}: nothing is fed from week {stopped[0].number} of the plan on, which reaches beyond "
            f"{day(over - timedelta(days=1))}: {stop.meaning} ({stop.source}). Set [policy] stop_after_week "
            "otherwise, with a reason, if you feed longer."
        )
        return replace(plan, rates_lb_ac=rates)

    def _note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def _parts(self, own: StagesIn | None, key: str) -> Iterator[tuple[StagesIn, tuple[str, ...]]]:
        yield self.given.stages, ("stages",)
        if own is not None:
            yield own, ("blocks", key, "stages")

    def _fault(self, message: str, *place: str | int) -> None:
        self.faults.append((place, message))
