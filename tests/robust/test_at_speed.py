"""The window of steady speeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.project import Project
from setupopt.robust.speeds.at_speed import SpeedWindow, speed_window


@pytest.fixture(scope="module")
def free(bore: Project) -> Project:
    """Few angles, straight and straight at a speed of its own; no limits that could break."""
    straight = bore.venue.attitudes[0]
    fast = replace(straight, name="fast", speed=60.0)
    sweep = replace(bore.venue.sweep, step=np.radians(30.0))
    venue = replace(bore.venue, sweep=sweep, attitudes=(straight, fast))
    front, rear = (
        replace(axle, tyre=replace(axle.tyre, load_limit=None)) for axle in (bore.car.front, bore.car.rear)
    )
    car = replace(bore.car, clearance=(), front=front, rear=rear)
    return replace(bore, limits=None, venue=venue, car=car)


def worst(project: Project, speed: float) -> float:
    """Worst margin with the sweep at a speed, by the plain evaluation."""
    venue = replace(project.venue, sweep=replace(project.venue.sweep, speed=speed))
    return float(evaluate(project, project.setup, sweep_cases(venue)).worst_margin[0])


def test_ends_hold_and_the_next_do_not(free: Project) -> None:
    """By plain evaluations of the venue at those speeds; what breaks is named."""
    floor = 0.05
    window = speed_window(free, free.setup, floor)
    assert window is not None
    assert worst(free, window.low) >= floor > worst(free, window.low - 1.0)
    assert worst(free, window.high) >= floor
    assert window.low < window.driven <= window.high
    assert window.below in ("contact", "the floor of the margin")


def test_higher_floor_narrows(free: Project) -> None:
    """And a floor that the driven speed misses leaves no window."""
    low, high = (speed_window(free, free.setup, floor) for floor in (0.0, 0.15))
    assert low is not None
    assert high is not None
    assert high.low > low.low
    assert speed_window(free, free.setup, 0.99) is None


def test_broken_limit_ends_the_window(free: Project) -> None:
    """A tyre's load limit a little over its load at the driven speed ends the window above, by its key."""
    window = speed_window(free, free.setup, 0.0)
    loads = evaluate(free, free.setup).answers["load"][0]
    tyre = replace(free.car.front.tyre, load_limit=float(loads[:, :2].max()) + 50.0)
    car = replace(free.car, front=replace(free.car.front, tyre=tyre))
    limited = speed_window(replace(free, car=car), free.setup, 0.0)
    assert isinstance(window, SpeedWindow)
    assert isinstance(limited, SpeedWindow)
    assert limited.high < window.high
    assert limited.above == f"tyre.{tyre.name}.load_limit_N"
