"""A student-size car finds a way where straight running loses contact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.project import Project
from setupopt.route.goal import RouteOptions
from setupopt.route.study import study_route

from .conftest import wanted, with_route


def student(bore: Project) -> Project:
    """260 kg, a good half of the example's downforce, in a bore of 6 m radius; invented."""
    air = bore.car.air
    elements = tuple(
        replace(
            one,
            free_area=0.55 * one.free_area,
            ground_area=0.55 * one.ground_area,
        )
        for one in air.elements
    )
    inertia = {
        "pitch_inertia": 200.0,
        "roll_inertia": 40.0,
        "yaw_inertia": 220.0,
    }
    small = replace(
        bore.car,
        mass=260.0,
        power=60e3,
        air=replace(air, drag_area=0.8, elements=elements),
        **inertia,
    )
    return replace(
        bore, car=small, venue=replace(bore.venue, curvature=1.0 / 6.0)
    )


def test_over_the_top_at_30_m_s(bore: Project) -> None:
    """Straight along at 150 deg it falls off; over the top it keeps a quarter of its grip."""
    project = with_route(student(bore), wanted(150.0, hold=10.0, returns=True))
    found = study_route(project, RouteOptions(speed=30.0, length=200.0))
    assert found.straight == -np.inf
    assert found.paths.shape.name == "over"
    assert found.firsts["back"] is None
    assert found.margin.min() > 0.2
    assert found.paths.held[0] >= 10.0 * 0.999
    assert found.judged.points.place[0, -1] == pytest.approx(
        2.0 * np.pi * 6.0, abs=1e-6
    )
