"""What a limit costs: how much worst margin one unit more of it is worth.

The price is the weight of the limit at the best point, in margin as it counts (see `goal`). It is checked by
solving again with the limit loosened a little.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.engine.exchange import Exchange, ExchangeResult
from setupopt.search.engine.multipliers import Multipliers
from setupopt.search.solver import Solver

# A limit is loosened so far that the price promises this much, a thousand times what solving again is exact
# to, but by no more than these shares of a range, or of the size that counts as one.
_PROMISE, _LEAST, _MOST = 1e-5, 2e-4, 0.02
# A price that brings less than this for a tenth of the range is not worth telling.
_NOTICE = 4e-5


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
        return bool(abs(self.solved_again - self.margin_per_unit) <= 0.1 * abs(self.margin_per_unit))


@dataclass(frozen=True)
class _Weighed:
    """A limit with its weight, in margin per unit of the search, and how to solve with it loosened."""

    limit: str
    key: str
    unit: str
    size: float  # one unit of the search, in units of the file
    weight: float
    solve: Callable[[float], float]


def prices(
    solver: Solver, best: ExchangeResult, weights: Multipliers, rules: Exchange
) -> tuple[ShadowPrice, ...]:
    """Every limit that binds at a continuous optimum of the whole box, dearest first by share of its range.

    `weights`: those of the rows at the best places, and of the borders.
    """
    shares = _shares(solver, best, weights.limits)
    stated = len(solver.problem.packaging.limits)
    found = [
        *_ranges(solver, best, weights, rules),
        *_packaging(solver, best, shares[:stated], rules),
        *_floors(solver, best, shares[stated:], rules),
    ]
    worth = sorted((w for w in found if w.weight * 0.1 > _NOTICE), key=lambda w: -w.weight)
    return tuple(_checked(w, best.merit) for w in worth)


def _checked(w: _Weighed, merit: float) -> ShadowPrice:
    by = float(np.clip(_PROMISE / w.weight, _LEAST, _MOST))
    again = (w.solve(by) - merit) / by
    return ShadowPrice(w.limit, float(w.weight / w.size), w.unit, w.key, float(again / w.size), by * w.size)


def _ranges(
    solver: Solver, best: ExchangeResult, weights: Multipliers, rules: Exchange
) -> Iterator[_Weighed]:
    """Ends of ranges that the best point leans on."""
    for j, variable in enumerate(solver.problem.variables):
        size = variable.width / variable.setting.factor
        for end, held in (("from", weights.lower), ("to", weights.upper)):
            name = f"{variable.name}.{end}"
            again = _beyond(solver, best, rules, j, end)
            yield _Weighed(name, f"limits.toml {name}", variable.setting.unit, size, float(held[j]), again)


def _beyond(
    solver: Solver, best: ExchangeResult, rules: Exchange, variable: int, end: str
) -> Callable[[float], float]:
    """Solves again with one range longer at one end; what lies beyond the unit box goes on in a line."""

    def again(by: float) -> float:
        low, high = solver.box
        if end == "from":
            low[variable] -= by
        else:
            high[variable] += by
        return solver.solve((low, high), best.outcome.point, best.places, rules).merit

    return again


def _packaging(solver: Solver, best: ExchangeResult, shares: Floats, rules: Exchange) -> Iterator[_Weighed]:
    """Packaging limits that the best point leans on."""
    for place, limit in enumerate(solver.problem.packaging.limits):
        size, again = limit.scale / limit.factor, _loosened(solver, best, rules, place, limit.scale)
        yield _Weighed(limit.name, limit.typed_at, limit.unit, size, float(shares[place]), again)


def _shares(solver: Solver, best: ExchangeResult, weights: Floats) -> Floats:
    """Weight of every packaging limit, then of every attitude's floor."""
    problem, at = solver.problem, best.outcome.point[None, :]
    owner = problem.limit_rows(at, best.places, problem.answers(at, best.places)).owner
    count = len(problem.packaging.limits) + problem.attitudes
    return np.asarray(np.bincount(owner, weights=weights, minlength=count))


def _loosened(
    solver: Solver, best: ExchangeResult, rules: Exchange, place: int, scale: float
) -> Callable[[float], float]:
    """Solves again with one packaging limit looser."""

    def again(by: float) -> float:
        problem = solver.problem
        with _with(problem, packaging=problem.packaging.widened(place, by * scale)):
            return solver.solve(solver.box, best.outcome.point, best.places, rules).merit

    return again


def _floors(solver: Solver, best: ExchangeResult, shares: Floats, rules: Exchange) -> Iterator[_Weighed]:
    """Floors of attitudes that the best point leans on."""
    problem = solver.problem
    for number, name in enumerate(problem.goal.names):
        again = _lowered(solver, best, rules, number)
        size, weight = problem.floor_scale, float(shares[number])
        yield _Weighed(f'floor of "{name}"', f"--floor {name}", "1", size, weight, again)


def _lowered(solver: Solver, best: ExchangeResult, rules: Exchange, number: int) -> Callable[[float], float]:
    """Solves again with one floor lower."""

    def again(by: float) -> float:
        problem = solver.problem
        floors = problem.goal.floors.copy()
        floors[number] -= by * problem.floor_scale
        with _with(problem, goal=replace(problem.goal, floors=floors)):
            return solver.solve(solver.box, best.outcome.point, best.places, rules).merit

    return again


@contextmanager
def _with(problem: object, **changed: object) -> Iterator[None]:
    """The problem with something changed, for a while."""
    kept = {name: getattr(problem, name) for name in changed}
    try:
        for name, value in changed.items():
            setattr(problem, name, value)
        yield
    finally:
        for name, value in kept.items():
            setattr(problem, name, value)
