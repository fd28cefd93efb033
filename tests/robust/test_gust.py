"""Gusts and wind steps: stood below and not above, random gusts, mirrors, and cases without a ride."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from setupopt.evaluation.cases import CaseSet, sweep_cases
from setupopt.physics.ride_run import STOOD
from setupopt.project import Project
from setupopt.project.model import Attitude
from setupopt.robust.gust import (
    LONGEST,
    SHORTEST,
    GustLimit,
    GustRides,
    GustSearch,
)

LEFT, BEHIND = 4, 8  # of 16 directions


@pytest.fixture(scope="module")
def cases(bore: Project) -> CaseSet:
    """Straight and turned up, near the worst angle."""
    few = tuple(bore.venue.attitudes[number] for number in (0, 1))
    return sweep_cases(replace(bore.venue, attitudes=few), np.radians([150.0]))


@pytest.fixture(scope="module")
def search(bore: Project, cases: CaseSet) -> GustSearch:
    """With a floor of zero."""
    return GustSearch(GustRides(bore, bore.setup, cases))


@pytest.fixture(scope="module")
def limit(search: GustSearch) -> GustLimit:
    """From two directions."""
    return search.limit([search(direction) for direction in (LEFT, BEHIND)])


def test_stood_at_the_limit_and_not_beyond(
    search: GustSearch, limit: GustLimit
) -> None:
    """The case that falls first stands the gust told, and not one a tenth stronger."""
    for found in limit.found:
        row, direction, length = (
            int(found["case"]),
            float(found["direction"]),
            float(found["length"]),
        )
        speed = float(found["speed"])
        assert search.rides.ends(row, direction, length, speed) == STOOD
        assert search.rides.ends(row, direction, length, 1.1 * speed) != STOOD
    assert limit.worst == int(limit.found["speed"].argmin())


def test_random_gusts_are_not_worse(
    search: GustSearch, limit: GustLimit
) -> None:
    """No random case and length at 90 % of the speed told."""
    rng = np.random.default_rng(2)
    for found in limit.found:
        for _ in range(8):
            length = float(
                np.exp(
                    rng.uniform(np.log(SHORTEST), np.log(min(LONGEST, 100.0)))
                )
            )
            peak = 0.9 * float(found["speed"])
            direction = float(found["direction"])
            row = int(rng.integers(2))
            assert search.rides.ends(row, direction, length, peak) == STOOD


def test_wind_step_is_stood_and_more_is_not(
    search: GustSearch, limit: GustLimit
) -> None:
    """In the case and from the direction that it tells."""
    for found in limit.found:
        ends = partial(
            search.rides.step_ends, int(found["case"]), float(found["direction"])
        )  # fmt: skip
        assert ends(float(found["step"])) == STOOD
        assert ends(1.15 * float(found["step"])) != STOOD


def test_lost_case_stands_nothing(bore: Project) -> None:
    """A case that loses contact in calm air is the one that falls first."""
    slow = replace(bore.venue, sweep=replace(bore.venue.sweep, speed=20.0))
    lost = sweep_cases(slow, np.radians([0.0, 180.0])).pick([0, 1])
    found = GustSearch(GustRides(bore, bore.setup, lost))(LEFT)[0]
    assert (found["speed"], found["case"]) == (0.0, 1)


def test_every_gust_is_stood_where_air_does_nothing(bore: Project) -> None:
    """A car without air loads on the level stands a storm: infinite, no case, no length."""
    air = replace(bore.car.air, elements=(), drag_area=0.0, side_area=0.0)
    calm = replace(
        bore,
        car=replace(bore.car, air=air),
        venue=replace(bore.venue, section="flat", curvature=0.0),
    )
    level = sweep_cases(calm.venue, np.array([0.0])).pick([0])
    found = GustSearch(GustRides(calm, bore.setup, level))(LEFT)[0]
    assert np.isinf(found["speed"])
    assert found["case"] == -1
    assert np.isnan(found["length"])


def test_mirrored_gust(bore: Project) -> None:
    """From the left, turned up at +70 deg; from the right, turned down at -70 deg: the same drift."""
    calm = partial(Attitude, acceleration=0.0, path_curvature=0.0, turn_radius=None, headwind=1.0,
                   bump=(0.0,) * 4, speed=None, yaw_acceleration=0.0)  # fmt: skip
    drifts = []
    for side in (1.0, -1.0):
        attitude = calm("turned", heading=0.1 * side, crosswind=2.0 * side)
        place = replace(bore.venue, attitudes=(attitude,))
        rides = GustRides(
            bore, bore.setup, sweep_cases(place, np.radians([70.0 * side]))
        )
        drifts.append(
            float(rides.through(0, side * 1.1, 4.0, 12.0)["drift"][0])
        )
    assert drifts[0] > 1e-3
    assert drifts[0] == pytest.approx(drifts[1], rel=1e-6)
