"""What the tests of robustness share."""

from __future__ import annotations

from pathlib import Path

import pytest

import setupopt
from setupopt.project import Project


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented car in its bore."""
    return setupopt.load(Path(__file__).resolve().parents[2] / "setups" / "bore")
