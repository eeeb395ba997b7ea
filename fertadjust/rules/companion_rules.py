"""Published notes on the other nutrients of the same report. None of them changes the nitrogen."""

from __future__ import annotations

from datetime import date

from fertadjust.dates import short_day
from fertadjust.rules.facts import Companion, Draft, Facts, Outcome, fires, quiet
from fertadjust.rules.policy import CompanionRule
from fertadjust.tissue import Censor


def companion(facts: Facts, rule: CompanionRule, draft: Draft) -> Outcome:
    """Hold one companion nutrient against its published limit."""
    found = _value(facts.companions, rule.analyte)
    if found is None:
        return quiet(rule, f"no {rule.analyte} on the report", "It was not measured.", draft)
    value, on = found
    limit = rule.below if rule.below is not None else rule.above
    assert limit is not None
    relation = "at or below" if rule.inclusive else "below"
    relation = relation if rule.below is not None else "at or above"
    saw = f"{rule.analyte} {value:.3g} {rule.unit} on {short_day(on)}; rule {relation} {limit:g}"
    on_limit = rule.above is not None or rule.inclusive
    beyond = value < limit if rule.below is not None else value > limit
    applies = beyond or (on_limit and value == limit)
    if not applies:
        return quiet(rule, saw, "It calls for nothing.", draft)
    blooming = facts.week is not None and facts.week >= 1
    advice = rule.late if rule.late and blooming else rule.advice
    return fires(rule, saw, f"{advice[:1].upper()}{advice[1:]}.", draft, "note only")


def _value(companions: tuple[Companion, ...], analyte: str) -> tuple[float, date] | None:
    """Value and day of an analyte, or of a ratio of two of one report."""
    names = analyte.split(":")
    usable = (Censor.NONE, Censor.BELOW) if len(names) == 1 else (Censor.NONE,)
    items = [
        next((item for item in companions if item.analyte == name and item.censor in usable), None)
        for name in names
    ]
    if any(item is None for item in items):
        return None
    values = [item.value for item in items if item is not None]
    day = next(item.sampled for item in items if item is not None)
    return (values[0] if len(values) == 1 else values[0] / values[1]), day
