"""Dampers, and the linear ride about a trim: body and wheels alone.

Seven degrees of freedom, the first unknowns of the balance: heave, pitch, body roll, rise of the wheel
centres. Their masses are the sprung mass, its inertias, and the unsprung masses; the forces are the
balance's own residual, with dampers and tyre damping on top. Sideslip, steer and the wheels' slip stay
those of the trim; `ride_motion` moves them too.
"""

from __future__ import annotations

from math import cos

from setupopt.physics.balance import TRIAL, WORK, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED
from setupopt.physics.contacts import put_road
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

# Step of the differences that give the road's stiffness, m.
_PROBE = 1e-6


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
    return damping.tyre[w] * cos(state.tilt[w]) ** 2 * (road_speed - rise_speed)


@kernel
def road_stiffness(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record, heights: Floats, out: Floats,
) -> None:  # fmt: skip
    """Forces per metre of each of the road's heights at trim `x`, into `out` (7, columns), by differences.

    `heights` (columns) is scratch.
    """
    for c in range(heights.size):
        heights[c] = 0.0
    weight = car.mass * GRAVITY
    for c in range(heights.size):
        for probe in (_PROBE, -_PROBE):
            heights[c] = probe
            put_road(car, elements, heights, heights, 0.0, state, road)
            balance(car, elements, setup, case, state, road, x, work)
            for j in range(RIDE_STATES):
                out[j, c] += weight * work.residual[j] / (2.0 * probe)
        heights[c] = 0.0
    put_road(car, elements, heights, heights, 0.0, state, road)


@kernel
def damping_matrices(
    car: Record,
    state: Record,
    damping: Record,
    work: Record,
    matrix: Floats,
    road: Floats,
) -> None:
    """Linear damping: `matrix` (7, 7) on the speeds, `road` (7, columns) on the road's, N s/m.

    A damper counts with the mean of its two rates; a tyre in the air has none.
    """
    clear(matrix)
    clear(road)
    for w in range(4):
        rate = 0.5 * (damping.bump[w] + damping.rebound[w])
        # travel speed = arms . v, and the force does work along the same arms
        arms = (-1.0, car.x[w], -car.y[w], 1.0)
        index = (0, 1, 2, 3 + w)
        for i in range(4):
            for j in range(4):
                matrix[index[i], index[j]] += rate * arms[i] * arms[j]
        if work.wheels.load[w] > 0.0:
            tyre = damping.tyre[w] * cos(state.tilt[w]) ** 2
            matrix[3 + w, 3 + w] += tyre
            road[3 + w, w] += tyre


@kernel
def own_matrices(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, state: Record,
    road: Records, x: Floats, work: Record, stiffness: Floats, damp: Floats, road_damp: Floats,
) -> None:  # fmt: skip
    """The part of `linear_matrices` that a smooth road leaves."""
    balance(car, elements, setup, case, state, road, x, work)
    weight = car.mass * GRAVITY
    for i in range(RIDE_STATES):
        for j in range(RIDE_STATES):
            stiffness[i, j] = -weight * work.jacobian[i, j]
    damping_matrices(car, state, damping, work, damp, road_damp)


@shared_kernel(*TRIAL[:4], DAMPING, *TRIAL[4:], WORK, *4 * ([["f8"]],))
def linear_matrices(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, state: Record,
    road: Records, x: Floats, work: Record, stiffness: Floats, by_road: Floats, damp: Floats,
    road_damp: Floats,
) -> None:  # fmt: skip
    """M q'' + damp q' + stiffness q = by_road e + road_damp e' about trim `x`; M is `damping.mass`.

    Stiffness is minus the derivative of the balance, all of it: tyres, springs, air and gravity.
    """
    clear(by_road)
    road_stiffness(
        car, elements, setup, case, state, road, x, work, road_damp[0], by_road
    )
    own_matrices(
        car, elements, setup, case, damping, state, road, x, work, stiffness, damp, road_damp
    )  # fmt: skip


@shared_kernel(
    VEHICLE, [ELEMENT], SETTING, [CASE], [ANSWER], DAMPING, CASE_STATE, [ROADBED], WORK, ["f8"], [["f8"]],
    *2 * ([[["f8"]]],), first=True,
)  # fmt: skip
def fill_matrices(
    car: Record, elements: Records, setup: Record, cases: Records, answers: Records, damping: Record,
    state: Record, road: Records, work: Record, x: Floats, road_damp: Floats, stiffness: Floats,
    damp: Floats,
) -> None:  # fmt: skip
    """Stiffness and damping (cases, 7, 7) about the trims of one setup's steady answers at full friction.

    `state`, `road`, `work`, `x` (COLUMNS) and `road_damp` (7, 4) are scratch.
    """
    for i in range(cases.size):
        begin(car, cases[i], answers[i], state, x)
        forget(work.wheels)
        own_matrices(
            car, elements, setup, cases[i], damping, state, road, x, work, stiffness[i], damp[i], road_damp
        )  # fmt: skip
