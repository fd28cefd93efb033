"""Prices: what a limit costs, held against solving again with the limit typed otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from setupopt.project import Project
from setupopt.project.limits_model import Arch
from setupopt.project.model import Axle, ClearancePoint
from setupopt.project.underbody import static_gap
from setupopt.search.engine.exchange import ExchangeResult
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.local_prices import local_prices
from setupopt.search.objective import objective_of
from setupopt.search.relaxation import CLOSE, TIGHT
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.shadow_prices import ShadowPrice, prices
from setupopt.search.solver import Solver

from .conftest import problem_of

MM = 1e-3


def _solved(problem: SetupProblem) -> tuple[Solver, ExchangeResult]:
    solver = Solver(problem, trust_region=TIGHT)
    return solver, solver.solve(solver.box, problem.start, options=CLOSE)


def _prices(problem: SetupProblem) -> dict[str, ShadowPrice]:
    solver, best = _solved(problem)
    return {price.limit: price for price in prices(solver, best, CLOSE)}


def test_prices_near_a_setup_that_no_search_proposed(hill: Project) -> None:
    """A quick local search from it, then an accurate one: the same prices, to a hundredth, as by an accurate
    one alone; the setup itself is left as it is."""
    found = local_prices(hill, hill)
    assert found is not None and found.prices
    alone = _prices(problem_of(hill))
    for price in found.prices:
        assert price.agrees
        known = alone[price.limit].margin_per_unit
        assert price.margin_per_unit == pytest.approx(known, rel=0.01)
    assert found.own.setup == hill.setup
    assert found.near.margin > found.own.margin


def test_without_limits_there_are_none(hill: Project) -> None:
    """Nor is anything solved."""
    assert local_prices(hill, replace(hill, limits=None)) is None


@pytest.fixture(scope="module")
def free(hill: Project) -> tuple[SetupProblem, ExchangeResult]:
    """The hill's best point with the limits it has."""
    problem = problem_of(hill)
    return problem, _solved(problem)[1]


Tightened = Callable[[Project, SetupProblem, ExchangeResult], Project]


def _packed(project: Project, **changed: object) -> Project:
    assert project.limits is not None
    packaging = replace(project.limits.packaging, **changed)  # type: ignore[arg-type]
    return replace(project, limits=replace(project.limits, packaging=packaging))


def _answers(problem: SetupProblem, best: ExchangeResult) -> np.ndarray:
    return problem.answers(
        best.outcome.point[None, :], problem.index.grid_points()
    )[0]


def _rake_least(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    setup = problem.setup(best.outcome.point, "")
    rake = setup.rear.ride_height - setup.front.ride_height
    return _packed(project, rake=(rake + 24.9 * MM, rake + 30 * MM))


def _rake_most(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    setup = problem.setup(best.outcome.point, "")
    rake = setup.rear.ride_height - setup.front.ride_height
    return _packed(project, rake=(rake - 20 * MM, rake - 10 * MM))


def _wheel_load(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    return _packed(
        project,
        wheel_load_least=float(_answers(problem, best)["load"].min()) + 20.0,
    )


def _travel(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    travel = _answers(problem, best)["travel"]
    axles = (project.car.front, project.car.rear)
    left = min(
        min(
            axle.bump_travel - travel[:, w : w + 2].max(),
            axle.droop_travel + travel[:, w : w + 2].min(),
        )
        for w, axle in zip((0, 2), axles, strict=True)
    )
    return _packed(project, travel_left_least=left + 1 * MM)


def _arch(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    """Bump and camber together: less room the more the wheel leans."""
    travel, setup = (
        _answers(problem, best)["travel"][:, :2].max(),
        problem.setup(best.outcome.point, ""),
    )
    slope = 0.05
    return _packed(
        project,
        arches=(
            Arch("front", travel - slope * setup.front.camber - 1 * MM, slope),
        ),
    )


def _ground_clearance(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    setup = problem.setup(best.outcome.point, "")
    return _packed(
        project,
        ground_clearance_least=min(
            setup.front.ride_height, setup.rear.ride_height
        )
        + 2 * MM,
    )


def _point(project: Project) -> ClearancePoint:
    """A point of the floor a little ahead of the rear axle, on the left."""
    return ClearancePoint(
        "edge", project.car.wheelbase - 0.3, 0.4, 0.0, 1 * MM, None
    )


def _static_gap(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    point, setup = _point(project), problem.setup(best.outcome.point, "")
    least = float(static_gap(project.car, setup.ride_heights, point)) + 2 * MM
    return replace(
        project,
        car=replace(
            project.car, clearance=(replace(point, least_static_gap=least),)
        ),
    )


def _moving_gap(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    """The gap of the point where the car squats most, and 6 mm more."""
    with_point = replace(
        project, car=replace(project.car, clearance=(_point(project),))
    )
    gap = float(_answers(problem_of(with_point), best)["clearance"].min())
    point = replace(_point(project), least_gap=gap + 6 * MM)
    return replace(project, car=replace(project.car, clearance=(point,)))


def _tyre_load(
    project: Project, problem: SetupProblem, best: ExchangeResult
) -> Project:
    most = float(_answers(problem, best)["load"][:, :2].max())
    front: Axle = replace(
        project.car.front,
        tyre=replace(project.car.front.tyre, load_limit=most - 20.0),
    )
    return replace(project, car=replace(project.car, front=front))


KINDS: dict[str, tuple[str, Tightened]] = {
    "rake, least": ("packaging.rake_mm.from", _rake_least),
    "rake, most": ("packaging.rake_mm.to", _rake_most),
    "least wheel load": ("packaging.wheel_load_least_N", _wheel_load),
    "travel left": ("packaging.travel_left_least_mm", _travel),
    "wheel arch": ("packaging.arch[1].room_mm", _arch),
    "rule-book ground clearance": (
        "packaging.ground_clearance_least_mm",
        _ground_clearance,
    ),
    "static gap": ("clearance.least_static_gap_mm edge", _static_gap),
    "moving gap": ("clearance.least_gap_mm edge", _moving_gap),
    "tyre load": (".load_limit_N front", _tyre_load),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_limit_gets_its_price(
    kind: str, hill: Project, free: tuple[SetupProblem, ExchangeResult]
) -> None:
    """Tightened until it binds, each kind of limit has a price, and solving again confirms it to 10 %."""
    name, tighten = KINDS[kind]
    found = [
        price
        for limit, price in _prices(problem_of(tighten(hill, *free))).items()
        if name in limit
    ]
    assert found
    for price in found:
        assert price.margin_per_unit > 0.0
        assert price.agrees, price


def test_prices_of_ranges(free: tuple[SetupProblem, ExchangeResult]) -> None:
    """Ends of ranges: every price told agrees with solving again; the tyre pressure is among them."""
    found = _prices(free[0])
    assert "rear.pressure_bar.to" in found
    assert all(price.agrees for price in found.values()), found


def test_solving_again_is_what_a_user_would_do(
    hill: Project, free: tuple[SetupProblem, ExchangeResult]
) -> None:
    """The price of the upper pressure limit against limits.toml typed with 0.01 bar more: within a tenth."""
    price = _prices(free[0])["rear.pressure_bar.to"]
    assert hill.limits is not None
    assert hill.limits.rear.pressure is not None
    wider = replace(
        hill.limits.rear.pressure, upper=hill.limits.rear.pressure.upper + 1e3
    )
    limits = replace(
        hill.limits, rear=replace(hill.limits.rear, pressure=wider)
    )
    again = _solved(problem_of(replace(hill, limits=limits)))[1].merit
    assert again - free[1].merit == pytest.approx(
        0.01 * price.margin_per_unit, rel=0.1
    )


def test_a_floor_has_a_price(
    hill: Project, free: tuple[SetupProblem, ExchangeResult]
) -> None:
    """An attitude that is not the worst asked for more than it has: the others pay, by the price told."""
    problem, best = free
    name = "left-hander over a kerb"
    family = problem.objective.names.index(name) + np.zeros_like(
        problem.index.grid, dtype=int
    )
    has = problem(
        best.outcome.point[None, :], IndexPoints(family, problem.index.grid)
    ).values.min()
    objective = objective_of(hill.venue, None, {name: has + 0.002})
    price = _prices(SetupProblem(hill, objective))[
        f'minimum margin of "{name}"'
    ]
    assert price.margin_per_unit > 0.0
    assert price.agrees
