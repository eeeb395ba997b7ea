"""The fitted figure, and how the model then runs against the published band."""

from __future__ import annotations

from functools import partial
from itertools import pairwise

import numpy as np
import pytest

from fertadjust.errors import FertadjustError
from fertadjust.simulate import calibration
from fertadjust.simulate.calibration import fed_at, fitted, positions
from fertadjust.simulate.parameters import Array
from tests.simulate.support import georgia, strawberry, with_rates

FEW = 150
"""Seasons where the band is tens of percent away."""


def at(factor: float, seasons: int = calibration.SEASONS) -> Array:
    """Median position of each week: 0 at the low edge, 1 at the high edge."""
    return positions(fed_at(georgia(), strawberry(), factor, seasons))


def test_a_crop_fed_at_georgias_rates_runs_within_its_band_in_every_week() -> None:
    """3.5 lb/ac/week for two weeks, then 5.25, is what is called sufficient (UGA-2021)."""
    found = at(1.0)
    assert len(found) == 12
    assert (found >= 0.0).all() and (found <= 1.0).all()
    assert found.mean() == pytest.approx(0.5, abs=0.05)


def test_fed_half_of_it_the_crop_falls_below_its_band_and_stays_there() -> None:
    found = at(0.5, FEW)
    below = found < 0.0
    begins = int(np.argmax(below))
    assert 4 <= begins <= 7
    assert below[begins:].all() and not below[:begins].any()


def test_fed_twice_as_much_the_crop_lies_above_its_band_from_the_third_week_on() -> None:
    found = at(2.0, FEW)
    assert (found[2:] > 1.0).all()
    assert found[0] < 1.0


@pytest.mark.parametrize("seed", [901, 902])
def test_on_other_draws_the_crop_runs_along_the_same_line(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Draws that the fit has not seen: within a tenth of the band's width in every week."""
    fitted_on = at(1.0)
    monkeypatch.setattr(calibration, "SEED", seed)
    assert at(1.0) == pytest.approx(fitted_on, abs=0.1)


def test_the_stored_start_is_what_a_new_fit_finds() -> None:
    figure = strawberry().soil_at_start
    found = fitted(georgia(), strawberry())
    assert (figure.low + figure.high) / 2 == pytest.approx(found.soil_at_start, abs=0.3)
    assert found.off < 0.3
    assert figure.high / figure.low == pytest.approx(3.0)
    assert figure.fitted


def test_the_more_is_fed_the_higher_the_crop_lies_in_every_week() -> None:
    rising = [at(factor, 40) for factor in (0.25, 0.75, 1.25, 3.0)]
    for less, more in pairwise(rising):
        assert (more >= less).all()
        assert (more[1:] > less[1:]).all()


def test_a_start_that_fits_nowhere_in_the_range_is_told_and_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calibration, "fed_at", partial(fed_at, seasons=20))
    with pytest.raises(FertadjustError, match="no start between"):
        fitted(with_rates(georgia(), 10.0), strawberry())
