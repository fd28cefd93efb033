"""The bore example with a route."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.project import Project, load
from setupopt.project.limits_model import RouteLimits

SETUPS = Path(__file__).parents[2] / "setups"


def wanted(
    to_deg: float, hold: float = 0.0, returns: bool = False
) -> RouteLimits:
    """A route to an angle, without limits."""
    return RouteLimits(
        0.0,
        np.radians(to_deg),
        hold,
        returns,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
    )


def with_route(project: Project, route: RouteLimits) -> Project:
    """The project with another [route]."""
    assert project.limits is not None
    return replace(project, limits=replace(project.limits, route=route))


@pytest.fixture(scope="session")
def bore() -> Project:
    """The example for a circular bore."""
    return load(SETUPS / "bore")
