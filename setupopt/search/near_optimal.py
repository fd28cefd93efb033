"""Clearly different setups that lose little: every setting pushed both ways as far as the loss allows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from setupopt.evaluation.limits_check import broken
from setupopt.physics.inputs import Floats
from setupopt.search.engine.exchange import Exchange
from setupopt.search.engine.index_points import IndexPoints, on
from setupopt.search.engine.maxmin import Evaluation, TrustRegionOptions, maximise_worst
from setupopt.search.proposal import Alternative
from setupopt.search.relaxation import RelaxedOptimum
from setupopt.search.rounding import settable
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

# A pushed setting needs no exactness: few steps, and rounding finds the rest.
_PUSHING = TrustRegionOptions(most_steps=12, least_gain=1e-3, least_rise=1e-2, least_radius=5e-3)
# The size of a broken margin that counts as one in the search.
_SCALE = 0.02
# Setups are clearly different where some setting differs by this share of its range.
_CLEARLY = 0.25
_MOST = 3
_ROUNDING = Exchange(notice=1e-5, touch=1e-6)


@dataclass(frozen=True)
class FeasibleRange:
    """How far one setting may go, all others following, before the worst margin falls by the loss allowed.

    `low` and `high` in shares of its range; `ends`: the points (2, variables) where it is there.
    """

    variable: int
    low: float
    high: float
    ends: Floats

    @property
    def width(self) -> float:
        """Share of the range within reach."""
        return self.high - self.low


def reaches(
    problem: SetupProblem, point: Floats, places: IndexPoints, least: float
) -> tuple[FeasibleRange, ...]:
    """How far every setting may go while the margin, as it counts, stays above `least` at the places."""
    return tuple(_reach(problem, point, places, least, j) for j in range(point.size))


def _reach(problem: SetupProblem, point: Floats, places: IndexPoints, least: float, j: int) -> FeasibleRange:
    ends = np.array([_pushed(problem, point, places, least, j, sign) for sign in (-1.0, 1.0)])
    return FeasibleRange(j, float(ends[0, j]), float(ends[1, j]), ends)


def _pushed(
    problem: SetupProblem, point: Floats, places: IndexPoints, least: float, j: int, sign: float
) -> Floats:
    """Where one setting stands when it is pushed as far as the others let it."""
    rows = on(problem, places)

    def pushed(points: Floats, memory: Any = None) -> Evaluation:
        answers = rows(points, memory)
        spare = (answers.values - least) / _SCALE
        return Evaluation(
            sign * points[:, [j]], np.concatenate([answers.limits, spare], axis=1), answers.memory
        )

    return maximise_worst(pushed, point, _PUSHING).point


def alternatives(solver: Solver, point: Floats, places: IndexPoints, least: float) -> tuple[Alternative, ...]:
    """Up to three settable setups whose worst margin, as it counts, is at least `least`, clearly different
    from the point (variables) and from each other, the most different first.
    """
    problem, taken, found = solver.problem, [point], list[Alternative]()
    left = [end for reach in reaches(problem, point, places, least) for end in reach.ends]
    while left and len(found) < _MOST:
        furthest = max(left, key=lambda end: min(float(np.abs(end - other).sum()) for other in taken))
        left = [end for end in left if end is not furthest]
        tried = _tried(solver, furthest, places, least, least)
        if tried is not None and all(_is_clearly(tried[0], other) for other in taken):
            taken.append(tried[0])
            found.append(_told(problem, point, *tried))
    return tuple(found)


def _is_clearly(point: Floats, other: Floats) -> bool:
    return bool(np.abs(point - other).max() >= _CLEARLY)


def _tried(
    solver: Solver, end: Floats, places: IndexPoints, enough: float, least: float
) -> tuple[Floats, float, float] | None:
    """The settable point near an end, its worst margin, and that as it counts; no steps on from `enough`.

    None where it is not worth `least` as it counts, loses contact or breaks a limit.
    """
    point, merit, _ = settable(solver, end, places, _ROUNDING, enough)
    problem = solver.problem
    result = problem.result(point[None, :], problem.cases(solver.dense.places()))
    if merit < least or result.lost() or broken(problem.project, problem.setup(point, ""), result):
        return None
    return point, float(result.worst_margin[0]), merit


def _told(
    problem: SetupProblem, proposed: Floats, point: Floats, margin: float, counted: float
) -> Alternative:
    most = int(np.abs(point - proposed).argmax())
    setup = problem.setup(point, f"Alternative to {problem.project.setup.name}"[:80])
    return Alternative(setup, margin, counted, problem.variables[most].name)


def other_bodies(roots: Sequence[RelaxedOptimum], chosen: int, least: float) -> tuple[Alternative, ...]:
    """The best setup near the continuous best of every body but the `chosen` one, worth at least `least`."""
    found = []
    for body, root in enumerate(roots):
        best, problem = root.best, root.solver.problem
        tried = None
        if body != chosen and best.merit >= least:
            tried = _tried(root.solver, best.outcome.point, best.places, np.inf, least)
        if tried is not None:
            name = f"Alternative to {problem.project.setup.name}"[:80]
            found.append(Alternative(problem.setup(tried[0], name), *tried[1:], "body"))
    return tuple(sorted(found, key=lambda alternative: -alternative.counted))
