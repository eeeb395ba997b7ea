"""Each stored decision derived again, with what differs and why.

Twice: from what the decision itself stored, which must come to the same, and from what stands
today, which need not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fertadjust import words
from fertadjust.advice_data import advice_data
from fertadjust.bands import BandTable
from fertadjust.deciding import season_of_basis, with_policy
from fertadjust.entry import block_of
from fertadjust.errors import OtherForm, UserError
from fertadjust.record import Kind, Record, counting_on, standing, standing_on
from fertadjust.rules.engine import evaluate
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.stored import NOT_AS_WRITTEN, first_versions, with_records


@dataclass(frozen=True, slots=True)
class Derived:
    """A decision derived again.

    Attributes:
        record, block, on, by, program: the decision's record, block key, day, decider, and program of then.
        advised: the advice's headline as stored.
        again: the headline derived from what the decision stored; None where this version cannot derive it.
        same: whether the advice (action, rates, factor, what moved and bound it) is the stored one; None as above.
        wording: other parts of the stored advice that this version puts otherwise.
        why_not: what differs and why, or why it cannot be derived; "" when it is the same.
        today: the headline that the day would get from today's plan, rules, tables and records; None when none.
        otherwise: whether that is another advice.
        causes: what made it so.
    """

    record: int
    block: str
    on: date
    by: str
    program: str
    advised: str
    again: str | None
    same: bool | None
    wording: tuple[str, ...]
    why_not: str
    today: str | None
    otherwise: bool
    causes: tuple[str, ...]


Core = tuple[Any, ...]
Outcome = tuple[Any, ...]
Later = tuple[str, list[Record]]
_TOLD = 5
"""Changes that are named where only several together make the difference."""


def audit_decisions(file: SeasonFile, records: Sequence[Record], program: str) -> list[Derived]:
    """Derive every decision again, replaced ones included.

    Args:
        file: the season file as it stands.
        records: every record, in order.
        program: name and version of this program.
    """
    decisions = [item for item in records if item.kind is Kind.DECISION and item.content is not None]
    return [_derived(file, records, record, program) for record in decisions]


def _derived(file: SeasonFile, records: Sequence[Record], record: Record, program: str) -> Derived:
    try:
        return _Decision(file, records, record, program).derived()
    except NOT_AS_WRITTEN:
        return Derived(
            record=record.number,
            block=record.block,
            on=date.fromisoformat(record.day),
            by=record.author,
            program=record.program,
            advised="",
            again=None,
            same=False,
            wording=(),
            why_not="it, or a record that it was made from, is not as this program writes it",
            today=None,
            otherwise=False,
            causes=(),
        )


def derived_advice(content: Mapping[str, Any], records: Sequence[Record], file: SeasonFile) -> dict[str, Any]:
    """The advice behind a decision's content, computed again from what the decision stored; compare with "advice".

    Args:
        content: the content of the decision's record.
        records: every record, in order.
        file: the season file as it stands, for its folder.

    Raises:
        UserError: the stored season file no longer passes the program's checks.
        OtherForm: the rules or a band table stored have the form of another version.
    """
    return _advice_of(season_of_basis(content["basis"], file.folder), content, records)


def _advice_of(then: SeasonFile, content: Mapping[str, Any], records: Sequence[Record]) -> dict[str, Any]:
    """The advice behind a decision's content under the season file of then."""
    advised = content["advice"]
    known = [item for item in records if item.number <= content["basis"]["up_to"]]
    day = date.fromisoformat(advised["on"])
    season = with_records(block_of(then, advised["block"]), standing_on(known, day))
    return advice_data(season.advice(day), season.mixes.every(), then.units)


def core_of(data: Mapping[str, Any]) -> Core:
    """What an advice comes to, apart from its wording."""
    weeks = tuple((week["week"], week["rate"]) for week in data["weeks"])
    fired = tuple(line["rule"] for line in data["trace"] if line["fired"])
    return data["action"], data["factor"], data["moved_by"], tuple(data["binding"] or ()), weeks, fired


class _Decision:
    """One decision, its ingredients then and today."""

    def __init__(self, file: SeasonFile, records: Sequence[Record], record: Record, program: str) -> None:
        assert record.content is not None
        self._file, self._records, self._record, self._program = file, records, record, program
        self._content, self._basis = record.content, record.content["basis"]
        self._day = date.fromisoformat(record.day)
        there = [item for item in records if item.number <= self._basis["up_to"]]
        self._known = counting_on(there, self._day)
        self._numbers = {item.number for item in self._known}
        self._first = first_versions(records)

    def derived(self) -> Derived:
        stored = self._content["advice"]
        found = Derived(
            record=self._record.number,
            block=self._record.block,
            on=self._day,
            by=str(self._content["by"]),
            program=str(self._basis["program"]),
            advised=str(stored["headline"]),
            again=None,
            same=None,
            wording=(),
            why_not="",
            today=None,
            otherwise=False,
            causes=(),
        )
        other = f"it was made with {found.program}, this is {self._program}"
        try:
            then = season_of_basis(self._basis, self._file.folder)
            data = _advice_of(then, self._content, self._records)
        except OtherForm as error:
            return replace(found, why_not=str(error))
        except UserError as error:
            why_not = f"{other}; its season file no longer passes the checks: {error.faults[0]}"
            return replace(found, why_not=why_not)
        wording = tuple(key for key in data if data[key] != stored.get(key))
        found = replace(found, again=data["headline"], wording=wording)
        if core_of(data) != core_of(stored):
            why_not = other if found.program != self._program else "a record or the program was changed since"
            return replace(found, same=False, why_not=why_not)
        today, otherwise, causes = self._today(then)
        return replace(found, same=True, today=today, otherwise=otherwise, causes=causes)

    def _today(self, then: SeasonFile) -> tuple[str | None, bool, tuple[str, ...]]:
        """What the day would get today, and which change alone makes it another advice."""
        known = standing(self._known)
        before = self._outcome(then, known)
        try:
            now = self._outcome(self._file, standing(self._records))
        except UserError as error:
            return None, True, (f"the plan changed: {error.faults[0].message}",)
        if now == before:
            return self._headline(), False, ()
        files, later = list(self._changed_files(then)), list(self._changed_records())
        causes = [cause for cause, changed in files if self._differs(changed, known, before)]
        causes += self._culprits(then, before, later)
        if not causes:
            every = [cause for cause, _ in (*files, *later)] or ["later decisions"]
            causes = [f"only together: {'; '.join(every[:_TOLD])}"]
        return self._headline(), True, tuple(causes)

    def _headline(self) -> str:
        """What the day would get today, in words."""
        season = with_records(block_of(self._file, self._record.block), standing(self._records))
        return words.headline(season.advice(self._day), self._file.units)

    def _outcome(self, file: SeasonFile, records: Sequence[Record]) -> Outcome:
        season = with_records(block_of(file, self._record.block), records)
        return evaluate(season.facts(self._day), season.policy).outcome

    def _differs(self, file: SeasonFile | None, records: Sequence[Record], before: Outcome) -> bool:
        if file is None:
            return False
        try:
            return self._outcome(file, records) != before
        except UserError:
            return True

    def _culprits(self, then: SeasonFile, before: Outcome, changes: list[Later]) -> list[str]:
        """Which of some later records make it another advice: halved until each stands alone."""
        numbers = {record.number for _, records in changes for record in records}
        known = [item for item in self._records if item.number in numbers or item.number in self._numbers]
        if not changes or not self._differs(then, standing(known), before):
            return []
        if len(changes) == 1:
            return [changes[0][0]]
        half = len(changes) // 2
        found = [*self._culprits(then, before, changes[:half]), *self._culprits(then, before, changes[half:])]
        return found or [f"together: {'; '.join(cause for cause, _ in changes[:_TOLD])}"]

    def _changed_files(self, then: SeasonFile) -> Iterator[tuple[str, SeasonFile | None]]:
        """The season file of then with one thing as it is today."""
        tables = {table.id: table for table in then.tables}
        shipped = self._parsed(self._basis["season"], tables)
        rules = shipped is not None and shipped.policy.digest() != then.policy.digest()
        if rules and shipped is not None:
            yield "the program's rules changed", shipped
        current = {table.id: table for table in self._file.tables}
        changed = [name for name, table in tables.items() if name in current and current[name] != table]
        if changed:
            file = self._parsed(self._basis["season"], tables | {name: current[name] for name in changed})
            under = None if file is None else with_policy(file, then.policy)
            yield f"the band table changed: {', '.join(changed)}", under
        if self._file.text != self._basis["season"]:
            file = self._parsed(self._file.text, current | tables)
            under = with_policy(file, then.policy) if rules and file is not None else file
            yield self._plan_cause(then), under

    def _plan_cause(self, then: SeasonFile) -> str:
        """The changed plan in words, with the block's stage dates that are others today."""
        old, new = (file.blocks[self._record.block].stages.dates for file in (then, self._file))
        names = [name for name in dict.fromkeys((*old, *new)) if old.get(name) != new.get(name)]
        moved = "; ".join(f"{name} {old.get(name, 'no date')} -> {new.get(name, 'no date')}" for name in names)
        return "the plan in season.toml changed" + (f", stage dates among it: {moved}" if moved else "")

    def _parsed(self, text: str, tables: Mapping[str, BandTable]) -> SeasonFile | None:
        try:
            return parse_season(text, self._file.folder, tables)
        except UserError:
            return None

    def _changed_records(self) -> Iterator[Later]:
        """The changes that later records make and that may matter on the day, each with its records."""
        chains: dict[int, list[Record]] = defaultdict(list)
        for item in self._records:
            if item.number not in self._numbers and item.kind is not Kind.DECISION:
                chains[self._first.get(item.number, item.number)].append(item)
        blocks = {item.number: item.block for item in self._known}
        for root, chain in chains.items():
            if self._record.block not in {blocks.get(root), *(item.block for item in chain)}:
                continue
            if root not in self._numbers:
                if any(_known_by(item, self._day) for item in chain):
                    since = " and corrected since" if len(chain) > 1 else ""
                    yield f"record {root} was entered later{since}", chain
                continue
            last = chain[-1]
            verb = "voided" if last.content is None else "corrected"
            yield f"record {last.replaces} was {verb} by record {last.number}: {last.reason}", chain


def _known_by(record: Record, day: date) -> bool:
    """Whether what a record says can have been known on a day."""
    received = (record.content or {}).get("received")
    return date.fromisoformat(received or record.day) <= day
