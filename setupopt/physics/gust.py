"""One gust in time: the discrete gust of airworthiness standards, and the least margin while it passes.

U(s) = (Uds / 2) (1 - cos(pi s / H)) for 0 <= s <= 2 H, with the gradient distance H from 30 to 350 ft, that
is 9.14 to 106.7 m (14 CFR 25.341(a)(2); quoted from memory). Here `peak` is Uds and `length` 2 H.

The gust is frozen in the air, met at the car's own speed over the ground, and the same over the whole car.
It takes length over speed to pass, as if it stood still: a gust that the air carries along or against the car
is one of another length. The driver holds the speed, so that drive or brake follow the drag.
"""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np

from setupopt.physics.contacts import columns
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.obstacle import THROWN, look
from setupopt.physics.place import prepare, set_demand, set_wind
from setupopt.physics.ride_time import has_left, step

# Time the car is followed after the gust has passed, s, a swing or two of the body; steps between two looks.
_AFTER = 0.3
_EVERY = 2


@kernel
def gust_speed(s: float, peak: float, length: float) -> float:
    """Speed of the wind at s m into a gust of `length` m, m/s.

    >>> round(gust_speed(25.0, 12.0, 50.0), 12)
    12.0
    """
    return 0.5 * peak * (1.0 - cos(2.0 * pi * s / length)) if 0.0 < s < length else 0.0


@kernel
def _blow(
    car: Record, elements: Records, case: Record, wind: float, direction: float, place: Record, flow: Records
) -> None:
    """A wind on top of the case's own, m/s, from `direction`; the tyres hold speed and path against it."""
    headwind = case.headwind + wind * cos(direction)
    crosswind = case.crosswind + wind * sin(direction)
    set_wind(car, elements, case, headwind, crosswind, place, flow)
    set_demand(car, place)


@kernel
def gust_margin(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, damping: Record,
    place: Record, flow: Records, trim: Floats, peak: float, length: float, direction: float, dt: float,
    floor: float, work: Record, scratch: Floats, answer: Record, trace: Floats,
) -> float:  # fmt: skip
    """Least margin while a gust passes, and for 0.3 s after; stops early under `floor`.

    `direction`, rad: where it comes from, 0 from ahead, 90 deg from the left. Over a step of `dt` the wind
    is that of its middle. `trace` (looks, 5) takes time and what `look` sees. A car thrown off the surface
    has `THROWN`.
    """
    prepare(car, elements, setup, case, place, flow)
    x, v, seen, smooth = trim.copy(), np.zeros(7), np.zeros(4), np.zeros(columns(elements))
    least = look(car, elements, points, setup, case, place, flow, x, work, answer, seen)
    for i in range(int((length / case.speed + _AFTER) / dt) + 1):
        wind = gust_speed(case.speed * (i + 0.5) * dt, peak, length)
        _blow(car, elements, case, wind, direction, place, flow)
        step(car, elements, setup, damping, place, flow, smooth, smooth, dt, x, v, work, scratch)
        if (i + 1) % _EVERY > 0:
            continue
        wind = gust_speed(case.speed * (i + 1) * dt, peak, length)
        _blow(car, elements, case, wind, direction, place, flow)
        margin = look(car, elements, points, setup, case, place, flow, x, work, answer, seen)
        least = min(least, THROWN if has_left(x, trim, smooth) else margin)
        if i // _EVERY < trace.shape[0]:
            trace[i // _EVERY, 0], trace[i // _EVERY, 1:] = (i + 1) * dt, seen
        if least < floor or least <= THROWN:
            break
    return least
