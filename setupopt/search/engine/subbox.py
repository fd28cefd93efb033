"""A part of the unit box as a unit box of its own. A variable without width there is fixed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from setupopt.search.engine.batch import Floats
from setupopt.search.engine.index_points import SemiInfiniteFunction


@dataclass(frozen=True)
class Subbox:
    """Points between `low` and `high`, (variables), given by their free variables, from 0 to 1."""

    low: Floats
    high: Floats

    @cached_property
    def free(self) -> np.ndarray:
        """Numbers of the variables that are not fixed."""
        return np.flatnonzero(self.high > self.low)

    def whole(self, points: Floats) -> Floats:
        """All variables of points (..., free)."""
        found = np.broadcast_to(
            self.low, (*points.shape[:-1], self.low.size)
        ).copy()
        found[..., self.free] += points * (self.high - self.low)[self.free]
        return found

    def nearest(self, point: Floats) -> Floats:
        """The point inside, (free), that is nearest to one of all variables."""
        low = self.low[self.free]
        high = self.high[self.free]
        return np.asarray(
            (np.clip(point[self.free], low, high) - low) / (high - low)
        )

    def inside(self, function: SemiInfiniteFunction) -> SemiInfiniteFunction:
        """The function of the free variables."""
        return lambda points, index_points, warm_start=None: function(
            self.whole(points), index_points, warm_start
        )
