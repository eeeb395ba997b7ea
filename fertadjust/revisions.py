"""The plan as it stood: revisions of ``season.toml`` on record, and what changed from one to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from fertadjust.errors import UserError
from fertadjust.record import Kind, Record
from fertadjust.rules.policy import digest
from fertadjust.season_file import SeasonFile
from fertadjust.shipped import shipped_policy_files


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
    """The plan as a record's content: the season file's text, digests of the program's rules and the band tables.

    The grower's own rule values stand in the text; the digest is of the rules without them.
    """
    return {
        "season": file.text,
        "policy_sha256": digest(shipped_policy_files()[file.policy.id].data),
        "tables_sha256": {table.id: digest(table.as_data()) for table in file.tables},
    }


def revisions(records: Sequence[Record]) -> list[Revision]:
    """The revisions among a season's records, oldest first.

    Raises:
        UserError: one is not as this program writes it.
    """
    found: list[Revision] = []
    before: dict[str, Any] | None = None
    for record in records:
        if record.kind is not Kind.PLAN or record.content is None:
            continue
        if not _is_plan(record.content):
            raise UserError(f"record {record.number} is not as it was written; look with: fertadjust audit")
        now = record.content
        changes: tuple[str, ...] = ()
        other: tuple[str, ...] = ()
        if before is not None:
            changes, other = changed_lines(before["season"], now["season"]), _other(before, now)
            if not changes and not other and before["season"] != now["season"]:
                other = ("the end of the last line",)
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


def _is_plan(content: dict[str, Any]) -> bool:
    texts = (content.get("season"), content.get("policy_sha256"))
    return all(isinstance(text, str) for text in texts) and isinstance(content.get("tables_sha256"), dict)


def changed_lines(before: str, now: str) -> tuple[str, ...]:
    """Lines taken out and put in, blank ones and comments included."""
    old, new = before.splitlines(), now.splitlines()
    found: list[str] = []
    for what, first, last, start, end in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if what != "equal":
            found += [f"- {line}" for line in old[first:last]] + [f"+ {line}" for line in new[start:end]]
    return tuple(found)


def _other(before: dict[str, Any], now: dict[str, Any]) -> tuple[str, ...]:
    found = ["the rules"] if before["policy_sha256"] != now["policy_sha256"] else []
    old, new = before["tables_sha256"], now["tables_sha256"]
    found += [f"the band table {name}" for name in new if name in old and old[name] != new[name]]
    return tuple(found)
