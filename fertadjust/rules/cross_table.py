"""The cross-check table: petiole, leaf nitrogen, soil nitrate, supply and what was seen, weighed together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import StrEnum
from itertools import product
from typing import Literal, NamedTuple, Self

from pydantic import Field, model_validator

from fertadjust.evidence import Evidence
from fertadjust.strict import Strict


class PetioleState(StrEnum):
    """What the deciding result calls for: low a raise, high a cut, sufficient neither."""

    LOW = "low"
    SUFFICIENT = "sufficient"
    HIGH = "high"


class LeafState(StrEnum):
    """What the leaf nitrogen says, at the stated confidence."""

    LOW = "low"
    SUFFICIENT = "sufficient"
    HIGH = "high"
    UNCLEAR = "unclear"
    NONE = "none"


class SoilState(StrEnum):
    """A recent soil nitrate test against its threshold."""

    ABOVE = "above"
    BELOW = "below"
    NONE = "none"


class SupplyState(StrEnum):
    """What went out before the sample, against what was meant to."""

    SHORT = "short"
    FULL = "full"
    OVER = "over"
    UNKNOWN = "unknown"


class SeenState(StrEnum):
    """What was seen in the field that bears on uptake; trouble with the roots counts before rain."""

    ROOTS = "roots"
    RAIN = "rain"
    NOTHING = "nothing"


class Cell(NamedTuple):
    """One combination of what is known."""

    petiole: PetioleState
    leaf: LeafState
    soil: SoilState
    supply: SupplyState
    seen: SeenState

    def __str__(self) -> str:
        return f"petiole {self.petiole}, leaf {self.leaf}, soil {self.soil}, supply {self.supply}, {self.seen}"


Step = Literal["full", "half", "hold"]


class CrossCheckRow(Strict):
    """One row of the table. The first row that fits a cell decides it; a column left out fits everything.

    Attributes:
        id: its name, by which a season file can set the step otherwise.
        petiole, leaf, soil, supply, seen: the states it is for; none named means any.
        step: how much of the step is allowed.
        resample: whether the next sample should come sooner.
        to_do: what to do besides, or "". Neither holds where the season file sets another step.
        reason: why, in a grower's words, without the step.
        source, evidence: where it comes from.
        shipped: the shipped step, when the season file sets another.
        own_reason: the season file's reason, or "".
    """

    id: str = Field(pattern=r"^[a-z][a-z-]*$")
    petiole: PetioleState
    leaf: tuple[LeafState, ...] = ()
    soil: tuple[SoilState, ...] = ()
    supply: tuple[SupplyState, ...] = ()
    seen: tuple[SeenState, ...] = ()
    step: Step
    resample: bool = False
    to_do: str = ""
    reason: str = Field(min_length=1)
    source: str = Field(min_length=1)
    evidence: Evidence
    shipped: Step | None = None
    own_reason: str = ""

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.petiole is PetioleState.SUFFICIENT and self.step != "hold":
            raise ValueError("a sufficient petiole calls for no step, so it can only be hold")
        return self

    def fits(self, cell: Cell) -> bool:
        """Whether the row is for a cell."""
        return (
            self.petiole is cell.petiole
            and (not self.leaf or cell.leaf in self.leaf)
            and (not self.soil or cell.soil in self.soil)
            and (not self.supply or cell.supply in self.supply)
            and (not self.seen or cell.seen in self.seen)
        )


def cells() -> Iterator[Cell]:
    """Every combination."""
    return (Cell(*states) for states in product(PetioleState, LeafState, SoilState, SupplyState, SeenState))


def row_for(rows: Sequence[CrossCheckRow], cell: Cell) -> CrossCheckRow | None:
    """The first row that is for a cell, or None."""
    return next((row for row in rows if row.fits(cell)), None)


def table_faults(rows: Sequence[CrossCheckRow]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """What is wrong with a table as a whole, with the place: cells without a row, rows that decide nothing."""
    ids = [row.id for row in rows]
    for index, name in enumerate(ids):
        if name in ids[:index]:
            yield ("cross_check", index), f"{name} stands twice"
    decided = [row_for(rows, cell) for cell in cells()]
    missing = [str(cell) for cell, row in zip(cells(), decided, strict=True) if row is None]
    if missing:
        yield ("cross_check",), f"{len(missing)} cells have no row, the first is: {missing[0]}"
    used = {id(row) for row in decided}
    for index, row in enumerate(rows):
        if id(row) not in used:
            yield ("cross_check", index), f"{row.id} decides nothing: rows above it fit all of its cells"
