"""What is read off a trim: grip, use, margin, gaps."""

from __future__ import annotations

from math import tan

import numpy as np

from setupopt.physics import margin as grip_margin
from setupopt.physics import tyre
from setupopt.physics.contacts import road_plane
from setupopt.physics.inputs import Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.place import rest_gap
from setupopt.physics.point_gaps import point_gap


@kernel
def grip(car: Record, setup: Record, surface_grip: float, place: Record, w: int, work: Record) -> float:
    """Grip capacity of a wheel, leaning further under its own lateral force, at the same load."""
    if work.load[w] <= 0.0:
        return 0.0
    t = tan(work.inclination[w] - place.lean * car.side[w] * car.compliance[w] * work.across[w])
    along, across = place.curve_along[w], place.curve_across[w]
    half, k = car.half_width[w], setup.foundation[w]
    start = work.depth[w] - (t - work.slant[w]) * work.shift[w]
    depth = tyre.depth_for_load(work.load[w], start, t, along, across, half, k, work.ends)
    return tyre.grip_capacity(
        depth, t, along, across, half, k, surface_grip * car.friction[w], car.friction_pressure[w],
        car.friction_exponent[w], car.friction_beta[w], work.ends,
    )  # fmt: skip


@kernel
def axle_use(car: Record, place: Record, axle: int, answer: Record, work: Record) -> float:
    """Use of grip of one axle."""
    left, right = 2 * axle, 2 * axle + 1
    lateral = work.across[left] + work.across[right]
    return grip_margin.axle_use(
        lateral, place.axle_drive[axle], answer.grip[left], answer.grip[right], car.is_open[axle]
    )


@kernel
def gaps(
    car: Record, points: Records, setup: Record, case: Record, place: Record, answer: Record
) -> None:  # fmt: skip
    """Gaps at the ride-height stations and at the named points of the floor.

    On an uneven road they are those to the plane through the road under the wheels.
    """
    height, forwards, left = road_plane(car, place)
    heave, pitch, roll = answer.state[0] - height, answer.state[1] + forwards, answer.state[2] - left
    for axle in range(2):
        x = car.ride_x[axle]
        answer.ride_gap[axle] = rest_gap(car, setup, case, place, x, 0.0) + heave - x * pitch
    answer.clearance = answer.spare_clearance = np.inf
    for p in range(points.size):
        point = points[p]
        gap = point_gap(car, point, setup, case, place, heave, pitch, roll)
        answer.clearance = min(answer.clearance, gap)
        answer.spare_clearance = min(answer.spare_clearance, gap - point.least)


@kernel
def _lift(car: Record, place: Record, work: Record) -> float:
    """How far an axle hangs over the surface, m; 0 while each axle has a wheel down."""
    highest = 0.0
    for left in (0, 2):
        lift = np.inf
        for w in (left, left + 1):
            lift = min(
                lift, -tyre.deepest(work.depth[w], work.slant[w], place.curve_across[w], car.half_width[w])
            )
        highest = max(highest, lift)
    return highest


@kernel
def read_off(
    car: Record, points: Records, setup: Record, case: Record, place: Record, press: float,
    answer: Record, work: Record,
) -> None:  # fmt: skip
    """Write an answer from the forces in `work` and the trim in `answer.state`."""
    for w in range(4):
        answer.load[w], answer.inclination[w] = work.load[w], work.inclination[w]
        answer.patch[w], answer.travel[w] = work.patch[w], work.travel[w]
        answer.grip[w] = grip(car, setup, case.surface_grip, place, w, work)
    lift = _lift(car, place, work)
    for axle in range(2):
        use = axle_use(car, place, axle, answer, work)
        answer.use[axle] = use
        answer.axle_search_margin[axle] = grip_margin.search_value(1.0 - use, press, lift)
    value = 1.0 - max(answer.use[0], answer.use[1])
    answer.contact, answer.press = press == 0.0, press
    answer.search_margin = min(answer.axle_search_margin[0], answer.axle_search_margin[1])
    answer.margin = value if press == 0.0 else np.nan
    answer.downforce, answer.drag = work.lift[0], place.drag
    gaps(car, points, setup, case, place, answer)
