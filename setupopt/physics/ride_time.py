"""Rides over a road in time: the nonlinear equations of motion by a fourth-order step, many at once."""

from __future__ import annotations

import numpy as np

from setupopt.physics.answer import read_off
from setupopt.physics.contacts import put_road
from setupopt.physics.inputs import Floats, Record, Records, layout
from setupopt.physics.jit import kernel
from setupopt.physics.place import prepare
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
    for j in range(7):
        x_out[j] = x[j] + share * rate_x[j]
        v_out[j] = v[j] + share * rate_v[j]


@kernel
def step(
    car: Record, elements: Records, setup: Record, damping: Record, place: Record, flow: Records,
    before: Floats, after: Floats, dt: float, x: Floats, v: Floats, work: Record, scratch: Floats,
) -> None:  # fmt: skip
    """One classical Runge-Kutta step of `dt`; the road (columns) is straight between its two samples.

    `scratch` (7, 7).
    """
    speed = scratch[0, :4]
    for w in range(4):
        speed[w] = (after[w] - before[w]) / dt
    k1, k2, k3, k4 = scratch[1], scratch[2], scratch[3], scratch[4]
    x_mid, v_mid = scratch[5], scratch[6]
    work.forces_only = True
    put_road(car, elements, before, after, 0.0, place, flow)
    accelerations(car, elements, setup, damping, place, flow, x, v, speed, work, k1)
    put_road(car, elements, before, after, 0.5, place, flow)
    _stage(x, v, v, k1, 0.5 * dt, x_mid, v_mid)
    accelerations(car, elements, setup, damping, place, flow, x_mid, v_mid, speed, work, k2)
    for j in range(7):
        x_mid[j] = x[j] + 0.5 * dt * v[j] + 0.25 * dt * dt * k1[j]
        v_mid[j] = v[j] + 0.5 * dt * k2[j]
    accelerations(car, elements, setup, damping, place, flow, x_mid, v_mid, speed, work, k3)
    put_road(car, elements, before, after, 1.0, place, flow)
    for j in range(7):
        x_mid[j] = x[j] + dt * v[j] + 0.5 * dt * dt * k2[j]
        v_mid[j] = v[j] + dt * k3[j]
    accelerations(car, elements, setup, damping, place, flow, x_mid, v_mid, speed, work, k4)
    for j in range(7):
        x[j] += dt * v[j] + dt * dt / 6.0 * (k1[j] + k2[j] + k3[j])
        v[j] += dt / 6.0 * (k1[j] + 2.0 * k2[j] + 2.0 * k3[j] + k4[j])


@kernel
def _count(car: Record, answer: Record, floor: float, above: bool, ride: Record) -> bool:
    """Add one sample to what a ride leaves behind; whether its margin stands above the floor."""
    margin = 1.0 - max(answer.use[0], answer.use[1])
    told = max(margin, SLID)
    ride.samples += 1.0
    ride.margin += told
    ride.margin_square += told * told
    ride.least_margin = min(ride.least_margin, margin)
    ride.least_clearance = min(ride.least_clearance, answer.spare_clearance)
    off_surface = on_stop = 0.0
    for w in range(4):
        load, travel = answer.load[w], answer.travel[w]
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
def _begin(ride: Record) -> None:
    """Least values start high."""
    ride.least_margin = ride.least_clearance = np.inf
    ride.least_load[:] = np.inf


@kernel
def has_left(x: Floats, trim: Floats, road: Floats) -> bool:
    """Whether the body has gone half a metre off its place over the wheels' road, or is no number."""
    return not abs(x[0] - trim[0] - 0.25 * (road[0] + road[1] + road[2] + road[3])) < _GONE


@kernel
def ride_road(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, damping: Record,
    place: Record, flow: Records, trim: Floats, road: Floats, dt: float, every: int, skip: int,
    floor: float, work: Record, scratch: Floats, answer: Record, ride: Record,
) -> None:  # fmt: skip
    """Ride from `trim` (7) over `road` (samples, columns; physics/contacts.py), samples `dt` apart.

    Every `every` steps after the first `skip` a sample is read off. A car that leaves the surface for
    good ends the ride: `lost` is then the time at which its body had gone half a metre off the road.
    """
    prepare(car, elements, setup, case, place, flow)
    x, v = trim.copy(), np.zeros(7)
    above = True
    _begin(ride)
    for i in range(road.shape[0] - 1):
        if i >= skip and (i - skip) % every == 0:
            put_road(car, elements, road[i], road[i], 0.0, place, flow)
            accelerations(
                car, elements, setup, damping, place, flow, x, v, scratch[0, :4] * 0.0, work, scratch[1]
            )
            answer.state[:] = x
            read_off(car, points, setup, case, place, 0.0, answer, work)
            above = _count(car, answer, floor, above, ride)
        step(car, elements, setup, damping, place, flow, road[i], road[i + 1], dt, x, v, work, scratch)
        if has_left(x, trim, road[i + 1]):
            ride.lost = (i + 1) * dt
            break


@kernel
def ride_many(
    cars: Records, elements: Records, points: Records, setups: Records, cases: Records, dampings: Records,
    places: Records, flow: Records, trim: Floats, roads: Floats, dt: float, every: int, skip: int,
    floor: float, works: Records, scratch: Floats, answers: Records, rides: Records,
) -> None:  # fmt: skip
    """`ride_road` for one setup in one case over many roads (rides, samples, columns)."""
    for r in range(roads.shape[0]):
        ride_road(
            cars[0], elements, points, setups[0], cases[0], dampings[0], places[0], flow, trim, roads[r],
            dt, every, skip, floor, works[0], scratch, answers[0], rides[r],
        )  # fmt: skip
