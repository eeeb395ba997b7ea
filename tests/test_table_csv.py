"""Band tables as CSV. All figures are invented."""

from __future__ import annotations

import string
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.band_rows import MONTHS, Axis
from fertadjust.bands import BandTable
from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.shipped import read_band_folder, read_band_table, shipped_tables
from fertadjust.table_csv import parse_csv_table
from fertadjust.table_write import csv_text, table_text, toml_text, write_table
from fertadjust.toml_file import parse_toml

HEAD = """title,Our own plots
crop,watermelon
system,field
region,"Indiana, north"
tissue,petiole
part,petiole
basis,dry
axis,stages
"""
BANDS = """
place,analyte,unit,low,high,source,note
First flower,NO3-N,ppm,5000,9000,,two trials
fruit bulking,NO3-N,ppm,3000,7000,,
"""


def table(text: str, name: str = "our-plots.csv") -> BandTable:
    return parse_csv_table(text.encode(), name)


def faults(text: str, name: str = "our-plots.csv") -> list[tuple[int | None, str, str]]:
    with pytest.raises(UserError) as caught:
        table(text, name)
    assert {fault.file for fault in caught.value.faults} == {name}
    return [(fault.line, fault.key, fault.message) for fault in caught.value.faults]


# --- reading ---------------------------------------------------------------------------------------------------


def test_a_table_is_read_with_stages_in_order_of_first_appearance() -> None:
    found = table(HEAD + BANDS)
    assert (found.id, found.region, found.stages) == (
        "our-plots",
        "Indiana, north",
        ("first_flower", "fruit_bulking"),
    )
    first = found.rows[0]
    assert (first.id, first.low, first.high, first.note) == ("1", 5000.0, 9000.0, "two trials")


def test_a_source_and_evidence_left_empty_are_the_growers_own() -> None:
    assert {(row.source, row.evidence) for row in table(HEAD + BANDS).rows} == {("own", Evidence.OWN)}


def test_a_spreadsheet_of_another_country_is_no_trouble() -> None:
    """Semicolons, decimal commas, a byte-order mark, quoted cells, blank lines, padding, and the line sep=;."""
    text = (
        '\ufeffsep=;\r\n"Title";"Our leaves; 2026";;;\r\ncrop;watermelon;;;\r\n;;;;\r\nsystem;field;;;\r\n'
        "region;Indiana;;;\r\n"
        "tissue;Leaf;;;\r\npart;leaf;;;\r\nbasis;dry;;;\r\naxis;season;;;\r\n\r\n"
        'Place;Analyte;Unit;Low;High\r\nseason;N;%;"3,1";4,5\r\n;;;;\r\nseason;K;%;2;3,25\r\n'
    )
    found = table(text)
    assert found.title == "Our leaves; 2026"
    assert [(row.analyte, row.low, row.high) for row in found.rows] == [("N", 3.1, 4.5), ("K", 2.0, 3.25)]


def test_thousands_and_tabs_and_windows_text_are_read() -> None:
    text = (HEAD.replace("Our own plots", "Möhl") + BANDS.replace("5000", "5 000")).replace(
        '"Indiana, north"', "x"
    )
    found = parse_csv_table(text.replace(",", "\t").encode("cp1252"), "our-plots.csv")
    assert (found.title, found.rows[0].low) == ("Möhl", 5000.0)


def test_a_text_with_a_comma_needs_no_quotes_and_lines_with_a_hash_are_passed_over() -> None:
    text = "# our plots, 2026\n" + HEAD.replace('"Indiana, north"', "Indiana, north") + "note,a\nnote,b\n" + BANDS
    found = table(text)
    assert (found.region, found.notes) == ("Indiana, north", ("a", "b"))


@pytest.mark.parametrize(
    ("axis", "place", "field", "value"),
    [
        ("weeks", "4", "weeks", (4, 4)),
        ("weeks", "1-3", "weeks", (1, 3)),
        ("weeks", "Weeks 1 to 3", "weeks", (1, 3)),
        ("weeks", "-1 – 0", "weeks", (-1, 0)),
        ("days", "40-60", "days", (40, 60)),
        ("months", "November; dec and January", "months", ("November", "December", "January")),
        ("season", "Whole season", "stage", None),
        ("stages", "First Flower to fruit bulking", "until", "fruit_bulking"),
    ],
)
def test_places_as_people_write_them(axis: str, place: str, field: str, value: object) -> None:
    head = HEAD.replace("axis,stages", f"axis,{axis}\nanchor,first flower")
    row = table(f"{head}\nplace,analyte,unit,low\n{place},K,%,2\n").rows[0]
    assert getattr(row, field) == value


# --- faults ----------------------------------------------------------------------------------------------------


def test_every_fault_is_told_at_once_with_line_and_column() -> None:
    text = (
        "title,\ncolour,red\ncrop,watermelon\nregion,x\ntissue,root\npart,petiole\nbasis,dry\naxis,weeks\n"
        "anchor,first flower\nplace,analyte,unit,low,high,evidence\n"
        "1-3,NO3-N,ppm,5000,3000,\n03-Jan,NO3-N,ppm,10,20,\n5,,ppm,-,x,\n6,K,ppm,<10,20 ppm,mine\n7,K,ppm,,,\n"
    )
    found = faults(text)
    said = " | ".join(f"{line} {key}: {message}" for line, key, message in found)
    for expected in (
        "1 title: is empty; write what the table is called",
        "2 colour: is no head line; known are: title",
        "None system: is missing",
        '5 tissue: "root" is none; write petiole or leaf',
        "11 1-3: low 5000 is not below high 3000",
        '12 place: "03-Jan" is a date, as a spreadsheet program makes of 1-3; write a week',
        "13 analyte: is empty",
        '13 high: "x" is no number; write one such as 2310 or 3.1',
        '14 low: "<10" is no edge; write a plain number',
        '14 high: "20 ppm" holds a unit; it goes into the column unit',
        '14 evidence: "mine" is none; write published',
        "15 7: a row needs low, high or both",
    ):
        assert expected in said, expected
    assert len(found) == 12


def test_faults_of_the_whole_are_told_beside_those_of_a_row() -> None:
    text = HEAD + BANDS + "fruit bulking,NO3-N,ppm,10,20,,\nripe,NO3-N,mg/L,10,20,,\nred,K,%,3,2,,\n"
    assert [(line, key) for line, key, _ in faults(text)] == [(14, "unit"), (15, "red")]
    overlap = HEAD + BANDS + "fruit bulking,NO3-N,ppm,10,20,,\nred,K,%,3,2,,\n"
    assert [message for _, _, message in faults(overlap)] == [
        "rows 2 and 3 overlap for NO3-N at fruit bulking",
        "low 3 is not below high 2",
    ]


def test_numbers_that_can_be_read_in_two_ways_are_asked_about() -> None:
    text = (HEAD.replace('"Indiana, north"', "x") + BANDS.replace("5000", "5.000")).replace(",", ";")
    assert [(line, key) for line, key, message in faults(text) if "two ways" in message] == [(11, "low")]


def test_decimal_commas_beside_decimal_points_are_a_fault() -> None:
    text = (
        (HEAD.replace('"Indiana, north"', "x") + BANDS)
        .replace(",", ";")
        .replace("5000", "5,5")
        .replace("9000", "9000.5")
    )
    [(line, key, message)] = faults(text)
    assert (line, key) == (11, "low")
    assert 'another number of the table, "9000.5", a decimal point' in message


def test_a_comma_inside_a_cell_is_explained() -> None:
    [(line, _, message)] = faults(HEAD + BANDS.replace("two trials", "two, trials"))
    assert line == 11
    assert "is there a comma inside a number or a text" in message


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (("place,", "spot,"), "no line begins with place"),
        (("unit,low", "unit,lowest"), "is no column; known are: place, analyte"),
        (("analyte,unit", "analyte,analyte"), "is a column twice"),
        (("high,source", ",source"), "stands in a column without a heading"),
        (("system,field", "system,field\nsystem,shed"), "stands twice"),
        (("two trials", 'two "trials'), None),
        (("axis,stages", "axis,stages\nlast days,few"), "is no number of days"),
        (("axis,stages", "axis,stages\nbetween,straight"), "between goes with axis days"),
    ],
)
def test_what_will_not_do_is_explained(change: tuple[str, str], expected: str | None) -> None:
    text = (HEAD + BANDS).replace(*change)
    if expected is None:
        text = text.replace("two ", '"two ')
        expected = "the quotation marks do not fit"
    assert expected in " | ".join(message for _, _, message in faults(text))


def test_a_table_without_bands_and_a_name_that_is_no_id_are_told() -> None:
    messages = [message for _, _, message in faults(HEAD + BANDS.splitlines()[1] + "\n", "Our plots.csv")]
    assert "use lower-case letters, digits and -, such as our-plots.csv" in messages[0]
    assert "no band stands below the header" in messages[1]


# --- folders ---------------------------------------------------------------------------------------------------


def test_a_folder_holds_tables_of_both_kinds(tmp_path: Path) -> None:
    (tmp_path / "our-plots.csv").write_text(HEAD + BANDS)
    other = table(HEAD + BANDS).model_copy(update={"id": "others"})
    (tmp_path / "others.toml").write_text(toml_text(other))
    assert read_band_folder(tmp_path) == {"others": other, "our-plots": table(HEAD + BANDS)}


def test_two_files_of_one_id_are_a_fault(tmp_path: Path) -> None:
    (tmp_path / "our-plots.csv").write_text(HEAD + BANDS)
    (tmp_path / "our-plots.toml").write_text(toml_text(table(HEAD + BANDS)))
    with pytest.raises(UserError, match=r"our-plots\.csv: our-plots\.toml beside it is a table of the same id"):
        read_band_folder(tmp_path)


def test_marks_that_turn_the_direction_of_writing_are_left_out() -> None:
    assert table(HEAD.replace("title,", "title,\u202e\u2067", 1) + BANDS) == table(HEAD + BANDS)


def test_a_file_of_the_season_is_no_name_for_a_table(tmp_path: Path) -> None:
    for name in ("season.toml", "laboratories.toml"):
        with pytest.raises(UserError, match="is a file of the season itself"):
            write_table(table(HEAD + BANDS), tmp_path / name)


@pytest.mark.parametrize(
    "text", ["day,amount\n2026-03-01,12\n", "", "place\n", "\x00", '[crop]\nname = "tomato"\n', "torn = \n"]
)
@pytest.mark.parametrize("ending", [".csv", ".toml"])
def test_what_is_no_band_table_is_not_written_over_whatever_is_asked(
    tmp_path: Path, ending: str, text: str
) -> None:
    path = tmp_path / f"our-plots{ending}"
    path.write_text(text)
    with pytest.raises(UserError, match="stands already and is no band table"):
        write_table(table(HEAD + BANDS), path, overwrite=True)
    assert path.read_text() == text


def test_a_band_table_is_written_over_when_asked_with_faults_or_without(tmp_path: Path) -> None:
    for name, text in (
        ("our-plots.csv", HEAD + BANDS.replace("NO3-N", "?")),
        ("our-plots.toml", 'rows = []\naxis = "?"\n'),
    ):
        (tmp_path / name).write_text(text)
        write_table(table(HEAD + BANDS), tmp_path / name, overwrite=True)
        assert read_band_table(tmp_path / name) == table(HEAD + BANDS)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="there is no such file"):
        read_band_table(tmp_path / "nowhere.csv")


# --- there and back --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(shipped_tables()))
def test_every_shipped_table_can_be_written_both_ways(name: str) -> None:
    shipped = shipped_tables()[name]
    assert parse_csv_table(csv_text(shipped).encode(), f"{name}.csv") == shipped
    assert BandTable.model_validate(parse_toml(toml_text(shipped), name).data) == shipped


def test_what_csv_cannot_keep_is_refused() -> None:
    other = table(HEAD + BANDS)
    capital = [row.model_copy(update={"stage": (row.stage or "").upper()}) for row in other.rows]
    changed = other.model_copy(update={"rows": tuple(capital), "stages": ("FIRST_FLOWER", "FRUIT_BULKING")})
    with pytest.raises(UserError, match="cannot keep"):
        table_text(changed, ".csv")
    assert table_text(changed, ".toml")


WORDS = st.text(string.ascii_letters + string.digits + "äß ,.:'\"#()%=-\n", min_size=1, max_size=30).filter(
    lambda text: bool(text.strip()) and "  " not in text
)
EDGE = st.floats(0.01, 90_000.0, allow_nan=False)


@st.composite
def tables(draw: st.DrawFn) -> BandTable:
    """A valid table of any axis, of one to five rows."""
    axis = draw(st.sampled_from(list(Axis)))
    count = 1 if axis is Axis.SEASON else draw(st.integers(1, 5))
    places: dict[Axis, list[dict[str, object]]] = {
        Axis.SEASON: [{}],
        Axis.STAGES: [{"stage": f"stage_{n}"} for n in range(count)],
        Axis.WEEKS: [{"weeks": (3 * n - 1, 3 * n + draw(st.integers(-1, 1)))} for n in range(count)],
        Axis.DAYS: [{"days": (9 * n, 9 * n + draw(st.integers(0, 8)))} for n in range(count)],
        Axis.MONTHS: [{"months": MONTHS[2 * n : 2 * n + draw(st.integers(1, 2))]} for n in range(count)],
    }
    rows = []
    for number, place in enumerate(places[axis], 1):
        low, high = sorted(draw(st.tuples(EDGE, EDGE).filter(lambda edges: edges[0] != edges[1])))
        kept = draw(st.sampled_from([{"low": low, "high": high}, {"low": low}, {"excess_above": high}]))
        evidence = draw(st.sampled_from([Evidence.OWN, Evidence.PUBLISHED, Evidence.RECALLED]))
        more = {"confidence": "medium"} if evidence is Evidence.RECALLED else {}
        texts = {"source": draw(WORDS), "note": draw(st.just("") | WORDS)}
        fixed = {"id": str(number), "analyte": "NO3-N", "unit": draw(st.sampled_from(["ppm", "%"]))}
        rows.append({**fixed, **place, **kept, "evidence": evidence, **more, **texts})
    return BandTable.model_validate(
        {
            "schema": 1,
            "id": "our-plots",
            "title": draw(WORDS),
            "crop": draw(WORDS),
            "variety": draw(st.none() | WORDS),
            "system": draw(WORDS),
            "region": draw(WORDS),
            "tissue": "petiole",
            "part": draw(WORDS),
            "basis": "dry",
            "axis": axis,
            "anchor": "first_flower" if axis in (Axis.WEEKS, Axis.DAYS) else None,
            "stages": tuple(f"stage_{n}" for n in range(count)) if axis is Axis.STAGES else (),
            "notes": draw(st.lists(WORDS.map(str.strip), max_size=2)),
            "rows": rows,
        }
    )


@settings(max_examples=80, deadline=None)
@given(tables())
def test_a_table_is_the_same_after_csv_and_toml(one: BandTable) -> None:
    from_csv = parse_csv_table(csv_text(one).encode(), "our-plots.csv")
    assert from_csv == one
    assert BandTable.model_validate(parse_toml(toml_text(from_csv), "our-plots.toml").data) == one
