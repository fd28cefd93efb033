"""Nodes of part sets solved where they are sent: here, or on another machine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from setupopt.physics.inputs import Floats
from setupopt.search.engine.index_points import IndexPoints
from setupopt.search.parts.part_space import BoundedNode, Node, PartSpace
from setupopt.search.relaxation import RelaxedOptimum
from setupopt.search.setup_problem import CaseCounter, SetupProblem
from setupopt.search.solver import Solver, one_at_a_time

# Solves a node from some points of all variables: its best merit and where.
Solve = Callable[[Node, Sequence[Floats]], BoundedNode]


@dataclass(frozen=True)
class SolvedNode(BoundedNode):
    """A node solved just now, and the count of load cases that took."""

    cases: int = 0


@dataclass(frozen=True)
class BodyProblem:
    """A body's problem with the builds found with parts of any value, and the index points active there."""

    problem: SetupProblem
    robust: bool
    index_points: IndexPoints

    @classmethod
    def of(cls, root: RelaxedOptimum) -> BodyProblem:
        """The problem of a body that was solved with parts of any value."""
        return cls(root.problem, root.robust, root.best.index_points)


@dataclass(frozen=True)
class NodeSolver:
    """Solves nodes of all bodies. What was solved before changes nothing in the numbers."""

    space: PartSpace
    bodies: tuple[BodyProblem, ...]

    def __call__(self, node: Node, starts: Sequence[Floats]) -> SolvedNode:
        body = self.bodies[node.body]
        counter = CaseCounter()
        with one_at_a_time:
            solver = Solver(replace(body.problem, counter=counter), body.robust)
            end = solver.best_of(
                self.space.bounds(node), starts, body.index_points
            )
        return SolvedNode(
            node,
            end.merit,
            end.outcome.point,
            counter.count,
        )


@dataclass(frozen=True)
class ExpandTask:
    """A node to expand: its set `single` next to the bound, solved if it is `known`, and its halves."""

    found: BoundedNode
    single: Node
    known: BoundedNode | None
    halves: tuple[Node, ...]


@dataclass(frozen=True)
class Expansion:
    """The set and the halves of a node, solved, and the count of load cases that took."""

    solved: BoundedNode
    halves: tuple[BoundedNode, ...]
    cases: int


@dataclass(frozen=True)
class NodeExpander:
    """Expands nodes. The answer depends only on the node and on the point of its bound."""

    solve: Solve

    def __call__(self, task: ExpandTask) -> Expansion:
        solved = task.known or self.solve(task.single, [task.found.point])
        halves = tuple(
            self.solve(half, [task.found.point, solved.point])
            for half in task.halves
        )
        new = halves if task.known else (solved, *halves)
        return Expansion(
            solved,
            halves,
            sum(one.cases for one in new if isinstance(one, SolvedNode)),
        )
