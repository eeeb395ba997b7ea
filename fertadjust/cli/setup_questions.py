"""What ``new`` asks: crop, tables, rules, stage dates, the published schedule to start from; and how it asks."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from difflib import get_close_matches
from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

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


def fitting(value: Any, option: str, question: str, wrong: Callable[[Any], str], **prompt: Any) -> Any:
    """The value of an option, or the answer to a question, which is asked until nothing is wrong with it.

    ``wrong`` says what is wrong with a value, or ""; for ``prompt`` see `click.prompt`.

    Raises:
        UserError: the option's value is wrong, or it was left out and nobody is there to answer.
    """
    if value is not None and value != "":
        if message := wrong(value):
            raise UserError(Fault(message, key=option))
        return value
    while message := wrong(answer := ask(None, option, question, **prompt)):
        say(f"Error: {message}")
    return answer


def named(value: str | None, option: str, question: str) -> str:
    """A name, which is not blank."""
    return str(fitting(value, option, question, blank)).strip()


def usual_name(value: str | None, option: str, question: str, default: str, talking: bool) -> str:
    """A name that has a usual answer, which is not blank. See `usual`."""
    if value is not None and not value.strip():
        raise UserError(Fault(f"{blank(value)}, or leave the option out", key=option))
    while message := blank(answer := str(usual(value, question, default, talking))):
        say(f"Error: {message}")
    return answer.strip()


def blank(name: Any) -> str:
    """That a name is blank, or ""."""
    return "" if str(name).strip() else "is empty; write a name"


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


class Number(click.FloatRange):
    """A finite number within a range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"should be a finite number; found {number}", param, ctx)
        return number


def crop_asked(given: str | None) -> str:
    """The crop, one that there is a table for."""
    from fertadjust.shipped import shipped_tables

    known = sorted({name for table in shipped_tables().values() for name in table.crops}, key=str.lower)
    if given is None:
        say(f"Crops with a band table: {', '.join(known)}.")
    by_name = {name.casefold(): name for name in known}

    def wrong(answer: Any) -> str:
        if str(answer).strip().casefold() in by_name:
            return ""
        near = get_close_matches(str(answer).strip().casefold(), by_name, n=3)
        if near:
            return f'no table is for "{answer}"; did you mean {" or ".join(by_name[name] for name in near)}?'
        return f'no table is for "{answer}"; there are tables for: {", ".join(known)}'

    return by_name[str(fitting(given, "--crop", "Crop", wrong)).strip().casefold()]


def tables_asked(crop: str, given: Sequence[str]) -> list[BandTable]:
    """The tables named, or those picked from the list of the crop's, which is in order of region."""
    from fertadjust.shipped import shipped_tables

    offered = sorted(
        (table for table in shipped_tables().values() if crop in table.crops),
        key=lambda table: (table.region, table.tissue, table.basis, table.id),
    )
    by_id = {table.id: table for table in offered}
    unknown = [name for name in given if name not in by_id]
    if unknown:
        raise UserError(
            Fault(f"no {crop} table {', '.join(unknown)}; there are: {', '.join(by_id)}", key="--table")
        )
    if given:
        if message := _same_kind([by_id[name] for name in given]):
            raise UserError(Fault(message, key="--table"))
        return [by_id[name] for name in given]
    say("Bands of different regions disagree several-fold, so the table is your choice:")
    rows = [_table_row(number, table) for number, table in enumerate(offered, start=1)]
    echo_table(["no", "region", "result", "for", "band edges"], rows, left=(1, 2, 3, 4))

    def chosen(answer: Any) -> list[BandTable]:
        return [offered[int(part) - 1] for part in str(answer).split(",")]

    def wrong(answer: Any) -> str:
        return _no_numbers(str(answer), len(offered)) or _same_kind(chosen(answer))

    question = "Numbers of the tables to use, with commas (one for petioles, one for leaves)"
    return chosen(fitting(None, "--table", question, wrong))


def _same_kind(tables: Sequence[BandTable]) -> str:
    """That two tables are for one kind of result, or ""."""
    for one, other in combinations(tables, 2):
        same = sorted(set(one.analytes) & set(other.analytes))
        if (one.tissue, one.basis) == (other.tissue, other.basis) and same:
            kind = f"{one.tissue.value} {', '.join(same)}, {one.basis.value}"
            return f"{one.id} and {other.id} are both for {kind}: choose one"
    return ""


def _table_row(number: int, table: BandTable) -> list[str]:
    from fertadjust.table_choice import places_of
    from fertadjust.tissue import MAIN_ANALYTE, format_value

    main = MAIN_ANALYTE[table.tissue]
    analyte = main if main in table.analytes else table.analytes[0]
    bands = places_of(table, analyte)
    given = [(band.low, band.high, band.deficient_below, band.excess_above) for band in bands]
    edges = [edge for band in given for edge in band if edge is not None]
    ends = dict.fromkeys(format_value(edge, bands[0].unit) for edge in (min(edges), max(edges)))
    span = f"{' to '.join(ends)} {bands[0].unit}"
    grown = table.system if table.variety is None else f"{table.variety}, {table.system}"
    return [str(number), table.region, f"{table.tissue.value} {table.basis.value} {analyte}", grown, span]


def _no_numbers(answer: str, most: int, several: bool = True) -> str:
    """That an answer is no number from 1 on, or not one number or several, or ""."""
    parts = [part.strip() for part in (answer.split(",") if several else [answer])]
    if all(part.isascii() and part.isdigit() and 1 <= int(part) <= most for part in parts):
        return ""
    return f'"{answer}" should be {"numbers" if several else "a number"} from 1 to {most}'


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

    offered = offered_rules(crop, table)
    if given is not None:
        found = shipped_policies().get(given)
        if found is None:
            names = ", ".join(policy.id for policy in offered)
            raise UserError(Fault(f'there are no rules "{given}"; for {crop} there are: {names}', key="--rules"))
        if found.crop != ANY and crop not in found.crops:
            message = f"{given} is for {', '.join(found.crops)}, the crop is {crop}"
            raise UserError(Fault(message, key="--rules"))
        return found
    made = _made_for(offered, table)
    if len(made) == 1:
        say(f"Rules: {made[0].id}, {made[0].title}.")
        return made[0]
    where = f"{table.system}, {table.region}"
    say(
        f"More than one set of rules fits {crop} in {where}:"
        if made
        else f"No rules are made for {crop} in {where}. There are:"
    )
    for number, policy in enumerate(offered, start=1):
        say(f"{policy.id}: {_rules_words(policy, crop)}", indent=f"{number:3d}  ")
    by_name = {str(number): policy for number, policy in enumerate(offered, start=1)}
    by_name |= {policy.id: policy for policy in offered}

    def wrong(answer: Any) -> str:
        known = str(answer).strip() in by_name
        return "" if known else f'"{answer}" should be a name above, or a number from 1 to {len(offered)}'

    return by_name[str(fitting(None, "--rules", "Number or name of the rules to use", wrong)).strip()]


def offered_rules(crop: str, table: BandTable) -> list[Policy]:
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


def _made_for(offered: Sequence[Policy], table: BandTable) -> list[Policy]:
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
    from fertadjust.season_rules import rules_bound_to

    return rules_bound_to(crop, system, region) != [policy.id]


class Dating(NamedTuple):
    """What stage dates are held against.

    Attributes:
        crop: the crop.
        tables: the tables that they place.
        needed: stages that these are placed by or end with, in order.
        anchor: the stage that the rules count from.
        planted: day of planting, or None.
    """

    crop: str
    tables: Sequence[BandTable]
    needed: Sequence[str]
    anchor: str
    planted: date | None

    def known(self) -> list[str]:
        """The stages that can be dated, in order."""
        from fertadjust.shipped import crop_stages

        order = crop_stages().of(self.crop)
        return list(dict.fromkeys((*(() if order is None else order.names), *self.needed, self.anchor)))

    def wrong(self, stages: Mapping[str, date]) -> str:
        """What is wrong with the dates, or ""."""
        from fertadjust.stages import stage_words

        for name, day in stages.items():
            if self.planted is not None and day < self.planted:
                return f"{stage_words(name)} on {day} is before planting on {self.planted}"
        for table in self.tables:
            names = [name for name in (*table.needs, table.ends_with or "") if name in stages]
            days = [stages[name] for name in names]
            if days != sorted(set(days)):
                return f"{table.id} needs rising dates for {', '.join(names)}"
        return ""


def stage_dates_asked(given: Sequence[str], dating: Dating) -> dict[str, date]:
    """Dates of the stages as far as they are known: as given, else as answered."""
    from fertadjust.shipped import crop_stages

    stages = dict(_stage_given(item, dating) for item in given if item.strip() != NOT_YET)
    if message := dating.wrong(stages):
        raise UserError(Fault(message, key="--stage"))
    if given or not dating.needed:
        return stages
    say(f"First day of each stage of {dating.crop}, year-month-day; Enter where it has not begun.")
    meaning = crop_stages().meaning
    for name in dating.needed:
        say(f"{name}: {meaning.get(name, '')}", indent="  ", hang=4)

        def wrong(answer: date | None, name: str = name) -> str:
            return "" if answer is None else dating.wrong({**stages, name: answer})

        answer = fitting(None, "--stage", "    date", wrong, type=MAYBE_DAY, default="", show_default=False)
        if answer is not None:
            stages[name] = answer
    return stages


def _stage_given(item: str, dating: Dating) -> tuple[str, date]:
    """Stage and date of one option."""
    from fertadjust.stage_move import no_stage, plain_stage

    name, _, text = item.partition("=")
    try:
        on = DAY.convert(text, None, None)
    except click.BadParameter:
        example = f"{(dating.needed or ['first_bloom'])[0]}=2026-03-02"
        message = f'"{item}" should be NAME=DATE, {example}, or {NOT_YET}'
        raise UserError(Fault(message, key="--stage")) from None
    known = dating.known()
    if plain_stage(name) not in known:
        own = "A stage of your own is dated later: fertadjust stages set NAME DATE --own"
        raise UserError(Fault(f"{no_stage(name.strip(), known, dating.crop)} {own}", key="--stage"))
    return plain_stage(name), on


def schedule_asked(given: str | None, policy: Policy, talking: bool) -> Schedule | None:
    """The published schedule to start from, or None for a rate of the grower's own."""
    schedules = () if policy.published is None else policy.published.schedules
    if given is None and (not schedules or not talking):
        return None
    if not schedules:
        raise UserError(Fault(f"the rules {policy.id} hold no published schedule; state --rate", key="--schedule"))
    if given == ASK and len(schedules) == 1:
        return schedules[0]

    def wrong(answer: Any) -> str:
        return _no_numbers(str(answer), len(schedules), several=False)

    if given not in (None, "", ASK):
        return schedules[int(fitting(given, "--schedule", "", wrong)) - 1]
    say(f"Published schedules of {policy.id}:")
    for number, schedule in enumerate(schedules, start=1):
        total = sum(schedule.weekly_lb_ac())
        text = f"{schedule.title}: {len(schedule.weekly_lb_ac())} weeks from {schedule.anchor}, {total:g} lb N/ac"
        say(text, indent=f"{number:3d}  ")
    if given == ASK:
        return schedules[int(fitting(None, "--schedule NUMBER", "Number of the one to start from", wrong)) - 1]
    question = "Number of the one to start from (Enter = a rate of your own)"
    while answer := str(usual(None, question, "", True, show_default=False)).strip():
        if not (message := wrong(answer)):
            return schedules[int(answer) - 1]
        say(f"Error: {message}")
    return None
