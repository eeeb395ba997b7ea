"""Reports as spreadsheets. Samples and figures are invented."""

from __future__ import annotations

import io
import re
import sys
import zipfile
from collections.abc import Sequence
from datetime import date, datetime

import openpyxl
import pytest

from fertadjust.errors import UserError
from fertadjust.lab.profile import Profile
from fertadjust.lab.report import Report, read_report

HEADER = ("Sample", "Date sampled", "Plant part", "NO3-N (ppm)", "N (%)")
EMPTY_TEXT = b'<c r="D2" t="str"><f>IF(B9="","",B9)</f><v></v></c>'
Rows = Sequence[Sequence[object]]


def book(**sheets: Rows) -> bytes:
    made = openpyxl.Workbook()
    made.remove(made.worksheets[0])
    for title, rows in sheets.items():
        sheet = made.create_sheet(title)
        for number, row in enumerate(rows, 1):
            for column, value in enumerate(row, 1):
                if value is not None:
                    sheet.cell(number, column, value)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def read(data: bytes, profile: Profile | None = None) -> Report:
    return read_report(data, "report.xlsx", profile, sap_or_dry="dry")


def refusal(data: bytes, profile: Profile | None = None) -> str:
    with pytest.raises(UserError) as caught:
        read(data, profile)
    return str(caught.value)


def clean(data: bytes, profile: Profile | None = None) -> Report:
    report = read(data, profile)
    assert (report.faults, report.questions) == ((), ())
    return report


def test_cells_are_read_as_they_are_meant() -> None:
    report = clean(
        book(
            Results=[
                ("Example Laboratory",),
                (),
                HEADER,
                ("A1", date(2026, 3, 9), "Petiole", 2310.0, None),
                (77, datetime(2026, 3, 9, 10, 30), "Leaf", None, 3.1),  # noqa: DTZ001
            ]
        )
    )
    assert report.form == "spreadsheet, a row a sample"
    assert [(row.line, row.names, row.fields["sampled"], row.fields["value"]) for row in report.rows] == [
        (4, ("A1",), "2026-03-09", "2310"),
        (5, ("77",), "2026-03-09", "3.1"),
    ]


def test_a_number_cell_with_three_decimals_raises_no_question() -> None:
    report = clean(book(Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, 2.125)]))
    assert [row.fields["value"] for row in report.rows] == ["2.125"]


def test_a_cell_shown_in_percent_is_read_as_shown() -> None:
    """A spreadsheet stores 3.1 % as 0.031 with a format (common practice)."""
    made = openpyxl.load_workbook(
        io.BytesIO(book(Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, 0.031)]))
    )
    made.worksheets[0]["E2"].number_format = "0.00%"
    out = io.BytesIO()
    made.save(out)
    (row,) = clean(out.getvalue()).rows
    assert (row.fields["value"], row.fields["unit"], row.printed) == ("3.1", "%", "3.1 % N (%)")


@pytest.mark.parametrize("number_format", ['0.00" %"', "0.00\\%", "0.00_%", "*%0.00"])
def test_a_percent_sign_that_is_only_text_does_not_change_the_number(number_format: str) -> None:
    """Quoted and escaped signs of a format are shown as they stand (ECMA-376 part 1, 18.8.31)."""
    made = openpyxl.load_workbook(io.BytesIO(book(Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, 3.1)])))
    made.worksheets[0]["E2"].number_format = number_format
    out = io.BytesIO()
    made.save(out)
    (row,) = clean(out.getvalue()).rows
    assert (row.fields["value"], row.fields["unit"]) == ("3.1", "%")


def test_a_formula_without_a_stored_result_is_a_fault() -> None:
    row = ("A1", date(2026, 3, 9), "Petiole", "=2000+310", 3.1)
    report = read(book(Results=[HEADER, row], Notes=[("=1+1",)]))
    (fault,) = report.faults
    assert (fault.line, fault.key) == (2, "column D")
    assert "=2000+310" in fault.message and "open the file in a spreadsheet program and save it" in fault.message
    assert [row.fields["value"] for row in report.rows] == ["3.1"]


def test_a_formula_that_cannot_be_read_is_refused() -> None:
    whole = book(Results=[HEADER, ("A1", date(2026, 3, 9), "Petiole", "=2000+310", 3.1)])
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        sheet = packed.read("xl/worksheets/sheet1.xml")
    shared = b'<c r="%s"><f t="shared" si="0">%s</f><v></v></c>'
    broken = re.sub(rb'<c r="D2".*?</c>', shared % (b"D2", b'"a') + shared % (b"F2", b""), sheet)
    assert "damaged" in refusal(changed(whole, "xl/worksheets/sheet1.xml", broken))


@pytest.mark.parametrize(
    ("stored", "values"), [(b'<c r="D2"><f>2000+310</f><v>2310</v></c>', ["2310", "3.1"]), (EMPTY_TEXT, ["3.1"])]
)
def test_a_formula_with_a_stored_result_is_read_as_its_result(stored: bytes, values: list[str]) -> None:
    whole = book(Results=[HEADER, ("A1", date(2026, 3, 9), "Petiole", "=2000+310", 3.1)])
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        sheet = packed.read("xl/worksheets/sheet1.xml")
    stored_sheet = re.sub(rb'<c r="D2".*?</c>', stored, sheet)
    assert stored_sheet != sheet
    report = clean(changed(whole, "xl/worksheets/sheet1.xml", stored_sheet))
    assert [row.fields["value"] for row in report.rows] == values


def test_real_dates_beside_dates_as_text_are_a_fault_of_the_whole_file() -> None:
    """A program of another country takes 3/9/2026 for a date and leaves 25/03/2026 as text (common practice)."""
    rows = [HEADER, ("A1", date(2026, 9, 3), "Leaf", None, 3.1), ("A2", "25/03/2026", "Leaf", None, 3.2)]
    report = read(book(Results=rows))
    (fault,) = report.faults
    assert (fault.line, fault.key, report.rows) == (3, "Date sampled", ())
    assert "25/03/2026" in fault.message and "swapped" in fault.message


def test_real_dates_beside_dates_that_can_be_read_one_way_only_are_fine() -> None:
    rows = [HEADER, ("A1", date(2026, 9, 3), "Leaf", None, 3.1), ("A2", "2026-03-25", "Leaf", None, 3.2)]
    report = clean(book(Results=[*rows, ("A3", "26 March 2026", "Leaf", None, 3.2)]))
    assert [row.fields["sampled"] for row in report.rows] == ["2026-09-03", "2026-03-25", "2026-03-26"]


def test_texts_of_a_sheet_are_plain_texts() -> None:
    (row,) = clean(book(Results=[HEADER, (77, date(2026, 3, 9), "Leaf", None, 3.1)])).rows
    assert {type(text) for text in (*row.fields.values(), *row.names, row.printed)} == {str}


def test_number_cells_and_texts_with_a_comma_stand_side_by_side() -> None:
    report = clean(
        book(
            Results=[
                HEADER,
                ("A1", date(2026, 3, 9), "Leaf", None, "2,125"),
                ("A2", date(2026, 3, 9), "Leaf", None, "3,1"),
                ("A3", date(2026, 3, 9), "Leaf", None, 2.125),
            ]
        )
    )
    assert [float(row.fields["value"]) for row in report.rows] == [2.125, 3.1, 2.125]


def test_a_date_that_is_a_bare_number_is_a_fault() -> None:
    (fault,) = read(book(Results=[HEADER, ("A1", 46090, "Leaf", None, 3.1)])).faults
    assert (fault.line, fault.key) == (2, "Date sampled")


def test_the_only_sheet_with_a_header_is_used() -> None:
    data = book(Notes=[("About this report",)], Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, 3.1)])
    assert len(clean(data).rows) == 1


def test_several_sheets_with_headers_are_asked_about() -> None:
    row = ("A1", date(2026, 3, 9), "Leaf", None)
    data = book(East=[HEADER, (*row, 3.1)], West=[HEADER, (*row, 3.2)])
    (asked,) = read(data).questions
    assert (asked.key, asked.choices) == ("sheet", ("East", "West"))
    assert [item.fields["value"] for item in clean(data, Profile(sheet="West")).rows] == ["3.2"]


def test_a_sheet_that_is_not_there_is_refused() -> None:
    assert 'no sheet "North"; there are: East' in refusal(book(East=[HEADER]), Profile(sheet="North"))


def test_sheets_without_a_header_are_refused() -> None:
    assert "no header was found" in refusal(book(Results=[("A1", 2310)]))


def test_errors_and_truth_values_are_texts() -> None:
    report = read(book(Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, True)]))
    (fault,) = report.faults
    assert "TRUE" in fault.message


@pytest.mark.parametrize("keep", [0.3, 0.6, 0.9, 0.99])
def test_a_file_cut_short_is_refused(keep: float) -> None:
    whole = book(Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, 3.1)])
    with pytest.raises(UserError):
        read(whole[: int(keep * len(whole))])


def changed(data: bytes, name: str, content: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for item in old.namelist():
            new.writestr(item, content if item == name else old.read(item))
    return out.getvalue()


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/styles.xml"])
def test_a_damaged_part_is_refused(part: str) -> None:
    whole = book(Results=[HEADER, ("A1", date(2026, 3, 9), "Leaf", None, 3.1)])
    assert "damaged" in refusal(changed(whole, part, b"<nothing"))


def test_a_file_that_unpacks_to_too_much_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b" " * 201_000_000)
    assert "201,000,000 bytes" in refusal(out.getvalue())


def test_other_zip_files_are_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("letter.txt", "nothing")
    with pytest.raises(UserError):
        read(out.getvalue())


def test_an_old_spreadsheet_is_refused_with_what_to_do() -> None:
    assert "as .xlsx" in refusal(bytes.fromhex("D0CF11E0A1B11AE1") + bytes(600))


def test_without_the_package_its_name_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    data = book(Results=[HEADER])
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert 'pip install "fertadjust[spreadsheets]"' in refusal(data)
