"""Bisection between a value that passes and one that fails."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from setupopt.physics.inputs import Floats


def bisect(
    passes: Callable[[Any], Any],
    passing: Floats | float,
    failing: Floats | float,
    halvings: int,
) -> tuple[Floats, Floats]:
    """The last passing and the first failing value after so many halvings, one pair or many at a time.

    `passes` takes the middle values in the shape of `passing` and answers whether each passes.

    >>> low, high = bisect(lambda value: value**2 <= 2.0, 0.0, 2.0, 10)
    >>> float(low), float(high)
    (1.4140625, 1.416015625)
    """
    inside = np.asarray(passing, dtype=float)
    outside = np.asarray(failing, dtype=float)
    for _ in range(halvings):
        middle = 0.5 * (inside + outside)
        passed = passes(middle)
        inside = np.where(passed, middle, inside)
        outside = np.where(passed, outside, middle)
    return inside, outside
