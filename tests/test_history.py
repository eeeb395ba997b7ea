"""The season looked back on: nothing looks ahead, and what followed is what came after."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fertadjust import words
from fertadjust.api import Season, open_season
from fertadjust.compare import Side, Status
from fertadjust.history import Moment, history_data, moments
from fertadjust.ledger import Application
from fertadjust.plan import Change
from fertadjust.rules.facts import Action
from fertadjust.season import BlockSeason
from fertadjust.stored import Decided
from fertadjust.tissue import Basis, Method, Tissue, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.rules import fed, leaf
from tests.support import day_in, policy, result, season, with_policy
from tests.test_season_file import SEASON

US, METRIC = UnitSystem.US, UnitSystem.METRIC
END = day_in(12, 6)

Step = tuple[int, Callable[[Season, date], object]]
"""Day of March from which on a step is taken, counted on into April, and the step."""


# --- a season entered record by record ----------------------------------------------------------------------


class _Clock(datetime):
    today_is = date(2026, 3, 1)

    @classmethod
    def now(cls, tz: Any = None) -> _Clock:
        day = cls.today_is
        return cls(day.year, day.month, day.day, 18, 30, tzinfo=tz)


def march(day: int) -> date:
    return date(2026, 3, 1) + timedelta(days=day - 1)


@pytest.fixture
def live(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Season]:
    """A season folder lived step by step, each record written on its own day, up to a day."""
    monkeypatch.setattr("fertadjust.season_book.datetime", _Clock)

    def build(steps: Sequence[Step], up_to: int = 99) -> Season:
        where = tmp_path / f"up-to-{up_to}"
        where.mkdir()
        (where / "season.toml").write_text(SEASON)
        made = open_season(where)
        for day, step in steps:
            if day <= up_to:
                monkeypatch.setattr(_Clock, "today_is", march(day))
                step(made, march(day))
        return made

    return build


def found(value: object, sampled: int, **more: Any) -> Callable[[Season, date], object]:
    """A result that comes in on the day of the step."""

    def step(made: Season, day: date) -> object:
        given: dict[str, Any] = {"block": "north", "petioles": 25, "received": day} | more
        return made.add_result(sampled=march(sampled), value=value, confirm=True, today=day, **given)

    return step


def fed_n(n: float) -> Callable[[Season, date], object]:
    return lambda made, day: made.log_application("north", day, n=n, today=day)


def corrected(number: int, **changes: str) -> Callable[[Season, date], object]:
    return lambda made, day: made.correct_result(number, changes, "misread", confirm=True, today=day)


def voided(number: int) -> Callable[[Season, date], object]:
    return lambda made, day: made.void(number, "wrong field")


def seen(sight: str) -> Callable[[Season, date], object]:
    return lambda made, day: made.observe("north", day, sight, today=day)


def decided(choice: Any, rate: float | None = None) -> Callable[[Season, date], object]:
    return lambda made, day: made.decide("north", choice, day, rate=rate, reason="so", by="ann", today=day)


LIVED: tuple[Step, ...] = (
    # with the first of them the plan is put on record, as 1
    (2, fed_n(2.6)),  # 2
    (5, fed_n(2.6)),  # 3
    (9, fed_n(5.25)),  # 4
    (12, found(4700, 10)),  # 5
    (12, found(3.1, 10, tissue="leaf")),  # 6
    (16, fed_n(5.25)),  # 7
    (21, found(9800, 18)),  # 8, misread
    (21, decided("accept")),  # 9
    (23, corrected(8, value="2300")),  # 10, the report says so
    (23, fed_n(3.0)),  # 11
    (24, decided("change", 6.5)),  # 12
    (25, seen("waterlogged")),  # 13
    (26, corrected(10, value="2350")),  # 14
    (27, voided(13)),  # 15, it was the other field
    (28, voided(7)),  # 16, never went out
    (30, fed_n(6.5)),  # 17
    (34, found(8200, 32)),  # 18, of another field
    (35, decided("leave")),  # 19
    (36, voided(18)),  # 20
    (37, found(2100, 32)),  # 21
    (37, decided("accept")),  # 22
    (37, decided("change", 7.0)),  # 23, in the place of 22
    (45, found(3800, 43)),  # 24
    (46, corrected(6, value="2.5")),  # 25
)


def test_every_day_looked_back_on_gets_the_advice_that_was_given_on_it(live: Callable[..., Season]) -> None:
    whole = live(LIVED)
    last = LIVED[-1][0] + 4
    history = {item.advice.on: item.advice for item in whole.history("north", march(last))}
    assert set(history) == {march(day) for day in (12, 21, 24, 34, 35, 37, 45)}
    actions = []
    for day in range(1, last + 1):
        then = live(LIVED, day).advice("north", march(day))
        assert whole.advice("north", march(day)) == then, day
        assert history.get(march(day), then) == then, day
        actions.append(then.recommendation.action)
    assert set(actions) == set(Action)


def test_a_history_of_an_earlier_day_is_the_one_that_was_shown_on_it(live: Callable[..., Season]) -> None:
    whole = live(LIVED)
    for day in (11, 12, 20, 21, 22, 24, 25, 34, 35, 38, 46, 50):
        then = live(LIVED, day).history("north", march(day))
        assert whole.history("north", march(day)) == then, day
        assert all(item.advice.on <= march(day) and item.followed.end <= march(day) for item in then)


def test_a_misread_result_is_advised_on_as_it_was_read_until_it_is_corrected(live: Callable[..., Season]) -> None:
    on_21, on_24 = live(LIVED).history("north", march(50))[1:3]
    first, second = on_21.advice.facts.primary, on_24.advice.facts.primary
    assert first is not None and second is not None
    assert (on_21.advice.recommendation.action, first.value) == (Action.CUT, 9800)
    assert (on_24.advice.recommendation.action, second.value) == (Action.RAISE, 2300)


def test_a_result_whose_day_is_corrected_later_does_not_follow_itself(live: Callable[..., Season]) -> None:
    made = live(
        [
            (12, found(4700, 10)),
            (14, corrected(2, sampled="2026-03-11")),
            (15, corrected(3, sampled="2026-03-12")),
            (26, found(3900, 24)),
        ]
    )
    first, last = made.history("north", march(30))
    assert first.advice.facts.primary is not None and first.advice.facts.primary.sampled == march(10)
    assert first.followed.reading is not None and first.followed.reading.sampled == march(24)
    assert last.followed.reading is None


def test_what_was_entered_late_counts_as_if_it_had_been_entered_in_time(live: Callable[..., Season]) -> None:
    late = live([(30, found(9800, 18, received=march(21))), (31, corrected(2, value="2300"))])
    (item,) = late.history("north", march(40))
    reading = item.advice.facts.primary
    assert reading is not None
    assert (item.advice.on, reading.value) == (march(21), 2300)


def test_a_decision_made_on_another_advice_than_comes_out_now_says_so(live: Callable[..., Season]) -> None:
    steps = [*LIVED[:8], (50, found(2300, 18, received=march(20)))]
    at_once = live(LIVED[:8]).history("north", march(60))
    assert [item.comes_out_otherwise(US) for item in at_once] == [False, False]
    late = live(steps, up_to=60).history("north", march(60))
    assert [item.comes_out_otherwise(US) for item in late if item.decided is not None] == [True]
    data = history_data(late, US)[-1]["decided"]
    assert data["comes_out_otherwise"] is True
    assert data["advised_then"] == words.headline(at_once[1].advice, US)


def test_looking_back_writes_nothing(live: Callable[..., Season]) -> None:
    made = live(LIVED)
    before = {path.name: path.read_bytes() for path in made.file.folder.iterdir()}
    made.history("north", march(50))
    assert {path.name: path.read_bytes() for path in made.file.folder.iterdir()} == before
    assert made.history("south", march(50)) == []


# --- the days of a history ----------------------------------------------------------------------------------


def choice(on: date, what: str = "accept", rates: dict[int, float] | None = None, record: int = 800) -> Decided:
    return Decided(record, on, "ann", what, Action.HOLD, "Hold.", "so", rates or {}, 1.0)


def back(block: BlockSeason, on: date = END, decisions: Sequence[Decided] = ()) -> list[Moment]:
    """The history of a season of which nothing was corrected."""
    return moments(lambda day: block, {item.known_on for item in block.results}, on, decisions, {})


def days(history: Sequence[Moment]) -> list[date]:
    return [item.advice.on for item in history]


def test_without_results_and_decisions_there_is_no_history() -> None:
    assert back(season(applications=fed())) == []
    assert history_data([], US) == []


def test_there_is_one_entry_for_each_day_that_a_nitrogen_result_came_or_a_decision_was_made() -> None:
    came = (result(2500, 4), result(2600, 4, record=2), result(0.3, 5, record=3, tissue=Tissue.LEAF, analyte="P"))
    block = season(*came, leaf(3.1, 6), applications=fed())
    history = back(block, decisions=[choice(day_in(4, 5)), choice(day_in(8))])
    assert days(history) == [day_in(4, 5), day_in(6, 5), day_in(8)]
    assert [None if item.decided is None else item.decided.on for item in history] == [
        day_in(4, 5),
        None,
        day_in(8),
    ]


def test_a_result_is_entered_on_the_day_it_came_or_was_sampled_when_that_was_not_noted() -> None:
    unknown = replace(result(2500, 4), received=None)
    assert days(back(season(unknown, result(2500, 6, record=2, delay=9)))) == [unknown.sampled, day_in(6, 11)]


@pytest.mark.parametrize(("on", "count"), [(4, 0), (5, 1), (6, 1), (18, 1), (19, 2), (40, 3)])
def test_no_day_after_the_one_looked_back_from_is_shown(on: int, count: int) -> None:
    block = season(result(2500, 4), result(2600, 6, record=2), applications=fed())
    history = back(block, day_in(4, on), [choice(day_in(9, 2))])
    assert len(history) == count
    assert all(item.advice.on <= day_in(4, on) for item in history)


# --- what followed ------------------------------------------------------------------------------------------


def following(item: Moment) -> int | None:
    return None if item.followed.reading is None else item.followed.reading.records[0]


def test_what_followed_is_the_next_result_of_the_same_kind_with_its_place_in_its_own_band() -> None:
    block = season(result(2500, 4), leaf(3.1, 5, record=2), result(3900, 8, record=3), applications=fed())
    history = back(block, decisions=[choice(day_in(5))])
    assert [following(item) for item in history] == [3, 3, 3, None]
    comparison = history[0].followed.comparison
    assert comparison is not None and comparison.status is Status.SUFFICIENT
    assert comparison == history[3].advice.recommendation.comparison
    assert history[3].followed.comparison is None


LATE = (
    result(4400, 4),
    result(4100, 6, record=2),
    result(1500, 5, record=3, delay=24),  # came when the sample of week 6 had been decided on
    result(4000, 10, record=4),
)


def test_a_late_result_that_never_decided_follows_the_sample_before_it() -> None:
    history = back(season(*LATE, applications=fed()))
    assert [item.advice.facts.primary.records for item in history if item.advice.facts.primary] == [
        (1,),
        (2,),
        (2,),
        (4,),
    ]
    assert [following(item) for item in history] == [3, 4, 4, None]
    alone = season(LATE[2], applications=fed()).advice(LATE[2].known_on).recommendation
    assert history[0].followed.comparison == alone.comparison
    assert alone.comparison is not None and alone.comparison.status is Status.LOW
    reading = history[0].followed.reading
    assert reading is not None and reading.band.label == "week 5"


def test_a_late_result_follows_only_once_it_has_come() -> None:
    block = season(*LATE, applications=fed())
    came = LATE[2].known_on
    for on, first in ((came - timedelta(days=1), 2), (came, 3), (END, 3)):
        assert following(back(block, on)[0]) == first, on
    assert following(back(block, LATE[1].known_on - timedelta(days=1))[0]) is None


def test_results_of_one_later_day_follow_together_and_a_laboratory_before_a_meter() -> None:
    meter = result(9000, 6, record=4, method=Method.METER)
    pair = (result(3600, 6, record=2), result(4000, 6, record=3, delay=9))
    block = season(result(4400, 4), meter, *pair, applications=fed())
    (first, *_) = back(block, pair[1].known_on)
    reading = first.followed.reading
    assert reading is not None and (reading.records, reading.value) == ((2, 3), 3800)
    (early, *_) = back(block, pair[1].known_on - timedelta(days=1))
    assert early.followed.reading is not None and early.followed.reading.records == (2,)


def test_what_followed_is_judged_at_the_seasons_own_confidence() -> None:
    both = (result(4400, 4), result(2500, 6, record=2))
    for confidence, sure in ((0.8, Side.BELOW), (0.999, None)):
        block = season(*both, applications=fed(), the_policy=with_policy(policy(), confidence=confidence))
        comparison = back(block)[0].followed.comparison
        assert comparison is not None and comparison.sure is sure, confidence
        assert comparison == block.advice(both[1].known_on).recommendation.comparison


def test_a_sap_result_does_not_follow_a_dry_one() -> None:
    tables = ("strawberry-petiole-dry-us-southeast", "strawberry-petiole-sap-florida")
    both = (result(2500, 4), result(450, 6, record=2, basis=Basis.SAP))
    history = back(season(*both, result(3900, 8, record=3), tables=tables, applications=fed()))
    assert [item.advice.facts.primary.basis if item.advice.facts.primary else None for item in history] == [
        Basis.DRY,
        Basis.SAP,
        Basis.DRY,
    ]
    assert [following(item) for item in history] == [3, None, None]


def test_a_day_without_a_result_is_followed_by_the_first_of_any_kind() -> None:
    history = back(season(result(2500, 4), applications=fed()), decisions=[choice(day_in(2))])
    assert history[0].advice.facts.primary is None
    assert following(history[0]) == 1


def test_an_older_sample_that_came_late_does_not_follow_a_newer_one() -> None:
    late: TissueResult = result(2600, 3, record=2, delay=20)
    history = back(season(result(2500, 4), late, applications=fed()))
    assert days(history) == [day_in(4, 5), late.known_on]
    assert [following(item) for item in history] == [None, None]


def test_nitrogen_aimed_at_and_logged_is_counted_from_a_day_to_the_one_before_the_next() -> None:
    # Saturday of week 4 to Friday of week 6: two days of week 4, all of week 5, five days of week 6
    log = [(4, 4, 9.0), (4, 5, 1.0), (5, 0, 2.0), (5, 6, 0.5), (6, 4, 0.25), (6, 5, 8.0)]
    applied = tuple(Application(900 + n, "north", day_in(w, d), lb) for n, (w, d, lb) in enumerate(log))
    raised = Change(day_in(4, 5), day_in(5), day_in(5, 6), 1.2, {5: 6.3}, 800)
    block = season(result(2500, 4), result(3900, 6, record=2), applications=applied, changes=(raised,))
    first, second = back(block, day_in(7, 1), [choice(day_in(4, 5), rates={5: 6.3})])
    assert first.followed.end == day_in(6, 4)
    assert first.followed.applied_lb_ac == pytest.approx(1.0 + 2.0 + 0.5 + 0.25)
    assert first.followed.aimed_lb_ac == pytest.approx(2 / 7 * 5.25 + 6.3 + 5 / 7 * 5.25)
    assert second.followed.end == day_in(7, 1)
    assert second.followed.applied_lb_ac == pytest.approx(8.0)
    assert second.followed.aimed_lb_ac == pytest.approx(4 / 7 * 5.25)


def test_nothing_is_aimed_at_after_the_plan() -> None:
    block = season(result(2500, 12, delay=2), applications=())
    (item,) = back(block, day_in(20))
    assert item.followed.end == END
    assert item.followed.aimed_lb_ac == pytest.approx(3 / 7 * 5.25)
    (late,) = back(season(result(2500, 12, delay=20)), day_in(20))
    assert (late.followed.end, late.followed.aimed_lb_ac) == (late.advice.on, 0.0)


# --- as data ------------------------------------------------------------------------------------------------


def test_a_history_as_data_is_plain_json_in_the_seasons_units() -> None:
    block = season(result(2500, 4), result(3900, 6, record=2), applications=fed())
    history = back(block, decisions=[choice(day_in(4, 5), "change", {5: 6.3, 6: 6.0})])
    us, metric = history_data(history, US), history_data(history, METRIC)
    for data in (us, metric):
        assert json.loads(json.dumps(data, allow_nan=False)) == [
            item | {"decided": item["decided"] and item["decided"] | {"rates": _text_keys(item)}} for item in data
        ]
    first, second = us
    assert set(first) == {"on", "result", "placed_then", "advised", "decided", "followed"}
    assert first["on"] == day_in(4, 5).isoformat()
    assert (first["result"]["value"], first["result"]["band"]["place"]) == (2500, "week 4")
    found_ = history[0].advice.recommendation
    assert first["advised"] == {
        "action": found_.action.value,
        "headline": words.headline(history[0].advice, US),
        "before": list(found_.standing_rates_lb_ac),
        "rates": list(found_.rates_lb_ac),
        "moved_by": found_.moved_by,
        "binding": found_.binding,
        "rules": [line.rule for line in found_.trace if line.fired],
    }
    assert first["decided"] == {
        "choice": "change",
        "by": "ann",
        "reason": "so",
        "rates": {5: 6.3, 6: 6.0},
        "advised_then": "Hold.",
        "comes_out_otherwise": True,
    }
    assert (second["decided"], second["followed"]["result"]) == (None, None)
    assert first["followed"]["result"]["value"] == 3900
    assert first["followed"]["until"] == day_in(6, 4).isoformat()
    here, there = first["followed"], metric[0]["followed"]
    assert there["aimed"] == pytest.approx(here["aimed"] * KG_HA_PER_LB_AC)
    assert there["applied"] == pytest.approx(here["applied"] * KG_HA_PER_LB_AC)
    assert metric[0]["decided"]["rates"][5] == pytest.approx(6.3 * KG_HA_PER_LB_AC)
    assert metric[0]["advised"]["rates"] == pytest.approx([rate * KG_HA_PER_LB_AC for rate in found_.rates_lb_ac])


def _text_keys(item: dict[str, Any]) -> dict[str, float]:
    return {str(week): rate for week, rate in item["decided"]["rates"].items()}


def test_a_decision_made_on_the_same_advice_does_not_come_out_otherwise() -> None:
    block = season(result(2500, 4), applications=fed())
    told = words.headline(block.advice(day_in(4, 5)), US)
    same = choice(day_in(4, 5))._replace(advised=told)
    (item,) = back(block, decisions=[same])
    assert not item.comes_out_otherwise(US)
    (none,) = back(block)
    assert not none.comes_out_otherwise(US)
