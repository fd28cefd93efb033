"""The end of the path that belongs to that of an answer nearby, without the way to it."""

from __future__ import annotations

from setupopt.physics.balance import COLUMNS, FACTOR, balance
from setupopt.physics.friction_path import LEAST_FACTOR
from setupopt.physics.inputs import (
    SIDESLIP,
    TAU,
    UNKNOWNS,
    Floats,
    Record,
    Records,
    Trial,
)
from setupopt.physics.jit import kernel
from setupopt.physics.linear import copy
from setupopt.physics.newton import MOST_SLIP, TOLERANCE, is_inside
from setupopt.physics.path_end import CLOSE, find_fold
from setupopt.physics.path_step import (
    correct,
    set_null,
    set_soft,
    solve_tangent,
)

# How far along the path the fold of an answer nearby may move, and how far its factor may lie from the
# expected one.
_NEARBY = 20.0
_NEAR_END = 0.02


@kernel
def end_nearby(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The end of the path that belongs to that of an answer nearby, into `x`; whether it was found, and the
    evaluations.

    It counts only where the factor is near what its slope there lets expect. That the path has no other end
    before it is not looked at.
    """
    on = (car, elements, setup, case, state, road)
    copy(start.fold, x)
    x[FACTOR] = start.friction_factor
    balance(*on, x, work)
    expected = start.friction_factor
    for j in range(UNKNOWNS):
        expected -= start.null[j] * work.residual[j]
    if start.bend > 0.0:
        found, effort = _fold_nearby(on, start, x, work)
    else:
        found, effort = _limit_nearby(on, start, x, work)
    is_near = abs(x[FACTOR] - expected) < _NEAR_END and x[FACTOR] > LEAST_FACTOR
    return found and is_near, effort + 1


@kernel
def _fold_nearby(
    on: Trial, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The fold along the direction in which the car gives way at the fold of an answer nearby."""
    copy(start.null, work.null)
    work.null[UNKNOWNS] = 0.0
    set_soft(work)
    middle = 0.5 * _NEARBY
    found, effort = find_fold(
        *on,
        x,
        middle,
        start.bend,
        _NEARBY,
        work,
    )
    return found and work.bend > 0.0 and is_inside(x, MOST_SLIP), effort


@kernel
def _limit_nearby(
    on: Trial, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The point of the path with as much of one slip or angle as an answer nearby ends with."""
    row = work.row
    limit = -1
    for j in range(COLUMNS):
        row[j] = 0.0
        if SIDESLIP <= j < TAU and abs(abs(x[j]) - MOST_SLIP) < CLOSE:
            limit = j
    if limit < 0:
        return False, 0
    row[limit] = 1.0 if x[limit] > 0.0 else -1.0
    x[limit] = MOST_SLIP * row[limit]
    found, effort = correct(on, x, row, TOLERANCE, work)
    if not found:
        return False, effort
    work.bend = 0.0
    set_null(row, work)
    solve_tangent(work)
    falls = work.step[FACTOR] < 0.0
    for j in range(SIDESLIP, TAU):
        falls = falls and abs(x[j]) < MOST_SLIP + CLOSE
    return falls, effort
