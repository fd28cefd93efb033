"""Multipliers at a best point, against problems whose multipliers are known."""

from __future__ import annotations

import numpy as np
import pytest
from minimax_problems import MINIMAX

from setupopt.physics.inputs import Floats
from setupopt.search.engine.batch import BatchFunction, Evaluation
from setupopt.search.engine.multipliers import multipliers_at

EMPTY = (1, 0)


def _rosen_suzuki() -> tuple[BatchFunction, Floats]:
    """The minimax problem as a max-min one over the unit box, and its best point there."""
    problem = MINIMAX["Rosen-Suzuki"]
    assert problem.point is not None
    low, high = (
        np.asarray(problem.low, dtype=float),
        np.asarray(problem.high, dtype=float),
    )

    def answers(points: Floats, warm_start: object = None) -> Evaluation:
        values = -np.array(
            [problem.functions(low + point * (high - low)) for point in points]
        )
        return Evaluation(values, np.empty((len(points), 0)))

    return answers, (np.asarray(problem.point) - low) / (high - low)


def test_rosen_suzuki() -> None:
    """grad f + 1 grad g1 + 0 grad g2 + 2 grad g3 = 0 at (0, 1, 2, -1), by hand; with rows f + 10 g that is
    .1, 0 and .2, and what is left of one for f."""
    function, at = _rosen_suzuki()
    found = multipliers_at(function, at)
    np.testing.assert_allclose(found.values, [0.7, 0.1, 0.0, 0.2], atol=1e-5)
    assert found.slack < 1e-4


def test_borders_and_limits_are_priced() -> None:
    """Highest x + 2 y + 3 z with x <= 1 (border), y + z <= 1/2: prices 1 of the border, 3 of the limit, and
    1 of y's lower border (a unit of y there costs 3 and brings 2): linear programming, by hand."""

    def linear(points: Floats, warm_start: object = None) -> Evaluation:
        return Evaluation(
            (points @ [1.0, 2.0, 3.0])[:, None],
            0.5 - points[:, [1]] - points[:, [2]],
        )

    found = multipliers_at(linear, np.array([1.0, 0.0, 0.5]))
    np.testing.assert_allclose(found.limits, [3.0], atol=1e-6)
    np.testing.assert_allclose(found.upper, [1.0, 0.0, 0.0], atol=1e-6)
    np.testing.assert_allclose(found.lower, [0.0, 1.0, 0.0], atol=1e-6)
    np.testing.assert_allclose(found.values, [1.0])


def test_slack_tells_that_a_point_is_not_best() -> None:
    """Half-way up a slope nothing holds the point down: what is left is the slope itself."""

    def slope(points: Floats, warm_start: object = None) -> Evaluation:
        return Evaluation(
            points.sum(axis=1)[:, None], np.empty((len(points), 0))
        )

    assert multipliers_at(slope, np.array([0.5, 0.5])).slack == pytest.approx(
        np.sqrt(2.0), rel=1e-6
    )
