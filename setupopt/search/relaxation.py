"""Bodies solved with parts of any value: from several starts, and from an independent search."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.stats import qmc

from setupopt.evaluation.variables import from_setup
from setupopt.jobs.pool import WorkerPool
from setupopt.physics.inputs import Floats
from setupopt.search.engine.batch import StepProgress, merit, silent
from setupopt.search.engine.exchange import ExchangeOptions, ExchangeResult
from setupopt.search.engine.index_points import IndexPoints, restricted
from setupopt.search.engine.maxmin import (
    STANDARD,
    TrustRegionOptions,
    maximise_worst,
)
from setupopt.search.global_bounds import (
    GlobalSearchResult,
    search_independently,
)
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.sides import Alike, best_alike
from setupopt.search.solver import Solver, one_at_a_time

# A proposal and its shadow prices are solved to this accuracy.
TIGHT = TrustRegionOptions(
    least_gain=1e-8,
    least_rise=1e-7,
    least_radius=1e-6,
    probe=1e-6,
)
CLOSE = ExchangeOptions(value_tolerance=1e-7, constraint_tolerance=1e-7)
# The first pass from every start: what ends far below the best is not worth more. The best end is solved
# accurately afterwards.
FIRST_PASS = TrustRegionOptions(most_steps=40, least_gain=2e-5, least_rise=1e-3)
FIRST_ROUNDS = ExchangeOptions(
    value_tolerance=1e-4, constraint_tolerance=1e-4, most_rounds=6
)
# Points that are looked at for each start, a power of two: Sobol's sequence warns of other numbers.
_CANDIDATES = 8
# A quick local search, to see whether the other side of a setting is worth a thorough one.
_QUICK = TrustRegionOptions(most_steps=25, least_gain=1e-5, least_rise=1e-3)
_BETTER = 1e-5
# Gets the state of the work in words.
Progress = Callable[[str], object]


@dataclass(frozen=True)
class RelaxedOptimum:
    """The best of a body's whole box, and how sure that is.

    `ends`: merits at the ends of the starts, best first. `searched`: what the independent search found, and
    `searched_end` the merit at the end of a local search from there. `exact`: the best without build errors,
    the same as `best` unless `robust`.
    """

    problem: SetupProblem
    robust: bool
    best: ExchangeResult
    exact: ExchangeResult
    ends: tuple[float, ...]
    searched: GlobalSearchResult
    searched_merit: float  # over the whole index
    searched_end: float
    steps: int
    # Where limits.toml frees sides: the best with both sides alike
    alike: Alike | None = None
    # Where something must be stood: the best without that
    steady: RelaxedOptimum | None = None

    def solver(self, trust_region: TrustRegionOptions = STANDARD) -> Solver:
        """A new solver of the same problem."""
        return Solver(self.problem, self.robust, trust_region)


def other_starts(
    problem: SetupProblem, index_points: IndexPoints, count: int, seed: int
) -> list[Floats]:
    """The best points, by their merit at index points, of several times as many that fill the box evenly.

    A start where contact is lost costs many times as much as one with grip, and ends no higher.
    """
    size = problem.start.size
    if count <= 0 or size == 0:
        return []
    points = qmc.Sobol(size, seed=seed).random(
        _CANDIDATES << (count - 1).bit_length()
    )
    found = problem(points, index_points)
    order = np.argsort(-merit(found.values, found.limits), kind="stable")
    return list(points[order[:count]])


def relaxed_optimum(
    problem: SetupProblem,
    robust: bool,
    starts: int,
    seed: int,
    progress: Progress = silent,
) -> RelaxedOptimum:
    """Solve a body's whole box; with `robust`, from its best point on with build errors."""
    with one_at_a_time:
        solver = Solver(problem)
        first = Solver(problem, trust_region=FIRST_PASS)
        progress("sides alike")
        even = best_alike(problem)
        ends = _ends_of_starts(first, even, starts, seed, progress)
        best = max(ends, key=_merit)
        searched = search_independently(problem, best.index_points, seed)
        seen = solver.look(searched.point, solver.dense)
        report = step_report(progress, "independent search")
        climbed = first.solve(
            first.box, searched.point, None, FIRST_ROUNDS, report
        )
        best = _other_sides(solver, max(best, climbed, key=_merit), progress)
        exact = solved_closely(problem, best, progress)
        final = exact
        steps = sum(end.steps for end in (*ends, climbed, exact))
        if robust:
            problem, final = _with_builds(problem, exact, progress)
            steps += final.steps
        return RelaxedOptimum(
            problem,
            robust,
            final,
            exact,
            ends=tuple(sorted((end.merit for end in ends), reverse=True)),
            searched=searched,
            searched_merit=min(
                searched.merit, float(seen.value.min(initial=np.inf))
            ),
            searched_end=climbed.merit,
            steps=steps,
            alike=even,
        )


def _ends_of_starts(
    first: Solver,
    even: Alike | None,
    starts: int,
    seed: int,
    progress: Progress,
) -> list[ExchangeResult]:
    """Where quick local searches end: from today's setup, from the best with both sides alike, and from others."""
    problem = first.problem
    begun = [problem.start]
    if even is not None:
        begun.append(from_setup(problem.variables, even.setup))
    ends = list[ExchangeResult]()
    while len(ends) < len(begun):
        report = step_report(
            progress, f"start {len(ends) + 1} of {max(starts, len(begun))}"
        )
        ends.append(
            first.solve(first.box, begun[len(ends)], None, FIRST_ROUNDS, report)
        )
        if len(ends) == 1:
            begun += other_starts(
                problem, ends[0].index_points, starts - len(begun), seed
            )
    return ends


def solved_closely(
    problem: SetupProblem, best: ExchangeResult, progress: Progress
) -> ExchangeResult:
    """The end of an accurate local search from the best point."""
    tight = Solver(problem, trust_region=TIGHT)
    report = step_report(progress, "best point")
    return tight.solve(
        tight.box, best.outcome.point, best.index_points, CLOSE, report
    )


def _with_builds(
    problem: SetupProblem, exact: ExchangeResult, progress: Progress
) -> tuple[SetupProblem, ExchangeResult]:
    """The problem with its worst builds, and the end of an accurate local search from the best point without."""
    tight = Solver(problem, True, TIGHT)
    report = step_report(progress, "build errors")
    found = tight.solve(tight.box, exact.outcome.point, None, CLOSE, report)
    verified = tight.verified(tight.box, found, CLOSE)
    return tight.problem, verified


def relaxed_optima(
    problems: Sequence[SetupProblem],
    robust: bool,
    starts: int,
    seed: int,
    progress: Progress,
    pool: WorkerPool | None,
) -> list[RelaxedOptimum]:
    """The optima of all problems, in their order; the same to the last bit whoever finds them."""
    solve = partial(
        relaxed_optimum,
        robust=robust,
        starts=starts,
        seed=seed,
    )
    if pool is None:
        return [solve(problem, progress=progress) for problem in problems]
    futures = [pool.submit(solve, problem) for problem in problems]
    found = []
    for number, future in enumerate(futures, 1):
        progress(f"body {number} of {len(problems)}, with parts of any value")
        found.append(future.result())
    return found


def _merit(end: ExchangeResult) -> float:
    return end.merit


def _other_sides(
    solver: Solver, best: ExchangeResult, progress: Progress
) -> ExchangeResult:
    """The best after every setting in turn was put to the other side of its range, and solved from there.

    A margin may have several local maxima, such as much camber with little bump travel and the opposite.
    """
    for j, variable in enumerate(solver.problem.variables):
        start = best.outcome.point.copy()
        start[j] = 0.0 if start[j] > 0.5 else 1.0
        report = step_report(progress, f"the other side of {variable.name}")
        quick = maximise_worst(
            restricted(solver, best.index_points),
            start,
            _QUICK,
            report,
        )
        if quick.merit > best.merit + _BETTER:
            best = max(
                best,
                solver.solve(solver.box, quick.point, best.index_points),
                key=_merit,
            )
    return best


def step_report(progress: Progress, stage: str) -> StepProgress:
    """Reports the steps of one stage of the work."""
    return lambda step: progress(f"{stage}, step {step}")
