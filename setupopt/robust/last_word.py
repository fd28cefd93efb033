"""Rides as the last word on what a setup stands, at a few places where the linear answer leaves least."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from setupopt.physics.ride_run import STOOD
from setupopt.robust.bisection import bisect
from setupopt.robust.bump import BumpRides
from setupopt.robust.gust import GustRides
from setupopt.robust.linear_stood import VARIANTS
from setupopt.robust.road.spectrum import Road
from setupopt.robust.road.time_domain_road import (
    DrawnRoads,
    RoadRides,
    ride_length,
)

SECONDS = 10.0  # of a run on the road
RUNS = 12
# Looked for up to so many times what is asked.
_MOST = 2.0
_HALVINGS = 5


def ridden(rides: BumpRides, kind: str, asked: float) -> float:
    """What is stood in the worst of the cases of `rides`, SI, up to twice what is asked; of the road, the share of runs
    of SECONDS on it that are not stood, in the first of the cases.

    0, or 1 on the road, where a case has no trim or no driver. Raises InputError where an entry is missing.
    """
    if kind == "road":
        return _failing(rides.pick([0]))
    model = GustRides.about(rides) if kind == "gust" else rides
    least = _MOST * asked
    for row in range(len(rides.cases)):
        if not model.is_driven(row):
            return 0.0
        for variant in VARIANTS[kind]:
            stands = partial(_STANDS[type(model)], model, row, variant)
            if not stands(least):
                least = float(bisect(stands, 0.0, least, _HALVINGS)[0])
    return least


def _stands_obstacle(
    model: BumpRides, row: int, obstacle: Any, height: float
) -> bool:
    high = float(np.copysign(height, obstacle.height))
    return bool(
        model.cross(row, obstacle._replace(height=high))["reason"][0] == STOOD
    )


def _stands_gust(
    model: GustRides, row: int, gust: tuple[float, float], peak: float
) -> bool:
    passing, direction = gust
    length = passing * model.speed(row)
    return model.ends(row, direction, length, float(peak)) == STOOD


_STANDS: dict[type, Callable[..., bool]] = {
    BumpRides: _stands_obstacle,
    GustRides: _stands_gust,
}


def _failing(model: BumpRides) -> float:
    """Share of runs on the venue's road that are not stood."""
    project = model.project
    length = ride_length(model.speed(0), SECONDS)
    roads = DrawnRoads(
        Road(project.venue.roughness or 0.0),
        project.car.front.track,
        length,
        RUNS,
    )
    rides = RoadRides(model, roads, SECONDS)
    if not model.is_driven():
        return 1.0
    return float(
        np.mean(
            [
                one["reason"] != STOOD
                for job in rides.jobs()
                for one in rides(job)
            ]
        )
    )
