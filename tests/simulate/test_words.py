"""Simulated seasons in words: what is claimed, what is not, and in which units. Seasons are invented."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fertadjust import simulation_ground as ground
from fertadjust import simulation_words as words
from fertadjust.evidence import Evidence, split_sources
from fertadjust.shipped import shipped_policy
from fertadjust.simulate.guards import with_values
from fertadjust.simulate.measures import BY_NAME, MEASURES, Estimate
from fertadjust.simulate.outlook import PLAN, RULES, TRIED, Outlook, outlook
from fertadjust.simulate.parameters import Array, CropModel, Range
from fertadjust.simulate.scenario import Days, Origin
from fertadjust.simulation_files import crop_model, crop_models, scenarios
from fertadjust.units import UnitSystem
from tests.simulate.support import georgia, scenario, strawberry

US, METRIC = UnitSystem.US, UnitSystem.METRIC
SEASONS = 20
T = {20: 2.093, 19: 2.101, 18: 2.110, 17: 2.120, 16: 2.131}
"""Two-sided 95 % points of Student's t by the number of seasons."""
TRY: dict[str, Any] = {"confidence": 0.6, "cross_check": {"low-leaf-sufficient": "full"}}


@pytest.fixture(scope="module")
def found() -> Outlook:
    """The rules beside the plan and beside another confidence."""
    return outlook(georgia(cap=130.0), strawberry(), scenario("usual"), SEASONS, tried=TRY)


@pytest.fixture(scope="module")
def plain() -> Outlook:
    """The rules beside the plan alone, the table having no band in the last two weeks of the plan."""
    return outlook(georgia((5.25,) * 16), strawberry(), scenario("calm"), SEASONS)


def counting(base: Outlook, name: str, **ways: Array) -> Outlook:
    """The same seasons with invented values of one measure."""
    runs = tuple(
        replace(run, measures=run.measures | {name: ways.get(run.name, run.measures[name])}) for run in base.runs
    )
    return replace(base, runs=runs)


def around(middle: float, scatter: float = 0.01) -> Array:
    return middle + scatter * np.array([-1.0, 1.0] * (SEASONS // 2))


# --- what is claimed ----------------------------------------------------------------------------------------


def test_a_gain_is_claimed_where_the_interval_bears_it_out(found: Outlook) -> None:
    """Half of 12 weeks beside a quarter of them; no scatter of the difference."""
    better = counting(found, "in_band", plan=around(0.25), rules=around(0.5), tried=around(0.25))
    assert words.headline(better) == (
        "In 20 simulated seasons like this one the rules kept the crop in its band in 6.0 of 12 weeks (5.9 to "
        "6.1), the plan as it stands in 3.0 (2.9 to 3.1). Season by season that is 3.0 weeks more under the rules "
        "(3.0 to 3.0). With what was tried it was 3.0 (2.9 to 3.1). Season by season that is 3.0 weeks fewer than "
        "under the rules (3.0 to 3.0)."
    )
    worse = counting(found, "in_band", plan=around(0.5), rules=around(0.25))
    assert "that is 3.0 weeks fewer under the rules (3.0 to 3.0)." in words.headline(worse)


def test_no_gain_is_claimed_where_the_interval_holds_0(found: Outlook) -> None:
    unclear = counting(found, "in_band", plan=around(0.5), rules=around(0.51, 0.2), tried=around(0.5))
    text = words.headline(unclear)
    assert "The difference is not clear: its interval, " in text
    assert "The difference from the rules is not clear: " in text and text.endswith(" weeks, holds 0.")
    assert "more" not in text and "fewer" not in text
    same = counting(found, "in_band", plan=around(0.5), rules=around(0.5), tried=around(0.5))
    assert "There is no difference in any of them." in words.headline(same)
    assert words.headline(same).endswith("There is no difference from the rules in any of them.")


def test_seasons_without_a_band_in_any_week_are_not_said_to_count(found: Outlook) -> None:
    some = around(0.5)
    some[:5] = math.nan
    fewer = counting(found, "in_band", plan=some, rules=some, tried=some)
    said = (
        "In the 15 of 20 simulated seasons like this one that have a band in those weeks the rules kept the crop"
    )
    assert words.headline(fewer).startswith(said)
    assert words.fewer_seasons(fewer)[0].startswith(
        "Of 20 seasons 15 count here, the others have none: weeks with "
    )
    none = np.full(SEASONS, math.nan)
    bare = counting(found, "in_band", plan=none, rules=none, tried=none)
    assert words.headline(bare) == (
        "No week of the plan has a band in its middle, so weeks in the band are not counted."
    )
    one = none.copy()
    one[3] = 0.5
    alone = words.headline(counting(found, "in_band", plan=one, rules=one, tried=one))
    assert (
        "in 6.0 of 12 weeks, the plan as it stands in 6.0. The difference is not known from one season." in alone
    )
    assert "nan" not in alone


def test_a_single_week_is_one_week() -> None:
    """The 12th week of UGA-2021 is the last one with a band; the plan begins with it."""
    season = georgia((5.25,))
    one = outlook(season, strawberry(), scenario("calm"), 10)
    assert " of 1 week (" in words.headline(one)
    assert ground.what_runs(one, US).startswith("1 week from ")


def test_without_a_cap_none_can_be_passed(plain: Outlook) -> None:
    """A plan without a season cap; the tried column has none either."""
    [row] = [row for row in words.table(plain, US)[1] if row[0].startswith("seasons that pass")]
    assert row[1:] == ["-", "-", "no cap is set"]
    assert "Not counted, no cap is set: seasons that pass the season cap." in words.verdicts(
        plain, words.RULES_LESS_PLAN
    )
    assert not any("season cap" in text for text in words.fewer_seasons(plain))
    tried = outlook(georgia(), strawberry(), scenario("calm"), 10, tried={"confidence": 0.6})
    assert words.tried_table(tried, US)[1][-2][-1] == "no cap is set"


def test_intervals_of_few_seasons_are_called_rough(found: Outlook, plain: Outlook) -> None:
    assert words.ROUGH in words.how_rough(plain) and words.ROUGH in words.limits(found)
    runs = tuple(replace(run, value=np.zeros((84, 100))) for run in found.runs)
    assert words.how_rough(replace(found, runs=runs)) == ()


def test_what_has_to_be_said_first_stands_among_the_limits(found: Outlook) -> None:
    assert strawberry().first == ""
    for crop in ("tomato", "potato"):
        model = crop_model(crop)
        assert "falls below its band" in model.first and "narrow" in model.first
        told = words.limits(replace(found, setup=replace(found.setup, model=model)))
        assert told[1] == model.first
    assert "" not in words.limits(found)


def test_weeks_without_a_band_do_not_count(plain: Outlook) -> None:
    """The calendar of UGA-2021 has 12 weeks from first bloom; the plan has 16."""
    assert words.weeks_with_band(plain) == 12
    assert "of the 12 weeks with a band" in words.headline(plain)
    none = np.full_like(plain.reference.low, math.nan)
    bare = replace(plain, reference=replace(plain.reference, low=none, high=none))
    assert words.headline(bare).startswith("No week of the plan has a band in its middle")


@pytest.mark.parametrize(
    ("item", "name", "said"),
    [
        (Estimate(0.018, 0.004, 0.032, 20), "in_band", "+1.8 (+0.4 to +3.2) points"),
        (Estimate(0.002, -0.001, 0.006, 20), "in_band", "not clear (-0.1 to +0.6) points"),
        (Estimate(0.0, 0.0, 0.0, 20), "over_cap", "none seen"),
        (Estimate(math.nan, math.nan, math.nan, 0), "return", "not known"),
        (Estimate(1.0, math.nan, math.nan, 1), "return", "not known"),
        (Estimate(0.5, 0.02, 0.98, 20), "longest", "+0.50 (+0.02 to +0.98)"),
        (Estimate(-0.5, -0.6, -0.4, 20), "longest", "-0.5 (-0.6 to -0.4)"),
        (Estimate(2.0, 1.0, 3.0, 20), "applied", "+2.0 (+1.0 to +3.0)"),
    ],
)
def test_a_difference_says_whether_it_is_clear(item: Estimate, name: str, said: str) -> None:
    assert words.difference_words(item, BY_NAME[name], US) == said


def test_no_end_of_an_interval_looks_like_0_that_is_not() -> None:
    clear = words.difference_words(Estimate(0.02, 0.0004, 0.04, 20), BY_NAME["longest"], US)
    assert clear == "+0.0200 (+0.0004 to +0.0400)"


def test_verdicts_hold_to_the_intervals(found: Outlook) -> None:
    """Worked out here from the seasons themselves, by Student's t: 2.093 for 19 degrees of freedom (t table)."""
    for way, than, pair in ((RULES, PLAN, words.RULES_LESS_PLAN), (TRIED, RULES, words.TRIED_LESS_RULES)):
        told = dict(text.rstrip(".").split(": ", 1) for text in words.verdicts(found, pair))
        assert sorted("; ".join(told.values()).split("; ")) == sorted(item.words for item in MEASURES)
        for measure in MEASURES:
            values = found.run(way).measures[measure.name] - found.run(than).measures[measure.name]
            known = values[~np.isnan(values)]
            half = T[known.size] * known.std(ddof=1) / math.sqrt(known.size)
            [group] = [head for head, text in told.items() if measure.words in text.split("; ")]
            if not known.any():
                assert group == "No difference in any season"
            elif abs(known.mean()) <= half:
                assert group == "Not clear, the interval holds 0"
            elif measure.better:
                good = known.mean() * measure.better > 0
                assert group == ("Clearly better" if good else "Clearly worse")
            else:
                assert group == f"Clearly {'more' if known.mean() > 0 else 'less'}, good or bad"


def test_more_nitrogen_is_neither_good_nor_bad(found: Outlook) -> None:
    fed = counting(found, "applied", plan=around(50.0), rules=around(55.0))
    assert any(
        text.startswith("Clearly more, good or bad: ") and "nitrogen fed" in text
        for text in words.verdicts(fed, words.RULES_LESS_PLAN)
    )
    less = counting(found, "applied", plan=around(55.0), rules=around(50.0))
    assert any("Clearly less" in text for text in words.verdicts(less, words.RULES_LESS_PLAN))


def test_what_no_season_counts_in_is_not_known(found: Outlook) -> None:
    never = np.full(SEASONS, math.nan)
    bare = counting(found, "return", plan=never, rules=never)
    [row] = [row for row in words.table(bare, US)[1] if row[0].startswith("mean length of a time out")]
    assert row[1:3] == ["-", "-"] and row[-1] == "not known"
    assert any(
        text.startswith("Not known: mean length of a time out of the band")
        for text in words.verdicts(bare, words.RULES_LESS_PLAN)
    )
    some = never.copy()
    some[:5] = 2.0
    partly = counting(found, "return", plan=some, rules=some, tried=some)
    of = "mean length of a time out of the band, cut off by the season's end."
    assert words.fewer_seasons(partly) == [f"Of 20 seasons 5 count here, the others have none: {of}"]
    more = counting(partly, "return", rules=np.full(SEASONS, 2.0))
    assert words.fewer_seasons(more) == [
        f"Of 20 seasons 5 (plan), 20 (rules), 5 (tried) count here, the others have none: {of}"
    ]


# --- tables and units ---------------------------------------------------------------------------------------


def test_the_table_has_a_column_for_each_way(found: Outlook, plain: Outlook) -> None:
    headers, rows = words.table(found, US)
    assert headers == ["mean of a season", "plan", "rules", "tried", "rules less plan"]
    assert len(rows) == len(MEASURES) and all(len(row) == len(headers) for row in rows)
    assert words.table(plain, US)[0] == ["mean of a season", "plan", "rules", "rules less plan"]
    assert words.tried_table(found, US)[0] == ["mean of a season", "tried less rules"]
    assert [pair.way for pair in words.pairs(found)] == [RULES, TRIED]
    assert [pair.way for pair in words.pairs(plain)] == [RULES]


def test_measures_stand_in_their_units(found: Outlook) -> None:
    labels = [row[0] for row in words.table(found, US)[1]]
    assert "weeks with the crop in its band, %" in labels
    assert "longest shortage, weeks" in labels
    assert "nitrogen fed, lb N/ac" in labels
    assert "changes of the rate, those that ran out among them" in labels
    assert "nitrogen fed, kg N/ha" in [row[0] for row in words.table(found, METRIC)[1]]


def test_amounts_are_converted_and_nothing_else(found: Outlook) -> None:
    """1 lb/ac is 1.120851 kg/ha, from the exact definitions of pound and acre."""
    us, metric = ({row[0].split(",")[0]: row for row in words.table(found, units)[1]} for units in (US, METRIC))
    fed = found.run(RULES).measures["applied"].mean()
    assert us["nitrogen fed"][2] == f"{fed:.1f}"
    assert metric["nitrogen fed"][2] == f"{1.120851 * fed:.1f}"
    assert metric["weeks with the crop in its band"][1:] == us["weeks with the crop in its band"][1:]
    share = 100 * found.run(PLAN).measures["in_band"].mean()
    assert us["weeks with the crop in its band"][1] == f"{share:.1f}"


def test_what_is_tried_stands_beside_the_seasons_own(found: Outlook) -> None:
    assert ground.tried_names(found) == ["confidence", "cross_check.low-leaf-sufficient"]
    said = ground.what_is_tried(found, US)
    assert said.startswith(
        "confidence = 0.6 probability instead of 0.8 probability; cross_check.low-leaf-sufficient"
    )
    assert " = full instead of " in said


def test_policy_values_are_told_in_the_units_of_the_season() -> None:
    """UF-HS906, recalled: 7 x 2.0 = 14 lb/ac, 15.69 kg/ha."""
    policy = shipped_policy("florida-drip")
    assert ground.policy_value(policy, "corrective_most", US) == (pytest.approx(14.0), "lb N/ac in all")
    assert ground.policy_value(policy, "corrective_most", METRIC) == (
        pytest.approx(15.69, abs=0.01),
        "kg N/ha in all",
    )
    assert ground.policy_value(policy, "after_recovery", METRIC) == (policy.after_recovery.value.value, "")
    assert ground.policy_value(policy, "recalled_may_cut", US) == (False, "")


# --- what it rests on ---------------------------------------------------------------------------------------


def test_the_words_say_that_it_is_a_model_and_what_it_cannot_tell(found: Outlook) -> None:
    assert words.MODEL.startswith("A model, not a forecast")
    told = words.limits(found)
    assert words.MODEL in told and set(strawberry().tells_not) <= set(told)
    assert "what is recorded plays no part" in " ".join(told)
    assert "not how far the model is from a field" in words.INTERVALS


def test_what_runs_is_named(found: Outlook) -> None:
    assert ground.what_runs(found, US) == (
        "12 weeks from Mon 2 Mar 2026, rates per acre of bed top, rules strawberry-annual-plasticulture, band "
        "table strawberry-petiole-dry-us-southeast, scenario usual, seed 1."
    )
    assert "rates per hectare of bed top" in ground.what_runs(found, METRIC)


def test_a_scenario_of_a_file_is_told_with_the_file_and_what_it_builds_on(found: Outlook) -> None:
    own = replace(found, origin=Origin("own.toml", "usual", "weekly"))
    assert "scenario usual (file own.toml, on usual), seed 1." in ground.what_runs(own, US)
    assert ground.scenario_words(own) == f"{scenarios()['usual'].title} Sampled weekly instead."
    bare = replace(found, origin=Origin("own.toml"))
    assert "scenario usual (file own.toml), seed 1." in ground.what_runs(bare, US)
    assert ground.scenario_words(bare) == scenarios()["usual"].title


def test_own_values_are_told_in_the_units_of_the_season() -> None:
    """20 lb/ac is 22.42 kg/ha, from the exact definitions of pound and acre; a limit of notes plays no part."""
    own = {"corrective_most": 20.0, "confidence": 0.9, "cross_check": {"low-leaf-sufficient": "hold"}}
    policy = with_values(shipped_policy("florida-strawberry"), own)
    assert ground.own_values(policy, METRIC) == (
        "confidence = 0.9 probability; corrective_most = 22.42 kg N/ha in all; "
        "cross_check.low-leaf-sufficient = hold"
    )
    assert ground.own_values(shipped_policy("florida-strawberry"), US) == ""


def test_a_recalled_band_is_told(found: Outlook) -> None:
    table = found.setup.table
    rows = tuple(row.model_copy(update={"evidence": Evidence.RECALLED}) for row in table.rows)
    setup = replace(found.setup, table=table.model_copy(update={"rows": rows}))
    assert "(band recalled: check it)" in ground.what_runs(replace(found, setup=setup), US)
    assert ground.recalled(found) == ""


@pytest.mark.parametrize("crop", sorted(crop_models()))
def test_every_figure_of_a_model_is_told_with_its_source(crop: str) -> None:
    model = crop_models()[crop]
    lines = ground.rests_on(model, US)
    assert len(lines) == len(model.figures)
    for line, figure in zip(lines, model.figures.values(), strict=True):
        assert figure.meaning in line and figure.evidence.value in line
        assert all(key in line for key in split_sources(figure.source))
        assert not figure.fitted or f"fitted: {figure.fitted}" in line
    assumed = sum("project rule)" in line for line in lines)
    assert assumed > 0
    assert ground.assumed_share(model).startswith(f"{assumed} of the model's {len(lines)} figures are assumed")


def figure(low: float, high: float, unit: str) -> Range:
    return Range(
        name="peak", low=low, high=high, unit=unit, meaning="invented", source="none", evidence="project rule"
    )


@pytest.mark.parametrize(
    ("item", "us", "metric"),
    [
        (figure(1.1, 1.2, "kg/ha/day"), "0.981 to 1.07 lb/ac/day", "1.1 to 1.2 kg/ha/day"),
        (figure(10.7, 32.1, "lb/ac"), "10.7 to 32.1 lb/ac", "12 to 36 kg/ha"),
        (figure(60.0, 90.0, "mm"), "2.36 to 3.54 in", "60 to 90 mm"),
        (figure(2.0, 5.0, "mm/day"), "0.0787 to 0.197 in/day", "2 to 5 mm/day"),
        (figure(13.63, 13.63, "days of peak demand"), "13.63 days of peak demand", "13.63 days of peak demand"),
    ],
)
def test_figures_are_told_in_the_units_of_the_season(item: Range, us: str, metric: str) -> None:
    """1 lb/ac is 1.120851 kg/ha, an inch 25.4 mm, both from exact definitions."""
    tail = ": invented (no publication: project rule)"
    assert ground.figure_words(item, US) == f"Peak, {us}{tail}"
    assert ground.figure_words(item, METRIC) == f"Peak, {metric}{tail}"


@pytest.mark.parametrize("crop", sorted(crop_models()))
def test_every_figure_has_a_name_and_says_what_it_is_a_part_of(crop: str) -> None:
    model: CropModel = crop_models()[crop]
    names = [item.name for item in model.figures.values()]
    assert all(names) and len(set(names)) == len(names)
    assert not any("of that" in item.unit for item in model.figures.values())


@pytest.mark.parametrize("name", sorted(scenarios()))
def test_a_scenario_says_what_its_seasons_differ_in(name: str) -> None:
    of = scenarios()[name]
    text = "\n".join(ground.differs(of))
    assert f"the crop needs {of.field.need.low:g} to {of.field.need.high:g} times" in text
    assert f"a result takes {of.laboratory.days.low} to {of.laboratory.days.high} days" in text
    asked = "on the days that the rules ask for"
    assert (asked in text) is (of.sampling.every == "as advised")
    if of.sampling.every != "as advised":
        assert f"every {of.sampling.every} days" in text


def test_a_scenario_in_which_nothing_goes_wrong_says_so() -> None:
    text = "\n".join(ground.differs(scenario("calm")))
    assert "Stage: the crop is where the dates in season.toml say." in text
    assert "Rain: none that leaches." in text
    assert "the crop needs 1 times" in text
    often = scenario("calm", sampling={"every": 3}, rain={"a_week": 0.5}, stage={"days_off": Days(low=0, high=1)})
    text = "\n".join(ground.differs(often))
    assert "Samples: every 3 days, the first on day 10" in text
    assert "0.5 leaching rains a week, each of which takes 20 to 60 % of the nitrate" in text
    assert "the crop is on its date to 1 day late" in text
