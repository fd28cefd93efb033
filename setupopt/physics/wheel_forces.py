"""Slip and forces of one wheel in a trial trim, with their slopes in the columns of `wheel.COLUMNS`."""

from __future__ import annotations

from math import atan, cos, sin, sqrt

from setupopt.physics import brush, wheel
from setupopt.physics.inputs import KAPPA, STEER, TAU, Floats, Record
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
) -> tuple[float, float, float]:
    """Slip of a wheel into `patch`; returns sine and cosine of its steer angle, and how its travelling
    direction turns by sideslip.
    """
    forward = state.cos_sideslip - state.bend * car.y[w]
    leftward = state.sin_sideslip + state.bend * car.x[w]
    steer = -car.side[w] * setup.toe[w]
    if w < 2:
        steer += x[STEER]
    sine = sin(steer)
    cosine = cos(steer)
    ahead = cosine * forward + sine * leftward
    tangent = (sine * forward - cosine * leftward) / ahead
    per_speed = 1.0 / (1.0 + x[KAPPA + w])
    wheels.slip_angle[w] = atan(tangent)
    wheels.step[w] = forward
    patch.slip_x = x[KAPPA + w] * per_speed
    patch.slip_y = tangent * per_speed
    turned = forward * state.cos_sideslip + leftward * state.sin_sideslip
    return sine, cosine, turned / (forward * forward + leftward * leftward)


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
    sine, cosine, turned = _slip(car, setup, state, x, w, wheels, patch)
    lean = patch.slant / sqrt(1.0 + patch.slant * patch.slant)
    patch.spin = car.thrust[w] * (
        car.side[w] * lean / state.radius[w] - state.bend
    )
    brush.forces(patch, wheels.table)
    _chain(
        car, case, state, x, w, weight, tau, contact, turned, sine, cosine, patch, wheels
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
def _press(
    car: Record, case: Record, w: int, weight: float, tau: float, contact: tuple[float, float, float],
    patch: Record, wheels: Record,
) -> None:  # fmt: skip
    """Slopes of the leaned patch's depth and slant by every column, into `wheels.pressed`."""
    s0, s1, _ = contact
    other = w + 1 - 2 * (w % 2)
    both = wheels.load[w] + wheels.load[other]
    share = wheels.load[w] / both
    flat = 1.0 + patch.slant * patch.slant
    leaning = flat * case.lean * car.side[w] * car.compliance[w] * weight
    turning = flat / (1.0 + wheels.slant[w] * wheels.slant[w])
    per_load = tau / both
    per_stiffness = 1.0 / s0
    for c in range(wheel.COLUMNS):
        load = 0.0
        across = 0.0
        tilted = 0.0
        if c < wheel.LOAD_COLUMNS:
            load = wheels.load_slope[w, c]
            across = 0.0 if c == wheel.OWN else wheels.load_slope[other, c]
            tilted = turning * wheels.slant_slope[w, c]
        elif c == wheel.OTHER:
            across = wheels.load_slope[other, wheel.OWN]
        elif c == wheel.BY_TAU:
            tilted = -leaning * share
        # by the lateral force that the wheel passes of its axle's
        tilted -= leaning * per_load * (load * (1.0 - share) - across * share)
        wheels.pressed[0, c] = (load - s1 * tilted) * per_stiffness
        wheels.pressed[1, c] = tilted


@kernel
def _chain(
    car: Record, case: Record, state: Record, x: Floats, w: int, weight: float, tau: float,
    contact: tuple[float, float, float], turned: float, sine: float, cosine: float,
    patch: Record, wheels: Record,
) -> None:  # fmt: skip
    """Forces in the car's axes, and their slopes by the wheel's columns, from the table of the brush."""
    table = wheels.table
    flat = sqrt(1.0 + patch.slant * patch.slant)
    spinning = car.thrust[w] * car.side[w] / (state.radius[w] * flat**3)
    for j in range(brush.COLUMNS):
        along = table[brush.ALONG, j]
        across = table[brush.ACROSS, j]
        table[brush.ALONG, j] = along * cosine - across * sine
        table[brush.ACROSS, j] = along * sine + across * cosine
    wheels.along[w] = table[brush.ALONG, brush.VALUE]
    wheels.across[w] = table[brush.ACROSS, brush.VALUE]
    wheels.aligning[w] = table[brush.MOMENT, brush.VALUE]
    _press(car, case, w, weight, tau, contact, patch, wheels)
    bent_x = state.along_slope[w]
    bent_y = state.across_slope[w]
    # the same load on another curvature: what it takes of depth
    lost = contact[2] * bent_y + wheels.load[w] * bent_x / patch.along
    bent = (0.5 * lost / contact[0], bent_y, bent_x)
    speed = 1.0 + x[KAPPA + w]
    by_angle = 1.0 / speed + patch.slip_y * patch.slip_y * speed
    slipping = (1.0 / speed, patch.slip_y, by_angle, by_angle * turned)
    for row in range(brush.ROWS):
        table[row, brush.BY_SLANT] += spinning * table[row, brush.BY_SPIN]
    _set_slopes(brush.ALONG, w, bent, slipping, wheels.along_slope, wheels)
    _set_slopes(brush.ACROSS, w, bent, slipping, wheels.across_slope, wheels)
    _set_slopes(brush.MOMENT, w, bent, slipping, wheels.aligning_slope, wheels)
    if w < 2:
        wheels.along_slope[w, wheel.BY_STEER] -= wheels.across[w]
        wheels.across_slope[w, wheel.BY_STEER] += wheels.along[w]


@kernel
def _set_slopes(
    row: int, w: int, bent: tuple[float, float, float], slipping: tuple[float, float, float, float],
    slopes: Floats, wheels: Record,
) -> None:  # fmt: skip
    """Slopes of one force by the wheel's columns, into its row of `slopes`.

    `bent`: what sideslip does to depth and curvatures across and along; `slipping`: one over the speed of the
    tread, slip across, how that grows with the angle, and with sideslip.
    """
    table = wheels.table
    per_speed, slip_y, by_angle, by_sideslip = slipping
    by_slip_y = table[row, brush.BY_SLIP_Y]
    for c in range(wheel.COLUMNS):
        slopes[w, c] = table[row, brush.BY_DEPTH] * wheels.pressed[0, c]
        slopes[w, c] += table[row, brush.BY_SLANT] * wheels.pressed[1, c]
    turned = table[row, brush.BY_DEPTH] * bent[0]
    turned += table[row, brush.BY_ACROSS] * bent[1]
    turned += table[row, brush.BY_ALONG] * bent[2]
    slopes[w, wheel.BY_SIDESLIP] += turned - by_slip_y * by_sideslip
    slopes[w, wheel.BY_STEER] = by_slip_y * by_angle if w < 2 else 0.0
    by_slip_x = table[row, brush.BY_SLIP_X] * per_speed
    slopes[w, wheel.BY_KAPPA] = (by_slip_x - by_slip_y * slip_y) * per_speed
    slopes[w, wheel.BY_FACTOR] = table[row, brush.BY_FRICTION]
