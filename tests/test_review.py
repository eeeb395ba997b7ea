"""The season in review, counted by hand on small seasons. Figures without a source are invented."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fertadjust import review_words as words
from fertadjust.bands import BandTable
from fertadjust.compare import Side
from fertadjust.history import moments
from fertadjust.ledger import Application
from fertadjust.plan import Change, Credit
from fertadjust.record import Kind, Record
from fertadjust.review import Review, Sides, day_by_day, farm_review, review_of
from fertadjust.review_changes import Return, moved, moves_made
from fertadjust.review_next_year import next_year
from fertadjust.review_of_season import farm_review_data, review_data
from fertadjust.rules.facts import Action
from fertadjust.season import BlockSeason
from fertadjust.stored import Decided, first_versions, result_content
from fertadjust.tissue import Basis, Censor, Method, TissueResult
from fertadjust.units import HA_PER_ACRE, KG_HA_PER_LB_AC, KG_PER_LB, UnitSystem
from fertadjust.words import headline
from tests.rules import fed, leaf
from tests.support import BLOOM, block, day_in, plan, policy, products, result, season, with_policy

US, METRIC = UnitSystem.US, UnitSystem.METRIC
OVER = day_in(13)
"""The day after the plan's twelve weeks."""
Row = dict[str, Any]


def table(*rows: Row) -> BandTable:
    """A petiole table of bands by week from first bloom, or one band for all season where a row names no week."""
    weekly = all("weeks" in row for row in rows)
    backing = {"analyte": "NO3-N", "unit": "ppm", "source": "season file", "evidence": "own"}
    axis: Row = {"axis": "weeks", "anchor": "first_bloom"} if weekly else {"axis": "season"}
    names = {"title": "t", "crop": "strawberry", "system": "s", "region": "r", "part": "petiole"}
    kind = {"tissue": "petiole", "basis": "dry"}
    numbered = [{"id": f"row-{index}", **backing, **row} for index, row in enumerate(rows)]
    return BandTable.model_validate({"schema": 1, "id": "own-table", **names, **kind, **axis, "rows": numbered})


def sampled(offset: int, value: float, record: int = 0, **more: Any) -> TissueResult:
    """A petiole result sampled some days after first bloom and known three days later."""
    return result(value, 1, offset=offset, record=record or 100 + offset, **more)


def on_table(the_table: BandTable, *results: TissueResult, **more: Any) -> BlockSeason:
    return replace(season(*results, **more), tables=(the_table,))


def reviewed(
    one: BlockSeason,
    on: date = OVER,
    decisions: Sequence[Decided] = (),
    records: Sequence[Record] = (),
    then: BlockSeason | None = None,
) -> Review:
    """The review of a season that stood as it is on every day, or otherwise on the days before the review's."""
    history = moments(
        lambda day: one if day == on or then is None else then,
        {item.known_on for item in (then or one).results},
        on,
        decisions,
        first_versions(records),
    )
    return review_of(one, history, records, on)


def decision(on: date, rates: dict[int, float], standing: dict[int, float], what: str = "accept") -> Decided:
    return Decided(800 + on.day, on, "ann", what, Action.HOLD, "Hold.", "so", rates, 1.0, standing)


def change(on: date, first: int, review: date, rates: dict[int, float]) -> Change:
    return Change(on, day_in(first), review, 1.2, rates, 800 + on.day)


# --- time in band -------------------------------------------------------------------------------------------

STEADY = table({"low": 2000.0, "high": 4000.0})


def test_days_between_results_are_read_on_a_straight_line_in_the_logarithm() -> None:
    # 1,000 to 16,000 in four days doubles each day: 1,000 below; 2,000 and 4,000 on the edges, within; 8,000
    # above; back to 4,000 in two days halves each day: 16,000 and 8,000 above, 4,000 within
    one = on_table(STEADY, sampled(0, 1000.0), sampled(4, 16000.0), sampled(6, 4000.0))
    found = reviewed(one)
    assert day_by_day(one, found.readings) == [
        Side.BELOW, Side.WITHIN, Side.WITHIN, Side.ABOVE, Side.ABOVE, Side.ABOVE, Side.WITHIN,
    ]  # fmt: skip
    assert found.days == Sides(below=1, within=3, above=3, unknown=0)
    assert found.results == Sides(below=1, within=1, above=1, unknown=0)
    assert found.days.share_within == pytest.approx(3 / 7)
    assert words.share(found.days) == "43 %"


def test_each_day_is_held_against_the_band_of_its_own_day() -> None:
    # 1,600 all along: Saturday and Sunday of week 1 within 1,000 to 1,600, Monday and Tuesday after below 2,000
    moving = table(
        {"weeks": [1, 1], "low": 1000.0, "high": 1600.0}, {"weeks": [2, 2], "low": 2000.0, "high": 3000.0}
    )
    found = reviewed(on_table(moving, sampled(5, 1600.0), sampled(8, 1600.0)))
    assert found.days == Sides(below=2, within=2)


def test_a_day_without_a_band_is_not_known() -> None:
    # Sunday of week 2 within; the seven days of week 3 have no band; Monday and Tuesday of week 4 within
    gap = table({"weeks": [2, 2], "low": 2000.0, "high": 3000.0}, {"weeks": [4, 4], "low": 2000.0, "high": 3000.0})
    found = reviewed(on_table(gap, sampled(13, 2500.0), sampled(22, 2500.0)))
    assert found.days == Sides(within=3, unknown=7)
    assert found.days.share_within == 1.0


def test_next_to_a_bound_nothing_is_known_but_the_bound_itself_may_tell() -> None:
    # 3,000 within, three days unknown, <900 below, three days unknown, 3,000 within
    one = on_table(STEADY, sampled(0, 3000.0), sampled(4, 900.0, censor=Censor.BELOW), sampled(8, 3000.0))
    found = reviewed(one)
    assert found.days == Sides(below=1, within=2, unknown=6)
    assert found.results == Sides(below=1, within=2)
    # <2,500 may lie below or within
    untold = reviewed(on_table(STEADY, sampled(0, 2500.0, censor=Censor.BELOW)))
    assert untold.days == untold.results == Sides(unknown=1)
    assert untold.days.share_within is None
    assert words.share(untold.days) == "not known"


def test_a_band_with_one_edge_knows_below_and_within() -> None:
    # 1,000 doubling each day: 1,000 below, 2,000, 4,000 and 8,000 within; there is no above
    found = reviewed(on_table(table({"low": 2000.0}), sampled(0, 1000.0), sampled(3, 8000.0)))
    assert found.days == Sides(below=1, within=3)
    high = reviewed(on_table(table({"high": 2000.0}), sampled(0, 1000.0), sampled(3, 8000.0)))
    assert high.days == Sides(within=2, above=2)


def test_one_result_is_one_day_and_none_is_none() -> None:
    assert reviewed(on_table(STEADY, sampled(3, 3000.0))).days == Sides(within=1)
    assert reviewed(on_table(STEADY)).days == Sides()


WEEKS = [(600.0 + 137.0 * week, 2400.0 + 311.0 * ((5 * week) % 7)) for week in range(12)]
MOVING = table(*({"weeks": [n + 1, n + 1], "low": low, "high": high} for n, (low, high) in enumerate(WEEKS)))
VALUES = st.floats(200.0, 9000.0)


@settings(deadline=None)
@given(st.dictionaries(st.integers(0, 83), VALUES, min_size=2, max_size=9))
def test_time_in_band_is_what_numpy_interpolates(samples: dict[int, float]) -> None:
    """Against `numpy.interp` on the logarithms, each day counted by its week's own edges."""
    days = np.arange(min(samples), max(samples) + 1)
    known = sorted(samples)
    values = np.interp(days, known, np.log([samples[day] for day in known]))
    low, high = (np.log([WEEKS[day // 7][edge] for day in days]) for edge in (0, 1))
    assume(np.min(np.abs(np.concatenate([values - low, values - high]))) > 1e-9)
    sides = np.where(values < low, Side.BELOW, np.where(values > high, Side.ABOVE, Side.WITHIN))
    one = on_table(MOVING, *(sampled(day, value) for day, value in samples.items()))
    found = day_by_day(one, one.later_readings(None, day_in(14)))
    assert found == [Side(side) for side in sides]


# --- which results ------------------------------------------------------------------------------------------

SAP = "strawberry-petiole-sap-florida"
DRY = "strawberry-petiole-dry-us-southeast"
LEAF = "strawberry-leaf-georgia"


def test_the_kind_with_most_sampling_days_is_reviewed_and_dry_petioles_on_a_tie() -> None:
    dry, sap = sampled(9, 4700.0), sampled(16, 450.0, basis=Basis.SAP)
    leaves = leaf(3.1, 5, record=2), leaf(3.0, 7, record=3)
    both = reviewed(season(dry, sap, tables=(DRY, SAP, LEAF)))
    assert (words.kind(both), both.others) == ("petiole NO3-N, dry weight", 1)
    most = reviewed(season(dry, *leaves))
    assert (words.kind(most), len(most.readings), most.others) == ("leaf N, dry weight", 2, 1)
    assert (words.kind(reviewed(season())), reviewed(season()).others) == ("", 0)


def test_of_one_day_a_laboratory_comes_before_a_meter_and_several_results_are_one() -> None:
    pair = sampled(30, 3600.0, 1), sampled(30, 4000.0, 2)
    found = reviewed(season(*pair, sampled(30, 9000.0, 3, method=Method.METER)))
    assert [(item.value, item.records) for item in found.readings] == [(3800.0, (1, 2))]
    assert found.results == Sides(within=1)
    assert found.others == 0


def test_what_was_not_known_by_the_day_is_not_counted() -> None:
    one = season(sampled(9, 4700.0), sampled(23, 4700.0))
    assert len(reviewed(one, BLOOM + timedelta(days=25)).readings) == 1
    assert len(reviewed(one, BLOOM + timedelta(days=26)).readings) == 2


def record(number: int, item: TissueResult | None, replaces: int | None = None, day: str = "2026-04-01") -> Record:
    content = None if item is None else result_content(item)
    return Record(number, Kind.RESULT, "north", day, f"{day}T08:00", "ann", "p", replaces, "why", content)


def test_corrected_and_voided_nitrogen_results_are_counted_once() -> None:
    one = sampled(9, 4700.0)
    other = result(0.3, 5, record=3, tissue=leaf(3.1).tissue, analyte="P")
    records = [
        record(1, one),
        record(2, one, 1),
        record(3, one, 2),  # corrected twice, one result
        record(4, one),
        record(5, one, 4),
        record(6, None, 5),  # corrected, then voided: voided
        record(7, other),
        record(8, other, 7),  # no nitrogen
        replace(record(9, one), block="south"),
        replace(record(10, None, 9), block="south"),
        record(11, one),
        record(12, None, 11, "2026-05-30"),  # written after the day
    ]
    found = reviewed(season(one), day_in(10), records=records)
    assert (found.corrected, found.voided) == (1, 1)
    later = reviewed(season(one), date(2026, 5, 30), records=records)
    assert (later.corrected, later.voided) == (1, 2)
    assert "Corrected: 1; voided: 1; not used: 0." in words.results_lines(found)


def test_results_without_a_band_say_why() -> None:
    found = reviewed(season(sampled(9, 450.0, basis=Basis.SAP)))
    assert len(found.not_used) == 1
    assert "not used: 1 (no band table in use is for petiole NO3-N, fresh sap)" in words.results_lines(found)[-1]
    assert words.results_lines(found)[0] == "No nitrogen result could be held against a band."


# --- the span -----------------------------------------------------------------------------------------------


def test_the_season_runs_from_the_plan_or_the_first_sample_to_the_day_or_its_end() -> None:
    early = season(sampled(9, 4700.0))
    assert (reviewed(early).start, reviewed(early).end, reviewed(early).over) == (BLOOM, day_in(12, 6), True)
    running = reviewed(early, day_in(6))
    assert (running.end, running.over) == (day_in(6), False)
    assert words.span(running) == "Mon 2 Mar 2026 to Mon 6 Apr 2026. The season still runs: everything is so far."
    before = on_table(STEADY, sampled(-5, 3000.0))
    assert reviewed(before).start == BLOOM - timedelta(days=5)
    assert not reviewed(early, day_in(12, 6)).over


def test_a_season_that_has_not_begun_says_so_and_suggests_nothing() -> None:
    found = reviewed(season(), BLOOM - timedelta(days=3))
    assert words.span(found) == "The season has not begun: the plan starts on Mon 2 Mar 2026."
    assert next_year(found, US) == ()
    assert words.weeks_lines(found.nitrogen) == ["No week of the plan has ended."]
    assert words.in_short(found, US)[:2] == (
        "No nitrogen result could be held against a band.",
        "Nothing was advised or decided.",
    )


# --- advised and decided ------------------------------------------------------------------------------------


def test_each_day_of_advice_is_counted_with_what_was_decided() -> None:
    one = season(result(4700.0, 2, record=1), result(4400.0, 4, record=2), result(3900.0, 6, record=3))
    made = [
        decision(day_in(2, 5), {3: 5.25}, {3: 5.25}),
        decision(day_in(4, 5), {5: 6.0}, {5: 5.25}, "change"),
        decision(day_in(7), {}, {}, "leave"),
    ]
    found = reviewed(one, decisions=made)
    assert [item.advice.on for item in found.moments] == [day_in(2, 5), day_in(4, 5), day_in(6, 5), day_in(7)]
    assert (
        words.decided(found.moments) == "decided: 1 accepted, 1 changed, 1 left, 1 advice day without a decision"
    )
    actions = [item.advice.recommendation.action for item in found.moments]
    for action in Action:
        times = "once" if actions.count(action) == 1 else f"{actions.count(action)} times"
        assert f"{action.value} {times}" in words.advised(found.moments)
    rows = [words.moment_row(item, US) for item in found.moments]
    said = ["accepted, 5.25", "changed, 6.00", "nothing that day", "left"]
    assert [row[3] for row in rows] == said
    assert rows[0][1] == "4,700 ppm, within"


def test_a_decision_made_on_another_advice_counts_as_it_was_advised_then() -> None:
    # the rules hold on this result of today's plan; then it was a raise
    one = season(result(4700.0, 2, record=1))
    made = decision(day_in(2, 5), {3: 6.0}, {3: 5.25})._replace(action=Action.RAISE, advised="Raise.")
    (item,) = found = reviewed(one, day_in(3), [made]).moments
    assert item.advice.recommendation.action is Action.HOLD
    assert words.advised(found) == "Advised: raise once, hold 0 times, cut 0 times"
    assert words.moment_row(item, US)[2] == "raise 6.00 then, now hold 5.25"
    changed = replace(item, decided=made._replace(choice="change"))
    assert words.moment_row(changed, US)[2] == "raise then, now hold 5.25"
    left = replace(item, decided=made._replace(choice="leave", rates_lb_ac={}))
    assert words.moment_row(left, US)[2] == "raise then, now hold 5.25"
    as_now = replace(item, decided=made._replace(action=Action.HOLD, advised=headline(item.advice, US)))
    assert (words.moment_row(as_now, US)[2], words.advised_then(as_now, US)) == ("hold 5.25", "")
    # the same advice in other words, for example in other units
    in_words = replace(item, decided=made._replace(action=Action.HOLD, rates_lb_ac={3: 5.25}))
    assert words.moment_row(in_words, US)[2] == "hold 5.25"


def test_a_day_with_no_week_left_to_change_asks_for_no_decision() -> None:
    # known on Saturday of week 12, the last
    one = season(result(2900.0, 11, record=1, delay=0), result(2900.0, 12, record=2))
    found = reviewed(one).moments
    assert words.decided(found) == (
        "decided: 0 accepted, 0 changed, 0 left, 1 advice day without a decision, 1 with no week of the plan "
        "left to change"
    )
    assert [words.choice(item, US) for item in found] == ["nothing that day", "no week left"]
    early = reviewed(one, day_in(12, 4)).moments
    assert words.decided(early).endswith("1 advice day without a decision")


def test_a_decision_moves_the_rate_with_its_first_week_that_differs() -> None:
    up = decision(BLOOM, {4: 7.0, 5: 7.0}, {4: 7.0, 5: 5.25})
    assert moved(up) == (up, 5, True)
    down = decision(BLOOM, {5: 3.0, 4: 5.25}, {4: 5.25, 5: 5.25})
    assert moved(down) == (down, 5, False)
    assert moved(decision(BLOOM, {4: 5.25}, {4: 5.25})) is None
    assert moved(decision(BLOOM, {4: 5.25}, {})) is None
    assert moved(decision(BLOOM, {}, {})) is None


def test_a_rate_that_never_ran_is_no_move() -> None:
    cut = decision(day_in(5, 5), {6: 4.0, 7: 4.0}, {6: 5.25, 7: 5.25})
    back = decision(day_in(5, 6), {6: 5.25, 7: 5.25, 8: 5.25}, {6: 4.0, 7: 4.0, 8: 4.0})
    assert moves_made([cut, back]) == []
    # held against the 5.25 that ran before
    more = back._replace(rates_lb_ac={6: 6.0, 7: 6.0})
    assert moves_made([cut, more]) == [(more, 6, True)]
    less = back._replace(rates_lb_ac={6: 5.0, 7: 5.0})
    assert moves_made([cut, less]) == [(less, 6, False)]
    # twice replaced before it ran
    third = back._replace(record=900, rates_lb_ac={6: 5.25, 7: 5.25}, standing_lb_ac={6: 6.0, 7: 6.0})
    assert moves_made([cut, more, third]) == []


def test_a_rate_that_ran_is_a_move_whatever_came_after() -> None:
    cut = decision(day_in(5, 5), {6: 4.0, 7: 4.0}, {6: 5.25, 7: 5.25})
    later = decision(day_in(6, 2), {7: 5.25}, {7: 4.0})
    assert moves_made([cut, later]) == [(cut, 6, False), (later, 7, True)]
    again = decision(day_in(5, 6), {6: 4.0, 7: 4.0}, {6: 4.0, 7: 4.0})
    assert moves_made([cut, again]) == [(cut, 6, False)]
    left = decision(day_in(5, 6), {}, {6: 4.0}, "leave")
    assert moves_made([cut, left]) == [(cut, 6, False)]
    # the first week of a change that was to begin in week 7 ran at another rate
    slow = decision(day_in(5, 5), {6: 5.25, 7: 4.0}, {6: 5.25, 7: 5.25})
    before_it = decision(day_in(6, 2), {7: 5.25}, {7: 4.0})
    assert moves_made([slow, before_it]) == []


# --- after a change -----------------------------------------------------------------------------------------
#
# A low result of Wednesday of week 5, the rate raised on its Saturday from week 6 on. Nitrate shows after 7 days
# (the policy's lag), so a sample tells from Monday of week 7 on. The band of weeks 5 to 8 is 3,000 to 5,000 ppm
# (UGA-2021).

LOW = result(2500.0, 5, record=1)
RAISED = {6: 6.3, 7: 6.3, 8: 6.3}
AT_PLAN = dict.fromkeys(RAISED, 5.25)
RAISE = decision(day_in(5, 5), RAISED, AT_PLAN)
IN_FORCE = change(RAISE.on, 6, day_in(9), RAISED)


def after_raise(*later: TissueResult, decisions: Sequence[Decided] = (RAISE,), **more: Any) -> Review:
    given: Row = {"applications": fed(), "changes": (IN_FORCE,)} | more
    return reviewed(season(LOW, *later, **given), decisions=decisions)


@pytest.mark.parametrize(
    ("value", "censor", "outcome"),
    [
        (3900.0, Censor.NONE, Return.BACK),
        (3000.0, Censor.NONE, Return.BACK),
        (2999.0, Censor.NONE, Return.SAME),
        (900.0, Censor.BELOW, Return.SAME),
        (8000.0, Censor.NONE, Return.OTHER),
        (3500.0, Censor.BELOW, Return.UNTOLD),
    ],
)
def test_a_change_is_judged_by_the_first_sample_that_can_show_it(
    value: float, censor: Censor, outcome: Return
) -> None:
    found = after_raise(result(value, 7, record=2, censor=censor))
    (item,) = found.changes
    assert (item.outcome, item.raised, item.side, item.before.records) == (outcome, True, Side.BELOW, (1,))
    assert item.after is not None and item.after.records == (2,)
    assert item.days == 11  # Saturday of week 5 to Wednesday of week 7
    assert not (item.changed_again or item.ran_out or item.corrected_since)
    told = outcome is not Return.UNTOLD
    assert found.came_back() == (int(outcome is Return.BACK), int(told))


def test_without_a_sample_that_can_show_it_nothing_is_told() -> None:
    found = after_raise(result(3900.0, 6, record=2, offset=6))  # Sunday of week 6, a day too soon
    (item,) = found.changes
    assert (item.outcome, item.after, item.days) == (Return.NONE, None, None)
    assert found.came_back() == (0, 0)
    assert words.came_back(0, 0, 1) == "No later result tells yet what came of 1 change."
    (first,) = after_raise(result(3900.0, 7, record=2, offset=0)).changes
    assert first.outcome is Return.BACK


def test_a_mix_of_little_nitrate_takes_the_longer_lag() -> None:
    slow = replace(products()[0], nitrate_n=1.0, share=1.0)
    one = replace(
        season(
            LOW, result(2500.0, 7, record=2), result(3900.0, 8, record=3), changes=(IN_FORCE,), applications=fed()
        ),
        products=(slow,),
    )
    (item,) = reviewed(one, decisions=(RAISE,)).changes
    assert item.after is not None and item.after.records == (3,)  # from Monday of week 8 on, 14 days


def test_the_lag_is_the_policys() -> None:
    quick = with_policy(policy(), lag_nitrate_days=0)
    (item,) = after_raise(result(3900.0, 6, record=2), the_policy=quick).changes
    assert item.after is not None and item.days == 4


def test_another_kind_of_result_does_not_judge_a_change() -> None:
    (item,) = after_raise(leaf(3.1, 7, record=2)).changes
    assert item.outcome is Return.NONE


def test_a_change_in_between_is_told_where_it_began_before_the_sample() -> None:
    sample = result(3900.0, 7, record=2)
    again = decision(day_in(6, 5), {7: 7.0, 8: 7.0}, {7: 6.3, 8: 6.3})
    later = decision(day_in(6, 5), {7: 6.3, 8: 7.0}, {7: 6.3, 8: 6.3})
    same = decision(day_in(6, 5), {7: 6.3}, {7: 6.3})
    for other, expected in ((again, True), (later, False), (same, False)):
        first = after_raise(sample, decisions=(RAISE, other)).changes[0]
        assert first.changed_again is expected
    on_its_monday = result(3900.0, 7, record=2, offset=0)
    assert not after_raise(on_its_monday, decisions=(RAISE, again)).changes[0].changed_again
    untold = after_raise(decisions=(RAISE, again)).changes[0]
    assert (untold.outcome, untold.changed_again) == (Return.NONE, True)


def test_a_change_that_ran_out_before_the_sample_says_so() -> None:
    short = change(RAISE.on, 6, day_in(7), {6: 6.3})
    (first,) = after_raise(result(3900.0, 7, record=2, offset=0), changes=(short,)).changes
    assert not first.ran_out  # on the Monday on which it ran out
    (item,) = after_raise(result(3900.0, 7, record=2), changes=(short,)).changes
    assert item.ran_out
    assert "the plan's own rate had come back by then" in words.change_words(item, US).notes


def test_a_change_to_the_plans_own_rate_does_not_run_out() -> None:
    # back from 4.00 to the plan's 5.25, in force for week 6
    back = decision(day_in(5, 5), {6: 5.25}, {6: 4.0})
    own = change(back.on, 6, day_in(7), {6: 5.25})
    (item,) = after_raise(result(3900.0, 8, record=2), decisions=(back,), changes=(own,)).changes
    assert (item.outcome, item.ran_out) == (Return.BACK, False)
    other = replace(own, rates_lb_ac={6: 5.0})
    (item,) = after_raise(result(3900.0, 8, record=2), decisions=(back,), changes=(other,)).changes
    assert item.ran_out


def test_a_change_that_never_went_out_did_not_bring_the_block_back() -> None:
    cut = decision(day_in(5, 5), {6: 4.0}, {6: 5.25})
    back = decision(day_in(5, 6), {6: 5.25}, {6: 4.0})
    in_force = (change(cut.on, 6, day_in(7), {6: 4.0}), change(back.on, 6, day_in(7), {6: 5.25}))
    found = after_raise(result(3900.0, 7, record=2), decisions=(cut, back), changes=in_force)
    assert (found.changes, found.came_back()) == ((), (0, 0))
    raised = decision(day_in(5, 6), {6: 6.3}, {6: 4.0})
    (item,) = after_raise(result(3900.0, 7, record=2), decisions=(cut, raised)).changes
    assert (item.decided, item.week, item.raised, item.changed_again) == (raised, 6, True, False)
    assert words.change_words(item, US).change == "raised to 6.30"


def test_a_cut_on_a_high_result_is_judged_from_the_other_side() -> None:
    cut = decision(day_in(5, 5), {6: 4.0}, {6: 5.25})
    high = replace(LOW, value=8000.0)
    for value, outcome in ((3900.0, Return.BACK), (8000.0, Return.SAME), (2000.0, Return.OTHER)):
        one = season(high, result(value, 7, record=2), applications=fed())
        (item,) = reviewed(one, decisions=(cut,)).changes
        assert (item.raised, item.side, item.outcome) == (False, Side.ABOVE, outcome)


def test_only_changes_on_a_result_out_of_its_band_are_judged() -> None:
    def changes(first: TissueResult | None, made: Decided) -> tuple[Any, ...]:
        return reviewed(season(*([first] if first else [])), decisions=[made]).changes

    assert len(changes(LOW, RAISE)) == 1
    assert changes(replace(LOW, value=3900.0), RAISE) == ()
    assert changes(replace(LOW, value=3500.0, censor=Censor.BELOW), RAISE) == ()
    assert changes(None, RAISE) == ()
    assert changes(LOW, decision(day_in(5, 5), AT_PLAN, AT_PLAN)) == ()
    assert changes(LOW, decision(day_in(5, 5), {}, AT_PLAN, "leave")) == ()
    assert words.came_back(0, 0, 0) == "No change was made on a result that lay out of its band."


def test_a_result_that_was_corrected_since_is_marked_and_does_not_follow_itself() -> None:
    corrected = replace(LOW, record=2, value=3900.0, sampled=day_in(7, 1))
    now, then = season(corrected, applications=fed()), season(LOW, applications=fed())
    records = [record(1, LOW), record(2, corrected, 1)]
    (item,) = reviewed(now, decisions=[RAISE], records=records, then=then).changes
    assert item.corrected_since and item.outcome is Return.NONE
    assert "corrected or voided since" in words.change_words(item, US).notes


def test_a_change_in_words_names_both_results() -> None:
    (item,) = after_raise(result(3900.0, 7, record=2)).changes
    assert words.change_words(item, US)[:6] == (
        "4 Apr",
        "raised to 6.30",
        "2,500 ppm of 1 Apr, below 3,000 to 5,000 ppm",
        "3,900 ppm of 15 Apr, within 3,000 to 5,000 ppm",
        "back in band",
        "11",
    )
    assert words.change_words(item, METRIC).change == f"raised to {6.3 * KG_HA_PER_LB_AC:.2f}"


# --- nitrogen -----------------------------------------------------------------------------------------------


def applied(*log: tuple[int, float]) -> tuple[Application, ...]:
    """Nitrogen logged on the Monday of some weeks."""
    return tuple(Application(900 + index, "north", day_in(week), n) for index, (week, n) in enumerate(log))


def test_nitrogen_is_added_up_over_the_weeks_that_ended() -> None:
    # Tuesday of week 4: weeks 1 to 3 ended, planned 3 x 5.25 = 15.75, week 2 raised to 6.30: 16.80 aimed at;
    # logged 5.25 + 4.00, week 3 not logged (5.25 counted), 2.60 in the running week
    credit = Credit("preplant", 10.0, "none", policy().confidence.evidence)
    the_plan = plan(cap=30.0, credits_=(credit,))
    raised = change(day_in(1, 2), 2, day_in(3), {2: 6.3})
    one = season(the_plan=the_plan, applications=applied((1, 5.25), (2, 4.0), (4, 2.6)), changes=(raised,))
    found = reviewed(one, day_in(4, 1)).nitrogen
    assert found.plan_lb_ac == pytest.approx(63.0)
    assert found.planned_lb_ac == pytest.approx(15.75)
    assert found.aimed_lb_ac == pytest.approx(16.8)
    assert found.logged_lb_ac == pytest.approx(11.85)
    assert found.assumed_lb_ac == pytest.approx(5.25)
    assert found.total_lb_ac == pytest.approx(10 + 11.85 + 5.25)
    assert (found.unlogged, found.off_target) == ((3,), (2,))
    lines = dict(words.nitrogen_lines(found))
    assert lines["Logged in them"] == pytest.approx(9.25)
    assert lines["Logged besides, outside the ended weeks"] == pytest.approx(2.6)
    assert lines["Left under the cap"] == pytest.approx(30 - 27.1)
    assert "2.90 left under the season cap of 30.00" in words.in_short(reviewed(one, day_in(4, 1)), US)[2]
    assert words.weeks_lines(found) == [
        "Off target by more than 10 % (the project's own threshold): 1 of 2 logged weeks (week 2).",
        "Without a log: week 3.",
    ]


def test_a_week_has_ended_on_the_day_after_its_last() -> None:
    one = season(applications=fed())
    ended = [len(reviewed(one, day).nitrogen.weeks) for day in (day_in(3, 6), day_in(4))]
    assert ended == [2, 3]


def test_a_week_is_off_target_only_beyond_a_tenth_of_it_either_way() -> None:
    # a tenth of 5.25 is 0.525
    log = applied((1, 4.725), (2, 4.72), (3, 5.775), (4, 5.78), (5, 0.0))
    found = reviewed(season(applications=log), day_in(6)).nitrogen
    assert found.off_target == (2, 4, 5)
    assert found.unlogged == ()
    assert words.weeks_lines(found)[1] == "Every week has a log."


def test_a_week_in_which_nothing_was_to_go_out_needs_no_log() -> None:
    rates = (5.25, 0.0, 5.25, 5.25, *(5.25,) * 8)
    some = reviewed(season(the_plan=plan(rates), applications=applied((1, 5.25), (3, 5.25))), day_in(5)).nitrogen
    assert some.unlogged == (4,)
    assert words.weeks_lines(some)[0].endswith("0 of 2 logged weeks.")
    every = reviewed(season(the_plan=plan(rates), applications=applied((1, 5.25), (3, 5.25))), day_in(4)).nitrogen
    assert every.unlogged == ()
    assert words.weeks_lines(every)[1] == "Every week in which something was to go out has a log."


def test_what_was_logged_besides_is_never_less_than_nothing() -> None:
    # summed in one go these four come to a little less than week by week
    four = (day_in(1), 1.7), (day_in(1, 3), 3.8), (day_in(2), 3.7), (day_in(2, 3), 1.1)
    log = tuple(Application(900 + index, "north", on, n) for index, (on, n) in enumerate(four))
    lines = dict(words.nitrogen_lines(reviewed(season(applications=log), day_in(3)).nitrogen))
    assert f"{lines['Logged besides, outside the ended weeks']:.2f}" == "0.00"
    around = (
        Application(1, "north", BLOOM - timedelta(days=1), 2.0),
        *log,
        Application(2, "north", day_in(3), 1.0),
    )
    lines = dict(words.nitrogen_lines(reviewed(season(applications=around), day_in(3)).nitrogen))
    assert lines["Logged besides, outside the ended weeks"] == pytest.approx(3.0)
    assert lines["Logged in them"] == pytest.approx(10.3)


def test_a_season_over_its_cap_says_by_how_much() -> None:
    one = season(the_plan=plan(cap=60.0), applications=fed())
    found = reviewed(one)
    assert found.nitrogen.total_lb_ac == pytest.approx(63.0)
    assert dict(words.nitrogen_lines(found.nitrogen))["Over the cap"] == pytest.approx(3.0)
    assert "3.00 over the season cap of 60.00" in words.in_short(found, US)[2]


def test_without_a_cap_none_is_told() -> None:
    found = reviewed(season(applications=fed()))
    assert "there is no season cap" in words.in_short(found, US)[2]
    assert not [text for text, _ in words.nitrogen_lines(found.nitrogen) if "ap" in text.split()]
    assert review_data(found, US)["nitrogen"]["cap"] is None


def test_a_season_without_any_log_counts_all_of_it_as_applied() -> None:
    found = reviewed(season())
    assert found.nitrogen.assumed_lb_ac == pytest.approx(63.0)
    assert words.weeks_lines(found.nitrogen)[1] == "Without a log: weeks 1 to 12."


# --- sampling -----------------------------------------------------------------------------------------------


def test_sampling_days_gaps_and_waits() -> None:
    # sampled on days 9, 16, 37 (a petiole and a leaf): gaps 7 and 21; waits 3, 8, 3 (the pair of a report once)
    slow = replace(sampled(16, 4400.0), received=BLOOM + timedelta(days=24))
    none = replace(sampled(23, 4400.0), received=None)
    one = season(sampled(9, 4700.0), slow, sampled(37, 3900.0), leaf(3.1, 6, record=9))
    found = reviewed(one).sampling
    assert (found.gaps, found.waits) == ((7, 21), (3, 3, 8))
    lines = words.sampling_lines(reviewed(one))
    assert lines == [
        "3 sampling days with a nitrogen result that has a band.",
        "Days between them: median 14, longest 21.",
        "Days from sampling to the result: median 3 (3 reports).",
    ]
    assert words.sampling_lines(reviewed(season(none)))[1:] == ["Days from sampling to the result: not noted."]
    assert reviewed(season(sampled(9, 4700.0, method=Method.METER))).sampling.waits == ()


# --- a farm -------------------------------------------------------------------------------------------------


def test_a_farm_adds_its_blocks_up_in_pounds() -> None:
    # the second block has twice the rows, so twice the pounds: (1 + 2) x 0.172176 ac x 63 lb/ac
    one = season(LOW, result(3900.0, 7, record=2), applications=fed(), changes=(IN_FORCE,))
    other = replace(one, block=block(key="south", name="South", rows=20))
    both = farm_review([reviewed(one, decisions=[RAISE]), reviewed(other)])
    area = block().area_ac()
    assert words.farm_nitrogen(both)["Planned for the weeks that ended"] == pytest.approx(3 * area * 63.0)
    assert words.farm_nitrogen(both)["Logged"] == pytest.approx(3 * area * 63.0)
    assert both.came_back == (1, 1)
    assert both.results == Sides(below=2, within=2)
    assert both.days.known == 2 * 15  # Wednesday of week 5 to Wednesday of week 7
    assert "no block is over a season cap" in words.farm_in_short(both, US)[2]


def test_a_farm_names_the_blocks_over_their_cap() -> None:
    over = season(the_plan=plan(cap=60.0), applications=fed())
    found = farm_review([reviewed(over), reviewed(replace(over, block=block(key="south", name="South")))])
    assert words.farm_in_short(found, US)[2].endswith("over the season cap: North and South.")
    assert words.farm_in_short(found, US)[0] == "No nitrogen result could be held against a band."


# --- as data ------------------------------------------------------------------------------------------------


def test_a_review_as_data_is_plain_json_in_the_seasons_units() -> None:
    one = season(
        LOW, result(3900.0, 7, record=2), the_plan=plan(cap=130.0), applications=fed(), changes=(IN_FORCE,)
    )
    found = reviewed(one, decisions=[RAISE])
    us, metric = review_data(found, US), review_data(found, METRIC)
    for data in (us, metric, farm_review_data(farm_review([found]), US)):
        json.dumps(data, allow_nan=False)
    assert (us["from"], us["to"], us["over"]) == (BLOOM.isoformat(), day_in(12, 6).isoformat(), True)
    assert us["results"]["kind"] == "petiole NO3-N, dry weight"
    assert us["came_back"] == {"back": 1, "of": 1}
    assert us["changes"][0]["after"]["value"] == 3900.0
    assert us["days"]["share_within"] == pytest.approx(found.days.share_within)
    for key in ("plan", "planned", "aimed", "logged", "total", "cap"):
        assert metric["nitrogen"][key] == pytest.approx(us["nitrogen"][key] * KG_HA_PER_LB_AC)
    assert metric["nitrogen"]["area"] == pytest.approx(us["nitrogen"]["area"] * HA_PER_ACRE)
    assert metric["units"]["total"] == "kg N/ha"
    farm = words.farm_in_short(farm_review([found]), METRIC)[2]
    assert farm.startswith(f"{63.0 * block().area_ac() * KG_PER_LB:,.1f} kg of nitrogen were logged")


def test_looking_back_twice_gives_the_same() -> None:
    one = season(LOW, result(3900.0, 7, record=2), applications=fed(), changes=(IN_FORCE,))
    assert reviewed(one, decisions=[RAISE]) == reviewed(one, decisions=[RAISE])
