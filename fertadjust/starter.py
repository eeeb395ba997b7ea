"""A commented season file to start from."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from string import Template

from fertadjust.field import AreaBasis, basis_words
from fertadjust.rules.policy import Policy
from fertadjust.shipped import crop_stages, shipped_policies, shipped_tables
from fertadjust.stages import stage_words
from fertadjust.start_schedule import Ramp
from fertadjust.units import UnitSystem

_TEMPLATE = Path(__file__).parent / "data" / "season_starter.toml"
_WIDTH = 110
_SOME_DAYS, _SOME_WEEKS = timedelta(days=3), timedelta(weeks=5)
"""Distance of an example's date from a date that was given."""


@dataclass(frozen=True)
class Start:
    """Answers that a starter is made from; lengths, rates and totals in ``units``.

    Attributes:
        policy: id of the rules.
        name_rules: whether the file has to name them, since crop, system and region do not lead to them.
        stages: the dates known so far.
        rate, ramp: one rate for all weeks, or rates that change; one of the two.
        floor, ceiling: the season's own bounds, or None for those of the rules.
        bounds_note: why they are written, or "".
        factor: what rates per acre of the schedule's source were multiplied by; 1 without one.
        planting_as: stage that is dated by the day of planting, since a schedule begins with it, or "".
    """

    farm: str
    units: UnitSystem
    crop: str
    system: str
    region: str
    policy: str
    tables: Sequence[str]
    stages: Mapping[str, date]
    start: date
    weeks: int
    basis: str
    rate: float | None
    injections: int
    season_cap: float | None
    block: str
    block_name: str
    row_length: float
    rows: int
    bed_top_width: float
    bed_spacing: float
    soil: str
    standard_spacing: float | None = None
    variety: str = ""
    name_rules: bool = False
    planted: date | None = None
    ramp: Ramp | None = None
    floor: float | None = None
    ceiling: float | None = None
    bounds_note: str = ""
    factor: float = 1.0
    planting_as: str = ""


def stages_needed(crop: str, tables: Sequence[str]) -> list[str]:
    """Stages that a crop's tables are placed by or end with, in the crop's order."""
    needed: list[str] = []
    for name in tables:
        table = shipped_tables()[name]
        needed += [*table.needs, *filter(None, [table.ends_with])]
    return in_order(crop, needed)


def in_order(crop: str, names: Sequence[str]) -> list[str]:
    """Stages in the crop's order, each once; those that are none of the crop's come last."""
    order = crop_stages().of(crop)
    ranks = {name: rank for name in names if order is not None and (rank := order.rank(name)) is not None}
    return sorted(
        dict.fromkeys(names), key=lambda name: ranks.get(name, len(names) + max(ranks.values(), default=0))
    )


def starter_text(answers: Start) -> str:
    """The text of ``season.toml``."""
    units, policy = answers.units, shipped_policies()[answers.policy]
    names = in_order(
        answers.crop, [*stages_needed(answers.crop, answers.tables), *answers.stages, policy.late_anchor]
    )
    dated = [name for name in names if name in answers.stages]
    example = (dated or names)[0]
    first_day = min([answers.start, *answers.stages.values()])
    return Template(_TEMPLATE.read_text(encoding="utf-8")).substitute(
        farm=_quoted(answers.farm),
        units=units.value,
        crop=_quoted(answers.crop),
        variety=f"variety = {_quoted(answers.variety)}" if answers.variety else '# variety = ""',
        rules=_rules_lines(answers, policy),
        system=_quoted(answers.system),
        region=_quoted(answers.region),
        planted=f"planted = {answers.planted}" if answers.planted else f"# planted = {first_day - _SOME_WEEKS}",
        tables="[" + ", ".join(_quoted(name) for name in answers.tables) + "]",
        stages="\n".join(line for name in names for line in _stage_lines(answers, name)),
        stage=example,
        own_day=answers.stages.get(example, answers.start) + _SOME_DAYS,
        late=policy.late_anchor,
        start=answers.start.isoformat(),
        weeks=answers.weeks,
        basis=answers.basis,
        rate=_rate_lines(answers),
        rate_unit=units.rate_unit,
        total_unit=units.total_unit,
        injections=answers.injections,
        bounds=_bounds_lines(answers, policy),
        season_cap=_cap_lines(answers, policy),
        density_unit=units.density_unit,
        temperature_unit=units.temperature_unit,
        volume_unit=units.volume_unit,
        temperature=f"{units.temperature_out(12.5):.0f}",
        tank=f"{units.volume_out(50.0):.0f}",
        pump=f"{units.volume_out(20.0):.0f}",
        block=answers.block,
        block_name=_quoted(answers.block_name),
        row_length=_number(answers.row_length),
        rows=answers.rows,
        bed_top_width=_number(answers.bed_top_width),
        bed_spacing=_number(answers.bed_spacing),
        standard_spacing=_spacing_line(answers),
        soil=_quoted(answers.soil),
    )


def _rules_lines(answers: Start, policy: Policy) -> str:
    about = "The rules: "
    if policy.regions is None and policy.floor is None:
        about += f"none of the figures of {policy.id} is published for {answers.crop}."
    else:
        about += f"{policy.title}."
    see = "See them all with:  fertadjust rules list"
    line = f"rules = {_quoted(policy.id)}"
    return "\n".join([*_comment(f"{about} {see}"), line if answers.name_rules else f"# {line}"])


def _stage_lines(answers: Start, name: str) -> list[str]:
    if name not in answers.stages:
        return [f"# {name} = "]
    taken = f"The day of planting, taken for {stage_words(name)}: week 1 of the schedule below begins with it."
    return [*(_comment(taken) if name == answers.planting_as else []), f"{name} = {answers.stages[name]}"]


def _rate_lines(answers: Start) -> str:
    if answers.ramp is None:
        assert answers.rate is not None, "a plan has a rate or a ramp"
        first = f"{0.7 * answers.rate:.3g}"
        return (
            f"rate = {_number(answers.rate)}\n"
            "# Or a rate that changes; each step holds until the next:\n"
            f"# ramp = [{{ week = 1, rate = {first} }}, {{ week = 3, rate = {_number(answers.rate)} }}]"
        )
    comments = [line for note in answers.ramp.notes for line in _comment(note)]
    steps = [f"  {{ week = {week}, rate = {_number(rate)} }}," for week, rate in answers.ramp.steps]
    return "\n".join([*comments, "# Each step holds until the next.", "ramp = [", *steps, "]"])


def _bounds_lines(answers: Start, policy: Policy) -> str:
    units = answers.units
    lines, note = [], answers.bounds_note
    if not note and policy.floor is None:
        note = f"No weekly rate is published for {answers.crop} under these rules: they are your own."
    elif not note:
        note = "Left out, those of the rules are used: the range of the rates named in advice, no published limit."
    for name, own, shipped in (
        ("floor", answers.floor, policy.floor),
        ("ceiling", answers.ceiling, policy.ceiling),
    ):
        if own is not None:
            lines.append(f"{name} = {_number(own)}")
        elif shipped is not None:
            lines.append(f"# {name} = {units.rate_out(shipped.value):.3g}")
    return "\n".join([*_comment(note), *lines])


def _cap_lines(answers: Start, policy: Policy) -> str:
    units = answers.units
    totals = (
        [] if policy.published is None else [item for item in policy.published.totals if item.when == "season"]
    )
    lines = []
    for item in totals:
        ends = dict.fromkeys(f"{units.rate_out(end):.0f}" for end in (item.low, item.high))
        note = f"; {item.note}" if item.note else ""
        lines += _comment(
            f"Published for a whole season: {' to '.join(ends)} {units.total_unit} ({item.cited}{note})."
        )
    if totals:
        acre = basis_words(AreaBasis(answers.basis), units)
        lines += _comment(f"Check what its acre means before you rely on it: this plan counts per {acre}.")
        if answers.factor != 1.0:
            below = f"that times {answers.factor:.4g}, as the ramp above is, stands below"
            lines += _comment(f"Where it means the acre of the schedule above, {below}.")
    if answers.season_cap is not None:
        return "\n".join([*lines, f"season_cap = {_number(answers.season_cap)}"])
    example = units.rate_out(max((item.high for item in totals), default=130.0) * answers.factor)
    return "\n".join([*lines, f"# season_cap = {example:.0f}"])


def _spacing_line(answers: Start) -> str:
    if answers.standard_spacing is not None:
        return f"standard_spacing = {_number(answers.standard_spacing)}"
    return (
        '# The spacing that linear bed is counted at, with area_basis "linear_bed":\n# standard_spacing = '
        f"{answers.units.length_out(6.0):.3g}"
    )


def _comment(text: str) -> list[str]:
    """A paragraph as lines that are noted out."""
    plain = " ".join(text.split())
    return textwrap.wrap(plain, _WIDTH, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False)


def _quoted(text: str) -> str:
    """A TOML string; JSON's escapes are valid in it, but for the delete character, which JSON leaves as it is."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    """A number in full, without a needless decimal."""
    return repr(float(value)).removesuffix(".0")
