"""One step along the path of trims as friction falls: tangent, expected point, the way back to it."""

from __future__ import annotations

from math import sqrt

import numpy as np

from setupopt.physics.balance import COLUMNS, FACTOR, balance
from setupopt.physics.inputs import UNKNOWNS, Floats, Record, Trial
from setupopt.physics.jit import kernel
from setupopt.physics.linear import factor, solve, solve_transposed
from setupopt.physics.newton import TOLERANCE, worst

# What the arc length counts in: metres and radians of the body, angles and slips, axle forces, friction
# factor.
UNITS = np.array([0.01] * 7 + [0.02] * 6 + [0.1] * 2 + [0.1])
_PER_SQUARE = 1.0 / UNITS**2
# Distance from the expected point that the next step aims at.
MISS = 0.03
# Newton's steps to an end; to a point on the way, which a shorter step makes easier.
_CORRECTIONS = 6
_FEW_CORRECTIONS = 3
# Largest residual of a point on the way, as a share of the weight; ends are exact.
NEAR = 1e-5
# Newton's method leaves less than this times the square of a residual, away from wheels that lift or land.
_SQUARE = 100.0
# A step is taken on trust up to this square of its length: where a tyre slides, a small residual may ask for
# a long step.
_TRUSTED = 0.01


@kernel
def dot(a: Floats, b: Floats) -> float:
    """Product of two directions in the units of the arc length."""
    total = 0.0
    for j in range(COLUMNS):
        total += a[j] * b[j] * _PER_SQUARE[j]
    return total


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
def solve_tangent(work: Record) -> None:
    """As `set_tangent`, where the bordered Jacobian lies factored in `work.matrix`."""
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
def set_tangent(row: Floats, work: Record) -> None:
    """Unit tangent of the path at the last balance, into `work.step`, on the side that `row` points to."""
    _border(row, work)
    solve_tangent(work)


@kernel
def set_soft(work: Record) -> None:
    """Unit direction in which the car gives way next to a fold, into `work.tangent`.

    The Jacobian of the last balance is nearly singular there: its inverse turns the left null vector, in
    `work.null`, into the right one.
    """
    for i in range(UNKNOWNS):
        work.tangent[i] = work.null[i]
        for j in range(UNKNOWNS):
            work.matrix[i, j] = work.jacobian[i, j]
    work.tangent[FACTOR] = 0.0
    factor(work.matrix, work.pivots, UNKNOWNS)
    solve(work.matrix, work.pivots, UNKNOWNS, work.tangent)
    length = sqrt(dot(work.tangent, work.tangent))
    for j in range(COLUMNS):
        work.tangent[j] /= length


@kernel
def set_row(tangent: Floats, row: Floats) -> None:
    """The border that keeps a correction square to the path."""
    for j in range(COLUMNS):
        row[j] = tangent[j] * _PER_SQUARE[j]


@kernel
def set_null(row: Floats, work: Record) -> None:
    """How the friction factor answers to each row at the end of a path, bordered by `row`."""
    _border(row, work)
    for j in range(UNKNOWNS):
        work.null[j] = 0.0
    work.null[UNKNOWNS] = 1.0
    solve_transposed(work.matrix, work.pivots, COLUMNS, work.null)


@kernel
def correct(
    on: Trial, x: Floats, row: Floats, tolerance: float, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Newton from the predicted `x`, in place, across `row`; whether it arrived, and the evaluations.

    On the way, the last step is taken on trust where hardly anything is left after it. The Jacobian is then
    that of the point before it. Ends are looked at until they are exact.
    """
    size = 1e9
    most = _CORRECTIONS if tolerance <= TOLERANCE else _FEW_CORRECTIONS
    for step in range(most):
        balance(*on, x, work)
        new_size = worst(work.residual)
        if not new_size < 3.0 * size:
            return False, step + 1
        size = new_size
        _border(row, work)
        if size < tolerance:
            return True, step + 1
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
        near = moved < _TRUSTED and _SQUARE * size * size < tolerance
        if tolerance > TOLERANCE and near:
            return True, step + 1
    return False, most


@kernel
def predict(length: float, work: Record) -> bool:
    """Point `length` on from `work.last` along `work.tangent` and its bend, into `work.trial`; whether it has
    friction left.
    """
    square = 0.5 * length * length
    for j in range(COLUMNS):
        work.trial[j] = (
            work.last[j] + length * work.tangent[j] + square * work.curve[j]
        )
        work.expected[j] = work.trial[j]
    return work.trial[FACTOR] > 0.0


@kernel
def miss_of(work: Record) -> float:
    """How far `work.trial` lies from where it was expected."""
    total = 0.0
    for j in range(COLUMNS):
        off = work.trial[j] - work.expected[j]
        total += off * off * _PER_SQUARE[j]
    return sqrt(total)


@kernel
def set_curve(length: float, turned: float, work: Record) -> None:
    """Bend of the path at `work.trial`, by the cubic through the last two points with their tangents."""
    for j in range(COLUMNS):
        way = (work.trial[j] - work.last[j]) / length
        work.curve[j] = (
            2.0 * work.tangent[j] + 4.0 * work.step[j] / turned - 6.0 * way
        ) / length
        work.curve[j] *= turned * turned
    along = dot(work.curve, work.step)
    for j in range(COLUMNS):
        work.curve[j] -= along * work.step[j]


@kernel
def interpolate(
    share: float, length: float, turned: float, work: Record, x: Floats
) -> None:
    """Point of the cubic between `work.last` and `work.trial`, into `x`."""
    rest = 1.0 - share
    near = rest * rest * (1.0 + 2.0 * share)
    leaving = rest * rest * share * length
    arriving = -rest * share * share * length / turned
    for j in range(COLUMNS):
        x[j] = near * work.last[j] + (1.0 - near) * work.trial[j]
        x[j] += leaving * work.tangent[j] + arriving * work.step[j]


@kernel
def arrive(
    on: Trial, tolerance: float, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """Bring `work.trial` onto the path, square to `work.tangent`; the path's tangent there into
    `work.step`.
    """
    set_row(work.tangent, work.row)
    found, effort = correct(on, work.trial, work.row, tolerance, work)
    if found:
        solve_tangent(work)
    return found, effort
