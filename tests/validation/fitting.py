"""The least squares of `fit` on certified problems. Noise is told far too large: its loss is a square."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from minimax_problems import MINIMAX

from setupopt.fit.least_squares import Fitted, fit

from .check import Check
from .sources import MORE, NIST

# Misra1a: dental research, monomolecular adsorption; pressure and volume
PRESSURE = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1,
                     760.0])  # fmt: skip
VOLUME = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47,
                   81.78])  # fmt: skip
DULL = 1e4  # noise told, over what is left at the optimum


@cache
def misra() -> Fitted:
    """The fit, from the first of the published starts."""
    return fit(
        lambda b: misra_residuals(b) / (0.1 * DULL), np.array([500.0, 1e-4]), np.array([1.0, 1e-6]),
        np.array([2000.0, 1e-2]), ("b1", "b2"), np.array([500.0, 1e-3]), starts=1,
    )  # fmt: skip


def misra_residuals(b: np.ndarray) -> np.ndarray:
    """Of b1 (1 - exp(-b2 x))."""
    return VOLUME - b[0] * (1.0 - np.exp(-b[1] * PRESSURE))


def squares(name: str, left: float) -> Callable[[], float]:
    """Least sum of squares of a published set of residuals, inside its box; about `left` each."""
    problem = MINIMAX[name]
    count = problem.functions(np.array(problem.start)).size // 2
    low, high = (
        np.array(problem.low, dtype=float),
        np.array(problem.high, dtype=float),
    )
    letters = [str(number) for number in range(low.size)]

    def least() -> float:
        found = fit(
            lambda x: problem.functions(x)[:count] / (left * DULL), np.array(problem.start), low, high,
            letters, high - low,
        )  # fmt: skip
        return float((problem.functions(found.values)[:count] ** 2).sum())

    return least


CHECKS = [
    Check("Misra1a, first parameter", "", "238.94212918", lambda: misra().values[0],
          2.4e-4, "10^-6 of it: as searched for", NIST, "solver", 3),
    Check("Misra1a, second parameter, times 10^4", "", "5.5015643181", lambda: 1e4 * misra().values[1],
          5.5e-6, "10^-6 of it: as searched for", NIST, "solver", 4),
    Check("Misra1a, sum of squares", "", "0.12455138894",
          lambda: (misra_residuals(misra().values) ** 2).sum(), 1e-7, "10^-6 of it", NIST, "solver", 6),
    Check("sum of squares of Bard's data, times 10^3", "", "8.21487", lambda: 1e3 * squares("Bard", 0.02)(),
          2e-5, "2 10^-6 of it: its digits", MORE, "solver", 4),
    Check("sum of squares of Kowalik and Osborne's data, times 10^4", "", "3.07505",
          lambda: 1e4 * squares("Kowalik-Osborne", 5e-3)(), 1e-5, "its digits", MORE, "solver", 4),
]  # fmt: skip
