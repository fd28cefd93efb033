"""The batch evaluation against plain loops over the same cases, and how it grows with their number."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
import tomllib

import numpy as np
import plain_slip_model
from conftest import SETUPS
from scipy.optimize import root
from setupopt.physics.place import FLOW, PLACE, prepare

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.physics.balance import WORK, balance
from setupopt.physics.inputs import STRIPS
from setupopt.project import Project

_GROWTH = """
import resource, sys, time
import numpy as np
import setupopt
from setupopt.evaluation.cases import sweep_cases
project = setupopt.load(sys.argv[1])
count = int(sys.argv[2])
attitudes = len(project.venue.attitudes)
def cases(n): return sweep_cases(project.venue, np.linspace(0.0, np.pi, -(-n // attitudes)))
setupopt.evaluate(project, cases=cases(100))
batch = cases(count)
start = time.perf_counter()
setupopt.evaluate(project, cases=batch)
print(len(batch), time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def _batch_seconds(project: Project, count: int) -> float:
    """Wall time of one case, warm."""
    model = Model(project.car)
    settings = model.settings(project.setup)
    cases = sweep_cases(project.venue, np.linspace(0.0, np.pi, count // len(project.venue.attitudes)))
    model.run(settings, cases)
    start = time.perf_counter()
    model.run(settings, cases)
    return (time.perf_counter() - start) / len(cases)


def _reference_seconds(project: Project, count: int) -> float:
    """The plain scalar model of the tests: adaptive quadrature and scipy's root, case by case."""
    car, venue, setup = (
        tomllib.loads((SETUPS / "bore" / f"{name}.toml").read_text()) for name in ("car", "venue", "setup")
    )
    attitudes = venue["attitude"]
    angles = np.linspace(0.0, 180.0, count)
    start = time.perf_counter()
    for i, angle in enumerate(angles):
        case = {
            "speed_m_s": project.venue.sweep.speed,
            **attitudes[i % len(attitudes)],
            "roll_angle_deg": angle,
        }
        plain_slip_model.solve_slip_case(car, venue, setup, case)
    return (time.perf_counter() - start) / count


def _root_seconds(project: Project, count: int) -> float:
    """scipy's root on the compiled balance, case by case: what compiling the forces alone would give."""
    model = Model(project.car)
    cars, elements, _ = model.packed
    setup = model.settings(project.setup)[0]
    cases = sweep_cases(project.venue).records[:count]
    place, flow, work = np.zeros(1, PLACE)[0], np.zeros(elements.size * STRIPS, FLOW), np.zeros(1, WORK)[0]
    scale = project.car.mass * 9.80665

    def residual(x: np.ndarray) -> np.ndarray:
        balance(cars[0], elements, setup, place, flow, x, work)
        return work.residual.copy() / scale

    prepare(cars[0], elements, setup, cases[0], place, flow)
    residual(np.zeros(7))
    start = time.perf_counter()
    for case in cases:
        prepare(cars[0], elements, setup, case, place, flow)
        root(residual, np.zeros(7), tol=1e-10)
    return (time.perf_counter() - start) / len(cases)


def test_batch_against_plain_loops(bore: Project) -> None:
    """At least 500 times the plain scalar loop; under 8 microseconds per case and core."""
    cores = len(os.sched_getaffinity(0))
    batch, reference, rooted = (
        _batch_seconds(bore, 210_000),
        _reference_seconds(bore, 40),
        _root_seconds(bore, 200),
    )
    print(
        f"\nbatch, {cores} cores: {batch * 1e6:.2f} us a case, {batch * cores * 1e6:.2f} us a case and core"
    )
    print(f"plain scalar loop (quadrature, root): {reference * 1e6:.0f} us a case, x {reference / batch:.0f}")
    print(f"scipy root on the compiled forces: {rooted * 1e6:.0f} us a case, x {rooted / batch:.0f}")
    assert reference / batch > 500
    assert batch * cores < 8e-6


def test_growth_from_a_hundred_to_a_million_cases() -> None:
    """Time grows with the number of cases and no faster; a million cases stay under 2 GB."""
    print("\n   cases   seconds  us a case  peak MB")
    rows = []
    for count in (100, 1_000, 10_000, 100_000, 1_000_000):
        command = [sys.executable, "-c", _GROWTH, str(SETUPS / "bore"), str(count)]
        answer = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
        solved, seconds, peak = int(answer[0]), float(answer[1]), float(answer[2])
        rows.append((solved, seconds, peak))
        print(f"{solved:8d}  {seconds:8.4f}  {seconds / solved * 1e6:9.2f}  {peak:7.0f}")
    per_case = [seconds / solved for solved, seconds, _ in rows]
    assert per_case[-1] < 1.5 * per_case[-2]
    assert rows[-1][2] < 2048


def test_help_starts_like_numpy() -> None:
    """`--help` waits for no compiler and no solver: about as long as a bare `import numpy`."""

    def seconds(command: list[str]) -> float:
        spent = []
        for _ in range(7):
            start = time.perf_counter()
            subprocess.run(command, capture_output=True, check=True)
            spent.append(time.perf_counter() - start)
        return min(spent)

    tool = str(SETUPS.parent / ".venv" / "bin" / "setupopt")
    if not os.path.exists(tool):  # noqa: PTH110 - a path for the shell
        tool = os.path.join(os.path.dirname(sys.executable), "setupopt")  # noqa: PTH118, PTH120
    asked, numpy = seconds([tool, "--help"]), seconds([sys.executable, "-c", "import numpy"])
    print(f"\n--help {asked * 1e3:.0f} ms, import numpy {numpy * 1e3:.0f} ms, ratio {asked / numpy:.2f}")
    print(f"peak memory of this run {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    assert asked < 1.5 * numpy
