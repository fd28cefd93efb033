"""Springs, bars, third springs and stops."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.physics.suspension import spring_force, stop_force


def test_bar_works_in_roll_only_and_third_spring_in_heave_only() -> None:
    """Both wheels up by u: k u + third u / 2 a wheel. One up, one down: k u + 2 bar u."""
    heave, _, _ = spring_force(0.01, 0.01, 1e5, 4e4, 6e4)
    roll, _, _ = spring_force(0.01, -0.01, 1e5, 4e4, 6e4)
    assert heave == pytest.approx(1000.0 + 300.0, rel=1e-14)
    assert roll == pytest.approx(1000.0 + 800.0, rel=1e-14)


def test_rates_are_the_slopes_of_the_force() -> None:
    """The force is linear, so one difference of any size gives its rates to rounding."""
    base, own, cross = spring_force(0.012, -0.004, 1.3e5, 4e4, 6e4)
    assert spring_force(0.112, -0.004, 1.3e5, 4e4, 6e4)[
        0
    ] - base == pytest.approx(0.1 * own, rel=1e-12)
    assert spring_force(0.012, 0.096, 1.3e5, 4e4, 6e4)[
        0
    ] - base == pytest.approx(0.1 * cross, rel=1e-12)


@pytest.mark.parametrize(
    ("travel", "force", "rate"),
    [
        (0.030, 5e3, 1e6),
        (-0.024, -4e3, 1e6),
        (0.025, 0.0, 0.0),
        (-0.02, 0.0, 0.0),
        (0.0, 0.0, 0.0),
    ],
)
def test_stops_act_past_their_travel_alone(
    travel: float, force: float, rate: float
) -> None:
    """25 mm of bump and 20 mm of droop are free; 1000 N/mm beyond, each against the movement."""
    assert stop_force(travel, 0.025, 0.02, 1e6) == pytest.approx(
        (force, rate), rel=1e-9, abs=1e-9
    )


def test_stop_has_no_step() -> None:
    """The force is continuous where a stop is met: half a micrometre either side differ by 0.5 N at most."""
    for edge in (0.025, -0.02):
        near = [
            stop_force(edge + d, 0.025, 0.02, 1e6)[0] for d in (-5e-7, 5e-7)
        ]
        assert np.ptp(near) == pytest.approx(0.5, abs=1e-6)
