"""Tissue results: what was measured, in one unit per kind, and how believable it is.

Dry-weight and sap values are different scales and are never converted into each other (UF-CV004).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import lru_cache
from typing import Final

from fertadjust.errors import Fault, UserError
from fertadjust.units import PPM_PER_PERCENT, no3_to_no3n


class Tissue(StrEnum):
    PETIOLE = "petiole"
    LEAF = "leaf"


class Basis(StrEnum):
    DRY = "dry"
    """Per weight of dried tissue."""
    SAP = "sap"
    """Per volume of fresh petiole sap."""


class Censor(StrEnum):
    """A laboratory's "less than" or "more than": a bound, not a value."""

    NONE = ""
    BELOW = "<"
    ABOVE = ">"


class Method(StrEnum):
    LABORATORY = "laboratory"
    METER = "meter"
    """A hand-held ion-selective meter on undiluted sap."""
    METER_DILUTED = "meter-diluted"
    """The same meter on diluted sap."""


MAIN_ANALYTE: Final = {Tissue.PETIOLE: "NO3-N", Tissue.LEAF: "N"}
"""The nitrogen value that decides for each tissue."""

_PERCENT_ANALYTES: Final = ("N", "P", "K", "Ca", "Mg", "S")
_PPM_ANALYTES: Final = ("NO3-N", "PO4-P", "B", "Zn", "Mn", "Fe", "Cu")
ANALYTES: Final = (*_PPM_ANALYTES[:1], *_PERCENT_ANALYTES, *_PPM_ANALYTES[1:])
"""Analytes as the program stores them. "NO3" is accepted on entry and stored as NO3-N."""

_ANALYTE_SPELLINGS: Final = {name.upper().replace("-", ""): name for name in ANALYTES} | {
    "NO3": "NO3-N",
    "NITRATEN": "NO3-N",
    "TOTALN": "N",
}

_DRY_PPM_PER: Final = {"ppm": 1.0, "mg/kg": 1.0, "g/kg": 1000.0, "%": PPM_PER_PERCENT}
_SAP_MG_L_PER: Final = {"mg/L": 1.0, "ppm": 1.0, "g/L": 1000.0}
_UNIT_SPELLINGS: Final = {unit.lower(): unit for unit in (*_DRY_PPM_PER, *_SAP_MG_L_PER)} | {
    "percent": "%",
    "pct": "%",
    "mg/l": "mg/L",
    "g/l": "g/L",
}

# Widest values that a person would believe without a second look, in the stored unit. The limits are the
# program's own and only ask a question; they never change a value.
_BELIEVABLE: Final[dict[tuple[Tissue, Basis, str], tuple[float, float]]] = {
    (Tissue.PETIOLE, Basis.DRY, "NO3-N"): (50.0, 30_000.0),
    (Tissue.PETIOLE, Basis.SAP, "NO3-N"): (20.0, 3_000.0),
    (Tissue.LEAF, Basis.DRY, "NO3-N"): (10.0, 20_000.0),
    (Tissue.LEAF, Basis.DRY, "N"): (0.8, 7.0),
    (Tissue.LEAF, Basis.DRY, "P"): (0.05, 1.5),
    (Tissue.LEAF, Basis.DRY, "K"): (0.2, 7.0),
    (Tissue.LEAF, Basis.DRY, "Ca"): (0.1, 6.0),
    (Tissue.LEAF, Basis.DRY, "Mg"): (0.05, 2.0),
    (Tissue.LEAF, Basis.DRY, "S"): (0.03, 1.5),
    (Tissue.LEAF, Basis.DRY, "B"): (3.0, 400.0),
}
_SAP_LIKE_MG_L: Final = (100.0, 1_600.0)
_SAP_LIKE_SHARE: Final = 1 / 3


_THOUSANDS: Final = re.compile(r"^[1-9]\d{0,2}(,\d{3})+(\.\d*)?$")


@dataclass(frozen=True, slots=True)
class TissueResult:
    """One analyte of one sample, in the stored unit of its kind.

    Attributes:
        record: number of the record it came from (0 when it is not recorded).
        block: block key.
        sampled: day the tissue was taken.
        received: day the result reached the grower, or None when not noted.
        tissue, basis, analyte: the kind; a band table must match all three.
        value: [ppm dry, % dry, or mg/L sap]; the bound itself when censored.
        censor: "<" or ">" when the laboratory gave a bound.
        petioles: number of petioles or leaves in the sample, or None.
        method: laboratory, or meter on undiluted or diluted sap.
        laboratory, sample_id, note: as reported.
        reported: the value as it stood on the report, with unit.
    """

    record: int
    block: str
    sampled: date
    received: date | None
    tissue: Tissue
    basis: Basis
    analyte: str
    value: float
    censor: Censor = Censor.NONE
    petioles: int | None = None
    method: Method = Method.LABORATORY
    laboratory: str = ""
    sample_id: str = ""
    note: str = ""
    reported: str = ""

    @property
    def known_on(self) -> date:
        """First day the result can have played a part: received, or sampled when that was not noted."""
        return self.received or self.sampled

    @property
    def unit(self) -> str:
        return stored_unit(self.basis, self.analyte)

    @property
    def kind(self) -> str:
        """The kind in words, for example "petiole NO3-N, dry weight"."""
        return kind_words(self.tissue, self.basis, self.analyte)

    def text(self) -> str:
        """The value as people write it, for example "<10 ppm" or "3.10 %"."""
        return f"{self.censor.value}{format_value(self.value, self.unit)} {self.unit}"


def kind_words(tissue: Tissue, basis: Basis, analyte: str) -> str:
    """A kind of result in words, for example "petiole NO3-N, dry weight"."""
    return f"{tissue.value} {analyte}, {'dry weight' if basis is Basis.DRY else 'fresh sap'}"


def stored_unit(basis: Basis, analyte: str) -> str:
    """Unit that a kind is stored and compared in: mg/L for sap, % or ppm for dry tissue."""
    if basis is Basis.SAP:
        return "mg/L"
    return "%" if analyte in _PERCENT_ANALYTES else "ppm"


def format_value(value: float, unit: str) -> str:
    """A tissue value for people: two decimals for %, whole numbers with commas otherwise."""
    if unit == "%":
        return f"{value:.2f}"
    return f"{value:,.0f}" if value >= 10 else f"{value:.3g}"


def to_stored(value: float, unit: str, analyte: str, basis: Basis) -> tuple[str, float]:
    """Convert a reported value to (stored analyte, value in the stored unit).

    Raises:
        UserError: an analyte or a unit that the basis does not know.

    >>> to_stored(1.0, "%", "NO3-N", Basis.DRY)
    ('NO3-N', 10000.0)
    >>> to_stored(45.0, "mg/L", "NO3", Basis.SAP)[0]
    'NO3-N'
    """
    factors = _DRY_PPM_PER if basis is Basis.DRY else _SAP_MG_L_PER
    spelled = _UNIT_SPELLINGS.get(unit.strip().lower())
    if spelled is None or spelled not in factors:
        what = "dry tissue" if basis is Basis.DRY else "sap"
        raise UserError(Fault(f'"{unit}" is not a unit of {what}; use {", ".join(factors)}', key="unit"))
    stored = canonical_analyte(analyte)
    amount = value * factors[spelled]
    if stored == "NO3-N" and _plain(analyte) == "NO3":
        amount = no3_to_no3n(amount)
    if basis is Basis.DRY and stored in _PERCENT_ANALYTES:
        amount /= PPM_PER_PERCENT
    return stored, amount


@lru_cache(maxsize=1024)
def canonical_analyte(analyte: str) -> str:
    """The stored name of an analyte as people write it ("no3n", "Nitrate-N", "b").

    Raises:
        UserError: an analyte the program does not know.
    """
    plain = _plain(analyte)
    if plain == "NITRATE":
        raise UserError(
            Fault('"nitrate" can mean NO3 or NO3-N, a factor of 4.43: write NO3 or NO3-N', key="analyte")
        )
    if plain not in _ANALYTE_SPELLINGS:
        raise UserError(
            Fault(f'"{analyte}" is not a known analyte; use NO3, {", ".join(ANALYTES)}', key="analyte")
        )
    return _ANALYTE_SPELLINGS[plain]


def _plain(analyte: str) -> str:
    return re.sub(r"[\s_-]", "", analyte).upper()


def parse_value(text: str) -> tuple[Censor, float]:
    """Read a value as a laboratory prints it: "4200", "4,200", "<10", "> 5000".

    Raises:
        UserError: not a number, not finite, or not above zero.
    """
    plain = text.strip()
    censor = Censor.NONE
    if plain[:1] in ("<", ">"):
        censor = Censor(plain[0])
        plain = plain[1:].strip()
    if _THOUSANDS.match(plain):
        plain = plain.replace(",", "")
    try:
        value = float(plain)
    except ValueError:
        raise UserError(
            Fault(f'"{text}" is not a value; write a number such as 4200, or <10 or >5000', key="value")
        ) from None
    if not math.isfinite(value):
        raise UserError(Fault(f'"{text}" is not a finite number', key="value"))
    if value < 0:
        raise UserError(Fault(f"{text} is below zero; a concentration is above zero", key="value"))
    if value == 0:
        raise UserError(
            Fault(
                "0 is no measured value; enter the laboratory's reporting limit as a bound, such as <10",
                key="value",
            )
        )
    return censor, value


def implausible(result: TissueResult, band_low: float | None = None) -> list[str]:
    """Questions that a careful person would ask about a result, empty when there are none.

    Args:
        result: the result, in the stored unit.
        band_low: low edge of the band of its own kind on its date, when one is known.
    """
    questions: list[str] = []
    limits = _BELIEVABLE.get((result.tissue, result.basis, result.analyte))
    if limits is not None:
        low, high = limits
        outside = (result.value < low and result.censor is not Censor.BELOW) or (
            result.value > high and result.censor is not Censor.ABOVE
        )
        if outside:
            questions.append(
                f"{result.text()} is unusual for {result.kind}: most lie between "
                f"{format_value(low, result.unit)} and {format_value(high, result.unit)} {result.unit}"
            )
    if (
        band_low is not None
        and result.tissue is Tissue.PETIOLE
        and result.basis is Basis.DRY
        and result.analyte == "NO3-N"
        and result.censor is Censor.NONE
        and _SAP_LIKE_MG_L[0] <= result.value <= _SAP_LIKE_MG_L[1]
        and result.value < _SAP_LIKE_SHARE * band_low
    ):
        questions.append(
            f"{result.text()} as dry weight is far below the band (from {band_low:,.0f}) and looks like a sap "
            "reading in mg/L: is it dry weight?"
        )
    return questions
