"""Best climbs of a point mass against an independent optimal-control transcription.

It needs `casadi`, of the extra `check`; without it this module is skipped by name.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cars import (
    PLAIN_SETUP,
    evenly_driven,
    on_tyres,
    plain_car,
    set_both,
    venue,
)

from setupopt.project import Project
from setupopt.project.limits_model import Limits, Packaging
from setupopt.project.model import Attitude, Sweep
from setupopt.project.model import AxleLimits as Ranges
from setupopt.route.goal import RouteOptions
from setupopt.route.study import RouteStudy, study_route

from .conftest import wanted

pytest.importorskip(
    "casadi", reason="casadi is not installed: pip install -e '.[check]'"
)
from plain_route import PointMass, best_climb

RADIUS = 60.0
TOP = 110.0
SPEED = 48.0
MU = 1.4
AREA = 2.0
MASS = 1000.0
NO_RANGE = Ranges(None, None, None, None, None, None)


def point_project() -> Project:
    """As near to a point mass as the model has: CG 10 mm up, one friction for all loads, stiff in shear."""
    car = on_tyres(
        plain_car(mass=MASS, cg_height=0.01, friction=MU, area=AREA),
        shear_per_foundation=5.0,
    )
    setup = set_both(PLAIN_SETUP, spring=60e3)
    straight = Attitude(
        "straight",
        0.0,
        0.0,
        0.0,
        0.0,
        None,
        0.0,
        0.0,
        (0.0, 0.0, 0.0, 0.0),
        None,
    )
    place = replace(
        venue(1.0 / RADIUS),
        sweep=Sweep(0.0, 1.0, 0.1, SPEED),
        attitudes=(straight,),
    )
    packaging = Packaging(None, None, None, ())
    limits = Limits(
        NO_RANGE, NO_RANGE, packaging, None, None, None, None, route=wanted(TOP)
    )
    return Project(
        Path("nowhere"), evenly_driven(car), place, setup, limits, ()
    )


@pytest.fixture(scope="module")
def routes() -> dict[float, RouteStudy]:
    """Routes of three lengths."""
    lengths = (275.0, 290.0, 330.0)
    return {
        length: study_route(
            point_project(), RouteOptions(speed=SPEED, length=length)
        )
        for length in lengths
    }


def test_margins_are_those_of_a_point_mass(
    routes: dict[float, RouteStudy],
) -> None:
    """At every point 1 - force / (friction x press); 0.045: crab angle and the size of the car."""
    for study in routes.values():
        points = study.judged.points
        share = study.paths.legs[0].coasting[0]
        mass = PointMass(MASS, MU, AREA, 1e-3)
        plain = mass.margin(
            RADIUS,
            points.place[0],
            points.course[0],
            points.curvature[0],
            points.speed[0] ** 2,
            share,
        )
        assert study.margin == pytest.approx(plain, abs=0.045)


@pytest.mark.parametrize("length", [275.0, 290.0, 330.0])
def test_least_margin_of_the_transcription(
    length: float, routes: dict[float, RouteStudy]
) -> None:
    """The same within 0.02, either way: two discretisations of one problem."""
    best, _ = best_climb(
        PointMass(MASS, MU, AREA, 1e-3), RADIUS, np.radians(TOP), SPEED, length
    )
    assert routes[length].margin.min() == pytest.approx(best, abs=0.02)
