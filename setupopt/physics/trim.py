"""Finding the trim and the least friction that holds it; then the press that would hold a lost car on."""

from __future__ import annotations

from setupopt.physics import friction_path as path
from setupopt.physics.balance import FACTOR, balance
from setupopt.physics.case_state import prepare, set_heading
from setupopt.physics.inputs import RISE, UNKNOWNS, Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.linear import copy
from setupopt.physics.newton import (
    STEPS,
    let_fall,
    newton,
    newton_carried,
)
from setupopt.physics.start import follow_surface, set_start

# Most steps from a point nearby.
PATH_STEPS = 10
# The most friction tried, and what is tried before it.
MOST_FACTOR = 4.0
_FACTORS = (1.0, 1.5, MOST_FACTOR)
# Steps of the plain start before more friction is tried: most starts that arrive take half of that.
_FEW_STEPS = 15
# Error of the press in g, most points of a path, and the most press tried.
_SHORTEST = 1e-8
_PATH_POINTS = 120
_LEAST_PRESS = 0.004
# How far down the body is put to look for a trim on the bump stops, in bump travels.
_DEPTHS = (1.0, 1.2, 2.0, 3.5)
_MOST_PRESS = 256.0
# From a setup nearby: how much more friction than a sliding case had, and more press than a lost one (share,
# g).
_MORE_FRICTION = 1.03
_MORE_PRESS = (1.02, 1e-3)


@kernel
def scale_case(case: Record, share: float, part: Record) -> None:
    """Case on the way from the flat straight road (share 0) to the real one (share 1), same speed."""
    part.along = case.along
    part.heading = case.heading
    part.speed = case.speed
    part.slope = case.slope
    part.surface_grip = case.surface_grip
    part.air_density = case.air_density
    part.surface_heading = case.surface_heading
    part.lean = case.lean
    part.transfer = case.transfer
    part.crab = case.crab
    part.roll_angle = share * case.roll_angle
    part.acceleration = share * case.acceleration
    part.path_curvature = share * case.path_curvature
    part.turn_curvature = share * case.turn_curvature
    part.yaw_acceleration = share * case.yaw_acceleration
    part.headwind = share * case.headwind
    part.crosswind = share * case.crosswind
    part.curvature = share * case.curvature
    part.floor_curvature = share * case.floor_curvature
    for side in range(2):
        part.joints[side] = case.joints[side]
        part.floor_joints[side] = case.floor_joints[side]
        for j in range(int(case.joints[side])):
            part.joint[side, j] = case.joint[side, j]
            part.beyond[side, j] = share * case.beyond[side, j]
    for w in range(4):
        part.bump[w] = share * case.bump[w]


@kernel
def _walk_case(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, state: Record, road: Records,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Path from the flat straight road to the case, roll angle and all the rest together.

    Each point starts from the last one's trim; `state` ends on the case itself.
    """
    done = 0.0
    share = 0.25
    effort = 0
    for _ in range(_PATH_POINTS):
        goal = min(1.0, done + share) if effort > 0 else 0.0
        scale_case(case, goal, part)
        prepare(car, part, 0.0, state)
        if effort == 0:
            set_start(car, elements, setup, part, state, road, x, work)
        copy(x, work.kept)
        found, steps = newton(
            car, elements, setup, part, state, road, x, work, PATH_STEPS
        )
        effort += steps + 1
        if found and goal >= 1.0:
            prepare(car, case, 0.0, state)
            return True, effort
        if found:
            done = goal
            share *= 1.5
        else:
            copy(work.kept, x)
            share *= 0.4
        if share < 1e-3 or (goal == 0.0 and not found):
            break
    prepare(car, case, 0.0, state)
    return False, effort


@kernel
def _try_low(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Starts with the body down on its bump stops, or deeper: there suction may hold it."""
    travel = 0.25 * (
        car.bump_travel[0]
        + car.bump_travel[1]
        + car.bump_travel[2]
        + car.bump_travel[3]
    )
    effort = 0
    for depth in _DEPTHS:
        set_start(car, elements, setup, case, state, road, x, work)
        x[0] -= depth * travel
        for w in range(4):
            x[RISE + w] -= 0.2 * depth * setup.penetration[w]
        found, steps = newton_carried(
            car, elements, setup, case, state, road, x, work, STEPS
        )
        effort += steps
        if found:
            return True, effort
    return False, effort


@kernel
def _from_rest(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Start without load and slip: very stiff tyres slide whole at the slips of the first guess."""
    set_heading(car, case, 0.0, state)
    follow_surface(car, case, state, x)
    return newton_carried(
        car, elements, setup, case, state, road, x, work, STEPS
    )


@kernel
def _cold(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, state: Record, road: Records,
    x: Floats, work: Record, factor: float, thorough: bool,
) -> tuple[bool, int]:  # fmt: skip
    """Trim at one friction factor without a start nearby: plainly, along a path, low on the stops, by a
    fall.
    """
    x[FACTOR] = factor
    set_start(car, elements, setup, case, state, road, x, work)
    most = STEPS if thorough else _FEW_STEPS
    found, effort = newton_carried(
        car, elements, setup, case, state, road, x, work, most
    )
    if found or not thorough:
        return found, effort
    found, steps = _from_rest(car, elements, setup, case, state, road, x, work)
    effort += steps
    if found:
        return True, effort
    found, steps = _walk_case(
        car, elements, setup, case, part, state, road, x, work
    )
    effort += steps
    if found:
        return True, effort
    found, steps = _try_low(car, elements, setup, case, state, road, x, work)
    effort += steps
    if found:
        return True, effort
    found, steps = let_fall(car, elements, setup, case, state, road, x, work)
    return found, effort + steps


@kernel
def find_trim(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, state: Record, road: Records,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """A trim at full friction, or at the least factor above it that a path from more friction reaches.

    Whether there is one, and the evaluations. `x` is the trim, its last entry the factor; the balance
    there lies in `work`. `part` is room for a case.
    """
    effort = 0
    for factor in _FACTORS:
        thorough = factor == MOST_FACTOR
        found, steps = _cold(
            car,
            elements,
            setup,
            case,
            part,
            state,
            road,
            x,
            work,
            factor,
            thorough,
        )
        effort += steps
        if found:
            if factor > 1.0:
                _, steps = path.follow(
                    car, elements, setup, case, state, road, x, 1.0, work
                )
                effort += steps
                balance(car, elements, setup, case, state, road, x, work)
            return True, effort
    return False, effort


@kernel
def press_until_held(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> tuple[float, int]:  # fmt: skip
    """Press, in g, with which a plain start finds a trim at the most friction: little at first, then
    doubled.
    """
    press = _LEAST_PRESS
    effort = 0
    x[FACTOR] = MOST_FACTOR
    while press <= _MOST_PRESS:
        prepare(car, case, press, state)
        set_start(car, elements, setup, case, state, road, x, work)
        found, steps = newton_carried(
            car, elements, setup, case, state, road, x, work, _FEW_STEPS
        )
        effort += steps
        if found:
            break
        press *= 2.0
    return press, effort


@kernel
def release_press(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record, press: float, step: float,
) -> tuple[float, int]:  # fmt: skip
    """Let go of a press, in g, under which `x` is a trim, as far as the car still holds.

    Returns the press at the end: 0 where the car holds by itself after all, else the least that
    holds it. `x` is the trim there. Steps grow until one fails; then they are halved until they
    are too short to matter.
    """
    effort = 0
    growth = 1.5
    for _ in range(_PATH_POINTS):
        copy(x, work.kept)
        goal = max(0.0, press - step)
        prepare(car, case, goal, state)
        found, steps = newton(
            car, elements, setup, case, state, road, x, work, PATH_STEPS
        )
        effort += steps
        if found:
            press = goal
            step *= growth
        else:
            copy(work.kept, x)
            step *= 0.5
            growth = 1.0
        if press == 0.0 or step < _SHORTEST:
            break
    prepare(car, case, press, state)
    return press, effort


@kernel
def find_trim_nearby(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Trim from the answer of a setup nearby that had one; as `find_trim`."""
    source = start.fold if start.slides else start.state
    for j in range(UNKNOWNS):
        x[j] = source[j]
    x[FACTOR] = _MORE_FRICTION * start.friction_factor if start.slides else 1.0
    found, effort = newton_carried(
        car, elements, setup, case, state, road, x, work, PATH_STEPS
    )
    if not found:
        return False, effort
    if x[FACTOR] > 1.0:
        _, steps = path.follow(
            car, elements, setup, case, state, road, x, 1.0, work
        )
        effort += steps
        balance(car, elements, setup, case, state, road, x, work)
    return True, effort


@kernel
def press_nearby(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, float, int]:  # fmt: skip
    """Least press of a lost case from the answer of a setup nearby that was lost too; whether it was
    found.
    """
    for j in range(UNKNOWNS):
        x[j] = start.state[j]
    x[FACTOR] = MOST_FACTOR
    press = _MORE_PRESS[0] * start.press + _MORE_PRESS[1]
    prepare(car, case, press, state)
    found, effort = newton(
        car, elements, setup, case, state, road, x, work, PATH_STEPS
    )
    if not found:
        return False, press, effort
    press, steps = release_press(
        car, elements, setup, case, state, road, x, work, press, 0.5 * press
    )
    return True, press, effort + steps
