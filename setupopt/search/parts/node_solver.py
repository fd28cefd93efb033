"""Boxes of part sets solved where they are sent: here, or on another machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import RLock

from setupopt.evaluation.variables import Variable
from setupopt.physics.inputs import Floats
from setupopt.project.model import Limits, Project, Setup
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.objective import Goal
from setupopt.search.parts.part_space import BoundedNode, Node, PartSpace
from setupopt.search.relaxation import RelaxedOptimum
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.solver import Solver

# Solves a box from some points of all variables: its best merit and where.
Solve = Callable[[Node, Sequence[Floats]], BoundedNode]
# Compiled programs are shared by all threads of a process, and hold the numbers of one search at a time.
one_at_a_time = RLock()


@dataclass(frozen=True)
class Solved(BoundedNode):
    """A box solved just now, in so many load cases."""

    cases: int = 0


@dataclass(frozen=True)
class ProblemSpec:
    """A setup problem as plain data, to be sent to other machines; `builds`: those that are known."""

    project: Project
    limits: Limits
    goal: Goal
    variables: tuple[Variable, ...]
    base: Setup
    start: Floats
    builds: tuple[Floats, ...]

    @classmethod
    def of(cls, p: SetupProblem) -> ProblemSpec:
        """The problem as it stands."""
        return cls(p.project, p.limits, p.goal, p.variables, p.base, p.start, tuple(p.builds))

    def problem(self) -> SetupProblem:
        """A problem of its own: what was solved before must not change what comes after."""
        problem = SetupProblem(self.project, self.limits, self.goal)
        problem.variables, problem.base, problem.start = self.variables, self.base, self.start
        problem.builds = list(self.builds)
        return problem


@dataclass(frozen=True)
class Body:
    """A body's problem with the builds of its root, and the places that held the root down."""

    posed: ProblemSpec
    is_robust: bool
    places: IndexPoints

    @classmethod
    def of(cls, root: RelaxedOptimum) -> Body:
        """As the body's whole box was solved."""
        return cls(ProblemSpec.of(root.solver.problem), root.solver.robust, root.best.places)

    def solver(self) -> Solver:
        """A solver of its own."""
        return Solver(self.posed.problem(), self.is_robust)


@dataclass(frozen=True)
class BodyBoxes:
    """Solves boxes of all bodies."""

    space: PartSpace
    bodies: tuple[Body, ...]

    def __call__(self, box: Node, starts: Sequence[Floats]) -> Solved:
        body = self.bodies[box.body]
        with one_at_a_time:
            solver = body.solver()
            end = solver.best_of(self.space.borders(box), starts, body.places)
        return Solved(box, end.merit, end.outcome.point, solver.problem.solved)


@dataclass(frozen=True)
class ExpandTask:
    """A box to open: its set `single` next to the bound, with its answer if it is known, and its halves."""

    found: BoundedNode
    single: Node
    known: BoundedNode | None
    halves: tuple[Node, ...]


@dataclass(frozen=True)
class Expansion:
    """The set and the halves of a box, solved; in so many load cases."""

    solved: BoundedNode
    halves: tuple[BoundedNode, ...]
    cases: int


@dataclass(frozen=True)
class NodeExpander:
    """Opens boxes: what they answer depends on nothing but the box and the point of its bound."""

    solve: Solve

    def __call__(self, job: ExpandTask) -> Expansion:
        solved = job.known or self.solve(job.single, [job.found.point])
        halves = tuple(self.solve(half, [job.found.point, solved.point]) for half in job.halves)
        new = halves if job.known else (solved, *halves)
        return Expansion(solved, halves, sum(one.cases for one in new if isinstance(one, Solved)))
