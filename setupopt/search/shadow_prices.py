"""The shadow price of a limit: how much worst margin one unit more of it brings.

The price is the multiplier of the limit at the best point, in weighted margin. It is checked by solving again
with the limit loosened a little.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np

from setupopt.evaluation.limit import AT_LEAST
from setupopt.physics.inputs import Floats
from setupopt.search.engine.exchange import ExchangeOptions, ExchangeResult
from setupopt.search.engine.index_points import restricted
from setupopt.search.engine.multipliers import Multipliers, multipliers_at
from setupopt.search.handling import HANDLING, HandlingLimit, asked
from setupopt.search.setup_problem import MINIMUM_MARGIN_SCALE, SetupProblem
from setupopt.search.solver import Bounds, Solver

# A limit is loosened so far that its price predicts this much more margin, a thousand times the accuracy of
# solving again; but not by more or less than these shares of a range, or of the size that counts as one.
_PREDICTED = 1e-5
_LEAST = 2e-4
_MOST = 0.02
# A price that brings less than this for a tenth of the range is not reported.
_SMALL = 4e-5


@dataclass(frozen=True)
class ShadowPrice:
    """A limit that binds: loosening it by one `unit` raises the worst margin by `margin_per_unit`.

    `solved_again`: the same, from solving again with the limit loosened by `by` units. `key`: where the user
    types it.
    """

    limit: str
    margin_per_unit: float
    unit: str
    key: str
    solved_again: float
    by: float

    @property
    def agrees(self) -> bool:
        """Whether solving again finds the price within a tenth."""
        return bool(
            abs(self.solved_again - self.margin_per_unit)
            <= 0.1 * abs(self.margin_per_unit)
        )


@dataclass(frozen=True)
class _Candidate:
    """A limit with its multiplier, in margin per unit of the search."""

    limit: str
    key: str
    unit: str
    size: float  # one unit of the search, in units of the file
    multiplier: float
    solve: Callable[
        [float], float
    ]  # the merit with the limit loosened by so many units of the search

    def price(self, merit: float) -> ShadowPrice:
        """The price, checked against solving again; `merit` is that of the limit as it is."""
        by = float(np.clip(_PREDICTED / self.multiplier, _LEAST, _MOST))
        again = float((self.solve(by) - merit) / by / self.size)
        return ShadowPrice(
            self.limit,
            float(self.multiplier / self.size),
            self.unit,
            self.key,
            again,
            by * self.size,
        )


def multipliers_of(problem: SetupProblem, best: ExchangeResult) -> Multipliers:
    """Of all values, limits and bounds at the best point of the whole box."""
    return multipliers_at(
        restricted(problem, best.index_points), best.outcome.point
    )


def prices(
    solver: Solver, best: ExchangeResult, options: ExchangeOptions
) -> tuple[ShadowPrice, ...]:
    """Every limit that binds at the best point of the whole box, the largest by share of its range first."""
    multipliers = multipliers_of(solver.problem, best)
    priced = _Priced(solver, best, multipliers, options)
    found = (
        *priced.ranges(),
        *priced.packaging(),
        *priced.minimum_margins(),
        *priced.handling(),
    )
    worth = sorted(
        (c for c in found if c.multiplier * 0.1 > _SMALL),
        key=lambda c: -c.multiplier,
    )
    return tuple(candidate.price(best.merit) for candidate in worth)


@dataclass(frozen=True)
class _Priced:
    """A best point whose limits get prices."""

    solver: Solver
    best: ExchangeResult
    multipliers: Multipliers
    options: ExchangeOptions

    def ranges(self) -> Iterator[_Candidate]:
        """Both ends of every range."""
        for j, variable in enumerate(self.solver.problem.variables):
            size = variable.width / variable.setting.factor
            for end, own in (
                ("from", self.multipliers.lower),
                ("to", self.multipliers.upper),
            ):
                name = f"{variable.name}.{end}"
                solve = partial(self._with_range, j, end)
                yield _Candidate(
                    name,
                    f"limits.toml {name}",
                    variable.setting.unit,
                    size,
                    float(own[j]),
                    solve,
                )

    def packaging(self) -> Iterator[_Candidate]:
        """Every packaging limit."""
        shares = self._by_limit
        for number, limit in enumerate(self.solver.problem.packaging.limits):
            solve = partial(self._with_packaging, number, limit.scale)
            size = limit.scale / limit.factor
            yield _Candidate(
                limit.name,
                limit.typed_at,
                limit.unit,
                size,
                float(shares[number]),
                solve,
            )

    def minimum_margins(self) -> Iterator[_Candidate]:
        """Every attitude's minimum margin."""
        problem = self.solver.problem
        shares = self._by_limit[len(problem.packaging.limits) :]
        for number, name in enumerate(problem.objective.names):
            yield _Candidate(
                f'minimum margin of "{name}"',
                f"--floor {name}",
                "1",
                MINIMUM_MARGIN_SCALE,
                float(shares[number]),
                partial(self._with_minimum_margin, number),
            )

    def handling(self) -> Iterator[_Candidate]:
        """Every handling limit."""
        shares = self._by_limit[-len(HANDLING) :]
        for number, limit in asked(self.solver.problem.objective):
            yield _Candidate(
                limit.name,
                limit.option,
                limit.unit,
                limit.scale,
                float(shares[number]),
                partial(self._with_handling, limit),
            )

    @cached_property
    def _by_limit(self) -> Floats:
        """Multiplier of every limit, by the numbers of `SetupProblem.limit_rows`."""
        problem = self.solver.problem
        point = self.best.outcome.point[None, :]
        index_points = self.best.index_points
        owner = problem.limit_rows(
            point, index_points, problem.answers(point, index_points)
        ).owner
        count = len(problem.limit_names)
        return np.asarray(
            np.bincount(owner, weights=self.multipliers.limits, minlength=count)
        )

    def _merit(self, bounds: Bounds | None = None, **changed: Any) -> float:
        """Solve again, with other bounds or with fields of the problem changed."""
        problem = replace(self.solver.problem, **changed)
        again = Solver(problem, self.solver.robust, self.solver.trust_region)
        start = self.best.outcome.point
        return again.solve(
            bounds or again.box,
            start,
            self.best.index_points,
            self.options,
        ).merit

    def _with_range(
        self,
        variable: int,
        end: str,
        by: float,
    ) -> float:
        """One range longer at one end; the setting goes on in proportion outside the unit box."""
        low, high = self.solver.box
        if end == "from":
            low[variable] -= by
        else:
            high[variable] += by
        return self._merit((low, high))

    def _with_packaging(
        self,
        number: int,
        scale: float,
        by: float,
    ) -> float:
        """One packaging limit looser."""
        return self._merit(loosened=(number, by * scale))

    def _with_minimum_margin(self, number: int, by: float) -> float:
        """One minimum margin lower."""
        objective = self.solver.problem.objective
        least = objective.minimum_margins.copy()
        least[number] -= by * MINIMUM_MARGIN_SCALE
        return self._merit(objective=replace(objective, minimum_margins=least))

    def _with_handling(self, limit: HandlingLimit, by: float) -> float:
        """One handling limit looser."""
        objective = self.solver.problem.objective
        required = limit.required(objective)
        looser = -by if limit.sense == AT_LEAST else by
        changed: dict[str, Any] = {limit.field: required + looser * limit.scale}
        return self._merit(objective=replace(objective, **changed))
