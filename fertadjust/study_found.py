"""What a study found, in sentences: each follows from the figures, whichever way they fell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fertadjust.simulate.measures import Estimate
from fertadjust.simulate.study import BOUNDED, PLAN, RULES, TUNED, UNGUARDED, Beside, Study


def span(value: Estimate, scale: float = 1.0, digits: int = 1, sign: bool = False) -> str:
    """Mean and interval: "6.3 (6.2 to 6.4)"."""
    form = f"{'+' if sign else ''}.{digits}f"
    mean, low, high = (format(scale * number, form) for number in value[:3])
    return f"{mean} ({low} to {high})"


def _turned(value: Estimate) -> Estimate:
    """The difference the other way round."""
    return Estimate(0.0 - value.mean, 0.0 - value.high, 0.0 - value.low, value.seasons)


def sentences(found: Study) -> list[str]:
    """What was found, most telling first."""
    return [
        _in_short(found),
        *_beside_plan(found),
        *_stability(found),
        *_unguarded(found),
        *_guards_in_words(found),
        _tuned(found),
        *_would_be_worth(found),
        *_varied(found),
    ]


def _in_short(found: Study) -> str:
    first, weeks = found.compared[0], found.weeks
    gains = [weeks * _turned(item.gains[PLAN]["in_band"]).mean for item in found.compared]
    fed, lost = (_turned(first.gains[PLAN][name]) for name in ("applied", "unmet"))
    return (
        f"In short: beside the plan as it stands the rules change the weeks in band by {min(gains):+.1f} to "
        f'{max(gains):+.1f} of {weeks}, by scenario. In "{first.scenario}" by '
        f"{span(_turned(first.gains[PLAN]['in_band']), weeks, 2, sign=True)}, to "
        f"{span(first.means[RULES]['in_band'], weeks)}, nitrogen fed by {span(fed, sign=True)} and growth lost by "
        f"{span(lost, sign=True)} lb N/ac."
    )


def _by(more: float, what: str) -> str:
    """A difference in nitrogen in words: "2.1 lb/ac more fed"."""
    return f"{abs(more):.1f} lb/ac {'more' if more >= 0 else 'less'} {what}"


def _named(items: Sequence[Beside]) -> str:
    return ", ".join(item.scenario for item in items)


def _sorted_out(
    items: Sequence[Beside], way: str, measure: str
) -> tuple[list[Beside], list[Beside], list[Beside]]:
    """Scenarios in which a measure is clearly more than with the rules, not clear, and clearly less."""
    more, unclear, less = (
        [item for item in items if item.gains[way][measure].clear == side] for side in (1, 0, -1)
    )
    return more, unclear, less


def _beside_plan(found: Study) -> Iterator[str]:
    """In how many scenarios the rules do better than the plan, and in which they do not."""
    for measure, better, worse in (
        ("bad_weeks", "fewer weeks out of the band", "more"),
        ("unmet", "less growth lost", "more"),
    ):
        more, unclear, less = _sorted_out(found.compared, PLAN, measure)
        line = f"Beside the plan: clearly {better} in {len(more)} of {len(found.compared)} scenarios"
        if unclear:
            line += f", no clear difference in {len(unclear)} ({_named(unclear)})"
        if less:
            line += f", clearly {worse} in {len(less)} ({_named(less)})"
        yield f"{line}."


def _most(found: Study, measure: str) -> tuple[float, str]:
    """The highest mean of a measure with the rules, and the scenario that it is in."""
    item = max(found.compared, key=lambda item: item.means[RULES][measure].mean)
    return item.means[RULES][measure].mean, item.scenario


def _stability(found: Study) -> Iterator[str]:
    first = found.compared[0].means[RULES]
    changes, reversals, wrong = (_most(found, name) for name in ("changes", "reversals", "wrong_way"))
    yield (
        f"Hunting: {first['changes'].mean:.1f} changes of the rate and {first['reversals'].mean:.2f} reversals a "
        "season "
        f'in "{found.compared[0].scenario}"; most changes {changes[0]:.1f} ({changes[1]}), most reversals '
        f"{reversals[0]:.2f} ({reversals[1]})."
    )
    yield (
        f"Winding up: {100 * first['wrong_way'].mean:.1f} % of the weeks were fed the wrong way in "
        f'"{found.compared[0].scenario}", at most {100 * wrong[0]:.1f} % ({wrong[1]}).'
    )


def _unguarded(found: Study) -> Iterator[str]:
    first, count = found.compared[0], len(found.compared)
    for way, words in (
        (UNGUARDED, "A step at every result outside the band, without any guard or bound"),
        (BOUNDED, "A step at every result outside the band, within floor, ceiling and season cap"),
    ):
        more, unclear, less = _sorted_out(found.compared, way, "bad_weeks")
        others = [f"not clear in {len(unclear)} ({_named(unclear)})"] if unclear else []
        others += [f"clearly more in {len(more)} ({_named(more)})"] if more else []
        turns, _, calmer = _sorted_out(found.compared, way, "reversals")
        gains = first.gains[way]
        line = "; ".join([f"{words}: clearly fewer weeks out of the band than the rules in {len(less)}", *others])
        line += (
            f" of {count} scenarios; {_by(gains['applied'].mean, 'fed')} and "
            f"{_by(gains['leached'].mean, 'leached')} in "
            f'"{first.scenario}"; clearly more reversals in {len(turns)}, clearly fewer in {len(calmer)}'
        )
        if way == UNGUARDED:
            means = [item.means[way] for item in found.compared]
            over = max(row["over_cap"].mean for row in means)
            outside = max(row["out_of_bounds"].mean for row in means)
            line += (
                f"; up to {100 * over:.0f} % of seasons past the cap, up to {100 * outside:.0f} % of weeks "
                "outside floor and ceiling"
            )
        yield f"{line}."
    yield (
        "The model knows no soft fruit, no salt and no law, so it cannot say whether a crop that is short for "
        "longer, or more nitrogen, is the better way."
    )


def guard_name(way: str) -> str:
    return way.removeprefix("without ")


def _guards_in_words(found: Study) -> Iterator[str]:
    """What the guards do in the first scenario in which they were left out, costs and gains alike."""
    for item in found.guards[:1]:
        rows = {guard_name(way): gains for way, gains in item.gains.items()}
        for measure, scale, costs, gains in (
            ("in_band", found.weeks, "cost weeks in band", "gain weeks in band"),
            ("reversals", 1.0, "spare reversals", "add reversals"),
            ("applied", 1.0, "spare nitrogen (lb/ac)", "add nitrogen (lb/ac)"),
        ):
            for side, words in ((1, costs), (-1, gains)):
                some = sorted(
                    (name for name in rows if rows[name][measure].clear == side),
                    key=lambda name: -abs(rows[name][measure].mean),
                )
                if some:
                    sizes = ", ".join(f"{name} {scale * abs(rows[name][measure].mean):.3g}" for name in some)
                    yield f'Guards that {words} in "{item.scenario}": {sizes}.'


def _tuned(found: Study) -> str:
    plan = found.plan
    if not found.found:
        return (
            f"Of the figures that were open, no other value clearly saved {100 * plan.worth:g} % of the weeks, or "
            f"{plan.worth_calm:g} reversals a season without costing weeks: the shipped ones stand."
        )
    named = ", ".join(f"{name} = {value_words(value)}" for name, value in found.found.items())
    more, unclear, less = _sorted_out(found.compared, TUNED, "bad_weeks")
    turns, _, calmer = _sorted_out(found.compared, TUNED, "reversals")
    return (
        f"On the tuning seasons these figures were worth taking over: {named}. On the reported ones they came to "
        f"clearly fewer weeks out of band in {len(less)} scenarios, more in {len(more)}, not clear in "
        f"{len(unclear)}; to clearly fewer reversals in {len(calmer)} and more in {len(turns)}."
    )


def _would_be_worth(found: Study) -> Iterator[str]:
    """Values that are worth it and stay as they are all the same."""
    plan = found.plan
    for trial in plan.trials:
        worth = [
            f"{100 * item.saved.mean:.1f} % of the weeks ({value_words(item.value)})"
            if item.saves(plan.worth)
            else f"{item.calmer.mean:.2f} reversals a season ({value_words(item.value)})"
            for item in found.tried
            if item.name == trial.name and item.worth(plan.worth, plan.worth_calm)
        ]
        if trial.stays and worth:
            yield (
                f"{trial.name} would save {' and '.join(worth)} and stays all the same: {trial.stays}. A grower "
                "who knows better sets it under [policy]."
            )


def _varied(found: Study) -> Iterator[str]:
    """What the crop with other figures comes to in the first scenario."""
    first = found.compared[0]
    for item in found.variants:
        parts = []
        for way, words, around in (
            (PLAN, "the rules beside the plan", True),
            (BOUNDED, "a step at every result within the bounds beside the rules", False),
        ):
            usual, other = (one.gains[way]["in_band"] for one in (first, item))
            usual, other = (_turned(usual), _turned(other)) if around else (usual, other)
            said = "not clear in both"
            if usual.clear == other.clear != 0:
                said = "as with the model's own figures"
            elif usual.clear == -other.clear != 0:
                said = "the other way round than with the model's own figures"
            parts.append(f"{words} {span(other, found.weeks, 2, sign=True)} weeks in band ({said})")
        yield f'With {item.scenario}, in "{first.scenario}": {"; ".join(parts)}.'


def value_words(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"
