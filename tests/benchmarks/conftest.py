"""Benchmarks: ratios measured in one run, printed as tables. Not tests; run them by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

import setupopt
from setupopt.project import Project

SETUPS = Path(__file__).resolve().parents[2] / "setups"


@pytest.fixture(scope="session")
def bore() -> Project:
    """The invented car in its bore."""
    return setupopt.load(SETUPS / "bore")
