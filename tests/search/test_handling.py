"""Handling limits: the axle that lets go first, and the growth rate; as rows, in a search, in the check."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import setupopt
from setupopt.errors import UserError
from setupopt.physics.inputs import ANSWER
from setupopt.project import Project
from setupopt.search import ProposalOptions
from setupopt.search.engine.exchange import ExchangeResult
from setupopt.search.handling import (
    BAND,
    HANDLING,
    handling_broken,
    handling_rows,
)
from setupopt.search.objective import objective_of
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

from .conftest import problem_of

RESERVE, GROWTH = HANDLING


def _rows(
    project: Project, margins: list[float], balance: list[float], reserve: float
) -> np.ndarray:
    answers = np.zeros((1, len(margins)), ANSWER)
    answers["search_margin"] = margins
    answers["balance"] = balance
    return handling_rows(
        RESERVE, objective_of(project.venue, rear_reserve=reserve), answers
    )[0]


def test_reserve_counts_in_the_band_alone(hill: Project) -> None:
    """In the band the row is (-balance - reserve)/0.1, by hand; far above the worst margin all is allowed."""
    rows = _rows(hill, [0.1, 0.15, 0.5], [-0.3, 0.2, 0.9], 0.05)
    np.testing.assert_allclose(rows[:2], [2.5, -2.5], atol=1e-12)
    assert rows[2] > 0.0


def test_a_case_enters_the_band_without_a_jump(hill: Project) -> None:
    """A millionth of margin on both sides of the band's edge changes the row by its slope alone."""
    edge = 0.1 + BAND
    inside, outside = (
        _rows(hill, [0.1, edge + d], [-0.3, 0.2], 0.05)[1]
        for d in (-1e-6, 1e-6)
    )
    assert abs(outside - inside) < 2e-4


def test_a_wheel_axle_in_the_air_keeps_rows_finite(hill: Project) -> None:
    """The use of an axle in the air is 100; the search must not see more than the reserve's own size."""
    assert _rows(hill, [0.1], [99.0], 0.0)[0] == pytest.approx(-10.0)


def _solved(problem: SetupProblem, start: np.ndarray) -> ExchangeResult:
    solver = Solver(problem)
    return solver.solve(solver.box, start)


@pytest.fixture(scope="module")
def plain(hill: Project) -> ExchangeResult:
    """The hill's best without handling limits."""
    problem = problem_of(hill)
    return _solved(problem, problem.start)


def _number(
    problem: SetupProblem, end: ExchangeResult, column: str
) -> np.ndarray:
    """A field of the answers at an end, on the sweep; margins too."""
    result = problem.result(
        end.outcome.point[None, :], problem.cases(problem.index.grid_points())
    )
    return np.array([result.answers[0]["margin"], result.answers[0][column]])


def test_a_search_reaches_a_reserve(
    hill: Project, plain: ExchangeResult
) -> None:
    """Asked for more reserve than the best setup has, it is reached, and the margin pays for it."""
    problem = problem_of(hill)
    margin, balance = _number(problem, plain, "balance")
    has = float((-balance)[margin <= margin.min() + BAND].min())
    asked = replace(
        problem, objective=objective_of(hill.venue, rear_reserve=has + 0.03)
    )
    end = _solved(asked, plain.outcome.point)
    margin, balance = _number(asked, end, "balance")
    assert (-balance)[margin <= margin.min() + BAND].min() > has + 0.03 - 1e-5
    assert end.merit < plain.merit + 1e-5
    assert end.merit > plain.merit - 0.1


def test_a_search_keeps_the_growth_rate(bore: Project) -> None:
    """Asked for a slower growth than the start has, the search ends at a slower one."""
    free = replace(
        problem_of(bore), objective=objective_of(bore.venue, most_growth=1000.0)
    )
    index_points = free.index.grid_points()
    has = float(
        np.nanmax(free.answers(free.start[None, :], index_points)["growth"])
    )
    asked = replace(
        free, objective=objective_of(bore.venue, most_growth=has - 0.5)
    )
    end = _solved(asked, free.start)
    assert has > 1.0
    assert np.nanmax(_number(asked, end, "growth")[1]) < has - 0.5 + 1e-4


def test_what_is_not_reached_is_named_with_its_case(hill: Project) -> None:
    """The check counts a case within the band, says where it is, and the proposal does not pass."""
    problem = replace(
        problem_of(hill), objective=objective_of(hill.venue, rear_reserve=0.9)
    )
    result = problem.result(
        problem.start[None, :], problem.cases(problem.index.grid_points())
    )
    (found,) = handling_broken(problem.objective, (result,))
    assert found.limit == "--rear-reserve"
    assert found.case is not None
    row = found.case - 1
    assert found.value == pytest.approx(-result.answers[0]["balance"][row])
    assert result.margin[0, row] <= result.worst_margin[0] + BAND
    assert "at least 0.9 of grip" in found.words
    assert handling_broken(objective_of(hill.venue), (result,)) == ()


def test_growth_needs_a_yaw_inertia(hill: Project) -> None:
    """Without it no growth rate is known, and a limit on it would be no limit."""
    bare = replace(hill, car=replace(hill.car, yaw_inertia=None))
    with pytest.raises(UserError, match="yaw_inertia_kgm2"):
        setupopt.propose(bare, ProposalOptions(starts=1, most_growth=3.0))
