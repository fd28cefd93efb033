"""Cases in which the car can stand in two positions: the lower margin of the two is reported.

Each case of a sweep is solved by itself. Where the trims of two neighbouring angles do not lie on one curve,
the trim of each may exist at the other angle too, and further on: it is carried there from angle to angle.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.physics.inputs import Floats, Record, Records

# Third difference from angle to angle that a curve of trims may have: m, rad, shares of the weight.
_UNEVEN = 4e-3
# Two solutions of one trim differ by less, and margins of one trim by less.
_SAME = 1e-4


class Solve(Protocol):
    """Answers of cases from those of cases nearby; with `by_slope` trims alone, at a seventh of the work."""

    def __call__(
        self,
        cases: CaseSet,
        starts: Records | None = None,
        by_slope: bool = False,
    ) -> Records: ...


def keep_lower(answers: Records, cases: CaseSet, solve: Solve) -> Floats:
    """Put the answer with the lower margin in place where a case of a sweep has two trims at full friction.

    `answers` (cases): of one setup, changed in place; those without their null vector are solved again where
    they are a start. Returns the higher margin (cases) where there are two, elsewhere not a number.
    """
    lower: dict[int, Record] = {}
    higher = np.full(len(cases), np.nan)
    shape = (len(cases.attitudes), cases.angles.size)
    state = answers["state"]
    held = _holds(answers)
    jumps = _jumps(state.reshape(*shape, -1), held.reshape(shape))
    attitude, angle = np.nonzero(jumps)
    for step in (1, -1):
        angles = angle + (step > 0)
        rows = attitude * shape[1] + angles
        starts = (
            answers[rows - step]
            if "null" in answers.dtype.names
            else solve(cases.pick(rows - step))
        )
        while rows.size:
            trims = solve(cases.pick(rows), starts, by_slope=True)
            is_other = np.abs(trims["state"] - state[rows]).max(axis=1) > _SAME
            rows = rows[is_other]
            found = solve(cases.pick(rows), starts[is_other])
            goes_on = _holds(found)
            counts = goes_on & held[rows]
            for row, other in zip(rows[counts], found[counts], strict=True):
                _put(lower, higher, row, answers[row], other)
            after = rows % shape[1] + step
            goes_on &= (after >= 0) & (after < shape[1])
            rows = rows[goes_on] + step
            starts = found[goes_on]
    for name in answers.dtype.names:
        for row, other in lower.items():
            answers[name][row] = other[name]
    return higher


def _holds(answers: Records) -> np.ndarray:
    """Whether there is a trim at full friction."""
    return np.asarray(answers["contact"] & ~answers["slides"])


def _jumps(state: Floats, holds: np.ndarray) -> np.ndarray:
    """Pairs of neighbouring angles (attitudes, angles - 1) whose trims may not lie on one curve.

    The step from one to the other is then no mean of the steps on both sides.
    """
    both = holds[:, 1:] & holds[:, :-1]
    uneven = np.full(both.shape, np.inf)
    if both.shape[1] > 2:
        third = np.zeros((both.shape[0], both.shape[1] - 2))
        for unknown in np.moveaxis(state, 2, 0):
            np.maximum(third, np.abs(np.diff(unknown, n=3, axis=1)), out=third)
        third[~(both[:, 2:] & both[:, 1:-1] & both[:, :-2])] = np.inf
        uneven = np.pad(third, ((0, 0), (1, 1)), mode="edge")
    return np.asarray(both & (uneven > _UNEVEN))


def _put(
    lower: dict[int, Record],
    higher: Floats,
    row: int,
    first: Record,
    other: Record,
) -> None:
    """Note the second trim of a case, `other`, and keep the answer of the lower margin."""
    best: Record = lower.get(row, first)
    kept = best["margin"]
    if abs(other["margin"] - kept) < _SAME:
        return
    higher[row] = np.nanmax([higher[row], kept, other["margin"]])
    if other["margin"] < kept:
        lower[row] = other
