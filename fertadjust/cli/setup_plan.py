"""What ``new`` asks of the plan: field, weeks and rates, and the bounds of the rates."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from fertadjust.cli.common import DAY, ask, say
from fertadjust.cli.setup_questions import Number, fitting
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.rules.policy import Policy
    from fertadjust.rules.published import Schedule
    from fertadjust.start_schedule import Ramp
    from fertadjust.units import UnitSystem

POSITIVE = Number(0, min_open=True)
RATE = Number(0)
_SAME = 1 + 1e-9
"""Two rates of which one is this much of the other are the same."""


def planting_stage(schedule: Schedule | None, planted: date | None, dates: dict[str, date]) -> str:
    """The stage that the day of planting is taken for, since the schedule begins with it; "" for none."""
    if schedule is None or planted is None or schedule.anchor in dates:
        return ""
    return schedule.anchor if schedule.anchor in ("planting", "transplanting") else ""


def field_asked(given: dict[str, Any], units: UnitSystem) -> dict[str, Any]:
    """Rows and widths of the first block."""
    unit = units.length_unit

    def wider(width: float, spacing: float | None) -> str:
        if spacing is None or width <= spacing:
            return ""
        return f"a bed top of {width:g} {unit} is wider than the bed spacing of {spacing:g} {unit}"

    length = ask(given["row_length"], "--row-length", f"Row length [{unit}]", type=POSITIVE)
    rows = ask(given["rows"], "--rows", "Number of rows", type=click.IntRange(1))
    top, apart = given["bed_top_width"], given["bed_spacing"]
    width = fitting(top, "--bed-top-width", f"Bed-top width [{unit}]", lambda x: wider(x, apart), type=POSITIVE)
    spacing = fitting(apart, "--bed-spacing", f"Bed spacing [{unit}]", lambda x: wider(width, x), type=POSITIVE)
    return {"row_length": length, "rows": rows, "bed_top_width": width, "bed_spacing": spacing}


class PlanAnswers(NamedTuple):
    """The plan as answered; ``factor`` is what rates of the source's acre were multiplied by."""

    start: date
    weeks: int
    basis: str
    standard_spacing: float | None
    rate: float | None
    ramp: Ramp | None
    factor: float

    @property
    def highest(self) -> float:
        """The highest rate of any week."""
        return max((rate for _, rate in self.ramp.steps), default=0.0) if self.ramp else self.rate or 0.0


def plan_asked(
    given: dict[str, Any],
    units: UnitSystem,
    policy: Policy,
    schedule: Schedule | None,
    dates: dict[str, date],
    field: dict[str, Any],
) -> PlanAnswers:
    """Start, weeks, basis and rates: one rate, or the schedule as a ramp."""
    from fertadjust.field import AreaBasis
    from fertadjust.start_schedule import Widths, area_factor, ramp_of, weeks_before

    begins = None if schedule is None else dates.get(schedule.anchor)
    first: dict[str, Any] = {} if begins is None else {"default": begins.isoformat()}
    start = ask(given["start"], "--start", "First day of feeding (year-month-day)", type=DAY, **first)
    over = weeks_before(begins, start)
    left = 12 if schedule is None else max(1, len(schedule.weekly_lb_ac()) - over)
    weeks = ask(given["weeks"], "--weeks", "Weeks of feeding", type=click.IntRange(1, 60), default=left)
    choices = click.Choice(["bed", "gross", "linear_bed"])
    own = "bed" if schedule is None or schedule.basis is None else schedule.basis.value
    basis = ask(given["basis"], "--basis", "An acre or hectare means", type=choices, default=own)
    standard = None
    if basis == "linear_bed":
        spacing = None if schedule is None else schedule.spacing_ft
        shown: dict[str, Any] = {} if spacing is None else {"default": round(units.length_out(spacing), 4)}
        question = f"Spacing that linear bed is counted at [{units.length_unit}]"
        standard = ask(given["standard_spacing"], "--standard-spacing", question, type=POSITIVE, **shown)
    elif given["standard_spacing"] is not None:
        raise UserError(Fault("goes with --basis linear_bed", key="--standard-spacing"))
    if schedule is None:
        question = f"Nitrogen [{units.rate_unit}]"
        ceiling, whose = given["ceiling"], ""
        if ceiling is None and policy.ceiling is not None:
            ceiling, whose = (
                units.rate_out(policy.ceiling.value),
                f" of the rules {policy.id}; set your own: --ceiling",
            )

        def above(rate: float) -> str:
            if ceiling is None or rate <= ceiling * _SAME:
                return ""
            return f"a planned rate of {rate:g} is above the ceiling of {ceiling:.4g} {units.rate_unit}{whose}"

        rate = fitting(given["rate"], "--rate", question, above, type=RATE)
        return PlanAnswers(start, weeks, basis, standard, rate, None, 1.0)
    widths = Widths(
        units.length_in(field["bed_top_width"]),
        units.length_in(field["bed_spacing"]),
        None if standard is None else units.length_in(standard),
    )
    ramp = ramp_of(schedule, units, weeks, over, AreaBasis(basis), widths)
    factor = area_factor(schedule, AreaBasis(basis), widths)
    return PlanAnswers(start, weeks, basis, standard, None, ramp, factor)


def bounds_asked(
    given: dict[str, Any], units: UnitSystem, policy: Policy, plan: PlanAnswers
) -> tuple[float | None, float | None, str]:
    """Floor and ceiling to write, and why; None where the rules' own are taken."""
    floor, ceiling, factor = given["floor"], given["ceiling"], plan.factor
    low = None if policy.floor is None else units.rate_out(policy.floor.value * factor)
    high = None if policy.ceiling is None else units.rate_out(policy.ceiling.value * factor)
    own = low is None or high is None
    if own and None in (floor, ceiling):
        say(f"The rules {policy.id} hold no lowest and highest rate, since none is published.")
    what = f"weekly rate that may be advised [{units.rate_unit}]"

    def crossed(least: float | None, most: float | None) -> str:
        if least is None or most is None or least <= most * _SAME:
            return ""
        return f"floor {least:.4g} is above ceiling {most:.4g}"

    def ceiling_wrong(value: float) -> str:
        if plan.highest <= value * _SAME:
            return crossed(low if floor is None else floor, value)
        return f"ceiling {value:.4g} is below the highest planned rate, {plan.highest:.4g} {units.rate_unit}"

    if own or floor is not None:
        most = high if ceiling is None else ceiling
        floor = fitting(floor, "--floor", f"Lowest {what}", lambda value: crossed(value, most), type=RATE)
    if own or ceiling is not None:
        ceiling = fitting(ceiling, "--ceiling", f"Highest {what}", ceiling_wrong, type=POSITIVE)
    if low is None or high is None or factor == 1.0:
        return floor, ceiling, ""
    note = f"Those of the rules {policy.id} multiplied by {factor:.4g}, as the ramp above is."
    return round(low, 9) if floor is None else floor, round(high, 9) if ceiling is None else ceiling, note
