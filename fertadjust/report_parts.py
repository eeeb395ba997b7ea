"""The parts of the report as plain texts; the template only lays them out."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import Any, Final

from fertadjust import words
from fertadjust.dates import day, short_day
from fertadjust.evidence import Evidence, cite
from fertadjust.field import AreaBasis, Block, basis_words
from fertadjust.observations import Observation, Sight
from fertadjust.plan import PlanWeek
from fertadjust.products import ProductAmount
from fertadjust.readings import side_of
from fertadjust.rules.facts import Facts, Reading, TraceLine
from fertadjust.season import Advice, BlockSeason
from fertadjust.stored import Decided, Replaced
from fertadjust.units import FT2_PER_ACRE, M2_PER_HA, UnitSystem
from fertadjust.weekly import WeekAmounts

Row = dict[str, Any]
"""One table row, or one part of the page: names and texts."""

_CHOICES: Final = {"accept": "accepted", "change": "changed", "leave": "left"}
_WHY: Final = 2
"""Sentences that give the reason, right below the decision."""

GLUE: Final = "\N{NO-BREAK SPACE}"


def backing_of(source: str, evidence: Evidence) -> Row:
    """The short citation of a figure, and whether it was written from memory."""
    return {"cite": cite(source, evidence), "recalled": evidence is Evidence.RECALLED}


def glued(text: str) -> str:
    """A text whose percent signs stay with their numbers."""
    return text.replace(" %", f"{GLUE}%")


def short_date(value: date) -> str:
    """A date for a narrow column: "9 Mar 2026"."""
    return f"{_month_day(value)}{GLUE}{value.year}"


def _month_day(value: date) -> str:
    return short_day(value).replace(" ", GLUE)


def _number(value: float) -> str:
    """A weight or volume: two decimals, one from a hundred on."""
    return f"{value:,.1f}" if abs(value) >= 100 else f"{value:.2f}"


def decision_part(advice: Advice, units: UnitSystem, known: Sequence[Decided]) -> Row:
    """What is advised and what was decided on that day."""
    found = advice.recommendation
    today = [item for item in known if item.on == advice.on]
    sentences = [glued(text) for text in _sentences(words.reasons(advice))]
    return {
        "action": found.action.value,
        "headline": glued(words.headline(advice, units)),
        "why": sentences[:_WHY],
        "more": sentences[_WHY:],
        "how_sure": glued(words.how_sure(advice)),
        "next_sample": day(found.next_sample),
        "review": day(found.review),
        "factor": f"{found.standing_factor:.2f} → {found.factor:.2f}",
        "to_do": found.to_do,
        "human": human_row(today[-1], units) if today else None,
        "recalled": advice.facts.primary is not None and advice.facts.primary.band.evidence is Evidence.RECALLED,
    }


def _sentences(texts: Sequence[str]) -> list[str]:
    return [part for text in texts for part in re.split(r"(?<=[.?!]) (?=[A-Z])", text)]


def rule_row(line: TraceLine) -> Row:
    """One line of the trace."""
    return {
        "group": line.group,
        "rule": line.rule,
        "fired": line.fired,
        "saw": line.saw,
        "change": line.change.replace("->", "→"),
        "why": line.why,
        "backing": backing_of(line.source, line.evidence),
    }


def amounts_part(season: BlockSeason, advice: Advice, units: UnitSystem) -> Row:
    """The weekly tables, with the area that they are for."""
    plan = season.plan
    products = advice.weeks[0].products if advice.weeks else ()
    return {
        "weeks": [_week(week, plan.injections_per_week, units) for week in advice.weeks],
        "products": [f"{part.product.name} ({part.product.grade})" for part in products],
        "after": _after(advice),
        "injections": plan.injections_per_week,
        "area": area_words(season.block, units),
        "bounds": (
            f"Floor {words.rate(plan.floor_lb_ac, units)}, ceiling {words.rate(plan.ceiling_lb_ac, units)} "
            f"{units.rate_unit}; smallest step that can be metered {units.rate_out(plan.rate_step_lb_ac):.3g}."
        ),
    }


def _after(advice: Advice) -> str:
    return "decided" if advice.decided else "advised"


def area_words(block: Block, units: UnitSystem) -> str:
    """The block's fertilized area with its formula, for example "300 ft x 10 rows x 2.5 ft ..."."""
    width, what = {
        AreaBasis.BED: (block.bed_top_width_ft, "bed-top width"),
        AreaBasis.GROSS: (block.bed_spacing_ft, "bed spacing"),
        AreaBasis.LINEAR_BED: (block.standard_spacing_ft or 0.0, "standard bed spacing"),
    }[block.area_basis]
    unit = units.length_unit
    divisor = FT2_PER_ACRE if units is UnitSystem.US else M2_PER_HA
    return (
        f"{units.length_out(block.row_length_ft):g} {unit} row length × {block.rows} rows × "
        f"{units.length_out(width):g} {unit} {what} ÷ {divisor:,.0f} {unit}²/{units.area_unit} = "
        f"{units.area_out(block.area_ac()):.4f} {units.area_unit}. "
        f"Rates are per {basis_words(block.area_basis, units)}."
    )


def _week(week: WeekAmounts, injections: int, units: UnitSystem) -> Row:
    pairs = zip(week.products_before, week.products, strict=True)
    return {
        "number": week.week.number,
        "start": day(week.week.start),
        "short_start": _month_day(week.week.start),
        "stage": week.stage or "outside the bands",
        "before": words.rate(week.before_lb_ac, units),
        "after": words.rate(week.rate_lb_ac, units),
        "change": _change(week),
        "n": _number(units.weight_out(week.n_lb)),
        "n_injection": _number(units.weight_out(week.n_lb_injection)),
        "products": [
            (_amount(a, 1, units), _amount(b, 1, units), _amount(b, injections, units)) for a, b in pairs
        ],
        "k2o": _number(units.weight_out(week.nutrient_lb("k2o"))),
        "ca": _number(units.weight_out(week.nutrient_lb("ca"))),
        "total": words.rate(week.total_lb_ac, units),
        "cap": "over the cap" if week.over_cap else "",
    }


def _change(week: WeekAmounts) -> str:
    if not week.changed:
        return "none"
    if week.before_lb_ac == 0:
        return "from nothing"
    return f"{100 * (week.rate_lb_ac / week.before_lb_ac - 1):+z.0f}{GLUE}%"


def _amount(part: ProductAmount, shares: int, units: UnitSystem) -> Row:
    volume = part.volume_gal
    return {
        "weight": _number(units.weight_out(part.weight_lb / shares)),
        "volume": "" if volume is None else f"{_number(units.volume_out(volume / shares))} {units.volume_unit}",
    }


def change_part(advice: Advice, units: UnitSystem) -> Row:
    """What would change the advice: results in order of size around the present one, and what else might be."""
    reading = advice.facts.primary
    rows = []
    if reading is not None and advice.flips:
        here = f"{reading.text()}, as it is"
        edges = [(flip.value, words.flip_words(flip, advice), flip.action.value) for flip in advice.flips]
        ordered = sorted([*edges, (reading.value, here, advice.recommendation.action.value)])
        rows = [(f"the result were {text}", action) for _, text, action in ordered]
    rows += [(item.condition, words.otherwise(item, units)) for item in advice.alternatives]
    return {"sentence": words.would_change(advice, units), "rows": rows}


def ledger_part(season: BlockSeason, advice: Advice, units: UnitSystem) -> Row:
    """Past weeks and the season's nitrogen against its cap."""
    weeks = [week for week in season.plan.weeks if week.start < advice.on]
    facts, cap = advice.facts, season.plan.cap_lb_ac
    so_far = facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac + facts.rest_of_week_lb_ac
    coming = sum(week.rate_lb_ac for week in advice.weeks)
    lines: list[tuple[str, float]] = [
        ("Applied and logged", facts.logged_lb_ac),
        ("Past weeks without a log, counted at their target", facts.assumed_lb_ac),
        ("Still to go out in the running week", facts.rest_of_week_lb_ac),
        ("So far, with credits and the running week", so_far),
        (f"Coming weeks as {_after(advice)}", coming),
        ("Whole season", so_far + coming),
    ]
    if cap is not None:
        left = cap - so_far - coming
        kept = sum(max(0.0, week.week.rate_lb_ac - week.rate_lb_ac) for week in advice.weeks if week.over_cap)
        lines.append(("Season cap", cap))
        lines.append(("Left under the cap" if left >= -1e-9 else "Over the cap already", abs(left)))
        if kept > 0:
            lines.append(("Of the plan, kept back by the cap", kept))
    return {
        "weeks": [_ledger_week(season, advice, week, units) for week in weeks],
        "credits": [
            (item.name, words.rate(item.n_lb_ac, units), backing_of(item.source, item.evidence))
            for item in season.plan.credits
        ],
        "lines": [(text, words.rate(value, units)) for text, value in lines],
        "no_cap": cap is None,
    }


def _ledger_week(season: BlockSeason, advice: Advice, week: PlanWeek, units: UnitSystem) -> Row:
    row = season.ledger(advice.on).week(week, advice.on)
    running = week.end >= advice.on
    logged = "logged" if row.logged else "nothing logged"
    if running:
        logged = f"still running, {logged} so far"
    elif not row.logged:
        logged = "nothing logged, counted at its target"
    return {
        "number": week.number,
        "start": day(week.start),
        "target": words.rate(row.target_lb_ac, units),
        "applied": words.rate(row.applied_lb_ac, units) if row.logged else "not known",
        "difference": f"{units.rate_out(row.difference_lb_ac):+z.2f}" if row.logged else "not known",
        "logged": logged,
    }


def observation_row(item: Observation, facts: Facts) -> Row:
    """One field observation and whether it counts in the advice."""
    counts = item in facts.observations
    if item.sight is Sight.SOIL_NITRATE:
        counts = facts.soil_nitrate == (item.on, item.value)
    return {
        "on": day(item.on),
        "sight": item.sight.value,
        "value": "" if item.value is None else f"{item.value:g} ppm NO3-N",
        "note": item.note,
        "counts": "noted only" if item.sight is Sight.OTHER else "counts" if counts else "too old to count",
    }


def human_row(item: Decided, units: UnitSystem) -> Row:
    """One decision by a person."""
    rates = sorted((week, words.rate(rate, units)) for week, rate in item.rates_lb_ac.items())
    runs = [(rate, [week for week, _ in run]) for rate, run in groupby(rates, key=lambda pair: pair[1])]
    return {
        "on": day(item.on),
        "by": item.by,
        "choice": _CHOICES.get(item.choice, item.choice),
        "action": item.action,
        "advised": item.advised,
        "reason": item.reason,
        "rates": "; ".join(f"{rate} in {_week_words(weeks)}" for rate, weeks in runs) or "rates left as they were",
    }


def _week_words(weeks: Sequence[int]) -> str:
    return f"week {weeks[0]}" if len(weeks) == 1 else f"weeks {weeks[0]} to {weeks[-1]}"


def decided_row(item: Decided, season: BlockSeason, on: date, units: UnitSystem) -> Row:
    """One decision with the first result that was sampled after it, as known on a day."""
    later = (reading for reading in season.later_readings(None, on) if reading.sampled > item.on)
    reading = next(later, None)
    return human_row(item, units) | {"next": "none yet" if reading is None else _reading_words(reading)}


def _reading_words(reading: Reading) -> str:
    side = side_of(reading)
    where = "side not told" if side is None else side.word
    value = reading.text().replace(" ", GLUE)
    kind = f"{reading.tissue.value} {reading.analyte}"
    return f"{_month_day(reading.sampled)}: {kind} {value}, {where} its band"


def replaced_row(item: Replaced) -> Row:
    """A result as it was before it was corrected or voided."""
    was, now = item.result, item.now
    if item.pending:
        what = "withdrawn; what stands in its place was not known yet"
    elif now is None:
        what = "voided"
    elif now.block != was.block:
        what = f"moved from block {was.block} to block {now.block} as {now.text()} (record {now.record})"
    else:
        moved = f" of {short_date(now.sampled)}" if now.sampled != was.sampled else ""
        what = f"corrected to {now.text()}{moved} (record {now.record})"
    return {
        "record": was.record,
        "sampled": short_date(was.sampled),
        "was": f"{was.kind} {was.text()}",
        "now": what,
        "reason": item.reason,
    }
