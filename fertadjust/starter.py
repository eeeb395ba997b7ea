"""A commented season file to start from."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from string import Template

from fertadjust.band_rows import Axis
from fertadjust.shipped import shipped_tables
from fertadjust.units import UnitSystem

_TEMPLATE = Path(__file__).parent / "data" / "season_starter.toml"


@dataclass(frozen=True)
class Start:
    """Answers that a starter is made from; lengths, rates and totals in ``units``."""

    farm: str
    units: UnitSystem
    crop: str
    system: str
    region: str
    tables: Sequence[str]
    stages: Mapping[str, date]
    start: date
    weeks: int
    basis: str
    rate: float
    injections: int
    season_cap: float | None
    block: str
    block_name: str
    row_length: float
    rows: int
    bed_top_width: float
    bed_spacing: float
    soil: str


def stages_needed(tables: Sequence[str]) -> list[str]:
    """Stages that some tables need a date for, in order."""
    needed: list[str] = []
    for name in tables:
        table = shipped_tables()[name]
        if table.axis is Axis.WEEKS and table.anchor:
            needed.append(table.anchor)
        needed += table.stages
    return list(dict.fromkeys(needed))


def starter_text(answers: Start) -> str:
    """The text of ``season.toml``."""
    units = answers.units
    cap = "# season_cap = 130" if answers.season_cap is None else f"season_cap = {_number(answers.season_cap)}"
    return Template(_TEMPLATE.read_text(encoding="utf-8")).substitute(
        farm=_quoted(answers.farm),
        units=units.value,
        crop=_quoted(answers.crop),
        system=_quoted(answers.system),
        region=_quoted(answers.region),
        tables="[" + ", ".join(_quoted(name) for name in answers.tables) + "]",
        stages="\n".join(f"{name} = {day.isoformat()}" for name, day in answers.stages.items())
        or "# first_bloom = 2026-03-02",
        start=answers.start.isoformat(),
        weeks=answers.weeks,
        basis=answers.basis,
        rate=_number(answers.rate),
        rate_unit=units.rate_unit,
        total_unit=units.total_unit,
        injections=answers.injections,
        floor=f"{units.rate_out(3.0):.3g}",
        ceiling=f"{units.rate_out(7.0):.3g}",
        season_cap=cap,
        density_unit=units.density_unit,
        temperature_unit=units.temperature_unit,
        volume_unit=units.volume_unit,
        temperature=f"{units.temperature_out(12.5):.0f}",
        tank=f"{units.volume_out(50.0):.0f}",
        pump=f"{units.volume_out(20.0):.0f}",
        block=answers.block,
        block_name=_quoted(answers.block_name),
        row_length=_number(answers.row_length),
        rows=answers.rows,
        bed_top_width=_number(answers.bed_top_width),
        bed_spacing=_number(answers.bed_spacing),
        soil=_quoted(answers.soil),
    )


def _quoted(text: str) -> str:
    """A TOML string; JSON's escapes are valid in it, but for the delete character, which JSON leaves as it is."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    """A number in full, without a needless decimal."""
    return repr(float(value)).removesuffix(".0")
