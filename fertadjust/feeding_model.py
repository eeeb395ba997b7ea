"""The shape of what ``season.toml`` says about feeding: products, mixes, tanks, injectors, zones, credits."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.products import NUTRIENTS
from fertadjust.strict import Strict

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]
Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False, strict=True)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False, strict=True)]
Minutes = Annotated[float, Field(gt=0, le=1440, allow_inf_nan=False, strict=True)]
SECONDARY = ("ca", "mg", "s", "b")
FORMS = ("nitrate_n", "ammonium_n", "urea_n")
SHARE_TOLERANCE = 1e-6


class ProductIn(Strict):
    """A product by its label, by a material that ships, or both: what the label says comes first."""

    name: str = ""
    material: str = ""
    grade: str | None = None
    share: Share = 0.0
    rate: Positive | None = None
    ca: Percent | None = None
    mg: Percent | None = None
    s: Percent | None = None
    b: Percent | None = None
    nitrate_n: Percent | None = None
    ammonium_n: Percent | None = None
    urea_n: Percent | None = None
    liquid: bool | None = None
    density: Positive | None = None
    solubility: Positive | None = None
    tank: Literal["A", "B"] | None = None
    package: Positive | None = None
    price: NotNegative | None = None
    on_hand: NotNegative = 0.0

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
        if not self.material and not (self.name and self.grade):
            raise ValueError("give name and grade from the label, or name a material: fertadjust materials list")
        if self.liquid and self.density is None and not self.material:
            raise ValueError("a liquid needs its density from the label, to measure it by volume")
        if self.liquid is False and self.density is not None:
            raise ValueError("density goes with a liquid")
        if self.density is not None and self.solubility is not None:
            raise ValueError("solubility goes with a dry product; a liquid is dissolved already")
        if self.price is not None and self.package is None:
            raise ValueError("price is that of one bag or jug: give package, its weight (a liquid's volume)")
        if self.rate is not None and self.share > 0:
            raise ValueError("give share (of the nitrogen) or rate (of the product), one of the two")
        return self

    @model_validator(mode="after")
    def _label(self) -> Self:
        if self.grade is None:
            return self
        percent = self.percent
        total = sum(percent.values())
        if total > 100:
            raise ValueError(f"the label adds up to {total:g} %, above 100 %")
        n, forms = percent["n"], [getattr(self, form) for form in FORMS]
        if self.nitrate_n is not None and self.nitrate_n > n:
            raise ValueError(f"nitrate_n {self.nitrate_n:g} % is above the total N of {n:g} %")
        named = sum(form for form in forms if form is not None)
        if named > n + SHARE_TOLERANCE:
            raise ValueError(f"the forms of nitrogen add up to {named:g} %, above the total N of {n:g} %")
        if None not in forms and abs(named - n) > SHARE_TOLERANCE:
            raise ValueError(f"the forms of nitrogen add up to {named:g} %, the total N is {n:g} %")
        if self.share > 0 and n == 0:
            raise ValueError(f"{self.grade} holds no nitrogen and cannot have a share of it")
        if self.rate is not None and n > 0:
            raise ValueError(f"{self.grade} holds nitrogen: give its share of it, not a rate")
        return self

    @property
    def percent(self) -> dict[str, float]:
        """What the label says, nutrient -> percent by weight; nitrogen always, others when there are any."""
        n, p2o5, k2o = (float(part) for part in (self.grade or "0-0-0").split("-"))
        all_ = {"n": n, "p2o5": p2o5, "k2o": k2o} | {key: getattr(self, key) or 0.0 for key in SECONDARY}
        return {key: all_[key] for key in NUTRIENTS if all_[key] > 0 or key == "n"}


Shares = dict[str, Share]


def _adds_up(shares: Shares) -> Shares:
    total = sum(shares.values())
    if abs(total - 1.0) > SHARE_TOLERANCE:
        raise ValueError(f"the shares of nitrogen add up to {total:g}; they should add up to 1")
    return shares


Mix = Annotated[Shares, AfterValidator(_adds_up)]


class MixIn(Strict):
    """Shares of the nitrogen from a week or a stage on, the same every week or in turn."""

    week: int | None = Field(default=None, ge=1, strict=True)
    stage: str | None = None
    shares: Mix | None = None
    in_turn: list[Mix] = Field(default_factory=list)
    rates: dict[str, Positive] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.week is None) == (self.stage is None):
            raise ValueError("give week or stage, from which on the mix feeds; one of the two")
        if (self.shares is None) == (not self.in_turn):
            raise ValueError("give shares for the same mix every week, or in_turn for mixes that alternate")
        return self

    @property
    def turns(self) -> list[Shares]:
        return self.in_turn if self.shares is None else [self.shares]


class InjectionIn(Strict):
    """Stock tanks and the injector."""

    water_temperature: float | None = Field(default=None, allow_inf_nan=False, strict=True)
    solubility_share: float = Field(default=0.8, gt=0, le=1, allow_inf_nan=False, strict=True)
    tank: Positive | None = None
    tanks: int = Field(default=2, ge=1, le=2, strict=True)
    pump_rate: Positive | None = None
    ratio: float | None = Field(default=None, gt=1, le=10_000, allow_inf_nan=False, strict=True)
    pressure_minutes: Minutes | None = None
    travel_minutes: Minutes | None = None
    inject_minutes: Minutes | None = None
    flush_minutes: Minutes | None = None
    days: list[Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]] = Field(default_factory=list)

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.pump_rate is not None and self.ratio is not None:
            raise ValueError("give pump_rate for a metering pump, or ratio for a proportional injector; not both")
        if len(set(self.days)) != len(self.days):
            raise ValueError("a day stands twice")
        return self


class ZoneIn(Strict):
    """What is irrigated together: blocks, or a part of one."""

    name: str = ""
    blocks: list[str] = Field(default_factory=list)
    parts: dict[str, Share] = Field(default_factory=dict)
    flow: Positive | None = None
    set_minutes: Minutes | None = None
    travel_minutes: Minutes | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        named = [*self.blocks, *self.parts]
        if not named:
            raise ValueError("name the blocks it waters, or parts of blocks such as parts = { north = 0.5 }")
        if len(set(named)) != len(named):
            raise ValueError("a block stands twice")
        if any(share == 0 for share in self.parts.values()):
            raise ValueError("the part of a block should be above 0")
        return self

    @property
    def waters(self) -> dict[str, float]:
        """Block -> the part of it that the zone waters, 1 for all of it."""
        return dict.fromkeys(self.blocks, 1.0) | self.parts


class CreditKind(StrEnum):
    """How a credit is worked out."""

    STATED = "stated"
    WATER = "water nitrate"
    COVER_CROP = "cover crop"
    COMPOST = "compost"
    SOIL = "soil nitrate"


_NEEDS: dict[CreditKind, tuple[str, ...]] = {
    CreditKind.STATED: ("n",),
    CreditKind.WATER: ("ppm", "depth"),
    CreditKind.COVER_CROP: ("n_percent", "dry_matter"),
    CreditKind.COMPOST: ("n_percent", "spread"),
    CreditKind.SOIL: ("ppm",),
}
_TAKES: dict[CreditKind, tuple[str, ...]] = {
    CreditKind.WATER: ("form",),
    CreditKind.SOIL: ("form", "depth"),
    CreditKind.COMPOST: ("first_year", "compost"),
}
_FIGURES = ("n", "ppm", "form", "depth", "n_percent", "dry_matter", "spread", "first_year", "compost")


class CreditIn(Strict):
    """Nitrogen from elsewhere, stated or worked out."""

    name: str = Field(min_length=1)
    kind: CreditKind = CreditKind.STATED
    n: NotNegative | None = None
    ppm: NotNegative | None = None
    form: Literal["NO3-N", "NO3"] | None = None
    depth: Positive | None = None
    n_percent: Percent | None = None
    dry_matter: NotNegative | None = None
    spread: NotNegative | None = None
    first_year: Share | None = None
    compost: Literal["manure", "manure compost", "plant compost"] | None = None
    source: str = NO_SOURCE
    evidence: Evidence = Evidence.OWN
    reduces: Literal["cap", "plan"] = "cap"
    weeks: Annotated[list[int], Field(min_length=2, max_length=2)] | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        needed, taken = _NEEDS[self.kind], _TAKES.get(self.kind, ())
        for key in _FIGURES:
            given = getattr(self, key) is not None
            if key in needed and not given:
                raise ValueError(
                    f'{key} is missing; a credit of kind "{self.kind.value}" needs {", ".join(needed)}'
                )
            if given and key not in (*needed, *taken):
                known = ", ".join((*needed, *taken))
                raise ValueError(f'{key} does not belong to kind "{self.kind.value}", which takes {known}')
        if self.kind is CreditKind.COMPOST and (self.first_year is None) == (self.compost is None):
            raise ValueError("give first_year, the share released in the first year, or compost, its kind")
        if self.weeks is not None and self.reduces == "cap":
            raise ValueError('weeks goes with reduces = "plan": the weeks whose planned nitrogen is lowered')
        if self.weeks is not None and not 1 <= self.weeks[0] <= self.weeks[1]:
            raise ValueError("weeks should be the first and the last one, such as [3, 12]")
        return self
