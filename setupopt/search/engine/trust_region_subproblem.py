"""The program of one step: the highest worst value of linearised rows inside a trust region.

A linear program, or, where the bend of the binding rows is known, a quadratic one with the same rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats

# What breaking a limit by one of its scales costs, in units of the value that is raised.
PENALTY = 10.0


@dataclass(frozen=True)
class LinearModel:
    """Linearised rows at a point: level (rows) and slope (rows, variables)."""

    level: Floats
    slope: Floats

    def reach(self, radius: Floats) -> Floats:
        """How much each row can change inside the trust region, (rows)."""
        return np.asarray(np.abs(self.slope) @ radius)

    def pick(self, rows: np.ndarray) -> LinearModel:
        """Some of the rows."""
        return LinearModel(self.level[rows], self.slope[rows])


@dataclass(frozen=True)
class Step:
    """Answer of the program. Weights are the dual values, zero for rows that do not bind."""

    move: Floats  # (variables)
    gain: float  # predicted rise of the merit
    value_weights: Floats  # (value rows), they sum to one
    limit_weights: Floats  # (limit rows), value lost per unit of the limit


class SubproblemError(RuntimeError):
    """The solver gave no step, or the rows were no numbers."""


@lru_cache(maxsize=32)
def _program(
    variables: int, values: int, limits: int, bent: bool
) -> tuple[Any, dict[str, Any], dict[str, Any]]:
    """The program with parameters, compiled once for each size."""
    from importlib import import_module

    cp: Any = import_module("cvxpy")  # half a second; only here
    move, top = cp.Variable(variables), cp.Variable()
    given = {
        "level": cp.Parameter(values), "slope": cp.Parameter((values, variables)),
        "lower": cp.Parameter(variables), "upper": cp.Parameter(variables),
    }  # fmt: skip
    rules = {
        "values": given["level"] + given["slope"] @ move >= top,
        "lower": move >= given["lower"],
        "upper": move <= given["upper"],
    }
    goal = top
    if limits:
        given["limit"], given["limit_slope"] = cp.Parameter(limits), cp.Parameter((limits, variables))
        broken = cp.Variable(limits, nonneg=True)
        rules["limits"] = given["limit"] + given["limit_slope"] @ move + broken >= 0
        goal = top - PENALTY * cp.sum(broken)
    if bent:
        given["root"] = cp.Parameter((variables, variables))
        goal = goal - 0.5 * cp.sum_squares(given["root"] @ move)
    problem = cp.Problem(cp.Maximize(goal), list(rules.values()))
    return problem, given, {**rules, "move": move}


def _padded(rows: LinearModel, spare: float) -> LinearModel:
    """Rows filled up to a power of two with rows that cannot bind, so that few sizes are compiled."""
    count = rows.level.size
    if count == 0:
        return rows
    size = max(8, 1 << (count - 1).bit_length())
    level = np.full(size, spare)
    slope = np.zeros((size, rows.slope.shape[1]))
    level[:count], slope[:count] = rows.level, rows.slope
    return LinearModel(level, slope)


def _spread(weights: Floats, rows: np.ndarray, total: int) -> Floats:
    """Weights of picked rows, back in their places."""
    whole = np.zeros(total)
    whole[rows] = np.abs(weights[: rows.size])
    return whole


def _merit(values: Floats, limits: Floats) -> float:
    """Worst value, less what broken limits cost."""
    return float(values.min() - PENALTY * np.maximum(0.0, -limits).sum())


def _solve(problem: Any) -> None:
    """Solve a program, the same way whatever was asked before. Raises NoAnswerError."""
    from cvxpy.error import SolverError

    try:
        problem.solve(solver="CLARABEL", warm_start=False)
    except (SolverError, ValueError) as error:  # ValueError: rows that are no numbers
        raise SubproblemError(f"no program: {error}") from None
    if problem.status not in ("optimal", "optimal_inaccurate"):
        raise SubproblemError(f"the program ended {problem.status}")


def best_step(
    values: LinearModel, limits: LinearModel, at: Floats, radius: Floats, root: Floats | None = None
) -> Step:
    """Solve the program at `at` in the unit box; `radius` (variables) bounds each variable's move.

    `root` (variables, variables): a matrix R such that the binding rows, weighed, fall by |R move|^2 / 2
    more than their slopes say. Rows that cannot bind inside the trust region are left out; this changes
    nothing in the answer. Raises NoAnswerError.
    """
    reach, limit_reach = values.reach(radius), limits.reach(radius)
    roof = (values.level + reach).min()
    kept = np.flatnonzero(values.level - reach <= roof)
    kept_limits = np.flatnonzero(limits.level - limit_reach <= 0.0)
    used = _padded(values.pick(kept), roof + 10.0)
    used_limits = _padded(limits.pick(kept_limits), 10.0)
    problem, given, rules = _program(at.size, used.level.size, used_limits.level.size, root is not None)
    given["level"].value, given["slope"].value = used.level, used.slope
    given["lower"].value, given["upper"].value = np.maximum(-radius, -at), np.minimum(radius, 1.0 - at)
    if kept_limits.size:
        given["limit"].value, given["limit_slope"].value = used_limits.level, used_limits.slope
    if root is not None:
        given["root"].value = root
    _solve(problem)
    move = np.clip(rules["move"].value, given["lower"].value, given["upper"].value)
    after = _merit(values.level + values.slope @ move, limits.level + limits.slope @ move)
    bend = 0.0 if root is None else 0.5 * float(np.sum((root @ move) ** 2))
    limit_weights = rules["limits"].dual_value if kept_limits.size else np.empty(0)
    return Step(
        move=move,
        gain=after - bend - _merit(values.level, limits.level),
        value_weights=_spread(rules["values"].dual_value, kept, values.level.size),
        limit_weights=_spread(limit_weights, kept_limits, limits.level.size),
    )
