"""Whatever the bytes, a report is read, asked about or refused in a grower's words; nothing else ever happens.

The number of examples of each test comes from the environment variable FERTADJUST_FUZZ.
"""

from __future__ import annotations

import csv
import io
import json
import os
import zipfile
from collections.abc import Callable
from datetime import date
from typing import Any

import openpyxl
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import UserError
from fertadjust.lab.days import Order
from fertadjust.lab.profile import Profile, told
from fertadjust.lab.report import Report, read_report
from fertadjust.lab.values import Decimal
from fertadjust.tissue import parse_value

EXAMPLES = settings(
    max_examples=int(os.environ.get("FERTADJUST_FUZZ", "300")),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def check(data: bytes, name: str, profile: Profile | None = None, sap_or_dry: str = "") -> Report | None:
    """Read twice; nothing but `UserError`, and every row as a later check needs it."""
    try:
        report = read_report(data, name, profile, sap_or_dry=sap_or_dry)
    except UserError as error:
        assert error.faults and all(fault.message for fault in error.faults)
        return None
    assert report == read_report(data, name, profile, sap_or_dry=sap_or_dry)
    keys = [question.key for question in report.questions]
    assert len(keys) == len(set(keys))
    for fault in report.faults:
        assert fault.message.strip() and fault.file == name
    for row in report.rows:
        assert set(row.fields) <= set(RESULT_FIELDS)
        assert all(isinstance(text, str) and text for text in row.fields.values())
        assert date.fromisoformat(row.fields["sampled"]).isoformat() == row.fields["sampled"]
        if "received" in row.fields:
            date.fromisoformat(row.fields["received"])
        assert "" not in row.names and len(set(row.names)) == len(row.names)
        value = row.fields["value"]
        assert value == value.strip() and "," not in value and "e" not in value.lower().replace("infe", "")
        try:
            parse_value(value)
        except UserError as error:
            assert error.faults
    return report


def answer_all(data: bytes, name: str) -> None:
    """Give the first acceptable answer to every question until none is left; it ends."""
    profile = Profile()
    for _ in range(30):
        report = check(data, name, profile)
        if report is None or not report.questions:
            return
        for question in report.questions:
            profile = told(profile, question.key, question.choices[0] if question.choices else "10")
    raise AssertionError(f"questions without end: {profile}")


# --- any bytes -------------------------------------------------------------------------------------------------

STARTS = [
    b"",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b"\xfe\xff",
    b"PK\x03\x04",
    b"%PDF-1.7",
    b"\xd0\xcf\x11\xe0",
    b"{",
    b"[",
]
NAMES = st.sampled_from(["r.csv", "r.json", "r.xlsx", "r", ""])


@EXAMPLES
@given(start=st.sampled_from(STARTS), rest=st.binary(max_size=400), name=NAMES)
@example(start=b"PK\x03\x04", rest=b"xl/workbook.xml", name="r.xlsx")
def test_any_bytes(start: bytes, rest: bytes, name: str) -> None:
    check(start + rest, name)


@EXAMPLES
@given(text=st.text(max_size=300), encoding=st.sampled_from(["utf-8", "utf-16", "cp1252"]), name=NAMES)
def test_any_text(text: str, encoding: str, name: str) -> None:
    check(text.encode(encoding, "ignore"), name)


# --- tables ----------------------------------------------------------------------------------------------------

HEADERS = st.sampled_from(
    [
        *RESULT_FIELDS,
        *("Sample ID", "Lab No", "Field", "Date sampled", "Date", "Date received", "Plant part", "Sample type"),
        *("Parameter", "Result", "Units", "RL", "MDL", "Qualifier", "Comments", "Crop", "TKN", "Supervisor", ""),
        *("NO3-N (ppm)", "Nitrate", "N %", "K_pct", "Leaf N (%)", "Petiole NO3-N [mg/kg]", "NO3-N rating", "Na"),
        *("NO3-N unit", "Total N", "Nitrate-N, mmol/L", "Basis", "Sap NO3-N"),
    ]
)
NUMBERS = st.one_of(
    st.floats(0, 1e6).map(lambda number: f"{number:.2f}"),
    st.floats(0, 1e6).map(lambda number: f"{number:,.1f}"),
    st.floats(0, 1e6).map(lambda number: f"{number:.1f}".replace(".", ",")),
    st.integers(-5, 9_999_999).map(str),
    st.integers(1000, 9_999_999).map(lambda number: f"{number:,}".replace(",", ".")),
)
WORDS = st.sampled_from(
    [
        *(
            "",
            "",
            "petiole",
            "Leaf",
            "leaf with petiole",
            "sap",
            "dry",
            "fresh",
            "Root",
            "A1",
            "north",
            "U",
            "<",
            ">",
        ),
        *(
            "NO3-N",
            "Nitrate",
            "nitrate as NO3",
            "Total N",
            "K",
            "Na",
            "TKN",
            "mg/kg",
            "ppm",
            "%",
            "mmol/L",
            "lb/ac",
        ),
        *("ND", "<10", "> 5000", "BDL", "n/a", "-", "3.1 %", "2,310", "2.310", "0", "nan", "inf", "1E9", "1e999"),
        *("2026-03-09", "3/9/2026", "25/3/2026", "3/25/26", "9 March 2026", "20260309", "46090", "2026-02-30"),
        *(
            "Total",
            "Mean",
            "Sampled: 2026-03-09",
            "Plant part: Leaf",
            "Plant part:",
            "Laboratory:",
            "Example",
            "See notes",
            "'12",
            '"',
            "\n",
            "٣",
            "\ufeff",
        ),
    ]
)
CELLS = st.one_of(WORDS, WORDS, NUMBERS, st.text(max_size=8))

TEMPLATES = st.sampled_from(
    [
        ["Sample ID", "Date sampled", "Plant part", "Parameter", "Result", "Units"],
        ["Sample ID", "Field", "Date sampled", "Plant part", "Parameter", "Result", "Units", "RL", "Qualifier"],
        ["Lab No", "Date sampled", "Plant part", "NO3-N (ppm)", "N %", "K_pct", "Comments"],
        ["Sample ID", "Date sampled", "Petiole NO3-N [mg/kg]", "Leaf N (%)", "NO3-N rating"],
        ["block", "sampled", "value"],
        list(RESULT_FIELDS),
        ["Sample ID", "Date sampled", "Plant part", "Result (ppm)"],
    ]
)
DATES = st.sampled_from(
    [["2026-03-09", "20260312"], ["3/9/2026", "3/25/2026"], ["9.3.2026"], ["9-Mar-26", "3/3/26"]]
)
POINTS = [lambda number: f"{number:.2f}", lambda number: f"{number:,.1f}", lambda number: f"<{number:.0f}"]
COMMAS = [lambda number: f"{number:.2f}".replace(".", ","), lambda number: f"{number:,.0f}".replace(",", ".")]
MEANT = {
    **{key: ["petiole", "Leaf", "Petioles"] for key in ["Plant part", "tissue"]},
    **{key: ["NO3-N", "Nitrate-N", "Total N", "K", "Na"] for key in ["Parameter", "analyte"]},
    **{key: ["ppm", "mg/kg", "%", ""] for key in ["Units", "unit"]},
    **{key: ["A1", "A2", "north", "77"] for key in ["Sample ID", "Lab No", "Field", "block", "sample_id"]},
    "basis": ["dry", "sap", ""],
    "method": ["laboratory", ""],
    "petioles": ["20", ""],
    "Qualifier": ["", "<", "U"],
    **{key: ["", "low", "said so"] for key in ["Comments", "note", "laboratory", "NO3-N rating"]},
}


def rarely(draw: Callable[..., Any], one_in: int) -> bool:
    return bool(draw(st.integers(1, one_in)) == one_in)


@st.composite
def tables(draw: Callable[..., Any]) -> bytes:
    """A table in the hands of people: junk above and between, wrong cells, any delimiter and encoding."""
    header = list(draw(TEMPLATES))
    if rarely(draw, 3):
        header = list(draw(st.permutations(header + draw(st.lists(HEADERS, max_size=2)))))
    junk = st.lists(CELLS, max_size=11)
    dates = draw(DATES)
    styles = draw(st.sampled_from([POINTS, COMMAS, POINTS + COMMAS]))
    wild = draw(st.sampled_from([3, 30, 1000]))

    def cell(name: str) -> str:
        if rarely(draw, wild):
            return str(draw(CELLS))
        if "sampled" in name.lower() or name == "received":
            return str(draw(st.sampled_from(dates)))
        if name in MEANT:
            return str(draw(st.sampled_from(MEANT[name])))
        return str(draw(st.sampled_from(styles))(draw(st.floats(1, 1e5))))

    rows = draw(st.lists(junk, max_size=2)) if rarely(draw, 3) else []
    rows.append(header)
    for _ in range(draw(st.integers(0, 6))):
        kind = draw(st.integers(0, 14))
        rows.append(header if kind == 14 else draw(junk) if kind == 13 else [cell(name) for name in header])
    out = io.StringIO()
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    ends = draw(st.sampled_from(["\n", "\r\n"]))
    csv.writer(out, delimiter=delimiter, lineterminator=ends).writerows(rows)
    text = out.getvalue()
    for _ in range(draw(st.integers(1, 2)) if rarely(draw, 4) else 0):
        at = draw(st.integers(0, len(text)))
        put = draw(st.sampled_from(["", '"', ",", ";", "\n", "\r", "\t", "\x00", "é", "'"]))
        text = text[:at] + put + text[at + 1 :]
    encoding: str = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    return text.encode(encoding, "replace")


PROFILES = st.builds(
    Profile,
    columns=st.dictionaries(
        st.sampled_from(["nitrate", "tkn", "supervisor", "date", "rl", "column 3"]),
        st.sampled_from(["ignore", "note", "sampled", "NO3-N", "N", "limit", "value", "block"]),
        max_size=3,
    ),
    units=st.dictionaries(
        st.sampled_from(["result", "NO3-N", "nitrate", "N"]), st.sampled_from(["ppm", "%", "mmol/L"])
    ),
    tissue=st.sampled_from(["", "petiole", "leaf", "split"]),
    basis=st.sampled_from(["", "dry", "sap"]),
    dates=st.sampled_from(["", "", *Order]),
    decimal=st.sampled_from(["", "", "", *Decimal]),
    limits=st.dictionaries(st.sampled_from(["NO3-N", "N", "K"]), st.floats(1e-6, 1e6)),
    qualifiers=st.dictionaries(st.sampled_from(["u", "nd"]), st.sampled_from(["<", ">", "ignore"])),
    laboratory=st.sampled_from(["", "Example Laboratory"]),
)


@EXAMPLES
@given(data=tables(), profile=PROFILES, sap_or_dry=st.sampled_from(["", "dry", "sap"]))
def test_any_table(data: bytes, profile: Profile, sap_or_dry: str) -> None:
    check(data, "r.csv", profile, sap_or_dry)


@EXAMPLES
@given(data=tables())
def test_answering_every_question_of_a_table_comes_to_an_end(data: bytes) -> None:
    answer_all(data, "r.csv")


# --- spreadsheets ----------------------------------------------------------------------------------------------


def workbook(rows: list[list[object]], packing: int) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    saved, out = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with zipfile.ZipFile(saved) as old, zipfile.ZipFile(out, "w", packing) as new:
        for name in old.namelist():
            new.writestr(zipfile.ZipInfo(name), old.read(name), packing)
    return out.getvalue()


BOOK_ROWS: list[list[object]] = [
    ["Sample", "Date sampled", "Plant part", "NO3-N (ppm)", "N (%)"],
    ["A1", date(2026, 3, 9), "Petiole", 2310.5, None],
    ["A2", "3/25/2026", "Leaf", "<10", 3.125],
]
FORMULA_ROWS: list[list[object]] = [*BOOK_ROWS[:2], ["A2", "=B2+7", "Leaf", None, "=E9*2"]]
BOOKS = [
    workbook(BOOK_ROWS, zipfile.ZIP_STORED),
    workbook(BOOK_ROWS, zipfile.ZIP_DEFLATED),
    workbook(FORMULA_ROWS, zipfile.ZIP_STORED),
]


@EXAMPLES
@given(data=st.data(), book=st.sampled_from(BOOKS))
def test_any_damaged_spreadsheet(data: st.DataObject, book: bytes) -> None:
    damaged = bytearray(book)
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at : at + data.draw(st.integers(1, 4))] = data.draw(st.binary(max_size=4))
    check(bytes(damaged), "r.xlsx", None, "dry")


# --- JSON ------------------------------------------------------------------------------------------------------

LEAVES = st.one_of(
    CELLS, st.none(), st.booleans(), st.integers(-5, 10**25), st.floats(allow_nan=True), st.just([]), st.just({})
)
CODES = st.sampled_from(
    [
        "",
        "B-NO3.01.01",
        "B-NO3.02.01",
        "B-NO3.15.04",
        "B-NO.09.02",
        "B-TN.01.01",
        "B-K.01.01",
        "S-NO3.1",
        "b-x",
        "B-",
    ]
)
RESULTS = st.fixed_dictionaries(
    {
        "analyte": st.sampled_from(["NO3-N", "Nitrate", "N", "K", "Na", "TKN", "Total N", ""]),
        "value": st.one_of(
            st.floats(0.001, 1e5), st.integers(1, 99_999), st.sampled_from(["<10", "ND", "2310"]), CELLS
        ),
        "units": st.sampled_from(["mg/kg", "[ppm]", "%", "mg/kg", "[ppm]", "%", "mg/L", "mmol/L", "lb", ""]),
    },
    optional={"modusTestID": CODES},
)
SOME_DATES = st.sampled_from(["2026-03-09", "2026-03-11T10:30:00Z", "3/9/2026", "2026-03-12", "soon"])
PLACES = st.fixed_dictionaries(
    {}, optional={"date": SOME_DATES, "field": CELLS, "subfield": CELLS, "grower": CELLS}
)
LABS = st.fixed_dictionaries({}, optional={"name": CELLS, "dateReceived": SOME_DATES, "sampleid": CELLS})
SAMPLES = st.fixed_dictionaries(
    {"results": st.dictionaries(st.text(max_size=3), RESULTS, min_size=1, max_size=4)},
    optional={"lab": LABS, "source": PLACES},
)
DOCUMENTS = st.fixed_dictionaries(
    {
        "id": st.just("1"),
        "date": SOME_DATES,
        "type": st.just("plant-tissue"),
        "samples": st.dictionaries(st.text(max_size=3), SAMPLES, min_size=1, max_size=3),
    },
    optional={"lab": LABS, "source": PLACES},
)


def places(whole: object) -> list[tuple[Any, Any]]:
    """Every (parent, key) in a document."""
    found: list[tuple[Any, Any]] = []
    if isinstance(whole, dict):
        items: list[tuple[Any, Any]] = list(whole.items())
    else:
        items = list(enumerate(whole)) if isinstance(whole, list) else []
    for key, value in items:
        found.append((whole, key))
        found += places(value)
    return found


@st.composite
def documents(draw: Callable[..., Any]) -> bytes:
    """A report with some of its parts replaced or left out, and its text perhaps damaged."""
    whole = json.loads(json.dumps(draw(st.one_of(DOCUMENTS, DOCUMENTS, st.lists(DOCUMENTS, max_size=2)))))
    for _ in range(draw(st.integers(1, 3)) if rarely(draw, 3) else 0):
        there = places(whole)
        if there:
            parent, key = draw(st.sampled_from(there))
            if draw(st.booleans()):
                parent[key] = draw(LEAVES)
            else:
                del parent[key]
    text = json.dumps(whole, ensure_ascii=draw(st.booleans()))
    if rarely(draw, 8):
        at = draw(st.integers(0, len(text)))
        text = (
            text[:at] + draw(st.sampled_from(["", "}", "[", '"', ",", "NaN", "\\ud800", "1e999"])) + text[at + 1 :]
        )
    return text.encode("utf-8", "replace")


@EXAMPLES
@given(data=documents(), profile=PROFILES, sap_or_dry=st.sampled_from(["", "dry", "sap"]))
def test_any_document(data: bytes, profile: Profile, sap_or_dry: str) -> None:
    check(data, "r.json", profile, sap_or_dry)


@EXAMPLES
@given(data=documents())
def test_answering_every_question_of_a_document_comes_to_an_end(data: bytes) -> None:
    answer_all(data, "r.json")
