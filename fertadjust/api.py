"""The Python interface: a season folder opened, written to and asked. The command line uses these calls.

>>> import fertadjust                                                   # doctest: +SKIP
>>> season = fertadjust.open_season("my-season")                        # doctest: +SKIP
>>> season.add_result(block="north", sampled="2026-03-09", value="2310", petioles="25")  # doctest: +SKIP
>>> print(season.advice("north", date(2026, 3, 12)).recommendation.action)  # doctest: +SKIP
"""

from __future__ import annotations

import getpass
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fertadjust import __version__
from fertadjust.advice_data import advice_data
from fertadjust.deciding import Choice, basis_of, decision_content, season_of_basis
from fertadjust.entry import (
    Entered,
    application_questions,
    block_of,
    read_application,
    read_observation,
    read_result,
    same_result,
)
from fertadjust.errors import Fault, UserError
from fertadjust.records import RECORDS_FILE, Draft, Kind, Record, Records, standing, standing_on
from fertadjust.season import Advice, BlockSeason
from fertadjust.season_file import SeasonFile, read_season
from fertadjust.stored import Decided, arrivals, decided_of, first_versions, result_content, with_records
from fertadjust.units import UnitSystem

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from pandas import DataFrame

    from fertadjust.history import Moment

PROGRAM = f"fertadjust {__version__}"


def open_season(folder: str | Path) -> Season:
    """Open a season folder.

    Raises:
        UserError: the folder has no season file, or every fault of it.
    """
    return Season(read_season(Path(folder)))


class Season:
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
        """A block with its records, or with what stood at the end of a day: see `fertadjust.records.standing_on`.

        Raises:
            UserError: there is no such block, or the records cannot be read.
        """
        every = self.records.all()
        return with_records(block_of(self.file, key), standing(every) if on is None else standing_on(every, on))

    def check_result(self, fields: Mapping[str, str], today: date | None = None) -> Entered:
        """Check one result without writing it; see `fertadjust.entry.read_result`."""
        file = replace(self.file, blocks={key: self.block(key) for key in self.file.blocks})
        return read_result(fields, file, today or date.today())  # noqa: DTZ011 - the grower's own calendar

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
                faults += [Fault(f"{text} Confirm it to take it.", source, line, "value") for text in questions]
            entered.append(item)
        if faults:
            raise UserError(faults)
        drafts = [
            Draft(Kind.RESULT, item.result.block, item.result.sampled.isoformat(), result_content(item.result))
            for item in entered
        ]
        return self._write(drafts, by)

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
            raise UserError([Fault(f"{text} Confirm it to take it.", key="value") for text in questions])
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
        item = read_application(self.file, block, on, today or _today(), n, products, note)
        questions = application_questions(item, block_of(self.file, block), self.units)
        if questions and not confirm:
            raise UserError([Fault(f"{text} Confirm it to take it.", key="application") for text in questions])
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
        item = read_observation(self.file, block, on, today or _today(), sight, value, note)
        content = {"sight": item.sight.value, "value": item.value, "note": item.note}
        return self._write([Draft(Kind.OBSERVATION, item.block, on.isoformat(), content)], by)[0]

    def advice(self, block: str, on: date | None = None) -> Advice:
        """The advice for a block on a date, today by default."""
        day = on or _today()
        return self.block(block, day).advice(day)

    def advice_data(self, block: str, on: date | None = None) -> dict[str, Any]:
        """The advice as JSON-ready data."""
        day = on or _today()
        season = self.block(block, day)
        return advice_data(season.advice(day), season.products, self.units)

    def decide(
        self,
        block: str,
        choice: Choice,
        on: date | None = None,
        *,
        rate: float | None = None,
        reason: str = "",
        by: str = "",
        today: date | None = None,
    ) -> int:
        """Write a decision on the advice of a day; the record number.

        Args:
            block: block key or name.
            choice: accept the advice, change it to another rate, or leave the rate as it is.
            on: day of the decision, today by default.
            rate: rate of the first week in the season's unit, for "change" only; a ramp is followed in proportion.
            reason: why; needed for "change" and "leave".
            by: who decides.
            today: day of entry, when it is not the calendar's.

        The decision stores all that the advice was made from, so that `derive_again` can repeat it.

        Raises:
            UserError: a missing or wrong rate, a rate outside the bounds, no reason, or no week left to change.
        """
        now = today or _today()
        on = on or now
        if on > now:
            raise UserError(Fault(f"{on} is after today, {now}", key="on"))
        season = self.block(block, on)
        every = self.records.all()
        basis = basis_of(season, self.file.text, every[-1].number if every else 0, PROGRAM)
        who = by or getpass.getuser()
        own = None if rate is None else self.units.rate_in(rate)
        content = decision_content(season, season.advice(on), choice, own, reason, who, self.units, basis)
        day, key = on.isoformat(), season.block.key
        earlier = [
            item.number for item in self.records.current(Kind.DECISION) if (item.block, item.day) == (key, day)
        ]
        replaced = earlier[-1] if earlier else None
        why = "decided again on the same day" if earlier else ""
        return self._write([Draft(Kind.DECISION, key, day, content, replaced, why)], who)[0]

    def derive_again(self, number: int) -> dict[str, Any]:
        """The advice behind a decision, computed again from what the decision stored; compare with `advised`.

        Raises:
            UserError: there is no such decision.
        """
        record = self._decision(number)
        basis, advised = record["basis"], record["advice"]
        file = season_of_basis(basis, self.file.folder)
        known = [item for item in self.records.all() if item.number <= basis["up_to"]]
        day = date.fromisoformat(advised["on"])
        season = with_records(block_of(file, advised["block"]), standing_on(known, day))
        advice = season.advice(day)
        return advice_data(advice, season.products, file.units)

    def advised(self, number: int) -> dict[str, Any]:
        """The advice as stored with a decision.

        Raises:
            UserError: there is no such decision.
        """
        data: dict[str, Any] = self._decision(number)["advice"]
        return data

    def decisions(self, block: str | None = None, on: date | None = None) -> list[Decided]:
        """Decisions in order, of one block or of all; those of up to a day, as they stood at its end."""
        key = None if block is None else block_of(self.file, block).block.key
        every = self.records.all(Kind.DECISION)
        records = standing(every) if on is None else standing_on(every, on)
        found = [decided_of(record) for record in records if key is None or record.block == key]
        return [item for item in found if on is None or item.on <= on]

    def history(self, block: str, on: date | None = None) -> list[Moment]:
        """What was advised on each day that a result came in or a decision was made, and what followed.

        Args:
            block: block key or name.
            on: day on which to look back, today by default.
        """
        from fertadjust.history import moments

        every, plan, day = self.records.all(), block_of(self.file, block), on or _today()
        return moments(
            lambda then: with_records(plan, standing_on(every, then)),
            arrivals(every),
            day,
            self.decisions(block, day),
            first_versions(every),
        )

    def amounts(self, block: str, on: date | None = None) -> DataFrame:
        """The weekly table from a date on, one row a week, in the season's units.

        Columns: week, start, stage, planned, before, rate [rate unit], block_n, injection_n [weight],
        one column a product [weight], a second one for a liquid [volume], k2o, ca [weight], total [total unit],
        over_cap.
        """
        from fertadjust.frames import amounts_frame

        return amounts_frame(self.advice(block, on).weeks, self.units, self.block(block).products)

    def chart(self, block: str, on: date | None = None) -> Figure:
        """The season trend chart of a block as a matplotlib figure."""
        from fertadjust.outputs import chart

        return chart(self, block, on or _today())

    def report(self, block: str, on: date | None = None) -> str:
        """The advisor's report of a block as one self-contained HTML text."""
        from fertadjust.outputs import report

        return report(self, block, on or _today())

    def _decision(self, number: int) -> dict[str, Any]:
        for record in self.records.all(Kind.DECISION):
            if record.number == number and record.content is not None:
                return record.content
        raise UserError(f"there is no decision {number}")

    def _standing_record(self, number: int, kind: Kind | None, reason: str) -> Record:
        if not reason.strip():
            raise UserError(Fault("say why, in a few words", key="reason"))
        for record in self.records.current(kind):
            if record.number == number:
                return record
        what = "record" if kind is None else kind.value
        raise UserError(f"there is no standing {what} {number}: it never was one, or it was replaced or voided")

    def _write(self, drafts: list[Draft], by: str) -> list[int]:
        return self.records.append(drafts, by or getpass.getuser(), datetime.now().astimezone())


def result_fields(record: Record) -> dict[str, str]:
    """A recorded result as entry fields, in its stored unit."""
    assert record.content is not None
    data = {key: "" if value is None else str(value) for key, value in record.content.items()}
    data["value"] = f"{data['censor']}{record.content['value']!r}"
    kept = ("sampled", "received", "tissue", "basis", "analyte", "value", "unit", "petioles", "method")
    texts = ("laboratory", "sample_id", "note")
    return {"block": record.block} | {key: data[key] for key in (*kept, *texts)}


def _today() -> date:
    return date.today()  # noqa: DTZ011 - the grower's own calendar
