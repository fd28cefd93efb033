"""What would explain the residuals of each channel, and what the log cannot tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setupopt.learn.estimate import Posterior
from setupopt.learn.model import Stretches

TOLD = 0.7  # of its error before; a value with more is not told by the log


@dataclass(frozen=True)
class Residual:
    """One channel against the model, SI: mean residual with the project's and with the corrected values, rms
    after, and the band (one standard error of the prediction before).

    `cause`: the value that alone explains most of it, by how many of its errors before, and what share of
    the squares it takes away; empty where nothing is to be explained.
    """

    channel: str
    seconds: int
    bias: float
    bias_after: float
    rms_after: float
    band: float
    noise: float
    cause: str
    size: float
    share: float


def residuals(found: Posterior, rows: Stretches) -> list[Residual]:
    """Every channel that was compared."""
    return [_residual(found, str(name), c) for c, name in enumerate(rows.log.columns)]


def _residual(found: Posterior, name: str, c: int) -> Residual:
    left = found.before[:, c]
    has = np.isfinite(left)
    left = left[has]
    columns = found.by_value[has, c] * found.error_before
    weight = (columns**2).sum(axis=0) / found.noise[c] ** 2
    size = columns.T @ left / found.noise[c] ** 2 / (weight + 1.0)
    after = ((left[:, None] - columns * size) ** 2).sum(axis=0)
    best = int(after.argmin())
    share = 1.0 - float(after[best] / max((left**2).sum(), 1e-300))
    is_odd = np.sqrt(np.mean(left**2)) > 1.5 * found.noise[c]
    corrected = found.after[has, c]
    return Residual(
        name, left.size, float(left.mean()), float(corrected.mean()), float(np.sqrt(np.mean(corrected**2))),
        float(np.mean(found.band[has, c])), float(found.noise[c]),
        found.those[best].name if is_odd else "", float(size[best]), share,
    )  # fmt: skip
