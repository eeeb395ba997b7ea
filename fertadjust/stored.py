"""Between records and the objects they stand for."""

from __future__ import annotations

from datetime import date
from typing import Any

from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change
from fertadjust.records import Record
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult


def result_content(result: TissueResult) -> dict[str, Any]:
    """A result as a record's content, in the stored unit."""
    return {
        "sampled": result.sampled.isoformat(),
        "received": None if result.received is None else result.received.isoformat(),
        "tissue": result.tissue.value,
        "basis": result.basis.value,
        "analyte": result.analyte,
        "value": result.value,
        "unit": result.unit,
        "censor": result.censor.value,
        "petioles": result.petioles,
        "method": result.method.value,
        "laboratory": result.laboratory,
        "sample_id": result.sample_id,
        "note": result.note,
        "reported": result.reported,
    }


def result_of(record: Record) -> TissueResult:
    """The result that a record holds."""
    data = _content(record)
    return TissueResult(
        record=record.number,
        block=record.block,
        sampled=date.fromisoformat(data["sampled"]),
        received=None if data["received"] is None else date.fromisoformat(data["received"]),
        tissue=Tissue(data["tissue"]),
        basis=Basis(data["basis"]),
        analyte=data["analyte"],
        value=data["value"],
        censor=Censor(data["censor"]),
        petioles=data["petioles"],
        method=Method(data["method"]),
        laboratory=data["laboratory"],
        sample_id=data["sample_id"],
        note=data["note"],
        reported=data["reported"],
    )


def application_of(record: Record) -> Application:
    """The application that a record holds."""
    data = _content(record)
    return Application(
        record.number,
        record.block,
        date.fromisoformat(record.day),
        data["n_lb_ac"],
        data["products"],
        data["note"],
    )


def observation_of(record: Record) -> Observation:
    """The observation that a record holds."""
    data = _content(record)
    return Observation(
        record.number,
        record.block,
        date.fromisoformat(record.day),
        Sight(data["sight"]),
        data["value"],
        data["note"],
    )


def change_of(record: Record) -> Change:
    """The change of rate that a decision's record holds."""
    data = _content(record)
    return Change(
        decided=date.fromisoformat(record.day),
        effective=date.fromisoformat(data["effective"]),
        review=date.fromisoformat(data["review"]),
        factor=data["factor"],
        rates_lb_ac={int(week): rate for week, rate in data["rates_lb_ac"].items()},
        record=record.number,
    )


def _content(record: Record) -> dict[str, Any]:
    assert record.content is not None, "a void record stands for nothing"
    return record.content
