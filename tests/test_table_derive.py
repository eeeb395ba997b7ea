"""A table made of the results of good blocks. All results are invented."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats.mstats import mquantiles

from fertadjust.band_rows import Axis
from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.stages import StageDates
from fertadjust.table_derive import Derived, GoodBlock, Wanted, derive, fewest, quantile
from fertadjust.tissue import Basis, Censor, Tissue, TissueResult

BLOOM = date(2025, 3, 3)
HEAD = {
    "id": "our-table",
    "title": "Ours",
    "crop": "strawberry",
    "system": "annual plasticulture",
    "region": "Indiana",
    "part": "petiole",
}


def result(day: int, value: float, censor: Censor = Censor.NONE, tissue: Tissue = Tissue.PETIOLE) -> TissueResult:
    sampled = BLOOM + timedelta(days=day)
    return TissueResult(day, "north", sampled, None, tissue, Basis.DRY, "NO3-N", value, censor)


def good(*results: TissueResult, block: str = "north", **stages: date) -> GoodBlock:
    dates = stages or {"first_bloom": BLOOM, "fruit_set": BLOOM + timedelta(days=21)}
    return GoodBlock("Home 2025", block, StageDates(dates, BLOOM + timedelta(days=90)), results)


def made(*blocks: GoodBlock, **changes: object) -> Derived:
    given_ = {"axis": Axis.SEASON, "anchor": "first_bloom", **changes}
    return derive(blocks, Wanted(HEAD, Tissue.PETIOLE, Basis.DRY, "NO3-N", **given_))  # type: ignore[arg-type]


def series(*values: float, start: int = 0) -> tuple[TissueResult, ...]:
    return tuple(result(start + n, value) for n, value in enumerate(values))


TEN = (2900.0, 1200.0, 3100.0, 1900.0, 2200.0, 2500.0, 1500.0, 2700.0, 3600.0, 4100.0)


def test_a_worked_example_by_hand() -> None:
    """Ten values, definition 8 of Hyndman and Fan (1996): h = (10 + 1/3) p + 1/3.

    For 0.1 h = 1.3667: 1200 + 0.3667 (1500 - 1200) = 1310.
    For 0.9 h = 9.6333: 3600 + 0.6333 (4100 - 3600) = 3916.67.
    """
    [row] = made(good(*series(*TEN))).table.rows
    assert (row.low, row.high) == (1310.0, 3917.0)
    assert (row.evidence, row.source) == (Evidence.OWN, "own seasons")
    assert row.note == "n = 10 from 1 block-season (Home 2025 north); 10 % and 90 % quantiles"


@given(st.lists(st.floats(1, 1e4), min_size=1, max_size=40), st.floats(0.01, 0.99))
def test_quantiles_agree_with_another_library(values: list[float], share: float) -> None:
    """scipy.stats.mstats.mquantiles with alphap = betap = 1/3 is the same definition."""
    assert quantile(values, share) == pytest.approx(float(mquantiles(values, [share], 1 / 3, 1 / 3)[0]), rel=1e-9)


@pytest.mark.parametrize(
    ("low", "high", "least"), [(0.1, 0.9, 7), (0.25, 0.75, 3), (0.05, 0.9, 13), (0.2, 0.95, 13)]
)
def test_the_fewest_samples_that_reach_the_quantiles(low: float, high: float, least: int) -> None:
    """(n + 1/3) p + 1/3 >= 1, so n >= 2/(3p) - 1/3: 6.33 for 0.1, 2.33 for 0.25, 13.0 for 0.05."""
    assert fewest(low, high) == least


def test_too_few_for_the_quantiles_are_refused() -> None:
    with pytest.raises(UserError, match="6 is too few for the 10 % and 90 % quantiles: give 7 or more"):
        made(good(*series(*TEN)), least=6)


def test_weeks_days_and_months_get_a_row_for_each_run() -> None:
    block = good(*series(*TEN), *series(*TEN, start=14))
    weeks = made(block, axis=Axis.WEEKS, every=2).table
    assert [(row.weeks, row.low) for row in weeks.rows] == [((1, 2), 1310.0), ((3, 4), 1310.0)]
    days = made(block, axis=Axis.DAYS, every=2).table
    assert [row.days for row in days.rows] == [(0, 13), (14, 27)]
    assert made(block, axis=Axis.MONTHS).table.rows[0].months == ("March",)


def test_results_before_the_anchor_are_in_the_weeks_before_week_1() -> None:
    [row] = made(good(*series(*TEN, start=-14)), axis=Axis.WEEKS, every=2).table.rows
    assert row.weeks == (-1, 0)


def test_stages_take_the_results_from_their_day_on_and_stop_where_they_end() -> None:
    dates = {
        "first_bloom": BLOOM,
        "fruit_set": BLOOM + timedelta(days=10),
        "last_harvest": BLOOM + timedelta(days=20),
    }
    block = good(*series(*TEN), *series(*(2 * v for v in TEN), start=10), *series(9.0, start=20), **dates)
    found = made(block, axis=Axis.STAGES, stages=("first_bloom", "fruit_set"), ends_with="last_harvest")
    assert [(row.stage, row.low) for row in found.table.rows] == [("first_bloom", 1310.0), ("fruit_set", 2620.0)]
    assert found.told == ("1 sample of days that the axis has no place for.",)


def test_a_stage_without_a_date_in_a_block_is_refused_and_not_guessed() -> None:
    with pytest.raises(UserError, match="Home 2025 south has no date for fruit_set"):
        made(
            good(*series(*TEN)),
            good(*series(*TEN), block="south", first_bloom=BLOOM),
            axis=Axis.STAGES,
            stages=("first_bloom", "fruit_set"),
        )


def test_a_place_with_few_results_gets_no_row_and_is_told() -> None:
    found = made(good(*series(*TEN), result(40, 900)), axis=Axis.WEEKS, every=2)
    assert len(found.table.rows) == 1
    assert found.told == ("weeks 5 to 6: 1 sample, 10 are needed, so no band.",)


def test_results_of_one_day_count_once_with_their_mean() -> None:
    twice = (*series(*TEN[1:]), result(20, 2800), result(20, 3000), result(20, 50, Censor.BELOW))
    [row] = made(good(*twice)).table.rows
    assert (row.low, row.high) == (1310.0, 3917.0)
    assert row.note.startswith("n = 10 ")


def test_a_bound_beside_a_value_of_its_day_plays_no_part_and_is_told() -> None:
    found = made(good(*series(*TEN), result(0, 500, Censor.BELOW), result(0, 600, Censor.BELOW)))
    assert found.table.rows == made(good(*series(*TEN))).table.rows
    assert found.told == ("2 bounds left out, since the day has a measured value beside it.",)


def test_results_of_another_kind_are_left_out() -> None:
    [place] = made(good(*series(*TEN), result(30, 9, tissue=Tissue.LEAF))).places
    assert place.n == 10


# --- bounds ----------------------------------------------------------------------------------------------------


def test_a_bound_that_no_edge_falls_on_counts_and_is_told() -> None:
    """A value of ">1900" lies anywhere above 1900, but "<900" is the smallest of 20 in any case."""
    values = (*TEN, *(v + 50 for v in TEN))
    low = result(60, 900, Censor.BELOW)
    [row] = made(good(*series(*values), low)).table.rows
    """h = (21 + 1/3) 0.1 + 1/3 = 2.4667: between 1200 and 1250, 1223.33."""
    assert row.low == 1223.0
    assert "; 1 bound among them;" in row.note


def test_an_edge_among_bounds_is_not_given() -> None:
    bounds = tuple(result(60 + n, 900, Censor.BELOW) for n in range(3))
    found = made(good(*series(*TEN), *bounds))
    [row] = found.table.rows
    assert row.low is None
    assert row.high is not None
    assert found.told == ("whole season: the low edge falls among bounds (3 of 13 samples), so it is not given.",)


def test_nothing_but_bounds_gives_no_row() -> None:
    with pytest.raises(UserError, match="both edges fall among bounds"):
        made(good(*(result(n, 900, Censor.BELOW) for n in range(12))))


@pytest.mark.parametrize("limit", [2000.0, 900.0])
def test_an_edge_that_is_given_does_not_depend_on_where_the_bounds_lie(limit: float) -> None:
    bounds = tuple(result(60 + n, limit, Censor.BELOW) for n in range(2))
    low = made(good(*series(*TEN), *bounds)).table.rows[0].low
    exact = [
        quantile([*TEN, limit * part, limit * part / 2], 0.1) for part in (0.02, 0.5, 1.0)
    ]  # wherever below the limit they were
    assert low is None or exact == pytest.approx([low] * 3, rel=1e-3)


# --- what is refused, and what is said ----------------------------------------------------------------------


def test_no_results_and_results_all_alike_are_told() -> None:
    with pytest.raises(UserError, match="there is no result of petiole NO3-N, dry"):
        made(good())
    for axis in Axis:
        with pytest.raises(UserError, match="there is no result of petiole NO3-N, dry"):
            made(good(), axis=axis, stages=("first_bloom",))
    with pytest.raises(UserError, match="all but alike"):
        made(good(*series(*[2000.0] * 10)))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"low": 0.9, "high": 0.1}, "the lower first"),
        ({"low": 0.0}, "between 0 and 1"),
        ({"axis": Axis.WEEKS, "anchor": None}, "name the stage that begins week 1"),
        ({"axis": Axis.STAGES}, "name the stages in order of time"),
        ({"axis": Axis.STAGES, "stages": ("fruit_set", "first_bloom")}, "the dates do not rise"),
        ({"axis": Axis.WEEKS, "every": 0}, "give 1 or more"),
    ],
)
def test_a_wish_that_does_not_fit_is_refused(changes: dict[str, object], said: str) -> None:
    with pytest.raises(UserError, match=said):
        made(good(*series(*TEN)), **changes)


def test_a_block_named_twice_is_refused() -> None:
    with pytest.raises(UserError, match="would count twice"):
        made(good(*series(*TEN)), good(*series(*TEN)))


def test_the_table_says_what_it_is() -> None:
    found = made(good(*series(*TEN)), good(*series(*TEN), block="south"))
    notes = " ".join(found.table.notes)
    assert "what good blocks had, not what they needed" in notes
    assert "the high edge is no tested limit" in notes
    assert "One farm's own" in notes
    assert "Home 2025 north, Home 2025 south" in notes
    assert found.table.rows[0].note.startswith("n = 20 from 2 block-seasons (Home 2025 north, Home 2025 south)")
