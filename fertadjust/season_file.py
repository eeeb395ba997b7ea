"""From ``season.toml`` to blocks, plans, tables and policy, with every fault found at once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from fertadjust.bands import Axis, BandTable
from fertadjust.credits import CreditLine
from fertadjust.errors import Fault, UserError
from fertadjust.feeding_file import FeedingReader
from fertadjust.field import Block, basis_mismatch
from fertadjust.injection import Injecting
from fertadjust.plan import Credit, Plan
from fertadjust.rules.policy import BOUNDS, OVERRIDABLE, ROW_VALUES, Policy, with_overrides
from fertadjust.season import BlockSeason
from fertadjust.season_model import SeasonIn, StagesIn
from fertadjust.shipped import read_band_folder, shipped_policy_files, shipped_tables
from fertadjust.stages import StageDates, stage_words
from fertadjust.toml_file import TomlFile, parse_toml, read_toml
from fertadjust.units import UnitSystem

SEASON_FILE = "season.toml"
_ROW_KEY = re.compile(r"(\w+)\[(\d+)\]")


@dataclass(frozen=True)
class SeasonFile:
    """A checked season file.

    Attributes:
        folder: folder it stands in.
        text: its text, as stored with each decision.
        farm, units: name and unit system.
        crop, system, region: what is grown.
        planted: planting date, or None.
        blocks: block key -> the block's season without records.
        policy: policy with overrides.
        tables: band tables in use.
        notes: things to know that are no faults.
        injecting: tanks, injector, zones.
        credit_lines: each credit with its arithmetic, sources and cautions.
        tables_folder: folder of the grower's own band tables, below ``folder``, or None.
    """

    folder: Path
    text: str
    farm: str
    units: UnitSystem
    crop: str
    system: str
    region: str
    planted: date | None
    blocks: dict[str, BlockSeason]
    policy: Policy
    tables: tuple[BandTable, ...]
    notes: tuple[str, ...]
    injecting: Injecting
    credit_lines: tuple[CreditLine, ...]
    tables_folder: str | None


def read_season(folder: Path) -> SeasonFile:
    """Read and check ``season.toml`` of a folder.

    Raises:
        UserError: the folder or file is missing, or every fault of the file with line and key.
    """
    path = folder / SEASON_FILE
    if not path.exists():
        raise UserError(
            Fault(
                f"there is no {SEASON_FILE} here; write one with: fertadjust new {folder}",
                str(folder.resolve()),
            )
        )
    return _season(read_toml(path), folder)


def parse_season(text: str, folder: Path, tables: Mapping[str, BandTable] | None = None) -> SeasonFile:
    """As `read_season`, from text; used to check a starter and to derive an old decision again.

    Args:
        text: text of a season file.
        folder: folder that paths in it are relative to.
        tables: the band tables to choose from, by id; the shipped ones and the grower's own when None.

    Raises:
        UserError: as `read_season`.
    """
    return _season(parse_toml(text, SEASON_FILE), folder, tables)


def _season(file: TomlFile, folder: Path, tables: Mapping[str, BandTable] | None = None) -> SeasonFile:
    try:
        given = SeasonIn.model_validate(file.data)
    except ValidationError as error:
        raise UserError(file.faults(error, SeasonIn)) from None
    return _Checker(file, given, folder, tables).season()


def _in_order(faults: list[Fault]) -> list[Fault]:
    """Each fault once, in the order of the file."""
    return sorted(dict.fromkeys(faults), key=lambda fault: (fault.line or 0, fault.key))


class _Checker:
    """Checks one season file as a whole and builds the domain objects from it."""

    def __init__(
        self, file: TomlFile, given: SeasonIn, folder: Path, known: Mapping[str, BandTable] | None
    ) -> None:
        self.known = known
        self.file = file
        self.given = given
        self.folder = folder
        self.faults: list[Fault] = []
        self.notes: list[str] = []
        self.feeding = FeedingReader(file, given)

    def season(self) -> SeasonFile:
        given = self.given
        tables = self._tables()
        policy = self._policy()
        if policy is None:
            raise UserError(_in_order(self.faults))
        credit_lines = self.feeding.credit_lines()
        plan = self._plan(policy, credit_lines)
        products = self.feeding.products()
        blocks = {}
        for key in given.blocks:
            stages = self._stages(key, plan, tables)
            blocks[key] = BlockSeason(
                block=self._block(key),
                plan=plan,
                stages=stages,
                products=products,
                policy=policy,
                tables=tables,
                units=given.farm.units,
                mix_steps=self.feeding.mix_steps(products, stages.dates, plan.start, key),
            )
        injecting = self.feeding.injecting(list(blocks))
        self.feeding.check_mixes([mix for block in blocks.values() for mix in block.mixes.every()])
        if not self.feeding.faults:
            self.feeding.recalled_notes()
        for place, message in self.feeding.faults:
            self._fault(message, *place)
        self.notes += self.feeding.notes
        if self.faults:
            raise UserError(_in_order(self.faults))
        return SeasonFile(
            folder=self.folder,
            text=self.file.text,
            farm=given.farm.name,
            units=given.farm.units,
            crop=given.crop.name,
            system=given.crop.system,
            region=given.crop.region,
            planted=given.crop.planted,
            blocks=blocks,
            policy=policy,
            tables=tables,
            notes=tuple(self.notes),
            injecting=injecting,
            credit_lines=tuple(credit_lines),
            tables_folder=given.bands.folder,
        )

    def _fault(self, message: str, *place: str | int) -> None:
        self.faults.append(self.file.fault(message, *place))

    def _tables(self) -> tuple[BandTable, ...]:
        known = self._known_tables() if self.known is None else self.known
        chosen: list[BandTable] = []
        for index, name in enumerate(self.given.bands.tables):
            table = known.get(name)
            place = ("bands", "tables", index)
            if table is None:
                names = ", ".join(sorted(known))
                self._fault(f'there is no band table "{name}"; there are: {names}', *place)
                continue
            if table.crop != self.given.crop.name:
                self._fault(f"{name} is for {table.crop}, the crop is {self.given.crop.name}", *place)
            for other in chosen:
                same = set(other.analytes) & set(table.analytes)
                if (other.tissue, other.basis) == (table.tissue, table.basis) and same:
                    kind = f"{table.tissue.value} {', '.join(sorted(same))}, {table.basis.value}"
                    self._fault(f"{name} and {other.id} are both for {kind}: choose one", *place)
            if table.region != self.given.crop.region:
                self.notes.append(
                    f"{name} is for {table.region}, the season is in {self.given.crop.region}: published bands "
                    "of different regions disagree several-fold."
                )
            if table.system != self.given.crop.system:
                self.notes.append(
                    f"{name} is for {table.system}, the season is grown in {self.given.crop.system}: "
                    "a band belongs to its own growing system."
                )
            if table.recalled:
                self.notes.append(f"{name} holds rows written from memory: check them before relying on them.")
            chosen.append(table)
        return tuple(chosen)

    def _known_tables(self) -> dict[str, BandTable]:
        known = dict(shipped_tables())
        if self.given.bands.folder is None:
            return known
        try:
            own = read_band_folder(self.folder / self.given.bands.folder)
        except UserError as error:
            self.faults += error.faults
            return known
        for clash in sorted(known.keys() & own.keys()):
            self._fault(f'the own table "{clash}" has the id of a shipped one', "bands", "folder")
        return known | own

    def _policy(self) -> Policy | None:
        crop = self.given.crop
        files = shipped_policy_files()
        file = files.get((crop.name, crop.system))
        if file is None:
            known = "; ".join(f'"{name}" in "{system}"' for name, system in sorted(files))
            self._fault(
                f'there are no rules for "{crop.name}" in "{crop.system}"; there are for {known}', "crop", "name"
            )
            return None
        good: dict[str, Any] = {}
        for name, value in self.given.policy.items():
            if name in ROW_VALUES:
                good[name] = self._row_overrides(name, value, [row["id"] for row in file.data[name]])
            elif name in BOUNDS:
                self._fault("is set under [bounds]", "policy", name)
            elif name not in OVERRIDABLE:
                known = ", ".join((*OVERRIDABLE, *ROW_VALUES))
                self._fault(f"is no policy value; there are: {known}", "policy", name)
            elif self._value_ok(value, name):
                good[name] = value
        try:
            return Policy.model_validate(with_overrides(file.data, good))
        except ValidationError as error:
            for fault in file.faults(error, Policy):
                self._fault(fault.message, "policy", *self._policy_place(fault.key, file.data))
            return Policy.model_validate(file.data)

    def _row_overrides(self, table: str, given: Any, known: list[str]) -> dict[str, Any]:
        """The overrides of a table's rows by id, those that are well formed."""
        if not isinstance(given, dict):
            self._fault(f"write it as a table [policy.{table}] with row = value", "policy", table)
            return {}
        good = {}
        for name, value in given.items():
            if name not in known:
                self._fault(f"is no row of it; there are: {', '.join(known)}", "policy", table, name)
            elif self._value_ok(value, table, name):
                good[name] = value
        return good

    def _value_ok(self, value: Any, *place: str) -> bool:
        if isinstance(value, dict) and not (
            "value" in value and set(value) <= {"value", "reason"} and isinstance(value.get("reason", ""), str)
        ):
            self._fault('write a value, or { value = ..., reason = "..." }', "policy", *place)
            return False
        return True

    @staticmethod
    def _policy_place(key: str, shipped: Mapping[str, Any]) -> tuple[str, ...]:
        """Where a policy's fault stands in the season file: its name, and the row's id within a table."""
        row = _ROW_KEY.match(key)
        if row is None:
            return (key.split(".")[0],)
        return row[1], shipped[row[1]][int(row[2]) - 1]["id"]

    def _plan(self, policy: Policy, credit_lines: Sequence[CreditLine]) -> Plan:
        given, units = self.given, self.given.farm.units
        rates = [units.rate_in(rate) for rate in given.plan.rates()]
        if len(credit_lines) == len(given.credits):
            rates = self.feeding.lowered(rates, credit_lines)
        floor = policy.floor.value if given.bounds.floor is None else units.rate_in(given.bounds.floor)
        ceiling = policy.ceiling.value if given.bounds.ceiling is None else units.rate_in(given.bounds.ceiling)
        if floor > ceiling:
            self._fault(f"floor {units.rate_out(floor):g} is above ceiling {units.rate_out(ceiling):g}", "bounds")
        if max(rates) > ceiling * (1 + 1e-9):
            self._fault(
                f"a planned rate of {units.rate_out(max(rates)):g} is above the ceiling of "
                f"{units.rate_out(ceiling):g} {units.rate_unit}",
                "plan",
                "ramp" if given.plan.ramp else "rate",
            )
        cap = None if given.bounds.season_cap is None else units.rate_in(given.bounds.season_cap)
        credits_ = tuple(Credit(item.name, item.n_lb_ac, item.source, item.evidence) for item in credit_lines)
        planned = sum(rates) + sum(item.n_lb_ac for item in credits_)
        if cap is not None and planned > cap * (1 + 1e-9):
            self.notes.append(
                f"plan and credits come to {units.rate_out(planned):.1f} {units.total_unit}, above the season cap "
                f"of {units.rate_out(cap):.1f}: the last weeks would not be fed."
            )
        step, fed = given.bounds.rate_step, [rate for rate in given.plan.rates() if rate > 0]
        smallest = policy.smallest_step.value * min(fed, default=0.0)
        if step > smallest > 0:
            self.notes.append(
                f"rate_step {step:g} is coarser than the smallest change of the lowest planned rate, "
                f"{smallest:.2g} {units.rate_unit}: small changes are rounded away, or grow by the rounding."
            )
        return Plan(
            start=given.plan.start,
            rates_lb_ac=tuple(rates),
            basis=given.plan.basis,
            injections_per_week=given.plan.injections_per_week,
            floor_lb_ac=floor,
            ceiling_lb_ac=ceiling,
            cap_lb_ac=cap,
            rate_step_lb_ac=units.rate_in(given.bounds.rate_step),
            credits=credits_,
        )

    def _block(self, key: str) -> Block:
        given, units = self.given.blocks[key], self.given.farm.units
        block = Block(
            key=key,
            name=given.name or key,
            row_length_ft=units.length_in(given.mean_length),
            rows=given.row_count,
            bed_top_width_ft=units.length_in(given.bed_top_width),
            bed_spacing_ft=units.length_in(given.bed_spacing),
            area_basis=given.area_basis,
            standard_spacing_ft=(
                None if given.standard_spacing is None else units.length_in(given.standard_spacing)
            ),
            soil=given.soil,
            cultivar=given.cultivar,
        )
        mismatch = basis_mismatch(block, self.given.plan.basis, units)
        if mismatch is not None:
            self._fault(mismatch, "blocks", key, "area_basis")
        return block

    def _stages(self, key: str, plan: Plan, tables: tuple[BandTable, ...]) -> StageDates:
        shared, own = self.given.stages, self.given.blocks[key].stages
        place = ("blocks", key, "stages") if own is not None else ("stages",)
        dates = shared.dates | (own.dates if own is not None else {})
        approximate = set(shared.approximate) - set(own.dates if own is not None else {})
        approximate |= set(own.approximate if own is not None else [])
        for part, where in self._stage_parts(own, key):
            for name in part.approximate:
                if name not in dates:
                    self._fault(f"approximate names {name}, which has no date", *where, "approximate")
        planted = self.given.crop.planted
        for part, where in self._stage_parts(own, key):
            for name, day in part.dates.items():
                if planted is not None and day < planted:
                    self._fault(f"{stage_words(name)} on {day} is before planting on {planted}", *where, name)
        for table in tables:
            needed = [table.anchor] if table.axis is Axis.WEEKS and table.anchor else list(table.stages)
            known = [name for name in needed if name in dates]
            if needed and known != needed[: max(1, len(known))]:
                missing = [name for name in needed[: len(known) + 1] if name not in dates]
                self._fault(f"{table.id} needs a date for {', '.join(missing)}", *place)
                continue
            days = [dates[name] for name in known]
            if days != sorted(set(days)):
                self._fault(f"{table.id} needs rising dates for {', '.join(known)}", *place)
        ordered = dict(sorted(dates.items(), key=lambda item: item[1]))
        return StageDates(ordered, plan.end, frozenset(approximate))

    def _stage_parts(self, own: StagesIn | None, key: str) -> Iterator[tuple[StagesIn, tuple[str, ...]]]:
        yield self.given.stages, ("stages",)
        if own is not None:
            yield own, ("blocks", key, "stages")
