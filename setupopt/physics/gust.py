"""One gust in time: the discrete gust of airworthiness standards, and the least margin while it passes.

U(s) = (Uds / 2) (1 - cos(pi s / H)) for 0 <= s <= 2 H, with the gradient distance H from 30 to 350 ft, that
is 9.14 to 106.7 m (14 CFR 25.341(a)(2); quoted from memory). Here `peak` is Uds and `length` 2 H.

The gust is frozen in the air, met at the car's own speed over the ground, and the same over the whole car.
It takes length over speed to pass, as if it stood still: a gust that the air carries along or against the car
is one of another length. The driver holds the speed, so that drive or brake follow the drag.
"""

from __future__ import annotations

from math import cos, hypot, pi, sin

import numpy as np

from setupopt.physics import air
from setupopt.physics.balance import COLUMNS
from setupopt.physics.case_state import set_wind
from setupopt.physics.contacts import columns
from setupopt.physics.inputs import SIDESLIP, Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.obstacle import THROWN, look
from setupopt.physics.ride_time import begin, has_left, step

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
def _blow(car: Record, case: Record, wind: float, direction: float, state: Record) -> None:
    """A wind on top of the case's own, m/s, from `direction`."""
    headwind = case.headwind + wind * cos(direction)
    crosswind = case.crosswind + wind * sin(direction)
    set_wind(car, case, headwind, crosswind, state)


@kernel
def _pushed(car: Record, rest: Floats, work: Record, state: Record, demand: Floats) -> None:
    """What the axles must pass with the gust's push on top of the trim's; the driver holds speed and path.

    `rest`: side force, yaw moment and force along that the trim's wind asks of the tyres; `demand` (2): the
    axles'.
    """
    side = air.side_force(car, state) - rest[0]
    along = state.drag - rest[1]
    for axle in range(2):
        arm = car.to_rear + car.side_x if axle == 0 else car.to_front - car.side_x
        share = car.drive[axle] if work.demand[axle] > 0.0 else car.brake[axle]
        grown = hypot(side * arm / car.wheelbase, along * share)
        state.demand[axle] = demand[axle] + grown


@kernel
def gust_margin(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, damping: Record,
    base: Record, state: Record, bed: Records, peak: float, length: float, direction: float, dt: float,
    floor: float, work: Record, scratch: Floats, answer: Record, trace: Floats,
) -> float:  # fmt: skip
    """Least margin at any instant while a gust passes, and for 0.3 s after; stops early under `floor`.

    `direction`, rad: where it comes from, 0 from ahead, 90 deg from the left. Over a step of `dt` the wind is
    that of its middle. The push of the gust is added to what the axles pass already, whichever way it acts.
    `trace` (looks, 5) takes time and what `look` sees. A car thrown off the surface has `THROWN`.
    """
    x = np.zeros(COLUMNS)
    v = np.zeros(COLUMNS)
    begin(car, case, base, state, x)
    seen = np.zeros(4)
    smooth = np.zeros(columns(elements))
    least = look(car, elements, points, setup, case, state, bed, x, work, answer, seen)
    demand = state.demand.copy()
    rest = np.array([air.side_force(car, state), state.drag])
    for i in range(int((length / case.speed + _AFTER) / dt) + 1):
        wind = gust_speed(case.speed * (i + 0.5) * dt, peak, length)
        _blow(car, case, wind, direction, state)
        step(car, elements, setup, case, damping, state, bed, smooth, smooth, dt, x, v, work, scratch)
        if (i + 1) % _EVERY > 0:
            continue
        wind = gust_speed(case.speed * (i + 1) * dt, peak, length)
        _blow(car, case, wind, direction, state)
        state.flow = state.air_angle + case.crab * x[SIDESLIP]
        _pushed(car, rest, work, state, demand)
        margin = look(car, elements, points, setup, case, state, bed, x, work, answer, seen)
        least = min(least, THROWN if has_left(x, base, smooth) else margin)
        if i // _EVERY < trace.shape[0]:
            trace[i // _EVERY, 0] = (i + 1) * dt
            trace[i // _EVERY, 1:] = seen
        if least < floor or least <= THROWN:
            break
    return least
