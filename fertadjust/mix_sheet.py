"""What a worker carries to the tank: products, stock solution, minutes and checks of one injection."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fertadjust.compatibility import refused, tanks_of
from fertadjust.errors import UserError
from fertadjust.injection import TRAVEL_MINUTES, Injecting, Injector, Zone, concentration_ppm
from fertadjust.mixes import Mix
from fertadjust.plan import PlanWeek
from fertadjust.products import ProductAmount, amount_of, amounts
from fertadjust.stock import Tank, injections_in_a_fill, need_of, times_as_many
from fertadjust.units import MINUTES_PER_HOUR, UnitSystem


@dataclass(frozen=True, slots=True)
class Member:
    """A block, or the part of one, that is fed by a sheet.

    Attributes:
        block, name: its key and name.
        area_ac: area fed [ac on its basis].
        rate_lb_ac: nitrogen of the week [lb/ac].
    """

    block: str
    name: str
    area_ac: float
    rate_lb_ac: float


@dataclass(frozen=True, slots=True)
class Stock:
    """The solution of one tank for one injection.

    Attributes:
        tank: "A" or "B".
        parts: what goes into it.
        least_gal: least volume that keeps it dissolved [US gal], None when the water's temperature is not known.
        volume_gal: volume to make it up to [US gal], None likewise.
        unknown: products whose solubility is not known.
    """

    tank: str
    parts: tuple[ProductAmount, ...]
    least_gal: float | None
    volume_gal: float | None
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Run:
    """One zone's injection; None where it cannot be worked out.

    Attributes:
        zone: the zone.
        n_lb: nitrogen injected [lb].
        stock_gal: stock solution from each tank [US gal].
        minutes: how long it is injected.
        water_gal: water that passes in that time [US gal].
        ppm: nitrogen in the line [mg/L], before what is in the water itself.
        pressure, travel, flush: the other times of the set [min].
        set_minutes: least length of the irrigation set [min].
    """

    zone: Zone
    n_lb: float
    stock_gal: float | None
    minutes: float | None
    water_gal: float | None
    ppm: float | None
    pressure: float
    travel: float
    flush: float
    set_minutes: float | None

    @property
    def n_lb_minute(self) -> float | None:
        """Nitrogen injected in a minute [lb]."""
        return None if not self.minutes else self.n_lb / self.minutes


@dataclass(frozen=True, slots=True)
class Feed:
    """Tanks that are injected together.

    Attributes:
        count: how many of the week's injections are of this feed.
        stocks: the tanks.
        runs: the zones, one after another.
        in_a_fill: injections that one fill of the tank holds at most, None when its size is not known, or how much
            of a product dissolves.
    """

    count: int
    stocks: tuple[Stock, ...]
    runs: tuple[Run, ...]
    in_a_fill: int | None

    @property
    def fills(self) -> int | None:
        """Fills of the tank in a week at the least."""
        return None if self.in_a_fill is None else math.ceil(self.count / self.in_a_fill)


@dataclass(frozen=True, slots=True)
class MixSheet:
    """One week's injections of a block or a zone.

    Attributes:
        week: the week.
        members: what is fed.
        n_lb: nitrogen of the week for all members [lb].
        injections: injections in the week.
        feeds: what is injected; two where one tank has to serve products that must not meet.
        notes: what the worker or the grower should know, in words.
    """

    week: PlanWeek
    members: tuple[Member, ...]
    n_lb: float
    injections: int
    feeds: tuple[Feed, ...]
    notes: tuple[str, ...]


def mix_sheet(
    week: PlanWeek,
    members: Sequence[Member],
    mix: Mix,
    zones: Sequence[Zone],
    shares: Sequence[float],
    injections: int,
    injecting: Injecting,
    units: UnitSystem,
) -> MixSheet:
    """The sheet of one week.

    Args:
        week: the week.
        members: blocks or parts of blocks, all at one rate.
        mix: the week's products.
        zones: zones that are run one after another with the same stock solution.
        shares: part of the stock solution that each zone gets; they add up to 1.
        injections: injections in the week.
        injecting: tanks, injector and times.
        units: units for messages.

    Raises:
        UserError: products that must not meet with nowhere to keep them apart, a tank too small for one injection,
            an injection that does not fit the irrigation set, a temperature outside a solubility's table. Each
            says what would be feasible.
    """
    n_lb = sum(item.rate_lb_ac * item.area_ac for item in members)
    area = sum(item.area_ac for item in members)
    feeds = [
        _feed(parts, count, injections, zones, shares, injecting, units)
        for parts, count in feeds_of(mix, n_lb, area, injections, injecting.tanks)
    ]
    return MixSheet(week, tuple(members), n_lb, injections, tuple(feeds), tuple(_notes(feeds, injecting)))


def feeds_of(
    mix: Mix, n_lb: float, area_ac: float, injections: int, tanks: int
) -> list[tuple[dict[str, tuple[ProductAmount, ...]], int]]:
    """What is injected together, tank by tank, for one injection, and how many of the week's injections are of it.

    Args:
        mix: the week's products.
        n_lb: nitrogen of the week [lb].
        area_ac: area fed [ac].
        injections: injections in the week.
        tanks: tanks that inject at the same time; one feeds products that must not meet in turn.

    Raises:
        UserError: products that must not meet with nowhere to keep them apart.
    """
    inside = tanks_of(mix)
    if tanks == 1 and refused([item for item in mix if item.used]) is None:
        inside = {"A": tuple(item for item in mix if item.used)}
    fed = {part.product.name: part.weight_lb for part in amounts(n_lb, mix, area_ac)}
    groups: list[tuple[list[str], int]] = [(list(inside), injections)]
    if len(inside) > 1 and tanks == 1:
        if injections < 2:
            raise UserError(
                "the mix needs two tanks kept apart, and there is one tank and one injection a week. Feasible: "
                "two injections a week, which feed the two in turn on different days, or a second tank"
            )
        first = math.ceil(injections / 2)
        names = list(inside)
        groups = [(names[:1], first), (names[1:], injections - first)]
    return [
        (
            {name: tuple(amount_of(item, fed[item.name] / count) for item in inside[name]) for name in group},
            count,
        )
        for group, count in groups
    ]


def _feed(
    parts: dict[str, tuple[ProductAmount, ...]],
    count: int,
    injections: int,
    zones: Sequence[Zone],
    shares: Sequence[float],
    injecting: Injecting,
    units: UnitSystem,
) -> Feed:
    tank = injecting.tank
    needs = {name: need_of(items, tank) for name, items in parts.items()} if tank is not None else {}
    least = max((need.least_gal for need in needs.values()), default=0.0)
    in_a_fill = None if tank is None else injections_in_a_fill(least, tank, units, count, injections)
    if any(need.unknown for need in needs.values()):
        in_a_fill = None

    volume = None
    if tank is not None and (least > 0 or injecting.injector is not None):
        volume = _volume(
            least, tank, zones, shares, injecting, units, lambda ratio: times_as_many(ratio, count, injections)
        )
    stocks = tuple(
        Stock(
            name,
            items,
            needs[name].least_gal if name in needs else None,
            volume,
            needs[name].unknown if name in needs else (),
        )
        for name, items in parts.items()
    )
    n_lb = sum(part.nutrients_lb.get("n", 0.0) for items in parts.values() for part in items)
    runs = tuple(
        _run(zone, n_lb * share, None if volume is None else volume * share, injecting)
        for zone, share in zip(zones, shares, strict=True)
    )
    return Feed(count, stocks, runs, in_a_fill)


def _volume(
    least: float,
    tank: Tank,
    zones: Sequence[Zone],
    shares: Sequence[float],
    injecting: Injecting,
    units: UnitSystem,
    times: Callable[[float], int],
) -> float:
    """Volume of each tank: what lasts the wanted minutes in every zone, within tank and irrigation set."""
    most = math.inf if tank.volume_gal is None else tank.volume_gal
    wanted = least
    for zone, share in zip(zones, shares, strict=True):
        lasts = _stock_for(injecting.timing.inject_in(zone), zone, injecting.injector)
        room = injecting.timing.room_in(zone)
        if lasts is not None:
            wanted = max(wanted, lasts / share)
        fits = None if room is None else _stock_for(max(0.0, room), zone, injecting.injector)
        if fits is not None and room is not None:
            if least * share > fits * (1 + 1e-9):
                raise UserError(_does_not_fit(least * share, room, zone, injecting, units, times))
            most = min(most, fits / share)
    return min(_readable(wanted, units), most)


def _stock_for(minutes: float, zone: Zone, injector: Injector | None) -> float | None:
    return None if injector is None else injector.stock_gal(minutes, zone.flow_gal_h)


def _does_not_fit(
    stock_gal: float,
    room: float,
    zone: Zone,
    injecting: Injecting,
    units: UnitSystem,
    times: Callable[[float], int],
) -> str:
    assert injecting.injector is not None
    minutes = injecting.injector.minutes(stock_gal, zone.flow_gal_h)
    assert minutes is not None
    others = injecting.timing.pressure_in(zone) + injecting.timing.flush_in(zone)
    longer = math.ceil(minutes + others - 1e-6)
    more = "" if room <= 0 else f"{times(minutes / room)} times as many injections a week, "
    return (
        f"zone {zone.name}: {units.volume_out(stock_gal):.1f} {units.volume_unit} of stock solution take "
        f"{minutes:.0f} min to inject, the irrigation set of {zone.set_minutes:g} min leaves {max(0.0, room):.0f} "
        f"beside {others:g} min to fill and flush the line. Feasible: {more}a set of {longer} min, "
        "a faster injector, or warmer water"
    )


def _readable(gal: float, units: UnitSystem) -> float:
    """A volume rounded up to two significant digits in the reader's unit, so that it can be read off a tank."""
    value = units.volume_out(gal)
    if value <= 0:
        return gal
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return max(gal, units.volume_in(math.ceil(value / step - 1e-9) * step))


def _run(zone: Zone, n_lb: float, stock_gal: float | None, injecting: Injecting) -> Run:
    timing, flow = injecting.timing, zone.flow_gal_h
    minutes = None
    if injecting.injector is not None and stock_gal is not None:
        minutes = injecting.injector.minutes(stock_gal, flow)
    water = None if minutes is None or flow is None else flow * minutes / MINUTES_PER_HOUR
    pressure, travel, flush = timing.pressure_in(zone), timing.travel_in(zone), timing.flush_in(zone)
    return Run(
        zone=zone,
        n_lb=n_lb,
        stock_gal=stock_gal,
        minutes=minutes,
        water_gal=water,
        ppm=None if not water or n_lb == 0 else concentration_ppm(n_lb, water),
        pressure=pressure,
        travel=travel,
        flush=flush,
        set_minutes=None if minutes is None else pressure + minutes + flush,
    )


def _notes(feeds: Sequence[Feed], injecting: Injecting) -> list[str]:
    """What could not be worked out or deserves a look."""
    notes = []
    guessed = [run.zone.name for feed in feeds for run in feed.runs if not injecting.timing.measured_in(run.zone)]
    if guessed and injecting.injector is not None:
        notes.append(
            f"The travel time to the farthest emitter is not set; {TRAVEL_MINUTES:g} min are taken. Measure it: "
            "it is usually 20 to 30 min in microirrigation (CITRUS-2014)."
        )
    if injecting.tank is None:
        notes.append("The water's temperature is not set under [injection], so no volume can be given.")
    elif injecting.injector is None:
        notes.append("No pump_rate or ratio is set under [injection], so no minutes can be given.")
    if len(feeds) > 1:
        notes.append("One tank for products that must not meet: feed them on different days, and rinse between.")
    for feed in feeds:
        unknown = sorted({name for stock in feed.stocks for name in stock.unknown})
        if unknown:
            notes.append(
                f"How much of {', '.join(unknown)} dissolves is not known, so no water is counted for it: name "
                "its material, or give solubility from the label."
            )
        notes += [text for run in feed.runs if (text := _run_note(run, injecting))]
    return list(dict.fromkeys(notes))


def _run_note(run: Run, injecting: Injecting) -> str:
    if run.minutes is None:
        if injecting.tank is not None and injecting.injector is not None:
            return f"Zone {run.zone.name}: a proportional injector needs the zone's flow for its minutes."
        return ""
    if run.minutes < run.pressure - 1e-9:
        return (
            f"Zone {run.zone.name}: {run.minutes:.0f} min of injection are shorter than the {run.pressure:g} min "
            "in which the line fills, so near and far emitters get unlike amounts: a weaker stock runs longer."
        )
    return ""
