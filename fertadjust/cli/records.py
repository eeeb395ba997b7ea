"""``plan``, ``audit``, ``backup``, ``restore``, ``export`` and ``import``: records looked over, kept and moved."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import ask, by_option, echo_json, json_option, open_folder, say, season_option, today
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.audit import RecordsAudit
    from fertadjust.decision_audit import Derived

_CAUSES = 5
"""Causes of a changed decision that are told one by one."""
OTHERWISE, NOT_IN_ORDER = 3, 4
"""Exit statuses of an audit: something would come out otherwise today; records are not as they were written."""


@click.command(
    epilog="""\b
Exit status:
  0  everything is as it was written and comes out as it did
  3  the records are in order; a decision would come out otherwise today, or
     this version cannot derive it, or the plan changed and is not on record
  4  a record, the database or a stored decision is not as it was written
Note the seal elsewhere, on paper or in a mail: an audit with it shows a
change even where somebody made the whole chain anew.
Examples:
  fertadjust audit
  fertadjust audit --seal 83:9f2c0d1e5a6b7c8d
"""
)
@season_option
@click.option("--seal", default="", help="Seal of an earlier audit, which must still hold.")
@json_option
@click.pass_context
def audit(ctx: click.Context, folder: Path, seal: str, as_json: bool) -> None:
    """Check that no record was changed, and derive every decision again.

    A decision is derived twice: from what it was made from, which must come to the same, and from today's plan,
    rules, band tables and records. What differs is told with its cause.
    """
    from fertadjust.audit import audit_records
    from fertadjust.records import RECORDS_FILE, Records

    try:
        season = open_folder(folder)
    except UserError as error:
        if not (folder / RECORDS_FILE).exists():
            raise
        found = audit_records(folder, Records(folder / RECORDS_FILE, ""), seal)
        if as_json:
            plan = [str(fault) for fault in error.faults]
            echo_json(asdict(found) | {"plan": plan, "decisions": [], "status": NOT_IN_ORDER})
        else:
            _echo_records(found)
            for fault in error.faults:
                say(f"Plan: {fault}")
        ctx.exit(NOT_IN_ORDER)
    found, derived = season.audit(seal)
    unrecorded = found.count > 0 and not season.plan_on_record()
    status = _status(found, derived, unrecorded)
    if as_json:
        echo_json(
            asdict(found)
            | {
                "plan_on_record": not unrecorded,
                "decisions": [asdict(item) for item in derived],
                "status": status,
            }
        )
        ctx.exit(status)
    _echo_records(found)
    if unrecorded:
        say("Plan: season.toml changed since it was last put on record: fertadjust plan record")
    for item in derived:
        _echo_derived(item)
    if found.readable:
        _echo_sum(derived)
    ctx.exit(status)


def _status(found: RecordsAudit, derived: list[Derived], unrecorded: bool) -> int:
    if found.faults or any(item.same is False for item in derived):
        return NOT_IN_ORDER
    if unrecorded or any(item.same is None or item.otherwise for item in derived):
        return OTHERWISE
    return 0


def _echo_records(found: RecordsAudit) -> None:
    if not found.count:
        say("There are no records yet.")
    else:
        count = f"{found.count} record{'s' if found.count != 1 else ''}"
        say(f"{count}, written {found.first[:10]} to {found.last[:10]}.")
    for text in found.faults:
        say(f"NOT IN ORDER: {text}", hang=2)
    if found.count and not found.faults:
        say("Database and chain are in order.")
    if found.seal:
        say(f"Seal: {found.seal}")
    for text in found.notes:
        say(f"Note: {text}", hang=2)


def _echo_derived(item: Derived) -> None:
    from fertadjust import dates

    head = f"Decision {item.record}, {dates.day(item.on)}, block {item.block}: "
    if item.same is None:
        say(head + f"cannot be derived again: {item.why_not}", hang=2)
        return
    if not item.same:
        say(head + f"DIFFERS: {item.why_not}", hang=2)
        say(f"stored: {item.advised}", indent="  ")
        say(f"derived: {item.again}", indent="  ")
        return
    parts = f" (made with {item.program}; other parts read otherwise: {', '.join(item.wording)})"
    worded = parts if item.wording else ""
    say(head + f"derived again, the same{worded}.", hang=2)
    if item.otherwise:
        say(f"then:  {item.advised}", indent="  ", hang=9)
        say(f"today: {item.today or 'no advice'}", indent="  ", hang=9)
        for cause in item.causes[:_CAUSES]:
            say(f"because {cause}", indent="  ", hang=4)
        if len(item.causes) > _CAUSES:
            say(f"  ... and {len(item.causes) - _CAUSES} more")


def _echo_sum(derived: list[Derived]) -> None:
    if not derived:
        say("There are no decisions yet.")
        return
    same = sum(item.same is True for item in derived)
    changed = sum(item.otherwise for item in derived)
    text = f"{same} of {len(derived)} decisions derived again as stored"
    say(f"{text}; {changed} would come out otherwise today." if changed else f"{text}.")


@click.command(epilog="Example: fertadjust backup --to fernhill-2026-03-09.zip")
@season_option
@click.option("--to", "path", type=click.Path(path_type=Path, dir_okay=False), help="File to write.")
def backup(folder: Path, path: Path | None) -> None:
    """Write plan, records, own band tables and laboratory profiles into one file.

    Others may go on writing meanwhile. Keep it on another disk than the season's.
    """
    from fertadjust.backup import left_outside, write_backup

    season = open_folder(folder)
    default = f"{folder.resolve().name}-{today()}.zip"
    target = Path(ask(path, "--to", "Write the backup to", default=default))
    count, outside = write_backup(season.file, season.records, target), left_outside(season.file)
    say(f"Wrote {target}: {count} records, checked.")
    if outside:
        names = ", ".join(str(table) for table in outside)
        say(f"NOT in it, since they lie outside the season's folder: {names}. Keep them yourself.")


@click.command(epilog="Example: fertadjust restore fernhill-2026-03-09.zip fernhill-again")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
def restore(file: Path, folder: Path) -> None:
    """Make a season FOLDER anew from a backup FILE. An existing one is not touched."""
    from fertadjust.backup import restore as restored

    count = restored(file, folder)
    say(f"Restored {folder} with {count} records. Look it over: fertadjust audit --season {folder}")
    try:
        open_folder(folder)
    except UserError as error:
        for fault in error.faults:
            say(f"Note: {fault}", hang=2)


@click.command(
    epilog="""\b
records.json and records.csv hold everything and import again; results.csv,
applications.csv, observations.csv and decisions.csv are tables to read.
Example: fertadjust export --to export
"""
)
@season_option
@click.option("--to", "path", type=click.Path(path_type=Path, file_okay=False), help="Folder to write into.")
def export(folder: Path, path: Path | None) -> None:
    """Write all records as JSON and CSV. Text is made safe for spreadsheets."""
    from fertadjust.transfer import export as exported

    season = open_folder(folder)
    target = Path(ask(path, "--to", "Write into the folder", default="export"))
    own = season.file.tables_folder
    if own is not None and target.resolve() == (folder / own).resolve():
        raise UserError(Fault("is the folder of your band tables; name another one", key="--to"))
    written = exported(season.records, season.file.text, target)
    say(f"Wrote {', '.join(path.name for path in written)} into {target}.")


@click.command(
    "import",
    epilog="""\b
For laboratory reports: fertadjust results import
Example: fertadjust import export --season fernhill-again
""",
)
@click.argument("file", type=click.Path(path_type=Path))
@season_option
def import_(file: Path, folder: Path) -> None:
    """Take in exported records: FILE is records.json, records.csv or their folder.

    Into a season without records, or with the same ones up to some point. Every record keeps its number, day,
    author and link, and the chain is checked first.
    """
    from fertadjust.transfer import read_export, take

    season = open_folder(folder)
    rows = read_export(file)
    added = take(season.records, rows, file.name)
    say(
        f"Took {added} records; {len(rows) - added} stood already." if added else "Nothing new: all stand already."
    )


@click.group()
def plan() -> None:
    """The plan on record: how season.toml stood, and what changed."""


@plan.command(epilog='Example: fertadjust plan record --reason "first bloom was a week later"')
@season_option
@click.option("--reason", help="Why it was changed.")
@by_option
def record(folder: Path, reason: str | None, by: str) -> None:
    """Put season.toml on record as it stands, with the reason for what changed.

    The plan is also put on record by itself with the next thing written.
    """
    season = open_folder(folder)
    if season.plan_on_record():
        say("The plan is on record as it stands.")
        return
    number = season.record_plan(str(ask(reason, "--reason", "Why was it changed?")), by=by)
    say(f"Record {number}: the plan as it stands." if number else "The plan is on record as it stands.")


@plan.command("list", epilog="Example: fertadjust plan list")
@season_option
@json_option
def list_(folder: Path, as_json: bool) -> None:
    """List the plan's revisions, each with the lines that changed."""
    season = open_folder(folder)
    found = season.revisions()
    if as_json:
        echo_json([asdict(item) for item in found])
        return
    if not found:
        say("The plan is not on record yet; it will be with the first thing written.")
    for item in found:
        why = f": {item.reason}" if item.reason else ""
        say(f"Record {item.record}, {item.written[:16].replace('T', ' ')}, {item.by}{why}", hang=2)
        for line in item.changes:
            say(line, indent="    ", hang=6)
        for text in item.other:
            say(f"{text} changed (with {item.program})", indent="    ", hang=6)


@plan.command(epilog="Example: fertadjust plan show 17 > season-then.toml")
@click.argument("number", type=int, metavar="RECORD")
@season_option
def show(number: int, folder: Path) -> None:
    """Print season.toml as it stood on a RECORD."""
    found: list[Any] = [item for item in open_folder(folder).revisions() if item.record == number]
    if not found:
        raise UserError(f"record {number} is no plan; list them with: fertadjust plan list")
    click.echo(found[0].text, nl=False)
