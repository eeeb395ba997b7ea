"""Nitrogen credits: their lines in both unit systems, what is refused, and planned rates lowered by them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fertadjust.credits import (
    COMPOST_SHARE,
    CompostKind,
    CreditLine,
    NitrateForm,
    available_lb_per_ton,
    compost,
    cover_crop,
    soil_nitrate,
    spread_over_weeks,
    stated,
    water_nitrate,
)
from fertadjust.errors import UserError
from fertadjust.evidence import OWN_SOURCE, Evidence, split_sources
from fertadjust.units import NO3_TO_NO3N, UnitSystem

US, METRIC = UnitSystem.US, UnitSystem.METRIC
NO3_N, NO3 = NitrateForm.NO3_N, NitrateForm.NO3
NAN, INF = math.nan, math.inf
SYSTEMS = st.sampled_from(UnitSystem)


def every_line(units: UnitSystem) -> list[CreditLine]:
    return [
        water_nitrate(12.0, 10.0, form=NO3_N, units=units),
        cover_crop(1.2, 2.0, units=units),
        cover_crop(3.0, 2.0, units=units),
        cover_crop(4.0, 2.0, units=units),
        compost(1.5, 4.0, "manure", units=units),
        compost(1.5, 4.0, 0.1, units=units),
        soil_nitrate(20.0, form=NO3_N, units=units),
        stated("preplant", 20.0, "none", Evidence.OWN, units=units),
    ]


# --- each credit is a line of its own ------------------------------------------------------------------------

ARITHMETIC = [
    (water_nitrate(12, 10, form=NO3_N, units=US), "12 ppm NO3-N × 10 in × 0.2266 = 27.2 lb N/ac"),
    (
        water_nitrate(12, METRIC.depth_in(250), form=NO3_N, units=METRIC),
        "12 ppm NO3-N × 250 mm × 0.01 = 30.0 kg N/ha",
    ),
    (water_nitrate(45, 12, form=NO3, units=US), "45 ppm NO3 × 0.2259 × 12 in × 0.2266 = 27.6 lb N/ac"),
    (cover_crop(3.2, 2, units=US), "2 ton/ac × 17.5 lb/ton × (3.2 - 1.5) = 59.5 lb N/ac"),
    (cover_crop(1.2, 2, units=US), "2 ton/ac × 0 lb/ton = 0.0 lb N/ac"),
    (cover_crop(4.2, 2, units=US), "2 ton/ac × 17.5 lb/ton × (3.5 - 1.5) = 70.0 lb N/ac"),
    (
        cover_crop(2.5, METRIC.bulk_in(4), units=METRIC),
        "4 t/ha × 8.75 kg/t × (2.5 - 1.5) = 35.0 kg N/ha",
    ),
    (compost(1.5, 4, "manure", units=US), "4 ton/ac × 2000 lb/ton × 1.5 % × 0.16 = 19.2 lb N/ac"),
    (
        compost(1.5, METRIC.bulk_in(10), 0.1, units=METRIC),
        "10 t/ha × 1000 kg/t × 1.5 % × 0.1 = 15.0 kg N/ha",
    ),
    (soil_nitrate(30, form=NO3_N, units=US), "30 ppm NO3-N × 12 in × 0.3333 = 120.0 lb N/ac"),
    (
        soil_nitrate(30, METRIC.depth_in(300), form=NO3_N, units=METRIC),
        "30 ppm NO3-N × 300 mm × 0.01471 = 132.4 kg N/ha",
    ),
    (stated("preplant", 20, "none", Evidence.OWN, units=US), "20.0 lb N/ac, as stated"),
    (
        stated("preplant", METRIC.rate_in(20), "none", Evidence.OWN, units=METRIC),
        "20.0 kg N/ha, as stated",
    ),
]


@pytest.mark.parametrize(("line", "expected"), ARITHMETIC, ids=[row[1] for row in ARITHMETIC])
def test_the_arithmetic_is_written_out_in_the_readers_units(line: CreditLine, expected: str) -> None:
    assert line.arithmetic == expected


def worked_out(arithmetic: str) -> tuple[float, float]:
    """What the left side of a written sum comes to, factor by factor, and the answer that it gives."""
    left, right = arithmetic.split(" = ")
    product = 1.0
    for factor in left.split(" × "):
        bracket = re.fullmatch(r"\((\S+) - (\S+)\)", factor)
        value = float(bracket[1]) - float(bracket[2]) if bracket else float(factor.split()[0])
        product *= value / 100.0 if factor.endswith("%") else value
    return product, float(right.split()[0])


AMOUNTS = st.floats(0.1, 60.0)


@given(ppm=AMOUNTS, depth=AMOUNTS, percent=st.floats(0.0, 10.0), share=st.floats(0.0, 1.0), units=SYSTEMS)
def test_a_written_sum_comes_to_its_answer(
    ppm: float, depth: float, percent: float, share: float, units: UnitSystem
) -> None:
    for line in (
        water_nitrate(ppm, depth, form=NO3, units=units),
        soil_nitrate(ppm, depth, form=NO3_N, units=units),
        cover_crop(percent, depth, units=units),
        compost(percent, depth, share, units=units),
    ):
        product, answer = worked_out(line.arithmetic)
        assert answer == pytest.approx(units.rate_out(line.n_lb_ac), abs=0.0501)
        assert product == pytest.approx(answer, abs=0.0501 + 3e-4 * answer), line.arithmetic


def test_the_amount_does_not_depend_on_the_readers_units() -> None:
    assert [line.n_lb_ac for line in every_line(US)] == [line.n_lb_ac for line in every_line(METRIC)]


@pytest.mark.parametrize("line", every_line(US), ids=lambda line: line.arithmetic)
def test_every_line_has_a_source_and_says_what_is_uncertain(line: CreditLine) -> None:
    assert line.name and line.source and line.cautions
    named = {
        key for text in line.cautions for found in re.findall(r"\(([^()]+)\)$", text) for key in found.split("; ")
    }
    assert named == set(split_sources(line.caution_source))
    if line.name != "irrigation water":
        assert any("uncertain" in text for text in line.cautions)


def said(line: CreditLine) -> str:
    return " ".join(line.cautions)


def test_water_says_what_not_to_credit_and_how_to_sample() -> None:
    text = said(water_nitrate(12.0, 10.0, form=NO3_N, units=US))
    assert "Do not credit water applied beyond what the crop uses. (UC-N-WATER)" in text
    assert "24 hours" in text and "80 %" in text and "as good as fertilizer nitrogen" in text


@pytest.mark.parametrize("make", [water_nitrate, soil_nitrate])
def test_nitrate_as_no3_is_converted_by_the_exact_ratio(make: Callable[..., CreditLine]) -> None:
    as_n, as_no3 = (make(40.0, 12.0, form=form, units=US).n_lb_ac for form in (NO3_N, NO3))
    assert as_no3 / as_n == pytest.approx(NO3_TO_NO3N, rel=1e-12)


def test_soil_is_taken_to_a_foot_when_no_depth_is_given() -> None:
    assert soil_nitrate(20.0, form=NO3_N, units=US) == soil_nitrate(20.0, 12.0, form=NO3_N, units=US)


def test_soil_says_that_texture_density_and_a_quick_test_matter() -> None:
    text = said(soil_nitrate(20.0, form=NO3_N, units=US))
    assert "texture" in text and "1.47" in text and "quick test" in text


@given(st.floats(0.0, 10.0), st.floats(0.0, 10.0))
def test_more_nitrogen_in_a_cover_crop_never_gives_less(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert 0.0 <= available_lb_per_ton(low) <= available_lb_per_ton(high) <= 35.0


@pytest.mark.parametrize(
    ("n_percent", "ties_up", "held"),
    [(0.0, True, False), (1.49, True, False), (1.5, False, False), (3.5, False, False), (3.51, False, True)],
)
def test_a_cover_crop_says_when_it_lies_outside_the_line(n_percent: float, ties_up: bool, held: bool) -> None:
    text = said(cover_crop(n_percent, 2.0, units=US))
    assert ("tie N up" in text, "nothing is extrapolated" in text) == (ties_up, held)
    assert "western Oregon and Washington" in text and "4 to 6 weeks" in text


@pytest.mark.parametrize("kind", CompostKind)
def test_a_kind_of_compost_stands_for_its_published_share(kind: CompostKind) -> None:
    line = compost(1.5, 4.0, f" {kind.upper()} ", units=US)
    assert line.n_lb_ac == compost(1.5, 4.0, COMPOST_SHARE[kind], units=US).n_lb_ac
    assert (line.name, line.source, line.evidence) == (kind, "HARTZ-COMPOST-2000", Evidence.PUBLISHED)
    assert "12 weeks" in said(line) and "C:N above 30" in said(line)


def test_a_share_of_the_growers_own_is_said_to_be_the_growers() -> None:
    line = compost(1.5, 4.0, 0.1, units=US)
    assert (line.source, line.evidence) == (OWN_SOURCE, Evidence.OWN)
    assert "12 weeks" not in said(line) and "C:N above 30" in said(line)


def test_a_stated_credit_keeps_its_name_amount_source_and_evidence() -> None:
    line = stated(" preplant ", 20.0, "UGA-2021", Evidence.PUBLISHED, units=US)
    assert (line.name, line.n_lb_ac, line.source, line.evidence) == (
        "preplant",
        20.0,
        "UGA-2021",
        Evidence.PUBLISHED,
    )


# --- what is refused -----------------------------------------------------------------------------------------


def water(ppm: float, depth_in: float) -> CreditLine:
    return water_nitrate(ppm, depth_in, form=NO3_N, units=US)


def soil(ppm: float, depth_in: float) -> CreditLine:
    return soil_nitrate(ppm, depth_in, form=NO3_N, units=US)


REFUSED: list[tuple[Callable[[], Any], str]] = [
    (lambda: water(-1, 10), "nitrate: -1 ppm NO3-N cannot be used: give 0 or more"),
    (lambda: water(NAN, 10), "nitrate: nan ppm NO3-N cannot be used: give 0 or more"),
    (lambda: water(INF, 10), "nitrate: inf ppm NO3-N cannot be used: give 0 or more"),
    (lambda: water(1, -2), "depth of water: -2 in cannot be used: give 0 or more"),
    (lambda: water(1, NAN), "depth of water: nan in cannot be used: give 0 or more"),
    (
        lambda: water_nitrate(-1, METRIC.depth_in(-5), form=NO3, units=METRIC),
        "nitrate: -1 ppm NO3 cannot be used: give 0 or more\ndepth of water: -5 mm cannot be used: give 0 or more",
    ),
    (
        lambda: cover_crop(10.1, 2, units=US),
        "N of the dry matter: 10.1 % cannot be used: give 0 to 10 %",
    ),
    (lambda: cover_crop(-1, 2, units=US), "N of the dry matter: -1 % cannot be used: give 0 to 10 %"),
    (lambda: cover_crop(NAN, 2, units=US), "N of the dry matter: nan % cannot be used: give 0 to 10 %"),
    (lambda: cover_crop(3, -2, units=US), "dry matter: -2 ton/ac cannot be used: give 0 or more"),
    (
        lambda: cover_crop(3, METRIC.bulk_in(-2), units=METRIC),
        "dry matter: -2 t/ha cannot be used: give 0 or more",
    ),
    (lambda: compost(11, 2, 0.1, units=US), "N of the compost: 11 % cannot be used: give 0 to 10 %"),
    (lambda: compost(1, INF, 0.1, units=US), "amount of compost: inf ton/ac cannot be used: give 0 or more"),
    (lambda: compost(1, 2, 16, units=US), "share released: 16 cannot be used: give 0 to 1"),
    (lambda: compost(1, 2, -0.1, units=US), "share released: -0.1 cannot be used: give 0 to 1"),
    (lambda: compost(1, 2, NAN, units=US), "share released: nan cannot be used: give 0 to 1"),
    (
        lambda: compost(1, 2, "straw", units=US),
        'share released: "straw" is not known: give a share from 0 to 1, or manure, manure compost, plant compost',
    ),
    (lambda: soil(-1, 12), "nitrate: -1 ppm NO3-N cannot be used: give 0 or more"),
    (lambda: soil(20, 0), "depth of soil: 0 in cannot be used: give more than 0"),
    (lambda: soil(20, -6), "depth of soil: -6 in cannot be used: give more than 0"),
    (lambda: soil(20, INF), "depth of soil: inf in cannot be used: give more than 0"),
    (
        lambda: stated("preplant", -20, "none", Evidence.OWN, units=US),
        "preplant: -20 lb N/ac cannot be used: give 0 or more",
    ),
    (
        lambda: stated(" ", 20, "none", Evidence.OWN, units=US),
        "name: say what the credit is, for example preplant fertilizer",
    ),
    (
        lambda: spread_over_weeks([1.0, -1.0], []),
        "rate of week 2: -1 lb/ac cannot be used: give 0 or more",
    ),
    (
        lambda: spread_over_weeks([1.0], [(NAN, 1, 1)]),
        "credit 1: nan lb/ac cannot be used: give 0 or more",
    ),
    (
        lambda: spread_over_weeks([1.0, 1.0], [(1.0, 1, 1), (1.0, 2, 3)]),
        "credit 2: weeks 2 to 3 cannot be used: give a first and a last week from 1 to 2, in order",
    ),
    (
        lambda: spread_over_weeks([1.0, 1.0], [(1.0, 0, 1)]),
        "credit 1: weeks 0 to 1 cannot be used: give a first and a last week from 1 to 2, in order",
    ),
    (
        lambda: spread_over_weeks([1.0, 1.0], [(1.0, 2, 1)]),
        "credit 1: weeks 2 to 1 cannot be used: give a first and a last week from 1 to 2, in order",
    ),
    (
        lambda: spread_over_weeks([], [(1.0, 1, 1)]),
        "credit 1: weeks 1 to 1 cannot be used: no week is planned",
    ),
]


@pytest.mark.parametrize(("make", "message"), REFUSED, ids=[row[1] for row in REFUSED])
def test_what_cannot_be_used_is_refused_with_what_can(make: Callable[[], Any], message: str) -> None:
    with pytest.raises(UserError) as caught:
        make()
    assert str(caught.value) == message


def test_nothing_at_all_is_a_credit_of_nothing() -> None:
    assert water(0.0, 0.0).n_lb_ac == soil(0.0, 12.0).n_lb_ac == compost(0.0, 0.0, 0.0, units=US).n_lb_ac == 0.0
    assert compost(10.0, 1.0, 1.0, units=US).n_lb_ac == pytest.approx(200.0)


# --- planned rates lowered by credits ------------------------------------------------------------------------

SPREAD = [
    ("even", [7.0, 7.0, 7.0, 7.0], [(6.0, 2, 3)], [7.0, 4.0, 4.0, 7.0], 0.0),
    ("a short week passes it on", [7.0, 7.0, 1.0], [(6.0, 2, 3)], [7.0, 2.0, 0.0], 0.0),
    ("in proportion to what is left", [0.0, 9.0, 5.0], [(6.0, 1, 3)], [0.0, 9 - 2 - 1.4, 5 - 2 - 0.6], 0.0),
    ("more than the span holds", [3.0, 1.0, 5.0], [(6.0, 1, 2)], [0.0, 0.0, 5.0], 2.0),
    ("weeks that feed nothing", [0.0, 0.0, 5.0], [(6.0, 1, 2)], [0.0, 0.0, 5.0], 6.0),
    ("a credit of nothing", [0.0, 5.0], [(0.0, 1, 2)], [0.0, 5.0], 0.0),
    ("a single week", [5.0, 5.0], [(2.0, 2, 2)], [5.0, 3.0], 0.0),
    ("the short span first", [5.0, 5.0], [(5.0, 1, 2), (5.0, 2, 2)], [0.0, 0.0], 0.0),
    ("one span counts as one", [10.0, 2.0], [(4.0, 1, 2), (2.0, 1, 2)], [6.0, 0.0], 0.0),
    ("no credit", [5.0, 5.0], [], [5.0, 5.0], 0.0),
    ("no plan", [], [], [], 0.0),
]


@pytest.mark.parametrize(("what", "rates", "credits_", "expected", "left"), SPREAD, ids=[row[0] for row in SPREAD])
def test_planned_rates_are_lowered_week_by_week(
    what: str, rates: list[float], credits_: list[tuple[float, int, int]], expected: list[float], left: float
) -> None:
    before = list(rates)
    found, over = spread_over_weeks(rates, credits_)
    assert found == pytest.approx(expected), what
    assert over == pytest.approx(left), what
    assert rates == before


RATES = st.lists(st.one_of(st.just(0.0), st.floats(0.0, 50.0)), min_size=1, max_size=12)
NITROGEN = st.floats(0.0, 200.0)


@st.composite
def plans(draw: st.DrawFn) -> tuple[list[float], list[tuple[float, int, int]]]:
    """Rates and credits on spans inside them."""
    rates = draw(RATES)
    week = st.integers(1, len(rates))
    spans = draw(st.lists(st.tuples(NITROGEN, week, week), max_size=5))
    return rates, [(n_lb_ac, min(a, b), max(a, b)) for n_lb_ac, a, b in spans]


@given(plans())
def test_what_is_taken_off_and_what_is_left_over_are_the_credits(
    plan: tuple[list[float], list[tuple[float, int, int]]],
) -> None:
    rates, credits_ = plan
    lowered, left = spread_over_weeks(rates, credits_)
    total = sum(credit[0] for credit in credits_)
    assert sum(rates) - sum(lowered) + left == pytest.approx(total, abs=1e-7)
    assert left >= 0.0


@given(plans())
def test_no_rate_is_negative_or_higher_than_planned_and_weeks_outside_the_spans_stay(
    plan: tuple[list[float], list[tuple[float, int, int]]],
) -> None:
    rates, credits_ = plan
    lowered, _ = spread_over_weeks(rates, credits_)
    assert len(lowered) == len(rates)
    for number, (before, after) in enumerate(zip(rates, lowered, strict=True), 1):
        assert 0.0 <= after <= before
        if not any(first <= number <= last for _, first, last in credits_):
            assert after == before


@given(plans())
def test_nothing_is_left_over_while_a_single_span_still_feeds(
    plan: tuple[list[float], list[tuple[float, int, int]]],
) -> None:
    rates, credits_ = plan
    for _, first, last in credits_:
        alone, left = spread_over_weeks(rates, [(75.0, first, last)])
        assert left == pytest.approx(max(0.0, 75.0 - sum(rates[first - 1 : last])), abs=1e-7)
        assert left == 0.0 or sum(alone[first - 1 : last]) == 0.0


@given(plans(), st.randoms(use_true_random=False))
def test_the_order_of_credits_does_not_matter(
    plan: tuple[list[float], list[tuple[float, int, int]]], chance: Any
) -> None:
    rates, credits_ = plan
    other = list(credits_)
    chance.shuffle(other)
    assert spread_over_weeks(rates, credits_) == spread_over_weeks(rates, other)


def test_the_order_of_credits_on_one_span_does_not_matter() -> None:
    """Taken off one after the other, these would leave different weeks."""
    credits_ = [(6.0, 1, 3), (1.5, 1, 3), (0.7, 1, 3)]
    found = [spread_over_weeks([10.0, 5.0, 1.0], list(order)) for order in permutations(credits_)]
    assert all(one == found[0] for one in found)


def test_rounding_leaves_neither_a_rate_nor_a_credit() -> None:
    """0.1 + 0.1 + 0.1 is not quite 0.3, and 0.7 three times is not quite 2.1."""
    assert spread_over_weeks([0.3], [(0.1, 1, 1)] * 3) == ([0.0], 0.0)
    assert spread_over_weeks([0.3, 0.7, 1.1], [(2.1, 1, 3)]) == ([0.0, 0.0, 0.0], 0.0)
    assert spread_over_weeks([0.7, 0.7, 0.7], [(2.1, 1, 3)]) == ([0.0, 0.0, 0.0], 0.0)
