"""A study of the rules as plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from fertadjust.simulate.measures import Estimate
from fertadjust.simulate.study import Beside, Study


def findings_data(found: Study) -> dict[str, Any]:
    """The study as JSON-ready data; shares of the weeks as they are, nitrogen in lb/ac."""
    return {
        "schema": 1,
        "plan": found.plan.model_dump(mode="json", by_alias=True),
        "weeks": found.weeks,
        "tried": [
            {
                "name": item.name,
                "value": item.value,
                "weeks saved": _numbers(item.saved),
                "reversals saved": _numbers(item.calmer),
                "wrong way saved": _numbers(item.righter),
            }
            for item in found.tried
        ],
        "found": dict(found.found),
        "compared": [_beside_data(item) for item in found.compared],
        "guards": [_beside_data(item) for item in found.guards],
        "variants": [_beside_data(item) for item in found.variants],
        "first": {name: _number(value) for name, value in found.first.items()},
    }


def _beside_data(item: Beside) -> dict[str, Any]:
    def every(of: Mapping[str, Mapping[str, Estimate]]) -> dict[str, Any]:
        return {way: {name: _numbers(value) for name, value in row.items()} for way, row in of.items()}

    return {"scenario": item.scenario, "means": every(item.means), "beside the rules": every(item.gains)}


def _numbers(value: Estimate) -> dict[str, Any]:
    return {
        "mean": _number(value.mean),
        "low": _number(value.low),
        "high": _number(value.high),
        "seasons": value.seasons,
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value
