"""The plan as it stood: revisions of ``season.toml`` on record, and what changed from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import ndiff
from typing import Any

from fertadjust.records import Kind, Record
from fertadjust.rules.policy import digest
from fertadjust.season_file import SeasonFile


@dataclass(frozen=True, slots=True)
class Revision:
    """The plan from one record on.

    Attributes:
        record: number of the record.
        written: when it was put on record, ISO 8601.
        by, program: who wrote it, with which program.
        reason: why it was changed, or "".
        text: ``season.toml`` as it stood.
        changes: lines taken out ("- ") and put in ("+ ") since the revision before.
        other: what else changed: the program's rules, or a band table in use.
    """

    record: int
    written: str
    by: str
    program: str
    reason: str
    text: str
    changes: tuple[str, ...]
    other: tuple[str, ...]


def plan_content(file: SeasonFile) -> dict[str, Any]:
    """The plan as a record's content: the season file's text, and digests of the rules and band tables in use."""
    return {
        "season": file.text,
        "policy_sha256": digest(file.policy.model_dump(mode="json", by_alias=True)),
        "tables_sha256": {table.id: digest(table.as_data()) for table in file.tables},
    }


def revisions(records: Sequence[Record]) -> list[Revision]:
    """The revisions among a season's records, oldest first."""
    found: list[Revision] = []
    before: dict[str, Any] | None = None
    for record in records:
        if record.kind is not Kind.PLAN or record.content is None:
            continue
        now = record.content
        changes: tuple[str, ...] = ()
        other: tuple[str, ...] = ()
        if before is not None:
            changes, other = changed_lines(before["season"], now["season"]), _other(before, now)
        found.append(
            Revision(
                record.number,
                record.written,
                record.author,
                record.program,
                record.reason,
                now["season"],
                changes,
                other,
            )
        )
        before = now
    return found


def changed_lines(before: str, now: str) -> tuple[str, ...]:
    """Lines taken out and put in, blank ones and comments included."""
    lines = ndiff(before.splitlines(), now.splitlines())
    return tuple(line for line in lines if line[:2] in ("- ", "+ "))


def _other(before: dict[str, Any], now: dict[str, Any]) -> tuple[str, ...]:
    found = ["the rules"] if before["policy_sha256"] != now["policy_sha256"] else []
    old, new = before["tables_sha256"], now["tables_sha256"]
    found += [f"the band table {name}" for name in new if name in old and old[name] != new[name]]
    return tuple(found)
