"""What the tests of sheets share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import setupopt
from setupopt.project import Project, Setup

SETUPS = Path(__file__).resolve().parents[2] / "setups"


def few(name: str, step: float, attitudes: int = 3) -> Project:
    """An example with a coarse sweep, step in deg, and its first attitudes."""
    project = setupopt.load(SETUPS / name)
    venue = project.venue
    sweep = replace(venue.sweep, step=np.radians(step))
    return replace(
        project,
        venue=replace(
            venue, sweep=sweep, attitudes=venue.attitudes[:attitudes]
        ),
    )


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented car in its bore, four roll angles, two attitudes: what is judged here needs no more."""
    return few("bore", 60.0, 2)


EXAMPLES = {"bore": 90.0, "bank": 20.0, "hill": 5.0}


def proposed_like(project: Project) -> Setup:
    """A target that differs from today in nearly everything, on steps that exist."""
    today = project.setup
    front = replace(
        today.front, camber=today.front.camber - np.radians(2.3), spring=today.front.spring + 20e3,
        ride_height=today.front.ride_height - 0.006, pressure=today.front.pressure - 15e3, anti_roll=20e3,
    )  # fmt: skip
    rear = replace(
        today.rear, camber=today.rear.camber - np.radians(1.1), spring=today.rear.spring - 20e3,
        ride_height=today.rear.ride_height - 0.004, pressure=today.rear.pressure - 10e3, anti_roll=10e3,
    )  # fmt: skip
    return Setup("a target", front, rear)
