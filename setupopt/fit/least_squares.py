"""Robust least squares with bounds: values, how sure they are, and what the data cannot tell.

Everything counts in two units that the caller gives. Residuals come in units of their noise. Parameters
count in `scales`: an error as large as its scale means that nothing was learned of a parameter.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import qmc

from setupopt.physics.inputs import Floats

# Residuals beyond so many times their noise count less and less: 96 % of the efficiency of plain least
# squares on normal noise (by integration), and a bounded pull of any single row.
_BEND = 1.5
_NORMAL_MAD = 0.67449  # median of |z| of a standard normal
OUTLYING = 3.5  # Iglewicz and Hoaglin, How to Detect and Handle Outliers, ASQC, 1993: of the modified score
CORRELATED = 0.95
# Degrees of freedom from which residuals tell their own noise; common practice, no source. Shares of them add
# up to whole numbers but for rounding, on which nothing may hang.
_ENOUGH = 8.0 - 1e-6
_LEAST_NOISE = 0.1  # of what was told: no instrument is better than that by ten times
_ROUNDS = 12
_AS_GOOD = 4.5  # cost that three standard errors of one parameter are worth: half their square
_AT_BOUND = 1e-4  # of the scale
_NOTHING = 1e-6  # share of a direction below which it is the noise of differences
# Weight of the pull towards the anchor, in noise a scale: a parameter that is known to a standard error of s
# scales moves by s^2 millionths of its distance; one that the residuals do not determine ends at the anchor,
# not where rounding happens to stop the search.
_PULL = 1e-3
_AGREEING = 4  # ends at the best place found, after which no other start is tried
_LOOKS = 3
_LOWER = 0.01  # of the cost: a tenth of an error less, half its square; as good below
_COARSE = 61  # values of a parameter over its whole range
_FINE = 41  # and between two of these


@dataclass(frozen=True)
class NotIdentifiable:
    """A parameter that the data cannot tell, and why: its `bound`, or what it cannot be told apart `from_`.

    Neither: no measured value depends on it enough.
    """

    name: str
    bound: float | None = None
    from_: tuple[str, ...] = ()


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
    rival: Floats | None  # (parameters) another answer that the data do not rule out, where a start ended
    directions: Floats  # (parameters, directions): directions that err independently of each other
    spreads: Floats  # (directions): how far each may be wrong, one standard error

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
        return _error(np.asarray(slopes, dtype=float), self.directions, self.spreads)

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
    low, high, sizes = (np.asarray(given, dtype=float) for given in (lower, upper, scales))
    problem = _Problem(residuals, low, high, sizes, anchor=anchor)
    count = problem.weighted(np.atleast_2d(np.asarray(start, dtype=float))[0]).size
    ends = _ends(problem, _starts(problem, np.asarray(start, dtype=float), starts, seed))
    best = _deepest(problem, problem.solve(min(ends, key=lambda end: float(end.cost)).x))
    what = ("",) * count if quantities is None else tuple(quantities)
    values, linear, noise = _weighed(problem, best.x, what)
    errors = np.array([_error(row, linear.directions, linear.spreads) for row in np.eye(values.size)])
    errors[~linear.is_free] = np.inf
    is_told = np.isfinite(errors)
    return Fitted(
        names=tuple(names), values=values, standard_errors=errors,
        correlation=_correlation(linear.directions, linear.spreads, is_told),
        untold=_untold(linear, names, values, is_told), residuals=linear.residuals, scores=linear.scores,
        rows=np.arange(count) if rows is None else np.asarray(rows), quantities=what, noise=noise,
        degrees_of_freedom=linear.degrees_of_freedom, rival=_rival(problem, ends, best, errors),
        directions=linear.directions, spreads=linear.spreads,
    )  # fmt: skip


def robust_cost(residuals: Floats) -> float:
    """The soft_l1 loss of residuals in units of their noise; half the sum of squares where all are small."""
    squares = (residuals / _BEND) ** 2
    return float(_BEND**2 * (np.sqrt(1.0 + squares) - 1.0).sum())


@dataclass(eq=False)
class _Problem:
    """Residuals, bounds and scales; `weights` (residuals): the noise told over the one found."""

    residuals: Callable[[Floats], Floats]
    lower: Floats
    upper: Floats
    scales: Floats
    weights: Floats | float = 1.0
    anchor: Floats | None = None

    def weighted(self, x: Floats) -> Floats:
        """Residuals in the noise found."""
        return self.weights * self.residuals(x)

    def _pulled(self, x: Floats) -> Floats:
        """Residuals in the noise found, and the pull towards the anchor where there is one."""
        if self.anchor is None:
            return self.weighted(x)
        return np.append(self.weighted(x), _PULL * (x - self.anchor) / self.scales)

    def cost(self, x: Floats) -> float:
        """What the search makes least."""
        return robust_cost(self._pulled(x))

    def solve(self, start: Floats, is_rough: bool = False) -> Any:
        """Scipy's answer from a start, in units of the scales, by which its differences take their steps;
        what ends next to a bound is put on it. `is_rough`: near enough to see which start is best."""

        def scaled(x: Floats) -> Floats:
            return self._pulled(x * self.scales)

        tolerance, most = (1e-5, 30) if is_rough else (1e-10, 150)
        end: Any = least_squares(
            scaled, self.inside(start) / self.scales, "2-point" if is_rough else "3-point",
            loss="soft_l1", f_scale=_BEND, bounds=(self.lower / self.scales, self.upper / self.scales),
            xtol=tolerance, ftol=tolerance, gtol=tolerance, max_nfev=most,
        )  # fmt: skip
        end.x = self.at(end.x * self.scales)
        return end

    def inside(self, x: Floats) -> Floats:
        """A start must stand off the bounds."""
        room = np.minimum(1e-3 * self.scales, 0.25 * (self.upper - self.lower))
        return np.clip(x, self.lower + room, self.upper - room)

    def at(self, x: Floats) -> Floats:
        """Put what stands next to a bound onto it."""
        near = _AT_BOUND * self.scales
        low = np.where(x - self.lower < near, self.lower, x)
        return np.where(self.upper - low < near, self.upper, low)


def _starts(problem: _Problem, start: Floats, count: int, seed: int) -> list[Floats]:
    """Those given; to a single one, others evenly spread within the scales of it."""
    if start.ndim == 2:
        return list(start)
    cube = qmc.LatinHypercube(start.size, rng=np.random.default_rng(seed)).random(max(count - 1, 0))
    return [start, *(start + (2.0 * cube - 1.0) * problem.scales)]


def _ends(problem: _Problem, starts: Sequence[Floats]) -> list[Any]:
    """Where rough searches end: from every start, or until so many have ended at the best place."""
    ends: list[Any] = []
    for start in starts:
        ends.append(problem.solve(start, is_rough=True))
        best = min(ends, key=lambda end: float(end.cost))
        if sum(_is_same(problem, end, best) for end in ends) == _AGREEING:
            break
    return ends


def _is_same(problem: _Problem, one: Any, other: Any) -> bool:
    is_near = np.abs(one.x - other.x) < 0.1 * problem.scales
    return bool(one.cost < other.cost + _LOWER and is_near.all())


def _deepest(problem: _Problem, best: Any) -> Any:
    """The best end, after a look along each parameter on which nothing depends where the search ended.

    Such a parameter may matter elsewhere: a tread wider than every patch may be any width, but one that
    cuts the patches may fit better. The search from a lower point cannot come back.
    """
    for _ in range(_LOOKS):
        lower = [x for x in _lowest_along(problem, best.x) if problem.cost(x) < float(best.cost) - _LOWER]
        if not lower:
            break
        best = problem.solve(min(lower, key=problem.cost))
    return best


def _lowest_along(problem: _Problem, x: Floats) -> Iterator[Floats]:
    """The lowest point along each parameter on which nothing depends at x: on a coarse grid over its range,
    then on a fine one around the coarse one's lowest and around where the flat stretch ends."""
    for i in map(int, np.flatnonzero(_linear(problem, x).is_silent)):
        coarse = np.linspace(problem.lower[i], problem.upper[i], _COARSE)
        costs = _costs_along(problem, x, i, coarse)
        is_flat = np.abs(costs - problem.cost(x)) < _LOWER
        edges = {*np.flatnonzero(np.diff(is_flat)), max(int(costs.argmin()) - 1, 0)}
        fine = np.concatenate([np.linspace(coarse[k], coarse[k + 1], _FINE) for k in sorted(edges)])
        yield _moved(x, i, fine[_costs_along(problem, x, i, fine).argmin()])


def _costs_along(problem: _Problem, x: Floats, i: int, values: Floats) -> Floats:
    return np.array([problem.cost(_moved(x, i, value)) for value in values])


def _moved(x: Floats, i: int, value: float) -> Floats:
    moved = x.copy()
    moved[i] = value
    return moved


def _rival(problem: _Problem, ends: Sequence[Any], best: Any, errors: Floats) -> Floats | None:
    """Another end whose cost is no reason to drop it, beyond three standard errors of the best; or None."""
    limit = float(best.cost) + _AS_GOOD * max(1.0, 2.0 * float(best.cost) / problem.weighted(best.x).size)

    def is_other(end: Any) -> bool:
        return bool(end.cost < limit and (np.abs(end.x - best.x) > 3.0 * errors).any())

    finished = (problem.solve(end.x) for end in ends if is_other(end))
    return next((np.asarray(end.x) for end in finished if is_other(end)), None)


@dataclass(frozen=True, eq=False)
class _Linear:
    """A problem next to its end: residuals, and the directions in which the parameters may go from there."""

    residuals: Floats  # in the noise found
    leverage: Floats  # (residuals) share of its own error that a measured value fits away
    is_free: np.ndarray  # (parameters) not at a bound
    weights: Floats  # (parameters) how much all residuals together change by a scale
    directions: Floats  # (parameters, directions), and how far each may be wrong
    spreads: Floats
    degrees_of_freedom: int

    @property
    def is_silent(self) -> np.ndarray:
        """(parameters) Whether no residual depends on it enough."""
        return self.is_free & (self.weights < 1.0)

    @property
    def scores(self) -> Floats:
        """Residuals over what noise alone would leave of them."""
        left = 1.0 - self.leverage
        return np.where(left > _NOTHING, self.residuals / np.sqrt(np.maximum(left, _NOTHING)), 0.0)


def _linear(problem: _Problem, x: Floats) -> _Linear:
    """Singular values of the slopes tell how well the data hold each of so many independent directions."""
    is_free = (x > problem.lower) & (x < problem.upper)
    residuals = problem.weighted(x)
    slopes = _slopes(problem, x, is_free, residuals.size)
    left, singular, right = np.linalg.svd(slopes, full_matrices=False)
    spreads = 1.0 / np.maximum(singular, 1e-12)
    is_told = spreads <= 1.0
    degrees = residuals.size - int(is_told.sum())
    inflation = np.sqrt(_huber(residuals, degrees))
    directions = np.zeros((x.size, spreads.size))
    directions[is_free] = problem.scales[is_free, None] * right.T
    leverage = (left[: residuals.size, is_told] ** 2).sum(axis=1)
    weights = np.zeros(x.size)
    weights[is_free] = np.linalg.norm(slopes, axis=0) / inflation
    return _Linear(residuals, leverage, is_free, weights, directions, spreads * inflation, degrees)


def _slopes(problem: _Problem, x: Floats, is_free: np.ndarray, count: int) -> Floats:
    """(residuals, free parameters) per scale, by central differences of a tenth of the way to a bound.

    Rows of zeros make it at least as high as wide, so that no direction goes missing.
    """
    step = 0.1 * _AT_BOUND
    slopes = np.zeros((max(count, int(is_free.sum())), int(is_free.sum())))
    for column, move in enumerate(np.diag(step * problem.scales)[is_free]):
        difference = problem.weighted(x + move) - problem.weighted(x - move)
        slopes[:count, column] = difference / (2.0 * step)
    return slopes


def _huber(residuals: Floats, degrees_of_freedom: int) -> float:
    """What the squared errors of plain least squares are multiplied by: what the residuals say of the noise,
    and the price of bending them. Few residuals make errors larger, never smaller."""
    if degrees_of_freedom < _ENOUGH:
        return max(1.0, float((residuals**2).sum()) / max(degrees_of_freedom, 1))
    bent = 1.0 + (residuals / _BEND) ** 2
    slope = bent**-1.5
    few = 1.0 + (1.0 - degrees_of_freedom / residuals.size) * slope.var() / slope.mean() ** 2
    return float((residuals**2 / bent).sum() / degrees_of_freedom * (few / slope.mean()) ** 2)


def _noise(linear: _Linear, noise: dict[str, float], quantities: Sequence[str]) -> dict[str, float]:
    """Noise of each quantity over the one told; those with too few residuals share one; else as told."""
    spare = 1.0 - linear.leverage
    own = {name: np.array([one == name for one in quantities]) for name in noise}
    few = [name for name in noise if spare[own[name]].sum() < _ENOUGH]
    together = np.any([own[name] for name in few], axis=0) if few else np.zeros(spare.size, dtype=bool)
    found = {}
    for name, before in noise.items():
        told_by = together if name in few else own[name]
        is_enough = spare[told_by].sum() >= _ENOUGH
        found[name] = max(before * _deviation(linear.scores[told_by]), _LEAST_NOISE) if is_enough else 1.0
    return found


def _deviation(scores: Floats) -> float:
    """Their rms without the outlying ones, found from the median absolute deviation on."""
    size = np.abs(scores)
    deviation = float(np.median(size)) / _NORMAL_MAD
    for _ in range(_ROUNDS):
        inner = size[size <= OUTLYING * deviation]
        deviation = float(np.sqrt((inner**2).mean()))
    return deviation


def _weighed(
    problem: _Problem, x: Floats, quantities: Sequence[str]
) -> tuple[Floats, _Linear, dict[str, float]]:
    """Solve again with the noise that the residuals tell, until they tell no other."""
    noise = dict.fromkeys(quantities, 1.0)
    linear = _linear(problem, x)
    for _ in range(_ROUNDS):
        found = _noise(linear, noise, quantities)
        if all(abs(found[name] - noise[name]) < 0.01 * noise[name] for name in noise):
            break
        noise = found
        problem = replace(problem, weights=1.0 / np.array([noise[name] for name in quantities]))
        x = problem.solve(x).x
        linear = _linear(problem, x)
    return x, linear, noise


def _parts(slopes: Floats, directions: Floats, spreads: Floats) -> Floats:
    """Errors that the directions bring to what changes by `slopes`; (..., directions)."""
    along = slopes @ directions
    size = np.linalg.norm(along, axis=-1, keepdims=True)
    return np.where(np.abs(along) > _NOTHING * size, along * spreads, 0.0)


def _error(slopes: Floats, directions: Floats, spreads: Floats) -> float:
    """Standard error; infinite where it is more than a change by the scales would do."""
    error = float(np.linalg.norm(_parts(slopes, directions, spreads)))
    return error if error <= float(np.linalg.norm(slopes @ directions)) else np.inf


def _correlation(directions: Floats, spreads: Floats, is_told: np.ndarray) -> Floats:
    """(parameters, parameters), not a number for what is not told."""
    parts = _parts(np.eye(len(is_told)), directions, spreads)
    size = np.linalg.norm(parts, axis=1)
    unit = parts / np.where(is_told, size, 1.0)[:, None]
    return np.where(np.outer(is_told, is_told), unit @ unit.T, np.nan)


def _untold(
    linear: _Linear, names: Sequence[str], x: Floats, is_told: np.ndarray
) -> tuple[NotIdentifiable, ...]:
    """Why each parameter is not told."""
    blind = linear.directions[:, linear.spreads > 1.0]
    size = np.linalg.norm(linear.directions, axis=1)
    shared = np.abs(blind @ blind.T) > 0.01 * np.outer(size, size)
    is_silent = linear.is_silent
    found = []
    for i in np.flatnonzero(~is_told):
        others = [j for j in np.flatnonzero(shared[i] & ~is_told & ~is_silent & linear.is_free) if j != i]
        from_ = () if is_silent[i] or not linear.is_free[i] else tuple(names[int(j)] for j in others)
        found.append(NotIdentifiable(names[int(i)], None if linear.is_free[i] else float(x[i]), from_))
    return tuple(found)
