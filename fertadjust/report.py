"""The advisor's report: one advice as one HTML page that prints, needs no network and runs no script."""

from __future__ import annotations

from collections.abc import Sequence

from fertadjust import words
from fertadjust.cautions import cautions_for
from fertadjust.dates import day
from fertadjust.evidence import EVIDENCE_MEANS
from fertadjust.pages import Drawn, cited_in, environment, figures
from fertadjust.report_evidence import limits_part, result_row, uncertainty_part
from fertadjust.report_parts import (
    Row,
    amounts_part,
    backing_of,
    change_part,
    decided_row,
    decision_part,
    ledger_part,
    observation_row,
    replaced_row,
    rule_row,
)
from fertadjust.season import Advice, BlockSeason
from fertadjust.stages import stage_words
from fertadjust.stored import Decided, Replaced
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem


def report_html(
    season: BlockSeason,
    advice: Advice,
    *,
    farm: str,
    units: UnitSystem,
    decisions: Sequence[Decided],
    replaced: Sequence[Replaced] = (),
    charts: Sequence[Drawn] = (),
    program: str,
    notes: Sequence[str] = (),
) -> str:
    """The report of one advice as a complete HTML page.

    Args:
        season: the block's season that the advice was made from.
        advice: the advice.
        farm: the farm's name.
        units: units to show.
        decisions: decisions on the block; those made after the advice's date are left out.
        replaced: results as they were before they were corrected or voided.
        charts: the season chart, put in as it is.
        program: name and version to print in the footer.
        notes: remarks on the season file to repeat among the limits.

    The same arguments always give the same page.
    """
    context = _context(season, advice, farm, units, decisions, replaced, program, notes)
    drawn = figures(charts)
    template = environment().get_template("report.html.j2")
    draft = template.render(context, charts=drawn, citations={})
    return template.render(context, charts=drawn, citations=cited_in(draft))


def _context(
    season: BlockSeason,
    advice: Advice,
    farm: str,
    units: UnitSystem,
    decisions: Sequence[Decided],
    replaced: Sequence[Replaced],
    program: str,
    notes: Sequence[str],
) -> Row:
    known = [item for item in decisions if item.on <= advice.on]
    results = sorted(
        (item for item in season.results if item.known_on <= advice.on),
        key=lambda item: (item.sampled, item.kind, item.record),
    )
    shown = [result_row(season, advice, item) for item in results]
    return {
        "farm": farm,
        "program": program,
        "units": units,
        "day": day(advice.on),
        "block": season.block,
        "policy": season.policy,
        "decision": decision_part(advice, units, known),
        "nitrogen": [row for row in shown if row["main"]],
        "others": [row for row in shown if not row["main"]],
        "not_used": [item._asdict() | {"sampled": day(item.sampled)} for item in advice.facts.not_used],
        "stages": [
            f"{stage_words(name)} {day(start)}" + (" (a guess)" if name in season.stages.approximate else "")
            for name, start in season.stages.dates.items()
        ],
        "uncertainty": uncertainty_part(advice),
        "rules": [rule_row(line) for line in advice.recommendation.trace],
        "us_rules": f"{KG_HA_PER_LB_AC:.4f}" if units is UnitSystem.METRIC else "",
        "amounts": amounts_part(season, advice, units),
        "change": change_part(advice, units),
        "bounds": words.bounds_sentence(advice.recommendation),
        "ledger": ledger_part(season, advice, units),
        "observations": [
            observation_row(item, advice.facts) for item in season.observations if item.on <= advice.on
        ],
        "replaced": [replaced_row(item) for item in replaced],
        "decisions": [decided_row(item, season, advice.on, units) for item in known],
        "limits": limits_part(season, shown, advice, notes),
        "cautions": [
            (item.text, backing_of(item.source, item.evidence)) for item in cautions_for(*season.mixes.every())
        ],
        "evidence_means": [(item.value, text) for item, text in EVIDENCE_MEANS.items()],
    }
