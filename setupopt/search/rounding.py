"""From the best point to a settable one: rounded to steps, then moved step by step while the merit rises."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np

from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats
from setupopt.search.engine.batch import BatchFunction, merit
from setupopt.search.engine.exchange import ExchangeOptions, worse_points
from setupopt.search.engine.index_points import (
    IndexPoints,
    evaluate_at,
    restricted,
)
from setupopt.search.solver import Solver

_MOST_MOVES = 20
_MOST_ROUNDS = 8
# A move must raise the merit by more.
_LEAST_GAIN = 1e-9
# Points evaluated at a time: their answers must fit in memory.
_AT_ONCE = 256
# So many pairs of steps are solved in full: those that the slopes promise most.
_PAIRS = 24

_Change = tuple[int, float]


def nearest(variables: Sequence[Variable], point: Floats) -> Floats:
    """The settable point next to `point` (variables)."""
    settable = point.copy()
    for j, variable in enumerate(variables):
        grid = variable.grid()
        if grid is not None:
            settable[j] = grid[np.abs(grid - point[j]).argmin()]
    return settable


def _merits(
    function: BatchFunction, points: Floats, warm_start: Any, is_near: bool
) -> Floats:
    """Merits of many points, (points), from a warm start nearby; by its slopes unless `is_near`."""
    found = []
    for first in range(0, len(points), _AT_ONCE):
        some = points[first : first + _AT_ONCE]
        start = warm_start
        if is_near and start is not None:  # one for each point
            start = np.stack([start] * len(some))
        piece = function(some, start)
        found.append(merit(piece.values, piece.limits))
    return np.concatenate(found)


def _neighbours(
    variables: Sequence[Variable], point: Floats
) -> tuple[Floats, Floats]:
    """Every settable point one single step away, and every one a pair of them away; (points, variables)."""
    singles: list[_Change] = []
    for j, variable in enumerate(variables):
        grid = variable.grid()
        if grid is not None:
            at = int(np.abs(grid - point[j]).argmin())
            singles += [
                (j, float(grid[i]))
                for i in (at - 1, at + 1)
                if 0 <= i < grid.size
            ]
    pairs = [(a, b) for a, b in combinations(singles, 2) if a[0] != b[0]]
    changes: list[tuple[_Change, ...]] = [*((one,) for one in singles), *pairs]
    points = np.tile(point, (len(changes), 1))
    for moved, change in zip(points, changes, strict=True):
        for j, value in change:
            moved[j] = value
    return points[: len(singles)], points[len(singles) :]


def _promising(
    function: BatchFunction,
    variables: Sequence[Variable],
    point: Floats,
    warm_start: Any,
) -> Floats:
    """The single steps from a point, and the pairs that its slopes promise most, (points, variables)."""
    singles, pairs = _neighbours(variables, point)
    if len(pairs) > _PAIRS:
        promised = _merits(function, pairs, warm_start, is_near=False)
        pairs = pairs[np.argsort(-promised, kind="stable")[:_PAIRS]]
    return np.concatenate([singles, pairs])


def to_steps(
    function: BatchFunction,
    variables: Sequence[Variable],
    point: Floats,
    enough: float = np.inf,
) -> tuple[Floats, float]:
    """Round every setting to its steps, then take single and double steps while the merit rises.

    Single steps are all tried, double steps where the slopes promise most.

    Returns the settable point and its merit. No step is taken from a point whose merit is `enough`.
    """
    point = nearest(variables, point)
    here = function(point[None, :])
    reached = float(merit(here.values, here.limits)[0])
    for _ in range(_MOST_MOVES):
        moves = (
            _promising(function, variables, point, here.warm_start)
            if reached < enough
            else np.empty(0)
        )
        if moves.size == 0:
            break
        merits = _merits(function, moves, here.warm_start, is_near=True)
        top = int(merits.argmax())
        if merits[top] <= reached + _LEAST_GAIN:
            break
        point = moves[top]
        reached = float(merits[top])
        here = function(point[None, :], here.warm_start)
    return point, reached


def settable(
    solver: Solver,
    point: Floats,
    index_points: IndexPoints,
    options: ExchangeOptions,
    enough: float = np.inf,
) -> tuple[Floats, float, IndexPoints]:
    """The settable point near `point`, its merit over the dense index, and its active index points.

    Index points where a rounded point is worse than was known are added, and the steps go on from there. They
    are looked for on the sweep, then on the dense one.
    """
    variables = solver.problem.variables
    index = solver.problem.index
    lowest = dict[bytes, float]()  # seen at each rounded point
    for _ in range(_MOST_ROUNDS):
        point, reached = to_steps(
            restricted(solver, index_points),
            variables,
            point,
            enough,
        )
        known = evaluate_at(solver, point, index_points)
        seen = solver.look(point, index)
        worse = worse_points(
            float(known.value.min()),
            float(known.limit.min()),
            seen,
            options,
        )
        key = point.tobytes()
        lowest[key] = min(lowest.get(key, np.inf), float(seen.value.min()))
        joined = index_points.join(worse)
        # a known point that is worse now has two positions, and the lower one counts
        if len(joined) > len(index_points):
            index_points = joined
        elif index is solver.dense:
            break
        else:
            index = solver.dense
    return point, min(reached, lowest[key]), index_points
