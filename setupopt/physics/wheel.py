"""One wheel in a trial trim: its load and its patch, with slopes by all that they depend on.

Columns of a wheel's slopes: heave, pitch, roll, its own rise, sideslip, steer, its longitudinal slip, the
axle's lateral force over the weight, the logarithm of the friction factor, the rise of the wheel across the
axle.
"""

from __future__ import annotations

from math import cos, sin, tan

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
# car's, per (1 + kappa); total: what tread and carcass sink by; given: what the carcass gives of it, 0 without
# load, giving: how that grows with it; bent: how much deeper the leaned tread is than on a straight line. From
# the last four the next trial trim starts.
# Every *_slope is (wheels, COLUMNS); pressed: slopes of depth and slant of one leaned patch.
WHEELS = layout(
    wheels="travel inclination slant depth shift leaned_depth load moment patch along across aligning "
    "slip_angle lean_force step given giving total bent",
    more=(
        ("travel_slope", "f8", (4, COLUMNS)), ("load_slope", "f8", (4, COLUMNS)),
        ("moment_slope", "f8", (4, COLUMNS)), ("along_slope", "f8", (4, COLUMNS)),
        ("across_slope", "f8", (4, COLUMNS)), ("aligning_slope", "f8", (4, COLUMNS)),
        ("slant_slope", "f8", (4, COLUMNS)), ("ends", "f8", (5,)),
        ("table", "f8", (brush.ROWS, brush.COLUMNS)), ("pressed", "f8", (2, COLUMNS)),
        ("patches", BRUSH, (4,)),
    ),
)  # fmt: skip

# The spinning share of an unsprung mass without wheel_inertia_kgm2: common practice, no source.
_SPIN_SHARE = 0.3
_MOST_STEPS = 40
# A leaned tread further from the straight line, m, or nowhere at all, says nothing about the next trial.
_MOST_BENT = 0.01


@kernel
def spinning_mass(car: Record, w: int) -> float:
    """Inertia of a wheel over its radius squared, kg; a share of the unsprung mass where it is not given."""
    if car.spin_inertia > 0.0:
        return 0.25 * car.spin_inertia / car.radius[w]
    return _SPIN_SHARE * car.unsprung_mass[w]


@kernel
def forget(wheels: Record) -> None:
    """Forget where trial trims before stood: the answer of a case must not depend on the case before."""
    for w in range(4):
        wheels.given[w] = 0.0
        wheels.bent[w] = 0.0


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
    has_slopes: bool = True,
) -> None:  # fmt: skip
    """Travel, inclination, depth and normal force of a wheel, with their slopes."""
    tilt = state.tilt[w]
    travel = x[RISE + w] - (x[0] - car.x[w] * x[1] + car.y[w] * x[2])
    inclination = case.lean * (
        setup.camber[w]
        + car.camber_gain[w] * travel
        + car.side[w] * (tilt - x[2])
    )
    crown = (
        car.radius[w] * cos(case.lean * setup.camber[w]) - setup.penetration[w]
    )
    crown += x[RISE + w] - state.ground[w] - state.rise[w]
    upright = cos(inclination)
    leaned = sin(inclination)
    slant = leaned / upright
    across = (state.tilt_cos[w], state.tilt_sin[w])
    total = state.radius[w] * upright - crown * across[0]
    c_x = state.curve_along[w]
    c_y = state.curve_across[w]
    given = 0.0
    if wheels.given[w] > 0.0:
        given = wheels.given[w] + wheels.giving[w] * (total - wheels.total[w])
        if (
            not 0.0 < given < total
        ):  # the trial before was far off, or had no number
            given = 0.0
    depth, n, m, s0, s1, s2 = carry(
        total, slant, c_x, c_y, w, car, setup, wheels, given
    )
    wheels.travel[w] = travel
    wheels.inclination[w] = inclination
    wheels.slant[w] = slant
    wheels.depth[w] = depth
    wheels.load[w] = n
    wheels.moment[w] = m
    wheels.patch[w] = s0 / setup.foundation[w]
    wheels.shift[w] = s1 / s0 if s0 > 0.0 else 0.0
    give = 1.0 / setup.carcass[w] if setup.carcass[w] > 0.0 else 0.0
    wheels.given[w] = n * give
    wheels.giving[w] = s0 * give / (1.0 + s0 * give)
    wheels.total[w] = total
    if not has_slopes:
        return
    for c in range(LOAD_COLUMNS):
        sunk, slanted = _sinking(
            car, case, state, w, c, crown, across, leaned, slant, wheels
        )
        bent_x = state.along_slope[w] if c == BY_SIDESLIP else 0.0
        bent_y = state.across_slope[w] if c == BY_SIDESLIP else 0.0
        shrunk = 0.5 * bent_x / c_x
        push = s0 * sunk + s1 * slanted - 0.5 * s2 * bent_y - n * shrunk
        load = push / (1.0 + s0 * give)
        wheels.load_slope[w, c] = load
        # the moment's own slope by the curvature across is left out: it is thousandths of the rest
        turned = s1 * (sunk - load * give) + s2 * slanted
        wheels.moment_slope[w, c] = turned - m * shrunk


@kernel
def _sinking(
    car: Record, case: Record, state: Record, w: int, c: int, crown: float, across: tuple[float, float],
    leaned: float, slant: float, wheels: Record,
) -> tuple[float, float]:  # fmt: skip
    """Slopes of what tread and carcass sink by and of the slant, by column `c`; that of the travel too.

    `across`: cosine and sine of the surface's tilt; `leaned`: sine of the inclination.
    """
    cosine, sine = across
    side = car.side[w]
    moved = 0.0
    turned = 0.0
    sunk = 0.0
    if c == 0:
        moved = -1.0
    elif c == 1:
        moved = car.x[w]
    elif c == 2:
        moved = -car.y[w]
        turned = -side
    elif c == OWN:
        moved = 1.0
        sunk = -cosine
    elif c == BY_SIDESLIP:
        turned = side * state.tilt_slope[w]
        sunk = crown * sine * state.tilt_slope[w]
        sunk += state.ground_slope[w] * cosine
    turned = case.lean * (turned + car.camber_gain[w] * moved)
    sunk -= state.radius[w] * leaned * turned
    slanted = (1.0 + slant * slant) * turned
    wheels.travel_slope[w, c] = moved
    wheels.slant_slope[w, c] = slanted
    return sunk, slanted


@kernel
def carry(
    total: float, slant: float, c_x: float, c_y: float, w: int, car: Record, setup: Record, wheels: Record,
    given: float,
) -> tuple[float, float, float, float, float, float]:  # fmt: skip
    """Depth of the tread, where tread and carcass in series sink by `total`; then what `tyre.contact`
    says. `given`: what the carcass gave a moment before, from which a step or two arrive; 0: not known.

    The load grows ever faster with depth: from above, steps do not pass the root.
    """
    half = car.half_width[w]
    k = setup.foundation[w]
    carcass = setup.carcass[w]
    depth = total - given
    n = m = s0 = s1 = s2 = 0.0
    for _ in range(_MOST_STEPS):
        found = tyre.contact_bent(depth, slant, c_x, c_y, half, k, wheels.ends)
        if depth == total and (carcass <= 0.0 or found[0] <= 0.0):
            return total, found[0], found[1], found[2], found[3], found[4]
        if found[0] <= 0.0:
            depth = total
            continue
        missing = carcass * (total - depth) - found[0]
        step = tyre.step_towards(missing, found[2] + carcass, found[5])
        depth += step
        n, m, s0, s1, s2 = tyre.deepen(found, step)
        if abs(step) < tyre.SHORT * abs(total):
            break
    return depth, n, m, s0, s1, s2


@kernel
def lean_further(
    car: Record, setup: Record, case: Record, state: Record, w: int, weight: float, tau: float,
    wheels: Record, patch: Record,
) -> tuple[float, float, float]:  # fmt: skip
    """Lean of the wheel under its share of the axle's lateral force: into `patch`, with depth for the same
    load. Returns s0, s1 and s2 of `tyre.contact` there.
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
    straight = wheels.depth[w] - (t - wheels.slant[w]) * wheels.shift[w]
    depth, s0, s1, s2 = tyre.depth_for_load(
        wheels.load[w],
        straight + wheels.bent[w],
        t,
        c_x,
        c_y,
        car.half_width[w],
        setup.foundation[w],
        wheels.ends,
    )
    wheels.lean_force[w] = force
    wheels.leaned_depth[w] = depth
    bent = depth - straight
    wheels.bent[w] = bent if abs(bent) < _MOST_BENT else 0.0
    patch.depth = depth
    patch.slant = t
    return s0, s1, s2


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
