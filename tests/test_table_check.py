"""Questions about a valid band table. All figures of the own tables are invented."""

from __future__ import annotations

import pytest

from fertadjust.bands import BandTable
from fertadjust.shipped import crop_stages, shipped_tables
from fertadjust.table_check import questions
from fertadjust.table_csv import parse_csv_table

HEAD = "title,t\ncrop,{crop}\nsystem,field\nregion,x\ntissue,{tissue}\npart,p\nbasis,{basis}\naxis,{axis}\n"
COLUMNS = "place,analyte,unit,low,high,source,evidence,confidence,note\n"


def own(
    *lines: str,
    crop: str = "watermelon",
    tissue: str = "petiole",
    basis: str = "sap",
    axis: str = "stages",
    more: str = "",
) -> BandTable:
    head = HEAD.format(crop=crop, tissue=tissue, basis=basis, axis=axis) + more
    return parse_csv_table((head + COLUMNS + "\n".join(lines) + "\n").encode(), "our.csv")


def asked(table: BandTable) -> str:
    return " | ".join(questions(table, shipped_tables(), crop_stages()))


def test_a_careful_table_raises_no_question() -> None:
    """Edges within those of UF-CV004 for watermelon sap, wide enough, in the crop's order, with a note."""
    table = own("first_flower,NO3-N,mg/L,700,1200,,,,our trial", "first_harvest,NO3-N,mg/L,500,900,,,,our trial")
    assert questions(table, shipped_tables(), crop_stages()) == []


@pytest.mark.parametrize(
    ("line", "kind", "hint"),
    [
        ("first_flower,NO3-N,mg/L,5300,9000,,,,n", {}, "are the figures NO3 and not NO3-N?"),
        ("first_flower,NO3,mg/L,500,900,,,,n", {}, "are the figures NO3-N and not NO3?"),
        ("first_flower,NO3-N,g/L,800,1100,,,,n", {}, "is the unit mg/L and not g/L?"),
        ("first_flower,N,ppm,3,4.5,,,,n", {"tissue": "leaf", "basis": "dry"}, "is the unit % and not ppm?"),
        ("first_flower,NO3-N,ppm,900,1500,,,,n", {"basis": "dry"}, "is it fresh sap and not dry weight?"),
    ],
)
def test_mixed_up_kinds_are_asked_about(line: str, kind: dict[str, str], hint: str) -> None:
    assert hint in asked(own(line, **kind))  # type: ignore[arg-type]


def test_an_edge_far_from_every_shipped_table_names_the_nearest() -> None:
    said = asked(own("first_flower,NO3-N,mg/L,100,1200,,,,n"))
    assert "Row 1, low: 100 mg/L is under 1/3 of the lowest in the shipped tables of watermelon" in said
    named = [name for name in shipped_tables() if name in said]
    assert len(named) == 1
    assert named[0].startswith("watermelon-")


def test_an_unusual_edge_is_asked_about_without_any_table_of_the_crop() -> None:
    said = asked(own("season,N,%,31,45,,,,n", crop="kale", tissue="leaf", basis="dry", axis="season"))
    assert "31.00 % is unusual for leaf N, dry weight" in said
    assert "No table or rule of the program is for kale" in said


@pytest.mark.parametrize(
    ("axis", "places", "gap"),
    [
        ("weeks", ("1 to 2", "4", "7"), ("in week 3", "in weeks 5 to 6")),
        ("days", ("0 to 6", "10 to 20"), ("in days 7 to 9",)),
        ("months", ("November", "January; February"), ("in December",)),
    ],
)
def test_gaps_are_told_and_the_time_before_and_after_is_none(
    axis: str, places: tuple[str, ...], gap: tuple[str, ...]
) -> None:
    table = own(
        *(f"{place},NO3-N,mg/L,700,1200,,,,n" for place in places), axis=axis, more="anchor,first_flower\n"
    )
    assert questions(table, shipped_tables(), crop_stages()) == [
        f"There is no band for NO3-N {where}: results of that time will not be used." for where in gap
    ]


def test_stages_that_are_none_of_the_crops_or_out_of_order() -> None:
    said = asked(own("first_harvest,NO3-N,mg/L,700,1200,,,,n", "first_flowr,NO3-N,mg/L,700,1200,,,,n"))
    assert "first_flowr is no stage of watermelon that a table or a rule knows (did you mean first_flower)" in said
    said = asked(own("first_harvest,NO3-N,mg/L,700,1200,,,,n", "first_flower,NO3-N,mg/L,700,1200,,,,n"))
    assert "first harvest stands before first flower" in said


def test_one_edge_narrow_recalled_and_unsourced_rows() -> None:
    said = asked(
        own(
            "first_flower,NO3-N,mg/L,700,,,,,n",
            "small_fruit,NO3-N,mg/L,,900,,,,n",
            "fruit_bulking,NO3-N,mg/L,700,900,,recalled,medium,",
            "first_harvest,NO3-N,mg/L,500,900,,published,,",
            "second_harvest,NO3-N,mg/L,500,900,,,,",
        )
    )
    assert "Row 1 has no high edge" in said
    assert "Row 2 has no low edge" in said
    assert "Row 3 has low and high so near each other" in said
    assert "Row 3 has figures from memory" in said
    assert "Row 4 has published or derived figures, but no publication in source" in said
    assert "Row 5 has neither a source nor a note" in said


def test_a_band_is_narrow_below_the_width_that_80_percent_need() -> None:
    """2 Phi(ln(high/low) / 2s) - 1 = 0.8 at ln(high/low) = 2.5631 s, s^2 = ln(1 + 0.15^2): high/low = 1.466."""
    assert "so near" in asked(own("first_flower,NO3-N,mg/L,700,1020,,,,n"))
    assert "so near" not in asked(own("first_flower,NO3-N,mg/L,700,1030,,,,n"))


def test_a_shipped_table_is_not_held_against_itself() -> None:
    table = shipped_tables()["watermelon-petiole-dry-california"]
    assert "shipped tables" not in asked(table)
