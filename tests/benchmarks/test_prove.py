"""Rides in time against another integrator, the bump allowance against random bumps, the whole command."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from conftest import SETUPS
from scipy.integrate import solve_ivp

from setupopt.cases import sweep_cases
from setupopt.physics.contacts import put_road
from setupopt.physics.place import prepare
from setupopt.physics.ride import accelerations
from setupopt.project import Project
from setupopt.robust.bump import BumpRides, BumpSearch
from setupopt.robust.road import CLASSES, Road
from setupopt.robust.road_rides import STEP, DrawnRoads, RideSums, RoadRides, ride_length
from setupopt.robust.spans import Span

_ROAD = Road(CLASSES["A"].mean)


def _rides(bore: Project, seeds: int, seconds: float) -> RoadRides:
    case = sweep_cases(bore.venue, np.radians([60.0])).pick([0])
    roads = DrawnRoads(_ROAD, bore.car.front.track, ride_length(50.0, seconds), seeds)
    return RoadRides(bore, bore.setup, case, roads, seconds)


def _kernel_rate(bore: Project) -> float:
    """Run-seconds a second on one core, reading off margins included."""
    rides = _rides(bore, 6, 10.0)
    rides(Span(0, 1))
    start, sums = time.perf_counter(), RideSums()
    sums.add(rides(Span(1, 5)))
    return sums.seconds / (time.perf_counter() - start)


def _solve_ivp_rate(bore: Project, seconds: float) -> float:
    """The same accelerations, compiled, through scipy's Runge-Kutta pair at steps of 0.5 ms at most."""
    rides = _rides(bore, 1, seconds)
    model, road = rides.model, rides._heights(Span(0, 1))[0]
    (bodies, elements, _), (places, flow, works) = model.model.packed, model.scratch()
    body, setup, damping, place, work = bodies[0], model.settings[0], model.damping[0], places[0], works[0]
    prepare(body, elements, setup, model.cases.records[0], place, flow)
    rates, out = np.diff(road, axis=0) / STEP, np.zeros(7)

    def derivative(t: float, y: np.ndarray) -> np.ndarray:
        i = min(int(t / STEP), len(rates) - 1)
        put_road(body, elements, road[i], road[i + 1], t / STEP - i, place, flow)
        accelerations(
            body, elements, setup, damping, place, flow, y[:7].copy(), y[7:].copy(), rates[i], work, out
        )
        return np.concatenate([y[7:], out])

    rest = np.concatenate([model.trim(0), np.zeros(7)])
    derivative(0.0, rest)
    start = time.perf_counter()
    solve_ivp(derivative, (0.0, seconds), rest, method="RK45", max_step=STEP)
    return seconds / (time.perf_counter() - start)


def test_rides_against_another_integrator(bore: Project) -> None:
    """At least 100 times scipy's solve_ivp on the same compiled equations, one core each."""
    kernel, other = _kernel_rate(bore), _solve_ivp_rate(bore, 0.5)
    print(f"\nrun-seconds a second and core: {kernel:.0f}; solve_ivp {other:.2f}; ratio {kernel / other:.0f}")
    assert kernel / other >= 100.0


def test_ten_thousand_run_seconds_in_one_command(tmp_path: Path) -> None:
    """500 seeds of 20 s in one case, with everything else that the command does."""
    command = [
        sys.executable,
        "-c",
        "from setupopt.cli.main import main; main()",
        "prove",
        str(SETUPS / "bore"),
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
