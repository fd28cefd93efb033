"""The learned bend of the rows, on quadratics whose Hessian is known."""

from __future__ import annotations

import numpy as np
import pytest

from setupopt.search.engine.bfgs import Curvature

SIZE = 5


def _hessian(rng: np.random.Generator) -> np.ndarray:
    """A matrix with all bends between 1 and 2: too alike for the damping to set in."""
    turn, _ = np.linalg.qr(rng.normal(size=(SIZE, SIZE)))
    return turn @ np.diag(np.linspace(1.0, 2.0, SIZE)) @ turn.T


def _conjugate(rng: np.random.Generator, hessian: np.ndarray) -> np.ndarray:
    """Random moves, none of which changes the slope along another: their rows."""
    moves: list[np.ndarray] = []
    for move in rng.normal(size=(SIZE, SIZE)):
        for other in moves:
            move = move - other * (other @ hessian @ move) / (
                other @ hessian @ other
            )
        moves.append(move)
    return np.array(moves)


@pytest.mark.parametrize("seed", range(5))
def test_last_move_is_explained(seed: int) -> None:
    """The secant equation: the matrix gives the change of slope that the last move brought."""
    rng, curvature = np.random.default_rng(seed), Curvature(SIZE)
    hessian = _hessian(rng)
    for move in rng.normal(size=(SIZE, SIZE)):
        curvature.update(move, hessian @ move)
        np.testing.assert_allclose(
            curvature.matrix @ move, hessian @ move, rtol=0, atol=1e-12
        )


@pytest.mark.parametrize("seed", range(5))
def test_quadratic_is_learned(seed: int) -> None:
    """Conjugate moves in every direction: the matrix is the Hessian.

    An update along one leaves what the others told, so all their secant equations hold at the end.
    """
    rng, curvature = np.random.default_rng(seed), Curvature(SIZE)
    hessian = _hessian(rng)
    for move in _conjugate(rng, hessian):
        curvature.update(move, hessian @ move)
    np.testing.assert_allclose(curvature.matrix, hessian, rtol=0, atol=1e-10)


def test_any_moves_lead_to_the_hessian() -> None:
    """Moves as a climb makes them, neither conjugate nor exact: the matrix nears the Hessian all the same.

    R. M. Gower and P. Richtarik, SIAM J. Matrix Anal. Appl. 38 (2017) 1380-1409, on updates along random
    moves (from memory). A thousandth of the least bend.
    """
    rng, curvature = np.random.default_rng(0), Curvature(SIZE)
    hessian = _hessian(rng)
    for move in rng.normal(size=(200, SIZE)):
        curvature.update(move, hessian @ move)
    np.testing.assert_allclose(curvature.matrix, hessian, rtol=0, atol=1e-3)


@pytest.mark.parametrize("seed", range(5))
def test_stays_positive(seed: int) -> None:
    """Whatever the slopes tell, the program stays convex: no bend is negative, and R' R is the matrix."""
    rng, curvature, rounding = np.random.default_rng(seed), Curvature(SIZE), 0.0
    for _ in range(100):
        curvature.update(
            rng.normal(size=SIZE),
            10.0 ** rng.uniform(-3, 3) * rng.normal(size=SIZE),
        )
        bends, root = np.linalg.eigvalsh(curvature.matrix), curvature.root()
        rounding = max(
            rounding, 1e-13 * bends[-1]
        )  # what the greatest bend so far has left behind
        assert bends[0] > -rounding
        assert root is not None
        np.testing.assert_allclose(
            root.T @ root, curvature.matrix, rtol=0, atol=rounding
        )


def test_damping() -> None:
    """Rows that bend the other way: along the move a fifth of the old bend is left, Powell's choice."""
    curvature, move = Curvature(SIZE), np.arange(1.0, SIZE + 1)
    curvature.update(np.ones(SIZE), np.full(SIZE, 3.0))
    old = move @ curvature.matrix @ move
    curvature.update(move, -7.0 * move)
    assert move @ curvature.matrix @ move == pytest.approx(0.2 * old)


def test_nothing_known() -> None:
    """Before the first move, and after one too short to tell of anything, the program stays linear."""
    curvature = Curvature(SIZE)
    assert curvature.root() is None
    curvature.update(np.full(SIZE, 1e-11), np.ones(SIZE))
    assert curvature.root() is None


def test_a_fall_is_taken_in() -> None:
    """The end of a step lies as far below its slopes as was found; one that fell less changes nothing."""
    curvature, step = Curvature(SIZE), np.arange(1.0, SIZE + 1)
    curvature.update(np.ones(SIZE), np.full(SIZE, 3.0))
    curvature.learn_fall(step, 200.0)
    assert curvature.along(step) == pytest.approx(200.0)
    known = curvature.matrix.copy()
    curvature.learn_fall(step, 100.0)
    np.testing.assert_array_equal(curvature.matrix, known)
    assert np.linalg.eigvalsh(known)[0] > 0.0


def test_a_fall_is_the_first_that_is_known() -> None:
    """Before any slope has changed, a fall tells the curvature of all directions alike."""
    curvature, step = Curvature(SIZE), np.arange(1.0, SIZE + 1)
    curvature.learn_fall(step, 2.0)
    assert curvature.along(step) == pytest.approx(2.0)
    np.testing.assert_allclose(
        curvature.matrix, curvature.matrix[0, 0] * np.eye(SIZE), atol=1e-15
    )
