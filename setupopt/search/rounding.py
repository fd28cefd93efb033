"""From the best point to one that mechanics can set: parts first, the rest solved again, then the steps."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.maxmin import BatchFunction, Outcome, Rules, climb, hold, merit, release
from setupopt.variables import Variable

# Parts are tried below and above the best point; this many of the best sets are solved again.
_SETS_SOLVED = 3
_MOST_SETS = 64
_POLISH_ROUNDS = 20


def _neighbours(grid: Floats, value: float) -> list[float]:
    """The settable values on both sides of `value`, nearer one first."""
    order = np.argsort(np.abs(grid - value))[:2]
    return [float(grid[i]) for i in order]


def _is_part(variable: Variable) -> bool:
    """Whether it comes in pieces too coarse to be left to the last."""
    grid = variable.grid()
    return grid is not None and (variable.range.choices is not None or grid.size <= 12)


def _part_sets(variables: tuple[Variable, ...], parts: list[int], point: Floats) -> Floats:
    """Points with the parts put on both sides of the best point, nearest sets first (sets, variables)."""
    sides = [_neighbours(g, point[j]) for j in parts if (g := variables[j].grid()) is not None]
    sets = np.array(list(product(*sides))[:_MOST_SETS]).reshape(-1, len(parts))
    points = np.repeat(point[None, :], len(sets), axis=0)
    points[:, parts] = sets
    return points


def _merits(function: BatchFunction, points: Floats, memory: object) -> Floats:
    """Merit of many points."""
    answers = function(points, memory)
    return merit(answers.values, answers.limits)


def choose_parts(
    function: BatchFunction,
    variables: tuple[Variable, ...],
    best: Outcome,
    rules: Rules,
    progress: Callable[[int], object] | None = None,
) -> tuple[Outcome, int]:
    """Put parts from the shelf, and solve the rest again around them. Returns it, and the steps taken."""
    parts = [j for j, v in enumerate(variables) if _is_part(v)]
    if not parts:
        return best, 0
    sets = _part_sets(variables, parts, best.point)
    order = np.argsort(-_merits(function, sets, best.memory), kind="stable")[:_SETS_SOLVED]
    fixed = np.isin(np.arange(len(variables)), parts)
    ends, steps = [], 0
    for point in sets[order]:
        held, free = hold(function, fixed, point)
        end = climb(held, point[free], rules, progress)
        steps += end.steps
        ends.append(release(end, free, point))
    return max(ends, key=lambda end: end.merit), steps


def _nearest(variables: tuple[Variable, ...], point: Floats) -> Floats:
    """The settable point next to `point`."""
    settable = point.copy()
    for j, variable in enumerate(variables):
        grid = variable.grid()
        if grid is not None:
            settable[j] = grid[np.abs(grid - point[j]).argmin()]
    return settable


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
    return np.array(moves).reshape(-1, point.size)


def to_steps(function: BatchFunction, variables: tuple[Variable, ...], best: Outcome) -> tuple[Floats, float]:
    """Round every setting to its steps, then walk single and double steps while the worst value rises.

    Returns the settable point and its merit.
    """
    point = _nearest(variables, best.point)
    reached = float(_merits(function, point[None, :], best.memory)[0])
    for _ in range(_POLISH_ROUNDS):
        moves = _moves(variables, point)
        if moves.size == 0:
            break
        merits = _merits(function, moves, best.memory)
        top = int(merits.argmax())
        if merits[top] <= reached + 1e-9:
            break
        point, reached = moves[top], float(merits[top])
    return point, reached
