"""What must be stood, as rows of the search and as what is reported."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.project import Project
from setupopt.project.limits_model import Require
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.objective import objective_of
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.stood_setup import not_stood, requirement_of, stood_by

INDEX = IndexPoints(np.array([0, 1]), np.radians([90.0, 140.0]))


def requiring(project: Project, **asked: object) -> Project:
    """The project with such a [require]."""
    assert project.limits is not None
    return replace(
        project, limits=replace(project.limits, require=Require(**asked))
    )  # type: ignore[arg-type]


def problem_of(project: Project, times: float, places: tuple) -> SetupProblem:
    """The problem that must stand so many times what is asked at some places."""
    requirement = requirement_of(project)
    assert requirement is not None
    held = replace(requirement, times=times, places=places)
    return SetupProblem(project, objective_of(project.venue), requirement=held)


def test_rows_are_logarithms_of_what_is_stood(bore: Project) -> None:
    """Twice as much to be stood takes log 2 off every row (1e-9); places that are not looked at have none."""
    project = requiring(bore, bump=0.01, gust=5.0)
    places = (
        (0, 4, 0, float(INDEX.at[0])),
        (2, 1, 1, float(INDEX.at[1])),
        (2, 0, 1, 0.1),
    )
    rows = []
    for times in (1.0, 2.0):
        problem = problem_of(project, times, places)
        found = problem.limit_rows(
            problem.start[None],
            INDEX,
            problem.answers(problem.start[None], INDEX),
        )
        own = [problem.limit_names.index(kind) for kind in ("bump", "gust")]
        assert [int((found.owner == owner).sum()) for owner in own] == [1, 1]
        rows.append(
            [float(found.rows[0, found.owner == owner][0]) for owner in own]
        )
    assert np.subtract(*rows) == pytest.approx(np.log(2.0), abs=1e-9)


def test_without_a_requirement_nothing_is_asked(bore: Project) -> None:
    """No row, no name of its own that counts, and the same answers as ever."""
    plain = SetupProblem(bore, objective_of(bore.venue))
    found = plain.limit_rows(
        plain.start[None], INDEX, plain.answers(plain.start[None], INDEX)
    )
    assert found.owner.max() < plain.limit_names.index("bump")
    assert requirement_of(bore) is None


def test_builds_that_must_be_stood_are_limits(bore: Project) -> None:
    """Their margins are no values to be raised, but rows against the least margin."""
    errors = np.ones(14)
    whole = replace(
        SetupProblem(bore, objective_of(bore.venue)), builds=(errors,)
    )
    held = replace(whole, least_built=0.05)
    index = IndexPoints(
        np.array([0, whole.attitudes]), np.radians([90.0, 90.0])
    )
    raised, limited = (
        whole(whole.start[None], index),
        held(held.start[None], index),
    )
    assert raised.values.shape[1] == 2
    assert limited.values.shape[1] == 1
    assert limited.limits[0, -1] == pytest.approx(
        (raised.values[0, 1] - 0.05) / 0.1, abs=1e-9
    )


def test_inputs_that_must_be_stood_make_a_car_of_their_own(
    bore: Project,
) -> None:
    """All uncertain inputs at their good ends hold more than at their bad ends."""
    problem = replace(
        SetupProblem(bore, objective_of(bore.venue)),
        has_builds=False,
        has_spread=True,
    )
    names = problem.errors(bore.setup).names
    good = np.array(
        [-1.0 if name in ("mass", "drag") else 1.0 for name in names]
    )
    index = IndexPoints(
        problem.attitudes * np.array([0, 1, 2]),
        np.radians([120.0, 120.0, 120.0]),
    )
    both = replace(problem, builds=(good, -good))
    exact, better, worse = both.answers(both.start[None], index)["margin"][0]
    assert worse < exact < better


@pytest.mark.parametrize("times", [0.5, 2.0])
def test_what_is_not_stood_is_a_broken_limit(
    bore: Project, times: float
) -> None:
    """Asked for half of what it stands, a setup breaks nothing; asked for twice, the limit is named."""
    angles = replace(
        bore.venue.sweep,
        start=np.radians(60.0),
        stop=np.radians(120.0),
        step=np.radians(60.0),
    )
    small = replace(
        bore,
        venue=replace(
            bore.venue, sweep=angles, attitudes=bore.venue.attitudes[:1]
        ),
    )
    project = requiring(small, bump=0.01)
    problem = SetupProblem(project, objective_of(project.venue))
    found = stood_by(problem, project.setup)
    broken = not_stood(found, times * found.times, 0.0)
    assert [limit.limit for limit in broken] == (
        ["require.bump_mm"] if times > 1.0 else []
    )
