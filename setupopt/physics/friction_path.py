"""The path of trims as friction falls: followed by its arc length to the least friction factor that still
holds.

The path ends at a fold, where the car has no trim at less friction; where sideslip, steer or a wheel's slip
passes what is still driving; or where contact is lost. Source of the method: R. Seydel, Practical Bifurcation
and Stability Analysis, chapter 4 (pseudo-arclength continuation).
"""

from __future__ import annotations

from setupopt.physics.balance import COLUMNS, FACTOR, TRIAL, WORK
from setupopt.physics.inputs import Floats, Record, Records, Trial
from setupopt.physics.jit import kernel, shared_kernel
from setupopt.physics.linear import copy
from setupopt.physics.path_end import (
    BROKEN,
    BUMP,
    GOES_ON,
    NO_FOLD,
    break_off,
    end_within,
)
from setupopt.physics.path_step import (
    MISS,
    NEAR,
    arrive,
    dot,
    miss_of,
    predict,
    set_curve,
    set_tangent,
)

# Steps along the path, in the units of its arc length (physics/path_step.py).
_FIRST_STEP = 0.5
_GROWTH = 1.7
_LONGEST_STEP = 50.0
_SHORTEST_STEP = 1e-4
_MOST_POINTS = 400
# Two tangents that differ by more than this cosine: the step was too long for the bend.
_BEND = 0.8
# A point further than this share of the step from where it was expected lies on another branch.
_ASTRAY = 0.2
# Steps up to this length cross kinks, where a stop is met or the driver changes from throttle to brakes: a
# point may lie anywhere there, and the tangent turn by more.
_KINK = 0.02
_KINK_BEND = 0.2
# No path is followed to less friction.
LEAST_FACTOR = 1e-3


@shared_kernel(*TRIAL, "f8", WORK, returns=("i8", "i8"))
def follow(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    goal: float, work: Record,
) -> tuple[int, int]:  # fmt: skip
    """From the trim `x` to less friction, down to the factor `goal`; `x` ends at the path's end.

    The balance at `x` must lie in `work`.

    Returns how the path ends and the evaluations. At a fold or a slip limit `work.null` is how the factor
    answers to each row there: d factor / d p = -null . d residual / d p.
    """
    on = (car, elements, setup, case, state, road)
    _begin(x, work)
    length = _FIRST_STEP
    before_bump = 0.0
    effort = 0
    for _ in range(_MOST_POINTS):
        for j in range(COLUMNS):
            work.tangent[j] = work.step[j]
        end = BROKEN
        found, turned, miss, steps = _advance(on, length, work)
        effort += steps
        if found:
            sure = length == before_bump
            end, steps = end_within(
                on, goal, length, turned, sure, x, work
            )  # fmt: skip
            effort += steps
            if end > BROKEN:
                return end, effort
        if end == GOES_ON:
            set_curve(length, turned, work)
            copy(work.trial, work.last)
            length = _next_length(length, miss, work)
            before_bump = 0.0
            continue
        copy(work.tangent, work.step)
        if end == BUMP:
            before_bump = length
            length *= 2.0
        elif before_bump > 0.0 and before_bump != length:
            length = before_bump
        else:
            length *= 0.4
            if length < _SHORTEST_STEP:
                break
    effort += break_off(on, x, work)
    return BROKEN, effort


@kernel
def _begin(x: Floats, work: Record) -> None:
    """Put the path's first point and its tangent, towards less friction, into `work`."""
    work.bend = 0.0
    for j in range(COLUMNS):
        work.last[j] = x[j]
        work.curve[j] = 0.0
        work.row[j] = 0.0
    work.row[FACTOR] = -1.0
    set_tangent(work.row, work)


@kernel
def _advance(
    on: Trial, length: float, work: Record
) -> tuple[bool, float, float, int]:
    """A point `length` on, into `work.trial`: whether it lies on the same branch; the cosine by which the
    path turned, how far from its expected place it lies, and the evaluations.
    """
    if not predict(length, work):
        return False, 0.0, 0.0, 0
    found, effort = arrive(on, NEAR, work)
    if not found:
        return False, 0.0, 0.0, effort
    turned = dot(work.step, work.tangent)
    miss = miss_of(work)
    is_same = turned > _BEND and miss < _ASTRAY * length
    if length < _KINK:
        is_same = turned > _KINK_BEND
    return is_same, turned, miss, effort


@kernel
def _next_length(length: float, miss: float, work: Record) -> float:
    """Next step, by how close to its expected place the last point was; hardly past the fold that the bend of
    the path points to.
    """
    growth = _GROWTH if miss < 0.125 * MISS else (MISS / miss) ** (1.0 / 3.0)
    length *= min(_GROWTH, max(0.4, growth))
    bend = work.curve[FACTOR]
    slope = work.step[FACTOR]
    if bend > 0.0 and 0.5 * slope * slope > NO_FOLD * bend:
        length = min(length, max(-1.1 * slope / bend, _KINK))
    return min(length, _LONGEST_STEP)
