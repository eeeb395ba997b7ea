"""Units: what goes in comes out again, and each system names its own units."""

from __future__ import annotations

import math

import pytest

from fertadjust import units
from fertadjust.units import UnitSystem, no3_to_no3n

US, METRIC = UnitSystem.US, UnitSystem.METRIC


def test_us_numbers_pass_unchanged() -> None:
    for convert in (US.rate_in, US.rate_out, US.length_in, US.length_out, US.area_out, US.weight_in):
        assert convert(5.25) == 5.25
    for convert in (US.weight_out, US.volume_in, US.volume_out, US.density_in):
        assert convert(5.25) == 5.25


@pytest.mark.parametrize("value", [0.0, 0.05, 5.25, 123.0])
@pytest.mark.parametrize("quantity", ["rate", "length", "weight", "volume"])
@pytest.mark.parametrize("system", UnitSystem)
def test_what_goes_in_comes_out_again(system: UnitSystem, quantity: str, value: float) -> None:
    inside = getattr(system, f"{quantity}_in")(value)
    assert getattr(system, f"{quantity}_out")(inside) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("inside", "given"),
    [
        (METRIC.rate_in(1.120851156194457), 1.0),  # kg/ha -> lb/ac
        (METRIC.length_in(0.3048), 1.0),  # m -> ft, exact
        (METRIC.weight_in(0.45359237), 1.0),  # kg -> lb, exact
        (METRIC.volume_in(3.785411784), 1.0),  # L -> gal, exact
        (METRIC.area_out(1.0), 0.40468564224),  # ac -> ha, exact
    ],
)
def test_metric_numbers_become_us_numbers_by_the_exact_definitions(inside: float, given: float) -> None:
    assert inside == pytest.approx(given, rel=1e-13)


def test_density_in_kg_per_litre_becomes_pounds_per_gallon() -> None:
    assert METRIC.density_in(1.0) == pytest.approx(8.345404, rel=1e-6)
    assert METRIC.density_in(1.3) == pytest.approx(METRIC.weight_in(1.3) / METRIC.volume_in(1.0), rel=1e-14)


def test_a_rate_on_an_area_is_the_same_weight_in_both_systems() -> None:
    lb = 5.25 * 2.0
    kg = METRIC.rate_out(5.25) * METRIC.area_out(2.0)
    assert kg == pytest.approx(METRIC.weight_out(lb), rel=1e-14)


def test_each_system_names_its_units() -> None:
    names = ("rate_unit", "total_unit", "weight_unit", "volume_unit", "length_unit", "area_unit")
    assert [getattr(US, name) for name in names] == ["lb N/ac/week", "lb N/ac", "lb", "gal", "ft", "ac"]
    assert [getattr(METRIC, name) for name in names] == ["kg N/ha/week", "kg N/ha", "kg", "L", "m", "ha"]


def test_systems_are_written_us_and_metric_in_a_season_file() -> None:
    assert [UnitSystem("us"), UnitSystem("metric")] == [US, METRIC]
    with pytest.raises(ValueError, match="imperial"):
        UnitSystem("imperial")


def test_nitrate_holds_less_than_a_quarter_of_nitrogen() -> None:
    assert no3_to_no3n(100.0) == pytest.approx(22.5897, abs=5e-5)
    assert no3_to_no3n(0.0) == 0.0


def test_every_factor_is_finite_and_above_zero() -> None:
    factors = {name: value for name, value in vars(units).items() if name.isupper()}
    assert len(factors) >= 12
    assert all(math.isfinite(value) and value > 0 for value in factors.values())
