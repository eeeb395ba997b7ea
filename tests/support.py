"""Builders that the tests share. All values in them are invented unless a test names a source."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from fertadjust.field import AreaBasis, Block
from fertadjust.plan import Credit, Plan
from fertadjust.products import Product
from fertadjust.rules.policy import Policy
from fertadjust.season import BlockSeason
from fertadjust.shipped import shipped_policy, shipped_tables
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult

BLOOM = date(2026, 3, 2)
"""A Monday; week 1 of the sample calendar."""

SOUTHEAST = "strawberry-petiole-dry-us-southeast"
GEORGIA_LEAF = "strawberry-leaf-georgia"


def block(**changes: object) -> Block:
    """The block of the handwritten area example: 300 ft x 2.5 ft x 10 rows."""
    base = Block("north", "North", 300.0, 10, 2.5, 5.0, AreaBasis.BED)
    return replace(base, **changes)  # type: ignore[arg-type]


def plan(
    rates: tuple[float, ...] = (5.25,) * 12,
    *,
    start: date = BLOOM,
    floor: float = 3.0,
    ceiling: float = 7.0,
    cap: float | None = None,
    step: float = 0.05,
    injections: int = 2,
    credits_: tuple[Credit, ...] = (),
) -> Plan:
    return Plan(start, rates, AreaBasis.BED, injections, floor, ceiling, cap, step, credits_)


def products() -> tuple[Product, ...]:
    return (
        Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=0.5, nitrate_n=14.5),
        Product("potassium nitrate", {"n": 13.0, "k2o": 44.0}, share=0.5, nitrate_n=13.0),
    )


def policy() -> Policy:
    return shipped_policy("strawberry-annual-plasticulture")


def with_policy(base: Policy, **values: object) -> Policy:
    """A policy with some values replaced, unchecked."""
    changed = {name: getattr(base, name).model_copy(update={"value": value}) for name, value in values.items()}
    return base.model_copy(update=changed)


def result(
    value: float,
    week: int = 6,
    *,
    record: int = 1,
    offset: int = 2,
    delay: int = 3,
    tissue: Tissue = Tissue.PETIOLE,
    basis: Basis = Basis.DRY,
    analyte: str = "",
    censor: Censor = Censor.NONE,
    petioles: int | None = 25,
    method: Method = Method.LABORATORY,
) -> TissueResult:
    """A result sampled in a week of the calendar, on its third day, received three days after."""
    sampled = day_in(week, offset)
    name = analyte or ("NO3-N" if tissue is Tissue.PETIOLE else "N")
    return TissueResult(
        record,
        "north",
        sampled,
        sampled + timedelta(days=delay),
        tissue,
        basis,
        name,
        value,
        censor,
        petioles,
        method,
    )


def day_in(week: int, offset: int = 0) -> date:
    """Day of a week of the calendar; offset 0 is its Monday."""
    return BLOOM + timedelta(days=7 * (week - 1) + offset)


def season(
    *results: TissueResult,
    the_plan: Plan | None = None,
    the_policy: Policy | None = None,
    tables: tuple[str, ...] = (SOUTHEAST, GEORGIA_LEAF),
    stages: StageDates | None = None,
    **rest: object,
) -> BlockSeason:
    """A block's season by the US Southeast calendar, first bloom on `BLOOM`."""
    used = plan() if the_plan is None else the_plan
    return BlockSeason(
        block=block(),
        plan=used,
        stages=stages or StageDates({"first_bloom": BLOOM}, used.end),
        products=products(),
        policy=the_policy or policy(),
        tables=tuple(shipped_tables()[name] for name in tables),
        results=results,
        **rest,  # type: ignore[arg-type]
    )


def let_others_in(folders: pytest.TempPathFactory) -> None:
    """Let other persons of the machine pass through the folders above those of the tests.

    They are not closed again, since another process of the same run may need them open; the next run closes them.
    """
    base = folders.getbasetemp()
    for path in (base, *base.parents):
        path.chmod(0o755)
        if path.name.startswith("pytest-of-"):
            break
