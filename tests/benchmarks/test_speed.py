"""Every figure on speed in one run, before and now: the table of docs/speed.md.

    pytest tests/benchmarks/test_speed.py -o addopts= -s

An idle machine, two cores. Without the contest it takes some ten minutes; `CONTEST_S`, seconds of each general
optimiser, 0 for none.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import optuna
import pytest
import test_search
from conftest import RUN, SETUPS, thinned
from test_batch_speed import (
    GROWTH,
    batch_seconds,
    reference_seconds,
)

import setupopt
from setupopt.project import Project
from setupopt.search.engine import maxmin
from setupopt.search.engine.trust_region_subproblem import Step, best_step
from setupopt.search.objective import objective_of
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

EXAMPLES = test_search.EXAMPLES
CONTEST_S = float(os.environ.get("CONTEST_S", "200"))
MICRO = 1e6
_STARTS = 3
_LATER = 5


@dataclass(frozen=True)
class Figure:
    """One line of the table. `before`: of an earlier release, on two cores; `asked`: what it should be."""

    what: str
    unit: str
    before: float | None
    asked: float | None
    now: float

    def __str__(self) -> str:
        before, asked = (
            "" if value is None else f"{value:g}"
            for value in (self.before, self.asked)
        )
        ratio = f"{self.before / self.now:.1f}" if self.before else ""
        now = f"{self.now:.3g}" if self.now < 1000 else f"{self.now:.0f}"
        return f"| {self.what} | {self.unit} | {before} | {asked} | {now} | {ratio} |"


def assessed(cache: Path) -> tuple[float, float]:
    """Seconds of `assess setups/bore` with the kernels of a folder: on the clock, and of the processor."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", RUN, "assess", str(SETUPS / "bore")],
        env=os.environ | {"NUMBA_CACHE_DIR": str(cache)},
        stdout=subprocess.DEVNULL,
        check=False,
    )
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime - before.ru_utime
    return wall, spent + after.ru_stime - before.ru_stime


def starts(folder: Path) -> Iterator[Figure]:
    """First answers with an empty cache each, then later ones."""
    for number in range(_STARTS):
        wall, processor = assessed(folder / str(number))
        yield Figure(f"first `assess`, {number + 1}", "s", 54, 15, wall)
    yield Figure(
        "first `assess`, both cores together", "s", None, None, processor
    )
    later = [assessed(folder / "0") for _ in range(_LATER)]
    wall, processor = map(statistics.median, zip(*later, strict=True))
    yield Figure("later `assess`", "s", 2.8, 1, wall)
    yield Figure("later `assess`, processor", "s", None, None, processor)


def proposals(example: Callable[[str], Project]) -> Iterator[Figure]:
    """`propose` with its evidence, as it is asked without options, warm; and the programs of its steps."""
    programs: list[float] = []

    def timed(*given: Any) -> Step:
        began = time.thread_time()
        step = best_step(*given)
        programs.append(time.thread_time() - began)
        return step

    maxmin.best_step = timed
    for name, before in zip(EXAMPLES, (20, None, None), strict=True):
        project = example(name)
        asked = 15 if name == "bore" else 2
        began = time.perf_counter()
        setupopt.propose(project)
        spent = time.perf_counter() - began
        yield Figure(f"`propose`, {name}", "s", before, asked, spent)
    maxmin.best_step = best_step
    mean = statistics.mean(programs)
    yield Figure("program of a step", "ms", 4, 0.6, mean * 1e3)


def cases(example: Callable[[str], Project]) -> Iterator[Figure]:
    """A case on one core, and the plain scalar loop beside it."""
    before = {"bore": 740, "bank": 421, "hill": 461}
    for name in EXAMPLES:
        spent = batch_seconds(example(name), 700)
        count = spent.pop("cases")
        for what, seconds in spent.items():
            trim = what.startswith("trim")
            yield Figure(
                f"{what}, {name}",
                "µs a case",
                before[name] if what == "margin" else None,
                25 if trim else 200 if what.startswith("margin") else None,
                seconds / count * MICRO,
            )
        if name == "bore":
            plain = reference_seconds(example(name), (30.0, 90.0))
            times = plain * count / spent["margin"]
            yield Figure(
                "plain scalar loop over ours", "times", None, 500, times
            )


def memory() -> Iterator[Figure]:
    """Peak memory of a million cases, from the growth between two numbers of them."""
    peaks = []
    for count in (100_000, 300_000):
        words = [sys.executable, "-c", GROWTH, str(SETUPS / "bore"), str(count)]
        found = subprocess.run(
            words, capture_output=True, text=True, check=True
        )
        peaks.append(list(map(float, found.stdout.split())))
    (few, _, less), (many, _, more) = peaks
    million = less + (more - less) / (many - few) * (1e6 - few)
    yield Figure("memory of a million cases", "GB", 1.1, 0.7, million / 1e3)


def growth(bore: Project) -> Iterator[Figure]:
    """Seconds of a sweep or a search over those of a quarter, a half, or one of something."""

    def swept(project: Project) -> float:
        began = time.process_time()
        setupopt.evaluate(project)
        return time.process_time() - began

    def solved(project: Project) -> float:
        began = time.process_time()
        test_search.ours(project, judge(project))
        return time.process_time() - began

    step = bore.venue.sweep.step
    attitudes = len(bore.venue.attitudes)
    dense = swept(thinned(bore, step / 4, attitudes))
    yield Figure(
        "sweep, cases times 4", "times", None, None, dense / swept(bore)
    )
    whole = solved(bore)
    few = solved(thinned(bore, step, attitudes // 2))
    yield Figure("search, attitudes times 2", "times", None, None, whole / few)
    limits = bore.limits
    assert limits is not None
    none = type(limits.rear)(*[None] * 6)
    front = replace(bore, limits=replace(limits, rear=none))
    yield Figure(
        "search, axles times 2", "times", None, None, whole / solved(front)
    )
    bodies = len(bore.bodies) + 1
    every = sum(solved(one) for one in test_search.with_bodywork(bore))
    yield Figure(
        f"search, bodies times {bodies}", "times", None, None, every / whole
    )


def judge(project: Project) -> Solver:
    """What all contestants are checked by."""
    return Solver(SetupProblem(project, objective_of(project.venue)))


def contest(example: Callable[[str], Project]) -> Iterator[Figure]:
    """Time of the quickest general optimiser to our margin over ours; the least where none arrives."""
    for name in EXAMPLES:
        project = example(name)
        checks = judge(project)
        test_search.ours(project, checks)  # warm
        first = test_search.ours(project, checks)
        level = first.margin - test_search.NEAR
        own = first.reached(checks, level)
        assert own is not None
        spent = []
        for other in test_search.CONTESTANTS:
            row = test_search.contested(other, project, checks, 10**9)
            assert row.margin < first.margin + test_search.TIE
            found = row.reached(checks, level)
            spent.append(found.seconds if found else row.seconds)
        asked = 50 if name == "bank" else 100
        before = {"bore": 92, "bank": 267, "hill": 71}[name]
        yield Figure(
            f"best general optimiser over `propose`, {name} ({own.seconds:.2f} s)",
            "times",
            before,
            asked,
            min(spent) / own.seconds,
        )


def test_every_figure(
    example: Callable[[str], Project],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Printed as they are found, so that a run that is stopped has shown something."""
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    monkeypatch.setattr(test_search, "CAP", CONTEST_S)
    print("\n| figure | unit | before | asked | now | before / now |")
    print("|---|---|---|---|---|---|")
    parts: list[tuple[Callable[..., Iterator[Figure]], Any]] = [
        (starts, tmp_path),
        (cases, example),
        (proposals, example),
        (memory, None),
        (growth, example("bore")),
    ]
    if CONTEST_S > 0.0:
        parts.append((contest, example))
    for part, given in parts:
        if part is cases:
            monkeypatch.setenv("SETUPOPT_THREADS", "1")
        for figure in part(*([] if given is None else [given])):
            assert figure.now > 0.0
            print(figure, flush=True)
        monkeypatch.delenv("SETUPOPT_THREADS", raising=False)
