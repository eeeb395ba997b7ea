"""From products to tanks, stock volumes, minutes and sheets; what goes in is what the label says comes out."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.compatibility import clashes, refused, tanks_of
from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.feeding import Farm
from fertadjust.injection import Injecting, Pump, RatioInjector, Timing, Zone
from fertadjust.ledger import Application
from fertadjust.materials import Solubility
from fertadjust.mix_sheet import Member, MixSheet, mix_sheet
from fertadjust.mix_sheet_data import mix_sheet_data
from fertadjust.mixes import Mixes, MixStep, mix_of
from fertadjust.plan import PlanWeek
from fertadjust.products import NUTRIENTS, Product, total_nutrients
from fertadjust.season import BlockSeason
from fertadjust.stock import Tank, injections_in_a_fill, need_of
from fertadjust.units import UnitSystem
from tests import support

US = UnitSystem.US
WATER = Solubility(((0.0, 0.1), (40.0, 0.5)), "none", Evidence.COMMON_PRACTICE)
CALCIUM = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=0.5, nitrate_n=14.5, solubility=WATER)
POTASSIUM = Product("potassium nitrate", {"n": 13.0, "k2o": 44.0}, share=0.5, nitrate_n=13.0, solubility=WATER)
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0}, lb_ac=5.0, solubility=WATER)
MAP = Product("MAP", {"n": 11.0, "p2o5": 48.0}, share=0.5, ammonium_n=11.0, solubility=WATER)
SULFATE = Product("ammonium sulfate", {"n": 21.0, "s": 24.0}, share=0.5, ammonium_n=21.0, solubility=WATER)
UAN = Product("UAN 32", {"n": 32.0}, share=0.5, density_lb_gal=11.06, urea_n=16.3)
CAN = Product("CAN 17", {"n": 17.0, "ca": 8.0}, share=0.5, density_lb_gal=12.6)
MIX = (CALCIUM, POTASSIUM, EPSOM)
WEEK = PlanWeek(4, date(2026, 3, 23), 5.25)


def sheet(
    mix: tuple[Product, ...] = MIX,
    *,
    n: float = 5.25,
    area: float = 0.5,
    injections: int = 2,
    injecting: Injecting | None = None,
    zones: tuple[Zone, ...] = (Zone("a", "A", {"a": 1.0}, flow_gal_h=900.0),),
) -> MixSheet:
    used = injecting or Injecting(Tank(10.0, volume_gal=50.0), Pump(20.0), Timing(travel=20.0))
    shares = [1.0 / len(zones)] * len(zones)
    return mix_sheet(WEEK, [Member("a", "A", area, n)], mix, zones, shares, injections, used, US)


# --- what must not meet --------------------------------------------------------------------------------------


@pytest.mark.parametrize("other", [EPSOM, MAP, SULFATE], ids=lambda item: item.name)
def test_calcium_goes_into_one_tank_and_what_it_must_not_meet_into_the_other(other: Product) -> None:
    assert refused([CALCIUM, other]) is not None
    tanks = tanks_of((other, CALCIUM, POTASSIUM))
    assert [item.name for item in tanks["A"]] == ["calcium nitrate", "potassium nitrate"]
    assert [item.name for item in tanks["B"]] == [other.name]


def test_without_calcium_one_tank_will_do() -> None:
    assert set(tanks_of((POTASSIUM, EPSOM))) == {"A"}
    assert set(tanks_of((CALCIUM, POTASSIUM))) == {"A"}


def test_the_growers_own_tank_is_kept_unless_it_makes_solids() -> None:
    assert [item.name for item in tanks_of((CALCIUM, replace(POTASSIUM, tank="B"), EPSOM))["B"]] == [
        "potassium nitrate",
        "Epsom salt",
    ]
    swapped = tanks_of((CALCIUM, replace(EPSOM, tank="A")))
    assert [item.name for item in swapped["B"]] == ["calcium nitrate"]
    with pytest.raises(UserError, match=r"tank A: calcium nitrate carries calcium and Epsom salt"):
        tanks_of((replace(CALCIUM, tank="A"), replace(EPSOM, tank="A")))


@pytest.mark.parametrize(
    ("pair", "words"),
    [
        ((EPSOM, MAP), "magnesium"),  # COMPAT-F20 warns, DPIRD-2016 puts both into one tank
        ((SULFATE, POTASSIUM), "potassium sulfate"),  # recalled, high
        ((UAN, CAN), "gel"),  # recalled, medium
    ],
)
def test_what_sources_disagree_on_asks_for_a_jar_test_and_is_not_refused(
    pair: tuple[Product, Product], words: str
) -> None:
    [found] = clashes(pair)
    assert words in found.text and "jar test" in found.text
    assert not found.refused and refused(pair) is None


# --- mixes ---------------------------------------------------------------------------------------------------


def steps() -> Mixes:
    products = tuple(replace(item, share=0.0, lb_ac=0.0) for item in MIX)
    alone = mix_of(products, {"potassium nitrate": 1.0}, {})
    turns = (mix_of(products, {"calcium nitrate": 1.0}, {"Epsom salt": 5.0}), alone)
    return Mixes(products, (MixStep(1, (alone,)), MixStep(4, turns)))


@pytest.mark.parametrize(
    ("week", "names"),
    [
        (1, ["potassium nitrate"]),
        (3, ["potassium nitrate"]),
        (4, ["calcium nitrate", "Epsom salt"]),
        (5, ["potassium nitrate"]),
        (6, ["calcium nitrate", "Epsom salt"]),
    ],
)
def test_mixes_change_with_the_weeks_and_take_turns(week: int, names: list[str]) -> None:
    assert [item.name for item in steps().in_week(week)] == names


def test_the_mix_with_least_nitrate_counts_and_a_silent_label_leaves_it_unknown() -> None:
    assert steps().nitrate_share(2) == pytest.approx(1.0)
    assert steps().nitrate_share(5) == pytest.approx(14.5 / 15.5)
    assert Mixes.same((replace(POTASSIUM, share=1.0, nitrate_n=None),)).nitrate_share(1) is None


def test_alternating_mixes_show_in_the_weekly_table() -> None:
    season = replace(support.season(), products=steps().products, mix_steps=steps().steps)
    rows = {row.week.number: row for row in season.weeks_from(support.BLOOM)}
    for number, names in ((3, {"potassium nitrate"}), (4, {"calcium nitrate", "Epsom salt"})):
        assert {part.product.name for part in rows[number].products if part.weight_lb > 0} == names
        assert rows[number].nutrient_lb("n") == pytest.approx(rows[number].n_lb)
    assert len({tuple(part.product.name for part in row.products) for row in rows.values()}) == 1


# --- stock solutions -----------------------------------------------------------------------------------------


def test_each_product_is_given_water_of_its_own_at_the_stated_share() -> None:
    """At 10 deg C the made-up table gives 0.2 kg per kg: 0.2 x 8.345404 lb/gal, of which 80 %."""
    found = sheet(injections=1)
    stock = found.feeds[0].stocks[0]
    weight = sum(part.weight_lb for part in stock.parts)
    assert stock.least_gal == pytest.approx(weight / (0.8 * 0.2 * 8.345404), rel=1e-6)


def test_warmer_water_needs_less_of_it_and_outside_the_table_is_refused() -> None:
    parts = sheet().feeds[0].stocks[0].parts
    assert need_of(parts, Tank(30.0)).least_gal < need_of(parts, Tank(5.0)).least_gal
    for celsius in (-0.1, 40.1):
        with pytest.raises(UserError, match=r"calcium nitrate: .*°C.*°F"):
            need_of(parts, Tank(celsius))


def test_liquids_take_their_own_volume_and_unknown_products_are_named() -> None:
    found = sheet((replace(UAN, share=1.0),), injections=1)
    [stock] = found.feeds[0].stocks
    assert stock.least_gal == pytest.approx(5.25 * 0.5 / 0.32 / 11.06)
    silent = sheet((replace(POTASSIUM, share=1.0, solubility=None),))
    assert silent.feeds[0].stocks[0].unknown == ("potassium nitrate",)
    assert any("potassium nitrate dissolves is not known" in note for note in silent.notes)


def test_a_tank_too_small_for_one_injection_says_what_would_do_and_that_does() -> None:
    small = Injecting(Tank(10.0, volume_gal=5.0), Pump(20.0), Timing(travel=20.0))
    with pytest.raises(UserError, match=r"the tank holds 5\.0 gal") as caught:
        sheet(area=3.0, injecting=small)
    times = int(re.search(r"(\d+) times as many injections", str(caught.value))[1])  # type: ignore[index]
    assert sheet(area=3.0, injections=2 * times, injecting=small).feeds[0].stocks[0].volume_gal <= 5.0 + 1e-9  # type: ignore[operator]
    with pytest.raises(UserError):
        sheet(area=3.0, injections=2 * (times - 1), injecting=small)


def test_fills_are_counted() -> None:
    tank = Tank(10.0, volume_gal=50.0)
    assert injections_in_a_fill(50.0, tank, US) == 1
    assert injections_in_a_fill(25.0, tank, US) == 2
    assert injections_in_a_fill(26.0, tank, US) == 1
    assert injections_in_a_fill(1.0, Tank(10.0), US) is None


def test_one_tank_feeds_in_turn_and_one_injection_a_week_is_refused() -> None:
    single = Injecting(Tank(10.0, volume_gal=50.0, count=1), Pump(20.0), Timing(travel=20.0))
    found = sheet(injections=3, injecting=single)
    assert [(feed.count, [stock.tank for stock in feed.stocks]) for feed in found.feeds] == [
        (2, ["A"]),
        (1, ["B"]),
    ]
    with pytest.raises(UserError, match="second tank"):
        sheet(injections=1, injecting=single)


# --- minutes -------------------------------------------------------------------------------------------------


def test_an_injection_lasts_twice_the_travel_time_where_that_fits() -> None:
    """DASILVA-2022: twice the advance time gave the best uniformity, once was enough to flush."""
    [run] = sheet().feeds[0].runs
    assert run.minutes == pytest.approx(42.0)  # 13.3 gal rounded up to 14 at 20 gal/h
    assert run.set_minutes == pytest.approx(20 + 42 + 20)
    assert run.ppm == pytest.approx(run.n_lb * 453592.37 / (900 * 0.7 * 3.785411784))


def test_it_is_cut_to_the_irrigation_set_and_refused_when_that_is_too_short() -> None:
    def within(minutes: float) -> MixSheet:
        return sheet(zones=(Zone("a", "A", {"a": 1.0}, 900.0, set_minutes=minutes),))

    full = within(200.0).feeds[0].runs[0].minutes
    short = within(75.0).feeds[0].runs[0]
    assert full is not None and short.minutes is not None
    assert short.minutes < full and short.set_minutes == pytest.approx(75.0)
    with pytest.raises(UserError, match="Feasible") as caught:
        within(50.0)
    needed = float(re.search(r"a set of (\d+) min", str(caught.value))[1])  # type: ignore[index]
    assert within(needed + 1).feeds[0].runs[0].minutes is not None


def test_zones_share_the_stock_and_run_one_after_another() -> None:
    zones = (Zone("up", "Up", {"a": 0.5}, 900.0), Zone("down", "Down", {"a": 0.5}, 450.0))
    found = sheet(zones=zones, injecting=Injecting(Tank(10.0), RatioInjector(100.0), Timing(travel=20.0)))
    up, down = found.feeds[0].runs
    assert up.n_lb == down.n_lb and up.stock_gal == down.stock_gal
    assert down.minutes == pytest.approx(2 * (up.minutes or 0))
    assert up.ppm == pytest.approx(down.ppm)


def test_what_is_not_set_is_said_and_the_weights_stand() -> None:
    found = sheet(injecting=Injecting())
    assert any("water's temperature is not set" in note for note in found.notes)
    assert found.feeds[0].stocks[0].volume_gal is None
    assert sum(part.weight_lb for part in found.feeds[0].stocks[0].parts) > 0
    flowless = Injecting(Tank(10.0), RatioInjector(100.0), Timing(travel=20.0))
    told = sheet(injecting=flowless, zones=(Zone("a", "A", {"a": 1.0}),))
    assert any("needs the zone's flow" in note for note in told.notes)


# --- balance -------------------------------------------------------------------------------------------------

PERCENT = st.floats(0.5, 12.0)


@st.composite
def mixes(draw: st.DrawFn) -> tuple[Product, ...]:
    """Products with any nutrients, shares that add to 1, and some beside the nitrogen."""
    count = draw(st.integers(1, 4))
    raw = [draw(st.floats(0.05, 1.0)) for _ in range(count)]
    found = []
    for index, part in enumerate(raw):
        others = draw(st.dictionaries(st.sampled_from(NUTRIENTS[1:]), PERCENT, max_size=4))
        percent = {"n": draw(st.floats(1.0, 46.0))} | others
        found.append(Product(f"feed {index}", percent, share=part / sum(raw), solubility=WATER))
    if draw(st.booleans()):
        found.append(
            Product("salt", {"n": 0.0, "mg": 9.9, "s": 13.0}, lb_ac=draw(st.floats(0.1, 20)), solubility=WATER)
        )
    return tuple(found)


@settings(max_examples=200, deadline=None)
@given(
    mix=mixes(),
    n=st.floats(0.1, 20.0),
    area=st.floats(0.01, 50.0),
    injections=st.integers(2, 14),
    tanks=st.sampled_from([1, 2]),
)
def test_what_goes_into_the_tanks_is_what_the_labels_say_comes_out(
    mix: tuple[Product, ...], n: float, area: float, injections: int, tanks: int
) -> None:
    used = Injecting(Tank(10.0, count=tanks), Pump(20.0), Timing(travel=20.0))
    found = sheet(mix, n=n, area=area, injections=injections, injecting=used)
    week: dict[str, float] = {}
    for feed in found.feeds:
        for stock in feed.stocks:
            assert refused([part.product for part in stock.parts]) is None
            assert stock.least_gal is not None and stock.volume_gal is not None
            assert stock.volume_gal >= stock.least_gal * (1 - 1e-9)
            for key, weight in total_nutrients(stock.parts).items():
                week[key] = week.get(key, 0.0) + weight * feed.count
        runs = sum(run.n_lb for run in feed.runs)
        assert runs == pytest.approx(sum(total_nutrients(stock.parts).get("n", 0.0) for stock in feed.stocks))
    assert sum(feed.count for feed in found.feeds) == injections
    assert week["n"] == pytest.approx(n * area)
    for key in NUTRIENTS[1:]:
        label = sum(
            item.percent.get(key, 0.0) / item.percent["n"] * n * area * item.share
            if item.share > 0
            else item.percent.get(key, 0.0) / 100 * item.lb_ac * area
            for item in mix
        )
        assert week.get(key, 0.0) == pytest.approx(label)


# --- a farm --------------------------------------------------------------------------------------------------


def farm(*zones: Zone, other_rate: float = 5.25, tanks: int = 2, on: BlockSeason | None = None) -> Farm:
    one = on or support.season()
    two = replace(
        support.season(the_plan=support.plan((other_rate,) * 12)), block=support.block(key="south", name="South")
    )
    used = Injecting(
        Tank(10.0, volume_gal=50.0, count=tanks),
        Pump(20.0),
        Timing(travel=20.0),
        zones={zone.key: zone for zone in zones},
    )
    return Farm({"north": one, "south": two}, used, US)


WATERED = tuple(replace(item, solubility=WATER) for item in support.products())
SHARED = Zone("east", "East", {"north": 1.0, "south": 0.5}, 900.0)


def test_a_zone_feeds_its_blocks_and_parts_of_blocks_in_one_run() -> None:
    found = farm(SHARED).zone_sheet("East", support.BLOOM)
    area = support.block().area_ac()
    assert found.n_lb == pytest.approx(5.25 * area * 1.5)
    assert [member.area_ac for member in found.members] == pytest.approx([area, area / 2])


def test_blocks_of_one_zone_that_are_to_get_different_rates_are_refused_with_their_mean() -> None:
    with pytest.raises(UserError, match=r"North 5\.25, South 3\.75.*mean by area is 4\.75"):
        farm(SHARED, other_rate=3.75).zone_sheet("east", support.BLOOM)


def test_a_block_that_shares_a_zone_is_pointed_to_it() -> None:
    for ask in (
        lambda: farm(SHARED).block_sheet("north", support.BLOOM),
        lambda: farm(SHARED).doses("north", 50.0, 50.0, 1.0, support.BLOOM),
    ):
        with pytest.raises(UserError, match="--zone east"):
            ask()
    with pytest.raises(UserError, match='no zone "west"; there are: east'):
        farm(SHARED).zone_sheet("west", support.BLOOM)


@pytest.mark.parametrize(
    ("n", "message"), [(float("nan"), "finite|should"), (-1.0, "0 or more|should"), (1e6, "the full tank holds")]
)
def test_minutes_are_given_only_for_what_the_tank_holds(n: float, message: str) -> None:
    with pytest.raises(UserError, match=message):
        farm().doses("north", 50.0, 50.0, n, support.BLOOM)


def test_a_week_that_is_over_or_not_planned_is_refused_with_those_left() -> None:
    on = support.day_in(3, 2)
    assert farm().week(on).number == 3
    for number in (2, 13):
        with pytest.raises(UserError, match="weeks 3 to 12 are left"):
            farm().week(on, number)
    with pytest.raises(UserError, match="no week is left"):
        farm().week(support.day_in(13))


def test_the_season_cap_stops_what_goes_into_the_tank() -> None:
    capped = farm(on=support.season(the_plan=support.plan(cap=12.0)))
    assert capped.rate_lb_ac("north", capped.week(support.BLOOM, 3), support.BLOOM) == pytest.approx(1.5)
    with pytest.raises(UserError, match="week 4 feeds nothing"):
        capped.block_sheet("north", support.BLOOM, 4)


def test_coming_injections_fall_on_their_days_and_logged_ones_are_left_out() -> None:
    on = support.day_in(2, 1)
    logged = Application(1, "north", support.day_in(2, 3), 2.6)
    before = [item.on for item in farm().injections("north", on)]
    assert before[:3] == [support.day_in(2, 3), support.day_in(3), support.day_in(3, 3)]
    later = farm(on=support.season(applications=(logged,)))
    assert next(item.on for item in later.injections("north", support.day_in(2, 3))) == support.day_in(3)
    named = replace(farm(), injecting=Injecting(weekdays=(1, 4)))
    assert {item.on.weekday() for item in named.injections("north", on)} == {1, 4}
    total = sum(item.n_lb for item in farm().injections("north", support.BLOOM))
    assert total == pytest.approx(12 * 5.25 * support.block().area_ac())


def test_needs_cover_the_rest_of_the_season_and_no_more() -> None:
    on = support.day_in(12, 3)
    area = support.block().area_ac()
    fed = Application(1, "north", support.day_in(12), 2.25)
    season = support.season(applications=(fed,))
    needs = Farm({"north": season}, Injecting(), US).needs(on)
    assert total_nutrients(needs)["n"] == pytest.approx((5.25 - 2.25) * area)
    after = support.day_in(12) + timedelta(days=7)
    assert Farm({"north": season}, Injecting(), US).purchases(after) == ()


def test_a_sheet_as_data_is_the_same_in_either_system() -> None:
    used = Injecting(Tank(10.0, volume_gal=50.0), Pump(20.0), Timing(travel=20.0))
    us, metric = (mix_sheet_data(sheet(), used, units) for units in (US, UnitSystem.METRIC))
    for ours, theirs in zip(us["feeds"][0]["tanks"], metric["feeds"][0]["tanks"], strict=True):
        assert theirs["volume"] == pytest.approx(ours["volume"] * 3.785411784)
        for one, other in zip(ours["products"], theirs["products"], strict=True):
            assert other["weight"] == pytest.approx(one["weight"] * 0.45359237)
    assert us["feeds"][0]["runs"][0]["ppm"] == pytest.approx(metric["feeds"][0]["runs"][0]["ppm"])
    assert math.isclose(us["feeds"][0]["runs"][0]["minutes"], metric["feeds"][0]["runs"][0]["minutes"])
