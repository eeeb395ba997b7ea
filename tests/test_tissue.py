"""Tissue results: values as laboratories print them, units and forms, and the questions of a careful person."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from fertadjust.errors import UserError
from fertadjust.tissue import (
    ANALYTES,
    MAIN_ANALYTE,
    Basis,
    Censor,
    Tissue,
    TissueResult,
    canonical_analyte,
    format_value,
    implausible,
    parse_value,
    stored_unit,
    to_stored,
)
from tests import support

DRY, SAP = Basis.DRY, Basis.SAP

# --- values --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "censor", "value"),
    [
        ("4200", Censor.NONE, 4200.0),
        ("4,200", Censor.NONE, 4200.0),
        ("4,200.5", Censor.NONE, 4200.5),
        ("1,234,567", Censor.NONE, 1_234_567.0),
        ("3.10", Censor.NONE, 3.1),
        (".5", Censor.NONE, 0.5),
        ("  4200  ", Censor.NONE, 4200.0),
        ("<10", Censor.BELOW, 10.0),
        ("< 10", Censor.BELOW, 10.0),
        (">5000", Censor.ABOVE, 5000.0),
        ("> 5000", Censor.ABOVE, 5000.0),
        ("> 5,000", Censor.ABOVE, 5000.0),
        ("1e3", Censor.NONE, 1000.0),
    ],
)
def test_a_value_is_read_as_the_laboratory_prints_it(text: str, censor: Censor, value: float) -> None:
    assert parse_value(text) == (censor, value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("nan", "finite"),
        ("NaN", "finite"),
        ("inf", "finite"),
        ("-inf", "finite"),
        (">inf", "finite"),
        ("1e999", "finite"),
        ("-5", "below zero"),
        ("<-5", "below zero"),
        ("0", "reporting limit"),
        ("0.0", "reporting limit"),
        ("<0", "reporting limit"),
        ("", "is not a value"),
        ("<", "is not a value"),
        ("<<10", "is not a value"),
        ("ten", "is not a value"),
        ("4200 ppm", "is not a value"),
        ("4 200", "is not a value"),
        ("42,00", "is not a value"),
        ("4200,", "is not a value"),
        ("3,1", "is not a value"),
        ("12,34,567", "is not a value"),
        ("10-20", "is not a value"),
    ],
)
def test_what_is_no_value_is_refused_in_plain_words(text: str, says: str) -> None:
    with pytest.raises(UserError, match=says) as caught:
        parse_value(text)
    assert [fault.key for fault in caught.value.faults] == ["value"]


@pytest.mark.parametrize("text", [",200", "<,500", "1234,567", "0,500"])
def test_a_comma_that_separates_no_thousands_is_refused_and_not_read_over(text: str) -> None:
    """A decimal comma must not turn 0,500 into 500: a number begins with one to three digits, the first not 0."""
    with pytest.raises(UserError, match="is not a value"):
        parse_value(text)


# --- units and forms -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "ppm"),
    [
        ("ppm", 1.0),
        ("PPM", 1.0),
        (" ppm ", 1.0),
        ("mg/kg", 1.0),
        ("MG/KG", 1.0),
        ("g/kg", 1000.0),
        ("%", 10_000.0),
        ("percent", 10_000.0),
        ("Percent", 10_000.0),
        ("pct", 10_000.0),
    ],
)
def test_every_unit_of_dry_tissue(unit: str, ppm: float) -> None:
    assert to_stored(1.0, unit, "NO3-N", DRY) == ("NO3-N", pytest.approx(ppm))
    assert to_stored(1.0, unit, "N", DRY) == ("N", pytest.approx(ppm / 10_000))


@pytest.mark.parametrize(
    ("unit", "mg_l"), [("mg/L", 1.0), ("mg/l", 1.0), ("MG/L", 1.0), ("ppm", 1.0), ("g/L", 1000.0), ("g/l", 1000.0)]
)
def test_every_unit_of_sap(unit: str, mg_l: float) -> None:
    assert to_stored(1.0, unit, "NO3-N", SAP) == ("NO3-N", pytest.approx(mg_l))
    assert to_stored(1.0, unit, "K", SAP) == ("K", pytest.approx(mg_l))


@pytest.mark.parametrize(
    ("unit", "basis"),
    [
        ("mg/L", DRY),
        ("g/L", DRY),
        ("mg/kg", SAP),
        ("g/kg", SAP),
        ("%", SAP),
        ("percent", SAP),
        ("lb/ac", DRY),
        ("", DRY),
        ("meq/L", SAP),
    ],
)
def test_a_unit_of_the_other_basis_or_of_none_is_refused(unit: str, basis: Basis) -> None:
    with pytest.raises(UserError, match="is not a unit of") as caught:
        to_stored(1.0, unit, "NO3-N", basis)
    assert caught.value.faults[0].key == "unit"


@pytest.mark.parametrize("spelling", ["NO3", "no3", " NO3 ", "NO3-", "No3"])
@pytest.mark.parametrize(
    ("unit", "basis", "value"), [("mg/L", SAP, 1000.0), ("ppm", DRY, 1000.0), ("%", DRY, 0.1)]
)
def test_nitrate_is_stored_as_nitrate_nitrogen(spelling: str, unit: str, basis: Basis, value: float) -> None:
    assert to_stored(value, unit, spelling, basis) == ("NO3-N", pytest.approx(225.897, abs=5e-4))


@pytest.mark.parametrize("spelling", ["NO 3", "NO_3", "no 3"])
def test_nitrate_with_a_gap_in_its_name_is_still_nitrate_and_not_nitrate_nitrogen(spelling: str) -> None:
    """Either known as NO3 and divided by 4.43, or refused; never taken for NO3-N."""
    try:
        stored = to_stored(1000.0, "mg/L", spelling, SAP)
    except UserError:
        return
    assert stored == ("NO3-N", pytest.approx(225.897, abs=5e-4))


@pytest.mark.parametrize(
    "spelling", ["NO3-N", "no3-n", "NO3N", "NO3_N", "NO3 N", "nitrate-N", "Nitrate N", "nitrate_n"]
)
def test_nitrate_nitrogen_keeps_its_value(spelling: str) -> None:
    assert to_stored(1000.0, "ppm", spelling, DRY) == ("NO3-N", 1000.0)


def test_nitrate_alone_is_refused_since_it_can_mean_two_things() -> None:
    with pytest.raises(UserError, match=r"NO3 or NO3-N, a factor of 4\.43"):
        canonical_analyte("Nitrate")


@pytest.mark.parametrize(
    ("spelling", "stored"),
    [("n", "N"), ("total N", "N"), ("Total-N", "N"), ("ca", "Ca"), ("MG", "Mg"), ("b", "B"), ("PO4-P", "PO4-P")],
)
def test_analytes_are_known_however_they_are_written(spelling: str, stored: str) -> None:
    assert canonical_analyte(spelling) == stored


def test_every_stored_analyte_is_its_own_spelling() -> None:
    assert [canonical_analyte(name) for name in ANALYTES] == list(ANALYTES)
    assert len(set(ANALYTES)) == len(ANALYTES)


@pytest.mark.parametrize("spelling", ["", "Na", "NH4", "potash"])
def test_an_unknown_analyte_is_refused(spelling: str) -> None:
    with pytest.raises(UserError, match="is not a known analyte") as caught:
        canonical_analyte(spelling)
    assert caught.value.faults[0].key == "analyte"


@pytest.mark.parametrize(
    ("basis", "analyte", "unit"),
    [
        (DRY, "NO3-N", "ppm"),
        (DRY, "PO4-P", "ppm"),
        (DRY, "B", "ppm"),
        (DRY, "N", "%"),
        (DRY, "K", "%"),
        (SAP, "NO3-N", "mg/L"),
        (SAP, "K", "mg/L"),
    ],
)
def test_one_stored_unit_for_each_kind(basis: Basis, analyte: str, unit: str) -> None:
    assert stored_unit(basis, analyte) == unit


# --- results as people read them -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (3.1, "%", "3.10"),
        (0.255, "%", "0.26"),
        (4200.4, "ppm", "4,200"),
        (9.87, "ppm", "9.87"),
        (10.0, "mg/L", "10"),
    ],
)
def test_values_are_written_for_people(value: float, unit: str, text: str) -> None:
    assert format_value(value, unit) == text


def test_a_bound_is_written_with_its_sign() -> None:
    assert support.result(10.0, censor=Censor.BELOW).text() == "<10 ppm"
    assert support.result(5000.0, censor=Censor.ABOVE).text() == ">5,000 ppm"
    assert support.result(3.1, tissue=Tissue.LEAF).text() == "3.10 %"


def test_a_kind_is_said_in_words() -> None:
    assert support.result(700, basis=SAP).kind == "petiole NO3-N, fresh sap"
    assert support.result(3.0, tissue=Tissue.LEAF).kind == "leaf N, dry weight"


def test_a_result_counts_from_the_day_it_was_received_or_sampled_when_that_was_not_noted() -> None:
    result = support.result(4000)
    assert result.known_on == result.received != result.sampled
    assert replace(result, received=None).known_on == result.sampled


def test_petiole_nitrate_and_leaf_nitrogen_are_the_values_that_decide() -> None:
    assert MAIN_ANALYTE == {Tissue.PETIOLE: "NO3-N", Tissue.LEAF: "N"}


# --- believable or not ---------------------------------------------------------------------------------------


def asked(result: TissueResult, band_low: float | None = None) -> str:
    return " | ".join(implausible(result, band_low))


@pytest.mark.parametrize(
    "result",
    [
        support.result(4200),
        support.result(50),
        support.result(30_000),
        support.result(700, basis=SAP),
        support.result(3.1, tissue=Tissue.LEAF),
        support.result(35, tissue=Tissue.LEAF, analyte="B"),
    ],
    ids=lambda result: result.text(),
)
def test_an_ordinary_result_raises_no_question(result: TissueResult) -> None:
    assert implausible(result, 600.0 if result.tissue is Tissue.PETIOLE and result.basis is DRY else None) == []


@pytest.mark.parametrize(
    "result",
    [
        support.result(49.9),
        support.result(31_000),
        support.result(10, basis=SAP),
        support.result(4200, basis=SAP),
        support.result(31, tissue=Tissue.LEAF),  # 3.1 % entered without its point
        support.result(0.4, tissue=Tissue.LEAF),
        support.result(1000, tissue=Tissue.LEAF, analyte="B"),
    ],
    ids=lambda result: f"{result.basis} {result.text()}",
)
def test_an_unusual_result_is_asked_about(result: TissueResult) -> None:
    assert "is unusual for" in asked(result)
    assert result.text() in asked(result)


def test_a_low_reporting_limit_or_a_high_one_is_nothing_to_ask_about() -> None:
    assert implausible(support.result(10, censor=Censor.BELOW)) == []
    assert implausible(support.result(40_000, censor=Censor.ABOVE)) == []
    assert "unusual" in asked(support.result(10, censor=Censor.ABOVE))
    assert "unusual" in asked(support.result(40_000, censor=Censor.BELOW))


@pytest.mark.parametrize("value", [100.0, 650.0, 999.0])
def test_a_dry_result_that_looks_like_sap_is_asked_about(value: float) -> None:
    assert "looks like a sap reading" in asked(support.result(value), 3000.0)


@pytest.mark.parametrize(
    ("value", "band_low"), [(1000.0, 3000.0), (650.0, 600.0), (650.0, None), (99.0, 3000.0), (1601.0, 9000.0)]
)
def test_a_dry_result_near_its_band_or_off_the_sap_scale_is_not(value: float, band_low: float | None) -> None:
    assert "sap" not in asked(support.result(value), band_low)


def test_a_sap_result_or_a_bound_is_never_taken_for_sap_entered_as_dry() -> None:
    assert "sap reading" not in asked(support.result(650, basis=SAP), 3000.0)
    assert "sap reading" not in asked(support.result(650, censor=Censor.BELOW), 3000.0)


def test_an_analyte_without_a_believable_range_is_not_judged() -> None:
    assert implausible(support.result(1e6, tissue=Tissue.LEAF, analyte="Mn")) == []


def test_results_hold_what_the_report_said() -> None:
    result = TissueResult(7, "north", date(2026, 4, 8), None, Tissue.PETIOLE, DRY, "NO3-N", 4200.0)
    assert (result.censor, result.petioles, result.unit) == (Censor.NONE, None, "ppm")
