"""A motion in time: a disturbance, a driver who answers late, and what the car does.

The road, the wind and the driver's steering are given; whether the car stands it is read off: how far it
drifts, slips sideways and flies, and whether it comes back.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from setupopt.physics import air
from setupopt.physics.answer import trim_demand
from setupopt.physics.inputs import SIDESLIP, Floats, Record, Records, layout
from setupopt.physics.jit import kernel
from setupopt.physics.ride_motion import (
    HEADING,
    LEFTWARD,
    WAY,
    YAW_RATE,
    motion_rates,
)
from setupopt.physics.ride_steps import rest_step, step
from setupopt.physics.ride_time import count, empty, look_around

# The driver: reaction: s; limit: of the steer angle, rad, and rate: rad/s, infinite where there is none.
# gains: rad of steer against each of heading, way, yaw rate and leftward velocity off the trim.
DRIVER = layout(one="reaction limit rate", more=(("gains", "f8", (4,)),))
# He looks this often in a reaction time.
TICKS = 10

# What a car may do and still stand a disturbance: way off its path, m; sideslip off the trim's, rad; time
# with two more wheels off the surface than in the trim, s; time after which it is back within a tenth, s.
ALLOWED = layout(one="drift sideslip airborne within")
BACK = 0.1
# A car that is back for so long is followed no further, s, if its way leads not out again within so many.
_SETTLED = 0.2
_AHEAD = 0.5
# A step of Kutta's follows rates up to 2.5 over its length.
_QUICKEST = 1.6
# Step in time after the disturbance, s.
REST = 5e-3

# What happens beside road and wind. steer, steer_seconds: an angle too much, and how long; flat: a wheel that
# loses its pressure within flat_seconds, -1 for none: what is left of its foundation and carcass, as shares.
EVENT = layout(one="steer steer_seconds flat flat_seconds foundation carcass")

# Where a ride is. tick, given, queue: of the driver, what he gives and what he has decided; steer: of the
# trim, and rest: heading, way, yaw rate and leftward velocity there; calm: side force and drag at the start.
# spell: how long two wheels have been off; moving: when the way last led out; above: 1 over the floor.
NOW = layout(
    one="time tick given steer spell moving looks above",
    more=(("rest", "f8", (4,)), ("queue", "f8", (TICKS,)), ("calm", "f8", (2,))),
)  # fmt: skip

# What a trace takes at each look.
TRACE = (
    "time",
    "margin",
    "load",
    "clearance",
    "travel",
    "drift",
    "sideslip",
    "steer",
)

# Why a ride is not stood.
STOOD = 0
DRIFTED = 1
SLID_AWAY = 2
FLEW = 3
LEFT = 4
NOT_BACK = 5
_GONE = 0.5  # m that a body rises off its place over the road when it has left for good


@kernel
def _begin(m: Floats, hold: Record, first_steer: float, now: Record) -> None:
    """A ride that has not begun; `first_steer`: what the driver gives at first, off the trim's."""
    now.time = 0.0
    now.spell = 0.0
    now.moving = 0.0
    now.tick = 0.0
    now.looks = 0.0
    now.above = 1.0
    now.steer = hold.steer
    now.given = first_steer
    for i in range(TICKS):
        now.queue[i] = first_steer
    now.rest[0] = 0.0
    now.rest[1] = 0.0
    now.rest[2] = m[YAW_RATE]
    now.rest[3] = m[LEFTWARD]


@kernel
def _steer(driver: Record, m: Floats, now: Record) -> None:
    """Take what the driver decided one reaction time ago, and keep what he decides now, rad off the trim's."""
    place = int(now.tick) % TICKS
    now.given = now.queue[place]
    off = (m[HEADING], m[WAY], m[YAW_RATE], m[LEFTWARD])
    wish = 0.0
    for i in range(4):
        wish -= driver.gains[i] * (off[i] - now.rest[i])
    last = now.queue[(place + TICKS - 1) % TICKS]
    most = driver.rate * driver.reaction / TICKS
    now.queue[place] = min(max(wish, last - most), last + most)
    now.tick += 1.0


@kernel
def _happen(event: Record, setup: Record, sound: Record, time: float) -> float:
    """Let the event go on: a flat tyre in `setup`; returns the steer angle too much, rad."""
    w = int(event.flat)
    if w >= 0:
        done = min(time / event.flat_seconds, 1.0)
        setup.foundation[w] = sound.foundation[w] * (
            1.0 - done * (1.0 - event.foundation)
        )
        setup.carcass[w] = sound.carcass[w] * (
            1.0 - done * (1.0 - event.carcass)
        )
    return event.steer if time < event.steer_seconds else 0.0


@kernel
def _act(
    setup: Record, case: Record, sound: Record, hold: Record, driver: Record, event: Record, wind: Floats,
    sample: int, m: Floats, now: Record,
) -> None:  # fmt: skip
    """Wind, steering and fault of this moment, into `hold` and `setup`."""
    if wind.shape[0] > 0:
        blow = min(sample, wind.shape[0] - 1)
        hold.headwind = case.headwind + wind[blow, 0]
        hold.crosswind = case.crosswind + wind[blow, 1]
    while now.tick * driver.reaction <= now.time * TICKS:
        _steer(driver, m, now)
    more = _happen(event, setup, sound, now.time)
    steer = min(max(now.steer + now.given, -driver.limit), driver.limit)
    hold.steer = steer + more


@kernel
def _push(car: Record, state: Record, now: Record, base: Record) -> None:
    """What the axles must pass at this instant: as in the trim, and the push of a wind that came on top."""
    side = air.side_force(car, state) - now.calm[0]
    along = state.drag - now.calm[1]
    for axle in range(2):
        arm = (
            car.to_rear + car.side_x if axle == 0 else car.to_front - car.side_x
        )
        share = car.drive[axle] if base.drag > 0.0 else car.brake[axle]
        state.demand[axle] = trim_demand(base, axle) + hypot(
            side * arm / car.wheelbase, along * share
        )


@kernel
def _see(
    car: Record, x: Floats, hold: Record, way: float, time: float, answer: Record, row: Floats
) -> None:  # fmt: skip
    """One row of a trace (TRACE)."""
    load = np.inf
    travel = np.inf
    for w in range(4):
        load = min(load, answer.load[w])
        travel = min(
            travel,
            car.bump_travel[w] - answer.travel[w],
            car.droop_travel[w] + answer.travel[w],
        )
    row[0] = time
    row[1] = 1.0 - max(answer.use[0], answer.use[1])
    row[2] = load
    row[3] = answer.spare_clearance
    row[4] = travel
    row[5] = way
    row[6] = x[SIDESLIP] - hold.sideslip
    row[7] = hold.steer


@kernel
def _look(
    car: Record, points: Records, setup: Record, part: Record, state: Record, x: Floats, work: Record,
    hold: Record, way: float, base: Record, floor: float, now: Record, answer: Record, trace: Floats,
    ride: Record,
) -> None:  # fmt: skip
    """Read margin, loads and gaps off this moment, and keep a row of the trace while it has room."""
    _push(car, state, now, base)
    look_around(car, points, setup, part, state, x, work, answer)
    above = count(car, answer, floor, now.above > 0.0, ride)
    now.above = 1.0 if above else 0.0
    row = int(now.looks)
    if row < trace.shape[0]:
        _see(car, x, hold, way, now.time, answer, trace[row])
        now.looks += 1.0


@kernel
def _judge(
    allowed: Record, base: Record, hold: Record, work: Record, way: float, sideslip: float, dt: float,
    now: Record, ride: Record,
) -> None:  # fmt: skip
    """Add one step to what is judged."""
    off = 0
    for w in range(4):
        off += 1 if base.load[w] > 0.0 and work.wheels.load[w] <= 0.0 else 0
    now.spell = now.spell + dt if off >= 2 else 0.0
    ride.seconds = now.time
    ride.drift = max(ride.drift, abs(way))
    ride.sideslip = max(ride.sideslip, abs(sideslip))
    ride.airborne = max(ride.airborne, now.spell)
    if (
        abs(way) > BACK * allowed.drift
        or abs(sideslip) > BACK * allowed.sideslip
    ):
        ride.back = now.time
    if ride.drift > allowed.drift:
        _fail(ride, DRIFTED, now.time)
    elif ride.sideslip > allowed.sideslip:
        _fail(ride, SLID_AWAY, now.time)
    elif ride.airborne > allowed.airborne:
        _fail(ride, FLEW, now.time)


@kernel
def _fail(ride: Record, reason: int, time: float) -> None:
    """Why and when a ride is not stood; the first reason counts."""
    if ride.reason == STOOD:
        ride.reason = reason
        ride.failed = time


@kernel
def _is_settled(
    allowed: Record, way: float, rate: float, end: float, now: Record, ride: Record
) -> bool:  # fmt: skip
    """Whether a car that was disturbed until `end` is back, and its way leads not out again."""
    if abs(way) + _AHEAD * abs(rate) > BACK * allowed.drift:
        now.moving = now.time
    return now.time - max(ride.back, now.moving, end) > _SETTLED


@kernel
def _has_left(base: Record, m: Floats, road: Floats) -> bool:
    """Whether the body has left its place over the road for good."""
    level = 0.25 * (road[0] + road[1] + road[2] + road[3])
    return not abs(m[0] - base.state[0] - level) < _GONE


@kernel
def _rise(road: Floats, at: int, per_s: float, speed: Floats) -> None:
    """How fast the road rises under the wheels from a sample on, m/s; `per_s` samples, 0 where it has ended."""
    for w in range(4):
        speed[w] = 0.0
        if per_s > 0.0:
            speed[w] = per_s * (road[at + 1, w] - road[at, w])


@kernel
def run(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, m: Floats, work: Record, x: Floats, points: Records, base: Record,
    sound: Record, driver: Record, allowed: Record, event: Record, road: Floats, wind: Floats, dt: float,
    rest: Floats, seconds: float, every: int, skip: int, floor: float, first_steer: float, k: Floats,
    answer: Record, trace: Floats, now: Record, ride: Record,
) -> None:  # fmt: skip
    """Run on from motion `m`, as `begin_motion` left it: `ride` (RIDE) and `trace` (looks, TRACE) are filled.

    `road` (samples, columns) stands half a step of `dt` apart. `wind` (samples, 2), along and across, adds to
    the case's, or is empty: in wind the road is smooth, and `dt` is REST. Then both stay as they are for
    `seconds`. A smooth road takes steps of REST, by `rest` (`rest_step`). `every` so many steps after `skip`
    margin and loads are read off; 0: never. A ride that is not stood ends there, unless a trace is wanted.
    `first_steer`: what the driver gives at first, off the trim's. `sound`: the setup again, which a flat tyre
    leaves as it is. `k` (6, MOTION or columns), `now` (NOW) and `answer` are scratch.
    """
    _begin(m, hold, first_steer, now)
    empty(ride)
    disturbed = (road.shape[0] - 1) // 2
    end = disturbed * dt
    for i in range(disturbed + int(seconds / REST)):
        is_over = i >= disturbed
        is_smooth = is_over or wind.shape[0] > 0
        long = REST if is_smooth else dt
        at = road.shape[0] - 1 if is_over else 2 * i
        _act(setup, case, sound, hold, driver, event, wind, 2 * i + 1, m, now)
        hold.quickest = np.inf if is_smooth else _QUICKEST / long
        _rise(road, at, 0.0 if is_smooth else 2.0 / dt, k[4])
        motion_rates(
            car, elements, setup, case, damping, hold, part, state, bed, road[at], k[4], m, work, x, k[0]
        )  # fmt: skip
        if i == 0:
            now.calm[0] = air.side_force(car, state)
            now.calm[1] = state.drag
        off = x[SIDESLIP] - hold.sideslip
        _judge(allowed, base, hold, work, m[WAY], off, long, now, ride)
        if every > 0 and i >= skip and (i - skip) % every == 0:
            _look(
                car, points, setup, part, state, x, work, hold, m[WAY], base, floor, now, answer, trace, ride
            )  # fmt: skip
        if ride.reason != STOOD and trace.shape[0] == 0:
            return
        settled = _is_settled(allowed, m[WAY], k[0, WAY], end, now, ride)
        if is_over and settled:
            return
        if is_smooth:
            rest_step(
                car, elements, setup, case, damping, hold, part, state, bed, road[at], REST, rest, m, work, x, k
            )  # fmt: skip
        else:
            step(
                car, elements, setup, case, damping, hold, part, state, bed, road, at, dt, m, work, x, k
            )  # fmt: skip
        now.time += long
        if _has_left(base, m, road[at if is_over else at + 2]):
            ride.lost = now.time
            _fail(ride, LEFT, now.time)
            return
    if allowed.within > 0.0 and ride.back >= ride.seconds:
        _fail(ride, NOT_BACK, now.time)
