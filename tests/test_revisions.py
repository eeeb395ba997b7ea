"""The plan on record: when it is put there, and what its revisions tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

import fertadjust
from fertadjust.api import Season, open_season
from fertadjust.errors import UserError
from fertadjust.record import Draft, Kind, Record
from fertadjust.revisions import changed_lines, plan_content, revisions
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.shipped import shipped_policy_files
from tests.test_season_file import BAND_TABLE, OWN_BANDS, SEASON, edited

ON = date(2026, 3, 21)
NOON = datetime(2026, 3, 21, 12, 0, tzinfo=UTC)
LATER_RATE = edited(("rate = 5.25", "rate = 4.5"))
OWN = edited(('tables = ["strawberry-petiole-dry-us-southeast"]\n', OWN_BANDS))
"""A season file that uses a band table of the grower's own."""

Write = Callable[[Season], object]


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return rewritten(tmp_path, SEASON)


def rewritten(where: Path, text: str) -> Season:
    """The season of a folder opened with another season file."""
    (where / "season.toml").write_text(text, encoding="utf-8")
    return open_season(where)


def add(season: Season, **changes: Any) -> int:
    given: dict[str, Any] = {"block": "north", "sampled": date(2026, 3, 18), "value": 2300, "petioles": 25}
    return season.add_result(today=ON, by="ann", confirm=True, **(given | changes))


def with_other_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if another version of the program had other rules."""
    key = "strawberry-annual-plasticulture"
    file = shipped_policy_files()[key]
    changed = replace(file, data=file.data | {"title": "other"})
    monkeypatch.setattr("fertadjust.revisions.shipped_policy_files", lambda: {key: changed})


def kinds(season: Season) -> list[str]:
    return [record.kind.value for record in season.records.all()]


def contents(season: Season) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in season.file.folder.iterdir()}


def refusal(call: Callable[[], object]) -> str:
    with pytest.raises(UserError) as caught:
        call()
    return str(caught.value)


# --- put on record with what is written ---------------------------------------------------------------------

WRITES: dict[str, Write] = {
    "result": add,
    "application": lambda season: season.log_application("north", ON, n=2.6, by="ann", today=ON),
    "observation": lambda season: season.observe("north", ON, "frost", by="ann", today=ON),
    "decision": lambda season: season.decide("north", "leave", ON, reason="rain", by="ann", today=ON),
}


@pytest.mark.parametrize("kind", WRITES)
def test_the_plan_is_put_on_record_before_the_first_thing_written(season: Season, kind: str) -> None:
    assert WRITES[kind](season) == 2
    plan, record = season.records.all()
    assert (plan.number, record.number, record.kind) == (1, 2, kind)
    assert (plan.kind, plan.block, plan.replaces, plan.reason) == (Kind.PLAN, "", None, "")
    assert plan.content == plan_content(season.file)
    assert plan.content["season"] == SEASON
    assert (plan.author, plan.written, plan.program) == (record.author, record.written, record.program)
    assert (plan.author, plan.program) == ("ann", f"fertadjust {fertadjust.__version__}")


def test_several_results_written_together_have_one_plan_before_them(season: Season) -> None:
    rows = [{"block": "north", "sampled": f"2026-03-{day}", "value": 2300, "petioles": 25} for day in (16, 17, 18)]
    assert season.add_results(rows, today=ON) == [2, 3, 4]
    assert kinds(season) == ["plan", "result", "result", "result"]


def test_the_plan_is_put_on_record_once(season: Season) -> None:
    for write in WRITES.values():
        write(season)
    season.correct_result(2, {"value": "2400"}, "misread", today=ON)
    season.void(3, "wrong field")
    again = open_season(season.file.folder)
    add(again, sample_id="b")
    assert kinds(again) == ["plan", *WRITES, "result", "application", "result"]


@pytest.mark.parametrize(
    "write",
    [
        *WRITES.values(),
        lambda season: season.correct_result(2, {"value": "2400"}, "misread", today=ON),
        lambda season: season.void(2, "wrong field"),
    ],
    ids=[*WRITES, "correction", "void"],
)
def test_an_edited_season_file_is_put_on_record_with_the_next_thing_written(season: Season, write: Write) -> None:
    add(season, value=2500)
    later = rewritten(season.file.folder, LATER_RATE)
    assert kinds(later) == ["plan", "result"]
    assert write(later) == 4
    assert kinds(later)[:3] == ["plan", "result", "plan"]
    plans = later.records.all(Kind.PLAN)
    assert [plan.number for plan in plans] == [1, 3]
    assert [plan.content for plan in plans] == [plan_content(season.file), plan_content(later.file)]
    assert [plan.replaces for plan in plans] == [None, None]
    add(later, sample_id="b")
    assert len(later.records.all(Kind.PLAN)) == 2


def test_a_season_file_taken_back_to_what_it_was_is_a_revision_too(season: Season) -> None:
    where = season.file.folder
    for sample, text in enumerate((SEASON, LATER_RATE, SEASON)):
        add(rewritten(where, text), sample_id=str(sample))
    assert [item.text for item in open_season(where).revisions()] == [SEASON, LATER_RATE, SEASON]


def test_a_changed_comment_is_a_revision(season: Season) -> None:
    add(season)
    later = rewritten(season.file.folder, SEASON + "# the pump is new\n")
    add(later, sample_id="b")
    assert later.revisions()[-1].changes == ("+ # the pump is new",)


def test_rules_that_changed_under_the_same_season_file_are_put_on_record(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    add(season)
    with_other_rules(monkeypatch)
    add(season, sample_id="b")
    assert kinds(season) == ["plan", "result", "plan", "result"]
    assert [(item.changes, item.other) for item in season.revisions()] == [((), ()), ((), ("the rules",))]


def test_an_own_band_table_changed_under_the_same_season_file_is_put_on_record(tmp_path: Path) -> None:
    (tmp_path / "bands").mkdir()
    table = tmp_path / "bands" / "own-petiole.toml"
    table.write_text(BAND_TABLE)
    add(rewritten(tmp_path, OWN))
    table.write_text(BAND_TABLE.replace("low = 1000", "low = 900"))
    add(open_season(tmp_path), sample_id="b")
    season = open_season(tmp_path)
    assert kinds(season) == ["plan", "result", "plan", "result"]
    assert [(item.changes, item.other) for item in season.revisions()] == [
        ((), ()),
        ((), ("the band table own-petiole",)),
    ]


# --- put on record at once ----------------------------------------------------------------------------------


def test_the_plan_is_put_on_record_at_once_with_its_reason(season: Season) -> None:
    add(season)
    later = rewritten(season.file.folder, LATER_RATE)
    assert later.record_plan("  cooler spring ", by="ben") == 3
    assert kinds(later) == ["plan", "result", "plan"]
    plan = later.records.all()[-1]
    assert (plan.reason, plan.author, plan.content) == ("cooler spring", "ben", plan_content(later.file))
    assert add(later, sample_id="b") == 4


def test_a_plan_that_stands_on_record_is_not_put_there_again(season: Season) -> None:
    assert season.record_plan("the first plan") == 1
    before = contents(season)
    assert season.record_plan("another reason") is None
    assert open_season(season.file.folder).record_plan("the first plan") is None
    assert contents(season) == before


def test_a_plan_put_on_record_with_a_result_is_not_put_there_again_for_its_reason(season: Season) -> None:
    add(season)
    before = contents(season)
    assert season.record_plan("cooler spring") is None
    assert contents(season) == before


def test_who_puts_the_plan_on_record_is_the_account_when_not_said(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("getpass.getuser", lambda: "the account")
    season.record_plan("the first plan")
    assert season.records.all()[0].author == "the account"


# --- what writes no plan ------------------------------------------------------------------------------------


def test_a_plan_on_record_is_not_voided(season: Season) -> None:
    add(season)
    later = rewritten(season.file.folder, LATER_RATE)
    later.record_plan("cooler spring")
    before = contents(later)
    for number in (1, 3):
        assert refusal(lambda number=number: later.void(number, "a mistake")) == (  # type: ignore[misc]
            "the plan on record is not voided; change season.toml instead"
        )
    assert contents(later) == before


def test_a_plan_on_record_is_no_result_to_correct(season: Season) -> None:
    add(season)
    told = refusal(lambda: season.correct_result(1, {"value": "2400"}, "misread", today=ON))
    assert "there is no standing result 1" in told


REFUSED: dict[str, Write] = {
    "result": lambda season: season.add_result(block="north", sampled=date(2026, 3, 18), value="much", today=ON),
    "unusual result": lambda season: season.add_result(
        block="north", sampled=date(2026, 3, 18), value=45000, today=ON
    ),
    "correction": lambda season: season.correct_result(9, {"value": "2400"}, "misread", today=ON),
    "void": lambda season: season.void(9, "wrong field"),
    "application": lambda season: season.log_application("north", ON, n=-1, today=ON),
    "observation": lambda season: season.observe("north", ON, "hail", today=ON),
    "decision": lambda season: season.decide("north", "leave", ON, today=ON),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_refused_writes_no_plan_either(season: Season, what: str) -> None:
    refusal(lambda: REFUSED[what](season))
    assert [path.name for path in season.file.folder.iterdir()] == ["season.toml"]
    add(season)
    later = rewritten(season.file.folder, LATER_RATE)
    before = contents(later)
    refusal(lambda: REFUSED[what](later))
    assert contents(later) == before


@pytest.mark.parametrize("replaced", [1, 2, 9])
def test_what_the_records_refuse_half_way_writes_no_plan_either(season: Season, replaced: int) -> None:
    add(season)
    season.void(2, "wrong field")
    later = rewritten(season.file.folder, LATER_RATE)
    before = contents(later)
    plan = Draft(Kind.PLAN, "", "2026-03-21", plan_content(later.file))
    good = Draft(Kind.RESULT, "north", "2026-03-21", {"value": 1})
    bad = Draft(Kind.RESULT, "north", "2026-03-21", {"value": 2}, replaced, "misread")
    refusal(lambda: later.records.append([good, bad], "ann", NOON, plan))
    assert contents(later) == before
    assert later.records.append([good], "ann", NOON, plan) == [5]


def test_no_results_to_write_write_no_plan(season: Season) -> None:
    assert season.add_results([], today=ON) == []
    assert [path.name for path in season.file.folder.iterdir()] == ["season.toml"]


LOOKS: dict[str, Write] = {
    "advice": lambda season: season.advice("north", ON),
    "advice as data": lambda season: season.advice_data("north", ON),
    "check of a result": lambda season: season.check_result(
        {"block": "north", "sampled": "2026-03-18", "value": "2300"}, ON
    ),
    "weekly table": lambda season: season.amounts("north", ON),
    "decisions": lambda season: season.decisions(),
    "history": lambda season: season.history("north", ON),
    "audit": lambda season: season.audit(),
    "revisions": lambda season: season.revisions(),
}


@pytest.mark.parametrize("what", LOOKS)
def test_looking_puts_no_plan_on_record(season: Season, what: str) -> None:
    LOOKS[what](season)
    assert [path.name for path in season.file.folder.iterdir()] == ["season.toml"]
    add(season)
    later = rewritten(season.file.folder, LATER_RATE)
    before = contents(later)
    LOOKS[what](later)
    assert contents(later) == before


# --- what the revisions tell --------------------------------------------------------------------------------


def on_record(*contents_: dict[str, Any] | None, reason: str = "") -> list[Record]:
    """Plan records 1, 3, 5 and so on, each followed by a result."""
    records: list[Record] = []
    for index, content in enumerate(contents_):
        number = 2 * index + 1
        written = f"2026-03-{number:02}T12:00:00+00:00"
        records += [
            Record(number, Kind.PLAN, "", written[:10], written, "ann", "fertadjust 1", None, reason, content),
            Record(number + 1, Kind.RESULT, "north", written[:10], written, "ben", "fertadjust 1", None, "", {}),
        ]
    return records


def the_file(where: Path, text: str = SEASON, table: str | None = None) -> SeasonFile:
    if table is not None:
        (where / "bands").mkdir(exist_ok=True)
        (where / "bands" / "own-petiole.toml").write_text(table)
    return parse_season(text, where)


def test_without_a_plan_on_record_there_are_no_revisions(season: Season) -> None:
    assert season.revisions() == revisions([]) == []
    assert revisions(on_record({})[1:]) == []


def test_the_first_revision_tells_the_plan_and_no_change(tmp_path: Path) -> None:
    (found,) = revisions(on_record(plan_content(the_file(tmp_path)), reason="the first plan"))
    assert (found.record, found.written) == (1, "2026-03-01T12:00:00+00:00")
    assert (found.by, found.program, found.reason) == ("ann", "fertadjust 1", "the first plan")
    assert (found.text, found.changes, found.other) == (SEASON, (), ())


def test_each_revision_tells_the_lines_taken_out_and_put_in_since_the_one_before(tmp_path: Path) -> None:
    third = edited(("season_cap = 130\n", ""), ("weeks = 12\n", "weeks = 12\n\n# by hand\n"), text=LATER_RATE)
    texts = (SEASON, LATER_RATE, third)
    found = revisions(on_record(*(plan_content(the_file(tmp_path, text)) for text in texts)))
    assert [item.record for item in found] == [1, 3, 5]
    assert [item.text for item in found] == list(texts)
    assert [item.changes for item in found] == [
        (),
        ("- rate = 5.25", "+ rate = 4.5"),
        ("+ ", "+ # by hand", "- season_cap = 130"),
    ]
    assert [item.other for item in found] == [(), (), ()]


def test_lines_are_told_as_they_stand_and_none_of_the_marks_between_them() -> None:
    assert changed_lines("a\nb = 1\nc\n", "a\nb = 12\nc\n") == ("- b = 1", "+ b = 12")
    assert changed_lines("- a\n? b\n", "- a\n? b\n") == ()
    assert changed_lines("a\n", "") == ("- a",)
    assert changed_lines("", "a\n") == ("+ a",)


def test_other_rules_are_told_beside_the_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = the_file(tmp_path)
    before = plan_content(file)
    with_other_rules(monkeypatch)
    first, second, third = revisions(on_record(before, plan_content(file), plan_content(file)))
    assert (first.other, second.other, third.other) == ((), ("the rules",), ())
    assert second.changes == ()


def test_another_band_table_of_the_same_name_is_told(tmp_path: Path) -> None:
    before = plan_content(the_file(tmp_path, OWN, BAND_TABLE))
    now = plan_content(the_file(tmp_path, OWN, BAND_TABLE.replace("low = 1000", "low = 900")))
    assert list(before["tables_sha256"]) == ["own-petiole"]
    first, second = revisions(on_record(before, now))
    assert (first.other, second.other) == ((), ("the band table own-petiole",))
    assert second.changes == ()


def test_a_band_table_put_in_or_taken_out_is_told_by_its_line_alone(tmp_path: Path) -> None:
    shipped, own = plan_content(the_file(tmp_path)), plan_content(the_file(tmp_path, OWN, BAND_TABLE))
    _, put_in, taken_out = revisions(on_record(shipped, own, shipped))
    assert (put_in.other, taken_out.other) == ((), ())
    assert '+ tables = ["own-petiole"]' in put_in.changes
    assert '- tables = ["own-petiole"]' in taken_out.changes


def test_own_rule_values_are_told_by_their_lines_alone(tmp_path: Path) -> None:
    before = plan_content(the_file(tmp_path))
    own = SEASON + '\n[policy]\nconfidence = { value = 0.9, reason = "careful" }\n'
    _, second = revisions(on_record(before, plan_content(the_file(tmp_path, own))))
    assert second.other == ()
    assert "+ [policy]" in second.changes


def test_rules_and_band_tables_are_told_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = plan_content(the_file(tmp_path, OWN, BAND_TABLE))
    after = the_file(tmp_path, OWN, BAND_TABLE.replace("low = 1000", "low = 900"))
    with_other_rules(monkeypatch)
    _, second = revisions(on_record(before, plan_content(after)))
    assert second.other == ("the rules", "the band table own-petiole")


def test_the_plan_as_a_record_is_the_same_for_the_same_plan(tmp_path: Path) -> None:
    assert plan_content(the_file(tmp_path)) == plan_content(the_file(tmp_path))
    assert set(plan_content(the_file(tmp_path))) == {"season", "policy_sha256", "tables_sha256"}


def test_revisions_come_back_from_the_season_folder(season: Season) -> None:
    add(season)
    later = rewritten(season.file.folder, LATER_RATE)
    later.record_plan("cooler spring", by="ben")
    first, second = open_season(season.file.folder).revisions()
    assert (first.record, first.by, first.reason, first.changes) == (1, "ann", "", ())
    assert (second.record, second.by, second.reason) == (3, "ben", "cooler spring")
    assert second.changes == ("- rate = 5.25", "+ rate = 4.5")
    assert first.written == later.records.all()[0].written
