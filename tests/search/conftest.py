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


@pytest.fixture(scope="session")
def hill() -> Project:
    """The invented hill, which has no other body, at every fifth angle."""
    return coarse("hill", 5.0)


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented bore, which has three bodies, at every sixth angle and in four of its attitudes."""
    project = coarse("bore", 6.0)
    attitudes = project.venue.attitudes
    four = tuple(attitudes[number] for number in (0, 1, 2, 4))
    return replace(project, venue=replace(project.venue, attitudes=four))
