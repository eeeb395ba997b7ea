"""``results``: laboratory results entered, imported, listed, corrected and voided."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fertadjust.cli.common import (
    DAY,
    Command,
    ask,
    block_option,
    by_option,
    confirm,
    echo_json,
    echo_table,
    json_option,
    open_folder,
    pick_block,
    say,
    season_option,
    today,
)
from fertadjust.cli.reports import import_
from fertadjust.errors import Fault, UserError


@click.group()
def results() -> None:
    """Enter, import, list, correct and void laboratory results."""


_FIELD_OPTIONS = (
    click.option("--sampled", type=DAY, help="Day the tissue was taken."),
    click.option("--received", type=DAY, help="Day the result reached you."),
    click.option("--tissue", type=click.Choice(["petiole", "leaf"]), help="Tissue."),
    click.option("--basis", type=click.Choice(["dry", "sap"]), help="Dry weight or fresh sap."),
    click.option("--analyte", help="NO3-N, NO3, N, K, Mg, S, B ...  [default: NO3-N, or N for a leaf]"),
    click.option("--value", help='The value, such as 2310, "<10" or ">5000".'),
    click.option("--unit", help="ppm, mg/kg, %, mg/L.  [default: ppm dry, mg/L sap, % for leaf N]"),
    click.option("--petioles", type=click.IntRange(1, 1000), help="Number of petioles or leaves."),
    click.option(
        "--method", type=click.Choice(["laboratory", "meter", "meter-diluted"]), help="How it was measured."
    ),
    click.option("--laboratory", help="Name of the laboratory."),
    click.option("--sample-id", help="The laboratory's or your own number of the sample."),
    click.option("--note", help="Anything worth keeping."),
)


def _field_options(command: Command) -> Command:
    for option in reversed(_FIELD_OPTIONS):
        command = option(command)
    return command


def _fields(given: dict[str, Any]) -> dict[str, str]:
    return {key: "" if value is None else str(value) for key, value in given.items()}


_confirm_option = click.option(
    "--confirm", "confirmed", is_flag=True, help="Take an unusual value without asking."
)


@results.command(
    epilog="""\b
Examples:
  fertadjust results add
  fertadjust results add --block north --sampled 2026-03-09 --value 2310
  fertadjust results add --block north --sampled 2026-03-09 \\
    --tissue leaf --value 3.1
"""
)
@season_option
@block_option
@_field_options
@_confirm_option
@by_option
def add(folder: Path, block: str | None, confirmed: bool, by: str, **given: Any) -> None:
    """Enter one result. Asks for block, day and value when they are left out."""
    season = open_folder(folder)
    prompting = given["value"] is None or given["sampled"] is None
    fields = _fields(given)
    fields["block"] = pick_block(season, block)
    fields["sampled"] = str(ask(given["sampled"], "--sampled", "Sampled on (year-month-day)", type=DAY))
    if prompting and not fields["tissue"]:
        fields["tissue"] = ask(
            None, "--tissue", "Tissue", type=click.Choice(["petiole", "leaf"]), default="petiole"
        )
    fields["value"] = str(ask(given["value"], "--value", "Value (<10 and >5000 are understood)"))
    if prompting:
        fields |= _more(season, fields)
    entered = season.check_result(fields, today())
    if entered.questions and not confirmed:
        for text in entered.questions:
            say(f"Unusual: {text}")
        if not confirm("Take it as it is?"):
            raise UserError(Fault("was not taken; enter it again, or with --confirm", key="value"))
    number = season.add_result(by=by, confirm=True, today=today(), **fields)
    say(f"Record {number}: {entered.result.kind} {entered.result.text()} of block {entered.result.block}.")


def _more(season: Any, fields: dict[str, str]) -> dict[str, str]:
    """Questions that the prompt asks besides the needed ones; an empty answer leaves the field out."""
    from fertadjust.entry import default_basis
    from fertadjust.tissue import MAIN_ANALYTE, Basis, Tissue, canonical_analyte, stored_unit

    tissue = Tissue(fields["tissue"])
    more: dict[str, str] = {}
    basis = Basis.DRY if tissue is Tissue.LEAF else default_basis(season.file, tissue)
    if fields["basis"]:
        basis = Basis(fields["basis"])
    if basis is None:
        basis = Basis(ask(None, "--basis", "Dry weight or sap", type=click.Choice(["dry", "sap"])))
    more["basis"] = basis.value
    if not fields["analyte"]:
        more["analyte"] = ask(None, "--analyte", "Analyte", default=MAIN_ANALYTE[tissue])
    analyte = canonical_analyte(more.get("analyte", fields["analyte"]))
    if not fields["unit"]:
        more["unit"] = ask(None, "--unit", "Unit", default=stored_unit(basis, analyte))
    if not fields["petioles"]:
        more["petioles"] = ask(
            None, "--petioles", "Petioles in the sample (Enter: not noted)", default="", show_default=False
        )
    if not fields["received"]:
        more["received"] = str(ask(None, "--received", "Received on", type=DAY, default=today()))
    return more


results.add_command(import_)


@results.command("list", epilog="Example: fertadjust results list --block north")
@season_option
@click.option("--block", help="Block, by key or name.  [default: every block]")
@click.option("--all", "everything", is_flag=True, help="Replaced and voided results as well.")
@json_option
def list_(folder: Path, block: str | None, everything: bool, as_json: bool) -> None:
    """List results with their record numbers."""
    from fertadjust.entry import block_of
    from fertadjust.record import Kind, standing
    from fertadjust.stored import result_of

    season = open_folder(folder)
    key = block_of(season.file, block).block.key if block else None
    records = [item for item in season.records.all(Kind.RESULT) if key is None or item.block == key]
    valid = {item.number for item in standing(season.records.all(Kind.RESULT))}
    shown = [item for item in records if everything or item.number in valid]
    if as_json:
        echo_json(
            [
                {
                    "record": item.number,
                    "block": item.block,
                    "standing": item.number in valid,
                    "replaces": item.replaces,
                    "reason": item.reason,
                    "author": item.author,
                    "written": item.written,
                }
                | (item.content or {})
                for item in shown
            ]
        )
        return
    if not shown:
        say("There are no results yet. Enter one with: fertadjust results add")
        return
    rows = []
    voided = {item.replaces for item in records if item.content is None}
    for item in shown:
        state = "" if item.number in valid else "void" if item.number in voided else "replaced"
        if item.content is None:
            rows.append([str(item.number), item.block, item.day, f"voids {item.replaces}", "", "", ""])
            continue
        result = result_of(item)
        count = "" if result.petioles is None else str(result.petioles)
        rows.append(
            [
                str(item.number),
                item.block,
                item.day,
                f"{result.tissue.value} {result.analyte} {result.basis.value}",
                result.text(),
                count,
                state or (f"replaces {item.replaces}" if item.replaces else ""),
            ]
        )
    echo_table(["record", "block", "sampled", "kind", "value", "count", ""], rows, left=(1, 2, 3, 6))
    for item in shown:
        if item.reason:
            verb = "voids" if item.content is None else "replaces"
            say(f"record {item.number} {verb} {item.replaces}: {item.reason}")


@results.command(
    epilog="""\b
Example:
  fertadjust results correct 4 --value 2310 --reason "misread the report"
"""
)
@click.argument("record", type=int)
@season_option
@click.option("--block", help="Block, if it was the wrong one.")
@_field_options
@click.option("--reason", help="Why it is corrected.")
@_confirm_option
@by_option
def correct(
    record: int, folder: Path, block: str | None, reason: str | None, confirmed: bool, by: str, **given: Any
) -> None:
    """Replace a result by a corrected copy. The old RECORD stays, marked as replaced."""
    season = open_folder(folder)
    changes = {key: value for key, value in _fields(given | {"block": block}).items() if value}
    if not changes:
        raise UserError("nothing to correct was given; name the fields that change, such as --value 2310")
    why = str(ask(reason, "--reason", "Why is it corrected?"))
    number = season.correct_result(record, changes, why, by=by, confirm=confirmed, today=today())
    say(f"Record {number} replaces record {record}.")


@results.command(epilog='Example: fertadjust results void 4 --reason "wrong field"')
@click.argument("record", type=int)
@season_option
@click.option("--reason", help="Why it is void.")
@by_option
def void(record: int, folder: Path, reason: str | None, by: str) -> None:
    """Void a RECORD: it stays on file and plays no part."""
    season = open_folder(folder)
    number = season.void(record, str(ask(reason, "--reason", "Why is it void?")), by=by)
    say(f"Record {number} voids record {record}.")
