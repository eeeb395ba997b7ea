"""Injection through the drip line: minutes, strength of the line, and whether it fits the irrigation set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fertadjust.stock import Tank
from fertadjust.units import L_PER_GAL, MG_PER_LB, MINUTES_PER_HOUR


@dataclass(frozen=True, slots=True)
class Pump:
    """A metering pump.

    Attributes:
        gal_h: stock solution that it draws from each tank [US gal/h].
    """

    gal_h: float

    def minutes(self, stock_gal: float, flow_gal_h: float | None) -> float | None:
        """Minutes that a volume from each tank lasts [US gal]; the flow of the line does not matter."""
        del flow_gal_h
        return stock_gal / self.gal_h * MINUTES_PER_HOUR

    def stock_gal(self, minutes: float, flow_gal_h: float | None) -> float | None:
        """Volume from each tank that lasts some minutes [US gal]."""
        del flow_gal_h
        return self.gal_h * minutes / MINUTES_PER_HOUR


@dataclass(frozen=True, slots=True)
class RatioInjector:
    """A proportional injector: one part of stock solution from each tank in every ``ratio`` parts that come out.

    Attributes:
        ratio: 100 for 1:100.
    """

    ratio: float

    def minutes(self, stock_gal: float, flow_gal_h: float | None) -> float | None:
        """Minutes that a volume from each tank lasts [US gal]; None when the flow is not known."""
        return None if flow_gal_h is None else stock_gal * self.ratio / flow_gal_h * MINUTES_PER_HOUR

    def stock_gal(self, minutes: float, flow_gal_h: float | None) -> float | None:
        """Volume from each tank that lasts some minutes [US gal]; None when the flow is not known."""
        return None if flow_gal_h is None else flow_gal_h * minutes / MINUTES_PER_HOUR / self.ratio


Injector = Pump | RatioInjector


@dataclass(frozen=True, slots=True)
class Zone:
    """What is irrigated together.

    Attributes:
        key, name: short name, and the one shown to people.
        parts: block key -> the part of the block that the zone waters, 0 to 1.
        flow_gal_h: flow of the zone [US gal/h], None when it is not known.
        set_minutes: length of its irrigation set [min], None when it is not known.
        travel_minutes: time that the stock takes to the farthest emitter [min], None when it was not measured.
    """

    key: str
    name: str
    parts: Mapping[str, float]
    flow_gal_h: float | None = None
    set_minutes: float | None = None
    travel_minutes: float | None = None


TRAVEL_MINUTES = 30.0
"""Travel time where none was measured [min]: usually 20 to 30 in microirrigation (CITRUS-2014)."""


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of an irrigation set with an injection in it [min]; None where the season file is silent.

    Attributes:
        pressure: until the system is charged and pressurised; the travel time where not said.
        travel: until the stock reaches the farthest emitter.
        inject: how long an injection should last; twice the travel time where not said, which gave the best
            uniformity in DASILVA-2022.
        flush: clean water after it; the travel time where not said, which was enough in DASILVA-2022.
    """

    pressure: float | None = None
    travel: float | None = None
    inject: float | None = None
    flush: float | None = None

    def travel_in(self, zone: Zone) -> float:
        return zone.travel_minutes or self.travel or TRAVEL_MINUTES

    def measured_in(self, zone: Zone) -> bool:
        """Whether the travel time was given."""
        return (zone.travel_minutes or self.travel) is not None

    def pressure_in(self, zone: Zone) -> float:
        return self.pressure or self.travel_in(zone)

    def inject_in(self, zone: Zone) -> float:
        return self.inject or 2.0 * self.travel_in(zone)

    def flush_in(self, zone: Zone) -> float:
        return self.flush or self.travel_in(zone)

    def room_in(self, zone: Zone) -> float | None:
        """Minutes that the zone's irrigation set leaves for the injection; None when its length is not known."""
        if zone.set_minutes is None:
            return None
        return zone.set_minutes - self.pressure_in(zone) - self.flush_in(zone)


@dataclass(frozen=True, slots=True)
class Injecting:
    """How the farm injects; what the season file leaves out is None or empty.

    Attributes:
        tank: the stock tanks, None when the water's temperature was not said.
        injector: the injector, or None.
        timing: times of a set.
        weekdays: days of the week on which it is injected, 0 for Monday.
        zones: what is irrigated together, by key; blocks in no zone are irrigated by themselves.
        tanks: number of tanks that inject at the same time, 1 or 2.
    """

    tank: Tank | None = None
    injector: Injector | None = None
    timing: Timing = field(default_factory=Timing)
    weekdays: tuple[int, ...] = ()
    zones: Mapping[str, Zone] = field(default_factory=dict)
    tanks: int = 2

    def zones_of(self, block: str) -> list[Zone]:
        """The zones that water a block; one of its own when none is given."""
        found = [zone for zone in self.zones.values() if block in zone.parts]
        return found or [Zone(block, block, {block: 1.0})]


def concentration_ppm(n_lb: float, water_gal: float) -> float:
    """Nitrogen in the line [mg/L] from a weight of it in a volume of water.

    >>> round(concentration_ppm(1.0, 27154.285714), 4)
    4.4128
    """
    return n_lb * MG_PER_LB / (water_gal * L_PER_GAL)
