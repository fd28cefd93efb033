"""One body's setup problem solved: inside a box of settings, from several starts, over every roll angle.

With `robust` the builds that mechanics may leave behind count as well: wherever a point stands, the builds
that hurt it most are looked for and become rows of the programs (A. Mutapcic and S. Boyd, Cutting-set
methods for robust convex optimization with pessimizing oracles, Optim. Methods Softw. 24 (2009) 381-406).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.physics.inputs import Floats
from setupopt.robust.builds.build_variation import (
    NAMES,
    BuildErrors,
    WorstBuild,
    candidate_corners,
    worst_build,
)
from setupopt.search.engine.exchange import Exchange, ExchangeResult, exchange
from setupopt.search.engine.index_points import (
    Index,
    IndexPoints,
    OracleResult,
    coarse_oracle,
    join_results,
    separation_oracle,
)
from setupopt.search.engine.maxmin import TrustRegionOptions
from setupopt.search.engine.subbox import Subbox
from setupopt.search.setup_problem import SetupProblem

# Dips so much above the worst are seen too; limits with less room than this, over their scales.
_BAND, _ROOM = 0.05, 0.2
# Builds are looked for at so many of the worst dips.
_DIPS = 12
# The thorough search for the worst build is asked so often, and heard where it finds so much less.
_CHECKS, _BUILD_NOTICE = 4, 1e-4
# A climb begins with what every so many-th angle shows; the exchange adds what lies between.
_THINNED = 3
# The last check, and what rests on it, looks at so many times as many angles.
DENSER = 6


class Solver:
    """Solves a SetupProblem over its whole index."""

    def __init__(
        self, problem: SetupProblem, robust: bool = False, climbing: TrustRegionOptions | None = None
    ) -> None:
        self.problem, self.robust, self.climbing = problem, robust, climbing or TrustRegionOptions()
        index = problem.index
        between = np.linspace(0.0, 1.0, DENSER, endpoint=False)
        fine = (index.grid[:-1, None] + np.diff(index.grid)[:, None] * between).ravel()
        self.dense = Index(index.families, np.append(fine, index.grid[-1]))

    @property
    def box(self) -> tuple[Floats, Floats]:
        """The whole box, (variables)."""
        return np.zeros(self.problem.start.size), np.ones(self.problem.start.size)

    def solve(
        self, borders: tuple[Floats, Floats], start: Floats, places: IndexPoints | None = None,
        rules: Exchange | None = None, progress: Callable[[int], object] | None = None,
    ) -> ExchangeResult:  # fmt: skip
        """Exchange inside borders (variables) from the point next to `start`; answers in all variables."""
        inside = Subbox(*borders)
        if places is None and not self.robust:
            places = self._begin(inside.whole(inside.own(start)))
        end = exchange(
            inside.of(self.problem), lambda point: self.look(inside.whole(point), self.problem.index),
            inside.own(start), places, self.climbing, rules, progress,
        )  # fmt: skip
        return replace(end, outcome=replace(end.outcome, point=inside.whole(end.outcome.point)))

    def best_of(
        self, borders: tuple[Floats, Floats], starts: Sequence[Floats], places: IndexPoints | None = None
    ) -> ExchangeResult:
        """The best end of several starts."""
        ends = [self.solve(borders, start, places) for start in starts]
        return max(ends, key=lambda end: end.merit)

    def verified(
        self, borders: tuple[Floats, Floats], end: ExchangeResult, rules: Exchange | None = None
    ) -> ExchangeResult:
        """An end that the thorough search for the worst build finds no worse; climbs on where it does."""
        for _ in range(_CHECKS if self.robust else 0):
            found = self.worst_build(end.outcome.point)
            if found.margin >= end.merit - _BUILD_NOTICE:
                break
            built = self._as_built(
                np.array([found.errors[n] for n in NAMES]), self.problem.index, end.outcome.point
            )
            end = self.solve(borders, end.outcome.point, end.places.join(built.places), rules)
        return end

    def worst_build(self, point: Floats) -> WorstBuild:
        """The worst build of the setup at a point that a search of the corners finds, on the sweep."""
        return worst_build(self.errors(point), sweep_cases(self.problem.project.venue))

    def look(self, point: Floats, index: Index) -> OracleResult:
        """Where a point stands worst: angles refined between those of the index, and, if asked, builds."""
        exact = separation_oracle(self.problem, index, point, _BAND, _ROOM)
        if not self.robust or len(exact.places) == 0:
            return exact
        built = [self._as_built(errors, index, point) for errors in self._builds(point, exact)]
        return join_results([exact, *built])

    def _begin(self, point: Floats) -> IndexPoints:
        """The low places of a thinned index: a full look would cost as much as the first programs."""
        index = self.problem.index
        return coarse_oracle(self.problem, replace(index, grid=index.grid[::_THINNED]), point, _BAND, _ROOM)

    def errors(self, point: Floats) -> BuildErrors:
        """The box of build errors round the setup at a point."""
        problem = self.problem
        return BuildErrors(problem.project.car, problem.setup(point, ""), problem.limits.tolerance)

    def _builds(self, point: Floats, exact: OracleResult) -> Floats:
        """Builds that may be the worst of a point, (builds, NAMES)."""
        low = np.flatnonzero(np.isfinite(exact.value))[:_DIPS]
        return candidate_corners(self.errors(point), self.problem.cases(exact.places.pick(low)))

    def _as_built(self, errors: Floats, index: Index, point: Floats) -> OracleResult:
        """Where a point stands worst as one build."""
        own = replace(index, first=self.problem.add_build(errors))
        return separation_oracle(self.problem, own, point, _BAND, _ROOM)
