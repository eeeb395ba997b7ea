"""A published schedule as the ramp of a plan. The schedules here are invented but for the one that is named."""

from __future__ import annotations

from datetime import date

import pytest

from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis
from fertadjust.rules.published import Schedule, ScheduleStep
from fertadjust.start_schedule import Widths, area_factor, ramp_of, weeks_before
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem

US, METRIC = UnitSystem.US, UnitSystem.METRIC
WIDTHS = Widths(2.5, 5.0, 6.0)


def schedule(basis: AreaBasis | None = AreaBasis.LINEAR_BED, spacing: float | None = 6.0) -> Schedule:
    rates = (((1, 2), 1.5), ((3, 3), 2.0), ((4, 5), 1.0))
    steps = tuple(
        ScheduleStep(id=f"s{index}", source="INVENTED", evidence=Evidence.PUBLISHED, weeks=weeks, rate=rate)
        for index, (weeks, rate) in enumerate(rates)
    )
    return Schedule(
        title="invented schedule", anchor="transplanting", basis=basis, spacing_ft=spacing, steps=steps
    )


def test_on_its_own_acre_a_schedule_is_seven_days_a_week() -> None:
    ramp = ramp_of(schedule(), US, 5, 0, AreaBasis.LINEAR_BED, WIDTHS)
    assert ramp.steps == ((1, 10.5), (3, 14.0), (4, 7.0))
    text = " ".join(ramp.notes)
    assert (
        "invented schedule, in lb N/ac/day: weeks 1 to 2: 1.5; week 3: 2; weeks 4 to 5: 1 (INVENTED, published)"
        in text
    )
    assert "Its week 1 begins with transplanting." in text
    assert "acre of linear bed at the standard spacing of 6 ft" in text
    assert "multiplied" not in text


@pytest.mark.parametrize(
    ("source", "spacing", "basis", "factor"),
    [
        (AreaBasis.LINEAR_BED, 6.0, AreaBasis.BED, 6 / 2.5),
        (AreaBasis.LINEAR_BED, 6.0, AreaBasis.GROSS, 6 / 5),
        (AreaBasis.LINEAR_BED, 6.0, AreaBasis.LINEAR_BED, 1.0),
        (AreaBasis.BED, None, AreaBasis.GROSS, 0.5),
        (AreaBasis.GROSS, None, AreaBasis.BED, 2.0),
        (AreaBasis.BED, None, AreaBasis.BED, 1.0),
        (None, None, AreaBasis.BED, 1.0),
    ],
)
def test_a_foot_of_bed_gets_the_same_whatever_an_acre_means(
    source: AreaBasis | None, spacing: float | None, basis: AreaBasis, factor: float
) -> None:
    """43,560 ft2 an acre: rate x width / 43,560 per foot of bed is the same on both."""
    found = schedule(source, spacing)
    assert area_factor(found, basis, WIDTHS) == pytest.approx(factor)
    ramp = ramp_of(found, US, 5, 0, basis, WIDTHS)
    assert ramp.steps[0][1] == pytest.approx(10.5 * factor)
    width = {AreaBasis.BED: 2.5, AreaBasis.GROSS: 5.0, AreaBasis.LINEAR_BED: 6.0}
    if source is not None:
        assert ramp.steps[0][1] * width[basis] / 43_560 == pytest.approx(10.5 * width[source] / 43_560)
    assert ("multiplied by" in " ".join(ramp.notes)) == (factor != 1.0)
    assert ("does not say what its acre means" in " ".join(ramp.notes)) == (source is None)


def test_a_plan_on_another_standard_spacing_is_brought_to_it() -> None:
    assert area_factor(schedule(), AreaBasis.LINEAR_BED, Widths(2.5, 5.0, 5.0)) == pytest.approx(1.2)


def test_metric_rates_are_those_of_the_same_week() -> None:
    ramp = ramp_of(schedule(), METRIC, 5, 0, AreaBasis.LINEAR_BED, WIDTHS)
    assert [rate for _, rate in ramp.steps] == pytest.approx([rate * KG_HA_PER_LB_AC for rate in (10.5, 14, 7)])


def test_a_plan_that_starts_late_takes_the_schedule_up_where_it_is() -> None:
    assert weeks_before(date(2026, 3, 2), date(2026, 3, 16)) == 2
    assert weeks_before(date(2026, 3, 2), date(2026, 3, 15)) == 1
    assert weeks_before(None, date(2026, 3, 15)) == 0
    ramp = ramp_of(schedule(), US, 3, 2, AreaBasis.LINEAR_BED, WIDTHS)
    assert ramp.steps == ((1, 14.0), (2, 7.0))


def test_weeks_that_the_schedule_does_not_have_get_nothing_and_the_notes_say_so() -> None:
    assert weeks_before(date(2026, 3, 9), date(2026, 3, 2)) == -1
    early = ramp_of(schedule(), US, 7, -1, AreaBasis.LINEAR_BED, WIDTHS)
    assert early.steps == ((1, 0.0), (2, 10.5), (4, 14.0), (5, 7.0), (7, 0.0))
    assert "It is for 5 weeks; the other weeks of this plan get nothing until you set a rate." in early.notes
