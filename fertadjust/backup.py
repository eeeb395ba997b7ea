"""A season folder in one file, taken while others may write to it, and a folder made from it again."""

from __future__ import annotations

import io
import lzma
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Final

from fertadjust.audit import audit_records
from fertadjust.errors import Fault, UserError
from fertadjust.files import read_bytes, write_bytes
from fertadjust.laboratories import LABORATORIES_FILE
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.season_file import SEASON_FILE, SeasonFile

_EPOCH: Final = (1980, 1, 1, 0, 0, 0)
_LARGEST: Final = 2_000_000_000
_SHORT: Final = 40
_BROKEN: Final = (
    *(OSError, EOFError, RuntimeError, NotImplementedError),
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError),
)


def write_backup(file: SeasonFile, records: Records, path: Path) -> int:
    """Write the season's plan, records, own band tables and laboratory profiles as a zip file; how many records.

    Band tables outside the season's folder are not in it: see `left_outside`.

    The copy is checked before it takes the place of a file of the same name.

    Args:
        file: the season file.
        records: the season's records.
        path: where to.

    Raises:
        UserError: something cannot be read, the records are damaged, or the file cannot be written.
    """
    if path.exists() and SEASON_FILE not in _names(path):
        raise UserError(Fault("stands already and is no backup; choose another name", str(path)))
    parts = {name: read_bytes(file.folder / name) for name in _own_files(file)}
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place) / RECORDS_FILE
        if (file.folder / RECORDS_FILE).exists():
            records.copy_to(copy)
            parts[RECORDS_FILE] = copy.read_bytes()
        found = audit_records(Path(place), Records(copy, ""))
    if found.faults:
        raise UserError([Fault(f"the records are not in order: {text}", RECORDS_FILE) for text in found.faults])
    write_bytes(path, _zipped(parts))
    return found.count


def left_outside(file: SeasonFile) -> list[Path]:
    """The season's own band tables that lie outside its folder, and so in no backup."""
    return [table for table in _tables(file) if not _inside_of(file, table)]


def _tables(file: SeasonFile) -> list[Path]:
    if file.tables_folder is None:
        return []
    folder = file.folder / file.tables_folder
    return sorted(path for ending in ("*.toml", "*.csv") for path in folder.glob(ending))


def _inside_of(file: SeasonFile, path: Path) -> bool:
    return path.resolve().is_relative_to(file.folder.resolve())


def _own_files(file: SeasonFile) -> list[str]:
    """Names of the folder's files that belong to the season, the records apart."""
    names = [name for name in (SEASON_FILE, LABORATORIES_FILE) if (file.folder / name).exists()]
    inside = [table.resolve() for table in _tables(file) if _inside_of(file, table)]
    names += [table.relative_to(file.folder.resolve()).as_posix() for table in inside]
    return sorted(set(names))


def _zipped(parts: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(parts):
            archive.writestr(zipfile.ZipInfo(name, _EPOCH), parts[name], zipfile.ZIP_DEFLATED)
    return out.getvalue()


def restore(path: Path, folder: Path) -> int:
    """Make a season folder from a backup; how many records it holds.

    Args:
        path: the backup.
        folder: a folder that is not there yet, or is empty.

    Raises:
        UserError: the file is no backup or is damaged, or the folder holds something; nothing is written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UserError(Fault("is not empty; name a new folder, so that nothing is overwritten", str(folder)))
    parts = _unzipped(path)
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place) / RECORDS_FILE
        copy.write_bytes(parts.get(RECORDS_FILE, b""))
        found = audit_records(Path(place), Records(copy, ""))
    if found.faults:
        raise UserError([Fault(f"the backup is not in order: {text}", path.name) for text in found.faults])
    _unpack(parts, folder, path)
    return found.count


def _unpack(parts: Mapping[str, bytes], folder: Path, path: Path) -> None:
    """Write all files beside the folder's place first, so that it is there whole or not at all."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=f".{folder.name[:_SHORT]}.") as place:
            made = Path(place) / "season"
            for name in sorted(parts):
                write_bytes(made / name, parts[name])
            if folder.exists():
                folder.rmdir()
            made.rename(folder)
    except UserError:
        raise UserError(Fault(f"{path.name} cannot be unpacked here; nothing was written", str(folder))) from None
    except OSError as error:
        raise UserError(Fault(f"cannot be written: {error.strerror}", str(folder))) from None


def _names(path: Path) -> list[str]:
    """Names in a zip file, none in any other."""
    try:
        with zipfile.ZipFile(path) as archive:
            return archive.namelist()
    except (OSError, zipfile.BadZipFile):
        return []


def _unzipped(path: Path) -> dict[str, bytes]:
    no_backup = Fault("is no backup of a season, or is damaged", str(path))
    try:
        with zipfile.ZipFile(path) as archive:
            names = [name for name in archive.namelist() if not name.endswith("/")]
            if SEASON_FILE not in names or not all(map(_inside, names)):
                raise UserError(no_backup)
            if sum(info.file_size for info in archive.infolist()) > _LARGEST:
                raise UserError(no_backup)
            return {name: archive.read(name) for name in names}
    except FileNotFoundError:
        raise UserError(Fault("there is no such file", str(path))) from None
    except _BROKEN:
        raise UserError(no_backup) from None


def _inside(name: str) -> bool:
    """Whether a name stays in the folder that it is unpacked into."""
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts and "\\" not in name and ":" not in name
