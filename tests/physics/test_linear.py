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
    """Solution, and the side: -1 where the matrix is that of a trim that holds."""
    x = np.zeros(7)
    side = newton_step(a, b, x, np.zeros((3, 3)), np.zeros(3))
    return x, side


@pytest.mark.parametrize("seed", range(50))
def test_step(seed: int) -> None:
    """Equal to numpy's, with the digits that the matrix's condition leaves (1e-15 times condition)."""
    rng = np.random.default_rng(seed)
    a, b = car_like(rng), rng.normal(size=7) * 1e3
    x, _ = step_of(a, b)
    digits = 50 * np.finfo(float).eps * np.linalg.cond(a)
    expected = np.linalg.solve(a, b)
    assert np.abs(x - expected).max() <= digits * np.abs(expected).max()


def test_inputs_are_left_alone() -> None:
    """The balance's Jacobian and residual are used again after the step."""
    rng = np.random.default_rng(1)
    a, b = car_like(rng), rng.normal(size=7)
    kept = a.copy(), b.copy()
    step_of(a, b)
    assert np.array_equal(a, kept[0])
    assert np.array_equal(b, kept[1])


def test_singular_body_is_told() -> None:
    """A body free to heave has no step and does not hold, and the step is not finite."""
    a = car_like(np.random.default_rng(2))
    a[0, :] = a[:, 0] = 0.0
    x, side = step_of(a, np.ones(7))
    assert side == 1.0
    assert not np.isfinite(x).all()


@pytest.mark.parametrize("seed", range(50))
def test_side_is_that_of_the_eigenvalues(seed: int) -> None:
    """Of symmetric stiffnesses exactly those hold that have no falling way, however many they have."""
    rng = np.random.default_rng(seed)
    a = car_like(rng)
    a = 0.5 * (a + a.T)
    a[range(3), range(3)] -= rng.choice([0.0, 3e5, 8e5], size=3)
    holds = np.linalg.eigvalsh(a).max() < 0.0
    assert step_of(a, np.ones(7))[1] == (-1.0 if holds else 1.0)
