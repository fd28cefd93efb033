"""A motion in time: a disturbance, a driver who answers late, and what the car does.

Steps are Kutta's of third order. The road, the wind and the driver's steering are given; whether the car
stands it is read off: how far it drifts, slips sideways and flies, and whether it comes back.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from setupopt.physics import air
from setupopt.physics.answer import trim_demand
from setupopt.physics.inputs import SIDESLIP, Floats, Record, Records, layout
from setupopt.physics.jit import kernel
from setupopt.physics.linear import copy
from setupopt.physics.ride_motion import (
    HEADING,
    LEFTWARD,
    MOTION,
    WAY,
    YAW_RATE,
    motion_rates,
)
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

# What happens beside road and wind. steer, steer_seconds: an angle too much, and how long; flat: a wheel that
# loses its pressure within flat_seconds, -1 for none: what is left of its foundation and carcass, as shares.
EVENT = layout(one="steer steer_seconds flat flat_seconds foundation carcass")

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
def step(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, road: Floats, at: int, dt: float, m: Floats, work: Record, x: Floats,
    k: Floats,
) -> None:  # fmt: skip
    """The rest of a step from road sample `at`; `k[0]` (scratch 6, MOTION or columns) has the rates there."""
    speed = k[4]
    mid = k[3]
    for w in range(4):
        speed[w] = (road[at + 2, w] - road[at, w]) / dt
    for j in range(MOTION):
        mid[j] = m[j] + 0.5 * dt * k[0, j]
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
        road[at + 1],
        speed,
        mid,
        work,
        x,
        k[1],
    )
    for j in range(MOTION):
        mid[j] = m[j] + dt * (2.0 * k[1, j] - k[0, j])
    for w in range(4):
        speed[w] = 2.0 * (road[at + 2, w] - road[at + 1, w]) / dt
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
        road[at + 2],
        speed,
        mid,
        work,
        x,
        k[2],
    )
    for j in range(MOTION):
        m[j] += dt / 6.0 * (k[0, j] + 4.0 * k[1, j] + k[2, j])


@kernel
def _steer(
    driver: Record, m: Floats, rest: Floats, queue: Floats, tick: int
) -> float:
    """Steer off the trim's that the driver now gives, rad: what he decided one reaction time ago.

    `rest` (4): heading, way, yaw rate and leftward velocity in the trim; `queue` (TICKS) has what he decided.
    """
    place = tick % TICKS
    given = queue[place]
    wish = 0.0
    for i in range(4):
        off = (
            m[HEADING]
            if i == 0
            else m[WAY]
            if i == 1
            else m[YAW_RATE]
            if i == 2
            else m[LEFTWARD]
        )
        wish -= driver.gains[i] * (off - rest[i])
    last = queue[(tick + TICKS - 1) % TICKS]
    most = driver.rate * driver.reaction / TICKS
    wish = min(max(wish, last - most), last + most)
    queue[place] = wish
    return given


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
def _push(
    car: Record, state: Record, rest: Floats, work: Record, base: Record
) -> None:
    """What the axles must pass at this instant: as in the trim, and the push of a wind that came on top.

    `rest`: side force and drag of the trim.
    """
    side = air.side_force(car, state) - rest[0]
    along = state.drag - rest[1]
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
    car: Record, points: Records, setup: Record, part: Record, state: Record, x: Floats, work: Record,
    hold: Record, way: float, time: float, answer: Record, row: Floats,
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
def _judge(
    allowed: Record, base: Record, hold: Record, work: Record, way: float, sideslip: float, dt: float,
    time: float, spell: float, ride: Record,
) -> float:  # fmt: skip
    """Add one step to what is judged; returns how long two wheels have been off the surface."""
    off = 0
    for w in range(4):
        off += 1 if base.load[w] > 0.0 and work.wheels.load[w] <= 0.0 else 0
    spell = spell + dt if off >= 2 else 0.0
    ride.drift = max(ride.drift, abs(way))
    ride.sideslip = max(ride.sideslip, abs(sideslip))
    ride.airborne = max(ride.airborne, spell)
    if (
        abs(way) > BACK * allowed.drift
        or abs(sideslip) > BACK * allowed.sideslip
    ):
        ride.back = time
    if ride.reason == STOOD:
        if ride.drift > allowed.drift:
            ride.reason = DRIFTED
        elif ride.sideslip > allowed.sideslip:
            ride.reason = SLID_AWAY
        elif ride.airborne > allowed.airborne:
            ride.reason = FLEW
        if ride.reason != STOOD:
            ride.failed = time
    return spell


@kernel
def run(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, m: Floats, work: Record, x: Floats, points: Records, base: Record,
    sound: Record, driver: Record, allowed: Record, event: Record, road: Floats, wind: Floats, dt: float,
    rest_dt: float, seconds: float, every: int, skip: int, floor: float, first_steer: float, k: Floats,
    answer: Record, trace: Floats, ride: Record,
) -> None:  # fmt: skip
    """Run on from motion `m`, as `begin_motion` left it: `ride` (RIDE) and `trace` (looks, TRACE) are filled.

    `road` (samples, columns) stands half a step of `dt` apart, `wind` (samples, 2) with it, along and across
    the course on top of the case's, or empty. After that both stay as they ended for `seconds`, in steps of
    `rest_dt`; a car that has come back is followed a little. `every` so many steps after `skip` margin
    and loads are read off; 0: never. A ride that is not stood ends there, unless a trace is wanted.
    `first_steer`: what the driver gives at first, off the trim's. `sound`: the setup again, which a flat tyre
    leaves as it is. `k` is scratch (6, MOTION or columns, whichever is more).
    """
    queue = np.full(TICKS, first_steer)
    rest = np.array([0.0, 0.0, m[YAW_RATE], m[LEFTWARD]])
    calm = np.zeros(2)
    tail = np.zeros((3, road.shape[1]))
    for i in range(3):
        copy(road[road.shape[0] - 1], tail[i])
    steer = hold.steer
    disturbed = (road.shape[0] - 1) // 2
    steps = disturbed + int(seconds / rest_dt)
    empty(ride)
    above = True
    time = 0.0
    spell = 0.0
    moving = 0.0
    tick = 0
    given = first_steer
    looks = 0
    for i in range(steps):
        is_over = i >= disturbed
        long = rest_dt if is_over else dt
        ground = tail if is_over else road
        at = 0 if is_over else 2 * i
        if wind.shape[0] > 0:
            blow = min(2 * i + 1, wind.shape[0] - 1)
            hold.headwind = case.headwind + wind[blow, 0]
            hold.crosswind = case.crosswind + wind[blow, 1]
        while tick * driver.reaction <= time * TICKS:
            given = _steer(driver, m, rest, queue, tick)
            tick += 1
        more = _happen(event, setup, sound, time)
        hold.quickest = _QUICKEST / long
        hold.steer = min(max(steer + given, -driver.limit), driver.limit) + more
        for w in range(4):
            k[4, w] = 2.0 * (ground[at + 1, w] - ground[at, w]) / long
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
            ground[at],
            k[4],
            m,
            work,
            x,
            k[0],
        )
        if i == 0:
            calm[0] = air.side_force(car, state)
            calm[1] = state.drag
        sideslip = x[SIDESLIP] - hold.sideslip
        spell = _judge(
            allowed, base, hold, work, m[WAY], sideslip, long, time, spell, ride
        )
        if every > 0 and i >= skip and (i - skip) % every == 0:
            _push(car, state, calm, work, base)
            look_around(car, points, setup, part, state, x, work, answer)
            above = count(car, answer, floor, above, ride)
            if looks < trace.shape[0]:
                _see(
                    car,
                    points,
                    setup,
                    part,
                    state,
                    x,
                    work,
                    hold,
                    m[WAY],
                    time,
                    answer,
                    trace[looks],
                )
                looks += 1
        if ride.reason != STOOD and trace.shape[0] == 0:
            return
        if abs(m[WAY]) + _AHEAD * abs(k[0, WAY]) > BACK * allowed.drift:
            moving = time
        if is_over and time - max(ride.back, moving, disturbed * dt) > _SETTLED:
            return
        step(
            car, elements, setup, case, damping, hold, part, state, bed, ground, at, long, m, work, x, k
        )  # fmt: skip
        time += long
        level = 0.25 * (
            ground[at + 2, 0]
            + ground[at + 2, 1]
            + ground[at + 2, 2]
            + ground[at + 2, 3]
        )
        if not abs(m[0] - base.state[0] - level) < _GONE:
            ride.lost = time
            if ride.reason == STOOD:
                ride.reason = LEFT
                ride.failed = time
            return
    if (
        ride.reason == STOOD
        and allowed.within > 0.0
        and ride.back >= time - rest_dt
    ):
        ride.reason = NOT_BACK
        ride.failed = time
