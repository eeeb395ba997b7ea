"""Soluble fertilizers as data: grades, forms of nitrogen, density, solubility, salt index, each with its source.

The figures are typical ones; those of a label go before them. Reading files is not done here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, model_validator

from fertadjust.errors import PlacedError, UserError
from fertadjust.evidence import Evidence, split_sources
from fertadjust.strict import Strict
from fertadjust.units import LB_GAL_PER_KG_L, UnitSystem

FORMS_AGREE_WITHIN: Final = 0.1
"""Percentage points by which the forms of nitrogen may miss the total; printed figures are rounded that far."""

CLOSE_NAMES: Final = 6
"""Most names to propose for one that is not known."""

_CONFIDENCE = re.compile(r"\bconfidence (high|medium|low)\b", re.IGNORECASE)

Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False, strict=True)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True)]
Temperature = Annotated[float, Field(allow_inf_nan=False, strict=True)]


@dataclass(frozen=True, slots=True)
class Solubility:
    """How much of a product a stock solution can hold.

    A solution in water is never lighter than water, so kilograms in a kilogram of solution are a safe lower limit
    of kilograms in a litre of it; no density of the solution is needed.

    Attributes:
        rows: (temperature [deg C], product in solution at saturation [kg per kg of solution]), rising temperature.
        source, evidence: where the rows come from.
        note: what a reader should know, or "".
    """

    rows: tuple[tuple[float, float], ...]
    source: str
    evidence: Evidence
    note: str = ""

    def limit_lb_gal(self, celsius: float) -> float:
        """Most product that a gallon of stock holds [lb/gal], linear between the rows; on the safe side.

        Args:
            celsius: temperature of the stock at its coldest [deg C]; the end rows belong to the range.

        Raises:
            UserError: the rows do not reach the temperature.

        >>> table = Solubility(((0.0, 0.10), (20.0, 0.30)), "none", Evidence.OWN)
        >>> round(table.limit_lb_gal(10.0), 4)
        1.6691
        """
        coldest, warmest = self.rows[0][0], self.rows[-1][0]
        if not coldest <= celsius <= warmest:
            raise UserError(
                f"solubility is known from {_in_both(coldest)} to {_in_both(warmest)}, not at "
                f"{_in_both(celsius)}; give a temperature in that range"
            )
        after = next(index for index, (place, _) in enumerate(self.rows) if place >= celsius)
        place, share = self.rows[after]
        if after > 0:
            before, held = self.rows[after - 1]
            share = held + (share - held) * (celsius - before) / (place - before)
        return share * LB_GAL_PER_KG_L


def _in_both(celsius: float) -> str:
    """A temperature [deg C] in both units, for example "5 °C (41 °F)"."""
    return f"{celsius:g} °C ({UnitSystem.US.temperature_out(celsius):g} °F)"


class Figures(Strict):
    """Figures that share what backs them. A recalled one says in its note how sure it is."""

    source: str = Field(min_length=1)
    evidence: Evidence
    note: str = ""

    @model_validator(mode="after")
    def _backed(self) -> Self:
        keys = split_sources(self.source)
        if self.evidence in (Evidence.PUBLISHED, Evidence.DERIVED) and not keys:
            raise ValueError(f'evidence "{self.evidence.value}" needs a source, a key of the citations')
        if self.evidence is Evidence.RECALLED and not _CONFIDENCE.search(self.note):
            raise ValueError('evidence "recalled" needs a note with "confidence high", "medium" or "low"')
        return self


class Analysis(Figures):
    """The grade: total N, available P2O5 and soluble K2O [percent by weight]."""

    n: Percent = 0.0
    p2o5: Percent = 0.0
    k2o: Percent = 0.0


class Secondary(Figures):
    """Other nutrients, as elements [percent by weight]."""

    ca: Percent = 0.0
    mg: Percent = 0.0
    s: Percent = 0.0
    b: Percent = 0.0


class Forms(Figures):
    """Forms of the nitrogen, each as N [percent by weight of the product]."""

    nitrate: Percent = 0.0
    ammonium: Percent = 0.0
    urea: Percent = 0.0


class Density(Figures):
    """Density of a liquid [lb per US gal]."""

    lb_gal: Positive


class SaltIndex(Figures):
    """Salt index of equal weights of material; sodium nitrate is 100. Other lists use another scale."""

    value: Positive


class SolubilityTable(Figures):
    """Solubility as printed, with its unit.

    Attributes:
        unit: "mass percent" of the solute in the saturated solution, or "g/kg water".
        rows: (temperature [deg C], value in that unit), rising temperature, two or more.
        crystal_water: crystal water of the product [percent by weight], where the solute printed is the anhydrous
            salt and the product is a hydrate.
    """

    unit: Literal["mass percent", "g/kg water"]
    rows: tuple[tuple[Temperature, Positive], ...] = Field(min_length=2)
    crystal_water: Annotated[float, Field(ge=0, lt=100, allow_inf_nan=False, strict=True)] = 0.0

    @model_validator(mode="after")
    def _check(self) -> Self:
        for (earlier, _), (later, _) in pairwise(self.rows):
            if earlier >= later:
                raise ValueError(f"rows: {later:g} °C stands after {earlier:g} °C; temperatures should rise")
        if self.crystal_water and self.unit != "mass percent":
            raise ValueError('crystal_water goes with unit "mass percent" of the anhydrous salt')
        if self.crystal_water and self.evidence is Evidence.PUBLISHED:
            raise ValueError("figures converted for crystal_water are not as printed: evidence is derived")
        for celsius, value in self.rows:
            if self._share(value) >= 1:
                raise ValueError(f"rows: {value:g} {self.unit} at {celsius:g} °C is more product than solution")
        return self

    def _share(self, value: float) -> float:
        """A printed value -> kg of product per kg of solution.

        w / 100 / (1 - crystal water / 100) for a mass percent w; g / (1000 + g) for g per kg of water.
        """
        if self.unit == "mass percent":
            return value / 100.0 / (1.0 - self.crystal_water / 100.0)
        return value / (1000.0 + value)

    def used(self) -> Solubility:
        """The table per kilogram of solution, of the product as it is weighed."""
        rows = tuple((celsius, self._share(value)) for celsius, value in self.rows)
        return Solubility(rows, self.source, self.evidence, self.note)


class Material(Strict):
    """A soluble fertilizer by its generic name, with typical figures.

    Attributes:
        id: short name, for example "calcium_nitrate".
        name: generic name in words.
        liquid: sold as a liquid: has a density and no solubility.
        drip: whether it may go into drip lines at all.
        note: what holds for the whole material.
        analysis, secondary, forms, density, salt_index, solubility: figures, None where none is known.
    """

    id: str = Field(pattern=r"^[a-z0-9][a-z0-9_]*$")
    name: str = Field(min_length=1)
    liquid: bool = False
    drip: bool = True
    note: str = ""
    analysis: Analysis | None = None
    secondary: Secondary | None = None
    forms: Forms | None = None
    density: Density | None = None
    salt_index: SaltIndex | None = None
    solubility: SolubilityTable | None = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if len(self.percent) == 1 and self.percent["n"] == 0:
            raise ValueError("analysis or secondary should state at least one nutrient")
        total = sum(self.percent.values())
        if total > 100:
            raise ValueError(f"the nutrients add up to {total:g} %; no more than 100 % is possible")
        if self.forms is not None:
            forms = self.forms.nitrate + self.forms.ammonium + self.forms.urea
            if abs(forms - self.percent["n"]) > FORMS_AGREE_WITHIN:
                raise ValueError(
                    f"the forms of nitrogen add up to {forms:g} %, the total N is {self.percent['n']:g} %; they "
                    f"should agree within {FORMS_AGREE_WITHIN:g} percentage points"
                )
        if self.liquid and self.solubility is not None:
            raise ValueError("a liquid has no solubility: it is a solution already")
        if self.liquid and self.density is None and not self.note:
            raise ValueError("a liquid needs a density, or a note that says where to take it from")
        if not self.liquid and self.density is not None:
            raise ValueError("a dry product has no density; set liquid = true if it is one")
        return self

    @property
    def percent(self) -> dict[str, float]:
        """Nutrient -> percent by weight; "n" always, the others where there is any."""
        grade, other = self.analysis, self.secondary
        out = {"n": 0.0 if grade is None else grade.n}
        if grade is not None:
            out |= {"p2o5": grade.p2o5, "k2o": grade.k2o}
        if other is not None:
            out |= {"ca": other.ca, "mg": other.mg, "s": other.s, "b": other.b}
        return {key: value for key, value in out.items() if value > 0 or key == "n"}

    @property
    def grade(self) -> str:
        """N-P2O5-K2O as printed on a label, for example "15.5-0-0"."""
        return "-".join(f"{self.percent.get(key, 0.0):g}" for key in ("n", "p2o5", "k2o"))

    def used_solubility(self) -> Solubility | None:
        """How much of the product water dissolves; None for a liquid and where no figure is known."""
        return None if self.solubility is None else self.solubility.used()

    def groups(self) -> dict[str, Figures]:
        """The groups of figures that the material has, by name, in the order of a label."""
        found = (
            ("analysis", self.analysis),
            ("secondary", self.secondary),
            ("forms", self.forms),
            ("density", self.density),
            ("solubility", self.solubility),
            ("salt_index", self.salt_index),
        )
        return {name: group for name, group in found if group is not None}

    @property
    def recalled(self) -> bool:
        """Whether any of its figures is from memory."""
        return any(group.evidence is Evidence.RECALLED for group in self.groups().values())

    def as_data(self) -> dict[str, Any]:
        """Plain data that `Material.model_validate` takes back."""
        return self.model_dump(mode="json", exclude_none=True)

    def called(self) -> set[str]:
        """What it answers to, as `plain_name` writes it: id, name, and a name without or from its brackets."""
        bracketed = re.findall(r"\(([^)]*)\)", self.name)
        bare = re.sub(r"\([^)]*\)", "", self.name)
        return {plain_name(text) for text in (self.id, self.name, bare, *bracketed)}


class MaterialFile(Strict):
    """A file of materials."""

    schema_: Literal[1] = Field(alias="schema")
    materials: tuple[Material, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _check(self) -> Self:
        faults = list(self._clashes())
        if faults:
            raise PlacedError(faults)
        return self

    def _clashes(self) -> Iterator[tuple[tuple[str | int, ...], str]]:
        seen: dict[str, str] = {}
        for index, material in enumerate(self.materials):
            for clash in sorted(material.called() & seen.keys()):
                message = f'"{clash}" means {seen[clash]} already; give {material.id} another name'
                yield ("materials", index), message
            seen |= dict.fromkeys(material.called(), material.id)


def plain_name(text: str) -> str:
    """A name without regard to capitals, blanks and marks.

    >>> plain_name(" Calcium nitrate, 15.5-0-0")
    'calciumnitrate15500'
    """
    return re.sub(r"[^a-z0-9]", "", text.casefold())


def find_material(wanted: str, materials: Mapping[str, Material]) -> Material:
    """The material of an id or a name.

    Args:
        wanted: "calcium_nitrate", "Calcium nitrate", "MAP".
        materials: id -> material.

    Raises:
        UserError: there is none; with those of a like name, or all.
    """
    names = {name: material for material in materials.values() for name in material.called()}
    plain = plain_name(wanted)
    if plain in names:
        return names[plain]
    holding = [name for name in names if plain and plain in name]
    near = [names[name].id for name in [*get_close_matches(plain, names, n=CLOSE_NAMES), *sorted(holding)]]
    close = list(dict.fromkeys(near))[:CLOSE_NAMES]
    hint = f"near it: {', '.join(close)}" if close else f"known: {', '.join(materials)}"
    raise UserError(f'there is no material "{wanted}"; {hint}')
