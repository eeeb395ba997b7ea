"""Uncertainty of a result: Horwitz, quadrature, lognormal, repeatability."""

from __future__ import annotations

import math

import pytest

from fertadjust.uncertainty import combined, horwitz_relative, log_sd, mass_fraction, repeatability_limit
from tests import support


def test_ppm_and_mg_per_litre_are_parts_per_million_by_weight_and_percent_is_ten_thousand_of_them() -> None:
    assert mass_fraction(4200.0, "ppm") == pytest.approx(0.0042)
    assert mass_fraction(700.0, "mg/L") == pytest.approx(0.0007)
    assert mass_fraction(3.0, "%") == pytest.approx(0.03)


def test_a_mass_fraction_never_passes_one() -> None:
    assert mass_fraction(150.0, "%") == 1.0
    assert mass_fraction(5e6, "ppm") == 1.0


def test_laboratories_agree_better_on_higher_values() -> None:
    relatives = [horwitz_relative(mass_fraction(ppm, "ppm")) for ppm in (50, 500, 5000, 50_000)]
    assert relatives == sorted(relatives, reverse=True)
    assert horwitz_relative(1.0) == pytest.approx(0.02)


def test_a_hundredfold_fall_in_value_doubles_the_deviation() -> None:
    assert horwitz_relative(1e-4) == pytest.approx(2 * horwitz_relative(1e-2), rel=1e-12)


def test_parts_add_in_quadrature() -> None:
    assert combined([0.03, 0.04]) == pytest.approx(0.05)
    assert combined([]) == 0.0
    assert combined(part for part in (0.1,)) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("own", "name", "relative"),
    [(0.0, "laboratory, by Horwitz", horwitz_relative(0.004)), (0.12, "laboratory", 0.12)],
)
def test_a_results_budget_is_named_part_by_part_and_adds_up_to_its_uncertainty(
    own: float, name: str, relative: float
) -> None:
    the_policy = support.with_policy(support.policy(), laboratory_petiole=own)
    season = support.season(support.result(4000, petioles=36), the_policy=the_policy)
    found = season.advice(support.day_in(7)).recommendation
    assert [part.name for part in found.parts] == [name, "sampling, 36 petioles", "hour and day"]
    laboratory, sampling, day = (part.relative for part in found.parts)
    assert laboratory == pytest.approx(relative)
    assert sampling == pytest.approx(support.policy().cv_petiole.value / 6)
    assert day == support.policy().time_petiole.value
    assert found.relative == pytest.approx(math.sqrt(laboratory**2 + sampling**2 + day**2))
    assert all(part.source for part in found.parts)


def test_the_largest_part_is_the_least_the_sum_can_be() -> None:
    parts = [0.06, 0.055, 0.10]
    assert max(parts) < combined(parts) < sum(parts)


def test_log_deviation_gives_the_relative_one_back() -> None:
    for relative in (0.01, 0.13, 0.313, 1.0):
        deviation = log_sd(relative)
        assert math.sqrt(math.exp(deviation**2) - 1) == pytest.approx(relative, rel=1e-12)


@pytest.mark.parametrize("relative", [0.02, 0.048, 0.301])
def test_repeatability_is_2_8_deviations_inside_one_laboratory(relative: float) -> None:
    """r = 2.8 s_r (ISO-5725), s_r from half to two thirds of the deviation between laboratories (HORWITZ-1988)."""
    assert repeatability_limit(relative, 1.0) == pytest.approx(2.8 * relative)
    assert repeatability_limit(relative, 0.5) == pytest.approx(1.4 * relative)
    assert repeatability_limit(relative, 0.0) == 0.0
