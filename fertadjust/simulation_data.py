"""Simulated seasons as plain data, for ``--json``. The numbers are those of the words, unrounded."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

import numpy as np

from fertadjust import __version__
from fertadjust import simulation_ground as ground
from fertadjust import simulation_words as words
from fertadjust.field import basis_words
from fertadjust.rules.policy import Policy
from fertadjust.simulate.guards import with_values
from fertadjust.simulate.measures import MEASURES, Estimate, Measure
from fertadjust.simulate.outlook import SHARES, Outlook, spread
from fertadjust.simulate.parameters import Array, CropModel
from fertadjust.units import UnitSystem

SCHEMA: Final = 1
"""Number of this form."""

_SHARES: Final = (
    "a key such as 0.05 is the share of the seasons that lie below the values under it; those under 0.5 are the "
    "middle ones"
)
_SCENARIO_UNITS: Final = {
    "sampling.every": "days between samples, or as advised",
    "sampling.first_day": "day of the plan on which the first sample is taken, 0 being the plan's first day",
    "sampling.petioles": "petioles in a sample",
    "sampling.lost": "share of the samples, 0 to 1",
    "laboratory.days": "days from sampling to the result",
    "laboratory.bias": "parts of what is there",
    "laboratory.petiole_cv": "relative spread of single petioles",
    "laboratory.hour_and_day": "relative spread of hour and day",
    "laboratory.reports_from": "unit of the petiole values",
    "feeding.missed": "share of the injections, 0 to 1",
    "feeding.logged": "share of the seasons, 0 to 1",
    "rain.a_week": "leaching rains a week",
    "rain.lost": "share of the nitrate in the root zone, 0 to 1",
    "rain.noted": "share of the rains, 0 to 1",
    "stage.days_off": "days; above 0 the crop is later than the dates say",
    "field.need": "parts of the published demand",
    "field.soil_at_start": "parts of what the model states",
    "field.water_nitrate": "ppm nitrate-nitrogen in the irrigation water",
}
"""What the figures of a scenario are in."""

Data = dict[str, Any]


def outlook_data(found: Outlook, units: UnitSystem, citations: Mapping[str, str]) -> Data:
    """Everything that simulated seasons come to, as JSON-ready data; what is not known is None.

    Args:
        found: the seasons.
        units: unit system of rates and totals; the key "units" and each measure's "unit" name them.
        citations: source key -> citation, of the model's sources.
    """
    setup, origin = found.setup, found.origin
    first = setup.scenario.sampling.first_day
    return {
        "schema": SCHEMA,
        "program": f"fertadjust {__version__}",
        "what": words.MODEL,
        "mind": setup.model.first or None,
        "headline": words.headline(found),
        "block": setup.season.block.key,
        "block_name": setup.season.block.name,
        "seasons": found.seasons,
        "seed": setup.seed,
        "units": {
            "rate": units.rate_unit,
            "total": units.total_unit,
            "petiole": found.reference.unit,
        },
        "scenario": setup.scenario.model_dump(mode="json", by_alias=True),
        "scenario_units": _SCENARIO_UNITS,
        "scenario_file": origin.file or None,
        "scenario_extends": origin.extends or None,
        "sampled_instead": origin.every or None,
        "first_sample": {
            "day_of_plan": first + 1,
            "date": (setup.season.plan.start + timedelta(days=first)).isoformat(),
        },
        "policy": {
            "id": setup.season.policy.id,
            "own_values": [item._asdict() for item in setup.season.policy.overrides()],
            "tried": _tried(found, units),
        },
        "table": setup.table.id,
        "band_mark": ground.recalled(found),
        "plan": _plan(found, units),
        "model": _model(setup.model),
        "shares": _SHARES,
        "weeks_with_band": words.weeks_with_band(found),
        "measures": [_measure(found, item, units) for item in MEASURES],
        "petiole": _petiole(found),
        "rates": {
            "unit": units.rate_unit,
            "weeks": [week.start.isoformat() for week in setup.season.plan.weeks],
            "ways": {run.name: _quantiles(units.rate_out(1.0) * spread(run.rate)) for run in found.runs},
        },
        "limits": list(words.limits(found)),
        "citations": dict(citations),
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _numbers(values: Array | Sequence[float]) -> list[float | None]:
    return [_known(float(value)) for value in values]


def _quantiles(values: Array) -> dict[str, list[float | None]]:
    """Share of the seasons below -> one value a day or week."""
    return {f"{share:g}": _numbers(row) for share, row in zip(SHARES, values, strict=True)}


def _estimate(item: Estimate, measure: Measure, units: UnitSystem) -> Data:
    mean, low, high = (_known(words.shown(value, measure, units)) for value in (item.mean, item.low, item.high))
    return {"mean": mean, "low": low, "high": high, "n": item.seasons}


def _measure(found: Outlook, measure: Measure, units: UnitSystem) -> Data:
    between = {pair: words.difference(found, pair, measure.name) for pair in words.pairs(found)}
    return {
        "name": measure.name,
        "words": measure.words,
        "unit": words.unit_words(measure, units),
        "better": {1: "more", -1: "less", 0: None}[measure.better],
        "ways": {run.name: _estimate(run.estimate(measure.name), measure, units) for run in found.runs},
        "differences": [
            {"way": pair.way, "than": pair.than}
            | _estimate(item, measure, units)
            | {"unit": words.difference_unit(measure, units), "clear": bool(item.clear)}
            for pair, item in between.items()
        ],
    }


def _tried(found: Outlook, units: UnitSystem) -> list[Data]:
    own = found.setup.season.policy
    policy = with_values(own, found.tried)
    return [_tried_value(own, policy, name, units) for name in ground.tried_names(found)]


def _tried_value(own: Policy, policy: Policy, name: str, units: UnitSystem) -> Data:
    value, unit = ground.policy_value(policy, name, units)
    return {"name": name, "value": value, "instead_of": ground.policy_value(own, name, units)[0], "unit": unit}


def _plan(found: Outlook, units: UnitSystem) -> Data:
    plan = found.setup.season.plan
    return {
        "start": plan.start.isoformat(),
        "rates": [units.rate_out(rate) for rate in plan.rates_lb_ac],
        "floor": units.rate_out(plan.floor_lb_ac),
        "ceiling": units.rate_out(plan.ceiling_lb_ac),
        "season_cap": None if plan.cap_lb_ac is None else units.rate_out(plan.cap_lb_ac),
        "credits": units.rate_out(plan.credits_lb_ac),
        "basis": plan.basis.value,
        "per": basis_words(plan.basis, units),
    }


def _model(model: CropModel) -> Data:
    """The crop's model; its figures keep the units that they are stated in."""
    return {
        "crop": model.crop,
        "title": model.title,
        "tells_not": list(model.tells_not),
        "figures": {name: item.model_dump(mode="json") for name, item in model.figures.items()},
    }


def _petiole(found: Outlook) -> Data:
    """Petiole nitrate that is there on each day, beside the band by the dates of the season file.

    Before the first and after the last day with a band no level is known, so the values are None there.
    """
    low, high = found.bands()
    known = found.banded()
    start, days = found.setup.season.plan.start, found.setup.days
    return {
        "unit": found.reference.unit,
        "days": [(start + timedelta(days=index)).isoformat() for index in range(days)],
        "band": {"low": _numbers(low), "high": _numbers(high)},
        "ways": {run.name: _quantiles(_within(spread(run.value), known)) for run in found.runs},
    }


def _within(values: Array, days: slice) -> Array:
    """Values of some days, not a number on the others."""
    kept = np.full_like(values, math.nan)
    kept[:, days] = values[:, days]
    return kept
