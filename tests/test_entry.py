"""From what a person types to a checked result, application or observation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fertadjust.entry import (
    RESULT_FIELDS,
    Entered,
    block_of,
    default_basis,
    read_application,
    read_date,
    read_observation,
    read_result,
    read_word,
)
from fertadjust.errors import UserError
from fertadjust.ledger import Application
from fertadjust.observations import Sight
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.shipped import folder
from fertadjust.tissue import Basis, Censor, Method, Tissue
from tests.support import GEORGIA_LEAF, SOUTHEAST

TODAY = date(2026, 4, 20)
SAMPLE = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
GIVEN = {"block": "creek", "sampled": "2026-04-15", "value": "3700"}


@pytest.fixture
def season(tmp_path: Path) -> SeasonFile:
    return parse_season(SAMPLE, tmp_path)


@pytest.fixture
def metric(tmp_path: Path) -> SeasonFile:
    text = SAMPLE.replace('units = "us"', 'units = "metric"')
    return parse_season(text, tmp_path)


def read(season: SeasonFile, today: date = TODAY, **given: str) -> Entered:
    return read_result(GIVEN | given, season, today)


def told(call: Callable[[], object]) -> list[tuple[str, str]]:
    """Field and message of every fault."""
    with pytest.raises(UserError) as caught:
        call()
    return [(fault.key, fault.message) for fault in caught.value.faults]


def fields(call: Callable[[], object]) -> list[str]:
    return [field for field, _ in told(call)]


# --- results ------------------------------------------------------------------------------------------------


def test_block_day_and_value_are_enough(season: SeasonFile) -> None:
    entered = read(season)
    result = entered.result
    assert (result.block, result.sampled, result.received) == ("creek", date(2026, 4, 15), None)
    assert (result.tissue, result.basis, result.analyte) == (Tissue.PETIOLE, Basis.DRY, "NO3-N")
    assert (result.value, result.unit, result.censor) == (3700, "ppm", Censor.NONE)
    assert (result.petioles, result.method) == (None, Method.LABORATORY)
    assert result.reported == "3700 ppm NO3-N"
    assert entered.questions == ()


def test_everything_a_report_says_is_kept(season: SeasonFile) -> None:
    entered = read(
        season,
        block=" Creek Side ",
        received="2026-04-18",
        tissue="Leaf",
        basis="DRY",
        analyte="no3",
        value=" < 1,200 ",
        unit="mg/kg",
        petioles="24",
        method="Meter",
        laboratory="State lab",
        sample_id="C4",
        note="damp",
    )
    result = entered.result
    assert (result.block, result.received, result.tissue) == ("creek", date(2026, 4, 18), Tissue.LEAF)
    assert (result.analyte, result.censor, result.petioles, result.method) == (
        "NO3-N",
        Censor.BELOW,
        24,
        Method.METER,
    )
    assert result.value == pytest.approx(1200 * 0.2259, rel=1e-3)
    assert (result.laboratory, result.sample_id, result.note) == ("State lab", "C4", "damp")
    assert result.reported == "< 1,200 mg/kg no3"


@pytest.mark.parametrize(
    ("given", "value", "unit"),
    [
        ({"value": "0.37", "unit": "%"}, 3700, "ppm"),
        ({"value": "3.7", "unit": "g/kg"}, 3700, "ppm"),
        ({"value": "16400", "analyte": "NO3"}, 16400 * 14.0067 / 62.0049, "ppm"),
        ({"value": "3.1", "tissue": "leaf"}, 3.1, "%"),
        ({"value": "31000", "tissue": "leaf", "unit": "ppm"}, 3.1, "%"),
        ({"value": "36", "tissue": "leaf", "analyte": "B"}, 36, "ppm"),
        ({"value": "450", "basis": "sap"}, 450, "mg/L"),
        ({"value": "0.45", "basis": "sap", "unit": "g/L"}, 450, "mg/L"),
        ({"value": "2000", "basis": "sap", "analyte": "NO3"}, 2000 * 14.0067 / 62.0049, "mg/L"),
    ],
)
def test_a_value_is_kept_in_the_unit_of_its_kind(
    season: SeasonFile, given: dict[str, str], value: float, unit: str
) -> None:
    result = read(season, **given).result
    assert result.value == pytest.approx(value)
    assert result.unit == unit


@pytest.mark.parametrize(
    ("given", "field", "message"),
    [
        ({"block": ""}, "block", "is missing"),
        ({"sampled": " "}, "sampled", "is missing"),
        ({"value": ""}, "value", "is missing"),
        ({"block": "crek"}, "block", 'there is no block "crek"; there are: creek, hill, lane'),
        ({"sampled": "15.4.2026"}, "sampled", '"15.4.2026" is not a date; write 2026-03-09'),
        ({"sampled": "2026-02-30"}, "sampled", '"2026-02-30" is not a date; write 2026-03-09'),
        ({"sampled": "2026-04-21"}, "sampled", "2026-04-21 is after today, 2026-04-20"),
        ({"received": "2026-04-21"}, "received", "2026-04-21 is after today, 2026-04-20"),
        ({"received": "2026-04-14"}, "received", "2026-04-14 is before the sample was taken on 2026-04-15"),
        ({"received": "soon"}, "received", '"soon" is not a date; write 2026-03-09'),
        ({"sampled": "2025-10-13"}, "sampled", "2025-10-13 is before planting on 2025-10-14"),
        ({"tissue": "root"}, "tissue", '"root" should be one of petiole, leaf'),
        ({"basis": "wet"}, "basis", '"wet" should be one of dry, sap'),
        ({"method": "guess"}, "method", '"guess" should be one of laboratory, meter, meter-diluted'),
        ({"value": "many"}, "value", '"many" is not a value; write a number such as 4200, or <10 or >5000'),
        ({"value": "-5"}, "value", "-5 is below zero; a concentration is above zero"),
        ({"value": "0"}, "value", "0 is no measured value; enter the laboratory's reporting limit as a bound"),
        ({"value": "nan"}, "value", '"nan" is not a finite number'),
        ({"value": "inf"}, "value", '"inf" is not a finite number'),
        ({"value": "3,7"}, "value", '"3,7" is not a value'),
        ({"value": "<"}, "value", '"<" is not a value'),
        (
            {"analyte": "nitrate"},
            "analyte",
            '"nitrate" can mean NO3 or NO3-N, a factor of 4.43: write NO3 or NO3-N',
        ),
        ({"analyte": "starch"}, "analyte", '"starch" is not a known analyte; use NO3, NO3-N, N, P'),
        ({"unit": "bushels"}, "unit", '"bushels" is not a unit of dry tissue; use ppm, mg/kg, g/kg, %'),
        ({"unit": "mg/L"}, "unit", '"mg/L" is not a unit of dry tissue'),
        ({"unit": "%", "basis": "sap"}, "unit", '"%" is not a unit of sap; use mg/L, ppm, g/L'),
        ({"unit": "mg/kg", "basis": "sap"}, "unit", '"mg/kg" is not a unit of sap'),
        ({"tissue": "leaf", "basis": "sap"}, "basis", "sap goes with petioles; leaf values are dry weight"),
        ({"petioles": "0"}, "petioles", '"0" should be a whole number from 1 to 1000'),
        ({"petioles": "1001"}, "petioles", '"1001" should be a whole number from 1 to 1000'),
        ({"petioles": "2.5"}, "petioles", '"2.5" should be a whole number from 1 to 1000'),
        ({"petioles": "-4"}, "petioles", '"-4" should be a whole number from 1 to 1000'),
        ({"petioles": "25²"}, "petioles", '"25²" should be a whole number from 1 to 1000'),
    ],
)
def test_a_fault_is_told_with_its_field(
    season: SeasonFile, given: dict[str, str], field: str, message: str
) -> None:
    ((found, text),) = told(lambda: read(season, **given))
    assert found == field
    assert text.startswith(message)


@pytest.mark.parametrize("text", ["meter-diluted", "Meter diluted", "METER_DILUTED", "  meter -  diluted "])
def test_a_meter_on_diluted_sap_is_a_method_however_it_is_written(season: SeasonFile, text: str) -> None:
    entered = read(season, method=text, basis="sap", value="450", unit="mg/L")
    assert entered.result.method is Method.METER_DILUTED
    assert read(season, method="meter", basis="sap", value="450", unit="mg/L").result.method is Method.METER


def test_every_fault_of_a_result_is_told(season: SeasonFile) -> None:
    given = {
        "block": "brook",
        "sampled": "2026-05-01",
        "received": "2026-04-30",
        "tissue": "root",
        "method": "guess",
        "petioles": "some",
        "value": "-1",
    }
    assert fields(lambda: read(season, **given)) == [
        "block",
        "tissue",
        "method",
        "petioles",
        "value",
        "sampled",
        "received",
        "received",
    ]
    assert fields(lambda: read_result({}, season, TODAY)) == ["block", "sampled", "value"]


def test_unit_and_analyte_are_both_told(season: SeasonFile) -> None:
    assert sorted(fields(lambda: read(season, unit="bushels", analyte="starch"))) == ["analyte", "unit"]


def test_a_field_that_is_not_known_is_told(season: SeasonFile) -> None:
    assert fields(lambda: read(season, petiole="25")) == ["petiole"]


def test_fields_are_those_of_the_report_columns() -> None:
    assert RESULT_FIELDS[0] == "block"
    assert len(set(RESULT_FIELDS)) == len(RESULT_FIELDS) == 13


def test_two_scales_in_use_must_be_told_apart(season: SeasonFile) -> None:
    tables = {table.id: table for table in season.tables}
    sap = tables[SOUTHEAST].model_copy(update={"id": "own-sap", "basis": Basis.SAP})
    both = replace(season, tables=(*season.tables, sap))
    assert default_basis(both, Tissue.PETIOLE) is None
    assert told(lambda: read(both)) == [("basis", "is missing: dry or sap? The two scales cannot be converted")]
    assert read(both, basis="sap").result.basis is Basis.SAP
    assert read(both, tissue="leaf", value="3.1").result.basis is Basis.DRY


def test_one_scale_in_use_need_not_be_named(season: SeasonFile) -> None:
    leaf_only = replace(season, tables=tuple(table for table in season.tables if table.id == GEORGIA_LEAF))
    assert default_basis(season, Tissue.PETIOLE) is Basis.DRY
    assert default_basis(leaf_only, Tissue.PETIOLE) is None
    assert fields(lambda: read(leaf_only)) == ["basis"]


@pytest.mark.parametrize(
    ("given", "question"),
    [
        ({"tissue": "leaf", "value": "35"}, "35.00 % is unusual for leaf N, dry weight"),
        ({"value": "45000"}, "45,000 ppm is unusual for petiole NO3-N, dry weight"),
        ({"basis": "sap", "value": "5000"}, "5,000 mg/L is unusual for petiole NO3-N, fresh sap"),
        ({"value": "520"}, "looks like a sap reading in mg/L: is it dry weight?"),
    ],
)
def test_an_unusual_value_is_asked_about(season: SeasonFile, given: dict[str, str], question: str) -> None:
    (asked,) = read(season, **given).questions
    assert question in asked


def test_another_year_is_asked_about(tmp_path: Path) -> None:
    season = parse_season(SAMPLE.replace("planted = 2025-10-14\n", ""), tmp_path)
    (asked,) = read(season, sampled="2025-04-15").questions
    assert asked == "2025-04-15 is far from the season, 2026-03-02 to 2026-05-24: is the year right?"
    (asked,) = read(season, sampled="2027-04-15", today=date(2027, 4, 20)).questions
    assert "is the year right?" in asked


def test_winter_before_feeding_is_not_asked_about(season: SeasonFile) -> None:
    assert read(season, sampled="2025-11-10", value="3700").questions == ()


def test_a_result_that_stands_already_is_asked_about(season: SeasonFile) -> None:
    first = replace(read(season).result, record=12)
    block = replace(season.blocks["creek"], results=(first,))
    known = replace(season, blocks=season.blocks | {"creek": block})
    assert read(known).questions == ("the same result stands as record 12 already: is this another sample?",)
    assert read(known, petioles="20", received="2026-04-18").questions != ()
    for other in ({"value": "3710"}, {"sampled": "2026-04-14"}, {"sample_id": "b"}, {"block": "hill"}):
        assert read(known, **other).questions == ()


# --- words, dates and blocks --------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["leaching rain", " Leaching_Rain ", "LEACHING RAIN"])
def test_case_and_underscores_of_a_word_do_not_matter(text: str) -> None:
    assert read_word(text, Sight, "kind") is Sight.LEACHING_RAIN


def test_another_word_is_told_with_those_accepted() -> None:
    assert told(lambda: read_word("hail", Sight, "kind")) == [
        ("kind", f'"hail" should be one of {", ".join(item.value for item in Sight)}')
    ]


def test_a_date_is_year_month_day() -> None:
    assert read_date(" 2026-03-09 ", "on") == date(2026, 3, 9)
    assert told(lambda: read_date("9 March", "on")) == [("on", '"9 March" is not a date; write 2026-03-09')]


def test_a_block_is_found_by_key_or_name(season: SeasonFile) -> None:
    assert block_of(season, " HILL ").block.key == "hill"
    assert block_of(season, "hill top").block.key == "hill"
    assert told(lambda: block_of(season, "")) == [("block", 'there is no block ""; there are: creek, hill, lane')]


# --- applications -------------------------------------------------------------------------------------------


def apply(season: SeasonFile, block: str = "creek", on: date = date(2026, 4, 13), **given: Any) -> Application:
    return read_application(season, block, on, TODAY, **given)


def test_nitrogen_is_logged_as_given(season: SeasonFile) -> None:
    assert apply(season, n=2.62, note="late") == Application(0, "creek", date(2026, 4, 13), 2.62, {}, "late")
    assert apply(season, n=0).n_lb_ac == 0


def test_nitrogen_of_a_metric_season_is_metric(metric: SeasonFile) -> None:
    assert apply(metric, n=1.120851).n_lb_ac == pytest.approx(1)


def test_products_bring_their_nitrogen_over_the_blocks_area(season: SeasonFile) -> None:
    area = 300 * 10 * 2.5 / 43560
    item = apply(season, products={"Calcium Nitrate ": 2, "potassium nitrate": 3})
    assert item.products == {"calcium nitrate": 2, "potassium nitrate": 3}
    assert item.n_lb_ac == pytest.approx((2 * 0.155 + 3 * 0.13) / area)


def test_products_of_a_metric_season_are_weighed_in_kg(metric: SeasonFile) -> None:
    area_ha = 300 * 10 * 2.5 / 10_000
    item = apply(metric, products={"calcium nitrate": 2})
    assert item.products["calcium nitrate"] == pytest.approx(2 / 0.45359237)
    assert item.n_lb_ac * 1.120851 == pytest.approx(2 * 0.155 / area_ha, rel=1e-6)


def test_a_product_named_twice_is_not_half_forgotten(season: SeasonFile) -> None:
    area = 300 * 10 * 2.5 / 43560
    try:
        item = apply(season, products={"calcium nitrate": 2, "Calcium nitrate": 3})
    except UserError:
        return
    kept = sum(item.products.values())
    assert item.n_lb_ac * area == pytest.approx(kept * 0.155)


@pytest.mark.parametrize(
    ("given", "field", "message"),
    [
        ({}, "n", "give the nitrogen, or products with their weights; one of the two"),
        ({"n": 2, "products": {"calcium nitrate": 2}}, "n", "give the nitrogen, or products"),
        ({"products": {}}, "n", "give the nitrogen, or products"),
        ({"n": -1}, "n", "-1 should be from 0 up to 1000 lb N/ac"),
        ({"n": float("nan")}, "n", "nan should be from 0 up to 1000 lb N/ac"),
        ({"n": float("inf")}, "n", "inf should be from 0 up to 1000 lb N/ac"),
        ({"n": 1000}, "n", "1000 should be from 0 up to 1000 lb N/ac"),
        ({"n": 2, "block": "brook"}, "block", 'there is no block "brook"'),
        ({"n": 2, "on": date(2026, 4, 21)}, "on", "2026-04-21 is after today, 2026-04-20"),
        ({"n": 2, "on": date(2025, 10, 1)}, "on", "2025-10-01 is before planting on 2025-10-14"),
        ({"products": {"urea": 2}}, "product", '"urea" is not in the season file; there are: calcium nitrate, '),
        ({"products": {"calcium nitrate": -2}}, "product", "-2 lb of calcium nitrate is not a weight"),
        ({"products": {"calcium nitrate": float("nan")}}, "product", "nan lb of calcium nitrate is not a weight"),
        ({"products": {"calcium nitrate": float("inf")}}, "product", "inf lb of calcium nitrate is not a weight"),
    ],
)
def test_a_fault_of_an_application_is_told_with_its_field(
    season: SeasonFile, given: dict[str, Any], field: str, message: str
) -> None:
    ((found, text),) = told(lambda: apply(season, **given))
    assert found == field
    assert text.startswith(message)


def test_every_fault_of_an_application_is_told(season: SeasonFile) -> None:
    assert fields(lambda: apply(season, block="brook", on=date(2026, 5, 1), n=-1)) == ["block", "on", "n"]
    assert fields(lambda: apply(season, products={"urea": 1, "lime": 2, "calcium nitrate": -1})) == ["product"] * 3


# --- observations -------------------------------------------------------------------------------------------


def test_an_observation_is_taken(season: SeasonFile) -> None:
    item = read_observation(season, "lane end", TODAY, TODAY, "Soil nitrate", 26, "quick test")
    assert (item.block, item.on, item.sight, item.value, item.note) == (
        "lane",
        TODAY,
        Sight.SOIL_NITRATE,
        26,
        "quick test",
    )
    assert read_observation(season, "lane", TODAY, TODAY, "soil nitrate", 0).value == 0


@pytest.mark.parametrize(
    ("sight", "value", "field"),
    [
        ("hail", None, "kind"),
        ("soil nitrate", None, "value"),
        ("soil nitrate", -1, "value"),
        ("soil nitrate", 1001, "value"),
        ("soil nitrate", float("nan"), "value"),
        ("frost", 3, "value"),
    ],
)
def test_a_fault_of_an_observation_is_told_with_its_field(
    season: SeasonFile, sight: str, value: float | None, field: str
) -> None:
    assert fields(lambda: read_observation(season, "lane", TODAY, TODAY, sight, value)) == [field]


def test_every_fault_of_an_observation_is_told(season: SeasonFile) -> None:
    after = date(2026, 5, 1)
    assert fields(lambda: read_observation(season, "x", after, TODAY, "hail")) == ["block", "kind", "on"]
