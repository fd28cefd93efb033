"""One body solved: inside borders, over every angle, and with the builds that mechanics may leave behind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.project import Project
from setupopt.robust.builds.quasi_monte_carlo import BuildCloud
from setupopt.search.engine.exchange import ExchangeResult
from setupopt.search.relaxation import CLOSE, TIGHT
from setupopt.search.solver import Solver

from .conftest import SETUPS, problem_of


@pytest.fixture(scope="module")
def exact(hill: Project) -> tuple[Solver, ExchangeResult]:
    """The best without build errors."""
    solver = Solver(problem_of(hill), trust_region=TIGHT)
    return solver, solver.solve(solver.box, solver.problem.start, options=CLOSE)


@pytest.fixture(scope="module")
def robust(
    hill: Project, exact: tuple[Solver, ExchangeResult]
) -> tuple[Solver, ExchangeResult]:
    """The best with them."""
    solver = Solver(problem_of(hill), robust=True, trust_region=TIGHT)
    end = solver.solve(solver.box, exact[1].outcome.point, options=CLOSE)
    return solver, solver.verified(solver.box, end, CLOSE)


def test_few_places_hold_the_whole_sweep(
    hill: Project, exact: tuple[Solver, ExchangeResult]
) -> None:
    """The merit told is the worst margin on 200 times as many angles: 1e-5 is a hundredth of what rounding to
    steps costs."""
    solver, end = exact
    angles = np.linspace(hill.venue.sweep.start, hill.venue.sweep.stop, 1001)
    setup = solver.problem.setup(end.outcome.point, "")
    everywhere = setupopt.evaluate(
        hill, setup, sweep_cases(hill.venue, angles)
    ).worst_margin[0]
    assert end.settled
    assert everywhere == pytest.approx(end.merit, abs=1e-5)
    assert len(end.index_points) < len(solver.problem.index.grid_points()) / 2


def test_borders_hold(exact: tuple[Solver, ExchangeResult]) -> None:
    """Inside borders the best is inside, no better than without them; a held setting does not move."""
    solver, whole = exact
    low, high = solver.box
    low[0], high[1], low[2], high[2] = 0.7, 0.2, 0.5, 0.5
    end = solver.solve(
        (low, high), whole.outcome.point, whole.index_points, CLOSE
    )
    assert (end.outcome.point >= low - 1e-12).all()
    assert (end.outcome.point <= high + 1e-12).all()
    assert end.outcome.point[2] == 0.5
    assert end.merit <= whole.merit + 1e-6


def test_robust_by_corners(
    exact: tuple[Solver, ExchangeResult], robust: tuple[Solver, ExchangeResult]
) -> None:
    """What is told of the worst build is no more than the thorough search of corners finds, to its notice of
    1e-4; and that is better than what the best exact setup stands."""
    solver, end = robust
    built = solver.worst_build(end.outcome.point).margin
    assert end.merit == pytest.approx(built, abs=1.5e-4)
    assert built > solver.worst_build(exact[1].outcome.point).margin + 1e-4


def test_robust_by_a_cloud(
    hill: Project, robust: tuple[Solver, ExchangeResult]
) -> None:
    """No build of a cloud inside the tolerance box is under it."""
    solver, end = robust
    cloud = BuildCloud(
        solver.errors(end.outcome.point), sweep_cases(hill.venue)
    )((0, 512))
    assert cloud.min() > end.merit - 1e-4


def test_robustness_has_its_price(
    exact: tuple[Solver, ExchangeResult], robust: tuple[Solver, ExchangeResult]
) -> None:
    """Built exactly, the robust setup is no better than the exact one, and better than misbuilt."""
    alone = Solver(robust[0].problem)
    margin = alone.look(robust[1].outcome.point, alone.dense).value.min()
    assert margin <= exact[1].merit + 1e-6
    assert robust[1].merit < margin


def test_the_dense_index_holds_the_sweep(
    exact: tuple[Solver, ExchangeResult],
) -> None:
    """Six times as many angles, those of the sweep among them, the last as well."""
    own, dense = exact[0].problem.index.grid, exact[0].dense.grid
    assert dense.size == 6 * (own.size - 1) + 1
    assert np.abs(own[:, None] - dense).min(axis=1).max() < 1e-12


@pytest.mark.parametrize("state", ["slides", "lost"])
def test_what_has_no_margin_is_climbed_out_of(
    bore: Project, small_bore: Project, state: str
) -> None:
    """From a setup that slides, and from one that peels off: both have a finite value and a slope."""
    project, speed, raised = {
        "slides": (bore, 52.0, 0.0),
        "lost": (small_bore, 41.0, 0.03),
    }[state]
    venue = replace(
        project.venue, sweep=replace(project.venue.sweep, speed=speed)
    )
    axles = {
        name: replace(axle, ride_height=axle.ride_height + raised)
        for name, axle in (
            ("front", project.setup.front),
            ("rear", project.setup.rear),
        )
    }
    problem = problem_of(
        replace(project, venue=venue, setup=replace(project.setup, **axles))
    )
    index_points = problem.index.grid_points()
    before = problem.answers(problem.start[None, :], index_points)[0]
    assert (before["slides"] if state == "slides" else ~before["contact"]).any()
    assert np.isfinite(before["search_margin"]).all()
    solver = Solver(problem)
    end = solver.solve(solver.box, problem.start)
    after = problem.answers(end.outcome.point[None, :], index_points)[0]
    assert after["search_margin"].min() > before["search_margin"].min() + 0.1
    assert (~after["contact"]).sum() <= (~before["contact"]).sum()
    if state == "slides":
        assert after["margin"].min() > 0.0


def test_a_look_does_not_depend_on_the_look_before(hill: Project) -> None:
    """Answers of a setup far away would hide what is worst."""
    solver = Solver(problem_of(hill))
    index = solver.problem.index
    first = solver.look(solver.problem.start, index)
    solver.look(1.0 - solver.problem.start, index)
    again = solver.look(solver.problem.start, index)
    np.testing.assert_array_equal(again.value, first.value)


def test_a_quick_sweep_finds_the_worst_margin() -> None:
    """Setups all over the box, each case begun at the one before: the worst margin is that of full answers.

    Two folds may be nearly equal, 3e-3 apart; no case may end before its path does.
    """
    problem = problem_of(setupopt.load(SETUPS / "bore"))
    cases = problem.cases(problem.index.grid_points())
    points = np.random.default_rng(0).random((12, problem.start.size))
    quick = problem.result(points, cases, quick=True)
    full = problem.result(points, cases)
    np.testing.assert_array_equal(quick.contact, full.contact)
    np.testing.assert_allclose(
        quick.worst_margin, full.worst_margin, rtol=0.0, atol=3e-3
    )
