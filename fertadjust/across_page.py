"""One result across band tables as one HTML page for an advisor. It prints, needs no network, runs no script."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fertadjust import across_words as words
from fertadjust.across import Across, Judged, Verdict
from fertadjust.across_chart import across_svgs
from fertadjust.dates import day
from fertadjust.evidence import EVIDENCE_MEANS
from fertadjust.pages import Drawn, cited_in, environment, figures
from fertadjust.report_parts import Row, backing_of, glued
from fertadjust.stages import StageDates


def across_html(
    found: Across,
    stages: StageDates,
    *,
    crop: str,
    farm: str = "",
    block: str = "",
    charts: Sequence[Drawn] = (),
    program: str,
) -> str:
    """One result across tables as a complete HTML page; the same arguments always give the same page.

    Args:
        found: the result and what each table says.
        stages: the stage dates that the bands were placed by.
        crop: the crop.
        farm, block: names, or "" for a result that belongs to no season.
        charts: the figure, put in as it is; none where empty.
        program: name and version to print in the footer.
    """
    result, apart = found.result, found.disagreement
    context: Row = {
        "crop": crop,
        "farm": farm,
        "block": block,
        "day": day(result.sampled),
        "kind": result.kind,
        "value": result.text(),
        "reported": result.reported,
        "details": _details(found),
        "note": result.note,
        "placed": words.placed_by(result.sampled, stages),
        "in_short": [
            glued(text)
            for text in (
                words.summary(found),
                words.converted(result),
                words.sure_sentence(found),
                "" if apart is None else words.disagreement_words(apart),
            )
            if text
        ],
        "choose": words.NO_DEFAULT,
        "rows": [row for number, item in enumerate(found.verdicts, 1) for row in _rows(number, item, found)],
        "tables": [_table(number, item, found) for number, item in enumerate(found.verdicts, 1)],
        "others": found.others,
        "parts": [
            (part.name, f"{100 * part.relative:.1f} %", backing_of(part.source, part.evidence))
            for part in found.parts
        ],
        "total": "" if found.relative is None else f"{100 * found.relative:.1f} %",
        "confidence": f"{100 * found.confidence:.0f} %",
        "program": program,
        "evidence_means": [(item.value, text) for item, text in EVIDENCE_MEANS.items()],
    }
    drawn = figures(charts)
    template = environment().get_template("across.html.j2")
    draft = template.render(context, charts=drawn, citations={})
    return template.render(context, charts=drawn, citations=cited_in(draft))


def drawn_across(
    found: Across, stages: StageDates, *, crop: str, farm: str = "", block: str = "", program: str
) -> str:
    """The page with its figure; arguments as for `across_html`."""
    charts = across_svgs(found)
    return across_html(found, stages, crop=crop, farm=farm, block=block, charts=charts, program=program)


def _details(found: Across) -> list[str]:
    result = found.result
    count = (
        "number of petioles or leaves not noted" if result.petioles is None else f"{result.petioles} in the sample"
    )
    texts = (f"record {result.record}" if result.record else "", result.method.value, result.laboratory, count)
    return [text for text in texts if text]


def _rows(number: int, item: Verdict, found: Across) -> Iterator[Row]:
    base: Row = {"number": number, "id": item.table.id, "region": item.table.region, "system": item.table.system}
    if not item.places:
        yield base | {"band": None, "why": item.candidate.why, "span": 1, "first": True}
    for index, judged in enumerate(item.places):
        yield base | _judged(judged, found) | {"span": len(item.places), "first": index == 0}


def _judged(judged: Judged, found: Across) -> Row:
    band, comparison = judged.band, judged.found
    return {
        "place": band.label,
        "band": glued(band.text()),
        "limits": [
            f"{text} {limit:,.4g} {band.unit}"
            for text, limit in (("deficient below", band.deficient_below), ("excess above", band.excess_above))
            if limit is not None
        ],
        "position": "none" if comparison.position is None else f"{comparison.position:.2f}",
        "status": words.SIDES[None] if comparison.status is None else comparison.status.value,
        "chances": [glued(text) for text in words.chance_words(judged, found).split(", ") if text],
        "sure": glued(words.sure_words(judged, found)),
        "backing": backing_of(band.source, band.evidence),
        "note": band.note,
    }


def _table(number: int, item: Verdict, found: Across) -> Row:
    table = item.table
    return {
        "number": number,
        "id": table.id,
        "title": table.title,
        "grown": words.grown(table),
        "part": table.part,
        "recalled": words.recalled_words(table),
        "why": item.candidate.why,
        "unnoticed": [
            f"{words.side_words(judged, found).capitalize()} if {judged.band.label} has begun, which has no date: "
            f"{judged.band.text()}."
            for judged in item.unnoticed
        ],
        "notes": table.notes,
    }
