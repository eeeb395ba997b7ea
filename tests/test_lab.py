"""Results from a CSV file: rows with their lines, and every fault of the table."""

from __future__ import annotations

from pathlib import Path

import pytest

from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import Fault, UserError
from fertadjust.lab import read_csv

COLUMNS = f"the columns are: {', '.join(RESULT_FIELDS)}"


def put(folder: Path, text: str | bytes) -> Path:
    path = folder / "report.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def rows(folder: Path, text: str | bytes) -> list[tuple[int, dict[str, str]]]:
    return list(read_csv(put(folder, text)))


def faults(folder: Path, text: str | bytes) -> list[Fault]:
    path = put(folder, text)
    before = path.read_bytes()
    with pytest.raises(UserError) as caught:
        list(read_csv(path))
    assert path.read_bytes() == before
    return list(caught.value.faults)


def test_each_row_comes_with_its_line(tmp_path: Path) -> None:
    text = "block,sampled,value\nnorth,2026-03-09,2310\nsouth,2026-03-10,<10\n"
    assert rows(tmp_path, text) == [
        (2, {"block": "north", "sampled": "2026-03-09", "value": "2310"}),
        (3, {"block": "south", "sampled": "2026-03-10", "value": "<10"}),
    ]


def test_columns_come_in_any_order_and_spelling_of_their_names(tmp_path: Path) -> None:
    text = " Value ,Sample ID,BLOCK,sampled\n2310,A 1,north,2026-03-09\n"
    ((line, row),) = rows(tmp_path, text)
    assert (line, row["value"], row["sample_id"], row["block"]) == (2, "2310", "A 1", "north")


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("head", [b"", b"\xef\xbb\xbf"])
def test_spreadsheets_write_files_of_several_kinds(tmp_path: Path, head: bytes, ends: str) -> None:
    text = '"block","sampled","value","note"\n"north","2026-03-09","2,310","said ""low"""\n'
    ((line, row),) = rows(tmp_path, head + text.replace("\n", ends).encode())
    assert (line, row["value"], row["note"]) == (2, "2,310", 'said "low"')


def test_empty_lines_are_passed_over_and_lines_still_right(tmp_path: Path) -> None:
    text = "block,sampled,value\n\n,,\nnorth,2026-03-09,2310\n\n  ,,\n\nnorth,2026-03-16,2400"
    assert [line for line, _ in rows(tmp_path, text)] == [4, 8]


def test_a_header_alone_holds_no_results(tmp_path: Path) -> None:
    assert rows(tmp_path, "block,sampled,value\n") == []


def test_an_empty_file_is_told_what_it_needs(tmp_path: Path) -> None:
    (fault,) = faults(tmp_path, "")
    assert str(fault) == f"report.csv: the file is empty; it needs a header: {', '.join(RESULT_FIELDS)}"


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError) as caught:
        list(read_csv(tmp_path / "report.csv"))
    assert str(caught.value) == f"{tmp_path / 'report.csv'}: there is no such file"


def test_a_folder_is_no_report(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="the file cannot be read"):
        list(read_csv(tmp_path))


@pytest.mark.parametrize("data", ["block,note\nnorth,Früh\n".encode("latin-1"), "block".encode("utf-16")])
def test_a_file_in_another_encoding_is_told(tmp_path: Path, data: bytes) -> None:
    (fault,) = faults(tmp_path, data)
    assert str(fault) == "report.csv: the file is not text in UTF-8"


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("block,sampled", [("value", "the column is missing")]),
        (
            "block,sampled,value,colour,lab no",
            [("colour", "is not a column of results"), ("lab_no", "is not a column of results")],
        ),
        ("block,sampled,value,value", [("value", "the column stands twice")]),
        ("block,sampled,value,", [("(no name)", "is not a column of results")]),
        (
            "block;sampled;value",
            [
                ("block;sampled;value", "is not a column of results"),
                ("block", "the column is missing"),
                ("sampled", "the column is missing"),
                ("value", "the column is missing"),
            ],
        ),
        (
            "north,2026-03-09,2310",
            [
                ("north", "is not a column of results"),
                ("2026-03-09", "is not a column of results"),
                ("2310", "is not a column of results"),
                ("block", "the column is missing"),
                ("sampled", "the column is missing"),
                ("value", "the column is missing"),
            ],
        ),
    ],
)
def test_wrong_columns_are_all_told(tmp_path: Path, header: str, told: list[tuple[str, str]]) -> None:
    found = faults(tmp_path, header + "\nnorth,2026-03-09,2310\n")
    assert [(fault.key, fault.message.split(";")[0]) for fault in found] == told
    assert {(fault.file, fault.line) for fault in found} == {("report.csv", 1)}
    assert all(COLUMNS in fault.message for fault in found if "twice" not in fault.message)


def test_rows_that_are_too_short_or_too_long_are_all_told(tmp_path: Path) -> None:
    text = "block,sampled,value\nnorth,2026-03-09\nnorth,2026-03-09,2310\nnorth,2026-03-09,2310,x\n2310\n"
    assert [str(fault) for fault in faults(tmp_path, text)] == [
        "report.csv, line 2: 2 columns, the header has 3",
        "report.csv, line 4: 4 columns, the header has 3",
        "report.csv, line 5: 1 columns, the header has 3",
    ]


def test_a_quote_that_never_closes_is_told(tmp_path: Path) -> None:
    text = 'block,sampled,value\nnorth,"2026-03-09,2310\nnorth,2026-03-16,2400\n'
    (fault,) = faults(tmp_path, text)
    assert fault.file == "report.csv"
    assert fault.line is not None


def test_a_very_long_cell_is_told(tmp_path: Path) -> None:
    text = 'block,sampled,value,note\nnorth,2026-03-09,2310,"' + "x" * 200_000 + '"\n'
    try:
        found = rows(tmp_path, text)
    except UserError as error:
        assert error.faults[0].file == "report.csv"
        assert error.faults[0].line == 2
    else:
        assert len(found[0][1]["note"]) == 200_000
