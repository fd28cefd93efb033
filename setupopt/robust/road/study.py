"""A car on a random or measured road: the linear answer in every case, and rides in time of the likeliest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from setupopt.evaluation.cases import CaseSet
from setupopt.jobs.chunk_ranges import Chunks, chunk_ranges
from setupopt.physics.inputs import Records
from setupopt.project.model import Project
from setupopt.robust.likely_rides import LikelyRides
from setupopt.robust.road.linear_road_response import LinearRoad
from setupopt.robust.road.spectrum import Road, Tracks
from setupopt.robust.road.time_domain_road import (
    DrawnRoads,
    MeasuredRoads,
    RideSums,
    RoadRides,
    Roads,
    profile_seconds,
    ride_length,
)

_LINEAR_CHUNK = 32  # cases


@dataclass(frozen=True)
class RoadPlan:
    """The road, the measured profile that it was fitted to if it was, and how much to ride on it.

    `seconds` of a run; `seeds` random roads for each of `ride_cases` cases, from `seed` on.
    """

    road: Road
    profile: Tracks | None
    seconds: float
    seeds: int
    ride_cases: int
    seed: int
    floor: float

    def roads(self, project: Project, speed: float) -> Roads:
        """Roads for rides at a speed."""
        if self.profile is not None:
            return MeasuredRoads(self.profile)
        length = ride_length(speed, self.seconds)
        return DrawnRoads(
            self.road, project.car.front.track, length, self.seeds, self.seed
        )

    def ride_seconds(self, speed: float) -> float:
        """Seconds of a ride that count; a measured profile may be over sooner."""
        if self.profile is None:
            return self.seconds
        return min(self.seconds, profile_seconds(self.profile, speed))


class Ridden(NamedTuple):
    """Rides of one case, `row` of the sweep."""

    row: int
    sums: RideSums


@dataclass(frozen=True)
class RoadStudy:
    """LINEAR records (cases), and rides of the cases likeliest to go under the floor."""

    plan: RoadPlan
    linear: Records
    ridden: tuple[Ridden, ...]


def study_road(
    rides: LikelyRides,
    plan: RoadPlan,
    chunks: Chunks,
    first: int | None = None,
) -> RoadStudy | None:
    """The setup of `rides` on a road; None where there is no ride about any case.

    `first`: a case that is ridden whatever the linear answer says of it, if it has a ride.
    """
    cases = rides.cases
    do = LinearRoad(rides, plan.road, plan.seconds, plan.floor)
    jobs = [
        list(span.items) for span in chunk_ranges(len(cases), _LINEAR_CHUNK)
    ]
    linear = np.concatenate(
        list(chunks("linear", "rough road, all cases", do, jobs))
    )
    if np.isnan(linear["margin"]).all():
        return None
    rows = ride_rows(cases, linear, plan)
    if first is not None and not np.isnan(linear["margin"][first]):
        rows = list(dict.fromkeys([first, *rows]))[: plan.ride_cases]
    return RoadStudy(
        plan,
        linear,
        tuple(_ride(rides, row, plan, chunks) for row in rows),
    )


def risk_order(linear: Records, floor: float) -> np.ndarray:
    """Rows of the cases with a ride, the likeliest to go under the floor first."""
    held = np.flatnonzero(~np.isnan(linear["margin"]))
    reserve = (linear["margin"] - floor) / linear["sigma_use"].max(axis=1)
    return held[np.lexsort((reserve[held], -linear["chance"][held]))]


def ride_rows(cases: CaseSet, linear: Records, plan: RoadPlan) -> list[int]:
    """The cases to ride in time: the likeliest of each attitude, the likeliest attitudes first."""
    first: dict[str, int] = {}
    for row in risk_order(linear, plan.floor):
        first.setdefault(cases.attitude[row], int(row))
    return list(first.values())[: plan.ride_cases]


def _ride(
    known: LikelyRides, row: int, plan: RoadPlan, chunks: Chunks
) -> Ridden:
    """Rides of one case, summed up."""
    speed = known.speed(row)
    roads, seconds = plan.roads(known.project, speed), plan.ride_seconds(speed)
    rides = RoadRides(known.pick([row]), roads, seconds, plan.floor)
    sums = RideSums(plan.floor, rides.model.step)
    for part in chunks(
        f"rides-{row}", f"rides, case {row + 1}", rides, rides.jobs()
    ):
        sums.add(part)
    return Ridden(row, sums)
