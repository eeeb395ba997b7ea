"""Reading text files, and writing files whole or not at all."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path

from fertadjust.errors import Fault, UserError

_NEW_MODE = 0o644


def read_text(path: Path) -> str:
    """The text of a file in UTF-8, with or without a byte order mark.

    Raises:
        UserError: there is no such file, it cannot be read, or it is not UTF-8 text.
    """
    try:
        return read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UserError(Fault("the file is not text in UTF-8", path.name)) from None


def read_bytes(path: Path) -> bytes:
    """The bytes of a file.

    Raises:
        UserError: there is no such file, or it cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise UserError(Fault("there is no such file", str(path))) from None
    except OSError as error:
        raise UserError(Fault(f"the file cannot be read: {error.strerror}", str(path))) from None


def write_text(path: Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all.

    Raises:
        UserError: the folder cannot be written to.
    """
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file through a temporary one beside it. A file that stands keeps its mode, a link its target.

    Raises:
        UserError: the folder cannot be written to, or a link leads nowhere.
    """
    try:
        if path.is_symlink():
            target = Path(os.path.realpath(path))
        else:
            target = path
            path.parent.mkdir(parents=True, exist_ok=True)
        mode = _mode(target)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(mode)
            Path(name).replace(target)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UserError(Fault(f"cannot be written: {error.strerror}", str(path))) from None


def check_writable(path: Path) -> None:
    """Check that a file can be written, before the work that it is to hold; nothing is left behind.

    Raises:
        UserError: it is a folder, a file stands where a folder is needed, or the folder cannot be written to.
    """
    try:
        if path.is_dir():
            raise UserError(Fault("cannot be written: it is a folder; name a file", str(path)))
        path.exists()
        folder = Path(os.path.realpath(path)).parent if path.is_symlink() else path.parent
        if not path.is_symlink():
            while not (folder.exists() or folder.is_symlink()) and folder != folder.parent:
                folder = folder.parent
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise UserError(Fault(f"cannot be written: {error.strerror}", str(path))) from None


def _mode(path: Path) -> int:
    """Permissions that a file has, or that a new one gets."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except FileNotFoundError:
        return _NEW_MODE
