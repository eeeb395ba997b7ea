"""Advice in a grower's words, in both unit systems, and as plain data."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fertadjust import words
from fertadjust.advice_data import advice_data
from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change
from fertadjust.rules.facts import Action
from fertadjust.season import Advice, BlockSeason
from fertadjust.shipped import citations
from fertadjust.tissue import Basis, Censor, Tissue
from fertadjust.units import UnitSystem
from tests.rules import Z_80, value_at
from tests.support import GEORGIA_LEAF, day_in, plan, products, result, season

US, METRIC = UnitSystem.US, UnitSystem.METRIC
SATURDAY = day_in(6, 5)
KG_HA_PER_LB_AC = 0.45359237 / 0.40468564224


def fed(rate: float = 5.25) -> tuple[Application, ...]:
    return tuple(Application(900 + week, "north", day_in(week), rate) for week in range(1, 13))


def advice(value: float, on: date = SATURDAY, **rest: Any) -> Advice:
    given: dict[str, Any] = {"applications": fed()} | rest
    return season(result(value, 6), **given).advice(on)


RAISE, HOLD, CUT = advice(2500), advice(3900), advice(9000)
CHANGE = Change(day_in(2, 5), day_in(3), day_in(12), 1.2, dict.fromkeys(range(3, 13), 6.3), 7)


# --- headline -----------------------------------------------------------------------------------------------


def test_the_headline_says_from_what_to_what_how_much_for_how_long_and_until_when() -> None:
    assert RAISE.recommendation.action is Action.RAISE
    assert words.headline(RAISE, US) == (
        "Raise nitrogen from 5.25 to 7.00 lb N/ac/week (+33 %) for the 2 weeks from Mon 13 Apr 2026 to "
        "Sun 26 Apr 2026; review on Sat 25 Apr 2026."
    )
    assert words.headline(CUT, US) == (
        "Cut nitrogen from 5.25 to 3.95 lb N/ac/week (-25 %) for the 2 weeks from Mon 13 Apr 2026 to "
        "Sun 26 Apr 2026; review on Sat 25 Apr 2026."
    )


def test_the_headline_of_a_hold_names_the_rate_that_is_held() -> None:
    text = words.headline(HOLD, US)
    assert text.startswith("Hold nitrogen at 5.25 lb N/ac/week for the 2 weeks")
    unclear = words.headline(advice(3100), US)
    assert "for the week from Mon 13 Apr 2026 to Sun 19 Apr 2026; review on Sat 18 Apr 2026." in unclear


def test_the_headline_of_a_held_change_names_the_plans_own_rate_too() -> None:
    held = advice(3500, changes=(CHANGE,), applications=fed(6.3))
    assert held.recommendation.action is Action.HOLD
    text = words.headline(held, US)
    assert "6.30 lb N/ac/week" in text and "5.25" in text
    assert "plan's own rate" not in words.headline(HOLD, US)


def test_the_headline_in_metric_units() -> None:
    text = words.headline(RAISE, METRIC)
    assert f"from {5.25 * KG_HA_PER_LB_AC:.2f} to {7 * KG_HA_PER_LB_AC:.2f} kg N/ha/week (+33 %)" in text
    assert "from 5.88 to 7.85 kg N/ha/week" in text
    assert "lb" not in text


def test_the_trace_of_a_metric_season_is_in_metric_units_and_recommends_the_same() -> None:
    us = season(result(2500, 6), applications=fed(), the_plan=plan(cap=42.0))
    one, other = (replace(us, units=units).advice(SATURDAY).recommendation for units in (US, METRIC))
    assert other.rates_lb_ac == one.rates_lb_ac and other.factor == one.factor and other.to_do == one.to_do
    for line in other.trace:
        assert not re.search(r"\blb\b", f"{line.saw} {line.change} {line.why}") or line.group == "companions", line
    by_rule = {line.rule: line for line in other.trace}
    assert f"ceiling {7 * KG_HA_PER_LB_AC:.2f} kg N/ha/week" in by_rule["floor and ceiling"].saw
    assert f"cap {42 * KG_HA_PER_LB_AC:.1f}" in by_rule["season cap"].saw
    assert f"rates {5.25 * KG_HA_PER_LB_AC:.2f}" in by_rule["season cap"].change
    assert f"of {10.5 * KG_HA_PER_LB_AC:.2f} kg N/ha" in by_rule["missed applications"].saw


def test_weeks_of_different_rates_are_listed_one_by_one() -> None:
    ramp = (*(5.25,) * 7, 4.0, 4.0, 4.0, 4.0, 4.0)
    text = words.headline(advice(9000, the_plan=plan(ramp)), US)
    assert "from 5.25, then 4.00 to 3.95, then 3.00 lb N/ac/week" in text


def test_the_percentage_is_that_of_the_first_week_that_changes() -> None:
    # a week planned at the floor is not cut, the next one is
    ramp = (*(5.25,) * 6, 3.0, *(5.25,) * 5)
    text = words.headline(advice(9000, the_plan=plan(ramp)), US)
    assert "from 3.00, then 5.25 to 3.00, then 3.95 lb N/ac/week (-25 %)" in text


def test_a_raise_from_nothing_has_no_percentage() -> None:
    stopped = Change(day_in(2, 5), day_in(3), day_in(12), 0.0, dict.fromkeys(range(3, 13), 0.0), 7)
    text = words.headline(advice(2500, changes=(stopped,), the_plan=plan(floor=0.0), applications=fed(0.0)), US)
    assert "from 0.00 to 5.25 lb N/ac/week (from nothing)" in text


def test_with_no_week_left_the_headline_says_so() -> None:
    late = season(result(400, 12), applications=fed()).advice(day_in(12, 5))
    assert words.headline(late, US) == words.headline(late, METRIC)
    assert words.headline(late, US) == "Hold: no week of the plan is left to change."


@pytest.mark.parametrize(
    ("values", "text"), [((), "nothing"), ((5.25, 5.25), "5.25"), ((5.25, 6.0), "5.25, then 6.00")]
)
def test_rates_in_words(values: tuple[float, ...], text: str) -> None:
    assert words.rates(values, US) == text


# --- reasons ------------------------------------------------------------------------------------------------


def test_the_reasons_begin_with_the_result_and_its_band() -> None:
    first = words.reasons(RAISE)[0]
    assert first == "Petiole NO3-N of 8 Apr was 2,500 ppm; it is below the band of 3,000 to 5,000 ppm for week 6."
    assert "is above the band" in words.reasons(CUT)[0] and "is within the band" in words.reasons(HOLD)[0]


def test_the_reasons_of_a_change_give_the_rule_that_moved_it_and_the_bound() -> None:
    reasons = words.reasons(RAISE)
    assert any("raise of 39 %" in text for text in reasons)
    assert any("ceiling" in text for text in reasons)
    assert RAISE.recommendation.binding == "ceiling"


def test_a_cut_is_called_the_programs_own_rule_wherever_it_shows() -> None:
    assert any("own rule" in text and "no publication gives a number" in text for text in words.reasons(CUT))
    for units in (US, METRIC):
        data = advice_data(CUT, products(), units)
        assert any("own rule" in text for text in data["reasons"])
        (trace,) = [line for line in data["trace"] if line["rule"] == "cut"]
        assert trace["fired"] and (trace["source"], trace["evidence"]) == ("none", "project rule")
        assert "own rule" in trace["why"]


def test_an_early_cut_on_a_trend_is_called_the_programs_own_rule_too() -> None:
    days = (day_in(5), day_in(5, 5), day_in(6, 3), day_in(7, 1))
    results = [
        replace(result(value, 6, record=index), sampled=on, received=on)
        for index, (on, value) in enumerate(zip(days, (3300, 3600, 3900, 4300), strict=True))
    ]
    found = season(*results, applications=fed()).advice(days[-1])
    assert found.recommendation.action is Action.CUT
    reasons = words.reasons(found)
    assert any("own rule" in text for text in reasons) and any("trend" in text for text in reasons)


def test_the_reasons_of_a_hold_name_what_holds() -> None:
    roots = (Observation(1, "north", day_in(6), Sight.WATERLOGGED),)
    held = words.reasons(advice(2500, observations=roots))
    assert any("Roots that are in trouble" in text for text in held)
    unclear = words.reasons(advice(3100))
    assert any("not clearly on one side" in text for text in unclear)
    assert any("clearly within its band" in text for text in words.reasons(HOLD))


def test_the_reasons_without_a_result() -> None:
    none = season(applications=fed()).advice(SATURDAY)
    assert words.reasons(none)[0] == "There is no usable result."
    assert len(words.reasons(none)) == 2


def test_duplicates_are_named_as_a_mean() -> None:
    found = season(result(2400, 6), result(2500, 6, record=2), applications=fed()).advice(SATURDAY)
    assert "was 2,450 ppm (mean of 2)" in words.reasons(found)[0]


@pytest.mark.parametrize(
    ("censor", "value", "text"),
    [
        (Censor.BELOW, 900.0, "was <900 ppm; it is below the band"),
        (Censor.BELOW, 4000.0, "was <4,000 ppm; it cannot be placed against the band"),
        (Censor.ABOVE, 9000.0, "was >9,000 ppm; it is above the band"),
    ],
)
def test_a_laboratorys_bound_is_said_as_it_stands(censor: Censor, value: float, text: str) -> None:
    found = season(result(value, 6, censor=censor), applications=fed()).advice(SATURDAY)
    assert text in words.reasons(found)[0]


def test_a_leaf_result_is_given_in_percent() -> None:
    leaf = season(result(2.2, 6, tissue=Tissue.LEAF), tables=(GEORGIA_LEAF,)).advice(SATURDAY)
    assert "Leaf N of 8 Apr was 2.20 %; it is below the band of 2.80 to 3.80 % for whole season." in words.reasons(
        leaf
    )


def test_a_band_with_one_edge_in_words() -> None:
    reading = RAISE.facts.primary
    assert reading is not None
    low_only = replace(reading, band=replace(reading.band, high=None))
    high_only = replace(reading, band=replace(reading.band, low=None))
    assert words.band_words(low_only) == "3,000 ppm and more"
    assert words.band_words(high_only) == "5,000 ppm and less"


def test_reasons_and_things_to_do_hold_no_rates_that_would_need_a_unit() -> None:
    roots = (Observation(1, "north", day_in(6), Sight.DRY_BED),)
    tight = advice(2500, the_plan=plan(cap=40.0))
    assert tight.recommendation.binding == "season cap"
    for found in (RAISE, HOLD, CUT, tight, advice(2500, observations=roots), advice(3500, changes=(CHANGE,))):
        for text in (*words.reasons(found), *found.recommendation.to_do):
            assert not re.search(r"\b(lb|kg)\b", text), text


# --- how sure -----------------------------------------------------------------------------------------------


def test_how_sure_gives_the_three_chances_and_the_uncertainty() -> None:
    text = words.how_sure(advice(3100))
    comparison = advice(3100).recommendation.comparison
    assert comparison is not None
    for chance in (comparison.below, comparison.within):
        assert f"{100 * chance:.0f} %" in text
    assert "13 %" in text  # Horwitz 4.8 % (HORWITZ-1988), 6 % of 25 petioles and 10 % for the hour


def test_how_sure_of_a_bound_says_at_least() -> None:
    found = season(result(900, 6, censor=Censor.BELOW), applications=fed()).advice(SATURDAY)
    assert "at least" in words.how_sure(found)
    unclear = season(result(2000, 6, censor=Censor.ABOVE), applications=fed()).advice(SATURDAY)
    assert "at least under" not in words.how_sure(unclear) and "at least 0" not in words.how_sure(unclear)


def test_without_a_result_nobody_is_sure() -> None:
    assert "no usable result" in words.how_sure(season().advice(SATURDAY))


def every_advice() -> Iterator[Advice]:
    """Advice on results from far below to far above the band."""
    for value in (55, 300, 1000, 2000, 2900, 3500, 3900, 4500, 5500, 9000, 29_000):
        yield advice(value)
    for value, censor in ((10.0, Censor.BELOW), (30_000.0, Censor.ABOVE), (2000.0, Censor.ABOVE)):
        yield season(result(value, 6, censor=censor), applications=fed()).advice(SATURDAY)
    for value in (0.9, 2.2, 3.3, 6.5):
        yield season(result(value, 6, tissue=Tissue.LEAF), tables=(GEORGIA_LEAF,)).advice(SATURDAY)


@pytest.fixture(scope="module")
def all_advice() -> list[Advice]:
    return list(every_advice())


def test_no_line_claims_a_hundred_percent(all_advice: list[Advice]) -> None:
    for found in all_advice:
        trace = next(line for line in found.recommendation.trace if line.rule == "status")
        texts = (
            words.headline(found, US),
            *words.reasons(found),
            words.how_sure(found),
            words.flip_sentence(found),
        )
        for text in (*texts, trace.saw, trace.why):
            assert not re.search(r"\b100 ?%", text), (found.facts.primary, text)


def test_no_chance_is_given_as_a_flat_nothing(all_advice: list[Advice]) -> None:
    for found in all_advice:
        assert not re.search(r"(?<![\d.])0 ?%", words.how_sure(found)), found.facts.primary


# --- what would change it -----------------------------------------------------------------------------------


def test_the_results_that_would_change_the_advice_are_named_with_what_they_lead_to() -> None:
    low, high = value_at(3000.0, Z_80), value_at(5000.0, -Z_80)
    assert words.flip_sentence(HOLD) == (
        f"With a result below {low:,.0f} ppm to raise, and above {high:,.0f} ppm to cut, the advice would change."
    )
    assert f"above {low:,.0f} ppm to hold" in words.flip_sentence(RAISE)
    assert f"below {high:,.0f} ppm to hold" in words.flip_sentence(CUT)


def test_where_no_result_would_change_it_the_words_say_so() -> None:
    stale = season(result(2500, 3), applications=fed()).advice(SATURDAY)
    assert stale.flips == ()
    assert words.flip_sentence(stale) == ("No result of that sample would change this: the advice stays to hold.")
    assert "usable result" in words.flip_sentence(season().advice(SATURDAY))


def test_what_would_change_the_advice_never_leads_to_the_same_advice(all_advice: list[Advice]) -> None:
    for found in all_advice:
        if found.flips:
            assert f"to {found.recommendation.action.value}" not in words.flip_sentence(found), found.facts.primary


# --- as data ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", [US, METRIC])
def test_advice_as_data_is_plain_json_and_says_what_the_words_say(units: UnitSystem) -> None:
    for found in (RAISE, HOLD, CUT):
        data = advice_data(found, products(), units)
        assert json.loads(json.dumps(data)) == data
        assert data["headline"] == words.headline(found, units)
        assert data["reasons"] == list(words.reasons(found))
        assert data["how_sure"] == words.how_sure(found)
        assert data["would_change"] == words.flip_sentence(found)
        assert data["action"] == found.recommendation.action.value
        assert len(data["trace"]) == len(found.recommendation.trace)
        assert data["units"]["rate"] == units.rate_unit


def test_advice_as_data_in_metric_units() -> None:
    us, metric = (advice_data(RAISE, products(), units) for units in (US, METRIC))
    assert metric["area"] == pytest.approx(us["area"] * 0.40468564224)
    for one, other in zip(us["weeks"], metric["weeks"], strict=True):
        for key in ("planned", "before", "rate", "total"):
            assert other[key] == pytest.approx(one[key] * KG_HA_PER_LB_AC)
        for key in ("block_n", "injection_n", "k2o", "ca"):
            assert other[key] == pytest.approx(one[key] * 0.45359237)
    assert metric["result"] == us["result"] and metric["trace"] == us["trace"]


def test_advice_as_data_holds_the_reading_its_band_and_where_both_come_from() -> None:
    data = advice_data(RAISE, products(), US)["result"]
    assert (data["value"], data["unit"], data["records"], data["status"]) == (2500, "ppm", [1], "low")
    assert (data["band"]["low"], data["band"]["high"], data["band"]["place"]) == (3000, 5000, "week 6")
    assert data["band"]["source"].split("; ")[0] == "UGA-2021" and data["band"]["evidence"] == "published"
    assert data["below"] + data["within"] + data["above"] == pytest.approx(1.0)


def test_advice_as_data_without_a_result() -> None:
    data = advice_data(season(applications=fed()).advice(SATURDAY), products(), US)
    assert data["result"] is None and data["leaf"] is None
    assert data["flips"] == [] and data["uncertainty"] == {"relative": 0.0, "parts": []}


def test_advice_as_data_shows_results_that_were_not_used() -> None:
    both: BlockSeason = season(result(2500, 6), result(450, 6, record=9, basis=Basis.SAP), applications=fed())
    (kept,) = advice_data(both.advice(SATURDAY), products(), US)["not_used"]
    assert kept["record"] == 9 and kept["sampled"] == "2026-04-08"


# --- the limits of the test ---------------------------------------------------------------------------------


def test_the_limits_of_the_test_cite_known_sources() -> None:
    for text, source in words.LIMITS_OF_THE_TEST:
        assert text.endswith(".")
        assert all(key in citations() for key in source.split("; ")), source


def test_the_limits_of_the_test_name_the_missing_number_for_a_cut() -> None:
    assert any("No publication gives a number" in text for text, _ in words.LIMITS_OF_THE_TEST)
