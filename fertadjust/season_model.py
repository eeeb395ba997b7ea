"""The shape of ``season.toml``: what a person may write, before it is checked as a whole."""

from __future__ import annotations

import re
from collections.abc import Sized
from datetime import date
from statistics import fmean
from typing import Annotated, Any, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from fertadjust.feeding_model import CreditIn, InjectionIn, MixIn, NotNegative, Positive, ProductIn, ZoneIn
from fertadjust.field import AreaBasis
from fertadjust.strict import Strict
from fertadjust.units import UnitSystem

Items = TypeVar("Items", bound=Sized)
_NAME = re.compile(r"^[a-z0-9][a-z0-9_-]*$")


def _plain_key(key: str) -> str:
    if not _NAME.match(key):
        raise ValueError(f'"{key}" should be lower-case letters, digits, - or _')
    return key


def _some(items: Items) -> Items:
    if not items:
        raise ValueError("there should be at least one")
    return items


Key = Annotated[str, AfterValidator(_plain_key)]


class FarmIn(Strict):
    name: str = Field(min_length=1)
    units: UnitSystem = UnitSystem.US


class CropIn(Strict):
    name: str = Field(min_length=1)
    variety: str | None = Field(default=None, min_length=1)
    rules: str | None = Field(default=None, min_length=1)
    system: str = Field(min_length=1)
    region: str = Field(min_length=1)
    planted: date | None = None


class BandsIn(Strict):
    tables: list[str] = Field(min_length=1)
    folder: str | None = None


class StagesIn(BaseModel):
    """Stage name -> first day, and which of them are a guess."""

    model_config = ConfigDict(frozen=True, extra="allow")

    approximate: list[str] = []
    __pydantic_extra__: dict[str, date]

    @property
    def dates(self) -> dict[str, date]:
        return dict(sorted(self.__pydantic_extra__.items(), key=lambda item: item[1]))


class RampStep(Strict):
    week: int = Field(ge=1, strict=True)
    rate: NotNegative


class PlanIn(Strict):
    start: date
    weeks: int = Field(ge=1, le=60, strict=True)
    basis: AreaBasis
    rate: NotNegative | None = None
    ramp: list[RampStep] = Field(default_factory=list)
    injections_per_week: int = Field(default=1, ge=1, le=14, strict=True)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.rate is None) == (not self.ramp):
            raise ValueError("give rate for one rate all season, or ramp for steps; one of the two")
        if self.ramp and self.ramp[0].week != 1:
            raise ValueError("ramp should begin with week = 1")
        weeks = [step.week for step in self.ramp]
        if weeks != sorted(set(weeks)):
            raise ValueError("ramp weeks should rise, each once")
        if weeks and weeks[-1] > self.weeks:
            raise ValueError(f"ramp goes to week {weeks[-1]}, the plan has {self.weeks}")
        return self

    def rates(self) -> list[float]:
        """Rate of every week, in the season's unit."""
        if self.rate is not None:
            return [self.rate] * self.weeks
        return [[step.rate for step in self.ramp if step.week <= week][-1] for week in range(1, self.weeks + 1)]


class BoundsIn(Strict):
    floor: NotNegative | None = None
    ceiling: Positive | None = None
    season_cap: Positive | None = None
    rate_step: Positive = 0.05

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.floor is not None and self.ceiling is not None and self.floor > self.ceiling:
            raise ValueError(f"floor {self.floor:g} is above ceiling {self.ceiling:g}")
        return self


class BlockIn(Strict):
    name: str = ""
    row_length: Positive | None = None
    rows: int | None = Field(default=None, ge=1, strict=True)
    row_lengths: list[Positive] = Field(default_factory=list)
    bed_top_width: Positive
    bed_spacing: Positive
    area_basis: AreaBasis
    standard_spacing: Positive | None = None
    soil: str = ""
    cultivar: str = ""
    stages: StagesIn | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.row_lengths and (self.row_length is not None or self.rows not in (None, len(self.row_lengths))):
            raise ValueError(
                f"row_lengths lists {len(self.row_lengths)} rows; leave row_length and rows out beside it"
            )
        if not self.row_lengths and (self.row_length is None or self.rows is None):
            raise ValueError("give row_length and rows, or row_lengths with one length for each row")
        if self.bed_top_width > self.bed_spacing:
            raise ValueError(
                f"bed_top_width {self.bed_top_width:g} is wider than bed_spacing {self.bed_spacing:g}"
            )
        if self.area_basis is AreaBasis.LINEAR_BED and self.standard_spacing is None:
            raise ValueError('area_basis "linear_bed" needs standard_spacing')
        return self

    @property
    def mean_length(self) -> float:
        """Length of a row, the mean where they differ."""
        return fmean(self.row_lengths) if self.row_length is None else self.row_length

    @property
    def row_count(self) -> int:
        return self.rows or len(self.row_lengths)


class SeasonIn(Strict):
    """``season.toml`` as a whole."""

    schema_: int = Field(alias="schema", ge=1, le=1, strict=True)
    farm: FarmIn
    crop: CropIn
    bands: BandsIn
    stages: StagesIn
    plan: PlanIn
    bounds: BoundsIn = BoundsIn()
    credits: list[CreditIn] = Field(default_factory=list)
    products: Annotated[list[ProductIn], AfterValidator(_some)]
    mixes: list[MixIn] = Field(default_factory=list)
    injection: InjectionIn = InjectionIn()
    zones: dict[Key, ZoneIn] = Field(default_factory=dict)
    blocks: Annotated[dict[Key, BlockIn], AfterValidator(_some)]
    policy: dict[str, Any] = Field(default_factory=dict)
