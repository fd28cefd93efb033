"""The search for what must be stood: from the steady best on, with the worst places added as they show up.

Starts and the independent search are those of the steady problem: how much is stood costs a hundred times as
much as a margin. Places where a disturbance is stood least become limits of the search, which is solved again
until no other place is worse (the cutting-set method of `solver`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.project.limits_model import Require
from setupopt.project.model import Project
from setupopt.search.engine.exchange import (
    EXCHANGE,
    ExchangeOptions,
    ExchangeResult,
)
from setupopt.search.engine.maxmin import STANDARD, TrustRegionOptions
from setupopt.search.relaxation import Progress, RelaxedOptimum
from setupopt.search.requirement import Asked
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver, one_at_a_time
from setupopt.search.stood_setup import requirement_of

_ROUNDS = 10
_QUICK = TrustRegionOptions(most_steps=25, least_gain=2e-4, least_rise=1e-3)
# Of a range, where a start with softer springs and bars stands.
_SOFT, _SPRINGS = 0.3, ("spring", "anti_roll", "third")
_FEW_ROUNDS = ExchangeOptions(
    value_tolerance=1e-4, constraint_tolerance=1e-4, most_rounds=3
)


def needs_search(project: Project) -> bool:
    """Whether limits.toml requires anything."""
    asked = project.limits.require if project.limits else None
    return asked is not None and asked != Require()


def required_optimum(
    root: RelaxedOptimum,
    times: float,
    least: float,
    progress: Progress,
    quick: bool = False,
) -> RelaxedOptimum:
    """The best of a body that stands what `[require]` says, `times` as much.

    `least`: the margin that builds and inputs must keep. `quick`: not as accurate, for a front.
    """
    problem = root.problem
    asked = problem.limits.require or Require()
    requirement = requirement_of(problem.project)
    if requirement is not None and times > 0.0:
        problem = replace(
            problem, requirement=replace(requirement, times=times)
        )
    points = root.best.index_points
    robust = root.robust or asked.builds or asked.spread
    if asked.builds or asked.spread:
        points = points.pick(np.flatnonzero(points.family < problem.attitudes))
        problem = replace(
            problem,
            builds=(),
            least_built=None if root.robust else least,
            has_builds=asked.builds or root.robust,
            has_spread=asked.spread,
        )
    with one_at_a_time:
        solver, end = _solved(
            problem,
            robust,
            replace(root.best, index_points=points),
            progress,
            quick,
        )
        end = solver.verified(solver.box, end)
    return replace(
        root,
        problem=solver.problem,
        robust=robust,
        best=end,
        exact=end,
        steady=root,
    )


def _solved(
    problem: SetupProblem,
    robust: bool,
    end: ExchangeResult,
    progress: Progress,
    quick: bool,
) -> tuple[Solver, ExchangeResult]:
    """Local searches from `end` with more and more places: at first quick ones, then accurate ones."""
    steps = (
        [(_QUICK, _FEW_ROUNDS)]
        if quick
        else [(_QUICK, _FEW_ROUNDS), (STANDARD, EXCHANGE)]
    )
    solver = Solver(problem, robust)
    for count in range(_ROUNDS):
        problem, grown = _with_places(solver.problem, end.outcome.point)
        if count > 0 and not grown:
            steps = steps[1:]
        if not steps:
            break
        progress(
            f"what must be stood, round {count + 1}, merit {end.merit:.4f}"
        )
        trust_region, options = steps[0]
        solver = Solver(problem, robust, trust_region)
        starts = (
            _starts(problem, end.outcome.point)
            if count == 0
            else [end.outcome.point]
        )
        end = solver.best_of(solver.box, starts, end.index_points, options)
    return solver, end


def _starts(problem: SetupProblem, point: Floats) -> list[Floats]:
    """A point, today's, and the point on softer springs and bars: the way there may lead over hard ones."""
    soft = [
        _SOFT if v.setting.field in _SPRINGS else 1.0 for v in problem.variables
    ]
    return [point, problem.start, point * np.array(soft)]


def _with_places(
    problem: SetupProblem, point: Floats
) -> tuple[SetupProblem, bool]:
    """The problem held at the worst places of a point too, and whether there are new ones."""
    required = problem.requirement
    if required is None:
        return problem, False
    index_points = problem.index.grid_points()
    cases = problem.cases(index_points)
    answers = problem.result(point[None, :], cases).answers
    setups = problem.setups(point)

    def room(which: list[Asked]) -> tuple[Floats, np.ndarray]:
        rooms, variants, _ = required.room(
            problem.model, setups, cases, answers, which
        )
        return rooms[0], variants[0]

    grown = required.with_worst(room, index_points)
    return replace(problem, requirement=grown), len(grown.places) > len(
        required.places
    )
