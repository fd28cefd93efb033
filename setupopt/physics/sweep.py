"""Every setup in every case, on all cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor

import numpy as np

from setupopt.physics.answer import read_off
from setupopt.physics.balance import WORK
from setupopt.physics.inputs import ANSWER, CASE, STRIPS, Floats, Records
from setupopt.physics.jit import kernel
from setupopt.physics.place import FLOW, PLACE, prepare, stands_alike, turn_to
from setupopt.physics.trim import find_trim, find_trim_nearby

# Answers of one task: long enough to hide the hand-over, short enough for progress and for a stop.
CHUNK = 512
# So few answers are found sooner than threads are started.
_FEW = 300


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
        read_off(car, points, setup, cases[i], place, press, answers[row], work)


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
    if guess.shape not in ((0, 8), (cases.size, 8)):
        raise ValueError(f"starts must be ({cases.size}, 8), not {guess.shape}")

    def task(span: tuple[int, int]) -> int:
        flow = np.zeros(car[1].size * STRIPS, FLOW)
        scratch = np.zeros(1, CASE), np.zeros(1, PLACE), flow, np.zeros(1, WORK)
        run_chunk(*car, setups, cases, guess, *span, *scratch, answers)
        return span[1] - span[0]

    if pool is None and answers.size <= _FEW:
        done = task((0, answers.size))
        if progress is not None:
            progress(done)
        return answers
    own = pool or ThreadPoolExecutor(workers())
    try:
        for done in own.map(task, _spans(answers.size, workers())):
            if progress is not None:
                progress(done)
    finally:
        if pool is None:
            own.shutdown(cancel_futures=True)
    return answers
