"""Published semi-infinite problems: a limit that holds at every t of an interval, or a largest error over it.

S1, S2: A. Mitsos and H. Djelassi, A test set of semi-infinite programs (there 2 and 6); method of exchange:
J. W. Blankenship and J. E. Falk, J. Optim. Theory Appl. 19 (1976). S4: I. D. Coope and G. A. Watson, Math.
Program. 32 (1985); exact by Gauss quadrature, as its optimum is the least integral of a polynomial that stays
above tan. Older prints of S4 with three variables show .6490411, which is wrong in the sixth digit. Best
approximations: P. L. Chebyshev's theory, closed forms. Nothing here knows the search engine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import e, log, sqrt

import numpy as np
from minimax_problems import Published
from numpy.polynomial import chebyshev, polynomial

Floats = np.ndarray
OfPlaces = Callable[
    [Floats, Floats], Floats
]  # (variables), (places) -> (places)


@dataclass(frozen=True)
class SemiInfiniteProblem(Published):
    """Minimise objective(x) where limit(x, t) <= 0 at every t of the interval, inside the box."""

    objective: Callable[[Floats], float]
    limit: OfPlaces
    interval: tuple[float, float]
    low: tuple[float, ...]
    high: tuple[float, ...]
    linear: bool = False  # objective and limit, in x


@dataclass(frozen=True)
class ApproximationProblem(Published):
    """Minimise the largest |residual(x, t)| over the interval, inside the box. The residual is linear in x.

    Rows of a minimax problem are the residual and its negative at every t. Both starts are our own.
    """

    residual: OfPlaces
    interval: tuple[float, float]
    low: tuple[float, ...]
    high: tuple[float, ...]


# --- limits at every t ------------------------------------------------------------------------


def s1_objective(x: Floats) -> float:
    """S1."""
    a, b = x
    return float(a**2 / 3 + b**2 + a / 2)


def s1_limit(x: Floats, t: Floats) -> Floats:
    """S1; binds at t = 0 alone. Worse local optima lie at a = 0, which starts of positive a run into."""
    a, b = x
    return (1 - a**2 * t**2) ** 2 - a * t**2 - b**2 + b


def s2_objective(x: Floats) -> float:
    """S2: two cubic residuals squared, a bent valley."""
    a, b = x
    return float(
        (a - 2 * b + 5 * b**2 - b**3 - 13) ** 2
        + (a - 14 * b + b**2 + b**3 - 29) ** 2
    )


def s2_limit(x: Floats, t: Floats) -> Floats:
    """S2; binds at t = 0 alone."""
    a, b = x
    return a**2 + 2 * b * t**2 + np.exp(a + b) - np.exp(t)


def s4_objective(x: Floats) -> float:
    """S4: the integral over [0, 1] of the polynomial with coefficients x, lowest first."""
    return float(np.sum(x / np.arange(1, x.size + 1)))


def s4_limit(x: Floats, t: Floats) -> Floats:
    """S4: the polynomial stays above tan."""
    return np.tan(t) - polynomial.polyval(t, x)


# S4's optimum is the quadrature of tan that is exact for polynomials of degree n - 1: nodes inside are where
# the polynomial touches tan, twice each; 1 is always a node, and 0 where n is even.
S4_NODES = {
    3: ((1 / 3, 1.0), (3 / 4, 1 / 4)),
    4: ((0.0, 1 / 2, 1.0), (1 / 6, 2 / 3, 1 / 6)),
    5: (
        ((4 - sqrt(6)) / 10, (4 + sqrt(6)) / 10, 1.0),
        ((16 - sqrt(6)) / 36, (16 + sqrt(6)) / 36, 1 / 9),
    ),
    6: (
        (0.0, (5 - sqrt(5)) / 10, (5 + sqrt(5)) / 10, 1.0),
        (1 / 12, 5 / 12, 5 / 12, 1 / 12),
    ),
}


def s4(n: int) -> SemiInfiniteProblem:
    """S4 with n variables. Start from memory; it breaks the limit."""
    nodes, weights = S4_NODES[n]
    return SemiInfiniteProblem(
        s4_objective, s4_limit, (0.0, 1.0), (-5.0,) * n, (5.0,) * n,
        start=(0.0,) * n, second_start=(2.0, -1.0, 1.5, -2.0, 3.0, 1.0)[:n],
        optimum=float(np.dot(weights, np.tan(nodes))), last_digit=1e-12,
        source="Coope and Watson, Math. Program. 32 (1985); optimum by quadrature", linear=True,
    )  # fmt: skip


TEST_SET = "Mitsos and Djelassi, A test set of semi-infinite programs"
SEMI_INFINITE = {
    "S1": SemiInfiniteProblem(
        s1_objective, s1_limit, (0.0, 1.0), (-3.0, -3.0), (3.0, 3.0),
        start=(-1.0, -1.0), second_start=(-1.5, -2.0),
        optimum=-0.1875 + (3 - sqrt(5)) / 2, last_digit=1e-12, source=TEST_SET,
        point=(-0.75, (1 - sqrt(5)) / 2),
    ),
    "S2": SemiInfiniteProblem(
        s2_objective, s2_limit, (0.0, 1.0), (-3.0, -3.0), (3.0, 3.0),
        start=(1.0, -1.0), second_start=(-1.0, -2.0),
        optimum=97.1588524, last_digit=1e-7, source=TEST_SET, point=(0.719961, -1.450487),
    ),
    **{f"S4, n={n}": s4(n) for n in S4_NODES},
}  # fmt: skip

# --- best approximations ----------------------------------------------------------------------


def monic(x: Floats, t: Floats) -> Floats:
    """The polynomial t^n + x_n-1 t^(n-1) + .. + x_0."""
    return polynomial.polyval(t, [*x, 1.0])


def modulus(x: Floats, t: Floats) -> Floats:
    """A polynomial less |t|."""
    return polynomial.polyval(t, x) - np.abs(t)


def root(x: Floats, t: Floats) -> Floats:
    """A polynomial less sqrt t, whose slope is without bound at 0."""
    return polynomial.polyval(t, x) - np.sqrt(t)


def power_of_e(x: Floats, t: Floats) -> Floats:
    """A polynomial less e^t."""
    return polynomial.polyval(t, x) - np.exp(t)


def smallest_monic(n: int) -> ApproximationProblem:
    """The monic polynomial of degree n that is smallest on [-1, 1]: Chebyshev's over 2^(n-1)."""
    scaled = chebyshev.cheb2poly([0.0] * n + [1.0]) / 2 ** (n - 1)
    return ApproximationProblem(
        monic, (-1.0, 1.0), (-3.0,) * n, (3.0,) * n,
        start=(0.0,) * n, second_start=(1.0, -0.5, 1.5, 2.0, -1.0, 0.7)[:n],
        optimum=2.0 ** (1 - n), point=tuple(scaled[:-1]), source="Chebyshev polynomials",
    )  # fmt: skip


SLOPE = e - 1
EXP_ERROR = (
    1 - SLOPE + SLOPE * log(SLOPE)
) / 2  # the same at 0, at ln(e - 1) and at 1, with signs in turn
APPROXIMATION = {
    **{f"monic, degree {n}": smallest_monic(n) for n in range(2, 7)},
    "|t| by quadratics": ApproximationProblem(
        modulus, (-1.0, 1.0), (-3.0,) * 3, (3.0,) * 3, start=(0.0,) * 3, second_start=(1.0, -2.0, 0.5),
        optimum=1 / 8, point=(1 / 8, 0.0, 1.0), source="errors of 1/8, signs in turn, at -1, -1/2, 0, 1/2, 1",
    ),
    "sqrt t by a line": ApproximationProblem(
        root, (0.0, 1.0), (-3.0,) * 2, (3.0,) * 2, start=(0.0,) * 2, second_start=(2.0, -1.0),
        optimum=1 / 8, point=(1 / 8, 1.0), source="errors of 1/8, signs in turn, at 0, 1/4, 1",
    ),
    "e^t by a line": ApproximationProblem(
        power_of_e, (0.0, 1.0), (-3.0,) * 2, (3.0,) * 2, start=(0.0,) * 2, second_start=(2.0, -1.0),
        optimum=EXP_ERROR, point=(1 - EXP_ERROR, SLOPE),
        source="errors of .1059334, signs in turn, at 0, ln(e - 1), 1",
    ),
}  # fmt: skip
