"""One wheel in a trial trim: its load, its slip and its forces, with slopes by all that it depends on.

Columns of a wheel's slopes: heave, pitch, roll, its own rise, sideslip, steer, its longitudinal slip, the
axle's lateral force over the weight, the logarithm of the friction factor, the rise of the wheel across the
axle.
"""

from __future__ import annotations

from math import atan2, cos, sin, sqrt, tan

from setupopt.physics import brush, tyre
from setupopt.physics.brush import BRUSH
from setupopt.physics.inputs import (
    KAPPA,
    RISE,
    SIDESLIP,
    STEER,
    TAU,
    Floats,
    Record,
    layout,
)
from setupopt.physics.jit import kernel
from setupopt.units import GRAVITY

COLUMNS = 10
OWN = 3
BY_SIDESLIP = 4
BY_STEER = 5
BY_KAPPA = 6
BY_TAU = 7
BY_FACTOR = 8
OTHER = 9
# Columns that the load depends on.
LOAD_COLUMNS = 5

# Scratch for the four wheels of one trial trim. depth: crown penetration of the tread; slant:
# tan(inclination); shift: how much less depth carries the same load per slant; leaned_depth: under the lean
# of the lateral force; load, moment: normal force and its moment about the tread's middle; along, across:
# tyre forces in the car's axes, across in the surface; aligning: moment about z. step: forward speed over the
# car's, per (1 + kappa); share: the tread's part of what it sinks with the carcass, 0 without load. Every
# *_slope is (wheels, COLUMNS).
WHEELS = layout(
    wheels="travel inclination slant depth shift leaned_depth load moment patch along across aligning "
    "slip_angle lean_force step share",
    more=(
        ("travel_slope", "f8", (4, COLUMNS)), ("load_slope", "f8", (4, COLUMNS)),
        ("moment_slope", "f8", (4, COLUMNS)), ("along_slope", "f8", (4, COLUMNS)),
        ("across_slope", "f8", (4, COLUMNS)), ("aligning_slope", "f8", (4, COLUMNS)),
        ("slant_slope", "f8", (4, COLUMNS)), ("ends", "f8", (5,)),
        ("table", "f8", (brush.ROWS, brush.COLUMNS)), ("patches", BRUSH, (4,)),
    ),
)  # fmt: skip

_MOST_STEPS = 40
_NEAR = 1e-4
# Newton's steps towards a first guess of the tread's depth on its carcass.
_POWER_STEPS = 3


@kernel
def global_column(w: int, column: int) -> int:
    """Number of an unknown from a column of wheel `w`; the friction factor comes after the unknowns."""
    if column < 3:
        return column
    if column == OWN:
        return RISE + w
    if column == OTHER:
        return RISE + w + 1 - 2 * (w % 2)
    if column == BY_SIDESLIP:
        return SIDESLIP
    if column == BY_STEER:
        return STEER
    if column == BY_KAPPA:
        return KAPPA + w
    if column == BY_TAU:
        return TAU + w // 2
    return TAU + 2


@kernel
def set_load(
    car: Record, setup: Record, case: Record, state: Record, x: Floats, w: int, wheels: Record,
    near: float = 0.0,
) -> None:  # fmt: skip
    """Travel, inclination, depth and normal force of a wheel, with their slopes; `near` as in `carry`."""
    side = car.side[w]
    tilt = state.tilt[w]
    travel = x[RISE + w] - (x[0] - car.x[w] * x[1] + car.y[w] * x[2])
    inclination = case.lean * (
        setup.camber[w] + car.camber_gain[w] * travel + side * (tilt - x[2])
    )
    crown = (
        car.radius[w] * cos(case.lean * setup.camber[w]) - setup.penetration[w]
    )
    crown += x[RISE + w] - state.ground[w] - state.rise[w]
    total = car.radius[w] * cos(inclination) - crown * cos(tilt)
    slant = tan(inclination)
    c_x = state.curve_along[w]
    c_y = state.curve_across[w]
    depth, n, m, s0, s1, s2 = carry(
        total, slant, c_x, c_y, w, car, setup, wheels, near
    )
    wheels.travel[w] = travel
    wheels.inclination[w] = inclination
    wheels.slant[w] = slant
    wheels.depth[w] = depth
    wheels.load[w] = n
    wheels.moment[w] = m
    wheels.patch[w] = s0 / setup.foundation[w]
    wheels.shift[w] = s1 / s0 if s0 > 0.0 else 0.0
    wheels.share[w] = depth / total if n > 0.0 else 0.0
    carcass = setup.carcass[w]
    give = 1.0 / carcass if carcass > 0.0 else 0.0
    for c in range(LOAD_COLUMNS):
        moved = (
            -1.0
            if c == 0
            else car.x[w]
            if c == 1
            else -car.y[w]
            if c == 2
            else 1.0
            if c == OWN
            else 0.0
        )
        turned = car.camber_gain[w] * moved
        sunk = 0.0
        bent_x = 0.0
        bent_y = 0.0
        if c == 2:
            turned -= side
        elif c == OWN:
            sunk = -cos(tilt)
        elif c == BY_SIDESLIP:
            turned += side * state.tilt_slope[w]
            sunk = (
                state.ground_slope[w] * cos(tilt)
                + crown * sin(tilt) * state.tilt_slope[w]
            )
            bent_x = state.along_slope[w]
            bent_y = state.across_slope[w]
        turned *= case.lean
        sunk -= car.radius[w] * sin(inclination) * turned
        slanted = (1.0 + slant * slant) * turned
        push = (
            s0 * sunk
            + s1 * slanted
            - 0.5 * s2 * bent_y
            - 0.5 * n * bent_x / c_x
        )
        load = push / (1.0 + s0 * give)
        wheels.travel_slope[w, c] = moved
        wheels.slant_slope[w, c] = slanted
        wheels.load_slope[w, c] = load
        # the moment's own slope by the curvature across is left out: it is thousandths of the rest
        wheels.moment_slope[w, c] = (
            s1 * (sunk - load * give) + s2 * slanted - 0.5 * m * bent_x / c_x
        )


@kernel
def carry(
    total: float, slant: float, c_x: float, c_y: float, w: int, car: Record, setup: Record, wheels: Record,
    near: float = 0.0,
) -> tuple[float, float, float, float, float, float]:  # fmt: skip
    """Depth of the tread, where tread and carcass in series sink by `total`; then what `tyre.contact`
    says. `near`: the tread's share of it a moment before, from which a step or two arrive; 0: not known.
    """
    half = car.half_width[w]
    k = setup.foundation[w]
    carcass = setup.carcass[w]
    depth = total if near == 0.0 or carcass <= 0.0 else near * total
    n, m, s0, s1, s2 = tyre.contact(
        depth, slant, c_x, c_y, half, k, wheels.ends
    )
    if carcass <= 0.0 or n <= 0.0:
        return depth, n, m, s0, s1, s2
    if near > 0.0:
        for _ in range(_MOST_STEPS):
            step = (n - carcass * (total - depth)) / (s0 + carcass)
            depth -= step
            n, m, s0, s1, s2 = tyre.contact(
                depth, slant, c_x, c_y, half, k, wheels.ends
            )
            if abs(step) < _NEAR * abs(
                total
            ):  # what is left is the square of that
                return depth, n, m, s0, s1, s2
    # a first guess: the load is nearly a power of the depth
    power = s0 * total / n
    share = 1.0
    for _ in range(_POWER_STEPS):
        carried = n * share**power
        share -= (carried - carcass * total * (1.0 - share)) / (
            power * carried / share + carcass * total
        )
    if 0.0 < share < 1.0:
        depth = share * total
        n, m, s0, s1, s2 = tyre.contact(
            depth, slant, c_x, c_y, half, k, wheels.ends
        )
    # the load grows ever faster with depth: from above, Newton's steps do not pass the root
    for _ in range(_MOST_STEPS):
        step = (n - carcass * (total - depth)) / (s0 + carcass)
        depth -= step
        n, m, s0, s1, s2 = tyre.contact(
            depth, slant, c_x, c_y, half, k, wheels.ends
        )
        if abs(step) < 1e-8 * abs(total):
            break
    return depth, n, m, s0, s1, s2


@kernel
def lean_further(
    car: Record, setup: Record, case: Record, state: Record, w: int, weight: float, tau: float,
    wheels: Record, patch: Record,
) -> None:  # fmt: skip
    """Lean of the wheel under its share of the axle's lateral force: into `patch`, with depth for the same
    load.
    """
    other = w + 1 - 2 * (w % 2)
    share = wheels.load[w] / (wheels.load[w] + wheels.load[other])
    force = weight * tau * share
    leaned = (
        wheels.inclination[w]
        - case.lean * car.side[w] * car.compliance[w] * force
    )
    t = tan(leaned)
    c_x = state.curve_along[w]
    c_y = state.curve_across[w]
    start = wheels.depth[w] - (t - wheels.slant[w]) * wheels.shift[w]
    depth = tyre.depth_for_load(
        wheels.load[w],
        start,
        t,
        c_x,
        c_y,
        car.half_width[w],
        setup.foundation[w],
        wheels.ends,
    )
    wheels.lean_force[w] = force
    wheels.leaned_depth[w] = depth
    patch.depth = depth
    patch.slant = t


@kernel
def set_patch(
    car: Record,
    setup: Record,
    case: Record,
    state: Record,
    w: int,
    factor: float,
    patch: Record,
) -> None:
    """What the brush needs to know beside depth, slant and slip."""
    exponent = car.friction_exponent[w]
    patch.along = state.curve_along[w]
    patch.across = state.curve_across[w]
    patch.half_width = car.half_width[w]
    patch.foundation = setup.foundation[w]
    patch.shear = car.shear[w] * setup.foundation[w]
    patch.friction = (
        0.75
        * car.friction_beta[w]
        * factor
        * case.surface_grip
        * car.friction[w]
    )
    patch.friction *= car.friction_pressure[w] ** exponent
    patch.exponent = exponent
    patch.floor = car.friction_floor[w]
    patch.side = car.side[w]


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
    lean_further(car, setup, case, state, w, weight, tau, wheels, patch)
    _, _, s0, s1, s2 = tyre.contact(
        patch.depth, patch.slant, state.curve_along[w], state.curve_across[w], car.half_width[w],
        setup.foundation[w], wheels.ends,
    )  # fmt: skip
    set_patch(car, setup, case, state, w, factor, patch)
    steer, turned = _slip(car, setup, state, x, w, wheels, patch)
    lean = patch.slant / sqrt(1.0 + patch.slant * patch.slant)
    patch.spin = car.thrust[w] * (
        car.side[w] * lean / car.radius[w] - state.bend
    )
    table = wheels.table
    brush.forces(patch, table)
    _chain(
        car,
        case,
        state,
        x,
        w,
        weight,
        tau,
        s0,
        s1,
        s2,
        turned,
        steer,
        patch,
        table,
        wheels,
    )


@kernel
def _nothing(w: int, wheels: Record) -> None:
    """A wheel in the air passes no force."""
    wheels.along[w] = 0.0
    wheels.across[w] = 0.0
    wheels.aligning[w] = 0.0
    wheels.lean_force[w] = 0.0
    wheels.leaned_depth[w] = wheels.depth[w]
    for c in range(COLUMNS):
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
    if c == BY_TAU:
        return weight * share
    own = wheels.load_slope[w, c] if c < LOAD_COLUMNS else 0.0
    across = 0.0
    if c == OTHER:
        across = wheels.load_slope[other, OWN]
    elif c < LOAD_COLUMNS and c != OWN:
        across = wheels.load_slope[other, c]
    return weight * tau * (own * (1.0 - share) - across * share) / both


@kernel
def _chain(
    car: Record, case: Record, state: Record, x: Floats, w: int, weight: float, tau: float, s0: float,
    s1: float, s2: float, turned: float, steer: float, patch: Record, table: Floats, wheels: Record,
) -> None:  # fmt: skip
    """Slopes of the forces by the wheel's columns, through depth, slant, curvatures, slip and spin."""
    t = patch.slant
    cos_steer = cos(steer)
    sin_steer = sin(steer)
    wheels.along[w] = table[0, 0] * cos_steer - table[1, 0] * sin_steer
    wheels.across[w] = table[0, 0] * sin_steer + table[1, 0] * cos_steer
    wheels.aligning[w] = table[2, 0]
    per_speed = 1.0 / (1.0 + x[KAPPA + w])
    angle_slip = per_speed + patch.slip_y * patch.slip_y * (1.0 + x[KAPPA + w])
    spin_slant = (
        car.thrust[w] * car.side[w] / (car.radius[w] * sqrt(1.0 + t * t) ** 3)
    )
    leaning = case.lean * car.side[w] * car.compliance[w]
    for c in range(COLUMNS):
        tilted = 0.0
        if c < LOAD_COLUMNS:
            tilted = (
                wheels.slant_slope[w, c]
                * (1.0 + t * t)
                / (1.0 + wheels.slant[w] * wheels.slant[w])
            )
        if leaning != 0.0 and (c < LOAD_COLUMNS or c in (BY_TAU, OTHER)):
            tilted -= (
                (1.0 + t * t) * leaning * _lean_slope(weight, tau, w, c, wheels)
            )
        bent_x = state.along_slope[w] if c == BY_SIDESLIP else 0.0
        bent_y = state.across_slope[w] if c == BY_SIDESLIP else 0.0
        load = wheels.load_slope[w, c] if c < LOAD_COLUMNS else 0.0
        # the same load at another lean: what it takes of depth
        sunk = (
            load
            - s1 * tilted
            + 0.5 * s2 * bent_y
            + 0.5 * wheels.load[w] * bent_x / patch.along
        ) / s0
        slip_x = 0.0
        slip_y = 0.0
        if c == BY_KAPPA:
            slip_x = per_speed * per_speed
            slip_y = -patch.slip_y * per_speed
        elif c == BY_STEER and w < 2:
            slip_y = angle_slip
        elif c == BY_SIDESLIP:
            slip_y = -angle_slip * turned
        spin = spin_slant * tilted
        grown = 1.0 if c == BY_FACTOR else 0.0
        fx = _row(
            table, 0, sunk, tilted, bent_x, bent_y, slip_x, slip_y, spin, grown
        )
        fy = _row(
            table, 1, sunk, tilted, bent_x, bent_y, slip_x, slip_y, spin, grown
        )
        wheels.along_slope[w, c] = fx * cos_steer - fy * sin_steer
        wheels.across_slope[w, c] = fx * sin_steer + fy * cos_steer
        wheels.aligning_slope[w, c] = _row(
            table, 2, sunk, tilted, bent_x, bent_y, slip_x, slip_y, spin, grown
        )
    if w < 2:
        wheels.along_slope[w, BY_STEER] -= wheels.across[w]
        wheels.across_slope[w, BY_STEER] += wheels.along[w]


@kernel
def _row(
    table: Floats, row: int, sunk: float, tilted: float, bent_x: float, bent_y: float, slip_x: float,
    slip_y: float, spin: float, grown: float,
) -> float:  # fmt: skip
    """Slope of one force along one direction."""
    return (
        table[row, brush.BY_DEPTH] * sunk
        + table[row, brush.BY_SLANT] * tilted
        + table[row, brush.BY_ALONG] * bent_x
        + table[row, brush.BY_ACROSS] * bent_y
        + table[row, brush.BY_SLIP_X] * slip_x
        + table[row, brush.BY_SLIP_Y] * slip_y
        + table[row, brush.BY_SPIN] * spin
        + table[row, brush.BY_FRICTION] * grown
    )
