"""The subproblem of one step: the highest worst value of a linear model inside a trust region.

It is a linear program, or a quadratic one with the same constraints where the curvature is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from setupopt.search.engine.batch import PENALTY, Floats, merit, scatter

# A constraint with so much room never binds.
_SPARE = 10.0
# Constraints are filled up to at least so many.
_LEAST_SIZE = 8


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

    def padded(self, numbers: np.ndarray, level: float) -> LinearModel:
        """Some of the constraints, filled up to a power of two, so that few sizes are compiled.

        What is filled in has the `level` and no slope.
        """
        count = numbers.size
        if count == 0:
            return LinearModel(self.level[numbers], self.slope[numbers])
        size = max(_LEAST_SIZE, 1 << (count - 1).bit_length())
        levels = np.full(size, level)
        levels[:count] = self.level[numbers]
        slopes = np.zeros((size, self.slope.shape[1]))
        slopes[:count] = self.slope[numbers]
        return LinearModel(levels, slopes)


@dataclass(frozen=True)
class Step:
    """Solution of the subproblem. Weights are dual values: zero for constraints that do not bind."""

    move: Floats  # (variables)
    gain: float  # predicted rise of the merit
    value_weights: Floats  # (values), they add up to one
    limit_weights: Floats  # (limits), value per unit of the limit


class SubproblemError(RuntimeError):
    """The solver found no step, or a constraint was not a number."""


@lru_cache(maxsize=32)
def _program(
    variables: int,
    values: int,
    limits: int,
    curved: bool,
) -> tuple[Any, dict[str, Any], dict[str, Any]]:
    """The program, its parameters and its constraints, compiled once for each size."""
    from importlib import import_module

    cp: Any = import_module("cvxpy")  # half a second; only here
    move = cp.Variable(variables)
    top = cp.Variable()
    given = {
        "level": cp.Parameter(values),
        "slope": cp.Parameter((values, variables)),
        "lower": cp.Parameter(variables),
        "upper": cp.Parameter(variables),
    }
    constraints = {
        "values": given["level"] + given["slope"] @ move >= top,
        "lower": move >= given["lower"],
        "upper": move <= given["upper"],
    }
    objective = top
    if limits:
        given["limit"] = cp.Parameter(limits)
        given["limit_slope"] = cp.Parameter((limits, variables))
        broken = cp.Variable(limits, nonneg=True)
        constraints["limits"] = given["limit"] + given["limit_slope"] @ move + broken >= 0
        objective = top - PENALTY * cp.sum(broken)
    if curved:
        given["root"] = cp.Parameter((variables, variables))
        objective = objective - 0.5 * cp.sum_squares(given["root"] @ move)
    problem = cp.Problem(cp.Maximize(objective), list(constraints.values()))
    return problem, given, {**constraints, "move": move}


def _solve(problem: Any) -> None:
    """Solve a program, from scratch whatever was solved before. Raises SubproblemError."""
    from cvxpy.error import SolverError

    try:
        problem.solve(solver="CLARABEL", warm_start=False)
    except (SolverError, ValueError) as error:  # ValueError: a constraint is not a number
        raise SubproblemError(f"no program: {error}") from None
    if problem.status not in ("optimal", "optimal_inaccurate"):
        raise SubproblemError(f"the program ended {problem.status}")


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
    used = values.padded(kept, roof + _SPARE)
    used_limits = limits.padded(kept_limits, _SPARE)
    problem, given, solved = _program(
        at.size,
        used.level.size,
        used_limits.level.size,
        root is not None,
    )
    lower = np.maximum(-radius, -at)
    upper = np.minimum(radius, 1.0 - at)
    numbers = {
        "level": used.level,
        "slope": used.slope,
        "lower": lower,
        "upper": upper,
        "limit": used_limits.level,
        "limit_slope": used_limits.slope,
        "root": root,
    }
    for name, parameter in given.items():
        parameter.value = numbers[name]
    _solve(problem)

    move = np.clip(solved["move"].value, lower, upper)
    after = float(merit(values.at(move), limits.at(move)))
    curved = 0.0 if root is None else 0.5 * float(np.sum((root @ move) ** 2))
    duals = np.abs(solved["values"].dual_value)
    limit_duals = np.abs(solved["limits"].dual_value) if kept_limits.size else np.empty(0)
    return Step(
        move=move,
        gain=after - curved - float(merit(values.level, limits.level)),
        value_weights=scatter(duals[: kept.size], kept, values.level.size),
        limit_weights=scatter(limit_duals[: kept_limits.size], kept_limits, limits.level.size),
    )
