"""A mix sheet as plain data in a unit system, for people and machines alike."""

from __future__ import annotations

import math
from typing import Any

from fertadjust.cautions import mixing_cautions
from fertadjust.injection import Injecting, Pump
from fertadjust.mix_sheet import Feed, Member, MixSheet, Run, Stock
from fertadjust.products import NUTRIENT_WORDS, ProductAmount, total_nutrients
from fertadjust.units import UnitSystem

Data = dict[str, Any]


def mix_sheet_data(sheet: MixSheet, injecting: Injecting, units: UnitSystem) -> Data:
    """The sheet with every amount in a unit system, unrounded; amounts are for one injection unless said."""
    parts = [part for feed in sheet.feeds for stock in feed.stocks for part in stock.parts]
    tank = injecting.tank
    return {
        "week": sheet.week.number,
        "start": sheet.week.start.isoformat(),
        "end": sheet.week.end.isoformat(),
        "units": _units(units),
        "blocks": [_member(member, units) for member in sheet.members],
        "week_n": units.weight_out(sheet.n_lb),
        "injections": sheet.injections,
        "injector": injector_words(injecting, units),
        "water_temperature": None if tank is None else units.temperature_out(tank.celsius),
        "solubility_share": None if tank is None else tank.share,
        "tank": None if tank is None or tank.volume_gal is None else units.volume_out(tank.volume_gal),
        "feeds": [_feed(feed, units) for feed in sheet.feeds],
        "notes": list(sheet.notes),
        "cautions": [
            {"text": item.text, "source": item.source, "evidence": item.evidence.value}
            for item in mixing_cautions([part.product for part in parts])
        ],
    }


def injector_words(injecting: Injecting, units: UnitSystem) -> str | None:
    """The injector's setting in words, None when it is not known."""
    injector = injecting.injector
    if injector is None:
        return None
    if isinstance(injector, Pump):
        return f"pump at {units.volume_out(injector.gal_h):g} {units.flow_unit} from each tank"
    return f"proportional injector at 1:{injector.ratio:g}"


def _units(units: UnitSystem) -> Data:
    return {
        "rate": units.rate_unit,
        "weight": units.weight_unit,
        "volume": units.volume_unit,
        "area": units.area_unit,
        "flow": units.flow_unit,
        "temperature": units.temperature_unit,
        "strength": units.density_unit,
    }


def _member(member: Member, units: UnitSystem) -> Data:
    return {
        "block": member.block,
        "name": member.name,
        "area": units.area_out(member.area_ac),
        "rate": units.rate_out(member.rate_lb_ac),
        "week_n": units.weight_out(member.rate_lb_ac * member.area_ac),
    }


def _feed(feed: Feed, units: UnitSystem) -> Data:
    nutrients = total_nutrients([part for stock in feed.stocks for part in stock.parts])
    return {
        "count": feed.count,
        "in_a_fill": feed.in_a_fill,
        "fills": feed.fills,
        "tanks": [_stock(stock, units) for stock in feed.stocks],
        "nutrients": {
            word: units.weight_out(nutrients[key]) for key, word in NUTRIENT_WORDS.items() if nutrients.get(key)
        },
        "runs": [_run(run, units) for run in feed.runs],
    }


def _stock(stock: Stock, units: UnitSystem) -> Data:
    return {
        "tank": stock.tank,
        "products": [_part(part, units) for part in stock.parts],
        "least": _volume(stock.least_gal, units),
        "volume": _volume(stock.volume_gal, units),
        "solubility_unknown": list(stock.unknown),
    }


def _part(part: ProductAmount, units: UnitSystem) -> Data:
    return {
        "product": part.product.name,
        "grade": part.product.grade,
        "weight": units.weight_out(part.weight_lb),
        "volume": _volume(part.volume_gal, units),
    }


def _run(run: Run, units: UnitSystem) -> Data:
    per_minute = run.n_lb_minute
    return {
        "zone": run.zone.key,
        "name": run.zone.name,
        "n": units.weight_out(run.n_lb),
        "stock": _volume(run.stock_gal, units),
        "minutes": run.minutes,
        "n_per_minute": None if per_minute is None else units.weight_out(per_minute),
        "water": _volume(run.water_gal, units),
        "ppm": run.ppm,
        "pressure_minutes": run.pressure,
        "travel_minutes": run.travel,
        "flush_minutes": run.flush,
        "least_set_minutes": run.set_minutes,
        "set_minutes": run.zone.set_minutes,
    }


def _volume(gal: float | None, units: UnitSystem) -> float | None:
    return None if gal is None else units.volume_out(gal)


def measured(value: float) -> str:
    """An amount as it is weighed or measured: two decimals, three below one.

    >>> measured(3.7812), measured(0.1047)
    ('3.78', '0.105')
    """
    return f"{value:,.2f}" if value >= 1 else f"{value:.3f}"


def at_least(value: float) -> str:
    """A least amount, rounded up to what `measured` shows.

    >>> at_least(0.1401), at_least(2.301)
    ('0.141', '2.31')
    """
    step = 0.01 if value >= 1 else 0.001
    return measured(math.ceil(value / step - 1e-6) * step)


def made_up(value: float) -> str:
    """A volume to make up to, as a tank's marks show it: one decimal, three below one."""
    return f"{value:,.1f}" if value >= 1 else f"{value:.3f}"
