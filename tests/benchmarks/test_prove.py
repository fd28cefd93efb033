"""Rides in time against another integrator, the bump allowance against random bumps, the whole command."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
from conftest import SETUPS
from scipy.integrate import solve_ivp
from setupopt.physics.place import prepare

from setupopt.evaluation.cases import sweep_cases
from setupopt.jobs.chunk_ranges import ChunkRange
from setupopt.physics.contacts import put_road
from setupopt.physics.ride import accelerations
from setupopt.physics.ride_time import step
from setupopt.project import Project
from setupopt.robust.bump import BumpRides, BumpSearch
from setupopt.robust.road.spectrum import CLASSES, Road
from setupopt.robust.road.time_domain_road import STEP, DrawnRoads, RideSums, RoadRides, ride_length

_ROAD = Road(CLASSES["A"].mean)


def _rides(bore: Project, seeds: int, seconds: float) -> RoadRides:
    case = sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    roads = DrawnRoads(_ROAD, bore.car.front.track, ride_length(50.0, seconds), seeds)
    return RoadRides(bore, bore.setup, case, roads, seconds)


def _kernel_rate(bore: Project) -> float:
    """Run-seconds a second on one core, reading off margins included."""
    rides = _rides(bore, 6, 10.0)
    rides(ChunkRange(0, 1))
    start, sums = time.perf_counter(), RideSums()
    sums.add(rides(ChunkRange(1, 5)))
    return sums.seconds / (time.perf_counter() - start)


class _Motion:
    """Half a second of a ride: by the product's own step, and as equations for scipy. Both compiled."""

    def __init__(self, bore: Project) -> None:
        rides = _rides(bore, 1, 2.0)
        road = rides._heights(ChunkRange(0, 1))[0][3000:4001]
        self.model, self.road = rides.model, road - road[0]
        self.rates, self.out = np.diff(self.road, axis=0) / STEP, np.zeros(7)
        (bodies, self.elements, _), (places, self.flow, works) = self.model.packed, self.model.scratch()
        self.body, self.place, self.work = bodies[0], places[0], works[0]
        self.setup, self.damping = self.model.settings[0], self.model.damping[0]
        case = self.model.cases.records[0]
        prepare(self.body, self.elements, self.setup, case, self.place, self.flow)

    def stepped(self, parts: int) -> np.ndarray:
        """States every 10 ms, each step cut into so many."""
        x, v, scratch, seen = self.model.trim(0).copy(), np.zeros(7), np.zeros((7, 7)), []
        cuts = np.linspace(0.0, 1.0, parts + 1)
        for i, (before, after) in enumerate(pairwise(self.road)):
            points = before + cuts[:, None] * (after - before)
            for start, end in pairwise(points):
                step(
                    self.body, self.elements, self.setup, self.damping, self.place, self.flow, start, end,
                    STEP / parts, x, v, self.work, scratch,
                )  # fmt: skip
            if (i + 1) % 20 == 0:
                seen.append(x.copy())
        return np.array(seen)

    def derivative(self, t: float, y: np.ndarray) -> np.ndarray:
        i = min(int(t / STEP), len(self.rates) - 1)
        before, after = self.road[i], self.road[i + 1]
        put_road(self.body, self.elements, before, after, t / STEP - i, self.place, self.flow)
        accelerations(
            self.body, self.elements, self.setup, self.damping, self.place, self.flow, y[:7].copy(),
            y[7:].copy(), self.rates[i], self.work, self.out,
        )  # fmt: skip
        return np.concatenate([y[7:], self.out])

    def solved(self, method: str, rtol: float) -> tuple[np.ndarray, float]:
        """The same states by solve_ivp, and its run-seconds a second."""
        rest = np.concatenate([self.model.trim(0), np.zeros(7)])
        times = 20 * STEP * np.arange(1, 51)
        start = time.perf_counter()
        found = solve_ivp(
            self.derivative, (0.0, 0.5 + 1e-9), rest, method, times, max_step=STEP, rtol=rtol, atol=rtol / 1e3
        )
        return found.y[:7].T, 0.5 / (time.perf_counter() - start)


def test_rides_against_another_integrator(bore: Project) -> None:
    """At least 100 times scipy's solve_ivp on the same compiled equations where that is no less exact, on one
    core each; what it does at its default tolerances is told as well."""
    motion, kernel = _Motion(bore), _kernel_rate(bore)
    exact = motion.stepped(8)
    own = np.abs(motion.stepped(1) - exact).max()
    print(f"\nown step: {kernel:.0f} run-seconds a second and core, off by {own:.1e} m")
    best = 0.0
    for method, rtol in (("RK45", 1e-3), ("RK45", 1e-7), ("DOP853", 1e-6), ("LSODA", 1e-5), ("LSODA", 1e-6)):
        states, rate = motion.solved(method, rtol)
        error = np.abs(states - exact).max()
        print(f"{method} {rtol:.0e}: {rate:.2f}, off by {error:.1e} m; ratio {kernel / rate:.0f}")
        best = max(best, rate if error <= own else 0.0)
    assert kernel / best >= 100.0


def test_ten_thousand_run_seconds_in_one_command(tmp_path: Path) -> None:
    """500 seeds of 20 s in one case, with everything else that the command does."""
    folder = tmp_path / "bore"  # a copy: the command keeps its answer in the project
    shutil.copytree(SETUPS / "bore", folder)
    command = [
        sys.executable,
        "-c",
        "from setupopt.cli.main import main; main()",
        "prove",
        str(folder),
    ]
    asked = ["--seeds", "500", "--seconds", "20", "--ride-cases", "1", "--json", "--quiet"]
    start = time.perf_counter()
    done = subprocess.run(
        [*command, *asked], capture_output=True, text=True, check=False,
        env=os.environ | {"XDG_CACHE_HOME": str(tmp_path), "NUMBA_CACHE_DIR": str(Path.home() / ".cache")},
    )  # fmt: skip
    ride = json.loads(done.stdout)["road"]["rides"][0]
    print(f"\n{ride['seconds']:.0f} run-seconds in a command of {time.perf_counter() - start:.0f} s")
    assert ride["seconds"] + 20.0 * ride["lost"] >= 9_990.0


def test_random_obstacles_never_beat_the_allowance(bore: Project) -> None:
    """2,000 random lengths, tracks, cases and heights up to the one told: the margin keeps its floor."""
    cases = sweep_cases(bore.venue, np.radians(np.arange(0.0, 181.0, 30.0)))
    search, rng = BumpSearch(bore, bore.setup, cases), np.random.default_rng(11)
    allowed = search.allowance(map(search, search.jobs()))
    rides, least = BumpRides(bore, bore.setup, cases), np.inf
    start = time.perf_counter()
    for trial in range(2000):
        row, track = int(rng.integers(len(cases))), int(rng.integers(3))
        length = float(np.exp(rng.uniform(np.log(0.25), np.log(8.0))))
        share = 1.0 if trial % 2 else float(rng.uniform())
        trace = rides.trace(row, share * float(allowed.height[row]), length, track)
        least = min(least, float(trace[:, 1].min()))
    print(
        f"\n2000 random obstacles in {time.perf_counter() - start:.0f} s: least margin {least:.4f}, floor 0"
    )
    assert least >= 0.0
