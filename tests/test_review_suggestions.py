"""What to try next year: each rule of thumb, where it speaks and where it does not. Every figure is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fertadjust.evidence import Evidence
from fertadjust.ledger import Application
from fertadjust.plan import Credit, Plan
from fertadjust.review import farm_review
from fertadjust.review_next_year import farm_next_year, next_year
from fertadjust.season import BlockSeason
from fertadjust.tissue import Basis, Censor, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC
from tests.rules import fed, leaf
from tests.support import BLOOM, SOUTHEAST, block, day_in, plan, policy, result, season, with_policy
from tests.test_review import METRIC, RAISE, STEADY, US, change, on_table, reviewed, sampled


def calm(**more: Any) -> BlockSeason:
    """A season in which nothing is to be tried otherwise: in band every two weeks (UGA-2021), fed and logged."""
    first = result(1000.0, 1, record=1)
    rest = [result(value, 2 * n + 3, record=n + 2) for n, value in enumerate((4400.0, 3900.0, 3900.0, 2900.0))]
    return season(first, *rest, **({"applications": fed()} | more))


def said(one: BlockSeason, **more: Any) -> dict[str, str]:
    """Text and ground of what is suggested for a season, by the first words of the text."""
    found = next_year(reviewed(one, **more), US)
    assert all(len(item.grounds) == 1 and item.grounds[0][0] == "North" for item in found)
    return {" ".join(item.text.split()[:3]): item.grounds[0][1] for item in found}


def test_a_calm_season_suggests_nothing() -> None:
    assert said(calm()) == {}


def test_without_a_result_there_is_one_to_take() -> None:
    assert said(season(applications=fed())) == {
        "Sample each block": "no nitrogen result had a band; 0 without one"
    }
    sap = season(sampled(9, 450.0, basis=Basis.SAP), applications=fed())
    assert said(sap) == {"Sample each block": "no nitrogen result had a band; 1 without one"}


def test_weeks_without_a_log_are_named() -> None:
    some = calm(applications=fed(weeks=(1, 2, 3, 5, 6, 7, 10, 11, 12)))
    ground = said(some)["Write every injection"]
    assert ground == "no log for weeks 4 and 8 to 9 of 12; 15.75 lb N/ac were counted as applied"
    metric = next_year(reviewed(some), METRIC)[0].grounds[0][1]
    assert f"{15.75 * KG_HA_PER_LB_AC:.2f} kg N/ha" in metric


def test_a_low_result_after_missed_injections_points_to_them() -> None:
    # weeks 5 and 6 were skipped but for the Monday of week 7, the last day but one counted: 2.625 of 10.50
    weeks = (1, 2, 3, 4, 7, 8, 9, 10, 11, 12)
    skipped = (Application(1, "north", day_in(5), 0.0), Application(2, "north", day_in(6), 0.0))
    low = result(2500.0, 7, record=9)
    short = season(low, applications=(*fed(weeks=weeks), *skipped))
    ground = said(short)["Look at the"]
    assert ground == (
        "before 1 of 1 low result too little was logged of what was aimed at in up to 14 days: 25 % before 15 "
        "Apr; the policy's limit is 80 %"
    )
    assert "Look at the" not in said(calm())
    fed_well = said(season(low, applications=fed()))
    assert not any("injections" in text for text in fed_well.values())


def test_a_long_gap_counts_while_the_band_moves() -> None:
    both = result(4700.0, 2, record=1), result(3900.0, 5, record=2)
    ground = said(season(*both, applications=fed()))["Sample at least"]
    assert ground == "21 days between the samples of 11 Mar and 1 Apr, while the band moved"
    near = result(4700.0, 2, record=1), result(4400.0, 4, record=2)
    assert "Sample at least" not in said(season(*near, applications=fed()))
    steady = on_table(STEADY, sampled(0, 3000.0), sampled(40, 3000.0), applications=fed())
    assert said(steady) == {}


def test_the_gap_is_the_policys() -> None:
    often = with_policy(policy(), sample_days=7)
    found = next_year(reviewed(calm(the_policy=often)), US)
    assert [item.text for item in found] == ["Sample at least every 7 days while the band moves."]


def test_a_laboratory_slower_than_the_policy_thinks_is_told() -> None:
    slow = replace(result(3900.0, 7, record=4), received=day_in(7, 2) + timedelta(days=9))
    one = calm()
    late = replace(one, results=(*(item for item in one.results if item.record != 4), slow))
    assert said(late)["Get samples to"] == (
        "1 of 5 reports took longer than the 3 days of the policy; median 3, longest 9"
    )


# --- another plan -------------------------------------------------------------------------------------------


def decided(rate: float, weeks: range, the_plan: Plan | None = None, **more: Any) -> BlockSeason:
    """The calm season with a decided rate in some weeks, fed as decided."""
    rates = {week: rate if week in weeks else 5.25 for week in range(1, 13)}
    log = tuple(Application(900 + week, "north", day_in(week), value) for week, value in rates.items())
    one = change(BLOOM - timedelta(days=2), 1, day_in(13), rates)
    return calm(the_plan=the_plan or plan(), changes=(one,), **({"applications": log} | more))


def test_rates_decided_well_above_the_plan_suggest_one_nearer_to_them() -> None:
    # eight of twelve weeks at 6.30: (8 x 1.2 + 4) / 12 = 1.13 on average
    ground = said(decided(6.3, range(3, 11)))["Consider a plan"]
    assert ground == (
        "the rates decided were 1.13 times the plan, the mean of 12 logged weeks, and the last result lay in band "
        "(0 below, 5 within, 0 above, 0 not known); in weeks 3 to 10, 5.25 lb N/ac/week were planned on average, "
        "6.30 come nearer"
    )
    less = next_year(reviewed(decided(4.0, range(3, 11))), US)[0]
    assert "less nitrogen" in less.text and "4.00 come nearer" in less.grounds[0][1]


def test_a_tenth_more_is_not_enough() -> None:
    # six of twelve weeks at 6.30: 1.10 on average
    assert said(decided(6.3, range(1, 7))) == {}


def test_rates_that_were_not_applied_suggest_no_plan() -> None:
    assert "Consider a plan" not in said(decided(6.3, range(3, 11), applications=fed(5.0)))


@pytest.mark.parametrize("last", [result(900.0, 11, record=9), result(9000.0, 11, record=9, censor=Censor.ABOVE)])
def test_a_season_that_did_not_end_in_band_suggests_no_plan(last: TissueResult) -> None:
    one = decided(6.3, range(3, 11))
    assert "Consider a plan" not in said(replace(one, results=(*one.results, last)))


def test_another_plan_stays_within_the_season_cap() -> None:
    # plan 63.00, credit 10, cap 77: 4.00 above the plan for eight weeks, 5.25 + 0.50; 71.40 were applied
    credit = Credit("preplant", 10.0, "none", Evidence.OWN)
    capped = decided(6.3, range(3, 11), plan(cap=77.0, credits_=(credit,)))
    assert said(capped)["Consider a plan"].endswith("5.75 come nearer, as far as the season cap goes")
    none = decided(6.3, range(3, 11), plan(cap=73.0, credits_=(credit,)))
    assert "Consider a plan" not in said(none)


def test_another_plan_stays_within_the_bounds() -> None:
    bound = decided(6.3, range(3, 11), plan(ceiling=6.0))
    assert "6.00 come nearer" in said(bound)["Consider a plan"]
    floor = decided(3.0, range(3, 11), plan(floor=4.0))
    assert "4.00 come nearer" in said(floor)["Consider a plan"]


# --- cap, sampling ------------------------------------------------------------------------------------------


def test_a_cap_that_was_reached_asks_for_a_plan_below_it() -> None:
    assert said(calm(the_plan=plan(cap=63.0))) == {"Begin with a": "63.00 lb N/ac count against a cap of 63.00"}
    assert said(calm(the_plan=plan(cap=63.1))) == {}


def test_results_that_played_no_part_say_why() -> None:
    one = calm()
    sap = result(450.0, 6, record=20, basis=Basis.SAP)
    assert said(replace(one, results=(*one.results, sap))) == {
        "Sample what the": "1 result played no part: no band table in use is for petiole NO3-N, fresh sap"
    }


def test_a_first_sample_long_after_feeding_began_is_late() -> None:
    late = season(result(4700.0, 2, record=1), applications=fed())
    assert said(late)["Take a first"] == (
        "feeding was planned from 2 Mar, the first sample is of 11 Mar, 9 days later; fed nitrate shows after 7"
    )
    in_time = season(result(4700.0, 2, record=1, offset=0), applications=fed())
    assert "Take a first" not in said(in_time)
    early, first = plan(start=BLOOM - timedelta(days=14)), result(4700.0, 3, record=1)
    no_band = season(first, applications=fed(), the_plan=early, tables=(SOUTHEAST,))
    assert "Take a first" not in said(no_band)


@pytest.mark.parametrize(("value", "word"), [(400.0, "low"), (5000.0, "high")])
def test_a_first_result_out_of_its_band_asks_what_was_there_before(value: float, word: str) -> None:
    found = next_year(reviewed(season(result(value, 1), applications=fed())), US)
    assert [item.text for item in found] == [
        "Look at what the crop has before feeding begins (preplant nitrogen, credits) and at the plan's first "
        f"weeks: the first result was already {word}."
    ]
    assert "of 4 Mar" in found[0].grounds[0][1]


def test_a_change_that_nobody_looked_at_is_told_once_the_season_is_over() -> None:
    one = season(result(1000.0, 1, record=2), result(2500.0, 5, record=1), applications=fed())
    text = "after 1 of 1 change no such sample was taken"
    assert said(one, decisions=[RAISE])["Sample once a"] == text
    assert "Sample once a" not in said(one, decisions=[RAISE], on=day_in(9))


# --- a farm -------------------------------------------------------------------------------------------------


def test_what_holds_for_more_blocks_comes_first_with_each_blocks_numbers() -> None:
    north = season(result(400.0, 1), applications=fed(weeks=range(1, 12)))
    south = replace(
        season(result(1000.0, 1), applications=fed(weeks=range(1, 11))), block=block(key="south", name="South")
    )
    found = farm_next_year(farm_review([reviewed(north), reviewed(south)]), US)
    assert [[name for name, _ in item.grounds] for item in found] == [["North", "South"], ["North"]]
    assert found[0].grounds == (
        ("North", "no log for week 12 of 12; 5.25 lb N/ac were counted as applied"),
        ("South", "no log for weeks 11 to 12 of 12; 10.50 lb N/ac were counted as applied"),
    )
    assert farm_next_year(farm_review([reviewed(calm())]), US) == ()


def test_a_leaf_sampled_first_counts_as_a_first_sample() -> None:
    assert "Take a first" not in said(season(leaf(3.1, 1), result(4700.0, 3, record=1), applications=fed()))
