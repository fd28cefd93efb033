"""The linear program of one step, against another solver and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from setupopt.search.engine import trust_region_subproblem
from setupopt.search.engine.batch import PENALTY
from setupopt.search.engine.trust_region_subproblem import (
    LinearModel,
    best_step,
    stated,
)


def _random_rows(
    rng: np.random.Generator, count: int, variables: int, shift: float
) -> LinearModel:
    return LinearModel(
        rng.normal(size=count) + shift, rng.normal(size=(count, variables))
    )


def _by_simplex(
    values: LinearModel, limits: LinearModel, at: np.ndarray, radius: np.ndarray
) -> float:
    """The same program through scipy's HiGHS: the best merit, level included."""
    n, m, k = at.size, values.level.size, limits.level.size
    cost = np.r_[np.zeros(n), -1.0, np.full(k, PENALTY)]
    above = np.c_[-values.slope, np.ones(m), np.zeros((m, k))]
    inside = np.c_[-limits.slope, np.zeros(k), -np.eye(k)]
    bounds = [
        (max(-r, -x), min(r, 1 - x)) for x, r in zip(at, radius, strict=True)
    ]
    solved = linprog(
        cost, A_ub=np.r_[above, inside], b_ub=np.r_[values.level, limits.level],
        bounds=bounds + [(None, None)] + [(0, None)] * k,
    )  # fmt: skip
    return float(-solved.fun)


def _merit(rows: LinearModel, limits: LinearModel, move: np.ndarray) -> float:
    broken = np.maximum(0.0, -(limits.level + limits.slope @ move)).sum()
    return float((rows.level + rows.slope @ move).min() - PENALTY * broken)


@pytest.mark.parametrize("seed", range(25))
def test_step_is_as_good_as_another_solver_finds(seed: int) -> None:
    """Protects the program itself, and the leaving out of rows that cannot bind."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 9))
    values = _random_rows(rng, int(rng.integers(1, 60)), n, 0.0)
    limits = _random_rows(rng, int(rng.integers(0, 30)), n, 0.5)
    at, radius = rng.random(n), rng.random(n) * 0.3 + 0.01
    step = best_step(values, limits, at, radius)
    # the interior-point solver's own tolerance, in the unit of the values
    assert _merit(values, limits, step.move) == pytest.approx(
        _by_simplex(values, limits, at, radius), abs=2e-6
    )
    assert step.gain == pytest.approx(
        _merit(values, limits, step.move) - _merit(values, limits, np.zeros(n))
    )


def test_step_stays_in_box_and_trust_region() -> None:
    """A step may leave neither the box nor the trust region."""
    at, radius = np.array([0.05, 0.9]), np.array([0.2, 0.2])
    step = best_step(
        LinearModel(np.zeros(1), np.array([[-1.0, 1.0]])),
        LinearModel(np.empty(0), np.empty((0, 2))),
        at,
        radius,
    )
    np.testing.assert_allclose(step.move, [-0.05, 0.1], atol=1e-7)


def test_limit_weight_is_its_price() -> None:
    """A limit 1 - x >= 0.6 in a climb along x: widening it by one is worth the slope, 3."""
    rows = LinearModel(np.zeros(1), np.array([[3.0]]))
    limit = LinearModel(np.array([0.1]), np.array([[-1.0]]))
    step = best_step(rows, limit, np.array([0.3]), np.array([0.3]))
    assert step.move[0] == pytest.approx(0.1, abs=1e-6)
    assert step.limit_weights[0] == pytest.approx(3.0, abs=1e-4)


def _programs_agree(count: int) -> None:
    """Random programs of all sizes, linear and quadratic, against the same stated with cvxpy."""
    rng = np.random.default_rng(count)
    for _ in range(count):
        n = int(rng.integers(1, 17))
        values = _random_rows(rng, int(rng.integers(1, 50)), n, 0.0)
        limits = _random_rows(rng, int(rng.integers(0, 25)), n, 0.5)
        radius = rng.random(n) * 0.3 + 0.01
        root = rng.normal(size=(n, n)) * rng.integers(0, 2)
        program = (values, limits, -radius, radius, root.T @ root)
        half, cost, rows, right = trust_region_subproblem._program(*program)
        square = half.toarray() + np.triu(half.toarray(), 1).T
        moves = [
            trust_region_subproblem._solved(*program)[0],
            stated(square, cost, rows.toarray(), right)[0],
        ]
        direct, again = (0.5 * x @ square @ x + cost @ x for x in moves)
        assert direct == pytest.approx(again, abs=1e-9)


def test_programs_have_the_value_that_cvxpy_finds() -> None:
    """Protects the places into which the numbers of a program are written."""
    _programs_agree(25)


def test_a_thousand_programs_have_the_value_that_cvxpy_finds() -> None:
    """The same, of sizes and kinds that a sample may not meet."""
    _programs_agree(1000)


@pytest.mark.parametrize("seed", range(5))
def test_the_program_stated_with_cvxpy_has_the_same_step(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the direct solution does not end, cvxpy states the program anew: the same step to 1e-6."""
    rng = np.random.default_rng(seed)
    values = LinearModel(rng.normal(size=6), rng.normal(size=(6, 4)))
    limits = LinearModel(rng.normal(size=3), rng.normal(size=(3, 4)))
    arguments = (
        values,
        limits,
        np.full(4, 0.5),
        np.full(4, 0.2),
        0.3 * rng.normal(size=(4, 4)),
    )
    direct = best_step(*arguments)
    calls = []

    def recorded(*program: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        calls.append(program)
        return stated(*program)

    monkeypatch.setattr(trust_region_subproblem, "ENDED", ())
    monkeypatch.setattr(trust_region_subproblem, "stated", recorded)
    again = best_step(*arguments)
    assert len(calls) == 1
    assert again.gain == pytest.approx(direct.gain, abs=1e-6)
    assert again.move == pytest.approx(
        direct.move, abs=1e-4
    )  # the merit is flat along an edge
