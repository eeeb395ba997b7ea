"""The band tables that a season file chooses, each with what does not fit about it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fertadjust.bands import BandTable
from fertadjust.errors import Fault, UserError
from fertadjust.season_model import SeasonIn
from fertadjust.shipped import read_band_folder, shipped_tables
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
        known = self._known_tables() if self.known is None else self.known
        chosen: list[BandTable] = []
        for index, name in enumerate(self.given.bands.tables):
            table = known.get(name)
            place = ("bands", "tables", index)
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

    def _known_tables(self) -> dict[str, BandTable]:
        known = dict(shipped_tables())
        if self.given.bands.folder is None:
            return known
        try:
            own = read_band_folder(self.folder / self.given.bands.folder)
        except UserError as error:
            self.file_faults += error.faults
            return known
        for clash in sorted(known.keys() & own.keys()):
            self.faults.append((("bands", "folder"), f'the own table "{clash}" has the id of a shipped one'))
        return known | own


def within_system(system: str, of: str) -> bool:
    """Whether a growing system is another one or a kind of it: "field, drip plasticulture" is "field"."""
    return system == of or system.startswith(f"{of},")
