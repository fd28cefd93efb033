"""Best climbs of a point mass and of a single-track car against an independent optimal-control transcription.

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
from plain_route import PointMass, SingleTrack, best_climb

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


FRONT_WEIGHT = 0.42
YAW_INERTIA = 1600.0
POINT = PointMass(MASS, MU, AREA, 1e-3)
CARS = {
    "point mass": POINT,
    "single track": SingleTrack(
        MASS, MU, AREA, 1e-3, 1.2, 2.6, FRONT_WEIGHT, YAW_INERTIA
    ),
}
LENGTHS = (275.0, 290.0, 330.0)


def single_track_project() -> Project:
    """The same car with its weight to the rear, and with a yaw inertia; a quick driver holds it."""
    project = point_project()
    car = replace(
        project.car,
        front_share=FRONT_WEIGHT,
        yaw_inertia=YAW_INERTIA,
        pitch_inertia=1.0,
        roll_inertia=1.0,
        driver_reaction=0.01,
    )
    return replace(project, car=car)


PROJECTS = {
    "point mass": point_project,
    "single track": single_track_project,
}


@pytest.fixture(scope="module", params=list(CARS))
def routes(request: pytest.FixtureRequest) -> tuple[str, list[RouteStudy]]:
    """A car, and its routes of three lengths."""
    project = PROJECTS[request.param]()
    found = [
        study_route(project, RouteOptions(speed=SPEED, length=length))
        for length in LENGTHS
    ]
    return request.param, found


def test_margins_are_those_of_the_plain_car(
    routes: tuple[str, list[RouteStudy]],
) -> None:
    """At every point 1 - force / (friction x press); 0.05: crab angle and the size of the car, 0.041 where the
    end of the point mass's way coasts, and more of the single track, whose axles are not used alike there.
    """
    name, studies = routes
    for study in studies:
        points = study.judged.points
        share = study.paths.legs[0].coasting[0]
        plain = CARS[name].margin(
            RADIUS,
            points.place[0],
            points.course[0],
            points.curvature[0],
            points.speed[0] ** 2,
            share,
            points.yaw_acceleration[0],
        )
        assert study.margin == pytest.approx(plain, abs=0.05)


def test_least_margin_of_the_transcription(
    routes: tuple[str, list[RouteStudy]],
) -> None:
    """The same within 0.02, either way, at three lengths: two discretisations of one problem."""
    name, studies = routes
    top = np.radians(TOP)
    for length, study in zip(LENGTHS, studies, strict=True):
        best, _ = best_climb(CARS[name], RADIUS, top, SPEED, length)
        assert study.margin.min() == pytest.approx(best, abs=0.02), length
