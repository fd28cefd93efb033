"""The car in motion with planar states: against the trim, stability, closed forms, other integrators."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.evaluation.cases import sweep_cases
from setupopt.physics.ride_motion import FORWARD, MOTION, WHEEL_SPEED, motion_rates
from setupopt.project import Project
from setupopt.robust.ride_model import RideModel


@pytest.fixture(scope="module")
def model(bore: Project) -> RideModel:
    """Floor, wall and over the top."""
    return RideModel(bore, bore.setup, sweep_cases(bore.venue, np.radians([0.0, 90.0, 150.0])))


def _rates(model: RideModel, row: int) -> np.ndarray:
    motion = model.motion(row)
    rate = np.zeros(MOTION)
    smooth = np.zeros(model.columns)
    motion_rates(*motion[:9], smooth, np.zeros(4), motion.m, *motion[10:], rate)
    return rate


def test_a_trim_is_at_rest(model: RideModel) -> None:
    """No rate at a trim: 1e-6 of a metre a second squared is far less than anyone feels."""
    for row in range(len(model.cases)):
        assert np.abs(_rates(model, row)).max() < 1e-6


def test_slowest_mode_is_that_of_the_quasi_static_motion(model: RideModel) -> None:
    """The growth rate with ride and tyres in motion, against `stability`, where they follow at once.

    Both hold the wheels' speeds here, and both know gravity turning with the way round the section. Lags of
    some milliseconds, and a CG that is some percent nearer to the axis than the wheels, move it by less than
    a tenth, or 0.05 1/s.
    """
    steady = model.model.run(model.settings, model.cases, growth=True).answers[0]
    held = [FORWARD, *range(WHEEL_SPEED, WHEEL_SPEED + 4)]
    kept = [j for j in range(MOTION) if j not in held]
    for row in range(len(model.cases)):
        slopes = model.motion(row).slopes()
        found = np.linalg.eigvals(slopes[np.ix_(kept, kept)]).real.max()
        assert found == pytest.approx(float(steady["growth"][row]), abs=0.05, rel=0.1)
