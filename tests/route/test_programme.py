"""The test programme: the order of its steps, what is left of a spread, and a short one of the bore."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.jobs.store import Store
from setupopt.project import Project
from setupopt.project.model import Range
from setupopt.route.goal import RouteOptions
from setupopt.route.programme import Run, _left, _Search, most_steps, programme
from setupopt.route.study import study_route

from .conftest import wanted, with_route


def short(bore: Project) -> Project:
    """Up to 45 deg and back, at 35 m/s or more, with a margin of 0.5."""
    wish = replace(
        wanted(45.0, hold=10.0, returns=True),
        least_margin=0.5,
        speed=Range(35.0, 55.0, 5.0),
    )
    return with_route(bore, wish)


def test_the_order_of_steps(bore: Project) -> None:
    """The next angle, the next speed, then the higher angles; the first run may be at any speed."""
    project = short(bore)
    options = RouteOptions(speed=42.0)
    search = _Search(project, options, lambda _: None, None)
    first = [
        (round(np.degrees(angle)), speed)
        for _, angle, speed in search.steps([])
    ]
    assert first == [
        (angle, speed) for angle in (15, 30, 45) for speed in (35.0, 40.0, 42.0)
    ]
    study = study_route(
        with_route(bore, wanted(15.0)),
        RouteOptions(speed=40.0, quick=True, length=40.0),
    )
    run = Run(
        "first",
        search.angles[0],
        study,
        0.6,
        {},
        {},
        {},
        np.zeros((0, 0)),
        None,
    )
    then = [
        (name, round(np.degrees(angle)), speed)
        for name, angle, speed in search.steps([run])
    ]
    assert then == [
        ("angle", 30, 40.0),
        ("speed", 15, 42.0),
        ("angle", 45, 40.0),
    ]
    assert search.steps_to([run]) == 2
    assert most_steps(project, options) == 5


def test_what_is_left_of_a_spread() -> None:
    """One channel that moves by s of its errors: 1 / sqrt(1 + s2 / 3), the variance of +-1 being 1/3.

    Two inputs that move all channels alike cannot be told apart: their difference keeps its variance, half.
    """
    assert _left(np.array([[9.0]]))[0] == pytest.approx(0.5, abs=1e-12)
    alike = 1e9 * np.ones((2, 2))
    assert _left(alike) == pytest.approx(np.sqrt([0.5, 0.5]), abs=1e-6)


def test_a_short_programme(bore: Project, tmp_path: Path) -> None:
    """Every run keeps its margin at the worst of the spread, which is no better than the inputs as given, and
    is one step from the run before; started again from what was kept it has the same numbers.
    """
    done: list[int] = []
    store = Store(tmp_path / "kept")
    found = programme(short(bore), RouteOptions(speed=40.0), done.append, store)
    assert found.reaches
    assert sum(done) == most_steps(short(bore), RouteOptions(speed=40.0))
    for run in found.runs:
        assert 0.5 <= run.worst <= run.margin
        assert run.study.holds
        assert run.tells in run.left
    angles = [run.roll_angle for run in found.runs]
    speeds = [run.speed for run in found.runs]
    assert angles == sorted(angles)
    assert speeds == sorted(speeds)
    assert np.degrees(angles[-1]) == pytest.approx(45.0)
    shares = np.array([list(run.left.values()) for run in found.runs])
    assert (np.diff(shares, axis=0) <= 1e-12).all()  # nothing is forgotten
    again = programme(short(bore), RouteOptions(speed=40.0), done.append, store)
    assert [run.worst for run in again.runs] == [
        run.worst for run in found.runs
    ]
    assert (tmp_path / "kept").exists()
