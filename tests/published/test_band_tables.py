"""Every row of the first ten strawberry tables, transcribed a second time from the publication it cites.

The rows of all tables are held to their sources in `test_every_row.py`.

Edges are in the stored unit: ppm of dry matter for nitrate and micronutrients, % of dry matter for N, P, K, Ca,
Mg and S, mg/L of fresh sap. "published" rows stand in the cited source. "recalled" rows (UF-CV004, UF-EP081,
SCSB-394 and three rows of UC-BOLDA) were recalled in both transcriptions and are flagged so in the table.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import NamedTuple

import pytest

from fertadjust.band_rows import Axis, Band
from fertadjust.bands import BandTable
from fertadjust.errors import OutOfSeason
from fertadjust.evidence import Evidence, split_sources
from fertadjust.shipped import shipped_tables
from fertadjust.stages import StageDates
from fertadjust.tissue import Basis, Tissue

PUBLISHED, RECALLED = Evidence.PUBLISHED, Evidence.RECALLED
FIRST = date(2025, 11, 3)


class Expected(NamedTuple):
    """What the source gives at one place."""

    low: float | None
    high: float | None
    sources: str
    evidence: Evidence = PUBLISHED
    deficient_below: float | None = None
    excess_above: float | None = None
    confidence: str | None = None


Place = tuple[str, object]
Rows = Mapping[Place, Expected]


def weeks(analyte: str, rows: Mapping[tuple[int, int], Expected]) -> dict[Place, Expected]:
    return {(analyte, week): row for (first, last), row in rows.items() for week in range(first, last + 1)}


# UGA-2021, twelve weeks, dry petiole, ppm NO3-N. The low limit of weeks 5-8 is printed 300 there; it is 3,000 by
# DE-2018 (main fruiting 3,000-5,000) and DE-MON (3,000 is low, 5,000 high), so these two stand beside it.
US_SOUTHEAST = weeks(
    "NO3-N",
    {
        (1, 1): Expected(600, 1500, "UGA-2021"),
        (2, 3): Expected(4000, 6000, "UGA-2021"),
        (4, 4): Expected(3500, 6000, "UGA-2021"),
        (5, 8): Expected(3000, 5000, "UGA-2021; DE-2018; DE-MON"),
        (9, 10): Expected(2000, 4500, "UGA-2021"),
        (11, 11): Expected(1500, 3000, "UGA-2021"),
        (12, 12): Expected(1000, 2000, "UGA-2021"),
    },
)

# DE-2018, dry petiole by stage, ppm NO3-N.
DELAWARE_PETIOLE: Rows = {
    ("NO3-N", "green_up"): Expected(600, 1500, "DE-2018"),
    ("NO3-N", "full_bloom"): Expected(4000, 6000, "DE-2018"),
    ("NO3-N", "main_fruiting"): Expected(3000, 5000, "DE-2018"),
    ("NO3-N", "later_fruiting"): Expected(1000, 3000, "DE-2018"),
}

# UC-DRIS-2012, 'Albion', dry petiole: minima only. The phosphate figure holds for all season.
CALIFORNIA_PETIOLE: Rows = {
    ("NO3-N", "pre_harvest"): Expected(1000, None, "UC-DRIS-2012"),
    ("NO3-N", "main_harvest"): Expected(400, None, "UC-DRIS-2012"),
    ("PO4-P", "pre_harvest"): Expected(1200, None, "UC-DRIS-2012"),
    ("PO4-P", "main_harvest"): Expected(1200, None, "UC-DRIS-2012"),
    ("K", "pre_harvest"): Expected(2.5, None, "UC-DRIS-2012"),
    ("K", "main_harvest"): Expected(1.5, None, "UC-DRIS-2012"),
}


def sap(low: float, high: float) -> Expected:
    """UF-CV004, fresh sap, mg/L; recalled, high confidence."""
    return Expected(low, high, "UF-CV004", RECALLED, confidence="high")


FLORIDA_SAP: Rows = {
    ("NO3-N", 11): sap(800, 900),
    ("NO3-N", 12): sap(600, 800),
    ("NO3-N", 1): sap(600, 800),
    ("NO3-N", 2): sap(300, 500),
    ("NO3-N", 3): sap(200, 500),
    ("NO3-N", 4): sap(200, 500),
    ("K", 11): sap(3000, 3500),
    ("K", 12): sap(3000, 3500),
    ("K", 1): sap(2500, 3000),
    ("K", 2): sap(2000, 2500),
    ("K", 3): sap(1800, 2500),
    ("K", 4): sap(1500, 2000),
}

# DE-7778: 600 mg/L before and at early bloom; its upper limit is not verified.
DELAWARE_SAP: Rows = {("NO3-N", "early_bloom"): Expected(600, None, "DE-7778")}

# DE-2018 and DE-MON, leaf blade, spring season; boron by DE-B, toxic above 200 ppm.
DELAWARE_LEAF: Rows = {
    ("N", "season"): Expected(3.0, 4.0, "DE-2018; DE-MON"),
    ("P", "season"): Expected(0.20, 0.40, "DE-2018; DE-MON"),
    ("K", "season"): Expected(1.1, 2.5, "DE-2018; DE-MON"),
    ("Ca", "season"): Expected(0.5, 1.5, "DE-2018; DE-MON"),
    ("Mg", "season"): Expected(0.25, 0.45, "DE-2018; DE-MON"),
    ("B", "season"): Expected(20, 100, "DE-B", excess_above=200),
}

# UGA-AESL, youngest fully expanded mature leaf; boron by UGA-2023.
GEORGIA_LEAF: Rows = {
    ("N", "season"): Expected(2.80, 3.80, "UGA-AESL"),
    ("P", "season"): Expected(0.20, 0.45, "UGA-AESL"),
    ("K", "season"): Expected(1.40, 2.50, "UGA-AESL"),
    ("Ca", "season"): Expected(0.50, 1.0, "UGA-AESL"),
    ("Mg", "season"): Expected(0.25, 0.50, "UGA-AESL"),
    ("S", "season"): Expected(0.15, 0.40, "UGA-AESL"),
    ("B", "season"): Expected(30, 50, "UGA-2023"),
}


def region(low: float, high: float) -> Expected:
    """SCSB-394, leaf blade; recalled, medium confidence."""
    return Expected(low, high, "SCSB-394", RECALLED, confidence="medium")


SOUTHEAST_LEAF: Rows = {
    ("S", "season"): region(0.15, 0.40),
    ("B", "season"): region(25, 50),
    ("Fe", "season"): region(50, 300),
    ("Mn", "season"): region(30, 300),
    ("Zn", "season"): region(15, 60),
    ("Cu", "season"): region(3, 15),
}


def albion(low: float, high: float | None, *, recalled: bool = False) -> Expected:
    """UC-BOLDA, leaf blade of balanced high-yield 'Albion' fields."""
    if recalled:
        return Expected(low, high, "UC-BOLDA", RECALLED, confidence="medium")
    return Expected(low, high, "UC-BOLDA")


CALIFORNIA_LEAF: Rows = {
    ("N", "pre_harvest"): albion(3.1, 3.8),
    ("P", "pre_harvest"): albion(0.50, 0.90),
    ("K", "pre_harvest"): albion(1.8, 2.2),
    ("Ca", "pre_harvest"): albion(0.6, 1.3),
    ("Mg", "pre_harvest"): albion(0.33, 0.45),
    ("S", "pre_harvest"): albion(0.19, 0.23),
    ("B", "pre_harvest"): albion(31, 46),
    ("Zn", "pre_harvest"): albion(13, 28),
    ("Mn", "pre_harvest"): albion(75, 600),
    ("Fe", "pre_harvest"): albion(70, 140),
    ("Cu", "pre_harvest"): albion(3.3, 5.8),
    ("N", "main_harvest"): albion(2.4, 3.0),
    ("P", "main_harvest"): albion(0.30, 0.40),
    ("K", "main_harvest"): albion(1.3, 1.8),
    ("Ca", "main_harvest"): albion(1.0, 2.2),
    ("Mg", "main_harvest"): albion(0.28, 0.42),
    ("S", "main_harvest"): albion(0.15, 0.21),
    ("B", "main_harvest"): albion(40, 70),
    ("Zn", "main_harvest"): albion(11, None),
    ("Mn", "main_harvest"): albion(65, 320, recalled=True),
    ("Fe", "main_harvest"): albion(85, 200, recalled=True),
    ("Cu", "main_harvest"): albion(2.6, 4.9, recalled=True),
}


def mature(low: float, high: float) -> Expected:
    """UF-EP081, recalled, medium: below the adequate range is Deficient, above it is High."""
    return Expected(low, high, "UF-EP081", RECALLED, low, high, "medium")


# The end-of-season rows of UF-EP081 are recalled with low confidence and stay out.
FLORIDA_LEAF: Rows = {
    ("N", "initial_flowering"): mature(3.0, 3.5),
    ("N", "initial_harvest"): mature(3.0, 3.5),
    ("N", "midseason"): mature(2.8, 3.0),
    ("P", "initial_harvest"): mature(0.2, 0.4),
    ("K", "initial_harvest"): mature(1.5, 2.5),
    ("Ca", "initial_harvest"): mature(0.4, 1.5),
    ("Mg", "initial_harvest"): mature(0.25, 0.5),
    ("P", "midseason"): mature(0.2, 0.4),
    ("K", "midseason"): mature(1.1, 2.5),
    ("Ca", "midseason"): mature(0.4, 1.5),
    ("Mg", "midseason"): mature(0.2, 0.4),
}

TABLES: dict[str, tuple[Tissue, Basis, str, Rows]] = {
    "strawberry-petiole-dry-us-southeast": (Tissue.PETIOLE, Basis.DRY, "US Southeast", US_SOUTHEAST),
    "strawberry-petiole-dry-delaware": (Tissue.PETIOLE, Basis.DRY, "Delaware", DELAWARE_PETIOLE),
    "strawberry-petiole-dry-california": (
        Tissue.PETIOLE,
        Basis.DRY,
        "coastal California",
        CALIFORNIA_PETIOLE,
    ),
    "strawberry-petiole-sap-florida": (Tissue.PETIOLE, Basis.SAP, "Florida", FLORIDA_SAP),
    "strawberry-petiole-sap-delaware": (Tissue.PETIOLE, Basis.SAP, "Delaware", DELAWARE_SAP),
    "strawberry-leaf-delaware": (Tissue.LEAF, Basis.DRY, "Delaware", DELAWARE_LEAF),
    "strawberry-leaf-georgia": (Tissue.LEAF, Basis.DRY, "Georgia", GEORGIA_LEAF),
    "strawberry-leaf-us-southeast-recalled": (Tissue.LEAF, Basis.DRY, "US Southeast", SOUTHEAST_LEAF),
    "strawberry-leaf-california": (Tissue.LEAF, Basis.DRY, "coastal California", CALIFORNIA_LEAF),
    "strawberry-leaf-florida": (Tissue.LEAF, Basis.DRY, "Florida", FLORIDA_LEAF),
}

UNITS = {
    (Basis.SAP, "NO3-N"): "mg/L",
    (Basis.SAP, "K"): "mg/L",
    **{(Basis.DRY, name): "ppm" for name in ("NO3-N", "PO4-P", "B", "Zn", "Mn", "Fe", "Cu")},
    **{(Basis.DRY, name): "%" for name in ("N", "P", "K", "Ca", "Mg", "S")},
}

EVERY_ROW = [(name, *key) for name, (_, _, _, rows) in TABLES.items() for key in rows]


def calendar_of(table: BandTable) -> StageDates:
    """Stage dates that give every place of a table a day of its own."""
    names = table.stages or (table.anchor or "unused",)
    dates = {name: FIRST + timedelta(days=30 * index) for index, name in enumerate(names)}
    return StageDates(dates, FIRST + timedelta(days=30 * len(names) + 365))


def places(table: BandTable) -> dict[object, date]:
    """Every place that the table's axis could have, with a day in it; weeks a little beyond the season."""
    if table.axis is Axis.WEEKS:
        return {week: FIRST + timedelta(days=7 * (week - 1) + 3) for week in range(-2, 20)}
    if table.axis is Axis.STAGES:
        return {name: FIRST + timedelta(days=30 * index + 10) for index, name in enumerate(table.stages)}
    if table.axis is Axis.MONTHS:
        return {month: date(2026, month, 15) for month in range(1, 13)}
    return {"season": FIRST}


def band_at(name: str, analyte: str, place: object) -> Band:
    table = shipped_tables()[name]
    return table.band_on(analyte, places(table)[place], calendar_of(table))


def test_every_table_transcribed_here_is_shipped() -> None:
    assert set(TABLES) <= set(shipped_tables())


@pytest.mark.parametrize("name", TABLES)
def test_a_table_is_for_the_tissue_basis_and_region_of_its_source(name: str) -> None:
    table = shipped_tables()[name]
    tissue, basis, where, _ = TABLES[name]
    assert (table.crop, table.tissue, table.basis, table.region) == ("strawberry", tissue, basis, where)


@pytest.mark.parametrize(("name", "analyte", "place"), EVERY_ROW)
def test_a_row_has_the_edges_source_and_evidence_of_its_publication(
    name: str, analyte: str, place: object
) -> None:
    _, basis, _, rows = TABLES[name]
    expected, band = rows[analyte, place], band_at(name, analyte, place)
    for edge in ("low", "high", "deficient_below", "excess_above"):
        wanted, given = getattr(expected, edge), getattr(band, edge)
        assert given == (wanted if wanted is None else pytest.approx(wanted, rel=1e-12)), edge
    assert band.unit == UNITS[basis, analyte]
    assert set(split_sources(band.source)) == set(split_sources(expected.sources))
    assert band.evidence is expected.evidence
    row = next(row for row in shipped_tables()[name].rows if row.id == band.row)
    assert row.confidence == expected.confidence


@pytest.mark.parametrize("name", TABLES)
def test_a_table_has_no_band_where_its_source_gives_none(name: str) -> None:
    table = shipped_tables()[name]
    found = set()
    for analyte in table.analytes:
        for place, day in places(table).items():
            try:
                table.band_on(analyte, day, calendar_of(table))
            except OutOfSeason:
                continue
            found.add((analyte, place))
    assert found == set(TABLES[name][3])


def test_the_low_limit_of_weeks_five_to_eight_is_three_thousand_and_the_misprint_is_told() -> None:
    """UGA-2021 prints 300; DE-2018 gives 3,000-5,000 for main fruiting, DE-MON calls 3,000 low."""
    name = "strawberry-petiole-dry-us-southeast"
    assert {band_at(name, "NO3-N", week).low for week in range(5, 9)} == {3000}
    assert any("misprint" in note.lower() and "300" in note for note in shipped_tables()[name].notes)


def test_the_southeast_low_limit_is_four_times_the_california_minimum_at_bloom_and_7_5_times_in_fruit() -> None:
    """Derived from UGA-2021 and UC-DRIS-2012: 4,000 / 1,000 and 3,000 / 400."""
    southeast, california = "strawberry-petiole-dry-us-southeast", "strawberry-petiole-dry-california"
    bloom, fruit = band_at(southeast, "NO3-N", 2).low, band_at(southeast, "NO3-N", 6).low
    before, during = (band_at(california, "NO3-N", stage).low for stage in ("pre_harvest", "main_harvest"))
    assert bloom is not None and fruit is not None and before is not None and during is not None
    assert (bloom / before, fruit / during) == pytest.approx((4.0, 7.5))


def test_georgia_and_delaware_keep_their_own_leaf_nitrogen_limits() -> None:
    """UGA-AESL 2.80-3.80 %, DE-2018 3.0-4.0 %: both as published, never averaged."""
    georgia, delaware = (band_at(f"strawberry-leaf-{where}", "N", "season") for where in ("georgia", "delaware"))
    assert (georgia.low, georgia.high) == pytest.approx((2.8, 3.8))
    assert (delaware.low, delaware.high) == pytest.approx((3.0, 4.0))


def test_flavorfest_is_warned_of_wherever_the_eastern_petiole_bands_stand() -> None:
    """DE-2018: 'Flavorfest' and some other cultivars need much lower petiole nitrate."""
    for name in ("strawberry-petiole-dry-us-southeast", "strawberry-petiole-dry-delaware"):
        assert any("Flavorfest" in note for note in shipped_tables()[name].notes)


def test_sap_tables_say_that_sap_and_dry_values_are_two_scales() -> None:
    """UF-CV004."""
    for table in shipped_tables().values():
        if table.basis is Basis.SAP:
            assert any("cannot be converted" in note for note in table.notes), table.id
