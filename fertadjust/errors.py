"""The project's own exceptions: what was wrong, where, and what would be right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with something a person wrote.

    Attributes:
        message: what was found and what would be accepted, in plain words.
        file: the file's name, or "" when it was not a file.
        line: 1-based line in that file, or None.
        key: the field, column or dotted key, or "".
    """

    message: str
    file: str = ""
    line: int | None = None
    key: str = ""

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f", line {self.line}" if place else f"line {self.line}"
        if self.key:
            place += f", {self.key}" if place else self.key
        return f"{place}: {self.message}" if place else self.message


class FertadjustError(Exception):
    """Base of every exception that the project raises on purpose."""


class UserError(FertadjustError):
    """The user's input cannot be used; nothing was written. The command line exits with status 2.

    Attributes:
        faults: every fault found, not only the first.
    """

    def __init__(self, faults: str | Fault | Iterable[Fault]) -> None:
        if isinstance(faults, str):
            faults = [Fault(faults)]
        elif isinstance(faults, Fault):
            faults = [faults]
        self.faults: Sequence[Fault] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class OtherForm(UserError):
    """Something stored by another version of the program, in a form that this one does not read."""


class PlacedError(ValueError):
    """Several things wrong with one checked object, each at a place inside it.

    Attributes:
        placed: (place, message) of each; a place is a path of keys and 0-based entry numbers.
    """

    def __init__(self, placed: Iterable[tuple[tuple[str | int, ...], str]]) -> None:
        self.placed = tuple(placed)
        super().__init__("; ".join(message for _, message in self.placed))


class OutOfSeason(FertadjustError):
    """A band table has no band on the date asked for. Not a fault: the reason is shown with the result."""
