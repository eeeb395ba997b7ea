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
from fertadjust.rules.bound_rules import NOTHING_FED
from fertadjust.rules.facts import Action, Limit
from fertadjust.season import Advice, BlockSeason
from fertadjust.tissue import Basis, Censor, Tissue
from fertadjust.units import UnitSystem
from tests.rules import Z_80, value_at
from tests.support import GEORGIA_LEAF, SOUTHEAST, day_in, plan, products, result, season

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
        "Sun 26 Apr 2026; review on Mon 27 Apr 2026."
    )
    assert words.headline(CUT, US) == (
        "Cut nitrogen from 5.25 to 3.95 lb N/ac/week (-25 %) for the 2 weeks from Mon 13 Apr 2026 to "
        "Sun 26 Apr 2026; review on Mon 27 Apr 2026."
    )


def test_the_headline_of_a_hold_names_the_rate_that_is_held() -> None:
    text = words.headline(HOLD, US)
    assert text.startswith("Hold nitrogen at 5.25 lb N/ac/week for the 2 weeks")
    unclear = words.headline(advice(3100), US)
    assert "for the week from Mon 13 Apr 2026 to Sun 19 Apr 2026; review on Mon 20 Apr 2026." in unclear


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
        data = advice_data(CUT, [products()], units)
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
    assert words.how_sure(found).startswith("Below its band: over 99 %; ")
    near = season(result(2400, 6, censor=Censor.BELOW), applications=fed()).advice(SATURDAY)
    assert words.how_sure(near).startswith("Below its band: at least 9")
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
            words.would_change(found, US),
            words.bounds_sentence(found.recommendation),
        )
        for text in (*texts, trace.saw, trace.why):
            assert not re.search(r"\b100 ?%", text), (found.facts.primary, text)


def test_no_chance_is_given_as_a_flat_nothing(all_advice: list[Advice]) -> None:
    for found in all_advice:
        assert not re.search(r"(?<![\d.])0 ?%", words.how_sure(found)), found.facts.primary


# --- what would change it -----------------------------------------------------------------------------------


def test_the_results_that_would_change_the_advice_are_named_with_what_they_lead_to() -> None:
    low, high = value_at(3000.0, Z_80), value_at(5000.0, -Z_80)
    assert words.would_change(HOLD, US).startswith(
        f"The advice would change with a result below {low:,.0f} ppm (raise) or with a result above {high:,.0f} "
        "ppm (cut); it would stay "
    )
    assert f"with a result above {low:,.0f} ppm (hold)" in words.would_change(RAISE, US)
    assert f"with a result below {high:,.0f} ppm (hold)" in words.would_change(CUT, US)


def test_what_else_might_have_been_is_named_with_its_rate_or_among_what_changes_nothing() -> None:
    low = value_at(3000.0, Z_80)
    # a raise of 39 % halved by the cross-check row low-leaf-sufficient: 5.25 x 1.196 = 6.28, metered as 6.30
    assert words.would_change(RAISE, US) == (
        f"The advice would change with a result above {low:,.0f} ppm (hold) or if leaf nitrogen were in its band "
        "(raise to 6.30); it would stay if the sample had been taken a week earlier or if the sample had been "
        "taken a week later."
    )
    metric = words.would_change(RAISE, METRIC)
    assert metric == words.would_change(RAISE, US).replace("6.30", f"{6.30 * KG_HA_PER_LB_AC:.2f}")


def various_advice() -> Iterator[Advice]:
    """Advice of every kind: held back, bounded, out of date, at either end of the season, on leaf or petiole."""
    yield from every_advice()
    yield season(result(2500, 3), applications=fed()).advice(SATURDAY)
    for log in (fed(2.0), fed()[:4], ()):
        yield advice(2500, applications=log)
        yield advice(9000, applications=log)
    for on_leaf in (2.2, 2.8, 3.3, 4.6):
        for on_petiole in (2500, 3900, 9000):
            both = (result(on_petiole, 6), result(on_leaf, 6, record=2, tissue=Tissue.LEAF))
            yield season(*both, applications=fed()).advice(SATURDAY)
    for sight in (Sight.WATERLOGGED, Sight.LEACHING_RAIN, Sight.SOFT_FRUIT):
        yield advice(2500, observations=(Observation(1, "north", day_in(6), sight),))
    yield advice(2500, the_plan=plan(cap=40.0))
    yield advice(2500, the_plan=plan((0.0,) * 12, floor=0.0), applications=fed(0.0))
    yield season(result(1000, 1, delay=0)).advice(day_in(1, 5))
    for week in (11, 12, 14):
        yield season(result(400, min(week, 12)), applications=fed()).advice(day_in(week, 5))


@pytest.fixture(scope="module")
def various() -> list[Advice]:
    return list(various_advice())


def test_what_would_change_the_advice_is_one_sentence(various: list[Advice]) -> None:
    for found in various:
        text = words.would_change(found, US)
        assert text[0].isupper() and text.endswith("."), text
        assert not re.search(r"[.!?](?!\d)", text[:-1]), text
        assert text.count("it would stay ") <= 1 and ",," not in text and "  " not in text, text


def test_every_flip_and_every_alternative_is_in_the_sentence_on_its_own_side(various: list[Advice]) -> None:
    kinds = set()
    for found in various:
        here = found.recommendation
        changes, _, stays = words.would_change(found, US).partition("it would stay ")
        for flip in found.flips:
            kinds.add("flip")
            side = "above" if flip.above else "below"
            assert re.search(rf"with a result {side} [\d,.]+ (ppm|%) \({flip.action.value}\)", changes), changes
        assert changes.count("with a result ") == len(found.flips), changes
        assert changes.startswith("No result of that sample") == (
            not re.search(r"\bwould change (with|if)\b", changes)
        )
        for item in found.alternatives:
            other, named = item.recommendation, f"if {item.condition}"
            if other is None:
                kinds.add("does not arise")
                assert item.why_not and named not in changes + stays, changes
                continue
            same = other.action is here.action and other.rates_lb_ac[:1] == pytest.approx(here.rates_lb_ac[:1])
            kinds.add("stays" if same else "differs")
            assert (f"{named} ({words.otherwise(item, US)})" in changes) is not same, changes
            assert (named in stays) is same and (named in changes) is not same, (changes, stays)
            assert words.differs(found, item) is not same
        assert stays.count("if ") == sum(
            item.recommendation is not None and not words.differs(found, item) for item in found.alternatives
        )
    assert kinds == {"flip", "does not arise", "stays", "differs"}


def test_an_alternative_is_said_with_its_action_and_rates_or_why_it_does_not_arise() -> None:
    texts = {item.condition: words.otherwise(item, US) for item in RAISE.alternatives}
    assert texts == {
        "the sample had been taken a week earlier": "raise to 7.00",
        "the sample had been taken a week later": "raise to 7.00",
        "leaf nitrogen were in its band": "raise to 6.30",
        "one more injection had been logged before the sample": (
            "does not arise, since what was planned before the sample is logged"
        ),
    }
    assert {words.otherwise(item, US) for item in HOLD.alternatives[:3]} == {"hold at 5.25"}
    over = season(result(1200, 12), applications=fed()).advice(day_in(13))
    assert words.otherwise(over.alternatives[0], US) == "hold"
    old = season(result(1200, 12), applications=fed()).advice(day_in(14))
    earlier = "does not arise, since a sample of 13 May would be too old to decide on"
    assert words.otherwise(old.alternatives[0], US) == earlier


def test_where_no_result_would_change_it_the_words_say_so() -> None:
    stale = season(result(2500, 3), applications=fed()).advice(SATURDAY)
    assert stale.flips == ()
    text = words.would_change(stale, US)
    assert text.startswith("No result of that sample would change this: the advice stays hold; it would stay if ")
    assert words.would_change(season().advice(SATURDAY), US) == "A usable result may change this."


def test_what_would_change_the_advice_never_leads_to_the_same_advice(various: list[Advice]) -> None:
    for found in various:
        assert found.recommendation.action not in {flip.action for flip in found.flips}, found.facts.primary
        for item in found.alternatives:
            if item.recommendation is not None and words.differs(found, item):
                assert words.otherwise(item, US) != words.otherwise(
                    item._replace(recommendation=found.recommendation), US
                )


# --- the bounds ---------------------------------------------------------------------------------------------


def test_no_bound_no_words_about_it() -> None:
    for found in (HOLD, CUT):
        assert found.recommendation.limits == () and found.recommendation.binding == ""
        assert words.bounds_sentence(found.recommendation) == ""


def test_the_binding_bound_is_named_with_what_was_sought_and_what_came_of_it() -> None:
    # 2,500 ppm is 0.357 band widths below 3,000: 1/3 + (1/2 - 1/3) x 0.357 = 0.393 (UGA-2021; UGA-AESL);
    # the ceiling of 7.00 over the planned 5.25 is 1.33
    assert words.bounds_sentence(RAISE.recommendation) == (
        "Of the bounds, ceiling (1.33) is the one that binds. A factor of 1.39 was sought, 1.33 is advised."
    )


def test_what_the_other_bounds_would_allow_is_said_beside_the_one_that_binds() -> None:
    soft = advice(2500, observations=(Observation(1, "north", day_in(6), Sight.SOFT_FRUIT),)).recommendation
    assert soft.binding == "fruit quality"
    assert [(item.name, round(item.factor, 2)) for item in soft.limits] == [
        ("fruit quality", 1.0),
        ("ceiling", 1.33),
    ]
    text = words.bounds_sentence(soft)
    assert (
        "fruit quality (1.00) is the one that binds" in text
        and "ceiling 1.33" in text
        and "fruit quality 1.00" not in text
    )
    assert text.endswith(" A factor of 1.39 was sought, 1.00 is advised.")


@pytest.mark.parametrize(
    ("binding", "limits", "said"),
    [
        ("", {"ceiling": 1.5}, "No bound binds; by themselves these would allow a factor of: ceiling 1.50."),
        (
            "ceiling",
            {"ceiling": 1.33, "season cap": 1.36},
            "Of the bounds, ceiling (1.33) is the one that binds; by themselves the others would allow a factor "
            "of: season cap 1.36.",
        ),
        ("meterable rate", {}, "Of the bounds, meterable rate is the one that binds."),
        (NOTHING_FED, {}, "The plan feeds nothing in the weeks until the review."),
    ],
)
def test_what_the_bounds_allow_is_said_whether_one_binds_or_none(
    binding: str, limits: dict[str, float], said: str
) -> None:
    each = tuple(Limit(name, factor) for name, factor in limits.items())
    found = replace(RAISE.recommendation, binding=binding, limits=each, sought=1.4, factor=1.33)
    assert words.bounds_sentence(found) == f"{said} A factor of 1.40 was sought, 1.33 is advised."


def test_a_bound_that_binds_is_the_tightest_of_those_named(various: list[Advice]) -> None:
    bound = [found.recommendation for found in various if found.recommendation.limits]
    assert len({item.binding for item in bound}) >= 4
    for item in bound:
        text = words.bounds_sentence(item)
        assert f"{item.sought:.2f} was sought, {item.factor:.2f} is advised" in text
        assert all(
            f"{limit.name} {limit.factor:.2f}" in text for limit in item.limits if limit.name != item.binding
        )
        own = [f" ({limit.factor:.2f})" for limit in item.limits if limit.name == item.binding]
        assert f"Of the bounds, {item.binding}{''.join(own)} is the one that binds" in text


# --- as data ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", [US, METRIC])
def test_advice_as_data_is_plain_json_and_says_what_the_words_say(units: UnitSystem) -> None:
    for found in (RAISE, HOLD, CUT):
        data = advice_data(found, [products()], units)
        assert json.loads(json.dumps(data)) == data
        assert data["headline"] == words.headline(found, units)
        assert data["reasons"] == list(words.reasons(found))
        assert data["how_sure"] == words.how_sure(found)
        assert data["would_change"] == words.would_change(found, units)
        assert data["action"] == found.recommendation.action.value
        assert len(data["trace"]) == len(found.recommendation.trace)
        assert data["units"]["rate"] == units.rate_unit


def test_advice_as_data_in_metric_units() -> None:
    us, metric = (advice_data(RAISE, [products()], units) for units in (US, METRIC))
    assert metric["area"] == pytest.approx(us["area"] * 0.40468564224)
    for one, other in zip(us["weeks"], metric["weeks"], strict=True):
        for key in ("planned", "before", "rate", "total"):
            assert other[key] == pytest.approx(one[key] * KG_HA_PER_LB_AC)
        for key in ("block_n", "injection_n", "k2o", "ca"):
            assert other[key] == pytest.approx(one[key] * 0.45359237)
    assert metric["result"] == us["result"] and metric["trace"] == us["trace"]


def test_advice_as_data_holds_the_reading_its_band_and_where_both_come_from() -> None:
    data = advice_data(RAISE, [products()], US)["result"]
    assert (data["value"], data["unit"], data["records"], data["status"]) == (2500, "ppm", [1], "low")
    assert (data["band"]["low"], data["band"]["high"], data["band"]["place"]) == (3000, 5000, "week 6")
    assert data["band"]["source"].split("; ")[0] == "UGA-2021" and data["band"]["evidence"] == "published"
    assert data["below"] + data["within"] + data["above"] == pytest.approx(1.0)


def test_advice_as_data_without_a_result() -> None:
    data = advice_data(season(applications=fed()).advice(SATURDAY), [products()], US)
    assert data["result"] is None and data["leaf"] is None
    assert data["flips"] == [] and data["uncertainty"] == {"relative": 0.0, "parts": []}


def test_advice_as_data_shows_results_that_were_not_used() -> None:
    both: BlockSeason = season(result(2500, 6), result(450, 6, record=9, basis=Basis.SAP), applications=fed())
    (kept,) = advice_data(both.advice(SATURDAY), [products()], US)["not_used"]
    assert kept["record"] == 9 and kept["sampled"] == "2026-04-08"


# --- recalled bands ----------------------------------------------------------------------------------------


def test_a_mark_stands_for_recalled_bands_alone() -> None:
    """Florida's sap table is recalled, that of the US Southeast is published."""
    dry = season(result(3000, 6)).advice(SATURDAY).facts.primary
    sap = result(380, 2, basis=Basis.SAP)
    recalled = season(sap, tables=("strawberry-petiole-sap-florida",)).advice(day_in(2, 6)).facts.primary
    assert dry is not None and recalled is not None
    assert words.recalled_mark() == words.recalled_mark(None) == words.recalled_mark(dry.band) == ""
    assert words.recalled_mark(dry.band, None, recalled.band) == "band recalled"
    assert (words.reading_mark(dry), words.reading_mark(recalled)) == ("", " (band recalled)")


def test_the_sentence_of_a_result_is_marked_on_demand() -> None:
    sap = result(380, 2, basis=Basis.SAP)
    for tables, given, mark in (
        (("strawberry-petiole-sap-florida",), sap, " (band recalled)."),
        ((SOUTHEAST,), result(3000, 2), "."),
    ):
        made = season(given, tables=tables).advice(day_in(2, 6))
        assert made.facts.primary is not None
        plain = words.result_sentence(made.facts.primary, made.recommendation)
        marked = words.result_sentence(made.facts.primary, made.recommendation, marked=True)
        assert marked == plain.removesuffix(".") + mark
