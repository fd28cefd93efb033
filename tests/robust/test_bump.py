"""Bump allowance: the obstacle's shape, the search against random obstacles, its edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.physics.obstacle import obstacle_height
from setupopt.project import Project
from setupopt.robust.bump import TRACKS, BumpAllowance, BumpRides, BumpSearch


@pytest.fixture(scope="module")
def rides(bore: Project) -> BumpRides:
    """Turned across near the worst angle: no two wheels are loaded alike."""
    return BumpRides(bore, bore.setup, sweep_cases(bore.venue, np.radians([150.0])).pick([1]))


@pytest.fixture(scope="module")
def allowance(bore: Project, rides: BumpRides) -> BumpAllowance:
    """With a floor of zero."""
    return found(bore, rides.cases)


def found(project: Project, cases: CaseSet, floor: float = 0.0) -> BumpAllowance:
    """The whole search, chunk after chunk."""
    search = BumpSearch(project, project.setup, cases, floor)
    return search.allowance(map(search, search.jobs()))


@pytest.mark.parametrize("patch", [0.0, 0.05, 0.3, 2.0])
@pytest.mark.parametrize("s", [-0.2, 0.01, 0.4, 0.99, 1.3])
def test_tread_averages_the_obstacle(s: float, patch: float) -> None:
    """The mean of (H/2)(1 - cos) over the patch, by quadrature; to a nanometre."""

    def bare(at: float) -> float:
        return 0.005 * (1 - np.cos(2 * np.pi * at)) if 0.0 < at < 1.0 else 0.0

    if patch == 0.0:
        expected = bare(s)
    else:
        ends = (s - patch / 2, s + patch / 2)
        expected = quad(bare, *ends, points=[0.0, 1.0], limit=200)[0] / patch
    assert obstacle_height(s, 0.01, 1.0, patch) == pytest.approx(expected, abs=1e-9)


def test_allowed_is_ridden_over_and_a_little_more_is_not(rides: BumpRides, allowance: BumpAllowance) -> None:
    """The margin stays at the floor over the height told, and falls through it 2 % higher."""
    for row in range(len(rides.cases)):
        worst = float(allowance.height[row]), float(allowance.length[row]), int(allowance.track[row])
        assert rides.trace(row, *worst)[:, 1].min() >= 0.0
        higher = 1.02 * worst[0] + 2e-4
        assert rides.trace(row, higher, *worst[1:])[:, 1].min() < 0.0


def test_random_obstacles_are_not_worse(rides: BumpRides, allowance: BumpAllowance) -> None:
    """No random length and track breaks the floor at 98 % of the height told."""
    rng = np.random.default_rng(4)
    for row in range(len(rides.cases)):
        for _ in range(25):
            length, track = float(np.exp(rng.uniform(np.log(0.25), np.log(8.0)))), int(rng.integers(3))
            height = 0.98 * float(allowance.height[row])
            assert rides.trace(row, height, length, track)[:, 1].min() >= 0.0


def test_higher_floor_allows_less(bore: Project, allowance: BumpAllowance) -> None:
    """What is asked for costs bump height."""
    stricter = found(bore, allowance.cases, 0.1)
    assert (stricter.height < allowance.height).all()


def test_under_the_floor_nothing_is_allowed(bore: Project, rides: BumpRides) -> None:
    """A margin that is under the floor on a smooth road leaves no bump at all."""
    assert found(bore, rides.cases, 0.99).height.max() < 1e-4


def test_lost_case_stands_nothing(bore: Project) -> None:
    """A case that loses contact gets no number, and is the worst."""
    slow = replace(bore.venue, sweep=replace(bore.venue.sweep, speed=20.0))
    cases: CaseSet = sweep_cases(slow, np.radians([0.0, 180.0])).pick([0, 1])
    allowed = found(bore, cases)
    assert np.isnan(allowed.height[1])
    assert allowed.height[0] > 0.0
    assert allowed.worst == 1


def test_mirrored_case_allows_the_same(rides: BumpRides, bore: Project) -> None:
    """Turned up at +60 deg and down at -60 deg are mirror images: same height, other track."""
    up = sweep_cases(bore.venue, np.radians([60.0])).pick([1])
    down = sweep_cases(bore.venue, np.radians([-60.0])).pick([2])
    heights = []
    for case in (up, down):
        ride = BumpRides(bore, bore.setup, case)
        heights.append([ride.least(0, np.array([0.8]), 0.0)[0]])
    assert heights[0] == pytest.approx(heights[1], abs=1e-4)
    assert len(TRACKS) == 3
