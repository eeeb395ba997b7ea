"""The policy: every number the rules use, with unit, source and evidence. Data, not code.

Shipped policies are read from ``fertadjust/data/policies``; a season file overrides them key by key.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from fertadjust.errors import PlacedError
from fertadjust.evidence import Evidence


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Figure(_Strict):
    """One number of a policy.

    Attributes:
        value: the number.
        unit: its unit in words.
        meaning: what it does, in a grower's words.
        source, evidence: where it comes from.
        shipped: the shipped value, when the season file overrides it.
    """

    value: float = Field(allow_inf_nan=False, strict=True)
    unit: str
    meaning: str
    source: str
    evidence: Evidence
    shipped: float | None = None


def _within(low: float, high: float) -> AfterValidator:
    def check(figure: Figure) -> Figure:
        if not low <= figure.value <= high:
            raise ValueError(f"{figure.value:g} is outside {low:g} to {high:g} {figure.unit}")
        return figure

    return AfterValidator(check)


Probability = Annotated[Figure, _within(0.5, 0.999)]
Share = Annotated[Figure, _within(0.0, 1.0)]
Relative = Annotated[Figure, _within(0.0, 2.0)]
Days = Annotated[Figure, _within(0, 366)]
Count = Annotated[Figure, _within(1, 1000)]
Widths = Annotated[Figure, _within(0.01, 100.0)]
Weeks = Annotated[Figure, _within(0, 100)]
RateLbAc = Annotated[Figure, _within(0.0, 100.0)]
Ppm = Annotated[Figure, _within(0.0, 1000.0)]


class Recovery(StrEnum):
    """What to do once a block is back in the band at a changed rate."""

    KEEP = "keep"
    EASE = "ease"
    PLAN = "plan"


class RecoveryChoice(_Strict):
    value: Recovery
    meaning: str
    source: str
    evidence: Evidence
    shipped: Recovery | None = None


class Consent(_Strict):
    value: bool = Field(strict=True)
    meaning: str
    source: str
    evidence: Evidence
    shipped: bool | None = None


class LeafState(StrEnum):
    """What the leaf nitrogen says, at the stated confidence."""

    LOW = "low"
    SUFFICIENT = "sufficient"
    HIGH = "high"
    UNCLEAR = "unclear"
    NONE = "none"


class CrossCheckCell(_Strict):
    """What petiole and leaf nitrogen together allow."""

    petiole: Literal["low", "sufficient", "high"]
    leaf: LeafState
    step: Literal["full", "half", "hold"]
    reason: str
    source: str
    evidence: Evidence


class CompanionRule(_Strict):
    """A published rule for another nutrient on the same report; a note, never an automatic change.

    Attributes:
        name: nutrient in words.
        analyte: analyte looked at, or a ratio of two written "N:S".
        below, above: the note applies below, or at or above, this value; one of them.
        inclusive: whether the value itself counts as below.
        unit: unit of the limit.
        advice: what the source says to do.
        late: what to say instead once the crop blooms, where the advice is for the time before; else "".
        source, evidence: where it comes from.
    """

    name: str
    analyte: str
    below: float | None = None
    above: float | None = None
    inclusive: bool = False
    unit: str
    advice: str
    late: str = ""
    source: str
    evidence: Evidence

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.below is None) == (self.above is None):
            raise ValueError("a companion rule needs either below or above")
        return self


class Policy(_Strict):
    """All figures of one crop and system."""

    schema_: Literal[1] = Field(alias="schema")
    id: str
    crop: str
    system: str
    title: str

    confidence: Probability
    cv_petiole: Relative
    cv_leaf: Relative
    time_petiole: Relative
    time_leaf: Relative
    sap_meter: Relative
    within_laboratory: Share
    protocol_count: Count

    stale_days: Days
    leaf_days: Days
    observation_days: Days
    soil_nitrate_days: Days
    lag_nitrate_days: Days
    lag_ammonium_days: Days
    recalled_may_cut: Consent

    trend_tail: Share
    supply_days: Days
    supply_share: Share
    soil_nitrate_ppm: Ppm
    results_for_second_change: Count

    raise_first: Relative
    raise_largest: Relative
    raise_largest_at: Widths
    leaf_low_raise: Relative
    cut_largest: Share
    cut_largest_at: Widths
    smallest_step: Share
    after_recovery: RecoveryChoice
    ease_share: Share

    floor: RateLbAc
    ceiling: RateLbAc
    late_anchor: str
    no_raise_after_week: Weeks

    sample_days: Days
    resample_days: Days
    laboratory_days: Days

    cross_check: tuple[CrossCheckCell, ...]
    companions: tuple[CompanionRule, ...] = ()

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[tuple[str | int, ...], str]] = []
        if self.raise_first.value > self.raise_largest.value:
            faults.append((("raise_first",), "raise_first is above raise_largest"))
        if self.smallest_step.value > min(self.raise_first.value, self.cut_largest.value):
            faults.append((("smallest_step",), "smallest_step is above raise_first or cut_largest"))
        if self.floor.value > self.ceiling.value:
            faults.append((("floor",), "floor is above ceiling"))
        cells = [(cell.petiole, cell.leaf) for cell in self.cross_check]
        wanted = {(petiole, leaf) for petiole in ("low", "sufficient", "high") for leaf in LeafState}
        missing = sorted(f"{petiole} x {leaf}" for petiole, leaf in wanted - set(cells))
        if missing or len(cells) != len(set(cells)):
            message = f"cross_check needs each petiole x leaf cell once; missing: {missing}"
            faults.append((("cross_check",), message))
        if faults:
            raise PlacedError(faults)
        return self

    def cell(self, petiole: str, leaf: LeafState) -> CrossCheckCell:
        """The cross-check cell of a petiole state and a leaf state."""
        return next(cell for cell in self.cross_check if cell.petiole == petiole and cell.leaf is leaf)

    def overrides(self) -> dict[str, Figure | RecoveryChoice | Consent]:
        """The values that the season file set, by name."""
        return {
            name: value
            for name in type(self).model_fields
            if isinstance(value := getattr(self, name), Figure | RecoveryChoice | Consent)
            and value.shipped is not None
        }

    def digest(self) -> str:
        """SHA-256 of the whole policy, overrides included."""
        return digest(self.model_dump(mode="json", by_alias=True))


def digest(data: Any) -> str:
    """SHA-256 of plain data in canonical JSON."""
    text = json.dumps(data, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()


OVERRIDABLE = tuple(
    name for name, info in Policy.model_fields.items() if info.annotation in (Figure, RecoveryChoice, Consent)
)
"""Names that a season file may set under ``[policy]``."""


def with_overrides(shipped: Mapping[str, Any], overrides: Mapping[str, Any]) -> dict[str, Any]:
    """Policy data with some values replaced; each keeps its unit and says that the grower set it.

    Args:
        shipped: policy data as read.
        overrides: name -> value, or name -> {"value": ..., "reason": ...}. Names must be in `OVERRIDABLE`.
    """
    data = dict(shipped)
    for name, given in overrides.items():
        reason = ""
        if isinstance(given, Mapping):
            reason = str(given.get("reason", ""))
            given = given["value"]
        entry = dict(data[name])
        entry["shipped"] = entry["value"]
        entry["value"] = given
        entry["source"] = reason or "season file"
        entry["evidence"] = Evidence.OWN.value
        data[name] = entry
    return data
