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
from tests.support import BLOOM, SOUTHEAST, block, day_in, plan, policy, products, result, season, with_policy
from tests.test_review import METRIC, RAISE, STEADY, US, change, decision, on_table, reviewed, sampled


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
        "before 1 of 1 low result with a log of the weeks before, too little was logged of what was aimed at in "
        "up to 14 days: 25 % before 15 Apr; the policy's limit is 80 %"
    )
    assert "Look at the" not in said(calm())
    fed_well = said(season(low, applications=fed()))
    assert not any("injections" in text for text in fed_well.values())


def test_low_results_after_weeks_without_a_log_point_to_nothing() -> None:
    low = result(2500.0, 7, record=9)
    for weeks in ((1, 2, 3, 4, 7, 8), (1, 2, 3, 4, 5, 7, 8)):  # weeks 5 and 6 count, and the begun week 7
        assert "Look at the" not in said(season(low, applications=fed(weeks=weeks)))
    # weeks 1 to 4 lie before the days counted; week 6 was to go without
    rates = tuple(0.0 if week == 6 else 5.25 for week in range(1, 13))
    none = (Application(1, "north", day_in(5), 0.0),)
    one = season(low, the_plan=plan(rates), applications=(*fed(weeks=(7, 8)), *none))
    assert "Look at the" in said(one)


def test_a_long_gap_counts_while_the_band_moves() -> None:
    both = result(4700.0, 2, record=1), result(3900.0, 5, record=2)
    ground = said(season(*both, applications=fed()))["Sample at least"]
    assert ground == "21 days between the samples of 11 Mar and 1 Apr, while the band moved"
    near = result(4700.0, 2, record=1), result(4400.0, 4, record=2)
    assert "Sample at least" not in said(season(*near, applications=fed()))
    steady = on_table(STEADY, sampled(0, 3000.0), sampled(40, 3000.0), applications=fed())
    assert said(steady) == {}


def test_the_gap_is_the_policys() -> None:
    often = with_policy(policy(), sample_days=7, lag_nitrate_days=0)
    texts = [item.text for item in next_year(reviewed(calm(the_policy=often)), US)]
    assert "Sample at least every 7 days while the band moves." in texts


def slow_mix(one: BlockSeason) -> BlockSeason:
    """The season fed with a mix of little nitrate, which the policy takes 14 days to show."""
    return replace(one, products=(replace(products()[0], nitrate_n=1.0, share=1.0),))


def test_a_gap_as_long_as_a_change_takes_to_show_is_not_long() -> None:
    # nitrate: 7 days and a week for it to begin; another mix: 14 and a week
    often = with_policy(policy(), sample_days=7)
    assert said(calm(the_policy=often)) == {}
    both = result(4700.0, 2, record=1, offset=0), result(3900.0, 5, record=2, offset=0)
    three_weeks = season(*both, applications=fed())
    assert "Sample at least" in said(three_weeks)
    assert "Sample at least" not in said(slow_mix(three_weeks))
    later = season(both[0], result(3900.0, 5, record=2, offset=1), applications=fed())
    texts = [item.text for item in next_year(reviewed(slow_mix(later)), US)]
    assert "Sample at least every 21 days while the band moves." in texts


def test_a_laboratory_slower_than_the_policy_thinks_is_told() -> None:
    # three of five reports took 6, 9 and 6 days: median 6; a review waits three days and two for a late result
    one = calm()
    waits = {item.record: 3 for item in one.results} | {3: 6, 4: 9, 5: 6}
    late = [replace(item, received=item.sampled + timedelta(days=waits[item.record])) for item in one.results]
    assert said(replace(one, results=tuple(late)))["Get samples to"] == (
        "3 of 5 reports took longer than the 5 days a review waits; median 6, longest 9"
    )


def test_one_late_report_does_not_make_a_laboratory_slow() -> None:
    one = calm()
    late = [
        replace(item, received=item.sampled + timedelta(days=9)) if item.record == 4 else item
        for item in one.results
    ]
    assert said(replace(one, results=tuple(late))) == {}


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
        "(0 below, 5 within, 0 above, 0 not known); in weeks 3 to 10, 1.20 times the planned 5.25 lb N/ac/week "
        "come nearer: 6.30"
    )
    less = next_year(reviewed(decided(4.0, range(3, 11))), US)[0]
    assert "less nitrogen" in less.text and less.grounds[0][1].endswith(" come nearer: 4.00")


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
    # plan 63.00, credit 10; eight weeks at 6.30 come to 71.40, with the credit 81.40
    credit = Credit("preplant", 10.0, "none", Evidence.OWN)
    room = decided(6.3, range(3, 11), plan(cap=81.5, credits_=(credit,)))
    assert said(room)["Consider a plan"].endswith("come nearer: 6.30")
    reached = said(decided(6.3, range(3, 11), plan(cap=81.4, credits_=(credit,))))
    assert "Consider a plan" not in reached and "Begin with a" in reached
    # weeks 1 and 2 were fed 5.00 of 5.25, 0.50 less in all: the season ended below the cap, that plan would not
    log = [5.0 if week < 3 else 6.3 if week < 11 else 5.25 for week in range(1, 13)]
    fed_less = tuple(Application(900 + week, "north", day_in(week), n) for week, n in enumerate(log, start=1))
    under = decided(6.3, range(3, 11), plan(cap=81.4, credits_=(credit,)), applications=fed_less)
    assert said(under) == {}
    # the same weeks were fed 6.00, 1.50 more: the season reached a cap that such a plan would not
    fed_more = tuple(replace(item, n_lb_ac=6.0) if item.on < day_in(3) else item for item in fed_less)
    over = said(decided(6.3, range(3, 11), plan(cap=82.0, credits_=(credit,)), applications=fed_more))
    assert set(over) == {"Begin with a"}


def test_less_nitrogen_is_suggested_whatever_the_cap() -> None:
    ground = said(decided(4.0, range(3, 11), plan(cap=53.0)))
    assert set(ground) == {"Consider a plan", "Begin with a"}


def test_another_plan_keeps_the_plans_ramp() -> None:
    # 4.00 and 5.00 were planned and 0.80 of them decided: no one flat rate
    ramp = tuple(4.0 if week < 7 else 5.0 for week in range(1, 13))
    rates = {week: 0.8 * rate for week, rate in enumerate(ramp, start=1)}
    log = tuple(Application(900 + week, "north", day_in(week), n) for week, n in rates.items())
    one = calm(
        the_plan=plan(ramp), changes=(change(BLOOM - timedelta(days=2), 1, day_in(13), rates),), applications=log
    )
    assert said(one)["Consider a plan"].endswith(
        "in weeks 1 to 12, 0.80 times the planned 4.00 to 5.00 lb N/ac/week come nearer: 3.20 to 4.00"
    )
    held = replace(one, plan=plan(ramp, floor=3.5))
    assert said(held)["Consider a plan"].endswith("come nearer, held to the bounds: 3.50 to 4.00")


def test_weeks_that_the_decided_rate_left_on_the_other_side_are_taken_as_planned() -> None:
    # 3.15 of 5.25 in weeks 3 to 10. Low on Wednesday of week 7 (band UGA-2021): it lies in week 7 and is the first
    # result that shows weeks 5 and 6, from Monday of weeks 6 and 7 on
    low = result(2500.0, 7, record=20)
    one = decided(3.15, range(3, 11))
    left = replace(one, results=(*(item for item in one.results if item.record != 4), low))
    ground = said(left)["Consider a plan"]
    # five of twelve weeks at 0.60: (7 + 3) / 12 = 0.83
    assert ground.startswith(
        "the rates decided were 0.83 times the plan, the mean of 12 logged weeks (weeks 5 to 7 taken as planned: "
        "a result then or after lay below its band)"
    )
    assert "in weeks 3 to 4 and 8 to 10, 0.60 times" in ground
    # with too few weeks left there is nothing to say
    two = decided(3.15, range(5, 9))
    assert "Consider a plan" in said(two)
    assert "Consider a plan" not in said(
        replace(two, results=(*(item for item in two.results if item.record != 4), low))
    )


def test_another_plan_stays_within_the_bounds() -> None:
    bound = decided(6.3, range(3, 11), plan(ceiling=6.0))
    assert said(bound)["Consider a plan"].endswith("come nearer, held to the bounds: 6.00")
    floor = decided(3.0, range(3, 11), plan(floor=4.0))
    assert said(floor)["Consider a plan"].endswith("come nearer, held to the bounds: 4.00")


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


def test_a_bound_beside_another_result_of_its_day_played_its_part() -> None:
    bound = result(4000.0, 5, record=20, censor=Censor.ABOVE)
    one = calm()
    assert len(reviewed(replace(one, results=(*one.results, bound))).not_used) == 1
    assert said(replace(one, results=(*one.results, bound))) == {}


def test_a_first_sample_long_after_feeding_began_is_late() -> None:
    late = season(result(4700.0, 2, record=1), applications=fed())
    assert said(late)["Take a first"] == (
        "feeding was planned from 2 Mar, the first sample is of 11 Mar, 9 days later; what is fed with "
        "that mix shows after 7"
    )
    in_time = season(result(4700.0, 2, record=1, offset=0), applications=fed())
    assert "Take a first" not in said(in_time)
    other_mix = slow_mix(season(result(4700.0, 2, record=1), applications=fed()))
    assert "Take a first" not in said(other_mix)
    later = slow_mix(season(result(4400.0, 3, record=1), applications=fed()))
    assert said(later)["Take a first"].endswith("16 days later; what is fed with that mix shows after 14")
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


def test_a_first_result_that_shows_what_was_fed_does_not_ask_what_was_there_before() -> None:
    before, after = (
        result(400.0, 1, offset=offset) for offset in (6, 7)
    )  # nitrate shows from Monday of week 2 on
    assert "Look at what" in said(season(before, applications=fed()))
    assert "Look at what" not in said(season(after, applications=fed()))
    assert "Look at what" in said(slow_mix(season(after, applications=fed())))


@pytest.mark.parametrize(
    ("value", "rate", "words"),
    [
        (
            400.0,
            6.3,
            "was already low. A plan with more nitrogen may answer the same cause: try one of the two, not",
        ),
        (
            5000.0,
            4.0,
            "was already high. A plan with less nitrogen may answer the same cause: try one of the two, not",
        ),
        (400.0, 4.0, "was already low."),
        (5000.0, 6.3, "was already high."),
    ],
)
def test_a_first_result_and_another_plan_of_one_cause_are_tried_one_at_a_time(
    value: float, rate: float, words: str
) -> None:
    one = decided(rate, range(3, 11))
    first = replace(one, results=(result(value, 1, record=1), *one.results[1:]))
    texts = [item.text for item in next_year(reviewed(first), US)]
    assert texts[0].startswith("Consider a plan")
    assert words in texts[1]
    assert texts[1].endswith("try one of the two, not both." if "try" in words else words)


def test_a_change_that_nobody_looked_at_is_told_once_the_season_is_over() -> None:
    one = season(result(1000.0, 1, record=2), result(2500.0, 5, record=1), applications=fed())
    text = "after 1 of 1 change that could show in time, no such sample was taken"
    assert said(one, decisions=[RAISE])["Sample once a"] == text
    assert "Sample once a" not in said(one, decisions=[RAISE], on=day_in(9))


def test_a_change_too_late_for_a_sample_to_matter_asks_for_none() -> None:
    # Shown 7 days after its first week begins and known 3 days later, while week 12 has not begun: week 10 at the
    # latest; of one in week 11 the sample would be known on Thursday of week 12.
    for week, asked in ((10, True), (11, False)):
        low = result(900.0, week - 1, record=1)
        late = decision(day_in(week - 1, 5), {week: 6.3}, {week: 5.25})
        told = said(season(low, applications=fed()), decisions=[late])
        assert ("Sample once a" in told) is asked


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
