"""The weekly table as a data frame."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fertadjust.frames import amounts_frame
from fertadjust.products import Product
from fertadjust.units import UnitSystem
from tests.support import day_in, plan, products, result, season

ON = day_in(4)


def test_one_row_a_week_in_order() -> None:
    frame = amounts_frame(season(result(2300.0, week=3)).advice(ON).weeks, UnitSystem.US)
    assert frame["week"].to_list() == list(range(4, 13))
    assert frame["start"].to_list() == [day_in(week).isoformat() for week in range(4, 13)]
    assert list(frame.columns) == [
        "week", "start", "stage", "planned", "before", "rate", "block_n", "injection_n",
        "calcium nitrate [lb]", "potassium nitrate [lb]", "k2o", "ca", "total", "over_cap",
    ]  # fmt: skip


def test_a_liquid_has_a_second_column_for_its_volume() -> None:
    liquid = Product("liquid feed", {"n": 10.0, "k2o": 4.0}, share=0.5, density_lb_gal=10.5)
    block = replace(season(), products=(replace(products()[0], share=0.5), liquid))
    for units, weight, volume in ((UnitSystem.US, "lb", "gal"), (UnitSystem.METRIC, "kg", "L")):
        frame = amounts_frame(block.advice(ON).weeks, units)
        names = list(frame.columns)
        assert names[8:11] == [f"calcium nitrate [{weight}]", f"liquid feed [{weight}]", f"liquid feed [{volume}]"]
    us = amounts_frame(block.advice(ON).weeks, UnitSystem.US)
    assert (us["liquid feed [lb]"] / 10.5).to_list() == pytest.approx(us["liquid feed [gal]"].to_list())
    assert (us["liquid feed [lb]"] * 0.04).to_list() == pytest.approx(us["k2o"].to_list())


def test_the_total_runs_on_from_what_is_spent() -> None:
    block = season(the_plan=plan(cap=40.0))
    frame = amounts_frame(block.advice(ON).weeks, UnitSystem.US)
    assert frame["total"].to_list() == pytest.approx((3 * 5.25 + frame["rate"].cumsum()).to_list())
    assert frame["over_cap"].to_list() == (frame["rate"] < frame["before"]).to_list()
    assert frame["total"].max() == pytest.approx(40)


def test_a_table_without_weeks_keeps_its_columns() -> None:
    advice = season().advice(ON)
    for units in UnitSystem:
        frame = amounts_frame([], units, products())
        assert len(frame) == 0
        assert list(frame.columns) == list(amounts_frame(advice.weeks, units, products()).columns)
