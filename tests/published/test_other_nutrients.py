"""Published rules on the other nutrients of a leaf report: limits, amounts, what the products bring beside them.

1 lb/ac is 1.12085 kg/ha. The amounts are printed in lb/ac; a metric season says them in kg/ha to two digits.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from fertadjust.evidence import Evidence, split_sources
from fertadjust.products import Product
from fertadjust.rules.facts import Recommendation, TraceLine
from fertadjust.rules.policy import CompanionRule
from fertadjust.season import BlockSeason
from fertadjust.stages import StageDates
from fertadjust.tissue import Censor, Tissue, TissueResult
from fertadjust.units import UnitSystem
from tests import support
from tests.rules import line

BLOOMING, BEFORE_BLOOM = 3, -3
"""Weeks of the sample, counted from first bloom as week 1."""


def report(analyte: str, value: float, week: int = BLOOMING, censor: Censor = Censor.NONE) -> TissueResult:
    return support.result(value, week, tissue=Tissue.LEAF, analyte=analyte, censor=censor)


def advised(season: BlockSeason) -> Recommendation:
    return season.advice(max(result.known_on for result in season.results)).recommendation


def note(name: str, result: TissueResult, *, units: UnitSystem = UnitSystem.US) -> TraceLine:
    """The trace line of a companion rule in a season with one leaf result."""
    return line(advised(support.season(result, units=units)), name)


def rule(name: str) -> CompanionRule:
    return next(item for item in support.policy().companions if item.id == name)


# Limit, a value just below and one just above it, and on which of the three the note comes.
LIMITS = [
    ("potassium", "K", 1.40, (1.39, 1.41), (True, False, False)),  # UGA-AESL: below 1.40 %
    ("magnesium", "Mg", 0.25, (0.249, 0.251), (True, False, False)),  # UGA-AESL: below 0.25 %
    ("phosphorus", "P", 0.20, (0.199, 0.201), (True, False, False)),  # UGA-AESL: below 0.20 %
    ("sulfur", "S", 0.15, (0.149, 0.151), (True, False, False)),  # UGA-AESL: sufficient from 0.15 %
    ("boron", "B", 40.0, (39.9, 40.1), (True, True, False)),  # UGA-2023: apply at 40 ppm or below
]


@pytest.mark.parametrize(("name", "analyte", "limit", "near", "expected"), LIMITS, ids=[row[0] for row in LIMITS])
def test_a_nutrient_is_noted_below_at_or_above_its_limit_as_printed(
    name: str, analyte: str, limit: float, near: tuple[float, float], expected: tuple[bool, bool, bool]
) -> None:
    assert rule(name).limit == limit
    fired = tuple(note(name, report(analyte, value)).fired for value in (near[0], limit, near[1]))
    assert fired == expected


@pytest.mark.parametrize(("name", "analyte", "limit", "near", "expected"), LIMITS, ids=[row[0] for row in LIMITS])
def test_a_bound_on_the_limit_lies_below_it_and_one_above_tells_nothing(
    name: str, analyte: str, limit: float, near: tuple[float, float], expected: tuple[bool, bool, bool]
) -> None:
    """A laboratory that reports "<1.40" says that potassium is below 1.40 %."""
    assert note(name, report(analyte, limit, censor=Censor.BELOW)).fired
    assert not note(name, report(analyte, near[0], censor=Censor.ABOVE)).fired


@pytest.mark.parametrize(
    ("nitrogen", "sulfur", "fires"),
    [(3.59, 0.20, False), (3.60, 0.20, True), (3.61, 0.20, True), (2.70, 0.15, True), (2.69, 0.15, False)],
)
def test_nitrogen_to_sulfur_of_18_or_wider_is_noted(nitrogen: float, sulfur: float, fires: bool) -> None:
    """SEFP-WATSON: at 18:1 or wider the crop may need sulfur to use its nitrogen."""
    results = (report("N", nitrogen), replace(report("S", sulfur), record=2))
    found = line(advised(support.season(*results)), "nitrogen to sulfur")
    assert found.fired is fires
    assert (found.source, found.evidence) == ("SEFP-WATSON", Evidence.PUBLISHED)


AMOUNTS = [
    # UGA-AESL: 5 lb K2O/ac/week, retest in 3 weeks; 5 x 1.12085 = 5.604
    ("potassium", "K", 1.2, BLOOMING, ["5 lb/ac K2O a week", "3 weeks"], ["5.6 kg/ha K2O a week"], (5.0, 5.604)),
    # UGA-AESL: 20 lb magnesium sulfate/ac/week, retest in 3 weeks; 22.417
    (
        *("magnesium", "Mg", 0.2, BLOOMING),
        ["20 lb/ac magnesium sulfate a week", "3 weeks"],
        ["22.4 kg/ha magnesium sulfate a week"],
        (20.0, 22.417),
    ),
    # UGA-AESL: 10 to 15 lb P2O5/ac once, with low soil P and sound roots; 11.209 to 16.813
    (
        *("phosphorus", "P", 0.1, BLOOMING),
        ["10 to 15 lb/ac P2O5 once", "low soil P", "sound roots"],
        ["11.2 to 16.8 kg/ha P2O5 once"],
        (15.0, 16.813),
    ),
    # FP-DYCUS: magnesium sulfate 10 lb/ac with potassium nitrate; 11.209
    (
        *("sulfur", "S", 0.1, BLOOMING),
        ["10 lb/ac magnesium sulfate", "with potassium nitrate"],
        ["11.2 kg/ha magnesium sulfate"],
        (10.0, 11.209),
    ),
    # UGA-2019: about 0.25 lb actual B/ac by drip before bloom, never above 0.5 (injury); 0.280 and 0.560
    (
        *("boron", "B", 35.0, BEFORE_BLOOM),
        ["0.25 lb/ac actual boron once", "before bloom", "never above 0.5 lb/ac"],
        ["0.28 kg/ha actual boron once", "never above 0.56 kg/ha"],
        (0.25, 0.280),
    ),
]


@pytest.mark.parametrize(
    ("name", "analyte", "value", "week", "us", "metric", "printed"), AMOUNTS, ids=[row[0] for row in AMOUNTS]
)
def test_the_words_say_the_published_amount_in_the_seasons_units(
    name: str,
    analyte: str,
    value: float,
    week: int,
    us: list[str],
    metric: list[str],
    printed: tuple[float, float],
) -> None:
    lb_ac, kg_ha = printed
    assert UnitSystem.METRIC.rate_out(lb_ac) == pytest.approx(kg_ha, abs=0.001)
    amount = rule(name).amount
    assert amount is not None and amount[1] == lb_ac
    result = report(analyte, value, week)
    said, metric_said = (note(name, result, units=units).why for units in (UnitSystem.US, UnitSystem.METRIC))
    assert [text for text in us if text not in said] == []
    assert [text for text in metric if text not in metric_said] == []
    assert "lb" not in metric_said and "kg" not in said


@pytest.mark.parametrize(
    ("name", "sources"),
    [
        ("potassium", {"UGA-AESL"}),
        ("magnesium", {"UGA-AESL"}),
        ("phosphorus", {"UGA-AESL"}),
        ("sulfur", {"UGA-AESL", "FP-DYCUS"}),
        ("boron", {"UGA-2023", "UGA-2019"}),
        ("nitrogen-to-sulfur", {"SEFP-WATSON"}),
    ],
)
def test_a_rule_names_the_publications_its_limit_and_amount_come_from(name: str, sources: set[str]) -> None:
    assert sources <= set(split_sources(rule(name).source))


def test_potash_that_the_products_bring_is_said_beside_the_five_pounds_asked_for() -> None:
    """UGA-AESL: 5 lb K2O/ac/week. By hand: half the nitrogen as 13-0-44 brings 0.5 x 44/13 = 1.6923 lb K2O with
    each lb N: 8.88 lb at 5.25 lb N (9.96 kg/ha), 5.01 at 2.96, 4.91 at 2.90, 3.38 at 2.00."""
    season = support.season(report("K", 1.2), the_plan=support.plan((5.25,) * 12))
    said = line(advised(season), "potassium").why
    assert said.endswith("The products bring 8.9 lb/ac of K2O in the coming week.")
    metric = line(advised(replace(season, units=UnitSystem.METRIC)), "potassium").why
    assert metric.endswith("The products bring 10.0 kg/ha of K2O in the coming week.")
    for rate, brought in ((2.96, "5.0"), (2.90, "4.9"), (2.00, "3.4")):
        low = support.season(report("K", 1.2), the_plan=support.plan((rate,) * 12, floor=0.0, step=0.0))
        why = line(advised(low), "potassium").why
        assert why.endswith(f"The products bring {brought} lb/ac of K2O in the coming week.")


def test_products_without_potash_bring_none_of_the_five_pounds() -> None:
    """UGA-AESL: 5 lb K2O/ac/week."""
    mix = (Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=1.0, nitrate_n=14.5),)
    season = replace(support.season(report("K", 1.2)), products=mix)
    said = line(advised(season), "potassium").why
    assert "The products bring 0.0 lb/ac of K2O in the coming week." in said


def test_a_low_potassium_season_is_fed_what_its_changed_nitrogen_brings() -> None:
    """UGA-2021 raises 5.25 to 7.0 lb N/ac/week; the potash beside it follows: 7 x 1.6923 = 11.8 lb K2O."""
    season = support.season(support.result(1500.0, BLOOMING), replace(report("K", 1.2), record=2))
    found = advised(season)
    assert found.rates_lb_ac[0] == pytest.approx(7.0)
    assert "The products bring 11.8 lb/ac of K2O in the coming week" in line(found, "potassium").why


@pytest.mark.parametrize("week", [1, 3, 10])
def test_boron_at_or_after_bloom_is_too_late_and_no_amount_is_said(week: int) -> None:
    """UGA-2018a and UGA-2023: at or after bloom boron does little for fruit set. UGA-2021: test in January."""
    found = note("boron", report("B", 35.0, week))
    assert found.fired
    assert "too late for this season" in found.why.lower() and "January" in found.why
    assert "lb/ac" not in found.why


def test_boron_in_the_week_before_bloom_is_still_in_time() -> None:
    """UGA-2019: by drip before bloom. The result of a sample of week -1 is known two days before bloom."""
    assert "0.25 lb/ac" in note("boron", report("B", 35.0, 0)).why


@pytest.mark.parametrize(
    ("units", "amounts"),
    [
        (UnitSystem.US, ["0.25 lb/ac actual boron once", "never above 0.5 lb/ac"]),
        (UnitSystem.METRIC, ["0.28 kg/ha actual boron once", "never above 0.56 kg/ha"]),
    ],
)
def test_boron_without_a_date_of_bloom_is_advised_with_what_holds_from_bloom_on(
    units: UnitSystem, amounts: list[str]
) -> None:
    """UGA-2019: 0.25 lb/ac before bloom. UGA-2018a: at or after bloom it does little. UGA-2021: January test."""
    undated = StageDates({"harvest": support.day_in(9)}, support.day_in(12, 6))
    seen = report("B", 35.0)
    unknown = line(advised(support.season(seen, stages=undated, units=units)), "boron")
    early, late = (note("boron", report("B", 35.0, week), units=units).why for week in (BEFORE_BLOOM, BLOOMING))
    assert unknown.fired and unknown.change == "note only"
    assert [text for text in amounts if text not in unknown.why] == []
    assert late.startswith("Too late for this season") and "January" in late
    assert unknown.why == f"{early} Once the crop blooms: {late[0].lower()}{late[1:]}"
    assert "Once the crop blooms" not in early + late


def test_only_boron_has_a_word_for_the_time_after_bloom() -> None:
    """UGA-AESL gives potassium, magnesium and phosphorus by the report, whatever the stage."""
    undated = StageDates({"harvest": support.day_in(9)}, support.day_in(12, 6))
    for name, analyte, value in (("potassium", "K", 1.2), ("magnesium", "Mg", 0.2), ("phosphorus", "P", 0.1)):
        seen = report(analyte, value)
        unknown = line(advised(support.season(seen, stages=undated)), name)
        assert unknown.fired and unknown.why == note(name, seen).why


@pytest.mark.parametrize("percent", [0.05, 0.30, 0.49])
def test_low_calcium_brings_no_note_for_no_source_gives_an_amount(percent: float) -> None:
    """UGA-AESL: deficiency rarely detected, needs extremely low soil Ca; UF-CV003: usually not needed."""
    assert [item for item in support.policy().companions if item.analyte == "Ca"] == []
    found = advised(support.season(report("Ca", percent)))
    assert [item.rule for item in found.trace if item.group == "companions" and item.fired] == []


@pytest.mark.parametrize("sulfate", ["magnesium", "sulfur"])
def test_magnesium_sulfate_is_kept_out_of_the_calcium_tank(sulfate: str) -> None:
    """UC-MICRO: calcium nitrate and any sulfate form gypsum."""
    assert "never in one concentrated tank with calcium nitrate" in rule(sulfate).advice


def test_no_companion_note_changes_the_nitrogen() -> None:
    """UGA-AESL, UGA-2023 and SEFP-WATSON give rules for the other nutrients; none of them is one for nitrogen."""
    petiole = support.result(1500.0, BLOOMING)
    short = [("K", 1.2), ("Mg", 0.2), ("P", 0.1), ("S", 0.1), ("B", 35.0), ("Ca", 0.3)]
    others = [replace(report(analyte, value), record=10 + place) for place, (analyte, value) in enumerate(short)]
    alone, beside = advised(support.season(petiole)), advised(support.season(petiole, *others))
    notes = [item for item in beside.trace if item.group == "companions" and item.fired]
    assert [item.rule for item in notes] == ["potassium", "magnesium", "sulfur", "boron", "phosphorus"]
    assert {item.change for item in notes} == {"note only"}
    assert (beside.action, beside.rates_lb_ac, beside.factor) == (alone.action, alone.rates_lb_ac, alone.factor)
