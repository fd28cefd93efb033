"""Newton's method for the trim, with care for wheels that lift; and, where it cycles, a slow fall."""

from __future__ import annotations

from math import sqrt

from setupopt.physics import suspension, tyre
from setupopt.physics.balance import balance
from setupopt.physics.inputs import Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.linear import newton_step
from setupopt.units import GRAVITY

# Largest residual of an accepted trim, as a share of the weight (forces) or weight times metre.
TOLERANCE = 1e-10
# Most steps from a plain start.
STEPS = 30
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
# Drag of a fall, as a share of the tyres' stiffness: at the start, at most and at least; and its most steps.
_DRAGS, _MOST_DRAG, _LEAST_DRAG = (0.01, 0.003), 10.0, 1e-6
_FALL_STEPS = 100
# A fall ends in Newton's hands under this share of the weight, and is given up over that.
_LANDED, _CRASHED = 1e-8, 1e2


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
def _drag(car: Record, setup: Record, share: float, work: Record) -> None:
    """Slow a step down by a share of the tyres' stiffness, the body's as if it stood on them stiffly."""
    for w in range(4):
        stiffness = share * car.static_load[w] / setup.penetration[w]
        work.jacobian[3 + w, 3 + w] -= stiffness
        work.jacobian[0, 0] -= stiffness
        work.jacobian[1, 1] -= stiffness * car.x[w] ** 2
        work.jacobian[2, 2] -= stiffness * car.y[w] ** 2


@kernel
def _fall(
    car: Record, elements: Records, setup: Record, place: Record, flow: Records,
    x: Floats, work: Record, drag: float,
) -> int:  # fmt: skip
    """Let the car go from a plain start against a drag that fades as it comes to rest; the steps taken.

    Pseudo-transient continuation (C. T. Kelley and D. E. Keyes, SIAM J. Numer. Anal. 35 (1998) 508-523).
    """
    weight = car.mass * GRAVITY
    set_start(car, place, x)
    balance(car, elements, setup, place, flow, x, work)
    size = _norm(work.residual)
    for step in range(_FALL_STEPS):
        _drag(car, setup, drag, work)
        _step_direction(work)
        for j in range(7):
            x[j] -= work.step[j]
        balance(car, elements, setup, place, flow, x, work)
        new_size = _norm(work.residual)
        if not _LANDED * weight < new_size < _CRASHED * weight:
            return step + 1
        drag = min(_MOST_DRAG, max(_LEAST_DRAG, drag * min(2.0, new_size / size)))
        size = new_size
    return _FALL_STEPS


@kernel
def let_fall(
    car: Record, elements: Records, setup: Record, place: Record, flow: Records, x: Floats, work: Record
) -> tuple[bool, int]:
    """Trim where a slow fall ends, in `x`; whether it holds, and the steps.

    A car on two wheels rocks over until a third comes down. Newton's steps, which know no up and down, may
    cycle there between a wheel lifted and landed.
    """
    effort = 0
    for drag in _DRAGS:
        effort += _fall(car, elements, setup, place, flow, x, work, drag)
        found, steps = newton(car, elements, setup, place, flow, x, work, STEPS)
        effort += steps
        if found and both_axles_carry(work):
            return True, effort
    return False, effort
