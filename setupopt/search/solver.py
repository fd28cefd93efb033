"""The setup problem of one body, solved inside a box of settings over every roll angle.

With `robust`, builds within the tolerance count as well. Wherever a point is checked, the builds that hurt it
most are looked for and become constraints (A. Mutapcic and S. Boyd, Cutting-set methods for robust convex
optimization with pessimizing oracles, Optim. Methods Softw. 24 (2009) 381-406).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from threading import RLock
from typing import Any

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.physics.inputs import Floats
from setupopt.robust.builds.build_variation import BuildErrors
from setupopt.robust.builds.worst_build import (
    WorstBuild,
    candidate_corners,
    worst_build,
)
from setupopt.search.engine.batch import StepProgress, silent
from setupopt.search.engine.exchange import (
    EXCHANGE,
    ExchangeOptions,
    ExchangeResult,
    exchange,
)
from setupopt.search.engine.index_points import (
    Index,
    IndexPoints,
    OracleResult,
    SemiInfiniteEvaluation,
    coarse_oracle,
    join_results,
    separation_oracle,
)
from setupopt.search.engine.maxmin import STANDARD, TrustRegionOptions
from setupopt.search.engine.subbox import Subbox
from setupopt.search.setup_problem import SetupProblem

# The oracle sees local minima so much above the worst margin, and limits with less room than this, over
# their scales.
_BAND = 0.05
_ROOM = 0.2
# Builds are looked for at so many of the worst local minima.
_MINIMA = 12
# The thorough search for the worst build is run at most so often, and counts if it finds so much less.
_CHECKS = 4
_BUILD_TOLERANCE = 1e-4
# A local search begins with every so many-th angle; the exchange adds what lies between.
_THINNED = 3
# The last check, and what rests on it, has so many times as many angles.
DENSER = 6
# Compiled programs are shared by all threads of a process, and hold the numbers of one search at a time.
one_at_a_time = RLock()

Bounds = tuple[Floats, Floats]


class Solver:
    """Solves a SetupProblem over its whole index. Its `problem` gains the builds that are found."""

    def __init__(
        self,
        problem: SetupProblem,
        robust: bool = False,
        trust_region: TrustRegionOptions = STANDARD,
    ) -> None:
        self.problem = problem
        self.robust = robust
        self.trust_region = trust_region
        index = problem.index
        between = np.linspace(
            0.0,
            1.0,
            DENSER,
            endpoint=False,
        )
        fine = (
            index.grid[:-1, None] + np.diff(index.grid)[:, None] * between
        ).ravel()
        self.dense = Index(index.families, np.append(fine, index.grid[-1]))

    def __call__(
        self,
        points: Floats,
        index_points: IndexPoints,
        warm_start: Any = None,
    ) -> SemiInfiniteEvaluation:
        """The problem, with all builds that are known by now."""
        return self.problem(points, index_points, warm_start)

    @property
    def box(self) -> Bounds:
        """Bounds of the whole box, (variables) each."""
        size = self.problem.start.size
        return np.zeros(size), np.ones(size)

    def solve(
        self,
        bounds: Bounds,
        start: Floats,
        index_points: IndexPoints | None = None,
        options: ExchangeOptions = EXCHANGE,
        progress: StepProgress = silent,
    ) -> ExchangeResult:
        """Exchange inside the bounds from the point nearest to `start`; the result has all variables."""
        inside = Subbox(*bounds)
        begin = inside.nearest(start)

        def quick(point: Floats) -> OracleResult:
            return self._quick_look(inside.whole(point))

        is_new = index_points is None and not self.robust
        if is_new:
            index_points = quick(begin).index_points
        required = self.problem.requirement
        if index_points is not None and required is not None:
            index_points = index_points.join(required.index_points)
        end = exchange(
            inside.inside(self),
            lambda point: self.look(inside.whole(point), self.problem.index),
            begin,
            index_points,
            self.trust_region,
            options,
            progress,
            quick if is_new else None,
        )
        return replace(
            end,
            outcome=replace(end.outcome, point=inside.whole(end.outcome.point)),
        )

    def best_of(
        self,
        bounds: Bounds,
        starts: Sequence[Floats],
        index_points: IndexPoints | None = None,
        options: ExchangeOptions = EXCHANGE,
    ) -> ExchangeResult:
        """The best end of several starts."""
        ends = [
            self.solve(bounds, start, index_points, options) for start in starts
        ]
        return max(ends, key=lambda end: end.merit)

    def verified(
        self,
        bounds: Bounds,
        end: ExchangeResult,
        options: ExchangeOptions = EXCHANGE,
    ) -> ExchangeResult:
        """An end that the thorough search for the worst build finds no worse; solved again where it does."""
        for _ in range(_CHECKS if self.robust else 0):
            point = end.outcome.point
            found = self.worst_build(point)
            least = self.problem.least_built
            if (
                found.margin
                >= (end.merit if least is None else least) - _BUILD_TOLERANCE
            ):
                break
            errors = np.array(list(found.errors.values()))
            built = self._as_built(errors, self.problem.index, point)
            end = self.solve(
                bounds,
                point,
                end.index_points.join(built.index_points),
                options,
            )
        return end

    def worst_build(self, point: Floats) -> WorstBuild:
        """The worst build at a point, found by a search of the corners of the tolerance, on the sweep."""
        return worst_build(
            self.errors(point), sweep_cases(self.problem.project.venue)
        )

    def look(self, point: Floats, index: Index) -> OracleResult:
        """The worst index points of a point, of the exact car and, if `robust`, of builds."""
        exact = separation_oracle(
            self,
            index,
            point,
            _BAND,
            _ROOM,
        )
        if not self.robust or len(exact.index_points) == 0:
            return exact
        lowest = np.flatnonzero(np.isfinite(exact.value))[:_MINIMA]
        cases = self.problem.cases(exact.index_points.pick(lowest))
        builds = candidate_corners(self.errors(point), cases)
        return join_results(
            [
                exact,
                *(self._as_built(errors, index, point) for errors in builds),
            ]
        )

    def errors(self, point: Floats) -> BuildErrors:
        """The box of build errors of the setup at a point."""
        return self.problem.errors(self.problem.setup(point, ""))

    def _quick_look(self, point: Floats) -> OracleResult:
        """The worst points of a thinned grid: the full oracle would cost as much as the first programs."""
        index = self.problem.index
        return coarse_oracle(
            self,
            replace(index, grid=index.grid[::_THINNED]),
            point,
            _BAND,
            _ROOM,
        )

    def _as_built(
        self,
        errors: Floats,
        index: Index,
        point: Floats,
    ) -> OracleResult:
        """The worst index points of a point with one build."""
        self.problem, first = self.problem.with_build(errors)
        return separation_oracle(
            self,
            replace(index, first=first),
            point,
            _BAND,
            _ROOM,
        )
