"""Batch functions: many points of the unit box in, their values and limits out.

The worst value is raised. A limit must not be negative.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
# Gets the count of steps so far.
StepProgress = Callable[[int], object]

# Cost of a limit broken by one of its scales, in units of the value that is raised.
PENALTY = 10.0


def silent(_: object) -> None:
    """Reports no progress."""


@dataclass(frozen=True)
class Evaluation:
    """values (points, values) and limits (points, limits); `warm_start` speeds up points nearby."""

    values: Floats
    limits: Floats
    warm_start: Any = None


class BatchFunction(Protocol):
    """Evaluates points (points, variables); `warm_start` is that of a point nearby, or None."""

    def __call__(
        self, points: Floats, warm_start: Any = None
    ) -> Evaluation: ...


def merit(values: Floats, limits: Floats, penalty: float = PENALTY) -> Floats:
    """Worst value of each point, less the cost of its broken limits, (points)."""
    broken = np.maximum(0.0, -limits).sum(axis=-1)
    return np.asarray(values.min(axis=-1) - penalty * broken)


def scatter(picked: Floats | float, index: np.ndarray, size: int) -> Floats:
    """An array (size) that is zero but for `picked` at `index`."""
    whole = np.zeros(size)
    whole[index] = picked
    return whole
