"""``results import``: laboratory reports read, held against the season, shown, and taken."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import (
    ask,
    by_option,
    confirm,
    echo_json,
    echo_table,
    json_option,
    open_folder,
    say,
    season_option,
    today,
)
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.api import Season
    from fertadjust.intake import Intake
    from fertadjust.known_results import Allowed
    from fertadjust.lab.report import Report
    from fertadjust.laboratories import Laboratories
    from fertadjust.report_reading import Reading

_SHOWN = 12
"""Rows of a kind that are listed; the rest is counted."""


@click.command(
    "import",
    epilog="""\b
FILE may be CSV (a row a value, or a row a sample), a spreadsheet (.xlsx), or
laboratory data as JSON. What the report leaves open is asked once and kept as
a profile in laboratories.toml; the next report of that laboratory reads by
itself. Nothing is taken while anything in the report will not do.
A table of your own needs the columns block, sampled, value; received, tissue,
basis, analyte, unit, petioles, method, laboratory, sample_id, note may be
there.
Examples:
  fertadjust results import report.csv --dry-run
  fertadjust results import report.csv
  fertadjust results import report.csv --sample "C1=creek" \\
    --tell tissue=petiole --laboratory valley-lab
  fertadjust results import report.csv --good-rows
""",
)
@click.argument("file", type=click.Path(path_type=Path))
@season_option
@click.option("--laboratory", default="", help="Name of the profile to read with, or to keep answers as.")
@click.option("--tell", "told", multiple=True, metavar="KEY=ANSWER", help="Answer what the report leaves open.")
@click.option("--sample", "samples", multiple=True, metavar="NAME=BLOCK", help="Block of a sample; kept.")
@click.option("--dry-run", is_flag=True, help="Show what would be taken; write nothing.")
@click.option("--good-rows", is_flag=True, help="Take what will do; write the rest to a file beside the report.")
@click.option("--revise", is_flag=True, help="Take values that differ from those on record as corrections.")
@click.option("--confirm", "confirmed", is_flag=True, help="Take unusual values without asking.")
@by_option
@json_option
def import_(
    file: Path,
    folder: Path,
    laboratory: str,
    told: tuple[str, ...],
    samples: tuple[str, ...],
    dry_run: bool,
    good_rows: bool,
    revise: bool,
    confirmed: bool,
    by: str,
    as_json: bool,
) -> None:
    """Import the results of a laboratory report, all or none."""
    from fertadjust.files import read_bytes
    from fertadjust.known_results import Allowed
    from fertadjust.laboratories import read_laboratories
    from fertadjust.report_reading import kept_with

    season = open_folder(folder)
    known = read_laboratories(folder)
    answers, named = [_pair(text, "--tell") for text in told], _named(season, samples)
    reading = _read(season, known, read_bytes(file), file.name, laboratory, answers, quiet=as_json)
    if not reading.report.rows and not reading.report.faults:
        raise UserError(_without_values(reading.report, file.name))
    labs = known.model_copy(update={"samples": known.samples | named})
    found, kept = _held(season, reading.report, file.name, labs, Allowed(confirmed, revise), as_json)
    labs = known.model_copy(update={"samples": known.samples | _without_numbers(named) | kept})
    taking = not dry_run and (good_rows or not found.left_out)
    if not as_json:
        _echo_intake(reading, found, file.name)
    elif not taking:
        echo_json(_data(reading, found, []))
    if found.left_out and not good_rows:
        faults = dict.fromkeys(item.fault for item in found.left_out)
        raise UserError([*faults, Fault(_NOTHING_TAKEN, file.name)])
    if not taking:
        return
    if reading.changed or (laboratory and laboratory != reading.known_as):
        name = _profile_name(reading, laboratory, quiet=as_json)
        labs = kept_with(labs, name, reading) if name else labs
    left = _write_left_out(found, file) if found.left_out else None
    try:
        numbers = season.take(found, file.name, by=by)
    except UserError:
        if left is not None:
            left.unlink(missing_ok=True)
        raise
    if labs != known:
        _keep(folder, labs)
    if as_json:
        echo_json(_data(reading, found, numbers))
    else:
        _echo_taken(found, file.name, numbers, left)


def _keep(folder: Path, labs: Laboratories) -> None:
    """Keep answers and names; the results are taken by now, so that a failure is only told."""
    from fertadjust.laboratories import write_laboratories

    try:
        write_laboratories(folder, labs)
    except UserError as error:
        click.echo(f"The results are taken, but the answers could not be kept: {error.faults[0]}", err=True)


_NOTHING_TAKEN = "nothing was taken; mend it, or take the rest with --good-rows"


def _read(
    season: Season,
    known: Laboratories,
    data: bytes,
    name: str,
    laboratory: str,
    answers: list[tuple[str, str]],
    *,
    quiet: bool,
) -> Reading:
    """Read the report, asking what it leaves open; where ``quiet``, that is an error."""
    from fertadjust.report_reading import open_questions, read_known, usual_basis

    sap_or_dry = usual_basis(season.file)
    while True:
        reading = read_known(data, name, known, laboratory, answers, sap_or_dry=sap_or_dry)
        if not reading.report.questions:
            return reading
        if quiet:
            raise open_questions(reading.report)
        item = reading.report.questions[0]
        choices: dict[str, Any] = {"type": click.Choice(item.choices)} if item.choices else {}
        say(f"{item.where}: {item.text}" if item.where else item.text)
        try:
            answers.append((item.key, str(ask(None, "--tell", "Answer", **choices))))
        except UserError:
            raise open_questions(reading.report) from None


def _without_values(report: Report, name: str) -> list[Fault]:
    passed = [Fault(f"was passed over: {why}", name, line) for line, why in report.passed_over[:_SHOWN]]
    return [*passed, Fault("there are no results below the header", name)]


def _pair(text: str, option: str) -> tuple[str, str]:
    key, equals, answer = text.rpartition("=")
    if not (equals and key.strip() and answer.strip()):
        raise UserError(Fault(f'"{text}" should be NAME=VALUE', key=option))
    return key.strip(), answer.strip()


def _named(season: Season, given: Sequence[str]) -> dict[str, str]:
    from fertadjust.entry import block_of

    pairs = [_pair(text, "--sample") for text in given]
    return {name: block_of(season.file, block).block.key for name, block in pairs}


def _held(
    season: Season, report: Report, name: str, labs: Laboratories, allowed: Allowed, quiet: bool
) -> tuple[Intake, dict[str, str]]:
    """Hold the report against the season, asking which blocks unknown samples are of, and about revised values.

    Also the names of samples to keep. Nothing is asked where ``quiet``.
    """
    from dataclasses import replace

    from fertadjust.laboratories import telling_names

    assigned: dict[tuple[str, ...], str] = {}

    def hold() -> Intake:
        return season.hold(report, name, labs.samples, allowed, today(), assigned)

    found = hold()
    if quiet:
        return found, {}
    if found.unmatched:
        assigned |= _blocks_of(season, found.unmatched)
        matched = {item.row.names: item.result.block for item in found.taken}
        found = hold()
        kept = telling_names(assigned, matched | dict.fromkeys(found.unmatched))
    else:
        kept = {}
    if found.revisions and not allowed.revised:
        for text in found.revisions[:_SHOWN]:
            say(text)
        if confirm("Take these as corrections?" if len(found.revisions) > 1 else "Take it as a correction?"):
            allowed = replace(allowed, revised=True)
            found = hold()
    return found, kept


def _blocks_of(season: Season, unmatched: Iterable[tuple[str, ...]]) -> dict[tuple[str, ...], str]:
    """Blocks of samples, as answered; without those that belong to none, or that nobody is there to answer for."""
    from fertadjust.entry import block_of

    answers = {}
    for names in filter(None, unmatched):
        question = f"Sample {' / '.join(names)}: which block ({', '.join(season.blocks)}; Enter: none of them)"
        try:
            said = str(ask(None, "--sample", question, default="", show_default=False)).strip()
        except UserError:
            break
        if said:
            answers[names] = block_of(season.file, said).block.key
    return answers


def _profile_name(reading: Reading, laboratory: str, *, quiet: bool) -> str:
    """Name to keep the answers under; "" when nobody is there to say one."""
    if laboratory or reading.known_as or quiet:
        return laboratory or reading.known_as
    said = next((row.fields["laboratory"] for row in reading.report.rows if row.fields.get("laboratory")), "")
    default = re.sub(r"[^a-z0-9]+", "-", said.lower()).strip("-") or "laboratory"
    try:
        return str(ask(None, "--laboratory", "Keep these answers for the next report as", default=default))
    except UserError:
        say("The answers are not kept; to keep them, name the laboratory: --laboratory valley-lab")
        return ""


def _without_numbers(named: Mapping[str, str]) -> dict[str, str]:
    """The names worth keeping: the next report may give a bare number to another sample."""
    return {name: block for name, block in named.items() if not name.isdigit()}


def _write_left_out(found: Intake, file: Path) -> Path:
    from fertadjust.files import write_text
    from fertadjust.intake import left_out_text

    path, count = file.with_name(f"{file.stem}-left-out.csv"), 2
    while path.exists():
        path, count = file.with_name(f"{file.stem}-left-out-{count}.csv"), count + 1
    write_text(path, left_out_text(found))
    return path


def _echo_intake(reading: Reading, found: Intake, name: str) -> None:
    """Say what the report holds and what becomes of it."""
    from fertadjust.known_results import Fate

    report = reading.report
    count = f"{len(report.rows)} value{'s' if len(report.rows) != 1 else ''}"
    how = f', read as "{reading.known_as}"' if reading.known_as else ""
    say(f"{name}: {report.form}{how}; {count}.")
    told = _told(reading)
    if told:
        say(f"as told: {told}", indent="  ", hang=4)
    for line, why in report.passed_over[:_SHOWN]:
        say(f"passed over: line {line}: {why}" if line else f"passed over: {why}", indent="  ", hang=4)
    if len(report.passed_over) > _SHOWN:
        say(f"  ... and {len(report.passed_over) - _SHOWN} more lines")
    if report.empty:
        say(f"without a value: {report.empty} cell{'s' if report.empty != 1 else ''}", indent="  ", hang=4)
    if report.unused:
        say(f"not used: {', '.join(report.unused)}", indent="  ", hang=4)
    for fate in Fate:
        items = found.of(fate)
        if not items:
            continue
        say(f"{fate.value.capitalize()}: {len(items)}")
        rows = [
            [
                "" if item.row.line is None else str(item.row.line),
                item.result.block,
                item.result.sampled.isoformat(),
                f"{item.result.tissue.value} {item.result.analyte} {item.result.basis.value}",
                item.result.text(),
                "" if item.record is None else f"record {item.record}",
            ]
            for item in items[:_SHOWN]
        ]
        echo_table(["line", "block", "sampled", "kind", "value", ""], rows, left=(1, 2, 3, 5))
        if len(items) > _SHOWN:
            say(f"  ... and {len(items) - _SHOWN} more")


def _told(reading: Reading) -> str:
    """What the profile says that the report does not, in words."""
    data = reading.profile.model_dump(mode="json", exclude_defaults=True, exclude={"header"})
    pairs = [
        (f"{key} {name}", answer)
        for key, value in data.items()
        for name, answer in (value.items() if isinstance(value, dict) else [("", value)])
    ]
    return "; ".join(f"{key.strip()} = {answer}" for key, answer in pairs)


def _echo_taken(found: Intake, name: str, numbers: Sequence[int], left: Path | None) -> None:
    from fertadjust.known_results import Fate

    if not numbers:
        undone = len(found.of(Fate.UNDONE))
        if undone:
            say(
                f"Nothing to add. What was corrected or voided since ({undone}) is not taken back; to go back to "
                "it: fertadjust results correct"
            )
        else:
            say(
                f"Nothing to add: all that {name} says is on record already."
                if found.taken
                else "Nothing was taken."
            )
    else:
        one = len(numbers) == 1
        span = f"1 result from {name}: record" if one else f"{len(numbers)} results from {name}: records"
        say(f"Took {span} {numbers[0]}{'' if one else f' to {numbers[-1]}'}.")
    if left is not None:
        say(
            f"{len(found.left_out)} left out: {left.name} beside the report says why. Mend it there and import it."
        )


def _data(reading: Reading, found: Intake, numbers: Sequence[int]) -> dict[str, Any]:
    return {
        "records": list(numbers),
        "form": reading.report.form,
        "laboratory": reading.known_as,
        "values": [
            {
                "line": item.row.line,
                "column": item.row.column,
                "block": item.result.block,
                "sampled": item.result.sampled,
                "tissue": item.result.tissue.value,
                "basis": item.result.basis.value,
                "analyte": item.result.analyte,
                "censor": item.result.censor.value,
                "value": item.result.value,
                "unit": item.result.unit,
                "sample_id": item.result.sample_id,
                "becomes": item.fate.value,
                "record": item.record,
            }
            for item in found.taken
        ],
        "left_out": [
            {"line": item.fault.line, "column": item.fault.key, "why": item.fault.message}
            for item in found.left_out
        ],
        "passed_over": [{"line": line, "why": why} for line, why in reading.report.passed_over],
        "unused": list(reading.report.unused),
    }
