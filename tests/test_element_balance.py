"""What goes into the tanks over a week is what the rate, the area and the labels say, whatever the mix."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.injection import Injecting, Pump, RatioInjector, Timing, Zone
from fertadjust.materials import Solubility
from fertadjust.mix_sheet import Member, MixSheet, mix_sheet
from fertadjust.plan import PlanWeek
from fertadjust.products import NUTRIENTS, Product
from fertadjust.stock import Tank
from fertadjust.units import UnitSystem
from tests import support

WEEK = PlanWeek(1, support.BLOOM, 5.25)
ROOM_FOR_ALL = Tank(15.0)

percents = st.floats(0.0, 14.0) | st.just(0.0)
others = st.fixed_dictionaries({key: percents for key in NUTRIENTS if key != "n"})
rows = st.lists(st.floats(0.02, 0.6), min_size=2, max_size=2).map(sorted)
solubilities = rows.map(lambda row: Solubility(((0.0, row[0]), (30.0, row[1])), "none", Evidence.OWN))
areas = st.floats(0.01, 500.0)
rates = st.floats(0.05, 30.0)


@st.composite
def products(draw: st.DrawFn, name: str, n: float, share: float, lb_ac: float) -> Product:
    """A product by a random label, dry with a known or an unknown solubility, or liquid."""
    kind = draw(st.sampled_from(["dry", "dry", "liquid", "unknown"]))
    return Product(
        name,
        {"n": n} | draw(others),
        share=share,
        lb_ac=lb_ac,
        density_lb_gal=draw(st.floats(8.3, 14.0)) if kind == "liquid" else None,
        solubility=draw(solubilities) if kind == "dry" else None,
    )


@st.composite
def mixes(draw: st.DrawFn) -> tuple[Product, ...]:
    """Products whose shares add to 1, and others beside them that hold no nitrogen."""
    parts = draw(st.lists(st.floats(0.05, 1.0), min_size=1, max_size=4))
    fed = [
        draw(products(f"fed {index}", draw(st.floats(1.0, 46.0)) / 3 + 1, part / sum(parts), 0.0))
        for index, part in enumerate(parts)
    ]
    weights = draw(st.lists(st.floats(0.1, 40.0), max_size=2))
    beside = [draw(products(f"beside {index}", 0.0, 0.0, weight)) for index, weight in enumerate(weights)]
    return tuple(draw(st.permutations([*fed, *beside])))


def two_tanks_will_do(mix: tuple[Product, ...]) -> bool:
    """Whether no third tank is needed, as it is for calcium, sulfate and something sold with both in it."""
    kinds = set()
    for item in mix:
        calcium = item.percent.get("ca", 0.0) > 0
        against = item.percent.get("s", 0.0) + item.percent.get("p2o5", 0.0) > 0
        kinds.add((calcium, against))
    return len(kinds - {(False, False)}) < 3


@st.composite
def zones_and_shares(draw: st.DrawFn) -> tuple[list[Zone], list[float]]:
    parts = draw(st.lists(st.floats(0.1, 1.0), min_size=1, max_size=3))
    zones = [
        Zone(
            f"zone {index}",
            f"zone {index}",
            {"north": part / sum(parts)},
            draw(st.none() | st.floats(50.0, 5000.0)),
            draw(st.none() | st.floats(10.0, 600.0)),
        )
        for index, part in enumerate(parts)
    ]
    return zones, [part / sum(parts) for part in parts]


@dataclass(frozen=True)
class Case:
    """Everything a sheet is made from."""

    mix: tuple[Product, ...]
    members: tuple[Member, ...]
    zones: tuple[Zone, ...]
    shares: tuple[float, ...]
    injections: int
    injecting: Injecting

    @property
    def area_ac(self) -> float:
        return sum(member.area_ac for member in self.members)

    @property
    def n_lb(self) -> float:
        return sum(member.area_ac * member.rate_lb_ac for member in self.members)

    def weight_lb(self, product: Product) -> float:
        """Weight of a product in the week by its label and the rate, by the arithmetic of the trade."""
        if product.share > 0:
            return self.n_lb * product.share * 100.0 / product.percent["n"]
        return product.lb_ac * self.area_ac

    def sheet(self) -> MixSheet:
        return mix_sheet(
            WEEK, self.members, self.mix, self.zones, self.shares, self.injections, self.injecting, UnitSystem.US
        )


@st.composite
def cases(draw: st.DrawFn, *, tight: bool = False) -> Case:
    """A sheet to make; a tight one has a tank of limited size, an injector and sets that may be too short."""
    rate = draw(rates)
    members = tuple(Member(f"block {index}", "", draw(areas), rate) for index in range(draw(st.integers(1, 3))))
    zones, shares = draw(zones_and_shares())
    tank, tanks = ROOM_FOR_ALL, draw(st.integers(1, 2))
    injector: Pump | RatioInjector | None = None
    if tight:
        tank = replace(tank, volume_gal=draw(st.none() | st.floats(20.0, 5000.0)), share=draw(st.floats(0.3, 1.0)))
        injector = draw(st.floats(5.0, 500.0).map(Pump) | st.floats(20.0, 1000.0).map(RatioInjector))
    else:
        zones = [replace(zone, set_minutes=None) for zone in zones]
    timing = Timing(travel=draw(st.none() | st.floats(1.0, 60.0)))
    injections = draw(st.integers(2, 7))
    injecting = Injecting(tank, injector, timing, tanks=tanks)
    return Case(
        draw(mixes().filter(two_tanks_will_do)), members, tuple(zones), tuple(shares), injections, injecting
    )


def in_tanks_lb(sheet: MixSheet, nutrient: str) -> float:
    """A nutrient in every tank of the week, by the labels of what is weighed out [lb]."""
    return sum(
        feed.count * part.weight_lb * part.product.percent.get(nutrient, 0.0) / 100.0
        for feed in sheet.feeds
        for stock in feed.stocks
        for part in stock.parts
    )


@given(cases())
@settings(deadline=None)
def test_the_weeks_nitrogen_is_the_rate_on_the_area(case: Case) -> None:
    sheet = case.sheet()
    assert sheet.n_lb == pytest.approx(case.n_lb, rel=1e-12)
    assert in_tanks_lb(sheet, "n") == pytest.approx(case.n_lb, rel=1e-9)


@given(cases(), st.sampled_from(NUTRIENTS))
@settings(deadline=None)
def test_every_nutrient_in_the_tanks_is_what_the_labels_say(case: Case, nutrient: str) -> None:
    expected = sum(case.weight_lb(item) * item.percent.get(nutrient, 0.0) / 100.0 for item in case.mix)
    assert in_tanks_lb(case.sheet(), nutrient) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@given(cases())
@settings(deadline=None)
def test_every_product_is_weighed_out_once_over_the_week(case: Case) -> None:
    weight = dict.fromkeys((item.name for item in case.mix), 0.0)
    nutrients = dict.fromkeys(NUTRIENTS, 0.0)
    for feed in case.sheet().feeds:
        for part in (part for stock in feed.stocks for part in stock.parts):
            weight[part.product.name] += feed.count * part.weight_lb
            for key, amount in part.nutrients_lb.items():
                nutrients[key] += feed.count * amount
    assert weight == pytest.approx({item.name: case.weight_lb(item) for item in case.mix}, rel=1e-9)
    assert nutrients == pytest.approx({key: in_tanks_lb(case.sheet(), key) for key in NUTRIENTS}, rel=1e-9)


@given(cases())
@settings(deadline=None)
def test_feeds_add_up_to_the_weeks_injections_and_runs_to_its_nitrogen(case: Case) -> None:
    sheet = case.sheet()
    assert sum(feed.count for feed in sheet.feeds) == case.injections
    assert all(feed.count > 0 for feed in sheet.feeds)
    injected = sum(feed.count * run.n_lb for feed in sheet.feeds for run in feed.runs)
    assert injected == pytest.approx(case.n_lb, rel=1e-9)


@given(cases())
@settings(deadline=None)
def test_calcium_meets_no_sulfate_or_phosphate_in_any_tank(case: Case) -> None:
    for stock in (stock for feed in case.sheet().feeds for stock in feed.stocks):
        labels = [part.product.percent for part in stock.parts]
        calcium = any(label["ca"] > 0 for label in labels)
        other = any(label["ca"] == 0 and label["s"] + label["p2o5"] > 0 for label in labels)
        assert not (calcium and other)


@given(cases())
@settings(deadline=None)
def test_one_tank_serves_one_stock_at_a_time(case: Case) -> None:
    assert case.injecting.tank is not None
    assert all(len(feed.stocks) <= case.injecting.tanks for feed in case.sheet().feeds)


def check_volumes(case: Case, sheet: MixSheet) -> None:
    tank = case.injecting.tank
    assert tank is not None
    for feed in sheet.feeds:
        for stock in feed.stocks:
            assert stock.volume_gal is not None and stock.least_gal is not None
            assert stock.volume_gal >= stock.least_gal * (1 - 1e-8)
            assert tank.volume_gal is None or stock.volume_gal <= tank.volume_gal * (1 + 1e-9)
        for run in feed.runs:
            if run.zone.set_minutes is not None and run.set_minutes is not None and run.stock_gal:
                assert run.set_minutes <= run.zone.set_minutes * (1 + 1e-8)


def followed(case: Case, text: str) -> Case:
    """The same with as many injections as a refusal proposes."""
    found = re.search(r"Feasible: (\d+) times as many injections a week", text)
    assert found is not None, text
    return replace(case, injections=case.injections * int(found[1]))


@given(cases(tight=True))
@settings(deadline=None, max_examples=300)
def test_a_volume_dissolves_everything_and_fits_the_tank_and_the_set(case: Case) -> None:
    try:
        sheet = case.sheet()
    except UserError as error:
        assert "Feasible: " in str(error)
        return
    check_volumes(case, sheet)


@given(cases(tight=True))
@settings(deadline=None, max_examples=300)
def test_what_a_refusal_proposes_gets_past_it(case: Case) -> None:
    """Tank, zones and both feeds may refuse one after another; following each in turn has to come to a sheet."""
    refusals = []
    for _ in range(2 * (1 + len(case.zones)) + 1):
        try:
            check_volumes(case, case.sheet())
        except UserError as error:
            text = str(error)
            if "leaves 0 beside" in text:
                return
            refusals.append(text)
            case = followed(case, text)
        else:
            return
    raise AssertionError("\n".join(refusals))
