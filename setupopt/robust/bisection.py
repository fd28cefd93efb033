"""Closing in on a limit: between a value that passes and one that fails, or from a guess."""

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


# The first step off a guess, as a ratio; the next are squares of it, until the limit lies between.
_FIRST_STEP = 1.2


def highest(
    ends: Callable[[float], int],
    guess: float,
    most: float,
    exact: float,
    fine: float,
) -> tuple[float, int]:
    """The highest level that `ends` with 0, and with what a little more ends; up to `most`, which then ends so.

    From a guess on, until the next level that does not is within the share `exact`, or lies under `fine`.

    >>> low, reason = highest(lambda level: 0 if level < 3.0 else 5, 1.0, 100.0, 0.05, 1e-3)
    >>> 2.85 < low < 3.0, reason
    (True, 5)
    >>> highest(lambda level: 0, 1.0, 100.0, 0.05, 1e-3)
    (100.0, 0)
    """
    low = 0.0
    high = np.inf
    reason = 0
    step = _FIRST_STEP
    level = min(guess, most)
    while low < (1.0 - exact) * high and high > fine and low < most:
        found = ends(level)
        if found == 0:
            low = level
        else:
            high = level
            reason = found
        if np.isfinite(high) and low > 0.0:
            level = float(np.sqrt(low * high))
        else:
            level = min(level * step if low > 0.0 else level / step, most)
            step *= step
    return low, reason
