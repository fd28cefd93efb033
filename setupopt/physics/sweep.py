"""Every setup in every case, on all cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from functools import lru_cache

import numpy as np

from setupopt.physics import friction_path, path_end, trim
from setupopt.physics.answer import read_end, read_trim, set_margin
from setupopt.physics.balance import FACTOR, WORK, balance
from setupopt.physics.case_state import CASE_STATE, ROADBED, prepare
from setupopt.physics.inputs import (
    ANSWER,
    CASE,
    ELEMENT,
    POINT,
    SETTING,
    UNKNOWNS,
    VEHICLE,
    Record,
    Records,
)
from setupopt.physics.jit import kernel, shared_kernel, workers
from setupopt.physics.linear import copy
from setupopt.physics.nearby_end import end_nearby
from setupopt.physics.wheel import forget

# Answers of one task: long enough to hide the hand-over, short enough for progress and for a stop.
CHUNK = 128
_PIECES = 4
# Of so many cases in a row the first is solved by itself in a quick sweep, the others from the one before.
_LINKS = 16
# Two cases in a row are no further apart, rad.
_NEXT = 0.2
# Name in the environment: whether large sweeps run on an NVIDIA card. So few answers are found sooner here.
ON_CARD = "SETUPOPT_GPU"
_LEAST_ON_CARD = 2048
# So few answers are found sooner than threads are started.
_FEW = 8
_NO_STARTS = np.zeros(0, ANSWER)


@kernel
def _solve_lost(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, state: Record,
    road: Records, start: Record, has_start: bool, work: Record, answer: Record,
) -> None:  # fmt: skip
    """Answer of a case that has no trim: the least press that would hold it at the most friction tried."""
    x = work.x
    found = False
    press = 0.0
    if has_start and start.press > 0.0:
        found, press, steps = trim.press_nearby(
            car, elements, setup, case, state, road, start, x, work
        )
        answer.effort += steps
    if not found:
        press, steps = trim.press_until_held(
            car, elements, setup, case, state, road, x, work
        )
        answer.effort += steps
        press, steps = trim.release_press(
            car,
            elements,
            setup,
            case,
            state,
            road,
            x,
            work,
            press,
            0.25 * press,
        )
        answer.effort += steps
    balance(car, elements, setup, case, state, road, x, work)
    read_trim(car, points, setup, case, state, x, answer, work)
    work.bend = 0.0
    for j in range(UNKNOWNS):
        work.null[j] = 0.0
    read_end(car, setup, case, state, x, answer, work)
    set_margin(max(press, 1e-12), answer)


@kernel
def _solve(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, part: Record, state: Record,
    road: Records, start: Record, has_start: bool, quick: bool, work: Record, answer: Record,
) -> None:  # fmt: skip
    """Answer of one setup in one case: the trim, then the least friction that holds it.

    `quick`: go straight to the end of the path that belongs to that of `start`. Otherwise a start that slides
    is not used: what a sliding car comes down to depends on where the way down begins.
    """
    x = work.x
    forget(work.wheels)
    prepare(car, case, 0.0, state)
    found = False
    if has_start and start.contact and (quick or not start.slides):
        found, steps = trim.find_trim_nearby(
            car, elements, setup, case, state, road, start, x, work
        )
        answer.effort += steps
    if not found:
        found, steps = trim.find_trim(
            car, elements, setup, case, part, state, road, x, work
        )
        answer.effort += steps
    if not found:
        _solve_lost(
            car, elements, points, setup, case, state, road, start, has_start, work, answer
        )  # fmt: skip
        return
    read_trim(car, points, setup, case, state, x, answer, work)
    _solve_end(
        car, elements, setup, case, state, road, start, quick and has_start, work, answer
    )  # fmt: skip
    read_end(car, setup, case, state, x, answer, work)
    set_margin(0.0, answer)


@kernel
def _solve_end(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, start: Record,
    quick: bool, work: Record, answer: Record,
) -> None:  # fmt: skip
    """The end of the path of falling friction from a trim; `quick` as in `_solve`."""
    x = work.x
    is_done = False
    if quick and start.null[0] != 0.0 and x[FACTOR] == 1.0:
        is_done, steps = end_nearby(
            car, elements, setup, case, state, road, start, x, work
        )
        answer.effort += steps
        if not is_done:
            copy(answer.state, x)
            x[FACTOR] = 1.0
            balance(car, elements, setup, case, state, road, x, work)
    if x[FACTOR] <= 1.0 and not is_done:
        end, steps = friction_path.follow(
            car,
            elements,
            setup,
            case,
            state,
            road,
            x,
            friction_path.LEAST_FACTOR,
            work,
        )
        answer.effort += steps
        if end == path_end.BROKEN:
            balance(car, elements, setup, case, state, road, x, work)


@kernel
def _solve_by_slope(
    car: Record, elements: Records, points: Records, setup: Record, case: Record, state: Record,
    road: Records, start: Record, work: Record, answer: Record,
) -> bool:  # fmt: skip
    """Answer of a setup a small step away from that of `start`, by the slope of the friction factor there.

    Whether it could be had: not of a case that is lost or whose path broke off.
    """
    if not start.contact or start.null[0] == 0.0:
        return False
    x = work.x
    forget(work.wheels)
    prepare(car, case, 0.0, state)
    for j in range(UNKNOWNS):
        x[j] = start.fold[j]
    x[FACTOR] = start.friction_factor
    balance(car, elements, setup, case, state, road, x, work)
    grown = 0.0
    for j in range(UNKNOWNS):
        grown += start.null[j] * work.residual[j]
    if not start.slides:
        found, steps = trim.find_trim_nearby(
            car, elements, setup, case, state, road, start, x, work
        )
        answer.effort += steps
        if not found:
            return False
    read_trim(car, points, setup, case, state, x, answer, work)
    copy(start.fold, answer.fold)
    copy(start.null, answer.null)
    answer.bend = start.bend
    answer.limiting = start.limiting
    answer.friction_factor = start.friction_factor - grown
    set_margin(0.0, answer)
    answer.effort += 1
    return True


@kernel
def _follows(case: Record, before: Record) -> bool:
    """Whether a case is the next of a sweep after another: but for a little of the way round the same."""
    same = (
        case.speed == before.speed and case.acceleration == before.acceleration
    )
    return same and abs(case.roll_angle - before.roll_angle) < _NEXT


@kernel
def solve_row(
    cars: Records, elements: Records, points: Records, setups: Records, cases: Records, start: Record,
    has_start: bool, by_slope: bool, quick: bool, row: int, part: Record, state: Record, road: Records,
    work: Record, answer: Record,
) -> None:  # fmt: skip
    """Solve answer `row` of a sweep, setups slowest, cases fastest."""
    case = cases[row % cases.size]
    setup = setups[row // cases.size]
    kind = int(setup.car)
    done = False
    if by_slope and has_start:
        done = _solve_by_slope(
            cars[kind],
            elements[kind],
            points[kind],
            setup,
            case,
            state,
            road,
            start,
            work,
            answer,
        )
    if not done:
        _solve(
            cars[kind], elements[kind], points[kind], setup, case, part, state, road, start, has_start, quick,
            work, answer,
        )  # fmt: skip


@shared_kernel(
    *([VEHICLE], [[ELEMENT]], [[POINT]], [SETTING], [CASE], [ANSWER]),
    *("?", "?", "i8", "i8"),
    *([CASE], [CASE_STATE], [ROADBED], [WORK], [ANSWER]),
    first=True,
)
def run_chunk(
    cars: Records, elements: Records, points: Records, setups: Records, cases: Records, starts: Records,
    by_slope: bool, quick: bool, first: int, last: int, parts: Records, states: Records, road: Records,
    works: Records, answers: Records,
) -> None:  # fmt: skip
    """Solve answers `first` to `last`.

    `cars` (kinds), `elements` (kinds, elements) and `points` (kinds, points) hold the cars that setups make.
    `starts` (cases) or (setups x cases): answers of a setup nearby, or empty. `quick`: see `run`. `parts`,
    `states`, `works` hold one record each.
    """
    has_starts = starts.shape[0] > 0
    for row in range(first, last):
        i = row % cases.size
        is_linked = quick and not has_starts and i > 0 and row % _LINKS > 0
        if is_linked:
            is_linked = _follows(cases[i], cases[i - 1])
        start = (
            starts[row % starts.shape[0]]
            if has_starts
            else answers[row - 1 if is_linked else row]
        )
        solve_row(
            cars, elements, points, setups, cases, start, has_starts or is_linked, by_slope and has_starts,
            quick, row, parts[0], states[0], road, works[0], answers[row],
        )  # fmt: skip


def on_card() -> bool:
    """Whether large sweeps run on an NVIDIA card."""
    return os.environ.get(ON_CARD) == "1"


def at_a_time() -> int:
    """Cases that are solved together where full answers of all would take too much memory."""
    return 1 << (16 if on_card() else 12)


def _spans(count: int, threads: int, links: int) -> list[tuple[int, int]]:
    """Equal pieces of whole links, several for every thread: some take much longer."""
    size = max(_FEW, min(CHUNK, -(-count // (threads * _PIECES))))
    size = -(-size // links) * links
    return [
        (first, min(first + size, count)) for first in range(0, count, size)
    ]


def _scratch(elements: int) -> tuple[Records, Records, Records, Records]:
    """What one task writes into besides its answers."""
    return (
        np.zeros(1, CASE),
        np.zeros(1, CASE_STATE),
        np.zeros(elements, ROADBED),
        np.zeros(1, WORK),
    )


@lru_cache(1)
def _threads(count: int) -> Executor:
    """Threads that wait for the next sweep: a search runs thousands of short ones."""
    return ThreadPoolExecutor(count)


def _silent(_: int) -> None:
    """Reports no progress."""


def run(
    car: tuple[Records, Records, Records],
    setups: Records,
    cases: Records,
    starts: Records | None = None,
    progress: Callable[[int], object] | None = None,
    pool: Executor | None = None,
    by_slope: bool = False,
    quick: bool = False,
) -> Records:
    """Answers (setups x cases) of every setup in every case. `car`: as `pack.CarTable.packed` has it.

    `starts` (cases): answers of a setup nearby, or of one for each setup (setups x cases); with `by_slope` the
    setups are small steps from it, and their margins come from its slopes. `quick`: where there is an answer
    nearby, of `starts` or of the case before, the path of falling friction is left out; an end that comes
    before the one found there is not seen. The kernels hold no interpreter lock, so plain threads use all
    cores; `pool` may bring its own. `progress` is called with how many answers were added.
    """
    nearby = (
        _NO_STARTS
        if starts is None
        else np.ascontiguousarray(starts).reshape(-1)
    )
    count = setups.size * cases.size
    if nearby.size not in (0, cases.size, count):
        raise ValueError(f"starts must be ({cases.size}), not {nearby.shape}")
    if count >= _LEAST_ON_CARD and not (by_slope or quick) and on_card():
        from setupopt.physics import gpu  # nobody else needs it

        return gpu.run(car, setups, cases, progress or _silent)
    answers = np.zeros(count, dtype=ANSWER)

    def task(first: int, last: int) -> None:
        scratch = _scratch(car[1].shape[1])
        run_chunk(
            *car, setups, cases, nearby, by_slope, quick, first, last, *scratch, answers
        )  # fmt: skip

    on_all_cores(task, count, _LINKS if quick else 1, progress, pool)
    return answers


def on_all_cores(
    task: Callable[[int, int], None],
    count: int,
    links: int = 1,
    progress: Callable[[int], object] | None = None,
    pool: Executor | None = None,
) -> None:
    """Run `task(first, last)` over `count` answers, in threads: it must hold no interpreter lock.

    A task gets whole groups of `links` answers. `progress`, `pool`: see `run`.
    """
    progress = progress or _silent

    def counted(span: tuple[int, int]) -> int:
        task(*span)
        return span[1] - span[0]

    if pool is None and count <= _FEW:
        progress(counted((0, count)))
        return
    task(0, 0)  # compiled here, where control-C stops it
    spans = _spans(count, workers(), links)
    for done in (pool or _threads(workers())).map(counted, spans):
        progress(done)
