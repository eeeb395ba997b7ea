"""How uncertain a tissue result is: a budget of named parts, each with its source."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

from fertadjust.evidence import Evidence
from fertadjust.units import PPM_PER_PERCENT

REPEATABILITY_FACTOR: Final = 2.8
"""Repeatability limit r = 2.8 s_r (ISO-5725)."""


class UncertaintyPart(NamedTuple):
    """One named part of a result's relative standard uncertainty."""

    name: str
    relative: float
    source: str
    evidence: Evidence


def horwitz_relative(mass_fraction: float) -> float:
    """Between-laboratory relative standard deviation by the Horwitz relation.

    RSD_R = 2^(1 - 0.5 log10 C) percent, C the mass fraction [kg/kg], 0 < C <= 1 (HORWITZ-1988).

    >>> round(100 * horwitz_relative(1000e-6), 2)
    5.66
    """
    return 2 ** (1 - 0.5 * math.log10(mass_fraction)) / 100


def mass_fraction(value: float, unit: str) -> float:
    """A stored value as a mass fraction [kg/kg]; sap counts as 1 kg per litre (common practice)."""
    ppm = value * PPM_PER_PERCENT if unit == "%" else value
    return min(ppm * 1e-6, 1.0)


def combined(relatives: Iterable[float]) -> float:
    """Independent relative parts added in quadrature (JCGM-100, recalled).

    >>> round(100 * combined([0.06, 0.055, 0.10]), 2)
    12.89
    """
    return math.sqrt(sum(part * part for part in relatives))


def log_sd(relative: float) -> float:
    """Standard deviation of ln(value) for a lognormal result with this relative standard uncertainty."""
    return math.sqrt(math.log1p(relative * relative))


def repeatability_limit(relative: float, within_laboratory: float) -> float:
    """Largest believable difference of two results of one laboratory, as a share of their mean.

    r = 2.8 s_r (ISO-5725), s_r being ``within_laboratory`` times the relative deviation between laboratories (1/2
    to 2/3 of it, HORWITZ-1988).

    >>> round(repeatability_limit(horwitz_relative(1000e-6), 2 / 3), 3)
    0.106
    """
    return REPEATABILITY_FACTOR * within_laboratory * relative
