"""``mix-sheet``, ``minutes``, ``purchase``, ``credits`` and ``calendar``: from decided rates to the tank."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import (
    ask,
    block_option,
    echo_json,
    echo_table,
    json_option,
    on_option,
    open_folder,
    pick_block,
    say,
    season_option,
    today,
)

if TYPE_CHECKING:
    from fertadjust.purchase import PurchaseLine
    from fertadjust.units import UnitSystem

_to_option = click.option("--to", "target", type=click.Path(path_type=Path), help="File to write.")


@click.command(
    "mix-sheet",
    epilog="""\b
Examples:
  fertadjust mix-sheet --block north
  fertadjust mix-sheet --block north --week 5 --to north-week5.html
  fertadjust mix-sheet --zone east --to east.html
""",
)
@season_option
@block_option
@click.option("--zone", help="Zone: every block in it in one run.")
@click.option("--week", type=int, help="Week of the plan.  [default: the running or the next one]")
@on_option
@click.option("--to", "target", type=click.Path(path_type=Path), help="Write the printable page (HTML) here.")
@json_option
def mix_sheet(
    folder: Path,
    block: str | None,
    zone: str | None,
    week: int | None,
    on: date | None,
    target: Path | None,
    as_json: bool,
) -> None:
    """Say what goes into the tank for one injection, and how it is injected.

    For the rates decided so far: an advice that was not accepted changes no sheet.
    """
    from fertadjust.files import write_text
    from fertadjust.mix_sheet_data import mix_sheet_data
    from fertadjust.outputs import mix_sheet_page

    season, day = open_folder(folder), on or today()
    key = pick_block(season, block) if zone is None else block
    sheet = season.mix_sheet(key, week, day, zone=zone)
    if target is not None:
        write_text(target, mix_sheet_page(season, sheet, day))
        click.echo(f"Wrote {target}")
        return
    data = mix_sheet_data(sheet, season.file.injecting, season.units)
    if as_json:
        echo_json({"on": day} | data)
        return
    _print_sheet(data)


def _print_sheet(data: dict[str, Any]) -> None:
    from fertadjust import dates

    unit = data["units"]
    first, last = (dates.day(date.fromisoformat(data[key])) for key in ("start", "end"))
    click.secho(f"Mix sheet, week {data['week']}, {first} to {last}", bold=True)
    for member in data["blocks"]:
        say(
            f"{member['name']}: {member['area']:.4f} {unit['area']} at {member['rate']:.2f} {unit['rate']} = "
            f"{member['week_n']:.3f} {unit['weight']} N in the week."
        )
    times = data["injections"]
    say(f"{times} injection{'s' if times != 1 else ''} a week; every amount below is for one of them.")
    for note in data["notes"]:
        say(note, indent="! ")
    for number, feed in enumerate(data["feeds"], start=1):
        if len(data["feeds"]) > 1:
            click.echo(f"Feed {number} of {len(data['feeds'])}, {feed['count']} of the week's injections")
        _print_feed(feed, data)
    click.echo("Cautions")
    for caution in data["cautions"]:
        say(caution["text"], indent="  ! ")


def _print_feed(feed: dict[str, Any], data: dict[str, Any]) -> None:
    from fertadjust.mix_sheet_data import at_least, made_up, measured

    unit = data["units"]
    rows = [
        [
            "[ ]",
            tank["tank"],
            f"{part['product']} {part['grade']}",
            f"{measured(part['weight'])} {unit['weight']}",
            "dry" if part["volume"] is None else f"{measured(part['volume'])} {unit['volume']}",
        ]
        for tank in feed["tanks"]
        for part in tank["products"]
    ]
    echo_table(["", "tank", "product", "weight", "volume"], rows, left=(0, 1, 2))
    for tank in feed["tanks"]:
        if tank["volume"]:
            least = "" if tank["solubility_unknown"] else f" (never less than {at_least(tank['least'])})"
            volume = f"{made_up(tank['volume'])} {unit['volume']}"
            say(f"Tank {tank['tank']}: dissolve, then make up to {volume}{least}.", indent="[ ] ")
    if feed["fills"] is not None and data["tank"] is not None:
        say(
            f"At the strongest a full tank holds {feed['in_a_fill']} such "
            f"injection{'s' if feed['in_a_fill'] != 1 else ''}; the week takes "
            f"{feed['fills']} fill{'s' if feed['fills'] != 1 else ''} at least."
        )
    brings = ", ".join(f"{name} {measured(weight)}" for name, weight in feed["nutrients"].items())
    say(f"Brings {brings} {unit['weight']} at least: a label's analysis is a minimum.")
    for run in feed["runs"]:
        if run["minutes"] is None:
            say(f"{run['name']}: {run['n']:.3f} {unit['weight']} N; minutes not known.", indent="[ ] ")
            continue
        ppm = "" if run["ppm"] is None else f" {run['ppm']:.0f} ppm N in the line;"
        digits = 1 if run["minutes"] < 20 else 0
        say(
            f"{run['name']}: fill the line {run['pressure_minutes']:.0f} min, inject {run['minutes']:.{digits}f} "
            f"min ({run['n']:.3f} {unit['weight']} N), flush {run['flush_minutes']:.0f} min;{ppm} the set is "
            f"{run['least_set_minutes']:.0f} min at least.",
            indent="[ ] ",
        )
    if data["injector"]:
        say(f"Injector: {data['injector']}.")


@click.command(
    epilog="""\b
Examples:
  fertadjust minutes --block north --tank-n 23.4 --tank-volume 2000
  fertadjust minutes --block north --tank-n 51.6 --tank-volume 528 --n 0.6
"""
)
@season_option
@block_option
@click.option("--tank-n", type=float, help="Nitrogen in the full tank, by weight.")
@click.option("--tank-volume", type=float, help="Volume of the full tank.")
@click.option("--n", type=float, help="Nitrogen wanted per area.  [default: one injection at the decided rate]")
@on_option
@json_option
def minutes(
    folder: Path,
    block: str | None,
    tank_n: float | None,
    tank_volume: float | None,
    n: float | None,
    on: date | None,
    as_json: bool,
) -> None:
    """Say how long to inject from a tank that is mixed already."""
    season, day = open_folder(folder), on or today()
    units = season.units
    key = pick_block(season, block)
    stock_n = float(ask(tank_n, "--tank-n", f"Nitrogen in the full tank [{units.weight_unit}]", type=float))
    volume = float(ask(tank_volume, "--tank-volume", f"Volume of the full tank [{units.volume_unit}]", type=float))
    doses = season.doses(
        key,
        units.weight_in(stock_n),
        units.volume_in(volume),
        None if n is None else units.rate_in(n),
        day,
    )
    if as_json:
        echo_json(
            {
                "block": key,
                "on": day,
                "unit": units.weight_unit,
                "zones": [
                    {"zone": dose.zone.key, "n": units.weight_out(dose.n_lb), "minutes": dose.minutes}
                    for dose in doses
                ],
            }
        )
        return
    for dose in doses:
        say(
            f"{dose.zone.name}: {dose.minutes:.1f} min bring {units.weight_out(dose.n_lb):.3f} "
            f"{units.weight_unit} N; fill the line first and flush after."
        )


@click.command(
    epilog="""\b
Examples:
  fertadjust purchase
  fertadjust purchase --on 2026-03-12 --json
"""
)
@season_option
@on_option
@json_option
def purchase(folder: Path, on: date | None, as_json: bool) -> None:
    """List what has to be bought for the rest of the season on every block, in whole bags and jugs."""
    from fertadjust.purchase import total_cost

    season, day = open_folder(folder), on or today()
    units = season.units
    lines = season.purchases(day)
    cost = total_cost(lines)
    if as_json:
        echo_json({"on": day, "products": [_purchase_row(line, units) for line in lines], "cost": cost})
        return
    if not lines:
        say("Nothing is left to feed.")
        return
    say(f"For the rest of the season on every block, at the rates decided so far ({units.weight_unit})")
    rows = []
    for line in lines:
        rows.append(
            [
                line.product.name,
                f"{units.weight_out(line.need_lb):.1f}",
                f"{units.weight_out(line.on_hand_lb):.1f}",
                "loose" if line.packages is None else str(line.packages),
                f"{units.weight_out(line.bought_lb):.1f}",
                f"{units.weight_out(line.left_over_lb):.1f}",
                "" if line.cost is None else f"{line.cost:,.2f}",
            ]
        )
    echo_table(["product", "need", "on hand", "bags", "buy", "left over", "cost"], rows)
    for line in lines:
        if line.bought_gal:
            say(
                f"{line.product.name}: {units.volume_out(line.bought_gal):.1f} {units.volume_unit} to buy.",
                indent="  ",
            )
    say("Cost: not known for every product." if cost is None else f"Cost: {cost:,.2f}.")


def _purchase_row(line: PurchaseLine, units: UnitSystem) -> dict[str, Any]:
    return {
        "product": line.product.name,
        "unit": units.weight_unit,
        "need": units.weight_out(line.need_lb),
        "on_hand": units.weight_out(line.on_hand_lb),
        "to_buy": units.weight_out(line.to_buy_lb),
        "packages": line.packages,
        "bought": units.weight_out(line.bought_lb),
        "bought_volume": None if line.bought_gal is None else units.volume_out(line.bought_gal),
        "left_over": units.weight_out(line.left_over_lb),
        "cost": line.cost,
    }


@click.command(epilog="Example: fertadjust credits")
@season_option
@json_option
def credits(folder: Path, as_json: bool) -> None:  # noqa: A001 - the command's name
    """Show each nitrogen credit with its arithmetic, its source and what is uncertain about it."""
    from fertadjust.evidence import cite
    from fertadjust.shipped import citations_for

    season = open_folder(folder)
    units, lines = season.units, season.file.credit_lines
    if as_json:
        echo_json(
            [
                {
                    "name": line.name,
                    "n": units.rate_out(line.n_lb_ac),
                    "unit": units.total_unit,
                    "arithmetic": line.arithmetic,
                    "source": line.source,
                    "evidence": line.evidence.value,
                    "cautions": list(line.cautions),
                }
                for line in lines
            ]
        )
        return
    if not lines:
        say("No credits are set; they stand under [[credits]] in season.toml.")
        return
    for line in lines:
        say(f"{line.name}: {units.rate_out(line.n_lb_ac):.1f} {units.total_unit}")
        say(f"{line.arithmetic} ({cite(line.source, line.evidence)})", indent="  ")
        for caution in line.cautions:
            say(caution, indent="  ! ")
    total = sum(line.n_lb_ac for line in lines)
    say(f"Together: {units.rate_out(total):.1f} {units.total_unit}.")
    sources = [text for line in lines for text in (line.source, line.caution_source)]
    for key, citation in citations_for(sources).items():
        say(f"{key}: {citation}", indent="  ")


@click.command(epilog="Example: fertadjust calendar --to season.ics")
@season_option
@on_option
@_to_option
def calendar(folder: Path, on: date | None, target: Path | None) -> None:
    """Write the coming injections, samples and reviews as a calendar file that a phone opens."""
    from fertadjust.files import write_bytes

    season = open_folder(folder)
    path = target or folder / "feeding.ics"
    write_bytes(path, season.calendar(on or today()))
    click.echo(f"Wrote {path}")
