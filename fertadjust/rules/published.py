"""What publications say of a crop's nitrogen besides the figures that the rules use: schedules, totals, advice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fertadjust.evidence import Evidence, cite
from fertadjust.field import AreaBasis
from fertadjust.strict import Strict

DAYS_PER_WEEK = 7
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]


class Cited(Strict):
    """A statement or figure of a publication.

    Attributes:
        id: its name.
        source, evidence, confidence: where it comes from and how well it is known.
        note: what else a reader should know, or "".
    """

    id: str = Field(min_length=1)
    source: str = Field(min_length=1)
    evidence: Evidence
    confidence: Literal["high", "medium"] | None = None
    note: str = ""

    @model_validator(mode="after")
    def _sure(self) -> Self:
        if self.evidence is Evidence.RECALLED and self.confidence is None:
            raise ValueError('evidence "recalled" needs confidence: high or medium')
        return self

    @property
    def cited(self) -> str:
        """Source and evidence in words."""
        sure = f", {self.confidence} confidence" if self.confidence else ""
        return f"{cite(self.source, self.evidence)}{sure}"


class ScheduleStep(Cited):
    """A daily rate of a published schedule.

    Attributes:
        weeks: first and last week, counted from the schedule's anchor.
        rate: [lb N/ac/day].
    """

    weeks: tuple[int, int]
    rate: NotNegative


class Schedule(Strict):
    """A published schedule of daily rates.

    Attributes:
        title: what it is, in words.
        anchor: stage whose date begins week 1.
        basis, spacing_ft: what its acre means; None where the source does not say.
        steps: its rates, in order of weeks.
    """

    title: str
    anchor: str
    basis: AreaBasis | None = None
    spacing_ft: float | None = Field(default=None, gt=0)
    steps: tuple[ScheduleStep, ...]

    @model_validator(mode="after")
    def _check(self) -> Self:
        expected = 1
        for step in self.steps:
            if step.weeks[0] != expected or step.weeks[1] < step.weeks[0]:
                raise ValueError(f"{step.id}: weeks {list(step.weeks)} should follow on, from week {expected}")
            expected = step.weeks[1] + 1
        return self

    def weekly_lb_ac(self) -> tuple[float, ...]:
        """Rate of each week [lb N/ac in the week]."""
        return tuple(
            DAYS_PER_WEEK * step.rate for step in self.steps for _ in range(step.weeks[0], step.weeks[1] + 1)
        )


class Total(Cited):
    """A published amount of nitrogen of a whole season, or before planting [lb N/ac].

    Attributes:
        when: "season" or "preplant".
        low, high: the range; equal for one figure.
    """

    when: Literal["season", "preplant"]
    low: NotNegative
    high: NotNegative


class Statement(Cited):
    """What a publication says to do or to know; shown, never an automatic change.

    Attributes:
        text: the statement, a sentence without its full stop.
        when: on which occasion it is shown.
    """

    text: str = Field(min_length=1)
    when: Literal["always", "low", "high", "leaching rain", "past the last week of feeding"]


class Published(Strict):
    """All of it for one policy."""

    schedules: tuple[Schedule, ...] = ()
    totals: tuple[Total, ...] = ()
    statements: tuple[Statement, ...] = ()

    def every(self) -> Sequence[Cited]:
        """Everything that is cited."""
        return [*(step for item in self.schedules for step in item.steps), *self.totals, *self.statements]
