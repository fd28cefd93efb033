"""The max-min engine on published minimax problems, each from two starts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from setupopt.search.maxmin import Answers, BatchFunction, Rules, climb, hold, release

# Tight rules: these problems are asked for to 1e-4, more than a setup needs.
TIGHT = Rules(least_gain=1e-9, least_rise=1e-8, least_radius=1e-8, most_steps=400, probe=1e-7)


def _boxed(functions: Callable[[np.ndarray], np.ndarray], low: float, high: float) -> BatchFunction:
    """A minimax problem over a square box as a max-min problem over the unit box."""

    def answers(points: np.ndarray, memory: object = None) -> Answers:
        real = low + points * (high - low)
        return Answers(-np.array([functions(x) for x in real]), np.empty((len(points), 0)))

    return answers


def _cb2(x: np.ndarray) -> np.ndarray:
    return np.array([x[0] ** 2 + x[1] ** 4, (2 - x[0]) ** 2 + (2 - x[1]) ** 2, 2 * np.exp(x[1] - x[0])])


def _dem(x: np.ndarray) -> np.ndarray:
    return np.array([5 * x[0] + x[1], -5 * x[0] + x[1], x[0] ** 2 + x[1] ** 2 + 4 * x[1]])


def _lq(x: np.ndarray) -> np.ndarray:
    return np.array([-x[0] - x[1], -x[0] - x[1] + x[0] ** 2 + x[1] ** 2 - 1])


def _rosen_suzuki(x: np.ndarray) -> np.ndarray:
    a, b, c, d = x
    f = a**2 + b**2 + 2 * c**2 + d**2 - 5 * a - 5 * b - 21 * c + 7 * d
    g1 = a**2 + b**2 + c**2 + d**2 + a - b + c - d - 8
    g2 = a**2 + 2 * b**2 + c**2 + 2 * d**2 - a - d - 10
    g3 = a**2 + b**2 + c**2 + 2 * a - b - d - 5
    return np.array([f, f + 10 * g1, f + 10 * g2, f + 10 * g3])


def _madsen(x: np.ndarray) -> np.ndarray:
    parts = np.array([x[0] ** 2 + x[1] ** 2 + x[0] * x[1], np.sin(x[0]), np.cos(x[1])])
    return np.r_[parts, -parts]


# Luksan and Vlcek, Test Problems for Nonsmooth Unconstrained and Linearly Constrained Optimization, ICS AS CR
# report V-798, 2000: published optimum and start. The last: Madsen, J. IMA 16, 1975, 321 (from memory).
PUBLISHED = {
    "CB2": (_cb2, (1.0, -0.1), (2.0, 2.0), 1.95222449),
    "DEM": (_dem, (1.0, 1.0), (-2.0, -1.0), -3.0),
    "LQ": (_lq, (-0.5, -0.5), (1.5, 0.2), -np.sqrt(2.0)),
    "Rosen-Suzuki": (_rosen_suzuki, (0.0, 0.0, 0.0, 0.0), (1.0, 1.0, 1.0, 1.0), -44.0),
    "Madsen": (_madsen, (3.0, 1.0), (-1.0, 2.0), 0.616432436),
}


@pytest.mark.parametrize("start", [1, 2])
@pytest.mark.parametrize("name", PUBLISHED)
def test_published_minimax(name: str, start: int) -> None:
    """From both starts the published optimum, to 1e-4 of it: the engine stops at no bend and on no ridge."""
    functions, published = PUBLISHED[name][0], PUBLISHED[name][3]
    at = (np.array(PUBLISHED[name][start]) + 5.0) / 10.0
    end = climb(_boxed(functions, -5.0, 5.0), at, TIGHT)
    assert -end.merit == pytest.approx(published, abs=1e-4 * max(1.0, abs(published)))


def test_limit_is_kept_and_used() -> None:
    """Highest x + y with x^2 + y^2 <= 1/2 in the unit box: 1 at (1/2, 1/2), by symmetry."""

    def circle(points: np.ndarray, memory: object = None) -> Answers:
        return Answers(points.sum(axis=1)[:, None], 0.5 - (points**2).sum(axis=1)[:, None])

    end = climb(circle, np.array([0.9, 0.1]), TIGHT)
    np.testing.assert_allclose(end.point, [0.5, 0.5], atol=1e-3)
    assert end.limits.min() > -1e-7
    assert end.merit == pytest.approx(1.0, abs=1e-5)


def test_unmeetable_limit_ends_at_its_best() -> None:
    """Where a limit cannot be kept the climb still ends, and says by how much it is missed."""

    def impossible(points: np.ndarray, memory: object = None) -> Answers:
        return Answers(points, points[:, :1] - 1.5)

    end = climb(impossible, np.array([0.2]), TIGHT)
    assert end.point[0] == pytest.approx(1.0, abs=1e-6)
    assert end.limits[0] == pytest.approx(-0.5, abs=1e-6)


def test_held_variables_do_not_move() -> None:
    """A part that was chosen stays chosen while the rest is solved again."""
    function, at = _boxed(_cb2, -5.0, 5.0), np.array([0.9, 0.7])
    held, free = hold(function, np.array([False, True]), at)
    end = release(climb(held, at[free], TIGHT), free, at)
    assert end.point[1] == 0.7
    assert end.merit == pytest.approx(-16.0, abs=1e-4)  # x1 = 2: the first function is x0^2 + 16


def test_memory_of_the_place_is_handed_on() -> None:
    """The function gets the memory of the place it is asked around, never of a rejected point."""
    seen: list[object] = []

    def remembering(points: np.ndarray, memory: object = None) -> Answers:
        seen.append(memory)
        return Answers(-((points - 0.3) ** 2), np.empty((len(points), 0)), memory=points[0].copy())

    end = climb(remembering, np.array([0.9]))
    assert seen[0] is None
    assert all(memory is not None for memory in seen[1:])
    assert end.point[0] == pytest.approx(0.3, abs=0.02)


def test_same_start_same_end() -> None:
    """The climb is deterministic."""
    ends = [climb(_boxed(_dem, -5.0, 5.0), np.array([0.9, 0.2]), TIGHT) for _ in range(2)]
    assert ends[0].point.tolist() == ends[1].point.tolist()
    assert ends[0].points_asked == ends[1].points_asked
