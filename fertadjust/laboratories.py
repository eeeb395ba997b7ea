"""What a season folder knows of its laboratories: how reports read, and which block a sample's name means."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

import tomli_w
from pydantic import Field, ValidationError

from fertadjust.errors import Fault, UserError
from fertadjust.files import write_text
from fertadjust.lab.profile import Profile
from fertadjust.lab.words import loose
from fertadjust.strict import Strict
from fertadjust.toml_file import read_toml

Names = tuple[str, ...]
LABORATORIES_FILE: Final = "laboratories.toml"
_HEAD = """\
# How the reports of your laboratories read, and which block the name of a sample means.
# Written by "fertadjust results import" when it had to ask; yours to edit.

"""


class Laboratories(Strict):
    """The file's content.

    Attributes:
        samples: name of a sample as reports print it -> block key.
        laboratories: name of a profile -> how its reports read.
    """

    samples: dict[str, str] = Field(default_factory=dict)
    laboratories: dict[str, Profile] = Field(default_factory=dict)

    def profile_for(self, header: Iterable[str]) -> str | None:
        """Name of the only profile with a report's header, or None."""
        wanted = tuple(loose(cell) for cell in header)
        names = [name for name, one in self.laboratories.items() if wanted and one.header == wanted]
        return names[0] if len(names) == 1 else None


def read_laboratories(folder: Path) -> Laboratories:
    """The laboratories of a season folder; none where there is no file.

    Raises:
        UserError: the file cannot be read, with line and key.
    """
    path = folder / LABORATORIES_FILE
    if not path.exists():
        return Laboratories()
    file = read_toml(path)
    try:
        return Laboratories.model_validate(file.data)
    except ValidationError as error:
        raise UserError(file.faults(error, Laboratories)) from None


def write_laboratories(folder: Path, content: Laboratories) -> None:
    """Write the file, whole or not at all.

    Raises:
        UserError: it cannot be written.
    """
    data = content.model_dump(mode="json", exclude_defaults=True)
    write_text(folder / LABORATORIES_FILE, _HEAD + tomli_w.dumps(data))


def block_called(names: Iterable[str], blocks: Mapping[str, str], samples: Mapping[str, str]) -> str | None:
    """The block that a sample belongs to, by what it may be called; None when nothing says so.

    Args:
        names: the sample's number, name and field as the report prints them.
        blocks: block key -> name.
        samples: name of a sample -> block key.

    Raises:
        UserError: its names mean different blocks.
    """
    known = {_loose(name): key for key, name in blocks.items()} | {_loose(key): key for key in blocks}
    known |= {_loose(name): key for name, key in samples.items()}
    found = {name: known[_loose(name)] for name in names if _loose(name) in known}
    if len(set(found.values())) > 1:
        said = ", ".join(f'"{name}" is {key}' for name, key in found.items())
        raise UserError(Fault(f"the sample's names mean different blocks: {said}", key="sample_id"))
    return next(iter(found.values()), None)


def telling_names(answers: Mapping[Names, str], others: Mapping[Names, str | None]) -> dict[str, str]:
    """Of samples whose block was asked, the name by which each can be known again -> block key.

    It is the first of its names that no sample of another block has as well. A bare number is none: the next
    report may give it to another sample.

    Args:
        answers: all names of a sample -> block key.
        others: all names of every other sample of the report -> block key, None for one of no block.
    """
    every: dict[Names, str | None] = {**others, **answers}
    kept = {}
    for names, block in answers.items():
        for name in names:
            alike = {of for said, of in every.items() if _loose(name) in map(_loose, said)}
            if alike == {block} and not name.strip().isdigit():
                kept[name] = block
                break
    return kept


def _loose(name: str) -> str:
    return " ".join(name.lower().split())
