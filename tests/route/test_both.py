"""A route as the sweep of a project, and setup and route in turn on a short climb."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.evaluation.cases import placed_cases, sweep_at, sweep_cases
from setupopt.evaluation.limits_check import broken
from setupopt.evaluation.model import evaluate
from setupopt.project import Project
from setupopt.project.model import Ballast
from setupopt.route.both import both, on_route
from setupopt.route.goal import RouteOptions
from setupopt.route.grid import fall_height
from setupopt.route.study import RouteStudy, study_route

from .conftest import wanted, with_route


@pytest.fixture(scope="module")
def climb(bore: Project) -> RouteStudy:
    """A short one, by a quick search."""
    project = with_route(bore, wanted(60.0))
    return study_route(
        project, RouteOptions(speed=45.0, length=60.0, quick=True)
    )


def test_the_sweep_is_the_route(climb: RouteStudy) -> None:
    """Its cases have the margins of the route at the same ways: 0.005, read between points 1 m apart."""
    driven = on_route(climb)
    cases = sweep_cases(driven.venue)
    assert cases.at == pytest.approx(sweep_at(driven.venue))
    assert cases.at[-1] == pytest.approx(climb.length)
    assert np.diff(cases.at).max() <= 4.0
    points = climb.judged.points
    margin = np.interp(cases.at, points.way[0], climb.margin)
    assert evaluate(driven, cases=cases).margin[0] == pytest.approx(
        margin, abs=5e-3
    )
    picked = placed_cases(driven.venue, np.zeros(1, int), cases.at[3:4])
    assert picked.records["heading"] == cases.records["heading"][3:4]
    assert cases.pick([2, 5]).at == pytest.approx(cases.at[[2, 5]])


def test_the_least_load_counts(climb: RouteStudy) -> None:
    """That of [route] and that of packaging: the larger one."""
    study = replace(climb, goal=replace(climb.goal, least_load=123.0))
    limits = on_route(study).limits
    assert limits is not None
    assert limits.packaging.wheel_load_least == 123.0


def test_limits_of_the_car_count_on_the_way(climb: RouteStudy) -> None:
    """What the route calls kept is kept by the table of limits that assess uses, and the other way round."""
    kept = not broken(climb.project, climb.project.setup, climb.judged.result)
    car = {name for name in climb.room if "." in name}
    assert {
        "packaging.travel_left_least_mm",
        "packaging.arch[1]",
        "clearance.least_gap_mm",
    } <= car
    assert kept == all(climb.room[name].min() >= 0.0 for name in car)


def test_heights_are_those_of_the_car_as_set(climb: RouteStudy) -> None:
    """Ballast of a tenth of the mass, 1 m over the CG: it rises by 1/11 m; at 60 deg half of it counts."""
    car = climb.project.car
    piece = Ballast("high", 0.1 * car.mass, 1.0, 0.0, car.cg_height + 1.0)
    setup = replace(climb.project.setup, ballast=(piece,))
    laden = replace(climb, project=replace(climb.project, setup=setup))
    assert laden.car.cg_height - climb.car.cg_height == pytest.approx(
        1.0 / 11.0
    )
    assert fall_height(laden) - fall_height(climb) == pytest.approx(
        0.5 / 11.0, abs=1e-3
    )


def test_setup_and_route_in_turn(bore: Project) -> None:
    """The setup of a flat circuit is not the best in a bore: least margin rises by more than 0.01, and every
    limit is kept by the final setup on the final route.
    """
    project = with_route(bore, wanted(90.0))
    study, turns = both(
        project,
        RouteOptions(speed=42.0, length=90.0, quick=True),
        lambda _: None,
    )
    assert turns[0].taken
    assert turns[0].after > turns[0].before + 0.01
    assert study.holds
    assert broken(study.project, study.project.setup, study.judged.result) == ()
