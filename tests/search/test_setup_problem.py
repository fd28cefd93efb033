"""The setup as a problem: what the search sees of an index point is what an evaluation of that case says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.project import Project
from setupopt.project.model import Range, Setup
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
    return np.clip(
        problem.start + 0.05 * rng.standard_normal((3, problem.start.size)),
        0.0,
        1.0,
    )


def _searched(project: Project, setup: Setup, cases: CaseSet) -> np.ndarray:
    """What a search raises, (cases), by an evaluation of the project."""
    return np.asarray(
        setupopt.evaluate(project, setup, cases).answers["search_margin"][0]
    )


def test_values_are_those_of_the_sweep(
    problem: SetupProblem, bore: Project
) -> None:
    """One value an index point: over the whole index those of the venue's own sweep."""
    points = _points(problem)
    index_points = problem.index.grid_points()
    found = problem(points, index_points)
    cases = sweep_cases(bore.venue)
    own = [_searched(bore, problem.setup(point, ""), cases) for point in points]
    np.testing.assert_allclose(found.values, np.array(own), atol=NOISE)
    assert (found.value_index == np.arange(len(index_points))).all()


def test_between_the_angles_index_points_are_cases_too(
    problem: SetupProblem, bore: Project
) -> None:
    """An attitude at any roll angle, as if it had been typed."""
    index_points = IndexPoints(np.array([2, 0]), np.radians([33.3, 151.7]))
    cases = sweep_cases(bore.venue, index_points.at)
    own = _searched(bore, problem.setup(problem.start, ""), cases).reshape(
        -1, 2
    )
    seen = problem(problem.start[None, :], index_points).values[0]
    np.testing.assert_allclose(seen, [own[2, 0], own[0, 1]], atol=NOISE)


def test_builds_are_families_of_their_own(
    problem: SetupProblem, bore: Project
) -> None:
    """A misbuilt car's cases answer as its build errors say; the same build is not added twice."""
    assert bore.limits is not None
    rng = np.random.default_rng(0)
    errors = rng.choice([-1.0, 0.0, 1.0], len(NAMES))
    built_problem, first = problem.with_build(errors)
    assert built_problem.with_build(errors.copy()) == (built_problem, first)
    angles = np.radians([60.0, 150.0])
    index_points = IndexPoints(np.array([first + 2, 2]), angles)
    point = _points(problem)[0]
    build = BuildErrors(
        bore.car, problem.setup(point, ""), bore.limits.tolerance
    )
    cases = sweep_cases(bore.venue, angles)
    built = (
        build.result(errors, cases)
        .answers["search_margin"][0]
        .reshape(-1, 2)[2, 0]
    )
    exact = (
        build.result(0.0 * errors, cases)
        .answers["search_margin"][0]
        .reshape(-1, 2)[2, 1]
    )
    seen = built_problem(
        np.vstack([point, problem.start]), index_points
    ).values[0]
    np.testing.assert_allclose(seen, [built, exact], atol=NOISE)


def test_one_point_with_a_warm_start_is_solved_in_full(
    problem: SetupProblem,
) -> None:
    """Warm starts of single points are for speed alone, from a twentieth of the box away too.

    But for ripples of the factor, of 4e-5 at most, that the whole path crosses and that count as an end here.
    """
    index_points = problem.index.grid_points()
    points = _points(problem)
    there = problem(points[1:2], index_points)
    cold = problem(points[:1], index_points)
    warm = problem(points[:1], index_points, there.warm_start)
    np.testing.assert_allclose(warm.values, cold.values, atol=5e-5)
    assert warm.values.min() == pytest.approx(cold.values.min(), abs=NOISE)


def test_small_steps_have_the_slopes_of_full_answers(
    problem: SetupProblem,
) -> None:
    """Several points with a warm start get their values by the slope at the fold.

    It agrees with central differences of full answers. The step of 1e-3 of a range leaves an error of its
    square, about 1e-3 in a slope that is of the order of one a range; a fold that swaps inside the step may
    spoil single entries, but not one in a hundred.
    """
    index_points = problem.index.grid_points()
    point = np.clip(problem.start, 0.1, 0.9)
    here = problem(point[None, :], index_points)
    contact = here.warm_start["contact"]
    small = 1e-5 * np.eye(point.size)
    by_slope = (
        problem(point + small, index_points, here.warm_start).values
        - here.values
    ) / 1e-5
    wide = 1e-3 * np.eye(point.size)
    up = np.vstack(
        [
            problem(p[None, :], index_points, here.warm_start).values
            for p in point + wide
        ]
    )
    down = np.vstack(
        [
            problem(p[None, :], index_points, here.warm_start).values
            for p in point - wide
        ]
    )
    difference = (up - down) / 2e-3
    off = (
        np.abs(by_slope - difference)[:, contact]
        > 2e-3 + 0.01 * np.abs(difference)[:, contact]
    )
    assert contact.sum() >= 15
    assert off.mean() < 0.01


def test_weights_and_minimum_margins(
    bore: Project, problem: SetupProblem
) -> None:
    """An attitude with a minimum margin has no value, and one limit an index point: its spare margin."""
    name = bore.venue.attitudes[2].name
    asked = SetupProblem(
        bore, objective_of(bore.venue, {"straight": 1.1}, {name: 0.02})
    )
    index_points = asked.index.grid_points()
    answers = asked(asked.start[None, :], index_points)
    margin = problem(problem.start[None, :], index_points).values[0]
    weighted = np.flatnonzero(index_points.family != 2)
    assert sorted(set(answers.value_index)) == weighted.tolist()
    first = answers.values[0, : problem.index.grid.size]
    np.testing.assert_allclose(
        first, 1.0 - 1.1 * (1.0 - margin[: len(first)]), atol=NOISE
    )
    spare = answers.limits[0, -problem.index.grid.size :]
    expected = (margin[index_points.family == 2] - 0.02) / MINIMUM_MARGIN_SCALE
    np.testing.assert_allclose(
        spare, expected, atol=NOISE / MINIMUM_MARGIN_SCALE
    )


def test_toe_is_a_lever_where_it_has_a_range(bore: Project) -> None:
    """A range of toe_mm makes it a variable; without one it stays."""
    assert bore.limits is not None
    assert "front.toe_mm" not in {v.name for v in problem_of(bore).variables}
    front = replace(bore.limits.front, toe=Range(-0.003, 0.003, step=0.0005))
    toed = problem_of(replace(bore, limits=replace(bore.limits, front=front)))
    number = [v.name for v in toed.variables].index("front.toe_mm")
    point = toed.start.copy()
    point[number] = 1.0
    assert toed.setup(point, "").front.toe == pytest.approx(0.003, abs=1e-12)
    index_points = toed.index.grid_points()
    both = np.vstack([toed.start, point])
    values = toed(both, index_points).values
    assert np.abs(values[1] - values[0]).max() > 1e-4  # it changes margins


def test_kept_settings_are_no_variables_and_stay(bore: Project) -> None:
    """What is kept stays as it is today, even where its range is a single other value."""
    assert bore.limits is not None
    assert bore.limits.front.camber is not None
    single = replace(bore.limits.front.camber, lower=-0.05, upper=-0.05)
    limits = replace(
        bore.limits, front=replace(bore.limits.front, camber=single)
    )
    single_camber = problem_of(replace(bore, limits=limits))
    kept = replace(
        single_camber,
        fixed_settings=frozenset({"front.camber_deg", "rear.spring_N_per_mm"}),
    )
    assert not {"front.camber_deg", "rear.spring_N_per_mm"} & {
        v.name for v in kept.variables
    }
    setup = kept.setup(np.zeros(kept.start.size), "")
    assert setup.front.camber == bore.setup.front.camber
    assert setup.rear.spring == bore.setup.rear.spring
    moved = single_camber.setup(np.zeros(kept.start.size + 1), "")
    assert moved.front.camber == -0.05


def test_cases_are_counted(bore: Project) -> None:
    """Points times index points, with builds too."""
    problem = problem_of(bore)
    index_points = problem.index.grid_points()
    problem(problem.start[None, :], index_points)
    assert problem.counter.count == len(index_points)
    built, family = problem.with_build(np.ones(len(NAMES)))
    built(
        np.vstack([problem.start] * 2),
        IndexPoints(np.array([0, family]), np.zeros(2)),
    )
    assert problem.counter.count == len(index_points) + 4
