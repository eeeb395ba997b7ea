"""Feeding as a season file sets it up: products, mixes, tanks, zones, credits, and every fault at its line."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from fertadjust.errors import Fault, UserError
from fertadjust.evidence import Evidence
from fertadjust.feeding_model import CreditKind
from fertadjust.injection import Pump, RatioInjector
from fertadjust.products import Product
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.shipped import shipped_materials
from fertadjust.units import KG_HA_PER_LB_AC, KG_PER_LB, L_PER_GAL, LB_GAL_PER_KG_L, LB_PER_TON, NO3_TO_NO3N
from tests.test_season_file import SEASON, edited, line_of, one

METRIC = ('units = "us"', 'units = "metric"')
METRIC_BOUNDS = ("floor = 3.0\nceiling = 7.0", "floor = 3.3\nceiling = 7.9")
PRODUCTS = SEASON[SEASON.index("[[products]]") : SEASON.index("[blocks.north]")]
CREDIT = '[[credits]]\nname = "preplant"\nn = 60\n'
NITRATES = """\
[[products]]
name = "lime nitrate"
material = "calcium_nitrate"

[[products]]
name = "potash nitrate"
material = "potassium_nitrate"

[[products]]
name = "Epsom salt"
material = "epsom"

"""
POTASH_ALONE = '[[mixes]]\nweek = 1\nshares = { "potash nitrate" = 1.0 }\n\n'


def read(text: str) -> SeasonFile:
    return parse_season(text, Path())


def told(text: str) -> list[Fault]:
    """Every fault of a season file."""
    with pytest.raises(UserError) as caught:
        read(text)
    return list(caught.value.faults)


def with_products(text: str) -> str:
    return edited((PRODUCTS, text + "\n"))


def single(lines: str, units: str = "us") -> Product:
    """The product of a season with that one only."""
    text = with_products(f"[[products]]\nshare = 1\n{lines}\n")
    return read(text.replace('units = "us"', f'units = "{units}"')).blocks["north"].products[0]


def single_fault(lines: str) -> Fault:
    """What is wrong with the one product of a season."""
    return one(told(with_products(f"[[products]]\n{lines}\n")))


# --- products -----------------------------------------------------------------------------------------------


def test_a_material_alone_brings_its_own_name_label_and_forms() -> None:
    product, material = single('material = "calcium nitrate"'), shipped_materials()["calcium_nitrate"]
    assert product.name == material.name == "calcium nitrate"
    assert product.percent == material.percent
    assert (product.nitrate_n, product.ammonium_n, product.urea_n) == (14.5, 1.0, 0.0)
    assert product.solubility == material.used_solubility()
    assert (product.density_lb_gal, product.share, product.lb_ac) == (None, 1.0, 0.0)


def test_a_label_alone_says_nothing_that_it_does_not_say() -> None:
    product = single('name = "ours"\ngrade = "13-0-45"')
    assert product.percent == {"n": 13.0, "k2o": 45.0}
    assert (product.nitrate_n, product.ammonium_n, product.urea_n) == (None, None, None)
    assert (product.solubility, product.density_lb_gal, product.tank) == (None, None, "")


def test_the_label_comes_first_and_the_material_fills_up() -> None:
    product = single('name = "ours"\nmaterial = "calcium_nitrate"\ngrade = "15-0-0"\nmg = 0.5')
    assert product.name == "ours"
    assert product.percent == {"n": 15.0, "ca": 19.0, "mg": 0.5}
    assert product.solubility == shipped_materials()["calcium_nitrate"].used_solubility()


def test_a_label_that_says_zero_does_not_take_away_what_makes_the_material() -> None:
    fault = one(told(with_products('[[products]]\nmaterial = "calcium_nitrate"\nca = 0\nshare = 1\n')))
    assert fault.key == "products[1].ca"
    assert fault.message == "calcium nitrate carries Ca; a product without it is another material"


def test_a_product_named_after_a_material_with_calcium_or_sulfur_has_to_say_how_much() -> None:
    for name, grade, key in (("calcium nitrate", "15.5-0-0", "ca"), ("ammonium sulfate", "21-0-0", "s")):
        text = with_products(f'[[products]]\nname = "{name}"\ngrade = "{grade}"\nshare = 1\n')
        fault = one(told(text))
        assert (fault.key, f"give {key} from the label" in fault.message) == ("products[1].name", True)


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        ("s = 90", "material", "add up to"),
        ("nitrate_n = 50", "material", "above the total N of 13 %"),
        ("liquid = true", "liquid", "is sold dry"),
    ],
)
def test_a_label_that_does_not_fit_its_material_is_told(lines: str, key: str, words: str) -> None:
    text = with_products(f'[[products]]\nmaterial = "potassium_nitrate"\n{lines}\nshare = 1\n')
    fault = one(told(text))
    assert fault.key == f"products[1].{key}" and words in fault.message


def test_the_materials_forms_go_in_proportion_to_the_labels_nitrogen() -> None:
    product = single('name = "ours"\nmaterial = "calcium_nitrate"\ngrade = "14-0-0"')
    assert product.nitrate_n == pytest.approx(14.5 * 14 / 15.5)
    assert product.ammonium_n == pytest.approx(1.0 * 14 / 15.5)
    assert product.urea_n == 0


def test_forms_of_the_label_are_not_mixed_with_those_of_the_material() -> None:
    product = single('material = "calcium_nitrate"\nnitrate_n = 14.4')
    assert (product.nitrate_n, product.ammonium_n, product.urea_n) == (14.4, None, None)


def test_a_liquid_has_the_materials_density_unless_the_label_says_another() -> None:
    assert single('material = "uan_32"').density_lb_gal == 11.06
    assert single('material = "uan_32"\ndensity = 11.1').density_lb_gal == 11.1
    own = single('material = "uan_32"\ndensity = 1.33', "metric").density_lb_gal
    assert own == pytest.approx(1.33 * L_PER_GAL / KG_PER_LB)


def test_own_solubility_holds_at_every_temperature_and_says_so() -> None:
    for units, strength in (("us", 1.0), ("metric", 1.0 / LB_GAL_PER_KG_L)):
        solubility = single(f'material = "potassium_nitrate"\nsolubility = {strength!r}', units).solubility
        assert solubility is not None
        assert solubility.limit_lb_gal(1.0) == pytest.approx(1.0)
        assert solubility.limit_lb_gal(40.0) == pytest.approx(1.0)
        assert solubility.evidence is Evidence.OWN


def test_a_price_is_that_of_a_package_by_weight_or_by_volume() -> None:
    dry = single('material = "potassium_nitrate"\npackage = 50\nprice = 48\non_hand = 25').shelf
    assert (dry.package_lb, dry.price, dry.on_hand_lb) == (50, pytest.approx(0.96), 25)
    liquid = single('material = "uan_32"\npackage = 250\nprice = 500\non_hand = 100').shelf
    assert liquid.package_lb == pytest.approx(250 * 11.06)
    assert liquid.price == pytest.approx(500 / (250 * 11.06))
    assert liquid.on_hand_lb == pytest.approx(100 * 11.06)


def test_metric_packages_are_in_kilograms_and_litres() -> None:
    dry = single('material = "potassium_nitrate"\npackage = 25\nprice = 48\non_hand = 10', "metric").shelf
    assert dry.package_lb == pytest.approx(25 / KG_PER_LB)
    assert dry.price == pytest.approx(48 * KG_PER_LB / 25)
    liquid = single('material = "uan_32"\npackage = 1000', "metric").shelf
    assert liquid.package_lb == pytest.approx(1000 / L_PER_GAL * 11.06)
    assert liquid.price is None


def test_a_product_beside_is_fed_by_weight() -> None:
    text = edited(("[blocks.north]", '[[products]]\nmaterial = "epsom"\nrate = 5\n\n[blocks.north]'))
    salt = read(text).blocks["north"].products[-1]
    assert (salt.share, salt.lb_ac, salt.used) == (0.0, 5.0, True)
    metric = edited(METRIC, METRIC_BOUNDS, text=text)
    assert read(metric).blocks["north"].products[-1].lb_ac == pytest.approx(5 / KG_HA_PER_LB_AC)


@pytest.mark.parametrize(
    ("lines", "key", "message"),
    [
        (
            'material = "calcium nitrat"\nshare = 1',
            "products[1].material",
            'there is no material "calcium nitrat"; near it: calcium_nitrate',
        ),
        ('material = "zzz"\nshare = 1', "products[1].material", 'there is no material "zzz"; known: '),
        (
            'material = "can_27_solid"\nshare = 1',
            "products[1].material",
            "calcium ammonium nitrate, solid (CAN-27) is not for drip lines: Holds lime",
        ),
        (
            'material = "epsom"\nshare = 1',
            "products[1].share",
            "it holds no nitrogen and cannot have a share of it: give rate, its weight per area and week",
        ),
        (
            'name = "x"\ngrade = "20-0-0"\nliquid = true\nshare = 1',
            "products[1]",
            "a liquid needs its density from the label, to measure it by volume",
        ),
        (
            'material = "potassium_nitrate"\nshare = 1\nprice = 48',
            "products[1]",
            "price is that of one bag or jug: give package",
        ),
        (
            'material = "potassium_nitrate"\nshare = 1\nrate = 4',
            "products[1]",
            "give share (of the nitrogen) or rate (of the product), one of the two",
        ),
        (
            'name = "x"\ngrade = "10-0-0"\nshare = 1\nnitrate_n = 6\nammonium_n = 3\nurea_n = 0',
            "products[1]",
            "the forms of nitrogen add up to 9 %, the total N is 10 %",
        ),
    ],
)
def test_a_fault_of_a_product_is_told_at_its_place(lines: str, key: str, message: str) -> None:
    fault = single_fault(lines)
    text = with_products(f"[[products]]\n{lines}\n")
    start = key.rpartition(".")[2] + " = " if "." in key else "[[products]]"
    assert (fault.file, fault.line, fault.key) == ("season.toml", line_of(text, start), key)
    assert fault.message.startswith(message)


def test_nitrogen_is_not_fed_by_the_weight_of_its_product() -> None:
    text = edited(("[blocks.north]", '[[products]]\nmaterial = "urea"\nrate = 5\n\n[blocks.north]'))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("products[3].rate", line_of(text, "rate = 5\n".strip(), 2))
    assert fault.message == "it holds nitrogen: give share, its share of the nitrogen, not a rate"


def test_a_liquid_of_no_known_density_is_told() -> None:
    liquids = [item for item in shipped_materials().values() if item.liquid and item.density is None and item.drip]
    assert liquids
    for item in liquids:
        fed = "share = 1" if item.percent["n"] else "rate = 1"
        faults = told(with_products(f'[[products]]\nmaterial = "{item.id}"\n{fed}\n'))
        assert f"{item.name} needs its density from the label" in {fault.message for fault in faults}


def test_shares_that_do_not_add_up_are_told() -> None:
    text = edited(("share = 0.5", "share = 0.4"))
    fault = one(told(text))
    assert fault.message == "the shares of nitrogen add up to 0.9; they should add up to 1"
    assert (fault.key, fault.line) == ("products", line_of(text, "[[products]]"))


def test_two_products_of_one_name_are_told() -> None:
    fault = one(told(edited(('name = "potassium nitrate"', 'name = "calcium nitrate"\nca = 0\ns = 0'))))
    assert (fault.message, fault.key) == ('the product "calcium nitrate" stands twice', "products")


def test_figures_from_memory_are_noted_unless_the_label_replaces_them() -> None:
    text = with_products('[[products]]\nmaterial = "calcium_nitrate"\nshare = 1\n')
    said = "calcium nitrate: the split of nitrogen forms is from memory; take it from the label."
    assert said in read(text).notes
    assert said not in read(text.replace("share = 1", "share = 1\nnitrate_n = 14.4")).notes


# --- mixes --------------------------------------------------------------------------------------------------


def mixed(mixes: str, *edits: tuple[str, str]) -> str:
    """A season with two nitrates, Epsom salt and the mixes given."""
    return edited(*edits, text=with_products(NITRATES + mixes))


def shares_in(file: SeasonFile, week: int, block: str = "north") -> dict[str, float]:
    return {item.name: item.share for item in file.blocks[block].mixes.in_week(week)}


HALVES_FROM_FRUIT_SET = """\
[[mixes]]
stage = "fruit_set"
shares = { "lime nitrate" = 0.5, "potash nitrate" = 0.5 }
rates = { "Epsom salt" = 5.0 }

"""


def test_mixes_feed_from_their_week_on() -> None:
    file = read(mixed(POTASH_ALONE + HALVES_FROM_FRUIT_SET.replace('stage = "fruit_set"', "week = 4")))
    assert [shares_in(file, week) for week in (1, 3)] == [{"potash nitrate": 1.0}] * 2
    halves = {"lime nitrate": 0.5, "potash nitrate": 0.5, "Epsom salt": 0.0}
    assert [shares_in(file, week) for week in (4, 12)] == [halves] * 2
    [salt] = [item for item in file.blocks["north"].mixes.in_week(4) if item.name == "Epsom salt"]
    assert salt.lb_ac == 5.0


def test_rates_of_mixes_are_in_the_seasons_unit() -> None:
    text = mixed(POTASH_ALONE + 'rates = { "Epsom salt" = 5.0 }\n', METRIC, METRIC_BOUNDS)
    salt = read(text).blocks["north"].mixes.in_week(1)[-1]
    assert (salt.name, salt.lb_ac) == ("Epsom salt", pytest.approx(5 / KG_HA_PER_LB_AC))


@pytest.mark.parametrize(
    ("day", "week"),
    [("2026-03-02", 1), ("2026-03-03", 2), ("2026-03-09", 2), ("2026-03-10", 3), ("2026-02-20", 1)],
)
def test_a_mix_from_a_stage_begins_with_the_first_week_that_is_all_in_it(day: str, week: int) -> None:
    text = mixed(POTASH_ALONE + HALVES_FROM_FRUIT_SET, ("[plan]", f"fruit_set = {day}\n\n[plan]"))
    text = edited(("first_bloom = 2026-03-02", "first_bloom = 2026-02-16"), text=text)
    if week == 1:
        text = edited((POTASH_ALONE, ""), text=text)
    assert read(text).blocks["north"].mix_steps[-1].first_week == week


def test_every_block_changes_its_mix_by_its_own_stages() -> None:
    text = mixed(POTASH_ALONE + HALVES_FROM_FRUIT_SET, ("[plan]", "fruit_set = 2026-03-23\n\n[plan]"))
    file = read(text + "stages = { fruit_set = 2026-04-06 }\n")
    assert file.blocks["north"].mix_steps[1].first_week == 4
    assert file.blocks["south"].mix_steps[1].first_week == 6
    assert shares_in(file, 5, "north") != shares_in(file, 5, "south") == {"potash nitrate": 1.0}


def test_a_mix_from_a_stage_without_a_date_waits_and_says_so() -> None:
    file = read(mixed(POTASH_ALONE + HALVES_FROM_FRUIT_SET))
    waits = (
        "the mix from fruit set on waits for a date of it under [stages], which has dates for first bloom; until "
        "then the one before it feeds."
    )
    assert file.notes.count(waits) == 1
    assert shares_in(file, 12) == {"potash nitrate": 1.0}


def test_mixes_in_turn_alternate_from_their_first_week() -> None:
    turns = '[[mixes]]\nweek = 3\nin_turn = [{ "lime nitrate" = 1.0 }, { "potash nitrate" = 1.0 }]\n\n'
    file = read(mixed(POTASH_ALONE + turns))
    fed = [next(iter(shares_in(file, week))) for week in range(1, 7)]
    lime, potash = "lime nitrate", "potash nitrate"
    assert fed == [potash, potash, lime, potash, lime, potash]


def test_one_tank_for_what_must_not_meet_is_noted_when_nobody_forced_it() -> None:
    text = mixed(POTASH_ALONE + HALVES_FROM_FRUIT_SET.replace('stage = "fruit_set"', "week = 4"))
    clash = "lime nitrate carries calcium and Epsom salt carries sulfate or phosphate: keep them in separate"
    assert [note.startswith(clash) for note in read(text).notes].count(True) == 1


@pytest.mark.parametrize("tank", ["A", "B"])
def test_one_tank_that_the_grower_chose_for_what_must_not_meet_is_refused(tank: str) -> None:
    text = mixed(POTASH_ALONE + HALVES_FROM_FRUIT_SET.replace('stage = "fruit_set"', "week = 4"))
    for material in ("calcium_nitrate", "epsom"):
        text = text.replace(f'material = "{material}"', f'material = "{material}"\ntank = "{tank}"')
    fault = one(told(text))
    assert (fault.file, fault.key, fault.line) == ("season.toml", "products", line_of(text, "[[products]]"))
    assert fault.message.startswith(f"tank {tank}: lime nitrate carries calcium and Epsom salt carries sulfate")


def test_products_go_into_the_tanks_that_the_grower_chose() -> None:
    text = mixed(POTASH_ALONE).replace(
        'material = "potassium_nitrate"', 'material = "potassium_nitrate"\ntank = "B"'
    )
    assert read(text).blocks["north"].mixes.in_week(1)[0].tank == "B"


@pytest.mark.parametrize(
    ("mixes", "key", "message"),
    [
        (
            POTASH_ALONE.replace("potash nitrate", "potash"),
            "mixes[1]",
            'there is no product "potash"; there are: lime nitrate, potash nitrate, Epsom salt',
        ),
        (
            POTASH_ALONE.replace("potash nitrate", "Epsom salt"),
            "mixes[1]",
            "Epsom salt holds no nitrogen and cannot have a share of it: set it in rates",
        ),
        (
            POTASH_ALONE + 'rates = { "lime nitrate" = 2.0 }\n',
            "mixes[1]",
            "lime nitrate holds nitrogen: give its share of it, not a rate",
        ),
        (
            POTASH_ALONE.replace("week = 1", "week = 2"),
            "mixes",
            "the first mix should begin with week = 1",
        ),
        (HALVES_FROM_FRUIT_SET, "mixes", "the first mix should begin with week = 1"),
        (
            POTASH_ALONE.replace("1.0", "0.9"),
            "mixes[1].shares",
            "the shares of nitrogen add up to 0.9; they should add up to 1",
        ),
        (
            '[[mixes]]\nweek = 1\nin_turn = [{ "lime nitrate" = 1.0 }, { "potash nitrate" = 0.5 }]\n\n',
            "mixes[1].in_turn[2]",
            "the shares of nitrogen add up to 0.5; they should add up to 1",
        ),
        (
            POTASH_ALONE.replace("week = 1\n", ""),
            "mixes[1]",
            "give week or stage, from which on the mix feeds; one of the two",
        ),
        (
            POTASH_ALONE.replace("week = 1", 'week = 1\nstage = "fruit_set"'),
            "mixes[1]",
            "give week or stage, from which on the mix feeds; one of the two",
        ),
        (
            POTASH_ALONE.replace("week = 1", 'week = 1\nin_turn = [{ "potash nitrate" = 1.0 }]'),
            "mixes[1]",
            "give shares for the same mix every week, or in_turn for mixes that alternate",
        ),
    ],
)
def test_a_fault_of_a_mix_is_told_at_its_place(mixes: str, key: str, message: str) -> None:
    text = mixed(mixes)
    found = {(fault.key, fault.message, fault.line) for fault in told(text)}
    start = key.rpartition(".")[2].partition("[")[0] + " = " if "." in key else "[[mixes]]"
    assert found == {(key, message, line_of(text, start, 1 if "." not in key else _nth(text, start)))}


def _nth(text: str, start: str) -> int:
    """Which of the lines that begin so stands under the mixes."""
    before = text[: text.index("[[mixes]]")]
    return sum(line.startswith(start) for line in before.splitlines()) + 1


def test_mixes_out_of_order_are_told_for_every_block() -> None:
    text = mixed(
        POTASH_ALONE + HALVES_FROM_FRUIT_SET + POTASH_ALONE.replace("week = 1", "week = 6"),
        ("[plan]", "fruit_set = 2026-05-04\n\n[plan]"),
    )
    faults = told(text)
    assert {(fault.key, fault.line) for fault in faults} == {("mixes[3]", line_of(text, "[[mixes]]", 3))}
    for block in ("north", "south"):
        said = (
            f"begins in week 6 on block {block}, before the mix above it, which begins in week 10; mixes should "
            "stand in the order that they feed"
        )
        assert said in {fault.message for fault in faults}


@pytest.mark.parametrize(("material", "key", "value"), [("potassium_nitrate", "share", 1), ("epsom", "rate", 5)])
def test_what_feeds_when_stands_in_one_place(material: str, key: str, value: int) -> None:
    text = mixed(POTASH_ALONE).replace(f'material = "{material}"', f'material = "{material}"\n{key} = {value}')
    fault = one(told(text))
    assert fault.message == f"{key} goes into [[mixes]], which say what feeds when"
    index = {"potassium_nitrate": 2, "epsom": 3}[material]
    assert fault.key == f"products[{index}].{key}"
    assert text.splitlines()[(fault.line or 0) - 1] == f"{key} = {value}"


# --- injection ----------------------------------------------------------------------------------------------


def injected(lines: str, *edits: tuple[str, str]) -> str:
    return edited(*edits) + f"\n[injection]\n{lines}\n"


def test_tanks_and_injector_are_read_in_the_seasons_units() -> None:
    us = read(injected("water_temperature = 50\ntank = 50\npump_rate = 20\ndays = ['Thu', 'Mon']")).injecting
    assert us.tank is not None
    assert us.tank.celsius == pytest.approx(10)
    assert (us.tank.volume_gal, us.tank.share, us.tanks) == (50, 0.8, 2)
    assert us.injector == Pump(20)
    assert us.weekdays == (0, 3)
    metric = read(
        injected("water_temperature = 10\ntank = 200\ntanks = 1\nratio = 100", METRIC, METRIC_BOUNDS)
    ).injecting
    assert metric.tank is not None
    assert (metric.tank.celsius, metric.tanks) == (10, 1)
    assert metric.tank.volume_gal == pytest.approx(200 / L_PER_GAL)
    assert metric.injector == RatioInjector(100)


def test_a_season_without_tanks_has_none() -> None:
    injecting = read(SEASON).injecting
    assert (injecting.tank, injecting.injector, injecting.weekdays, injecting.zones) == (None, None, (), {})


@pytest.mark.parametrize("degrees", [32.0, 140.0])
def test_water_from_freezing_to_hot_is_taken(degrees: float) -> None:
    assert read(injected(f"water_temperature = {degrees}")).injecting.tank is not None


@pytest.mark.parametrize(
    ("lines", "key", "message"),
    [
        ("water_temperature = 31.9", ".water_temperature", "31.9 °F should be from 32 to 140 °F"),
        ("water_temperature = 141", ".water_temperature", "141 °F should be from 32 to 140 °F"),
        (
            'days = ["Mon"]',
            ".days",
            "names 1 days, the plan has 2 injections a week; the two should agree",
        ),
        ('days = ["Mon", "Mon"]', "", "a day stands twice"),
        ("pump_rate = 20\nratio = 100", "", "give pump_rate for a metering pump, or ratio for a proportional"),
        ("solubility_share = 0", ".solubility_share", "should be greater than 0; found 0"),
        ("solubility_share = 1.2", ".solubility_share", "should be less than or equal to 1; found 1.2"),
        ("ratio = 1", ".ratio", "should be greater than 1; found 1"),
        ("pomp_rate = 3", ".pomp_rate", "is not a known key; known here: water_temperature, "),
    ],
)
def test_a_fault_of_the_injection_is_told_at_its_place(lines: str, key: str, message: str) -> None:
    text = injected(lines)
    fault = one(told(text))
    start = f"{key[1:]} = " if key else "[injection]"
    assert (fault.file, fault.line, fault.key) == ("season.toml", line_of(text, start), f"injection{key}")
    assert fault.message.startswith(message)


@pytest.mark.parametrize("degrees", [-0.5, 60.5])
def test_water_out_of_range_is_told_in_celsius_in_a_metric_season(degrees: float) -> None:
    fault = one(told(injected(f"water_temperature = {degrees}", METRIC, METRIC_BOUNDS)))
    assert fault.message == f"{degrees:g} °C should be from 0 to 60 °C"


# --- zones --------------------------------------------------------------------------------------------------


def test_zones_are_read_in_the_seasons_units() -> None:
    zones = '\n[zones.east]\nname = "East"\nblocks = ["north"]\nparts = { south = 1.0 }\nflow = 900\n'
    zone = read(SEASON + zones).injecting.zones["east"]
    assert (zone.name, zone.parts, zone.flow_gal_h) == ("East", {"north": 1.0, "south": 1.0}, 900)
    metric = read(edited(METRIC, METRIC_BOUNDS) + zones).injecting.zones["east"]
    assert metric.flow_gal_h == pytest.approx(900 / L_PER_GAL)


def test_a_block_that_no_zone_names_is_watered_by_itself() -> None:
    injecting = read(SEASON + '\n[zones.east]\nblocks = ["north"]\n').injecting
    assert [zone.key for zone in injecting.zones_of("south")] == ["south"]


@pytest.mark.parametrize(
    ("zones", "key", "message"),
    [
        (
            '[zones.east]\nblocks = ["brook"]\n',
            "zones.east.blocks",
            'there is no block "brook"; there are: north, south',
        ),
        (
            "[zones.east]\nparts = { north = 0.5 }\n",
            "zones.east",
            "the zones water 0.5 of block north; its parts should add up to 1",
        ),
        (
            '[zones.east]\nblocks = ["north"]\n[zones.west]\nblocks = ["north"]\n',
            "zones.east",
            "the zones water 2 of block north; its parts should add up to 1",
        ),
        ('[zones.east]\nblocks = ["north", "north"]\n', "zones.east", "a block stands twice"),
        (
            "[zones.east]\nflow = 900\n",
            "zones.east",
            "name the blocks it waters, or parts of blocks such as parts = { north = 0.5 }",
        ),
        ("[zones.east]\nparts = { north = 0.0 }\n", "zones.east", "the part of a block should be above 0"),
    ],
)
def test_a_fault_of_a_zone_is_told_at_its_place(zones: str, key: str, message: str) -> None:
    text = f"{SEASON}\n{zones}"
    fault = one(told(text))
    assert (fault.file, fault.key, fault.message) == ("season.toml", key, message)
    assert fault.line is not None and fault.line >= line_of(text, "[zones.east]")


# --- credits ------------------------------------------------------------------------------------------------

KINDS = {
    "stated": (("n = 60", f"n = {60 * KG_HA_PER_LB_AC!r}"), 60.0),
    "water nitrate": (("ppm = 12\ndepth = 10", "ppm = 12\ndepth = 254"), None),
    "water nitrate as NO3": (('ppm = 40\ndepth = 10\nform = "NO3"', 'ppm = 40\ndepth = 254\nform = "NO3"'), None),
    "cover crop": (
        (
            "n_percent = 2.5\ndry_matter = 2",
            f"n_percent = 2.5\ndry_matter = {2 * LB_PER_TON * KG_HA_PER_LB_AC / 1000!r}",
        ),
        35.0,
    ),
    "compost": (
        (
            "n_percent = 1.5\nspread = 4\nfirst_year = 0.1",
            f"n_percent = 1.5\nspread = {4 * LB_PER_TON * KG_HA_PER_LB_AC / 1000!r}\nfirst_year = 0.1",
        ),
        12.0,
    ),
    "compost by its kind": (
        (
            'n_percent = 1.5\nspread = 4\ncompost = "manure"',
            f'n_percent = 1.5\nspread = {4 * LB_PER_TON * KG_HA_PER_LB_AC / 1000!r}\ncompost = "manure"',
        ),
        19.2,
    ),
    "soil nitrate": (("ppm = 20", "ppm = 20"), 80.0),
    "soil nitrate of a depth": (("ppm = 20\ndepth = 6", "ppm = 20\ndepth = 152.4"), 40.0),
    "soil nitrate as NO3": (
        ('ppm = 20\nform = "NO3"', 'ppm = 20\nform = "NO3"'),
        80.0 * NO3_TO_NO3N,
    ),
}
WATER_LB_AC = 27.2


def credited(name: str, lines: str, *edits: tuple[str, str]) -> str:
    kind = next(item.value for item in CreditKind if item.value in name)
    return edited(*edits, (CREDIT, f'[[credits]]\nname = "ours"\nkind = "{kind}"\n{lines}\n'))


@pytest.mark.parametrize("name", KINDS)
def test_a_credit_is_the_same_nitrogen_in_both_unit_systems(name: str) -> None:
    (us, metric), expected = KINDS[name]
    one_ = read(credited(name, us))
    other = read(credited(name, metric, METRIC, METRIC_BOUNDS, ("season_cap = 130", "season_cap = 400")))
    [here], [there] = one_.credit_lines, other.credit_lines
    assert there.n_lb_ac == pytest.approx(here.n_lb_ac, rel=1e-9)
    assert here.name == there.name == "ours"
    if expected is None:
        ppm = 12 if name == "water nitrate" else 40 * NO3_TO_NO3N
        expected = WATER_LB_AC * ppm / 12
    assert here.n_lb_ac == pytest.approx(expected, rel=5e-4)
    [credit] = one_.blocks["north"].plan.credits
    assert (credit.name, credit.n_lb_ac) == ("ours", here.n_lb_ac)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            'kind = "water nitrate"\nppm = 12',
            'depth is missing; a credit of kind "water nitrate" needs ppm, depth',
        ),
        ("ppm = 12\nn = 6", 'ppm does not belong to kind "stated", which takes n'),
        ('kind = "compost"\nn_percent = 1\nspread = 2', "give first_year, the share released in the first year"),
        ("n = 6\nweeks = [1, 2]", 'weeks goes with reduces = "plan"'),
        (
            'kind = "cover crop"\nn_percent = 11\ndry_matter = 2',
            "N of the dry matter: 11 % cannot be used: give 0 to 10 %",
        ),
    ],
)
def test_a_fault_of_a_credit_is_told_at_its_place(lines: str, message: str) -> None:
    text = edited((CREDIT, f'[[credits]]\nname = "ours"\n{lines}\n'))
    fault = one(told(text))
    assert (fault.file, fault.key) == ("season.toml", "credits[1]")
    assert fault.line == line_of(text, "[[credits]]")
    assert message in fault.message


def lowering(n: float, more: str = "") -> str:
    return edited((CREDIT, f'[[credits]]\nname = "water"\nn = {n}\nreduces = "plan"\n{more}\n'))


def test_a_credit_that_reduces_the_plan_lowers_every_week() -> None:
    plan = read(lowering(12)).blocks["north"].plan
    assert plan.rates_lb_ac == pytest.approx((4.25,) * 12)


def test_a_credit_that_reduces_the_plan_lowers_its_weeks_alone() -> None:
    plan = read(lowering(4, "weeks = [3, 6]")).blocks["north"].plan
    assert plan.rates_lb_ac == pytest.approx((5.25,) * 2 + (4.25,) * 4 + (5.25,) * 6)


def test_a_credit_under_the_cap_leaves_the_plan() -> None:
    file = read(SEASON)
    assert file.blocks["north"].plan.rates_lb_ac == (5.25,) * 12
    assert file.blocks["north"].plan.credits_lb_ac == 60


def test_a_credit_of_more_than_the_plan_feeds_is_noted() -> None:
    file = read(lowering(13, "weeks = [1, 2]"))
    assert file.blocks["north"].plan.rates_lb_ac[:3] == (0, 0, 5.25)
    said = (
        "the credits that reduce the plan are 2.5 lb N/ac more than the plan feeds in their weeks; nothing is fed "
        "there."
    )
    assert said in file.notes


def test_a_credit_beyond_the_plan_is_told() -> None:
    text = lowering(4, "weeks = [3, 13]")
    fault = one(told(text))
    assert (fault.key, fault.message) == ("credits[1].weeks", "goes to week 13, the plan has 12")
    assert fault.line == line_of(text, "weeks = [3")


# --- rows ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("basis", ["bed", "gross"])
def test_rows_of_unequal_length_have_the_area_of_their_sum(basis: str) -> None:
    lengths = [310.0, 295.5, 240.25]
    text = edited(("row_length = 300\nrows = 10", f"row_lengths = {lengths}")).replace('"bed"', f'"{basis}"')
    width = {"bed": 2.5, "gross": 5.0}[basis]
    area = read(text).blocks["north"].block.area_ac()
    assert area == pytest.approx(sum(length * width for length in lengths) / 43_560, rel=1e-12)


@pytest.mark.parametrize("beside", ["row_length = 300", "rows = 10"])
def test_rows_said_twice_are_told(beside: str) -> None:
    text = edited(("row_length = 300\nrows = 10", f"row_lengths = [300, 200]\n{beside}"))
    fault = one(told(text))
    assert (fault.key, fault.line) == ("blocks.north", line_of(text, "[blocks.north]"))
    assert fault.message == "row_lengths lists 2 rows; leave row_length and rows out beside it"


# --- all of it ----------------------------------------------------------------------------------------------


def test_every_fault_of_feeding_is_told_at_once_in_the_order_of_the_file() -> None:
    text = edited(
        (CREDIT, '[[credits]]\nname = "ours"\nn = 4\nreduces = "plan"\nweeks = [3, 13]\n'),
        ("share = 0.5", "share = 0.4"),
        ('name = "calcium nitrate"', 'name = "calcium nitrate"\nmaterial = "can_27_solid"'),
    )
    text += '\n[injection]\nwater_temperature = 200\ndays = ["Mon"]\n\n[zones.east]\nblocks = ["brook"]\n'
    faults = told(text)
    keys = [fault.key for fault in faults]
    assert set(keys) == {
        "credits[1].weeks",
        "products",
        "products[1].material",
        "injection.water_temperature",
        "injection.days",
        "zones.east.blocks",
    }
    assert len(keys) == len(set(keys))
    lines = [fault.line or 0 for fault in faults]
    assert lines == sorted(lines) and 0 not in lines
    assert {fault.file for fault in faults} == {"season.toml"}


def test_an_unknown_material_hides_no_other_fault() -> None:
    text = (
        with_products('[[products]]\nmaterial = "zzz"\nshare = 0.9\n') + "\n[injection]\nwater_temperature = 20\n"
    )
    assert {fault.key for fault in told(text)} == {
        "products",
        "products[1].material",
        "injection.water_temperature",
    }


def test_every_piece_of_a_wrong_shape_is_told_at_once() -> None:
    text = edited(("share = 0.5", "share = 5"), ("n = 60", "n = -1"))
    text += "\n[injection]\ntanks = 3\n\n[zones.east]\nflow = 0\n\n[[mixes]]\nweek = 1\n"
    assert {fault.key for fault in told(text)} >= {
        "credits[1].n",
        "products[1].share",
        "injection.tanks",
        "zones.east.flow",
        "mixes[1]",
    }


def test_a_season_file_of_before_has_one_mix_and_blocks_by_themselves() -> None:
    file = read(SEASON)
    north = file.blocks["north"]
    assert north.mix_steps == ()
    assert shares_in(file, 1) == shares_in(file, 12) == {"calcium nitrate": 0.5, "potassium nitrate": 0.5}
    assert [product.solubility for product in north.products] == [None, None]
    assert north.plan.start == date(2026, 3, 2)
    assert file.notes == ()
