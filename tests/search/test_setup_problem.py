"""The setup as a problem: what the search sees of a place is what an evaluation of that case says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.project import Project
from setupopt.robust.builds.build_variation import NAMES, BuildErrors
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.objective import objective_of
from setupopt.search.setup_problem import MINIMUM_MARGIN_SCALE, SetupProblem

from .conftest import problem_of

# Trims from a start nearby and from far away agree to this.
NOISE = 1e-8


@pytest.fixture(scope="module")
def problem(bore: Project) -> SetupProblem:
    """The bore's own body."""
    return problem_of(bore)


def _points(problem: SetupProblem) -> np.ndarray:
    """Points round today's setup, where every case holds."""
    rng = np.random.default_rng(4)
    return np.clip(problem.start + 0.05 * rng.standard_normal((3, problem.start.size)), 0.0, 1.0)


def test_values_are_the_margins_of_both_axles(problem: SetupProblem, bore: Project) -> None:
    """Over the whole index the lesser of both axles is the margin of the venue's own sweep."""
    points, index_points = _points(problem), problem.index.grid_points()
    answers = problem(points, index_points)
    own = [
        setupopt.evaluate(bore, problem.setup(point, ""), sweep_cases(bore.venue)).margin[0]
        for point in points
    ]
    seen = answers.values.reshape(len(points), len(index_points), 2).min(axis=2)
    np.testing.assert_allclose(seen, np.array(own), atol=NOISE)
    assert (answers.value_index == np.repeat(np.arange(len(index_points)), 2)).all()


def test_between_the_angles_places_are_cases_too(problem: SetupProblem, bore: Project) -> None:
    """An attitude at any roll angle, as if it had been typed."""
    index_points, point = IndexPoints(np.array([3, 0]), np.radians([33.3, 151.7])), problem.start
    cases = sweep_cases(bore.venue, index_points.at)
    margins = setupopt.evaluate(bore, problem.setup(point, ""), cases).margin[0].reshape(-1, 2)
    seen = problem(point[None, :], index_points).values.reshape(2, 2).min(axis=1)
    np.testing.assert_allclose(seen, [margins[3, 0], margins[0, 1]], atol=NOISE)


def test_builds_are_families_of_their_own(problem: SetupProblem, bore: Project) -> None:
    """A misbuilt car's places answer as its build errors say; the same build is not added twice."""
    assert bore.limits is not None
    rng = np.random.default_rng(0)
    errors = rng.choice([-1.0, 0.0, 1.0], len(NAMES))
    built_problem, first = problem.with_build(errors)
    assert built_problem.with_build(errors.copy()) == (built_problem, first)
    angles = np.radians([60.0, 150.0])
    index_points = IndexPoints(np.array([first + 3, 3]), angles)
    point = _points(problem)[0]
    build = BuildErrors(bore.car, problem.setup(point, ""), bore.limits.tolerance)
    cases = sweep_cases(bore.venue, angles)
    built = build.result(errors, cases).margin[0].reshape(-1, 2)[3, 0]
    exact = build.result(0.0 * errors, cases).margin[0].reshape(-1, 2)[3, 1]
    seen = built_problem(np.vstack([point, problem.start]), index_points).values[0].reshape(2, 2).min(axis=1)
    np.testing.assert_allclose(seen, [built, exact], atol=NOISE)


def test_memory_changes_no_answer(problem: SetupProblem) -> None:
    """Warm starts are for speed alone."""
    index_points = problem.index.grid_points()
    points = _points(problem)
    cold = problem(points[:1], index_points)
    warm = problem(points, index_points, cold.warm_start)
    np.testing.assert_allclose(warm.values[0], cold.values[0], atol=NOISE)


def test_weights_and_floors_make_rows(bore: Project, problem: SetupProblem) -> None:
    """An attitude with a floor has no value row and one limit row a place: its margin less the floor."""
    name = bore.venue.attitudes[3].name
    asked = SetupProblem(bore, objective_of(bore.venue, {"straight": 1.1}, {name: 0.02}))
    index_points = asked.index.grid_points()
    answers, plain = asked(asked.start[None, :], index_points), problem(problem.start[None, :], index_points)
    margin = plain.values.reshape(len(index_points), 2)
    counted = np.flatnonzero(index_points.family != 3)
    assert sorted(set(answers.value_index)) == counted.tolist()
    first = answers.values.reshape(-1, 2)[: problem.index.grid.size]
    np.testing.assert_allclose(first, 1.0 - 1.1 * (1.0 - margin[: len(first)]), atol=NOISE)
    floors = answers.limits[0, -problem.index.grid.size :]
    expected = (margin[index_points.family == 3].min(axis=1) - 0.02) / MINIMUM_MARGIN_SCALE
    np.testing.assert_allclose(floors, expected, atol=NOISE / MINIMUM_MARGIN_SCALE)


def test_kept_settings_are_no_variables_and_stay(bore: Project) -> None:
    """What is kept stays as it is today, even where its range is a single other value."""
    assert bore.limits is not None
    assert bore.limits.front.camber is not None
    single = replace(bore.limits.front.camber, lower=-0.05, upper=-0.05)
    limits = replace(bore.limits, front=replace(bore.limits.front, camber=single))
    single_camber = problem_of(replace(bore, limits=limits))
    kept = replace(single_camber, fixed_settings=frozenset({"front.camber_deg", "rear.spring_N_per_mm"}))
    assert not {"front.camber_deg", "rear.spring_N_per_mm"} & {v.name for v in kept.variables}
    setup = kept.setup(np.zeros(kept.start.size), "")
    assert setup.front.camber == bore.setup.front.camber
    assert setup.rear.spring == bore.setup.rear.spring
    moved = single_camber.setup(np.zeros(kept.start.size + 1), "")
    assert moved.front.camber == -0.05


def test_cases_are_counted(bore: Project) -> None:
    """Points times index_points, with builds too."""
    problem = problem_of(bore)
    index_points = problem.index.grid_points()
    problem(problem.start[None, :], index_points)
    assert problem.counter.count == len(index_points)
    built, family = problem.with_build(np.ones(len(NAMES)))
    built(np.vstack([problem.start] * 2), IndexPoints(np.array([0, family]), np.zeros(2)))
    assert problem.counter.count == len(index_points) + 4
