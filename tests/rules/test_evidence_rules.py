"""Rules on the evidence, seen through the whole engine: which result counts, and how sure it is."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import pytest

from fertadjust.bands import BandTable
from fertadjust.compare import Side
from fertadjust.evidence import Evidence
from fertadjust.products import Product
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Recommendation
from fertadjust.rules.policy import Policy, with_overrides
from fertadjust.shipped import shipped_policy_files, shipped_tables
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult
from tests.rules import (
    ENOUGH,
    HIGH,
    LEAF_ENOUGH,
    LEAF_LOW,
    LOW,
    LOW_EDGE,
    RATE,
    SATURDAY,
    Z_80,
    advised,
    averaged,
    cut_size,
    fed,
    fired,
    horwitz,
    in_force,
    leaf,
    line,
    petiole_season,
    raise_size,
    uncertainty,
    value_at,
)
from tests.support import (
    BLOOM,
    GEORGIA_LEAF,
    SOUTHEAST,
    day_in,
    policy,
    products,
    result,
    season,
    with_policy,
)

DELAWARE_SAP = "strawberry-petiole-sap-delaware"


def recalled_southeast() -> BandTable:
    """The Southeast table as if it had been written from memory."""
    data = shipped_tables()[SOUTHEAST].as_data()
    for row in data["rows"]:
        row |= {"evidence": "recalled", "confidence": "medium"}
    return BandTable.model_validate(data)


def from_memory(*results: TissueResult, consent: bool | None, **rest: object) -> Recommendation:
    """On the recalled table, with the grower's word on cuts or, for None, without one."""
    the_policy = policy() if consent is None else with_policy(policy(), recalled_may_cut=consent)
    the_season = petiole_season(*results, the_policy=the_policy, **rest)
    the_season = replace(the_season, tables=(recalled_southeast(), shipped_tables()[GEORGIA_LEAF]))
    return evaluate(the_season.facts(SATURDAY), the_policy)


def mix(nitrate: float | None) -> tuple[Product, ...]:
    """One fertilizer with a share of its nitrogen as nitrate."""
    return (Product("blend", {"n": 20.0}, share=1.0, nitrate_n=None if nitrate is None else 20.0 * nitrate),)


# --- wrong kind ---------------------------------------------------------------------------------------------


def test_without_any_result_nothing_is_changed_and_a_sample_is_asked_for() -> None:
    found = advised()
    trace = line(found, "wrong kind")
    assert trace.fired and trace.change == "no change allowed"
    assert found.action is Action.HOLD and found.factor == 1.0
    assert found.comparison is None and found.moved_by == ""
    assert found.next_sample == SATURDAY
    assert found.to_do[0].startswith("Take a petiole sample")
    assert not {"status", "raise", "cut", "few petioles"} & fired(found)


def test_a_result_without_a_band_of_its_kind_is_kept_shown_and_not_used() -> None:
    sap = result(450, 6, record=9, basis=Basis.SAP)
    facts = petiole_season(sap).facts(SATURDAY)
    assert facts.primary is None
    (kept,) = facts.not_used
    assert kept.record == 9 and "fresh sap" in kept.text and "no band table in use" in kept.why
    found = advised(sap)
    assert line(found, "wrong kind").fired and found.action is Action.HOLD


def test_sap_beside_a_dry_result_moves_nothing() -> None:
    with_sap = advised(result(LOW, 6), result(450, 6, record=9, basis=Basis.SAP, offset=4, delay=0))
    alone = advised(result(LOW, 6))
    trace = line(with_sap, "wrong kind")
    assert trace.fired and trace.change == "" and trace.source == "UF-CV004"
    assert not line(alone, "wrong kind").fired
    assert with_sap.rates_lb_ac == alone.rates_lb_ac
    assert with_sap.comparison == alone.comparison


def test_a_result_before_the_first_band_of_the_table_is_not_used() -> None:
    early = result(3000, 0, record=9)
    facts = petiole_season(early).facts(day_in(1))
    assert facts.primary is None
    assert "week 0" in facts.not_used[0].why


def test_leaf_nutrients_other_than_nitrogen_never_decide() -> None:
    facts = petiole_season(leaf(0.9, analyte="K")).facts(SATURDAY)
    assert facts.primary is None and facts.leaf is None and facts.not_used == ()


# --- stale --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("age", "is_stale"), [(13, False), (14, False), (15, True), (30, True)])
def test_a_result_older_than_fourteen_days_decides_nothing(age: int, is_stale: bool) -> None:
    low = result(LOW, 6)
    on = low.sampled + timedelta(days=age)
    found = advised(low, on=on)
    trace = line(found, "stale")
    assert trace.fired is is_stale
    assert f"{age} days ago" in trace.saw
    assert (found.action is Action.RAISE) is not is_stale
    if is_stale:
        assert trace.change == "no change allowed"
        assert found.rates_lb_ac == found.standing_rates_lb_ac
        assert found.next_sample == on
        assert any(text.startswith("Sample again now") for text in found.to_do)
        assert "stale" in line(found, "raise").saw
    else:
        assert found.factor == pytest.approx(1 + raise_size(LOW))


def test_a_stale_high_result_cuts_nothing() -> None:
    high = result(HIGH, 6)
    found = advised(high, on=high.sampled + timedelta(days=15))
    assert found.action is Action.HOLD and "stale" in line(found, "cut").saw


def test_a_stale_result_takes_no_change_back_either() -> None:
    enough = result(4700, 6)
    change = in_force(1.2)
    fresh = advised(enough, changes=(change,), on=enough.sampled + timedelta(days=14))
    old = advised(enough, changes=(change,), on=enough.sampled + timedelta(days=15))
    assert fresh.factor == pytest.approx(1.1)
    assert old.factor == pytest.approx(1.2)


@pytest.mark.parametrize(("age", "tissue"), [(14, Tissue.PETIOLE), (15, Tissue.LEAF)])
def test_a_fresh_leaf_result_decides_once_the_petiole_is_stale(age: int, tissue: Tissue) -> None:
    petiole = result(ENOUGH, 6)
    on = petiole.sampled + timedelta(days=age)
    later = replace(leaf(LEAF_LOW), sampled=on - timedelta(days=3), received=on)
    facts = petiole_season(petiole, later).facts(on)
    assert facts.primary is not None and facts.primary.tissue is tissue


@pytest.mark.parametrize(("age", "tissue"), [(14, Tissue.LEAF), (15, Tissue.PETIOLE)])
def test_a_stale_leaf_does_not_step_in_for_a_stale_petiole(age: int, tissue: Tissue) -> None:
    petiole = result(LOW, 6)
    on = petiole.sampled + timedelta(days=16)
    later = replace(leaf(LEAF_LOW), sampled=on - timedelta(days=age))
    facts = petiole_season(petiole, later).facts(on)
    assert facts.primary is not None and facts.primary.tissue is tissue
    assert (advised(petiole, later, on=on).action is Action.HOLD) is (tissue is Tissue.PETIOLE)


# --- recalled band ------------------------------------------------------------------------------------------


def test_a_band_from_memory_cuts_only_with_consent() -> None:
    without, with_ = (from_memory(result(HIGH, 6), consent=consent) for consent in (False, True))
    assert line(without, "recalled band").fired and line(without, "recalled band").change == "no cut allowed"
    assert without.action is Action.HOLD and "recalled band" in line(without, "cut").saw
    assert line(with_, "recalled band").fired and line(with_, "recalled band").change == ""
    assert with_.action is Action.CUT and with_.factor == pytest.approx(1 - cut_size(HIGH))
    for found in (without, with_):
        assert any("written from memory" in text for text in found.to_do)


def test_without_the_growers_word_a_band_from_memory_cuts_nothing() -> None:
    found = from_memory(result(HIGH, 6), consent=None)
    assert line(found, "recalled band").change == "no cut allowed" and found.action is Action.HOLD


def test_a_band_from_memory_does_raise() -> None:
    found = from_memory(result(LOW, 6), consent=False)
    assert found.action is Action.RAISE and found.factor == pytest.approx(1 + raise_size(LOW))


def test_a_published_band_needs_no_consent_to_cut() -> None:
    found = advised(result(HIGH, 6))
    assert not line(found, "recalled band").fired and found.action is Action.CUT


def test_easing_back_on_a_band_from_memory_is_no_cut_without_consent() -> None:
    found = from_memory(result(4700, 6), consent=False, changes=(in_force(1.2),), applications=fed(1.2 * RATE))
    assert line(found, "recalled band").change == "no cut allowed"
    assert found.action is not Action.CUT


# --- too soon -----------------------------------------------------------------------------------------------


def twice_low(offset: int, **rest: object) -> Recommendation:
    """Low in week 4, raised from the Monday of week 5 on, low again some days after that Monday."""
    on = day_in(5, offset)
    again = replace(result(1500, 5, record=2), sampled=on, received=on)
    change = in_force(1.2, since=5)
    given: dict[str, object] = {"changes": (change,), "applications": fed(), "on": on} | rest
    return advised(result(1500, 4), again, **given)


@pytest.mark.parametrize(("days", "soon"), [(0, True), (6, True), (7, False), (12, False)])
def test_a_second_raise_needs_a_sample_a_week_after_the_first(days: int, soon: bool) -> None:
    found = twice_low(days)
    trace = line(found, "too soon")
    assert trace.fired is soon
    assert "lag 7 days" in trace.saw and "ROBERTS-1989" in trace.source
    assert (found.action is Action.RAISE) is not soon
    if soon:
        assert trace.change == "no further raise allowed"
        assert found.factor == pytest.approx(1.2)
        assert "too soon" in line(found, "raise").saw


@pytest.mark.parametrize(("days", "soon"), [(7, True), (13, True), (14, False)])
def test_ammonium_and_urea_take_a_week_longer_to_show(days: int, soon: bool) -> None:
    found = twice_low(days, products=mix(0.2))
    assert line(found, "too soon").fired is soon
    assert "lag 14 days" in line(found, "too soon").saw
    assert (found.action is Action.RAISE) is not soon


@pytest.mark.parametrize(("nitrate", "lag"), [(0.49, 14), (0.5, 7), (1.0, 7), (0.0, 14), (None, 7)])
def test_the_lag_follows_the_nitrate_share_of_the_mix(nitrate: float | None, lag: int) -> None:
    found = twice_low(7, products=mix(nitrate))
    assert f"lag {lag} days" in line(found, "too soon").saw


@pytest.mark.parametrize(
    ("below", "nitrate", "lag"), [(0.49, 0.49, 7), (0.51, 0.5, 14), (0.0, 0.0, 7), (1.0, 0.99, 14), (1.0, 1.0, 7)]
)
def test_the_policy_says_which_mix_is_a_slow_one(below: float, nitrate: float, lag: int) -> None:
    found = twice_low(7, products=mix(nitrate), the_policy=with_policy(policy(), slow_mix_below=below))
    assert f"lag {lag} days" in line(found, "too soon").saw
    assert (found.action is Action.RAISE) is (lag == 7)


def test_a_sample_taken_before_the_change_began_cannot_repeat_it() -> None:
    change = replace(in_force(1.2, since=7), decided=day_in(6))
    found = advised(result(1500, 5), result(1500, 6, record=2), changes=(change,))
    assert line(found, "too soon").fired and "5 days before it" in line(found, "too soon").saw
    assert found.factor == pytest.approx(1.2) and found.action is Action.HOLD


def test_a_sample_too_soon_after_a_raise_may_still_call_for_a_cut() -> None:
    found = advised(result(HIGH, 6), changes=(in_force(1.2, since=6),))
    assert line(found, "too soon").fired
    assert found.action is Action.CUT
    assert found.factor == 1.0 and "that one is taken back" in line(found, "cut").why
    settled = advised(result(HIGH, 6), changes=(in_force(1.2, since=5),), applications=fed(1.2 * RATE))
    assert settled.factor == pytest.approx(1.2 * (1 - cut_size(HIGH)))


def test_a_sample_too_soon_after_a_cut_may_still_call_for_a_raise() -> None:
    found = advised(result(LOW, 6), changes=(in_force(0.8, since=6),))
    assert line(found, "too soon").fired and line(found, "too soon").change == "no further cut allowed"
    assert found.action is Action.RAISE
    assert found.factor == 1.0 and "that one is taken back" in line(found, "raise").why
    settled = advised(result(LOW, 6), changes=(in_force(0.8, since=5),), applications=fed(0.8 * RATE))
    assert settled.factor == pytest.approx(0.8 * (1 + raise_size(LOW)))


def test_a_sample_too_soon_after_a_cut_calls_for_no_further_cut() -> None:
    results = (result(HIGH, 5), result(HIGH, 6, record=2))
    soon = advised(*results, changes=(in_force(0.9, since=6),))
    late = advised(*results, changes=(in_force(0.9, since=5),), applications=fed(0.9 * RATE))
    assert soon.action is Action.HOLD and soon.factor == pytest.approx(0.9)
    assert late.action is Action.CUT and late.factor == pytest.approx(0.9 * (1 - 0.25))  # high twice in a row


def test_a_sample_too_soon_takes_no_change_back() -> None:
    found = advised(result(4700, 6), changes=(in_force(1.2, since=6),))
    assert found.factor == pytest.approx(1.2)
    assert "cannot show the changed rate yet" in line(found, "after recovery").why


def test_without_an_earlier_change_no_sample_is_too_soon() -> None:
    assert not line(advised(result(LOW, 6)), "too soon").fired


# --- few petioles -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "few"), [(5, True), (19, True), (20, False), (25, False), (None, True)])
def test_fewer_than_twenty_petioles_make_the_result_less_sure(count: int | None, few: bool) -> None:
    found = advised(result(ENOUGH, 6, petioles=count))
    trace = line(found, "few petioles")
    assert trace.fired is few
    assert trace.source == "NCDA-2007; DE-2018"
    assert found.relative == pytest.approx(uncertainty(ENOUGH, count or 20))
    assert f"{100 * found.relative:.0f} % in all" in trace.saw


def test_a_count_that_was_not_noted_is_taken_as_the_protocols_and_asked_for() -> None:
    found = advised(result(ENOUGH, 6, petioles=None))
    assert "not noted" in line(found, "few petioles").saw and line(found, "few petioles").change == ""
    assert "Note the number of petioles with the next sample." in found.to_do
    few = advised(result(ENOUGH, 6, petioles=12))
    assert line(few, "few petioles").change == "wider uncertainty"
    assert "Take at least 20 leaves next time." in few.to_do


def test_a_low_result_of_few_petioles_may_be_too_unsure_to_raise_on() -> None:
    near = value_at(LOW_EDGE, Z_80 + 0.005, petioles=20)
    enough, few = (advised(result(near, 6, petioles=count)) for count in (20, 19))
    assert enough.action is Action.RAISE
    assert few.action is Action.HOLD and few.comparison is not None and few.comparison.sure is None


def test_the_budget_names_its_parts_with_their_sources() -> None:
    found = advised(result(ENOUGH, 6))
    names = ["laboratory, by Horwitz", "sampling, 25 petioles", "hour and day"]
    assert [part.name for part in found.parts] == names
    assert found.parts[0].relative == pytest.approx(horwitz(ENOUGH))
    assert (found.parts[0].source, found.parts[0].evidence) == ("HORWITZ-1988", Evidence.DERIVED)
    assert found.parts[1].relative == pytest.approx(0.30 / 5)
    assert found.parts[2].relative == pytest.approx(0.10)
    assert found.relative == pytest.approx(math.sqrt(sum(part.relative**2 for part in found.parts)))


def test_leaf_nitrogen_has_a_budget_of_its_own() -> None:
    found = advised(leaf(LEAF_ENOUGH))
    names = ["laboratory, by Horwitz", "sampling, 25 leaves", "hour and day"]
    assert [part.name for part in found.parts] == names
    assert found.parts[0].relative == pytest.approx(horwitz(LEAF_ENOUGH * 10_000))
    assert [part.relative for part in found.parts[1:]] == pytest.approx([0.10 / 5, 0.03])


def own_laboratory(**figures: float) -> Policy:
    """The shipped policy with figures of the laboratory's own."""
    data = shipped_policy_files()["strawberry-annual-plasticulture"].data
    return Policy.model_validate(with_overrides(data, figures))


def test_a_laboratorys_own_figure_takes_the_place_of_the_general_one() -> None:
    the_policy = own_laboratory(laboratory_petiole=0.08, laboratory_leaf=0.02)
    for sample, relative in ((result(ENOUGH, 6), 0.08), (leaf(LEAF_ENOUGH), 0.02)):
        part = advised(sample, the_policy=the_policy).parts[0]
        assert (part.name, part.relative) == ("laboratory", relative)
        assert (part.source, part.evidence) == ("season file", Evidence.OWN)


def test_the_figure_for_petioles_says_nothing_about_leaves() -> None:
    part = advised(leaf(LEAF_ENOUGH), the_policy=own_laboratory(laboratory_petiole=0.08)).parts[0]
    assert part.name == "laboratory, by Horwitz"
    assert part.relative == pytest.approx(horwitz(LEAF_ENOUGH * 10_000))


@pytest.mark.parametrize(("share", "apart"), [(0.998, False), (1.002, True)])
def test_a_laboratorys_own_figure_also_says_how_far_its_duplicates_may_lie_apart(
    share: float, apart: bool
) -> None:
    limit = 2.8 * 0.667 * 0.08  # ISO-5725; HORWITZ-1988 for the share inside one laboratory
    found = advised(*pair(share * limit), the_policy=own_laboratory(laboratory_petiole=0.08))
    assert line(found, "duplicates disagree").fired is apart
    half_range = share * limit / 2 if apart else 0.0
    assert found.parts[0].relative == pytest.approx(math.hypot(averaged(0.08, 2), half_range))


def meter_season(*values: float, method: Method = Method.METER) -> Recommendation:
    """Sap by a hand-held meter at early bloom, where Delaware gives 600 mg/L and more (DE-7778)."""
    readings = [
        result(value, 6, record=index, basis=Basis.SAP, method=method)
        for index, value in enumerate(values, start=1)
    ]
    the_season = season(
        *readings,
        tables=(DELAWARE_SAP,),
        stages=StageDates({"early_bloom": BLOOM}, day_in(12, 6)),
        applications=fed(),
    )
    return evaluate(the_season.facts(SATURDAY), the_season.policy)


@pytest.mark.parametrize(
    ("method", "name", "mean_error"),
    [(Method.METER, "meter, undiluted sap", 0.24), (Method.METER_DILUTED, "meter, diluted sap", 0.25)],
)
def test_a_hand_held_meter_brings_its_own_uncertainty(method: Method, name: str, mean_error: float) -> None:
    """A mean relative error (PENA-FLEITAS-2021) read as that of a normal error, times sqrt(pi / 2)."""
    found = meter_season(700.0, method=method)
    assert (found.parts[0].name, found.parts[0].source) == (name, "PENA-FLEITAS-2021")
    assert found.parts[0].relative == pytest.approx(mean_error * math.sqrt(math.pi / 2), abs=5e-4)
    assert [part.relative for part in found.parts[1:]] == pytest.approx([0.30 / 5, 0.10])


def test_sap_read_by_a_laboratory_goes_by_horwitz() -> None:
    """600 mg/L counts as 600 parts per million: sap taken as 1 kg a litre."""
    found = meter_season(600.0, method=Method.LABORATORY)
    assert found.parts[0].name == "laboratory, by Horwitz"
    assert found.parts[0].relative == pytest.approx(horwitz(600.0))


@pytest.mark.parametrize(("method", "single"), [(Method.METER, 0.301), (Method.METER_DILUTED, 0.313)])
@pytest.mark.parametrize(("share", "apart"), [(0.998, False), (1.002, True)])
def test_meter_readings_of_one_day_are_held_to_the_meters_own_limit(
    method: Method, single: float, share: float, apart: bool
) -> None:
    limit = 2.8 * 0.667 * single  # ISO-5725
    low, high = (400.0 * (1 + sign * share * limit / 2) for sign in (-1, 1))
    found = meter_season(low, high, method=method)
    assert line(found, "duplicates disagree").fired is apart
    half_range = share * limit / 2 if apart else 0.0
    assert found.parts[0].relative == pytest.approx(math.hypot(averaged(single, 2), half_range))


def test_diluted_and_undiluted_readings_of_one_day_are_not_averaged() -> None:
    readings = [
        result(value, 6, record=number, basis=Basis.SAP, method=method)
        for number, (value, method) in enumerate(((500.0, Method.METER), (700.0, Method.METER_DILUTED)), start=1)
    ]
    stages = StageDates({"early_bloom": BLOOM}, day_in(12, 6))
    facts = season(*readings, tables=(DELAWARE_SAP,), stages=stages).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.count == 1


# --- duplicates ---------------------------------------------------------------------------------------------


def pair(spread: float, mean: float = 2000.0) -> tuple[TissueResult, ...]:
    """Two results of one day that lie a share of their mean apart."""
    values = (mean * (1 - spread / 2), mean * (1 + spread / 2))
    return tuple(result(value, 6, record=number) for number, value in enumerate(values, start=1))


LIMIT = 2.8 * 0.667 * horwitz(2000.0)
"""Repeatability limit of 2,000 ppm: 2.8 s_r (ISO-5725), s_r two thirds of the Horwitz deviation (HORWITZ-1988)."""


@pytest.mark.parametrize(("share", "apart"), [(0.0, False), (0.998, False), (1.002, True), (3.0, True)])
def test_duplicates_further_apart_than_the_repeatability_limit_are_flagged(share: float, apart: bool) -> None:
    spread = share * LIMIT
    found = advised(*pair(spread))
    trace = line(found, "duplicates disagree")
    assert trace.fired is apart
    assert (trace.change == "wider uncertainty") is apart
    assert f"{100 * spread:.0f} % apart; limit {100 * LIMIT:.0f} %" in trace.saw
    laboratory, half_range = averaged(horwitz(2000.0), 2), spread / 2 if apart else 0.0
    assert found.parts[0].relative == pytest.approx(math.hypot(laboratory, half_range))
    assert any("Ask the laboratory" in text for text in found.to_do) is apart
    assert found.comparison is not None and found.comparison.position == pytest.approx(
        advised(result(2000.0, 6)).comparison.position  # type: ignore[union-attr]
    )


def test_duplicates_that_disagree_never_count_as_surer_than_one_result() -> None:
    inside, outside = advised(*pair(0.998 * LIMIT)), advised(*pair(1.002 * LIMIT))
    assert outside.relative > inside.relative


def test_the_mean_of_duplicates_decides_and_the_smaller_count_of_petioles_counts() -> None:
    low, high = result(2400, 6, record=1, petioles=30), result(2500, 6, record=2, petioles=12)
    facts = petiole_season(low, high).facts(SATURDAY)
    assert facts.primary is not None
    assert (facts.primary.value, facts.primary.count, facts.primary.petioles) == (2450.0, 2, 12)
    assert facts.primary.records == (1, 2)
    assert facts.primary.spread == pytest.approx(100 / 2450)


def test_three_results_of_one_day_share_what_the_laboratory_repeats() -> None:
    found = advised(*(result(value, 6, record=int(value)) for value in (2000.0, 2010.0, 1990.0)))
    assert found.parts[0].relative == pytest.approx(averaged(horwitz(2000.0), 3))


@pytest.mark.parametrize(
    ("inside", "count", "variance"),
    [
        (0.6, 1, 0.0064 + 0.0036),
        (0.6, 2, 0.0064 + 0.0018),
        (0.6, 3, 0.0064 + 0.0012),
        (0.6, 4, 0.0064 + 0.0009),
        (1.0, 4, 0.01 / 4),
        (0.0, 4, 0.01),
    ],
)
def test_of_the_laboratorys_deviation_only_what_it_repeats_averages_out(
    inside: float, count: int, variance: float
) -> None:
    """s_R = 10 % and w = 0.6 make s_r = 6 % and s_L = 8 %; s_L^2 + s_r^2 / n (ISO-5725)."""
    the_policy = own_laboratory(laboratory_petiole=0.10, within_laboratory=inside)
    found = advised(*(result(2000.0, 6, record=1 + k) for k in range(count)), the_policy=the_policy)
    assert found.parts[0].relative == pytest.approx(math.sqrt(variance), rel=1e-12)
    rest = 0.06**2 + 0.10**2  # 25 petioles, and the hour and day
    assert found.relative == pytest.approx(math.sqrt(variance + rest), rel=1e-12)


DUPLICATES = "ISO-5725; HORWITZ-1988"


@pytest.mark.parametrize("apart", [0.5, 2.0])
@pytest.mark.parametrize(
    ("own_figure", "source", "evidence"),
    [
        ({}, DUPLICATES, Evidence.DERIVED),
        ({"within_laboratory": 0.667}, f"{DUPLICATES}; season file", Evidence.OWN),
        ({"laboratory_petiole": 0.05}, "ISO-5725; season file; HORWITZ-1988", Evidence.OWN),
        ({"laboratory_leaf": 0.05}, DUPLICATES, Evidence.DERIVED),
    ],
)
def test_the_limit_of_duplicates_names_all_that_it_is_made_of(
    apart: float, own_figure: dict[str, float], source: str, evidence: Evidence
) -> None:
    trace = line(advised(*pair(apart * LIMIT), the_policy=own_laboratory(**own_figure)), "duplicates disagree")
    assert trace.fired is (apart > 1)
    assert (trace.source, trace.evidence) == (source, evidence)


@pytest.mark.parametrize("method", [Method.METER, Method.METER_DILUTED])
def test_the_limit_of_meter_readings_names_the_meters_source(method: Method) -> None:
    for values in ((400.0, 410.0), (200.0, 600.0)):
        trace = line(meter_season(*values, method=method), "duplicates disagree")
        assert (trace.source, trace.evidence) == (
            "ISO-5725; PENA-FLEITAS-2021; HORWITZ-1988",
            Evidence.DERIVED,
        )


def test_duplicates_that_straddle_the_edge_are_not_acted_on() -> None:
    found = advised(result(2500, 6, record=1), result(3400, 6, record=2))
    assert {"duplicates disagree", "status"} <= fired(found)
    assert found.action is Action.HOLD
    assert found.comparison is not None and found.comparison.sure is None


def test_results_of_different_days_are_no_duplicates() -> None:
    found = advised(result(2000, 5, record=1), result(LOW, 6, record=2))
    trace = line(found, "duplicates disagree")
    assert not trace.fired and trace.saw == "no duplicate"


@pytest.mark.parametrize(("one", "other"), [(100.0, 500.0), (270.0, 330.0)])
def test_meter_readings_that_are_said_to_widen_the_uncertainty_do_widen_it(one: float, other: float) -> None:
    agree, apart = meter_season(300.0, 300.0), meter_season(one, other)
    widened = line(apart, "duplicates disagree").change == "wider uncertainty"
    assert (apart.relative > agree.relative + 1e-12) is widened


def test_a_meter_and_a_laboratory_value_of_one_day_are_not_averaged() -> None:
    laboratory = result(LOW, 6, record=1)
    meter = result(HIGH, 6, record=2, method=Method.METER)
    facts = petiole_season(laboratory, meter).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.count == 1
    assert facts.primary.method is Method.LABORATORY


def test_a_bound_beside_a_value_of_the_same_day_is_left_out() -> None:
    bound = result(4000, 6, record=1, censor=Censor.BELOW)
    value = result(LOW, 6, record=2)
    facts = petiole_season(bound, value).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.records == (2,)
    (left_out,) = facts.not_used
    assert left_out.record == 1 and "bound beside" in left_out.why
    found = advised(bound, value)
    assert line(found, "wrong kind").fired
    assert found.rates_lb_ac == advised(value).rates_lb_ac


@pytest.mark.parametrize(
    ("censor", "values", "kept"), [(Censor.BELOW, (1000, 2000), 2000), (Censor.ABOVE, (7000, 9000), 7000)]
)
def test_of_two_bounds_of_one_day_the_one_that_claims_less_counts(
    censor: Censor, values: tuple[float, float], kept: float
) -> None:
    bounds = [result(value, 6, record=index, censor=censor) for index, value in enumerate(values)]
    facts = petiole_season(*bounds).facts(SATURDAY)
    assert facts.primary is not None and facts.primary.value == kept and facts.primary.count == 1
    assert len(facts.not_used) == 1


def test_the_deciding_comparison_uses_the_widened_uncertainty() -> None:
    found = advised(result(2500, 6, record=1), result(3100, 6, record=2))
    assert found.comparison is not None
    u = math.sqrt(math.log1p(found.relative**2))
    z = math.log(LOW_EDGE / 2800) / u
    assert found.comparison.below == pytest.approx(0.5 * math.erfc(-z / math.sqrt(2)))
    device = found.parts[0].relative
    assert device == pytest.approx(math.hypot(averaged(horwitz(2800.0), 2), 600 / 2800 / 2))
    assert found.relative == pytest.approx(math.sqrt(device**2 + 0.06**2 + 0.10**2))
    assert found.comparison.side is Side.BELOW


def test_the_shipped_mix_is_all_nitrate_but_for_its_ammonium() -> None:
    facts = petiole_season(result(LOW, 6), products=products()).facts(SATURDAY)
    assert facts.nitrate_share == pytest.approx(0.5 * 14.5 / 15.5 + 0.5)
