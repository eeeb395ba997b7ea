"""``rules``: the figures that the rules use for each crop and what publications say besides, listed and shown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import echo_json, echo_table, json_option, say
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.rules.policy import Figure, Policy
    from fertadjust.rules.published import Cited, Published, Schedule
    from fertadjust.units import UnitSystem

NO_CUT = "No publication gives a number for a cut; how far the program cuts is its own rule, or yours."
NO_AMOUNT = "No amount for a low result is published here: a raise is a share of the rate in force."

_OCCASIONS = {
    "always": "Whatever the result",
    "low": "On a low result",
    "high": "On a high result",
    "leaching rain": "After a leaching rain",
    "past the last week of feeding": "Past the last week of feeding",
}
_WHEN = {"season": "whole season", "preplant": "before planting"}


@click.group()
def rules() -> None:
    """List and show the rules' figures for each crop, and what publications say."""


@rules.command("list", epilog="Example: fertadjust rules list --crop tomato")
@click.option("--crop", help="Only rules of this crop.")
@json_option
def list_(crop: str | None, as_json: bool) -> None:
    """List the rules: crop, system, regions, what is published, and whether any of it is from memory."""
    from fertadjust.rules.policy import ANY
    from fertadjust.shipped import shipped_policies

    every = shipped_policies()
    found = {name: policy for name, policy in every.items() if crop is None or _of(crop, policy)}
    if not found:
        crops = sorted({name for policy in every.values() for name in policy.crops if name != ANY})
        raise UserError(
            Fault(
                f'no rules are bound to "{crop}"; there are rules for: {", ".join(crops)}; '
                'rules = "general" in a season file takes the general figures',
                key="--crop",
            )
        )
    if as_json:
        echo_json([_head(policy) for policy in found.values()])
        return
    for name, policy in found.items():
        click.echo(name)
        mark = "; some of it recalled, check it" if _recalled(policy) else ""
        say(f"{', '.join(policy.crops)}; {_place(policy)}; {_counted(policy.published)}{mark}", indent="    ")
    if crop is not None:
        say(f"Rules of no crop in particular: {', '.join(name for name in every if every[name].crop == ANY)}.")


@rules.command(epilog="Example: fertadjust rules show florida-tomato")
@click.argument("rules")
@click.option(
    "--units",
    "system",
    type=click.Choice(["us", "metric"]),
    default="us",
    show_default=True,
    help="us: lb N/ac; metric: kg N/ha. JSON holds lb N/ac either way.",
)
@json_option
def show(rules: str, system: str, as_json: bool) -> None:
    """Show one set of RULES, by id, with the source and evidence of every figure."""
    from fertadjust.evidence import EVIDENCE_MEANS, Evidence
    from fertadjust.shipped import citations_for, shipped_policies
    from fertadjust.units import UnitSystem

    found = shipped_policies().get(rules.strip().lower())
    if found is None:
        raise UserError(Fault(f'there are no rules "{rules}"; see: fertadjust rules list', key="RULES"))
    units = UnitSystem(system)
    backed = _backed(found)
    citations = citations_for([source for source, _ in backed])
    if as_json:
        echo_json(found.model_dump(mode="json", by_alias=True) | {"citations": citations})
        return
    say(found.title)
    say(f"{', '.join(found.crops)}; {_place(found)}")
    if found.published is not None:
        for schedule in found.published.schedules:
            _print_schedule(schedule, units)
        _print_totals(found.published, units)
    _print_amounts(found, units)
    if found.published is not None:
        _print_statements(found.published)
    _print_figures(found, units)
    _print_rows(found, units)
    click.echo("\nSources")
    for key, citation in citations.items():
        say(f"{key}: {citation}", indent="  ")
    for evidence in sorted({evidence for _, evidence in backed}, key=list(Evidence).index):
        say(f"{evidence.value}: {EVIDENCE_MEANS[evidence]}", indent="  ")


def _of(crop: str, policy: Policy) -> bool:
    """Whether rules are of a crop, by any of its names, in capitals or not."""
    return " ".join(crop.split()).casefold() in {name.casefold() for name in policy.crops}


def _place(policy: Policy) -> str:
    names = policy.regions or ("no region in particular",)
    regions = ("; " if any("," in name for name in names) else ", ").join(names)
    system = "any system" if policy.system == "any" else policy.system
    return f"{system}; {regions}"


def _counted(published: Published | None) -> str:
    """How much of each kind is published, "1 schedule, 2 totals, 5 statements"."""
    if published is None:
        return "figures alone"
    kinds = (
        ("schedule", published.schedules),
        ("total", published.totals),
        ("statement", published.statements),
    )
    return ", ".join(f"{len(items)} {name}{'' if len(items) == 1 else 's'}" for name, items in kinds if items)


def _figures(policy: Policy) -> dict[str, Any]:
    """The policy's single values by name, in its order."""
    from fertadjust.rules.policy import Consent, Figure, RecoveryChoice

    values = ((name, getattr(policy, name)) for name in type(policy).model_fields)
    return {name: value for name, value in values if isinstance(value, Figure | Consent | RecoveryChoice)}


def _backed(policy: Policy) -> list[tuple[str, Any]]:
    """Source and evidence of everything in it."""
    published = [] if policy.published is None else policy.published.every()
    items = [*published, *_figures(policy).values(), *policy.cross_check, *policy.companions]
    return [(item.source, item.evidence) for item in items]


def _recalled(policy: Policy) -> bool:
    from fertadjust.evidence import Evidence

    return any(evidence is Evidence.RECALLED for _, evidence in _backed(policy))


def _head(policy: Policy) -> dict[str, Any]:
    """What tells one policy from another, for machines."""
    published = policy.published
    return {
        "id": policy.id,
        "title": policy.title,
        "crops": policy.crops,
        "system": policy.system,
        "regions": policy.regions,
        "schedules": 0 if published is None else len(published.schedules),
        "totals": 0 if published is None else len(published.totals),
        "statements": 0 if published is None else len(published.statements),
        "recalled": _recalled(policy),
    }


def _print_schedule(schedule: Schedule, units: UnitSystem) -> None:
    from fertadjust.published_words import acre_words
    from fertadjust.rules.published import DAYS_PER_WEEK
    from fertadjust.stages import stage_words
    from fertadjust.words import numbered, rate

    click.echo("")
    acre = acre_words(schedule, units)
    per = f"per {acre}" if acre else "what it counts by is not stated"
    say(f"{schedule.title}: week 1 begins with {stage_words(schedule.anchor)}; {per}")
    day_unit = units.rate_unit.replace("week", "day")
    rows = [
        [
            step.id,
            numbered(range(step.weeks[0], step.weeks[1] + 1)),
            rate(step.rate, units),
            rate(DAYS_PER_WEEK * step.rate, units),
            step.cited,
        ]
        for step in schedule.steps
    ]
    echo_table(["row", "weeks", day_unit, units.rate_unit, "source"], rows, left=(0, 1, 4))
    weekly = schedule.weekly_lb_ac()
    say(f"In all {rate(sum(weekly), units)} {units.total_unit} over {len(weekly)} weeks.")
    for step in schedule.steps:
        _print_note(step)


def _print_totals(published: Published, units: UnitSystem) -> None:
    from fertadjust.published_words import range_words

    if not published.totals:
        return
    click.echo("\nAmounts of nitrogen")
    rows = [
        [total.id, _WHEN[total.when], range_words(total.low, total.high, units), total.cited]
        for total in published.totals
    ]
    echo_table(["row", "for", "amount", "source"], rows, left=(0, 1, 2, 3))
    for total in published.totals:
        _print_note(total)


def _print_note(item: Cited) -> None:
    if item.note:
        say(f"{item.id}: {item.note}", hang=4)


def _print_amounts(policy: Policy, units: UnitSystem) -> None:
    """What is added on a low result, and that nothing is published for a high one."""
    from fertadjust.evidence import cite
    from fertadjust.published_words import range_words

    click.echo("\nOn low and high results")
    least, most = policy.corrective_least, policy.corrective_most
    if least is None or most is None:
        say(NO_AMOUNT)
    else:
        on = " or ".join(tissue.value for tissue in policy.corrective_on)
        amount = range_words(least.value, most.value, units)
        say(f"A low {on} calls for {amount} more in all ({cite(most.source, most.evidence)}).")
    say(NO_CUT)


def _print_statements(published: Published) -> None:
    for when, title in _OCCASIONS.items():
        items = [item for item in published.statements if item.when == when]
        if items:
            click.echo(f"\n{title}")
        for item in items:
            note = f" Note: {item.note}." if item.note else ""
            say(f"{item.id}: {item.text}.{note} ({item.cited})", indent="  ", hang=4)


def _print_figures(policy: Policy, units: UnitSystem) -> None:
    from fertadjust.evidence import cite
    from fertadjust.rules.policy import Figure

    click.echo("\nFigures")
    for name, item in _figures(policy).items():
        if isinstance(item, Figure):
            value = _value(item, units)
        else:
            value = {True: "yes", False: "no"}[item.value] if isinstance(item.value, bool) else item.value.value
        say(f"{name} = {value}", indent="  ", hang=4)
        say(f"{item.meaning} ({cite(item.source, item.evidence)})", indent="    ")


def _value(figure: Figure, units: UnitSystem) -> str:
    """A figure with its unit; nitrogen per area in the reader's unit."""
    from fertadjust.units import UnitSystem

    nitrogen = UnitSystem.US.total_unit
    if not figure.unit.startswith(nitrogen):
        return f"{figure.value:.4g} {figure.unit}"
    return f"{units.rate_out(figure.value):.4g} {units.total_unit}{figure.unit.removeprefix(nitrogen)}"


def _print_rows(policy: Policy, units: UnitSystem) -> None:
    """The tables whose rows a season file may set by id."""
    from fertadjust.evidence import cite
    from fertadjust.rules.companion_rules import amount_words

    click.echo("\nThe cross-check table, from the top")
    for row in policy.cross_check:
        say(f"{row.id}: {row.step}; {row.reason} ({cite(row.source, row.evidence)})", indent="  ", hang=4)
    if policy.companions:
        click.echo("\nOther nutrients")
    for rule in policy.companions:
        amount = "" if rule.amount is None else f": {amount_words(rule.amount, rule.of, rule.every, units)}"
        limit = f"{rule.analyte} {rule.applies} {rule.limit:g} {rule.unit}"
        say(f"{rule.id}: {limit}{amount} ({cite(rule.source, rule.evidence)})", indent="  ", hang=4)
