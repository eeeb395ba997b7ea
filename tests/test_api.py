"""A season folder opened, written to and asked."""

from __future__ import annotations

import json
import math
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from matplotlib import pyplot
from matplotlib.figure import Figure
from pandas import DataFrame

import fertadjust
from fertadjust.api import Season, open_season
from fertadjust.errors import UserError
from fertadjust.observations import Sight
from fertadjust.record import Kind
from fertadjust.records import RECORDS_FILE
from fertadjust.rules.facts import Action
from fertadjust.season_book import result_fields
from fertadjust.shipped import folder
from fertadjust.stored import result_of
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.test_season_file import BAND_TABLE, SEASON, edited

SAMPLE = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
ON = date(2026, 3, 21)
"""The day on which the sample of 18 March, well below its band, arrives."""
LOW: dict[str, Any] = {
    "block": "creek",
    "sampled": date(2026, 3, 18),
    "received": ON,
    "value": 2300,
    "petioles": 25,
}


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return opened(tmp_path / "season", SAMPLE)


def opened(where: Path, text: str) -> Season:
    where.mkdir(parents=True, exist_ok=True)
    (where / "season.toml").write_text(text, encoding="utf-8")
    return open_season(where)


def contents(where: Path) -> dict[str, bytes]:
    return {str(path.relative_to(where)): path.read_bytes() for path in where.rglob("*") if path.is_file()}


@pytest.fixture
def refused(season: Season) -> Callable[..., list[tuple[str, str]]]:
    """Field and message of every fault of a call that has to leave the folder as it was."""

    def call(action: Callable[[], object]) -> list[tuple[str, str]]:
        before = contents(season.file.folder)
        with pytest.raises(UserError) as caught:
            action()
        assert contents(season.file.folder) == before
        return [(fault.key, fault.message) for fault in caught.value.faults]

    return call


Refused = Callable[[Callable[[], object]], list[tuple[str, str]]]


def add(season: Season, **changes: Any) -> int:
    return season.add_result(today=ON, **(LOW | changes))


# --- opening ------------------------------------------------------------------------------------------------


def test_the_package_offers_the_interface_by_itself(season: Season) -> None:
    again = fertadjust.open_season(str(season.file.folder))
    assert isinstance(again, fertadjust.Season)
    assert again.blocks == ["creek", "hill", "lane"]
    assert again.units is UnitSystem.US
    with pytest.raises(fertadjust.UserError):
        fertadjust.open_season(season.file.folder / "nowhere")
    with pytest.raises(AttributeError):
        fertadjust.close_season  # noqa: B018


def test_opening_and_asking_writes_nothing(season: Season) -> None:
    before = contents(season.file.folder)
    season.advice("creek", ON)
    season.amounts("creek", ON)
    season.check_result({key: str(value) for key, value in LOW.items()}, ON)
    assert season.decisions() == []
    assert contents(season.file.folder) == before


def test_a_block_is_asked_for_by_key_or_name(season: Season, refused: Refused) -> None:
    assert season.block("Hill top").block.key == season.block("hill").block.key == "hill"
    assert refused(lambda: season.block("brook")) == [
        ("block", 'there is no block "brook"; there are: creek, hill, lane')
    ]


# --- results ------------------------------------------------------------------------------------------------


def test_a_result_is_added_and_read_back(season: Season) -> None:
    assert add(season, by="ann") == 2
    (result,) = season.block("creek").results
    assert (result.record, result.value, result.sampled, result.petioles) == (2, 2300, date(2026, 3, 18), 25)
    plan, record = season.records.all()
    assert [item.kind for item in (plan, record)] == [Kind.PLAN, Kind.RESULT]
    assert (plan.author, record.author) == ("ann", "ann")
    assert plan.program == record.program == f"fertadjust {fertadjust.__version__}"
    assert season.block("hill").results == ()


def test_who_enters_is_the_account_when_not_said(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("getpass.getuser", lambda: "the account")
    add(season)
    season.decide("creek", "accept", ON)
    assert [(record.kind, record.author) for record in season.records.all()] == [
        (Kind.PLAN, "the account"),
        (Kind.RESULT, "the account"),
        (Kind.DECISION, "the account"),
    ]
    assert season.decisions()[0].by == "the account"


def test_time_of_writing_has_a_zone(season: Season) -> None:
    from datetime import datetime

    add(season)
    plan, record = season.records.all()
    assert datetime.fromisoformat(record.written).tzinfo is not None
    assert plan.written == record.written


def test_an_unusual_value_is_refused_until_confirmed(season: Season, refused: Refused) -> None:
    given = {"tissue": "leaf", "value": "35"}
    ((field, message),) = refused(lambda: add(season, **given))
    assert field == "value"
    assert message.startswith("35.00 % is unusual for leaf N, dry weight")
    assert message.endswith("Confirm it to take it.")
    assert add(season, confirm=True, **given) == 2


def test_a_result_that_stands_already_is_refused_until_confirmed(season: Season, refused: Refused) -> None:
    add(season)
    ((field, message),) = refused(lambda: add(season))
    assert field == "value"
    assert "the same result stands as record 2 already" in message
    assert add(season, confirm=True) == 3


def test_the_same_result_twice_in_one_table_is_refused_until_confirmed(season: Season, refused: Refused) -> None:
    rows = [LOW | {"sample_id": "C2"}, LOW | {"sample_id": "C2"}]
    (asked,) = refused(lambda: season.add_results(rows, today=ON))
    assert "same" in asked[1]
    assert season.add_results(rows, today=ON, confirm=True) == [2, 3]


def test_a_result_that_will_not_do_is_refused(season: Season, refused: Refused) -> None:
    faults = refused(lambda: add(season, block="brook", received=date(2026, 3, 17), value="nan"))
    assert [field for field, _ in faults] == ["block", "value", "received"]
    assert [field for field, _ in refused(lambda: season.add_result(today=ON, block="creek"))] == [
        "sampled",
        "value",
    ]


def test_a_field_that_is_not_known_is_refused(season: Season, refused: Refused) -> None:
    assert [field for field, _ in refused(lambda: add(season, petiole=25))] == ["petiole"]


def test_results_are_taken_all_or_none(season: Season) -> None:
    rows = [
        LOW,
        LOW | {"value": "-1", "petioles": "some"},
        LOW | {"tissue": "leaf", "value": "35"},
        LOW | {"sampled": "2026-03-30"},
    ]
    with pytest.raises(UserError) as caught:
        season.add_results(rows, today=ON, lines=[2, 3, 5, 6], source="report.csv")
    faults = [(fault.file, fault.line, fault.key) for fault in caught.value.faults]
    assert faults == [
        ("report.csv", 3, "petioles"),
        ("report.csv", 3, "value"),
        ("report.csv", 5, "value"),
        ("report.csv", 6, "sampled"),
        ("report.csv", 6, "received"),
    ]
    assert not (season.file.folder / RECORDS_FILE).exists()
    assert season.add_results(rows[:1], today=ON) == [2]
    assert season.add_results([], today=ON) == []


def test_a_result_is_corrected_by_a_copy(season: Season) -> None:
    add(season, value="23000", laboratory="State lab", sample_id="C2")
    number = season.correct_result(2, {"value": "2300"}, "one zero too many", by="ben", today=ON)
    assert number == 3
    (result,) = season.block("creek").results
    assert (result.record, result.value, result.laboratory, result.sample_id, result.petioles) == (
        3,
        2300,
        "State lab",
        "C2",
        25,
    )
    record = season.records.all()[2]
    assert (record.replaces, record.reason, record.author) == (2, "one zero too many", "ben")


@pytest.mark.parametrize(
    ("changes", "field", "value"),
    [
        ({"petioles": "20"}, "petioles", 20),
        ({"sampled": "2026-03-17"}, "sampled", date(2026, 3, 17)),
        ({"value": "0.24", "unit": "%"}, "value", 2400),
        ({"value": "<2,400"}, "value", 2400),
        ({"analyte": "NO3"}, "value", 2300 * 14.0067 / 62.0049),
        ({"note": "wet"}, "note", "wet"),
        ({"block": "hill"}, "block", "hill"),
        ({"received": "2026-03-20"}, "received", date(2026, 3, 20)),
    ],
)
def test_any_field_of_a_result_is_corrected(
    season: Season, changes: dict[str, str], field: str, value: object
) -> None:
    add(season)
    season.correct_result(2, changes, "misread", today=ON, confirm=True)
    (record,) = season.records.current(Kind.RESULT)
    corrected = getattr(result_of(record), field)
    assert corrected == (pytest.approx(value) if isinstance(value, float) else value)
    assert record.replaces == 2


def test_a_corrected_value_is_in_the_stored_unit_when_none_is_named(season: Season) -> None:
    add(season, value="0.42", unit="%")
    season.correct_result(2, {"value": "2400"}, "misread", today=ON)
    (result,) = season.block("creek").results
    assert (result.value, result.unit) == (2400, "ppm")


def test_a_correction_that_leaves_the_value_leaves_what_was_reported(season: Season) -> None:
    add(season, value="0.42", unit="%")
    season.correct_result(2, {"petioles": "20"}, "miscounted", today=ON)
    (result,) = season.block("creek").results
    assert result.value == pytest.approx(4200)
    assert result.reported == "0.42 % NO3-N"


def test_a_recorded_result_reads_as_it_is_typed(season: Season) -> None:
    add(season, value="<0.231", unit="%", note="wet")
    (record,) = season.records.all(Kind.RESULT)
    fields = result_fields(record)
    assert fields["value"] == "<2310.0"
    assert (fields["unit"], fields["block"], fields["note"], fields["received"]) == (
        "ppm",
        "creek",
        "wet",
        "2026-03-21",
    )
    again = season.check_result(fields | {"sample_id": "b"}, ON)
    assert again.result.value == 2310
    assert again.questions == ()


@pytest.mark.parametrize(
    ("number", "changes", "reason", "field"),
    [
        (2, {"value": "2400"}, "  ", "reason"),
        (9, {"value": "2400"}, "misread", ""),
        (2, {"value": "none"}, "misread", "value"),
        (2, {"value": "45000"}, "misread", "value"),
        (2, {"sampled": "2026-03-22"}, "misread", "sampled"),
        (2, {"basis": "sap", "unit": "%"}, "misread", "unit"),
        (2, {"valeu": "2400"}, "misread", "valeu"),
    ],
)
def test_a_correction_that_will_not_do_is_refused(
    season: Season, refused: Refused, number: int, changes: dict[str, str], reason: str, field: str
) -> None:
    add(season)
    faults = refused(lambda: season.correct_result(number, changes, reason, today=ON))
    assert field in [found for found, _ in faults]


def test_a_result_is_corrected_once_and_the_correction_again(season: Season, refused: Refused) -> None:
    add(season)
    season.correct_result(2, {"value": "2400"}, "misread", today=ON)
    ((_, message),) = refused(lambda: season.correct_result(2, {"value": "2500"}, "misread", today=ON))
    assert message == "there is no standing result 2: it never was one, or it was replaced or voided"
    season.correct_result(3, {"value": "2500"}, "misread again", today=ON)
    assert [result.value for result in season.block("creek").results] == [2500]


def test_an_application_is_no_result_to_correct(season: Season, refused: Refused) -> None:
    number = season.log_application("creek", ON, n=2.6, today=ON)
    ((_, message),) = refused(lambda: season.correct_result(number, {"value": "2"}, "x", today=ON))
    assert f"no standing result {number}" in message


# --- voids --------------------------------------------------------------------------------------------------


def test_what_was_entered_by_mistake_is_voided(season: Season, refused: Refused) -> None:
    add(season)
    season.log_application("creek", ON, n=2.6, today=ON)
    season.observe("creek", ON, "frost", today=ON)
    assert [season.void(number, "wrong field", by="ann") for number in (2, 3, 4)] == [5, 6, 7]
    block = season.block("creek")
    assert (block.results, block.applications, block.observations) == ((), (), ())
    assert [record.number for record in season.records.all()] == [1, 2, 3, 4, 5, 6, 7]
    assert "no standing record 2" in refused(lambda: season.void(2, "again"))[0][1]
    assert "no standing record 5" in refused(lambda: season.void(5, "the void itself"))[0][1]


def test_a_void_needs_a_reason(season: Season, refused: Refused) -> None:
    add(season)
    assert refused(lambda: season.void(2, " ")) == [("reason", "say why, in a few words")]


def test_a_decision_is_not_voided(season: Season, refused: Refused) -> None:
    add(season)
    number = season.decide("creek", "accept", ON)
    assert refused(lambda: season.void(number, "changed my mind")) == [
        ("", "a decision is not voided; decide again instead")
    ]


# --- the ledger ---------------------------------------------------------------------------------------------


def test_what_went_out_is_logged(season: Season) -> None:
    assert season.log_application("Creek side", date(2026, 3, 9), n=2.62, note="late", by="ann", today=ON) == 2
    season.log_application("creek", date(2026, 3, 12), products={"calcium nitrate": 2}, today=ON)
    first, second = season.block("creek").applications
    assert (first.n_lb_ac, first.on, first.note) == (2.62, date(2026, 3, 9), "late")
    area = season.block("creek").block.area_ac()
    assert second.n_lb_ac == pytest.approx(2 * 0.155 / area)
    assert second.products == {"calcium nitrate": 2}
    assert season.block("creek").ledger(ON).spent_lb_ac(ON)[0] == pytest.approx(2.62 + 2 * 0.155 / area)


def test_what_was_seen_is_kept(season: Season) -> None:
    season.observe("lane", ON, "soil nitrate", value=26, note="quick test", today=ON)
    (item,) = season.block("lane").observations
    assert (item.sight, item.value, item.note) == (Sight.SOIL_NITRATE, 26, "quick test")


def test_what_will_not_do_is_not_logged(season: Season, refused: Refused) -> None:
    after = date(2026, 3, 22)
    assert [field for field, _ in refused(lambda: season.log_application("x", after, n=-1, today=ON))] == [
        "block",
        "on",
        "n",
    ]
    assert [field for field, _ in refused(lambda: season.observe("x", after, "hail", today=ON))] == [
        "block",
        "kind",
        "on",
    ]


# --- decisions ----------------------------------------------------------------------------------------------


@pytest.fixture
def raised(season: Season) -> Season:
    """A season whose advice of the day is to raise."""
    add(season)
    assert season.advice("creek", ON).recommendation.action is Action.RAISE
    return season


def test_accepted_advice_is_what_the_block_then_runs_at(raised: Season) -> None:
    advice = raised.advice("creek", ON).recommendation
    number = raised.decide("Creek side", "accept", ON, by="ann")
    (decided,) = raised.decisions("creek")
    assert (decided.record, decided.on, decided.by, decided.choice) == (number, ON, "ann", "accept")
    assert decided.rates_lb_ac == {
        week.number: rate for week, rate in zip(advice.weeks, advice.rates_lb_ac, strict=True)
    }
    path = raised.block("creek").path(ON)
    assert [path.rate_lb_ac(week) for week in advice.weeks] == list(advice.rates_lb_ac)
    assert raised.decisions("hill") == []


def test_another_rate_is_decided_with_a_reason(raised: Season) -> None:
    raised.decide("creek", "change", ON, rate=6.0, reason=" light crop ")
    (decided,) = raised.decisions()
    assert (decided.choice, decided.reason) == ("change", "light crop")
    assert set(decided.rates_lb_ac.values()) == {6.0}
    assert decided.factor == pytest.approx(6.0 / 5.25)


def test_advice_left_leaves_the_rate(raised: Season) -> None:
    raised.decide("creek", "leave", ON, reason="rain is coming")
    (decided,) = raised.decisions()
    assert (decided.choice, decided.rates_lb_ac) == ("leave", {})
    week = raised.block("creek").plan.coming_weeks(ON)[0]
    assert raised.block("creek").path(ON).rate_lb_ac(week) == 5.25
    assert list(raised.amounts("creek", ON)["rate"][:2]) == [5.25, 5.25]


@pytest.mark.parametrize(
    ("choice", "given", "field", "message"),
    [
        (
            "change",
            {"rate": 2.9, "reason": "x"},
            "rate",
            "2.90 is outside the bounds of 3.00 to 7.00 lb N/ac/week",
        ),
        (
            "change",
            {"rate": 7.1, "reason": "x"},
            "rate",
            "7.10 is outside the bounds of 3.00 to 7.00 lb N/ac/week",
        ),
        ("change", {"rate": -1, "reason": "x"}, "rate", "-1.00 is outside the bounds"),
        ("change", {"rate": math.nan, "reason": "x"}, "rate", "nan is outside the bounds"),
        ("change", {"rate": 6}, "reason", '"change" needs a reason'),
        ("change", {"rate": 6, "reason": " "}, "reason", '"change" needs a reason'),
        ("leave", {}, "reason", '"leave" needs a reason'),
        ("change", {"reason": "x"}, "rate", 'a rate goes with "change", and "change" needs one'),
        ("accept", {"rate": 6}, "rate", 'a rate goes with "change", and "change" needs one'),
        ("leave", {"rate": 6, "reason": "x"}, "rate", 'a rate goes with "change", and "change" needs one'),
    ],
)
def test_a_decision_that_will_not_do_is_refused(
    raised: Season, refused: Refused, choice: Any, given: dict[str, Any], field: str, message: str
) -> None:
    ((found, text),) = refused(lambda: raised.decide("creek", choice, ON, **given))
    assert found == field
    assert text.startswith(message)
    assert raised.decisions() == []


def test_a_choice_is_one_of_three(raised: Season, refused: Refused) -> None:
    choice: Any = "wait"
    assert refused(lambda: raised.decide("creek", choice, ON, reason="rain is coming"))


def test_a_rate_past_the_season_cap_is_refused(tmp_path: Path) -> None:
    season = opened(tmp_path / "capped", SAMPLE.replace("season_cap = 130", "season_cap = 80"))
    add(season)
    before = contents(season.file.folder)
    with pytest.raises(UserError) as caught:
        season.decide("creek", "change", ON, rate=7.0, reason="hungry crop")
    (fault,) = caught.value.faults
    assert fault.key == "rate"
    left = 80 - (60 + 3.5 + 3.5 + 5.25)
    assert fault.message == f"2 weeks at that rate pass the season cap, which leaves {left:.2f} lb N/ac"
    assert contents(season.file.folder) == before
    assert season.decide("creek", "change", ON, rate=left / 2, reason="as much as fits") == 3


def test_one_week_past_the_season_cap_is_told_as_one(tmp_path: Path) -> None:
    season = opened(tmp_path / "capped", SAMPLE.replace("season_cap = 130", "season_cap = 65"))
    with pytest.raises(UserError, match=r"^rate: 1 week at that rate passes the season cap, which leaves 5\.00"):
        season.decide("creek", "change", date(2026, 3, 1), rate=7.0, reason="hungry crop")


def test_after_the_last_week_there_is_nothing_to_accept(raised: Season, refused: Refused) -> None:
    after = date(2026, 5, 25)
    ((_, message),) = refused(lambda: raised.decide("creek", "accept", after))
    assert message == "no week of the plan begins on 2026-05-25 or later, so there is nothing to change"
    assert raised.decide("creek", "leave", after, reason="the season is over")


def test_deciding_again_on_the_same_day_replaces_the_first(raised: Season) -> None:
    first = raised.decide("creek", "accept", ON, by="ann")
    second = raised.decide("creek", "change", ON, rate=6.0, reason="light crop", by="ben")
    assert [item.record for item in raised.decisions()] == [second]
    record = raised.records.all()[-1]
    assert (record.replaces, record.reason) == (first, "decided again on the same day")
    assert raised.block("creek").path(ON).rate_lb_ac(raised.block("creek").plan.weeks[3]) == 6.0
    third = raised.decide("creek", "leave", ON, reason="rain is coming")
    assert [item.record for item in raised.decisions()] == [third]
    for number in (first, second, third):
        assert raised.derive_again(number) == raised.advised(number)


def test_deciding_on_another_day_or_block_replaces_nothing(raised: Season) -> None:
    raised.decide("creek", "accept", ON)
    raised.decide("hill", "leave", ON, reason="no result yet")
    raised.decide("creek", "leave", date(2026, 3, 23), reason="no news")
    assert len(raised.decisions()) == 3
    assert [item.on for item in raised.decisions("creek")] == [ON, date(2026, 3, 23)]


def test_advice_does_not_change_by_its_own_decision(raised: Season) -> None:
    before = raised.advice("creek", ON)
    raised.decide("creek", "accept", ON)
    after = raised.advice("creek", ON)
    assert after.recommendation == before.recommendation
    assert (before.decided, after.decided) == (False, True)


def test_a_number_that_is_no_decision_is_told(raised: Season, refused: Refused) -> None:
    for number in (0, 1, 2, 99):  # 1 is the plan, 2 the result
        for call in (raised.derive_again, raised.advised):
            assert refused(lambda call=call, number=number: call(number)) == [  # type: ignore[misc]
                ("", f"there is no decision {number}")
            ]


# --- a decision derived again -------------------------------------------------------------------------------


@pytest.fixture
def decided(raised: Season) -> Iterator[tuple[Season, int]]:
    """A season with a decision of each choice; at the end every one is derived again and is the same."""
    for day, n in ((2, 3.5), (9, 3.5), (16, 5.25)):
        raised.log_application("creek", date(2026, 3, day), n=n, today=ON)
    raised.observe("creek", date(2026, 3, 17), "other", note="bees are flying", today=ON)
    first = raised.decide("creek", "accept", ON)
    numbers = [
        first,
        raised.decide("hill", "leave", ON, reason="no result yet"),
        raised.decide("creek", "change", date(2026, 3, 30), rate=6.0, reason="light crop"),
    ]
    stored = [raised.advised(number) for number in numbers]
    yield raised, first
    again = open_season(raised.file.folder)
    assert [again.derive_again(number) for number in numbers] == stored
    assert [again.advised(number) for number in numbers] == stored


def test_a_decision_is_derived_again_as_it_was(decided: tuple[Season, int]) -> None:
    season, number = decided
    again = season.derive_again(number)
    assert again == season.advised(number)
    assert (again["block"], again["on"], again["action"]) == ("creek", "2026-03-21", "raise")


def test_a_later_correction_does_not_change_what_was_advised(decided: tuple[Season, int]) -> None:
    season, _ = decided
    season.correct_result(2, {"value": "5200"}, "misread", today=ON)
    assert season.advice("creek", ON).recommendation.action is Action.HOLD


def test_later_records_do_not_change_what_was_advised(decided: tuple[Season, int]) -> None:
    season, _ = decided
    season.add_result(block="creek", sampled="2026-03-18", received="2026-03-20", value="6400", today=ON)
    season.log_application("creek", date(2026, 3, 19), n=2.6, today=ON)
    season.observe("creek", date(2026, 3, 19), "waterlogged", today=ON)
    season.void(3, "it was the other block")
    season.void(2, "it was the other block")


def test_another_plan_does_not_change_what_was_advised(decided: tuple[Season, int]) -> None:
    season, _ = decided
    text = edited(
        ("rate = 5.25", "rate = 4.5"),
        ("ceiling = 7.0", "ceiling = 5.0"),
        ("first_bloom = 2026-03-02", "first_bloom = 2026-02-20"),
        ('material = "potassium_nitrate"', 'grade = "13-0-46"'),
        ('"strawberry-petiole-dry-us-southeast", ', ""),
        text=SAMPLE + "\n[policy]\nconfidence = 0.95\n",
    )
    changed = opened(season.file.folder, text)
    assert changed.advice("creek", ON) != season.advice("creek", ON)


def test_metric_units_later_do_not_change_what_was_advised(decided: tuple[Season, int]) -> None:
    season, number = decided
    changed = opened(season.file.folder, SAMPLE.replace('units = "us"', 'units = "metric"'))
    assert changed.advised(number)["units"]["rate"] == "lb N/ac/week"


def test_a_block_taken_out_later_keeps_its_decisions(decided: tuple[Season, int]) -> None:
    season, number = decided
    block = SAMPLE[SAMPLE.index("[blocks.creek]") : SAMPLE.index("[blocks.hill]")]
    zone = SAMPLE[SAMPLE.index("[zones.creek]") : SAMPLE.index("# The hill is too big")]
    changed = opened(season.file.folder, edited((block, ""), (zone, ""), text=SAMPLE))
    assert changed.blocks == ["hill", "lane"]
    assert number in [item.record for item in changed.decisions()]


def test_own_bands_changed_later_do_not_change_what_was_advised(tmp_path: Path) -> None:
    where = tmp_path / "own"
    (where / "bands").mkdir(parents=True)
    table = where / "bands" / "own-petiole.toml"
    table.write_text(BAND_TABLE)
    own = 'tables = ["own-petiole"]\nfolder = "bands"\n'
    text = edited(('tables = ["strawberry-petiole-dry-us-southeast"]\n', own))
    season = opened(where, text + "\n[policy.confidence]\nvalue = 0.9\nreason = 'careful'\n")
    season.add_result(today=ON, **(LOW | {"block": "north", "value": 700, "confirm": True}))
    number = season.decide("north", "accept", ON)
    assert season.advised(number)["result"]["band"]["table"] == "own-petiole"
    table.write_text(BAND_TABLE.replace("low = 1000", "low = 100"))
    assert open_season(where).derive_again(number) == season.advised(number)
    shutil.rmtree(where / "bands")
    (where / "season.toml").write_text(SEASON)
    assert open_season(where).derive_again(number) == season.advised(number)


# --- amounts ------------------------------------------------------------------------------------------------


def test_the_weekly_table_has_the_stated_columns(raised: Season) -> None:
    frame = raised.amounts("creek", ON)
    assert isinstance(frame, DataFrame)
    assert list(frame.columns) == [
        "week", "start", "stage", "planned", "before", "rate", "block_n", "injection_n",
        "calcium nitrate [lb]", "potassium nitrate [lb]", "Epsom salt [lb]", "k2o", "ca", "total", "over_cap",
    ]  # fmt: skip
    assert list(frame["week"]) == list(range(4, 13))
    assert frame["start"][0] == "2026-03-23"
    assert frame["stage"][0] == "week 4"


def test_the_weekly_table_adds_up(raised: Season) -> None:
    frame = raised.amounts("creek", ON)
    area = 300 * 10 * 2.5 / 43560
    assert list(frame["rate"][:2]) == [7.0, 7.0]
    assert list(frame["rate"][2:]) == list(frame["planned"][2:])
    assert list(frame["before"]) == list(frame["planned"])
    assert frame["block_n"].to_list() == pytest.approx((frame["rate"] * area).to_list())
    assert (frame["injection_n"] * 2).to_list() == pytest.approx(frame["block_n"].to_list())
    nitrogen = frame["calcium nitrate [lb]"] * 0.155 + frame["potassium nitrate [lb]"] * 0.13
    assert nitrogen.to_list() == pytest.approx(frame["block_n"].to_list())
    assert (frame["calcium nitrate [lb]"] * 0.155).to_list() == pytest.approx((frame["block_n"] / 2).to_list())
    assert frame["k2o"].to_list() == pytest.approx((frame["potassium nitrate [lb]"] * 0.44).to_list())
    assert frame["ca"].to_list() == pytest.approx((frame["calcium nitrate [lb]"] * 0.19).to_list())
    assert frame["Epsom salt [lb]"].to_list() == pytest.approx([5.0 * area] * len(frame))  # 5 lb/ac beside it
    assumed = 60 + 3.5 * 2 + 5.25
    assert frame["total"].to_list() == pytest.approx((frame["rate"].cumsum() + assumed).to_list())
    assert not frame["over_cap"].any()


def test_the_weekly_table_changes_its_mix_at_fruit_set(season: Season) -> None:
    """Potassium nitrate alone to week 3, then half of the nitrogen each: rate x area x share / N fraction."""
    frame = season.amounts("creek", date(2026, 3, 1))
    area = 300 * 10 * 2.5 / 43560
    planned = [3.5] * 2 + [5.25] * 8 + [3.5] * 2
    assert list(frame["rate"]) == planned
    potassium = [rate * area / 0.13 for rate in planned[:3]] + [rate * area * 0.5 / 0.13 for rate in planned[3:]]
    assert frame["potassium nitrate [lb]"].to_list() == pytest.approx(potassium)
    calcium = [0.0] * 3 + [rate * area * 0.5 / 0.155 for rate in planned[3:]]
    assert frame["calcium nitrate [lb]"].to_list() == pytest.approx(calcium)
    assert frame["Epsom salt [lb]"].to_list() == pytest.approx([0.0] * 3 + [5.0 * area] * 9)


def test_the_weekly_table_shows_the_week_it_passes_the_cap(tmp_path: Path) -> None:
    season = opened(tmp_path / "capped", SAMPLE.replace("season_cap = 130", "season_cap = 100"))
    frame = season.amounts("creek", date(2026, 3, 1))
    assert list(frame["over_cap"]) == [
        rate < planned for rate, planned in zip(frame["rate"], frame["before"], strict=True)
    ]
    assert frame["over_cap"].any() and frame["total"].max() == pytest.approx(100)
    assert frame["over_cap"].any()


def test_before_and_after_a_decision(raised: Season) -> None:
    raised.decide("creek", "change", ON, rate=6.0, reason="light crop")
    frame = raised.amounts("creek", ON)
    assert list(frame["before"][:3]) == [5.25, 5.25, 5.25]
    assert list(frame["rate"][:3]) == [6.0, 6.0, 5.25]
    later = raised.amounts("creek", date(2026, 3, 24))
    assert later["before"][0] == 6.0
    assert later["week"][0] == 5


def test_after_the_last_week_the_table_keeps_its_columns(raised: Season) -> None:
    frame = raised.amounts("creek", date(2026, 6, 1))
    assert len(frame) == 0
    assert list(frame.columns) == list(raised.amounts("creek", ON).columns)


# --- pictures and pages -------------------------------------------------------------------------------------


def test_the_chart_is_a_figure_and_the_report_a_page(raised: Season) -> None:
    raised.decide("creek", "accept", ON)
    before = contents(raised.file.folder)
    figure = raised.chart("creek", ON)
    assert isinstance(figure, Figure)
    pyplot.close(figure)
    page = raised.report("creek", ON)
    assert page.lstrip().lower().startswith("<!doctype html>")
    assert "<svg" in page
    assert "Creek side" in page
    assert contents(raised.file.folder) == before


# --- metric seasons -----------------------------------------------------------------------------------------


@pytest.fixture
def metric(tmp_path: Path) -> Season:
    """The sample season with the same field and plan in metric numbers."""
    text = SAMPLE.replace('units = "us"', 'units = "metric"')
    for names, factor in (
        ("rate|floor|ceiling|season_cap|rate_step|n", KG_HA_PER_LB_AC),
        ("row_length|bed_top_width|bed_spacing", 0.3048),
    ):
        text = re.sub(
            rf"\b({names}) = ([\d.]+)", lambda found, by=factor: f"{found[1]} = {float(found[2]) * by!r}", text
        )
    return opened(tmp_path / "metric", text)


def test_a_metric_season_comes_to_the_same_advice(metric: Season, raised: Season) -> None:
    add(metric)
    mine, theirs = metric.advice_data("creek", ON), raised.advice_data("creek", ON)
    assert mine["units"] == {
        "rate": "kg N/ha/week",
        "total": "kg N/ha",
        "weight": "kg",
        "volume": "L",
        "area": "ha",
    }
    assert mine["action"] == theirs["action"]
    assert mine["factor"] == pytest.approx(theirs["factor"])
    assert mine["area"] == pytest.approx(theirs["area"] * 0.40468564, rel=1e-6)
    for ours, other in zip(mine["weeks"], theirs["weeks"], strict=True):
        for key in ("planned", "before", "rate", "total"):
            assert ours[key] == pytest.approx(other[key] * KG_HA_PER_LB_AC)
        for key in ("block_n", "injection_n", "k2o", "ca"):
            assert ours[key] == pytest.approx(other[key] * 0.45359237)


def test_a_metric_season_takes_and_gives_metric_numbers(metric: Season) -> None:
    add(metric)
    metric.log_application("creek", date(2026, 3, 9), n=2.9, today=ON)
    assert metric.block("creek").applications[0].n_lb_ac * KG_HA_PER_LB_AC == pytest.approx(2.9)
    number = metric.decide("creek", "change", ON, rate=6.5, reason="light crop")
    frame = metric.amounts("creek", ON)
    assert frame["rate"][0] == pytest.approx(6.5)
    assert "calcium nitrate [kg]" in frame.columns
    hectares = metric.advice_data("creek", ON)["area"]
    assert frame["block_n"][0] == pytest.approx(6.5 * hectares)
    assert metric.derive_again(number) == metric.advised(number)
    with pytest.raises(UserError, match=r"outside the bounds of 3\.36 to 7\.85 kg N/ha/week"):
        metric.decide("creek", "change", ON, rate=8, reason="hungry crop")


def test_a_metric_season_speaks_of_no_pounds(metric: Season) -> None:
    add(metric)
    data = metric.advice_data("creek", ON)
    said = json.dumps([data[key] for key in ("headline", "reasons", "how_sure", "would_change", "to_do")])
    assert "kg N/ha/week" in said
    assert "lb" not in said
    trace = [f"{line['rule']}: {line['saw']}" for line in data["trace"] if "lb" in line["saw"]]
    assert trace == []


# --- reports ------------------------------------------------------------------------------------------------

REPORT = "Sample,Date sampled,Plant part,Nitrate\nCreek,3/9/2026,petiole,2310\nN2,3/9/2026,petiole,2250\n"
ANSWERS = {"dates": "month first", "columns.nitrate": "NO3-N", "units.nitrate": "ppm"}


def test_a_report_is_imported_whole_or_not_at_all(season: Season, tmp_path: Path) -> None:
    path = tmp_path / "report.csv"
    path.write_text(REPORT)
    with pytest.raises(UserError, match="--tell"):
        season.import_report(path, today=date(2026, 3, 21))
    with pytest.raises(UserError, match=r'"N2" \(1 value\) is of no block'):
        season.import_report(path, answers=ANSWERS, today=date(2026, 3, 21))
    assert season.records.all() == []
    numbers = season.import_report(
        path, answers=ANSWERS, samples={"N2": "hill"}, by="ann", today=date(2026, 3, 21)
    )
    assert numbers == [2, 3]
    assert {result_of(item).value for item in season.records.current(Kind.RESULT)} == {2310, 2250}
