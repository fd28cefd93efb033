"""Finding the trim: damped Newton, then paths towards it, then the press that would hold the car on."""

from __future__ import annotations

from math import sqrt

import numpy as np

from setupopt.physics import suspension, tyre
from setupopt.physics.balance import balance
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.linear import newton_step
from setupopt.physics.place import GRAVITY, prepare, turn_to

# Largest residual of an accepted trim, as a share of the weight (forces) or weight times metre.
TOLERANCE = 1e-10
# Most steps from a plain start, and from a point nearby.
STEPS, PATH_STEPS = 30, 10
_HALVINGS = 4
# A step may make things worse by this much on its way past a wheel that lifts or lands.
_WORSE = 3.0
# Longest believable single step: heave and wheel rise in metres, angles in radians.
_LONGEST = 0.04
# A wheel whose penetration is under this share of that on the pad is light, see `_settle_light_wheels`.
_LIGHT = 0.1
_SETTLINGS = 12
# Wheels are settled while the residual is above this share of the weight; below, plain Newton is faster.
_ROUGH = 0.01
# Share of a tyre's stiffness that a lifted wheel keeps for the direction of a step, see `_stiffen_lifted`.
_PART = 0.02
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
def _norm(r: Floats) -> float:
    total = 0.0
    for v in r:
        total += v * v
    return sqrt(total)


@kernel
def _worst(r: Floats) -> float:
    worst = 0.0
    for v in r:
        worst = max(worst, abs(v))
    return worst


@kernel
def set_start(car: Record, place: Record, x: Floats) -> None:
    """First guess: wheels follow the surface, the body follows the wheels."""
    r = place.rise
    x[0] = 0.25 * (r[0] + r[1] + r[2] + r[3])
    x[1] = 0.5 * (r[2] + r[3] - r[0] - r[1]) / car.wheelbase
    x[2] = 0.25 * ((r[0] - r[1]) / car.y[0] + (r[2] - r[3]) / car.y[2])
    x[3:] = r


@kernel
def _step_direction(work: Record) -> float:
    """Newton step into `work.step`, cut to a believable length; -1 where the car would hold, else 1."""
    side = newton_step(work.jacobian, work.residual, work.step, work.body_matrix, work.body_right)
    longest = _worst(work.step)
    if longest > _LONGEST:
        for j in range(7):
            work.step[j] *= _LONGEST / longest
    return side


@kernel
def _settle_wheel(car: Record, setup: Record, place: Record, w: int, x: Floats, work: Record) -> None:
    """Move one wheel of trial `x` to where it balances under the body as it stands.

    Inclination and the axle's sharing of lateral force are those of the last balance. The sum falls
    as the wheel rises, ever more slowly, so Newton meets its one root.
    """
    other, axle = w + 1 - 2 * (w % 2), w // 2
    body = x[0] - car.x[w] * x[1] + car.y[w] * x[2]
    body_other = x[0] - car.x[other] * x[1] + car.y[other] * x[2]
    fixed = car.static_load[w] - car.unsprung_mass[w] * (GRAVITY + place.pull[2])
    fixed += car.anti[w] * place.wheel_drive[w]
    t, cos_tilt, sin_tilt, tau = work.slant[w], place.cos_tilt[w], place.sin_tilt[w], work.tau[axle]
    upward = cos_tilt + tau * sin_tilt - place.transfer * car.link[w] * (tau * cos_tilt - sin_tilt)
    for _ in range(_SETTLINGS):
        crown = car.radius[w] - setup.penetration[w] + x[3 + w] - place.rise[w]
        n, _, s0, _, _ = tyre.contact(
            car.radius[w] - crown * cos_tilt, t, place.curve_along[w], place.curve_across[w],
            car.half_width[w], setup.foundation[w], work.ends,
        )  # fmt: skip
        travel = x[3 + w] - body
        force, own, _ = suspension.spring_force(
            travel, x[3 + other] - body_other, setup.wheel_rate[w], setup.anti_roll[axle], setup.third[axle]
        )
        stop, rate = suspension.stop_force(travel, car.bump_travel[w], car.droop_travel[w], car.stop_rate[w])
        step = (n * upward - fixed - force - stop) / (s0 * upward * cos_tilt + own + rate)
        x[3 + w] += step
        if abs(step) < 1e-6:
            break


@kernel
def _settle_light_wheels(
    car: Record, setup: Record, place: Record, share: float, x: Floats, work: Record
) -> None:
    """Settle the wheels of trial `x` that carry little, or would after this step.

    A tyre's force is quadratic in its penetration: a straight step from a lightly loaded wheel
    overshoots into the air, where nothing would bring it back. Exact at the solution, so the
    last steps stay quadratic.
    """
    for w in range(4):
        light = _LIGHT * setup.penetration[w]
        if work.depth[w] < light or work.depth[w] + share * place.cos_tilt[w] * work.step[3 + w] < light:
            _settle_wheel(car, setup, place, w, x, work)


@kernel
def _stiffen_lifted(car: Record, setup: Record, work: Record) -> None:
    """Give lifted wheels part of a tyre's stiffness back, for one step's direction.

    A body on two wheels would rock on; a plain step then leads to where it balances on them, not
    to where a third wheel comes down.
    """
    for w in range(4):
        if work.load[w] < _LIGHT * car.static_load[w]:
            work.jacobian[3 + w, 3 + w] -= _PART * car.static_load[w] / setup.penetration[w]


@kernel
def newton(
    car: Record, elements: Records, setup: Record, place: Record, flow: Records,
    x: Floats, work: Record, most: int,
) -> tuple[bool, int]:  # fmt: skip
    """Damped Newton from `x`, in place. Whether a stable trim was found in `most` steps, and the steps.

    In a trim that holds, every push on the body is answered by a push back; past a fold the car
    would fall away from the point where the forces balance.
    """
    weight, side = car.mass * GRAVITY, 0.0
    target, rough = TOLERANCE * weight, _ROUGH * weight
    balance(car, elements, setup, place, flow, x, work)
    size = _norm(work.residual)
    for step in range(most):
        if step > 0 and _worst(work.residual) < target:
            return side < 0.0, step
        side = _step_direction(work)
        if side > 0.0:
            _stiffen_lifted(car, setup, work)
            _step_direction(work)
        if not _norm(work.step) > -1.0:
            return False, step
        share = 1.0
        for _ in range(_HALVINGS):
            for j in range(7):
                work.trial[j] = x[j] - share * work.step[j]
            if size > rough:
                _settle_light_wheels(car, setup, place, share, work.trial, work)
            balance(car, elements, setup, place, flow, work.trial, work)
            new_size = _norm(work.residual)
            if new_size < _WORSE * size:
                break
            share *= 0.5
        if not new_size < 1e3 * size:
            return False, step
        size = new_size
        x[:] = work.trial
    return False, most


@kernel
def both_axles_carry(work: Record) -> bool:
    """Whether each axle has a wheel on the surface."""
    return work.load[0] + work.load[1] > 0.0 and work.load[2] + work.load[3] > 0.0


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
