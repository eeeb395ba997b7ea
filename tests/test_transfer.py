"""Records out of a season and into another: the same state again, safe for spreadsheets, or refused."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fertadjust.audit import audit_records
from fertadjust.chain import Row, link_of
from fertadjust.errors import UserError
from fertadjust.record import Draft, Kind
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.transfer import FORMAT, as_cell, csv_text, export, from_cell, read_export, take
from tests.test_records import NOON, PROGRAM, contents, draft, refusal, write

FILES = [
    "records.json",
    "records.csv",
    "season.toml",
    "results.csv",
    "applications.csv",
    "observations.csv",
    "decisions.csv",
]
DANGEROUS = ("=", "+", "-", "@", "\t", "\r")
"""Beginnings that spreadsheets take for a formula (OWASP, CSV injection)."""

FORMULAS = [
    '=HYPERLINK("http://x")',
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "'=1",
    "''",
    "'",
    '"',
    "a\rb",
    ",",
]
TEXT = st.one_of(
    st.text(st.characters(codec="utf-8"), max_size=12),
    st.sampled_from(FORMULAS),
    st.text("=+-@\t\r\n'\",;a ", max_size=6),
)
CONTENT = st.dictionaries(TEXT, st.one_of(TEXT, st.integers(), st.floats(allow_nan=False), st.none()), max_size=3)


@pytest.fixture
def records(tmp_path: Path) -> Records:
    """Six records of every kind, a correction and a void among them."""
    folder = tmp_path / "here"
    folder.mkdir()
    records = Records(folder / RECORDS_FILE, PROGRAM)
    result = {
        "sampled": "2026-03-09", "received": None, "tissue": "petiole", "basis": "dry", "analyte": "NO3-N",
        "value": 2310.0, "unit": "ppm", "censor": "", "petioles": 25, "method": "laboratory",
        "laboratory": "@lab", "sample_id": "=1+1", "note": "a\nb", "reported": "2310 ppm",
    }  # fmt: skip
    write(records, Draft(Kind.PLAN, "", "2026-03-09", {"season": "schema = 1\n"}))
    write(records, Draft(Kind.RESULT, "north", "2026-03-09", result))
    write(
        records,
        Draft(Kind.RESULT, "north", "2026-03-09", result | {"censor": "<", "value": 10.0}, 2, "-below the limit"),
        Draft(Kind.APPLICATION, "north", "2026-03-10", {"n_lb_ac": 2.6, "products": {"urea": 5.0}, "note": "+x"}),
        Draft(Kind.OBSERVATION, "north", "2026-03-10", {"sight": "frost", "value": None, "note": "Café 北"}),
    )
    write(records, Draft(Kind.APPLICATION, "north", "2026-03-10", None, 4, "'wrong field'"))
    return records


@pytest.fixture
def exported(records: Records, tmp_path: Path) -> Path:
    export(records, "schema = 1\n", tmp_path / "out")
    return tmp_path / "out"


def new(tmp_path: Path, name: str = "there") -> Records:
    folder = tmp_path / name
    folder.mkdir()
    return Records(folder / RECORDS_FILE, "fertadjust 9")


# --- cells --------------------------------------------------------------------------------------------------


@given(TEXT)
def test_a_cell_is_never_a_formula_and_gives_back_what_was_written(text: str) -> None:
    assert not as_cell(text).startswith(DANGEROUS)
    assert from_cell(as_cell(text)) == text


@given(st.lists(st.lists(TEXT, min_size=2, max_size=2), max_size=4))
@example([["a\rb", "c"]])
def test_a_table_read_again_by_another_reader_holds_the_same_cells(rows: list[list[str]]) -> None:
    text = csv_text(("first", "second"), rows)
    read = list(csv.reader(io.StringIO(text, newline="")))
    assert read == [["first", "second"], *([as_cell(cell) for cell in row] for row in rows)]


def test_numbers_stay_numbers_and_nothing_is_an_empty_cell() -> None:
    text = csv_text(("a", "b", "c"), [(-1.5, None, 3)])
    assert list(csv.reader(io.StringIO(text, newline=""))) == [["a", "b", "c"], ["-1.5", "", "3"]]


# --- written ------------------------------------------------------------------------------------------------


def test_an_export_names_the_files_it_wrote(records: Records, tmp_path: Path) -> None:
    before = contents(tmp_path / "here")
    written = export(records, "schema = 1\n", tmp_path / "out")
    assert [path.name for path in written] == FILES
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(FILES)
    assert (tmp_path / "out" / "season.toml").read_text() == "schema = 1\n"
    assert contents(tmp_path / "here") == before


def test_an_export_made_again_is_the_same(records: Records, exported: Path) -> None:
    before = contents(exported)
    export(records, "schema = 1\n", exported)
    assert contents(exported) == before


@pytest.mark.parametrize("name", [name for name in FILES if name.endswith(".csv")])
def test_no_text_of_an_exported_table_is_a_formula(exported: Path, name: str) -> None:
    with (exported / name).open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file):
            assert not [cell for cell in row if cell.startswith(DANGEROUS)]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_table_of_results_says_which_stand(exported: Path) -> None:
    first, second = rows_of(exported / "results.csv")
    assert (first["record"], first["stands"], first["replaces"], first["value"]) == ("2", "no", "", "2310.0")
    assert (second["record"], second["stands"], second["replaces"], second["value"]) == ("3", "yes", "2", "<10.0")
    assert (second["reason"], second["sample_id"], second["laboratory"]) == ("'-below the limit", "'=1+1", "'@lab")
    assert (first["author"], first["program"], first["received"]) == ("grower", PROGRAM, "")


def test_the_table_of_applications_tells_products_and_voids(exported: Path) -> None:
    first, second = rows_of(exported / "applications.csv")
    assert (first["n_lb_ac"], json.loads(first["products"]), first["note"]) == ("2.6", {"urea": 5.0}, "'+x")
    assert (first["stands"], second["stands"], second["n_lb_ac"], second["reason"]) == (
        "no", "no", "", "''wrong field'",
    )  # fmt: skip


def test_the_table_of_observations_keeps_every_letter(exported: Path) -> None:
    (row,) = rows_of(exported / "observations.csv")
    assert (row["sight"], row["value"], row["note"], row["stands"]) == ("frost", "", "Café 北", "yes")


def test_an_export_of_no_records_imports_as_none(tmp_path: Path) -> None:
    records = new(tmp_path)
    export(records, "", tmp_path / "out")
    assert read_export(tmp_path / "out") == read_export(tmp_path / "out" / "records.csv") == []
    assert take(records, [], "out") == 0
    assert list((tmp_path / "there").iterdir()) == []


# --- and read again -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["records.json", "records.csv", ""])
def test_an_export_imports_to_the_same_state(records: Records, exported: Path, tmp_path: Path, name: str) -> None:
    other = new(tmp_path)
    assert take(other, read_export(exported / name), name) == 6
    assert other.rows() == records.rows()
    assert other.all() == records.all()
    seals = [audit_records(folder, item).seal for folder, item in ((tmp_path, records), (tmp_path, other))]
    assert seals[0] == seals[1] != ""
    export(other, "schema = 1\n", tmp_path / "again")
    assert contents(tmp_path / "again") == contents(exported)


DRAFTS = st.lists(
    st.tuples(st.sampled_from(Kind), TEXT, TEXT, st.one_of(st.none(), CONTENT), TEXT),
    min_size=1,
    max_size=4,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(DRAFTS, TEXT)
@example([(Kind.RESULT, "a\rb", "x", {"a": "\r"}, "\r")], "ann\rben")
@example([(Kind.RESULT, "", "", {}, "'")], "\x00")
@example([(Kind.RESULT, "\ufeffnorth", "\u2028", {"\x85": "\x1e"}, "\x0c")], "\ufeff")
def test_any_text_comes_through_json_and_csv_as_it_was(drafts: list[tuple[Any, ...]], author: str) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        records = Records(folder / RECORDS_FILE, PROGRAM)
        made = [
            Draft(kind, block, "2026-03-09", None if content is None else content | {"note": note}, None, reason)
            for kind, block, note, content, reason in drafts
        ]
        records.append(made, author, NOON)
        export(records, "", folder / "out")
        for name in ("records.json", "records.csv"):
            other = Records(folder / f"{name}.db", "fertadjust 9")
            take(other, read_export(folder / "out" / name), name)
            assert other.rows() == records.rows()
        for name in FILES:
            if name.endswith(".csv"):
                text = (folder / "out" / name).read_bytes().decode()
                for row in csv.reader(io.StringIO(text, newline="")):
                    assert not [cell for cell in row if cell.startswith(DANGEROUS) and not _number(cell)]


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize("name", ["records.json", "records.csv"])
@pytest.mark.parametrize("size", [100_000, 140_000, 2_000_000])
def test_long_content_comes_through(tmp_path: Path, name: str, size: int) -> None:
    records = new(tmp_path, "here")
    write(records, draft(1, kind=Kind.PLAN, season="x" * size))
    export(records, "", tmp_path / "out")
    other = new(tmp_path)
    assert take(other, read_export(tmp_path / "out" / name), name) == 1
    assert other.rows() == records.rows()


def test_numbers_come_through_as_they_were(tmp_path: Path) -> None:
    records = new(tmp_path, "here")
    values = [0.1, 1e300, 5e-324, -0.0, 2**70, 1 / 3, 100.0, 1e16]
    write(records, draft(1, kind=Kind.PLAN, list=values))
    export(records, "", tmp_path / "out")
    other = new(tmp_path)
    for name in ("records.json", "records.csv"):
        take(other, read_export(tmp_path / "out" / name), name)
        assert other.rows() == records.rows()


def test_an_export_saved_with_a_byte_order_mark_and_other_line_ends_of_json_imports(
    records: Records, exported: Path, tmp_path: Path
) -> None:
    path = exported / "records.json"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    other = new(tmp_path)
    assert take(other, read_export(path), "x") == 6
    assert other.rows() == records.rows()


# --- taken in -----------------------------------------------------------------------------------------------


def test_an_export_taken_in_twice_adds_nothing(exported: Path, tmp_path: Path) -> None:
    other = new(tmp_path)
    take(other, read_export(exported), "out")
    before = contents(tmp_path / "there")
    for name in ("records.json", "records.csv"):
        assert take(other, read_export(exported / name), name) == 0
    assert contents(tmp_path / "there") == before


def test_an_export_taken_into_the_season_it_came_from_adds_nothing(
    records: Records, exported: Path, tmp_path: Path
) -> None:
    before = contents(tmp_path / "here")
    assert take(records, read_export(exported), "out") == 0
    assert contents(tmp_path / "here") == before


@pytest.mark.parametrize("count", range(7))
def test_an_export_goes_on_from_where_a_season_ends(
    records: Records, exported: Path, tmp_path: Path, count: int
) -> None:
    other = new(tmp_path)
    if count:
        other.adopt(records.rows()[:count])
    assert take(other, read_export(exported), "out") == 6 - count
    assert other.rows() == records.rows()
    assert audit_records(tmp_path / "there", other).faults == ()


def test_an_older_export_adds_nothing_to_a_season_that_went_on(
    records: Records, exported: Path, tmp_path: Path
) -> None:
    write(records, draft(9))
    before = contents(tmp_path / "here")
    assert take(records, read_export(exported), "out") == 0
    assert contents(tmp_path / "here") == before


@pytest.mark.parametrize("count", range(6))
def test_an_export_of_a_season_that_went_another_way_is_refused(
    records: Records, exported: Path, tmp_path: Path, count: int
) -> None:
    other = new(tmp_path)
    if count:
        other.adopt(records.rows()[:count])
    write(other, draft(77))
    before = contents(tmp_path / "there")
    told = refusal(lambda: take(other, read_export(exported), "out"))
    assert told.startswith(f"out: its record {count + 1} is another one than the season's own")
    assert "Use a new season folder" in told
    assert contents(tmp_path / "there") == before


def test_what_was_written_after_an_import_goes_on_from_it(exported: Path, tmp_path: Path) -> None:
    other = new(tmp_path)
    take(other, read_export(exported), "out")
    assert write(other, draft(7)) == [7]
    assert audit_records(tmp_path / "there", other).faults == ()


def test_records_written_while_an_export_was_looked_at_are_kept(
    records: Records, exported: Path, tmp_path: Path
) -> None:
    other = new(tmp_path)
    rows = read_export(exported)
    write(other, draft(7))
    before = contents(tmp_path / "there")
    assert "records were written in the meantime; try again" in refusal(lambda: other.adopt(rows))
    assert contents(tmp_path / "there") == before
    del records


# --- tampered with ------------------------------------------------------------------------------------------

CHANGED = "it is not as it was written"
FIELDS = ("block", "day", "written", "author", "program", "reason", "link")


def edit_json(path: Path, change: Callable[[list[dict[str, Any]]], object]) -> Path:
    data = json.loads(path.read_text())
    change(data["records"])
    path.write_text(json.dumps(data))
    return path


@pytest.mark.parametrize("number", [1, 3, 6])
@pytest.mark.parametrize("field", FIELDS)
def test_a_field_changed_in_the_json_is_refused_with_its_record(exported: Path, field: str, number: int) -> None:
    path = edit_json(exported / "records.json", lambda items: items[number - 1].update({field: "other"}))
    assert f"records.json: record {number}: {CHANGED}" in refusal(lambda: read_export(path)).splitlines()


@pytest.mark.parametrize("number", [1, 3, 6])
@pytest.mark.parametrize(
    "change", [{"content": {"value": 9}}, {"content": None}, {"kind": "decision"}, {"replaces": 1}], ids=str
)
def test_content_kind_or_reference_changed_in_the_json_is_refused_with_its_record(
    exported: Path, number: int, change: dict[str, Any]
) -> None:
    def apply(items: list[dict[str, Any]]) -> None:
        if items[number - 1] | change == items[number - 1]:
            items[number - 1]["author"] = "mallory"
        items[number - 1].update(change)

    path = edit_json(exported / "records.json", apply)
    assert f"records.json: record {number}: {CHANGED}" in refusal(lambda: read_export(path)).splitlines()


def test_a_cell_changed_in_the_csv_is_refused_with_its_record(exported: Path) -> None:
    path = exported / "records.csv"
    path.write_text(path.read_text().replace("frost", "hail"))
    assert refusal(lambda: read_export(path)) == f"records.csv: record 5: {CHANGED}"


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5])
def test_a_record_taken_out_of_an_export_is_refused(exported: Path, number: int) -> None:
    path = edit_json(exported / "records.json", lambda items: items.pop(number - 1))
    told = refusal(lambda: read_export(path))
    assert told == f"records.json: record {number + 1}: record {number} before it is missing"


def test_records_taken_off_the_end_of_an_export_make_an_older_export(
    records: Records, exported: Path, tmp_path: Path
) -> None:
    path = edit_json(exported / "records.json", lambda items: items.pop())
    assert take(records, read_export(path), "x") == 0
    assert take(new(tmp_path), read_export(path), "x") == 5


@pytest.mark.parametrize("number", [1, 3, 6])
def test_an_export_with_a_link_wiped_out_is_refused(exported: Path, number: int) -> None:
    def wipe(items: list[dict[str, Any]]) -> None:
        items[number - 1]["link"] = ""
        items[1]["author"] = "mallory"

    path = edit_json(exported / "records.json", wipe)
    refusal(lambda: read_export(path))


def test_an_export_from_before_links_is_taken_in_with_the_links_it_would_have(
    records: Records, exported: Path, tmp_path: Path
) -> None:
    path = edit_json(exported / "records.json", lambda items: [item.update(link="") for item in items])
    other = new(tmp_path)
    assert take(other, read_export(path), "x") == 6
    assert other.rows() == records.rows()


# --- no export ----------------------------------------------------------------------------------------------

GOOD: dict[str, Any] = {
    "number": 1, "kind": "result", "block": "north", "day": "2026-03-09", "written": "2026-03-09T12:00:00+00:00",
    "author": "ann", "program": PROGRAM, "replaces": None, "reason": "", "content": {"value": 1}, "link": "",
}  # fmt: skip


def as_json(*items: Any) -> str:
    return json.dumps({"format": FORMAT, "records": list(items)})


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "{", "[]", "7", "null", '"text"', "{}", '{"format": "other", "records": []}',
        json.dumps({"format": FORMAT}), json.dumps({"format": FORMAT, "records": {}}),
        "[" * 100_000, '{"format": ' * 50_000, "9" * 5000, "\x00", "north,2310\n",
        as_json(7), as_json(None), as_json({}), as_json({"number": 1}), as_json(GOOD | {"more": 1}),
    ],
    ids=lambda text: text[:20],
)  # fmt: skip
def test_json_that_is_no_export_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "records.json"
    path.write_text(text)
    assert refusal(lambda: read_export(path)).startswith("records.json")


SPOILED: dict[str, list[Any]] = {key: [7, 1.5, True, [], {}, "x", None, "", -1, 10**30, "\ud800"] for key in GOOD}


@pytest.mark.parametrize("key", GOOD)
def test_an_entry_with_a_spoiled_field_is_refused_or_taken_whole_and_never_fails(tmp_path: Path, key: str) -> None:
    for index, value in enumerate([*SPOILED[key], float("inf"), float("nan")]):
        path = tmp_path / "records.json"
        path.write_text(as_json(GOOD | {key: value}))
        other = new(tmp_path, f"there{index}")
        try:
            added = take(other, read_export(path), "x")
        except UserError:
            assert other.all() == []
            continue
        assert added == 1
        assert len(other.all()) == 1, f"{key} = {value!r}"
        assert audit_records(tmp_path, other).readable, f"{key} = {value!r}"


@pytest.mark.parametrize("depth", [50, 900, 960, 980, 985, 990, 995, 1000, 5000])
def test_content_nested_deep_is_refused_or_taken(tmp_path: Path, depth: int) -> None:
    path = tmp_path / "records.json"
    nested = '{"a": ' + "[" * depth + "]" * depth + "}"
    path.write_text(as_json(GOOD | {"content": "HERE"}).replace('"HERE"', nested))
    try:
        rows = read_export(path)
    except UserError:
        return
    assert len(rows) == 1


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n",
        "number,kind\n1,result\n",
        'HEAD1,"result\n',
        "HEAD1,result\n",
        'HEAD1,result,north,2026-03-09,x,ann,p,,,"{}"z,\n',
        "HEADone,result,north,2026-03-09,x,ann,p,,,{},\n",
        "HEAD1,harvest,north,2026-03-09,x,ann,p,,,{},\n",
        "HEAD1,result,north,2026-03-09,x,ann,p,two,,{},\n",
        "HEAD2,result,north,2026-03-09,x,ann,p,,,{},\n",
        "HEAD1,result,north,2026-03-09,x,ann,p,,,{},abc\n",
        "HEAD" + "9" * 5000 + ",result,north,2026-03-09,x,ann,p,,,{},\n",
        "HEAD\n",
        "\x00" * 50,
    ],
    ids=range(14),
)
def test_a_csv_that_is_no_export_is_refused(tmp_path: Path, text: str) -> None:
    head = "number,kind,block,day,written,author,program,replaces,reason,content,link\n"
    path = tmp_path / "records.csv"
    path.write_text(text.replace("HEAD", head))
    assert refusal(lambda: read_export(path)).startswith("records.csv")


def test_a_row_of_a_csv_that_cannot_be_read_is_named_by_its_line(exported: Path) -> None:
    path = exported / "records.csv"
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join([*lines[:2], "1,2,3\n", *lines[2:]]))
    assert refusal(lambda: read_export(path)) == "records.csv, line 3: 3 columns, should be 11"


def test_content_in_a_csv_that_is_no_content_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "records.csv"
    row: Row = (1, "result", "north", "2026-03-09", NOON.isoformat(), "ann", PROGRAM, None, "", "{")
    names = (
        "number",
        "kind",
        "block",
        "day",
        "written",
        "author",
        "program",
        "replaces",
        "reason",
        "content",
        "link",
    )
    path.write_text(csv_text(names, [(*row, link_of("", row))]))
    refusal(lambda: take(new(tmp_path), read_export(path), "x"))


@pytest.mark.parametrize("name", ["results.csv", "applications.csv", "observations.csv", "season.toml"])
def test_the_other_files_of_an_export_are_no_records(exported: Path, name: str) -> None:
    assert refusal(lambda: read_export(exported / name)).startswith(name)


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "gone.json", tmp_path / "gone.csv"):
        assert "there is no such file" in refusal(lambda path=path: read_export(path))  # type: ignore[misc]


def test_a_file_that_is_no_text_is_refused(records: Records, tmp_path: Path) -> None:
    assert "is not text in UTF-8" in refusal(lambda: read_export(tmp_path / "here" / RECORDS_FILE))
    del records


def test_two_replacements_of_one_record_in_an_export_are_refused_and_nothing_written(tmp_path: Path) -> None:
    path = tmp_path / "records.json"
    items = [GOOD, *(GOOD | {"number": number, "replaces": 1} for number in (2, 3))]
    path.write_text(as_json(*items))
    other = new(tmp_path)
    refusal(lambda: take(other, read_export(path), "x"))
    assert other.all() == []


def test_a_replacement_of_what_is_not_there_in_an_export_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "records.json"
    path.write_text(as_json(GOOD | {"replaces": 9}))
    refusal(lambda: take(new(tmp_path), read_export(path), "x"))
