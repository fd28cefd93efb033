"""What a car over a road is asked for, and how it changes with its state and with the road under it.

Outputs, in this order: use of grip front and rear; load FL, FR, RL, RR; gap at the front and rear ride
station; travel FL, FR, RL, RR; grip capacity of the front and rear axle. They are what `ride_time` reads off
a car in motion: forces of tyres and springs without damping, so that speeds have no part in them.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from setupopt.physics.answer import read_off
from setupopt.physics.balance import balance
from setupopt.physics.contacts import columns, put_road
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel

OUTPUTS = 14
_PROBE = 1e-6  # m and rad, of the differences


@kernel
def axle_capacity(place: Record, axle: int, answer: Record, work: Record) -> float:
    """Resultant force of an axle at full use, N, were its lateral and longitudinal force to grow alike."""
    left, right = 2 * axle, 2 * axle + 1
    if answer.use[axle] == 0.0:
        return answer.grip[left] + answer.grip[right]
    return hypot(work.across[left] + work.across[right], place.axle_drive[axle]) / answer.use[axle]


@kernel
def outputs(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, place: Record,
    flow: Records, x: Floats, work: Record, answer: Record, out: Floats,
) -> None:  # fmt: skip
    """Outputs at state `x` on the road that lies in `place` and `flow`, into `out` (OUTPUTS)."""
    balance(car, elements, setup, place, flow, x, work)
    answer.state[:] = x
    read_off(car, points, setup, case, place, 0.0, answer, work)
    for axle in range(2):
        out[axle], out[6 + axle] = answer.use[axle], answer.ride_gap[axle]
        out[12 + axle] = axle_capacity(place, axle, answer, work)
    for w in range(4):
        out[2 + w], out[8 + w] = answer.load[w], answer.travel[w]


@kernel
def output_slopes(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, place: Record,
    flow: Records, trim: Floats, work: Record, answer: Record, out: Floats, by_state: Floats,
    by_road: Floats,
) -> None:  # fmt: skip
    """Outputs at `trim` (7), into `out`, and their slopes there by central differences.

    `by_state` (OUTPUTS, 7), per m and rad; `by_road` (OUTPUTS, columns; physics/contacts.py), per m.
    `place` and `flow` as `prepare` leaves them. At a bend the slope is the mean of both sides: the use
    |T| / C of an axle that has nothing to hold, neither along nor across, has a slope of nothing.
    """
    x, road = trim.copy(), np.zeros(columns(elements))
    by_state[:, :] = 0.0
    by_road[:, :] = 0.0
    for probe in (_PROBE, -_PROBE):
        for j in range(7):
            x[j] = trim[j] + probe
            outputs(car, elements, points, setup, case, place, flow, x, work, answer, out)
            by_state[:, j] += out / (2.0 * probe)
            x[j] = trim[j]
        for c in range(road.size):
            road[c] = probe
            put_road(car, elements, road, road, 0.0, place, flow)
            outputs(car, elements, points, setup, case, place, flow, x, work, answer, out)
            by_road[:, c] += out / (2.0 * probe)
            road[c] = 0.0
        put_road(car, elements, road, road, 0.0, place, flow)
    outputs(car, elements, points, setup, case, place, flow, x, work, answer, out)
