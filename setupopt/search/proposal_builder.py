"""The proposal of the setup that was chosen: its check, prices, bounds, alternatives and robustness."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from setupopt.evaluation.cases import CaseSet, join, sweep_at, sweep_cases
from setupopt.evaluation.model import evaluate
from setupopt.evaluation.setup_record import by_wheel
from setupopt.evaluation.variables import with_value
from setupopt.physics.inputs import Floats
from setupopt.project.model import Project
from setupopt.robust.builds.quasi_monte_carlo import BuildCloud
from setupopt.search.engine.index_points import restricted
from setupopt.search.engine.multipliers import multipliers_at
from setupopt.search.global_bounds import sensitivities, upper_bound
from setupopt.search.near_optimal import alternatives, other_bodies
from setupopt.search.objective import Objective
from setupopt.search.parts.discrete_choice import Choice
from setupopt.search.proposal import (
    Alternative,
    Change,
    CheckedSetup,
    Evidence,
    Plateau,
    PointWeights,
    Proposal,
    ProposalOptions,
    Robustness,
    active_cases,
    checked,
    weighted_worst_margin,
)
from setupopt.search.relaxation import (
    CLOSE,
    TIGHT,
    Progress,
    RelaxedOptimum,
    other_starts,
)
from setupopt.search.required_front import FrontPoint, Required
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.shadow_prices import ShadowPrice, multipliers_of, prices
from setupopt.search.shorter_list import without_small_changes
from setupopt.search.sides import what_sides_bring
from setupopt.search.solver import DENSER, Solver
from setupopt.search.stood_setup import not_stood, stood_by
from setupopt.search.worth import changes, plateaus

# Builds of the cloud that a robust proposal is checked on.
_CLOUD = 512
# Starts of the local searches for the upper bound.
_BOUND_STARTS = 2
# Index points with a smaller multiplier are not active.
_SMALL = 1e-6
_NAME_LENGTH = 80


@dataclass(frozen=True)
class ProposalBuilder:
    """The proposal of a choice among bodies; `roots` are theirs, `today` has today's body."""

    today: Project
    objective: Objective
    roots: Sequence[RelaxedOptimum]
    choice: Choice
    times: float = 1.0
    front: tuple[FrontPoint, ...] = ()

    def proposal(
        self, options: ProposalOptions, progress: Progress
    ) -> Proposal:
        """All of it, but for the seconds of the whole work."""
        if options.min_gain > 0.0:
            choice, dropped = without_small_changes(
                self.choice, options.min_gain, progress
            )
            found = replace(self, choice=choice).proposal(
                replace(options, min_gain=0.0), progress
            )
            loss = self.choice.merit - choice.merit
            evidence = replace(found.evidence, with_parts=self.choice.end.merit)
            return replace(
                found, dropped=dropped, dropped_loss=loss, evidence=evidence
            )
        progress("prices and bounds")
        priced = self._prices()
        bound = max(_bound(root, options.seed) for root in self.roots)
        progress("alternatives")
        others = self._alternatives(options.loss)
        progress("build errors" if options.robust else "checks")
        robustness = self._robustness() if options.robust else None
        required = self._required(progress)
        progress("what each change is worth")
        sides = what_sides_bring(
            self._root.problem, self._root.exact, self._root.alike
        )
        evidence = self._evidence(bound)
        check = self.check
        if required is not None:
            unstood = not_stood(
                required.proposed, self.times, options.least_margin
            )
            check = replace(check, broken=(*check.broken, *unstood))
        today = evaluate(self.today, cases=self._dense)
        return Proposal(
            **vars(check),
            today=self.today,
            free=self._problem.variables,
            start_result=today,
            weighted_margin=self.choice.merit,
            start_weighted_margin=weighted_worst_margin(self.objective, today),
            active_cases=active_cases(
                check.between, self.objective, self._point_weights()
            ),
            prices=priced,
            gains=sensitivities(
                check.project, check.setup, sweep_cases(check.project.venue)
            ),
            alternatives=others,
            robustness=robustness,
            evidence=evidence,
            changes=self._changes(),
            plateaus=self._plateaus(),
            sides=sides,
            required=required,
        )

    def _required(self, progress: Progress) -> Required | None:
        """What had to be stood, and how today's, the steady and the proposed setup stand it."""
        root = self._root
        if root.steady is None:
            return None
        progress("what is stood")
        problem = root.problem
        steady = problem.setup(root.steady.best.outcome.point, "steady")
        for variable in problem.variables:
            if variable.setting.field.startswith(
                "damper"
            ):  # no margin hangs on it: left as today
                own_rate = variable.of(by_wheel(self.today.setup))[0]
                steady = with_value(steady, variable, float(own_rate))
        own = replace(problem, project=self.today)
        return Required(
            self.times,
            stood_by(own, self.today.setup, self.times),
            stood_by(problem, steady, self.times),
            stood_by(problem, self.check.setup, self.times),
            self.front,
        )

    def _changes(self) -> tuple[Change, ...]:
        """What leaving each change alone would cost, on the sweep."""
        check = self.check
        cases = join(sweep_cases(check.project.venue), check.between.cases)
        return changes(
            check.project, self.today.setup, check.setup, self.objective, cases
        )

    def _plateaus(self) -> tuple[Plateau, ...]:
        """How far each setting may go."""
        choice = self.choice
        problem = self._problem
        seen = Solver(problem).look(choice.point, problem.index).index_points
        return plateaus(problem, choice.point, choice.index_points.join(seen))

    @property
    def _root(self) -> RelaxedOptimum:
        """That of the body chosen."""
        return self.roots[self.choice.body]

    @property
    def _problem(self) -> SetupProblem:
        """That of the body chosen."""
        return self.choice.solver.problem

    @cached_property
    def _dense(self) -> CaseSet:
        """The dense sweep."""
        return sweep_cases(self.today.venue, sweep_at(self.today.venue, DENSER))

    @cached_property
    def check(self) -> CheckedSetup:
        """The proposed setup on the dense sweep, and at its local minima between the angles of that."""
        problem = self._problem
        point = self.choice.point
        exact = Solver(problem)
        minima = problem.cases(exact.look(point, exact.dense).index_points)
        setup = problem.setup(
            point, f"Proposed from {self.today.setup.name}"[:_NAME_LENGTH]
        )
        result = problem.result(point[None, :], self._dense)
        between = problem.result(point[None, :], minima)
        return checked(
            problem.project,
            setup,
            self.objective,
            result,
            between,
        )

    def _prices(self) -> tuple[ShadowPrice, ...]:
        """Of the limits, where every part may have any value; none where the check fails."""
        if not self.check.holds:
            return ()
        root = self._root
        if self._problem.fixed_settings != root.problem.fixed_settings:
            root = self._reduced_root()
        return prices(
            root.solver(TIGHT),
            root.best,
            CLOSE,
        )

    def _reduced_root(self) -> RelaxedOptimum:
        """The optimum where more settings stay as today."""
        choice = self.choice
        solver = Solver(self._problem, choice.solver.robust, TIGHT)
        best = solver.solve(
            solver.box, choice.end.outcome.point, choice.index_points, CLOSE
        )
        return replace(self._root, problem=solver.problem, best=best)

    def _alternatives(self, loss: float) -> tuple[Alternative, ...]:
        """Clearly different setups, those with another body first."""
        if loss <= 0.0 or not self.check.holds:
            return ()
        choice = self.choice
        least = choice.merit - loss
        bodies = other_bodies(self.roots, choice.body, least)
        return (
            *bodies,
            *alternatives(
                choice.solver,
                choice.point,
                choice.index_points,
                least,
            ),
        )

    def _robustness(self) -> Robustness:
        """What the robust search costs and brings."""
        solver = self.choice.solver
        point = self.choice.point
        whole = self._root.solver()
        exact = self._root.exact.outcome.point
        best = self._root.best.outcome.point
        final = solver.worst_build(point)
        cloud = BuildCloud(solver.errors(point), sweep_cases(self.today.venue))(
            (0, _CLOUD)
        )
        return Robustness(
            exact_margin=self._margin(whole.problem, exact),
            exact_built=whole.worst_build(exact).margin,
            robust_margin=self._margin(whole.problem, best),
            robust_built=whole.worst_build(best).margin,
            margin=self._margin(solver.problem, point),
            built=final.margin,
            worst_errors=final.errors,
            cloud_least=float(cloud.min()),
            cloud_count=_CLOUD,
        )

    def _margin(self, problem: SetupProblem, point: Floats) -> float:
        """Worst margin of the exact car on the dense sweep."""
        return float(
            problem.result(point[None, :], self._dense).worst_margin[0]
        )

    def _evidence(self, bound: float) -> Evidence:
        root = self._root
        choice = self.choice
        solved = sum(one.problem.counter.count for one in self.roots)
        return Evidence(
            ends_of_starts=root.ends,
            searched=root.searched_merit,
            searched_end=root.searched_end,
            searched_points=root.searched.evaluations,
            bound=bound,
            continuous=root.best.merit,
            with_parts=choice.end.merit,
            parts=choice.study,
            steps=sum(one.steps for one in self.roots) + choice.end.steps,
            evaluations=solved + (choice.study.cases if choice.study else 0),
            seconds=0.0,
        )

    def _point_weights(self) -> PointWeights:
        """Multipliers of the active index points before rounding, by attitude and where they are."""
        end = self.choice.end
        index_points = end.index_points
        found = multipliers_at(
            restricted(self._problem, index_points), end.outcome.point
        )
        owner = self._problem(
            end.outcome.point[None, :], index_points
        ).value_index
        weights = np.bincount(
            owner, weights=found.values, minlength=len(index_points)
        )
        attitude = self._problem.cases(index_points).attitude
        shares: defaultdict[tuple[str, float], float] = defaultdict(float)
        for number in np.flatnonzero(weights > _SMALL):
            shares[attitude[number], float(index_points.at[number])] += float(
                weights[number]
            )
        return shares


def _bound(root: RelaxedOptimum, seed: int) -> float:
    """The merit that no setup on a body exceeds."""
    root = root.steady or root
    others = other_starts(
        root.problem, root.best.index_points, _BOUND_STARTS - 1, seed
    )
    return upper_bound(
        root.problem,
        root.best,
        multipliers_of(root.problem, root.best).values,
        [root.problem.start, *others],
    )
