"""Candidate tables and one result across tables, in a grower's words and as plain data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any, Final

from fertadjust.across import Across, Judged, Verdict
from fertadjust.band_rows import Band
from fertadjust.bands import BandTable
from fertadjust.compare import Side, chances, percent
from fertadjust.dates import day
from fertadjust.evidence import Evidence
from fertadjust.stages import StageDates, stage_words
from fertadjust.table_choice import Candidate, Disagreement, Kind
from fertadjust.tissue import Censor, TissueResult, format_value

SIDES: Final = {Side.BELOW: "low", Side.WITHIN: "within", Side.ABOVE: "high", None: "cannot be told"}

_NOT_SURE: Final = " (not sure)"

NO_DEFAULT: Final = (
    "None of them is taken by itself: published bands of different regions disagree, so the table is your choice. "
    "Take the one whose region, system, part of the leaf and way of sampling are yours, and ask your extension "
    "service."
)


def recalled_words(table: BandTable) -> str:
    """Which rows were written from memory, or ""."""
    count = sum(row.evidence is Evidence.RECALLED for row in table.rows)
    if count == 0:
        return ""
    if count == len(table.rows):
        return "all rows recalled, check them"
    return f"some rows recalled, check them ({count} of {len(table.rows)})"


def grown(table: BandTable) -> str:
    """Crop with variety, system and region: "watermelon, seeded, field, Florida"."""
    return ", ".join(text for text in (table.crop, table.variety, table.system, table.region) if text)


def placed_by(on: date, stages: StageDates) -> str:
    """The day and the stage dates that the bands are placed by."""
    names = [
        f"{stage_words(name)} {day(start)}" + (" (a guess)" if name in stages.approximate else "")
        for name, start in stages.dates.items()
    ]
    dates = f"the stages are dated {', '.join(names)}" if names else "no stage has a date"
    return f"The bands are those of {day(on)}; {dates}."


def unnoticed_words(bands: Iterable[Band]) -> str:
    """What holds if the next stage, which has no date, has begun: "350 to 400 mg/L if first harvest has begun"."""
    return "; ".join(f"{band.text()} if {band.label} has begun" for band in bands)


def disagreement_words(found: Disagreement) -> str:
    """How far the bands of one kind lie apart, in one or two sentences; only of tables that the day places."""
    parts = []
    count = len(found.bands)
    if found.unplaced:
        rest = "1 is" if found.unplaced == 1 else f"{found.unplaced} are"
        parts.append(f"Only the {count} tables that the day places are compared; {rest} not placed.")
    if found.lowest is not None and found.highest is not None and found.factor is not None:
        low, high = (format_value(band.low or 0.0, band.unit) for band in (found.lowest, found.highest))
        unit = found.lowest.unit
        parts.append(
            f"The low edges run from {low} {unit} ({found.lowest.table}) to {high} {unit} "
            f"({found.highest.table}), {_times(found.factor)} as high."
            if found.factor > 1
            else f"The low edges are all {low} {unit}."
        )
    else:
        parts.append("Fewer than two of the bands have a low edge, so these are not compared.")
    if found.apart:
        pairs = "; ".join(f"{one} and {other}" for one, other in found.apart)
        parts.append(f"No value lies in both bands of: {pairs}.")
    elif found.shared is not None:
        values = _span_words(*found.shared, found.bands[0].unit)
        parts.append(f"The bands overlap: values {values} lie in {'both' if count == 2 else 'every one'}.")
    return " ".join(parts)


def _times(factor: float) -> str:
    """A factor above 1 in words: "1.02 times", "7.5 times", "12 times"."""
    return f"{factor:.2f} times" if factor < 2 else f"{factor:.2g} times"


def _span_words(low: float | None, high: float | None, unit: str) -> str:
    first, last = (None if end is None else format_value(end, unit) for end in (low, high))
    if first is not None and last is not None:
        return f"from {first} to {last} {unit}" if first != last else f"of {first} {unit}"
    return f"of {first} {unit} and more" if first is not None else f"of {last} {unit} and less"


def season_lines(found: Sequence[Candidate]) -> list[str]:
    """How a choice is written into ``season.toml``: one table of each kind, for the reader to fill in."""
    lines = ["[bands]", 'tables = ["TABLE"]']
    kinds: dict[Kind, list[str]] = {}
    for item in found:
        kinds.setdefault(item.kind, []).append(item.table.id)
    for kind, names in kinds.items():
        lines.append(f"# {kind.words}: {'the one there is' if len(names) == 1 else 'one of'}")
        lines += [f"#   {name}" for name in names]
    return lines


# --- one result -------------------------------------------------------------------------------------------


def converted(result: TissueResult) -> str:
    """What a value was reported as where it was NO3, or "" otherwise."""
    reported = result.reported.strip()
    if not reported.upper().endswith(" NO3"):
        return ""
    return f"{reported} is {result.text()} {result.analyte}: NO3 times 14.0067 / 62.0049."


def verdict_words(verdict: Verdict, across: Across | None = None) -> str:
    """What one table says: "low", or by stage, "low at first flower, within at first harvest".

    With the comparison it belongs to, a side of which the result is not sure says so: "within (not sure)".
    """
    if not verdict.places:
        return "no band"
    if not verdict.by_stage:
        mark = "" if across is None or not _unsure(verdict.places, across) else _NOT_SURE
        return (_status(verdict.places[0]) if len(verdict.places) == 1 else SIDES[verdict.side]) + mark
    texts = []
    for said, group in groupby(
        verdict.places, lambda item: SIDES[item.found.side] if across is None else side_words(item, across)
    ):
        labels = [judged.band.label for judged in group]
        where = f"at {labels[0]}" if len(labels) == 1 else f"from {labels[0]} to {labels[-1]}"
        texts.append(f"{said} {where}")
    return ", ".join(texts)


def side_words(judged: Judged, across: Across) -> str:
    """The side by value of one place: "low", "within (not sure)"."""
    return SIDES[judged.found.side] + (_NOT_SURE if _unsure([judged], across) else "")


def _unsure(places: Sequence[Judged], across: Across) -> bool:
    """Whether the side is told and not sure at all of some places; never without a budget."""
    return bool(across.parts) and all(
        judged.found.side is not None and judged.found.sure is not judged.found.side for judged in places
    )


def _status(judged: Judged) -> str:
    status = judged.found.status
    return SIDES[None] if status is None else status.value


def chance_words(judged: Judged, across: Across) -> str:
    """Chance of each side; of a bound only the side that it can tell; "" without a budget."""
    if not across.parts:
        return ""
    censor = across.result.censor
    if censor is not Censor.NONE:
        below = censor is Censor.BELOW
        chance = judged.found.below if below else judged.found.above
        return f"{'below' if below else 'above'} at least {percent(chance)}"
    return ", ".join(f"{side} {percent(share)}" for side, share in chances(judged.found, judged.band).items())


def sure_words(judged: Judged, across: Across) -> str:
    """Chance of the side by value and whether it is sure: "74 %, not sure"; "" without a budget."""
    found = judged.found
    if not across.parts or found.side is None:
        return ""
    least = "at least " if across.result.censor is not Censor.NONE else ""
    sure = "sure" if found.sure is found.side else "not sure"
    return f"{least}{percent(found.probability)}, {sure}"


def summary(across: Across) -> str:
    """What the tables say together, in a sentence: "Low in one, high in another"."""
    told = [item for item in across.verdicts if item.places]
    if not told:
        return f"There is nothing to compare with: {_why_nothing(across)}."
    groups: dict[str, list[str]] = {}
    for item in sorted((item for item in told if not item.by_stage), key=lambda item: _order(item, across)):
        said = SIDES[item.side] + (_NOT_SURE if _unsure(item.places, across) else "")
        groups.setdefault(said, []).append(item.table.id + _anyhow(item, across))
    staged = [
        f"In {item.table.id} it depends on the {_places_word(item).removesuffix('s')}: "
        f"{verdict_words(item, across)}."
        for item in told
        if item.by_stage
    ]
    alone = len(groups) == 1 and not staged
    parts = [_agreed(*next(iter(groups.items())), across)] if alone else [_grouped(groups)] if groups else []
    return " ".join([*parts, *staged])


def _anyhow(item: Verdict, across: Across) -> str:
    """That a table says the same at each of its places, and whether at some of them it is not sure."""
    if len(item.places) == 1:
        return ""
    unsure = [_unsure([judged], across) for judged in item.places]
    some = ", at some of them not sure" if any(unsure) and not all(unsure) else ""
    return f" (at any of its {_places_word(item)}{some})"


def _order(item: Verdict, across: Across) -> tuple[int, bool]:
    sides = (Side.BELOW, Side.WITHIN, Side.ABOVE, None)
    return sides.index(item.side), _unsure(item.places, across)


def _places_word(item: Verdict) -> str:
    """What a table runs along, "stages", "weeks" or "days"."""
    return item.table.axis.value


def _agreed(word: str, names: Sequence[str], across: Across) -> str:
    if word == SIDES[None]:
        return f"It cannot be told: the bound lies inside or across the band of {_listed(names)}."
    others = len(across.verdicts) > len(names)
    if len(names) == 1:
        return f"The only table {'with a band' if others else 'of its kind'} says {word}: {names[0]}."
    count = "Both" if len(names) == 2 else f"All {len(names)}"
    return f"{count} tables{' with a band' if others else ''} say {word}: {_listed(names)}."


def _grouped(groups: Mapping[str, Sequence[str]]) -> str:
    text = ", ".join(f"{said} in {_listed(names)}" for said, names in groups.items())
    return f"{text[:1].upper()}{text[1:]}."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _why_nothing(across: Across) -> str:
    result = across.result
    if not across.verdicts:
        return f"no table of the crop is for {Kind(result.tissue, result.basis, result.analyte).words}"
    return "; ".join(f"{item.table.id}: {item.candidate.why}" for item in across.verdicts)


def sure_sentence(across: Across) -> str:
    """How far the uncertainty of the result leaves the verdicts open, or "" where there is no budget."""
    told = [item for item in across.verdicts if item.places]
    if across.relative is None or not told:
        return ""
    texts = []
    for item in told:
        open_ = sum(judged.found.sure is None for judged in item.places)
        if open_:
            part = "" if len(item.places) == 1 else "any" if open_ == len(item.places) else "some"
            texts.append(item.table.id + (f" (at {part} of its {_places_word(item)})" if part else ""))
    begin = f"The result is uncertain by {100 * across.relative:.0f} %"
    at = f"at a chance of {100 * across.confidence:.0f} %"
    if texts:
        return f"{begin}; its side is not sure {at} in {_listed(texts)}."
    where = "in each table with a band" if len(told) > 1 else f"in {told[0].table.id}"
    return f"{begin}; its side is sure {at} {where}."


# --- as data ----------------------------------------------------------------------------------------------


def candidate_data(item: Candidate) -> dict[str, Any]:
    """A candidate as JSON-ready data; edges in the stored unit."""
    table = item.table
    return {
        "table": table.id,
        "title": table.title,
        "crop": table.crop,
        "variety": table.variety,
        "system": table.system,
        "region": table.region,
        "tissue": table.tissue.value,
        "basis": table.basis.value,
        "part": table.part,
        "analyte": item.analyte,
        "recalled": table.recalled,
        "band": None if item.band is None else _band_data(item.band),
        "if_next_stage_has_begun": [_band_data(band) for band in item.unnoticed],
        "places": [_band_data(band) for band in item.places],
        "needs_date_of": list(item.needs),
        "why_no_band": item.why,
    }


def _band_data(band: Band) -> dict[str, Any]:
    return {
        "place": band.label,
        "low": band.low,
        "high": band.high,
        "deficient_below": band.deficient_below,
        "excess_above": band.excess_above,
        "unit": band.unit,
        "row": band.row,
        "source": band.source,
        "evidence": band.evidence.value,
        "note": band.note,
    }


def disagreement_data(found: Disagreement) -> dict[str, Any]:
    """How far bands lie apart, as JSON-ready data."""
    return {
        "kind": found.kind.words,
        "tables": [band.table for band in found.bands],
        "lowest_low_edge": None if found.lowest is None else found.lowest.table,
        "highest_low_edge": None if found.highest is None else found.highest.table,
        "factor": found.factor,
        "tables_not_placed": found.unplaced,
        "share_no_value": [list(pair) for pair in found.apart],
        "in_every_band": None if found.shared is None else list(found.shared),
        "in_words": disagreement_words(found),
    }


def across_data(across: Across) -> dict[str, Any]:
    """One result across tables as JSON-ready data."""
    result, apart = across.result, across.disagreement
    return {
        "result": {
            "record": result.record or None,
            "sampled": result.sampled.isoformat(),
            "kind": result.kind,
            "analyte": result.analyte,
            "censor": result.censor.value,
            "value": result.value,
            "unit": result.unit,
            "method": result.method.value,
            "petioles": result.petioles,
        },
        "summary": summary(across),
        "relative_uncertainty": across.relative,
        "confidence": across.confidence,
        "uncertainty": [part._asdict() | {"evidence": part.evidence.value} for part in across.parts],
        "verdicts": [
            candidate_data(item.candidate)
            | {
                "verdict": verdict_words(item),
                "judged": [_judged_data(judged, across) for judged in item.places],
                "judged_if_next_stage_has_begun": [_judged_data(judged, across) for judged in item.unnoticed],
            }
            for item in across.verdicts
        ],
        "not_comparable": [{"table": item.table.id, "why": item.why} for item in across.others],
        "disagreement": None if apart is None else disagreement_data(apart),
    }


def _judged_data(judged: Judged, across: Across) -> dict[str, Any]:
    found = judged.found
    chance = {"below": found.below, "within": found.within, "above": found.above} if across.parts else None
    return {
        "place": judged.band.label,
        "position": found.position,
        "side": None if found.side is None else found.side.word,
        "status": None if found.status is None else found.status.value,
        "chance": chance,
        "sure": None if not across.parts or found.sure is None else found.sure.word,
    }
