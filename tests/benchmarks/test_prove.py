"""Rides in time: run-seconds a second, and the bumps that are stood against random bumps."""

from __future__ import annotations

import time

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.jobs.chunk_ranges import ChunkRange
from setupopt.physics.ride_run import STOOD
from setupopt.project import Project
from setupopt.robust.bump import BumpRides, BumpSearch
from setupopt.robust.obstacle import Obstacle
from setupopt.robust.ride_model import RideModel
from setupopt.robust.road.spectrum import CLASSES, Road
from setupopt.robust.road.time_domain_road import (
    DrawnRoads,
    RideSums,
    RoadRides,
    ride_length,
)


def test_run_seconds_a_second(bore: Project) -> None:
    """At least 60 run-seconds a second of one core, reading off margins included."""
    case = sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    roads = DrawnRoads(
        Road(CLASSES["A"].mean),
        bore.car.front.track,
        ride_length(54.0, 10.0),
        6,
    )
    rides = RoadRides(RideModel(bore, bore.setup, case), roads, 10.0)
    rides(ChunkRange(0, 1))
    start, sums = time.process_time(), RideSums(step=rides.model.step)
    sums.add(rides(ChunkRange(1, 5)))
    rate = sums.seconds / (time.process_time() - start)
    print(
        f"\n{rate:.0f} run-seconds a second and core, {1e3 * rides.model.step:.2f} ms a step"
    )
    assert rate >= 60.0


def test_random_obstacles_never_beat_the_allowance(bore: Project) -> None:
    """2,000 random lengths, tracks, cases and heights up to the one told: all are stood."""
    cases = sweep_cases(bore.venue, np.radians(np.arange(0.0, 181.0, 30.0)))
    search, rng = (
        BumpSearch(BumpRides(bore, bore.setup, cases)),
        np.random.default_rng(11),
    )
    allowed = search.allowance(map(search, search.jobs()))
    start, fallen = time.perf_counter(), 0
    held = np.flatnonzero(allowed.height > 0.0)
    for trial in range(2000):
        row, track = int(rng.choice(held)), int(rng.integers(3))
        length = float(np.exp(rng.uniform(np.log(0.25), np.log(8.0))))
        share = 1.0 if trial % 2 else float(rng.uniform())
        ride = search.rides.cross(
            row, Obstacle(share * float(allowed.height[row]), length, track)
        )
        fallen += int(ride["reason"][0] != STOOD)
        if ride["reason"][0] != STOOD:
            print(
                row,
                length,
                track,
                share,
                float(allowed.height[row]),
                allowed.length[row],
                allowed.track[row],
            )
    print(
        f"\n2000 random obstacles in {time.perf_counter() - start:.0f} s: {fallen} not stood"
    )
    assert fallen == 0
