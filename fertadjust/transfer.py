"""Records out of a season and into another: JSON and CSV that import again to the same state, and tables to read.

Text that a spreadsheet would take for a formula is written with an apostrophe before it, as is text that begins
with an apostrophe, so that taking one away gives back what was written.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Final

from fertadjust.chain import FIRST_LINK, Row, broken_links, link_of
from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import Fault, UserError
from fertadjust.files import read_text, write_text
from fertadjust.record import Kind, Record, content_text, readable, standing
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.season_file import SEASON_FILE

FORMAT: Final = "fertadjust records"
_COLUMNS: Final = (
    "number",
    "kind",
    "block",
    "day",
    "written",
    "author",
    "program",
    "replaces",
    "reason",
    "content",
    "link",
)
_LONGEST_CELL: Final = 2**31 - 1
"""A decision holds all that it was made from, in one cell."""
_LARGEST: Final = 2**63 - 1
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "'")


def as_cell(text: object) -> object:
    """Text for a spreadsheet's cell, never a formula; anything else as it is.

    >>> as_cell("=1+1"), as_cell("'quoted'"), as_cell("north")
    ("'=1+1", "''quoted'", 'north')
    """
    return f"'{text}" if isinstance(text, str) and text.startswith(_FORMULA) else text


def from_cell(cell: str) -> str:
    """What `as_cell` was given."""
    return cell[1:] if cell.startswith("'") else cell


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A CSV file's text; None is an empty cell, text is made safe for spreadsheets, numbers stay numbers."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_NONNUMERIC)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([as_cell("" if cell is None else cell) for cell in row])
    return out.getvalue()


def export(records: Records, season_text: str, folder: Path) -> list[Path]:
    """Write all records as ``records.json`` and ``records.csv``, a table of each kind to read, and the plan.

    Args:
        records: the season's records.
        season_text: the season file as it stands.
        folder: where to; files of these names are overwritten.

    Raises:
        UserError: the records cannot be read, or the folder cannot be written to or is a season's own.
    """
    if _is_season(folder):
        raise UserError(Fault("is a season's own folder; name another one", str(folder)))
    rows, every = records.rows(), records.all()
    texts = {
        "records.json": _json_text(rows),
        "records.csv": csv_text(_COLUMNS, [(*row, link) for row, link in rows]),
        SEASON_FILE: season_text,
    }
    for kind, columns in _TABLES.items():
        texts[f"{kind.value}s.csv"] = _table(kind, columns, every)
    for name, text in texts.items():
        write_text(folder / name, text)
    return [folder / name for name in texts]


def _is_season(folder: Path) -> bool:
    """Whether a season lives in a folder; an earlier export holds a season file as well, but no records."""
    exported = (folder / "records.json").exists()
    return (folder / RECORDS_FILE).exists() or ((folder / SEASON_FILE).exists() and not exported)


_TABLES: Final = {
    Kind.RESULT: (*RESULT_FIELDS[1:], "reported"),
    Kind.APPLICATION: ("n_lb_ac", "products", "note"),
    Kind.OBSERVATION: ("sight", "value", "note"),
    Kind.DECISION: ("choice", "by", "factor", "rates_lb_ac", "effective", "review"),
}


def _table(kind: Kind, columns: Sequence[str], every: Sequence[Record]) -> str:
    """Records of a kind, those that stand and those that do not, as a table to read."""
    valid = {record.number for record in standing(every)}
    head = ("record", "block", "day", "stands", "replaces", "reason", "author", "written", "program")
    rows = []
    for record in every:
        if record.kind is kind:
            data = dict(record.content or {})
            if data.get("censor"):
                data["value"] = f"{data['censor']}{data['value']!r}"
            stands = "yes" if record.number in valid else "no"
            first = (record.number, record.block, record.day, stands, record.replaces, record.reason)
            rows.append(
                (
                    *first,
                    record.author,
                    record.written,
                    record.program,
                    *(_plain(data.get(key)) for key in columns),
                )
            )
    return csv_text((*head, *columns), rows)


def _plain(value: object) -> object:
    return content_text(value) if isinstance(value, dict) else value


def _json_text(rows: Sequence[tuple[Row, str]]) -> str:
    records = [
        dict(zip(_COLUMNS, (*row[:9], None if row[9] is None else json.loads(row[9]), link), strict=True))
        for row, link in rows
    ]
    return json.dumps({"format": FORMAT, "records": records}, ensure_ascii=False, indent=1) + "\n"


def read_export(path: Path) -> list[tuple[Row, str]]:
    """The records in ``records.json`` or ``records.csv``, checked against their chain.

    Args:
        path: the file, or the folder that holds them.

    Raises:
        UserError: no such file, not an export, or not what was exported; with the record or the line.
    """
    if path.is_dir():
        path = path / "records.json"
    text = read_text(path)
    rows = _rows_of_csv(text, path.name) if path.suffix.lower() == ".csv" else _rows_of_json(text, path.name)
    if not any(link for _, link in rows):
        rows = _with_links(rows)
    broken = broken_links(rows)
    faults = [Fault(f"record {item.number}: {item.message}", path.name) for item in broken]
    faults = faults or [Fault(message, path.name) for message in _misfits(rows)]
    if faults:
        raise UserError(faults)
    return rows


def _misfits(rows: Sequence[tuple[Row, str]]) -> list[str]:
    """Records that this program would not have written."""
    kinds: dict[int, str] = {}
    found = []
    for row, _ in rows:
        number, kind, replaces = row[0], row[1], row[7]
        if not readable(row):
            found.append(f"record {number}: it cannot be read")
        elif replaces is not None and kinds.get(replaces) != kind:
            found.append(f"record {number}: it replaces record {replaces}, which is no {kind} before it")
        kinds[number] = kind
    return found


def _with_links(rows: Sequence[tuple[Row, str]]) -> list[tuple[Row, str]]:
    """Records of a form before links, with the links that they would have been given."""
    found, before = [], FIRST_LINK
    for row, _ in rows:
        before = link_of(before, row)
        found.append((row, before))
    return found


def _rows_of_json(text: str, name: str) -> list[tuple[Row, str]]:
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", None)
        raise UserError(Fault("is no JSON file of this program", name, line)) from None
    if not isinstance(data, dict) or data.get("format") != FORMAT or not isinstance(data.get("records"), list):
        raise UserError(Fault(f'is no export of records: "format" should be "{FORMAT}"', name))
    found = []
    for index, item in enumerate(data["records"], start=1):
        if not isinstance(item, dict) or set(item) != set(_COLUMNS):
            raise UserError(Fault(f"should have {', '.join(_COLUMNS)}", name, key=f"records, entry {index}"))
        content = item["content"]
        cells = {key: item[key] for key in _COLUMNS} | {
            "content": None if content is None else content_text(content)
        }
        found.append(_row(cells, name, None, f"records, entry {index}"))
    return found


def _rows_of_csv(text: str, name: str) -> list[tuple[Row, str]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    found: list[tuple[Row, str]] = []
    usual = csv.field_size_limit(_LONGEST_CELL)
    try:
        if tuple(next(reader, ())) != _COLUMNS:
            raise UserError(Fault(f"the columns should be: {', '.join(_COLUMNS)}", name, 1))
        for cells in reader:
            if len(cells) != len(_COLUMNS):
                raise UserError(Fault(f"{len(cells)} columns, should be {len(_COLUMNS)}", name, reader.line_num))
            given: dict[str, Any] = {key: from_cell(cell) for key, cell in zip(_COLUMNS, cells, strict=True)}
            given["content"] = given["content"] or None
            given["replaces"] = given["replaces"] or None
            found.append(_row(given, name, reader.line_num, ""))
    except csv.Error as error:
        raise UserError(Fault(f"the row cannot be read: {error}", name, reader.line_num)) from None
    finally:
        csv.field_size_limit(usual)
    return found


def _row(cells: dict[str, Any], name: str, line: int | None, key: str) -> tuple[Row, str]:
    try:
        number = int(cells["number"])
        replaces = None if cells["replaces"] is None else int(cells["replaces"])
        kind = Kind(cells["kind"]).value
        if not 0 < number <= _LARGEST:
            raise ValueError(number)
        "".join(str(cells[column]) for column in _COLUMNS).encode()
    except (TypeError, ValueError, OverflowError):
        raise UserError(Fault("its number, kind or a text is not as exported", name, line, key)) from None
    texts = [cells[column] for column in _COLUMNS if column not in ("number", "kind", "replaces", "content")]
    if not all(isinstance(text, str) for text in texts) or not isinstance(cells["content"], str | None):
        raise UserError(Fault("a field that should be text is not", name, line, key))
    block, day, written, author, program, reason, link = texts
    return (number, kind, block, day, written, author, program, replaces, reason, cells["content"]), link


def take(records: Records, rows: Sequence[tuple[Row, str]], name: str) -> int:
    """Bring a season's records up to an export; the number of records added.

    An export of the same season that goes further is added to; one that holds nothing new adds nothing.

    Args:
        records: the season's records.
        rows: see `read_export`.
        name: the export's name, for messages.

    Raises:
        UserError: the season has records that the export does not have; nothing is written.
    """
    here = records.rows()
    if not records.linked():
        here = _with_links(here)
    for (row, link), (_, other) in zip(here, rows, strict=False):
        if link != other:
            message = (
                f"its record {row[0]} is another one than the season's own; only what goes on from those here "
                "can be taken in. Use a new season folder"
            )
            raise UserError(Fault(message, name))
    more = rows[len(here) :]
    if more:
        records.adopt(more)
    return len(more)
