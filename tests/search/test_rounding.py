"""To steps: settable, as good as trying every combination, and true between the angles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.project import Project
from setupopt.project.model import Range
from setupopt.search.engine.batch import merit
from setupopt.search.engine.index_points import restricted
from setupopt.search.engine.maxmin import maximise_worst
from setupopt.search.relaxation import CLOSE
from setupopt.search.rounding import settable, to_steps
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

from .conftest import problem_of


def _two_settings(project: Project) -> SetupProblem:
    """Ride heights alone, in steps of 4 mm."""
    assert project.limits is not None
    coarse, none = (
        Range(0.03, 0.054, 0.004),
        dict.fromkeys(("camber", "spring", "anti_roll", "pressure")),
    )
    front = replace(project.limits.front, ride_height=coarse, **none)
    rear = replace(project.limits.rear, ride_height=coarse, **none)
    return problem_of(
        replace(project, limits=replace(project.limits, front=front, rear=rear))
    )


def test_steps_against_brute_force(bore: Project) -> None:
    """Rounding two settings of coarse steps finds what trying all their combinations finds."""
    problem = _two_settings(bore)
    grid = problem.variables[0].grid()
    assert grid is not None
    function = restricted(problem, problem.index.grid_points())
    answers = function(np.array([(a, b) for a in grid for b in grid]))
    best = merit(answers.values, answers.limits).max()
    _, reached = to_steps(
        function,
        problem.variables,
        maximise_worst(function, problem.start).point,
    )
    assert reached == pytest.approx(best, abs=1e-8)


def test_settable_points_keep_their_word(hill: Project) -> None:
    """Every setting on its grid; the merit told is that of the whole dense index, limits kept."""
    problem = problem_of(hill)
    solver = Solver(problem)
    end = solver.solve(solver.box, problem.start)
    point, told, _ = settable(
        solver, end.outcome.point, end.index_points, CLOSE
    )
    for value, variable in zip(point, problem.variables, strict=True):
        grid = variable.grid()
        assert grid is None or np.abs(grid - value).min() < 1e-12
    answers = problem(point[None, :], solver.dense.grid_points())
    assert answers.values.min() == pytest.approx(told, abs=1e-6)
    assert answers.limits.min() > -1e-6


def test_enough_is_enough(hill: Project) -> None:
    """Asked for no more than it has, a rounded point is not walked on."""
    problem = problem_of(hill)
    few = problem.index.grid_points().pick(np.arange(3))
    function = restricted(problem, few)
    first, value = to_steps(
        function, problem.variables, problem.start, enough=-np.inf
    )
    walked, better = to_steps(function, problem.variables, problem.start)
    assert better > value
    assert not np.array_equal(first, walked)
