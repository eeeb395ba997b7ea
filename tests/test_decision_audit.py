"""Decisions derived again: the same from what they stored, and what makes them come out otherwise today."""

from __future__ import annotations

import copy
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fertadjust.api import Season, open_season
from fertadjust.decision_audit import Derived, audit_decisions, core_of, derived_advice
from fertadjust.errors import OtherForm, UserError
from fertadjust.record import Kind, Record
from fertadjust.records import RECORDS_FILE
from fertadjust.season_book import PROGRAM
from fertadjust.shipped import shipped_policy_files
from tests.test_season_file import BAND_TABLE, OWN_BANDS, SEASON, edited

ON = date(2026, 3, 21)
LATER = date(2026, 3, 28)
RAISED = "Raise nitrogen from 5.25 to 7.00 lb N/ac/week"
OWN = edited(('tables = ["strawberry-petiole-dry-us-southeast"]\n', OWN_BANDS))
"""A season file that uses a band table of the grower's own."""
LESS = {"raise_first": 0.1, "raise_largest": 0.2}
"""Rules by which a low result raises less than the ceiling allows."""


@pytest.fixture
def season(tmp_path: Path) -> Season:
    """A low result, record 2 after the plan, and the raise that was decided on it, record 3."""
    season = rewritten(tmp_path, SEASON)
    assert add(season) == 2
    assert accept(season) == 3
    return season


def rewritten(where: Path, text: str) -> Season:
    (where / "season.toml").write_text(text, encoding="utf-8")
    return open_season(where)


def add(season: Season, **changes: Any) -> int:
    given: dict[str, Any] = {"block": "north", "sampled": date(2026, 3, 18), "value": 2300, "petioles": 25}
    return season.add_result(today=LATER, by="ann", confirm=True, **(given | changes))


def accept(season: Season, on: date = ON, block: str = "north") -> int:
    return season.decide(block, "accept", on, by="ann", today=LATER)


def derived(season: Season) -> Derived:
    """The only decision of a season, opened anew and derived again."""
    (found,) = open_season(season.file.folder).audit()[1]
    return found


def otherwise(season: Season) -> tuple[str, ...]:
    """What makes the only decision come out otherwise today; it is still the same from what it stored."""
    found = derived(season)
    assert (found.same, found.wording, found.why_not) == (True, (), "")
    assert found.otherwise
    assert found.today != found.advised
    return found.causes


def with_rules(monkeypatch: pytest.MonkeyPatch, **values: float) -> None:
    """As if another version of the program had other rules."""
    key = "strawberry-annual-plasticulture"
    file = shipped_policy_files()[key]
    data = copy.deepcopy(dict(file.data))
    for name, value in values.items():
        data[name]["value"] = value
    changed = {key: replace(file, data=data)}
    for module in ("season_rules", "revisions"):
        monkeypatch.setattr(f"fertadjust.{module}.shipped_policy_files", lambda: changed, raising=False)


def with_content(season: Season, change: Callable[[dict[str, Any]], object]) -> list[Record]:
    """The season's records, the decision's content changed."""
    every = season.records.all()
    content = copy.deepcopy(every[-1].content)
    assert content is not None
    change(content)
    return [*every[:-1], replace(every[-1], content=content)]


def derived_from(season: Season, change: Callable[[dict[str, Any]], object]) -> Derived:
    (found,) = audit_decisions(season.file, with_content(season, change), PROGRAM)
    return found


# --- nothing changed ----------------------------------------------------------------------------------------


def test_a_decision_that_nothing_changed_about_comes_out_the_same(season: Season) -> None:
    found = derived(season)
    assert (found.record, found.block, found.on, found.by, found.program) == (3, "north", ON, "ann", PROGRAM)
    assert found.advised.startswith(RAISED)
    assert found.again == found.today == found.advised
    assert (found.same, found.wording, found.why_not, found.otherwise, found.causes) == (True, (), "", False, ())


def test_without_decisions_nothing_is_derived(tmp_path: Path) -> None:
    season = rewritten(tmp_path, SEASON)
    assert season.audit()[1] == []
    add(season)
    assert season.audit()[1] == []


def test_looking_changes_nothing(season: Season) -> None:
    before = (season.file.folder / RECORDS_FILE).read_bytes()
    derived(season)
    assert (season.file.folder / RECORDS_FILE).read_bytes() == before


@pytest.mark.parametrize(("choice", "rate"), [("leave", None), ("change", 6.0)])
def test_a_decision_against_the_advice_comes_out_the_same(tmp_path: Path, choice: Any, rate: float | None) -> None:
    season = rewritten(tmp_path, SEASON)
    add(season)
    season.decide("north", choice, ON, rate=rate, reason="rain", today=LATER)
    found = derived(season)
    assert (found.same, found.otherwise, found.causes) == (True, False, ())
    assert found.advised.startswith(RAISED)


def test_later_decisions_do_not_make_an_earlier_one_come_out_otherwise(season: Season) -> None:
    accept(season, LATER)
    add(season, sampled=date(2026, 3, 27), sample_id="b", value=9000)
    found = season.audit()[1]
    assert [(item.same, item.otherwise) for item in found][:1] == [(True, False)]


def test_a_decision_made_again_on_the_same_day_is_derived_and_so_is_the_one_before(season: Season) -> None:
    season.decide("north", "leave", ON, reason="rain", today=LATER)
    found = season.audit()[1]
    assert [(item.record, item.same, item.otherwise) for item in found] == [(3, True, False), (4, True, False)]


@pytest.mark.parametrize(
    "text",
    [
        SEASON + "# the pump is new\n",
        edited(('name = "Fernhill"', 'name = "Fernhill Farm"')),
        edited(("rows = 8", "rows = 9")),
    ],
    ids=["comment", "farm", "another block"],
)
def test_a_plan_changed_where_it_does_not_matter_makes_nothing_come_out_otherwise(
    season: Season, text: str
) -> None:
    found = derived(rewritten(season.file.folder, text))
    assert (found.same, found.otherwise, found.causes) == (True, False, ())


def test_a_record_of_another_block_makes_nothing_come_out_otherwise(season: Season) -> None:
    add(season, block="south", value=9000)
    found = derived(season)
    assert (found.same, found.otherwise, found.causes) == (True, False, ())


def test_a_result_of_a_later_day_makes_nothing_come_out_otherwise(season: Season) -> None:
    add(season, sampled=date(2026, 3, 23), value=9000, sample_id="b")
    add(season, sampled=date(2026, 3, 17), received=date(2026, 3, 25), value=9000, sample_id="c")
    found = derived(season)
    assert (found.same, found.otherwise, found.causes) == (True, False, ())


# --- what makes it come out otherwise -----------------------------------------------------------------------


def test_a_changed_plan_is_told(season: Season) -> None:
    later = rewritten(season.file.folder, edited(("rate = 5.25", "rate = 4.5")))
    assert otherwise(later) == ("the plan in season.toml changed",)


def test_an_own_rule_value_set_later_is_told_as_a_change_of_the_plan(season: Season) -> None:
    later = rewritten(season.file.folder, SEASON + "\n[policy]\nraise_first = 0.1\nraise_largest = 0.2\n")
    assert otherwise(later) == ("the plan in season.toml changed",)


def test_a_block_that_is_no_longer_in_the_plan_is_told(season: Season) -> None:
    later = rewritten(season.file.folder, edited(("[blocks.north]", "[blocks.upper]")))
    found = derived(later)
    assert (found.same, found.today, found.otherwise) == (True, None, True)
    (cause,) = found.causes
    assert cause.startswith("the plan changed: ")
    assert "upper" in cause


def test_a_changed_band_table_is_told(tmp_path: Path) -> None:
    (tmp_path / "bands").mkdir()
    table = tmp_path / "bands" / "own-petiole.toml"
    table.write_text(BAND_TABLE)
    season = rewritten(tmp_path, OWN)
    add(season, value=900)
    accept(season)
    assert derived(season).causes == ()
    table.write_text(BAND_TABLE.replace("low = 1000", "low = 500"))
    assert otherwise(season) == ("the band table changed: own-petiole",)


def test_a_band_table_changed_where_it_does_not_matter_makes_nothing_come_out_otherwise(tmp_path: Path) -> None:
    (tmp_path / "bands").mkdir()
    table = tmp_path / "bands" / "own-petiole.toml"
    table.write_text(BAND_TABLE)
    season = rewritten(tmp_path, OWN)
    add(season, value=900)
    accept(season)
    table.write_text(BAND_TABLE.replace('title = "Our own petiole bands"', 'title = "Bands"'))
    assert derived(season).same is True
    assert derived(season).otherwise is False


def test_changed_rules_are_told(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    with_rules(monkeypatch, **LESS)
    assert otherwise(season) == ("the program's rules changed",)


def test_rules_changed_where_it_does_not_matter_make_nothing_come_out_otherwise(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    with_rules(monkeypatch, cut_largest=0.55)
    assert derived(season).same is True
    assert derived(season).otherwise is False


def test_changed_rules_and_a_changed_plan_are_told_apart(season: Season, monkeypatch: pytest.MonkeyPatch) -> None:
    with_rules(monkeypatch, **LESS)
    later = rewritten(season.file.folder, edited(("rate = 5.25", "rate = 4.5")))
    assert otherwise(later) == ("the program's rules changed", "the plan in season.toml changed")
    rewritten(season.file.folder, SEASON + "# only a comment\n")
    assert otherwise(later) == ("the program's rules changed",)


def test_a_corrected_record_is_told(season: Season) -> None:
    season.correct_result(2, {"value": "9000"}, "one digit misread", confirm=True, today=LATER)
    assert otherwise(season) == ("record 2 was corrected by record 4: one digit misread",)


def test_a_record_corrected_where_it_does_not_matter_makes_nothing_come_out_otherwise(season: Season) -> None:
    season.correct_result(2, {"note": "by hand"}, "a note was missing", confirm=True, today=LATER)
    found = derived(season)
    assert (found.same, found.otherwise, found.causes) == (True, False, ())


def test_a_record_corrected_twice_is_told_with_what_counts(season: Season) -> None:
    season.correct_result(2, {"note": "by hand"}, "a note was missing", confirm=True, today=LATER)
    season.correct_result(4, {"value": "9000"}, "misread", confirm=True, today=LATER)
    assert otherwise(season) == ("record 4 was corrected by record 5: misread",)


def test_a_record_corrected_and_corrected_back_makes_nothing_come_out_otherwise(season: Season) -> None:
    season.correct_result(2, {"value": "9000"}, "misread", confirm=True, today=LATER)
    season.correct_result(4, {"value": "2300"}, "it was right", confirm=True, today=LATER)
    found = derived(season)
    assert (found.same, found.otherwise, found.causes) == (True, False, ())


def test_a_voided_record_is_told(season: Season) -> None:
    season.void(2, "wrong field")
    assert otherwise(season) == ("record 2 was voided by record 4: wrong field",)


def test_a_record_entered_later_is_told(season: Season) -> None:
    assert add(season, sampled=date(2026, 3, 20), value=9000, sample_id="b") == 4
    assert otherwise(season) == ("record 4 was entered later",)


def test_a_record_entered_later_and_voided_makes_nothing_come_out_otherwise(season: Season) -> None:
    add(season, sampled=date(2026, 3, 20), value=9000, sample_id="b")
    season.void(4, "wrong farm")
    found = derived(season)
    assert (found.same, found.otherwise, found.causes) == (True, False, ())


def test_a_record_entered_later_and_corrected_is_told(season: Season) -> None:
    add(season, sampled=date(2026, 3, 18), value=2300, sample_id="b")
    season.correct_result(4, {"value": "9000"}, "misread", confirm=True, today=LATER)
    causes = otherwise(season)
    assert len(causes) == 1
    assert "record 4" in causes[0]
    assert "only together" not in causes[0]


def test_a_record_moved_to_another_block_is_told(season: Season) -> None:
    season.correct_result(2, {"block": "south"}, "wrong block", confirm=True, today=LATER)
    assert otherwise(season) == ("record 2 was corrected by record 4: wrong block",)


def test_a_record_moved_from_another_block_is_told(tmp_path: Path) -> None:
    season = rewritten(tmp_path, SEASON)
    add(season)
    add(season, block="south", sampled=date(2026, 3, 20), value=9000)
    assert accept(season) == 4
    season.correct_result(3, {"block": "north"}, "wrong block", confirm=True, today=LATER)
    assert otherwise(season) == ("record 3 was corrected by record 5: wrong block",)


def test_an_application_logged_later_is_told_where_it_matters(season: Season) -> None:
    season.log_application("north", date(2026, 3, 20), n=100, confirm=True, today=LATER)
    found = derived(season)
    assert found.same is True
    assert found.causes == (("record 4 was entered later",) if found.otherwise else ())


def test_several_causes_are_each_told(season: Season) -> None:
    season.correct_result(2, {"value": "9000"}, "misread", confirm=True, today=LATER)
    later = rewritten(season.file.folder, edited(("rate = 5.25", "rate = 4.5")))
    assert otherwise(later) == (
        "the plan in season.toml changed",
        "record 2 was corrected by record 4: misread",
    )


def test_what_matters_only_together_is_told_so(tmp_path: Path) -> None:
    """A result corrected to a value within the old band, and a band whose new limit the first value kept."""
    (tmp_path / "bands").mkdir()
    table = tmp_path / "bands" / "own-petiole.toml"
    wide = BAND_TABLE.replace("high = 3000", "high = 9000")
    table.write_text(wide)
    season = rewritten(tmp_path, OWN)
    add(season, value=6000)
    accept(season)
    season.correct_result(2, {"value": "2500"}, "misread", confirm=True, today=LATER)
    assert derived(season).otherwise is False
    table.write_text(wide.replace("low = 1000", "low = 4200"))
    assert otherwise(season) == (
        "only together: the band table changed: own-petiole; record 2 was corrected by record 4: misread",
    )


# --- another version of the program -------------------------------------------------------------------------


def of_program(content: dict[str, Any]) -> None:
    content["basis"]["program"] = "fertadjust 0.0.1"


def test_a_decision_of_another_version_that_comes_out_the_same_is_the_same(season: Season) -> None:
    found = derived_from(season, of_program)
    assert (found.program, found.same, found.why_not, found.otherwise) == ("fertadjust 0.0.1", True, "", False)


def test_a_decision_of_another_version_that_comes_out_otherwise_names_both(season: Season) -> None:
    def change(content: dict[str, Any]) -> None:
        of_program(content)
        content["advice"]["factor"] = 1.1

    found = derived_from(season, change)
    assert (found.same, found.today, found.otherwise, found.causes) == (False, None, False, ())
    assert found.why_not == f"it was made with fertadjust 0.0.1, this is {PROGRAM}"


@pytest.mark.parametrize("part", ["policy", "tables"])
def test_a_decision_with_rules_of_another_form_is_neither_the_same_nor_not(season: Season, part: str) -> None:
    def change(content: dict[str, Any]) -> None:
        of_program(content)
        basis = content["basis"]
        (basis[part] if part == "policy" else next(iter(basis[part].values())))["weather"] = "mild"

    found = derived_from(season, change)
    assert (found.again, found.same, found.today, found.otherwise) == (None, None, None, False)
    assert "made with fertadjust 0.0.1, whose rules or band tables had another form" in found.why_not
    with pytest.raises(OtherForm):
        derived_advice(with_content(season, change)[-1].content or {}, season.records.all(), season.file)


def test_a_decision_whose_season_file_no_longer_passes_the_checks_says_so(season: Season) -> None:
    def change(content: dict[str, Any]) -> None:
        of_program(content)
        content["basis"]["season"] += '\n[weather]\nmild = "yes"\n'

    found = derived_from(season, change)
    assert (found.again, found.same, found.today, found.otherwise) == (None, None, None, False)
    assert "made with fertadjust 0.0.1" in found.why_not
    assert "its season file no longer passes the checks: season.toml" in found.why_not


def test_advice_worded_otherwise_is_the_same_and_says_what_is_worded_otherwise(season: Season) -> None:
    def change(content: dict[str, Any]) -> None:
        content["advice"]["headline"] = "Give more"
        content["advice"]["reasons"] = []

    found = derived_from(season, change)
    assert (found.same, set(found.wording), found.why_not) == (True, {"headline", "reasons"}, "")
    assert (found.advised, found.otherwise) == ("Give more", False)


# --- changed behind the program's back ----------------------------------------------------------------------


def week_rate(content: dict[str, Any]) -> None:
    content["advice"]["weeks"][0]["rate"] += 0.05


def fired(content: dict[str, Any]) -> None:
    line = next(line for line in content["advice"]["trace"] if line["fired"])
    line["fired"] = False


def less_raised(content: dict[str, Any]) -> None:
    for name, value in LESS.items():
        content["basis"]["policy"][name]["value"] = value


CHANGES: dict[str, Callable[[dict[str, Any]], object]] = {
    "action": lambda content: content["advice"].update(action="hold"),
    "factor": lambda content: content["advice"].update(factor=1.0),
    "moved by": lambda content: content["advice"].update(moved_by="leaf_low"),
    "binding": lambda content: content["advice"].update(binding=["cap"]),
    "a week's rate": week_rate,
    "a week": lambda content: content["advice"]["weeks"].pop(),
    "a rule that fired": fired,
    "plan": lambda content: content["basis"].update(
        season=content["basis"]["season"].replace("rate = 5.25", "rate = 4.5")
    ),
    "rules": less_raised,
    "last record known": lambda content: content["basis"].update(up_to=1),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_decision_whose_content_was_changed_is_not_the_same(season: Season, what: str) -> None:
    found = derived_from(season, CHANGES[what])
    assert found.same is False
    assert found.why_not == "a record or the program was changed since"
    assert (found.today, found.otherwise, found.causes) == (None, False, ())


def test_a_record_that_a_decision_was_made_from_changed_in_place_makes_it_not_the_same(season: Season) -> None:
    every = season.records.all()
    every[1] = replace(every[1], content=(every[1].content or {}) | {"value": 9000.0})
    (found,) = audit_decisions(season.file, every, PROGRAM)
    assert (found.same, found.otherwise) == (False, False)


def test_the_core_of_an_advice_is_its_numbers_and_not_its_words(season: Season) -> None:
    data = season.advised(3)
    assert core_of(data) == core_of(data | {"headline": "x", "reasons": [], "cautions": []})
    assert core_of(data) == core_of(json.loads(json.dumps(data)))
    assert core_of(data) != core_of(data | {"action": "cut"})


PARTS: list[tuple[str, ...]] = [(key,) for key in ("advice", "basis", "by")]
PARTS += [("advice", key) for key in ("on", "block", "headline", "action", "factor", "weeks", "trace")]
PARTS += [("basis", key) for key in ("policy", "program", "season", "tables", "up_to")]


@pytest.mark.parametrize("path", PARTS, ids=".".join)
def test_a_decision_with_a_part_taken_out_or_spoiled_is_told_and_the_audit_goes_on(
    season: Season, path: tuple[str, ...]
) -> None:
    def spoil(data: dict[str, Any]) -> None:
        for name in path[:-1]:
            data = data[name]
        data[path[-1]] = 7

    def take_out(data: dict[str, Any]) -> None:
        for name in path[:-1]:
            data = data[name]
        del data[path[-1]]

    for change in (spoil, take_out):
        found = derived_from(season, change)
        assert found.record == 3
        assert found.same is not True or path[-1] in ("headline", "by", "program", "up_to")


@pytest.mark.parametrize("number", [1, 2, 3])
@pytest.mark.parametrize("content", ["{}", '{"value": "much"}', '{"sampled": 7}'])
def test_an_audit_of_records_changed_on_file_tells_them_and_goes_on(
    season: Season, number: int, content: str
) -> None:
    with closing(sqlite3.connect(season.file.folder / RECORDS_FILE)) as db:
        db.execute("DROP TRIGGER no_update")
        db.execute("UPDATE records SET content = ? WHERE number = ?", (content, number))
        db.commit()
    found, again = open_season(season.file.folder).audit()
    assert any(text.startswith(f"record {number}: ") for text in found.faults)
    assert all(item.same is not True for item in again) or number == 1


def test_a_decision_that_was_voided_by_hand_is_not_derived(season: Season) -> None:
    every = season.records.all()
    assert every[-1].kind is Kind.DECISION
    assert audit_decisions(season.file, [*every[:-1], replace(every[-1], content=None)], PROGRAM) == []


def test_deriving_again_by_number_gives_the_stored_advice(season: Season) -> None:
    assert season.derive_again(3) == season.advised(3)
    with pytest.raises(UserError, match="there is no decision 2"):
        season.derive_again(2)
