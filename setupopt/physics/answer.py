"""What is read off a trim: grip, use, balance, gaps."""

from __future__ import annotations

import numpy as np

from setupopt.physics import brush, tyre, wheel
from setupopt.physics import margin as grip_margin
from setupopt.physics.balance import FACTOR
from setupopt.physics.case_state import rest_gap
from setupopt.physics.contacts import road_plane
from setupopt.physics.inputs import UNKNOWNS, Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.point_gaps import point_gap


@kernel
def grip(
    car: Record,
    setup: Record,
    case: Record,
    state: Record,
    w: int,
    factor: float,
    work: Record,
) -> float:
    """Grip capacity of a wheel, N, as it leans under its lateral force."""
    if work.wheels.load[w] <= 0.0:
        return 0.0
    patch = work.wheels.patches[w]
    wheel.set_patch(car, setup, case, state, w, factor, patch)
    return brush.capacity(patch)


@kernel
def axle_use(car: Record, axle: int, grips: Floats, work: Record) -> float:
    """Use of grip of one axle in a trim."""
    left = 2 * axle
    lateral = work.wheels.across[left] + work.wheels.across[left + 1]
    demand = work.demand[axle]
    return grip_margin.axle_use(
        lateral, demand, grips[left], grips[left + 1], car.is_open[axle]
    )


@kernel
def gaps(
    car: Record, points: Records, setup: Record, case: Record, state: Record, x: Floats, answer: Record
) -> None:  # fmt: skip
    """Gaps at the ride-height stations and at the named points of the floor.

    On an uneven road they are those to the plane through the road under the wheels.
    """
    height, forwards, left = road_plane(car, state)
    heave = x[0] - height
    pitch = x[1] + forwards
    roll = x[2] - left
    for axle in range(2):
        at = car.ride_x[axle]
        rest = rest_gap(car, setup, case, state, at, car.middle)
        answer.ride_gap[axle] = rest + heave - at * pitch + car.middle * roll
    answer.clearance = np.inf
    answer.spare_clearance = np.inf
    for p in range(points.size):
        point = points[p]
        gap = point_gap(car, point, setup, case, state, heave, pitch, roll)
        answer.clearance = min(answer.clearance, gap)
        answer.spare_clearance = min(answer.spare_clearance, gap - point.least)


@kernel
def read_trim(
    car: Record, points: Records, setup: Record, case: Record, state: Record, x: Floats, answer: Record,
    work: Record,
) -> None:  # fmt: skip
    """Write the trim `x` and all that belongs to it from the forces in `work`."""
    wheels = work.wheels
    for j in range(UNKNOWNS):
        answer.state[j] = x[j]
    for w in range(4):
        answer.load[w] = wheels.load[w]
        answer.inclination[w] = wheels.inclination[w]
        answer.patch[w] = wheels.patch[w]
        answer.travel[w] = wheels.travel[w]
        answer.slip_angle[w] = wheels.slip_angle[w]
        sunk = tyre.deepest(
            wheels.depth[w],
            wheels.slant[w],
            state.curve_across[w],
            car.half_width[w],
        )
        answer.lift[w] = max(0.0, -sunk)
        answer.grip[w] = grip(car, setup, case, state, w, x[FACTOR], work)
    for axle in range(2):
        answer.use[axle] = axle_use(car, axle, answer.grip, work)
    answer.balance = answer.use[1] - answer.use[0]
    answer.limiting = 1.0 if answer.use[1] > answer.use[0] else 0.0
    answer.downforce = work.loads[0, 0]
    answer.drag = state.drag
    gaps(car, points, setup, case, state, x, answer)


@kernel
def read_end(
    car: Record,
    setup: Record,
    case: Record,
    state: Record,
    x: Floats,
    answer: Record,
    work: Record,
) -> None:
    """Write where the path of falling friction ends, `x`: the friction factor there and the axle that gives
    in.
    """
    for j in range(UNKNOWNS):
        answer.fold[j] = x[j]
        answer.null[j] = work.null[j]
    answer.bend = work.bend
    answer.friction_factor = x[FACTOR]
    front = _end_use(car, setup, case, state, 0, x[FACTOR], work)
    rear = _end_use(car, setup, case, state, 1, x[FACTOR], work)
    answer.limiting = 1.0 if rear > front else 0.0


@kernel
def _end_use(
    car: Record, setup: Record, case: Record, state: Record, axle: int, factor: float, work: Record
) -> float:  # fmt: skip
    left = 2 * axle
    first = grip(car, setup, case, state, left, factor, work)
    second = grip(car, setup, case, state, left + 1, factor, work)
    lateral = work.wheels.across[left] + work.wheels.across[left + 1]
    return grip_margin.axle_use(
        lateral, work.demand[axle], first, second, car.is_open[axle]
    )


@kernel
def set_margin(press: float, answer: Record) -> None:
    """Margin and what a search counts, from the friction factor; `press`: what would hold a lost case, g."""
    value = 1.0 - answer.friction_factor
    answer.press = press
    answer.contact = press == 0.0
    answer.slides = answer.contact and answer.friction_factor > 1.0
    answer.margin = value if answer.contact else np.nan
    answer.search_margin = grip_margin.search_value(value, press)


@kernel
def ride_use(
    car: Record, setup: Record, case: Record, state: Record, axle: int, answer: Record, work: Record
) -> float:  # fmt: skip
    """Use of grip at one instant of a ride: what the axle must pass, over what it can pass now."""
    left = 2 * axle
    for w in (left, left + 1):
        answer.grip[w] = grip(car, setup, case, state, w, 1.0, work)
    return grip_margin.capped(
        state.demand[axle], answer.grip[left] + answer.grip[left + 1]
    )


@kernel
def trim_demand(answer: Record, axle: int) -> float:
    """Force that an axle must pass in a ride about a trim, N: such that at rest the use is that of the
    margin.

    The axle that gives in first uses the least friction factor of its grip, the other what it uses in the
    trim.
    """
    left = 2 * axle
    share = min(answer.use[axle], answer.friction_factor)
    if float(axle) == answer.limiting:
        share = answer.friction_factor
    return share * (answer.grip[left] + answer.grip[left + 1])
