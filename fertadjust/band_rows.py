"""One row of a sufficiency table, as its source prints it, and the band that it makes."""

from __future__ import annotations

import calendar
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fertadjust.evidence import Evidence
from fertadjust.strict import Strict
from fertadjust.tissue import format_value

MONTHS = tuple(calendar.month_name[1:])

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True)]


class Axis(StrEnum):
    """What a table's rows run along."""

    WEEKS = "weeks"
    STAGES = "stages"
    MONTHS = "months"
    DAYS = "days"
    SEASON = "season"


class BandRow(Strict):
    """One printed row: the band of one analyte at one place on the axis, in the unit as published.

    Attributes:
        id: key of the row.
        analyte, unit: as published; NO3 is converted to NO3-N when the band is made.
        weeks, days: first and last; week 1 and day 0 begin on the anchor's date.
        stage: stage that the row holds from.
        until: last of a run of neighbouring stages that it holds for, or None.
        months: English names.
        printed: the place as the source prints it, where it uses other words.
        low, high: edges; one of them alone says low or not low, high or not high.
        deficient_below, excess_above: limits that the source states separately. Alone, a limit is the band's edge.
        source, evidence, confidence, note: where it comes from and how well it is known.
    """

    id: str = Field(min_length=1)
    analyte: str
    unit: str
    weeks: tuple[int, int] | None = None
    stage: str | None = None
    until: str | None = None
    months: tuple[str, ...] | None = None
    days: tuple[int, int] | None = None
    printed: str | None = Field(default=None, min_length=1)
    low: Positive | None = None
    high: Positive | None = None
    deficient_below: Positive | None = None
    excess_above: Positive | None = None
    source: str = Field(min_length=1)
    evidence: Evidence
    confidence: Literal["high", "medium", "low"] | None = None
    note: str = ""

    @property
    def low_edge(self) -> float | None:
        """Low edge of the band: the low limit, else the limit below which the source says deficient."""
        return self.deficient_below if self.low is None else self.low

    @property
    def high_edge(self) -> float | None:
        """High edge of the band: the high limit, else the limit above which the source says excess."""
        return self.excess_above if self.high is None else self.high

    @model_validator(mode="after")
    def _check(self) -> Self:
        for message in (*self._edge_faults(), *self._place_faults()):
            raise ValueError(message)
        if self.evidence is Evidence.RECALLED and self.confidence is None:
            raise ValueError('evidence "recalled" needs confidence: high, medium or low')
        return self

    def _edge_faults(self) -> Iterator[str]:
        low, high = self.low_edge, self.high_edge
        if low is None and high is None:
            yield "a row needs low, high or both"
        if low is not None and high is not None and low >= high:
            yield f"low {low:g} is not below high {high:g}"
        if self.deficient_below is not None and low is not None and self.deficient_below > low:
            yield f"deficient_below {self.deficient_below:g} is above low {low:g}"
        if self.excess_above is not None and high is not None and self.excess_above < high:
            yield f"excess_above {self.excess_above:g} is below high {high:g}"

    def _place_faults(self) -> Iterator[str]:
        for name, span in (("weeks", self.weeks), ("days", self.days)):
            if span is not None and span[0] > span[1]:
                yield f"{name} {list(span)}: the first is after the last"
        if self.months is not None and not self.months:
            yield "months should name at least one month"
        unknown = [month for month in self.months or () if month not in MONTHS]
        if unknown:
            yield f"months {unknown}: write English month names, such as November"
        if self.until is not None and self.stage is None:
            yield "until goes with stage, the first stage that the row holds for"


@dataclass(frozen=True, slots=True)
class Band:
    """The band of one table on one date, in the stored unit. Both edges belong to it.

    Attributes:
        low, high: edges; one of them may be None (the source gives one edge only).
        deficient_below, excess_above: separate limits, only where the source gives them.
        label: the place on the axis in words, for example "week 5".
        unit: stored unit of the edges.
        table, row: ids of the table and the row.
        source, evidence, note: of the row.
    """

    low: float | None
    high: float | None
    deficient_below: float | None
    excess_above: float | None
    label: str
    unit: str
    table: str
    row: str
    source: str
    evidence: Evidence
    note: str = ""

    def text(self) -> str:
        """The edges in words: "600 to 800 mg/L", "400 ppm and more", "5.00 % and less"."""
        low, high = (None if edge is None else format_value(edge, self.unit) for edge in (self.low, self.high))
        if low is not None and high is not None:
            return f"{low} to {high} {self.unit}"
        return f"{low} {self.unit} and more" if low is not None else f"{high} {self.unit} and less"
