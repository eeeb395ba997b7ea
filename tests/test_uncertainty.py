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


def test_a_results_budget_is_named_part_by_part_and_adds_up_to_its_uncertainty() -> None:
    found = support.season(support.result(4000, petioles=36)).advice(support.day_in(7)).recommendation
    assert [part.name for part in found.parts] == ["laboratory", "sampling, 36 petioles", "hour and day"]
    laboratory, sampling, day = (part.relative for part in found.parts)
    assert laboratory == pytest.approx(horwitz_relative(0.004))
    assert sampling == pytest.approx(support.policy().cv_petiole.value / 6)
    assert day == support.policy().time_petiole.value
    assert found.relative == pytest.approx(combined([laboratory, sampling, day]))
    assert all(part.source for part in found.parts)


def test_the_largest_part_is_the_least_the_sum_can_be() -> None:
    parts = [0.06, 0.055, 0.10]
    assert max(parts) < combined(parts) < sum(parts)


def test_log_deviation_gives_the_relative_one_back() -> None:
    for relative in (0.01, 0.13, 0.313, 1.0):
        deviation = log_sd(relative)
        assert math.sqrt(math.exp(deviation**2) - 1) == pytest.approx(relative, rel=1e-12)


def test_repeatability_grows_with_the_share_inside_one_laboratory() -> None:
    half, whole = repeatability_limit(3000, "ppm", 0.5), repeatability_limit(3000, "ppm", 1.0)
    assert whole == pytest.approx(2 * half)
    assert whole == pytest.approx(2.8 * horwitz_relative(0.003))


def test_repeatability_of_percent_values_goes_by_their_mass_fraction() -> None:
    assert repeatability_limit(3.0, "%", 0.667) == pytest.approx(repeatability_limit(30_000, "ppm", 0.667))
