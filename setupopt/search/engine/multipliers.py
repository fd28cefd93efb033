"""How much every row and every border of the box holds a best point down: the multipliers there.

H. W. Kuhn and A. W. Tucker, Nonlinear programming, Proc. 2nd Berkeley Symposium, 1951. The slopes of the rows
that bind, weighed, leave no way up; the weights are those, not negative, that come nearest to that. The dual
values of a program will not do: where rows bend, they belong to the trust region too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from setupopt.physics.inputs import Floats
from setupopt.search.engine.maxmin import BatchFunction

# Rows this close to the least value, limits and borders this close to nothing, are taken to bind.
_VALUE, _LIMIT, _BORDER = 2e-5, 1e-5, 1e-5
# Central differences this wide: wide enough that trims, exact to 1e-9, tell slopes to 1e-5.
_PROBE = 1e-4
# How much more it counts that the weights of the values make one.
_HEAVY = 100.0


@dataclass(frozen=True)
class Multipliers:
    """Weights of values (rows), which make one; of limits (rows) and borders (variables), value per unit.

    `slack`: what they leave of the slope, per width of the box; small at a best point.
    """

    values: Floats
    limits: Floats
    lower: Floats
    upper: Floats
    slack: float


def multipliers_at(function: BatchFunction, point: Floats) -> Multipliers:
    """Weights at a best point (variables) of the unit box."""
    here = function(point[None, :])
    values, limits = here.values[0], here.limits[0]
    if point.size == 0:
        none = np.zeros(0)
        return Multipliers(_spread(1.0, values.argmin(), values.size), np.zeros(limits.size), none, none, 0.0)
    rows = np.flatnonzero(values <= values.min() + _VALUE)
    held = np.flatnonzero(limits <= _LIMIT)
    value_slope, limit_slope = _slopes(function, point, here.memory, rows, held)
    low, high = np.flatnonzero(point <= _BORDER), np.flatnonzero(point >= 1.0 - _BORDER)
    borders = np.eye(point.size)
    columns = np.hstack([value_slope, limit_slope, borders[:, low], -borders[:, high]])
    found, slack = _nearest(columns, rows.size)
    split = np.split(found, np.cumsum([rows.size, held.size, low.size]))
    return Multipliers(
        _spread(split[0], rows, values.size), _spread(split[1], held, limits.size),
        _spread(split[2], low, point.size), _spread(split[3], high, point.size), slack,
    )  # fmt: skip


def _slopes(
    function: BatchFunction, point: Floats, memory: object, rows: np.ndarray, held: np.ndarray
) -> tuple[Floats, Floats]:
    """Slopes of some values and limits by central differences, (variables, rows) each."""
    step = _PROBE * np.eye(point.size)
    around = function(np.vstack([point + step, point - step]), memory)
    n = point.size
    return tuple(
        (asked[:n, own] - asked[n:, own]) / (2.0 * _PROBE)
        for asked, own in ((around.values, rows), (around.limits, held))
    )  # type: ignore[return-value]


def _nearest(columns: Floats, values: int) -> tuple[Floats, float]:
    """Weights, not negative and with those of the values one in sum, that leave least of the slope."""
    whole = np.vstack([columns, np.where(np.arange(columns.shape[1]) < values, _HEAVY, 0.0)])
    wanted = np.append(np.zeros(len(columns)), _HEAVY)
    found, _ = nnls(whole, wanted)
    total = max(float(found[:values].sum()), 1e-12)
    return found / total, float(np.linalg.norm(columns @ found / total))


def _spread(weights: Floats | float, places: np.ndarray | np.intp, size: int) -> Floats:
    whole = np.zeros(size)
    whole[places] = weights
    return whole
