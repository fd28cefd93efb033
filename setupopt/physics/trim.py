"""Finding the trim: damped Newton, then paths towards it, then the press that would hold the car on."""

from __future__ import annotations

from math import sqrt, tan

from setupopt.physics import suspension, tyre
from setupopt.physics.balance import balance
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.linear import newton_step
from setupopt.physics.place import GRAVITY, prepare, turn_to

# Largest residual of an accepted trim, as a share of the weight (forces) or weight times metre.
TOLERANCE = 1e-10
_STEPS = 30
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
_SHORTEST = 1e-9
_PATH_POINTS = 120
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
    """Newton step into `work.step`, cut to a believable length; the Jacobian's determinant."""
    det = newton_step(work.jacobian, work.residual, work.step, work.body_matrix, work.body_right)
    longest = _worst(work.step)
    if longest > _LONGEST:
        for j in range(7):
            work.step[j] *= _LONGEST / longest
    return det


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
    t, cos_tilt, sin_tilt, tau = tan(work.inclination[w]), place.cos_tilt[w], place.sin_tilt[w], work.tau[axle]
    upward = cos_tilt + tau * sin_tilt - car.link[w] * (tau * cos_tilt - sin_tilt)
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
        stop, rate = suspension.stop_force(
            travel, car.bump_travel[w], car.droop_travel[w], car.stop_rate[w]
        )
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
    car: Record, elements: Records, setup: Record, place: Record, flow: Records, x: Floats, work: Record
) -> tuple[bool, int]:
    """Damped Newton from `x`, in place. Whether a stable trim was found, and the steps taken.

    In a trim that holds, the determinant of the seven equations' Jacobian is negative; past a fold
    it changes sign, and the car would fall away from the point where the forces balance.
    """
    weight, det = car.mass * GRAVITY, 0.0
    target, rough = TOLERANCE * weight, _ROUGH * weight
    balance(car, elements, setup, place, flow, x, work)
    size = _norm(work.residual)
    for step in range(_STEPS):
        if step > 0 and _worst(work.residual) < target:
            return det < 0.0, step
        det = _step_direction(work)
        if det > 0.0:
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
    return False, _STEPS


@kernel
def _scale_case(case: Record, share: float, part: Record) -> None:
    """Case on the way from the flat straight road (share 0) to the real one (share 1), same speed."""
    part.heading, part.speed, part.slope = case.heading, case.speed, case.slope
    part.surface_grip, part.air_density = case.surface_grip, case.air_density
    part.surface_heading, part.lean = case.surface_heading, case.lean
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
        found, steps = newton(car, elements, setup, place, flow, x, work)
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
    """Press, in g, with which a plain start finds a trim, doubled until it does."""
    press, effort = 0.5, 0
    while press <= _MOST_PRESS:
        turn_to(car, case, case.roll_angle, press, place)
        set_start(car, place, x)
        found, steps = newton(car, elements, setup, place, flow, x, work)
        effort += steps
        if found:
            break
        press *= 2.0
    return press, effort


@kernel
def _release_press(
    car: Record, elements: Records, setup: Record, case: Record, place: Record, flow: Records,
    x: Floats, work: Record,
) -> tuple[float, int]:  # fmt: skip
    """Press the car on until it holds, then let go as far as it still holds.

    Returns the press in g at the end: 0 where the car holds by itself after all, else the least
    that holds it. `x` is the trim there. A step that fails is halved; one that is too short to
    matter ends the path.
    """
    press, effort = _press_until_held(car, elements, setup, case, place, flow, x, work)
    if press > _MOST_PRESS:
        return press, effort
    step = press
    for _ in range(_PATH_POINTS):
        work.last[:] = x
        goal = max(0.0, press - step)
        turn_to(car, case, case.roll_angle, goal, place)
        found, steps = newton(car, elements, setup, place, flow, x, work)
        effort += steps
        if found:
            press = goal
        else:
            x[:] = work.last
            step *= 0.5
        if press == 0.0 or step < _SHORTEST:
            break
    turn_to(car, case, case.roll_angle, press, place)
    return press, effort


@kernel
def both_axles_carry(work: Record) -> bool:
    """Whether each axle has a wheel on the surface."""
    return work.load[0] + work.load[1] > 0.0 and work.load[2] + work.load[3] > 0.0


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
    found, effort = newton(car, elements, setup, place, flow, x, work)
    if found and both_axles_carry(work):
        return 0.0, effort
    walked, steps = _walk_case(car, elements, setup, case, part, place, flow, x, work)
    effort += steps
    if walked:
        return 0.0, effort
    if found:
        set_start(car, place, x)
        newton(car, elements, setup, place, flow, x, work)
        return 0.0, effort
    press, steps = _release_press(car, elements, setup, case, place, flow, x, work)
    balance(car, elements, setup, place, flow, x, work)
    return press, effort + steps
