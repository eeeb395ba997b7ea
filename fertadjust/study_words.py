"""A study of the rules as a page of text and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fertadjust.plan import Plan
from fertadjust.simulate.guards import GUARDS
from fertadjust.simulate.measures import Estimate
from fertadjust.simulate.parameters import CropModel
from fertadjust.simulate.scenario import Scenario
from fertadjust.simulate.study import BOUNDED, PLAN, RULES, TUNED, UNGUARDED, Beside, Study

FIGURE: Final = "findings.svg"
_WORDS: Final = {guard.name: guard.words for guard in GUARDS}


def findings_text(found: Study, season: Plan, model: CropModel, scenarios: Mapping[str, Scenario]) -> str:
    """The page of findings, in Markdown.

    Args:
        found: the study.
        season: the plan that its seasons share.
        model: the crop.
        scenarios: by id.
    """
    parts = [
        _head(found, season),
        _answer(found),
        f"![Weeks in the band by scenario, and what each guard does]({FIGURE})",
        _by_scenario(found, scenarios),
        _by_guard(found),
        _values(found),
        _limits(model),
    ]
    return "\n\n".join(parts) + "\n"


def findings_data(found: Study) -> dict[str, Any]:
    """The study as JSON-ready data; shares of the weeks as they are, nitrogen in lb/ac."""
    return {
        "schema": 1,
        "plan": found.plan.model_dump(mode="json", by_alias=True),
        "weeks": found.weeks,
        "tried": [{"name": item.name, "value": item.value, "saved": _numbers(item.saved)} for item in found.tried],
        "found": dict(found.found),
        "compared": [_beside_data(item) for item in found.compared],
        "guards": [_beside_data(item) for item in found.guards],
        "variants": [_beside_data(item) for item in found.variants],
        "first": {name: _number(value) for name, value in found.first.items()},
    }


def _beside_data(item: Beside) -> dict[str, Any]:
    def every(of: Mapping[str, Mapping[str, Estimate]]) -> dict[str, Any]:
        return {way: {name: _numbers(value) for name, value in row.items()} for way, row in of.items()}

    return {"scenario": item.scenario, "means": every(item.means), "beside the rules": every(item.gains)}


def _numbers(value: Estimate) -> dict[str, Any]:
    return {
        "mean": _number(value.mean),
        "low": _number(value.low),
        "high": _number(value.high),
        "seasons": value.seasons,
    }


def _number(value: float) -> float | None:
    return None if math.isnan(value) else value


def sure(value: Estimate) -> int:
    """Direction in which an estimate surely lies from nothing: -1, 1, or 0 when its interval holds it."""
    return (value.low > 0) - (value.high < 0)


def _span(value: Estimate, scale: float = 1.0, digits: int = 1, sign: bool = False) -> str:
    """Mean and interval: "6.3 (6.2 to 6.4)"."""
    form = f"{'+' if sign else ''}.{digits}f"
    mean, low, high = (format(scale * number, form) for number in value[:3])
    return f"{mean} ({low} to {high})"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def _head(found: Study, season: Plan) -> str:
    plan = found.plan
    rates = ", then ".join(f"{rate:g}" for rate in dict.fromkeys(season.rates_lb_ac))
    cap = "no season cap"
    if season.cap_lb_ac is not None:
        cap = f"season cap {season.cap_lb_ac:g} lb N/ac with {season.credits_lb_ac:g} credited"
    return f"""# Does the feedback work?

What the shipped rules for strawberry do when they run week after week on noisy, late results. It was found with
a model of crop and soil nitrogen, not in a field: it can show that rules hunt, wind up or starve a crop, and it
cannot show that they pay. `fertadjust study --run` runs it again and writes the same page.

Each scenario is {plan.report.seasons:,} seasons of {found.weeks} weeks at Georgia's published rates
({rates} lb N/ac/week; floor {season.floor_lb_ac:g}, ceiling {season.ceiling_lb_ac:g}, {cap}).
Every way of deciding meets the same seasons. Figures were looked for on other seasons
({plan.tuning.seasons} in each of {len(plan.tuning.scenarios)} scenarios, seed {plan.tuning.seed}) than those
reported (seed {plan.report.seed}). In brackets stand 95 % intervals over seasons. "In band" is what is really in
the petiole, not what a laboratory reports."""


def _answer(found: Study) -> str:
    usual, weeks = found.compared[0], found.weeks
    rules, plan, gains = usual.means[RULES], usual.means[PLAN], usual.gains[PLAN]
    lines = [
        f'In the scenario "{usual.scenario}" the rules kept the crop in its band in '
        f"{_span(rules['in_band'], weeks)} of {weeks} weeks, the plan as it stands in "
        f"{_span(plan['in_band'], weeks)}. Growth lost for want of nitrogen was {_span(rules['unmet'])} against "
        f"{_span(plan['unmet'])} lb N/ac, with {_by(-gains['applied'].mean, 'fed')} and "
        f"{_by(-gains['leached'].mean, 'leached')}.",
        *_sides(found),
        *_stability(found),
        *_unguarded(found),
        *_guards_that_cost(found),
        _tuned(found),
        *_would_be_worth(found),
        *_varied(found),
    ]
    return "## What was found\n\n" + "\n".join(f"- {line}" for line in lines)


def _by(more: float, what: str) -> str:
    """A difference in nitrogen in words: "2.1 lb/ac more fed"."""
    return f"{abs(more):.1f} lb/ac {'more' if more >= 0 else 'less'} {what}"


def _named(items: Sequence[Beside]) -> str:
    return ", ".join(item.scenario for item in items)


def _sides(found: Study) -> Iterator[str]:
    """In how many scenarios the rules do better than the plan, and in which they do not."""
    for measure, words in (("bad_weeks", "fewer weeks out of the band"), ("unmet", "less growth lost")):
        beside = [(item, sure(item.gains[PLAN][measure])) for item in found.compared]
        less, unclear, more = ([item for item, side in beside if side == way] for way in (1, 0, -1))
        line = f"Beside the plan the rules surely came to {words} in {len(less)} of {len(beside)} scenarios"
        if unclear:
            line += f", to no clear difference in {len(unclear)} ({_named(unclear)})"
        if more:
            line += f", and surely to more in {len(more)} ({_named(more)})"
        if measure == "bad_weeks":
            line += f"; a week above the band counts {found.plan.above_counts:g} of one below it"
        yield f"{line}."


def _stability(found: Study) -> Iterator[str]:
    means = [item.means[RULES] for item in found.compared]
    usual = means[0]
    reversals = max(row["reversals"].mean for row in means)
    changes = max(row["changes"].mean for row in means)
    yield (
        f"Hunting: {usual['changes'].mean:.1f} changes of the rate and {usual['reversals'].mean:.2f} reversals a season "
        f'in "{found.compared[0].scenario}", at most {changes:.1f} and {reversals:.2f}. A change that runs out '
        "before its result has come is among them: the rate goes back to plan, and the late result moves it again."
    )
    over = max(row["over_cap"].mean for row in means)
    outside = max(row["out_of_bounds"].mean for row in means)
    yield (
        f"Winding up: {'no season of any scenario' if over == 0 else f'up to {100 * over:.1f} % of the seasons'} passed "
        f"the season cap, and {'no week' if outside == 0 else f'up to {100 * outside:.1f} % of the weeks'} lay outside "
        "floor and ceiling."
    )


def _unguarded(found: Study) -> Iterator[str]:
    first = found.compared[0]
    for way, words in (
        (UNGUARDED, "A step at every result outside the band, without any guard or bound,"),
        (BOUNDED, "The same within floor, ceiling and season cap"),
    ):
        means = [item.means[way] for item in found.compared]
        better, worse = (
            [item for item in found.compared if sure(item.gains[way]["bad_weeks"]) == side] for side in (-1, 1)
        )
        line = f"{words} came to fewer weeks out of the band than the rules in {len(better)} of {len(means)}"
        line += " scenarios"
        if worse:
            line += f" and to more in {len(worse)} ({_named(worse)})"
        more = [
            _by(first.gains[way][key].mean, what) for key, what in (("applied", "fed"), ("leached", "leached"))
        ]
        line += f', with {more[0]} and {more[1]} in "{first.scenario}"'
        if way == UNGUARDED:
            over = max(row["over_cap"].mean for row in means)
            outside = max(row["out_of_bounds"].mean for row in means)
            line += (
                f"; up to {100 * over:.0f} % of seasons passed the cap and up to {100 * outside:.0f} % of weeks "
                "lay outside floor and ceiling"
            )
        yield f"{line}."
        fewer, many = (
            [item for item in found.compared if sure(item.gains[way]["reversals"]) == side] for side in (-1, 1)
        )
        yield (
            f"It reversed the rate surely more often than the rules in {len(many)} of {len(means)} scenarios and "
            f"surely less often in {len(fewer)}; more nitrogen was fed in "
            f"{sum(sure(item.gains[way]['applied']) > 0 for item in found.compared)}."
        )
    yield (
        "The model knows no soft fruit, no salt and no law, so it cannot say whether a crop that is short for longer, "
        "or more nitrogen, is the better way."
    )


def _guards_that_cost(found: Study) -> Iterator[str]:
    if not found.guards:
        return
    usual, weeks = found.guards[0], found.weeks
    rows = {_guard(way): gains for way, gains in usual.gains.items()}
    dear = [name for name in rows if sure(rows[name]["bad_weeks"]) < 0]
    dear.sort(key=lambda name: rows[name]["bad_weeks"].mean)
    if dear:
        costs = ", ".join(f"{name} {-weeks * rows[name]['bad_weeks'].mean:.2f}" for name in dear)
        yield f'Guards that cost weeks in band in "{usual.scenario}" (weeks of {weeks}): {costs}.'
    for measure, words in (("bad_weeks", "gain weeks in band"), ("reversals", "spare reversals")):
        names = [name for name in rows if sure(rows[name][measure]) > 0]
        if names:
            yield f"Guards that {words} there: {', '.join(names)}."
    looked = ("bad_weeks", "unmet", "applied", "reversals", "changes")
    idle = [name for name in rows if not any(sure(rows[name][key]) for key in looked)]
    if idle:
        yield f"Guards that made no clear difference there to weeks, nitrogen or changes: {', '.join(idle)}."


def _guard(way: str) -> str:
    return way.removeprefix("without ")


def _tuned(found: Study) -> str:
    if not found.found:
        return (
            "None of the project's own figures that were tried saved as much as "
            f"{100 * found.plan.worth:g} % of the weeks, so the shipped ones stand."
        )
    named = ", ".join(f"{name} = {_value(value)}" for name, value in found.found.items())
    saved = [sure(item.gains[TUNED]["bad_weeks"]) for item in found.compared]
    return (
        f"On the tuning seasons these figures were worth taking over: {named}. On the reported ones they came to "
        f"surely fewer weeks out of band in {saved.count(-1)} of {len(saved)} scenarios and to more in "
        f"{saved.count(1)}."
    )


def _would_be_worth(found: Study) -> Iterator[str]:
    """Values that save enough and stay as they are all the same."""
    for trial in found.plan.trials:
        worth = [
            item
            for item in found.tried
            if item.name == trial.name and sure(item.saved) > 0 and item.saved.mean >= found.plan.worth
        ]
        if trial.stays and worth:
            shares = " and ".join(f"{100 * item.saved.mean:.1f} % ({_value(item.value)})" for item in worth)
            yield (
                f"{trial.name} would save {shares} of the weeks and stays all the same: {trial.stays}. A grower "
                "who knows better sets it under [policy]."
            )


def _varied(found: Study) -> Iterator[str]:
    """What other crops come to in the first scenario."""
    for item in found.variants:
        rules, plan, bounded = (item.means[way] for way in (RULES, PLAN, BOUNDED))
        yield (
            f"With {item.scenario} the rules come to {_span(rules['in_band'], found.weeks)} weeks in band in "
            f'"{found.compared[0].scenario}", the plan to {_span(plan["in_band"], found.weeks)}, a step at every '
            f"result within the bounds to {_span(bounded['in_band'], found.weeks)}; growth lost "
            f"{_span(rules['unmet'])}, {_span(plan['unmet'])} and {_span(bounded['unmet'])} lb N/ac."
        )


def _value(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _by_scenario(found: Study, scenarios: Mapping[str, Scenario]) -> str:
    head = ["scenario", "deciding by", "weeks in band", "below", "longest shortage", "weeks to return"]
    head += ["growth lost", "fed", "leached", "left", "changes", "reversals", "past the cap", "outside bounds"]
    rows = []
    for item in found.compared:
        for way, row in item.means.items():
            cells = [_span(row["in_band"], found.weeks), *_plain(row, found.weeks)]
            rows.append([item.scenario if way == PLAN else "", way, *cells])
    titles = "\n".join(f"- {item.scenario}: {scenarios[item.scenario].title}" for item in found.compared)
    note = f"Weeks of {found.weeks}; nitrogen in lb/ac."
    return f"## Scenario by scenario\n\n{titles}\n\n{note}\n\n{_table(head, rows)}"


def _plain(row: Mapping[str, Estimate], weeks: int) -> list[str]:
    def mean(name: str, digits: int, scale: float = 1.0) -> str:
        value = row[name].mean
        return "-" if math.isnan(value) else f"{scale * value:.{digits}f}"

    return [
        mean("below", 1, weeks),
        mean("longest", 1),
        mean("return", 1),
        mean("unmet", 1),
        mean("applied", 1),
        mean("leached", 1),
        mean("left", 1),
        mean("changes", 1),
        mean("reversals", 2),
        f"{mean('over_cap', 0, 100)} %",
        f"{mean('out_of_bounds', 1, 100)} %",
    ]


def _by_guard(found: Study) -> str:
    head = ["scenario", "without", "weeks out of band", "growth lost", "fed", "leached", "changes", "reversals"]
    head += ["seasons past the cap", "weeks outside bounds"]
    rows = []
    for item in found.guards:
        for index, (way, gains) in enumerate(item.gains.items()):
            name = _guard(way)
            cells: list[str] = [item.scenario if index == 0 else "", f"{name} ({_WORDS[name]})"]
            cells.append(_span(gains["bad_weeks"], found.weeks, 2, sign=True))
            cells += [_span(gains[key], 1.0, 2, sign=True) for key in ("unmet", "applied", "leached", "changes")]
            cells.append(_span(gains["reversals"], 1.0, 3, sign=True))
            cells += [f"{100 * gains[key].mean:+.1f} %" for key in ("over_cap", "out_of_bounds")]
            rows.append(cells)
    note = (
        "What leaving a guard out changes beside the rules with all of them, season by season; weeks above the "
        f"band count {found.plan.above_counts:g}. Nitrogen in lb/ac."
    )
    return f"## Each guard left out\n\n{note}\n\n{_table(head, rows)}"


def _values(found: Study) -> str:
    stays = {trial.name: trial.stays for trial in found.plan.trials if trial.stays}
    rows = []
    for item in found.tried:
        said = "taken" if found.found.get(item.name) == item.value else _why_not(item.saved, found.plan.worth)
        if item.name in stays:
            said = f"reported only: {stays[item.name]}"
        rows.append([item.name, _value(item.value), _span(item.saved, 100, 2, sign=True), said])
    note = (
        "Each value by itself beside the shipped one, over all scenarios of the tuning seasons: share of all "
        "weeks that it saves from being out of band, in %. A value is taken over only where it saves at least "
        f"{100 * found.plan.worth:g} % and surely more than nothing."
    )
    return f"## Other figures tried\n\n{note}\n\n{_table(['figure', 'value', 'saves', ''], rows)}"


def _why_not(saved: Estimate, worth: float) -> str:
    if sure(saved) < 0:
        return "worse"
    return "too little" if sure(saved) > 0 and saved.mean < worth else "no clear difference"


def _limits(model: CropModel) -> str:
    lines = "\n".join(f"- {line}" for line in model.tells_not)
    assumed = [name for name, figure in model.figures.items() if figure.evidence.value == "project rule"]
    fitted = [f"{name} ({figure.fitted})" for name, figure in model.figures.items() if figure.fitted]
    return (
        f"## What this cannot tell\n\n{lines}\n"
        f"- Assumed, since nothing is published: {', '.join(assumed)}. Fitted: {'; '.join(fitted)}.\n"
        "- Every grower here accepts every advice on the day the result comes."
    )
