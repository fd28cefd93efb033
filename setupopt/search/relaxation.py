"""A body solved with parts of any value, from several starts and an independent search."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from setupopt.physics.inputs import Floats
from setupopt.search.engine.exchange import Exchange, ExchangeResult
from setupopt.search.engine.index_points import on
from setupopt.search.engine.maxmin import TrustRegionOptions, maximise_worst
from setupopt.search.global_bounds import GlobalSearchResult, search_independently
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

# What a proposal and its prices rest on is solved to this.
TIGHT = TrustRegionOptions(least_gain=1e-8, least_rise=1e-7, least_radius=1e-6, probe=1e-6)
CLOSE = Exchange(notice=1e-7, touch=1e-7)
# A quick climb, to see whether the other side of a setting is worth a thorough one.
_QUICK = TrustRegionOptions(most_steps=25, least_gain=1e-5, least_rise=1e-3)
_NOTICE = 1e-5
# Told in words how far the work is.
Progress = Callable[[str], object]


@dataclass(frozen=True)
class RelaxedOptimum:
    """The best of a body's whole box, and how sure that is.

    `ends`: merits where the starts ended, best first, before anything else was tried. `searched`: what the
    independent search found, and `climbed`, where a climb from there ended. `exact`: the best without build
    errors, the same as `best` unless they count.
    """

    solver: Solver
    best: ExchangeResult
    exact: ExchangeResult
    ends: tuple[float, ...]
    searched: GlobalSearchResult
    searched_merit: float  # over the whole index
    climbed: float
    steps: int


def starts_of(problem: SetupProblem, count: int, seed: int) -> list[Floats]:
    """Today's setup and others that fill the box evenly."""
    size = problem.start.size
    if count <= 1 or size == 0:
        return [problem.start]
    others = qmc.Sobol(size, seed=seed).random(1 << (count - 2).bit_length())  # it warns of other numbers
    return [problem.start, *others[: count - 1]]


def root_of(
    exact: SetupProblem, robust: bool, starts: int, seed: int, progress: Progress | None = None
) -> RelaxedOptimum:
    """Solve a body's whole box; with `robust`, from its best point on with build errors."""
    solver, begun = Solver(exact), starts_of(exact, starts, seed)
    ends = []
    for number, start in enumerate(begun, 1):
        told = _telling(progress, f"start {number} of {len(begun)}")
        ends.append(solver.solve(solver.box, start, progress=told))
    best = max(ends, key=lambda end: end.merit)
    searched = search_independently(exact, best.places, seed)
    seen = solver.look(searched.point, solver.dense)
    climbed = solver.solve(solver.box, searched.point, progress=_telling(progress, "independent search"))
    best = _other_sides(solver, max(best, climbed, key=lambda end: end.merit), progress)
    tight = Solver(exact, climbing=TIGHT)
    sharp = tight.solve(tight.box, best.outcome.point, best.places, CLOSE, _telling(progress, "best point"))
    held = _with_builds(exact, sharp, _telling(progress, "build errors")) if robust else sharp
    merits = tuple(sorted((end.merit for end in ends), reverse=True))
    steps = sum(end.steps for end in (*ends, climbed, sharp)) + (held.steps if robust else 0)
    found = min(searched.merit, float(seen.value.min(initial=np.inf)))
    return RelaxedOptimum(Solver(exact, robust), held, sharp, merits, searched, found, climbed.merit, steps)


def _other_sides(solver: Solver, best: ExchangeResult, progress: Progress | None) -> ExchangeResult:
    """The best after every setting in turn was put to the other side of its range, and climbed from there.

    A margin may have several tops, such as much camber with little bump travel and the other way round.
    """
    for j, variable in enumerate(solver.problem.variables):
        start = best.outcome.point.copy()
        start[j] = 0.0 if start[j] > 0.5 else 1.0
        told = _telling(progress, f"the other side of {variable.name}")
        quick = maximise_worst(on(solver.problem, best.places), start, _QUICK, told)
        if quick.merit > best.merit + _NOTICE:
            best = max(best, solver.solve(solver.box, quick.point, best.places), key=lambda end: end.merit)
    return best


def _with_builds(
    problem: SetupProblem, sharp: ExchangeResult, told: Callable[[int], object] | None
) -> ExchangeResult:
    """From the best exact point on, with every build that hurts."""
    solver = Solver(problem, robust=True, climbing=TIGHT)
    end = solver.solve(solver.box, sharp.outcome.point, None, CLOSE, told)
    return solver.verified(solver.box, end, CLOSE)


def _telling(progress: Progress | None, stage: str) -> Callable[[int], object] | None:
    """Step counter of one stage of the work."""
    return None if progress is None else lambda step: progress(f"{stage}, step {step}")
