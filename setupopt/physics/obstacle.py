"""One obstacle: the least margin while crossing it, and the highest one that leaves the margin a floor.

The obstacle rises and falls as (H/2)(1 - cos(2 pi s / length)); the tread averages it over its patch. Left,
right or both tracks cross it, the rear wheels later by wheelbase over speed.
"""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np

from setupopt.physics.balance import COLUMNS, balance
from setupopt.physics.contacts import columns, find_contacts
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.linear import copy
from setupopt.physics.ride_time import begin, has_left, look_around, step

# Time the car is followed after its rear wheels have left, s, and the steps between two looks.
_AFTER = 0.25
_EVERY = 2
# What the search for a height leaves open, as a share and in m, and the crossings it takes at most.
_EXACT = 3e-3
_FINE = 1e-6
_TRIALS = 30
# A margin further below the floor says nothing of the slope: a wheel has let go.
_SLOPE_OF = 1.0
# Steps in time: so many over an obstacle, none longer or shorter than these, s.
_OVER = 20.0
_LONGEST = 5e-4
_SHORTEST = 2.5e-4
# Margin of a car that is thrown off the surface.
THROWN = -99.0


@kernel
def _area(s: float, height: float, length: float) -> float:
    """Area under the obstacle up to s, m2."""
    inside = min(max(s, 0.0), length)
    turn = 2.0 * pi / length
    return 0.5 * height * (inside - sin(turn * inside) / turn)


@kernel
def time_step(speed: float, length: float) -> float:
    """Step in time for an obstacle, s: fine enough for its shape, and stable for wheels and dampers."""
    return min(max(length / (speed * _OVER), _SHORTEST), _LONGEST)


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
def _road_at(
    front: float, height: float, length: float, left: float, right: float, behind: Floats, mean: Floats,
    out: Floats,
) -> None:  # fmt: skip
    """Road (columns) when the front axle stands at `front`, m, past the start of the obstacle.

    Even columns lie on the left, odd ones on the right. `behind`, `mean`: as `find_contacts` tells.
    """
    for c in range(out.size):
        share = left if c % 2 == 0 else right
        out[c] = share * obstacle_height(front - behind[c], height, length, mean[c])


@kernel
def look(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, state: Record,
    bed: Records, x: Floats, work: Record, answer: Record, seen: Floats,
) -> float:  # fmt: skip
    """Margin at this instant; `seen` (4): it, the least wheel load, spare clearance, travel left."""
    balance(car, elements, setup, case, state, bed, x, work)
    margin = look_around(car, points, setup, case, state, x, work, answer)
    load = np.inf
    travel = np.inf
    for w in range(4):
        load = min(load, answer.load[w])
        travel = min(travel, car.bump_travel[w] - answer.travel[w], car.droop_travel[w] + answer.travel[w])
    seen[0] = margin
    seen[1] = load
    seen[2] = answer.spare_clearance
    seen[3] = travel
    return margin


@kernel
def crossing_margin(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, damping: Record,
    base: Record, state: Record, bed: Records, height: float, length: float, left: float, right: float,
    dt: float, floor: float, work: Record, scratch: Floats, answer: Record, trace: Floats,
) -> float:  # fmt: skip
    """Least margin at any instant while crossing; stops early under `floor`.

    `left`, `right`: share of the height under each track. `trace` (looks, 5) takes time and what `look`
    sees. A car thrown off the surface has `THROWN`.
    """
    x = np.zeros(COLUMNS)
    v = np.zeros(COLUMNS)
    begin(car, case, base, state, x)
    balance(car, elements, setup, case, state, bed, x, work)
    seen = np.zeros(4)
    wide = columns(elements)
    behind = np.zeros(wide)
    mean = np.zeros(wide)
    before = np.zeros(wide)
    after = np.zeros(wide)
    find_contacts(car, elements, state, work, behind, mean)
    ahead = -np.inf
    way = -np.inf
    for c in range(wide):
        ahead = max(ahead, 0.5 * mean[c] - behind[c])
        way = max(way, 0.5 * mean[c] + behind[c] + length)
    steps = int(((ahead + way) / case.speed + _AFTER) / dt) + 1
    least = 1.0
    for i in range(steps):
        front = case.speed * (i + 1) * dt - ahead
        _road_at(front, height, length, left, right, behind, mean, after)
        step(car, elements, setup, case, damping, state, bed, before, after, dt, x, v, work, scratch)
        copy(after, before)
        if i % _EVERY == 0:
            margin = look(car, elements, points, setup, case, state, bed, x, work, answer, seen)
            least = min(least, THROWN if has_left(x, base, after) else margin)
            if i // _EVERY < trace.shape[0]:
                trace[i // _EVERY, 0] = (i + 1) * dt
                trace[i // _EVERY, 1:] = seen
            if least < floor or least <= THROWN:
                break
    return least


@kernel
def allowed_height(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, damping: Record,
    base: Record, state: Record, bed: Records, rest: float, length: float, left: float, right: float,
    floor: float, most: float, work: Record, scratch: Floats, answer: Record,
) -> float:  # fmt: skip
    """Highest obstacle, m, whose crossing keeps the margin at `floor` or above; `most` where that does.

    `rest`: margin without obstacle. Between one that was ridden over and one that was not, by the line
    through both margins, the end that stays twice counting half (the Illinois rule: M. Dowell and P.
    Jarratt, BIT 11 (1971) 168-174); the lower end is returned.
    """
    none = np.empty((0, 5))
    low = 0.0
    high = most
    dt = time_step(case.speed, length)
    over = rest - floor
    under = crossing_margin(
        car, elements, points, setup, case, damping, base, state, bed, most, length, left, right, dt, floor,
        work, scratch, answer, none,
    ) - floor  # fmt: skip
    if over < 0.0 or under >= 0.0:
        return 0.0 if over < 0.0 else most
    side = 0
    tried = 0.5 * most
    for _ in range(_TRIALS):
        if high - low <= _EXACT * high + _FINE:
            break
        found = crossing_margin(
            car, elements, points, setup, case, damping, base, state, bed, tried, length, left, right, dt,
            -np.inf, work, scratch, answer, none,
        ) - floor  # fmt: skip
        if found >= 0.0:
            low = tried
            over = found
            under *= 0.5 if side > 0 else 1.0
            side = 1
        else:
            high = tried
            under = max(found, -_SLOPE_OF)
            over *= 0.5 if side < 0 else 1.0
            side = -1
        share = over / (over - under)
        tried = low + min(max(share, 0.02), 0.98) * (high - low)
    return low


@kernel
def least_allowed(
    cars: Records, elements: Records, points: Records, setups: Records, cases: Records,
    dampings: Records, bases: Records, rest: float, lengths: Floats, tracks: Floats, floor: float,
    most: float, states: Records, bed: Records, works: Records, scratch: Floats, answers: Records,
) -> tuple[float, int, int]:  # fmt: skip
    """The least `allowed_height` over lengths and tracks (tracks, 2: shares left, right), and which.

    Each is first tried at the least so far: most are ridden over at once and need no closer look.
    Indices are -1 where all of them allow `most`.
    """
    best = most
    at = -1
    track = -1
    for j in range(lengths.size):
        for k in range(tracks.shape[0]):
            height = allowed_height(
                cars[0], elements, points, setups[0], cases[0], dampings[0], bases[0], states[0], bed, rest,
                lengths[j], tracks[k, 0], tracks[k, 1], floor, best, works[0], scratch, answers[0],
            )  # fmt: skip
            if height < best:
                best = height
                at = j
                track = k
    return best, at, track
