"""Settings as places in the unit box."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import (
    Variable,
    fixed_by_limits,
    from_setup,
    to_setup,
    variables_of,
)
from setupopt.project import Project
from setupopt.project.model import Range

SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="module", params=["bore", "bank", "hill"])
def project(request: pytest.FixtureRequest) -> Project:
    """Each example."""
    return setupopt.load(SETUPS / request.param)


def test_box_and_setup_round_trip(project: Project) -> None:
    """A setup inside its ranges comes back from the box as it went in, to rounding."""
    assert project.limits is not None
    variables = variables_of(project.limits)
    place = np.random.default_rng(1).random(len(variables))
    setup = to_setup(variables, place, project.setup, "there")
    np.testing.assert_allclose(from_setup(variables, setup), place, atol=1e-12)


def test_ends_of_the_box_are_ends_of_the_ranges(project: Project) -> None:
    """0 and 1 are `from` and `to`, for every setting."""
    assert project.limits is not None
    for variable in variables_of(project.limits):
        for place, end in (
            (0.0, variable.range.lower),
            (1.0, variable.range.upper),
        ):
            setup = to_setup(
                (variable,), np.array([place]), project.setup, "end"
            )
            assert variable.of(by_wheel(setup))[0] == pytest.approx(end)


def test_settings_without_range_stay(project: Project) -> None:
    """What has no range is not touched: toe has none in any example."""
    assert project.limits is not None
    variables = variables_of(project.limits)
    setup = to_setup(
        variables, np.full(len(variables), 0.3), project.setup, "new"
    )
    assert (setup.front.toe, setup.rear.toe) == (
        project.setup.front.toe,
        project.setup.rear.toe,
    )


def test_body_stays(project: Project) -> None:
    """The box moves settings; what the car wears is no setting of it."""
    assert project.limits is not None
    variables, worn = (
        variables_of(project.limits),
        replace(project.setup, body="low drag"),
    )
    points = np.full((2, len(variables)), 0.5)
    assert to_setup(variables, points[0], worn, "there").body == "low drag"
    assert fixed_by_limits(worn, project.limits).body == "low drag"


def test_single_value_range_fixes_the_setting(project: Project) -> None:
    """A range from a value to itself puts the setting there and leaves nothing to vary."""
    assert project.limits is not None
    camber = np.radians(-2.0)
    limits = replace(
        project.limits,
        front=replace(project.limits.front, camber=Range(camber, camber, None)),
    )
    assert "front.camber_deg" not in [v.name for v in variables_of(limits)]
    assert fixed_by_limits(project.setup, limits).front.camber == camber


def test_grid_of_steps_and_of_parts(project: Project) -> None:
    """Steps count from the lower end; parts are the shelf."""
    assert project.limits is not None
    for variable in variables_of(project.limits):
        grid = variable.grid()
        assert grid is not None
        values = variable.range.lower + grid * variable.width
        if variable.range.choices is not None:
            np.testing.assert_allclose(values, variable.range.choices)
        else:
            assert variable.range.step is not None
            steps = (values - variable.range.lower) / variable.range.step
            np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)


def test_grid_is_none_where_any_value_will_do() -> None:
    """A range without steps is continuous."""
    from setupopt.project.settings import SETTINGS

    assert (
        Variable("front", SETTINGS[0], (0, 1), Range(0.0, 1.0)).grid() is None
    )
