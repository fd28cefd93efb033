"""A least-squares problem in units of noise: residuals, robust cost, the solution from one start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import least_squares

from setupopt.physics.inputs import Floats

# Residuals beyond so many times their noise count less and less: 96 % of the efficiency of plain least
# squares on normal noise (by integration), and a bounded pull of any single row.
BEND = 1.5
AT_BOUND = 1e-4  # of the scale
# Weight of the pull towards the anchor, in noise a scale: a parameter that is known to a standard error of s
# scales moves by s^2 millionths of its distance; one that the residuals do not determine ends at the anchor,
# not where rounding happens to stop the search.
_PULL = 1e-3


def robust_cost(residuals: Floats) -> float:
    """The soft_l1 loss of residuals in units of their noise; half the sum of squares where all are small."""
    squares = (residuals / BEND) ** 2
    return float(BEND**2 * (np.sqrt(1.0 + squares) - 1.0).sum())


@dataclass(eq=False)
class Problem:
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
        return np.append(
            self.weighted(x), _PULL * (x - self.anchor) / self.scales
        )

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
            loss="soft_l1", f_scale=BEND, bounds=(self.lower / self.scales, self.upper / self.scales),
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
        near = AT_BOUND * self.scales
        low = np.where(x - self.lower < near, self.lower, x)
        return np.where(self.upper - low < near, self.upper, low)
