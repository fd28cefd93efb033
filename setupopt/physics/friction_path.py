"""The path of trims as friction falls: followed by its arc length to the least friction factor that still
holds.

The path ends at a fold, where the car has no trim at less friction; where sideslip, steer or a wheel's slip
passes what is still driving; or where contact is lost. Source of the method: R. Seydel, Practical Bifurcation
and Stability Analysis, chapter 4 (pseudo-arclength continuation).
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from setupopt.physics.balance import COLUMNS, FACTOR, TRIAL, WORK, balance
from setupopt.physics.inputs import SIDESLIP, TAU, UNKNOWNS, Floats, Record, Records
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import copy, factor, solve, solve_transposed
from setupopt.physics.newton import MOST_SLIP, TOLERANCE, worst

# What the arc length counts in: metres and radians of the body, angles and slips, axle forces, friction
# factor.
_UNITS = np.array([0.01] * 7 + [0.02] * 6 + [0.1] * 2 + [0.1])
_PER_SQUARE = 1.0 / _UNITS**2
_FIRST_STEP = 1.0
_LONGEST_STEP = 50.0
_SHORTEST_STEP = 1e-4
_MOST_POINTS = 200
_CORRECTIONS = 6
# Largest residual of a point on the way, as a share of the weight; ends are exact.
_NEAR = 1e-5
# Where Newton's method stalls next to a fold, this is as good as exact: a millionth of a margin.
_CLOSE = 1e-7
# Newton's method leaves less than this times the square of a residual, away from wheels that lift or land.
_SQUARE = 100.0
# A step is taken on trust up to this square of its length: where a tyre slides, a small residual may ask for
# a long step.
_TRUSTED = 0.01
# Two tangents that differ by more than this cosine: the step was too long for the bend.
_BEND = 0.3
# Steps of the search for the fold, and the slope of the factor along the path at which it is found.
_FOLD_STEPS = 12
_LEVEL = 1e-6
# No path is followed to less friction.
LEAST_FACTOR = 1e-3

# How a path ends.
REACHED = 0
FOLD = 1
SLIP_LIMIT = 2
BROKEN = 3


@kernel
def _border(row: Floats, work: Record) -> float:
    """Jacobian with the factor's column, bordered by `row` (COLUMNS), factored; the determinant's sign."""
    for i in range(UNKNOWNS):
        for j in range(COLUMNS):
            work.matrix[i, j] = work.jacobian[i, j]
    for j in range(COLUMNS):
        work.matrix[UNKNOWNS, j] = row[j]
    return factor(work.matrix, work.pivots, COLUMNS)


@kernel
def _set_tangent(row: Floats, work: Record) -> None:
    """Unit tangent of the path at the last balance, into `work.step`, on the side that `row` points to."""
    _border(row, work)
    for j in range(UNKNOWNS):
        work.step[j] = 0.0
    work.step[UNKNOWNS] = 1.0
    solve(work.matrix, work.pivots, COLUMNS, work.step)
    total = 0.0
    for j in range(COLUMNS):
        total += work.step[j] * work.step[j] * _PER_SQUARE[j]
    length = sqrt(total)
    for j in range(COLUMNS):
        work.step[j] /= length


@kernel
def _correct(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    row: Floats, tolerance: float, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Newton from the predicted `x`, in place, across `row`; whether it arrived, and the evaluations.

    On the way, the last step is taken on trust where hardly anything is left after it. The Jacobian is then
    that of the point before it. Ends are looked at until they are exact.
    """
    size = 1e9
    for step in range(_CORRECTIONS):
        balance(car, elements, setup, case, state, road, x, work)
        new_size = worst(work.residual)
        if new_size < tolerance:
            return True, step + 1
        if not new_size < 3.0 * size:
            return False, step + 1
        size = new_size
        _border(row, work)
        for i in range(UNKNOWNS):
            work.step[i] = work.residual[i]
        work.step[UNKNOWNS] = 0.0
        solve(work.matrix, work.pivots, COLUMNS, work.step)
        moved = 0.0
        for j in range(COLUMNS):
            x[j] -= work.step[j]
            moved += work.step[j] * work.step[j] * _PER_SQUARE[j]
        if not x[FACTOR] > 0.0:
            return False, step + 1
        near = moved < _TRUSTED and _SQUARE * new_size * new_size < tolerance
        if tolerance > TOLERANCE and near:
            return True, step + 1
    return False, _CORRECTIONS


@kernel
def _set_row(tangent: Floats, row: Floats) -> None:
    """The border that keeps a correction square to the path."""
    for j in range(COLUMNS):
        row[j] = tangent[j] * _PER_SQUARE[j]


@kernel
def _predict(length: float, work: Record) -> bool:
    """Point `length` on from `work.last` along `work.tangent`, into `work.trial`; whether it has friction
    left.
    """
    for j in range(COLUMNS):
        work.trial[j] = work.last[j] + length * work.tangent[j]
    return work.trial[FACTOR] > 0.0


@kernel
def _predict_further(change: float, work: Record) -> None:
    """Move `work.trial` along its own tangent, `work.step`, so far that it lies `change` further along the
    old one.
    """
    along = 0.0
    for j in range(COLUMNS):
        along += work.row[j] * work.step[j]
    for j in range(COLUMNS):
        work.trial[j] += change / along * work.step[j]


@kernel
def _arrive(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records,
    tolerance: float, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Bring `work.trial` onto the path, square to `work.tangent`; the path's tangent there into
    `work.step`.
    """
    _set_row(work.tangent, work.row)
    found, effort = _correct(car, elements, setup, case, state, road, work.trial, work.row, tolerance, work)
    if found:
        _set_tangent(work.row, work)
    return found, effort


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


@shared_kernel(*TRIAL, "f8", WORK)
def follow(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    goal: float, work: Record,
) -> tuple[int, int]:  # fmt: skip
    """From the trim `x` to less friction, down to the factor `goal`; `x` ends at the path's end.

    The balance at `x` must lie in `work`.

    Returns how the path ends and the evaluations. At a fold or a slip limit `work.null` is how the factor
    answers to each row there: d factor / d p = -null . d residual / d p.
    """
    row = work.row
    for j in range(COLUMNS):
        work.last[j] = x[j]
        row[j] = 0.0
    row[FACTOR] = -1.0
    _set_tangent(row, work)
    length = _FIRST_STEP
    effort = 0
    for _ in range(_MOST_POINTS):
        for j in range(COLUMNS):
            work.tangent[j] = work.step[j]
        found = _predict(length, work)
        steps = 0
        if found:
            found, steps = _arrive(car, elements, setup, case, state, road, _NEAR, work)
        effort += steps
        turned = 0.0
        if found:
            for j in range(COLUMNS):
                turned += work.step[j] * work.tangent[j] * _PER_SQUARE[j]
        if not found or turned < _BEND:
            length *= 0.3
            if length < _SHORTEST_STEP:
                return _break_off(x, work), effort
            for j in range(COLUMNS):
                work.step[j] = work.tangent[j]
            continue
        limit = _past(work.last, work.trial)
        if work.step[FACTOR] >= 0.0:
            effort += _find_fold(car, elements, setup, case, state, road, length, x, work)
            limit = _past(work.last, x)
            if limit < 0:
                return FOLD, effort
            # What is still driving ends on the way to the fold
            copy(x, work.trial)
            return SLIP_LIMIT, effort + _go_to_limit(car, elements, setup, case, state, road, limit, x, work)
        if work.trial[FACTOR] <= goal:
            steps = _go_to(car, elements, setup, case, state, road, FACTOR, goal, x, work)
            return REACHED, effort + steps
        if limit >= 0:
            return SLIP_LIMIT, effort + _go_to_limit(car, elements, setup, case, state, road, limit, x, work)
        for j in range(COLUMNS):
            work.last[j] = work.trial[j]
        if steps <= 2:
            length = min(2.0 * length, _LONGEST_STEP)
    return _break_off(x, work), effort


@kernel
def _break_off(x: Floats, work: Record) -> int:
    """The path goes no further than the last point found."""
    for j in range(COLUMNS):
        x[j] = work.last[j]
        work.null[j] = 0.0
    return BROKEN


@kernel
def _set_null(row: Floats, work: Record) -> None:
    """How the friction factor answers to each row at the end of a path, bordered by `row`."""
    _border(row, work)
    for j in range(UNKNOWNS):
        work.null[j] = 0.0
    work.null[UNKNOWNS] = 1.0
    solve_transposed(work.matrix, work.pivots, COLUMNS, work.null)


@kernel
def _go_to(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, column: int,
    value: float, x: Floats, work: Record,
) -> int:  # fmt: skip
    """The point of the path where one unknown has a value, between `work.last` and `work.trial`; into `x`."""
    row = work.row
    for j in range(COLUMNS):
        row[j] = 0.0
    row[column] = 1.0
    way = work.trial[column] - work.last[column]
    share = (value - work.last[column]) / way if way != 0.0 else 1.0
    for j in range(COLUMNS):
        x[j] = work.last[j] + share * (work.trial[j] - work.last[j])
    x[column] = value
    found, effort = _correct(car, elements, setup, case, state, road, x, row, TOLERANCE, work)
    if not found:
        for j in range(COLUMNS):
            x[j] = work.trial[j]
        balance(car, elements, setup, case, state, road, x, work)
    _set_null(row, work)
    return effort


@kernel
def _go_to_limit(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, limit: int,
    x: Floats, work: Record,
) -> int:  # fmt: skip
    """The point of the path where the slip or angle of number `limit` is the most that is still driving."""
    bound = MOST_SLIP if work.trial[limit] > 0.0 else -MOST_SLIP
    return _go_to(car, elements, setup, case, state, road, limit, bound, x, work)


@kernel
def _find_fold(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, length: float,
    x: Floats, work: Record,
) -> int:  # fmt: skip
    """The fold between `work.last` and the point `length` on from it, into `x`, by false position
    (Illinois).
    """
    near = 0.0
    far = length
    slope_near = work.tangent[FACTOR]
    slope_far = work.step[FACTOR]
    effort = 0
    side = 0
    found = True
    for _ in range(_FOLD_STEPS):
        for j in range(COLUMNS):
            x[j] = work.trial[j]
        if abs(work.step[FACTOR]) < _LEVEL * _UNITS[FACTOR]:
            break
        before = length
        length = near - slope_near * (far - near) / (slope_far - slope_near)
        _predict_further(length - before, work)
        found, steps = _arrive(car, elements, setup, case, state, road, TOLERANCE, work)
        effort += steps
        if not found:
            if worst(work.residual) < _CLOSE:
                copy(work.trial, x)
            break
        if work.step[FACTOR] < 0.0:
            near = length
            slope_near = work.step[FACTOR]
            slope_far *= 0.5 if side == 1 else 1.0
            side = 1
        else:
            far = length
            slope_far = work.step[FACTOR]
            slope_near *= 0.5 if side == -1 else 1.0
            side = -1
    if not found:
        balance(car, elements, setup, case, state, road, x, work)
        effort += 1
        _set_row(work.tangent, work.row)
        _set_tangent(work.row, work)
    _set_row(work.step, work.row)
    _set_null(work.row, work)
    return effort
