"""A linear motion from rest in equal steps of time."""

from __future__ import annotations

import numpy as np

from setupopt.physics.inputs import Floats

# Step and end of what is followed, s.
STEP = 4e-3
SAMPLES = 250


def lasting(road: Floats) -> Floats:
    """A road (samples, columns) over the whole time that is followed; as it ends, it goes on."""
    more = max(0, SAMPLES - len(road))
    return np.pad(road, ((0, more), (0, 0)), mode="edge")[:SAMPLES]


def _exponential(matrix: Floats) -> Floats:
    """exp(matrix) by a series of the matrix halved often enough, squared as often; to about 1e-9.

    SciPy's is exact, but on busy cores its threads take a hundred times as long as the work.
    """
    halvings = max(
        0, int(np.ceil(np.log2(np.abs(matrix).sum(axis=1).max()))) + 3
    )
    small = matrix / 2.0**halvings
    whole = np.eye(len(matrix))
    for order in range(8, 0, -1):
        whole = np.eye(len(matrix)) + small @ whole / order
    for _ in range(halvings):
        whole = whole @ whole
    return whole


def marched(law: Floats, push: Floats) -> Floats:
    """States (times, disturbances, states) from rest, the push straight between its times."""
    half = _exponential(0.5 * STEP * law).T
    whole = half @ half
    middle = 0.5 * STEP * (push[1:] + push[:-1]) @ half
    states = np.zeros_like(push)
    for k, more in enumerate(middle):
        states[k + 1] = states[k] @ whole + more
    return states
