"""The picture of an assessment: valid, the same bytes, lost cases marked, a survey's readings beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.evaluation.assessment import assess
from setupopt.project import Project
from setupopt.project.section import Section
from setupopt.report.assess.picture import assessment_svg

from .svgs import lines

SETUPS = Path(__file__).resolve().parents[2] / "setups"
PARTS = Section(0.0, (3.0, 8.0 * np.pi / 2), (0.0, 1 / 8.0))


@pytest.fixture(scope="module")
def bore() -> Project:
    """The bore with few cases."""
    project = setupopt.load(SETUPS / "bore")
    sweep = replace(project.venue.sweep, step=np.radians(30.0))
    return replace(project, venue=replace(project.venue, sweep=sweep))


def on(project: Project, section: Section) -> Project:
    """The project on a section of parts."""
    return replace(
        project, venue=replace(project.venue, section="parts", profile=section)
    )


def words(project: Project) -> str:
    """All texts of its picture."""
    return lines(assessment_svg(assess(project)))


def test_it_says_what_it_shows(bore: Project) -> None:
    """Place, model, no clearance; axes with their units; nothing of a lost case where there is none."""
    told = words(bore)
    for wanted in (
        bore.venue.name,
        "by the model",
        "no clearance to drive",
        "roll angle deg",
        "worst of all",
    ):
        assert wanted in told
    assert "contact lost" not in told


def test_lost_cases_are_marked(bore: Project) -> None:
    """At walking pace the car falls off the wall."""
    slow = replace(
        bore,
        venue=replace(bore.venue, sweep=replace(bore.venue.sweep, speed=5.0)),
    )
    assert "contact lost" in words(slow)


def test_section_of_parts_is_drawn_along_itself(bore: Project) -> None:
    """Places in mm with curvature and roll angle; points off their line only where there was a survey."""
    told = words(on(bore, PARTS))
    assert "along the section mm" in told and "curvature 1/m" in told
    assert "points off mm" not in told
    assert "points off mm" in words(
        on(bore, replace(PARTS, readings=((1.0, 0.002), (2.0, -0.001))))
    )


def test_same_assessment_same_bytes(bore: Project) -> None:
    """Neither date nor random names."""
    assert assessment_svg(assess(bore)) == assessment_svg(assess(bore))
