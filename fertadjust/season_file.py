"""From ``season.toml`` to blocks, plans, tables and policy, with every fault found at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pydantic import ValidationError

from fertadjust.bands import BandTable
from fertadjust.credits import CreditLine
from fertadjust.errors import Fault, UserError
from fertadjust.feeding_file import FeedingReader
from fertadjust.field import Block, basis_mismatch
from fertadjust.injection import Injecting
from fertadjust.plan import Credit, Plan
from fertadjust.rules.policy import BOUNDS, Policy
from fertadjust.season import BlockSeason
from fertadjust.season_model import SeasonIn
from fertadjust.season_rules import RulesReader
from fertadjust.season_stages import StageReader
from fertadjust.season_tables import TableReader
from fertadjust.toml_file import TomlFile, parse_toml, read_toml
from fertadjust.units import UnitSystem

SEASON_FILE = "season.toml"


@dataclass(frozen=True)
class SeasonFile:
    """A checked season file.

    Attributes:
        folder: folder it stands in.
        text: its text, as stored with each decision.
        farm, units: name and unit system.
        crop, variety, system, region: what is grown; variety may be "".
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
    variety: str
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
        self.file = file
        self.given = given
        self.folder = folder
        self.faults: list[Fault] = []
        self.notes: list[str] = []
        self.tables = TableReader(given, folder, known)
        self.rules = RulesReader(given)
        self.feeding = FeedingReader(file, given)

    def season(self) -> SeasonFile:
        given = self.given
        tables, policy = self.tables.tables(), self.rules.policy()
        self.faults += self.tables.file_faults
        if policy is None:
            self._gather(self.tables, self.rules)
            raise UserError(_in_order(self.faults))
        stage_reader = StageReader(given, policy, tables)
        credit_lines = self.feeding.credit_lines()
        plan = self._plan(policy, credit_lines)
        products = self.feeding.products()
        blocks = {}
        for key in given.blocks:
            stages = stage_reader.stages(key, plan.end)
            blocks[key] = BlockSeason(
                block=self._block(key),
                plan=stage_reader.plan(plan, stages, key),
                stages=stages,
                products=products,
                policy=policy,
                tables=tables,
                units=given.farm.units,
                mix_steps=self.feeding.mix_steps(products, stages.dates, plan.start, key),
            )
        self._note_cap([block.plan for block in blocks.values()])
        injecting = self.feeding.injecting(list(blocks))
        self.feeding.check_mixes([mix for block in blocks.values() for mix in block.mixes.every()])
        if not self.feeding.faults:
            self.feeding.recalled_notes()
        notes = self.notes
        self.notes = []
        self._gather(self.tables, self.rules)
        self.notes += notes
        self._gather(stage_reader, self.feeding)
        if self.faults:
            raise UserError(_in_order(self.faults))
        return SeasonFile(
            folder=self.folder,
            text=self.file.text,
            farm=given.farm.name,
            units=given.farm.units,
            crop=given.crop.name,
            variety=given.crop.variety or "",
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

    def _gather(self, *readers: TableReader | RulesReader | StageReader | FeedingReader) -> None:
        for reader in readers:
            for place, message in reader.faults:
                self._fault(message, *place)
            self.notes += reader.notes

    def _fault(self, message: str, *place: str | int) -> None:
        self.faults.append(self.file.fault(message, *place))

    def _plan(self, policy: Policy, credit_lines: Sequence[CreditLine]) -> Plan:
        given, units = self.given, self.given.farm.units
        rates = [units.rate_in(rate) for rate in given.plan.rates()]
        if len(credit_lines) == len(given.credits):
            rates = self.feeding.lowered(rates, credit_lines)
        floor, ceiling = (self._bound(name, policy) for name in BOUNDS)
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

    def _note_cap(self, plans: Sequence[Plan]) -> None:
        """Say where a plan with its credits, as it will be fed, comes to more than the season cap."""
        units = self.given.farm.units
        planned = max(sum(plan.rates_lb_ac) + plan.credits_lb_ac for plan in plans)
        cap = plans[0].cap_lb_ac
        if cap is not None and planned > cap * (1 + 1e-9):
            self.notes.append(
                f"plan and credits come to {units.rate_out(planned):.1f} {units.total_unit}, above the season cap "
                f"of {units.rate_out(cap):.1f}: the last weeks would not be fed."
            )

    def _bound(self, name: str, policy: Policy) -> float:
        """Floor or ceiling of a weekly rate [lb/ac]: the season's own, else the policy's."""
        units = self.given.farm.units
        own, shipped = getattr(self.given.bounds, name), getattr(policy, name)
        if own is not None:
            return units.rate_in(own)
        if shipped is not None:
            return float(shipped.value)
        which = "lowest" if name == "floor" else "highest"
        self._fault(
            f"no weekly rate is published for {self.given.crop.name} here: state {name}, the {which} rate that "
            f"the program may advise [{units.rate_unit}]",
            "bounds",
            name,
        )
        return 0.0 if name == "floor" else units.rate_in(max(self.given.plan.rates()))

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
