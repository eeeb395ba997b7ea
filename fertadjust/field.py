"""Blocks and their fertilized area. Areas are never rounded on the way."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fertadjust.errors import UserError
from fertadjust.units import FT2_PER_ACRE, UnitSystem


class AreaBasis(StrEnum):
    """What "per acre" means."""

    BED = "bed"
    """Bed top only: row length x bed-top width x rows."""
    GROSS = "gross"
    """The whole planting: row length x bed spacing (centre to centre) x rows."""
    LINEAR_BED = "linear_bed"
    """Linear bed feet counted at a standard bed spacing, whatever the real one."""


_BASIS_WORDS: dict[AreaBasis, str] = {
    AreaBasis.BED: "{area} of bed top",
    AreaBasis.GROSS: "gross {area}",
    AreaBasis.LINEAR_BED: "{area} of linear bed at the standard spacing",
}


def basis_words(basis: AreaBasis, units: UnitSystem) -> str:
    """What "per acre" means, in words: "acre of bed top", "gross hectare"."""
    return _BASIS_WORDS[basis].format(area="acre" if units is UnitSystem.US else "hectare")


@dataclass(frozen=True, slots=True)
class Block:
    """One block that is fed as a unit.

    Attributes:
        key: short name used on the command line and in records.
        name: name shown to people.
        row_length_ft: length of one row, the mean where rows differ [ft].
        rows: number of rows (beds).
        bed_top_width_ft: width of the bed top [ft].
        bed_spacing_ft: distance between bed centres [ft].
        area_basis: what this block's "per acre" means; must equal the plan's.
        standard_spacing_ft: spacing that the linear-bed-foot basis counts with [ft], or None.
        soil: soil texture in the grower's word.
        cultivar: cultivar, or "".
    """

    key: str
    name: str
    row_length_ft: float
    rows: int
    bed_top_width_ft: float
    bed_spacing_ft: float
    area_basis: AreaBasis
    standard_spacing_ft: float | None = None
    soil: str = ""
    cultivar: str = ""

    def area_ac(self, basis: AreaBasis | None = None) -> float:
        """Area [ac] on a basis; the block's own when none is named.

        Common practice: bed area = row length x bed-top width x rows / 43,560.

        Raises:
            UserError: the linear-bed basis is asked for and the block states no standard spacing.

        >>> block = Block("a", "A", 300.0, 10, 2.5, 5.0, AreaBasis.BED)
        >>> round(block.area_ac(), 9)
        0.172176309
        """
        basis = self.area_basis if basis is None else basis
        if basis is AreaBasis.BED:
            width = self.bed_top_width_ft
        elif basis is AreaBasis.GROSS:
            width = self.bed_spacing_ft
        elif self.standard_spacing_ft is None:
            raise UserError(f"block {self.key}: area by linear bed feet needs standard_spacing")
        else:
            width = self.standard_spacing_ft
        return self.row_length_ft * self.rows * width / FT2_PER_ACRE


def basis_mismatch(block: Block, plan_basis: AreaBasis, units: UnitSystem = UnitSystem.US) -> str | None:
    """Explain a difference between the block's and the plan's meaning of "per acre"; None when they agree.

    Both areas are told in ``units``, with the factor between them.
    """
    if block.area_basis is plan_basis:
        return None
    own = block.area_ac()
    head = (
        f"the plan's rate is per {basis_words(plan_basis, units)}, block {block.key} counts per "
        f"{basis_words(block.area_basis, units)}"
    )
    if plan_basis is AreaBasis.LINEAR_BED and block.standard_spacing_ft is None:
        return f"{head}; the block states no standard_spacing, so the two cannot be compared"
    other = block.area_ac(plan_basis)
    return (
        f"{head}: {units.area_out(own):.4f} {units.area_unit} against {units.area_out(other):.4f} "
        f"{units.area_unit}, a factor of {other / own:.3f}. "
        f'Set area_basis = "{plan_basis.value}" or state the plan\'s rate per '
        f"{basis_words(block.area_basis, units)}"
    )
