"""Advice in a grower's words. Nothing is decided here; the words follow from the recommendation."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from fertadjust.alternatives import Alternative
from fertadjust.band_rows import Band
from fertadjust.compare import chances, percent
from fertadjust.dates import day, short_day
from fertadjust.evidence import Evidence
from fertadjust.rules.bound_rules import NOTHING_FED
from fertadjust.rules.facts import Action, Flip, Reading, Recommendation
from fertadjust.season import Advice
from fertadjust.tissue import Censor, format_value
from fertadjust.units import UnitSystem

_VERBS = {Action.RAISE: "Raise", Action.HOLD: "Hold", Action.CUT: "Cut"}
_STEPS = ("raise", "cut")

FROM_MEMORY = "The band behind this advice was written from memory: check it."
"""What stands below the amounts of an advice whose deciding band is recalled."""


def recalled_mark(*bands: Band | None) -> str:
    """What stands beside a band, or something that rests on it, where one of some bands is recalled; else ""."""
    known = (band for band in bands if band is not None)
    return "band recalled" if any(band.evidence is Evidence.RECALLED for band in known) else ""


def reading_mark(reading: Reading) -> str:
    """The same for the band of a reading, to follow it in brackets: " (band recalled)", else ""."""
    mark = recalled_mark(reading.band)
    return f" ({mark})" if mark else ""


def counted(number: int, word: str) -> str:
    """A number with its word: "1 day", "2 days"."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def rate(lb_ac: float, units: UnitSystem) -> str:
    """A rate or total without its unit, two decimals."""
    return f"{units.rate_out(lb_ac):.2f}"


def rates(values: Iterable[float], units: UnitSystem) -> str:
    """Weekly rates in order, each once for as long as it lasts: "7.00, then 4.65"."""
    texts = [text for text, _ in groupby(rate(value, units) for value in values)]
    return ", then ".join(texts) if texts else "nothing"


def headline(advice: Advice, units: UnitSystem) -> str:
    """The decision in one sentence."""
    found = advice.recommendation
    if not found.weeks:
        return "Hold: no week of the plan is left to change."
    now, new = rates(found.standing_rates_lb_ac, units), rates(found.rates_lb_ac, units)
    span = _span(found)
    if found.action is Action.HOLD:
        planned = rates((week.rate_lb_ac for week in found.weeks), units)
        own = "" if planned == new else f" (the plan's own rate is {planned})"
        head = f"Hold nitrogen at {new} {units.rate_unit}{own} {span}"
    else:
        step = _step_percent(found)
        head = f"{_VERBS[found.action]} nitrogen from {now} to {new} {units.rate_unit} ({step}) {span}"
    if found.runs_out:
        head += ", as far as the season cap lasts"
    return f"{head}; review on {day(found.review)}."


def _step_percent(found: Recommendation) -> str:
    before, after = found.standing_rates_lb_ac[0], found.rates_lb_ac[0]
    for old, new in zip(found.standing_rates_lb_ac, found.rates_lb_ac, strict=True):
        if abs(old - new) > 1e-9:
            before, after = old, new
            break
    return "from nothing" if before == 0 else f"{100 * (after / before - 1):+.0f} %"


def _span(found: Recommendation) -> str:
    first, last = found.weeks[0], found.weeks[-1]
    count = len(found.weeks)
    weeks = "the week" if count == 1 else f"the {count} weeks"
    return f"for {weeks} from {day(first.start)} to {day(last.end)}"


def result_sentence(reading: Reading, found: Recommendation, *, marked: bool = False) -> str:
    """What the deciding result showed against its band; a recalled band says so where ``marked``.

    A stored advice holds the sentence without the mark: the rule "recalled band" stands beside it there.
    """
    value = reading.text()
    kind = f"{reading.tissue.value.capitalize()} {reading.analyte}"
    several = f" (mean of {reading.count})" if reading.count > 1 else ""
    comparison = found.comparison
    where = "cannot be placed against"
    if comparison is not None and comparison.side is not None:
        where = f"is {comparison.side.word}"
    return (
        f"{kind} of {short_day(reading.sampled)} was {value}{several}; it {where} the band of "
        f"{band_words(reading)} for {reading.band.label}{reading_mark(reading) if marked else ''}."
    )


def band_words(reading: Reading) -> str:
    """The band in words: "4,000 to 6,000 ppm" or "400 ppm and more"."""
    return reading.band.text()


def how_sure(advice: Advice) -> str:
    """How sure the reading of the result is, with the uncertainty behind it."""
    found = advice.recommendation
    comparison, reading = found.comparison, advice.facts.primary
    if comparison is None or reading is None:
        return "Not sure of anything: there is no usable result."
    uncertainty = f"measurement uncertainty {100 * found.relative:.0f} %."
    if reading.censor is not Censor.NONE:
        if comparison.side is None:
            return f"The laboratory's bound does not tell on which side the crop lies; {uncertainty}"
        chance = percent(comparison.probability)
        least = chance if chance.startswith("over") else f"at least {chance}"
        return f"{comparison.side.word.capitalize()} its band: {least}; {uncertainty}"
    text = ", ".join(f"{side}: {percent(share)}" for side, share in chances(comparison, reading.band).items())
    return f"Where the crop lies against its band: {text}; {uncertainty}"


def reasons(advice: Advice) -> tuple[str, ...]:
    """Two or three sentences: what the result was, what moved the rate, what limits it."""
    found = advice.recommendation
    out = []
    if advice.facts.primary is None:
        out.append("There is no usable result.")
    else:
        out.append(result_sentence(advice.facts.primary, found))
    lines = {line.rule: line for line in found.trace}
    if found.moved_by in lines:
        causes = ("heading out", "weighed together")
        out += [lines[name].why for name in causes if lines[name].fired and found.moved_by in _STEPS]
        out.append(lines[found.moved_by].why)
    else:
        holding = [
            line
            for line in found.trace
            if line.fired and line.group != "companions" and ("hold" in line.change or "allowed" in line.change)
        ]
        out += [line.why for line in holding[:2]]
        if not holding and advice.facts.primary is not None:
            out.append(lines["status"].why)
    bound = lines.get(found.binding, lines["floor and ceiling"])
    if found.binding and found.binding != found.moved_by:
        out.append(bound.why)
    return tuple(dict.fromkeys(out))


def would_change(advice: Advice, units: UnitSystem) -> str:
    """What would change the advice, in one sentence: other results first, then what else might have been."""
    reading = advice.facts.primary
    if reading is None:
        return "A usable result may change this."
    changes = [f"with a result {flip_words(flip, advice)} ({flip.action.value})" for flip in advice.flips]
    known = [item for item in advice.alternatives if item.recommendation is not None]
    changes += [f"if {item.condition} ({otherwise(item, units)})" for item in known if differs(advice, item)]
    stays = [f"if {item.condition}" for item in known if not differs(advice, item)]
    here = advice.recommendation.action.value
    parts = []
    if changes:
        parts.append(f"the advice would change {listed(changes, 'or')}")
    else:
        parts.append(f"no result of that sample would change this: the advice stays {here}")
    if stays:
        parts.append(f"it would stay {listed(stays, 'or')}")
    text = "; ".join(parts)
    return f"{text[:1].upper()}{text[1:]}."


def flip_words(flip: Flip, advice: Advice) -> str:
    """The results on the far side of an edge, for example "above 3,149 ppm"."""
    reading = advice.facts.primary
    assert reading is not None
    return f"{'above' if flip.above else 'below'} {format_value(flip.value, reading.unit)} {reading.unit}"


def differs(advice: Advice, item: Alternative) -> bool:
    """Whether another action, or another rate in a week that both cover, would be advised."""
    found, other = advice.recommendation, item.recommendation
    if other is None:
        return False
    if other.action is not found.action:
        return True
    pairs = zip(found.rates_lb_ac, other.rates_lb_ac, strict=False)
    return any(abs(rate - instead) > 1e-9 for rate, instead in pairs)


def otherwise(item: Alternative, units: UnitSystem) -> str:
    """What would be advised in words: "raise to 7.00", "hold at 5.25"; or why the question does not arise."""
    found = item.recommendation
    if found is None:
        return f"does not arise, since {item.why_not}"
    if not found.rates_lb_ac:
        return found.action.value
    to = "at" if found.action is Action.HOLD else "to"
    return f"{found.action.value} {to} {rates(found.rates_lb_ac, units)}"


def numbered(weeks: Sequence[int]) -> str:
    """Numbers of weeks, rising: "week 3" or "weeks 3 to 5 and 9"."""
    runs = [[week for _, week in run] for _, run in groupby(enumerate(weeks), lambda pair: pair[1] - pair[0])]
    texts = [f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in runs]
    return f"week{'' if len(weeks) == 1 else 's'} {listed(texts, 'and')}"


def listed(texts: Sequence[str], word: str) -> str:
    """Texts in a row, the last after a word: "a, b and c"."""
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} {word} {texts[-1]}"


def bounds_sentence(found: Recommendation) -> str:
    """Which bound binds and what the others would allow, or "" where no bound has anything to say."""
    if not found.limits and not found.binding:
        return ""
    others = [f"{item.name} {item.factor:.2f}" for item in found.limits if item.name != found.binding]
    own = [f" ({item.factor:.2f})" for item in found.limits if item.name == found.binding]
    text = (
        f"Of the bounds, {found.binding}{''.join(own)} is the one that binds"
        if found.binding
        else "No bound binds"
    )
    if found.binding == NOTHING_FED:
        text = "The plan feeds nothing in the weeks until the review"
    if others:
        who = "the others" if found.binding else "these"
        text += f"; by themselves {who} would allow a factor of: {', '.join(others)}"
    return f"{text}. A factor of {found.sought:.2f} was sought, {found.factor:.2f} is advised."
