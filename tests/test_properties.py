"""What holds for every season, whatever was measured, seen, applied and decided in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, assume, find, given, settings
from hypothesis import strategies as st

from fertadjust.alternatives import alternatives
from fertadjust.compare import Side
from fertadjust.evidence import Evidence
from fertadjust.ledger import Application
from fertadjust.mixes import Mixes
from fertadjust.observations import Observation, Sight
from fertadjust.plan import Change, Credit, Plan
from fertadjust.products import Product, amounts, nitrogen_in
from fertadjust.rules.bound_rules import bounded_rates, metered_rates
from fertadjust.rules.cross_table import PetioleState, Step
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, Recommendation
from fertadjust.rules.policy import Policy, Recovery
from fertadjust.season import BlockSeason
from fertadjust.season_file import parse_season
from fertadjust.shipped import shipped_tables
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC, KG_PER_LB, L_PER_GAL, M_PER_FT
from fertadjust.weekly import weekly_amounts
from tests import support

TINY = 1e-6
"""lb N/ac; far below what anyone meters, far above what sums in floating point lose."""

POLICY = support.policy()
TABLES = shipped_tables()
FLORIDA_SAP, DELAWARE = "strawberry-petiole-sap-florida", "strawberry-petiole-dry-delaware"
FLORIDA_LEAF = "strawberry-leaf-florida"
IN_USE = {
    "week": (support.SOUTHEAST, support.GEORGIA_LEAF),
    "stage": (DELAWARE, support.GEORGIA_LEAF),
    "one edge": ("strawberry-petiole-dry-california", support.GEORGIA_LEAF),
    "month": (FLORIDA_SAP, support.GEORGIA_LEAF),
    "leaf": (support.GEORGIA_LEAF,),
    "leaf by stage": (FLORIDA_LEAF,),
}
"""Kind of season -> band tables in use: along weeks, named stages, months, the whole season; with one edge."""

AXES = (
    ("green_up", "full_bloom", "main_fruiting", "later_fruiting"),
    ("pre_harvest", "main_harvest"),
    ("initial_flowering", "initial_harvest", "midseason"),
)
"""Named stages of the tables, in order of time."""


def often(examples: int) -> settings:
    """The same examples at every run, so that a failure comes from a change and not from chance."""
    return settings(
        derandomize=True,
        deadline=None,
        max_examples=examples,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
    )


# --- random seasons ------------------------------------------------------------------------------------------

hundredths = st.integers(0, 700).map(lambda number: number / 100)
fed = st.sampled_from([3.5, 5.25, 7.0, 4.0, 2.0, 6.1, 3.33])


def magnitudes(low: float, high: float) -> st.SearchStrategy[float]:
    """Values spread evenly over powers."""
    return st.floats(0.0, 1.0).map(lambda share: round(low * (high / low) ** share, 3))


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    rate = draw(fed)
    kinds = st.sampled_from([rate, rate, rate, 0.0, 1.5, 5.25])
    rates = draw(st.one_of(st.just((rate,) * 14), st.lists(kinds, min_size=14, max_size=14).map(tuple)))
    credits_ = draw(st.sampled_from([(), (Credit("preplant", 60.0, "UGA-AESL", Evidence.PUBLISHED),)]))
    floor = draw(st.sampled_from([0.0, 1.0, 3.0]))
    ceiling = max(*rates, floor, draw(st.sampled_from([7.0, 8.3, 20.0])))
    planned = sum(rates) + sum(item.n_lb_ac for item in credits_)
    share = draw(st.sampled_from([None, None, None, 0.5, 0.7, 0.8, 0.9, 1.0, 1.0, 1.05, 1.1, 1.3]))
    cap = None if share is None else round(planned * share, 1) + draw(st.sampled_from([0.0, 0.3, 0.5]))
    step = draw(st.sampled_from([0.05, 0.1, 0.25, 0.7, 3.0]))
    return support.plan(rates, floor=floor, ceiling=ceiling, cap=cap, step=step, credits_=credits_)


@st.composite
def changes_before(draw: st.DrawFn, plan: Plan, on: date) -> tuple[Change, ...]:
    """Decisions as they are made: from the first week on or after their day, at rates within the bounds."""
    out = []
    settled = st.sampled_from([[24], [30], [35], [40, 26], [30, 16]])
    ago = draw(st.one_of(st.just([]), settled, settled, st.lists(st.integers(1, 30), max_size=3, unique=True)))
    for record, decided in enumerate(
        (on - timedelta(days=number) for number in sorted(ago, reverse=True)), start=200
    ):
        factor = draw(st.sampled_from([0.5, 0.75, 0.9, 1.0, 1.1, 4 / 3, 1.5]))
        coming = plan.coming_weeks(decided)
        if not coming:
            continue
        review = coming[0].start + timedelta(days=draw(st.sampled_from([0, 4, 10, 17, 24, 31, 38])))
        rates = {
            week.number: min(
                max(week.rate_lb_ac * factor, min(plan.floor_lb_ac, week.rate_lb_ac)), plan.ceiling_lb_ac
            )
            for week in coming
            if week.start <= review
        }
        out.append(Change(decided, coming[0].start, review, factor, rates, record))
    return tuple(out)


@st.composite
def applications_of(draw: st.DrawFn, plan: Plan) -> tuple[Application, ...]:
    """A log of injections, often with gaps or with more than was planned, or none at all."""
    habit = draw(st.sampled_from(["nothing", "nothing", "all", "all", "over", "some"]))
    if habit == "nothing":
        return ()
    out = []
    kinds = st.sampled_from(["all", "all", "over", "half", "skipped", "forgotten"])
    for week in plan.weeks[:12]:
        kept = draw(kinds) if habit == "some" else habit
        if kept == "forgotten":
            continue
        for offset, share in ((1, 0.5), (4, {"all": 0.5, "over": 0.9, "half": 0.0, "skipped": 0.0}[kept])):
            n = 0.0 if kept == "skipped" else week.rate_lb_ac * share
            out.append(Application(300 + len(out), "north", week.start + timedelta(days=offset), n))
    return tuple(out)


@st.composite
def observations_before(draw: st.DrawFn, on: date) -> tuple[Observation, ...]:
    """What was seen in the weeks before a day, in no order."""
    out = []
    often_none = st.one_of(st.just([]), st.just([]), st.lists(st.integers(0, 25), min_size=1, max_size=3))
    for record, ago in enumerate(draw(often_none), start=500):
        sight = draw(st.sampled_from([*sorted(Sight), Sight.SOIL_NITRATE, Sight.SOIL_NITRATE]))
        value = draw(st.sampled_from([5.0, 20.0, 30.0])) if sight is Sight.SOIL_NITRATE else None
        out.append(Observation(record, "north", on - timedelta(days=ago), sight, value))
    return tuple(out)


STEPS: tuple[Step, ...] = ("full", "half", "hold")


def with_step(base: Policy, row: str, step: Step) -> Policy:
    """A policy with the step of one cross-check row set otherwise."""
    rows = [item.model_copy(update={"step": step}) if item.id == row else item for item in base.cross_check]
    return base.model_copy(update={"cross_check": tuple(rows)})


@st.composite
def policies(draw: st.DrawFn) -> Policy:
    """The shipped policy, with figures and cross-check rows that a grower might set otherwise."""
    found = support.with_policy(
        POLICY,
        after_recovery=draw(st.sampled_from(sorted(Recovery))),
        recalled_may_cut=draw(st.booleans()),
        confidence=draw(st.sampled_from([0.6, 0.8, 0.95])),
        laboratory_petiole=draw(st.sampled_from([0.0, 0.0, 0.15])),
        leaving_chance=draw(st.sampled_from([0.5, 0.5, 0.5, 0.6, 0.8])),
        raise_largest=draw(st.sampled_from([0.5, 0.5, 0.34])),
        cut_largest=draw(st.sampled_from([0.25, 0.25, 0.12])),
        cut_persistent=draw(st.sampled_from([0.25, 0.25, 0.4])),
        results_for_second_change=draw(st.sampled_from([2, 2, 1, 3])),
    )
    for row in draw(st.lists(st.sampled_from(POLICY.cross_check), max_size=2)):
        if row.petiole is not PetioleState.SUFFICIENT:
            found = with_step(found, row.id, draw(st.sampled_from(STEPS)))
    return found


def petiole(
    value: float, sampled: date, record: int, basis: Basis = Basis.DRY, delay: int = 3, **more: Any
) -> TissueResult:
    given = {"received": sampled + timedelta(days=delay), "petioles": 25} | more
    return TissueResult(
        record, "north", sampled, tissue=Tissue.PETIOLE, basis=basis, analyte="NO3-N", value=value, **given
    )


def leaf(value: float, sampled: date, record: int, delay: int = 3) -> TissueResult:
    received = sampled + timedelta(days=delay)
    return TissueResult(record, "north", sampled, received, Tissue.LEAF, Basis.DRY, "N", value, petioles=25)


@st.composite
def stage_dates(draw: st.DrawFn, plan: Plan) -> StageDates:
    """Dates of first bloom and of every named stage; any may be a guess, and a later one may have no date yet."""
    bloom = support.BLOOM + timedelta(days=draw(st.sampled_from([0, 0, -7, 3])))
    dates = {"first_bloom": bloom}
    for names in AXES:
        known = draw(st.integers(1, len(names)))
        apart = draw(st.sampled_from([5, 10, 21, 21, 35]))
        dates |= {name: bloom + timedelta(days=apart * index - 20) for index, name in enumerate(names[:known])}
    guessed = draw(st.one_of(st.just(frozenset()), st.frozensets(st.sampled_from(sorted(dates)))))
    return StageDates(dates, plan.end, guessed)


@st.composite
def seasons(draw: st.DrawFn) -> tuple[BlockSeason, date, int]:
    """A season, a day on which advice is asked for, and the record of the result that decides.

    The deciding result is the latest; before it lie none to six results of its kind, a week or two apart.
    """
    plan = draw(plans())
    kind = draw(st.sampled_from(["week", "week", "week", "stage", "one edge", "month", "leaf", "leaf by stage"]))
    is_leaf = kind.startswith("leaf")
    basis = Basis.SAP if kind == "month" else Basis.DRY
    method = draw(st.sampled_from(sorted(Method))) if kind == "month" else Method.LABORATORY
    values = (
        magnitudes(1.0, 7.0) if is_leaf else magnitudes(50, 3000) if kind == "month" else magnitudes(100, 20_000)
    )
    sampled = support.BLOOM + timedelta(days=draw(st.integers(-14 if kind == "month" else 0, 83)))
    count, gap = draw(st.sampled_from([0, 1, 2, 3, 3, 4, 5, 6])), draw(st.sampled_from([6, 7, 14]))
    delay = draw(st.integers(0, 4))
    results = []
    drift = draw(st.sampled_from([None, None, 0.5, 0.75, 0.85, 1.0, 1.1, 1.25, 2.0]))
    last = draw(values)
    for step in range(count, -1, -1):
        record, on = 10 + count - step, sampled - timedelta(days=gap * step)
        value = draw(values) if drift is None and step else last * (drift or 1.0) ** -step
        one = (
            leaf(value, on, record, delay) if is_leaf else petiole(value, on, record, basis, delay, method=method)
        )
        results.append(one)
    latest = results[-1].record
    if not is_leaf and draw(st.booleans()):
        near = sampled + timedelta(days=draw(st.sampled_from([-35, -21, -3, 0, 0, 0])))
        results.append(leaf(draw(magnitudes(1.5, 6.0)), near, 90, min(delay, 3)))
    on = sampled + timedelta(days=delay + draw(st.sampled_from([0, 0, 0, 1, 2, 4, 8, 16])))
    season = BlockSeason(
        block=support.block(),
        plan=plan,
        stages=draw(stage_dates(plan)),
        products=support.products(),
        policy=draw(policies()),
        tables=tuple(TABLES[name] for name in IN_USE[kind]),
        results=tuple(results),
        applications=draw(applications_of(plan)),
        observations=draw(observations_before(on)),
        changes=draw(changes_before(plan, on)),
    )
    return season, on, latest


Drawn = tuple[BlockSeason, date, int]


def recommended(season: BlockSeason, on: date) -> tuple[Facts, Recommendation]:
    facts = season.facts(on)
    return facts, evaluate(facts, season.policy)


def with_value(season: BlockSeason, record: int, value: float) -> BlockSeason:
    """The same season, had one result been another."""
    results = tuple(replace(item, value=value) if item.record == record else item for item in season.results)
    return replace(season, results=results)


def spent(facts: Facts) -> float:
    """Credits and what went out or is about to before the weeks that can still change [lb/ac]."""
    return facts.credits_lb_ac + facts.logged_lb_ac + facts.assumed_lb_ac + facts.rest_of_week_lb_ac


def present_lb_ac(facts: Facts, found: Recommendation) -> float:
    """What the weeks of an advice would take at the rate in force, did the season cap last [lb/ac]."""
    rates = bounded_rates(facts, found.weeks, found.standing_factor)
    return max(sum(rates), sum(metered_rates(facts, found.weeks, rates)))


# --- amounts -------------------------------------------------------------------------------------------------


@often(100)
@given(rows=st.integers(1, 40), times=st.integers(2, 9), rate=hundredths, density=st.floats(8.0, 13.0))
def test_amounts_scale_with_the_area(rows: int, times: int, rate: float, density: float) -> None:
    plan = support.plan((rate,))
    mixes = Mixes.same(
        [
            Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=0.5),
            Product("UAN 32", {"n": 32.0}, share=0.5, density_lb_gal=density),
        ]
    )
    small, large = (
        weekly_amounts(support.block(rows=count), plan, mixes, plan.weeks, {1: rate}, {1: rate}, 0.0, {})[0]
        for count in (rows, rows * times)
    )
    assert large.total_lb_ac == small.total_lb_ac == rate
    assert large.n_lb == pytest.approx(times * small.n_lb, rel=1e-12)
    assert large.n_lb_injection == pytest.approx(times * small.n_lb_injection, rel=1e-12)
    for one, other in zip(small.products, large.products, strict=True):
        assert other.weight_lb == pytest.approx(times * one.weight_lb, rel=1e-12)
        assert other.nutrients_lb == pytest.approx(
            {key: times * n for key, n in one.nutrients_lb.items()}, rel=1e-12
        )
        assert (one.volume_gal is None) == (other.volume_gal is None)
        if one.volume_gal is not None:
            assert other.volume_gal == pytest.approx(times * one.volume_gal, rel=1e-12)


@often(200)
@given(
    n_lb=st.floats(0.0, 5000.0),
    parts=st.lists(st.tuples(st.floats(0.5, 46.0), st.integers(0, 100)), min_size=1, max_size=6),
)
def test_nitrogen_in_equals_nitrogen_out_over_any_split(n_lb: float, parts: list[tuple[float, int]]) -> None:
    whole = sum(part for _, part in parts)
    assume(whole > 0)
    products = [Product(f"p{k}", {"n": n}, share=part / whole) for k, (n, part) in enumerate(parts)]
    found = amounts(n_lb, products)
    assert sum(nitrogen_in(part.product, part.weight_lb) for part in found) == pytest.approx(n_lb, rel=1e-9)
    assert sum(part.nutrients_lb["n"] for part in found) == pytest.approx(n_lb, rel=1e-9)
    assert all(part.weight_lb >= 0 for part in found)


# --- bounds --------------------------------------------------------------------------------------------------


@often(400)
@given(seasons())
def test_the_advice_never_leaves_floor_and_ceiling(drawn: tuple[BlockSeason, date, int]) -> None:
    """A week planned below the floor is never cut and one without feeding stays without; only the season cap,
    when it does not even hold the present rates, goes below the floor."""
    season, on, _ = drawn
    facts, found = recommended(season, on)
    assert len(found.rates_lb_ac) == len(found.weeks)
    short = facts.cap_lb_ac is not None and spent(facts) + present_lb_ac(facts, found) > facts.cap_lb_ac
    for week, rate in zip(found.weeks, found.rates_lb_ac, strict=True):
        assert rate <= season.plan.ceiling_lb_ac + TINY
        assert rate >= 0.0
        if week.rate_lb_ac == 0:
            assert rate == 0.0
        if not short:
            assert rate >= min(season.plan.floor_lb_ac, week.rate_lb_ac) - TINY


@often(400)
@given(seasons())
def test_the_advice_never_leaves_the_season_cap(drawn: tuple[BlockSeason, date, int]) -> None:
    """Credits, what went out and what the advice commits to stay under the cap wherever the first two do."""
    season, on, _ = drawn
    facts, found = recommended(season, on)
    assume(facts.cap_lb_ac is not None)
    assert facts.cap_lb_ac is not None
    if spent(facts) <= facts.cap_lb_ac:
        assert spent(facts) + sum(found.rates_lb_ac) <= facts.cap_lb_ac + TINY
    else:
        assert sum(found.rates_lb_ac) <= TINY


@often(300)
@given(seasons())
def test_a_raise_that_only_partly_fits_under_the_cap_is_never_turned_into_a_cut(
    drawn: tuple[BlockSeason, date, int],
) -> None:
    """Where the present rates fit under the cap and the factor is not lowered, no week is fed less than now."""
    season, on, _ = drawn
    facts, found = recommended(season, on)
    assume(facts.cap_lb_ac is not None)
    assert facts.cap_lb_ac is not None
    assume(spent(facts) + present_lb_ac(facts, found) <= facts.cap_lb_ac)
    assume(found.moved_by in ("raise", "season cap", "") and found.factor >= found.standing_factor - 1e-9)
    for rate, now in zip(found.rates_lb_ac, found.standing_rates_lb_ac, strict=True):
        assert rate >= now - TINY


@often(120)
@given(seasons())
def test_the_bound_that_binds_allows_no_more_than_any_other(drawn: tuple[BlockSeason, date, int]) -> None:
    """Of the bounds on a raise, which the floor is not: it keeps a rate up."""
    season, on, _ = drawn
    _, found = recommended(season, on)
    unasked = {"floor", found.binding}
    others = [item for item in found.limits if item.name not in unasked]
    assert all(item.factor < found.sought for item in others), (others, found.sought, found.binding)


# --- the strategy -------------------------------------------------------------------------------------------


def _weighed(words: str) -> Callable[[Drawn], bool]:
    """Whether the cross-check table was asked about a cell in whose words these stand."""

    def reached(drawn: Drawn) -> bool:
        line = next(item for item in recommended(*drawn[:2])[1].trace if item.rule == "weighed together")
        return words in line.saw

    return reached


def _said(rule: str, words: str) -> Callable[[Drawn], bool]:
    """Whether a rule fired with these words in what it saw."""

    def reached(drawn: Drawn) -> bool:
        trace = recommended(*drawn[:2])[1].trace
        return any(item.rule == rule and item.fired and words in item.saw for item in trace)

    return reached


def _bound(name: str) -> Callable[[Drawn], bool]:
    return lambda drawn: recommended(*drawn[:2])[1].binding == name


def _beside(drawn: Drawn, basis: Basis) -> bool:
    """Whether the reading that decides is of this kind and may belong to another band as well."""
    primary = drawn[0].facts(drawn[1]).primary
    return primary is not None and primary.basis is basis and bool(primary.beside)


STATES: dict[str, Callable[[Drawn], bool]] = {
    "supply short": _weighed("supply short"),
    "supply over": _weighed("supply over"),
    "roots": _said("roots in trouble", "on "),
    "rain": _said("leaching rain", "on "),
    "soil above": _said("soil nitrate", "threshold"),
    "low twice": _said("raise", "low results in a row"),
    "high twice": _said("cut", "high results in a row"),
    "early step": _said("heading out", "chance to lie"),
    "week in doubt": _said("stage in doubt", "week "),
    "month in doubt": lambda drawn: _beside(drawn, Basis.SAP),
    "stage in doubt": _said("stage in doubt", "fruiting"),
    "stage guessed": _said("stage in doubt", "14 days"),
    "diluted meter": lambda drawn: any(item.method is Method.METER_DILUTED for item in drawn[0].results),
    "late season": _bound("late season"),
    "fruit quality": _bound("fruit quality"),
    "ceiling": _bound("ceiling"),
    "floor": _bound("floor"),
    "season cap": _bound("season cap"),
    "meterable rate": _bound("meterable rate"),
}


@pytest.mark.parametrize("state", STATES)
def test_the_random_seasons_reach_every_state(state: str) -> None:
    phases = settings(often(2000), phases=[Phase.generate])
    assert find(seasons(), STATES[state], settings=phases)


# --- direction -----------------------------------------------------------------------------------------------


@often(1200)
@given(seasons(), st.floats(1.0, 40.0))
def test_a_higher_result_never_leads_to_a_higher_rate(drawn: tuple[BlockSeason, date, int], times: float) -> None:
    """All else equal, over every week that both advices cover.

    Under a season cap only the first week is compared: what a cut saves in that week is left for a later one,
    which may then be fed more than it would have been at the lower result.
    """
    season, on, record = drawn
    value = next(item.value for item in season.results if item.record == record)
    _, lower = recommended(season, on)
    _, higher = recommended(with_value(season, record, value * times), on)
    common = list(zip(lower.weeks, lower.rates_lb_ac, higher.rates_lb_ac, strict=False))
    if season.plan.cap_lb_ac is not None:
        common = common[:1]
    for week, at_lower, at_higher in common:
        assert at_higher <= at_lower + TINY, week


@often(500)
@given(
    factor=st.sampled_from([0.5, 0.75, 0.9, 1.1, 4 / 3, 1.5]),
    recovery=st.sampled_from(sorted(Recovery)),
    week=st.integers(4, 9),
    value=magnitudes(500, 12_000),
    times=magnitudes(1.01, 6.0),
    leaf_n=st.sampled_from([None, 2.2, 3.2, 4.6]),
    earlier=st.lists(magnitudes(500, 12_000), max_size=3),
)
def test_at_a_changed_rate_that_has_had_time_to_show_a_higher_result_never_leads_to_a_higher_rate(
    factor: float,
    recovery: Recovery,
    week: int,
    value: float,
    times: float,
    leaf_n: float | None,
    earlier: list[float],
) -> None:
    """A return towards plan on the one side of an edge meets a step away from it on the other."""
    results = [support.result(one, week - 1 - index, record=20 + index) for index, one in enumerate(earlier)]
    if leaf_n is not None:
        results.append(support.result(leaf_n, week, record=30, tissue=Tissue.LEAF))
    changed = Change(support.day_in(week - 3, 3), support.day_in(week - 2), support.day_in(week + 2), factor)
    season = support.season(
        support.result(value, week),
        *results,
        the_plan=support.plan((4.0,) * 14, floor=0.0, ceiling=20.0),
        the_policy=support.with_policy(POLICY, after_recovery=recovery),
        changes=(changed,),
    )
    on = support.day_in(week, 5)
    _, lower = recommended(season, on)
    _, higher = recommended(with_value(season, 1, value * times), on)
    assert lower.standing_factor == factor
    for at_lower, at_higher in zip(lower.rates_lb_ac, higher.rates_lb_ac, strict=False):
        assert at_higher <= at_lower + TINY


@pytest.mark.parametrize("cap", [58.05, 58.5])
def test_a_lower_result_is_not_fed_less_next_week_because_its_raise_would_run_for_longer(cap: float) -> None:
    """Four falling results. At 2,000 ppm a small early step runs for two weeks; at 1,700 ppm a full raise runs for
    three, and has to share what the cap leaves."""
    fed = []
    for value in (1700.0, 2000.0):
        falling = (5000.0, 4300.0, 3600.0, value)
        results = [
            support.result(one, 5 + index, record=index + 1, offset=5, delay=1)
            for index, one in enumerate(falling)
        ]
        season = support.season(*results, the_plan=support.plan((5.25,) * 14, cap=cap))
        fed.append(recommended(season, support.day_in(8, 6))[1].rates_lb_ac[0])
    assert fed[1] <= fed[0] + TINY


@often(400)
@given(seasons())
def test_a_result_clearly_below_never_cuts_and_one_clearly_above_never_raises(
    drawn: tuple[BlockSeason, date, int],
) -> None:
    """Not even early, on a trend. Bounds, cap and a return towards plan are other matters."""
    season, on, _ = drawn
    _, found = recommended(season, on)
    assume(found.comparison is not None)
    assert found.comparison is not None
    barred = {Side.BELOW: "cut", Side.ABOVE: "raise"}.get(found.comparison.sure or Side.WITHIN)
    assert found.moved_by != (barred or "nothing")


def test_a_crop_on_its_way_up_but_still_clearly_below_its_band_is_not_cut() -> None:
    """300 to 2,600 ppm in weeks 5 to 8, whose band begins at 3,000 ppm; that of week 9 begins at 2,000."""
    rising = (300.0, 700.0, 1500.0, 2600.0)
    results = [support.result(value, 5 + index, record=index + 1) for index, value in enumerate(rising)]
    _, found = recommended(support.season(*results), support.day_in(8, 5))
    assert found.comparison is not None and found.comparison.sure is Side.BELOW
    assert found.action is not Action.CUT


def first_weeks(season: BlockSeason, on: date, values: tuple[float, float]) -> list[float]:
    """Rate of the first week [lb/ac] at a lower and at a higher result."""
    record = season.results[0].record
    return [recommended(with_value(season, record, value), on)[1].rates_lb_ac[0] for value in values]


def test_a_high_result_that_barely_fits_the_cap_is_not_fed_more_than_a_less_high_one() -> None:
    """4.8 lb are left for two weeks: a cut to 3.11 is metered as 2.8, so a cut to 3.0 must not end above it."""
    plan = support.plan((4.0,) * 14, floor=0.0, step=0.7, cap=8 * 4.0 + 4.0 + 4.8)
    season = support.season(support.result(8740, 9, offset=0, delay=1), the_plan=plan)
    lower, higher = first_weeks(season, support.day_in(9, 1), (8740.0, 17_480.0))
    assert higher <= lower + TINY


def test_a_low_result_that_barely_fits_the_cap_is_not_fed_less_than_a_sufficient_one() -> None:
    """7.15 lb are left at 0.9 of the plan: 4.725 is metered as 4.75 for the one and must be for the other."""
    plan = support.plan((5.25,) * 14, floor=0.0, cap=5 * 5.25 + 7.15)
    cut = Change(support.day_in(5, 1), support.day_in(6), support.day_in(6), 0.9, {6: 4.725})
    season = support.season(support.result(1415, 3, offset=4, delay=4), the_plan=plan, changes=(cut,))
    lower, higher = first_weeks(season, support.day_in(5, 2), (1415.0, 4240.0))
    assert higher <= lower + TINY


@often(300)
@given(seasons(), st.floats(0.1, 10.0))
def test_the_facts_at_another_value_are_those_of_a_season_with_that_result(drawn: Drawn, times: float) -> None:
    season, on, record = drawn
    facts = season.facts(on)
    assume(facts.primary is not None and facts.primary.records == (record,))
    assert facts.primary is not None
    value = facts.primary.value * times
    there = with_value(season, record, value).facts(on)
    assert replace(season.facts_at(facts)(value), companions=there.companions) == there


@often(60)
@given(seasons())
def test_over_a_whole_range_of_results_the_actions_come_in_the_order_raise_hold_cut(drawn: Drawn) -> None:
    """With one result of the day that decides, and with two that disagree."""
    season, on, record = drawn
    more = [replace(item, record=800, value=item.value * 1.3) for item in season.results if item.record == record]
    for one in (season, replace(season, results=(*season.results, *more))):
        facts = one.facts(on)
        assume(facts.primary is not None)
        assert facts.primary is not None
        at, order = one.facts_at(facts), [Action.RAISE, Action.HOLD, Action.CUT]
        values = [facts.primary.value * 100 ** (k / 40) for k in range(-40, 41)]
        ranks = [order.index(evaluate(at(value), one.policy).action) for value in values]
        assert ranks == sorted(ranks)


# --- the same again ------------------------------------------------------------------------------------------


@often(20)
@given(seasons())
def test_asking_twice_gives_the_same_advice(drawn: tuple[BlockSeason, date, int]) -> None:
    season, on, _ = drawn
    first = season.advice(on)
    assert season.advice(on) == first
    assert replace(season).advice(on) == first


@often(200)
@given(seasons(), st.randoms(use_true_random=False))
def test_the_order_of_records_does_not_matter(drawn: tuple[BlockSeason, date, int], random: Any) -> None:
    season, on, _ = drawn

    def shuffled(items: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(random.sample(items, len(items)))

    other = replace(
        season,
        results=shuffled(season.results),
        applications=shuffled(season.applications),
        observations=shuffled(season.observations),
        changes=shuffled(season.changes),
    )
    assert recommended(other, on) == recommended(season, on)
    facts, found = recommended(season, on)
    assert alternatives(other, facts, found) == alternatives(season, facts, found)


@often(200)
@given(seasons(), st.data())
def test_what_is_known_after_the_day_changes_nothing(
    drawn: tuple[BlockSeason, date, int], data: st.DataObject
) -> None:
    """Not even a result sampled before the day, when it arrived after it, nor the day's own decision."""
    season, on, _ = drawn
    later = st.integers(1, 30).map(lambda number: on + timedelta(days=number))
    sampled = on - timedelta(days=data.draw(st.integers(0, 20)))
    value = data.draw(magnitudes(100, 20_000))
    bound = data.draw(st.sampled_from(sorted(Censor)))
    grown = replace(
        season,
        results=(
            *season.results,
            petiole(value, sampled, 901, received=data.draw(later), censor=bound),
            petiole(value, data.draw(later), 902, received=None),
            replace(leaf(2.0, sampled, 903), received=data.draw(later)),
        ),
        applications=(*season.applications, Application(904, "north", data.draw(later), 5.0)),
        observations=(
            *season.observations,
            Observation(905, "north", data.draw(later), Sight.WATERLOGGED),
            Observation(906, "north", data.draw(later), Sight.SOIL_NITRATE, 90.0),
        ),
        changes=(
            *season.changes,
            Change(data.draw(later), on + timedelta(days=40), on + timedelta(days=60), 0.5, {}, 907),
            Change(on, on + timedelta(days=7), on + timedelta(days=21), 1.5, {}, 908),
        ),
    )
    assert recommended(grown, on) == recommended(season, on)
    facts, found = recommended(season, on)
    assert alternatives(grown, facts, found) == alternatives(season, facts, found)


# --- unit systems --------------------------------------------------------------------------------------------

TEXT = """
schema = 1
farm = {{ name = "Invented", units = "{units}" }}
crop = {{ name = "strawberry", system = "annual plasticulture", region = "US Southeast" }}
bands = {{ tables = ["{southeast}", "{leaf}"] }}
stages = {{ first_bloom = {bloom} }}
products = [
  {{ name = "calcium nitrate", grade = "15.5-0-0", ca = 19, nitrate_n = 14.5, share = 0.5 }},
  {{ name = "UAN 32", grade = "32-0-0", nitrate_n = 7.9, density = {density!r}, share = 0.5 }},
]
credits = [{{ name = "preplant", n = {credit!r} }}]

[plan]
start = {bloom}
weeks = 12
basis = "bed"
ramp = [{{ week = 1, rate = {early!r} }}, {{ week = 5, rate = {late!r} }}]
injections_per_week = 2

[bounds]
floor = {floor!r}
ceiling = {ceiling!r}
{cap}
rate_step = {step!r}

[blocks.north]
row_length = {row_length!r}
rows = 10
bed_top_width = {width!r}
bed_spacing = {spacing!r}
area_basis = "bed"
"""

RATES = {"credit", "early", "late", "floor", "ceiling", "season_cap", "step"}
LENGTHS = {"row_length", "width", "spacing"}


def season_text(units: str, numbers: dict[str, float | None]) -> str:
    """A season file in a unit system, from numbers in US units."""
    given = dict(numbers)
    if units == "metric":
        for name, value in numbers.items():
            if value is not None:
                factor = (
                    KG_HA_PER_LB_AC if name in RATES else M_PER_FT if name in LENGTHS else KG_PER_LB / L_PER_GAL
                )
                given[name] = value * factor
    cap = "" if given["season_cap"] is None else f"season_cap = {given['season_cap']!r}"
    return TEXT.format(
        units=units,
        southeast=support.SOUTHEAST,
        leaf=support.GEORGIA_LEAF,
        bloom=support.BLOOM.isoformat(),
        cap=cap,
        **{name: value for name, value in given.items() if name != "season_cap"},
    )


NUMBERS: dict[str, float | None] = {
    "early": 3.5,
    "late": 5.25,
    "floor": 0.0,
    "ceiling": 20.0,
    "season_cap": None,
    "step": 0.05,
    "credit": 12.0,
    "density": 11.06,
    "row_length": 300.0,
    "width": 2.5,
    "spacing": 5.0,
}


def in_both_systems(
    numbers: dict[str, float | None], on: date, results: tuple[TissueResult, ...], changes: tuple[Change, ...] = ()
) -> None:
    """Hold a season written in US units against the same one in metric units."""
    found = []
    for units in ("us", "metric"):
        season = parse_season(season_text(units, NUMBERS | numbers), Path()).blocks["north"]
        season = replace(season, results=results, changes=changes)
        advised = recommended(season, on)[1]
        found.append((advised, season.weeks_from(on, advised)))
    (us, us_weeks), (metric, metric_weeks) = found
    assert metric.action is us.action
    assert metric.rates_lb_ac == pytest.approx(us.rates_lb_ac, abs=1e-9)
    assert metric.standing_rates_lb_ac == pytest.approx(us.standing_rates_lb_ac, abs=1e-9)
    assert (metric.next_sample, metric.review) == (us.next_sample, us.review)
    for ours, theirs in zip(us_weeks, metric_weeks, strict=True):
        assert theirs.n_lb == pytest.approx(ours.n_lb, rel=1e-9, abs=1e-12)
        assert [part.weight_lb for part in theirs.products] == pytest.approx(
            [part.weight_lb for part in ours.products], rel=1e-9, abs=1e-12
        )
        assert theirs.products[1].volume_gal == pytest.approx(ours.products[1].volume_gal, rel=1e-9, abs=1e-12)


@often(250)
@given(
    early=st.integers(150, 700).map(lambda number: number / 100),
    late=st.integers(150, 700).map(lambda number: number / 100),
    floor=st.sampled_from([0.0, 1.0, 3.0]),
    above=st.sampled_from([0.0, 0.3, 1.0, 20.0]),
    cap=st.one_of(st.none(), st.integers(200, 1500).map(lambda number: number / 10)),
    step=st.sampled_from([0.05, 0.1, 0.25]),
    value=magnitudes(200, 15_000),
    leaf_n=st.one_of(st.none(), magnitudes(1.8, 5.0)),
    week=st.integers(1, 11),
    factor=st.sampled_from([None, 0.75, 4 / 3]),
)
def test_us_and_metric_season_files_give_the_same_rates(
    early: float,
    late: float,
    floor: float,
    above: float,
    cap: float | None,
    step: float,
    value: float,
    leaf_n: float | None,
    week: int,
    factor: float | None,
) -> None:
    numbers = {
        "early": early,
        "late": late,
        "floor": floor,
        "ceiling": max(early, late, floor) + above,
        "season_cap": cap,
        "step": step,
    }
    sampled, on = support.day_in(week, 1), support.day_in(week, 4)
    results = [petiole(value, sampled, 1)]
    if leaf_n is not None:
        results.append(leaf(leaf_n, sampled, 2))
    changed = Change(support.day_in(week - 3), support.day_in(week - 2), support.day_in(week + 2), factor or 1.0)
    in_both_systems(numbers, on, tuple(results), (changed,) if factor else ())


@pytest.mark.parametrize("rate", [3.75, 3.85, 4.25, 7.15])
def test_a_rate_half_way_between_two_metering_steps_is_rounded_alike_in_both_unit_systems(rate: float) -> None:
    """Half more on low leaf nitrogen: 3.75 becomes 5.625, half-way between 5.60 and 5.65."""
    low = leaf(2.0, support.day_in(5, 1), 1)
    in_both_systems({"early": rate, "late": rate}, support.day_in(5, 4), (low,))
