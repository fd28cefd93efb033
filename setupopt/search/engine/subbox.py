"""A piece of the unit box as a unit box of its own: variables between borders, those without width held."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.search.engine.index_points import IndexPoints, SemiInfiniteEvaluation, SemiInfiniteFunction


@dataclass(frozen=True)
class Subbox:
    """Points between `low` and `high`, (variables), told by their free variables, from 0 to 1."""

    low: Floats
    high: Floats

    @cached_property
    def free(self) -> np.ndarray:
        """Variables that are not held, their numbers."""
        return np.flatnonzero(self.high > self.low)

    def whole(self, points: Floats) -> Floats:
        """All variables of points (..., free)."""
        found = np.broadcast_to(self.low, (*points.shape[:-1], self.low.size)).copy()
        found[..., self.free] += points * (self.high - self.low)[self.free]
        return found

    def own(self, point: Floats) -> Floats:
        """The nearest point inside to one of all variables, (free)."""
        low, high = self.low[self.free], self.high[self.free]
        return np.asarray((np.clip(point[self.free], low, high) - low) / (high - low))

    def of(self, function: SemiInfiniteFunction) -> SemiInfiniteFunction:
        """The function, asked inside."""

        def asked(points: Floats, places: IndexPoints, memory: Any = None) -> SemiInfiniteEvaluation:
            return function(self.whole(points), places, memory)

        return asked
