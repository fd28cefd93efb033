"""Directional stability: how fast the car leaves a trim when nobody steers.

The planar motion about a trim, with steer, wheel speeds and forward velocity held: velocity to the left,
yaw rate, heading, and the way round the section, which turns the weight. Ride and tyres follow at once. Its
linear matrix comes from differences of the balance; the growth rate is the largest real part of its
eigenvalues.
"""

from __future__ import annotations

from math import atan2, cos, hypot, sin

import numpy as np

from setupopt.physics.balance import COLUMNS, FACTOR, SIDE, WORK, YAW, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED, prepare
from setupopt.physics.inputs import (
    CASE,
    KAPPA,
    SIDESLIP,
    TAU,
    UNKNOWNS,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel
from setupopt.physics.linear import Pivots, factor, solve
from setupopt.physics.trim import scale_case
from setupopt.units import GRAVITY

# Velocity to the left, m/s; yaw rate, rad/s; heading, rad; way round, m; and the steps of their differences.
MOTIONS = 4
_STEPS = np.array([1e-3, 1e-4, 1e-5, 1e-3])
_ACCELERATION_STEP = 1e-3  # m/s2
# What follows at once: heave to wheel rises, sideways and yaw acceleration, axle forces; and their rows.
_FOLLOWING = 11
_SIDEWAYS = 7
_TURNING = 8
_ROWS = np.array([0, 1, 2, 3, 4, 5, 6, SIDE, YAW, 13, 14])


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
def _add_rows(work: Record, share: float, out: Floats, column: int) -> None:
    for i in range(_FOLLOWING):
        out[i, column] += share * work.residual[_ROWS[i]]


@kernel
def motion_matrix(
    car: Record, elements: Records, setup: Record, case: Record, part: Record, state: Record, road: Records,
    answer: Record, work: Record, follow: Floats, moved: Floats, pivots: Pivots, out: Floats,
) -> None:  # fmt: skip
    """Rates of the motions by the motions about the trim of `answer`, into `out` (MOTIONS, MOTIONS).

    `follow` (_FOLLOWING, _FOLLOWING), `moved` (_FOLLOWING, MOTIONS) and `pivots` (_FOLLOWING) are scratch.
    """
    x = work.trial
    trim = work.last
    for j in range(UNKNOWNS):
        trim[j] = answer.state[j]
    trim[FACTOR] = 1.0
    weight = car.mass * GRAVITY
    prepare(car, case, 0.0, state)
    balance(car, elements, setup, case, state, road, trim, work)
    for i in range(_FOLLOWING):
        for j in range(_SIDEWAYS):
            follow[i, j] = work.jacobian[_ROWS[i], j]
        follow[i, _SIDEWAYS] = 0.0
        follow[i, _TURNING] = (
            -car.inertia[2] / weight if _ROWS[i] == YAW else 0.0
        )
        for axle in range(2):
            follow[i, _TURNING + 1 + axle] = work.jacobian[_ROWS[i], TAU + axle]
        for j in range(MOTIONS):
            moved[i, j] = 0.0
    for sign in (1.0, -1.0):
        prepare(car, case, 0.0, state)
        state.forward += sign * _ACCELERATION_STEP * sin(trim[SIDESLIP])
        state.leftward += sign * _ACCELERATION_STEP * cos(trim[SIDESLIP])
        balance(car, elements, setup, case, state, road, trim, work)
        _add_rows(work, 0.5 * sign / _ACCELERATION_STEP, follow, _SIDEWAYS)
    prepare(car, case, 0.0, state)
    bend = state.bend
    for motion in range(MOTIONS):
        for sign in (1.0, -1.0):
            state.bend = bend
            _move(
                car, case, trim, motion, sign * _STEPS[motion], part, state, x
            )
            prepare(car, part, 0.0, state)
            balance(car, elements, setup, part, state, road, x, work)
            _add_rows(work, 0.5 * sign / _STEPS[motion], moved, motion)
    factor(follow, pivots, _FOLLOWING)
    for motion in range(MOTIONS):
        column = work.column
        for i in range(_FOLLOWING):
            column[i] = -moved[i, motion]
        solve(follow, pivots, _FOLLOWING, column)
        out[0, motion] = column[_SIDEWAYS]
        out[1, motion] = column[_TURNING]
        out[2, motion] = 1.0 if motion == 1 else 0.0
        out[3, motion] = 0.0
    out[3, 0] = cos(case.heading - trim[SIDESLIP])
    out[3, 2] = case.speed * cos(case.heading)


@kernel
def fill_matrices(
    cars: Records, elements: Records, setups: Records, cases: Records, answers: Records, parts: Records,
    states: Records, road: Records, works: Records, matrices: Floats,
) -> None:  # fmt: skip
    """Matrices (setups x cases, MOTIONS, MOTIONS) of the cases with a trim at full friction; others stay."""
    follow = np.zeros((_FOLLOWING, _FOLLOWING))
    moved = np.zeros((_FOLLOWING, MOTIONS))
    pivots = np.zeros(_FOLLOWING, np.int64)
    for row in range(answers.size):
        answer = answers[row]
        setup = setups[row // cases.size]
        kind = int(setup.car)
        if answer.contact and not answer.slides:
            motion_matrix(
                cars[kind], elements[kind], setup, cases[row % cases.size], parts[0], states[0], road, answer,
                works[0], follow, moved, pivots, matrices[row],
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
    matrices = np.zeros((answers.size, MOTIONS, MOTIONS))
    scratch = (
        np.zeros(1, CASE),
        np.zeros(1, CASE_STATE),
        np.zeros(elements.shape[1], ROADBED),
        np.zeros(1, WORK),
    )
    if vehicle["inertia"][0, 2] > 0.0:
        fill_matrices(
            vehicle,
            elements,
            setups,
            cases,
            answers.reshape(-1),
            *scratch,
            matrices,
        )
    rates = np.linalg.eigvals(matrices).real.max(axis=-1)
    known = np.any(matrices != 0.0, axis=(1, 2))
    return np.asarray(np.where(known, rates, np.nan)).reshape(answers.shape)
