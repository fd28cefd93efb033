"""Steps in time of a motion: over a road that goes up and down, and on one that has ended."""

from __future__ import annotations

from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.ride_motion import MOTION, motion_rates


@kernel
def step(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, road: Floats, at: int, dt: float, m: Floats, work: Record, x: Floats,
    k: Floats,
) -> None:  # fmt: skip
    """The rest of a step from road sample `at`; `k[0]` (scratch 6, MOTION or columns) has the rates there.

    Kutta's of third order.
    """
    speed = k[4]
    mid = k[3]
    for w in range(4):
        speed[w] = (road[at + 2, w] - road[at, w]) / dt
    for j in range(MOTION):
        mid[j] = m[j] + 0.5 * dt * k[0, j]
    motion_rates(
        car, elements, setup, case, damping, hold, part, state, bed, road[at + 1], speed, mid, work, x, k[1]
    )  # fmt: skip
    for j in range(MOTION):
        mid[j] = m[j] + dt * (2.0 * k[1, j] - k[0, j])
    for w in range(4):
        speed[w] = 2.0 * (road[at + 2, w] - road[at + 1, w]) / dt
    motion_rates(
        car, elements, setup, case, damping, hold, part, state, bed, road[at + 2], speed, mid, work, x, k[2]
    )  # fmt: skip
    for j in range(MOTION):
        m[j] += dt / 6.0 * (k[0, j] + 4.0 * k[1, j] + k[2, j])


@kernel
def rest_step(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, road: Floats, dt: float, rest: Floats, m: Floats, work: Record, x: Floats,
    k: Floats,
) -> None:  # fmt: skip
    """A step on a road that stays as it is; `k[0]` has the rates, `k[4]` zeros: the road does not rise.

    `rest` is the inverse of 1 - dt J, J: the slopes of the rates at the trim. The Rosenbrock method ROS2 of
    Verwer, Spee, Blom and Hundsdorfer, SIAM J. Sci. Comput. 20 (1999) 1456-1480, with gamma 1 (quoted from
    memory): of second order whatever J is, and stable for what is quicker than the step where J is about
    right.
    """
    for i in range(MOTION):
        first = 0.0
        for j in range(MOTION):
            first += rest[i, j] * k[0, j]
        k[1, i] = first
        k[3, i] = m[i] + dt * first
    motion_rates(
        car, elements, setup, case, damping, hold, part, state, bed, road, k[4], k[3], work, x, k[2]
    )  # fmt: skip
    for i in range(MOTION):
        second = 0.0
        for j in range(MOTION):
            second += rest[i, j] * (k[2, j] - 2.0 * k[1, j])
        m[i] += dt * (1.5 * k[1, i] + 0.5 * second)
