"""Theil-Sen slopes and exact Mann-Kendall tails against printed data sets, counting, and other libraries."""

from __future__ import annotations

import random
from fractions import Fraction
from functools import cache
from itertools import permutations

import pymannkendall
import pytest
from scipy import stats

from fertadjust.trend import SLOPE_CONFIDENCE, Trend, kendall_tail, trend

# S : P(S >= s), one-sided, no ties; derived by counting inversions, tolerance 0.00005. S has one parity for an n.
PRINTED_TAILS = {
    3: "1: 0.5000; 3: 0.1667",
    4: "2: 0.3750; 4: 0.1667; 6: 0.0417",
    5: "2: 0.4083; 4: 0.2417; 6: 0.1167; 8: 0.0417; 10: 0.0083",
    6: "1: 0.5000; 3: 0.3597; 5: 0.2347; 7: 0.1361; 9: 0.0681; 11: 0.0278; 13: 0.0083; 15: 0.0014",
    7: "1: 0.5000; 3: 0.3863; 5: 0.2810; 7: 0.1907; 9: 0.1194; 11: 0.0681; 13: 0.0345; 15: 0.0151; 17: 0.0054; "
    "19: 0.0014; 21: 0.0002",
    8: "2: 0.4524; 4: 0.3598; 6: 0.2742; 8: 0.1994; 10: 0.1375; 12: 0.0894; 14: 0.0543; 16: 0.0305; 18: 0.0156; "
    "20: 0.0071; 22: 0.0028; 24: 0.0009; 26: 0.0002; 28: <0.0001",
    9: "2: 0.4597; 4: 0.3807; 6: 0.3061; 8: 0.2384; 10: 0.1792; 12: 0.1298; 14: 0.0901; 16: 0.0597; 18: 0.0376; "
    "20: 0.0223; 22: 0.0124; 24: 0.0063; 26: 0.0029; 28: 0.0012; 30: 0.0004; 32: 0.0001; 34: <0.0001; "
    "36: <0.0001",
    10: "1: 0.5000; 3: 0.4309; 5: 0.3637; 7: 0.3003; 9: 0.2422; 11: 0.1904; 13: 0.1456; 15: 0.1082; 17: 0.0779; "
    "19: 0.0542; 21: 0.0363; 23: 0.0233; 25: 0.0143; 27: 0.0083; 29: 0.0046; 31: 0.0023; 33: 0.0011; "
    "35: 0.0005; 37: 0.0002; 39: 0.0001; 41: <0.0001; 43: <0.0001; 45: <0.0001",
}


def row_of(line: str) -> dict[int, float | None]:
    """Score -> tail, None where it is printed as below 0.0001."""
    pairs = (entry.split(":") for entry in line.split(";"))
    return {int(s): None if "<" in tail else float(tail) for s, tail in pairs}


TAILS = {n: row_of(line) for n, line in PRINTED_TAILS.items()}
EVERY_TAIL = [(n, s, tail) for n, row in TAILS.items() for s, tail in row.items()]


def ranks_with(n: int, s: int) -> list[int]:
    """An order of 1 to n whose concordant pairs outnumber the discordant ones by s."""
    discordant, odd = divmod(n * (n - 1) // 2 - s, 2)
    assert odd == 0
    left, out = list(range(1, n + 1)), []
    while left:
        take = min(discordant, len(left) - 1)
        out.append(left.pop(take))
        discordant -= take
    assert discordant == 0
    return out


def score(values: list[float]) -> int:
    """Mann-Kendall S by its definition."""
    return sum(
        (later > earlier) - (later < earlier)
        for index, earlier in enumerate(values)
        for later in values[index + 1 :]
    )


@cache
def orders_by_discordant_pairs(n: int) -> tuple[int, ...]:
    """How many of the n! orders have 0, 1, 2 ... discordant pairs."""
    if n == 1:
        return (1,)
    fewer = orders_by_discordant_pairs(n - 1)
    out = [0] * (n * (n - 1) // 2 + 1)
    for pairs, count in enumerate(fewer):
        for more in range(n):
            out[pairs + more] += count
    return tuple(out)


def counted_tail(n: int, s: int) -> float:
    counts = orders_by_discordant_pairs(n)
    return float(Fraction(sum(counts[: (n * (n - 1) // 2 - s) // 2 + 1]), sum(counts)))


def found(values: list[float], days: list[int] | None = None) -> Trend:
    result = trend(list(range(len(values))) if days is None else days, values)
    assert result is not None
    return result


# --- exact tails ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "s", "tail"), EVERY_TAIL)
def test_tail_of_a_rising_run(n: int, s: int, tail: float | None) -> None:
    rising = [float(rank) for rank in ranks_with(n, s)]
    assert score(rising) == s
    found_tail = kendall_tail(rising)
    assert found_tail < 0.00005 if tail is None else found_tail == pytest.approx(tail, abs=0.00005)
    assert found_tail == pytest.approx(counted_tail(n, s), rel=1e-12)


@pytest.mark.parametrize(("n", "s", "tail"), EVERY_TAIL)
def test_tail_of_a_falling_run_has_what_the_rising_one_leaves_and_the_scores_between(
    n: int, s: int, tail: float | None
) -> None:
    """Derived: P(S >= -s) = 1 - P(S >= s + 2), for S takes every second value."""
    falling = [-float(rank) for rank in ranks_with(n, s)]
    assert score(falling) == -s
    above = TAILS[n].get(s + 2, 0.0)
    expected = 1.0 if above is None else 1.0 - above
    assert kendall_tail(falling) == pytest.approx(expected, abs=0.0001)


@pytest.mark.parametrize(("n", "s", "tail"), [row for row in EVERY_TAIL if row[0] >= 4])
def test_a_trend_takes_the_tail_on_the_side_of_its_slope(n: int, s: int, tail: float | None) -> None:
    rising = [float(rank) for rank in ranks_with(n, s)]
    up, down = found(rising), found([-value for value in rising])
    assert up.slope_per_day > 0 > down.slope_per_day
    assert up.tail == down.tail == kendall_tail(rising)


@pytest.mark.parametrize(
    "values",
    [(1, 2, 3, 3), (3, 3, 2, 1), (1, 1, 2, 2, 3), (2, 1, 2, 3, 3, 3), (3, 1, 2, 2, 1, 3, 2), (1, 1, 1, 1)],
)
def test_tail_with_equal_values_is_that_of_all_their_orders(values: tuple[float, ...]) -> None:
    """Derived by going through every order."""
    own = score(list(values))
    orders = list(permutations(values))
    expected = sum(score(list(order)) >= own for order in orders) / len(orders)
    assert kendall_tail(values) == pytest.approx(expected, rel=1e-12)


def test_every_attainable_score_above_zero_stands_in_the_table() -> None:
    for n, row in TAILS.items():
        largest = n * (n - 1) // 2
        assert sorted(row) == [s for s in range(1, largest + 1) if (largest - s) % 2 == 0]


# EarthSoft (after EPA QA/G-9S): critical S at 90, 95 and 99 %, and the smallest attainable S that reaches it.
@pytest.mark.parametrize(
    ("n", "printed", "attainable"),
    [
        (4, (6, 6, None), (6, 6, None)),
        (5, (7, 8, 10), (8, 8, 10)),
        (6, (8, 11, 13), (9, 11, 13)),
        (7, (10, 13, 17), (11, 13, 17)),
        (8, (11, 16, 20), (12, 16, 20)),
        (9, (14, 18, 24), (14, 18, 24)),
        (10, (16, 21, 27), (17, 21, 27)),
    ],
)
def test_critical_scores(n: int, printed: tuple[int | None, ...], attainable: tuple[int | None, ...]) -> None:
    for level, in_print, expected in zip((0.10, 0.05, 0.01), printed, attainable, strict=True):
        enough = [s for s in TAILS[n] if kendall_tail(ranks_with(n, s)) <= level]
        assert (min(enough) if enough else None) == expected
        if in_print is not None and expected is not None:
            assert 0 <= expected - in_print <= 1


def test_three_results_can_never_show_a_trend_and_four_only_all_in_one_direction() -> None:
    """MANN-KENDALL-PAST: the exact tail of three concordant results is 0.1667, of four 0.0417."""
    assert trend([0, 7, 14], [0.1, 0.2, 0.3]) is None
    assert kendall_tail([0.1, 0.2, 0.3]) == pytest.approx(0.1667, abs=0.00005)
    assert [s for s in TAILS[4] if kendall_tail(ranks_with(4, s)) <= 0.05] == [6]
    assert kendall_tail([0.1, 0.2, 0.3, 0.4]) == pytest.approx(0.0417, abs=0.00005)


# --- printed data sets ---------------------------------------------------------------------------------------

SEN_DAYS, SEN = [1, 2, 3, 4, 10, 12, 18], [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0]
EPA = [5.0, 6.0, 11.0, 8.0, 10.0]
HELSEL = [1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]
KENDALL_DAYS = [2, 24, 99, 197, 377, 544, 632, 3452, 6587, 53170]
KENDALL = [1.22, 2.20, 4.80, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96]


def test_slope_and_limits_of_sens_own_example(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sen 1968, as in the test files of scipy and of R's deming: slope 4, 93 % limits 26/7 and 35/8."""
    monkeypatch.setattr("fertadjust.trend.SLOPE_CONFIDENCE", 0.93)
    fit = found(SEN, SEN_DAYS)
    assert fit.slope_per_day == pytest.approx(4.0, abs=1e-4)
    assert (fit.low_slope, fit.high_slope) == pytest.approx((26 / 7, 35 / 8), abs=1e-4)
    assert fit.tail == pytest.approx(1 / 5040, rel=1e-9)


def test_ordered_slopes_of_that_example_have_the_median_of_four() -> None:
    """Derived: all 21 slopes."""
    expected = [
        *(1, 2.5, 3.6667, 3.7143, 3.75, 3.8333, 3.9333, 3.9375, 4, 4, 4, 4, 4.0588, 4.125, 4.1429, 4.1667),
        *(4.1818, 4.375, 5, 5, 6),
    ]
    pairs = zip(SEN_DAYS, SEN, strict=True)
    points = list(pairs)
    slopes = sorted(
        (y2 - y1) / (x2 - x1) for index, (x1, y1) in enumerate(points) for x2, y2 in points[index + 1 :]
    )
    assert slopes == pytest.approx(expected, abs=1e-4)
    fit = found(SEN, SEN_DAYS)
    assert fit.slope_per_day == pytest.approx(slopes[10])
    # Limits at 90 %: C = 1.6449 x sqrt(44.333) = 10.952, so the ordered slopes M1 = 5.02 and M2 + 1 = 16.98.
    assert SLOPE_CONFIDENCE == 0.90
    assert (fit.low_slope, fit.high_slope) == pytest.approx((slopes[4], slopes[16]))


def test_small_sample_of_the_epa_guidance() -> None:
    """EPA QA/G-9, data recalled: S = 6, exact one-sided 0.1167, slope 1.125."""
    assert score(EPA) == 6
    assert kendall_tail(EPA) == pytest.approx(0.1167, abs=0.0001)
    fit = found(EPA)
    assert fit.tail == pytest.approx(0.1167, abs=0.0001)
    assert fit.slope_per_day == pytest.approx(1.125, abs=0.0001)


def test_slope_that_one_wild_value_does_not_move(monkeypatch: pytest.MonkeyPatch) -> None:
    """Helsel and Hirsch, data recalled: slope 1.0, 95 % limits 1.0 and 3.5, S = 19."""
    monkeypatch.setattr("fertadjust.trend.SLOPE_CONFIDENCE", 0.95)
    fit = found(HELSEL, [1, 2, 3, 4, 5, 6, 7])
    assert fit.slope_per_day == pytest.approx(1.0, abs=0.01)
    assert (fit.low_slope, fit.high_slope) == pytest.approx((1.0, 3.5), abs=0.01)
    assert score(HELSEL) == 19
    assert fit.tail == pytest.approx(TAILS[7][19], abs=0.00005)


def test_unevenly_spaced_results() -> None:
    """Helsel and Hirsch, data recalled: S = 21, tau 0.467, exact two-sided 0.0726."""
    assert score(KENDALL) == 21
    assert stats.kendalltau(KENDALL_DAYS, KENDALL).statistic == pytest.approx(0.467, abs=0.0005)
    fit = found(KENDALL, KENDALL_DAYS)
    assert fit.slope_per_day > 0
    assert 2 * fit.tail == pytest.approx(0.0726, abs=0.0005)
    assert fit.tail == pytest.approx(TAILS[10][21], abs=0.00005)


# --- pymannkendall, an independent library: equal spacing, normal approximation ------------------------------


@pytest.mark.parametrize("values", [EPA, HELSEL, SEN, KENDALL], ids=["epa", "helsel", "sen", "kendall"])
def test_slope_and_score_agree_with_an_independent_library(values: list[float]) -> None:
    theirs = pymannkendall.original_test(values)
    ours = found(values)
    assert ours.slope_per_day == pytest.approx(theirs.slope, rel=1e-12)
    assert score(values) == theirs.s
    assert ours.tail == pytest.approx(counted_tail(len(values), int(abs(theirs.s))), rel=1e-9)


def test_the_normal_approximation_of_that_library_is_as_documented_and_not_what_is_used_here() -> None:
    """Derived: EPA data Z 1.2247, two-sided p 0.2207, against the exact 0.2333; variance of n = 7 is 44.33."""
    theirs = pymannkendall.original_test(EPA)
    assert (theirs.z, theirs.p) == pytest.approx((1.2247, 0.2207), abs=0.0001)
    assert 2 * found(EPA).tail == pytest.approx(0.2333, abs=0.0001)
    seven = pymannkendall.original_test(HELSEL)
    assert (seven.var_s, seven.z) == pytest.approx((44.33, 2.703), abs=0.01)


NEAR = 0.007
"""How far the normal approximation may lie from the exact tail for n > 10 [probability]."""


@pytest.mark.parametrize("n", range(11, 26))
@pytest.mark.parametrize("whole", [False, True], ids=["all different", "with equal values"])
def test_the_normal_approximation_comes_near_the_exact_tail_where_it_applies(n: int, whole: bool) -> None:
    """MANN-KENDALL-PAST: the exact distribution up to n = 10, the normal one above. The values are invented."""
    chance = random.Random(n)
    compared = 0
    for _ in range(40):
        values = [chance.gauss(0.1 * place, 2.0) for place in range(n)]
        values = [float(round(value)) for value in values] if whole else values
        theirs = pymannkendall.original_test(values)
        if theirs.s == 0:
            continue
        compared += 1
        rising = values if theirs.s > 0 else [-value for value in values]
        assert kendall_tail(rising) == pytest.approx(theirs.p / 2, abs=NEAR)
    assert compared >= 30


def test_four_results_with_two_alike_show_no_trend_though_a_normal_approximation_claims_one() -> None:
    """Derived: of the 12 orders of 1, 2, 3, 3 one is as rising, so 1/12 = 0.0833. S = 5, Var S = 7.667; the normal
    approximation gives 0.0355, with the continuity correction 0.0743."""
    values = [1.0, 2.0, 3.0, 3.0]
    assert kendall_tail(values) == pytest.approx(1 / 12, rel=1e-12)
    normal = stats.kendalltau([0, 1, 2, 3], values, method="asymptotic")
    assert normal.pvalue / 2 == pytest.approx(0.0355, abs=1e-4)
    theirs = pymannkendall.original_test(values)
    assert (theirs.s, theirs.var_s) == (5, pytest.approx(7.667, abs=0.001))
    assert theirs.p / 2 == pytest.approx(0.0743, abs=0.0001)
