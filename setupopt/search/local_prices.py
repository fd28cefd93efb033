"""What limits are worth to a setup that no search proposed: prices at the best setup that is near it."""

from __future__ import annotations

from dataclasses import dataclass

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.variables import from_setup
from setupopt.project.model import Project, Setup
from setupopt.search.engine.batch import silent
from setupopt.search.objective import objective_of
from setupopt.search.proposal import CheckedSetup, ComparedSetup, checked
from setupopt.search.relaxation import (
    CLOSE,
    FIRST_PASS,
    FIRST_ROUNDS,
    TIGHT,
    Progress,
    solved_closely,
    step_report,
)
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.shadow_prices import ShadowPrice, prices
from setupopt.search.solver import Solver, one_at_a_time


@dataclass(frozen=True)
class LocalPrices:
    """`near`: the end of a local search from a setup, parts and steps of any value, beside today's setup.

    `prices`: of the limits there; none where it does not hold. `own`: the setup itself beside today's.
    """

    own: ComparedSetup
    near: ComparedSetup
    prices: tuple[ShadowPrice, ...]


def local_prices(
    today: Project, project: Project, progress: Progress = silent
) -> LocalPrices | None:
    """Of the setup on which `project` stands, in its body; `today` stands on today's.

    What must be stood, `[require]`, is left out. None without limits.toml, and where that leaves no setting
    free.
    """
    if project.limits is None:
        return None
    problem = SetupProblem(project, objective_of(project.venue))
    if not problem.variables:
        return None
    with one_at_a_time:
        first = Solver(problem, trust_region=FIRST_PASS)
        report = step_report(progress, "prices of limits")
        end = first.solve(first.box, problem.start, None, FIRST_ROUNDS, report)
        best = solved_closely(problem, end, progress)
        near = _compared(
            problem, today, problem.setup(best.outcome.point, "the best nearby")
        )
        solver = Solver(problem, trust_region=TIGHT)
        priced = prices(solver, best, CLOSE) if near.holds else ()
    own = _compared(problem, today, project.setup)
    return LocalPrices(own, near, priced)


def _compared(
    problem: SetupProblem, today: Project, setup: Setup
) -> ComparedSetup:
    """A setup on the sweep and at its local minima between the angles, beside today's."""
    solver = Solver(problem)
    point = from_setup(problem.variables, setup)
    minima = problem.cases(solver.look(point, problem.index).index_points)
    cases = sweep_cases(problem.project.venue)
    check: CheckedSetup = checked(
        problem.project,
        setup,
        problem.objective,
        evaluate(problem.project, setup, cases),
        evaluate(problem.project, setup, minima),
    )
    return ComparedSetup(
        **vars(check),
        today=today,
        free=problem.variables,
        start_result=evaluate(today, cases=cases),
    )
