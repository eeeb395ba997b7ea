"""What ``new`` asks: crop, tables, rules, stage dates, and the published schedule to start from."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from datetime import date
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import DAY, ask, echo_table, say
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.bands import BandTable
    from fertadjust.rules.policy import Policy
    from fertadjust.rules.published import Schedule

NOT_YET = "none"
"""What ``--stage`` takes where no stage has a date yet."""
ASK = "ask"
"""What ``--schedule`` stands for without a number."""


def usual(value: Any, question: str, default: Any, talking: bool, **prompt: Any) -> Any:
    """The value of an option, or the answer to a question that has a usual answer.

    Args:
        value: the option's value, or None.
        question: the question.
        default: the usual answer.
        talking: whether questions are asked at all; else, or when nobody is there, the usual answer is taken.
        prompt: see `click.prompt`.
    """
    if value is not None:
        return value
    if not talking:
        return default
    try:
        return click.prompt(question, default=default, **prompt)
    except click.Abort:
        if sys.stdin.isatty():
            raise
        click.echo("")
        return default


class _MaybeDay(click.ParamType["date | None"]):
    """A date, or nothing."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date | None:
        return DAY.convert(value, param, ctx) if value not in ("", None) else None


MAYBE_DAY = _MaybeDay()


def crop_asked(given: str | None) -> str:
    """The crop, one that there is a table for."""
    from fertadjust.shipped import shipped_tables

    known = sorted({name for table in shipped_tables().values() for name in table.crops}, key=str.lower)
    if given is None:
        say(f"Crops with a band table: {', '.join(known)}.")
    answer = str(ask(given, "--crop", "Crop")).strip()
    found = next((name for name in known if name.lower() == answer.lower()), None)
    if found is None:
        near = get_close_matches(answer.lower(), known, n=3)
        meant = f"did you mean {' or '.join(near)}?" if near else f"there are tables for: {', '.join(known)}"
        raise UserError(Fault(f'no table is for "{answer}"; {meant}', key="--crop"))
    return found


def tables_asked(crop: str, given: Sequence[str]) -> list[BandTable]:
    """The tables named, or those picked from the list of the crop's, which is in order of region."""
    from fertadjust.shipped import shipped_tables

    fitting = sorted(
        (table for table in shipped_tables().values() if crop in table.crops),
        key=lambda table: (table.region, table.tissue, table.basis, table.id),
    )
    by_id = {table.id: table for table in fitting}
    unknown = [name for name in given if name not in by_id]
    if unknown:
        raise UserError(
            Fault(f"no {crop} table {', '.join(unknown)}; there are: {', '.join(by_id)}", key="--table")
        )
    if given:
        return [by_id[name] for name in given]
    say("Bands of different regions disagree several-fold, so the table is your choice:")
    rows = [_table_row(number, table) for number, table in enumerate(fitting, start=1)]
    echo_table(["no", "region", "result", "for", "band edges"], rows, left=(1, 2, 3, 4))
    answer = str(
        ask(None, "--table", "Numbers of the tables to use, with commas (one for petioles, one for leaves)")
    )
    return [fitting[number - 1] for number in _numbers(answer, len(fitting), "--table")]


def _table_row(number: int, table: BandTable) -> list[str]:
    from fertadjust.tissue import MAIN_ANALYTE, canonical_analyte

    main = MAIN_ANALYTE[table.tissue]
    analyte = main if main in table.analytes else table.analytes[0]
    rows = [row for row in table.rows if canonical_analyte(row.analyte) == analyte]
    given = [(row.low, row.high, row.deficient_below, row.excess_above) for row in rows]
    edges = [edge for row in given for edge in row if edge is not None]
    ends = dict.fromkeys(f"{edge:,g}" for edge in (min(edges), max(edges)))
    span = f"{' to '.join(ends)} {rows[0].unit}"
    grown = table.system if table.variety is None else f"{table.variety}, {table.system}"
    return [str(number), table.region, f"{table.tissue.value} {table.basis.value} {analyte}", grown, span]


def _numbers(answer: str, most: int, key: str) -> list[int]:
    parts = [part.strip() for part in answer.split(",")]
    if not all(part.isascii() and part.isdigit() and 1 <= int(part) <= most for part in parts):
        raise UserError(Fault(f'"{answer}" should be numbers from 1 to {most}', key=key))
    return [int(part) for part in parts]


def variety_asked(given: str | None, crop: str, tables: Sequence[BandTable], talking: bool) -> str:
    """The variety, asked where a table is for one; "" where nobody says."""
    bound = [table for table in tables if table.variety is not None]
    if given is not None or not bound or not talking:
        return (given or "").strip()
    named = " or ".join(dict.fromkeys(str(table.variety) for table in bound))
    question = f"Variety or type of {crop} (the table is for {named})"
    return str(usual(None, question, bound[0].variety, talking)).strip()


def rules_asked(given: str | None, crop: str, table: BandTable) -> Policy:
    """The rules: as named, the only ones that fit, or those picked from the list."""
    from fertadjust.rules.policy import ANY
    from fertadjust.shipped import shipped_policies

    offered = _offered(crop, table)
    if given is not None:
        found = shipped_policies().get(given)
        if found is None:
            names = ", ".join(policy.id for policy in offered)
            raise UserError(Fault(f'there are no rules "{given}"; for {crop} there are: {names}', key="--rules"))
        if found.crop != ANY and crop not in found.crops:
            message = f"{given} is for {', '.join(found.crops)}, the crop is {crop}"
            raise UserError(Fault(message, key="--rules"))
        return found
    fitting = _fitting(offered, table)
    if len(fitting) == 1:
        say(f"Rules: {fitting[0].id}, {fitting[0].title}.")
        return fitting[0]
    where = f"{table.system}, {table.region}"
    say(
        f"More than one set of rules fits {crop} in {where}:"
        if fitting
        else f"No rules are made for {crop} in {where}. There are:"
    )
    for number, policy in enumerate(offered, start=1):
        say(f"{policy.id}: {_rules_words(policy, crop)}", indent=f"{number:3d}  ")
    answer = str(ask(None, "--rules", "Number or name of the rules to use")).strip()
    by_id = {policy.id: policy for policy in offered}
    if answer in by_id:
        return by_id[answer]
    return offered[_numbers(answer, len(offered), "--rules")[0] - 1]


def _offered(crop: str, table: BandTable) -> list[Policy]:
    """Rules that are for the crop, then those of the table's region for any crop, then the general ones."""
    from fertadjust.rules.policy import ANY
    from fertadjust.season_rules import GENERAL
    from fertadjust.shipped import shipped_policies

    policies = shipped_policies()
    own = [policy for policy in policies.values() if crop in policy.crops]
    near = [
        policy for policy in policies.values() if policy.crop == ANY and table.region in (policy.regions or ())
    ]
    return [*own, *near, policies[GENERAL]]


def _fitting(offered: Sequence[Policy], table: BandTable) -> list[Policy]:
    """Rules for a crop that are made for a table's region and system; of those, the ones for just that system."""
    from fertadjust.rules.policy import ANY
    from fertadjust.season_tables import within_system

    here = [
        policy
        for policy in offered
        if policy.crop != ANY
        and (policy.regions is None or table.region in policy.regions)
        and (within_system(policy.system, table.system) or within_system(table.system, policy.system))
    ]
    exact = [policy for policy in here if policy.system == table.system]
    return exact or here


def _rules_words(policy: Policy, crop: str) -> str:
    from fertadjust.season_rules import GENERAL

    if policy.id == GENERAL:
        return f"none of its figures is published for {crop}; steps and timing are this program's own"
    where = "" if policy.regions is None else f"; {', '.join(policy.regions)}"
    return f"{policy.title} ({policy.system}{where})"


def rules_named(policy: Policy, crop: str, system: str, region: str) -> bool:
    """Whether the season file has to name the rules, since crop, system and region do not lead to them alone."""
    from fertadjust.shipped import shipped_policies

    found = [item for item in shipped_policies().values() if crop in item.crops and item.system == system]
    if len(found) > 1:
        found = [item for item in found if region in (item.regions or ())]
    return [item.id for item in found] != [policy.id]


def stage_dates_asked(crop: str, names: Sequence[str], given: Sequence[str]) -> dict[str, date]:
    """Dates of the stages as far as they are known: as given, else as answered."""
    from fertadjust.shipped import crop_stages

    dates: dict[str, date] = {}
    for item in given:
        if item.strip() == NOT_YET:
            continue
        name, _, text = item.partition("=")
        try:
            dates[_stage_name(name)] = date.fromisoformat(text.strip())
        except ValueError:
            message = f'"{item}" should be NAME=DATE, {(names or ["first_bloom"])[0]}=2026-03-02, or {NOT_YET}'
            raise UserError(Fault(message, key="--stage")) from None
    if given or not names:
        return dates
    say(f"First day of each stage of {crop}, year-month-day; Enter where it has not begun.")
    meaning = crop_stages().meaning
    for name in names:
        say(f"{name}: {meaning.get(name, '')}", indent="  ", hang=4)
        answer = ask(None, "--stage", "    date", type=MAYBE_DAY, default="", show_default=False)
        if answer is not None:
            dates[name] = answer
    return dates


def _stage_name(text: str) -> str:
    name = text.strip()
    if not re.fullmatch(r"[a-z0-9_]+", name):
        raise ValueError(name)
    return name


def schedule_asked(given: str | None, policy: Policy, talking: bool) -> Schedule | None:
    """The published schedule to start from, or None for a rate of the grower's own."""
    schedules = () if policy.published is None else policy.published.schedules
    if given is None and (not schedules or not talking):
        return None
    if not schedules:
        raise UserError(Fault(f"the rules {policy.id} hold no published schedule; state --rate", key="--schedule"))
    if given == ASK and len(schedules) == 1:
        return schedules[0]
    answer = "" if given == ASK or given is None else given
    if not answer:
        say(f"Published schedules of {policy.id}:")
        for number, schedule in enumerate(schedules, start=1):
            total = sum(schedule.weekly_lb_ac())
            text = (
                f"{schedule.title}: {len(schedule.weekly_lb_ac())} weeks from {schedule.anchor}, {total:g} lb N/ac"
            )
            say(text, indent=f"{number:3d}  ")
        if given == ASK:
            answer = str(ask(None, "--schedule", "Number of the schedule to start from"))
        else:
            answer = str(
                usual(
                    None,
                    "Number of the one to start from (Enter = a rate of your own)",
                    "",
                    True,
                    show_default=False,
                )
            )
    if not answer.strip():
        return None
    return schedules[_numbers(answer, len(schedules), "--schedule")[0] - 1]
