"""Reports as JSON in the open schema modus/slim/v1/0 (OADA formats). Samples and figures are invented.

Codes of tests: Botanical Analysis Nomenclature (AgGateway Modus).
"""

from __future__ import annotations

import json

import pytest

from fertadjust.errors import Fault, UserError
from fertadjust.lab.profile import Profile, told
from fertadjust.lab.report import Report, Row, read_report

PETIOLES = Profile(tissue="petiole", basis="dry")


def result(
    analyte: str = "NO3-N", value: object = 2310, units: str = "mg/kg", **more: object
) -> dict[str, object]:
    return {"analyte": analyte, "value": value, "units": units, **more}


def document(*results: dict[str, object], **changes: object) -> dict[str, object]:
    base: dict[str, object] = {
        "id": "r-1",
        "date": "2026-03-12",
        "type": "plant-tissue",
        "lab": {"name": "Example Laboratory", "dateReceived": "2026-03-11"},
        "source": {"date": "2026-03-09", "field": "North 4"},
        "samples": {"S1": {"results": {f"r{number}": item for number, item in enumerate(results, 1)}}},
    }
    return base | changes


def read(whole: object, profile: Profile = PETIOLES) -> Report:
    text = whole if isinstance(whole, str) else json.dumps(whole)
    return read_report(text.encode(), "report.json", profile)


def only(whole: object, profile: Profile = PETIOLES) -> Row:
    report = read(whole, profile)
    assert (report.faults, report.questions) == ((), ())
    (row,) = report.rows
    return row


def fault(whole: object) -> Fault:
    (found,) = read(whole).faults
    return found


def refusal(text: str) -> str:
    with pytest.raises(UserError) as caught:
        read(text)
    return str(caught.value)


def test_a_result_comes_with_its_sample_and_its_report() -> None:
    assert only(document(result())) == Row(
        line=None,
        column="samples.S1.results.r1.value",
        fields={
            "laboratory": "Example Laboratory",
            "sample_id": "S1",
            "sampled": "2026-03-09",
            "received": "2026-03-11",
            "tissue": "petiole",
            "basis": "dry",
            "analyte": "NO3-N",
            "unit": "mg/kg",
            "value": "2310",
        },
        names=("North 4", "S1"),
        printed="2310 mg/kg NO3-N",
    )


def test_a_samples_own_words_go_before_those_of_the_report() -> None:
    sample = {
        "lab": {"sampleid": "77", "dateReceived": "2026-03-10"},
        "source": {"subfield": "east"},
        "results": {"a": result()},
    }
    row = only(document(samples={"S1": sample}))
    assert row.names == ("east", "North 4", "S1", "77")
    assert (row.fields["received"], row.fields["sampled"]) == ("2026-03-10", "2026-03-09")
    assert (row.fields["laboratory"], row.fields["sample_id"]) == ("Example Laboratory", "77")


def test_without_a_day_of_sampling_it_is_asked_what_the_reports_date_is() -> None:
    report = read(document(result(), source={}))
    assert [(asked.key, asked.choices) for asked in report.questions] == [("columns.date", ("sampled", "ignore"))]
    assert (report.rows, report.faults) == ((), ())


def test_the_reports_date_is_the_day_of_sampling_where_it_was_told_so() -> None:
    profile = told(PETIOLES, "columns.date", "sampled")
    assert only(document(result(), source={}), profile).fields["sampled"] == "2026-03-12"


def test_samples_without_a_day_are_faults_where_the_reports_date_is_to_be_ignored() -> None:
    results = {"a": result(), "b": result("K", 4.1, "%")}
    whole = document(samples={"S1": {"results": results}, "S2": {"results": results}}, source={})
    report = read(whole, told(PETIOLES, "columns.date", "ignore"))
    assert [item.key for item in report.faults] == ["samples.S1.source.date", "samples.S2.source.date"]
    assert (report.rows, report.questions) == ((), ())


def test_fields_may_be_objects_with_a_name() -> None:
    source = {"date": "2026-03-09", "field": {"name": "North 4"}, "subfield": {"id": "e1"}}
    assert only(document(result(), source=source)).names == ("e1", "North 4", "S1")


def test_a_list_of_reports_is_read_in_order() -> None:
    report = read([document(result()), document(result(value=2410))])
    assert [(row.column, row.fields["value"]) for row in report.rows] == [
        ("0.samples.S1.results.r1.value", "2310"),
        ("1.samples.S1.results.r1.value", "2410"),
    ]


@pytest.mark.parametrize(
    ("value", "text"), [("<10", "<10"), ("> 5000", ">5000"), (3.10, "3.1"), (2.125, "2.125"), ("2310", "2310")]
)
def test_values_are_numbers_or_texts(value: object, text: str) -> None:
    assert only(document(result(value=value))).fields["value"] == text


@pytest.mark.parametrize("units", ["[ppm]", "%", "g/kg", "mg/kg"])
def test_units_are_those_of_ucum(units: str) -> None:
    assert only(document(result(units=units))).fields["unit"] == units.strip("[]")


def test_codes_of_nitrate_say_that_nitrogen_is_meant() -> None:
    for code in ("B-NO3.01.01", "B-NO.09.02"):
        assert only(document(result("Nitrate", modusTestID=code))).fields["analyte"] == "NO3-N"


def test_nitrate_without_a_code_is_asked_about() -> None:
    assert [asked.key for asked in read(document(result("Nitrate"))).questions] == ["columns.nitrate"]


def test_the_code_of_hydraulic_sap_means_sap() -> None:
    sap = document(result(units="mg/L", modusTestID="B-NO3.15.04"))
    assert [asked.key for asked in read(sap, Profile()).questions] == ["tissue"]
    assert only(sap, Profile(tissue="petiole")).fields["basis"] == "sap"


def test_other_codes_of_nitrate_mean_dry_weight() -> None:
    row = only(document(result(modusTestID="B-NO3.01.01")), Profile(tissue="petiole"))
    assert row.fields["basis"] == "dry"


def test_a_code_alone_names_its_analyte() -> None:
    row = only(document(result("", 3.1, "%", modusTestID="B-TN.01.01")), Profile(tissue="leaf"))
    assert (row.fields["analyte"], row.fields["basis"]) == ("N", "dry")


def test_the_code_that_is_listed_as_kjeldahl_nitrogen_is_refused_with_its_reason() -> None:
    found = fault(document(result("Nitrate", modusTestID="B-NO3.02.01")))
    assert found.key == "samples.S1.results.r1.modusTestID"
    assert "Kjeldahl" in found.message


@pytest.mark.parametrize(
    ("analyte", "code"),
    [("N", "B-NO3.01.01"), ("NO3-N", "B-TN.01.01"), ("NO3", "B-NO3.01.01"), ("P", "B-K.01.01")],
)
def test_an_analyte_against_its_code_is_a_fault(analyte: str, code: str) -> None:
    assert "say different things" in fault(document(result(analyte, modusTestID=code))).message


def test_a_code_of_soil_is_a_fault() -> None:
    assert "no code of plant tissue" in fault(document(result(modusTestID="S-NO3.01.01"))).message


def test_analytes_without_a_use_are_told_as_unused() -> None:
    assert read(document(result("Na"))).unused == ("Na",)


@pytest.mark.parametrize("kind", ["soil", "water", "manure"])
def test_reports_of_other_things_are_refused_by_name(kind: str) -> None:
    found = fault(document(result(), type=kind))
    assert (found.key, f'"{kind}"' in found.message) == ("type", True)


@pytest.mark.parametrize("key", ["id", "date", "type"])
def test_what_the_schema_needs_is_missed(key: str) -> None:
    whole = document(result())
    del whole[key]
    assert fault(whole) == Fault("is missing", "report.json", None, key)


def test_a_value_that_is_none_carries_its_path() -> None:
    assert fault(document(result(value="lots"))).key == "samples.S1.results.r1.value"


def test_an_empty_value_is_counted() -> None:
    assert read(document(result(value=""))).empty == 1


def test_a_sample_without_results_is_passed_over() -> None:
    assert read(document()).passed_over == ((None, 'no value: "S1"'),)


def test_a_day_that_is_none_is_a_fault_at_its_path() -> None:
    assert fault(document(result(), source={"date": "soon"})).key == "samples.S1.source.date"


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"samples": []}, "samples"),
        ({"samples": {"S1": 3}}, "samples.S1"),
        ({"samples": {"S1": {"results": {"a": "2310"}}}}, "samples.S1.results.a"),
        ({"samples": {"S1": {"results": {"a": {"analyte": ["N"]}}}}}, "samples.S1.results.a.analyte"),
        ({"lab": "Example"}, "lab"),
    ],
)
def test_wrong_types_are_faults_at_their_path(changes: dict[str, object], key: str) -> None:
    assert key in [found.key for found in read(document(result(), **changes)).faults]


def test_a_key_that_stands_twice_is_refused() -> None:
    assert '"id" stands twice' in refusal('{"id": "1", "id": "2", "type": "plant-tissue"}')


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
def test_numbers_that_json_does_not_have_are_refused(word: str) -> None:
    assert word in refusal(json.dumps(document(result())).replace("2310", word))


def test_nesting_without_end_is_refused() -> None:
    assert "nested too deeply" in refusal('{"samples":' + "[" * 200_000)


@pytest.mark.parametrize("text", ["{}", "[]", "3", "null", '"text"', "[1]", '{"a": 1}'])
def test_other_json_is_refused(text: str) -> None:
    assert "no report of tissue samples" in refusal(text)


def test_broken_json_is_refused_with_its_line() -> None:
    assert refusal('{"id": "1",\n"type" "plant-tissue"}').startswith("report.json, line 2: this is not JSON")


def test_letters_that_cannot_be_printed_are_left_out() -> None:
    whole = json.dumps(document(result())).replace("North 4", "North\\ud800\\u0000 4")
    assert only(whole).names == ("North 4", "S1")
