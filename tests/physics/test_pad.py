"""The setup pad, from which everything is counted."""

from __future__ import annotations

from dataclasses import replace
from math import tan

import numpy as np
import pytest
from cars import CAR, GRAVITY, SETUP, load_cases, set_both, venue
from drawn import drawn

from setupopt.evaluation.model import Model
from setupopt.physics import tyre
from setupopt.physics.friction_path import LEAST_FACTOR

ENDS = np.zeros(5)


@pytest.mark.parametrize("camber", [-0.1, -0.03, 0.0, 0.05])
def test_pad_penetration_carries_each_corner(camber: float) -> None:
    """At the set camber and pressure, to 1e-9 of the corner load."""
    model = Model(CAR)
    setting, car = (
        model.settings([set_both(SETUP, camber=camber)])[0],
        model.packed[0][0],
    )
    for w in range(4):
        depth, foundation = setting["penetration"][w], setting["foundation"][w]
        load = tyre.contact(
            depth, tan(camber), 1.0 / 0.33, 1.0 / 1.5, 0.15, foundation, ENDS
        )[0]
        assert load == pytest.approx(car["static_load"][w], rel=1e-9)
    assert car["static_load"].sum() == pytest.approx(780.0 * GRAVITY, rel=1e-14)


@pytest.mark.parametrize("seed", range(20))
def test_car_at_rest_on_the_pad_does_not_move(seed: int) -> None:
    """Flat, level, at rest: every displacement zero to a nanometre, loads and floor as measured there.

    Without toe and camber thrust, by which wheels push against each other on the pad.
    """
    project = drawn(seed).project
    ends = {}
    for name in ("front", "rear"):
        axle = getattr(project.car, name)
        ends[name] = replace(
            axle, tyre=replace(axle.tyre, camber_thrust_share=0.0)
        )
    model = Model(replace(project.car, **ends))
    setup = set_both(project.setup, toe=0.0)
    result = model.run(model.settings([setup]), load_cases(venue(density=0.3)))
    answer, car = result.answers[0, 0], model.packed[0][0]
    assert np.abs(answer["state"]).max() < 1e-9
    assert answer["load"] == pytest.approx(car["static_load"], rel=1e-7)
    heights = [setup.front.ride_height, setup.rear.ride_height]
    assert answer["ride_gap"] == pytest.approx(heights, abs=1e-9)
    cambers = [
        setup.front.camber,
        setup.front.camber,
        setup.rear.camber,
        setup.rear.camber,
    ]
    assert answer["inclination"] == pytest.approx(cambers, abs=1e-9)
    # a path of falling friction is followed no further
    assert result.margin[0, 0] == pytest.approx(1.0 - LEAST_FACTOR, abs=1e-12)
