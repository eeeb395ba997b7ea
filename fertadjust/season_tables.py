"""The band tables that a season file chooses, each with what does not fit about it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fertadjust.bands import BandTable
from fertadjust.errors import Fault, UserError
from fertadjust.season_model import SeasonIn
from fertadjust.shipped import read_band_files, shipped_tables
from fertadjust.toml_file import Place


class TableReader:
    """Reads the tables of one season file and gathers faults and notes."""

    def __init__(self, given: SeasonIn, folder: Path, known: Mapping[str, BandTable] | None) -> None:
        self.given = given
        self.folder = folder
        self.known = known
        self.faults: list[tuple[Place, str]] = []
        self.file_faults: list[Fault] = []
        self.notes: list[str] = []

    def tables(self) -> tuple[BandTable, ...]:
        """The tables chosen, as far as there are any of their names."""
        known, wrong = self._known_tables() if self.known is None else (self.known, {})
        chosen: list[BandTable] = []
        for index, name in enumerate(self.given.bands.tables):
            table = known.get(name)
            place = ("bands", "tables", index)
            if name in wrong:
                self.file_faults += wrong[name]
                continue
            if table is None:
                fitting = [key for key, item in sorted(known.items()) if self.given.crop.name in item.crops]
                names = ", ".join(fitting or sorted(known))
                of = f" of {self.given.crop.name}" if fitting else ""
                self.faults.append((place, f'there is no band table "{name}"; there are{of}: {names}'))
                continue
            if self.given.crop.name not in table.crops:
                self.faults.append((place, f"{name} is for {table.crop}, the crop is {self.given.crop.name}"))
            for other in chosen:
                same = set(other.analytes) & set(table.analytes)
                if (other.tissue, other.basis) == (table.tissue, table.basis) and same:
                    kind = f"{table.tissue.value} {', '.join(sorted(same))}, {table.basis.value}"
                    self.faults.append((place, f"{name} and {other.id} are both for {kind}: choose one"))
            self._note(table)
            chosen.append(table)
        for name in sorted(wrong.keys() - set(self.given.bands.tables)):
            self.notes.append(
                f"The own table {name} has faults and is not in use; see: fertadjust bands check FILE."
            )
        return tuple(chosen)

    def _note(self, table: BandTable) -> None:
        crop, name = self.given.crop, table.id
        if table.region != crop.region:
            self.notes.append(
                f"{name} is for {table.region}, the season is in {crop.region}: published bands "
                "of different regions disagree several-fold."
            )
        if not within_system(crop.system, table.system):
            self.notes.append(
                f"{name} is for {table.system}, the season is grown in {crop.system}: "
                "a band belongs to its own growing system."
            )
        if table.variety is not None and table.variety != crop.variety:
            grown = f"the season grows {crop.variety}" if crop.variety else "the season names no variety"
            self.notes.append(f"{name} is for {table.variety} {table.crop}; {grown}.")
        if table.recalled:
            self.notes.append(f"{name} holds rows written from memory: check them before relying on them.")

    def _known_tables(self) -> tuple[Mapping[str, BandTable], Mapping[str, list[Fault]]]:
        """The shipped tables and the season's own, and the faults of own ones, which matter if they are chosen."""
        known = dict(shipped_tables())
        folder = self.given.bands.folder
        if folder is None:
            return known, {}
        try:
            own, wrong = read_band_files(self.folder / folder)
        except UserError as error:
            self.file_faults += error.faults
            return known, {}
        for clash in sorted(known.keys() & (own.keys() | wrong.keys()) & set(self.given.bands.tables)):
            self.faults.append((("bands", "folder"), f'the own table "{clash}" has the id of a shipped one'))
        return own | known, wrong


def within_system(system: str, of: str) -> bool:
    """Whether a growing system is another one or a kind of it: "field, drip plasticulture" is "field"."""
    return system == of or system.startswith(f"{of},")
