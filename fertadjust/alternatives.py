"""How the advice would differ if one thing about it were otherwise, found on the real engine."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import NamedTuple

from fertadjust.band_rows import Band
from fertadjust.block_facts import BlockFacts
from fertadjust.compare import Side
from fertadjust.dates import short_day
from fertadjust.errors import OutOfSeason
from fertadjust.ledger import Application
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Facts, Recommendation
from fertadjust.tissue import MAIN_ANALYTE, Basis, Tissue, TissueResult

_WEEK = 7
_INSIDE_ONE_EDGE = 1.25
"""A value this far inside a band with one edge stands for "in the band" (project rule)."""


class Alternative(NamedTuple):
    """The advice with one thing otherwise.

    Attributes:
        condition: what would be otherwise, to be read after "if".
        recommendation: what the rules would recommend then, or None where the question does not arise.
        why_not: why it does not arise, or "".
    """

    condition: str
    recommendation: Recommendation | None
    why_not: str = ""


class _DoesNotArise(Exception):
    """Why a question does not arise."""


def alternatives(block: BlockFacts, facts: Facts, found: Recommendation) -> tuple[Alternative, ...]:
    """The advice with the sample a week earlier or later, leaf nitrogen in its band, the last injection logged.

    Args:
        block: the block's plan and records.
        facts: the facts of the day.
        found: what is recommended on them.

    Everything else stays as it is. Empty when there is no result.
    """
    if facts.primary is None:
        return ()
    questions: tuple[tuple[str, Callable[[], Recommendation]], ...] = (
        ("the sample had been taken a week earlier", lambda: _sampled(block, facts, -_WEEK)),
        ("the sample had been taken a week later", lambda: _sampled(block, facts, _WEEK)),
        ("leaf nitrogen were in its band", lambda: _leaf_in_band(block, facts, found)),
        ("one more injection had been logged before the sample", lambda: _injection_logged(block, facts)),
    )
    answers = []
    for condition, asked in questions:
        try:
            answers.append(Alternative(condition, asked()))
        except (_DoesNotArise, OutOfSeason) as reason:
            answers.append(Alternative(condition, None, str(reason)))
    return tuple(answers)


def _sampled(block: BlockFacts, facts: Facts, days: int) -> Recommendation:
    """The advice of the same day on the deciding sample taken some days earlier or later."""
    assert facts.primary is not None
    sampled, stale = facts.primary.sampled + timedelta(days=days), block.policy.stale_days.value
    if (facts.on - sampled).days > stale >= (facts.on - facts.primary.sampled).days:
        raise _DoesNotArise(f"a sample of {short_day(sampled)} would be too old to decide on")
    if any(on >= sampled for on, _ in facts.earlier):
        raise _DoesNotArise("an earlier sample would then be the later one")
    return evaluate(block.facts_sampled(facts, sampled), block.policy)


def _leaf_in_band(block: BlockFacts, facts: Facts, found: Recommendation) -> Recommendation:
    """The advice with a leaf result of the sample's day in the middle of its band."""
    primary = facts.primary
    assert primary is not None
    if primary.tissue is Tissue.LEAF:
        raise _DoesNotArise("the leaf result is the one that decides")
    if found.leaf is not None and found.leaf.sure is Side.WITHIN:
        raise _DoesNotArise("it is in its band")
    analyte = MAIN_ANALYTE[Tissue.LEAF]
    table = block.table_for(Tissue.LEAF, Basis.DRY, analyte)
    if table is None:
        raise _DoesNotArise("no leaf table is in use")
    band = table.band_on(analyte, primary.sampled, block.stages)
    leaf = TissueResult(
        record=0,
        block=block.block.key,
        sampled=primary.sampled,
        received=None,
        tissue=Tissue.LEAF,
        basis=Basis.DRY,
        analyte=analyte,
        value=_inside(band),
    )
    other = evaluate(replace(facts, leaf=block.reading(leaf)), block.policy)
    if other.leaf is None:
        raise _DoesNotArise("a leaf of that day would be older than the last change")
    if other.leaf.sure is not Side.WITHIN:
        raise _DoesNotArise("its band is too narrow for one result to be clearly inside")
    return other


def _inside(band: Band) -> float:
    if band.low is not None and band.high is not None:
        return math.sqrt(band.low * band.high)
    if band.low is not None:
        return band.low * _INSIDE_ONE_EDGE
    assert band.high is not None
    return band.high / _INSIDE_ONE_EDGE


def _injection_logged(block: BlockFacts, facts: Facts) -> Recommendation:
    """The advice with one more injection, of the week before the sample, in the log."""
    supply = facts.supply
    if supply is None:
        raise _DoesNotArise("no full week of the plan lies before the sample")
    week = block.plan.week_on(supply.end)
    assert week is not None
    amount = block.path_before(facts.on).rate_lb_ac(week) / block.plan.injections_per_week
    if supply.share is None:
        raise _DoesNotArise("nothing is logged yet, or nothing was planned")
    if supply.planned_lb_ac - supply.applied_lb_ac < amount / 2 or amount <= 0:
        raise _DoesNotArise("what was planned before the sample is logged")
    more = Application(0, block.block.key, supply.end, amount)
    return evaluate(replace(block, applications=(*block.applications, more)).facts(facts.on), block.policy)
