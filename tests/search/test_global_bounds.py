"""Evidence: an independent search that repeats, a bound that bounds, and changes with known effects."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.project import Project
from setupopt.search.engine.batch import merit
from setupopt.search.engine.index_points import restricted
from setupopt.search.engine.multipliers import multipliers_at
from setupopt.search.global_bounds import (
    search_independently,
    sensitivities,
    upper_bound,
)
from setupopt.search.relaxation import CLOSE, TIGHT, relaxed_optimum
from setupopt.search.solver import Solver

from .conftest import problem_of


def test_independent_search_repeats_and_tells_the_truth(hill: Project) -> None:
    """Same seed, same point; its merit is that of the point; better than any of the first crowd."""
    problem = problem_of(hill)
    index_points = problem.index.grid_points()
    found, again = (
        search_independently(problem, index_points, 3) for _ in range(2)
    )
    assert found.point.tolist() == again.point.tolist()
    answers = restricted(problem, index_points)(found.point[None, :])
    assert merit(answers.values, answers.limits)[0] == pytest.approx(
        found.merit, abs=1e-8
    )
    assert found.evaluations > 200


def test_nothing_in_the_box_beats_the_bound(hill: Project) -> None:
    """The bound lies above the best, close to it, and above 500 random setups."""
    problem = problem_of(hill)
    solver = Solver(problem, trust_region=TIGHT)
    best = solver.solve(solver.box, problem.start, options=CLOSE)
    weights = multipliers_at(
        restricted(problem, best.index_points), best.outcome.point
    ).values
    bound = upper_bound(problem, best, weights, [problem.start])
    points = np.random.default_rng(0).random((500, problem.start.size))
    answers = restricted(problem, best.index_points)(points)
    assert merit(answers.values, answers.limits).max() < bound
    assert best.merit <= bound < best.merit + 0.005


def test_root_is_the_best_of_what_was_tried(small_hill: Project) -> None:
    """No start, no independent search ends above it; starts are told best first."""
    root = relaxed_optimum(problem_of(small_hill), False, 2, 1)
    assert root.best.merit >= max(*root.ends, root.searched_end) - 1e-9
    assert list(root.ends) == sorted(root.ends, reverse=True)
    assert root.searched_end >= root.searched_merit - 1e-6


def test_more_grip_gains_what_the_use_says(hill: Project) -> None:
    """1 % more friction divides the least friction factor by 1.01, where wheels do not lean under force: by
    the definition of the margin m that gains (1 - m)(1 - 1/1.01). Both margins are followed to 1e-6."""
    car = hill.car
    stiff = {
        axle: replace(
            getattr(car, axle),
            tyre=replace(getattr(car, axle).tyre, compliance=0.0),
        )
        for axle in ("front", "rear")
    }
    project = replace(hill, car=replace(car, **stiff))
    cases = sweep_cases(project.venue)
    margin = setupopt.evaluate(project).worst_margin[0]
    found = {
        gain.what: gain.gain
        for gain in sensitivities(project, project.setup, cases)
    }
    expected = (1.0 - margin) * (1.0 - 1.0 / 1.01)
    assert found["1 % more grip, of tyres or surface"] == pytest.approx(
        expected, abs=2e-6
    )


def test_only_what_helps_is_told_best_first(hill: Project) -> None:
    """No change that costs margin, and of two opposite ones at most one."""
    found = sensitivities(hill, hill.setup, sweep_cases(hill.venue))
    values = [gain.gain for gain in found]
    assert values == sorted(values, reverse=True)
    assert min(values) > 0.0
    speeds = [gain.what for gain in found if gain.what.endswith("speed")]
    assert len(speeds) <= 1
