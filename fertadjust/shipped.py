"""Data that travels with the program: band tables, policies, materials, citations, the sample season.

In a checkout the tables and the sample season lie at the top of the repository; in an installed package they
lie inside it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fertadjust.bands import BandTable
from fertadjust.crop_stages import StageFile
from fertadjust.errors import Fault, FertadjustError, UserError
from fertadjust.evidence import split_sources
from fertadjust.materials import Material, MaterialFile
from fertadjust.rules.policy import Policy
from fertadjust.table_csv import SEASON_FILES, looks_like_table, printed, read_csv_table
from fertadjust.toml_file import TomlFile, read_toml

_PACKAGE = Path(__file__).parent


def folder(name: str) -> Path:
    """Folder of shipped data, ``sufficiency_ranges`` or ``sample_data``.

    Raises:
        FertadjustError: the installation is incomplete.
    """
    for candidate in (_PACKAGE / "data" / name, _PACKAGE.parent / name):
        if candidate.is_dir():
            return candidate
    raise FertadjustError(f"the installation is incomplete: {name} is missing")


def data_folder(name: str) -> Path:
    """Folder of data that lies inside the package."""
    return _PACKAGE / "data" / name


def read_band_table(path: Path) -> BandTable:
    """Read and check one band table, from TOML or, by the file's ending, from CSV.

    Raises:
        UserError: every fault of the file, with line and key or column.
    """
    if path.suffix.lower() == ".csv":
        return read_csv_table(path)
    file = read_toml(path)
    try:
        table = BandTable.model_validate(_printed(file.data))
    except ValidationError as error:
        raise UserError(file.faults(error, BandTable)) from None
    if table.id != path.stem:
        raise UserError(file.fault(f'the id should be the file\'s name, "{path.stem}"', "id"))
    return table


def _printed(data: Any) -> Any:
    """Plain data whose texts hold only what is printed."""
    if isinstance(data, dict):
        return {key: _printed(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_printed(value) for value in data]
    return printed(data) if isinstance(data, str) else data


def read_band_folder(where: Path) -> dict[str, BandTable]:
    """All band tables of a folder, TOML and CSV, by id; files that are no band tables are passed over.

    Raises:
        UserError: there is no such folder, two files have one id, or the faults of all tables.
    """
    tables, wrong = read_band_files(where)
    if wrong:
        raise UserError([fault for faults in wrong.values() for fault in faults])
    return tables


def read_band_files(where: Path) -> tuple[dict[str, BandTable], dict[str, list[Fault]]]:
    """The band tables of a folder, and the faults of those that cannot be used, both by id.

    So a table that nobody asks for blocks none that is asked for. Files that are no band tables are passed over:
    those that look like none, hidden ones, lock files of spreadsheet programs, a season's own files.

    Raises:
        UserError: there is no such folder.
    """
    tables: dict[str, BandTable] = {}
    wrong: dict[str, list[Fault]] = {}
    for name, found in groupby(_table_files(where), lambda path: path.stem):
        first, *others = found
        if others:
            message = f"{others[0].name} beside it is a table of the same id; keep one of them, or rename it"
            wrong[name] = [Fault(message, first.name)]
            continue
        try:
            tables[name] = read_band_table(first)
        except UserError as error:
            wrong[name] = list(error.faults)
    return tables, wrong


def _table_files(where: Path) -> list[Path]:
    """The files of a folder that are band tables, faults aside, by name without its ending."""
    if not where.is_dir():
        raise UserError(Fault("there is no such folder of band tables", str(where)))
    files = [
        path
        for path in where.iterdir()
        if path.suffix.lower() in (".toml", ".csv")
        and not path.name.startswith((".", "~$"))
        and path.name.lower() not in SEASON_FILES
        and path.is_file()
        and _may_be_table(path)
    ]
    return sorted(files, key=lambda path: (path.stem, path.suffix))


def _may_be_table(path: Path) -> bool:
    try:
        return looks_like_table(path)
    except UserError:
        return True


@cache
def shipped_tables() -> dict[str, BandTable]:
    """The band tables that ship with the program, by id."""
    return read_band_folder(folder("sufficiency_ranges"))


@cache
def shipped_policy_files() -> dict[str, TomlFile]:
    """Policy files by id. One that extends another has all its values, its own before the other's.

    What is published is gathered: to its own schedules, totals and statements come those of the other.
    """
    files = [read_toml(path) for path in sorted((_PACKAGE / "data" / "policies").glob("*.toml"))]
    known = {str(file.data["id"]): file for file in files}
    return {name: replace(file, data=_extended(file.data, known)) for name, file in known.items()}


def _extended(data: dict[str, Any], known: dict[str, TomlFile]) -> dict[str, Any]:
    own = {key: value for key, value in data.items() if key != "extends"}
    if "extends" not in data:
        return own
    other = _extended(known[data["extends"]].data, known)
    said, before = own.get("published", {}), other.get("published", {})
    both = {key: [*said.get(key, []), *before.get(key, [])] for key in [*said, *(before.keys() - said.keys())]}
    return other | own | ({"published": both} if both else {})


def shipped_policy(name: str) -> Policy:
    """A shipped policy, without overrides.

    Raises:
        KeyError: there is none.
    """
    return Policy.model_validate(shipped_policy_files()[name].data)


@cache
def shipped_policies() -> dict[str, Policy]:
    """Every shipped policy, without overrides, by id."""
    return {name: shipped_policy(name) for name in shipped_policy_files()}


@cache
def crop_stages() -> StageFile:
    """The stages of each crop, in order."""
    return StageFile.model_validate(read_toml(_PACKAGE / "data" / "stages.toml").data)


@cache
def shipped_materials() -> dict[str, Material]:
    """The soluble fertilizers that ship with the program, by id."""
    data = read_toml(_PACKAGE / "data" / "materials.toml").data
    return {material.id: material for material in MaterialFile.model_validate(data).materials}


@cache
def citations() -> dict[str, str]:
    """Source key -> citation."""
    data = read_toml(_PACKAGE / "data" / "sources.toml").data["citations"]
    return {str(key): str(text) for key, text in data.items()}


def citations_for(sources: list[str]) -> dict[str, str]:
    """Citations of the source keys in some source fields, sorted by key; free text is left out."""
    keys = sorted({key for source in sources for key in split_sources(source)})
    return {key: citations()[key] for key in keys if key in citations()}
