"""The shape of ``season.toml``: what a person may write, before it is checked as a whole."""

from __future__ import annotations

import re
from collections.abc import Sized
from datetime import date
from typing import Annotated, Any, Self, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, field_validator, model_validator

from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.field import AreaBasis
from fertadjust.strict import Strict
from fertadjust.units import UnitSystem

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]
Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False, strict=True)]
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


class CreditIn(Strict):
    name: str = Field(min_length=1)
    n: NotNegative
    source: str = NO_SOURCE
    evidence: Evidence = Evidence.OWN


class BlockIn(Strict):
    name: str = ""
    row_length: Positive
    rows: int = Field(ge=1, strict=True)
    bed_top_width: Positive
    bed_spacing: Positive
    area_basis: AreaBasis
    standard_spacing: Positive | None = None
    soil: str = ""
    cultivar: str = ""
    stages: StagesIn | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.bed_top_width > self.bed_spacing:
            raise ValueError(
                f"bed_top_width {self.bed_top_width:g} is wider than bed_spacing {self.bed_spacing:g}"
            )
        if self.area_basis is AreaBasis.LINEAR_BED and self.standard_spacing is None:
            raise ValueError('area_basis "linear_bed" needs standard_spacing')
        return self


class ProductIn(Strict):
    name: str = Field(min_length=1)
    grade: str
    share: float = Field(default=0.0, ge=0, le=1, allow_inf_nan=False, strict=True)
    ca: Percent = 0.0
    mg: Percent = 0.0
    s: Percent = 0.0
    nitrate_n: Percent | None = None
    density: Positive | None = None

    @field_validator("grade")
    @classmethod
    def _grade(cls, grade: str) -> str:
        try:
            parts = [float(part) for part in grade.split("-")]
        except ValueError:
            parts = []
        if len(parts) != 3 or any(not 0 <= part <= 100 for part in parts):
            raise ValueError(f'"{grade}" should be N-P2O5-K2O in percent, such as 13-0-45')
        if sum(parts) > 100:
            raise ValueError(f"{grade} adds up to {sum(parts):g} %, above 100 %")
        return grade

    @model_validator(mode="after")
    def _check(self) -> Self:
        n = self.percent["n"]
        total = sum(self.percent.values())
        if total > 100:
            raise ValueError(f"the label adds up to {total:g} %, above 100 %")
        if self.nitrate_n is not None and self.nitrate_n > n:
            raise ValueError(f"nitrate_n {self.nitrate_n:g} % is above the total N of {n:g} %")
        if self.share > 0 and n == 0:
            raise ValueError(f"{self.grade} holds no nitrogen and cannot have a share of it")
        return self

    @property
    def percent(self) -> dict[str, float]:
        n, p2o5, k2o = (float(part) for part in self.grade.split("-"))
        all_ = {"n": n, "p2o5": p2o5, "k2o": k2o, "ca": self.ca, "mg": self.mg, "s": self.s}
        return {key: value for key, value in all_.items() if value > 0 or key == "n"}


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
    blocks: Annotated[dict[Key, BlockIn], AfterValidator(_some)]
    policy: dict[str, Any] = Field(default_factory=dict)
