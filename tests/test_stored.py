"""Results, applications, observations and decisions, as records hold them."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change
from fertadjust.record import Kind, Record
from fertadjust.rules.facts import Action
from fertadjust.stored import (
    application_of,
    change_of,
    decided_of,
    observation_of,
    result_content,
    result_of,
    with_records,
)
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult
from tests.support import result, season


def record(kind: Kind, content: dict[str, Any] | None, day: str = "2026-03-09", number: int = 7) -> Record:
    """A record as it comes back from the file, where content was written as JSON."""
    read = None if content is None else json.loads(json.dumps(content))
    return Record(number, kind, "north", day, "2026-03-09T12:00:00+00:00", "grower", "program", None, "", read)


DECISION: dict[str, Any] = {
    "choice": "change",
    "by": "grower",
    "reason": "light crop",
    "factor": 1.2,
    "rates_lb_ac": {"2": 6.3, "10": 6.0, "3": 6.3},
    "standing_lb_ac": {"2": 5.25, "10": 5.0, "3": 5.25},
    "effective": "2026-03-09",
    "review": "2026-03-23",
    "advice": {"action": "raise", "headline": "Raise nitrogen.", "standing_factor": 1.1},
}


@pytest.mark.parametrize(
    "given",
    [
        result(2310.0),
        result(0.1, censor=Censor.BELOW, petioles=None),
        result(30000.0, censor=Censor.ABOVE),
        result(3.1, tissue=Tissue.LEAF),
        result(36.0, tissue=Tissue.LEAF, analyte="B"),
        result(450.0, basis=Basis.SAP, method=Method.METER),
        result(450.0, basis=Basis.SAP, method=Method.METER_DILUTED),
        replace(
            result(2310.0),
            laboratory="Früh & Söhne",
            sample_id="C1/2",
            note='said "5 %"',
            reported="0.231 % NO3-N",
        ),
        replace(result(2310.0), received=None),
    ],
)
def test_a_result_comes_back_as_it_was(given: TissueResult) -> None:
    back = result_of(record(Kind.RESULT, result_content(given)))
    assert back == replace(given, record=7)


def test_a_results_content_names_its_unit() -> None:
    assert result_content(result(3.1, tissue=Tissue.LEAF))["unit"] == "%"
    assert result_content(result(450.0, basis=Basis.SAP))["unit"] == "mg/L"


def test_an_application_comes_back_as_it_was() -> None:
    content = {"n_lb_ac": 2.625, "products": {"calcium nitrate": 8.7}, "note": "late"}
    assert application_of(record(Kind.APPLICATION, content)) == Application(
        7, "north", date(2026, 3, 9), 2.625, {"calcium nitrate": 8.7}, "late"
    )


@pytest.mark.parametrize(("sight", "value"), [("leaching rain", None), ("soil nitrate", 26.0)])
def test_an_observation_comes_back_as_it_was(sight: str, value: float | None) -> None:
    content = {"sight": sight, "value": value, "note": ""}
    assert observation_of(record(Kind.OBSERVATION, content)) == Observation(
        7, "north", date(2026, 3, 9), Sight(sight), value, ""
    )


def test_a_decision_comes_back_with_its_weeks_as_numbers() -> None:
    decided = decided_of(record(Kind.DECISION, DECISION))
    assert decided.record == 7
    assert decided.on == date(2026, 3, 9)
    assert (decided.by, decided.choice, decided.reason) == ("grower", "change", "light crop")
    assert (decided.action, decided.advised) == (Action.RAISE, "Raise nitrogen.")
    assert decided.rates_lb_ac == {2: 6.3, 3: 6.3, 10: 6.0}
    assert decided.factor == 1.2
    assert decided.standing_lb_ac == {2: 5.25, 3: 5.25, 10: 5.0}


def test_a_decision_is_a_change_of_rate() -> None:
    assert change_of(record(Kind.DECISION, DECISION)) == Change(
        decided=date(2026, 3, 9),
        effective=date(2026, 3, 9),
        review=date(2026, 3, 23),
        factor=1.2,
        rates_lb_ac={2: 6.3, 3: 6.3, 10: 6.0},
        record=7,
    )


def test_a_void_record_stands_for_nothing() -> None:
    with pytest.raises(AssertionError):
        result_of(record(Kind.RESULT, None))


def test_a_season_takes_up_the_records_of_its_own_block_by_kind() -> None:
    found = result_content(result(2310.0))
    fed = {"n_lb_ac": 2.6, "products": {}, "note": ""}
    seen = {"sight": "frost", "value": None, "note": ""}
    left = DECISION | {"choice": "leave", "rates_lb_ac": {}}
    mine = [
        record(Kind.RESULT, found, number=1),
        record(Kind.APPLICATION, fed, number=2),
        record(Kind.OBSERVATION, seen, number=3),
        record(Kind.DECISION, DECISION, number=4),
        record(Kind.DECISION, left, day="2026-03-16", number=5),
    ]
    others = [replace(item, number=item.number + 10, block="south") for item in mine]
    block = with_records(season(result(99.0, record=99)), [*others, *mine])
    assert block.results == (result_of(mine[0]),)
    assert block.applications == (application_of(mine[1]),)
    assert block.observations == (observation_of(mine[2]),)
    assert block.changes == (change_of(mine[3]),)
    assert block.left == (date(2026, 3, 16),)
    assert with_records(block, []) == season()
