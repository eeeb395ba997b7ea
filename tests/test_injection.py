"""Injectors, times of a set, zones, strength of the line."""

from __future__ import annotations

import pytest

from fertadjust.injection import (
    TRAVEL_MINUTES,
    Injecting,
    Pump,
    RatioInjector,
    Timing,
    Zone,
    concentration_ppm,
)
from fertadjust.units import UnitSystem

METRIC = UnitSystem.METRIC
ZONE = Zone("creek", "Creek", {"creek": 1.0})


def test_a_pump_takes_the_same_minutes_whatever_the_line_carries() -> None:
    pump = Pump(20.0)
    assert pump.minutes(10.0, None) == pump.minutes(10.0, 900.0) == 30.0
    assert pump.stock_gal(30.0, None) == pump.stock_gal(30.0, 900.0) == 10.0


def test_a_proportional_injector_follows_the_line() -> None:
    """1:100 on 600 gal/h: 6 gal of stock an hour."""
    injector = RatioInjector(100.0)
    assert injector.minutes(6.0, 600.0) == pytest.approx(60.0)
    assert injector.minutes(6.0, 1200.0) == pytest.approx(30.0)
    assert injector.stock_gal(60.0, 600.0) == pytest.approx(6.0)


def test_a_proportional_injector_without_the_flow_knows_neither_minutes_nor_volume() -> None:
    assert RatioInjector(100.0).minutes(6.0, None) is None
    assert RatioInjector(100.0).stock_gal(60.0, None) is None


def test_where_nothing_is_said_the_usual_travel_time_sets_the_others() -> None:
    timing = Timing()
    assert timing.travel_in(ZONE) == timing.pressure_in(ZONE) == timing.flush_in(ZONE) == TRAVEL_MINUTES
    assert timing.inject_in(ZONE) == 2 * TRAVEL_MINUTES
    assert not timing.measured_in(ZONE)


def test_the_zones_own_travel_time_goes_before_the_farms() -> None:
    zone = Zone("far", "Far", {"creek": 1.0}, travel_minutes=25.0)
    timing = Timing(travel=10.0)
    assert (timing.travel_in(zone), timing.travel_in(ZONE)) == (25.0, 10.0)
    assert (timing.inject_in(zone), timing.inject_in(ZONE)) == (50.0, 20.0)
    assert timing.measured_in(zone) and timing.measured_in(ZONE) and Timing().measured_in(zone)


def test_stated_times_go_before_those_that_follow_from_the_travel_time() -> None:
    timing = Timing(5.0, 10.0, 45.0, 15.0)
    assert (timing.pressure_in(ZONE), timing.inject_in(ZONE), timing.flush_in(ZONE)) == (5.0, 45.0, 15.0)


@pytest.mark.parametrize(("set_minutes", "room"), [(None, None), (120.0, 100.0), (20.0, 0.0), (15.0, -5.0)])
def test_the_set_leaves_what_filling_and_flushing_do_not_take(
    set_minutes: float | None, room: float | None
) -> None:
    zone = Zone("creek", "Creek", {"creek": 1.0}, set_minutes=set_minutes)
    assert Timing(pressure=5.0, flush=15.0).room_in(zone) == room


def test_a_block_in_no_zone_is_irrigated_by_itself() -> None:
    [zone] = Injecting().zones_of("lane")
    assert (zone.key, dict(zone.parts), zone.flow_gal_h, zone.set_minutes) == ("lane", {"lane": 1.0}, None, None)


def test_a_block_is_found_in_every_zone_that_waters_it() -> None:
    zones = {
        "upper": Zone("upper", "Upper", {"hill": 0.4}),
        "other": Zone("other", "Other", {"creek": 1.0}),
        "lower": Zone("lower", "Lower", {"hill": 0.6, "lane": 1.0}),
    }
    injecting = Injecting(zones=zones)
    assert [zone.key for zone in injecting.zones_of("hill")] == ["upper", "lower"]
    assert [zone.key for zone in injecting.zones_of("lane")] == ["lower"]


def test_a_gram_of_nitrogen_in_a_cubic_metre_is_one_milligram_in_a_litre() -> None:
    assert concentration_ppm(METRIC.weight_in(0.001), METRIC.volume_in(1000.0)) == pytest.approx(1.0, rel=1e-12)
