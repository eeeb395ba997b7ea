"""Blocks: area by each meaning of "per acre", and the words when two meanings meet."""

from __future__ import annotations

import pytest

from fertadjust.errors import UserError
from fertadjust.field import AreaBasis, basis_mismatch, basis_words
from fertadjust.units import UnitSystem
from tests import support

BED, GROSS, LINEAR = AreaBasis.BED, AreaBasis.GROSS, AreaBasis.LINEAR_BED


def test_bed_area_counts_bed_tops_only() -> None:
    assert support.block().area_ac() == pytest.approx(300 * 2.5 * 10 / 43_560, rel=1e-14)


def test_gross_area_counts_from_bed_centre_to_bed_centre() -> None:
    assert support.block().area_ac(GROSS) == pytest.approx(300 * 5.0 * 10 / 43_560, rel=1e-14)


def test_linear_bed_feet_count_at_the_standard_spacing_whatever_the_real_one() -> None:
    block = support.block(standard_spacing_ft=4.0)
    assert block.area_ac(LINEAR) == pytest.approx(300 * 4.0 * 10 / 43_560, rel=1e-14)
    wider = support.block(standard_spacing_ft=4.0, bed_spacing_ft=6.0)
    assert wider.area_ac(LINEAR) == block.area_ac(LINEAR)


def test_a_block_uses_its_own_basis_unless_another_is_named() -> None:
    block = support.block(area_basis=GROSS)
    assert block.area_ac() == block.area_ac(GROSS) != block.area_ac(BED)


def test_linear_bed_feet_without_a_standard_spacing_are_refused() -> None:
    with pytest.raises(UserError, match=r"north.*standard_spacing"):
        support.block().area_ac(LINEAR)


def test_no_area_is_rounded_on_the_way() -> None:
    block = support.block(row_length_ft=333.3, bed_top_width_ft=2.37, rows=7)
    assert block.area_ac() * 43_560 == pytest.approx(333.3 * 2.37 * 7, rel=1e-14)


@pytest.mark.parametrize("basis", AreaBasis)
def test_block_and_plan_that_mean_the_same_have_nothing_to_explain(basis: AreaBasis) -> None:
    block = support.block(area_basis=basis, standard_spacing_ft=4.0)
    assert basis_mismatch(block, basis) is None


def test_bed_block_under_a_gross_plan_is_told_the_factor() -> None:
    told = basis_mismatch(support.block(), GROSS)
    assert told is not None
    assert "per gross acre" in told and "per acre of bed top" in told
    assert "0.1722 ac against 0.3444 ac, a factor of 2.000" in told
    assert 'area_basis = "gross"' in told


def test_areas_are_told_in_the_units_of_the_season() -> None:
    told = basis_mismatch(support.block(), GROSS, UnitSystem.METRIC)
    assert told is not None
    assert "per gross hectare" in told and "per hectare of bed top" in told
    assert "0.0697 ha against 0.1394 ha, a factor of 2.000" in told


@pytest.mark.parametrize("units", UnitSystem)
def test_each_basis_has_words_of_its_own(units: UnitSystem) -> None:
    words = {basis: basis_words(basis, units) for basis in AreaBasis}
    assert len(set(words.values())) == len(AreaBasis)
    area = {UnitSystem.US: "acre", UnitSystem.METRIC: "hectare"}[units]
    assert all(area in text for text in words.values())


def test_gross_block_under_a_bed_plan_is_told_the_factor() -> None:
    told = basis_mismatch(support.block(area_basis=GROSS), BED)
    assert told is not None
    assert "a factor of 0.500" in told


def test_a_plan_by_linear_bed_feet_cannot_be_compared_without_a_standard_spacing() -> None:
    told = basis_mismatch(support.block(), LINEAR)
    assert told is not None
    assert "standard_spacing" in told and "cannot be compared" in told
    spaced = basis_mismatch(support.block(standard_spacing_ft=4.0), LINEAR)
    assert spaced is not None
    assert "a factor of 1.600" in spaced
