"""M. A. Abramowicz and E. Szuszkiewicz, The wall of death, Am. J. Phys. 61 (1993) 982-991.

From memory; no worked number of theirs was at hand. The balance is elementary: friction carries the weight,
the wall's normal force turns the path, mu m v^2 / R >= m g, so v >= sqrt(g R / mu).
"""

from __future__ import annotations

from math import pi, sqrt

import pytest
from cars import (
    GRAVITY,
    PLAIN_SETUP,
    evenly_driven,
    plain_car,
    solve_without_crab,
    venue,
)
from scipy.optimize import brentq


def slowest(radius: float, friction: float, height: float) -> float:
    """Speed with no margin left, level round the inside of an upright cylinder, m/s.

    Its axis stands upright (slope 90 deg), and the car heads across it (heading 90 deg). It is a point: the
    crab angle at which it holds does not turn it against the wall.
    """
    car = evenly_driven(
        plain_car(cg_height=height, friction=friction, area=0.0)
    )
    wall = venue(1 / radius, slope=pi / 2)

    def margin(speed: float) -> float:
        return float(
            solve_without_crab(
                car, PLAIN_SETUP, wall, heading=pi / 2, speed=speed
            ).margin[0, 0]
        )

    expected = sqrt(GRAVITY * radius / friction)
    return float(brentq(margin, 0.9 * expected, 1.2 * expected, xtol=1e-10))


@pytest.mark.parametrize("friction", [0.6, 1.0, 1.5])
@pytest.mark.parametrize("radius", [5.0, 12.0])
def test_slowest_speed_on_the_wall_of_death(
    radius: float, friction: float
) -> None:
    """v = sqrt(g R / mu), to 1.1e-4: the CG, a millimetre off, turns on a radius that much smaller."""
    speed = slowest(radius, friction, height=1e-3)
    assert speed == pytest.approx(sqrt(GRAVITY * radius / friction), rel=1.1e-4)


def test_a_higher_car_needs_more_speed() -> None:
    """The CG runs at R - h: v^2 (R - h) / R^2 presses, so v grows by sqrt(R / (R - h)). 5e-6."""
    low, high = (slowest(5.0, 1.0, height) for height in (1e-3, 0.3))
    assert high / low == pytest.approx(
        sqrt((5.0 - 1e-3) / (5.0 - 0.3)), rel=5e-6
    )
