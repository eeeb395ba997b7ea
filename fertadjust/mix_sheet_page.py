"""A mix sheet as one HTML page that prints on Letter or A4 and is carried to the tank."""

from __future__ import annotations

from datetime import date
from typing import Any

from fertadjust import dates
from fertadjust.evidence import Evidence, cite
from fertadjust.injection import Injecting
from fertadjust.mix_sheet import MixSheet
from fertadjust.mix_sheet_data import at_least, made_up, measured, mix_sheet_data
from fertadjust.pages import environment
from fertadjust.units import UnitSystem


def mix_sheet_html(
    sheet: MixSheet, injecting: Injecting, units: UnitSystem, *, farm: str, on: date, program: str
) -> str:
    """The sheet as a complete HTML page; the same arguments always give the same page.

    Args:
        sheet: the sheet.
        injecting: tanks and injector, for their settings.
        units: units to show.
        farm: the farm's name.
        on: day as of which the rates are decided.
        program: name and version to print in the footer.
    """
    data = mix_sheet_data(sheet, injecting, units)
    return (
        environment()
        .get_template("mix_sheet.html.j2")
        .render(
            farm=farm,
            title=" and ".join(member["name"] for member in data["blocks"]),
            on=dates.day(on),
            first=dates.day(sheet.week.start),
            last=dates.day(sheet.week.end),
            sheet=data,
            program=program,
            cautions=[_caution(item) for item in data["cautions"]],
            number=number,
            measured=measured,
            at_least=at_least,
            made_up=made_up,
            pairs=_pairs,
        )
    )


def number(value: float | None, digits: int = 2) -> str:
    """A number for people, "" for none.

    >>> number(1234.5), number(None), number(11.49, 0)
    ('1,234.50', '', '11')
    """
    return "" if value is None else f"{value:,.{digits}f}"


def _pairs(nutrients: dict[str, float], unit: str) -> str:
    """Nutrients in one line: "N 0.60 lb, K2O 1.02 lb"."""
    return ", ".join(f"{name} {measured(weight)} {unit}" for name, weight in nutrients.items())


def _caution(item: dict[str, Any]) -> dict[str, Any]:
    evidence = Evidence(item["evidence"])
    return {
        "text": item["text"],
        "cite": cite(item["source"], evidence),
        "recalled": evidence is Evidence.RECALLED,
    }
