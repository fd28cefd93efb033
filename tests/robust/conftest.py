"""What the tests of robustness share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import setupopt
from setupopt.project import Project
from setupopt.project.model import AxleSetup
from setupopt.units import BAR, DEG, MM, N_PER_MM

SPEED = 56.0  # m/s; at it the setup below keeps a margin of 0.1 and more in every case


def axle(camber: float, ride_height: float, anti_roll: float) -> AxleSetup:
    """One end of a stiff car with much camber, in the units of a setup file."""
    return AxleSetup(
        camber=camber * DEG, ride_height=ride_height * MM, spring=200.0 * N_PER_MM,
        anti_roll=anti_roll * N_PER_MM, third=0.0, pressure=1.2 * BAR, toe=0.0,
    )  # fmt: skip


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented car in its bore, on a setup and at a speed that keep the grip of every wheel in use.

    Rides start from a trim, so most studies need cases that do not slide.
    """
    example = setupopt.load(Path(__file__).resolve().parents[2] / "setups" / "bore")
    setup = replace(example.setup, front=axle(-7.1, 28.0, 10.0), rear=axle(-7.2, 36.5, 60.0))
    venue = replace(example.venue, sweep=replace(example.venue.sweep, speed=SPEED))
    return replace(example, setup=setup, venue=venue)
