"""Clearly different setups that lose little: every setting pushed both ways as far as the loss allows."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np

from setupopt.evaluation.limits_check import broken
from setupopt.physics.inputs import Floats
from setupopt.search.engine.batch import Evaluation
from setupopt.search.engine.exchange import ExchangeOptions
from setupopt.search.engine.index_points import (
    IndexPoints,
    SemiInfiniteFunction,
    restricted,
)
from setupopt.search.engine.maxmin import TrustRegionOptions, maximise_worst
from setupopt.search.handling import handling_broken
from setupopt.search.proposal import Alternative
from setupopt.search.relaxation import RelaxedOptimum
from setupopt.search.rounding import settable
from setupopt.search.solver import Solver

# A pushed setting needs no accuracy: few steps, and rounding finds the rest.
_PUSHING = TrustRegionOptions(
    most_steps=12,
    least_gain=1e-3,
    least_rise=1e-2,
    least_radius=5e-3,
)
# The size of a missed margin that counts as one in the search.
_SCALE = 0.02
# Setups are clearly different where some setting differs by this share of its range.
_CLEARLY = 0.25
_MOST = 3
_NAME_LENGTH = 80


def feasible_ends(
    function: SemiInfiniteFunction,
    point: Floats,
    index_points: IndexPoints,
    least: float,
) -> list[Floats]:
    """Every setting in turn pushed down, then up, all others following, as far as the loss allows.

    The weighted margin at the index points stays above `least`. The points (variables) where each push ends.
    """
    pushes = product(range(point.size), (-1.0, 1.0))
    return [
        _pushed(
            function,
            point,
            index_points,
            least,
            j,
            sign,
        )
        for j, sign in pushes
    ]


def _pushed(
    function: SemiInfiniteFunction,
    point: Floats,
    index_points: IndexPoints,
    least: float,
    variable: int,
    sign: float,
) -> Floats:
    """One setting pushed as far as the others let it, (variables)."""
    plain = restricted(function, index_points)

    def pushed(points: Floats, warm_start: Any = None) -> Evaluation:
        found = plain(points, warm_start)
        spare = (found.values - least) / _SCALE
        limits = np.concatenate([found.limits, spare], axis=1)
        return Evaluation(
            sign * points[:, [variable]], limits, found.warm_start
        )

    return maximise_worst(pushed, point, _PUSHING).point


def alternatives(
    solver: Solver,
    point: Floats,
    index_points: IndexPoints,
    least: float,
) -> tuple[Alternative, ...]:
    """Up to three settable setups whose weighted worst margin is at least `least`.

    They are clearly different from the point (variables) and from each other, the most different first.
    """
    taken = [point]
    found = list[Alternative]()
    left = feasible_ends(
        solver,
        point,
        index_points,
        least,
    )
    while left and len(found) < _MOST:
        away = [
            min(float(np.abs(end - other).sum()) for other in taken)
            for end in left
        ]
        end = left.pop(int(np.argmax(away)))
        tried = _tried(
            solver,
            end,
            index_points,
            least,
            least,
        )
        if tried is not None and all(
            _is_clearly(tried[0], other) for other in taken
        ):
            taken.append(tried[0])
            most = int(np.abs(tried[0] - point).argmax())
            found.append(
                _alternative(solver, tried, solver.problem.variables[most].name)
            )
    return tuple(found)


def other_bodies(
    roots: Sequence[RelaxedOptimum], chosen: int, least: float
) -> tuple[Alternative, ...]:
    """The best setup of every body but the `chosen` one, near its continuous best, worth at least `least`."""
    found = []
    for body, root in enumerate(roots):
        if body == chosen or root.best.merit < least:
            continue
        solver = root.solver()
        tried = _tried(
            solver,
            root.best.outcome.point,
            root.best.index_points,
            np.inf,
            least,
        )
        if tried is not None:
            found.append(_alternative(solver, tried, "body"))
    return tuple(
        sorted(found, key=lambda alternative: -alternative.weighted_margin)
    )


def _is_clearly(point: Floats, other: Floats) -> bool:
    return bool(np.abs(point - other).max() >= _CLEARLY)


def _tried(
    solver: Solver,
    end: Floats,
    index_points: IndexPoints,
    enough: float,
    least: float,
) -> tuple[Floats, float, float] | None:
    """The settable point near an end, its worst margin and its weighted one; no steps on from `enough`.

    None where the weighted one is under `least`, contact is lost or a limit is broken.
    """
    point, merit, known = settable(
        solver,
        end,
        index_points,
        ExchangeOptions(),
        enough,
    )
    problem = solver.problem
    every = problem.index.grid_points().join(known)
    result = problem.result(point[None, :], problem.cases(every))
    is_broken = broken(problem.project, problem.setup(point, ""), result)
    if (
        merit < least
        or result.lost()
        or is_broken
        or handling_broken(problem.objective, (result,))
    ):
        return None
    return point, float(result.worst_margin[0]), merit


def _alternative(
    solver: Solver, tried: tuple[Floats, float, float], differs: str
) -> Alternative:
    problem = solver.problem
    name = f"Alternative to {problem.project.setup.name}"[:_NAME_LENGTH]
    return Alternative(
        problem.setup(tried[0], name),
        tried[1],
        tried[2],
        differs,
    )
