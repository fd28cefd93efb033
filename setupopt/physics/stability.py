"""Directional stability: how fast the car leaves a trim when nobody steers.

The planar motion about a trim, with steer, forward velocity and the torques of the wheels held: velocity to
the left, yaw rate, heading, the way round the section, which turns the weight, and the speeds of the wheels.
Ride and tyres follow at once. Its linear matrix comes from differences of the balance; the growth rate is the
largest real part of its eigenvalues.
"""

from __future__ import annotations

from math import atan2, cos, hypot, sin

import numpy as np

from setupopt.physics import wheel
from setupopt.physics.balance import COLUMNS, FACTOR, SIDE, WORK, YAW, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED, prepare
from setupopt.physics.inputs import (
    ANSWER,
    CASE,
    ELEMENT,
    KAPPA,
    SETTING,
    SIDESLIP,
    STEER,
    TAU,
    UNKNOWNS,
    VEHICLE,
    Floats,
    Record,
    Records,
    Trial,
    layout,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import clear, factor, solve
from setupopt.physics.sweep import on_all_cores
from setupopt.physics.trim import scale_case
from setupopt.units import GRAVITY

# Reaction of a driver, s, and the product of growth rate and reaction that he can hold: common practice, no
# source.
REACTION = 0.15
STEADY = 0.5
# Velocity to the left, m/s; yaw rate, rad/s; heading, rad; way round, m; and the steps of their differences.
# Then the speeds of the four treads, m/s.
PLANAR = 4
MOTIONS = 8
_STEPS = np.array([1e-3, 1e-4, 1e-5, 1e-3])
_ACCELERATION_STEP = 1e-3  # m/s2
# What follows at once: heave to wheel rises, sideways and yaw acceleration, axle forces; and their rows.
_FOLLOWING = 11
_SIDEWAYS = 7
_TURNING = 8
_ROWS = np.array([0, 1, 2, 3, 4, 5, 6, SIDE, YAW, 13, 14])
# After these rows the forces of the tyres in the planes of the wheels, over the weight.
_READINGS = 15
# A wheel in the air, and the difference in speed of two wheels on a locked axle, vanish at this rate, 1/s.
_QUICK = 300.0

# Scratch. slope: of the readings by the unknowns of a trim; follow, pivots: equations of what follows at
# once; moved: slopes by the motions, then what follows them.
STABILITY = layout(
    more=(
        ("reading", "f8", (_READINGS,)), ("slope", "f8", (_READINGS, COLUMNS)),
        ("follow", "f8", (_FOLLOWING, _FOLLOWING)), ("pivots", "i8", (_FOLLOWING,)),
        ("turned", "f8", (_READINGS,)), ("moved", "f8", (MOTIONS, _READINGS)),
    )
)  # fmt: skip


@kernel
def _move(car: Record, case: Record, trim: Floats, motion: int, step: float, part: Record, state: Record,
          x: Floats) -> None:  # fmt: skip
    """A case and a trial trim off the trim by one motion; wheel speeds and wind stay."""
    scale_case(case, 1.0, part)
    for j in range(COLUMNS):
        x[j] = trim[j]
    forward = case.speed * cos(trim[SIDESLIP])
    leftward = case.speed * sin(trim[SIDESLIP])
    yaw_rate = case.speed * case.path_curvature
    turned = 0.0
    if motion == 0:
        leftward += step
    elif motion == 1:
        yaw_rate += step
    elif motion == 2:
        turned = step
    else:
        part.roll_angle += step * case.curvature
    part.speed = hypot(forward, leftward)
    x[SIDESLIP] = atan2(leftward, forward)
    turned += x[SIDESLIP] - trim[SIDESLIP]
    part.heading += turned
    part.surface_heading += turned
    part.path_curvature = yaw_rate / part.speed
    part.turn_curvature = case.turn_curvature * case.speed / part.speed
    part.headwind = case.headwind * cos(turned) + case.crosswind * sin(turned)
    part.crosswind = case.crosswind * cos(turned) - case.headwind * sin(turned)
    bend = state.bend
    prepare(car, part, 0.0, state)
    for w in range(4):
        was = case.speed * (cos(trim[SIDESLIP]) - bend * car.y[w])
        now = part.speed * (cos(x[SIDESLIP]) - state.bend * car.y[w])
        x[KAPPA + w] = (1.0 + trim[KAPPA + w]) * was / now - 1.0
    state.bend = bend


@kernel
def _steer_of(car: Record, setup: Record, trim: Floats, w: int) -> float:
    return -car.side[w] * setup.toe[w] + (trim[STEER] if w < 2 else 0.0)


@kernel
def _add_readings(
    car: Record, setup: Record, trim: Floats, work: Record, share: float, out: Floats
) -> None:  # fmt: skip
    """Add `share` of the rows and of the wheels' forces at the last balance to `out` (_READINGS)."""
    weight = car.mass * GRAVITY
    wheels = work.wheels
    for i in range(_FOLLOWING):
        out[i] += share * work.residual[_ROWS[i]]
    for w in range(4):
        steer = _steer_of(car, setup, trim, w)
        force = wheels.along[w] * cos(steer) + wheels.across[w] * sin(steer)
        out[_FOLLOWING + w] += share * force / weight


@kernel
def _set_slopes(
    car: Record, setup: Record, trim: Floats, work: Record, slope: Floats
) -> None:
    """Slopes of the readings by the unknowns at the last balance; steer is not among what moves."""
    clear(slope)
    weight = car.mass * GRAVITY
    wheels = work.wheels
    for i in range(_FOLLOWING):
        for j in range(COLUMNS):
            slope[i, j] = work.jacobian[_ROWS[i], j]
    for w in range(4):
        steer = _steer_of(car, setup, trim, w)
        ahead = cos(steer) / weight
        aside = sin(steer) / weight
        for c in range(wheel.COLUMNS):
            force = ahead * wheels.along_slope[w, c]
            force += aside * wheels.across_slope[w, c]
            slope[_FOLLOWING + w, wheel.global_column(w, c)] += force


@kernel
def _set_follow(on: Trial, trim: Floats, scratch: Record, work: Record) -> None:
    """Equations of what follows at once, factored."""
    car, _, setup, case, state, _ = on
    weight = car.mass * GRAVITY
    follow = scratch.follow
    turned = scratch.turned
    for i in range(_READINGS):
        turned[i] = 0.0
    # the CG is nearer to the section's axis than the surface, and moves as much less round it
    heading = case.heading - trim[SIDESLIP]
    along = -sin(heading)
    around = cos(heading) * (1.0 - car.cg_height * case.curvature)
    for sign in (1.0, -1.0):
        step = sign * _ACCELERATION_STEP
        prepare(car, case, 0.0, state)
        sine = sin(case.heading)
        cosine = cos(case.heading)
        state.forward += step * (along * cosine + around * sine)
        state.leftward += step * (around * cosine - along * sine)
        balance(*on, trim, work)
        _add_readings(car, setup, trim, work, 0.5 / step, turned)
    for i in range(_FOLLOWING):
        for j in range(_SIDEWAYS):
            follow[i, j] = scratch.slope[i, j]
        follow[i, _SIDEWAYS] = turned[i]
        follow[i, _TURNING] = 0.0
        if _ROWS[i] == YAW:
            follow[i, _TURNING] = -car.inertia[2] / weight
        for axle in range(2):
            follow[i, _TURNING + 1 + axle] = scratch.slope[i, TAU + axle]
    factor(follow, scratch.pivots, _FOLLOWING)


@kernel
def _move_all(
    on: Trial, part: Record, x: Floats, trim: Floats, scratch: Record, work: Record
) -> None:  # fmt: skip
    """Slopes of the readings by the motions, into `scratch.moved`."""
    car, elements, setup, case, state, road = on
    clear(scratch.moved)
    for w in range(4):
        forward = case.speed * work.wheels.step[w]
        for i in range(_READINGS):
            by_slip = scratch.slope[i, KAPPA + w]
            scratch.moved[PLANAR + w, i] = by_slip / forward
    prepare(car, case, 0.0, state)
    bend = state.bend
    for motion in range(PLANAR):
        for sign in (1.0, -1.0):
            state.bend = bend
            step = sign * _STEPS[motion]
            _move(car, case, trim, motion, step, part, state, x)
            prepare(car, part, 0.0, state)
            balance(car, elements, setup, part, state, road, x, work)
            share = 0.5 / step
            _add_readings(car, setup, trim, work, share, scratch.moved[motion])


@kernel
def motion_matrix(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, state: Record, road: Records,
    answer: Record, work: Record, scratch: Record, out: Floats,
) -> None:  # fmt: skip
    """Rates of the motions by the motions about the trim of `answer`, into `out` (MOTIONS, MOTIONS)."""
    on = (car, elements, setup, case, state, road)
    trim = work.last
    for j in range(UNKNOWNS):
        trim[j] = answer.state[j]
    trim[FACTOR] = 1.0
    weight = car.mass * GRAVITY
    wheel.forget(work.wheels)
    prepare(car, case, 0.0, state)
    balance(*on, trim, work)
    _set_slopes(car, setup, trim, work, scratch.slope)
    _set_follow(on, trim, scratch, work)
    _move_all(on, part, work.trial, trim, scratch, work)
    for motion in range(MOTIONS):
        moved = scratch.moved[motion]
        column = work.column
        for i in range(_FOLLOWING):
            column[i] = -moved[i]
        solve(scratch.follow, scratch.pivots, _FOLLOWING, column)
        out[0, motion] = column[_SIDEWAYS]
        out[1, motion] = column[_TURNING]
        for w in range(4):
            force = moved[_FOLLOWING + w]
            for j in range(_SIDEWAYS):
                force += scratch.slope[_FOLLOWING + w, j] * column[j]
            for axle in range(2):
                by_axle = scratch.slope[_FOLLOWING + w, TAU + axle]
                force += by_axle * column[_TURNING + 1 + axle]
            out[PLANAR + w, motion] = (
                -weight * force / wheel.spinning_mass(car, w)
            )
    out[2, 1] = 1.0
    out[3, 0] = cos(case.heading - trim[SIDESLIP])
    out[3, 2] = case.speed * cos(case.heading)
    _tie_wheels(car, state, answer, out)


@kernel
def _tie_wheels(
    car: Record, state: Record, answer: Record, out: Floats
) -> None:
    """Rates of the wheels' speeds on a locked axle, and in the air, where a wheel moves nothing."""
    for axle in range(2):
        left = PLANAR + 2 * axle
        right = left + 1
        if car.is_locked[axle] == 0.0:
            continue
        ratio = state.radius[2 * axle + 1] / state.radius[2 * axle]
        first = wheel.spinning_mass(car, 2 * axle)
        second = ratio * wheel.spinning_mass(car, 2 * axle + 1)
        inertia = first + ratio * second
        for j in range(MOTIONS):
            both = (first * out[left, j] + second * out[right, j]) / inertia
            out[left, j] = both
            out[right, j] = ratio * both
        out[right, right] -= _QUICK
        out[right, left] += _QUICK * ratio
    for w in range(4):
        if answer.load[w] <= 0.0 and car.is_locked[w // 2] == 0.0:
            out[PLANAR + w, PLANAR + w] = -_QUICK


@shared_kernel(
    [VEHICLE], [[ELEMENT]], [SETTING], [CASE], [ANSWER], "i8", "i8", [CASE], [CASE_STATE], [ROADBED],
    [WORK], [STABILITY], [[["f8"]]], first=True,
)  # fmt: skip
def fill_matrices(
    cars: Records, elements: Records, setups: Records, cases: Records, answers: Records, first: int,
    last: int, parts: Records, states: Records, road: Records, works: Records, scratch: Records,
    matrices: Floats,
) -> None:  # fmt: skip
    """Matrices (last - first, MOTIONS, MOTIONS) of answers `first` to `last` of setups x cases.

    Only of those with a trim at full friction; others stay.
    """
    for row in range(first, last):
        answer = answers[row]
        setup = setups[row // cases.size]
        kind = int(setup.car)
        if answer.contact and not answer.slides:
            motion_matrix(
                cars[kind], elements[kind], setup, cases[row % cases.size], parts[0], states[0], road, answer,
                works[0], scratch[0], matrices[row - first],
            )  # fmt: skip


def growth(
    car: tuple[Records, Records, Records],
    setups: Records,
    cases: Records,
    answers: Records,
) -> Floats:
    """Growth rate, 1/s, of steady answers (setups x cases): positive where the car leaves the trim.

    Not a number where there is no trim at full friction, or the project gives no yaw inertia.
    """
    vehicle, elements, _ = car
    flat = answers.reshape(-1)
    rates = np.full(flat.size, np.nan)

    def task(first: int, last: int) -> None:
        matrices = np.zeros((last - first, MOTIONS, MOTIONS))
        fill_matrices(
            vehicle, elements, setups, cases, flat, first, last, np.zeros(1, CASE), np.zeros(1, CASE_STATE),
            np.zeros(elements.shape[1], ROADBED), np.zeros(1, WORK), np.zeros(1, STABILITY), matrices,
        )  # fmt: skip
        known = np.any(matrices != 0.0, axis=(1, 2))
        own = np.linalg.eigvals(matrices).real.max(axis=-1)
        rates[first:last] = np.where(known, own, np.nan)

    if vehicle["inertia"][0, 2] > 0.0:
        on_all_cores(task, flat.size)
    return rates.reshape(answers.shape)
