"""What the report says about its evidence: results beside their bands, uncertainty, and the limits of both."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from fertadjust import words
from fertadjust.compare import Comparison, percent
from fertadjust.errors import OutOfSeason
from fertadjust.evidence import Evidence, cite
from fertadjust.limits import limits_of_the_test
from fertadjust.report_parts import GLUE, Row, backing_of, glued, short_date
from fertadjust.rules.evidence_rules import compared
from fertadjust.rules.facts import Facts
from fertadjust.season import Advice, BlockSeason
from fertadjust.tissue import MAIN_ANALYTE, Censor, TissueResult


def result_row(season: BlockSeason, advice: Advice, result: TissueResult) -> Row:
    """One result beside its band; a chance only for nitrogen, whose uncertainty has a budget."""
    main = result.analyte == MAIN_ANALYTE[result.tissue]
    row: Row = {
        "main": main,
        "record": result.record,
        "sampled": short_date(result.sampled),
        "received": "day received not noted"
        if result.received is None
        else f"received {short_date(result.received)}",
        "kind": result.kind,
        "value": result.text(),
        "reported": result.reported,
        "origin": ", ".join(text for text in (result.method.value, result.laboratory, result.sample_id) if text),
        "note": result.note,
        "petioles": "not noted" if result.petioles is None else str(result.petioles),
        "part": _part(advice.facts, result) if main else "",
        "band": None,
    }
    try:
        reading = season.reading(result)
    except OutOfSeason as reason:
        return row | {"why_no_band": str(reason)}
    band = reading.band
    found = compared(reading, season.policy)
    return row | {
        "band": words.band_words(reading).replace(f" {band.unit}", f"{GLUE}{band.unit}"),
        "table": band.table,
        "row": band.row,
        "row_note": band.note,
        "place": band.label,
        "position": "none" if found.position is None else f"{found.position:.2f}",
        "status": "cannot be told" if found.status is None else found.status.value,
        "chances": _chances(found, result.censor) if main else [],
        "backing": backing_of(band.source, band.evidence),
    }


def _chances(found: Comparison, censor: Censor) -> list[str]:
    """Chance of each side; of a bound only the side that it can tell."""
    if censor is Censor.BELOW:
        return [f"below: at least {percent(found.below)}"]
    if censor is Censor.ABOVE:
        return [f"above: at least {percent(found.above)}"]
    sides = {"below": found.below, "within": found.within, "above": found.above}
    return [f"{side}: {percent(chance)}" for side, chance in sides.items()]


def _part(facts: Facts, result: TissueResult) -> str:
    """Which part a nitrogen result plays in the advice."""
    if any(item.record == result.record for item in facts.not_used):
        return "not used"
    primary, leaf = facts.primary, facts.leaf
    if primary is not None and result.record in primary.records:
        return "decides" if primary.count == 1 else f"decides, mean of {primary.count}"
    if leaf is not None and result.record in leaf.records:
        return "held beside the petiole"
    if primary is not None and (result.tissue, result.basis) == (primary.tissue, primary.basis):
        return "earlier result"
    return "shown only"


def uncertainty_part(advice: Advice) -> Row:
    """The uncertainty budget of the deciding reading."""
    reading = advice.facts.primary
    return {
        "what": "" if reading is None else words.result_sentence(reading, advice.recommendation),
        "parts": [
            (part.name, glued(f"{100 * part.relative:.1f} %"), backing_of(part.source, part.evidence))
            for part in advice.recommendation.parts
        ],
        "total": glued(f"{100 * advice.recommendation.relative:.1f} %"),
    }


def limits_part(season: BlockSeason, shown: Sequence[Row], advice: Advice, notes: Sequence[str]) -> Row:
    """What a reader should know about the figures behind the advice."""
    used = {
        (row["table"], f"Row {row['row']}: {row['row_note']}")
        for row in shown
        if row["band"] is not None and row["row_note"]
    }
    tables = [
        {
            "id": table.id,
            "title": table.title,
            "region": table.region,
            "recalled": table.recalled,
            "notes": [*table.notes, *sorted(note for name, note in used if name == table.id)],
        }
        for table in season.tables
    ]
    return {
        "test": limits_of_the_test(season.tables),
        "tables": tables,
        "own": season.policy.overrides(),
        "recalled": list(dict.fromkeys(_recalled(season, shown, advice))),
        "notes": list(notes),
    }


def _recalled(season: BlockSeason, shown: Sequence[Row], advice: Advice) -> Iterable[str]:
    """Every figure from memory that something on the page rests on."""
    sure: Mapping[tuple[str, str], str | None] = {
        (table.id, row.id): row.confidence for table in season.tables for row in table.rows
    }
    for row in shown:
        if row["band"] is not None and row["backing"]["recalled"]:
            confidence = sure.get((row["table"], row["row"])) or "not stated"
            yield f"band of {row['kind']}, {row['band']} ({row['backing']['cite']}; confidence {confidence})"
    for part in advice.recommendation.parts:
        if part.evidence is Evidence.RECALLED:
            yield f"uncertainty from {part.name} ({cite(part.source, part.evidence)})"
    for line in advice.recommendation.trace:
        if line.evidence is Evidence.RECALLED:
            yield f"rule “{line.rule}” ({cite(line.source, line.evidence)})"
    for credit in season.plan.credits:
        if credit.evidence is Evidence.RECALLED:
            yield f"credit “{credit.name}” ({cite(credit.source, credit.evidence)})"
