"""The car in motion about a trim: body, wheels, planar motion, and tyres whose slip lags.

State of a motion, MOTION numbers in SI, in this order:

    0 to 6    heave, pitch, body roll, rise of the four wheel centres (as in a trim)
    7 to 13   their speeds
    14, 15    velocity of the CG's foot forwards and to the left of the body, FORWARD and LEFTWARD
    16        yaw rate over the surface, YAW_RATE, whole, not from the trim's
    17        heading off the trim's, HEADING: the path's own turning is taken off
    18        way off the trim's path, to its left, in the surface, WAY
    19 to 22  how far the treads are deflected along, SLIP_X, in m: over the relaxation length it is the slip
              kappa / (1 + kappa) that acts
    23 to 26  the same across, SLIP_Y, for the slip tan(angle) / (1 + kappa)
    27 to 30  speed of the treads (wheel speed times radius), WHEEL_SPEED
    31, 32    lateral force of the axles over the weight, by which the wheels lean, LEAN; lags like slip

At a trim, `begin_motion` fills it and all rates are zero. The section turns under the car as its way round it
and its heading change. Forces are those of the balance with dampers and tyre damping, and with the tyres'
slip as it lags: d(deflection)/dt = speed (steady slip - slip), slip = deflection / relaxation. That is the
first-order lag of Pacejka, Tyre and Vehicle Dynamics, chapter 7; as the relaxation length changes with the
load and the deflection cannot jump, a load that swings costs lateral force. A tread's place moves with roll,
pitch and travel as the links' forces work on them: forces do as much work as the motions gain or lose.
"""

from __future__ import annotations

from math import atan2, cos, hypot, isnan, sin, sqrt, tan

import numpy as np

from setupopt.physics import air, brush, wheel
from setupopt.physics.balance import (
    FACTOR,
    SIDE,
    TRIAL,
    WORK,
    YAW,
    balance,
    body_rows,
    hang,
    turn_forces,
    wheel_rows,
)
from setupopt.physics.case_state import prepare, set_heading
from setupopt.physics.contacts import columns, put_road
from setupopt.physics.inputs import (
    CASE,
    KAPPA,
    RIDE_STATES,
    SIDESLIP,
    STEER,
    TAU,
    UNKNOWNS,
    Floats,
    Record,
    Records,
    layout,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.ride import DAMPING, damper_force, tyre_damping
from setupopt.physics.section_round import move_round
from setupopt.physics.trim import scale_case
from setupopt.units import GRAVITY

SPEEDS = 7
FORWARD = 14
LEFTWARD = 15
YAW_RATE = 16
HEADING = 17
WAY = 18
SLIP_X = 19
SLIP_Y = 23
WHEEL_SPEED = 27
LEAN = 31
MOTION = 33

# What is held in a motion, and what a driver or a fault changes. steer: of the front wheels, rad; sideslip:
# of the trim; headwind, crosswind: along and across the trim's course, m/s; is_free: 1 where the forward
# speed may change, 0 where the driver holds it. push: force along that drive or brake gives at each tread, N;
# is_stuck: 1 where a wheel does not turn; spin: inertia of a wheel over its radius squared, kg;
# rest: speed of its tread in the trim, m/s. quickest: rate, 1/s, over which a lag is taken as that: what a
# step in time can follow. offset: rates left at the trim, where forces are summed with fewer nodes.
HOLD = layout(
    one="steer sideslip headwind crosswind is_free quickest",
    wheels="push is_stuck spin rest",
    more=(("offset", "f8", (MOTION,)),),
)

# Default of `relaxation`: half the patch and this share of the tread's width. Common practice, no source.
_TREAD_SHARE = 0.15
# A wheel turns at least at this share of its speed over the ground where slip is reckoned.
_SLOWEST = 0.05
# Both wheels of a locked axle are brought to one speed, and a wheel in the air to its speed in the
# trim, 1/s.
_ONE_SPEED = 300.0
_COAST = 1.0


@kernel
def _place(
    car: Record,
    case: Record,
    hold: Record,
    m: Floats,
    part: Record,
    state: Record,
) -> None:
    """The case at which the car is now, into `part`, and what the balance needs of it, into `state`."""
    sideslip = atan2(m[LEFTWARD], m[FORWARD])
    turned = m[HEADING] + sideslip - hold.sideslip
    part.speed = hypot(m[FORWARD], m[LEFTWARD])
    part.heading = case.heading + turned
    part.surface_heading = case.surface_heading + turned
    part.path_curvature = m[YAW_RATE] / part.speed
    part.headwind = hold.headwind * cos(turned) + hold.crosswind * sin(turned)
    part.crosswind = hold.crosswind * cos(turned) - hold.headwind * sin(turned)
    move_round(case, m[WAY] * cos(case.heading), part)
    prepare(car, part, 0.0, state)
    set_heading(car, part, sideslip, state)


@kernel
def relaxation_length(
    car: Record, state: Record, w: int, wheels: Record
) -> float:
    """Length over which the slip of a wheel follows, m; see docs/model.md."""
    if not isnan(car.relaxation[w]):
        return car.relaxation[w]
    half = sqrt(2.0 * max(wheels.depth[w], 0.0) / state.curve_along[w])
    return half + _TREAD_SHARE * 2.0 * car.half_width[w]


@kernel
def _travel_speed(car: Record, m: Floats, w: int) -> float:
    return m[SPEEDS + 3 + w] - (
        m[SPEEDS] - car.x[w] * m[SPEEDS + 1] + car.y[w] * m[SPEEDS + 2]
    )


@kernel
def _over_ground(
    car: Record, state: Record, speed: float, m: Floats, w: int
) -> tuple[float, float]:
    """Speed of a tread's place forwards and to the left, m/s; links move it as the body rolls and pitches."""
    arm = car.cg_height - state.ground[w] - state.rise[w]
    travelling = _travel_speed(car, m, w)
    yaw_rate = state.bend * speed
    forward = (
        m[FORWARD]
        - yaw_rate * car.y[w]
        - arm * m[SPEEDS + 1]
        - car.anti[w] * travelling
    )
    leftward = (
        m[LEFTWARD]
        + yaw_rate * car.x[w]
        + arm * m[SPEEDS + 2]
        - car.link[w] * travelling
    )
    return forward, leftward


@kernel
def _roll_on(
    car: Record, setup: Record, case: Record, hold: Record, state: Record, m: Floats, w: int, work: Record,
    x: Floats, rate: Floats,
) -> None:  # fmt: skip
    """Forces of a tyre with the slip that it has now, and the rates of its slip; its load must be there."""
    wheels = work.wheels
    patch = wheels.patches[w]
    forward, leftward = _over_ground(car, state, case.speed, m, w)
    steer = -car.side[w] * setup.toe[w]
    if w < 2:
        steer += hold.steer
    per_speed = forward / max(m[WHEEL_SPEED + w], _SLOWEST * forward)
    angle = steer - atan2(leftward, forward)
    lag = relaxation_length(car, state, w, wheels)
    patch.slip_x = m[SLIP_X + w] / lag
    patch.slip_y = m[SLIP_Y + w] / lag
    over = min(forward, lag * hold.quickest)
    rate[SLIP_X + w] = over * (1.0 - per_speed - patch.slip_x)
    rate[SLIP_Y + w] = over * (tan(angle) * per_speed - patch.slip_y)
    x[KAPPA + w] = patch.slip_x / max(1.0 - patch.slip_x, 1e-3)
    wheels.slip_angle[w] = angle
    along = across = aligning = 0.0
    if wheels.load[w] > 0.0:
        wheel.lean_further(
            car, setup, case, state, w, car.mass * GRAVITY, x[TAU + w // 2], wheels, patch
        )  # fmt: skip
        wheel.set_patch(car, setup, case, state, w, 1.0, patch)
        lean = patch.slant / sqrt(1.0 + patch.slant * patch.slant)
        patch.spin = car.thrust[w] * (
            car.side[w] * lean / state.radius[w] - state.bend
        )
        along, across, aligning = brush.values(patch)
        rate[WHEEL_SPEED + w] = (hold.push[w] - along) / hold.spin[w]
    else:
        rate[WHEEL_SPEED + w] = hold.push[w] / hold.spin[w] + _COAST * (
            hold.rest[w] - m[WHEEL_SPEED + w]
        )
    wheels.along[w] = along * cos(steer) - across * sin(steer)
    wheels.across[w] = along * sin(steer) + across * cos(steer)
    wheels.aligning[w] = aligning


@kernel
def _turn_wheels(
    car: Record, hold: Record, state: Record, m: Floats, rate: Floats
) -> None:
    """Rates of the wheels' speeds where an axle is locked or a wheel stuck."""
    for axle in range(2):
        if car.is_locked[axle] > 0.0:
            left = 2 * axle
            right = left + 1
            ratio = state.radius[right] / state.radius[left]
            inertia = hold.spin[left] + hold.spin[right] * ratio * ratio
            pushed = hold.spin[left] * rate[WHEEL_SPEED + left]
            pushed += ratio * hold.spin[right] * rate[WHEEL_SPEED + right]
            both = pushed / inertia
            apart = _ONE_SPEED * (
                m[WHEEL_SPEED + right] - ratio * m[WHEEL_SPEED + left]
            )
            rate[WHEEL_SPEED + left] = both
            rate[WHEEL_SPEED + right] = ratio * both - apart
    for w in range(4):
        if hold.is_stuck[w] > 0.0:
            rate[WHEEL_SPEED + w] = 0.0


@kernel
def _hang_all(
    car: Record, setup: Record, case: Record, damping: Record, state: Record, m: Floats, x: Floats,
    road_speed: Floats, work: Record,
) -> None:  # fmt: skip
    """Rows of the balance from the tyres' forces, with dampers and tyre damping."""
    body_rows(car, case, state, x, work)
    for w in range(4):
        turn_forces(state, w, work, False)
    for w in range(4):
        hang(car, setup, case, w, work, False)
        work.body[w] += damper_force(
            _travel_speed(car, m, w), damping.bump[w], damping.rebound[w]
        )
        wheel_rows(car, case, state, x, w, work, False)
        load = work.wheels.load[w]
        if load > 0.0:
            extra = tyre_damping(
                state, damping, w, m[SPEEDS + 3 + w], road_speed[w]
            )
            work.residual[3 + w] += max(extra, -load)


@kernel
def _move(car: Record, case: Record, damping: Record, hold: Record, state: Record, m: Floats, x: Floats,
          work: Record, rate: Floats) -> None:  # fmt: skip
    """Rates of body, wheels and planar motion from the rows.

    The CG is nearer to the section's axis than the surface: round it, it moves by 1 - h K times what the
    wheels move. What the planar motion takes of pitch and roll moment acts at the CG.
    """
    r = work.residual
    along = car.mass * state.pull[0] - state.drag
    for w in range(4):
        along += work.forward[w]
    ax = along / car.mass if hold.is_free > 0.0 else 0.0
    ay = r[SIDE] / car.mass
    moment = (car.sprung_height + x[0]) * car.sprung_mass
    for w in range(4):
        moment += (car.unsprung_height[w] + x[3 + w]) * car.unsprung_mass[w]
    r[1] -= moment * ax
    r[2] += moment * ay
    for j in range(RIDE_STATES):
        rate[j] = m[SPEEDS + j]
        rate[SPEEDS + j] = r[j] / damping.mass[j]
    nearer = car.cg_height * case.curvature
    round_it = (
        nearer
        / (1.0 - nearer)
        * (ax * state.sin_heading + ay * state.cos_heading)
    )
    rate[FORWARD] = (ax + round_it * state.sin_heading) * hold.is_free
    rate[LEFTWARD] = ay + round_it * state.cos_heading
    rate[YAW_RATE] = r[YAW] / car.inertia[2]


@shared_kernel(
    *TRIAL[:4],
    DAMPING,
    HOLD,
    CASE,
    *TRIAL[4:6],
    ["f8"],
    ["f8"],
    ["f8"],
    WORK,
    ["f8"],
    ["f8"],
)
def motion_rates(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, hold: Record, part: Record,
    state: Record, bed: Records, road: Floats, road_speed: Floats, m: Floats, work: Record, x: Floats,
    rate: Floats,
) -> None:  # fmt: skip
    """Rates (MOTION) of a motion `m` over a road (columns), m, that rises at `road_speed`, m/s.

    `part` (a CASE that `begin_motion` has filled), `state`, `bed`, `work` and `x` (COLUMNS) are scratch; `x`
    ends as the trial trim that the motion makes.
    """
    _place(car, case, hold, m, part, state)
    put_road(car, elements, road, road, 0.0, state, bed)
    for j in range(RIDE_STATES):
        x[j] = m[j]
    x[SIDESLIP] = atan2(m[LEFTWARD], m[FORWARD])
    x[STEER] = hold.steer
    x[TAU] = m[LEAN]
    x[TAU + 1] = m[LEAN + 1]
    for w in range(4):
        wheel.set_load(car, setup, part, state, x, w, work.wheels, False)
    for w in range(4):
        _roll_on(car, setup, part, hold, state, m, w, work, x, rate)
    _turn_wheels(car, hold, state, m, rate)
    air.downforce(car, elements, setup, part, state, bed, x, work.loads)
    _hang_all(car, setup, part, damping, state, m, x, road_speed, work)
    _move(car, part, damping, hold, state, m, x, work, rate)
    turned = x[SIDESLIP] + m[HEADING] - hold.sideslip
    rate[HEADING] = m[YAW_RATE] - part.speed * case.path_curvature
    rate[WAY] = part.speed * sin(turned)
    for axle in range(2):
        w = 2 * axle
        across = work.wheels.across[w] + work.wheels.across[w + 1]
        lag = 0.5 * relaxation_length(car, state, w, work.wheels)
        lag += 0.5 * relaxation_length(car, state, w + 1, work.wheels)
        over = min(part.speed / lag, hold.quickest)
        rate[LEAN + axle] = over * (
            across / (car.mass * GRAVITY) - m[LEAN + axle]
        )
    for j in range(MOTION):
        rate[j] -= hold.offset[j]


@kernel
def begin_motion(
    car: Record, elements: Records, setup: Record, case: Record, damping: Record, base: Record, part: Record,
    state: Record, bed: Records, hold: Record, work: Record, x: Floats, m: Floats,
) -> None:  # fmt: skip
    """Put `m` on the trim of `base`, a steady answer, and into `hold` what a driver holds there."""
    wheel.forget(work.wheels)
    prepare(car, case, 0.0, state)
    for j in range(UNKNOWNS):
        x[j] = base.state[j]
    x[FACTOR] = 1.0
    for n in range(elements.size):
        bed[n].height = 0.0
        bed[n].slope = 0.0
    balance(car, elements, setup, case, state, bed, x, work)
    scale_case(case, 1.0, part)
    hold.steer = x[STEER]
    hold.sideslip = x[SIDESLIP]
    hold.headwind = case.headwind
    hold.crosswind = case.crosswind
    hold.is_free = 0.0
    hold.quickest = np.inf
    for j in range(MOTION):
        m[j] = x[j] if j < RIDE_STATES else 0.0
    m[FORWARD] = case.speed * cos(x[SIDESLIP])
    m[LEFTWARD] = case.speed * sin(x[SIDESLIP])
    m[YAW_RATE] = case.speed * case.path_curvature
    for w in range(4):
        wheels = work.wheels
        steer = -car.side[w] * setup.toe[w] + (x[STEER] if w < 2 else 0.0)
        forward = case.speed * wheels.step[w]
        lag = relaxation_length(car, state, w, wheels)
        m[SLIP_X + w] = lag * wheels.patches[w].slip_x
        m[SLIP_Y + w] = lag * wheels.patches[w].slip_y
        m[WHEEL_SPEED + w] = (1.0 + x[KAPPA + w]) * forward
        hold.rest[w] = m[WHEEL_SPEED + w]
        hold.push[w] = wheels.along[w] * cos(steer) + wheels.across[w] * sin(
            steer
        )
        hold.is_stuck[w] = 0.0
        hold.spin[w] = wheel.spinning_mass(car, w)
    for axle in range(2):
        m[LEAN + axle] = x[TAU + axle]
    rate = np.zeros(MOTION)
    for j in range(MOTION):
        hold.offset[j] = 0.0
    motion_rates(
        car, elements, setup, case, damping, hold, part, state, bed, np.zeros(columns(elements)), np.zeros(4),
        m, work, x, rate,
    )  # fmt: skip
    for j in range(MOTION):
        hold.offset[j] = rate[j]
