"""What a person saw in the field, and what each kind means to the rules."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Sight(StrEnum):
    """Kinds of field observation."""

    LEACHING_RAIN = "leaching rain"
    WATERLOGGED = "waterlogged"
    COLD_SOIL = "cold soil"
    FROST = "frost"
    ROOT_DISEASE = "root disease"
    DRY_BED = "dry bed"
    SALTY_BED = "salty bed"
    SOFT_FRUIT = "soft fruit"
    GREY_MOULD = "grey mould"
    SOIL_NITRATE = "soil nitrate"
    OTHER = "other"


LIMITS_UPTAKE = frozenset(
    {Sight.WATERLOGGED, Sight.COLD_SOIL, Sight.FROST, Sight.ROOT_DISEASE, Sight.DRY_BED, Sight.SALTY_BED}
)
"""Conditions in which roots cannot take nitrogen up (common practice)."""

FRUIT_TROUBLE = frozenset({Sight.SOFT_FRUIT, Sight.GREY_MOULD})
"""Signs that extension advice links to too much nitrogen (SEFP-WATSON, UMASS); trials disagree."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One observation.

    Attributes:
        record: number of its record.
        block: block key.
        on: day it was seen.
        sight: its kind.
        value: soil NO3-N [ppm] for a soil nitrate test, else None.
        note: free text.
    """

    record: int
    block: str
    on: date
    sight: Sight
    value: float | None = None
    note: str = ""
