"""What the tests of robustness share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import setupopt
from setupopt.project import Project

SPEED = 54.0  # m/s; at it the example's setup slides nowhere: its least margin is 0.15


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented car in its bore, on today's setup, at a speed at which no case slides."""
    example = setupopt.load(
        Path(__file__).resolve().parents[2] / "setups" / "bore"
    )
    return replace(
        example,
        venue=replace(
            example.venue, sweep=replace(example.venue.sweep, speed=SPEED)
        ),
    )
