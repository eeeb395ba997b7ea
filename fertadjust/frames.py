"""Tables as pandas data frames."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from fertadjust.advice_data import week_data
from fertadjust.products import Product
from fertadjust.units import UnitSystem
from fertadjust.weekly import WeekAmounts


def amounts_frame(
    weeks: Sequence[WeekAmounts], units: UnitSystem, products: Sequence[Product] = ()
) -> pd.DataFrame:
    """The weekly table, one row a week; see `fertadjust.api.Season.amounts` for the columns.

    Args:
        weeks: the weeks.
        units: units of the numbers.
        products: the products that feed, so that the columns are the same when no week is left.
    """
    used = products or [part.product for part in (weeks[0].products if weeks else ())]
    columns = ["week", "start", "stage", "planned", "before", "rate", "block_n", "injection_n"]
    for product in used:
        columns.append(f"{product.name} [{units.weight_unit}]")
        if product.density_lb_gal is not None:
            columns.append(f"{product.name} [{units.volume_unit}]")
    columns += ["k2o", "ca", "total", "over_cap"]
    rows: list[dict[str, Any]] = []
    for week in weeks:
        row = week_data(week, units) | dict.fromkeys(columns[8:-4], 0.0)
        for part in row["products"]:
            row[f"{part['product']} [{units.weight_unit}]"] = part["weight"]
            row[f"{part['product']} [{units.volume_unit}]"] = part["volume"]
        rows.append(row)
    return pd.DataFrame(rows, columns=columns)
