"""``blend``: the mix of products that meets targets at the least cost, or comes nearest to them."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import (
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
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.api import Season
    from fertadjust.blend import Blend
    from fertadjust.blend_targets import Target
    from fertadjust.units import UnitSystem


@click.command(
    epilog="""\b
Examples:
  fertadjust blend --block north --at-least k2o=6
  fertadjust blend --block north --at-least ca=2 --at-most s=1
  fertadjust blend --block north --all-weeks --whole-bags
  fertadjust blend --block north --exactly n=5 --at-most k2o=2 --nearest
"""
)
@season_option
@block_option
@click.option(
    "--exactly", multiple=True, metavar="NUTRIENT=AMOUNT", help="Per area: n, p2o5, k2o, ca, mg, s or b."
)
@click.option("--at-least", multiple=True, metavar="NUTRIENT=AMOUNT", help="Per area.")
@click.option("--at-most", multiple=True, metavar="NUTRIENT=AMOUNT", help="Per area.")
@click.option("--on-hand-only", is_flag=True, help="No more of a product than lies in the shed.")
@click.option("--all-weeks", "whole_season", is_flag=True, help="For all weeks left, not for the next one.")
@click.option("--whole-bags", is_flag=True, help="Buy whole bags and jugs, and count their full price.")
@click.option("--nearest", "come_near", is_flag=True, help="When no mix meets all, the one that misses least.")
@on_option
@json_option
def blend(
    folder: Path,
    block: str | None,
    exactly: tuple[str, ...],
    at_least: tuple[str, ...],
    at_most: tuple[str, ...],
    on_hand_only: bool,
    whole_season: bool,
    whole_bags: bool,
    come_near: bool,
    on: date | None,
    as_json: bool,
) -> None:
    """Find the mix of your products that meets targets at the least cost.

    The nitrogen is that of the block's next week as decided so far, unless --exactly n=... says otherwise.
    Amounts are per area, as rates are; the answer is for the whole block.
    """
    from fertadjust import blend as mixing

    season, day = open_folder(folder), on or today()
    key = pick_block(season, block)
    units = season.units
    area = season.file.blocks[key].block.area_ac()
    targets = _targets(season, key, day, whole_season, (exactly, at_least, at_most), area)
    products = season.file.blocks[key].products
    limits = {item.name: item.shelf.on_hand_lb for item in products} if on_hand_only else None
    find = mixing.nearest if come_near else mixing.blend
    with _solver_silenced():
        found = find(products, targets, whole_packages=whole_bags, limits=limits, units=units)
    if as_json:
        echo_json({"block": key, "on": day, "area": units.area_out(area)} | _data(found, units))
        return
    _print(found, units, area)


@contextmanager
def _solver_silenced() -> Iterator[None]:
    """Keep what the solver's own library now and then prints from getting into the answer."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _targets(
    season: Season, key: str, day: date, whole_season: bool, given: tuple[tuple[str, ...], ...], area: float
) -> list[Target]:
    from fertadjust.blend_targets import Target

    bounds: dict[str, list[float | None]] = {}
    for kind, items in enumerate(given):
        for nutrient, amount in map(_amount, items):
            both = bounds.setdefault(nutrient, [None, None])
            for place in (0, 1) if kind == 0 else (kind - 1,):
                if both[place] is not None:
                    raise UserError(Fault(f"{nutrient} is bounded twice the same way", key="blend"))
                both[place] = season.units.rate_in(amount) * area
    if "n" not in bounds:
        n_lb = season.farm(day).nitrogen_lb(key, day, whole_season)
        bounds["n"] = [n_lb, n_lb]
    return [Target(nutrient, least, most) for nutrient, (least, most) in bounds.items()]


def _amount(text: str) -> tuple[str, float]:
    name, _, amount = text.partition("=")
    try:
        return name.strip().lower(), float(amount)
    except ValueError:
        raise UserError(Fault(f'"{text}" should be NUTRIENT=AMOUNT, such as k2o=6', key="blend")) from None


def _print(found: Blend, units: UnitSystem, area: float) -> None:
    from fertadjust.products import NUTRIENT_WORDS

    unit = units.weight_unit
    say(f"The mix of {found.objective} for the whole block, {units.area_out(area):.4f} {units.area_unit}")
    rows = [
        [
            part.product.name,
            f"{units.weight_out(part.weight_lb):.2f}",
            f"{found.shares[part.product.name]:.3f}" if part.product.name in found.shares else "no N",
            f"{units.weight_out(found.bought_lb.get(part.product.name, 0.0)):.2f}",
            str(found.packages.get(part.product.name, "")),
        ]
        for part in found.parts
    ]
    echo_table(["product", unit, "share of N", f"buy {unit}", "bags"], rows)
    brings = ", ".join(
        f"{word} {units.weight_out(found.nutrients_lb[key]):.2f}"
        for key, word in NUTRIENT_WORDS.items()
        if found.nutrients_lb.get(key)
    )
    say(f"Brings {brings} {unit} at least: a label's analysis is a minimum.")
    for miss in found.misses:
        say(
            f"Missed: {NUTRIENT_WORDS[miss.nutrient]} is {units.weight_out(miss.got_lb):.2f} instead of "
            f"{units.weight_out(miss.wanted_lb):.2f} {unit}.",
            indent="! ",
        )
    if found.cost is not None:
        say(f"To buy beyond the stock on hand, if no other block draws on it: {found.cost:,.2f}.")
    say("For season.toml, in one of its [[mixes]]:")
    for name, share in found.shares.items():
        click.echo(f'shares."{name}" = {share:.7f}')


def _data(found: Blend, units: UnitSystem) -> dict[str, Any]:
    return {
        "objective": found.objective,
        "cost": found.cost,
        "unit": units.weight_unit,
        "products": [
            {
                "product": part.product.name,
                "weight": units.weight_out(part.weight_lb),
                "volume": None if part.volume_gal is None else units.volume_out(part.volume_gal),
                "buy": units.weight_out(found.bought_lb.get(part.product.name, 0.0)),
                "packages": found.packages.get(part.product.name),
            }
            for part in found.parts
        ],
        "shares": found.shares,
        "nutrients": {key: units.weight_out(weight) for key, weight in found.nutrients_lb.items()},
        "misses": [
            {
                "nutrient": miss.nutrient,
                "wanted": units.weight_out(miss.wanted_lb),
                "got": units.weight_out(miss.got_lb),
            }
            for miss in found.misses
        ],
    }
