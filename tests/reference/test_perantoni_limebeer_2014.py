"""G. Perantoni and D. J. N. Limebeer, Vehicle System Dynamics 52 (2014) 653-678: tyre parameters.

From memory: largest lateral friction 1.80 at 2000 N and 1.45 at 6000 N, a straight line between. The
package has a power law, so only the trend is asked of it: the slope at a load, and what a pair loses.
"""

from __future__ import annotations

import numpy as np
import pytest
from patch_grip import grip_at_load

SLOPE = (1.80 - 1.45) / 4000.0  # per N, from memory
LOAD = 3000.0
K, C_X, C, HALF = 4e7, 3.0, 2.0, 0.3


def force(load: float, exponent: float) -> float:
    """Largest force of a wheel at a load, N, patch inside the tread; friction 1.7125 at 3000 N."""

    def grip(at: float) -> float:
        return grip_at_load(at, exponent, C_X, C, HALF, K)

    return 1.7125 * LOAD * grip(load) / grip(LOAD)


EXPONENT = (
    2.0 * SLOPE * LOAD / 1.7125
)  # -dln mu / dln N = n / 2, as steep as the line at 3000 N


def test_line_and_power_law_are_equally_steep() -> None:
    """The line gives 1.7125 at 3000 N; n = 0.307 follows it 10 % up and down to 0.1 % of friction."""
    for load in (2700.0, 3000.0, 3300.0):
        line = 1.80 - SLOPE * (load - 2000.0)
        assert force(load, EXPONENT) / load == pytest.approx(line, rel=1e-3)


def pair(across: float) -> float:
    """Force of a pair of wheels at 3000 N each with so much load gone across, N."""
    return force(LOAD + across, EXPONENT) + force(LOAD - across, EXPONENT)


def test_pair_loses_with_the_square_of_what_goes_across() -> None:
    """On the line exactly 2 s dF^2 (from memory and two lines); on the power law the same order, 2.

    It loses m (1 - m) / 2 per (dF / N)^2 with m = n / 2, where the line loses m: 42 % of it.
    """
    losses = [pair(0.0) - pair(across) for across in (150.0, 300.0)]
    assert np.log2(losses[1] / losses[0]) == pytest.approx(2.0, abs=0.01)
    steep = EXPONENT / 2.0
    line = 2.0 * SLOPE * 300.0**2
    assert losses[1] / line == pytest.approx((1.0 - steep) / 2.0, rel=0.01)
