"""What is read off a ride at one instant, and what a ride leaves behind."""

from __future__ import annotations

import numpy as np

from setupopt.physics.answer import gaps, ride_use, trim_demand
from setupopt.physics.case_state import CASE_STATE, prepare
from setupopt.physics.inputs import (
    ANSWER,
    CASE,
    UNKNOWNS,
    VEHICLE,
    Floats,
    Record,
    Records,
    layout,
)
from setupopt.physics.jit import kernel, shared_kernel

# What one ride leaves behind. Sums of wheel load, margin, gap at the ride stations and travel, and of
# their squares, for means and deviations; counts of samples, of downward crossings of the floor, of
# samples under it, with a wheel off the surface and on a stop. seconds: how long it went on; drift, sideslip,
# airborne: the most; back: when the car was last out of a tenth of what is allowed; failed and reason: when
# and why it stood no longer, as physics/ride_run.py judges.
RIDE = layout(
    one="margin margin_square least_margin least_clearance samples crossings under_floor off_surface "
    "on_stop lost seconds drift sideslip airborne back failed reason",
    axles="gap gap_square",
    wheels="load load_square least_load travel travel_square",
)

# A margin below counts as this much in mean and deviation: a slide is a slide; an axle in the air has -99.
SLID = -1.0


@shared_kernel(VEHICLE, CASE, ANSWER, CASE_STATE, ["f8"], first=True)
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
def count(
    car: Record, answer: Record, floor: float, above: bool, ride: Record
) -> bool:
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
        on_stop = (
            1.0
            if travel > car.bump_travel[w] or travel < -car.droop_travel[w]
            else on_stop
        )
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
def empty(ride: Record) -> None:
    """Least values start high."""
    ride.least_margin = np.inf
    ride.least_clearance = np.inf
    for w in range(4):
        ride.least_load[w] = np.inf
