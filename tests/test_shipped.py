"""Data that travels with the program: found, whole, and every source of it cited."""

from __future__ import annotations

from pathlib import Path

import pytest

from fertadjust.errors import FertadjustError, UserError
from fertadjust.evidence import Evidence, split_sources
from fertadjust.rules.cross_table import cells
from fertadjust.rules.engine import RULES
from fertadjust.rules.policy import Consent, Figure, Policy, RecoveryChoice
from fertadjust.shipped import (
    citations,
    citations_for,
    folder,
    read_band_files,
    read_band_folder,
    read_band_table,
    shipped_policy,
    shipped_policy_files,
    shipped_tables,
)
from tests import support

GOOD = """
schema = 1
id = "{id}"
title = "Own plots"
crop = "strawberry"
system = "annual plasticulture"
region = "US Southeast"
tissue = "petiole"
part = "petiole"
basis = "dry"
axis = "season"

[[rows]]
id = "r1"
analyte = "NO3-N"
unit = "ppm"
low = {low}
high = 2000
source = "own plots"
evidence = "own"
"""


def written(where: Path, name: str, *, low: object = 1000, id_: str | None = None) -> Path:
    path = where / f"{name}.toml"
    path.write_text(GOOD.format(id=id_ or name, low=low), encoding="utf-8")
    return path


def faults(path: Path) -> list[tuple[str, int | None, str, str]]:
    with pytest.raises(UserError) as caught:
        read_band_table(path)
    return [(fault.file, fault.line, fault.key, fault.message) for fault in caught.value.faults]


# --- folders -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["sufficiency_ranges", "sample_data"])
def test_shipped_folders_are_found(name: str) -> None:
    assert list(folder(name).iterdir())


def test_a_missing_folder_says_that_the_installation_is_incomplete() -> None:
    with pytest.raises(FertadjustError, match="incomplete: no_such_folder"):
        folder("no_such_folder")


# --- tables --------------------------------------------------------------------------------------------------


def test_every_file_is_a_table_named_by_its_id() -> None:
    names = {path.stem for path in folder("sufficiency_ranges").glob("*.toml")}
    assert set(shipped_tables()) == names
    assert all(table.id == name for name, table in shipped_tables().items())


def test_every_source_of_every_row_is_cited() -> None:
    for table in shipped_tables().values():
        for row in table.rows:
            keys = split_sources(row.source)
            assert keys, row.id
            assert set(keys) <= set(citations()), row.id


def test_every_recalled_row_has_its_confidence_and_every_recalled_table_a_note() -> None:
    for table in shipped_tables().values():
        for row in table.rows:
            assert (row.confidence is not None) == (row.evidence is Evidence.RECALLED), row.id
            assert row.confidence != "low", row.id
        if table.recalled:
            assert any("not checked against the document" in note for note in table.notes), table.id


def test_no_shipped_row_claims_to_be_the_growers_own() -> None:
    assert {row.evidence for table in shipped_tables().values() for row in table.rows} <= {
        Evidence.PUBLISHED,
        Evidence.DERIVED,
        Evidence.RECALLED,
    }


# --- reading a table -----------------------------------------------------------------------------------------


def test_an_own_table_is_read(tmp_path: Path) -> None:
    assert read_band_table(written(tmp_path, "own-plots")).id == "own-plots"


def test_a_table_must_carry_the_name_of_its_file(tmp_path: Path) -> None:
    path = written(tmp_path, "own-plots", id_="other")
    assert faults(path) == [("own-plots.toml", 3, "id", 'the id should be the file\'s name, "own-plots"')]


def test_a_faulty_table_is_told_with_file_line_and_key(tmp_path: Path) -> None:
    file, line, key, message = faults(written(tmp_path, "own-plots", low=3000))[0]
    assert (file, key) == ("own-plots.toml", "rows[1]")
    assert line == 13
    assert message == "low 3000 is not below high 2000"


def test_a_number_that_is_none_is_told_with_its_line(tmp_path: Path) -> None:
    file, line, key, message = faults(written(tmp_path, "own-plots", low="nan"))[0]
    assert (file, line, key) == ("own-plots.toml", 17, "rows[1].low")
    assert "finite" in message


@pytest.mark.parametrize("low", [3000, "nan", 0])
def test_one_mistake_is_told_once_and_not_as_rows_that_are_missing(tmp_path: Path, low: object) -> None:
    assert len(faults(written(tmp_path, "own-plots", low=low))) == 1


def test_text_that_is_no_toml_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "own-plots.toml"
    path.write_text('schema = 1\nid = "own\n', encoding="utf-8")
    [(file, line, _, message)] = faults(path)
    assert (file, line) == ("own-plots.toml", 2)
    assert "torn or mistyped" in message


def test_a_missing_table_is_told(tmp_path: Path) -> None:
    [(_, _, _, message)] = faults(tmp_path / "nowhere.toml")
    assert message == "there is no such file"


def test_a_folder_of_tables_is_read_by_id(tmp_path: Path) -> None:
    written(tmp_path, "b-plots")
    written(tmp_path, "a-plots")
    (tmp_path / "readme.txt").write_text("no table", encoding="utf-8")
    assert list(read_band_folder(tmp_path)) == ["a-plots", "b-plots"]


def test_faults_of_all_tables_of_a_folder_are_told_at_once(tmp_path: Path) -> None:
    written(tmp_path, "a-plots", low=3000)
    written(tmp_path, "b-plots")
    written(tmp_path, "c-plots", low=0)
    with pytest.raises(UserError) as caught:
        read_band_folder(tmp_path)
    assert list(dict.fromkeys(fault.file for fault in caught.value.faults)) == ["a-plots.toml", "c-plots.toml"]


def test_files_that_are_no_band_tables_are_passed_over(tmp_path: Path) -> None:
    written(tmp_path, "own-plots")
    text = (tmp_path / "own-plots.toml").read_text(encoding="utf-8")
    for name in (".own-plots-2.toml", "~$own-plots.toml", "season.toml", "laboratories.toml"):
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "bills.csv").write_text("day,amount\n2026-03-01,12\n", encoding="utf-8")
    (tmp_path / "own-plots.csv").write_text("day,amount\n", encoding="utf-8")
    (tmp_path / "wishes.toml").write_text('title = "wishes"\n', encoding="utf-8")
    (tmp_path / "older.csv").mkdir()
    assert read_band_files(tmp_path) == (read_band_folder(tmp_path), {})
    assert list(read_band_folder(tmp_path)) == ["own-plots"]


def test_a_faulty_table_is_told_by_its_id_and_blocks_no_other(tmp_path: Path) -> None:
    written(tmp_path, "a-plots", low=3000)
    written(tmp_path, "b-plots")
    (tmp_path / "c-plots.toml").write_text('title = "torn\n', encoding="utf-8")
    tables, wrong = read_band_files(tmp_path)
    assert list(tables) == ["b-plots"]
    assert {name: [fault.file for fault in found] for name, found in wrong.items()} == {
        "a-plots": ["a-plots.toml"],
        "c-plots": ["c-plots.toml"],
    }


def test_marks_that_turn_the_direction_of_writing_are_left_out(tmp_path: Path) -> None:
    path = written(tmp_path, "own-plots")
    text = path.read_text(encoding="utf-8").replace("Own plots", "Own \u202eplots\u2066 \u200fåä")
    path.write_text(text, encoding="utf-8")
    assert read_band_table(path).title == "Own plots åä"


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no such folder of band tables"):
        read_band_folder(tmp_path / "bands")


# --- the policy ----------------------------------------------------------------------------------------------


def figures(policy: Policy) -> dict[str, Figure | RecoveryChoice | Consent]:
    kinds = Figure | RecoveryChoice | Consent
    return {name: value for name in Policy.model_fields if isinstance(value := getattr(policy, name), kinds)}


def test_the_strawberry_policy_is_found_by_its_id() -> None:
    assert "strawberry-annual-plasticulture" in shipped_policy_files()
    assert support.policy().id == "strawberry-annual-plasticulture"


def test_there_is_no_policy_for_another_crop() -> None:
    with pytest.raises(KeyError):
        shipped_policy("celery")


@pytest.mark.parametrize("name", list(shipped_policy_files()))
def test_every_source_of_a_policy_is_cited_and_what_is_published_has_one(name: str) -> None:
    policy = shipped_policy(name)
    backed = [*figures(policy).values(), *policy.cross_check, *policy.companions]
    assert len(backed) > 30
    for item in backed:
        keys = split_sources(item.source)
        assert set(keys) <= set(citations()), item
        if item.evidence in (Evidence.PUBLISHED, Evidence.DERIVED):
            assert keys, item
        assert item.evidence is not Evidence.OWN, item


def test_every_figure_of_a_policy_says_what_it_does() -> None:
    for name, item in figures(support.policy()).items():
        assert item.meaning, name
        assert item.shipped is None, name


def test_every_cell_of_the_cross_check_has_a_row_with_a_reason_and_every_row_decides_some() -> None:
    policy = support.policy()
    decided = {str(cell): policy.row_for(cell) for cell in cells()}
    assert len(decided) == 3 * 5 * 3 * 4 * 3
    assert {row.id for row in decided.values()} == {row.id for row in policy.cross_check}
    assert all(row.reason and row.shipped is None for row in policy.cross_check)


def test_every_row_that_a_season_file_may_set_has_a_name_of_its_own() -> None:
    policy = support.policy()
    for rows in (policy.cross_check, policy.companions):
        names = [row.id for row in rows]
        assert len(set(names)) == len(names) > 5
    assert all(rule.shipped is None for rule in policy.companions)


# --- citations -----------------------------------------------------------------------------------------------


def test_citations_of_some_sources_come_sorted_and_once() -> None:
    found = citations_for(["UGA-2021; DE-2018", "UGA-2021", "none", "own plots"])
    assert list(found) == ["DE-2018", "UGA-2021"]
    assert found["UGA-2021"] == citations()["UGA-2021"]


def test_citations_are_sorted_by_key_and_none_is_empty() -> None:
    assert list(citations()) == sorted(citations())
    assert all(text.strip() for text in citations().values())


@pytest.mark.parametrize("value", [1000, 4000, 9000])
def test_every_source_in_the_trace_of_an_advice_is_cited(value: float) -> None:
    found = support.season(support.result(value)).advice(support.day_in(7)).recommendation
    assert len(found.trace) >= len(RULES)
    for line in found.trace:
        assert set(split_sources(line.source)) <= {*citations(), "season file"}, line.rule
