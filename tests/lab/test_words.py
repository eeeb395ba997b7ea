"""The trade's words on a report: headers, analytes, units, tissues. Spellings are common practice."""

from __future__ import annotations

import pytest

from fertadjust.entry import RESULT_FIELDS
from fertadjust.lab.vocabulary import NITRATE, Role
from fertadjust.lab.words import (
    Column,
    analyte_of,
    basis_of,
    column_of,
    loose,
    tissue_of,
    told_column,
    unit_of,
)


def ambiguous_nitrate(text: str) -> bool:
    """Whether a text is of nitrate and leaves open whether NO3 or NO3-N is meant."""
    found = column_of(text)
    return found is not None and found.role is Role.VALUE and found.analyte == NITRATE


@pytest.mark.parametrize("name", RESULT_FIELDS)
def test_the_programs_own_field_names_are_always_understood(name: str) -> None:
    found = column_of(name)
    assert found is not None and found.role.value == name


@pytest.mark.parametrize(
    ("header", "role"),
    [
        ("Lab No.", Role.SAMPLE),
        ("LAB_ID", Role.SAMPLE),
        ("Sample #", Role.SAMPLE),
        ("sample no", Role.SAMPLE),
        ("Field ID", Role.NAME),
        ("Grower sample", Role.NAME),
        ("Location", Role.NAME),
        ("Block", Role.BLOCK),
        ("Date sampled", Role.SAMPLED),
        ("Date Sampled (MM/DD/YYYY)", Role.SAMPLED),
        ("Collection date", Role.SAMPLED),
        ("Date", Role.SAMPLED),
        ("Date received:", Role.RECEIVED),
        ("Reported", Role.IGNORE),
        ("Plant part", Role.TISSUE),
        ("Sample type", Role.TISSUE),
        ("Parameter", Role.ANALYTE),
        ("Element", Role.ANALYTE),
        ("UOM", Role.UNIT),
        ("MDL", Role.LIMIT),
        ("Reporting limit", Role.LIMIT),
        ("Qualifier", Role.QUALIFIER),
        ("Remarks", Role.NOTE),
        ("Growth stage", Role.IGNORE),
        ("Grower", Role.IGNORE),
    ],
)
def test_words_of_laboratories_name_their_columns(header: str, role: Role) -> None:
    assert column_of(header) == Column(role)


@pytest.mark.parametrize(
    ("header", "analyte", "unit", "tissue", "basis"),
    [
        ("NO3-N (ppm)", "NO3-N", "ppm", "", ""),
        ("Nitrate-N, mg/kg", "NO3-N", "mg/kg", "", ""),
        ("N %", "N", "%", "", ""),
        ("% N", "N", "%", "", ""),
        ("K_pct", "K", "%", "", ""),
        ("Petiole NO3-N [ppm]", "NO3-N", "ppm", "petiole", ""),
        ("Leaf N (%)", "N", "%", "leaf", ""),
        ("Petiole sap NO3-N (mg/L)", "NO3-N", "mg/L", "petiole", "sap"),
        ("NO3-N, dry, ppm", "NO3-N", "ppm", "", "dry"),
        ("Total N (% dry weight)", "N", "%", "", "dry"),
        ("no3_n_mg_kg", "NO3-N", "mg/kg", "", ""),
        ("NO₃-N", "NO3-N", "", "", ""),
        ("Nitrate (NO3-N)", "NO3-N", "", "", ""),
        ("Boron (B) ppm", "B", "ppm", "", ""),
        ("Mg mg/kg", "Mg", "mg/kg", "", ""),
        ("Nitrate (ppm)", NITRATE, "ppm", "", ""),
        ("Result (ppm)", "", "ppm", "", ""),
    ],
)
def test_a_values_header_carries_analyte_unit_tissue_and_basis(
    header: str, analyte: str, unit: str, tissue: str, basis: str
) -> None:
    assert column_of(header) == Column(Role.VALUE, analyte, unit, tissue, basis)


@pytest.mark.parametrize("header", ["NO3-N rating", "N status", "Sufficiency range", "Low", "K interpretation"])
def test_rankings_in_words_are_no_values(header: str) -> None:
    assert column_of(header) == Column(Role.IGNORE)


@pytest.mark.parametrize(
    "header",
    ["Na (%)", "Al ppm", "Mo", "Chloride", "Dry matter %", "Moisture", "pH", "EC", "Brix", "N:S", "N/K ratio"],
)
def test_analytes_without_a_use_are_known_and_ignored(header: str) -> None:
    assert column_of(header) == Column(Role.IGNORE)
    assert analyte_of(header) is None


@pytest.mark.parametrize(
    "header", ["TKN", "Total Kjeldahl N", "P2O5 (%)", "mg/kg", "Supervisor", "", "2310", "(", "[]"]
)
def test_what_is_not_known_is_not_guessed(header: str) -> None:
    assert column_of(header) is None


@pytest.mark.parametrize(
    ("header", "role"), [("NO3-N unit", Role.UNIT), ("K MDL", Role.LIMIT), ("N flag", Role.QUALIFIER)]
)
def test_a_column_may_belong_to_one_analyte(header: str, role: Role) -> None:
    found = column_of(header)
    assert found is not None and found.role is role and found.analyte == header.split()[0]


@pytest.mark.parametrize(
    ("text", "analyte"),
    [
        ("Nitrate-N", "NO3-N"),
        ("NO3-N", "NO3-N"),
        ("Nitrate nitrogen", "NO3-N"),
        ("nitrate as N", "NO3-N"),
        ("NO3", "NO3"),
        ("nitrate as NO3", "NO3"),
        ("Total N", "N"),
        ("Nitrogen", "N"),
        ("N", "N"),
        ("Phosphorus", "P"),
        ("PO4-P", "PO4-P"),
        ("Sulphur", "S"),
        ("IRON", "Fe"),
        ("TKN", None),
        ("Nitrate", None),
        ("Sodium", None),
    ],
)
def test_analytes_have_one_name(text: str, analyte: str | None) -> None:
    assert analyte_of(text) == analyte


@pytest.mark.parametrize("text", ["Nitrate", "NITRATES", "Petiole nitrate (ppm)"])
def test_nitrate_alone_leaves_open_what_is_meant(text: str) -> None:
    assert ambiguous_nitrate(text)


@pytest.mark.parametrize("text", ["Nitrate-N", "NO3", "N", "Value", "nitrite"])
def test_other_words_leave_nothing_open(text: str) -> None:
    assert not ambiguous_nitrate(text)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("MG/KG", "mg/kg"),
        ("[ppm]", "ppm"),
        ("pct", "%"),
        ("Percent", "%"),
        ("g/kg", "g/kg"),
        ("mg per L", "mg/L"),
        ("mg/l", "mg/L"),
        ("mg/kg dry weight", "mg/kg"),
        ("% DM", "%"),
        ("µg/g", "mg/kg"),
        ("mmol/L", "mmol/L"),
        ("lb/ac", None),
        ("", None),
        ("N", None),
    ],
)
def test_units_have_one_spelling(text: str, unit: str | None) -> None:
    assert unit_of(text) == unit


@pytest.mark.parametrize(
    ("text", "tissue"),
    [
        ("Petioles", "petiole"),
        ("Strawberry leaf petiole", "petiole"),
        ("sap", None),
        ("plant sap", None),
        ("Most recent mature leaf", "leaf"),
        ("Petioles of youngest mature leaves", "petiole"),
        ("Leaf petioles (dry weight)", "petiole"),
        ("Leaf petiole sap", "petiole"),
        ("Leaf without petiole", None),
        ("leaf minus petiole", None),
        ("Leaf, petioles removed", None),
        ("Leaf petioles removed", None),
        ("Leaf blades excluding petiole", None),
        ("leaves and petioles", None),
        ("Petioles removed", None),
        ("Leaf sap", None),
        ("Leaf with petiole", None),
        ("leaf/petiole", None),
        ("Plant", None),
        ("Root", None),
    ],
)
def test_a_tissue_is_read_where_one_alone_is_meant(text: str, tissue: str | None) -> None:
    assert tissue_of(text) == tissue


@pytest.mark.parametrize(
    ("text", "basis"),
    [
        ("Dry weight", "dry"),
        ("DW", "dry"),
        ("dry matter", "dry"),
        ("Fresh sap", "sap"),
        ("fresh", None),
        ("dry sap", None),
    ],
)
def test_a_basis_is_dry_or_sap(text: str, basis: str | None) -> None:
    assert basis_of(text) == basis


def test_spelling_is_loose() -> None:
    assert loose("  Sample_ID.: ") == loose("sample id") == "sample id"


def test_a_header_with_both_tissues_names_one_only_in_the_plain_form() -> None:
    found = column_of("Leaf petiole NO3-N (ppm)")
    assert found is not None and found.tissue == "petiole"
    assert told_column("Leaf without petiole N (%)", "N") == Column(Role.VALUE, "N", "%")


def test_a_told_column_keeps_the_headers_unit_and_tissue() -> None:
    assert told_column("Petiole nitrate (ppm)", "NO3") == Column(Role.VALUE, "NO3", "ppm", "petiole")
    assert told_column("Extra", "note") == Column(Role.NOTE)
    assert told_column("Extra", "nonsense") is None
