"""``plan``, ``audit``, ``backup``, ``restore``, ``export`` and ``import``."""

from __future__ import annotations

import json
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.records import RECORDS_FILE
from fertadjust.revisions import plan_content
from tests.cli.conftest import TODAY, Refused, Run, contents, too_wide
from tests.test_season_file import BAND_TABLE


@pytest.fixture
def low(run: Run, fresh: Path) -> Path:
    """A season with a low result, record 2 after the plan, and the raise decided on it, record 3."""
    run("results", "add", "--block", "creek", "--sampled", "2026-03-18", "--received", "2026-03-21",
        "--value", "2300", "--petioles", "25", "--by", "ann", "--season", fresh)  # fmt: skip
    run("decide", "--block", "creek", "--on", "2026-03-21", "--accept", "--by", "ann", "--season", fresh)
    return fresh


def words(text: str) -> str:
    return " ".join(text.split())


def tamper(where: Path, statement: str) -> None:
    with closing(sqlite3.connect(where / RECORDS_FILE)) as db:
        (guard,) = db.execute("SELECT sql FROM sqlite_master WHERE name = 'no_update'").fetchone()
        db.execute("DROP TRIGGER no_update")
        db.execute(statement)
        db.execute(guard)
        db.commit()


def edit(where: Path, old: str, new: str) -> None:
    text = (where / "season.toml").read_text()
    assert old in text
    (where / "season.toml").write_text(text.replace(old, new, 1))


# --- audit --------------------------------------------------------------------------------------------------


def test_an_audit_of_records_in_order_tells_count_days_and_seal(run: Run, low: Path) -> None:
    before = contents(low)
    output = run("audit", "--season", low).output
    text = words(output)
    assert text.startswith("3 records, written ")
    assert "Database and chain are in order." in text
    link = open_season(low).records.all()[-1].link
    assert f"Seal: 3:{link[:16]}" in text
    assert "Decision 3, Sat 21 Mar 2026, block creek: derived again, the same." in text
    assert "1 of 1 decisions derived again as stored." in text
    assert "NOT IN ORDER" not in text
    assert too_wide(output) == []
    assert contents(low) == before


def test_an_audit_of_a_season_without_records_creates_nothing(run: Run, fresh: Path) -> None:
    before = contents(fresh)
    output = run("audit", "--season", fresh).output
    assert output == "There are no records yet.\nThere are no decisions yet.\n"
    assert contents(fresh) == before


def test_the_sample_season_is_in_order(run: Run, lived: Path) -> None:
    output = run("audit", "--season", lived).output
    assert "NOT IN ORDER" not in output
    assert "DIFFERS" not in output
    assert output.endswith("19 of 19 decisions derived again as stored.\n")
    assert too_wide(output) == []


def test_an_audit_as_json_holds_records_and_decisions(run: Run, low: Path) -> None:
    data = json.loads(run("audit", "--season", low, "--json").output)
    assert (data["count"], data["faults"], data["readable"], data["plan_on_record"], data["status"]) == (
        3, [], True, True, 0,
    )  # fmt: skip
    (item,) = data["decisions"]
    assert (item["record"], item["block"], item["on"], item["same"], item["otherwise"]) == (
        3, "creek", "2026-03-21", True, False,
    )  # fmt: skip


def test_a_seal_that_holds_is_in_order(run: Run, low: Path) -> None:
    seal = json.loads(run("audit", "--season", low, "--json").output)["seal"]
    run("results", "add", "--block", "hill", "--sampled", "2026-03-18", "--value", "4000", "--petioles", "25",
        "--season", low)  # fmt: skip
    run("audit", "--seal", seal, "--season", low)


def test_a_seal_that_no_longer_holds_ends_with_status_4(run: Run, low: Path) -> None:
    output = run("audit", "--seal", "2:0123456789abcdef", "--season", low, code=4).output
    told = "NOT IN ORDER: seal: record 2, or one before it, is not what it was when the seal was noted"
    assert told in words(output)
    assert "Seal: " not in output
    assert too_wide(output) == []


def test_what_is_no_seal_is_refused(refused: Refused, low: Path) -> None:
    assert '--seal: "blue" is no seal' in refused("audit", "--seal", "blue", "--season", low)


@pytest.mark.parametrize("json_", [(), ("--json",)])
def test_a_changed_record_ends_with_status_4(run: Run, low: Path, json_: tuple[str, ...]) -> None:
    tamper(low, "UPDATE records SET author = 'mallory' WHERE number = 2")
    output = run("audit", "--season", low, *json_, code=4).output
    told = "record 2: it is not as it was written"
    if json_:
        data = json.loads(output)
        assert (data["faults"], data["seal"], data["status"]) == ([told], "", 4)
    else:
        assert f"NOT IN ORDER: {told}" in words(output)
        assert "are in order" not in output
        assert too_wide(output) == []


def test_a_record_that_cannot_be_read_ends_with_status_4_and_the_audit_goes_on(run: Run, low: Path) -> None:
    tamper(low, "UPDATE records SET content = '{' WHERE number = 2")
    output = run("audit", "--season", low, code=4).output
    assert "NOT IN ORDER: record 2: it cannot be read" in words(output)
    assert "decisions derived" not in words(output)
    assert json.loads(run("audit", "--season", low, "--json", code=4).output)["readable"] is False


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_record_emptied_of_its_content_ends_with_status_4(run: Run, low: Path, number: int) -> None:
    tamper(low, f"UPDATE records SET content = '{{}}' WHERE number = {number}")
    assert f"NOT IN ORDER: record {number}: " in words(run("audit", "--season", low, code=4).output)


def test_a_decision_changed_in_the_records_is_told_with_both_headlines(run: Run, low: Path) -> None:
    tamper(low, 'UPDATE records SET content = replace(content, \'"action": "raise"\', \'"action": "hold"\')')
    output = run("audit", "--season", low, code=4).output
    text = words(output)
    assert "Decision 3, Sat 21 Mar 2026, block creek: DIFFERS: a record or the program was changed since" in text
    assert "stored: Raise nitrogen" in text and "derived: Raise nitrogen" in text
    assert "0 of 1 decisions derived again as stored." in text
    assert too_wide(output) == []


def test_torn_records_are_refused(run: Run, low: Path) -> None:
    path = low / RECORDS_FILE
    path.write_bytes(path.read_bytes()[:9000])
    result = run("audit", "--season", low, code=2)
    assert "records.db: the records cannot be read: the file is damaged" in result.stderr


def test_a_plan_that_changed_and_is_not_on_record_ends_with_status_3(run: Run, low: Path) -> None:
    with (low / "season.toml").open("a") as file:
        file.write("# a comment\n")
    output = run("audit", "--season", low, code=3).output
    told = "Plan: season.toml changed since it was last put on record: fertadjust plan record"
    assert told in words(output)
    data = json.loads(run("audit", "--season", low, "--json", code=3).output)
    assert (data["plan_on_record"], data["status"]) == (False, 3)
    run("plan", "record", "--reason", "a comment", "--season", low)
    run("audit", "--season", low)


def test_a_decision_that_would_come_out_otherwise_ends_with_status_3_and_says_why(run: Run, low: Path) -> None:
    season = open_season(low)
    season.correct_result(2, {"value": "9000"}, "one digit misread", confirm=True, today=TODAY)
    output = run("audit", "--season", low, code=3).output
    text = words(output)
    assert "then: Raise nitrogen from 5.25 to 7.00" in text
    assert "today: Cut nitrogen" in text
    assert "because record 2 was corrected by record 4: one digit misread" in text
    assert "1 of 1 decisions derived again as stored; 1 would come out otherwise today." in text
    assert too_wide(output) == []
    data = json.loads(run("audit", "--season", low, "--json", code=3).output)
    assert data["decisions"][0]["causes"] == ["record 2 was corrected by record 4: one digit misread"]


def test_a_season_file_that_cannot_be_read_is_told_beside_the_records(run: Run, low: Path) -> None:
    edit(low, "weeks = 12", "weeks = many")
    output = run("audit", "--season", low, code=4).output
    text = words(output)
    assert "3 records" in text and "Database and chain are in order." in text
    assert "Plan: season.toml, line" in text
    assert too_wide(output) == []


def test_a_season_file_that_cannot_be_read_is_told_as_json_too(run: Run, low: Path) -> None:
    edit(low, "weeks = 12", "weeks = many")
    data = json.loads(run("audit", "--season", low, "--json", code=4).output)
    assert (data["count"], data["status"]) == (3, 4)


def test_an_audit_of_a_folder_that_is_no_season_is_refused(refused: Refused, tmp_path: Path) -> None:
    assert "there is no season.toml here" in refused("audit", "--season", tmp_path / "gone")


def test_another_file_of_records_is_noted(run: Run, low: Path) -> None:
    (low / "records (Ann's conflicted copy 2026-03-21).db").write_bytes(b"")
    output = run("audit", "--season", low).output
    assert "Note: records (Ann's conflicted copy 2026-03-21).db lies beside the records" in words(output)
    assert too_wide(output) == []


# --- backup and restore -------------------------------------------------------------------------------------


def test_a_backup_is_written_and_restored(run: Run, low: Path, tmp_path: Path) -> None:
    output = run("backup", "--to", "b.zip", "--season", low).output
    assert output == "Wrote b.zip: 3 records, checked.\n"
    output = run("restore", "b.zip", "again").output
    assert words(output) == "Restored again with 3 records. Look it over: fertadjust audit --season again"
    assert contents(tmp_path / "again").keys() == contents(low).keys()
    assert run("audit", "--season", "again").output == run("audit", "--season", low).output
    run("audit", "--season", "again")


def test_where_to_write_the_backup_is_asked_for(run: Run, low: Path, tmp_path: Path) -> None:
    output = run("backup", "--season", low, input="\n").output
    assert "Write the backup to [fresh-2026-05-20.zip]: " in output
    assert (tmp_path / "fresh-2026-05-20.zip").exists()
    run("backup", "--season", low, input="mine.zip\n")
    assert (tmp_path / "mine.zip").read_bytes() == (tmp_path / "fresh-2026-05-20.zip").read_bytes()


def test_with_nobody_to_ask_a_backup_needs_its_file(refused: Refused, low: Path) -> None:
    assert "Error: --to: is missing, and there is nobody to ask" in refused("backup", "--season", low)


def test_records_that_are_not_in_order_are_not_backed_up(run: Run, refused: Refused, low: Path) -> None:
    run("backup", "--to", "b.zip", "--season", low)
    tamper(low, "UPDATE records SET author = 'mallory' WHERE number = 2")
    told = refused("backup", "--to", "b.zip", "--season", low)
    assert "Error: records.db: the records are not in order: record 2: it is not as it was written" in told


def test_a_season_is_not_restored_over_another(run: Run, refused: Refused, low: Path) -> None:
    run("backup", "--to", "b.zip", "--season", low)
    told = refused("restore", "b.zip", low)
    assert "is not empty; name a new folder, so that nothing is overwritten" in told


def test_what_is_no_backup_is_refused(refused: Refused, low: Path) -> None:
    assert "is no backup of a season, or is damaged" in refused("restore", low / "season.toml", "again")
    assert "there is no such file" in refused("restore", "gone.zip", "again")


@pytest.mark.parametrize("name", ["records.db", "season.toml"])
def test_a_backup_does_not_take_the_place_of_the_season_itself(refused: Refused, low: Path, name: str) -> None:
    refused("backup", "--to", low / name, "--season", low)


# --- export and import --------------------------------------------------------------------------------------


def test_an_export_is_written_and_imports_to_the_same_records(
    run: Run, lived: Path, fresh: Path, tmp_path: Path
) -> None:
    output = run("export", "--to", "out", "--season", lived).output
    assert words(output).startswith("Wrote records.json, records.csv, season.toml, results.csv, applications.csv,")
    assert too_wide(output) == []
    rows = open_season(lived).records.rows()
    assert run("import", "out", "--season", fresh).output == f"Took {len(rows)} records; 0 stood already.\n"
    assert open_season(fresh).records.rows() == rows
    assert run("import", "out/records.csv", "--season", fresh).output == "Nothing new: all stand already.\n"
    assert (tmp_path / "out" / "season.toml").read_text() == (lived / "season.toml").read_text()


def test_the_csv_of_the_sample_season_imports(run: Run, lived: Path, fresh: Path) -> None:
    run("export", "--to", "out", "--season", lived)
    run("import", "out/records.csv", "--season", fresh)
    assert open_season(fresh).records.rows() == open_season(lived).records.rows()


def test_where_to_export_to_is_asked_for(run: Run, low: Path, tmp_path: Path) -> None:
    assert "Write into the folder [export]: " in run("export", "--season", low, input="\n").output
    assert (tmp_path / "export" / "records.json").exists()


def test_the_seasons_own_folder_is_no_place_to_export_to(refused: Refused, low: Path) -> None:
    told = refused("export", "--to", low, "--season", low)
    assert "is a season's own folder; name another one" in told
    told = refused("export", "--to", low / ".." / low.name, "--season", low)
    assert "is a season's own folder" in told


def test_with_nobody_to_ask_an_export_needs_its_folder(refused: Refused, low: Path) -> None:
    assert "Error: --to: is missing" in refused("export", "--season", low)


def test_an_export_does_not_take_the_place_of_another_seasons_plan(
    refused: Refused, low: Path, lived: Path
) -> None:
    edit(lived, 'name = "Larkrise Farm (invented)"', 'name = "Another (invented)"')
    refused("export", "--to", lived, "--season", low)


def test_an_export_goes_on_from_a_season_of_some_of_its_records(run: Run, low: Path, tmp_path: Path) -> None:
    shutil.copytree(low, tmp_path / "earlier")
    run("results", "add", "--block", "hill", "--sampled", "2026-03-18", "--value", "4000", "--petioles", "25",
        "--season", low)  # fmt: skip
    run("export", "--to", "out", "--season", low)
    assert run("import", "out", "--season", "earlier").output == "Took 1 records; 3 stood already.\n"


def test_an_export_of_another_season_is_refused(run: Run, refused: Refused, low: Path, lived: Path) -> None:
    run("export", "--to", "out", "--season", low)
    told = refused("import", "out", "--season", lived)
    assert "its record 1 is another one than the season's own" in words(told)


def test_an_export_that_was_changed_is_refused_with_its_record(
    run: Run, refused: Refused, low: Path, tmp_path: Path
) -> None:
    run("export", "--to", "out", "--season", low)
    path = tmp_path / "out" / "records.json"
    path.write_text(path.read_text().replace('"author": "ann"', '"author": "ben"'))
    shutil.copy(low / "season.toml", tmp_path)
    told = refused("import", "out")
    assert "Error: records.json: record 2: it is not as it was written" in told


def test_what_is_no_export_is_refused(refused: Refused, low: Path) -> None:
    assert "is no JSON file of this program" in refused("import", low / "season.toml", "--season", low)
    assert "there is no such file" in refused("import", "gone", "--season", low)


# --- plan ---------------------------------------------------------------------------------------------------


def test_the_plan_is_put_on_record_with_its_reason(run: Run, low: Path) -> None:
    edit(low, "first_bloom = 2026-03-02", "first_bloom = 2026-03-09")
    output = run("plan", "record", "--reason", "bloom was late", "--by", "ben", "--season", low).output
    assert output == "Record 4: the plan as it stands.\n"
    record = open_season(low).records.all()[-1]
    assert (record.author, record.reason) == ("ben", "bloom was late")
    assert record.content == plan_content(open_season(low).file)


def test_why_the_plan_changed_is_asked_for(run: Run, low: Path) -> None:
    edit(low, "first_bloom = 2026-03-02", "first_bloom = 2026-03-09")
    assert "Why was it changed?: " in run("plan", "record", "--season", low, input="bloom was late\n").output
    assert open_season(low).revisions()[-1].reason == "bloom was late"


def test_with_nobody_to_ask_a_plan_needs_its_reason(refused: Refused, low: Path) -> None:
    edit(low, "first_bloom = 2026-03-02", "first_bloom = 2026-03-09")
    assert "Error: --reason: is missing" in refused("plan", "record", "--season", low)


def test_a_plan_that_is_on_record_is_not_put_there_again(run: Run, low: Path) -> None:
    before = contents(low)
    assert run("plan", "record", "--season", low).output == "The plan is on record as it stands.\n"
    assert contents(low) == before


def test_the_plans_revisions_are_listed_with_what_changed(run: Run, low: Path) -> None:
    edit(low, "first_bloom = 2026-03-02", "first_bloom = 2026-03-09")
    run("plan", "record", "--reason", "bloom was late " * 8, "--by", "ben", "--season", low)
    output = run("plan", "list", "--season", low).output
    assert too_wide(output) == []
    first, second = output.split("Record 4, ")
    assert first.startswith("Record 1, ")
    assert ", ben: bloom was late bloom" in words(second)
    assert "    - first_bloom = 2026-03-02\n    + first_bloom = 2026-03-09\n" in second
    found = json.loads(run("plan", "list", "--season", low, "--json").output)
    assert [item["record"] for item in found] == [1, 4]
    assert found[1]["changes"] == ["- first_bloom = 2026-03-02", "+ first_bloom = 2026-03-09"]


def test_changed_lines_of_any_length_are_listed_within_the_screen(run: Run, low: Path) -> None:
    with (low / "season.toml").open("a") as file:
        file.write("# " + "x" * 300 + "\n#\tand " + "word " * 40 + "\n")
    run("plan", "record", "--reason", "notes", "--season", low)
    assert too_wide(run("plan", "list", "--season", low).output) == []


def test_without_records_there_is_no_revision_to_list(run: Run, fresh: Path) -> None:
    output = run("plan", "list", "--season", fresh).output
    assert "The plan is not on record yet; it will be with the first thing written." in words(output)
    assert json.loads(run("plan", "list", "--season", fresh, "--json").output) == []


def test_the_plan_as_it_stood_is_printed_to_the_letter(run: Run, low: Path) -> None:
    text = (low / "season.toml").read_text()
    edit(low, "first_bloom = 2026-03-02", "first_bloom = 2026-03-09")
    run("plan", "record", "--reason", "bloom was late", "--season", low)
    assert run("plan", "show", "1", "--season", low).output == text
    assert run("plan", "show", "4", "--season", low).output == (low / "season.toml").read_text()


@pytest.mark.parametrize("number", ["2", "99", "0"])
def test_a_record_that_is_no_plan_is_not_shown(refused: Refused, low: Path, number: str) -> None:
    told = refused("plan", "show", number, "--season", low)
    assert f"Error: record {number} is no plan; list them with: fertadjust plan list" in told


def test_a_plan_on_record_that_is_not_as_it_was_written_is_told(run: Run, refused: Refused, low: Path) -> None:
    edit(low, "first_bloom = 2026-03-02", "first_bloom = 2026-03-09")
    run("plan", "record", "--reason", "bloom was late", "--season", low)
    tamper(low, "UPDATE records SET content = '{}' WHERE number = 1")
    for command in (["plan", "list"], ["plan", "show", "1"]):
        assert "record 1" in refused(*command, "--season", low)


# --- help ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "command", ["audit", "backup", "restore", "export", "import", "plan", "plan record", "plan list", "plan show"]
)
def test_help_fits_the_screen_and_gives_an_example(run: Run, command: str) -> None:
    output = run(*command.split(), "--help").output
    assert too_wide(output) == []
    assert command == "plan" or "Example" in output


def test_band_tables_outside_the_folder_are_said_not_to_be_in_the_backup(run: Run, fresh: Path) -> None:
    shared = fresh.parent / "shared"
    shared.mkdir()
    (shared / "own-petiole.toml").write_text(BAND_TABLE)
    plan = (fresh / "season.toml").read_text()
    (fresh / "season.toml").write_text(plan.replace("[bands]", '[bands]\nfolder = "../shared"'))
    output = " ".join(run("backup", "--season", fresh, "--to", fresh.parent / "b.zip").output.split())
    assert "NOT in it, since they lie outside the season's folder:" in output
    assert "own-petiole.toml" in output


def test_a_restored_season_with_faults_is_told_so(run: Run, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        archive.writestr("season.toml", "garbage = [")
    assert "Note: season.toml" in run("restore", tmp_path / "b.zip", tmp_path / "again").output
