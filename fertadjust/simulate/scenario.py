"""What goes wrong in a simulated season besides the crop's own figures: a seeded scenario, read from data."""

from __future__ import annotations

from typing import Annotated, Literal, NamedTuple, Self

from pydantic import BeforeValidator, Field, model_validator

from fertadjust.strict import Strict

Chance = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
AS_ADVISED = "as advised"
MOST_SEED = 2**32 - 1
LEAST_DAYS = 3
"""Fewest days between samples."""


class Span(Strict):
    """A range that a season draws from evenly."""

    low: float = Field(allow_inf_nan=False)
    high: float = Field(allow_inf_nan=False)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.low > self.high:
            raise ValueError(f"low {self.low:g} is above high {self.high:g}")
        return self


class Days(Strict):
    """A range of whole days that is drawn from evenly, both ends included."""

    low: int = Field(ge=-60, le=60, strict=True)
    high: int = Field(ge=-60, le=60, strict=True)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.low > self.high:
            raise ValueError(f"low {self.low} is above high {self.high}")
        return self


class Waiting(Days):
    """A range of days from none on."""

    low: int = Field(ge=0, le=60, strict=True)


class Positive(Span):
    """A range above zero."""

    @model_validator(mode="after")
    def _above_zero(self) -> Self:
        if self.low <= 0:
            raise ValueError(f"low {self.low:g} should be above 0")
        return self


def _every(value: object) -> object:
    whole = isinstance(value, int) and not isinstance(value, bool) and LEAST_DAYS <= value <= 60
    if not whole and value != AS_ADVISED:
        raise ValueError(
            f'should be "{AS_ADVISED}" or a whole number of days from {LEAST_DAYS} to 60; found {value!r}'
        )
    return value


class Sampling(Strict):
    """How the crop is sampled.

    Attributes:
        every: days between samples, or "as advised": on the days that the rules ask for.
        first_day: day of the plan on which the first sample is taken; 0 is its first day.
        petioles: petioles in a sample.
        lost: chance that a sample never comes to a result.
    """

    every: Annotated[Literal["as advised"] | int, BeforeValidator(_every)] = "as advised"
    first_day: int = Field(default=9, ge=0, le=60, strict=True)
    petioles: int = Field(default=25, ge=1, le=1000, strict=True)
    lost: Chance = 0.0


class Laboratory(Strict):
    """How long a result takes and how far off it is.

    Attributes:
        days: from sampling to the result.
        bias: what the laboratory reports in parts of what is there; one draw a season.
        petiole_cv, hour_and_day: relative spread of single petioles, and of hour and day.
        reports_from: lowest value that it reports; below it the result is a bound, such as <10 [stored unit].
    """

    days: Waiting = Waiting(low=2, high=5)
    bias: Positive = Positive(low=1.0, high=1.0)
    petiole_cv: float = Field(default=0.30, ge=0, le=2, allow_inf_nan=False)
    hour_and_day: float = Field(default=0.10, ge=0, le=2, allow_inf_nan=False)
    reports_from: float = Field(default=10.0, gt=0, allow_inf_nan=False)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.bias.high > 5:
            raise ValueError("bias should not be above 5")
        return self


class Feeding(Strict):
    """How what is planned goes out.

    Attributes:
        missed: chance that an injection is left out.
        logged: chance that a season's grower keeps a log; without one nothing is known of what went out.
    """

    missed: Chance = 0.0
    logged: Chance = 1.0


class Rain(Strict):
    """Rains that take nitrate out of the bed.

    Attributes:
        a_week: mean number of them a week.
        lost: share of the nitrate in the root zone that one takes.
        noted: chance that the grower notes it.
    """

    a_week: float = Field(default=0.0, ge=0, le=7, allow_inf_nan=False)
    lost: Span = Span(low=0.2, high=0.6)
    noted: Chance = 1.0

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.lost.low < 0 or self.lost.high > 1:
            raise ValueError("lost should be a share, from 0 to 1")
        return self


class Stage(Strict):
    """How far the dates in the season file are off.

    Attributes:
        days_off: days by which the crop is later (above 0) or earlier than the dates say.
    """

    days_off: Days = Days(low=0, high=0)


class FieldState(Strict):
    """How far the field is from what the model states.

    Attributes:
        need: what the crop needs beside the published demand.
        soil_at_start: mineral nitrogen at the start beside what the model states.
        water_nitrate: nitrate-nitrogen in the irrigation water [ppm].
    """

    need: Positive = Positive(low=1.0, high=1.0)
    soil_at_start: Positive = Positive(low=1.0, high=1.0)
    water_nitrate: Span = Span(low=0.0, high=0.0)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.water_nitrate.low < 0:
            raise ValueError("water_nitrate should not be below 0")
        for name, most in (("need", 5.0), ("soil_at_start", 20.0), ("water_nitrate", 200.0)):
            if getattr(self, name).high > most:
                raise ValueError(f"{name} should not be above {most:g}")
        return self


class Scenario(Strict):
    """What goes wrong in the simulated seasons.

    Attributes:
        id, title: its name, and what it is in a sentence.
        seed: seed of its draws; a run may name another.
    """

    schema_: Literal[1] = Field(alias="schema")
    id: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    title: str = Field(min_length=1)
    seed: int = Field(default=1, ge=0, le=MOST_SEED, strict=True)
    sampling: Sampling = Sampling()
    laboratory: Laboratory = Laboratory()
    feeding: Feeding = Feeding()
    rain: Rain = Rain()
    stage: Stage = Stage()
    field: FieldState = FieldState()


class Origin(NamedTuple):
    """Where a scenario comes from, and what is asked for instead of what it says.

    Attributes:
        file: name of the user's file that it was read from, or "" for one that ships.
        extends: id of the shipped scenario that the file builds on, or "".
        every: how often is sampled instead of what it says, such as "weekly", or "".
    """

    file: str = ""
    extends: str = ""
    every: str = ""


SHIPPED = Origin()
"""A scenario that ships, as it stands."""
