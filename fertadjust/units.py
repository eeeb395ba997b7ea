"""Unit factors and conversions, each with its source. No other module holds a conversion factor.

Inside the program one unit serves each quantity: lb per acre and week for nitrogen rates, acres for area,
feet for lengths, pounds for weights, US gallons for volumes. Metric numbers are converted at the edges.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

FT2_PER_ACRE: Final = 43_560.0
"""Square feet in an acre; exact (common practice; also printed in LBF-VGN-2021)."""

M_PER_FT: Final = 0.3048
"""Metres in an international foot; exact by definition."""

KG_PER_LB: Final = 0.45359237
"""Kilograms in an avoirdupois pound; exact by definition."""

L_PER_GAL: Final = 3.785411784
"""Litres in a US gallon; exact by definition."""

M2_PER_HA: Final = 10_000.0
"""Square metres in a hectare; exact by definition."""

HA_PER_ACRE: Final = FT2_PER_ACRE * M_PER_FT**2 / M2_PER_HA
"""Hectares in an international acre, 0.40468564; derived. The US survey acre is 4 ppm larger."""

KG_HA_PER_LB_AC: Final = KG_PER_LB / HA_PER_ACRE
"""kg/ha in one lb/ac, 1.120851; derived from the exact definitions."""

N_ATOMIC_MASS: Final = 14.0067
NO3_MOLAR_MASS: Final = 62.0049
NO3_TO_NO3N: Final = N_ATOMIC_MASS / NO3_MOLAR_MASS
"""Mass of N in a mass of nitrate, 0.225897 (molar masses; 1/4.43 is printed in UF-CV004)."""

P2O5_TO_P: Final = 2 * 30.974 / (2 * 30.974 + 5 * 15.999)
"""0.43643, IUPAC conventional atomic weights."""

K2O_TO_K: Final = 2 * 39.098 / (2 * 39.098 + 15.999)
"""0.83015, IUPAC conventional atomic weights."""

PPM_PER_PERCENT: Final = 10_000.0
"""mg/kg in one percent by weight; exact."""

DAYS_PER_WEEK: Final = 7

MINUTES_PER_HOUR: Final = 60.0

LB_GAL_PER_KG_L: Final = L_PER_GAL / KG_PER_LB
"""lb per US gal in one kg/L, 8.345404; derived from the exact definitions."""

MG_PER_LB: Final = KG_PER_LB * 1e6
"""Milligrams in a pound; exact by definition."""

M_PER_IN: Final = 0.0254
"""Metres in an inch; exact by definition."""

LB_PER_TON: Final = 2000.0
"""Pounds in a US (short) ton; exact by definition."""


class UnitSystem(StrEnum):
    """The units that a season file is written in and that the output shows."""

    US = "us"
    METRIC = "metric"

    @property
    def rate_unit(self) -> str:
        """Unit of a weekly nitrogen rate."""
        return "lb N/ac/week" if self is UnitSystem.US else "kg N/ha/week"

    @property
    def total_unit(self) -> str:
        """Unit of a nitrogen total per area."""
        return "lb N/ac" if self is UnitSystem.US else "kg N/ha"

    @property
    def weight_unit(self) -> str:
        return "lb" if self is UnitSystem.US else "kg"

    @property
    def volume_unit(self) -> str:
        return "gal" if self is UnitSystem.US else "L"

    @property
    def length_unit(self) -> str:
        return "ft" if self is UnitSystem.US else "m"

    @property
    def area_unit(self) -> str:
        return "ac" if self is UnitSystem.US else "ha"

    @property
    def density_unit(self) -> str:
        """Unit of a density or of the strength of a stock solution."""
        return "lb/gal" if self is UnitSystem.US else "kg/L"

    @property
    def flow_unit(self) -> str:
        return "gal/h" if self is UnitSystem.US else "L/h"

    @property
    def temperature_unit(self) -> str:
        return "°F" if self is UnitSystem.US else "°C"

    @property
    def depth_unit(self) -> str:
        """Unit of a depth of water or soil."""
        return "in" if self is UnitSystem.US else "mm"

    @property
    def bulk_unit(self) -> str:
        """Unit of what is spread by the load: compost, dry matter of a cover crop."""
        return "ton/ac" if self is UnitSystem.US else "t/ha"

    def rate_in(self, value: float) -> float:
        """A rate or total in this system's unit -> lb/ac."""
        return value if self is UnitSystem.US else value / KG_HA_PER_LB_AC

    def rate_out(self, lb_ac: float) -> float:
        """lb/ac -> this system's unit."""
        return lb_ac if self is UnitSystem.US else lb_ac * KG_HA_PER_LB_AC

    def length_in(self, value: float) -> float:
        """A length in this system's unit -> ft."""
        return value if self is UnitSystem.US else value / M_PER_FT

    def length_out(self, ft: float) -> float:
        return ft if self is UnitSystem.US else ft * M_PER_FT

    def area_out(self, acres: float) -> float:
        return acres if self is UnitSystem.US else acres * HA_PER_ACRE

    def weight_in(self, value: float) -> float:
        """A weight in this system's unit -> lb."""
        return value if self is UnitSystem.US else value / KG_PER_LB

    def weight_out(self, lb: float) -> float:
        return lb if self is UnitSystem.US else lb * KG_PER_LB

    def volume_in(self, value: float) -> float:
        """A volume in this system's unit -> US gal."""
        return value if self is UnitSystem.US else value / L_PER_GAL

    def volume_out(self, gal: float) -> float:
        return gal if self is UnitSystem.US else gal * L_PER_GAL

    def density_in(self, value: float) -> float:
        """A density in lb/gal (US) or kg/L (metric) -> lb/gal."""
        return value if self is UnitSystem.US else value * LB_GAL_PER_KG_L

    def density_out(self, lb_gal: float) -> float:
        return lb_gal if self is UnitSystem.US else lb_gal / LB_GAL_PER_KG_L

    def temperature_in(self, value: float) -> float:
        """A temperature in °F (US) or °C (metric) -> °C."""
        return (value - 32.0) / 1.8 if self is UnitSystem.US else value

    def temperature_out(self, celsius: float) -> float:
        return celsius * 1.8 + 32.0 if self is UnitSystem.US else celsius

    def depth_in(self, value: float) -> float:
        """A depth in inches (US) or mm (metric) -> inches."""
        return value if self is UnitSystem.US else value / 1000.0 / M_PER_IN

    def depth_out(self, inches: float) -> float:
        return inches if self is UnitSystem.US else inches * M_PER_IN * 1000.0

    def bulk_in(self, value: float) -> float:
        """US tons per acre, or tonnes per hectare (metric) -> US tons per acre."""
        return value if self is UnitSystem.US else value * 1000.0 / KG_HA_PER_LB_AC / LB_PER_TON

    def bulk_out(self, ton_ac: float) -> float:
        return ton_ac if self is UnitSystem.US else ton_ac * LB_PER_TON * KG_HA_PER_LB_AC / 1000.0


def no3_to_no3n(nitrate: float) -> float:
    """Nitrate as NO3 -> as NO3-N, the same mass unit.

    >>> round(no3_to_no3n(45.0), 2)
    10.17
    """
    return nitrate * NO3_TO_NO3N
