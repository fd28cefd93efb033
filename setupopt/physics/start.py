"""The first guess of a trim."""

from __future__ import annotations

from setupopt.physics import air
from setupopt.physics.balance import TRIAL, WORK
from setupopt.physics.case_state import set_heading
from setupopt.physics.inputs import (
    KAPPA,
    RISE,
    SIDESLIP,
    STEER,
    TAU,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.units import GRAVITY

# Slip per share of the load that a tyre passes: the first guess.
_SOFT = 0.045
# A car that less than this share of its weight presses down does not rise for it: such a start, with much slip,
# is soon given up. And what counts at most, of the weight, on top of it for the tyres: they get stiffer.
_LEAST_LOAD = 0.1
_MOST_MORE = 2.0


@kernel
def follow_surface(car: Record, case: Record, state: Record, x: Floats) -> None:
    """Wheels follow the surface as it lies, and the body the wheels, without slip; axles pass what is asked."""
    for w in range(4):
        grown = state.radius[w] - car.radius[w]
        x[RISE + w] = state.ground[w] + state.rise[w] + grown
        x[KAPPA + w] = 0.0
    left = x[RISE] - x[RISE + 1]
    left_rear = x[RISE + 2] - x[RISE + 3]
    front = x[RISE] + x[RISE + 1]
    rear = x[RISE + 2] + x[RISE + 3]
    x[0] = 0.25 * (front + rear)
    x[1] = 0.5 * (rear - front) / car.wheelbase
    x[2] = 0.25 * (left / car.y[0] + left_rear / car.y[2])
    across = -state.pull[1] / GRAVITY
    x[TAU] = across * car.to_rear / car.wheelbase
    x[TAU + 1] = across * car.to_front / car.wheelbase
    x[SIDESLIP] = state.bend * car.to_rear
    x[STEER] = state.bend * car.wheelbase


@shared_kernel(*TRIAL, WORK)
def set_start(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> None:  # fmt: skip
    """First guess: from `follow_surface`, springs and tyres give way to the load, and tyres slip as for their
    demand.
    """
    set_heading(car, case, 0.0, state)
    follow_surface(car, case, state, x)
    air.downforce(car, elements, setup, case, state, road, x, work.loads)
    weight = car.mass * GRAVITY
    load = (work.loads[0, 0] - car.mass * state.pull[2]) / weight
    more = load - 1.0 if load > _LEAST_LOAD else 0.0
    soft = _SOFT / max(load, _LEAST_LOAD)
    demand = (state.drag - car.mass * state.pull[0]) / weight
    x[SIDESLIP] -= soft * (x[TAU] + x[TAU + 1])
    rate = 0.0
    travel = 0.0
    sunk = 0.0
    for w in range(4):
        axle = w // 2
        share = car.drive[axle] if demand > 0.0 else car.brake[axle]
        x[KAPPA + w] = 2.0 * soft * share * demand
        rate += setup.wheel_rate[w] + 0.5 * setup.third[axle]
        travel += 0.25 * car.bump_travel[w]
        sunk += 0.25 * setup.penetration[w] * min(more, _MOST_MORE) / 1.5
    for w in range(4):
        x[RISE + w] -= sunk
    x[0] -= sunk + min(more * weight / rate, travel)
