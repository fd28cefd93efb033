"""The setup whose worst margin is highest: several starts, parts, steps, and a check between the angles."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from setupopt.cases import CaseSet, join, sweep_angles, sweep_cases
from setupopt.errors import UserError
from setupopt.limits_check import Broken, broken
from setupopt.physics.inputs import Floats
from setupopt.project.model import Limits, Project, Setup
from setupopt.result import Field, Result
from setupopt.search.maxmin import Outcome, Rules, climb
from setupopt.search.prices import Price, prices
from setupopt.search.rounding import choose_parts, to_steps
from setupopt.search.setup_problem import SetupProblem

# Told in words how far the work is.
Progress = Callable[[str], object]

# The check sweeps this many times as densely as the search.
DENSER = 6
# Cases between those of the search are added when they are worse by more than this, or break a limit by
# more than this share of its scale; so many at once, so many times.
_NOTICE, _TOUCH = 1e-4, 1e-9
_ADDED, _ROUNDS = 30, 6
# Cases this close to the worst margin are told to the user as those that bind.
_CLOSE = 0.003


@dataclass(frozen=True)
class Proposal:
    """A proposed setup with its evidence."""

    setup: Setup
    margin: float  # worst on the dense sweep; minus infinity where contact is lost
    start_margin: float
    result: Result  # of the proposed setup on the dense sweep
    start_result: Result
    broken: tuple[Broken, ...]  # limits that the proposed setup breaks
    prices: tuple[Price, ...]
    start_merits: tuple[float, ...]  # where each start ended, best first
    margin_before_rounding: float
    iterations: int
    evaluations: int  # cases solved
    seconds: float

    @property
    def holds(self) -> bool:
        """Whether every case of the dense sweep has a trim and every limit is kept."""
        return bool(np.isfinite(self.margin)) and not self.broken

    @property
    def spread_of_starts(self) -> float:
        """Best minus worst end of the starts."""
        return self.start_merits[0] - self.start_merits[-1]

    def binding_cases(self) -> list[Field]:
        """Cases within a whisker of the worst, the lowest angle of each attitude's dip, worst first."""
        margin = np.where(self.result.contact[0], self.result.margin[0], -np.inf)
        around = margin.reshape(len(self.result.cases.attitudes), -1)
        padded = np.pad(around, ((0, 0), (1, 1)), constant_values=np.inf)
        dip = (around <= padded[:, :-2]) & (around < padded[:, 2:]) & (around <= self.margin + _CLOSE)
        rows = np.flatnonzero(dip.ravel())
        return [self._binding(int(row)) for row in rows[np.argsort(margin[rows], kind="stable")]]

    def _binding(self, row: int) -> Field:
        fields = self.result.fields(row)
        return {name: fields[name] for name in ("roll_angle_deg", "attitude", "margin", "first_axle")}


def _limits_of(project: Project) -> Limits:
    """The project's limits; without them there is nothing to vary."""
    if project.limits is None:
        raise UserError(
            f"{project.folder / 'limits.toml'} is missing: propose needs it, because it says how far each "
            "setting may go"
        )
    return project.limits


def _starts(problem: SetupProblem, count: int, seed: int) -> Floats:
    """Today's setup, then a space-filling set (starts, variables)."""
    if count <= 1:
        return problem.start[None, :]
    others = qmc.Sobol(problem.start.size, seed=seed).random(1 << (count - 2).bit_length())[: count - 1]
    return np.vstack([problem.start, others])


def _solve(
    problem: SetupProblem, starts: Floats, rules: Rules, progress: Progress | None
) -> tuple[list[Outcome], int]:
    """Climb from every start, best first; with all steps taken."""
    ends = [
        climb(problem, start, rules, _saying(progress, f"start {n} of {len(starts)}"))
        for n, start in enumerate(starts, 1)
    ]
    return sorted(ends, key=lambda end: -end.merit), sum(end.steps for end in ends)


def _worse_cases(problem: SetupProblem, point: Floats, dense: CaseSet) -> CaseSet | None:
    """Cases of the dense sweep that are worse, or break a limit by more, than any the search saw."""
    seen, looked = problem.result(point[None, :]), problem.result(point[None, :], cases=dense)
    level = float(seen.steer[0].min())
    lag = level - looked.steer[0] - _NOTICE
    room = min(0.0, float(problem.limit_rows(point, seen).rows[0].min(initial=0.0)))
    rows = problem.limit_rows(point, looked)
    moving = rows.case >= 0
    short = np.zeros(len(dense))
    np.maximum.at(short, rows.case[moving], room - rows.rows[0][moving] - _TOUCH)
    worse = np.flatnonzero((lag > 0.0) | (short > 0.0))
    order = np.argsort(-np.maximum(lag, short)[worse], kind="stable")
    return dense.pick(worse[order][:_ADDED]) if worse.size else None


def _finish(
    problem: SetupProblem, best: Outcome, rules: Rules, progress: Progress | None
) -> tuple[Floats, int]:
    """Parts and steps for one optimum; the settable point, and the steps of the search."""
    chosen, steps = choose_parts(
        problem, problem.variables, best, rules, _saying(progress, "parts from the shelf")
    )
    point, _ = to_steps(problem, problem.variables, chosen)
    return point, steps


def _saying(progress: Progress | None, stage: str) -> Callable[[int], object] | None:
    """Step counter of one stage of the work."""
    return None if progress is None else lambda step: progress(f"{stage}, step {step}")


def propose(
    project: Project,
    starts: int = 4,
    seed: int = 0,
    rules: Rules | None = None,
    progress: Progress | None = None,
) -> Proposal:
    """The setup inside `limits.toml` whose worst margin over all roll angles and attitudes is highest.

    Successive linear programs from today's setup and `starts - 1` others; parts and steps as
    mechanics can set them; checked on a sweep `DENSER` times as dense, whose worse angles, if
    there are any, are given back to the search. Raises UserError without `limits.toml`.
    """
    began, rules = time.perf_counter(), rules or Rules()
    problem = SetupProblem(project, _limits_of(project), sweep_cases(project.venue))
    if not problem.variables:
        raise UserError("limits.toml leaves no setting free: give at least one range with from < to")
    dense = sweep_cases(project.venue, sweep_angles(project.venue.sweep, DENSER))
    ends, steps = _solve(problem, _starts(problem, starts, seed), rules, progress)
    best = ends[0]
    for last in [*[False] * (_ROUNDS - 1), True]:
        point, more = _finish(problem, best, rules, progress)
        steps += more
        worse = None if last else _worse_cases(problem, point, dense)
        if worse is None:
            break
        problem.with_cases(join(problem.cases, worse))
        best = climb(problem, best.point, rules, _saying(progress, "between the angles"))
        steps += best.steps
    setup = problem.setup(point, f"Proposed from {project.setup.name}"[:80])
    result = problem.model.run(problem.model.settings(setup), dense)
    start_result = problem.model.run(problem.model.settings(project.setup), dense)
    return Proposal(
        setup=setup,
        margin=float(result.worst_margin[0]),
        start_margin=float(start_result.worst_margin[0]),
        result=result,
        start_result=start_result,
        broken=broken(project, setup, result),
        prices=prices(problem, best),
        start_merits=tuple(end.merit for end in ends),
        margin_before_rounding=best.merit,
        iterations=steps,
        evaluations=problem.solved + 2 * len(dense),
        seconds=time.perf_counter() - began,
    )
