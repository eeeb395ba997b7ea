"""A stage date moved: what changes is told before, nothing of the past is rewritten, and the history says so.

Bands are those of the US Southeast table (UGA-2021); results, farm and decisions are invented.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from fertadjust import words
from fertadjust.api import Season, open_season
from fertadjust.compare import Status
from fertadjust.errors import Fault, UserError
from fertadjust.history import OtherDate, history_data
from fertadjust.record import Kind
from fertadjust.rules.facts import Action
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.stage_edit import with_date, without_date
from fertadjust.stage_move import (
    AS_IT_STOOD,
    DateMoved,
    Move,
    PlanMoved,
    known_stages,
    move,
    needed_by,
    next_stage,
    write_season,
)
from tests.test_season_file import SEASON

BLOOM, LATER = date(2026, 3, 2), date(2026, 3, 16)
TODAY = date(2026, 4, 10)
NORTH = "north"


@pytest.fixture
def lived(tmp_path: Path) -> Season:
    """North field, sampled in weeks 3, 5 and 6 from first bloom; the first two were decided on."""
    (tmp_path / "season.toml").write_text(SEASON, encoding="utf-8")
    season = open_season(tmp_path)
    for day, value in ((date(2026, 3, 18), "1400"), (date(2026, 4, 1), "<900"), (date(2026, 4, 8), "4000")):
        season.add_result(
            block=NORTH, sampled=day, received=day, value=value, petioles=25, confirm=True, today=TODAY
        )
    season.decide(NORTH, "accept", date(2026, 3, 18), by="ann", today=TODAY)
    season.decide(NORTH, "leave", date(2026, 4, 1), reason="rain", by="ann", today=TODAY)
    return season


def moved(season: Season, on: date | None = LATER, block: str | None = None, *, guess: bool = False) -> Move:
    text = season.file.text
    text = (
        without_date(text, "first_bloom", block)
        if on is None
        else with_date(text, "first_bloom", on, block, guess=guess)
    )
    return move(season.file, parse_season(text, season.file.folder), season.records.all(), TODAY)


def test_results_in_another_band_are_told_with_both(lived: Season) -> None:
    """Weeks 2 and 3 hold 4,000 to 6,000 ppm, week 1 600 to 1,500, week 4 3,500 to 6,000 (UGA-2021)."""
    found = moved(lived)
    assert [(item.sampled, item.was.place, item.now.place) for item in found.results] == [
        (date(2026, 3, 18), "week 3", "week 1"),
        (date(2026, 4, 1), "week 5", "week 3"),
        (date(2026, 4, 8), "week 6", "week 4"),
    ]
    first, second, _ = found.results
    assert (first.was.band, first.was.status) == ("4,000 to 6,000 ppm", Status.LOW)
    assert (first.now.band, first.now.status) == ("600 to 1,500 ppm", Status.SUFFICIENT)
    assert first.text == "petiole NO3-N, dry weight 1,400 ppm"
    assert second.text.endswith("<900 ppm") and second.was.status is second.now.status is Status.LOW
    assert [item.sampled for item in moved(lived, date(2026, 3, 9)).results] == [date(2026, 4, 1)]


def test_a_result_that_loses_its_band_says_why(lived: Season) -> None:
    (first, *_) = moved(lived, date(2026, 3, 30)).results
    assert (first.was.status, first.now.status, first.now.band) == (Status.LOW, None, "")
    assert "no band for NO3-N at week -1" in first.now.why_not


def test_a_decision_that_would_come_out_otherwise_is_told_as_made_and_as_it_would_be(lived: Season) -> None:
    found = moved(lived)
    first = found.decisions[0]
    stored = lived.decisions(NORTH)[0]
    assert (first.record, first.on, first.by, first.made) == (stored.record, stored.on, "ann", stored.advised)
    assert first.was == first.made and first.was.startswith("Raise nitrogen from 5.25 to")
    again = open_season_with(lived, found.after).advice(NORTH, first.on)
    assert again.recommendation.action is not Action.RAISE
    assert first.now == words.headline(again, lived.units)


def open_season_with(season: Season, file: SeasonFile) -> Season:
    """The same records under another season file."""
    other = Season(file)
    other.records = season.records
    return other


def test_the_advice_of_the_day_is_told_before_and_after(lived: Season) -> None:
    found = moved(lived)
    after = open_season_with(lived, found.after)
    assert [item.block for item in found.advice] == ["north", "south"]
    assert found.advice[0].was == words.headline(lived.advice(NORTH, TODAY), lived.units)
    assert found.advice[0].now == words.headline(after.advice(NORTH, TODAY), lived.units)


def test_only_the_blocks_that_go_by_the_date_change(lived: Season) -> None:
    found = moved(lived, block="south")
    assert found.dates == (DateMoved("south", "first_bloom", BLOOM, LATER, False, False),)
    assert (found.results, found.decisions, found.plans) == ((), (), ())
    assert [item.block for item in found.advice] == ["south"]


def test_a_guess_alone_is_a_change_and_moves_no_band(lived: Season) -> None:
    found = moved(lived, BLOOM, guess=True)
    assert DateMoved(NORTH, "first_bloom", BLOOM, BLOOM, False, True) in found.dates
    assert found.results == ()


def test_a_mix_that_goes_by_a_stage_moves_with_it(tmp_path: Path) -> None:
    text = SEASON.replace("first_bloom = 2026-03-02", "first_bloom = 2026-03-02\nfruit_set = 2026-03-23")
    text = text.replace("share = 0.5\n", "") + (
        '\n[[mixes]]\nweek = 1\nshares = { "potassium nitrate" = 1.0 }\n'
        '[[mixes]]\nstage = "fruit_set"\nshares = { "calcium nitrate" = 1.0 }\n'
    )
    before = parse_season(text, tmp_path)
    after = parse_season(with_date(text, "fruit_set", date(2026, 4, 6)), tmp_path)
    found = move(before, after, [], TODAY)
    assert found.plans == (PlanMoved("north", (), (4, 5)), PlanMoved("south", (), (4, 5)))
    assert found.results == ()
    assert found.decisions == ()


def test_the_same_move_is_told_the_same_way(lived: Season) -> None:
    assert moved(lived) == moved(lived)


# --- written ------------------------------------------------------------------------------------------------


def later_text(season: Season) -> str:
    return with_date(season.file.text, "first_bloom", LATER)


def test_what_was_decided_stays_as_it_was_made(lived: Season) -> None:
    before = lived.records.all()
    number = write_season(
        lived, later_text(lived), "stage first_bloom: 2 Mar 2026 -> 16 Mar 2026; misread", by="ann"
    )
    now = open_season(lived.file.folder)
    after = now.records.all()
    assert after[: len(before)] == before
    assert [(item.number, item.kind, item.author) for item in after[len(before) :]] == [(number, Kind.PLAN, "ann")]
    assert now.file.blocks[NORTH].stages.dates == {"first_bloom": LATER}
    for record in (item for item in before if item.kind is Kind.DECISION):
        assert now.derive_again(record.number) == now.advised(record.number)
    last = now.revisions()[-1]
    assert last.reason == "stage first_bloom: 2 Mar 2026 -> 16 Mar 2026; misread"
    assert last.changes == ("- first_bloom = 2026-03-02", "+ first_bloom = 2026-03-16")
    found, derived = now.audit()
    assert found.faults == ()
    assert [item.same for item in derived] == [True, True]
    assert derived[0].otherwise


def test_a_plan_that_was_not_on_record_goes_on_it_first(lived: Season) -> None:
    path = lived.file.folder / "season.toml"
    path.write_text(SEASON.replace("ceiling = 7.0", "ceiling = 6.5"), encoding="utf-8")
    season = open_season(lived.file.folder)
    write_season(season, later_text(season), "moved")
    assert [item.reason for item in season.revisions()] == ["", AS_IT_STOOD, "moved"]
    assert season.revisions()[1].changes == ("- ceiling = 7.0", "+ ceiling = 6.5")


def test_a_season_without_records_gets_one_for_its_plan(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text(SEASON, encoding="utf-8")
    season = open_season(tmp_path)
    assert write_season(season, later_text(season), "moved") == 1


def test_line_ends_stay_as_they_are(lived: Season) -> None:
    path = lived.file.folder / "season.toml"
    path.write_bytes(SEASON.replace("\n", "\r\n").encode())
    season = open_season(lived.file.folder)
    write_season(season, later_text(season), "moved")
    assert path.read_bytes() == later_text(season).replace("\n", "\r\n").encode()


def test_a_file_that_was_changed_meanwhile_is_left(lived: Season) -> None:
    path = lived.file.folder / "season.toml"
    text, count = later_text(lived), len(lived.records.all())
    path.write_text(SEASON + "\n# a word\n", encoding="utf-8")
    with pytest.raises(UserError, match="was changed meanwhile; nothing is written"):
        write_season(lived, text, "moved")
    assert path.read_text(encoding="utf-8") == SEASON + "\n# a word\n"
    assert len(lived.records.all()) == count


def changed_by_hand(season: Season) -> Season:
    """The season with a plan that is not on record yet."""
    path = season.file.folder / "season.toml"
    path.write_text(SEASON.replace("ceiling = 7.0", "ceiling = 6.5"), encoding="utf-8")
    return open_season(season.file.folder)


def test_a_writing_that_fails_leaves_nothing(lived: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    season = changed_by_hand(lived)
    before = season.records.all()

    def full(path: Path, text: str) -> None:
        raise UserError(Fault("cannot be written: No space left on device", str(path)))

    monkeypatch.setattr("fertadjust.stage_move.write_text", full)
    with pytest.raises(UserError, match="No space left"):
        write_season(season, later_text(season), "moved")
    assert season.records.all() == before
    assert (season.file.folder / "season.toml").read_text(encoding="utf-8") == season.file.text


def unrecorded(*_: object, **__: object) -> None:
    raise UserError("records.db: cannot be written: disk I/O error")


def test_records_that_cannot_be_written_leave_the_season_file_as_it_was(
    lived: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    season = changed_by_hand(lived)
    path = season.file.folder / "season.toml"
    path.chmod(0o600)
    stood, before = path.read_bytes(), season.records.all()
    monkeypatch.setattr("fertadjust.records.Records.append", unrecorded)
    with pytest.raises(UserError) as caught:
        write_season(season, later_text(season), "moved")
    assert [fault.message for fault in caught.value.faults] == [
        "records.db: cannot be written: disk I/O error",
        "is as it was before, since the change could not be put on record",
    ]
    assert (path.read_bytes(), path.stat().st_mode & 0o777, season.records.all()) == (stood, 0o600, before)


def test_a_season_file_that_cannot_be_put_back_is_told(lived: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    path = lived.file.folder / "season.toml"
    monkeypatch.setattr("fertadjust.records.Records.append", unrecorded)
    monkeypatch.setattr("fertadjust.stage_move.write_bytes", unrecorded)
    with pytest.raises(UserError, match="the change is written but not on record, and cannot be taken back"):
        write_season(lived, later_text(lived), "moved")
    assert path.read_text(encoding="utf-8") == later_text(lived)


# --- looked back on -----------------------------------------------------------------------------------------


def test_a_history_says_which_day_was_decided_with_another_date(lived: Season) -> None:
    assert all(item.placed_then is None for item in lived.history(NORTH, TODAY))
    write_season(lived, later_text(lived), "moved")
    season = open_season(lived.file.folder)
    first, second, third = season.history(NORTH, TODAY)
    assert first.placed_then is not None and first.placed_then.reading is not None
    assert first.placed_then.reading.band.label == "week 3"
    assert first.placed_then.comparison is not None and first.placed_then.comparison.status is Status.LOW
    assert first.placed_then.dates == (OtherDate("first_bloom", BLOOM, LATER),)
    assert first.advice.facts.primary is not None and first.advice.facts.primary.band.label == "week 1"
    assert second.placed_then is not None
    assert (third.decided, third.placed_then) == (None, None)
    data = history_data([first], season.units)[0]["placed_then"]
    assert (data["result"]["band"]["low"], data["result"]["status"]) == (4000, "low")
    assert data["stage_dates"] == [
        {
            "stage": "first_bloom",
            "then": "2026-03-02",
            "then_guess": False,
            "now": "2026-03-16",
            "now_guess": False,
        }
    ]


def test_a_date_that_is_a_guess_today_is_told_where_the_advice_turns_on_it(lived: Season) -> None:
    """18 March is 16 days after first bloom: two weeks' doubt of a guess reach week 1, one week's do not."""
    write_season(lived, with_date(lived.file.text, "first_bloom", BLOOM, guess=True), "nobody saw it")
    first, *_ = open_season(lived.file.folder).history(NORTH, TODAY)
    assert first.placed_then is not None
    assert first.placed_then.dates == (OtherDate("first_bloom", BLOOM, BLOOM, False, True),)


def test_a_date_moved_back_leaves_no_note(lived: Season) -> None:
    write_season(lived, later_text(lived), "moved")
    season = open_season(lived.file.folder)
    write_season(season, SEASON, "moved back")
    assert all(item.placed_then is None for item in open_season(lived.file.folder).history(NORTH, TODAY))


def test_a_result_that_had_no_band_then_says_so(lived: Season) -> None:
    write_season(lived, with_date(lived.file.text, "first_bloom", date(2026, 3, 30)), "moved")
    season = open_season(lived.file.folder)
    season.decide(NORTH, "accept", date(2026, 3, 19), by="ann", today=TODAY)
    write_season(season, SEASON, "moved back")
    (item,) = [one for one in open_season(lived.file.folder).history(NORTH, TODAY) if one.advice.on.day == 19]
    assert item.placed_then is not None and item.placed_then.reading is None
    assert item.advice.facts.primary is not None
    assert history_data([item], season.units)[0]["placed_then"]["result"] is None


# --- the stages of a season ---------------------------------------------------------------------------------

TOMATO = (
    SEASON.replace('name = "strawberry"', 'name = "tomato"\nrules = "general"')
    .replace('system = "annual plasticulture"', 'system = "field"')
    .replace('region = "US Southeast"', 'region = "Florida"')
    .replace("strawberry-petiole-dry-us-southeast", "tomato-petiole-sap-florida")
    .replace("first_bloom = 2026-03-02", "transplanting = 2026-03-02")
)


def test_the_next_stage_is_the_next_that_a_table_needs(tmp_path: Path) -> None:
    file = parse_season(TOMATO, tmp_path)
    assert next_stage(file, NORTH, date(2026, 3, 10)) == "first_buds"
    dated = parse_season(with_date(TOMATO, "fruit_2_inch", date(2026, 5, 1)), tmp_path)
    assert next_stage(dated, NORTH, date(2026, 4, 1)) == "first_buds"
    assert next_stage(dated, NORTH, date(2026, 5, 1)) == "first_harvest"
    over = parse_season(with_date(TOMATO, "last_harvest", date(2026, 5, 1)), tmp_path)
    assert next_stage(over, NORTH, date(2026, 5, 1)) is None


def test_what_a_season_can_date_is_the_crops_list_and_what_it_uses(tmp_path: Path) -> None:
    file = parse_season(with_date(TOMATO, "my_own", date(2026, 5, 1)), tmp_path)
    names = known_stages(file)
    assert names.index("first_flower") < names.index("first_harvest") < names.index("my_own")
    assert "first_bloom" not in names
    assert needed_by(file.tables, "third_harvest") == ["tomato-petiole-sap-florida"]
    assert needed_by(file.tables, "transplanting") == []
