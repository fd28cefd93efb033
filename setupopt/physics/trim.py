"""Finding the trim: from a plain start, by paths towards it, then the press that would hold the car on."""

from __future__ import annotations

import numpy as np

from setupopt.physics.balance import balance
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.newton import STEPS, both_axles_carry, let_fall, newton, set_start
from setupopt.physics.place import prepare, turn_to

# Most steps from a point nearby.
PATH_STEPS = 10
# Error of the press in g, most points of a path, and the most press tried.
_SHORTEST = 1e-8
_PATH_POINTS = 120
_LEAST_PRESS = 0.004
# How far down the body is put to look for a trim on the bump stops, in bump travels.
_DEPTHS = (1.0, 1.2, 2.0, 3.5)
# How much more than a nearby setup's press is tried first: a share of it, and g.
_MARGIN_OF_PRESS = (1.02, 1e-3)
_MOST_PRESS = 256.0


@kernel
def _scale_case(case: Record, share: float, part: Record) -> None:
    """Case on the way from the flat straight road (share 0) to the real one (share 1), same speed."""
    part.heading, part.speed, part.slope = case.heading, case.speed, case.slope
    part.surface_grip, part.air_density = case.surface_grip, case.air_density
    part.surface_heading, part.lean = case.surface_heading, case.lean
    part.transfer = case.transfer
    part.roll_angle, part.acceleration = share * case.roll_angle, share * case.acceleration
    part.path_curvature, part.turn_curvature = share * case.path_curvature, share * case.turn_curvature
    part.headwind, part.crosswind = share * case.headwind, share * case.crosswind
    part.curvature, part.floor_curvature = share * case.curvature, share * case.floor_curvature
    for side in range(2):
        part.joints[side], part.floor_joints[side] = case.joints[side], case.floor_joints[side]
        for j in range(int(case.joints[side])):
            part.joint[side, j], part.beyond[side, j] = case.joint[side, j], share * case.beyond[side, j]
    for w in range(4):
        part.bump[w] = share * case.bump[w]


@kernel
def _walk_case(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, place: Record,
    flow: Records, x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Path from the flat straight road to the case, roll angle and all the rest together.

    Each point starts from the last one's trim; `place` ends on the case itself.
    """
    done, share, effort, found = 0.0, 0.25, 0, True
    for _ in range(_PATH_POINTS):
        goal = min(1.0, done + share) if effort > 0 else 0.0
        _scale_case(case, goal, part)
        prepare(car, elements, setup, part, place, flow)
        if effort == 0:
            set_start(car, place, x)
        work.last[:] = x
        found, steps = newton(car, elements, setup, place, flow, x, work, PATH_STEPS)
        effort += steps + 1
        if found and goal >= 1.0:
            return True, effort
        if found:
            done, share = goal, 1.5 * share
        else:
            x[:] = work.last
            share *= 0.4
        if share < 1e-3 or (goal == 0.0 and not found):
            break
    prepare(car, elements, setup, case, place, flow)
    return False, effort


@kernel
def _press_until_held(
    car: Record, elements: Records, setup: Record, case: Record, place: Record, flow: Records,
    x: Floats, work: Record,
) -> tuple[float, int]:  # fmt: skip
    """Press, in g, with which a plain start finds a trim: little at first, doubled until it does."""
    press, effort = _LEAST_PRESS, 0
    while press <= _MOST_PRESS:
        turn_to(car, case, case.roll_angle, press, place)
        set_start(car, place, x)
        found, steps = newton(car, elements, setup, place, flow, x, work, STEPS)
        effort += steps
        if found and both_axles_carry(work):
            break
        press *= 2.0
    return press, effort


@kernel
def release_press(
    car: Record, elements: Records, setup: Record, case: Record, place: Record, flow: Records,
    x: Floats, work: Record, press: float, step: float,
) -> tuple[float, int]:  # fmt: skip
    """Let go of a press, in g, under which `x` is a trim, as far as the car still holds.

    Returns the press at the end: 0 where the car holds by itself after all, else the least that
    holds it. `x` is the trim there. Steps grow until one fails; then they are halved until they
    are too short to matter.
    """
    effort, growth = 0, 1.5
    for _ in range(_PATH_POINTS):
        work.last[:] = x
        goal = max(0.0, press - step)
        turn_to(car, case, case.roll_angle, goal, place)
        found, steps = newton(car, elements, setup, place, flow, x, work, PATH_STEPS)
        effort += steps
        if found:
            press = goal
            step *= growth
        else:
            x[:] = work.last
            step, growth = 0.5 * step, 1.0
        if press == 0.0 or step < _SHORTEST:
            break
    turn_to(car, case, case.roll_angle, press, place)
    balance(car, elements, setup, place, flow, x, work)
    return press, effort


@kernel
def _try_low(
    car: Record, elements: Records, setup: Record, place: Record, flow: Records, x: Floats, work: Record
) -> tuple[bool, int]:
    """Starts with the body down on its bump stops, or deeper: there suction may hold it."""
    travel, effort = 0.25 * np.sum(car.bump_travel), 0
    for depth in _DEPTHS:
        set_start(car, place, x)
        x[0] -= depth * travel
        for w in range(4):
            x[3 + w] -= 0.2 * depth * setup.penetration[w]
        found, steps = newton(car, elements, setup, place, flow, x, work, STEPS)
        effort += steps
        if found and both_axles_carry(work):
            return True, effort
    return False, effort


@kernel
def find_trim(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, place: Record,
    flow: Records, x: Floats, work: Record,
) -> tuple[float, int]:  # fmt: skip
    """Trim of a prepared case, into `x`; `work` holds its forces. Returns press in g and effort.

    Press 0: the car holds. Press above 0: contact is lost, and `x` is the trim in which that much
    extra press towards the surface would just hold it. `part` is room for a case. A trim with an
    axle in the air is only taken where no path leads to a better one.
    """
    set_start(car, place, x)
    found, effort = newton(car, elements, setup, place, flow, x, work, STEPS)
    if found and both_axles_carry(work):
        return 0.0, effort
    walked, steps = _walk_case(car, elements, setup, case, part, place, flow, x, work)
    effort += steps
    if walked:
        return 0.0, effort
    low, steps = _try_low(car, elements, setup, place, flow, x, work)
    effort += steps
    if low:
        return 0.0, effort
    fallen, steps = let_fall(car, elements, setup, place, flow, x, work)
    effort += steps
    if fallen:
        return 0.0, effort
    if found:
        set_start(car, place, x)
        newton(car, elements, setup, place, flow, x, work, STEPS)
        return 0.0, effort
    press, steps = _press_until_held(car, elements, setup, case, place, flow, x, work)
    effort += steps
    if press > _MOST_PRESS:
        return press, effort
    press, steps = release_press(car, elements, setup, case, place, flow, x, work, press, 0.25 * press)
    return press, effort + steps


@kernel
def find_trim_nearby(
    car: Record, elements: Records, setup: Record, case: Record, place: Record, flow: Records,
    x: Floats, work: Record, start: Floats,
) -> tuple[bool, float, int]:  # fmt: skip
    """Trim from that of a setup nearby: `start` (8), its state and its press; not a number, none.

    Returns whether it was found this way, the press in g and the effort.
    """
    press = start[7]
    if press != press:
        return False, 0.0, 0
    x[:] = start[:7]
    if press > 0.0:
        press = _MARGIN_OF_PRESS[0] * press + _MARGIN_OF_PRESS[1]
        turn_to(car, case, case.roll_angle, press, place)
    found, effort = newton(car, elements, setup, place, flow, x, work, PATH_STEPS)
    if press > 0.0 and found:
        press, steps = release_press(car, elements, setup, case, place, flow, x, work, press, 0.5 * press)
        return True, press, effort + steps
    turn_to(car, case, case.roll_angle, 0.0, place)
    return found and both_axles_carry(work), 0.0, effort
