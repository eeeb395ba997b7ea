"""Numbers as laboratories print them. Ways of printing are common practice, as are the words for no number."""

from __future__ import annotations

import math
from decimal import Decimal as Exact

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.errors import UserError
from fertadjust.lab.values import (
    Absent,
    Decimal,
    DecimalEvidence,
    Value,
    decimal_evidence,
    is_nothing,
    read_value,
)

POINT, COMMA = Decimal.POINT, Decimal.COMMA


def text(cell: str, mark: Decimal = POINT) -> str:
    value = read_value(cell, mark)
    assert isinstance(value, Value)
    assert value.unit == ""
    return value.text


def refusal(cell: str, mark: Decimal = POINT) -> str:
    with pytest.raises(UserError) as caught:
        read_value(cell, mark)
    (fault,) = caught.value.faults
    return fault.message


@pytest.mark.parametrize(
    ("cell", "canonical"),
    [
        ("2310", "2310"),
        ("2310.5", "2310.5"),
        ("3.10", "3.10"),
        ("2,310", "2310"),
        ("1,234,567.8", "1234567.8"),
        ("2 310", "2310"),
        ("2\xa0310.5", "2310.5"),
        ("2\u2009310", "2310"),
        ("2\u202f310", "2310"),
        ("2'310.5", "2310.5"),
        ("2’310", "2310"),
        (".5", "0.5"),
        ("5.", "5"),
        ("007", "7"),
        ("0.310", "0.310"),
        ("00.5", "0.5"),
        (" 12.5 ", "12.5"),
        ("'2310", "2310"),
    ],
)
def test_numbers_with_a_decimal_point(cell: str, canonical: str) -> None:
    assert text(cell) == canonical


@pytest.mark.parametrize(
    ("cell", "canonical"),
    [
        ("2310", "2310"),
        ("2310,5", "2310.5"),
        ("2,310", "2.310"),
        ("2.310", "2310"),
        ("1.234.567,8", "1234567.8"),
        ("2 310,5", "2310.5"),
        ("2'310,5", "2310.5"),
        ("0,310", "0.310"),
        (",5", "0.5"),
        ("1,2E3", "1200"),
    ],
)
def test_numbers_with_a_decimal_comma(cell: str, canonical: str) -> None:
    assert text(cell, COMMA) == canonical


@pytest.mark.parametrize(
    ("cell", "canonical"),
    [
        ("1.2E3", "1200"),
        ("1.2e+3", "1200"),
        ("2.31E-2", "0.0231"),
        ("4E0", "4"),
        ("0E5", "0"),
        ("1.234E3", "1234"),
    ],
)
def test_numbers_with_a_power_of_ten_are_written_out(cell: str, canonical: str) -> None:
    assert text(cell) == canonical


@pytest.mark.parametrize(
    ("cell", "canonical"),
    [("<10", "<10"), ("< 10", "<10"), ("<0.05", "<0.05"), ("> 5,000", ">5000"), ("'<10", "<10")],
)
def test_bounds_stay_bounds(cell: str, canonical: str) -> None:
    assert text(cell) == canonical


@pytest.mark.parametrize(
    ("cell", "canonical"),
    [("+5", "5"), ("-5", "-5"), ("−5", "-5"), ("0", "0"), ("0.00", "0.00"), ("-0.5", "-0.5")],
)
def test_signs_and_zero_are_passed_on(cell: str, canonical: str) -> None:
    assert text(cell) == canonical


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("5%", Value("5", "%")),
        ("3.1 %", Value("3.1", "%")),
        ("2310 ppm", Value("2310", "ppm")),
        ("2,310ppm", Value("2310", "ppm")),
        ("2310 mg/kg", Value("2310", "mg/kg")),
        ("2310 [ppm]", Value("2310", "[ppm]")),
        ("2310 mg kg-1", Value("2310", "mg kg-1")),
        ("< 10 mg NO3-N/L", Value("<10", "mg NO3-N/L")),
        ("12 µg/g", Value("12", "µg/g")),
        ("1.2E3 mg/L", Value("1200", "mg/L")),
    ],
)
def test_a_unit_in_the_cell_comes_along_as_printed(cell: str, value: Value) -> None:
    assert read_value(cell, POINT) == value


@pytest.mark.parametrize(
    "cell",
    [
        "",
        " ",
        "-",
        "--",
        "—",
        ".",
        "n/a",
        "N/A",
        "NA",
        "#N/A",
        "none",
        "NULL",
        "n.a.",
        "Missing",
        "'-",
        "not analysed",
        "Not  Analyzed",
        "not\xa0tested",
    ],
)
def test_words_for_nothing(cell: str) -> None:
    assert read_value(cell, POINT) is Absent.NOTHING
    assert is_nothing(cell)


@pytest.mark.parametrize(
    "cell",
    [
        "ND",
        "nd",
        "n.d.",
        "N/D",
        "BDL",
        "<LOD",
        "< LOD",
        "<DL",
        "<MDL",
        "<RL",
        "<LOQ",
        "'ND",
        "Not detected",
        "below detection",
        "Below Detection Limit",
    ],
)
def test_words_for_not_detected(cell: str) -> None:
    assert read_value(cell, COMMA) is Absent.NOT_DETECTED
    assert not is_nothing(cell)


@pytest.mark.parametrize(
    "cell",
    [
        "trace",
        "nan",
        "inf",
        "≤10",
        "<=10",
        "~10",
        "10-20",
        "10±2",
        "(5)",
        "2310*",
        "0x10",
        "5 E3",
        "<",
        ">",
        "< <10",
        "1,23",
        "1,234,56",
        "12 5",
        "1,234 567",
        "1.2.3",
        "1,2,3",
        "..",
        ",",
        "2310 mg/kg at 60 degrees Celsius",
        "12 Mar 2026",
        "2026-03-09",
        "٣",
        "２３",
        "see note",
        "x" * 500,
        "1" * 500,
    ],
)
def test_anything_else_is_refused_with_what_would_be_accepted(cell: str) -> None:
    message = refusal(cell)
    assert cell[:10] in message
    assert "a number such as 2310 or 3.1" in message or "only with a decimal comma" in message


def test_a_number_of_the_other_decimal_mark_says_so() -> None:
    assert (
        refusal("12,5")
        == '"12,5" is a number only with a decimal comma, but this report\'s decimal mark is a point'
    )
    assert refusal("12.5", COMMA).startswith('"12.5" is a number only with a decimal point')


@pytest.mark.parametrize("cell", ["1" * 41, "1E99", "1E-99", "0." + "1" * 39])
def test_a_value_longer_than_any_measurement_is_refused(cell: str) -> None:
    assert "too many digits" in refusal(cell)


# What cells prove of the decimal mark


@pytest.mark.parametrize(
    "cell", ["12.5", "1,234.5", "1,234,567", "0.310", ".5", "1.2E3", "2 310.5", "1234.567", "<0.05", "3.1 %"]
)
def test_cells_that_prove_a_point(cell: str) -> None:
    assert decimal_evidence([cell]) == DecimalEvidence(cell, None, None)


@pytest.mark.parametrize(
    "cell", ["12,5", "1.234,5", "1.234.567", "0,310", ",5", "1,2E3", "2 310,5", "1234,567", "< 0,05", "3,1 %"]
)
def test_cells_that_prove_a_comma(cell: str) -> None:
    assert decimal_evidence([cell]) == DecimalEvidence(None, cell, None)


@pytest.mark.parametrize("cell", ["2,310", "2.310", "<2,310", "12,310 ppm", "-999.125"])
def test_cells_that_are_another_number_with_each_mark(cell: str) -> None:
    assert decimal_evidence([cell]) == DecimalEvidence(None, None, cell)


@pytest.mark.parametrize("cell", ["2310", "<10", "2 310", "2'310", "", "ND", "n.a.", "9.3.2026", "a,b", "1,23,4"])
def test_cells_that_prove_nothing(cell: str) -> None:
    assert decimal_evidence([cell]) == DecimalEvidence(None, None, None)


def test_the_first_cell_of_each_sort_is_the_evidence() -> None:
    found = decimal_evidence(["2310", "2,310", "12.5", "2,400", "3,1", "3.1", "0,4"])
    assert found == DecimalEvidence("12.5", "3,1", "2,310")


# Whatever is given

CANONICAL = st.builds(
    lambda bound, sign, whole, part: f"{bound}{sign}{whole}{'.' if part else ''}{part}",
    st.sampled_from(["", "<", ">"]),
    st.sampled_from(["", "-"]),
    st.integers(0, 10**15),
    st.text("0123456789", max_size=8),
)


def printed(canonical: str, mark: str, thousands: str) -> str:
    """A canonical number as it is printed with a decimal mark and a mark of thousands."""
    head = canonical.rstrip("0123456789.")
    whole, _, part = canonical[len(head) :].partition(".")
    grouped = f"{int(whole):,}".replace(",", thousands)
    return head + grouped + (mark + part if part else "")


@settings(max_examples=300, deadline=None)
@given(CANONICAL, st.sampled_from(["", " ", "\xa0", "\u202f", "'", "’"]))
def test_every_number_reads_back_in_both_decimal_styles(canonical: str, thousands: str) -> None:
    assert text(printed(canonical, ".", thousands)) == canonical
    assert text(printed(canonical, ".", ",")) == canonical
    assert text(printed(canonical, ",", thousands), COMMA) == canonical
    assert text(printed(canonical, ",", "."), COMMA) == canonical


@settings(max_examples=300, deadline=None)
@given(CANONICAL)
def test_evidence_never_names_the_mark_that_a_number_was_not_printed_with(canonical: str) -> None:
    for thousands in ("", ","):
        assert decimal_evidence([printed(canonical, ".", thousands)]).comma is None
    for thousands in ("", "."):
        assert decimal_evidence([printed(canonical, ",", thousands)]).point is None


@settings(max_examples=300, deadline=None)
@given(st.floats(0, 1e20, allow_nan=False, allow_subnormal=False).filter(lambda x: x == 0 or x > 1e-20))
def test_every_number_as_programs_print_it_keeps_its_amount(number: float) -> None:
    assert math.isclose(float(text(f"{number:.9e}")), float(f"{number:.9e}"), rel_tol=0, abs_tol=0)


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text(max_size=60), st.text("0123456789.,-+<>eE' \xa0%pm", max_size=30), st.text("09.,", max_size=200)
    ),
    st.sampled_from(list(Decimal)),
)
def test_any_cell_is_a_plain_number_or_absent_or_a_fault(cell: str, mark: Decimal) -> None:
    decimal_evidence([cell])
    try:
        value = read_value(cell, mark)
    except UserError:
        return
    if isinstance(value, Value):
        assert 0 < len(value.text) <= 40
        assert value.text.isascii()
        assert Exact(value.text.lstrip("<>")).is_finite()
        assert text(value.text) == value.text
