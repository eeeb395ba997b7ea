"""A farm's feeding as decided: sheets by block and zone, doses, what lies ahead and what has to be bought."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fertadjust.errors import UserError
from fertadjust.feeding import Farm
from fertadjust.injection import Injecting, Pump, RatioInjector, Timing, Zone
from fertadjust.ledger import Application
from fertadjust.mixes import MixStep, mix_of
from fertadjust.plan import Change
from fertadjust.products import Product, ProductAmount, Shelf
from fertadjust.season import BlockSeason
from fertadjust.stock import Tank
from fertadjust.units import UnitSystem
from tests import support

US = UnitSystem.US
ACRES = support.block().area_ac()
PLAN = support.plan((5.25,) * 6)
CALCIUM = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, shelf=Shelf(0.5, 50.0, 10.0))
POTASH = Product("potassium nitrate", {"n": 13.0, "k2o": 44.0})
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0})
SHED = (CALCIUM, POTASH, EPSOM)
ALONE = mix_of(SHED, {"potassium nitrate": 1.0}, {})
FULL = mix_of(SHED, {"calcium nitrate": 1.0}, {"Epsom salt": 4.0})
STEPS = (MixStep(1, (ALONE,)), MixStep(4, (FULL,)))
ZONES = {
    "north": Zone("north", "North valve", {"north": 1.0}, 900.0),
    "both": Zone("both", "Lower valve", {"south": 1.0, "west": 0.5}, 900.0),
    "rest": Zone("rest", "Upper valve", {"west": 0.5}, 900.0),
}


def one(key: str = "north", **changes: object) -> BlockSeason:
    base = support.season(the_plan=PLAN)
    given = {"block": support.block(key=key, name=key.title()), "products": SHED, "mix_steps": STEPS, **changes}
    return replace(base, **given)  # type: ignore[arg-type]


def farm(*blocks: BlockSeason, **injecting: object) -> Farm:
    seasons = blocks or (one(),)
    how = Injecting(injector=Pump(20.0), timing=Timing(travel=20.0))
    return Farm({item.block.key: item for item in seasons}, replace(how, **injecting), US)  # type: ignore[arg-type]


def shared(**south: object) -> Farm:
    """Three blocks; south and half of west hang on one valve."""
    return farm(one(), one("south", **south), one("west"), zones=ZONES)


def applied(week: int, offset: int, n_lb_ac: float = 2.625) -> Application:
    return Application(week * 10 + offset, "north", support.day_in(week, offset), n_lb_ac)


def weights(parts: list[ProductAmount]) -> dict[str, float]:
    total: dict[str, float] = {}
    for part in parts:
        total[part.product.name] = total.get(part.product.name, 0.0) + part.weight_lb
    return total


RAISED = Change(support.day_in(1, 4), support.day_in(2), support.day_in(5), 4 / 3, {2: 7.0, 3: 7.0, 4: 7.0})

# --- weeks and rates ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "number"),
    [
        (support.BLOOM - timedelta(days=30), 1),
        (support.BLOOM, 1),
        (support.day_in(1, 6), 1),
        (support.day_in(2), 2),
        (support.day_in(6, 6), 6),
    ],
)
def test_the_week_is_the_running_one_or_the_next(on: date, number: int) -> None:
    assert farm().week(on).number == number


def test_a_week_that_is_left_may_be_named() -> None:
    assert [farm().week(support.day_in(3, 2), number).number for number in (3, 6)] == [3, 6]


@pytest.mark.parametrize("number", [2, 7, 0, -1])
def test_a_week_that_is_over_or_not_in_the_plan_is_refused_with_those_left(number: int) -> None:
    with pytest.raises(UserError, match=f"week {number} is over or not in the plan; weeks 3 to 6 are left"):
        farm().week(support.day_in(3, 2), number)


def test_after_the_plan_no_week_is_left() -> None:
    after = PLAN.end + timedelta(days=1)
    for ask in (
        lambda: farm().week(after),
        lambda: farm().week(after, 6),
        lambda: farm().block_sheet("north", after),
        lambda: farm().nitrogen_lb("north", after, whole_season=True),
    ):
        with pytest.raises(UserError, match=f"the plan ended on {PLAN.end}; no week is left"):
            ask()


def test_after_the_plan_nothing_is_needed_and_nothing_injected() -> None:
    after = PLAN.end + timedelta(days=1)
    assert farm().needs(after) == []
    assert farm().purchases(after) == ()
    assert list(farm().injections("north", after)) == []


def test_the_rate_is_the_decided_one_in_the_weeks_it_covers() -> None:
    decided = farm(one(changes=(RAISED,)))
    on = support.day_in(1, 5)
    assert [decided.rate_lb_ac("north", week, on) for week in PLAN.weeks] == [5.25, 7.0, 7.0, 7.0, 5.25, 5.25]


@pytest.mark.parametrize("offset", range(7))
def test_the_rate_of_the_running_week_is_the_decided_one_whatever_the_weekday(offset: int) -> None:
    decided = farm(one(changes=(RAISED,)))
    on = support.day_in(3, offset)
    assert decided.rate_lb_ac("north", decided.week(on), on) == 7.0


def capped(cap: float, *items: Application) -> Farm:
    return farm(one(plan=replace(PLAN, cap_lb_ac=cap), applications=items))


def test_a_coming_week_gets_no_more_than_the_season_cap_leaves() -> None:
    limited = capped(13.0)
    rates = [limited.rate_lb_ac("north", week, support.BLOOM) for week in PLAN.weeks]
    assert rates == pytest.approx([5.25, 5.25, 2.5, 0.0, 0.0, 0.0])
    assert limited.block_sheet("north", support.BLOOM, 3).n_lb == pytest.approx(2.5 * ACRES)


def test_the_running_week_gets_no_more_than_the_season_cap_leaves_whatever_the_weekday() -> None:
    for offset in range(7):
        on = support.day_in(3, offset)
        limited = capped(13.0)
        assert limited.rate_lb_ac("north", limited.week(on), on) == pytest.approx(2.5), offset


def test_nitrogen_of_the_week_and_of_the_season_from_it_on() -> None:
    decided = farm(one(changes=(RAISED,)))
    on = support.day_in(3, 1)
    assert decided.nitrogen_lb("north", on, whole_season=False) == pytest.approx(7.0 * ACRES)
    assert decided.nitrogen_lb("north", on, whole_season=True) == pytest.approx((7 + 7 + 5.25 + 5.25) * ACRES)


# --- sheets -------------------------------------------------------------------------------------------------


def test_the_sheet_of_a_block_is_its_week_in_its_mix() -> None:
    found = farm().block_sheet("north", support.BLOOM)
    assert (found.week.number, found.injections) == (1, 2)
    assert found.n_lb == pytest.approx(5.25 * ACRES)
    [feed] = found.feeds
    assert [part.product.name for part in feed.stocks[0].parts] == ["potassium nitrate"]
    later = farm().block_sheet("north", support.BLOOM, 4)
    assert [stock.parts[0].product.name for stock in later.feeds[0].stocks] == ["calcium nitrate", "Epsom salt"]


def test_a_block_with_two_zones_splits_its_stock_by_their_parts() -> None:
    zones = {
        "upper": Zone("upper", "Upper", {"north": 0.25}, 900.0),
        "lower": Zone("lower", "Lower", {"north": 0.75}, 900.0),
    }
    runs = farm(zones=zones).block_sheet("north", support.BLOOM).feeds[0].runs
    assert [run.zone.key for run in runs] == ["upper", "lower"]
    assert [run.n_lb for run in runs] == pytest.approx([5.25 * ACRES / 8, 5.25 * ACRES * 3 / 8])


def test_a_zone_of_a_part_of_a_block_feeds_that_part() -> None:
    found = shared().zone_sheet("rest", support.BLOOM)
    [member] = found.members
    assert (member.block, member.area_ac) == ("west", pytest.approx(ACRES / 2))
    assert found.n_lb == pytest.approx(5.25 * ACRES / 2)


def test_a_zone_feeds_every_block_in_it_in_one_run() -> None:
    found = shared().zone_sheet("both", support.BLOOM)
    assert [(member.block, member.area_ac) for member in found.members] == [
        ("south", pytest.approx(ACRES)),
        ("west", pytest.approx(ACRES / 2)),
    ]
    assert found.n_lb == pytest.approx(5.25 * ACRES * 1.5)
    assert len(found.feeds[0].runs) == 1
    assert found.feeds[0].runs[0].n_lb == pytest.approx(5.25 * ACRES * 0.75)


@pytest.mark.parametrize("name", ["both", " both ", "BOTH", "lower valve", "Lower Valve"])
def test_a_zone_is_found_by_its_key_or_its_name(name: str) -> None:
    assert shared().zone_sheet(name, support.BLOOM).feeds[0].runs[0].zone.key == "both"


def test_an_unknown_zone_is_refused_with_those_there_are() -> None:
    with pytest.raises(UserError, match=r'zone: there is no zone "east"; there are: north, both, rest'):
        shared().zone_sheet("east", support.BLOOM)
    with pytest.raises(UserError, match=r"set them up under \[zones\]"):
        farm().zone_sheet("east", support.BLOOM)


def test_a_block_that_shares_a_zone_is_sent_to_the_sheet_of_the_zone() -> None:
    for block, other in (("south", "West"), ("west", "South")):
        with pytest.raises(UserError, match=rf"irrigated together with {other} in zone both.*--zone both"):
            shared().block_sheet(block, support.BLOOM)
    assert shared().block_sheet("north", support.BLOOM).feeds[0].runs[0].zone.key == "north"


def test_a_zone_whose_blocks_are_to_get_different_rates_is_refused_with_their_mean() -> None:
    """7.0 on all of south and 5.25 on half of west: 6.42 by area."""
    together = shared(changes=(RAISED,))
    with pytest.raises(UserError) as caught:
        together.zone_sheet("both", support.day_in(2))
    told = str(caught.value)
    assert "in week 2 they are to get South 7.00, West 5.25 lb N/ac/week" in told
    assert "mean by area is 6.42" in told
    assert together.zone_sheet("both", support.day_in(2), 6).n_lb == pytest.approx(5.25 * ACRES * 1.5)


def test_a_zone_whose_blocks_have_different_mixes_is_refused_in_those_weeks_only() -> None:
    together = shared(mix_steps=(MixStep(1, (ALONE,)), MixStep(3, (FULL,))))
    with pytest.raises(
        UserError, match=r"in week 3 their mixes differ \(south: calcium nitrate, Epsom salt; west: pot"
    ):
        together.zone_sheet("both", support.day_in(3))
    for week in (2, 4):
        assert together.zone_sheet("both", support.day_in(week)).week.number == week


# --- doses --------------------------------------------------------------------------------------------------


def test_minutes_from_a_mixed_tank_follow_the_part_of_it_that_is_wanted() -> None:
    """100 gal at 20 gal/h last 300 min; a quarter of its nitrogen takes 75."""
    [dose] = farm().doses("north", 4.0, 100.0, 1.0 / ACRES, support.BLOOM)
    assert (dose.n_lb, dose.minutes) == (pytest.approx(1.0), pytest.approx(75.0))


def test_without_a_wish_one_injection_at_the_decided_rate_is_meant() -> None:
    [dose] = farm(one(changes=(RAISED,))).doses("north", 4.0, 100.0, None, support.day_in(2, 3))
    assert dose.n_lb == pytest.approx(7.0 * ACRES / 2)


def test_zones_of_a_block_get_their_parts_of_the_minutes() -> None:
    zones = {
        "upper": Zone("upper", "Upper", {"north": 0.25}, 600.0),
        "lower": Zone("lower", "Lower", {"north": 0.75}, 1200.0),
    }
    pumped = farm(zones=zones).doses("north", 4.0, 100.0, 1.0 / ACRES, support.BLOOM)
    assert [dose.minutes for dose in pumped] == pytest.approx([75 / 4, 75 * 3 / 4])
    by_ratio = farm(zones=zones, injector=RatioInjector(100.0)).doses(
        "north", 4.0, 6.0, 1.0 / ACRES, support.BLOOM
    )
    assert [dose.minutes for dose in by_ratio] == pytest.approx([60 / 4 / 4, 30 / 4 * 3 / 4])


def test_a_dose_without_an_injector_is_refused() -> None:
    with pytest.raises(UserError, match=r"set pump_rate or ratio under \[injection\] first"):
        farm(injector=None).doses("north", 4.0, 100.0, None, support.BLOOM)


def test_a_dose_by_a_proportional_injector_without_the_flow_is_refused_with_the_zone() -> None:
    with pytest.raises(UserError, match="zone north needs its flow"):
        farm(injector=RatioInjector(100.0)).doses("north", 4.0, 100.0, None, support.BLOOM)


@pytest.mark.parametrize(("n_lb", "gal"), [(0.0, 100.0), (4.0, 0.0), (-1.0, 100.0)])
def test_a_dose_from_an_empty_tank_is_refused(n_lb: float, gal: float) -> None:
    with pytest.raises(UserError, match="should hold some nitrogen in some volume"):
        farm().doses("north", n_lb, gal, None, support.BLOOM)


def test_a_dose_that_one_tank_does_not_hold_is_refused_with_the_tanks_it_takes() -> None:
    with pytest.raises(UserError, match="that takes 3 tanks"):
        farm().doses("north", 4.0, 100.0, 10.0 / ACRES, support.BLOOM)
    [dose] = farm().doses("north", 4.0, 100.0, 4.0 / ACRES, support.BLOOM)
    assert dose.minutes == pytest.approx(300.0)


def test_a_dose_for_a_block_that_shares_a_valve_is_refused() -> None:
    with pytest.raises(UserError, match="zone both"):
        shared().doses("south", 4.0, 100.0, None, support.BLOOM)


# --- injections that lie ahead ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("times", "offsets"),
    [(1, [0]), (2, [0, 3]), (3, [0, 2, 4]), (5, [0, 1, 2, 4, 5]), (7, [0, 1, 2, 3, 4, 5, 6])],
)
def test_injections_are_spread_over_the_week_from_its_first_day(times: int, offsets: list[int]) -> None:
    spread = farm(one(plan=replace(PLAN, injections_per_week=times)))
    found = list(spread.injections("north", support.BLOOM))
    assert [item.on for item in found if item.week == 2] == [support.day_in(2, offset) for offset in offsets]
    assert [item.number for item in found if item.week == 2] == list(range(1, times + 1))
    assert len(found) == 6 * times


def test_named_days_go_before_even_spreading_also_where_the_plan_begins_midweek() -> None:
    midweek = support.BLOOM + timedelta(days=2)
    named = farm(one(plan=replace(PLAN, start=midweek)), weekdays=(0, 4))
    found = [item.on for item in named.injections("north", midweek)]
    assert {day.weekday() for day in found} == {0, 4}
    assert found[:2] == [support.day_in(1, 4), support.day_in(2, 0)]
    assert found == sorted(found) and len(found) == 12


def test_only_days_from_today_on_that_were_not_logged_lie_ahead() -> None:
    logged = farm(one(applications=(applied(2, 0), applied(2, 3, 0.0))))
    days = [item.on for item in logged.injections("north", support.day_in(2, 3))]
    assert days[0] == support.day_in(3)
    not_yet = [item.on for item in logged.injections("north", support.day_in(2))]
    assert not_yet[0] == support.day_in(2, 3)
    unlogged = [item.on for item in farm().injections("north", support.day_in(2, 3))]
    assert unlogged[0] == support.day_in(2, 3)
    passed = [item.on for item in farm().injections("north", support.day_in(2, 4))]
    assert passed[0] == support.day_in(3)


def test_an_injection_holds_its_part_of_the_weeks_mix() -> None:
    found = list(farm().injections("north", support.BLOOM))
    assert all(item.n_lb == pytest.approx(5.25 * ACRES / 2) for item in found)
    assert [[part.product.name for part in item.parts] for item in found[5:7]] == [
        ["potassium nitrate"],
        ["calcium nitrate", "Epsom salt"],
    ]
    assert found[6].parts[1].weight_lb == pytest.approx(4.0 * ACRES / 2)


def test_with_one_tank_feeds_that_must_not_meet_alternate() -> None:
    thrice = farm(one(plan=replace(PLAN, injections_per_week=3)), tank=Tank(12.0), tanks=1)
    week = [item for item in thrice.injections("north", support.BLOOM) if item.week == 4]
    assert [[part.product.name for part in item.parts] for item in week] == [
        ["calcium nitrate"],
        ["Epsom salt"],
        ["calcium nitrate"],
    ]
    assert sum(item.n_lb for item in week) == pytest.approx(5.25 * ACRES)
    assert week[1].parts[0].weight_lb == pytest.approx(4.0 * ACRES)


def test_a_week_without_feeding_has_no_injections() -> None:
    resting = farm(one(plan=replace(PLAN, rates_lb_ac=(5.25, 0.0, 5.25))))
    assert {item.week for item in resting.injections("north", support.BLOOM)} == {1, 3}


# --- what the rest of the season takes ----------------------------------------------------------------------


def potash_lb(n_lb_ac: float) -> float:
    return n_lb_ac * ACRES / 0.13


def test_needs_of_the_whole_season_follow_its_mixes() -> None:
    found = weights(farm().needs(support.BLOOM - timedelta(days=1)))
    assert found == pytest.approx(
        {
            "potassium nitrate": potash_lb(3 * 5.25),
            "calcium nitrate": 3 * 5.25 * ACRES / 0.155,
            "Epsom salt": 3 * 4.0 * ACRES,
        }
    )


def test_in_the_running_week_what_was_applied_is_needed_no_more() -> None:
    """2.625 of week 2's 5.25 lb went out on its first day; week 3 is still to come."""
    half = farm(one(applications=(applied(2, 0),)))
    assert weights(half.needs(support.day_in(2, 1)))["potassium nitrate"] == pytest.approx(potash_lb(2.625 + 5.25))
    none = weights(farm().needs(support.day_in(2, 1)))["potassium nitrate"]
    assert none == pytest.approx(potash_lb(5.25 + 5.25))
    more = farm(one(applications=(applied(2, 0, 9.0),)))
    assert weights(more.needs(support.day_in(2, 1)))["potassium nitrate"] == pytest.approx(potash_lb(5.25))


def test_what_goes_beside_the_nitrogen_is_needed_in_the_same_part() -> None:
    late = farm(one(applications=(applied(6, 0),)))
    found = weights(late.needs(support.day_in(6, 1)))
    assert found == pytest.approx({"calcium nitrate": 2.625 * ACRES / 0.155, "Epsom salt": 2.0 * ACRES})


def test_what_was_applied_on_the_first_day_of_a_week_is_needed_no_more_on_that_day() -> None:
    late = farm(one(applications=(applied(6, 0),)))
    assert weights(late.needs(support.day_in(6)))["calcium nitrate"] == pytest.approx(2.625 * ACRES / 0.155)


def test_needs_are_what_the_injections_ahead_take_also_where_weeks_rest() -> None:
    resting = farm(one(plan=replace(PLAN, rates_lb_ac=(5.25, 5.25, 5.25, 5.25, 0.0, 5.25))))
    ahead = [part for item in resting.injections("north", support.BLOOM) for part in item.parts]
    assert weights(resting.needs(support.BLOOM)) == pytest.approx(weights(ahead))


def test_needs_are_what_the_injections_ahead_take() -> None:
    decided = farm(one(changes=(RAISED,)))
    ahead = [part for item in decided.injections("north", support.day_in(2)) for part in item.parts]
    assert weights(decided.needs(support.day_in(2))) == pytest.approx(weights(ahead))


def test_purchases_are_for_every_block_less_what_lies_in_the_shed() -> None:
    two = farm(one(), one("south"))
    lines = {line.product.name: line for line in two.purchases(support.BLOOM)}
    assert set(lines) == {"potassium nitrate", "calcium nitrate", "Epsom salt"}
    calcium = lines["calcium nitrate"]
    need = 2 * 3 * 5.25 * ACRES / 0.155
    assert (calcium.need_lb, calcium.on_hand_lb) == (pytest.approx(need), 10.0)
    assert (calcium.packages, calcium.cost) == (1, 25.0)
    assert lines["potassium nitrate"].need_lb == pytest.approx(2 * potash_lb(3 * 5.25))


def test_purchases_of_the_running_week_leave_out_what_was_applied() -> None:
    half = farm(one(applications=(applied(6, 0),)))
    [calcium, epsom] = half.purchases(support.day_in(6, 1))
    assert calcium.need_lb == pytest.approx(2.625 * ACRES / 0.155)
    assert (calcium.packages, calcium.bought_lb) == (0, 0.0)
    assert epsom.to_buy_lb == pytest.approx(2.0 * ACRES)
