"""A season folder written to: results, applications and observations checked and put on record."""

from __future__ import annotations

import getpass
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from fertadjust import __version__
from fertadjust.entry import (
    Entered,
    application_questions,
    block_of,
    read_application,
    read_observation,
    read_result,
    same_result,
    to_confirm,
)
from fertadjust.errors import Fault, UserError
from fertadjust.intake import Intake, drafts, intake
from fertadjust.known_results import Allowed
from fertadjust.lab.report import Report
from fertadjust.record import Draft, Kind, Record, standing, standing_on
from fertadjust.records import RECORDS_FILE, Records
from fertadjust.revisions import Revision, plan_content, revisions
from fertadjust.season import BlockSeason
from fertadjust.season_file import SeasonFile
from fertadjust.stored import result_content, with_records
from fertadjust.units import UnitSystem

PROGRAM = f"fertadjust {__version__}"


class SeasonBook:
    """A season folder: its checked season file and its records.

    Attributes:
        file: the season file.
        records: the records.
    """

    def __init__(self, file: SeasonFile) -> None:
        self.file = file
        self.records = Records(file.folder / RECORDS_FILE, PROGRAM)

    @property
    def blocks(self) -> list[str]:
        """Keys of the blocks."""
        return list(self.file.blocks)

    @property
    def units(self) -> UnitSystem:
        return self.file.units

    def block(self, key: str, on: date | None = None) -> BlockSeason:
        """A block with its records, or with what stood at the end of a day: see `fertadjust.record.standing_on`.

        Raises:
            UserError: there is no such block, or the records cannot be read.
        """
        every = self.records.all()
        return with_records(block_of(self.file, key), standing(every) if on is None else standing_on(every, on))

    def check_result(self, fields: Mapping[str, str], today: date | None = None) -> Entered:
        """Check one result without writing it; see `fertadjust.entry.read_result`."""
        file = replace(self.file, blocks={key: self.block(key) for key in self.file.blocks})
        return read_result(fields, file, today or today_here())

    def add_result(self, *, by: str = "", confirm: bool = False, today: date | None = None, **fields: Any) -> int:
        """Check and write one result; its record number.

        Args:
            by: who enters it; the account's name when empty.
            confirm: take an unusual value without asking.
            today: day of entry, when it is not the calendar's.
            fields: see `fertadjust.entry.RESULT_FIELDS`; dates and numbers may be given as such.

        Raises:
            UserError: every fault; unusual values count as faults unless confirmed.
        """
        return self.add_results([fields], by=by, confirm=confirm, today=today)[0]

    def add_results(
        self,
        rows: Sequence[Mapping[str, Any]],
        *,
        by: str = "",
        confirm: bool = False,
        today: date | None = None,
        lines: Sequence[int] | None = None,
        source: str = "",
    ) -> list[int]:
        """Check and write results, all or none; their record numbers.

        Args:
            rows: fields of each result.
            by, confirm, today: as for `add_result`.
            lines, source: line of each row and the file's name, for messages.

        Raises:
            UserError: every fault of every row; nothing is written.
        """
        faults: list[Fault] = []
        entered: list[Entered] = []
        for index, row in enumerate(rows):
            line = None if lines is None else lines[index]
            fields = {key: "" if value is None else str(value) for key, value in row.items()}
            try:
                item = self.check_result(fields, today)
            except UserError as error:
                faults += [Fault(fault.message, source, line, fault.key) for fault in error.faults]
                continue
            questions = list(item.questions)
            if any(same_result(other.result, item.result) for other in entered):
                questions.append("the same result stands twice in this table: is this another sample?")
            if not confirm:
                faults += [replace(to_confirm(text), file=source, line=line) for text in questions]
            entered.append(item)
        if faults:
            raise UserError(faults)
        drafts = [
            Draft(Kind.RESULT, item.result.block, item.result.sampled.isoformat(), result_content(item.result))
            for item in entered
        ]
        return self._write(drafts, by)

    def hold(
        self,
        report: Report,
        name: str,
        samples: Mapping[str, str],
        allowed: Allowed,
        today: date | None = None,
        assigned: Mapping[tuple[str, ...], str] | None = None,
    ) -> Intake:
        """Hold a laboratory report against the season without writing it; see `fertadjust.intake.intake`."""
        every, day = self.records.all(), today or today_here()
        return intake(report, name, self.file, every, samples, day, allowed, assigned or {})

    def take(self, found: Intake, name: str, *, by: str = "") -> list[int]:
        """Write what is new and revised in a report, all or none; the record numbers.

        Args:
            found: see `hold`.
            name: the report's file name.
            by: who imports it; the account's name when empty.

        Raises:
            UserError: the records cannot be written, or something was written since the report was held.
        """
        return self._write(drafts(found, name), by, found.last)

    def correct_result(
        self,
        number: int,
        changes: Mapping[str, str],
        reason: str,
        *,
        by: str = "",
        confirm: bool = False,
        today: date | None = None,
    ) -> int:
        """Write a corrected copy of a result that replaces it; the new record's number.

        Args:
            number: record number of the result.
            changes: fields to change; the others stay.
            reason: why, not empty.
            by, confirm, today: as for `add_result`.

        Raises:
            UserError: no such result, it was replaced already, faults in the changes, or no reason.
        """
        record = self._standing_record(number, Kind.RESULT, reason)
        fields = result_fields(record) | {key: value for key, value in changes.items() if value}
        if changes.get("value") and not changes.get("unit"):
            fields["unit"] = str(record.content["unit"]) if record.content else ""
        item = self.check_result(fields, today)
        questions = [text for text in item.questions if f"record {number} already" not in text]
        if questions and not confirm:
            raise UserError([to_confirm(text) for text in questions])
        day, content = item.result.sampled.isoformat(), result_content(item.result)
        if record.content is not None and not changes.keys() & {"value", "unit", "analyte"}:
            content["reported"] = record.content["reported"]
        return self._write([Draft(Kind.RESULT, item.result.block, day, content, number, reason)], by)[0]

    def void(self, number: int, reason: str, *, by: str = "") -> int:
        """Void a result, application or observation: it stays on record and plays no part; the new number.

        Raises:
            UserError: no such record, it was replaced already, it is a decision, or no reason.
        """
        record = self._standing_record(number, None, reason)
        if record.kind is Kind.DECISION:
            raise UserError("a decision is not voided; decide again instead")
        if record.kind is Kind.PLAN:
            raise UserError("the plan on record is not voided; change season.toml instead")
        return self._write([Draft(record.kind, record.block, record.day, None, number, reason)], by)[0]

    def log_application(
        self,
        block: str,
        on: date,
        *,
        n: float | None = None,
        products: Mapping[str, float] | None = None,
        note: str = "",
        by: str = "",
        confirm: bool = False,
        today: date | None = None,
    ) -> int:
        """Write what was applied; the record number. See `fertadjust.entry.read_application`.

        Raises:
            UserError: every fault; an unusual amount or day counts as one unless confirmed.
        """
        item = read_application(self.file, block, on, today or today_here(), n, products, note)
        questions = application_questions(item, block_of(self.file, block), self.units)
        if questions and not confirm:
            raise UserError([replace(to_confirm(text), key="application") for text in questions])
        content = {"n_lb_ac": item.n_lb_ac, "products": dict(item.products), "note": item.note}
        return self._write([Draft(Kind.APPLICATION, item.block, on.isoformat(), content)], by)[0]

    def observe(
        self,
        block: str,
        on: date,
        sight: str,
        *,
        value: float | None = None,
        note: str = "",
        by: str = "",
        today: date | None = None,
    ) -> int:
        """Write a field observation; the record number. See `fertadjust.entry.read_observation`."""
        item = read_observation(self.file, block, on, today or today_here(), sight, value, note)
        content = {"sight": item.sight.value, "value": item.value, "note": item.note}
        return self._write([Draft(Kind.OBSERVATION, item.block, on.isoformat(), content)], by)[0]

    def _standing_record(self, number: int, kind: Kind | None, reason: str) -> Record:
        if not reason.strip():
            raise UserError(Fault("say why, in a few words", key="reason"))
        for record in self.records.current(kind):
            if record.number == number:
                return record
        what = "record" if kind is None else kind.value
        raise UserError(f"there is no standing {what} {number}: it never was one, or it was replaced or voided")

    def record_plan(self, reason: str, *, by: str = "") -> int | None:
        """Write the plan as it stands now, with the reason for what changed; None when it is on record already.

        The plan is also put on record by itself with whatever is written next.
        """
        draft = replace(self._plan(), reason=reason.strip())
        if self.plan_on_record():
            return None
        return self.records.append([draft], by or getpass.getuser(), datetime.now().astimezone())[0]

    def plan_on_record(self) -> bool:
        """Whether the plan on record last is the one that stands."""
        return self.records.holds_last(self._plan())

    def revisions(self) -> list[Revision]:
        """The plan's revisions on record, oldest first."""
        return revisions(self.records.all(Kind.PLAN))

    def _plan(self) -> Draft:
        return Draft(Kind.PLAN, "", today_here().isoformat(), plan_content(self.file))

    def _write(self, drafts: list[Draft], by: str, after: int | None = None) -> list[int]:
        now = datetime.now().astimezone()
        return self.records.append(drafts, by or getpass.getuser(), now, self._plan(), after)


def result_fields(record: Record) -> dict[str, str]:
    """A recorded result as entry fields, in its stored unit."""
    assert record.content is not None
    data = {key: "" if value is None else str(value) for key, value in record.content.items()}
    data["value"] = f"{data['censor']}{record.content['value']!r}"
    kept = ("sampled", "received", "tissue", "basis", "analyte", "value", "unit", "petioles", "method")
    texts = ("laboratory", "sample_id", "note")
    return {"block": record.block} | {key: data[key] for key in (*kept, *texts)}


def today_here() -> date:
    """Today by the grower's own calendar."""
    return date.today()  # noqa: DTZ011
