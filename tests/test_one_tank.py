"""A farm with one stock tank: nothing is lost or doubled when products that must not meet take turns."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fertadjust.errors import UserError
from fertadjust.feeding import Farm
from fertadjust.injection import Injecting, Pump, Timing
from fertadjust.ledger import Application
from fertadjust.products import Product
from fertadjust.season import BlockSeason
from fertadjust.stock import Tank
from fertadjust.units import UnitSystem
from tests import support

CALCIUM = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=1.0, nitrate_n=14.5)
EPSOM = Product("Epsom salt", {"n": 0.0, "mg": 9.9, "s": 13.0}, lb_ac=5.0)
SULFATE = Product("ammonium sulfate", {"n": 21.0, "s": 24.0}, share=0.5)
PUMP = Injecting(injector=Pump(20.0), timing=Timing(travel=20.0), tanks=1)


def farm(*products: Product, injecting: Injecting = PUMP, **season: object) -> Farm:
    one: BlockSeason = replace(support.season(**season), products=products)  # type: ignore[arg-type]
    return Farm({"north": one}, injecting, UnitSystem.US)


@pytest.mark.parametrize(
    "injecting", [PUMP, Injecting(Tank(10.0), Pump(20.0), tanks=1)], ids=["no water", "water"]
)
def test_one_tank_is_one_tank_whether_the_water_is_known_or_not(injecting: Injecting) -> None:
    sheet = farm(CALCIUM, EPSOM, injecting=injecting).block_sheet("north", support.BLOOM)
    assert [[stock.tank for stock in feed.stocks] for feed in sheet.feeds] == [["A"], ["B"]]


def test_minutes_bring_all_the_nitrogen_that_one_of_two_feeds_carries() -> None:
    [dose] = farm(CALCIUM, EPSOM).doses("north", 2.0, 14.0, None, support.BLOOM)
    assert dose.n_lb == pytest.approx(
        5.25 * support.block().area_ac()
    )  # one of the two injections, all the week's


def test_two_feeds_with_nitrogen_have_to_be_told_apart() -> None:
    two = farm(replace(CALCIUM, share=0.5), SULFATE)
    with pytest.raises(UserError, match=r"with 2\.62 and 2\.62 lb N/ac: say with --n"):
        two.doses("north", 5.0, 14.0, None, support.BLOOM)


def test_products_that_may_meet_are_one_feed_whatever_tank_they_were_put_into() -> None:
    urea = Product("urea", {"n": 46.0}, share=0.5, tank="B")
    sheet = farm(replace(CALCIUM, share=0.5), urea).block_sheet("north", support.BLOOM)
    [feed] = sheet.feeds
    assert (feed.count, [stock.tank for stock in feed.stocks]) == (2, ["A"])


def test_what_is_logged_in_the_running_week_is_told_on_the_sheet() -> None:
    fed = (Application(1, "north", support.BLOOM, 2.0),)
    told = farm(CALCIUM, applications=fed).block_sheet("north", support.day_in(1, 2)).notes
    assert told[0] == "North: 2.00 of 5.25 lb N/ac is logged for this week already; 3.25 is left to inject."
    assert not any("is logged" in note for note in farm(CALCIUM).block_sheet("north", support.BLOOM).notes)


def test_what_dissolves_unknown_how_is_given_no_number_of_injections_in_a_fill() -> None:
    """Neither product here states a solubility."""
    known = Injecting(Tank(10.0, volume_gal=50.0), Pump(20.0), Timing(travel=20.0))
    [feed] = farm(CALCIUM, injecting=known).block_sheet("north", support.BLOOM).feeds
    assert (feed.in_a_fill, feed.fills) == (None, None)
    assert feed.stocks[0].unknown == ("calcium nitrate",)
