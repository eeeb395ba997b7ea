"""A blank band table to fill in, as TOML or CSV: everything stands but the numbers and where they are from."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import tomli_w

from fertadjust.band_rows import MONTHS, Axis, BandRow
from fertadjust.crop_stages import CropStages
from fertadjust.errors import Fault, UserError
from fertadjust.lab.text import shown
from fertadjust.stages import stage_words
from fertadjust.table_csv import printed
from fertadjust.table_places import place_text
from fertadjust.table_write import csv_lines
from fertadjust.tissue import Basis, Tissue, kind_words, stored_unit
from fertadjust.units import DAYS_PER_WEEK

PARTS: Final = {
    Tissue.PETIOLE: "petiole of the youngest full-size leaf",
    Tissue.LEAF: "youngest full-size leaf",
}
"""What is sampled, unless the grower says otherwise."""

_COLUMNS: Final = ("low", "high", "deficient below", "excess above", "source", "evidence", "note")


@dataclass(frozen=True, slots=True)
class Blank:
    """What a blank table is for.

    Attributes:
        id: the file's name without its ending.
        crop, system, region: as in season.toml.
        tissue, part, basis, analyte: what is sampled and measured.
        axis, anchor: what the rows run along, and for weeks and days from the first day of which stage.
        stages: names in order of time, on an axis of stages.
        weeks: how many, on an axis of weeks or days.
    """

    id: str
    crop: str
    system: str
    region: str
    tissue: Tissue
    part: str
    basis: Basis
    analyte: str
    axis: Axis
    anchor: str | None = None
    stages: tuple[str, ...] = ()
    weeks: int = 12

    @property
    def title(self) -> str:
        return f"Our own {self.crop} {kind_words(self.tissue, self.basis, self.analyte)}"


def first_of_each(stages: CropStages) -> tuple[str, ...]:
    """The crop's stages in order, one of each group that has no order among its own."""
    return tuple(group[0] for group in stages.order)


def text_faults(key: str, text: str) -> list[Fault]:
    """What keeps the text of an option from standing as it is in a table that a spreadsheet program opens."""
    if printed(text) != text or len(text.splitlines()) > 1:
        return [Fault("holds marks that are not printed; type it again", key=key)]
    if '"' in text:
        return [Fault(f"{shown(text)} holds a quotation mark; leave it out", key=key)]
    if text.lstrip().startswith(tuple("=+-@#")):
        message = f"{shown(text)} is no text to a spreadsheet program; begin with a letter"
        return [Fault(message, key=key)]
    return []


def _name_faults(key: str, name: str) -> list[Fault]:
    if re.fullmatch(r"\w+", name):
        return []
    return [Fault(f"{shown(printed(name))} is no name of a stage; write letters and digits", key=key)]


def blank_text(blank: Blank, ending: str, meaning: Mapping[str, str]) -> str:
    """The text of a blank table.

    Args:
        blank: what it is for.
        ending: ".toml" or ".csv".
        meaning: stage name -> what it looks like in the field.

    Raises:
        UserError: stages or the anchor are missing, or a text would not stand in a table as it is.
    """
    faults = [
        *(
            fault
            for key in ("crop", "system", "region", "part", "analyte")
            for fault in text_faults(f"--{key}", getattr(blank, key))
        ),
        *(fault for name in blank.stages for fault in _name_faults("--stage", name)),
        *(_name_faults("--anchor", blank.anchor) if blank.anchor else ()),
    ]
    if faults:
        raise UserError(faults)
    if blank.axis is Axis.STAGES and not blank.stages:
        message = f"no stages are known for {blank.crop}; name them in order of time"
        raise UserError(Fault(message, key="--stage"))
    if blank.axis in (Axis.WEEKS, Axis.DAYS) and not blank.anchor:
        raise UserError(Fault("name the stage that begins week 1 or day 0", key="--anchor"))
    return _csv(blank) if ending.lower() == ".csv" else _toml(blank, meaning)


def _rows(blank: Blank) -> list[BandRow]:
    """A row for each place; the edge is a stand-in that is not written."""
    places: list[dict[str, object]]
    if blank.axis is Axis.STAGES:
        places = [{"stage": name} for name in blank.stages]
    elif blank.axis is Axis.MONTHS:
        places = [{"months": (name,)} for name in MONTHS]
    elif blank.axis is Axis.WEEKS:
        places = [{"weeks": (week, week)} for week in range(1, blank.weeks + 1)]
    elif blank.axis is Axis.DAYS:
        starts = range(0, blank.weeks * DAYS_PER_WEEK, DAYS_PER_WEEK)
        places = [{"days": (first, first + DAYS_PER_WEEK - 1)} for first in starts]
    else:
        places = [{}]
    fixed = {"analyte": blank.analyte, "unit": stored_unit(blank.basis, blank.analyte), "low": 1.0}
    own = {"source": "own", "evidence": "own"}
    return [BandRow.model_validate({"id": str(n), **fixed, **own, **place}) for n, place in enumerate(places, 1)]


def _head(blank: Blank) -> dict[str, str]:
    given = {
        "title": blank.title,
        "crop": blank.crop,
        "system": blank.system,
        "region": blank.region,
        "tissue": blank.tissue.value,
        "part": blank.part,
        "basis": blank.basis.value,
        "axis": blank.axis.value,
    }
    if blank.axis in (Axis.WEEKS, Axis.DAYS):
        given["anchor"] = blank.anchor or ""
    return given


def _csv(blank: Blank) -> str:
    told = [
        "# Fill in low and high (or one of them) on each line below; delete lines that you do not need.",
        "# Put in a line for each nutrient. Source: who says so; left empty it is you.",
        "# When it is filled in: fertadjust bands check",
    ]
    optional = ["variety", *(["ends with", "last days"] if blank.axis is Axis.STAGES else []), "note"]
    rows = [[place_text(row), row.analyte, row.unit, *[""] * len(_COLUMNS)] for row in _rows(blank)]
    head = [*([key, value] for key, value in _head(blank).items()), *([key, ""] for key in optional)]
    return csv_lines([*([line] for line in told), *head, [], ["place", "analyte", "unit", *_COLUMNS], *rows])


def _toml(blank: Blank, meaning: Mapping[str, str]) -> str:
    after = {
        "crop": '# also = ["another crop"]\n# variety = "if it is for one only"\n',
        "system": "# system and region as in season.toml\n",
        "anchor": "# the first day of the anchor begins week 1 and is day 0\n",
    }
    text = (
        "# A blank band table. Write low and high (or one of them) into each of the rows and take the # away;\n"
        "# delete rows that you do not need, repeat them for other nutrients (each with an id of its own).\n"
        "# When it is filled in: fertadjust bands check\n\n"
        f'schema = 1\nid = "{blank.id}"\n'
    )
    for key, value in _head(blank).items():
        text += tomli_w.dumps({key: value}) + after.get(key, "")
    if blank.axis is Axis.STAGES:
        text += tomli_w.dumps({"stages": list(blank.stages)})
        text += '# ends_with = "the stage from which on there is no band"\n'
        text += "# last_days = 14 # days that the last stage's band holds for\n"
    text += '# notes = ["anything to know about the table"]\n'
    for row in _rows(blank):
        place = row.model_dump(mode="json", include={"weeks", "days", "stage", "months"}, exclude_none=True)
        stage = row.stage or ""
        said = f" # {stage_words(stage)}: {meaning[stage]}" if stage in meaning else ""
        text += f"\n[[rows]]{said}\n"
        text += tomli_w.dumps({"id": row.id, "analyte": row.analyte, "unit": row.unit})
        text += "".join(f"{key} = {_inline(value)}\n" for key, value in place.items())
        text += "# low =\n# high =\n# deficient_below =\n# excess_above =\n"
        text += 'source = "own" # who says so: your trials, an advisor, a publication\nevidence = "own"\n'
    return text


def _inline(value: object) -> str:
    """A place as TOML on one line."""
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)
