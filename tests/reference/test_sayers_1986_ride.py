"""The car's own equations of motion, set up as the golden quarter car, against the same published values.

Source as in test_sayers_1986. A whole car of seven freedoms on four equal corners, without air, moves like
four quarter cars where all four wheels ride the same road.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from linear_ride import Transition, transition
from scipy.optimize import brentq
from test_sayers_1986 import FIRST_ENTRY, GAIN, ORDER, PUBLISHED

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.motion import Motion
from setupopt.evaluation.ride_modes import natural_modes, ride_matrices
from setupopt.physics import ride_steps
from setupopt.physics.ride_motion import MOTION, SPEEDS, motion_rates
from setupopt.project import Project
from setupopt.robust.ride_model import RideModel
from setupopt.robust.road.profile import SPEED
from setupopt.units import GRAVITY

BODY, WHEEL = 300.0, 45.0  # kg a corner: m_u / m_s = 0.15
TYRE, SPRING, DAMPER = 653.0 * BODY, 63.3 * BODY, 6.0 * BODY
_PIECES = 400
CORNERS = np.zeros(
    (7, 2)
)  # body and wheels of the whole car by those of one corner
CORNERS[0, 0] = 1.0
CORNERS[3:, 1] = 1.0
RAISED = CORNERS.sum(axis=1)  # the whole car, wheels and all


def whole_car(foundation: float) -> Project:
    """Four golden corners; `foundation` of the tyres, N/m3, decides their stiffness."""
    project = setupopt.load(
        Path(setupopt.__file__).parents[1] / "setups" / "bore"
    )
    tyre = replace(
        project.car.front.tyre,
        foundation=foundation,
        foundation_per_pressure=0.0,
        compliance=0.0,
        damping=0.0,
        carcass=0.0,
        carcass_per_pressure=0.0,
    )
    axle = replace(
        project.car.front, unsprung_mass=WHEEL, roll_centre_height=0.0, camber_gain=0.0, motion_ratio=1.0,
        anti_slope=0.0, damper_bump=DAMPER, damper_rebound=DAMPER, tyre=tyre,
    )  # fmt: skip
    air = replace(project.car.air, drag_area=0.0, side_area=0.0, elements=())
    car = replace(
        project.car,
        mass=4.0 * (BODY + WHEEL),
        front_share=0.5,
        front=axle,
        rear=axle,
        air=air,
        clearance=(),
    )
    stood = replace(
        project.setup.front,
        camber=0.0,
        spring=SPRING,
        anti_roll=0.0,
        third=0.0,
        toe=0.0,
    )
    flat = replace(project.venue, section="flat", curvature=0.0)
    sweep = replace(flat.sweep, speed=SPEED)
    setup = replace(project.setup, front=stood, rear=stood)
    return replace(
        project, car=car, venue=replace(flat, sweep=sweep), setup=setup
    )


def ride_model(foundation: float) -> RideModel:
    """That car straight on the flat at 80 km/h."""
    project = whole_car(foundation)
    return RideModel(
        project,
        project.setup,
        sweep_cases(project.venue, np.array([0.0])).pick([0]),
    )


def linear(model: RideModel) -> tuple[np.ndarray, ...]:
    """Mass (7), damping and stiffness (7, 7) of its ride."""
    mass, damping, stiffness = ride_matrices(
        model.packed,
        model.settings[0],
        model.cases.records,
        model.base(0),
        model.damping,
    )
    return mass, damping[0], stiffness[0]


@cache
def golden_car() -> RideModel:
    """The foundation that gives k_t / m_s = 653 /s2 at the tyres' static load."""

    def excess(log_foundation: float) -> float:
        return (
            float((linear(ride_model(np.exp(log_foundation)))[2] @ RAISED)[3])
            - TYRE
        )

    model = ride_model(
        float(np.exp(brentq(excess, np.log(1e6), np.log(1e8), xtol=1e-13)))
    )
    assert (linear(model)[2] @ RAISED)[3] == pytest.approx(TYRE, rel=1e-9)
    assert model.result.answers["load"][0, 0] == pytest.approx(
        (BODY + WHEEL) * GRAVITY, rel=1e-9
    )
    return model


@pytest.fixture(scope="module")
def golden() -> RideModel:
    """The golden car."""
    return golden_car()


@pytest.mark.parametrize("length", PUBLISHED)
def test_linear_matrices_step_as_published(
    golden: RideModel, length: float
) -> None:
    """Mass, damping and stiffness of the car: all 16 entries to 1e-6 of each.

    A road that rises under the whole car pushes as much as a car that is raised as a whole is pushed back.
    """
    mass, *parts = linear(golden)
    square = [CORNERS.T @ part @ CORNERS for part in (np.diag(mass), *parts)]
    road = [CORNERS.T @ (part @ RAISED)[:, None] for part in parts[::-1]]
    found = transition(*square, *road, length / SPEED).held()
    _compare(Transition(found.state, found.before, found.after), length)


@pytest.mark.parametrize("length", PUBLISHED)
def test_nonlinear_steps_as_published(golden: RideModel, length: float) -> None:
    """The Runge-Kutta ride itself, by central differences of 3 um: all 16 entries to 1e-6 of each.

    The tyre's force is no straight line: over 3 um of some 25 mm that leaves (3 um / 25 mm)^2, 1e-8.
    """
    ends = ridden(golden, length)
    _compare_in_order(ends[:, :4], ends[:, 4], length)


def ridden(golden: RideModel, length: float) -> np.ndarray:
    """(states, pushes): the four states after a length in m, by each of them and by the road's height."""
    push = np.diag([3e-6, 3e-6 * SPEED, 3e-6, 3e-6 * SPEED, 3e-6])
    ends = [
        (_end(golden, row, length) - _end(golden, -row, length))
        / 2.0
        / row.max()
        for row in push
    ]
    return np.array(ends).T


def _end(model: RideModel, push: np.ndarray, length: float) -> np.ndarray:
    """Body, its speed, wheel, its speed, off the trim, after a push; its last is the road's height."""
    motion = model.motion(0)
    road = np.full(model.columns, push[4])
    motion.m[0] += push[0]
    motion.m[3:7] += push[2]
    motion.m[SPEEDS] += push[1]
    motion.m[SPEEDS + 3 : SPEEDS + 7] += push[3]
    steps = 160
    for _ in range(steps):
        _step(motion, road, length / SPEED / steps)
    off = motion.m - model.motion(0).m
    return np.array([off[0], off[SPEEDS], off[3], off[SPEEDS + 3]])


def _step(motion: Motion, road: np.ndarray, dt: float) -> None:
    """One step of the ride itself over a level road."""
    k = np.zeros((6, MOTION))
    motion_rates(
        *motion[:9], road, np.zeros(4), motion.m, motion.work, motion.x, k[0]
    )
    ground = np.tile(road, (3, 1))
    ride_steps.step(
        *motion[:9], ground, 0, dt, motion.m, motion.work, motion.x, k
    )


def _compare(found: Transition, length: float) -> None:
    """States of `transition` come as body, wheel, and their rates."""
    _compare_in_order(
        found.state[np.ix_(ORDER, ORDER)], found.before[ORDER].ravel(), length
    )


def _compare_in_order(
    state: np.ndarray, partial: np.ndarray, length: float
) -> None:
    matrix, response = (np.array(part) for part in PUBLISHED[length])
    assert state == pytest.approx(matrix, rel=1e-6)
    assert partial[1:] == pytest.approx(response[1:], rel=1e-6)
    assert partial[0] == pytest.approx(response[0], rel=FIRST_ENTRY[length])


@pytest.mark.parametrize("wavelength", [15.4, 5.0, 2.4])
def test_gain_of_the_ride(golden: RideModel, wavelength: float) -> None:
    """Rms travel of whole waves over that of the road, after three seconds; 1e-4, the table's last digit.

    A wave of 10 um in 400 straight pieces, which dull it by 2e-5. Derived values, not printed ones.
    """
    period = wavelength / SPEED
    dt, before, waves = period / _PIECES, int(np.ceil(3.0 / period)), 4
    time = np.arange((before + waves) * _PIECES + 1) * dt
    road = 1e-5 * np.sin(2.0 * np.pi * time / period)
    roads = np.repeat(road[None, :, None], golden.columns, axis=2)
    ride = golden.ride(0, roads, dt, every=1, skip=before * _PIECES // 2)[0]
    n = ride["samples"]
    variance = ride["travel_square"][0] / n - (ride["travel"][0] / n) ** 2
    assert n == waves * _PIECES // 2
    assert np.sqrt(2.0 * variance) / 1e-5 == pytest.approx(
        GAIN[wavelength], abs=1e-4
    )


def test_natural_modes_of_the_golden_car(golden: RideModel) -> None:
    """The whole model's heave is the golden quarter car's: roots of its polynomial, 1e-6 of each.

    Without damping 57.7 and 4776 /s2, as k_s k_t / (k_s + k_t) and k_s + k_t over the masses, to 3 %.
    """
    found = natural_modes(*linear(golden))
    polynomial = [
        BODY * WHEEL, DAMPER * (BODY + WHEEL), BODY * (SPRING + TYRE) + SPRING * WHEEL, DAMPER * TYRE,
        SPRING * TYRE,
    ]  # fmt: skip
    roots = np.roots(polynomial)
    body = roots[np.abs(roots).argmin()]
    assert found.swing[0] == pytest.approx(abs(body) / 2.0 / np.pi, rel=1e-6)
    assert found.swing_ratio[0] == pytest.approx(
        -body.real / abs(body), rel=1e-6
    )
    series = np.sqrt(63.3 * 653.0 / (63.3 + 653.0)) / 2.0 / np.pi
    assert found.natural[0] == pytest.approx(series, rel=0.03)
    assert found.natural[4:] == pytest.approx(
        np.sqrt((63.3 + 653.0) / 0.15) / 2.0 / np.pi, rel=1e-6
    )
