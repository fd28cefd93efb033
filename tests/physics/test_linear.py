"""The Newton step's elimination against a general solver."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.physics.linear import newton_step

Floats = np.ndarray


def car_like(rng: np.random.Generator) -> Floats:
    """A matrix with the pattern of the seven equations: wheels of different axles do not meet."""
    a = rng.normal(size=(7, 7)) * 1e5
    a[3:5, 5:7] = a[5:7, 3:5] = 0.0
    a[range(3, 7), range(3, 7)] -= 4e5  # tyre and spring: the block of an axle is never singular
    return a


def step_of(a: Floats, b: Floats) -> tuple[Floats, float]:
    """Solution and determinant."""
    x = np.zeros(7)
    det = newton_step(a, b, x, np.zeros((3, 3)), np.zeros(3))
    return x, det


@pytest.mark.parametrize("seed", range(50))
def test_step_and_determinant(seed: int) -> None:
    """Equal to numpy's, with the digits that the matrix's condition leaves (1e-15 times condition)."""
    rng = np.random.default_rng(seed)
    a, b = car_like(rng), rng.normal(size=7) * 1e3
    x, det = step_of(a, b)
    digits = 50 * np.finfo(float).eps * np.linalg.cond(a)
    expected = np.linalg.solve(a, b)
    assert np.abs(x - expected).max() <= digits * np.abs(expected).max()
    assert det == pytest.approx(np.linalg.det(a), rel=digits)


def test_inputs_are_left_alone() -> None:
    """The balance's Jacobian and residual are used again after the step."""
    rng = np.random.default_rng(1)
    a, b = car_like(rng), rng.normal(size=7)
    kept = a.copy(), b.copy()
    step_of(a, b)
    assert np.array_equal(a, kept[0])
    assert np.array_equal(b, kept[1])


def test_singular_body_is_told() -> None:
    """A body free to heave has no step: the determinant is zero, and the step is not finite."""
    a = car_like(np.random.default_rng(2))
    a[0, :] = a[:, 0] = 0.0
    x, det = step_of(a, np.ones(7))
    assert det == 0.0
    assert not np.isfinite(x).all()
