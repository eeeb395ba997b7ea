"""A grower's decision on an advice, and all that is stored with it so that it can be derived again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import ValidationError

from fertadjust.advice_data import advice_data
from fertadjust.bands import BandTable
from fertadjust.errors import Fault, OtherForm, UserError
from fertadjust.rules.bound_rules import bounded_rate, room_lb_ac
from fertadjust.rules.policy import Policy, digest
from fertadjust.season import Advice, BlockSeason
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.units import UnitSystem

Choice = Literal["accept", "change", "leave"]
_TINY = 1e-6


def decision_content(
    season: BlockSeason,
    advice: Advice,
    choice: Choice,
    own_lb_ac: float | None,
    reason: str,
    by: str,
    units: UnitSystem,
    basis: Mapping[str, Any],
) -> dict[str, Any]:
    """The content of a decision's record.

    Args:
        season, advice: the block and the advice decided on.
        choice: accept the advice, change it to another rate, or leave the rate as it is.
        own_lb_ac: rate of the first week [lb/ac], for "change" only; the weeks after it follow the plan's ramp.
        reason: why; needed for "change" and "leave".
        by: who decides.
        units: units of the stored advice.
        basis: see `basis_of`.

    Raises:
        UserError: a missing or wrong rate, a rate outside the bounds, no reason, or no week left to change.
    """
    if choice not in get_args(Choice):
        raise UserError(Fault(f'"{choice}" should be one of {", ".join(get_args(Choice))}', key="choice"))
    if choice != "accept" and not reason.strip():
        raise UserError(Fault(f'"{choice}" needs a reason', key="reason"))
    if (choice == "change") != (own_lb_ac is not None):
        raise UserError(Fault('a rate goes with "change", and "change" needs one', key="rate"))
    found = advice.recommendation
    if choice != "leave" and not found.weeks:
        raise UserError(f"no week of the plan begins on {advice.on} or later, so there is nothing to change")
    numbers = [week.number for week in found.weeks]
    rates: dict[int, float] = dict(zip(numbers, found.rates_lb_ac, strict=True))
    factor = found.factor
    if own_lb_ac is not None:
        factor = own_lb_ac / found.weeks[0].rate_lb_ac if found.weeks[0].rate_lb_ac > 0 else 1.0
        own = _along_the_plan(advice, own_lb_ac)
        _check_own_rates(advice, own_lb_ac, own, units)
        rates = dict(zip(numbers, own, strict=True))
    elif choice == "leave":
        rates, factor = {}, found.standing_factor
    return {
        "choice": choice,
        "by": by,
        "reason": reason.strip(),
        "factor": factor,
        "rates_lb_ac": {str(week): value for week, value in rates.items()},
        "standing_lb_ac": dict(zip(map(str, numbers), found.standing_rates_lb_ac, strict=True)),
        "effective": found.weeks[0].start.isoformat() if found.weeks else advice.on.isoformat(),
        "review": found.review.isoformat(),
        "advice": advice_data(advice, season.mixes.every(), units),
        "basis": dict(basis),
    }


def _along_the_plan(advice: Advice, first_lb_ac: float) -> list[float]:
    """An own rate of the first week carried along a plan that ramps, in proportion and within the bounds [lb/ac].

    Where the first week's plan is nothing there is no proportion, and every week gets the same rate.
    """
    facts, weeks = advice.facts, advice.recommendation.weeks
    planned = weeks[0].rate_lb_ac
    if planned <= 0:
        return [first_lb_ac] * len(weeks)
    later = [
        bounded_rate(week.rate_lb_ac, first_lb_ac / planned, facts.floor_lb_ac, facts.ceiling_lb_ac)
        for week in weeks[1:]
    ]
    return [first_lb_ac, *later]


def _check_own_rates(advice: Advice, first_lb_ac: float, rates: Sequence[float], units: UnitSystem) -> None:
    facts = advice.facts
    low, high = facts.floor_lb_ac, facts.ceiling_lb_ac
    if not low - _TINY <= first_lb_ac <= high + _TINY:
        message = (
            f"{units.rate_out(first_lb_ac):.2f} is outside the bounds of {units.rate_out(low):.2f} to "
            f"{units.rate_out(high):.2f} {units.rate_unit}; if they are wrong, change [bounds] in season.toml"
        )
        raise UserError(Fault(message, key="rate"))
    room = room_lb_ac(facts)
    if room is not None and sum(rates) > room + _TINY:
        weeks = "1 week at that rate passes" if len(rates) == 1 else f"{len(rates)} weeks at that rate pass"
        left = f"{units.rate_out(room):.2f} {units.total_unit}"
        raise UserError(Fault(f"{weeks} the season cap, which leaves {left}", key="rate"))


def basis_of(season: BlockSeason, text: str, up_to: int, program: str) -> dict[str, Any]:
    """All that an advice was made from.

    Args:
        season: the block.
        text: the season file as it stands.
        up_to: number of the last record known.
        program: name and version.
    """
    tables = {table.id: table.as_data() for table in season.tables}
    policy = season.policy.model_dump(mode="json", by_alias=True)
    return {
        "up_to": up_to,
        "season": text,
        "tables": tables,
        "tables_sha256": digest(tables),
        "policy": policy,
        "policy_sha256": digest(policy),
        "program": program,
    }


def season_of_basis(basis: Mapping[str, Any], folder: Path) -> SeasonFile:
    """The season file, band tables and policy as a decision stored them.

    Raises:
        UserError: the stored season file no longer passes the program's checks.
        OtherForm: the stored policy or a band table has the form of another version.
    """
    try:
        tables = {key: BandTable.model_validate(data) for key, data in basis["tables"].items()}
        policy = Policy.model_validate(basis["policy"])
    except ValidationError:
        raise OtherForm(
            f"the decision was made with {basis['program']}, whose rules or band tables had another form; what it "
            "stored stands, and that version can derive it again"
        ) from None
    return with_policy(parse_season(basis["season"], folder, tables), policy)


def with_policy(file: SeasonFile, policy: Policy) -> SeasonFile:
    """A season file under another policy."""
    blocks = {key: replace(block, policy=policy) for key, block in file.blocks.items()}
    return replace(file, policy=policy, blocks=blocks)
