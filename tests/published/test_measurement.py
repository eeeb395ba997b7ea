"""Probabilities against a limit, uncertainty of a result, and repeatability, against worked vectors.

The inputs of the JCGM-106 vectors are recalled; their outputs are recomputed here from the normal distribution.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest

from fertadjust.compare import compare, conformity, normal_cdf
from fertadjust.evidence import Evidence
from fertadjust.rules.evidence_rules import budget, repeatability
from fertadjust.tissue import Basis, Censor, Method, Tissue
from fertadjust.uncertainty import (
    REPEATABILITY_FACTOR,
    combined,
    horwitz_relative,
    log_sd,
    mass_fraction,
    repeatability_limit,
)
from tests import support

# --- conformance ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("z", "probability"), [(0.8416, 0.80), (1.2816, 0.90), (1.6449, 0.95), (2.3263, 0.99), (3.0902, 0.999)]
)
def test_distance_from_a_single_limit_and_probability(z: float, probability: float) -> None:
    """JCGM-106, table of a single limit (recalled); 0.8416 and the others derived."""
    assert normal_cdf(z) == pytest.approx(probability, abs=0.0001)
    assert normal_cdf(-z) == pytest.approx(1 - probability, abs=0.0001)


def test_upper_limit_of_minus_5_40_v() -> None:
    """JCGM-106, recalled: y = -5.47, u = 0.05; Phi(1.40) = 0.9192."""
    below, within, above = conformity(-5.47, 0.05, None, -5.40)
    assert (below, within, above) == pytest.approx((0.0, 0.9192, 1 - 0.9192), abs=0.0001)


def test_lower_limit_of_490_kpa() -> None:
    """JCGM-106, recalled: y = 509.7, u = 8.6; 0.98901."""
    below, within, above = conformity(509.7, 8.6, 490.0, None)
    assert (below, within, above) == pytest.approx((1 - 0.98901, 0.98901, 0.0), abs=0.0001)


def test_interval_of_12_5_to_16_3_square_millimetres_a_second() -> None:
    """JCGM-106, recalled: y = 13.6, u = 1.8; Phi(1.5) - Phi(-0.6111) = 0.66263."""
    below, within, above = conformity(13.6, 1.8, 12.5, 16.3)
    assert within == pytest.approx(0.66263, abs=0.0001)
    assert (below, above) == pytest.approx((0.27056, 1 - 0.93319), abs=0.0001)


BAND_600_1200 = [  # derived, u = 14 % of the result: y, p_in, p_below, p_above
    (450, 0.0086, 0.9914, 0.0000),
    (550, 0.2581, 0.7419, 0.0000),
    (600, 0.5000, 0.5000, 0.0000),
    (700, 0.8462, 0.1538, 0.0000),
    (900, 0.9827, 0.0086, 0.0086),
    (1100, 0.7414, 0.0006, 0.2581),
    (1200, 0.4998, 0.0002, 0.5000),
    (1400, 0.1537, 0.0000, 0.8462),
]


@pytest.mark.parametrize(("value", "within", "below", "above"), BAND_600_1200)
def test_probabilities_against_a_band_of_600_to_1200(
    value: float, within: float, below: float, above: float
) -> None:
    found = conformity(value, 0.14 * value, 600, 1200)
    assert found == pytest.approx((below, within, above), abs=0.0005)


@pytest.mark.parametrize("z", [-4.0, -1.0, -0.2, 0.0, 0.3, 2.0, 5.0])
def test_the_normal_distribution_equals_the_one_of_the_standard_library(z: float) -> None:
    assert normal_cdf(z) == pytest.approx(NormalDist().cdf(z), abs=1e-12)


@pytest.mark.parametrize("relative", [0.05, 0.129, 0.313])
@pytest.mark.parametrize("value", [2500.0, 3000.0, 4000.0, 5200.0])
def test_a_result_is_compared_as_a_lognormal_by_another_route(value: float, relative: float) -> None:
    """Derived: ln v is normal with standard deviation sqrt(ln(1 + r2))."""
    from scipy import stats

    on = support.day_in(6)
    one = support.season().tables[0].band_on("NO3-N", on, support.season().stages)
    found = compare(value, Censor.NONE, relative, one, 0.8)
    quantity = stats.lognorm(s=math.sqrt(math.log(1 + relative**2)), scale=value)
    assert found.below == pytest.approx(quantity.cdf(3000), abs=1e-9)
    assert found.above == pytest.approx(quantity.sf(5000), abs=1e-9)
    assert found.below + found.within + found.above == pytest.approx(1.0, abs=1e-12)


# --- uncertainty of a result ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mg_kg", "percent"),
    [
        (50, 8.88),
        (100, 8.00),
        (500, 6.28),
        (1000, 5.66),
        (2000, 5.10),
        (5000, 4.44),
        (10000, 4.00),
        (20000, 3.60),
    ],
)
def test_horwitz_deviation_between_laboratories(mg_kg: float, percent: float) -> None:
    """HORWITZ-1988: 2^(1 - 0.5 log10 C); values derived, and the same by 2 C^-0.1505."""
    found = 100 * horwitz_relative(mass_fraction(mg_kg, "ppm"))
    assert found == pytest.approx(percent, abs=0.01)
    assert found == pytest.approx(2 * (mg_kg * 1e-6) ** -0.1505, abs=0.01)


@pytest.mark.parametrize(("ppm", "percent"), [(1000, 5.66), (2000, 5.10), (5000, 4.44), (10000, 4.00)])
def test_a_laboratory_without_a_figure_of_its_own_counts_with_horwitz_and_says_so(
    ppm: float, percent: float
) -> None:
    """HORWITZ-1988; 0 in the policy stands for it, and a figure of the laboratory's own takes its place."""
    policy = support.policy()
    assert (policy.laboratory_petiole.value, policy.laboratory_leaf.value) == (0.0, 0.0)
    reading = support.season(support.result(ppm)).facts(support.day_in(7)).primary
    assert reading is not None
    part = budget(reading, policy)[0]
    assert 100 * part.relative == pytest.approx(percent, abs=0.01)
    assert (part.name, part.source, part.evidence) == ("laboratory, by Horwitz", "HORWITZ-1988", Evidence.DERIVED)
    known = budget(reading, support.with_policy(policy, laboratory_petiole=0.08))[0]
    assert (known.name, known.relative) == ("laboratory", 0.08)


def test_a_budget_of_laboratory_sampling_and_day_is_12_9_percent() -> None:
    """Derived: 6 % (Horwitz near 1000 mg/kg), 5.5 % (CV 30 %, n = 30), 10 % (assumed); sqrt(166.25) = 12.894."""
    assert 100 * combined([0.06, 0.055, 0.10]) == pytest.approx(12.894, abs=0.01)


def sampling_part(cv: float, petioles: int) -> float:
    """Sampling part of the budget of one petiole result."""
    policy = support.with_policy(support.policy(), cv_petiole=cv)
    season = support.season(support.result(3000, petioles=petioles))
    reading = season.facts(support.day_in(7)).primary
    assert reading is not None
    part = next(part for part in budget(reading, policy) if part.name.startswith("sampling"))
    return part.relative


@pytest.mark.parametrize(
    ("cv", "by_count"),
    [
        (15, (4.74, 3.35, 2.74, 2.37, 2.12)),
        (20, (6.32, 4.47, 3.65, 3.16, 2.83)),
        (25, (7.91, 5.59, 4.56, 3.95, 3.54)),
        (30, (9.49, 6.71, 5.48, 4.74, 4.24)),
        (40, (12.65, 8.94, 7.30, 6.32, 5.66)),
    ],
)
def test_standard_error_of_a_composite_of_petioles(cv: float, by_count: tuple[float, ...]) -> None:
    """Derived: CV / sqrt(n), for 10 to 50 petioles. The CV of single petioles itself is an assumption."""
    for count, expected in zip((10, 20, 30, 40, 50), by_count, strict=True):
        assert 100 * sampling_part(cv / 100, count) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(
    ("method", "name", "mean_error", "expected"),
    [(Method.METER, "sap_meter", 24, 0.301), (Method.METER_DILUTED, "sap_meter_diluted", 25, 0.313)],
)
def test_a_hand_held_meter_counts_with_its_mean_relative_error_read_as_a_normal_one(
    method: Method, name: str, mean_error: float, expected: float
) -> None:
    """PENA-FLEITAS-2021: mean relative error 24 % on undiluted and 25 % on diluted sap. Derived: the mean size of
    a normal error is sqrt(2 / pi) = 0.79788 of its standard deviation, so 0.301 and 0.313."""
    policy = support.policy()
    figure = getattr(policy, name)
    assert figure.value == pytest.approx(mean_error / 100 / 0.79788, abs=0.0005)
    assert (figure.value, figure.source, figure.evidence) == (expected, "PENA-FLEITAS-2021", Evidence.DERIVED)
    one = support.result(700, basis=Basis.SAP, method=method)
    season = support.season(one, tables=("strawberry-petiole-sap-florida",))
    reading = season.facts(support.day_in(7)).primary
    assert reading is not None
    part = budget(reading, policy)[0]
    assert (part.relative, part.source, part.evidence) == (expected, "PENA-FLEITAS-2021", Evidence.DERIVED)


# --- repeatability -------------------------------------------------------------------------------------------


def test_repeatability_limit_is_2_8_standard_deviations() -> None:
    """ISO-5725: r = 2.8 s_r, from 1.96 x sqrt 2 = 2.772; with s_r = 4, r = 11.2."""
    assert pytest.approx(1.96 * math.sqrt(2), abs=0.05) == REPEATABILITY_FACTOR
    assert pytest.approx(11.2, abs=0.001) == REPEATABILITY_FACTOR * 4


@pytest.mark.parametrize("share", [0.5, 0.667])
def test_duplicates_of_one_laboratory_near_1000_ppm_may_differ_by_8_to_11_percent(share: float) -> None:
    """Derived from ISO-5725 and HORWITZ-1988: repeat deviation is 1/2 to 2/3 of 5.66 %."""
    between = horwitz_relative(mass_fraction(1000, "ppm"))
    assert between == pytest.approx(0.0566, abs=1e-4)
    assert repeatability_limit(between, share) == pytest.approx(2.8 * share * 0.0566, abs=1e-4)


@pytest.mark.parametrize(("method", "limit"), [(Method.METER, 0.562), (Method.METER_DILUTED, 0.585)])
def test_two_readings_of_a_meter_may_differ_by_what_its_own_uncertainty_allows(
    method: Method, limit: float
) -> None:
    """Derived from ISO-5725 and PENA-FLEITAS-2021: 2.8 x 0.667 x 0.301 and x 0.313."""
    pair = [
        support.result(value, record=record, basis=Basis.SAP, method=method)
        for record, value in enumerate((600.0, 700.0), start=1)
    ]
    season = support.season(*pair, tables=("strawberry-petiole-sap-florida",))
    reading = season.facts(support.day_in(7)).primary
    assert reading is not None and reading.count == 2
    assert repeatability(reading, support.policy()) == pytest.approx(limit, abs=0.0005)


def test_the_policy_takes_two_thirds_of_the_between_laboratory_deviation() -> None:
    """HORWITZ-1988: within-laboratory deviation is usually 1/2 to 2/3 of the between-laboratory one."""
    figure = support.policy().within_laboratory
    assert figure.value == pytest.approx(2 / 3, abs=0.001)
    assert figure.source == "HORWITZ-1988"


@pytest.mark.parametrize(("second", "suspect"), [(3050.0, False), (3150.0, False), (3400.0, True)])
def test_two_results_of_a_laboratory_further_apart_than_r_are_suspect(second: float, suspect: bool) -> None:
    """ISO-5725 (follows from r): at 3,000-3,400 ppm Horwitz gives 4.8 %, so r is 8.9 %."""
    pair = (support.result(3000), support.result(second, record=2))
    advice = support.season(*pair).advice(support.day_in(6, 5))
    assert advice.recommendation.fired("duplicates disagree") is suspect


def test_log_deviation_of_a_small_uncertainty_is_the_uncertainty_itself() -> None:
    """Derived: sqrt(ln(1 + r2)) = r to first order."""
    assert log_sd(0.01) == pytest.approx(0.01, rel=1e-4)
    assert log_sd(0.313) == pytest.approx(0.3058, abs=1e-4)


def test_leaf_values_have_their_own_spread() -> None:
    """MENZEL-2018: total nitrogen of the leaf varies less than its nitrate; the shares are the policy's own."""
    policy = support.policy()
    assert policy.cv_leaf.value < policy.cv_petiole.value
    leaf = support.season(support.result(2.4, tissue=Tissue.LEAF)).facts(support.day_in(7)).primary
    assert leaf is not None
    assert budget(leaf, policy)[1].relative == pytest.approx(0.10 / math.sqrt(25))
