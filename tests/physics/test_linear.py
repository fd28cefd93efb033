"""Elimination against numpy."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.physics.linear import clear, copy, factor, solve, solve_transposed

Floats = np.ndarray
SIZE = 15


def factored(a: Floats) -> tuple[Floats, Floats, float]:
    """The matrix factored in place in a larger one, pivots, and the determinant's sign."""
    room = np.full((SIZE + 1, SIZE + 1), 7.0)
    n = a.shape[0]
    room[:n, :n] = a
    pivots = np.zeros(SIZE + 1, np.int64)
    sign = factor(room, pivots, n)
    return room, pivots, sign


@pytest.mark.parametrize("n", [1, 3, SIZE])
@pytest.mark.parametrize("seed", range(20))
def test_solutions(seed: int, n: int) -> None:
    """Equal to numpy's, straight and transposed, with the digits that the condition leaves (1e-15 times
    it).
    """
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(n, n)) * (rng.random(size=(n, n)) < 0.6) + np.diag(
        rng.normal(size=n)
    )
    if np.linalg.cond(a) > 1e8:
        a += 3.0 * np.eye(n)
    b = rng.normal(size=n)
    room, pivots, sign = factored(a)
    digits = 50 * np.finfo(float).eps * np.linalg.cond(a)
    assert sign == np.sign(np.linalg.det(a))
    for solver, matrix in ((solve, a), (solve_transposed, a.T)):
        x = np.append(b, 3.0)
        solver(room, pivots, n, x)
        expected = np.linalg.solve(matrix, b)
        assert np.abs(x[:n] - expected).max() <= digits * np.abs(expected).max()
        assert x[n] == 3.0


def test_rows_are_exchanged() -> None:
    """A zero in the corner is no obstacle, and the sign counts the exchange."""
    a = np.array([[0.0, 2.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 5.0]])
    room, pivots, sign = factored(a)
    x = np.array([2.0, 3.0, 10.0])
    solve(room, pivots, 3, x)
    assert sign == -1.0
    assert x == pytest.approx([3.0, 1.0, 2.0], rel=1e-15)


def test_singular_matrix_is_reported() -> None:
    """A column of zeros: sign 0."""
    a = np.diag([1.0, 0.0, 2.0])
    assert factored(a)[2] == 0.0


def test_only_the_leading_part_is_touched() -> None:
    """The row and column beyond belong to somebody else."""
    room, _, _ = factored(np.eye(4) * 2.0)
    assert (room[4:] == 7.0).all()
    assert (room[:, 4:] == 7.0).all()


def test_copy_and_clear() -> None:
    """Entry by entry; the source stays."""
    source, target, table = np.arange(4.0), np.zeros(4), np.ones((2, 3))
    copy(source, target)
    clear(table)
    assert (target == source).all()
    assert not table.any()
