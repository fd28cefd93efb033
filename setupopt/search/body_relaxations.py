"""The whole boxes of all bodies solved: one after the other here, or each by a worker of a crew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from setupopt.jobs.pool import WorkerPool
from setupopt.physics.inputs import Floats
from setupopt.search.parts.node_solver import ProblemSpec, one_at_a_time
from setupopt.search.relaxation import Progress, RelaxedOptimum, root_of
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver


@dataclass(frozen=True)
class _Found:
    """A root without its solver, whose problem stays where it is; with that problem's builds and count."""

    answers: dict[str, Any]
    robust: bool
    builds: tuple[Floats, ...]
    solved: int

    def at(self, problem: SetupProblem) -> RelaxedOptimum:
        """The root, of the same problem here, which learns what was found out there."""
        problem.builds, problem.solved = list(self.builds), problem.solved + self.solved
        return RelaxedOptimum(solver=Solver(problem, self.robust), **self.answers)


@dataclass(frozen=True)
class RootSearch:
    """Solves the whole box of a body, called with its problem; `starts` and `seed` as `roots.root_of`."""

    robust: bool
    starts: int
    seed: int

    def __call__(self, posed: ProblemSpec) -> _Found:
        with one_at_a_time:
            root = root_of(posed.problem(), self.robust, self.starts, self.seed)
        answers = {f.name: getattr(root, f.name) for f in fields(root) if f.name != "solver"}
        problem = root.solver.problem
        return _Found(answers, self.robust, tuple(problem.builds), problem.solved)


def roots_of(
    problems: Sequence[SetupProblem], search: RootSearch, progress: Progress | None, crew: WorkerPool | None
) -> list[RelaxedOptimum]:
    """The roots of all problems, in their order; the same to the last bit whoever finds them."""
    if crew is None:
        return [root_of(p, search.robust, search.starts, search.seed, progress) for p in problems]
    found = [crew.submit(search, ProblemSpec.of(problem)) for problem in problems]
    roots = []
    for number, (problem, future) in enumerate(zip(problems, found, strict=True), 1):
        if progress is not None:
            progress(f"body {number} of {len(problems)}, with parts of any value")
        roots.append(future.result().at(problem))
    return roots
