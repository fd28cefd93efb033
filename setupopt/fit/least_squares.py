"""Robust least squares with bounds: values, how sure they are, and what the data cannot tell.

Everything counts in two units that the caller gives. Residuals come in units of their noise. Parameters
count in `scales`: an error as large as its scale means that nothing was learned of a parameter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.stats import qmc

from setupopt.fit.problem import Problem
from setupopt.fit.uncertainty import (
    OUTLYING,
    NotIdentifiable,
    correlation,
    error_along,
    linearised,
    untold_of,
    weighed,
)
from setupopt.physics.inputs import Floats

CORRELATED = 0.95
_AS_GOOD = 4.5  # cost that three standard errors of one parameter are worth: half their square
# Ends at the best place found, after which no other start is tried
_AGREEING = 4
_LOOKS = 3
_LOWER = 0.01  # of the cost: a tenth of an error less, half its square; as good below
_COARSE = 61  # values of a parameter over its whole range
_FINE = 41  # and between two of these


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fit. Arrays are (parameters), (parameters, parameters) or (residuals); residuals in units of noise.

    `standard_errors` are infinite and rows of `correlation` not a number for what is `untold`. The value of
    such a parameter is where the search stopped, no finding; at a bound it is the bound. `noise`: what the
    residuals of each quantity say of the noise told, as a factor on it; 1 where they are too few to say.
    """

    names: tuple[str, ...]
    values: Floats
    standard_errors: Floats
    correlation: Floats
    untold: tuple[NotIdentifiable, ...]
    residuals: Floats
    scores: Floats  # residuals over what they would be by noise alone; 0 where nothing checks one
    rows: np.ndarray  # row of the table of each residual
    quantities: tuple[str, ...]  # quantity of each residual
    noise: dict[str, float]
    degrees_of_freedom: int
    rival: (
        Floats | None
    )  # (parameters) another answer that the data do not rule out, where a start ended
    directions: Floats  # (parameters, directions): directions that err independently of each other
    spreads: (
        Floats  # (directions): how far each may be wrong, one standard error
    )

    def value(self, name: str) -> float:
        """The value of a parameter."""
        return float(self.values[self.names.index(name)])

    def standard_error(self, name: str) -> float:
        """Its standard error, infinite where the data cannot tell it."""
        return float(self.standard_errors[self.names.index(name)])

    def is_told(self, name: str) -> bool:
        """Whether the data tell it."""
        return bool(np.isfinite(self.standard_error(name)))

    def error_of(self, slopes: Floats) -> float:
        """Standard error of a quantity that changes with the parameters by `slopes`, to first order.

        A sum may be told where its terms are not; infinite where it is not told either. What stands at a
        bound counts as known.
        """
        return error_along(
            np.asarray(slopes, dtype=float), self.directions, self.spreads
        )

    @cached_property
    def correlated(self) -> tuple[tuple[str, str, float], ...]:
        """Pairs of parameters whose errors go together, |correlation| > 0.95, the closest first."""
        pairs = [
            (self.names[j], self.names[i], float(self.correlation[i, j]))
            for i in range(len(self.names))
            for j in range(i)
            if abs(self.correlation[i, j]) > CORRELATED
        ]
        return tuple(sorted(pairs, key=lambda pair: -abs(pair[2])))

    @property
    def is_outlying(self) -> np.ndarray:
        """(residuals) Whether its score is beyond 3.5."""
        return np.abs(self.scores) > OUTLYING


def fit(
    residuals: Callable[[Floats], Floats],
    start: Floats,
    lower: Floats,
    upper: Floats,
    names: Sequence[str],
    scales: Floats,
    *,
    rows: Sequence[int] | np.ndarray | None = None,
    quantities: Sequence[str] | None = None,
    starts: int = 5,
    seed: int = 0,
    anchor: Floats | None = None,
) -> Fitted:
    """Parameters between `lower` and `upper` that bring the residuals closest to zero.

    `residuals` takes (parameters) and gives (residuals), measured minus model over the noise, all finite.
    `start`: one (parameters), to which others within `scales` of it are added, `starts` in all; or several
    (starts, parameters). `scales` (parameters): an error as large means that nothing was learned. `rows` and
    `quantities` (residuals): where each stands in the table, and what was measured. `anchor` (parameters):
    where a parameter is put that the residuals do not determine; else the search stops anywhere.

    The loss is soft_l1. Where a quantity has enough residuals, or several have them together, they tell the
    noise (their rms without outlying ones), by which all is weighed again, until nothing changes. Standard
    errors after Huber, Robust Statistics, 1981, section 7.6 (from memory). The same answer every time.
    """
    low, high, sizes = (
        np.asarray(given, dtype=float) for given in (lower, upper, scales)
    )
    problem = Problem(residuals, low, high, sizes, anchor=anchor)
    count = problem.weighted(
        np.atleast_2d(np.asarray(start, dtype=float))[0]
    ).size
    ends = _ends(
        problem, _starts(problem, np.asarray(start, dtype=float), starts, seed)
    )
    best = _deepest(
        problem, problem.solve(min(ends, key=lambda end: float(end.cost)).x)
    )
    what = ("",) * count if quantities is None else tuple(quantities)
    values, linear, noise = weighed(problem, best.x, what)
    errors = np.array(
        [
            error_along(row, linear.directions, linear.spreads)
            for row in np.eye(values.size)
        ]
    )
    errors[~linear.is_free] = np.inf
    is_told = np.isfinite(errors)
    return Fitted(
        names=tuple(names), values=values, standard_errors=errors,
        correlation=correlation(linear.directions, linear.spreads, is_told),
        untold=untold_of(linear, names, values, is_told), residuals=linear.residuals, scores=linear.scores,
        rows=np.arange(count) if rows is None else np.asarray(rows), quantities=what, noise=noise,
        degrees_of_freedom=linear.degrees_of_freedom, rival=_rival(problem, ends, best, errors),
        directions=linear.directions, spreads=linear.spreads,
    )  # fmt: skip


def _starts(
    problem: Problem, start: Floats, count: int, seed: int
) -> list[Floats]:
    """Those given; to a single one, others evenly spread within the scales of it."""
    if start.ndim == 2:
        return list(start)
    cube = qmc.LatinHypercube(
        start.size, rng=np.random.default_rng(seed)
    ).random(max(count - 1, 0))
    return [start, *(start + (2.0 * cube - 1.0) * problem.scales)]


def _ends(problem: Problem, starts: Sequence[Floats]) -> list[Any]:
    """Where rough searches end: from every start, or until so many have ended at the best place."""
    ends: list[Any] = []
    for start in starts:
        ends.append(problem.solve(start, is_rough=True))
        best = min(ends, key=lambda end: float(end.cost))
        if sum(_is_same(problem, end, best) for end in ends) == _AGREEING:
            break
    return ends


def _is_same(problem: Problem, one: Any, other: Any) -> bool:
    is_near = np.abs(one.x - other.x) < 0.1 * problem.scales
    return bool(one.cost < other.cost + _LOWER and is_near.all())


def _deepest(problem: Problem, best: Any) -> Any:
    """The best end, after a look along each parameter on which nothing depends where the search ended.

    Such a parameter may matter elsewhere: a tread wider than every patch may be any width, but one that
    cuts the patches may fit better. The search from a lower point cannot come back.
    """
    for _ in range(_LOOKS):
        lower = [
            x
            for x in _lowest_along(problem, best.x)
            if problem.cost(x) < float(best.cost) - _LOWER
        ]
        if not lower:
            break
        best = problem.solve(min(lower, key=problem.cost))
    return best


def _lowest_along(problem: Problem, x: Floats) -> Iterator[Floats]:
    """The lowest point along each parameter on which nothing depends at x: on a coarse grid over its range,
    then on a fine one around the coarse one's lowest and around where the flat stretch ends."""
    for i in map(int, np.flatnonzero(linearised(problem, x).is_silent)):
        coarse = np.linspace(problem.lower[i], problem.upper[i], _COARSE)
        costs = _costs_along(problem, x, i, coarse)
        is_flat = np.abs(costs - problem.cost(x)) < _LOWER
        edges = {
            *np.flatnonzero(np.diff(is_flat)),
            max(int(costs.argmin()) - 1, 0),
        }
        fine = np.concatenate(
            [
                np.linspace(coarse[k], coarse[k + 1], _FINE)
                for k in sorted(edges)
            ]
        )
        yield _moved(x, i, fine[_costs_along(problem, x, i, fine).argmin()])


def _costs_along(problem: Problem, x: Floats, i: int, values: Floats) -> Floats:
    return np.array([problem.cost(_moved(x, i, value)) for value in values])


def _moved(x: Floats, i: int, value: float) -> Floats:
    moved = x.copy()
    moved[i] = value
    return moved


def _rival(
    problem: Problem, ends: Sequence[Any], best: Any, errors: Floats
) -> Floats | None:
    """Another end whose cost is no reason to drop it, beyond three standard errors of the best; or None."""
    limit = float(best.cost) + _AS_GOOD * max(
        1.0, 2.0 * float(best.cost) / problem.weighted(best.x).size
    )

    def is_other(end: Any) -> bool:
        return bool(
            end.cost < limit and (np.abs(end.x - best.x) > 3.0 * errors).any()
        )

    finished = (problem.solve(end.x) for end in ends if is_other(end))
    return next((np.asarray(end.x) for end in finished if is_other(end)), None)
