"""How far a reading lies outside its band, and how a step grows with that."""

from __future__ import annotations

import math

from fertadjust.rules.facts import Backed, Reading
from fertadjust.rules.policy import Policy

Sized = tuple[float, Backed, str]
"""Size of a step as a share of the rate, what stands behind it, and what it was made from."""


def distance(reading: Reading, policy: Policy) -> float:
    """How far outside its band a reading lies, below or above it [band widths]."""
    band, width = reading.band, math.log(policy.one_edge_factor.value)
    if band.low is not None and band.high is not None:
        width = math.log(band.high / band.low)
    if band.low is not None and reading.value < band.low:
        return math.log(band.low / reading.value) / width
    assert band.high is not None, "a reading outside a band with one edge lies beyond that edge"
    return math.log(reading.value / band.high) / width


def grown(first: float, largest: float, reached_at: float, width: float) -> float:
    """A size that grows in a straight line from the first to the largest, reached at some band widths."""
    return min(largest, first + (largest - first) * width / reached_at)


def persistent_from(policy: Policy) -> float:
    """Results in a row from which on a step is a persistent one: as a second change asks for, two at least."""
    return max(2.0, policy.results_for_second_change.value)
