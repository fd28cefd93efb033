"""The max-min engine on published minimax problems, each from two starts."""

from __future__ import annotations

import numpy as np
import pytest
from minimax_problems import MINIMAX, MinimaxProblem

from setupopt.search.engine import maxmin
from setupopt.search.engine.batch import PENALTY, BatchFunction, Evaluation
from setupopt.search.engine.bfgs import Curvature
from setupopt.search.engine.maxmin import (
    Outcome,
    TrustRegionOptions,
    maximise_worst,
)

from .tight_rules import TIGHT

STARTS = ["start", "second_start"]


def _posed(problem: MinimaxProblem) -> BatchFunction:
    """A minimax problem over its box as a max-min problem over the unit box."""
    low, high = (
        np.array(problem.low, dtype=float),
        np.array(problem.high, dtype=float),
    )
    slopes = np.reshape(problem.slopes, (-1, low.size))

    def answers(points: np.ndarray, warm_start: object = None) -> Evaluation:
        real = low + points * (high - low)
        values = -np.array([problem.functions(x) for x in real])
        return Evaluation(values, real @ slopes.T - np.array(problem.least))

    return answers


def _climbed(
    name: str, start: str, rules: TrustRegionOptions = TIGHT
) -> Outcome:
    """A climb on a published problem."""
    problem = MINIMAX[name]
    low, high = (
        np.array(problem.low, dtype=float),
        np.array(problem.high, dtype=float),
    )
    return maximise_worst(
        _posed(problem), (getattr(problem, start) - low) / (high - low), rules
    )


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("name", MINIMAX)
def test_published_minimax(name: str, start: str) -> None:
    """From both starts the published optimum: the engine stops at no bend and on no ridge.

    To 1e-6 of the optimum itself, as some are far below 1, and what the rules leave as too little to gain.
    """
    end, optimum = _climbed(name, start), MINIMAX[name].optimum
    assert -end.merit == pytest.approx(
        optimum, rel=0, abs=1e-6 * abs(optimum) + TIGHT.least_gain
    )
    assert end.limits.min(initial=0.0) > -TIGHT.least_gain


@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("name", MINIMAX)
def test_settings_as_they_come(name: str, start: str) -> None:
    """What the default settings leave is of the order of what they call too little to gain.

    One problem stops early unless trust is renewed, one creeps unless a step allows for the bend of the rows.
    """
    end, optimum = (
        _climbed(name, start, TrustRegionOptions()),
        MINIMAX[name].optimum,
    )
    assert -end.merit == pytest.approx(
        optimum,
        rel=0,
        abs=10 * TrustRegionOptions().least_gain * max(1.0, abs(optimum)),
    )


def _steps_to(end: Outcome, optimum: float) -> int:
    """Steps until the worst value is within 1e-6 of the optimum."""
    return int(np.argmax(-np.array(end.trail) - optimum < 1e-6 * abs(optimum)))


@pytest.mark.parametrize("start", STARTS)
def test_bend_is_learned(start: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A curved optimum takes few steps, and fewer than half without what is known of the bend would do.

    Three rows bind in four variables, so slopes alone leave a direction open. 15 guards against
    regression and has no other source.
    """
    end = _climbed("Rosen-Suzuki", start)
    assert 0 < _steps_to(end, -44.0) < 15
    monkeypatch.setattr(Curvature, "root", lambda self: None)
    assert end.steps < _climbed("Rosen-Suzuki", start).steps / 2


def test_limit_is_kept_and_used() -> None:
    """Highest x + y with x^2 + y^2 <= 1/2 in the unit box: 1 at (1/2, 1/2), by symmetry."""

    def circle(points: np.ndarray, warm_start: object = None) -> Evaluation:
        return Evaluation(
            points.sum(axis=1)[:, None], 0.5 - (points**2).sum(axis=1)[:, None]
        )

    end = maximise_worst(circle, np.array([0.9, 0.1]), TIGHT)
    np.testing.assert_allclose(end.point, [0.5, 0.5], atol=1e-3)
    assert end.limits.min() > -1e-7
    assert end.merit == pytest.approx(1.0, abs=1e-5)


def test_a_curved_limit_allows_long_steps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Round a quarter of a circle, between two limits 1e-4 apart, from one end to the other.

    Where a broken limit costs its full price at every step, only steps are taken that hardly leave the
    circle: it takes at least one and a half times as many.
    """

    def circle(points: np.ndarray, warm_start: object = None) -> Evaluation:
        x, y = points.T
        inside = 1.0 - np.hypot(x, y)
        limits = np.stack([inside, 1e-4 - inside], axis=1)
        return Evaluation((y - 0.01 * x)[:, None], limits)

    start = np.array([1.0, 0.0])
    end = maximise_worst(circle, start)
    np.testing.assert_allclose(end.point, [0.0, 1.0], rtol=0, atol=1e-6)
    assert end.limits.min() > -1e-7
    monkeypatch.setattr(maxmin, "_LEAST_PENALTY", PENALTY)
    assert maximise_worst(circle, start).steps > 1.5 * end.steps


def test_unmeetable_limit_ends_at_its_best() -> None:
    """Where a limit cannot be kept the climb still ends, and says by how much it is missed."""

    def impossible(points: np.ndarray, warm_start: object = None) -> Evaluation:
        return Evaluation(points, points[:, :1] - 1.5)

    end = maximise_worst(impossible, np.array([0.2]), TIGHT)
    assert end.point[0] == pytest.approx(1.0, abs=1e-6)
    assert end.limits[0] == pytest.approx(-0.5, abs=1e-6)


def test_where_a_program_fails_the_climb_ends_where_it_stands() -> None:
    """Rows that turn into no numbers stop the climb with a reason; what was reached stays."""

    def breaking(points: np.ndarray, warm_start: object = None) -> Evaluation:
        return Evaluation(
            np.where(points > 0.6, np.nan, points), np.empty((len(points), 0))
        )

    end = maximise_worst(breaking, np.array([0.59999999]), TIGHT)
    assert end.why not in ("", "no gain left")
    assert end.merit == pytest.approx(0.6, abs=1e-6)


def test_the_warm_start_of_the_iterate_is_passed_on() -> None:
    """The function gets the warm start of the best iterate, never that of a rejected point."""
    seen: list[object] = []

    def counting(points: np.ndarray, warm_start: object = None) -> Evaluation:
        seen.append(warm_start)
        return Evaluation(
            -((points - 0.3) ** 2),
            np.empty((len(points), 0)),
            warm_start=points[0].copy(),
        )

    end = maximise_worst(counting, np.array([0.9]))
    assert seen[0] is None
    assert all(start is not None for start in seen[1:])
    assert end.point[0] == pytest.approx(0.3, abs=0.02)


def test_same_start_same_end() -> None:
    """The climb is deterministic."""
    ends = [
        maximise_worst(_posed(MINIMAX["DEM"]), np.array([0.9, 0.2]), TIGHT)
        for _ in range(2)
    ]
    assert ends[0].point.tolist() == ends[1].point.tolist()
    assert ends[0].trail == ends[1].trail
