"""The multipliers of a best point: how much each value, limit and bound of the box holds it down.

H. W. Kuhn and A. W. Tucker, Nonlinear programming, Proc. 2nd Berkeley Symposium, 1951. At a best point the
slopes of the active values, limits and bounds, times their multipliers, add up to zero. The multipliers are
the numbers, not negative, that come nearest to that. The dual values of a subproblem are not used: where the
constraints are curved, they depend on the trust region too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from setupopt.search.engine.batch import BatchFunction, Floats, scatter

# Values this close to the least, limits and bounds this close to zero, are active.
_VALUE = 2e-5
_LIMIT = 1e-5
_BOUND = 1e-5
# Step of the central differences: wide enough that trims, exact to 1e-9, give slopes to 1e-5.
_PROBE = 1e-4
# Weight of the condition that the multipliers of the values add up to one.
_HEAVY = 100.0


@dataclass(frozen=True)
class Multipliers:
    """Multipliers of values (values), which add up to one; of limits (limits) and bounds (variables).

    Those of limits and bounds are in value per unit. `slack`: the slope that is left, per width of the box;
    small at a best point.
    """

    values: Floats
    limits: Floats
    lower: Floats
    upper: Floats
    slack: float


def multipliers_at(function: BatchFunction, point: Floats) -> Multipliers:
    """The multipliers at a best point (variables) of the unit box."""
    here = function(point[None, :])
    values = here.values[0]
    limits = here.limits[0]
    size = point.size
    if size == 0:
        none = np.zeros(0)
        worst = scatter(1.0, np.array([values.argmin()]), values.size)
        return Multipliers(
            worst,
            np.zeros(limits.size),
            none,
            none,
            0.0,
        )
    active = np.flatnonzero(values <= values.min() + _VALUE)
    tight = np.flatnonzero(limits <= _LIMIT)
    low = np.flatnonzero(point <= _BOUND)
    high = np.flatnonzero(point >= 1.0 - _BOUND)

    step = _PROBE * np.eye(size)
    around = function(np.vstack([point + step, point - step]), here.warm_start)
    rows = np.hstack([around.values[:, active], around.limits[:, tight]])
    slopes = (rows[:size] - rows[size:]) / (2.0 * _PROBE)
    bounds = np.eye(size)
    found, slack = _nearest(
        np.hstack([slopes, bounds[:, low], -bounds[:, high]]), active.size
    )
    own = np.split(found, np.cumsum([active.size, tight.size, low.size]))
    return Multipliers(
        scatter(own[0], active, values.size),
        scatter(own[1], tight, limits.size),
        scatter(own[2], low, size),
        scatter(own[3], high, size),
        slack,
    )


def _nearest(columns: Floats, values: int) -> tuple[Floats, float]:
    """Multipliers of the columns, the first `values` of which add up to one, and the slope that is left."""
    sums = np.where(np.arange(columns.shape[1]) < values, _HEAVY, 0.0)
    wanted = np.append(np.zeros(len(columns)), _HEAVY)
    found, _ = nnls(np.vstack([columns, sums]), wanted)
    total = max(float(found[:values].sum()), 1e-12)
    return found / total, float(np.linalg.norm(columns @ found / total))
