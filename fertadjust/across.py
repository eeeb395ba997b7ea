"""One result beside every band table of its kind: what each says, and which tables say otherwise.

Dry weight and fresh sap are two scales: tables of the other one are told apart, with the reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from fertadjust.band_rows import Band
from fertadjust.bands import BandTable
from fertadjust.compare import Comparison, Side
from fertadjust.errors import Fault, UserError
from fertadjust.rules.evidence_rules import budget, compared
from fertadjust.rules.facts import Reading
from fertadjust.rules.policy import Policy
from fertadjust.stages import StageDates
from fertadjust.table_choice import Candidate, Disagreement, candidate, disagreements, in_order
from fertadjust.tissue import (
    MAIN_ANALYTE,
    Basis,
    Method,
    Tissue,
    TissueResult,
    canonical_analyte,
    parse_value,
    stored_unit,
    to_stored,
)
from fertadjust.uncertainty import UncertaintyPart, combined


class Judged(NamedTuple):
    """A result beside one band."""

    band: Band
    found: Comparison


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one table says of a result.

    Attributes:
        candidate: the table on the sampling day.
        places: against the band of the day, or against that of every place that it may belong to; empty without.
        unnoticed: against the bands of the next stage, which has no date and may have begun.
    """

    candidate: Candidate
    places: tuple[Judged, ...]
    unnoticed: tuple[Judged, ...]

    @property
    def table(self) -> BandTable:
        return self.candidate.table

    @property
    def side(self) -> Side | None:
        """The side by value that every place agrees on, or None."""
        sides = {item.found.side for item in self.places}
        return sides.pop() if len(sides) == 1 else None

    @property
    def by_stage(self) -> bool:
        """Whether it depends on the stage, which is not known."""
        return len({item.found.side for item in self.places}) > 1


class NotComparable(NamedTuple):
    """A table of the crop that a result cannot be held against, and why."""

    table: BandTable
    why: str


@dataclass(frozen=True, slots=True)
class Across:
    """One result beside every table of its kind.

    Attributes:
        result: the result.
        verdicts: of each table of its kind, in order.
        others: tables of another kind.
        parts: its uncertainty; empty for analytes without a budget and where no table has a band.
        confidence: chance from which on a side counts as sure.
    """

    result: TissueResult
    verdicts: tuple[Verdict, ...]
    others: tuple[NotComparable, ...]
    parts: tuple[UncertaintyPart, ...]
    confidence: float

    @property
    def relative(self) -> float | None:
        """Relative standard uncertainty, or None where there is no budget."""
        return combined(part.relative for part in self.parts) if self.parts else None

    @property
    def disagreement(self) -> Disagreement | None:
        """How far the bands lie apart, or None where fewer than two tables have one."""
        return next(iter(disagreements([item.candidate for item in self.verdicts])), None)


def typed(
    value: str,
    *,
    on: date,
    tissue: Tissue,
    basis: Basis,
    analyte: str = "",
    unit: str = "",
    petioles: int | None = None,
    method: Method = Method.LABORATORY,
) -> TissueResult:
    """A result that is not on record, from what a person types.

    Args:
        value: for example "640", "<10", ">5000".
        on: day the tissue was taken.
        tissue, basis: the kind.
        analyte: as reported; NO3 is converted to NO3-N; nitrogen of the tissue when empty.
        unit: as reported; the stored unit when empty.
        petioles, method: as for `TissueResult`.

    Raises:
        UserError: a value, analyte or unit that is not understood, or parts that do not go together.
    """
    if tissue is Tissue.LEAF and basis is Basis.SAP:
        raise UserError(Fault("a leaf is measured dry; sap goes with petioles", key="basis"))
    if method is not Method.LABORATORY and basis is not Basis.SAP:
        raise UserError(Fault("a meter reads sap; the basis here is dry weight", key="method"))
    censor, number = parse_value(value)
    name = analyte or MAIN_ANALYTE[tissue]
    shown = unit or stored_unit(basis, canonical_analyte(name))
    stored, amount = to_stored(number, shown, name, basis)
    reported = f"{value.strip()} {shown} {name.strip()}"
    return TissueResult(
        0, "", on, None, tissue, basis, stored, amount, censor, petioles, method, reported=reported
    )


def verdicts(tables: Iterable[BandTable], result: TissueResult, stages: StageDates, policy: Policy) -> Across:
    """Hold one result against every table of its kind on its sampling day.

    Args:
        tables: tables of the crop, in any order; those of another kind are told apart and not compared.
        result: the result, in its stored unit.
        stages: stage dates, as far as they are known.
        policy: the uncertainty of a result, and from which chance on a side counts as sure.

    Statuses are by value; chances count for nitrogen, whose uncertainty has a budget.
    """
    found: list[Verdict] = []
    others: list[NotComparable] = []
    for table in in_order(tables):
        if not table.fits(result.tissue, result.basis, result.analyte):
            others.append(NotComparable(table, _why_not(table, result)))
            continue
        item = candidate(table, result.analyte, result.sampled, stages)
        judged, unnoticed = (
            tuple(Judged(band, compared(_reading(result, band), policy)) for band in bands)
            for bands in (item.bands, item.unnoticed)
        )
        found.append(Verdict(item, judged, unnoticed))
    parts: tuple[UncertaintyPart, ...] = ()
    banded = next((item.places[0].band for item in found if item.places), None)
    if banded is not None and result.analyte == MAIN_ANALYTE[result.tissue]:
        parts = budget(_reading(result, banded), policy)
    return Across(result, tuple(found), tuple(others), parts, policy.confidence.value)


def _why_not(table: BandTable, result: TissueResult) -> str:
    if table.tissue is not result.tissue:
        return f"for a {table.tissue.value}; the result is of a {result.tissue.value}"
    if table.basis is not result.basis:
        scale = {Basis.DRY: "dry weight", Basis.SAP: "fresh sap"}
        return (
            f"{scale[table.basis]} is another scale than {scale[result.basis]}; neither is turned into the other"
        )
    return f"has no rows for {result.analyte}, only for {', '.join(table.analytes)}"


def _reading(result: TissueResult, band: Band) -> Reading:
    return Reading(
        sampled=result.sampled,
        known=result.known_on,
        tissue=result.tissue,
        basis=result.basis,
        analyte=result.analyte,
        unit=result.unit,
        value=result.value,
        censor=result.censor,
        count=1,
        spread=0.0,
        petioles=result.petioles,
        method=result.method,
        band=band,
        beside=(),
        stage_guessed=False,
        records=(result.record,),
    )
