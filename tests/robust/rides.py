"""A car of seven freedoms and random systems, written out plainly for the tests."""

from __future__ import annotations

import numpy as np
from linear_ride import LinearSystem
from random_ride import Output, output

from setupopt.robust.road.spectrum import Contacts

FRONT, REAR, TRACK = 1.6, 1.4, 1.5  # m; invented
BODY = np.array(  # height of the body over FL, FR, RL, RR per heave, pitch (nose down), roll (left up)
    [
        [1, -FRONT, TRACK / 2],
        [1, -FRONT, -TRACK / 2],
        [1, REAR, TRACK / 2],
        [1, REAR, -TRACK / 2],
    ]
)
TRAVEL = np.hstack([BODY, -np.eye(4)])  # of the suspension, body over wheel
WHEELS = np.hstack([np.zeros((4, 3)), np.eye(4)])
CONTACTS = Contacts(
    behind=np.array([0.0, 0.0, FRONT + REAR, FRONT + REAR]),
    side=np.array([0.5, -0.5, 0.5, -0.5]) * TRACK,
    patch=np.full(4, 0.12),
)
TYRE, TYRE_DAMPING = np.array([220e3, 220e3, 250e3, 250e3]), 300.0


def car(tyre_damping: float = TYRE_DAMPING) -> LinearSystem:
    """Heave, pitch, roll and four wheels; invented numbers."""
    springs, dampers = (
        np.diag([120e3, 120e3, 140e3, 140e3]),
        np.diag([4e3, 4e3, 4.5e3, 4.5e3]),
    )
    tyres = np.diag(TYRE)
    return LinearSystem(
        mass=np.diag([700.0, 900.0, 180.0, 22.0, 22.0, 25.0, 25.0]),
        damping=TRAVEL.T @ dampers @ TRAVEL + tyre_damping * WHEELS.T @ WHEELS,
        stiffness=TRAVEL.T @ springs @ TRAVEL + WHEELS.T @ tyres @ WHEELS,
        road_stiffness=WHEELS.T @ tyres,
        road_damping=tyre_damping * WHEELS.T,
    )


def tyre_loads(
    system: LinearSystem, tyre_damping: float = TYRE_DAMPING
) -> Output:
    """Change of the four tyre loads."""
    return output(
        system,
        position=-TYRE[:, None] * WHEELS,
        velocity=-tyre_damping * WHEELS,
        road=np.diag(TYRE),
        road_velocity=tyre_damping * np.eye(4),
    )


def seen(
    rows: Output, states: np.ndarray, road: np.ndarray, rate: np.ndarray
) -> np.ndarray:
    """Outputs in time, (points, outputs), that hold no acceleration."""
    position, velocity = np.split(states, 2, axis=1)
    return (
        position @ rows.position.T
        + velocity @ rows.velocity.T
        + road @ rows.road.T
        + rate @ rows.road_velocity.T
    )


def random_system(
    draw: np.random.Generator, dof: int, inputs: int
) -> LinearSystem:
    """A stable system with full matrices; D is not zero."""

    def positive(scale: float) -> np.ndarray:
        root = draw.normal(size=(dof, dof))
        return scale * (root @ root.T + np.eye(dof))

    sides = (scale * draw.normal(size=(dof, inputs)) for scale in (100.0, 3.0))
    return LinearSystem(positive(1.0), positive(2.0), positive(100.0), *sides)
