"""Where the car feels an uneven road: under the patch of each wheel, and under each air element.

A road is a row of heights over the case's own surface, m: FL, FR, RL, RR, then for every air element the
height under its left and its right side, in the line of the front wheels. Each is a mean along the car:
over the patch of a wheel, over the chord of an element. So a floor follows a long wave with its wheels,
and hardly feels a stone.
"""

from __future__ import annotations

from math import sqrt

from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel

WHEELS = 4


@kernel
def columns(elements: Records) -> int:
    """How many heights a road has at one moment."""
    return WHEELS + 2 * elements.size


@kernel
def patch_length(state: Record, work: Record, w: int) -> float:
    """Length of a wheel's patch under its crown, m; 0 where the crown is off the surface."""
    return 2.0 * sqrt(
        2.0 * max(work.wheels.depth[w], 0.0) / state.curve_along[w]
    )


@kernel
def find_contacts(
    car: Record,
    elements: Records,
    state: Record,
    work: Record,
    behind: Floats,
    length: Floats,
) -> None:
    """For each column: how far behind the front axle it stands, and over what length it takes the mean, m."""
    for w in range(WHEELS):
        behind[w] = car.to_front - car.x[w]
        length[w] = patch_length(state, work, w)
    for n in range(elements.size):
        for column in range(WHEELS + 2 * n, WHEELS + 2 * n + 2):
            behind[column] = car.to_front - elements[n].x
            length[column] = 3.0 * elements[n].along


@kernel
def put_road(
    car: Record,
    elements: Records,
    before: Floats,
    after: Floats,
    share: float,
    state: Record,
    road: Records,
) -> None:
    """Put the road under wheels and air elements, `share` of the way between two moments."""
    for w in range(WHEELS):
        state.rise[w] = before[w] + share * (after[w] - before[w])
    for n in range(elements.size):
        i = WHEELS + 2 * n
        left = before[i] + share * (after[i] - before[i])
        right = before[i + 1] + share * (after[i + 1] - before[i + 1])
        road[n].height = 0.5 * (left + right)
        road[n].slope = (left - right) / (car.y[0] - car.y[1])


@kernel
def road_plane(car: Record, state: Record) -> tuple[float, float, float]:
    """Plane through the road's unevenness under the wheels: height at the CG, slope forwards, to the left.

    By least squares, which splits into the means of the axles along the car and the sides across it.
    """
    rise = state.rise
    front = 0.5 * (rise[0] + rise[1])
    rear = 0.5 * (rise[2] + rise[3])
    forwards = (front - rear) / car.wheelbase
    y_front = car.y[0] - car.middle
    y_rear = car.y[2] - car.middle
    across = (rise[0] - rise[1]) * y_front + (rise[2] - rise[3]) * y_rear
    left = across / (2.0 * (y_front * y_front + y_rear * y_rear))
    return rear + forwards * car.to_rear - car.middle * left, forwards, left
