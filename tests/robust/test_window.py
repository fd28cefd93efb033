"""The safe window around the sweep's own speed: that of `speeds`, found without the whole scan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.evaluation.model import evaluate
from setupopt.project import Project
from setupopt.robust.speeds.study import SpeedOptions, study_speeds
from setupopt.robust.speeds.window import CONTACT, FLOOR, POWER, safe_window


@pytest.fixture(scope="module")
def free(bore: Project) -> Project:
    """Few angles, straight and straight at a speed of its own; no limits that could break."""
    straight = bore.venue.attitudes[0]
    fast = replace(straight, name="fast", speed=66.0)
    sweep = replace(bore.venue.sweep, step=np.radians(30.0))
    venue = replace(bore.venue, sweep=sweep, attitudes=(straight, fast))
    front, rear = (
        replace(axle, tyre=replace(axle.tyre, load_limit=None))
        for axle in (bore.car.front, bore.car.rear)
    )
    car = replace(bore.car, clearance=(), front=front, rear=rear)
    return replace(bore, limits=None, venue=venue, car=car)


@pytest.mark.parametrize("floor", [0.0, 0.15])
def test_it_is_the_window_of_the_study(free: Project, floor: float) -> None:
    """The same ends, and the same limits beyond them: there is one judgement of a speed."""
    window = safe_window(free, floor)
    other = study_speeds(free, SpeedOptions(floor)).window
    assert window is not None
    assert other is not None
    for end, same in ((window.low, other.low), (window.high, other.high)):
        assert end.speed == same.speed
        assert [limit.limit for limit in end.beyond] == [
            limit.limit for limit in same.beyond
        ]
    assert window.low.speed < free.venue.sweep.speed < window.high.speed
    assert window.low.beyond[0].limit in (CONTACT, FLOOR)


def test_an_unsafe_sweep_has_none(free: Project) -> None:
    """A minimum margin that the sweep's own speed misses."""
    assert safe_window(free, 0.99) is None


def test_a_limit_broken_at_rest_leaves_none(
    bore: Project, free: Project
) -> None:
    """No speed is safe for a car whose rake is not allowed."""
    assert bore.limits is not None
    tight = replace(
        bore.limits, packaging=replace(bore.limits.packaging, rake=(0.2, 0.3))
    )
    assert safe_window(replace(free, limits=tight)) is None


def test_a_broken_limit_ends_it(free: Project) -> None:
    """A tyre's load limit 50 N over its load at the driven speed ends the window above, by its key."""
    loads = evaluate(free, free.setup).answers["load"][0]
    tyre = replace(
        free.car.front.tyre, load_limit=float(loads[:, :2].max()) + 50.0
    )
    car = replace(free.car, front=replace(free.car.front, tyre=tyre))
    window = safe_window(free)
    limited = safe_window(replace(free, car=car))
    assert window is not None
    assert limited is not None
    assert limited.high.speed < window.high.speed
    assert limited.high.beyond[0].limit == f"tyre.{tyre.name}.load_limit_N"


def test_too_little_power_leaves_none(free: Project) -> None:
    """A car that cannot hold the sweep's own speed is not safe there."""
    weak = replace(free, car=replace(free.car, power=1e3))
    assert safe_window(weak) is None
    assert POWER in [limit.limit for limit in study_speeds(weak).at_driven]
