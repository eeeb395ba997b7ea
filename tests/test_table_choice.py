"""Choosing among tables, and one result across them. Values are invented unless a test names a source."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.across import Across, typed, verdicts
from fertadjust.across_words import (
    across_data,
    candidate_data,
    converted,
    disagreement_words,
    season_lines,
    summary,
    sure_sentence,
    verdict_words,
)
from fertadjust.band_rows import Axis
from fertadjust.bands import BandTable
from fertadjust.compare import Side
from fertadjust.errors import UserError
from fertadjust.shipped import shipped_policies, shipped_tables
from fertadjust.stages import StageDates
from fertadjust.table_choice import Candidate, Wanted, candidate, candidates, disagreements, in_order, places_of
from fertadjust.tissue import MAIN_ANALYTE, Basis, Method, Tissue

ON = date(2026, 5, 4)
TABLES = list(shipped_tables().values())
GENERAL = shipped_policies()["general"]
FLORIDA, MICHIGAN = "watermelon-seeded-petiole-sap-florida", "watermelon-petiole-sap-michigan"
SOUTHEAST, CALIFORNIA = "strawberry-petiole-dry-us-southeast", "strawberry-petiole-dry-california"
TOMATO, GREENHOUSE = "tomato-petiole-sap-florida", "tomato-petiole-sap-florida-greenhouse"


def stages(**dates: date) -> StageDates:
    return StageDates(dict(sorted(dates.items(), key=lambda item: item[1])), date(2026, 12, 1))


FLOWER = stages(vines_6_inch=date(2026, 4, 10), first_flower=date(2026, 4, 20))


def of(crop: str) -> list[BandTable]:
    return [table for table in TABLES if crop in table.crops]


def beside(
    crop: str, value: str, dates: StageDates, tables: list[BandTable] | None = None, **kind: object
) -> Across:
    given_kind: dict[str, object] = {"tissue": Tissue.PETIOLE, "basis": Basis.SAP, "on": ON} | kind
    result = typed(value, **given_kind)  # type: ignore[arg-type]
    return verdicts(of(crop) if tables is None else tables, result, dates, GENERAL)


def verdict_of(found: Across, name: str) -> str:
    return next(verdict_words(item) for item in found.verdicts if item.table.id == name)


def one(found: tuple[Candidate, ...], name: str) -> Candidate:
    return next(item for item in found if item.table.id == name)


def inside(table: BandTable, analyte: str, index: int) -> tuple[date, StageDates]:
    """A day at a row of a table, and the dates that place it."""
    rows = [row for row in table.rows if row.analyte == analyte]
    row = rows[index % len(rows)]
    if row.stage is not None:
        return ON, stages(**{row.stage: ON})
    if row.months is not None:
        return next(date(2026, m, 15) for m in range(1, 13) if f"{date(2026, m, 1):%B}" in row.months), stages()
    span, size = (row.weeks, 7) if row.weeks is not None else (row.days, 1)
    if span is None:
        return ON, stages()
    first = span[0] - 1 if size == 7 else span[0]
    return ON, stages(**{str(table.anchor): ON - timedelta(days=size * first)})


# --- which tables ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "held"),
    [
        (Wanted(crop="Tomato"), lambda t: "tomato" in t.crops),
        (Wanted(crop="cantaloupe"), lambda t: t.crop == "muskmelon"),
        (
            Wanted(variety="seedless", crop="watermelon"),
            lambda t: t.crop == "watermelon" and t.variety != "seeded",
        ),
        (Wanted(region="california"), lambda t: "California" in t.region),
        (Wanted(system="greenhouse"), lambda t: t.system == "greenhouse"),
        (Wanted(tissue=Tissue.LEAF), lambda t: t.tissue is Tissue.LEAF),
        (Wanted(basis=Basis.SAP), lambda t: t.basis is Basis.SAP),
        (Wanted(analyte="k"), lambda t: "K" in t.analytes),
    ],
)
def test_tables_are_found_by_each_property(wanted: Wanted, held: object) -> None:
    found = {table.id for table in TABLES if wanted.fits(table)}
    assert found == {table.id for table in TABLES if held(table)}  # type: ignore[operator]
    assert 0 < len(found) < len(TABLES)


def test_where_nothing_fits_it_is_said_what_there_is() -> None:
    assert Wanted(crop="tomato", region="Ohio").stops_at(TABLES) == ("region", ["California", "Florida", "Japan"])
    name, there = Wanted(crop="quince").stops_at(TABLES)
    assert name == "crop"
    assert {"tomato", "cantaloupe"} <= set(there)
    with pytest.raises(ValueError, match="there are tables"):
        Wanted(crop="tomato").stops_at(TABLES)


@given(st.permutations(of("strawberry")))
@settings(max_examples=20, deadline=None)
def test_candidates_stand_in_one_order_whatever_order_they_come_in(tables: list[BandTable]) -> None:
    found = candidates(tables, Wanted(crop="strawberry"), ON, stages())
    assert [item.table.id for item in found] == [table.id for table in in_order(of("strawberry"))]


def test_no_region_is_taken_by_itself() -> None:
    found = candidates(TABLES, Wanted("strawberry", tissue=Tissue.PETIOLE, basis=Basis.DRY), ON, stages())
    assert len({item.table.region for item in found}) >= 4
    assert 'tables = ["TABLE"]' in season_lines(found)
    assert sum(line.endswith(item.table.id) for line in season_lines(found) for item in found) >= len(found)


# --- the band on a day ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.id)
def test_a_day_inside_gives_the_tables_own_band(table: BandTable) -> None:
    analyte = MAIN_ANALYTE[table.tissue] if MAIN_ANALYTE[table.tissue] in table.analytes else table.analytes[0]
    printed = next(row.analyte for row in table.rows if row.analyte in (analyte, "NO3"))
    for index in range(len(table.rows)):
        on, dates = inside(table, printed, index)
        found = candidate(table, analyte, on, dates)
        assert found.band == table.band_on(analyte, on, dates)
        assert found.band is not None
        assert (found.places, found.why) == ((), "")
        assert found.bands == (found.band,)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.id)
def test_the_places_of_a_table_are_its_rows(table: BandTable) -> None:
    for analyte in table.analytes:
        places = places_of(table, analyte)
        assert sorted(band.row for band in places) == sorted(
            row.id for row in table.rows if row.analyte in (analyte, "NO3" if analyte == "NO3-N" else analyte)
        )
        assert len({band.label for band in places}) == len(places)


def test_without_a_stage_date_all_places_are_given_and_the_stages_named() -> None:
    found = candidate(shipped_tables()[TOMATO], "NO3-N", ON, stages())
    assert found.band is None
    assert len(found.places) == 6
    assert found.needs[0] == "first_buds"
    assert "needs the date of one of: first buds, first flower" in found.why


def test_a_weekly_table_without_its_anchor_gives_its_weeks() -> None:
    found = candidate(shipped_tables()[SOUTHEAST], "NO3-N", ON, stages())
    assert [band.label for band in found.places][:2] == ["week 1", "weeks 2-3"]
    assert found.why == "needs the date of first bloom"


def test_before_the_first_dated_stage_only_earlier_ones_are_open() -> None:
    table = shipped_tables()[TOMATO]
    later = stages(fruit_1_inch=ON + timedelta(days=10))
    assert [band.label for band in candidate(table, "NO3-N", ON, later).places] == ["first buds", "first flower"]
    early = stages(first_buds=ON + timedelta(days=10))
    found = candidate(table, "NO3-N", ON, early)
    assert (found.bands, found.needs) == ((), ())
    assert "is before first buds" in found.why


def test_out_of_season_there_is_no_band_and_no_place() -> None:
    table = shipped_tables()[TOMATO]
    over = candidate(table, "NO3-N", ON, stages(first_buds=date(2026, 3, 1), third_harvest=date(2026, 5, 1)))
    assert over.bands == ()
    assert "no band from third harvest on" in over.why
    undated = candidate(table, "NO3-N", ON, stages(third_harvest=date(2026, 5, 1)))
    assert undated.bands == ()
    ended = StageDates({}, ON - timedelta(days=1))
    assert candidate(table, "NO3-N", ON, ended).bands == ()
    month = next(item for item in TABLES if item.axis is Axis.MONTHS)
    assert candidate(month, "NO3-N", date(2026, 7, 15), stages()).bands == ()


def test_a_next_stage_without_a_date_may_have_begun() -> None:
    found = candidate(shipped_tables()[TOMATO], "NO3-N", ON, stages(first_flower=date(2026, 4, 20)))
    assert [band.label for band in found.unnoticed] == ["fruit 1 inch"]
    both = stages(first_flower=date(2026, 4, 20), fruit_1_inch=date(2026, 5, 20))
    assert candidate(shipped_tables()[TOMATO], "NO3-N", ON, both).unnoticed == ()


# --- how far tables disagree ----------------------------------------------------------------------------------


def test_strawberry_bands_of_southeast_and_california_differ_four_times_at_bloom() -> None:
    """UGA-2021: 4,000 to 6,000 ppm in weeks 2 and 3; UC-DRIS-2012: 1,000 ppm and more before harvest."""
    dates = stages(first_bloom=date(2026, 4, 24), pre_harvest=date(2026, 4, 20))
    found = candidates([shipped_tables()[name] for name in (SOUTHEAST, CALIFORNIA)], Wanted(), ON, dates)
    (apart,) = disagreements(found)
    assert apart.factor == pytest.approx(4.0)
    assert apart.lowest is not None and apart.lowest.table == CALIFORNIA
    assert apart.apart == ()
    assert apart.shared == (4000.0, 6000.0)
    assert "4 times as high" in disagreement_words(apart)


def test_watermelon_bands_of_florida_and_michigan_share_no_value_at_first_flower() -> None:
    """SCG-WM: 1,200 to 1,500 mg/L NO3-N; MSU: 3,900 to 4,700 mg/L NO3, which is 881 to 1,062 mg/L NO3-N."""
    found = candidates(TABLES, Wanted("watermelon", "seeded", basis=Basis.SAP), ON, FLOWER)
    (apart,) = disagreements(found)
    assert apart.apart == ((FLORIDA, MICHIGAN),)
    assert apart.shared is None
    michigan = one(found, MICHIGAN).band
    assert michigan is not None
    assert (michigan.low, michigan.high) == pytest.approx((881.0, 1061.7), abs=0.05)


def test_kinds_and_crops_are_not_mixed_in_a_disagreement() -> None:
    found = candidates(TABLES, Wanted(), ON, FLOWER)
    for apart in disagreements(found):
        tables = [shipped_tables()[band.table] for band in apart.bands]
        assert len({(table.crop, table.tissue, table.basis) for table in tables}) == 1
        assert len(tables) > 1


# --- one result -----------------------------------------------------------------------------------------------


def test_a_result_is_low_in_florida_and_high_in_michigan() -> None:
    """Bands as above (SCG-WM, MSU)."""
    found = beside("watermelon", "1100", FLOWER)
    assert verdict_of(found, FLORIDA) == "low"
    assert verdict_of(found, MICHIGAN) == "high"
    text = summary(found)
    assert text.startswith(f"Low (not sure) in {FLORIDA}")
    assert text.endswith(f"high (not sure) in {MICHIGAN}.")


def test_all_say_low() -> None:
    found = beside("watermelon", "100", FLOWER)
    assert summary(found).startswith("All 3 tables say low: ")
    assert "its side is sure at a chance of 80 %" in sure_sentence(found)


def test_a_result_by_stage_where_the_stage_is_not_known() -> None:
    found = beside("tomato", "640", stages(), [shipped_tables()[TOMATO]])
    text = "low at first buds, within at first flower, high from fruit 1 inch to second harvest"
    assert verdict_of(found, TOMATO) == text
    assert summary(found) == (
        f"In {TOMATO} it depends on the stage: low at first buds, within (not sure) at first flower, high (not "
        "sure) from fruit 1 inch to fruit 2 inch, high from first harvest to second harvest."
    )
    assert found.verdicts[0].side is None
    assert found.verdicts[0].by_stage
    assert found.disagreement is None
    low = beside("tomato", "100", stages(), [shipped_tables()[TOMATO], shipped_tables()[GREENHOUSE]])
    assert "All" not in summary(low)
    assert summary(low).startswith("Both tables say low:")
    assert "(at any of its stages)" in summary(low)


@pytest.mark.parametrize("basis", list(Basis))
def test_dry_and_sap_are_never_mixed(basis: Basis) -> None:
    found = beside("tomato", "640", FLOWER, basis=basis)
    assert {item.table.basis for item in found.verdicts} == {basis}
    assert {item.table.id for item in found.verdicts} | {item.table.id for item in found.others} == {
        table.id for table in of("tomato")
    }
    assert any("is another scale than" in item.why for item in found.others)


def test_nothing_to_compare_with_is_said() -> None:
    found = beside("spinach", "500", stages())
    assert summary(found) == (
        "There is nothing to compare with: no table of the crop is for petiole NO3-N, fresh sap."
    )
    over = stages(first_buds=date(2026, 3, 1), third_harvest=date(2026, 5, 1))
    late = beside("tomato", "500", over, [shipped_tables()[TOMATO]])
    assert "nothing to compare with: tomato-petiole-sap-florida: " in summary(late)
    assert (late.relative, late.parts, sure_sentence(late)) == (None, (), "")


def test_a_bound_tells_only_one_side() -> None:
    found = beside("watermelon", "<1100", FLOWER)
    assert verdict_of(found, FLORIDA) == "low"
    assert verdict_of(found, MICHIGAN) == "cannot be told"
    assert "cannot be told in watermelon-petiole-sap-michigan" in summary(found)
    above = beside("watermelon", ">1600", FLOWER)
    assert summary(above).startswith(f"High in {MICHIGAN}, high (not sure) in {FLORIDA} and ")


def test_a_band_with_one_edge_is_never_high() -> None:
    dates = stages(pre_harvest=date(2026, 4, 20))
    found = beside("strawberry", "9000", dates, [shipped_tables()[CALIFORNIA]], basis=Basis.DRY)
    assert verdict_of(found, CALIFORNIA) == "sufficient"
    assert found.verdicts[0].places[0].found.position is None


def test_a_side_below_the_asked_chance_is_never_told_flatly() -> None:
    """1,300 mg/L is within 1,200 to 1,500 (SCG-WM), with a chance under 80 %."""
    found = beside("watermelon", "1300", FLOWER, [shipped_tables()[FLORIDA]])
    assert summary(found) == f"The only table of its kind says within (not sure): {FLORIDA}."
    assert sure_sentence(found).endswith(f"its side is not sure at a chance of 80 % in {FLORIDA}.")


def test_one_table_is_not_spoken_of_as_many() -> None:
    found = beside("watermelon", "100", FLOWER, [shipped_tables()[FLORIDA]])
    assert sure_sentence(found).endswith(f"its side is sure at a chance of 80 % in {FLORIDA}.")


def test_a_table_that_the_day_does_not_place_is_not_left_out_of_what_is_not_sure() -> None:
    found = beside("tomato", "640", stages(), [shipped_tables()[name] for name in (TOMATO, GREENHOUSE)])
    assert sure_sentence(found).endswith(
        f"not sure at a chance of 80 % in {TOMATO} (at some of its stages) and {GREENHOUSE} (at some of its "
        "stages)."
    )
    assert f"Low in {GREENHOUSE} (at any of its stages, at some of them not sure)." in summary(found)
    every = beside("tomato", "1500", stages(), [shipped_tables()[GREENHOUSE]])
    assert sure_sentence(every).endswith(f"is sure at a chance of 80 % in {GREENHOUSE}.")


def test_all_tables_are_those_with_a_band() -> None:
    over = stages(first_buds=date(2026, 3, 1), third_harvest=date(2026, 5, 1), transplanting=date(2026, 3, 1))
    late = beside("tomato", "100", over, [shipped_tables()[name] for name in (TOMATO, GREENHOUSE)])
    assert summary(late) == f"The only table with a band says low: {GREENHOUSE}."


def test_a_disagreement_speaks_only_of_the_tables_that_the_day_places() -> None:
    late = shipped_tables()[TOMATO].model_copy(update={"id": "z-late", "crop": "watermelon"})
    tables, wanted = [*of("watermelon"), late], Wanted("watermelon", basis=Basis.SAP)
    [apart] = disagreements(candidates(of("watermelon"), wanted, ON, FLOWER))
    assert apart.unplaced == 0
    assert "not placed" not in disagreement_words(apart)
    found = disagreements(candidates(tables, wanted, ON, stages(vines_6_inch=date(2026, 4, 10))))
    assert [(len(item.bands), item.unplaced) for item in found] == [(2, 2)]
    assert disagreement_words(found[0]).startswith(
        "Only the 2 tables that the day places are compared; 2 are not placed. "
    )


def test_a_day_before_the_first_week_is_told_in_words() -> None:
    on, dates = date(2026, 2, 1), stages(first_bloom=date(2026, 3, 2))
    item = candidate(shipped_tables()[SOUTHEAST], "NO3-N", on, dates)
    assert item.why == "Sun 1 Feb 2026 is before first bloom (Mon 2 Mar 2026), on which week 1 begins"


def test_nitrate_is_converted_and_said_to_be() -> None:
    """Atomic masses: NO3-N = NO3 x 14.0067 / 62.0049."""
    found = beside("tomato", "2830", FLOWER, analyte="NO3")
    assert found.result.value == pytest.approx(2830 * 14.0067 / 62.0049)
    assert converted(found.result).startswith("2830 mg/L NO3 is 639 mg/L NO3-N")
    assert converted(beside("tomato", "640", FLOWER).result) == ""


def test_chances_are_those_of_the_rules_and_only_for_nitrogen() -> None:
    few = beside("watermelon", "1100", FLOWER, petioles=4)
    many = beside("watermelon", "1100", FLOWER, petioles=40)
    meter = beside("watermelon", "1100", FLOWER, petioles=40, method=Method.METER)
    assert few.relative is not None and many.relative is not None and meter.relative is not None
    assert few.relative > many.relative
    assert meter.parts[0].name == "meter, undiluted sap"
    assert beside("watermelon", "4500", FLOWER, analyte="K").relative is None


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"tissue": Tissue.LEAF}, "sap goes with petioles"),
        ({"basis": Basis.DRY, "method": Method.METER}, "a meter reads sap"),
        ({"analyte": "nitrate"}, "write NO3 or NO3-N"),
        ({"unit": "%"}, "is not a unit of sap"),
    ],
)
def test_what_does_not_go_together_is_refused(changed: dict[str, object], told: str) -> None:
    with pytest.raises(UserError, match=told):
        beside("tomato", "640", FLOWER, None, **changed)


@given(st.permutations(of("watermelon")), st.floats(50, 5000), st.sampled_from(["", "<", ">"]))
@settings(max_examples=40, deadline=None)
def test_the_order_of_tables_never_changes_a_verdict(tables: list[BandTable], value: float, sign: str) -> None:
    text = f"{sign}{value!r}"
    assert beside("", text, FLOWER, tables) == beside("watermelon", text, FLOWER)


@given(st.floats(50, 5000), st.floats(1.0, 3.0))
@settings(max_examples=40, deadline=None)
def test_a_higher_result_is_never_lower_in_any_table(value: float, factor: float) -> None:
    lower, higher = beside("tomato", f"{value!r}", stages()), beside("tomato", f"{value * factor!r}", stages())
    for one_, other in zip(lower.verdicts, higher.verdicts, strict=True):
        for first, second in zip(one_.places, other.places, strict=True):
            assert (first.found.side or Side.WITHIN) <= (second.found.side or Side.WITHIN)


def test_data_can_be_written_as_json() -> None:
    for dates in (FLOWER, stages()):
        data = json.loads(json.dumps(across_data(beside("watermelon", "1100", dates))))
        assert len(data["verdicts"]) == 3
        assert data["result"]["value"] == 1100
        assert "not_comparable" in data
    found = candidates(TABLES, Wanted("watermelon"), ON, stages())
    assert all(json.dumps(candidate_data(item)) for item in found)
