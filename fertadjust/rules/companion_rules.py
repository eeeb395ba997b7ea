"""Published notes on the other nutrients of the same report. None of them changes the nitrogen."""

from __future__ import annotations

from datetime import date
from typing import Final

from fertadjust.dates import short_day
from fertadjust.rules.facts import Companion, Draft, Facts, Outcome, fires, quiet
from fertadjust.rules.policy import CompanionRule
from fertadjust.tissue import Censor
from fertadjust.units import UnitSystem

_OF: Final = {"p2o5": "P2O5", "k2o": "K2O", "ca": "Ca", "mg": "Mg", "s": "S"}


def companion(facts: Facts, rule: CompanionRule, draft: Draft) -> Outcome:
    """Hold one companion nutrient against its published limit."""
    found = _value(facts.companions, rule)
    if found is None:
        return quiet(rule, f"no {rule.analyte} on the report", "It was not measured.", draft)
    value, censor, on = found
    digits = ".2f" if rule.unit == "%" else ".3g"
    saw = (
        f"{rule.analyte} {censor}{value:{digits}} {rule.unit} on {short_day(on)}; rule {rule.applies} "
        f"{rule.limit:{digits}}"
    )
    if not _applies(rule, value, censor):
        return quiet(rule, saw, "It calls for nothing.", draft)
    return fires(rule, saw, _advice(facts, rule, draft), draft, "note only")


def _applies(rule: CompanionRule, value: float, censor: Censor) -> bool:
    """Whether a value lies on the rule's side; a bound on the limit lies beyond it."""
    if value == rule.limit:
        return rule.applies.startswith("at") or censor is not Censor.NONE
    return value < rule.limit if rule.below else value > rule.limit


def _advice(facts: Facts, rule: CompanionRule, draft: Draft) -> str:
    late = f"{rule.late[:1].upper()}{rule.late[1:]}." if rule.late else ""
    if late and facts.week is not None and facts.week >= 1:
        return late
    amount = "" if rule.amount is None else amount_words(rule.amount, rule.of, rule.every, facts.units)
    most = "" if rule.most is None else f"{facts.units.rate_out(rule.most):.3g} {_per_area(facts.units)}"
    text = rule.advice.replace("{amount}", amount).replace("{most}", most)
    text = f"{text[:1].upper()}{text[1:]}."
    if late and facts.week is None:
        text += f" Once the crop blooms: {rule.late}."
    if rule.supplies and rule.amount is not None and draft.rates:
        brought = facts.mix.get(rule.supplies, 0.0) * draft.rates[0]
        text += (
            f" The products bring {facts.units.rate_out(brought):.1f} {_per_area(facts.units)} of "
            f"{_OF[rule.supplies]} in the coming week."
        )
    return text


def amount_words(amount: tuple[float, float], of: str, every: str, units: UnitSystem) -> str:
    """An amount of something per area, for example "10 to 15 lb/ac P2O5 once".

    Args:
        amount: least and most [lb/ac].
        of: what it is an amount of.
        every: "week", "once" or "".
        units: units to say it in.
    """
    texts = dict.fromkeys(f"{units.rate_out(value):.3g}" for value in amount)
    when = {"week": " a week", "once": " once", "": ""}[every]
    return f"{' to '.join(texts)} {_per_area(units)} {of}{when}"


def _per_area(units: UnitSystem) -> str:
    return f"{units.weight_unit}/{units.area_unit}"


def _value(companions: tuple[Companion, ...], rule: CompanionRule) -> tuple[float, Censor, date] | None:
    """Latest value and day of the rule's analyte, or of a ratio of two of one report; a bound only if it tells."""
    over, _, under = rule.analyte.partition(":")
    useless = Censor.ABOVE if rule.below else Censor.BELOW
    for item in companions:
        if item.analyte != over or item.censor is useless:
            continue
        if not under:
            return item.value, item.censor, item.sampled
        other = _of(companions, under, item.sampled)
        if other is not None and item.censor is Censor.NONE:
            return item.value / other.value, Censor.NONE, item.sampled
    return None


def _of(companions: tuple[Companion, ...], analyte: str, sampled: date) -> Companion | None:
    """A measured value of one day, or None."""
    for item in companions:
        if item.analyte == analyte and item.sampled == sampled and item.censor is Censor.NONE:
            return item
    return None
