"""One injection as it is carried to the tank: tanks, volumes, minutes, strength, and every refusal."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import pytest

from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.injection import Injecting, Pump, RatioInjector, Timing, Zone, concentration_ppm
from fertadjust.materials import Solubility
from fertadjust.mix_sheet import Member, MixSheet, feeds_of, mix_sheet
from fertadjust.plan import PlanWeek
from fertadjust.products import Product
from fertadjust.stock import Tank
from fertadjust.units import LB_GAL_PER_KG_L, UnitSystem
from tests import support

US = UnitSystem.US
WEEK = PlanWeek(4, support.day_in(4), 5.25)


def limit(lb_gal: float) -> Solubility:
    share = lb_gal / LB_GAL_PER_KG_L
    return Solubility(((0.0, share), (30.0, share)), "none", Evidence.OWN)


CALCIUM = Product("calcium nitrate", {"n": 15.0, "ca": 19.0}, share=0.5, solubility=limit(4.0))
POTASH = Product("potassium nitrate", {"n": 12.5, "k2o": 44.0}, share=0.5, solubility=limit(1.0))
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0}, lb_ac=5.0, solubility=limit(2.0))
PLAIN = (CALCIUM, POTASH)
APART = (CALCIUM, POTASH, EPSOM)
MEMBER = Member("creek", "Creek side", 2.0, 6.0)
ZONE = Zone("creek", "Creek side", {"creek": 1.0}, flow_gal_h=900.0)
TWELVE = Tank(12.0, 0.5)
TIMING = Timing(travel=20.0)


def sheet(
    mix: tuple[Product, ...] = PLAIN,
    *,
    injecting: Injecting | None = None,
    zones: Sequence[Zone] = (ZONE,),
    shares: Sequence[float] = (1.0,),
    injections: int = 2,
    member: Member = MEMBER,
) -> MixSheet:
    how = Injecting(TWELVE, Pump(20.0), TIMING) if injecting is None else injecting
    return mix_sheet(WEEK, [member], mix, zones, shares, injections, how, US)


def told(mix: tuple[Product, ...] = PLAIN, **more: object) -> str:
    with pytest.raises(UserError) as caught:
        sheet(mix, **more)  # type: ignore[arg-type]
    return str(caught.value)


# --- amounts and volumes ------------------------------------------------------------------------------------


def test_twelve_pounds_in_two_injections_of_two_nitrates() -> None:
    """12 lb N: 6 lb by 15 % is 40 lb, 6 lb by 12.5 % is 48 lb, half of each in one injection."""
    found = sheet()
    assert (found.n_lb, found.injections) == (12.0, 2)
    [feed] = found.feeds
    [stock] = feed.stocks
    assert (feed.count, stock.tank) == (2, "A")
    assert [part.weight_lb for part in stock.parts] == pytest.approx([20.0, 24.0])
    assert stock.least_gal == pytest.approx(20 / 2 + 24 / 0.5)
    assert found.notes == ()


def test_the_volume_is_rounded_up_to_what_can_be_read_off_a_tank() -> None:
    [feed] = sheet(injecting=Injecting(Tank(12.0, 0.49), Pump(200.0), Timing(travel=1.0))).feeds
    assert feed.stocks[0].least_gal == pytest.approx(59.18, abs=0.01)
    assert feed.stocks[0].volume_gal == pytest.approx(60.0)


def test_a_strong_stock_is_made_weaker_so_that_the_injection_lasts_as_long_as_wanted() -> None:
    """58 gal at least; 200 gal/h for twice 20 min are 133.3 gal, read as 140."""
    [feed] = sheet(injecting=Injecting(TWELVE, Pump(200.0), TIMING)).feeds
    assert feed.stocks[0].volume_gal == pytest.approx(140.0)
    assert feed.runs[0].minutes == pytest.approx(42.0)


def test_the_tank_limits_how_weak_the_stock_is_made() -> None:
    [feed] = sheet(injecting=Injecting(Tank(12.0, 0.5, 100.0), Pump(200.0), TIMING)).feeds
    assert feed.stocks[0].volume_gal == pytest.approx(100.0)
    assert feed.runs[0].minutes == pytest.approx(30.0)


def test_the_set_limits_how_weak_the_stock_is_made() -> None:
    """65 min less twice 20 leave 25 for the injection."""
    zone = replace(ZONE, set_minutes=65.0)
    [feed] = sheet(zones=[zone], injecting=Injecting(TWELVE, Pump(200.0), TIMING)).feeds
    assert feed.runs[0].minutes == pytest.approx(25.0)
    assert feed.runs[0].set_minutes == pytest.approx(65.0)


def test_a_run_says_minutes_water_and_strength() -> None:
    [run] = sheet().feeds[0].runs
    assert (run.n_lb, run.stock_gal) == (pytest.approx(6.0), pytest.approx(58.0))
    assert run.minutes == pytest.approx(174.0)
    assert run.water_gal == pytest.approx(900 * 174 / 60)
    assert run.water_gal is not None
    assert run.ppm == pytest.approx(concentration_ppm(6.0, run.water_gal))
    assert run.n_lb_minute == pytest.approx(6 / 174)
    assert (run.pressure, run.travel, run.flush, run.set_minutes) == (20.0, 20.0, 20.0, pytest.approx(214.0))


def test_zones_share_the_stock_and_are_run_one_after_another() -> None:
    zones = [replace(ZONE, key=key) for key in ("upper", "lower")]
    runs = sheet(zones=zones, shares=(0.25, 0.75)).feeds[0].runs
    assert [run.n_lb for run in runs] == pytest.approx([1.5, 4.5])
    assert [run.stock_gal for run in runs] == pytest.approx([14.5, 43.5])


def test_the_volume_lasts_the_wanted_minutes_in_the_zone_that_gets_least() -> None:
    zones = [replace(ZONE, key=key) for key in ("upper", "lower")]
    how = Injecting(TWELVE, Pump(200.0), TIMING)
    runs = sheet(zones=zones, shares=(0.25, 0.75), injecting=how).feeds[0].runs
    assert all(run.minutes is not None and run.minutes >= 40.0 - 1e-9 for run in runs)


def test_two_tanks_are_filled_to_one_volume_and_injected_together() -> None:
    [feed] = sheet(APART).feeds
    calcium, sulfate = feed.stocks
    assert (calcium.tank, sulfate.tank) == ("A", "B")
    assert [part.product.name for part in sulfate.parts] == ["Epsom salt"]
    assert sulfate.parts[0].weight_lb == pytest.approx(5.0)
    assert (calcium.least_gal, sulfate.least_gal) == (pytest.approx(58.0), pytest.approx(5.0))
    assert calcium.volume_gal == sulfate.volume_gal == pytest.approx(58.0)


@pytest.mark.parametrize(("injections", "counts"), [(2, [1, 1]), (3, [2, 1]), (4, [2, 2]), (7, [4, 3])])
def test_one_tank_feeds_what_must_not_meet_in_turn(injections: int, counts: list[int]) -> None:
    found = sheet(APART, injecting=Injecting(TWELVE, Pump(20.0), TIMING, tanks=1), injections=injections)
    assert [feed.count for feed in found.feeds] == counts
    assert [[stock.tank for stock in feed.stocks] for feed in found.feeds] == [["A"], ["B"]]
    assert found.feeds[0].stocks[0].parts[0].weight_lb == pytest.approx(40.0 / counts[0])
    assert found.feeds[1].stocks[0].parts[0].weight_lb == pytest.approx(10.0 / counts[1])
    assert found.feeds[1].runs[0].n_lb == 0.0
    assert any("different days" in note and "rinse" in note for note in found.notes)


def test_one_tank_and_nothing_that_clashes_needs_no_turns() -> None:
    found = sheet(PLAIN, injecting=Injecting(TWELVE, Pump(20.0), TIMING, tanks=1), injections=1)
    assert [feed.count for feed in found.feeds] == [1]


def test_fills_of_the_week_follow_from_what_a_tank_holds() -> None:
    """58 gal an injection, 120 gal a tank: two in a fill, three fills for five injections."""
    how = Injecting(Tank(12.0, 0.5, 120.0), Pump(20.0), TIMING)
    weekly = sheet(injecting=how, member=replace(MEMBER, rate_lb_ac=15.0), injections=5)
    assert (weekly.feeds[0].in_a_fill, weekly.feeds[0].fills) == (2, 3)
    assert sheet().feeds[0].fills is None


# --- what is not known --------------------------------------------------------------------------------------


def test_without_the_waters_temperature_weights_are_given_and_no_volumes() -> None:
    found = sheet(injecting=Injecting(None, Pump(20.0), TIMING))
    [feed] = found.feeds
    assert [part.weight_lb for part in feed.stocks[0].parts] == pytest.approx([20.0, 24.0])
    assert (feed.stocks[0].least_gal, feed.stocks[0].volume_gal, feed.in_a_fill) == (None, None, None)
    assert (feed.runs[0].stock_gal, feed.runs[0].minutes, feed.runs[0].ppm) == (None, None, None)
    assert any("temperature is not set" in note for note in found.notes)


def test_without_an_injector_there_are_volumes_and_no_minutes() -> None:
    found = sheet(injecting=Injecting(TWELVE, None, TIMING))
    assert found.feeds[0].stocks[0].volume_gal == pytest.approx(58.0)
    assert (found.feeds[0].runs[0].minutes, found.feeds[0].runs[0].n_lb_minute) == (None, None)
    assert any("pump_rate or ratio" in note for note in found.notes)


def test_a_proportional_injector_without_the_zones_flow_asks_for_it() -> None:
    zone = replace(ZONE, flow_gal_h=None, set_minutes=30.0)
    found = sheet(zones=[zone], injecting=Injecting(TWELVE, RatioInjector(100.0), TIMING))
    assert found.feeds[0].runs[0].minutes is None
    assert any("needs the zone's flow" in note for note in found.notes)


def test_a_pump_without_the_zones_flow_gives_minutes_and_no_strength() -> None:
    [run] = sheet(zones=[replace(ZONE, flow_gal_h=None)]).feeds[0].runs
    assert (run.minutes, run.water_gal, run.ppm) == (pytest.approx(174.0), None, None)


def test_a_guessed_travel_time_is_told() -> None:
    assert any(
        "travel time" in note and "30 min" in note for note in sheet(injecting=Injecting(TWELVE, Pump(20.0))).notes
    )


def test_unknown_solubility_is_told_by_name() -> None:
    found = sheet((replace(POTASH, share=1.0, solubility=None),))
    assert found.feeds[0].stocks[0].unknown == ("potassium nitrate",)
    assert any("potassium nitrate" in note and "not known" in note for note in found.notes)


def test_minutes_shorter_than_the_line_takes_to_fill_are_told() -> None:
    how = Injecting(Tank(12.0, 0.5, 60.0), Pump(200.0), TIMING)
    found = sheet(injecting=how)
    assert found.feeds[0].runs[0].minutes == pytest.approx(18.0)
    assert any("18 min of injection are shorter than the 20 min" in note for note in found.notes)


# --- refusals -----------------------------------------------------------------------------------------------


def test_one_tank_and_one_injection_for_what_must_not_meet_is_refused() -> None:
    how = Injecting(TWELVE, Pump(20.0), TIMING, tanks=1)
    text = told(APART, injecting=how, injections=1)
    assert "one tank and one injection" in text
    assert "Feasible: two injections a week" in text and "second tank" in text
    assert len(sheet(APART, injecting=how, injections=2).feeds) == 2
    assert len(sheet(APART, injections=1).feeds) == 1


def test_products_put_into_one_tank_that_must_not_meet_are_refused() -> None:
    text = told((replace(CALCIUM, tank="A"), POTASH, replace(EPSOM, tank="A")))
    assert text.startswith("tank A: ") and "separate" in text


def test_a_temperature_outside_the_table_is_refused_with_the_product_and_its_range() -> None:
    text = told(injecting=Injecting(Tank(31.0), Pump(20.0), TIMING))
    assert text.startswith("calcium nitrate: ") and "0 °C (32 °F)" in text and "30 °C (86 °F)" in text


def times_in(text: str) -> int:
    found = re.search(r"Feasible: (\d+) times as many injections a week", text)
    assert found is not None, text
    return int(found[1])


@pytest.mark.parametrize("volume", [57.0, 29.0, 20.0, 7.0])
def test_a_tank_too_small_is_refused_and_the_proposed_injections_fit_it(volume: float) -> None:
    how = Injecting(Tank(12.0, 0.5, volume), Pump(20.0), TIMING)
    times = times_in(told(injecting=how))
    assert sheet(injecting=how, injections=2 * times).feeds[0].in_a_fill == 1
    assert times == 2 or told(injecting=how, injections=2 * (times - 1))


def test_the_injections_proposed_for_one_tank_in_turn_fit_it() -> None:
    """Three injections feed calcium twice, 58 gal each; six feed it three times, 38.7 gal each."""
    how = Injecting(Tank(12.0, 0.5, 32.0), Pump(20.0), TIMING, tanks=1)
    times = times_in(told(APART, injecting=how, injections=3))
    assert len(sheet(APART, injecting=how, injections=3 * times).feeds) == 2


@pytest.mark.parametrize("set_minutes", [213.0, 100.0, 55.0, 41.0])
def test_a_set_too_short_is_refused_and_the_proposed_injections_fit_it(set_minutes: float) -> None:
    zones = [replace(ZONE, set_minutes=set_minutes)]
    text = told(zones=zones)
    assert "zone Creek side: 58.0 gal of stock solution take 174 min to inject" in text
    assert f"the irrigation set of {set_minutes:g} min leaves" in text
    assert "beside 40 min to fill and flush" in text
    times = times_in(text)
    run = sheet(zones=zones, injections=2 * times).feeds[0].runs[0]
    assert run.set_minutes is not None and run.set_minutes <= set_minutes + 1e-6
    assert times == 2 or told(zones=zones, injections=2 * (times - 1))


def test_a_set_that_filling_and_flushing_use_up_proposes_no_more_injections() -> None:
    text = told(zones=[replace(ZONE, set_minutes=40.0)])
    assert "leaves 0 beside 40 min" in text and "times as many" not in text
    assert "a set of 214 min" in text


@pytest.mark.parametrize("rate", [6.0, 6.01, 6.03, 6.04, 6.05])
def test_the_set_that_is_proposed_is_long_enough(rate: float) -> None:
    member = replace(MEMBER, rate_lb_ac=rate)
    found = re.search(r"a set of (\d+) min", told(zones=[replace(ZONE, set_minutes=100.0)], member=member))
    assert found is not None
    longer = sheet(zones=[replace(ZONE, set_minutes=float(found[1]))], member=member)
    assert longer.feeds[0].runs[0].minutes is not None


def test_a_proportional_injector_is_held_against_the_set_as_well() -> None:
    """58 gal at 1:100 of 900 gal/h take 6.4 h."""
    how = Injecting(TWELVE, RatioInjector(100.0), TIMING)
    text = told(zones=[replace(ZONE, set_minutes=240.0)], injecting=how)
    assert "387 min to inject" in text
    assert times_in(text) == 2


def test_feeds_of_a_mix_in_one_tank_hold_the_week_whatever_the_turns() -> None:
    feeds = feeds_of(APART, 12.0, 2.0, 5, 1)
    weight: dict[str, float] = {}
    for parts, count in feeds:
        for part in (part for items in parts.values() for part in items):
            weight[part.product.name] = weight.get(part.product.name, 0.0) + part.weight_lb * count
    assert weight == pytest.approx({"calcium nitrate": 40.0, "potassium nitrate": 48.0, "Epsom salt": 10.0})
