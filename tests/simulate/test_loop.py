"""The loop of sampling, deciding and feeding: what happens on which day, and who knows it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.observations import Sight
from fertadjust.plan import Change, Credit, RatePath
from fertadjust.season import BlockSeason
from fertadjust.simulate.controllers import ByTheRules, Controller, Decision, FixedPlan, WithoutGuards
from fertadjust.simulate.loop import Course, Setup, table_of
from fertadjust.simulate.measures import measured
from fertadjust.simulate.parameters import Array
from fertadjust.simulate.scenario import Scenario
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Tissue
from tests.simulate.support import (
    GEORGIA_RATES,
    batch_of,
    drawn,
    georgia,
    scenario,
    setup,
    with_rates,
)
from tests.support import BLOOM, GEORGIA_LEAF, SOUTHEAST, day_in, season

FLORIDA_SAP = "strawberry-petiole-sap-florida"
WAYS = [FixedPlan(), ByTheRules(), WithoutGuards(), WithoutGuards(bounded=True)]
LEVEL = (5.0,) * 12
"""Invented: a plan without a ramp [lb/ac/week]."""


@dataclass
class Overheard:
    """A way of deciding that keeps what it was asked and what it answered."""

    by: Controller
    asked: list[tuple[BlockSeason, date]] = field(default_factory=list)
    answered: list[Decision] = field(default_factory=list)

    @property
    def heeds_cap(self) -> bool:
        return self.by.heeds_cap

    def decide(self, season: BlockSeason, on: date) -> Decision:
        self.asked.append((season, on))
        self.answered.append(self.by.decide(season, on))
        return self.answered[-1]


def one(of: Setup, by: Controller | None = None) -> tuple[Overheard, Course]:
    """One season, and everything that was asked in it."""
    ear = Overheard(by or ByTheRules())
    return ear, batch_of(of, ear, 1).run()


def sampled_days(asked: Sequence[tuple[BlockSeason, date]]) -> list[int]:
    last = asked[-1][0]
    return [(item.sampled - last.plan.start).days for item in last.results]


def fed_on(course: Course) -> list[int]:
    return [int(day) for day in np.flatnonzero(course.applied.sum(axis=1))]


# --- balance and feeding -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["usual", "rough"])
def test_what_is_fed_and_brought_is_found_again_in_every_season(name: str) -> None:
    """Analytic: the total of all pools changes by what is fed and brought and by nothing else."""
    course = batch_of(setup(name), count=40).run()
    expected = course.begun + course.applied.sum(axis=0) + course.brought
    assert course.state.total == pytest.approx(expected, abs=1e-10)


def test_water_brings_what_its_nitrate_holds() -> None:
    """1 mg/L in 1 mm is 0.01 kg/ha, by hand: 10 ppm in 3.955 mm a day over 84 days are 33.2 kg/ha."""
    calm = scenario("calm", field={"water_nitrate": {"low": 10, "high": 10}})
    of = setup(calm)
    given = drawn(of, 1)
    half = {name: np.array([0.5]) for name in given.shares}
    course = batch_of(of, FixedPlan(), given=replace(given, shares=half)).run()
    assert course.brought == pytest.approx(10 * 3.5 * 1.13 * 84 * 0.01 / 1.12085, rel=1e-4)


def test_the_fixed_plan_feeds_the_plan_in_its_injections() -> None:
    course = batch_of(setup(), FixedPlan(), 5).run()
    assert course.rate == pytest.approx(np.repeat(np.array(GEORGIA_RATES)[:, None], 5, axis=1))
    assert fed_on(course) == [7 * week + day for week in range(12) for day in (0, 3)]
    assert course.applied[0] == pytest.approx(1.75)
    assert course.applied.sum(axis=0) == pytest.approx(59.5)
    assert np.array_equal(course.aimed, course.rate)
    assert np.isinf(course.room).all()


@pytest.mark.parametrize(
    ("often", "days"),
    [(1, [0]), (2, [0, 3]), (3, [0, 2, 4]), (7, list(range(7))), (10, list(range(7))), (14, list(range(7)))],
)
def test_injections_are_spread_over_the_week(often: int, days: list[int]) -> None:
    course = batch_of(setup(base=georgia(injections=often)), FixedPlan(), 2).run()
    assert [day for day in fed_on(course) if day < 7] == days


@pytest.mark.parametrize("often", range(1, 15))
def test_any_number_of_injections_feeds_the_plan(often: int) -> None:
    course = batch_of(setup(base=georgia(injections=often)), FixedPlan(), 2).run()
    assert course.applied.sum(axis=0) == pytest.approx(59.5)
    assert course.applied.reshape(12, 7, 2).sum(axis=1) == pytest.approx(course.rate)


def test_where_two_injections_fall_on_a_day_they_are_fed_and_logged_together() -> None:
    """Ten in a week: on the first, third and fifth day two, on the others one."""
    ear, course = one(setup(scenario("calm", sampling={"every": 7}), base=georgia(injections=10)), FixedPlan())
    two = {0, 2, 4}
    expected = [0.35 * (1 + (day in two)) for day in range(7)]
    assert course.applied[:7, 0] == pytest.approx(expected)
    assert [item.n_lb_ac for item in ear.asked[-1][0].applications][:7] == pytest.approx(expected)


def test_a_missed_injection_is_not_fed_and_is_logged_as_nothing() -> None:
    of = setup(scenario("calm", feeding={"missed": 0.4, "logged": 1.0}, sampling={"every": 7}))
    given = drawn(of, 1)
    ear = Overheard(FixedPlan())
    course = batch_of(of, ear, given=given).run()
    log = {(item.on - BLOOM).days: item.n_lb_ac for item in ear.asked[-1][0].applications}
    last = (ear.asked[-1][1] - BLOOM).days
    due = [7 * week + day for week in range(12) for day in (0, 3) if 7 * week + day < last]
    assert list(log) == due
    missed = [day for day in due if given.missed[day, 0]]
    assert missed
    for day in due:
        planned = GEORGIA_RATES[day // 7] / 2
        assert log[day] == pytest.approx(0.0 if day in missed else planned)
        assert course.applied[day, 0] == pytest.approx(log[day])


def test_a_grower_without_a_log_feeds_all_the_same() -> None:
    ear, course = one(setup(scenario("calm", feeding={"missed": 0.0, "logged": 0.0})), FixedPlan())
    assert ear.asked[-1][0].applications == ()
    assert course.applied.sum() == pytest.approx(59.5)


def test_ammonium_in_the_mix_is_fed_as_ammonium() -> None:
    """Half from a product of 14.5 parts nitrate in 15.5, half all nitrate: 3.2 % is none (invented labels)."""
    course = batch_of(setup(), FixedPlan(), 1)
    as_nitrate, as_ammonium = course._forms(np.array([2.0]), 0)
    assert as_ammonium[0] == pytest.approx(2.0 * 0.5 * (1 - 14.5 / 15.5))
    assert as_nitrate[0] + as_ammonium[0] == pytest.approx(2.0)


# --- sampling and the laboratory -----------------------------------------------------------------------------


@pytest.mark.parametrize("every", [7, 14])
def test_samples_are_taken_on_fixed_days(every: int) -> None:
    of = setup(scenario("calm", sampling={"every": every, "first_day": 9}))
    ear, _ = one(of)
    assert sampled_days(ear.asked) == list(range(9, 9 + every * len(sampled_days(ear.asked)), every))
    assert len(ear.asked) >= 70 // every


def test_samples_are_taken_on_the_days_that_the_rules_ask_for() -> None:
    of = setup("usual", seed=4)
    of = replace(of, scenario=scenario("usual", sampling={"every": "as advised", "first_day": 9, "lost": 0.0}))
    ear, _ = one(of)
    days = sampled_days(ear.asked)
    asked_for = [(answer.next_sample - BLOOM).days for answer in ear.answered if answer.next_sample]
    decided = [(on - BLOOM).days for _, on in ear.asked]
    expected = [max(day, on) for day, on in zip(asked_for, decided, strict=True)]
    assert days[0] == 9
    assert days[1:] == expected[: len(days) - 1]


def test_a_result_is_decided_on_when_it_arrives() -> None:
    of = setup(scenario("calm", laboratory={"days": {"low": 3, "high": 6}}, sampling={"every": 7}))
    ear = Overheard(FixedPlan())
    batch_of(of, ear, 40).run()
    delays = set()
    for asked, on in ear.asked:
        (arrived,) = (item for item in asked.results if item.received == on)
        assert arrived.received is not None
        delays.add((arrived.received - arrived.sampled).days)
    assert delays == {3, 4, 5, 6}


@pytest.mark.parametrize("most", [0, 2])
@pytest.mark.parametrize("every", [3, 7, 14, "as advised"])
def test_a_result_of_the_sampling_day_is_decided_on_and_sampling_goes_on(every: int | str, most: int) -> None:
    """Sap read on the farm, or within two days: each result is decided on once, on the day that it is there."""
    of = setup(scenario("calm", laboratory={"days": {"low": 0, "high": most}}, sampling={"every": every}))
    ear = Overheard(ByTheRules())
    batch = batch_of(of, ear, 10)
    course = batch.run()
    delays = set()
    for grower, decided in zip(batch.growers, course.decisions, strict=True):
        days = [(item.sampled - BLOOM).days for item in grower.results]
        assert days == sorted(set(days))
        if every != "as advised":
            assert days == list(range(9, 84, int(every)))
        assert days[-1] >= 84 - (14 if every == "as advised" else int(every))
        arrived = [item.known_on for item in grower.results if (item.known_on - BLOOM).days < 84]
        assert decided == len(set(arrived))
        delays |= {(item.known_on - item.sampled).days for item in grower.results}
    assert delays == set(range(most + 1))
    assert sum(course.decisions) == len(ear.asked)


class AtOnce:
    """A way of deciding that changes nothing and asks for the next sample on the day it is asked."""

    heeds_cap = True

    def decide(self, season: BlockSeason, on: date) -> Decision:
        del season
        return Decision(None, on)


@pytest.mark.parametrize("days", [0, 2])
def test_a_sample_asked_for_at_once_is_taken_the_next_day_and_sampling_goes_on(days: int) -> None:
    of = setup(scenario("calm", laboratory={"days": {"low": days, "high": days}}))
    ear, _ = one(of, AtOnce())
    assert sampled_days(ear.asked) == list(range(9, 84 - days, days + 1))


def test_what_is_decided_on_the_first_day_of_a_week_is_fed_in_it() -> None:
    """Sampled, known and decided on the first day of week 3, before its first injection."""
    base = with_rates(georgia(floor=0.0, ceiling=20.0), 0.5)
    wanted = scenario(
        "calm",
        laboratory={"days": {"low": 0, "high": 0}},
        sampling={"every": 60, "first_day": 14},
        field={"soil_at_start": {"low": 0.01, "high": 0.01}},
    )
    ear, course = one(setup(wanted, base=base))
    answer, (_, on) = ear.answered[0], ear.asked[0]
    assert on == day_in(3)
    assert answer.change is not None and answer.change.effective == day_in(3)
    assert answer.change.rates_lb_ac[3] > 5.25 / 2
    assert course.rate[2, 0] == pytest.approx(answer.change.rates_lb_ac[3])
    assert course.applied[14, 0] == pytest.approx(answer.change.rates_lb_ac[3] / 2)


def test_lost_samples_lead_to_no_result_and_the_next_is_taken_on_its_day() -> None:
    of = setup(scenario("calm", sampling={"every": 7, "lost": 0.5}))
    given = drawn(of, 1)
    ear = Overheard(FixedPlan())
    batch_of(of, ear, given=given).run()
    due = [day for day in range(9, 84, 7) if not given.lost[day, 0]]
    assert 0 < len(due) < 11
    found = sampled_days(ear.asked)
    assert found == due[: len(found)]


def test_where_a_sample_asked_for_is_lost_another_is_taken_a_week_later() -> None:
    of = setup(scenario("calm", sampling={"lost": 0.5}))
    given = drawn(of, 1)
    lost = np.zeros_like(given.lost)
    lost[9] = True
    ear = Overheard(FixedPlan())
    batch_of(of, ear, given=replace(given, lost=lost)).run()
    assert sampled_days(ear.asked)[0] == 16


def test_a_crop_is_sampled_against_the_first_petiole_table_dry_before_sap() -> None:
    assert table_of(season(tables=(GEORGIA_LEAF, FLORIDA_SAP, SOUTHEAST))).id == SOUTHEAST
    assert table_of(season(tables=(GEORGIA_LEAF, FLORIDA_SAP))).basis is Basis.SAP
    with pytest.raises(UserError, match="petiole nitrate table"):
        table_of(season(tables=(GEORGIA_LEAF,)))


def budget(ppm: Array, petioles: int, cv: float, hour: float) -> Array:
    """Standard deviation of ln(reported), by hand.

    Horwitz 2^(1 - 0.5 log10 C) percent (HORWITZ-1988), CV / sqrt(n), the standard error of a mean, hour and day;
    added in quadrature (JCGM-100); ln(1 + u^2) of a lognormal value.
    """
    horwitz = 2 ** (1 - 0.5 * np.log10(ppm * 1e-6)) / 100
    return np.asarray(np.sqrt(np.log1p(horwitz**2 + cv**2 / petioles + hour**2)))


@pytest.mark.parametrize(
    ("petioles", "cv", "hour", "bias"),
    [(25, 0.30, 0.10, 1.0), (25, 0.30, 0.10, 0.8), (10, 0.60, 0.0, 1.0), (25, 0.0, 0.0, 1.2)],
)
def test_results_scatter_about_the_truth_by_the_uncertainty_budget(
    petioles: int, cv: float, hour: float, bias: float
) -> None:
    """Some 4,000 results: the mean within four standard errors, the spread within 5 %."""
    laboratory = {
        "bias": {"low": bias, "high": bias},
        "petiole_cv": cv,
        "hour_and_day": hour,
        "reports_from": 0.001,
        "days": {"low": 0, "high": 0},
    }
    of = setup(scenario("calm", laboratory=laboratory, sampling={"every": 7, "petioles": petioles}))
    batch = batch_of(of, FixedPlan(), 400)
    course = batch.run()
    scaled, off = [], []
    for index, grower in enumerate(batch.growers):
        for item in grower.results:
            truth = bias * course.value[(item.sampled - BLOOM).days, index]
            off.append(math.log(item.value / truth))
            scaled.append(off[-1] / float(budget(np.asarray(truth), petioles, cv, hour)))
            assert item.petioles == petioles
    assert len(scaled) > 4000
    assert np.mean(scaled) == pytest.approx(0.0, abs=4 / math.sqrt(len(scaled)))
    assert np.std(scaled) == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize(
    ("value", "noise", "expected"),
    [
        (2000.0, 0.0, (2000.0, Censor.NONE)),
        (900.0, 0.0, (900.0, Censor.NONE)),
        (899.9, 0.0, (900.0, Censor.BELOW)),
        (0.0, 3.0, (900.0, Censor.BELOW)),
        (950.0, -5.0, (900.0, Censor.BELOW)),
    ],
)
def test_below_what_the_laboratory_reports_a_result_is_a_bound(
    value: float, noise: float, expected: tuple[float, Censor]
) -> None:
    batch = batch_of(setup(scenario("calm", laboratory={"reports_from": 900})), count=1)
    assert batch._reported(value, noise) == expected


def test_a_starved_crop_gives_results_below_the_reporting_limit_and_the_rules_take_them() -> None:
    base = with_rates(georgia(floor=0.0), 0.5)
    of = setup(scenario("calm", laboratory={"reports_from": 1500}, sampling={"every": 7}), base=base)
    ear, course = one(of)
    assert any(item.censor is Censor.BELOW and item.value == 1500 for item in ear.asked[-1][0].results)
    assert (course.aimed[:, 0] > np.array(base.plan.rates_lb_ac) + 0.1).any()


# --- rain, stage -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("noted", "seen"), [(1.0, True), (0.0, False)])
def test_a_rain_leaches_whether_or_not_it_is_noted(noted: float, seen: bool) -> None:
    rain = {"a_week": 7, "lost": {"low": 0.3, "high": 0.3}, "noted": noted}
    of = setup(scenario("calm", rain=rain, sampling={"every": 7}))
    ear, course = one(of, FixedPlan())
    _, dry = one(setup(scenario("calm", sampling={"every": 7})), FixedPlan())
    last, on = ear.asked[-1]
    days = (on - BLOOM).days
    expected = [BLOOM + timedelta(days=day) for day in range(days)] if seen else []
    assert [item.on for item in last.observations] == expected
    assert all(item.sight is Sight.LEACHING_RAIN for item in last.observations)
    assert course.state.leached[0] > dry.state.leached[0] + 20


@pytest.mark.parametrize("days_off", [-7, 0, 5])
def test_a_crop_that_is_late_lies_in_the_band_of_an_earlier_day(days_off: int) -> None:
    """Bands of week 1 and of weeks 2 and 3: 600 to 1500 and 4000 to 6000 ppm (UGA-2021)."""
    of = setup(scenario("calm", stage={"days_off": {"low": days_off, "high": days_off}}))
    course = batch_of(of, FixedPlan(), 1).run()
    for day in (14, 20):
        on_time = 600 if day - days_off < 7 else 4000 if day - days_off < 21 else 3500
        assert course.low[day, 0] == on_time
    first_week = max(0, 7 + days_off)
    assert (course.low[:first_week, 0][-7:] == 600).all() or first_week == 0


def test_an_early_crop_needs_its_nitrogen_earlier() -> None:
    def growth(days_off: int) -> float:
        of = setup(scenario("calm", stage={"days_off": {"low": days_off, "high": days_off}}))
        given = replace(drawn(of, 20), days_off=np.full(20, days_off))
        reference = drawn(setup(), 20)
        course = batch_of(of, FixedPlan(), given=replace(reference, days_off=given.days_off)).run()
        return float(course.state.growth.mean())

    assert growth(-14) > growth(0) > growth(14)


def test_the_dates_of_the_season_are_what_the_grower_goes_by() -> None:
    """The rules are never told how far the dates are off: a band comes from the season's own dates."""
    of = setup(scenario("calm", stage={"days_off": {"low": 10, "high": 10}}, sampling={"every": 7}))
    ear, _ = one(of)
    for asked, _on in ear.asked:
        assert asked.stages == StageDates({"first_bloom": BLOOM}, asked.plan.end)


# --- deciding: the same engine as for a real season ------------------------------------------------------------


@pytest.mark.parametrize("seed", [3, 8])
@pytest.mark.parametrize("name", ["usual", "hungry-crop", "rough"])
def test_the_loop_decides_what_the_advice_of_a_real_season_with_these_records_says(name: str, seed: int) -> None:
    ear, _ = one(setup(name, seed))
    decided = 0
    for (asked, on), answer in zip(ear.asked, ear.answered, strict=True):
        real = georgia()
        real = replace(
            real,
            results=tuple(reversed(asked.results)),
            applications=tuple(reversed(asked.applications)),
            observations=tuple(reversed(asked.observations)),
            changes=tuple(reversed(asked.changes)),
        )
        advised = real.advice(on).recommendation
        assert answer.next_sample == advised.next_sample
        if answer.change is None:
            assert not advised.weeks
            continue
        decided += 1
        assert tuple(answer.change.rates_lb_ac.values()) == advised.rates_lb_ac
        assert list(answer.change.rates_lb_ac) == [week.number for week in advised.weeks]
        assert (answer.change.factor, answer.change.review) == (advised.factor, advised.review)
        assert answer.change.effective == advised.weeks[0].start
    assert decided


@pytest.mark.parametrize("seed", range(4))
def test_a_change_takes_effect_with_the_first_week_that_begins_on_its_day_or_later(seed: int) -> None:
    ear, course = one(setup("hungry-crop", seed))
    changes = [answer.change for answer in ear.answered if answer.change is not None]
    assert changes
    for change in changes:
        first = min(week.start for week in ear.asked[0][0].plan.weeks if week.start >= change.decided)
        assert change.effective == first
        assert (first - change.decided).days < 7
    for week in ear.asked[0][0].plan.weeks:
        known = [change for change in changes if change.decided <= week.start]
        in_force = known[-1] if known else None
        expected = week.rate_lb_ac
        if in_force is not None and in_force.effective <= week.start < in_force.review:
            expected = in_force.rates_lb_ac[week.number]
        assert course.rate[week.number - 1, 0] == pytest.approx(expected)
    assert (course.rate[:, 0] != np.array(GEORGIA_RATES)).any()


def test_what_was_decided_is_what_goes_out() -> None:
    course = batch_of(setup(scenario("hungry-crop", feeding={"missed": 0.0, "logged": 1.0})), count=20).run()
    by_week = course.applied.reshape(12, 7, 20).sum(axis=1)
    assert by_week == pytest.approx(course.rate)


@pytest.mark.parametrize("name", ["hungry-crop", "modest-crop", "late-laboratory"])
def test_changes_are_counted_as_the_rate_moves_from_week_to_week(name: str) -> None:
    """On a level plan without a cap they are the weeks whose rate is not that of the week before."""
    base = georgia(LEVEL, ceiling=9.0)
    of = setup(name, 2, base)
    batch = batch_of(of, count=20)
    course = batch.run()
    found = measured(course, base.plan)
    turns = 0
    for index, grower in enumerate(batch.growers):
        rates = [5.0, *(RatePath(grower.changes).rate_lb_ac(week) for week in base.plan.weeks)]
        assert course.aimed[:, index].tolist() == rates[1:]
        steps = [late - early for early, late in pairwise(rates) if abs(late - early) > 0.1]
        assert found["changes"][index] == len(steps)
        assert found["reversals"][index] == sum(early * late < 0 for early, late in pairwise(steps))
        turns += int(found["reversals"][index])
    assert turns > 0


def test_a_raise_that_runs_out_before_a_late_result_comes_and_is_made_again_turns_twice() -> None:
    """One decision raises, its review passes, a second sample comes late and raises again (all invented)."""
    base = georgia(LEVEL)

    class Twice:
        heeds_cap = True

        def decide(self, season: BlockSeason, on: date) -> Decision:
            coming = season.plan.coming_weeks(on)[:2]
            rates = {week.number: 6.0 for week in coming}
            return Decision(Change(on, coming[0].start, day_in(coming[-1].number + 1), 1.2, rates), None)

    wanted = scenario("calm", laboratory={"days": {"low": 12, "high": 12}}, sampling={"every": 28, "first_day": 9})
    course = batch_of(setup(wanted, base=base), Twice(), 1).run()
    # Known on days 21, 49 and 77: raised for weeks 4 and 5, 8 and 9, and 12.
    assert [week for week in range(1, 13) if course.aimed[week - 1, 0] == 6.0] == [4, 5, 8, 9, 12]
    found = measured(course, base.plan)
    assert (found["changes"][0], found["reversals"][0]) == (5, 4)


def test_every_result_that_comes_in_the_season_is_decided_on() -> None:
    ear, course = one(setup("hungry-crop", 2))
    last = ear.asked[-1][0]
    assert course.decisions[0] == len(ear.answered) == len(last.results)


def test_records_of_the_season_file_play_no_part() -> None:
    bare = georgia()
    ear, plain = one(setup("usual", 5, bare))
    busy = replace(
        bare,
        results=ear.asked[-1][0].results,
        applications=ear.asked[-1][0].applications,
        changes=ear.asked[-1][0].changes,
        left=(day_in(5),),
    )
    _, course = one(setup("usual", 5, busy))
    assert np.array_equal(course.value, plain.value)
    assert np.array_equal(course.rate, plain.rate)


# --- the other ways of deciding --------------------------------------------------------------------------------


def at_the_edge(low: float, of_middle: float) -> BlockSeason:
    item = batch_of(setup(), count=1)._result(30, 33, low * of_middle, Censor.NONE)
    return replace(georgia(), results=(item,))


@pytest.mark.parametrize(("value", "factor"), [(2900.0, 4 / 3), (4000.0, 1.0), (5100.0, 0.9)])
def test_without_guards_the_first_step_follows_the_value_alone(value: float, factor: float) -> None:
    """Week 5, 3000 to 5000 ppm; a third up (UGA-2021), a tenth down (the project's own rule)."""
    on = BLOOM + timedelta(days=33)
    found = WithoutGuards().decide(at_the_edge(value, 1.0), on)
    assert found.change is not None
    assert found.change.factor == pytest.approx(factor)
    assert found.change.effective == day_in(6)
    assert found.change.rates_lb_ac == pytest.approx(dict.fromkeys(range(6, 13), 5.25 * factor))


def test_without_guards_nothing_is_known_before_it_arrives() -> None:
    found = WithoutGuards().decide(at_the_edge(2900.0, 1.0), BLOOM + timedelta(days=32))
    assert found == Decision(None, None)


@pytest.mark.parametrize("bounded", [False, True])
def test_without_guards_a_result_that_no_band_is_for_leads_to_nothing(bounded: bool) -> None:
    """Sampled three weeks before bloom, where the table has no band (UGA-2021 begins with bloom)."""
    early = BLOOM - timedelta(days=21)
    base = georgia(start=BLOOM - timedelta(days=42))
    item = replace(batch_of(setup(), count=1)._result(0, 0, 2900.0, Censor.NONE), sampled=early, received=early)
    found = WithoutGuards(bounded).decide(replace(base, results=(item,)), early)
    assert found == Decision(None, None)


def test_without_guards_but_bounded_floor_ceiling_and_cap_hold_at_every_decision() -> None:
    """A third on 5.25 would be 7.0; a ceiling of 6 and a cap with 20 lb left of it hold it back (invented)."""
    on = BLOOM + timedelta(days=33)
    low = at_the_edge(2900.0, 1.0)
    wanted = replace(low, plan=replace(low.plan, ceiling_lb_ac=6.0, floor_lb_ac=5.0))
    found = WithoutGuards(bounded=True).decide(wanted, on).change
    assert found is not None
    assert found.rates_lb_ac == pytest.approx(dict.fromkeys(range(6, 13), 6.0))
    assert found.factor == pytest.approx(6.0 / 5.25)
    # Nothing is logged, so four whole weeks of the plan count as applied, and week 5 as still going out.
    capped = replace(wanted, plan=replace(wanted.plan, cap_lb_ac=3.5 * 2 + 5.25 * 3 + 20.0))
    found = WithoutGuards(bounded=True).decide(capped, on).change
    assert found is not None
    assert list(found.rates_lb_ac.values()) == pytest.approx([6.0, 6.0, 6.0, 2.0, 0.0, 0.0, 0.0])
    high = replace(at_the_edge(5100.0, 1.0), plan=wanted.plan)
    found = WithoutGuards(bounded=True).decide(high, on).change
    assert found is not None
    assert found.rates_lb_ac == pytest.approx(dict.fromkeys(range(6, 13), 5.0))


def test_nobody_asks_for_a_sample_with_the_fixed_plan_and_one_is_taken_when_the_policy_says() -> None:
    """Every two weeks (NCDA-2015)."""
    ear, _ = one(setup(scenario("calm", laboratory={"days": {"low": 2, "high": 2}})), FixedPlan())
    assert sampled_days(ear.asked) == [9, 23, 37, 51, 65, 79]


# --- other seasons ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rates", [(5.25,), (5.25,) * 3, (0.0,) * 12, (0.0,) * 3 + (5.25,) * 9])
def test_short_and_empty_plans_run(rates: tuple[float, ...]) -> None:
    course = batch_of(setup("rough", base=georgia(rates)), count=10).run()
    assert course.value.shape == (7 * len(rates), 10)
    assert (course.value > 0).all()
    assert course.applied.sum(axis=0).max() <= 7.0 * len(rates)
    nothing = [index for index, rate in enumerate(rates) if rate == 0]
    assert (course.rate[nothing] == 0).all()


@pytest.mark.parametrize("by", WAYS)
def test_a_week_in_which_the_plan_feeds_nothing_stays_so_and_the_rest_goes_on(by: Controller) -> None:
    """Fed every week but the sixth (invented); a hungry crop is raised before it and after it."""
    rates = (5.25,) * 5 + (0.0,) + (5.25,) * 6
    course = batch_of(setup("hungry-crop", base=georgia(rates)), by, 20).run()
    assert (course.aimed[5] == 0).all() and (course.applied[35:42] == 0).all()
    assert (course.rate[6] >= 3.0).all()
    if not isinstance(by, FixedPlan):
        assert (course.rate[6:] > 5.35).any()
    aimed = np.vstack([np.full(20, 5.25), np.delete(course.aimed, 5, axis=0)])
    moved = np.abs(np.diff(aimed, axis=0)) > 0.1
    assert measured(course, georgia(rates).plan)["changes"].tolist() == moved.sum(axis=0).tolist()


@pytest.mark.parametrize("days", [-21, 0, 28])
def test_a_plan_that_begins_before_or_after_bloom_runs(days: int) -> None:
    base = georgia((5.25,) * 12, start=BLOOM + timedelta(days=days))
    base = replace(base, stages=StageDates({"first_bloom": BLOOM}, base.plan.end))
    course = batch_of(setup("usual", base=base), count=10).run()
    assert np.isfinite(course.value).all()
    late = setup("usual", base=base).days
    if days < 0:
        assert np.isnan(course.low[0]).all()
    if days > 0:
        assert np.isnan(course.low[late - 1]).all()


@pytest.mark.parametrize("by", WAYS)
@pytest.mark.parametrize(("every", "first"), [("as advised", 42), (7, 44), (14, 51)])
def test_before_the_first_band_no_sample_is_taken(by: Controller, every: int | str, first: int) -> None:
    """The plan begins six weeks before bloom, with which the table begins (UGA-2021); the sample due waits."""
    base = georgia((5.25,) * 18, start=BLOOM - timedelta(days=42))
    batch = batch_of(setup(scenario("calm", sampling={"every": every, "first_day": 9}), base=base), by, 3)
    course = batch.run()
    for grower in batch.growers:
        assert (grower.results[0].sampled - base.plan.start).days == first
    assert (course.aimed[:6] == 5.25).all()
    assert (course.decisions <= 12).all() and (course.decisions >= 3).all()


@pytest.mark.parametrize("by", WAYS)
@pytest.mark.parametrize("every", ["as advised", 7])
def test_after_the_last_band_no_sample_is_taken_and_no_decision_piles_up(by: Controller, every: int | str) -> None:
    """Forty weeks of feeding against a table of twelve (UGA-2021): week 12 ends with day 83."""
    base = georgia((5.25,) * 40)
    batch = batch_of(setup(scenario("usual", sampling={"every": every}), base=base), by, 5)
    course = batch.run()
    for grower in batch.growers:
        assert max(item.sampled for item in grower.results) <= BLOOM + timedelta(days=83)
    assert (course.decisions <= 13).all()
    if not isinstance(by, WithoutGuards):
        assert (course.aimed[15:] == 5.25).all()
    assert np.isfinite(course.value).all()


def test_a_season_without_any_date_that_places_the_demand_is_refused() -> None:
    base = replace(georgia(), stages=StageDates({}, georgia().plan.end))
    with pytest.raises(UserError, match="first bloom"):
        batch_of(setup(base=base), count=1)


@pytest.mark.parametrize("name", ["hungry-crop", "modest-crop"])
def test_weekly_rates_stay_within_floor_and_ceiling(name: str) -> None:
    course = batch_of(setup(name), count=60).run()
    assert course.rate.max() <= 7.0 + 1e-9
    assert course.rate.min() >= 3.0 - 1e-9
    assert (course.rate != np.array(GEORGIA_RATES)[:, None]).any()


@pytest.mark.parametrize(
    ("by", "fed"),
    [
        (FixedPlan(), 40.0),
        (ByTheRules(), 40.0),
        (WithoutGuards(bounded=True), 40.0),
        (FixedPlan(heeds_cap=False), 59.5),
        (WithoutGuards(), 59.5),
    ],
)
def test_feeding_stops_where_the_cap_is_used_up_for_those_who_heed_it(by: Controller, fed: float) -> None:
    """The plan is 59.5 lb/ac; nothing was sampled, so nothing is decided (invented cap of 40)."""
    of = setup(scenario("calm", sampling={"lost": 1.0}), base=georgia(cap=40.0))
    course = batch_of(of, by, 3).run()
    assert course.applied.sum(axis=0) == pytest.approx(fed)
    assert course.rate.sum(axis=0) == pytest.approx(fed)


@pytest.mark.parametrize("cap", [40.0, 62.0])
@pytest.mark.parametrize("name", ["usual", "rough", "missed-feeding", "hungry-crop"])
def test_what_is_fed_is_what_the_weekly_table_says_with_or_without_a_log(name: str, cap: float) -> None:
    """Each week's rate is that of the first row of the table that the grower sees on its first morning.

    Without a log a week that is over counts at its rate, whatever really went out (half keep one; invented caps).
    """
    wanted = scenario(name, feeding={"missed": 0.2, "logged": 0.5})
    credit = Credit("preplant", 6.0, "none", Evidence.OWN)
    base = georgia(cap=cap, credits_=(credit,))
    of = setup(wanted, 4, base)
    batch = batch_of(of, count=16)
    course = batch.run()
    logs = batch.drawn.logs
    assert logs.any() and not logs.all()
    for index, grower in enumerate(batch.growers):
        for week in base.plan.weeks:
            on = week.start
            seen = replace(
                base,
                changes=tuple(item for item in grower.changes if item.decided <= on),
                applications=tuple(item for item in grower.applications if item.on < on),
            )
            assert course.rate[week.number - 1, index] == pytest.approx(seen.weeks_from(on)[0].rate_lb_ac)
    assert course.applied.sum(axis=0).max() <= cap - 6.0 + 0.01


def test_without_a_log_the_room_is_what_the_rates_leave_of_the_cap() -> None:
    """Half of the injections are left out and nothing is written down: some 20 lb/ac are fed, 40 are counted."""
    wanted = scenario("calm", feeding={"missed": 0.5, "logged": 0.0}, sampling={"lost": 1.0})
    course = batch_of(setup(wanted, base=georgia(cap=40.0)), count=30).run()
    before = np.vstack([np.zeros(30), course.rate.cumsum(axis=0)[:-1]])
    assert course.room == pytest.approx(np.maximum(40.0 - before, 0.0))
    assert course.rate.sum(axis=0) == pytest.approx(40.0)
    assert course.applied.sum(axis=0).max() < 35.0


def test_with_a_log_the_room_is_what_was_fed_leaves_of_the_cap() -> None:
    wanted = scenario("calm", feeding={"missed": 0.5, "logged": 1.0}, sampling={"lost": 1.0})
    course = batch_of(setup(wanted, base=georgia(cap=40.0)), count=30).run()
    before = np.vstack([np.zeros(30), course.applied.reshape(12, 7, 30).sum(axis=1).cumsum(axis=0)[:-1]])
    assert course.room == pytest.approx(np.maximum(40.0 - before, 0.0))
    assert (course.rate.sum(axis=0) > 41.0).any()
    assert course.applied.sum(axis=0).max() <= 40.0 + 1e-9


def most_fed_of_62(lost: float) -> float:
    """Most nitrogen of sixty seasons of a hungry crop under a cap of 62 lb/ac, samples being lost by chance."""
    wanted = scenario("hungry-crop", sampling={"lost": lost})
    return float(batch_of(setup(wanted, base=georgia(cap=62.0)), count=60).run().applied.sum(axis=0).max())


def test_a_cap_above_the_plan_holds_where_no_sample_is_lost() -> None:
    assert 61.9 < most_fed_of_62(0.0) <= 62.01


def test_a_cap_above_the_plan_holds_where_samples_are_lost() -> None:
    assert most_fed_of_62(0.03) <= 62.01


def test_petiole_truth_is_of_the_tissue_and_basis_of_the_table() -> None:
    ear, _ = one(setup(scenario("calm", sampling={"every": 7})))
    for item in ear.asked[-1][0].results:
        assert (item.tissue, item.basis, item.analyte) == (Tissue.PETIOLE, Basis.DRY, "NO3-N")


# --- the ends of what a scenario may say ------------------------------------------------------------------------


def level(value: float) -> dict[str, float]:
    return {"low": value, "high": value}


@pytest.mark.parametrize("rains", [0.0, 7.0])
@pytest.mark.parametrize("days_off", [-60, 60])
@pytest.mark.parametrize("water", [0.0, 200.0])
@pytest.mark.parametrize(("need", "soil"), [(5.0, 20.0), (5.0, 1e-6), (1e-6, 20.0), (1e-6, 1e-6)])
def test_at_the_ends_of_what_may_be_said_pools_stay_above_nothing_and_finite(
    need: float, soil: float, water: float, days_off: int, rains: float
) -> None:
    """Everything at its largest or next to nothing, the laboratory and the sampler at their worst (invented)."""
    wanted = scenario(
        "calm",
        field={"need": level(need), "soil_at_start": level(soil), "water_nitrate": level(water)},
        rain={"a_week": rains, "lost": level(1.0), "noted": 0.5},
        stage={"days_off": {"low": days_off, "high": days_off}},
        sampling={"petioles": 1, "first_day": 0},
        laboratory={
            "petiole_cv": 2.0,
            "hour_and_day": 2.0,
            "days": {"low": 0, "high": 60},
            "bias": {"low": 0.001, "high": 5.0},
        },
        feeding={"missed": 0.5, "logged": 0.5},
    )
    for by in (ByTheRules(), WithoutGuards()):
        with np.errstate(over="raise", invalid="raise", divide="raise"):
            course = batch_of(setup(wanted, base=georgia(cap=62.0)), by, 4).run()
        for pool in (*course.state, course.value, course.unmet, course.applied, course.brought):
            assert np.isfinite(pool).all() and (pool >= 0.0).all()
        expected = course.begun + course.applied.sum(axis=0) + course.brought
        assert course.state.total == pytest.approx(expected, rel=1e-12, abs=1e-9)


def run_twice(of: Setup, by: Any) -> tuple[Course, Course]:
    return batch_of(of, by, 10).run(), batch_of(of, by, 10).run()


@pytest.mark.parametrize("by", [FixedPlan(), ByTheRules(), WithoutGuards()])
def test_the_same_seasons_come_out_again(by: Controller) -> None:
    first, again = run_twice(setup("rough", 7), by)
    assert np.array_equal(first.value, again.value)
    assert np.array_equal(first.rate, again.rate)
    assert np.array_equal(first.aimed, again.aimed)
    assert np.array_equal(first.decisions, again.decisions)


def test_a_scenario_of_plain_defaults_has_nothing_go_wrong() -> None:
    plain = Scenario(schema=1, id="plain", title="Plain.")
    given = drawn(setup(plain), 20)
    assert not given.missed.any() and not given.lost.any() and not given.rain_lost.any()
    assert given.logs.all() and (given.days_off == 0).all() and (given.need == 1.0).all()
