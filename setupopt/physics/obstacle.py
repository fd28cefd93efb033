"""One obstacle: the least margin while crossing it, and the highest one that leaves the margin a floor.

The obstacle rises and falls as (H/2)(1 - cos(2 pi s / length)); the tread averages it over its patch. Left,
right or both tracks cross it, the rear wheels later by wheelbase over speed.
"""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import numpy as np

from setupopt.physics.answer import axle_use, grip
from setupopt.physics.balance import balance
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.place import prepare
from setupopt.physics.ride_time import step

# Time the car is followed after its rear wheels have left, s, and the steps between two looks.
_AFTER = 0.15
_EVERY = 2
# Halvings of the height: 0.2 m to 0.05 mm.
_HALVINGS = 12


@kernel
def _area(s: float, height: float, length: float) -> float:
    """Area under the obstacle up to s, m2."""
    inside = min(max(s, 0.0), length)
    turn = 2.0 * pi / length
    return 0.5 * height * (inside - sin(turn * inside) / turn)


@kernel
def obstacle_height(s: float, height: float, length: float, patch: float) -> float:
    """Height of the obstacle that starts at s = 0, averaged over a patch centred at s, m.

    >>> round(obstacle_height(0.5, 0.02, 1.0, 0.0), 12)
    0.02
    """
    if patch <= 0.0:
        return 0.5 * height * (1.0 - cos(2.0 * pi * s / length)) if 0.0 < s < length else 0.0
    return (_area(s + 0.5 * patch, height, length) - _area(s - 0.5 * patch, height, length)) / patch


@kernel
def patch_length(place: Record, work: Record, w: int) -> float:
    """Length of a wheel's patch under its crown, m; 0 where the crown is off the surface."""
    return 2.0 * sqrt(2.0 * max(work.depth[w], 0.0) / place.curve_along[w])


@kernel
def _margin(car: Record, setup: Record, case: Record, place: Record, work: Record, answer: Record) -> float:
    """Grip margin of the forces in `work`."""
    for w in range(4):
        answer.grip[w] = grip(car, setup, case.surface_grip, place, w, work)
    return 1.0 - max(axle_use(car, place, 0, answer, work), axle_use(car, place, 1, answer, work))


@kernel
def _road_at(
    car: Record, speed: float, time: float, height: float, length: float, left: float, right: float,
    patches: Floats, out: Floats,
) -> None:  # fmt: skip
    """Road under the four wheels at a time; the front wheels' patches meet the obstacle at time 0."""
    for w in range(4):
        start = 0.5 * patches[w] if w < 2 else 0.5 * patches[w] + car.wheelbase
        share = left if car.side[w] > 0.0 else right
        out[w] = share * obstacle_height(speed * time - start, height, length, patches[w])


@kernel
def crossing_margin(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, place: Record,
    flow: Records, trim: Floats, height: float, length: float, left: float, right: float, dt: float,
    floor: float, work: Record, scratch: Floats, answer: Record, trace: Floats,
) -> float:  # fmt: skip
    """Least margin while crossing; stops early under `floor`. `trace` (looks, 2) takes time and margin.

    `left`, `right`: share of the height under each track. A car thrown off the surface has -99.
    """
    prepare(car, elements, setup, case, place, flow)
    balance(car, elements, setup, place, flow, trim, work)
    rise, x, v, patches = place.rise.copy(), trim.copy(), np.zeros(7), np.zeros(4)
    for w in range(4):
        patches[w] = patch_length(place, work, w)
    before, after = np.zeros(4), np.zeros(4)
    way = length + car.wheelbase + np.max(patches)
    steps = int((way / case.speed + _AFTER) / dt) + 1
    least = 1.0
    for i in range(steps):
        _road_at(car, case.speed, (i + 1) * dt, height, length, left, right, patches, after)
        step(car, elements, setup, damping, place, flow, rise, before, after, dt, x, v, work, scratch)
        before[:] = after
        if i % _EVERY == 0:
            for w in range(4):
                place.rise[w] = rise[w] + after[w]
            balance(car, elements, setup, place, flow, x, work)
            margin = _margin(car, setup, case, place, work, answer)
            margin = margin if abs(x[0] - trim[0]) < 0.5 else -99.0
            least = min(least, margin)
            if i // _EVERY < trace.shape[0]:
                trace[i // _EVERY, 0], trace[i // _EVERY, 1] = (i + 1) * dt, margin
            if least < floor or least <= -99.0:
                break
    place.rise[:] = rise
    return least


@kernel
def allowed_height(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, place: Record,
    flow: Records, trim: Floats, length: float, left: float, right: float, dt: float, floor: float,
    most: float, work: Record, scratch: Floats, answer: Record,
) -> float:  # fmt: skip
    """Highest obstacle, m, whose crossing keeps the margin at `floor` or above; `most` where that does.

    Between one that was ridden over and one that was not, halved; the lower end is told.
    """
    none, low, high, tried = np.empty((0, 2)), 0.0, most, most
    for i in range(_HALVINGS):
        margin = crossing_margin(
            car, elements, setup, case, damping, place, flow, trim, tried, length, left, right, dt, floor,
            work, scratch, answer, none,
        )  # fmt: skip
        if margin >= floor:
            if i == 0:
                return most
            low = tried
        else:
            high = tried
        tried = 0.5 * (low + high)
    return low


@kernel
def least_allowed(
    cars: Records, elements: Records, setups: Records, cases: Records, dampings: Records, trim: Floats,
    lengths: Floats, tracks: Floats, dt: float, floor: float, most: float, places: Records, flow: Records,
    works: Records, scratch: Floats, answers: Records,
) -> tuple[float, int, int]:  # fmt: skip
    """The least `allowed_height` over lengths and tracks (tracks, 2: shares left, right), and which.

    Each is first tried at the least so far: most are ridden over at once and need no closer look.
    Indices are -1 where all of them allow `most`.
    """
    best, at, track = most, -1, -1
    for j in range(lengths.size):
        for k in range(tracks.shape[0]):
            height = allowed_height(
                cars[0], elements, setups[0], cases[0], dampings[0], places[0], flow, trim, lengths[j],
                tracks[k, 0], tracks[k, 1], dt, floor, best, works[0], scratch, answers[0],
            )  # fmt: skip
            if height < best:
                best, at, track = height, j, k
    return best, at, track
