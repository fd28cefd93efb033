"""The subproblem of one step: the highest worst value of a linear model inside a trust region.

It is a linear program, or a quadratic one with the same constraints where the curvature is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from scipy.sparse import csc_matrix

from setupopt.search.engine.batch import PENALTY, Floats, merit, scatter

# How the direct solution may end.
ENDED = ("Solved", "AlmostSolved")


@dataclass(frozen=True)
class LinearModel:
    """Linearised constraints at a point: level (constraints) and slope (constraints, variables)."""

    level: Floats
    slope: Floats

    def at(self, step: Floats) -> Floats:
        """The constraints after a step (variables)."""
        return np.asarray(self.level + self.slope @ step)

    def reach(self, radius: Floats) -> Floats:
        """The largest change of each constraint inside the trust region, (constraints)."""
        return np.asarray(np.abs(self.slope) @ radius)

    def pick(self, numbers: np.ndarray) -> LinearModel:
        """Some of the constraints."""
        return LinearModel(self.level[numbers], self.slope[numbers])


@dataclass(frozen=True)
class Step:
    """Solution of the subproblem. Weights are dual values: zero for constraints that do not bind."""

    move: Floats  # (variables)
    gain: float  # predicted rise of the merit
    value_weights: Floats  # (values), they add up to one
    limit_weights: Floats  # (limits), value per unit of the limit


class SubproblemError(RuntimeError):
    """The solver found no step, or a constraint was not a number."""


def _solved(
    values: LinearModel,
    limits: LinearModel,
    lower: Floats,
    upper: Floats,
    curvature: Floats,
) -> tuple[Floats, Floats]:
    """Solution and dual values of the program, by an interior-point method (P. J. Goulart and Y. Chen).

    Unknowns: the move, the level of the worst value, and by how much each limit is broken. Constraints:
    values, limits, breaks that are not negative, upper and lower ends of the move. Raises SubproblemError.
    """
    clarabel: Any = import_module("clarabel")  # only where a program is solved
    n = lower.size
    m = values.level.size
    k = limits.level.size
    move = np.eye(n)
    rows = np.block(
        [
            [-values.slope, np.ones((m, 1)), np.zeros((m, k))],
            [-limits.slope, np.zeros((k, 1)), -np.eye(k)],
            [np.zeros((k, n + 1)), -np.eye(k)],
            [move, np.zeros((n, 1 + k))],
            [-move, np.zeros((n, 1 + k))],
        ]
    )
    right = np.concatenate([values.level, limits.level, np.zeros(k), upper, -lower])
    cost = np.concatenate([np.zeros(n), [-1.0], np.full(k, PENALTY)])
    square = np.zeros((cost.size, cost.size))
    square[:n, :n] = curvature
    if not (np.isfinite(rows).all() and np.isfinite(right).all() and np.isfinite(square).all()):
        raise SubproblemError("no program: a constraint is not a number")
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    cones = [clarabel.NonnegativeConeT(right.size)]
    solver = clarabel.DefaultSolver(
        csc_matrix(np.triu(square)), cost, csc_matrix(rows), right, cones, settings
    )
    found = solver.solve()
    if str(found.status) not in ENDED:
        return stated(square, cost, rows, right)
    return np.asarray(found.x), np.asarray(found.z)


def stated(square: Floats, cost: Floats, rows: Floats, right: Floats) -> tuple[Floats, Floats]:
    """The program min x'Px/2 + c'x, Ax <= b stated with cvxpy, which chooses and scales by itself.

    A second opinion that takes five times as long. Raises SubproblemError.
    """
    cp: Any = import_module("cvxpy")  # half a second; only where the direct solution did not end
    x = cp.Variable(cost.size)
    within = rows @ x <= right
    objective = cp.Minimize(0.5 * cp.quad_form(x, cp.psd_wrap(square)) + cost @ x)
    problem = cp.Problem(objective, [within])
    try:
        problem.solve()
    except cp.error.SolverError as error:
        raise SubproblemError(f"the program was not solved: {error}") from error
    if x.value is None:
        raise SubproblemError(f"the program ended {problem.status}")
    return np.asarray(x.value), np.asarray(within.dual_value)


def best_step(
    values: LinearModel,
    limits: LinearModel,
    at: Floats,
    radius: Floats,
    root: Floats | None = None,
) -> Step:
    """Solve the subproblem at `at` (variables) in the unit box; `radius` (variables) bounds each move.

    `root` (variables, variables): a matrix R such that the weighted binding constraints fall by
    |R move|^2 / 2 more than their slopes say. Constraints that cannot bind inside the trust region are left
    out, which changes nothing in the solution. Raises SubproblemError.
    """
    reach = values.reach(radius)
    roof = (values.level + reach).min()
    kept = np.flatnonzero(values.level - reach <= roof)
    kept_limits = np.flatnonzero(limits.level - limits.reach(radius) <= 0.0)
    lower = np.maximum(-radius, -at)
    upper = np.minimum(radius, 1.0 - at)
    curvature = np.zeros((at.size, at.size)) if root is None else root.T @ root
    found, duals = _solved(
        values.pick(kept),
        limits.pick(kept_limits),
        lower,
        upper,
        curvature,
    )
    move = np.clip(found[: at.size], lower, upper)
    after = float(merit(values.at(move), limits.at(move)))
    curved = 0.5 * float(move @ curvature @ move)
    value_duals, limit_duals, _ = np.split(duals, [kept.size, kept.size + kept_limits.size])
    return Step(
        move=move,
        gain=after - curved - float(merit(values.level, limits.level)),
        value_weights=scatter(value_duals, kept, values.level.size),
        limit_weights=scatter(limit_duals, kept_limits, limits.level.size),
    )
