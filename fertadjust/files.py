"""Reading text files, and writing files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from fertadjust.errors import Fault, UserError


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
    """Write a file through a temporary one beside it.

    Raises:
        UserError: the folder cannot be written to.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UserError(Fault(f"cannot be written: {error.strerror}", str(path))) from None
