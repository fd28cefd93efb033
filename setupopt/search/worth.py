"""What each change of a proposal is worth, how far each setting may go, and a shorter list of changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import Model
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import Slot, Variable, slots, with_value
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.project.settings import STATION, WING
from setupopt.search.engine.batch import BatchFunction
from setupopt.search.engine.index_points import IndexPoints, restricted
from setupopt.search.objective import Objective
from setupopt.search.proposal import (
    Change,
    Plateau,
    weighted_worst_margins,
)
from setupopt.search.setup_problem import SetupProblem

# Weighted worst margin that a plateau may lose.
PLATEAU_LOSS = 0.005
# Values closer than this share of the larger one are one: the conversion of units leaves noise.
_SAME = 1e-9
# A limit broken by less, over its scale, is kept.
_ROOM = 1e-6
# Ends of plateaus are checked at every so many-th angle, and searched again so often.
_THINNED = 3
_MOST_ROUNDS = 5
# A range without steps is searched in so many.
_LINES = 65


# ---- each change alone -------------------------------------------------------------------------------------


def changes(
    project: Project,
    today: Setup,
    proposed: Setup,
    objective: Objective,
    cases: CaseSet,
) -> tuple[Change, ...]:
    """Every setting that differs from today's setup, with what leaving it alone would cost, the most first.

    The proposed setup is evaluated with this one setting as today, all others as proposed. `project` has the
    body of the proposed setup.
    """
    differing = [
        slot
        for slot in slots([today, proposed])
        if _is_change(slot, today, proposed)
    ]
    if not differing:
        return ()
    alone = [
        with_value(proposed, slot, value_in(slot, today)) for slot in differing
    ]
    model = Model(project.car)
    best = model.run(model.settings(proposed), cases)
    result = model.run(model.settings(alone), cases, best.answers[0])
    before = float(weighted_worst_margins(objective, best)[0])
    worst = weighted_worst_margins(objective, result)
    found = []
    for row, (slot, setup) in enumerate(zip(differing, alone, strict=True)):
        limits = broken(project, setup, result, row)
        names = tuple(
            dict.fromkeys(f"{one.limit} {one.where}".strip() for one in limits)
        )
        found.append(Change(slot, before - float(worst[row]), names))
    return tuple(sorted(found, key=lambda one: (not one.broken, -one.loss)))


def _is_change(slot: Slot, today: Setup, proposed: Setup) -> bool:
    """Whether a setting differs; what only one body has is no setting of the other."""
    values = (value_in(slot, today), value_in(slot, proposed))
    lacks = slot.setting in (WING, STATION) and bool(np.isnan(values).any())
    return not lacks and not is_same(slot, today, proposed)


def value_in(slot: Slot, setup: Setup) -> float:
    return float(slot.of(by_wheel(setup))[0])


def is_same(slot: Slot, one: Setup, other: Setup) -> bool:
    values = (value_in(slot, one), value_in(slot, other))
    return bool(np.isclose(*values, rtol=_SAME, atol=0.0, equal_nan=True))


# ---- plateaus ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Side:
    """The values of one variable on one side of a point, nearest first, in the unit box."""

    variable: int
    values: Floats

    def at(self, point: Floats, number: int) -> Floats:
        """The point with the variable at value `number`; -1 for the point itself."""
        moved = point.copy()
        if number >= 0:
            moved[self.variable] = self.values[number]
        return moved


def plateaus(
    problem: SetupProblem, point: Floats, index_points: IndexPoints
) -> tuple[Plateau, ...]:
    """How far each setting alone may go either way for a loss of 0.005, in steps that can be set.

    A side ends where the weighted worst margin is lower by more than the loss, or a limit is broken; values
    beyond the first one found that fails are not looked at. Cases of a thinned sweep that are worse at an end
    than the index points known are added, and the sides are searched again.
    """
    sides = [
        _Side(j, values[order])
        for j, variable in enumerate(problem.variables)
        for values, order in _either_way(variable, float(point[j]))
    ]
    if not sides:
        return ()
    grid = problem.index.grid
    sparse = replace(
        problem.index, grid=np.unique(np.append(grid[::_THINNED], grid[-1]))
    ).grid_points()
    for _ in range(_MOST_ROUNDS):
        numbers = _ends(restricted(problem, index_points), sides, point)
        ends = np.stack(
            [side.at(point, n) for side, n in zip(sides, numbers, strict=True)]
        )
        here = problem(point[None, :], index_points)
        least = float(here.values.min()) - PLATEAU_LOSS
        seen = problem(np.append(ends, point[None, :], axis=0), sparse)
        fails = (seen.values < least).any(axis=0)
        worse = seen.value_index[fails]
        broken_rows = (
            seen.limits < np.minimum(seen.limits[-1], 0.0) - _ROOM
        ).any(axis=0)
        worse = np.unique(
            np.append(
                worse, seen.limit_index[broken_rows & (seen.limit_index >= 0)]
            )
        )
        more = index_points.join(sparse.pick(worse.astype(int)))
        if len(more) == len(index_points):
            break
        index_points = more
    values = [
        float(end[side.variable]) for end, side in zip(ends, sides, strict=True)
    ]
    return tuple(
        Plateau(
            variable,
            *(variable.range.lower + variable.width * value for value in pair),
        )
        for variable, pair in zip(
            problem.variables,
            zip(values[::2], values[1::2], strict=True),
            strict=True,
        )
    )


def _ends(
    function: BatchFunction, sides: Sequence[_Side], point: Floats
) -> list[int]:
    """The number of the last value of every side that passes; all sides are halved together."""
    here = function(point[None, :])
    least = float(here.values.min()) - PLATEAU_LOSS
    good = np.full(len(sides), -1)
    bad = np.array([side.values.size for side in sides])
    while (bad - good > 1).any():
        left = np.flatnonzero(bad - good > 1)
        middle = (good[left] + bad[left]) // 2
        points = np.stack(
            [
                sides[int(i)].at(point, int(n))
                for i, n in zip(left, middle, strict=True)
            ]
        )
        tried = function(points)
        passes = tried.values.min(axis=1) >= least
        passes &= (tried.limits >= np.minimum(here.limits, 0.0) - _ROOM).all(
            axis=1
        )
        good[left[passes]] = middle[passes]
        bad[left[~passes]] = middle[~passes]
    return [int(n) for n in good]


def _either_way(
    variable: Variable, at: float
) -> list[tuple[Floats, np.ndarray]]:
    """Values below and above, and the order from the nearest on."""
    grid = variable.grid()
    values = np.linspace(0.0, 1.0, _LINES) if grid is None else grid
    below = values[values < at - _SAME]
    above = values[values > at + _SAME]
    return [(below, np.argsort(-below)), (above, np.argsort(above))]


# ---- a shorter list ----------------------------------------------------------------------------------------
