"""Alternatives: settable, within the loss, clearly different from the proposal and from each other."""

from __future__ import annotations

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.variables import from_setup
from setupopt.project import Project
from setupopt.search.near_optimal import alternatives, feasible_ends
from setupopt.search.proposal import Alternative
from setupopt.search.relaxation import CLOSE
from setupopt.search.rounding import settable
from setupopt.search.solver import Solver

from .conftest import problem_of

LOSS = 0.01


@pytest.fixture(scope="module")
def solved(
    hill: Project,
) -> tuple[Solver, np.ndarray, float, tuple[Alternative, ...]]:
    """The hill's best settable point, its merit, and the alternatives to it."""
    solver = Solver(problem_of(hill))
    end = solver.solve(solver.box, solver.problem.start)
    point, merit, index_points = settable(
        solver, end.outcome.point, end.index_points, CLOSE
    )
    return (
        solver,
        point,
        merit,
        alternatives(solver, point, index_points, merit - LOSS),
    )


Solved = tuple[Solver, np.ndarray, float, tuple[Alternative, ...]]


def test_each_stays_within_the_loss_and_the_limits(
    hill: Project, solved: Solved
) -> None:
    """The margin told is that of an evaluation on a sweep ten times as dense, and no limit is broken."""
    _, _, merit, found = solved
    assert 2 <= len(found) <= 3
    angles = np.linspace(hill.venue.sweep.start, hill.venue.sweep.stop, 41)
    for alternative in found:
        result = setupopt.evaluate(
            hill, alternative.setup, sweep_cases(hill.venue, angles)
        )
        assert result.worst_margin[0] == pytest.approx(
            alternative.margin, abs=1e-5
        )
        assert alternative.margin >= merit - LOSS
        assert broken(hill, alternative.setup, result) == ()


def test_each_is_clearly_different(solved: Solved) -> None:
    """From the proposal and each other some setting differs by a quarter of its range; the one named most."""
    solver, point, _, found = solved
    variables = solver.problem.variables
    points = [
        point,
        *(from_setup(variables, alternative.setup) for alternative in found),
    ]
    for i, one in enumerate(points):
        assert all(
            np.abs(one - other).max() >= 0.25 - 1e-9 for other in points[:i]
        )
    for alternative, own in zip(found, points[1:], strict=True):
        assert (
            alternative.differs
            == variables[int(np.abs(own - point).argmax())].name
        )


def test_a_pushed_setting_stays_within_the_loss(solved: Solved) -> None:
    """Pushed down, no setting ends above where it is, pushed up none below; the margin at both ends is within
    what was allowed, to the accuracy of quick local searches."""
    solver, point, merit, _ = solved
    index_points = solver.dense.grid_points()
    ends = np.array(
        feasible_ends(solver.problem, point, index_points, merit - LOSS)
    )
    for j, (low, high) in enumerate(ends.reshape(point.size, 2, point.size)):
        assert low[j] <= point[j] + 1e-9 <= high[j] + 2e-9
    values = solver.problem(ends, index_points).values.min(axis=1)
    assert values.min() > merit - LOSS - 1e-3
