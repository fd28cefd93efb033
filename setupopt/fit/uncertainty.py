"""How sure a fit is: noise in the residuals, what the data hold, standard errors, what they cannot tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from setupopt.fit.problem import AT_BOUND, BEND, Problem
from setupopt.physics.inputs import Floats

_NORMAL_MAD = 0.67449  # median of |z| of a standard normal
OUTLYING = 3.5  # Iglewicz and Hoaglin, How to Detect and Handle Outliers, ASQC, 1993: of the modified score
# Degrees of freedom from which residuals tell their own noise; common practice, no source. Shares of them add
# up to whole numbers but for rounding, on which nothing may hang.
_ENOUGH = 8.0 - 1e-6
# Of what was told: no instrument is better than that by ten times
_LEAST_NOISE = 0.1
_ROUNDS = 12
# Share of a direction below which it is the noise of differences
_NOTHING = 1e-6


@dataclass(frozen=True)
class NotIdentifiable:
    """A parameter that the data cannot tell, and why: its `bound`, or what it cannot be told apart `from_`.

    Neither: no measured value depends on it enough.
    """

    name: str
    bound: float | None = None
    from_: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Linear:
    """A problem next to its end: residuals, and the directions in which the parameters may go from there."""

    residuals: Floats  # in the noise found
    leverage: Floats  # (residuals) share of its own error that a measured value fits away
    is_free: np.ndarray  # (parameters) not at a bound
    weights: (
        Floats  # (parameters) how much all residuals together change by a scale
    )
    directions: (
        Floats  # (parameters, directions), and how far each may be wrong
    )
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
        return np.where(
            left > _NOTHING,
            self.residuals / np.sqrt(np.maximum(left, _NOTHING)),
            0.0,
        )


def linearised(problem: Problem, x: Floats) -> Linear:
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
    return Linear(
        residuals,
        leverage,
        is_free,
        weights,
        directions,
        spreads * inflation,
        degrees,
    )


def _slopes(
    problem: Problem, x: Floats, is_free: np.ndarray, count: int
) -> Floats:
    """(residuals, free parameters) per scale, by central differences of a tenth of the way to a bound.

    Rows of zeros make it at least as high as wide, so that no direction goes missing.
    """
    step = 0.1 * AT_BOUND
    slopes = np.zeros((max(count, int(is_free.sum())), int(is_free.sum())))
    for column, move in enumerate(np.diag(step * problem.scales)[is_free]):
        difference = problem.weighted(x + move) - problem.weighted(x - move)
        slopes[:count, column] = difference / (2.0 * step)
    return slopes


def _huber(residuals: Floats, degrees_of_freedom: int) -> float:
    """What the squared errors of plain least squares are multiplied by: what the residuals say of the noise,
    and the price of bending them. Few residuals make errors larger, never smaller."""
    if degrees_of_freedom < _ENOUGH:
        return max(
            1.0, float((residuals**2).sum()) / max(degrees_of_freedom, 1)
        )
    bent = 1.0 + (residuals / BEND) ** 2
    slope = bent**-1.5
    few = (
        1.0
        + (1.0 - degrees_of_freedom / residuals.size)
        * slope.var()
        / slope.mean() ** 2
    )
    return float(
        (residuals**2 / bent).sum()
        / degrees_of_freedom
        * (few / slope.mean()) ** 2
    )


def _noise(
    linear: Linear, noise: dict[str, float], quantities: Sequence[str]
) -> dict[str, float]:
    """Noise of each quantity over the one told; those with too few residuals share one; else as told."""
    spare = 1.0 - linear.leverage
    own = {
        name: np.array([one == name for one in quantities]) for name in noise
    }
    few = [name for name in noise if spare[own[name]].sum() < _ENOUGH]
    together = (
        np.any([own[name] for name in few], axis=0)
        if few
        else np.zeros(spare.size, dtype=bool)
    )
    found = {}
    for name, before in noise.items():
        told_by = together if name in few else own[name]
        is_enough = spare[told_by].sum() >= _ENOUGH
        found[name] = (
            max(before * _deviation(linear.scores[told_by]), _LEAST_NOISE)
            if is_enough
            else 1.0
        )
    return found


def _deviation(scores: Floats) -> float:
    """Their rms without the outlying ones, found from the median absolute deviation on."""
    size = np.abs(scores)
    deviation = float(np.median(size)) / _NORMAL_MAD
    for _ in range(_ROUNDS):
        inner = size[size <= OUTLYING * deviation]
        deviation = float(np.sqrt((inner**2).mean()))
    return deviation


def weighed(
    problem: Problem, x: Floats, quantities: Sequence[str]
) -> tuple[Floats, Linear, dict[str, float]]:
    """Solve again with the noise that the residuals tell, until they tell no other."""
    noise = dict.fromkeys(quantities, 1.0)
    linear = linearised(problem, x)
    for _ in range(_ROUNDS):
        found = _noise(linear, noise, quantities)
        if all(
            abs(found[name] - noise[name]) < 0.01 * noise[name]
            for name in noise
        ):
            break
        noise = found
        problem = replace(
            problem,
            weights=1.0 / np.array([noise[name] for name in quantities]),
        )
        x = problem.solve(x).x
        linear = linearised(problem, x)
    return x, linear, noise


def _parts(slopes: Floats, directions: Floats, spreads: Floats) -> Floats:
    """Errors that the directions bring to what changes by `slopes`; (..., directions)."""
    along = slopes @ directions
    size = np.linalg.norm(along, axis=-1, keepdims=True)
    return np.where(np.abs(along) > _NOTHING * size, along * spreads, 0.0)


def error_along(slopes: Floats, directions: Floats, spreads: Floats) -> float:
    """Standard error; infinite where it is more than a change by the scales would do."""
    error = float(np.linalg.norm(_parts(slopes, directions, spreads)))
    return (
        error if error <= float(np.linalg.norm(slopes @ directions)) else np.inf
    )


def correlation(
    directions: Floats, spreads: Floats, is_told: np.ndarray
) -> Floats:
    """(parameters, parameters), not a number for what is not told."""
    parts = _parts(np.eye(len(is_told)), directions, spreads)
    size = np.linalg.norm(parts, axis=1)
    unit = parts / np.where(is_told, size, 1.0)[:, None]
    return np.where(np.outer(is_told, is_told), unit @ unit.T, np.nan)


def untold_of(
    linear: Linear, names: Sequence[str], x: Floats, is_told: np.ndarray
) -> tuple[NotIdentifiable, ...]:
    """Why each parameter is not told."""
    blind = linear.directions[:, linear.spreads > 1.0]
    size = np.linalg.norm(linear.directions, axis=1)
    shared = np.abs(blind @ blind.T) > 0.01 * np.outer(size, size)
    is_silent = linear.is_silent
    found = []
    for i in np.flatnonzero(~is_told):
        others = [
            j
            for j in np.flatnonzero(
                shared[i] & ~is_told & ~is_silent & linear.is_free
            )
            if j != i
        ]
        from_ = (
            ()
            if is_silent[i] or not linear.is_free[i]
            else tuple(names[int(j)] for j in others)
        )
        found.append(
            NotIdentifiable(
                names[int(i)], None if linear.is_free[i] else float(x[i]), from_
            )
        )
    return tuple(found)
