"""What a car over a road is asked for, and how it changes with its state and with the road under it.

Outputs, in this order: use of grip front and rear; load FL, FR, RL, RR; gap at the front and rear ride
station; travel FL, FR, RL, RR; grip capacity of the front and rear axle. They are what `ride_time` reads off
a car in motion: forces of tyres and springs without damping, so that speeds have no part in them.
"""

from __future__ import annotations

import numpy as np

from setupopt.physics.balance import COLUMNS, balance
from setupopt.physics.contacts import columns, put_road
from setupopt.physics.inputs import RIDE_STATES, Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.linear import clear
from setupopt.physics.ride_time import begin, look_around
from setupopt.physics.wheel import forget

OUTPUTS = 14
LOADS = slice(2, 6)
_PROBE = 1e-6  # m and rad, of the differences


@kernel
def outputs(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, state: Record,
    bed: Records, x: Floats, work: Record, answer: Record, out: Floats,
) -> None:  # fmt: skip
    """Outputs at state `x` on the road that lies in `state` and `bed`, into `out` (OUTPUTS)."""
    balance(car, elements, setup, case, state, bed, x, work)
    look_around(car, points, setup, case, state, x, work, answer)
    for axle in range(2):
        out[axle] = answer.use[axle]
        out[6 + axle] = answer.ride_gap[axle]
        out[12 + axle] = answer.grip[2 * axle] + answer.grip[2 * axle + 1]
    for w in range(4):
        out[2 + w] = answer.load[w]
        out[8 + w] = answer.travel[w]


@kernel
def output_slopes(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, base: Record, state: Record,
    bed: Records, work: Record, answer: Record, out: Floats, by_state: Floats, by_road: Floats,
) -> None:  # fmt: skip
    """Outputs at the trim of `base`, into `out`, and their slopes there by central differences.

    `by_state` (OUTPUTS, 7), per m and rad; `by_road` (OUTPUTS, columns; physics/contacts.py), per m. At a
    bend the slope is the mean of both sides.
    """
    x = np.zeros(COLUMNS)
    on = (car, elements, points, setup, case, state, bed, x, work, answer, out)
    begin(car, case, base, state, x)
    forget(work.wheels)
    road = np.zeros(columns(elements))
    clear(by_state)
    clear(by_road)
    for probe in (_PROBE, -_PROBE):
        for j in range(RIDE_STATES):
            rest = x[j]
            x[j] = rest + probe
            outputs(*on)
            by_state[:, j] += out / (2.0 * probe)
            x[j] = rest
        for c in range(road.size):
            road[c] = probe
            put_road(car, elements, road, road, 0.0, state, bed)
            outputs(*on)
            by_road[:, c] += out / (2.0 * probe)
            road[c] = 0.0
        put_road(car, elements, road, road, 0.0, state, bed)
    outputs(*on)
