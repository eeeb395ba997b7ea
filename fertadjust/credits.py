"""Nitrogen credits: what water, cover crops, compost and soil bring, and planned rates lowered by it.

Every credit is a line of its own with its arithmetic, its source and what is uncertain about it. Depths come in
inches and bulk goods in US tons per acre; `units` are those of the reader, which the arithmetic is written in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fertadjust.errors import Fault, UserError
from fertadjust.evidence import OWN_SOURCE, Evidence
from fertadjust.units import (
    KG_HA_PER_LB_AC,
    LB_PER_TON,
    M2_PER_HA,
    M_PER_IN,
    NO3_TO_NO3N,
    PPM_PER_PERCENT,
    UnitSystem,
    no3_to_no3n,
)

WATER_KG_M3: Final = 1000.0
"""Weight of a cubic metre of irrigation water [kg]; at this density ppm and mg/L are the same."""

WATER_LB_AC_PER_PPM_IN: Final = M_PER_IN * M2_PER_HA * WATER_KG_M3 / (100.0 * PPM_PER_PERCENT) / KG_HA_PER_LB_AC
"""N [lb/ac] in one inch of water at 1 ppm N, 0.226613; derived (UC-N-WATER prints 0.227)."""

SOIL_LB_AC_PER_PPM_IN: Final = 1.0 / 3.0
"""N [lb/ac] in one inch of soil at 1 ppm N (PURDUE-SOIL-N); implies a bulk density of 1.47 g/cm3."""

COVER_NONE_PERCENT: Final = 1.5
"""N of dry matter [%] below which a cover crop gives little or no available nitrogen (PNW-636)."""

COVER_FULL_PERCENT: Final = 3.5
"""N of dry matter [%] at the upper printed point (PNW-636); beyond it nothing is extrapolated."""

COVER_FULL_LB_TON: Final = 35.0
"""Available nitrogen at that point [lb per US ton of dry matter] (PNW-636)."""

COVER_LB_TON_PER_PERCENT: Final = COVER_FULL_LB_TON / (COVER_FULL_PERCENT - COVER_NONE_PERCENT)
"""17.5 lb per ton for each percent above the lower point; derived."""

MOST_N_PERCENT: Final = 10.0
"""N of dry matter [%] above which a figure for a cover crop or compost is taken for a slip."""

TOP_FOOT_IN: Final = 12.0
"""Usual depth of a soil nitrate sample [in]."""

_NOTHING: Final = 1e-9
"""Nitrogen [lb/ac] that is what rounding leaves of zero."""


class NitrateForm(StrEnum):
    """What a laboratory's ppm of nitrate stands for; the two differ by a factor of 4.43."""

    NO3_N = "NO3-N"
    NO3 = "NO3"


class CompostKind(StrEnum):
    """Kinds of compost with a published share of organic nitrogen that is released."""

    MANURE = "manure"
    MANURE_COMPOST = "manure compost"
    PLANT_COMPOST = "plant compost"


COMPOST_SHARE: Final = {
    CompostKind.MANURE: 0.16,
    CompostKind.MANURE_COMPOST: 0.07,
    CompostKind.PLANT_COMPOST: 0.01,
}
"""Share of organic nitrogen released in 12 weeks at 25 deg C (HARTZ-COMPOST-2000, abstract)."""


@dataclass(frozen=True, slots=True)
class CreditLine:
    """One credit as it is shown.

    Attributes:
        name: what it is.
        n_lb_ac: nitrogen credited [lb/ac].
        arithmetic: how it was computed, in the reader's units.
        source, evidence: where the figure comes from.
        cautions: what is uncertain about it, each a sentence with its source key.
        caution_source: the keys that the cautions name, as one source field.
    """

    name: str
    n_lb_ac: float
    arithmetic: str
    source: str
    evidence: Evidence
    cautions: tuple[str, ...] = ()
    caution_source: str = ""


_Cautions = tuple[tuple[str, str], ...]

_WATER: Final[_Cautions] = (
    ("Do not credit water applied beyond what the crop uses.", "UC-N-WATER"),
    ("Sample after the pump has run at least 24 hours in the irrigation season.", "NPPNRD"),
    ("Counted in full, as good as fertilizer nitrogen; crops took up about 80 % of it.", "CAHN-WATER"),
)
_COVER: Final[_Cautions] = (
    ("Release is uncertain: most of it comes within 4 to 6 weeks of kill.", "PNW-636"),
    ("The line holds for western Oregon and Washington.", "PNW-636"),
)
_COVER_LOW: Final = (f"Below {COVER_NONE_PERCENT:g} % N little or none is released; it may tie N up.", "PNW-636")
_COVER_HIGH: Final = (f"Above {COVER_FULL_PERCENT:g} % N no more is credited: nothing is extrapolated.", "PNW-636")
_COMPOST: Final[_Cautions] = (
    ("Release is uncertain: 11 to 29 % of total N came in 32 weeks at 30 °C in a laboratory.", "HADAS-1994"),
    ("In another trial 13 to 23 % came in 3 to 4 years. Have each batch analysed.", "HORROCKS-2016"),
    ("Compost with a C:N above 30 may tie up nitrogen instead.", "CLEMSON-COMPOST"),
    ("N and amount are to be on one basis, both dry or both as spread.", ""),
)
_COMPOST_KIND: Final = ("The share is of organic N released in 12 weeks at 25 °C.", "HARTZ-COMPOST-2000")
_SOIL: Final[_Cautions] = (
    ("A bulk density of 1.47 g/cm3 is implied; that of your texture may differ.", "PURDUE-SOIL-N"),
    ("Up to a quarter more per ppm is printed elsewhere.", "UC-SOIL-NO3"),
    ("Correct a quick test for texture, moisture and bulk density first.", "FREP-QUICK-TEST"),
    ("What the soil releases later is uncertain and not in this figure.", "OSU-EM9281"),
)


def water_nitrate(ppm: float, depth_in: float, *, form: NitrateForm, units: UnitSystem) -> CreditLine:
    """Nitrate that comes with irrigation water: ppm NO3-N x depth x 0.226613 lb/ac.

    Args:
        ppm: nitrate in the water [ppm, the same as mg/L], in the form given.
        depth_in: water that the crop uses [in].
        form: what the ppm stand for.

    Raises:
        UserError: a negative number or one that is not finite.

    Source: derived from unit definitions; UC-N-WATER prints 0.227.

    >>> water_nitrate(12.0, 10.0, form=NitrateForm.NO3_N, units=UnitSystem.US).arithmetic
    '12 ppm NO3-N × 10 in × 0.2266 = 27.2 lb N/ac'
    """
    _refuse(
        _not_negative(ppm, "nitrate", f"ppm {form}"),
        _not_negative(units.depth_out(depth_in), "depth of water", units.depth_unit),
    )
    n_lb_ac = _as_no3n(ppm, form) * depth_in * WATER_LB_AC_PER_PPM_IN
    working = _ppm_by_depth(ppm, form, depth_in, WATER_LB_AC_PER_PPM_IN, units)
    arithmetic = f"{working} = {_amount(n_lb_ac, units)}"
    return _line("irrigation water", n_lb_ac, arithmetic, "UC-N-WATER", Evidence.DERIVED, _WATER)


def available_lb_per_ton(n_percent: float) -> float:
    """Available nitrogen of a cover crop [lb per US ton of dry matter]: 17.5 x (%N - 1.5).

    0 below 1.5 % N, held at 35 above 3.5 %. Source: derived from the end points that PNW-636 prints.

    >>> available_lb_per_ton(2.5)
    17.5
    """
    held = min(max(n_percent, COVER_NONE_PERCENT), COVER_FULL_PERCENT)
    return COVER_LB_TON_PER_PERCENT * (held - COVER_NONE_PERCENT)


def cover_crop(n_percent: float, dry_matter_ton_ac: float, *, units: UnitSystem) -> CreditLine:
    """Available nitrogen of a killed cover crop, by `available_lb_per_ton`.

    Args:
        n_percent: nitrogen of the dry matter [%].
        dry_matter_ton_ac: dry matter [US ton/ac].

    Raises:
        UserError: a negative number, one that is not finite, or more than 10 % N.
    """
    _refuse(
        _up_to(MOST_N_PERCENT, n_percent, "N of the dry matter", " %"),
        _not_negative(units.bulk_out(dry_matter_ton_ac), "dry matter", units.bulk_unit),
    )
    n_lb_ac = dry_matter_ton_ac * available_lb_per_ton(n_percent)
    cautions = _COVER
    if n_percent < COVER_NONE_PERCENT:
        cautions = (_COVER_LOW, *cautions)
    elif n_percent > COVER_FULL_PERCENT:
        cautions = (_COVER_HIGH, *cautions)
    arithmetic = f"{_cover_working(n_percent, dry_matter_ton_ac, units)} = {_amount(n_lb_ac, units)}"
    return _line("cover crop", n_lb_ac, arithmetic, "PNW-636", Evidence.DERIVED, cautions)


def compost(n_percent: float, ton_ac: float, first_year_share: float | str, *, units: UnitSystem) -> CreditLine:
    """Nitrogen that compost or manure releases in the first season: amount x N fraction x share.

    Args:
        n_percent: organic nitrogen [%], on the basis of the amount; total nitrogen when no other is known.
        ton_ac: amount [US ton/ac].
        first_year_share: share of that nitrogen released, 0 to 1; or a word of `CompostKind`.

    Raises:
        UserError: a negative number, one that is not finite, more than 10 % N, a share above 1, an unknown word.

    Source: shares by word from HARTZ-COMPOST-2000 (abstract), 12 weeks at 25 deg C.

    >>> round(compost(1.5, 4.0, "manure", units=UnitSystem.US).n_lb_ac, 6)
    19.2
    """
    kind, share = _kind_and_share(first_year_share)
    _refuse(
        _up_to(MOST_N_PERCENT, n_percent, "N of the compost", " %"),
        _not_negative(units.bulk_out(ton_ac), "amount of compost", units.bulk_unit),
        _up_to(1.0, share, "share released"),
    )
    n_lb_ac = ton_ac * LB_PER_TON * n_percent / 100.0 * share
    weights = f"{LB_PER_TON:g} lb/ton" if units is UnitSystem.US else "1000 kg/t"
    working = f"{_bulk(ton_ac, units)} × {weights} × {_number(n_percent)} % × {_number(share)}"
    arithmetic = f"{working} = {_amount(n_lb_ac, units)}"
    if kind is None:
        return _line("compost", n_lb_ac, arithmetic, OWN_SOURCE, Evidence.OWN, _COMPOST)
    cautions = (_COMPOST_KIND, *_COMPOST)
    return _line(str(kind), n_lb_ac, arithmetic, "HARTZ-COMPOST-2000", Evidence.PUBLISHED, cautions)


def soil_nitrate(ppm: float, depth_in: float = TOP_FOOT_IN, *, form: NitrateForm, units: UnitSystem) -> CreditLine:
    """Nitrate that the sampled soil holds: ppm NO3-N x depth in inches / 3 lb/ac.

    Args:
        ppm: nitrate of the dry soil [ppm], in the form given.
        depth_in: depth of the layer sampled [in].
        form: what the ppm stand for.

    Raises:
        UserError: a negative number, one that is not finite, or a depth of 0.

    Source: PURDUE-SOIL-N. NO3 is converted by the exact molar ratio, where that source divides by 4.5.
    """
    _refuse(
        _not_negative(ppm, "nitrate", f"ppm {form}"),
        _above_zero(units.depth_out(depth_in), "depth of soil", units.depth_unit),
    )
    n_lb_ac = _as_no3n(ppm, form) * depth_in * SOIL_LB_AC_PER_PPM_IN
    working = _ppm_by_depth(ppm, form, depth_in, SOIL_LB_AC_PER_PPM_IN, units)
    arithmetic = f"{working} = {_amount(n_lb_ac, units)}"
    return _line("soil nitrate", n_lb_ac, arithmetic, "PURDUE-SOIL-N", Evidence.PUBLISHED, _SOIL)


def stated(name: str, n_lb_ac: float, source: str, evidence: Evidence, *, units: UnitSystem) -> CreditLine:
    """A credit taken as it was stated, for example preplant fertilizer.

    Raises:
        UserError: no name, a negative amount or one that is not finite.
    """
    _refuse(
        None if name.strip() else Fault("say what the credit is, for example preplant fertilizer", key="name"),
        _not_negative(units.rate_out(n_lb_ac), name.strip() or "credit", units.total_unit),
    )
    cautions = ("Taken as stated; how much of it the crop finds, and when, is uncertain.",)
    return CreditLine(name.strip(), n_lb_ac, f"{_amount(n_lb_ac, units)}, as stated", source, evidence, cautions)


def spread_over_weeks(
    rates_lb_ac: Sequence[float], credits_: Sequence[tuple[float, int, int]]
) -> tuple[list[float], float]:
    """Planned weekly rates less the credits, each spread evenly over its weeks.

    A rate never falls below 0. What a week cannot give is taken off the other weeks of the same span, in
    proportion to what they still hold. Credits with the same span count as one, and short spans go first since
    they have the least room: the order in which credits are given does not matter.

    Args:
        rates_lb_ac: planned nitrogen of each week [lb/ac].
        credits_: (nitrogen [lb/ac], first week, last week) of each; weeks count from 1, both included.

    Returns:
        The lowered rates [lb/ac], and what is left over of the credits [lb/ac].

    Raises:
        UserError: a rate or credit that is negative or not finite, or a span outside the plan.

    >>> spread_over_weeks([7.0, 7.0, 1.0], [(6.0, 2, 3)])
    ([7.0, 2.0, 0.0], 0.0)
    """
    _refuse(
        *(_not_negative(rate, f"rate of week {number}", "lb/ac") for number, rate in enumerate(rates_lb_ac, 1)),
        *(_not_negative(credit[0], f"credit {number}", "lb/ac") for number, credit in enumerate(credits_, 1)),
        *(_outside(credit, number, len(rates_lb_ac)) for number, credit in enumerate(credits_, 1)),
    )
    spans: dict[tuple[int, int], list[float]] = {}
    for n_lb_ac, first, last in credits_:
        spans.setdefault((first, last), []).append(n_lb_ac)
    rates, left = list(rates_lb_ac), 0.0
    for first, last in sorted(spans, key=lambda span: (span[1] - span[0], span[0])):
        lowered, rest = _lowered(rates[first - 1 : last], math.fsum(spans[first, last]))
        rates[first - 1 : last] = lowered
        left += rest
    return rates, left


def _lowered(rates: Sequence[float], credit: float) -> tuple[list[float], float]:
    """The rates of one span less one credit, and what is left over of it."""
    share = credit / len(rates)
    rest = math.fsum(_above_nothing(share - rate) for rate in rates)
    rates = [_above_nothing(rate - share) for rate in rates]
    room = math.fsum(rates)
    if rest >= room:
        return [0.0] * len(rates), _above_nothing(rest - room)
    return [_above_nothing(rate - rate * (rest / room)) for rate in rates], 0.0


def _above_nothing(lb_ac: float) -> float:
    return lb_ac if lb_ac > _NOTHING else 0.0


def _outside(credit: tuple[float, int, int], number: int, weeks: int) -> Fault | None:
    _, first, last = credit
    if 1 <= first <= last <= weeks:
        return None
    accepted = f"give a first and a last week from 1 to {weeks}, in order" if weeks else "no week is planned"
    return Fault(f"weeks {first} to {last} cannot be used: {accepted}", key=f"credit {number}")


def _kind_and_share(given: float | str) -> tuple[CompostKind | None, float]:
    """The kind named and its share, or None and the share given."""
    if not isinstance(given, str):
        return None, given
    word = " ".join(given.lower().split())
    if word not in COMPOST_SHARE:
        accepted = f"give a share from 0 to 1, or {', '.join(CompostKind)}"
        raise UserError(Fault(f'"{given}" is not known: {accepted}', key="share released"))
    kind = CompostKind(word)
    return kind, COMPOST_SHARE[kind]


def _as_no3n(ppm: float, form: NitrateForm) -> float:
    return no3_to_no3n(ppm) if form is NitrateForm.NO3 else ppm


def _ppm_by_depth(
    ppm: float, form: NitrateForm, depth_in: float, lb_ac_per_ppm_in: float, units: UnitSystem
) -> str:
    factor = units.rate_out(lb_ac_per_ppm_in) / units.depth_out(1.0)
    ratio = f" × {NO3_TO_NO3N:.4f}" if form is NitrateForm.NO3 else ""
    depth = f"{_number(units.depth_out(depth_in))} {units.depth_unit}"
    return f"{_number(ppm)} ppm {form}{ratio} × {depth} × {factor:.4g}"


def _cover_working(n_percent: float, dry_matter_ton_ac: float, units: UnitSystem) -> str:
    amount = _bulk(dry_matter_ton_ac, units)
    per_ton = "lb/ton" if units is UnitSystem.US else "kg/t"
    if n_percent < COVER_NONE_PERCENT:
        return f"{amount} × 0 {per_ton}"
    slope = units.rate_out(COVER_LB_TON_PER_PERCENT) / units.bulk_out(1.0)
    held = min(n_percent, COVER_FULL_PERCENT)
    return f"{amount} × {_number(slope)} {per_ton} × ({_number(held)} - {COVER_NONE_PERCENT:g})"


def _bulk(ton_ac: float, units: UnitSystem) -> str:
    return f"{_number(units.bulk_out(ton_ac))} {units.bulk_unit}"


def _amount(n_lb_ac: float, units: UnitSystem) -> str:
    return f"{units.rate_out(n_lb_ac):.1f} {units.total_unit}"


def _number(value: float) -> str:
    return f"{value:.6g}"


def _refuse(*faults: Fault | None) -> None:
    """Raise every fault found together."""
    found = [fault for fault in faults if fault is not None]
    if found:
        raise UserError(found)


def _not_negative(value: float, what: str, unit: str) -> Fault | None:
    return None if 0 <= value < math.inf else _fault(value, what, f" {unit}", "0 or more")


def _above_zero(value: float, what: str, unit: str) -> Fault | None:
    return None if 0 < value < math.inf else _fault(value, what, f" {unit}", "more than 0")


def _up_to(most: float, value: float, what: str, unit: str = "") -> Fault | None:
    return None if 0 <= value <= most else _fault(value, what, unit, f"0 to {most:g}{unit}")


def _fault(value: float, what: str, unit: str, accepted: str) -> Fault:
    return Fault(f"{_number(value)}{unit} cannot be used: give {accepted}", key=what)


def _line(
    name: str, n_lb_ac: float, arithmetic: str, source: str, evidence: Evidence, cautions: _Cautions
) -> CreditLine:
    texts = tuple(f"{text} ({keys})" if keys else text for text, keys in cautions)
    keys = dict.fromkeys(keys for _, keys in cautions if keys)
    return CreditLine(name, n_lb_ac, arithmetic, source, evidence, texts, "; ".join(keys))
