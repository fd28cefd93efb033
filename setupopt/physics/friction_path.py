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
from setupopt.physics.inputs import (
    SIDESLIP,
    TAU,
    UNKNOWNS,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import copy, solve
from setupopt.physics.newton import MOST_SLIP, TOLERANCE, is_inside, worst
from setupopt.physics.path_step import (
    NEAR,
    arrive,
    correct,
    dot,
    interpolate,
    miss_of,
    predict,
    set_curve,
    set_null,
    set_row,
    set_soft,
    set_tangent,
    solve_tangent,
)

# Steps along the path, in the units of its arc length (physics/path_step.py).
_FIRST_STEP = 0.5
_GROWTH = 1.7
_LONGEST_STEP = 50.0
_SHORTEST_STEP = 1e-4
_MOST_POINTS = 400
# Where Newton's method stalls next to an end, this is as good as exact: a millionth of a margin.
_CLOSE = 1e-7
# Two tangents that differ by more than this cosine: the step was too long for the bend.
_BEND = 0.8
# A point further than this share of the step from where it was expected lies on another branch.
_ASTRAY = 0.2
# Distance from the expected point that the next step aims at.
_MISS = 0.03
# Steps up to this length cross kinks, where a stop is met or the driver changes from throttle to brakes: a
# point may lie anywhere there, and the tangent turn by more.
_KINK = 0.02
_KINK_BEND = 0.2
# Where the factor rises by less before it falls again there is no fold: the brush's few nodes leave so much
# of a load (tests/physics/test_brush.py).
_NO_FOLD = 4e-5
# Steps of the search for the fold; after these what is close counts as found. What may be left of the factor.
_FOLD_STEPS = 30
_FEW_FOLD_STEPS = 8
_LEVEL = 1e-9
# How far along the path the fold of an answer nearby may move, and how far its factor may lie from the
# expected one.
_NEARBY = 20.0
_NEAR_END = 0.02
# No path is followed to less friction.
LEAST_FACTOR = 1e-3

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


@shared_kernel(*TRIAL, "f8", "f8", "f8", WORK)
def _find_fold(
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
            size < TOLERANCE or (size < _CLOSE and effort > _FEW_FOLD_STEPS)
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
    work.bend = 0.0
    for j in range(COLUMNS):
        work.last[j] = x[j]
        work.curve[j] = 0.0
        row[j] = 0.0
    row[FACTOR] = -1.0
    set_tangent(row, work)
    length = _FIRST_STEP
    before_bump = 0.0
    effort = 0
    for _ in range(_MOST_POINTS):
        for j in range(COLUMNS):
            work.tangent[j] = work.step[j]
        found = predict(length, work)
        steps = 0
        if found:
            found, steps = arrive(
                car, elements, setup, case, state, road, NEAR, work
            )
        effort += steps
        turned = 0.0
        miss = 0.0
        if found:
            turned = dot(work.step, work.tangent)
            miss = miss_of(work)
            found = turned > _BEND and miss < _ASTRAY * length
            if length < _KINK:
                found = turned > _KINK_BEND
        end = BROKEN
        if found:
            sure = length == before_bump
            end, steps = _end_within(
                car,
                elements,
                setup,
                case,
                state,
                road,
                goal,
                length,
                turned,
                sure,
                x,
                work,
            )
            effort += steps
            if end > BROKEN:
                return end, effort
        if end == GOES_ON:
            set_curve(length, turned, work)
            for j in range(COLUMNS):
                work.last[j] = work.trial[j]
            length = _next_length(length, miss, work)
            before_bump = 0.0
            continue
        for j in range(COLUMNS):
            work.step[j] = work.tangent[j]
        if end == BUMP:
            before_bump = length
            length *= 2.0
            continue
        length = (
            before_bump
            if before_bump > 0.0 and before_bump != length
            else 0.4 * length
        )
        if length < _SHORTEST_STEP:
            break
    effort += _break_off(car, elements, setup, case, state, road, x, work)
    return BROKEN, effort


@kernel
def _next_length(length: float, miss: float, work: Record) -> float:
    """Next step, by how close to its expected place the last point was; hardly past the fold that the bend of
    the path points to.
    """
    growth = _GROWTH if miss < 0.125 * _MISS else (_MISS / miss) ** (1.0 / 3.0)
    length *= min(_GROWTH, max(0.4, growth))
    bend = work.curve[FACTOR]
    slope = work.step[FACTOR]
    if bend > 0.0 and 0.5 * slope * slope > _NO_FOLD * bend:
        length = min(length, max(-1.1 * slope / bend, _KINK))
    return min(length, _LONGEST_STEP)


@kernel
def _end_within(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, goal: float,
    length: float, turned: float, sure: bool, x: Floats, work: Record,
) -> tuple[int, int]:  # fmt: skip
    """End of the path between `work.last` and `work.trial`, into `x`: how it ends, and the evaluations.

    GOES_ON where there is none, BROKEN where there is an end that was not found, BUMP where the factor rises
    by less than what counts as a fold. `sure`: any rise counts.
    """
    if work.trial[FACTOR] <= goal:
        found, effort = _go_to(
            car, elements, setup, case, state, road, FACTOR, goal, x, work
        )
        return REACHED if found else BROKEN, effort
    effort = 0
    limit = _past(work.last, work.trial)
    if work.step[FACTOR] >= 0.0:
        at, rate = _level(length, turned, work)
        interpolate(at / length, length, turned, work, x)
        is_bump = not sure and work.trial[FACTOR] - x[FACTOR] < _NO_FOLD
        if is_bump and limit < 0:
            return BUMP, 0
        if not is_bump:
            found, effort = _find_fold(
                car,
                elements,
                setup,
                case,
                state,
                road,
                x,
                at,
                rate,
                length,
                work,
            )
            if not found:
                return BROKEN, effort
            # the goal, or the end of what is still driving, may lie before the fold
            copy(x, work.trial)
            limit = _past(work.last, x)
            if x[FACTOR] <= goal:
                found, steps = _go_to(
                    car,
                    elements,
                    setup,
                    case,
                    state,
                    road,
                    FACTOR,
                    goal,
                    x,
                    work,
                )
                work.bend = 0.0
                return REACHED if found else BROKEN, effort + steps
            if limit < 0:
                return FOLD, effort
    if limit >= 0:
        work.bend = 0.0
        found, steps = _go_to_limit(
            car, elements, setup, case, state, road, limit, x, work
        )
        return SLIP_LIMIT if found else BROKEN, effort + steps
    return GOES_ON, effort


@kernel
def _break_off(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    work: Record,
) -> int:  # fmt: skip
    """The path goes no further than the last point found; made exact where that is possible. Evaluations."""
    copy(work.last, work.trial)
    copy(work.last, work.expected)
    set_row(work.tangent, work.row)
    found, effort = correct(
        car,
        elements,
        setup,
        case,
        state,
        road,
        work.trial,
        work.row,
        TOLERANCE,
        work,
    )
    is_near = found and miss_of(work) < _MISS
    for j in range(COLUMNS):
        x[j] = work.trial[j] if is_near else work.last[j]
        work.null[j] = 0.0
    return effort


@kernel
def _go_to(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, column: int,
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
    found, effort = correct(
        car, elements, setup, case, state, road, x, row, TOLERANCE, work
    )
    if not found and not worst(work.residual) < _CLOSE:
        return False, effort
    set_null(row, work)
    return True, effort


@kernel
def _go_to_limit(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, limit: int,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The point of the path where the slip or angle of number `limit` is the most that is still driving."""
    bound = MOST_SLIP if work.trial[limit] > 0.0 else -MOST_SLIP
    return _go_to(
        car, elements, setup, case, state, road, limit, bound, x, work
    )


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
    copy(start.fold, x)
    x[FACTOR] = start.friction_factor
    balance(car, elements, setup, case, state, road, x, work)
    expected = start.friction_factor
    for j in range(UNKNOWNS):
        expected -= start.null[j] * work.residual[j]
    if start.bend > 0.0:
        found, effort = _fold_nearby(
            car, elements, setup, case, state, road, start, x, work
        )
    else:
        found, effort = _limit_nearby(
            car, elements, setup, case, state, road, start, x, work
        )
    is_near = abs(x[FACTOR] - expected) < _NEAR_END and x[FACTOR] > LEAST_FACTOR
    return found and is_near, effort + 1


@kernel
def _fold_nearby(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The fold along the direction in which the car gives way at the fold of an answer nearby."""
    copy(start.null, work.null)
    set_soft(work)
    middle = 0.5 * _NEARBY
    found, effort = _find_fold(
        car,
        elements,
        setup,
        case,
        state,
        road,
        x,
        middle,
        start.bend,
        _NEARBY,
        work,
    )
    return found and work.bend > 0.0 and is_inside(x, MOST_SLIP), effort


@kernel
def _limit_nearby(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, start: Record,
    x: Floats, work: Record,
) -> tuple[bool, int]:  # fmt: skip
    """The point of the path with as much of one slip or angle as an answer nearby ends with."""
    row = work.row
    limit = -1
    for j in range(COLUMNS):
        row[j] = 0.0
        if SIDESLIP <= j < TAU and abs(abs(x[j]) - MOST_SLIP) < _CLOSE:
            limit = j
    if limit < 0:
        return False, 0
    row[limit] = 1.0 if x[limit] > 0.0 else -1.0
    x[limit] = MOST_SLIP * row[limit]
    found, effort = correct(
        car, elements, setup, case, state, road, x, row, TOLERANCE, work
    )
    if not found:
        return False, effort
    work.bend = 0.0
    set_null(row, work)
    solve_tangent(work)
    falls = work.step[FACTOR] < 0.0
    for j in range(SIDESLIP, TAU):
        falls = falls and abs(x[j]) < MOST_SLIP + _CLOSE
    return falls, effort
