"""A report's text as a table: encodings, what sets cells apart, lines, and files that are no tables."""

from __future__ import annotations

import csv
import io
import re

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fertadjust.errors import Fault, UserError
from fertadjust.lab.text import Grid, decode, read_grid, shown

NAME = "report.csv"
MARKS = (",", ";", "\t", "|")


def grid(text: str | bytes) -> Grid:
    return read_grid(text if isinstance(text, bytes) else text.encode(), NAME)


def cells(text: str | bytes) -> list[tuple[str, ...]]:
    return [line.cells for line in grid(text).lines]


def fault(data: str | bytes) -> Fault:
    with pytest.raises(UserError) as caught:
        grid(data)
    (only,) = caught.value.faults
    assert only.file == NAME
    return only


# Encodings


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        ("µg;north".encode(), "utf-8"),
        (b"\xef\xbb\xbf" + "µg;north".encode(), "utf-8"),
        (b"\xff\xfe" + "µg;north".encode("utf-16-le"), "utf-16-le"),
        (b"\xfe\xff" + "µg;north".encode("utf-16-be"), "utf-16-be"),
        ("µg;north".encode("cp1252"), "windows-1252"),
    ],
)
def test_a_text_is_read_in_the_encoding_that_its_bytes_show(data: bytes, encoding: str) -> None:
    assert decode(data, NAME) == ("µg;north", encoding)
    assert grid(data).encoding == encoding
    assert cells(data) == [("µg", "north")]


def test_windows_1252_has_typographic_characters_where_latin_1_has_none() -> None:
    """0x80 is the euro sign, 0x92 a quotation mark, 0x96 a dash (Unicode's mapping table CP1252.TXT)."""
    assert decode(b"\x80 \x92 \x96 \xb5", NAME)[0] == "€ ’ – µ"


def test_bytes_that_windows_1252_leaves_open_are_kept_as_latin_1() -> None:
    assert decode(b"\x80\x81\x8d\x8f\x90\x9d", NAME)[0] == "€\x81\x8d\x8f\x90\x9d"


@pytest.mark.parametrize("data", [b"\xef\xbb\xbfa,b\xff", b"\xff\xfea\x00,", b"\xff\xfe\x00\xd8a\x00"])
def test_a_marked_encoding_that_does_not_hold_to_the_end_is_refused(data: bytes) -> None:
    assert "damaged further on" in fault(data).message


def test_the_end_mark_of_old_programs_is_no_cell() -> None:
    assert cells("a,b\r\n1,2\r\n\x1a") == [("a", "b"), ("1", "2")]


# Files that are no tables


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"%PDF-1.7\n%\xe2\xe3", "this is a PDF; ask the laboratory for a CSV, spreadsheet or JSON file"),
        (b"PK\x03\x04\x14\x00", "packed file (zip"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "save it as .xlsx or CSV"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"\xff\xd8\xff\xe0", "a picture"),
        (b"{\\rtf1\\ansi", "a text document"),
        (b"\n<!DOCTYPE html>\n<html>", "a web page"),
        (b"\xef\xbb\xbf<HTML><table>", "a web page"),
        (b"<table border=1>", "a web page"),
        (b"<?xml version='1.0'?>", "XML"),
        (b"a,b\x00c", "NUL"),
        ("a,b\n1,2".encode("utf-16-le"), "NUL"),
    ],
)
def test_a_file_of_another_kind_is_refused_with_what_it_is(data: bytes, what: str) -> None:
    """Signatures: PDF (ISO 32000), zip (APPNOTE), compound file (MS-CFB), gzip (RFC 1952), PNG (RFC 2083)."""
    assert what in fault(data).message


@pytest.mark.parametrize(
    "data", [b"", b"\xef\xbb\xbf", b"\xff\xfe", b" \r\n\n", b",,,\n,,\n", b";;;\n", b"sep=;\n", b"\x1a"]
)
def test_a_file_without_any_text_is_empty(data: bytes) -> None:
    assert fault(data).message == "the file is empty"


# Delimiters


@pytest.mark.parametrize("mark", MARKS)
def test_each_delimiter_is_found(mark: str) -> None:
    found = grid(
        "\n".join(mark.join(row) for row in (("block", "sampled", "value"), ("north", "2026-03-09", "10")))
    )
    assert found.delimiter == mark
    assert found.lines[1].cells == ("north", "2026-03-09", "10")


def test_decimal_commas_do_not_set_cells_apart() -> None:
    text = "block;NO3-N;N;K\nnorth;2310,5;3,1;2,2\nsouth;1980,5;3,0;2,4\n"
    assert grid(text).delimiter == ";"


def test_commas_in_the_titles_above_do_not_set_cells_apart() -> None:
    titles = "".join(
        f"{town}, {state}\n" for town, state in (("Ashford", "XA"), ("Brook", "XB"), ("Cole", "XC")) * 3
    )
    text = titles + "block;sampled;NO3-N;N;P;K\nnorth;2026-03-09;2310;3,1;0,4;2\nsouth;2026-03-09;2310;3;0,4;2,1\n"
    assert grid(text).delimiter == ";"


def test_a_mark_in_every_name_of_a_sample_does_not_set_cells_apart() -> None:
    text = "sample,value\nhome|north|1,2310\nhome|north|2,2400\nhome|south|1,1980\n"
    assert grid(text).delimiter == ","


def test_a_mark_in_the_remarks_does_not_set_cells_apart() -> None:
    text = "block,value,note\nnorth,2310,late; dry\nsouth,2400,\neast,1900,wet; cold; late\n"
    assert grid(text).delimiter == ","


def test_marks_inside_quotes_do_not_set_cells_apart() -> None:
    text = '"block","value","note"\n"north","2310","a;b;c;d"\n"south","2400","a;b;c;d"\n'
    assert cells(text)[1] == ("north", "2310", "a;b;c;d")


def test_rows_whose_empty_ends_are_cut_off_still_show_the_delimiter() -> None:
    text = "block,value,N,P,note\nnorth,2310,3.1\nsouth,2400\neast,1900,3.0,0.4,a; b\nwest,2000,3.2,0.4\n"
    assert [len(row) for row in cells(text)] == [5, 3, 2, 5, 4]


def test_one_broken_row_does_not_hide_the_delimiter() -> None:
    broken = fault('block,value,note\nnorth,2310,a;b\nsouth,2400,"late" yes\neast,1900,\n')
    assert broken.line == 3
    assert "after the closing quotation mark" in broken.message


def test_a_file_of_a_single_column_has_one_cell_a_line() -> None:
    assert cells("value\n2310\n2400\n") == [("value",), ("2310",), ("2400",)]


@pytest.mark.parametrize("first", ["sep=;", "SEP=;", '"sep=;"', "sep=;;;;"])
def test_a_first_line_that_tells_the_delimiter_is_honoured_and_left_out(first: str) -> None:
    found = grid(f"{first}\r\na,b,c;d\r\n1,2,3;4\r\n")
    assert found.delimiter == ";"
    assert [(line.number, line.cells) for line in found.lines] == [(2, ("a,b,c", "d")), (3, ("1,2,3", "4"))]


def test_a_told_tab_is_honoured() -> None:
    assert cells("sep=\t\na,b\tc,d\n") == [("a,b", "c,d")]


def test_a_told_delimiter_of_another_kind_is_refused() -> None:
    told = fault("sep=:\na:b\n")
    assert (told.line, '":"' in told.message) == (1, True)


# Cells and lines


def test_cells_lose_blanks_and_characters_without_width() -> None:
    assert cells("\u200b a \xa0,\ufeffb\u2060 c,d\xa0e\t,'f\n") == [("a", "b c", "d e", "'f")]


def test_blanks_before_an_opening_quotation_mark_do_not_matter() -> None:
    assert cells('a, "b, c", d\n1, 2, 3\n') == [("a", "b, c", "d"), ("1", "2", "3")]


def test_a_mark_of_inches_inside_a_cell_is_text() -> None:
    assert cells('block,note\nnorth,8" drip\n')[1] == ("north", '8" drip')


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_rows_come_with_the_line_they_start_on(ends: str) -> None:
    text = '\na,note\n\nb,"two\nlines"\n,\nc,"three\n\nlines"\nd,\n'.replace("\n", ends)
    assert [(line.number, line.cells[0]) for line in grid(text).lines] == [(2, "a"), (4, "b"), (7, "c"), (10, "d")]


def test_an_open_quotation_mark_is_a_fault_of_the_row_where_it_opens() -> None:
    opened = fault('a,b\n1,2\n3,"4\n5,6\n7,8\n')
    assert opened.line == 3
    assert "never closed" in opened.message


def test_an_open_quotation_mark_below_a_told_delimiter_has_the_line_of_the_file() -> None:
    assert fault('sep=,\na,b\n3,"4\n').line == 3


def test_a_very_long_cell_is_refused() -> None:
    long = fault(f"a,b\n1,{'x' * 200_000}\n")
    assert (long.line, "too long" in long.message) == (2, True)


def test_a_text_in_a_message_is_short_and_on_one_line() -> None:
    assert shown(" a\n b ") == '"a b"'
    assert len(shown("x" * 500)) < 50


# Whatever is given


def clean(cell: str) -> str:
    return re.sub("[\ufeff\u200b\u200c\u200d\u2060]", "", cell).replace("\xa0", " ").strip()


def tables(texts: st.SearchStrategy[str]) -> st.SearchStrategy[list[list[str]]]:
    return st.integers(2, 5).flatmap(
        lambda width: st.lists(st.lists(texts, min_size=width, max_size=width), min_size=1, max_size=8)
    )


def check_written(table: list[list[str]], mark: str, ends: str, quoting: int) -> None:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=mark, lineterminator=ends, quoting=quoting)  # type: ignore[arg-type]
    expected = []
    for row in table:
        number = len(re.findall("\r\n|\r|\n", out.getvalue())) + 1
        writer.writerow(row)
        if any(clean(cell) for cell in row):
            expected.append((number, tuple(clean(cell) for cell in row)))
    assume(expected)
    found = grid(out.getvalue())
    assert found.delimiter == mark
    assert [(line.number, line.cells) for line in found.lines] == expected


@settings(max_examples=300, deadline=None)
@given(
    tables(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=8)),
    st.sampled_from(MARKS),
    st.sampled_from(["\n", "\r\n"]),
)
def test_any_table_written_in_quotes_reads_back_cell_for_cell(
    table: list[list[str]], mark: str, ends: str
) -> None:
    check_written(table, mark, ends, csv.QUOTE_ALL)


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(MARKS).flatmap(
        lambda mark: st.tuples(st.just(mark), tables(st.text(f'abz059 ."\n{mark}', max_size=6)))
    ),
    st.sampled_from(["\n", "\r\n"]),
)
def test_any_table_with_quotes_where_needed_reads_back_cell_for_cell(
    written: tuple[str, list[list[str]]], ends: str
) -> None:
    mark, table = written
    check_written(table, mark, ends, csv.QUOTE_MINIMAL)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 9_999), st.integers(0, 99), st.integers(0, 9)).map(
            lambda n: f"north;{n[0]},{n[1]:02};{n[2]},5"
        ),
        min_size=1,
        max_size=20,
    )
)
def test_a_table_with_a_decimal_comma_in_every_number_keeps_its_columns(rows: list[str]) -> None:
    found = grid("\n".join(["block;NO3-N;N", *rows]))
    assert {len(line.cells) for line in found.lines} == {3}


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=80),
        st.text(max_size=80).map(lambda text: text.encode("utf-8", "surrogatepass")),
        st.text('ab,;\t|"\r\n \xa0=sep', max_size=80).map(str.encode),
        st.binary(max_size=40).map(lambda data: b"\xff\xfe" + data),
    )
)
def test_any_bytes_are_a_table_or_a_fault_of_the_file(data: bytes) -> None:
    try:
        found = grid(data)
    except UserError as error:
        assert all(fault.file == NAME and fault.message for fault in error.faults)
        return
    numbers = [line.number for line in found.lines]
    assert numbers == sorted(set(numbers))
    assert all(any(line.cells) for line in found.lines)
    assert all(cell == cell.strip() for line in found.lines for cell in line.cells)
