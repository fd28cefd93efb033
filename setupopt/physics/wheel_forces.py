"""Slip and forces of one wheel in a trial trim, with their slopes in the columns of `wheel.COLUMNS`."""

from __future__ import annotations

from math import atan2, cos, sin, sqrt, tan

from setupopt.physics import brush, wheel
from setupopt.physics.inputs import KAPPA, SIDESLIP, STEER, TAU, Floats, Record
from setupopt.physics.jit import kernel
from setupopt.units import GRAVITY


@kernel
def _slip(
    car: Record,
    setup: Record,
    state: Record,
    x: Floats,
    w: int,
    wheels: Record,
    patch: Record,
) -> tuple[float, float]:
    """Slip of a wheel into `patch`; returns its steer angle and how its travelling direction turns by
    sideslip.
    """
    sine = sin(x[SIDESLIP])
    cosine = cos(x[SIDESLIP])
    forward = cosine - state.bend * car.y[w]
    leftward = sine + state.bend * car.x[w]
    steer = -car.side[w] * setup.toe[w]
    if w < 2:
        steer += x[STEER]
    angle = steer - atan2(leftward, forward)
    per_speed = 1.0 / (1.0 + x[KAPPA + w])
    wheels.slip_angle[w] = angle
    wheels.step[w] = forward
    patch.slip_x = x[KAPPA + w] * per_speed
    patch.slip_y = tan(angle) * per_speed
    turned = (forward * cosine + leftward * sine) / (
        forward * forward + leftward * leftward
    )
    return steer, turned


@kernel
def set_forces(
    car: Record,
    setup: Record,
    case: Record,
    state: Record,
    x: Floats,
    w: int,
    factor: float,
    wheels: Record,
) -> None:
    """Tyre forces of a wheel in the car's axes, with their slopes; loads of both wheels must be there."""
    patch = wheels.patches[w]
    if wheels.load[w] <= 0.0:
        _nothing(w, wheels)
        _slip(car, setup, state, x, w, wheels, patch)
        return
    weight = car.mass * GRAVITY
    axle = w // 2
    tau = x[TAU + axle]
    contact = wheel.lean_further(
        car, setup, case, state, w, weight, tau, wheels, patch
    )
    wheel.set_patch(car, setup, case, state, w, factor, patch)
    steer, turned = _slip(car, setup, state, x, w, wheels, patch)
    lean = patch.slant / sqrt(1.0 + patch.slant * patch.slant)
    patch.spin = car.thrust[w] * (
        car.side[w] * lean / state.radius[w] - state.bend
    )
    brush.forces(patch, wheels.table)
    _chain(
        car, case, state, x, w, weight, tau, contact, turned, steer, patch, wheels
    )  # fmt: skip


@kernel
def _nothing(w: int, wheels: Record) -> None:
    """A wheel in the air passes no force."""
    wheels.along[w] = 0.0
    wheels.across[w] = 0.0
    wheels.aligning[w] = 0.0
    wheels.lean_force[w] = 0.0
    wheels.leaned_depth[w] = wheels.depth[w]
    for c in range(wheel.COLUMNS):
        wheels.along_slope[w, c] = 0.0
        wheels.across_slope[w, c] = 0.0
        wheels.aligning_slope[w, c] = 0.0


@kernel
def _lean_slope(
    weight: float, tau: float, w: int, c: int, wheels: Record
) -> float:
    """Slope of the lateral force that leans a wheel, by one column."""
    other = w + 1 - 2 * (w % 2)
    both = wheels.load[w] + wheels.load[other]
    share = wheels.load[w] / both
    if c == wheel.BY_TAU:
        return weight * share
    own = wheels.load_slope[w, c] if c < wheel.LOAD_COLUMNS else 0.0
    across = 0.0
    if c == wheel.OTHER:
        across = wheels.load_slope[other, wheel.OWN]
    elif c < wheel.LOAD_COLUMNS and c != wheel.OWN:
        across = wheels.load_slope[other, c]
    return weight * tau * (own * (1.0 - share) - across * share) / both


@kernel
def _pressed(
    car: Record, case: Record, state: Record, w: int, c: int, weight: float, tau: float,
    contact: tuple[float, float, float], patch: Record, wheels: Record,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Slopes of the leaned patch's depth, slant and curvatures across and along, by column `c`."""
    s0, s1, s2 = contact
    flat = 1.0 + patch.slant * patch.slant
    load = 0.0
    tilted = 0.0
    if c < wheel.LOAD_COLUMNS:
        load = wheels.load_slope[w, c]
        upright = 1.0 + wheels.slant[w] * wheels.slant[w]
        tilted = wheels.slant_slope[w, c] * flat / upright
    if c < wheel.LOAD_COLUMNS or c in (wheel.BY_TAU, wheel.OTHER):
        leaning = case.lean * car.side[w] * car.compliance[w]
        tilted -= flat * leaning * _lean_slope(weight, tau, w, c, wheels)
    bent_x = state.along_slope[w] if c == wheel.BY_SIDESLIP else 0.0
    bent_y = state.across_slope[w] if c == wheel.BY_SIDESLIP else 0.0
    # the same load at another lean: what it takes of depth
    lost = 0.5 * (s2 * bent_y + wheels.load[w] * bent_x / patch.along)
    return (load - s1 * tilted + lost) / s0, tilted, bent_y, bent_x


@kernel
def _slipping(
    x: Floats, w: int, c: int, turned: float, patch: Record
) -> tuple[float, float]:
    """Slopes of the slip along and across by column `c`."""
    speed = 1.0 + x[KAPPA + w]
    by_angle = 1.0 / speed + patch.slip_y * patch.slip_y * speed
    if c == wheel.BY_KAPPA:
        return 1.0 / (speed * speed), -patch.slip_y / speed
    if c == wheel.BY_STEER and w < 2:
        return 0.0, by_angle
    return 0.0, (-by_angle * turned if c == wheel.BY_SIDESLIP else 0.0)


@kernel
def _chain(
    car: Record, case: Record, state: Record, x: Floats, w: int, weight: float, tau: float,
    contact: tuple[float, float, float], turned: float, steer: float, patch: Record, wheels: Record,
) -> None:  # fmt: skip
    """Forces in the car's axes, and their slopes by the wheel's columns, from the table of the brush."""
    table = wheels.table
    cosine = cos(steer)
    sine = sin(steer)
    wheels.along[w] = table[0, 0] * cosine - table[1, 0] * sine
    wheels.across[w] = table[0, 0] * sine + table[1, 0] * cosine
    wheels.aligning[w] = table[2, 0]
    flat = sqrt(1.0 + patch.slant * patch.slant)
    spinning = car.thrust[w] * car.side[w] / (state.radius[w] * flat**3)
    for c in range(wheel.COLUMNS):
        way = wheels.way
        pressed = _pressed(
            car, case, state, w, c, weight, tau, contact, patch, wheels
        )
        for j in range(4):
            way[brush.BY_DEPTH + j] = pressed[j]
        slip_x, slip_y = _slipping(x, w, c, turned, patch)
        way[brush.BY_SLIP_X] = slip_x
        way[brush.BY_SLIP_Y] = slip_y
        way[brush.BY_SPIN] = spinning * pressed[1]
        way[brush.BY_FRICTION] = 1.0 if c == wheel.BY_FACTOR else 0.0
        fx = _along_way(table, 0, way)
        fy = _along_way(table, 1, way)
        wheels.along_slope[w, c] = fx * cosine - fy * sine
        wheels.across_slope[w, c] = fx * sine + fy * cosine
        wheels.aligning_slope[w, c] = _along_way(table, 2, way)
    if w < 2:
        wheels.along_slope[w, wheel.BY_STEER] -= wheels.across[w]
        wheels.across_slope[w, wheel.BY_STEER] += wheels.along[w]


@kernel
def _along_way(table: Floats, row: int, way: Floats) -> float:
    """Slope of one force along one direction of the brush's columns."""
    total = 0.0
    for j in range(brush.BY_DEPTH, brush.COLUMNS):
        total += table[row, j] * way[j]
    return total
