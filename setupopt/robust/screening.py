"""The lowest margin of many cases near a solved state: slopes say which cases the model has to solve."""

from __future__ import annotations

import numpy as np

from setupopt.physics.inputs import Floats

# A case without contact is this much lower in `Result.ranked`: lower than any with contact.
LOST = 1e6
# A margin by slope is off by a term of second order in the step: by less than this, and half of what the step
# moves a margin at most.
_BAND = 0.02
_SHARE = 0.5


def suspects(near: Floats, before: Floats) -> np.ndarray:
    """Which cases may have the lowest margin along the last axis, by margins by slope and those of the start.

    >>> suspects(np.array([0.10, 0.11, 0.30]), np.array([0.11, 0.12, 0.30]))
    array([ True,  True, False])
    """
    moved = np.abs(near - before).max(axis=-1, keepdims=True)
    band = _BAND + _SHARE * np.minimum(moved, 1.0)
    return near <= near.min(axis=-1, keepdims=True) + band
