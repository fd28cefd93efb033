"""The batch evaluation against plain loops over the same cases, and how it grows with their number."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import plain_slip_model
from conftest import SETUPS

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.physics import trim
from setupopt.physics.balance import WORK
from setupopt.physics.case_state import CASE_STATE, ROADBED, prepare
from setupopt.physics.inputs import CASE, Records
from setupopt.physics.jit import kernel
from setupopt.project import Project

GROWTH = """
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


@kernel
def _trims(
    cars: Records, elements: Records, setups: Records, cases: Records, starts: Records, nearby: bool,
    parts: Records, states: Records, road: Records, works: Records,
) -> int:  # fmt: skip
    """Trim of every case, without its margin; how many were found."""
    found = 0
    x = works[0].x
    for i in range(cases.size):
        prepare(cars[0], cases[i], 0.0, states[0])
        if nearby:
            held, _ = trim.find_trim_nearby(
                cars[0],
                elements,
                setups[0],
                cases[i],
                states[0],
                road,
                starts[i],
                x,
                works[0],
            )
        else:
            held, _ = trim.find_trim(
                cars[0],
                elements,
                setups[0],
                cases[i],
                parts[0],
                states[0],
                road,
                x,
                works[0],
            )
        found += 1 if held else 0
    return found


def _seconds(task: Callable[[], object]) -> float:
    """Processor time, warm: the least of three. Others may use the machine."""
    task()
    spent = []
    for _ in range(3):
        start = time.process_time()
        task()
        spent.append(time.process_time() - start)
    return min(spent)


def batch_seconds(project: Project, count: int) -> dict[str, float]:
    """Seconds a case on one core: trim and margin, from nothing and from the answers of a setup nearby.

    Nearby: 0.2 deg of camber and 5 % of spring away, as a step of a search is.
    """
    model = Model(project.car)
    axle = project.setup.front
    moved = replace(
        axle, camber=axle.camber + np.radians(0.2), spring=1.05 * axle.spring
    )
    settings = model.settings(
        [project.setup, replace(project.setup, front=moved)]
    )
    cases = sweep_cases(
        project.venue,
        np.linspace(0.0, np.pi, count // len(project.venue.attitudes)),
    )
    near = model.run(settings[:1], cases).answers[0]
    held = near["contact"] & ~near["slides"]
    cars, elements, _ = model.packed_for(settings[0])
    records, starts = (
        np.ascontiguousarray(cases.records[held]),
        np.ascontiguousarray(near[held]),
    )
    room = (
        np.zeros(1, CASE),
        np.zeros(1, CASE_STATE),
        np.zeros(elements.size, ROADBED),
        np.zeros(1, WORK),
    )
    kept = cases.pick(list(np.flatnonzero(held)))
    return {
        "trim": _seconds(
            lambda: _trims(
                cars, elements, settings[1:], records, starts, False, *room
            )
        ),
        "trim nearby": _seconds(
            lambda: _trims(
                cars, elements, settings[1:], records, starts, True, *room
            )
        ),
        "margin": _seconds(lambda: model.run(settings[1:], kept)),
        "margin nearby": _seconds(
            lambda: model.run(settings[1:], kept, starts=starts)
        ),
        "margin of a search": _seconds(
            lambda: model.run(settings[1:], kept, starts=starts, quick=True)
        ),
        "margin by slope": _seconds(
            lambda: model.run(settings[1:], kept, starts=starts, by_slope=True)
        ),
    } | {"cases": float(held.sum())}


def reference_seconds(project: Project, angles_deg: tuple[float, ...]) -> float:
    """The plain scalar model of the tests: adaptive quadrature and plain Newton, case by case."""
    car, venue, setup = (
        tomllib.loads((SETUPS / "bore" / f"{name}.toml").read_text())
        for name in ("car", "venue", "setup")
    )
    start = time.process_time()
    for angle in angles_deg:
        case = {"speed_m_s": project.venue.sweep.speed, "roll_angle_deg": angle}
        plain_slip_model.solve_slip_case(car, venue, setup, case)
    return (time.process_time() - start) / len(angles_deg)


def test_batch_against_plain_loops(bore: Project, one_thread: None) -> None:
    """Trims and margins on one core; the margin at least 500 times as fast as the plain scalar loop."""
    spent = batch_seconds(bore, 2100)
    cases = spent.pop("cases")
    print(f"\n{cases:.0f} cases of the bore that hold, one core, us a case")
    for name, seconds in spent.items():
        print(f"{name:>16}: {seconds / cases * 1e6:7.1f}")
    reference = reference_seconds(bore, (30.0, 90.0))
    times = reference / (spent["margin"] / cases)
    print(
        f"plain scalar loop, margin: {reference * 1e6:.0f} us a case, x {times:.0f}"
    )
    assert times > 500


def test_growth_from_a_hundred_to_thirty_thousand_cases() -> None:
    """Time grows with the number of cases and no faster; thirty thousand cases stay under 2 GB."""
    print("\n   cases   seconds  us a case  peak MB")
    rows = []
    for count in (100, 1_000, 10_000, 30_000):
        command = [
            sys.executable,
            "-c",
            GROWTH,
            str(SETUPS / "bore"),
            str(count),
        ]
        answer = subprocess.run(
            command, capture_output=True, text=True, check=True
        ).stdout.split()
        solved, seconds, peak = (
            int(answer[0]),
            float(answer[1]),
            float(answer[2]),
        )
        rows.append((solved, seconds, peak))
        print(
            f"{solved:8d}  {seconds:8.4f}  {seconds / solved * 1e6:9.2f}  {peak:7.0f}"
        )
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
    asked, numpy = (
        seconds([tool, "--help"]),
        seconds([sys.executable, "-c", "import numpy"]),
    )
    print(
        f"\n--help {asked * 1e3:.0f} ms, import numpy {numpy * 1e3:.0f} ms, ratio {asked / numpy:.2f}"
    )
    print(
        f"peak memory of this run {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    )
    assert asked < 1.5 * numpy
