"""Forces on the car in a trial trim, what is left over, and how that changes: residual and Jacobian.

Unknowns: see `inputs.UNKNOWNS`. Rows, over the weight (moments over weight times a metre): heave force, pitch
and roll moment of the body, normal force of the four wheels, side force, yaw moment, longitudinal slip of the
four wheels, lateral force of the axles. All zero in equilibrium. Docs/model.md, trim.
"""

from __future__ import annotations

from setupopt.physics import air, drive, suspension, wheel, wheel_forces
from setupopt.physics.case_state import CASE_STATE, ROADBED, set_heading
from setupopt.physics.inputs import (
    CASE,
    ELEMENT,
    RISE,
    SETTING,
    SIDESLIP,
    TAU,
    UNKNOWNS,
    VEHICLE,
    Floats,
    Record,
    Records,
    layout,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import clear
from setupopt.units import GRAVITY

SIDE = 7
YAW = 8
AXLES = 13
# The friction factor is the last column.
FACTOR = UNKNOWNS
COLUMNS = UNKNOWNS + 1

# Scratch of one thread for one trial trim. body: force up on the body at a wheel, suspension and links;
# lateral, vertical: tyre forces along the car's y and z; forward: normal and tyre force along x. demand:
# force along that the tyres of an axle must give. loads: of the air. matrix, pivots: a Jacobian with the
# factor's column and one row more, factored. tangent, curve, null: along the path of trims, its bend, and the
# left null vector; expected: where a step along it is expected to end. bend: of the factor at a fold.
WORK = layout(
    one="bend",
    axles="demand",
    wheels="body lateral vertical forward",
    more=(
        ("x", "f8", (COLUMNS,)), ("trial", "f8", (COLUMNS,)), ("last", "f8", (COLUMNS,)),
        ("step", "f8", (COLUMNS,)), ("tangent", "f8", (COLUMNS,)), ("null", "f8", (COLUMNS,)),
        ("residual", "f8", (COLUMNS,)), ("jacobian", "f8", (COLUMNS, COLUMNS)),
        ("matrix", "f8", (COLUMNS, COLUMNS)), ("pivots", "i8", (COLUMNS,)),
        ("inverse", "f8", (3, 3)), ("column", "f8", (COLUMNS,)),
        ("row", "f8", (COLUMNS,)), ("kept", "f8", (COLUMNS,)),
        ("curve", "f8", (COLUMNS,)), ("expected", "f8", (COLUMNS,)),
        ("loads", "f8", (air.LOADS, air.COLUMNS)), ("demand_slope", "f8", (COLUMNS,)),
        ("lateral_slope", "f8", (4, wheel.COLUMNS)), ("vertical_slope", "f8", (4, wheel.COLUMNS)),
        ("forward_slope", "f8", (4, wheel.COLUMNS)), ("body_slope", "f8", (4, wheel.COLUMNS)),
        ("wheels", wheel.WHEELS),
    ),
)  # fmt: skip

# What a kernel that tries a trim is given: car, elements, setup, case, state, road, x (COLUMNS).
TRIAL = (VEHICLE, [ELEMENT], SETTING, CASE, CASE_STATE, [ROADBED], ["f8"])


@kernel
def turn_forces(
    state: Record, w: int, work: Record, has_slopes: bool = True
) -> None:
    """Forces of a wheel along the car's axes: the surface is tilted across the car, and leans along it.

    Here and below: without slopes in a ride, which needs none.
    """
    wheels = work.wheels
    c = state.tilt_cos[w]
    s = state.tilt_sin[w]
    lean = state.lean[w] * c
    load = wheels.load[w]
    across = wheels.across[w]
    work.lateral[w] = across * c - load * s
    work.vertical[w] = load * c + across * s
    work.forward[w] = wheels.along[w] - load * lean
    if not has_slopes:
        return
    for j in range(wheel.COLUMNS):
        grown = wheels.load_slope[w, j] if j < wheel.LOAD_COLUMNS else 0.0
        slope = wheels.across_slope[w, j]
        work.lateral_slope[w, j] = slope * c - grown * s
        work.vertical_slope[w, j] = grown * c + slope * s
        work.forward_slope[w, j] = wheels.along_slope[w, j] - grown * lean
    tilt = state.tilt_slope[w]
    j = wheel.BY_SIDESLIP
    work.lateral_slope[w, j] -= work.vertical[w] * tilt
    work.vertical_slope[w, j] += work.lateral[w] * tilt
    work.forward_slope[w, j] -= load * (
        state.lean_slope[w] * c - state.lean[w] * s * tilt
    )


@kernel
def hang(
    car: Record,
    setup: Record,
    case: Record,
    w: int,
    work: Record,
    has_slopes: bool = True,
) -> None:
    """Force up on the body at one wheel: springs, stops and links."""
    wheels = work.wheels
    axle = w // 2
    other = w + 1 - 2 * (w % 2)
    force, own, cross = suspension.spring_force(
        wheels.travel[w],
        wheels.travel[other],
        setup.wheel_rate[w],
        setup.anti_roll[axle],
        setup.third[axle],
    )
    stop, rate = suspension.stop_force(
        wheels.travel[w],
        car.bump_travel[w],
        car.droop_travel[w],
        car.stop_rate[w],
    )
    own += rate
    link = case.transfer * car.link[w]
    rest = car.static_load[w] - car.unsprung_mass[w] * GRAVITY
    work.body[w] = (
        rest
        + force
        + stop
        + link * work.lateral[w]
        + car.anti[w] * wheels.along[w]
    )
    if not has_slopes:
        return
    for j in range(wheel.COLUMNS):
        mine = wheels.travel_slope[w, j] if j < wheel.LOAD_COLUMNS else 0.0
        its = (
            wheels.travel_slope[other, j]
            if j < 3
            else 1.0
            if j == wheel.OTHER
            else 0.0
        )
        spring = own * mine + cross * its
        slip = (
            link * work.lateral_slope[w, j]
            + car.anti[w] * wheels.along_slope[w, j]
        )
        work.body_slope[w, j] = spring + slip


@kernel
def body_rows(
    car: Record, case: Record, state: Record, x: Floats, work: Record
) -> None:
    """Weight, inertia and air in all rows; the wheels come on top."""
    bx = state.pull[0]
    by = case.transfer * state.pull[1]
    bz = state.pull[2]
    bx_slope = state.pull_slope[0]
    by_slope = case.transfer * state.pull_slope[1]
    ms = car.sprung_mass
    hs = car.sprung_height
    side = air.side_force(car, state)
    side_slope = -case.crab * state.pressure * car.side_area
    r = work.residual
    jac = work.jacobian
    loads = work.loads
    r[0] = ms * bz - loads[0, 0]
    r[1] = (
        (hs + x[0]) * ms * bx
        - hs * x[1] * ms * bz
        + loads[2, 0]
        - car.drag_height * state.drag
    )
    r[1] -= state.gyro[1]
    r[2] = -(hs + x[0]) * ms * by - hs * x[2] * ms * bz + loads[1, 0]
    r[2] -= car.side_height * case.transfer * side + state.gyro[0]
    r[SIDE] = car.mass * state.pull[1] + side
    r[YAW] = car.side_x * side + car.middle * state.drag - state.gyro[2]
    for c in range(4):
        column = c if c < 3 else SIDESLIP
        jac[0, column] = -loads[0, 1 + c]
        jac[1, column] = loads[2, 1 + c]
        jac[2, column] = loads[1, 1 + c]
    jac[1, 0] += ms * bx
    jac[1, 1] -= hs * ms * bz
    jac[2, 0] -= ms * by
    jac[2, 2] -= hs * ms * bz
    jac[1, SIDESLIP] += (hs + x[0]) * ms * bx_slope - state.gyro_slope[1]
    jac[2, SIDESLIP] -= (
        hs + x[0]
    ) * ms * by_slope + car.side_height * case.transfer * side_slope
    jac[2, SIDESLIP] -= state.gyro_slope[0]
    jac[SIDE, SIDESLIP] = car.mass * state.pull_slope[1] + side_slope
    jac[YAW, SIDESLIP] = car.side_x * side_slope - state.gyro_slope[2]


@kernel
def wheel_rows(
    car: Record, case: Record, state: Record, x: Floats, w: int, work: Record, has_slopes: bool = True
) -> None:  # fmt: skip
    """Add one wheel to every row.

    The sprung mass's own CG stands ahead of, behind or beside the car's where the unsprung masses do not
    balance; `x m_u b_z` and `y m_u b_z` carry that into the moments, so that the pad is an equilibrium.
    """
    bx = state.pull[0]
    by = case.transfer * state.pull[1]
    bz = state.pull[2]
    mu = car.unsprung_mass[w]
    up = car.unsprung_height[w] + x[RISE + w]
    rise = state.ground[w] + state.rise[w]
    arm = case.transfer * rise
    side = car.side[w]
    at = car.x[w]
    y = car.y[w]
    wheels = work.wheels
    r = work.residual
    jac = work.jacobian
    r[0] += work.body[w]
    r[1] += (
        -at * (work.body[w] - mu * bz) + up * mu * bx + rise * work.forward[w]
    )
    r[2] += (
        y * (work.body[w] - mu * bz)
        - up * mu * by
        - arm * work.lateral[w]
        + side * wheels.moment[w]
    )
    r[RISE + w] = work.vertical[w] - work.body[w] + mu * bz
    r[SIDE] += work.lateral[w]
    r[YAW] += at * work.lateral[w] - y * work.forward[w] + wheels.aligning[w]
    if not has_slopes:
        return
    for j in range(wheel.COLUMNS):
        column = wheel.global_column(w, j)
        body = work.body_slope[w, j]
        jac[0, column] += body
        jac[1, column] += rise * work.forward_slope[w, j] - at * body
        jac[2, column] += y * body - arm * work.lateral_slope[w, j]
        if j < wheel.LOAD_COLUMNS:
            jac[2, column] += side * wheels.moment_slope[w, j]
        jac[RISE + w, column] = work.vertical_slope[w, j] - body
        jac[SIDE, column] += work.lateral_slope[w, j]
        jac[YAW, column] += (
            at * work.lateral_slope[w, j] - y * work.forward_slope[w, j]
        )
        jac[YAW, column] += wheels.aligning_slope[w, j]
    jac[1, RISE + w] += mu * bx
    jac[2, RISE + w] -= mu * by
    jac[1, SIDESLIP] += (
        up * mu * state.pull_slope[0] + state.ground_slope[w] * work.forward[w]
    )
    jac[2, SIDESLIP] -= case.transfer * (
        up * mu * state.pull_slope[1] + state.ground_slope[w] * work.lateral[w]
    )


@kernel
def _axle_row(car: Record, x: Floats, axle: int, work: Record) -> None:
    """Lateral force of an axle: what its two tyres give."""
    row = AXLES + axle
    weight = car.mass * GRAVITY
    work.residual[row] = -weight * x[TAU + axle]
    work.jacobian[row, TAU + axle] = -weight
    for w in (2 * axle, 2 * axle + 1):
        work.residual[row] += work.wheels.across[w]
        for j in range(wheel.COLUMNS):
            column = wheel.global_column(w, j)
            work.jacobian[row, column] += work.wheels.across_slope[w, j]


@shared_kernel(*TRIAL, WORK)
def balance(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> None:  # fmt: skip
    """Residual and Jacobian at `x` (COLUMNS), the friction factor last, into `work`; every force on the
    way.
    """
    set_heading(car, case, x[SIDESLIP], state)
    wheels = work.wheels
    for w in range(4):
        wheel.set_load(car, setup, case, state, x, w, wheels)
    for w in range(4):
        wheel_forces.set_forces(
            car, setup, case, state, x, w, x[FACTOR], wheels
        )
    air.downforce(car, elements, setup, case, state, road, x, work.loads)
    clear(work.jacobian)
    body_rows(car, case, state, x, work)
    for w in range(4):
        turn_forces(state, w, work)
    for w in range(4):
        hang(car, setup, case, w, work)
        wheel_rows(car, case, state, x, w, work)
    demand = drive.total_demand(car, state, work)
    for axle in range(2):
        drive.slip_rows(car, state, x, axle, demand, work)
        _axle_row(car, x, axle, work)
    _per_weight(car, x, work)


@kernel
def _per_weight(car: Record, x: Floats, work: Record) -> None:
    """Rows over the weight; the last column by the factor instead of its logarithm."""
    share = 1.0 / (car.mass * GRAVITY)
    per_factor = 1.0 / x[FACTOR]
    for row in range(UNKNOWNS):
        work.residual[row] *= share
        for j in range(COLUMNS):
            work.jacobian[row, j] *= share
        work.jacobian[row, FACTOR] *= per_factor
