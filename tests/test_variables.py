"""Settings as places in the unit box, and packaging limits as rows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.cases import sweep_cases
from setupopt.limits_check import Broken, broken
from setupopt.project import Project
from setupopt.project.model import Arch, Range, Setup
from setupopt.search.setup_problem import SetupProblem
from setupopt.variables import Variable, fixed_by_limits, from_setup, to_setup, variables_of

SETUPS = Path(__file__).resolve().parents[1] / "setups"


@pytest.fixture(scope="module", params=["bore", "bank", "hill"])
def project(request: pytest.FixtureRequest) -> Project:
    """Each example."""
    return setupopt.load(SETUPS / request.param)


def _problem(project: Project) -> SetupProblem:
    assert project.limits is not None
    angles = np.linspace(project.venue.sweep.start, project.venue.sweep.stop, 5)
    return SetupProblem(project, project.limits, sweep_cases(project.venue, angles))


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
        for place, end in ((0.0, variable.range.lower), (1.0, variable.range.upper)):
            setup = to_setup((variable,), np.array([place]), project.setup, "end")
            assert getattr(getattr(setup, variable.axle), variable.setting.field) == pytest.approx(end)


def test_settings_without_range_stay(project: Project) -> None:
    """What has no range is not touched: toe has none in any example."""
    problem = _problem(project)
    setup = problem.setup(np.full(len(problem.variables), 0.3), "new")
    assert (setup.front.toe, setup.rear.toe) == (project.setup.front.toe, project.setup.rear.toe)


def test_single_value_range_fixes_the_setting(project: Project) -> None:
    """A range from a value to itself puts the setting there and leaves nothing to vary."""
    assert project.limits is not None
    camber = np.radians(-2.0)
    limits = replace(project.limits, front=replace(project.limits.front, camber=Range(camber, camber, None)))
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

    assert Variable("front", SETTINGS[0], Range(0.0, 1.0)).grid() is None


def _with_everything(project: Project) -> Project:
    """The project with limits so tight that a random setup breaks most of them."""
    assert project.limits is not None
    packaging = replace(
        project.limits.packaging, rake=(0.008, 0.009), wheel_load_least=900.0, travel_left_least=0.03
    )
    return replace(project, limits=replace(project.limits, packaging=packaging))


@pytest.mark.parametrize("seed", range(4))
def test_rows_agree_with_the_check_of_an_evaluated_setup(project: Project, seed: int) -> None:
    """The search's limits and the check of a finished setup, written apart, miss the same by as much."""
    tight = _with_everything(project)
    problem = _problem(tight)
    place = np.random.default_rng(seed).random(len(problem.variables))
    setup: Setup = problem.setup(place, "random")
    result = problem.result(place[None, :])
    if not result.contact.all():
        pytest.skip("the check counts no lost case, the search does")
    rows = problem.limit_rows(place, result)
    missed: dict[str, float] = {}
    for i, limit in enumerate(problem.packaging.limits):
        kind = limit.name.split(",")[0]  # wheel loads and rake: the worst of several
        missing = -float(rows.rows[0][rows.owner == i].min()) * limit.scale / limit.factor
        missed[kind] = max(missed.get(kind, 0.0), missing)
    found = broken(tight, setup, result)
    by_rows = sorted(round(value, 6) for value in missed.values() if value > 1e-9)
    by_check = sorted(_worst_of_each_kind(found))
    assert by_rows == pytest.approx(by_check, abs=1e-5)


def test_two_arches_on_one_axle_both_count(project: Project) -> None:
    """A second arch of an axle, tighter than the first, is asked too, and so is the first."""
    assert project.limits is not None
    arches = (Arch("front", 0.05, 0.0), Arch("front", 0.02, 0.0))
    packaging = replace(project.limits.packaging, arches=arches)
    limits = replace(project.limits, packaging=packaging)
    problem = _problem(replace(project, limits=limits))
    result = problem.result(problem.start[None, :])
    rows = problem.limit_rows(problem.start, result)
    places = [i for i, limit in enumerate(problem.packaging.limits) if "front wheel arch" in limit.name]
    room = [rows.rows[0][rows.owner == i].min() * problem.packaging.limits[i].scale for i in places]
    assert room[0] - room[1] == pytest.approx(0.03, abs=1e-12)


def _worst_of_each_kind(found: tuple[Broken, ...]) -> list[float]:
    """How much each kind of limit is missed by; wheel arches count one by one."""
    worst: dict[str, float] = {}
    for limit in found:
        key = limit.limit.split(".")[-1]
        kind = f"arch {limit.where}" if "arch" in limit.limit else key
        worst[kind] = max(worst.get(kind, 0.0), abs(limit.value - limit.required))
    return list(worst.values())
