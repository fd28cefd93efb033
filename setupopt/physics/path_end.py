"""Where the path of trims as friction falls ends: at a goal, at a fold, at a limit of slip, or broken off."""

from __future__ import annotations

from math import sqrt

import numpy as np

from setupopt.physics.balance import COLUMNS, FACTOR, TRIAL, WORK, balance
from setupopt.physics.inputs import (
    SIDESLIP,
    TAU,
    UNKNOWNS,
    Floats,
    Record,
    Records,
    Trial,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import copy, solve
from setupopt.physics.newton import MOST_SLIP, TOLERANCE, worst
from setupopt.physics.path_step import (
    MISS,
    NEAR,
    correct,
    dot,
    interpolate,
    miss_of,
    set_null,
    set_row,
    set_tangent,
)

# Where Newton's method stalls next to an end, this is as good as exact: a millionth of a margin.
CLOSE = 1e-7
# Where the factor rises by less before it falls again there is no fold: the brush's few nodes leave so much
# of a load (tests/physics/test_brush.py).
NO_FOLD = 4e-5
# Steps of the search for the fold; after these what is close counts as found. What may be left of the factor.
_FOLD_STEPS = 30
_FEW_FOLD_STEPS = 8
_LEVEL = 1e-9

# How a path ends, or that it goes on.
BUMP = -2
GOES_ON = -1
BROKEN = 0
REACHED = 1
FOLD = 2
SLIP_LIMIT = 3


@kernel
def _past(before: Floats, x: Floats) -> int:
    """Number of the slip or angle that passes the limit of driving first on the way to `x`; -1 for none."""
    first = -1
    least = np.inf
    for j in range(SIDESLIP, TAU):
        if abs(x[j]) > MOST_SLIP:
            bound = MOST_SLIP if x[j] > 0.0 else -MOST_SLIP
            share = (bound - before[j]) / (x[j] - before[j])
            if share < least:
                least = share
                first = j
    return first


@kernel
def _level(length: float, turned: float, work: Record) -> tuple[float, float]:
    """Where the factor's cubic between the last two points is least, along the old tangent, and its bend."""
    slope = work.tangent[FACTOR]
    end = work.step[FACTOR] / turned
    way = (work.trial[FACTOR] - work.last[FACTOR]) / length
    a = 3.0 * (slope + end - 2.0 * way)
    b = 2.0 * (3.0 * way - 2.0 * slope - end)
    root = sqrt(max(0.0, b * b - 4.0 * a * slope))
    # the root where the slope rises
    share = -2.0 * slope / (b + root) if b + root > 0.0 else 0.5
    return length * min(1.0, max(0.0, share)), max(root, end - slope) / length


@shared_kernel(*TRIAL, "f8", "f8", "f8", WORK, returns=("?", "i8"))
def find_fold(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    at: float, rate: float, length: float, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The fold between `work.last` and the point `length` on, into `x`; whether it was found, and the
    evaluations.

    `x` starts near it, `at` along the old tangent, where the factor bends by `rate`. Every step brings the
    point onto the path and moves it along to where the factor's slope vanishes, by the secant of the last two
    slopes; to the middle of what is known to hold the fold where the secant leaves that.
    """
    near = 0.0
    far = length
    before = at
    slope_before = 0.0
    set_row(work.tangent, work.row)
    for effort in range(1, _FOLD_STEPS + 1):
        balance(car, elements, setup, case, state, road, x, work)
        size = worst(work.residual)
        if not size < 1.0:
            return False, effort
        set_tangent(work.row, work)
        along = dot(work.tangent, work.step)
        slope = work.step[FACTOR] / along
        # how far the path lies beside this point
        for i in range(UNKNOWNS):
            work.null[i] = work.residual[i]
        work.null[UNKNOWNS] = 0.0
        solve(work.matrix, work.pivots, COLUMNS, work.null)
        if effort > 1 and (slope - slope_before) * (at - before) > 0.0:
            rate = (slope - slope_before) / (at - before)
        if size < NEAR:
            if slope < 0.0:
                near = max(near, at)
            else:
                far = min(far, at)
        goal = at - slope / rate
        is_level = (
            abs(slope * (goal - at)) < _LEVEL
            or abs(slope) * (far - near) < _LEVEL
        )
        if is_level and (
            size < TOLERANCE or (size < CLOSE and effort > _FEW_FOLD_STEPS)
        ):
            set_row(work.step, work.row)
            set_null(work.row, work)
            work.bend = rate
            return True, effort
        if not near <= goal <= far:
            goal = 0.5 * (near + far)
        for j in range(COLUMNS):
            x[j] += (goal - at) / along * work.step[j] - work.null[j]
        before = at
        slope_before = slope
        at = goal
    return False, _FOLD_STEPS


@kernel
def _go_to(
    on: Trial, column: int,
    value: float, x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The point of the path where one unknown has a value, between `work.last` and `work.trial`, into `x`.

    Whether it was found there, and the evaluations.
    """
    row = work.row
    for j in range(COLUMNS):
        row[j] = 0.0
    row[column] = 1.0
    way = work.trial[column] - work.last[column]
    share = (value - work.last[column]) / way if way != 0.0 else 1.0
    for j in range(COLUMNS):
        x[j] = work.last[j] + share * (work.trial[j] - work.last[j])
    x[column] = value
    found, effort = correct(on, x, row, TOLERANCE, work)
    if not found and not worst(work.residual) < CLOSE:
        return False, effort
    set_null(row, work)
    return True, effort


@kernel
def _go_to_limit(
    on: Trial, limit: int,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The point of the path where the slip or angle of number `limit` is the most that is still driving."""
    bound = MOST_SLIP if work.trial[limit] > 0.0 else -MOST_SLIP
    return _go_to(on, limit, bound, x, work)


@kernel
def end_within(
    on: Trial, goal: float, length: float, turned: float, sure: bool, x: Floats, work: Record
) -> tuple[int, int]:  # fmt: skip
    """End of the path between `work.last` and `work.trial`, into `x`: how it ends, and the evaluations.

    GOES_ON where there is none, BROKEN where there is an end that was not found, BUMP where the factor rises
    by less than what counts as a fold. `sure`: any rise counts.
    """
    if work.trial[FACTOR] <= goal:
        return _reach(on, goal, x, work)
    effort = 0
    is_level = work.step[FACTOR] >= 0.0
    if is_level:
        at, rate = _level(length, turned, work)
        interpolate(at / length, length, turned, work, x)
        is_level = sure or work.trial[FACTOR] - x[FACTOR] >= NO_FOLD
        if not is_level and _past(work.last, work.trial) < 0:
            return BUMP, 0
    if is_level:
        found, effort = find_fold(*on, x, at, rate, length, work)
        if not found:
            return BROKEN, effort
        # the goal, or the end of what is still driving, may lie before the fold
        copy(x, work.trial)
        if x[FACTOR] <= goal:
            work.bend = 0.0
            end, steps = _reach(on, goal, x, work)
            return end, effort + steps
    limit = _past(work.last, work.trial)
    if limit >= 0:
        work.bend = 0.0
        found, steps = _go_to_limit(on, limit, x, work)
        return SLIP_LIMIT if found else BROKEN, effort + steps
    return FOLD if is_level else GOES_ON, effort


@kernel
def _reach(on: Trial, goal: float, x: Floats, work: Record) -> tuple[int, int]:
    """The path's point at the factor `goal`, into `x`."""
    found, effort = _go_to(on, FACTOR, goal, x, work)
    return REACHED if found else BROKEN, effort


@kernel
def break_off(
    on: Trial, x: Floats,
    work: Record,
) -> int:  # fmt: skip
    """The path goes no further than the last point found; made exact where that is possible. Evaluations."""
    copy(work.last, work.trial)
    copy(work.last, work.expected)
    set_row(work.tangent, work.row)
    found, effort = correct(
        on,
        work.trial,
        work.row,
        TOLERANCE,
        work,
    )
    is_near = found and miss_of(work) < MISS
    for j in range(COLUMNS):
        x[j] = work.trial[j] if is_near else work.last[j]
        work.null[j] = 0.0
    return effort
