"""The subproblem of one step: the highest worst value of a linear model inside a trust region.

It is a linear program, or a quadratic one with the same constraints where the curvature is known.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import import_module
from typing import Any

import numpy as np
from scipy.sparse import csc_matrix

from setupopt.search.engine.batch import PENALTY, Floats, merit, scatter

# How the direct solution may end.
ENDED = ("Solved", "AlmostSolved")
# What the solver leaves of its conditions.
_EXACT = 1e-12


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


@lru_cache(maxsize=256)
def _places(n: int, m: int, k: int) -> tuple[csc_matrix, csc_matrix]:
    """Matrices of a program of `n` variables, `m` values and `k` limits, with ones where it has numbers.

    Constraints: values, limits, breaks that are not negative, upper and lower ends of the move.
    """
    move = np.eye(n)
    rows = np.block(
        [
            [np.ones((m, n + 1)), np.zeros((m, k))],
            [np.ones((k, n)), np.zeros((k, 1)), np.eye(k)],
            [np.zeros((k, n + 1)), np.eye(k)],
            [move, np.zeros((n, 1 + k))],
            [move, np.zeros((n, 1 + k))],
        ]
    )
    size = n + 1 + k
    square = np.zeros((size, size))
    square[:n, :n] = np.triu(np.ones((n, n)))
    return csc_matrix(square), csc_matrix(rows)


def _filled(places: csc_matrix, numbers: Floats) -> csc_matrix:
    """A matrix with other numbers at the same places: ten times as quick as a new one."""
    filled = copy(places)
    filled.data = numbers
    return filled


def _program(
    values: LinearModel,
    limits: LinearModel,
    lower: Floats,
    upper: Floats,
    curvature: Floats,
) -> tuple[csc_matrix, Floats, csc_matrix, Floats]:
    """The program min x'Px/2 + c'x, Ax <= b, of P the upper half, its numbers written into known places.

    Unknowns: the move, the level of the worst value, and by how much each limit is broken.
    """
    n, m, k = lower.size, values.level.size, limits.level.size
    square, rows = _places(n, m, k)
    slopes = np.vstack([-values.slope, -limits.slope, np.ones(n), -np.ones(n)])
    ends = np.concatenate([np.ones(m), np.full(2 * k, -1.0)])
    rows = _filled(rows, np.append(slopes.T.ravel(), ends))
    square = _filled(square, curvature.T[np.tril_indices(n)])
    cost = np.concatenate([np.zeros(n), [-1.0], np.full(k, PENALTY)])
    right = np.concatenate(
        [values.level, limits.level, np.zeros(k), upper, -lower]
    )
    if not np.isfinite(rows.data.sum() + right.sum() + square.data.sum()):
        raise SubproblemError("no program: a constraint is not a number")
    return square, cost, rows, right


@cache
def _settings() -> Any:
    """How the solver works, and the solver's module: loaded only where a program is solved."""
    clarabel: Any = import_module("clarabel")
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = _EXACT
    return clarabel, settings


def _solved(
    values: LinearModel,
    limits: LinearModel,
    lower: Floats,
    upper: Floats,
    curvature: Floats,
) -> tuple[Floats, Floats]:
    """Solution and dual values of the program, by an interior-point method (P. J. Goulart and Y. Chen).

    Raises SubproblemError.
    """
    square, cost, rows, right = _program(
        values, limits, lower, upper, curvature
    )
    clarabel, settings = _settings()
    cones = [clarabel.NonnegativeConeT(right.size)]
    found = clarabel.DefaultSolver(
        square, cost, rows, right, cones, settings
    ).solve()
    if str(found.status) not in ENDED:
        half = square.toarray()
        return stated(half + np.triu(half, 1).T, cost, rows.toarray(), right)
    return np.asarray(found.x), np.asarray(found.z)


def stated(
    square: Floats, cost: Floats, rows: Floats, right: Floats
) -> tuple[Floats, Floats]:
    """The program min x'Px/2 + c'x, Ax <= b stated with cvxpy, and solved as closely.

    A second opinion that takes ten times as long. Raises SubproblemError.
    """
    cp: Any = import_module(
        "cvxpy"
    )  # half a second; only where the direct solution did not end
    x = cp.Variable(cost.size)
    within = rows @ x <= right
    objective = cp.Minimize(
        0.5 * cp.quad_form(x, cp.psd_wrap(square)) + cost @ x
    )
    problem = cp.Problem(objective, [within])
    try:
        problem.solve(
            solver=cp.CLARABEL,
            tol_gap_abs=_EXACT,
            tol_gap_rel=_EXACT,
            tol_feas=_EXACT,
        )
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
    value_duals, limit_duals, _ = np.split(
        duals, [kept.size, kept.size + kept_limits.size]
    )
    return Step(
        move=move,
        gain=after - curved - float(merit(values.level, limits.level)),
        value_weights=scatter(value_duals, kept, values.level.size),
        limit_weights=scatter(limit_duals, kept_limits, limits.level.size),
    )
