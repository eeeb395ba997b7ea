"""Sufficiency tables: the band on a date along each axis, the bands beside it, and every fault of a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from fertadjust.band_rows import Axis, Band
from fertadjust.bands import BandTable
from fertadjust.errors import OutOfSeason
from fertadjust.evidence import Evidence
from fertadjust.shipped import shipped_tables
from fertadjust.stage_places import Doubt
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Tissue
from tests import support

Data = dict[str, Any]


def row(id_: str = "r1", **changes: Any) -> Data:
    """An invented row; None takes a key away."""
    base: Data = {
        "id": id_,
        "analyte": "NO3-N",
        "unit": "ppm",
        "low": 1000,
        "high": 2000,
        "source": "own plots",
        "evidence": "own",
    }
    return {key: value for key, value in (base | changes).items() if value is not None}


def table_data(*rows: Data, **changes: Any) -> Data:
    base: Data = {
        "schema": 1,
        "id": "own-petiole",
        "title": "Own plots",
        "crop": "strawberry",
        "system": "annual plasticulture",
        "region": "US Southeast",
        "tissue": "petiole",
        "part": "petiole",
        "basis": "dry",
        "axis": "season",
        "rows": list(rows) or [row()],
    }
    return {key: value for key, value in (base | changes).items() if value is not None}


def table(*rows: Data, **changes: Any) -> BandTable:
    return BandTable.model_validate(table_data(*rows, **changes))


WEEKLY: Data = {"axis": "weeks", "anchor": "first_bloom"}
STAGED: Data = {"axis": "stages", "stages": ["green_up", "full_bloom", "main_fruiting"]}
MONTHLY: Data = {"axis": "months"}

STAGES = StageDates(
    {
        "green_up": date(2026, 2, 9),
        "first_bloom": support.BLOOM,
        "full_bloom": date(2026, 3, 16),
        "main_fruiting": date(2026, 4, 6),
    },
    date(2026, 5, 31),
)


def band(of: BandTable, on: date, analyte: str = "NO3-N", stages: StageDates = STAGES) -> Band:
    return of.band_on(analyte, on, stages)


WEEK_OR_TWO = Doubt(recorded=7, guess=14)


def guessing(*names: str, stages: StageDates = STAGES) -> StageDates:
    """The dates, with those of some stages a guess."""
    return replace(stages, approximate=frozenset(names))


def rows_beside(
    of: BandTable, on: date, analyte: str = "NO3-N", stages: StageDates = STAGES, doubt: Doubt = WEEK_OR_TWO
) -> list[str]:
    return [item.row for item in of.beside(analyte, on, stages, doubt).bands]


# --- along the weeks -----------------------------------------------------------------------------------------

WEEKS = table(
    row("w1", weeks=[1, 1]), row("w2-3", weeks=[2, 3], low=4000, high=6000), row("w5", weeks=[5, 5]), **WEEKLY
)


@pytest.mark.parametrize(
    ("days", "found"), [(0, "w1"), (6, "w1"), (7, "w2-3"), (20, "w2-3"), (28, "w5"), (34, "w5")]
)
def test_a_weekly_band_changes_on_the_weekday_of_first_bloom(days: int, found: str) -> None:
    assert band(WEEKS, support.BLOOM + timedelta(days=days)).row == found


@pytest.mark.parametrize(("days", "week"), [(-1, 0), (-7, 0), (-8, -1), (21, 4), (27, 4), (35, 6)])
def test_a_week_without_a_row_is_named_with_the_date(days: int, week: int) -> None:
    with pytest.raises(OutOfSeason, match=rf"own-petiole has no band for NO3-N at week {week} \(.*2026\)"):
        band(WEEKS, support.BLOOM + timedelta(days=days))


def test_the_shipped_weekly_table_has_neither_a_week_0_nor_a_week_13() -> None:
    shipped = shipped_tables()[support.SOUTHEAST]
    assert band(shipped, support.day_in(1)).label == "week 1"
    assert band(shipped, support.day_in(12, 6)).label == "week 12"
    for day in (support.day_in(0, 6), support.day_in(13)):
        with pytest.raises(OutOfSeason, match=r"week (0|13) "):
            band(shipped, day)


def test_a_weekly_table_needs_the_date_of_its_stage() -> None:
    with pytest.raises(OutOfSeason, match="stage first_bloom has no date"):
        band(WEEKS, support.BLOOM, stages=StageDates({}, date(2026, 5, 31)))


EACH_WEEK = table(
    *(row(f"w{week}", weeks=[week, week], low=1000 + week, high=2000 + week) for week in range(1, 13)), **WEEKLY
)


@pytest.mark.parametrize(
    ("week", "recorded", "guess"),
    [
        (1, ["w2"], ["w2", "w3"]),
        (2, ["w1", "w3"], ["w1", "w3", "w4"]),
        (6, ["w5", "w7"], ["w4", "w5", "w7", "w8"]),
        (12, ["w11"], ["w10", "w11"]),
    ],
)
@pytest.mark.parametrize("offset", [0, 3, 6])
def test_a_week_is_wrong_by_one_where_bloom_was_recorded_and_by_two_where_it_was_guessed(
    week: int, offset: int, recorded: list[str], guess: list[str]
) -> None:
    on = support.day_in(week, offset)
    assert rows_beside(EACH_WEEK, on) == recorded
    assert rows_beside(EACH_WEEK, on, stages=guessing("first_bloom")) == guess


def test_a_weekly_band_counts_as_guessed_by_the_date_that_its_weeks_begin_on() -> None:
    on = support.day_in(6)
    for stages, guessed in [(STAGES, False), (guessing("first_bloom"), True), (guessing("full_bloom"), False)]:
        assert EACH_WEEK.beside("NO3-N", on, stages, WEEK_OR_TWO).guessed is guessed


@pytest.mark.parametrize(
    ("days", "beside"),
    [
        (0, []),
        (2, []),
        (3, ["w5"]),
        (4, ["w5"]),
        (5, ["w5", "w7"]),
        (9, ["w5", "w7"]),
        (10, ["w4", "w5", "w7"]),
        (12, ["w4", "w5", "w7", "w8"]),
    ],
)
def test_the_days_of_doubt_say_which_weeks_are_reached(days: int, beside: list[str]) -> None:
    """The Wednesday of week 6: two days after it began, five before the next."""
    assert rows_beside(EACH_WEEK, support.day_in(6, 2), doubt=Doubt(days, days)) == beside


def test_the_bands_beside_leave_out_the_readings_own_row() -> None:
    """UGA-2021: one row for weeks 5 to 8, between that of week 4 and that of weeks 9 and 10."""
    shipped = shipped_tables()[support.SOUTHEAST]
    labels = {
        week: [item.label for item in shipped.beside("NO3-N", support.day_in(week), STAGES, WEEK_OR_TWO).bands]
        for week in (4, 5, 6, 7, 8, 9)
    }
    assert labels == {4: ["week 3", "week 5"], 5: ["week 4"], 6: [], 7: [], 8: ["week 9"], 9: ["week 8"]}


def test_a_gap_in_the_weeks_leaves_no_band_on_that_side() -> None:
    assert rows_beside(WEEKS, support.day_in(3)) == []
    assert rows_beside(WEEKS, support.day_in(5)) == []
    assert rows_beside(WEEKS, support.day_in(3), stages=guessing("first_bloom")) == ["w1", "w5"]


# --- along the stages ----------------------------------------------------------------------------------------

STAGED_TABLE = table(
    row("up", stage="green_up"),
    row("bloom", stage="full_bloom", low=4000, high=6000),
    row("fruit", stage="main_fruiting", low=3000, high=5000),
    **STAGED,
)


@pytest.mark.parametrize(
    ("on", "found"),
    [
        (date(2026, 2, 9), "up"),
        (date(2026, 3, 15), "up"),
        (date(2026, 3, 16), "bloom"),
        (date(2026, 4, 5), "bloom"),
        (date(2026, 4, 6), "fruit"),
        (date(2026, 5, 31), "fruit"),
    ],
)
def test_a_stage_runs_from_its_date_to_the_next_and_the_last_to_the_seasons_end(on: date, found: str) -> None:
    assert band(STAGED_TABLE, on).row == found


def test_a_stage_is_named_in_words() -> None:
    assert band(STAGED_TABLE, date(2026, 4, 6)).label == "main fruiting"


def test_before_the_first_stage_and_after_the_season_there_is_no_band() -> None:
    with pytest.raises(OutOfSeason, match="is before green up"):
        band(STAGED_TABLE, date(2026, 2, 8))
    with pytest.raises(OutOfSeason, match="is after the end of the season"):
        band(STAGED_TABLE, date(2026, 6, 1))


def test_a_stage_that_was_passed_over_leaves_the_bands_of_the_dated_ones() -> None:
    undated = StageDates({"full_bloom": date(2026, 3, 16)}, date(2026, 5, 31))
    assert band(STAGED_TABLE, date(2026, 3, 20), stages=undated).row == "bloom"
    with pytest.raises(OutOfSeason, match=r"before full bloom \(Mon 16 Mar 2026\); green up has no date"):
        band(STAGED_TABLE, date(2026, 3, 15), stages=undated)
    with pytest.raises(OutOfSeason, match=r"none of the stages green up, full bloom, .* has a date"):
        band(STAGED_TABLE, date(2026, 3, 20), stages=StageDates({}, date(2026, 5, 31)))


def test_a_later_stage_without_a_date_has_not_begun() -> None:
    early = StageDates({"green_up": date(2026, 2, 9), "full_bloom": date(2026, 3, 16)}, date(2026, 5, 31))
    assert band(STAGED_TABLE, date(2026, 5, 1), stages=early).row == "bloom"


def test_a_stage_without_a_row_for_the_analyte_is_named() -> None:
    florida = shipped_tables()["strawberry-leaf-florida"]
    first = StageDates({"initial_flowering": date(2025, 11, 3)}, date(2026, 3, 31))
    assert band(florida, date(2025, 11, 10), "N", first).low == 3.0
    with pytest.raises(OutOfSeason, match="no band for K at initial flowering"):
        band(florida, date(2025, 11, 10), "K", first)


@pytest.mark.parametrize(
    ("on", "recorded", "guess"),
    [
        (date(2026, 2, 9), [], []),  # the first stage has none before it
        (date(2026, 3, 1), [], []),  # 15 days before full bloom
        (date(2026, 3, 2), [], ["bloom"]),  # 14 days
        (date(2026, 3, 8), [], ["bloom"]),
        (date(2026, 3, 9), ["bloom"], ["bloom"]),  # 7 days
        (date(2026, 3, 15), ["bloom"], ["bloom"]),
        (date(2026, 3, 16), ["up"], ["up"]),  # the first day of full bloom
        (date(2026, 3, 22), ["up"], ["up"]),  # a week before was green-up
        (date(2026, 3, 23), [], ["up", "fruit"]),
        (date(2026, 3, 29), [], ["up", "fruit"]),  # 8 days before main fruiting
        (date(2026, 3, 30), ["fruit"], ["fruit"]),
        (date(2026, 4, 12), ["bloom"], ["bloom"]),
        (date(2026, 4, 13), [], ["bloom"]),
        (date(2026, 4, 20), [], []),  # the middle of the last stage
    ],
)
def test_a_named_stage_is_in_doubt_only_near_the_dates_that_part_it_from_the_next(
    on: date, recorded: list[str], guess: list[str]
) -> None:
    assert rows_beside(STAGED_TABLE, on) == recorded
    assert rows_beside(STAGED_TABLE, on, stages=guessing("green_up", "full_bloom", "main_fruiting")) == guess


def test_each_stage_is_in_doubt_by_its_own_date() -> None:
    """Ten days after full bloom and eleven before main fruiting, of which the one or the other is a guess."""
    on = date(2026, 3, 26)
    assert rows_beside(STAGED_TABLE, on) == []
    assert rows_beside(STAGED_TABLE, on, stages=guessing("full_bloom")) == ["up"]
    assert rows_beside(STAGED_TABLE, on, stages=guessing("main_fruiting")) == ["fruit"]
    assert rows_beside(STAGED_TABLE, on, stages=guessing("green_up")) == []


@pytest.mark.parametrize("on", [date(2026, 3, 17), date(2026, 4, 10), date(2026, 5, 31)])
def test_a_next_stage_without_a_date_may_have_begun_unnoticed(on: date) -> None:
    early = replace(STAGES, dates={"green_up": date(2026, 2, 9), "full_bloom": date(2026, 3, 16)})
    assert rows_beside(STAGED_TABLE, on, stages=early)[-1] == "fruit"


def test_only_the_next_stage_without_a_date_may_have_begun_unnoticed() -> None:
    first = replace(STAGES, dates={"green_up": date(2026, 2, 9)})
    assert rows_beside(STAGED_TABLE, date(2026, 5, 1), stages=first) == ["bloom"]


def test_stages_that_lie_close_together_are_all_in_doubt() -> None:
    close = replace(
        STAGES,
        dates={"green_up": date(2026, 3, 2), "full_bloom": date(2026, 3, 5), "main_fruiting": date(2026, 3, 8)},
    )
    assert rows_beside(STAGED_TABLE, date(2026, 3, 3), stages=close) == ["bloom", "fruit"]
    assert rows_beside(STAGED_TABLE, date(2026, 3, 10), stages=close) == ["up", "bloom"]


@pytest.mark.parametrize(
    ("on", "guess", "guessed"),
    [
        (date(2026, 3, 20), "", False),
        (date(2026, 3, 20), "full_bloom", True),  # four days before, so its date is in doubt
        (date(2026, 3, 20), "main_fruiting", False),  # 17 days ahead
        (date(2026, 3, 25), "main_fruiting", True),  # 12 days ahead
        (date(2026, 3, 25), "full_bloom", True),
        (date(2026, 3, 25), "green_up", False),
        (date(2026, 3, 25), "first_bloom", False),  # no stage of the table
        (date(2026, 5, 1), "main_fruiting", False),  # 25 days before
    ],
)
def test_a_stage_counts_as_guessed_by_the_dates_that_are_in_doubt(on: date, guess: str, guessed: bool) -> None:
    stages = guessing(guess) if guess else STAGES
    assert STAGED_TABLE.beside("NO3-N", on, stages, WEEK_OR_TWO).guessed is guessed


# --- along the months and the whole season -------------------------------------------------------------------

MONTHS_TABLE = table(
    row("winter", months=["December", "January"]),
    row("november", months=["November"], low=1500, high=2500),
    row("spring", months=["March"], low=200, high=500),
    **MONTHLY,
)


@pytest.mark.parametrize(
    ("on", "found", "label"),
    [
        (date(2025, 11, 1), "november", "November"),
        (date(2025, 11, 30), "november", "November"),
        (date(2025, 12, 1), "winter", "December"),
        (date(2026, 1, 31), "winter", "January"),
        (date(2026, 3, 15), "spring", "March"),
        (date(2031, 3, 15), "spring", "March"),
    ],
)
def test_a_monthly_band_goes_by_the_calendar_of_any_year(on: date, found: str, label: str) -> None:
    assert (band(MONTHS_TABLE, on).row, band(MONTHS_TABLE, on).label) == (found, label)


def test_a_month_without_a_row_is_named() -> None:
    with pytest.raises(OutOfSeason, match="no band for NO3-N at February"):
        band(MONTHS_TABLE, date(2026, 2, 1))


@pytest.mark.parametrize(
    ("on", "beside"),
    [
        (date(2025, 11, 8), []),
        (date(2025, 11, 15), []),
        (date(2025, 11, 23), []),  # 7 days on is the 30th
        (date(2025, 11, 24), ["winter"]),
        (date(2025, 11, 30), ["winter"]),
        (date(2025, 12, 1), ["november"]),
        (date(2025, 12, 7), ["november"]),
        (date(2025, 12, 8), []),
        (date(2025, 12, 31), []),  # January is of the same row
        (date(2026, 1, 3), []),
        (date(2026, 1, 31), []),  # February has no row
        (date(2026, 3, 1), []),
    ],
)
def test_a_month_is_in_doubt_within_a_week_of_its_change(on: date, beside: list[str]) -> None:
    assert rows_beside(MONTHS_TABLE, on) == beside


def test_months_are_those_of_the_calendar_and_no_guess() -> None:
    everything = guessing(*STAGES.dates)
    assert not MONTHS_TABLE.beside("NO3-N", date(2025, 11, 20), everything, WEEK_OR_TWO).guessed
    assert rows_beside(MONTHS_TABLE, date(2025, 11, 20), stages=everything) == []


def test_the_days_of_doubt_say_how_near_a_months_change_is() -> None:
    on = date(2025, 11, 20)
    assert rows_beside(MONTHS_TABLE, on, doubt=Doubt(10, 10)) == []
    assert rows_beside(MONTHS_TABLE, on, doubt=Doubt(11, 11)) == ["winter"]


def test_one_band_for_the_whole_season_has_none_beside_it() -> None:
    whole = table()
    assert band(whole, date(2020, 1, 1)).label == band(whole, date(2040, 1, 1)).label == "whole season"
    assert rows_beside(whole, date(2026, 4, 1)) == []


# --- what a band carries -------------------------------------------------------------------------------------


def test_a_band_is_in_the_stored_unit_whatever_unit_was_published() -> None:
    percent = band(table(row(unit="%", low=0.3, high=0.5)), support.BLOOM)
    assert (percent.low, percent.high, percent.unit) == (pytest.approx(3000), pytest.approx(5000), "ppm")
    leaf = band(table(row(analyte="N", unit="g/kg", low=28, high=38), tissue="leaf"), support.BLOOM, "N")
    assert (leaf.low, leaf.high, leaf.unit) == (pytest.approx(2.8), pytest.approx(3.8), "%")


def test_a_band_published_as_nitrate_is_compared_as_nitrate_nitrogen() -> None:
    sap = table(row(analyte="NO3", unit="mg/L", low=1000, high=1500), basis="sap")
    assert sap.analytes == ("NO3-N",)
    found = band(sap, support.BLOOM)
    assert (found.low, found.high) == (pytest.approx(226, abs=0.5), pytest.approx(339, abs=0.5))


def test_separate_limits_are_converted_too_and_missing_ones_stay_missing() -> None:
    limits = row(unit="g/kg", low=1, high=2, deficient_below=0.5, excess_above=4)
    found = band(table(limits), support.BLOOM)
    assert (found.deficient_below, found.excess_above) == (pytest.approx(500), pytest.approx(4000))
    plain = band(table(), support.BLOOM)
    assert (plain.deficient_below, plain.excess_above) == (None, None)


def test_a_band_names_its_table_row_source_and_evidence() -> None:
    found = band(table(row(note="three plots")), support.BLOOM)
    assert (found.table, found.row, found.source) == ("own-petiole", "r1", "own plots")
    assert (found.evidence, found.note) == (Evidence.OWN, "three plots")


def test_a_table_fits_its_own_tissue_basis_and_analytes_only() -> None:
    shipped = shipped_tables()[support.GEORGIA_LEAF]
    assert shipped.fits(Tissue.LEAF, Basis.DRY, "N")
    assert not shipped.fits(Tissue.PETIOLE, Basis.DRY, "N")
    assert not shipped.fits(Tissue.LEAF, Basis.SAP, "N")
    assert not shipped.fits(Tissue.LEAF, Basis.DRY, "NO3-N")


def test_an_analyte_without_rows_is_named() -> None:
    with pytest.raises(OutOfSeason, match="own-petiole has no rows for K"):
        band(table(), support.BLOOM, "K")


def test_a_table_with_one_recalled_row_is_recalled() -> None:
    recalled = row("r2", analyte="K", unit="%", low=1, high=2, evidence="recalled", confidence="high")
    assert table(row(), recalled).recalled
    assert not table().recalled


def test_a_table_can_be_read_from_its_own_data_again() -> None:
    for one in shipped_tables().values():
        assert BandTable.model_validate(one.as_data()) == one


# --- faults of a row -----------------------------------------------------------------------------------------


def faults_of(*rows: Data, **changes: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        table(*rows, **changes)
    return str(caught.value)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"low": 2000, "high": 1000}, "low 2000 is not below high 1000"),
        ({"low": 1000, "high": 1000}, "low 1000 is not below high 1000"),
        ({"low": None, "high": None}, "a row needs low, high or both"),
        ({"deficient_below": 1100}, "deficient_below 1100 is above low 1000"),
        ({"excess_above": 1900}, "excess_above 1900 is below high 2000"),
        ({"low": float("nan")}, "low"),
        ({"high": float("nan")}, "high"),
        ({"high": float("inf")}, "high"),
        ({"deficient_below": float("nan")}, "deficient_below"),
        ({"low": 0}, "low"),
        ({"low": -5}, "low"),
        ({"evidence": "recalled"}, 'evidence "recalled" needs confidence'),
        ({"evidence": "recalled", "confidence": "sure"}, "confidence"),
        ({"evidence": "heard"}, "evidence"),
        ({"source": None}, "source"),
        ({"source": ""}, "source"),
        ({"source": "   "}, "source"),
        ({"evidence": None}, "evidence"),
        ({"id": ""}, "id"),
        ({"unit": "lb/ac"}, "is not a unit of dry tissue"),
        ({"unit": "mg/L"}, "is not a unit of dry tissue"),
        ({"analyte": "nitrate"}, "NO3 or NO3-N"),
        ({"analyte": "Xx"}, "is not a known analyte"),
        ({"remark": "a key that is not known"}, "remark"),
    ],
    ids=lambda value: "-".join(value) if isinstance(value, dict) else None,
)
def test_a_faulty_row_is_refused(changes: Data, says: str) -> None:
    assert says in faults_of(row() | changes if None not in changes.values() else row(**changes))


@pytest.mark.parametrize("analyte", ["nitrate", "Xx"])
def test_an_analyte_that_is_not_known_is_told_beside_the_other_faults(analyte: str) -> None:
    told = faults_of(row("a", analyte=analyte), row("b", unit="lb/ac"))
    assert "row a" in told and "row b" in told


@pytest.mark.parametrize("edge", ["low", "high"])
def test_a_row_with_one_edge_is_enough(edge: str) -> None:
    other = "high" if edge == "low" else "low"
    found = band(table(row(**{other: None})), support.BLOOM)
    assert getattr(found, other) is None and getattr(found, edge) is not None


def test_limits_may_touch_the_edges() -> None:
    found = band(table(row(deficient_below=1000, excess_above=2000)), support.BLOOM)
    assert (found.deficient_below, found.excess_above) == (1000, 2000)


# --- faults of a table ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "changes", "says"),
    [
        ([row()], {"tissue": "leaf", "basis": "sap"}, "basis sap goes with tissue petiole"),
        ([row(weeks=[1, 2])], {"axis": "weeks"}, "axis weeks needs anchor"),
        ([row(stage="bloom")], {"axis": "stages"}, "axis stages needs stages"),
        ([row(stage="a")], {"axis": "stages", "stages": ["a", "b", "a"]}, "stages names one stage twice"),
        ([row(weeks=[3, 2])], WEEKLY, "the first is after the last"),
        ([row("a", weeks=[1, 3]), row("b", weeks=[3, 4])], WEEKLY, "rows a and b overlap for NO3-N at week 3"),
        ([row("a", stage="green_up"), row("b", stage="green_up")], STAGED, "overlap for NO3-N at green up"),
        ([row("a", months=["May"]), row("b", months=["May"])], MONTHLY, "rows a and b overlap for NO3-N at May"),
        ([row("a", months=["May", "May"])], MONTHLY, "overlap for NO3-N at May"),
        ([row("a"), row("b")], {}, "rows a and b overlap for NO3-N at whole season"),
        ([row("a"), row("b", analyte="NO3N")], {}, "overlap for NO3-N"),
        ([row("a"), row("a", analyte="K", unit="%")], {}, "row a stands twice"),
        ([row(months=["Sept"])], MONTHLY, "write English month names"),
        ([row(stage="ripe")], STAGED, "stage ripe is not among stages"),
        ([row()], WEEKLY, "row r1: axis weeks needs weeks"),
        ([row()], STAGED, "row r1: axis stages needs stage"),
        ([row()], MONTHLY, "row r1: axis months needs months"),
        ([row(weeks=[1, 2])], {}, "row r1: weeks does not go with axis season"),
        ([row(weeks=[1, 2], stage="green_up")], STAGED, "row r1: weeks does not go with axis stages"),
        ([row(unit="mg/kg")], {"basis": "sap"}, "is not a unit of sap"),
        ([row()], {"schema": 2}, "schema"),
        ([row()], {"id": "Own Petiole"}, "id"),
        ([row()], {"region": None}, "region"),
        ([row()], {"tissue": "crown"}, "tissue"),
        ([row()], {"axis": "days"}, "axis"),
        ([row()], {"colour": "green"}, "colour"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_a_faulty_table_is_refused(rows: list[Data], changes: Mapping[str, Any], says: str) -> None:
    assert says in faults_of(*rows, **changes)


def test_a_row_that_names_no_month_at_all_is_refused_and_not_kept_unused() -> None:
    assert "months" in faults_of(row(months=[]), **MONTHLY)


def test_a_table_without_rows_is_refused() -> None:
    with pytest.raises(ValidationError, match="rows"):
        BandTable.model_validate(table_data() | {"rows": []})


def test_every_fault_of_a_table_is_told_at_once() -> None:
    told = faults_of(row("a", unit="lb/ac"), row("b", weeks=[1, 1]), row("b", analyte="K", unit="%"))
    assert "row a" in told and "row b: weeks" in told and "row b stands twice" in told


def test_two_analytes_may_share_a_place() -> None:
    both = table(row("a"), row("b", analyte="K", unit="%", low=1, high=2))
    assert both.analytes == ("NO3-N", "K")


def test_weeks_that_touch_do_not_overlap() -> None:
    assert len(table(row("a", weeks=[1, 3]), row("b", weeks=[4, 4]), **WEEKLY).rows) == 2


def test_every_axis_is_in_use_by_a_shipped_table() -> None:
    assert {one.axis for one in shipped_tables().values()} == set(Axis)
