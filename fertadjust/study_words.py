"""A study of the rules as a page of text."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from fertadjust.evidence import Evidence
from fertadjust.season import BlockSeason
from fertadjust.simulate.guards import GUARDS
from fertadjust.simulate.measures import Estimate
from fertadjust.simulate.parameters import CropModel
from fertadjust.simulate.scenario import Scenario
from fertadjust.simulate.study import PLAN, Study
from fertadjust.study_found import guard_name, sentences, span, value_words

FIGURE: Final = "findings.svg"
_GUARD: Final = {guard.name: guard.words for guard in GUARDS}
_WORDS: Final = """\
- Guard: a rule that holds a change back, such as waiting until the last change shows.
- Out of band: a week above the band counts {above} of a week below it.
- Reversal: the rate goes the other way than it went the time before, by a decision or because a change ran out.
- Fed the wrong way: more than planned while the crop is above its band, less than planned while it is below.
- Time out: mean length of a time out of the band, cut off by the season's end.
- Growth lost: nitrogen that the crop could not turn into growth, for want of it.
- Left: mineral nitrogen in the bed at the end.
- Clearly: the 95 % interval of the difference, season by season, does not hold 0. Of so many comparisons one or
  another is clear by chance."""


def findings_text(
    found: Study,
    season: BlockSeason,
    model: CropModel,
    scenarios: Mapping[str, Scenario],
    citations: Mapping[str, str],
) -> str:
    """The page of findings, in Markdown.

    Args:
        found: the study.
        season: the block that its seasons share, with the rules that were looked into.
        model: the crop.
        scenarios: by id.
        citations: source key -> citation, of all that the page cites.
    """
    parts = [
        _head(found, season),
        "## What was found\n\n" + "\n".join(f"- {line}" for line in sentences(found)),
        f"![Simulated: weeks in the band by scenario, and what each guard does]({FIGURE})",
        f"## Words\n\n{_WORDS.format(above=f'{found.plan.above_counts:g}')}",
        _by_scenario(found, scenarios),
        _by_guard(found),
        _values(found, season),
        _limits(model),
        _sources(citations),
    ]
    return "\n\n".join(parts) + "\n"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def _head(found: Study, season: BlockSeason) -> str:
    plan, of = found.plan, season.plan
    rates = ", then ".join(f"{rate:g}" for rate in dict.fromkeys(of.rates_lb_ac))
    cap = "no season cap"
    if of.cap_lb_ac is not None:
        cap = f"season cap {of.cap_lb_ac:g} lb N/ac with {of.credits_lb_ac:g} credited"
    return f"""# Does the feedback work?

What the rules "{season.policy.id}" do when they run week after week on noisy, late results. It was
found with a model of crop and soil nitrogen, not in a field: it can show that rules hunt, feed the wrong way or
starve a crop, and it cannot show that they pay. `fertadjust study --run` runs it again and writes the same page.

Each scenario is {plan.report.seasons:,} seasons of {found.weeks} weeks at Georgia's published rates ({rates} lb
N/ac/week, UGA-2021; floor {of.floor_lb_ac:g}, ceiling {of.ceiling_lb_ac:g}, {cap}). Every
scenario and every way of deciding meets the same draws. Figures were looked for on other seasons
({plan.tuning.seasons} in each of {len(plan.tuning.scenarios)} scenarios) than those reported. In brackets stand
95 % intervals over seasons. "In band" is what is really in the petiole, not what a laboratory reports."""


def _by_scenario(found: Study, scenarios: Mapping[str, Scenario]) -> str:
    head = [
        "scenario",
        "deciding by",
        "weeks in band",
        "below",
        "longest shortage",
        "time out",
        "growth lost",
        "fed",
    ]
    head += ["leached", "left", "changes", "reversals", "fed the wrong way", "past the cap", "outside bounds"]
    rows = []
    for item in found.compared:
        for way, row in item.means.items():
            cells = [span(row["in_band"], found.weeks), *_plain(row, found.weeks)]
            rows.append([item.scenario if way == PLAN else "", way, *cells])
    titles = "\n".join(f"- {item.scenario}: {scenarios[item.scenario].title}" for item in found.compared)
    note = f"Weeks of {found.weeks}; nitrogen in lb/ac. The cap is kept by every way but a step without bounds."
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
        f"{mean('wrong_way', 1, 100)} %",
        f"{mean('over_cap', 0, 100)} %",
        f"{mean('out_of_bounds', 1, 100)} %",
    ]


def _by_guard(found: Study) -> str:
    head = [
        "scenario",
        "without",
        "weeks in band",
        "weeks out of band",
        "growth lost",
        "fed",
        "leached",
        "changes",
    ]
    head += ["reversals", "seasons past the cap", "weeks outside bounds"]
    rows = []
    for item in found.guards:
        for index, (way, gains) in enumerate(item.gains.items()):
            name = guard_name(way)
            cells: list[str] = [item.scenario if index == 0 else "", f"{name} ({_GUARD[name]})"]
            cells += [span(gains[key], found.weeks, 2, sign=True) for key in ("in_band", "bad_weeks")]
            cells += [span(gains[key], 1.0, 2, sign=True) for key in ("unmet", "applied", "leached", "changes")]
            cells.append(span(gains["reversals"], 1.0, 3, sign=True))
            cells += [f"{100 * gains[key].mean:+.1f} %" for key in ("over_cap", "out_of_bounds")]
            rows.append(cells)
    note = (
        "What leaving a guard out changes beside the rules with all of them, season by season. Nitrogen in "
        "lb/ac. What else holds a step back (how results are weighed together, the metering step, the smallest "
        "step) runs every time."
    )
    return f"## Each guard left out\n\n{note}\n\n{_table(head, rows)}"


def _values(found: Study, season: BlockSeason) -> str:
    stays = {trial.name: trial.stays for trial in found.plan.trials if trial.stays}
    rows = []
    for item in found.tried:
        shipped = getattr(season.policy, item.name)
        said = _said(item.saved, item.calmer)
        if found.found.get(item.name) == item.value:
            said = "taken over"
        elif item.name in stays:
            said = f"{said}; stays: {stays[item.name]}"
        unit = getattr(shipped, "unit", "")
        calm, right = span(item.calmer, 1.0, 2, sign=True), span(item.righter, 100, 2, sign=True)
        now = f"{value_words(shipped.value)} {unit}".strip()
        rows.append(
            [item.name, now, value_words(item.value), span(item.saved, 100, 2, sign=True), calm, right, said]
        )
    meanings = "\n".join(
        f"- {name}: {getattr(season.policy, name).meaning}"
        for name in dict.fromkeys(item.name for item in found.tried)
    )
    note = (
        "Each value by itself beside the shipped one, over all scenarios of the tuning seasons: share of all "
        "weeks that it saves from being out of band and from being fed the wrong way, in %, and reversals that "
        f"it saves in a season. A value is taken over where it saves at least {100 * found.plan.worth:g} % of "
        f"the weeks and clearly more than nothing, or at least {100 * found.plan.worth_calm:g} % of the "
        "reversals and does not clearly cost weeks."
    )
    head = ["figure", "shipped", "tried", "weeks saved", "reversals saved", "wrong way saved", ""]
    return f"## Other figures tried\n\n{note}\n\n{meanings}\n\n{_table(head, rows)}"


def _said(saved: Estimate, calmer: Estimate) -> str:
    words = {1: "saves", 0: "no clear difference in", -1: "costs"}
    return f"{words[saved.clear]} weeks, {words[calmer.clear]} reversals"


def _limits(model: CropModel) -> str:
    lines = "\n".join(f"- {line}" for line in model.tells_not)
    weak = (Evidence.PROJECT_RULE, Evidence.COMMON_PRACTICE)
    assumed = [figure.meaning.split(";")[0] for figure in model.figures.values() if figure.evidence in weak]
    fitted = [
        f"{figure.meaning.split(';')[0]} ({figure.fitted})" for figure in model.figures.values() if figure.fitted
    ]
    return (
        f"## What this cannot tell\n\n{lines}\n"
        f"- Assumed, or widened from what is published: {'; '.join(assumed)}.\n"
        f"- Fitted: {'; '.join(fitted) or 'nothing'}.\n"
        "- Every grower here accepts every advice on the day the result comes. Results are a laboratory's, with "
        "errors of the size that the rules reckon with."
    )


def _sources(citations: Mapping[str, str]) -> str:
    lines = "\n".join(f"- {key}: {citation}" for key, citation in citations.items())
    return f"## Sources\n\n{lines}"
