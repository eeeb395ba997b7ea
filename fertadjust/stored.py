"""Between records and the objects they stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any, NamedTuple

from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change
from fertadjust.record import Kind, Record
from fertadjust.records import RECORDS_FILE
from fertadjust.rules.facts import Action
from fertadjust.season import BlockSeason
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


class Decided(NamedTuple):
    """A decision as people read it.

    Attributes:
        record: number of its record.
        on: day of the decision.
        by: who decided.
        choice: accept, change or leave.
        action: what was advised: raise, hold or cut.
        advised: the advice's headline.
        reason: why, in the decider's words.
        rates_lb_ac: week number -> decided rate [lb/ac], empty when the advice was left.
        factor: decided factor on the planned rates.
        standing_lb_ac: week number -> rate in force before the decision [lb/ac].
    """

    record: int
    on: date
    by: str
    choice: str
    action: Action
    advised: str
    reason: str
    rates_lb_ac: dict[int, float]
    factor: float
    standing_lb_ac: dict[int, float] = {}  # noqa: RUF012 - never changed


def decided_of(record: Record) -> Decided:
    """The decision that a record holds."""
    data = _content(record)
    return Decided(
        record=record.number,
        on=date.fromisoformat(record.day),
        by=data["by"],
        choice=data["choice"],
        action=Action(data["advice"]["action"]),
        advised=data["advice"]["headline"],
        reason=data["reason"],
        rates_lb_ac={int(week): rate for week, rate in data["rates_lb_ac"].items()},
        factor=data["factor"],
        standing_lb_ac={int(week): rate for week, rate in data["standing_lb_ac"].items()},
    )


def change_of(record: Record) -> Change:
    """The change of rate that a decision's record holds."""
    data = _content(record)
    sample = data.get("advice", {}).get("next_sample")
    return Change(
        decided=date.fromisoformat(record.day),
        effective=date.fromisoformat(data["effective"]),
        review=date.fromisoformat(data["review"]),
        factor=data["factor"],
        rates_lb_ac={int(week): rate for week, rate in data["rates_lb_ac"].items()},
        record=record.number,
        sample=None if sample is None else date.fromisoformat(sample),
    )


class Replaced(NamedTuple):
    """A result as it stood before a correction or a void.

    Attributes:
        result: the result as it was.
        now: the result that stands in its place, or None when it was voided.
        reason: why it was corrected or voided.
        pending: whether the result in its place was not known yet on the day looked from; ``now`` is then None.
    """

    result: TissueResult
    now: TissueResult | None
    reason: str
    pending: bool = False


def replaced_results(records: Sequence[Record], block: str, on: date) -> tuple[Replaced, ...]:
    """Results known on a day that were corrected or voided, oldest first: a block's own, and those moved to it.

    A correction that left block, kind, value and sampling day as they were is left out.

    Args:
        records: those that count on the day, in order.
        block: key of the block.
        on: the day.
    """
    by = {record.replaces: record for record in records if record.replaces is not None}
    found = []
    for record in records:
        if record.kind is not Kind.RESULT or record.content is None or record.number not in by:
            continue
        last = by[record.number]
        reason = last.reason
        while last.number in by:
            last = by[last.number]
        was, now = result_of(record), None if last.content is None else result_of(last)
        if was.known_on > on or block not in (was.block, None if now is None else now.block):
            continue
        if now is not None and now.known_on > on:
            found.append(Replaced(was, None, reason, pending=True))
        elif now is None or _shown(was) != _shown(now):
            found.append(Replaced(was, now, reason))
    return tuple(found)


def undone_since(records: Sequence[Record], standing: Sequence[Record], on: date) -> date | None:
    """Day of a block's last decision, when a result that it was made on was corrected or voided after it.

    Args:
        records: the records that count on the day, in order, the replaced ones among them.
        standing: those of the block that stand.
        on: the day.
    """
    decided = [item for item in standing if item.kind is Kind.DECISION and date.fromisoformat(item.day) <= on]
    if not decided:
        return None
    last = max(decided, key=lambda item: (item.day, item.number))
    result = _content(last)["advice"]["result"]
    rests_on = set() if result is None else set(result["records"])
    undone = {item.replaces for item in records if item.number > last.number and item.kind is Kind.RESULT}
    return date.fromisoformat(last.day) if rests_on & undone else None


def _shown(result: TissueResult) -> tuple[object, ...]:
    return result.block, result.sampled, result.kind, result.text()


NOT_AS_WRITTEN = (KeyError, TypeError, ValueError, AttributeError, AssertionError, RecursionError)
"""What reading a record raises whose content is not as this program writes it."""


UNREADABLE = f"{RECORDS_FILE}: a record is not as this program writes it; fertadjust audit says which"
"""What is said of it."""


def _content(record: Record) -> dict[str, Any]:
    assert record.content is not None, "a void record stands for nothing"
    return record.content


def arrivals(records: Sequence[Record]) -> set[date]:
    """Days on which a result came in by any of some records, corrected or voided since or not."""
    return {result_of(item).known_on for item in records if item.kind is Kind.RESULT and item.content is not None}


def first_versions(records: Sequence[Record]) -> dict[int, int]:
    """Of some records in order, number of a correction -> number of the record that its corrections began with."""
    first: dict[int, int] = {}
    for item in records:
        if item.replaces is not None:
            first[item.number] = first.get(item.replaces, item.replaces)
    return first


def with_records(season: BlockSeason, records: Sequence[Record]) -> BlockSeason:
    """A block's season with its own among some records."""
    mine = [record for record in records if record.block == season.block.key]
    decided = [record for record in mine if record.kind is Kind.DECISION]
    return replace(
        season,
        results=tuple(result_of(record) for record in mine if record.kind is Kind.RESULT),
        applications=tuple(application_of(record) for record in mine if record.kind is Kind.APPLICATION),
        observations=tuple(observation_of(record) for record in mine if record.kind is Kind.OBSERVATION),
        changes=tuple(
            change_of(record)
            for record in decided
            if record.content is not None and record.content["choice"] != "leave"
        ),
        left=tuple(
            date.fromisoformat(record.day)
            for record in decided
            if record.content is not None and record.content["choice"] == "leave"
        ),
    )
