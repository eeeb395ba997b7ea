"""Band tables as text, TOML or CSV by the file's ending; what is written is read again before it is handed out."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Final

import tomli_w
from pydantic import ValidationError

from fertadjust.band_rows import BandRow
from fertadjust.bands import BandTable
from fertadjust.errors import Fault, UserError
from fertadjust.files import write_text
from fertadjust.table_csv import id_fault, looks_like_table, parse_csv_table
from fertadjust.table_places import place_text
from fertadjust.toml_file import parse_toml

ENDINGS: Final = (".toml", ".csv")

_ALWAYS: Final = (
    "analyte",
    "unit",
    "low",
    "high",
    "deficient_below",
    "excess_above",
    "source",
    "evidence",
    "note",
)
_SELDOM: Final = ("confidence", "printed")


def check_target(path: Path, overwrite: bool) -> None:
    """Whether a table may be written to a file.

    A file that is no band table is not written over, whatever is asked for.

    Raises:
        UserError: the ending or the name will not do, or the file stands already.
    """
    if path.suffix.lower() not in ENDINGS:
        raise UserError(Fault("a table is written as .toml or .csv; use one of these endings", str(path)))
    wrong = id_fault(path.name)
    if wrong is not None:
        raise UserError(wrong)
    if path.exists() and not overwrite:
        raise UserError(
            Fault("stands already and is left as it is; choose another name, or give --overwrite", str(path))
        )
    if path.exists() and not _is_table(path):
        raise UserError(Fault("stands already and is no band table; choose another name", str(path)))


def _is_table(path: Path) -> bool:
    try:
        return looks_like_table(path)
    except UserError:
        return False


def write_table(table: BandTable, path: Path, overwrite: bool = False) -> None:
    """Write a table, whole or not at all; its id becomes the file's name.

    Raises:
        UserError: as `check_target` and `table_text`, or it cannot be written.
    """
    check_target(path, overwrite)
    write_text(path, table_text(table.model_copy(update={"id": path.stem}), path.suffix))


def table_text(table: BandTable, ending: str) -> str:
    """A table as the text of a file.

    Args:
        table: the table.
        ending: ".toml" or ".csv".

    Raises:
        UserError: what is read from the text again is another table (a stage with capitals, in CSV).
    """
    as_csv = ending.lower() == ".csv"
    text = csv_text(table) if as_csv else toml_text(table)
    name = f"{table.id}{ending.lower()}"
    try:
        again = (
            parse_csv_table(text.encode(), name)
            if as_csv
            else BandTable.model_validate(parse_toml(text, name).data)
        )
    except (UserError, ValidationError):
        again = None
    if again != table:
        raise UserError(Fault(f"the table holds names or texts that {ending} cannot keep as they are", name))
    return text


def toml_text(table: BandTable) -> str:
    """A table as TOML."""
    return tomli_w.dumps({key: value for key, value in table.as_data().items() if value != []})


def csv_text(table: BandTable) -> str:
    """A table as CSV; see `fertadjust.table_csv`."""
    seldom = [name for name in _SELDOM if any(getattr(row, name) for row in table.rows)]
    named = [row.id for row in table.rows] != [str(number + 1) for number in range(len(table.rows))]
    fields = [*_ALWAYS, *seldom, *(["id"] if named else [])]
    header = ["place", *(("row" if name == "id" else name.replace("_", " ")) for name in fields)]
    rows = [[place_text(row), *(_cell(getattr(row, name)) for name in fields)] for row in table.rows]
    return csv_lines([*_head(table), [], header, *rows])


def csv_lines(rows: list[list[str]]) -> str:
    """Cells as CSV with commas."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def _head(table: BandTable) -> list[list[str]]:
    seen = [name for row in table.rows for name in (row.stage, row.until) if name is not None]
    told = "" if tuple(dict.fromkeys(seen)) == table.stages else "; ".join(table.stages)
    given = {
        "title": table.title,
        "crop": table.crop,
        "also": "; ".join(table.also or ()),
        "variety": table.variety,
        "system": table.system,
        "region": table.region,
        "tissue": table.tissue.value,
        "part": table.part,
        "basis": table.basis.value,
        "axis": table.axis.value,
        "anchor": table.anchor,
        "stages": told,
        "ends with": table.ends_with,
        "last days": _cell(table.last_days),
        "between": table.between,
    }
    lines = [[key, value] for key, value in given.items() if value]
    return lines + [["note", note] for note in table.notes]


def _cell(value: object) -> str:
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return "" if value is None else str(value)


def edges_text(row: BandRow) -> tuple[str, str]:
    """Low and high edge as people read them, "-" for one that is not given."""
    low, high = ("-" if edge is None else f"{edge:g}" for edge in (row.low_edge, row.high_edge))
    return low, high
