"""The weekly table: rates, amounts of product and running totals for the rest of the season."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fertadjust.field import Block
from fertadjust.mixes import Mix, Mixes
from fertadjust.plan import Plan, PlanWeek
from fertadjust.products import ProductAmount, amount_of, amounts


@dataclass(frozen=True, slots=True)
class WeekAmounts:
    """One week of one block.

    Attributes:
        week: the planned week.
        stage: where the week lies in words, or "".
        before_lb_ac: rate without the new decision [lb/ac].
        rate_lb_ac: rate with it [lb/ac], as far as the season cap lets it.
        n_lb: nitrogen for the whole block [lb].
        n_lb_injection: nitrogen for the whole block in one injection [lb].
        products: amounts for the whole block and the whole week; every product that feeds in one of the weeks,
            those that rest in this one with nothing.
        products_before: the same without the new decision.
        total_lb_ac: running total of the season with credits, to the end of this week [lb/ac].
        over_cap: whether the week's rate would pass the season cap, so that less or nothing is fed.
    """

    week: PlanWeek
    stage: str
    before_lb_ac: float
    rate_lb_ac: float
    n_lb: float
    n_lb_injection: float
    products: tuple[ProductAmount, ...]
    products_before: tuple[ProductAmount, ...]
    total_lb_ac: float
    over_cap: bool

    @property
    def changed(self) -> bool:
        """Whether the decision moves this week."""
        return abs(self.rate_lb_ac - self.before_lb_ac) > 1e-9

    def nutrient_lb(self, nutrient: str) -> float:
        """Weight of a nutrient that comes with the week's products [lb]."""
        return sum(part.nutrients_lb.get(nutrient, 0.0) for part in self.products)


def weekly_amounts(
    block: Block,
    plan: Plan,
    mixes: Mixes,
    weeks: Sequence[PlanWeek],
    before: Mapping[int, float],
    after: Mapping[int, float],
    spent_lb_ac: float,
    stage_of: Mapping[int, str],
) -> list[WeekAmounts]:
    """Amounts of the coming weeks.

    Args:
        block, plan, mixes: see their classes.
        weeks: the weeks to show, in order.
        before, after: week number -> rate [lb/ac] without and with the new decision.
        spent_lb_ac: credits, applied nitrogen and the rest of the running week [lb/ac].
        stage_of: week number -> stage in words.
    """
    area = block.area_ac()
    total = spent_lb_ac
    rows = []
    columns = list(dict.fromkeys(item.name for week in weeks for item in mixes.in_week(week.number)))
    for week in weeks:
        mix = mixes.in_week(week.number)
        wanted = after[week.number]
        rate = wanted if plan.cap_lb_ac is None else min(wanted, max(0.0, plan.cap_lb_ac - total))
        total += rate
        n_lb = rate * area
        rows.append(
            WeekAmounts(
                week=week,
                stage=stage_of.get(week.number, ""),
                before_lb_ac=before[week.number],
                rate_lb_ac=rate,
                n_lb=n_lb,
                n_lb_injection=n_lb / plan.injections_per_week,
                products=_in_columns(_fed(rate, area, mix), columns, mixes),
                products_before=_in_columns(_fed(before[week.number], area, mix), columns, mixes),
                total_lb_ac=total,
                over_cap=rate < wanted - 1e-9,
            )
        )
    return rows


def _fed(rate_lb_ac: float, area_ac: float, mix: Mix) -> list[ProductAmount]:
    """Products of a week at a rate; a week without nitrogen rests as a whole."""
    return amounts(rate_lb_ac * area_ac, mix, area_ac if rate_lb_ac > 0 else 0.0)


def _in_columns(parts: Sequence[ProductAmount], columns: Sequence[str], mixes: Mixes) -> tuple[ProductAmount, ...]:
    """One amount for each product name, nothing for those that take no part this week."""
    given = {part.product.name: part for part in parts}
    resting = {product.name: product for product in mixes.products}
    return tuple(given[name] if name in given else amount_of(resting[name], 0.0) for name in columns)
