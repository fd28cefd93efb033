"""From the best point to one that mechanics can set: rounded, then walked step by step while it gains."""

from __future__ import annotations

import numpy as np

from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats
from setupopt.search.engine.exchange import Exchange, worse_places
from setupopt.search.engine.index_points import IndexPoints, look, on
from setupopt.search.engine.maxmin import BatchFunction, merit
from setupopt.search.solver import Solver

_POLISH_ROUNDS, _PLACE_ROUNDS = 20, 8
# Points asked at a time: what they bring back must fit in memory.
_AT_ONCE = 256


def nearest(variables: tuple[Variable, ...], point: Floats) -> Floats:
    """The settable point next to `point`."""
    settable = point.copy()
    for j, variable in enumerate(variables):
        grid = variable.grid()
        if grid is not None:
            settable[j] = grid[np.abs(grid - point[j]).argmin()]
    return settable


def _merits(function: BatchFunction, points: Floats) -> Floats:
    """Merit of many points."""
    found = []
    for first in range(0, len(points), _AT_ONCE):
        answers = function(points[first : first + _AT_ONCE])
        found.append(merit(answers.values, answers.limits))
    return np.concatenate(found)


def _moves(variables: tuple[Variable, ...], point: Floats) -> Floats:
    """Every settable point one or two single steps away (points, variables)."""
    ones: list[tuple[int, float]] = []
    for j, variable in enumerate(variables):
        grid = variable.grid()
        if grid is not None:
            at = int(np.abs(grid - point[j]).argmin())
            ones += [(j, float(grid[i])) for i in (at - 1, at + 1) if 0 <= i < grid.size]
    pairs = [(a, b) for i, a in enumerate(ones) for b in ones[i + 1 :] if a[0] != b[0]]
    moves = []
    for change in [(one,) for one in ones] + pairs:
        moved = point.copy()
        for j, value in change:
            moved[j] = value
        moves.append(moved)
    return np.array(moves).reshape(len(moves), point.size)


def to_steps(
    function: BatchFunction, variables: tuple[Variable, ...], point: Floats, enough: float = np.inf
) -> tuple[Floats, float]:
    """Round every setting to its steps, then walk single and double steps while the worst value rises.

    Returns the settable point and its merit; no step is taken from one that is worth `enough`.
    """
    point = nearest(variables, point)
    reached = float(_merits(function, point[None, :])[0])
    for _ in range(_POLISH_ROUNDS):
        moves = _moves(variables, point) if reached < enough else np.empty(0)
        if moves.size == 0:
            break
        merits = _merits(function, moves)
        top = int(merits.argmax())
        if merits[top] <= reached + 1e-9:
            break
        point, reached = moves[top], float(merits[top])
    return point, reached


def settable(
    solver: Solver, point: Floats, places: IndexPoints, rules: Exchange, enough: float = np.inf
) -> tuple[Floats, float, IndexPoints]:
    """The settable point near `point`, its merit over the dense index, and the places that hold it down.

    Places where a rounded point is worse than was known are added, and the rounding is done again.
    """
    problem = solver.problem
    for _ in range(_PLACE_ROUNDS):
        rounded, reached = to_steps(on(problem, places), problem.variables, point, enough)
        known, seen = look(problem, rounded, places), solver.look(rounded, solver.dense)
        worse = worse_places(float(known.value.min()), float(known.limit.min()), seen, rules)
        if len(worse) == 0:
            break
        places = places.join(worse)
    return rounded, min(reached, float(seen.value.min())), places
