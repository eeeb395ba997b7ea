"""A farm's feeding as decided: sheets for the tank, what has to be bought, what lies ahead. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from fertadjust.errors import Fault, UserError
from fertadjust.injection import Injecting, Zone
from fertadjust.mix_sheet import Member, MixSheet, feeds_of, mix_sheet
from fertadjust.plan import PlanWeek
from fertadjust.products import Product, ProductAmount, amounts
from fertadjust.purchase import PurchaseLine, purchase_list
from fertadjust.season import BlockSeason
from fertadjust.units import DAYS_PER_WEEK, UnitSystem

SAME_LB_AC = 1e-6
"""Rates closer than this count as one rate [lb/ac in a week]."""


@dataclass(frozen=True)
class Farm:
    """The blocks of a season with what is recorded about them, and how they are injected.

    Attributes:
        blocks: block key -> its season, as known on a day.
        injecting: tanks, injector, zones.
        units: units for messages.
    """

    blocks: Mapping[str, BlockSeason]
    injecting: Injecting
    units: UnitSystem

    def week(self, on: date, number: int | None = None) -> PlanWeek:
        """A week of the plan: the one named, else the running one, else the next.

        Raises:
            UserError: there is no such week, it is over, or the plan is.
        """
        plan = next(iter(self.blocks.values())).plan
        left = [week for week in plan.weeks if week.end >= on]
        if not left:
            raise UserError(f"the plan ended on {plan.end}; no week is left to feed")
        if number is None:
            return left[0]
        for week in left:
            if week.number == number:
                return week
        raise UserError(
            Fault(
                f"week {number} is over or not in the plan; weeks {left[0].number} to {left[-1].number} are left"
            )
        )

    def rate_lb_ac(self, block: str, week: PlanWeek, on: date) -> float:
        """Rate of a week as decided so far, as far as the season cap lets it [lb/ac]."""
        season = self.blocks[block]
        for row in season.weeks_from(on):
            if row.week.number == week.number:
                return row.rate_lb_ac
        rate, cap = season.path(on).rate_lb_ac(week), season.plan.cap_lb_ac
        if cap is None:
            return rate
        ledger = season.ledger(on)
        spent = sum(ledger.spent_lb_ac(on)) - ledger.week(week, on).applied_lb_ac
        return min(rate, max(0.0, cap - season.plan.credits_lb_ac - spent))

    def _member(self, block: str, week: PlanWeek, on: date, part: float = 1.0) -> Member:
        season = self.blocks[block]
        return Member(block, season.block.name, season.block.area_ac() * part, self.rate_lb_ac(block, week, on))

    def block_sheet(self, block: str, on: date, number: int | None = None) -> MixSheet:
        """The sheet of a block: one stock solution, its zones run one after another.

        Raises:
            UserError: the block shares a zone with others, or as `fertadjust.mix_sheet.mix_sheet`.
        """
        zones = self._own_zones(block)
        week = self.week(on, number)
        shares = [zone.parts[block] for zone in zones]
        return self._sheet(on, week, [self._member(block, week, on)], zones, shares)

    def _own_zones(self, block: str) -> list[Zone]:
        """The zones of a block, none of which waters another one too."""
        zones = self.injecting.zones_of(block)
        for zone in zones:
            others = [self.blocks[key].block.name for key in zone.parts if key != block]
            if others:
                raise UserError(
                    f"block {block} is irrigated together with {', '.join(others)} in zone {zone.key}, so its "
                    f"injection feeds them too: ask for the sheet of the zone with mix-sheet --zone {zone.key}"
                )
        return zones

    def zone_sheet(self, key: str, on: date, number: int | None = None) -> MixSheet:
        """The sheet of a zone: every block in it in one run.

        Raises:
            UserError: there is no such zone, its blocks are to get different rates or products, or as
                `fertadjust.mix_sheet.mix_sheet`.
        """
        zone = self._zone(key)
        week = self.week(on, number)
        members = [self._member(block, week, on, part) for block, part in zone.parts.items()]
        self._check_alike(zone, members, week)
        return self._sheet(on, week, members, [zone], [1.0])

    def _zone(self, key: str) -> Zone:
        for zone in self.injecting.zones.values():
            if key.strip().lower() in (zone.key, zone.name.lower()):
                return zone
        known = ", ".join(self.injecting.zones) or "none; set them up under [zones]"
        raise UserError(Fault(f'there is no zone "{key}"; there are: {known}', key="zone"))

    def _check_alike(self, zone: Zone, members: list[Member], week: PlanWeek) -> None:
        units = self.units
        rates = [member.rate_lb_ac for member in members]
        if max(rates) - min(rates) > SAME_LB_AC:
            area = sum(member.area_ac for member in members)
            mean = sum(member.rate_lb_ac * member.area_ac for member in members) / area
            told = ", ".join(f"{item.name} {units.rate_out(item.rate_lb_ac):.2f}" for item in members)
            raise UserError(
                f"zone {zone.name} feeds its blocks alike, and in week {week.number} they are to get {told} "
                f"{units.rate_unit}. Feasible: one rate for all, decided on each block (their mean by area is "
                f"{units.rate_out(mean):.2f}), or valves of their own"
            )
        mixes = {member.block: self.blocks[member.block].mixes.in_week(week.number) for member in members}
        if any(mix != mixes[members[0].block] for mix in mixes.values()):
            told = "; ".join(f"{key}: {', '.join(item.name for item in mix)}" for key, mix in mixes.items())
            raise UserError(
                f"zone {zone.name} feeds its blocks alike, and in week {week.number} their mixes differ ({told}): "
                "their stage dates should agree, or they need valves of their own"
            )

    def _sheet(
        self, on: date, week: PlanWeek, members: list[Member], zones: list[Zone], shares: list[float]
    ) -> MixSheet:
        season = self.blocks[members[0].block]
        if all(member.rate_lb_ac == 0 for member in members):
            raise UserError(f"week {week.number} feeds nothing: its rate is 0, by the plan or for the season cap")
        mix, times = season.mixes.in_week(week.number), season.plan.injections_per_week
        sheet = mix_sheet(week, members, mix, zones, shares, times, self.injecting, self.units)
        return replace(sheet, notes=(*self._logged_notes(week, members, on), *sheet.notes))

    def _logged_notes(self, week: PlanWeek, members: list[Member], on: date) -> Iterator[str]:
        """What went out in the running week already."""
        for member in members:
            done = self.blocks[member.block].ledger(on).week(week, on).applied_lb_ac
            if done > 0:
                out, unit = self.units.rate_out, self.units.total_unit
                left = max(0.0, member.rate_lb_ac - done)
                yield (
                    f"{member.name}: {out(done):.2f} of {out(member.rate_lb_ac):.2f} {unit} is logged for this "
                    f"week already; {out(left):.2f} is left to inject."
                )

    def doses(
        self, block: str, stock_n_lb: float, stock_gal: float, n_lb_ac: float | None, on: date
    ) -> list[Dose]:
        """Minutes of injection from a tank that is mixed already, zone by zone.

        Args:
            block: block key.
            stock_n_lb: nitrogen in the full tank [lb].
            stock_gal: volume of the full tank [US gal].
            n_lb_ac: nitrogen wanted [lb/ac]; None for one injection at the rate decided for the week.
            on: day as of which it is asked.

        Raises:
            UserError: no injector is set, a proportional one without the zone's flow, an empty tank, or less than
                no nitrogen wanted.
        """
        injector = self.injecting.injector
        if injector is None:
            raise UserError("set pump_rate or ratio under [injection] first")
        if not all(0 < amount < math.inf for amount in (stock_n_lb, stock_gal)):
            raise UserError("the tank should hold some nitrogen in some volume")
        if n_lb_ac is not None and not 0 <= n_lb_ac < math.inf:
            raise UserError("the nitrogen wanted should be 0 or more")
        season = self.blocks[block]
        if n_lb_ac is None:
            n_lb_ac = self._injection_lb_ac(block, on)
        n_lb = n_lb_ac * season.block.area_ac()
        if n_lb > stock_n_lb:
            units = self.units
            raise UserError(
                f"{units.weight_out(n_lb):.2f} {units.weight_unit} N is wanted and the full tank holds "
                f"{units.weight_out(stock_n_lb):.2f}: that takes {math.ceil(n_lb / stock_n_lb - 1e-9)} tanks; ask "
                "for what one of them brings"
            )
        doses = []
        for zone in self._own_zones(block):
            lasts = injector.minutes(stock_gal, zone.flow_gal_h)
            if lasts is None:
                raise UserError(f"zone {zone.key} needs its flow for the minutes of a proportional injector")
            part = n_lb * zone.parts[block]
            doses.append(Dose(zone, part, lasts * part / stock_n_lb))
        return doses

    def _injection_lb_ac(self, block: str, on: date) -> float:
        """Nitrogen of one injection at the decided rate [lb/ac], of the feed that has it where two take turns."""
        season, week = self.blocks[block], self.week(on)
        rate, area = self.rate_lb_ac(block, week, on), season.block.area_ac()
        mix, times = season.mixes.in_week(week.number), season.plan.injections_per_week
        carried = []
        for parts, _ in feeds_of(mix, rate * area, area, times, self.injecting.tanks):
            n_lb = sum(part.nutrients_lb.get("n", 0.0) for items in parts.values() for part in items)
            if n_lb > 0:
                carried.append(n_lb / area)
        if len(carried) > 1:
            told = " and ".join(f"{self.units.rate_out(n):.2f}" for n in carried)
            raise UserError(
                f"two feeds take turns, with {told} {self.units.total_unit}: say with --n which one is meant"
            )
        return carried[0] if carried else 0.0

    def nitrogen_lb(self, block: str, on: date, whole_season: bool) -> float:
        """Nitrogen decided for a block's running or next week, or for all weeks from that one on [lb]."""
        season, first = self.blocks[block], self.week(on)
        weeks = [week for week in season.plan.weeks if week.number >= first.number] if whole_season else [first]
        return sum(self.rate_lb_ac(block, week, on) for week in weeks) * season.block.area_ac()

    def needs(self, on: date) -> list[ProductAmount]:
        """Products that the rest of the season takes on every block, at the rates decided so far."""
        return [part for block in self.blocks for part in self._block_needs(block, on)]

    def _block_needs(self, block: str, on: date) -> Iterator[ProductAmount]:
        season = self.blocks[block]
        area = season.block.area_ac()
        running = season.plan.week_on(on)
        if running is not None:
            whole = self.rate_lb_ac(block, running, on)
            rest = max(0.0, whole - season.ledger(on).week(running, on).applied_lb_ac)
            part = rest / whole if whole > 0 else 0.0
            yield from amounts(rest * area, season.mixes.in_week(running.number), area * part)
        for row in season.weeks_from(on):
            if row.week != running:
                yield from row.products

    def purchases(self, on: date) -> tuple[PurchaseLine, ...]:
        """What has to be bought for the rest of the season on every block."""
        own: dict[str, Product] = {item.name: item for item in next(iter(self.blocks.values())).products}
        return purchase_list([(own[part.product.name], part.weight_lb) for part in self.needs(on)])

    def injections(self, block: str, on: date) -> Iterator[Injection]:
        """The coming injections of a block, day by day; days of the running week that were logged are left out."""
        season = self.blocks[block]
        area = season.block.area_ac()
        logged = {item.on for item in season.applications if item.on <= on}
        for week in season.plan.weeks:
            if week.end < on:
                continue
            rate = self.rate_lb_ac(block, week, on)
            times = season.plan.injections_per_week
            mix = season.mixes.in_week(week.number)
            feeds = feeds_of(mix, rate * area, area, times, self.injecting.tanks)
            for index, day in enumerate(self._days(week, times)):
                parts, _ = feeds[index % len(feeds)]
                if day >= on and day not in logged and rate > 0:
                    whole = tuple(part for items in parts.values() for part in items)
                    yield Injection(block, day, week.number, index + 1, times, whole)

    def _days(self, week: PlanWeek, times: int) -> list[date]:
        """Days of a week's injections: those of the season file, else spread evenly from its first day."""
        days = [week.start + timedelta(days=offset) for offset in range(DAYS_PER_WEEK)]
        if self.injecting.weekdays:
            return [day for day in days if day.weekday() in self.injecting.weekdays]
        return [days[index * DAYS_PER_WEEK // times] for index in range(times)]


@dataclass(frozen=True, slots=True)
class Dose:
    """Minutes that bring a zone its nitrogen [lb] from a tank that is mixed already."""

    zone: Zone
    n_lb: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Injection:
    """One coming injection of a block.

    Attributes:
        block, on, week: block key, day, number of the week.
        number, of: which of the week's injections.
        parts: products of this injection.
    """

    block: str
    on: date
    week: int
    number: int
    of: int
    parts: tuple[ProductAmount, ...]

    @property
    def n_lb(self) -> float:
        return sum(part.nutrients_lb.get("n", 0.0) for part in self.parts)
