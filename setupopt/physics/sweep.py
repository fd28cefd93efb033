"""Every setup in every case, on all cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from math import tan

import numpy as np

from setupopt.physics import margin as grip_margin
from setupopt.physics import tyre
from setupopt.physics.balance import WORK
from setupopt.physics.inputs import ANSWER, CASE, STRIPS, Floats, Record, Records
from setupopt.physics.jit import kernel
from setupopt.physics.place import FLOW, PLACE, prepare, rest_gap, stands_alike, turn_to
from setupopt.physics.trim import find_trim, find_trim_nearby

# Answers of one task: long enough to hide the hand-over, short enough for progress and for a stop.
CHUNK = 512


@kernel
def _grip(car: Record, setup: Record, grip: float, place: Record, w: int, work: Record) -> float:
    """Grip capacity of a wheel, leaning further under its own lateral force, at the same load."""
    if work.load[w] <= 0.0:
        return 0.0
    t = tan(work.inclination[w] - place.lean * car.side[w] * car.compliance[w] * work.across[w])
    along, across = place.curve_along[w], place.curve_across[w]
    half, k = car.half_width[w], setup.foundation[w]
    start = work.depth[w] - (t - work.slant[w]) * work.shift[w]
    depth = tyre.depth_for_load(work.load[w], start, t, along, across, half, k, work.ends)
    return tyre.grip_capacity(
        depth, t, along, across, half, k, grip * car.friction[w], car.friction_pressure[w],
        car.friction_exponent[w], car.friction_beta[w], work.ends,
    )  # fmt: skip


@kernel
def _use(car: Record, place: Record, axle: int, answer: Record, work: Record) -> float:
    """Use of grip of one axle."""
    left, right = 2 * axle, 2 * axle + 1
    lateral = work.across[left] + work.across[right]
    return grip_margin.axle_use(
        lateral, place.axle_drive[axle], answer.grip[left], answer.grip[right], car.is_open[axle]
    )


@kernel
def _gaps(
    car: Record, points: Records, setup: Record, case: Record, place: Record, answer: Record
) -> None:  # fmt: skip
    """Gaps at the ride-height stations and at the named points of the floor."""
    heave, pitch, roll = answer.state[0], answer.state[1], answer.state[2]
    for axle in range(2):
        x = car.ride_x[axle]
        answer.ride_gap[axle] = rest_gap(car, setup, case, place, x, 0.0) + heave - x * pitch
    answer.clearance = answer.spare_clearance = np.inf
    for p in range(points.size):
        point = points[p]
        gap = rest_gap(car, setup, case, place, point.x, point.y) + point.offset
        gap += heave - point.x * pitch + point.y * roll
        answer.clearance = min(answer.clearance, gap)
        answer.spare_clearance = min(answer.spare_clearance, gap - point.least)


@kernel
def _lift(car: Record, place: Record, work: Record) -> float:
    """How far an axle hangs over the surface, m; 0 while each axle has a wheel down."""
    highest = 0.0
    for left in (0, 2):
        lift = np.inf
        for w in (left, left + 1):
            lift = min(
                lift, -tyre.deepest(work.depth[w], work.slant[w], place.curve_across[w], car.half_width[w])
            )
        highest = max(highest, lift)
    return highest


@kernel
def _record(
    car: Record, points: Records, setup: Record, case: Record, place: Record, press: float,
    answer: Record, work: Record,
) -> None:  # fmt: skip
    """Write one answer."""
    for w in range(4):
        answer.load[w], answer.inclination[w] = work.load[w], work.inclination[w]
        answer.patch[w], answer.travel[w] = work.patch[w], work.travel[w]
        answer.grip[w] = _grip(car, setup, case.surface_grip, place, w, work)
    lift = _lift(car, place, work)
    for axle in range(2):
        use = _use(car, place, axle, answer, work)
        answer.use[axle] = use
        answer.axle_steer[axle] = grip_margin.steering_value(1.0 - use, press, lift)
    value = 1.0 - max(answer.use[0], answer.use[1])
    answer.contact, answer.press = press == 0.0, press
    answer.steer = min(answer.axle_steer[0], answer.axle_steer[1])
    answer.margin = value if press == 0.0 else np.nan
    answer.downforce, answer.drag = work.lift[0], place.drag
    _gaps(car, points, setup, case, place, answer)


@kernel
def run_chunk(
    cars: Records, elements: Records, points: Records, setups: Records, cases: Records, starts: Floats,
    first: int, last: int, parts: Records, places: Records, flow: Records, works: Records,
    answers: Records,
) -> None:  # fmt: skip
    """Solve answers `first` to `last`, setups slowest, cases fastest.

    `starts` (cases, 8): trim and press of a setup nearby, tried first where they are numbers; or empty.
    `cars`, `parts`, `places`, `works` hold one record each.
    """
    car, part, place, work = cars[0], parts[0], places[0], works[0]
    for row in range(first, last):
        setup, i = setups[row // cases.size], row % cases.size
        if row > first and i > 0 and stands_alike(cases[i], cases[i - 1]):
            turn_to(car, cases[i], cases[i].roll_angle, 0.0, place)
        else:
            prepare(car, elements, setup, cases[i], place, flow)
        found, press, effort = False, 0.0, 0
        if starts.shape[0] > 0:
            found, press, effort = find_trim_nearby(
                car, elements, setup, cases[i], place, flow, work.state, work, starts[i]
            )
        if not found:
            press, steps = find_trim(car, elements, setup, cases[i], part, place, flow, work.state, work)
            effort += steps
        answers[row].state[:] = work.state
        answers[row].effort = effort
        _record(car, points, setup, cases[i], place, press, answers[row], work)


def workers() -> int:
    """Threads a sweep uses: all cores this process may use, or SETUPOPT_THREADS."""
    wanted = os.environ.get("SETUPOPT_THREADS", "")
    if wanted.isdigit() and int(wanted) > 0:
        return int(wanted)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _spans(count: int, threads: int) -> list[tuple[int, int]]:
    """Equal pieces, none longer than `CHUNK`, enough for every thread."""
    size = max(1, min(CHUNK, -(-count // threads)))
    return [(first, min(first + size, count)) for first in range(0, count, size)]


def run(
    car: tuple[Records, Records, Records],
    setups: Records,
    cases: Records,
    starts: Floats | None = None,
    progress: Callable[[int], object] | None = None,
    pool: Executor | None = None,
) -> Records:
    """Answers (setups x cases) of every setup in every case. `car`: as `pack.vehicle` makes it.

    The kernels hold no interpreter lock, so plain threads use all cores; `pool` may bring its own.
    `progress` is told how many answers were added.
    """
    answers = np.zeros(setups.size * cases.size, dtype=ANSWER)
    guess = np.empty((0, 8)) if starts is None else np.ascontiguousarray(starts, dtype=float)

    def task(span: tuple[int, int]) -> int:
        flow = np.zeros(car[1].size * STRIPS, FLOW)
        scratch = np.zeros(1, CASE), np.zeros(1, PLACE), flow, np.zeros(1, WORK)
        run_chunk(*car, setups, cases, guess, *span, *scratch, answers)
        return span[1] - span[0]

    own = pool or ThreadPoolExecutor(workers())
    try:
        for done in own.map(task, _spans(answers.size, workers())):
            if progress is not None:
                progress(done)
    finally:
        if pool is None:
            own.shutdown(cancel_futures=True)
    return answers
