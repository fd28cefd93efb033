"""Rides over a road in time: the nonlinear equations of motion by a fourth-order step, many at once."""

from __future__ import annotations

import numpy as np

from setupopt.physics.answer import gaps, ride_use, trim_demand
from setupopt.physics.balance import COLUMNS, balance
from setupopt.physics.case_state import prepare
from setupopt.physics.contacts import put_road
from setupopt.physics.inputs import RIDE_STATES, UNKNOWNS, Floats, Record, Records, layout
from setupopt.physics.jit import kernel
from setupopt.physics.ride import accelerations

# What one ride leaves behind. Sums of wheel load, margin, gap at the ride stations and travel, and of
# their squares, for means and deviations; counts of samples, of downward crossings of the floor, of
# samples under it, with a wheel off the surface and on a stop.
RIDE = layout(
    one="margin margin_square least_margin least_clearance samples crossings under_floor off_surface "
    "on_stop lost",
    axles="gap gap_square",
    wheels="load load_square least_load travel travel_square",
)

_GONE = 0.5  # m
# A margin below counts as this much in mean and deviation: a slide is a slide; an axle in the air has -99.
SLID = -1.0


@kernel
def _stage(
    x: Floats, v: Floats, rate_x: Floats, rate_v: Floats, share: float, x_out: Floats, v_out: Floats
) -> None:
    """x_out, v_out = x, v moved on by `share` seconds at the given rates."""
    for j in range(RIDE_STATES):
        x_out[j] = x[j] + share * rate_x[j]
        v_out[j] = v[j] + share * rate_v[j]


@kernel
def step(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, state: Record,
    bed: Records, before: Floats, after: Floats, dt: float, x: Floats, v: Floats, work: Record,
    scratch: Floats,
) -> None:  # fmt: skip
    """One classical Runge-Kutta step of `dt`; the road (columns) is straight between its two samples.

    `x` (COLUMNS), of which the first seven move; `v` (7); `scratch` (7, COLUMNS).
    """
    speed = scratch[0]
    for w in range(4):
        speed[w] = (after[w] - before[w]) / dt
    k1 = scratch[1]
    k2 = scratch[2]
    k3 = scratch[3]
    k4 = scratch[4]
    x_mid = scratch[5]
    v_mid = scratch[6]
    for j in range(COLUMNS):
        x_mid[j] = x[j]
    put_road(car, elements, before, after, 0.0, state, bed)
    accelerations(car, elements, setup, case, damping, state, bed, x, v, speed, work, k1)
    put_road(car, elements, before, after, 0.5, state, bed)
    _stage(x, v, v, k1, 0.5 * dt, x_mid, v_mid)
    accelerations(car, elements, setup, case, damping, state, bed, x_mid, v_mid, speed, work, k2)
    for j in range(RIDE_STATES):
        x_mid[j] = x[j] + 0.5 * dt * v[j] + 0.25 * dt * dt * k1[j]
        v_mid[j] = v[j] + 0.5 * dt * k2[j]
    accelerations(car, elements, setup, case, damping, state, bed, x_mid, v_mid, speed, work, k3)
    put_road(car, elements, before, after, 1.0, state, bed)
    for j in range(RIDE_STATES):
        x_mid[j] = x[j] + dt * v[j] + 0.5 * dt * dt * k2[j]
        v_mid[j] = v[j] + dt * k3[j]
    accelerations(car, elements, setup, case, damping, state, bed, x_mid, v_mid, speed, work, k4)
    for j in range(RIDE_STATES):
        x[j] += dt * v[j] + dt * dt / 6.0 * (k1[j] + k2[j] + k3[j])
        v[j] += dt / 6.0 * (k1[j] + 2.0 * k2[j] + 2.0 * k3[j] + k4[j])


@kernel
def begin(
    car: Record, case: Record, base: Record, state: Record, x: Floats
) -> None:  # fmt: skip
    """Put a ride on the trim of `base`, its steady answer, with what the axles must pass."""
    prepare(car, case, 0.0, state)
    for j in range(UNKNOWNS):
        x[j] = base.state[j]
    x[UNKNOWNS] = 1.0
    for axle in range(2):
        state.demand[axle] = trim_demand(base, axle)


@kernel
def look_around(
    car: Record, points: Records, setup: Record, case: Record, state: Record, x: Floats, work: Record,
    answer: Record,
) -> float:  # fmt: skip
    """Read use, loads, travel and gaps of one instant off the forces in `work`; the margin at this
    instant.
    """
    for axle in range(2):
        answer.use[axle] = ride_use(car, setup, case, state, axle, answer, work)
    for w in range(4):
        answer.load[w] = work.wheels.load[w]
        answer.travel[w] = work.wheels.travel[w]
    gaps(car, points, setup, case, state, x, answer)
    return 1.0 - max(answer.use[0], answer.use[1])


@kernel
def _count(car: Record, answer: Record, floor: float, above: bool, ride: Record) -> bool:
    """Add one sample to what a ride leaves behind; whether its margin stands above the floor."""
    margin = 1.0 - max(answer.use[0], answer.use[1])
    counted = max(margin, SLID)
    ride.samples += 1.0
    ride.margin += counted
    ride.margin_square += counted * counted
    ride.least_margin = min(ride.least_margin, margin)
    ride.least_clearance = min(ride.least_clearance, answer.spare_clearance)
    off_surface = 0.0
    on_stop = 0.0
    for w in range(4):
        load = answer.load[w]
        travel = answer.travel[w]
        ride.load[w] += load
        ride.load_square[w] += load * load
        ride.least_load[w] = min(ride.least_load[w], load)
        ride.travel[w] += travel
        ride.travel_square[w] += travel * travel
        off_surface = 1.0 if load <= 0.0 else off_surface
        on_stop = 1.0 if travel > car.bump_travel[w] or travel < -car.droop_travel[w] else on_stop
    for axle in range(2):
        ride.gap[axle] += answer.ride_gap[axle]
        ride.gap_square[axle] += answer.ride_gap[axle] ** 2
    ride.off_surface += off_surface
    ride.on_stop += on_stop
    if margin >= floor:
        return True
    ride.under_floor += 1.0
    ride.crossings += 1.0 if above else 0.0
    return False


@kernel
def _empty(ride: Record) -> None:
    """Least values start high."""
    ride.least_margin = np.inf
    ride.least_clearance = np.inf
    for w in range(4):
        ride.least_load[w] = np.inf


@kernel
def has_left(x: Floats, base: Record, road: Floats) -> bool:
    """Whether the body has gone half a metre off its place over the wheels' road, or is no number."""
    return not abs(x[0] - base.state[0] - 0.25 * (road[0] + road[1] + road[2] + road[3])) < _GONE


@kernel
def ride_road(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, damping: Record,
    base: Record, state: Record, bed: Records, road: Floats, dt: float, every: int, skip: int,
    floor: float, work: Record, scratch: Floats, answer: Record, ride: Record,
) -> None:  # fmt: skip
    """Ride from the trim of `base` over `road` (samples, columns; physics/contacts.py), samples `dt` apart.

    Every `every` steps after the first `skip` a sample is read off. A car that leaves the surface for
    good ends the ride: `lost` is then the time at which its body had gone half a metre off the road.
    """
    x = np.zeros(COLUMNS)
    v = np.zeros(COLUMNS)
    begin(car, case, base, state, x)
    above = True
    _empty(ride)
    for i in range(road.shape[0] - 1):
        if i >= skip and (i - skip) % every == 0:
            put_road(car, elements, road[i], road[i], 0.0, state, bed)
            balance(car, elements, setup, case, state, bed, x, work)
            look_around(car, points, setup, case, state, x, work, answer)
            above = _count(car, answer, floor, above, ride)
        step(
            car, elements, setup, case, damping, state, bed, road[i], road[i + 1], dt, x, v, work, scratch
        )  # fmt: skip
        if has_left(x, base, road[i + 1]):
            ride.lost = (i + 1) * dt
            break


@kernel
def ride_many(
    cars: Records, elements: Records, points: Records, setups: Records, cases: Records, dampings: Records,
    bases: Records, states: Records, bed: Records, roads: Floats, dt: float, every: int, skip: int,
    floor: float, works: Records, scratch: Floats, answers: Records, rides: Records,
) -> None:  # fmt: skip
    """`ride_road` for one setup in one case over many roads (rides, samples, columns)."""
    for r in range(roads.shape[0]):
        ride_road(
            cars[0], elements, points, setups[0], cases[0], dampings[0], bases[0], states[0], bed, roads[r],
            dt, every, skip, floor, works[0], scratch, answers[0], rides[r],
        )  # fmt: skip
