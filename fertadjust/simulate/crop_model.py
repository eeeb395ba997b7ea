"""The crop-nitrogen model: mineral nitrogen in the bed, a nitrate store in the plant, growth, drainage.

    d ammonium / dt = - nitrified
    d nitrate / dt  = nitrified + mineralised - taken up - leached
    d store / dt    = taken up - used for growth
    d growth / dt   = used for growth
    d leached / dt  = leached

Nitrogen that is fed, brought by water or lost to rain is added or taken at the start of a day. Uptake follows the
demand, rises with mineral nitrogen to a most (the form of Michaelis and Menten, SMART-BLOOM) and falls as the
store fills (feedback by internal nitrate, CARDENAS-NAVARRO). Growth is the demand as long as the store holds out.
Both equal the demand at the reference: mineral nitrogen and store of a crop that is just supplied.

What a laboratory finds in the petiole is the store in parts of that of a just supplied plant, times the value
that such a plant shows on that day: the middle of the sufficiency band, smoothed over a week. The shape of the
season is thus the band's; what the model adds is how far a crop departs from it.

Every flux is a state of its own, so the total of all states changes by what is fed and mineralised and by nothing
else. Classic Runge-Kutta steps of a quarter of a day; arrays over seasons.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fertadjust.simulate.parameters import Array, Crops

STEPS_PER_DAY = 4


class State(NamedTuple):
    """Nitrogen in each pool, one entry a season [lb/ac].

    Attributes:
        ammonium, nitrate: mineral nitrogen in the bed's root zone.
        store: nitrate stored in the plant.
        growth: what was turned into growth.
        leached: what left the root zone with drainage.
        mineralised: what came from organic matter so far.
    """

    ammonium: Array
    nitrate: Array
    store: Array
    growth: Array
    leached: Array
    mineralised: Array

    @property
    def total(self) -> Array:
        """All nitrogen less what was mineralised: it changes only by what is fed or brought [lb/ac]."""
        return self.ammonium + self.nitrate + self.store + self.growth + self.leached - self.mineralised


def start(crops: Crops, day: float | Array) -> State:
    """The state when feeding begins: the store of a just supplied plant, nothing leached yet.

    Args:
        crops: figures of the seasons.
        day: day of the demand curve.
    """
    zero = np.zeros(crops.seasons)
    return State(
        ammonium=zero,
        nitrate=crops.soil_start.copy(),
        store=reference_store(crops, day),
        growth=zero,
        leached=zero,
        mineralised=zero,
    )


def reference_store(crops: Crops, day: float | Array) -> Array:
    """Nitrate stored in a just supplied plant on a day of the demand curve [lb/ac]."""
    return crops.store_days * crops.demand(day)


def supply_ratio(crops: Crops, state: State, day: float | Array) -> Array:
    """The store in parts of that of a just supplied plant."""
    return state.store / reference_store(crops, day)


def rates(crops: Crops, state: State, day: float | Array) -> State:
    """How fast each pool changes [lb/ac/day]."""
    demand = crops.demand(day)
    ratio = state.store / (crops.store_days * demand)
    wanted = np.maximum(demand + crops.store_days * crops.demand_slope(day), 0.0)
    found = state.nitrate / (state.nitrate + crops.half_uptake)
    enough = crops.soil_reference / (crops.soil_reference + crops.half_uptake)
    filling = np.maximum(crops.store_most - ratio, 0.0) / (crops.store_most - 1.0)
    uptake = wanted * (found / enough) * filling
    growth = demand * (1.0 + crops.half_growth) * ratio / (ratio + crops.half_growth)
    nitrified = crops.nitrify * state.ammonium
    leached = crops.drain * state.nitrate
    return State(
        ammonium=-nitrified,
        nitrate=nitrified + crops.mineralised - uptake - leached,
        store=uptake - growth,
        growth=growth,
        leached=leached,
        mineralised=crops.mineralised,
    )


def _moved(state: State, change: State, by: float) -> State:
    return State(*(pool + by * rate for pool, rate in zip(state, change, strict=True)))


def one_day(crops: Crops, state: State, day: float | Array, steps: int = STEPS_PER_DAY) -> State:
    """The state a day later, nothing being fed in between.

    Args:
        crops, state: the seasons and where they stand.
        day: day of the demand curve at the start of the day.
        steps: steps that the day is divided into.
    """
    h = 1.0 / steps
    for index in range(steps):
        at = day + index * h
        k1 = rates(crops, state, at)
        k2 = rates(crops, _moved(state, k1, h / 2), at + h / 2)
        k3 = rates(crops, _moved(state, k2, h / 2), at + h / 2)
        k4 = rates(crops, _moved(state, k3, h), at + h)
        state = State(
            *(
                pool + h / 6 * (a + 2 * b + 2 * c + d)
                for pool, a, b, c, d in zip(state, k1, k2, k3, k4, strict=True)
            )
        )
    return state


def fed(state: State, nitrate: Array, ammonium: Array) -> State:
    """The state after nitrogen was brought into the root zone, as nitrate and as ammonium or urea [lb/ac]."""
    return state._replace(nitrate=state.nitrate + nitrate, ammonium=state.ammonium + ammonium)


def rained_on(state: State, lost: Array) -> State:
    """The state after a rain that took a share of the nitrate out of the root zone."""
    gone = lost * state.nitrate
    return state._replace(nitrate=state.nitrate - gone, leached=state.leached + gone)
