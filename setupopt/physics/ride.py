"""Dampers, and the linear ride about a trim: body and wheels alone.

Seven degrees of freedom, the first unknowns of the balance: heave, pitch, body roll, rise of the wheel
centres. Their masses are the sprung mass, its inertias, and the unsprung masses; the forces are the
balance's own residual, with dampers and tyre damping on top. Sideslip, steer and the wheels' slip stay
those of the trim; `ride_motion` moves them too.
"""

from __future__ import annotations

from setupopt.physics.balance import WORK, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.inputs import (
    ANSWER,
    CASE,
    ELEMENT,
    RIDE_STATES,
    SETTING,
    VEHICLE,
    Floats,
    Record,
    Records,
    layout,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import clear
from setupopt.physics.ride_time import begin
from setupopt.physics.wheel import forget
from setupopt.units import GRAVITY

# What the balance does not need: inertias by degree of freedom, damper rates at the wheel in bump
# and in rebound, and the tyre's own damping, N s/m.
DAMPING = layout(wheels="bump rebound tyre", more=(("mass", "f8", (7,)),))


@kernel
def damper_force(speed: float, bump: float, rebound: float) -> float:
    """Force of a damper at the wheel, N, against its speed in m/s, bump positive.

    >>> damper_force(0.1, 4000.0, 8000.0), damper_force(-0.1, 4000.0, 8000.0)
    (400.0, -800.0)
    """
    return (bump if speed > 0.0 else rebound) * speed


@kernel
def tyre_damping(
    state: Record, damping: Record, w: int, rise_speed: float, road_speed: float
) -> float:
    """Damping force of a tyre along the car's z, N, up on the wheel, as if it never let go."""
    return damping.tyre[w] * state.tilt_cos[w] ** 2 * (road_speed - rise_speed)


@kernel
def _damping_matrix(
    car: Record, state: Record, damping: Record, work: Record, matrix: Floats
) -> None:
    """Linear damping on the speeds, N s/m, into `matrix` (7, 7).

    A damper counts with the mean of its two rates; a tyre in the air has none.
    """
    clear(matrix)
    for w in range(4):
        rate = 0.5 * (damping.bump[w] + damping.rebound[w])
        # travel speed = arms . v, and the force does work along the same arms
        arms = (-1.0, car.x[w], -car.y[w], 1.0)
        index = (0, 1, 2, 3 + w)
        for i in range(4):
            for j in range(4):
                matrix[index[i], index[j]] += rate * arms[i] * arms[j]
        if work.wheels.load[w] > 0.0:
            tyre = damping.tyre[w] * state.tilt_cos[w] ** 2
            matrix[3 + w, 3 + w] += tyre


@shared_kernel(
    VEHICLE, [ELEMENT], SETTING, [CASE], [ANSWER], DAMPING, CASE_STATE, [ROADBED], WORK, ["f8"],
    *2 * ([[["f8"]]],), first=True,
)  # fmt: skip
def fill_matrices(
    car: Record, elements: Records, setup: Record, cases: Records, answers: Records, damping: Record,
    state: Record, road: Records, work: Record, x: Floats, damp: Floats, stiffness: Floats,
) -> None:  # fmt: skip
    """M q'' + damp q' + stiffness q = 0, (cases, 7, 7), about trims of one setup; M is `damping.mass`.

    `answers`: steady ones at full friction. Stiffness is minus the derivative of the balance, all of it:
    tyres, springs, air and gravity. `state`, `road`, `work` and `x` (COLUMNS) are scratch.
    """
    weight = car.mass * GRAVITY
    for case in range(cases.size):
        begin(car, cases[case], answers[case], state, x)
        forget(work.wheels)
        balance(car, elements, setup, cases[case], state, road, x, work)
        for i in range(RIDE_STATES):
            for j in range(RIDE_STATES):
                stiffness[case, i, j] = -weight * work.jacobian[i, j]
        _damping_matrix(car, state, damping, work, damp[case])
