"""Powers in plain steps against those of the C library."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from setupopt.physics.powers import exp_of, power_of


def test_exponential() -> None:
    """From what is left of ground effect high over the road to the largest power of friction: 1e-12 of it."""
    for x in np.linspace(-40.0, 10.0, 501):
        assert exp_of(x) == pytest.approx(exp(x), rel=1e-12)


# Least ratio of pressures and what the series leaves there: strips with less carry a millionth of the load.
@pytest.mark.parametrize(("least", "left"), [(0.02, 1e-12), (2e-4, 1e-6)])
def test_power(least: float, left: float) -> None:
    """A strip's pressure over the deepest, to the powers that a project may ask for."""
    for exponent in (0.0, 0.2, 0.9):
        for ratio in np.geomspace(least, 2.0, 301):
            expected = ratio**-exponent
            assert power_of(ratio, exponent) == pytest.approx(
                expected, rel=left
            )
