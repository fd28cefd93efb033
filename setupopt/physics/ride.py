"""The car in motion about a trim: equations of motion in time, and their linear matrices.

Seven degrees of freedom, the unknowns of the balance: heave, pitch, body roll, rise of the wheel
centres. Their masses are the sprung mass, its inertias, and the unsprung masses; the forces are the
balance's own residual, with dampers and tyre damping on top. Lateral and longitudinal demands stay
those of the case.
"""

from __future__ import annotations

import numpy as np

from setupopt.physics.balance import balance
from setupopt.physics.contacts import columns, put_road
from setupopt.physics.inputs import Floats, Record, Records, layout
from setupopt.physics.jit import kernel

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
def travel_speed(car: Record, v: Floats, w: int) -> float:
    """Speed of bump travel of a wheel, m/s, from the seven speeds."""
    return v[3 + w] - (v[0] - car.x[w] * v[1] + car.y[w] * v[2])


@kernel
def tyre_damping(place: Record, damping: Record, w: int, rise_speed: float, road_speed: float) -> float:
    """Damping force of a tyre along the car's z, N, up on the wheel, as if it never let go."""
    return damping.tyre[w] * place.cos_tilt[w] * place.cos_tilt[w] * (road_speed - rise_speed)


@kernel
def add_damping(
    car: Record, place: Record, damping: Record, v: Floats, road_speed: Floats, work: Record
) -> None:
    """Add dampers and tyre damping to the forces in `work.residual`.

    A tyre's load, spring and damping together, never pulls; without penetration it is nothing.
    """
    for w in range(4):
        force = damper_force(travel_speed(car, v, w), damping.bump[w], damping.rebound[w])
        work.residual[0] += force
        work.residual[1] -= car.x[w] * force
        work.residual[2] += car.y[w] * force
        work.residual[3 + w] -= force
        if work.load[w] > 0.0:
            extra = tyre_damping(place, damping, w, v[3 + w], road_speed[w])
            work.residual[3 + w] += max(extra, -work.load[w])


@kernel
def accelerations(
    car: Record, elements: Records, setup: Record, damping: Record, place: Record, flow: Records,
    x: Floats, v: Floats, road_speed: Floats, work: Record, out: Floats,
) -> None:  # fmt: skip
    """Accelerations of the seven degrees of freedom at trim `x` and speeds `v`, into `out`."""
    balance(car, elements, setup, place, flow, x, work)
    add_damping(car, place, damping, v, road_speed, work)
    for j in range(7):
        out[j] = work.residual[j] / damping.mass[j]


@kernel
def road_stiffness(
    car: Record, elements: Records, setup: Record, place: Record, flow: Records, x: Floats, work: Record,
    out: Floats,
) -> None:  # fmt: skip
    """Forces per metre of each of the road's heights at trim `x`, into `out` (7, columns), by differences."""
    road = np.zeros(columns(elements))
    for c in range(road.size):
        for probe in (_PROBE, -_PROBE):
            road[c] = probe
            put_road(car, elements, road, road, 0.0, place, flow)
            balance(car, elements, setup, place, flow, x, work)
            for j in range(7):
                out[j, c] += work.residual[j] / (2.0 * probe)
        road[c] = 0.0
    put_road(car, elements, road, road, 0.0, place, flow)


@kernel
def damping_matrices(
    car: Record, place: Record, damping: Record, work: Record, matrix: Floats, road: Floats
) -> None:
    """Linear damping: `matrix` (7, 7) on the speeds, `road` (7, columns) on the road's, N s/m.

    A damper counts with the mean of its two rates; a tyre in the air has none.
    """
    matrix[:, :] = 0.0
    road[:, :] = 0.0
    for w in range(4):
        rate = 0.5 * (damping.bump[w] + damping.rebound[w])
        # travel speed = arms . v, and the force does work along the same arms
        arms = (-1.0, car.x[w], -car.y[w], 1.0)
        places = (0, 1, 2, 3 + w)
        for i in range(4):
            for j in range(4):
                matrix[places[i], places[j]] += rate * arms[i] * arms[j]
        if work.load[w] > 0.0:
            tyre = damping.tyre[w] * place.cos_tilt[w] * place.cos_tilt[w]
            matrix[3 + w, 3 + w] += tyre
            road[3 + w, w] += tyre


@kernel
def linear_matrices(
    car: Record, elements: Records, setup: Record, damping: Record, place: Record, flow: Records,
    x: Floats, work: Record, stiffness: Floats, road: Floats, damp: Floats, road_damp: Floats,
) -> None:  # fmt: skip
    """M q'' + damp q' + stiffness q = road e + road_damp e' about trim `x`; M is `damping.mass`.

    Stiffness is minus the derivative of the balance, all of it: tyres, springs, air and gravity.
    """
    road[:, :] = 0.0
    road_stiffness(car, elements, setup, place, flow, x, work, road)
    balance(car, elements, setup, place, flow, x, work)
    for i in range(7):
        for j in range(7):
            stiffness[i, j] = -work.jacobian[i, j]
    damping_matrices(car, place, damping, work, damp, road_damp)
