"""What is told of the setup that was chosen: results, prices, bounds, alternatives, what build errors do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from setupopt.evaluation.cases import CaseSet, sweep_at, sweep_cases
from setupopt.evaluation.limits_check import Broken, broken
from setupopt.evaluation.model import Model
from setupopt.evaluation.result import Result
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project, Setup
from setupopt.robust.builds.quasi_monte_carlo import BuildCloud
from setupopt.search.engine.index_points import on
from setupopt.search.engine.multipliers import Multipliers, multipliers_at
from setupopt.search.global_bounds import gains, upper_bound
from setupopt.search.near_optimal import alternatives, other_bodies
from setupopt.search.objective import Goal
from setupopt.search.parts.discrete_choice import Choice
from setupopt.search.proposal import (
    Alternative,
    Evidence,
    Proposal,
    Robustness,
    bindings_of,
    worst_by_attitude,
)
from setupopt.search.relaxation import CLOSE, TIGHT, RelaxedOptimum, starts_of
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.shadow_prices import ShadowPrice, prices
from setupopt.search.solver import DENSER, Solver

# Builds of the cloud that a robust proposal is checked on.
_CLOUD = 512
# A floor missed by less is kept: the search holds limits to about this.
_FLOOR_NOTICE = 1e-6


@dataclass(frozen=True)
class ProposalBuilder:
    """Everything that is told of a choice among bodies; `roots` are theirs, `today` wears its own."""

    today: Project
    goal: Goal
    roots: Sequence[RelaxedOptimum]
    choice: Choice

    @property
    def root(self) -> RelaxedOptimum:
        """That of the body chosen."""
        return self.roots[self.choice.body]

    @property
    def problem(self) -> SetupProblem:
        """That of the body chosen."""
        return self.root.solver.problem

    @cached_property
    def setup(self) -> Setup:
        """The proposed setup."""
        return self.problem.setup(self.choice.point, f"Proposed from {self.today.setup.name}"[:80])

    @cached_property
    def result(self) -> Result:
        """Of the proposed setup on the dense sweep."""
        return self.problem.result(self.choice.point[None, :], self.dense)

    @cached_property
    def dense(self) -> CaseSet:
        """The sweep of the check."""
        return sweep_cases(self.today.venue, sweep_at(self.today.venue, DENSER))

    @cached_property
    def between(self) -> Result:
        """Of the proposed setup in its dips, between the angles of the dense sweep too."""
        exact = Solver(self.problem)
        return self.problem.result(
            self.choice.point[None, :], self.problem.cases(exact.look(self.choice.point, exact.dense).places)
        )

    def prices(self) -> tuple[ShadowPrice, ...]:
        """Of the limits, where every part may have any value; none where the limits cannot be kept."""
        if not self.holds:
            return ()
        solver = Solver(self.problem, self.root.solver.robust, TIGHT)
        return prices(solver, self.root.best, _weights(self.root), CLOSE)

    def bound(self, seed: int) -> float:
        """What no setup on any of the bodies can be worth more than."""
        return max(_bound(root, starts_of(root.solver.problem, 2, seed)) for root in self.roots)

    def alternatives(self, loss: float) -> tuple[Alternative, ...]:
        """Clearly different setups, those with another body first."""
        if loss <= 0.0 or not self.holds:
            return ()
        least = self.choice.merit - loss
        bodies = other_bodies(self.roots, self.choice.body, least)
        return (*bodies, *alternatives(self.root.solver, self.choice.point, self.choice.places, least))

    def robustness(self) -> Robustness:
        """What reckoning with build errors costs and brings."""
        solver, point = self.root.solver, self.choice.point
        exact, best = (end.outcome.point for end in (self.root.exact, self.root.best))
        final = solver.worst_build(point)
        cloud = BuildCloud(solver.errors(point), sweep_cases(self.today.venue))((0, _CLOUD))
        return Robustness(
            self._margin(exact), solver.worst_build(exact).margin, self._margin(best),
            solver.worst_build(best).margin, self._margin(point), final.margin, final.errors,
            float(cloud.min()), _CLOUD,
        )  # fmt: skip

    def _margin(self, point: Floats) -> float:
        """Worst margin of the exact car on the dense sweep."""
        return float(self.problem.result(point[None, :], self.dense).worst_margin[0])

    def evidence(self, bound: float, steps: int) -> Evidence:
        """Without the counts of the whole work."""
        root, choice = self.root, self.choice
        return Evidence(
            root.ends, root.searched_merit, root.climbed, root.searched.points_asked, bound, root.best.merit,
            choice.end.merit, choice.study, steps, 0, 0.0,
        )  # fmt: skip

    def proposal(
        self, priced: tuple[ShadowPrice, ...], others: tuple[Alternative, ...], robustness: Robustness | None,
        evidence: Evidence,
    ) -> Proposal:  # fmt: skip
        """All of it."""
        model = Model(self.today.car)
        start = model.run(model.settings(self.today.setup), self.dense)
        project, setup = self.problem.project, self.setup
        return Proposal(
            project=project, today=self.today, setup=setup, free=self.problem.variables,
            goal=self.goal, result=self.result, between=self.between, start_result=start,
            counted=self.choice.merit, start_counted=self._counted(start), broken=self.broken,
            floors_broken=self.floors_broken, prices=priced, alternatives=others,
            bindings=bindings_of(self.between, self.goal, self._shares()),
            gains=gains(project, setup, sweep_cases(project.venue)), robustness=robustness,
            evidence=evidence,
        )  # fmt: skip

    def _counted(self, result: Result) -> float:
        """Worst margin of a result on the dense sweep, as it counts."""
        attitude = np.repeat(np.arange(len(self.goal.names)), len(self.dense) // len(self.goal.names))
        held = np.where(result.contact[0], result.margin[0], -np.inf)[self.goal.weights[attitude] > 0.0]
        return float(self.goal.counts(attitude[self.goal.weights[attitude] > 0.0], held).min())

    @cached_property
    def floors_broken(self) -> tuple[str, ...]:
        """Attitudes under their own floor."""
        worst = worst_by_attitude(self.result, self.between)
        held_by = zip(self.goal.names, worst, self.goal.floors, strict=True)
        return tuple(name for name, margin, floor in held_by if margin < floor - _FLOOR_NOTICE)

    @cached_property
    def broken(self) -> tuple[Broken, ...]:
        """Limits that the proposed setup breaks, between the angles too."""
        project, found = self.problem.project, list(broken(self.problem.project, self.setup, self.result))
        known = {(limit.limit, limit.where) for limit in found}
        more = broken(project, self.setup, self.between)
        return (*found, *(limit for limit in more if (limit.limit, limit.where) not in known))

    @cached_property
    def holds(self) -> bool:
        """Whether contact holds everywhere, and every limit and floor is kept."""
        lost = self.result.lost() + self.between.lost()
        return lost == 0 and not self.broken and not self.floors_broken

    def _shares(self) -> dict[tuple[str, float], float]:
        """Weights of the binding places before the steps, by attitude and where they stand."""
        end, problem = self.choice.end, self.problem
        held = multipliers_at(on(problem, end.places), end.outcome.point)
        rows = problem(end.outcome.point[None, :], end.places).value_place
        weights = np.bincount(rows, weights=held.values, minlength=len(end.places))
        cases = problem.cases(end.places)
        found: dict[tuple[str, float], float] = {}
        for place in np.flatnonzero(weights > 1e-6):
            key = (cases.attitude[place], float(end.places.at[place]))
            found[key] = found.get(key, 0.0) + float(weights[place])
        return found


def _weights(root: RelaxedOptimum) -> Multipliers:
    """Of all rows and borders at a root's best, where every part may have any value."""
    return multipliers_at(on(root.solver.problem, root.best.places), root.best.outcome.point)


def _bound(root: RelaxedOptimum, starts: Sequence[Floats]) -> float:
    return upper_bound(root.solver.problem, root.best, _weights(root).values, starts)
