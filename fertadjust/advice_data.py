"""Advice as plain data, for ``--json``, for stored decisions and for the report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from fertadjust import words
from fertadjust.alternatives import Alternative
from fertadjust.cautions import cautions_for
from fertadjust.compare import Comparison
from fertadjust.products import Product, ProductAmount
from fertadjust.rules.facts import Reading
from fertadjust.season import Advice
from fertadjust.units import UnitSystem
from fertadjust.weekly import WeekAmounts


def advice_data(advice: Advice, mixes: Sequence[Sequence[Product]], units: UnitSystem) -> dict[str, Any]:
    """Everything that an advice says, as JSON-ready data; the season's mixes say which cautions belong to it.

    Rates and totals are in ``units`` per area, weights and volumes in its weight and volume units; the key
    "units" names them all.
    """
    found = advice.recommendation
    return {
        "block": advice.block.key,
        "block_name": advice.block.name,
        "on": advice.on.isoformat(),
        "action": found.action.value,
        "headline": words.headline(advice, units),
        "reasons": list(words.reasons(advice)),
        "how_sure": words.how_sure(advice),
        "would_change": words.would_change(advice, units),
        "units": {
            "rate": units.rate_unit,
            "total": units.total_unit,
            "weight": units.weight_unit,
            "volume": units.volume_unit,
            "area": units.area_unit,
        },
        "area": units.area_out(advice.block.area_ac()),
        "area_basis": advice.block.area_basis.value,
        "factor": found.factor,
        "standing_factor": found.standing_factor,
        "moved_by": found.moved_by,
        "binding": found.binding,
        "sought": found.sought,
        "limits": [item._asdict() for item in found.limits],
        "next_sample": found.next_sample.isoformat(),
        "review": found.review.isoformat(),
        "to_do": list(found.to_do),
        "result": None if advice.facts.primary is None else reading_data(advice.facts.primary, found.comparison),
        "leaf": None if advice.facts.leaf is None else reading_data(advice.facts.leaf, found.leaf),
        "uncertainty": {
            "relative": found.relative,
            "parts": [part._asdict() | {"evidence": part.evidence.value} for part in found.parts],
        },
        "not_used": [item._asdict() | {"sampled": item.sampled.isoformat()} for item in advice.facts.not_used],
        "flips": [
            {"value": flip.value, "action": flip.action.value, "side": "above" if flip.above else "below"}
            for flip in advice.flips
        ],
        "alternatives": [_alternative(item, advice, units) for item in advice.alternatives],
        "trend": None if advice.facts.trend is None else asdict(advice.facts.trend),
        "trace": [line._asdict() | {"evidence": line.evidence.value} for line in found.trace],
        "weeks": [week_data(week, units) for week in advice.weeks],
        "tables": list(advice.tables),
        "policy": advice.policy,
        "own_rule_values": [item._asdict() for item in advice.own_values],
        "cautions": [item._asdict() | {"evidence": item.evidence.value} for item in cautions_for(*mixes)],
    }


def reading_data(reading: Reading, comparison: Comparison | None) -> dict[str, Any]:
    """A reading and where it lies, as JSON-ready data."""
    band = reading.band
    data: dict[str, Any] = {
        "records": list(reading.records),
        "sampled": reading.sampled.isoformat(),
        "tissue": reading.tissue.value,
        "basis": reading.basis.value,
        "analyte": reading.analyte,
        "value": reading.value,
        "unit": reading.unit,
        "censor": reading.censor.value,
        "count": reading.count,
        "petioles": reading.petioles,
        "band": {
            "low": band.low,
            "high": band.high,
            "place": band.label,
            "table": band.table,
            "row": band.row,
            "source": band.source,
            "evidence": band.evidence.value,
        },
    }
    if comparison is not None:
        data |= {
            "position": comparison.position,
            "status": None if comparison.status is None else comparison.status.value,
            "below": comparison.below,
            "within": comparison.within,
            "above": comparison.above,
        }
    return data


def _alternative(item: Alternative, advice: Advice, units: UnitSystem) -> dict[str, Any]:
    found = item.recommendation
    return {
        "if": item.condition,
        "action": None if found is None else found.action.value,
        "rates": None if found is None else [units.rate_out(rate) for rate in found.rates_lb_ac],
        "differs": words.differs(advice, item),
        "why_not": item.why_not,
    }


def week_data(week: WeekAmounts, units: UnitSystem) -> dict[str, Any]:
    """One row of the weekly table in a unit system."""
    return {
        "week": week.week.number,
        "start": week.week.start.isoformat(),
        "stage": week.stage,
        "planned": units.rate_out(week.week.rate_lb_ac),
        "before": units.rate_out(week.before_lb_ac),
        "rate": units.rate_out(week.rate_lb_ac),
        "block_n": units.weight_out(week.n_lb),
        "injection_n": units.weight_out(week.n_lb_injection),
        "k2o": units.weight_out(week.nutrient_lb("k2o")),
        "ca": units.weight_out(week.nutrient_lb("ca")),
        "total": units.rate_out(week.total_lb_ac),
        "over_cap": week.over_cap,
        "products": [_amount(part, units) for part in week.products],
        "products_before": [_amount(part, units) for part in week.products_before],
    }


def _amount(part: ProductAmount, units: UnitSystem) -> dict[str, Any]:
    return {
        "product": part.product.name,
        "grade": part.product.grade,
        "weight": units.weight_out(part.weight_lb),
        "volume": None if part.volume_gal is None else units.volume_out(part.volume_gal),
    }
