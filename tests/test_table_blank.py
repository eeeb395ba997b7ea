"""Blank tables: valid once the numbers are in. The figures filled in are invented."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from fertadjust.band_rows import Axis
from fertadjust.bands import BandTable
from fertadjust.errors import UserError
from fertadjust.shipped import crop_stages, read_band_table
from fertadjust.table_blank import Blank, blank_text, first_of_each
from fertadjust.tissue import Basis, Tissue

KNOWN = crop_stages().of("watermelon")
assert KNOWN is not None
STAGES = first_of_each(KNOWN)


def blank(axis: Axis, **changes: object) -> Blank:
    given = {
        "stages": STAGES if axis is Axis.STAGES else (),
        "anchor": "first_flower" if axis in (Axis.WEEKS, Axis.DAYS) else None,
        "weeks": 3,
    } | changes
    fixed = (Tissue.PETIOLE, "petiole", Basis.SAP, "NO3-N")
    return Blank("our-table", "water melon, early", "field", "Indiana, north", *fixed, axis, **given)  # type: ignore[arg-type]


def written(where: Path, what: Blank, ending: str) -> Path:
    path = where / f"our-table{ending}"
    path.write_text(blank_text(what, ending, crop_stages().meaning))
    return path


def filled(path: Path) -> BandTable:
    """The table after low and high were filled in."""
    text = path.read_text()
    if path.suffix == ".toml":
        text = re.sub(
            r"^# low =$", "low = 600", re.sub(r"^# high =$", "high = 1100", text, flags=re.M), flags=re.M
        )
    else:
        text = text.replace("mg/L,,,", "mg/L,600,1100,")
    path.write_text(text)
    return read_band_table(path)


ROWS = {Axis.STAGES: len(STAGES), Axis.WEEKS: 3, Axis.DAYS: 3, Axis.MONTHS: 12, Axis.SEASON: 1}


@pytest.mark.parametrize("ending", [".toml", ".csv"])
@pytest.mark.parametrize("axis", list(Axis))
def test_a_blank_table_is_valid_once_the_numbers_are_in(tmp_path: Path, axis: Axis, ending: str) -> None:
    path = written(tmp_path, blank(axis), ending)
    table = filled(path)
    assert len(table.rows) == ROWS[axis]
    assert (table.crop, table.region) == ("water melon, early", "Indiana, north")
    assert {(row.low, row.high) for row in table.rows} == {(600.0, 1100.0)}


@pytest.mark.parametrize("ending", [".toml", ".csv"])
@pytest.mark.parametrize("axis", list(Axis))
def test_unfilled_places_are_told_one_by_one(tmp_path: Path, axis: Axis, ending: str) -> None:
    with pytest.raises(UserError) as caught:
        read_band_table(written(tmp_path, blank(axis), ending))
    assert [fault.message for fault in caught.value.faults] == ["a row needs low, high or both"] * ROWS[axis]
    assert len({fault.line for fault in caught.value.faults} - {None}) == ROWS[axis]


def test_both_kinds_of_file_make_the_same_table(tmp_path: Path) -> None:
    tables = [filled(written(tmp_path, blank(Axis.STAGES), ending)) for ending in (".toml", ".csv")]
    assert tables[0] == tables[1]


def test_a_stage_says_what_it_looks_like(tmp_path: Path) -> None:
    text = written(tmp_path, blank(Axis.STAGES), ".toml").read_text()
    assert f"[[rows]] # first harvest: {crop_stages().meaning['first_harvest']}\n" in text


def test_stages_come_in_the_crops_order_one_of_each_group() -> None:
    assert KNOWN is not None
    assert [KNOWN.rank(name) for name in STAGES] == list(range(len(KNOWN.order)))


@pytest.mark.parametrize("ending", [".toml", ".csv"])
@pytest.mark.parametrize(
    ("changes", "key", "said"),
    [
        ({"crop": 'water"melon'}, "--crop", "holds a quotation mark"),
        ({"crop": "=1+1"}, "--crop", "is no text to a spreadsheet program"),
        ({"region": " @sum"}, "--region", "is no text to a spreadsheet program"),
        ({"system": "fi\x1b[31meld"}, "--system", "marks that are not printed"),
        ({"part": "petiole\nleaf"}, "--part", "marks that are not printed"),
        ({"crop": "water\u202emelon"}, "--crop", "marks that are not printed"),
        ({"stages": ('first"flower',)}, "--stage", "is no name of a stage"),
        ({"stages": ("=1+1",)}, "--stage", "is no name of a stage"),
    ],
)
def test_texts_that_would_not_stand_as_they_are_are_refused(
    changes: dict[str, object], key: str, said: str, ending: str
) -> None:
    with pytest.raises(UserError) as caught:
        blank_text(replace(blank(Axis.STAGES), **changes), ending, {})  # type: ignore[arg-type]
    [fault] = caught.value.faults
    assert fault.key == key and said in fault.message


@pytest.mark.parametrize(
    ("axis", "key"), [(Axis.STAGES, "--stage"), (Axis.WEEKS, "--anchor"), (Axis.DAYS, "--anchor")]
)
def test_what_is_missing_is_told(axis: Axis, key: str) -> None:
    with pytest.raises(UserError) as caught:
        blank_text(blank(axis, stages=(), anchor=None), ".csv", {})
    assert [fault.key for fault in caught.value.faults] == [key]
