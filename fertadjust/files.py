"""Writing files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from fertadjust.errors import Fault, UserError


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
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UserError(Fault(f"cannot be written: {error.strerror}", str(path))) from None
