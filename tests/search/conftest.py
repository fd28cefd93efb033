"""Small problems that the tests of the search share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import setupopt
from setupopt.project import Project
from setupopt.search.objective import objective_of
from setupopt.search.setup_problem import SetupProblem

SETUPS = Path(__file__).resolve().parents[2] / "setups"


def coarse(name: str, times: float) -> Project:
    """An example with a sweep so many times as coarse, to keep tests short."""
    project = setupopt.load(SETUPS / name)
    sweep = replace(project.venue.sweep, step=times * project.venue.sweep.step)
    return replace(project, venue=replace(project.venue, sweep=sweep))


def problem_of(project: Project) -> SetupProblem:
    """The setup problem of its present body, every attitude with weight 1."""
    return SetupProblem(project, objective_of(project.venue))


def smaller(
    project: Project, attitudes: tuple[str, ...], without: tuple[str, ...]
) -> Project:
    """In some of its attitudes, some settings of both axles held: a search takes seconds, not minutes."""
    limits = project.limits
    assert limits is not None
    held = dict.fromkeys(without)
    limits = replace(
        limits,
        front=replace(limits.front, **held),
        rear=replace(limits.rear, **held),
    )
    kept = tuple(
        one for one in project.venue.attitudes if one.name in attitudes
    )
    assert len(kept) == len(attitudes)
    return replace(
        project, limits=limits, venue=replace(project.venue, attitudes=kept)
    )


@pytest.fixture(scope="session")
def hill() -> Project:
    """The invented hill, which has no other body, at three angles in three of its attitudes."""
    attitudes = (
        "fast left-hander",
        "hairpin right, into it",
        "left-hander over a kerb",
    )
    return smaller(coarse("hill", 10.0), attitudes, ("anti_roll",))


@pytest.fixture(scope="session")
def small_hill(hill: Project) -> Project:
    """The hill in two of these attitudes with springs and ride heights alone to choose."""
    return smaller(
        hill,
        ("fast left-hander", "left-hander over a kerb"),
        ("pressure", "camber"),
    )


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented bore, which has three bodies, at five angles in three of its attitudes."""
    attitudes = ("straight", "turned up 8 deg", "crosswind from below")
    return smaller(coarse("bore", 9.0), attitudes, ("anti_roll", "pressure"))


@pytest.fixture(scope="session")
def small_bore(bore: Project) -> Project:
    """The bore in two of these attitudes with two bodies and ride heights alone to choose."""
    found = smaller(
        bore, ("straight", "crosswind from below"), ("camber", "spring")
    )
    return replace(
        found,
        bodies=tuple(
            body for body in found.bodies if body.name == "long-floor"
        ),
    )
