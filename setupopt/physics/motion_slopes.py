"""Slopes of the rates of a motion, by differences."""

from __future__ import annotations

import numpy as np

from setupopt.physics.contacts import columns
from setupopt.physics.inputs import (
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel
from setupopt.physics.linear import clear
from setupopt.physics.ride_motion import MOTION, motion_rates

# Steps of the differences that give linear matrices.
_PROBE = 1e-6


@kernel
def motion_slopes(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, m: Floats, work: Record, x: Floats, out: Floats,
) -> None:  # fmt: skip
    """Slopes of the rates at `m` on a smooth road, into `out` (MOTION, MOTION + 1 + columns + 4).

    Its columns: by the motion; by the steer angle, per rad; by the road's heights (physics/contacts.py), per
    m; by the speeds at which the road rises under the wheels, per m/s. By central differences: where a damper
    has two rates, or a wheel just lifts, the mean of both sides.
    """
    wide = columns(elements)
    steer = hold.steer
    given = np.zeros(out.shape[1])
    rate = np.zeros(MOTION)
    clear(out)
    for j in range(MOTION):
        given[j] = m[j]
    given[MOTION] = steer
    moved = np.zeros(MOTION)
    road = np.zeros(wide)
    speed = np.zeros(4)
    for j in range(given.size):
        for probe in (_PROBE, -_PROBE):
            for i in range(given.size):
                value = given[i] + (probe if i == j else 0.0)
                if i < MOTION:
                    moved[i] = value
                elif i == MOTION:
                    hold.steer = value
                elif i <= MOTION + wide:
                    road[i - MOTION - 1] = value
                else:
                    speed[i - MOTION - 1 - wide] = value
            motion_rates(
                car,
                elements,
                setup,
                case,
                damping,
                hold,
                part,
                state,
                bed,
                road,
                speed,
                moved,
                work,
                x,
                rate,
            )
            for i in range(MOTION):
                out[i, j] += 0.5 * rate[i] / probe
    hold.steer = steer
