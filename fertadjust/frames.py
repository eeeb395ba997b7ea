"""Tables as pandas data frames."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from fertadjust.advice_data import week_data
from fertadjust.units import UnitSystem
from fertadjust.weekly import WeekAmounts


def amounts_frame(weeks: Sequence[WeekAmounts], units: UnitSystem) -> pd.DataFrame:
    """The weekly table, one row a week; see `fertadjust.api.Season.amounts` for the columns."""
    rows: list[dict[str, Any]] = []
    for week in weeks:
        data = week_data(week, units)
        row = {key: data[key] for key in ("week", "start", "stage", "planned", "before", "rate")}
        row |= {"block_n": data["block_n"], "injection_n": data["injection_n"]}
        for part in data["products"]:
            row[f"{part['product']} [{units.weight_unit}]"] = part["weight"]
            if part["volume"] is not None:
                row[f"{part['product']} [{units.volume_unit}]"] = part["volume"]
        row |= {key: data[key] for key in ("k2o", "ca", "total", "over_cap")}
        rows.append(row)
    return pd.DataFrame(rows)
