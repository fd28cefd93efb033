"""Newton's method for the trim at one friction factor, with care for wheels that lift."""

from __future__ import annotations

from math import cos, sqrt

from setupopt.physics import suspension, wheel
from setupopt.physics.balance import FACTOR, TRIAL, WORK, balance
from setupopt.physics.inputs import (
    RISE,
    SIDESLIP,
    TAU,
    UNKNOWNS,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import factor, solve
from setupopt.physics.start import set_start
from setupopt.units import GRAVITY

# Largest residual of an accepted trim, as a share of the weight (forces) or weight times metre.
TOLERANCE = 1e-10
# Most steps from a plain start.
STEPS = 30
_HALVINGS = 4
# A step may make things worse by this much on its way past a wheel that lifts or lands.
_WORSE = 2.0
# Longest believable single step: heave and wheel rise in metres, angles in radians and slips.
_LONGEST = 0.04
_LONGEST_SLIP = 0.1
# A wheel whose penetration is under this share of that on the pad is light, see `_settle_light_wheels`.
_LIGHT = 0.1
_SETTLINGS = 12
# Wheels are settled while the residual is above this share of the weight; below, plain Newton is faster.
_ROUGH = 0.01
# Share of a tyre's stiffness that a lifted wheel keeps for the direction of a step, see `_stiffen_lifted`.
_PART = 0.02
# Drag of a fall, as a share of the tyres' stiffness: at the start, at most and at least; and its most steps.
_DRAGS = (0.01, 0.003)
_MOST_DRAG = 10.0
_LEAST_DRAG = 1e-6
_FALL_STEPS = 100
# A fall ends in Newton's hands under this share of the weight, and is given up over that.
_LANDED = 1e-8
_CRASHED = 1e2
# Sideslip, steer and longitudinal slip of a trim stay below.
MOST_SLIP = 0.5
# Newton iterates that pass this do not return.
_GONE = 0.7


@kernel
def norm(r: Floats) -> float:
    """Root of the sum of squares over the rows of the balance."""
    total = 0.0
    for i in range(UNKNOWNS):
        total += r[i] * r[i]
    return sqrt(total)


@kernel
def worst(r: Floats) -> float:
    """Largest row of the balance; not a number where one is none."""
    most = 0.0
    for i in range(UNKNOWNS):
        if not abs(r[i]) <= most:
            most = abs(r[i])
    return most


@kernel
def step_direction(work: Record) -> float:
    """Newton step into `work.step`, cut to a believable length; the sign of the Jacobian's determinant.

    It is positive where the car would hold, up to the first fold.
    """
    for i in range(UNKNOWNS):
        work.step[i] = work.residual[i]
        for j in range(UNKNOWNS):
            work.matrix[i, j] = work.jacobian[i, j]
    sign = factor(work.matrix, work.pivots, UNKNOWNS)
    if sign == 0.0:
        return 0.0
    solve(work.matrix, work.pivots, UNKNOWNS, work.step)
    longest = 1.0
    for j in range(TAU):
        most = _LONGEST_SLIP if j >= SIDESLIP else _LONGEST
        longest = max(longest, abs(work.step[j]) / most)
    for j in range(UNKNOWNS):
        work.step[j] /= longest
    return sign


@kernel
def holds(work: Record) -> bool:
    """Whether every push on the body is answered by a push back; the Jacobian must lie factored in
    `work.matrix`.

    Minus the body's matrix, all other unknowns eliminated, must have positive leading minors (Sylvester's
    criterion; it is symmetric but for small terms). They follow from the body's part of the inverse.
    """
    inverse = work.inverse
    for c in range(3):
        for j in range(UNKNOWNS):
            work.column[j] = 0.0
        work.column[c] = 1.0
        solve(work.matrix, work.pivots, UNKNOWNS, work.column)
        for i in range(3):
            inverse[i, c] = work.column[i]
    det = inverse[0, 0] * (
        inverse[1, 1] * inverse[2, 2] - inverse[1, 2] * inverse[2, 1]
    )
    det -= inverse[0, 1] * (
        inverse[1, 0] * inverse[2, 2] - inverse[1, 2] * inverse[2, 0]
    )
    det += inverse[0, 2] * (
        inverse[1, 0] * inverse[2, 1] - inverse[1, 1] * inverse[2, 0]
    )
    first = inverse[1, 1] * inverse[2, 2] - inverse[1, 2] * inverse[2, 1]
    return bool(det < 0.0 and inverse[2, 2] < 0.0 and first > 0.0)


@kernel
def _upward(
    case: Record, car: Record, state: Record, w: int, work: Record
) -> float:
    """Force up on a wheel per normal force, with what its links carry, at the lateral force of the last
    balance.
    """
    wheels = work.wheels
    cosine = state.tilt_cos[w]
    sine = state.tilt_sin[w]
    tau = wheels.across[w] / wheels.load[w] if wheels.load[w] > 0.0 else 0.0
    link = case.transfer * car.link[w]
    return cosine + tau * sine - link * (tau * cosine - sine)


@kernel
def _settle_wheel(
    car: Record, setup: Record, case: Record, state: Record, w: int, x: Floats, work: Record
) -> None:  # fmt: skip
    """Move one wheel of trial `x` to where it balances under the body as it stands.

    Inclination and lateral force over load are those of the last balance. The sum falls as the wheel
    rises, ever more slowly, so Newton meets its one root.
    """
    wheels = work.wheels
    other = w + 1 - 2 * (w % 2)
    axle = w // 2
    body = x[0] - car.x[w] * x[1] + car.y[w] * x[2]
    body_other = x[0] - car.x[other] * x[1] + car.y[other] * x[2]
    pull = GRAVITY + state.pull[2]
    fixed = car.static_load[w] - car.unsprung_mass[w] * pull
    fixed += car.anti[w] * wheels.along[w]
    upward = _upward(case, car, state, w, work)
    cosine = state.tilt_cos[w]
    swing = state.radius[w] * cos(wheels.inclination[w])
    pad = car.radius[w] * cos(case.lean * setup.camber[w])
    pad -= setup.penetration[w] + state.ground[w] + state.rise[w]
    give = 1.0 / setup.carcass[w] if setup.carcass[w] > 0.0 else 0.0
    given = wheels.given[w]
    for _ in range(_SETTLINGS):
        total = swing - (pad + x[RISE + w]) * cosine
        _, n, _, s0, _, _ = wheel.carry(
            total, wheels.slant[w], state.curve_along[w], state.curve_across[w], w, car, setup, wheels, given
        )  # fmt: skip
        given = n * give
        travel = x[RISE + w] - body
        force, own, _ = suspension.spring_force(
            travel, x[RISE + other] - body_other, setup.wheel_rate[w], setup.anti_roll[axle], setup.third[axle]
        )  # fmt: skip
        stop, rate = suspension.stop_force(
            travel, car.bump_travel[w], car.droop_travel[w], car.stop_rate[w]
        )
        stiffness = s0 / (1.0 + s0 * give) * upward * cosine + own + rate
        step = (n * upward - fixed - force - stop) / stiffness
        x[RISE + w] += step
        if abs(step) < 1e-6:
            break


@kernel
def _settle_light_wheels(
    car: Record,
    setup: Record,
    case: Record,
    state: Record,
    share: float,
    x: Floats,
    work: Record,
) -> None:
    """Settle the wheels of trial `x` that carry little, or would after this step.

    A tyre's force is quadratic in its penetration: a straight step from a lightly loaded wheel
    overshoots into the air, where nothing would bring it back. Exact at the solution, so the
    last steps stay quadratic.
    """
    for w in range(4):
        light = _LIGHT * setup.penetration[w]
        depth = work.wheels.depth[w]
        if (
            depth < light
            or depth + share * state.tilt_cos[w] * work.step[RISE + w] < light
        ):
            _settle_wheel(car, setup, case, state, w, x, work)


@kernel
def _stiffen_lifted(car: Record, setup: Record, work: Record) -> bool:
    """Give lifted wheels part of a tyre's stiffness back, for one step's direction; whether there are any.

    A body on two wheels would rock on; a plain step then leads to where it balances on them, not
    to where a third wheel comes down.
    """
    weight = car.mass * GRAVITY
    lifted = False
    for w in range(4):
        if work.wheels.load[w] < _LIGHT * car.static_load[w]:
            work.jacobian[RISE + w, RISE + w] -= (
                _PART * car.static_load[w] / setup.penetration[w] / weight
            )
            lifted = True
    return lifted


@shared_kernel(*TRIAL, WORK, "i8", returns=("?", "i8"))
def newton(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record, most: int,
) -> tuple[bool, int]:  # fmt: skip
    """Damped Newton from `x`, in place, at its friction factor. Whether a stable trim was found, and the
    steps.

    In a trim that holds, every push on the body is answered by a push back; past a fold the car
    would fall away from the point where the forces balance.
    """
    work.trial[FACTOR] = x[FACTOR]
    balance(car, elements, setup, case, state, road, x, work)
    size = norm(work.residual)
    for step in range(most):
        sign = step_direction(work)
        if step > 0 and worst(work.residual) < TOLERANCE:
            return sign > 0.0 and holds(work) and is_inside(x, MOST_SLIP), step
        if sign <= 0.0 and _stiffen_lifted(car, setup, work):
            step_direction(work)
        if not norm(work.step) > -1.0:
            return False, step
        share = 1.0
        for _ in range(_HALVINGS):
            for j in range(UNKNOWNS):
                work.trial[j] = x[j] - share * work.step[j]
            if size > _ROUGH:
                _settle_light_wheels(
                    car, setup, case, state, share, work.trial, work
                )
            balance(car, elements, setup, case, state, road, work.trial, work)
            new_size = norm(work.residual)
            if new_size < _WORSE * size:
                break
            share *= 0.5
        if not new_size < 1e3 * max(size, 1e-3) or not is_inside(
            work.trial, _GONE
        ):
            return False, step
        size = new_size
        for j in range(UNKNOWNS):
            x[j] = work.trial[j]
    return False, most


@kernel
def is_inside(x: Floats, most: float) -> bool:
    """Whether sideslip, steer and longitudinal slips are all below `most`."""
    for j in range(SIDESLIP, TAU):  # noqa: SIM110 - kernels know no generators
        if not abs(x[j]) < most:
            return False
    return True


@kernel
def _both_axles_carry(work: Record) -> bool:
    """Whether each axle has a wheel on the surface."""
    load = work.wheels.load
    return load[0] + load[1] > 0.0 and load[2] + load[3] > 0.0


@kernel
def newton_carried(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record, most: int,
) -> tuple[bool, int]:  # fmt: skip
    """As `newton`; a trim that leaves an axle without load is none."""
    found, effort = newton(
        car, elements, setup, case, state, road, x, work, most
    )
    return found and _both_axles_carry(work), effort


@kernel
def _drag(car: Record, setup: Record, share: float, work: Record) -> None:
    """Slow a step down by a share of the tyres' stiffness, the body's as if it stood on them stiffly."""
    weight = car.mass * GRAVITY
    for w in range(4):
        stiffness = share * car.static_load[w] / setup.penetration[w] / weight
        work.jacobian[RISE + w, RISE + w] -= stiffness
        work.jacobian[0, 0] -= stiffness
        work.jacobian[1, 1] -= stiffness * car.x[w] ** 2
        work.jacobian[2, 2] -= stiffness * car.y[w] ** 2


@kernel
def _fall(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record, drag: float,
) -> int:  # fmt: skip
    """Let the car go from a plain start against a drag that fades as it comes to rest; the steps taken.

    Pseudo-transient continuation (C. T. Kelley and D. E. Keyes, SIAM J. Numer. Anal. 35 (1998) 508-523).
    """
    set_start(car, elements, setup, case, state, road, x, work)
    balance(car, elements, setup, case, state, road, x, work)
    size = norm(work.residual)
    for step in range(_FALL_STEPS):
        _drag(car, setup, drag, work)
        step_direction(work)
        for j in range(UNKNOWNS):
            x[j] -= work.step[j]
        balance(car, elements, setup, case, state, road, x, work)
        new_size = norm(work.residual)
        if not _LANDED < new_size < _CRASHED:
            return step + 1
        drag = min(
            _MOST_DRAG, max(_LEAST_DRAG, drag * min(2.0, new_size / size))
        )
        size = new_size
    return _FALL_STEPS


@kernel
def let_fall(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Trim where a slow fall ends, in `x`; whether it holds, and the steps.

    A car on two wheels rocks over until a third comes down. Newton's steps, which know no up and down, may
    cycle there between a wheel lifted and landed.
    """
    effort = 0
    for drag in _DRAGS:
        effort += _fall(car, elements, setup, case, state, road, x, work, drag)
        found, steps = newton_carried(
            car, elements, setup, case, state, road, x, work, STEPS
        )
        effort += steps
        if found:
            return True, effort
    return False, effort
