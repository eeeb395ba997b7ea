"""The policy: every number the rules use, with unit, source and evidence. Data, not code.

Shipped policies are read from ``fertadjust/data/policies``; a season file overrides them key by key.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any, Literal, NamedTuple, Self, get_args, get_origin

from pydantic import AfterValidator, Field, model_validator

from fertadjust.errors import PlacedError
from fertadjust.evidence import OWN_SOURCE, Evidence
from fertadjust.rules.cross_table import Cell, CrossCheckRow, row_for, table_faults
from fertadjust.rules.published import Published
from fertadjust.strict import Strict
from fertadjust.tissue import Tissue


class _Backed(Strict):
    """What every value of a policy has besides the value.

    Attributes:
        meaning: what it does, in a grower's words.
        source, evidence: where it comes from.
        own_reason: the season file's reason, when it overrides the value, or "".
    """

    meaning: str
    source: str
    evidence: Evidence
    own_reason: str = ""


class Figure(_Backed):
    """One number of a policy.

    Attributes:
        value: the number.
        unit: its unit in words.
        shipped: the shipped value, when the season file overrides it.
    """

    value: float = Field(allow_inf_nan=False, strict=True)
    unit: str
    shipped: float | None = None


def _within(low: float, high: float) -> AfterValidator:
    def check(figure: Figure) -> Figure:
        if not low <= figure.value <= high:
            raise ValueError(f"{figure.value:g} is outside {low:g} to {high:g} {figure.unit}")
        return figure

    return AfterValidator(check)


def _whole(figure: Figure) -> Figure:
    if not figure.value.is_integer():
        raise ValueError(f"{figure.value:g} should be a whole number of {figure.unit}")
    return figure


Probability = Annotated[Figure, _within(0.5, 0.999)]
Share = Annotated[Figure, _within(0.0, 1.0)]
Relative = Annotated[Figure, _within(0.0, 2.0)]
Spread = Annotated[Figure, _within(0.001, 2.0)]
Step = Annotated[Figure, _within(0.01, 1.0)]
Days = Annotated[Figure, _within(0, 366), AfterValidator(_whole)]
Count = Annotated[Figure, _within(1, 1000), AfterValidator(_whole)]
Widths = Annotated[Figure, _within(0.01, 100.0)]
Weeks = Annotated[Figure, _within(0, 100), AfterValidator(_whole)]
RateLbAc = Annotated[Figure, _within(0.0, 100.0)]
AmountLbAc = Annotated[Figure, _within(0.0, 150.0)]
Part = Annotated[Figure, _within(0.05, 0.95)]
Factor = Annotated[Figure, _within(1.01, 100.0)]
Ppm = Annotated[Figure, _within(0.0, 1000.0)]


class Recovery(StrEnum):
    """What to do once a block is back in the band at a changed rate."""

    KEEP = "keep"
    EASE = "ease"
    PLAN = "plan"


class RecoveryChoice(_Backed):
    value: Recovery
    shipped: Recovery | None = None


class Consent(_Backed):
    value: bool = Field(strict=True)
    shipped: bool | None = None


class CompanionRule(Strict):
    """A published rule for another nutrient on the same report; a note, never an automatic change.

    Attributes:
        id: its name, by which a season file can set the limit otherwise.
        analyte: analyte looked at, or a ratio of two written "N:S".
        applies: on which side of the limit the note applies.
        limit, unit: the limit.
        advice: what the source says to do; "{amount}" and "{most}" stand for the figures below.
        late: what to say instead once the crop blooms, where the advice is for the time before; else "".
        amount: least and most of it to apply [lb/ac], or None.
        most: what is never to be passed [lb/ac], or None.
        of: what the amount is an amount of.
        every: "week" for an amount a week, "once" for one dose, "" where the source does not say.
        supplies: nutrient of the products that counts towards the amount, or "".
        source, evidence: where it comes from.
        shipped: the shipped limit, when the season file sets another.
        own_reason: the season file's reason, or "".
    """

    id: str
    analyte: str
    applies: Literal["below", "at or below", "above", "at or above"]
    limit: float = Field(gt=0, allow_inf_nan=False, strict=True)
    unit: str
    advice: str
    late: str = ""
    amount: tuple[float, float] | None = None
    most: float | None = None
    of: str = ""
    every: Literal["", "week", "once"] = ""
    supplies: Literal["", "p2o5", "k2o", "ca", "mg", "s"] = ""
    source: str
    evidence: Evidence
    shipped: float | None = None
    own_reason: str = ""

    @property
    def below(self) -> bool:
        """Whether it applies to low values."""
        return self.applies.endswith("below")

    @model_validator(mode="after")
    def _check(self) -> Self:
        if "{amount}" in self.advice and (self.amount is None or not self.of):
            raise ValueError("advice with {amount} needs amount and of")
        if "{most}" in self.advice and self.most is None:
            raise ValueError("advice with {most} needs most")
        return self


class Override(NamedTuple):
    """A policy value that the season file sets.

    Attributes:
        name: its key under ``[policy]``.
        meaning: what it does.
        shipped, own: the two values in words, with their unit.
        reason: why, or "season file".
    """

    name: str
    meaning: str
    shipped: str
    own: str
    reason: str


class Policy(Strict):
    """All figures of one crop and system.

    Attributes:
        crop, also: the crop, and others that the figures are for; `ANY` for a policy of no crop in particular.
        regions: where its published figures are from; None where it is not bound to a region.
        corrective_least, corrective_most: nitrogen that a publication has added in all on a low result; None
            where it gives none and a raise is a share of the rate.
        corrective_days: days in which no more than that comes on top of the plan.
        corrective_on: tissues of which a low result calls for it.
        floor, ceiling: of a weekly rate; None where nothing is published, and the season file has to say.
        stop_after_week: last week from `late_anchor` in which anything is fed; None for no stop.
        late_days: days that a rate runs on for a late result; None in policies stored before the figure was.
        published: what publications say besides.
    """

    schema_: Literal[1] = Field(alias="schema")
    id: str
    crop: str
    also: tuple[str, ...] | None = None
    system: str
    regions: tuple[str, ...] | None = None
    title: str

    confidence: Probability
    laboratory_petiole: Relative
    laboratory_leaf: Relative
    cv_petiole: Spread
    cv_leaf: Spread
    time_petiole: Spread
    time_leaf: Spread
    sap_meter: Spread
    sap_meter_diluted: Spread
    within_laboratory: Share
    protocol_count: Count

    stale_days: Days
    leaf_days: Days
    observation_days: Days
    soil_nitrate_days: Days
    lag_nitrate_days: Days
    lag_ammonium_days: Days
    slow_mix_below: Share
    recalled_may_cut: Consent

    stage_doubt_days: Days
    stage_guess_days: Days
    trend_tail: Share
    leaving_chance: Probability
    supply_days: Days
    supply_share: Share
    supply_over: Relative
    soil_nitrate_ppm: Ppm
    results_for_second_change: Count
    apart_days: Days
    half_step: Part
    one_edge_factor: Factor

    raise_first: Relative
    raise_largest: Relative
    raise_largest_at: Widths
    raise_persistent: Relative
    leaf_low_raise: Relative
    corrective_least: AmountLbAc | None = None
    corrective_most: AmountLbAc | None = None
    corrective_days: Days | None = None
    corrective_on: tuple[Tissue, ...] = ()
    cut_first: Share
    cut_largest: Share
    cut_largest_at: Widths
    cut_persistent: Share
    smallest_step: Step
    after_recovery: RecoveryChoice
    ease_share: Share
    ease_from: Share
    near_plan: Share

    floor: RateLbAc | None = None
    ceiling: RateLbAc | None = None
    late_anchor: str
    no_raise_after_week: Weeks | None = None
    stop_after_week: Weeks | None = None

    sample_days: Days
    resample_days: Days
    laboratory_days: Days
    late_days: Days | None = None

    cross_check: tuple[CrossCheckRow, ...]
    companions: tuple[CompanionRule, ...] = ()
    published: Published | None = None

    @property
    def crops(self) -> tuple[str, ...]:
        """Every crop that the figures are for."""
        return (self.crop, *(self.also or ()))

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults: list[tuple[tuple[str | int, ...], str]] = list(table_faults(self.cross_check))
        for small, large in (*_ORDERED, *_CAPPED):
            low, high = getattr(self, small), getattr(self, large)
            if low is None or high is None:
                if (low is None) != (high is None):
                    faults.append(((large if high is None else small,), f"{small} and {large} go together"))
                continue
            if low.value > high.value and ((small, large) in _ORDERED or low.shipped is not None):
                name = large if low.shipped is None and high.shipped is not None else small
                faults.append(((name,), f"{small} {low.value:g} is above {large} {high.value:g}"))
        if faults:
            raise PlacedError(faults)
        return self

    def row_for(self, cell: Cell) -> CrossCheckRow:
        """The cross-check row that decides a cell."""
        row = row_for(self.cross_check, cell)
        assert row is not None, "a checked table has a row for every cell"
        return row

    def overrides(self) -> list[Override]:
        """The values that the season file sets, in the order of the policy."""
        found = []
        for name in type(self).model_fields:
            item = getattr(self, name)
            if isinstance(item, Figure | RecoveryChoice | Consent) and item.shipped is not None:
                unit = f" {item.unit}" if isinstance(item, Figure) else ""
                shipped, own = _word(item.shipped) + unit, _word(item.value) + unit
                found.append(Override(name, item.meaning, shipped, own, item.own_reason))
        for row in self.cross_check:
            if row.shipped is not None:
                name = f"cross_check.{row.id}"
                found.append(Override(name, row.reason, row.shipped, row.step, row.own_reason))
        for rule in self.companions:
            if rule.shipped is not None:
                shipped, own = (f"{value:g} {rule.unit}" for value in (rule.shipped, rule.limit))
                name, meaning = f"companions.{rule.id}", f"limit for {rule.id}"
                found.append(Override(name, meaning, shipped, own, rule.own_reason))
        return [item._replace(reason=item.reason or OWN_SOURCE) for item in found]

    def digest(self) -> str:
        """SHA-256 of the whole policy, overrides included."""
        return digest(self.model_dump(mode="json", by_alias=True))


_ORDERED = (
    ("raise_first", "raise_largest"),
    ("smallest_step", "raise_first"),
    ("smallest_step", "raise_persistent"),
    ("smallest_step", "leaf_low_raise"),
    ("smallest_step", "cut_first"),
    ("smallest_step", "cut_persistent"),
    ("cut_first", "cut_largest"),
    ("corrective_least", "corrective_most"),
    ("floor", "ceiling"),
    ("supply_share", "supply_over"),
    ("stage_doubt_days", "stage_guess_days"),
    ("lag_nitrate_days", "lag_ammonium_days"),
)
"""Pairs of figures of which the first may not be above the second."""

_CAPPED = (
    ("raise_persistent", "raise_largest"),
    ("leaf_low_raise", "raise_largest"),
    ("cut_persistent", "cut_largest"),
)
"""The same where the first is the season file's own; where only the second is, the rules limit the first by it."""


def _word(value: float | bool | str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:g}"


def _bare(annotation: Any) -> Any:
    """A type without the checks that are attached to it."""
    return get_args(annotation)[0] if get_origin(annotation) is Annotated else annotation


def digest(data: Any) -> str:
    """SHA-256 of plain data in canonical JSON."""
    text = json.dumps(data, sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode()).hexdigest()


BOUNDS = ("floor", "ceiling")
"""Figures that a season file sets under ``[bounds]``, in its own units."""

_VALUES = {Figure, RecoveryChoice, Consent}
OVERRIDABLE = tuple(
    name
    for name, info in Policy.model_fields.items()
    if name not in BOUNDS and _VALUES & {info.annotation, *map(_bare, get_args(info.annotation))}
)
"""Names that a season file may set under ``[policy]``, as far as the policy has the value."""

ANY = "any crop"
"""What stands for the crop of a policy that is of none in particular."""

ROW_VALUES = {"cross_check": "step", "companions": "limit"}
"""Tables of the policy whose rows a season file may set by id, and the value that it sets."""


def with_overrides(shipped: Mapping[str, Any], overrides: Mapping[str, Any]) -> dict[str, Any]:
    """Policy data with some values replaced; each keeps its unit and says that the grower set it.

    Args:
        shipped: policy data as read.
        overrides: name -> value, or name -> {"value": ..., "reason": ...}, for the names in `OVERRIDABLE`; for the
            tables in `ROW_VALUES`, row id -> the same.
    """
    data = dict(shipped)
    for name, given in overrides.items():
        if name in ROW_VALUES:
            data[name] = [
                _overridden(row, ROW_VALUES[name], given[row["id"]]) if row["id"] in given else row
                for row in data[name]
            ]
        else:
            data[name] = _overridden(data[name], "value", given)
    return data


def _overridden(entry: Mapping[str, Any], key: str, given: Any) -> dict[str, Any]:
    reason = ""
    if isinstance(given, Mapping):
        reason = str(given.get("reason", ""))
        given = given["value"]
    own = {"shipped": entry[key], key: given, "source": OWN_SOURCE, "evidence": Evidence.OWN.value}
    return dict(entry) | own | {"own_reason": reason}
