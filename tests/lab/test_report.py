"""Reports as CSV: every form and every kind of disorder, one a test. Samples and figures are invented."""

from __future__ import annotations

import pytest

from fertadjust.errors import UserError
from fertadjust.lab.profile import Profile, told
from fertadjust.lab.report import Report, Row, read_report

LONG = "Sample ID,Date sampled,Plant part,Basis,Analyte,Result,Units"
WIDE = "Sample ID,Date sampled,Plant part,NO3-N (ppm),N (%)"


def read(text: str, profile: Profile | None = None, sap_or_dry: str = "dry") -> Report:
    return read_report(text.encode(), "report.csv", profile, sap_or_dry=sap_or_dry)


def clean(text: str, profile: Profile | None = None, sap_or_dry: str = "dry") -> Report:
    """A report with nothing to fault and nothing to ask."""
    report = read(text, profile, sap_or_dry)
    assert (report.faults, report.questions) == ((), ())
    return report


def only(report: Report) -> Row:
    (row,) = report.rows
    return row


def values(report: Report) -> list[tuple[str, str]]:
    return [(row.fields["analyte"], row.fields["value"]) for row in report.rows]


def fault(text: str, profile: Profile | None = None) -> tuple[int | None, str, str]:
    (found,) = read(text, profile).faults
    assert found.file == "report.csv"
    return found.line, found.key, found.message


def question(text: str, profile: Profile | None = None, sap_or_dry: str = "dry") -> tuple[str, tuple[str, ...]]:
    report = read(text, profile, sap_or_dry)
    (asked,) = report.questions
    assert report.faults == ()
    return asked.key, asked.choices


def answered(text: str, *answers: tuple[str, str]) -> Report:
    profile = Profile()
    for key, answer in answers:
        profile = told(profile, key, answer)
    return clean(text, profile)


# --- forms ---------------------------------------------------------------------------------------------------


def test_a_row_a_result() -> None:
    report = clean(f"{LONG}\nA1,2026-03-09,Petiole,dry,Nitrate-N,2310,mg/kg\nA1,2026-03-09,Leaf,,Total N,3.10,%\n")
    assert report.form == "CSV, a row a result"
    assert report.rows[0] == Row(
        line=2,
        column="Result",
        fields={
            "sampled": "2026-03-09",
            "sample_id": "A1",
            "tissue": "petiole",
            "basis": "dry",
            "analyte": "NO3-N",
            "unit": "mg/kg",
            "value": "2310",
        },
        names=("A1",),
        printed="2310 mg/kg Nitrate-N",
    )
    assert values(report) == [("NO3-N", "2310"), ("N", "3.10")]


def test_a_row_a_sample() -> None:
    report = clean(f"{WIDE}\nA1,2026-03-09,Petiole,2310,\nA2,2026-03-09,Leaf,,3.1\n")
    assert report.form == "CSV, a row a sample"
    assert [(row.line, row.column, row.fields["unit"]) for row in report.rows] == [
        (2, "NO3-N (ppm)", "ppm"),
        (3, "N (%)", "%"),
    ]
    assert report.empty == 2


def test_one_value_a_row_leaves_the_analyte_to_the_tissue() -> None:
    report = clean("Sample,Date sampled,Plant part,Result (ppm)\nA1,2026-03-09,petiole,2310\n")
    assert report.form == "CSV, one value a row"
    assert "analyte" not in only(report).fields
    assert only(report).fields["unit"] == "ppm"


def test_the_programs_own_columns_keep_their_defaults_and_raise_no_question() -> None:
    report = clean("Block,sampled,VALUE,sample_id,line,why\nnorth,2026-03-09,2310,S 1,2,late\n", sap_or_dry="")
    assert report.form == "CSV, the program's own columns"
    assert only(report).fields == {"block": "north", "sampled": "2026-03-09", "value": "2310", "sample_id": "S 1"}
    assert only(report).names == ("north", "S 1")


def test_own_columns_pass_their_words_on_to_the_entry_check() -> None:
    text = "block,sampled,tissue,basis,analyte,value,unit,petioles,method,laboratory,note\n"
    report = clean(f"{text}north,2026-03-09,petiole,sap,NO3,410,ppm,20,meter,Example,damp\n")
    assert only(report).fields == {
        "block": "north",
        "sampled": "2026-03-09",
        "tissue": "petiole",
        "basis": "sap",
        "analyte": "NO3",
        "value": "410",
        "unit": "ppm",
        "petioles": "20",
        "method": "meter",
        "laboratory": "Example",
        "note": "damp",
    }


def test_a_header_alone_holds_no_results() -> None:
    assert clean(f"{WIDE}\n").rows == ()


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_other_marks_set_columns_apart(mark: str) -> None:
    text = f"{WIDE}\nA1,2026-03-09,Petiole,2310,\nA2,2026-03-09,Petiole,2410,\n".replace(",", mark)
    assert [row.fields["value"] for row in clean(text).rows] == ["2310", "2410"]


# --- where the header is, and what stands around it ------------------------------------------------------------


def test_title_lines_above_the_header_speak_for_the_whole_file() -> None:
    text = "Tissue report,,\nLaboratory: Example Laboratory\nDate received:,2026-03-12\nSampled,2026-03-09\n"
    text += "Plant part: Petioles\n\nSample ID,NO3-N (ppm)\nA1,2310\n"
    row = only(clean(text))
    assert row.line == 8
    assert row.fields == {
        "sampled": "2026-03-09",
        "received": "2026-03-12",
        "laboratory": "Example Laboratory",
        "sample_id": "A1",
        "tissue": "petiole",
        "basis": "dry",
        "analyte": "NO3-N",
        "unit": "ppm",
        "value": "2310",
    }


def test_a_reports_own_date_is_no_day_of_sampling() -> None:
    text = "Date: 2026-03-12\nSample ID,Plant part,NO3-N (ppm)\nA1,petiole,2310\n"
    assert "no day of sampling" in fault(text)[2]


def test_titles_that_differ_are_a_fault() -> None:
    text = f"Sampled: 2026-03-09\nSampled: 2026-03-10\n{WIDE}\n"
    assert fault(text)[:2] == (2, "Sampled")


def test_a_line_of_units_under_the_header() -> None:
    report = clean("Sample,Sampled,Tissue,NO3-N,N\n,,,mg/kg,%\nA1,2026-03-09,petiole,2310,3.1\n")
    assert [row.fields["unit"] for row in report.rows] == ["mg/kg", "%"]


def test_a_header_is_found_again_by_the_profile() -> None:
    text = "Lot,Day\nLot,Day,Reading one\nA1,2026-03-09,2310\n"
    profile = Profile(
        header=("lot", "day", "reading one"),
        columns={"lot": "sample_id", "day": "sampled", "reading one": "NO3-N"},
        units={"reading one": "ppm"},
        tissue="petiole",
    )
    assert values(clean(text, profile)) == [("NO3-N", "2310")]


def test_a_file_without_a_header_is_told_what_one_looks_like() -> None:
    with pytest.raises(UserError, match="Sample ID, Date sampled, Plant part"):
        read("A1,2026-03-09,2310\nA2,2026-03-10,2410\n")


def test_a_column_that_stands_twice_is_a_fault() -> None:
    text = "Sample ID,Date sampled,N (%),Date sampled\nA1,2026-03-09,3.1,2026-03-10\n"
    assert fault(text)[:2] == (1, "Date sampled")


def test_a_report_without_values_is_a_fault() -> None:
    assert "no column of values" in fault("Sample ID,Date sampled,Plant part\nA1,2026-03-09,leaf\n")[2]


def test_the_specific_date_goes_before_the_vague_one() -> None:
    report = clean("Sample,Date,Date sampled,Leaf N (%)\nA1,2026-03-12,2026-03-09,3.1\n")
    assert only(report).fields["sampled"] == "2026-03-09"
    assert report.unused == ("Date",)


def test_two_columns_of_one_meaning_are_asked_about() -> None:
    text = "Sample,Date sampled,Collected,Leaf N (%)\nA1,2026-03-09,2026-03-10,3.1\n"
    assert question(text)[0] == "columns.collected"
    assert only(answered(text, ("columns.collected", "ignore"))).fields["sampled"] == "2026-03-09"
    assert only(answered(text, ("columns.collected", "sampled"))).fields["sampled"] == "2026-03-10"


def test_a_column_headed_date_is_asked_about() -> None:
    text = "Sample,Date,Leaf N (%)\nA1,2026-03-09,3.1\n"
    assert question(text) == ("columns.date", ("sampled", "received", "ignore"))
    assert only(answered(text, ("columns.date", "sampled"))).fields["sampled"] == "2026-03-09"


def test_a_date_with_its_form_in_the_header_is_as_vague() -> None:
    text = "Sample,Date (MM/DD/YYYY),Leaf N (%)\nA1,3/9/2026,3.1\n"
    assert question(text)[1] == ("sampled", "received", "ignore")


def test_a_date_told_to_be_of_receipt_is_not_the_day_of_sampling() -> None:
    text = "Sampled: 2026-03-09\nSample,Date,Leaf N (%)\nA1,2026-03-12,3.1\n"
    row = only(answered(text, ("columns.date", "received")))
    assert (row.fields["sampled"], row.fields["received"]) == ("2026-03-09", "2026-03-12")
    profile = told(Profile(), "columns.date", "ignore")
    assert "no day of sampling" in fault("Sample,Date,Leaf N (%)\nA1,2026-03-12,3.1\n", profile)[2]


# --- lines that are no samples ---------------------------------------------------------------------------------


def test_blank_lines_are_left_out_and_lines_still_right() -> None:
    report = clean(f"\n{WIDE}\n\n,,,,\nA1,2026-03-09,petiole,2310,\n")
    assert only(report).line == 5


@pytest.mark.parametrize("word", ["Total", "Average", "MEAN", "Median:", "Std. Dev.", "n", "Count"])
def test_summaries_are_passed_over(word: str) -> None:
    report = clean(f"{WIDE}\nA1,2026-03-09,petiole,2310,\n{word},,,2310,\n")
    assert [line for line, _ in report.passed_over] == [3]
    assert len(report.rows) == 1


def test_a_sample_named_like_a_summary_is_read_by_its_date() -> None:
    assert only(clean(f"{WIDE}\nN,2026-03-09,petiole,2310,\n")).names == ("N",)


@pytest.mark.parametrize("head", ["Analyte,Result,Units", "Qualifier,Analyte,Result,Units"])
def test_the_analyte_n_is_no_number_of_samples(head: str) -> None:
    title = "Sample: A1\nSampled: 2026-03-09\nPlant part: Leaf\n"
    mark = "," * (head.count(",") - 2)
    report = clean(f"{title}{head}\n{mark}N,3.1,%\n{mark}P,0.3,%\n")
    assert values(report) == [("N", "3.1"), ("P", "0.3")]
    assert report.passed_over == ()


def test_summaries_beside_an_analyte_are_passed_over() -> None:
    report = clean(f"{LONG}\nA1,2026-03-09,leaf,,N,3.1,%\nMean,,leaf,,N,3.1,%\n")
    assert report.passed_over == ((3, 'a summary: "Mean"'),)


@pytest.mark.parametrize(
    "line",
    [
        "Plant part: Leaf",
        "Plant part:,Leaf",
        "Plant part,Leaf",
        "Report 2,,Plant part: Leaf",
        "Sampled: 2026-04-22",
    ],
)
def test_a_title_line_below_the_header_is_a_fault_of_the_whole_file(line: str) -> None:
    text = "Sampled: 2026-03-09\nPlant part: Petiole\nSample,NO3-N (ppm),K (%)\nA1,2310,\n"
    report = read(f"{text}{line}\nA2,2410,\n")
    (found,) = report.faults
    assert (found.line, report.rows) == (5, ())
    assert "several parts" in found.message and line.split(",")[-1].split(": ")[-1] in found.message


def test_two_title_cells_under_a_date_and_a_value_are_a_fault_too() -> None:
    text = "Plant part: Petiole\nSample,Sampled,NO3-N (ppm),K (%)\nA1,2026-03-09,2310,\n"
    assert fault(f"{text}Plant part:,Leaf,Block:,12\n")[0] == 4
    assert fault(f"{text}Sample:,2026-04-22\n")[0] == 4


def test_a_title_line_that_is_repeated_word_for_word_is_passed_over() -> None:
    titles = "Sampled: 2026-03-09\nPlant part: Petiole\n"
    report = clean(f"{titles}Sample,NO3-N (ppm)\nA1,2310\n{titles}A2,2410\n")
    assert [line for line, _ in report.passed_over] == [5, 6]
    assert len(report.rows) == 2


def test_a_sample_with_a_label_in_its_name_is_a_sample() -> None:
    text = f"{WIDE},Comments\nField: 4,2026-03-09,petiole,2310,,Location: corner\n"
    row = only(clean(f"{text}A2,2026-03-09,petiole,,,Sample: spoiled\n"))
    assert row.names == ("Field: 4",)


def test_a_header_that_is_repeated_is_passed_over() -> None:
    report = clean(f"{WIDE}\nA1,2026-03-09,petiole,2310,\n{WIDE}\nA2,2026-03-09,petiole,2410,\n")
    assert report.passed_over == ((3, "the header again"),)
    assert len(report.rows) == 2


def test_lines_of_text_are_passed_over() -> None:
    report = clean(f"{WIDE}\nA1,2026-03-09,petiole,2310,\nEnd of report\n")
    assert report.passed_over == ((3, 'a line of text: "End of report"'),)


def test_a_sample_without_a_value_is_passed_over_and_told() -> None:
    report = clean(f"{WIDE}\nA1,2026-03-09,petiole,,\nA2,2026-03-09,petiole,n/a,-\n")
    assert report.passed_over == ((2, 'no value: "A1"'), (3, 'no value: "A2"'))
    assert (report.rows, report.empty) == ((), 4)


def test_a_short_line_is_filled_up() -> None:
    assert only(clean(f"{WIDE}\nA1,2026-03-09,petiole,2310\n")).fields["value"] == "2310"


def test_text_beyond_the_header_is_a_fault() -> None:
    assert fault(f"{WIDE}\nA1,2026-03-09,petiole,2310,3.1,odd\n")[0] == 2


def test_empty_cells_beyond_the_header_are_nothing() -> None:
    assert len(clean(f"{WIDE}\nA1,2026-03-09,petiole,2310,3.1,,\n").rows) == 2


def test_values_without_a_day_are_a_fault() -> None:
    assert fault(f"{WIDE}\nA1,,petiole,2310,\n")[:2] == (2, "Date sampled")


def test_a_day_that_is_none_is_a_fault() -> None:
    assert fault(f"{WIDE}\nA1,2026-02-30,petiole,2310,\n")[:2] == (2, "Date sampled")


def test_one_wrong_cell_does_not_stop_the_others() -> None:
    report = read(f"{WIDE}\nA1,2026-03-09,petiole,lots,3.1\nA2,2026-03-09,petiole,2410,\n")
    assert [(item.line, item.key) for item in report.faults] == [(2, "NO3-N (ppm)")]
    assert [row.fields["value"] for row in report.rows] == ["3.1", "2410"]


# --- names -----------------------------------------------------------------------------------------------------


def test_names_come_in_order_and_once() -> None:
    text = "Field,Sample ID,Block,Lab No,Sampled,Leaf N (%)\n"
    text += "North 4,A1,north,77,2026-03-09,3.1\nA1,A1,,A1,2026-03-09,3\n"
    report = clean(text)
    assert [row.names for row in report.rows] == [("north", "North 4", "A1"), ("A1",)]
    assert [row.fields.get("block") for row in report.rows] == ["north", None]


def test_a_laboratorys_own_number_is_no_name_beside_the_growers() -> None:
    text = "Lab No,Field,Sampled,Leaf N (%)\n4,North 4,2026-03-09,3.1\n5,,2026-03-09,3.2\n"
    report = clean(text)
    assert [row.names for row in report.rows] == [("North 4",), ("5",)]
    assert [row.fields["sample_id"] for row in report.rows] == ["4", "5"]


def test_a_laboratorys_own_number_above_the_header_is_a_name_only_where_there_is_no_other() -> None:
    text = "Lab No: 4\nField,Sampled,Leaf N (%)\nNorth,2026-03-09,3.1\n,2026-03-09,3.2\n"
    report = clean(text)
    assert [row.names for row in report.rows] == [("North",), ("4",)]
    assert [row.fields["sample_id"] for row in report.rows] == ["4", "4"]


def test_remarks_are_joined_into_one_note() -> None:
    row = only(clean("Sample,Sampled,Leaf N (%),Comments,Remarks\nA1,2026-03-09,3.1,damp,late\n"))
    assert row.fields["note"] == "damp; late"


def test_a_laboratorys_own_method_is_left_out() -> None:
    report = clean("Sample,Sampled,Leaf N (%),Method\nA1,2026-03-09,3.1,combustion\n")
    assert "method" not in only(report).fields
    assert report.unused == ("Method",)


# --- tissue and basis ------------------------------------------------------------------------------------------


def test_a_tissue_that_is_not_said_is_asked() -> None:
    text = "Sample,Sampled,NO3-N (ppm),N (%)\nA1,2026-03-09,2310,3.1\n"
    assert question(text) == ("tissue", ("petiole", "leaf", "split"))
    split = answered(text, ("tissue", "split"))
    assert [row.fields["tissue"] for row in split.rows] == ["petiole", "leaf"]


def test_a_tissue_that_is_not_known_is_a_fault() -> None:
    line, key, message = fault(f"{WIDE}\nA1,2026-03-09,Root,2310,\n")
    assert (line, key, message) == (2, "Plant part", '"Root" should be petiole or leaf')


def test_a_tissue_with_another_taken_off_is_a_fault() -> None:
    assert fault(f'{WIDE}\nA1,2026-03-09,"Leaf, petioles removed",,3.1\n')[:2] == (2, "Plant part")


def test_header_and_cell_must_name_the_same_tissue() -> None:
    assert "different tissues" in fault("Sample,Sampled,Tissue,Petiole NO3-N (ppm)\nA1,2026-03-09,leaf,2310\n")[2]


def test_the_basis_of_petioles_is_asked_unless_it_is_known() -> None:
    text = f"{WIDE}\nA1,2026-03-09,petiole,2310,\n"
    assert question(text, sap_or_dry="") == ("basis", ("dry", "sap"))
    assert only(clean(text, sap_or_dry="sap")).fields["basis"] == "sap"
    assert only(clean(text, Profile(basis="dry"), "")).fields["basis"] == "dry"


def test_leaves_are_always_dry_weight() -> None:
    assert only(clean(f"{WIDE}\nA1,2026-03-09,leaf,,3.1\n", sap_or_dry="")).fields["basis"] == "dry"


def test_sap_of_leaves_is_a_fault() -> None:
    assert fault(f"{LONG}\nA1,2026-03-09,leaf,sap,N,3.1,%\n")[:2] == (2, "Basis")


def test_a_tissue_cell_may_say_sap() -> None:
    row = only(clean("Sample,Sampled,Tissue,NO3-N (mg/L)\nA1,2026-03-09,Petiole sap,410\n"))
    assert (row.fields["tissue"], row.fields["basis"]) == ("petiole", "sap")


def test_sap_alone_leaves_the_tissue_open() -> None:
    text = "Sample,Sampled,Tissue,NO3-N (mg/L)\nA1,2026-03-09,Sap,410\n"
    assert question(text)[0] == "tissue"
    row = only(answered(text, ("tissue", "petiole")))
    assert (row.fields["tissue"], row.fields["basis"]) == ("petiole", "sap")


@pytest.mark.parametrize(
    "text",
    [
        f"Sap analysis report\n{WIDE}\nA1,2026-03-09,petiole,410,\n",
        f"{WIDE},Sap sample no\nA1,2026-03-09,petiole,410,,\n",
        f"{WIDE},Method\nA1,2026-03-09,petiole,410,,electrode in SAP\n",
    ],
)
def test_where_a_report_speaks_of_sap_the_basis_is_not_taken_for_known(text: str) -> None:
    assert question(text, sap_or_dry="dry") == ("basis", ("dry", "sap"))
    assert only(answered(text, ("basis", "sap"))).fields["basis"] == "sap"


def test_words_that_only_contain_sap_say_nothing_of_it() -> None:
    text = f"Asparagus and sapodilla\n{WIDE}\nA1,2026-03-09,petiole,2310,\n"
    assert only(clean(text, sap_or_dry="dry")).fields["basis"] == "dry"


# --- analytes and columns --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "Sample,Sampled,Tissue,Nitrate,Units\nA1,2026-03-09,petiole,2310,ppm\n",
        "Sample,Sampled,Tissue,Test,Result,Units\nA1,2026-03-09,petiole,Nitrate,2310,ppm\n",
    ],
)
def test_nitrate_alone_is_asked_about(text: str) -> None:
    assert question(text) == ("columns.nitrate", ("NO3-N", "NO3"))
    assert values(answered(text, ("columns.nitrate", "NO3"))) == [("NO3", "2310")]


def test_an_unknown_column_with_text_below_is_asked_about() -> None:
    text = f"{WIDE},Supervisor\nA1,2026-03-09,petiole,2310,,Someone\n"
    key, choices = question(text)
    assert key == "columns.supervisor"
    assert {"ignore", "note", "sampled", "NO3-N"} <= set(choices)
    assert answered(text, (key, "ignore")).unused == ("Supervisor",)


def test_an_unknown_column_without_text_is_not_asked_about() -> None:
    assert len(clean(f"{WIDE},Supervisor\nA1,2026-03-09,petiole,2310,,\n").rows) == 1


def test_a_column_without_a_name_is_asked_about_by_its_place() -> None:
    text = "Sample,Sampled,,Leaf N (%)\nA1,2026-03-09,x,3.1\n"
    assert question(text)[0] == "columns.column 3"


def test_an_unknown_analyte_is_asked_about() -> None:
    text = f"{LONG}\nA1,2026-03-09,leaf,,TKN,3.1,%\n"
    assert question(text)[0] == "columns.tkn"
    assert values(answered(text, ("columns.tkn", "N"))) == [("N", "3.1")]
    assert answered(text, ("columns.tkn", "ignore")).unused == ("TKN",)


def test_analytes_without_a_use_are_told_as_unused() -> None:
    report = clean(f"{LONG}\nA1,2026-03-09,leaf,,Na,0.1,%\nA1,2026-03-09,leaf,,N,3.1,%\n")
    assert (values(report), report.unused) == ([("N", "3.1")], ("Na",))


def test_a_missing_analyte_is_a_fault() -> None:
    assert fault(f"{LONG}\nA1,2026-03-09,leaf,,,3.1,%\n")[:2] == (2, "Result")


def test_faults_that_only_follow_from_an_open_question_are_not_listed() -> None:
    assert question("Sample,Day out,Leaf N (%)\nA1,2026-03-09,3.1\n")[0] == "columns.day out"


# --- units -----------------------------------------------------------------------------------------------------


def test_a_missing_unit_is_asked() -> None:
    text = "Sample,Sampled,Leaf N\nA1,2026-03-09,3.1\n"
    assert question(text)[0] == "units.leaf n"
    assert only(answered(text, ("units.leaf n", "%"))).fields["unit"] == "%"


def test_a_missing_unit_of_a_row_a_result_is_asked_by_analyte() -> None:
    text = "Sample,Sampled,Tissue,Test,Result\nA1,2026-03-09,leaf,Nitrogen,3.1\n"
    assert question(text)[0] == "units.N"
    assert only(answered(text, ("units.N", "%"))).fields["unit"] == "%"


def test_a_unit_in_the_cell_is_taken() -> None:
    assert only(clean("Sample,Sampled,Leaf N\nA1,2026-03-09,3.1 %\n")).fields["unit"] == "%"


def test_a_unit_in_the_cell_that_disagrees_is_a_fault() -> None:
    line, key, message = fault("Sample,Sampled,Leaf N (%)\nA1,2026-03-09,3.1 g/kg\n")
    assert (line, key) == (2, "Leaf N (%)")
    assert "%" in message and "g/kg" in message


def test_ppm_agrees_with_mg_per_kg() -> None:
    report = clean("Sample,Sampled,Tissue,NO3-N (ppm),Units\nA1,2026-03-09,petiole,2310,mg/kg\n")
    assert only(report).fields["unit"] == "mg/kg"


def test_an_unknown_unit_is_a_fault() -> None:
    assert fault(f"{LONG}\nA1,2026-03-09,leaf,,N,3.1,lb/ac\n")[:2] == (2, "Units")


def test_millimoles_of_nitrate_become_milligrams_of_nitrogen() -> None:
    """40 mmol/L x 14.0067 g/mol (IUPAC standard atomic weight of N, conventional 14.007)."""
    row = only(clean(f"{LONG}\nA1,2026-03-09,petiole,sap,NO3,40,mmol/L\n"))
    assert (row.fields["analyte"], row.fields["unit"], row.fields["value"]) == ("NO3-N", "mg/L", "560.268")
    assert row.printed == "40 mmol/L NO3"


@pytest.mark.parametrize("words", ["petiole,sap,K", "petiole,dry,NO3-N"])
def test_millimoles_of_other_things_are_a_fault(words: str) -> None:
    assert "mmol/L" in fault(f"{LONG}\nA1,2026-03-09,{words},40,mmol/L\n")[2]


# --- dates and decimals ----------------------------------------------------------------------------------------


def test_dates_that_can_be_read_two_ways_are_asked_about() -> None:
    text = f"{WIDE}\nA1,3/9/2026,leaf,,3.1\n"
    assert question(text) == ("dates", ("day first", "month first"))
    assert only(answered(text, ("dates", "month first"))).fields["sampled"] == "2026-03-09"


def test_one_date_settles_the_order_of_all() -> None:
    report = clean(f"{WIDE}\nA1,3/9/2026,leaf,,3.1\nA2,3/25/2026,leaf,,3.2\n")
    assert [row.fields["sampled"] for row in report.rows] == ["2026-03-09", "2026-03-25"]


def test_dates_of_both_orders_are_a_fault() -> None:
    line, _, message = fault(f"{WIDE}\nA1,25/3/2026,leaf,,3.1\nA2,3/25/2026,leaf,,3.2\n")
    assert line == 2 and "25/3/2026" in message and "3/25/2026" in message and "line 3" in message


def test_dates_against_what_was_told_are_a_fault() -> None:
    text = f"{WIDE}\nA1,3/25/2026,leaf,,3.1\nA2,3/9/2026,leaf,,3.2\n"
    profile = told(Profile(), "dates", "day first")
    assert "day first was told" in fault(text, profile)[2]
    assert read(text, profile).rows == ()


def test_points_of_thousands_are_asked_about_where_columns_are_not_set_apart_by_commas() -> None:
    text = f"{WIDE}\nA1,2026-03-09,petiole,2.310,\n".replace(",", ";")
    assert question(text) == ("decimal", ("point", "comma"))
    assert only(answered(text, ("decimal", "comma"))).fields["value"] == "2310"
    assert float(only(answered(text, ("decimal", "point"))).fields["value"]) == 2.31


def test_columns_set_apart_by_commas_mean_a_decimal_point() -> None:
    assert float(only(clean(f"{WIDE}\nA1,2026-03-09,leaf,,2.310\n")).fields["value"]) == 2.31


def test_one_number_settles_the_decimal_mark_of_all() -> None:
    report = clean(f"{WIDE}\nA1|2026-03-09|petiole|2.310|3,1\n".replace(",", "|", 4))
    assert values(report) == [("NO3-N", "2310"), ("N", "3.1")]


def test_numbers_with_both_decimal_marks_are_a_fault() -> None:
    text = f"{WIDE}\nA1;2026-03-09;leaf;;3,1\nA2;2026-03-09;leaf;;3.1\n".replace(",", ";", 4)
    line, _, message = fault(text)
    assert line == 2 and '"3,1"' in message and '"3.1"' in message


def test_numbers_against_what_was_told_are_a_fault() -> None:
    text = f"{WIDE}\nA1,2026-03-09,petiole,2.310,3.1\n"
    assert "decimal comma was told" in fault(text, told(Profile(), "decimal", "comma"))[2]


# --- limits and qualifiers -------------------------------------------------------------------------------------


def test_not_detected_becomes_less_than_the_printed_limit() -> None:
    text = f"{LONG},MDL\nA1,2026-03-09,petiole,dry,NO3-N,ND,ppm,10\n"
    row = only(clean(text))
    assert (row.fields["value"], row.printed) == ("<10", "ND ppm NO3-N")


def test_not_detected_without_a_limit_is_asked_about() -> None:
    text = f"{WIDE}\nA1,2026-03-09,petiole,ND,\n"
    assert question(text) == ("limits.NO3-N", ())
    assert only(answered(text, ("limits.NO3-N", "12.5"))).fields["value"] == "<12.5"


@pytest.mark.parametrize(("qualifier", "value"), [("<", "<10"), (">", ">10"), ("", "10")])
def test_plain_qualifiers_make_bounds(qualifier: str, value: str) -> None:
    text = f"{LONG},Qualifier\nA1,2026-03-09,petiole,dry,NO3-N,10,ppm,{qualifier}\n"
    assert only(clean(text)).fields["value"] == value


def test_other_qualifiers_are_asked_about() -> None:
    text = f"{LONG},Qualifier\nA1,2026-03-09,petiole,dry,NO3-N,10,ppm,U\n"
    assert question(text) == ("qualifiers.u", ("<", ">", "ignore"))
    assert only(answered(text, ("qualifiers.u", "<"))).fields["value"] == "<10"
    assert only(answered(text, ("qualifiers.u", "ignore"))).fields["value"] == "10"


def test_a_qualifier_against_the_value_is_a_fault() -> None:
    text = f"{LONG},Qualifier\nA1,2026-03-09,petiole,dry,NO3-N,>10,ppm,<\n"
    assert fault(text)[:2] == (2, "Result")


@pytest.mark.parametrize("cell", ["10", "10 ppm", "10 mg/kg"])
def test_a_limit_in_the_values_unit_is_taken(cell: str) -> None:
    row = only(clean(f"{LONG},MDL (ppm)\nA1,2026-03-09,petiole,dry,NO3-N,ND,mg/kg,{cell}\n"))
    assert row.fields["value"] == "<10"


@pytest.mark.parametrize(
    ("header", "line", "units"),
    [
        ("MDL", "petiole,dry,NO3-N,ND,ppm,0.01 %", ("ppm", "%")),
        ("MDL (ppm)", "leaf,,N,ND,%,100", ("ppm", "%")),
        ("MDL (mg/L)", "petiole,dry,NO3-N,ND,ppm,10", ("ppm", "mg/L")),
        ("MDL (mg/kg)", "petiole,sap,NO3-N,ND,ppm,10", ("ppm", "mg/kg")),
        ("MDL (ppm)", "petiole,sap,NO3-N,ND,mmol/L,10", ("ppm", "mmol/L")),
    ],
)
def test_a_limit_in_another_unit_than_its_value_is_a_fault(header: str, line: str, units: tuple[str, str]) -> None:
    number, _, message = fault(f"{LONG},{header}\nA1,2026-03-09,{line}\n")
    assert number == 2
    assert all(unit in message for unit in units)


def test_ppm_of_sap_is_a_milligram_in_a_litre() -> None:
    row = only(clean(f"{LONG},MDL (mg/L)\nA1,2026-03-09,petiole,sap,NO3-N,ND,ppm,10\n"))
    assert row.fields["value"] == "<10"


def test_the_unit_in_the_header_of_one_analytes_limit_counts() -> None:
    text = "Sample,Sampled,Leaf N (%),N MDL (ppm)\nA1,2026-03-09,ND,100\n"
    assert "ppm" in fault(text)[2]


def test_a_qualifier_belongs_to_the_values_on_its_left() -> None:
    text = "Sample,Sampled,Tissue,NO3-N (ppm),Flag,K (%)\nA1,2026-03-09,petiole,10,<,4.1\n"
    assert values(clean(text)) == [("NO3-N", "<10"), ("K", "4.1")]


def test_each_column_of_values_may_have_its_own_companions() -> None:
    text = "Sample,Sampled,Tissue,NO3-N,Unit,RL,K,Units,MDL\nA1,2026-03-09,petiole,ND,ppm,10,ND,%,0.1\n"
    report = clean(text)
    assert values(report) == [("NO3-N", "<10"), ("K", "<0.1")]
    assert [row.fields["unit"] for row in report.rows] == ["ppm", "%"]


def test_a_unit_column_says_nothing_of_values_further_left() -> None:
    text = "Sample,Sampled,Tissue,NO3-N,K,Unit\nA1,2026-03-09,petiole,2310,4.1,%\n"
    assert question(text)[0] == "units.no3-n"


@pytest.mark.parametrize(
    "header", ["Flag,NO3-N (ppm),K (%)", "NO3-N (ppm),Na (%),Flag,K (%)"], ids=["nothing", "unused"]
)
def test_a_qualifier_without_values_on_its_left_is_asked_about(header: str) -> None:
    cells = ",".join("<" if name == "Flag" else "4" for name in header.split(","))
    text = f"Sample,Sampled,Tissue,{header}\nA1,2026-03-09,petiole,{cells}\n"
    key, choices = question(text)
    assert key == "columns.flag" and "ignore" in choices
    assert values(answered(text, (key, "ignore"))) == [("NO3-N", "4"), ("K", "4")]
    assert "which column of values" in fault(text, told(Profile(), key, "qualifier"))[2]


def test_with_one_column_of_values_its_companions_may_stand_anywhere() -> None:
    text = "Flag,Unit,Sample,Sampled,Tissue,NO3-N\n<,ppm,A1,2026-03-09,petiole,10\n"
    assert values(clean(text)) == [("NO3-N", "<10")]


def test_each_question_is_asked_once() -> None:
    text = "Sample,Sampled,Nitrate\n" + "".join(f"A{n},3/{n}/2026,ND\n" for n in range(1, 9))
    keys = [asked.key for asked in read(text, sap_or_dry="").questions]
    assert len(keys) == len(set(keys))
    assert {"dates", "columns.nitrate", "tissue"} <= set(keys)


def test_a_header_may_stand_on_two_lines_of_its_cell() -> None:
    header = 'Sample,Sampled,Tissue,"NO3-N\n(ppm)"'
    report = clean(f"{header}\nA1,2026-03-09,petiole,2310\n{header}\n")
    assert only(report).column == "NO3-N (ppm)"
    assert [why for _, why in report.passed_over] == ["the header again"]


def test_a_day_above_the_header_that_is_none_is_one_fault() -> None:
    text = "Sampled: soon\nSample,Leaf N (%)\nA1,3.1\nA2,3.2\n"
    assert fault(text)[1] == "sampled"


def test_very_long_cells_are_quoted_in_short() -> None:
    text = f"{LONG}\nA1,2026-03-09,{'x' + ' ' * 50_000 + 'y' * 50_000},dry,{'z' * 50_000},2310,ppm\n"
    report = read(text)
    assert all(len(str(item)) < 200 for item in report.faults)
    assert all(len(asked.text) < 300 for asked in report.questions)


def test_the_same_bytes_give_the_same_report() -> None:
    text = f"{WIDE}\nA1,2026-03-09,petiole,2310,\nA2,,leaf,,3.1\n"
    assert read(text) == read(text)
