"""Notes on the other nutrients of a leaf report, by their published limits. None of them changes the nitrogen."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fertadjust.evidence import Evidence
from fertadjust.rules.companion_rules import amount_words
from fertadjust.rules.facts import Recommendation
from fertadjust.rules.policy import CompanionRule
from fertadjust.tissue import Censor, TissueResult
from fertadjust.units import UnitSystem
from tests.rules import ENOUGH, HIGH, LOW, RATE, SATURDAY, advised, leaf, line, open_plan
from tests.support import BLOOM, day_in, policy, products, result

LIMITS = [
    # name, analyte, value that calls for the note, value that does not, source key
    ("potassium", "K", 1.39, 1.40, "UGA-AESL"),
    ("magnesium", "Mg", 0.249, 0.25, "UGA-AESL; UC-MICRO"),
    ("sulfur", "S", 0.149, 0.15, "UGA-AESL; FP-DYCUS; UC-MICRO"),
    ("boron", "B", 40.0, 40.1, "UGA-2023; UGA-2019; UGA-2018a"),  # treat at 40 ppm or below
    ("phosphorus", "P", 0.199, 0.20, "UGA-AESL"),
]


def with_leaf(*nutrients: tuple[str, float], petiole: float = ENOUGH) -> Recommendation:
    leaves = [leaf(value, analyte=name, record=60 + index) for index, (name, value) in enumerate(nutrients)]
    return advised(result(petiole, 6), *leaves)


@pytest.mark.parametrize(("name", "analyte", "short", "enough", "source"), LIMITS)
def test_a_nutrient_at_its_published_limit(
    name: str, analyte: str, short: float, enough: float, source: str
) -> None:
    note, none = line(with_leaf((analyte, short)), name), line(with_leaf((analyte, enough)), name)
    assert note.fired and note.change == "note only" and note.group == "companions"
    assert note.source == source
    assert not none.fired and none.change == ""
    assert note.why != none.why


@pytest.mark.parametrize(("week", "too_late"), [(0, False), (1, True), (6, True)])
def test_boron_at_or_after_bloom_comes_too_late(week: int, too_late: bool) -> None:
    # before bloom only: at or after it boron does little for fruit set (UGA-2018a)
    the_plan = open_plan(start=BLOOM - timedelta(days=28))
    boron = leaf(35.0, week, analyte="B", delay=0)
    found = advised(boron, on=boron.sampled, the_plan=the_plan)
    trace = line(found, "boron")
    assert trace.fired and ("little for fruit set" in trace.why) is too_late
    assert ("0.25 lb" in trace.why) is not too_late


@pytest.mark.parametrize(("n", "s", "wide"), [(3.6, 0.2, True), (3.59, 0.2, False), (3.0, 0.15, True)])
def test_nitrogen_to_sulfur_of_eighteen_and_wider(n: float, s: float, wide: bool) -> None:
    trace = line(with_leaf(("N", n), ("S", s)), "nitrogen to sulfur")
    assert trace.fired is wide and trace.source == "SEFP-WATSON"


def test_a_nutrient_that_was_not_measured_calls_for_nothing() -> None:
    found = with_leaf(("K", 2.0))
    for rule in policy().companions:
        trace = line(found, rule.id.replace("-", " "))
        assert not trace.fired and trace.change == ""
        assert ("not measured" in trace.why) is (rule.id != "potassium")


def test_a_ratio_needs_both_of_its_nutrients() -> None:
    assert "not measured" in line(with_leaf(("N", 3.9)), "nitrogen to sulfur").why


@pytest.mark.parametrize("petiole", [LOW, ENOUGH, HIGH])
def test_no_companion_changes_the_nitrogen(petiole: float) -> None:
    short = [(analyte, short) for _, analyte, short, _, _ in LIMITS]
    with_notes, without = with_leaf(*short, petiole=petiole), advised(result(petiole, 6))
    assert all(line(with_notes, name).fired for name, *_ in LIMITS)
    assert with_notes.rates_lb_ac == without.rates_lb_ac
    assert with_notes.factor == without.factor and with_notes.to_do == without.to_do
    assert (with_notes.moved_by, with_notes.binding) == (without.moved_by, without.binding)


def aged(item: TissueResult, days: int) -> TissueResult:
    sampled = SATURDAY - timedelta(days=days)
    return replace(item, sampled=sampled, received=sampled)


@pytest.mark.parametrize(("age", "counts"), [(28, True), (29, False)])
def test_a_leaf_report_counts_for_four_weeks(age: int, counts: bool) -> None:
    found = advised(result(ENOUGH, 6), aged(leaf(1.0, analyte="K"), age))
    assert line(found, "potassium").fired is counts


def test_the_latest_value_of_a_nutrient_counts_though_another_report_is_later() -> None:
    older, newer = aged(leaf(1.0, analyte="K"), 10), aged(leaf(2.0, analyte="K", record=61), 3)
    assert not line(advised(result(ENOUGH, 6), older, newer), "potassium").fired
    other = aged(leaf(0.3, analyte="Mg", record=61), 3)
    assert line(advised(result(ENOUGH, 6), older, other), "potassium").fired
    assert "on 1 Apr" in line(advised(result(ENOUGH, 6), older, other), "potassium").saw


@pytest.mark.parametrize(("days", "counts"), [(3, True), (4, False)])
def test_a_ratio_is_of_two_values_of_one_report(days: int, counts: bool) -> None:
    nitrogen, sulfur = aged(leaf(3.9), 3), aged(leaf(0.2, analyte="S", record=61), days)
    trace = line(advised(result(ENOUGH, 6), nitrogen, sulfur), "nitrogen to sulfur")
    assert trace.fired is counts and ("not measured" in trace.why) is not counts


def test_each_nutrient_counts_by_its_own_latest_value_within_four_weeks() -> None:
    reports = [
        aged(leaf(1.0, analyte="K", record=60), 29),  # too old
        aged(leaf(0.2, analyte="Mg", record=61), 28),
        aged(leaf(0.1, analyte="P", record=62), 12),
        aged(leaf(0.3, analyte="P", record=63), 2),
    ]
    for order in (reports, reports[::-1]):
        found = advised(result(ENOUGH, 6), *order)
        assert "not measured" in line(found, "potassium").why
        assert line(found, "magnesium").fired and not line(found, "phosphorus").fired


def test_a_later_bound_that_does_not_tell_leaves_the_value_before_it() -> None:
    older = aged(leaf(1.2, analyte="K"), 10)
    later = aged(leaf(1.0, analyte="K", record=61, censor=Censor.ABOVE), 3)  # ">1.0" may lie on either side
    trace = line(advised(result(ENOUGH, 6), older, later), "potassium")
    assert trace.fired and trace.saw.startswith("K 1.20 % on 1 Apr")


def test_the_latest_report_with_both_gives_the_ratio() -> None:
    later = aged(leaf(3.0, record=62), 1)  # nitrogen alone
    both = [aged(leaf(3.9), 8), aged(leaf(0.2, analyte="S", record=61), 8)]
    trace = line(advised(result(ENOUGH, 6), *both, later), "nitrogen to sulfur")
    assert trace.fired and "19.5" in trace.saw  # 3.9 / 0.2


def test_a_report_that_has_not_come_yet_is_not_known() -> None:
    to_come = replace(leaf(1.0, analyte="K"), received=SATURDAY + timedelta(days=1))
    assert not line(advised(result(ENOUGH, 6), to_come), "potassium").fired


@pytest.mark.parametrize(("name", "analyte", "short", "limit", "source"), LIMITS)
def test_a_bound_equal_to_the_limit_lies_beyond_it(
    name: str, analyte: str, short: float, limit: float, source: str
) -> None:
    # "<1.40" is below 1.40, and so calls for what a value below 1.40 calls for (UGA-AESL)
    edge = policy_limit(name)
    for value, fires in ((edge, True), (edge * 1.001, False), (edge * 0.999, True)):
        bound = leaf(value, analyte=analyte, censor=Censor.BELOW)
        assert line(advised(result(ENOUGH, 6), bound), name).fired is fires, value
    measured = line(advised(result(ENOUGH, 6), leaf(edge, analyte=analyte)), name)
    assert measured.fired is (name == "boron")  # at 40 ppm or below (UGA-2023); the others only below


def policy_limit(name: str) -> float:
    return next(rule.limit for rule in policy().companions if rule.id == name)


@pytest.mark.parametrize(
    ("applies", "fires"),
    [
        ("below", {"<20": True, "20": False, "19": True, "21": False, ">20": None, "<21": False, "<19": True}),
        ("at or below", {"<20": True, "20": True, "19": True, "21": False, ">20": None, "<21": False}),
        ("above", {"<20": None, "20": False, "19": False, "21": True, ">20": True, ">19": False, ">21": True}),
        ("at or above", {"<20": None, "20": True, "19": False, "21": True, ">20": True, ">19": False}),
    ],
)
def test_every_side_of_a_limit_with_values_and_bounds(applies: str, fires: dict[str, bool | None]) -> None:
    rule = zinc(applies=applies)
    the_policy = policy().model_copy(update={"companions": (rule,)})
    for text, expected in fires.items():
        censor = {"<": Censor.BELOW, ">": Censor.ABOVE}.get(text[0], Censor.NONE)
        report = leaf(float(text.lstrip("<>")), analyte="Zn", censor=censor)
        trace = line(advised(result(ENOUGH, 6), report, the_policy=the_policy), "zinc")
        assert trace.fired is bool(expected), text
        assert ("not measured" in trace.why) is (expected is None), text
        assert expected is None or f"rule {applies} 20" in trace.saw


def zinc(**changes: object) -> CompanionRule:
    given = {"id": "zinc", "analyte": "Zn", "applies": "below", "limit": 20.0, "unit": "ppm", "source": "none"}
    return CompanionRule.model_validate(given | {"advice": "spray", "evidence": "common practice"} | changes)


AMOUNTS = [
    # id, analyte, short value, words in US units, words in metric; 1 lb/ac is 1.1209 kg/ha
    ("potassium", "K", 1.2, "5 lb/ac K2O a week", "5.6 kg/ha K2O a week"),  # UGA-AESL
    (
        "magnesium",
        "Mg",
        0.2,
        "20 lb/ac magnesium sulfate a week",
        "22.4 kg/ha magnesium sulfate a week",
    ),  # UGA-AESL
    # without a word of how often (FP-DYCUS)
    ("sulfur", "S", 0.1, "10 lb/ac magnesium sulfate with", "11.2 kg/ha magnesium sulfate with"),
    ("phosphorus", "P", 0.1, "10 to 15 lb/ac P2O5 once", "11.2 to 16.8 kg/ha P2O5 once"),  # UGA-AESL
]


@pytest.mark.parametrize(("name", "analyte", "value", "us", "metric"), AMOUNTS)
def test_the_published_amount_is_said_in_the_growers_units(
    name: str, analyte: str, value: float, us: str, metric: str
) -> None:
    report = leaf(value, analyte=analyte)
    assert us in line(advised(result(ENOUGH, 6), report), name).why
    assert metric in line(advised(result(ENOUGH, 6), report, units=UnitSystem.METRIC), name).why


@pytest.mark.parametrize("unit", list(UnitSystem))
@pytest.mark.parametrize(("every", "words"), [("week", " a week"), ("once", " once"), ("", "")])
def test_how_often_an_amount_is_meant_is_said_only_where_the_source_says_it(
    unit: UnitSystem, every: str, words: str
) -> None:
    amount, per = ("12.5", "lb/ac") if unit is UnitSystem.US else ("14", "kg/ha")  # 12.5 x 1.1209 = 14.01
    assert amount_words((12.5, 12.5), "gypsum", every, unit) == f"{amount} {per} gypsum{words}"


def test_magnesium_sulfate_is_kept_out_of_a_tank_with_calcium_nitrate() -> None:
    # gypsum falls out of a concentrated tank of the two (UC-MICRO)
    found = with_leaf(("Mg", 0.2), ("S", 0.1))
    for name in ("magnesium", "sulfur"):
        assert "never in one concentrated tank with calcium nitrate." in line(found, name).why


SAW = [
    # percent with two decimals, ppm with three figures
    ("potassium", "K", 1.4, "K 1.40 % on 8 Apr; rule below 1.40"),
    ("potassium", "K", 1.396, "K 1.40 % on 8 Apr; rule below 1.40"),
    ("magnesium", "Mg", 0.3, "Mg 0.30 % on 8 Apr; rule below 0.25"),
    ("phosphorus", "P", 0.1, "P 0.10 % on 8 Apr; rule below 0.20"),
    ("boron", "B", 38.44, "B 38.4 ppm on 8 Apr; rule at or below 40"),
]


@pytest.mark.parametrize(("name", "analyte", "value", "saw"), SAW)
def test_value_and_limit_stand_with_the_same_number_of_decimals(
    name: str, analyte: str, value: float, saw: str
) -> None:
    assert line(with_leaf((analyte, value)), name).saw == saw


def test_a_bound_and_a_ratio_stand_as_what_they_are() -> None:
    below = leaf(1.2, analyte="K", censor=Censor.BELOW)
    assert line(advised(result(ENOUGH, 6), below), "potassium").saw == "K <1.20 % on 8 Apr; rule below 1.40"
    ratio = line(with_leaf(("N", 3.9), ("S", 0.2)), "nitrogen to sulfur")
    assert ratio.saw == "N:S 19.5 to 1 on 8 Apr; rule at or above 18"


def test_boron_before_bloom_names_the_dose_and_the_most() -> None:
    # about 0.25 lb actual boron per acre by drip before bloom, never above 0.5 (UGA-2019)
    the_plan = open_plan(start=BLOOM - timedelta(days=28))
    boron = leaf(35.0, 0, analyte="B", delay=0)
    us, metric = (
        line(advised(boron, on=boron.sampled, the_plan=the_plan, units=units), "boron").why
        for units in (UnitSystem.US, UnitSystem.METRIC)
    )
    assert "0.25 lb/ac actual boron once" in us and "never above 0.5 lb/ac" in us
    assert "0.28 kg/ha actual boron once" in metric and "never above 0.56 kg/ha" in metric


@pytest.mark.parametrize(("rate", "brought"), [(1.4, 2.4), (RATE, 8.9)])
def test_potassium_says_what_the_products_already_bring(rate: float, brought: float) -> None:
    # half of the nitrogen comes with potassium nitrate 13-0-44, so 1 lb N brings 0.5 x 44 / 13 = 1.69 lb K2O
    assert rate * 0.5 * 44 / 13 == pytest.approx(brought, abs=0.05)
    found = advised(result(ENOUGH, 6), leaf(1.2, analyte="K"), the_plan=open_plan((rate,) * 12))
    assert f"bring {brought:.1f} lb/ac of K2O in the coming week" in line(found, "potassium").why


@pytest.mark.parametrize(("name", "analyte", "value", "us", "metric"), AMOUNTS)
def test_only_what_the_products_bring_of_the_nutrient_itself_is_said(
    name: str, analyte: str, value: float, us: str, metric: str
) -> None:
    # the amounts of magnesium, sulfur and phosphorus are of products that the mix does not hold
    del us, metric
    text = line(with_leaf((analyte, value)), name).why
    assert ("The products bring" in text) is (name == "potassium")


def test_products_without_potassium_bring_none_of_it() -> None:
    calcium = (replace(products()[0], share=1.0),)
    found = advised(result(ENOUGH, 6), leaf(1.2, analyte="K"), products=calcium)
    assert "The products bring 0.0 lb/ac of K2O in the coming week." in line(found, "potassium").why


def test_what_the_products_bring_counts_at_the_rate_that_is_advised() -> None:
    held, raised = (advised(result(value, 6), leaf(1.2, analyte="K")) for value in (ENOUGH, LOW))
    assert raised.rates_lb_ac[0] > held.rates_lb_ac[0]
    for found in (held, raised):
        brought = found.rates_lb_ac[0] * 0.5 * 44 / 13
        assert f"bring {brought:.1f} lb/ac of K2O" in line(found, "potassium").why


def test_with_no_week_of_the_plan_left_nothing_is_said_of_what_the_products_bring() -> None:
    report = leaf(1.2, 12, analyte="K", delay=0)
    found = advised(report, on=day_in(12, 6))
    assert found.rates_lb_ac == () and line(found, "potassium").fired
    assert "The products bring" not in line(found, "potassium").why


def test_an_overridden_limit_is_the_growers_and_is_what_decides() -> None:
    rule = next(item for item in policy().companions if item.id == "potassium")
    own = rule.model_copy(update={"limit": 1.6, "shipped": 1.4, "source": "season file", "evidence": Evidence.OWN})
    the_policy = policy().model_copy(update={"companions": (own,)})
    for value, fires in ((1.59, True), (1.6, False)):
        trace = line(advised(result(ENOUGH, 6), leaf(value, analyte="K"), the_policy=the_policy), "potassium")
        assert trace.fired is fires and (trace.source, trace.evidence) == ("season file", Evidence.OWN)


def test_a_less_than_counts_as_short_and_a_more_than_is_left_out() -> None:
    below, above = (leaf(1.2, analyte="K", censor=censor) for censor in (Censor.BELOW, Censor.ABOVE))
    assert line(advised(result(ENOUGH, 6), below), "potassium").fired
    assert "not measured" in line(advised(result(ENOUGH, 6), above), "potassium").why


def test_a_ratio_of_a_nitrogen_bound_is_not_called_wide() -> None:
    # N below 3.6 % beside 0.2 % S is a ratio of less than 18, whatever it is
    nitrogen = leaf(3.6, censor=Censor.BELOW)
    sulfur = leaf(0.2, analyte="S", record=61)
    found = advised(result(ENOUGH, 6), nitrogen, sulfur)
    assert not line(found, "nitrogen to sulfur").fired
