"""Tables by days, straight lines between rows, runs of stages, tables that end, and limits that stand alone.

All figures are invented.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from fertadjust.bands import BandTable
from fertadjust.compare import Side, Status, compare
from fertadjust.errors import OutOfSeason
from fertadjust.evidence import Evidence
from fertadjust.stage_places import Doubt, stage_place, stages_near
from fertadjust.stages import StageDates
from fertadjust.tissue import Censor

PLANTED = date(2026, 4, 1)
END = date(2026, 9, 30)
DOUBT = Doubt(7, 14)


def row(id_: str, **changes: Any) -> dict[str, Any]:
    base = {"id": id_, "analyte": "NO3-N", "unit": "ppm", "source": "own plots", "evidence": "own"}
    return base | changes


def table(*rows: dict[str, Any], **head: Any) -> BandTable:
    base: dict[str, Any] = {
        "schema": 1,
        "id": "own",
        "title": "Own plots",
        "crop": "tomato",
        "system": "field",
        "region": "home",
        "tissue": "petiole",
        "part": "petiole",
        "basis": "dry",
        "rows": list(rows),
    }
    return BandTable.model_validate(base | head)


BY_DAYS: dict[str, Any] = {"axis": "days", "anchor": "transplanting"}
STEPS = table(row("a", days=[10, 20], low=1000, high=2000), row("b", days=[21, 30], low=500, high=900), **BY_DAYS)
LINE = table(
    row("a", days=[10, 20], low=1000, high=2000),
    row("b", days=[30, 30], low=500, high=900),
    **BY_DAYS,
    between="straight",
)
ON = StageDates({"transplanting": PLANTED}, END)


def day(number: int) -> date:
    return PLANTED + timedelta(days=number)


# --- days ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("number", "name"), [(10, "a"), (20, "a"), (21, "b"), (30, "b")])
def test_a_table_by_days_counts_from_its_anchor_and_both_days_belong_to_a_row(number: int, name: str) -> None:
    band = STEPS.band_on("NO3-N", day(number), ON)
    assert (band.row, band.label) == (name, f"day {number} from transplanting")


@pytest.mark.parametrize("number", [-1, 0, 9, 31])
def test_outside_its_days_there_is_no_band(number: int) -> None:
    with pytest.raises(OutOfSeason, match=f"no band for NO3-N at day {number} from transplanting"):
        STEPS.band_on("NO3-N", day(number), ON)


def test_a_table_by_days_without_its_anchor_has_no_band() -> None:
    with pytest.raises(OutOfSeason, match="transplanting has no date"):
        STEPS.band_on("NO3-N", day(12), StageDates({}, END))


def test_the_bands_beside_a_day_are_those_within_the_doubt() -> None:
    assert [band.row for band in STEPS.beside("NO3-N", day(14), ON, DOUBT).bands] == ["b"]
    assert STEPS.beside("NO3-N", day(13), ON, DOUBT).bands == ()


def test_an_anchor_that_is_a_guess_has_the_doubt_of_a_guess() -> None:
    guessed = StageDates({"transplanting": PLANTED}, END, frozenset({"transplanting"}))
    found = STEPS.beside("NO3-N", day(10), guessed, DOUBT)
    assert ([band.row for band in found.bands], found.guessed) == (["b"], True)


# --- straight lines -----------------------------------------------------------------------------------------


def test_edges_run_straight_from_one_row_to_the_next() -> None:
    """Half-way from day 20 to day 30: half-way from 1000 to 500 and from 2000 to 900."""
    band = LINE.band_on("NO3-N", day(25), ON)
    assert (band.low, band.high) == pytest.approx((750, 1450))
    assert band.row == "a to b" and band.evidence is Evidence.OWN
    assert band.note == "on the line between day 20 from transplanting and day 30 from transplanting"


def test_on_the_rows_own_days_a_line_table_has_their_printed_edges() -> None:
    ends = [LINE.band_on("NO3-N", day(number), ON) for number in (10, 20, 30)]
    assert [(band.row, band.low, band.high) for band in ends] == [("a", 1000, 2000)] * 2 + [("b", 500, 900)]


@pytest.mark.parametrize("number", [9, 31])
def test_no_line_runs_beyond_the_first_and_last_row(number: int) -> None:
    with pytest.raises(OutOfSeason):
        LINE.band_on("NO3-N", day(number), ON)


@given(st.integers(10, 29))
def test_a_line_moves_no_edge_the_wrong_way(number: int) -> None:
    now, then = (LINE.band_on("NO3-N", day(step), ON) for step in (number, number + 1))
    assert now.low is not None and then.low is not None and now.high is not None and then.high is not None
    assert now.low >= then.low and now.high >= then.high


def test_a_line_takes_the_weaker_evidence_of_its_ends() -> None:
    recalled = {"evidence": "recalled", "confidence": "high"}
    mixed = table(
        row("a", days=[10, 10], low=1000, evidence="published", source="A"),
        row("b", days=[20, 20], low=500, source="B", **recalled),
        **BY_DAYS,
        between="straight",
    )
    band = mixed.band_on("NO3-N", day(15), ON)
    assert (band.evidence, band.source, band.low, band.high) == (Evidence.RECALLED, "A; B", 750, None)


def test_rows_with_different_edges_make_no_line() -> None:
    with pytest.raises(ValidationError, match="rows a and b give different edges"):
        table(row("a", days=[1, 1], low=9), row("b", days=[5, 5], high=9), **BY_DAYS, between="straight")


def test_lines_are_for_days_only() -> None:
    with pytest.raises(ValidationError, match="between goes with axis days"):
        table(row("a", low=9), axis="season", between="straight")


# --- stages -------------------------------------------------------------------------------------------------

STAGED: dict[str, Any] = {"axis": "stages", "stages": ["buds", "flower", "fruit", "harvest"]}
RUN = table(
    row("early", stage="buds", until="flower", low=100, high=200), row("late", stage="harvest", low=50), **STAGED
)


def dated(*given_: tuple[str, int]) -> StageDates:
    return StageDates({name: day(number) for name, number in given_}, END)


def test_a_row_may_hold_for_a_run_of_stages() -> None:
    dates = dated(("buds", 10), ("flower", 20), ("fruit", 30), ("harvest", 40))
    assert [RUN.band_on("NO3-N", day(number), dates).row for number in (10, 19, 20, 29)] == ["early"] * 4
    with pytest.raises(OutOfSeason, match="no band for NO3-N at fruit"):
        RUN.band_on("NO3-N", day(30), dates)
    assert RUN.band_on("NO3-N", day(40), dates).row == "late"


def test_a_run_of_stages_goes_forward() -> None:
    with pytest.raises(ValidationError, match="until buds comes before stage fruit"):
        table(row("a", stage="fruit", until="buds", low=1), **STAGED)
    with pytest.raises(ValidationError, match="until goes with stage"):
        table(row("a", until="buds", low=1), axis="season")


def test_a_table_ends_with_a_stage_that_is_not_its_own() -> None:
    ending = table(row("a", stage="harvest", low=50), **STAGED, ends_with="second_harvest")
    dates = dated(("harvest", 40), ("second_harvest", 50))
    assert ending.band_on("NO3-N", day(49), dates).row == "a"
    with pytest.raises(OutOfSeason, match="own has no band from second harvest on"):
        ending.band_on("NO3-N", day(50), dates)
    assert ending.band_on("NO3-N", day(90), dated(("harvest", 40))).row == "a"
    with pytest.raises(ValidationError, match="ends_with fruit is a stage of the table"):
        table(row("a", stage="harvest", low=50), **STAGED, ends_with="fruit")


def test_the_last_stage_may_hold_for_some_days_only() -> None:
    short = table(row("a", stage="harvest", low=50), **STAGED, last_days=14)
    assert short.band_on("NO3-N", day(53), dated(("harvest", 40))).row == "a"
    with pytest.raises(OutOfSeason, match="for 14 days from harvest"):
        short.band_on("NO3-N", day(54), dated(("harvest", 40)))


def test_a_stage_without_a_date_that_comes_next_may_have_begun_unnoticed() -> None:
    names = ("buds", "flower", "fruit", "harvest")
    gap = dated(("buds", 10), ("fruit", 30))
    assert stage_place(names, day(29), gap) == 0
    assert stages_near(names, 0, day(15), gap, DOUBT) == ([0, 1], False)
    assert stages_near(names, 0, day(23), gap, DOUBT) == ([0, 1, 2], False)
    assert stages_near(names, 2, day(30), gap, DOUBT)[0] == [0, 1, 2, 3]  # before fruit: flower, or still buds
    assert stages_near(names, 2, day(38), gap, DOUBT)[0] == [2, 3]


# --- limits alone -------------------------------------------------------------------------------------------


def test_a_critical_value_alone_is_the_edge_below_which_a_crop_is_deficient() -> None:
    band = table(row("a", deficient_below=1000), axis="season").band_on("NO3-N", PLANTED, ON)
    assert (band.low, band.high, band.deficient_below) == (1000, None, 1000)
    low, enough = (compare(value, Censor.NONE, 0.1, band, 0.8) for value in (900, 1100))
    assert (low.side, low.status, enough.side, enough.status) == (
        Side.BELOW,
        Status.DEFICIENT,
        Side.WITHIN,
        Status.SUFFICIENT,
    )


def test_a_limit_of_excess_alone_is_the_edge_above_which_a_crop_has_too_much() -> None:
    both = table(row("a", deficient_below=1000, excess_above=2000), axis="season")
    band = both.band_on("NO3-N", PLANTED, ON)
    assert (band.low, band.high) == (1000, 2000)
    assert compare(2100, Censor.NONE, 0.1, band, 0.8).status is Status.EXCESS


def test_a_row_without_any_limit_is_refused() -> None:
    with pytest.raises(ValidationError, match="a row needs low, high or both"):
        table(row("a"), axis="season")
